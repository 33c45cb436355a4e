"""One protocol for every answer, and saved files that reproduce themselves."""

from __future__ import annotations

import json
import re
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import tomlkit
from typer.testing import CliRunner

import planish
from planish.cli.main import app
from planish.errors import DataError
from planish.explain.figures.style import as_svg
from planish.explain.words import label
from planish.fit.planarization import fit_planarization
from planish.fit.unseen import RatePredictor
from planish.hold.qualify.checklist import Check, Checklist
from planish.jobs.measured import measured_against
from planish.jobs.rates import fit_rates
from planish.measure.layout.make import make_maps
from planish.measure.steps import read_steps
from planish.measure.traces.invented import invented_traces
from planish.measure.traces.wafers import cut_wafers
from planish.predict.cleaning import USUAL, clean_wafer
from planish.predict.die.fill import propose_fill
from planish.predict.die.pad import pad_after
from planish.predict.die.processes.oxide import OxideLevel
from planish.predict.dwell import design_sweep
from planish.predict.lot.result import Limits
from planish.predict.lot.variation import Variation
from planish.results import file as result_file
from planish.results import result as result_base
from planish.results.kinds import known, load
from planish.results.units import UNITS, WITHOUT_UNIT, si_value, unit_of

sys.path.insert(0, str(Path(__file__).parent))
from upsets import UpsetLot, main_step

EXAMPLES = Path(__file__).parents[2] / "examples"
DATA = EXAMPLES / "data"
EXACT = 1e-12
VARIED = {"recipe.step.main.ring_pressure": "3..5 psi", "head.ring.gap": "0.4..0.9 mm"}
# These tell figures in the unit of the file, or of the figure that they compare.
FOLLOWING = (
    "study",  # keys in the unit in which they were varied
    "side by side",
    "run sheet",
    "response surface",
    "calibration",  # each number in the unit in which its setup writes it
    "tuned settings",  # the words that scripts rely on: kPa, and before and after at the end
    "tuned platens",  # the same
    "rate law",
    "rates fit",
    "check of the rates fit",
    "check of guesses",
    "learned rates",
    "guessed rates",
    "consumables",
    "comparison",
    "measured against predicted",
    "measured sets",
    "nested variance",
    "trace",  # signals in the unit of the sensor
    "followed trace",
    "watched trace",
    "control chart",  # values in the unit of the table, and in standard deviations
    "run length",
    "capability",
    "gauge study",
    "qualification",
    "equivalence",
    "equivalence size",
    "ranked causes",  # sizes in the unit of each change
)


def _from_traces():
    """What is learned from traces: laws, their check, what the age of parts explains, rates guessed."""
    traces, rates = invented_traces(seed=11, wafers=80)
    wafers = cut_wafers(traces, rates, source="invented")
    fit = fit_rates(wafers, folds=1)
    other = cut_wafers(invented_traces(seed=12, wafers=9)[0], source="other", like=wafers)
    guessed = RatePredictor.fit(wafers).predict(other, retrospective=True)
    return [fit, fit.law, fit.check, fit.check.forest, fit.check.ahead, fit.consumables, guessed]


def _planarization():
    maps = planish.read_layout_maps(DATA / "test-blocks.gds", 1, 0, 100e-6, cache=False)
    table = read_steps(DATA / "steps.csv")
    return fit_planarization(maps, table, step=table.step_before or 800e-9)


def _history():
    with tempfile.TemporaryDirectory() as folder:
        table = Path(folder) / "runs.csv"
        rows = [f"W{at},2026-03-{at:02d} 08:00,{'AB'[at % 2]},{300 + at},60" for at in range(1, 9)]
        table.write_text("wafer,polished at,tool,rate_nm_per_min,time_s\n" + "\n".join(rows) + "\n")
        with planish.open_history(Path(folder) / "h.sqlite") as history:
            history.add(table)
            history.note("pad change", "2026-03-04", part="P2")
            return replace(history.wafers(), place="history.sqlite")


def _disks():
    hours = np.array([1.0, 10.0, 40.0])
    cuts = {"even": [30.0, 28.0, 22.0], "uneven": [36.0, 31.0, 19.0]}
    return planish.fit_disks(
        [
            planish.DiskSeries(
                name, 150e-6, 1e5, 40.0, 3600 * hours, np.array(cut) * 1e-6 / 3600, uneven=name == "uneven"
            )
            for name, cut in cuts.items()
        ]
    )


