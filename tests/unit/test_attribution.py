"""Shapley shares: the axioms, and that they add up for real setups."""

from __future__ import annotations

import numpy as np
import pytest

from planish.errors import ModelError, SetupError
from planish.explain.comparison.attribution import GROUPS, Comparison, compare, differing, shapley
from planish.predict.wafer.polish import polish
from planish.setup.load import loads
from planish.setup.new import new_setup
from planish.setup.si import Rig


def test_glove_game() -> None:
    """One left glove (1), two right gloves (2, 3): worth 1 a pair. Shapley value 2/3, 1/6, 1/6 (textbook example)."""
    value = shapley([1, 2, 3], lambda s: float(1 in s and (2 in s or 3 in s)))
    assert value[1] == pytest.approx(2 / 3)
    assert value[2] == value[3] == pytest.approx(1 / 6)


def test_axioms_on_random_games() -> None:
    rng = np.random.default_rng(7)
    players = list("abcde")
    worth: dict[frozenset[str], float] = {}

    def game(group: frozenset[str]) -> float:
        without_dummy = frozenset(group - {"e"})  # "e" changes nothing
        swapped = frozenset("b" if p == "a" else "a" if p == "b" else p for p in without_dummy)
        key = min(without_dummy, swapped, key=sorted)  # "a" and "b" are alike
        if key not in worth:
            worth[key] = float(rng.normal())
        return worth[key]

    share = shapley(players, game)  # type: ignore[arg-type]
    assert sum(share.values()) == pytest.approx(game(frozenset(players)) - game(frozenset()), abs=1e-12)
    assert share["a"] == pytest.approx(share["b"], abs=1e-12)
    assert share["e"] == 0.0


def test_shares_of_two_real_setups_add_up() -> None:
    a = loads(new_setup("rotary"))
    b = a.replace(
        {
            "recipe.step.2.zone_pressures": ["3.5 psi"] * len(a.rig.head.zone_outer_radii),
            "pad.top.thickness": "1.6 mm",
        }
    )
    found = compare(a, b)
    for outcome, shares in found.shares.items():
        assert sum(shares.values()) == pytest.approx(found.b[outcome] - found.a[outcome], abs=1e-9)
        assert set(shares) == set(GROUPS)
        for untouched in ("polisher", "head", "conditioner", "slurry"):
            assert shares[untouched] == 0.0
    assert found.shares["mean_removal_rate_nm_per_min"]["recipe"] > 0
    assert found.runs == 4


def test_machines_of_different_motion_compare() -> None:
    a, b = loads(new_setup("rotary")), loads(new_setup("linear"))
    found = compare(a, b, ["mean_removal_rate_nm_per_min"])
    shares = found.shares["mean_removal_rate_nm_per_min"]
    assert sum(shares.values()) == pytest.approx(
        found.b["mean_removal_rate_nm_per_min"] - found.a["mean_removal_rate_nm_per_min"], abs=1e-9
    )


def test_an_unknown_outcome_is_refused() -> None:
    a = loads(new_setup("rotary"))
    with pytest.raises(SetupError, match="must be a figure of the summary"):
        compare(a, a, ["beauty"])


def _told(a: float | None, b: float | None, key: str = "edge_extreme_percent", **shares: float) -> str:
    return Comparison({key: a}, {key: b}, (key,), {key: shares}, {}, {}, (), (), 2).sentence(key)


@pytest.mark.parametrize(
    ("said", "a", "b", "key"),
    [
        ("2 points higher: +2 points pad", -5.0, -3.0, "edge_extreme_percent"),
        ("4 points lower: -4 points pad", 1.0, -3.0, "edge_extreme_percent"),
        ("1 points lower: -1 points pad", 3.0, 2.0, "wiwnu_sigma_percent"),
        ("4 °C higher: +4 °C pad", 40.0, 44.0, "peak_temperature_C"),
        ("10 % lower: -10 % pad", 300.0, 270.0, "mean_removal_rate_nm_per_min"),
        ("1e-05 nm/min higher: +1e-05 nm/min pad", 0.0, 1e-5, "mean_removal_rate_nm_per_min"),
        ("100 % lower: -100 % pad", 2.0, 0.0, "mean_removal_rate_nm_per_min"),
    ],
)
def test_sentences_say_the_sign_and_what_it_is_a_share_of(said: str, a: float, b: float, key: str) -> None:
    sentence = _told(a, b, key, pad=b - a, head=0.0)
    assert sentence.endswith(said), sentence
    assert "head" not in sentence


def test_a_difference_of_nothing_is_told_as_such() -> None:
    assert "no difference between A and B" in _told(2.0, 2.0, pad=0.0, head=1e-14)
    told = _told(2.0, 2.0, pad=1.0, head=-1.0)
    assert told.endswith("2 in A, 2 in B, the same: +1 points pad, -1 points head")
    assert "higher" not in told
    assert "lower" not in told


def test_a_figure_that_one_setup_does_not_have_is_said_not_guessed() -> None:
    """Nothing is removed without slurry, so that there is no non-uniformity: A alone has that figure."""
    a = loads(new_setup("rotary"))
    b = a.replace({f"recipe.step.{step}.flow": "0 ml/min" for step in (1, 2, 3)})
    for one, other, said in ((a, b, "none in B"), (b, a, "none in A")):
        found = compare(one, other)
        told = found.document()
        assert told["difference"]["wiwnu_sigma_percent"] is None
        assert "wiwnu_sigma_percent" not in told["shares"]
        assert said in told["sentences"][1]
        assert told["shares"]["mean_removal_rate_nm_per_min"]["recipe"] != 0.0
    both = compare(b, b.replace({"pad.part": "soft-felt"}))
    assert both.differing == ("pad",)
    assert "none in A, none in B" in both.sentence("wiwnu_sigma_percent")


