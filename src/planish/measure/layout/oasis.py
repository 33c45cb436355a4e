"""OASIS files to the cells of one layer.

The library that parses the format trusts its input, so it runs in a process of
its own with a limit on memory and time: a damaged file can end that process but
not this one. The process hands back plain arrays.

Format: SEMI P39, OASIS (read as quoted in a minimal OASIS writer; files are read by the gdstk library).
"""

from __future__ import annotations

import contextlib
import json
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError
from planish.measure.layout.limits import STRANGER, Limits

if TYPE_CHECKING:
    from planish.measure.layout.hierarchy import Hierarchy

_MOST_COUNT = 2**31 - 1  # columns or rows of an array
_MOST_ROWS = 2_000_000  # corners in 16 bytes, placements in 96: what is handed back
_END_BYTES = 256  # the end record always fills the last 256 bytes
_INT32 = 2**31 - 1


# Signals that end the reading process.
_ENDS = {
    9: "it took too much memory or time",
    11: "it took too much memory, or what it says does not fit together",
    24: "it took too much time",
}


def read_oasis(path: Path, layer: tuple[int, int] | None, limits: Limits = STRANGER) -> Hierarchy:
    """Read one layer of an OASIS file.

    Parameters
    ----------
    path
        The file.
    layer
        (layer, datatype); ``None`` only counts shapes per layer.
    limits
        What it may take.

    Returns
    -------
    Hierarchy
        Linked, ready to be placed.

    Raises
    ------
    DataError
        If the file cannot be read, is damaged or cut short, or needs more memory or time than
        its size allows for.
    """
    size = path.stat().st_size
    with path.open("rb") as raw:
        raw.seek(max(0, size - _END_BYTES))
        if size < _END_BYTES + 14 or raw.read(1) != b"\x02":
            raise DataError(f"{path}: the OASIS file is cut short: its end record is missing")
    with tempfile.TemporaryDirectory(prefix="planish-") as folder:
        out = Path(folder) / "layer.npz"
        wanted = json.dumps(layer)
        # By the size of the file: repetitions and packed blocks let a short one ask for anything.
        memory = min(limits.most_memory, limits.memory + limits.memory_per_byte * size)
        seconds = min(limits.most_seconds, limits.seconds + int(limits.seconds_per_byte * size))
        allowed = [str(memory), str(seconds)]
        command = [
            sys.executable,
            "-m",
            "planish.measure.layout.oasis",
            str(path),
            wanted,
            str(out),
            *allowed,
        ]
        done = subprocess.run(command, capture_output=True, text=True, errors="replace", check=False)
        if done.returncode != 0 or not out.exists():
            lines = [line for line in done.stderr.splitlines() if line.strip()]
            why = (
                lines[-1].strip()
                if lines
                else _ENDS.get(-done.returncode, f"the reader ended with code {done.returncode}")
            )
            raise DataError(f"{path}: damaged or not readable as OASIS ({why[:200]})")
        with np.load(out, allow_pickle=False) as data:
            arrays = {name: data[name] for name in data.files}
    return _assemble(path, layer, arrays, limits)


