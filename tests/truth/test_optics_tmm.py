"""Thin films against the tmm package (S. J. Byrnes, MIT), point by point, and its own published figures."""

from __future__ import annotations

import numpy as np
import pytest
from tmm import coh_tmm

import planish

LIGHT = np.linspace(300.0, 1000.0, 351)  # [nm]
X = (LIGHT - 300.0) / 700.0
# Indices change with the light, as those of films do; made up here, clear ones, dark ones and metals.
STACKS = {
    "oxide on silicon": ([1.33, 1.45 + 0.03 * (1 - X), 5.0 - 1.4 * X + 0.3j * (1 - X) ** 2], [480.0]),
    "nitride under a dark film": (
        [1.0, 1.46, 2.0 + 0.2j * (1 - X), 2.05, 3.9 + 0.02j],
        [310.0, 75.0, 140.0],
    ),
    "metal on a liner": (
        [1.33, 0.3 + 1.2 * (1 - X) + 1j * (2 + 4 * X), 1.8 + 2.1j, 1.46, 3.9 + 0.02j],
        [35.0, 12.0, 250.0],
    ),
    "a mirror of ten layers": ([1.0, *[2.3 + 0.01j, 1.46] * 5, 1.52], [60.0, 95.0] * 5),
    "no layer": ([1.0, 3.9 - X + 0.5j * X], []),
}


def theirs(media, layers, angle, polarization):
    rows = []
    for at, light in enumerate(LIGHT):
        n = [complex(np.broadcast_to(one, LIGHT.shape)[at]) for one in media]
        found = coh_tmm(polarization, n, [np.inf, *layers, np.inf], np.radians(angle), light)
        rows.append((found["R"], found["T"]))
    return np.array(rows).T


@pytest.mark.parametrize("polarization", ["s", "p"])
@pytest.mark.parametrize("angle", [0.0, 25.0, 65.0])
@pytest.mark.parametrize("name", STACKS)
def test_stacks_agree_with_the_package(name, angle, polarization):
    media, layers = STACKS[name]
    found = planish.reflectance(media, layers, LIGHT, angle, polarization)
    reflected, transmitted = theirs(media, layers, angle, polarization)
    assert np.abs(found.reflected - reflected).max() < 1e-12
    assert np.abs(found.transmitted - transmitted).max() < 1e-12


def test_a_spectrum_by_thickness_agrees_with_the_package():
    """Thicknesses along an axis of their own go through another kernel."""
    media, _ = STACKS["nitride under a dark film"]
    thick = np.array([0.0, 3.0, 120.0, 1500.0])
    tall = [np.asarray(one)[..., None] if np.ndim(one) else one for one in media]
    found = planish.reflectance(tall, [thick, 75.0, 140.0], LIGHT[:, None], 40.0, "p")
    for at, depth in enumerate(thick):
        reflected, transmitted = theirs(media, [depth, 75.0, 140.0], 40.0, "p")
        assert np.abs(found.reflected[:, at] - reflected).max() < 1e-12
        assert np.abs(found.transmitted[:, at] - transmitted).max() < 1e-12


@pytest.mark.parametrize("polarization", ["s", "p"])
def test_the_packages_own_stack(polarization):
    """Its published figures are in ``test_optics``; here it says them itself."""
    stack = [1, 2 + 4j, 3 + 0.3j, 1 + 0.1j]
    said = coh_tmm(polarization, stack, [np.inf, 2, 3, np.inf], 0.1, 100)
    found = planish.reflectance(stack, [2, 3], 100.0, np.degrees(0.1), polarization)
    assert float(found.reflected) == pytest.approx(said["R"], abs=1e-15)
    assert float(found.transmitted) == pytest.approx(said["T"], abs=1e-15)
