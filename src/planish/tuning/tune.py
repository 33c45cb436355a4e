"""Solve for the pressures and times that leave the most even wafer of a thickness."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, TypedDict

import numpy as np
from numpy.typing import NDArray

from planish import units
from planish.errors import DataError, SetupError, refuse
from planish.measure.sites.read import SiteMap, read_sites
from planish.predict.wafer.incoming import mean_profile
from planish.predict.wafer.polish import polish
from planish.setup.changes import quantity_text
from planish.setup.given import as_setup
from planish.setup.models import Setup
from planish.tuning.course import Course, Settings
from planish.tuning.limits import ROUNDED_S, Freedom
from planish.tuning.search import MET_NM, NM, Found, Search
from planish.tuning.tuned import Bound, Tuned

if TYPE_CHECKING:
    from planish.predict.wafer.result import WaferResult
    from planish.setup.changes import Changes
    from planish.setup.si import Film, Rig

    Sites = SiteMap | str | os.PathLike[str]

Array = NDArray[np.float64]
_WORTH = 1e-12  # [m] of sigma per psi or s: what is less is no price


class _Options(TypedDict):
    bounds: Mapping[str, str]
    keep: list[str]
    neighbour: float | None


def tune(
    setup: Setup | str | os.PathLike[str],
    *,
    target: float | str | None = None,
    incoming: Sites | None = None,
    profile: Sites | None = None,
    bounds: Mapping[str, str] | None = None,
    neighbour: float | str | None = None,
    least_rate: float | str | None = None,
    most_time: float | str | None = None,
    keep: Iterable[str] = (),
) -> Tuned:
    """Solve for zone pressures, ring pressure and time of each step, for an incoming wafer and a thickness to be left.

    Parameters
    ----------
    setup
        A loaded setup, or the path of its file; where the search starts.
    target
        Mean thickness of all films together to be left inside the edge exclusion [m], or text as ``"550 nm"``.
    incoming
        Measured sites of the film on top (`read_sites`, or their file); the setup's own film unless given.
    profile
        Thickness wanted over the wafer, as sites; its own mean where no ``target`` is given, else moved to that.
    bounds
        Range by what is bound: ``zone_pressure``, ``ring_pressure``, ``time``, or a path of a setup, to text as
        ``"1..6 psi"``; the usual range of the key unless given.
    neighbour
        Largest step between neighbouring zones [Pa], or text.
    least_rate
        Least mean removal rate over the recipe [m/s], or text.
    most_time
        Most time for all steps together [s], or text.
    keep
        Paths of steps, pressures and times that stay as they are.

    Returns
    -------
    Tuned
        Verified by ``planish.polish``; never less even than the setup's own pressures polished to the target.

    Raises
    ------
    SetupError
        Where the limits leave no settings, or none that meet the target: with the limits that stop it.
    DataError
        For sites or a target that cannot be.
    """
    setup = as_setup(setup)
    rig, notes = _with_incoming(setup.rig, incoming)
    before = polish(rig)
    start = Settings(
        np.stack([step.zone_pressures for step in rig.steps]),
        np.array([step.ring_pressure for step in rig.steps]),
        np.array([step.duration for step in before.steps]),
    )
    goal, said = _goal(before, target, profile)
    cap, words = _longest(before, goal, most_time, least_rate)
    course = Course(rig)
    options: _Options = {
        "bounds": bounds or {},
        "keep": list(keep),
        "neighbour": None
        if neighbour is None
        else _positive(neighbour, "pressure", "--neighbour", "1.5 psi"),
    }
    freedom = Freedom(setup, start, **options, most_time=cap, time_words=words)
    search = Search(course, freedom, goal)
    begin = search.start(course.run(start))
    if begin is None:
        raise SetupError(_no_room(freedom, words))
    if cap is None and not any(key.endswith("time") for key in options["bounds"]):
        own = float(begin.settings.time.sum()) + ROUNDED_S * start.time.size
        words = "no longer than with the setup's own pressures (--most-time says otherwise):"
        freedom = Freedom(setup, start, **options, most_time=own, time_words=words)
        search = Search(course, freedom, goal)
        notes.append(
            "the recipe takes no longer than with the setup's own pressures; --most-time says otherwise"
        )
    found = search.improve(begin)
    if abs(found.gap) > MET_NM:
        raise SetupError(_not_met(found, freedom, before.mean(goal)))
    settled = freedom.rounded(found.run.settings)
    changes = _changes(setup, rig, start, settled, freedom)
    after = polish(_tuned_rig(setup, rig, changes))
    return Tuned(
        setup=setup,
        settled=tuple(changes.items()),
        before=before,
        after=after,
        goal=goal,
        bounds=_binding(found, freedom),
        programs=found.programs,
        runs=found.runs + 2,
        said=(*notes, *said, *freedom.notes, *_timed(rig), *_thinner(before, after)),
    )


def _with_incoming(rig: Rig, incoming: Sites | None) -> tuple[Rig, list[str]]:
    """Return the setup with measured sites as the film on top."""
    if incoming is None:
        return rig, ["no incoming sites given: the setup's own films are tuned for"]
    sites = _sites(incoming, rig, "incoming")
    film: Film = rig.wafer.films[0]
    films = (
        replace(
            film, sites=(sites.x, sites.y, sites.value), profile=None, thickness=float(np.mean(sites.value))
        ),
        *rig.wafer.films[1:],
    )
    below = f"; the {len(films) - 1} films below it are the setup's" if len(films) > 1 else ""
    return replace(rig, wafer=replace(rig.wafer, films=films)), [
        f"incoming: {sites.source} is the film on top, {film.name}{below}"
    ]


def _sites(given: Sites, rig: Rig, what: str) -> SiteMap:
    sites = given if isinstance(given, SiteMap) else read_sites(given)
    if sites.quantity != "thickness":
        raise DataError(refuse(f"{sites.source}: {what} sites", sites.quantity, "of a thickness"))
    ours, farthest = rig.wafer.radius, float(np.max(sites.r))
    if farthest > 1.01 * ours:
        raise DataError(
            f"{sites.source}: a site {1e3 * farthest:.4g} mm from the centre: must lie on the setup's wafer of "
            f"{2e3 * ours:g} mm"
        )
    if float(np.min(sites.value)) <= 0:
        raise DataError(refuse(f"{sites.source}: {what} thickness", "0 or less", "above 0 at every site"))
    return sites


def _goal(before: WaferResult, target: float | str | None, profile: Sites | None) -> tuple[Array, list[str]]:
    """Return the thickness to be left over the radius [m], and what is to be said of it."""
    if target is None and profile is None:
        raise DataError(
            "target: not given: must be a thickness to be left, as --target '550 nm', or a --profile"
        )
    wanted = None if target is None else _positive(target, "thickness", "target", "550 nm")
    coming = before.mean(before.incoming.sum(axis=0))
    notes: list[str] = []
    if profile is None:
        assert wanted is not None
        goal = np.full(before.radius.size, wanted)
    else:
        sites = _sites(profile, before.rig, "profile")
        film = replace(
            before.rig.wafer.films[0], sites=(sites.x, sites.y, sites.value), profile=None, thickness=0.0
        )
        goal = mean_profile(film, before.radius)
        if wanted is not None:
            goal = goal + (wanted - before.mean(goal))
            notes.append(f"profile: moved by its mean to the target of {1e9 * wanted:.6g} nm")
    mean = before.mean(goal)
    if mean >= coming:
        raise DataError(
            f"target = {1e9 * mean:.6g} nm: must be less than the {1e9 * coming:.6g} nm that come in, as polishing only takes away "
            "(all films count together)"
        )
    if float(goal.min()) <= 0:
        raise DataError(
            refuse("target profile", f"{1e9 * float(goal.min()):.4g} nm", "above 0 all over the wafer")
        )
    if len(before.films) > 1:
        notes.append("target: what is left of all films together")
    return goal, notes


def _longest(
    before: WaferResult, goal: Array, most_time: float | str | None, least_rate: float | str | None
) -> tuple[float | None, str]:
    """Return the most time for all steps [s], and which option says so."""
    cap, words = None, ""
    if most_time is not None:
        cap, words = _positive(most_time, "time", "--most-time", "90 s"), "--most-time:"
    if least_rate is not None:
        rate = _positive(least_rate, "rate", "--least-rate", "200 nm/min")
        removed = before.mean(before.incoming.sum(axis=0) - goal)
        if cap is None or removed / rate < cap:
            cap, words = removed / rate, "--least-rate:"
    return cap, words


def _positive(value: float | str, dimension: str, place: str, example: str) -> float:
    try:
        found = units.to_si(value, dimension) if isinstance(value, str) else float(value)
    except units.UnitError as error:
        raise SetupError(refuse(place, value, error.allowed, error.remedy or f"as {example!r}")) from None
    if not (np.isfinite(found) and found > 0):
        raise SetupError(refuse(place, value, "above 0", f"as {example!r}"))
    return found


def _no_room(freedom: Freedom, words: str) -> str:
    named = [limit for limit in freedom.rows.limits if limit.words.startswith(("bound of", "step between"))]
    told = "; ".join(limit.told for limit in named[:4])
    if words:
        told = f"{freedom.rows.limits[-1].told}; {told}" if told else freedom.rows.limits[-1].told
    return f"limits: no settings keep all of them ({told}): must leave some (widen one, or keep less)"


def _not_met(found: Found, freedom: Freedom, mean: float) -> str:
    """Return why the target cannot be met, and what would help."""
    worth = [
        (float(price), limit)
        for price, limit, tight in zip(found.prices, freedom.rows.limits, found.tight, strict=True)
        if tight and price > 1e-6
    ]
    worth.sort(key=lambda each: -each[0])
    told = "; ".join(limit.told for _, limit in worth[:3]) or "what is kept"
    side = "more than" if found.gap > 0 else "less than"
    return (
        f"target = {1e9 * mean:.6g} nm: cannot be met within the limits: at best {1e9 * mean + found.gap:.6g} nm are left, "
        f"{side} wanted; must be within reach (stopped by {told}: widen that, or set another target)"
    )


def _changes(setup: Setup, rig: Rig, start: Settings, settled: Settings, freedom: Freedom) -> Changes:
    """Return the changes from the setup to the settings; a step that stopped on an amount then stops on a time."""
    changes: Changes = {}
    for index, step in enumerate(rig.steps):
        base = freedom.place(index, settled.zones.shape[1] + 1).rsplit(".", 1)[0]
        if not np.array_equal(settled.zones[index], start.zones[index]):
            texts = [quantity_text(float(p), "pressure") for p in settled.zones[index]]
            changes[f"{base}.zone_pressures"] = texts[0] if len(set(texts)) == 1 else texts
        if settled.ring[index] != start.ring[index]:
            changes[f"{base}.ring_pressure"] = quantity_text(float(settled.ring[index]), "pressure")
        if settled.time[index] != start.time[index] or step.stop != "time":
            changes[f"{base}.time"] = quantity_text(float(settled.time[index]), "time")
        if step.stop != "time":
            for key in ("stop_on_removed", "stop_on_remaining", "max_time"):
                if setup.model.recipe.step[index].model_dump().get(key) is not None:
                    changes[f"{base}.{key}"] = None
    return changes


def _tuned_rig(setup: Setup, rig: Rig, changes: Changes) -> Rig:
    """Return the tuned setup's records, with the incoming film."""
    tuned = setup.replace(changes).rig
    return replace(tuned, wafer=rig.wafer)


