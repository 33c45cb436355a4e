"""One predicted wafer: invariants, stops, films, grids, files."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

import planish
from planish.errors import DataError
from planish.physics.slurry.delivery import balanced_fresh, balanced_fresh_linear
from planish.predict.wafer.polish import polish
from planish.setup.load import loads
from planish.setup.new import new_setup

if TYPE_CHECKING:
    from pathlib import Path

    from planish.setup.models import Setup

MOTIONS = ("rotary", "linear", "orbital")


@pytest.fixture(scope="module")
def setups() -> dict[str, Setup]:
    return {motion: loads(new_setup(motion)) for motion in MOTIONS}


@pytest.mark.parametrize("motion", MOTIONS)
def test_forces_balance_and_removed_plus_remaining_is_incoming(setups: dict[str, Setup], motion: str) -> None:
    result = polish(setups[motion])
    assert max(step.balance_error for step in result.steps) < 1e-9
    np.testing.assert_allclose(
        result.removed + result.remaining.sum(axis=0), result.incoming.sum(axis=0), rtol=1e-12
    )
    np.testing.assert_allclose(sum(step.removed for step in result.steps), result.removed, rtol=1e-9)
    assert np.all(result.removed > 0)


@pytest.mark.parametrize("motion", MOTIONS)
def test_pressure_is_settled_on_the_default_grid(setups: dict[str, Setup], motion: str) -> None:
    """Doubling the cells moves p / mean p by at most 0.005 beyond 0.5 mm from the edge."""
    rig = setups[motion].rig
    coarse, fine = polish(rig), polish(rig, cells=240)
    away = coarse.radius <= rig.wafer.radius - 0.5e-3
    for one, other in zip(coarse.steps, fine.steps, strict=True):
        mean = coarse.mean(one.pressure)
        there = np.interp(coarse.radius[away], fine.radius, other.pressure)
        assert np.max(np.abs(one.pressure[away] - there)) / mean <= 0.005


def test_stops_meet_their_target(setups: dict[str, Setup]) -> None:
    rig = setups["rotary"].rig
    step = replace(rig.steps[1], stop="removed", stop_value=200e-9, max_time=300.0)
    result = polish(replace(rig, steps=(step,)))
    assert result.mean(result.removed) == pytest.approx(200e-9, rel=1e-3)
    assert result.steps[0].stopped_by == "removed amount"
    step = replace(step, stop="remaining", stop_value=700e-9)
    result = polish(replace(rig, steps=(step,)))
    assert result.mean(result.remaining.sum(axis=0)) == pytest.approx(700e-9, rel=1e-3)


def test_a_stop_that_is_not_met_is_said(setups: dict[str, Setup]) -> None:
    rig = setups["rotary"].rig
    step = replace(rig.steps[1], stop="removed", stop_value=900e-9, max_time=5.0)
    result = polish(replace(rig, steps=(step,)))
    assert result.time == pytest.approx(5.0)
    assert any("max_time" in note for note in result.notes)


def at_stated_stiffness(rig):
    """The rig with a pad that does not soften where it is warmer."""
    layers = tuple(replace(layer, softening=0.0) for layer in rig.pad.layers)
    return replace(rig, pad=replace(rig.pad, layers=layers))


def test_more_time_more_removed_in_proportion_without_heat(setups: dict[str, Setup]) -> None:
    rig = setups["linear"].rig
    rig = at_stated_stiffness(rig)
    law = {key: replace(value, activation_energy=0.0) for key, value in rig.removal.items()}
    once, twice = (
        polish(replace(rig, removal=law, steps=(replace(rig.steps[1], stop="time", stop_value=t),)))
        for t in (20.0, 40.0)
    )
    np.testing.assert_allclose(twice.removed, 2 * once.removed, rtol=1e-9)


def test_every_factor_is_one_at_the_reference_condition(setups: dict[str, Setup]) -> None:
    """At the pressure and speed of the removal law, with its own temperature and fresh share, the rate is k_p p v."""
    rig = at_stated_stiffness(setups["rotary"].rig)
    law = rig.removal[rig.wafer.films[0].material]
    result = polish(rig)
    step = result.steps[1]
    reference = replace(
        law.reference,
        temperature=float(step.temperatures[-1]),
        fresh_fraction=step.fresh_fraction,
        real_pressure=step.real_pressure,
    )
    again = polish(
        replace(rig, removal={law.material: replace(law, reference=reference, activation_energy=0.0)})
    )
    # the fresh share itself moves a little when the law does: take it as found
    found = again.steps[1]
    expected = law.coefficients["k_p"] * found.pressure * found.speed
    ratio = found.rate / expected
    middle = result.radius < 0.12
    assert np.ptp(ratio[middle]) < 2e-3
    assert ratio[middle].mean() == pytest.approx(1.0, abs=0.05)


def test_measured_sites_give_a_map_that_is_not_round(setups: dict[str, Setup], tmp_path: Path) -> None:
    rig = setups["rotary"].rig
    angle, ring = np.meshgrid(np.arange(12) * np.pi / 6, [0.02, 0.06, 0.1, 0.145])
    x, y = (ring * np.cos(angle)).ravel(), (ring * np.sin(angle)).ravel()
    thick = 1e-6 * (1 + 0.05 * x / 0.15)
    film = replace(rig.wafer.films[0], sites=(x, y, thick), profile=None)
    result = polish(replace(rig, wafer=replace(rig.wafer, films=(film,))))
    maps = result.maps(61)
    row = maps.remaining[0][30]
    assert row[-6] - row[5] == pytest.approx(2 * 0.05e-6 * maps.x[-6] / 0.15, rel=0.03)
    assert any("nothing given beyond" in note for note in result.notes)


def test_a_result_file_gives_back_the_same_numbers(setups: dict[str, Setup], tmp_path: Path) -> None:
    result = polish(setups["orbital"])
    path = result.save(tmp_path / "wafer.nc")
    again = planish.open_result(path)
    np.testing.assert_array_equal(again.data["removed"].values, result.removed)
    assert again.data["removed"].attrs["units"] == "m"
    assert again.summary()["time_s"] == result.summary()["time_s"]
    assert again.sources() == result.sources()
    (tmp_path / "other.nc").write_bytes(b"not a result at all")
    with pytest.raises(DataError, match=r"other\.nc"):
        planish.open_result(tmp_path / "other.nc")


def test_the_same_setup_gives_the_same_numbers(setups: dict[str, Setup]) -> None:
    first, second = polish(setups["rotary"]).removed, polish(loads(new_setup("rotary"))).removed
    np.testing.assert_allclose(first, second, rtol=1e-13)


@pytest.mark.parametrize(
    ("spent", "reference"), [(0.0, 0.7), (0.3, 0.7), (5.0, 0.5), (300.0, 1.0), (1e9, 0.7)]
)
@pytest.mark.parametrize("chemical", [0.0, 0.4, 1.0])
def test_fresh_share_balances(spent: float, reference: float, chemical: float) -> None:
    """The two equations that it joins, for a film that goes in part whatever the slurry's freshness."""

    def used(fresh: float) -> float:
        factor = fresh * (reference + 0.25) / (reference * (fresh + 0.25))
        return spent * (1 - chemical + chemical * factor)

    fresh = balanced_fresh(used)
    assert fresh == pytest.approx(1 / (1 + used(fresh)), rel=1e-10)
    growing = spent * chemical * (reference + 0.25) / reference
    assert balanced_fresh_linear(spent * (1 - chemical), growing, 0.25) == pytest.approx(fresh, rel=1e-13)
    assert balanced_fresh(lambda fresh: float("inf")) == balanced_fresh_linear(0.0, float("inf"), 0.25) == 0.0
