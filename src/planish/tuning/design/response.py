"""The surface that the results of an experiment lie on, told in the units of its sheet."""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import counted
from planish.errors import DataError, refuse
from planish.results.result import Result
from planish.tuning.design import surface
from planish.tuning.design.factors import Factor
from planish.tuning.design.read import Measured, measured_runs
from planish.tuning.design.sheet import RunSheet
from planish.tuning.design.surface import Fitted, Stationary, fit_surface
from planish.tuning.design.terms import read_terms, term_name, terms_of
from planish.tuning.tuned import CARE

if TYPE_CHECKING:
    from planish.setup.changes import Changes

Array = NDArray[np.float64]
DOUBT = 0.05  # of a p: the usual line (common practice, no source)


@dataclass(frozen=True, repr=False, eq=False)
class ResponseSurface(Result):
    """A polynomial through the results of an experiment.

    ``measured`` runs, the ``model`` in words, and what was ``fitted``, all in coded steps: a range's middle is 0, its ends
    are -1 and +1.
    """

    kind: ClassVar[str] = "response surface"

    measured: Measured
    model: str
    fitted: Fitted

    def _told(self) -> str:
        told = self.fitted.r_squared
        share = "" if told is None else f", R² {told:.3f}"
        return f"{self.measured.name}, {self.model}, {counted(len(self.measured.result), 'run')}{share}"

    @property
    def factors(self) -> tuple[Factor, ...]:
        """What was varied."""
        return self.measured.factors

    @property
    def stationary(self) -> Stationary | None:
        """Where the surface is flat; None where it has no such point, or a factor of two texts has a part in it."""
        return None if any(factor.texts for factor in self.factors) else self.fitted.stationary()

    @property
    def inside(self) -> bool:
        """Whether the surface is flat within all ranges."""
        found = self.stationary
        return found is not None and bool(np.all(np.abs(found.point) <= 1.0))

    @property
    def changes(self) -> Changes:
        """What makes the setup of the best or worst point; nothing where there is none within the ranges."""
        found = self.stationary
        if found is None or not self.inside or found.kind == "saddle":
            return {}
        return {
            factor.path: factor.change(factor.setting(at))
            for factor, at in zip(self.factors, found.point, strict=True)
        }

    @property
    def notes(self) -> tuple[str, ...]:
        """What the runs cannot tell, where the surface does not fit, and a word of care beside a proposal."""
        return tuple(self._notes())

    def _notes(self) -> list[str]:
        told: list[str] = []
        fitted = self.fitted
        if self.measured.left_out:
            told.append(f"{counted(self.measured.left_out, 'run')} without a result left out")
        if fitted.spread is None:
            told.append("as many terms as runs: nothing is left to tell how far off they are")
        lack, bent = fitted.source("lack of fit"), fitted.source("curvature")
        if lack is not None and lack.p is not None and lack.p < DOUBT:
            told.append(f"the surface does not fit: lack of fit against repeated runs, p = {lack.p:.2g}")
        elif lack is not None and lack.f is None:
            told.append(
                "repeated runs agree to the last digit: errors tell how far the surface is off, and of no noise"
            )
        elif lack is None:
            told.append("no lack of fit can be told: no runs are repeated, or none are left beside them")
        if bent is not None and bent.p is not None and bent.p < DOUBT:
            told.append(f"the centre stands off the surface (p = {bent.p:.2g}): squares are missing in it")
        weak = [term_name(one.term) for one in fitted.coefficients[1:] if one.p is not None and one.p > DOUBT]
        if weak:
            told.append(f"not told from 0 (p above {DOUBT:g}): {', '.join(weak)}")
        found = self.stationary
        if found is not None and not self.inside:
            told.append(f"the {found.kind} lies outside the ranges, where the surface was never tried")
        if self.changes:
            told.append(CARE)
        return told

    def sources(self) -> list[str]:
        """Return what the answer rests on, one line each."""
        return list(surface.SOURCES)

    def _content(self) -> dict[str, Any]:
        """Return how well it fits, its terms, the analysis of variance, where it is flat and which way it rises."""
        fitted = self.fitted
        return {
            "result": self.measured.name,
            "plan": self.measured.plan,
            "model": self.model,
            "runs": len(self.measured.result),
            "r_squared": fitted.r_squared,
            "adjusted_r_squared": fitted.adjusted,
            "predicted_r_squared": fitted.predicted,
            "residual_sd": fitted.spread,
            **self._flat_point(),
            "factors": [
                {"letter": f.letter, "path": f.path, "range": f.told, "unit": f.unit} for f in self.factors
            ],
            "terms": [
                {
                    "term": term_name(one.term),
                    "coefficient": one.value,
                    "error": one.error,
                    "t": one.t,
                    "p": one.p,
                }
                for one in fitted.coefficients
            ],
            "variance": [
                {
                    "source": one.name,
                    "degrees": one.degrees,
                    "sum_of_squares": one.squares,
                    "mean_square": one.mean_square,
                    "F": one.f,
                    "p": one.p,
                }
                for one in fitted.anova
            ],
            "settings": self._settings(),
            "measured": [
                {
                    **{f"coded_{f.letter}": float(x) for f, x in zip(self.factors, row, strict=True)},
                    "result": float(y),
                    "fitted": float(y - rest),
                }
                for row, y, rest in zip(
                    self.measured.coded, self.measured.result, fitted.residual, strict=True
                )
            ],
            "changes": self.changes,
        }

    def _flat_point(self) -> dict[str, Any]:
        found = self.stationary
        if found is None:
            return {"flat_point": "none"}
        error = self.fitted.error_at(found.point)
        return {
            "flat_point": found.kind,
            "flat_point_inside": self.inside,
            "flat_point_result": found.value,
            "flat_point_error": None if error is None else float(error[0]),
            "eigenvalues": [float(value) for value in found.eigenvalues],
        }

    def _settings(self) -> list[dict[str, Any]]:
        """Return a row a factor: where the surface is flat, coded and in its unit, and the steepest way up, coded."""
        found, slope = self.stationary, self.fitted.slope()
        length = float(np.linalg.norm(slope))
        return [
            {
                "path": factor.path,
                "flat_coded": None if found is None else float(found.point[at]),
                "flat": None if found is None else factor.setting(float(found.point[at])),
                "unit": factor.unit,
                "steepest_up_coded": float(slope[at]) / length if length else 0.0,
            }
            for at, factor in enumerate(self.factors)
        ]


