"""Planarization length and rate constants from thickness and step measured at test structures.

The model is the oxide step law with a contact height
(:func:`planish.physics.pattern.oxide_step.contact_height_step`) on the effective
density of the layout; fitted are the planarization length, the blanket rate and,
if wanted, the contact height, all as logarithms, so that they stay positive
and their bands are lopsided as they should be.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import counted, figure
from planish.errors import FitError, refuse
from planish.fit.structures import at_places, places_on
from planish.measure.steps import StepTable
from planish.physics.pattern.effective_density import SOURCES as DENSITY_SOURCES
from planish.physics.pattern.effective_density import Edges, effective_density
from planish.physics.pattern.kernels import Kernel
from planish.physics.pattern.oxide_step import SOURCES as STEP_SOURCES
from planish.physics.pattern.oxide_step import blanket_removed, contact_height_step
from planish.results.result import Result
from planish.setup.changes import Changes, quantity_text
from planish.units import NM_PER_MIN

if TYPE_CHECKING:
    import xarray as xr

    from planish.measure.layout.maps import LayoutMaps

Array = NDArray[np.float64]
SOURCES: tuple[str, ...] = (
    *DENSITY_SOURCES,
    *STEP_SOURCES,
    "bands from the least-squares covariance and Student's t, or by resampling residuals: textbook statistics",
)
LENGTHS = np.geomspace(3e-4, 3e-2, 14)  # starts: the misfit may have several valleys in the length
LEAST_DENSITY = 1e-3
FAR_OFF = 8.0  # times what is usual: measurements so far off the fit are named
LONGEST, LONGEST_CELLS = 1.0, 1000  # [m], cells of the map: lengths that are tried
THICKEST = 1e-3  # [m] no film is so thick


@dataclass(frozen=True, slots=True)
class Band:
    """A fitted value with its 95 % band, in SI."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, repr=False)
class PlanarizationFit(Result):
    """What measured test structures say of the constants, and the fitted values.

    Attributes
    ----------
    length
        [m].
    rate
        Blanket [m/s].
    contact_height
        [m], None if not fitted.
    residual_sd
        Standard deviation of what is left over [m].
    points
        Used.
    bands_by
        How the bands were found.
    covariance
        Of the logarithms.
    notes
        Measurements far off all others.
    density
        Effective, at each structure.
    up_loss, step_left
        Fitted, at each structure [m].
    measured
        What was fitted to.
    """

    kind: ClassVar[str] = "planarization fit"

    length: Band
    rate: Band
    contact_height: Band | None
    residual_sd: float
    points: int
    bands_by: str
    covariance: Array
    density: Array
    up_loss: Array
    step_left: Array
    measured: StepTable
    notes: tuple[str, ...] = ()

    def _told(self) -> str:
        low, high = 1e3 * self.length.low, 1e3 * self.length.high
        return (
            f"length {figure(1e3 * self.length.value, 'mm')} (95 %: {low:.3g} to {high:.3g}), blanket rate "
            f"{figure(NM_PER_MIN * self.rate.value, 'nm/min')}, misfit {figure(1e9 * self.residual_sd, 'nm')} (sd), "
            f"{counted(self.points, 'point')}"
        )

    def _content(self) -> dict[str, Any]:
        """Return the figures; each key ends in its unit."""
        named = {
            "planarization_length_mm": (self.length, 1e3),
            "blanket_rate_nm_per_min": (self.rate, NM_PER_MIN),
            "contact_height_nm": (self.contact_height, 1e9),
        }
        out: dict[str, Any] = {}
        for key, (band, scale) in named.items():
            if band is not None:
                stem, unit = (
                    key.rsplit("_", 1) if not key.endswith("nm_per_min") else (key[:-11], "nm_per_min")
                )
                out[key] = band.value * scale
                out[f"{stem}_low_{unit}"] = band.low * scale
                out[f"{stem}_high_{unit}"] = band.high * scale
        return out | {
            "residual_sd_nm": self.residual_sd * 1e9,
            "points": self.points,
            "bands_by": self.bands_by,
            "changes": self.changes,
            "step_before_nm": None if self.measured.step_before is None else self.measured.step_before * 1e9,
        }

    def dataset(self) -> xr.Dataset:
        """Return the figures, and what was measured and fitted at the structures, in SI."""
        over = {
            "structure_x": (self.measured.x, "m", "place in the layout"),
            "structure_y": (self.measured.y, "m", "place in the layout"),
            "time": (self.measured.time, "s", "time of polishing"),
            "effective_density": (self.density, "1", "effective density"),
            "measured_up_loss": (self.measured.up_loss, "m", "measured loss of the raised area"),
            "measured_step_left": (self.measured.step_left, "m", "measured step left"),
            "fitted_up_loss": (self.up_loss, "m", "fitted loss of the raised area"),
            "fitted_step_left": (self.step_left, "m", "fitted step left"),
        }
        return Result.dataset(self).assign(
            {
                name: ("structure", values, {"units": unit, "long_name": words})
                for name, (values, unit, words) in over.items()
            }
        )

    @property
    def changes(self) -> Changes:
        """The changes that put the length into a setup with a [die] (for ``Setup.replace``)."""
        return {"die.planarization_length": quantity_text(self.length.value, "length")}

    def sources(self) -> list[str]:
        """Return what the fit rests on."""
        return list(SOURCES)


