"""The unit in which a kind of quantity is told: decided here, once, for every summary and table.

A key ends in its unit (``pressure_psi``). The same kind of quantity never has two units: a pressure that is set
or carried is in psi wherever it is told, the far higher one on the summits of the pad in MPa
(tuned settings alone give theirs in kPa, for scripts); what is removed
from a film or stands out of it is in nm, what lies in the pad or the layout in um, places on the wafer in mm.
"""

from __future__ import annotations

from dataclasses import dataclass

from planish import units
from planish.units import ZERO_CELSIUS


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit that keys may end in.

    ``ending`` as it stands in a key, ``shown`` to a reader; ``si`` and ``si_ending`` the same in SI;
    Factor and offset: value in SI = factor value + offset; ``kinds``: the quantities it is for.
    """

    ending: str
    shown: str
    si: str
    si_ending: str
    factor: float
    kinds: tuple[str, ...]
    offset: float = 0.0

    def to_si(self, value: float) -> float:
        """Return a value in SI."""
        return value * self.factor + self.offset


def _all() -> tuple[Unit, ...]:
    return (
        Unit("nm_per_min", "nm/min", "m/s", "m_per_s", 1e-9 / 60, ("removal rate",)),
        Unit("um_per_h", "µm/h", "m/s", "m_per_s", 1e-6 / 3600, ("pad cut rate",)),
        Unit("m_per_s2", "m/s²", "m/s2", "m_per_s2", 1.0, ("acceleration of an arm",)),
        Unit("m_per_s", "m/s", "m/s", "m_per_s", 1.0, ("sliding speed",)),
        Unit("psi", "psi", "Pa", "Pa", units.to_si("1 psi", "pressure"), ("pressure on wafer or ring",)),
        Unit("kPa", "kPa", "Pa", "Pa", 1e3, ("pressure of tuned settings",)),
        Unit("MPa", "MPa", "Pa", "Pa", 1e6, ("pressure on summits",)),
        Unit("per_Pa", "1/Pa", "1/Pa", "per_Pa", 1.0, ("removal coefficient",)),
        Unit("per_um", "1/µm", "1/m", "per_m", 1e6, ("edge length per area",)),
        Unit("per_h", "1/h", "1/s", "per_s", 1.0 / 3600.0, ("wafers an hour",)),
        Unit("ml", "ml", "m3", "m3", 1e-6, ("slurry for a wafer",)),
        Unit("per_s", "1/s", "1/s", "per_s", 1.0, ("shear rate",)),
        Unit("um2", "µm²", "m2", "m2", 1e-12, ("layout area",)),
        Unit("nm", "nm", "m", "m", 1e-9, ("film thickness", "topography", "particle size")),
        Unit("um", "µm", "m", "m", 1e-6, ("pad", "layout")),
        Unit("mm", "mm", "m", "m", 1e-3, ("place on wafer or die", "planarization length")),
        Unit("m", "m", "m", "m", 1.0, ("sliding distance",)),
        Unit("C", "°C", "K", "K", 1.0, ("temperature",), ZERO_CELSIUS),
        Unit("h", "h", "s", "s", 3600.0, ("use of a disk",)),
        Unit("s", "s", "s", "s", 1.0, ("time",)),
        Unit("percent", "%", "1", "", 0.01, ("share", "non-uniformity")),
    )


# Endings of keys whose figure has no unit at all.
WITHOUT_UNIT = (
    "coefficient",
    "relative",
    "error",
    "index",
    "scale",
    "density",
    "squared",
    "factor",
    "mean",
    "power",
    "share",
    "score",
    "price",  # in the money that stands beside it
    "cost",
    "wafer",  # money for one
    "hour",  # wafers in one
    "week",
)

UNITS = _all()
_BY_LENGTH = sorted(UNITS, key=lambda unit: -len(unit.ending))


def unit_of(key: str) -> Unit | None:
    """Return the unit in which a key ends; None for a count, a text or a figure without a unit."""
    return next((unit for unit in _BY_LENGTH if key.endswith("_" + unit.ending)), None)


def stem(key: str) -> str:
    """Return a key without its unit."""
    unit = unit_of(key)
    return key if unit is None else key[: -len(unit.ending) - 1]


def si_value(key: str, value: float) -> float:
    """Return the figure of a key in SI; shares and plain numbers stay.

    Parameters
    ----------
    key
        Of a summary, with its unit at the end.
    value
        In that unit.

    Returns
    -------
    float
        In SI.
    """
    unit = unit_of(key)
    return value if unit is None or not unit.si_ending else unit.to_si(value)
