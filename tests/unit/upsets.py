"""A lot that is upset on the way, as a fab's tables would have it: made by the lot model with chance on, all invented."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

import planish
from planish.measure.sites.site_plan import site_plan
from planish.predict.lot.advance import advance
from planish.predict.lot.events import read_events
from planish.predict.lot.plan import plan_lot
from planish.predict.lot.state import first_state
from planish.predict.lot.variation import Variation, draw

X, Y = site_plan("9", 0.15, 0.003)


def main_step(time=None):
    """Return the setup of ``planish new`` with its main step alone (ending on its amount, or on a time), in SI."""
    rig = planish.load(__file__.replace("tests/unit/upsets.py", "examples/rotary.toml")).rig
    step = next(step for step in rig.steps if step.stop == "removed")
    if time is not None:
        step = replace(step, stop="time", stop_value=time)
    return replace(rig, steps=(step,))


def zone(rig, number, factor):
    """Return a setup with the pressure of one zone, from 1, times a factor."""
    push = np.ones(rig.head.zone_outer_radii.size)
    push[number - 1] = factor
    return replace(rig, steps=tuple(replace(s, zone_pressures=s.zone_pressures * push) for s in rig.steps))


class UpsetLot:
    """``wafers`` wafers, from row ``onset`` (counted from 1) on polished by ``other``, or at ``rate`` times the rate."""

    def __init__(
        self, rig, wafers=26, onset=17, *, other=None, rate=1.0, events=(), seed=3, site=0.4, reads=0.0
    ):
        random, draws = np.random.default_rng(seed), draw(Variation(), wafers, seed)
        happened = read_events(events, wafers)
        plan = plan_lot(rig, wafers, events=happened, cells=24)
        late = plan
        if other is not None:
            late = replace(plan_lot(other, wafers, events=happened, cells=24), summits=plan.summits)
        state, grid, r = first_state(plan), plan.model.grid.r, np.hypot(X, Y)
        self.before, self.after, self.time, self.friction, self.temperature = [], [], [], [], []
        for at in range(wafers):
            chance, now = draws.of(at), at + 1 >= onset
            chance = chance._replace(process=chance.process * (rate if now else 1.0))
            state, row = advance(state, late if now else plan, chance)
            incoming = plan.incoming.sum(axis=0) * chance.incoming
            incoming = incoming * (1 + chance.bow * (2 * (grid / rig.wafer.radius) ** 2 - 1))
            noise = 1e-9 * site * random.standard_normal((2, r.size))
            self.before.append(np.interp(r, grid, incoming) + noise[0])
            self.after.append(np.interp(r, grid, incoming - row.removed) + noise[1] + (reads if now else 0.0))
            self.time.append(row.time)
            self.friction.append(row.friction * (1 + 0.01 * random.standard_normal()))
            self.temperature.append(row.temperature - 273.15 + 0.3 * random.standard_normal())

    def maps(self, values):
        """Return the wafers as site maps."""
        sites = tuple(str(at + 1) for at in range(X.size))
        return [planish.SiteMap(X, Y, one, sites, "thickness", "nm", "invented") for one in values]

    @property
    def table(self):
        """Columns beside the sites."""
        return {"time": self.time, "mu": self.friction, "pad temperature": self.temperature}

    def write(self, folder):
        """Write before.csv and after.csv with a row a wafer, and lot.csv; all with invented values."""
        for name, values in (("before", self.before), ("after", self.after)):
            lines = ["wafer," + ",".join(f"thickness_{at + 1} [nm]" for at in range(X.size))]
            lines += [
                f"W{at + 1}," + ",".join(f"{1e9 * v:.2f}" for v in row) for at, row in enumerate(values)
            ]
            (folder / f"{name}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
        lines = ["wafer,time [s],mu,pad temperature [C]"]
        lines += [
            f"W{at + 1},{t:.2f},{mu:.5f},{warm:.2f}"
            for at, (t, mu, warm) in enumerate(zip(self.time, self.friction, self.temperature, strict=True))
        ]
        (folder / "lot.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
        return folder / "before.csv", folder / "after.csv", folder / "lot.csv"
