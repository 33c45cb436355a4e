"""A setup at somebody's prices: those of a price file, over its own."""

from __future__ import annotations

import os
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING

from planish.errors import SetupError, refuse
from planish.setup.prices import CostSection

if TYPE_CHECKING:
    from planish.setup.models import Setup

LARGEST = 100_000  # bytes of a price file


def with_prices(setup: Setup, path: str | os.PathLike[str], named: str = "price file") -> Setup:
    """Return a setup with the prices, lives and times of a price file, which go before its own.

    Parameters
    ----------
    setup
        As loaded.
    path
        Of a TOML file with keys of the table ``[cost]``, in such a table or alone.
    named
        What the door calls its field or option.

    Raises
    ------
    SetupError
        For a file that cannot be read, a key that is none of the table, and a value that cannot be.
    """
    file = Path(path)
    try:
        if file.stat().st_size > LARGEST:
            raise SetupError(
                refuse(f"{named} {file}", f"{file.stat().st_size} bytes", f"at most {LARGEST} bytes")
            )
        table = tomllib.loads(file.read_text(encoding="utf-8"))
    except OSError as error:
        raise SetupError(f"{named} {file}: cannot be read ({error.strerror}); name a TOML file") from None
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise SetupError(
            f"{named} {file}: is no TOML text ({error}); write key = value, a line each"
        ) from None
    prices = table.pop("cost") if isinstance(table.get("cost"), dict) else table
    known = CostSection.model_fields
    unknown = [key for key in (prices if prices is table else [*prices, *table]) if key not in known]
    if unknown or not prices:
        raise SetupError(
            refuse(
                f"{named} {file}: key",
                unknown[0] if unknown else "none at all",
                "a key of the table [cost]",
                ", ".join(known),
            )
        )
    return setup.replace({f"cost.{key}": value for key, value in prices.items()}).with_notes(
        f"prices of {file.name}"
    )
