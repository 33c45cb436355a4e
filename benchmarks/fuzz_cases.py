"""Odd uses of the command line, drawn from a seed: changed setups, options and data files for every verb."""

from __future__ import annotations

import contextlib
import random
import re
import tomllib
from copy import deepcopy
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

import tomlkit

from planish import units
from planish.setup.fields import KeyInfo, keys
from planish.setup.models import examine
from planish.setup.new import new_setup
from planish.setup.part import KINDS
from planish.setup.parts import catalogue

EXAMPLES = Path(__file__).parents[1] / "examples"
DATA = EXAMPLES / "data"
JUNK: tuple[Any, ...] = (
    "", " ", "nan psi", "inf mm", "-inf s", "1e999 mm", "-1 mm", "0 mm", "1e-320 m", "1e300 m", "1,5 mm", "3 psi",
    "-3 psi", "1e5 psi", "5 K", "12 %", "-5 %", "none", "None", "true", "💥", "\u202e", "x" * 5000, "1 1/mm^2",
    "1 m**999", "m", "%", "1e", "--help", "../..", "/dev/null", "a\tb", 0, 1, -1, 5, 10**30, 1e308, -1e308, 5e-324,
    0.5, float("nan"), float("inf"), float("-inf"), True, False, [], {}, [[[]]], [1], ["3 psi"], [{}], {"a": {}},
    {"part": "x"}, [["0 mm", "1 um"]], [None.__class__.__name__],
)  # fmt: skip
CELLS = ("", "nan", "inf", "-inf", "1e308", "-1e308", "1e-320", "0", "-1", "1", "x", "1,2", '"', "\0", "💥", "1e400",
         "999999999999999999999", "true", "None", " 12 ", "0x10", "1_000", "--", "12:30")  # fmt: skip


@dataclass
class Case:
    """One use: the words after ``planish`` (names of files stand for themselves) and the files it is given."""

    verb: str
    words: list[str]
    files: dict[str, bytes] = field(default_factory=dict)


def some(rng: random.Random, chance: float, *words: str) -> list[str]:
    """Return the words, or none."""
    return list(words) if rng.random() < chance else []


def mostly(rng: random.Random, good: str, odd: list[str]) -> str:
    """Return what is usual, and now and then something odd: most cases should get past the first check."""
    return good if rng.random() < 0.85 else rng.choice(odd)


@lru_cache(maxsize=1)
def setups() -> tuple[dict[str, Any], ...]:
    """Return the shipped and the newly written setups."""
    texts = [path.read_text(encoding="utf-8") for path in sorted(EXAMPLES.glob("*.toml"))]
    texts += [new_setup(motion) for motion in ("rotary", "linear", "orbital")]
    return tuple(tomllib.loads(text) for text in texts)


def put(document: dict[str, Any], path: str, value: Any, rng: random.Random) -> None:
    """Put a value at a dotted path ("*" is any entry or, in a table, any name); tables are made on the way."""
    here: Any = document
    steps = path.split(".")
    for step, following in zip(steps, [*steps[1:], None], strict=True):
        if isinstance(here, list):
            if not here:
                return
            at: Any = rng.randrange(len(here)) if step == "*" else 0
        elif isinstance(here, dict):
            at = rng.choice(list(here) or ["oxide"]) if step == "*" else step
        else:
            return
        if following is None:
            if value is _GONE:
                if isinstance(here, dict):
                    here.pop(at, None)
                else:
                    del here[at]
            else:
                here[at] = deepcopy(value)
            return
        if isinstance(here, dict) and not isinstance(here.get(at), dict | list):
            here[at] = [{}] if following == "*" else {}
        here = here[at]


_GONE = object()