def _rate_twice(setup):
    return np.full(6, setup.si("removal.oxide.rate"))


def _calibration(setup):
    values = np.array([4.5, 4.6, 4.4, 4.55, 4.45, 4.5]) * 1e-9
    rates = planish.Observed(
        "rates", "rate", values, np.zeros(6), "m/s", np.arange(6), _rate_twice, (("rates.csv", "ab" * 32),),
        ("rates.csv: six rates",), {},
    )  # fmt: skip
    return planish.calibrate(setup, rates, ["removal.oxide.rate"], ahead=1, samples=50)


def _causes():
    lot = UpsetLot(main_step(), wafers=12, onset=9, rate=0.93)
    return planish.rank_causes(
        main_step(),
        lot.maps(lot.before),
        lot.maps(lot.after),
        baseline=8,
        table=lot.table,
        time="time",
        cells=24,
    )


@pytest.fixture(scope="module")
def answers():
    """One answer of each kind."""
    setup = planish.load(EXAMPLES / "rotary.toml")
    maps = make_maps("density-blocks", cell=400e-6)
    wafer = planish.polish(setup)
    die = planish.polish_die(setup, maps, place=["centre", "edge"])
    measured = planish.measure_wafer(DATA / "wafer-before.csv", DATA / "wafer-after.csv")
    against = measured_against(setup, DATA / "wafer-before.csv", DATA / "wafer-after.csv", None)
    found = [
        wafer,
        planish.polish_lot(setup, 6, seed=2, events=["3 pad"]),
        die,
        planish.polish_fields(setup, maps, centres=[(0.0, 0.0), (0.1, 0.0)], workers=1),
        measured,
        planish.nested_variance({"lot": ["a", "a", "b", "b"], "wafer": [1, 2, 1, 2]}, [1.0, 2.0, 3.0, 4.5]),
        maps,
        against,
        against.fitted(),
        _planarization(),
        *_from_traces(),
        planish.compare(setup, setup.replace({"pad.part": "medium-microporous"})),
        planish.compare_all([setup, setup.replace({"pad.part": "medium-microporous"}), setup]),
        design_sweep(setup, 4),
        propose_fill(die.density, die.cell, die.worst.seen.length),
        clean_wafer(setup, USUAL),
        cost := planish.cost_of(setup.replace({"cost": {"pad_price": 400, "slurry_price": 3.5}}), 4),
        planish.cost_saving(cost, cost),
        planish.hold_qualify(
            {"x": [1.0, 2.0]},
            Checklist("t", (Check("rate", "x", "mean", 0.0, None),), "", "c.toml"),
            "A. Person",
        ),
        planish.hold_equivalence({"x": [1.0, 2.0, 1.5, 2.5], "p": list("aabb")}, "x", "p", "a", "b", 1.0),
        planish.hold_equivalence_size(1.0, 1.0),
        planish.cost_sensitivity(setup.replace({"cost": {"pad_price": 400, "slurry_price": 3.5}}), 0.2, 4),
        planish.flow_wafers(setup, 40, lot=4),
        _disks(),
        sheet := planish.design_runs(setup, VARIED, star="faced", predict=["wiwnu_sigma_percent"]),
        planish.fit_runs(sheet),
        _calibration(setup),
        planish.study(setup, {"pad.top.shore_d": "50..60/2"}),
        planish.choose(
            setup, {"pad.part": "hard-solid, medium-microporous"}, ["rate", "evenness"], workers=1
        ),
        planish.hold_against(setup, planish.observe(setup, DATA / "runs" / "runs.csv")),
        trace := planish.invent_trace(setup),
        planish.follow_trace(trace, "500 nm"),
        planish.watch_trace(planish.invent_trace(setup, "friction"), clear="99 %", rate_spread="3 %"),
        planish.tune(setup, target="450 nm", keep=["recipe.step.'touch down'", "recipe.step.buff"]),
        planish.hold_chart(
            {"rate": [*np.tile([298.0, 300.0, 302.0], 10), 309.0, 310.0], "pad": ["A"] * 20 + ["B"] * 12},
            "rate",
            phase="pad",
        ),
        planish.hold_run_length("ewma", 2.814, weight=0.1),
        planish.hold_capability({"rate": np.tile([298.0, 300.0, 302.0], 10)}, "rate", 290.0, 310.0),
        planish.hold_gauge(
            {"y": [1.0, 1.1, 2.0, 2.1, 1.2, 1.0, 2.2, 2.0], "part": [1, 1, 2, 2] * 2, "by": list("aaaabbbb")},
            "y",
            "part",
            "by",
        ),
        planish.try_control(EXAMPLES / "copper-barrier.toml", wafers=12, seeds=1, pad_every=5, disk_every=8),
        _causes(),
        planish.tune([setup, setup], target="200 nm", keep=["recipe.step.'touch down'", "recipe.step.buff"]),
        _history(),
    ]
    return {answer.kind: answer for answer in found}


