"""The contact solvers against slow, direct solutions and their own invariants."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import minimize

from planish.engine.backend import get_backend
from planish.errors import ModelError, PlanishError
from planish.physics.contact.problem import AsperityLayer, ContactProblem
from planish.physics.pressure.layers import ElasticLayer, rigid_base, surface_compliance

MODULUS = 100e6
CELL = 2e-5


def solve_contact(surface, mean_pressure, cell, compliance, *, start=None, tol=1e-6, **options):
    """Press the pad on one surface."""
    problem = ContactProblem(np.shape(surface), cell, compliance, **options)
    return problem.solve(surface, mean_pressure, start=start, tol=tol)


def _rough(n: int, seed: int = 3) -> np.ndarray:
    rng = np.random.default_rng(seed)
    q = np.hypot(np.fft.fftfreq(n)[:, None], np.fft.rfftfreq(n)[None, :])
    amplitude = np.where((q > 2.5 / n) & (q < 0.25), np.maximum(q, 1e-9) ** -1.8, 0)
    noise = rng.standard_normal(q.shape) + 1j * rng.standard_normal(q.shape)
    z = np.fft.irfft2(amplitude * noise, s=(n, n))
    return z / z.std() * 0.5e-6


def _displacement(p: np.ndarray) -> np.ndarray:
    n, m = p.shape
    q = 2 * np.pi * np.hypot(np.fft.fftfreq(n, CELL)[:, None], np.fft.rfftfreq(m, CELL)[None, :])
    factor = np.divide(2 / MODULUS, q, out=np.zeros_like(q), where=q > 0)
    return np.fft.irfft2(np.fft.rfft2(p) * factor, s=p.shape)


@pytest.mark.parametrize("shape", [(16, 16), (15, 18), (17, 13)])
def test_bare_contact_minimises_the_energy(shape: tuple[int, int]) -> None:
    z = _rough(18)[: shape[0], : shape[1]]
    mean = 3e4
    found = solve_contact(z, mean, CELL, MODULUS, tol=1e-10)

    def energy(x: np.ndarray) -> tuple[float, np.ndarray]:
        # p = mean * x^2 / <x^2> keeps sign and load: a bound- and constraint-free oracle
        squares = x * x
        p = (mean * squares / squares.mean()).reshape(shape)
        slope = _displacement(p) - z
        value = float((p * (0.5 * _displacement(p) - z)).sum())
        g = slope.ravel()
        full = mean / squares.mean() * (g - (g * squares).sum() / squares.sum()) * 2 * x
        return value / (mean * 1e-6), full / (mean * 1e-6)

    best = minimize(
        energy,
        np.ones(z.size),
        jac=True,
        method="L-BFGS-B",
        options={"maxiter": 20000, "maxfun": 40000, "ftol": 1e-15, "gtol": 1e-10},
    )
    squares = best.x**2
    oracle = (mean * squares / squares.mean()).reshape(shape)
    assert np.linalg.norm(found.pressure - oracle) < 2e-3 * np.linalg.norm(oracle)
    assert energy(np.sqrt(found.pressure.ravel()))[0] <= best.fun + 1e-9 * abs(best.fun)


@pytest.mark.parametrize("load", [2e3, 3e4, 4e5])
def test_bare_contact_obeys_its_conditions(load: float) -> None:
    z = _rough(128)
    found = solve_contact(z, load, CELL, MODULUS, tol=1e-8)
    p = found.pressure
    gap = _displacement(p) + found.approach - z
    assert p.min() >= 0
    assert p.mean() == pytest.approx(load, rel=1e-12)
    assert np.abs(gap[p > 0]).max() < 1e-4 * z.std()
    assert gap[p == 0].min() > -1e-4 * z.std()
    np.testing.assert_allclose(found.gap, np.maximum(gap, 0), atol=1e-4 * z.std())


def test_precisions_agree() -> None:
    z = _rough(128)
    double = solve_contact(z, 3e4, CELL, MODULUS)
    single = solve_contact(z, 3e4, CELL, MODULUS, dtype=np.float32)
    assert single.pressure.dtype == np.float32
    assert np.linalg.norm(single.pressure - double.pressure) < 1e-5 * np.linalg.norm(double.pressure)


@pytest.mark.parametrize("asperity", [None, AsperityLayer(1e6, 2e-7)])
def test_thread_count_changes_no_bit(asperity: AsperityLayer | None) -> None:
    z = _rough(384)[:, :375]
    one, two, three = (
        solve_contact(z, 3e4, CELL, MODULUS, asperity=asperity, workers=w).pressure for w in (1, 2, 3)
    )
    assert np.array_equal(one, two)
    assert np.array_equal(one, three)


def _laid_out(arrays: list[np.ndarray], gap: int) -> list[np.ndarray]:
    """Copies of the arrays one behind the other in memory, `gap` bytes between them."""
    room = np.zeros(sum(a.nbytes + gap for a in arrays) + 64, np.uint8)
    at = -room.ctypes.data % 64
    placed = []
    for a in arrays:
        view = room[at : at + a.nbytes].view(a.dtype).reshape(a.shape)
        view[...] = a
        placed.append(view)
        at += a.nbytes + gap
    return placed


_CELLS, _ROWS = (375, 384), (384, 188)
_CALLS = {
    "gap_sums": "ccc", "residual": "ccc.c", "direction_sums": "cccc", "direction": "cc..c",
    "curvature_sums": "cccc", "step": "ccc.c..c", "finish": "cccc.c!.", "add_product": "ccc",
    "scale": "sw", "law": "ccc..0cc", "slope_sums": "cc0",
    "gradient": "sss.sw.!", "search": "sss.ws!",
}  # fmt: skip
"""Arguments by loop: c cells, s a half-spectrum, w real factors on it, . a number, ! a flag, 0 none."""


@pytest.mark.parametrize("name", sorted(_CALLS))
def test_where_arrays_lie_changes_no_bit(name: str) -> None:
    from planish.physics.contact.cpu import _LOOPS, HostOperations

    assert set(_CALLS) == set(_LOOPS)
    rng = np.random.default_rng(11)
    made = {
        "c": lambda: rng.standard_normal(_CELLS),
        "s": lambda: rng.standard_normal(_ROWS) + 1j * rng.standard_normal(_ROWS),
        "w": lambda: rng.random(_ROWS),
        ".": lambda: 0.3,
        "!": lambda: True,
        "0": lambda: None,
    }
    given = [made[kind]() for kind in _CALLS[name]]
    places = [k for k, value in enumerate(given) if isinstance(value, np.ndarray)]
    seen = set()
    for gap in (0, 64, 4096, 200_000, 300_000, 628_288, 1_000_000):
        arguments = list(given)
        for k, view in zip(places, _laid_out([given[k] for k in places], gap), strict=True):
            arguments[k] = view
        sums = getattr(HostOperations(1), name)(*arguments)
        seen.add((tuple(sums or ()), b"".join(arguments[k].tobytes() for k in places)))
    assert len(seen) == 1


def test_warm_start_saves_iterations() -> None:
    z = _rough(256)
    problem = ContactProblem(z.shape, CELL, MODULUS)
    cold = problem.solve(z, 3e4)
    worn = z - 1e-3 * z.std() * cold.pressure / cold.pressure.max()
    again = problem.solve(worn, 3e4, start=cold.pressure)
    fresh = problem.solve(worn, 3e4)
    assert again.iterations <= 0.5 * fresh.iterations
    assert np.linalg.norm(again.pressure - fresh.pressure) < 1e-4 * np.linalg.norm(fresh.pressure)


@pytest.mark.parametrize("periodic", [True, False])
@pytest.mark.parametrize("added", [None, 2e-12, "map"])
@pytest.mark.parametrize("length", [5e-8, 1e-6])
def test_layer_equation_holds(periodic: bool, added: object, length: float) -> None:
    z = _rough(64)
    c = np.linspace(0, 4e-12, z.size).reshape(z.shape) if added == "map" else added
    problem = ContactProblem(
        z.shape, CELL, MODULUS, asperity=AsperityLayer(5e5, length), periodic=periodic, workers=1
    )
    found = problem.solve(z, 2e4, added=c, tol=1e-9)
    p = found.pressure
    if periodic:
        u = _displacement(p)
    else:
        from planish.physics.contact.kernel import as_compliance, free_kernel

        kernel = free_kernel(z.shape, (CELL, CELL), as_compliance(MODULUS))
        grid = np.zeros(kernel.padded)
        grid[:64, :64] = p
        u = np.fft.irfft2(np.fft.rfft2(grid) * kernel.multiplier, s=kernel.padded)[:64, :64]
    left = u + (0 if c is None else c * p) + found.approach - z
    assert p.mean() == pytest.approx(2e4, rel=1e-9)
    np.testing.assert_allclose(left, length * np.log(5e5 / p), atol=1e-6 * length * 10)
    np.testing.assert_allclose(found.gap, length * np.log(5e5 / p), atol=1e-9 * length + 1e-15)


def test_thin_layer_tends_to_bare_contact() -> None:
    z = _rough(64)
    bare = solve_contact(z, 3e4, CELL, MODULUS, tol=1e-9).pressure
    apart = [
        np.linalg.norm(
            solve_contact(z, 3e4, CELL, MODULUS, asperity=AsperityLayer(1e6, length)).pressure - bare
        )
        for length in (1e-7, 2e-8, 4e-9)
    ]
    assert apart[1] < 0.5 * apart[0]
    assert apart[2] < 0.5 * apart[1]


def test_thick_layer_tends_to_uniform_pressure() -> None:
    z = _rough(64)
    found = solve_contact(z, 3e4, CELL, MODULUS, asperity=AsperityLayer(1e6, 1e-3))
    assert np.abs(found.pressure / 3e4 - 1).max() < 1e-2


def test_stiffer_pad_presses_high_places_harder() -> None:
    z = _rough(64)
    soft, hard = (
        solve_contact(z, 3e4, CELL, modulus, asperity=AsperityLayer(1e6, 1e-6)).pressure
        for modulus in (1e7, 1e9)
    )
    assert (hard * z).mean() > (soft * z).mean() > 0
    assert hard.std() > soft.std()


def test_large_grid_starts_from_a_coarse_one() -> None:
    z = np.kron(_rough(128), np.ones((4, 4)))
    problem = ContactProblem(z.shape, CELL, MODULUS)
    cold = problem.solve(z, 3e4)
    uniform = problem.solve(z, 3e4, start=np.full(z.shape, 3e4))
    assert cold.iterations < uniform.iterations
    assert np.linalg.norm(cold.pressure - uniform.pressure) < 2e-5 * np.linalg.norm(uniform.pressure)


def test_flat_surface_is_pressed_evenly() -> None:
    for asperity in (None, AsperityLayer(1e6, 1e-6)):
        found = solve_contact(np.full((8, 12), 3e-6), 2e4, CELL, MODULUS, asperity=asperity)
        np.testing.assert_allclose(found.pressure, 2e4, rtol=1e-12)


def test_layered_pad_sinks_by_its_stack_under_an_even_load() -> None:
    stack = [ElasticLayer(100e6, 0.3, 1.3e-3), ElasticLayer(5e6, 0.2, 1.3e-3)]

    def pad(q: np.ndarray) -> np.ndarray:
        return surface_compliance(q, stack, rigid_base())

    # layers held sideways add up: h/M each, M = E(1 - nu)/((1 + nu)(1 - 2 nu))
    springs = sum(
        layer.thickness / (layer.modulus * (1 - layer.poisson))
        * (1 + layer.poisson) * (1 - 2 * layer.poisson)
        for layer in stack
    )  # fmt: skip
    even = solve_contact(np.zeros((16, 16)), 2e4, CELL, pad)
    assert even.approach == pytest.approx(-2e4 * springs, rel=1e-6)
    # short waves see the top layer only, as a half-space of E/(1 - nu^2)
    z = _rough(64)
    layered = solve_contact(z, 3e4, CELL, pad).pressure
    half_space = solve_contact(z, 3e4, CELL, 100e6 / (1 - 0.3**2)).pressure
    assert np.linalg.norm(layered - half_space) < 0.1 * np.linalg.norm(half_space)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"mean_pressure": 0.0}, "mean pressure"),
        ({"mean_pressure": np.nan}, "mean pressure"),
        ({"cell": -1.0}, "cell"),
        ({"compliance": -1e6}, "plane modulus"),
        ({"compliance": lambda q: -q}, "positive"),
        ({"surface": np.full((4, 4), np.nan)}, "finite heights"),
        ({"start": np.ones((3, 3))}, "start shape"),
        ({"dtype": np.float16}, "float32 or float64"),
        ({"tol": 0.0}, "tol"),
    ],
)
def test_bad_values_are_refused(change: dict[str, object], words: str) -> None:
    given: dict[str, object] = {
        "surface": np.zeros((4, 4)),
        "mean_pressure": 1e4,
        "cell": 1e-5,
        "compliance": 1e8,
    }
    given.update(change)
    with pytest.raises(ModelError, match=words):
        solve_contact(**given)  # type: ignore[arg-type]


def test_layer_refuses_a_length_of_zero() -> None:
    with pytest.raises(ModelError, match="decay_length"):
        AsperityLayer(1e6, 0.0)


def test_unknown_backend_is_refused() -> None:
    with pytest.raises(PlanishError, match="numpy"):
        get_backend("abacus")
    with pytest.raises(PlanishError, match="workers"):
        get_backend("numpy", workers=0)
