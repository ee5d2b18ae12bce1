"""
Plans of cuts against published ones; the source stands beside each.

Their lengths are in units of their own, taken as millimetres here.
"""

import numpy as np
import pytest
from scipy.optimize import linprog

from loopmath.cutting import Piece, Stock, cutting, patterns

#: Cutting stock problem, worked example of a public encyclopedia, its data also in a text of the sci.op-research group:
#: rolls of paper out of raw rolls of 5600. Material alone comes to 72.7, and 73 rolls do.
ROLLS = {
    1380: 22,
    1520: 25,
    1560: 12,
    1710: 14,
    1820: 18,
    1880: 18,
    1930: 20,
    2000: 10,
    2050: 12,
    2100: 14,
    2140: 16,
    2150: 18,
    2200: 20,
}
#: Exercise 13144 of brainmass.com, a tutoring site: reels out of raw ones of 100. Data only; 77 by two codes. By hand:
#: at 1 for 90, 1/2 for 50, 1/3 for 30, 1/4 for 25 no pattern is worth more than its bar, and all come to 77.
REELS = {30: 60, 50: 48, 25: 36, 90: 24}
#: The anomaly of first-fit-decreasing (R. L. Graham, E. G. Coffman and others; from memory): more room, more bins.
ANOMALY = {44: 1, 24: 2, 22: 1, 21: 1, 17: 1, 8: 2, 6: 2}


def plan(length, wanted, kerf=0.0):
    pieces = [Piece(f"piece of {size}", size / 1e3, count) for size, count in wanted.items()]
    return cutting(pieces, [Stock(length / 1e3)], kerf / 1e3)


def first_fit_decreasing(length, wanted, kerf=0):
    """Number of bars, the longest pieces first, each into the first bar with room."""
    bars = []
    for size in sorted(np.repeat(list(wanted), list(wanted.values())).tolist(), reverse=True):
        n = next((n for n, room in enumerate(bars) if room >= size + kerf), None)
        if n is None:
            bars.append(length + kerf)
            n = -1
        bars[n] -= size + kerf
    return len(bars)


def linear(length, wanted):
    """How many patterns there are, and how few bars do if they need not be whole in number."""
    sizes = sorted(wanted, reverse=True)
    columns = np.array(list(patterns(length, sizes, [wanted[size] for size in sizes])))
    demand = [wanted[size] for size in sizes]
    return len(columns), linprog(np.ones(len(columns)), A_ub=-columns.T, b_ub=np.negative(demand)).fun


@pytest.mark.parametrize(
    ("length", "wanted", "bars", "count", "least"),
    [(5600, ROLLS, 73, 213, 72.9167), (100, REELS, 77, 8, 24 + 48 / 2 + 60 / 3 + 36 / 4)],
    ids=["rolls", "reels"],
)
def test_the_fewest_bars_are_those_published(length, wanted, bars, count, least):
    answer = plan(length, wanted)
    assert (len(answer.bars), answer.bound, answer.proven) == (bars, bars, True)
    assert linear(length, wanted) == (count, pytest.approx(least, abs=5e-5))


def test_rolls_need_as_much_material_as_is_published():
    assert sum(size * count for size, count in ROLLS.items()) / 5600 == pytest.approx(72.7, abs=0.05)


def test_patterns_are_as_many_as_published():
    """Question 3305190 of math.stackexchange.com: 80, 45 and 27 out of 180, less than 27 left: nine patterns."""
    found = list(patterns(180, [80, 45, 27], [180] * 3))
    assert len(found) == len(set(found)) == 9
    assert all(0 <= 180 - np.dot(p, [80, 45, 27]) < 27 for p in found)


@pytest.mark.parametrize(("length", "simple"), [(60, 3), (61, 4)])
def test_a_longer_bar_fools_first_fit_but_not_the_plan(length, simple):
    assert first_fit_decreasing(length, ANOMALY) == simple
    assert (len(plan(length, ANOMALY).bars), plan(length, ANOMALY).proven) == (3, True)


@pytest.mark.parametrize(
    ("wanted", "kerf", "bars"), [({250: 4}, 0, 2), ({100: 10}, 0, 2), ({250: 4}, 3, 4), ({100: 10}, 3, 3)]
)
def test_kerf_costs_bars_as_counted_by_hand(wanted, kerf, bars):
    """
    Arithmetic, bars of 500: with a kerf of 3 two pieces of 250 need 503, five of 100 need 512.

    A bar cut into k pieces loses k - 1 kerfs where the last piece ends at its end.
    """
    answer = plan(500, wanted, kerf)
    assert (len(answer.bars), answer.proven) == (bars, True)


def test_the_greedy_way_takes_a_bar_more():
    """Own search, split checked by hand: 240 + 155 + 90 with two kerfs are 491, 175 + 110 + 100 + 80 with three 474."""
    wanted = dict.fromkeys((240, 175, 155, 110, 100, 90, 80), 1)
    assert first_fit_decreasing(500, wanted, 3) == 3
    answer = plan(500, wanted, 3)
    assert (len(answer.bars), answer.bound, answer.proven) == (2, 2, True)
    assert sorted(round(1e3 * bar.cuts[-1][2]) for bar in answer.bars) == [474, 491]
