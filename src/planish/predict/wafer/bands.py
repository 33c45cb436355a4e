"""How far a prediction may be off, from the stated spreads of what goes into it (first order).

Each spread is moved one standard deviation up and down, alone; half the difference of the outcomes is
its share, and the shares of independent spreads add in quadrature; values fitted together add with their correlations
(:mod:`planish.predict.wafer.correlations`). That is first-order propagation of
uncertainty (JCGM 100:2008, "Guide to the expression of uncertainty in measurement", 5.1.2):
good while the outcome bends little over one spread, and blind to spreads that nobody stated and to what
the model leaves out. Nothing is drawn by lot, so there is no seed, and workers change nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, NamedTuple

from planish.engine.execute import run_all
from planish.engine.record import Record
from planish.errors import SetupError
from planish.physics.removal.laws import LAWS
from planish.physics.surface.hardness import ploughing_hardness
from planish.predict.wafer.correlations import correlations, spread_together
from planish.predict.wafer.polish import polish
from planish.predict.wafer.spread_keys import LAYERS, kept_beside
from planish.setup import paths, spread
from planish.setup.given import as_described
from planish.setup.resolve import STIFFNESS_KEYS
from planish.setup.si import Rig

if TYPE_CHECKING:
    from planish.setup.given import SetupLike
    from planish.setup.models import Setup
    from planish.setup.resolve import Origin

SOURCES: tuple[str, ...] = (
    "First-order propagation of uncertainty: JCGM 100:2008 (GUM), 5.1.2 (read as quoted in notes on measurement "
    "uncertainty)",
)
_NOTHING = 1e-9  # of a figure: less is rounding


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


class Moved(NamedTuple):
    """One stated spread: the setup one standard deviation up and down; None for a side that no setup can take."""

    name: str
    up: Rig | None
    down: Rig | None
    by: tuple[str, str | int, float] = ("", "", 0.0)  # for `drawn`: what is moved, which, the share

    @property
    def told(self) -> str:
        """The name, and which side alone could be moved."""
        sides = {(True, False): " (upwards only)", (False, True): " (downwards only)"}
        return self.name + sides.get((self.up is not None, self.down is not None), "")


def polish_band(
    setup: SetupLike,
    run: Callable[[Rig], Mapping[str, object]] | None = None,
    *,
    workers: int = 1,
) -> dict[str, Band]:
    """Return the band of every figure of the summary; empty where no spread is stated.

    Parameters
    ----------
    setup
        A loaded setup, or the path of a setup file; of SI records alone only the spreads of rates and moduli are
        known, those of parts stand in the setup.
    run
        What gives the summary of one setup; the one-wafer prediction unless given.
    workers
        Processes that share the work (``run`` must be picklable for more than one); the numbers are the same for any.

    Returns
    -------
    dict[str, Band]
        By the summary's keys.

    Raises
    ------
    SetupError
        For a spread that is none, or by which no setup can be moved either way.
    """
    return bands_of(as_described(setup), run or wafer_figures, workers=workers)


def wafer_figures(rig: Rig) -> dict[str, Any]:
    """Return the summary of one polished wafer."""
    return polish(rig).summary()


def bands_of(
    described: Setup | Rig,
    run: Callable[[Any], Mapping[str, object]],
    *,
    piece: Callable[[Rig], Any] = lambda rig: rig,
    more: Sequence[tuple[str, Any, Any]] = (),
    workers: int = 1,
) -> dict[str, Band]:
    """Return the bands of what ``run`` makes of a setup.

    Parameters
    ----------
    described
        The setup, or its SI records.
    run
        Gives the summary of one piece.
    piece
        What ``run`` is asked of SI records.
    more
        Spreads beside those of the setup: name, piece one spread up, piece one spread down.
    workers
        Processes that share the work.

    Returns
    -------
    dict[str, Band]
        By the summary's keys; empty where no spread is stated.
    """
    rig = described if isinstance(described, Rig) else described.rig
    stated = spreads(described)
    names, table = [one.told for one in stated], correlations(described, stated)
    moved: list[tuple[str, tuple[Any, ...]]] = [
        (one.told, tuple(None if side is None else piece(side) for side in (one.up, one.down)))
        for one in stated
    ]
    moved += [(name, (up, down)) for name, up, down in more]
    pieces = [piece(rig), *(side for _, sides in moved for side in sides if side is not None)]
    found = iter(run_all(run, pieces, workers=workers, processes=True))
    middle = next(found)
    ends = {name: [middle if side is None else next(found) for side in sides] for name, sides in moved}
    over = {name: 1.0 / sum(side is not None for side in sides) for name, sides in moved}
    bands = {}
    for key, value in middle.items():
        if key == "force_balance_error" or isinstance(value, bool) or not isinstance(value, int | float):
            continue
        shares = {
            name: over[name] * (more_of - less_of)
            for name, (up, down) in ends.items()
            if isinstance(more_of := up.get(key), int | float)
            and isinstance(less_of := down.get(key), int | float)
        }
        bands[key] = Band(float(value), spread_together(shares, names, table), shares)
    return bands if moved else {}


def without_effect(bands: Mapping[str, Band]) -> list[str]:
    """Return the spreads that move no figure at all: what they are of does not come into this answer.

    Parameters
    ----------
    bands
        Of its figures.
    """
    names = dict.fromkeys(name for band in bands.values() for name in band.shares)
    acting = {
        name
        for band in bands.values()
        for name, share in band.shares.items()
        if abs(share) > _NOTHING * max(abs(band.value), 1e-12)
    }
    return [name for name in names if name not in acting]


def spreads(setup: SetupLike) -> list[Moved]:
    """Return every stated spread with the setups that it leads to.

    Parameters
    ----------
    setup
        As for :func:`polish_band`.

    Returns
    -------
    list[Moved]
        Of rates and moduli first, then of every other value that a part in force states a spread of, by its dotted path.

    Raises
    ------
    SetupError
        As :func:`polish_band`.

    Notes
    -----
    A rate and a modulus have a spread key of their own (``removal.M.spread``, ``pad.top.modulus_spread``), and the part
    may state a spread beside the value that they follow from as well. It is one doubt told twice: the larger counts;
    a key that the setup says itself counts alone, and so does the spread of a value that was fitted.
    """
    described = as_described(setup)
    if isinstance(described, Rig):
        return [*_rates(described, {}), *_moduli(described, {}), *_flow(described)]
    stated = {path: origin for path, origin in described.origins.items() if origin.spread}
    fitted = {
        path for path in stated if _own(described, path)
    }  # the only spread that a setup states of its own value
    rates = _rates(described.rig, _rate_spreads(described, stated), fitted)
    moduli = _moduli(described.rig, _stiffness(described, stated), described)
    own = [*rates, *moduli, *_flow(described.rig)]
    return [*own, *(_moved(described, path, origin, path) for path, origin in stated.items())]


def drawn(setup: Setup, moved: Sequence[Moved], amounts: Sequence[float]) -> Rig:
    """Return the setup with all of its spreads moved at once.

    Parameters
    ----------
    setup
        The setup.
    moved
        Its spreads, from :func:`spreads`.
    amounts
        How many standard deviations each is moved: 0 leaves the value, others as :func:`planish.setup.spread.drawn`.

    Returns
    -------
    Rig
        In SI.

    Raises
    ------
    PlanishError
        Where values so moved make no setup.
    """
    changes: dict[str, object] = {}
    for one, amount in zip(moved, amounts, strict=True):
        if one.by[0] == "key":
            path = str(one.by[1])
            origin = setup.origins[path]
            changes |= {**kept_beside(setup, path), path: spread.drawn(origin.value, origin.spread, amount)}
    there = setup.replace(changes) if changes else setup
    rig = there.rig
    for one, amount in zip(moved, amounts, strict=True):
        kind, which, size = one.by
        factor = spread.factor(size, amount)
        if kind == "rate":
            rig = with_rate(rig, str(which), factor)
        elif kind == "layer":
            rig = _with_modulus(rig, int(which), factor, there)
        elif kind == "flow":
            rig = _with_flow(rig, factor)
    return rig


def _rates(rig: Rig, told: Mapping[str, float], fitted: Collection[str] = ()) -> list[Moved]:
    """Return the spreads of the rates: the key's own or the one ``told`` beside the value, by material.

    That of a fitted rate counts alone.
    """
    found = []
    for material, law in rig.removal.items():
        size = max(law.relative_spread, told.get(material, 0.0))
        if material in told and any(path in fitted for path in _rate_paths(material, law.law)):
            size = told[material]
        if size > 0:
            up, down = (with_rate(rig, material, 1 + sign * size) for sign in (1, -1))
            found.append(Moved(f"rate of {material}", up, down, ("rate", material, size)))
    return found


def _rate_spreads(setup: Setup, stated: dict[str, Origin]) -> dict[str, float]:
    """Take the relative spreads stated beside rates out of ``stated``; by material, none where the setup says its own."""
    found = {}
    for material, law in setup.rig.removal.items():
        place = paths.join("removal", material)
        for path in _rate_paths(material, law.law):
            origin = stated.pop(path, None)
            if origin is not None and (_own(setup, path) or not _own(setup, f"{place}.spread")):
                number, _ = spread.parted(origin.value)
                found[material] = _sized(path, origin) / abs(number) if number else 0.0
    return found


def _rate_paths(material: str, law: str) -> tuple[str, str]:
    """Return the two keys that say how fast a material goes."""
    place = paths.join("removal", material)
    return f"{place}.rate", f"{place}.coefficients.{LAWS.get(law).leading}"


def _moduli(rig: Rig, told: Mapping[int, tuple[str, Origin]], setup: Setup | None = None) -> list[Moved]:
    """Return the spreads of the layers' moduli: the key's own, or the one ``told`` beside hardness or modulus."""
    found = []
    for index, layer in enumerate(rig.pad.layers):
        name = f"modulus of the {'top pad' if index == 0 else 'sub-pad'}"
        own = layer.modulus_spread
        other = Moved(name, None, None)
        if setup is not None and index in told:
            other = _moved(setup, *told[index], name)
        sides = [side.pad.layers[index].modulus for side in (other.up, other.down) if side is not None]
        alone = setup is not None and index in told and _own(setup, told[index][0])  # fitted
        if sides and (alone or max(abs(side / layer.modulus - 1) for side in sides) > own):
            found.append(other)
        elif own > 0:
            up, down = (_with_modulus(rig, index, 1 + sign * own, setup) for sign in (1, -1))
            found.append(Moved(name, up, down, ("layer", index, own)))
    return found


def _flow(rig: Rig) -> list[Moved]:
    """Return the spread of the pressure at which summits flow, which is a key of its own."""
    size = rig.pad.surface.flow_spread
    if not size > 0:
        return []
    up, down = (_with_flow(rig, 1 + sign * size) for sign in (1, -1))
    return [Moved("flow pressure of the summits", up, down, ("flow", "", size))]


def _with_flow(rig: Rig, factor: float) -> Rig:
    surface = replace(rig.pad.surface, flow_pressure=rig.pad.surface.flow_pressure * factor)
    return replace(rig, pad=replace(rig.pad, surface=surface))


def _stiffness(setup: Setup, stated: dict[str, Origin]) -> dict[int, tuple[str, Origin]]:
    """Take the spreads stated beside hardness or modulus out of ``stated``; by layer, none where the setup says its own."""
    found = {}
    for index, layer in enumerate(LAYERS):
        for key in STIFFNESS_KEYS:
            path = f"pad.{layer}.{key}"
            origin = stated.pop(path, None)
            if origin is not None and (_own(setup, path) or not _own(setup, f"pad.{layer}.modulus_spread")):
                found[index] = (path, origin)
    return found


def _own(setup: Setup, path: str) -> bool:
    """Return whether the setup itself says a key."""
    return path in setup.origins and setup.origins[path].origin == "setup"


def _sized(path: str, origin: Origin) -> float:
    """Return one standard deviation in the unit of the value; the refusal names the path."""
    try:
        return spread.step_of(origin.value, origin.spread)
    except SetupError as error:
        raise SetupError(f"{path}: {error}") from None


def _moved(setup: Setup, path: str, origin: Origin, name: str) -> Moved:
    """Move one value by its stated spread, each way that the setup allows."""
    _sized(path, origin)
    kept = kept_beside(setup, path)
    sides: list[Rig | None] = []
    refused = ""
    for sign in (1, -1):
        try:
            sides.append(setup.replace({**kept, path: spread.moved(origin.value, origin.spread, sign)}).rig)
        except SetupError as error:
            sides.append(None)
            refused = str(error)
    if sides == [None, None]:
        raise SetupError(
            f"{path} = {origin.value}: cannot be moved by its spread, {origin.spread}, either way ({refused}): give it a "
            "value or a narrower spread"
        )
    return Moved(name, sides[0], sides[1], ("key", path, 0.0))


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


def _with_modulus(rig: Rig, index: int, factor: float, setup: Setup | None) -> Rig:
    """Scale a layer's modulus, and with it what the setup does not state of its own."""
    pad = None if setup is None else setup.model.pad
    hardness = pad is None or pad.hardness is None
    flow = hardness and (pad is None or pad.surface.flow_pressure is None)
    return _with_layer(rig, index, factor, hardness=hardness, flow=flow)


def _with_layer(rig: Rig, index: int, factor: float, *, hardness: bool, flow: bool) -> Rig:
    """Scale a layer's modulus; the summits, and what a diamond meets, are of the top pad's stuff and go with it."""
    pad = rig.pad
    layers = tuple(
        replace(layer, modulus=layer.modulus * factor) if number == index else layer
        for number, layer in enumerate(pad.layers)
    )
    if index > 0:
        return replace(rig, pad=replace(pad, layers=layers))
    harder = ploughing_hardness(factor) / ploughing_hardness(1.0) if hardness else 1.0
    surface = replace(
        pad.surface,
        modulus=pad.surface.modulus * factor,
        flow_pressure=pad.surface.flow_pressure * (factor if flow else 1.0),
    )
    return replace(rig, pad=replace(pad, layers=layers, surface=surface, hardness=pad.hardness * harder))
