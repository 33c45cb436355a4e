"""Radial profiles, smooth maps, Zernike basis, outlier flags: against what made the data."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from typer.testing import CliRunner

from planish.cli.main import app
from planish.errors import DataError
from planish.measure.sites.outliers import flag, flag_rows, modified_z
from planish.measure.sites.profile import radial_profile, smooth_map, smooth_profile
from planish.measure.sites.read import SiteMap
from planish.measure.sites.site_plan import site_plan
from planish.measure.sites.zernike import basis, terms


def make(plan, f, noise=1e-9, seed=0):
    x, y = site_plan(plan, 0.15, 0.003)
    z = f(x, y) + noise * np.random.default_rng(seed).normal(size=len(x))
    return SiteMap(x, y, z, tuple(str(i + 1) for i in range(len(x))), "removal", "nm", "made")


def bowl(x, y):
    return 2.5e-7 * (1 + 0.05 * (x**2 + y**2) / 0.147**2)


@pytest.mark.parametrize("plan", ["9", "49", "121-line"])
def test_band_covers_the_true_profile_as_often_as_it_says(plan):
    hits = []
    for seed in range(40):
        p = radial_profile(make(plan, bowl, seed=seed))
        truth = bowl(p.r, 0.0)
        hits.append(np.mean((p.lower < truth) & (truth < p.upper)))
    assert 0.90 < np.mean(hits) <= 1.0


def test_profile_is_flat_at_the_centre_and_follows_a_fast_edge():
    r = np.linspace(0, 0.147, 200)
    z = 1.0 + 0.2 * np.exp(-(0.147 - r) / 0.01)
    p = smooth_profile(r, z)
    assert p.at(np.array([1e-4]))[0] == pytest.approx(p.at(np.array([0.0]))[0], abs=1e-6)
    assert np.abs(p.value - np.interp(p.r, r, z)).max() < 2e-3


def test_more_noise_gives_a_wider_band():
    quiet, loud = (radial_profile(make("49", bowl, n)) for n in (1e-10, 1e-8))
    assert np.mean(loud.upper - loud.lower) > 20 * np.mean(quiet.upper - quiet.lower)


@pytest.mark.parametrize("kind", ["thin-plate", "zernike"])
def test_map_finds_a_tilted_bowl_between_the_sites(kind):
    def truth(x, y):
        return bowl(x, y) + 5e-8 * x

    s = smooth_map(make("49", truth), kind)
    x, y, z = s.grid(41)
    error = z - truth(x[None, :], y[:, None])
    inside = np.hypot(x[None, :], y[:, None]) < 0.13
    assert np.nanmax(np.abs(error[inside])) < 4e-9
    assert np.isnan(z[0, 0])
    assert s.loo_rmse < 3e-9


def test_zernike_order_is_not_more_than_the_sites_carry():
    assert smooth_map(make("49", bowl), "zernike").choice == 2.0
    assert smooth_map(make("9", bowl), "zernike").loo_rmse < 4e-9


def test_zernike_polynomials_are_orthonormal_on_the_disk():
    r, a = np.polynomial.legendre.leggauss(24)
    rho, phi = (r + 1) / 2, 2 * np.pi * np.arange(32) / 32
    g = basis(np.outer(rho, np.cos(phi)).ravel(), np.outer(rho, np.sin(phi)).ravel(), 1.0, 6)
    w = np.repeat(a / 2 * rho * 2, 32) / 32
    assert g.shape[1] == terms(6) == 28
    assert g.T @ (g * w[:, None]) == pytest.approx(np.eye(28), abs=1e-12)


@pytest.mark.parametrize("plan", ["9", "49", "121-line"])
def test_one_bad_site_is_flagged_and_only_it(plan):
    m = make(plan, bowl, 3e-10)
    m = replace(m, value=np.where(np.arange(len(m)) == 3, m.value + 2e-8, m.value))
    flags = flag(m)
    assert [f.site for f in flags] == ["4"]
    assert "off the smooth surface" in flags[0].reason


def test_a_bad_site_among_very_many():
    rng = np.random.default_rng(0)
    x, y = rng.uniform(-0.1, 0.1, (2, 20_000))
    z = bowl(x, y) + 3e-10 * rng.normal(size=len(x))
    z[77] += 2e-8
    m = SiteMap(x, y, z, tuple(str(i) for i in range(len(x))), "removal", "nm", "made")
    flags = flag(m)
    assert max(flags, key=lambda f: abs(f.score)).site == "77"
    assert len(flags) < 40  # 20,000 normal values hold about nine beyond 3.5


def test_a_fast_edge_is_no_outlier():
    m = make("121-line", lambda x, y: bowl(x, y) + 2e-8 * np.exp(-(0.147 - np.hypot(x, y)) / 0.004), 3e-10)
    assert not flag(m)


def test_a_stuck_gauge_is_flagged():
    m = make("49", bowl)
    at = np.arange(len(m))
    m = replace(m, value=np.where((at >= 10) & (at < 14), m.value[10], m.value))
    assert {"11", "12", "13", "14"} <= {f.site for f in flag(m) if "very same value" in f.reason}


def test_a_clean_bowl_raises_few_flags():
    counts = [len(flag(make("49", bowl, seed=s))) for s in range(40)]
    assert np.mean(counts) < 0.5


def test_modified_z_by_hand():
    # median 3, MAD 1: NIST e-Handbook 1.3.5.17, 0.6745 (x - median)/MAD
    assert modified_z(np.array([1.0, 2.0, 3.0, 4.0, 100.0]))[-1] == pytest.approx(0.6745 * 97)
    assert not modified_z(np.full(5, 2.0)).any()


def test_rows_that_repeat_or_stand_out():
    t = np.random.default_rng(3).normal(size=(60, 9))
    t[20] = t[5]
    t[30] += 9.0
    t[40, 2] += 15.0
    said = {(f.row, f.reason) for f in flag_rows(t)}
    assert (20, "repeats row 6 to every digit") in said
    assert (30, "its mean stands out") in said
    assert any(row == 40 and "site 3" in reason for row, reason in said)


def test_odd_rows_from_the_command_line(tmp_path):
    t = 100 + np.random.default_rng(4).normal(size=(40, 5)).round(6)
    t[20] = t[5]
    file = tmp_path / "batches.csv"
    text = "a,b,c,d,e\n" + "\n".join(",".join(map(str, row)) for row in t) + "\n"
    file.write_text(text)
    done = CliRunner().invoke(app, ["measure", str(file), "--rows", "--json"], catch_exceptions=False)
    told = json.loads(done.stdout)
    assert (told["rows"], told["columns"]) == (40, 5)
    assert [f["reason"] for f in told["flags"] if f["row"] == 21] == ["repeats row 6 to every digit"]
    shown = CliRunner().invoke(app, ["measure", str(file), "--rows"], catch_exceptions=False).stdout
    assert "of 40 rows flagged" in shown
    file.write_text(text.replace(str(t[3, 1]), "many", 1))
    with pytest.raises(DataError, match=r"line 5: b = 'many': must be a number"):
        CliRunner().invoke(app, ["measure", str(file), "--rows"], catch_exceptions=False)
    file.write_text("a,b\n1,2\n3,4\n")
    with pytest.raises(DataError, match="three rows"):
        CliRunner().invoke(app, ["measure", str(file), "--rows"], catch_exceptions=False)


@pytest.mark.shared_data
def test_flags_in_real_batches(shared_data):
    """The open film-thickness set has real outliers and repeated rows (its publisher says so)."""
    t = np.loadtxt(shared_data("wafers/nine-site-thickness.csv"), delimiter=",", skiprows=1)
    flags = flag_rows(t)
    assert t.shape == (184, 9)
    assert any("repeats row" in f.reason for f in flags)
    assert any("stands out" in f.reason for f in flags)
    assert len({f.row for f in flags}) < 60


def test_too_few_radii_or_sites_are_refused():
    x = np.array([0.1, -0.1, 0.0, 0.0, 0.0])
    y = np.array([0.0, 0.0, 0.1, -0.1, 0.0])
    m = SiteMap(x, y, np.ones(5), tuple("abcde"), "removal", "nm", "made")
    with pytest.raises(DataError, match="radii"):
        radial_profile(m)
    with pytest.raises(DataError, match="six or more"):
        smooth_map(m)
    with pytest.raises(DataError, match="one line"):
        smooth_map(make("121-line", bowl))
