"""The words for figures and changes: a key's name, a number as written, an answer's rich view, a change as option.

The units are those of :mod:`planish.results.units`; only the words are here.
"""

from __future__ import annotations

import html
import shlex
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from planish.results.units import stem, unit_of
from planish.setup.changes import change_lines

if TYPE_CHECKING:
    from planish.results.plain import Figure
    from planish.results.result import Result

_WORDS = {
    "wiwnu_sigma_percent": "WIWNU, 1σ [%]",
    "wiwnu_sigma_percent_before": "WIWNU of what is left before, 1σ [%]",
    "wiwnu_sigma_percent_after": "WIWNU of what is left after, 1σ [%]",
    "uneven_before_percent": "pad cut uneven with the setup's own sweep, 1σ [%]",
    "uneven_after_percent": "pad cut uneven with this table, 1σ [%]",
    "uneven_run_percent": "the same as the arm drives it, with its speed and acceleration, 1σ [%]",
    "uneven_equal_times_percent": "the same with equal times in all zones, 1σ [%]",
    "uneven_unlimited_percent": "the most even table without the limits, 1σ [%]",
    "worst_wiwnu_sigma_percent_before": "WIWNU of what is left of the worst wafer before, 1σ [%]",
    "worst_wiwnu_sigma_percent_after": "WIWNU of what is left of the worst wafer after, 1σ [%]",
    "off_target_sigma_before_nm": "what is left less what is wanted before, 1σ [nm]",
    "off_target_sigma_after_nm": "what is left less what is wanted after, 1σ [nm]",
    "incoming_means_sigma_nm": "scatter of the means that come in, 1σ [nm]",
    "incoming_profiles_sigma_nm": "scatter of the profiles that come in about their mean, 1σ [nm]",
    "incoming_round_sigma_nm": "what comes in uneven round the wafers, 1σ [nm]",
    "chance_percent": "chance of meeting all limits [%]",
    "chance_low_percent": "its 95 % interval, from [%]",
    "chance_high_percent": "its 95 % interval, to [%]",
    "chance_plain_percent": "chance with the plain settings [%]",
    "chance_plain_low_percent": "its 95 % interval, from [%]",
    "chance_plain_high_percent": "its 95 % interval, to [%]",
    "chance_foreseen_percent": "chance that the search foresaw [%]",
    "chance_settings": "settings",
    "draws_met_only_so": "draws that meet all limits with these settings alone",
    "draws_met_only_plain": "draws that meet all limits with the plain settings alone",
    "fails_most": "limit that is missed most",
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
    "called_s": "called [s]",
    "reached_s": "target reached, by what was known then [s]",
    "understood_s": "film understood from [s]",
    "left_s": "time to the target [s]",
    "left_error_s": "its standard error [s]",
    "thickness_error_nm": "its standard error [nm]",
    "removal_rate_error_nm_per_min": "its standard error [nm/min]",
    "fringe_nm": "fringe spacing [nm]",
    "off_target_nm": "true thickness at the call less the target [nm]",
    "over_polish_s": "over-polish [s]",
    "clear_share_percent": "share of the wafer that is then clear [%]",
    "clear_s": "time after which that share is clear [s]",
    "first_clear_s": "first places clear after [s]",
    "change_in_sd": "smallest change to find, in standard deviations",
    "threshold_in_sd": "threshold of the sum, in standard deviations",
    "promised_delay_s": "delay promised for that change, mean [s]",
    "promised_false_alarms_percent": "false alarms promised, of traces without a change [%]",
    "arl": "ARL, samples on average before an alarm",
    "arl_error": "its numerical error, in samples",
    "arl_on_target": "ARL on target, samples on average before a false alarm",
    "cost_per_good_wafer": "cost per good wafer, those that are not scrapped",
    "wafers_per_hour_error": "its standard error, of twenty batches",
    "expected_wafers_per_hour": "wafers per hour by the closed form",
    "waiting_time_s": "platens, or wafers, wait [s]",
    "moved_percent": "each moved by [%]",
    "lsl": "LSL, lower specification limit",
    "usl": "USL, upper specification limit",
    **{
        f"{key}{end}": f"{key.capitalize()}{told}"
        for key in ("cp", "cpk", "pp", "ppk")
        for end, told in (("", ""), ("_low", ", interval from"), ("_high", ", interval to"))
    },
    "normal_chance": "chance of values so unlike normal ones, were they normal",
    "kinship": "correlation of neighbouring blocks",
    "fresh_fraction_percent": "fresh slurry under the wafer [%]",
    "real_contact_percent": "real contact area [%]",
    "flowing_percent": "load on summits that flow [%]",
    "last_flowing_percent": "load on summits that flow, last wafer [%]",
    "modulus_left_percent": "modulus that warmth leaves to summits [%]",
    "last_modulus_left_percent": "modulus that warmth leaves to summits, last wafer [%]",
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


def label(key: str, units: str = "trade") -> str:
    """Return a summary key as words with its unit in brackets: ``time_s`` becomes ``time [s]``.

    Parameters
    ----------
    key
        Of a summary.
    units
        "trade", or "si" for the unit of ``results.units.si_value``.

    Returns
    -------
    str
        For a heading or an axis.
    """
    unit = unit_of(key)
    told = _WORDS.get(key, stem(key).replace("_", " ") + ("" if unit is None else f" [{unit.shown}]"))
    if units != "si" or unit is None or not unit.si_ending:
        return told
    return told.removesuffix(f" [{unit.shown}]") + f" [{unit.si}]"


def text(value: Figure) -> str:
    """Return a figure as it is shown: four significant digits, "none" for what is not defined."""
    if isinstance(value, float):
        return f"{value:.4g}"
    return "none" if value is None else str(value)


def set_options(changes: Mapping[str, Any]) -> list[str]:
    """Return changes as options for a shell: ``--set 'recipe.step.main.time=90 s'``."""
    return [f"--set {shlex.quote(line)}" for line in change_lines(changes)]


def rich_view(answer: Result) -> str:
    """Return an answer as a notebook shows it: its figures as a table, what it notes below."""
    rows = "".join(
        f"<tr><th style='text-align:left'>{html.escape(label(key))}</th><td>{html.escape(text(value))}</td></tr>"
        for key, value in answer.summary().items()
    )
    notes = "".join(f"<li>{html.escape(note)}</li>" for note in answer.notes)
    more = f"<ul>{notes}</ul>" if notes else ""
    return f"<table><caption>{html.escape(answer.kind)}</caption>{rows}</table>{more}"
