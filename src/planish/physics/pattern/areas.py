"""Areas side by side under one rough pad: the law behind steps, dishing and erosion.

A share phi of the surface stands high; beside it lie low areas of any number of widths, each with a share f_i, a
height h_i of the high area above it and a selectivity length l_i over which pressure falls by e:

    p_i = p_high exp(-h_i/l_i),      phi p_high + sum f_i p_i = p

With blanket rates K_h and K_i (at pressure p), tau the integral of p_high/p over time, z_i = exp(h_i/l_i) and
S_i = K_i/K_h every width is exact:

    z_i = S_i + (z_i0 - S_i) exp(-K_h tau/l_i),      high loss = K_h tau,
    t = phi tau + sum (f_i/K_i)(h_i - h_i0 + K_h tau)

so the time that removes a given thickness is explicit, and what a given time removes takes a few Newton steps on a
function that only rises (dt/dtau = phi + sum f_i exp(-h_i/l_i)). Volume is conserved: phi high/K_h + sum f_i low_i/K_i
= t. Widths of equal length merge into one.

Where a material's rate is not proportional to pressure, each of a number of sub-steps takes it as the power m of
pressure that it is there; for powers the same holds with l_i/m, and the time is integrated.

Same material on both areas: the step decays (oxide over steps). A low area that polishes faster: dishing, which
saturates at l ln(K_low/K_high). What has been polished through to its end stops: nothing is said of what lies under it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from planish.errors import ModelError, refuse
from planish.physics.pattern.response import proportional

Array = NDArray[np.float64]
SOURCES: tuple[str, ...] = (
    "Summits of exponential height, so pressure falls exponentially with depth: derived here from Greenwood &"
    " Williamson 1966, Proc. R. Soc. A 295, 300 (read as quoted in Yastrebov's Greenwood-Tripp notes)",
    "areas of any number of widths under one pad, exact in time: derivation of our own",
)
_LATER = 20.0  # times the whole recipe: for so long its last step is drawn out to see when a step is gone


@dataclass(frozen=True, slots=True)
class HighLayer:
    """One film on the high areas.

    Attributes
    ----------
    thickness
        [m], a number or one per cell, infinite for what is never polished through.
    rates
        [m/s], one per recipe step.
    responses
        How the rate answers to local pressure (:func:`planish.physics.pattern.response.local_response`), one per
        recipe step; None: in proportion.
    """

    thickness: ArrayLike
    rates: ArrayLike
    responses: Sequence[Array | None] | None = None


@dataclass(frozen=True, slots=True)
class Low:
    """The low areas, all of one material.

    Attributes
    ----------
    rates
        [m/s], one per recipe step, or (widths, steps).
    height
        Of the high area above each [m], (cells...) for one width or (widths, cells...).
    thickness
        Of their material [m], as ``height``; infinite for what is never polished through.
    parts
        Of the low area that each width has, (widths, cells...); None: alike.
    responses
        As for the films.
    """

    rates: ArrayLike
    height: ArrayLike
    thickness: ArrayLike = np.inf
    parts: ArrayLike | None = None
    responses: Sequence[Array | None] | None = None


@dataclass(slots=True)
class Cells:
    """Cells on their way (flat arrays), begun with :func:`begin`, moved on with :func:`march`.

    Attributes
    ----------
    height
        Of the high area above each low one [m], (widths, cells).
    high_loss
        [m], (cells,).
    low_left
        Thickness of the low areas' material [m], (widths, cells).
    exposed
        Films lost, (cells,).
    left
        Of the film on top [m], (cells,).
    through_time
        When each film was gone [s], (films, cells), infinite if not.
    level_time
        When the height was no more than the height asked for [s], (widths, cells), infinite if not.
    end_time
        When nothing was left of what stands high or lies low, so that the cell stopped [s], (cells,).
    clock
        Time so far [s].
    """

    height: Array
    high_loss: Array
    low_left: Array
    exposed: NDArray[np.int64]
    left: Array
    through_time: Array
    level_time: Array
    end_time: Array
    clock: float = 0.0


def begin(height: Array, thick: Array, low_thick: Array | float = np.inf, level: float = -np.inf) -> Cells:
    """Return cells before polishing.

    Parameters
    ----------
    height
        Of the high area above the low ones [m], (widths, cells).
    thick
        Of the films [m], (films, cells).
    low_thick
        Of the low areas' material [m], (widths, cells) or a number.
    level
        Height [m] whose time is to be written down.

    Returns
    -------
    Cells
        Nothing lost yet.
    """
    films, cells = thick.shape
    return Cells(
        np.array(height, dtype=np.float64, order="C"),
        np.zeros(cells),
        np.array(np.broadcast_to(low_thick, height.shape), dtype=np.float64, order="C"),
        np.zeros(cells, dtype=np.int64),
        thick[0].copy(),
        np.full((films, cells), np.inf),
        np.where(height <= level, 0.0, np.inf),
        np.full(cells, np.inf),
    )


def march(
    cells: Cells,
    span: float,
    *,
    rates: Array,
    low_rates: Array,
    share: Array,
    thick: Array,
    length: Array,
    scale: Array | None = None,
    parts: Array | None = None,
    responses: Sequence[Array | None] = (),
    low_response: Array | None = None,
    level: float = -np.inf,
) -> None:
    """Move the cells on in time.

    Parameters
    ----------
    cells
        Changed in place.
    span
        Time [s].
    rates
        Of the films at the mean pressure [m/s], (films,).
    low_rates
        Of the low areas' material [m/s], (widths,).
    share
        phi, (cells,).
    thick
        Of the films [m], (films, cells).
    length
        Selectivity lengths [m], (widths, cells).
    scale
        Pressure of each cell over that mean, (cells,); 1 unless given.
    parts
        Of the low area that each width has, (widths, cells); alike unless given.
    responses, low_response
        How the rates of the films and of the low areas answer to local pressure; None: in proportion.
    level
        Height [m] whose time is to be written down.
    """
    from planish.physics.pattern import area_kernels  # compiled code: only where a die is polished

    widths, count = cells.height.shape
    linear = low_response is None and all(one is None for one in responses)
    tables = np.zeros((len(rates), 1))
    below = tables[0]
    if not linear:
        straight = proportional()
        given = [*responses, *[None] * (len(rates) - len(responses))]
        tables = np.array([straight if one is None else one for one in given])
        below = straight if low_response is None else low_response
    # Within the kernel times run backwards from the end of the span.
    through, flat, end = (
        np.where(np.isfinite(times), -1.0, np.inf)
        for times in (cells.through_time, cells.level_time, cells.end_time)
    )
    area_kernels.march(
        np.full(count, float(span)),
        np.ones(count) if scale is None else np.ascontiguousarray(scale, dtype=np.float64),
        np.ascontiguousarray(share, dtype=np.float64),
        np.full((widths, count), 1.0 / widths) if parts is None else np.ascontiguousarray(parts),
        np.ascontiguousarray(length, dtype=np.float64),
        np.ascontiguousarray(rates, dtype=np.float64),
        np.ascontiguousarray(low_rates, dtype=np.float64),
        np.ascontiguousarray(thick, dtype=np.float64),
        linear,
        tables,
        below,
        float(level),
        cells.height,
        cells.high_loss,
        cells.low_left,
        cells.exposed,
        cells.left,
        through,
        flat,
        end,
    )
    cells.clock += span
    for left, times in ((through, cells.through_time), (flat, cells.level_time), (end, cells.end_time)):
        new = np.isfinite(left) & (left >= 0)
        times[new] = cells.clock - left[new]


@dataclass(frozen=True, slots=True)
class AreaState:
    """Where the areas are after a recipe; arrays have the cells' shape, behind the widths' where there are several.

    Attributes
    ----------
    height
        Of the high area above the low [m].
    high_loss, low_loss
        [m].
    exposed
        Number of films the high area has lost.
    through_time
        When each film was gone [s], (films, cells...), infinite if not.
    level_time
        When the height was at the level asked for [s], the last step drawn out past its end; infinite if never.
    end_time
        When nothing was left of what stands high or lies low, so that the cell stopped [s]; infinite if not.
    """

    height: Array
    high_loss: Array
    low_loss: Array
    exposed: NDArray[np.int64]
    through_time: Array
    level_time: Array
    end_time: Array


def polish_areas(
    layers: Sequence[HighLayer],
    low: Low,
    durations: ArrayLike,
    share: ArrayLike | Sequence[ArrayLike],
    length: ArrayLike,
    *,
    level: float | None = None,
) -> AreaState:
    """Polish the areas through all films of the high one and all recipe steps.

    Parameters
    ----------
    layers
        Films of the high area from the top; the last may be infinite.
    low
        The low areas.
    durations
        Of each step [s].
    share
        phi of the surface that is high, a number or one per cell, or a list with one such per step.
    length
        Selectivity length [m], a number or of the form of ``low.height``, or a list with one such per step.
    level
        Height [m] whose time is wanted.

    Returns
    -------
    AreaState
        After the last step.

    Raises
    ------
    ModelError
        For rates or lengths that are not above 0, or shares outside 0..1.
    """
    start = np.asarray(low.height, dtype=np.float64)
    times = np.atleast_1d(np.asarray(durations, dtype=np.float64))
    given = np.atleast_1d(np.asarray(low.rates, dtype=np.float64))
    several = low.parts is not None or given.ndim > 1
    widths, shape = (start.shape[0], start.shape[1:]) if several else (1, start.shape)
    low_rates = np.broadcast_to(given, (widths, times.size)) if given.shape[-1] == times.size else given
    per_step = length if isinstance(length, list | tuple) else [length] * times.size
    shares = share if isinstance(share, list | tuple) else [share] * times.size
    if not len(per_step) == len(shares) == times.size or low_rates.shape[-1] != times.size:
        found = (len(shares), len(per_step), low_rates.shape[-1])
        raise ModelError(
            refuse("shares, selectivity lengths and rates", found, f"one per recipe step ({times.size})")
        )

    def flat(values: ArrayLike, count: int = widths) -> Array:
        whole = np.asarray(values, dtype=np.float64)
        return np.broadcast_to(whole, start.shape if count > 1 or several else shape).reshape(count, -1)

    rates = np.array([np.broadcast_to(np.asarray(one.rates, float), times.shape) for one in layers])
    thick = np.array([np.broadcast_to(np.asarray(one.thickness, float), shape).reshape(-1) for one in layers])
    phi = [np.broadcast_to(np.asarray(one, float), shape).reshape(-1) for one in shares]
    reach = [flat(one) for one in per_step]
    parts = None if low.parts is None else flat(low.parts)
    _checked(rates, low_rates, phi, reach, times)
    mark = -np.inf if level is None else float(level)
    cells = begin(flat(start), thick, flat(low.thickness), mark)

    def go(on: Cells, step: int, span: float) -> None:
        march(
            on,
            span,
            rates=rates[:, step],
            low_rates=low_rates[:, step],
            share=phi[step],
            thick=thick,
            length=reach[step],
            parts=parts,
            responses=[None if one.responses is None else one.responses[step] for one in layers],
            low_response=None if low.responses is None else low.responses[step],
            level=mark,
        )

    for step, duration in enumerate(times):
        go(cells, step, float(duration))
    loss = cells.height - flat(start) + cells.high_loss
    out = (cells.height.copy(), cells.high_loss.copy(), loss, cells.exposed.copy())
    through, end = cells.through_time.copy(), cells.end_time.copy()
    if level is not None and np.any(np.isinf(cells.level_time)):
        go(cells, times.size - 1, _LATER * float(times.sum()))
    heights = start.shape
    return AreaState(
        out[0].reshape(heights),
        out[1].reshape(shape),
        out[2].reshape(heights),
        out[3].reshape(shape),
        through.reshape(len(layers), *shape),
        cells.level_time.reshape(heights),
        end.reshape(shape),
    )


def _checked(rates: Array, low: Array, share: list[Array], lengths: list[Array], times: Array) -> None:
    for what, values in (
        ("rate [m/s]", rates),
        ("rate [m/s]", low),
        *(("selectivity length [m]", one) for one in {id(part): part for part in lengths}.values()),
    ):
        if not np.all((values > 0) & np.isfinite(values)):
            raise ModelError(refuse(what, float(np.min(values)), "finite and above 0"))
    for one in {id(part): part for part in share}.values():
        if not np.all((one >= 0) & (one <= 1)):
            raise ModelError(refuse("share of high area", float(np.min(one)), "between 0 and 1"))
    if not np.all(times >= 0):
        raise ModelError(refuse("duration [s]", float(np.min(times)), "0 or more"))
