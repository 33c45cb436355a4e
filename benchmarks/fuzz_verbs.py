"""What the fuzzed command line is asked, verb by verb: `draw` makes one odd use from a seeded generator."""

from __future__ import annotations

import math
import random
from collections.abc import Callable

from fuzz_cases import DATA, JUNK, Case, mostly, odd_setup, odd_table, some
from fuzz_holding import HOLDING

WORDS = [str(item) for item in JUNK if "\0" not in str(item)]
NUMBERS = [
    "0",
    "-1",
    "1",
    "2",
    "3",
    "1e3",
    "nan",
    "inf",
    "-inf",
    "1e400",
    "9" * 25,
    "",
    "x",
    "0.5",
    "1.5",
    "--",
]
LENGTHS = ["0 mm", "-5 um", "1 um", "500 nm", "3 mm", "1e300 m", "1e-300 m", "nan um", "4", "5 psi", "", "💥"]
TIMES = ["60s", "60 s", "0 s", "-1 s", "1e-300 s", "1e300 s", "nan s", "60", "1 min", "5 psi", "", "99 s"]
EVENTS = ["2 pad", "1 idle 15 min", "2 slurry 0.98", "2 slurry 0", "2 slurry nan", "2 disk", "0 pad", "9 pad", "",
          "2 idle -1 s", "2 idle 1e300 s", "x pad", "2 pad pad", "2 idle", "2 monitor", "-1 disk"]  # fmt: skip
SITES = (("wafer-before.csv", "wafer-after.csv"), ("line-before.csv", "line-after.csv"),
         ("wafer-before-polar.csv", "wafer-after-polar.csv"))  # fmt: skip
FIGURES = ["mean_removal_rate_nm_per_min", "wiwnu_sigma_percent", "time_s", "notes", "steps", "cleared", "x", "",
           "edge_rate_percent", "peak_temperature_C"]  # fmt: skip


def common(rng: random.Random, out: bool = True, units: bool = True) -> list[str]:
    words = some(rng, 0.7, "--json")
    if units:
        words += some(rng, 0.1, "--units", rng.choice([*["si", "trade"] * 5, "imperial", ""]))
    return words + (some(rng, 0.01, "--out", "out") if out else [])


def sound(name: str) -> bytes:
    return (DATA / name).read_bytes()


def either(name: str, rng: random.Random, odd: float = 0.7) -> bytes:
    return odd_table(name, rng) if rng.random() < odd or name in ("traces.csv", "rates.csv") else sound(name)


def check(rng: random.Random) -> Case:
    return Case("check", ["check", "a.toml", *some(rng, 0.5, "--json")], {"a.toml": odd_setup(rng, 6)})


def polish(rng: random.Random) -> Case:
    words = ["polish", "a.toml", *common(rng), *some(rng, 0.06, "--band")]
    return Case("polish", words, {"a.toml": odd_setup(rng)})


def lot(rng: random.Random) -> Case:
    words = ["lot", "a.toml", "-n", rng.choice(["3"] * 60 + NUMBERS), *common(rng)]
    words += some(rng, 0.05, "--seed", rng.choice(NUMBERS)) + some(rng, 0.2, "--no-conditioning")
    words += some(rng, 0.3, "--adjust", rng.choice(["fixed", *["run-to-run"] * 5, "x"]))
    for _ in range(rng.choice([0, 0, 0, 1, 2])):
        words += ["--event", rng.choice(EVENTS)]
    return Case("lot", words, {"a.toml": odd_setup(rng, 3)})