def _binding(found: Found, freedom: Freedom) -> tuple[Bound, ...]:
    """Return the limits that hold, the dearest first."""
    rows, made = freedom.rows, []
    for price, limit, tight in zip(found.prices, rows.limits, found.tight, strict=True):
        # a row is in SI: the settings' scales are in its coefficients, not in its right-hand side
        per_si = float(price) * NM
        worth = per_si * units.to_si("1 psi" if limit.dimension == "pressure" else "1 s", limit.dimension)
        if tight and worth > _WORTH:
            made.append((worth, Bound(limit, per_si)))
    made.sort(key=lambda each: -each[0])
    return tuple(bound for _, bound in made)


def _timed(rig: Rig) -> list[str]:
    names = [step.name for step in rig.steps if step.stop != "time"]
    if not names:
        return []
    return [f"step {', '.join(names)}: stopped on an amount; the tuned setup stops it on a time instead"]


def _thinner(before: WaferResult, after: WaferResult) -> list[str]:
    """Say where the wafer is less even in percent only because less is left."""
    stacks = [wafer.remaining.sum(axis=0) for wafer in (before, after)]
    shares = [
        wafer.sigma(left) / wafer.mean(left)
        for wafer, left in zip((before, after), stacks, strict=True)
        if wafer.mean(left) > 0
    ]
    if len(shares) == 2 and shares[1] > shares[0]:
        return ["before, another thickness was left: it is compared with what is left at the target"]
    return []
