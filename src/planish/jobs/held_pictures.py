"""One picture or page of an answer, in the one file that was asked for."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from planish.engine.files import write_asked
from planish.errors import DataError, refuse

if TYPE_CHECKING:
    from planish.results.result import Result

ENDINGS = (".png", ".svg", ".html")


def check_picture(path: Path) -> Path:
    """Return the path of a picture or page, or refuse its ending before anything is computed.

    Parameters
    ----------
    path
        Where to.

    Returns
    -------
    Path
        The same.

    Raises
    ------
    DataError
        For an ending that nothing is written in.
    """
    if path.suffix.lower() not in ENDINGS:
        raise DataError(refuse("-o", str(path), f"a file that ends in {', '.join(ENDINGS)}"))
    return path


def write_picture(answer: Result, path: Path) -> Path:
    """Write an answer as one picture (PNG, SVG) or page (HTML), whole or not at all.

    Parameters
    ----------
    answer
        Of the verb that holds a step.
    path
        Where to; its ending says what.

    Returns
    -------
    Path
        The same.

    Raises
    ------
    DataError
        For another ending, and where it cannot be written.
    """
    from planish.explain.figures.style import as_png, as_svg

    ending = check_picture(path).suffix.lower()
    if ending == ".html":
        from planish.explain.held_page import held_page

        return write_asked(path, held_page(answer))
    picture = answer.plot()
    return write_asked(path, as_png(picture) if ending == ".png" else as_svg(picture))
