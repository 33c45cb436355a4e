"""The wafers that come in: measured sites of one or of many, as the film on top of the setup's wafer."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError, refuse
from planish.fit.calibrate.keys import key_names, key_test
from planish.measure.runs.read import holds_runs, read_runs
from planish.measure.sites.profile import LEAST_SITES, ON_LINE, on_one_line
from planish.measure.sites.read import SiteMap, read_sites
from planish.measure.sites.wafers import read_wafers
from planish.predict.wafer.contact_model import wafer_grid
from planish.predict.wafer.counted import counted
from planish.predict.wafer.incoming import mean_profile

if TYPE_CHECKING:
    from planish.measure.sites.column_map import ColumnMap
    from planish.setup.models import Setup
    from planish.setup.si import Film, Rig

    Sites = SiteMap | str | os.PathLike[str]
    Columns = ColumnMap | str | os.PathLike[str]

Array = NDArray[np.float64]
MOST_WAFERS = 200


@dataclass(frozen=True, slots=True)
class Coming:
    """Wafers that come in.

    Attributes
    ----------
    names
        What each is called.
    rigs
        The setup with each as its film on top.
    middle
        The setup with the mean of their profiles; the only one where there is one.
    round
        Of each: root mean square of what its sites differ from the mean round the wafer [m], inside the edge exclusion; the
        gauge's noise, and what the smooth map through the sites leaves out, count too.
    notes
        What is to be said of them.
    """

    names: tuple[str, ...]
    rigs: tuple[Rig, ...]
    middle: Rig
    round: tuple[float, ...]
    notes: tuple[str, ...]


def wafers_coming(
    setup: Setup, incoming: Sites | Sequence[Sites] | None, columns: Columns | None = None
) -> Coming:
    """Return the wafers to be tuned for.

    Parameters
    ----------
    setup
        Whose films below, wafer and edge exclusion count.
    incoming
        Sites of one wafer, a file of one or of several, a folder of such files, a table of runs (whose files before
        polishing count), or several of these; None for the setup's own film.
    columns
        Which column of the files is what, as `read_sites` takes it.

    Returns
    -------
    Coming
        One or more.

    Raises
    ------
    DataError
        For sites that cannot be those of the setup's wafer, and for too many wafers.
    """
    rig = setup.rig
    if incoming is None:
        return Coming(
            (rig.wafer.films[0].name,),
            (rig,),
            rig,
            (0.0,),
            ("no incoming sites given: the setup's own films are tuned for",),
        )
    given = [incoming] if isinstance(incoming, SiteMap | str | os.PathLike) else list(incoming)
    found = [one for each in given for one in _read(setup, each, columns)]
    if not found:
        raise DataError("incoming: no wafer given: must be one or more")
    if len(found) > MOST_WAFERS:
        raise DataError(
            refuse(
                "incoming",
                f"{len(found)} wafers",
                f"at most {MOST_WAFERS} wafers",
                "a part of them, drawn by lot, tells the same",
            )
        )
    for _, sites in found:
        check_sites(sites, rig, "incoming")
    rigs = tuple(with_sites(rig, sites) for _, sites in found)
    also = _said_of(found)
    below = len(rig.wafer.films) - 1
    told = f"; the {below} films below it are the setup's" if below else ""
    top = rig.wafer.films[0].name
    if len(found) == 1:
        said = f"incoming: {found[0][1].source} is the film on top, {top}{told}"
        return Coming((found[0][0],), rigs, rigs[0], (_round(rigs[0], found[0][1]),), (said, *also))
    said = f"incoming: {len(found)} wafers, each the film on top, {top}{told}; one recipe for all of them"
    return Coming(
        tuple(name for name, _ in found),
        rigs,
        _middle(rigs, min(float(np.max(sites.r)) for _, sites in found)),
        tuple(_round(one, sites) for one, (_, sites) in zip(rigs, found, strict=True)),
        (said, *also),
    )


def _said_of(found: Sequence[tuple[str, SiteMap]]) -> list[str]:
    """Say which wafers are the same sites again, and which are known along a line alone."""
    told, seen = [], set()
    for name, sites in found:
        own = (sites.x.tobytes(), sites.y.tobytes(), sites.value.tobytes())
        if own in seen:
            told.append(f"incoming: {name}: the same sites as those of a wafer before it; both count")
        seen.add(own)
        if _along_a_line(sites):
            told.append(
                f"incoming: {name}: its sites lie on one line: taken as a profile over the radius, the mean of both sides"
            )
    return told


def _read(setup: Setup, given: Sites, columns: Columns | None) -> list[tuple[str, SiteMap]]:
    try:
        return _read_as(setup, given, columns)
    except DataError as error:
        if not any(word in str(error) for word in ("--column", "--site-plan", "--unit")):
            raise
        raise DataError(
            f"{error}; these words are for planish measure: with --remember MAP.toml there, and --columns MAP.toml here"
        ) from None


def _read_as(setup: Setup, given: Sites, columns: Columns | None) -> list[tuple[str, SiteMap]]:
    if isinstance(given, SiteMap):
        return [(Path(given.source).name, given)]
    is_key = key_test(setup)
    try:
        of_runs = not Path(given).is_dir() and holds_runs(given, is_key)
    except DataError:
        of_runs = False  # the reader of sites says what is wrong with it
    if not of_runs:
        return read_wafers(given, columns)
    runs = [
        run for run in read_runs(given, is_key=is_key, keys=key_names(setup)).runs if run.before is not None
    ]
    if not runs:
        raise DataError(
            f"{given}: no row names a file before polishing: must be some (a column pre file), or site files themselves"
        )
    return [
        (run.name, read_sites(run.before, wafer=None, columns=columns))
        for run in runs
        if run.before is not None
    ]


def check_sites(sites: SiteMap, rig: Rig, what: str) -> None:
    """Refuse sites that cannot be those of a film of the setup's wafer.

    Parameters
    ----------
    sites
        Measured.
    rig
        The setup.
    what
        They are called in refusals.

    Raises
    ------
    DataError
        For another quantity, another wafer, and thicknesses that cannot be.
    """
    if sites.quantity != "thickness":
        raise DataError(refuse(f"{sites.source}: {what} sites", sites.quantity, "of a thickness"))
    ours, farthest = rig.wafer.radius, float(np.max(sites.r))
    if farthest > 1.01 * ours:
        raise DataError(
            f"{sites.source}: a site {1e3 * farthest:.4g} mm from the centre: must lie on the setup's wafer of "
            f"{2e3 * ours:g} mm"
        )
    if sites.wafer_radius is not None and abs(sites.wafer_radius - ours) > 0.01 * ours:
        raise DataError(
            f"{sites.source}: a wafer of {2e3 * sites.wafer_radius:g} mm: must be the setup's, of {2e3 * ours:g} mm (leave "
            "it out, or name the setup of that machine)"
        )
    if float(np.min(sites.value)) <= 0:
        raise DataError(refuse(f"{sites.source}: {what} thickness", "0 or less", "above 0 at every site"))


def with_sites(rig: Rig, sites: SiteMap) -> Rig:
    """Return the setup with measured sites as the film on top.

    Parameters
    ----------
    rig
        The setup.
    sites
        Of a thickness.

    Returns
    -------
    Rig
        The films below as they are.
    """
    film: Film = rig.wafer.films[0]
    mean = float(np.mean(sites.value))
    if _along_a_line(sites):
        radius, at = np.unique(np.round(sites.r, 7), return_inverse=True)
        both = np.bincount(at, weights=sites.value) / np.bincount(at)
        return with_top(rig, replace(film, sites=None, profile=(radius, both), thickness=mean))
    return with_top(rig, replace(film, sites=(sites.x, sites.y, sites.value), profile=None, thickness=mean))


def _along_a_line(sites: SiteMap) -> bool:
    """Return whether sites are a profile; too few of them are neither that nor a map."""
    return len(sites) >= LEAST_SITES and on_one_line(sites)


def with_top(rig: Rig, top: Film) -> Rig:
    """Return the setup with another film on top.

    Parameters
    ----------
    rig
        The setup.
    top
        The film.
    """
    return replace(rig, wafer=replace(rig.wafer, films=(top, *rig.wafer.films[1:])))


def as_profile(rig: Rig) -> Film:
    """Return the film on top as its mean round the wafer at the nodes of the prediction.

    Parameters
    ----------
    rig
        The setup.

    Returns
    -------
    Film
        Of which the same is left as of the film itself.
    """
    film, radius = rig.wafer.films[0], wafer_grid(rig).r
    profile = mean_profile(film, radius)
    return replace(film, sites=None, profile=(radius, profile), thickness=float(profile.mean()))


def _middle(rigs: Sequence[Rig], reach: float) -> Rig:
    """Return the setup with the mean of the wafers' profiles, known as far out as all of them are."""
    nodes = wafer_grid(rigs[0]).r
    radius = np.append(nodes[nodes < reach - ON_LINE], min(reach, float(nodes[-1])))
    mean = np.stack([mean_profile(rig.wafer.films[0], radius) for rig in rigs]).mean(axis=0)
    film = replace(rigs[0].wafer.films[0], sites=None, profile=(radius, mean), thickness=float(mean.mean()))
    return with_top(rigs[0], film)


