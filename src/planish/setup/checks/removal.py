"""Checks of the removal laws: every coefficient once, with its unit."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from planish import units
from planish.setup import paths
from planish.setup.finding import Finding, missing, nearest, wrong
from planish.setup.parts import catalogue
from planish.setup.removal import LAWS, SCALE, RemovalSection
from planish.setup.root import SetupModel


def check_removal(model: SetupModel, raw: dict[str, Any]) -> Iterator[Finding]:
    """Yield what is wrong with the removal laws and their references."""
    for material, law in model.removal.items():
        place = paths.join("removal", material)
        yield from _law(place, law, raw["removal"][material])
        reference = law.reference
        if reference.real_pressure is None:
            pads = catalogue("pad")
            if reference.pad not in pads:
                yield wrong(f"{place}.reference.pad", reference.pad, "a catalogue pad",
                            nearest(str(reference.pad), pads))  # fmt: skip


def _law(place: str, law: RemovalSection, table: dict[str, Any]) -> Iterator[Finding]:
    names = LAWS[law.law]
    leading = SCALE.get(law.law)
    for name, value in law.coefficients.items():
        if name not in names:
            yield Finding("error", f"{place}.coefficients.{name}",
                          f"{place}.coefficients.{name}: unknown key for the law {law.law!r} "
                          f"({nearest(name, names)})")  # fmt: skip
            continue
        try:
            number = names[name].si(value)
        except units.UnitError as error:
            yield wrong(f"{place}.coefficients.{name}", value, error.allowed, error.remedy)
            continue
        if name == leading and number == 0.0:
            yield wrong(f"{place}.coefficients.{name}", value, "above 0")
    wanted = [name for name in names if name not in law.coefficients]
    if law.rate is not None:
        if leading is None:
            yield wrong(
                f"{place}.rate", table["rate"], f"left out for the law {law.law!r}", "give its coefficients"
            )
            return
        if leading in law.coefficients:
            yield wrong(f"{place}.rate", table["rate"], f"left out where {leading} is given", "say it once")
            return
        wanted.remove(leading)
        limit = law.coefficients.get("p_threshold")
        if law.law == "threshold" and isinstance(limit, str) and not wanted:
            try:
                too_high = names["p_threshold"].si(limit) >= law.reference.pressure
            except units.UnitError:
                return
            if too_high:
                yield wrong(f"{place}.coefficients.p_threshold", limit, "below the reference pressure",
                            units.show(law.reference.pressure, "pressure"))  # fmt: skip
    if wanted:
        either = f", or rate in place of {leading}" if leading in wanted else ""
        yield missing(f"{place}.coefficients", f"given with {', '.join(wanted)}{either}", f"law {law.law!r}")
