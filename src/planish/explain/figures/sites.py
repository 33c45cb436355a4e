"""Figures of measured sites and of the fit to them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.patches import Circle

from planish.errors import DataError
from planish.explain.figures.style import AMBER, FAINT, INK, MAP, ORANGE, figure, line_look, styled, subplots
from planish.explain.figures.wafer import comparison_figure
from planish.measure.sites.profile import radial_profile

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from planish.fit.against import WaferAgainst
    from planish.fit.removal import RemovalFit
    from planish.measure.sites.profile import RadialProfile
    from planish.measure.sites.read import SiteMap
    from planish.measure.sites.wafer import MeasuredWafer

BAND = "#f0d2b8"


def profile_or_none(removal: SiteMap) -> RadialProfile | None:
    """Return the mean profile with its band.

    Parameters
    ----------
    removal
        Measured.

    Returns
    -------
    RadialProfile | None
        None where the sites are too few to carry one.
    """
    try:
        return radial_profile(removal)
    except DataError:
        return None


@styled
def sites_figure(removal: SiteMap) -> Figure:
    """Draw measured removal: the sites on the wafer, and against radius with the mean profile and its band.

    Parameters
    ----------
    removal
        Measured.

    Returns
    -------
    Figure
        In the house style.
    """
    fig = figure(11.0, 4.8)
    grid = subplots(fig, 1, 2, width_ratios=[1, 1.3])
    edge = removal.wafer_radius or 1.03 * float(removal.r.max())
    grid[0].add_patch(Circle((0, 0), edge * 1e3, facecolor="none", edgecolor=INK))
    dots = grid[0].scatter(
        removal.x * 1e3,
        removal.y * 1e3,
        c=removal.value * 1e9,
        cmap=MAP,
        s=80,
        edgecolor=FAINT,
        linewidth=0.6,
    )
    fig.colorbar(dots, ax=grid[0], shrink=0.85, label="removed [nm]")
    grid[0].set_aspect("equal")
    grid[0].set_xlabel("x [mm]")
    grid[0].set_ylabel("y [mm]")
    grid[0].set_title("Sites")
    grid[0].grid(False)
    profile = profile_or_none(removal)
    if profile is not None:
        grid[1].fill_between(
            profile.r * 1e3,
            profile.lower * 1e9,
            profile.upper * 1e9,
            color=BAND,
            label="95 % band of the mean profile",
        )
        grid[1].plot(profile.r * 1e3, profile.value * 1e9, label="mean profile", **line_look(0))
    grid[1].plot(removal.r * 1e3, removal.value * 1e9, "o", color=ORANGE, label="sites")
    grid[1].set_xlabel("wafer radius [mm]")
    grid[1].set_ylabel("removed [nm]")
    grid[1].set_title("Against radius")
    grid[1].legend()
    return fig


@styled
def fit_figure(fit: RemovalFit) -> Figure:
    """Draw the fit of k_p: measured and fitted removal against radius, and the residual with its band.

    Parameters
    ----------
    fit
        Of the removal law.

    Returns
    -------
    Figure
        In the house style.
    """
    fig = figure(8.5, 6.4)
    grid = subplots(fig, 2, 1, sharex=True, height_ratios=[2, 1])
    order = np.argsort(fit.r)
    grid[0].plot(fit.r[order] * 1e3, fit.fitted[order] * 1e9, label="fitted prediction", **line_look(0))
    grid[0].plot(fit.r * 1e3, fit.measured * 1e9, "o", color=ORANGE, label="measured sites")
    grid[1].axhline(0, color=FAINT, linewidth=1)
    if fit.residual is not None:
        shape = fit.residual
        grid[1].fill_between(
            shape.r * 1e3, shape.lower * 1e9, shape.upper * 1e9, color=BAND, label="95 % band of the residual"
        )
        grid[1].plot(shape.r * 1e3, shape.value * 1e9, color=AMBER)
        grid[1].legend()
    grid[1].plot(fit.r * 1e3, (fit.measured - fit.fitted) * 1e9, "o", color=ORANGE)
    title = "Fit to measured removal"
    if np.isfinite(fit.k_p):
        title = f"k_p = ({fit.k_p * 1e13:.3f} ± {fit.k_p_error * 1e13:.3f}) × 10⁻¹³ /Pa"
    grid[0].set_title(title)
    grid[0].set_ylabel("removed [nm]")
    grid[1].set_ylabel("measured −\nfitted [nm]")
    grid[1].set_xlabel("wafer radius [mm]")
    grid[0].legend()
    return fig


def measured_figure(wafer: MeasuredWafer) -> Figure:
    """Draw the removal of a measured wafer."""
    return sites_figure(wafer.removal)


def against_figure(against: WaferAgainst) -> Figure:
    """Draw measured removal at the sites, with the band of its profile, over the predicted one.

    Parameters
    ----------
    against
        Measured beside predicted.

    Returns
    -------
    Figure
        In the house style.
    """
    wafer, removal = against.wafer, against.paired.removal
    profile = profile_or_none(removal)
    band = None if profile is None else (profile.r, profile.lower, profile.upper)
    return comparison_figure(wafer.radius, wafer.removed, removal.r, removal.value, band)
