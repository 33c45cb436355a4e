"""Effective density of a whole 26 x 33 mm field at 1 um (858 million cells) on a GPU.

Device time by CUDA events, median of 5, the field already on the card. Single
precision; real transforms of the whole field, nothing coarsened. The kernel's
spectrum belongs to the pad and is counted in as well as apart. Checked against
the host in double precision: on a smaller field cell by cell, and on the whole field
against the closed form of a density step.

The planish modules are loaded from their files so that a machine with no more
than CuPy and SciPy can run this.
"""

from __future__ import annotations

import statistics
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "src"))
from planish.physics.pattern.effective_density import effective_density
from planish.physics.pattern.kernels import cell_weights

SHAPE, CELL, LENGTH = (33000, 26000), 1e-6, 5e-3


def device_seconds(cp, work, repeats: int = 5) -> list[float]:
    seconds = []
    for _ in range(repeats):
        begin, end = cp.cuda.Event(), cp.cuda.Event()
        begin.record()
        result = work()
        end.record()
        end.synchronize()
        seconds.append(cp.cuda.get_elapsed_time(begin, end) / 1e3)
        del result
    return seconds


def main() -> None:
    try:
        import cupy as cp
    except ImportError:
        print("no CuPy here: nothing measured (needs a GPU and the extra [gpu])")
        return
    name = cp.cuda.runtime.getDeviceProperties(0)["name"].decode()
    print(f"on {name}\n{'what':66} | measured | bar")

    rng = np.random.default_rng(3)
    for length, kernel in ((9e-4, "elliptic"), (3e-4, "elliptic"), (5e-4, "gaussian"), (5e-4, "square")):
        small = rng.random((1200, 1500))
        host = effective_density(small, CELL, length, kernel=kernel)
        card = effective_density(cp.asarray(small, dtype=cp.float32), CELL, length, kernel=kernel, xp=cp)
        gap = float(np.abs(cp.asnumpy(card) - host).max())
        print(f"{kernel}, 1200 x 1500 cells, card float32 against host float64{'':7} | {gap:.1e} | 1e-5")

    field = cp.random.default_rng(5).random(SHAPE, dtype=cp.float32)
    for kernel in ("elliptic", "gaussian", "square"):

        def whole(kernel: str = kernel):
            return effective_density(field, CELL, LENGTH, kernel=kernel, xp=cp)

        whole()
        seconds = device_seconds(cp, whole)
        print(
            f"{kernel}: 33,000 x 26,000 cells at 1 um, kernel of 5 mm built anew{'':4}"
            f" | {statistics.median(seconds):.3f} s | 0.3 s  ({', '.join(f'{s:.3f}' for s in seconds)})"
        )
    build = device_seconds(cp, lambda: cell_weights("elliptic", LENGTH, CELL, cp))
    print(f"of which the elliptic kernel's weights{'':28} | {statistics.median(build):.3f} s |")
    mean = float(field.mean(dtype=cp.float64))
    kept = float(effective_density(field, CELL, LENGTH, xp=cp).mean(dtype=cp.float64))
    print(f"mean density kept to{'':46} | {abs(kept - mean):.1e} |")

    field[:] = 0
    field[:, SHAPE[1] // 2 :] = 1
    row = cp.asnumpy(effective_density(field, CELL, LENGTH, xp=cp)[100])
    coarse = np.zeros((520, 520))
    coarse[:, 260:] = 1
    want = effective_density(coarse, 50e-6, LENGTH)[0]  # exact cell integrals on 50 um cells
    x = (np.arange(520) + 0.5) * 50 - 0.5  # their centres lie midway between two 1 um cells
    got = 0.5 * (row[np.floor(x).astype(int)] + row[np.ceil(x).astype(int)])
    print(
        f"density step, card at 1 um against exact integrals at 50 um{'':7} | {np.abs(got - want).max():.1e} | 1e-5"
    )
    free, total = cp.cuda.runtime.memGetInfo()
    print(f"memory taken on the card{'':42} | {(total - free) / 2**30:.1f} GiB |")


if __name__ == "__main__":
    main()
