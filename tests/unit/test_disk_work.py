"""What the setup's own disk does, worked out once: factors of one for the reference, no jump anywhere."""

from dataclasses import replace
from math import sqrt

import numpy as np
import pytest

import planish
from planish.physics.surface import grit
from planish.predict.lot.plan import plan_lot
from planish.predict.lot.variation import Variation
from planish.predict.wafer.disk import disk_work
from planish.predict.wafer.pad_surface import as_conditioned
from planish.setup.new import new_setup
from planish.units import LBF

SETUP = planish.loads(new_setup("rotary"))


def work(**changes):
    return disk_work(SETUP.replace({key.replace("__", "."): value for key, value in changes.items()}).rig)


@pytest.mark.parametrize(
    "pad", ["hard-microporous", "hard-solid", "medium-microporous", "soft-felt", "hard-filled"]
)
def test_the_packaged_reference_has_factors_of_one_on_every_pad(pad):
    setup = SETUP.replace({"pad.part": pad, "conditioner.part": "electroplated-100-grit"})
    found = disk_work(setup.rig)
    assert found.cut == pytest.approx(1.0, rel=1e-12)
    assert found.texture == pytest.approx(1.0, rel=1e-12)
    assert found.shed == pytest.approx(setup.rig.conditioner.shedding, rel=1e-11)
    assert as_conditioned(setup.rig) == setup.rig.pad.surface


def test_each_key_of_the_disk_acts():
    usual = work()
    finer = work(conditioner__grit_size="75 um")
    assert finer.cut < usual.cut
    assert finer.texture < usual.texture
    assert finer.halving_time < usual.halving_time
    assert work(conditioner__grit_density="70 1/mm^2").furrow_depth < usual.furrow_depth
    assert work(conditioner__grit_share=0.8) == work(conditioner__grit_density="70 1/mm^2")
    uneven = work(conditioner__grit_height_spread=0.08)
    assert uneven.cut > usual.cut
    assert uneven.halving_time < 0.5 * usual.halving_time
    assert uneven.shed > 5 * usual.shed
    assert work(conditioner__tip_radius="10 um").furrow_depth > usual.furrow_depth
    assert work(conditioner__cut_level=0.7).cut == pytest.approx(0.7 * usual.cut)
    assert work(conditioner__halving_time="100 h").halving_time == pytest.approx(0.5 * usual.halving_time)
    # shallower than at the reference of the dulling: a smaller power dulls sooner
    assert work(conditioner__dulling_power=0).halving_time < usual.halving_time
    soft = work(pad__hardness="20 MPa", conditioner__downforce="9 lbf")
    assert soft.cut != work(conditioner__downforce="9 lbf").cut
    assert SETUP.rig.pad.hardness == pytest.approx(60e6, rel=0.01)


def test_hardness_is_nearly_all_in_what_the_pad_is_stated_with():
    for changes in ({"conditioner__downforce": "3 lbf"}, {"conditioner__part": "cvd-film-fine"}):
        hard, soft = work(**changes, pad__hardness="60 MPa"), work(**changes, pad__hardness="30 MPa")
        assert soft.cut == pytest.approx(hard.cut, rel=0.03)
        assert soft.texture == pytest.approx(hard.texture, rel=0.03)


def test_no_jump_where_the_disk_is_lifted():
    """Down to no force, what it does goes to what it does without one; so do the pad's surface and a lot's rates."""
    rig = SETUP.rig
    lifted = replace(rig, conditioner=replace(rig.conditioner, downforce=0.0))
    hardly = replace(rig, conditioner=replace(rig.conditioner, downforce=1e-4 * LBF))
    none, little = disk_work(lifted), disk_work(hardly)
    assert (none.cut, none.shed, none.halving_time) == (0.0, 0.0, np.inf)
    assert none.texture == sqrt(rig.pad.porosity)
    assert little.texture == pytest.approx(none.texture, rel=2e-3)
    assert as_conditioned(lifted).tail_length == pytest.approx(as_conditioned(hardly).tail_length, rel=2e-3)
    rates = [
        planish.polish_lot(each, 4, variation=Variation.none(), cells=32).records.rate
        for each in (lifted, hardly)
    ]
    np.testing.assert_allclose(rates[0], rates[1], rtol=1e-3)


def test_a_lot_works_the_disk_out_once():
    plan = plan_lot(SETUP.rig, 3, cells=32)
    assert plan.disk == disk_work(SETUP.rig)
    assert plan.sharpness(plan.disk.halving_time) == 0.5
    assert plan.sharpness(3e5) == float(grit.sharpness(3e5, plan.disk.halving_time))
    bare = plan_lot(replace(SETUP.rig, conditioner=None), 3, conditioning=False, cells=32)
    assert bare.disk is None
    assert bare.sharpness(0.0) == 0.0


def test_diamonds_in_the_pad_up_to_their_bond_are_told():
    setup = SETUP.replace({"conditioner.grit_density": "0.01 1/mm^2"})
    assert disk_work(setup.rig).furrow_depth == 75e-6
    (note,) = [note for note in setup.notes if "their bond" in note] or [
        found.message for found in planish.check(setup) if "their bond" in found.message
    ]
    assert "half of grit_size deep, 75 µm" in note
    assert any("their bond" in note for note in planish.polish(setup).notes)
