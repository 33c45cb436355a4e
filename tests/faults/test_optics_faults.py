"""Tables of a film's index that cannot be used, and materials that nobody knows."""

import numpy as np
import pytest

import planish
from planish.errors import DataError, ModelError

GOOD = "wavelength_nm,n,k\n400,1.50,0.01\n500,1.48,0.00\n600,1.47,0.00\n"


def test_a_table_is_linear_between_its_rows_in_any_order_and_unit(tmp_path):
    (tmp_path / "film.csv").write_text(GOOD, encoding="utf-8")
    (tmp_path / "same.csv").write_text(
        "k;n;wavelength [um]\n0;1.47;0.6\n0.01;1.50;0.4\n0;1.48;0.5\n", encoding="utf-8"
    )
    light = np.array([400.0, 450.0, 600.0])
    found = planish.optical_index(tmp_path / "film.csv", light)
    assert found == pytest.approx(np.array([1.5 + 0.01j, 1.49 + 0.005j, 1.47]), abs=1e-12)
    assert planish.optical_index(str(tmp_path / "same.csv"), light) == pytest.approx(found, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("wavelength_nm,k\n400,0.1\n", "wavelength with its unit, n"),
        ("wavelength,n\n400,1.5\n", "named with its unit"),
        ("wavelength_furlong,n\n400,1.5\n", "wavelength"),
        ("wavelength_nm,n\n400,1.5\n400,1.6\n", "it stands twice"),
        ("wavelength_nm,n\n-400,1.5\n", "above 0"),
        ("wavelength_nm,n\n400,0\n", "above 0"),
        ("wavelength_nm,n,k\n400,1.5,-0.1\n", "from 0 to 100"),
        ("wavelength_nm,n\n400,glass\n", "a number"),
        ("wavelength_nm,n\n400,nan\n", "finite"),
        ("wavelength_nm,n\n", "no rows"),
        ("", "empty"),
    ],
)
def test_a_table_that_cannot_be(tmp_path, text, word):
    path = tmp_path / "film.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(DataError, match=word):
        planish.optical_index(path, 500.0)


@pytest.mark.parametrize(
    ("material", "light", "kind", "word"),
    [
        ("unobtainium", 500.0, DataError, "silica"),
        ("", 500.0, DataError, "silica"),
        ("missing.csv", 500.0, DataError, "no such file"),
        ("silicon", 2000.0, ModelError, "from 250 to 1100 nm"),
        ("silica", -1.0, ModelError, "from 210 to 3710 nm"),
        ("silica", float("nan"), ModelError, "from 210 to 3710 nm"),
        ("silica", "red", ModelError, "a number"),
    ],
)
def test_a_material_or_wavelength_that_nobody_knows(material, light, kind, word):
    with pytest.raises(kind, match=word):
        planish.optical_index(material, light)


def test_beyond_the_table_nothing_is_guessed(tmp_path):
    (tmp_path / "film.csv").write_text(GOOD, encoding="utf-8")
    with pytest.raises(ModelError, match="from 400 to 600 nm"):
        planish.optical_index(tmp_path / "film.csv", 601.0)
