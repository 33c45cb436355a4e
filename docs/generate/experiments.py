"""The page of published experiments: measured, what planish says, off by."""

from __future__ import annotations

from generate.sources import cell
from planish.jobs.experiments import held_against

KINDS = {
    "shape": "nothing fitted",
    "fitted": "fitted to",
    "predicted": "predicted from the others",
}


def experiments_page() -> str:
    """Return the page: a table an experiment, computed as the docs are made."""
    found = held_against()
    lines = [
        "# Held against published experiments",
        "",
        "Computed by the version of planish that these pages describe; `planish experiments` prints the same. Figures are "
        "those of the sources; *fitted to* means that this very number was used, *predicted* that it was kept out.",
        "",
    ]
    for one, rows in zip(found.experiments, found.rows, strict=True):
        read = one.read if one.read == "at second hand" else f"{one.read} read"
        lines += [f"## {one.title}", "", f"{one.source} ({read}).", ""]
        if rows:
            lines += ["| what | measured | planish | off by | |", "|---|---|---|---|---|"]
        for row in rows:
            unit = f" {row.unit}" if row.unit else ""
            lines.append(
                f"| {cell(row.what)} | {row.measured:.4g}{unit} | {row.predicted:.4g}{unit} | {row.off_words()} | {KINDS[row.kind]} |"
            )
        lines += ["", one.said, ""] if rows else [one.said, ""]
    return "\n".join(lines)
