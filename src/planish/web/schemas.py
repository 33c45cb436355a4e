"""What the API takes and gives, as OpenAPI shows it."""

from __future__ import annotations

import math
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    PrivateAttr,
    model_validator,
)

from planish.jobs.choices import die_processes

MEDIA = "application/octet-stream"  # of packed answers

Document = Annotated[
    dict[str, Any],
    Field(description="a setup as its TOML tables, values as text with unit", max_length=40),
]
Changes = Annotated[
    dict[str, str | float | bool | None],
    Field(description="dotted path to new value, null to take the key out", max_length=200),
]


def _process(name: str) -> str:
    if name and name not in (known := die_processes()):
        raise ValueError(f"{name[:60]!r}: must be {', '.join(known)}, or nothing for the setup's own")
    return name


def _list_processes(schema: dict[str, Any]) -> None:
    schema["enum"] = ["", *die_processes()]


DieProcess = Annotated[str, AfterValidator(_process), Field(json_schema_extra=_list_processes)]
DEEPEST = 32  # tables in tables; a setup has five


class Question(BaseModel):
    """Base: unknown keys are refused, and so is what no answer could repeat."""

    model_config = ConfigDict(extra="forbid")

    @model_validator(mode="before")
    @classmethod
    def _sendable(cls, given: Any) -> Any:
        """Refuse half characters, numbers that are none, and tables too deep to walk through."""
        here = [given]
        for _ in range(DEEPEST):
            below: list[Any] = []
            for value in here:
                if isinstance(value, dict):
                    below += [*value.keys(), *value.values()]
                elif isinstance(value, list):
                    below += value
                elif isinstance(value, str) and not value.isascii():
                    try:
                        value.encode()
                    except UnicodeEncodeError:
                        raise ValueError("holds half a character (a lone surrogate)") from None
                elif isinstance(value, float) and not math.isfinite(value):
                    raise ValueError(f"holds {value}: numbers must be finite")
            if not below:
                return given
            here = below
        raise ValueError(f"tables are more than {DEEPEST} deep")


def _several(given: Any) -> Any:
    """Take one file, or none, for a list of them."""
    return [] if given is None else [given] if isinstance(given, str) else given


class Asked(Question):
    """A setup."""

    document: Document


class Changed(Asked):
    """A setup with changes to it."""

    changes: Changes = {}


class NudgesAsked(Asked):
    """Values that settings would have, each alone."""

    moves: Annotated[Changes, Field(max_length=60)]


class WaferAsked(Changed):
    """A wafer; ``step`` is the recipe step whose path is drawn."""

    step: int = Field(0, ge=0, le=200)


class LotAsked(Asked):
    """A quick lot."""

    wafers: int = Field(100, ge=1, le=500)
    conditioning: bool = True


class DieAsked(Asked):
    """A quick die of a test layout."""

    layout: Literal["density-blocks", "line-space", "step-density"] = "density-blocks"
    process: DieProcess = ""


class PartChosen(Asked):
    """Another part for one section."""

    section: Literal["wafer", "polisher", "head", "pad", "conditioner", "slurry"]
    part: str = Field(max_length=80)


class Moved(Asked):
    """The setup on a polisher of another motion."""

    motion: str = Field(max_length=80)


class Text(Question):
    """A setup file."""

    text: str = Field(max_length=500_000)


class Compared(Question):
    """Two setups, and the figures whose difference is shared out."""

    a: Document
    b: Document
    outcomes: list[Annotated[str, Field(max_length=60)]] = Field(
        default=["mean_removal_rate_nm_per_min", "wiwnu_sigma_percent"], min_length=1, max_length=12
    )


Key = Annotated[str, Field(min_length=1, max_length=120)]
Layout = Literal["density-blocks", "line-space", "step-density"]
Place = Literal["centre", "mid", "edge"]


class Choice(Question):
    """Trade-offs as `planish choose` is asked for them.

    ``vary`` key of the setup to its values (``2..6 psi``, or a list with commas), ``aims`` and ``limits`` by their names;
    ``runs`` setups are tried at most, ``wafers`` in a lot, a die on ``layout`` at ``place``.
    """

    vary: dict[Key, Annotated[str, Field(max_length=400)]] = Field(min_length=1, max_length=12)
    aims: list[Annotated[str, Field(max_length=80)]] = Field(min_length=1, max_length=6)
    limits: dict[Key, Annotated[str, Field(max_length=80)]] = Field({}, max_length=12)
    runs: int = Field(200, ge=2)
    points: int = Field(20, ge=2, le=60)
    seed: int = Field(0, ge=0, le=2**31)
    wafers: int = Field(25, ge=2, le=500)
    layout: Layout = "density-blocks"
    place: Place = "centre"


