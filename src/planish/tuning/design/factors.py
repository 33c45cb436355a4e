"""What an experiment varies: a key over a range, or between two values that have no middle."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from planish.errors import SetupError, refuse
from planish.tuning.design.terms import LETTERS
from planish.tuning.study.vary import varied

if TYPE_CHECKING:
    from planish.setup.models import Setup

ALLOWED = "a range, as '2..6 psi', or two values, as 'hard-microporous, soft-felt'"
MOST_FACTORS = 12
DIGITS = 6  # of a setting: more than any machine takes


@dataclass(frozen=True, slots=True)
class Factor:
    """One key that an experiment varies.

    ``letter`` by which terms call it, ``path`` in the setup, ``unit`` of its numbers as written; ``low`` and ``high`` are
    the coded -1 and +1. A factor of two ``texts`` has no numbers in between.
    """

    letter: str
    path: str
    low: float = -1.0
    high: float = 1.0
    unit: str = ""
    texts: tuple[str, ...] = ()

    @property
    def heading(self) -> str:
        """What its column in a sheet is called."""
        return f"{self.path} [{self.unit}]" if self.unit else self.path

    @property
    def told(self) -> str:
        """Its range, or its two texts, in words that ``read`` takes back."""
        if self.texts:
            return " | ".join(self.texts)
        return f"{self.low:.12g}..{self.high:.12g} {self.unit}".strip()

    def setting(self, coded: float) -> float | str:
        """Return the number in its unit, or the text, that stands for a coded value."""
        if self.texts:
            return self.texts[int(coded > 0)]
        number = 0.5 * (self.high + self.low) + 0.5 * (self.high - self.low) * coded
        return float(f"{number:.{DIGITS}g}")

    def coded(self, setting: float) -> float:
        """Return the coded value of a number in its unit."""
        return (setting - 0.5 * (self.high + self.low)) / (0.5 * (self.high - self.low))

    def change(self, setting: float | str) -> Any:
        """Return a setting as it would stand in the setup file."""
        if isinstance(setting, str):
            return _bare(setting)
        whole = int(setting) if setting.is_integer() and abs(setting) < 1e15 else setting
        return f"{whole!r} {self.unit}" if self.unit else whole


def read_factors(setup: Setup, vary: Mapping[str, str]) -> tuple[Factor, ...]:
    """Return the factors of an experiment, with letters in the order given.

    Parameters
    ----------
    setup
        Whose keys they are.
    vary
        Path to range or to two values.

    Returns
    -------
    tuple[Factor, ...]
        2 to 12 of them.

    Raises
    ------
    SetupError
        For a key that there is not, or values that are neither a range nor two.
    """
    if not isinstance(vary, Mapping) or not 2 <= len(vary) <= MOST_FACTORS:
        count = len(vary) if isinstance(vary, Mapping) else vary
        raise SetupError(
            refuse("keys of an experiment", count, f"2 to {MOST_FACTORS} keys with their ranges")
        )
    found: list[Factor] = []
    for letter, (path, text) in zip(LETTERS, vary.items(), strict=False):
        one = varied(setup, path, text)
        if one.ends is not None and not one.counted:
            found.append(Factor(letter, one.path, *one.ends, one.unit))
        elif one.ends is None and len(one.values) == 2:
            found.append(Factor(letter, one.path, texts=(str(one.values[0]), str(one.values[1]))))
        else:
            raise SetupError(refuse(f"vary {one.path}", text, ALLOWED))
        if one.path in [other.path for other in found[:-1]]:
            raise SetupError(f"vary {one.path}: given twice: must be given once")
    return tuple(found)


def _bare(text: str) -> Any:
    """Return true, false and numbers as such, any other text as it stands."""
    if text in ("True", "False"):
        return text == "True"
    try:
        return int(text)
    except ValueError:
        pass
    try:
        return float(text)
    except ValueError:
        return text
