"""Slurry delivery and film against two published abstracts that were read.

Philipossian & Mitchell 2003, "Slurry utilization efficiency studies in chemical mechanical
planarization", Mater. Res. Soc. Symp. Proc.: 2 to 22 % of the slurry enters between wafer and pad,
depending on pressure, speed, flow and grooves.
Han, Sampurno, Theng, Sudargho, Zhuang & Philipossian 2017, ECS J. Solid State Sci. Technol. 6,
P161: the greater the ratio of the pad's up-features to its area, the more the wafer hydroplanes.
"""

from __future__ import annotations

import itertools

import numpy as np

from planish.physics.slurry import film as slurry


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


def test_more_land_makes_the_wafer_float():
    pitch = 2e-3
    land = np.array([0.5, 0.7, 0.9, 0.99]) * pitch
    lift = slurry.SLIDER * 1e-3 * 1.2 * land / 2e4
    solid = [slurry.mixed_film_at(one, 10e-6, 4e-6)[1] for one in lift]
    assert np.all(np.diff(solid) < 0)
