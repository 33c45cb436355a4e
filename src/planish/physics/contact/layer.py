"""Elastic contact through an asperity layer: a smooth convex problem solved in one transform a step.

The summits of a rough pad make a thin compliant layer between pad and surface. With summit heights
that fall off exponentially the layer's gap and pressure obey g = lambda ln(p0/p), so that pressure is
positive everywhere and the unknown of the problem is best the pad's displacement u = W p:

    ln(p/p0) + c p/lambda = (z - u - d)/lambda      (c: per-cell compliance in series, may be 0)

with the approach d fixed by the load. Its dual in a pressure-like field s (u = W s),

    J(s, d) = <s, W s>/2 + sum Phi(z - W s - d) + load d,   Phi' = p,

is convex. Preconditioned conjugate gradients with (1 + W k)^-1 in Fourier space, k the mean stiffness
of the layer, take few iterations, because a layer that matters makes the problem nearly local. The line
search moves s and d together by Newton and costs no transform. Everything is held in units of the
layer: pressures over p0, lengths over lambda.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from planish.errors import ModelError, refuse
from planish.physics.contact.operations import Operations
from planish.physics.contact.solver import Operator

SOURCES: tuple[str, ...] = (
    "Exponential summit heights: derived here from Greenwood & Williamson 1966, Proc. R. Soc. A 295, 300 (read as "
    "quoted in Yastrebov's Greenwood-Tripp notes)",
    "dual formulation, preconditioner and joint line search: derivation of our own",
)


@dataclass
class LayerSolved:
    """Pressure p/p0, displacement u/lambda, approach d/lambda, and how the iteration went."""

    pressure: Any
    displacement: Any
    approach: float
    iterations: int
    error: float
    searches: int


class _PeriodicSearch:
    """Gradient and search direction kept as half-spectra: one transform each way an iteration."""

    def __init__(self, operator: Operator, s: Any) -> None:
        self.operator = operator
        self.cells = s.size
        self.even = operator.shape[1] % 2 == 0
        self.s = operator.backend.rfft2(s)
        self.t = operator.backend.xp.zeros_like(self.s)
        self.m = operator.backend.xp.zeros_like(self.s)

    def displacement(self) -> Any:
        return self.operator.backend.irfft2(self.s * self.operator.multiplier, self.operator.shape)

    def gradient(self, p: Any, alpha: float, kappa: float) -> tuple[float, float, float]:
        """Return <e, W m>, <e, W m_old> and rms(W m), e = p - s, m = (1 + W kappa)^-1 e."""
        self.spectrum = self.operator.backend.rfft2(p)
        ops, w = self.operator.operations, self.operator.multiplier
        g, gx, wm = ops.gradient(self.spectrum, self.s, self.t, alpha, self.m, w, kappa, self.even)
        return g / self.cells, gx / self.cells, math.sqrt(max(wm, 0.0)) / self.cells

    def direction(self, beta: float) -> tuple[Any, float, float]:
        """Return W t, <s, W t>, <t, W t> for t = m + beta t."""
        ops, w = self.operator.operations, self.operator.multiplier
        st, tt = ops.search(self.s, self.t, self.m, beta, w, self.spectrum, self.even)
        shift = self.operator.backend.irfft2(self.spectrum, self.operator.shape)
        return shift, st / self.cells, tt / self.cells


class _FreeSearch:
    """The same for a surface that stands alone: W is not diagonal there, so fields stay in space."""

    def __init__(self, operator: Operator, s: Any) -> None:
        xp = operator.backend.xp
        self.operator = operator
        self.s = s.copy()
        self.t, self.m, self.wm, self.wt = (xp.zeros_like(s) for _ in range(4))

    def displacement(self) -> Any:
        return self.operator.elastic(self.s)

    def gradient(self, p: Any, alpha: float, kappa: float) -> tuple[float, float, float]:
        xp, backend = self.operator.backend.xp, self.operator.backend
        self.s += alpha * self.t
        e = p - self.s
        spectrum = backend.rfft2(e)
        # inverse is 1/W on the surface's own grid (0 at rest): (1 + kappa/inverse)^-1
        inverse = self.operator.inverse
        spectrum *= inverse / (inverse + kappa)
        self.m = backend.irfft2(spectrum, self.operator.shape)
        old = float(xp.vdot(e, self.wm))
        self.wm = self.operator.elastic(self.m)
        return float(xp.vdot(e, self.wm)), old, float(xp.sqrt((self.wm**2).mean()))

    def direction(self, beta: float) -> tuple[Any, float, float]:
        xp = self.operator.backend.xp
        self.t = self.m + beta * self.t
        self.wt = self.wm + beta * self.wt
        return self.wt, float(xp.vdot(self.s, self.wt)), float(xp.vdot(self.t, self.wt))


def solve_layer(
    operator: Operator,
    surface: Any,
    mean_pressure: float,
    start: Any,
    *,
    tol: float,
    max_iterations: int,
) -> LayerSolved:
    """Solve contact through the layer, everything in units of the layer.

    Parameters
    ----------
    operator
        Multiplier W p0/lambda; ``added`` is c p0/lambda per cell or None.
    surface
        z/lambda; best with its mean removed.
    mean_pressure
        Mean of p/p0.
    start
        First guess of p/p0 (its sign and mean are free).
    tol
        Estimated root-mean-square change of ln p still to come at which to stop.
    max_iterations
        Iterations after which to give up.

    Returns
    -------
    LayerSolved
        In units of the layer.

    Raises
    ------
    ModelError
        If `max_iterations` pass without reaching `tol`.
    """
    xp, ops = operator.backend.xp, operator.operations
    load = mean_pressure * surface.size
    c = operator.added
    periodic = operator.padded == operator.shape
    search = _PeriodicSearch(operator, start) if periodic else _FreeSearch(operator, start)
    u = search.displacement()
    p, u_new, shift = xp.zeros_like(surface), xp.empty_like(surface), xp.zeros_like(surface)
    d = float((surface - u).max()) - math.log(max(mean_pressure, 1e-300))
    d, sums = _level(ops, surface, u, shift, d, c, p, u_new, load, 1e-3)
    previous, alpha, error, searches = 0.0, 0.0, math.inf, 0
    for iteration in range(max_iterations + 1):
        kappa = sums[5] / sums[1]
        gamma, crossed, error = search.gradient(p, alpha, kappa)
        if error < tol:
            if c is None:
                d += math.log(sums[0] / load)
            elif abs(sums[0] - load) > 0.1 * tol * load:
                d, sums = _level(ops, surface, u, xp.zeros_like(u), d, c, p, u_new, load, 0.1 * tol)
            if sums[0] != load:
                p *= load / sums[0]
            return LayerSolved(p, u, d, iteration, error, searches)
        if iteration == max_iterations:
            break
        beta = max(0.0, (gamma - crossed) / previous) if previous > 0.0 else 0.0
        previous = gamma
        shift, st, tt = search.direction(beta)
        pt, kt, ktt = ops.slope_sums(p, shift, c)
        slope = st - pt
        if slope >= 0.0 and beta > 0.0:
            shift, st, tt = search.direction(-0.0)  # not downhill: t = m again
            pt, kt, ktt = ops.slope_sums(p, shift, c)
            slope = st - pt
        # Newton in (alpha, d) from the sums at alpha = 0, then again from sums at the new place
        first = abs(slope)
        alpha, low, high = 0.0, 0.0, math.inf
        residual = sums[0] - load
        stiff = sums[1]
        for _ in range(40):
            # d follows alpha so that the load stays: dd = (residual - kt dalpha)/stiff
            reduced = slope + kt / stiff * residual
            curvature = tt + ktt - kt * kt / stiff
            step = -reduced / curvature
            if not low < alpha + step < high:
                step = (0.5 * (low + high) if math.isfinite(high) else 4.0 * (alpha + 1e-30)) - alpha
            dd = (residual - kt * step) / stiff
            alpha, d = alpha + step, d + max(-30.0, min(30.0, dd))
            sums = ops.law(surface, u, shift, alpha, d, c, p, u_new)
            searches += 1
            if sums[0] > 1.5 * load or sums[0] < 0.67 * load:
                d, sums = _level(ops, surface, u, shift, d, c, p, u_new, load, 1e-3, alpha)
            residual, stiff = sums[0] - load, sums[1]
            slope, kt, ktt = st + alpha * tt - sums[2], sums[3], sums[4]
            reduced = slope + kt / stiff * residual
            if abs(reduced) <= 0.1 * first and abs(residual) <= 0.01 * load:
                break
            if reduced > 0.0:
                high = alpha
            else:
                low = alpha
        u, u_new = u_new, u
    raise ModelError(
        refuse("contact error", error, f"below {tol:g} within {max_iterations} iterations", "looser tol")
    )


def _level(
    ops: Operations,
    surface: Any,
    u: Any,
    shift: Any,
    d: float,
    c: Any,
    p: Any,
    u_new: Any,
    load: float,
    tol: float,
    alpha: float = 0.0,
) -> tuple[float, list[float]]:
    """Move the approach alone until the load is met: at once where pressures only scale, else Newton."""
    sums = ops.law(surface, u, shift, alpha, d, c, p, u_new)
    for _ in range(100):
        if not sums[0] > 0.0:
            d -= 50.0
        elif abs(sums[0] - load) <= tol * load:
            break
        elif c is None and sums[0] < 1e30 * load and sums[0] > 1e-30 * load:
            factor = load / sums[0]
            p *= factor
            return d - math.log(factor), [factor * s for s in sums[:5]] + [factor**2 * sums[5]]
        else:
            d += max(-50.0, min(50.0, math.log(sums[0] / load) * sums[0] / sums[1]))
        sums = ops.law(surface, u, shift, alpha, d, c, p, u_new)
    return d, sums