def dwell(rng: random.Random) -> Case:
    words = ["dwell", "a.toml", *common(rng, units=False)]
    words += some(rng, 0.4, "--zones", rng.choice([*["2", "40", "7"] * 8, "41", *NUMBERS]))
    words += some(rng, 0.4, "--least", rng.choice([*["0.05", "0.1", "0.01"] * 8, "0.5", *NUMBERS]))
    words += some(rng, 0.3, "--ratio", rng.choice([*["3", "1.5", "10"] * 8, "0.5", *NUMBERS]))
    words += some(rng, 0.3, "--turns", rng.choice([*["0", "1", "3"] * 8, "4", *NUMBERS]))
    words += some(rng, 0.3, "--even", rng.choice([*["5 %", "0.1"] * 8, "110 %", *NUMBERS]))
    return Case("dwell", words, {"a.toml": odd_setup(rng, 3)})


def die(rng: random.Random) -> Case:
    words = ["die", "a.toml", "--layout", "b.gds", *common(rng)]
    words += (
        ["--layer", "1/0"] if rng.random() < 0.93 else ["--layer", rng.choice([*WORDS, "1", "1/", "1/0/0"])]
    )
    words += ["--cell", rng.choice(["200um"] * 40 + ["0.1 mm", "0 um", "-1 um", "nan um", "5", "", "20 mm"])]
    words += some(
        rng, 0.3, "--place", rng.choice(["edge", "mid,edge", "all", "120mm", "900 mm", "-5 mm", ",", "", "x"])
    )
    words += some(rng, 0.1, "--process", rng.choice(["oxide", "sti", "copper", "tungsten", "x", ""]))
    words += some(rng, 0.1, "--step-height", rng.choice(LENGTHS))
    words += some(rng, 0.15, "--planarization-length", rng.choice(LENGTHS))
    words += some(rng, 0.1, "--route", rng.choice(["density", "x", ""]))
    words += some(rng, 0.2, "--after", rng.choice([*["1", "2", "0"] * 4, "-1", "x"]))
    words += some(rng, 0.1, "--then", rng.choice(["a.toml", "c.toml", "gone.toml"]))
    words += some(rng, 0.3, "--fill") + some(rng, 0.2, "--fill-ceiling", rng.choice(NUMBERS))
    words += some(rng, 0.03, "--from-die", rng.choice(["a.toml", "gone.nc", "b.gds"]))
    setup = odd_setup(rng, 3) if rng.random() < 0.8 else odd_setup(rng, 1)
    return Case(
        "die", words, {"a.toml": setup, "c.toml": odd_setup(rng, 1), "b.gds": sound("test-blocks.gds")}
    )


def measure(rng: random.Random) -> Case:
    what = rng.random()
    if what < 0.35:
        levels = rng.choice(
            ["lot,wafer,site", "lot,wafer", "site", "", ",", "lot,lot", "x,y", "removal_nm", "lot,site"]
        )
        words = ["measure", "t.csv", "--nested", levels]
        words += some(rng, 0.9, "--value", rng.choice(["removal_nm"] * 30 + ["x", "", "lot"]))
        return Case("measure", [*words, *some(rng, 0.7, "--json")], {"t.csv": odd_table("lots.csv", rng)})
    pre, post = rng.choice(SITES) if rng.random() < 0.9 else ("wafer-before.csv", "line-after.csv")
    words = ["measure", "b.csv", "a.csv", *common(rng, units=False)]
    words += some(rng, 0.15, "--time", rng.choice(TIMES))
    if rng.random() < 0.3:
        role, name = (
            rng.choice(["x", "y", "thickness", "site", "die_x", "z", ""]),
            rng.choice(["x_mm", "y_mm", "thickness_nm", "site", "?", ""]),
        )
        words += some(rng, 0.5, "--column", f"{role}={name}") + some(rng, 0.2, "--column", rng.choice(WORDS))
        words += some(
            rng, 0.4, "--unit", rng.choice(["x=mm", "thickness=A", "y=psi", "thickness=", "=nm", "mm"])
        )
        words += some(rng, 0.1, "--pitch", rng.choice(["26mm,33mm", "0 mm,1 mm", "26", "nan mm,1 mm", ""]))
        words += some(rng, 0.1, "--centre-die", rng.choice(["0,0", "5.5,4", "x,y", "nan,0", "1e9,0"]))
        words += some(
            rng, 0.1, "--site-plan", rng.choice(["49, 300 mm, 3 mm", "49", "9, 1 mm, 3 mm", "50", ","])
        )
        words += some(rng, 0.1, "--decimal", rng.choice(["point", "comma", "dot"]))
        words += some(rng, 0.1, "--sheet", rng.choice(WORDS)) + some(
            rng, 0.1, "--wafer", rng.choice(["a", "b", *WORDS])
        )
        words += some(rng, 0.1, "--columns", rng.choice(["gone.toml", "b.csv"])) + some(
            rng, 0.2, "--remember", "m.toml"
        )
    words = [word for word in words if rng.random() > 0.01] or ["measure"]
    return Case("measure", words, {"b.csv": either(pre, rng), "a.csv": either(post, rng)})