def _round(rig: Rig, sites: SiteMap) -> float:
    """Return the root mean square of what sites differ from the mean round the wafer at their radius."""
    film = rig.wafer.films[0]
    radius: Array = sites.r
    inside = radius <= rig.wafer.radius - rig.wafer.edge_exclusion
    if not inside.any():
        return 0.0
    places, at = np.unique(np.round(radius[inside], 9), return_inverse=True)
    around = mean_profile(film, np.asarray(places, dtype=np.float64))[at]
    return float(np.sqrt(np.mean((sites.value[inside] - around) ** 2)))


@dataclass(frozen=True, slots=True)
class Scatter:
    """What no setting can mend, as far as the same is taken from every wafer [m].

    ``means`` standard deviation of the wafers' mean thicknesses; ``profiles`` root mean square over wafers of sigma
    of what each wafer's profile differs from the mean profile; ``round`` root mean square over wafers of what sites
    differ round the wafer. Standard deviations over these very wafers (n, not n - 1).
    """

    means: float
    profiles: float
    round: float


def scatter(coming: Coming) -> Scatter:
    """Return the scatter of wafers that come in.

    Parameters
    ----------
    coming
        The wafers.

    Returns
    -------
    Scatter
        Of the profiles 0 for one wafer.
    """
    rig, grid = coming.middle, wafer_grid(coming.middle)
    disc = counted(grid.r, grid.areas, rig.wafer.radius - rig.wafer.edge_exclusion)
    tops = np.stack([mean_profile(one.wafer.films[0], grid.r) for one in coming.rigs])
    away = tops - tops.mean(axis=0)
    return Scatter(
        float(np.std([disc.mean(one) for one in tops])),
        float(np.sqrt(np.mean([disc.sigma(one) ** 2 for one in away]))),
        float(np.sqrt(np.mean(np.square(coming.round)))),
    )
