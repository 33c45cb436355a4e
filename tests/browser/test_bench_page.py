"""The bench in a real browser: drag, compare, teach, bring data, run, share; nothing in the console, nothing outside."""

from __future__ import annotations

import gzip
import re
from pathlib import Path

import pytest

EXAMPLES = Path(__file__).resolve().parents[2] / "examples" / "data"


def painted(page) -> int:
    return int(page.locator("html").get_attribute("data-painted") or 0)


def drag(page, path: str, share: float) -> None:
    """Put a slider at a share of its range, as a drag would."""
    before = painted(page)
    page.locator(f'input[type=range][data-path="{path}"]').evaluate(
        "(s, share) => { s.value = Math.round(share * s.max); s.dispatchEvent(new Event('input', {bubbles: true}));"
        " s.dispatchEvent(new Event('change', {bubbles: true})); }",
        share,
    )
    page.wait_for_selector(f'html:not([data-painted="{before}"])')


def open_part(page, part: str) -> None:
    page.locator(f"#plan [data-part={part}]").click()
    page.wait_for_selector(".settings fieldset, .settings .part-choice")


def numbers(page, card: str) -> str:
    return page.locator(f"#{card}-numbers").inner_text()


def test_three_answers_and_findings_come_by_themselves(visit) -> None:
    page = visit.open()
    page.wait_for_selector("#die-numbers b")
    page.wait_for_selector("#lot-numbers b")
    assert "nm/min" in numbers(page, "wafer")
    assert page.locator("#findings li").count() >= 3
    ink = page.locator("#wafer-map canvas").first.evaluate(
        "c => new Set(c.getContext('2d').getImageData(0, c.height / 2, c.width, 1).data).size"
    )
    assert ink > 20, "the wafer map is not painted"


@pytest.mark.parametrize(
    "part", ["polisher", "pad", "head", "ring", "conditioner", "slurry", "wafer", "recipe"]
)
def test_each_part_opens_its_settings_with_unit_range_and_source(visit, part) -> None:
    page = visit.open()
    open_part(page, part)
    panel = page.locator(".settings")
    assert panel.locator("input[type=range]").count() >= 1
    assert "typical" in panel.inner_text()
    assert re.search(r"source|set here|from memory|invented", panel.inner_text())
    page.keyboard.press("Escape")
    assert panel.is_hidden()


def test_a_slider_moves_map_numbers_and_address(visit) -> None:
    page = visit.open()
    open_part(page, "ring")
    before = numbers(page, "wafer")
    drag(page, "recipe.step.main.ring_pressure", 0.05)
    assert numbers(page, "wafer") != before
    page.wait_for_timeout(600)
    assert "#s=" in page.url
    # a restart or a reload loses nothing: the address holds the setup
    after = numbers(page, "wafer")
    page.reload()
    page.wait_for_selector("html[data-ready]")
    assert numbers(page, "wafer") == after


def test_text_field_takes_units_and_refuses_in_plain_words(visit) -> None:
    page = visit.open()
    open_part(page, "ring")
    field = page.locator("#set-recipe-step-main-ring_pressure")
    before = painted(page)
    field.fill("20 kPa")
    field.press("Enter")
    page.wait_for_selector(f'html:not([data-painted="{before}"])')
    page.wait_for_timeout(800)
    field.fill("900 psi")
    field.press("Enter")
    page.wait_for_selector("#toast.shown")
    assert "must be" in page.locator("#toast").inner_text()
    visit.errors.clear()  # the refused request shows in the console as status 400


def test_motions_change_the_drawing(visit) -> None:
    page = visit.open()
    for motion, words in (("linear", "Belt"), ("orbital", "Orbit"), ("rotary", "Platen")):
        page.click(f"#motions [data-motion={motion}]")
        page.wait_for_selector(f"#motions [data-motion={motion}][aria-pressed=true]")
        page.wait_for_selector(f"#slowed:has-text('{words}')")
    assert "slower" in page.locator("#slowed").inner_text()


