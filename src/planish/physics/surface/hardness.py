"""From what a pad's data sheet says (hardness, porosity, filler) to its elastic modulus.

A durometer reading is no modulus: published relations differ by up to about two
for soft pads. `shore_modulus` therefore names the relation it uses. Cell structure and fillers then act
on the modulus of the solid polymer.

Conventions: moduli [Pa], readings 0-100, shares 0-1.
"""

from __future__ import annotations

import math
from typing import Literal

from planish.errors import ModelError

SOURCES: tuple[str, ...] = (
    "log10 E[MPa] = 0.0235 S - 0.6403 for Shore A (read as quoted in Borrello's note on Shore A and modulus); S = Shore "
    "D + 50, and 20-80 A or 30-85 D (read as quoted in a converter of durometer readings); that a modulus can be had "
    "from either: Qi, Joyce & Boyce 2003, Rubber Chem. Technol. 76, 419 (abstract read)",
    "Gibson & Ashby, Cellular Solids: E/E_s = (rho/rho_s)^2 for open cells, said there for rho/rho_s up to about 0.3 "
    "(read as quoted in an audit of a sea-ice closure)",
    "Gibson & Ashby, Cellular Solids: phi^2 (rho/rho_s)^2 + (1-phi)(rho/rho_s) for closed cells (from memory)",
    "Guth 1945, J. Appl. Phys. 16, 20: E/E_0 = 1 + 2.5 c + 14.1 c^2 for round fillers (read as quoted in the RheoJAX "
    "documentation)",
    "Mean pressure at which a solid flows, 2.8 to 3 times its yield stress whatever presses it: Tabor 1951, Johnson 1985,"
    " Contact Mechanics, ch. 6 (from memory); less where it yields late: Needleman, Tvergaard & van der Giessen 2015,"
    " Acta Mech. Sin. (abstract)",
    "Mean pressure under a tip that ploughs, 3/8 of Young's modulus of the solid: chosen for 60 MPa on a hard"
    " microporous pad, below E* cot(a)/2 of an elastic cone (read as quoted in the ContactMechanics library)",
    "Halpin & Kardos 1976, Polym. Eng. Sci. 16, 344: the Halpin-Tsai equations (read as quoted in a lecture on "
    "composites)",
)

Scale = Literal["A", "D"]
Cells = Literal["none", "open", "closed"]

QI_RANGE: dict[Scale, tuple[float, float]] = {"A": (20.0, 80.0), "D": (30.0, 85.0)}


def _require(condition: bool, what: str, value: float, allowed: str) -> None:
    if not condition:
        raise ModelError(f"{what} = {value!r}: must be {allowed}")


def shore_modulus(reading: float, scale: Scale) -> float:
    """Return Young's modulus of a hardness reading after Qi, Joyce & Boyce.

    Parameters
    ----------
    reading
        Above 0, up to 100.
    scale
        Of the reading.

    Returns
    -------
    float
        [Pa].

    Raises
    ------
    ModelError
        For a reading that is not above 0 and up to 100.

    Notes
    -----
    log10(E / MPa) = 0.0235 S - 0.6403 with S the Shore A reading, or the Shore D reading + 50. Fitted for
    Shore A 20-80 and Shore D 30-85 (`QI_RANGE`); the formula is continued outside, where it is a guess.
    """
    _require(0.0 < reading <= 100.0, f"Shore {scale} reading", reading, "above 0 and up to 100")
    s = reading + 50.0 if scale == "D" else reading
    return float(10.0 ** (0.0235 * s - 0.6403) * 1e6)


def shore_reading(modulus: float, scale: Scale) -> float:
    """Return the reading that :func:`shore_modulus` turns into a modulus; its inverse.

    Parameters
    ----------
    modulus
        Young's [Pa].
    scale
        Of the reading.

    Returns
    -------
    float
        In degrees of that scale.

    Raises
    ------
    ModelError
        Where a value is out of its range.
    """
    _require(math.isfinite(modulus) and modulus > 0.0, "modulus", modulus, "above 0 Pa")
    s = (math.log10(modulus * 1e-6) + 0.6403) / 0.0235
    return s - 50.0 if scale == "D" else s


