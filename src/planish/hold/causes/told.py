"""What the ranking says in words: which figures moved, whether anything explains them, what cannot be told apart."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planish.engine.record import Record
from planish.hold.causes.judge import Judged, angle_between, telling

if TYPE_CHECKING:
    from planish.hold.causes.seen import Seen
    from planish.hold.causes.signatures import Course, Shapes

Array = NDArray[np.float64]
# "None explains it": more than so many times the expected chi-squared, and so large a share of the change, are left over. A
# share, for a large change shows how far the model's shape is off long before it shows another cause.
MISFIT, LEFT = 2.0, 0.1
HARDLY = 3.0  # logarithm of the likelihood over no change below which hardly anything changed
PARALLEL = 20.0  # [degrees] below which two changes look alike
RIVAL = 0.05  # share from which a second cause is one
TELLS = 3.0  # standard deviations that a further figure must tell two causes apart by
MOVED = 2.0  # standard deviations from which a figure counts as moved
WORDS = {
    "time": "the polish time",
    "temperature": "the pad's temperature",
    "friction": "friction or motor torque",
    "groove": "the pad's groove depth (to 10 um)",
}


@dataclass(frozen=True, slots=True, repr=False)
class Moved(Record):
    """A figure that a chart could draw, since the onset against the rows before the window.

    ``change`` in ``unit``, ``sigmas`` standard deviations of the difference of means, ``explained`` [unit] by the likeliest cause.
    """

    figure: str
    unit: str
    change: float
    sigmas: float
    explained: float


def headlines(seen: Seen) -> tuple[list[tuple[str, str]], Array]:
    """Return the figures that are told, (name, unit) each, and the matrix (told, figures) that makes them.

    Parameters
    ----------
    seen
        The wafers.
    """
    rings, extras = seen.rings.radius.size, seen.extras
    share = seen.rings.sites / seen.rings.sites.sum()
    edge = np.zeros(rings)
    edge[-1], edge[0] = 1.0, -1.0
    zero, none = np.zeros(rings), np.zeros(len(extras))
    names = [("mean before", "nm"), ("edge over centre before", "nm"), ("mean after", "nm"), ("mean removal", "nm"),
             ("removal at the edge over that at the centre", "nm")]  # fmt: skip
    rows = [
        np.concatenate(parts)
        for parts in (
            [share, zero, none],
            [edge, zero, none],
            [zero, share, none],
            [share, -share, none],
            [edge, -edge, none],
        )
    ]
    for number, name in enumerate(extras):
        unit = np.zeros(2 * rings + len(extras))
        unit[2 * rings + number] = 1.0
        names.append(
            ("torque" if name == "friction" and seen.torque else name, "K" if name == "temperature" else "%")
        )
        rows.append(unit)
    return names, np.stack(rows)


def moved(found: Judged, seen: Seen, course: Course, shapes: Shapes, explained: Array) -> list[Moved]:
    """Return how far the told figures moved, the farthest first.

    Parameters
    ----------
    found, seen, course, shapes
        What was weighed.
    explained
        (wafers, figures): what the likeliest cause does.
    """
    names, table = headlines(seen)
    onset = int(shapes.onset[found.held[0].shape])
    since, before = slice(onset, None), slice(0, course.window)
    count = found.residual.shape[0] - onset
    sd = np.sqrt(np.einsum("hi,ij,hj->h", table, found.noise.covariance, table))
    change = table @ (found.residual[since].mean(axis=0) - found.residual[before].mean(axis=0))
    sigmas = change / (sd * np.sqrt(1 / count + 1 / course.window))
    by_it = table @ explained[since].mean(axis=0)
    each = [
        Moved(name, unit, float(change[at]), float(sigmas[at]), float(by_it[at]))
        for at, (name, unit) in enumerate(names)
    ]
    return sorted(each, key=lambda one: -abs(one.sigmas))


def unexplained(found: Judged) -> float:
    """Return the share of the change, as chi-squared over what was to be expected, that the likeliest cause leaves."""
    gain = found.plain - found.freedom
    return max(0.0, (found.misfit - found.freedom) / gain) if gain > 0 else 0.0


def verdicts(found: Judged, seen: Seen, shapes: Shapes, figures: list[Moved]) -> list[str]:
    """Return what the ranking says, a sentence each.

    Parameters
    ----------
    found, seen, shapes
        What was weighed.
    figures
        From :func:`moved`.
    """
    first, *rest = found.held
    said = []
    if found.evidence < HARDLY and not none_explains(found):
        said.append(
            f"hardly anything changed: a change of any kind is {np.exp(min(found.evidence, 50.0)):.2g} times as likely as none"
        )
    if none_explains(found):
        said.append(
            f"none of these explains it: the likeliest, {first.cause}, leaves a chi-squared of {found.misfit:.0f} where "
            f"{found.freedom} is expected ({100 * unexplained(found):.0f} % of the change); look for something else, or for two "
            "changes at once"
        )
    far = [
        f"{one.figure} {one.change:+.3g} {one.unit} ({one.sigmas:+.1f} sigma)"
        for one in figures
        if abs(one.sigmas) >= MOVED
    ]
    said.append("moved: " + ", ".join(far[:4]) if far else "no figure moved by 2 sigma on average since then")
    for other in rest:
        if other.share < RIVAL and not (other is rest[0] and _alike(found, shapes, seen)):
            continue
        angle = np.degrees(angle_between(found, first, other))
        if angle > PARALLEL:
            continue
        tells = telling(found, shapes, seen, first, other)
        how = (
            f"; {WORDS[tells[0]]} would tell (by {tells[1]:.1f} sigma over these wafers)"
            if tells is not None and tells[1] >= TELLS
            else "; nor would any other figure that the model knows"
        )
        said.append(
            f"cannot tell {first.cause} from {other.cause} by these data (what they do is alike to {angle:.0f} degrees){how}"
        )
    return said


def none_explains(found: Judged) -> bool:
    """Return whether even the likeliest cause fits badly."""
    return not found.fits(MISFIT) and unexplained(found) > LEFT


def _alike(found: Judged, shapes: Shapes, seen: Seen) -> bool:
    """Return whether the first two are told apart by where changes are likely to begin alone."""
    first, other = found.held[:2]
    return abs(first.misfit - other.misfit) < 2 * HARDLY and angle_between(found, first, other) < np.radians(
        PARALLEL
    )
