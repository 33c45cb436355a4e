"""Surface compliance of bonded layers.

One layer on a rigid base, the closed form in x h of e.g. G. M. L. Gladwell, Contact
Problems in the Classical Theory of Elasticity, 1980 (from memory):
C = 2/(E* x) ((3-4nu) sinh 2k - 2k)/((3-4nu) cosh 2k + 2k^2 + 5 - 12nu + 8nu^2), k = x h.
Any stack: the boundary value problem written out with four constants a layer and
solved here in 40 digits (derivation of our own). Thin layer: p/w = M/h with
M = E(1-nu)/((1+nu)(1-2nu)) (K. L. Johnson, Contact Mechanics, 1985, section 5.8, from memory).
"""

from __future__ import annotations

import math

import mpmath
import numpy as np
import pytest

from planish.errors import ModelError
from planish.physics.pressure.layers import (
    Base,
    ElasticLayer,
    belt_base,
    grooved_layers,
    holed_layer,
    rigid_base,
    surface_compliance,
)
from planish.physics.pressure.radial_grid import pressure_grid
from planish.physics.pressure.ring_influence import build_pad_operator

BELT = belt_base(200e9, 0.3, 0.5e-3, 2e4, 5e9)


def exact(x: float, layers: list[ElasticLayer], base: Base) -> float:
    """Solve for the constants of w = (A + B x z) e^-xz + (C + D x z) e^(x(z-h)) of every layer."""
    with mpmath.workdps(40):
        x = mpmath.mpf(x)
        size = 4 * len(layers)
        system, right = mpmath.zeros(size), mpmath.zeros(size, 1)

        def rows(layer: ElasticLayer, z: mpmath.mpf) -> list[list[mpmath.mpf]]:
            """u, w, tau, sigma at depth z in the layer, per constant."""
            nu, h = mpmath.mpf(layer.poisson), mpmath.mpf(layer.thickness)
            kappa, down, up = 3 - 4 * nu, mpmath.exp(-x * z), mpmath.exp(x * (z - h))
            two_mu_x = x * mpmath.mpf(layer.modulus) / (1 + nu)
            k = x * z
            return [
                [down, (k - kappa) * down, -up, (-kappa - k) * up],
                [down, k * down, up, k * up],
                [
                    -two_mu_x * down,
                    two_mu_x * (2 - 2 * nu - k) * down,
                    -two_mu_x * up,
                    two_mu_x * (2 * nu - 2 - k) * up,
                ],
                [
                    -two_mu_x * down,
                    two_mu_x * (1 - 2 * nu - k) * down,
                    two_mu_x * up,
                    two_mu_x * (1 - 2 * nu + k) * up,
                ],
            ]

        def put(row: int, layer: int, values: list[mpmath.mpf], sign: int = 1) -> None:
            for j in range(4):
                system[row, 4 * layer + j] += sign * values[j]

        top = rows(layers[0], mpmath.mpf(0))
        put(0, 0, top[2])
        put(1, 0, top[3])
        right[1] = -1
        for i in range(len(layers) - 1):
            above, below = (
                rows(layers[i], mpmath.mpf(layers[i].thickness)),
                rows(layers[i + 1], mpmath.mpf(0)),
            )
            for j in range(4):
                put(2 + 4 * i + j, i, above[j])
                put(2 + 4 * i + j, i + 1, below[j], -1)
        last = len(layers) - 1
        foot = rows(layers[last], mpmath.mpf(layers[last].thickness))
        give = 0 if base.rigid else 1 / (base.spring + base.half_tension * x**2 + base.bending * x**4)
        put(size - 2, last, foot[0])
        put(size - 1, last, [foot[1][j] + give * foot[3][j] for j in range(4)])
        constants = mpmath.lu_solve(system, right)
        return float(sum(top[1][j] * constants[j] for j in range(4)))


@pytest.mark.parametrize("nu", [0.0, 0.3, 0.45, 0.49])
def test_one_layer_on_a_rigid_base(nu: float) -> None:
    layer = ElasticLayer(100e6, nu, 1.3e-3)
    k = np.geomspace(0.05, 20, 40)
    x = k / layer.thickness
    above = (3 - 4 * nu) * np.sinh(2 * k) - 2 * k
    below = (3 - 4 * nu) * np.cosh(2 * k) + 2 * k**2 + 5 - 12 * nu + 8 * nu**2
    np.testing.assert_allclose(
        surface_compliance(x, [layer], rigid_base()),
        2 / (layer.plane_modulus * x) * above / below,
        rtol=1e-11,
    )


STACKS = [
    [ElasticLayer(100e6, 0.3, 1.3e-3), ElasticLayer(5e6, 0.1, 1.3e-3)],
    [ElasticLayer(400e6, 0.45, 0.5e-3), ElasticLayer(0.3e6, 0.2, 2e-3)],
    [ElasticLayer(2e6, 0.3, 0.1e-3), ElasticLayer(300e6, 0.49, 1.2e-3), ElasticLayer(8e6, 0.0, 1.3e-3)],
]


