"""The verb that polishes a die, and the fit of what it rests on."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from planish.cli import show
from planish.cli.bounds import option_length
from planish.errors import DataError, SetupError, refuse
from planish.units import show as pretty

if TYPE_CHECKING:
    from planish.jobs.bands import Bands
    from planish.jobs.dies import DieAsked
    from planish.measure.layout.maps import LayoutMaps
    from planish.setup.models import Setup

NAMED = ("centre", "mid", "edge")


@dataclass(frozen=True, slots=True)
class DieWords:
    """What the command line asks of a die, as text."""

    layout: Path
    layer: str | None
    cell: str
    place: str
    process: str | None
    step_height: str | None
    planarization_length: str | None
    route: str
    after: int
    from_die: Path | None
    then: list[Path]
    settings: list[str]

    def setups(self, file: Path) -> list[Setup]:
        """Return the setup with what was set, and those of the next platens as they stand."""
        from planish.jobs.changed import load_changed

        return [load_changed(file, self.settings), *(load_changed(path) for path in self.then)]

    def maps(self, quiet: bool) -> LayoutMaps:
        """Return the cell maps of the layout."""
        return read_maps(self.layout, self.layer, self.cell, quiet)

    def asked(self) -> DieAsked:
        """Return what is asked of one die and of all fields alike."""
        from planish.jobs.dies import DieAsked, die_quantity

        step, length = self.step_height, self.planarization_length
        return DieAsked(
            process=self.process,
            step=None if step is None else die_quantity("--step-height", step, "step"),
            planarization_length=None
            if length is None
            else die_quantity("--planarization-length", length, "planarization_length"),
            route=self.route,
            after=self.after,
        )


def read_maps(file: Path, layer: str | None, cell: str, quiet: bool, **of_a_picture: Any) -> LayoutMaps:
    """Return the cell maps of a file that the options describe."""
    from planish.jobs.layouts import read_cells

    size = option_length("--cell", cell)
    return read_cells(file, size, layer, named="--layer", stage=show.stages(quiet), **of_a_picture)


def die(
    file: Path,
    words: DieWords,
    fill_ceiling: float | None,
    band: bool,
    workers: int,
    json_out: bool,
    out: Path | None,
    units: str,
) -> None:
    """Polish a die of a layout at one or more places of the wafer and print its figures."""
    show.check_units(units)
    from planish.jobs.bands import Bands
    from planish.jobs.dies import bands_as_asked, polish_as_asked

    setups = words.setups(file)
    where = places(words.place, setups[0].rig.wafer.radius)
    asked = (setups, words.maps(json_out), words.asked(), where)
    stage = show.stages(json_out)
    found = polish_as_asked(*asked, below=words.from_die, fill_ceiling=fill_ceiling, stage=stage)
    bands = (
        Bands(
            bands_as_asked(*asked, below=words.from_die, workers=workers, stage=stage),
            any(setup.model.fitted is not None for setup in setups),
        )
        if band
        else None
    )
    _print(found.document(), json_out, units, bands)
    show.files(found, out, json_out)


def places(text: str, radius: float) -> list[str | float]:
    """Return the places on a wafer of a radius [m] named in a text such as "centre,edge,120mm" or "all"."""
    if text == "all":
        return list(NAMED)
    parts = [part.strip() for part in text.split(",")]
    return [item if item in NAMED else _radius(item, radius) for item in parts]


def _radius(text: str, most: float) -> float:
    found = show.quantity("--place", text, "length")
    if not 0 <= found <= most:
        raise SetupError(
            refuse("--place", text, f"from 0 mm to {pretty(most, 'length', digits=6)}, the wafer's radius")
        )
    return found


def _print(figures: dict[str, Any], json_out: bool, units: str, bands: Bands | None = None) -> None:
    if json_out:
        show.print_json({**figures, **({} if bands is None else bands.document())})
        return
    show.summary(figures, units)
    if bands is not None:
        show.bands(bands)
    if figures["hot_spots"]:
        head = list(figures["hot_spots"][0])
        show.table(head, [list(spot.values()) for spot in figures["hot_spots"]], title="where to look")


def fit_steps(
    files: list[Path],
    steps: Path,
    layout: Path | None,
    layer: str | None,
    cell: str,
    step_height: str | None,
    json_out: bool,
    out: Path | None,
) -> None:
    """Fit planarization length, blanket rate and contact height to measured test structures."""
    if files:
        raise DataError(
            f"fit --steps: {len(files)} more file(s) given: must be none beside STEPS and --layout"
        )
    if layout is None:
        raise DataError("--layout: not given: must be the layout on which the steps were measured")
    from planish.jobs.steps import fit_steps as fit
    from planish.jobs.steps import read_measured_steps

    step = None
    if step_height is not None:
        from planish.jobs.dies import die_quantity

        step = die_quantity("--step-height", step_height, "step")
    table = read_measured_steps(steps, step, named="--step-height")
    found = fit(read_maps(layout, layer, cell, json_out), table)
    figures = found.document()
    if json_out:
        show.print_json(figures)
    else:
        show.summary(figures)
        show.changes(found.changes, "to polish a die with this length, add")
    show.files(found, out, json_out)
