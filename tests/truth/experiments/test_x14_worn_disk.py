"""A worn disk against what was published; "unchanged" is taken as within 5 % for the rate and 8 % for the summits."""

import pytest

from planish.experiments.worn_disk import left, lot


def test_cut_halves_while_texture_and_rate_stay() -> None:
    found = left()
    assert found["cut"] == pytest.approx(0.5, rel=1e-9)
    assert found["pad worn off by the lot"] == pytest.approx(0.5, abs=0.02)
    assert found["furrows"] == 1.0
    assert found["summits in contact"] == pytest.approx(1.0, abs=0.08)
    assert found["removal rate"] == pytest.approx(1.0, abs=0.05)
    assert found["friction"] == pytest.approx(1.0, abs=0.02)


def test_a_tenth_of_the_cut_is_felt() -> None:
    """Where renewal hardly keeps up with wear, rate and summits do fall: the two are not simply set apart."""
    new, dull = lot(1.0), lot(0.1)
    assert dull.records.rate[-1] < 0.93 * new.records.rate[-1]
    assert dull.records.tail[-1] < 0.85 * new.records.tail[-1]
