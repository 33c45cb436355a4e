"""Files that people drop on the page: names, sizes and contents checked before anything reads them.

A file keeps the name it came with only as a label; on disk it has a name of the server's own, in a
folder of its owner. Archives are refused. A gzipped layout may not grow past its limit when unpacked.
A file goes to disk as it comes in, and is looked at there.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import mmap
import os
import re
import secrets
import shutil
import threading
import time
import zlib
from collections import Counter
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from planish.engine.files import write_whole
from planish.errors import DataError
from planish.web.private import private_folder

LARGEST = 64 * 1024 * 1024
UNPACKED = 512 * 1024 * 1024
PER_PERSON = 200
BYTES_PER_PERSON = 512 * 1024 * 1024
AT_ONCE = 2  # files that one person sends side by side
AT_ONCE_IN_ALL = 16
PIECE = 1024 * 1024  # [bytes] gathered before they are written
KINDS = {
    ".csv": "table",
    ".tsv": "table",
    ".txt": "table",
    ".parquet": "table",
    ".xlsx": "table",
    ".gds": "layout",
    ".gds.gz": "layout",
    ".oas": "layout",
}
_NAME = re.compile(r"[^\x00-\x1f/\\:*?\"<>|]{1,120}")
_ID = re.compile(r"[0-9a-f]{16}")
UNFINISHED = ".coming-"
READ_AS = "read.json"
_UTF_16 = (b"\xff\xfe", b"\xfe\xff")
_OASIS = b"%SEMI-OASIS\r\n"


@dataclass(frozen=True, slots=True)
class Upload:
    """One stored file."""

    id: str
    name: str
    kind: str
    size: int
    ending: str
    made: float


def ending_of(name: str) -> str:
    """Return the known ending of a file name.

    Raises
    ------
    DataError
        For a name with a path in it, hidden or too long, or an ending that is not read here.
    """
    if not _NAME.fullmatch(name) or name.startswith(".") or ".." in name:
        raise DataError(f"file name = {name[:60]!r}: must be a plain file name without a path")
    low = name.lower()
    for ending in sorted(KINDS, key=len, reverse=True):
        if low.endswith(ending):
            return ending
    raise DataError(f"{name}: must end in one of {', '.join(KINDS)}")


def check_content(name: str, ending: str, content: bytes | mmap.mmap) -> None:
    """Refuse content that is not what its name says.

    Raises
    ------
    DataError
        Saying what the content must be.
    """
    if not content:
        raise DataError(f"{name}: is empty")
    if len(content) > LARGEST:
        raise DataError(f"{name}: {len(content) / 2**20:.0f} MiB: must be at most {LARGEST // 2**20} MiB")
    if (
        (content[:4] == b"PK\x03\x04" and ending != ".xlsx")
        or content[:4] == b"Rar!"
        or content[:6] == b"7z\xbc\xaf\x27\x1c"
        or content[257:262] == b"ustar"
    ):
        raise DataError(f"{name}: is an archive: must be the file itself (unpack it first)")
    if ending == ".gds.gz":
        if content[:2] != b"\x1f\x8b":
            raise DataError(f"{name}: must be a gzipped GDSII file")
        check_unpacked(name, content)
    elif content[:2] == b"\x1f\x8b":
        raise DataError(f"{name}: is gzipped: only .gds.gz may be (unpack it first)")
    elif ending == ".gds" and content[:4] != b"\x00\x06\x00\x02":
        raise DataError(f"{name}: must be a GDSII file (it does not begin as one)")
    elif ending == ".oas" and content[: len(_OASIS)] != _OASIS:
        raise DataError(f"{name}: must be an OASIS file (it does not begin as one)")
    elif ending == ".parquet" and (content[:4] != b"PAR1" or content[-4:] != b"PAR1"):
        raise DataError(f"{name}: must be a Parquet file (it does not begin and end as one)")
    elif ending == ".xlsx" and content[:4] != b"PK\x03\x04":
        raise DataError(f"{name}: must be a workbook (.xlsx; it does not begin as one)")
    elif ending in (".csv", ".tsv", ".txt") and content[:2] not in _UTF_16 and b"\0" in content[:65536]:
        raise DataError(f"{name}: is binary: must be text")


def check_unpacked(name: str, content: bytes | mmap.mmap, most: int = UNPACKED) -> None:
    """Refuse gzipped content that is damaged or grows past ``most`` bytes; it is unpacked piece by piece."""
    unpacker, size, at = zlib.decompressobj(31), 0, 0
    try:
        while at < len(content) and not unpacker.eof:
            rest = content[at : at + 65536]
            at += len(rest)
            while rest and not unpacker.eof:
                size += len(unpacker.decompress(rest, PIECE))
                if size > most:
                    raise DataError(f"{name}: must be at most {most // 2**20} MiB when unpacked")
                rest = unpacker.unconsumed_tail
    except zlib.error as error:
        raise DataError(f"{name}: damaged gzip data ({error})") from None
    if not unpacker.eof:
        raise DataError(f"{name}: the gzip data are cut short")
    if unpacker.unused_data or at < len(content):
        raise DataError(f"{name}: must hold one gzipped file and nothing after it")


class Incoming:
    """A file on its way in: gathered in pieces, written beside the kept ones, and kept when it is whole."""

    def __init__(self, uploads: Uploads, owner: str, name: str) -> None:
        self.uploads, self.owner, self.name = uploads, owner, name
        self.ending = ending_of(name)
        self.size = 0
        self._gathered = bytearray()
        self._place = uploads.home(owner) / f"{UNFINISHED}{secrets.token_hex(8)}"
        private_folder(uploads.folder)
        private_folder(uploads.home(owner))
        self._place.mkdir(mode=0o700)
        self._path = self._place / f"data{self.ending}"
        self._file = self._path.open("xb")
        self._path.chmod(0o600)

    def add(self, piece: bytes) -> bool:
        """Gather a piece; True when enough has come to be written.

        Raises
        ------
        DataError
            When the file is too large.
        """
        self.size += len(piece)
        if self.size > LARGEST:
            raise DataError(f"{self.name}: must be at most {LARGEST // 2**20} MiB")
        self._gathered += piece
        return len(self._gathered) >= PIECE

    def write(self) -> None:
        """Write what was gathered."""
        try:
            self._file.write(self._gathered)
        except OSError as error:
            raise DataError(f"{self.name}: cannot be stored ({error.strerror or error})") from None
        self._gathered.clear()

    def finish(self) -> tuple[Upload, list[str]]:
        """Check the file and keep it; the oldest files of its owner go where there are too many, and are named.

        Raises
        ------
        DataError
            Saying what the content must be.
        """
        self.write()
        self._file.flush()
        os.fsync(self._file.fileno())
        self._file.close()
        if not self.size:
            raise DataError(f"{self.name}: is empty")
        with self._path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as content:
            check_content(self.name, self.ending, content)
        made = Upload(
            secrets.token_hex(8), self.name, KINDS[self.ending], self.size, self.ending, time.time()
        )
        write_whole(self._place / "about.json", json.dumps(asdict(made)), mode=0o600)
        os.replace(self._place, self._place.with_name(made.id))  # noqa: TID251  the whole folder at once
        return made, self.uploads.make_room(self.owner, made)

    def close(self) -> None:
        """Take away what did not become a file, and let the next one come."""
        with contextlib.suppress(OSError):
            self._file.close()
        shutil.rmtree(self._place, ignore_errors=True)
        self.uploads.let_go(self.owner)


def home_of(folder: Path, owner: str) -> Path:
    """Return where the files of an owner lie under the folder of everyone's."""
    return folder / hashlib.sha256(owner.encode()).hexdigest()[:24]


