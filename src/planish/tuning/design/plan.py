"""Which runs does an experiment need? A plan laid over the ranges of the factors, each run tried as a setup first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import product
from typing import TYPE_CHECKING, Literal, get_args

import numpy as np
from numpy.typing import NDArray

from planish.errors import PlanishError, SetupError, refuse
from planish.setup.given import as_setup
from planish.tuning.design import fraction as fractions
from planish.tuning.design import optimal, points
from planish.tuning.design.factors import Factor, read_factors
from planish.tuning.design.fraction import Fraction, corners, fraction
from planish.tuning.design.optimal import d_efficiency, d_optimal
from planish.tuning.design.points import Star, box_behnken, composite, usual_centre
from planish.tuning.design.sheet import Run, RunSheet
from planish.tuning.design.terms import model_matrix, terms_of
from planish.units import as_whole

if TYPE_CHECKING:
    from planish.setup.given import SetupLike
    from planish.setup.models import Setup

Array = NDArray[np.float64]
Plan = Literal["full", "fraction", "composite", "box-behnken", "optimal"]
MOST_RUNS = 1024
MOST_CANDIDATES = 4096
SPARE = 3  # runs of an optimal plan beyond one a term, unless told
CLEAR = 5  # resolution from which no pair hides behind another
MODELS: dict[str, str] = {
    "full": "interactions",
    "fraction": "interactions",
    "composite": "quadratic",
    "box-behnken": "quadratic",
    "optimal": "quadratic",
}

INSIDE: Star = "inscribed"  # what a plan takes that is told nothing: a range is what its owner allows


def design_runs(
    setup: SetupLike,
    vary: Mapping[str, str],
    plan: Plan = "composite",
    *,
    runs: int | None = None,
    centre: int | None = None,
    star: Star | None = None,
    model: str | None = None,
    repeats: int = 1,
    seed: int = 0,
    predict: Sequence[str] = (),
) -> RunSheet:
    """Lay out an experiment: which runs to make, in which order.

    Parameters
    ----------
    setup
        A loaded setup, or the path of its file; what does not vary stays as it is there.
    vary
        Key to its range, as ``"2..6 psi"``, or to two values, as ``"hard-microporous, soft-felt"``; 2 to 12 keys.
    plan
        "full": all corners; "fraction": some of them; "composite": corners and star points; "box-behnken": middles of
        edges; "optimal": the best choice for a model.
    runs
        Of a fraction (a power of 2; the fewest of resolution 4 unless given) or of an optimal plan (three more than its
        model has terms unless given), without centre and repeats.
    centre
        Runs in the middle of all ranges; as many as is usual for the plan unless given.
    star
        Of a composite plan: "inscribed" (at the ends of the ranges, the corners within, unless given), "faced" (corners at
        the ends too) or "circumscribed" (outside the ranges, which the answer says).
    model
        Of an optimal plan: "linear", "interactions" or "quadratic".
    repeats
        How often all but the centre is run.
    seed
        Of the order, and of the search for an optimal plan.
    predict
        Figures of the wafer's summary to put beside each run, as planish predicts them.

    Returns
    -------
    RunSheet
        Runs in their random order; ``write`` makes the file to fill in.

    Raises
    ------
    SetupError
        For a key or range that cannot be, and for a run that no setup can be made of.
    DataError
        For numbers that no such plan has.
    """
    setup = as_setup(setup)
    factors = read_factors(setup, vary)
    if plan not in get_args(Plan):
        raise SetupError(refuse("plan", plan, f"one of {', '.join(get_args(Plan))}"))
    _fits(plan, factors, runs, star, model)
    as_whole(repeats, "repeats", 1, MOST_RUNS)
    as_whole(seed, "seed", 0, 2**63)
    middle = usual_centre(plan, len(factors)) if centre is None else centre
    as_whole(middle, "centre", 0, MOST_RUNS)
    asked = model or MODELS[plan]
    laid, said, chosen = _laid(setup, factors, plan, runs, star, asked, seed)
    if chosen is not None and chosen.resolution < CLEAR:
        asked = "linear"
    found = [Run(tuple(row), kind) for kind, rows in laid for row in rows] * repeats
    found += [Run(tuple(row), "centre") for row in _middles(factors)] * middle
    if len(found) > MOST_RUNS:
        raise SetupError(refuse("runs", len(found), f"at most {MOST_RUNS}", "take fewer keys or repeats"))
    _possible(setup, factors, found, plan)
    order = np.random.default_rng(seed).permutation(len(found))
    ordered = tuple(found[at] for at in order)
    return RunSheet(
        setup=setup,
        plan=plan if plan != "composite" else f"composite, {star or INSIDE}",
        model=asked,
        seed=seed,
        factors=factors,
        runs=ordered,
        predicted=_predicted(setup, factors, ordered, predict),
        said=tuple(said),
        rests_on=_sources(plan),
    )


def _fits(
    plan: str, factors: Sequence[Factor], runs: int | None, star: str | None, model: str | None
) -> None:
    """Refuse options that do not belong to the plan."""
    if runs is not None and plan not in ("fraction", "optimal"):
        raise SetupError(
            refuse("runs", runs, "left out for this plan", "it is for a fraction or an optimal plan")
        )
    if model is not None and plan != "optimal":
        raise SetupError(refuse("model", model, "left out for this plan", "it is for an optimal plan"))
    if star is not None and plan != "composite":
        raise SetupError(refuse("star", star, "left out for this plan", "it is for a composite plan"))
    texts = [factor for factor in factors if factor.texts]
    if texts and plan in ("composite", "box-behnken"):
        raise SetupError(
            refuse(
                f"vary {texts[0].path}",
                texts[0].told,
                f"a range, for the plan {plan!r}",
                "two values have no middle: take full, fraction or optimal",
            )
        )


def _laid(
    setup: Setup,
    factors: tuple[Factor, ...],
    plan: str,
    runs: int | None,
    star: Star | None,
    model: str,
    seed: int,
) -> tuple[list[tuple[str, Array]], list[str], Fraction | None]:
    """Return the coded points by their kind, what there is to say of them, and the fraction where it is one."""
    k = len(factors)
    if plan == "full":
        return [("corner", corners(k))], [], None
    if plan == "fraction":
        chosen = _fraction(k, runs)
        return [("corner", chosen.points())], [_confounded(chosen, factors)], chosen
    if plan == "composite":
        cube, axes = composite(k, star or INSIDE)
        return [("corner", cube), ("star", axes)], _beyond(factors, axes), None
    if plan == "box-behnken":
        return [("edge", box_behnken(k))], [], None
    found, said = _optimal(setup, factors, runs, model, seed)
    return [("chosen", found)], said, None


def _beyond(factors: tuple[Factor, ...], axes: Array) -> list[str]:
    """Say how far star points go beyond the ranges that were given."""
    if float(np.abs(axes).max()) <= 1.0 + 1e-9:
        return []
    told = []
    for place, factor in enumerate(factors):
        ends = (axes[:, place].min(), axes[:, place].max())
        told.append(
            f"{factor.path} {' to '.join(str(factor.change(factor.setting(float(end)))) for end in ends)}"
        )
    return [
        f"star points lie outside the ranges given: {'; '.join(told)} (star inscribed or faced keeps within them)"
    ]


def _fraction(k: int, runs: int | None) -> Fraction:
    if runs is not None:
        return fraction(k, runs)
    some = (fraction(k, 2**n) for n in range(k.bit_length(), k) if k < 2**n)
    return next((one for one in some if one.resolution >= 4), None) or fraction(k, 2 ** (k - 1))


def _confounded(chosen: Fraction, factors: tuple[Factor, ...]) -> str:
    groups = [
        " = ".join("*".join(factors[place].letter for place in effect) for effect in group)
        for group in chosen.confounded()
    ]
    together = (
        f": not told apart are {'; '.join(groups)}" if groups else ": no effects of one or two keys are mixed"
    )
    return f"a fraction of resolution {chosen.resolution}{together}"


def _optimal(
    setup: Setup, factors: tuple[Factor, ...], runs: int | None, model: str, seed: int
) -> tuple[Array, list[str]]:
    curved = [not factor.texts for factor in factors]
    levels = [(-1.0, 0.0, 1.0) if model == "quadratic" and bends else (-1.0, 1.0) for bends in curved]
    if np.prod([len(each) for each in levels]) > MOST_CANDIDATES:
        raise SetupError(refuse("keys of an optimal plan", len(factors), "fewer", "or a linear model"))
    candidates = np.array(list(product(*levels)))
    able = np.array([_refusal(setup, factors, row) is None for row in candidates])
    terms = terms_of(model, len(factors), curved)
    count = len(terms) + SPARE if runs is None else as_whole(runs, "runs", 1, MOST_RUNS)
    matrix = model_matrix(candidates[able], terms)
    chosen = d_optimal(matrix, count, seed)
    said = [
        f"D-efficiency {d_efficiency(matrix[chosen]):.3f} for a {model} model; nothing proves it the best there is"
    ]
    if not able.all():
        said.append(
            f"{int((~able).sum())} of {able.size} settings make no setup and were left out of the choice"
        )
    return candidates[able][chosen], said


def _middles(factors: tuple[Factor, ...]) -> Array:
    """Return the middle of all ranges, at each pair of texts where there are such."""
    return np.array(list(product(*[(-1.0, 1.0) if factor.texts else (0.0,) for factor in factors])))


def _refusal(setup: Setup, factors: tuple[Factor, ...], coded: Sequence[float]) -> PlanishError | None:
    changes = {
        factor.path: factor.change(factor.setting(value))
        for factor, value in zip(factors, coded, strict=True)
    }
    try:
        setup.replace(changes)
    except PlanishError as error:
        return error
    return None


def _possible(setup: Setup, factors: tuple[Factor, ...], runs: Sequence[Run], plan: str) -> None:
    """Refuse a plan with a run that no setup can be made of."""
    for run in dict.fromkeys(runs):
        error = _refusal(setup, factors, run.coded)
        if error is None:
            continue
        settings = ", ".join(
            f"{factor.path} = {factor.change(factor.setting(value))}"
            for factor, value in zip(factors, run.coded, strict=True)
        )
        remedy = "narrow the ranges, or take the plan optimal, which leaves such runs out"
        if run.kind == "star":
            remedy = "take the star inscribed or faced, or narrow the ranges"
        raise SetupError(f"a {run.kind} run of this plan makes no setup ({remedy}): {settings}: {error}")


def _predicted(
    setup: Setup, factors: tuple[Factor, ...], runs: tuple[Run, ...], figures: Sequence[str]
) -> dict[str, tuple[float | None, ...]]:
    """Return what planish predicts for each run, by figure."""
    if not figures:
        return {}
    from planish.predict.wafer.polish import polish

    told = {}
    for run in dict.fromkeys(run.coded for run in runs):
        changes = {
            factor.path: factor.change(factor.setting(value))
            for factor, value in zip(factors, run, strict=True)
        }
        told[run] = polish(setup.replace(changes)).summary()
    known = [key for key, value in next(iter(told.values())).items() if isinstance(value, float)]
    for figure in figures:
        if figure not in known:
            raise SetupError(refuse("predict", figure, f"a figure of the summary: {', '.join(known)}"))
    return {figure: tuple(told[run.coded].get(figure) for run in runs) for figure in figures}  # type: ignore[misc]


def _sources(plan: str) -> tuple[str, ...]:
    return {
        "fraction": fractions.SOURCES,
        "composite": points.SOURCES,
        "box-behnken": points.SOURCES,
        "optimal": optimal.SOURCES,
    }.get(plan, ())
