"""Files that people drop on the page: names, sizes and contents checked before anything reads them.

A file keeps the name it came with only as a label; on disk it has a name of the server's own, in a
folder of its owner. Archives are refused. A gzipped layout may not grow past its limit when unpacked.
"""

from __future__ import annotations

import hashlib
import json
import re
import secrets
import shutil
import time
import zlib
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from planish.errors import DataError
from planish.web.private import private_folder, write_private

LARGEST = 64 * 1024 * 1024
UNPACKED = 512 * 1024 * 1024
PER_PERSON = 40
KINDS = {
    ".csv": "table",
    ".tsv": "table",
    ".txt": "table",
    ".parquet": "table",
    ".gds": "layout",
    ".gds.gz": "layout",
    ".oas": "layout",
}
_NAME = re.compile(r"[^\x00-\x1f/\\:*?\"<>|]{1,120}")
_ID = re.compile(r"[0-9a-f]{16}")
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


def check_content(name: str, ending: str, content: bytes) -> None:
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
        content[:4] in (b"PK\x03\x04", b"Rar!")
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
    elif ending == ".oas" and not content.startswith(_OASIS):
        raise DataError(f"{name}: must be an OASIS file (it does not begin as one)")
    elif ending == ".parquet" and (content[:4] != b"PAR1" or content[-4:] != b"PAR1"):
        raise DataError(f"{name}: must be a Parquet file (it does not begin and end as one)")
    elif ending in (".csv", ".tsv", ".txt") and b"\0" in content[:65536]:
        raise DataError(f"{name}: is binary: must be text")


def check_unpacked(name: str, content: bytes, most: int = UNPACKED) -> None:
    """Refuse gzipped content that is damaged or grows past ``most`` bytes; it is unpacked piece by piece."""
    unpacker, size, rest = zlib.decompressobj(31), 0, content
    try:
        while rest:
            size += len(unpacker.decompress(rest, 1 << 20))
            if size > most:
                raise DataError(f"{name}: must be at most {most // 2**20} MiB when unpacked")
            rest = unpacker.unconsumed_tail
            if unpacker.eof:
                if unpacker.unused_data:
                    raise DataError(f"{name}: must hold one gzipped file and nothing after it")
                break
    except zlib.error as error:
        raise DataError(f"{name}: damaged gzip data ({error})") from None
    if not unpacker.eof:
        raise DataError(f"{name}: the gzip data are cut short")


def home_of(folder: Path, owner: str) -> Path:
    """Return where the files of an owner lie under the folder of everyone's."""
    return folder / hashlib.sha256(owner.encode()).hexdigest()[:24]


class Uploads:
    """The files of everyone, under ``folder``."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def _home(self, owner: str) -> Path:
        return home_of(self.folder, owner)

    def keep(self, owner: str, name: str, content: bytes) -> Upload:
        """Check and store a file; the oldest of a person's files goes when there are too many."""
        ending = ending_of(name)
        check_content(name, ending, content)
        made = Upload(secrets.token_hex(8), name, KINDS[ending], len(content), ending, time.time())
        place = self._home(owner) / made.id
        private_folder(self.folder)
        private_folder(place.parent)
        write_private(place / f"data{ending}", content)
        write_private(place / "about.json", json.dumps(asdict(made)).encode())
        for old in self.of(owner)[PER_PERSON:]:
            self.forget(owner, old.id)
        return made

    def of(self, owner: str) -> list[Upload]:
        """Return a person's files, the newest first."""
        found = []
        for path in self._home(owner).glob("*/about.json"):
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
        place = self._home(owner) / upload_id if _ID.fullmatch(upload_id) else None
        found = sorted(place.glob("data.*")) if place is not None else []
        if not found:
            raise DataError(f"file = {upload_id[:40]!r}: no such file of yours (drop it again)")
        return found[0]

    def forget(self, owner: str, upload_id: str) -> None:
        """Take a file away."""
        shutil.rmtree(self.path(owner, upload_id).parent, ignore_errors=True)

    def told(self, owner: str) -> list[dict[str, Any]]:
        """Return a person's files as plain data."""
        return [asdict(upload) for upload in self.of(owner)]
