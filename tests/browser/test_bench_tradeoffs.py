"""Trade-offs on the bench: asked for, run, stopped, refused; each point of the front reached by mouse, keyboard and table."""

from __future__ import annotations

from pathlib import Path

import pytest
from tradeoffs_page import answer_the_question

VIEW = "#tradeoffs-view"
SAID = f"{VIEW} .foreseen"


def opened(visit):
    page = visit.open("#view=tradeoffs")
    page.wait_for_selector(f"{VIEW} .aims input", state="attached")
    answer_the_question(page)
    return page


def rate(page) -> float:
    return float(page.locator("#wafer-numbers b").first.inner_text().split()[0])


def wait_for_rate(page, figure: str) -> None:
    """Wait until the wafer's card shows a rate of the table, as it rounds it."""
    page.wait_for_selector(f"#wafer-numbers b:text-is('{float(figure):.0f} nm/min')")


def test_a_front_is_searched_pictured_and_each_point_put_on_the_bench(visit, search_lists) -> None:
    page = opened(visit)
    before, hash_before = rate(page), page.evaluate("location.hash")
    search_lists(page)
    rows = page.locator(f"{VIEW} .points tbody tr")
    dots = page.locator(f"{VIEW} .dot-button")
    assert rows.count() == dots.count() >= 2
    assert page.locator(f"{VIEW} .mark.end").count() >= 1
    assert "removal rate [nm/min], higher is better" in page.locator(f"{VIEW} .scatter").text_content()
    first = [cell.inner_text() for cell in rows.first.locator("td").all()]
    assert first[1].startswith("best rate")
    dots.first.click()
    page.wait_for_selector(f"{VIEW} [data-point='1'] [aria-pressed=true]")
    wait_for_rate(page, first[2])
    assert page.evaluate("location.hash") != hash_before
    start = rows.filter(
        has=page.locator("td:text-matches('as it stands')")
    )  # a point of its own, or one of the front's
    assert start.count() == 1
    start.hover()
    assert "as it stands" in page.locator(f"{VIEW} .picked").inner_text()
    start.locator("button").click()
    start.locator("[aria-pressed=true]").wait_for()
    wait_for_rate(page, str(before))
    for kind in ("PNG", "SVG", "CSV"):
        with page.expect_download() as taken:
            page.click(f"{VIEW} .saves >> text={kind}")
        content = Path(taken.value.path()).read_bytes()
        assert content[:4] == b"\x89PNG" if kind == "PNG" else len(content) > 100


def test_the_keyboard_goes_along_the_front_and_what_stood_there_comes_back(visit) -> None:
    page = opened(visit)
    page.wait_for_selector(f"{VIEW} .points tbody tr")  # the run of before is found again
    page.click(f"{VIEW} .ask > summary")
    page.click("#motions [data-motion=linear]")
    page.wait_for_selector("#motions [data-motion=linear][aria-pressed=true]")
    dots = page.locator(f"{VIEW} .dot-button")
    assert page.locator(f"{VIEW} .dot-button[tabindex='0']").count() == 1
    dots.first.focus()
    page.keyboard.press("ArrowRight")
    assert dots.nth(1).evaluate("dot => dot === document.activeElement")
    assert "removal rate" in dots.nth(1).get_attribute("aria-label")
    page.keyboard.press("Enter")
    page.wait_for_selector("#motions [data-motion=rotary][aria-pressed=true]")
    page.wait_for_selector(f"{VIEW} .points tr:nth-child(2) [aria-pressed=true]")
    page.click("text=back to what stood on the bench")
    page.wait_for_selector("#motions [data-motion=linear][aria-pressed=true]")
    page.click("text=hold the setup as it stood as A")
    page.wait_for_selector("#compare:has-text('Why B differs')")


def test_a_run_is_told_of_under_long_runs_and_shows_again(visit) -> None:
    page = visit.open("#view=runs")
    page.locator("#jobs tr:has-text('rate and evenness') button:has-text('show')").first.click()
    page.wait_for_selector(f"{VIEW} .points tbody tr")
    assert page.locator("#views [data-view=tradeoffs]").get_attribute("aria-pressed") == "true"


