"""The answers that an input may move: their words, and how they come from wafer, lot, die, cleaning, hold, cost, dwell table."""

from __future__ import annotations

import math
import pickle
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from planish.cost.per_wafer import cost_of_lot, lot_of_cost
from planish.inputs.scenarios import layout
from planish.predict.cleaning import clean_wafer
from planish.predict.die.bands import die_band
from planish.predict.die.polish import polish_die
from planish.predict.dwell import design_sweep
from planish.predict.lot.run import polish_lot
from planish.predict.lot.variation import Variation
from planish.predict.wafer.bands import polish_band
from planish.predict.wafer.polish import polish
from planish.setup.checks.vacuum import vacuum_hold
from planish.setup.si import Prices

if TYPE_CHECKING:
    from planish.predict.lot.result import LotResult
    from planish.setup.models import Setup

Scale = Literal["wafer", "band", "lot", "new pad", "die", "die band", "cleaning", "hold", "cost", "dwell"]
Figures = dict[str, float | None]
UM_PER_H = 3.6e9  # [um/h] of 1 m/s
WEAR = 1e-15  # [m] worn, below which nothing wears


@dataclass(frozen=True, slots=True)
class Asked:
    """Which answers are asked for, and how long a lot is."""

    scales: tuple[Scale, ...]
    wafers: int


def figures(setup: Setup, asked: Asked) -> Figures:
    """Return the answers of a setup by their words; None for one that does not come to an end.

    Parameters
    ----------
    setup
        As moved.
    asked
        Scales and wafers.

    Returns
    -------
    Figures
        In the order of the scales.
    """
    found: Figures = {}
    for scale in asked.scales:
        found |= _OF_SCALE[scale](setup, asked)
    return found


def _wafer(setup: Setup, asked: Asked) -> Figures:
    told = polish(setup).summary()
    return {words: _first(told, key) for words, key in _WAFER.items()}


_WAFER = {
    "removal rate": "mean_removal_rate_nm_per_min",
    "WIWNU": "wiwnu_sigma_percent",
    "edge": "edge_extreme_percent",
    "pad temperature": "peak_temperature_C",
    "friction": "friction_coefficient",
    "real contact": "real_contact_percent",
    "summit pressure": "real_pressure_MPa",
    "fresh slurry": "fresh_fraction_percent",
    "film left": "mean_remaining_nm",
    "polish time": "time_s",
}


def _band(setup: Setup, asked: Asked) -> Figures:
    bands = polish_band(setup)
    return {
        "doubt of the rate": bands["mean_removal_rate_nm_per_min"].sd if bands else 0.0,
        "doubt of the WIWNU": bands["wiwnu_sigma_percent"].sd if bands else 0.0,
    }


def _lot(setup: Setup, asked: Asked) -> Figures:
    lot = polish_lot(setup, asked.wafers, variation=Variation.none())
    told = lot.summary()
    return {
        **{words: _first(told, key) for words, key in _LOT.items()},
        "pad cut rate": float(lot.cut_rate[lot.under].mean()) * UM_PER_H if lot.conditioning else 0.0,
        "pad life": _life(lot),
        "ring worn": _first(told, "last_ring_worn_um") or 0.0,
        "ring life": _ring_life(lot),
    }


_LOT = {
    "rate of the last wafer": "last_rate_nm_per_min",
    "drift of the rate": "wtwnu_percent",
    "last WIWNU": "last_wiwnu_sigma_percent",
    "scratch index": "last_scratch_index_relative",
    "disk sharpness": "last_sharpness_percent",
}


def _new_pad(setup: Setup, asked: Asked) -> Figures:
    lot = polish_lot(setup, asked.wafers, events=[f"{asked.wafers} pad"], variation=Variation.none())
    return {"disk sharpness after a new pad": _first(lot.summary(), "last_sharpness_percent")}