def fit(rng: random.Random) -> Case:
    pre, post = rng.choice(SITES)
    words = ["fit", "s.toml", "b.csv", "a.csv", *common(rng, units=False)]
    words += some(rng, 0.15, "--time", rng.choice(["99 s", *TIMES]))
    files = {"s.toml": odd_setup(rng, 2), "b.csv": either(pre, rng, 0.5), "a.csv": either(post, rng, 0.5)}
    return Case("fit", words, files)


def fit_rates(rng: random.Random) -> Case:
    words = ["fit", "t.csv", "--rates", "r.csv", *common(rng, units=False)]
    files = {"t.csv": odd_table("traces.csv", rng), "r.csv": odd_table("rates.csv", rng)}
    if rng.random() < 0.3:
        words += ["--predict", "o.csv", *some(rng, 0.3, "--ahead")]
        files["o.csv"] = odd_table("traces.csv", rng)
    return Case("fit --rates", words, files)


def fit_steps(rng: random.Random) -> Case:
    words = ["fit", "--steps", "s.csv", "--layout", "b.gds", "--layer", "1/0", "--cell", "200um"]
    words += some(rng, 0.3, "--step-height", rng.choice(LENGTHS)) + common(rng, units=False)
    return Case(
        "fit --steps", words, {"s.csv": odd_table("steps.csv", rng), "b.gds": sound("test-blocks.gds")}
    )


def compare(rng: random.Random) -> Case:
    words = ["compare", "a.toml", "b.toml", *some(rng, 0.7, "--json")]
    words += some(rng, 0.4, "--outcome", rng.choice(FIGURES))
    return Case("compare", words, {"a.toml": odd_setup(rng, 2), "b.toml": odd_setup(rng, 2)})


def report(rng: random.Random) -> Case:
    words = [
        "report",
        "a.toml",
        "-o",
        rng.choice(["out/r.html"] * 6 + ["a.toml/r.html", "/dev/null/x", ".", ""]),
    ]
    files = {"a.toml": odd_setup(rng, 2)}
    if rng.random() < 0.5:
        words += some(rng, 0.95, "--pre", "b.csv") + some(rng, 0.95, "--post", "c.csv")
        files |= {"b.csv": either("wafer-before.csv", rng, 0.5), "c.csv": either("wafer-after.csv", rng, 0.5)}
    return Case("report", words, files)


RATES = [
    "150..250 nm/min",
    "200 nm/min",
    "0..1 nm/min",
    "5..1 nm/min",
    "nan..1 nm/min",
    "x",
    "",
    "1e300..2e300 m/s",
]
COLUMNS = ["rate", "rate", "rate", "WIWNU", "wafer", "pad", "lot", "x", "", "rate [nm/min]"]
SHARES_OF = ["99.9 %", "0.5", "3 %", "0", "1", "100 %", "-1 %", "nan", "x", "", "200 %"]


