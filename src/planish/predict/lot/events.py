"""What happens between wafers of a lot: new pad, new disk, new slurry, pauses, extra conditioning, monitors."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, TypeAlias

from planish.errors import ModelError, refuse

KINDS: dict[str, str | None] = {
    "pad": None,
    "disk": "use that it has had before (a new one where not given)",
    "slurry": "rate factor of the batch (drawn from the seed where not given)",
    "idle": "time",
    "condition": "time",
    "monitor": None,
}
"""Kinds of event and what their value is: None where they have none."""
MOST_USE = 1e8  # [s] no disk lasts so long


@dataclass(frozen=True, slots=True)
class Event:
    """Something done just before a wafer.

    Attributes
    ----------
    wafer
        Number of the wafer before which it happens, from 1.
    kind
        "pad" (new pad, broken in), "disk" (another conditioning disk: a new one, or one used before), "slurry" (new batch), "idle" (pause),
        "condition" (conditioning without a wafer), "monitor" (the wafer is a monitor: blanket, without
        incoming variation).
    value
        Time [s] of "idle" and "condition"; use of the "disk" so far [s] (None: new); rate factor of "slurry" (None:
        drawn); None for the rest.
    """

    wafer: int
    kind: str
    value: float | None = None


EventLike: TypeAlias = Event | str | Mapping[str, object]


def read_events(given: Iterable[EventLike], wafers: int) -> tuple[Event, ...]:
    """Return events in the order in which they happen.

    Parameters
    ----------
    given
        Each is an :class:`Event`, a mapping with the same names, or text such as ``"300 pad"``, ``"120 idle
        15 min"``, ``"50 condition 30 s"``, ``"400 slurry 0.97"``, ``"80 disk 20 h"``.
    wafers
        Of the lot.

    Returns
    -------
    tuple[Event, ...]
        In order.

    Raises
    ------
    ModelError
        For an unknown kind, a wafer number outside the lot, or a value that is missing or makes no sense.
    """
    if isinstance(given, str | Mapping | Event) or not isinstance(given, Iterable):
        raise ModelError(refuse("events", given, "a list of events", "put it in brackets"))
    found = [
        _checked(_one(item, index), f"event {index}", wafers) for index, item in enumerate(given, start=1)
    ]
    return tuple(sorted(found, key=lambda event: event.wafer))


def _one(item: Any, index: int) -> Event:
    place = f"event {index}"
    if isinstance(item, Event):
        return item
    if isinstance(item, Mapping):
        unknown = set(item) - {"wafer", "kind", "value"}
        if unknown or "wafer" not in item or "kind" not in item:
            raise ModelError(
                refuse(place, dict(item), "a table with wafer, kind and, where it has one, value")
            )
        value = item.get("value")
        return Event(item["wafer"], item["kind"], _value(place, str(item["kind"]), value))
    if not isinstance(item, str):
        raise ModelError(refuse(place, item, 'text such as "300 pad" or "120 idle 15 min"'))
    words = item.split(maxsplit=2)
    if len(words) < 2 or not words[0].isdigit():
        raise ModelError(refuse(place, item, 'text such as "300 pad" or "120 idle 15 min"'))
    return Event(int(words[0]), words[1], _value(place, words[1], words[2] if len(words) > 2 else None))


def _value(place: str, kind: str, value: Any) -> float | None:
    """Return a value in SI; text is read with its unit."""
    if value is None or isinstance(value, int | float):
        return None if value is None else float(value)
    if KINDS.get(kind) == "time" or kind == "disk":
        from planish import units

        return float(units.to_si(str(value), "time"))
    try:
        return float(value)
    except (TypeError, ValueError):
        raise ModelError(refuse(place, value, "a number")) from None


def _checked(event: Event, place: str, wafers: int) -> Event:
    if event.kind not in KINDS:
        raise ModelError(refuse(f"{place}: kind", event.kind, f"one of {', '.join(KINDS)}"))
    if not isinstance(event.wafer, int) or isinstance(event.wafer, bool) or not 1 <= event.wafer <= wafers:
        raise ModelError(refuse(f"{place}: wafer", event.wafer, f"1 to {wafers}, the lot's last"))
    wants = KINDS[event.kind]
    if wants is None and event.value is not None:
        raise ModelError(refuse(f"{place}: value of {event.kind}", event.value, "left out"))
    if wants == "time" and not (event.value is not None and 0 < event.value <= 30 * 86400):
        raise ModelError(
            refuse(f"{place}: time of {event.kind}", event.value, "above 0 s and at most 30 days")
        )
    if event.kind == "disk" and event.value is not None and not 0 <= event.value <= MOST_USE:
        raise ModelError(
            refuse(
                f"{place}: use of disk [s]",
                event.value,
                f"0 to {MOST_USE:g}",
                "as '80 disk 20 h'; a new one: '80 disk'",
            )
        )
    if event.kind == "slurry" and event.value is not None and not 0.2 <= event.value <= 5:
        raise ModelError(
            refuse(f"{place}: rate factor of slurry", event.value, "0.2 to 5", "typical 0.95 to 1.05")
        )
    return event
