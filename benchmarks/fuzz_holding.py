"""What the fuzzed command line is asked of a step that is held: control, history, qualifications, causes, the flow of wafers."""

from __future__ import annotations

import random
import tempfile
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path

from fuzz_cases import CELLS, DATA, Case, mostly, odd_setup, odd_table, some

NUMBERS = ["0", "-1", "1", "2", "1e3", "nan", "inf", "1e400", "9" * 25, "", "x", "0.5", "--"]
NAMES = ["A", "", "x", "💥", "a" * 300, "../x", "rate", "wafer", "-"]
MOMENTS = [
    "2026-03",
    "2026-03-04",
    "2026-13",
    "x",
    "",
    "0001-01",
    "9999-12",
    "2026-03-04 25:00",
    "1e9",
    "2026-02-30",
]
SHARES_OF = ["3 %", "0.5", "0", "110 %", "-1 %", "nan", "x", ""]
TIMES = ["60 s", "0 s", "-1 s", "1e300 s", "nan s", "60", "1 min", "5 psi", "", "40..70 s", "70..40 s", ".."]
TABLE = "\n".join([
    "wafer,polished at,tool,pad id,rate [nm/min],recipe.step.main.time",
    *(f"W{k:02d},2026-03-{1 + k // 4:02d} {6 * (k % 4):02d}:00,{'AB'[k % 2]},{k // 8},{300 + k},{55 + k % 3} s"
      for k in range(24)),
])  # fmt: skip


def scratched(text: str, rng: random.Random, odd: float = 0.4) -> bytes:
    """Return a table with a cell or a byte changed, or as it is."""
    if rng.random() > odd:
        return text.encode()
    if rng.random() < 0.5:
        rows = [line.split(",") for line in text.splitlines()]
        for _ in range(rng.choice([1, 1, 3])):
            row = rng.choice(rows)
            row[rng.randrange(len(row))] = rng.choice(CELLS)
        return "\n".join(map(",".join, rows)).encode()
    content = bytearray(text.encode())
    for _ in range(rng.choice([1, 3, 40])):
        content[rng.randrange(len(content))] = rng.choice(b"0123456789.,-en\n#xs ;\xff\0")
    return bytes(content)


@lru_cache(maxsize=1)
def history() -> bytes:
    """Return a small history as the bytes of its file."""
    from planish import open_history

    with tempfile.TemporaryDirectory() as folder:
        table, place = Path(folder) / "t.csv", Path(folder) / "h.sqlite"
        table.write_text(TABLE, encoding="utf-8")
        with open_history(place) as kept:
            kept.add(table, who="fuzz")
            kept.note("pad change", "2026-03-03 00:00", tool="A", who="fuzz")
            kept.decide("proposed", {"recipe.step.main.time": "60 s"}, why="slow", who="fuzz")
        return place.read_bytes()


def broken_history(rng: random.Random) -> bytes:
    """Return the history, mostly whole."""
    content = bytearray(history())
    if rng.random() < 0.25:
        for _ in range(rng.choice([1, 10, 400])):
            content[rng.randrange(len(content))] = rng.randrange(256)
    return bytes(content[: rng.randrange(len(content))] if rng.random() < 0.05 else content)


