"""How many wafers a pad serves before its grooves are worn off."""

from __future__ import annotations

from planish.experiments.record import Experiment, Row, scenario
from planish.predict.lot.run import polish_lot
from planish.predict.lot.variation import Variation

LOW, HIGH = 200.0, 5000.0  # wafers: from 200 to 300, to several thousand
DISKS = ("electroplated-100-grit", "electroplated-325-grit", "cvd-film-fine")
WORN = 0.9  # share of the groove depth at which a pad is changed (common practice, no source)
_WAFERS, _CELLS = 12, 40


def wafers(disk: str) -> float:
    """Return after how many wafers the grooves are worn, at the wear of the first ones.

    Parameters
    ----------
    disk
        A packaged one.
    """
    setup = scenario().replace({"conditioner.part": disk})
    lot = polish_lot(setup, _WAFERS, variation=Variation.none(), cells=_CELLS)
    deepest = lot.records.groove_min
    a_wafer = float(deepest[1] - deepest[-1]) / (_WAFERS - 2)
    return WORN * lot.rig.pad.grooves.depth / a_wafer


def rows() -> list[Row]:
    """Compute the rows."""
    return [
        Row(
            f"wafers of a pad under {disk} (measured: {LOW:g} to several thousand)",
            LOW,
            wafers(disk),
            "",
            "shape",
        )
        for disk in DISKS
    ]


EXPERIMENT = Experiment(
    name="pad-life",
    title="Wafers polished on a pad before it is changed",
    source="US 7,367,875",
    read="full text",
    rows=rows,
    said=(
        "The source gives a range, whose lower end stands as measured; the invented rotary setup falls within it with each disk. "
        "The pad's wear coefficient is itself invented to cut about 30 um/h, so this tells that the pieces fit, not that they were "
        "known apart."
    ),
)
