"""What a row is known by: keys that follow from what it is of, and digests of all that is said of it.

Whoever adds the same file twice, or a part of it, or again what was cut off, meets the same keys and changes nothing; a wafer
of the same name, tool and moment with other figures meets the same key under another digest.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable

LENGTH = 16  # bytes: two of a billion rows meet by chance once in 10^20 such histories

_WRITTEN = json.JSONEncoder(ensure_ascii=True, sort_keys=True, separators=(",", ":"), allow_nan=False)


def key_of(*what: object) -> bytes:
    """Return the key of a thing.

    Parameters
    ----------
    *what
        Texts, numbers and plain collections of them that say which it is.
    """
    return digest_of(what)


def digest_of(figures: object, arrays: Iterable[bytes] = ()) -> bytes:
    """Return the digest of what is said of a thing.

    Parameters
    ----------
    figures
        Plain data.
    arrays
        Bytes beside.
    """
    made = hashlib.blake2b(_WRITTEN.encode(figures).encode(), digest_size=LENGTH)
    for each in arrays:
        made.update(len(each).to_bytes(8, "little"))
        made.update(each)
    return made.digest()
