"""Reading site maps, pairing them, and their statistics."""

from __future__ import annotations

import json

import numpy as np
import pytest

from planish.errors import DataError
from planish.measure.sites.outliers import flag
from planish.measure.sites.pairing import pair
from planish.measure.sites.read import SiteMap, read_sites, write_sites
from planish.measure.sites.site_plan import site_plan
from planish.measure.sites.statistics import wafer_statistics
from planish.measure.sites.wafer import measure_wafer, summarise
from planish.results.plain import clean


def write(path, text):
    path.write_text(text, encoding="utf-8")
    return path


def make(x, y, value, quantity="thickness", **kwargs):
    names = tuple(str(i + 1) for i in range(len(x)))
    return SiteMap(np.asarray(x), np.asarray(y), np.asarray(value), names, quantity, "nm", "made", **kwargs)


@pytest.mark.parametrize(
    "header, row",
    [
        ("site,x_mm,y_mm,thickness_nm", "1,30,40,1000"),
        ("site,x [mm],y [mm],thickness [nm]", "1,30,40,1000"),
        ("site;x (cm);y (cm);thickness (um)", "1;3;4;1"),
        ("SITE\tX_um\tY_um\tThickness_A", "1\t30000\t40000\t10000"),
        ("site,r_mm,theta_rad,thickness_kA", "1,50,0.9272952180016122,10"),
        ("site,radius_mm,angle_deg,thk_nm", "1,50,53.13010235415598,1000"),
        ("# units: x=mm, y=mm, thickness=nm\nsite,x,y,thickness", "1,30,40,1000"),
        ("\ufeffsite,x_in,y_in,film thickness [nm]", "1,1.1811023622047245,1.5748031496062993,1000"),
    ],
)
def test_every_way_to_declare_units_reads_the_same(tmp_path, header, row):
    m = read_sites(write(tmp_path / "a.csv", f"{header}\n{row}\n"))
    assert (m.x[0], m.y[0], m.value[0]) == pytest.approx((0.03, 0.04, 1e-6), rel=1e-12)
    assert m.site == ("1",)
    assert m.r[0] == pytest.approx(0.05, rel=1e-12)


def test_units_given_in_the_call_go_first(tmp_path):
    file = write(tmp_path / "a.csv", "x,y,thickness\n30,40,1000\n")
    m = read_sites(file, units={"x": "mm", "y": "mm", "thickness": "A"})
    assert m.value[0] == pytest.approx(1e-7)
    assert not m.named_sites


def test_rates_and_notes_are_read(tmp_path):
    text = "# wafer: 200 mm\n# polish_time: 1.5 min\nx_mm,y_mm,rate_nm_per_min\n0,0,240\n"
    m = read_sites(write(tmp_path / "a.csv", text))
    assert m.quantity == "rate"
    assert m.value[0] == pytest.approx(4e-9)
    assert m.polish_time == pytest.approx(90)
    assert m.wafer_radius == pytest.approx(0.1)


def test_parquet_and_one_wafer_of_several(tmp_path):
    import polars as pl

    file = tmp_path / "a.parquet"
    pl.DataFrame(
        {
            "wafer": ["a", "a", "b"],
            "x_mm": [0.0, 1.0, 0.0],
            "y_mm": [0.0, 0.0, 0.0],
            "thickness_nm": [5.0, 6.0, 7.0],
        }
    ).write_parquet(file)
    assert read_sites(file, wafer="a").value == pytest.approx([5e-9, 6e-9])
    with pytest.raises(DataError, match="holds 2 wafers"):
        read_sites(file)


def test_written_maps_read_back(tmp_path):
    x, y = site_plan("49", 0.15, 0.003)
    m = make(x, y, 1e-6 + 1e-8 * x, wafer_radius=0.15, polish_time=60.0)
    write_sites(m, tmp_path / "a.csv", comments=("made for a test",))
    back = read_sites(tmp_path / "a.csv")
    assert back.x == pytest.approx(m.x, abs=1e-6)
    assert back.value == pytest.approx(m.value, abs=1e-12)
    assert back.polish_time == 60.0


@pytest.mark.parametrize("kind, count", [("9", 9), ("49", 49), ("121-line", 121)])
def test_site_plans(kind, count):
    x, y = site_plan(kind, 0.15, 0.003)
    assert len(x) == count
    assert np.hypot(x, y).max() == pytest.approx(0.147)
    assert np.hypot(x, y).min() == pytest.approx(0.0, abs=1e-15)


def test_both_non_uniformities_by_hand():
    # values 9, 10, 11, 10: mean 10, s = sqrt(2/3)
    s = wafer_statistics([9.0, 10.0, 11.0, 10.0])
    assert s.wiwnu_sigma_percent == pytest.approx(100 * np.sqrt(2 / 3) / 10)
    assert s.wiwnu_range_percent == pytest.approx(10.0)


