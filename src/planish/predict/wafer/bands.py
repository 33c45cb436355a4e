"""How far a prediction may be off, from the stated spreads of what goes into it (first order).

Each spread is moved one standard deviation up and down, alone; half the difference of the outcomes is
its share, and the shares of independent spreads add in quadrature. That is first-order propagation of
uncertainty (JCGM 100:2008, "Guide to the expression of uncertainty in measurement", 5.1.2):
good while the outcome bends little over one spread, and blind to spreads that nobody stated and to what
the model leaves out.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from planish.engine.record import Record
from planish.physics.removal.laws import LAWS
from planish.predict.wafer.polish import polish
from planish.setup.given import as_rig

if TYPE_CHECKING:
    from planish.setup.given import SetupLike
    from planish.setup.si import Rig

SOURCES: tuple[str, ...] = (
    "First-order propagation of uncertainty: JCGM 100:2008 (GUM), 5.1.2 (read as quoted in notes on measurement "
    "uncertainty)",
)


@dataclass(frozen=True, slots=True, repr=False)
class Band(Record):
    """An outcome with its spread.

    Attributes
    ----------
    value
        Of the outcome.
    sd
        Its standard deviation.
    shares
        Of each spread (signed, + for more).
    """

    value: float
    sd: float
    shares: dict[str, float]

    def document(self) -> dict[str, object]:
        """Return value, standard deviation and shares, as JSON can hold them."""
        return {"value": self.value, "standard_deviation": self.sd, "shares": self.shares}

    def _told(self) -> str:
        shares = ", ".join(f"{name} {share:+.3g}" for name, share in self.shares.items())
        return f"{self.value:.5g} ± {self.sd:.2g} (1σ), {shares or 'no spread acts on it'}"


def polish_band(
    setup: SetupLike, run: Callable[[Rig], Mapping[str, object]] | None = None
) -> dict[str, Band]:
    """Return the band of every figure of the summary; empty where no spread is stated.

    Parameters
    ----------
    setup
        A loaded setup, its SI records, or the path of a setup file.
    run
        What gives the summary of one setup; the one-wafer prediction unless given.

    Returns
    -------
    dict[str, Band]
        By the summary's keys.
    """
    rig = as_rig(setup)
    figures = run or (lambda each: polish(each).summary())
    middle = figures(rig)
    moved = {name: (figures(up), figures(down)) for name, up, down in spreads(rig)}
    bands = {}
    for key, value in middle.items():
        if key == "force_balance_error" or isinstance(value, bool) or not isinstance(value, int | float):
            continue
        pairs = {name: (up.get(key), down.get(key)) for name, (up, down) in moved.items()}
        shares = {
            name: 0.5 * (up - down)
            for name, (up, down) in pairs.items()
            if isinstance(up, int | float) and isinstance(down, int | float)
        }
        bands[key] = Band(float(value), sum(share**2 for share in shares.values()) ** 0.5, shares)
    return bands if moved else {}


def spreads(rig: Rig) -> list[tuple[str, Rig, Rig]]:
    """Return the two setups of each stated spread that acts on the wafer.

    Parameters
    ----------
    rig
        The setup.

    Returns
    -------
    list[tuple[str, Rig, Rig]]
        Name, setup one spread up, setup one spread down.
    """
    found = []
    for material in dict.fromkeys(film.material for film in rig.wafer.films):
        law = rig.removal[material]
        if law.relative_spread > 0:
            up, down = (with_rate(rig, material, 1 + sign * law.relative_spread) for sign in (1, -1))
            found.append((f"rate of {material}", up, down))
    for index, layer in enumerate(rig.pad.layers):
        if layer.modulus_spread > 0:
            up, down = (_with_layer(rig, index, 1 + sign * layer.modulus_spread) for sign in (1, -1))
            found.append((f"modulus of the {'top pad' if index == 0 else 'sub-pad'}", up, down))
    surface = rig.pad.surface
    if surface.flow_spread > 0:
        up, down = (_with_flow(rig, 1 + sign * surface.flow_spread) for sign in (1, -1))
        found.append(("flow pressure of the summits", up, down))
    return found


def with_rate(rig: Rig, material: str, factor: float) -> Rig:
    """Return the setup with one material's rate scaled, whatever its law.

    Parameters
    ----------
    rig
        The setup.
    material
        Whose rate is scaled.
    factor
        New rate over the present one.
    """
    law = rig.removal[material]
    scaling = LAWS.get(law.law).scaling
    scaled = {key: value * factor if key in scaling else value for key, value in law.coefficients.items()}
    return replace(rig, removal={**rig.removal, material: replace(law, coefficients=scaled)})


def _with_flow(rig: Rig, factor: float) -> Rig:
    surface = replace(rig.pad.surface, flow_pressure=rig.pad.surface.flow_pressure * factor)
    return replace(rig, pad=replace(rig.pad, surface=surface))


def _with_layer(rig: Rig, index: int, factor: float) -> Rig:
    """Scale a layer's modulus; the summits are of the top pad's stuff and go with it."""
    pad = rig.pad
    layers = tuple(
        replace(layer, modulus=layer.modulus * factor) if number == index else layer
        for number, layer in enumerate(pad.layers)
    )
    surface = replace(pad.surface, modulus=pad.surface.modulus * factor) if index == 0 else pad.surface
    return replace(rig, pad=replace(pad, layers=layers, surface=surface))