def log(rng: random.Random) -> Case:
    """Additions to a history, and questions to it."""
    db, files = (
        [
            "--db",
            mostly(
                rng,
                "h.sqlite",
                ["", ".", "t.csv", "postgresql+pg8000://localhost:1/x", "mysql://x", "gone/h.sqlite"],
            ),
        ],
        {},
    )
    if rng.random() < 0.85:
        files["h.sqlite"] = broken_history(rng)
    verb = rng.choice(
        ["add", "add", "show", "show", "chart", "chart", "note", "decide", "decisions", "audit"]
    )
    words = ["log", verb]
    if verb == "add":
        files["t.csv"] = scratched(TABLE, rng, 0.8)
        words += [
            "t.csv",
            *some(rng, 0.2, "--who", rng.choice(NAMES)),
            *some(rng, 0.2, "--keep", rng.choice(NAMES)),
        ]
        words += some(
            rng, 0.2, "--column", rng.choice(["rate=rate", "rate=", "x", "wafer=tool", "polished at=wafer"])
        )
        words += some(rng, 0.1, "--leave-out", rng.choice(["tool", "rate [nm/min]", "x", ""]))
    elif verb in ("show", "chart"):
        words += some(
            rng, 0.95, "--value", mostly(rng, "rate_nm_per_min", [*NAMES, "wiwnu_sigma_percent", "wafer"])
        )
        words += some(rng, 0.3, "--tool", mostly(rng, "A", NAMES)) + some(
            rng, 0.2, "--month", rng.choice(MOMENTS)
        )
        words += some(rng, 0.2, "--since", rng.choice(MOMENTS)) + some(
            rng, 0.2, "--until", rng.choice(MOMENTS)
        )
        words += some(rng, 0.2, "--last", mostly(rng, "12", NUMBERS))
    if verb == "chart":
        words += some(rng, 0.5, "--chart", rng.choice(["individuals", "ewma", "cusum", "t2", "xbar", "x"]))
        words += some(rng, 0.4, "--phase", rng.choice(["pad", "pad change", "tool", "x", ""]))
        words += some(rng, 0.2, "--baseline", mostly(rng, "10", NUMBERS))
    elif verb == "note":
        words += [rng.choice(["pad change", "idle", "", "x" * 400, "💥"])]
        words += some(rng, 0.5, "--at", rng.choice([*MOMENTS, "2026-03-05 12:00"]))
    elif verb == "decide":
        words += [
            rng.choice(["proposed", "approved", "declined", "x", ""]),
            *some(rng, 0.8, "--why", rng.choice(NAMES)),
        ]
        words += some(rng, 0.5, "--answers", rng.choice(["1", "2", *NUMBERS]))
        words += some(rng, 0.5, "--set", rng.choice(["recipe.step.main.time=60 s", "x", "=", "a=b=c"]))
    return Case("log", [*words, *db, *some(rng, 0.6, "--json")], files)


def control(rng: random.Random) -> Case:
    """A trial of control, and a step put under it."""
    trial = rng.random() < 0.5
    words = ["hold", "try" if trial else "begin", "a.toml"]
    if trial:
        words += [
            "--wafers",
            mostly(rng, "12", ["0", "1", "-1", "x", "nan", ""]),
            "--seeds",
            mostly(rng, "1", ["0", "-1", "x"]),
        ]
        words += some(rng, 0.3, "--delay", mostly(rng, "2", NUMBERS)) + some(
            rng, 0.2, "--pad-every", mostly(rng, "5", NUMBERS)
        )
        words += some(rng, 0.2, "--gain-ratio", mostly(rng, "1.1", NUMBERS)) + some(
            rng, 0.2, "--missing", rng.choice(SHARES_OF)
        )
        words += some(rng, 0.2, "--wrong", rng.choice(SHARES_OF)) + some(
            rng, 0.2, "--incoming", rng.choice(SHARES_OF)
        )
    else:
        words += some(rng, 0.95, "--by", rng.choice(["ada", *NAMES])) + some(
            rng, 0.3, "--estimator", rng.choice(["ewma", "kalman", "x", ""])
        )
        words += ["--pad-life", mostly(rng, "12", NUMBERS), "--disk-life", mostly(rng, "12", NUMBERS)]
        words += some(rng, 0.3, "--in", rng.choice(["step", ".", "", "a.toml", "x/y/z"]))
    words += some(rng, 0.3, "--weight", mostly(rng, "0.3", NUMBERS)) + some(rng, 0.15, "--zones")
    words += some(
        rng, 0.3, "--spread", rng.choice(["pad=2 %", "pad=x", "x=1 %", "=", "process=-1 %", "process=nan"])
    )
    words += some(rng, 0.3, "--target", mostly(rng, "500 nm", ["0 nm", "-1 nm", "1 m", "nan nm", "x", ""]))
    words += some(rng, 0.3, "--time", rng.choice(TIMES)) + some(
        rng, 0.1, "--pressure", rng.choice(["1..3 psi", "3..1 psi", "x"])
    )
    return Case("control", [*words, *some(rng, 0.6, "--json")], {"a.toml": odd_setup(rng, 2)})


