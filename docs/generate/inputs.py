"""The page of inputs: what each moves, how far and which way, computed as the docs are made."""

from __future__ import annotations

from typing import Any

from generate.sources import cell
from planish.engine.record import counted
from planish.jobs.inputs import inputs_moved

HEADS = {
    "ambient": "Room and platen",
    "wafer": "Wafer and films",
    "polisher": "Polisher",
    "head": "Head",
    "pad": "Pad",
    "conditioner": "Conditioner",
    "slurry": "Slurry",
    "removal": "Removal",
    "recipe": "Recipe",
    "cost": "Cost",
    "die": "Die",
}


def inputs_page() -> str:
    """Return the page of every input."""
    return page_of(inputs_moved().document())


def page_of(found: dict[str, Any]) -> str:
    """Return the page of what was found: a table a section of the setup."""
    rows = found["inputs"]
    against = [row for row in rows if any(not one["agrees"] for one in row["stated"])]
    lines = [
        "# What each input moves",
        "",
        "Computed by the version of planish that these pages describe; `planish inputs` prints the same, and "
        "`planish inputs pad.top` the part of it that lies below a key. A test asks in every run that no input moves "
        "nothing, but for those that bear the mark *descriptive*.",
        "",
        f"Each input is moved alone, over {found['settings']} settings of its usual range, on the invented setups of "
        f"`planish new` or one with metals; where only a lot shows it, over {found['wafers']} wafers without chance. "
        "*Up*: the answer goes up as the input does; *turns*: it has a best or worst setting within the range; "
        "*differs*: the input has no order; *comes and goes*: some settings give no such answer. The number is the "
        "largest less the smallest answer over the larger size of the two; below 0.1 % an answer is not named. The "
        "edge counts as above 0 where it polishes fast.",
        "",
        "What the trade or a source says was written down before the answers were looked at. Where planish goes another "
        "way the row says so, and nothing is changed for it: on another setup it may go the way that is stated.",
        "",
        f"{len(rows)} inputs, {sum(row['descriptive'] for row in rows)} of them descriptive, {len(against)} with an "
        "answer that goes otherwise than stated.",
        "",
    ]
    for section, head in {"": "The file", **HEADS}.items():
        inside = [row for row in rows if _section(row["key"]) == section]
        if not inside:
            continue
        lines += [f"## {head}", "", "| input | tried | moves | stated |", "|---|---|---|---|"]
        lines += [
            f"| `{row['key']}` | {cell(_tried(row))} | {_moves(row)} | {_stated(row)} |" for row in inside
        ]
        lines.append("")
    return "\n".join(lines)


def _section(key: str) -> str:
    section = key.split(".", 1)[0]
    return section if section in HEADS else ""


def _tried(row: dict[str, Any]) -> str:
    """Return settings, setup, and the other keys that were set."""
    if not row["settings"]:
        return ""
    told = [
        f"{row['settings'][0]} to {row['settings'][-1]}"
        if len(row["settings"]) > 3
        else ", ".join(row["settings"])
    ]
    if row["on"] != "rotary":
        told.append(f"on {row['on']}")
    if row["beside"]:
        told.append("beside " + ", ".join(f"{path} = {value}" for path, value in row["beside"].items()))
    if row["refused"]:
        told.append(f"{counted(len(row['refused']), 'setting')} refused")
    return "; ".join(told)


def _moves(row: dict[str, Any]) -> str:
    if not row["moves"]:
        return "*descriptive: moves no answer*" if row["descriptive"] else "**nothing**"
    return cell("; ".join(move["told"] for move in row["moves"][:6]))


def _stated(row: dict[str, Any]) -> str:
    return "; ".join(
        cell(f"{one['answer']} {one['way']} ({one['source']})")
        + ("" if one["agrees"] else f" **here: {one['found']}**")
        for one in row["stated"]
    )