def test_what_lies_between_two_setups_may_have_no_figure() -> None:
    """A and B both polish; A's recipe on the wafer of B removes nothing here, by a run that says so."""
    a = loads(new_setup("rotary"))
    b = a.replace({"pad.part": "soft-felt", "recipe.step.2.ring_pressure": "5 psi"})

    def run(rig: Rig) -> dict[str, float | None]:
        new_pad, new_recipe = (rig.pad != a.rig.pad), (rig.steps[1].ring_pressure > 3.1e4)
        return {"rate": None if new_pad and not new_recipe else 1.0 + new_pad, "time": 3.0 + new_pad}

    found = compare(a, b, ["rate", "time"], run)
    assert found.difference("rate") == 1.0
    assert found.sentence("rate").endswith("A with the pad of B has no such figure")
    assert found.shares["time"]["pad"] == 1.0
    assert found.shares["time"]["recipe"] == 0.0

    def refuses(rig: Rig) -> dict[str, float]:
        if run(rig)["rate"] is None:
            raise ModelError("no solution")
        return {"rate": 2.0}

    assert "A with the pad of B has no answer (no solution)" in compare(a, b, ["rate"], refuses).sentence(
        "rate"
    )


def test_room_and_platen_count_where_they_differ() -> None:
    a = loads(new_setup("rotary"))
    b = a.replace({"ambient.temperature": "18 degC", "ambient.platen_temperature": "40 degC"})
    found = compare(a, b, ["peak_temperature_C"])
    assert found.b["peak_temperature_C"] == polish(b).summary()["peak_temperature_C"]
    shares = found.shares["peak_temperature_C"]
    assert shares["ambient"] == pytest.approx(found.difference("peak_temperature_C"), abs=1e-9)
    assert shares["ambient"] > 1.0


def test_the_same_pressures_on_other_zones_stay_with_the_zones() -> None:
    """Steps that are alike, on heads that are not: B's own reading of them is B's, at no matter which end."""
    a = loads(new_setup("rotary")).replace(
        {"recipe.step.2.zone_pressures": ["3 psi", "3 psi", "3 psi", "3 psi", "4 psi"]}
    )
    b = a.replace({"head.zone.4.outer_radius": "130 mm", "head.zone.3.outer_radius": "110 mm"})
    assert differing(a.rig, b.rig) == ["head"]
    found = compare(a, b)
    assert found.b["wiwnu_sigma_percent"] == polish(b).summary()["wiwnu_sigma_percent"]
    assert found.shares["wiwnu_sigma_percent"]["head"] == pytest.approx(
        found.difference("wiwnu_sigma_percent"), abs=1e-12
    )


@pytest.mark.parametrize(
    ("motion", "changes", "members", "why"),
    [
        (
            "rotary",
            {"head.ring": "none", **{f"recipe.step.{i}.ring_pressure": "0 psi" for i in (1, 2, 3)}},
            ("head", "recipe"),
            "presses a retaining ring, which the head of B does not have",
        ),
        (
            "rotary",
            {"wafer.film.1.thickness": "500 nm", "recipe.step.2.stop_on_removed": "300 nm"},
            ("recipe", "wafer"),
            "stops at 550 nm removed, and the films of B have 500 nm",
        ),
        (
            "rotary",
            {
                "polisher.platen_diameter": "760 mm",
                "conditioner.sweep.outer": "330 mm",
                "pad.part": "soft-felt",
            },
            (),
            "",
        ),
        (
            "linear",
            {
                "polisher.bearing.zone": [
                    {"outer_radius": "100 mm", "pressure": "12 psi"},
                    {"outer_radius": "172 mm", "pressure": "12 psi"},
                ],
                "recipe.step.2.bearing_pressures": ["12 psi", "11 psi"],
            },
            ("polisher", "recipe"),
            "gives 2 bearing pressures, and the bearing of A has 4 zones",
        ),
    ],
)
def test_only_what_does_not_fit_alone_is_tied(
    motion: str, changes: dict[str, object], members: tuple[str, ...], why: str
) -> None:
    a = loads(new_setup(motion))
    b = a.replace(changes)
    found = compare(a, b)
    tied = [group for group in found.members.values() if len(group) > 1]
    assert tied == ([members] if members else [])
    for outcome, shares in found.shares.items():
        assert sum(shares.values()) == pytest.approx(found.difference(outcome), abs=1e-9)
    if members:
        assert " & ".join(members) in found.shares["wiwnu_sigma_percent"]
        assert any(why in note for note in found.notes), found.notes


def test_the_notes_in_which_two_wafers_differ_are_told():
    """What happened to one of them only, with whose it is; what is said of both stays out."""
    import planish

    a = planish.loads(planish.new_setup("rotary"))
    b = a.replace({"recipe.step.main.flow": "5 ml/min"})
    notes = planish.compare(a, b).notes
    one, other = (set(planish.polish(each).notes) for each in (a, b))
    assert other - one
    for note in other - one:
        assert f"B: {note}" in notes
    for note in one - other:
        assert f"A: {note}" in notes
    assert not any(note in told for told in notes for note in one & other)
    assert not any(told.startswith(("A:", "B:")) for told in planish.compare(a, a).notes)
