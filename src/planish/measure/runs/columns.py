"""What a column of a table of runs is: known by its name, loosely written, or by being the path of a setup's key.

Nothing is guessed: a name that is known under no spelling is refused with the nearest one.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from functools import lru_cache

from planish.errors import DataError
from planish.measure.sites.column_names import unit_of as length_or_rate
from planish.measure.tables.columns import LENGTHS, TIMES, rate_unit

_SPREAD = "(sd|std|stdev|stddev|standarddeviation|sigma|error|err|uncertainty)"
_USED = "(hours|h|age|time|use|usage|life)"
_NAMED = "(id|no|nr|number|name|serial|label)"
_FILE = "(file|filename|map|sites|sitefile|measurement|data|thickness|thk)*"
_PATTERNS = {
    "wafer": r"wafer(id|no|nr|number|name|label)?|wfr(id)?|waf",
    "lot": r"lot(id|no|nr|number|name)?|batch(id|no)?|cassette(id)?",
    "before": rf"{_FILE}(pre|before|incoming)(polish|polishing|cmp)?{_FILE}",
    "after": rf"{_FILE}(post|after|outgoing)(polish|polishing|cmp)?{_FILE}",
    "removal": rf"(removal|removed)(file|filename|map|sites|sitefile)?|{_FILE}(of)?removal",
    "time": r"(total)?(polish|polishing|process|cmp)?(time|duration)",
    "rate": r"(mean|average|avg)?(material)?(removal|polish|polishing)?rate(mean|average|avg)?|m?rr",
    "sd": rf"(rate|removalrate|m?rr|cut|cutrate|padcutrate|removal|thickness|gauge|site)?{_SPREAD}(of)?(rate|cut|removal)?",
    "pad_wafers": r"pad(wafers|wafercount|count)|wafers(run)?on(the)?pad|waferson(this)?pad|wafersbefore|padlifewafers",
    "pad_time": rf"pad{_USED}?",
    "disk_time": rf"(disk|disc|conditioner|dresser){_USED}?",
    "cut": r"(pad)?(cut|wear)(rate)?|pcr|pwr",
    "when": r"when|date|datetime|timestamp|(polish|polished|process|processed|run|start|started|end|ended)"
            r"(at|on|date|datetime|timestamp|start|end)",
    "tool": rf"(tool|machine|equipment){_NAMED}?|polisher{_NAMED}",
    "head": rf"(head|carrier){_NAMED}?",
    "platen": rf"(platen|table){_NAMED}?",
    "recipe": rf"recipe{_NAMED}?",
    "ring_time": rf"(retaining)?ring{_USED}",
    "pad": rf"pad{_NAMED}",
    "disk": rf"(disk|disc|conditioner|dresser){_NAMED}",
    "ring": rf"(retaining)?ring{_NAMED}",
}  # fmt: skip
_KNOWN = {role: re.compile(pattern) for role, pattern in _PATTERNS.items()}

#: What each role is in words, and what a unit of it must be ("" for none).
ROLES: dict[str, tuple[str, str]] = {
    "wafer": ("name of the wafer", ""),
    "lot": ("lot: its wafers err together", ""),
    "before": ("site file from before the polish", ""),
    "after": ("site file from after the polish", ""),
    "removal": ("site file of the removal", ""),
    "time": ("polish time", "time"),
    "rate": ("mean removal rate", "rate"),
    "sd": ("measurement error (1 sd)", "rate or length"),
    "pad_wafers": ("wafers polished on the pad before", ""),
    "pad_time": ("polishing time of the pad before", "time"),
    "disk_time": ("use of the disk before", "time"),
    "cut": ("cut rate of the pad", "rate"),
    "when": ("day and time of polishing", ""),
    "tool": ("name of the tool", ""),
    "head": ("which head", ""),
    "platen": ("which platen", ""),
    "recipe": ("name of the recipe", ""),
    "ring_time": ("use of the retaining ring before", "time"),
    "pad": ("which pad", ""),
    "disk": ("which disk", ""),
    "ring": ("which retaining ring", ""),
    "kept": ("a figure that is kept beside", ""),
}
#: Roles that say of a row where, when and on what it was polished: words, of which no prediction knows.
WORDS = ("when", "tool", "head", "platen", "recipe", "pad", "disk", "ring")
#: What is measured: a row has one of them (the two files count as one).
MEASURED = ("before", "removal", "rate", "cut")
#: One spelling of each, for those who misspelt it.
_EXAMPLES = {
    "wafer": "wafer", "lot": "lot", "before": "pre file", "after": "post file", "removal": "removal file", "time": "time",
    "rate": "rate", "sd": "rate sd", "pad_wafers": "pad wafers", "pad_time": "pad hours", "disk_time": "disk hours",
    "cut": "cut rate", "when": "polished at", "tool": "tool", "head": "head", "platen": "platen", "recipe": "recipe",
    "ring_time": "ring hours", "pad": "pad id", "disk": "disk id", "ring": "ring id",
}  # fmt: skip
_TIME_WORDS = {
    "seconds": "s", "second": "s", "secs": "s", "minutes": "min", "minute": "min", "mins": "min", "hours": "h",
    "hour": "h", "hrs": "h", "hr": "h",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Column:
    """A column and what it is.

    Attributes
    ----------
    header
        As written.
    role
        One of :data:`ROLES`; "" where it is a key of the setup.
    path
        Of that key, else "".
    unit
        As the name says it, None where it does not.
    """

    header: str
    role: str = ""
    path: str = ""
    unit: str | None = None

    def told(self) -> str:
        """Return what it is, in words."""
        unit = f" [{self.unit}]" if self.unit else ""
        if self.path:
            return f"{self.path}{unit}"
        return f"{_EXAMPLES.get(self.role, self.role)}{unit} is {self.header[:40]!r}"


def understood(header: str, is_key: Callable[[str], bool]) -> Column | None:
    """Return what a column is by its name.

    Parameters
    ----------
    header
        As written.
    is_key
        Whether a path is that of a setup's key.

    Returns
    -------
    Column | None
        None for a name that is not known.
    """
    text = unicodedata.normalize("NFC", header).strip()
    if not text or len(text) > 200:
        return None
    for stem, unit in _cuts(text):
        if "." in stem.strip(".") and is_key(stem):
            return Column(header, path=stem, unit=unit)
    for stem, unit in _cuts(text):
        role = _role(stem, unit)
        if role:
            return Column(header, role, unit=_plain_unit(unit) or _unit_in(stem))
    return None


def nearest_name(header: str, keys: Sequence[str]) -> str:
    """Return what a name may have been meant for.

    Parameters
    ----------
    header
        As written.
    keys
        Paths of the setup's keys.

    Returns
    -------
    str
        A question, or what there is.
    """
    stem = next(iter(_cuts(header.strip())))[0].lower()
    close = get_close_matches(stem, [*_EXAMPLES.values(), *keys], n=1, cutoff=0.6)
    if close:
        return f"did you mean {close[0]!r}?"
    return f"known: {', '.join(_EXAMPLES.values())}, and keys of the setup as recipe.step.main.time."


def _cuts(text: str) -> Iterator[tuple[str, str | None]]:
    """Yield the ways in which a name falls into stem and unit, the surest first."""
    if text.endswith(("]", ")")):
        opened = max(text.rfind("["), text.rfind("("))
        if opened > 0 and text[opened + 1 : -1].strip():
            yield text[:opened].strip(), text[opened + 1 : -1].strip()
    yield text, None
    for sign in (",", " in ", " "):
        stem, found, unit = text.rpartition(sign)
        if found and stem.strip() and unit.strip():
            yield stem.strip(), unit.strip()
    for cut in re.finditer("_", text):
        stem, unit = text[: cut.start()], text[cut.end() :]
        if stem and unit:
            yield stem, unit.replace("_per_", "/")


def role_of(word: str) -> str:
    """Return the role that a person means by a word such as ``cut rate`` or ``cut``; the word itself where none is meant.

    Parameters
    ----------
    word
        As written.
    """
    return word if word in ROLES else _role(word, None) or word


def spellings() -> tuple[str, ...]:
    """Return one spelling of each role, as columns are called."""
    return tuple(_EXAMPLES.values())


def _role(stem: str, unit: str | None) -> str:
    key = re.sub(r"[^\w]|_", "", stem.lower())
    for role, pattern in _KNOWN.items():
        if pattern.fullmatch(key) and _may_have(role, unit):
            return role
    return ""


@lru_cache(512)
def _may_have(role: str, unit: str | None) -> bool:
    """Whether a unit is one of what a role holds."""
    wants = ROLES[role][1]
    if unit is None:  # the cells may say it
        return True
    plain = _plain_unit(unit)
    if not wants or plain is None:
        return False
    if wants == "time":
        return plain in TIMES
    return rate_unit(plain) is not None or (wants == "rate or length" and plain in LENGTHS)


@lru_cache(512)
def _plain_unit(unit: str | None) -> str | None:
    """Return a unit of time, length or rate as tables name it; None for any other."""
    if unit is None:
        return None
    word = unit.strip().strip("[]()").strip().lower().rstrip(".")
    word = _TIME_WORDS.get(word, word)
    if word in TIMES:
        return word
    top, bar, bottom = word.replace("_per_", "/").replace(" per ", "/").partition("/")
    if bar:
        word = f"{top.strip()}/{_TIME_WORDS.get(bottom.strip(), bottom.strip())}"
    return length_or_rate(word)


def _unit_in(stem: str) -> str | None:
    """Return the unit that a name says as a word, as ``pad hours`` does."""
    return "h" if re.search(r"(hours|[_ ]h)$", stem.strip().lower()) else None


def unit_of_name(header: str, role: str) -> str | None:
    """Return the unit in a column's name that fits what the column was said to be.

    Parameters
    ----------
    header
        As written.
    role
        What it was said to be.
    """
    return next((_plain_unit(unit) for _, unit in _cuts(header) if unit and _may_have(role, unit)), None)


def factor(unit: str, role: str, place: str) -> float:
    """Return the SI value of one of a unit.

    Parameters
    ----------
    unit
        As written.
    role
        What is measured in it.
    place
        For the refusal.

    Returns
    -------
    float
        [s], [m/s] or [m] per unit.

    Raises
    ------
    DataError
        For a unit of something else.
    """
    plain = _plain_unit(unit)
    if plain is None or not _may_have(role, unit):
        example = {"time": "s, min, h", "rate": "nm/min, A/min, um/h", "rate or length": "nm/min, nm"}
        raise DataError(
            f"{place}: unit {unit[:40]!r} of the {ROLES[role][0]}: must be a unit of "
            f"{ROLES[role][1]} (such as {example[ROLES[role][1]]})"
        )
    if plain in TIMES:
        return TIMES[plain]
    rate = rate_unit(plain)
    return LENGTHS[plain] if rate is None else rate
