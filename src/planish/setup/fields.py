"""What each key of a setup is: its meaning, unit, limits, typical range. For forms, schemas and comments."""

from __future__ import annotations

import typing
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from pydantic.fields import FieldInfo

from planish import units
from planish.setup.choice import OneOf
from planish.setup.motions.known import MOTIONS
from planish.setup.parts import catalogue
from planish.setup.paths import Key
from planish.setup.quantity import MOVES_NOTHING, Descriptive, Quantity, Section, Unsaid
from planish.setup.recipe import ZonePressures
from planish.setup.root import SetupModel


@dataclass(frozen=True, slots=True)
class KeyInfo:
    """One key of a setup.

    ``path`` is dotted, with ``*`` for a list entry or a free name
    (``recipe.step.*.flow``). ``dimension`` is "" for text, choices and
    switches. ``low``, ``high``, ``typical`` are SI numbers (infinite or None
    where there is none), ``unit`` the trade unit they are shown in. ``usual``
    is the typical range in words, ``source`` who calls it so. ``unsaid`` is what
    holds where neither setup nor part says the key, for those that parts leave out.
    ``switch``: it is true or false; ``descriptive``: it moves no answer.
    """

    path: str
    description: str
    dimension: str = ""
    unit: str = ""
    low: float | None = None
    high: float | None = None
    typical: tuple[float, float] | None = None
    usual: str = ""
    source: str = ""
    choices: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    unsaid: str | float | bool | None = None
    switch: bool = False
    descriptive: bool = False


def keys(motion: str | None = None) -> list[KeyInfo]:
    """Return every key that a setup of `motion` (None: the first) may hold, in the order of the models."""
    kind = next(iter(MOTIONS)) if motion is None else MOTIONS.get(motion)
    out: list[KeyInfo] = []

    def walk(model: type[Section], where: str) -> None:
        for name, info in model.known().items():
            path = f"{where}.{name}" if where else name
            if path in ("wafer", "polisher", "head", "pad", "conditioner", "slurry"):
                choices = tuple(catalogue(path))
                if path == "polisher":
                    choices = tuple(
                        n for n, p in catalogue(path).items() if p.values["motion"].value == kind.name
                    )
                out.append(
                    KeyInfo(f"{path}.part", "catalogue part; keys beside it override it", parts=choices)
                )
            if path == "polisher":
                walk(kind.model, path)
                continue
            if path == "removal":
                films = tuple(catalogue("film"))
                out.append(
                    KeyInfo(
                        "removal.*.part", "film of the catalogue; keys beside it override it", parts=films
                    )
                )
            inner, starred = inside(info.annotation)
            if inner is not None:
                walk(inner, f"{path}.*" if starred else path)
            else:
                out.append(key_info(path, info))

    walk(SetupModel, "")
    return out


def key_at(motion: str | None, here: Sequence[Key]) -> KeyInfo | None:
    """Return the key that stands at a place of a setup, or that the list there is; None where there is none.

    Parameters
    ----------
    motion
        Of the setup.
    here
        The place, as `planish.setup.paths.resolve` gives it.
    """
    return next((one for one in keys(motion) if _fits(one.path.split("."), here)), None)


def _fits(pattern: Sequence[str], here: Sequence[Key]) -> bool:
    """Return whether a place in the setup is one of those that a key's pattern is for."""
    if len(here) == len(pattern) + 1 and isinstance(here[-1], int):
        here = here[:-1]
    return len(here) == len(pattern) and all(b in ("*", a) for a, b in zip(here, pattern, strict=True))


def descriptive_keys(tree: dict[str, Any]) -> tuple[str, ...]:
    """Return the keys that describe and move nothing, but for names and titles.

    Parameters
    ----------
    tree
        The tables as filled in; those of another motion than its polisher's are left out.
    """
    polisher = tree.get("polisher")
    motion = polisher.get("motion") if isinstance(polisher, dict) else None
    if not isinstance(motion, str) or motion not in MOTIONS:
        return ()
    marked = (info.path for info in keys(motion) if info.descriptive)
    return tuple(path for path in marked if not _names(path) and not path.startswith("fitted."))


def _names(path: str) -> bool:
    """Return whether a key is a name or a title, of which nobody expects that it moves anything."""
    return path.rsplit(".", 1)[-1] in ("name", "title")


def key_info(path: str, info: FieldInfo) -> KeyInfo:
    """Return what a model field says about its key.

    Parameters
    ----------
    path
        Of the key.
    info
        The field.

    Returns
    -------
    KeyInfo
        Words, limits, what is usual, choices.
    """
    quantity = quantity_in(info)
    text = info.description or ""
    if _marked(info, Descriptive) and not _names(path):
        text = f"{text}; {MOVES_NOTHING}"
    if quantity is None:
        named = next((item.names() for item in info.metadata if isinstance(item, OneOf)), ())
        return KeyInfo(
            path,
            text,
            choices=named or choices_in(info.annotation),
            unsaid=_unsaid(info),
            switch=info.annotation is bool,
            descriptive=_marked(info, Descriptive),
        )
    low, high = quantity.limits
    plain = quantity.dimension == "ratio"
    return KeyInfo(
        path,
        text,
        dimension=quantity.dimension,
        unit="" if plain else units.pretty(units.TRADE_UNITS[quantity.dimension]),
        low=low,
        high=high,
        typical=quantity.typical_si,
        usual=quantity.usual,
        source=quantity.source if quantity.typical is not None else "",
        unsaid=_unsaid(info, quantity),
        descriptive=_marked(info, Descriptive),
    )


def _marked(info: FieldInfo, mark: type) -> bool:
    """Return whether a field bears a mark."""
    return any(item is mark or isinstance(item, mark) for item in info.metadata)


def _unsaid(info: FieldInfo, quantity: Quantity | None = None) -> str | float | bool | None:
    """Return the default of a key that is marked as one that parts leave out, as it would be written."""
    if not _marked(info, Unsaid):
        return None
    value: str | float | bool = info.default
    if quantity is None or quantity.dimension == "ratio" or not isinstance(value, float):
        return value
    return units.show(value, quantity.dimension)


def quantity_in(info: FieldInfo) -> Quantity | None:
    """Return the quantity annotation of a field, also inside lists and options."""
    for item in info.metadata:
        if isinstance(item, Quantity):
            return item
        if isinstance(item, ZonePressures):
            return item.quantity
    return _search(info.annotation)


def _search(annotation: Any) -> Quantity | None:
    for item in getattr(annotation, "__metadata__", ()):
        if isinstance(item, Quantity):
            return item
    for each in typing.get_args(annotation):
        found = _search(each)
        if found is not None:
            return found
    return None


def choices_in(annotation: Any) -> tuple[str, ...]:
    """Return the texts that a field may take, or nothing."""
    if typing.get_origin(annotation) is typing.Literal:
        return tuple(str(each) for each in typing.get_args(annotation))
    for each in typing.get_args(annotation):
        found = choices_in(each)
        if found:
            return found
    return ()


def inside(annotation: Any, starred: bool = False) -> tuple[type[Section] | None, bool]:
    """Return the model inside an annotation, and whether a list or a table of free names holds it.

    Parameters
    ----------
    annotation
        Of a field.
    starred
        Whether one around it was already found to.

    Returns
    -------
    tuple[type[Section] | None, bool]
        None in place of the model where there is none.
    """
    if isinstance(annotation, type) and issubclass(annotation, Section):
        return annotation, starred
    within = starred or typing.get_origin(annotation) in (list, dict)
    for each in typing.get_args(annotation):
        found, star = inside(each, within)
        if found is not None:
            return found, star
    return None, within