@pytest.mark.parametrize("base", [rigid_base(), BELT], ids=["platen", "belt"])
@pytest.mark.parametrize("stack", STACKS)
def test_any_stack_against_40_digits(stack: list[ElasticLayer], base: Base) -> None:
    for x in (0.01, 3.0, 40.0, 300.0, 1500.0, 8000.0):
        found = float(surface_compliance(x, stack, base))
        assert found == pytest.approx(exact(x, stack, base), rel=1e-9)


def test_long_waves_find_springs_and_short_ones_the_top_layer() -> None:
    for stack in STACKS:
        springs = sum(layer.thickness / layer.constrained_modulus for layer in stack)
        assert surface_compliance(0.0, stack, rigid_base()) == pytest.approx(springs, rel=1e-14)
        assert surface_compliance(0.0, stack, BELT) == pytest.approx(springs + 1 / 5e9, rel=1e-14)
        assert surface_compliance(1e-3, stack, BELT) == pytest.approx(springs + 1 / 5e9, rel=1e-5)
        x = 60 / stack[0].thickness
        assert surface_compliance(x, stack, BELT) == pytest.approx(
            2 / (stack[0].plane_modulus * x), rel=1e-14
        )


def test_cutting_a_layer_in_two_changes_nothing() -> None:
    x = np.geomspace(0.1, 1e5, 60)
    whole = surface_compliance(x, STACKS[0], rigid_base())
    upper = ElasticLayer(100e6, 0.3, 0.4e-3)
    lower = ElasticLayer(100e6, 0.3, 0.9e-3)
    np.testing.assert_allclose(
        surface_compliance(x, [upper, lower, STACKS[0][1]], rigid_base()), whole, rtol=1e-10
    )


def test_thin_layer_under_a_flat_punch() -> None:
    """Away from the punch's edge, 134.615 MPa / h for 100 MPa and 0.3."""
    for thickness in (1e-3, 0.3e-3):
        pad = build_pad_operator(pressure_grid(0.150), [ElasticLayer(100e6, 0.3, thickness)], rigid_base())
        count = pad.grid.r.size
        per_depth = np.linalg.solve(pad.compliance[:count, :count], np.ones(count))  # flat and rigid
        away = pad.grid.r < 0.150 - 12 * thickness
        np.testing.assert_allclose((per_depth * thickness)[away], 134.6153846e6, rtol=1e-5)


def test_holes_and_grooves() -> None:
    layer = ElasticLayer(100e6, 0.3, 2e-3)
    assert holed_layer(layer, 0.1) == ElasticLayer(90e6, 0.3, 2e-3)
    assert grooved_layers(layer, 0.2, 0.0) == (layer,)
    assert grooved_layers(layer, 0.2, 2e-3) == (ElasticLayer(80e6, 0.3, 2e-3),)
    land, solid = grooved_layers(layer, 0.2, 0.5e-3)
    assert land == ElasticLayer(80e6, 0.3, 0.5e-3)
    assert solid == ElasticLayer(100e6, 0.3, 1.5e-3)
    x = np.geomspace(1, 1e5, 30)
    stiff, soft = (
        surface_compliance(x, [layer], rigid_base()),
        surface_compliance(x, [land, solid], rigid_base()),
    )
    assert np.all(soft > stiff)


@pytest.mark.parametrize(
    "bad",
    [
        lambda: ElasticLayer(0.0, 0.3, 1e-3),
        lambda: ElasticLayer(1e6, 0.5, 1e-3),
        lambda: ElasticLayer(1e6, -0.1, 1e-3),
        lambda: ElasticLayer(1e6, 0.3, 0.0),
        lambda: ElasticLayer(math.nan, 0.3, 1e-3),
        lambda: surface_compliance(1.0, [], rigid_base()),
        lambda: surface_compliance(
            1.0, [ElasticLayer(1e6, 0.3, math.inf), ElasticLayer(1e6, 0.3, 1.0)], rigid_base()
        ),
        lambda: belt_base(2e11, 0.3, 5e-4, 2e4, 0.0),
        lambda: belt_base(2e11, 0.3, 5e-4, -1.0, 1e9),
        lambda: belt_base(2e11, 0.3, 0.0, 1.0, 1e9),
        lambda: holed_layer(ElasticLayer(1e6, 0.3, 1e-3), 1.0),
        lambda: grooved_layers(ElasticLayer(1e6, 0.3, 1e-3), 0.1, 2e-3),
    ],
)
def test_impossible_stacks_are_refused(bad) -> None:
    with pytest.raises(ModelError, match="must be"):
        bad()