def test_every_answer_follows_the_protocol(answers):
    for kind, answer in answers.items():
        assert isinstance(answer, planish.Result)
        assert len(repr(answer)) < 400
        assert "\n" not in repr(answer)
        assert f"<caption>{kind}</caption>" in answer._repr_html_()
        assert all(isinstance(note, str) for note in answer.notes)
        assert isinstance(answer.notes, tuple)
        assert all(isinstance(line, str) for line in answer.sources())
        for key, value in answer.summary().items():
            assert value is None or type(value) in (bool, int, float, str), (kind, key)
        for name, columns in answer.tables().items():
            assert len({len(cells) for cells in columns.values()}) == 1, (kind, name)
            for cells in columns.values():
                assert all(cell is None or type(cell) in (bool, int, float, str) for cell in cells)
        document = answer.document()
        json.dumps(document, allow_nan=False)
        assert document["notes"] == list(answer.notes)
        assert document["sources"] == answer.sources()
        assert answer.summary().items() <= document.items()


def test_every_variable_says_its_unit_and_its_name(answers):
    trade = {unit.shown for unit in UNITS} - {unit.si for unit in UNITS}
    for kind, answer in answers.items():
        data = answer.data
        assert data.variables
        for name, variable in data.variables.items():
            if variable.dtype.kind not in "US" and name != "wafer":
                assert variable.attrs["units"] not in trade, (kind, name)
            if name in data.data_vars:
                assert variable.attrs["long_name"], (kind, name)


def test_each_quantity_has_one_unit_everywhere(answers):
    """The same name never ends in two units, and a number has a unit or is known to have none."""
    units: dict[str, set[str]] = {}
    for kind, answer in answers.items():
        columns = {key: cells for table in answer.tables().values() for key, cells in table.items()}
        for key, values in ({k: [v] for k, v in answer.summary().items()} | columns).items():
            if not any(type(value) is float for value in values) or kind in FOLLOWING:
                continue
            unit = unit_of(key)
            if unit is None:
                assert key.rsplit("_", 1)[-1] in WITHOUT_UNIT, (kind, key)
            else:
                units.setdefault(key[: -len(unit.ending) - 1], set()).add(unit.ending)
    assert {name: found for name, found in units.items() if len(found) > 1} == {}
    pressures = {ending for name, found in units.items() if "pressure" in name for ending in found}
    assert pressures == {"psi", "MPa"}  # MPa is that on the summits alone
    assert units["real_pressure"] == {"MPa"}


def test_keys_and_values_in_si():
    assert si_value("mean_pressure_psi", 1.0) == pytest.approx(6894.757293168, rel=EXACT)
    assert label("mean_pressure_psi", "si") == "mean pressure [Pa]"
    assert si_value("peak_temperature_C", 20.0) == 293.15
    assert label("peak_temperature_C", "si") == "peak temperature [K]"
    assert si_value("wiwnu_sigma_percent", 2.0) == 2.0
    assert label("edge_extreme_from_edge_mm", "si") == "edge: where that sits, from the rim [m]"
    assert label("wiwnu_sigma_percent", "si") == label("wiwnu_sigma_percent")
    assert label("mean_cut_after_um_per_h") == "mean cut after [µm/h]"
    assert label("time_s") == "time [s]"


def test_every_function_that_is_registered_is_there():
    for kind in known():
        for function in (kind.drawer, kind.shown, kind.again):
            assert not function or callable(load(function))


def test_every_answer_comes_back_from_its_file(answers, tmp_path):
    for kind, answer in answers.items():
        if kind == "layout maps":
            continue  # these have a file of their own, in pieces
        saved = planish.open_result(answer.save(tmp_path / kind))
        assert saved.kind == kind
        assert saved.version == planish.__version__
        assert saved.summary() == answer.summary()
        assert saved.notes == answer.notes
        assert saved.sources() == answer.sources()
        assert saved.document() == json.loads(json.dumps(answer.document()))
        assert saved.tables() == json.loads(json.dumps(answer.tables()))
        for name, variable in answer.data.data_vars.items():
            if variable.dtype.kind == "f":
                np.testing.assert_array_equal(saved.data[name].values, variable.values)


