"""Checks of one removal table: every coefficient of its law once, with its unit; a rate in place of the leading one."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from planish import units
from planish.physics.removal.law import Law
from planish.physics.removal.laws import LAWS
from planish.setup.finding import Finding, missing, nearest, wrong
from planish.setup.removal import RemovalSection, coefficients_of, rate_at_reference


def check_coefficients(place: str, table: RemovalSection, written: dict[str, Any]) -> Iterator[Finding]:
    """Yield what is wrong with the coefficients of a removal table.

    Parameters
    ----------
    place
        Path of the table.
    table
        As read.
    written
        As in the file.

    Yields
    ------
    Finding
        A finding each.
    """
    law = LAWS.get(table.law)
    names = coefficients_of(law)
    values: dict[str, float] = {}
    sound = True
    for name, value in table.coefficients.items():
        if name not in names:
            sound = False
            yield Finding("error", f"{place}.coefficients.{name}",
                          f"{place}.coefficients.{name}: unknown key for the law {law.name!r} "
                          f"({nearest(name, names)})")  # fmt: skip
            continue
        try:
            values[name] = names[name].si(value)
        except units.UnitError as error:
            sound = False
            yield wrong(f"{place}.coefficients.{name}", value, error.allowed, error.remedy)
            continue
        if name == law.leading and values[name] == 0.0:
            yield wrong(f"{place}.coefficients.{name}", value, "above 0")
    usual = {each.name for each in law.coefficients if each.default is not None}
    wanted = [name for name in names if name not in table.coefficients and name not in usual]
    if table.rate is not None:
        if not law.leading:
            yield wrong(
                f"{place}.rate",
                written["rate"],
                f"left out for the law {law.name!r}",
                "give its coefficients",
            )
            return
        if law.leading in table.coefficients:
            yield wrong(
                f"{place}.rate", written["rate"], f"left out where {law.leading} is given", "say it once"
            )
            return
        wanted.remove(law.leading)
        if sound and not wanted:
            yield from _settles(place, law, table, written, values)
    if wanted:
        either = f", or rate in place of {law.leading}" if law.leading in wanted else ""
        yield missing(f"{place}.coefficients", f"given with {', '.join(wanted)}{either}", f"law {law.name!r}")


def _settles(
    place: str, law: Law, table: RemovalSection, written: dict[str, Any], values: dict[str, float]
) -> Iterator[Finding]:
    """Yield why the measured rate cannot settle the leading coefficient, if it cannot."""
    reference = table.reference
    if law.threshold and values[law.threshold] >= reference.pressure:
        limit = table.coefficients[law.threshold]
        yield wrong(f"{place}.coefficients.{law.threshold}", limit, "below the reference pressure",
                    units.show(reference.pressure, "pressure"))  # fmt: skip
        return
    none, one = (rate_at_reference(law.name, {**values, law.leading: each}, reference) for each in (0.0, 1.0))
    assert table.rate is not None  # only called with a rate
    if not one > none:
        yield wrong(f"{place}.rate", written["rate"], f"left out: {law.leading} does not change the rate at the "
                    "reference condition", f"give {law.leading}")  # fmt: skip
    elif not table.rate > none:
        yield wrong(f"{place}.rate", written["rate"], f"above {units.show(none, 'rate')}, which the law "
                    f"{law.name!r} gives without {law.leading}")  # fmt: skip