def value_of(info: KeyInfo, rng: random.Random, possible: bool = False) -> Any:
    """Return something for a key: mostly possible values, its limits above all, and junk."""
    kind = 1.0 if possible else rng.random()
    if kind < 0.12:
        return _GONE
    if kind < 0.35 or (not info.dimension and not info.choices and not info.parts):
        return rng.choice(JUNK)
    if info.choices or info.parts:
        return rng.choice([*info.choices, *info.parts, "none"])
    low = info.low if info.low is not None else 0.0
    high = info.high if info.high is not None else 1e9
    pick = rng.random()
    if pick < 0.25:
        number = low
    elif pick < 0.5:
        number = high
    elif pick < 0.6:
        number = rng.choice([0.0, -low, 2 * high, low + 1e-9 * (high - low)])
    elif pick < 0.8 and info.typical is not None:
        number = rng.uniform(*info.typical) * 10 ** rng.uniform(-2, 2)
    else:
        bottom = low if low > 0 else high * 1e-6
        number = bottom * (high / bottom) ** rng.random()
    if info.dimension == "ratio":
        return number
    return units.show(number, info.dimension, rng.choice(["trade", "si"]), digits=17)


def _extreme(document: dict[str, Any], known: list[KeyInfo], most: int, rng: random.Random) -> dict[str, Any]:
    """Return a setup that is possible, with values at and near their limits."""
    numbers = [info for info in known if info.dimension or info.choices]
    for _ in range(rng.randint(1, 3 * most)):
        info = rng.choice(numbers)
        changed = deepcopy(document)
        put(changed, info.path, value_of(info, rng, possible=True), rng)
        with contextlib.suppress(TypeError):
            if not any(f.level == "error" for f in examine(changed)[0]):
                document = changed
    return document


def odd_setup(rng: random.Random, most: int = 4) -> bytes:
    """Return the text of a setup with some values changed."""
    document = deepcopy(rng.choice(setups()))
    if rng.random() < 0.3:
        section = rng.choice(list(KINDS))
        document[section] = {**document.get(section, {}), "part": rng.choice(list(catalogue(section)))}
    motion = str(document.get("polisher", {}).get("part", "rotary")).split("-")[0]
    known = keys(motion if motion in ("rotary", "linear", "orbital") else "rotary")
    if rng.random() < 0.7:
        return tomlkit.dumps(_extreme(document, known, most, rng)).encode()
    for _ in range(rng.randint(1, most)):
        info = rng.choice(known)
        put(document, info.path, value_of(info, rng), rng)
    if rng.random() < 0.3:
        law = rng.choice(["preston", "power", "offset", "threshold", "abrasive", "two-step"])
        names = ["k_p", "k", "alpha", "beta", "b", "c", "p_threshold", "c0", "c1", "c2", "a", "e_a", "k_m"]
        given = {n: rng.choice([0.0, 1.0, 1e300, "1e-13 1/Pa", "1 psi", "1 nm/min", rng.choice(JUNK)])
                 for n in rng.sample(names, 3)}  # fmt: skip
        document.setdefault("removal", {})
        put(document, "removal.oxide", {"law": law, "coefficients": given}, rng)
    try:
        text = tomlkit.dumps(document)
    except (ValueError, TypeError, OverflowError, AttributeError):  # what TOML cannot say
        text = tomlkit.dumps(deepcopy(rng.choice(setups())))
    return spoil_text(text, rng) if rng.random() < 0.2 else text.encode("utf-8", "surrogatepass")


