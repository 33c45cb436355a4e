"""The dwell table of a setup's own disk: even wear on the track, and a lot that stays flat with it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from planish.errors import SetupError
from planish.predict.dwell import design_sweep
from planish.predict.lot.run import polish_lot
from planish.predict.lot.variation import Variation
from planish.setup.load import loads
from planish.setup.new import new_setup


@pytest.mark.parametrize("motion", ["rotary", "linear"])
def test_wear_is_evener_than_with_the_plain_sweep(motion: str) -> None:
    found = design_sweep(loads(new_setup(motion)))
    assert found.zone_dwell.sum() == pytest.approx(1.0, abs=1e-9)
    assert np.all(found.zone_dwell >= 0)
    assert found.uneven_after < 0.6 * found.uneven_before


def test_the_table_goes_into_a_setup_and_keeps_wafers_flat() -> None:
    setup = loads(new_setup("rotary"))
    found = design_sweep(setup)
    own = setup.replace(found.changes)
    plain, designed = (
        polish_lot(each, 150, variation=Variation.none()).summary()["last_wiwnu_sigma_percent"]
        for each in (setup, own)
    )
    assert designed < 0.7 * plain


def test_what_cannot_be_designed_is_refused() -> None:
    rig = loads(new_setup("rotary")).rig
    with pytest.raises(SetupError, match="conditioner"):
        design_sweep(replace(rig, conditioner=None))
    with pytest.raises(SetupError, match="zones"):
        design_sweep(rig, zones=1)


@pytest.mark.parametrize("zones", [2, 5, 10])
@pytest.mark.parametrize("motion", ["rotary", "linear", "orbital"])
def test_a_setup_with_the_table_wears_as_the_design_says(motion: str, zones: int) -> None:
    setup = loads(new_setup(motion))
    found = design_sweep(setup, zones)
    if not found.better:
        assert found.changes == {}
        assert "keep it" in found.notes[0]
        return
    assert found.notes == ()
    then = design_sweep(setup.replace(found.changes), zones)
    assert then.uneven_before == pytest.approx(found.uneven_after, rel=1e-5)
    np.testing.assert_allclose(then.cut_before, found.cut_after, rtol=1e-4)


def test_a_table_that_is_no_better_is_not_recommended() -> None:
    found = design_sweep(loads(new_setup("orbital")), 40, least=0.02)
    assert found.uneven_after > found.uneven_before
    assert found.changes == {}
