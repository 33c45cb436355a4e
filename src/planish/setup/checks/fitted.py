"""Checks of what was fitted: is each row of a key that there is, does it still hold, is the model still the same?"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from planish._version import __version__
from planish.errors import SetupError
from planish.setup import paths, spread
from planish.setup.finding import Finding, wrong
from planish.setup.resolve import fitted_value
from planish.setup.root import SetupModel


def check_fitted(model: SetupModel, raw: dict[str, Any]) -> Iterator[Finding]:
    """Yield what is to be said of fitted values.

    Parameters
    ----------
    model
        The setup as read.
    raw
        Its tables as filled in.
    """
    if model.fitted is None:
        return
    if model.fitted.planish != __version__:
        yield Finding(
            "warning",
            "fitted.planish",
            f"fitted.planish {model.fitted.planish}: this is planish {__version__}, whose model may differ: fit again",
        )
    yield from _pairs(model)
    seen: set[str] = set()
    for index, row in enumerate(model.fitted.value):
        place = f"fitted.value.{index + 1}"
        if row.key in seen:
            yield wrong(f"{place}.key", row.key, "a key that no other row has")
        seen.add(row.key)
        try:
            spread.step_of(row.value, row.spread)
        except ValueError:
            yield wrong(f"{place}.value", row.value, "a number, or text such as '312 nm/min'")
        except SetupError as error:
            yield Finding("error", f"{place}.spread", f"{place}.{error}")
        try:
            now = fitted_value(row.key, raw)
        except SetupError as error:
            yield Finding("error", f"{place}.key", f"{place}.key {error}")
            continue
        if now != row.value:
            shown = "is not given" if now is None else f"is now {now}"
            yield Finding(
                "note",
                row.key,
                f"{paths.show(paths.resolve(row.key, raw, grow=True), raw)} {shown}, not {row.value} as it was fitted: the "
                "fitted band no longer counts (fit again, or take the row out of [fitted])",
            )


def _pairs(model: SetupModel) -> Iterator[Finding]:
    """Yield what is wrong with the pairs of values that err together."""
    assert model.fitted is not None
    keys = {row.key for row in model.fitted.value}
    held = keys | {row.key for row in model.fitted.held}
    seen: set[frozenset[str]] = set()
    for index, pair in enumerate(model.fitted.together):
        place = f"fitted.together.{index + 1}"
        if pair.first not in keys:
            yield wrong(f"{place}.first", pair.first, "the key of a row of fitted.value")
        if pair.second not in held:
            yield wrong(f"{place}.second", pair.second, "the key of a row of fitted.value or fitted.held")
        both = frozenset((pair.first, pair.second))
        if len(both) == 1:
            yield wrong(f"{place}.second", pair.second, "another key than the first")
        elif both in seen:
            yield wrong(f"{place}.second", pair.second, "part of a pair that no row before has")
        seen.add(both)