def drawn(figure):
    """Return all that a figure shows, to the last digit; where its axes end up on the page is asked elsewhere."""
    figure.set_layout_engine("none")
    return as_svg(figure)


def test_every_answer_has_a_picture_and_its_file_has_the_same(answers, tmp_path):
    for kind, answer in answers.items():
        picture = drawn(answer.plot())
        saved = answer.save(tmp_path / ("maps.npz" if kind == "layout maps" else kind))
        back = type(answer).open(saved) if kind == "layout maps" else planish.open_result(saved)
        assert drawn(back.plot()) == picture, kind


def test_every_kind_of_answer_is_among_those_tested(answers):
    """A new kind is to be added to ``answers`` here, and to have a picture (``planish.registered``)."""
    written = {
        kind
        for path in Path(planish.__file__).parent.rglob("*.py")
        for kind in re.findall(r'^    kind: ClassVar\[str\] = "(.*)"', path.read_text(encoding="utf-8"), re.M)
    }
    assert written == set(answers) == {kind.name for kind in known() if kind.drawer}


def test_a_kind_without_a_picture_says_so():
    class Plain(planish.Result):
        kind = "plain"

    with pytest.raises(
        DataError, match=r"kind of answer to draw = 'plain': must be one wafer, lot, .*summary\(\)"
    ):
        Plain().plot()


def close(one, other):
    assert one.summary().keys() == other.summary().keys()
    for key, value in one.summary().items():
        same = pytest.approx(value, rel=EXACT, abs=1e-13) if type(value) is float else value
        assert other.summary()[key] == same, key
    for name, variable in one.data.data_vars.items():
        if variable.dtype.kind == "f":
            np.testing.assert_allclose(other.data[name].values, variable.values, rtol=EXACT, atol=1e-25)
    assert one.notes == other.notes
    assert one.sources() == other.sources()


def measured_film(folder: Path) -> Path:
    """Write a setup whose film was measured, and its file beside it."""
    (folder / "films").mkdir()
    (folder / "films" / "before.csv").write_bytes((DATA / "wafer-before.csv").read_bytes())
    document = planish.load(EXAMPLES / "rotary.toml").document
    (film,) = document["wafer"]["film"]
    del film["thickness"]
    film["sites"] = "films/before.csv"
    (folder / "mine.toml").write_text(tomlkit.dumps(document), encoding="utf-8")
    return folder / "mine.toml"


def test_a_saved_wafer_reproduces_itself_without_the_files_it_came_from(tmp_path):
    path = measured_film(tmp_path)
    setup = planish.load(path)
    wafer = planish.polish(setup, cells=64)
    wafer.save(tmp_path / "wafer.nc")
    digest = setup.digest()
    path.unlink()
    (tmp_path / "films" / "before.csv").unlink()
    saved = planish.open_result(tmp_path / "wafer.nc")
    assert saved.setup_digests == (digest,)
    assert "before.csv" in saved.setup_texts[0]
    again = saved.rerun()
    close(wafer, again)
    assert any(film.sites is not None for film in again.rig.wafer.films)
    close(wafer, planish.open_result(again.save(tmp_path / "again.nc")).rerun())


def test_a_saved_lot_reproduces_itself(tmp_path):
    lot = planish.polish_lot(
        EXAMPLES / "rotary.toml",
        12,
        seed=7,
        events=["4 slurry", "6 idle 10 min", "9 disk"],
        adjust="run-to-run",
        variation=Variation(process=0.02),
        limits=Limits(wiwnu_percent=0.1),
        handling_time=20.0,
    )
    lot.save(tmp_path / "lot")
    saved = planish.open_result(tmp_path / "lot")
    assert saved.seed == 7
    again = saved.rerun()
    close(lot, again)
    assert again.limits == lot.limits
    assert again.events == lot.events
    assert again.table().equals(lot.table())


def test_a_saved_die_reproduces_itself_with_its_layout(tmp_path):
    first, second = (planish.load(EXAMPLES / f"{name}.toml") for name in ("rotary", "linear"))
    maps = make_maps("density-blocks", cell=400e-6)
    wavy = 1e-8 * np.sin(np.arange(maps.density.size, dtype=float)).reshape(maps.density.shape)
    die = planish.polish_die(
        [first, second],
        maps,
        level=OxideLevel(step=500e-9),
        place=["edge", 0.05],
        incoming={"edge": wavy, "": 0 * wavy},
        after=pad_after(first, 3),
        exposure=(248e-9, 0.8, 0.6),
    )
    die.save(tmp_path / "die.nc")
    saved = planish.open_result(tmp_path / "die.nc")
    assert len(saved.setup_texts) == 2
    assert not any(name.startswith("given") for name in saved.data.variables)
    close(die, saved.rerun())


