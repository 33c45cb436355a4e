"""Motions: a fourth one from outside works end to end, and few files know the names of the three."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

import planish
from planish.errors import SetupError
from planish.explain.figures.machine import machine_plan, speeds_text
from planish.jobs import machine
from planish.setup.fields import keys
from planish.setup.load import loads
from planish.setup.motions.known import MOTIONS
from planish.setup.new import new_setup
from planish.setup.schema import json_schema

SRC = Path(planish.__file__).parent
OUTSIDE = Path(__file__).parents[1] / "outside_package"
AT_HOME = re.compile(
    r"(physics|setup)/motions?/|setup/parts/|inputs/\w+\.toml"
)  # records, parts, what is tried
OTHERWISE = re.compile(r"fit/calibrate/|tuning/design/")  # rooms in which "linear" is no motion
MOST = 2


def test_few_files_know_the_name_of_a_motion() -> None:
    """Quoted, or as an attribute of the page: outside the records and the catalogue."""
    name = re.compile(r"""["'](rotary|linear|orbital)(-\d+)?["']|\b(rotary|linear|orbital): """)
    other = re.compile(r"""["']linear["']""")  # a loss, and the order of a surface
    knowing = [
        place
        for path in sorted(SRC.rglob("*"))
        if path.suffix in (".py", ".js", ".html", ".css", ".toml")
        and not AT_HOME.search(place := path.relative_to(SRC).as_posix())
        and name.search(
            other.sub("", path.read_text("utf-8")) if OTHERWISE.search(place) else path.read_text("utf-8")
        )
    ]
    assert len(knowing) <= MOST, knowing


@pytest.fixture
def shuttle(monkeypatch: pytest.MonkeyPatch) -> Iterator[planish.Setup]:
    """A setup of the machine of the outside package, added for this test."""
    monkeypatch.syspath_prepend(str(OUTSIDE))
    from outside_polish.shuttle import SHUTTLE

    MOTIONS.add(SHUTTLE)
    yield loads(new_setup("shuttle"))
    MOTIONS.remove("shuttle")


def test_a_motion_from_outside_polishes_a_wafer_and_a_lot(shuttle: planish.Setup) -> None:
    result = planish.polish(shuttle)
    main = shuttle.rig.steps[1]
    machine, speeds = shuttle.rig.polisher, (main.belt_speed, main.carrier_speed)
    # Its speeds are those of its own path, sampled over a whole number of strokes and many turns.
    t = (np.arange(200_000) + 0.5) * (2 * np.pi * 300 * machine.stroke / speeds[0] / 200_000)
    h = 1e-6
    ahead, behind = (np.array(machine.path(0.1, 0.3, t + s, *speeds)) for s in (h, -h))
    sampled = np.hypot(*(ahead - behind)).mean() / (2 * h)
    assert float(machine.mean_speed(0.1, *speeds)) == pytest.approx(sampled, rel=1e-3)
    figures = result.summary()
    assert figures["mean_removed_nm"] > 550
    lot = planish.polish_lot(shuttle, wafers=3)
    assert lot.records.worn[-1].max() > 0


def test_it_is_written_checked_drawn_and_offered(shuttle: planish.Setup) -> None:
    assert shuttle.motion == "shuttle"
    assert "belongs to the linear and the shuttle motion" in _refusal("rotary", "belt_speed", "1 m/s")
    with pytest.raises(SetupError, match=r"polisher.pad_width = '200 mm': must be larger: the wafer hangs"):
        shuttle.replace({"polisher.pad_width": "200 mm"})
    with pytest.raises(SetupError, match="stroke_length: unknown key"):
        shuttle.replace({"polisher.stroke_length": "1 mm"})
    assert "polisher.stroke" in [info.path for info in keys("shuttle")]
    assert "ShuttlePolisher" in json_schema()["$defs"]
    assert speeds_text(shuttle.rig, shuttle.rig.steps[1]) == "pad 2.00 m/s, carrier 20 rpm"
    assert machine_plan(shuttle.rig).axes
    told = machine.geometry(shuttle.rig)
    assert "shuttle" in told["motions"]
    assert told["outline"]["edge"] == pytest.approx(0.21)
    path, seconds = machine.point_path(shuttle.rig, 1)
    assert np.ptp(path[0]) > 0.6
    assert seconds <= 10.0


def test_taken_out_it_is_unknown_again() -> None:
    assert "shuttle" not in MOTIONS
    with pytest.raises(SetupError, match="must be one of rotary, linear, orbital"):
        loads(new_setup("rotary").replace('part = "rotary-300"', 'motion = "shuttle"'))


def _refusal(motion: str, key: str, value: str) -> str:
    with pytest.raises(SetupError) as refused:
        loads(new_setup(motion)).replace({f"recipe.step.1.{key}": value})
    return str(refused.value)


@pytest.mark.parametrize("motion", ["rotary", "linear", "orbital"])
def test_the_plan_fits_its_sheet_and_names_its_step(motion: str) -> None:

    rig = loads(new_setup(motion)).rig
    fig = machine_plan(rig, 1)
    fig.draw_without_rendering()
    assert fig.get_tightbbox().x1 <= fig.get_figwidth()
    assert f"step {rig.steps[1].name}:" in fig.axes[0].get_title("left")
