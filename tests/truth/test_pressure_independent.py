"""The whole wafer problem once more, by another discretisation (derivation of our own).

Evenly spaced annuli of constant pressure, displacements in the mean over an annulus
by plain quadrature of the Hankel integral with nothing taken out of it, the plate by
cubic Hermite finite elements on its bending energy, the nonlinear equations by a
general-purpose root finder. Nothing of the grid, the ring functions, the plate's
closed form or Newton's method is shared; only C(x), which is tested by itself.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import root
from scipy.special import j1

from planish.physics.pressure.layers import ElasticLayer, rigid_base, surface_compliance
from planish.physics.pressure.plate import plate_operator
from planish.physics.pressure.radial_grid import pressure_grid
from planish.physics.pressure.ring_influence import build_pad_operator
from planish.physics.pressure.solve import solve_pressure

RADIUS, INNER, OUTER = 0.030, 0.0305, 0.036
E, NU, H = 130e9, 0.28, 400e-6
STACK = (ElasticLayer(80e6, 0.3, 1.3e-3), ElasticLayer(6e6, 0.2, 1.5e-3))
LAMBDA, SCALE, MEAN = 5e-6, 2e6, 2e4


def annulus_compliance(edges: list[np.ndarray]) -> np.ndarray:
    """Mean displacement of each annulus per unit pressure on each."""
    cell = float(np.diff(edges[0]).min())
    last, width = 60 / cell, 2.0 / OUTER
    nodes, weights = np.polynomial.legendre.leggauss(4)
    starts = np.arange(0.0, last, width)
    x = (starts[:, None] + 0.5 * width * (nodes + 1)).ravel()
    w = np.tile(0.5 * width * weights, starts.size)
    transforms, areas = [], []
    for edge in edges:
        transforms.append(np.diff(edge * j1(x[:, None] * edge), axis=1) / x[:, None])
        areas.append(np.pi * np.diff(edge**2))
    transform, area = np.concatenate(transforms, axis=1), np.concatenate(areas)
    kernel = 2 * np.pi * w * x * surface_compliance(x, STACK, rigid_base())
    return (transform.T * kernel) @ transform / area[:, None]


def hermite_plate(edges: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Stiffness of a free plate in (w, w') at the edges, and the matrix to means over annuli."""
    rigidity = E * H**3 / (12 * (1 - NU**2))
    count = edges.size
    stiffness, means = np.zeros((2 * count, 2 * count)), np.zeros((count - 1, 2 * count))
    points, weights = np.polynomial.legendre.leggauss(6)
    for e in range(count - 1):
        h = edges[e + 1] - edges[e]
        t = 0.5 * (points + 1)
        r, w = edges[e] + h * t, 0.5 * h * weights
        shape = np.array(
            [1 - 3 * t**2 + 2 * t**3, h * (t - 2 * t**2 + t**3), 3 * t**2 - 2 * t**3, h * (t**3 - t**2)]
        )
        slope = (
            np.array(
                [-6 * t + 6 * t**2, h * (1 - 4 * t + 3 * t**2), 6 * t - 6 * t**2, h * (3 * t**2 - 2 * t)]
            )
            / h
        )
        curve = np.array([-6 + 12 * t, h * (-4 + 6 * t), 6 - 12 * t, h * (6 * t - 2)]) / h**2
        turn = slope / r
        weight = 2 * np.pi * r * w
        block = curve * weight @ curve.T + turn * weight @ turn.T
        block += NU * (curve * weight @ turn.T + turn * weight @ curve.T)
        at = slice(2 * e, 2 * e + 4)
        stiffness[at, at] += rigidity * block
        means[e, at] = shape @ weight / weight.sum()
    return stiffness, means


def independent(ring: float, cells: int) -> tuple[np.ndarray, np.ndarray]:
    wafer, annulus = np.linspace(0, RADIUS, cells + 1), np.linspace(INNER, OUTER, cells // 4 + 1)
    compliance = annulus_compliance([wafer, annulus])
    areas, ring_areas = np.pi * np.diff(wafer**2), np.pi * np.diff(annulus**2)
    stiffness, means = hermite_plate(wafer)
    free = np.delete(np.arange(2 * cells + 2), [0, 1])  # w(0) = 0 is the reference, w'(0) = 0
    flexible = means[:, free] @ np.linalg.solve(
        stiffness[np.ix_(free, free)], (means[:, free] * areas[:, None]).T
    )
    load = np.full(cells, MEAN)

    def residual(unknown: np.ndarray) -> np.ndarray:
        p, pr = MEAN * np.exp(unknown[:cells]), ring * MEAN * np.exp(unknown[cells:-2])
        wafer_at, ring_at = unknown[-2:] * LAMBDA
        pushed = compliance @ np.concatenate([p, pr])
        down = wafer_at + flexible @ (load - p)
        return np.concatenate(
            [
                (pushed[:cells] - down) / LAMBDA + np.log(p / SCALE),
                (pushed[cells:] - ring_at) / LAMBDA + np.log(pr / SCALE),
                [
                    areas @ p / (MEAN * areas.sum()) - 1,
                    ring_areas @ pr / (ring * MEAN * ring_areas.sum()) - 1,
                ],
            ]
        )

    start = np.concatenate([np.zeros(cells + cells // 4), [-4.0, -4.0]])
    solved = root(residual, start, method="hybr", tol=1e-10)
    assert np.abs(residual(solved.x)).max() < 1e-8
    return np.sqrt((wafer[1:] ** 2 + wafer[:-1] ** 2) / 2), MEAN * np.exp(solved.x[:cells])


@pytest.mark.parametrize("ring", [0.5, 3.0])
def test_same_profile_by_another_road(ring: float) -> None:
    grid = pressure_grid(RADIUS, INNER, OUTER)
    pad = build_pad_operator(grid, STACK, rigid_base())
    plate = plate_operator(grid, E, NU, H)
    found = solve_pressure(
        pad, plate, np.full(grid.r.size, MEAN), ring * MEAN, asperity_length=LAMBDA, asperity_pressure=SCALE
    )
    r, p = independent(ring, 120)
    here = np.interp(np.arcsin(r / RADIUS), np.arcsin(grid.r / RADIUS), found.pressure)
    inside = (r < RADIUS - 0.5e-3) & (r > grid.r[0])
    assert np.ptp(p[inside]) > 0.02 * MEAN  # there is an edge to agree about
    np.testing.assert_allclose(here[inside], p[inside], rtol=5e-4)
