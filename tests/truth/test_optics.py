"""Thin films against closed forms, published numbers and references computed here by other ways.

Sources: the tests of the tmm package (S. J. Byrnes, MIT) for a published stack; Malitson 1965 as the
refractiveindex.info database has it; closed forms of Fresnel, Brewster, Airy and the quarter-wave film. The references
are Redheffer's star product of scattering matrices in long double, and Abeles' characteristic matrices at 40 digits.
"""

from __future__ import annotations

import mpmath
import numpy as np
import pytest

import planish
from planish.errors import ModelError
from planish.physics.optics.fringe import fringe_spacing
from planish.physics.optics.stack import stack_shares

MEDIA = (1.33, 1.46 + 0j, 2.0 + 0.05j, 0.3 + 3.2j, 3.88 + 0.02j)
LIGHT = np.linspace(380.0, 820.0, 500)[:, None]


def scattered(media, thicknesses, wavelength, angle, polarization):
    """R and T by the star product of scattering matrices, all in long double: no fields, no characteristic matrix."""
    kind = np.clongdouble
    sine = np.sin(np.asarray(angle, dtype=np.longdouble)) * np.asarray(np.real(media[0]), dtype=np.longdouble)
    k0 = 2 * np.arctan2(np.longdouble(0), np.longdouble(-1)) / np.asarray(wavelength, dtype=np.longdouble)
    index = [np.asarray(n, dtype=kind) for n in media]
    q = [np.sqrt(n * n - sine * sine + 0j) for n in index]
    q = [np.where(one.imag < 0, -one, one) for one in q]
    eta = [one * one / w if polarization == "p" else w for one, w in zip(index, q, strict=True)]
    ra, rb, ta, tb = kind(0), kind(0), kind(1), kind(1)  # from above, from below
    for j in range(len(media) - 1):
        r = (eta[j] - eta[j + 1]) / (eta[j] + eta[j + 1])
        down, up = 1 + r, 1 - r
        stay = 1 / (1 - rb * r)
        ra, ta, tb, rb = ra + ta * r * stay * tb, ta * stay * down, up * stay * tb, -r + down * rb * stay * up
        if j < len(thicknesses):
            phase = np.exp(1j * k0 * np.asarray(thicknesses[j], dtype=np.longdouble) * q[j + 1])
            ta, tb, rb = ta * phase, tb * phase, rb * phase * phase
    return np.abs(ra) ** 2, np.abs(ta) ** 2 * eta[-1].real / eta[0].real


def abeles(media, thicknesses, wavelength, angle, polarization):
    """R and T of one point by the product of characteristic matrices with cosines and sines, at 40 digits."""
    with mpmath.workdps(40):
        mp = mpmath
        n = [mp.mpmathify(one) for one in media]
        sine = n[0] * mp.sin(mp.mpf(angle))
        q = [mp.sqrt(one * one - sine * sine) for one in n]
        eta = [one * one / w if polarization == "p" else w for one, w in zip(n, q, strict=True)]
        whole = mp.eye(2)
        for j, d in enumerate(thicknesses, start=1):
            b = 2 * mp.pi * mp.mpf(d) * q[j] / mp.mpf(wavelength)
            whole = whole * mp.matrix(
                [[mp.cos(b), -1j * mp.sin(b) / eta[j]], [-1j * eta[j] * mp.sin(b), mp.cos(b)]]
            )
        b = whole[0, 0] + whole[0, 1] * eta[-1]
        c = whole[1, 0] + whole[1, 1] * eta[-1]
        top = eta[0] * b + c
        back = abs((eta[0] * b - c) / top) ** 2
        return float(back), float(4 * eta[0].real * eta[-1].real / abs(top) ** 2)


@pytest.mark.parametrize("polarization", ["s", "p"])
def test_a_grid_of_dark_layers_at_a_slant_agrees_with_scattering_matrices(polarization):
    first = np.linspace(0.0, 3000.0, 1000)
    layers = [first, 0.3 * first[::-1], np.linspace(0.0, 800.0, 1000)]
    slant = 35.0
    found = planish.reflectance(MEDIA, layers, LIGHT, slant, polarization)
    theirs = scattered(MEDIA, layers, LIGHT, np.radians(slant), polarization)
    assert found.reflected.shape == (500, 1000)
    assert np.abs(found.reflected - theirs[0]).max() < 1e-12
    assert np.abs(found.transmitted - theirs[1]).max() < 1e-12
    rng = np.random.default_rng(5)
    for _ in range(60):
        at, of = int(rng.integers(500)), int(rng.integers(1000))
        thick = [one[of] for one in layers]
        back, through = abeles(MEDIA, thick, LIGHT[at, 0], np.radians(slant), polarization)
        assert found.reflected[at, of] == pytest.approx(back, abs=1e-12)
        assert found.transmitted[at, of] == pytest.approx(through, abs=1e-12)


