"""Where in a setup a stated spread acts: the key that it is of, and the changes that move it.

Bands move SI records; a fit asks its measurements' own settings of a setup, so there the same move is made by keys.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

from planish.physics.removal.laws import LAWS
from planish.setup import paths, spread
from planish.setup.resolve import STIFFNESS_KEYS

if TYPE_CHECKING:
    from planish.setup.models import Setup

LAYERS = ("top", "sub")
GRAINS = ("abrasive_fraction", "particle_size")
_NUDGE = 0.01  # of a stiffness as it is written: by which it is tried what that does to the modulus
_TRIES = 6


class OneSpread(Protocol):
    """A stated spread: what is moved ("key", "rate", "layer" or "flow"), which, and its share."""

    @property
    def by(self) -> tuple[str, str | int, float]:
        """What is moved."""


def spread_key(setup: Setup, one: OneSpread) -> str:
    """Return the dotted path of the key that a spread is of.

    Parameters
    ----------
    setup
        The setup.
    one
        One of its spreads, from :func:`planish.predict.wafer.bands.spreads`.
    """
    kind, which, _ = one.by
    if kind == "rate":
        table, place = setup.model.removal[str(which)], paths.join("removal", str(which))
        leading = LAWS.get(table.law).leading
        if table.rate is not None:
            return f"{place}.rate"
        # a law of several steps has no coefficient that stands for its rate: there the spread's own key does
        return f"{place}.coefficients.{leading}" if leading else f"{place}.spread"
    if kind == "layer":
        return _stiffness(setup, LAYERS[int(which)])
    return "pad.surface.flow_spread" if kind == "flow" else str(which)


def spread_changes(setup: Setup, one: OneSpread, amount: float) -> dict[str, object]:
    """Return the changes that move a setup by a spread (for ``Setup.replace``).

    Parameters
    ----------
    setup
        The setup.
    one
        One of its spreads.
    amount
        How many standard deviations, as :func:`planish.predict.wafer.bands.drawn` counts them.

    Raises
    ------
    SetupError
        Where the value so moved makes no setup.
    """
    kind, which, size = one.by
    key, factor = spread_key(setup, one), spread.factor(size, amount)
    if kind == "rate":
        table = setup.model.removal[str(which)]
        if table.rate is not None:
            return {**kept_beside(setup, key), key: _scaled(setup.origins[key].value, factor)}
        place, scaling = paths.join("removal", str(which)), LAWS.get(table.law).scaling
        stated = {name: value for name, value in table.coefficients.items() if name in scaling}
        return {f"{place}.coefficients.{name}": _scaled(value, factor) for name, value in stated.items()}
    if kind == "layer":
        return {**kept_beside(setup, key), key: _stiffer(setup, key, int(which), factor)}
    if kind == "flow":
        pressure = setup.rig.pad.surface.flow_pressure * factor
        return {**kept_beside(setup, key), "pad.surface.flow_pressure": f"{pressure!r} Pa"}
    origin = setup.origins[key]
    return {**kept_beside(setup, key), key: spread.drawn(origin.value, origin.spread, amount)}


def kept_beside(setup: Setup, path: str) -> dict[str, object]:
    """Return what must be written down beside a value that moves, or the setup would take it for unsaid.

    Parameters
    ----------
    setup
        The setup.
    path
        Of the value.
    """
    section = path.split(".", 1)[0]
    if section != "removal":
        return {} if section in setup.document else {f"{section}.part": setup.parts[section]}
    for material, law in setup.tree["removal"].items():  # a part's rate keeps the grains it was measured with
        place = paths.join("removal", material)
        if path.startswith(f"{place}."):
            return {
                f"{place}.reference.{key}": law["reference"][key] for key in GRAINS if key in law["reference"]
            }
    return {}


def _stiffness(setup: Setup, layer: str) -> str:
    """Return the key by which the setup says how stiff a layer is."""
    return next(path for key in STIFFNESS_KEYS if (path := f"pad.{layer}.{key}") in setup.origins)


def _stiffer(setup: Setup, key: str, layer: int, factor: float) -> str | float:
    """Return the value of a stiffness key at which the layer's modulus is so many times what it is."""
    value = setup.origins[key].value
    kept = kept_beside(setup, key)

    def modulus(times: float) -> float:
        there = setup.replace({**kept, key: _scaled(value, times)})
        return there.rig.pad.layers[layer].modulus

    wanted = setup.rig.pad.layers[layer].modulus * factor
    last, here = 1.0, 1.0 + (_NUDGE if factor > 1 else -_NUDGE)
    had, has = modulus(last), modulus(here)
    for _ in range(_TRIES):
        if abs(has / wanted - 1.0) < 1e-6 or has == had:
            break
        last, here, had = here, here + (wanted - has) * (here - last) / (has - had), has
        has = modulus(here)
    return _scaled(value, here)


def _scaled(value: object, times: float) -> str | float:
    number, unit = spread.parted(value)
    return f"{number * times!r} {unit}".strip() if isinstance(value, str) else number * times