def foam_factor(porosity: float, cells: Cells = "open", edge_share: float = 0.8) -> float:
    """Return E_foam / E_solid of a cellular polymer.

    Parameters
    ----------
    porosity
        Share of the volume that is gas, 0 up to but not including 1; the
        relative density is 1 - porosity. The relation was made for relative
        densities below about 0.3 and is used above that by custom.
    cells
        "open": (1-porosity)^2. "closed": edge_share^2 (1-porosity)^2 +
        (1-edge_share)(1-porosity). "none": 1.
    edge_share
        Share of the solid that sits in cell edges, the rest being cell faces.

    Returns
    -------
    float
        [1].

    Raises
    ------
    ModelError
        Where a value is out of its range.
    """
    _require(0.0 <= porosity < 1.0, "porosity", porosity, "at least 0 and below 1")
    _require(0.0 <= edge_share <= 1.0, "edge share", edge_share, "from 0 to 1")
    relative = 1.0 - porosity
    if cells == "none":
        return 1.0
    if cells == "open":
        return relative**2
    # The closed-cell law does not reach 1 at zero porosity (edge_share^2 + 1 - edge_share); scaled so that
    # a pad without pores has the modulus of its polymer.
    at_solid = edge_share**2 + (1.0 - edge_share)
    return (edge_share**2 * relative**2 + (1.0 - edge_share) * relative) / at_solid


def filler_factor(share: float, filler_ratio: float | None = None, shape: float = 2.0) -> float:
    """Return E_filled / E_unfilled for hard round fillers.

    Parameters
    ----------
    share
        Of the volume that is filler, c.
    filler_ratio
        Modulus of filler over that of polymer, m; None for rigid spheres.
    shape
        s, 2 for round particles.

    Returns
    -------
    float
        [1].

    Raises
    ------
    ModelError
        Where a value is out of its range.

    Notes
    -----
    Without `filler_ratio` the Guth series 1 + 2.5 c + 14.1 c^2 for rigid spheres, good to c of about 0.3.
    With it Halpin-Tsai: (1 + s n c)/(1 - n c), n = (m - 1)/(m + s). Hollow, soft fillers (m < 1) soften.
    """
    _require(0.0 <= share < 0.6, "filler share", share, "at least 0 and below 0.6 by volume")
    if filler_ratio is None:
        return 1.0 + 2.5 * share + 14.1 * share**2
    _require(filler_ratio > 0.0, "filler modulus ratio", filler_ratio, "above 0")
    _require(shape > 0.0, "filler shape factor", shape, "above 0")
    n = (filler_ratio - 1.0) / (filler_ratio + shape)
    return (1.0 + shape * n * share) / (1.0 - n * share)


def pad_modulus(
    polymer_modulus: float,
    porosity: float = 0.0,
    cells: Cells = "open",
    edge_share: float = 0.8,
    filler_share: float = 0.0,
    filler_ratio: float | None = None,
) -> float:
    """Return the modulus of a filled, cellular pad.

    Parameters
    ----------
    polymer_modulus
        Of the polymer it is made of [Pa].
    porosity, cells, edge_share
        As for :func:`foam_factor`.
    filler_share, filler_ratio
        As for :func:`filler_factor`.

    Returns
    -------
    float
        [Pa].

    Raises
    ------
    ModelError
        Where a value is out of its range.
    """
    _require(math.isfinite(polymer_modulus) and polymer_modulus > 0.0, "polymer modulus", polymer_modulus,
             "above 0 Pa")  # fmt: skip
    return (
        polymer_modulus * filler_factor(filler_share, filler_ratio) * foam_factor(porosity, cells, edge_share)
    )


def solid_modulus(
    finished_modulus: float, porosity: float = 0.0, cells: Cells = "open", edge_share: float = 0.8
) -> float:
    """Return the modulus of the solid between the pores of a pad.

    Parameters
    ----------
    finished_modulus
        Of the pad as it is [Pa].
    porosity, cells, edge_share
        As for :func:`foam_factor`.

    Returns
    -------
    float
        [Pa].

    Raises
    ------
    ModelError
        Where a value is out of its range.

    Notes
    -----
    The summits that touch the wafer are this solid, not the foam: a smooth summit is some tens of
    micrometres wide and sits between the pores.
    """
    _require(math.isfinite(finished_modulus) and finished_modulus > 0.0, "modulus", finished_modulus,
             "above 0 Pa")  # fmt: skip
    return finished_modulus / foam_factor(porosity, cells, edge_share)


def ploughing_hardness(solid: float) -> float:
    """Return the mean pressure at which a pad's solid flows: under a diamond that ploughs it, or in its summits.

    Parameters
    ----------
    solid
        Young's modulus of the solid between the pores [Pa], :func:`solid_modulus`.

    Returns
    -------
    float
        Mean pressure on the tip [Pa].

    Raises
    ------
    ModelError
        Where the modulus is not above 0.

    Notes
    -----
    What ploughs a pad and what flattens its summits makes the same solid flow, so the summits' flow pressure is this
    one where the setup gives none.

    3/8 of the modulus, an assumption within the 20 to 60 MPa that cut rates of disks allow on hard pads. Cut and
    texture hang on it weakly, as its power 0.06 and 0.13, for both are stated for a reference disk on the same pad.
    """
    _require(math.isfinite(solid) and solid > 0.0, "modulus", solid, "above 0 Pa")
    return 0.375 * solid