@pytest.mark.parametrize("polarization", ["s", "p"])
def test_points_with_optics_of_their_own_agree_with_scattering_matrices(polarization):
    rng = np.random.default_rng(9)
    count = 20_000
    media = [np.full(count, 1.33 + 0j), *(rng.uniform(0.2, 4, count) + 1j * rng.choice([0, 1], count) * rng.uniform(0, 3, count) for _ in range(4))]  # fmt: skip
    layers = [rng.uniform(0.0, 2000.0, count) * rng.choice([0, 1, 1e-4], count) for _ in range(3)]
    light, angle = rng.uniform(300.0, 900.0, count), rng.uniform(0.0, 85.0, count)
    found = planish.reflectance(media, layers, light, angle, polarization)
    theirs = scattered(media, layers, light, np.radians(angle), polarization)
    assert np.abs(found.reflected - theirs[0]).max() < 1e-11
    assert np.abs(found.transmitted - theirs[1]).max() < 1e-11


def test_the_stack_of_the_tmm_package():
    """Published with its tests: n = 1, 2+4i, 3+0.3i, 1+0.1i, thicknesses 2 and 3, 0.1 rad, wavelength 100."""
    stack = ([1, 2 + 4j, 3 + 0.3j, 1 + 0.1j], [2, 3], 100.0, 0.1)
    s, p, mean = (stack_shares(*stack, polarization) for polarization in ("s", "p", "mean"))
    assert float(s.reflected) == pytest.approx(0.37273208839139516, abs=1e-15)
    assert float(s.transmitted) == pytest.approx(0.22604491247079261, abs=1e-15)
    assert float(p.reflected) == pytest.approx(0.37016110373044969, abs=1e-15)
    assert float(p.transmitted) == pytest.approx(0.22824374314132009, abs=1e-15)
    assert float(mean.reflected) == pytest.approx(0.5 * float(s.reflected + p.reflected), abs=1e-15)


def test_an_opaque_layer_hides_what_lies_below_and_overflows_nothing():
    """The tmm package's own case of opacity: e^-18850 in the middle."""
    whole = planish.reflectance([1, 2 + 0.1j, 1 + 3j, 4, 5], [50, 1e5, 50], 200.0)
    cut = planish.reflectance([1, 2 + 0.1j, 1 + 3j], [50], 200.0)
    assert float(whole.reflected) == pytest.approx(float(cut.reflected), abs=1e-15)
    assert float(whole.transmitted) == 0.0


def test_fresnel_at_a_bare_surface():
    angle = np.radians(np.linspace(0.0, 89.0, 90))
    n0, n1 = 1.0, 1.5
    inner = np.cos(np.arcsin(n0 * np.sin(angle) / n1))
    rs = (n0 * np.cos(angle) - n1 * inner) / (n0 * np.cos(angle) + n1 * inner)
    rp = (n1 * np.cos(angle) - n0 * inner) / (n1 * np.cos(angle) + n0 * inner)
    for r, polarization in ((rs, "s"), (rp, "p")):
        found = planish.reflectance([n0, n1], [], 500.0, np.degrees(angle), polarization)
        assert np.abs(found.reflected - r**2).max() < 1e-13
        assert found.reflected + found.transmitted == pytest.approx(np.ones(90), abs=1e-14)


def test_brewster():
    n = 1.457018
    found = planish.reflectance([1.0, n], [], 632.8, np.degrees(np.arctan(n)), "p")
    assert float(found.reflected) < 1e-30


