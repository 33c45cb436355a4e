"""What a gauge's column is, by the many names that it goes by.

The names are those of the trade at large (common practice, no source). What is not known by its name is
nothing here: it is told as left out, or the user says what it is.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

from planish.measure.tables.columns import ANGLES, LENGTHS, rate_unit, split_name

#: What a column can be.
POSITIONS = ("x", "y", "r", "theta", "die_x", "die_y")
MEASURED = ("thickness", "removal", "rate")
ROLES = (*POSITIONS, *MEASURED, "site", "wafer")

_BEFORE = "(wafer|site|point|meas|measurement)?(pos|position|coord|coordinate|coordinates|loc|location)?"
_AFTER = "(pos|position|coord|coordinate|loc|location|wafer)?"
_SITE = "(site|point|pt|measurementpoint|measpoint|measurementsite|meas|measurement)(id|no|nr|num|number|index|name)?"
_PATTERNS: dict[str, str] = {
    "x": f"{_BEFORE}x{_AFTER}",
    "y": f"{_BEFORE}y{_AFTER}",
    "r": f"{_BEFORE}(r|radius){_AFTER}|radial(pos|position|distance)",
    "theta": f"{_BEFORE}(theta|angle|phi|azimuth|θ|φ){_AFTER}|polarangle",
    "die_x": "(die|field|shot)(index|idx)?x|x(die|field|shot|dieindex)|(die|field|shot)(col|column)",
    "die_y": "(die|field|shot)(index|idx)?y|y(die|field|shot|dieindex)|(die|field|shot)row",
    "site": f"{_SITE}|no|nr|seq|sequence|#",
    "wafer": "(wafer|substrate)(id|no|nr|num|number|name)?",
    "slot": "slot(id|no|nr|num|number)?",
    "removal": "removal|removed|removalamount|amountremoved|materialremoved|filmremoved",
    "rate": "rate|removalrate|polishrate|polishingrate|rr|mrr",
}
_KNOWN = {role: re.compile(pattern) for role, pattern in _PATTERNS.items()}
_THICK = re.compile(r"thick|thk")
#: Beside a thickness: how well it is known or what it should be, not what it is.
_BESIDE = re.compile(r"std|dev|sigma|range|err|uncert|gof|fit|target|nominal|spec|min|max|unit|limit")
#: Names that are a thickness where their unit is one of a film.
_SHORT = re.compile(r"(t|film|layer|oxide|nitride|value|reading|result|data)\d*")
_FILM_UNITS = ("nm", "å", "a", "angstrom", "ka", "kå", "um", "µm", "μm")
_SPELLED: dict[str, str] = {
    "angstroms": "angstrom", "ang": "angstrom", "ångström": "angstrom", "kangstrom": "ka", "nanometer": "nm",
    "nanometers": "nm", "nanometre": "nm", "micron": "um", "microns": "um", "micrometer": "um", "micrometers": "um",
    "micrometre": "um", "millimeter": "mm", "millimeters": "mm", "millimetre": "mm", "inches": "in", '"': "in",
    "degree": "deg", "degrees": "deg", "radian": "rad", "radians": "rad",
}  # fmt: skip
#: One letter, or a word, that is as likely a part of the name.
_DOUBTFUL = ("a", "m", "in")


@dataclass(frozen=True, slots=True)
class Named:
    """A column's name taken apart.

    Attributes
    ----------
    header
        As written.
    role
        What it is, or "".
    unit
        As a table's unit, or None.
    bare
        Without its unit.
    stem, number
        Of a numbered name such as ``Site 7``; number is None where there is none.
    """

    header: str
    role: str
    unit: str | None
    bare: str = ""
    stem: str = ""
    number: int | None = None


def unit_of(text: str) -> str | None:
    """Return a unit as tables name it.

    Parameters
    ----------
    text
        Such as ``Å``, ``[mm]``, ``microns``, ``A/min``.

    Returns
    -------
    str | None
        None for what is no unit of a length, an angle or a rate.
    """
    word = unicodedata.normalize("NFC", text).strip().strip("[](){}").strip().lower().rstrip(".")
    word = _SPELLED.get(word, word)
    if word in LENGTHS or word in ANGLES:
        return word
    top, bar, bottom = word.replace(" ", "").replace("_per_", "/").partition("/")
    rate = f"{_SPELLED.get(top, top)}/{bottom}"
    return rate if bar and rate_unit(rate) is not None else None


def shown(unit: str) -> str:
    """Return a unit as it is written for a reader.

    Parameters
    ----------
    unit
        As tables name it.
    """
    return {
        "a": "Å",
        "å": "Å",
        "angstrom": "Å",
        "ka": "kÅ",
        "kå": "kÅ",
        "um": "µm",
        "μm": "µm",
        "in": "inch",
    }.get(unit, unit)


def named(header: str) -> Named:
    """Return what a column is by its name.

    Parameters
    ----------
    header
        As written.

    Returns
    -------
    Named
        With role "" for a name that is not known.
    """
    text = unicodedata.normalize("NFC", header).strip()
    if len(text) > 200:
        return Named(header, "", None)
    if text[:1].isdigit() or text[:1] in "+-.":  # most cells of a file, none a name but the number of a site
        return Named(
            header,
            "",
            None,
            text,
            "",
            int(text) if text.isascii() and text.isdigit() and len(text) < 5 else None,
        )
    name, unit, sure = _with_unit(text)
    key = re.sub(r"[^\w#]|_", "", name.lower())
    if unit is None and (glued := re.fullmatch(r"([xyr]|thickness|thk)(mm|um|µm|nm|cm)", key)):
        key, unit, sure = glued[1], glued[2], True
    key = key.rstrip("#") or key
    numbered = re.fullmatch(r"(.*?)(\d{1,4})", key)
    stem, number = (numbered[1], int(numbered[2])) if numbered else ("", None)
    return Named(header, _role(key, unit, sure), unit, name.strip(), stem, number)


def _role(key: str, unit: str | None, sure: bool) -> str:
    for role, pattern in _KNOWN.items():
        if pattern.fullmatch(key):
            return role
    if _THICK.search(key):
        return "" if _BESIDE.search(key) else "thickness"
    return "thickness" if sure and unit in _FILM_UNITS and _SHORT.fullmatch(key) else ""


def _with_unit(text: str) -> tuple[str, str | None, bool]:
    """Return name, unit, and whether the unit can be nothing else."""
    if text.endswith(("]", ")", "}")):
        name, inside = split_name(text.replace("{", "[").replace("}", "]"))
        return (
            (name, unit_of(inside), True) if inside is not None and unit_of(inside) else (text, None, False)
        )
    cut = re.match(r"(.*?)([\s,/:;_.\-]+)([^\s,:;_.\-]+)$", text)
    per = re.match(r"(.*?)_([a-zå]+_per_[a-z]+)$", text.lower())
    if per and (unit := unit_of(per[2])):
        return per[1], unit, True
    if cut and cut[1] and (unit := unit_of(cut[3])):
        # "Film A" and "Pos A" are films and axes; "thickness_A" is how a plain table has it.
        sure = unit not in _DOUBTFUL or cut[2].strip() in (",", "/", ":")
        if sure or cut[2] == "_":
            return cut[1], unit, sure
    return text, None, False
