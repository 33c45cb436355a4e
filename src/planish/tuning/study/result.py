"""What a study found: its runs as a table, how the figures spread, which key matters how much, what refused."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import counted
from planish.results.plain import unique
from planish.results.result import Result
from planish.results.units import stem, unit_of
from planish.tuning.study.design import CUT, SOURCES, Design
from planish.tuning.study.runs import NOTED, REFUSED, RUN, TOLD
from planish.tuning.study.sensitivity import indices

if TYPE_CHECKING:
    import polars as pl
    import xarray as xr

    from planish.results.asked import Asked

Array = NDArray[np.float64]
SHARES = (0.05, 0.5, 0.95)
CHECKS = ("force_balance_error", "wafers", "seed")  # of a summary: no outcomes
NOTED_KINDS = 4  # notes of runs that are told; the rest stand in the table
_NUMBERS = re.compile(r"[+-]?\d+(?:\.\d+)?(?:[eE][+-]?\d+)?")
WORDS = {
    "first": "share of the variance that goes when the key is fixed",
    "first_doubt": "half of its 95 % band",
    "total": "share of the variance that stays when all others are fixed",
    "total_doubt": "half of its 95 % band",
    "effect": "mean size of the change over the whole range of the key",
    "effect_doubt": "half of its 95 % band",
    "mean_effect": "mean change over the whole range of the key, signs kept",
    "sigma": "standard deviation of the change: bends, and works with other keys",
}


@dataclass(frozen=True, repr=False, eq=False)
class StudyResult(Result):
    """All runs of a study.

    Attributes
    ----------
    design
        Which runs.
    runs
        A row a run (a polars frame): its number and id, what it changes, why it refused ("" where it did not), the notes
        that the setup as it stands does not have, its figures in trade units.
    sensitivity
        By figure and index, a number a key; none unless asked for.
    """

    kind: ClassVar[str] = "study"

    design: Design
    seed: int
    wafers: int | None
    said: tuple[str, ...]
    rests_on: tuple[str, ...]
    sensitivity: dict[str, dict[str, Array]]
    runs: pl.DataFrame = field(compare=False)
    asked: Asked | None = None

    @classmethod
    def of(
        cls,
        design: Design,
        found: pl.DataFrame,
        *,
        order: Sequence[str] = (),
        seed: int,
        wafers: int | None,
        said: Sequence[str],
        asked: Asked | None,
        rests_on: Sequence[str],
    ) -> StudyResult:
        """Return what the runs say.

        Parameters
        ----------
        design
            Which runs.
        found
            All of them, in order: their figures.
        order
            In which figures are told.
        seed, wafers
            As the study had them.
        said
            What the setup as it stands notes.
        asked
            The call.
        rests_on
            Sources of the prediction.
        """
        figures = [name for name in order if name in found.columns]
        figures += sorted(set(found.columns) - set(figures) - set(TOLD))
        runs = _with_inputs(design, found.select([*TOLD, *figures]))
        return cls(
            design=design,
            seed=seed,
            wafers=wafers,
            said=tuple(unique([*said, *_method_notes(design)])),
            rests_on=tuple(unique([*rests_on, *SOURCES[design.method]])),
            sensitivity=_sensitivity(design, runs, seed),
            runs=runs,
            asked=asked,
        )

    def _told(self) -> str:
        refused = self.refused
        tail = f", {refused} of them refused" if refused else ""
        return f"{self.design.method} over {', '.join(self.design.names)}: {counted(self.design.size, 'run')}{tail}"

    @property
    def refused(self) -> int:
        """How many runs have no answer."""
        return int((self.runs[REFUSED] != "").sum())

    @property
    def noted(self) -> int:
        """How many runs note what the setup as it stands does not."""
        return int((self.runs[NOTED] != "").sum())

    @property
    def outcomes(self) -> tuple[str, ...]:
        """The figures that are numbers."""
        return _outcomes(self.design, self.runs)

    def outcome(self, figure: str) -> Array:
        """Return a figure of every run, NaN where it has none, in its trade unit.

        Parameters
        ----------
        figure
            One of ``outcomes``.
        """
        return _values(self.runs, figure)

    @property
    def notes(self) -> tuple[str, ...]:
        """What the setup notes, how many runs refused or noted something of their own, what the method takes for given."""
        lines = list(self.said)
        for words, count in self._refusals():
            lines.append(f"{count} of {self.design.size} runs refused: {words}")
        if self.noted:
            kinds = list(_kinds([words or "" for words in self.runs[NOTED].to_list()]).values())
            lines += [
                f"{count} of {self.design.size} runs: {words}" for words, count, _ in kinds[:NOTED_KINDS]
            ]
            if len(kinds) > NOTED_KINDS:
                lines.append(
                    f"{len(kinds) - NOTED_KINDS} notes more of some runs stand in the column {NOTED!r}"
                )
        lines += self._left_out()
        return tuple(unique(lines))

    def _left_out(self) -> list[str]:
        if self.design.method not in ("sobol", "morris") or not self.refused:
            return []
        words = "base samples" if self.design.method == "sobol" else "trajectories"
        return [f"indices leave out the {words} of which a run has no answer"]

    def _refusals(self) -> list[tuple[str, int]]:
        """Return the first refusal of each wording, and how many runs it is of; the commonest first."""
        return [(words, count) for words, count, _ in _kinds(self.runs[REFUSED].to_list()).values()]

    def _content(self) -> dict[str, Any]:
        """Return the sizes, and as tables how every figure spreads, the indices, the refusals; the runs are a frame."""
        return {
            "method": self.design.method,
            "runs": self.design.size,
            "runs_refused": self.refused,
            "runs_noted": self.noted,
            "keys": len(self.design.names),
            "seed": self.seed,
            "wafers": self.wafers,
            "varied": [
                {"key": name, "from": _first(values), "to": _last(values), "different": len(set(values))}
                for name, values in self._shown_inputs().items()
            ],
            "figures": [row for one in self.outcomes if (row := _spread(one, self.outcome(one))) is not None],
            "indices": [
                {"figure": figure, "key": key, **{name: float(values[at]) for name, values in found.items()}}
                for figure, found in self.sensitivity.items()
                for at, key in enumerate(self.design.names)
            ],
            "refusals": [{"words": words, "runs": count} for words, count in self._refusals()],
        }

    def _shown_inputs(self) -> dict[str, list[Any]]:
        return {
            name: self.runs[column].to_list()
            for name, column in zip(self.design.names, self.design.columns(), strict=True)
        }

    def sources(self) -> list[str]:
        """Return the sources of prediction and method, one line each."""
        return list(self.rests_on)

    def dataset(self) -> xr.Dataset:
        """Return the figures in SI: of a grid over one dimension a key, else over ``run`` with the keys as coordinates.

        ``refused`` is 0 where a run has an answer, else the row (from 1) of the table ``refusals``. Indices stand over
        ``figure`` and ``key``.
        """
        import xarray as xr

        grid = self.design.method == "grid"
        dims = tuple(map(labelled_as, self.design.names)) if grid else (RUN,)
        shape = self.design.shape if grid else (self.design.size,)
        coords: dict[str, Any] = {}
        for at, (told, (values, unit, words)) in enumerate(self.design.inputs().items()):
            name = labelled_as(told)
            attrs: dict[str, Any] = (
                {"units": unit, "long_name": words or told} if unit else {"long_name": words or told}
            )
            attrs |= self.design.written_in(at)
            if not grid:
                coords[name] = (RUN, np.array(values), attrs)
                continue
            first = np.unique(self.design.table[:, at], return_index=True)[1]
            coords[name] = (name, np.array([values[place] for place in first]), attrs)
        data: dict[str, Any] = {}
        for key in self.runs.columns:
            if key in TOLD or key in self.design.columns():
                continue
            words = stem(key).replace("_", " ")
            if not _numeric(self.runs, key):
                texts = ["" if value is None else str(value) for value in self.runs[key].to_list()]
                data[stem(key)] = (dims, np.array(texts).reshape(shape), {"long_name": words})
                continue
            unit_told = unit_of(key)
            values_si = self.outcome(key)
            if unit_told is not None:
                values_si = values_si * unit_told.factor + unit_told.offset
            attrs = {"units": "1" if unit_told is None else unit_told.si, "long_name": words}
            data[stem(key)] = (dims, values_si.reshape(shape), attrs)
        kinds = _kinds(self.runs[REFUSED].to_list())
        code = np.zeros(self.design.size, dtype=np.int32)
        for number, (_, _, places) in enumerate(kinds.values(), start=1):
            code[places] = number
        data["refused"] = (
            dims,
            code.reshape(shape),
            {"units": "1", "long_name": "row of the refusal, 0 for none"},
        )
        for name in next(iter(self.sensitivity.values()), {}):
            stacked = np.stack([found[name] for found in self.sensitivity.values()])
            coords["figure"] = ("figure", np.array(list(self.sensitivity)))
            coords["key"] = ("key", np.array(self.design.names))
            data[f"index_{name}"] = (("figure", "key"), stacked, {"long_name": WORDS[name]})
        return xr.Dataset(data, coords, {"method": self.design.method})


def labelled_as(name: str) -> str:
    """Return what the dataset calls a key or a spread: files cannot hold a coordinate with a blank in its name.

    Parameters
    ----------
    name
        Of ``Design.names``.
    """
    return name.replace(" ", "_")


def _with_inputs(design: Design, found: pl.DataFrame) -> pl.DataFrame:
    """Return the runs with what each changes behind its number and id."""
    import polars as pl

    columns = [
        pl.Series(name, values, strict=False)
        for name, values in zip(design.columns(), design.shown(), strict=True)
    ]
    head = [RUN, "id"]
    rest = [name for name in found.columns if name not in head]
    return pl.DataFrame([found[RUN], found["id"], *columns, *(found[name] for name in rest)])


def _outcomes(design: Design, runs: pl.DataFrame) -> tuple[str, ...]:
    left = {*TOLD, *design.columns(), *CHECKS}
    return tuple(name for name in runs.columns if name not in left and _numeric(runs, name))


def _numeric(runs: pl.DataFrame, name: str) -> bool:
    kind = runs[name].dtype
    return bool(kind.is_numeric()) or str(kind) == "Boolean"


def _values(runs: pl.DataFrame, figure: str) -> Array:
    import polars as pl

    return runs[figure].cast(pl.Float64).fill_null(np.nan).to_numpy().astype(np.float64)


def _sensitivity(design: Design, runs: pl.DataFrame, seed: int) -> dict[str, dict[str, Array]]:
    if design.method not in ("sobol", "morris"):
        return {}
    ends = np.array([one.ends for one in design.varied], dtype=np.float64)
    found = {
        figure: indices(design.method, design.table, ends[:, 0], ends[:, 1], _values(runs, figure), seed)
        for figure in _outcomes(design, runs)
    }
    return {figure: each for figure, each in found.items() if each}


def _spread(figure: str, values: Array) -> dict[str, Any] | None:
    known = values[np.isfinite(values)]
    if not known.size:
        return None
    low, middle, high = np.quantile(known, SHARES)
    return {
        "figure": figure,
        "runs": int(known.size),
        "least": float(known.min()),
        "mean": float(known.mean()),
        "most": float(known.max()),
        "standard_deviation": float(known.std(ddof=1)) if known.size > 1 else None,
        "percentile_5": float(low),
        "median": float(middle),
        "percentile_95": float(high),
    }


def _kinds(refusals: Sequence[str]) -> dict[str, tuple[str, int, list[int]]]:
    """Return refusals that differ by their numbers alone together: the first one's words, how many, which runs."""
    found: dict[str, tuple[str, list[int]]] = {}
    for place, words in enumerate(refusals):
        if words:
            found.setdefault(_NUMBERS.sub("#", words), (words, []))[1].append(place)
    ordered = sorted(found.items(), key=lambda item: -len(item[1][1]))
    return {kind: (words, len(places), places) for kind, (words, places) in ordered}


def _method_notes(design: Design) -> list[str]:
    if design.method == "spreads":
        return [
            "stated spreads drawn as independent: log-normal about the value where they are a share of it, else normal, "
            f"cut off at {CUT:g} standard deviations",
            "a spread that nobody stated, and what the model leaves out, is not in these figures",
        ]
    if design.method == "grid":
        return []
    counted_too = [one.path for one in design.varied if one.counted]
    return [
        "keys vary independently and evenly in their ranges: figures and indices hold for these ranges",
        *(
            [
                f"{', '.join(counted_too)}: drawn from anywhere in the range; how many values it says counts in a grid only"
            ]
            if counted_too
            else []
        ),
    ]


def _first(values: Sequence[Any]) -> Any:
    return min(values) if all(isinstance(value, int | float) for value in values) else values[0]


def _last(values: Sequence[Any]) -> Any:
    return max(values) if all(isinstance(value, int | float) for value in values) else values[-1]