def test_saved_fields_reproduce_themselves(answers, tmp_path):
    fields = answers["fields"]
    close(fields, planish.open_result(fields.save(tmp_path / "fields.nc")).rerun())


def test_what_cannot_be_computed_again_says_why(answers, tmp_path):
    setup = planish.load(EXAMPLES / "rotary.toml")
    bare = planish.polish(setup.rig).save(tmp_path / "bare.nc")
    with pytest.raises(DataError, match=r"came from SI records.*predict from the setup"):
        planish.open_result(bare).rerun()
    under = planish.polish_die(setup, answers["layout maps"], place="mid", wafer=answers["one wafer"])
    with pytest.raises(DataError, match="leave wafer out"):
        planish.open_result(under.save(tmp_path / "die.nc")).rerun()
    with pytest.raises(DataError, match="tells of no call"):
        planish.open_result(answers["cleaning"].save(tmp_path / "cleaned.nc")).rerun()


def test_a_file_of_another_version_says_so(answers, tmp_path, monkeypatch):
    monkeypatch.setattr(result_base, "__version__", "0.0.7")
    path = answers["one wafer"].save(tmp_path / "wafer.nc")
    monkeypatch.undo()
    saved = planish.open_result(path)
    assert saved.version == "0.0.7"
    assert saved.notes[-1].startswith("saved by planish 0.0.7; this is " + planish.__version__)
    assert "0.0.7" in repr(saved)


def test_a_setup_that_reads_otherwise_now_is_said(answers, tmp_path):
    content = result_file.read(answers["one wafer"].save(tmp_path / "wafer.nc"))
    content.asked["setups"][0]["digest"] = "0" * 20
    again = type(planish.open_result(tmp_path / "wafer.nc"))(content).rerun()
    assert any("filled in otherwise" in note for note in again.notes)


def test_a_file_of_before_has_the_keys_of_now(answers, tmp_path):
    """Until results had one unit a quantity, the pressure at a place of the die was told in kPa."""
    die = answers["die"]
    content = result_file.read(die.save(tmp_path / "die.nc"))
    then = {**content.figures, "notes": ["as it was"]}
    psi = then.pop("pressure_psi")
    then["pressure_kPa"] = psi * 6.894757293168
    old = replace(content, version="", figures=then, asked=None, notes=("as it was",))
    saved = type(planish.open_result(tmp_path / "die.nc"))(old)
    assert saved.summary()["pressure_psi"] == pytest.approx(psi, rel=EXACT)
    assert "pressure_kPa" not in saved.summary()
    assert "named no version" in saved.notes[-1]
    with pytest.raises(DataError, match="before files told of the call"):
        saved.rerun()


def test_a_saved_call_makes_only_known_records(answers, tmp_path):
    content = result_file.read(answers["lot"].save(tmp_path / "lot") / "lot.nc")
    content.asked["options"] = {"table": [["limits", {"record": "Path", "fields": {}}]]}
    with pytest.raises(DataError, match="'Path' in its options is not known"):
        type(planish.open_result(tmp_path / "lot"))(content).rerun()
    content = result_file.read(answers["one wafer"].save(tmp_path / "wafer.nc"))
    content.asked["setups"][0]["files"] = {"../../out.csv": "x"}
    with pytest.raises(DataError, match="outside the setup's folder"):
        type(planish.open_result(tmp_path / "wafer.nc"))(content).rerun()


def test_a_die_that_the_command_saved_is_polished_again(tmp_path):
    words = ["die", str(EXAMPLES / "rotary.toml"), "--layout", str(EXAMPLES / "data" / "test-blocks.gds")]
    words += ["--layer", "1/0", "--cell", "400um", "--out", str(tmp_path), "--json"]
    done = CliRunner().invoke(app, words, catch_exceptions=False)
    assert done.exit_code == 0, done.output
    saved = planish.open_result(tmp_path / "die.nc")
    again = saved.rerun().summary()
    assert again["within_die_range_nm"] == pytest.approx(saved.summary()["within_die_range_nm"], rel=1e-12)
