"""Indices of usual materials, from published formulas and tables.

A film that was deposited is nobody's table: its index goes with density, composition and temperature by a percent or
more, so measure your own where nanometres count. The tables are interpolated linearly in the wavelength.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planish.errors import ModelError, refuse
from planish.physics.optics.tables import COPPER, SILICON

SOURCES: tuple[str, ...] = (
    "Index of fused silica: Malitson 1965, J. Opt. Soc. Am. 55, 1205 (read as quoted in the refractiveindex.info database)",
    "Index of silicon at 300 K: Green 2008, Sol. Energ. Mat. Sol. Cells 92, 1305 (read as quoted in the "
    "refractiveindex.info database)",
    "Index of silicon nitride: Luke et al. 2015, Opt. Lett. 40, 4823 (read as quoted in the refractiveindex.info database)",
    "Index of copper: Johnson & Christy 1972, Phys. Rev. B 6, 4370 (read as quoted in the refractiveindex.info database)",
    "Index of water at 20 C: Daimon & Masumura 2007, Appl. Opt. 46, 3811 (read as quoted in the refractiveindex.info "
    "database)",
)

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
_MICRON = 1e-6


@dataclass(frozen=True, slots=True)
class Material:
    """A material that light meets: its ``name``, from where to where its index is known [m], and by whom."""

    name: str
    shortest: float
    longest: float
    source: str
    _index: Callable[[Array], Complex]

    def index(self, wavelength: Array) -> Complex:
        """Return n + i k.

        Parameters
        ----------
        wavelength
            In vacuum [m].

        Returns
        -------
        Complex
            Of the same shape.

        Raises
        ------
        ModelError
            For a wavelength at which it is not known.
        """
        within = (wavelength >= self.shortest * (1 - 1e-12)) & (wavelength <= self.longest * (1 + 1e-12))
        if not np.all(within):
            worst = float(np.ravel(wavelength[~within])[0])
            span = f"from {1e9 * self.shortest:.6g} to {1e9 * self.longest:.6g} nm"
            raise ModelError(
                refuse(f"wavelength for {self.name} [nm]", 1e9 * worst, span, "its index is known only there")
            )
        return self._index(wavelength / _MICRON)


def _sellmeier(*terms: tuple[float, float]) -> Callable[[Array], Complex]:
    """Return n^2 = 1 + sum B x^2/(x^2 - C), x in um, for terms (B, C in um^2)."""

    def index(x: Array) -> Complex:
        square = 1.0 + sum((b * x**2 / (x**2 - c) for b, c in terms), np.zeros_like(x))
        return np.asarray(np.sqrt(square), dtype=np.complex128)

    return index


def _tabled(rows: tuple[tuple[float, float, float], ...]) -> Callable[[Array], Complex]:
    at, n, k = np.array(rows).T

    def index(x: Array) -> Complex:
        return np.asarray(np.interp(x, at, n) + 1j * np.interp(x, at, k), dtype=np.complex128)

    return index


def _nothing(x: Array) -> Complex:
    return np.ones(x.shape, dtype=np.complex128)


MATERIALS: dict[str, Material] = {
    one.name: one
    for one in (
        Material("air", 100e-9, 20e-6, "n = 1 (its own 0.0003 more is left out)", _nothing),
        Material(
            "water",
            0.182e-6,
            1.129e-6,
            SOURCES[4],
            _sellmeier(
                (0.5684027565, 5.101829712e-3),
                (0.1726177391, 1.821153936e-2),
                (2.086189578e-2, 2.620722293e-2),
                (0.1130748688, 10.69792721),
            ),
        ),
        Material(
            "silica",
            0.21e-6,
            3.71e-6,
            SOURCES[0],
            _sellmeier((0.6961663, 0.0684043**2), (0.4079426, 0.1162414**2), (0.8974794, 9.896161**2)),
        ),
        Material(
            "silicon nitride",
            0.310e-6,
            5.504e-6,
            SOURCES[2],
            _sellmeier((3.0249, 0.1353406**2), (40314.0, 1239.842**2)),
        ),
        Material("silicon", 0.25e-6, 1.1e-6, SOURCES[1], _tabled(SILICON)),
        Material("copper", 0.1879e-6, 1.937e-6, SOURCES[3], _tabled(COPPER)),
    )
}
