"""Layout maps on disk: one .npz file, or a zarr folder. Both carry a checksum of what they hold.

Neither format notices all damage: a chunk that is missing from a zarr folder reads as zeros. So the numbers
and what is said of them are checked as a whole, and sizes are checked before room is made for them.
"""

from __future__ import annotations

import hashlib
import json
import math
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from planish.engine.files import whole_file, whole_folder
from planish.errors import DataError
from planish.measure.layout.limits import OWN

Array = NDArray[np.float64]

_FIELDS = ("density", "perimeter", "line_width", "space")
_CHUNK = 1024  # cells along a side of a stored piece
_MOST_TEXT = 1 << 20  # bytes of what is said of the maps
_AGAIN = "read the layout again, or take another copy"


class _Unfit(Exception):
    """What is stored is not maps, or not those that were saved."""


def save_fields(fields: dict[str, Any], target: Path) -> None:
    """Write the ``fields`` of maps by name, whole or not at all: a .npz file, or a zarr folder for any other name.

    Parameters
    ----------
    fields
        The maps' fields by name.
    target
        Where to.

    Raises
    ------
    OSError
        If the place cannot be written.
    """
    # Plain zeros: a store that leaves out empty pieces gives them back without a sign.
    arrays = {name: fields[name] + 0.0 for name in _FIELDS}
    meta = _meta(fields)
    meta["sha256"] = _checksum(arrays, meta)
    if target.suffix == ".npz":
        with whole_file(target) as out:
            np.savez_compressed(out, meta=np.array(json.dumps(meta)), **arrays)  # type: ignore[arg-type]
        return
    import zarr

    with whole_folder(target) as folder:
        group = zarr.create_group(store=str(folder), overwrite=True)
        group.attrs.update(meta)
        for name, values in arrays.items():
            group.create_array(name, data=values, chunks=tuple(min(n, _CHUNK) for n in values.shape))


def open_fields(target: Path) -> dict[str, Any]:
    """Return the fields of maps that :func:`save_fields` wrote.

    Parameters
    ----------
    target
        Where from.

    Returns
    -------
    LayoutMaps
        As they were saved.

    Raises
    ------
    DataError
        If they are damaged, or no maps.
    """
    try:
        arrays, meta = _from_npz(target) if target.is_file() else _from_zarr(target)
        told = meta.pop("sha256", None)
        if told is None:
            raise _Unfit("without the checksum that planish writes")
        if told != _checksum(arrays, meta):
            raise _Unfit("the content does not fit its checksum")
        fields = dict(
            cell=float(meta["cell"]),
            origin=(float(meta["origin"][0]), float(meta["origin"][1])),
            **arrays,
            coverage_area_um2=float(meta["coverage_area_um2"]),
            bounding_box_um=tuple(float(v) for v in meta["bounding_box_um"]),
            polygons=int(meta["polygons"]),
            layer=(int(meta["layer"][0]), int(meta["layer"][1])),
            source=str(meta["source"]),
            digest=str(meta["digest"]),
            notes=tuple(str(n) for n in meta["notes"]),
        )
        _check_values(fields)
    except _Unfit as exc:
        raise DataError(f"{target}: damaged, or no layout maps: {exc} ({_AGAIN})") from None
    except Exception as exc:  # a damaged store can raise anything, from several libraries
        reason = f"{type(exc).__name__}: {exc}"[:200]
        raise DataError(f"{target}: damaged, or no layout maps: {reason} ({_AGAIN})") from exc
    return fields


def _check_values(fields: dict[str, Any]) -> None:
    """Refuse what no layout gives."""
    if not (
        math.isfinite(fields["cell"])
        and fields["cell"] > 0
        and all(math.isfinite(v) for v in fields["origin"])
    ):
        raise _Unfit("a cell size or corner that is none")
    if not bool(((fields["density"] >= 0.0) & (fields["density"] <= 1.0)).all()):
        raise _Unfit("a density outside 0 to 1")


