"""Truth: conditioning disk against closed forms and a seeded Monte-Carlo of single diamonds.

Closed form: share of a turn under a disk held at c, arccos((r^2+c^2-a^2)/(2rc))/pi (elementary
geometry), arccos(31/32)/pi = 0.079786 at r = c, a/c = 0.25. Trends: small disk-to-pad ratio wears
flatter; matched speeds with a small disk bring the wear close to the sweep time distribution (Zhou,
Li, Tang & Hou 2025, Precision Engineering 97, 279-289, abstract); cut 10-60 um/h: common practice.
"""

import numpy as np
import pytest

from planish.errors import ModelError
from planish.physics.motion import sweep
from planish.physics.motion.linear import Linear
from planish.physics.motion.orbital import Orbital
from planish.physics.motion.rotary import Rotary
from planish.physics.surface import conditioning as con
from planish.physics.surface import dwell

RPM = 2 * np.pi / 60
DISK = {"disk_radius": 0.05, "downforce": 31.1, "coefficient": 6e-11, "disk_speed": 95 * RPM}
ARM = {"pivot_distance": 0.48, "arm_length": 0.43}
PAD = np.linspace(0.0, 0.385, 36)
PLATEN = Rotary(centre_offset=0.19, platen_radius=0.385)
MACHINES = {
    "rotary": PLATEN,
    "linear": Linear(belt_width=0.77, belt_length=2.4),
    "orbital": Orbital(orbit_radius=0.016, pad_radius=0.385),
}


def test_held_disk_cuts_as_its_share() -> None:
    # disk locked to the platen: every diamond slides at w_p c, so the cut is K p w c times the share
    edges = np.linspace(0.149, 0.251, 1025)
    rate = con.cut_matrix(PLATEN, edges, [0.2], **{**DISK, "disk_speed": 90 * RPM}, drive=90 * RPM)[:, 0]
    p = 31.1 / (np.pi * 0.05**2)
    fine = 0.5 * (edges[1:] + edges[:-1])
    cosine = (fine**2 + 0.2**2 - 0.05**2) / (2 * fine * 0.2)
    want = 6e-11 * p * 90 * RPM * 0.2 * np.arccos(np.minimum(cosine, 1.0)) / np.pi
    np.testing.assert_allclose(rate[20:-20], want[20:-20], rtol=2e-3)
    volume = np.sum(rate * np.pi * np.diff(edges**2))
    assert volume == pytest.approx(6e-11 * 31.1 * 90 * RPM * 0.2, rel=1e-10)


@pytest.mark.parametrize(
    "motion, drive",
    [
        ("rotary", 90 * RPM),
        ("linear", 2.0),
        ("orbital", 600 * RPM),
    ],
)
def test_volume_is_coefficient_times_force_times_sliding(motion: str, drive: float) -> None:
    # sum of the cut = K F <v>, v averaged over the disk by direct quadrature of the velocity vectors
    edges, c, w = np.linspace(0, 0.385, 400), 0.2, 95 * RPM
    rate = con.cut_matrix(MACHINES[motion], edges, [c], **DISK, drive=drive, disk_rings=48)[:, 0]
    area = 2 * 2.4 * np.diff(edges) if motion == "linear" else np.pi * np.diff(edges**2)
    r, phi = np.meshgrid(
        0.05 * np.sqrt((np.arange(400) + 0.5) / 400), (np.arange(400) + 0.5) * 2 * np.pi / 400
    )
    x, y = r * np.cos(phi), r * np.sin(phi)
    if motion == "rotary":
        wp = 90 * RPM
        v = np.hypot(-(wp - w) * y, wp * (c + x) - w * x)
    elif motion == "linear":
        v = np.hypot(2.0 + w * y, -w * x)
    else:
        v = np.hypot(0.016 * 600 * RPM + w * y, -w * x)  # all directions of the orbit are alike
    assert np.sum(rate * area) == pytest.approx(6e-11 * 31.1 * v.mean(), rel=2e-4)


def test_diamonds_one_by_one_agree_within_their_sampling() -> None:
    rng = np.random.default_rng(7)
    diamonds, times = 10_000, 400
    positions, shares = sweep.dwell_shares("arm", 0.06, 0.335, **ARM, points=400)
    edges = np.linspace(0.02, 0.38, 25)
    full = np.concatenate(([0.0], edges, [0.385]))
    rate = con.cut_profile(con.cut_matrix(PLATEN, full, positions, **DISK, drive=90 * RPM), shares)[1:-1]
    wp, w, K, F = 90 * RPM, 95 * RPM, 6e-11, 31.1
    r, start = 0.05 * np.sqrt(rng.random(diamonds)), rng.random(diamonds) * 2 * np.pi
    angle_low, angle_high = sweep.swing_angle(np.array([0.06, 0.335]), **ARM)
    batches = np.zeros((20, 24))
    for b in range(20):
        mine = slice(b * 500, (b + 1) * 500)
        turn = rng.random((times, 1)) * 2 * np.pi
        psi = rng.random((times, 1)) * 2 * np.pi
        c = sweep.swing_position(
            0.5 * (angle_low + angle_high) + 0.5 * (angle_high - angle_low) * np.sin(psi), **ARM
        )
        phi = start[mine] + turn
        x, y = c + r[mine] * np.cos(phi), r[mine] * np.sin(phi)
        v = np.hypot(-wp * y + w * r[mine] * np.sin(phi), wp * x - w * r[mine] * np.cos(phi))
        volume, _ = np.histogram(np.hypot(x, y), edges, weights=K * F / 500 * v / times)
        batches[b] = volume / (np.pi * np.diff(edges**2))
    sigma = batches.std(axis=0, ddof=1) / np.sqrt(20)
    assert np.max(sigma / rate) < 0.05
    assert np.all(np.abs(batches.mean(axis=0) - rate) < 3 * sigma + 1e-3 * rate)


