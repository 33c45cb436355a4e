"""What does a layout come to on a die, polished as asked: on which level, by which route, on which pad?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from planish.errors import DataError, ModelError, SetupError, refuse
from planish.jobs.stages import Stage, untold
from planish.predict.die.bands import die_band
from planish.predict.die.cells import DieChoices
from planish.predict.die.fill import propose_fill
from planish.predict.die.levels import described_level, process_of
from planish.predict.die.model import NO_LENGTH
from planish.predict.die.pad import pad_after
from planish.predict.die.polish import polish_die
from planish.results.saved import open_result
from planish.setup.die import DieSection
from planish.setup.fields import quantity_in
from planish.setup.given import as_rig
from planish.units import UnitError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from planish.measure.layout.maps import LayoutMaps
    from planish.predict.die.fill import FillProposal
    from planish.predict.die.level import Level
    from planish.predict.die.result import DieResult
    from planish.predict.wafer.bands import Band
    from planish.setup.given import SetupLike
    from planish.setup.si import Rig


@dataclass(frozen=True, slots=True, kw_only=True)
class DieAsked:
    """What is asked of a die, or of all fields, beside setup and layout; None leaves it to the setup.

    Attributes
    ----------
    process
        By name.
    step
        Before polishing; of metal the trench depth [m].
    planarization_length
        A measured one, instead of the pad's own [m].
    route
        "density" or "contact".
    after
        How many wafers the first platen's pad has polished before.
    """

    process: str | None = None
    step: float | None = None
    planarization_length: float | None = None
    route: str = "density"
    after: int = 0


@dataclass(frozen=True, slots=True)
class DieAnswer:
    """A polished die with the layout that it was polished on.

    Attributes
    ----------
    result
        The die, at each place.
    maps
        Of its layout.
    fill
        The dummy fill proposed; None where none was asked for.
    """

    result: DieResult
    maps: LayoutMaps
    fill: FillProposal | None

    def document(self) -> dict[str, Any]:
        """Return the figures of the die and of the fill, and the sources of both, as JSON can hold them."""
        more = ({}, []) if self.fill is None else (self.fill.summary(), self.fill.sources())
        return {**self.result.document(), **more[0], "sources": [*self.result.sources(), *more[1]]}


def die_quantity(named: str, text: str, key: str) -> float:
    """Return the SI value of a text that stands in for a key of [die], within the limits of that key.

    Parameters
    ----------
    named
        What a refusal calls it.
    text
        Number and unit.
    key
        Of [die], a quantity.

    Raises
    ------
    SetupError
        For a text that is none, or a value beyond the limits.
    """
    what = quantity_in(DieSection.known()[key])
    assert what is not None  # asked for keys that are quantities
    try:
        return what.si(text)
    except UnitError as error:
        raise SetupError(refuse(named, text, error.allowed, error.remedy)) from None


def asked_options(setup: SetupLike, asked: DieAsked, stage: Stage = untold) -> dict[str, Any]:
    """Return what is asked of one die and of all fields alike, as ``polish_die`` and ``polish_fields`` take it.

    Parameters
    ----------
    setup
        Of the first platen.
    asked
        What is asked; a route that there is not is refused by whoever polishes.
    stage
        Shows the wafers that the pad polishes before.

    Raises
    ------
    PlanishError
        For a process that there is not, and as ``pad_after``.
    """
    rig, length = as_rig(setup), asked.planarization_length
    process = process_of(rig) if asked.process is None else asked.process
    after = None
    if asked.after:
        with stage(f"{asked.after} wafers on the pad") as tell:
            after = pad_after(rig, asked.after, progress=lambda done, of: tell(done / of))
    return {
        "process": process,
        "level": None if asked.step is None else _with_step(rig, process, asked.step),
        "after": after,
        "choices": None if length is None else DieChoices(planarization_length=length),
        "route": asked.route,
    }


def _with_step(rig: Rig, process: str, step: float) -> Level:
    """Return the level described for a process, with another step [m]."""
    level = described_level(rig.die, process)
    return level.described({level.step_key: step})


def polish_as_asked(
    setups: Sequence[SetupLike],
    maps: LayoutMaps,
    asked: DieAsked,
    place: Sequence[str | float],
    *,
    below: Path | None = None,
    fill_ceiling: float | None = None,
    stage: Stage = untold,
) -> DieAnswer:
    """Polish a die of a layout at places of the wafer and, where asked for, propose dummy fill for it.

    Parameters
    ----------
    setups
        One a platen; the first says what stands on the die.
    maps
        Of the layout.
    asked
        What else is asked.
    place
        "centre", "mid", "edge", radii [m].
    below
        Saved die of the level below, whose topography this one starts on.
    fill_ceiling
        Density that no cell may pass by filling; None: no fill is proposed.
    stage
        Shows how far it is.

    Raises
    ------
    PlanishError
        As :func:`left_below`, :func:`asked_options`, ``polish_die`` and ``propose_fill``.
    """
    incoming = None if below is None else left_below(below, maps)
    options = asked_options(setups[0], asked, stage)
    with stage("polishing") as tell:
        result = polish_die(setups, maps, place=place, incoming=incoming, tell=tell, **options)
    fill = None
    if fill_ceiling is not None:  # for the place with the widest range
        length = result.worst.seen.length
        if not isfinite(length):
            raise ModelError(NO_LENGTH)
        fill = propose_fill(result.density, result.cell, length, ceiling=fill_ceiling, origin=result.origin)
    return DieAnswer(result, maps, fill)


def bands_as_asked(
    setups: Sequence[SetupLike],
    maps: LayoutMaps,
    asked: DieAsked,
    place: Sequence[str | float],
    *,
    below: Path | None = None,
    workers: int = 1,
    stage: Stage = untold,
) -> dict[str, Band]:
    """Return how far each figure of :func:`polish_as_asked` may be off.

    Parameters
    ----------
    setups, maps, asked, place, below
        As there.
    workers
        Processes that share the work.
    stage
        Shows that it goes on.

    Returns
    -------
    dict[str, Band]
        By the summary's keys: value, standard deviation and the share of each spread.

    Raises
    ------
    PlanishError
        As :func:`polish_as_asked`.
    """
    incoming = None if below is None else left_below(below, maps)
    options = {**asked_options(setups[0], replace(asked, after=0), stage), "after": asked.after or None}
    with stage("bands"):
        return die_band(setups, maps, place=place, incoming=incoming, workers=workers, **options)


def left_below(file: Path, maps: LayoutMaps) -> dict[str, NDArray[np.float64]]:
    """Return what a die of the level below left at each of its places [m], on the cells of ``maps``.

    Parameters
    ----------
    file
        Result of that die.
    maps
        Of the layout of the level above it.

    Raises
    ------
    DataError
        If the file holds no die, or one on other cells.
    """
    below = open_result(file)
    if below.kind != "die":
        raise DataError(refuse(f"{file}: result", below.kind, "that of a die"))
    try:
        surface = np.asarray(below.data["surface"].values, dtype=np.float64)
        names = [str(name) for name in below.data["place"].values]
        cell = float(below.data.attrs["cell"])
        corner = np.array([below.data["x"].values[0], below.data["y"].values[0]], dtype=np.float64) - cell / 2
    except (KeyError, IndexError, TypeError, ValueError) as exc:
        raise DataError(
            f"{file}: holds no die: {type(exc).__name__} {exc} (polish the level below again)"
        ) from None
    if surface.ndim != 3 or len(names) != len(surface) or not np.isfinite(surface).all():
        raise DataError(
            f"{file}: holds no die: no finite surface at each place (polish the level below again)"
        )
    shape = surface.shape[1:]
    if shape != np.shape(maps.density) or abs(cell - maps.cell) > 1e-6 * cell:
        raise DataError(
            refuse(
                f"{file}: cells of the level below",
                f"{shape[1]} x {shape[0]} of {cell * 1e6:g} um",
                f"those of the layout here, {maps.density.shape[1]} x {maps.density.shape[0]} of "
                f"{maps.cell * 1e6:g} um",
                "read both layers with the same --cell over the same box",
            )
        )
    if np.max(np.abs(corner - np.asarray(maps.origin))) > 0.5 * cell:
        raise DataError(
            refuse(
                f"{file}: corner of the level below [mm]",
                tuple(round(float(v) * 1e3, 4) for v in corner),
                f"that of the layout here, {tuple(round(float(v) * 1e3, 4) for v in maps.origin)}",
            )
        )
    return dict(zip(names, surface, strict=True))
