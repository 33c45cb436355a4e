"""Shapley shares: the axioms, and that they add up for real setups."""

from __future__ import annotations

import numpy as np
import pytest

from planish.errors import SetupError
from planish.explain.attribution import GROUPS, compare, shapley
from planish.setup.load import loads
from planish.setup.new import new_setup


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
            "recipe.step.1.zone_pressures": ["3.5 psi"] * len(a.bench.head.zone_outer_radii),
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
