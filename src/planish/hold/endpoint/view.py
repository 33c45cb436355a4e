"""What an optical endpoint looks at: film, what lies under and over it, light, and the share of the spot that is film.

The share of the light that comes back is worked out once over all thicknesses, and read between by cubics.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.engine.record import Record, counted
from planish.errors import DataError, refuse
from planish.physics.optics.fringe import fringe_spacing
from planish.physics.optics.stack import POLARIZATIONS, Polarization, stack_shares
from planish.setup.optical_index import index_source, optical_index
from planish.units import as_si, as_whole

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
Light: TypeAlias = "str | float | Sequence[float] | Array"
PER_FRINGE = 64  # nodes of the table in the shortest fringe: cubics between them are off by 3e-7
MOST_COLOURS = 1000
MOST_NODES = 4_000_000  # of the table, all colours together
THICKEST = 100e-6  # [m]


@dataclass(frozen=True, slots=True, repr=False)
class FilmView(Record):
    """What the light of an endpoint sees; made by :meth:`of`.

    Attributes
    ----------
    film, under, ambient
        Materials: known ones, or tables of n and k.
    wavelengths
        Of the light [m], (colours,).
    angle
        In the ambient, from the normal [rad].
    polarization
        "s", "p" or "mean".
    below
        Films between the polished one and ``under``: (material, thickness [m]).
    share
        Of the spot that shows the film; the rest shows the stack without it, and stays as it is.
    """

    film: str
    under: str
    ambient: str
    wavelengths: Array
    angle: float
    polarization: Polarization
    below: tuple[tuple[str, float], ...]
    share: float
    _indices: tuple[Complex, ...] = field(default=(), compare=False)

    @classmethod
    def of(
        cls,
        film: str = "silica",
        light: Light = "632.8 nm",
        *,
        under: str = "silicon",
        ambient: str = "water",
        angle: float | str = 0.0,
        polarization: Polarization = "mean",
        below: Sequence[tuple[str, float | str]] = (),
        share: float | str = 1.0,
    ) -> FilmView:
        """Return the view of a film.

        Parameters
        ----------
        film
            Material that is polished: ``silica``, ``silicon nitride`` and the like, or a table of n and k.
        light
            One wavelength, as ``"632.8 nm"``; for white light ``"450..750 nm/40"``, evenly spaced colours; or
            wavelengths [m].
        under, ambient
            What the films lie on, and what the light comes through.
        angle
            Of the light in the ambient, from the normal [rad, or text].
        polarization
            "s", "p" or "mean" of the two.
        below
            Films between ``film`` and ``under``, from the top: (material, thickness).
        share
            Of the spot that shows the film, 0 to 1.

        Raises
        ------
        DataError
            For a material that is not known, and values that cannot be.
        ModelError
            For a wavelength at which a material's index is not known.
        """
        waves = read_light(light)
        slant, part = as_si(angle, "angle", "angle of the light"), as_si(share, "ratio", "share of the spot")
        if not 0 <= slant < 0.5 * np.pi:
            raise DataError(refuse("angle of the light", angle, "from 0 to below 90 degrees"))
        if not 0 < part <= 1:
            raise DataError(refuse("share of the spot", share, "above 0 and up to 100 %"))
        if polarization not in POLARIZATIONS:
            raise DataError(refuse("polarization", polarization, "s, p or mean", "mean is unpolarized light"))
        layers = tuple((name, as_si(thick, "thickness", f"thickness of {name}")) for name, thick in below)
        for name, thick in layers:
            if not 0 <= thick <= THICKEST:
                raise DataError(refuse(f"thickness of {name}", f"{1e9 * thick:g} nm", "from 0 to 100 um"))
        names = (ambient, film, *(name for name, _ in layers), under)
        indices = tuple(optical_index(name, 1e9 * waves) for name in names)
        if np.any(indices[0].imag > 0):
            raise DataError(
                refuse("ambient", ambient, "a medium that does not absorb", "light comes through it")
            )
        return cls(film, under, ambient, waves, slant, polarization, layers, part, indices)

    @property
    def words(self) -> str:
        """What is seen in which light, as a person says it."""
        light = f"{1e9 * self.wavelengths[0]:.5g} nm"
        if self.wavelengths.size > 1:
            light += f" to {1e9 * self.wavelengths[-1]:.5g} nm ({counted(self.wavelengths.size, 'colour')})"
        return f"{self.film} on {self.under} in {self.ambient}, {light}"

    def _told(self) -> str:
        return self.words

    @property
    def fringe(self) -> float:
        """Thickness from one fringe to the next [m], of the shortest one."""
        return min(
            fringe_spacing(float(n.real), float(wave), self.angle, float(n0.real))
            for n, wave, n0 in zip(self._indices[1], self.wavelengths, self._indices[0], strict=True)
        )

    @property
    def repeats(self) -> bool:
        """Whether the signal is the same again one fringe further: one colour and a clear film."""
        depth = 4.0 * np.pi * float(self._indices[1][0].imag) / float(self.wavelengths[0])
        return self.wavelengths.size == 1 and depth * self.fringe < 0.02

    def reflected(self, thickness: Array) -> Array:
        """Return the share of the light that comes back.

        Parameters
        ----------
        thickness
            Of the film [m], any shape.

        Returns
        -------
        Array
            (..., colours).
        """
        thick = np.asarray(thickness, dtype=np.float64)[..., None]
        layers: list[ArrayLike] = [thick, *(below for _, below in self.below)]
        seen = stack_shares(self._indices, layers, self.wavelengths, self.angle, self.polarization).reflected
        if self.share == 1.0:
            return seen
        bare: list[ArrayLike] = [np.zeros(1), *layers[1:]]
        rest = stack_shares(self._indices, bare, self.wavelengths, self.angle, self.polarization).reflected
        return np.asarray(self.share * seen + (1.0 - self.share) * rest)

    def sources(self) -> list[str]:
        """Return where the indices are from, a line each."""
        names = (self.ambient, self.film, *(name for name, _ in self.below), self.under)
        return list(dict.fromkeys(index_source(name) for name in names))


@dataclass(frozen=True, slots=True, repr=False)
class SeenTable(Record):
    """Reflected share over thickness: nodes ``step`` [m] apart from 0, ``values`` and ``slopes`` [1/m] (nodes, colours)."""

    step: float
    values: Array
    slopes: Array

    @classmethod
    def of(cls, view: FilmView, thickest: float) -> SeenTable:
        """Return the table of a view.

        Parameters
        ----------
        view
            Of the film.
        thickest
            Thickness up to which it is wanted [m].

        Raises
        ------
        DataError
            For a film so thick that the table would be too long.
        """
        from scipy.interpolate import CubicSpline

        step = view.fringe / PER_FRINGE
        count = int(np.ceil(thickest / step)) + 2
        colours = view.wavelengths.size
        if count * colours > MOST_NODES:
            most = f"up to {1e6 * MOST_NODES / colours * step:.4g} um in this light"
            raise DataError(
                refuse("thickness of the film", f"{1e6 * thickest:.4g} um", most, "or take fewer colours")
            )
        at = step * np.arange(count, dtype=np.float64)
        values = view.reflected(at)
        return cls(step, values, np.asarray(CubicSpline(at, values, axis=0)(at, 1)))

    def fewer(self, most: int) -> tuple[SeenTable, NDArray[np.int64]]:
        """Return the table of at most so many colours, evenly chosen, and which they are.

        Parameters
        ----------
        most
            Colours.
        """
        count = self.values.shape[1]
        chosen = np.unique(np.linspace(0, count - 1, min(count, most)).round().astype(np.int64))
        return SeenTable(self.step, self.values[:, chosen], self.slopes[:, chosen]), chosen

    def look(self, thickness: Array) -> tuple[Array, Array]:
        """Return reflected share and its slope.

        Parameters
        ----------
        thickness
            [m], any shape; beyond the ends the nearest end counts.

        Returns
        -------
        tuple[Array, Array]
            (..., colours) each, the slope [1/m].
        """
        place = np.clip(thickness / self.step, 0.0, self.values.shape[0] - 1.000001)
        at = place.astype(np.int64)
        x = (place - at)[..., None]
        v0, v1 = self.values[at], self.values[at + 1]
        s0, s1 = self.step * self.slopes[at], self.step * self.slopes[at + 1]
        c2, c3 = 3 * (v1 - v0) - 2 * s0 - s1, 2 * (v0 - v1) + s0 + s1
        return v0 + x * (s0 + x * (c2 + x * c3)), (s0 + x * (2 * c2 + 3 * x * c3)) / self.step


def read_light(light: Light) -> Array:
    """Return the wavelengths [m] of light as it was given.

    Parameters
    ----------
    light
        As for :meth:`FilmView.of`.

    Raises
    ------
    DataError
        For anything else.
    """
    if isinstance(light, str) and ".." in light:
        span, slash, count = light.partition("/")
        low, _, high = span.partition("..")
        if not slash or not count.strip().isascii() or not count.strip().isdigit():
            raise DataError(
                refuse(
                    "light", light, "a wavelength, or a range with a number of colours", "as 450..750 nm/40"
                )
            )
        many = as_whole(int(count.strip()), "colours of the light", 2, MOST_COLOURS)
        last = as_si(high.strip(), "thickness", "light")
        unit = high.strip().lstrip("+-0123456789.eE ")
        first = as_si(
            low.strip() if low.strip().rstrip("0123456789.") else f"{low.strip()} {unit}",
            "thickness",
            "light",
        )
        waves = np.linspace(first, last, many)
    elif isinstance(light, str | float | int):
        waves = np.array([as_si(light, "thickness", "light")])
    else:
        waves = np.array([as_si(float(one), "thickness", "light") for one in light])
    if not waves.size or not np.all((waves > 50e-9) & (waves < 50e-6)) or np.any(np.diff(waves) <= 0):
        raise DataError(
            refuse(
                "light", light if isinstance(light, str) else "wavelengths", "rising, between 50 nm and 50 um"
            )
        )
    if waves.size > MOST_COLOURS:
        raise DataError(refuse("colours of the light", int(waves.size), f"at most {MOST_COLOURS}"))
    return waves
