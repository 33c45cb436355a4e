"""Named records of one kind: those that planish brings, and those that installed packages add.

A package adds records by an entry point, so that one file and one registration are enough::

    [project.entry-points."planish.laws"]
    mine = "my_package:MY_LAW"        # a record, or a list of them

Entry points are looked for when the first record is asked for, never at import.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable, Iterator
from difflib import get_close_matches
from functools import lru_cache
from importlib.metadata import EntryPoint, entry_points
from typing import Any, Generic, Protocol, TypeVar

from planish.errors import PluginError, SetupError, refuse


class Named(Protocol):
    """What a registry holds: anything with a name."""

    @property
    def name(self) -> str:
        """The word by which a setup asks for it."""


T = TypeVar("T", bound=Named)


class Registry(Generic[T]):
    """The records of one kind, by name.

    Parameters
    ----------
    what
        What one record is, as a person would say it: "removal law".
    group
        Entry-point group in which installed packages name theirs.
    kind
        The class that every record is an instance of.
    own
        Gives the records that planish brings; called at first use.
    """

    def __init__(self, what: str, group: str, kind: type[T], own: Callable[[], Iterable[T]]) -> None:
        self.what, self.group, self._kind, self._own = what, group, kind, own
        self._records: dict[str, T] = {}
        self._origins: dict[str, str] = {}
        self._stamps: dict[str, str] = {}
        self._read = False
        self._lock = threading.RLock()

    def get(self, name: str, place: str | None = None) -> T:
        """Return a record by its name.

        Parameters
        ----------
        name
            Of the record.
        place
            Where the name stood, for the refusal.

        Returns
        -------
        T
            The one of that name.

        Raises
        ------
        SetupError
            For a name that nothing has.
        PluginError
            For an installed package whose record cannot be used.
        """
        found = self._all().get(name)
        if found is None:
            near = get_close_matches(str(name), self.names(), n=1)
            remedy = f"did you mean {near[0]!r}?" if near else ""
            raise SetupError(refuse(place or self.what, name, ", ".join(self.names()), remedy))
        return found

    def names(self) -> tuple[str, ...]:
        """Return every name: planish's own in their order, then those of packages and of ``add``."""
        return tuple(self._all())

    def origin(self, name: str) -> str:
        """Return where a record comes from.

        Parameters
        ----------
        name
            Of the record.

        Returns
        -------
        str
            "planish", the package that named it, or "this session".

        Raises
        ------
        PluginError
            For an installed package whose record cannot be used.
        """
        self._all()
        return self._origins[name]

    def stamp(self, name: str) -> str:
        """Return what tells a record from another of its name: its package with the version, or "this session".

        Parameters
        ----------
        name
            Of the record.

        Returns
        -------
        str
            "" for planish's own, which go with planish's version.

        Raises
        ------
        PluginError
            For an installed package whose record cannot be used.
        """
        self._all()
        return self._stamps[name]

    def __iter__(self) -> Iterator[T]:
        return iter(self._all().values())

    def __contains__(self, name: object) -> bool:
        return name in self._all()

    def add(self, record: T) -> T:
        """Add a record for as long as this process lives, and return it.

        Parameters
        ----------
        record
            Of the registry's kind.

        Returns
        -------
        T
            The same one.

        Raises
        ------
        PluginError
            For something of another kind, or a name that is taken.
        """
        with self._lock:
            self._all()
            self._put(record, "this session", "this session")
        return record

    def remove(self, name: str) -> None:
        """Take out a record that ``add`` put in; those of planish and of packages stay.

        Parameters
        ----------
        name
            Of the record.

        Raises
        ------
        KeyError
            For a name that ``add`` did not put in.
        """
        with self._lock:
            if self._origins.get(name) != "this session":
                raise KeyError(name)
            del self._records[name], self._origins[name], self._stamps[name]

    def _all(self) -> dict[str, T]:
        if not self._read:
            with self._lock:
                if not self._read:
                    self._fill()
        return self._records

    def _fill(self) -> None:
        self._records.clear()
        self._origins.clear()
        self._stamps.clear()
        for record in self._own():
            self._put(record, "planish")
        for point in installed(self.group):
            for record in self._loaded(point):
                self._put(record, package_of(point), _stamp_of(point))
        self._read = True

    def _loaded(self, point: EntryPoint) -> list[T]:
        try:
            given = point.load()
        except Exception as problem:
            raise PluginError(
                refuse(
                    f"entry point {point.name!r} of {package_of(point)}",
                    point.value,
                    f"something that imports to a {self.what}",
                    f"mend or uninstall that package ({type(problem).__name__}: {problem})",
                )
            ) from problem
        return list(given) if isinstance(given, list | tuple) else [given]

    def _put(self, record: T, origin: str, stamp: str = "") -> None:
        if not isinstance(record, self._kind):
            raise PluginError(
                refuse(
                    f"{self.what} of {origin}",
                    type(record).__name__,
                    f"a {self._kind.__name__}",
                    "see CONTRIBUTING.md",
                )
            )
        if record.name in self._records:
            raise PluginError(
                refuse(
                    f"{self.what} of {origin}",
                    record.name,
                    f"a name that {self._origins[record.name]} has not taken",
                    "give it another name",
                )
            )
        self._records[record.name] = record
        self._origins[record.name] = origin
        self._stamps[record.name] = stamp


@lru_cache(maxsize=1)
def _every() -> Any:  # EntryPoints, but SelectableGroups under Python 3.11
    """Return the entry points of all that is installed; to read them takes long enough to do it once."""
    return entry_points()


def installed(group: str) -> list[EntryPoint]:
    """Return the entry points that installed packages have in a group, in an order that does not change."""
    return sorted(_every().select(group=group), key=lambda point: (point.value, point.name))


def package_of(point: EntryPoint) -> str:
    """Return the name of the package that an entry point is of."""
    return point.dist.name if point.dist is not None else point.value.partition(":")[0]


def _stamp_of(point: EntryPoint) -> str:
    return package_of(point) if point.dist is None else f"{point.dist.name} {point.dist.version}"
