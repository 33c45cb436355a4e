"""Files that do not say which column is what: told in a dialog, kept, read by the reader of the command; and tables of runs."""

from __future__ import annotations

import json
import math
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from planish.cli.main import app as command

RUNS = Path(__file__).resolve().parents[2] / "examples" / "data" / "runs"
SLOW = 240_000  # [ms] of a fit on a shared machine


def gauge(folder: Path, name: str, start: float, names: str) -> str:
    """Write sites in inches and angstroms under names that mean nothing; what the gauge of an invented bay writes."""
    lines, site = [], 0
    for ring, count in enumerate((1, 8, 16, 24)):
        for k in range(count):
            site += 1
            radius, angle = 5.78 * ring / 3, 2 * math.pi * k / count
            cells = (
                radius * math.cos(angle),
                radius * math.sin(angle),
                start - 9 * radius + 5 * math.cos(angle),
            )
            lines.append(f"{site};" + ";".join(f"{cell:.4f}" for cell in cells))
    file = folder / name
    file.write_text(f"Log of the bay;;;\n{names}\n" + "\n".join(lines).replace(".", ",") + "\n")
    return str(file)


def field(page, name: str):
    return page.locator(f"dialog.reading [name='{name}']")


def tell(page, **said: str) -> None:
    for name, value in said.items():
        field(page, name.replace("_", "-")).select_option(value)


def test_columns_told_by_hand_give_the_numbers_of_the_command(visit, tmp_path) -> None:
    files = [
        gauge(tmp_path, name, start, "Nr;Pos A;Pos B;T1")
        for name, start in (("pre.csv", 10120), ("post.csv", 6120))
    ]
    page = visit.open("#view=data")
    page.set_input_files("#pick", files)
    page.wait_for_selector("#reading-said:has-text('no line of column names is found')")
    assert page.locator(".reading-rows tr.names").inner_text().split() == [
        "2",
        "Nr",
        "Pos",
        "A",
        "Pos",
        "B",
        "T1",
    ]
    tell(
        page,
        column_measured="T1",
        unit_measured="A",
        column_x="Pos A",
        column_y="Pos B",
        unit_x="in",
        unit_y="in",
    )
    page.wait_for_selector("#reading-said:has-text('thickness from \\'T1\\' in Å as told')")
    page.wait_for_selector("figcaption:has-text('49 sites')")
    with page.expect_download() as saved:
        page.click("text=column map as file")
    told = tmp_path / "told.toml"
    saved.value.save_as(told)
    with page.expect_response("**/api/measured") as answered:
        page.click("text=use this")
    page.wait_for_selector("#data-result table")
    assert "1 more with the same column names" in page.locator("#data-said").inner_text()
    assert page.locator("#files td:has-text('as told')").count() == 2

    ran = CliRunner().invoke(command, ["measure", *files, "--columns", str(told), "--json"])
    figures = json.loads(ran.output)
    shown = {row["key"]: row["measured"] for row in answered.value.json()["figures"]}
    known = [
        key
        for key, value in shown.items()
        if value is not None and key in figures and figures[key] is not None
    ]
    assert "mean_removed_nm" in known
    for key in ("mean_removed_nm", "wiwnu_sigma_percent", "wiwnu_range_percent"):
        assert shown[key] == figures[key]


def test_what_is_told_wrongly_is_refused_in_words_and_nothing_is_kept(visit, tmp_path) -> None:
    page = visit.open("#view=data")
    page.set_input_files("#pick", gauge(tmp_path, "wrong.csv", 10120, "Nr;Side A;Side B;T1"))
    page.wait_for_selector("dialog.reading tbody tr")
    tell(
        page,
        column_measured="T1",
        unit_measured="A",
        column_x="Side A",
        column_y="Side B",
        unit_x="m",
        unit_y="m",
    )
    page.wait_for_selector("#reading-said.wrong:has-text('must be on the wafer')")
    assert "wrong.csv: line" in page.locator("#reading-said").inner_text()
    page.click("text=use this")
    page.wait_for_selector("#reading-said.wrong")
    assert page.locator("dialog.reading[open]").count() == 1
    page.locator("dialog.reading footer .leave").click()
    page.wait_for_selector("dialog.reading", state="detached")
    assert "not read yet" in page.locator("#files").inner_text()
    page.click("#maps-shown")
    page.wait_for_timeout(500)
    assert "Side A" not in page.locator("#maps").inner_text()
    visit.errors.clear()  # the refused request shows in the console as status 400


