"""Bands of a prediction from stated spreads, against what can be worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from planish.predict.wafer.bands import polish_band, spreads
from planish.setup.load import loads
from planish.setup.new import new_setup


def test_a_spread_of_the_rate_alone_gives_the_same_relative_band() -> None:
    """Timed steps, no heat, no shortage: the removed amount is proportional to k_p."""
    bench = loads(new_setup("rotary")).bench
    layers = tuple(replace(layer, modulus_spread=0.0) for layer in bench.pad.layers)
    film = bench.wafer.films[0].material
    law = replace(bench.removal[film], relative_spread=0.07)
    steps = (replace(bench.steps[1], stop="time", stop_value=20.0, flow=1.0),)
    bench = replace(bench, pad=replace(bench.pad, layers=layers), removal={film: law}, steps=steps)
    band = polish_band(bench)["mean_removed_nm"]
    assert band.sd / band.value == pytest.approx(0.07, rel=0.05)  # the fresh share still moves a little
    assert list(band.shares) == [f"rate of {film}"]


def test_shares_add_in_quadrature_and_every_stated_spread_is_moved() -> None:
    bench = loads(new_setup("rotary")).bench
    bands = polish_band(bench)
    names = [name for name, _, _ in spreads(bench)]
    assert len(names) >= 3
    for band in bands.values():
        assert band.sd == pytest.approx(sum(s**2 for s in band.shares.values()) ** 0.5)
    rate = bands["mean_removal_rate_nm_per_min"]
    assert set(rate.shares) == set(names)
    assert rate.shares["modulus of the top pad"] > 0  # stiffer summits polish faster


def test_without_spreads_there_is_no_band() -> None:
    bench = loads(new_setup("linear")).bench
    layers = tuple(replace(layer, modulus_spread=0.0) for layer in bench.pad.layers)
    removal = {key: replace(law, relative_spread=0.0) for key, law in bench.removal.items()}
    assert polish_band(replace(bench, pad=replace(bench.pad, layers=layers), removal=removal)) == {}
