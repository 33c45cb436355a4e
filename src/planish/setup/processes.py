"""What a die process tells a setup: its name, what it is, and the keys of ``[die]`` that it knows.

How such a die is polished stands with the process itself (``predict.die.level``). planish's own processes come
in through the same door as those of an installed package, because a setup may not import what predicts.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, fields, replace
from importlib.metadata import EntryPoint
from typing import Self

from planish.engine.registry import Registry
from planish.errors import PluginError, refuse
from planish.setup.quantity import PRACTICE, Quantity

GROUP = "planish.processes"
THICKNESS = Quantity("thickness", above="0 nm", least="0.01 nm", high="50 um", typical=("2 nm", "10000 nm"))
LIMIT = Quantity("thickness", above="0 nm", least="0.01 nm", high="10 um", typical=("0.5 nm", "300 nm"))


@dataclass(frozen=True, slots=True)
class Key:
    """One key of ``[die]``: what it is ``about``, and its ``quantity``, None for a material of ``[removal]``.

    ``source`` says what its usual value rests on, where that is not who calls the values of the process usual.
    """

    about: str
    quantity: Quantity | None
    source: str = ""


def key(usual: float, about: str, quantity: Quantity = THICKNESS, source: str = "") -> float:
    """Return a field of a :class:`Standing` that is a key of ``[die]``.

    Parameters
    ----------
    usual
        Its value where the setup leaves it out [SI].
    about
        What it is.
    quantity
        Its dimension, limits and usual range.
    source
        Where the usual value comes from.

    Returns
    -------
    float
        A dataclass field; the type is that of its value.
    """
    return field(default=usual, metadata={"key": Key(about, quantity, source)})


def material(usual: str, about: str) -> str:
    """Return a field that names a material.

    Parameters
    ----------
    usual
        Its name in ``[removal]`` unless the setup says another.
    about
        What it is.

    Returns
    -------
    str
        A dataclass field; the type is that of its value.
    """
    return field(default=usual, metadata={"key": Key(about, None)})


@dataclass(frozen=True, slots=True)
class Standing:
    """Base of what stands on a die before polishing: every field is made by :func:`key` or :func:`material`."""

    @classmethod
    def known_keys(cls) -> dict[str, Key]:
        """Return the keys of ``[die]`` that describe it, in order."""
        return {item.name: item.metadata["key"] for item in fields(cls)}

    def described(self, given: Mapping[str, float | str]) -> Self:
        """Return it with the values that a setup gives [SI]."""
        return replace(self, **given)  # type: ignore[arg-type]  # checked against known_keys() when they were read

    def doubts(self) -> Iterator[tuple[str, str]]:
        """Yield the key and what is odd about its value beside the others."""
        yield from ()


@dataclass(frozen=True, slots=True)
class Process:
    """A die process.

    Parameters
    ----------
    name
        The word that a setup, the command and Python ask for it by.
    about
        What is polished, in a line.
    level
        What usually stands on the die: a ``planish.predict.die.level.Level``.
    top_films, any_films
        Materials that show the process where a setup names none: as the top film; else anywhere in the stack.
    source
        Who calls the values of ``level`` usual.
    """

    name: str
    about: str
    level: Standing
    top_films: tuple[str, ...] = ()
    any_films: tuple[str, ...] = ()
    source: str = PRACTICE


def _own() -> Iterable[Process]:
    return EntryPoint("planish", "planish.predict.die.processes:OWN", GROUP).load()  # type: ignore[no-any-return]


PROCESSES: Registry[Process] = Registry("die process", GROUP, Process, _own)


def die_keys() -> dict[str, Key]:
    """Return every key that some process knows; ``about`` says which know it.

    Raises
    ------
    PluginError
        Where two processes mean different quantities by one key.
    """
    quantities: dict[str, Quantity | None] = {}
    told: dict[str, dict[str, list[str]]] = {}
    for process in PROCESSES:
        for name, one in process.level.known_keys().items():
            if quantities.setdefault(name, one.quantity) != one.quantity:
                allowed = "of the same limits as where other processes know this key"
                raise PluginError(
                    refuse(f"die process {process.name!r}: key", name, allowed, "rename the key")
                )
            told.setdefault(name, {}).setdefault(one.about, []).append(process.name)
    return {
        name: Key("; ".join(f"{', '.join(who)}: {about}" for about, who in each.items()), quantities[name])
        for name, each in told.items()
    }


def knowing(name: str) -> list[str]:
    """Return the processes that know a key of ``[die]``; none for a key that is not one of a process."""
    return [process.name for process in PROCESSES if name in process.level.known_keys()]


def process_shown(films: Iterable[str]) -> Process:
    """Return the process that a film stack shows, top film first; planish's first where it shows none."""
    top, *below = films
    by_top = (process for process in PROCESSES if top in process.top_films)
    by_any = (process for process in PROCESSES if {top, *below} & set(process.any_films))
    return next(by_top, None) or next(by_any, None) or next(iter(PROCESSES))
