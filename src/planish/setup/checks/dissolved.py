"""Checks of what is dissolved in the slurry: does its content change any rate, and is it known what it was measured with?"""

from __future__ import annotations

from collections.abc import Iterator

from planish.physics.removal.laws import LAWS
from planish.setup import paths
from planish.setup.finding import Finding, wrong
from planish.setup.resolve import Resolved
from planish.setup.root import SetupModel

KEYS = {"oxidiser_fraction": "oxidiser_half", "inhibitor_fraction": "inhibitor_half"}
FITTED = "fits published copper rates, experiment inhibitor"


def check_dissolved(model: SetupModel, resolved: Resolved) -> Iterator[Finding]:
    """Yield what is wrong, or without effect, of oxidiser and inhibitor.

    Parameters
    ----------
    model
        The setup as read.
    resolved
        The same with parts and defaults filled in, and where each value is from.

    Yields
    ------
    Finding
        A finding each.
    """
    for key, half in KEYS.items():
        content, place = getattr(model.slurry, key), f"slurry.{key}"
        origin = resolved.origins.get(place)
        answering, deaf = [], []
        for material, law in model.removal.items():
            measured = getattr(law.reference, key)
            if measured is None or measured == content:
                continue
            if not LAWS.get(law.law).chemical:
                deaf.append(material)
                continue
            answering.append(material)
            if key == "oxidiser_fraction" and measured == 0.0:
                yield wrong(f"{paths.join('removal', material)}.reference.{key}", measured,
                            f"above 0 where {place} is", "say with what content the rate was measured")  # fmt: skip
        if answering and f"slurry.{half}" not in resolved.origins:
            used = f"used {100 * getattr(model.slurry, half):g} % ({FITTED})"
            yield Finding("note", f"slurry.{half}", f"slurry.{half} not given: {used}")
        if deaf:
            with_one = ", ".join(name for name in LAWS.names() if LAWS.get(name).chemical)
            yield Finding("note", place, f"{place} {content:g}: does not change the rate of {', '.join(deaf)}, whose "
                          f"laws have no purely chemical term (these have: {with_one})")  # fmt: skip
        if origin is not None and origin.origin == "setup" and content > 0 and not answering and not deaf:
            yield Finding("note", place, f"{place} {content:g}: changes no rate, as all count as measured with it "
                          f"(removal.<material>.reference.{key} says otherwise)")  # fmt: skip
