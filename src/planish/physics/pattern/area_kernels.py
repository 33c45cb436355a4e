"""The compiled march of areas side by side: every cell through its films, each in its own time.

The law and its symbols stand at the head of :mod:`planish.physics.pattern.areas`. Everything is kept in logarithms
(u = h/l, not exp(h/l)), so that a step of a thousand selectivity lengths neither overflows nor loses its low area.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

Array = NDArray[np.float64]
Counts = NDArray[np.int64]
_FEWEST = 16  # sub-steps of a stretch where a local rate is not proportional to the local pressure
_GONE = 1e-9  # of a stretch: what is left of it counts as nothing
_ROOM = 0.5  # of l by which a height may change in a sub-step
_MOST = 5000  # sub-steps of a stretch
_LARGE = 600.0  # its exponential can still be held
_FLATTEST, _STEEPEST = (
    0.05,
    8.0,
)  # local power of the pressure that is followed; a threshold's is infinite at the threshold


@njit(cache=True, nogil=True, error_model="numpy")  # type: ignore[untyped-decorator]
def _softplus(x: float) -> float:
    return max(x, 0.0) + math.log1p(math.exp(-abs(x)))


@njit(cache=True, nogil=True, error_model="numpy")  # type: ignore[untyped-decorator]
def _low_loss(passed: float, length: float, u: float, log_ratio: float) -> float:
    """Thickness that a low area loses while the high one loses ``passed``, exact for ``log_ratio`` ln(K_i/K_h)."""
    c = passed / length
    if c <= 0.0:
        return 0.0
    return float(length * _softplus(log_ratio + c + math.log(-math.expm1(-c)) - u))


@njit(cache=True, nogil=True, error_model="numpy")  # type: ignore[untyped-decorator]
def _time(
    passed: float,
    high_rate: float,
    share: float,
    low_rates: Array,
    f: Array,
    length: Array,
    u: Array,
    z: Array,
    log_ratio: Array,
) -> tuple[float, float]:
    """Time until the high area has lost ``passed``, and how that grows with what it loses, at pressure ratio 1.

    ``f`` is the share of each low area, ``z`` exp(``u``), 0 where that is too large to be held.
    """
    total, slope = share * passed, share
    for i in range(f.size):
        c = passed / length[i]
        ratio = high_rate / low_rates[i]
        if z[i] > 0.0 and c < _LARGE:
            e = math.exp(-c)
            now = (1.0 - e) / ratio + z[i] * e
            total += f[i] * ratio * length[i] * (math.log(now) - u[i] + c)
            slope += f[i] / now
        else:
            low = _low_loss(passed, length[i], u[i], log_ratio[i])
            total += f[i] * ratio * low
            slope += f[i] * math.exp(c - u[i] - low / length[i])
    return total / high_rate, slope / high_rate


@njit(cache=True, nogil=True, error_model="numpy")  # type: ignore[untyped-decorator]
def _lost_by(low: float, length: float, u: float, log_ratio: float) -> float:
    """What the high area loses while the low one loses ``low``."""
    x = low / length
    if x <= 0.0:
        return 0.0
    wanted = x + math.log(-math.expm1(-x)) - log_ratio + u  # ln(e^c - 1)
    return float(length * _softplus(wanted))


@njit(cache=True, nogil=True, error_model="numpy")  # type: ignore[untyped-decorator]
def _solve(
    span: float,
    high_rate: float,
    share: float,
    low_rates: Array,
    f: Array,
    length: Array,
    u: Array,
    z: Array,
    log_ratio: Array,
) -> float:
    """What the high area loses in ``span``: Newton on a rising function, kept between too little and too much."""
    low, high = 0.0, math.inf
    slope = share
    for i in range(f.size):
        slope += f[i] * math.exp(-u[i])
    if share > 1e-3:
        high = span * high_rate / share
    else:
        for i in range(f.size):
            if f[i] > 0.0:
                high = min(high, _lost_by(span * low_rates[i] / f[i], length[i], u[i], log_ratio[i]))
    passed = min(span * high_rate / slope, high)
    for _ in range(100):
        time, slope = _time(passed, high_rate, share, low_rates, f, length, u, z, log_ratio)
        if time > span:
            high = min(high, passed)
        else:
            low = max(low, passed)
        found = passed + (span - time) / slope
        if not low <= found <= high:
            found = 0.5 * (low + high)
        elif abs(found - passed) <= 1e-8 * found:
            return float(found)  # what is left of the error is its square
        passed = found
    return float(passed)


@njit(cache=True, nogil=True, error_model="numpy")  # type: ignore[untyped-decorator]
def _lost_at(height: float, target: float, length: float, ratio: float) -> float:
    """What the high area loses until the height is at the target; infinite if it never gets there."""
    u, goal = height / length, target / length
    lead = 1.0 - ratio * math.exp(-goal)
    if not lead > 0.0:
        return math.inf
    return length * (u - goal + math.log1p(-ratio * math.exp(-u)) - math.log(lead))


@njit(cache=True, nogil=True, error_model="numpy")  # type: ignore[untyped-decorator]
def _response(x: float, table: Array) -> tuple[float, float]:
    """Local over blanket rate at local over mean pressure ``x``, and d ln(rate)/d ln(x); see ``response.py``."""
    over = x - table[0]
    if over <= 0.0:
        return 0.0, 1.0
    place = (math.log(over) - table[1]) / table[2]
    k = min(max(int(place), 0), table.size - 5)  # beyond the ends on as the power that the rate has there
    rise = table[4 + k] - table[3 + k]
    power = rise / table[2] * x / over
    return math.exp(table[3 + k] + (place - k) * rise), min(max(power, _FLATTEST), _STEEPEST)


@njit(cache=True, nogil=True, error_model="numpy")  # type: ignore[untyped-decorator]
def _pressed(press: float, phi: float, height: Array, f: Array, length: Array) -> float:
    """Pressure on the high area over the mean one for which the rates hold."""
    total = phi
    for i in range(f.size):
        total += f[i] * math.exp(-height[i] / length[i])
    return press / total


@njit(cache=True, nogil=True, error_model="numpy")  # type: ignore[untyped-decorator]
def march(
    span: Array,
    scale: Array,
    share: Array,
    parts: Array,
    lengths: Array,
    rates: Array,
    low_rates: Array,
    thick: Array,
    proportional: bool,
    tables: Array,
    low_table: Array,
    mark: float,
    height: Array,
    high_loss: Array,
    low_left: Array,
    exposed: Counts,
    left: Array,
    gone: Array,
    level: Array,
    ended: Array,
) -> None:
    """Move cells on in time.

    Parameters
    ----------
    span, scale
        Time [s], and pressure over the one for which the rates hold, (cells,).
    share, parts, lengths
        phi, (cells,); of the low area that each width has, and selectivity lengths [m], (widths, cells).
    rates, low_rates, thick
        Of the films and of each width [m/s]; of the films [m], (films, cells).
    proportional, tables, low_table
        Whether all rates are in proportion to pressure; else how they answer to it, a table a film.
    mark
        Height [m] whose time is written down.
    height, high_loss, low_left, exposed, left
        As in :class:`planish.physics.pattern.areas.Cells`; changed in place.
    gone, level, ended
        Time that was left of ``span`` [s] when a film went, the height was at ``mark``, the cell stopped; infinite where
        that has not been, and not touched where it was before. Changed in place.
    """
    classes, cells = height.shape
    films = rates.size
    lows, middle, now = np.empty(classes), np.empty(classes), np.empty(classes)
    f, length, u = np.empty(classes), np.empty(classes), np.empty(classes)
    z, log_ratio = np.empty(classes), np.empty(classes)
    for cell in range(cells):
        remaining, phi, press = span[cell], share[cell], scale[cell]
        if press <= 0.0 or math.isfinite(ended[cell]):
            continue
        for i in range(classes):
            length[i], f[i] = lengths[i, cell], (1.0 - phi) * parts[i, cell]
        for _ in range(_MOST):
            if remaining <= _GONE * span[cell]:
                break
            film = exposed[cell]
            rate = rates[film]
            most, low_first = left[cell], -1
            if proportional:
                own, used = remaining * press, math.inf
                for i in range(classes):
                    u[i] = height[i, cell] / length[i]
                    z[i] = math.exp(u[i]) if u[i] < _LARGE else 0.0
                    log_ratio[i] = math.log(low_rates[i] / rate)
                    if math.isfinite(low_left[i, cell]):
                        until = _lost_by(low_left[i, cell], length[i], u[i], log_ratio[i])
                        if until < most:
                            most, low_first = until, i
                if math.isfinite(most):
                    used = _time(most, rate, phi, low_rates, f, length, u, z, log_ratio)[0]
                if used <= own:
                    passed = most
                else:
                    passed = _solve(own, rate, phi, low_rates, f, length, u, z, log_ratio)
                    used, low_first = own, -1
                through = used < own or passed >= most
                through = through and low_first < 0
                for i in range(classes):
                    if math.isinf(level[i, cell]) and height[i, cell] > mark:
                        at = _lost_at(height[i, cell], mark, length[i], low_rates[i] / rate)
                        if at <= passed:
                            then = _time(at, rate, phi, low_rates, f, length, u, z, log_ratio)[0]
                            level[i, cell] = remaining - then / press  # how long before the end, for now
                    lows[i] = _low_loss(passed, length[i], u[i], log_ratio[i])
                used /= press
            else:
                for i in range(classes):
                    now[i] = height[i, cell]
                passed, used, through, low_first = _part(
                    min(span[cell] / _FEWEST, remaining), phi, press, now, middle, f, length, rate, low_rates,
                    tables[film], low_table, most, low_left[:, cell], lows, u, z,
                )  # fmt: skip
                if used <= 0.0:
                    break  # nothing is removed at this pressure
                for i in range(classes):
                    new = height[i, cell] + lows[i] - passed
                    if math.isinf(level[i, cell]) and height[i, cell] > mark and new <= mark:
                        level[i, cell] = remaining - used * (height[i, cell] - mark) / (height[i, cell] - new)
            remaining = max(remaining - used, 0.0)
            high_loss[cell] += passed
            left[cell] = max(left[cell] - passed, 0.0)
            for i in range(classes):
                height[i, cell] += lows[i] - passed
                low_left[i, cell] = max(low_left[i, cell] - lows[i], 0.0)
            if through:
                gone[film, cell] = remaining
                exposed[cell] += 1
                if exposed[cell] < films:
                    left[cell] = thick[exposed[cell], cell]
                else:
                    ended[cell] = remaining
                    break
            elif low_first >= 0:
                low_left[low_first, cell] = 0.0
                ended[cell] = remaining
                break


@njit(cache=True, nogil=True, error_model="numpy")  # type: ignore[untyped-decorator]
def _part(
    span: float,
    phi: float,
    press: float,
    height: Array,
    middle: Array,
    f: Array,
    length: Array,
    rate: float,
    low_rates: Array,
    table: Array,
    low_table: Array,
    most: float,
    low_left: Array,
    lows: Array,
    falls: Array,
    gap: Array,
) -> tuple[float, float, bool, int]:
    """One sub-step where rates are not proportional to pressure; ``lows`` is filled.

    Every rate is taken as the power of pressure that it is in the middle of the sub-step; for such powers the losses
    follow exactly, with l/m for l. The time that belongs to them is Simpson's.
    """
    classes = f.size
    least = 1e-9 * rate
    pressure = _pressed(press, phi, height, f, length)
    begin = _response(pressure, table)[0] * rate
    moving = begin > 0.0
    begin = max(begin, least)
    passed = min(begin * span, most)
    for i in range(classes):
        u = height[i] / length[i]
        falls[i] = _response(pressure * math.exp(-u), low_table)[0] * low_rates[i] / begin
        moving = moving or falls[i] > 0.0
        lead = 1.0 - falls[i]
        # Height that is left until the low area is let go by a threshold.
        gap[i] = length[i] * (math.log(pressure / low_table[0]) - u) if low_table[0] > 0.0 else math.inf
        # The pressures change over a fraction of l, but not while the low area carries next to nothing.
        room = _ROOM
        if lead > 0.0 and phi > 0.0 and f[i] > 0.0:
            room = max(room, u - max(math.log(f[i] / phi), 0.0) - 3.0)
        if abs(lead) * passed > room * length[i]:
            passed = room * length[i] / abs(lead)
    if not moving:
        return 0.0, 0.0, False, -1
    wanted, used, through = min(passed / begin, span), 0.0, False
    little, much = 0.0, math.inf  # losses that take less, and more, than the time wanted
    for _ in range(60):
        through = passed >= most
        for i in range(classes):
            middle[i] = height[i]
        centre = begin
        # Twice: to the middle with the rates of the start, then over the whole with those of the middle.
        for half in range(2):
            reach = passed if half else 0.5 * passed
            pressure = _pressed(press, phi, middle, f, length)
            centre = max(_response(pressure, table)[0] * rate, least)
            for i in range(classes):
                u = middle[i] / length[i]
                value, power = _response(pressure * math.exp(-u), low_table)
                lows[i] = 0.0
                if value > 0.0:
                    ratio = math.log(low_rates[i] * value / centre) + power * u
                    lows[i] = (
                        _low_loss(power * reach, length[i], power * height[i] / length[i], ratio) / power
                    )
                elif falls[i] > 0.0:  # its rate falls with that height: it comes near, but not past
                    lows[i] = -gap[i] * math.expm1(-falls[i] * reach / gap[i])
            for i in range(classes):
                middle[i] = height[i] + lows[i] - reach
        end = max(_response(_pressed(press, phi, middle, f, length), table)[0] * rate, least)
        used = passed * (1.0 / begin + 4.0 / centre + 1.0 / end) / 6.0
        if begin < 0.2 * centre:  # just let go by a threshold: the beginning says nothing of the rest
            used = passed / centre
        if used <= wanted * (1.0 + 1e-9):
            if through or used >= 0.5 * wanted:
                break
            little = passed
        else:
            much = passed
        passed = min(passed * min(wanted / used, 8.0), most)
        if not little < passed < much:  # beyond a threshold time no longer grows with the loss, but leaps
            passed = 0.5 * (little + much) if math.isfinite(much) else most
    used, low_first = min(used, span), -1
    for i in range(classes):
        if lows[i] > low_left[i]:  # what lies under the low area is reached within this sub-step
            part = low_left[i] / lows[i]
            passed, used, through, low_first = part * passed, part * used, False, i
            for j in range(classes):
                lows[j] *= part
    return passed, used, through, low_first
