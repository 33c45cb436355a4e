"""Sphinx settings. Nothing on the pages is fetched from elsewhere: own style, system fonts, formulas as MathML."""

from __future__ import annotations

import re
import sys
from pathlib import Path
from typing import Any, ClassVar

from sphinx.domains.python import PythonDomain

import planish

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))

project = "planish"
author = "the planish authors"
version = release = planish.__version__
language = "en"

extensions = [
    "myst_parser",
    "sphinx.ext.autodoc",
    "sphinx.ext.napoleon",
    "generate.mathml",
    "generate.thrift",
]
exclude_patterns = ["generate"]
source_suffix = {".md": "markdown"}

myst_enable_extensions = ["dollarmath"]
myst_heading_anchors = 3
html_math_renderer = "mathml"

autodoc_member_order = "bysource"
autodoc_typehints = "signature"
autodoc_typehints_format = "short"
autodoc_preserve_defaults = True
autodoc_use_type_comments = False  # there are none: types stand in the signatures
autodoc_type_aliases = {name: name for name in ("ArrayLike", "Array", "Progress")}
autodoc_mock_imports = ["cupy", "cupyx"]
napoleon_google_docstring = False
napoleon_use_ivar = True
napoleon_use_rtype = False
# Docstrings name a shape or a file in single back-quotes; that is code here, not a title.
default_role = "literal"

# Several modules pass on a class of another one under its own name.
suppress_warnings = ["ref.python"]

html_theme = "alabaster"
html_title = "planish"
html_static_path = ["style.css"]
html_css_files = ["style.css"]
html_show_sourcelink = False
html_copy_source = False
html_show_copyright = False
html_sidebars = {"**": ["about.html", "searchbox.html", "navigation.html"]}
html_theme_options = {
    "description": "Chemical-mechanical planarization: describe, predict, measure, fit, explain",
    "page_width": "1180px",
    "sidebar_width": "250px",
    "body_max_width": "880px",
    "fixed_sidebar": False,
    "show_powered_by": False,
    "show_relbars": True,
    "github_button": False,
    "font_family": "'Noto Sans', 'DejaVu Sans', system-ui, sans-serif",
    "head_font_family": "'Noto Sans', 'DejaVu Sans', system-ui, sans-serif",
    "code_font_family": "'DejaVu Sans Mono', ui-monospace, monospace",
    "font_size": "16px",
    "code_font_size": "0.88em",
    "link": "#00568a",
    "link_hover": "#a34700",
    "sidebar_link": "#00568a",
    "gray_1": "#4a5560",
    "sidebar_header": "#1d2733",
    "sidebar_text": "#4a5560",
}


def as_plain_text(_app: Any, _what: str, _name: str, _thing: Any, _options: Any, lines: list[str]) -> None:
    """Keep docstrings as they read: |x| and names that end in _ as they stand, set-in lines of equations apart."""
    literal: int | None = None
    for number, line in enumerate(lines):
        indent = len(line) - len(line.lstrip())
        if literal is not None and (not line.strip() or indent > literal):
            continue
        literal = None
        pieces = re.split(r"(``.*?``|`.*?`)", line)
        pieces[::2] = [re.sub(r"\||(?<=\w)_(?!\w)", r"\\\g<0>", piece) for piece in pieces[::2]]
        lines[number] = "".join(pieces)
        following = lines[number + 1 : number + 3]
        if line.endswith(":") and len(following) == 2 and not following[0].strip():
            inner = following[1]
            if len(inner) - len(inner.lstrip()) > indent:
                lines[number] = lines[number].rstrip(":") + "::"
                literal = indent


def without_tuple_fields(
    _app: Any, _what: str, _name: str, thing: Any, _skip: bool, _options: Any
) -> bool | None:
    """Leave out the fields of named tuples: their class says what they are."""
    return True if type(thing).__name__ == "_tuplegetter" else None


def one_document(_app: Any, doctree: Any) -> None:
    """Let all nodes of a page belong to its own document.

    What MyST hands on as reStructuredText has another, which would take all that Sphinx knows into every page that it
    keeps on disk.
    """
    for node in doctree.findall():
        if node.document is not doctree:
            node.document = doctree


class Names(PythonDomain):
    """The Python names, each looked up by its last part; Sphinx goes through all of them for every name it does not find."""

    def find_obj(
        self, env: Any, modname: str, classname: str, name: str, kind: str | None, searchmode: int = 0
    ) -> Any:
        """Find a name as Sphinx does, among those that end as it does."""
        last = name.removesuffix("()").rpartition(".")[2]
        known = self.objects
        if len(known) != self._counted:
            self._counted, self._by_last = len(known), {}
            for full, entry in known.items():
                self._by_last.setdefault(full.rpartition(".")[2], {})[full] = entry
        self._within = self._by_last.get(last, {})
        try:
            return super().find_obj(env, modname, classname, name, kind, searchmode)
        finally:
            self._within = None

    _counted = -1
    _by_last: ClassVar[dict[str, Any]] = {}
    _within: Any = None

    @property
    def objects(self) -> Any:
        """All names, or those that a search is about."""
        return super().objects if self._within is None else self._within


def setup(app: Any) -> None:
    """Register what is said above."""
    app.add_domain(Names, override=True)
    app.connect("doctree-read", one_document)
    app.connect("autodoc-process-docstring", as_plain_text, priority=100)
    app.connect("autodoc-skip-member", without_tuple_fields)