def fit_planarization(
    maps: LayoutMaps,
    data: StepTable,
    *,
    step: float,
    contact_height: bool = True,
    kernel: Kernel = "elliptic",
    edges: Edges = "periodic",
    outside: float = 0.0,
    resamples: int = 0,
    seed: int = 0,
) -> PlanarizationFit:
    """Fit planarization length and rates to measured test structures.

    Parameters
    ----------
    maps
        Layout maps with density, cell [m] and origin [m].
    data
        The measurements.
    step
        Initial step [m].
    contact_height
        Fit a contact height; False: the plain density law.
    kernel, edges, outside
        As for :func:`~planish.physics.pattern.effective_density.effective_density`.
    resamples
        Bootstrap resamples of the residuals (0: bands from the covariance).
    seed
        Of the resampling.

    Returns
    -------
    PlanarizationFit
        Constants with their bands.

    Raises
    ------
    FitError
        Too few points, places off the map, times not positive, or data that leave a constant open.
    """
    names = ("length", "rate", *(("contact height",) if contact_height else ()))
    if not 0 < step <= THICKEST:
        raise FitError(refuse("step before polishing [m]", step, f"above 0 and up to {THICKEST:g}"))
    measured, pick, where = _prepared(maps, data, len(names))
    density = np.asarray(maps.density, dtype=np.float64)

    side = max(np.shape(maps.density)) * maps.cell
    longest = min(LONGEST, LONGEST_CELLS * maps.cell, max(20 * side, float(LENGTHS[-1])))
    if longest < LENGTHS[0]:
        raise FitError(
            refuse(
                "cell of the layout map [m]",
                maps.cell,
                f"{LENGTHS[0] / LONGEST_CELLS:.3g} or more to fit a planarization length",
            )
        )

    def rho_at(length: float) -> Array:
        # Beyond this the density is even already: the fit finds that nothing depends on the length.
        length = min(length, longest)
        field = effective_density(density, maps.cell, length, kernel=kernel, edges=edges, outside=outside)
        return np.maximum(at_places(field, *where), LEAST_DENSITY)

    def both(logs: Array, rho: Array) -> tuple[Array, Array]:
        blanket = np.exp(logs[1]) * data.time
        if contact_height:
            up, _, left = contact_height_step(rho, step, np.exp(logs[2]), blanket)
            return up, left
        return blanket_removed(rho, step, blanket)

    def predicted(logs: Array, rho: Array | None = None) -> Array:
        rho = rho_at(float(np.exp(logs[0]))) if rho is None else rho
        return np.asarray(np.concatenate(both(logs, rho))[pick])

    with np.errstate(all="ignore"):  # far off the measurements numbers overflow; what is found is checked
        best = _start(predicted, rho_at, measured, data, step, contact_height, longest)
        logs, jacobian, residual = _least_squares(predicted, measured, best)
    if not np.exp(logs[0]) < longest:
        raise FitError(
            f"planarization length: the fit runs beyond {longest * 1e3:.4g} mm, where every length averages alike: "
            "the measurements do not hold it (are losses and steps right, and of places of different density?)"
        )
    _determined(jacobian, names)
    freedom = measured.size - logs.size
    variance = float(residual @ residual) / freedom
    covariance: Array = np.asarray(variance * np.linalg.inv(jacobian.T @ jacobian), dtype=np.float64)
    if resamples > 0:
        low, high = _resampled(predicted, measured, logs, residual, resamples, seed)
        how = f"bootstrap of residuals, {resamples} resamples, seed {seed}"
    else:
        from scipy.stats import t

        half = float(t.ppf(0.975, freedom)) * np.sqrt(np.diag(covariance))
        low, high = logs - half, logs + half
        how = "covariance at the optimum, Student's t"
    for name, end in zip(names, high, strict=True):
        if not end < np.log(np.finfo(float).max):
            raise FitError(f"{name}: the measurements leave it open (measure more densities and times)")
    bands = [
        Band(float(np.exp(v)), float(np.exp(a)), float(np.exp(b)))
        for v, a, b in zip(logs, low, high, strict=True)
    ]
    density_there = rho_at(float(np.exp(logs[0])))
    up, left = both(logs, density_there)
    return PlanarizationFit(
        bands[0],
        bands[1],
        bands[2] if contact_height else None,
        float(np.sqrt(variance)),
        measured.size,
        how,
        covariance,
        density_there,
        up,
        left,
        replace(data, step_before=step),
        tuple(_far_off(data, pick, residual)),
    )


