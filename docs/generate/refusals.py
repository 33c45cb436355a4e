"""The page of refusals: every kind of error, met by really giving planish what it must refuse."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import planish
from planish import errors
from planish.errors import PlanishError

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
BEFORE, AFTER = EXAMPLES / "data" / "wafer-before.csv", EXAMPLES / "data" / "wafer-after.csv"


@dataclass(frozen=True, slots=True)
class Refusal:
    """What was given, in words, and a call that gives it; ``kind`` is the error that must come."""

    kind: type[PlanishError]
    given: str
    call: Callable[[Path], object]

    def text(self) -> str:
        """Provoke the error and return its line; anything else than ``kind`` is a failure of this page."""
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            try:
                self.call(folder)
            except PlanishError as exc:
                if type(exc) is not self.kind:
                    raise AssertionError(
                        f"{self.given}: {type(exc).__name__} in place of {self.kind.__name__}"
                    ) from exc
                return str(exc).replace(f"{folder}/", "").replace(f"{EXAMPLES.parent}/", "")
        raise AssertionError(f"{self.given}: was not refused")


def _setup(old: str, new: str) -> Callable[[Path], object]:
    def call(folder: Path) -> object:
        text = planish.new_setup("rotary")
        if old not in text:
            raise AssertionError(f"{old!r} is no longer part of a new setup")
        path = folder / "setup.toml"
        path.write_text(text.replace(old, new, 1), encoding="utf-8")
        return planish.load(path).rig

    return call


def _sites(content: str) -> Callable[[Path], object]:
    def call(folder: Path) -> object:
        path = folder / "sites.csv"
        path.write_text(content, encoding="utf-8")
        return planish.read_sites(path)

    return call


def _layout(content: bytes) -> Callable[[Path], object]:
    def call(folder: Path) -> object:
        path = folder / "chip.gds"
        path.write_bytes(content)
        return planish.read_layout_maps(path, 68, 20, 1e-5)

    return call


def _without_time(folder: Path) -> object:
    from planish.measure.sites.pairing import pair

    for path in (BEFORE, AFTER):
        lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
        kept = [line for line in lines if not line.startswith("# polish_time")]
        (folder / path.name).write_text("".join(kept), encoding="utf-8")
    paired = pair(planish.read_sites(folder / BEFORE.name), planish.read_sites(folder / AFTER.name))
    return planish.fit_wafer(planish.polish(planish.load(EXAMPLES / "rotary.toml")), paired.removal)


def _two_sites(folder: Path) -> object:
    path = folder / "sites.csv"
    path.write_text("site,x_mm,y_mm,removal_nm\n1,0,0,600\n2,50,0,598\n", encoding="utf-8")
    return planish.fit_wafer(EXAMPLES / "linear.toml", planish.read_sites(path))


def _beyond_reading(folder: Path) -> object:
    from planish.physics.surface.hardness import shore_modulus

    return shore_modulus(105, "D")


def _unknown_law(folder: Path) -> object:
    from planish.physics.removal.laws import removal_rate

    return removal_rate("preston", {"kp": 2e-13}, 2e4, 1.0)


def _taken_name(folder: Path) -> object:
    from planish.setup.processes import PROCESSES, Process

    return PROCESSES.add(Process("oxide", "another oxide", PROCESSES.get("oxide").level))


def _bare_layers(folder: Path) -> object:
    from planish.physics.pressure.layers import ElasticLayer

    return ElasticLayer(modulus=50e6, poisson=0.5, thickness=1e-3)


def _no_record(folder: Path) -> object:
    from planish.physics.removal.laws import LAWS

    return LAWS.add("k_p p v")  # type: ignore[arg-type]


REFUSALS: tuple[Refusal, ...] = (
    Refusal(errors.SetupError, "a number without a unit", _setup('"4.2 psi"', "4.2")),
    Refusal(errors.SetupError, "a unit of another quantity", _setup('"90 rpm"', '"90 psi"')),
    Refusal(errors.SetupError, "an impossible value", _setup('"4.2 psi"', '"-4.2 psi"')),
    Refusal(errors.SetupError, "a key that does not exist", _setup("platen_speed", "platten_speed")),
    Refusal(
        errors.SetupError, "a part that does not exist", _setup('"hard-microporous"', '"hard-microporus"')
    ),
    Refusal(
        errors.SetupError, "a file that is not there", lambda folder: planish.load(folder / "setup.toml")
    ),
    Refusal(errors.SetupError, "a motion that does not exist", lambda folder: planish.new_setup("circular")),
    Refusal(errors.DataError, "a column without a unit", _sites("x,y,thickness\n0,0,1000\n")),
    Refusal(
        errors.DataError, "a cell that is no number", _sites("x_mm,y_mm,thickness_nm\n0,0,1000\n5,0,high\n")
    ),
    Refusal(errors.DataError, "a table without positions", _sites("site,thickness_nm\n1,1000\n")),
    Refusal(errors.DataError, "a file that is no layout", _layout(b"this is no layout")),
    Refusal(errors.DataError, "a layout cut short", _layout(b"\x00\x06\x00\x02\x02\x58\x00\x1c\x01\x02")),
    Refusal(
        errors.DataError, "a file that no result was saved to", lambda folder: planish.open_result(AFTER)
    ),
    Refusal(errors.ModelError, "a hardness beyond the relation's range", _beyond_reading),
    Refusal(errors.ModelError, "a law without its coefficient", _unknown_law),
    Refusal(errors.ModelError, "a layer that cannot be compressed", _bare_layers),
    Refusal(errors.PluginError, "a die process of one's own under a name that is taken", _taken_name),
    Refusal(errors.PluginError, "a law that is no record", _no_record),
    Refusal(errors.FitError, "an amount polished to, without the time it took", _without_time),
    Refusal(errors.FitError, "too few sites", _two_sites),
)


def kinds() -> list[type[PlanishError]]:
    """Return every kind of error that planish has."""
    return [
        item
        for item in vars(errors).values()
        if isinstance(item, type) and issubclass(item, PlanishError) and item is not PlanishError
    ]


def refusals_page() -> str:
    """Return the page of refusals; a kind of error without an example stops the build."""
    lines = [
        "# Refusals",
        "",
        "Each line below is what planish said when this page was made: what stands above it was really given.",
        "",
    ]
    for kind in kinds():
        mine = [refusal for refusal in REFUSALS if refusal.kind is kind]
        if not mine:
            raise AssertionError(f"{kind.__name__}: no example of a refusal")
        lines += [f"## {kind.__name__}", "", (kind.__doc__ or "").strip().splitlines()[0], ""]
        for refusal in mine:
            lines += [
                f"{refusal.given.capitalize()}:",
                "",
                "```{code-block} text",
                ":class: line",
                "",
                refusal.text(),
                "```",
                "",
            ]
    return "\n".join(lines)
