"""Tungsten through 8.5 h (Sampurno et al. 2011, abstract): steady for 2.5 h is met, the late fall is missed, and stated."""

from planish.experiments.drift import left


def test_rate_and_friction_are_steady_for_hours_on_a_conditioned_pad() -> None:
    found = left(conditioning=True)
    assert abs(found["rate"][0] - 1) < 0.03
    assert abs(found["friction"][0] - 1) < 0.01


def test_the_late_fall_is_not_there() -> None:
    assert left(conditioning=True)["rate"][1] > 0.97


def test_without_a_disk_the_rate_falls_at_once_and_friction_does_not() -> None:
    found = left(conditioning=False)
    assert found["rate"][0] < 0.9
    assert 0.6 < found["rate"][1] < 0.7
    assert found["friction"][1] >= 1.0
