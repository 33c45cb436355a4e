"""The model run for every setup between A and B, each once; what has no figure says so."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from math import isfinite
from typing import TYPE_CHECKING, Any

from planish.errors import PlanishError
from planish.explain.comparison.mixing import mixed
from planish.explain.comparison.ties import Tied

if TYPE_CHECKING:
    from planish.setup.si import Rig


def is_number(value: Any) -> bool:
    """Return whether a value of a summary is a figure, finite or not.

    Parameters
    ----------
    value
        Of the summary.

    Returns
    -------
    bool
        True or False.
    """
    return isinstance(value, int | float) and not isinstance(value, bool)


def number(value: Any) -> float | None:
    """Return a finite number.

    Parameters
    ----------
    value
        Of the summary.

    Returns
    -------
    float | None
        None for what is none.
    """
    return float(value) if is_number(value) and isfinite(value) else None


class NoFigureError(PlanishError):
    """A setup between A and B has no such figure, so that the difference cannot be shared out."""


class Trials:
    """The summaries of A with some groups from B, each computed once."""

    def __init__(
        self, a: Rig, b: Rig, groups: Sequence[Tied], run: Callable[[Rig], Mapping[str, Any]]
    ) -> None:
        self.a, self.b, self.run = a, b, run
        self.members = {group.name: group.members for group in groups}
        self.whole = frozenset[Hashable](self.members)
        self.kept: dict[frozenset[Hashable], Mapping[str, Any] | PlanishError] = {}
        self.runs = 0

    def of(self, some: frozenset[Hashable]) -> Mapping[str, Any]:
        """Return the summary of A with groups from B; with all of them, that of B itself.

        Parameters
        ----------
        some
            The groups.

        Returns
        -------
        Mapping[str, Any]
            By key.

        Raises
        ------
        NoFigureError
            Where that setup has no answer.
        """
        if some not in self.kept:
            self.runs += 1
            from_b = frozenset[Hashable](member for name in some for member in self.members[str(name)])
            if not some or some == self.whole:
                self.kept[some] = self.run(self.b if some else self.a)
            else:
                try:
                    self.kept[some] = self.run(mixed(self.a, self.b, from_b))
                except PlanishError as problem:
                    self.kept[some] = problem
        found = self.kept[some]
        if isinstance(found, PlanishError):
            raise NoFigureError(f"{self._name(some)} has no answer ({found})")
        return found

    def figure(self, some: frozenset[Hashable], key: str) -> float:
        """Return one figure of A with groups from B.

        Parameters
        ----------
        some
            The groups.
        key
            Of the summary.

        Returns
        -------
        float
            Finite.

        Raises
        ------
        NoFigureError
            Where that setup has no such figure.
        """
        value = number(self.of(some).get(key))
        if value is None:
            raise NoFigureError(f"{self._name(some)} has no such figure")
        return value

    def _name(self, some: frozenset[Hashable]) -> str:
        return "A with the " + ", ".join(name for name in self.members if name in some) + " of B"
