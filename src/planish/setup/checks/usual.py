"""What is possible but unlikely: the values of a setup that lie outside the range typical of their key.

The ranges stand beside the fields themselves (`planish.setup.quantity.Quantity.typical`).
"""

from __future__ import annotations

import types
import typing
from collections.abc import Iterator
from functools import lru_cache
from typing import Any, TypeAlias

from pydantic import BaseModel

from planish import units
from planish.physics.removal.laws import LAWS
from planish.setup import paths
from planish.setup.finding import Finding, short
from planish.setup.quantity import Quantity, pretty_text
from planish.setup.recipe import ZonePressures
from planish.setup.removal import RATE, RemovalSection, coefficients_of, rate_at_reference
from planish.setup.root import SetupModel

Keys: TypeAlias = tuple[paths.Key, ...]

OUTSIDE = "outside the usual range: "


def unlikely(model: SetupModel, tree: dict[str, Any]) -> list[Finding]:
    """Return a finding for each key whose value is outside its typical range; one a list.

    Parameters
    ----------
    model, tree
        The validated setup, and the filled-in document with the values as written.
    """
    found = [
        _finding(paths.show(keys, tree), what, value, _written(tree, keys))
        for keys, what, value in _walk(model, ())
    ]
    for material, law in model.removal.items():
        before = len(found)
        for name, written in law.coefficients.items():
            place, what = (
                f"removal.{material}.coefficients.{name}",
                coefficients_of(LAWS.get(law.law)).get(name),
            )
            value = None if what is None else _read(what, written)
            if what is not None and value is not None and what.unusual(value):
                place = paths.show(("removal", material, "coefficients", name), tree)
                found.append(_finding(place, what, value, written))
        if len(found) == before:
            found += _odd_rate(material, law, tree)
    return found


def _odd_rate(material: str, law: RemovalSection, tree: dict[str, Any]) -> Iterator[Finding]:
    """Yield what coefficients whose unit hangs on others amount to, where that is no usual rate."""
    known = LAWS.get(law.law)
    named = coefficients_of(known)
    given = {name: what for name, what in named.items() if name in law.coefficients}
    if law.rate is not None or all(what.typical is not None for what in given.values()):
        return
    values = {each.name: each.default for each in known.coefficients}
    values |= {name: _read(what, law.coefficients[name]) for name, what in given.items()}
    whole = {name: value for name, value in values.items() if value is not None}
    if len(whole) < len(named):
        return  # wrong, which other checks say
    rate = rate_at_reference(law.law, whole, law.reference)
    if RATE.unusual(rate):
        place = paths.show(("removal", material, "coefficients"), tree)
        low, high = (pretty_text(text) for text in RATE.typical or ("", ""))
        shown = units.show(rate, "rate")
        yield Finding(
            "unlikely",
            place,
            f"{place} give {shown} at the reference condition: {_side(RATE, rate)} the usual {low} to {high} "
            f"({RATE.source})",
        )


def outside(findings: typing.Iterable[Finding], most: int = 3) -> str:
    """Return one line that names the unlikely values among findings.

    Parameters
    ----------
    findings
        All of a setup.
    most
        How many are named.

    Returns
    -------
    str
        With what is usual of each, and who says so; nothing where none is unlikely.
    """
    named = [f.message for f in findings if f.level == "unlikely"]
    if not named:
        return ""
    more = f"; and {len(named) - most} more, which 'planish check' lists" if len(named) > most else ""
    return f"{OUTSIDE}{'; '.join(named[:most])}{more}"


def _finding(place: str, what: Quantity, value: float, written: Any) -> Finding:
    shown = pretty_text(written) if isinstance(written, str) else None
    if shown is None:
        shown = f"{value:g}" if what.dimension in ("ratio", "number") else units.show(value, what.dimension)
    low, high = what.typical or ("", "")
    text = f"{place} {short(shown)}: {_side(what, value)} the usual {pretty_text(low)} to {pretty_text(high)}"
    return Finding("unlikely", place, f"{text} ({what.source})")


def _side(what: Quantity, value: float) -> str:
    usual = what.typical_si or (value, value)
    return "below" if (abs(value) if what.either_way else value) < usual[0] else "above"


def _read(what: Quantity, written: Any) -> float | None:
    try:
        return what.si(written)
    except units.UnitError:
        return None


def _written(tree: Any, keys: Keys) -> Any:
    """Return the value at a place as written, None where the document holds it in another shape."""
    for key in keys:
        tree = paths.step_into(tree, key)
    return tree


def _walk(model: BaseModel, where: Keys) -> Iterator[tuple[Keys, Quantity, float]]:
    """Yield (keys, quantity, SI value) of what is unusual in a table and in those below it."""
    for name, kind in _kinds(type(model)):
        if name not in model.model_fields_set:
            continue  # the model's own default, which stands for "not said"
        yield from _within(kind, getattr(model, name), (*where, name))


def _within(kind: Any, value: Any, place: Keys) -> Iterator[tuple[Keys, Quantity, float]]:
    if value is None or kind is None:
        return
    if isinstance(kind, Quantity):
        if isinstance(value, float) and kind.unusual(value):
            yield place, kind, value
    elif kind == "table":
        yield from _walk(value, place)
    elif kind[0] == "pair":
        for index, (one, part) in enumerate(zip(kind[1], value, strict=True)):
            yield from _within(one, part, (*place, index))
    else:
        items = value.items() if isinstance(value, dict) else enumerate(value) if _many(value) else None
        if items is None:
            yield from _within(kind[1], value, place)
            return
        each = (list(_within(kind[1], item, (*place, key))) for key, item in items)
        if kind[1] == "table":
            yield from (one for found in each for one in found)
        else:  # a list of numbers is one setting: its first is enough
            yield from next((found[:1] for found in each if found), [])


def _many(value: Any) -> bool:
    return isinstance(value, list | tuple)


@lru_cache(maxsize=64)
def _kinds(model: type[BaseModel]) -> tuple[tuple[str, Any], ...]:
    """Return, for each field with numbers in it, how they are held."""
    out = []
    for name, info in model.model_fields.items():
        own = next((_own(item) for item in info.metadata if _own(item) is not None), None)
        kind = own if own is not None else _kind(info.annotation)
        if kind is not None:
            out.append((name, kind))
    return tuple(out)


def _own(item: Any) -> Any:
    if isinstance(item, Quantity):
        return item
    return ("list", item.quantity) if isinstance(item, ZonePressures) else None


def _kind(annotation: Any) -> Any:
    """Return a Quantity, "table", ("list", kind) or ("pair", kinds); None where there is no number."""
    for item in getattr(annotation, "__metadata__", ()):
        if _own(item) is not None:
            return _own(item)
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return "table"
    origin, inside = typing.get_origin(annotation), typing.get_args(annotation)
    if origin in (typing.Union, types.UnionType):
        return next((kind for kind in map(_kind, inside) if kind is not None), None)
    if origin is tuple:
        kinds = tuple(_kind(each) for each in inside)
        return ("pair", kinds) if any(kinds) else None
    if origin in (list, dict):
        kind = _kind(inside[-1])
        return None if kind is None else ("list", kind)
    return None
