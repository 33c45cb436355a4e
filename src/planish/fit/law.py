r"""The coefficients of a removal law from rates measured at several pressures and speeds.

With ``rates`` measured at pressures p_i and speeds v_i, the coefficients c minimise the sum of squared relative
misfits (law(c, p_i, v_i)/rate_i - 1)^2. They are searched at 0 or above, from several starts; their errors
come from the curvature there, times the misfit per degree of freedom.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record, counted
from planish.errors import FitError, refuse
from planish.physics.removal.law import Law
from planish.physics.removal.laws import LAWS, removal_rate

Array = NDArray[np.float64]
Values: TypeAlias = float | Sequence[float] | Array

SOURCES: tuple[str, ...] = (
    "Nonlinear least squares, errors from the curvature (read as quoted in the SciPy reference)",
)
_STARTS = (0.1, 0.5, 0.9)


@dataclass(frozen=True, slots=True, repr=False)
class LawFit(Record):
    """Result of :func:`fit_law`.

    Attributes
    ----------
    law
        Its name.
    coefficients, errors
        Fitted ones with their standard errors, SI; an error is NaN where the rates leave nothing over to tell.
    held
        Those that were given, SI.
    measured, fitted
        Rates [m/s], (n,).
    """

    law: str
    coefficients: Mapping[str, float]
    errors: Mapping[str, float]
    held: Mapping[str, float]
    measured: Array
    fitted: Array

    def _told(self) -> str:
        told = ", ".join(
            f"{name} {value:.4g} ± {self.errors[name]:.1g}" for name, value in self.coefficients.items()
        )
        return (
            f"{self.law}, {counted(self.measured.size, 'rate')}: {told}, misfit {100 * self.misfit:.3g} % RMS"
        )

    @property
    def misfit(self) -> float:
        """Root mean square of the relative misfit [1]."""
        return float(np.sqrt(np.mean((self.fitted / self.measured - 1.0) ** 2)))

    @property
    def notes(self) -> tuple[str, ...]:
        """Whether anything is left over to judge the law by."""
        spare = self.measured.size - len(self.coefficients)
        if spare > 0:
            return ()
        return (
            f"{counted(self.measured.size, 'rate')} for as many coefficients: the law meets them, whatever it is",
        )

    def sources(self) -> list[str]:
        """Return what the answer rests on, one line each."""
        return [*LAWS.get(self.law).sources, *SOURCES]

    def rate(self, p: Values, v: Values, temperature: Values | None = None) -> Array:
        """Return the rate of the fitted law.

        Parameters
        ----------
        p, v
            Pressures [Pa] and speeds [m/s], broadcastable.
        temperature
            Of the pad [K], where the law needs it.

        Returns
        -------
        Array
            [m/s].
        """
        return removal_rate(self.law, {**self.held, **self.coefficients}, p, v, temperature=temperature)

    def document(self) -> dict[str, object]:
        """Return the coefficients with units and errors, and the misfit, as JSON can hold them."""
        units = {each.name: each.unit for each in LAWS.get(self.law).coefficients}
        return {
            "law": self.law,
            "misfit_rms_percent": 100 * self.misfit,
            "rates": int(self.measured.size),
            "coefficients": [
                {
                    "name": name,
                    "unit": units[name],
                    "value": value,
                    "standard_error": self.errors[name] if np.isfinite(self.errors[name]) else None,
                }
                for name, value in self.coefficients.items()
            ],
            "notes": list(self.notes),
            "sources": self.sources(),
        }


def fit_law(
    law: str,
    p: Values,
    v: Values,
    rates: Values,
    *,
    held: Mapping[str, float | None] | None = None,
    temperature: Values | None = None,
) -> LawFit:
    """Fit a removal law to rates measured at several pressures and speeds.

    Parameters
    ----------
    law
        The name of one in ``planish.physics.removal.laws.LAWS``.
    p, v
        Pressures [Pa] and speeds [m/s] at which they were measured, broadcastable to (n,).
    rates
        Measured rates [m/s], (n,), above 0.
    held
        Coefficients that are known, SI; those with a usual value that the law names are held too unless given
        as None here, which fits them.
    temperature
        Of the pad [K], where the law needs it.

    Returns
    -------
    LawFit
        Coefficients with their errors, and the misfit.

    Raises
    ------
    FitError
        For fewer rates than coefficients, a rate that is not above 0, or rates that no coefficients meet.
    SetupError
        For an unknown law.
    """
    record = LAWS.get(law)
    measured = np.asarray(rates, dtype=np.float64)
    if measured.ndim != 1 or measured.size == 0 or not np.all(np.isfinite(measured) & (measured > 0)):
        raise FitError(refuse("measured rates", measured.tolist(), "one or more numbers above 0 m/s"))
    pressure, speed = (np.broadcast_to(np.asarray(each, dtype=np.float64), measured.shape) for each in (p, v))
    given = dict(held or {})
    known = {name: value for name, value in given.items() if value is not None}
    for each in record.coefficients:
        if each.default is not None and each.name not in given:
            known[each.name] = each.default
    wanted = [each.name for each in record.coefficients if each.name not in known]
    if measured.size < len(wanted):
        raise FitError(
            refuse(
                f"rates for the law {law!r}",
                measured.size,
                f"{len(wanted)} or more, one for each coefficient",
            )
        )

    def at(values: Array) -> Array:
        coefficients = {**known, **dict(zip(wanted, values.tolist(), strict=True))}
        return removal_rate(law, coefficients, pressure, speed, temperature=temperature)

    values, reach = _search(record, wanted, at, measured, float(np.mean(pressure)))
    fitted = at(values)
    spare = measured.size - len(wanted)
    errors = np.full(len(wanted), np.nan)
    if spare > 0:
        left = float(np.sum((fitted / measured - 1.0) ** 2)) / spare
        errors = reach * np.sqrt(left)
    return LawFit(
        law,
        dict(zip(wanted, values.tolist(), strict=True)),
        dict(zip(wanted, errors.tolist(), strict=True)),
        known,
        measured,
        fitted,
    )


def _search(
    record: Law, wanted: Sequence[str], at: Callable[[Array], Array], measured: Array, pressure: float
) -> tuple[Array, Array]:
    """Return the best coefficients, and how far each may go for a squared misfit of 1."""
    from scipy.optimize import least_squares

    scaling = np.array([name in record.scaling or name == record.leading for name in wanted])
    best, best_size = None, np.ones(len(wanted))
    for start in product(_STARTS, repeat=min(int(np.sum(~scaling)), 3)):
        size = _sizes(record, wanted, start, pressure)
        # each coefficient that scales the rate counts in what makes the rate alone
        for index in np.flatnonzero(scaling):
            alone = at(np.where(scaling & (np.arange(size.size) != index), 0.0, size))
            size[index] *= float(np.mean(measured)) / max(float(np.mean(alone)), 1e-300)

        def misfit(x: Array, size: Array = size) -> Array:
            with np.errstate(over="ignore", invalid="ignore"):
                off = np.nan_to_num(at(x * size) / measured - 1.0, nan=1e6, posinf=1e6)
            return np.asarray(np.clip(off, -1e6, 1e6))

        share = np.where(scaling, 1.0 / max(int(scaling.sum()), 1), 1.0)
        found = least_squares(misfit, share, bounds=(0.0, np.inf), xtol=1e-12, ftol=1e-14, gtol=1e-12)
        if best is None or found.cost < best.cost:
            best, best_size = found, size
    assert best is not None
    if not np.isfinite(best.cost) or best.cost > 0.25 * measured.size:
        raise FitError(f"removal law {record.name!r}: no coefficients meet these rates; take another law")
    spread = np.diag(
        np.linalg.pinv(best.jac.T @ best.jac, hermitian=True)
    )  # in sizes of one, so that none is lost
    return best.x * best_size, best_size * np.sqrt(np.maximum(spread, 0.0))


def _sizes(record: Law, wanted: Sequence[str], start: Sequence[float], pressure: float) -> Array:
    """Return a usual size of each coefficient; of a pressure a share of those measured."""
    shares, sizes = iter([*start, *[0.5] * len(wanted)]), []
    for each in record.coefficients:
        if each.name not in wanted:
            continue
        if each.name in record.scaling or each.name == record.leading:
            sizes.append(1.0)
            continue
        share = next(shares)
        if each.dimension == "pressure":
            sizes.append(share * pressure)
        elif each.typical is not None:
            low, high = (each.si(text) for text in each.typical)
            sizes.append(low + share * (high - low))
        else:
            sizes.append(share)
    return np.array(sizes)
