"""The invented setups that inputs are tried on, their layout, and the files that they name."""

from __future__ import annotations

import tomllib
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from planish.engine.files import write_whole
from planish.measure.layout.make import make_maps
from planish.measure.sites.read import SiteMap, write_sites
from planish.measure.sites.site_plan import site_plan
from planish.setup.load import loads
from planish.setup.motions.known import MOTIONS
from planish.setup.new import new_setup

if TYPE_CHECKING:
    from planish.measure.layout.maps import LayoutMaps
    from planish.setup.models import Setup

_FILM = """\
[tried-oxide]
summary = "an oxide that polishes at half the rate, invented"
law = { value = "preston", source = "invented" }
rate = { value = "120 nm/min", source = "invented" }
"""


@lru_cache(maxsize=4)
def table(name: str) -> dict[str, Any]:
    """Return one of the data files beside this module.

    Parameters
    ----------
    name
        Without its ending.

    Returns
    -------
    dict[str, Any]
        Not to be changed.
    """
    return tomllib.loads(files("planish.inputs").joinpath(f"{name}.toml").read_text(encoding="utf-8"))


def scenario(name: str, folder: Path) -> Setup:
    """Return a setup that inputs are tried on.

    Parameters
    ----------
    name
        Of a motion, or of a table of ``scenarios.toml``.
    folder
        Where the files lie that a trial may name.

    Returns
    -------
    Setup
        Invented.
    """
    if name in MOTIONS:
        return loads(new_setup(name), name=name, folder=folder)
    return loads(new_setup(MOTIONS.names()[0]), name=name, folder=folder).replace(table("scenarios")[name])


@lru_cache(maxsize=1)
def layout() -> LayoutMaps:
    """Return the layout of a die: four blocks of line gratings, invented."""
    return make_maps("density-blocks", cell=60e-6, size=600e-6, blocks=2)


def write_files(folder: Path) -> None:
    """Write what trials name: measured sites of a film, summit heights, a folder with a film of one's own.

    Parameters
    ----------
    folder
        To write them to.
    """
    x, y = site_plan("49", 0.15, 0.003)
    value = 1e-9 * (1000 + 30 * (np.hypot(x, y) / 0.15) ** 2 + 10 * x / 0.15)
    names = tuple(str(i + 1) for i in range(x.size))
    sites = SiteMap(x=x, y=y, value=value, site=names, quantity="thickness", unit="nm", source="invented")
    write_sites(sites, folder / "sites.csv")
    heights = 5.0 * np.random.default_rng(1).exponential(size=600)
    lines = ["height_um", *(f"{one:.4f}" for one in heights)]
    write_whole(folder / "heights.csv", ("\n".join(lines) + "\n").encode())
    (folder / "parts").mkdir(exist_ok=True)
    write_whole(folder / "parts" / "films.toml", _FILM.encode())
