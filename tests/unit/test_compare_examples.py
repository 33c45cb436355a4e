"""Every two of the shipped setups compare, and the three doors give the same answer."""

from __future__ import annotations

import itertools
import json
import math
import pickle
from pathlib import Path

import pytest
from typer.testing import CliRunner

import planish
from planish.cli.main import app
from planish.explain.comparison.attribution import compare
from planish.explain.comparison.mixing import differing, mixed
from planish.explain.comparison.ties import tied_groups
from planish.predict.wafer.polish import polish
from planish.setup.checks.machine import HAIR
from planish.setup.given import as_rig
from planish.web import answers

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
SETUPS = {path.stem: planish.load(path) for path in sorted(EXAMPLES.glob("*.toml"))}
PAIRS = list(itertools.permutations(SETUPS, 2))
OUTCOMES = ["mean_removal_rate_nm_per_min", "wiwnu_sigma_percent", "edge_extreme_percent", "time_s"]
NAMED = [argument for key in OUTCOMES for argument in ("--outcome", key)]


_POLISHED: dict[bytes, object] = {}


@pytest.fixture
def each_wafer_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """The three doors ask for the same setups, number for number: each is polished once."""

    def kept(setup):
        rig = as_rig(setup)
        key = pickle.dumps(rig)
        if key not in _POLISHED:
            _POLISHED[key] = polish(rig)
        return _POLISHED[key]

    monkeypatch.setattr("planish.predict.wafer.polish.polish", kept)


def test_all_eight_are_here() -> None:
    assert len(SETUPS) == 8
    assert len(PAIRS) == 56


@pytest.mark.parametrize(("a", "b"), PAIRS, ids=[f"{a}-{b}" for a, b in PAIRS])
def test_two_shipped_setups_compare_alike_by_every_door(a: str, b: str, each_wafer_once: None) -> None:
    found = compare(SETUPS[a], SETUPS[b], OUTCOMES).document()
    for key in OUTCOMES:
        difference = found["b"][key] - found["a"][key]
        assert found["difference"][key] == difference
        assert math.fsum(found["shares"][key].values()) == pytest.approx(difference, rel=1e-9, abs=1e-9)
    assert found["unshared"] == {}
    # The ends are the setups themselves, not something made of both.
    for side, name in (("a", a), ("b", b)):
        own = polish(SETUPS[name]).summary()
        assert {key: found[side][key] for key in OUTCOMES} == {key: own[key] for key in OUTCOMES}
    told = CliRunner().invoke(
        app, ["compare", str(EXAMPLES / f"{a}.toml"), str(EXAMPLES / f"{b}.toml"), "--json", *NAMED]
    )
    assert told.exit_code == 0, told.output
    page = answers.compare(SETUPS[a].document, SETUPS[b].document, OUTCOMES)
    for other in (json.loads(told.stdout), json.loads(json.dumps(page))):
        assert other["shares"].keys() == found["shares"].keys()
        for key in OUTCOMES:
            for part in ("a", "b", "difference"):
                assert other[part][key] == pytest.approx(found[part][key], rel=1e-12, abs=1e-12)
            assert other["shares"][key] == pytest.approx(found["shares"][key], rel=1e-12, abs=1e-12)
        assert other["sentences"] == found["sentences"]
        assert other["notes"] == found["notes"]


@pytest.mark.parametrize(("a", "b"), PAIRS, ids=[f"{a}-{b}" for a, b in PAIRS])
def test_what_is_swapped_alone_makes_setups_that_fit(a: str, b: str) -> None:
    """Each setup between the two passes what `planish check` asks for, said again here in SI."""
    one, other = SETUPS[a].rig, SETUPS[b].rig
    groups = tied_groups(one, other, differing(one, other))
    assert sorted(name for group in groups for name in group.members) == sorted(differing(one, other))
    for size in range(len(groups) + 1):
        for some in itertools.combinations(groups, size):
            made = mixed(one, other, frozenset(name for group in some for name in group.members))
            reach = made.head.zone_outer_radii[-1]
            assert all(film.material in made.removal for film in made.wafer.films)
            assert reach == pytest.approx(made.wafer.radius, abs=1e-6)
            ring = 0.0 if made.head.ring is None else made.head.ring.gap + made.head.ring.width
            machine, disk = made.polisher, made.conditioner
            pad, off = machine.pad_edge, machine.distance + machine.swing
            assert off + reach + ring <= pad + HAIR
            assert disk is None or disk.sweep.outer <= pad + HAIR
            for step in made.steps:
                assert step.zone_pressures.size == made.head.zone_outer_radii.size
                speeds = (step.platen_speed, step.belt_speed, step.orbit_speed)
                assert [bool(v) for v in speeds] == [
                    machine.motion == motion for motion in ("rotary", "linear", "orbital")
                ]
                assert step.stop != "remaining" or step.stop_value < made.wafer.films[0].thickness
    # With every group from B, it is B.
    assert differing(mixed(one, other, frozenset(differing(one, other))), other) == []
