"""Accessibility of every view in both themes (axe-core): no serious or critical finding. Legible from 1280 x 720 to 4K."""

from __future__ import annotations

from pathlib import Path

import pytest
from tradeoffs_page import answer_the_question

HELD = Path(__file__).parents[2] / "examples" / "data" / "month.csv"
VIEWS = {
    "bench": ("", "#lot-numbers b"),
    "teach": ("#view=teach&lesson=ring", ".stage h2"),
    "trade-offs": ("#view=tradeoffs", "#tradeoffs-view .ask > summary"),
    "tune": ("#view=tune", "#tune-view form"),
    "hold": ("#view=hold", "#hold-view form"),
    "data": ("#view=data", "#drop"),
    "runs": ("#view=runs", "#lot-form"),
}


def findings(page) -> list[str]:
    from axe_playwright_python.sync_playwright import Axe

    found = Axe().run(page).response["violations"]
    return [
        f"{v['impact']}: {v['id']}: {v['nodes'][0]['target']} {v['nodes'][0]['failureSummary'][:300]}"
        for v in found
        if v["impact"] in ("serious", "critical")
    ]


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("view", VIEWS)
def test_no_serious_accessibility_finding(window, search_lists, view, theme) -> None:
    opened = window(color_scheme=theme, bypass_csp=True)  # axe comes in as an inline script
    fragment, there = VIEWS[view]
    page = opened.open(fragment)
    page.wait_for_selector(there)
    if view == "bench":
        page.click("text=hold this setup as A")
        page.locator("#plan [data-part=ring]").click()
        page.wait_for_selector(".settings fieldset")
        page.locator("#set-recipe-step-main-ring_pressure").fill("5 psi")
        page.locator("#set-recipe-step-main-ring_pressure").press("Enter")
        page.wait_for_selector(".why-svg")
        page.click("#keep")
    if view == "teach":
        page.click("#show-answer")
        page.wait_for_selector(".teach-side table")
    if view == "trade-offs":
        answer_the_question(page)
        page.wait_for_selector("#tradeoffs-view .foreseen")
        assert findings(page) == []  # as it is asked
        search_lists(page)
        page.click("#tradeoffs-view .cost > summary")
        page.wait_for_selector("#tradeoffs-view .cost-table table")
    if view == "hold":
        page.click("#hold-view [data-part=trace]")
        page.click("#hold-view button:has-text('replay it')")
        page.wait_for_selector("#hold-view .sentence:has-text('called')")
        page.click("#hold-view button:has-text('pause')")
        assert findings(page) == []
        page.click("#hold-view [data-part=chart]")
        page.set_input_files("#hold-view input[type=file] >> nth=0", str(HELD))
        page.wait_for_selector("#hold-view [role=status]:has-text('rows')")
        page.click("#hold-view button:has-text('draw the chart')")
        page.wait_for_selector("#hold-view .chart-svg")
    if view == "tune":
        assert findings(page) == []  # as it is asked
        page.click("#tune-view button.main")
        page.wait_for_selector("#tune-view .tuned table")
    assert page.locator("html").get_attribute("data-theme") == theme
    assert page.locator("html").get_attribute("lang") == "en"
    assert findings(page) == []


@pytest.mark.parametrize(("width", "height"), [(1280, 720), (1920, 1080), (3840, 2160)])
def test_nothing_is_cut_off_and_letters_grow_with_the_screen(window, width, height) -> None:
    page = window(width=width, height=height).open()
    page.wait_for_selector("#lot-numbers b")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert page.evaluate("document.documentElement.scrollHeight <= innerHeight + 1")
    size = page.evaluate("parseFloat(getComputedStyle(document.body).fontSize)")
    assert size / height >= 13 / 1080
    for tag in page.locator("#plan .tag:visible").all():
        box, home = tag.bounding_box(), page.locator("#left").bounding_box()
        assert home["x"] - 1 <= box["x"]
        assert box["x"] + box["width"] <= home["x"] + home["width"] + 1


def test_the_sign_in_page_is_reachable_too(window, team) -> None:
    for theme in ("light", "dark"):
        opened = window(url=team.url, color_scheme=theme, bypass_csp=True)
        opened.page.goto(team.url)
        opened.page.wait_for_selector("#door")
        assert findings(opened.page) == []


def test_a_team_signs_in_and_roles_hold(window, team) -> None:
    opened = window(url=team.url)
    page = opened.page
    page.goto(team.url)
    page.wait_for_selector("#door")
    page.fill("[name=name]", "vera")
    page.fill("[name=password]", "not the password")
    page.click("text=sign in >> nth=-1")
    page.wait_for_selector("#said:has-text('wrong')")
    page.fill("[name=password]", team.password)
    page.click("button.main")
    page.wait_for_selector("html[data-ready]")
    page.click("#keep")
    page.wait_for_selector("#people:has-text('vera (view)')")
    assert page.locator("text=approve this setup").count() == 0
    page.click("#views [data-view=runs]")
    page.click("text=run the lot")
    page.wait_for_selector("#toast:has-text('needs the role work')")
    page.click("text=sign out")
    page.wait_for_selector("#door")
    page.fill("[name=name]", "ada")
    page.fill("[name=password]", team.password)
    page.click("button.main")
    page.wait_for_selector("html[data-ready]")
    page.click("#keep")
    page.click("text=approve this setup")
    page.wait_for_selector("#toast:has-text('Approved')")
    opened.errors.clear()  # 401 and 403 show in the console


def test_a_person_changes_the_own_password(window, team) -> None:
    new = "another long enough one"
    opened = window(url=team.url, bypass_csp=True)
    page = opened.page
    page.goto(team.url)
    page.fill("[name=name]", "walt")
    page.fill("[name=password]", team.password)
    page.click("button.main")
    page.wait_for_selector("html[data-ready]")
    page.click("#keep")
    page.click("text=change password")
    page.wait_for_selector("#password[open]")
    assert page.evaluate("document.activeElement.name") == "old"
    for theme in ("light", "dark"):
        page.evaluate("theme => { document.documentElement.dataset.theme = theme; }", theme)
        assert findings(page) == []
    page.keyboard.press("Escape")
    page.wait_for_selector("#password", state="detached")
    page.click("text=change password")
    for old, again, said in (("wrong", new, "wrong"), (team.password, "something else", "differ")):
        page.fill("[name=old]", old)
        page.fill("[name=new]", new)
        page.fill("[name=again]", again)
        page.click("text=change it")
        page.wait_for_selector(f"#password [role=alert]:has-text('{said}')")
    page.fill("[name=again]", new)
    page.click("text=change it")
    page.wait_for_selector("#password", state="detached")
    page.wait_for_selector("#toast:has-text('is changed')")
    page.click("text=sign out")
    page.wait_for_selector("#door")
    page.fill("[name=name]", "walt")
    page.fill("[name=password]", new)
    page.click("button.main")
    page.wait_for_selector("html[data-ready]")
    opened.errors.clear()  # the 403 of the wrong password shows in the console


def test_other_pages_cannot_ask(window, bench) -> None:
    opened = window()
    opened.open()
    answer = opened.context.request.post(
        bench.url + "api/jobs",
        headers={"Origin": "http://elsewhere.example"},
        data={"kind": "lot", "document": {}},
    )
    assert answer.status == 403
