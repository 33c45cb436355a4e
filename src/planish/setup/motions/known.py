"""The registry of motions, and the polisher table of whichever motion a setup names."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated, Any, Union

from pydantic import Field, GetCoreSchemaHandler
from pydantic_core import CoreSchema

from planish.engine.registry import Registry
from planish.setup.polisher import MotionKind


def _own() -> Iterable[MotionKind]:
    from planish.setup.motions.linear import LINEAR
    from planish.setup.motions.orbital import ORBITAL
    from planish.setup.motions.rotary import ROTARY

    return ROTARY, LINEAR, ORBITAL


MOTIONS: Registry[MotionKind] = Registry("motion", "planish.motions", MotionKind, _own)


class ByMotion:
    """Annotation of a polisher: the table of whatever motion it names, of all that are registered."""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        tables = tuple(kind.model for kind in MOTIONS)
        if len(tables) == 1:
            return handler.generate_schema(tables[0])
        return handler.generate_schema(Annotated[Union[tables], Field(discriminator="motion")])  # noqa: UP007
