"""The page of the rate laws, from their records: those of planish and of what is installed where it is made."""

from __future__ import annotations

from collections.abc import Iterator

from generate.sources import cell
from planish.physics.removal.law import Law
from planish.physics.removal.laws import LAWS
from planish.setup.removal import coefficients_of


def laws_page() -> str:
    """Return the page of laws: formula, coefficients with what is possible and usual, terms, sources."""
    lines = [
        "# The rate laws",
        "",
        "This page is written from the laws' records, which the checks, the JSON Schema and the bench read too.",
        "[Removal](../theory/removal.md) explains them, [adding laws](../guide/extend.md) shows how to bring your own.",
        "",
    ]
    for law in LAWS:
        lines += _section(law)
    return "\n".join(lines)


def _section(law: Law) -> Iterator[str]:
    origin = LAWS.origin(law.name)
    yield from (
        f"## {law.name}",
        "",
        f"{law.meaning.capitalize()}{'' if origin == 'planish' else f' (from {origin})'}.",
    )
    yield from ("", f"Rate: `{law.formula}`. It may be used on the {' and the '.join(law.scales)}.", "")
    yield from ("| coefficient | meaning | SI unit | possible | usual |", "|---|---|---|---|---|")
    for each, quantity in zip(law.coefficients, coefficients_of(law).values(), strict=True):
        told = (each.meaning, each.unit, quantity.allowed, quantity.usual)
        yield f"| `{each.name}` | {' | '.join(cell(text) for text in told)} |"
    yield ""
    for term in law.terms:
        yield f"- `{term.text}`: {term.kind or 'not known whether mechanical or chemical'}"
    if law.leading:
        yield f"- A measured `rate` settles `{law.leading}`."
    yield from (f"- {cell(line)}" for line in law.sources)
    yield ""