def test_quarter_and_half_wave_films():
    n0, n, ns, light = 1.0, 1.46, 3.5, 633.0
    quarter = planish.reflectance([n0, n, ns], [light / (4 * n)], light)
    half = planish.reflectance([n0, n, ns], [light / (2 * n)], light)
    assert float(quarter.reflected) == pytest.approx(((n0 * ns - n**2) / (n0 * ns + n**2)) ** 2, abs=1e-15)
    assert float(half.reflected) == pytest.approx(((n0 - ns) / (n0 + ns)) ** 2, abs=1e-15)


def test_airys_sum_of_a_dark_film():
    n0, n, ns = 1.0, 2.1 + 0.3j, 3.9 + 0.02j
    d = np.linspace(0.0, 2000.0, 400)
    r0, r1 = (n0 - n) / (n0 + n), (n - ns) / (n + ns)
    e = np.exp(4j * np.pi * n * d / 500.0)
    airy = np.abs((r0 + r1 * e) / (1 + r0 * r1 * e)) ** 2
    found = planish.reflectance([n0, n, ns], [d], 500.0)
    assert found.reflected == pytest.approx(airy, abs=1e-14)


@pytest.mark.parametrize("polarization", ["s", "p", "mean"])
def test_without_absorption_nothing_is_lost(polarization):
    rng = np.random.default_rng(2)
    media = [1.0, *rng.uniform(1.2, 3.5, 6), 1.5]
    layers = [rng.uniform(0.0, 900.0, 300) for _ in range(6)]
    found = planish.reflectance(media, layers, LIGHT, rng.uniform(0.0, 89.0, 300), polarization)
    assert np.abs(found.reflected + found.transmitted - 1.0).max() < 1e-12


@pytest.mark.parametrize("polarization", ["s", "p"])
def test_the_way_back_lets_as_much_through(polarization):
    """Reciprocity: the transmitted share is the same from either side, whatever absorbs in between."""
    media, layers, angle = [1.0, 1.46, 2.0 + 0.4j, 0.3 + 3.2j, 1.5], [300.0, 60.0, 12.0], 40.0
    inside = np.degrees(np.arcsin(np.sin(np.radians(angle)) / 1.5))
    there = planish.reflectance(media, layers, 550.0, angle, polarization)
    back = planish.reflectance(media[::-1], layers[::-1], 550.0, inside, polarization)
    assert float(there.transmitted) == pytest.approx(float(back.transmitted), abs=1e-15)


@pytest.mark.parametrize("polarization", ["s", "p"])
def test_tunnelling_and_the_critical_angle(polarization):
    """Behind a gap, beyond the critical angle, light tunnels; at that angle itself the layer's q is 0."""
    critical = np.arcsin(1.0 / 1.5)
    angles = np.array([critical, np.nextafter(critical, 0.0), critical + 1e-9, critical + 0.1])
    found = planish.reflectance([1.5, 1.0, 1.5], [200.0], 600.0, np.degrees(angles), polarization)
    for at, angle in enumerate(angles):
        if at == 0:
            continue
        back, through = abeles([1.5, 1.0, 1.5], [200.0], 600.0, angle, polarization)
        assert found.reflected[at] == pytest.approx(back, abs=1e-9)
        assert found.transmitted[at] == pytest.approx(through, abs=1e-9)
    assert found.reflected[0] == pytest.approx(found.reflected[1], abs=1e-6)
    total = planish.reflectance([1.5, 1.0], [], 600.0, np.degrees(critical + 0.1), polarization)
    assert float(total.reflected) == pytest.approx(1.0, abs=1e-15)
    assert float(total.transmitted) == 0.0


def test_films_of_no_thickness_are_not_there():
    bare = planish.reflectance([1.33, 3.88 + 0.02j], [], 632.8, 30.0, "p")
    coated = planish.reflectance([1.33, 1.46, 2.0, 3.88 + 0.02j], [0.0, 1e-9], 632.8, 30.0, "p")
    assert float(coated.reflected) == pytest.approx(float(bare.reflected), abs=1e-9)


def test_any_axes_broadcast_as_numpy_has_it():
    light, thick, angle = (
        np.linspace(400, 700, 4)[:, None, None],
        np.linspace(10, 900, 5),
        np.linspace(0, 60, 3),
    )
    index = planish.optical_index("silica", light)
    found = planish.reflectance([1.0, index, 3.9], [thick], light, angle[:, None], "mean")
    assert found.reflected.shape == (4, 3, 5)
    one = planish.reflectance([1.0, index[2, 0, 0], 3.9], [thick[4]], light[2, 0, 0], angle[1], "mean")
    assert one.reflected.shape == ()
    assert found.reflected[2, 1, 4] == pytest.approx(float(one.reflected), abs=1e-15)


