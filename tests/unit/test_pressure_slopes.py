"""Derivatives of the contact pressure, against differences of whole solutions."""

import numpy as np
import pytest

import planish
from planish.tuning.course import Course, Settings
from planish.tuning.influence import influence, influence_and_bends, pressure_answers

STEPS = {"touch down": 0, "main": 1, "buff": 2}


@pytest.fixture(scope="module", params=["rotary", "linear"])
def course(request):
    setup = planish.loads(planish.new_setup(request.param))
    return Course(setup.rig)


def _settings(course, seed=1):
    rng = np.random.default_rng(seed)
    zones = np.stack([step.zone_pressures for step in course.rig.steps])
    zones = zones * (1 + 0.15 * rng.standard_normal(zones.shape))
    ring = np.array([step.ring_pressure for step in course.rig.steps])
    return Settings(zones, ring, np.array([10.0, 60.0, 15.0]))


@pytest.mark.parametrize("which", [0, 2, 4, 5])
def test_contact_pressure_answers_as_the_derivative_says(course, which):
    settings = _settings(course)
    passed = course.run(settings).steps[1]
    wafer = pressure_answers(course, passed, np.array([which])).wafer
    size = 20.0  # [Pa]

    def pressure(sign):
        zones, ring = settings.zones.copy(), settings.ring.copy()
        if which < zones.shape[1]:
            zones[1, which] += sign * size
        else:
            ring[1] += sign * size
        return course.run(Settings(zones, ring, settings.time)).steps[1].found.pressure

    difference = (pressure(1) - pressure(-1)) / (2 * size)
    assert np.abs(wafer[:, 0] - difference).max() < 0.02 * np.abs(difference).max()


def test_a_force_on_the_wafer_is_carried_by_the_pad(course):
    passed = course.run(_settings(course)).steps[1]
    zones = passed.plan.step.zone_pressures.size
    wafer, ring, _ = pressure_answers(course, passed, np.arange(zones + 1))
    areas, ring_areas = course.model.grid.areas, course.model.grid.ring_areas
    assert (areas @ wafer)[:zones].sum() == pytest.approx(areas.sum(), rel=1e-6)
    assert (areas @ wafer)[zones] == pytest.approx(0.0, abs=1e-9 * areas.sum())
    assert (ring_areas @ ring)[zones] == pytest.approx(ring_areas.sum(), rel=1e-6)


def test_what_is_left_answers_as_the_influence_says(course):
    settings = _settings(course)
    run = course.run(settings)
    wanted = np.ones((3, settings.zones.shape[1] + 2), dtype=bool)
    answers = influence(course, run, wanted)
    inside = course.counted.inside
    for step in range(3):
        for which, size in ((1, 20.0), (settings.zones.shape[1] + 1, 0.02)):
            lefts = []
            for sign in (1, -1):
                zones, time = settings.zones.copy(), settings.time.copy()
                if which == 1:
                    zones[step, 1] += sign * size
                else:
                    time[step] += sign * size
                lefts.append(course.run(Settings(zones, settings.ring, time)).stack)
            difference = (lefts[0] - lefts[1]) / (2 * size)
            off = np.abs(answers[step, which] - difference)[inside].max()
            assert off < 0.02 * np.abs(difference[inside]).max()


def test_the_pressure_bends_as_the_second_derivative_says(course):
    """By differences of the first derivatives at pressures on either side."""
    settings = _settings(course)
    which = np.arange(settings.zones.shape[1] + 1)
    passed = course.run(settings).steps[1]
    bends = pressure_answers(course, passed, which, bends=True).bends * passed.found.pressure[:, None, None]
    for one in (0, 3):
        size, slopes = 50.0, []
        for sign in (1, -1):
            zones = settings.zones.copy()
            zones[1, one] += sign * size
            step = course.run(settings._replace(zones=zones)).steps[1]
            slopes.append(pressure_answers(course, step, which).wafer)
        difference = (slopes[0] - slopes[1]) / (2 * size)
        inside = course.counted.inside
        off = np.abs(bends[:, one] - difference)[inside].max()
        assert off < 0.05 * np.abs(difference[inside]).max()


def test_what_is_left_bends_as_its_second_derivatives_say(course):
    settings = _settings(course)
    last = settings.zones.shape[1] + 1
    wanted = np.ones((3, last + 1), dtype=bool)
    bent = influence_and_bends(course, course.run(settings), wanted).second
    inside = course.counted.inside
    for step in range(3):
        for which, size in ((2, 50.0), (last, 0.05)):
            firsts = []
            for sign in (1, -1):
                zones, time = settings.zones.copy(), settings.time.copy()
                if which == last:
                    time[step] += sign * size
                else:
                    zones[step, which] += sign * size
                run = course.run(Settings(zones, settings.ring, time))
                firsts.append(influence(course, run, wanted)[step])
            difference = (firsts[0] - firsts[1]) / (2 * size)
            found = bent[step].second[:, which].T
            for other in range(last):
                off = np.abs(found[other] - difference[other])[inside].max()
                assert off < 0.1 * np.abs(difference[: last - 1][:, inside]).max()


def test_the_course_leaves_what_polish_leaves():
    setup = planish.loads(planish.new_setup("rotary"))
    wafer = planish.polish(setup)
    course = Course(setup.rig)
    settings = Settings(
        np.stack([step.zone_pressures for step in setup.rig.steps]),
        np.array([step.ring_pressure for step in setup.rig.steps]),
        np.array([step.duration for step in wafer.steps]),
    )
    assert course.run(settings).left == pytest.approx(wafer.remaining, abs=2e-11)
