"""What of a setup was fitted to measurements: by which version, to which files, and how far each value may be off."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, Field

from planish.setup.quantity import Descriptive, Name, Section, ratio, refused


def _digest(text: str) -> str:
    if len(text) != 64 or any(c not in "0123456789abcdef" for c in text):
        raise refused("64 hexadecimal digits, the SHA-256 of the file")
    return text


class FittedFileSection(Section):
    """One file that values were fitted to."""

    file: Annotated[Name, Descriptive()] = Field(description="name of the file")
    sha256: Annotated[str, AfterValidator(_digest), Descriptive()] = Field(description="its SHA-256")


class FittedValueSection(Section):
    """One fitted value and how far it may be off."""

    key: Annotated[str, Descriptive()] = Field(description="dotted path of the key that was fitted")
    value: Annotated[str | float, Descriptive()] = Field(
        description="as fitted; once the key says something else, this row no longer counts"
    )
    low: Annotated[str | float, Descriptive()] = Field(description="where its interval begins")
    high: Annotated[str | float, Descriptive()] = Field(description="where its interval ends")
    spread: str = Field(
        description="one standard deviation, as a share such as '3 %' or in the value's own unit, with what the spreads of "
        "fitted.held add; bands use it in place of the part's"
    )


class FittedHeldSection(Section):
    """One value that was held in the fit and has a spread of its own."""

    key: Annotated[str, Descriptive()] = Field(description="dotted path of the key that was held")
    value: Annotated[str | float, Descriptive()] = Field(
        description="as it was then; once the key says something else, no fitted value goes together with it"
    )


class FittedTogetherSection(Section):
    """Two values that err together, one of them fitted."""

    first: Annotated[str, Descriptive()] = Field(description="key of one row of fitted.value")
    second: Annotated[str, Descriptive()] = Field(description="key of another, or of a row of fitted.held")
    correlation: Annotated[float, ratio("-1", "1", typical=("-1", "1")), Descriptive()] = Field(
        description="correlation of their errors (of their logarithms where the spread is a share); bands and draws count it"
    )


class FittedSection(Section):
    """What was fitted; written by planish fit. Leave the table out where nothing was."""

    planish: Annotated[Name, Descriptive()] = Field(description="version of planish whose model was fitted")
    date: Annotated[Name, Descriptive()] = Field(description="day of the fit")
    method: Annotated[str, Descriptive()] = Field(description="how it was fitted")
    level: Annotated[float, ratio("0.5", "1", typical=("0.68", "0.99")), Descriptive()] = Field(
        0.9, description="share of such intervals that hold the true value"
    )
    file: list[FittedFileSection] = Field([], description="files that it was fitted to", max_length=10000)
    value: list[FittedValueSection] = Field(
        description="the values that were fitted", min_length=1, max_length=1000
    )
    held: list[FittedHeldSection] = Field(
        [], description="values that were held and that the fitted ones follow", max_length=1000
    )
    together: list[FittedTogetherSection] = Field(
        [], description="how their errors go together; pairs that are not listed do not", max_length=100000
    )
