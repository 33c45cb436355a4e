"""What the trade says of one wafer, as behaviour that comes out of the model: common practice, no source.

Each saying is tested where it holds; where the model shows a regime in which it does not, that is tested too.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from planish.predict.lot.pad_rings import pad_rings
from planish.predict.wafer.conditions import contact_pressure
from planish.predict.wafer.contact_model import prepare
from planish.predict.wafer.pad_surface import FreshSummits, PadState, fresh_state
from planish.predict.wafer.polish import polish
from planish.setup.load import loads
from planish.setup.new import new_setup

if TYPE_CHECKING:
    from planish.setup.si import Rig


@pytest.fixture(scope="module")
def rig() -> Rig:
    return loads(new_setup("rotary")).rig


def with_ring(rig: Rig, factor: float) -> Rig:
    steps = tuple(replace(s, ring_pressure=factor * float(s.zone_pressures.mean())) for s in rig.steps)
    return replace(rig, steps=steps)


def with_sub_pad(rig: Rig, factor: float) -> Rig:
    *upper, sub = rig.pad.layers
    softer = replace(sub, modulus=factor * sub.modulus)
    return replace(rig, pad=replace(rig.pad, layers=(*upper, softer)))


def test_ring_pressure_moves_the_edge(rig: Rig) -> None:
    """A light ring leaves the last millimetre fast with a trough inside it; a heavy one a crest at 3-5 mm."""
    extremes = []
    for factor in (0.5, 1.0, 1.5, 2.0, 3.0):
        result = polish(with_ring(rig, factor))
        extremes.append(result.edge()["edge_extreme_percent"])
        rim, near = result.removed[-1], np.interp(0.1455, result.radius, result.removed)
        if factor == 0.5:
            assert rim > near  # the rim itself is fast ...
            assert extremes[-1] < 0  # ... beside a trough
        if factor == 3.0:
            assert rim < near
            assert 3.0 <= result.edge()["edge_extreme_from_edge_mm"] <= 6.0
    assert extremes[0] < -2 < 2 < extremes[-1]
    assert extremes == sorted(extremes)


@pytest.mark.parametrize("wavelength", [0.02, 0.05, 0.15])
def test_a_softer_stack_evens_out_an_uneven_pad(rig: Rig, wavelength: float) -> None:
    """2 um of unevenness at scales of 20 to 150 mm: the pressure it makes grows with the sub-pad's stiffness."""
    spread = []
    for factor in (0.1, 1.0, 10.0):
        own = with_sub_pad(rig, factor)
        model = prepare(own)
        state = fresh_state(own, model.summits, pad_rings(own, model.grid).middles.size)
        even = contact_pressure(own, own.steps[1], model, state).pressure
        state.height = 2e-6 * np.cos(2 * np.pi * model.grid.r / wavelength)
        uneven = contact_pressure(own, own.steps[1], model, state).pressure
        middle = model.grid.r < 0.14
        spread.append(float(np.std((uneven - even)[middle])))
    assert spread == sorted(spread)


def test_a_softer_stack_does_not_even_the_edge(rig: Rig) -> None:
    """The saying's limit: at the rim a soft sub-pad lets ring and wafer sink apart, and the edge is less even."""
    heavy = with_ring(rig, 3.0)
    assert abs(polish(with_sub_pad(heavy, 0.25)).edge()["edge_extreme_percent"] or 0) > abs(
        polish(with_sub_pad(heavy, 4.0)).edge()["edge_extreme_percent"] or 0
    )


SUB_PADS = (0.25, 0.4, 0.6, 1.0, 1.6, 2.5, 6.0)  # of the part's modulus
UNEVEN = {
    "bow of the wafer": (
        lambda rig, size: replace(rig, wafer=replace(rig.wafer, bow=size)),
        (0.0, 30e-6, 60e-6, 120e-6),
    ),
    "platen of eight rings under a membrane": (
        lambda rig, size: replace(rig, polisher=replace(rig.polisher, flatness=size, flatness_waves=8.0)),
        (0.0, 5e-6, 10e-6, 40e-6),
    ),
    "pad of uneven thickness under a membrane": (
        lambda rig, size: replace(rig, pad=replace(rig.pad, thickness_variation=size, thickness_waves=12.0)),
        (0.0, 20e-6, 40e-6, 120e-6),
    ),
    "domed platen under a rigid head": (
        lambda rig, size: replace(
            rig, polisher=replace(rig.polisher, flatness=size), head=replace(rig.head, back_film=2e9)
        ),
        (0.0, 1e-6, 2e-6, 5e-6),
    ),
}


