"""Self-contained HTML pages: headed parts of text, tables and figures, with the cautions and the sources."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from planish.explain.figures.style import as_svg

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.figure import Figure

CAUTION = (
    "These are predictions of a model. Before any setting is used, check it against the tool maker's limits, the "
    "slurry's safety data sheet and local codes, have it reviewed by qualified staff, and try it on monitor wafers "
    "before product. Polishers are moving machinery; slurries hold oxidisers, acids or bases and nanoparticles: "
    "lock-out, guarding, eye and skin protection, ventilation and waste rules apply as on your site."
)


@dataclass
class Part:
    """One headed part of a page; blocks are added in reading order."""

    title: str
    blocks: list[dict[str, Any]] = field(default_factory=list)

    def text(self, text: str) -> Part:
        """Add a paragraph.

        Parameters
        ----------
        text
            Its words.

        Returns
        -------
        Part
            The part itself.
        """
        self.blocks.append({"kind": "text", "text": text})
        return self

    def note(self, text: str) -> Part:
        """Add a set-off remark.

        Parameters
        ----------
        text
            Its words.

        Returns
        -------
        Part
            The part itself.
        """
        self.blocks.append({"kind": "note", "text": text})
        return self

    def listing(self, items: Sequence[str]) -> Part:
        """Add a list of sentences.

        Parameters
        ----------
        items
            The sentences.

        Returns
        -------
        Part
            The part itself.
        """
        if items:
            self.blocks.append({"kind": "list", "items_": list(items)})
        return self

    def table(self, head: Sequence[str], rows: Sequence[Sequence[Any]], caption: str = "") -> Part:
        """Add a table.

        Parameters
        ----------
        head
            Names of the columns.
        rows
            Cells; the first column names the row.
        caption
            Above it.

        Returns
        -------
        Part
            The part itself.
        """
        text = [[_cell(value) for value in row] for row in rows]
        self.blocks.append({"kind": "table", "head": list(head), "rows": text, "caption": caption})
        return self

    def figure(self, fig: Figure, caption: str) -> Part:
        """Add a figure.

        Parameters
        ----------
        fig
            The figure.
        caption
            Also what a screen reader says.

        Returns
        -------
        Part
            The part itself.
        """
        number = len(self.blocks)
        svg = _own_ids(as_svg(fig), f"{re.sub(r'[^a-z0-9]+', '-', self.title.lower())}-{number}-")
        self.blocks.append({"kind": "figure", "svg": svg, "caption": caption})
        return self


def render(title: str, parts: Sequence[Part], sources: Sequence[str] = (), lead: str = "") -> str:
    """Return a complete page; nothing in it is fetched from anywhere.

    Parameters
    ----------
    title
        Of the page.
    parts
        In order.
    sources
        Listed at the end.
    lead
        A sentence below the title.

    Returns
    -------
    str
        HTML.
    """
    from importlib.resources import files

    import jinja2

    from planish import __version__

    text = files("planish.explain").joinpath("templates/page.html").read_text(encoding="utf-8")
    environment = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    return environment.from_string(text).render(
        title=title, lead=lead, parts=parts, sources=list(sources), caution=CAUTION, version=__version__
    )


def _own_ids(svg: str, prefix: str) -> str:
    """Give every id in an SVG its own prefix: several figures in one page must not share ids."""
    svg = re.sub(r'\bid="([^"]+)"', lambda m: f'id="{prefix}{m[1]}"', svg)
    svg = re.sub(r'(xlink:href|href)="#([^"]+)"', lambda m: f'{m[1]}="#{prefix}{m[2]}"', svg)
    return re.sub(r"url\(#([^)]+)\)", lambda m: f"url(#{prefix}{m[1]})", svg)


def _cell(value: Any) -> str:
    if value is None:
        return "–"
    if isinstance(value, float):
        return f"{value:.4g}"
    return str(value)
