"""What dropped files say: site maps against the prediction, traces cut into wafers, layouts by layer."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

from planish.errors import DataError, FitError, PlanishError
from planish.results.plain import clean
from planish.web.answers import setup_of

MOST_POINTS = 2000


def warm() -> str:
    """Load what reading a table and a layout needs, so that the first file is not charged for it."""
    from tempfile import TemporaryDirectory

    from planish.measure.layout.gds_write import write_rects

    with TemporaryDirectory() as folder:
        table = Path(folder) / "sites.csv"
        table.write_text("x_mm,y_mm,thickness_nm\n0,0,1000\n1,0,1000\n0,1,1000\n")
        look(str(table), table.name, "table")
        layout = write_rects(Path(folder) / "one.gds", np.array([[0, 0, 1000, 1000]]))
        look(str(layout), layout.name, "layout")
    return "ready"


def look(path: str, name: str, kind: str) -> dict[str, Any]:
    """Return what a file is: sites, traces, rates or layout, with its main figures.

    Raises
    ------
    DataError
        With what each reader said, where none of them can read it.
    """
    if kind == "layout":
        from planish.measure.layout.read import list_layers

        with named(path, name):
            layers = list_layers(path)
        most = sorted(layers, key=lambda key: -layers[key])
        return {
            "is": "layout",
            "layers": [{"layer": f"{a}/{b}", "shapes": layers[(a, b)]} for a, b in most[:64]],
        }
    said = []
    for reader in (_sites, _traces, _rates):
        try:
            with named(path, name):
                return dict(clean(reader(path)))
        except PlanishError as error:
            said.append(f"as {reader.__name__[1:]}: {error}")
    raise DataError(f"{name}: cannot be read. " + "; ".join(said))


def _sites(path: str) -> dict[str, Any]:
    from planish.measure.sites.read import read_sites

    sites = read_sites(path)
    return {
        "is": "sites",
        "quantity": sites.quantity,
        "sites": len(sites),
        "mean": float(np.mean(sites.value)),
        "polish_time_s": sites.polish_time,
        "notes": list(sites.notes),
    }


def _traces(path: str) -> dict[str, Any]:
    from planish.measure.traces.read import read_traces

    frame = read_traces(path)
    return {"is": "traces", "samples": frame.height, "columns": frame.columns}


def _rates(path: str) -> dict[str, Any]:
    from planish.measure.traces.read import read_rates

    frame = read_rates(path)
    return {"is": "rates", "polishes": frame.height}


def measured(
    document: Mapping[str, Any],
    names: Mapping[str, str],
    before: str,
    after: str | None,
    time_s: float | None,
) -> dict[str, Any]:
    """Return measured removal at its sites beside the prediction at the same radii, and what a fit says."""
    from planish.jobs.measured import measured_against

    setup = setup_of(document)
    with named(before, names.get(before, "before")), named(after or "", names.get(after or "", "after")):
        against = measured_against(setup, before, after, time_s)
    removal, wafer = against.paired.removal, against.wafer
    pick = slice(None, None, max(1, -(-len(removal) // MOST_POINTS)))
    return dict(
        clean(
            {
                "figures": against.rows(),
                "x": removal.x[pick],
                "y": removal.y[pick],
                "r": removal.r[pick],
                "measured": removal.value[pick],
                "predicted": against.at_sites[pick],
                "profile_r": wafer.radius,
                "profile": wafer.removed,
                "time_s": against.time,
                "rms_nm": against.rms * 1e9,
                "findings": against.sentences(),
                "flags": against.figures["flags"],
                "fit": against.fit.document() if against.fit is not None else {},
            }
        )
    )


def traces(path: str, name: str, rates: str | None) -> dict[str, Any]:
    """Return traces cut into wafers: how long each was under pressure, its pressure x speed, and its rate."""
    from planish.measure.traces.read import cut_wafers, read_rates, read_traces

    with named(path, name):
        samples = read_traces(path)
        wafers = cut_wafers(samples, read_rates(rates) if rates else None, name)
    table = wafers.table
    pick = table[:: max(1, -(-table.height // MOST_POINTS))]
    answer: dict[str, Any] = {
        "polishes": table.height,
        "flags": list(wafers.flags)[:50],
        "flagged": len(wafers.flags),
        "notes": list(wafers.notes),
        "seconds": pick["seconds"].to_list(),
        "pressure_speed": pick["pressure_speed"].to_list(),
        "wafer": [str(value) for value in pick["wafer"].to_list()],
    }
    if "rate" in table.columns:
        from planish.fit.traces import fit_rate_law

        answer["rate"] = pick["rate"].to_list()
        try:
            law = fit_rate_law(wafers)
            answer["findings"] = [line for regime in law.regimes for line in regime.sentences]
        except (FitError, DataError) as error:
            answer["findings"] = [str(error)]
    return dict(clean(answer))


@contextmanager
def named(path: str, name: str) -> Iterator[None]:
    """Put the name that a person knows in place of the path on the server, in what is refused."""
    try:
        yield
    except PlanishError as error:
        raise DataError(str(error).replace(path, name) if path else str(error)) from None