def test_a_against_b_says_why(visit) -> None:
    page = visit.open()
    page.click("text=hold this setup as A")
    open_part(page, "pad")
    page.select_option(".part-choice select", "soft-felt")
    page.wait_for_selector(".why-svg")
    page.wait_for_selector("#compare .sentence:has-text('pad')")
    assert page.locator("#wafer-profile path.ghost").count() == 1, "the held setup is a ghost line"
    page.select_option('#wafer-tools select[aria-label^="Which"]', "d")
    assert "now − A" in page.locator("#wafer-map canvas").first.get_attribute("aria-label")
    page.click("#compare summary")
    assert page.locator("#compare table tbody tr").count() > 10
    page.click("text=back to A")
    page.wait_for_selector("#compare .sentence:has-text('no difference')")


def test_what_is_swapped_together_is_named_and_explained(visit) -> None:
    page = visit.open()
    page.click("text=hold this setup as A")
    page.click("#motions [data-motion=linear]")
    page.wait_for_selector("#compare .why-svg text:has-text('& conditioner')")
    page.wait_for_selector("#compare .told:has-text('swapped together')")
    assert "polisher & conditioner" in page.locator("#compare .sentence").inner_text()


def test_held_setup_survives_a_reload(visit) -> None:
    page = visit.open()
    page.click("text=hold this setup as A")
    open_part(page, "pad")
    page.select_option(".part-choice select", "hard-solid")
    page.wait_for_selector(".why-svg")
    page.reload()
    page.wait_for_selector("html[data-ready]")
    page.wait_for_selector(".why-svg")


LESSONS = ["motions", "hardness", "roughness", "conditioning", "disks", "ring", "speeds"]


@pytest.mark.parametrize("lesson", LESSONS)
def test_teaching_asks_first_and_computes_after(visit, lesson) -> None:
    page = visit.open(f"#view=teach&lesson={lesson}")
    page.wait_for_selector(f'[data-lesson={lesson}][aria-current="true"]')
    assert page.locator(".question").inner_text().endswith("?")
    assert page.locator(".teach-side").count() == 0, "the answer comes only when asked for"
    page.locator(".guess button").first.click()
    page.click("#show-answer")
    page.wait_for_selector(".teach-side table")
    assert "You said" in page.locator(".teach-side").inner_text()
    sentences = page.locator(".teach-side .sentence").all_inner_texts()
    assert len(sentences) == 3
    assert all(re.search(r"\d", s) for s in sentences)
    assert page.locator(".teach-chart path.line").count() >= 2


def test_a_case_of_a_lesson_opens_on_the_bench(visit) -> None:
    page = visit.open("#view=teach&lesson=motions")
    page.click("#show-answer")
    page.locator('[aria-label="open on the bench: linear"]').click()
    page.wait_for_selector("#motions [data-motion=linear][aria-pressed=true]")


def test_under_each_slider_stands_what_a_step_of_it_does(visit) -> None:
    page = visit.open()
    open_part(page, "ring")
    page.wait_for_selector(".settings .strip")
    told = page.locator('.setting:has([data-path$="ring_pressure"]) .strip').inner_text()
    assert re.match(r"at [\d.]+ psi: .*edge [+−]", told)


def test_own_sites_stand_beside_the_prediction(visit) -> None:
    page = visit.open("#view=data")
    page.set_input_files("#pick", [str(EXAMPLES / "wafer-before.csv"), str(EXAMPLES / "wafer-after.csv")])
    page.wait_for_selector("#data-result table")
    assert "misses the" in page.locator("#data-result").inner_text()
    assert page.locator("#wafer-profile circle.dot").count() > 10


def test_the_fitted_rate_is_taken_with_one_press(visit) -> None:
    page = visit.open("#view=data")
    page.set_input_files("#pick", [str(EXAMPLES / "wafer-before.csv"), str(EXAMPLES / "wafer-after.csv")])
    page.wait_for_selector("#data-result table")
    misfit = r"misses the .* sites by ([\d.]+) nm"
    before = float(re.search(misfit, page.locator("#data-result").inner_text())[1])
    page.click("text=use the fitted rate")
    page.wait_for_selector("#data-said:has-text('has the fitted rate')")
    page.wait_for_function(
        "(before) => { const told = document.querySelector('#data-result').innerText.match(/by ([\\d.]+) nm/);"
        " return told && Number(told[1]) < before; }",
        arg=before,
    )


