"""A setup: the document as written, and what it says once parts and defaults are filled in."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from copy import deepcopy
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic import BaseModel

from planish.engine.fixed import fixed
from planish.engine.record import counted, shortened
from planish.errors import SetupError
from planish.setup import paths
from planish.setup.changes import Changes, differences
from planish.setup.edit import edited
from planish.setup.finding import Finding, nearest
from planish.setup.packaged import packaged
from planish.setup.resolve import MisfitError, Origin, Resolved, resolve
from planish.setup.root import SetupModel
from planish.setup.validate import validate
from planish.setup.written import written

if TYPE_CHECKING:
    from planish.setup.si import Rig


class Setup:
    """One validated setup; never changed, only replaced.

    Attributes
    ----------
    document
        The tables as written, part names and text quantities kept (a copy: to change it changes nothing).
    tree
        The same with parts and defaults filled in (a copy).
    model
        The validated record with every value in SI (`planish.setup.root.SetupModel`).
    origins
        Where each value came from, by dotted path (`planish.setup.resolve.Origin`).
    notes
        Defaults used and things worth knowing, in plain words.
    warnings
        What will work but probably is not meant, unlikely values among it.
    unlikely
        The findings about values outside the range that is typical of their key.
    name, folder
        The file's name for messages, and the folder that file paths in the
        setup are relative to (None where such files are refused).
    """

    _document: dict[str, Any]
    _tree: dict[str, Any]
    _text: str | None
    name: str
    folder: Path | None
    model: SetupModel
    origins: Mapping[str, Origin]
    parts: Mapping[str, str]
    notes: tuple[str, ...]
    warnings: tuple[str, ...]
    unlikely: tuple[Finding, ...]

    def __init__(
        self,
        document: Mapping[str, object],
        name: str = "setup",
        folder: Path | None = None,
        text: str | None = None,
    ) -> None:
        """Validate `document`; raises SetupError with the first of what is wrong.

        ``text`` is the TOML that it came from: `to_toml` keeps its comments.
        """
        if not isinstance(document, Mapping):
            raise SetupError(
                f"setup: a {type(document).__name__} was given: must be a document of tables "
                "(planish.load reads one from a file, planish.loads from text)"
            )
        own = deepcopy(dict(document))
        found, resolved, model = examine(own, folder)
        errors = [f for f in found if f.level == "error"]
        if errors:
            more = f" (and {len(errors) - 1} more: check the setup to see all)" if len(errors) > 1 else ""
            raise SetupError(f"{name}: {errors[0].message}{more}")
        assert model is not None  # no model only with errors
        odd = [f for f in found if f.level in ("warning", "unlikely")]
        self.__dict__.update(
            _document=own,
            _tree=resolved.tree,
            name=name,
            folder=folder,
            _text=text,
            model=model,
            origins=fixed({path: _apart(origin) for path, origin in resolved.origins.items()}),
            parts=fixed(resolved.parts),
            notes=tuple(f.message for f in found if f.level == "note"),
            warnings=tuple(f.message for f in odd),
            unlikely=tuple(f for f in odd if f.level == "unlikely"),
        )

    if not TYPE_CHECKING:  # a type checker would take any name for an attribute that can be set

        def __setattr__(self, name: str, value: object) -> None:
            raise AttributeError(f"setup.{name}: a setup is not changed: replace gives a new one")

        def __delattr__(self, name: str) -> None:
            raise AttributeError(f"setup.{name}: a setup is not changed: replace gives a new one")

    def __repr__(self) -> str:
        steps = counted(len(self.model.recipe.step), "step")
        return (
            f"<Setup: {shortened(self.title, 60)!r}, {self.motion}, {steps}, from {shortened(self.name, 60)}>"
        )

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Setup) and self.digest() == other.digest()

    def __hash__(self) -> int:
        return hash(self.digest())

    @property
    def document(self) -> dict[str, Any]:
        """The tables as written, part names and text quantities kept (a copy)."""
        return deepcopy(self._document)

    @property
    def tree(self) -> dict[str, Any]:
        """The tables with parts and defaults filled in (a copy)."""
        return deepcopy(self._tree)

    @property
    def title(self) -> str:
        """The title in reports."""
        return self.model.title

    @property
    def motion(self) -> str:
        """How the pad moves: the name of its motion."""
        return self.model.polisher.motion

    @cached_property
    def rig(self) -> Rig:
        """The setup in SI, as the physics is fed."""
        from planish.setup.to_si import to_si

        return to_si(self)

    @property
    def sources(self) -> tuple[str, ...]:
        """The sources of all part values and defaults in use, each once."""
        lines: dict[str, None] = {}
        for path, origin in self.origins.items():
            if origin.origin != "setup":
                section = path.split(".", 1)[0]
                where = origin.origin if origin.origin != "default" else f"{section} default"
                lines[f"{where}: {origin.source}"] = None
        return tuple(lines)

    def get(self, path: str) -> Any:
        """Return the value at a dotted path as text or number: ``get("head.ring.gap")`` -> ``"0.5 mm"``.

        Steps, films and zones by name or place counted from 1: ``"recipe.step.main.flow"``
        (`planish.setup.paths`).
        """
        here: Any = self._tree
        keys = paths.resolve(path, self._tree)
        for depth, key in enumerate(keys):
            here = _enter(here, keys[:depth], key, path, self._tree)
        return deepcopy(here)

    def si(self, path: str) -> Any:
        """Return the value at a dotted path in SI: ``si("head.ring.gap")`` -> ``0.0005``."""
        here: Any = self.model
        keys = paths.resolve(path, self._tree)
        for depth, key in enumerate(keys):
            table = (
                {n: getattr(here, n) for n in type(here).model_fields}
                if isinstance(here, BaseModel)
                else here
            )
            here = _enter(table, keys[:depth], key, path, self._tree)
        return deepcopy(here)

    def replace(self, changes: Mapping[str, object]) -> Setup:
        """Return a new, validated setup with values replaced.

        Parameters
        ----------
        changes
            Dotted path to value as it would stand in the file
            ``{"pad.part": "soft-felt", "recipe.step.main.ring_pressure": "4 psi"}``.
            Steps, films and zones go by their name or their place counted from 1
            (`planish.setup.paths`), as the setup has them before all changes.
            A whole table may be given; None takes the key out, so that the part
            or the default speaks again. Keys already given beside ``part`` stay
            in force over the new part; see `with_part`.

        Raises
        ------
        SetupError
            For a path that leads nowhere or a setup that would not be valid.
        """
        return Setup(edited(self._document, self._tree, changes), self.name, self.folder, self._text)

    def changes_to(self, other: Setup) -> Changes:
        """Return the changes that make `other` of this setup: ``setup.replace(changes) == other``.

        Data files that `other` names are looked for in this setup's folder.
        """
        return differences(self._document, self._tree, other._document)

    def with_notes(self, *notes: str) -> Setup:
        """Return the same setup with more notes, which go into the notes of its results."""
        made = object.__new__(Setup)
        kept = {key: value for key, value in self.__dict__.items() if key != "rig"}  # the rig has them too
        made.__dict__.update(kept, notes=(*self.notes, *notes))
        return made

    def with_part(self, section: str, part: str) -> Setup:
        """Return a new setup in which `section` is the catalogue part alone, own values in it dropped.

        The films stay with the wafer.

        Parameters
        ----------
        section
            Such as "pad".
        part
            Its name in the catalogue.

        Returns
        -------
        Setup
            With all else as here.
        """
        table: dict[str, Any] = {"part": part}
        if section == "wafer" and "film" in self._document.get("wafer", {}):
            table["film"] = deepcopy(self._document["wafer"]["film"])
        return self.replace({section: table})

    def digest(self) -> str:
        """Return a short hash of everything the setup says, filled-in values and measured files included.

        Where its laws, motion or die process are those of an installed package, the package's version counts too.
        """
        content = json.dumps(self._tree, sort_keys=True, separators=(",", ":"), default=str)
        hasher = hashlib.sha256("\n".join((content, *packaged(self._tree))).encode())
        for path in attached_files(self._tree):
            if self.folder is not None:
                hasher.update((self.folder / path).read_bytes())
        return hasher.hexdigest()[:20]

    def attached(self) -> dict[str, bytes]:
        """Return the content of the data files that the setup names, by their names."""
        if self.folder is None:
            return {}
        return {name: (self.folder / name).read_bytes() for name in attached_files(self._tree)}

    def to_toml(self) -> str:
        """Return the document as TOML text; `planish.setup.load.loads` reads it back to an equal setup.

        A setup that came from a file or a text keeps its comments, order and blank lines.
        """
        return written(self._document, self._text)


def attached_files(tree: dict[str, Any]) -> list[str]:
    """Return the data files that a filled-in document names."""
    out: list[str] = []
    wafer, pad = tree.get("wafer"), tree.get("pad")
    films = wafer.get("film") if isinstance(wafer, dict) else None
    listed = films if isinstance(films, list) else []
    out += [film["sites"] for film in listed if isinstance(film, dict) and isinstance(film.get("sites"), str)]
    surface = pad.get("surface") if isinstance(pad, dict) else None
    if isinstance(surface, dict) and isinstance(surface.get("heights"), str):
        out.append(surface["heights"])
    return out


def examine(
    document: Mapping[str, object], folder: Path | None = None
) -> tuple[list[Finding], Resolved, SetupModel | None]:
    """Return all findings about a document, its filled-in form, and the model where it is valid.

    Parameters
    ----------
    document
        Tables as written.
    folder
        Where its files lie; None where it has none.

    Returns
    -------
    tuple[list[Finding], Resolved, SetupModel | None]
        The model is None where an error is among the findings.
    """
    from planish.setup.checks.together import crosscheck
    from planish.setup.checks.usual import unlikely

    try:
        resolved = resolve(dict(document), folder)
    except MisfitError as misfit:
        return [Finding("error", misfit.place, str(misfit))], Resolved(), None
    model, found = validate(resolved.tree)
    if model is not None:
        found = crosscheck(model, resolved, folder)
        found += unlikely(model, resolved.tree)
    found += [Finding("note", note.split(" ", 1)[0], note) for note in resolved.notes]
    return found, resolved, model


def _apart(origin: Origin) -> Origin:
    """Return an origin whose value is no part of the tree."""
    return replace(origin, value=deepcopy(origin.value)) if isinstance(origin.value, list | dict) else origin


def _enter(here: Any, before: tuple[paths.Key, ...], key: paths.Key, path: str, tree: dict[str, Any]) -> Any:
    """Return what a table or list holds at a key that has to be there."""
    if isinstance(here, list | tuple) and isinstance(key, int) and key < len(here):
        return here[key]
    if isinstance(here, dict) and key in here:
        return here[key]
    place = paths.show(before, tree) or "the setup"
    known = nearest(str(key), here) if isinstance(here, dict) else "it holds no table"
    raise SetupError(f"{path}: no {paths.show((key,), None)!r} in {place} ({known})")
