"""What is worth telling about polished wafers: the same conditions for one wafer and for a lot.

Every condition looks at all wafers at once (n,), and is met by some of them; one wafer is a lot of one.
A new condition belongs here, so that what is told of a wafer is told of a lot whose wafers meet it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from planish.engine.fixed import sealed
from planish.physics.surface.hardness import ploughing_hardness
from planish.physics.surface.softening import HOTTEST
from planish.predict.wafer.counted import Counted, counted, cubic
from planish.predict.wafer.incoming import incoming_notes
from planish.predict.wafer.strange import HEAT, driven
from planish.predict.wafer.warm_pad import softens
from planish.units import ZERO_CELSIUS

if TYPE_CHECKING:
    from planish.setup.si import Rig, Step

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
FLOWING = 0.5  # share of the load on summits that flow, from which it is told
CONTACT_LIMIT = 0.05  # real contact fraction: beyond a few per cent neighbouring summits feel each other
LIQUID_CARRIES = 0.05  # of the load, by which the liquid lifts or sucks, from which it is told
LIQUID_RUBS = 0.5  # of friction that is the liquid's shear, from which it is doubtful
RUBS_HARD = 1.5  # times the coefficient of friction on summits, likewise
BOILING = f"; the pad is taken as no softer than at {HOTTEST - ZERO_CELSIUS:g} °C"
NO_SLURRY, STARVED = 1e-3, 0.3  # fresh share
UNEVEN, STEEP_EDGE = 6.0, 6.0  # [%] 1 sigma, and departure near the edge, that call for a change
EDGE_BAND = 0.015  # [m]
CLEARED = 0.9  # share of the removal, in films that are gone, from which the non-uniformity is theirs
_RADII, _ANGLES = 32, 64  # at which the speed of a wafer that does not turn is looked at
Kind = Literal["happened", "doubt", "act"]


@dataclass(frozen=True, slots=True)
class Seen:
    """What the conditions look at: n wafers, each of the rig's steps.

    Attributes
    ----------
    limited, floating
        (n, steps): whether a step ran into its longest time, whether the wafer floated on a fluid film in it.
    film_followed
        (n, steps): up to which share of the speed the fluid film was found (``physics.slurry.film``).
    film_torn
        (n, steps): whether it was asked for more suction than liquid can bear.
    solid_share, friction
        (n, steps): share of the load on summits, above 1 where the liquid sucks; coefficient of friction.
    real_fraction, fresh, peak
        (n, steps): real contact fraction, fresh share of the slurry, highest pad temperature [K].
    flowing, plasticity
        (n, steps): share of the load that lies on summits that flow, plasticity index of the summits.
    unresolved
        (n,): whether summits are worn to one height more nearly than a lot follows their heights.
    bare_somewhere, bare
        (n,): whether all films are gone in a place inside the edge exclusion, and everywhere in it.
    cleared_share
        (n,): share of what was removed that is films gone everywhere inside it (``cleared_share``).
    removed, sigma
        (n,) [m]: mean inside the edge exclusion, and its standard deviation.
    edge
        (n,) [%]: largest departure near the edge, NaN where there is none (``edge_extreme``).
    """

    limited: Mask
    floating: Mask
    film_followed: Array
    film_torn: Mask
    solid_share: Array
    friction: Array
    real_fraction: Array
    fresh: Array
    peak: Array
    flowing: Array
    plasticity: Array
    unresolved: Mask
    bare_somewhere: Mask
    bare: Mask
    cleared_share: Array
    removed: Array
    sigma: Array
    edge: Array


@dataclass(frozen=True, slots=True)
class Raised:
    """One condition that some wafers meet.

    Attributes
    ----------
    kind
        "happened" in the polish, "doubt" about the model there, or what calls for a change ("act").
    subject
        As in the findings.
    words
        Of the worst wafer, as a limit ("up to") where several meet it.
    wafers
        That meet it, (n,).
    """

    kind: Kind
    subject: str
    words: str
    wafers: Mask

    def where(self) -> str:
        """Return which wafers meet it, in words."""
        met, of = np.flatnonzero(self.wafers) + 1, self.wafers.size
        if met.size == of:
            return f"all {of} wafers" if of > 1 else "the one wafer"
        if met.size == 1:
            return f"wafer {met[0]}"
        if met[-1] < of and met[-1] - met[0] + 1 == met.size:
            return f"wafers {met[0]} to {met[-1]} of {of}"
        return f"from wafer {met[0]} on, in {met.size} of {of} wafers"


def raised(rig: Rig, seen: Seen) -> list[Raised]:
    """Return the conditions that at least one wafer meets.

    Parameters
    ----------
    rig
        The setup.
    seen
        Of the wafers.

    Returns
    -------
    list[Raised]
        With the wafers that meet them.
    """
    return list(_conditions(rig, seen))


def lot_notes(rig: Rig, seen: Seen) -> list[str]:
    """Return the notes of a lot: those of the setup and its films, and what any wafer raised, with where.

    Parameters
    ----------
    rig
        The setup.
    seen
        Of the wafers.

    Returns
    -------
    list[str]
        One sentence a note.
    """
    return [
        *rig.notes,
        *incoming_notes(rig.wafer.films, rig.wafer.radius),
        *(f"{one.words.rstrip('.')} ({one.where()})" for one in raised(rig, seen)),
    ]


def _conditions(rig: Rig, seen: Seen) -> Iterator[Raised]:
    names = [step.name for step in rig.steps]
    for index, step in enumerate(rig.steps):
        if seen.limited[:, index].any():
            words = (
                f"step {step.name}: ended by max_time {step.max_time:g} s before its stop condition was met"
            )
            yield Raised("happened", "time", words, seen.limited[:, index])
    for step in rig.steps:
        if step.carrier_speed == 0.0:
            yield Raised("happened", "speed", standing_still(rig, step), np.ones_like(seen.bare))
    yield from _met(
        "happened",
        "clearing",
        lambda: "all films are gone in places: what is below them is taken as not polished",
        seen.bare_somewhere,
    )
    contact = seen.real_fraction.max(axis=1)
    close = contact > CONTACT_LIMIT
    yield from _met(
        "doubt",
        "contact",
        lambda: (
            f"real contact area {_up_to(close)}{100 * contact.max():.3g} %: the summits model holds up to a few per cent, so "
            "pressure on the summits and rate are doubtful (is the pad so soft?)"
        ),
        close,
    )
    flows, limit = seen.flowing > FLOWING, rig.pad.surface.flow_pressure
    taken = limit == ploughing_hardness(rig.pad.surface.modulus)
    yield from _met(
        "happened",
        "contact",
        lambda: (
            f"summits flow in {_named(names, flows)}: {_up_to(flows)}{100 * seen.flowing.max():.0f} % of the load lies on summits "
            f"pressed to their flow pressure, {limit / 1e6:.4g} MPa{' on a cold pad' if softens(rig) else ''}"
            f"{' (3/8 of their modulus)' if taken else ''}; the "
            f"plasticity index is {_up_to(flows)}{seen.plasticity.max():.3g}"
        ),
        np.any(flows, axis=1),
    )
    yield from _met(
        "doubt",
        "contact",
        lambda: (
            "the summits are worn to one height more nearly than heights are followed: pressure on the summits and rate are "
            "good to a factor of two only, and jump from wafer to wafer (is the pad conditioned?)"
        ),
        seen.unresolved,
    )
    peak = seen.peak.max(axis=1) - ZERO_CELSIUS
    yield from _met(
        "doubt",
        "temperature",
        lambda: (
            f"pad at {_up_to(peak > HOTTEST - ZERO_CELSIUS)}{peak.max():.0f} °C: water would boil off, which the model "
            f"does not follow; {driven(rig, HEAT)}" + (BOILING if softens(rig) else "")
        ),
        peak > HOTTEST - ZERO_CELSIUS,
    )
    yield from _liquid(rig, names, seen)
    lost = seen.film_followed < 1.0
    least = np.min(seen.film_followed, where=lost, initial=1.0)
    yield from _met(
        "doubt",
        "film",
        lambda: (
            f"the liquid film in {_named(names, lost)} is found only up to {100 * least:.2g} % of the speed, and taken as "
            "it is there: beyond, it lifts the wafer off its summits or sucks it down too hard"
        ),
        np.any(lost, axis=1),
    )
    yield from _met(
        "doubt",
        "film",
        lambda: (
            f"the liquid would be sucked below what it can bear in {_named(names, seen.film_torn)}: it would boil or draw "
            "air there, which the model does not follow"
        ),
        np.any(seen.film_torn, axis=1),
    )
    dry = seen.fresh < NO_SLURRY
    yield from _met(
        "doubt",
        "slurry",
        lambda: f"no fresh slurry reaches the wafer in {_named(names, dry)}: nothing is removed there",
        np.any(dry, axis=1),
    )
    yield from _met(
        "doubt",
        "clearing",
        lambda: (
            "all films are gone inside the edge exclusion: the non-uniformity is that of the incoming films"
        ),
        seen.bare,
    )
    cleared = ~seen.bare & (seen.cleared_share >= CLEARED)
    yield from _met(
        "doubt",
        "clearing",
        lambda: (
            f"{_up_to(cleared)}{100 * np.max(seen.cleared_share, where=cleared, initial=0.0):.0f} % of what was removed is films gone "
            "everywhere inside the edge exclusion: the non-uniformity is mostly that of the incoming films"
        ),
        cleared,
    )
    yield from _calls(names, seen)


def _met(kind: Kind, subject: str, words: Callable[[], str], wafers: Mask) -> Iterator[Raised]:
    """Yield a condition where a wafer meets it: only then is it put into words."""
    if wafers.any():
        yield Raised(kind, subject, words(), wafers)


def standing_still(rig: Rig, step: Step) -> str:
    """Return what follows for the evenness of a wafer whose carrier does not turn.

    Parameters
    ----------
    rig
        The setup.
    step
        Of its recipe, with a carrier at rest.

    Returns
    -------
    str
        A sentence: how the sliding speed differs round the wafer, which no mean over a turn evens out then.
    """
    rim = rig.wafer.radius
    r = rim * np.sqrt((np.arange(_RADII) + 0.5) / _RADII)  # of equal areas
    turn = np.cos(2 * np.pi * (np.arange(_ANGLES) + 0.5) / _ANGLES)
    drive = getattr(step, rig.polisher.drive.key)
    along, across = rig.polisher.speed_amplitudes(np.append(r, rim), drive, 0.0)
    speed = np.sqrt(np.maximum(along**2 + across[:-1, None] ** 2 + 2 * along * across[:-1, None] * turn, 0.0))
    low, high, mean = abs(along - across[-1]), along + across[-1], float(speed.mean())
    differs = mean > 0 and high - low > 1e-3 * mean
    told = (
        f"round its rim the sliding speed goes from {low:.3g} to {high:.3g} m/s, over the wafer by "
        f"{100 * float(speed.std()) / mean:.3g} % (1σ)"
        if differs
        else f"it slides at {along:.3g} m/s all over, but each place keeps to its own part of the pad"
    )
    return (
        f"step {step.name}: the carrier does not turn, so nothing evens out what differs round the wafer: {told}; the "
        "figures here are means round each radius and leave that out of the non-uniformity, and what differs from the "
        "leading edge to the trailing one too"
    )


def _calls(names: Sequence[str], seen: Seen) -> Iterator[Raised]:
    """Yield what calls for a change."""
    none = ~(seen.removed > 0)
    yield from _met("act", "rate", lambda: "Nothing is removed with these settings.", none)
    sigma = 100 * seen.sigma / np.where(none, 1.0, seen.removed)
    uneven = ~none & (sigma >= UNEVEN)
    yield from _met(
        "act",
        "uniformity",
        lambda: (
            f"Removal is even only within {_up_to(uneven)}{np.max(sigma, where=uneven, initial=0.0):.1f} % (1σ) inside the edge exclusion."
        ),
        uneven,
    )
    height = np.nan_to_num(seen.edge)
    worst = float(height[np.argmax(np.abs(height))])
    steep = np.abs(height) > STEEP_EDGE
    yield from _met(
        "act",
        "edge",
        lambda: f"The edge polishes {_up_to(steep)}{abs(worst):.1f} % {'fast' if worst > 0 else 'slow'}.",
        steep,
    )
    at = int(np.argmin(seen.fresh.min(axis=0)))
    least = seen.fresh.min(axis=1)
    yield from _met(
        "act",
        "slurry",
        lambda: (
            f"{'As little as' if np.sum(least < STARVED) > 1 else 'Only'} {100 * least.min():.0f} % of the slurry under the wafer is fresh in step {names[at]}: the rate is "
            "starved. Flow, the place of delivery and how far the pad travels under the wafer decide it."
        ),
        least < STARVED,
    )
    yield from _met(
        "act",
        "slurry",
        lambda: (
            f"The wafer floats on a fluid film in {_named(names, seen.floating)}: little contact, little removal."
        ),
        np.any(seen.floating, axis=1),
    )


def _liquid(rig: Rig, names: Sequence[str], seen: Seen) -> Iterator[Raised]:
    """Yield what the liquid does to load and friction, where that is more than a little."""
    found = seen.film_followed >= 1.0
    carried = 1.0 - seen.solid_share
    lifts = found & ~seen.floating & (carried > LIQUID_CARRIES)
    yield from _met(
        "happened",
        "film",
        lambda: (
            f"the liquid carries {_up_to(lifts)}{100 * np.max(carried, where=lifts, initial=0.0):.0f} % of the load in "
            f"{_named(names, lifts)}: summits carry that much less, so rate and friction fall, and not evenly over the wafer"
        ),
        np.any(lifts, axis=1),
    )
    sucks = found & (carried < -LIQUID_CARRIES)
    yield from _met(
        "happened",
        "film",
        lambda: (
            f"the liquid sucks the wafer down by {_up_to(sucks)}{-100 * np.min(carried, where=sucks, initial=0.0):.0f} % of "
            f"the load in {_named(names, sucks)}: summits carry that much more, so rate and friction rise, and not evenly "
            "over the wafer"
        ),
        np.any(sucks, axis=1),
    )
    boundary = rig.slurry.friction_boundary
    shear = seen.friction - boundary * seen.solid_share
    most = (shear > LIQUID_RUBS * seen.friction) & ~seen.floating
    rubs = (most | (seen.friction > RUBS_HARD * boundary)) & (boundary > 0)
    at = np.unravel_index(np.argmax(np.where(rubs, seen.friction, -1.0)), rubs.shape)
    yield from _met(
        "doubt",
        "film",
        lambda: (
            f"coefficient of friction {_up_to(rubs)}{seen.friction[at]:.3g} in {_named(names, rubs)}, "
            f"{100 * shear[at] / max(seen.friction[at], 1e-12):.0f} % of it by the liquid's shear: how thin the liquid is "
            "between the summits is known but roughly, so friction, and heat and rate with it, are doubtful"
        ),
        np.any(rubs, axis=1),
    )


def _up_to(met: Mask) -> str:
    """Return what makes the worst figure a limit, where more than one wafer or step meets the condition."""
    return "up to " if np.sum(met) > 1 else ""


def _named(names: Sequence[str], met: Mask) -> str:
    return ", ".join(name for name, any_wafer in zip(names, np.any(met, axis=0), strict=True) if any_wafer)


def cleared_share(taken: Array, left: Array, disc: Counted) -> float:
    """Return which share of the removal is films that are gone everywhere inside the edge exclusion.

    Parameters
    ----------
    taken, left
        Of each film [m], (films, n_r).
    disc
        Inside the edge exclusion.

    Returns
    -------
    float
        [1]; 0 where nothing was removed.
    """
    means = taken @ disc.weights
    gone = np.all(left[:, disc.inside] <= 0, axis=1)
    total = float(means.sum())
    return float(means[gone].sum()) / total if total > 0 else 0.0


def edge_extreme(
    radius: Array, areas: Array, removed: Array, rim: float, exclusion: float, band: float = EDGE_BAND
) -> tuple[Array, Array]:
    """Return the most uneven place near the edge, per wafer.

    Parameters
    ----------
    radius, areas
        Of the nodes (n_r,) [m], [m^2].
    removed
        (n, n_r) [m].
    rim, exclusion
        Wafer radius and edge exclusion [m].
    band
        How far in from the edge is looked at [m]: the departure is from the removal where the band begins,
        over the mean of the inner half radius. NaN where nothing is removed there or the exclusion is wider.

    Returns
    -------
    tuple[Array, Array]
        Departure [%], and distance from the rim [m], (n,).
    """
    centre = removed @ counted(radius, areas, 0.5 * rim).weights
    blank = ~(centre > 0)
    if exclusion >= band:
        nothing = np.full(blank.shape, np.nan)
        return nothing, nothing.copy()
    places = np.linspace(rim - band, rim - exclusion, _ALONG_EDGE)
    along = removed @ _read_at(radius.tobytes(), places.tobytes()).T
    departure = 100 * (along - along[:, :1]) / np.where(blank, 1.0, centre)[:, None]
    at = np.argmax(np.abs(departure), axis=1)
    height, place = _top(departure, places, at)
    return np.where(blank, np.nan, height), np.where(blank, np.nan, rim - place)


_ALONG_EDGE = 49  # places at which the edge is looked at; between them a parabola


@lru_cache(maxsize=32)
def _read_at(nodes: bytes, places: bytes) -> Array:
    """Return what reads profiles at places (places, n_r)."""
    return sealed(cubic(np.frombuffer(nodes), np.frombuffer(places)))


def _top(heights: Array, places: Array, at: NDArray[np.intp]) -> tuple[Array, Array]:
    """Return height and place of the top of the parabola through a largest value and its neighbours, row by row."""
    row, inner = np.arange(at.size), np.clip(at, 1, places.size - 2)
    before, here, after = (heights[row, inner + step] for step in (-1, 0, 1))
    bend = before - 2 * here + after
    shift = np.divide(0.5 * (before - after), bend, out=np.zeros(at.size), where=bend != 0)
    within = (inner == at) & (np.abs(shift) <= 1)
    shift = np.where(within, shift, 0.0)
    height = np.where(within, here - 0.25 * (before - after) * shift, heights[row, at])
    return height, places[at] + shift * (places[1] - places[0])
