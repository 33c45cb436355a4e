"""Sites on the edge-exclusion radius count, also where the prediction ends half a ring inside the wafer."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np

from planish.fit.removal import fit_prediction
from planish.measure.sites.read import SiteMap

K_P = 2.0e-13
RADIUS = (np.arange(150) + 0.5) * 1e-3  # mid-points of rings: the last lies at 149.5 mm


def result():
    wafer = SimpleNamespace(radius=0.15, edge_exclusion=0.003, films=(SimpleNamespace(material="oxide"),))
    law = SimpleNamespace(law="preston", coefficients={"k_p": K_P})
    return SimpleNamespace(
        radius=RADIUS,
        removed=K_P * 1.2e6 * (1 + RADIUS),
        cleared=np.full((1, len(RADIUS)), np.inf),
        steps=[SimpleNamespace(name="bulk", stopped_by="time")],
        time=60.0,
        rig=SimpleNamespace(wafer=wafer, removal={"oxide": law}),
    )


def sites(outermost):
    r = np.repeat([0.05, 0.1, 0.13, outermost], 24)
    angle = np.tile(np.arange(24) * np.pi / 12, 4)
    value = K_P * 1.2e6 * (1 + r) + 1e-10 * np.cos(7 * angle)
    names = tuple(str(i) for i in range(len(r)))
    return SiteMap(r * np.cos(angle), r * np.sin(angle), value, names, "removal", "nm", "made")


def test_sites_on_the_exclusion_radius_are_used():
    assert len(fit_prediction(result(), sites(0.147)).r) == 96
    assert len(fit_prediction(result(), sites(0.147 + 5e-7)).r) == 96, "rounded positions in a site file"


def test_sites_beyond_it_are_left_out_and_said():
    fit = fit_prediction(result(), sites(0.1475))
    assert len(fit.r) == 72
    assert any("24 sites beyond 147 mm" in s for s in fit.sentences)
