"""Files saved before results had one unit a quantity: their keys as they are called now."""

from __future__ import annotations

from typing import Any

from planish.results.file import Content
from planish.results.plain import Columns, tabled
from planish.units import PSI

_RENAMED = {"pressure_kPa": ("pressure_psi", 1e3 / PSI)}
"""Old key to new key and what to multiply by."""


def renamed(content: Content) -> tuple[dict[str, Any], dict[str, Columns]]:
    """Return figures and tables under the keys of now."""
    if content.version:
        return content.figures, content.tables
    figures = _mapped(content.figures)
    return figures, tabled(figures)


def _mapped(value: Any) -> Any:
    if isinstance(value, list):
        return [_mapped(item) for item in value]
    if not isinstance(value, dict):
        return value
    out = {}
    for key, item in value.items():
        new, factor = _RENAMED.get(key, (key, 1.0))
        out[new] = item * factor if key in _RENAMED and isinstance(item, float) else _mapped(item)
    return out
