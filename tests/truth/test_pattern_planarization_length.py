"""Planarization length and reach of the pad: limits of their own formulas, and trends read in abstracts.

Sources: Ki-Hong Chang et al., MRS Proceedings (abstract): the planarization length follows the bulk modulus
of the pad, dishing the modulus of its surface layer and its roughness. Depth of focus: k2 lambda/NA^2.
"""

import numpy as np
import pytest

from planish.errors import ModelError
from planish.physics.pattern.depth_of_focus import depth_of_focus
from planish.physics.pattern.feature_selectivity import feature_selectivity
from planish.physics.pattern.kernels import transform
from planish.physics.pattern.planarization_length import averaging_response, planarization_length
from planish.physics.pressure.layers import ElasticLayer, rigid_base, surface_compliance

RIGIDITY = 5.4717311  # 300 mm silicon wafer, 775 um


def stack(*layers):
    pads = [ElasticLayer(*layer) for layer in layers]
    return lambda q: surface_compliance(q, pads, rigid_base())


def length(compliance, **change):
    given = {"relief": 800e-9, "pressure": 20e3, "selectivity_length": 2e-7, "wafer_rigidity": RIGIDITY}
    return planarization_length(compliance, **(given | change))


SUB = (3.5e6, 0.2, 1.3e-3)


def test_depth_of_focus():
    assert depth_of_focus(193e-9, 0.93, 0.5) == pytest.approx(111.6e-9, abs=0.05e-9)


def test_stiffer_bulk_gives_a_longer_length_in_the_range_of_the_trade():
    found = [length(stack((e, 0.3, 2e-3), SUB)).length for e in (30e6, 75e6, 150e6, 300e6)]
    assert np.all(np.diff(found) > 0)
    assert 1e-3 < found[0] < found[-1] < 1e-2


def test_soft_surface_layer_hardly_moves_the_planarization_length_but_the_reach_into_wide_lines():
    bulk = ((300e6, 0.3, 2e-3), SUB)
    soft, stiff = stack((10e6, 0.4, 50e-6), *bulk), stack((100e6, 0.4, 50e-6), *bulk)
    tenfold_bulk = length(stack((30e6, 0.3, 2e-3), SUB)).length / length(stack(*bulk)).length
    assert tenfold_bulk < 0.4
    assert length(soft).length == pytest.approx(length(stiff).length, rel=0.1)
    common = {"summit_length": 2e-7, "spot_radius": 1.1e-5, "pressure": 20e3}
    width = np.array([1e-5, 1e-4])
    assert np.all(
        feature_selectivity(width, compliance=soft, **common)
        > feature_selectivity(width, compliance=stiff, **common)
    )


def test_response_is_one_for_long_waves_and_the_local_share_for_short_ones():
    q = np.array([1e-2, 1e9])
    got = averaging_response(
        q, 2 / (3e8 * q), relief=8e-7, pressure=2e4, selectivity_length=2e-7, wafer_rigidity=RIGIDITY
    )
    assert got[0] == pytest.approx(1, abs=1e-6)
    assert got[1] == pytest.approx((1 - np.exp(-4)) / 4, rel=1e-3)


def test_the_length_of_a_response_that_is_a_kernel_is_that_kernels():
    """Invert G for the compliance that makes it an exact Gaussian: the fit must give its length back."""
    relief, pressure, want = 8e-7, 2e4, 4e-3
    x = np.logspace(-14, 3, 4000)
    g = -np.expm1(-x) / x

    def compliance(q):
        shape = np.clip(transform("gaussian", want, q), 2e-3, 1 - 1e-12)
        answer = np.exp(np.interp(-shape, -g, np.log(x)))
        return np.maximum(relief / answer / pressure - 1 / (1e30 * q**4), 0)

    got = planarization_length(
        compliance,
        relief=relief,
        pressure=pressure,
        selectivity_length=0.0,
        wafer_rigidity=1e30,
        kernel="gaussian",
    )
    assert got.length == pytest.approx(want, rel=2e-2)
    assert got.misfit < 0.02


def test_reach_grows_with_width_and_saturates_and_smoother_or_stiffer_summits_reach_less():
    compliance = stack((300e6, 0.3, 2e-3), SUB)
    width = np.array([0.2e-6, 1e-6, 5e-6, 20e-6, 50e-6, 100e-6, 400e-6, 800e-6])
    common = {"pressure": 20e3, "compliance": compliance}
    got = feature_selectivity(width, summit_length=2e-7, spot_radius=1.1e-5, **common)
    growth = np.diff(np.log(got)) / np.diff(np.log(width))
    assert np.all(growth > 0)
    assert np.all(np.diff(growth[:5]) < 0)
    assert got[5] / got[3] > 1.5  # still growing over tens of micrometres
    assert got[-1] / got[-2] < 1.15  # what is left is the bulk
    smoother = feature_selectivity(width, summit_length=1e-7, spot_radius=1.1e-5, **common)
    assert np.all(smoother < got)
    blunter = feature_selectivity(width, summit_length=2e-7, spot_radius=2.2e-5, **common)
    assert np.all(blunter < got)
    assert feature_selectivity(np.nan, summit_length=2e-7, spot_radius=1.1e-5, **common) > got[-1]


def test_impossible_values_are_refused():
    with pytest.raises(ModelError, match="must be"):
        length(stack((3e8, 0.3, 2e-3)), relief=0.0)
    with pytest.raises(ModelError, match="none is found"):
        length(lambda q: np.full(q.shape, 1e3))