def test_cut_converges_with_disk_rings_and_positions() -> None:
    def profile(points: int, rings: int) -> np.ndarray:
        at, share = sweep.dwell_shares("arm", 0.06, 0.335, **ARM, points=points)
        return con.cut_matrix(PLATEN, PAD, at, **DISK, drive=60 * RPM, disk_rings=rings) @ share

    exact = profile(2560, 48)
    errors = [np.max(np.abs(profile(n, m) - exact)) / exact.max() for n, m in ((40, 3), (160, 12), (640, 24))]
    assert errors[1] < 2e-3
    assert errors[0] > 3 * errors[1] > 9 * errors[2] * 0.5


def test_usual_settings_cut_a_usual_amount() -> None:
    at, share = sweep.dwell_shares("arm", 0.06, 0.335, **ARM)
    rate = con.cut_matrix(PLATEN, PAD, at, **DISK, drive=90 * RPM) @ share
    per_hour = rate * 3600 * 1e6
    assert 10 < per_hour[8:28].mean() < 60


def test_small_disk_wears_flatter_than_a_large_one() -> None:
    spread = []
    for radius in (0.02, 0.05, 0.09):
        at, share = sweep.dwell_shares(
            "slide", 0, 1, zone_edges=np.linspace(radius, 0.385 - radius, 9), zone_dwell=np.linspace(1, 4, 8)
        )
        rate = con.cut_matrix(PLATEN, PAD, at, **{**DISK, "disk_radius": radius}, drive=90 * RPM) @ share
        spread.append(np.std(rate[10:26]) / rate[10:26].mean())
    assert spread[0] < spread[2]


def test_matched_speeds_and_small_disk_cut_as_the_time_is_spent() -> None:
    # locked speeds: sliding is w c all over the disk, so the cut goes as dwell c/(2 pi c): as the dwell
    at, share = sweep.dwell_shares(
        "slide", 0, 1, zone_edges=[0.05, 0.15, 0.25, 0.35], zone_dwell=[1, 3, 2], points=900
    )
    edges = np.linspace(0.0, 0.385, 78)
    rate = (
        con.cut_matrix(
            PLATEN,
            edges,
            at,
            **{**DISK, "disk_radius": 0.005, "disk_speed": 90 * RPM},
            drive=90 * RPM,
        )
        @ share
    )
    middle = 0.5 * (edges[1:] + edges[:-1])
    level = [rate[(middle > a) & (middle < a + 0.08)].mean() for a in (0.06, 0.16, 0.26)]
    np.testing.assert_allclose(np.array(level) / level[0], [1, 3, 2], rtol=2e-2)


def there_and_back(kind, zone_edges=(), zone_dwell=()):
    """Where the disk's centre is at 200,000 moments of one full sweep of what drives it (arm angle or slide)."""
    to = (lambda r: sweep.swing_angle(r, **ARM)) if kind == "arm" else np.asarray
    back = (lambda a: sweep.swing_position(a, **ARM)) if kind == "arm" else np.asarray
    turn = (np.arange(200_000) + 0.5) / 200_000
    if not len(zone_edges):
        low, high = to(np.array([0.06, 0.335]))
        return back(0.5 * (low + high) - 0.5 * (high - low) * np.cos(2 * np.pi * turn))
    way = np.where(turn < 0.5, 2 * turn, 2 - 2 * turn)
    passed = np.concatenate([[0.0], np.cumsum(zone_dwell) / np.sum(zone_dwell)])
    return back(np.interp(way, passed, to(np.array(zone_edges))))


def test_sweep_shares_match_the_moving_disk() -> None:
    for kind in ("arm", "slide"):
        for table in ({}, {"zone_edges": [0.06, 0.1, 0.2, 0.335], "zone_dwell": [1.0, 2.0, 0.5]}):
            path = there_and_back(kind, **table)
            at, share = sweep.dwell_shares(kind, 0.06, 0.335, **ARM, **table, points=4000)
            marks = np.linspace(0.07, 0.33, 14)
            seen = [(path <= m).mean() for m in marks]
            said = [share[at <= m].sum() for m in marks]
            np.testing.assert_allclose(seen, said, atol=2e-3)
    assert sweep.swing_position(sweep.swing_angle(0.2, **ARM), **ARM) == pytest.approx(0.2, rel=1e-12)


