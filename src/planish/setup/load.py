"""Reading a setup file."""

from __future__ import annotations

import os
import tomllib
from pathlib import Path
from typing import Any

from planish.errors import SetupError
from planish.setup.models import Setup

LARGEST = 2_000_000  # bytes; a setup is text written by people


def load(path: str | os.PathLike[str]) -> Setup:
    """Read, fill in and validate a setup file.

    Parameters
    ----------
    path
        The file; those that it names are looked for in its folder.

    Returns
    -------
    Setup
        With every value that the file leaves to a part or a default filled in.

    Raises
    ------
    SetupError
        In one line: the file, the key, its value, what is allowed, the nearest known key.
    """
    file = Path(as_path(path, "setup file"))
    text = read_text(file)
    return Setup(parse_document(text, file.name), file.name, file.resolve().parent, text)


def loads(text: str, name: str = "setup", folder: str | os.PathLike[str] | None = None) -> Setup:
    """Read, fill in and validate a setup from its text.

    Parameters
    ----------
    text
        TOML.
    name
        What the text is called in messages.
    folder
        Where the files that it names are looked for; without one, setups that name files are refused.

    Returns
    -------
    Setup
        As from :func:`load`.

    Raises
    ------
    SetupError
        In one line: the name, the key, its value, what is allowed, the nearest known key.
    """
    return Setup(parse_document(text, name), name, Path(folder) if folder is not None else None, text)


def read_text(path: Path) -> str:
    """Return the text of a setup file.

    Raises
    ------
    SetupError
        For a file that is missing, no file, too large or not UTF-8 text.
    """
    name = str(path)
    if "\0" in name:
        raise SetupError(f"{name!r}: cannot be read: no file has such a name")
    try:
        if not path.exists():
            raise SetupError(f"{name}: no such file ('planish new rotary -o {path.name}' writes one)")
        if not path.is_file():
            raise SetupError(f"{name}: must be a file, not a directory or device")
        if path.stat().st_size > LARGEST:
            raise SetupError(
                f"{name}: {path.stat().st_size} bytes: must be at most {LARGEST} (is it a setup?)"
            )
        raw = path.read_bytes()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise SetupError(f"{name!r}: cannot be read: {reason}") from error
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise SetupError(f"{name}: is UTF-16 text: must be UTF-8 (save it again with that encoding)")
    if b"\0" in raw:
        raise SetupError(f"{name}: is binary: must be a TOML text file")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise SetupError(
            f"{name}: line {line}: is not UTF-8 text (save it again with that encoding)"
        ) from error


def parse_document(text: str, name: str) -> dict[str, Any]:
    """Return the tables of TOML text as written.

    Parameters
    ----------
    text
        Of a setup.
    name
        What refusals call it.

    Returns
    -------
    dict[str, Any]
        By key, units not yet read.

    Raises
    ------
    SetupError
        For text that is empty, too long, or no TOML with a key in it.
    """
    if not text.strip():
        raise SetupError(f"{name}: is empty: must be a setup ('planish new rotary' writes one)")
    if len(text) > LARGEST:
        raise SetupError(f"{name}: {len(text)} characters: must be at most {LARGEST} (is it a setup?)")
    try:
        document = tomllib.loads(text.replace("\r\n", "\n"))
    except (ValueError, RecursionError) as error:
        reason = str(error) if isinstance(error, ValueError) else "nested too deeply"
        raise SetupError(f"{name}: is not TOML: {reason}") from error
    if not document:
        raise SetupError(f"{name}: holds no keys: must be a setup ('planish new rotary' writes one)")
    return document


def as_path(path: Any, what: str) -> str:
    """Return a path as text.

    Parameters
    ----------
    path
        As handed in.
    what
        What the path is of, for the refusal.

    Returns
    -------
    str
        The path.

    Raises
    ------
    SetupError
        For what is no path.
    """
    given = os.fspath(path) if isinstance(path, str | os.PathLike) else path
    if not isinstance(given, str):
        raise SetupError(
            f"{what}: a {type(path).__name__} was given: must be a path, as text or pathlib.Path"
        )
    return given
