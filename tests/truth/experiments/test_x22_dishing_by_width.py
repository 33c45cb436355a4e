"""Copper dishing by line and space, before and during a barrier polish: US 2010/0176335 A1, tables 7 and 8 (R: read).

Trenches of 5,000 A, Ta/TaN 250/250 A, copper 15,000 A; blanket rates of the barrier slurry: copper 464, TaN 1,905,
PETEOS 772 A/min. Before the barrier step the law is held against four structures with one constant, the share of the
summits' reach that counts while the pad slides (0.01, the usual value of ``[die] sliding_share``); tips of 30 um and
a decay length of 4 um are a measured order of size, the rest of the copper step is assumed: 300 nm of copper after the
barrier is bare, 100 times the barrier's rate, 17 kPa on a half-space of 285 MPa.

What is not followed: the barrier step. With the blanket rates and nothing fitted the dishing is gone within the first
minute, some 27 nm (rms) from what was measured; that the narrow spaces of 50/1 keep theirs longest is not reproduced
either. A copper rate of 76 nm/min and one length of 126 nm for all widths would follow it within some 5 nm, but
neither is what was measured or derived. The misfit is stated, not bent.
"""

from typing import Any

import numpy as np

from planish.physics.pattern.areas import HighLayer, Low, polish_areas
from planish.physics.pattern.feature_selectivity import feature_selectivity, reach_at_rest

STRUCTURES = {
    "100/100": (100, 100, 0.5),
    "50/50": (50, 50, 0.5),
    "10/10": (10, 10, 0.5),
    "50/1": (50, 1, 0.3),
}
MEASURED = {  # dishing [nm] after 0, 60, 120, 180 s of barrier polish
    "100/100": (91.5, 49.4, 23.5, 2.1),
    "50/50": (78.4, 42.1, 23.6, 5.2),
    "10/10": (22.3, 5.8, 2.7, 0.8),
    "50/1": (17.5, 13.8, 10.1, 6.3),
}
PRESSURE, TIP, DECAY, SLIDING = 17e3, 30e-6, 4e-6, 0.01
COPPER, BARRIER, DIELECTRIC = (rate * 1e-10 / 60 for rate in (464, 1905, 772))


def lengths(*, bulk: bool = True) -> np.ndarray:
    """Return the selectivity lengths [m] of the structures."""
    spot = np.sqrt(TIP * DECAY)
    summits = SLIDING * reach_at_rest(spot, np.sqrt(DECAY / (np.pi * TIP)))
    stiff = 285e6 / (1 - 0.3**2) * (1.0 if bulk else 1e9)
    low, high = (np.array([each[i] for each in STRUCTURES.values()]) * 1e-6 for i in (0, 1))
    return feature_selectivity(
        low, summit_length=summits, spot_radius=spot, pressure=PRESSURE, compliance=lambda q: 2 / (stiff * q),
        high_width=high,
    )  # fmt: skip


def after_copper() -> np.ndarray:
    """Return the dishing [m] before the barrier step."""
    share = np.array([each[2] for each in STRUCTURES.values()])
    lines = Low([5e-9], np.zeros(share.size))
    return polish_areas([HighLayer(np.inf, [5e-11])], lines, [60.0], share, lengths()).height


def after_barrier(seconds: float, copper: float = COPPER, length: float | None = None) -> np.ndarray:
    """Return the dishing [m] after so much barrier polish, from what was measured before it."""
    share = np.array([each[2] for each in STRUCTURES.values()])
    reach = lengths() if length is None else length
    lines = Low([copper], np.array([row[0] for row in MEASURED.values()]) * 1e-9)
    films = [HighLayer(25e-9, [BARRIER]), HighLayer(np.inf, [DIELECTRIC])]
    return polish_areas(films, lines, [seconds], share, reach).height


def rows() -> list[dict[str, Any]]:
    """Return what was measured and what is predicted."""
    out: list[dict[str, Any]] = []
    alone, whole = lengths(bulk=False), after_copper()
    for i, (name, row) in enumerate(MEASURED.items()):
        out.append(
            {
                "what": f"dishing of {name} um before the barrier step, one constant",
                "measured": row[0],
                "predicted": float(whole[i] * 1e9),
                "unit": "nm",
                "kind": "fit and predict",
            }
        )
    for i, (name, row) in enumerate(MEASURED.items()):
        out.append(
            {
                "what": f"the same over that of 100/100 um, if both materials recede together, summits alone: {name}",
                "measured": row[0] / MEASURED["100/100"][0],
                "predicted": float(alone[i] / alone[0]),
                "unit": "1",
                "kind": "shape",
            }
        )
    for column, seconds in enumerate((60, 120, 180), 1):
        found = after_barrier(seconds)
        out += [
            {
                "what": f"dishing of {name} um after {seconds} s of barrier polish, blanket rates",
                "measured": row[column],
                "predicted": float(found[i] * 1e9),
                "unit": "nm",
                "kind": "fit and predict",
            }
            for i, (name, row) in enumerate(MEASURED.items())
        ]
    return out


def test_dishing_before_the_barrier_step_with_one_constant() -> None:
    for row in rows()[:4]:
        assert abs(row["predicted"] / row["measured"] - 1) < 0.45, row
    found = after_copper()
    assert list(found) == sorted(found, reverse=True)  # as measured


def test_dishing_grows_over_tens_of_micrometres_with_nothing_fitted() -> None:
    alone = lengths(bulk=False)
    assert alone[0] / alone[2] > 3  # measured 4.1; a law that saturates at 2 um gives 1.2
    assert 1.1 < alone[0] / alone[1] < 1.5  # measured 1.17


def test_the_barrier_step_takes_dishing_off_and_by_how_much_it_is_missed() -> None:
    measured = np.array([row[1:] for row in MEASURED.values()])

    def missed(**change: float) -> float:
        found = np.array([after_barrier(t, **change) * 1e9 for t in (60, 120, 180)])
        return float(np.sqrt(np.mean((found.T - measured) ** 2)))

    assert np.all(after_barrier(10) < after_barrier(0))
    assert np.all(after_barrier(60) < 0.1 * after_barrier(0))  # measured 0.26 to 0.79
    assert 24 < missed() < 30
    assert missed(copper=76e-9 / 60, length=126e-9) < 8
