"""What was asked: the setups and options of a call, enough to compute its answer again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, is_dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record
from planish.errors import DataError

FORMAT = 2  # of what a file says of the call


class Described(Protocol):
    """A setup, as far as an answer keeps it."""

    @property
    def name(self) -> str:
        """Where it came from."""

    def to_toml(self) -> str:
        """Return its text."""

    def digest(self) -> str:
        """Return a hash of everything it says."""

    def attached(self) -> dict[str, bytes]:
        """Return the data files that it names."""


@dataclass(frozen=True, slots=True, repr=False, eq=False)
class Asked(Record):
    """The call behind an answer.

    ``setups`` in order, ``seed`` (None where nothing is left to chance), ``options`` by their names in the call.
    ``missing`` says why the answer cannot be computed again from this ("" where it can).
    """

    setups: tuple[Described, ...]
    seed: int | None = None
    options: dict[str, object] = field(default_factory=dict)
    missing: str = ""

    def _told(self) -> str:
        return self.missing or ", ".join(f"{setup.name} {setup.digest()}" for setup in self.setups)

    def written(self) -> tuple[dict[str, Any], list[NDArray[Any]]]:
        """Return this as JSON-ready data, and the arrays that it refers to by their place."""
        arrays: list[NDArray[Any]] = []
        missing = self.missing
        options: Any = {}
        try:
            options = {} if missing else packed(dict(self.options), arrays)
        except DataError as error:
            missing, arrays = str(error), []
        told: dict[str, Any] = {
            "format": FORMAT,
            "setups": [
                {
                    "name": setup.name,
                    "text": setup.to_toml(),
                    "digest": setup.digest(),
                    "files": {name: content.decode("latin-1") for name, content in setup.attached().items()},
                }
                for setup in self.setups
            ],
            "seed": self.seed,
            "missing": missing,
            "options": options,
        }
        return told, arrays


@dataclass(frozen=True, slots=True)
class SetupText:
    """A setup as a file holds it: its text, its digest, and the data files that it names."""

    name: str
    text: str
    hashed: str
    files: dict[str, bytes]

    def to_toml(self) -> str:
        """Return its text."""
        return self.text

    def digest(self) -> str:
        """Return the hash of everything it says."""
        return self.hashed

    def attached(self) -> dict[str, bytes]:
        """Return the data files that it names."""
        return dict(self.files)

    @classmethod
    def of(cls, setup: Described) -> SetupText:
        """Return a setup as it is now: nothing that happens to its files later changes it."""
        return cls(setup.name, setup.to_toml(), setup.digest(), setup.attached())


def packed(value: Any, arrays: list[NDArray[Any]]) -> Any:
    """Return a value as JSON-ready data: records by their class's name, arrays by their place.

    Parameters
    ----------
    value
        An option of a call.
    arrays
        To which each array in it is appended.

    Returns
    -------
    Any
        For ``unpacked``.

    Raises
    ------
    DataError
        For what cannot be written into a file.
    """
    if isinstance(value, np.ndarray):
        arrays.append(value)
        return {"array": len(arrays) - 1}
    if isinstance(value, np.generic):
        return value.item()
    if is_dataclass(value) and not isinstance(value, type):
        inside = {one.name: packed(getattr(value, one.name), arrays) for one in fields(value) if one.init}
        return {"record": type(value).__name__, "fields": inside}
    if isinstance(value, Mapping):
        return {"table": [[packed(key, arrays), packed(item, arrays)] for key, item in value.items()]}
    if isinstance(value, list | tuple):
        return [packed(item, arrays) for item in value]
    if value is None or isinstance(value, bool | int | float | str):
        return value
    raise DataError(f"options of the call: a {type(value).__name__} cannot be written into a file")


def unpacked(value: Any, arrays: Sequence[NDArray[Any]], records: Mapping[str, type[Any]]) -> Any:
    """Return what :func:`packed` was given; lists come as tuples.

    Parameters
    ----------
    value
        From ``packed``.
    arrays
        Those it was packed with.
    records
        The classes that may be made, by name.

    Returns
    -------
    Any
        The option.

    Raises
    ------
    DataError
        For a record of another class, or one whose fields are not those of the class here.
    """
    if isinstance(value, list):
        return tuple(unpacked(item, arrays, records) for item in value)
    if not isinstance(value, dict):
        return value
    if "array" in value:
        return arrays[value["array"]]
    if "table" in value:
        return {unpacked(k, arrays, records): unpacked(v, arrays, records) for k, v in value["table"]}
    name = str(value.get("record"))
    if name not in records:
        raise DataError(f"saved result: {name!r} in its options is not known here: predict it again")
    inside = {key: unpacked(item, arrays, records) for key, item in value["fields"].items()}
    try:
        return records[name](**inside)
    except TypeError as error:
        raise DataError(
            f"saved result: {name} in its options does not fit this version ({error}): predict it again"
        ) from None