class Uploads:
    """The files of everyone, under ``folder``."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._lock = threading.Lock()
        self._coming: Counter[str] = Counter()
        for unfinished in folder.glob(f"*/{UNFINISHED}*"):  # the server was killed while they came
            shutil.rmtree(unfinished, ignore_errors=True)

    def home(self, owner: str) -> Path:
        """Return the folder of a person's files."""
        return home_of(self.folder, owner)

    def begin(self, owner: str, name: str) -> Incoming:
        """Let a file come in; its ``close`` must be called in the end.

        Raises
        ------
        DataError
            For a name that will not do, or where this person or everybody sends too many at once.
        """
        ending_of(name)
        with self._lock:
            if self._coming[owner] >= AT_ONCE:
                raise DataError(f"{name}: you already send {AT_ONCE} files: wait until one has come")
            if self._coming.total() >= AT_ONCE_IN_ALL:
                raise DataError(f"{name}: {AT_ONCE_IN_ALL} files come in already: try again in a minute")
            self._coming[owner] += 1
        try:
            return Incoming(self, owner, name)
        except BaseException as error:
            self.let_go(owner)
            if isinstance(error, OSError):
                raise DataError(f"{name}: cannot be stored ({error.strerror or error})") from None
            if isinstance(error, DataError):  # of the server's folder: nothing that the sender can mend
                raise DataError(f"{name}: cannot be stored on this server") from error
            raise

    def let_go(self, owner: str) -> None:
        """Count one file less on its way."""
        with self._lock:
            self._coming[owner] -= 1
            if not self._coming[owner]:
                del self._coming[owner]

    def make_room(self, owner: str, made: Upload) -> list[str]:
        """Let the oldest files of a person go where there are too many beside ``made``; say which."""
        notes, held = [], 0
        with self._lock:
            for count, old in enumerate(self.of(owner), start=1):
                held += old.size
                if old.id != made.id and (count > PER_PERSON or held > BYTES_PER_PERSON):
                    held -= old.size
                    self.forget(owner, old.id)
                    notes.append(
                        f"{old.name} was taken away: one person may keep {PER_PERSON} files and "
                        f"{BYTES_PER_PERSON // 2**20} MiB"
                    )
        return notes

    def keep(self, owner: str, name: str, content: bytes) -> Upload:
        """Check and store a file; the oldest of a person's files go when there are too many."""
        incoming = self.begin(owner, name)
        try:
            incoming.add(content)
            return incoming.finish()[0]
        finally:
            incoming.close()

    def of(self, owner: str) -> list[Upload]:
        """Return a person's files, the newest first."""
        found = []
        for path in self.home(owner).glob("[!.]*/about.json"):
            try:
                found.append(Upload(**json.loads(path.read_text())))
            except (OSError, ValueError, TypeError):
                continue
        return sorted(found, key=lambda upload: -upload.made)

    def path(self, owner: str, upload_id: str) -> Path:
        """Return where a person's file lies.

        Raises
        ------
        DataError
            If this person has no such file.
        """
        place = self.home(owner) / upload_id if _ID.fullmatch(upload_id) else None
        found = sorted(place.glob("data.*")) if place is not None else []
        if not found:
            raise DataError(f"file = {upload_id[:40]!r}: no such file of yours (drop it again)")
        return found[0]

    def by_name(self, owner: str) -> dict[str, dict[str, Any]]:
        """Return a person's tables by their names, the newest of each: where each lies and how it is read."""
        out: dict[str, dict[str, Any]] = {}
        for upload in self.of(owner):
            if upload.kind == "table" and upload.name not in out:
                out[upload.name] = {"path": str(self.path(owner, upload.id)), **self.noted(owner, upload.id)}
        return out

    def scratch(self, owner: str) -> Path:
        """Return a free name for a folder of a person's own, in which files may be laid for as long as they are read."""
        return self.home(owner) / f"{UNFINISHED}{secrets.token_hex(8)}"

    def forget(self, owner: str, upload_id: str) -> None:
        """Take a file away."""
        shutil.rmtree(self.path(owner, upload_id).parent, ignore_errors=True)

    def note(self, owner: str, upload_id: str, about: dict[str, Any]) -> None:
        """Write down what a file was read as, and how: ``about``, ``told``, ``wafer`` and ``by``."""
        write_whole(self.path(owner, upload_id).parent / READ_AS, json.dumps(about), mode=0o600)

    def noted(self, owner: str, upload_id: str) -> dict[str, Any]:
        """Return what was written down of how a file is read; nothing of a file of an earlier version."""
        try:
            found = json.loads((self.path(owner, upload_id).parent / READ_AS).read_text())
        except (OSError, ValueError):
            return {}
        return found if isinstance(found, dict) else {}

    def told(self, owner: str) -> list[dict[str, Any]]:
        """Return a person's files as plain data, each with what it was read as."""
        return [{**asdict(upload), **self.noted(owner, upload.id)} for upload in self.of(owner)]
