"""Answers on the wire: a JSON header and float32 arrays in one binary body, painted without parsing numbers.

Layout: header length (uint32, little endian), header (UTF-8 JSON, padded with spaces to a multiple of
four bytes), then the arrays one after the other. ``header["arrays"]`` lists name and shape in order.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from planish.results.plain import clean


def pack(header: Mapping[str, Any], arrays: Mapping[str, NDArray[Any]]) -> bytes:
    """Return header and arrays as one body."""
    parts = {name: np.ascontiguousarray(array, dtype="<f4") for name, array in arrays.items()}
    told = {**header, "arrays": [{"name": n, "shape": list(a.shape)} for n, a in parts.items()]}
    text = json.dumps(clean(told), ensure_ascii=False, separators=(",", ":")).encode()
    text += b" " * (-len(text) % 4)
    return b"".join([struct.pack("<I", len(text)), text, *(a.tobytes() for a in parts.values())])


def unpack(body: bytes) -> tuple[dict[str, Any], dict[str, NDArray[np.float32]]]:
    """Return header and arrays of a body."""
    (size,) = struct.unpack_from("<I", body)
    header: dict[str, Any] = json.loads(body[4 : 4 + size])
    arrays, at = {}, 4 + size
    for entry in header["arrays"]:
        count = int(np.prod(entry["shape"]))
        arrays[entry["name"]] = np.frombuffer(body, "<f4", count, at).reshape(entry["shape"])
        at += 4 * count
    return header, arrays