def _assemble(
    path: Path, layer: tuple[int, int] | None, a: dict[str, NDArray[Any]], limits: Limits
) -> Hierarchy:
    import hashlib

    from planish.measure.layout.gds import turns
    from planish.measure.layout.hierarchy import Hierarchy
    from planish.measure.layout.shape_store import quad_store, rect_store
    from planish.measure.layout.shapes import split_polygons

    meta = json.loads(str(a["meta"]))
    names: list[str] = meta["names"]
    unit = float(meta["unit"])
    if not (1e-12 <= unit <= 1e-5):
        raise DataError(f"{path}: database unit [m] = {unit:g}: must be 1e-12 to 1e-5")
    n = len(names)
    store = rect_store()
    quads = quad_store()
    left = np.array([limits.splitting])
    rect_at, quad_at = np.zeros(n + 1, np.int64), np.zeros(n + 1, np.int64)
    box = np.tile([np.inf, np.inf, -np.inf, -np.inf], (n, 1))
    corners, starts, first = a["corners"], a["starts"], a["first"]
    for c in range(n):
        s, e = int(first[c]), int(first[c + 1])
        quad_at[c + 1] = quad_at[c]
        if e > s:
            part = starts[s : e + 1] - starts[s]
            xy = corners[starts[s] : starts[e]]
            box[c] = np.concatenate([xy.min(axis=0), xy.max(axis=0)])
            r, q = split_polygons(xy[:, 0], xy[:, 1], part, e - s, left, str(path))
            whole = (r == np.rint(r)).all(axis=1) & (np.abs(r) <= _INT32).all(axis=1)
            store.extend(r[whole])
            q = np.concatenate([q, r[~whole][:, [0, 1, 2, 1, 2, 3, 0, 3]]])
            quads.extend(q)
            quad_at[c + 1] += len(q)
        rect_at[c + 1] = len(store)
    refs = a["refs"]
    with path.open("rb") as raw:
        digest = hashlib.file_digest(raw, lambda: hashlib.blake2b(digest_size=16)).hexdigest()
    out = Hierarchy(
        unit=unit,
        names=names,
        rects=store.close(),
        rect_start=rect_at[:-1],
        rect_end=rect_at[1:],
        quads=quads.close(),
        quad_start=quad_at[:-1],
        quad_end=quad_at[1:],
        shapes=a["shapes"],
        own_box=box,
        ref_start=a["ref_first"],
        ref_cell=refs[:, 0].astype(np.int64),
        ref_turn=turns(refs[:, 3], refs[:, 4], refs[:, 5]),
        ref_at=np.ascontiguousarray(refs[:, 1:3]),
        ref_count=refs[:, 6:8].astype(np.int64),
        ref_step=np.ascontiguousarray(refs[:, 8:12]),
        layers={(int(k[0]), int(k[1])): int(k[2]) for k in a["layers"]},
        digest=digest,
    )
    out.link(str(path))
    return out