def test_a_kept_map_reads_the_next_file_and_can_be_taken_back(visit, tmp_path) -> None:
    page = visit.open("#view=data")
    page.set_input_files("#pick", gauge(tmp_path, "first.csv", 10120, "Nr;Way A;Way B;T1"))
    page.wait_for_selector("dialog.reading tbody tr")
    tell(
        page,
        column_measured="T1",
        unit_measured="A",
        column_x="Way A",
        column_y="Way B",
        unit_x="in",
        unit_y="in",
    )
    page.wait_for_selector("figcaption:has-text('49 sites')")
    page.fill("dialog.reading [name=called]", "bay seven")
    page.click("text=use this")
    page.wait_for_selector("dialog.reading", state="detached")
    page.set_input_files("#pick", gauge(tmp_path, "second.csv", 9000, "Nr;Way A;Way B;T1"))
    page.wait_for_selector("#data-said:has-text('your column map \\'bay seven\\' and was read by it')")
    assert page.locator("dialog.reading").count() == 0
    # A wrong guess, or a wrong map, is corrigible from the file itself.
    page.click("[aria-label='read it otherwise: second.csv']")
    page.wait_for_selector("figcaption:has-text('49 sites')")
    assert field(page, "unit-x").input_value() == "in"
    tell(page, unit_x="cm", unit_y="cm")
    page.wait_for_selector("figcaption:has-text('57.8 mm from the centre')")
    page.uncheck("dialog.reading [name=remember]")
    page.click("text=use this")
    page.wait_for_selector("dialog.reading", state="detached")
    assert "in cm as told" in page.locator("#files tr:has-text('second.csv')").inner_text()
    page.click("#maps-shown")
    row = page.locator("#maps tr:has-text('bay seven')")
    assert "x is Way A in in" in row.inner_text()
    row.get_by_role("button", name="forget the column map bay seven").click()
    page.wait_for_selector("#maps tr:has-text('bay seven')", state="detached")


def test_a_map_dropped_as_a_file_is_there_to_be_taken(visit, tmp_path) -> None:
    told = tmp_path / "own gauge.toml"
    told.write_text(
        '[columns]\nx = "Up A"\ny = "Up B"\nthickness = "T1"\n[units]\nx = "in"\ny = "in"\nthickness = "A"\n'
    )
    page = visit.open("#view=data")
    page.set_input_files("#pick", str(told))
    page.wait_for_selector("#data-said:has-text('kept as a column map')")
    page.set_input_files("#pick", gauge(tmp_path, "up.csv", 10120, "Nr;Up A;Up B;T1"))
    page.wait_for_selector("dialog.reading [name=kept] option:has-text('own gauge')", state="attached")
    field(page, "kept").select_option(label="own gauge.toml")
    page.wait_for_selector("figcaption:has-text('49 sites')")
    assert field(page, "column-x").input_value() == "Up A"


def test_the_dialog_by_keyboard_alone(visit, tmp_path) -> None:
    page = visit.open("#view=data")
    page.set_input_files("#pick", gauge(tmp_path, "keys.csv", 10120, "Nr;Key A;Key B;T1"))
    page.wait_for_selector("dialog.reading tbody tr")
    assert page.evaluate("document.activeElement.id") == "reading-name"
    reached = set()
    for _ in range(40):
        page.keyboard.press("Tab")
        reached.add(page.evaluate("document.activeElement.name || document.activeElement.className"))
    assert {
        "kept",
        "column-x",
        "unit-y",
        "separator",
        "line",
        "reading-rows",
        "remember",
        "save",
        "leave",
        "main",
    } <= reached
    page.keyboard.press("Escape")
    page.wait_for_selector("dialog.reading", state="detached")


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_accessibility_of_the_dialog(window, tmp_path, theme) -> None:
    from axe_playwright_python.sync_playwright import Axe

    opened = window(color_scheme=theme, bypass_csp=True)  # axe comes in as an inline script
    page = opened.open("#view=data")
    page.set_input_files("#pick", gauge(tmp_path, "axe.csv", 10120, "Nr;Axe A;Axe B;T1"))
    page.wait_for_selector("dialog.reading tbody tr")
    for told in (False, True):
        if told:
            tell(
                page,
                column_measured="T1",
                unit_measured="A",
                column_x="Axe A",
                column_y="Axe B",
                unit_x="in",
                unit_y="in",
            )
            page.wait_for_selector("figcaption:has-text('49 sites')")
        found = Axe().run(page).response["violations"]
        assert [v["id"] for v in found if v["impact"] in ("serious", "critical")] == []


