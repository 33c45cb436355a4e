"""Which keys does a study vary? Lines such as ``recipe.step.main.ring_pressure=2..6 psi/9`` as the keys and their values."""

from __future__ import annotations

from collections.abc import Sequence

from planish.errors import SetupError, refuse
from planish.setup.paths import PATH
from planish.tuning.study.vary import ALLOWED


def read_varied(lines: Sequence[str], *, named: str = "vary") -> dict[str, str]:
    """Return the keys that lines name, and the text of their values.

    Parameters
    ----------
    lines
        Key, ``=``, values as `planish.tuning.study.vary` reads them.
    named
        What the door calls its field or option.

    Returns
    -------
    dict[str, str]
        For `planish.study`.

    Raises
    ------
    SetupError
        For a line that names no key or no values, and for a key given twice.
    """
    found: dict[str, str] = {}
    for line in lines:
        read = PATH.match(line)  # a name in quotes may hold the sign
        text = "" if read is None else line[read.end() :].strip()
        if read is None or not text:
            raise SetupError(refuse(named, line, f"key=values: {ALLOWED}"))
        if read[1] in found:
            raise SetupError(f"{named} {read[1]}: given twice: must be given once")
        found[read[1]] = text
    return found