class _Collector:
    """Runs in the reading process: the cells of a gdstk library as arrays.

    A shape that repeats becomes a cell of its own, placed by an array, so that
    repeats are never written out.
    """

    def __init__(self, library: Any, layer: tuple[int, int] | None) -> None:
        self.layer = layer
        self.scale = library.unit / library.precision
        self.unit = library.precision
        self.cells = list(library.cells)
        self.names: list[str] = [cell.name for cell in self.cells]
        self.ids = {name: i for i, name in enumerate(self.names)}
        self.polygons: list[list[NDArray[np.float64]]] = [[] for _ in self.cells]
        self.shapes = [0] * len(self.cells)
        self.refs: list[list[list[float]]] = [[] for _ in self.cells]
        self.layers: dict[tuple[int, int], int] = {}
        for i, cell in enumerate(self.cells):
            for polygon in cell.polygons:
                self._shape(
                    i, (polygon.layer, polygon.datatype), lambda p=polygon: [p.points], polygon.repetition
                )
            for path in cell.paths:
                for key in sorted(set(zip(path.layers, path.datatypes, strict=True))):
                    self._shape(i, key, lambda p=path, k=key: self._outline(p, k), path.repetition)
            for reference in cell.references:
                self._reference(i, reference)

    def _outline(self, path: Any, key: tuple[int, int]) -> list[NDArray[np.float64]]:
        parts = path.to_polygons()
        return [np.asarray(p.points) for p in parts if (p.layer, p.datatype) == key]

    def _shape(self, cell: int, key: tuple[int, int], outline: Any, repetition: Any) -> None:
        key = (int(key[0]), int(key[1]))
        self.layers[key] = self.layers.get(key, 0) + 1
        if key != self.layer:
            return
        target = cell
        if repetition.size > 0:
            target = len(self.names)
            self.names.append(f"{self.names[cell]}:{target}")
            self.polygons.append([])
            self.shapes.append(0)
            self.refs.append([])
            self._places(cell, target, [0.0, 0.0], [0.0, 1.0, 0.0], repetition)
        for points in outline():
            grid = np.asarray(points, dtype=np.float64) * self.scale
            near = np.rint(grid)
            self.polygons[target].append(np.where(np.abs(grid - near) < 1e-5, near, grid))
        self.shapes[target] += 1

    def _reference(self, cell: int, reference: Any) -> None:
        name = reference.cell if isinstance(reference.cell, str) else reference.cell.name
        if name not in self.ids:
            raise ValueError(f"places a cell that it does not hold: {name!r}")
        at = [v * self.scale for v in reference.origin]
        turn = [
            float(reference.x_reflection),
            float(reference.magnification),
            float(np.degrees(reference.rotation)),
        ]
        if not (0.0 < turn[1] < 1e9 and abs(turn[2]) < 1e6):
            raise ValueError("a magnification or angle that is absurd")
        self._places(cell, self.ids[name], at, turn, reference.repetition)

    def _places(self, cell: int, target: int, at: list[float], turn: list[float], rep: Any) -> None:
        at = np.rint(at).tolist()
        if rep.size == 0:
            self.refs[cell].append([target, *at, *turn, 1, 1, 0, 0, 0, 0])
        elif rep.columns is not None:
            if not (0 < rep.columns <= _MOST_COUNT and 0 < rep.rows <= _MOST_COUNT):
                raise ValueError(f"an array of {rep.columns} x {rep.rows}, more than {_MOST_COUNT} a side")
            first = [rep.spacing[0], 0.0] if rep.spacing is not None else list(rep.v1)
            second = [0.0, rep.spacing[1]] if rep.spacing is not None else list(rep.v2)
            step = np.rint(np.array([*first, *second]) * self.scale).tolist()
            self.refs[cell].append([target, *at, *turn, rep.columns, rep.rows, *step])
        else:
            if rep.size > _MOST_ROWS:
                raise ValueError(f"a repetition of {rep.size} places, more than {_MOST_ROWS}")
            for x, y in np.rint(np.asarray(rep.get_offsets()) * self.scale).tolist():
                self.refs[cell].append([target, at[0] + x, at[1] + y, *turn, 1, 1, 0, 0, 0, 0])

    def save(self, target: str) -> None:
        every = [p for cell in self.polygons for p in cell]
        refs = [r for cell in self.refs for r in cell]
        np.savez(
            target,
            meta=np.array(json.dumps({"names": self.names, "unit": float(f"{self.unit:.12g}")})),
            corners=np.concatenate(every) if every else np.empty((0, 2)),
            starts=np.cumsum([0, *(len(p) for p in every)]),
            first=np.cumsum([0, *(len(cell) for cell in self.polygons)]),
            shapes=np.array(self.shapes, dtype=np.int64),
            refs=np.array(refs, dtype=np.float64).reshape(-1, 12),
            ref_first=np.cumsum([0, *(len(cell) for cell in self.refs)]),
            layers=np.array([[*k, v] for k, v in sorted(self.layers.items())], dtype=np.int64).reshape(-1, 3),
        )


def _main(path: str, layer: str, target: str, memory: str, seconds: str) -> int:
    """Read in this process, limited; a code other than 0 and a last line on stderr if it cannot be done."""
    with contextlib.suppress(ImportError, ValueError, OSError):  # no such limits on this system
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (int(memory), int(memory)))
        resource.setrlimit(resource.RLIMIT_CPU, (int(seconds), int(seconds) + 5))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    import gdstk

    wanted = json.loads(layer)
    try:
        valid, _ = gdstk.oas_validate(path)
        if valid is False:
            raise ValueError("its checksum does not fit its content")
        library = gdstk.read_oas(path)
        _Collector(library, None if wanted is None else (wanted[0], wanted[1])).save(target)
    except MemoryError:
        sys.stderr.write("\nneeds too much memory\n")
        return 3
    except (RuntimeError, ValueError, OSError, TypeError) as exc:
        sys.stderr.write(f"\n{exc}\n")
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(_main(*sys.argv[1:]))
