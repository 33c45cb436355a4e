"""What every prediction gives back: numbers with units, a summary, sources, files and a picture."""

from __future__ import annotations

import html
import importlib
import json
import os
from collections.abc import Iterable, Mapping
from copy import deepcopy
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from planish.engine.files import write_whole
from planish.engine.fixed import read_only
from planish.engine.record import Record
from planish.errors import DataError

if TYPE_CHECKING:
    import xarray as xr
    from matplotlib.figure import Figure

FILE_KIND = "planish result"
LOT_FILE = "lot.nc"  # in the folder that a lot is saved to
_MARK = "planish-sha256:"
_DIGITS = 64
_AGAIN = "take the copy you have, or compute and save it again"


class Result(Record):
    """Base of results: frozen, their arrays read-only. Subclasses give ``summary``, ``sources`` and ``dataset``.

    ``drawer`` names the function that draws the result ("module:function").
    It is looked up by name when asked for, so that predictions do not depend
    on the drawing code.
    """

    kind: ClassVar[str]
    drawer: ClassVar[str]

    def summary(self) -> dict[str, Any]:
        """Return the figures of the result; each key ends in its unit."""
        raise TypeError(f"{type(self).__name__} has no summary")

    def sources(self) -> list[str]:
        """Return the sources that the result rests on, one line each."""
        raise TypeError(f"{type(self).__name__} has no sources")

    def dataset(self) -> xr.Dataset:
        """Return all fields as a labelled dataset with the units in ``attrs``."""
        raise TypeError(f"{type(self).__name__} has no dataset")

    @property
    def data(self) -> xr.Dataset:
        """The labelled dataset (built when first asked for; building it loads xarray).

        Each call gives one of its own on the same read-only arrays, so that nothing added to it,
        or taken out, is in the result.
        """
        cached: xr.Dataset | None = self.__dict__.get("_built")
        if cached is None:
            cached = self.dataset()
            for name, variable in cached.variables.items():
                if name not in cached.dims:  # xarray keeps those as they are
                    variable.values = read_only(variable.values)
            self.__dict__["_built"] = cached
        return cached.copy(deep=False)

    def plot(self, **options: Any) -> Figure:
        """Draw the result; a notebook shows the figure that is returned.

        Parameters
        ----------
        **options:
            As of the function that draws this kind of result.

        Returns
        -------
        matplotlib.figure.Figure
            ``savefig`` writes it to a file.
        """
        return draw(self.drawer, self, options)

    def save(self, path: str | os.PathLike[str]) -> Path:
        """Write the result to ``path`` (one file, NetCDF) whole or not at all; returns the path."""
        target = Path(path)
        data = self.data.copy()
        data.attrs.update(
            file=FILE_KIND,
            kind=self.kind,
            summary=json.dumps(clean(self.summary())),
            sources=json.dumps(self.sources()),
        )
        # The first attribute of all, so that its place in the file is the first that looks like it.
        data.attrs = {"checksum": f"{_MARK}{'0' * _DIGITS}", **data.attrs}
        content = bytearray(data.to_netcdf(engine="scipy"))
        at = content.index(_MARK.encode()) + len(_MARK)
        content[at : at + _DIGITS] = _checksum(content).encode()
        write_whole(target, bytes(content))
        return target

    def _repr_html_(self) -> str:
        rows = "".join(
            f"<tr><th style='text-align:left'>{html.escape(label(key))}</th><td>{html.escape(_text(value))}</td></tr>"
            for key, value in self.summary().items()
            if not isinstance(value, list | dict)
        )
        return f"<table><caption>{html.escape(self.kind)}</caption>{rows}</table>"


def draw(drawer: str, shown: object, options: Mapping[str, Any]) -> Figure:
    """Call a drawing function that is named as "module:function"."""
    module, function = drawer.split(":")
    drawn: Figure = getattr(importlib.import_module(module), function)(shown, **options)
    return drawn


class SavedResult(Result):
    """A result read back from a file: the same dataset, summary, sources and picture."""

    def __init__(self, kind: str, data: xr.Dataset, summary: dict[str, Any], sources: list[str]) -> None:
        self.kind = kind  # type: ignore[misc]
        self._data, self._summary, self._sources = data, summary, sources

    def _told(self) -> str:
        sizes = ", ".join(f"{size} {name}" for name, size in self._data.sizes.items())
        return f"{self.kind} {self._data.attrs.get('title', '')!r} as saved, {sizes}"

    def summary(self) -> dict[str, Any]:
        """Return the figures as they were saved."""
        return deepcopy(self._summary)

    def sources(self) -> list[str]:
        """Return the sources as they were saved."""
        return list(self._sources)

    def plot(self, **options: Any) -> Figure:
        """Draw the result as it would have been drawn when it was saved.

        Raises
        ------
        DataError
            Where the file does not hold what the picture needs.
        """
        from planish.predict.saved import drawable

        drawer, shown = drawable(self.kind, self.data, self._summary)
        return draw(drawer, shown, options)

    def dataset(self) -> xr.Dataset:
        """Return the fields as they were saved."""
        return self._data


