"""The look of every figure: large enough for the back row, safe for colour-blind readers.

Line colours are from Okabe and Ito's published colour-blind-safe set, reordered so that
neighbours differ in lightness; maps use matplotlib's perceptually uniform ones.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, ParamSpec, TypeVar

import matplotlib as mpl
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

P = ParamSpec("P")
T = TypeVar("T")

INK = "#1d2733"
FAINT = "#5b6773"
GRID = "#d5dae0"
PAPER = "#ffffff"
BLUE, ORANGE, GREEN, PINK, SKY, AMBER = "#0072b2", "#d55e00", "#007a5a", "#b0508a", "#56b4e9", "#c98a00"
LINES = (BLUE, ORANGE, GREEN, PINK, SKY, AMBER)
DASHES: tuple[Any, ...] = ("-", (0, (5, 2)), (0, (1, 1.5)), (0, (6, 2, 1, 2)), (0, (3, 1)), (0, (8, 3)))
MAP = "cividis"
DIFFERENCE_MAP = "PuOr_r"

_SETTINGS = {
    "figure.facecolor": PAPER,
    "axes.facecolor": PAPER,
    "axes.edgecolor": FAINT,
    "axes.labelcolor": INK,
    "axes.titlecolor": INK,
    "axes.titlesize": 13,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.labelsize": 12,
    "axes.grid": True,
    "axes.axisbelow": True,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "grid.color": GRID,
    "grid.linewidth": 0.8,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.labelsize": 11,
    "ytick.labelsize": 11,
    "font.size": 11,
    "lines.linewidth": 2.2,
    "legend.frameon": True,
    "legend.framealpha": 0.9,
    "legend.edgecolor": PAPER,
    "legend.fontsize": 11,
    "savefig.facecolor": PAPER,
    "svg.fonttype": "none",
    "svg.hashsalt": "planish",
}


def styled(draw: Callable[P, T]) -> Callable[P, T]:
    """Run a drawing function with the house settings in force (they leave nobody else's figures changed).

    Parameters
    ----------
    draw
        The function.

    Returns
    -------
    Callable[P, T]
        In its place.
    """

    @functools.wraps(draw)
    def inside(*args: P.args, **options: P.kwargs) -> T:
        with mpl.rc_context(_SETTINGS):
            return draw(*args, **options)

    return inside


class _Picture(Figure):  # type: ignore[misc]  # matplotlib is not followed by the type check
    """A figure that a notebook shows where it stands last in a cell.

    Figures of pyplot are shown because pyplot tells the notebook how; nothing here imports pyplot,
    which would choose a window system and keep every figure.
    """

    def _repr_png_(self) -> bytes:
        return as_png(self, dpi=96)


def figure(width: float = 8.0, height: float = 4.8) -> Figure:
    """Return an empty figure in the house style.

    Parameters
    ----------
    width, height
        [inch].

    Returns
    -------
    Figure
        Without axes.
    """
    with mpl.rc_context(_SETTINGS):
        made = _Picture(figsize=(width, height), layout="constrained")
        FigureCanvasAgg(made)
    return made


def axes(fig: Figure, *args: Any, **options: Any) -> Any:
    """Add axes in the house style (``fig.add_subplot`` with the settings applied).

    Parameters
    ----------
    fig
        To which they are added.
    *args, **options
        Of ``add_subplot``.

    Returns
    -------
    Any
        The axes.
    """
    with mpl.rc_context(_SETTINGS):
        return fig.add_subplot(*args, **options)


def subplots(fig: Figure, rows: int, columns: int, **options: Any) -> Any:
    """Add a grid of axes in the house style (``fig.subplots`` with the settings applied).

    Parameters
    ----------
    fig
        To which they are added.
    rows, columns
        Of the grid.
    **options
        Of ``subplots``.

    Returns
    -------
    Any
        The axes.
    """
    with mpl.rc_context(_SETTINGS):
        return fig.subplots(rows, columns, **options)


def line_look(index: int) -> dict[str, Any]:
    """Return colour and dash of a line: both differ, so grey print still reads.

    Parameters
    ----------
    index
        Of the line, from 0.

    Returns
    -------
    dict[str, Any]
        Options for ``plot``.
    """
    return {"color": LINES[index % len(LINES)], "linestyle": DASHES[index % len(DASHES)]}


def as_svg(fig: Figure) -> str:
    """Return a figure as text that can stand inside an HTML page.

    Parameters
    ----------
    fig
        To be written.

    Returns
    -------
    str
        SVG.
    """
    import io

    buffer = io.StringIO()
    with mpl.rc_context({"svg.fonttype": "none", "svg.hashsalt": "planish"}):
        fig.savefig(buffer, format="svg", metadata={"Date": None})
    text = buffer.getvalue()
    return text[text.index("<svg") :]


def as_png(fig: Figure, dpi: int = 110) -> bytes:
    """Return a figure as a picture.

    Parameters
    ----------
    fig
        To be written.
    dpi
        Pixels per inch.

    Returns
    -------
    bytes
        PNG.
    """
    import io

    buffer = io.BytesIO()
    fig.savefig(buffer, format="png", dpi=dpi)
    return buffer.getvalue()


def save_figure(fig: Figure, folder: Path, name: str, formats: Sequence[str] = ("png", "svg")) -> list[Path]:
    """Write a figure as ``folder/name.png`` and ``.svg``, each whole or not at all.

    Parameters
    ----------
    fig
        To be written.
    folder, name
        Where to.
    formats
        Endings.

    Returns
    -------
    list[Path]
        The paths.
    """
    from planish.engine.files import write_whole

    paths = []
    for kind in formats:
        content = as_png(fig) if kind == "png" else as_svg(fig).encode()
        path = folder / f"{name}.{kind}"
        write_whole(path, content)
        paths.append(path)
    return paths