@pytest.mark.parametrize(
    ("light", "n", "fringe"),
    [
        (400.0, 1.470116, 136.0437),
        (546.1, 1.460077, 187.0107),
        (632.8, 1.457018, 217.1559),
        (800.0, 1.453317, 275.2324),
    ],
)
def test_fused_silica_by_malitson_and_its_fringes(light, n, fringe):
    found = float(planish.optical_index("silica", light).real)
    assert found == pytest.approx(n, abs=1e-6)
    assert 1e9 * fringe_spacing(found, 1e-9 * light) == pytest.approx(fringe, abs=1e-4)


@pytest.mark.parametrize("angle", [0.0, 12.0, 45.0, 70.0])
def test_fringes_repeat_after_their_spacing(angle):
    """R of a clear film is periodic in its thickness, by lambda/(2 n cos theta)."""
    n = float(planish.optical_index("silica", 632.8).real)
    spacing = 1e9 * fringe_spacing(n, 632.8e-9, np.radians(angle), 1.33)
    d = np.linspace(0.0, 2000.0, 700)
    once = planish.reflectance([1.33, n, 3.88 + 0.02j], [d], 632.8, angle, "mean").reflected
    later = planish.reflectance([1.33, n, 3.88 + 0.02j], [d + 7 * spacing], 632.8, angle, "mean").reflected
    assert np.abs(once - later).max() < 1e-12
    assert spacing == pytest.approx(
        632.8 / (2 * n * np.cos(np.arcsin(1.33 * np.sin(np.radians(angle)) / n))), rel=1e-14
    )


def test_published_points_of_the_tables():
    """As the database has them: Green 2008 at 630 nm, Johnson & Christy at 616.8 nm; Daimon & Masumura's formula at D."""
    assert complex(planish.optical_index("silicon", 630.0)) == pytest.approx(3.879 + 0.016444j, abs=1e-12)
    assert complex(planish.optical_index("copper", 616.8)) == pytest.approx(0.30 + 3.205j, abs=1e-12)
    x = 0.5893**2
    terms = ((0.5684027565, 0.005101829712), (0.1726177391, 0.01821153936), (0.02086189578, 0.02620722293))
    square = 1 + sum(a * x / (x - b) for a, b in terms) + 0.1130748688 * x / (x - 10.69792721)
    assert float(planish.optical_index("water", 589.3).real) == pytest.approx(square**0.5, abs=1e-14)


@pytest.mark.parametrize(
    ("given", "word"),
    [
        (([1.0, 1.5], [10.0], 500.0), "two more indices"),
        (([1.0], [], 500.0), "two more indices"),
        (([1 + 0.1j, 1.5], [], 500.0), "index of the ambient"),
        (([1.0, 1.5 - 0.1j, 3.0], [10.0], 500.0), "index of layer 1"),
        (([1.0, "glass", 3.0], [10.0], 500.0), "index of layer 1"),
        (([1.0, 1.5, float("nan")], [10.0], 500.0), "index of the last medium"),
        (([1.0, 1.5, 3.0], [-1.0], 500.0), "thickness of layer 1"),
        (([1.0, 1.5, 3.0], ["thin"], 500.0), "thickness of layer 1"),
        (([1.0, 1.5, 3.0], [10.0], 0.0), "wavelength"),
        (([1.0, 1.5, 3.0], [10.0], float("inf")), "wavelength"),
        (([1.0, 1.5, 3.0], [10.0], 500.0, 90.0), "angle of the light"),
        (([1.0, 1.5, 3.0], [10.0], 500.0, -1.0), "angle of the light"),
        (([1.0, 1.5, 3.0], [10.0], 500.0, 0.0, "q"), "polarization"),
        (([1.0, 1.5, 3.0], [np.ones(3)], np.full(4, 500.0)), "broadcast"),
        (([1.0, *[1.5] * 201, 3.0], [1.0] * 201, 500.0), "layers of the stack"),
        (([0.0, 1.5], [], 500.0), "index of the ambient"),
    ],
)
def test_what_cannot_be_is_refused(given, word):
    with pytest.raises(ModelError, match=word):
        planish.reflectance(*given)
