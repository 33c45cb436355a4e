"""One small door to the array libraries: NumPy with SciPy, or CuPy on a graphics card.

A solver written against a :class:`Backend` runs unchanged on both. Only transforms and moving
data between host and device differ; everything else is the array library itself (``backend.xp``).
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from planish.errors import PlanishError, refuse

BackendName = Literal["numpy", "cupy"]


@dataclass(frozen=True)
class Backend:
    """An array library with its real two-dimensional Fourier transforms.

    Attributes
    ----------
    name
        ``"numpy"`` or ``"cupy"``.
    xp
        The array module.
    workers
        Threads used on the host (always 1 on a device). They change the time, never the numbers.
    """

    name: BackendName
    xp: Any
    workers: int
    _fft: Any

    def rfft2(self, field: Any) -> Any:
        """Return the half-spectrum of a real field.

        Parameters
        ----------
        field
            (ny, nx).

        Returns
        -------
        Any
            (ny, nx//2 + 1), in the field's precision.
        """
        if self.name == "numpy":
            return self._fft.rfft2(field, workers=self.workers)
        return self._fft.rfft2(field)

    def irfft2(self, spectrum: Any, shape: tuple[int, int]) -> Any:
        """Return the real field of a half-spectrum.

        Parameters
        ----------
        spectrum
            (ny, nx//2 + 1); it may be overwritten.
        shape
            (ny, nx).

        Returns
        -------
        Any
            (ny, nx).
        """
        if self.name == "numpy":
            return self._fft.irfft2(spectrum, s=shape, workers=self.workers, overwrite_x=True)
        return self._fft.irfft2(spectrum, s=shape, overwrite_x=True)

    def asarray(self, values: Any, dtype: Any = None) -> Any:
        """Bring values to this backend (no copy where none is needed), contiguous.

        Parameters
        ----------
        values
            Of any array kind.
        dtype
            Theirs unless given.

        Returns
        -------
        Any
            An array of the backend.
        """
        if self.name == "numpy" and hasattr(values, "__cuda_array_interface__"):
            values = values.get()
        found = self.xp.asarray(values, dtype=dtype)
        return self.xp.ascontiguousarray(found) if found.ndim else found

    def to_host(self, values: Any) -> np.ndarray:
        """Return values as a NumPy array on the host.

        Parameters
        ----------
        values
            An array of the backend.

        Returns
        -------
        np.ndarray
            On the host.
        """
        return values.get() if hasattr(values, "get") else np.asarray(values)

    def sync(self) -> None:
        """Wait until the device has done everything asked of it (nothing to wait for on the host)."""
        if self.name == "cupy":
            self.xp.cuda.get_current_stream().synchronize()


def available_workers() -> int:
    """Return how many processors this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0)) or 1
    return os.cpu_count() or 1


def get_backend(name: str = "numpy", *, workers: int | None = None) -> Backend:
    """Return the array backend called `name`.

    Parameters
    ----------
    name
        ``"numpy"``, or ``"cupy"`` for a CUDA device (extra ``planish[gpu]``).
    workers
        Host threads, 1 or more; all processors this process may use if None.

    Returns
    -------
    Backend
        Ready for work.

    Raises
    ------
    PlanishError
        If the name is unknown, or CuPy or a device is missing.
    """
    if workers is not None and workers < 1:
        raise PlanishError(refuse("workers", workers, "1 or more"))
    if name == "numpy":
        import scipy.fft

        return Backend("numpy", np, workers or available_workers(), scipy.fft)
    if name == "cupy":
        try:
            import cupy
            import cupyx.scipy.fft

            cupy.cuda.runtime.getDeviceCount()
        except ImportError as missing:
            raise PlanishError(
                refuse("backend", name, "'numpy' here: CuPy is not installed", "pip install 'planish[gpu]'")
            ) from missing
        except cupy.cuda.runtime.CUDARuntimeError as missing:
            raise PlanishError(
                refuse("backend", name, "'numpy' here: no CUDA device answers", "check the driver")
            ) from missing
        return Backend("cupy", cupy, 1, cupyx.scipy.fft)
    raise PlanishError(refuse("backend", name, "'numpy' or 'cupy'"))