def spoil_text(text: str, rng: random.Random) -> bytes:
    """Return a text with lines gone, doubled, swapped or cut, or bytes that do not belong there."""
    lines = text.split("\n")
    for _ in range(rng.randint(1, 3)):
        at = rng.randrange(len(lines))
        what = rng.randrange(7)
        if what == 0:
            del lines[at]
        elif what == 1:
            lines.insert(at, lines[at])
        elif what == 2:
            other = rng.randrange(len(lines))
            lines[at], lines[other] = lines[other], lines[at]
        elif what == 3:
            lines[at] = re.sub(r"[-+]?\d+\.?\d*", str(rng.choice(CELLS)), lines[at], count=1)
        elif what == 4:
            lines[at] = lines[at][: rng.randrange(len(lines[at]) + 1)]
        elif what == 5:
            lines[at] = str(rng.choice(JUNK))[:200]
        lines = lines or [""]
    raw = "\n".join(lines).encode("utf-8", "replace")
    what = rng.randrange(8)
    if what == 0:
        raw = raw[: rng.randrange(len(raw) + 1)]
    elif what == 1:
        raw = b"\xff\xfe" + "\n".join(lines).encode("utf-16-le", "replace")
    elif what == 2:
        raw = b"\xef\xbb\xbf" + raw.replace(b"\n", b"\r\n")
    elif what == 3:
        raw = bytes(rng.randrange(256) if rng.random() < 0.01 else byte for byte in raw)
    return raw


def odd_table(name: str, rng: random.Random) -> bytes:
    """Return a data file with cells, columns, rows or bytes changed."""
    text = _table(name)
    lines = text.rstrip("\n").split("\n")
    notes = [line for line in lines if line.startswith("#")]
    head, *rows = [line.split(",") for line in lines if not line.startswith("#")]
    for _ in range(rng.choice([1, 1, 1, 2, 3])):
        column = rng.randrange(len(head))
        what = rng.choice([0, 1, 1, 1, 1, 2, 2, 3, 4, 4, 5, 5, 6, 7, 8, 8, 8, 8, 9, 10, 11])
        if what == 0:
            head[column] = rng.choice(
                [*CELLS, "x_mm", "y_mm", "thickness_nm", "thickness", "time", "value", *head]
            )
        elif what == 1:
            for row in rng.sample(rows, min(len(rows), rng.choice([1, 1, 2, 5, 999]))):
                row[column % len(row)] = rng.choice(
                    [*CELLS, *("", "nan", "0", "1", "1e308", "-1e308", "1e-320") * 3]
                )
        elif what == 2:
            constant = rng.choice([*CELLS, rows[0][column % len(rows[0])]])
            for row in rows:
                row[column % len(row)] = constant
        elif what == 3:
            rows = rows[: rng.choice([0, 1, 2, 3, 5])] or [head]
        elif what == 4:
            rows = rows + rows[: rng.choice([1, 5, 999])]
        elif what == 5:
            rng.shuffle(rows)
        elif what == 6:
            notes = [spoil_text("\n".join(notes) or "#", rng).decode("utf-8", "replace")]
        elif what == 7:
            row = rng.choice(rows)
            row.append("9") if rng.random() < 0.5 else row.pop()
            rows = [r or [""] for r in rows]
        elif what == 8:
            scale = 10 ** rng.uniform(-12, 12)
            for row in rows:
                row[column % len(row)] = _scaled(row[column % len(row)], scale)
        elif what == 9:
            notes = []
        elif what == 10:
            notes.append(rng.choice(["# units: x=psi", "# wafer: 0 mm", "# wafer: nan mm", "# polish_time: -1 s",
                                     "# wafer: 1 mm", "# polish_time: 1e300 s", "# units: value=nm"]))  # fmt: skip
        elif what == 11 and len(head) > 1:
            del head[column]
            rows = [[c for i, c in enumerate(row) if i != column] or [""] for row in rows]
    joint = rng.choice([*[","] * 9, ";", "\t", " "])
    made = "\n".join([*notes, *(joint.join(row) for row in [head, *rows])]) + "\n"
    return spoil_text(made, rng) if rng.random() < 0.1 else made.encode("utf-8", "replace")


def _scaled(cell: str, scale: float) -> str:
    try:
        return repr(float(cell) * scale)
    except ValueError:
        return cell


@lru_cache(maxsize=16)
def _table(name: str) -> str:
    if name not in ("traces.csv", "rates.csv"):
        return (DATA / name).read_text(encoding="utf-8")
    from planish.measure.traces.invented import invented_traces

    samples, rates = invented_traces(3, wafers=40)
    return (samples if name == "traces.csv" else rates).write_csv()
