"""A layout file's bytes in large pieces, unzipped if need be, read and hashed one piece ahead."""

from __future__ import annotations

import gzip
import hashlib
import zlib
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any, BinaryIO, cast

from planish.errors import DataError

CHUNK = 1 << 24
_GZIP_MAGIC = b"\x1f\x8b"


class Chunks:
    """The pieces, in order; ``hash`` is that of the file as it is, once all were given."""

    def __init__(self, path: Path, most: int) -> None:
        self.most = most
        self.place = str(path)
        self.hash = hashlib.blake2b(digest_size=16)
        try:
            self.size = path.stat().st_size
            self.raw: BinaryIO = path.open("rb")
            magic = self.raw.read(2)
            self.raw.seek(0)
        except OSError as exc:
            raise DataError(f"{path}: cannot be read ({exc.strerror or exc})") from exc
        self.zipped = magic == _GZIP_MAGIC
        self.given = 0
        self.enough = False  # set once the layout has ended; the rest is only hashed

    def _next(self, source: Any) -> bytes:
        try:
            data: bytes = source.read(CHUNK)
        except (OSError, EOFError, zlib.error) as exc:
            raise DataError(f"{self.place}: the gzip data are damaged or cut short ({exc})") from exc
        self.given += len(data)
        if self.zipped and self.given > self.most:
            raise DataError(
                f"{self.place}: unpacks to more than {self.most >> 30} GiB (unpack it first, and read the file itself)"
            )
        if not self.zipped:
            self.hash.update(data)
        return data

    def __iter__(self) -> Iterator[bytes]:
        with self.raw, ThreadPoolExecutor(1) as ahead:
            source: Any = self.raw
            if self.zipped:
                source = gzip.GzipFile(fileobj=cast(Any, _Hashed(self.raw, self.hash)), mode="rb")
            waiting = ahead.submit(self._next, source)
            while True:
                data = waiting.result()
                if not data:
                    return
                if self.enough and self.zipped:
                    while tail := self.raw.read(CHUNK):
                        self.hash.update(tail)
                    return
                waiting = ahead.submit(self._next, source)
                yield data

    def share(self) -> float:
        """Share of the file that has been read."""
        return min(1.0, (self.raw.tell() if not self.raw.closed else self.size) / max(1, self.size))


class _Hashed:
    """A file that hashes what is read from it, so that a zipped layout is read once."""

    def __init__(self, raw: BinaryIO, digest: Any) -> None:
        self.raw = raw
        self.digest = digest

    def read(self, size: int = -1) -> bytes:
        data = self.raw.read(size)
        self.digest.update(data)
        return data