def _check_shapes(shapes: list[tuple[int, ...]]) -> None:
    """Refuse shapes that differ, are no maps, or are too large to make room for."""
    first = shapes[0]
    if len(first) != 2 or min(first) < 1 or any(shape != first for shape in shapes):
        raise _Unfit(f"maps of the shapes {', '.join(str(shape) for shape in shapes)}")
    if first[0] * first[1] > OWN.cells:
        raise _Unfit(f"{first[1]} x {first[0]} cells, more than {OWN.cells}")


def _meta(fields: dict[str, Any]) -> dict[str, Any]:
    return {
        "cell": float(fields["cell"]),
        "origin": [float(v) for v in fields["origin"]],
        "coverage_area_um2": float(fields["coverage_area_um2"]),
        "bounding_box_um": [float(v) for v in fields["bounding_box_um"]],
        "polygons": int(fields["polygons"]),
        "layer": [int(v) for v in fields["layer"]],
        "source": fields["source"],
        "digest": fields["digest"],
        "notes": list(fields["notes"]),
        "kind": "planish layout maps",
        "units": {"cell": "m", "density": "1", "perimeter": "1/m", "line_width": "m", "space": "m"},
    }


def _checksum(arrays: dict[str, Array], meta: dict[str, Any]) -> str:
    found = hashlib.sha256(json.dumps(meta, sort_keys=True).encode())
    for name in _FIELDS:
        values = np.ascontiguousarray(arrays[name], dtype="<f8")
        found.update(f"{name} {values.shape}".encode())
        found.update(values.reshape(-1).data)
    return found.hexdigest()


def _from_npz(target: Path) -> tuple[dict[str, Array], dict[str, Any]]:
    with zipfile.ZipFile(target) as members:
        sizes = {info.filename: info.file_size for info in members.infolist()}
        shapes = []
        for name in _FIELDS:
            with members.open(f"{name}.npy") as raw:
                shapes.append(_shape(raw))
    _check_shapes(shapes)
    # What is unpacked is at most what the list of members says, and no more than the shapes need.
    room = math.prod(shapes[0]) * 8 + 4096
    if sizes.get("meta.npy", 0) > 4 * _MOST_TEXT or any(sizes[f"{name}.npy"] > room for name in _FIELDS):
        raise _Unfit("members larger than the maps")
    with np.load(target, allow_pickle=False) as data:
        meta = json.loads(str(data["meta"]))
        if not isinstance(meta, dict):
            raise _Unfit("nothing said of the maps")
        return {name: np.asarray(data[name], dtype=np.float64) for name in _FIELDS}, meta


def _shape(raw: Any) -> tuple[int, ...]:
    """Shape of a stored array, from its head."""
    version = np.lib.format.read_magic(raw)
    if version == (1, 0):
        shape, _, kind = np.lib.format.read_array_header_1_0(raw)
    elif version == (2, 0):
        shape, _, kind = np.lib.format.read_array_header_2_0(raw)
    else:
        raise _Unfit("an unknown version of the array format")
    if kind != np.dtype("<f8"):
        raise _Unfit("numbers of another kind")
    return tuple(int(n) for n in shape)


def _from_zarr(target: Path) -> tuple[dict[str, Array], dict[str, Any]]:
    import zarr

    about = target / "zarr.json"
    if about.stat().st_size > 4 * _MOST_TEXT:
        raise _Unfit("more said than maps need")
    group = zarr.open_group(str(target), mode="r")
    stored = [group[name] for name in _FIELDS]
    _check_shapes([tuple(int(n) for n in each.shape) for each in stored])
    for each in stored:
        if each.dtype != np.dtype("<f8") or math.prod(each.chunks) > _CHUNK**2:
            raise _Unfit("numbers of another kind, or pieces of another size")
    return {
        name: np.asarray(each[:], dtype=np.float64) for name, each in zip(_FIELDS, stored, strict=True)
    }, dict(group.attrs)
