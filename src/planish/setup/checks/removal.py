"""Checks of the removal laws: their coefficients, the pads they were measured on, the films they serve."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from planish.physics.removal.laws import LAWS
from planish.setup import paths
from planish.setup.checks.coefficients import check_coefficients
from planish.setup.finding import Finding, nearest, wrong
from planish.setup.part import Part
from planish.setup.root import SetupModel


def check_removal(model: SetupModel, raw: dict[str, Any], pads: Mapping[str, Part]) -> Iterator[Finding]:
    """Yield what is wrong with the removal laws and their references.

    Parameters
    ----------
    model
        The setup as read.
    raw
        Its tables as filled in.
    pads
        The catalogue's, by name.

    Yields
    ------
    Finding
        A finding each.
    """
    for material, law in model.removal.items():
        place = paths.join("removal", material)
        yield from check_coefficients(place, law, raw["removal"][material])
        reference = law.reference
        if reference.real_pressure is None and reference.pad not in pads:
            yield wrong(f"{place}.reference.pad", reference.pad, "a catalogue pad",
                        nearest(str(reference.pad), pads))  # fmt: skip
    for index, film in enumerate(model.wafer.film):
        used = model.removal.get(film.material)
        if used is not None and "wafer" not in LAWS.get(used.law).scales:
            place = paths.join("removal", film.material)
            yield wrong(f"{place}.law", used.law, "a law that may be used on the wafer's films",
                        f"{paths.show(('wafer', 'film', index), raw)} is of {film.material}")  # fmt: skip