def test_settings_are_solved_for_and_taken_with_one_press(visit) -> None:
    page = visit.open("#view=data")
    page.set_input_files("#pick", str(EXAMPLES / "wafer-before.csv"))
    page.wait_for_selector("#files tbody tr")
    page.click("#views [data-view=tune]")
    page.select_option("#tune-view [name=incoming]", label="wafer-before.csv")
    page.fill("#tune-view [name=target_nm]", "600")
    page.click("#tune-view summary")
    page.fill("#tune-view [name=neighbour_psi]", "0.3")
    page.click("#tune-view form button")
    page.wait_for_selector("#tune-view table")
    told = page.locator("#tune-view").inner_text()
    assert "What binds" in told
    assert "check it against the tool maker" in told
    zones = page.locator("#tune-view tr.moved td:last-child").all_inner_texts()
    psi = [float(text.split()[0]) for text in zones if text.endswith("psi")]
    assert psi
    before = page.evaluate("location.hash")
    page.click("#tune-view .tuned button")
    page.wait_for_function("(before) => location.hash !== before", arg=before)
    assert "has these settings" in page.locator("#tune-view [role=status]").inner_text()


def test_one_recipe_for_several_wafers_shows_their_spread_and_the_chance(visit) -> None:
    runs = EXAMPLES / "runs"
    visit.context.set_default_timeout(5 * 60_000)  # long runs on a loaded host
    page = visit.open("#view=data")
    page.set_input_files("#pick", [str(runs / "W01-pre.csv"), str(runs / "W02-pre.csv")])
    page.wait_for_selector("#files tbody tr:nth-child(2)")
    page.click("#views [data-view=tune]")
    page.select_option("#tune-view [name=incoming]", label=["W01-pre.csv", "W02-pre.csv"])
    page.fill("#tune-view [name=target_nm]", "450")
    page.click("#tune-view form button.main")
    page.wait_for_selector("#tune-view [aria-label='Each wafer before and after'] tbody tr:nth-child(2)")
    assert page.locator("#tune-view path.band").count() == 1
    assert page.locator("#tune-view path.thin").count() == 2
    page.click("#tune-view summary")
    page.select_option("#tune-view [aria-label='another limit to meet']", "thickness")
    page.fill("#tune-view [data-key=thickness] [name=low]", "440")
    page.fill("#tune-view [data-key=thickness] [name=high]", "460")
    page.fill("#tune-view [name=draws]", "20")
    page.uncheck("#tune-view [name=spreads]")
    page.click("#tune-view form button.main")
    page.wait_for_selector("#tune-view .chance:has-text('95')")
    assert re.search(
        r"in \d[\d.]*.% \(95.% interval [\d.]+ to [\d.]+.%\) of 20 draws",
        page.locator(".chance").inner_text(),
    )
    page.fill("#tune-view [name=draws]", "100000")
    page.click("#tune-view form button.main")
    page.wait_for_selector("#tune-view .wrong:has-text('draws = 100000: must be at most')")
    visit.errors.clear()  # the refused request shows in the console as status 400


def test_settings_solved_for_another_setup_are_not_taken(visit) -> None:
    page = visit.open("#view=tune")
    page.fill("#tune-view [name=target_nm]", "600")
    page.click("#tune-view form button")
    page.wait_for_selector("#tune-view table")
    page.click("#motions [data-motion=linear]")
    page.wait_for_selector("#motions [data-motion=linear][aria-pressed=true]")
    page.click("#tune-view .tuned button")
    page.wait_for_selector("#tune-view .wrong:has-text('has changed since')")
    assert page.locator("#motions [data-motion=linear]").get_attribute("aria-pressed") == "true"


