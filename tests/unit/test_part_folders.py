"""Parts from folders that a setup or the environment names; what is wrong with them is said with file and key."""

from __future__ import annotations

import json
import os
import tomllib
from pathlib import Path

import pytest
from answered_here import SameProcess
from starlette.testclient import TestClient

import planish
from planish.errors import SetupError
from planish.setup.check import check
from planish.setup.part_files import check_part
from planish.setup.parts import PART_KINDS, catalogue, list_parts
from planish.web.app import build

PAD = (Path(__file__).parents[1] / "outside_package/outside_polish/parts/pads.toml").read_text()
OURS = PAD.replace("outside-firm", "our-pad")


def written(folder: Path, text: str = OURS, name: str = "pads.toml") -> Path:
    folder.mkdir(exist_ok=True)
    (folder / name).write_text(text)
    return folder


def setup(folder: Path, named: str = '["ours"]', part: str = "our-pad") -> Path:
    text = planish.new_setup("rotary").replace('part = "hard-microporous"', f'part = "{part}"')
    file = folder / "setup.toml"
    file.write_text(f"parts_folders = {named}\n{text}")
    return file


def test_a_setup_takes_a_part_from_the_folder_that_it_names(tmp_path):
    written(tmp_path / "ours")
    made = planish.load(setup(tmp_path))
    assert made.get("pad.top.shore_d") == 50
    assert "part our-pad: invented" in made.sources
    assert made.replace({"pad.top.shore_d": 52}).rig.pad.shore_d == 52
    again = made.to_toml()
    (tmp_path / "again.toml").write_text(again)
    assert planish.load(tmp_path / "again.toml").digest() == made.digest()
    assert not [f for f in check(tmp_path / "setup.toml") if f.level == "error"]
    assert "our-pad" not in catalogue("pad")  # that setup's alone


def test_a_part_that_changes_on_disk_is_read_anew(tmp_path):
    folder = written(tmp_path / "ours")
    file = setup(tmp_path)
    before = planish.load(file)
    written(folder, OURS.replace("value = 50", "value = 60"))
    os.utime(folder / "pads.toml", ns=(1, 1))
    after = planish.load(file)
    assert (before.get("pad.top.shore_d"), after.get("pad.top.shore_d")) == (50, 60)
    assert before.digest() != after.digest()


def test_the_reference_pad_may_be_one_of_ours(tmp_path):
    written(tmp_path / "ours")
    file = setup(tmp_path)
    made = planish.load(file).replace({"removal.oxide.reference.pad": "our-pad"})
    assert made.rig.removal["oxide"].reference.real_pressure > 0


def test_the_environment_names_folders_for_all_setups(tmp_path, monkeypatch):
    one, two = written(tmp_path / "one"), written(tmp_path / "two", OURS.replace("our-pad", "second"))
    monkeypatch.setenv("PLANISH_PARTS", os.pathsep.join([str(one), str(two)]))
    origins = {row.part: row.origin for row in list_parts("pad")}
    assert origins["our-pad"] == str(one / "pads.toml")
    assert origins["second"] == str(two / "pads.toml")
    assert origins["soft-felt"] == "planish"
    monkeypatch.setenv("PLANISH_PARTS", str(tmp_path / "gone"))
    with pytest.raises(SetupError, match=r"PLANISH_PARTS = .*gone.*a folder that is there"):
        list_parts("pad")


def test_a_name_that_two_places_give_is_refused_with_both(tmp_path):
    folder = written(tmp_path / "ours", OURS.replace("our-pad", "soft-felt"))
    with pytest.raises(
        SetupError, match=r"ours/pads.toml: name of a pad = 'soft-felt'.*planish has not given"
    ):
        list_parts("pad", folders=[folder])
    written(folder)
    other = written(tmp_path / "other")
    with pytest.raises(SetupError, match=r"other/pads.toml: .*'our-pad'.*ours/pads.toml has not given"):
        list_parts("pad", folders=[folder, other])
    assert len({row.part for row in list_parts("pad", folders=[folder, folder])} & {"our-pad"}) == 1


FAULTS = {
    "no TOML": (OURS + "\n[", "is not TOML in UTF-8"),
    "no summary": (OURS.replace("summary", "summery"), "our-pad.summary = None: must be one line of text"),
    "no source": (OURS.replace(', source = "invented"', "", 1), "our-pad.family.source = None: must be text"),
    "an unknown word": (OURS.replace("spread", "spraed"), r"spraed: unknown key \(did you mean 'spread'"),
    "dots without quotes": (OURS.replace('"top.thickness"', "top.thickness"), 'a key with dots in quotes: "top'),
    "an unknown key": (OURS.replace("top.shore_d", "top.shore_e"), r"pad.top.shore_e: unknown key.*shore_"),
    "a wrong unit": (OURS.replace("2 mm", "2 psi"), "our-pad: pad.top.thickness = '2 psi': must be"),
    "something left out": (
        OURS.replace('density = { value = "0.9 g/cm^3", source = "invented" }', ""),
        "our-pad: pad.density: not given",
    ),
    "no table": ('our-pad = "hard"\n', "our-pad = 'hard': must be a table a part"),
}  # fmt: skip


