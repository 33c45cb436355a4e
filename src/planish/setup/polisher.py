"""The machine of a setup: what every motion's polisher answers, and how a motion is registered."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Annotated, Any, ClassVar

from planish.physics.motion.motion import Motion
from planish.setup.finding import Finding
from planish.setup.part import Part
from planish.setup.quantity import Quantity, Section, Unsaid
from planish.setup.recipe import StepSection

DISPENSE = Annotated[float, Quantity("length", low="0 mm", high="1000 mm", typical=("0 mm", "300 mm"))]


FLATNESS = Annotated[
    float,
    Quantity("depth", low="-500 um", high="500 um", typical=("0 um", "25 um"), either_way=True),
    Unsaid(),
]
FLATNESS_TEXT = "platen from trough to crest, as rings about its axis; negative: low in the middle"
WAVES = Annotated[float, Quantity("ratio", low="0.25", high="40", typical=("0.5", "16")), Unsaid()]
WAVES_TEXT = "waves of that height over the platen's diameter; 1 is one dome or bowl"


class PolisherSection(Section, ABC):
    """Base of the polisher tables; a motion's own adds its keys, ``motion: Literal[its name]`` among them."""

    motion: str
    edge_key: ClassVar[str]
    """The key that says where the pad ends."""

    @abstractmethod
    def machine(self) -> Motion:
        """Return the machine in SI."""

    def problems(self, table: dict[str, Any], radius: float) -> Iterator[Finding]:
        """Yield what does not fit in the table; nothing, unless a motion has something to say.

        Parameters
        ----------
        table
            The polisher's, as written.
        radius
            Of the wafer [m].

        Yields
        ------
        Finding
            A finding each.
        """
        yield from ()

    def step_notes(self, step: StepSection, place: str) -> Iterator[Finding]:
        """Yield what is worth saying about the speeds of a recipe step; nothing, unless a motion does.

        Parameters
        ----------
        step
            Of the recipe.
        place
            Its path.

        Yields
        ------
        Finding
            A note each.
        """
        yield from ()


@dataclass(frozen=True, slots=True)
class MotionKind:
    """A motion as it is registered: physics, setup table, and what a new setup says.

    Attributes
    ----------
    machine
        The record of the physics; it holds the motion's name.
    model
        The polisher table.
    what
        The machine in words, for the head of a new setup.
    part
        Gives the part whose values stand in for what is not said, for a wafer diameter [m].
    gentle, main
        Speeds of the scenario of `new`, in its gentle steps and its main one. The speed that moves the
        pad is one of the keys that a recipe's step has (`planish.setup.recipe.SPEEDS`).
    disk
        What differs from the disk part, which is made for a platen of 800 mm.
    """

    machine: type[Motion]
    model: type[PolisherSection]
    what: str
    part: Callable[[float], Part]
    gentle: Mapping[str, str]
    main: Mapping[str, str]
    disk: Mapping[str, str] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """The word after ``motion =``."""
        return self.machine.motion
