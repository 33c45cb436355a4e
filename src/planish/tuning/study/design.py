"""Which runs a study makes: a grid of all values, draws, or the samples that a sensitivity method asks for.

Every run is numbered; which numbers of workers share them, or how often a study was stopped, changes none of them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record
from planish.errors import SetupError, refuse
from planish.predict.wafer.bands import Moved, spreads
from planish.predict.wafer.correlations import correlations, mixed
from planish.tuning.study.vary import Varied

if TYPE_CHECKING:
    from collections.abc import Sequence

    from planish.setup.models import Setup

Array = NDArray[np.float64]
Method = Literal["grid", "drawn", "spreads", "sobol", "morris"]
MOST_RUNS = 1_000_000
CUT = 3.0  # spreads are drawn within so many standard deviations
LEVELS = 4  # of a Morris grid
SPREAD_UNIT = "standard deviations"

SOURCES = {
    "grid": (),
    "drawn": (),
    "spreads": (
        "Propagation of distributions by random draws: JCGM 101:2008, Supplement 1 to the GUM (from memory)",
    ),
    "sobol": (
        "Sensitivity indices from the variance, and the samples for them: Saltelli et al., Comput. Phys. Commun. 181 "
        "(2010) 259 (from memory), computed by SALib",
    ),
    "morris": (
        "Elementary effects: Morris, Technometrics 33 (1991) 161; their absolute mean: Campolongo et al., Environ. Model. "
        "Softw. 22 (2007) 1509 (from memory), computed by SALib",
    ),
}


@dataclass(frozen=True, slots=True, repr=False)
class Design(Record):
    """The runs of a study.

    Attributes
    ----------
    method
        How they are laid out.
    varied
        The keys that vary; none where spreads are drawn.
    spread
        The spreads that are drawn; none where keys vary.
    table
        A row a run, a column a key or spread: on a grid the place of the value among the key's, else the number in
        the range's own unit, of a spread the standard deviations.
    """

    method: Method
    varied: tuple[Varied, ...]
    spread: tuple[Moved, ...]
    table: Array

    @property
    def names(self) -> tuple[str, ...]:
        """What its columns are called."""
        return tuple(one.path for one in self.varied) or tuple(one.name for one in self.spread)

    @property
    def size(self) -> int:
        """How many runs."""
        return int(self.table.shape[0])

    @property
    def shape(self) -> tuple[int, ...]:
        """Of the grid: how many values each key has."""
        return tuple(len(one.values) for one in self.varied)

    def move(self, run: int) -> dict[str, Any] | tuple[float, ...]:
        """Return what a run changes: path to value, or by how many standard deviations each spread is moved."""
        row = self.table[run]
        if self.spread:
            return tuple(float(amount) for amount in row)
        if self.method == "grid":
            return {one.path: one.values[int(at)] for one, at in zip(self.varied, row, strict=True)}
        return {one.path: one.at(float(at)) for one, at in zip(self.varied, row, strict=True)}

    def inputs(self) -> dict[str, tuple[list[Any], str, str]]:
        """Return what each column holds, run by run: the numbers in SI or the texts, the unit ("" of texts), words."""
        if self.spread:
            return {
                one.name: (self.table[:, at].tolist(), SPREAD_UNIT, "by how far it is moved")
                for at, one in enumerate(self.spread)
            }
        return {one.path: self._column(one, self.table[:, at]) for at, one in enumerate(self.varied)}

    def columns(self) -> tuple[str, ...]:
        """What the table of runs calls what varies: with the unit behind."""
        if self.spread:
            return tuple(f"{one.name} [{SPREAD_UNIT}]" for one in self.spread)
        return tuple(f"{one.path} [{one.unit}]" if one.unit else one.path for one in self.varied)

    def written_in(self, column: int) -> dict[str, Any]:
        """Return the unit that a range was given in, with its ``factor`` and ``offset``: SI = factor number + offset.

        Parameters
        ----------
        column
            Of the table.
        """
        one = self.varied[column] if self.varied else None
        if one is None or one.ends is None or not one.unit:
            return {}
        factor = float(one.numbers[-1] - one.numbers[0]) / (one.ends[1] - one.ends[0])
        return {
            "written_in": one.unit,
            "factor": factor,
            "offset": float(one.numbers[0]) - factor * one.ends[0],
        }

    def shown(self) -> list[list[Any]]:
        """Return what each column of the table of runs holds: numbers of ranges in their own unit, else the values."""
        if self.spread:
            return [column.tolist() for column in self.table.T]
        return [self._shown(one, column) for one, column in zip(self.varied, self.table.T, strict=True)]

    def _shown(self, one: Varied, column: Array) -> list[Any]:
        if self.method != "grid":
            return [float(number) for number in column]
        if one.ends is not None:
            places = [float(f"{number:.12g}") for number in np.linspace(*one.ends, len(one.values))]
            return [places[int(at)] for at in column]
        bare = all(isinstance(value, int | float) and not isinstance(value, bool) for value in one.values)
        return [one.values[int(at)] if bare else str(one.values[int(at)]) for at in column]

    def _column(self, one: Varied, column: Array) -> tuple[list[Any], str, str]:
        if self.method != "grid":
            return [one.to_si(float(number)) for number in column], one.si_unit, one.words
        held = one.numbers.tolist() if one.numeric else [str(value) for value in one.values]
        return [held[int(at)] for at in column], one.si_unit if one.numeric else "", one.words

    def _told(self) -> str:
        return f"{self.method}, {self.size} runs over {', '.join(self.names)}"


def designed(
    setup: Setup,
    keys: Sequence[Varied],
    *,
    samples: int | None,
    sobol: int | None,
    morris: int | None,
    seed: int,
) -> Design:
    """Return the runs that were asked for.

    Parameters
    ----------
    setup
        Whose spreads are drawn where no key varies.
    keys
        That vary.
    samples, sobol, morris
        How many draws, base samples or trajectories; at most one of them. Without any: the grid of all values.
    seed
        Of what is left to chance.

    Returns
    -------
    Design
        Numbered runs.

    Raises
    ------
    SetupError
        Where these do not go together.
    """
    asked = {"samples": samples, "sobol": sobol, "morris": morris}
    given = {name: number for name, number in asked.items() if number is not None}
    if len(given) > 1:
        raise SetupError(
            refuse("study", " and ".join(given), "one of samples, sobol, morris, or none for a grid")
        )
    for name, number in given.items():
        _whole(name, number)
    _whole("seed", seed, least=0)
    if len({one.path for one in keys}) < len(keys):
        twice = next(one.path for one in keys if [two.path for two in keys].count(one.path) > 1)
        raise SetupError(f"vary {twice}: given twice: must be given once")
    if not given:
        return _grid(keys)
    if samples is not None:
        return _ranged("drawn", keys, samples, seed) if keys else _spreads(setup, samples, seed)
    return _ranged("sobol" if sobol is not None else "morris", keys, sobol or morris or 0, seed)


def _whole(name: str, number: Any, least: int = 1) -> None:
    if isinstance(number, bool) or not isinstance(number, int) or number < least:
        raise SetupError(refuse(name, number, f"a whole number, {least} or more"))


def _most(runs: int) -> None:
    if runs > MOST_RUNS:
        raise SetupError(refuse("study", f"{runs} runs", f"at most {MOST_RUNS} runs", "take fewer values"))


def _grid(keys: Sequence[Varied]) -> Design:
    if not keys:
        raise SetupError(
            "study: no key varies: must be at least one, as --vary 'head.ring.gap=0.2..1 mm/9', or --samples N to draw "
            "from the stated spreads"
        )
    for one in keys:
        if not one.counted:
            assert one.ends is not None
            told = f"{one.ends[0]:.12g}..{one.ends[1]:.12g}{one.unit and ' ' + one.unit}"
            raise SetupError(refuse(f"vary {one.path}", told, "a range with how many values", f"'{told}/9'"))
    shape = [len(one.values) for one in keys]
    runs = math.prod(shape)
    _most(runs)
    places = np.unravel_index(np.arange(runs), shape)
    return Design("grid", tuple(keys), (), np.stack(places, axis=1).astype(np.float64))


def _ranged(method: Method, keys: Sequence[Varied], number: int, seed: int) -> Design:
    """Return runs that lie anywhere in the ranges."""
    if not keys:
        raise SetupError(
            f"study: {method}: no key varies: must be at least one, as 'head.ring.gap=0.2..1 mm'"
        )
    for one in keys:
        if one.ends is None or not one.numeric:
            raise SetupError(
                refuse(
                    f"vary {one.path}", ", ".join(map(str, one.values)), "a range, as '2..6 psi'", "or a grid"
                )
            )
    low, high = np.array([one.ends for one in keys], dtype=np.float64).T
    shares = unit_samples(method, len(keys), number, seed)
    return Design(method, tuple(keys), (), low + shares * (high - low))


def unit_samples(method: Method, count: int, number: int, seed: int) -> Array:
    """Return the places of the runs in the unit cube, a row a run.

    Parameters
    ----------
    method
        "drawn", "sobol" or "morris".
    count
        How many keys.
    number
        Draws, base samples or trajectories.
    seed
        Of chance.

    Returns
    -------
    Array
        From 0 to 1.

    Raises
    ------
    SetupError
        For a number that the method cannot take.
    """
    if method == "drawn":
        _most(number)
        return np.random.default_rng(seed).random((number, count))
    problem = {"num_vars": count, "names": [str(at) for at in range(count)], "bounds": [[0.0, 1.0]] * count}
    if method == "morris":
        from SALib.sample import morris

        _most(number * (count + 1))
        return np.asarray(morris.sample(problem, number, num_levels=LEVELS, seed=seed), dtype=np.float64)
    if number & (number - 1):
        near = 1 << (number.bit_length() - 1)
        raise SetupError(refuse("sobol", number, "a power of 2", f"{near} or {2 * near}"))
    _most(number * (count + 2))
    from SALib.sample import sobol

    made = sobol.sample(problem, number, calc_second_order=False, seed=seed)
    return np.asarray(made, dtype=np.float64)


def _spreads(setup: Setup, samples: int, seed: int) -> Design:
    found = spreads(setup)
    if not found:
        raise SetupError(
            "study: samples: no spread is stated in this setup, and no key varies: must be one of both (vary a key, as "
            "'head.ring.gap=0.2..1 mm', or state a spread, as removal.oxide.spread)"
        )
    _most(samples)
    from scipy.stats import truncnorm

    shares = np.random.default_rng(seed).random((samples, len(found)))
    alone = np.asarray(truncnorm.ppf(shares, -CUT, CUT), dtype=np.float64)
    return Design("spreads", (), tuple(found), mixed(alone, correlations(setup, found)))
