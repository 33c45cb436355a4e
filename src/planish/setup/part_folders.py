"""Where parts beside planish's own are looked for: installed packages, the user's folders, those of a setup.

A package names a folder (or one file) of parts by an entry point::

    [project.entry-points."planish.parts"]
    ours = "our_package.parts"        # a folder in the package, or a path: "our_package:PARTS"

``$PLANISH_PARTS`` names folders for every setup, separated as in ``$PATH``; ``parts_folders`` in a setup
names more for that setup alone.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from functools import lru_cache
from importlib.metadata import EntryPoint
from pathlib import Path
from types import ModuleType
from typing import Any, NamedTuple

from planish.engine.registry import installed, package_of
from planish.errors import PluginError, SetupError, refuse

GROUP = "planish.parts"
VARIABLE = "PLANISH_PARTS"
MOST = 20  # folders that a setup may name
LARGEST = 2_000_000  # bytes; a part file is text written by people

# kind of part: name of the files that hold such parts
FILES: dict[str, str] = {
    "wafer": "wafers",
    "polisher": "polishers",
    "head": "heads",
    "pad": "pads",
    "conditioner": "conditioners",
    "slurry": "slurries",
    "film": "films",
}


class PartFile(NamedTuple):
    """One file of parts: where it is, who brings it, and its time and size, by which a change is seen."""

    path: Path
    origin: str
    stamp: tuple[int, int]


def part_folders(document: Mapping[str, Any], folder: Path | None) -> tuple[Path, ...]:
    """Return the folders that a setup names under ``parts_folders``.

    Parameters
    ----------
    document
        The setup's tables as written.
    folder
        The setup's own, to which they are relative; None where it has none.

    Returns
    -------
    tuple[Path, ...]
        In the order named.

    Raises
    ------
    SetupError
        For what is no list of folders that are there; for any at all where the setup has no folder of its
        own, as one sent to the bench: whoever runs the bench says which folders it reads.
    """
    if "parts_folders" not in document:
        return ()
    named = document["parts_folders"]
    if folder is None:
        raise SetupError(
            refuse(
                "parts_folders",
                named,
                "left out here",
                f"whoever runs planish here can name folders in {VARIABLE}",
            )
        )
    if not isinstance(named, list) or len(named) > MOST or not all(isinstance(each, str) for each in named):
        raise SetupError(refuse("parts_folders", named, f"a list of at most {MOST} folders, each as text"))
    return tuple(_folder(folder / each, f"parts_folders.{index}", each) for index, each in enumerate(named))


def part_files(kind: str, folders: tuple[Path, ...]) -> list[PartFile]:
    """Return the files with parts of a kind: of installed packages, of ``$PLANISH_PARTS``, of ``folders``.

    Parameters
    ----------
    kind
        Such as "pad".
    folders
        That a setup names.

    Returns
    -------
    list[PartFile]
        Each file once, in that order.

    Raises
    ------
    SetupError
        For a folder that is not there, or a file in it whose name does not say what parts it holds.
    PluginError
        For an installed package whose entry point gives no folder or file of parts.
    """
    places = [(place, f"package {package}") for place, package in _packages()]
    named = dict.fromkeys(filter(None, os.environ.get(VARIABLE, "").split(os.pathsep)))
    places += [(_folder(Path(text), VARIABLE, text), "") for text in named]
    places += [(place, "") for place in folders]
    found: dict[Path, PartFile] = {}
    for place, package in places:
        for path in _listed(place):
            if _kind(path) == kind:
                told = path.stat()
                found.setdefault(
                    path.resolve(), PartFile(path, package or str(path), (told.st_mtime_ns, told.st_size))
                )
    return list(found.values())


def _folder(path: Path, place: str, given: str) -> Path:
    try:
        there = path.is_dir()
    except (OSError, ValueError):
        there = False
    if not there:
        raise SetupError(refuse(place, given, "a folder that is there", f"looked for at {path}"))
    return path.resolve()


def _listed(place: Path) -> list[Path]:
    try:
        return sorted(place.glob("*.toml")) if place.is_dir() else [place]
    except OSError as problem:
        raise SetupError(f"{place}: cannot be read: {problem.strerror}") from problem


def _kind(path: Path) -> str:
    """Return what kind of parts a file holds, by its name: ``pads.toml`` or ``pads-of-ours.toml``."""
    for kind, stem in FILES.items():
        if path.stem == stem or path.stem.startswith(f"{stem}-"):
            return kind
    names = ", ".join(f"{stem}.toml" for stem in FILES.values())
    raise SetupError(
        refuse(f"{path}: name of a part file", path.name, f"one of {names}", "or as pads-of-ours.toml")
    )


@lru_cache(maxsize=1)
def _packages() -> tuple[tuple[Path, str], ...]:
    """Return the folders and files that installed packages name, with the package; looked for once."""
    return tuple((_loaded(point), package_of(point)) for point in installed(GROUP))


def _loaded(point: EntryPoint) -> Path:
    place = f"entry point {point.name!r} of {package_of(point)}"
    try:
        given = point.load()
        path = Path(next(iter(given.__path__)) if isinstance(given, ModuleType) else given)
    except Exception as problem:
        raise PluginError(
            refuse(
                place,
                point.value,
                "the path of a folder or file of parts",
                f"mend or uninstall that package ({type(problem).__name__}: {problem})",
            )
        ) from problem
    if not path.exists():
        raise PluginError(
            refuse(place, str(path), "a folder or file that is there", "is it in the package's wheel?")
        )
    return path
