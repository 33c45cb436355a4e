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
    register(
        "dwell table",
        drawer="planish.explain.figures.lot:sweep_figure",
        shown="planish.explain.figures.from_saved:dwell_table",
    )
    register("layout maps", drawer="planish.explain.figures.die:layout_figure")
    register(
        "dummy fill",
        drawer="planish.explain.figures.die:fill_figure",
        shown="planish.explain.figures.from_saved:dummy_fill",
    )
    register("cost of a wafer", drawer="planish.explain.figures.cost:cost_figure")
    register("saving", drawer="planish.explain.figures.cost:saving_figure")
    register("cost sensitivity", drawer="planish.explain.figures.cost:tornado_figure")
    register("flow of wafers", drawer="planish.explain.figures.flow:flow_figure")
    register("cleaning", drawer="planish.explain.figures.cleaning:cleaning_figure")
    register(
        "measured wafer",
        drawer="planish.explain.figures.sites:measured_figure",
        shown="planish.explain.figures.from_saved:measured_wafer",
    )
    register("nested variance", drawer="planish.explain.figures.shares:spread_figure")
    register(
        "removal fit",
        drawer="planish.explain.figures.sites:fit_figure",
        shown="planish.explain.figures.from_saved:removal_fit",
    )
    register(
        "measured against predicted",
        drawer="planish.explain.figures.sites:against_figure",
        shown="planish.explain.figures.from_saved:against",
    )
    register(
        "planarization fit",
        drawer="planish.explain.figures.die:planarization_figure",
        shown="planish.explain.figures.from_saved:planarization_fit",
    )
    register(
        "rate law",
        drawer="planish.explain.figures.traces:trace_figure",
        shown="planish.explain.figures.from_saved:rate_law",
    )
    register(
        "rates fit",
        drawer="planish.explain.figures.traces:rates_figure",
        shown="planish.explain.figures.from_saved:rates_fit",
    )
    register("disk fit", drawer="planish.explain.figures.disks:disks_figure")
    register("check of the rates fit", drawer="planish.explain.figures.rates:checks_figure")
    register("learned rates", drawer="planish.explain.figures.rates:learned_figure")
    register("consumables", drawer="planish.explain.figures.rates:age_figure")
    register("guessed rates", drawer="planish.explain.figures.rates:guessed_figure")
    register("check of guesses", drawer="planish.explain.figures.rates:check_figure")
    register("study", drawer="planish.explain.figures.study:study_figure", again="planish.jobs.again:study")
    register(
        "trade-off",
        drawer="planish.explain.figures.tradeoff:tradeoff_figure",
        again="planish.jobs.again:tradeoff",
    )
    register("measured sets", drawer="planish.explain.figures.held:held_figure")
    register("run sheet", drawer="planish.explain.figures.design:sheet_figure")
    register("response surface", drawer="planish.explain.figures.design:surface_figure")
    register("comparison", drawer="planish.explain.figures.shares:shares_figure")
    register("side by side", drawer="planish.explain.figures.side_by_side:side_by_side_figure")
    register("calibration", drawer="planish.explain.figures.calibration:calibration_figure")
    register("trace", drawer="planish.explain.figures.endpoint:trace_figure")
    register("followed trace", drawer="planish.explain.figures.endpoint:followed_figure")
    register("watched trace", drawer="planish.explain.figures.endpoint:watched_figure")
    register("tuned settings", drawer="planish.explain.figures.tuned:tuned_figure")
    register("tuned platens", drawer="planish.explain.figures.platens:platens_figure")
    register("control chart", drawer="planish.explain.figures.hold:chart_figure")
    register("run length", drawer="planish.explain.figures.hold:run_length_figure")
    register("capability", drawer="planish.explain.figures.hold:capability_figure")
    register("gauge study", drawer="planish.explain.figures.hold:gauge_figure")
    register("control trial", drawer="planish.explain.figures.control:trial_figure")
    register("qualification", drawer="planish.explain.figures.qualify:qualification_figure")
    register("equivalence", drawer="planish.explain.figures.qualify:equivalence_figure")
    register("equivalence size", drawer="planish.explain.figures.qualify:equivalence_size_figure")
    register("history", drawer="planish.explain.figures.history:history_figure")
    register("ranked causes", drawer="planish.explain.figures.causes:causes_figure")