@pytest.mark.parametrize("what", UNEVEN)
def test_the_best_sub_pad_is_softer_the_less_flat_things_are(rig: Rig, what: str) -> None:
    """A softer stack evens the wafer where something is uneven; where all is flat the stiff one does."""
    made, sizes = UNEVEN[what]
    best = []
    for size in sizes:
        spread = []
        for factor in SUB_PADS:
            result = polish(with_sub_pad(made(rig, size), factor), cells=64)
            spread.append(result.summary()["wiwnu_sigma_percent"])
        best.append(SUB_PADS[int(np.argmin(spread))])
        if size == 0.0:
            assert spread[0] > 2 * spread[-1]
    assert best == sorted(best, reverse=True)
    assert best[0] >= 1.6
    assert best[-1] < 1.0


def test_long_waves_pass_a_membrane_by(rig: Rig) -> None:
    """The limit of the saying: a dome of the platen bends the wafer with it, and no sub-pad is needed for it."""
    domed = replace(rig, polisher=replace(rig.polisher, flatness=20e-6))
    flat, under = (polish(each).summary()["wiwnu_sigma_percent"] for each in (rig, domed))
    assert under == pytest.approx(flat, rel=0.02)
    rigid = replace(domed, head=replace(rig.head, back_film=2e9))
    assert polish(rigid).summary()["wiwnu_sigma_percent"] > 4 * flat


def test_a_wafer_pressed_against_its_ring_is_as_even_over_a_turn(rig: Rig) -> None:
    """The gap goes from nothing to twice its width; the mean over a turn is that of the gap in the middle."""
    ring, step = rig.head.ring, rig.steps[1]
    assert ring is not None

    def pressure(gap: float) -> np.ndarray:
        moved = replace(ring, gap=gap, width=ring.gap + ring.width - gap)
        own = replace(rig, head=replace(rig.head, ring=moved))
        model = prepare(own)
        state = PadState(FreshSummits(model.summits), own.pad.grooves.depth, np.empty(0))
        return contact_pressure(own, step, model, state).pressure / step.zone_pressures.mean()

    centred = pressure(ring.gap)
    turned = np.mean([pressure(ring.gap * (1 - np.cos((k + 0.5) * np.pi / 8))) for k in range(8)], axis=0)
    middle = prepare(rig).grid.r < rig.wafer.radius - 0.2e-3
    assert np.abs(pressure(2 * ring.gap) - centred)[middle].max() > 0.04
    assert np.abs(turned - centred)[middle].max() < 1e-3


def test_equal_speeds_slide_evenly_and_unequal_ones_do_not(rig: Rig) -> None:
    def spread(carrier: float) -> float:
        step = rig.steps[1]
        result = polish(replace(rig, steps=(replace(step, carrier_speed=carrier * step.platen_speed),)))
        return float(np.ptp(result.steps[0].speed) / result.steps[0].speed.mean())

    assert spread(1.0) < 1e-12
    assert spread(1.0) < spread(0.9) < spread(0.5) < spread(0.0)


def test_a_harder_pad_is_faster(rig: Rig) -> None:
    """Stiffer summits press harder where they touch (fewer, harder contacts), so the rate rises."""

    def rate(factor: float) -> float:
        surface = replace(rig.pad.surface, modulus=factor * rig.pad.surface.modulus)
        result = polish(replace(rig, pad=replace(rig.pad, surface=surface)))
        return result.mean(result.rate)

    assert rate(0.5) < rate(1.0) < rate(2.0)


def test_more_flow_refreshes_until_it_no_longer_helps(rig: Rig) -> None:
    def rate(factor: float) -> float:
        steps = tuple(replace(s, flow=factor * s.flow, stop="time", stop_value=30.0) for s in rig.steps)
        result = polish(replace(rig, steps=steps))
        return result.mean(result.rate)

    starved, usual, rich, richer = (rate(f) for f in (0.1, 1.0, 4.0, 8.0))
    assert starved < 0.8 * usual
    assert abs(richer / rich - 1) < abs(rich / usual - 1) < abs(usual / starved - 1)
