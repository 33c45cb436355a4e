"""The page's pure parts, asked in a browser without a server: ticks, units, the address, colours."""

from __future__ import annotations

import itertools
import math
from pathlib import Path

import pytest

from planish import units

STATIC = Path(__file__).parents[2] / "src" / "planish" / "web" / "static"
ORIGIN = "http://parts.invalid"


@pytest.fixture(scope="module")
def ask(browser):
    """A function from a module and a JavaScript function of it (and an argument) to the answer."""
    context = browser.new_context()
    page = context.new_page()

    def give(route):
        path = route.request.url.removeprefix(ORIGIN).split("?")[0].split("#")[0]
        if path == "/":
            route.fulfill(body="<!doctype html><title>parts</title>", content_type="text/html")
        else:
            route.fulfill(path=STATIC / path.lstrip("/"), content_type="text/javascript")

    page.route("**/*", give)
    page.goto(f"{ORIGIN}/")

    def run(module: str, function: str, argument: object = None):
        script = f"async (given) => {{ const m = await import('{ORIGIN}/{module}'); return await ({function})(m, given); }}"
        return page.evaluate(script, argument)

    yield run
    context.close()


SPANS = [
    (0.0, 1.0), (-3.2, 8.9), (97.3, 98.1), (0.0, 3e-9), (1e6, 1.02e6), (-5e5, 5e5), (1e16, 1e16 + 8), (273.1, 273.2),
    (-1e-7, 1e-7), (3.0, 3.0 + 1e-9),
]  # fmt: skip


@pytest.mark.parametrize(("low", "high"), SPANS)
@pytest.mark.parametrize("count", [2, 5.5, 12])
def test_ticks_are_round_inside_even_and_told_apart(ask, low, high, count):
    found, words = ask(
        "ticks.js",
        "(m, [a, b, n]) => { const t = m.ticks(a, b, n); return [t, t.map((v) => m.tickText(v, t[1] - t[0] || 1))]; }",
        [low, high, count],
    )
    rounding = 4e-16 * max(abs(low), abs(high))
    assert 1 <= len(found) <= count + 2
    assert all(
        low - 1e-8 * (high - low) - rounding <= v <= high + 1e-8 * (high - low) + rounding for v in found
    )
    if len(found) > 1:
        step = found[1] - found[0]
        gaps = [b - a for a, b in itertools.pairwise(found)]
        assert all(math.isclose(gap, step, rel_tol=1e-6, abs_tol=2 * rounding) for gap in gaps)
        assert len(set(words)) == len(words), words
        for value, word in zip(found, words, strict=True):
            assert abs(float(word) - value) <= 0.02 * step + 2 * rounding, (value, word)


def test_ticks_of_no_span_are_one(ask):
    assert ask("ticks.js", "(m) => m.ticks(3, 3, 5)") == [3]
    assert ask("ticks.js", "(m) => m.ticks(0, 1e999, 5).length") == 1


@pytest.mark.parametrize(
    ("kind", "dimension", "value"),
    [("pressure", "pressure", 20684.27), ("rate", "rate", 5e-9), ("turning", "angular_speed", 9.7)],
)
def test_the_page_and_the_package_show_one_value_alike(ask, kind, dimension, value):
    shown = ask("units.js", f"(m, v) => m.show(v, '{kind}', 4)", value)
    assert units.to_si(shown.replace("–", "-"), dimension) == pytest.approx(value, rel=1e-3)


@pytest.mark.parametrize(
    ("value", "text"), [(0, "0"), (None, "–"), (1234.5, "1235"), (2e-5, "2.00e-5"), (7e6, "7.00e6")]
)
def test_numbers_for_people(ask, value, text):
    assert ask("units.js", "(m, v) => m.number(v)", value) == text


@pytest.mark.parametrize(
    ("function", "dimension", "name", "value"),
    [
        ("inMm", "length", "mm", 0.1497),
        ("inNm", "length", "nm", 312.5e-9),
        ("inPercent", "ratio", "%", 0.37),
    ],
)
def test_what_stays_in_one_unit_is_that_unit(ask, function, dimension, name, value):
    shown = ask("units.js", f"(m, v) => m.{function}(v)", value)
    assert units.to_si(f"{shown!r} {name}", dimension) == pytest.approx(value, rel=1e-12)


def test_a_temperature_keeps_its_offset(ask):
    assert ask("units.js", "(m) => m.show(303.15, 'temperature')") == "30.0 °C"
    assert (
        ask(
            "units.js",
            "(m) => { m.system.now = 'si'; const t = m.show(303.15, 'temperature'); m.system.now = 'trade'; return t; }",
        )
        == "303 K"
    )


@pytest.mark.parametrize(
    "document",
    [{"a": 1}, {"recipe": {"steps": [{"name": "main µ – Å"}]}}, {"long": "x" * 60_000}, [None, 1e-300, "🙂"]],
)
def test_a_setup_comes_back_from_the_address(ask, document):
    packed = ask("address.js", "(m, d) => m.pack(d)", document)
    assert set(packed) <= set("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_")
    assert ask("address.js", "(m, t) => m.unpack(t)", packed) == document


def test_a_broken_address_says_so_and_keeps_the_rest(ask):
    found = ask("address.js", "async (m) => { location.hash = 's=%%%&view=teach'; return await m.read(); }")
    assert found["broken"] is True
    assert found["setup"] is None
    assert found["view"] == "teach"


def test_the_ramp_grows_lighter_all_the_way(ask):
    colours = ask("colour.js", "(m) => Array.from({ length: 32 }, (_, i) => m.css(m.RAMP, i / 31))")
    light = [
        sum(w * int(c) for w, c in zip((0.2126, 0.7152, 0.0722), text[4:-1].split(","), strict=True))
        for text in colours
    ]
    assert all(b > a for a, b in itertools.pairwise(light)), light
