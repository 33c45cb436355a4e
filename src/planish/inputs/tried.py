"""Where each input is tried (``tried.toml``): on which setup, for which answers, at which settings, beside what."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from planish import units
from planish.inputs.answers import Scale
from planish.inputs.scenarios import table
from planish.physics.removal.law import Coefficient, Law
from planish.physics.removal.laws import LAWS
from planish.setup.changes import Changes, quantity_text
from planish.setup.fields import KeyInfo, keys
from planish.setup.motions.known import MOTIONS
from planish.setup.quantity import MOVES_NOTHING
from planish.setup.removal import coefficients_of

FREE = {
    "wafer.film.*": "wafer.film.1",
    "head.zone.*": "head.zone.4",
    "polisher.bearing.zone.*": "polisher.bearing.zone.1",
    "removal.*": "removal.oxide",
    "recipe.step.*": "recipe.step.main",
    "clean.step.*": "clean.step.1",
}
"""What stands for a free name, or for a place in a list."""

COEFFICIENTS = "removal.*.coefficients"
WIDE = 20.0  # most over least, above which settings are spaced by a factor


@dataclass(frozen=True, slots=True)
class Input:
    """One input of the setup.

    Attributes
    ----------
    info
        Of its key; a coefficient of a law has ``.coefficients.NAME (LAW)`` for its path.
    motion
        Whose key it is.
    """

    info: KeyInfo
    motion: str

    @property
    def key(self) -> str:
        """Its path."""
        return self.info.path


@dataclass(frozen=True, slots=True)
class Trial:
    """How an input is tried.

    Attributes
    ----------
    on
        The setup.
    asks
        Whose answers are looked at.
    place
        Dotted path at which it stands there.
    beside
        Changes made before.
    settings
        Words and changes of each, in order.
    ordered
        Whether it goes from low to high.
    """

    on: str
    asks: tuple[Scale, ...]
    place: str
    beside: Changes
    settings: tuple[tuple[str, Changes], ...]
    ordered: bool


def inputs() -> list[Input]:
    """Return every input: the keys of all motions, and in place of a law's table each of its coefficients."""
    found: dict[str, Input] = {}
    for motion in MOTIONS.names():
        for info in keys(motion):
            if info.path == COEFFICIENTS:
                for each in _coefficients(motion):
                    found.setdefault(each.key, each)
            else:
                found.setdefault(info.path, Input(info, motion))
    return list(found.values())


def _coefficients(motion: str) -> Iterator[Input]:
    for law in LAWS:
        for each in law.coefficients:
            what = coefficients_of(law)[each.name]
            low, high = what.limits
            yield Input(
                KeyInfo(
                    f"{COEFFICIENTS}.{each.name} ({law.name})",
                    _about(law, each),
                    dimension=what.dimension,
                    low=low,
                    high=high,
                    typical=what.typical_si,
                    usual=what.usual,
                    source=what.source if what.typical is not None else "",
                    descriptive=each.name == law.friction,  # that of the slurry on its summits is used
                ),
                motion,
            )


def _about(law: Law, each: Coefficient) -> str:
    """Return what a coefficient is; a law's own friction stands for that of the slurry, which is used."""
    return f"{each.meaning}; {MOVES_NOTHING}" if each.name == law.friction else each.meaning


def trial(one: Input, count: int) -> Trial | None:
    """Return how an input is tried; None where nothing says over which settings.

    Parameters
    ----------
    one
        The input.
    count
        Of settings over a range, 2 or more.

    Returns
    -------
    Trial | None
        With every setting.
    """
    told = table("tried").get(one.key, {})
    place = told.get("place") or _filled(one.key)
    settings = _settings(one, told, place, count)
    if not settings:
        return None
    ordered = bool(one.info.dimension) and "sweep.zone" not in one.key and not one.key.endswith(".profile")
    return Trial(
        on=told.get("on", one.motion),
        asks=tuple(told.get("asks") or (_asked(one.key),)),
        place=place,
        beside=_cleared(told.get("beside", {})),
        settings=settings,
        ordered=ordered,
    )


def _asked(key: str) -> Scale:
    return {"conditioner": "lot", "die": "die"}.get(key.split(".", 1)[0], "wafer")  # type: ignore[return-value]


def _filled(key: str) -> str:
    place = key.split(" (", 1)[0]
    for free, filled in FREE.items():
        place = place.replace(free, filled)
    return place


def _cleared(changes: Changes) -> Changes:
    """Return changes as `Setup.replace` takes them: a data file says "" for a key that is taken out."""
    return {path: None if value == "" else value for path, value in changes.items()}


def _settings(one: Input, told: dict[str, Any], place: str, count: int) -> tuple[tuple[str, Changes], ...]:
    info = one.info
    if "settings" in told:
        words = told.get("shown") or [str(each) for each in told["settings"]]
        each = [item if isinstance(item, dict) else {place: item} for item in told["settings"]]
        return tuple((word, _cleared(item)) for word, item in zip(words, each, strict=True))
    if info.parts or info.choices:
        return tuple((name, {place: name}) for name in info.parts or info.choices)
    if not info.dimension:
        return tuple((word, {place: word == "on"}) for word in ("off", "on")) if info.switch else ()
    span = info.typical
    if "over" in told:
        low, high = (_si(text, info.dimension) for text in told["over"])
        span = (low, high)
    if span is None or span[0] == span[1]:
        return ()
    texts = [quantity_text(value, info.dimension) for value in spaced(*span, count)]
    return tuple((units.pretty(str(text)), {place: text}) for text in texts)


def _si(text: str, dimension: str) -> float:
    return float(text) if dimension == "number" else units.to_si(text, dimension)


def spaced(low: float, high: float, count: int) -> list[float]:
    """Return settings from `low` to `high`, by a factor where the range spans more than ``WIDE``.

    Parameters
    ----------
    low, high
        In SI.
    count
        How many, 2 or more.

    Returns
    -------
    list[float]
        With both ends.
    """
    if low > 0 and high > WIDE * low:
        a, b = math.log(low), math.log(high)
        middle = [math.exp(a + (b - a) * i / (count - 1)) for i in range(1, count - 1)]
    else:
        middle = [low + (high - low) * i / (count - 1) for i in range(1, count - 1)]
    return [low, *middle, high]
