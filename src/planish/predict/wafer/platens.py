"""A wafer that passes several setups, platen after platen: the films that one leaves come to the next.

All setups describe one wafer. Their films are the same from the top down; a later setup may leave out films on top that are
gone when the wafer comes to it. What a later setup says of the thickness of its films does not count.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish import units
from planish.errors import SetupError, refuse
from planish.predict.wafer.counted import counted
from planish.predict.wafer.polish import polish

if TYPE_CHECKING:
    from planish.predict.wafer.result import WaferResult
    from planish.setup.si import Rig

Array = NDArray[np.float64]
GONE = 1e-11  # [m] of a film that a later setup leaves out: less is nothing
_ALIKE = 1e-6  # relative
_PLATE = (
    ("radius", "wafer.diameter", "length", 2.0),
    ("edge_exclusion", "wafer.edge_exclusion", "length", 1.0),
    ("thickness", "wafer.thickness", "depth", 1.0),
    ("modulus", "wafer.modulus", "modulus", 1.0),
    ("bow", "wafer.bow", "depth", 1.0),
)


def platen_name(number: int, rig: Rig) -> str:
    """Return what a platen is called in refusals and notes.

    Parameters
    ----------
    number
        From 0, in the order of the platens.
    rig
        Its setup.
    """
    return f"platen {number + 1}, {rig.title or 'untitled'}"


def check_one_wafer(rigs: Sequence[Rig]) -> None:
    """Refuse setups that do not describe one wafer.

    Parameters
    ----------
    rigs
        Platen after platen.

    Raises
    ------
    SetupError
        With what differs: the plate, or the films.
    """
    for number, rig in enumerate(rigs[1:], 1):
        before, where = rigs[number - 1], platen_name(number, rig)
        for name, key, dimension, times in _PLATE:
            here, there = getattr(rig.wafer, name), getattr(rigs[0].wafer, name)
            if abs(here - there) > _ALIKE * max(abs(here), abs(there)):
                raise SetupError(
                    refuse(
                        f"{where}: {key}",
                        units.show(times * here, dimension),
                        f"{units.show(times * there, dimension)}, as on the first platen: one wafer passes them all",
                    )
                )
        films_left_out(before, rig, where)


def films_left_out(before: Rig, rig: Rig, where: str) -> int:
    """Return how many films on top a setup leaves out of those of the platen before.

    Parameters
    ----------
    before, rig
        The setups.
    where
        What the later one is called.

    Raises
    ------
    SetupError
        Where its films are no others but in another order, of another material, more or fewer at the bottom.
    """
    theirs = [(film.name, film.material) for film in before.wafer.films]
    ours = [(film.name, film.material) for film in rig.wafer.films]
    out = len(theirs) - len(ours)
    if out >= 0 and theirs[out:] == ours:
        return out
    raise SetupError(
        refuse(
            f"{where}: films from the top",
            _told(ours),
            f"those of the platen before, {_told(theirs)}",
            "films on top may be left out where they are gone by then",
        )
    )


def _told(films: Sequence[tuple[str, str]]) -> str:
    return ", ".join(name if name == material else f"{name} ({material})" for name, material in films)


def passed_on(wafer: WaferResult, rig: Rig, number: int) -> Rig:
    """Return a setup with the films that a wafer comes to it with.

    Parameters
    ----------
    wafer
        As the platen before left it.
    rig
        The setup of the next platen.
    number
        Of that platen, from 0.

    Returns
    -------
    Rig
        Each film with its profile, the mean round the wafer.

    Raises
    ------
    SetupError
        Where something is left of a film that the setup leaves out.
    """
    where = platen_name(number, rig)
    out = films_left_out(wafer.rig, rig, where)
    refuse_left_over(wafer, out, where)
    radius = np.append(wafer.radius, rig.wafer.radius)  # the last node's value is kept to the rim
    films = tuple(
        replace(
            film,
            sites=None,
            profile=(radius, np.append(left, left[-1])),
            thickness=float(left.mean()),
        )
        for film, left in zip(rig.wafer.films, wafer.remaining[out:], strict=True)
    )
    return replace(rig, wafer=replace(rig.wafer, films=films))


def refuse_left_over(wafer: WaferResult, out: int, where: str) -> None:
    """Refuse that a later setup leaves out films of which something is left inside the edge exclusion.

    Parameters
    ----------
    wafer
        As the platen before left it.
    out
        How many films on top the next setup leaves out.
    where
        What that is called.

    Raises
    ------
    SetupError
        With how much is left of which.
    """
    disc = counted(wafer.radius, wafer.areas, wafer.rig.wafer.radius - wafer.rig.wafer.edge_exclusion)
    for name, left in zip(wafer.films[:out], wafer.remaining[:out], strict=True):
        most = float((disc.read @ left).max())
        if most > GONE:
            raise SetupError(
                f"{where}: its films leave out {name}, of which the platen before leaves up to {1e9 * most:.3g} nm: must be "
                f"gone, or stand among the films of this setup (add {name} on top)"
            )


def polish_in_turn(rigs: Sequence[Rig]) -> tuple[WaferResult, ...]:
    """Polish one wafer on several platens, one after the other.

    Parameters
    ----------
    rigs
        Platen after platen; the films of the first come in.

    Returns
    -------
    tuple[WaferResult, ...]
        One a platen.

    Raises
    ------
    SetupError
        As for :func:`check_one_wafer` and :func:`passed_on`.
    """
    check_one_wafer(rigs)
    done: list[WaferResult] = []
    for number, rig in enumerate(rigs):
        done.append(polish(passed_on(done[-1], rig, number) if done else rig))
    return tuple(done)
