"""Answers computed again from what their files say of the call."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any, TypeVar

from planish.engine.files import write_whole
from planish.errors import DataError
from planish.results.asked import SetupText, unpacked
from planish.results.saved import same_call

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from planish.predict.die.fields_result import FieldsResult
    from planish.predict.die.result import DieResult
    from planish.predict.lot.result import LotResult
    from planish.predict.wafer.result import WaferResult
    from planish.setup.models import Setup
    from planish.tuning.study.result import StudyResult
    from planish.tuning.tradeoffs.result import TradeOff

    Given = Sequence[NDArray[Any]]


Answer = TypeVar("Answer")


def wafer(asked: dict[str, Any], given: Given) -> WaferResult:
    """Polish the wafer of a saved call again.

    Parameters
    ----------
    asked
        The call, as its file says it.
    given
        The arrays that its options name.
    """
    from planish.predict.wafer.polish import polish

    return _again(asked, lambda setups: polish(setups[0], **_options(asked, given)))


def lot(asked: dict[str, Any], given: Given) -> LotResult:
    """Polish the lot of a saved call again, with its seed.

    Parameters
    ----------
    asked
        The call, as its file says it.
    given
        The arrays that its options name.
    """
    from planish.predict.lot.events import Event
    from planish.predict.lot.result import Limits
    from planish.predict.lot.run import polish_lot
    from planish.predict.lot.variation import Variation

    options = _options(asked, given, Event, Limits, Variation)
    return _again(asked, lambda setups: polish_lot(setups[0], seed=asked["seed"], **options))


def die(asked: dict[str, Any], given: Given) -> DieResult:
    """Polish the die of a saved call again, on the layout maps in its file.

    Parameters
    ----------
    asked
        The call, as its file says it.
    given
        The arrays that its options name.
    """
    from planish.predict.die.polish import polish_die

    options = _die_options(asked, given)
    return _again(asked, lambda setups: polish_die(setups, **options))


def fields(asked: dict[str, Any], given: Given) -> FieldsResult:
    """Polish the fields of a saved call again, on the layout maps in its file.

    Parameters
    ----------
    asked
        The call, as its file says it.
    given
        The arrays that its options name.
    """
    from planish.predict.die.fields import polish_fields

    options = _die_options(asked, given)
    return _again(asked, lambda setups: polish_fields(setups, **options))


def study(asked: dict[str, Any], given: Given) -> StudyResult:
    """Make all runs of a saved study again.

    Parameters
    ----------
    asked
        The call, as its file says it.
    given
        The arrays that its options name.
    """
    from planish.tuning.study.run import study as run

    return _again(asked, lambda setups: run(setups[0], seed=asked["seed"], **_options(asked, given)))


def tradeoff(asked: dict[str, Any], given: Given) -> TradeOff:
    """Search the front of a saved trade-off again.

    Parameters
    ----------
    asked
        The call, as its file says it.
    given
        The arrays that its options name.
    """
    from planish.measure.layout.maps import LayoutMaps
    from planish.tuning.tradeoffs.choosing import choose

    options = _options(asked, given, LayoutMaps)
    return _again(asked, lambda setups: choose(setups[0], seed=asked["seed"], **options))


def _again(asked: dict[str, Any], predict: Callable[[list[Setup]], Answer]) -> Answer:
    """Predict anew from the setups in the file; ``said`` tells of it where they or planish have changed."""
    with _setups(asked) as setups:
        fresh: Any = predict(setups)
        said = (*fresh.said, *_changed(asked, setups))
        told: Answer = replace(fresh, asked=_kept(fresh.asked, setups), said=said)
    return told


def _die_options(asked: dict[str, Any], given: Given) -> dict[str, Any]:
    from planish.measure.layout.maps import LayoutMaps
    from planish.predict.die.cells import DieChoices
    from planish.predict.die.conditions import SurfaceState
    from planish.predict.die.pad import PadAfter
    from planish.setup.processes import PROCESSES

    levels = (type(process.level) for process in PROCESSES)
    return _options(asked, given, LayoutMaps, SurfaceState, DieChoices, PadAfter, *levels)


def _options(asked: dict[str, Any], given: Given, *records: type[Any]) -> dict[str, Any]:
    try:
        options: dict[str, Any] = unpacked(asked["options"], given, {one.__name__: one for one in records})
    except (KeyError, IndexError, TypeError, ValueError) as error:
        raise DataError(f"saved result: its options cannot be read ({error}): predict it again") from None
    return options


@contextmanager
def _setups(asked: dict[str, Any]) -> Iterator[list[Setup]]:
    """Give the setups of a saved call, with the data files that they name beside them for as long."""
    from planish.setup.load import loads

    with TemporaryDirectory(prefix="planish-") as made:
        setups = []
        for number, one in enumerate(asked["setups"]):
            folder = Path(made) / str(number)
            folder.mkdir()
            for name, content in one["files"].items():
                place = (folder / name).resolve()
                if not place.is_relative_to(folder.resolve()):
                    raise DataError(f"saved result: its data file {name!r} lies outside the setup's folder")
                place.parent.mkdir(parents=True, exist_ok=True)
                write_whole(place, content.encode("latin-1"))
            setups.append(loads(one["text"], one["name"], folder))
        yield setups


def _changed(asked: dict[str, Any], setups: Sequence[Setup]) -> tuple[str, ...]:
    return same_call(asked, tuple(setup.digest() for setup in setups))


def _kept(asked: Any, setups: Sequence[Setup]) -> Any:
    """Return the call of the fresh answer with its setups as text: their folder is about to go."""
    return replace(asked, setups=tuple(SetupText.of(setup) for setup in setups))