class ChoiceAsked(Asked):
    """Trade-offs of a setup."""

    choice: Choice


class Solve(Question):
    """Settings to be solved for.

    ``incoming`` are uploaded site files of the film on top, a file or several, each of one wafer or of many; ``meet`` limits
    of what is left, by the figures of `planish tune --meet`, whose chance is then made highest on ``draws``.
    """

    target_nm: float | None = Field(None, gt=0, le=1e6)
    incoming: Annotated[
        list[Annotated[str, Field(max_length=40)]], BeforeValidator(_several), Field(max_length=25)
    ] = []
    meet: dict[Annotated[str, Field(max_length=40)], Annotated[str, Field(max_length=80)]] = Field(
        {}, max_length=6
    )
    spreads: bool = True
    over_wafers: int = Field(0, ge=0, le=5000)
    draws: int = Field(200, ge=20)
    seed: int = Field(0, ge=0, le=2**31)
    neighbour_psi: float | None = Field(None, gt=0, le=100)
    most_time_s: float | None = Field(None, gt=0, le=36000)
    least_rate_nm_per_min: float | None = Field(None, gt=0, le=1e6)
    keep: list[Annotated[str, Field(max_length=120)]] = Field(default=[], max_length=60)


class JobAsked(Asked):
    """A long job; ``choice`` is of a trade-off, ``solve`` of settings solved for, what is beside them of the others."""

    kind: Literal["lot", "die", "trade-off", "tune", "fit"]
    choice: Choice | None = None
    solve: Solve | None = None
    title: str = Field("", max_length=80)
    wafers: int = Field(1000, ge=1, le=5000)
    seed: int = Field(0, ge=0, le=2**31)
    conditioning: bool = True
    adjust: Literal["fixed", "run-to-run"] = "fixed"
    layout: Layout = "density-blocks"
    process: DieProcess = ""
    place: Place = "edge"
    cell_um: float = Field(50, ge=5, le=500)
    size_mm: float = Field(20, ge=1, le=33)
    file: str | None = Field(None, max_length=40)
    layer: str = Field("", max_length=12)
    free: list[Annotated[str, Field(max_length=120)]] = Field(default=[], max_length=20)
    column: list[Annotated[str, Field(max_length=200)]] = Field(default=[], max_length=20)
    leave_out: list[Annotated[str, Field(max_length=200)]] = Field(default=[], max_length=60)


class RunsAsked(Asked):
    """An uploaded table of runs; what it does not say is as in the options ``--column`` and ``--leave-out``."""

    file: str = Field(max_length=40)
    column: list[Annotated[str, Field(max_length=200)]] = Field(default=[], max_length=20)
    leave_out: list[Annotated[str, Field(max_length=200)]] = Field(default=[], max_length=60)


Name = Annotated[str, Field(min_length=1, max_length=80)]
ToldText = Annotated[str, Field(max_length=200)]


class Told(Question):
    """A column map, as its TOML file has it."""

    columns: dict[Annotated[str, Field(max_length=20)], ToldText] = Field(default={}, max_length=12)
    units: dict[Annotated[str, Field(max_length=20)], Annotated[str, Field(max_length=40)]] = Field(
        default={}, max_length=12
    )
    pitch: ToldText | None = None
    centre_die: ToldText | None = None
    site_plan: ToldText | None = None
    decimal: Literal["point", "comma"] | None = None
    sheet: ToldText | None = None
    separator: Literal["comma", "semicolon", "tab", "bar", "blank"] | None = None
    names_line: int | None = Field(None, ge=1, le=1000)

    def plain(self) -> dict[str, Any]:
        """Return what is said, without what is not."""
        return {key: value for key, value in self.model_dump().items() if value not in (None, {})}


class LookAsked(Question):
    """How an uploaded site file would be read with what is told of it."""

    told: Told = Field(default_factory=lambda: Told(names_line=None))
    wafer: ToldText | None = None


