"""Wafer after wafer on one pad: glazing and renewal, wear, dulling, heat and chance, until something ends it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING

from planish.engine.given import of_kind
from planish.errors import ModelError, refuse
from planish.physics import cleaning, scratches
from planish.physics.motion import speed, sweep
from planish.physics.pressure import series as contact_series
from planish.physics.removal import laws as removal
from planish.physics.slurry import delivery, film, heat
from planish.physics.surface import asperities, grit, summit_balance
from planish.physics.surface import conditioning as disk_physics
from planish.predict.cleaning import cleaned_after, cleaning_notes
from planish.predict.lot import variation as lot_variation
from planish.predict.lot.advance import advance
from planish.predict.lot.events import EventLike, read_events
from planish.predict.lot.plan import HANDLING_TIME, plan_lot
from planish.predict.lot.result import Limits, LotResult
from planish.predict.lot.row import empty_records
from planish.predict.lot.state import first_state
from planish.predict.lot.variation import Variation, draw
from planish.predict.raised import lot_notes
from planish.predict.wafer import conditions, uneven
from planish.predict.wafer.contact_model import CELLS
from planish.predict.wafer.pad_surface import FreshSummits
from planish.results.plain import unique
from planish.setup.given import as_described, as_rig, asked_of
from planish.units import as_si, as_whole

if TYPE_CHECKING:
    from planish.predict.lot.plan import LotPlan
    from planish.setup.given import SetupLike
    from planish.setup.si import Rig

MODULES = (
    speed,
    asperities,
    summit_balance,
    disk_physics,
    grit,
    sweep,
    contact_series,
    removal,
    delivery,
    film,
    heat,
    scratches,
    conditions,
    lot_variation,
)
MOST_WAFERS = 100_000
SAME_ON_ALL = (
    "cleaning leaves the same share on every wafer of a lot: no brush wears and no liquid gets dirty here"
)


def polish_lot(
    setup: SetupLike,
    wafers: int = 200,
    seed: int = 0,
    *,
    conditioning: bool = True,
    events: Iterable[EventLike] = (),
    adjust: str = "fixed",
    variation: Variation | None = None,
    limits: Limits | None = None,
    handling_time: float | str = HANDLING_TIME,
    workers: int = 1,
    progress: Callable[[int, int], None] | None = None,
    cells: int = CELLS,
) -> LotResult:
    """Polish ``wafers`` wafers one after the other on one pad.

    Parameters
    ----------
    setup
        A loaded setup, its SI records, or the path of a setup file.
    wafers, seed
        How many, and the seed of everything that varies by chance.
    conditioning
        False switches all conditioning off: in situ, between wafers and events.
    events
        What happens between wafers, see :func:`planish.predict.lot.events.read_events`.
    adjust
        "fixed": the recipe as written (steps that stop on an amount stop there).
        "run-to-run": after the first wafer every step is timed, and the longest one is adjusted
        from the measured removal by an exponentially weighted average of the rate (weight 0.3), up to
        its own ``max_time`` (a timed one: ten times its time).
    variation
        Spreads of what varies by chance; ``Variation.none()`` for none.
    limits
        When the pad or disk counts as used up.
    handling_time
        Between wafers [s], or text as ``"30 s"``; the pad cools meanwhile.
    workers
        Threads that build the pad's elastic operators. The wafers follow one another, so
        the numbers are the same for any number.
    progress
        Called now and then with (wafers done, wafers in all).
    cells
        Wafer nodes of the pressure solution.

    Raises
    ------
    ModelError
        For arguments that make no sense or values without a solution, and where the pad is worn
        through before the lot ends.
    """
    described = as_described(setup)
    rig = as_rig(described)
    handling_time = as_si(handling_time, "time", "handling_time")
    _check(wafers, adjust, handling_time, workers)
    of_kind(conditioning, bool, "conditioning", "True or False")
    if variation is not None:
        of_kind(variation, Variation, "variation", "a Variation record (Variation.none() for none)")
    if limits is not None:
        of_kind(limits, Limits, "limits", "a Limits record")
    happenings = read_events(events, wafers)
    draws = draw(Variation() if variation is None else variation, wafers, seed)
    plan = plan_lot(
        rig,
        wafers,
        conditioning=conditioning,
        adjust=adjust == "run-to-run",
        events=happenings,
        handling_time=handling_time,
        workers=workers,
        cells=cells,
    )
    cleaned = cleaned_after(rig)
    modules = [*MODULES, *([uneven] if uneven.says_uneven(rig) else []), *([cleaning] if cleaned else [])]
    grid, rings = plan.model.grid, plan.rings
    records = empty_records(wafers, grid.r.size, rings.middles.size, len(rig.steps))
    state = first_state(plan)
    for wafer in range(wafers):
        state, row = advance(state, plan, draws.of(wafer))
        records.put(wafer, row)
        if progress is not None and (wafer % 50 == 49 or wafer + 1 == wafers):
            progress(wafer + 1, wafers)
    options: dict[str, object] = {
        "wafers": wafers,
        "conditioning": conditioning,
        "events": happenings,
        "adjust": adjust,
        "variation": variation,
        "limits": limits,
        "handling_time": handling_time,
        "cells": cells,
    }
    return LotResult(
        rig=rig,
        seed=seed,
        adjust=adjust,
        conditioning=conditioning and rig.conditioner is not None,
        events=happenings,
        limits=limits or Limits(),
        radius=grid.r,
        areas=grid.areas,
        ring_middles=rings.middles,
        under=plan.under,
        records=records,
        summit_edges=plan.summits.edges,
        summit_fresh=plan.summits.fresh,
        summit_last=plan.summits.groups.track @ state.pad.probability,
        cut_rate=plan.ex_situ_cut,
        said=tuple(
            unique(
                [
                    *_timed_instead(rig, plan.adjust),
                    *_swings(rig, plan),
                    *cleaning_notes(cleaned),
                    *([SAME_ON_ALL] if cleaned else []),
                    *lot_notes(rig, records.seen(rig, grid.r, grid.areas)),
                    *state.said,
                ]
            )
        ),
        rests_on=tuple(unique([*rig.sources, *(line for module in modules for line in module.SOURCES)])),
        asked=asked_of([described], seed=seed, options=options),
        cleaned=cleaned,
    )


def _swings(rig: Rig, plan: LotPlan) -> list[str]:
    """Say how far the pressure swings on the new pad as it turns past, where it does."""
    fresh, depth = FreshSummits(plan.model.summits), rig.pad.grooves.depth
    found = ((step.name, uneven.swing_rms(rig, step, plan.model, fresh, depth)) for step in rig.steps)
    return [uneven.swing_note(name, rms) for name, rms in found if rms >= uneven.LEAST_SWING]


def _timed_instead(rig: Rig, adjust: bool) -> list[str]:
    """Say which end points of the recipe run-to-run adjusting does not use."""
    names = [step.name for step in rig.steps if step.stop != "time"]
    if not adjust or not names:
        return []
    return [
        f"run-to-run: after the first wafer a set time ends {', '.join(names)}; the amount in the recipe is not "
        "looked at"
    ]


def _check(wafers: int, adjust: str, handling_time: float, workers: int) -> None:
    as_whole(wafers, "wafers", 1, MOST_WAFERS)
    if adjust not in ("fixed", "run-to-run"):
        raise ModelError(refuse("adjust", adjust, "'fixed' or 'run-to-run'"))
    if not 0 <= handling_time <= 86400:
        raise ModelError(refuse("handling_time", f"{handling_time:g} s", "0 s to 86400 s"))
    as_whole(workers, "workers", 1, 256)