def hold(rng: random.Random) -> Case:
    """A control chart, capability or a gauge study of a table, or the run length of a chart."""
    what = rng.random()
    if what < 0.55:
        words = ["hold", *some(rng, 0.5, "chart"), "m.csv", "--value", mostly(rng, "rate", COLUMNS)]
        words += some(rng, 0.2, "--value", mostly(rng, "rate", COLUMNS)) + some(
            rng, 0.3, "--phase", mostly(rng, "pad", COLUMNS)
        )
        words += some(
            rng, 0.8, "--chart", rng.choice([*["individuals", "xbar", "ewma", "cusum", "t2"] * 3, "x", ""])
        )
        words += some(rng, 0.3, "--group", mostly(rng, "lot", COLUMNS)) + some(
            rng, 0.2, "--arl", mostly(rng, "200", NUMBERS)
        )
        words += some(rng, 0.2, "--baseline", mostly(rng, "30", NUMBERS)) + some(rng, 0.15, "--widen")
        words += some(rng, 0.2, "--weight", mostly(rng, "0.2", NUMBERS)) + some(
            rng, 0.2, "--limit", mostly(rng, "2.8", NUMBERS)
        )
        words += some(rng, 0.15, "--reference", mostly(rng, "0.5", NUMBERS)) + some(
            rng, 0.1, "--head-start", mostly(rng, "2.5", NUMBERS)
        )
        words += some(rng, 0.1, "--centre", mostly(rng, "300", NUMBERS)) + some(
            rng, 0.1, "--sigma", mostly(rng, "2", NUMBERS)
        )
        words += some(rng, 0.3, "--rule", rng.choice(["handbook", "eight", "2 of 3 beyond 2 sigma", "8 on one side",
                                                      "9 of 3 beyond 1 sigma", "99 rising or falling", "x", ""]))  # fmt: skip
        words += some(rng, 0.1, "--new-phase", mostly(rng, "40", NUMBERS)) + some(rng, 0.1, "--settling")
    elif what < 0.75:
        kind = rng.choice(["arl", "limit"])
        words = ["hold", kind, "--chart", rng.choice(["individuals", "xbar", "ewma", "cusum", "x"])]
        words += some(rng, 0.8, "--weight", mostly(rng, "0.2", NUMBERS)) + some(rng, 0.3, "--one-sided")
        words += some(rng, 0.8, "--limit", mostly(rng, "2.8", NUMBERS)) if kind == "arl" else []
        words += some(rng, 0.9, "--arl", mostly(rng, "200", NUMBERS)) if kind == "limit" else []
        words += some(rng, 0.3, "--reference", mostly(rng, "0.5", NUMBERS)) + some(rng, 0.2, "--settling")
        words += some(rng, 0.3, "--shift", mostly(rng, "0.5", NUMBERS)) + some(
            rng, 0.3, "--drift", mostly(rng, "0.01", NUMBERS)
        )
        words += some(rng, 0.1, "--drift-from", rng.choice(["0", "1", "2"]))
    elif what < 0.9:
        words = ["hold", "capability", "m.csv", "--value", mostly(rng, "rate", COLUMNS)]
        words += some(rng, 0.7, "--lsl", mostly(rng, "290", NUMBERS)) + some(
            rng, 0.7, "--usl", mostly(rng, "320", NUMBERS)
        )
        words += some(rng, 0.2, "--group", mostly(rng, "lot", COLUMNS)) + some(
            rng, 0.2, "--confidence", mostly(rng, "0.95", SHARES_OF)
        )
        words += some(rng, 0.2, "--coverage", mostly(rng, "0.99", SHARES_OF))
    else:
        words = [
            "hold",
            "gauge",
            "m.csv",
            "--value",
            mostly(rng, "rate", COLUMNS),
            "--part",
            mostly(rng, "wafer", COLUMNS),
        ]
        words += some(rng, 0.7, "--appraiser", mostly(rng, "pad", COLUMNS)) + some(
            rng, 0.3, "--tolerance", mostly(rng, "40", NUMBERS)
        )
        words += some(rng, 0.2, "--pool") + some(rng, 0.2, "--run", rng.choice(COLUMNS))
    return Case("hold", [*words, *some(rng, 0.7, "--json")], {"m.csv": either("month.csv", rng, 0.4)})


