"""Between which limits settings may move, which are kept, and the rows of the linear program that say so."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish import units
from planish.errors import SetupError, refuse
from planish.setup import paths
from planish.setup.finding import nearest
from planish.setup.ranges import range_ends
from planish.setup.recipe import SECONDS, ZONES
from planish.tuning.course import Settings
from planish.units import PSI

if TYPE_CHECKING:
    from planish.setup.models import Setup
    from planish.setup.quantity import Quantity
    from planish.tuning.influence import Bends

Array = NDArray[np.float64]
KINDS = ("zone_pressure", "ring_pressure", "time")
ROUNDED_PSI, ROUNDED_S = 1e-4, 1e-3
"""To which pressures and times are rounded as they are written into a setup."""


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit in words: where, what it says, its value in SI, and the dimension of that."""

    place: str
    words: str
    value: float
    dimension: str

    @property
    def told(self) -> str:
        """The limit as a person would say it."""
        return f"{self.place}: {self.words} {units.show(self.value, self.dimension)}"


@dataclass(frozen=True, slots=True)
class Rows:
    """Limits as rows: matrix x at most ``most``, x being the settings that move, in their scales."""

    matrix: Array
    most: Array
    limits: tuple[Limit, ...]


class Freedom:
    """Which settings move and how far.

    Attributes
    ----------
    free
        (steps, zones + 2): zones, ring, time.
    scale
        Of the settings that move, in SI, (n,): 1 psi, and a fifth of a step's time.
    rows
        What they keep to.
    notes
        What was taken for granted.

    ``within`` stands before each path, as ``platen.2.``; one of several platens may be kept as it is.
    """

    def __init__(
        self,
        setup: Setup,
        start: Settings,
        *,
        bounds: Mapping[str, str],
        keep: Iterable[str],
        neighbour: float | None,
        most_time: float | None = None,
        time_words: str = "",
        within: str = "",
    ) -> None:
        self._setup, self._start, self._within = setup, start, within
        self._tree = setup.tree  # a copy each time it is asked for
        self._zones = start.zones.shape[1]
        self._tied = bool(setup.rig.head.back_film)  # a rigid head presses everywhere alike
        self.notes: list[str] = []
        self._low, self._high, self._said = self._usual()
        for key, text in bounds.items():
            self._bound(key, text)
        for step in np.flatnonzero(np.all(self._high[:, : self._zones] <= 0.0, axis=1)):
            place = self._within + paths.show(("recipe", "step", int(step), "zone_pressures"), self._tree)
            raise SetupError(f"--bound: all of {place} at most 0: must leave some pressure on the wafer")
        self.free = self._kept(keep)
        self._index = self._numbered()
        self.scale = self._scales()
        if self.scale.size == 0 and not within:
            raise SetupError("keep: everything is kept: must leave a pressure or a time to tune")
        self.rows = self._rows(neighbour, most_time, time_words)

    def place(self, step: int, which: int) -> str:
        """Return the dotted path of a setting.

        Parameters
        ----------
        step
            From 0.
        which
            Zone from 0, then ring, then time.

        Returns
        -------
        str
            As ``Setup.replace`` takes it.
        """
        keys: tuple[paths.Key, ...] = ("recipe", "step", step)
        if which == self._zones:
            keys = (*keys, "ring_pressure")
        elif which == self._zones + 1:
            keys = (*keys, "time")
        else:
            keys = (*keys, "zone_pressures") if self._tied else (*keys, "zone_pressures", which)
        return self._within + paths.show(keys, self._tree)

    def pack(self, settings: Settings) -> Array:
        """Return the settings that move in their scales, (n,)."""
        whole = np.column_stack([settings.zones, settings.ring, settings.time])
        x = np.empty(self.scale.size)
        taken = self._index >= 0
        x[self._index[taken]] = whole[taken]
        return np.asarray(x / self.scale)

    def unpack(self, x: Array) -> Settings:
        """Return all settings for those that move in their scales (n,)."""
        whole = np.column_stack([self._start.zones, self._start.ring, self._start.time])
        taken = self._index >= 0
        whole[taken] = (x * self.scale)[self._index[taken]]
        return Settings(whole[:, : self._zones], whole[:, self._zones], whole[:, self._zones + 1])

    def columns(self, influence: Array) -> Array:
        """Return the influence (steps, zones + 2, n_r) as a matrix by what moves in its scale, (n_r, n)."""
        made = np.zeros((influence.shape[2], self.scale.size))
        for at in zip(*np.nonzero(self._index >= 0), strict=True):
            made[:, self._index[at]] += influence[at]
        return made * self.scale

    def bends(self, second: Sequence[Bends]) -> Array:
        """Return second derivatives of each step as a matrix by what moves in its scale, (n_r, n, n)."""
        made = np.zeros((second[0].second.shape[0], self.scale.size, self.scale.size))
        for step, (which, bent) in enumerate(second):
            numbers = self._index[step, which]
            for one, number in enumerate(numbers):
                for other, beside in enumerate(numbers):  # zones of a rigid head share a number
                    made[:, number, beside] += bent[:, one, other]
        return made * np.outer(self.scale, self.scale)

    @property
    def times(self) -> NDArray[np.int_]:
        """Which of the settings that move are times."""
        return np.asarray([i for i in self._index[:, -1] if i >= 0], dtype=np.int_)

    @property
    def by_step(self) -> list[tuple[NDArray[np.int_], int]]:
        """Of each step whose time moves: which of the settings that move are its pressures, and which its time."""
        rows = self._index[self._index[:, -1] >= 0]
        return [(np.unique(row[:-1][row[:-1] >= 0]), int(row[-1])) for row in rows]

    def rounded(self, settings: Settings, psi: float = ROUNDED_PSI, seconds: float = ROUNDED_S) -> Settings:
        """Return settings as they are written into a setup: those that move are rounded, within their bounds.

        Parameters
        ----------
        settings
            As solved for.
        psi, seconds
            To what pressures [psi] and times [s] are rounded.

        Returns
        -------
        Settings
            Those that stay are as they were.
        """
        whole = np.column_stack([settings.zones, settings.ring, settings.time])
        grain = np.full(whole.shape, psi * PSI)
        grain[:, -1] = seconds
        near = np.round(whole / grain)
        room = 1e-9
        near = np.where(near * grain > self._high * (1 + room), np.floor(self._high / grain + room), near)
        near = np.where(near * grain < self._low * (1 - room), np.ceil(self._low / grain - room), near)
        whole = np.where(self._index >= 0, near * grain, whole)
        return Settings(whole[:, : self._zones], whole[:, self._zones], whole[:, self._zones + 1])

    def _usual(self) -> tuple[Array, Array, list[list[tuple[str, str]]]]:
        """Return the usual ranges, widened to what the setup has."""
        start = self._start
        whole = np.column_stack([start.zones, start.ring, start.time])
        low, high = np.empty(whole.shape), np.empty(whole.shape)
        usual = [ZONES.typical_si or ZONES.limits] * (self._zones + 1) + [
            _seconds().typical_si or _seconds().limits
        ]
        for which, (least, most) in enumerate(usual):
            low[:, which], high[:, which] = least, most
        outside = np.asarray((whole < low) | (whole > high))
        outside[:, self._zones] &= start.ring > 0
        if outside.any():
            places = ", ".join(self.place(*at) for at in zip(*np.nonzero(outside), strict=True))
            self.notes.append(f"{places}: outside the usual range: the bound there is the value it has")
        said = [[("usual limit of", "usual limit of")] * whole.shape[1] for _ in range(whole.shape[0])]
        return np.minimum(low, whole), np.maximum(high, whole), said

    def _bound(self, key: str, text: str) -> None:
        """Take in one bound."""
        for step, which in self._meant(key, "--bound", kinds=True):
            quantity = _seconds() if which == self._zones + 1 else ZONES
            low, high = _range(key, text, quantity)
            if low is not None:
                self._low[step, which] = low
            if high is not None:
                self._high[step, which] = high
            if self._low[step, which] > self._high[step, which]:
                least, most = (
                    units.show(float(each[step, which]), quantity.dimension)
                    for each in (self._low, self._high)
                )
                raise SetupError(
                    f"--bound {key}={text}: at least {least} and at most {most}: must leave a range (give both ends)"
                )
            least_said, most_said = self._said[step][which]
            self._said[step][which] = (
                least_said if low is None else "bound of",
                most_said if high is None else "bound of",
            )

    def _meant(self, key: str, option: str, *, kinds: bool = False) -> list[tuple[int, int]]:
        """Return which settings a key or a path means."""
        steps, last = range(len(self._start.time)), self._zones + 1
        if kinds and key in KINDS:
            which = {"zone_pressure": range(self._zones), "ring_pressure": [self._zones], "time": [last]}[key]
            return [(step, each) for step in steps for each in which]
        allowed = "a path of a step, its zone_pressures, ring_pressure or time, as recipe.step.main.time"
        if kinds:
            allowed = f"one of {', '.join(KINDS)}, or {allowed}"
            if "." not in key:
                raise SetupError(f"{option} {self._within}{key}: must be {allowed} ({nearest(key, KINDS)})")
        try:
            keys = paths.resolve(key, self._tree)
        except SetupError as error:
            raise SetupError(f"{option} {self._within}{error}") from None
        if keys[:2] == ("recipe", "step") and len(keys) == 2:
            return [(step, which) for step in steps for which in range(last + 1)]
        if keys[:2] == ("recipe", "step") and isinstance(keys[2], int):
            step, rest = keys[2], keys[3:]
            if not rest:
                return [(step, which) for which in range(last + 1)]
            if rest == ("zone_pressures",):
                return [(step, which) for which in range(self._zones)]
            if rest[0] == "zone_pressures":
                return [(step, self._zone(rest[1], key, option))]
            if rest == ("ring_pressure",):
                return [(step, self._zones)]
            if rest == ("time",):
                return [(step, last)]
            if rest[0] in ("stop_on_removed", "stop_on_remaining") and len(rest) == 1:
                whole = paths.show(keys[:3], self._tree)
                raise SetupError(
                    f"{option} {self._within}{key}: an amount follows from the pressures and the time that are solved for: "
                    f"must be a pressure, a time or a step (to keep the amount keep the whole step, {whole})"
                )
        raise SetupError(f"{option} {self._within}{key}: must be {allowed}")

    def _zone(self, key: paths.Key, path: str, option: str) -> int:
        names = [zone.name for zone in self._setup.model.head.zone]
        if isinstance(key, int) and 0 <= key < len(names):
            return key
        if isinstance(key, str) and key in names:
            return names.index(key)
        raise SetupError(f"{option} {path}: no zone {key!r} there ({nearest(str(key), names)})")

    def _kept(self, keep: Iterable[str]) -> NDArray[np.bool_]:
        free = np.ones(self._low.shape, dtype=bool)
        off = np.flatnonzero(self._start.ring <= 0)
        free[off, self._zones] = False
        if off.size:
            names = ", ".join(self._setup.rig.steps[step].name for step in off)
            why = (
                "there is no retaining ring"
                if self._setup.rig.head.ring is None
                else "the ring is off and stays off"
            )
            self.notes.append(f"step {names}: {why}: no ring pressure is tuned there")
        for path in keep:
            for at in self._meant(path, "--keep"):
                free[at] = False
        if self._tied:
            alike = np.asarray(free[:, : self._zones].all(axis=1))
            free[:, : self._zones] = alike[:, None]
            self.notes.append("a rigid head presses everywhere alike: one pressure a step is tuned")
        return free

    def _numbered(self) -> NDArray[np.int_]:
        """Return which setting moves as which number; -1 where it does not."""
        index = np.full(self.free.shape, -1, dtype=np.int_)
        count = 0
        for step in range(self.free.shape[0]):
            for which in range(self.free.shape[1]):
                if not self.free[step, which]:
                    continue
                if self._tied and 0 < which < self._zones:
                    index[step, which] = index[step, 0]
                    continue
                index[step, which] = count
                count += 1
        return index

    def _scales(self) -> Array:
        scale = np.full(int(self._index.max(initial=-1)) + 1, PSI)
        for step, number in enumerate(self._index[:, -1]):
            if number >= 0:
                scale[number] = max(0.2 * float(self._start.time[step]), 0.2)
        return scale

    def _rows(self, neighbour: float | None, most_time: float | None, time_words: str) -> Rows:
        rows: list[Array] = []
        most: list[float] = []
        limits: list[Limit] = []
        whole = np.column_stack([self._start.zones, self._start.ring, self._start.time])
        eye = np.eye(self.scale.size)

        def add(row: Array, bound: float, limit: Limit) -> None:
            rows.append(row * self.scale)
            most.append(bound)
            limits.append(limit)

        seen: set[int] = set()
        for step, which in zip(*np.nonzero(self._index >= 0), strict=True):
            number = int(self._index[step, which])
            if number in seen:
                continue
            seen.add(number)
            kind = "time" if which == self._zones + 1 else "pressure"
            place, said = self.place(step, which), self._said[step][which]
            low, high = float(self._low[step, which]), float(self._high[step, which])
            add(eye[number], high, Limit(place, f"{said[1]} at most", high, kind))
            add(-eye[number], -low, Limit(place, f"{said[0]} at least", low, kind))
        if neighbour is not None and not self._tied:
            # a hair less, so that rounded pressures keep it too
            step_most = neighbour - ROUNDED_PSI * PSI
            for step in range(self._index.shape[0]):
                for zone in range(self._zones - 1):
                    pair = [int(self._index[step, zone]), int(self._index[step, zone + 1])]
                    if max(pair) < 0:
                        continue
                    row, gone = np.zeros(self.scale.size), 0.0
                    for sign, number, each in zip(
                        (1.0, -1.0), pair, whole[step, zone : zone + 2], strict=True
                    ):
                        if number >= 0:
                            row[number] += sign
                        else:
                            gone += sign * float(each)
                    place = f"{self.place(step, zone)} and {self.place(step, zone + 1)}"
                    limit = Limit(place, "step between neighbours at most", neighbour, "pressure")
                    add(row, step_most - gone, limit)
                    add(-row, step_most + gone, limit)
        if most_time is not None and self.times.size:
            row = np.zeros(self.scale.size)
            row[self.times] = 1.0
            kept = float(whole[self._index[:, -1] < 0, -1].sum())
            rounded = ROUNDED_S * self.times.size
            add(
                row,
                most_time - kept - rounded,
                Limit("recipe", f"{time_words} all steps together at most", most_time, "time"),
            )
        return Rows(np.reshape(rows, (len(rows), self.scale.size)), np.array(most), tuple(limits))


def _seconds() -> Quantity:
    quantity: Quantity = SECONDS.__metadata__[0]  # type: ignore[attr-defined]
    return quantity


def _range(key: str, text: str, quantity: Quantity) -> tuple[float | None, float | None]:
    """Return the ends of a range such as ``1..6 psi``, in SI; None for an end that is not said."""
    place = f"--bound {key}"
    example = "1..6 psi" if quantity.dimension == "pressure" else "10..90 s"
    said = range_ends(text)
    if said is None:
        raise SetupError(refuse(place, text, "two ends with a unit", f"as --bound '{key}={example}'"))
    ends: list[float | None] = []
    for end in said:
        if not end:
            ends.append(None)
            continue
        try:
            ends.append(quantity.si(end))
        except units.UnitError as error:
            raise SetupError(
                refuse(place, end, error.allowed, error.remedy or f"as --bound '{key}={example}'")
            ) from None
    return ends[0], ends[1]
