"""What is fixed for a step under control, as a file keeps it."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from planish._version import __version__
from planish.engine.files import write_asked
from planish.engine.record import Record
from planish.errors import DataError, refuse
from planish.hold.control.ageing import Ageing
from planish.hold.control.belief import Estimator, Spreads
from planish.hold.control.kalman import Kalman
from planish.hold.control.loop import Loop
from planish.hold.control.moves import Room
from planish.hold.control.steered import Steered
from planish.hold.control.weighted import DRIFT_WEIGHT, WEIGHT, DoubleEwma, Ewma

FORMAT = 1
ESTIMATORS = ("kalman", "ewma", "double ewma")
LARGEST = 200_000_000  # bytes of a plan file


@dataclass(frozen=True, slots=True, repr=False)
class ControlPlan(Record):
    """A controlled step, what is foretold of it, and its loop."""

    setup: str
    digest: str
    step: Steered
    ageing: Ageing
    loop: Loop


def make_estimator(
    name: str,
    weight: float = WEIGHT,
    drift_weight: float = DRIFT_WEIGHT,
    spreads: Spreads | None = None,
    physics: bool = True,
) -> Estimator:
    """Return an estimator by its name.

    Parameters
    ----------
    name
        "kalman", "ewma" or "double ewma".
    weight, drift_weight
        Of the averages.
    spreads
        Of chance.
    physics
        Whether what the lot foretells is counted.

    Returns
    -------
    Estimator
        Of that name.

    Raises
    ------
    DataError
        For another name, or a weight that cannot be.
    """
    told = Spreads() if spreads is None else spreads
    if name == "kalman":
        return Kalman(physics, told)
    if name == "ewma":
        return Ewma(weight, physics, told)
    if name == "double ewma":
        return DoubleEwma(weight, drift_weight, physics, told)
    raise DataError(refuse("estimator", name, f"one of {', '.join(ESTIMATORS)}"))


def write_plan(plan: ControlPlan, path: Path) -> Path:
    """Write a plan, whole or not at all.

    Parameters
    ----------
    plan
        To be kept.
    path
        The file.

    Returns
    -------
    Path
        The same.
    """
    one = plan.loop.estimator
    told: dict[str, Any] = {
        "format": FORMAT,
        "planish": __version__,
        "setup": plan.setup,
        "digest": plan.digest,
        "step": _plain(asdict(plan.step)),
        "ageing": _plain(asdict(plan.ageing)),
        "room": _plain(asdict(plan.loop.room)),
        "suspect": plan.loop.suspect,
        "estimator": {
            "name": one.name,
            "physics": one.physics,
            "spreads": asdict(one.spreads),
            **{key: getattr(one, key) for key in ("weight", "drift_weight") if hasattr(one, key)},
        },
    }
    return write_asked(path, json.dumps(told, indent=1, allow_nan=True))


def read_plan(path: Path) -> ControlPlan:
    """Return a plan as it was written.

    Raises
    ------
    DataError
        For a file that is none, or cannot be read.
    """
    try:
        if path.stat().st_size > LARGEST:
            raise DataError(refuse(f"{path}: bytes", path.stat().st_size, f"at most {LARGEST}"))
        told = json.loads(path.read_text(encoding="utf-8"))
    except OSError as problem:
        reason = problem.strerror or type(problem).__name__
        raise DataError(
            f"{path}: cannot be read ({reason}): no step is controlled there (begin one with 'hold begin SETUP')"
        ) from None
    except ValueError:
        raise DataError(
            f"{path}: is no plan of a controlled step: must be one that 'hold begin' wrote"
        ) from None
    if not isinstance(told, dict) or told.get("format") != FORMAT:
        found = told.get("format") if isinstance(told, dict) else type(told).__name__
        raise DataError(refuse(f"{path}: format", found, str(FORMAT), "begin it anew with this version"))
    try:
        step = _record(Steered, told["step"])
        room = _record(Room, told["room"])
        one = dict(told["estimator"])
        weights = {key: float(one[key]) for key in ("weight", "drift_weight") if key in one}
        estimator = make_estimator(
            one["name"], spreads=Spreads(**one["spreads"]), physics=bool(one["physics"]), **weights
        )
        loop = Loop(step.gain, room, estimator, float(told["suspect"]))
        ageing = _record(Ageing, told["ageing"])
        if ageing.curves.ndim != 3 or ageing.curves.shape[2] != loop.outputs or step.gain.ndim != 2:
            raise ValueError("shape")
        return ControlPlan(str(told["setup"]), str(told["digest"]), step, ageing, loop)
    except (KeyError, TypeError, ValueError, AttributeError) as problem:
        raise DataError(
            f"{path}: does not hold what a plan of a controlled step does ({type(problem).__name__}): begin it anew"
        ) from None


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, np.ndarray):
        return value.tolist()
    if isinstance(value, tuple):
        return list(value)
    return value


_ARRAYS = {"shares", "pressures", "wanted", "incoming", "gain", "apart", "curves", "low", "high", "most"}


def _record(kind: Any, told: dict[str, Any]) -> Any:
    return kind(
        **{
            key: np.array(value, dtype=float)
            if key in _ARRAYS
            else tuple(value)
            if isinstance(value, list)
            else value
            for key, value in told.items()
        }
    )
