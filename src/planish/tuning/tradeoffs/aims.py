"""What a setup can be wanted to be: aims by short names, each a figure of an answer's summary and a direction.

Any other figure of a summary is an aim too, where its direction is said: ``peak_temperature_C=lower``.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from planish.errors import SetupError, refuse
from planish.results.units import unit_of

Answer = Literal["wafer", "first", "lot", "cost", "die"]
Better = Literal["higher", "lower"]
#: The answers that figures are looked up in, in this order: one wafer, the first of a lot, a lot, its cost, a die.
ANSWERS: tuple[Answer, ...] = ("wafer", "first", "lot", "cost", "die")
DIRECTIONS = ("higher", "lower")


@dataclass(frozen=True, slots=True)
class Aim:
    """One aim: what it is called, the figure of which answer it is, and which way is better."""

    name: str
    figure: str
    better: Better
    answer: Answer
    words: str

    @property
    def sign(self) -> float:
        """Factor that makes lower better."""
        return 1.0 if self.better == "lower" else -1.0

    @property
    def unit(self) -> str:
        """As shown behind a number; "" where there is none."""
        found = unit_of(self.figure)
        return "" if found is None else found.shown

    def told(self, value: float) -> str:
        """Return a value with its unit, to four digits."""
        return f"{value:.4g} {self.unit}".strip()


KNOWN = (
    Aim("rate", "mean_removal_rate_nm_per_min", "higher", "wafer", "removal rate"),
    Aim("evenness", "wiwnu_sigma_percent", "lower", "wafer", "WIWNU, 1σ"),
    Aim("time", "time_s", "lower", "wafer", "polishing time"),
    Aim("warmth", "peak_temperature_C", "lower", "wafer", "highest temperature"),
    Aim("scratches", "first_scratch_index_relative", "lower", "first", "scratch index, fresh pad"),
    Aim("drift", "wtwnu_percent", "lower", "lot", "drift of the rate over the lot, 1σ"),
    Aim("pad-life", "pad_life_wafers", "higher", "cost", "wafers on one pad"),
    Aim("disk-life", "disk_life_wafers", "higher", "cost", "wafers with one disk"),
    Aim("cost", "cost_per_wafer", "lower", "cost", "cost of a wafer"),
    Aim("throughput", "wafers_per_hour", "higher", "cost", "wafers an hour"),
    Aim("slurry", "slurry_ml", "lower", "cost", "slurry for a wafer"),
    Aim("step-height", "step_height_max_nm", "lower", "die", "highest step left in the die"),
    Aim("dishing", "dishing_max_nm", "lower", "die", "deepest dishing in the die"),
    Aim("erosion", "erosion_max_nm", "lower", "die", "deepest erosion in the die"),
    Aim("within-die", "within_die_range_nm", "lower", "die", "range of what is left in the die"),
    Aim("topography", "topography_nm", "lower", "die", "topography of the die"),
)
_BY_NAME = {aim.name: aim for aim in KNOWN} | {aim.figure: aim for aim in KNOWN}
EXAMPLE = "as --aim rate --aim evenness"


@dataclass(frozen=True, slots=True)
class AskedAim:
    """An aim as it was written: a known one, or a figure that an answer must be looked through for."""

    name: str
    better: Better | None

    @property
    def known(self) -> Aim | None:
        """The known aim of this name, or figure, with the direction asked for."""
        found = _BY_NAME.get(self.name)
        if found is None or self.better in (None, found.better):
            return found
        assert self.better is not None
        return Aim(found.name, found.figure, self.better, found.answer, found.words)


def read_aims(given: Sequence[str]) -> list[AskedAim]:
    """Return the aims that were asked for, as far as their words tell.

    Parameters
    ----------
    given
        Names of known aims, keys of a summary, either with "=higher" or "=lower" behind.

    Raises
    ------
    SetupError
        For fewer than two, one given twice, or a direction that is none.
    """
    found = [_read(one) for one in given]
    if len(found) < 2:
        told = found[0].name if found else "none"
        raise SetupError(
            refuse("aims", told, "two or more", f"{EXAMPLE}; known: {', '.join(aim.name for aim in KNOWN)}")
        )
    figures = [aim.name if aim.known is None else aim.known.figure for aim in found]
    for at, figure in enumerate(figures):
        if figure in figures[:at]:
            raise SetupError(f"aim {found[at].name}: given twice: must be given once")
    return found


def _read(text: object) -> AskedAim:
    if not isinstance(text, str) or not text.strip():
        raise SetupError(refuse("aim", text, "the name of an aim or a figure", EXAMPLE))
    name, sign, direction = (piece.strip() for piece in text.partition("="))
    if not sign:
        return AskedAim(name, None)
    for better in DIRECTIONS:
        if direction == better:
            return AskedAim(name, better)  # type: ignore[arg-type]  # one of the two words
    raise SetupError(refuse(f"aim {name}", direction, "higher or lower", f"as --aim '{name}=lower'"))


def resolved(asked: AskedAim, found: Mapping[Answer, Mapping[str, object]]) -> Aim:
    """Return the aim that was asked for.

    Parameters
    ----------
    asked
        As written.
    found
        The summaries of the setup as it stands, by answer.

    Raises
    ------
    SetupError
        For a name that is no aim and no number of a summary, and for a figure whose direction nobody said.
    """
    known = asked.known
    if known is not None:
        return known
    answer = answer_of(asked.name, found, "aim")
    if asked.better is None:
        raise SetupError(
            refuse(f"aim {asked.name}", "no direction", "higher or lower", f"as --aim '{asked.name}=lower'")
        )
    return Aim(asked.name, asked.name, asked.better, answer, _words(asked.name))


def figure_of(name: str) -> tuple[str, Answer | None]:
    """Return the figure that a name stands for, and the answer that it is of where that is known."""
    known = _BY_NAME.get(name)
    return (name, None) if known is None else (known.figure, known.answer)


def answer_of(figure: str, found: Mapping[Answer, Mapping[str, object]], named: str) -> Answer:
    """Return the first answer whose summary holds a figure that is a number.

    Parameters
    ----------
    figure
        Key of a summary.
    found
        The summaries.
    named
        What it is asked for as: "aim" or "limit".

    Raises
    ------
    SetupError
        Where none has it.
    """
    for answer in ANSWERS:
        value = found.get(answer, {}).get(figure)
        if value is not None and not isinstance(value, bool | str):
            return answer
    names = [aim.name for aim in KNOWN]
    every = [*names, *(key for summary in found.values() for key in summary)]
    close = difflib.get_close_matches(figure, every, n=1, cutoff=0.6)
    hint = f"did you mean {close[0]!r}? " if close else ""
    raise SetupError(
        refuse(
            named,
            figure,
            f"one of {', '.join(names)}, or a number of a summary",
            f"{hint}see planish polish, lot, cost, die --json",
        )
    )


def _words(figure: str) -> str:
    unit = unit_of(figure)
    bare = figure if unit is None else figure[: -len(unit.ending) - 1]
    return bare.replace("_", " ")
