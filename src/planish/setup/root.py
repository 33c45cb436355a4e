"""The whole setup as one validated record."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from planish.setup.clean import CleanSection
from planish.setup.conditioner import ConditionerSection
from planish.setup.die import DieSection
from planish.setup.fitted import FittedSection
from planish.setup.head import HeadSection
from planish.setup.motions.known import MOTIONS, ByMotion
from planish.setup.pad import PadSection
from planish.setup.polisher import PolisherSection
from planish.setup.prices import CostSection
from planish.setup.quantity import Descriptive, Name, Section
from planish.setup.recipe import RecipeSection
from planish.setup.removal import RemovalSection
from planish.setup.slurry import AmbientSection, SlurrySection
from planish.setup.wafer import WaferSection


class SetupModel(Section):
    """Everything a setup file says, parts and defaults filled in, values in SI."""

    title: Annotated[Name, Descriptive()] = Field("untitled setup", description="title in reports")
    parts_folders: list[str] = Field(
        [], description="folders with parts of your own, relative to this file; above the first table"
    )
    ambient: AmbientSection = Field(description="room and platen")
    wafer: WaferSection = Field(description="the wafer and its films")
    polisher: Annotated[PolisherSection, ByMotion()] = Field(description="the machine")
    head: HeadSection = Field(description="the carrier")
    pad: PadSection = Field(description="the pad stack")
    conditioner: ConditionerSection | None = Field(None, description="the conditioner; leave it out for none")
    slurry: SlurrySection = Field(description="the slurry")
    removal: dict[str, RemovalSection] = Field(description="removal laws by material")
    recipe: RecipeSection = Field(description="the recipe")
    clean: CleanSection | None = Field(
        None, description="the cleaning after polishing; leave it out where none is asked for"
    )
    cost: CostSection | None = Field(
        None, description="what things cost here; leave it out where none is asked for"
    )
    die: DieSection | None = Field(
        None, description="what stands on the die; leave it out where none is asked for"
    )
    fitted: FittedSection | None = Field(
        None,
        description="what was fitted to measurements, as planish fit writes it; leave it out where nothing was",
    )


_built_for: tuple[str, ...] = ()


def setup_model() -> type[SetupModel]:
    """Return the record, built anew if motions have been registered or taken out since it was last asked for."""
    global _built_for
    if _built_for != MOTIONS.names():
        SetupModel.model_rebuild(force=True)
        _built_for = MOTIONS.names()
    return SetupModel
