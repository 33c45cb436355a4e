"""The changes that give a material of a setup another rate: what a fit to a measured wafer proposes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planish.physics.removal.laws import LAWS
from planish.predict.wafer.bands import with_rate
from planish.setup.changes import Changes, quantity_text
from planish.setup.paths import join
from planish.setup.removal import REFERENCE_CONTENTS, coefficients_of

if TYPE_CHECKING:
    from planish.setup.models import Setup


def rate_change(setup: Setup, material: str, factor: float) -> Changes:
    """Return the changes that scale the removal rate of one material, at any pressure and speed.

    Where the setup or its slurry gives a rate at the reference condition, that is scaled, else the coefficients of
    the law that the rate is proportional to.

    Parameters
    ----------
    setup
        The setup.
    material
        One of its materials.
    factor
        New rate over the present one, above 0.
    """
    law = setup.model.removal[material]
    place = join("removal", material)
    changes: Changes = {}
    if law.rate is not None:
        changes[f"{place}.rate"] = quantity_text(law.rate * factor, "rate")
    else:
        now = setup.rig.removal[material].coefficients
        then = with_rate(setup.rig, material, factor).removal[material].coefficients
        known = coefficients_of(LAWS.get(law.law))
        for name in law.coefficients:
            if then[name] != now[name]:
                text = quantity_text(then[name], known[name].dimension)
                changes[f"{place}.coefficients.{name}"] = text
    # A slurry part's rate was measured with the part's contents: the new one is relative to them too.
    for key in REFERENCE_CONTENTS:
        origin = setup.origins.get(f"{place}.reference.{key}")
        if origin is not None and origin.origin != "setup":
            changes[f"{place}.reference.{key}"] = origin.value
    return changes
