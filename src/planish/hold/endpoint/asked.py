"""What a question about a trace says of film and light, and what the trace's own file says where the question does not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeAlias, TypedDict

import numpy as np

from planish.errors import DataError, refuse
from planish.hold.endpoint.trace import Trace
from planish.hold.endpoint.view import FilmView, Light
from planish.physics.optics.stack import Polarization
from planish.units import as_si

Range: TypeAlias = "str | Sequence[float | str]"
MACHINE_FIRST = (
    "the machine's interlocks and the tool's own stop rule come first: what is told here is to be checked by qualified "
    "staff against the tool maker's limits, on monitor wafers, before product"
)


class OpticsAsked(TypedDict, total=False):
    """What may be said of film and light, as :meth:`planish.hold.endpoint.view.FilmView.of` takes it."""

    film: str | None
    light: Light | None
    under: str | None
    ambient: str | None
    angle: float | str | None
    polarization: Polarization | None
    below: Sequence[tuple[str, float | str]] | str | None
    share: float | str | None


@dataclass(frozen=True, slots=True)
class Optics:
    """Film and light as asked; what is None is taken from the trace's file, and failing that is as usual."""

    film: str | None = None
    light: Light | None = None
    under: str | None = None
    ambient: str | None = None
    angle: float | str | None = None
    polarization: Polarization | None = None
    below: Sequence[tuple[str, float | str]] | str | None = None
    share: float | str | None = None

    def view(self, trace: Trace) -> tuple[FilmView, tuple[str, ...]]:
        """Return the view of a trace, and what had to be assumed for it.

        Parameters
        ----------
        trace
            Whose file may say of film and light what is not asked.

        Raises
        ------
        DataError
            For what cannot be, and where nothing says which light it is.
        """
        asked = {name: getattr(self, name) for name in self.__slots__}
        told = {name: value if value is not None else trace.told.get(name) for name, value in asked.items()}
        light = trace.wavelengths if trace.wavelengths.size else told["light"]
        if light is None:
            raise DataError(
                f"{trace.source}: light: not given: must be a wavelength, as '632.8 nm' (or name the columns by theirs)"
            )
        usual: dict[str, Any] = {
            "film": "silica",
            "under": "silicon",
            "ambient": "water",
            "angle": 0.0,
            "polarization": "mean",
            "share": 1.0,
        }
        assumed = tuple(
            f"{name}: {usual[name]} taken (not told)"
            for name in ("film", "under", "ambient")
            if told[name] is None
        )
        filled: dict[str, Any] = {name: usual[name] if told[name] is None else told[name] for name in usual}
        share = read_range(filled["share"], "ratio", "share of the spot", one=True)[0]
        view = FilmView.of(
            filled["film"],
            light,
            under=filled["under"],
            ambient=filled["ambient"],
            angle=filled["angle"],
            polarization=filled["polarization"],
            below=read_below(told["below"]),
            share=share,
        )
        if view.wavelengths.size != trace.signals.shape[1]:
            raise DataError(
                refuse(
                    f"{trace.source}: light",
                    f"{view.wavelengths.size} colours",
                    f"{trace.signals.shape[1]}, one a column",
                )
            )
        return view, assumed


def optics_of(given: OpticsAsked) -> Optics:
    """Return film and light from keyword arguments.

    Raises
    ------
    DataError
        For one that there is not.
    """
    unknown = [name for name in given if name not in Optics.__slots__]
    if unknown:
        raise DataError(refuse("argument", unknown[0], ", ".join(Optics.__slots__)))
    return replace(Optics(), **given)


def read_range(given: Range | float, dimension: str, name: str, *, one: bool = False) -> tuple[float, float]:
    """Return a least and a most in SI.

    Parameters
    ----------
    given
        As ``"940..1060 nm"``, or a pair.
    dimension
        Of its values.
    name
        What it is called, for the refusal.
    one
        Whether a single value stands for both.

    Returns
    -------
    tuple[float, float]
        The least and the most.

    Raises
    ------
    DataError
        For anything else.
    """
    if isinstance(given, str) and ".." in given:
        low, _, high = (part.strip() for part in given.partition(".."))
        unit = high.lstrip("+-0123456789.eE ")
        low = low if low.rstrip("0123456789.") else f"{low} {unit}"
        return as_si(low, dimension, name), as_si(high, dimension, name)
    if one and isinstance(given, str | float | int):
        value = as_si(given, dimension, name)
        return value, value
    if isinstance(given, str) or not isinstance(given, Sequence | np.ndarray) or len(given) != 2:
        raise DataError(refuse(name, given, "a range", "as least..most with the unit"))
    return as_si(given[0], dimension, name), as_si(given[1], dimension, name)


def read_below(given: Sequence[tuple[str, float | str]] | str | None) -> tuple[tuple[str, float | str], ...]:
    """Return the films between the polished one and the last medium.

    Parameters
    ----------
    given
        As pairs, or as text: ``"silicon nitride 100 nm + silica 20 nm"``.

    Raises
    ------
    DataError
        For a piece that is not a material and a thickness.
    """
    if given is None or given == "":
        return ()
    if not isinstance(given, str):
        return tuple((str(name), thick) for name, thick in given)
    found: list[tuple[str, float | str]] = []
    for piece in given.split("+"):
        words = piece.split()
        if len(words) < 3:
            raise DataError(
                refuse(
                    "films below",
                    piece.strip(),
                    "a material and its thickness",
                    "as 'silicon nitride 100 nm'",
                )
            )
        found.append((" ".join(words[:-2]), " ".join(words[-2:])))
    return tuple(found)
