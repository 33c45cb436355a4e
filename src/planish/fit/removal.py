r"""The removal constant from measured removal, and where the prediction has another shape.

With the predicted removal per unit of k_p, g(r) [m Pa], measured sites obey

    removed_i = k_p g(r_i) + residual_i.

k_p follows by least squares. Sites on one ring err together (what the model
gets wrong there is the same for all of them), so the standard error is taken
over rings, not over sites (each ring left out in turn); it is NaN with fewer
than three rings. The residual, smoothed over radius with its band,
shows where the shape is wrong.

One wafer gives one product: k_p times pressure times speed. It cannot tell a
wrong k_p from a wrong pressure scale, nor a k_p that varies over radius from
a pressure that does.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import counted, figure
from planish.errors import DataError, FitError, refuse
from planish.fit.usable_sites import ring_of, usable
from planish.measure.sites.outliers import Flag
from planish.measure.sites.profile import RadialProfile, smooth_profile
from planish.physics.removal.laws import LAWS
from planish.results.result import Result

if TYPE_CHECKING:
    import xarray as xr

    from planish.measure.sites.read import SiteMap
    from planish.predict.wafer.result import WaferResult
    from planish.setup.changes import Changes

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Preston 1927, J. Soc. Glass Technol. 11, 214: removal proportional to pressure x speed (read as quoted in "
    "Ozeki & Mori 2018)",
    "Efron & Tibshirani, An Introduction to the Bootstrap, 1993: the jackknife, here over rings (from "
    "memory)",
)

#: How a step ends that took a set time.
TIMED = ("time", "its time limit")


@dataclass(frozen=True, slots=True, repr=False)
class RemovalFit(Result):
    """Result of :func:`~planish.fit.against.fit_wafer`.

    Attributes
    ----------
    k_p, k_p_error
        [1/Pa], NaN where the law has no k_p.
    k_p_all
        With the flagged sites too [1/Pa].
    scale, scale_error
        Measured over predicted if a prediction with a k_p of its own was given (else NaN).
    rmse
        Of the sites about the fit [m].
    r_squared
        Of the shape (share of the variance over the wafer that is explained, which may be negative).
    r, measured, fitted
        Over the sites [m].
    flags
        Sites that stand out.
    residual
        Smooth radial residual with its band, or None where the sites do not carry one.
    sentences
        What the fit says, in plain words.
    """

    kind: ClassVar[str] = "removal fit"
    notes: ClassVar[tuple[str, ...]] = ()  # its figures say it all

    k_p: float
    k_p_error: float
    k_p_all: float
    scale: float
    scale_error: float
    rmse: float
    r_squared: float
    r: Array
    measured: Array
    fitted: Array
    flags: tuple[Flag, ...]
    residual: RadialProfile | None
    sentences: tuple[str, ...]
    changes: Changes | None = None

    def _told(self) -> str:
        law = "" if np.isnan(self.k_p) else f"k_p {self.k_p:.4g} ± {self.k_p_error:.1g} 1/Pa, "
        scale = (
            "" if np.isnan(self.scale) else f"rate {self.scale:.4g} ± {self.scale_error:.1g} of predicted, "
        )
        return (
            f"{law}{scale}misfit {figure(1e9 * self.rmse, 'nm')} RMS, {counted(len(self.r), 'site')}, "
            f"{len(self.flags)} flagged"
        )

    def sources(self) -> list[str]:
        """Return what the answer rests on, one line each."""
        return list(SOURCES)

    def dataset(self) -> xr.Dataset:
        """Return the figures, what was measured and fitted over the sites, and the radial residual, in SI."""
        over = {
            "r": (self.r, "distance from the wafer's centre"),
            "measured": (self.measured, "measured removal"),
            "fitted": (self.fitted, "fitted removal"),
        }
        found = {
            name: ("site", values, {"units": "m", "long_name": words})
            for name, (values, words) in over.items()
        }
        if self.residual is not None:
            for name in ("r", "value", "lower", "upper"):
                words = {"units": "m", "long_name": f"radial residual, {name}"}
                found[f"residual_{name}"] = ("residual_radius", getattr(self.residual, name), words)
        return Result.dataset(self).assign(found)

    def _content(self) -> dict[str, Any]:
        """Return the figures as a JSON-ready dict (None for what is not defined)."""

        def number(v: float) -> float | None:
            return float(v) if np.isfinite(v) else None

        return {
            "k_p_per_Pa": number(self.k_p),
            "k_p_error_per_Pa": number(self.k_p_error),
            "k_p_all_sites_per_Pa": number(self.k_p_all),
            "scale": number(self.scale),
            "scale_error": number(self.scale_error),
            "rmse_nm": self.rmse * 1e9,
            "shape_r_squared": number(self.r_squared),
            "sites": len(self.r),
            "changes": self.changes,
            "flags": [{"site": f.site, "reason": f.reason, "score": f.score} for f in self.flags],
            "findings": list(self.sentences),
        }


def fit_prediction(result: WaferResult, removal: SiteMap) -> RemovalFit:
    """Fit the removal law of a predicted wafer to the removal measured on it.

    The predicted rate is scaled by one number. For a law with a ``k_p`` that gives the fitted k_p. The
    prediction must be for the time that the wafer was polished, where the shape over the radius depends
    on it: :func:`~planish.fit.against.fit_wafer` sees to that. Sites in the setup's edge exclusion are not
    used.

    Parameters
    ----------
    result
        The wafer as predicted.
    removal
        What was measured on it, a map of the removal [m].

    Returns
    -------
    RemovalFit
        The constant with its error, the misfit, and where the shape is off.

    Raises
    ------
    FitError
        If fewer than three usable sites lie inside the profile, or it is zero or not finite at them; also
        where the removed amount says nothing of the rate (the polish stopped on an amount and no real polish time is
        stated, or the top film cleared).
    """
    by_amount = [s for s in result.steps if s.stopped_by not in TIMED]
    if by_amount and removal.polish_time is None:
        raise FitError(
            f"step {by_amount[0].name!r} stopped by {by_amount[0].stopped_by}: the removed amount then "
            f"says nothing "
            "of the rate (state the real polish time in the site file: '# polish_time: 60 s')"
        )
    # Rates are compared: a wafer polished for longer than predicted has not been polished faster.
    longer = 1.0 if removal.polish_time is None else removal.polish_time / result.time
    inside = result.radius <= result.rig.wafer.radius - result.rig.wafer.edge_exclusion
    if np.isfinite(result.cleared[0][inside]).any():
        raise FitError(
            "the top film clears before the end: removal no longer measures one law (polish for less time)"
        )
    law = result.rig.removal[result.rig.wafer.films[0].material]
    # The wafer's own edge counts: the outermost radius of the prediction may lie half a ring inside it.
    reach = result.rig.wafer.radius - result.rig.wafer.edge_exclusion
    fit = _fit(removal, result.radius, result.removed * longer, reach)
    k_p = law.coefficients.get(LAWS.get(law.law).constant, np.nan)
    out = _result(
        fit,
        k_p=k_p * fit.factor,
        k_p_error=k_p * fit.error,
        k_p_all=k_p * fit.factor_all,
        scale=(fit.factor, fit.error),
    )
    told = f"{fit.factor:.4g} ± {fit.error:.1g}" if np.isfinite(fit.error) else f"{fit.factor:.4g}"
    if not np.isfinite(fit.error):
        text = f"the rate was {told} times the predicted one; the sites lie on too few radii to say how sure that is"
    elif abs(fit.factor - 1) > 2 * max(fit.error, 1e-12):
        text = f"the rate was {told} times the predicted one"
    else:
        text = f"the predicted rate agrees with the wafer within its doubt (measured over predicted {told})"
    if removal.polish_time is None:
        time = f"no polish time is stated with the measurement: taken as the predicted {result.time:.4g} s"
    elif abs(longer - 1) < 1e-9:
        time = f"polished and predicted for {result.time:.4g} s"
    else:
        time = (
            f"polished for {removal.polish_time:.4g} s, predicted for {result.time:.4g} s: rates are compared"
        )
    sentences = (text, time, *out.sentences)
    return replace(out, sentences=sentences)


@dataclass(frozen=True, slots=True)
class _Fit:
    factor: float
    error: float
    factor_all: float
    r: Array
    measured: Array
    fitted: Array
    used: NDArray[np.bool_]
    flags: tuple[Flag, ...]
    notes: tuple[str, ...]
    source: str


def _fit(removal: SiteMap, radius: Array, profile: Array, reach: float) -> _Fit:
    if removal.quantity != "removal":
        raise DataError(
            refuse(
                f"{removal.source}: measured quantity",
                removal.quantity,
                "removal",
                "pair before and after first",
            )
        )
    radius, profile = np.asarray(radius, dtype=np.float64), np.asarray(profile, dtype=np.float64)
    if radius.ndim != 1 or radius.shape != profile.shape or len(radius) < 2 or np.any(np.diff(radius) <= 0):
        raise FitError("the predicted profile needs radii that increase and one removal for each")
    chosen = usable(removal, reach)
    inside, good = chosen.inside, chosen.good
    notes = list(chosen.notes)
    if chosen.flags:
        notes[-1] += "; the constant with them is given too"
    g = np.interp(removal.r, radius, profile)
    if not np.all(np.isfinite(g[inside])) or np.all(g[good] == 0):
        raise FitError("the predicted removal is zero or not finite at the sites: no constant can be fitted")

    def least_squares(rows: NDArray[np.bool_]) -> float:
        return float(g[rows] @ removal.value[rows] / (g[rows] @ g[rows]))

    factor = least_squares(good)
    error = _ring_error(removal.r[good], g[good], removal.value[good])
    return _Fit(
        factor,
        error,
        least_squares(inside),
        removal.r[inside],
        removal.value[inside],
        factor * g[inside],
        good[inside],
        chosen.flags,
        tuple(notes),
        removal.source,
    )


def _ring_error(r: Array, g: Array, measured: Array) -> float:
    """Standard error of the factor by the jackknife: leave out one ring of sites at a time."""
    order = np.argsort(r)
    ring = ring_of(r)[order]
    gm = np.bincount(ring, weights=(g * measured)[order])
    gg = np.bincount(ring, weights=(g * g)[order])
    rings = len(gm)
    if rings < 3:
        return float("nan")
    without = (gm.sum() - gm) / (gg.sum() - gg)
    return float(np.sqrt((rings - 1) / rings * np.sum((without - without.mean()) ** 2)))


def _result(
    fit: _Fit, *, k_p: float, k_p_error: float, k_p_all: float, scale: tuple[float, float]
) -> RemovalFit:
    residual = fit.measured - fit.fitted
    used = fit.used
    spread = float(np.sum((fit.measured[used] - fit.measured[used].mean()) ** 2))
    # removal that is even to rounding has no shape to explain
    shaped = spread > (1e-9 * float(np.abs(fit.measured[used]).max())) ** 2 * int(used.sum())
    r_squared = 1 - float(np.sum(residual[used] ** 2)) / spread if shaped else float("nan")
    profile: RadialProfile | None
    try:
        profile = smooth_profile(fit.r[used], residual[used], source=fit.source)
    except DataError:
        profile = None
    sentences = [*fit.notes, *_shape(profile, float(np.mean(fit.fitted[used])))]
    sentences.append(
        "identifiable from this wafer: the product of removal constant, pressure and speed; not "
        "identifiable: which "
        "of the three is off, or whether it is the constant or the pressure that varies over the radius"
    )
    return RemovalFit(
        k_p,
        k_p_error,
        k_p_all,
        scale[0],
        scale[1],
        float(np.sqrt(np.mean(residual[used] ** 2))),
        r_squared,
        fit.r,
        fit.measured,
        fit.fitted,
        fit.flags,
        profile,
        tuple(sentences),
    )


def _shape(profile: RadialProfile | None, mean: float) -> list[str]:
    if profile is None:
        return ["the sites lie on too few radii to judge the predicted shape"]
    off = (profile.lower > 0) | (profile.upper < 0)
    if not off.any():
        return ["the predicted shape over the radius agrees with the sites within its band"]
    edges = np.flatnonzero(np.diff(np.concatenate([[0], off.astype(int), [0]])))
    out = []
    for a, b in zip(edges[::2], edges[1::2], strict=True):
        part = profile.value[a:b]
        worst = float(part[np.argmax(np.abs(part))])
        out.append(
            f"between {1e3 * profile.r[a]:.0f} and {1e3 * profile.r[b - 1]:.0f} mm the wafer lost up to "
            f"{abs(100 * worst / mean):.1f} % {'more' if worst > 0 else 'less'} than the fit: the "
            f"shape there is not "
            "the predicted one"
        )
    return out
