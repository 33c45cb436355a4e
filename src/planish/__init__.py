"""Chemical-mechanical planarization: predict, measure, fit and explain, from one setup file.

>>> import planish
>>> setup = planish.load("setup.toml")          # doctest: +SKIP
>>> planish.polish(setup).summary()             # doctest: +SKIP

Everything public is named here and loaded when first used, so importing planish costs nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from planish._version import __version__ as __version__
from planish.registered import register_all

register_all()

_HOMES = {
    # describe
    "setup.load": "load loads",
    "setup.new": "new_setup",
    "setup.check": "check",
    "setup.finding": "Finding",
    "setup.parts": "list_parts PartRow",
    "setup.schema": "json_schema",
    "setup.models": "Setup",
    # physics
    "physics.removal.law": "Coefficient Law Term",
    "physics.optics.reflectance": "reflectance",
    "setup.optical_index": "optical_index",
    # predict
    "predict.wafer.polish": "polish",
    "predict.wafer.result": "WaferResult",
    "predict.wafer.bands": "polish_band Band",
    "predict.lot.run": "polish_lot",
    "predict.lot.bands": "lot_band",
    "predict.lot.result": "LotResult",
    "predict.die.polish": "polish_die",
    "predict.die.bands": "die_band",
    "predict.die.result": "DieResult",
    "predict.die.fields": "polish_fields",
    "predict.die.fields_result": "FieldsResult",
    "predict.cleaning": "clean_wafer Cleaned",
    "cost.per_wafer": "cost_of",
    "cost.result": "WaferCost",
    "cost.saving": "cost_saving CostSaving",
    "cost.sensitivity": "cost_sensitivity CostSensitivity",
    "cost.passing": "flow_wafers WaferFlow",
    "results.result": "Result",
    "results.saved": "open_result SavedResult",
    # measure
    "measure.sites.read": "read_sites SiteMap",
    "measure.sites.wafer": "measure_wafer MeasuredWafer",
    "measure.nested": "nested_variance read_nested NestedVariance",
    "measure.layout.read": "read_layout_maps",
    "measure.layout.maps": "LayoutMaps",
    # fit
    "fit.against": "fit_wafer",
    "fit.calibrate.held": "hold_against HeldSets",
    "fit.calibrate.observe": "observe",
    "fit.calibrate.observed": "Observed",
    "fit.law": "fit_law LawFit",
    "fit.disk": "fit_disks DiskFit DiskSeries",
    "fit.removal": "RemovalFit",
    "fit.calibrate.fitting": "calibrate",
    "fit.calibrate.result": "Calibrated",
    # tune
    "tuning.tune": "tune",
    "tuning.tuned": "Tuned",
    "tuning.platens.result": "TunedPlatens",
    "tuning.study.run": "study",
    "tuning.study.result": "StudyResult",
    "tuning.tradeoffs.choosing": "choose",
    "tuning.tradeoffs.result": "TradeOff",
    "tuning.design.plan": "design_runs",
    "tuning.design.sheet": "RunSheet",
    "tuning.design.response": "fit_runs ResponseSurface",
    # hold
    "hold.endpoint.view": "FilmView",
    "hold.endpoint.follower": "FilmFollower FilmState",
    "hold.endpoint.follow": "follow_trace FollowedTrace",
    "hold.endpoint.watcher": "ChangeWatcher WatchState",
    "hold.endpoint.watch": "watch_trace WatchedTrace",
    "hold.endpoint.trace": "read_trace Trace",
    "hold.endpoint.invent": "invent_trace",
    "hold.endpoint.overpolish": "over_polish OverPolish",
    "hold.charts.chart": "hold_chart",
    "hold.charts.result": "ControlChart",
    "hold.run_length.asked": "hold_run_length hold_limit RunLength",
    "hold.capability": "hold_capability Capability",
    "hold.gauge": "hold_gauge GaugeStudy",
    "hold.control.trial": "try_control",
    "hold.control.result": "ControlTrial",
    "hold.control.beginning": "begin_control",
    "hold.control.kept": "ControlledStep",
    "hold.control.advice": "ControlAdvice ControlNews",
    "hold.control.belief": "Spreads",
    "hold.control.stopping": "stop_control",
    "hold.qualify.qualified": "hold_qualify read_qualification Qualification",
    "hold.qualify.equivalence": "hold_equivalence hold_equivalence_size Equivalence EquivalenceSize",
    "hold.history.history": "open_history History",
    "hold.history.view": "HistoryView",
    "hold.causes.rank": "rank_causes",
    "hold.causes.result": "RankedCauses",
    # explain
    "explain.comparison.attribution": "compare Comparison",
    "explain.comparison.side_by_side": "compare_all SideBySide",
    "explain.report": "write_report",
    # errors
    "errors": "PlanishError",
}
_WHERE = {name: f"planish.{home}" for home, names in _HOMES.items() for name in names.split()}

__all__ = ["__version__", *_WHERE]

if TYPE_CHECKING:  # the same names for a type checker
    from planish.cost.passing import WaferFlow as WaferFlow
    from planish.cost.passing import flow_wafers as flow_wafers
    from planish.cost.per_wafer import cost_of as cost_of
    from planish.cost.result import WaferCost as WaferCost
    from planish.cost.saving import CostSaving as CostSaving
    from planish.cost.saving import cost_saving as cost_saving
    from planish.cost.sensitivity import CostSensitivity as CostSensitivity
    from planish.cost.sensitivity import cost_sensitivity as cost_sensitivity
    from planish.errors import PlanishError as PlanishError
    from planish.explain.comparison.attribution import Comparison as Comparison
    from planish.explain.comparison.attribution import compare as compare
    from planish.explain.comparison.side_by_side import SideBySide as SideBySide
    from planish.explain.comparison.side_by_side import compare_all as compare_all
    from planish.explain.report import write_report as write_report
    from planish.fit.against import fit_wafer as fit_wafer
    from planish.fit.calibrate.fitting import calibrate as calibrate
    from planish.fit.calibrate.held import HeldSets as HeldSets
    from planish.fit.calibrate.held import hold_against as hold_against
    from planish.fit.calibrate.observe import observe as observe
    from planish.fit.calibrate.observed import Observed as Observed
    from planish.fit.calibrate.result import Calibrated as Calibrated
    from planish.fit.disk import DiskFit as DiskFit
    from planish.fit.disk import DiskSeries as DiskSeries
    from planish.fit.disk import fit_disks as fit_disks
    from planish.fit.law import LawFit as LawFit
    from planish.fit.law import fit_law as fit_law
    from planish.fit.removal import RemovalFit as RemovalFit
    from planish.hold.capability import Capability as Capability
    from planish.hold.capability import hold_capability as hold_capability
    from planish.hold.causes.rank import rank_causes as rank_causes
    from planish.hold.causes.result import RankedCauses as RankedCauses
    from planish.hold.charts.chart import hold_chart as hold_chart
    from planish.hold.charts.result import ControlChart as ControlChart
    from planish.hold.control.advice import ControlAdvice as ControlAdvice
    from planish.hold.control.advice import ControlNews as ControlNews
    from planish.hold.control.beginning import begin_control as begin_control
    from planish.hold.control.belief import Spreads as Spreads
    from planish.hold.control.kept import ControlledStep as ControlledStep
    from planish.hold.control.result import ControlTrial as ControlTrial
    from planish.hold.control.stopping import stop_control as stop_control
    from planish.hold.control.trial import try_control as try_control
    from planish.hold.endpoint.follow import FollowedTrace as FollowedTrace
    from planish.hold.endpoint.follow import follow_trace as follow_trace
    from planish.hold.endpoint.follower import FilmFollower as FilmFollower
    from planish.hold.endpoint.follower import FilmState as FilmState
    from planish.hold.endpoint.invent import invent_trace as invent_trace
    from planish.hold.endpoint.overpolish import OverPolish as OverPolish
    from planish.hold.endpoint.overpolish import over_polish as over_polish
    from planish.hold.endpoint.trace import Trace as Trace
    from planish.hold.endpoint.trace import read_trace as read_trace
    from planish.hold.endpoint.view import FilmView as FilmView
    from planish.hold.endpoint.watch import WatchedTrace as WatchedTrace
    from planish.hold.endpoint.watch import watch_trace as watch_trace
    from planish.hold.endpoint.watcher import ChangeWatcher as ChangeWatcher
    from planish.hold.endpoint.watcher import WatchState as WatchState
    from planish.hold.gauge import GaugeStudy as GaugeStudy
    from planish.hold.gauge import hold_gauge as hold_gauge
    from planish.hold.history.history import History as History
    from planish.hold.history.history import open_history as open_history
    from planish.hold.history.view import HistoryView as HistoryView
    from planish.hold.qualify.equivalence import Equivalence as Equivalence
    from planish.hold.qualify.equivalence import EquivalenceSize as EquivalenceSize
    from planish.hold.qualify.equivalence import hold_equivalence as hold_equivalence
    from planish.hold.qualify.equivalence import hold_equivalence_size as hold_equivalence_size
    from planish.hold.qualify.qualified import Qualification as Qualification
    from planish.hold.qualify.qualified import hold_qualify as hold_qualify
    from planish.hold.qualify.qualified import read_qualification as read_qualification
    from planish.hold.run_length.asked import RunLength as RunLength
    from planish.hold.run_length.asked import hold_limit as hold_limit
    from planish.hold.run_length.asked import hold_run_length as hold_run_length
    from planish.measure.layout.maps import LayoutMaps as LayoutMaps
    from planish.measure.layout.read import read_layout_maps as read_layout_maps
    from planish.measure.nested import NestedVariance as NestedVariance
    from planish.measure.nested import nested_variance as nested_variance
    from planish.measure.nested import read_nested as read_nested
    from planish.measure.sites.read import SiteMap as SiteMap
    from planish.measure.sites.read import read_sites as read_sites
    from planish.measure.sites.wafer import MeasuredWafer as MeasuredWafer
    from planish.measure.sites.wafer import measure_wafer as measure_wafer
    from planish.physics.optics.reflectance import reflectance as reflectance
    from planish.physics.removal.law import Coefficient as Coefficient
    from planish.physics.removal.law import Law as Law
    from planish.physics.removal.law import Term as Term
    from planish.predict.cleaning import Cleaned as Cleaned
    from planish.predict.cleaning import clean_wafer as clean_wafer
    from planish.predict.die.bands import die_band as die_band
    from planish.predict.die.fields import polish_fields as polish_fields
    from planish.predict.die.fields_result import FieldsResult as FieldsResult
    from planish.predict.die.polish import polish_die as polish_die
    from planish.predict.die.result import DieResult as DieResult
    from planish.predict.lot.bands import lot_band as lot_band
    from planish.predict.lot.result import LotResult as LotResult
    from planish.predict.lot.run import polish_lot as polish_lot
    from planish.predict.wafer.bands import Band as Band
    from planish.predict.wafer.bands import polish_band as polish_band
    from planish.predict.wafer.polish import polish as polish
    from planish.predict.wafer.result import WaferResult as WaferResult
    from planish.results.result import Result as Result
    from planish.results.saved import SavedResult as SavedResult
    from planish.results.saved import open_result as open_result
    from planish.setup.check import check as check
    from planish.setup.finding import Finding as Finding
    from planish.setup.load import load as load
    from planish.setup.load import loads as loads
    from planish.setup.models import Setup as Setup
    from planish.setup.new import new_setup as new_setup
    from planish.setup.optical_index import optical_index as optical_index
    from planish.setup.parts import PartRow as PartRow
    from planish.setup.parts import list_parts as list_parts
    from planish.setup.schema import json_schema as json_schema
    from planish.tuning.design.plan import design_runs as design_runs
    from planish.tuning.design.response import ResponseSurface as ResponseSurface
    from planish.tuning.design.response import fit_runs as fit_runs
    from planish.tuning.design.sheet import RunSheet as RunSheet
    from planish.tuning.platens.result import TunedPlatens as TunedPlatens
    from planish.tuning.study.result import StudyResult as StudyResult
    from planish.tuning.study.run import study as study
    from planish.tuning.tradeoffs.choosing import choose as choose
    from planish.tuning.tradeoffs.result import TradeOff as TradeOff
    from planish.tuning.tune import tune as tune
    from planish.tuning.tuned import Tuned as Tuned
else:  # hidden from a type checker, which would take every other name for one of planish too

    def __getattr__(name: str) -> Any:
        """Load a public name from its home when first used."""
        if name not in _WHERE:
            raise AttributeError(f"module 'planish' has no attribute {name!r}")
        import importlib

        value = getattr(importlib.import_module(_WHERE[name]), name)
        globals()[name] = value
        return value


def __dir__() -> list[str]:
    return sorted(__all__)