def test_a_target_out_of_reach_says_what_stops_it(visit) -> None:
    page = visit.open("#view=tune")
    page.fill("#tune-view [name=target_nm]", "999999")
    page.click("#tune-view form button")
    page.wait_for_selector("#tune-view .wrong:has-text('must be less than')")
    assert not page.locator("#tune-view table").count()
    visit.errors.clear()  # the refused request shows in the console as status 400


def test_traces_and_rates_are_cut_into_wafers(visit, tmp_path) -> None:
    from planish.measure.traces.invented import invented_traces

    samples, rates = invented_traces(3, wafers=40)
    samples.write_parquet(tmp_path / "traces.parquet")
    rates.write_csv(tmp_path / "rates.csv")
    page = visit.open("#view=data")
    page.set_input_files("#pick", [str(tmp_path / "rates.csv"), str(tmp_path / "traces.parquet")])
    page.wait_for_selector("#data-result h3:has-text('polishes')")
    assert page.locator("#data-result circle.dot").count() > 20


def test_a_layout_becomes_a_die_with_a_map_to_move_in(visit, tmp_path) -> None:
    from planish.measure.layout.make import make_layout

    make_layout("density-blocks", tmp_path / "die.gds", size=2e-3)
    page = visit.open("#view=data")
    page.set_input_files("#pick", str(tmp_path / "die.gds"))
    page.wait_for_selector("#files tbody tr")
    page.click("text=polish this die")
    page.wait_for_selector('#jobs tbody tr:first-child button:has-text("show")')
    page.reload()  # results survive a reload
    page.wait_for_selector("html[data-ready]")
    page.locator('#jobs tbody tr:first-child button:has-text("show")').click()
    page.wait_for_selector(".tiles canvas")
    page.wait_for_timeout(800)
    colours = "c => new Set(new Uint32Array(c.getContext('2d').getImageData(0, 0, c.width, c.height).data.buffer)).size"
    canvas = page.locator(".tiles canvas")
    assert canvas.evaluate(colours) > 5
    canvas.press("+")
    canvas.press("ArrowRight")


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("notes.exe", b"MZ", "must end in"),
        ("sites.csv", b"PK\x03\x04rest", "archive"),
        ("sites.csv", b"a\0b", "binary"),
        ("die.gds", b"not a layout at all", "GDSII"),
        ("die.gds.gz", gzip.compress(b"\0" * 700_000_000, 9), "when unpacked"),
        ("sites.csv", b"x,y\n1,2\n", "cannot be read"),
    ],
)
def test_files_that_will_not_do_are_refused_in_plain_words(visit, tmp_path, name, content, words) -> None:
    (tmp_path / name).write_bytes(content)
    page = visit.open("#view=data")
    page.set_input_files("#pick", str(tmp_path / name))
    page.wait_for_selector(f"#data-said:has-text('{words}')")
    visit.errors.clear()  # the refused request shows in the console as status 400


def test_a_run_can_be_stopped(visit) -> None:
    page = visit.open("#view=runs")
    page.fill("#lot-form [name=wafers]", "5000")
    page.click("text=run the lot")
    page.locator('#jobs tbody tr:first-child button:has-text("stop")').click()
    page.wait_for_selector("#jobs tbody tr:first-child td:has-text('stopped')")


def test_a_long_lot_shows_in_the_card(visit) -> None:
    page = visit.open("#view=runs")
    page.fill("#lot-form [name=wafers]", "60")
    page.click("text=run the lot")
    page.locator('#jobs tbody tr:first-child button:has-text("show")').click()
    page.wait_for_selector("#job-result a")
    assert "wafer 60" in numbers(page, "lot")


