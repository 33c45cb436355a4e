"""A measured wafer held against the prediction of its setup: one polish time, one prediction, one fit.

The polish time is the one given, else the one stated with the measurement, else the recipe's own. The
wafer is predicted for that time, so that removed amounts may be compared; and the rates share it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import counted, shortened
from planish.errors import DataError, FitError
from planish.fit.polished import check_same_wafer, polished_for, removed_at
from planish.fit.rate_change import rate_change
from planish.fit.removal import TIMED, RemovalFit, fit_prediction
from planish.measure.sites.pairing import Paired, pair
from planish.measure.sites.read import SiteMap
from planish.measure.sites.wafer import MeasuredWafer, polish_time, summarise
from planish.predict.wafer.bands import with_rate
from planish.predict.wafer.result import WaferResult
from planish.results.plain import unique
from planish.results.result import Result
from planish.setup.given import as_rig, as_setup
from planish.setup.si import Rig

if TYPE_CHECKING:
    import xarray as xr

    from planish.setup.given import SetupLike
    from planish.setup.models import Setup
    from planish.setup.si import Rig

    Measured = SiteMap | tuple[SiteMap, SiteMap] | Paired | MeasuredWafer

_TRIES, _MET, _NUDGE = 8, 1e-7, 1e-3  # of the rate that makes the prediction meet the fit

#: Figures that a prediction and a gauge both give.
SHARED = (
    "time_s",
    "mean_removed_nm",
    "mean_removal_rate_nm_per_min",
    "wiwnu_sigma_percent",
    "wiwnu_range_percent",
)


@dataclass(frozen=True, repr=False)
class WaferAgainst(Result):
    """Result of :func:`wafer_against`.

    Attributes
    ----------
    paired
        The measured removal.
    wafer
        The prediction for ``time``.
    time
        [s]; None: no time is known, so there is no measured rate and the prediction is the recipe's own.
    figures
        The measured figures.
    at_sites
        Predicted removal at the measured sites [m].
    fit
        None where the removal law cannot be fitted.
    unfitted
        Then says why.
    notes
        Where the time came from and what was assumed.
    """

    kind: ClassVar[str] = "measured against predicted"

    paired: Paired
    wafer: WaferResult
    time: float | None
    figures: dict[str, Any]
    at_sites: NDArray[np.float64]
    fit: RemovalFit | None
    unfitted: str
    notes: tuple[str, ...]

    def _told(self) -> str:
        time = "unknown" if self.time is None else f"{self.time:.4g} s"
        sites = counted(len(self.paired.removal), "site")
        return f"{shortened(self.paired.removal.source, 100)}, {sites}, polish time {time}"

    def sources(self) -> list[str]:
        """Return what prediction and fit rest on, one line each."""
        return unique([*self.wafer.sources(), *(self.fit.sources() if self.fit is not None else ())])

    def _content(self) -> dict[str, Any]:
        fit = {} if self.fit is None else self.fit._content()
        flags = fit.pop("flags", [])
        findings = fit.pop("findings", [self.unfitted])
        return {
            "time_s": self.time,
            "rms_nm": self.rms * 1e9,
            **fit,
            "figures": self.rows(),
            "flags": flags,
            "findings": list(findings),
        }

    def dataset(self) -> xr.Dataset:
        """Return the figures, the measured removal over the sites and the predicted one over the radius, in SI."""
        sites = self.paired.removal
        predicted = {
            "radius": (self.wafer.radius, "distance from the wafer's centre"),
            "predicted": (self.wafer.removed, "predicted removal"),
        }
        return (
            Result.dataset(self)
            .assign(sites.variables())
            .assign(
                {
                    name: ("node", values, {"units": "m", "long_name": words})
                    for name, (values, words) in predicted.items()
                }
            )
            .assign_attrs(source=sites.source)
        )

    def rows(self) -> list[dict[str, Any]]:
        """Return the figures that both know, both from the measured sites: key, predicted, measured."""
        foreseen = replace(self.paired.removal, value=self.at_sites)
        predicted = summarise(replace(self.paired, removal=foreseen), self.time)
        return [
            {"key": key, "predicted": predicted.get(key), "measured": self.figures.get(key)} for key in SHARED
        ]

    @property
    def rms(self) -> float:
        """Root mean square [m] of measured less predicted removal over the sites."""
        return float(np.sqrt(np.mean((self.paired.removal.value - self.at_sites) ** 2)))

    def sentences(self) -> list[str]:
        """Return what the fit says, or why there is none, then the notes of both sides."""
        said = self.fit.sentences if self.fit is not None else (self.unfitted,)
        return list(dict.fromkeys([*said, *self.notes, *self.figures["notes"]]))

    def fitted(self) -> RemovalFit:
        """Return the fit.

        Raises
        ------
        FitError
            Saying why there is none.
        """
        if self.fit is None:
            raise FitError(self.unfitted)
        return self.fit


def wafer_against(setup: SetupLike, measured: Measured, time: float | str | None = None) -> WaferAgainst:
    """Hold a measured wafer against the prediction of the setup it was polished with.

    Parameters
    ----------
    setup
        A loaded setup, its SI records, or the path of a setup file.
    measured
        The measured removal: a map of it, the maps before and after, or what ``measure_wafer`` returns.
    time
        Polish time [s], or text as ``"60 s"``; it goes before one stated with the measurement.

    Returns
    -------
    WaferAgainst
        Measured beside predicted.

    Raises
    ------
    DataError
        If the mean removal is not above zero, the time is none that can be, or something else was measured.
    SetupError
        If the recipe's timed steps alone take longer than the polish did.
    """
    described = None if isinstance(setup, Rig) else as_setup(setup)
    rig = as_rig(described or setup)
    paired = _paired(measured)
    check_same_wafer(rig, paired.removal)
    stated = paired.removal.polish_time
    seconds = polish_time(time) if time is not None else stated
    notes: list[str] = []
    if seconds is not None:
        figures = summarise(paired, seconds)  # refuses a time that cannot be, before anything is polished
    wafer, assumed = polished_for(rig, seconds)
    notes += assumed
    if seconds is None:
        if all(step.stopped_by in TIMED for step in wafer.steps):
            seconds = wafer.time
            notes.append(
                f"no polish time is stated with the measurement: taken as the recipe's {seconds:.4g} s"
            )
        figures = summarise(paired, seconds)
    removal = replace(paired.removal, polish_time=seconds)  # the figures have said what was stated
    paired = replace(paired, removal=removal)
    fit, unfitted = None, ""
    try:
        fit = fit_prediction(wafer, removal)
        fit = _meeting(rig if described is None else described, fit, seconds)
    except FitError as error:
        unfitted = str(error)
    return WaferAgainst(
        paired=paired,
        wafer=wafer,
        time=seconds,
        figures=figures,
        at_sites=removed_at(wafer, removal.r),
        fit=fit,
        unfitted=unfitted,
        notes=tuple(notes),
    )


def _meeting(given: Setup | Rig, fit: RemovalFit, seconds: float | None) -> RemovalFit:
    """Return the fit with the constant, and the changes, with which the prediction comes to the fitted removal.

    A faster film uses its slurry up faster and is sooner at an amount, so that scaling the rate by what was found
    falls short: the model is run with it and the rest made up, until it is met. How much the prediction then answers
    to the rate also takes the doubt from the removal to the constant.
    """
    rig = given if isinstance(given, Rig) else given.rig
    material, factor = rig.wafer.films[0].material, fit.scale
    if not factor > 0:
        return fit

    def removed(factor: float) -> NDArray[np.float64]:
        return removed_at(polished_for(with_rate(rig, material, factor), seconds)[0], fit.r, seconds)

    def over(found: NDArray[np.float64]) -> float:
        return float(found @ fit.fitted / (found @ found))

    rest = over(removed(factor))
    for _ in range(_TRIES):
        if abs(rest - 1.0) < _MET:
            break
        factor *= rest
        rest = over(removed(factor))
    answer = np.log(rest / over(removed(factor * (1.0 + _NUDGE)))) / np.log1p(_NUDGE)
    onto = factor / fit.scale
    return replace(
        fit,
        k_p=fit.k_p * onto,
        k_p_error=fit.k_p_error * onto / answer if answer > 0 else float("nan"),
        k_p_all=fit.k_p_all * onto,
        changes=None if isinstance(given, Rig) else rate_change(given, material, factor),
    )


def fit_wafer(
    predicted: WaferResult | SetupLike, measured: Measured, time: float | str | None = None
) -> RemovalFit:
    """Fit the removal law of a setup to a wafer measured on it.

    The same as ``planish fit`` and the bench give: the wafer is predicted anew for the time it was polished
    (``time``, else the one stated with the measurement, else that of a timed recipe).

    Parameters
    ----------
    predicted
        A predicted wafer, or the setup that it was polished with.
    measured
        The measured removal: a map of it, the maps before and after, or what ``measure_wafer`` returns.
    time
        Polish time [s], or text as ``"60 s"``.

    Returns
    -------
    RemovalFit
        The constant with its error, the misfit, and where the shape is off.

    Raises
    ------
    FitError
        Where the removed amount says nothing of the rate, or the sites are too few.
    PlanishError
        As :func:`wafer_against`.
    """
    setup = predicted.rig if isinstance(predicted, WaferResult) else predicted
    against = wafer_against(setup, measured, time)
    return replace(against.fitted(), sentences=tuple(against.sentences()))


def _paired(measured: object) -> Paired:
    if isinstance(measured, Paired):
        return measured
    if isinstance(measured, MeasuredWafer):
        return replace(measured.paired, removal=measured.removal)
    if isinstance(measured, SiteMap):
        return Paired(measured, (), (), "site name")
    if isinstance(measured, tuple | list) and [type(one) for one in measured] == [SiteMap, SiteMap]:
        return pair(*measured)
    raise DataError(
        f"measured removal: a {type(measured).__name__} was given: must be a map of the removal "
        "(planish.read_sites), the two maps before and after, or what planish.measure_wafer returns"
    )