def test_a_search_can_be_stopped(visit) -> None:
    page = opened(visit)
    page.fill(f"{VIEW} [name=runs]", "300")
    page.wait_for_selector(f"{SAID}:has-text('for 300 setups')")
    page.click(f"{VIEW} .send button")
    page.click(f"{VIEW} .run button")
    page.wait_for_selector(f"{VIEW} .outcome:has-text('stopped')")
    assert page.locator(f"{VIEW} .ask[open]").count() == 1


def test_what_cannot_be_searched_is_said_before_it_runs(visit) -> None:
    page = opened(visit)
    page.fill(f"{VIEW} [name=runs]", "1000000000")
    page.wait_for_selector(f"{SAID}.wrong:has-text('This host allows up to')")
    page.click(f"{VIEW} .send button")
    page.wait_for_selector(f"{SAID}.wrong:has-text('must be at most')")
    page.fill(f"{VIEW} [name=runs]", "20")
    page.fill(f'{VIEW} [aria-label="main: ring pressure, from, psi"]', "9")
    page.wait_for_selector(f"{SAID}.wrong:has-text('from a lower to a higher number')")
    page.fill(f'{VIEW} [aria-label="main: ring pressure, from, psi"]', "three")
    page.wait_for_selector(f"{SAID}.wrong:has-text('ring_pressure')")
    page.fill(f'{VIEW} [aria-label="main: ring pressure, from, psi"]', "3")
    page.wait_for_selector(f"{SAID}:not(.wrong):has-text('for 20 setups')")
    page.uncheck(f"{VIEW} [name='aim evenness']")
    page.wait_for_selector(f"{SAID}.wrong:has-text('two aims or three')")
    visit.errors.clear()  # the refused requests show in the console as status 400


def test_prices_go_into_the_setup_and_the_table_adds_them_up(visit) -> None:
    page = opened(visit)
    page.click(f"{VIEW} .cost > summary")
    page.wait_for_selector(f"{VIEW} .cost-table :text('No price is given')")
    page.click(f"{VIEW} summary:has-text('your prices')")
    price = page.locator(f"{VIEW} .prices label:has-text('pad price') input")
    price.fill("450")
    price.press("Enter")
    page.wait_for_selector(f"{VIEW} .cost-table p:has-text('A wafer costs')")
    pad = page.locator(f"{VIEW} .cost-table tbody tr:has-text('pad')").first.inner_text()
    assert "450" in pad
    assert "100 %" in pad
    page.wait_for_selector(
        f"{VIEW} [data-aim=cost]:has-text('lower is better') .now:text-matches('now \\\\d')", state="attached"
    )


@pytest.mark.parametrize(("width", "height"), [(360, 740), (1280, 720), (3840, 2160)])
def test_the_view_fits_every_width(window, width, height) -> None:
    page = opened(window(width=width, height=height))
    page.wait_for_selector(f"{VIEW} .points tbody tr")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    home = page.locator(f"{VIEW} .front-chart").bounding_box()
    for text in page.locator(f"{VIEW} .scatter text").all():
        box = text.bounding_box()
        assert home["x"] - 1 <= box["x"]
        assert box["x"] + box["width"] <= home["x"] + home["width"] + 1, text.inner_text()


def test_a_host_without_the_library_says_what_to_install_and_tries_lists(
    serve, window, tmp_path, search_lists
) -> None:
    (tmp_path / "pymoo").mkdir()
    (tmp_path / "pymoo" / "__init__.py").write_text("")  # a library of that name without what is needed of it
    visit = window(url=serve(tmp_path / "bench", path=tmp_path).url)
    page = opened(visit)
    page.wait_for_selector(f"{VIEW} [role=note]:has-text('planish[choose]')")
    page.wait_for_selector(f"{SAID}.wrong:has-text('must be installed')", timeout=5 * 60_000)
    search_lists(page)
    assert "all 4 combinations" in page.locator(f"{VIEW} .front").text_content()
    visit.errors.clear()  # the refused request shows in the console as status 400
