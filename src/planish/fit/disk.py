"""How unevenly disks are set and how fast they dull, from pad cut rates measured over their use.

The model is that of :mod:`planish.physics.surface.grit`: on one machine and pad a disk cuts as its force times its cut
number, and 1/(1 + use/halving time) of that with use. Fitted, as logarithms but for the power, are the first cut of
the first disk, how much wider the heights of unevenly set tips are spread than those of evenly set ones, the halving
time of the reference grit and the power by which deeper furrows dull sooner. A constant that the disks at hand cannot
tell is left as it is given.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, log
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record, counted, figure
from planish.errors import FitError, refuse
from planish.physics.checks import above_zero
from planish.physics.surface import grit
from planish.results.result import Result
from planish.setup.changes import Changes, quantity_text

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    *grit.SOURCES,
    "Least squares in the logarithm of the cut rate, standard errors from its covariance: textbook statistics",
)
HOUR = 3600.0
CUT = 1e-6 / HOUR  # [m/s] of 1 um/h
POWER = 3.8  # of the dulling, where the disks do not tell it


@dataclass(frozen=True, slots=True, repr=False)
class DiskSeries(Record):
    """Cut rates of one disk over its use, on the machine and pad that are common to all.

    Attributes
    ----------
    name
        What it is called in tables.
    grit_size
        [m].
    tips
        Diamonds on the whole disk: their number per area times the area that carries them.
    downforce
        [N].
    use
        Of the disk, where it was measured [s].
    cut_rate
        Of the pad there [m/s].
    uneven
        Whether its tips are set unevenly.
    """

    name: str
    grit_size: float
    tips: float
    downforce: float
    use: Array
    cut_rate: Array
    uneven: bool = False


@dataclass(frozen=True, slots=True, repr=False)
class DiskFit(Result):
    """What measured cut rates say of disks.

    Attributes
    ----------
    first_cut, first_cut_error
        Of the first disk when new, and its standard error [m/s].
    spread_factor, spread_factor_error
        Height spread of unevenly set tips over that of evenly set ones; 1 and 0 where no disk is unevenly set.
    halving_time, halving_time_error
        Of the reference grit [s].
    dulling_power, dulling_power_error
        Its error is 0 where it was not fitted.
    misfit
        Root mean square of measured over fitted, less 1.
    series
        The disks fitted to.
    fitted
        Their cut rates [m/s], as they were measured one after the other.
    """

    kind: ClassVar[str] = "disk fit"

    first_cut: float
    first_cut_error: float
    spread_factor: float
    spread_factor_error: float
    halving_time: float
    halving_time_error: float
    dulling_power: float
    dulling_power_error: float
    misfit: float
    series: tuple[DiskSeries, ...]
    fitted: Array
    model: DiskModel

    def predict(self, disk: DiskSeries) -> Array:
        """Return the cut rate [m/s] of a disk at its times of use; what was measured of it is not looked at.

        Parameters
        ----------
        disk
            Any, on the same machine and pad.
        """
        return self.model.cut_rate(
            disk, log(self.first_cut), log(self.spread_factor), log(self.halving_time), self.dulling_power
        )

    def level(self, disk: DiskSeries) -> tuple[float, float]:
        """Return by how much a disk cuts more than predicted, and the standard error of that.

        Parameters
        ----------
        disk
            With two measurements or more: their mean ratio to the prediction, in the logarithm.

        Raises
        ------
        FitError
            For fewer.
        """
        _sound(disk)
        ratio = np.log(disk.cut_rate / self.predict(disk))
        level = exp(float(ratio.mean()))
        return level, level * float(ratio.std(ddof=1)) / ratio.size**0.5

    def _told(self) -> str:
        return (
            f"first cut {figure(self.first_cut / CUT, 'um/h')}, halving time "
            f"{figure(self.halving_time / HOUR, 'h')} ± {self.halving_time_error / HOUR:.2g}, power "
            f"{self.dulling_power:.3g}, spread factor {self.spread_factor:.3g}, misfit "
            f"{figure(100 * self.misfit, '%')}, {counted(len(self.series), 'disk')}"
        )

    @property
    def notes(self) -> tuple[str, ...]:
        """What was not fitted."""
        left = [
            (self.dulling_power_error, f"the power of the dulling was left at {self.dulling_power:g}"),
            (self.spread_factor_error, "no unevenly beside evenly set disk: their difference was not fitted"),
        ]
        return tuple(words for error, words in left if error == 0.0)

    def sources(self) -> list[str]:
        """Return what the fit rests on."""
        return list(SOURCES)

    @property
    def changes(self) -> Changes:
        """The changes that put the constants of dulling into a setup (for ``Setup.replace``)."""
        return {
            "conditioner.halving_time": quantity_text(self.halving_time, "duration"),
            "conditioner.dulling_power": f"{self.dulling_power:.6g}",
        }

    def _content(self) -> dict[str, Any]:
        """Return the constants with their errors, and a row for each measurement."""
        measured = np.concatenate([disk.cut_rate for disk in self.series])
        return {
            "first_cut_um_per_h": self.first_cut / CUT,
            "first_cut_error_um_per_h": self.first_cut_error / CUT,
            "height_spread_factor": self.spread_factor,
            "height_spread_factor_error": self.spread_factor_error,
            "halving_time_h": self.halving_time / HOUR,
            "halving_time_error_h": self.halving_time_error / HOUR,
            "dulling_power": self.dulling_power,
            "dulling_power_error": self.dulling_power_error,
            "misfit_percent": 100 * self.misfit,
            "measurements": [
                {"disk": name, "use_h": use, "cut_um_per_h": cut, "fitted_cut_um_per_h": fitted}
                for name, use, cut, fitted in zip(
                    [disk.name for disk in self.series for _ in disk.use],
                    (np.concatenate([disk.use for disk in self.series]) / HOUR).tolist(),
                    (measured / CUT).tolist(),
                    (self.fitted / CUT).tolist(),
                    strict=True,
                )
            ],
            "changes": self.changes,
        }


@dataclass(frozen=True, slots=True)
class DiskModel:
    """What is common to all disks of a fit.

    Attributes
    ----------
    first
        The disk whose first cut is fitted.
    hardness
        Of the pad [Pa].
    tip_radius
        [m].
    height_spread
        Of evenly set tips.
    """

    first: DiskSeries
    hardness: float
    tip_radius: float
    height_spread: float

    def furrows(self, disk: DiskSeries, log_factor: float) -> grit.Furrows:
        """Return what a disk does.

        Parameters
        ----------
        disk
            Any.
        log_factor
            Logarithm of the spread factor.
        """
        spread = self.height_spread * (exp(log_factor) if disk.uneven else 1.0)
        return grit.plough(
            grit.Grit(disk.grit_size, disk.tips, spread, self.tip_radius), disk.downforce, self.hardness
        )

    def cut_rate(
        self, disk: DiskSeries, log_first: float, log_factor: float, log_halving: float, power: float
    ) -> Array:
        """Return the cut rate [m/s] at the times of use of a disk.

        Parameters
        ----------
        disk
            Any.
        log_first, log_factor, log_halving
            Logarithms of the first disk's first cut [m/s], of the spread factor and of the halving time [s].
        power
            Of the dulling.
        """
        first, own = self.furrows(self.first, log_factor), self.furrows(disk, log_factor)
        new = own.cut_number * disk.downforce / (first.cut_number * self.first.downforce)
        halving = grit.halving_time(disk.grit_size, own.depth, exp(log_halving), power)
        return exp(log_first) * new * grit.sharpness(disk.use, halving)


def fit_disks(
    series: Sequence[DiskSeries],
    *,
    hardness: float = 60e6,
    tip_radius: float = grit.REFERENCE_GRIT.tip_radius,
    height_spread: float = grit.REFERENCE_GRIT.spread,
) -> DiskFit:
    """Fit unevenness and dulling to cut rates of disks over their use.

    Parameters
    ----------
    series
        A disk or more, on one machine and pad at one speed.
    hardness
        Of the pad [Pa].
    tip_radius
        Of the diamonds [m].
    height_spread
        Of evenly set tips over the grit size. Cut rates cannot tell it from the two above.

    Returns
    -------
    DiskFit
        Constants with standard errors, and predictions for other disks.

    Raises
    ------
    FitError
        For too few or senseless measurements, or such as leave a constant open.
    """
    from scipy.optimize import least_squares

    disks = tuple(series)
    if not disks:
        raise FitError(refuse("disks to fit", 0, "one or more"))
    for disk in disks:
        _sound(disk)
    above_zero("pad hardness [Pa]", hardness)
    model = DiskModel(disks[0], hardness, tip_radius, height_spread)
    measured = np.log(np.concatenate([disk.cut_rate for disk in disks]))
    mixed = len({disk.uneven for disk in disks}) == 2
    kinds = {(disk.grit_size, disk.tips, disk.downforce, disk.uneven) for disk in disks}
    fitted = np.array([True, mixed, True, len(kinds) > 1])
    start = np.array(
        [float(np.log(disks[0].cut_rate.max())), log(1.3) if mixed else 0.0, log(200 * HOUR), POWER]
    )
    if measured.size < fitted.sum() + 2:
        raise FitError(
            refuse(
                "measured cut rates",
                measured.size,
                f"{fitted.sum() + 2} or more for {fitted.sum()} constants",
            )
        )
    lowest = np.array([start[0] - 5, log(0.2), log(0.1 * HOUR), 0.0])[fitted]
    highest = np.array([start[0] + 5, log(5.0), log(1e5 * HOUR), 20.0])[fitted]

    def predicted(free: Array) -> Array:
        every = start.copy()
        every[fitted] = free
        first, factor, halving, power = (float(value) for value in every)
        return np.concatenate([np.log(model.cut_rate(disk, first, factor, halving, power)) for disk in disks])

    found = least_squares(
        lambda free: predicted(free) - measured,
        start[fitted],
        bounds=(lowest, highest),
        xtol=1e-12,
        ftol=1e-12,
    )
    free = np.asarray(found.x, dtype=np.float64)
    if np.any(free <= lowest + 1e-6) or np.any(free >= highest - 1e-6):
        raise FitError(
            "disk fit: a constant runs away from all that is possible: the disks must dull over the times measured "
            "(measure longer, or look whether use [s] and cut rate [m/s] are in these units)"
        )
    size = np.linalg.norm(found.jac, axis=0)
    if np.linalg.cond(found.jac / size) > 1e6:
        raise FitError(
            "disk fit: these disks do not tell the constants apart (measure other grits, or longer)"
        )
    noise = 2 * found.cost / (measured.size - free.size)
    errors, every = np.zeros(4), start.copy()
    errors[fitted] = np.sqrt(noise * np.diag(np.linalg.inv(found.jac.T @ found.jac)))
    every[fitted] = free
    first, factor, halving = (exp(float(value)) for value in every[:3])
    rates = np.exp(predicted(free))
    return DiskFit(
        first_cut=first,
        first_cut_error=first * float(errors[0]),
        spread_factor=factor,
        spread_factor_error=factor * float(errors[1]),
        halving_time=halving,
        halving_time_error=halving * float(errors[2]),
        dulling_power=float(every[3]),
        dulling_power_error=float(errors[3]),
        misfit=float(np.sqrt(np.mean((rates / np.exp(measured) - 1.0) ** 2))),
        series=disks,
        fitted=rates,
        model=model,
    )


def _sound(disk: DiskSeries) -> None:
    """Refuse a disk whose measurements cannot be used."""
    use, cut = np.asarray(disk.use), np.asarray(disk.cut_rate)
    if use.ndim != 1 or use.shape != cut.shape or use.size < 2:
        raise FitError(
            refuse(
                f"{disk.name}: use and cut rate", (use.shape, cut.shape), "two lists of one length, 2 or more"
            )
        )
    for name, values, good in (
        ("use [s]", use, np.isfinite(use) & (use >= 0)),
        ("cut rate [m/s]", cut, np.isfinite(cut) & (cut > 0)),
    ):
        if not np.all(good):
            allowed = "finite, 0 or more" if name.startswith("use") else "finite, above 0"
            raise FitError(refuse(f"{disk.name}: {name}", float(values[~good][0]), allowed))
    if not disk.downforce > 0:
        raise FitError(refuse(f"{disk.name}: downforce [N]", disk.downforce, "above 0"))