class ReadAsked(LookAsked):
    """An uploaded site file is read so from now on; with ``remember`` files with the same column names are too."""

    remember: bool = False
    name: Name = "column map"


class MapBrought(Question):
    """The TOML file of a column map."""

    name: Name
    text: str = Field(max_length=65536)


class MapTold(BaseModel):
    """A column map that a person keeps; ``header`` are the column names of the file that it was made for."""

    id: str
    name: str
    made: float
    told: dict[str, Any]
    header: list[str]


class MeasuredAsked(Asked):
    """Uploaded site files to set beside the prediction."""

    before: str = Field(max_length=40)
    after: str | None = Field(None, max_length=40)
    time_s: float | None = Field(None, gt=0, le=36000)


class TuneAsked(Asked, Solve):
    """Settings of a setup to be solved for at once; what takes longer is a job."""


class TracesAsked(Question):
    """Uploaded traces, with measured rates if there are any."""

    traces: str = Field(max_length=40)
    rates: str | None = Field(None, max_length=40)


class TableAsked(Question):
    """An uploaded table."""

    file: str = Field(max_length=40)


Column = Annotated[str, Field(min_length=1, max_length=200)]


class ChartAsked(TableAsked):
    """A control chart of an uploaded table, by the options of `planish hold`."""

    value: list[Column] = Field(min_length=1, max_length=20)
    chart: Literal["individuals", "xbar", "ewma", "cusum", "t2"] = "individuals"
    group: Column | None = None
    phase: Column | None = None
    new_phase: list[int] = Field([], max_length=60)
    baseline: int | None = Field(None, ge=2, le=10_000_000)
    limit: float | None = Field(None, gt=0, le=100)
    weight: float | None = Field(None, gt=0, le=1)
    reference: float | None = Field(None, ge=0, le=10)
    alpha: float | None = Field(None, gt=0, lt=1)
    rules: list[Annotated[str, Field(max_length=80)]] = Field([], max_length=12)
    widen: bool = False


class TraceAsked(Question):
    """A trace to be replayed: an uploaded one, or without ``file`` one invented from the ``document``."""

    document: Document | None = None
    file: str | None = Field(None, max_length=40)
    kind: Literal["light", "friction", "eddy"] = "light"
    target_nm: float = Field(0, ge=0, le=1e6)
    start: str = Field("", max_length=80)
    rate: str = Field("", max_length=80)
    film: str = Field("", max_length=80)
    light: str = Field("", max_length=80)
    direction: Literal["up", "down", "either"] = "either"
    baseline: str = Field("", max_length=40)
    seed: int = Field(0, ge=0, le=2**31)
    noise: float = Field(20, ge=0.1, le=1e6)


class SignIn(Question):
    """Name and password."""

    name: str = Field(max_length=64)
    password: str = Field(max_length=1024)


class PasswordChange(Question):
    """The old password and the new one."""

    old: str = Field(max_length=1024)
    new: str = Field(max_length=1024)


class Approval(Asked):
    """An approval of a setup, with a remark."""

    note: str = Field("", max_length=500)


class Refusal(BaseModel):
    """Why a request was refused, in one line."""

    refused: str


class Setup(BaseModel):
    """A document."""

    document: dict[str, Any]
    title: str = ""


class Finding(BaseModel):
    """One sentence about the wafer; ``weight`` is good, look or act."""

    subject: str
    weight: str
    text: str


class Lesson(BaseModel):
    """A guided comparison."""

    id: str
    title: str
    question: str
    cases: list[str]


class JobTold(BaseModel):
    """A job. ``state``: waiting, running, done, failed, stopped, or cleared to make room; ``size`` on disk [bytes]."""

    id: str
    kind: str
    title: str
    owner: str
    state: str
    share: float
    message: str
    made: float
    ended: float | None
    size: int


class UploadTold(BaseModel):
    """A stored file and what it is."""

    id: str
    name: str
    kind: str
    size: int
    ending: str
    made: float
    about: dict[str, Any] = {}
    told: dict[str, Any] = {}
    wafer: str | None = None
    by: str = ""


class Person(BaseModel):
    """Who is signed in, and what they may do. ``team`` is false on a server for one person.

    ``id`` owns what the person brings and runs; it is "you" on a server for one person.
    """

    id: str
    name: str
    role: str
    team: bool
    _address: str = PrivateAttr("")
