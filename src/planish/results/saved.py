"""An answer read back from its file: the same figures and picture, and the same answer computed again."""

from __future__ import annotations

import os
from copy import deepcopy
from typing import TYPE_CHECKING, Any

from planish._version import __version__
from planish.engine.given import as_path
from planish.errors import DataError, refuse
from planish.results.file import Content, read
from planish.results.kinds import kind_of, load
from planish.results.older import renamed
from planish.results.plain import Columns, unique
from planish.results.result import Result, draw

if TYPE_CHECKING:
    import xarray as xr
    from matplotlib.figure import Figure as Picture

LOT_FILE = "lot.nc"  # in the folder that a lot is saved to


class SavedResult(Result):
    """A result read back from a file: the same dataset, figures, notes, sources and picture.

    ``version`` is that of the planish that wrote the file ("" in files that name none).
    """

    def __init__(self, content: Content) -> None:
        self.kind = content.kind  # type: ignore[misc]
        self.version = content.version
        self._saved = content
        self._figures, self._tables = renamed(content)

    def _told(self) -> str:
        sizes = ", ".join(f"{size} {name}" for name, size in self._saved.data.sizes.items())
        title = self._saved.data.attrs.get("title", "")
        return f"{self.kind} {title!r} as saved by planish {self.version or 'of no named version'}, {sizes}"

    def tables(self) -> dict[str, Columns]:
        """Return the tables as they were saved."""
        return deepcopy(self._tables)

    def _content(self) -> dict[str, Any]:
        return deepcopy(self._figures)

    @property
    def notes(self) -> tuple[str, ...]:
        """The notes as they were saved, and whether another version of planish saved them."""
        if self.version == __version__:
            return self._saved.notes
        by = f"planish {self.version}" if self.version else "an earlier planish, which named no version"
        return (*self._saved.notes, f"saved by {by}; this is {__version__}, whose figures may differ")

    def sources(self) -> list[str]:
        """Return the sources as they were saved."""
        return list(self._saved.sources)

    @property
    def setup_texts(self) -> tuple[str, ...]:
        """The text of each setup that the answer came from, as TOML."""
        return tuple(str(one["text"]) for one in self._setups())

    @property
    def setup_digests(self) -> tuple[str, ...]:
        """The digest of each of those setups, measured files included."""
        return tuple(str(one["digest"]) for one in self._setups())

    @property
    def seed(self) -> int | None:
        """The seed of the call; None where nothing was left to chance."""
        found: int | None = None if self._saved.asked is None else self._saved.asked["seed"]
        return found

    def _setups(self) -> list[dict[str, Any]]:
        found: list[dict[str, Any]] = [] if self._saved.asked is None else self._saved.asked["setups"]
        return found

    def rerun(self) -> Result:
        """Compute the answer again from what the file says: setup, options, seed and what the call was given.

        Returns
        -------
        Result
            A fresh one, of the kind that was saved; equal figures, if this is the version that saved it.

        Raises
        ------
        DataError
            For a file that does not hold enough to compute it again; the message says what to do.
        """
        again, asked = kind_of(self.kind).again, self._saved.asked
        if asked is None or not again:
            why = "it was saved before files told of the call" if not self.version else "it tells of no call"
            raise DataError(refuse("rerun", f"a saved {self.kind}", "one that holds its call", why))
        if asked["missing"]:
            raise DataError(
                refuse("rerun", f"a saved {self.kind}", "one predicted from a setup", asked["missing"])
            )
        fresh: Result = load(again)(asked, self._saved.given)
        return fresh

    def plot(self, **options: object) -> Picture:
        """Draw the result as it would have been drawn when it was saved.

        Raises
        ------
        DataError
            Where the file does not hold what the picture needs, and for a kind that has no picture.
        """
        shown = kind_of(self.kind).shown
        if not shown:
            return draw(self.kind, self, options)
        try:
            record = load(shown)(self.data, self._figures)
        except KeyError as missing:
            raise DataError(
                f"the saved {self.kind} cannot be drawn: the file holds no {missing.args[0]!r} "
                "(predict it again and save that)"
            ) from None
        return draw(self.kind, record, options)

    def dataset(self) -> xr.Dataset:
        """Return the fields as they were saved."""
        return self._saved.data


def open_result(path: str | os.PathLike[str]) -> SavedResult:
    """Read a result written by :meth:`Result.save`.

    Parameters
    ----------
    path
        The file; of a lot, the folder that was written, or ``lot.nc`` in it.

    Returns
    -------
    SavedResult
        The fields, figures, notes and sources as they were saved; its ``rerun`` computes them anew.

    Every byte of the file is checked against the checksum it carries before anything reads it.

    Raises
    ------
    DataError
        If the file is missing, was not written by planish, or is damaged.
    """
    place = as_path(path, "result file")
    return SavedResult(read(place / LOT_FILE if place.is_dir() else place))


def same_call(asked: dict[str, Any], digests: tuple[str, ...]) -> tuple[str, ...]:
    """Return notes on how setups read back differ from those that were saved.

    Parameters
    ----------
    asked
        The call as saved: ``setups`` with ``name`` and ``digest``.
    digests
        Of the setups as filled in now, in the same order.

    Returns
    -------
    tuple[str, ...]
        A sentence a setup that differs.
    """
    return tuple(
        unique(
            f"setup {old['name']}: filled in otherwise than when it was saved (digest {new}, then {old['digest']})"
            for old, new in zip(asked["setups"], digests, strict=True)
            if old["digest"] != new
        )
    )
