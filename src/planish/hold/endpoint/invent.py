"""Traces of an invented machine, for teaching and for tests: what a setup's wafer would show of itself while it is polished.

Nothing here was measured. Each ring of the wafer loses its film at its own predicted rate, which wanders slowly for all
rings alike; the sensor has an unknown gain and offset, and noise.
"""

from __future__ import annotations

from typing import Any, Literal, TypeAlias, Unpack

import numpy as np
from numpy.typing import NDArray

from planish.errors import DataError, refuse
from planish.hold.endpoint.asked import OpticsAsked, Range, read_range
from planish.hold.endpoint.trace import Trace
from planish.hold.endpoint.view import FilmView
from planish.predict.wafer.polish import polish
from planish.setup.given import SetupLike
from planish.units import NM_PER_MIN, as_si, as_whole

Array = NDArray[np.float64]
Kind: TypeAlias = Literal["light", "friction", "eddy"]
#: Which optical material a film of a setup is taken for.
SEEN_AS = {"oxide": "silica", "nitride": "silicon nitride", "copper": "copper"}
MOST_SAMPLES = 200_000
BAND = 0.3  # of a fringe, to each side: what the trace tells of its start
RATES = 0.25  # to each side: what it tells of its rate
SCATTER = 0.01  # of the thickness within a ring, which rounds the steps of friction off
INVENTED = "invented by planish endpoint invent: nothing in it was measured"


def invent_trace(
    setup: SetupLike,
    kind: Kind = "light",
    *,
    seed: int = 0,
    signal_to_noise: float = 20.0,
    interval: float | str = 0.2,
    until: float | str | None = None,
    spot: Range = (0.0, 0.02),
    wander: float | str = 0.03,
    step: float | str = 0.1,
    **optics: Unpack[OpticsAsked],
) -> Trace:
    """Return the trace that a wafer of a setup would give while its top film is polished.

    Parameters
    ----------
    setup
        Its prediction gives the rate over the radius, its first film the thickness.
    kind
        "light" that comes back, "friction" (or the torque of a motor), or "eddy" currents in the film.
    seed
        The same seed gives the same trace.
    signal_to_noise
        Half the swing of the fringes, the step of the friction or the whole of the eddy signal, over the standard
        deviation of the noise.
    interval
        From sample to sample [s, or text].
    until
        Mean thickness in the spot at which the trace ends [m, or text]; unless given a fifth of the start for light, and
        otherwise well after all is clear.
    spot
        From which radius to which the light looks [m, or text as ``"0..20 mm"``].
    wander
        By how much the rate wanders in a minute, one standard deviation, as a share.
    step
        By how much friction changes when all is clear, as a share.
    **optics
        As of :meth:`FilmView.of <planish.hold.endpoint.view.FilmView.of>`; the films of the setup unless given.

    Returns
    -------
    Trace
        With what it takes to follow it, and the true mean thickness in the spot.

    Raises
    ------
    SetupError
        For a setup that cannot be used.
    DataError
        For values that cannot be, and a film that is not known as an optical material.
    """
    if kind not in ("light", "friction", "eddy"):
        raise DataError(refuse("kind of trace", kind, "light, friction or eddy"))
    pace, noise = as_si(interval, "time", "interval"), _factor(signal_to_noise)
    if not 1e-3 <= pace <= 60:
        raise DataError(refuse("interval", interval, "from 0.001 to 60 s"))
    rng = np.random.default_rng(as_whole(seed, "seed", 0, 2**63))
    wafer = polish(setup)
    counted = wafer.inside()
    weight, rate = wafer.areas[counted], wafer.rate[counted]
    film, radius = wafer.incoming[0][counted], wafer.radius[counted]
    if not rate.min() > 0:
        raise DataError(f"{wafer.rig.title}: removes nothing at some radius: must polish the whole wafer")
    ends = read_range(spot, "length", "spot")
    seen = (radius >= ends[0]) & (radius <= ends[1]) if kind == "light" else np.ones(radius.size, dtype=bool)
    if not seen.any():
        raise DataError(refuse("spot", spot, f"radii that hold some of 0 to {1e3 * radius[-1]:.4g} mm"))
    share = weight * seen / (weight * seen).sum()
    start = float(share @ film)
    end = _end(kind, until, start)
    worn = _worn(rng, as_si(wander, "ratio", "wander of the rate"), pace, film, rate, share, end, kind)
    times = pace * np.arange(worn.size, dtype=np.float64)
    left = np.maximum(film - worn[:, None] * rate, 0.0)
    told: dict[str, str] = {}
    if kind == "light":
        view = _view(wafer.rig, optics)
        clean = np.stack([share @ view.reflected(row) for row in left])
        swing = np.ptp(view.reflected(np.linspace(0.0, start, 2000)), axis=0).max() / 2.0
        told = _tell(view, start, float(share @ rate))
    elif optics:
        raise DataError(refuse("argument", next(iter(optics)), "for light alone"))
    elif kind == "friction":
        change = as_si(step, "ratio", "step of the friction")
        if not (change != 0 and -1 < change <= 5):
            raise DataError(refuse("step of the friction", step, "above -100 % and up to 500 %, and not 0"))
        clean, swing = 1.0 + change * _cleared(film, rate, worn, share)[:, None], abs(change)
    else:
        clean, swing = (left @ share / start)[:, None], 1.0
    gain, offset = rng.uniform(0.6, 1.6), rng.uniform(-0.2, 0.2)
    signals = offset + gain * (clean + rng.normal(size=clean.shape) * swing / noise)
    waves = view.wavelengths if kind == "light" and view.wavelengths.size > 1 else np.empty(0)
    said = (INVENTED, f"seed {seed}, signal to noise {noise:g}, {wafer.rig.title}".replace(",", ";"))
    return Trace(f"invented {kind}", times, signals, waves, told, left @ share, said)


