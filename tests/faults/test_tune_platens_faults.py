"""Platens that cannot be in a row, and limits that leave nothing, are refused in one line with place and remedy."""

from pathlib import Path

import pytest
from typer.testing import CliRunner

import planish
from planish.cli.main import app
from planish.engine.files import write_together
from planish.errors import PlanishError

EXAMPLES = Path(__file__).parents[2] / "examples"


@pytest.fixture(scope="module")
def setup():
    base = planish.loads(planish.new_setup("rotary"))
    return base.replace({"recipe.step": [base.document["recipe"]["step"][1]], "title": "oxide"})


def _refused(*args, **options):
    with pytest.raises(PlanishError) as caught:
        planish.tune(*args, **options)
    return str(caught.value)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"wafer.thickness": "700 um"}, "platen 2, oxide: wafer.thickness = 700 µm: must be 775 µm"),
        ({"wafer.edge_exclusion": "5 mm"}, "wafer.edge_exclusion = 5 mm: must be 3 mm"),
        (
            {"wafer.film.1.name": "cap"},
            "films from the top = cap (oxide): must be those of the platen before",
        ),
        (
            {"wafer.film": [{"name": n, "material": "oxide", "thickness": "1 um"} for n in ("a", "b")]},
            "films from the top = a (oxide), b (oxide)",
        ),
    ],
)
def test_setups_of_another_wafer(setup, changes, words):
    assert words in _refused([setup, setup.replace(changes)], target="300 nm").replace("'", "")


def test_a_film_that_is_left_out_and_is_still_there():
    bulk, barrier = (planish.load(EXAMPLES / f"{name}.toml") for name in ("copper", "copper-barrier"))
    short = bulk.replace({"recipe.step": [bulk.document["recipe"]["step"][0]]})
    told = _refused([short, barrier], target="480 nm")
    assert "its films leave out copper, of which the platen before leaves up to 20" in told
    assert "add copper on top" in told


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"target": "450 nm", "bounds": {"platen.3.time": "..40 s"}}, "must be of platen.1 to platen.2"),
        ({"target": "450 nm", "bounds": {"platen.2": "..40 s"}}, "with what is bound there"),
        ({"target": "450 nm", "bounds": {"platen.2.tme": "..40 s"}}, "--bound platen.2.tme"),
        ({"target": "450 nm", "keep": ["platen.x.recipe.step"]}, "must be of platen.1 to platen.2"),
        ({"target": "450 nm", "keep": ["recipe.step.mian"]}, "no step 'mian'"),
        ({"target": "450 nm", "keep": ["platen.1", "platen.2"]}, "everything is kept"),
        ({"target": "450 nm", "longest": "2 psi"}, "--longest"),
        ({"target": "450 nm", "balance": "0 s"}, "--balance = '0 s': must be above 0"),
        ({"target": "450 nm", "longest": "1 s"}, "no settings keep all of them"),
        ({"target": "1200 nm"}, "must be less than the 1000 nm that come in"),
        ({"target": "450 nm", "meet": {"thickness": "440..460 nm"}}, "--meet"),
        ({"target": "20 nm", "bounds": {"time": "..60 s", "zone_pressure": "..3 psi"}}, "platen.1.recipe"),
    ],
)
def test_refusals_say_where_and_what(setup, options, words):
    told = _refused([setup, setup.replace({"title": "second"})], **options)
    assert words in told
    assert "must" in told or "did you mean" in told


def test_options_of_several_platens_with_one(setup):
    assert "--longest = '40 s': must be given with several setups" in _refused(
        setup, target="450 nm", longest="40 s"
    )
    assert "setups = none" in _refused([], target="450 nm").replace("'", "")


def test_the_command_ends_with_a_refusal_before_it_works(setup, tmp_path):
    files = [tmp_path / "a.toml", tmp_path / "b.toml"]
    for file in files:
        file.write_text(setup.to_toml())
    words = ["tune", *map(str, files), "--target", "450 nm"]
    meet = CliRunner().invoke(app, [*words, "--meet", "thickness=440..460 nm"])
    assert isinstance(meet.exception, PlanishError)
    assert "--meet" in str(meet.exception)
    out = CliRunner().invoke(app, [*words, "--out", str(files[0])])
    assert isinstance(out.exception, PlanishError)
    assert "is a file, not a folder" in str(out.exception)


def test_of_files_written_together_none_is_left_where_one_cannot_be(tmp_path):
    (tmp_path / "b.toml").mkdir()
    with pytest.raises(OSError, match=r"b\.toml"):
        write_together({tmp_path / "a.toml": "one", tmp_path / "b.toml": "two"})
    assert [one.name for one in tmp_path.iterdir()] == ["b.toml"]
    (tmp_path / "a.toml").write_text("as it was")
    with pytest.raises(OSError, match=r"b\.toml"):
        write_together({tmp_path / "a.toml": "one", tmp_path / "b.toml": "two"})
    assert (tmp_path / "a.toml").read_text() == "as it was"