def test_designed_dwell_wears_flat() -> None:
    edges = np.linspace(0.05, 0.335, 13)
    at, _ = sweep.dwell_shares("arm", 0, 1, **ARM, zone_edges=edges, zone_dwell=np.ones(12), points=240)
    zones = dwell.zone_cut(con.cut_matrix(PLATEN, PAD, at, **DISK, drive=90 * RPM), 12)
    middle = 0.5 * (PAD[1:] + PAD[:-1])
    track = ((middle > 0.05) & (middle < 0.33)).astype(float)
    found = dwell.design_dwell(np.ones(35), zones, weights=track, limits=dwell.DwellLimits(least=0.01))
    assert found.zone_dwell.sum() == pytest.approx(1.0, abs=1e-12)
    assert found.zone_dwell.min() >= 0.01 - 1e-9
    assert found.flatness < 0.3 * found.flatness_before
    # no small exchange of time between two zones makes it flatter: it is the optimum
    for i in range(12):
        for j in range(12):
            moved = found.zone_dwell.copy()
            step = 0.02 * min(moved[i] - 0.01, 1.0)
            if i == j or step <= 1e-9:
                continue
            moved[i] -= step
            moved[j] += step
            cut = (zones @ moved)[track > 0]
            assert np.std(cut) / cut.mean() >= found.flatness * (1 - 1e-6)


def test_designed_dwell_recovers_a_profile_that_can_be_reached() -> None:
    edges = np.linspace(0.05, 0.335, 7)
    at, _ = sweep.dwell_shares("slide", 0, 1, zone_edges=edges, zone_dwell=np.ones(6), points=120)
    zones = dwell.zone_cut(con.cut_matrix(PLATEN, PAD, at, **DISK, drive=90 * RPM), 6)
    true = np.array([0.1, 0.3, 0.2, 0.15, 0.05, 0.2])
    found = dwell.design_dwell(
        5e9 * (zones @ true) + 1e-30, zones, weights=(zones.sum(axis=1) > 0).astype(float)
    )
    np.testing.assert_allclose(found.zone_dwell, true, atol=1e-6)
    assert found.flatness < 1e-7


@pytest.mark.parametrize(
    "call",
    [
        lambda: con.cut_matrix(PLATEN, PAD, [0.4], **DISK),
        lambda: con.cut_matrix(PLATEN, PAD, [-0.1], **DISK),
        lambda: con.cut_matrix(PLATEN, PAD[::-1], [0.1], **DISK),
        lambda: con.cut_matrix(PLATEN, PAD, [0.1], **{**DISK, "downforce": -1.0}),
        lambda: con.cut_matrix(PLATEN, PAD, [0.1], **{**DISK, "coefficient": np.nan}),
        lambda: con.cut_matrix(PLATEN, PAD, [0.1], **{**DISK, "disk_radius": 0.0}),
        lambda: con.cut_matrix(Linear(belt_width=0.77, belt_length=0.05), PAD, [0.1], **DISK, drive=2.0),
        lambda: sweep.swing_angle(0.95, 0.48, 0.43),
        lambda: sweep.swing_angle(0.2, 0.0, 0.43),
        lambda: sweep.dwell_shares("rail", 0.1, 0.2),
        lambda: sweep.dwell_shares("slide", 0.2, 0.1),
        lambda: sweep.dwell_shares("slide", 0, 1, zone_edges=[0, 1]),
        lambda: sweep.dwell_shares("slide", 0, 1, zone_edges=[0, 1, 1], zone_dwell=[1, 1]),
        lambda: sweep.dwell_shares("slide", 0, 1, zone_edges=[0, 1, 2], zone_dwell=[0, 0]),
        lambda: sweep.dwell_shares("slide", 0, 1, zone_edges=[0, 1, 2], zone_dwell=[1, -1]),
        lambda: sweep.dwell_shares("slide", 0, 1, zone_edges=[0, 1, 2], zone_dwell=[1]),
        lambda: dwell.design_dwell(np.ones(3), np.ones((4, 2))),
        lambda: dwell.design_dwell(np.ones(4), np.ones((4, 2)), weights=np.zeros(4)),
        lambda: dwell.design_dwell(np.zeros(4), np.ones((4, 2))),
        lambda: dwell.design_dwell(np.ones(4), np.ones((4, 2)), limits=dwell.DwellLimits(least=0.6)),
        lambda: dwell.design_dwell(np.ones(4), np.zeros((4, 2))),
        lambda: dwell.zone_cut(np.ones((4, 5)), 2),
    ],
)
def test_bad_values_are_refused(call) -> None:
    with pytest.raises(ModelError):
        call()
