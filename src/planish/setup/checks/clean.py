"""Checks of the cleaning: each kind of step has keys of its own."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from planish.setup import paths
from planish.setup.clean import KINDS
from planish.setup.finding import Finding, missing, wrong
from planish.setup.root import SetupModel


def check_clean(model: SetupModel, raw: dict[str, Any]) -> Iterator[Finding]:
    """Yield what does not fit in the cleaning.

    Parameters
    ----------
    model
        The setup as read.
    raw
        Its tables as filled in.
    """
    if model.clean is None:
        return
    for index, step in enumerate(model.clean.step):
        place = paths.show(("clean", "step", index), raw)
        for kind, keys in KINDS.items():
            for key in keys:
                given = getattr(step, key) is not None
                if kind == step.kind and not given:
                    yield missing(f"{place}.{key}", f"given for a {kind}", f"its keys are {', '.join(keys)}")
                elif kind != step.kind and given:
                    written = raw["clean"]["step"][index][key]
                    yield wrong(
                        f"{place}.{key}", written, f"left out for a {step.kind}", f"it is a {kind}'s key"
                    )