def endpoint(rng: random.Random) -> Case:
    """A trace invented, followed by its light or watched for a change."""
    what = rng.random()
    if what < 0.3:
        words = [
            "endpoint",
            "invent",
            "a.toml",
            "-o",
            rng.choice(["out/t.csv"] * 5 + [".", "a.toml/t.csv", ""]),
        ]
        words += some(rng, 0.6, "--kind", rng.choice(["light", "friction", "eddy", "x"]))
        words += some(rng, 0.3, "--signal-to-noise", mostly(rng, "20", NUMBERS)) + some(
            rng, 0.2, "--seed", mostly(rng, "4", NUMBERS)
        )
        words += some(rng, 0.3, "--interval", mostly(rng, "0.2 s", TIMES)) + some(
            rng, 0.2, "--until", mostly(rng, "60 s", TIMES)
        )
        words += some(
            rng, 0.2, "--light", rng.choice(["632.8 nm", "450..750 nm/30", "0 nm", "x", "1..2 nm/1000000000"])
        )
        words += some(rng, 0.2, "--spot", rng.choice(["0..20 mm", "5 mm", "-1..0 mm", "1..0 m", "x"]))
        return Case("endpoint", [*words, *some(rng, 0.5, "--json")], {"a.toml": odd_setup(rng, 2)})
    time = [0.2 * k for k in range(300)]
    rows = "".join(f"{at:g},{0.3 + 0.1 * math.sin(at / 3):.6g}\n" for at in time).encode()
    head = (
        b"# light: 632.8 nm\n# start: 940..1060 nm\n# rate: 150..250 nm/min\n" if rng.random() < 0.95 else b""
    )
    text = bytearray(head + b"time [s],signal\n" + rows)
    for _ in range(rng.choice([0, 0, 0, 1, 3, 40])):
        text[rng.randrange(len(text))] = rng.choice(b"0123456789.,-en\n#xs ;\xff")
    if what < 0.7:
        words = ["endpoint", "follow", "t.csv", *some(rng, 0.95, "--target", mostly(rng, "900 nm", LENGTHS))]
        words += some(
            rng, 0.3, "--start", rng.choice(["940..1060 nm", "1 m", "x", "5..1 nm", "-1..1 nm", ""])
        )
        words += some(rng, 0.3, "--rate", mostly(rng, "150..250 nm/min", RATES)) + some(
            rng, 0.2, "--lead", mostly(rng, "1 s", TIMES)
        )
        words += some(rng, 0.2, "--film", rng.choice(["silica", "copper", "x", "t.csv", ""]))
        words += some(rng, 0.2, "--angle", rng.choice(["8 deg", "90 deg", "-1 deg", "nan", "x"]))
        words += some(
            rng, 0.2, "--below", rng.choice(["silicon nitride 100 nm", "x 1 nm", "silica", "+", ""])
        )
        words += some(rng, 0.2, "--share", mostly(rng, "0.5", SHARES_OF)) + some(
            rng, 0.2, "--wander", mostly(rng, "3 %", SHARES_OF)
        )
    else:
        words = ["endpoint", "watch", "t.csv", *some(rng, 0.3, "--by", rng.choice(["level", "slope", "x"]))]
        words += some(rng, 0.3, "--change", mostly(rng, "0.05", NUMBERS)) + some(
            rng, 0.3, "--block", mostly(rng, "1 s", TIMES)
        )
        words += some(rng, 0.3, "--baseline", mostly(rng, "20 s", TIMES)) + some(
            rng, 0.3, "--longest", mostly(rng, "600 s", TIMES)
        )
        words += some(rng, 0.3, "--false-alarms", mostly(rng, "0.5 %", SHARES_OF))
        words += some(rng, 0.2, "--direction", rng.choice(["up", "down", "either", "x"]))
    words += some(rng, 0.3, "--clear", mostly(rng, "99.9 %", SHARES_OF)) + some(
        rng, 0.3, "--rate-spread", mostly(rng, "3 %", SHARES_OF)
    )
    return Case("endpoint", [*words, *some(rng, 0.7, "--json")], {"t.csv": bytes(text)})