def _factor(value: float) -> float:
    found = as_si(value, "ratio", "signal to noise")
    if not 0.1 <= found <= 1e6:
        raise DataError(refuse("signal to noise", value, "from 0.1 to 1000000"))
    return found


def _end(kind: Kind, until: float | str | None, start: float) -> float:
    """Return the mean thickness at which the trace ends; below 0 for a time after it is gone."""
    if until is None:
        return 0.2 * start if kind == "light" else -0.4 * start
    end = as_si(until, "thickness", "until")
    if not 0 <= end < start:
        raise DataError(refuse("until", until, f"from 0 nm to below the start, {1e9 * start:.5g} nm"))
    return end


def _worn(
    rng: np.random.Generator,
    wander: float,
    pace: float,
    film: Array,
    rate: Array,
    share: Array,
    end: float,
    kind: Kind,
) -> Array:
    """Return the time [s] that each sample's film has been polished at the predicted rate, which wanders."""
    if not 0 <= wander <= 1:
        raise DataError(refuse("wander of the rate", wander, "from 0 to 1 in a minute"))
    needed = (float(share @ film) - end) / float(share @ rate)
    count = int(np.ceil(1.5 * needed / pace)) + 3
    if count > MOST_SAMPLES:
        raise DataError(
            refuse(
                "interval", f"{pace:g} s", f"{pace * count / MOST_SAMPLES:.3g} s or more", "too many samples"
            )
        )
    pull = 1.0 + np.cumsum(rng.normal(size=count)) * wander * np.sqrt(pace / 60.0)
    worn = np.concatenate([[0.0], np.cumsum(np.clip(pull, 0.3, 3.0)[:-1] * pace)])
    return worn[: max(int(np.searchsorted(worn, needed)) + 1, 3)]


def _cleared(film: Array, rate: Array, worn: Array, share: Array) -> Array:
    """Return the share of the wafer that is clear at each sample, rounded off by the scatter within a ring."""
    from scipy.special import ndtr

    reached = (worn[:, None] * rate - film) / (SCATTER * film)
    return np.asarray(ndtr(reached) @ share)


def _view(rig: Any, optics: OpticsAsked) -> FilmView:
    """Return what the light sees of the setup's films, or of what was given in their place."""
    given: dict[str, Any] = {name: value for name, value in optics.items() if value is not None}
    films = list(rig.wafer.films)
    if "film" not in given:
        given["film"] = _material(films[0].material, "film")
        if "under" not in given and "below" not in given:
            given["below"] = tuple((_material(one.material, "under"), one.thickness) for one in films[1:])
    return FilmView.of(**given)


def _material(name: str, option: str) -> str:
    if name not in SEEN_AS:
        known = ", ".join(SEEN_AS)
        raise DataError(
            refuse(
                "film as light sees it",
                name,
                f"one of {known}",
                f"name an optical material or a table by '{option}'",
            )
        )
    return SEEN_AS[name]


def _tell(view: FilmView, start: float, rate: float) -> dict[str, str]:
    """Return what it takes to follow the trace, as options are written."""
    band = BAND * view.fringe
    told = {
        "film": view.film,
        "under": view.under,
        "ambient": view.ambient,
        "angle": f"{np.degrees(view.angle):.9g} deg",
        "polarization": view.polarization,
        "share": f"{100 * view.share:.9g} %",
        "start": f"{1e9 * (start - band):.6g}..{1e9 * (start + band):.6g} nm",
        "rate": f"{(1 - RATES) * rate * NM_PER_MIN:.5g}..{(1 + RATES) * rate * NM_PER_MIN:.5g} nm/min",
    }
    if view.below:
        told["below"] = " + ".join(f"{name} {1e9 * thick:.9g} nm" for name, thick in view.below)
    if view.wavelengths.size == 1:
        told["light"] = f"{1e9 * view.wavelengths[0]:.9g} nm"
    return told
