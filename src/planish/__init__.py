"""Chemical-mechanical planarization: predict, measure, fit and explain, from one setup file.

>>> import planish
>>> setup = planish.load("setup.toml")          # doctest: +SKIP
>>> planish.polish(setup).summary()             # doctest: +SKIP

Everything public is named here and loaded when first used, so importing planish costs nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

_WHERE = {
    # describe
    "load": "planish.setup.load",
    "new_setup": "planish.setup.new",
    "check": "planish.setup.check",
    "list_parts": "planish.setup.parts",
    "Setup": "planish.setup.models",
    # predict
    "polish": "planish.predict.wafer",
    "polish_lot": "planish.predict.lot",
    "polish_die": "planish.predict.die",
    "open_result": "planish.predict.result",
    # measure
    "read_sites": "planish.measure.sites",
    "measure_wafer": "planish.measure.wafer",
    "nested_variance": "planish.measure.nested",
    "read_layout_maps": "planish.measure.layout",
    # fit
    "fit_wafer": "planish.fit.removal",
    # explain
    "compare": "planish.explain.attribution",
    "write_report": "planish.explain.report",
    # errors
    "PlanishError": "planish.errors",
}

__all__ = ["__version__", *_WHERE]


def __getattr__(name: str) -> Any:
    """Load a public name from its home when first used."""
    if name not in _WHERE:
        raise AttributeError(f"module 'planish' has no attribute {name!r}")
    import importlib

    value = getattr(importlib.import_module(_WHERE[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)


if TYPE_CHECKING:
    from planish.errors import PlanishError as PlanishError
    from planish.predict.result import open_result as open_result
