"""Formulas as MathML, so that pages need no script and no font from elsewhere."""

from __future__ import annotations

from typing import Any

from docutils import nodes
from latex2mathml.converter import convert


def inline(self: Any, node: Any) -> None:
    """Write a formula that stands in a line."""
    self.body.append(convert(node.astext(), display="inline"))
    raise nodes.SkipNode


def block(self: Any, node: Any) -> None:
    """Write a formula that stands by itself."""
    self.body.append(f'<div class="formula">{convert(node.astext(), display="block")}</div>')
    raise nodes.SkipNode


def setup(app: Any) -> dict[str, bool]:
    """Register the renderer with Sphinx."""
    app.add_html_math_renderer("mathml", (inline, None), (block, None))
    return {"parallel_read_safe": True, "parallel_write_safe": True}
