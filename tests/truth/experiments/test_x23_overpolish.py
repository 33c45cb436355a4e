"""Dishing and erosion by overpolish against what was published: how far it is followed, and how far not."""

from planish.experiments.overpolish import rows


def test_the_row_that_the_law_can_follow() -> None:
    row = rows()[4]
    assert abs(row.off_percent) < 45, row


def test_erosion_by_overpolish_falls_with_selectivity_as_measured() -> None:
    measured, predicted = ([getattr(row, key) for row in rows()[1::2]] for key in ("measured", "predicted"))
    assert measured == sorted(measured)
    assert predicted == sorted(predicted)


def test_what_is_missed_is_missed_as_said() -> None:
    for row in rows()[0:3:2]:
        assert 2.5 < row.measured / row.predicted < 6, row
    for row in rows()[1::2]:
        assert row.predicted < 0.5 * row.measured, row
