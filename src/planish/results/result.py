"""The protocol of every answer: figures with units, tables, a dataset, notes, sources, a picture, a file."""

from __future__ import annotations

import os
from abc import abstractmethod
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from planish._version import __version__
from planish.engine.fixed import read_only
from planish.engine.record import Record
from planish.errors import DataError, refuse
from planish.results.kinds import kind_of, known, load, rich_view
from planish.results.plain import Columns, Figure, clean, flat, tabled

if TYPE_CHECKING:
    import xarray as xr
    from matplotlib.figure import Figure as Picture

    from planish.results.asked import Asked


class Result(Record):
    """Base of everything that is an answer: frozen, its arrays read-only.

    A subclass names its ``kind`` and gives ``_content`` (all its figures, nested ones too), ``notes`` and
    ``sources``; with fields over radius, time or place of its own it gives ``dataset`` too.
    """

    kind: ClassVar[str]

    if TYPE_CHECKING:  # a field or a property of the subclass; a property here would be taken for its default

        @property
        def notes(self) -> tuple[str, ...]:
            """What was assumed, what happened, where the model is in doubt: a line each."""

    @abstractmethod
    def _content(self) -> dict[str, Any]:
        """Return all figures: single ones under keys that end in their unit, rows and tables beside them."""

    @abstractmethod
    def sources(self) -> list[str]:
        """Return the sources that the answer rests on, one line each."""

    def summary(self) -> dict[str, Figure]:
        """Return the single figures of the answer, flat; each key ends in its unit (``results.units``)."""
        return flat(clean(self._content()))

    def tables(self) -> dict[str, Columns]:
        """Return what is more than one figure as named tables: column name, with its unit, to values."""
        return tabled(clean(self._content()))

    def document(self) -> dict[str, object]:
        """Return everything as one JSON-ready document: the summary, what is nested, notes and sources."""
        return {**clean(self._content()), "notes": list(self.notes), "sources": self.sources()}

    def dataset(self) -> xr.Dataset:
        """Return the answer as a labelled dataset in SI, with ``units`` and ``long_name`` in ``attrs``."""
        from planish.results.labelled import labelled

        return labelled(self.summary(), self.tables())

    @property
    def data(self) -> xr.Dataset:
        """The labelled dataset (built when first asked for; building it loads xarray).

        Each call gives one of its own on the same read-only arrays, so that nothing added to it,
        or taken out, is in the result.
        """
        cached: xr.Dataset | None = self.__dict__.get("_built")
        if cached is None:
            cached = self.dataset()
            for name, variable in cached.variables.items():
                if name not in cached.dims:  # xarray keeps those as they are
                    variable.values = read_only(variable.values)
            self.__dict__["_built"] = cached
        return cached.copy(deep=False)

    def plot(self, **options: object) -> Picture:
        """Draw the answer; a notebook shows the figure that is returned.

        Parameters
        ----------
        **options:
            As of the function that draws this kind of answer.

        Returns
        -------
        matplotlib.figure.Figure
            ``savefig`` writes it to a file.

        Raises
        ------
        DataError
            For a kind that has no picture.
        """
        return draw(self.kind, self, options)

    def save(self, path: str | os.PathLike[str]) -> Path:
        """Write the answer to ``path`` (one file, NetCDF) whole or not at all; returns the path.

        The file holds version, setup text and digest, seed and options too: :func:`open_result` reads it, and
        :meth:`SavedResult.rerun` computes a wafer, a lot, a die or fields from it again.

        Raises
        ------
        DataError
            Where it cannot be written.
        """
        from planish.results.file import Content, write

        content = Content(
            kind=self.kind,
            data=self.data,
            figures=clean(self._content()),
            tables=self.tables(),
            notes=tuple(self.notes),
            sources=self.sources(),
            version=__version__,
        )
        return write(Path(path), content, self._asked_for())

    def _asked_for(self) -> Asked | None:
        """Return the call behind the answer, where it keeps it."""
        asked: Asked | None = getattr(self, "asked", None)
        return asked

    def _repr_html_(self) -> str:
        return rich_view(self)


def draw(kind: str, shown: object, options: dict[str, object]) -> Picture:
    """Draw what is shown by the drawer of its kind.

    Parameters
    ----------
    kind
        Of the answer.
    shown
        What the drawer is given.
    options
        For the drawer, by name.

    Returns
    -------
    Picture
        The picture.

    Raises
    ------
    DataError
        For a kind that has none.
    """
    drawer = kind_of(kind).drawer
    if not drawer:
        drawn = ", ".join(one.name for one in known() if one.drawer)
        raise DataError(
            refuse("kind of answer to draw", kind, drawn, "see summary() and tables() for its figures")
        )
    picture: Picture = load(drawer)(shown, **options)
    return picture
