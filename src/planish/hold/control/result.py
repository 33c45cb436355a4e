"""What a trial of run-to-run control found."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from planish.engine.record import shortened
from planish.hold.control import margin
from planish.hold.control.belief import Array, Spreads
from planish.results.result import Result

if TYPE_CHECKING:
    import xarray as xr

    from planish.hold.control.margin import Ratios
    from planish.hold.control.steered import Steered

CAUTION = (
    "a setting that is proposed is to be checked by qualified staff against the tool maker's limits, the slurry's safety data sheet "
    "and local codes, and tried on monitor wafers before product; the machine's interlocks come first"
)
SOURCES = (
    "Least spread: covariance of the best linear filter of the true step, computed beside the trial (derived here)",
    "Spreads of chance that were not given: invented for the demo",
)


@dataclass(frozen=True, slots=True)
class Tried:
    """One control over all its courses; all sizes relative to what is wanted.

    ``sigma``: root mean square from what was wanted, of all outputs; ``ratio`` of it to the bound; ``mean`` and ``worst``
    departure; ``uneven``: root mean square of the outputs from the wafer's mean, ``mean_sigma`` of that mean from what was wanted;
    ``held_off``: measurements a course; ``limited``: share of wafers at a limit; ``margin`` of its gain by theory.
    """

    name: str
    sigma: float
    ratio: float
    mean: float
    worst: float
    uneven: float
    mean_sigma: float
    held_off: float
    limited: float
    margin: Ratios | None


@dataclass(frozen=True, slots=True, repr=False)
class ControlTrial(Result):
    """Several controls on one simulated step.

    Attributes
    ----------
    step
        That is controlled.
    rows
        A fixed time, and each control.
    least, bound
        Least root mean square that noise and delay allow, relative: of all wafers, and of each, (n,).
    changed
        Before each wafer.
    goal
        Logarithm of what each wafer was to lose over what is wanted as set up, (n,).
    removed, times
        Mean amount [m] and time [s] of each wafer of the first course, (n,), by control.
    delay, seed, seeds
        As asked for.
    told, true
        Spreads that the controls were told, and those of the step.
    gain_ratio
        Real over reckoned gain.
    weight
        Of the weighted average.
    """

    kind: ClassVar[str] = "control trial"

    step: Steered
    rows: tuple[Tried, ...]
    least: float
    bound: Array
    changed: tuple[tuple[str, ...], ...]
    goal: Array
    removed: dict[str, Array]
    times: dict[str, Array]
    delay: int
    seed: int
    seeds: int
    told: Spreads
    true: Spreads
    gain_ratio: float
    weight: float
    title: str
    rests_on: tuple[str, ...]
    said: tuple[str, ...] = ()

    def _told(self) -> str:
        found = ", ".join(f"{row.name} {100 * row.sigma:.3g} %" for row in self.rows)
        return (
            f"{shortened(self.title, 40)!r}, step {self.step.step}: {found}; bound {100 * self.least:.3g} %"
        )

    def row(self, name: str) -> Tried:
        """Return the row of a control."""
        return next(row for row in self.rows if row.name == name)

    @property
    def wanted(self) -> float:
        """Mean that is wanted [m]."""
        return float(self.step.shares @ self.step.wanted)

    @property
    def notes(self) -> tuple[str, ...]:
        """What was assumed, and a word of care."""
        said = [
            "simulated: the course of the lot model with chance on top; spreads as told, which are invented unless you gave your own",
            "spread is the root mean square from what was wanted, over all wafers and courses; the bound is that of the best "
            "linear forecast of the true step",
            "average_noise: white noise through one weighted average without delay, over the noise; last_setting_limit: up to which weight "
            "times gain ratio a loop would be stable that moves on from its last setting; the controls here hold each measurement against the "
            "settings of its own wafer",
            "pads and disks age by wafers, as in a lot that keeps its amount: a fixed time, which polishes a little less on a worn "
            "pad, ages it a little less in truth",
        ]
        if self.told != self.true:
            said.append("the step's true spreads are not those that the controls were told")
        if len(self.step.outputs) > 1:
            said.append(
                "chance is drawn for each zone by itself: the unevenness of real wafers hangs together"
            )
        return (*said, *self.said, CAUTION)

    def sources(self) -> list[str]:
        """Return what the answer rests on, a line each."""
        return [*margin.SOURCES, *SOURCES, *self.rests_on]

    def _content(self) -> dict[str, Any]:
        wanted = 1e9 * self.wanted
        controls = [
            {
                "control": row.name,
                "spread_percent": 100 * row.sigma,
                "spread_of_removed_nm": wanted * row.sigma,
                "to_bound_relative": row.ratio,
                "mean_off_percent": 100 * row.mean,
                "worst_percent": 100 * row.worst,
                **(
                    {"uneven_percent": 100 * row.uneven, "mean_spread_percent": 100 * row.mean_sigma}
                    if len(self.step.outputs) > 1
                    else {}
                ),
                "held_off_mean": row.held_off,
                "at_limit_percent": 100 * row.limited,
                "gain_ratio_least_relative": None if row.margin is None else row.margin.least,
                "gain_ratio_most_relative": None if row.margin is None else row.margin.most,
            }
            for row in self.rows
        ]
        course = [
            {
                "wafer": wafer + 1,
                "changed": " ".join(self.changed[wafer]),
                "wanted_nm": wanted * float(np.exp(self.goal[wafer])),
                "bound_nm": wanted * float(self.bound[wafer]),
                **{
                    f"{name.replace(' ', '_')}_removed_nm": 1e9 * float(removed[wafer])
                    for name, removed in self.removed.items()
                },
                **{
                    f"{name.replace(' ', '_')}_time_s": float(times[wafer])
                    for name, times in self.times.items()
                },
            }
            for wafer in range(self.goal.size)
        ]
        return {
            "step": self.step.step,
            "wafers": int(self.goal.size),
            "seeds": self.seeds,
            "seed": self.seed,
            "delay_wafers": self.delay,
            "time_s": self.step.time,
            "wanted_nm": wanted,
            "bound_spread_percent": 100 * self.least,
            "bound_of_removed_nm": wanted * self.least,
            "best_control": min(self.rows, key=lambda row: row.sigma).name,
            "best_to_bound_relative": min(row.ratio for row in self.rows),
            "true_gain_relative": self.gain_ratio,
            "average_noise_relative": float(np.sqrt(margin.output_variance(self.weight, self.gain_ratio))),
            "last_setting_limit_relative": margin.integral_limit(self.delay),
            "controls": controls,
            "spreads": [
                {"spread": name, "told_percent": 100 * value, "true_percent": 100 * getattr(self.true, name)}
                for name, value in asdict(self.told).items()
            ],
            "course": course,
        }

    def dataset(self) -> xr.Dataset:
        """Return the first course by wafer, in SI."""
        import xarray as xr

        count = self.goal.size
        return xr.Dataset(
            {
                "wanted": (
                    ("wafer",),
                    self.wanted * np.exp(self.goal),
                    {"units": "m", "long_name": "to be removed"},
                ),
                "bound": (
                    ("wafer",),
                    self.wanted * self.bound,
                    {"units": "m", "long_name": "least standard deviation of what is removed"},
                ),
                "removed": (
                    ("control", "wafer"),
                    np.stack(list(self.removed.values())),
                    {"units": "m", "long_name": "mean removed"},
                ),
                "time": (
                    ("control", "wafer"),
                    np.stack(list(self.times.values())),
                    {"units": "s", "long_name": "time of the step"},
                ),
                **{
                    f"{part}_changed": (
                        ("wafer",),
                        np.array([float(part in what) for what in self.changed]),
                        {"units": "1", "long_name": f"1 where the {part} was changed before the wafer"},
                    )
                    for part in ("pad", "disk")
                },
            },
            coords={"wafer": np.arange(1, count + 1), "control": list(self.removed)},
        )
