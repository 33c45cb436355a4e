"""What Sphinx does over and over for every page, done once: names looked up, and what is kept of a page on disk."""

from __future__ import annotations

from typing import Any

from sphinx.domains.python import PythonDomain


class Names(PythonDomain):
    """The Python names, found by their last part; Sphinx goes through all of them for every name that it has no page of."""

    _by_last: dict[str, dict[str, Any]] | None = None
    _counted = -1
    _within: dict[str, Any] | None = None

    @property
    def objects(self) -> dict[str, Any]:
        """All names, or those that a search is about."""
        return super().objects if self._within is None else self._within

    def find_obj(
        self, env: Any, modname: str, classname: str, name: str, kind: str | None, searchmode: int = 0
    ) -> list[tuple[str, Any]]:
        """Find a name as Sphinx does, among those that end as it does."""
        self._within = self._ending(name.removesuffix("()").rpartition(".")[2])
        try:
            return super().find_obj(env, modname, classname, name, kind, searchmode)
        finally:
            self._within = None

    def _ending(self, last: str) -> dict[str, Any]:
        known = self.objects
        if self._by_last is None or self._counted != len(known):
            self._by_last, self._counted = {}, len(known)
            for full, entry in known.items():
                self._by_last.setdefault(full.rpartition(".")[2], {})[full] = entry
        return self._by_last.get(last, {})


def one_document(_app: Any, doctree: Any) -> None:
    """Let all of a page belong to its own document.

    What MyST hands on as reStructuredText has another one, which would take all that Sphinx knows into every page that
    it keeps on disk, a megabyte each.
    """
    for node in doctree.findall():
        if node.document is not doctree:
            node.document = doctree


def setup(app: Any) -> dict[str, bool]:
    """Register both."""
    app.add_domain(Names, override=True)
    app.connect("doctree-read", one_document)
    return {"parallel_read_safe": True, "parallel_write_safe": True}
