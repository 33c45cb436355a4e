"""Two neighbouring areas under one rough pad: the law behind steps, dishing and erosion.

A share phi of the surface stands ``height`` h above the rest. The pad's summits
press less where the surface is lower; over a selectivity length l the pressure
falls by e:

    p_low = p_high exp(-h/l),      phi p_high + (1 - phi) p_low = p

With blanket rates K_high and K_low (at pressure p) the height changes as
dh/dt = (K_low p_low - K_high p_high)/p. With u = h/l and u* = ln(K_low/K_high),
its fixed point, x = u - u* and v = ln(exp|x| - 1) give for x > 0

    b v - B ln(1 + e^v) = const - t/l,   high loss = l (v_0 - v)

and for x < 0 the same with A in place of B and the low loss; here A = phi/K_high,
B = (1-phi)/K_low, b = A + B. Every step in time is therefore exact, of any
length, and the time that removes a given thickness is explicit. Volume is
conserved: phi high/K_high + (1-phi) low/K_low = t.

Same material on both areas: the step decays towards zero (oxide over steps).
A low area that polishes faster: dishing, which saturates at l ln(K_low/K_high).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.errors import ModelError, refuse

Array = NDArray[np.float64]
SOURCES: tuple[str, ...] = (
    "Greenwood & Williamson 1966, Proc. R. Soc. A 295, 300: summits of exponential height, so pressure falls"
    " exponentially with depth (from memory)",
    "two areas under one pad, exact in time: derivation of our own",
)

_SMALLEST = 1e-12  # |x| below this counts as the fixed point itself
_BLOCK = 16384  # cells worked on at once: the temporaries stay in the cache


@dataclass(frozen=True, slots=True)
class HighLayer:
    """One film on the high areas.

    Attributes
    ----------
    thickness
        [m], a number or one per cell, infinite for what is never polished through.
    rates
        [m/s], one per recipe step.
    share
        phi of the surface that is high while this film is exposed, a number or one per cell.
    """

    thickness: ArrayLike
    rates: ArrayLike
    share: ArrayLike


@dataclass(frozen=True, slots=True)
class PairState:
    """Where the two areas are; every array has one value per cell.

    Attributes
    ----------
    height
        Of the high area above the low [m].
    high_loss, low_loss
        [m].
    exposed
        Number of films the high area has lost.
    through_time
        When each film was gone [s], (films, cells), infinite if not.
    """

    height: Array
    high_loss: Array
    low_loss: Array
    exposed: NDArray[np.int64]
    through_time: Array


def advance(
    height: Array, share: Array, high_rate: float, low_rate: float, length: Array, time: Array
) -> tuple[Array, Array, Array]:
    """Return height and losses after some time.

    Parameters
    ----------
    height
        Of the high area above the low [m], any shape.
    share
        phi of the surface that is high.
    high_rate, low_rate
        Blanket rates [m/s].
    length
        Selectivity length l [m].
    time
        [s].

    Returns
    -------
    tuple[Array, Array, Array]
        Height, high loss and low loss [m], shape as ``height``.
    """
    v0, above, fixed, a, b = _start(height, share, high_rate, low_rate, length)
    v = _solve(_clock(v0, above, a, b) - time / length, above, a, b)
    away = _softplus(v) * length
    lead = length * (v0 - v)
    if np.all(above):
        new = fixed + away
        return new, lead, lead + new - height
    new = fixed + np.where(above, away, -away)
    rise = new - height
    return new, np.where(above, lead, lead - rise), np.where(above, lead + rise, lead)


def time_to_remove(
    thickness: Array, height: Array, share: Array, high_rate: float, low_rate: float, length: Array
) -> Array:
    """Return the time that takes a thickness off the high area, in closed form.

    Parameters
    ----------
    thickness
        [m], infinite for what is never polished through.
    height, share, high_rate, low_rate, length
        As for :func:`advance`.

    Returns
    -------
    Array
        [s], shape as ``height``.
    """
    v0, above, _, a, b = _start(height, share, high_rate, low_rate, length)
    if np.all(np.isinf(thickness)):
        return np.full(height.shape, np.inf)
    depth = thickness / length
    finite = np.where(np.isfinite(depth), depth, 0.0)
    v1 = np.where(above, v0 - finite, -_inverse_softplus(np.maximum(_softplus(-v0) + finite, 1e-300)))
    time = length * (_clock(v0, above, a, b) - _clock(v1, above, a, b))
    return np.where(np.isfinite(depth), np.maximum(time, 0.0), np.inf)


def time_to_height(
    target: float, height: Array, share: Array, high_rate: float, low_rate: float, length: Array
) -> Array:
    """Return the time until the height is at a target.

    Parameters
    ----------
    target
        [m].
    height, share, high_rate, low_rate, length
        As for :func:`advance`.

    Returns
    -------
    Array
        [s], shape as ``height``: 0 if past it, infinite if it never gets there.
    """
    out = np.empty(height.shape)
    flat, parts = out.reshape(-1), [np.ravel(values) for values in (height, share, length)]
    for begin in range(0, flat.size, _BLOCK):
        part = slice(begin, begin + _BLOCK)
        h, phi, reach = (values[part] for values in parts)
        v0, above, fixed, a, b = _start(h, phi, high_rate, low_rate, reach)
        goal = np.where(above, target - fixed, fixed - target) / reach
        v1 = _inverse_softplus(np.maximum(goal, _SMALLEST))
        time = reach * (_clock(v0, above, a, b) - _clock(v1, above, a, b))
        there = np.where(above, h <= target, h >= target)
        flat[part] = np.where(there, 0.0, np.where(goal > 0, time, np.inf))
    return out


def polish_pair(
    layers: Sequence[HighLayer],
    low_rates: ArrayLike,
    durations: ArrayLike,
    height: ArrayLike,
    length: ArrayLike,
    shares: Sequence[ArrayLike] | None = None,
) -> PairState:
    """Polish the two areas through all films of the high area and all recipe steps.

    Parameters
    ----------
    layers
        Films of the high area from the top; the last may be infinite.
    low_rates
        Blanket rate of the low area's material in each step [m/s].
    durations
        Of each step [s].
    height
        Initial step [m] per cell (any shape).
    length
        Selectivity length [m], one per step or (steps, cells...).
    shares
        Share phi in each recipe step, where it changes with the pad; in place of the films' own.

    Returns
    -------
    PairState
        After the last step.

    Raises
    ------
    ModelError
        For rates or lengths that are not above 0 or shares outside 0..1.
    """
    start = np.asarray(height, dtype=np.float64)
    shape, cells = start.shape, start.size
    times, low = np.atleast_1d(np.asarray(durations, float)), np.atleast_1d(np.asarray(low_rates, float))
    rates = np.array([np.broadcast_to(np.asarray(layer.rates, float), times.shape) for layer in layers])
    own = np.array([_per_cell(layer.share, shape) for layer in layers])
    share = [own] * times.size if shares is None else [_for_all(s, shape, len(layers)) for s in shares]
    thick = np.array([_per_cell(layer.thickness, shape) for layer in layers])
    lengths = np.asarray(length, dtype=np.float64)
    per_step = (
        np.broadcast_to(lengths.reshape(lengths.shape[0], -1), (times.size, cells))
        if lengths.ndim
        else (np.broadcast_to(lengths, (times.size, cells)))
    )
    _checked(rates, low, share, per_step, times)
    out = np.empty((3, cells))
    exposed = np.zeros(cells, dtype=np.int64)
    through = np.full((len(layers), cells), np.inf)
    for begin in range(0, cells, _BLOCK):
        part = slice(begin, begin + _BLOCK)
        out[:, part], exposed[part], through[:, part] = _run(
            start.reshape(-1)[part],
            rates,
            low,
            [one[:, part] for one in share],
            thick[:, part],
            times,
            per_step[:, part],
        )
    h, up, down = (values.reshape(shape) for values in out)
    return PairState(h, up, down, exposed.reshape(shape), through.reshape((len(layers), *shape)))


@dataclass(slots=True)
class PairMarch:
    """Cells on their way (flat arrays), begun with :func:`begin_march`, moved on with :func:`march`.

    Attributes
    ----------
    height
        Of the high area above the low [m].
    high_loss, low_loss
        [m].
    exposed
        Films lost.
    left
        Of the film on top [m].
    """

    height: Array
    high_loss: Array
    low_loss: Array
    exposed: NDArray[np.int64]
    left: Array


def begin_march(height: Array, top_thickness: Array) -> PairMarch:
    """Return cells before polishing.

    Parameters
    ----------
    height
        Of the high area above the low [m], (cells,).
    top_thickness
        Of the uppermost film [m], (cells,).

    Returns
    -------
    PairMarch
        Nothing lost yet.
    """
    none = np.zeros(height.size)
    return PairMarch(
        height.copy(), none, none.copy(), np.zeros(height.size, dtype=np.int64), top_thickness.copy()
    )


def march(
    cells: PairMarch, span: Array, rates: Array, low_rate: float, share: Array, thick: Array, length: Array
) -> Array:
    """Move the cells on in time.

    Parameters
    ----------
    cells
        Changed in place.
    span
        Time for each [s], (cells,). A cell under more than the mean pressure counts a longer one: rates
        times time is all that matters.
    rates
        Of the films [m/s], (films,).
    low_rate
        Of the low area's material [m/s].
    share
        phi, (films, cells).
    thick
        Of the films [m], (films, cells).
    length
        Selectivity length [m], (cells,).

    Returns
    -------
    Array
        Time left when a film went [s], else NaN, (films, cells).
    """
    remaining = span.copy()
    gone = np.full((len(rates), cells.height.size), np.nan)
    for film in range(len(rates)):
        at = np.flatnonzero((cells.exposed == film) & (remaining > 0))
        if not at.size:
            continue
        args = (cells.height[at], share[film][at], rates[film], low_rate, length[at])
        needed = time_to_remove(cells.left[at], *args)
        taken = np.minimum(needed, remaining[at])
        cells.height[at], high, below = advance(*args, taken)
        cells.high_loss[at] += high
        cells.low_loss[at] += below
        cells.left[at] = np.maximum(cells.left[at] - high, 0.0)
        remaining[at] -= taken
        done = at[needed <= taken]
        if done.size:
            gone[film, done] = remaining[done]
            cells.exposed[done] += 1
            cells.left[done] = thick[film + 1][done] if film + 1 < len(rates) else np.inf
    return gone


def _run(
    height: Array, rates: Array, low: Array, share: list[Array], thick: Array, times: Array, lengths: Array
) -> tuple[Array, NDArray[np.int64], Array]:
    cells = begin_march(height, thick[0])
    through = np.full((len(rates), height.size), np.inf)
    clock = 0.0
    for step, duration in enumerate(times):
        span = np.full(height.size, duration)
        left = march(cells, span, rates[:, step], low[step], share[step], thick, lengths[step])
        clock += duration
        went = np.isfinite(left)
        through[went] = clock - left[went]
    return np.array([cells.height, cells.high_loss, cells.low_loss]), cells.exposed, through


def _start(
    height: Array, share: Array, high_rate: float, low_rate: float, length: Array
) -> tuple[Array, NDArray[np.bool_], Array, Array, Array]:
    fixed = length * np.log(low_rate / high_rate)
    x = (height - fixed) / length
    above = x >= 0
    v0 = _inverse_softplus(np.maximum(np.abs(x), _SMALLEST))
    return v0, above, fixed, share / high_rate, (1 - share) / low_rate


def _clock(v: Array, above: NDArray[np.bool_], a: Array, b: Array) -> Array:
    """(A+B) v - B softplus(v) above the fixed point, with A and B exchanged below it."""
    near, far = _sides(above, a, b)
    return near * v - far * _softplus(-v)


def _sides(above: NDArray[np.bool_], a: Array, b: Array) -> tuple[Array, Array]:
    """(A, B) above the fixed point, (B, A) below it; mostly all cells of a block are on one side."""
    if np.all(above):
        return a, b
    return np.where(above, a, b), np.where(above, b, a)


def _solve(target: Array, above: NDArray[np.bool_], a: Array, b: Array) -> Array:
    """Invert ``_clock``: concave and rising, so Newton from the left of the root never overshoots."""
    near, far = _sides(above, a, b)
    steep = near + far
    # The two straight branches lie above the curve, so where they meet the target is left of the root.
    with np.errstate(divide="ignore", invalid="ignore"):
        v = np.where(target < 0, target / steep, target / near)
    for _ in range(60):
        fade = np.exp(-np.abs(v))
        soft = np.log1p(fade) + np.maximum(-v, 0.0)  # softplus(-v)
        sigma = np.where(v > 0, fade, 1.0) / (1 + fade)  # 1/(1+e^v)
        move = (target - near * v + far * soft) / (near + far * sigma)
        v += move
        if not np.any(np.abs(move) > 1e-13 * (1 + np.abs(v))):
            return v
    return v


def _softplus(v: Array) -> Array:
    return np.asarray(np.maximum(v, 0.0) + np.log1p(np.exp(-np.abs(v))))


def _inverse_softplus(x: Array) -> Array:
    return np.asarray(x + np.log(-np.expm1(-x)))


def _per_cell(value: ArrayLike, shape: tuple[int, ...]) -> Array:
    return np.broadcast_to(np.asarray(value, dtype=np.float64), shape).reshape(-1)


def _for_all(share: ArrayLike, shape: tuple[int, ...], films: int) -> Array:
    one = _per_cell(share, shape)
    return np.broadcast_to(one, (films, one.size))


def _checked(rates: Array, low: Array, share: list[Array], lengths: Array, times: Array) -> None:
    if len(share) != times.size:
        raise ModelError(refuse("shares of high area", len(share), f"one per recipe step ({times.size})"))
    if low.shape != times.shape:
        raise ModelError(refuse("rates of the low area", low.shape, f"one per recipe step ({times.size})"))
    for what, values in (("rate [m/s]", rates), ("rate [m/s]", low), ("selectivity length [m]", lengths)):
        if not np.all((values > 0) & np.isfinite(values)):
            raise ModelError(refuse(what, float(np.min(values)), "finite and above 0"))
    for one in {id(part): part for part in share}.values():
        if not np.all((one >= 0) & (one <= 1)):
            raise ModelError(refuse("share of high area", float(np.min(one)), "between 0 and 1"))
    if not np.all(times >= 0):
        raise ModelError(refuse("duration [s]", float(np.min(times)), "0 or more"))