def test_everything_can_be_taken_away(visit) -> None:
    page = visit.open()
    page.wait_for_selector("#lot-numbers b")
    page.click("#keep")
    for button in ("#save-toml", "#save-sheet", "#save-report"):
        with page.expect_download() as taken:
            page.click(button)
        assert Path(taken.value.path()).stat().st_size > 200
    for card in ("wafer", "die", "lot"):
        if page.locator(f"#{card}-tools .grow-tool").is_visible():
            page.click(f"#{card}-tools .grow-tool")
        for kind in ("PNG", "SVG", "CSV"):
            with page.expect_download() as taken:
                page.click(f"#{card}-tools .saves >> text={kind}")
            content = Path(taken.value.path()).read_bytes()
            assert content[:4] == b"\x89PNG" if kind == "PNG" else len(content) > 100
    page.wait_for_timeout(500)


def test_a_saved_setup_opens_again(visit, tmp_path) -> None:
    page = visit.open()
    (tmp_path / "mine.toml").write_text((EXAMPLES.parent / "orbital.toml").read_text())
    page.click("#keep")
    page.set_input_files("#open-toml", str(tmp_path / "mine.toml"))
    page.wait_for_selector("#motions [data-motion=orbital][aria-pressed=true]")


def test_units_theme_and_two_windows_do_not_mix(window) -> None:
    one, other = window(), window(width=1920, height=1080)
    first, second = one.open(), other.open()
    first.click("#units [data-units=si]")
    first.click("#theme")
    first.click("#motions [data-motion=linear]")
    first.wait_for_selector("#slowed:has-text('Belt')")
    assert "nm/s" in numbers(first, "wafer")
    assert "nm/min" in numbers(second, "wafer")
    assert "Platen" in second.locator("#slowed").inner_text()
    open_part(second, "ring")
    drag(second, "recipe.step.main.ring_pressure", 0.9)
    assert "Belt" in first.locator("#slowed").inner_text()


def test_reduced_motion_is_respected(window) -> None:
    page = window(reduced_motion="reduce").open()
    where = page.locator(".point").get_attribute("cx")
    page.wait_for_timeout(400)
    assert page.locator(".point").get_attribute("cx") == where
    assert page.locator("#pause").inner_text() == "move"


def test_the_keyboard_reaches_everything(visit) -> None:
    page = visit.open()
    seen = set()
    for _ in range(60):
        page.keyboard.press("Tab")
        seen.add(page.evaluate("document.activeElement.dataset.part || document.activeElement.id"))
    assert {"polisher", "pad", "head", "ring", "conditioner", "slurry", "wafer", "recipe"} <= seen
    page.locator("#plan [data-part=pad]").press("Enter")
    page.wait_for_selector(".settings .part-choice")
    focused = page.evaluate("document.activeElement.closest('.settings') !== null")
    assert focused, "the settings take the focus"


def test_damaged_address_is_said_and_the_demo_shown(visit) -> None:
    page = visit.open("#s=notasetup")
    page.wait_for_selector("#toast.shown")
    assert "damaged" in page.locator("#toast").inner_text()
    assert "nm/min" in numbers(page, "wafer")


def test_what_stands_on_the_die_can_be_chosen(visit) -> None:
    page = visit.open()
    page.wait_for_selector("#die-numbers b")
    page.click('[aria-label="die: open what stands on it"]')
    page.wait_for_selector("#set-die-process")
    page.select_option("#set-die-process", "sti")
    page.wait_for_selector("#die-numbers:has-text('dishing')")


def test_a_wafer_can_be_cleaned_and_its_steps_set(visit) -> None:
    page = visit.open()
    page.wait_for_selector("#wafer-numbers b")
    assert "particles left" not in numbers(page, "wafer")
    page.click('[aria-label="wafer: open its cleaning"]')
    page.click(".switch-cleaning")
    page.wait_for_selector("#wafer-numbers:has-text('particles left')")
    before = numbers(page, "wafer")
    slip = page.locator("#set-clean-step-1-slip")
    slip.wait_for()
    slip.fill("3")
    slip.press("Enter")
    page.wait_for_function(
        "before => document.querySelector('#wafer-numbers').innerText !== before", arg=before
    )
    page.click(".switch-cleaning")
    page.wait_for_selector("#wafer-numbers:not(:has-text('particles left'))")