def _far_off(data: StepTable, pick: NDArray[np.bool_], residual: Array) -> list[str]:
    """Say which measurements the fit misses by far more than the others; they count in it all the same."""
    usual = 1.4826 * float(np.median(np.abs(residual)))
    rows = data.x.size
    said = []
    for place, off in zip(np.flatnonzero(pick), residual, strict=True):
        if abs(off) > FAR_OFF * max(usual, 1e-10):
            what, row = ("loss", place) if place < rows else ("step left", place - rows)
            said.append(
                f"row {row + 1} (x {1e3 * data.x[row]:.4g} mm, y {1e3 * data.y[row]:.4g} mm, {data.time[row]:.4g} s): "
                f"the {what} is {abs(off) * 1e9:.3g} nm off the fit, where {usual * 1e9:.3g} nm is usual; counted all "
                "the same: measure it again, or leave it out"
            )
    return said


def _prepared(
    maps: LayoutMaps, data: StepTable, unknowns: int
) -> tuple[Array, NDArray[np.bool_], tuple[Array, Array]]:
    sizes = {np.shape(v) for v in (data.x, data.y, data.time, data.up_loss, data.step_left)}
    if len(sizes) != 1 or len(next(iter(sizes))) != 1:
        raise FitError("test structures: x, y, time, up_loss and step_left must be lists of one length")
    values = np.concatenate([data.up_loss, data.step_left]).astype(float)
    wide = np.abs(values[np.isfinite(values)])
    if wide.size and wide.max() > THICKEST:
        raise FitError(refuse("loss or step left [m]", float(wide.max()), f"{THICKEST:g} or less"))
    pick = np.isfinite(values)
    if pick.sum() < unknowns + 2:
        raise FitError(
            refuse("measured points", int(pick.sum()), f"{unknowns + 2} or more for {unknowns} constants")
        )
    if not np.all(np.asarray(data.time) > 0):
        raise FitError(refuse("polish time [s]", float(np.min(data.time)), "above 0"))
    return values[pick], pick, places_on(maps, data.x, data.y)


def _start(
    predicted: Callable[..., Array],
    rho_at: Callable[[float], Array],
    measured: Array,
    data: StepTable,
    step: float,
    contact_height: bool,
    longest: float,
) -> Array:
    """Best of a grid: the length scanned, the rate from the mean loss, a few contact heights."""
    has_loss = np.isfinite(data.up_loss)
    rates = (
        [float(np.median(data.up_loss[has_loss] / data.time[has_loss])) * f for f in (0.3, 0.5, 0.75, 1.0)]
        if has_loss.any()
        else [step / float(np.median(data.time)) * f for f in (0.2, 0.4, 0.7, 1.0, 1.5)]
    )
    heights = [0.05 * step, 0.2 * step, 0.6 * step] if contact_height else [None]
    trials = []
    for length in LENGTHS[longest >= LENGTHS]:
        rho = rho_at(float(length))
        for rate in rates:
            for height in heights:
                logs = np.log([length, max(rate, 1e-15), *([] if height is None else [height])])
                trials.append((float(np.sum((predicted(logs, rho) - measured) ** 2)), logs))
    found = [trial for trial in trials if np.isfinite(trial[0])]
    if not found:
        raise FitError(f"step before polishing [m] = {step:.3g}: no start of the fit gives finite numbers")
    return min(found, key=lambda trial: trial[0])[1]


def _least_squares(
    predicted: Callable[..., Array], measured: Array, start: Array
) -> tuple[Array, Array, Array]:
    from scipy.optimize import least_squares

    scale = 1e-9  # nanometres: the solver's tolerances are meant for numbers near one
    try:
        fit = least_squares(
            lambda logs: (predicted(logs) - measured) / scale,
            start,
            diff_step=1e-4,
            x_scale=0.1,
            xtol=1e-9,
            ftol=1e-12,
        )
        sound = bool(np.isfinite(fit.x).all() and np.isfinite(fit.jac).all() and np.isfinite(fit.fun).all())
    except (ValueError, np.linalg.LinAlgError):
        sound = False
    if not sound:
        raise FitError(
            "planarization fit: no finite numbers fit the measurements (is one of them, or a unit, far off?)"
        )
    return fit.x, fit.jac * scale, fit.fun * scale


def _determined(jacobian: Array, names: tuple[str, ...]) -> None:
    size = np.linalg.norm(jacobian, axis=0)
    for name, one in zip(names, size, strict=True):
        if not one > 1e-12 * max(float(size.max()), 1e-300):
            raise FitError(
                f"{name}: the measurements do not depend on it (measure places of different density)"
            )
    values = np.linalg.svd(jacobian / size, compute_uv=False)
    if not values[-1] >= 1e-6 * values[0]:
        raise FitError(
            f"{', '.join(names)}: the measurements do not tell them apart (measure more densities and times)"
        )


def _resampled(
    predicted: Callable[..., Array], measured: Array, logs: Array, residual: Array, count: int, seed: int
) -> tuple[Array, Array]:
    rng = np.random.default_rng(seed)
    # Residuals are smaller than the noise by the fit's freedom: widen them to match.
    widened = (residual - residual.mean()) * np.sqrt(measured.size / (measured.size - logs.size))
    centre = measured + residual
    found = [
        _least_squares(predicted, centre + rng.choice(widened, measured.size), logs)[0] for _ in range(count)
    ]
    low, high = np.percentile(np.array(found), [2.5, 97.5], axis=0)
    return low, high
