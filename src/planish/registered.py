"""Who draws each kind of answer, and who computes it again: told to ``results`` when planish is imported.

A new kind of answer, or a picture for one, is a line here. Names are "module:function", loaded when asked for.
"""

from __future__ import annotations

from planish.results.kinds import register, register_view


def register_all() -> None:
    """Tell ``results`` of every kind that has a picture or can be computed again, and of the rich view."""
    register_view("planish.explain.words:rich_view")
    register(
        "one wafer",
        drawer="planish.explain.figures.wafer:wafer_figure",
        shown="planish.explain.figures.from_saved:wafer",
        again="planish.jobs.again:wafer",
    )
    register(
        "lot",
        drawer="planish.explain.figures.lot:lot_figure",
        shown="planish.explain.figures.from_saved:lot",
        again="planish.jobs.again:lot",
    )
    register(
        "die",
        drawer="planish.explain.figures.die:die_figure",
        shown="planish.explain.figures.from_saved:die",
        again="planish.jobs.again:die",
    )
    register(
        "fields",
        drawer="planish.explain.figures.fields:fields_figure",
        shown="planish.explain.figures.from_saved:fields",
        again="planish.jobs.again:fields",
    )
    register("dwell table", drawer="planish.explain.figures.lot:sweep_figure")
    register("layout maps", drawer="planish.explain.figures.die:layout_figure")
    register("measured wafer", drawer="planish.explain.figures.sites:measured_figure")
