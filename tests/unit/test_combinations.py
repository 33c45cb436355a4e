"""How the parts of the model go together: what a factor may touch, and that nothing jumps where a part fades out."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import planish
from planish.physics.removal.laws import LAWS, removal_rate
from planish.units import NM_PER_MIN

EXAMPLES = Path(__file__).parents[2] / "examples"
ROTARY = planish.load(EXAMPLES / "rotary.toml")
SETS = {
    "preston": {"k_p": 2e-13},
    "power": {"k": 1e-12, "alpha": 0.85, "beta": 0.7},
    "offset": {"k_p": 2e-13, "b": 1e-10, "c": 5e-11},
    "threshold": {"k_p": 2e-13, "p_threshold": 3000.0},
    "abrasive": {"c1": 5e-11, "c2": 0.1, "c0": 1e-11},
    "two-step": {"a": 1e3, "e_a": 5e4, "k_m": 1e-9, "friction": 0.4, "molar_volume": 7.1e-6},
}


def rate(law, p=2e4, v=1.2, **factors):
    return float(removal_rate(law, SETS[law], p, v, temperature=305.0, **factors))


def test_every_law_says_of_each_term_what_works_in_it():
    for law in LAWS:
        assert law.terms
        assert {term.kind for term in law.terms} <= {"mechanical", "chemical", "both"}


def test_two_steps_at_the_chemical_limit_do_not_feel_pressure_speed_or_pad():
    limit = rate("two-step", mechanical=1e15)
    for p, v, pad in ((3e3, 0.3, 1e15), (4e4, 2.0, 3e16), (2e4, 1.2, 1e17)):
        assert rate("two-step", p, v, mechanical=pad) == pytest.approx(limit, rel=1e-9)
    assert rate("two-step", chemical=2.0, mechanical=1e15) == pytest.approx(2 * limit, rel=1e-9)


def test_two_steps_answer_to_each_factor_by_the_share_of_the_other_step():
    M = rate("two-step", chemical=1e15)
    C = rate("two-step", mechanical=1e15)
    R = rate("two-step")
    assert pytest.approx(C * M / (C + M), rel=1e-9) == R
    step = 1e-6
    by_pad = (np.log(rate("two-step", mechanical=1 + step)) - np.log(R)) / np.log1p(step)
    by_slurry = (np.log(rate("two-step", chemical=1 + step)) - np.log(R)) / np.log1p(step)
    assert by_pad == pytest.approx(R / M, rel=1e-5)
    assert by_slurry == pytest.approx(R / C, rel=1e-5)


def test_two_steps_against_numbers_worked_by_hand():
    """C 900 and M 2,700 in series make 675; with 0.143, 0.41 and 1.47 times the mechanics 270.2, 496.4 and 733.6."""
    law = LAWS.get("two-step")
    for factor, expected in ((1.0, 675.0), (0.143, 270.2), (0.41, 496.4), (1.47, 733.6)):
        assert law.rate([900.0, 2700.0], factor, 1.0) == pytest.approx(expected, abs=0.06)


@pytest.mark.parametrize("law, left", [("offset", "c"), ("abrasive", "c0")])
def test_what_a_bath_takes_off_is_not_scaled_by_the_pad(law, left):
    for pad in (0.01, 1.0, 30.0):
        assert rate(law, p=0.0, v=0.0, mechanical=pad) == pytest.approx(SETS[law][left], rel=1e-12)
    assert rate(law, p=0.0, v=0.0, chemical=0.3) == pytest.approx(0.3 * SETS[law][left], rel=1e-12)


@pytest.mark.parametrize("law", ["preston", "power", "threshold"])
def test_laws_of_one_term_take_both_factors(law):
    assert rate(law, mechanical=0.5, chemical=3.0) == pytest.approx(1.5 * rate(law), rel=1e-12)


def _slow_and_hard(pad=None):
    main = {**ROTARY.document["recipe"]["step"][1]}
    for key in ("stop_on_removed", "max_time"):
        main.pop(key, None)
    main |= {
        "zone_pressures": "6 psi",
        "ring_pressure": "7 psi",
        "platen_speed": "20 rpm",
        "carrier_speed": "17 rpm",
        "conditioning": False,
        "time": "90 s",
    }
    return ROTARY.replace({"recipe.step": [main], **(pad or {})})


def test_a_pad_that_is_never_conditioned_only_slows_down():
    lot = planish.polish_lot(_slow_and_hard(), 1500, conditioning=False)
    rates = lot.records.expected_rate * NM_PER_MIN
    assert 170 < rates[0] < 230
    assert np.all(np.diff(rates) < 0.002 * rates[:-1])
    assert rates[-1] < 0.65 * rates[0]
    assert np.abs(np.diff(rates) / rates[:-1]).max() < 0.03


def test_nothing_jumps_when_the_grooves_are_worn_away():
    lot = planish.polish_lot(ROTARY.replace({"pad.grooves.depth": "40 um"}), 300)
    records = lot.records
    assert records.groove_min[0] > 30e-6
    assert records.groove_min[-1] == 0.0
    rates = records.expected_rate
    assert np.abs(np.diff(rates) / rates[:-1]).max() < 0.02
    assert 0.8 < rates[-1] / rates[0] < 1.25


def test_rate_is_continuous_in_groove_depth():
    depths = [f"{depth} mm" for depth in (0.8, 0.25, 0.1, 0.05, 0.03, 0.02, 0.01)]
    rates = [
        planish.polish(ROTARY.replace({"pad.grooves.depth": depth})).summary()["mean_removal_rate_nm_per_min"]
        for depth in depths
    ]
    bare = ROTARY.replace({"pad.grooves.pattern": "none"})
    rates.append(planish.polish(bare).summary()["mean_removal_rate_nm_per_min"])
    assert np.abs(np.diff(rates) / rates[:-1]).max() < 0.03


def test_what_summits_do_is_done_by_the_load_they_carry():
    """Without grooves and fast, the liquid sucks the wafer down: more friction, real pressure's area and rate go with it."""
    fast = {
        "pad.grooves.pattern": "none",
        "recipe.step.2.platen_speed": "150 rpm",
        "recipe.step.2.carrier_speed": "143 rpm",
        "slurry.viscosity": "6 mPa*s",
        "recipe.step.2.ring_pressure": "2 psi",
    }
    wet = planish.polish(ROTARY.replace(fast)).steps[1]
    grooved = planish.polish(ROTARY.replace({**fast, "pad.grooves.pattern": "concentric"})).steps[1]
    share = wet.real_fraction / grooved.real_fraction
    assert abs(share - 1.0) > 0.02
    assert (wet.friction - grooved.friction) * (share - 1.0) > 0


def test_slurry_is_spent_by_the_film_that_is_there():
    """Once the oxide is gone, the nitride under it, which goes at a quarter of its rate, leaves the slurry fresher."""
    films = [{"material": "oxide", "thickness": "20 nm"}, {"material": "nitride", "thickness": "900 nm"}]
    steps = [{k: v for k, v in step.items() if k not in ("stop_on_removed", "max_time", "time")}
             for step in ROTARY.document["recipe"]["step"]]  # fmt: skip
    timed = ROTARY.replace({"recipe.step": [{**step, "time": "20 s"} for step in steps]})
    oxide = planish.polish(timed).steps[1].fresh_fraction
    below = planish.polish(timed.replace({"wafer.film": films})).steps[1].fresh_fraction
    assert oxide < below - 0.05
