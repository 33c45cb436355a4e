"""Bands of a prediction from stated spreads, against what can be worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from planish.predict.wafer.bands import polish_band, spreads
from planish.setup.load import loads
from planish.setup.new import new_setup


def test_a_spread_of_the_rate_alone_gives_the_same_relative_band() -> None:
    """Timed steps, no heat, no shortage: the removed amount is proportional to k_p."""
    rig = loads(new_setup("rotary")).rig
    layers = tuple(replace(layer, modulus_spread=0.0) for layer in rig.pad.layers)
    film = rig.wafer.films[0].material
    law = replace(rig.removal[film], relative_spread=0.07)
    steps = (replace(rig.steps[1], stop="time", stop_value=20.0, flow=1.0),)
    rig = replace(rig, pad=replace(rig.pad, layers=layers), removal={film: law}, steps=steps)
    band = polish_band(rig)["mean_removed_nm"]
    assert band.sd / band.value == pytest.approx(0.07, rel=0.05)  # the fresh share still moves a little
    assert list(band.shares) == [f"rate of {film}"]


def test_shares_add_in_quadrature_and_every_stated_spread_is_moved() -> None:
    rig = loads(new_setup("rotary")).rig
    bands = polish_band(rig)
    names = [name for name, _, _ in spreads(rig)]
    assert len(names) >= 3
    for band in bands.values():
        assert band.sd == pytest.approx(sum(s**2 for s in band.shares.values()) ** 0.5)
    rate = bands["mean_removal_rate_nm_per_min"]
    assert set(rate.shares) == set(names)
    assert rate.shares["modulus of the top pad"] > 0  # stiffer summits polish faster


def test_without_spreads_there_is_no_band() -> None:
    rig = loads(new_setup("linear")).rig
    layers = tuple(replace(layer, modulus_spread=0.0) for layer in rig.pad.layers)
    removal = {key: replace(law, relative_spread=0.0) for key, law in rig.removal.items()}
    assert polish_band(replace(rig, pad=replace(rig.pad, layers=layers), removal=removal)) == {}
