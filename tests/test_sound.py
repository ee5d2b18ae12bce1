"""Sound levels: silence, order, and energy."""

import numpy as np
import pytest

from loopmath.checks import InputError, OutOfRange
from loopmath.laws import sound as law


def test_full_speed_keeps_the_rated_level():
    assert law.level_at_speed(33.0, 1.0) == 33.0


def test_speed_zero_is_silence_and_a_sum_copes_with_it():
    silent = law.level_at_speed(35.0, 0.0)
    assert silent == -np.inf
    assert law.sum_levels([silent, 30.0]) == pytest.approx(30.0)
    assert law.sum_levels([silent, silent]) == -np.inf
    assert law.at_distance(silent, 2.0) == -np.inf


def test_sum_does_not_depend_on_order_or_grouping():
    levels = np.array([25.0, 28.0, 32.0, 19.0])
    whole = law.sum_levels(levels)
    assert law.sum_levels(levels[::-1]) == pytest.approx(whole)
    assert law.sum_levels([law.sum_levels(levels[:2]), law.sum_levels(levels[2:])]) == pytest.approx(whole)
    assert whole >= levels.max()


def test_axis_and_broadcasting_equal_one_by_one():
    levels = law.level_at_speed(np.array([[30.0], [35.0]]), np.array([0.3, 0.6, 1.0]))
    assert levels.shape == (2, 3)
    np.testing.assert_allclose(law.sum_levels(levels), [law.sum_levels(levels[:, i]) for i in range(3)])
    np.testing.assert_allclose(law.sum_levels(levels, axis=1), [law.sum_levels(row) for row in levels])
    assert np.ndim(law.level_at_speed(30.0, 0.5)) == np.ndim(law.at_distance(30.0, 2.0)) == 0


def test_distance_there_and_back():
    assert law.at_distance(law.at_distance(30.0, 0.6), 1.0, 0.6) == pytest.approx(30.0)


def test_bad_input_is_refused():
    with pytest.raises(OutOfRange):
        law.level_at_speed(30.0, -0.1)
    with pytest.raises(OutOfRange):
        law.at_distance(30.0, 0.0)
    with pytest.raises(InputError, match="minus infinity"):
        law.sum_levels([30.0, float("nan")])