def qualify(rng: random.Random) -> Case:
    """A test of equivalence, its size, a checklist, a qualification and its record."""
    files = {
        "m.csv": odd_table("month.csv", rng) if rng.random() < 0.4 else (DATA / "month.csv").read_bytes()
    }
    verb = rng.choice(["equivalence", "equivalence", "equivalence-size", "qualify", "qualified"])
    words = ["hold", verb]
    column = ["rate", "pad", "x", "", "wafer"]
    if verb == "equivalence":
        words += ["m.csv", "--value", mostly(rng, "rate", column), "--part", mostly(rng, "pad", column)]
        words += [
            "--old",
            mostly(rng, "P1", NAMES),
            "--new",
            mostly(rng, "P2", NAMES),
            "--margin",
            mostly(rng, "12", [*NUMBERS, "5 %", "-5 %"]),
        ]
        words += some(rng, 0.2, "--alpha", mostly(rng, "0.05", NUMBERS)) + some(rng, 0.2, "--unequal")
    elif verb == "equivalence-size":
        words += ["--sd", mostly(rng, "4", NUMBERS), "--margin", mostly(rng, "6", NUMBERS)]
        words += some(rng, 0.3, "--difference", mostly(rng, "1", NUMBERS)) + some(
            rng, 0.3, "--power", mostly(rng, "0.9", NUMBERS)
        )
    elif verb == "qualify":
        checks = '[[check]]\nname = "rate"\ncolumn = "rate"\nof = "mean"\nlow = 250\nhigh = 350\n'
        files["c.toml"] = scratched(checks, rng, 0.6)
        words += [
            "m.csv",
            "--checklist",
            "c.toml",
            "--by",
            mostly(rng, "ada", NAMES),
            *some(rng, 0.5, "--record", "r.json"),
        ]
        words += some(rng, 0.2, "--when", rng.choice([*MOMENTS, "2026-03-04T10:00:00Z"])) + some(
            rng, 0.2, "--key", "m.csv"
        )
    else:
        files["r.json"] = scratched(
            '{"schema":1,"by":"ada","digest":"00","checks":[{"name":"rate"}]}', rng, 0.7
        )
        words += ["r.json"]
    return Case("qualify", [*words, *some(rng, 0.6, "--json")], files)


def ranked(rng: random.Random) -> Case:
    """Causes ranked; rarely whole, for it takes seconds."""
    home = DATA / "upset"
    files = {"a.toml": odd_setup(rng, 1)}
    for name, source in (("b.csv", "before.csv"), ("c.csv", "after.csv")):
        lines = (home / source).read_text(encoding="utf-8").splitlines()[:12]
        files[name] = scratched("\n".join(lines), rng, 0.7)
    words = ["hold", "causes", "a.toml", "b.csv", "c.csv", "--baseline", mostly(rng, "6", NUMBERS)]
    words += [
        "--site-plan",
        mostly(rng, "49, 300 mm, 3 mm", ["49", "9, 1 mm, 3 mm", "x", "", "50, 300 mm, 3 mm"]),
    ]
    words += some(rng, 0.2, "--event", rng.choice(["3 pad", "x", "0 pad", "99 disk", ""]))
    return Case("causes", [*words, *some(rng, 0.6, "--json")], files)


def flow(rng: random.Random) -> Case:
    """Wafers that pass the machine."""
    words = ["flow", "a.toml", "-n", mostly(rng, "40", NUMBERS), "--lot", mostly(rng, "5", NUMBERS)]
    words += some(rng, 0.4, "--arrival", rng.choice(["4 min", *TIMES])) + some(rng, 0.2, "--steady")
    words += some(
        rng,
        0.3,
        "--set",
        rng.choice(["cost.platens=3", "cost.failure_every=10 h", "cost.repair=1 h", "cost.platens=0", "x=1"]),
    )
    words += some(rng, 0.2, "--seed", mostly(rng, "3", NUMBERS))
    return Case("flow", [*words, *some(rng, 0.6, "--json")], {"a.toml": odd_setup(rng, 3)})


HOLDING: dict[Callable[[random.Random], Case], int] = {log: 60, control: 15, qualify: 50, ranked: 8, flow: 12}
