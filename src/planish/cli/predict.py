"""The verbs that predict: polish, lot, die."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from planish.cli import show


def polish(file: Path, json_out: bool, out: Path | None, units: str) -> None:
    """Polish one wafer and print its figures."""
    show.check_units(units)
    from planish.predict.wafer import polish as run
    from planish.setup.load import load

    result = run(load(file))
    _print(result, json_out, units)
    if out is not None:
        from planish.explain.machine import machine_plan
        from planish.explain.style import save_figure
        from planish.explain.wafer_figures import edge_figure, map_figure

        folder = show.make_folder(out)
        paths = save_figure(result.plot(units=units), folder, "profiles")
        paths += save_figure(edge_figure(result, units), folder, "edge")
        paths += save_figure(map_figure(result), folder, "map")
        paths += save_figure(machine_plan(result.bench), folder, "machine")
        paths.append(result.save(folder / "wafer.nc"))
        paths.append(_profile_table(result, folder / "profile.csv"))
        show.written(paths, json_out)


def _print(result: Any, json_out: bool, units: str) -> None:
    figures = result.summary()
    if json_out:
        show.print_json({**figures, "sources": result.sources()})
        return
    show.summary(figures, units)
    if figures.get("steps"):
        from planish.predict.result import label

        steps = figures["steps"]
        rows = [[label(key), *(step[key] for step in steps)] for key in steps[0] if key != "name"]
        show.table(["step by step", *(step["name"] for step in steps)], rows)


def _profile_table(result: Any, path: Path) -> Path:
    from planish.predict.result import write_whole

    head = ["radius_mm", "removed_nm", *[f"{film}_remaining_nm" for film in result.films]]
    head += [f"{step.name}_pressure_kPa" for step in result.steps]
    columns = [result.radius * 1e3, result.removed * 1e9, *(result.remaining * 1e9)]
    columns += [step.pressure / 1e3 for step in result.steps]
    lines = [
        ",".join(head),
        *(",".join(f"{value:.6g}" for value in row) for row in zip(*columns, strict=True)),
    ]
    write_whole(path, ("\n".join(lines) + "\n").encode())
    return path
