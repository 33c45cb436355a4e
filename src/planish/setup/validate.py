"""From the filled-in document to validated models: what pydantic found, in our one-line wording."""

from __future__ import annotations

import difflib
import typing
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from planish.physics.removal.laws import LAWS
from planish.setup import paths
from planish.setup.finding import Finding, listed, missing, short, wrong
from planish.setup.motions.known import MOTIONS
from planish.setup.quantity import Section
from planish.setup.removal import RemovalSection, coefficients_of
from planish.setup.root import SetupModel, setup_model

_TYPES = {
    "string_type": "text in quotes",
    "bool_type": "true or false",
    "list_type": "a list",
    "tuple_type": "a list",
    "dict_type": "a table",
    "model_type": "a table",
    "model_attributes_type": "a table",
    "too_short": "a list with at least one entry",
    "too_long": "a shorter list",
}


def validate(tree: dict[str, Any]) -> tuple[SetupModel | None, list[Finding]]:
    """Return the validated model, or None and all that is wrong with the filled-in document."""
    try:
        return setup_model().model_validate(tree), []
    except ValidationError as error:
        found = [_finding(item, tree) for item in error.errors(include_url=False, include_input=True)]
        return None, list({f.place + f.message: f for f in found}.values())


def validate_part(tree: dict[str, Any]) -> list[Finding]:
    """Return what is wrong within the sections that ``tree`` holds; those that it does not hold are not missed."""
    try:
        SetupModel.model_validate(tree)
    except ValidationError as error:
        items = error.errors(include_url=False, include_input=True)
        return [_finding(i, tree) for i in items if i["type"] != "missing" or len(i["loc"]) > 1]
    return []


def _finding(item: Any, tree: dict[str, Any]) -> Finding:
    path = _path(item["loc"])
    kind, context = item["type"], item.get("ctx", {})
    if kind == "refused":
        place = paths.show((*path, context["at"]) if "at" in context else path, tree)
        return wrong(place, context.get("value", item["input"]), context["allowed"], context["remedy"])
    place = paths.show(path, tree)
    if kind == "extra_forbidden":
        model = model_at(path[:-1], tree)
        if model is not None and str(path[-1]) in model.gone:
            return Finding("error", place, f"{place}: has gone: {model.gone[str(path[-1])]}")
        return Finding("error", place, f"{place}: unknown key ({_suggestion(path, tree)})")
    if kind == "missing":
        return missing(place, "given", _describe(path))
    if kind == "literal_error":
        options = list(context["expected"].replace(" or ", ", ").replace("'", "").split(", "))
        close = difflib.get_close_matches(str(item["input"]), options, n=1, cutoff=0.5)
        return wrong(
            place,
            item["input"],
            "one of " + ", ".join(options),
            f"did you mean {close[0]!r}?" if close else "",
        )
    return wrong(place, short(item["input"]), _TYPES.get(kind, item["msg"].lower()))


def _path(loc: tuple[int | str, ...]) -> tuple[int | str, ...]:
    """Drop what pydantic puts into a location but a document does not hold (the chosen motion)."""
    if len(loc) > 1 and loc[0] == "polisher" and loc[1] in MOTIONS:
        return ("polisher", *loc[2:])
    return loc


def model_at(path: tuple[int | str, ...], tree: dict[str, Any]) -> type[Section] | None:
    """Return the model of a table.

    Parameters
    ----------
    path
        To it, keys and places.
    tree
        The setup's tables as filled in.

    Returns
    -------
    type[Section] | None
        None where there is none.
    """
    here: Any = SetupModel
    for step in path:
        if isinstance(step, int):  # leads into what the list holds, which _inner already is
            continue
        if step == "polisher" and here is SetupModel:
            motion = (tree.get("polisher") or {}).get("motion")
            here = MOTIONS.get(motion).model if isinstance(motion, str) and motion in MOTIONS else None
            continue
        if isinstance(here, type) and issubclass(here, Section):
            info = here.known().get(str(step))
            annotation = info.annotation if info is not None else None
            here = _inner(annotation)
            if typing.get_origin(annotation) is dict:  # of names that are free
                here = _Named(here)
        elif isinstance(here, _Named):
            here = here.model
        if here is None:
            return None
    return here if isinstance(here, type) and issubclass(here, Section) else None


@dataclass(frozen=True, slots=True)
class _Named:
    """Tables of one model, by names that are free."""

    model: Any


def _inner(annotation: Any) -> Any:
    """Return the model inside an annotation such as ``list[Model]`` or ``Model | None``."""
    if isinstance(annotation, type) and issubclass(annotation, Section):
        return annotation
    for each in typing.get_args(annotation):
        found = _inner(each)
        if found is not None:
            return found
    return None


def _homes(motions: tuple[str, ...]) -> dict[str, str]:
    """Return, for each key of a setup on one of ``motions``, the dotted table it belongs to."""
    homes: dict[str, str] = {}

    def walk(model: type[Section], where: str) -> None:
        for name, info in model.known().items():
            homes.setdefault(name, where)
            inner = _inner(info.annotation)
            if inner is not None:
                walk(inner, f"{where}.{name}" if where else name)

    for motion in motions:
        walk(MOTIONS.get(motion).model, "polisher")
    walk(SetupModel, "")
    return homes


#: Keys that setups had once, and what has come in their place.
GONE = {
    "slurry.friction_floor": "it has gone: the fluid film now says what is left of friction; take the line out",
}


def _suggestion(path: tuple[int | str, ...], tree: dict[str, Any]) -> str:
    word = str(path[-1])
    gone = GONE.get(".".join(map(str, path)))
    if gone is not None:
        return gone
    model = model_at(path[:-1], tree)
    known = list(model.known()) if model is not None else []
    table = paths.show(path[:-1], tree)
    if model is RemovalSection and word in _coefficients(path, tree):
        return f"it belongs into [{table}.coefficients]: {table}.coefficients.{word}"
    if path[0] == "polisher":
        other = [kind.name for kind in MOTIONS if word in kind.model.known()]
        if other:
            return f"it belongs to the {' and the '.join(other)} motion; here known: {', '.join(known)}"
    close = difflib.get_close_matches(word, known, n=1, cutoff=0.6)
    if close:
        return f"did you mean {close[0]!r}?"
    home = _homes(MOTIONS.names()).get(word)
    if home:
        return f"it belongs into [{home}]"
    return "known: " + listed(known)


def _coefficients(path: tuple[int | str, ...], tree: dict[str, Any]) -> list[str]:
    """Return the coefficients of the law of the removal table in which a path ends."""
    here: Any = tree
    for step in path[:-1]:
        here = here[step]
    law = here.get("law")
    return list(coefficients_of(LAWS.get(law))) if isinstance(law, str) and law in LAWS else []


def _describe(path: tuple[int | str, ...]) -> str:
    model = model_at(path[:-1], {})
    if model is None and path[0] == "polisher":
        model = next(iter(MOTIONS)).model
    info = model.known().get(str(path[-1])) if model is not None else None
    return info.description or "" if info is not None else ""
