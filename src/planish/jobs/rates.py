"""What drives the removal rate of the wafers in the traces, and how well are wafers guessed that nobody measured?"""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from planish.errors import DataError, FitError, refuse
from planish.fit.consumables import Consumables, fit_consumables
from planish.fit.forest import Learned, learn_rates
from planish.fit.traces import RateLaw, fit_rate_law
from planish.fit.unseen import RatePredictor, Unseen
from planish.fit.unseen_check import FOLDS, Check, check_unseen
from planish.measure.traces.invented import invented_traces
from planish.measure.traces.read import read_rates, read_traces
from planish.measure.traces.wafers import Wafers, cut_wafers
from planish.results.plain import unique
from planish.results.result import Result

if TYPE_CHECKING:
    import xarray as xr

Tell = Callable[[float], None]


@dataclass(frozen=True, slots=True, repr=False)
class RatesFit(Result):
    """What traces and rates say.

    Attributes
    ----------
    law
        Of the rate.
    consumables
        What their age says; None where the traces hold no usage counters.
    check
        If it was asked for.
    """

    kind: ClassVar[str] = "rates fit"

    law: RateLaw
    consumables: Consumables | None
    check: RatesCheck | None = None

    def _told(self) -> str:
        return self.law._told()

    @property
    def notes(self) -> tuple[str, ...]:
        """What was assumed for the law."""
        return self.law.notes

    def sources(self) -> list[str]:
        """Return what the law rests on, one line each."""
        return self.law.sources()

    def dataset(self) -> xr.Dataset:
        """Return the figures, and measured and predicted rates over the polishes, as those of the law."""
        return Result.dataset(self).assign(self.law.variables())

    def _content(self) -> dict[str, Any]:
        """Return the figures of the law, ``consumables`` and ``check`` beside them."""
        told = None if self.consumables is None else self.consumables.document()
        check = {} if self.check is None else {"check": self.check._content()}
        return {**self.law._content(), "consumables": told, **check}


@dataclass(frozen=True, slots=True, repr=False)
class RatesCheck(Result):
    """Errors on wafers left out.

    Attributes
    ----------
    forest
        By time: learned beside the law.
    interspersed
        Later rates known.
    ahead
        Later rates unknown.
    """

    kind: ClassVar[str] = "check of the rates fit"

    forest: Learned
    interspersed: Check
    ahead: Check

    @property
    def notes(self) -> tuple[str, ...]:
        """What was assumed for the learned forest."""
        return self.forest.notes

    def sources(self) -> list[str]:
        """Return what the checks rest on, one line each."""
        return unique([*self.forest.sources(), *self.interspersed.sources()])

    def _content(self) -> dict[str, Any]:
        return {
            "by_time": self.forest.document(),
            "interspersed": self.interspersed._content(),
            "ahead": self.ahead._content(),
        }


def read_measured_wafers(
    traces: str | os.PathLike[str], rates: str | os.PathLike[str] | None = None, source: str | None = None
) -> Wafers:
    """Return the wafers of a trace file, with their measured rates where there are any.

    Parameters
    ----------
    traces
        One row a sample.
    rates
        One row a polish.
    source
        What the traces are called in what is said of them; the name of their file unless given.

    Returns
    -------
    Wafers
        With rates joined, if given.

    Raises
    ------
    DataError
        For a file that cannot be used.
    """
    samples = read_traces(Path(traces))
    known = None if rates is None else read_rates(Path(rates))
    return cut_wafers(samples, known, source=source or Path(traces).name)


def rate_sentences(wafers: Wafers) -> list[str]:
    """Return what the measured rates follow, a sentence each; or why no law can be fitted to them."""
    try:
        law = fit_rate_law(wafers)
    except (FitError, DataError) as error:
        return [str(error)]
    return [line for regime in law.regimes for line in regime.sentences]


def fit_rates(wafers: Wafers, *, folds: int = 0, tell: Tell | None = None) -> RatesFit:
    """Fit the rate laws and, if wanted, check how well wafers left out are guessed.

    Parameters
    ----------
    wafers
        From :func:`read_measured_wafers`.
    folds
        How many of five random fifths are left out in turn, 0 (no check) to 5.
    tell
        Called with the share done.

    Returns
    -------
    RatesFit
        Law, age of consumables, and check.

    Raises
    ------
    FitError
        For too few wafers.
    DataError
        For a number of folds that there cannot be.
    """
    if not 0 <= folds <= FOLDS:
        raise DataError(refuse("folds", folds, f"0 to {FOLDS}"))
    law = fit_rate_law(wafers)
    try:
        consumables = fit_consumables(wafers)
    except FitError:  # no usage counters in these traces: the law stands without
        consumables = None
    if not folds:
        return RatesFit(law, consumables)
    say = tell or (lambda share: None)
    forest = learn_rates(wafers)
    say(0.1)
    # Looking ahead learns anew after every block: about twice the work.
    inside = check_unseen(
        wafers, retrospective=True, only=folds, progress=lambda done, of: say(0.1 + 0.3 * done / of)
    )
    ahead = check_unseen(
        wafers, retrospective=False, only=folds, progress=lambda done, of: say(0.4 + 0.6 * done / of)
    )
    return RatesFit(law, consumables, RatesCheck(forest, inside, ahead))


def guess_rates(known: Wafers, traces: str | os.PathLike[str], *, ahead: bool = False) -> Unseen:
    """Guess the rates of wafers of which there are only traces.

    Parameters
    ----------
    known
        Measured ones, from :func:`read_measured_wafers`.
    traces
        Of the others, one row a sample.
    ahead
        Use only wafers that started before the one guessed.

    Raises
    ------
    DataError
        For a file that cannot be used.
    FitError
        For too few measured wafers.
    """
    new = cut_wafers(read_traces(Path(traces)), source=Path(traces).name, like=known)
    return RatePredictor.fit(known).predict(new, retrospective=not ahead)


def invented_measured_wafers(seed: int) -> Wafers:
    """Return the wafers of an invented polisher's traces with their rates, to try a fit where no data are at hand.

    Parameters
    ----------
    seed
        Of what is left to chance.
    """
    traces, rates = invented_traces(seed=seed)
    return cut_wafers(traces, rates, source="invented traces")
