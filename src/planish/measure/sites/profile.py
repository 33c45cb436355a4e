r"""Radial profile and smooth map of a measured wafer, each with its doubt.

Radial profile: a cubic spline f(r), even in r (a smooth surface has no cusp
at the centre), that minimises

    sum (z_i - f(r_i))^2 + lam * integral f''(r)^2 dr,

with lam by generalised cross-validation. The band is the pointwise Bayesian
one, f +- q s sqrt(diag(B (B'B + lam P)^-1 B')): it covers the mean profile on
average over r, and counts what changes around the wafer as noise. It says
nothing beyond the outermost site.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record
from planish.errors import DataError, refuse
from planish.measure.sites.read import SiteMap
from planish.measure.sites.zernike import basis, terms

Array = NDArray[np.float64]
LEAST_SITES = 6  # of a map
ON_LINE = 1e-6  # [m]: sites nearer than that to a line lie on it

SOURCES: tuple[str, ...] = (
    "Eilers & Marx 1996, Stat. Sci. 11, 89: penalised B-splines (read as quoted in a P-spline basis in Julia)",
    "Craven & Wahba 1979, Numer. Math. 31, 377, eq. 1.9: generalised cross-validation (read)",
    "Wahba 1983, J. R. Stat. Soc. B 45, 133, theorem 1: Bayesian bands of smoothing splines (read as quoted in the "
    "morie library)",
    "Thin-plate splines: scipy.interpolate.RBFInterpolator; smoothing by leave-one-out error",
)

_MAX_SEGMENTS = 30


@dataclass(frozen=True, slots=True, repr=False)
class RadialProfile(Record):
    """Mean profile over radius.

    Attributes
    ----------
    r
        From the innermost to the outermost site [m].
    value, lower, upper
        [unit of the map], shape as ``r``.
    level
        Pointwise coverage.
    noise
        Standard deviation about the profile.
    freedom
        Effective number of parameters.
    at
        Gives (value, standard error) at other radii.
    """

    r: Array
    value: Array
    lower: Array
    upper: Array
    level: float
    noise: float
    freedom: float
    at: Callable[[Array], tuple[Array, Array]]


def radial_profile(site_map: SiteMap, points: int = 101, level: float = 0.95) -> RadialProfile:
    """Return the smooth mean radial profile of a site map with its pointwise band.

    Parameters
    ----------
    site_map
        Of one wafer.
    points
        Radii of the profile.
    level
        Pointwise coverage of the band.

    Returns
    -------
    RadialProfile
        In the unit of the map.

    Raises
    ------
    DataError
        If the sites lie on fewer than three radii or are fewer than five:
        then a profile with a band is not determined.
    """
    return smooth_profile(site_map.r, site_map.value, points=points, level=level, source=site_map.source)


def smooth_profile(
    r: Array, z: Array, *, points: int = 101, level: float = 0.95, source: str = "profile"
) -> RadialProfile:
    """Return a penalised-spline profile; see :func:`radial_profile`.

    Parameters
    ----------
    r, z
        Radii [m] and values, (sites,).
    points
        Radii of the profile.
    level
        Pointwise coverage of the band.
    source
        For the refusal.

    Returns
    -------
    RadialProfile
        In the unit of ``z``.

    Raises
    ------
    DataError
        If the sites do not determine a profile.
    """
    from scipy.stats import t as student

    radii = np.unique(np.round(r, 6))
    if len(radii) < 3 or len(r) < 5:
        raise DataError(
            f"{source}: {len(r)} sites on {len(radii)} radii do not determine a radial profile: "
            "must be five sites or more on three radii or more"
        )
    edge = float(r.max())
    segments = int(np.clip(len(radii) + 2, 4, _MAX_SEGMENTS))
    centre, scale = float(z.mean()), float(z.std()) or 1.0
    b = _even_basis(r / edge, segments)
    penalty = _curvature(segments)
    target = (z - centre) / scale
    gram, moment = b.T @ b, b.T @ target
    # The null space of curvature (a constant) is free; lam scaled to the data's own size.
    unit = np.trace(gram) / np.trace(penalty)

    def score(log_lam: float) -> float:
        system = gram + 10**log_lam * unit * penalty
        hat = np.trace(np.linalg.solve(system, gram))
        residual = target - b @ np.linalg.solve(system, moment)
        return float(len(r) * residual @ residual / max(len(r) - hat, 1e-9) ** 2)

    grid = np.linspace(-9, 3, 61)
    lam = 10 ** grid[int(np.argmin([score(g) for g in grid]))] * unit
    inverse = np.linalg.inv(gram + lam * penalty)
    c = inverse @ moment
    residual = target - b @ c
    freedom = float(np.trace(inverse @ gram))
    spare = max(len(r) - freedom, 1.0)
    noise = float(np.sqrt(residual @ residual / spare)) * scale

    def at(radius: Array) -> tuple[Array, Array]:
        rows = _even_basis(np.asarray(radius, dtype=np.float64) / edge, segments)
        error = noise * np.sqrt(np.einsum("ij,jk,ik->i", rows, inverse, rows))
        return centre + scale * (rows @ c), error

    grid_r = np.linspace(float(r.min()), edge, points)
    value, error = at(grid_r)
    q = float(student.ppf(0.5 + level / 2, spare))
    return RadialProfile(grid_r, value, value - q * error, value + q * error, level, noise, freedom, at)


@dataclass(frozen=True, slots=True, repr=False)
class SmoothMap(Record):
    """A smooth surface through the sites: call it with (x, y) [m].

    Attributes
    ----------
    kind
        "thin-plate" or "zernike".
    choice
        Zernike order or thin-plate smoothing that gave the least leave-one-out error.
    loo_rmse
        That error [unit of the map].
    radius
        The outermost site [m]: beyond it the surface is a guess and not given.
    evaluate
        What is called.
    """

    kind: str
    choice: float
    loo_rmse: float
    radius: float
    evaluate: Callable[[Array, Array], Array]

    def __call__(self, x: Array, y: Array) -> Array:
        """Return the surface at points (x, y) [m]; NaN beyond the outermost site."""
        xs, ys = np.broadcast_arrays(np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64))
        z = self.evaluate(xs.ravel(), ys.ravel()).reshape(xs.shape)
        return np.where(np.hypot(xs, ys) <= self.radius * (1 + 1e-9), z, np.nan)

    def grid(self, n: int = 101) -> tuple[Array, Array, Array]:
        """Return the surface on a square grid.

        Parameters
        ----------
        n
            Points along a side.

        Returns
        -------
        tuple[Array, Array, Array]
            (x, y, z), x and y of shape (n,), z (n, n).
        """
        axis = np.linspace(-self.radius, self.radius, n)
        return axis, axis, self(axis[None, :], axis[:, None])


def smooth_map(site_map: SiteMap, kind: Literal["thin-plate", "zernike"] = "thin-plate") -> SmoothMap:
    """Return a smooth surface through the sites, its stiffness chosen by leave-one-out error.

    Parameters
    ----------
    site_map
        Of one wafer.
    kind
        "thin-plate" or "zernike".

    Returns
    -------
    SmoothMap
        In the unit of the map.

    Raises
    ------
    DataError
        If the kind is unknown, there are fewer than six sites, or they all
        lie on one line.
    """
    if len(site_map) < LEAST_SITES:
        raise DataError(f"{site_map.source}: {len(site_map)} sites carry no map: must be six or more")
    if on_one_line(site_map):
        raise DataError(
            f"{site_map.source}: all sites lie on one line: a map is not determined (use a profile)"
        )
    if kind == "zernike":
        return _zernike(site_map)
    if kind == "thin-plate":
        return _thin_plate(site_map)
    raise DataError(refuse("kind of map", kind, "thin-plate or zernike"))


def on_one_line(site_map: SiteMap) -> bool:
    """Return whether sites lie on one line, so that they are a profile and no map.

    Parameters
    ----------
    site_map
        Two sites or more.
    """
    xy = np.column_stack([site_map.x, site_map.y])
    return bool(np.linalg.svd(xy - xy.mean(axis=0), compute_uv=False)[1] < ON_LINE)


def _zernike(m: SiteMap) -> SmoothMap:
    radius, n = float(m.r.max()), len(m)
    best: tuple[float, int, Array] | None = None
    for order in range(13):
        if terms(order) > n - 1:
            break
        # Terms the site plan cannot tell apart (all sites on the axes, say) share what they see.
        u, s, vt = np.linalg.svd(basis(m.x, m.y, radius, order), full_matrices=False)
        keep = s > 1e-6 * s[0]
        q = u[:, keep]
        left = np.maximum(1 - np.sum(q**2, axis=1), 1e-12)
        loo = float(np.sqrt(np.mean(((m.value - q @ (q.T @ m.value)) / left) ** 2)))
        if best is None or loo < best[0]:
            best = (loo, order, vt[keep].T @ ((q.T @ m.value) / s[keep]))
    if best is None:
        raise DataError(f"{m.source}: {n} sites carry no Zernike map")
    loo, order, c = best
    return SmoothMap("zernike", float(order), loo, radius, lambda x, y: basis(x, y, radius, order) @ c)


def _thin_plate(m: SiteMap) -> SmoothMap:
    from scipy.interpolate import RBFInterpolator

    radius = float(m.r.max())
    xy = np.column_stack([m.x, m.y]) / radius
    # The choice of smoothing needs the whole influence matrix: on big maps an even share of sites will do.
    pick = np.arange(len(m)) if len(m) <= 400 else np.linspace(0, len(m) - 1, 400).astype(int)
    best = (np.inf, 0.0)
    for smoothing in 10.0 ** np.arange(
        -5, 3.1, 0.5
    ):  # the formula needs some smoothing; 1e-5 all but interpolates
        hat = RBFInterpolator(xy[pick], np.eye(len(pick)), kernel="thin_plate_spline", smoothing=smoothing)(
            xy[pick]
        )
        left = np.maximum(1 - np.diag(hat), 1e-9)
        loo = float(np.sqrt(np.mean(((m.value[pick] - hat @ m.value[pick]) / left) ** 2)))
        if loo < best[0]:
            best = (loo, float(smoothing))
    near = None if len(m) <= 1500 else 100
    surface = RBFInterpolator(xy, m.value, kernel="thin_plate_spline", smoothing=best[1], neighbors=near)

    def evaluate(x: Array, y: Array) -> Array:
        return np.array(surface(np.column_stack([x, y]) / radius), dtype=np.float64)

    return SmoothMap("thin-plate", best[1], best[0], radius, evaluate)


def _knots(segments: int) -> Array:
    step = 1.0 / segments
    return np.arange(-segments - 3, segments + 4, dtype=np.float64) * step


def _even_basis(u: Array, segments: int) -> Array:
    """Cubic B-splines on [-1, 1] folded to even functions of u; shape (points, functions)."""
    from scipy.interpolate import BSpline

    t = _knots(segments)
    n = len(t) - 4
    half = (n + 1) // 2
    inside = np.clip(np.abs(u), 0, 1)
    right = BSpline.design_matrix(np.minimum(inside, 1 - 1e-12), t, 3).toarray()
    left = BSpline.design_matrix(np.maximum(-inside, -1 + 1e-12), t, 3).toarray()
    folded: Array = (right + left)[:, n - half :]
    return folded


def _curvature(segments: int) -> Array:
    """Integral over 0..1 of the product of second derivatives of the even basis."""
    from scipy.interpolate import BSpline

    t = _knots(segments)
    n = len(t) - 4
    half = (n + 1) // 2
    # Second derivatives are linear on each segment: two Gauss points make the integral exact.
    gauss = np.array([-1.0, 1.0]) / np.sqrt(3.0)
    mid = (np.arange(segments) + 0.5) / segments
    u = (mid[:, None] + gauss[None, :] * 0.5 / segments).ravel()
    second = np.column_stack([BSpline(t, np.eye(n)[i], 3).derivative(2)(u) for i in range(n)])
    mirror = np.column_stack([BSpline(t, np.eye(n)[i], 3).derivative(2)(-u) for i in range(n)])
    d = (second + mirror)[:, n - half :]
    gram: Array = d.T @ d * (0.5 / segments)
    return gram
