"""Slurry delivery against a published abstract that was read.

Philipossian & Mitchell 2003, "Slurry utilization efficiency studies in chemical mechanical
planarization", Mater. Res. Soc. Symp. Proc.: 2 to 22 % of the slurry enters between wafer and pad,
depending on pressure, speed, flow and grooves.
"""

from __future__ import annotations

import itertools

from planish.physics.slurry import delivery as slurry


def test_use_of_slurry_is_of_the_reported_order():
    uses = []
    for ml_per_min, speed, depth in itertools.product((100, 200, 300), (0.6, 1.2, 1.8), (0.2e-3, 0.5e-3)):
        flow = ml_per_min * 1e-6 / 60
        share = 0.25 / 1.5  # grooves 0.25 mm wide, 1.5 mm apart
        carried = slurry.carried_flow(speed, 0.15, 30e-6, depth, share)
        uses.append(float(slurry.captured_flow(flow, slurry.exchange_flow(carried))) / flow)
    # The one number assumed (what the bow wave lets pass) was chosen with this range in view; that all
    # eighteen conditions fit inside it is what is tested.
    assert min(uses) > 0.02
    assert max(uses) < 0.22
