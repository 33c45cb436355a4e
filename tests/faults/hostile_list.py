"""What the lists of hostile files share: the list itself, and damage at random."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

MB = 1 << 20
Make = Callable[[], bytes]
#: Name of a file: its ending, and a function that returns its bytes.
FILES: dict[str, tuple[str, Make]] = {}
#: A part that takes seconds, for every test run.
QUICK: set[str] = set()


def add(name: str, ending: str, make: Make, *, quick: bool = False) -> None:
    assert name not in FILES, name
    FILES[name] = (ending, make)
    if quick:
        QUICK.add(name)


def damaged(data: bytes, seed: int, first: int = 0, last: int = 0) -> bytes:
    rng = np.random.default_rng(seed)
    out = bytearray(data)
    for _ in range(int(rng.integers(1, 6))):
        at = int(rng.integers(first, len(out) - last))
        kind = int(rng.integers(0, 4))
        if kind == 0:
            out[at] ^= 1 << int(rng.integers(0, 8))
        elif kind == 1:
            out[at] = int(rng.choice([0, 1, 127, 128, 255]))
        elif kind == 2 and not last:
            del out[at : at + int(rng.integers(1, 40))]
        else:
            out[at] = int(rng.integers(0, 256))
    return bytes(out)