def fit_runs(
    sheet: str | os.PathLike[str] | RunSheet,
    result: str | None = None,
    *,
    model: str | None = None,
    terms: str | None = None,
) -> ResponseSurface:
    """Fit a surface to the results of an experiment.

    Parameters
    ----------
    sheet
        A run sheet filled in (`RunSheet.write` makes it), or one with what planish predicts.
    result
        The column; may be left out where there is but one.
    model
        "linear", "interactions" or "quadratic"; that of the sheet unless given.
    terms
        In its place: ``"a b a*b a^2"``, by the letters of the factors.

    Returns
    -------
    ResponseSurface
        In coded steps: -1 and +1 are the ends of a range.

    Raises
    ------
    DataError
        For a sheet, a result, a model or terms that cannot be.
    FitError
        Where the runs do not tell the terms apart.
    """
    measured = measured_runs(sheet, result)
    count = len(measured.factors)
    if model is not None and terms is not None:
        raise DataError(refuse("model", model, "left out where terms are given"))
    if terms is not None:
        wanted, words = read_terms(terms, count), f"terms {terms.strip()}"
    else:
        words = model or measured.model or "linear"
        wanted = terms_of(words, count, [not factor.texts for factor in measured.factors])
    return ResponseSurface(measured, words, fit_surface(measured.coded, measured.result, wanted))