def _life(lot: LotResult) -> float | None:
    """Return after how many wafers grooves or top layer are used up, drawn straight on; None: never."""
    records, limits, pad = lot.records, lot.limits, lot.rig.pad
    worn = float(pad.layers[0].thickness - records.thickness_min[-1])
    if worn < WEAR:
        return None
    reach = (1 - limits.thickness_left) * pad.layers[0].thickness
    if pad.grooves.pattern != "none" and pad.grooves.depth > 0:
        reach = min(reach, (1 - limits.groove_left) * pad.grooves.depth)
    return reach / worn * lot.wafers


def _ring_life(lot: LotResult) -> float | None:
    """Return after how many wafers the ring's allowance is gone; None: never, or without a ring."""
    ring = lot.rig.head.ring
    if ring is None or ring.wear_rate == 0:
        return None
    return ring.wear_allowance / (ring.wear_rate * float(lot.records.time.mean()))


def _die(setup: Setup, asked: Asked) -> Figures:
    die = polish_die([setup], layout(), place="centre")
    told = die.summary()
    figures = {words: _first(told, *keys) for words, keys in _DIE.items()}
    return {**figures, "hot spots": float(sum(len(one.hot) for one in die.dies))}


_DIE = {
    "within-die range": ("within_die_range_nm",),
    "topography": ("topography_nm",),
    "planarization length": ("planarization_length_mm",),
    "dishing": ("dishing_max_nm",),
    "erosion": ("erosion_max_nm", "nitride_loss_max_nm"),
    "film left on lines": ("oxide_over_lines_min_nm", "oxide_on_nitride_max_nm", "metal_left_max_nm"),
    "step left": ("step_height_max_nm",),
    "clear time": ("clear_time_s",),
    "overpolish window": ("window_latest_s",),
    "focus used": ("focus_used_percent",),
}


def _first(told: Mapping[str, Any], *keys: str) -> float | None:
    """Return the first figure that is there, None where there is none or it has no value."""
    value = next((told[key] for key in keys if key in told), None)
    return None if value is None or not math.isfinite(value) else float(value)


def _die_band(setup: Setup, asked: Asked) -> Figures:
    bands = die_band([setup], layout(), place="centre")
    return {"doubt of the topography": bands["topography_nm"].sd if bands else 0.0}


def _cleaning(setup: Setup, asked: Asked) -> Figures:
    cleaned = clean_wafer(setup)
    order = np.argsort(cleaned.sizes)
    return {
        "small particles left": float(cleaned.left[-1][order[0]]),
        "large particles left": float(cleaned.left[-1][order[-1]]),
    }


def _hold(setup: Setup, asked: Asked) -> Figures:
    held = vacuum_hold(setup.model)
    return {"vacuum margin": held.margin, "sag under vacuum": held.sag, "stress under vacuum": held.stress}


def _cost(setup: Setup, asked: Asked) -> Figures:
    rig = setup.rig
    between = None if rig.prices is None else rig.prices.between
    lot = _lot_behind(pickle.dumps(replace(rig, prices=Prices(between=between))), asked.wafers)
    cost = cost_of_lot(replace(lot, rig=rig), asked.wafers)
    return {"cost of a wafer": cost.total, "wafers an hour": 3600.0 / cost.times.total}


@lru_cache(maxsize=4)
def _lot_behind(rig: bytes, wafers: int) -> LotResult:
    """Return the lot that shows the lives; prices and lives that are stated change nothing in it."""
    return lot_of_cost(pickle.loads(rig), wafers)


def _dwell(setup: Setup, asked: Asked) -> Figures:
    design = design_sweep(setup, 8)
    return {
        "evenness of a dwell table": design.uneven_after,
        "peak speed of the arm": float(design.run.speed.max()),
        "peak acceleration of the arm": design.run.acceleration,
    }


_OF_SCALE: dict[Scale, Callable[[Setup, Asked], Figures]] = {
    "wafer": _wafer,
    "band": _band,
    "lot": _lot,
    "new pad": _new_pad,
    "die": _die,
    "die band": _die_band,
    "cleaning": _cleaning,
    "hold": _hold,
    "cost": _cost,
    "dwell": _dwell,
}