@pytest.mark.parametrize(("width", "height"), [(360, 740), (1280, 720), (3840, 2160)])
def test_the_dialog_fits_the_screen(window, tmp_path, width, height) -> None:
    page = window(width=width, height=height).open("#view=data")
    page.set_input_files("#pick", gauge(tmp_path, "wide.csv", 10120, "Nr;Wide A;Wide B;T1"))
    page.wait_for_selector("dialog.reading tbody tr")
    box = page.locator("dialog.reading").bounding_box()
    assert box["x"] >= 0
    assert box["x"] + box["width"] <= width
    assert box["y"] + box["height"] <= height + 1
    use = page.locator("dialog.reading button.main").bounding_box()
    assert use["y"] + use["height"] <= height
    inside = "e => e.scrollWidth <= e.clientWidth + 1"
    for part in ("form", "header", "footer", ".reading-told"):
        assert page.locator(f"dialog.reading {part}").first.evaluate(inside), part


def test_the_server_refuses_what_no_column_map_says(visit, bench) -> None:
    visit.open()
    ask = visit.context.request
    for path, body, status, words in (
        ("uploads/0123456789abcdef/look", {"told": {}}, 400, "no such file of yours"),
        ("uploads/0123456789abcdef/read", {"told": {"colour": "red"}}, 422, "colour"),
        ("columns", {"name": "n", "text": "x ="}, 400, "is no TOML"),
        ("columns/toml", {"columns": {"colour": "a"}}, 400, "role = 'colour'"),
        ("runs", {"document": {}, "file": "0123456789abcdef"}, 400, "no such file of yours"),
        ("jobs", {"document": {}, "kind": "fit"}, 400, ""),
    ):
        answer = ask.post(bench.url + "api/" + path, data=body)
        assert answer.status == status, path
        assert words in answer.json()["refused"]


def test_a_table_of_runs_is_fitted_with_its_files_and_taken_with_one_press(visit, tmp_path) -> None:
    lines = (RUNS / "runs.csv").read_text().splitlines()
    kept = [line for line in lines if line.startswith(("wafer,", "W01,", "W04,"))]
    (tmp_path / "two runs.csv").write_text("\n".join(kept))
    names = ("W01-pre.csv", "W01-post.csv", "W04-pre.csv", "W04-post.csv")
    for name in names:
        shutil.copy(RUNS / name, tmp_path / name)
    page = visit.open("#view=data")
    page.set_input_files("#pick", [str(tmp_path / name) for name in ("two runs.csv", *names[:3])])
    page.wait_for_selector(".fit-said.wrong:has-text('have not brought: W04-post.csv')", timeout=SLOW)
    assert page.locator(".fit-form button.main").is_disabled()
    page.set_input_files("#pick", str(tmp_path / names[3]))
    page.wait_for_selector(".fit-said:has-text('two runs.csv: 2 rows')")
    assert page.locator(".fit-form [name=free]:checked").evaluate_all("b => b.map((e) => e.value)") == [
        "removal.oxide.rate"
    ]
    page.click(".fit-form button.main")
    page.wait_for_selector(".fit-result table", timeout=SLOW)
    told = page.locator(".fit-result").inner_text()
    assert "these data tell every free number" in told
    assert "measure next (1):" in told
    assert "with qualified staff, on monitor wafers" in told
    fitted = page.locator(".fit-result td.fitted").inner_text()

    setup = tmp_path / "demo.toml"
    setup.write_text(visit.context.request.post(visit.home + "api/toml", data={"document": page.evaluate(
        "async () => (await (await fetch('/api/setups')).json()).document")}).text())  # fmt: skip
    ran = CliRunner().invoke(
        command, ["fit", str(setup), str(tmp_path / "two runs.csv"), "--free", "removal.oxide.rate", "--json"]
    )
    value = json.loads(ran.output)["parameters"]["removal.oxide.rate"]["value"]
    assert float(fitted) == pytest.approx(value, rel=1e-3)

    before = page.evaluate("location.hash")
    page.click(".fit-result button.main")
    page.wait_for_selector(".fit-taken:has-text('has the fitted numbers now')")
    page.wait_for_function("(before) => location.hash !== before", arg=before)
    page.click(".fit-result button.main")  # it is no longer the setup that was fitted
    page.wait_for_selector(".fit-taken.wrong:has-text('has changed since')")