@pytest.mark.parametrize("fault", FAULTS)
def test_a_broken_part_file_is_refused_with_file_and_key(tmp_path, fault):
    text, says = FAULTS[fault]
    folder = written(tmp_path / "ours", text)
    with pytest.raises(SetupError, match=rf"pads\.toml: .*{says}") as refused:
        list_parts("pad", folders=[folder])
    assert "\n" not in str(refused.value)
    found = check(setup(tmp_path))  # a finding, not a traceback
    assert [f.level for f in found][:1] == ["error"]
    assert "pads.toml" in found[0].message


def test_a_file_of_another_name_and_a_folder_that_is_none_are_refused(tmp_path):
    written(tmp_path / "ours", OURS, "polishing-cloths.toml")
    with pytest.raises(SetupError, match=r"name of a part file = 'polishing-cloths.toml'.*pads.toml"):
        planish.load(setup(tmp_path))
    for named, says in (
        ('["nowhere"]', r"parts_folders.0 = 'nowhere': must be a folder that is there"),
        ('"ours"', r"must be a list of at most"),
        ("[1]", r"must be a list of at most"),
        (json.dumps([str(n) for n in range(99)]), r"must be a list of at most"),
    ):
        with pytest.raises(SetupError, match=says):
            planish.load(setup(tmp_path, named))


def test_a_film_law_and_its_coefficients_are_checked_in_the_file(tmp_path):
    film = """[our-glass]
summary = "an invented glass"
law = { value = "threshold", source = "invented" }
rate = { value = "300 nm/min", source = "invented" }
"coefficients.p_threshold" = { value = "LIMIT", source = "invented" }
"""
    folder = written(tmp_path / "ours", film.replace("LIMIT", "1 psi"), "films-of-ours.toml")
    assert {row.part for row in list_parts("film", folders=[folder])} == {"our-glass"}
    text = planish.new_setup("rotary").replace('material = "oxide"', 'material = "glass"')
    (tmp_path / "s.toml").write_text(
        f'parts_folders = ["ours"]\n{text}\n[removal.glass]\npart = "our-glass"\nspread = 0.2\n'
    )
    law = planish.load(tmp_path / "s.toml").rig.removal["glass"]
    assert law.coefficients["k_p"] * 2 * 6894.757293168 == pytest.approx(300e-9 / 60, rel=1e-12)
    assert law.relative_spread == 0.2
    written(folder, film.replace("LIMIT", "9 psi"), "films-of-ours.toml")
    with pytest.raises(
        SetupError, match=r"films-of-ours.toml: our-glass: .*p_threshold = '9 psi': must be below"
    ):
        list_parts("film", folders=[folder])


def test_what_ships_would_pass_as_a_part_of_the_users():
    for kind in PART_KINDS:
        for part in catalogue(kind).values():
            check_part(Path("shipped"), kind, part.name, part.tree())


def test_a_setup_sent_to_the_bench_names_no_folders_of_the_server(tmp_path, monkeypatch):
    folder = written(tmp_path / "ours")
    text = planish.new_setup("rotary").replace('part = "hard-microporous"', 'part = "our-pad"')
    document = tomllib.loads(text)
    with TestClient(build(SameProcess(), tmp_path / "bench"), base_url="http://localhost") as client:
        for named in ([str(folder)], ["."], [], "/etc"):
            sent = {"document": {**document, "parts_folders": named}}
            replies = [client.post(f"/api/{route}", json=sent) for route in ("setup", "wafer", "toml", "lot")]
            chosen = {**sent, "section": "pad", "part": "soft-felt"}
            replies.append(client.post("/api/choose", json=chosen))
            replies.append(
                client.post("/api/read", json={"text": f"parts_folders = {json.dumps(named)}\n{text}"})
            )
            for reply in replies:
                assert reply.status_code == 400, reply.url
                assert "must be left out here" in reply.json()["refused"], reply.text
        # Whoever runs the bench may name the folder.
        assert client.post("/api/wafer", json={"document": document}).status_code == 400
        monkeypatch.setenv("PLANISH_PARTS", str(folder))
        assert client.post("/api/wafer", json={"document": document}).status_code == 200
