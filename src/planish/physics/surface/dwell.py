"""Which dwell times make the pad wear as wanted: constrained least squares over the sweep's zones."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import nnls

from planish.errors import ModelError, refuse

Array = NDArray[np.float64]

SOURCES: tuple[str, ...] = (
    "Least squares with unknowns of 0 or more: Lawson & Hanson, Solving Least Squares Problems (read as quoted in the "
    "SciPy reference)",
)


@dataclass(frozen=True, slots=True)
class DwellDesign:
    """Dwell times found, and the pad profile they give.

    Attributes
    ----------
    zone_dwell
        Shares of time summing to 1, (zones,).
    cut_rate
        Of the pad [m/s], (bins,).
    flatness, flatness_before
        Relative standard deviation of cut over wanted on the bins that count, after and for equal times.
    mean_rate
        Over those bins [m/s].
    """

    zone_dwell: Array
    cut_rate: Array
    flatness: float
    flatness_before: float
    mean_rate: float


def design_dwell(
    wanted: ArrayLike,
    zone_cut: ArrayLike,
    *,
    weights: ArrayLike | None = None,
    least: float = 0.0,
) -> DwellDesign:
    """Find zone dwell shares whose cut is as proportional to ``wanted`` as can be.

    Parameters
    ----------
    wanted
        Wanted relative cut of each pad bin (n,); all ones for even wear. Only its shape matters.
    zone_cut
        Cut rate (n, zones) [m/s] of each bin while the disk is in each zone
        (``conditioning.cut_matrix`` averaged over each zone).
    weights
        Weight of each bin (n,), 0 where wear does not matter (say outside the wafer's
        track). Default: all alike.
    least
        Least share of time of every zone: how fast the arm can pass.

    Returns
    -------
    DwellDesign
        Shares, and the profile they give.

    Raises
    ------
    ModelError
        If shapes disagree, the bounds cannot add up to 1, or a weighted bin is out of the disk's reach.
    """
    A = np.asarray(zone_cut, dtype=np.float64)
    want = np.asarray(wanted, dtype=np.float64)
    if A.ndim != 2 or want.shape != (A.shape[0],):
        raise ModelError(refuse("wanted profile", want.shape, f"one value for each of {A.shape[0]} pad bins"))
    weight = np.ones_like(want) if weights is None else np.asarray(weights, dtype=np.float64)
    if weight.shape != want.shape or np.any(~(weight >= 0)) or not weight.sum() > 0:
        raise ModelError(refuse("bin weights", "given", "one for each pad bin, 0 or more, not all 0"))
    counts = weight > 0
    if np.any(~(want[counts] > 0)):
        raise ModelError(refuse("wanted profile", float(want[counts].min()), "above 0 where it counts"))
    zones = A.shape[1]
    if not 0 <= least <= 1 / zones:
        raise ModelError(
            refuse("least share of a zone", least, f"0 to {1 / zones:.4g}, so that {zones} zones add up to 1")
        )
    if np.any(A[counts].sum(axis=1) <= 0):
        raise ModelError("wanted profile: a pad bin that counts is never under the disk (widen the sweep)")
    scale = float(A[counts].mean())
    # Unknowns: times y on any scale, whose cut should be the wanted profile itself. The scale that fits best makes
    # the misfit the relative unevenness, so a design that hardly cuts is not taken for an even one.
    # What goes beyond the least share is z: y = z + c sum(z), where c makes least shares of the first term's.
    beyond = 1.0 - zones * least
    if beyond > 1e-12:
        rows = np.sqrt(weight[counts])[:, None] * A[counts] / scale / want[counts][:, None]
        extra, _ = nnls(rows + (least / beyond) * rows.sum(axis=1)[:, None], np.sqrt(weight[counts]))
        shares = least + beyond * extra / extra.sum()
    else:
        shares = np.full(zones, 1.0 / zones)
    shares = shares / shares.sum()
    cut = A @ shares
    return DwellDesign(
        zone_dwell=shares,
        cut_rate=cut,
        flatness=_flatness(cut[counts] / want[counts], weight[counts]),
        flatness_before=_flatness(A[counts].mean(axis=1) / want[counts], weight[counts]),
        mean_rate=float(np.average(cut[counts], weights=weight[counts])),
    )


def zone_cut(matrix: ArrayLike, zones: int) -> Array:
    """Average a cut matrix over zones.

    Parameters
    ----------
    matrix
        ``cut_matrix`` (n, m) [m/s], the m positions running through the zones in order.
    zones
        How many; m is a multiple of it.

    Returns
    -------
    Array
        [m/s], (n, zones).

    Raises
    ------
    ModelError
        Where m is no multiple of ``zones``.
    """
    A = np.asarray(matrix, dtype=np.float64)
    if zones < 1 or A.shape[1] % zones:
        raise ModelError(refuse("positions", A.shape[1], f"a multiple of {zones} zones"))
    return np.asarray(A.reshape(A.shape[0], zones, -1).mean(axis=2))


def _flatness(ratio: Array, weight: Array) -> float:
    mean = np.average(ratio, weights=weight)
    return float(np.sqrt(np.average((ratio - mean) ** 2, weights=weight)) / mean)
