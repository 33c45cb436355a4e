"""A signed record: who, when, what, and a digest over all of it, so that a record that was changed is noticed.

The digest (SHA-256 of the content in one canonical spelling) shows a change by accident or by somebody who does not know of it;
who can write the file can also write a new digest. With a key the record carries a seal too (HMAC, RFC 2104, with SHA-256):
without the key nobody can make one that fits. The name in the record is what was said; who holds the key vouches for it.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from planish.errors import DataError, refuse

LARGEST = 5_000_000  # bytes of a record
SHORTEST_KEY, LARGEST_KEY = 16, 10_000  # bytes
FORMAT = "planish qualification 1"


def digest_of(content: Mapping[str, Any]) -> str:
    """Return the digest of a record's content, whatever the order of its keys.

    Parameters
    ----------
    content
        Without digest and seal.

    Returns
    -------
    str
        SHA-256 as hexadecimal digits.
    """
    return hashlib.sha256(_canonical(content)).hexdigest()


def sealed(content: Mapping[str, Any], key: bytes | None) -> dict[str, Any]:
    """Return a record: the content with its digest and, with a key, its seal.

    Parameters
    ----------
    content
        To be signed.
    key
        None for a digest alone.

    Returns
    -------
    dict[str, Any]
        Ready for JSON.
    """
    seal = {} if key is None else {"seal": hmac.new(key, _canonical(content), hashlib.sha256).hexdigest()}
    return {**content, "digest": digest_of(content), **seal}


def read_record(path: str | os.PathLike[str], key: bytes | None = None) -> dict[str, Any]:
    """Read a record, and refuse one that was changed since it was signed.

    Parameters
    ----------
    path
        Of the record.
    key
        It was sealed with; None checks the digest alone.

    Returns
    -------
    dict[str, Any]
        Its content, digest and seal taken out.

    Raises
    ------
    DataError
        For a file that is no record, one that was changed, and one whose seal is missing or of another key.
    """
    file = Path(path)
    try:
        if file.stat().st_size > LARGEST:
            raise DataError(refuse(f"{file}", f"{file.stat().st_size} bytes", f"at most {LARGEST} bytes"))
        record = json.loads(file.read_text(encoding="utf-8"))
    except OSError as error:
        raise DataError(f"{file}: cannot be read ({error.strerror}); name a record") from None
    except (ValueError, RecursionError):
        raise DataError(f"{file}: is no record: must be one that 'planish hold qualify' wrote") from None
    if not isinstance(record, dict) or record.get("format") != FORMAT:
        raise DataError(f"{file}: is no record: must be one that 'planish hold qualify' wrote")
    content = {name: value for name, value in record.items() if name not in ("digest", "seal")}
    if not _same(record.get("digest"), digest_of(content)):
        raise DataError(
            f"{file}: was changed since it was signed: its digest must be {digest_of(content)[:12]}..."
        )
    if key is not None:
        if "seal" not in record:
            raise DataError(
                f"{file}: carries no seal: must have been signed with a key to be checked with one"
            )
        if not _same(record["seal"], sealed(content, key)["seal"]):
            raise DataError(
                f"{file}: its seal does not fit: must be of this key (changed, or sealed with another)"
            )
    return content


def _same(found: Any, expected: str) -> bool:
    return isinstance(found, str) and hmac.compare_digest(found.encode(), expected.encode())


def read_key(path: str | os.PathLike[str]) -> bytes:
    """Read the key of a seal.

    Parameters
    ----------
    path
        Of a file whose bytes, without white space at either end, are the key.

    Returns
    -------
    bytes
        The key.

    Raises
    ------
    DataError
        For a file that cannot be read, and a key that is too short or too long.
    """
    file = Path(path)
    try:
        with file.open("rb") as source:
            key = source.read(LARGEST_KEY + 1).strip()
    except OSError as error:
        raise DataError(f"key file {file}: cannot be read ({error.strerror}); name another") from None
    if not SHORTEST_KEY <= len(key) <= LARGEST_KEY:
        raise DataError(
            refuse(
                f"key file {file}",
                f"{len(key)} bytes",
                f"{SHORTEST_KEY} to {LARGEST_KEY} bytes",
                "random ones",
            )
        )
    return key


def _canonical(content: Mapping[str, Any]) -> bytes:
    return json.dumps(
        content, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    ).encode()
