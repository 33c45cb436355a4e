"""Effective density: the layout density as the bending pad sees it.

rho_eff = w * rho, the layout density convolved with the kernel of
:mod:`planish.physics.pattern.kernels`. The layout density is taken as uniform
inside each cell; the value returned is that at the cell's centre, and with
the kernel's exact cell integrals the convolution is then exact. Two kinds of
edge exist: the reticle field repeats on the wafer (``"periodic"``), or it
stands alone in surroundings of a given density (``"alone"``).
"""

from __future__ import annotations

from types import ModuleType
from typing import Any, Literal

import numpy as np
import scipy.fft

from planish.errors import ModelError, refuse
from planish.physics.pattern.kernels import SOURCES as KERNEL_SOURCES
from planish.physics.pattern.kernels import Kernel, axis_weights, cell_weights

Edges = Literal["periodic", "alone"]
SOURCES: tuple[str, ...] = (
    *KERNEL_SOURCES,
    "Stine et al. 1998, IEEE Trans. Semicond. Manuf. 11, 129: density sets the rate (read as quoted in an open "
    "process handbook)",
)


def effective_density(
    density: Any,
    cell: float,
    length: float,
    *,
    kernel: Kernel = "elliptic",
    edges: Edges = "periodic",
    outside: float = 0.0,
    xp: Any = np,
    workers: int = 1,
) -> Any:
    """Return the effective density at each cell centre.

    Parameters
    ----------
    density
        Share of each cell that is raised, (ny, nx), 0 to 1.
    cell
        Side of a cell [m].
    length
        Planarization length [m].
    kernel
        How the neighbourhood is weighted (see density_kernels).
    edges
        "periodic", the field repeats; "alone", ``outside`` is the density around it.
    outside
        Density around a field that stands alone, 0 to 1.
    xp
        NumPy, or CuPy to work on a GPU in the density's own precision.
    workers
        Threads of the transforms on the host; the numbers do not depend on it.

    Returns
    -------
    effective
        (ny, nx), on the device of ``xp``.

    Raises
    ------
    ModelError
        For a density outside 0..1 or not finite, or an unknown choice of edges.
    """
    field = xp.asarray(density)
    if field.ndim != 2 or field.size == 0:
        raise ModelError(refuse("density map shape", field.shape, "two axes, not empty"))
    low, high = float(field.min()), float(field.max())
    if not (low >= -1e-9 and high <= 1 + 1e-9):
        raise ModelError(refuse("density", low if not low >= -1e-9 else high, "between 0 and 1"))
    if edges not in ("periodic", "alone"):
        raise ModelError(refuse("edges", edges, "'periodic' or 'alone'"))
    if edges == "alone":
        return _alone(field, cell, length, kernel, outside, xp, workers)
    return _periodic(field, cell, length, kernel, xp, workers)


def _periodic(field: Any, cell: float, length: float, kernel: Kernel, xp: Any, workers: int) -> Any:
    fft = _fft(xp)
    shape = field.shape
    spectrum = fft.rfft2(field, **_threads(xp, workers))
    if kernel == "elliptic":
        spectrum *= fft.rfft2(_folded(cell_weights(kernel, length, cell, xp), shape, field.dtype, xp))
    else:
        one = axis_weights(kernel, length, cell)
        spectrum *= fft.fft(_folded_line(one, shape[0], field.dtype, xp))[:, None]
        spectrum *= fft.rfft(_folded_line(one, shape[1], field.dtype, xp))[None, :]
    result = fft.irfft2(spectrum, s=shape, **_threads(xp, workers))
    return xp.clip(result, 0.0, 1.0, out=result)


def _alone(
    field: Any, cell: float, length: float, kernel: Kernel, outside: float, xp: Any, workers: int
) -> Any:
    if not 0 <= outside <= 1:
        raise ModelError(refuse("density outside the field", outside, "between 0 and 1"))
    weights = cell_weights(kernel, length, cell, xp)
    # Weights farther off than the field is wide never meet it.
    n = min(weights.shape[0] // 2, max(field.shape) - 1)
    middle = weights.shape[0] // 2
    weights = weights[middle - n : middle + n + 1, middle - n : middle + n + 1]
    shape = tuple(scipy.fft.next_fast_len(size + n, real=True) for size in field.shape)
    padded = xp.zeros(shape, dtype=field.dtype)
    padded[: field.shape[0], : field.shape[1]] = field - outside
    fft = _fft(xp)
    spectrum = fft.rfft2(padded, **_threads(xp, workers))
    spectrum *= fft.rfft2(_folded(weights, shape, field.dtype, xp))
    result = fft.irfft2(spectrum, s=shape, **_threads(xp, workers))
    return xp.clip(result[: field.shape[0], : field.shape[1]] + outside, 0.0, 1.0)


def _folded(weights: Any, shape: tuple[int, ...], dtype: Any, xp: Any) -> Any:
    """Kernel centred on cell (0, 0) of a periodic field; what reaches past the field wraps around."""
    n = weights.shape[0] // 2
    rows, columns = (_fold_matrix(n, size) for size in shape)
    if 2 * n + 1 <= min(shape):
        out = xp.zeros(shape, dtype=dtype)
        row, column = xp.asarray(rows), xp.asarray(columns)
        out[row[:, None], column[None, :]] = weights.astype(dtype)
        return out
    host = weights if xp is np else weights.get()
    tall = np.zeros((shape[0], host.shape[1]))
    np.add.at(tall, rows, host)
    full = np.zeros((shape[1], shape[0]))
    np.add.at(full, columns, tall.T)
    return xp.asarray(full.T.astype(dtype))


def _folded_line(weights: Any, size: int, dtype: Any, xp: Any) -> Any:
    out = np.zeros(size)
    np.add.at(out, _fold_matrix(weights.size // 2, size), weights)
    return xp.asarray(out.astype(dtype))


def _fold_matrix(n: int, size: int) -> Any:
    return np.arange(-n, n + 1) % size


def _fft(xp: Any) -> ModuleType | Any:
    return scipy.fft if xp is np else xp.fft


def _threads(xp: Any, workers: int) -> dict[str, int]:
    return {"workers": workers} if xp is np else {}
