"""All fields of a wafer: against the die at the same place, workers, files, pictures, refusals, Ctrl-C."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

import planish
from planish.cli.main import app
from planish.engine.execute import Cancel, CancelledError, run_all, stopped_by_interrupt
from planish.errors import PlanishError, SetupError
from planish.measure.layout.make import make_maps
from planish.predict.die.fields import MOST_FIELDS, field_centres, polish_fields
from planish.predict.die.pad import pad_after
from planish.predict.die.polish import polish_die

EXAMPLES = Path(__file__).parents[2] / "examples"
BLOCKS = EXAMPLES / "data" / "test-blocks.gds"
LAYOUT = ("--layout", BLOCKS, "--layer", "1/0", "--cell", "600um")


@pytest.fixture(scope="module")
def copper():
    return [planish.load(EXAMPLES / f"{name}.toml") for name in ("copper", "copper-barrier")]


@pytest.fixture(scope="module")
def rotary():
    return planish.load(EXAMPLES / "rotary.toml")


@pytest.fixture(scope="module")
def maps():
    return make_maps("density-blocks", 5e-4, size=2e-2, pitch=4e-6)


@pytest.fixture(scope="module")
def layout(tmp_path_factory):
    path = tmp_path_factory.mktemp("maps") / "maps.npz"
    make_maps("density-blocks", 1e-3, size=4e-2, pitch=4e-6).save(path)
    return ("--layout", path)


def figures_at(setup, maps, radius, **more):
    die = polish_die(setup, maps, place=radius, **more)
    return die.summary(), die.dies[0]


@pytest.mark.parametrize("route", ["density", "contact"])
def test_a_field_has_the_figures_of_the_die_at_its_place(copper, maps, route):
    centres = [(0.0, 0.0), (0.08, -0.06)]
    found = polish_fields(copper, maps, centres=centres, route=route, workers=1).document()["fields"]
    for row, radius in zip(found, (0.0, 0.1), strict=True):
        own, _ = figures_at(copper, maps, radius, route=route)
        shared = row.keys() & own.keys()
        assert {"within_die_range_nm", "dishing_max_nm", "erosion_mean_nm", "clear_time_s"} <= shared
        for key in shared:
            # means of blocks of cells are added up in another order
            assert row[key] == pytest.approx(own[key], rel=1e-12), key


def test_a_worn_pad_and_a_measured_length_reach_the_fields(rotary, maps):
    after = pad_after(rotary, 10)
    row = polish_fields(rotary, maps, centres=[(0.1, 0.0)], after=after, workers=1)
    own, _ = figures_at(rotary, maps, 0.1, after=after)
    assert row.document()["fields"][0]["within_die_range_nm"] == pytest.approx(own["within_die_range_nm"])
    assert any("10 wafers" in note for note in row.notes)


def test_fields_tile_the_wafer_and_none_passes_the_edge_exclusion(rotary):
    rig = rotary.rig
    usable = rig.wafer.radius - rig.wafer.edge_exclusion
    centres = np.array(field_centres(rig, 0.026, 0.033))
    corner = np.hypot(np.abs(centres[:, 0]) + 0.013, np.abs(centres[:, 1]) + 0.0165)
    assert corner.max() <= usable
    assert len(np.unique(centres, axis=0)) == len(centres)
    # A neighbour of a field that is not there would have passed the edge.
    there = {tuple(np.round(c, 9)) for c in centres}
    for x, y in centres:
        for dx, dy in ((0.026, 0), (-0.026, 0), (0, 0.033), (0, -0.033)):
            if tuple(np.round((x + dx, y + dy), 9)) not in there:
                assert np.hypot(abs(x + dx) + 0.013, abs(y + dy) + 0.0165) > usable


@pytest.mark.parametrize("size", [(0.25, 0.25), (1e-4, 1e-4), (0.0, 0.02)])
def test_fields_too_large_or_too_many_are_refused(rotary, size):
    with pytest.raises(SetupError, match="field size"):
        field_centres(rotary.rig, *size)
    assert np.pi * 0.147**2 > MOST_FIELDS * 1e-8
    with pytest.raises(SetupError, match="centres"):
        polish_fields(rotary, make_maps("density-blocks", 5e-4, size=2e-2, pitch=4e-6), centres=[])


def test_summary_counts_and_spreads_what_the_fields_say(rotary, maps):
    centres = [(0.0, 0.0), (0.05, 0.05), (-0.11, 0.0)]
    found = polish_fields(rotary, maps, centres=centres, workers=1)
    told = found.document()
    ranges = [row["within_die_range_nm"] for row in told["fields"]]
    assert told["within_die_range_least_nm"] == min(ranges)
    assert told["within_die_range_most_nm"] == max(ranges)
    assert told["within_die_range_mean_nm"] == pytest.approx(np.mean(ranges))
    at = told["fields"][int(np.argmax(ranges))]
    assert (told["worst_field_x_mm"], told["worst_field_y_mm"]) == (at["x_mm"], at["y_mm"])
    # of oxide left the least counts
    assert told["oxide_over_lines_least_nm"] == min(row["oxide_over_lines_min_nm"] for row in told["fields"])
    late = [
        row
        for row in told["fields"]
        if row["clear_time_s"] is None or row["clear_time_s"] > told["polish_time_s"]
    ]
    assert told["fields_not_clear"] == len(late)
    assert bool(late) == any("not clear" in note for note in told["notes"])
    assert "3 fields" in repr(found)


def test_saved_fields_come_back_with_figures_and_picture(rotary, maps, tmp_path):
    found = polish_fields(rotary, maps, centres=[(0.0, 0.0), (0.1, 0.0)], workers=1)
    back = planish.open_result(found.save(tmp_path / "fields.nc"))
    assert back.summary() == json.loads(json.dumps(found.summary()))
    assert back.sources() == found.sources()
    assert back.data["within_die_range"].attrs["units"] == "m"
    np.testing.assert_array_equal(back.data["x"], found.x)
    pictures = [one.plot() for one in (found, back)]
    for mine, again in zip(*(p.axes for p in pictures), strict=True):
        assert mine.get_title() == again.get_title()
        for a, b in zip(mine.collections, again.collections, strict=True):
            np.testing.assert_array_equal(a.get_array(), b.get_array())


def run(*words):
    done = CliRunner().invoke(app, [*map(str, words), "--json"], catch_exceptions=False)
    assert done.exit_code == 0, done.stderr
    return json.loads(done.stdout)


def test_the_command_gives_the_same_on_one_worker_and_on_two(layout, tmp_path):
    setup = EXAMPLES / "rotary.toml"
    one = run("die", setup, *layout, "--fields", "--workers", 1)
    two = run("die", setup, *layout, "--fields", "--workers", 2, "--out", tmp_path)
    assert one == two
    assert one["fields_polished"] == len(one["fields"]) > 20
    assert one["sources"]
    assert (tmp_path / "fields.png").stat().st_size > 10_000
    assert planish.open_result(tmp_path / "fields.nc").kind == "fields"
    shown = CliRunner().invoke(app, ["die", str(setup), *map(str, layout), "--fields", "--workers", "1"])
    assert shown.exit_code == 0
    assert "over the fields" in shown.stdout


def test_the_command_hands_fields_to_a_scheduler(layout):
    distributed = pytest.importorskip("distributed")
    setup = EXAMPLES / "rotary.toml"
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=2, processes=False, dashboard_address=None, scheduler_port=0
    ) as cluster:
        far = run("die", setup, *layout, "--fields", "--cluster", cluster.scheduler_address)
    assert far == run("die", setup, *layout, "--fields", "--workers", 1)


@pytest.mark.parametrize(
    "words, told",
    [
        (("--fields", "--place", "edge"), "--place"),
        (("--fields", "--fill"), "--fill"),
        (("--fields", "--from-die", "below.nc"), "--from-die"),
        (("--fields", "--route", "guess"), "route"),
        (("--fields", "--cluster", "nowhere"), "cluster"),
        (("--workers", "2"), "--fields"),
        (("--cluster", "tcp://host:8786"), "--fields"),
    ],
)
def test_bad_options_are_refused_in_one_line(words, told):
    with pytest.raises(PlanishError) as caught:
        CliRunner().invoke(
            app, ["die", str(EXAMPLES / "rotary.toml"), *map(str, LAYOUT), *words], catch_exceptions=False
        )
    assert told in str(caught.value)
    assert "\n" not in str(caught.value)


def test_an_interrupt_throws_the_switch_and_the_handler_comes_back():
    before = signal.getsignal(signal.SIGINT)
    with stopped_by_interrupt() as cancel:
        assert not cancel.asked
        os.kill(os.getpid(), signal.SIGINT)
        assert cancel.asked
        assert signal.getsignal(signal.SIGINT) is before  # a second one interrupts
    assert signal.getsignal(signal.SIGINT) is before


def test_processes_stop_between_two_batches_and_serve_the_next_call():
    cancel = Cancel()

    def stop(done: int, of: int) -> None:
        cancel.stop()

    with pytest.raises(CancelledError, match="of 40 pieces"):
        run_all(time.sleep, [0.02] * 40, workers=2, processes=True, progress=stop, cancel=cancel)
    assert run_all(abs, [0, -1, -2, -3], workers=2, processes=True) == [0, 1, 2, 3]


@pytest.mark.skipif(os.name == "nt", reason="signals of a terminal")
def test_ctrl_c_ends_the_command_with_one_line(tmp_path):
    words = ["die", EXAMPLES / "rotary.toml", "--layout", BLOCKS, "--layer", "1/0", "--cell", "60um"]
    command = [sys.executable, "-m", "planish.cli.main", *map(str, words), "--fields", "--workers", "2"]
    command += ["--out", str(tmp_path / "out")]
    running = subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True
    )
    try:
        # Ctrl-C of a terminal goes to the whole group; sent once the workers are there.
        deadline = time.monotonic() + 120
        while running.poll() is None and _children(running.pid) < 2 and time.monotonic() < deadline:
            time.sleep(0.05)
        time.sleep(1.0)
        os.killpg(running.pid, signal.SIGINT)
        stdout, stderr = running.communicate(timeout=120)
    finally:
        if running.poll() is None:
            os.killpg(running.pid, signal.SIGKILL)
    assert running.returncode == 130, (stdout, stderr)
    assert stdout == ""
    assert "stopped" in stderr
    assert len(stderr.strip().splitlines()) == 1, stderr
    assert not (tmp_path / "out").exists()


def _children(pid: int) -> int:
    """How many processes a process has started."""
    path = Path(f"/proc/{pid}/task/{pid}/children")
    return len(path.read_text().split()) if path.exists() else 2
