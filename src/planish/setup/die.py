"""The die as described in a setup: what stands on it before polishing, and what it must keep to."""

from __future__ import annotations

from functools import lru_cache
from typing import Annotated, Any, Literal

from pydantic import Field, ModelWrapValidatorHandler, create_model, model_validator
from pydantic.fields import FieldInfo

from planish.errors import PluginError, refuse
from planish.setup.processes import PROCESSES, die_keys
from planish.setup.quantity import Name, Quantity, Section, ratio


class DieSection(Section):
    """What stands on the die. A key left out takes the usual value of the process.

    Here stand the keys of every process; those of one process come with its record (``setup.processes``).
    """

    process: str = Field(description="what is polished")
    planarization_length: (
        Annotated[float, Quantity("length", low="0.05 mm", high="100 mm", typical=("0.2 mm", "20 mm"))] | None
    ) = Field(None, description="a measured planarization length, in place of the pad stack's own")
    wavelength: (
        Annotated[float, Quantity("thickness", low="1 nm", high="2000 nm", typical=("10 nm", "500 nm"))]
        | None
    ) = Field(None, description="of the next exposure, for the planarity budget")
    aperture: Annotated[float, ratio("0.01", "2", typical=("0.2", "1.4"))] | None = Field(
        None, description="numerical aperture of the next exposure"
    )
    k2: Annotated[float, ratio("0.01", "2", typical=("0.3", "1.2"))] | None = Field(
        None, description="k2 of its depth of focus k2 * wavelength / aperture^2"
    )

    @property
    def given(self) -> dict[str, float | str]:
        """What the setup says of the process's own keys [SI]."""
        return {name: value for name in die_keys() if (value := getattr(self, name)) is not None}

    @classmethod
    def known(cls) -> dict[str, FieldInfo]:
        """Return the fields by key: the process, what the processes know, what holds for all."""
        found = dict(whole_section().model_fields)
        return {name: found[name] for name in ("process", *die_keys(), *DieSection.model_fields)}

    def __reduce__(self) -> tuple[Any, ...]:
        return _again, (
            dict(self),
            self.model_fields_set,
        )  # the class is made here: it has no name to find it by

    @model_validator(mode="wrap")
    @classmethod
    def _with_the_keys_of_processes(cls, given: Any, handler: ModelWrapValidatorHandler[Any]) -> Any:
        return whole_section().model_validate(given) if cls is DieSection else handler(given)


def whole_section() -> type[DieSection]:
    """Return the section with the keys of all processes that are known now."""
    return _section(PROCESSES.names())


@lru_cache(maxsize=8)
def _section(processes: tuple[str, ...]) -> type[DieSection]:
    own: dict[str, Any] = {}
    for name, one in die_keys().items():
        if name in DieSection.model_fields:
            raise PluginError(
                refuse("key of a die process", name, "another than [die] has for all", "rename the key")
            )
        kind = Name if one.quantity is None else Annotated[float, one.quantity]
        own[name] = (kind | None, Field(None, description=one.about))
    process = Literal[processes]  # type: ignore[valid-type]  # the names are known when planish runs
    own["process"] = (process, DieSection.model_fields["process"])
    return create_model("DieSection", __base__=DieSection, __doc__=DieSection.__doc__, **own)


def _again(values: dict[str, Any], given: set[str]) -> DieSection:
    return whole_section().model_construct(_fields_set=given, **values)