def test_pairing_by_name_and_by_place_agree():
    x, y = site_plan("49", 0.15, 0.003)
    rng = np.random.default_rng(1)
    before, lost = 1e-6 + 1e-8 * rng.normal(size=49), 2.5e-7 + 1e-8 * x / 0.15
    mix = rng.permutation(49)
    a = make(x, y, before)
    after = (before - lost)[mix]
    names = tuple(str(i + 1) for i in mix)
    b = SiteMap(x[mix], y[mix], after, names, "thickness", "nm", "made")
    by_name = pair(a, b)
    c = SiteMap(x[mix], y[mix], after, tuple("abc"), "thickness", "nm", "made", named_sites=False)
    by_place = pair(a, c)
    assert by_name.by == "site name"
    assert by_place.by == "position"
    assert by_name.removal.value == pytest.approx(lost, rel=1e-9)
    assert by_place.removal.value == pytest.approx(lost, rel=1e-9)


def test_sites_without_a_partner_are_named():
    x, y = site_plan("9", 0.15, 0.003)
    a, b = make(x, y, np.full(9, 2e-6)), make(x[:7], y[:7], np.full(7, 1e-6))
    paired = pair(a, b)
    assert paired.only_before == ("8", "9")
    out = summarise(paired)
    assert out["sites_unmatched"] == 2
    assert any("only in the file before the polish" in n for n in out["notes"])


def test_measure_wafer_has_the_keys_of_a_prediction(tmp_path):
    x, y = site_plan("9", 0.15, 0.003)
    write_sites(make(x, y, np.full(9, 1e-6)), tmp_path / "pre.csv")
    write_sites(make(x, y, np.full(9, 7.5e-7) + 1e-9 * np.arange(9)), tmp_path / "post.csv")
    out = measure_wafer(tmp_path / "pre.csv", tmp_path / "post.csv")
    assert out["mean_removal_rate_nm_per_min"] is None
    assert any("--time" in n for n in out["notes"])
    out = measure_wafer(tmp_path / "pre.csv", tmp_path / "post.csv", 30.0)
    assert out["mean_removed_nm"] == pytest.approx(246.0)
    assert out["mean_removal_rate_nm_per_min"] == pytest.approx(492.0)
    assert out["wiwnu_range_percent"] == pytest.approx(100 * 8 / (2 * 246))
    for key in ("mean_speed_m_per_s", "peak_temperature_C", "time_s", "sources", "wiwnu_sigma_percent"):
        assert key in out
    assert isinstance(out["sources"], list)


def test_a_measured_wafer_is_a_mapping_of_its_figures_with_the_sites(tmp_path):
    x, y = site_plan("49", 0.15, 0.003)
    write_sites(make(x, y, np.full(49, 1000e-9), polish_time=60.0), tmp_path / "pre.csv")
    write_sites(make(x, y, np.full(49, 700e-9)), tmp_path / "post.csv")
    out = measure_wafer(tmp_path / "pre.csv", tmp_path / "post.csv")
    assert dict(out) == out.document() == summarise(out.paired)
    assert set(out) == set(out.document())
    assert "time_s" in out
    assert out.get("nothing") is None
    assert out.removal.value == pytest.approx(np.full(49, 300e-9))
    assert out.removal.polish_time == out["time_s"] == 60.0
    out["notes"].append("mine")
    out.document()["sources"].append("mine")
    assert out["notes"] == []
    assert "mine" not in out["sources"]
    assert json.loads(json.dumps(clean(out)))["sites"] == 49
    # A time that is given goes before the one in the files, in the figures and in what is fitted.
    longer = measure_wafer(tmp_path / "pre.csv", tmp_path / "post.csv", 120.0)
    assert longer.removal.polish_time == 120.0
    assert longer["mean_removal_rate_nm_per_min"] == pytest.approx(150.0)


@pytest.mark.parametrize("motion", ["rotary", "linear", "orbital"])
def test_the_centre_of_a_map_without_noise_is_no_outlier(motion):
    """Rings fix the surface at their radii to the last digit; what it misses at the lone centre is the surface's fault."""
    import planish

    wafer = planish.polish(planish.loads(planish.new_setup(motion)))
    around = [
        (0.0, 0.0),
        *((r, 2 * np.pi * k / n) for r, n in ((48, 8), (97, 16), (145, 24)) for k in range(n)),
    ]
    r, angle = np.array(around).T
    value = np.interp(1e-3 * r, wafer.radius, wafer.removed)

    def flagged(values):
        sites = SiteMap(1e-3 * r * np.cos(angle), 1e-3 * r * np.sin(angle), values,
                        [f"s{i}" for i in range(r.size)], "removal", "nm", "made")  # fmt: skip
        return [one.row for one in flag(sites) if "very same" not in one.reason]

    assert r.size == 49
    assert flagged(value) == []
    off = value.copy()
    off[0] *= 0.97
    assert flagged(off) == [0]
