"""Preston's law on a worked figure, and the published form for fused silica.

Preston 1927, J. Soc. Glass Technol. 11, 214 (read as quoted in Ozeki & Mori 2018): rate = k_p p v. 250 nm/min at
3 psi and 1 m/s is k_p = 2.01441e-13 /Pa (arithmetic). Laboratory report "Removal rates of fused
silica with cerium oxide/pitch polishing" (abstract read): coefficient above 16e-14 cm^2/dyn, which
is 1.6e-12 /Pa since 1 cm^2/dyn = 1e-4 m^2 / 1e-5 N = 10 /Pa.
"Modified Preston equation - revisited", MRS Proceedings (abstract read): R = K P V + B V + R_c.
"""

from __future__ import annotations

import numpy as np
import pytest

from planish.physics.removal import laws as removal


def test_preston_coefficient_of_250_nm_per_min_at_3_psi_and_1_m_per_s():
    rate = float(removal.removal_rate("preston", {"k_p": 2.01441e-13}, 3 * 6894.757293168, 1.0))
    assert rate * 60e9 == pytest.approx(250.0, rel=3e-6)


def test_fused_silica_coefficient_in_its_own_units():
    # 1 kPa at 0.1 m/s for an hour with 16e-14 cm^2/dyn, worked in centimetres, grams and seconds.
    depth_cm = 16e-14 * (1e3 * 10) * (0.1 * 100) * 3600
    rate = float(removal.removal_rate("preston", {"k_p": 1.6e-12}, 1e3, 0.1))
    assert rate * 3600 == pytest.approx(depth_cm / 100, rel=1e-12)


def test_offset_law_is_linear_in_speed_with_the_published_intercept():
    c = {"k_p": 3e-13, "b": 2e-9, "c": 4e-10}
    v = np.array([0.0, 0.5, 1.0])
    rate = removal.removal_rate("offset", c, 1e4, v)
    assert rate[0] == c["c"]
    np.testing.assert_allclose(np.diff(rate), 0.5 * (3e-13 * 1e4 + 2e-9), rtol=1e-12)
