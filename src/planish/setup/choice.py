"""A key whose words are those of a registry, which installed packages add to."""

from __future__ import annotations

import difflib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, core_schema

from planish.setup.quantity import refused


@dataclass(frozen=True, slots=True)
class OneOf:
    """One of the names that ``names`` gives; asked anew each time, never at import."""

    names: Callable[[], tuple[str, ...]]

    def read(self, value: Any) -> str:
        """Return the name, or raise what pydantic turns into a finding."""
        known = self.names()
        if isinstance(value, str) and value in known:
            return value
        close = difflib.get_close_matches(str(value), known, n=1, cutoff=0.5)
        raise refused(f"one of {', '.join(known)}", f"did you mean {close[0]!r}?" if close else "")

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return {"enum": list(self.names()), "type": "string"}