def reckon(rng: random.Random) -> Case:
    """Cost, cleaning, and settings solved for: what takes a setup and a few options."""
    verb = rng.choice(["cost", "clean", "clean", "tune"])
    words = [verb, "a.toml", *some(rng, 0.7, "--json")]
    if verb == "cost":
        words += some(rng, 0.5, "--wafers", mostly(rng, "20", NUMBERS))
    elif verb == "clean":
        words += some(rng, 0.4, "--sizes", rng.choice(["20..200 nm", "100 nm", "0", "x", ""]))
        words += some(rng, 0.4, "--hamaker", mostly(rng, "1", NUMBERS)) + some(
            rng, 0.3, "--step", rng.choice(["main", "1", "9", ""])
        )
    else:
        words += [
            "--target",
            mostly(rng, "900 nm", LENGTHS),
            *some(rng, 0.3, "--longest", mostly(rng, "600 s", TIMES)),
        ]
        words += some(rng, 0.3, "--neighbour", rng.choice(["1 psi", "0 psi", "-1 psi", "x"]))
        words += some(rng, 0.3, "--keep", rng.choice(["recipe.step.buff", "recipe.step.9", "x", ""]))
        words += some(
            rng,
            0.3,
            "--bound",
            rng.choice(["time=..90 s", "ring_pressure=1..2 psi", "time=9..1 s", "x=1", "="]),
        )
    return Case(verb, words, {"a.toml": odd_setup(rng, 3)})


def describe(rng: random.Random) -> Case:
    target = rng.choice(["out/n.toml", "out/n.toml", ".", "", "/dev/null/x", "a" * 300, "💥.toml"])
    words = rng.choice([
        ["parts", rng.choice(["pad", "slurry", "x", "", "PAD", *WORDS]), *some(rng, 0.7, "--json")],
        ["parts", *some(rng, 0.5, "--json")],
        ["schema", *some(rng, 0.7, "-o", target)],
        ["new", rng.choice(["rotary", "linear", "orbital", "x", "", *WORDS]), "-o", target, *some(rng, 0.3, "--force")],
        [rng.choice(WORDS), rng.choice(WORDS)],
        [rng.choice(["check", "polish", "lot", "die", "fit", "measure", "compare", "report"]), rng.choice(WORDS)],
    ])  # fmt: skip
    return Case(words[0] if words[0] in ("parts", "schema", "new") else "words", words)


# verb: of 1295 cases
SHARES: dict[Callable[[random.Random], Case], int] = {
    check: 260, polish: 270, lot: 100, dwell: 50, die: 50, measure: 120, fit: 50, fit_rates: 8, fit_steps: 15,
    compare: 12, report: 5, describe: 60, hold: 60, endpoint: 60, reckon: 30, **HOLDING,
}  # fmt: skip
QUICK = {
    check: 80,
    polish: 20,
    lot: 4,
    dwell: 3,
    die: 1,
    measure: 30,
    fit: 5,
    describe: 20,
    hold: 20,
    endpoint: 6,
}


def draw(seed: int, number: int, shares: dict[Callable[[random.Random], Case], int] = SHARES) -> Case:
    """Return case `number` of a seed; the same two numbers always give the same case."""
    rng = random.Random(f"{seed}/{number}")
    [make] = rng.choices(list(shares), list(shares.values()))
    return make(rng)