def open_result(path: str | os.PathLike[str]) -> SavedResult:
    """Read a result written by :meth:`Result.save`.

    Parameters
    ----------
    path:
        The file; of a lot, the folder that was written, or ``lot.nc`` in it.

    Returns
    -------
    SavedResult
        The fields, figures and sources as they were saved.

    Every byte of the file is checked against the checksum it carries before anything reads it.

    Raises
    ------
    DataError
        If the file is missing, was not written by planish, or is damaged.
    """
    import io

    import xarray as xr

    if not isinstance(path, str | os.PathLike):
        raise DataError(f"result file: a {type(path).__name__} was given: must be a path")
    place = Path(path)
    if place.is_dir():
        place = place / LOT_FILE
    try:
        content = place.read_bytes()
    except FileNotFoundError:
        raise DataError(f"{place}: no such file (give a file written by save)") from None
    except OSError as exc:
        raise DataError(f"{place}: cannot be read ({exc.strerror or exc})") from None
    _check(place, content)
    try:
        with xr.open_dataset(io.BytesIO(content), engine="scipy") as opened:
            data = opened.load()
        attrs = dict(data.attrs)
        summary, sources = json.loads(attrs["summary"]), json.loads(attrs["sources"])
        if attrs["file"] != FILE_KIND or not isinstance(summary, dict) or not isinstance(sources, list):
            raise ValueError("not one of ours")
        kind = str(attrs["kind"])
    except Exception as exc:  # a file with a checksum of its own making can raise anything
        raise DataError(
            f"{place}: not a result file ({type(exc).__name__}); give a file written by save"
        ) from exc
    del data.attrs["checksum"]
    return SavedResult(kind, data, summary, sources)


def _check(place: Path, content: bytes) -> None:
    """Refuse bytes that are not those that were saved."""
    if content[:3] != b"CDF":
        raise DataError(f"{place}: not a result file (no NetCDF); give a file written by save")
    at = content.find(_MARK.encode()) + len(_MARK)
    if at < len(_MARK):
        raise DataError(
            f"{place}: a NetCDF file without the checksum that planish writes: not by planish, or damaged ({_AGAIN})"
        )
    told = content[at : at + _DIGITS]
    blank = bytearray(content)
    blank[at : at + _DIGITS] = b"0" * _DIGITS
    if told != _checksum(blank).encode():
        raise DataError(f"{place}: damaged: its content does not fit its checksum ({_AGAIN})")


def _checksum(content: bytearray) -> str:
    import hashlib

    return hashlib.sha256(content).hexdigest()


def clean(value: Any) -> Any:
    """Return ``value`` fit for strict JSON: NumPy scalars and arrays unwrapped, NaN and infinity as None."""
    if isinstance(value, Mapping):
        return {str(key): clean(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [clean(item) for item in value]
    if hasattr(value, "tolist"):
        return clean(value.tolist())
    if isinstance(value, float) and (value != value or value in (float("inf"), float("-inf"))):
        return None
    return value


_WORDS = {
    "wiwnu_sigma_percent": "WIWNU, 1σ [%]",
    "wiwnu_range_percent": "WIWNU, half range [%]",
    "wtwnu_percent": "WTWNU, 1σ of the rate [%]",
    "wtwnu_range_percent": "WTWNU, half range of the rate [%]",
    "removed_wtwnu_percent": "WTWNU, 1σ of the removed amount [%]",
    "first_wiwnu_sigma_percent": "WIWNU of the first wafer, 1σ [%]",
    "last_wiwnu_sigma_percent": "WIWNU of the last wafer, 1σ [%]",
    "worst_wiwnu_sigma_percent": "WIWNU of the worst wafer, 1σ [%]",
    "edge_rate_percent": "rate at the exclusion against the middle [%]",
    "edge_extreme_percent": "edge: largest departure from the level 15 mm in [%]",
    "edge_extreme_from_edge_mm": "edge: where that sits, from the rim [mm]",
    "friction_coefficient": "coefficient of friction",
    "force_balance_error": "force balance, relative error",
    "fresh_fraction_percent": "fresh slurry under the wafer [%]",
    "real_contact_percent": "real contact area [%]",
    "wiwnu_sigma_percent_without_flagged": "WIWNU without flagged sites, 1σ [%]",
    "wiwnu_range_percent_without_flagged": "WIWNU without flagged sites, half range [%]",
    "sigma_nm": "standard deviation over the sites [nm]",
    "sites_unmatched": "sites without a partner",
    "k_p_per_Pa": "k_p [1/Pa]",
    "k_p_error_per_Pa": "standard error of k_p [1/Pa]",
    "k_p_all_sites_per_Pa": "k_p with the flagged sites [1/Pa]",
    "scale": "measured over predicted rate",
    "scale_error": "its standard error",
    "rmse_nm": "misfit, RMS [nm]",
    "shape_r_squared": "fit of the shape, R² (1: all explained, below 0: worse than one mean)",
}
_UNIT_WORDS = {
    "nm_per_min": "nm/min",
    "um_per_h": "µm/h",
    "m_per_s": "m/s",
    "percent": "%",
    "C": "°C",
    "nm": "nm",
    "um": "µm",
    "mm": "mm",
    "m": "m",
    "s": "s",
    "kPa": "kPa",
    "psi": "psi",
    "MPa": "MPa",
    "min": "min",
}


def label(key: str) -> str:
    """Return a summary key as words with its unit in brackets: ``time_s`` becomes ``time [s]``."""
    if key in _WORDS:
        return _WORDS[key]
    for suffix, unit in sorted(_UNIT_WORDS.items(), key=lambda item: -len(item[0])):
        if key.endswith("_" + suffix):
            return f"{key[: -len(suffix) - 1].replace('_', ' ')} [{unit}]"
    return key.replace("_", " ")


def _text(value: Any) -> str:
    if isinstance(value, float):
        return f"{value:.4g}"
    return "none" if value is None else str(value)


def unique(lines: Iterable[str]) -> list[str]:
    """Return ``lines`` without repeats, in order."""
    return list(dict.fromkeys(lines))
