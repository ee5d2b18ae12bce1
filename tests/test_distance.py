"""Distances of lines and boxes: by hand, against bounded least squares and sampling, and what may not change them."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import lsq_linear, minimize
from scipy.spatial.transform import Rotation

from loopmath.checks import InputError, OutOfRange
from loopmath.laws import distance as law

SEED = st.integers(0, 2**32 - 1)
#: Coordinates on a coarse grid are often parallel, in line, touching or of no length.
COARSE = st.tuples(*[st.integers(-2, 2)] * 3).map(lambda p: np.array(p, dtype=float))
FINE = st.tuples(*[st.floats(-1, 1)] * 3).map(np.array)
POINT = st.one_of(COARSE, FINE)
ZERO = np.zeros(3)


def box_of(p, q):
    return np.minimum(p, q), np.maximum(p, q)


def to_point(a0, a1, p):
    """Return the distance of points from one segment, by projection."""
    u = a1 - a0
    t = np.clip((p - a0) @ u / (u @ u), 0, 1) if u @ u > 0 else np.zeros(len(p))
    return np.linalg.norm(p - a0 - t[..., None] * u, axis=-1)


def least_of(f, rounds=14, points=41):
    """Return the least value of a convex function of 0 to 1, by sampling ever closer round the best sample."""
    low, high = 0.0, 1.0
    for _ in range(rounds):
        t = np.linspace(low, high, points)
        values = f(t)
        k = int(np.argmin(values))
        low, high = t[max(k - 1, 0)], t[min(k + 1, points - 1)]
    return values.min()


def sampled_segments(a0, a1, b0, b1):
    return least_of(lambda s: to_point(b0, b1, a0 + s[:, None] * (a1 - a0)))


def sampled_box(a0, a1, low, high):
    def gap(t):
        p = a0 + t[:, None] * (a1 - a0)
        return np.linalg.norm(p - np.clip(p, low, high), axis=1)

    return least_of(gap)


def walk(rng, corners, size=1.0, square=False):
    """Return a line of random legs, along the axes if it is square."""
    legs = rng.normal(size=(corners - 1, 3)) * size
    if square:
        legs *= np.eye(3)[rng.integers(3, size=corners - 1)]
    return rng.uniform(-1, 1, 3) + np.vstack([ZERO, np.cumsum(legs, axis=0)])


def boxes_of(rng, count, size=1.0):
    middle, half = rng.uniform(-2, 2, (count, 3)), rng.uniform(0.05, 0.5, (count, 3)) * size
    return np.stack([middle - half, middle + half], axis=1)


def on_line(line, point):
    return min(to_point(p, q, point[None])[0] for p, q in zip(line[:-1], line[1:], strict=True))


# ------------------------------------------------------------------------------------------ segment to segment


@pytest.mark.parametrize(
    ("a0", "a1", "b0", "b1", "distance"),
    [
        ((0, 0, 0), (2, 0, 0), (1, -1, 3), (1, 1, 3), 3.0),  # cross, one above the other
        ((0, 0, 0), (2, 0, 0), (1, -1, 0), (1, 1, 0), 0.0),  # cross
        ((0, 0, 0), (2, 0, 0), (1, 0, 0), (1, 1, 0), 0.0),  # a T
        ((0, 0, 0), (2, 0, 0), (2, 0, 0), (2, 1, 0), 0.0),  # a corner
        ((0, 0, 0), (2, 0, 0), (1, 2, 0), (5, 2, 0), 2.0),  # parallel, side by side
        ((0, 0, 0), (2, 0, 0), (5, 2, 0), (1, 2, 0), 2.0),  # the same, run backwards
        ((0, 0, 0), (2, 0, 0), (5, 4, 0), (9, 4, 0), 5.0),  # parallel, one past the other
        ((0, 0, 0), (2, 0, 0), (1, 0, 0), (5, 0, 0), 0.0),  # in line, overlapping
        ((0, 0, 0), (2, 0, 0), (3, 0, 0), (5, 0, 0), 1.0),  # in line, apart
        ((0, 0, 0), (9, 0, 0), (3, 0, 0), (5, 0, 0), 0.0),  # in line, one within the other
        ((0, 0, 0), (2, 0, 0), (0, 0, 0), (2, 0, 0), 0.0),  # the same twice
        ((0, 0, 0), (2, 0, 0), (5, 4, 0), (5, 9, 0), 5.0),  # end to end
        ((0, 0, 0), (2, 0, 0), (1, 3, 4), (1, 3, 4), 5.0),  # one without length
        ((1, 3, 4), (1, 3, 4), (0, 0, 0), (2, 0, 0), 5.0),
        ((1, 2, 3), (1, 2, 3), (1, 5, 7), (1, 5, 7), 5.0),  # both without length
        ((1, 2, 3), (1, 2, 3), (1, 2, 3), (1, 2, 3), 0.0),
        ((0, 0, 0), (4, 4, 0), (4, 0, 0), (3, 1, 0), math.sqrt(2)),  # square to it, too short to reach it
    ],
)
def test_segments_by_hand(a0, a1, b0, b1, distance):
    found, on_a, on_b = law.segments(a0, a1, b0, b1)
    assert found == pytest.approx(distance, abs=1e-15)
    assert np.linalg.norm(on_a - on_b) == pytest.approx(distance, abs=1e-15)


@settings(deadline=None)
@given(POINT, POINT, POINT, POINT)
def test_segments_agree_with_sampling_also_where_they_degenerate(a0, a1, b0, b1):
    found, on_a, on_b = law.segments(a0, a1, b0, b1)
    assert found == pytest.approx(sampled_segments(a0, a1, b0, b1), abs=2e-8)
    # No pair of points that were tried is nearer than what was found.
    assert found <= sampled_segments(a0, a1, b0, b1) + 1e-14
    # The points are on their segments and as far apart as told.
    assert np.linalg.norm(on_a - on_b) == pytest.approx(found, abs=1e-14)
    assert to_point(a0, a1, on_a[None])[0] <= 1e-14
    assert to_point(b0, b1, on_b[None])[0] <= 1e-14


@settings(deadline=None)
@given(SEED)
def test_segments_agree_with_bounded_least_squares(seed):
    a0, a1, b0, b1 = np.random.default_rng(seed).normal(size=(4, 3))
    answer = lsq_linear(np.stack([a1 - a0, b0 - b1], axis=1), b0 - a0, (0, 1), method="bvls", tol=1e-14)
    assert law.segments(a0, a1, b0, b1)[0] == pytest.approx(np.linalg.norm(answer.fun), rel=1e-9, abs=1e-9)


def test_segments_agree_with_a_general_minimiser():
    for a0, a1, b0, b1 in np.random.default_rng(7).normal(size=(20, 4, 3)):

        def square(x, a0=a0, a1=a1, b0=b0, b1=b1):
            apart = a0 + x[0] * (a1 - a0) - b0 - x[1] * (b1 - b0)
            return apart @ apart

        answer = minimize(square, [0.5, 0.5], bounds=[(0, 1), (0, 1)], options={"ftol": 1e-15, "gtol": 1e-10})
        assert law.segments(a0, a1, b0, b1)[0] == pytest.approx(math.sqrt(answer.fun), abs=1e-7)


@pytest.mark.parametrize("angle", [1e-2, 1e-4, 1e-6, 1e-8, 1e-10])
@pytest.mark.parametrize("height", [0.0, 1e-6, 0.1])
def test_segments_that_are_nearly_parallel_keep_their_digits(angle, height):
    """They cross in the inside of both, `height` apart, so that is the distance however small the angle."""
    along, turned = np.array([1.0, 0, 0]), np.array([math.cos(angle), math.sin(angle), 0])
    at = np.array([0.37, 0.2, 0.11])
    found = law.segments(at - 0.8 * along, at + along, at - 0.6 * turned + [0, 0, height], at + turned + [0, 0, height])
    assert found[0] == pytest.approx(height, abs=3e-16)


@settings(deadline=None)
@given(POINT, POINT, POINT, POINT, POINT, SEED)
def test_segments_keep_their_distance_when_moved_turned_scaled_or_exchanged(a0, a1, b0, b1, by, seed):
    distance = law.segments(a0, a1, b0, b1)[0]
    turned = Rotation.random(random_state=seed % 2**32).apply([a0, a1, b0, b1])
    for other, times in (
        (law.segments(b0, b1, a0, a1), 1),
        (law.segments(a1, a0, b0, b1), 1),
        (law.segments(a0 + by, a1 + by, b0 + by, b1 + by), 1),
        (law.segments(*turned), 1),
        (law.segments(*(1e-3 * p for p in (a0, a1, b0, b1))), 1e-3),
        (law.segments(*(1e3 * p for p in (a0, a1, b0, b1))), 1e3),
    ):
        assert other[0] == pytest.approx(times * distance, abs=times * 1e-14)


@settings(deadline=None)
@given(POINT, POINT, POINT, POINT, POINT, POINT)
def test_segments_keep_the_bounds_of_the_triangle(a0, a1, b0, b1, c0, c1):
    ab, bc, ac = (law.segments(*x)[0] for x in ((a0, a1, b0, b1), (b0, b1, c0, c1), (a0, a1, c0, c1)))
    assert ac <= ab + np.linalg.norm(b1 - b0) + bc + 1e-14
    # A move changes no distance by more than itself: what `slides_free` stands on.
    moved = law.segments(a0 + c0, a1 + c0, b0, b1)[0]
    assert abs(moved - ab) <= np.linalg.norm(c0) + 1e-14


def test_segments_and_boxes_broadcast():
    rng = np.random.default_rng(1)
    a0, a1, b0, b1 = rng.normal(size=(4, 5, 1, 3)) + np.array([0, 0, 0.5])
    b0, b1 = b0.reshape(1, 5, 3), b1.reshape(1, 5, 3)
    for law_of, p, q in ((law.segments, b0, b1), (law.to_box, *box_of(b0, b1))):
        found, on_a, on_b = law_of(a0, a1, p, q)
        assert (found.shape, on_a.shape, on_b.shape) == ((5, 5), (5, 5, 3), (5, 5, 3))
        for i in range(5):
            for j in range(5):
                one = law_of(a0[i, 0], a1[i, 0], p[0, j], q[0, j])
                assert found[i, j] == one[0]
                np.testing.assert_array_equal(on_a[i, j], one[1])
                np.testing.assert_array_equal(on_b[i, j], one[2])


# ---------------------------------------------------------------------------------------------- segment to box


@pytest.mark.parametrize(
    ("a0", "a1", "distance"),
    [
        ((-1, 1, 6), (3, 1, 6), 2.0),  # over the top
        ((5, 1, 8), (9, 1, 9), 5.0),  # past the edge: 3 across, 4 up
        ((4, 6, 10), (4, 6, 12), 7.0),  # past the corner: 2, 3 and 6 off it
        ((1, 1, 1), (1, 2, 1), 0.0),  # inside
        ((-5, 1, 1), (5, 1, 1), 0.0),  # through
        ((-5, 1, 1), (1, 1, 1), 0.0),  # in
        ((-5, 1, 1), (0, 1, 1), 0.0),  # up to it
        ((-1, 1, 4), (3, 1, 4), 0.0),  # along its top
        ((-1, 3, 4), (3, 3, 4), 0.0),  # along its edge
        ((1, 1, 9), (1, 1, 9), 5.0),  # without length, outside
        ((1, 1, 1), (1, 1, 1), 0.0),  # without length, inside
        ((0, -1, 6), (0, 4, 6), 2.0),  # over the top in the plane of a side
        ((3, -1, 1), (-1, 3, 1), 0.0),  # diagonal through the side by its edge
        ((4, 1, 1), (1, 6, 1), 4 / math.sqrt(34)),  # past an edge: 5 x + 3 y is 23 on the line, 19 there
    ],
)
def test_box_by_hand(a0, a1, distance):
    """The box is 2 x 3 x 4 from the origin."""
    for p, q in ((a0, a1), (a1, a0)):
        found, on_a, on_box = law.to_box(p, q, ZERO, [2, 3, 4])
        assert found == pytest.approx(distance, abs=1e-15)
        assert np.linalg.norm(on_a - on_box) == pytest.approx(distance, abs=1e-15)


def test_box_tells_the_middle_of_what_is_equally_near():
    for a0, a1 in (((-1, 1, 6), (4, 1, 6)), ((-1, 1, 2), (4, 1, 2))):  # over it, through it
        np.testing.assert_allclose(law.to_box(a0, a1, ZERO, [2, 3, 4])[1], [1, 1, a0[2]], atol=1e-15)
    # In and no further, and inside from end to end.
    np.testing.assert_allclose(law.to_box([-1, 1, 2], [1, 1, 2], ZERO, [2, 3, 4])[1], [0.5, 1, 2], atol=1e-15)
    np.testing.assert_allclose(law.to_box([0.5, 1, 2], [1.5, 1, 3], ZERO, [2, 3, 4])[1], [1, 1, 2.5], atol=1e-15)


@pytest.mark.parametrize("slant", [1e-2, 1e-5, 1e-8, 1e-11])
def test_box_keeps_its_digits_where_a_segment_comes_down_at_a_slant(slant):
    """It ends on the box's edge, where the steep face begins to count: the distance is 0 however small the slant."""
    end = np.array([0.1, 0.75, 0.83])
    for thick in (0.1, 0.0):
        found = law.to_box(end + [0, -1.1142, slant], end, end - [thick, 0.75, 0.83], end)
        assert found[0] == pytest.approx(0, abs=3e-16)


@settings(deadline=None)
@given(POINT, POINT, POINT, POINT)
def test_box_agrees_with_sampling_also_where_it_is_flat(a0, a1, p, q):
    low, high = box_of(p, q)
    found, on_a, on_box = law.to_box(a0, a1, low, high)
    sampled = sampled_box(a0, a1, low, high)
    assert found == pytest.approx(sampled, abs=2e-8)
    assert found <= sampled + 1e-14
    assert np.linalg.norm(on_a - on_box) == pytest.approx(found, abs=1e-15)
    assert to_point(a0, a1, on_a[None])[0] <= 1e-14
    assert np.all((low <= on_box) & (on_box <= high))


@settings(deadline=None)
@given(SEED)
def test_box_agrees_with_bounded_least_squares(seed):
    rng = np.random.default_rng(seed)
    a0, a1, p, q = rng.normal(size=(4, 3))
    low, high = box_of(p, q)
    matrix = np.column_stack([a1 - a0, -np.eye(3)])
    answer = lsq_linear(matrix, -a0, (np.r_[0, low], np.r_[1, high]), method="bvls", tol=1e-15)
    # It stops where its gain is small, so near 0 it holds the square.
    assert law.to_box(a0, a1, low, high)[0] ** 2 == pytest.approx(answer.fun @ answer.fun, rel=1e-8, abs=1e-12)


@settings(deadline=None)
@given(POINT, POINT, POINT, st.floats(-2, 2), st.integers(0, 2))
def test_a_box_as_thin_as_a_line_is_a_segment(a0, a1, b0, length, axis):
    b1 = b0 + length * np.eye(3)[axis]
    assert law.to_box(a0, a1, *box_of(b0, b1))[0] == pytest.approx(law.segments(a0, a1, b0, b1)[0], abs=1e-14)


@settings(deadline=None)
@given(POINT, POINT, POINT, POINT, POINT, st.permutations(range(3)))
def test_box_keeps_its_distance_when_moved_mirrored_or_scaled(a0, a1, p, q, by, order):
    low, high = box_of(p, q)
    distance = law.to_box(a0, a1, low, high)[0]
    for other, times in (
        (law.to_box(a1, a0, low, high), 1),
        (law.to_box(a0 + by, a1 + by, low + by, high + by), 1),
        (law.to_box(-a0, -a1, -high, -low), 1),
        (law.to_box(*(x[list(order)] for x in (a0, a1, low, high))), 1),
        (law.to_box(*(1e-3 * x for x in (a0, a1, low, high))), 1e-3),
    ):
        assert other[0] == pytest.approx(times * distance, abs=times * 1e-14)


# ------------------------------------------------------------------------------------------------ many at once


@settings(deadline=None)
@given(SEED, st.booleans())
def test_lines_find_the_nearest_of_all_pairs(seed, square):
    rng = np.random.default_rng(seed)
    some = [walk(rng, n, square=square) for n in (2, 7, 20)]
    others = [walk(rng, n, square=square) for n in (3, 30, 2, 11)]
    boxes = boxes_of(rng, 6)
    for (found, on_some, on_other), kind in (
        (law.lines_to_lines(some, others), "lines"),
        (law.lines_to_boxes(some, boxes), "boxes"),
    ):
        for i, a in enumerate(some):
            for j, b in enumerate(others if kind == "lines" else boxes):
                if kind == "lines":
                    all_pairs = law.segments(a[:-1, None], a[1:, None], b[:-1], b[1:])[0]
                    assert on_line(b, on_other[i, j]) <= 1e-13
                else:
                    all_pairs = law.to_box(a[:-1], a[1:], *b)[0]
                    assert np.all((b[0] <= on_other[i, j]) & (on_other[i, j] <= b[1]))
                assert found[i, j] == pytest.approx(all_pairs.min(), abs=1e-14)
                assert np.linalg.norm(on_some[i, j] - on_other[i, j]) == pytest.approx(found[i, j], abs=1e-14)
                assert on_line(a, on_some[i, j]) <= 1e-13


def test_one_line_is_the_same_as_several():
    rng = np.random.default_rng(3)
    a, b, box = walk(rng, 9), walk(rng, 5), boxes_of(rng, 1)
    for one, many in (
        (law.lines(a, b), law.lines_to_lines([a], [b])),
        (law.line_to_box(a, *box[0]), law.lines_to_boxes([a], box)),
    ):
        assert isinstance(one[0], float)
        assert one[0] == many[0][0, 0]
        np.testing.assert_array_equal(one[1:], [many[1][0, 0], many[2][0, 0]])


def test_nothing_to_compare_with_is_no_distance():
    a = [[0, 0, 0], [1, 0, 0]]
    assert law.lines_to_lines([a, a], [])[0].shape == (2, 0)
    assert law.lines_to_lines([], [a])[1].shape == (0, 1, 3)
    assert law.lines_to_boxes([a], [])[0].shape == (1, 0)
    assert law.slides_free(a, [0, 0, 1], 2.0, 0.1) == (2.0, None)


def test_a_box_the_line_is_wholly_in_is_touched():
    """No corner or face is near, and the bounding boxes tell nothing."""
    inside = np.array([[0.4, 0.5, 0.5], [0.6, 0.5, 0.5], [0.6, 0.6, 0.5]])
    assert law.line_to_box(inside, ZERO, [1, 1, 1])[0] == 0.0


# ------------------------------------------------------------------------------------------------------ escape


@pytest.mark.parametrize(
    ("line", "move", "direction"),
    [
        ([(-5, 1.5, 3), (5, 1.5, 3)], 1.0, (0, 0, 1)),  # through, 1 below the top
        ([(-5, 0.5, 2), (5, 0.5, 2)], 0.5, (0, -1, 0)),  # through, near the front
        ([(1, 1.5, 3.5), (1, 1.5, 9)], 0.5, (0, 0, 1)),  # its end is 0.5 below the top
        ([(-5, 1, 4), (5, 1, 4)], 0.0, (0, 0, 0)),  # along the top: touches
        ([(-5, 1, 1), (0, 1, 1)], 0.0, (0, 0, 0)),  # up to it
        ([(-5, 1, 7), (5, 1, 7)], 0.0, (0, 0, 0)),  # over it
        ([(-5, 1.2, 3), (1.5, 1.2, 3), (1.5, 1.2, 9)], 1.0, (0, 0, 1)),  # bends inside
        ([(1, 1, 3.75), (1, 1, 3.75)], 0.25, (0, 0, 1)),  # a point
        ([(-1, 1.5, 3), (3, 1.5, 1)], 1.5, (0, 1, 0)),  # slanting: 2.5 up at x 0, 1.5 to either side
    ],
)
def test_escape_by_hand(line, move, direction):
    """The box is 2 x 3 x 4 from the origin."""
    found, way = law.escape(line, ZERO, [2, 3, 4])
    assert found == pytest.approx(move, abs=1e-15)
    np.testing.assert_array_equal(way, direction)


def test_escape_sees_whether_the_box_fits_between_two_legs():
    """Two legs 5 apart in z, the lower one at 0 and in the box."""
    hairpin = np.array([(-50, 0, 0), (50, 0, 0), (50, 50, 0), (50, 50, 5), (50, 0, 5), (-50, 0, 5)], dtype=float)
    # 4 high, -1 to 3: down by 1 leaves the lower leg under it and the upper one, then at 4, over it.
    found, way = law.escape(hairpin, [-9, -9, -1], [9, 9, 3])
    assert (found, way.tolist()) == (1.0, [0, 0, -1])
    # 5.5 high, -1 to 4.5: it does not fit, so both legs go over it.
    found, way = law.escape(hairpin, [-9, -9, -1], [9, 9, 4.5])
    assert (found, way.tolist()) == (4.5, [0, 0, 1])


@pytest.mark.parametrize("upper", [[(10, -5, 4.5), (10, 15, 4.5)], [(15, 5, 4.5), (5, 15, 4.5)]])
def test_escape_lets_a_leg_pass_that_only_touches_the_shadow(upper):
    """The lower leg is 1.5 up in a box 4 high. The upper one slides down along a side, or along an upright edge."""
    line = [(-5, 5, 1.5), (15, 5, 1.5), (15, -5, 1.5), (15, -5, 4.5), *upper]
    found, way = law.escape(line, ZERO, [10, 10, 4])
    assert (found, way.tolist()) == (1.5, [0, 0, -1])


def test_escape_from_a_panel_without_thickness():
    low, high = np.array([-3.0, -2, 1]), np.array([3.0, 2, 1])
    for line in ([(0, 1, 0), (0, 1, 4)], [(0, 1, 0), (0, 1, 1), (0, 1, 4)]):  # also with a corner in the panel
        found, way = law.escape(line, low, high)
        assert (found, way.tolist()) == (1.0, [0, 1, 0])
    # Drawn through by its short end.
    found, way = law.escape([(0, 1, 0.75), (0, 1, 1), (0, 1, 4)], low, high)
    assert (found, way.tolist()) == (0.25, [0, 0, 1])
    # Touching it with a corner, lying in it, passing beside it.
    for line in ([(0, 0, 0), (1, 0, 1), (2, 0, 0)], [(-9, 0, 1), (9, 0, 1)], [(4, 0, 0), (4, 0, 2)]):
        assert law.escape(line, low, high)[0] == 0.0


@settings(deadline=None)
@given(SEED, st.integers(2, 7), st.booleans())
def test_escape_is_out_and_nothing_shorter_is(seed, corners, square):
    rng = np.random.default_rng(seed)
    line = walk(rng, corners, 0.7, square)
    [(low, high)] = boxes_of(rng, 1, 2.0) * 0.5
    move, way = law.escape(line, low, high)
    hair = 1e-9
    core = np.array([[low + hair, high - hair]])
    assert law.lines_to_boxes([line + move * way], core)[0][0, 0] > hair / 2
    tried = np.linspace(0, 1, 60, endpoint=False) * (move - 3 * hair)
    shifts = (tried[:, None, None] * np.vstack([np.eye(3), -np.eye(3)])).reshape(-1, 3) if move > 3 * hair else []
    if len(shifts):
        assert np.all(law.lines_to_boxes([line + shift for shift in shifts], core)[0] <= 1e-12)
    else:
        assert move == 0


# ---------------------------------------------------------------------------------------------------- crossing

PANEL = np.array([-1.0, -2, 0.10]), np.array([1.0, 2, 0.16])


def test_crossing_straight_and_slanting():
    [hole] = law.crossing([(0.5, 0.5, 0), (0.5, 0.5, 1)], *PANEL)
    np.testing.assert_allclose(hole.entry, [0.5, 0.5, 0.10])
    np.testing.assert_allclose(hole.exit, [0.5, 0.5, 0.16])
    np.testing.assert_allclose(hole.middle, [0.5, 0.5, 0.13])
    assert hole.angle == 0.0
    # 3-4-5: 4 up for 3 across.
    [hole] = law.crossing([(0, 0, 0.4), (0, -0.3, 0)], *PANEL)
    np.testing.assert_allclose(hole.entry, [0, -0.18, 0.16])
    np.testing.assert_allclose(hole.exit, [0, -0.225, 0.10])
    assert hole.angle == pytest.approx(math.atan2(3, 4))


def test_crossing_there_and_back_and_with_a_bend_inside():
    there, back = law.crossing([(0, 0, 0), (0, 0, 1), (0.5, 0, 1), (0.5, 0, -1)], *PANEL)
    assert (there.entry[2], there.exit[2], back.entry[2], back.exit[2]) == (0.10, 0.16, 0.16, 0.10)
    assert (there.middle[0], back.middle[0]) == (0, 0.5)
    [bent] = law.crossing([(0, 0, 0), (0, 0, 0.13), (0.07, 0, 0.20)], *PANEL)
    np.testing.assert_allclose(bent.exit, [0.03, 0, 0.16])
    assert bent.angle == pytest.approx(math.pi / 4)
    assert law.crossing([(0.07, 0, 0.20), (0, 0, 0.13), (0, 0, 0)], *PANEL)[0].angle == bent.angle


@pytest.mark.parametrize(
    "line",
    [
        [(0, 0, 0), (0, 0, 0.09)],  # short of it
        [(0, 0, 0), (0, 0, 0.13)],  # ends in it
        [(0, 0, 0.13), (0, 0, 1)],  # starts in it
        [(0, 0, 0), (0, 0, 0.13), (0.5, 0, 0.13), (0.5, 0, 0)],  # back on the same side
        [(0, 0, 0), (0, 0, 0.10), (0.5, 0, 0.10), (0.5, 0, 0)],  # touches
        [(1.5, 0, 0), (1.5, 0, 1)],  # beside it
        [(0, 0, 0.13), (5, 0, 0.13)],  # along the inside of it and out by the rim
        [(0.99, 0, 0), (0.99, 0, 0.13), (1.2, 0, 0.13), (1.2, 0, 1)],  # in by the face, out by the rim
    ],
)
def test_no_crossing(line):
    assert law.crossing(line, *PANEL) == []


def test_crossing_a_panel_without_thickness():
    low, high = np.array([0.2, -1, -1]), np.array([0.2, 1, 1])
    for line in (
        [(0, 0, 0), (1, 0, 0)],
        [(0, 0, 0), (0.2, 0, 0), (1, 0, 0)],
        [(0, 0, 0), (0.2, 0, 0), (0.2, 0, 0), (1, 0, 0)],
    ):
        [hole] = law.crossing(line, low, high)
        np.testing.assert_array_equal([hole.entry, hole.exit, hole.middle], [(0.2, 0, 0)] * 3)
        assert hole.angle == 0.0
    assert law.crossing([(0, 0, 0), (0.2, 0, 0), (0, 0.5, 0)], low, high) == []


@settings(deadline=None)
@given(SEED, st.integers(0, 2))
def test_crossings_alternate_and_lie_on_the_line(seed, normal):
    rng = np.random.default_rng(seed)
    line = walk(rng, 12, 0.6)
    low, high = np.full(3, -99.0), np.full(3, 99.0)
    low[normal], high[normal] = -0.05, 0.05
    holes = law.crossing(line, low, high)
    # A panel without end is passed whenever the line has been on the one side and comes to be on the other.
    side = np.sign(line[:, normal])[np.abs(line[:, normal]) > 0.05]
    assert len(holes) == np.count_nonzero(np.diff(side))
    for hole in holes:
        assert on_line(line, hole.entry) <= 1e-13
        assert on_line(line, hole.exit) <= 1e-13
        assert abs(hole.entry[normal]) == abs(hole.exit[normal]) == 0.05
        assert hole.entry[normal] == -hole.exit[normal]


# ------------------------------------------------------------------------------------------------- slides free

POST = np.array([(0.0, 0, -1), (0, 0, 1)])


def test_sliding_head_on_stops_where_the_walls_meet():
    """A post of radius 0.1 at x -2 and one of 0.3 at 0: 1.6 of the 2 are free; the box's face is at x 1: 2.9."""
    start = POST - [2, 0, 0]
    moved, by = law.slides_free(start, [5, 0, 0], 9.0, 0.1, [(POST + [9, 9, 9], 1.0), (POST, 0.3)])
    assert (moved, by) == (pytest.approx(1.6, abs=1e-12), ("line", 1))
    box = [[1, -1, -1], [2, 1, 1]]
    moved, by = law.slides_free(start, [1, 0, 0], 9.0, 0.1, boxes=[[[7, 7, 7], [8, 8, 8]], box])
    assert (moved, by) == (pytest.approx(2.9, abs=1e-12), ("box", 1))
    # The first of both; and what lies beyond the travel stops nothing.
    assert law.slides_free(start, [1, 0, 0], 9.0, 0.1, [(POST, 0.3)], [box])[1] == ("line", 0)
    assert law.slides_free(start, [1, 0, 0], 1.59, 0.1, [(POST, 0.3)], [box]) == (1.59, None)
    assert law.slides_free(start, [1, 0, 0], 0.0, 0.1, [(POST, 0.3)]) == (0.0, None)


@pytest.mark.parametrize("beside", [0.0, 0.1, 0.3, 0.39, 0.3999, 0.399999])
def test_a_grazing_pass_stops_where_two_circles_meet(beside):
    """Posts of 0.1 and 0.3 whose middles pass `beside`: they meet 2 - sqrt(0.4^2 - beside^2) on, by Pythagoras."""
    moved, by = law.slides_free(POST - [2, beside, 0], [1, 0, 0], 9.0, 0.1, [(POST, 0.3)])
    assert by == ("line", 0)
    assert moved == pytest.approx(2 - math.sqrt(0.16 - beside**2), abs=1e-9)
    # The same against the edge of a box, which is round once the tube's radius is added.
    moved, by = law.slides_free(POST - [2, beside, 0], [1, 0, 0], 9.0, 0.4, boxes=[[[0, 0, -1], [1, 1, 1]]])
    assert (moved, by) == (pytest.approx(2 - math.sqrt(0.16 - beside**2), abs=1e-9), ("box", 0))


def test_the_nearer_of_two_contacts_that_are_close_is_told():
    """One post is met head on, at once; one that is met 2 mm sooner is met at a slant, so its steps are still going."""
    sooner = math.sqrt(0.16 - 0.39**2) - 0.402  # where a post 0.39 beside has to stand
    posts = [(POST, 0.3), (POST + [sooner, 0.39, 0], 0.3)]
    for order in (1, -1):
        moved, by = law.slides_free(POST - [2, 0, 0], [1, 0, 0], 9.0, 0.1, posts[::order])
        assert moved == pytest.approx(1.598, abs=1e-12)
        assert by == ("line", 1 if order == 1 else 0)


@pytest.mark.parametrize("beside", [0.4, 0.400001, 0.5])
def test_a_grazing_pass_that_only_touches_goes_on(beside):
    assert law.slides_free(POST - [2, beside, 0], [1, 0, 0], 9.0, 0.1, [(POST, 0.3)]) == (9.0, None)
    assert law.slides_free(POST - [2, beside, 0], [1, 0, 0], 9.0, 0.4, boxes=[[[0, 0, -1], [1, 1, 1]]]) == (9.0, None)


def test_what_touches_at_the_start_stops_only_what_comes_nearer():
    box = [[[0, 0, 0], [1, 1, 1]]]
    for height in (0.1, 0.06):  # lies on it; already too near
        lying = np.array([(0.2, 0.5, 1 + height), (0.8, 0.5, 1 + height)])
        for free in ((1, 0, 0), (0, -1, 0), (0, 0, 1), (1, 2, 3)):
            assert law.slides_free(lying, free, 5.0, 0.1, boxes=box) == (5.0, None), (height, free)
        for stopped in ((0, 0, -1), (1, 0, -0.01)):
            assert law.slides_free(lying, stopped, 5.0, 0.1, boxes=box) == (pytest.approx(0, abs=1e-12), ("box", 0))
    # Two posts that touch: apart and around each other, not together.
    beside = POST + [0.4, 0, 0]
    assert law.slides_free(beside, [1, 0, 0], 5.0, 0.1, [(POST, 0.3)]) == (5.0, None)
    assert law.slides_free(beside, [0, 1, 0], 5.0, 0.1, [(POST, 0.3)]) == (5.0, None)
    assert law.slides_free(beside, [-1, 9, 0], 5.0, 0.1, [(POST, 0.3)])[1] == ("line", 0)


def test_rounding_at_the_start_holds_nothing():
    """Posts along each other that touch, that are too near, and whose centre lines cross, turned every way."""
    across = np.array([(-1.0, 0, 0.3), (1, 0, 0.3)])
    for tilt in Rotation.random(40, random_state=1):
        post = tilt.apply(POST)
        for other in (0.3, 0.35):
            beside = tilt.apply(POST + [0.4, 0, 0])
            assert law.slides_free(beside, tilt.apply([0, 0, 1]), 5.0, 0.1, [(post, other)]) == (5.0, None)
        for direction in np.eye(3):
            assert law.slides_free(tilt.apply(across), direction, 5.0, 0.1, [(post, 0.3)]) == (5.0, None)


@pytest.mark.parametrize("depth", [0.0, 0.02])
def test_a_tube_leaves_its_socket_and_does_not_go_deeper(depth):
    """A tube that starts in the top of a block, or on its face, rises 0.5, and turns over a second block."""
    tube = np.array([(0.5, 0.5, 1 - depth), (0.5, 0.5, 1.5), (3, 0.5, 1.5)])
    block, other = [[0, 0, 0], [1, 1, 1]], [[2, 0, 0], [3, 1, 1.2]]
    assert law.slides_free(tube, [0, 0, 1], 5.0, 0.1, boxes=[block, other]) == (5.0, None)
    assert law.slides_free(tube, [0, 0, -1], 5.0, 0.1, boxes=[block, other]) == (0.0, ("box", 0))
    assert law.slides_free(tube, [0.2, 0, -1], 5.0, 0.1, boxes=[other, block]) == (0.0, ("box", 1))
    # Its other legs are judged for themselves: out, then the leg over the second block comes down on it.
    up = tube + [0, 0, 0.3]
    moved, by = law.slides_free(up, [0, 0, -1], 5.0, 0.1, boxes=[block, other])
    assert (moved, by) == (pytest.approx(min(0.2 - depth, 0.5), abs=1e-12), ("box", 0))
    assert law.slides_free(up, [0, 0, -1], 5.0, 0.1, boxes=[other])[0] == pytest.approx(0.5, abs=1e-12)


def test_steps_that_run_out_stop_short_of_the_contact(monkeypatch):
    """A pass that grazes by a millionth takes the most steps; each of them is free."""
    contact = 2 - math.sqrt(0.16 - 0.399999**2)
    for steps in (1, 2, 5, 10):
        monkeypatch.setattr(law, "STEPS", steps)
        moved, by = law.slides_free(POST - [2, 0.399999, 0], [1, 0, 0], 9.0, 0.1, [(POST, 0.3)])
        assert 0 < moved < contact
        assert by == ("line", 0)


def judged_apart(line, direction, shifts, reach, pairs, touch):
    """Return at which of dense shifts any segment is nearer to another or to a box than it may be, beyond touching."""
    bad = np.zeros(len(shifts), dtype=bool)
    for measure, start, end, far in pairs:
        moved = line + shifts[:, None, None] * direction
        gap = measure(moved[:, :-1, None], moved[:, 1:, None], start, end)[0]
        bad |= np.any(gap < np.minimum(gap[0], reach + far) * (1 - touch * law.TOUCH), axis=(1, 2))
    return bad


@settings(deadline=None)
@given(SEED, st.booleans(), st.floats(0.02, 0.6))
def test_sliding_agrees_with_dense_steps(seed, square, radius):
    """Also from starts that overlap, except that a centre line inside a box is judged by its way out: see above."""
    rng = np.random.default_rng(seed)
    line, direction = walk(rng, 4, 0.7, square), rng.normal(size=3)
    direction = np.sign(direction) * np.eye(3)[rng.integers(3)] if square else direction / np.linalg.norm(direction)
    others = [(walk(rng, 4, 0.7, square), 0.1), (walk(rng, 2, 0.7, square), 0.3)]
    boxes = boxes_of(rng, 4)
    boxes = boxes[law.lines_to_boxes([line], boxes)[0][0] > 0.01]
    travel = 3.0
    moved, by = law.slides_free(line, direction, travel, radius, others, boxes)
    pairs = [(law.segments, b[:-1], b[1:], r) for b, r in others] + [(law.to_box, boxes[:, 0], boxes[:, 1], 0.0)]
    # Free all the way to there.
    assert not judged_apart(line, direction, np.linspace(0, moved, 300), radius, pairs, 2).any()
    if by is None:
        assert moved == travel
        return
    # And not beyond, by the one that is told: a little further on it is too near.
    kind, index = by
    told = pairs[index] if kind == "line" else (law.to_box, *boxes[index][:, None], 0.0)
    beyond = np.r_[0, moved + np.geomspace(1e-9, 1.0, 400)]
    assert judged_apart(line, direction, beyond, radius, [told], 0.25)[1:].any()
    if moved > 1e-6:
        reached = line + moved * direction
        gap = told[0](reached[:-1, None], reached[1:, None], told[1], told[2])[0]
        assert np.abs(gap - radius - told[3]).min() <= 1e-9


@settings(deadline=None)
@given(SEED)
def test_what_slid_there_slides_back(seed):
    rng = np.random.default_rng(seed)
    line, direction, other = walk(rng, 5, 0.7), rng.normal(size=3), walk(rng, 5, 0.7) + [2, 0, 0]
    boxes = boxes_of(rng, 5)
    reach = 0.05
    if law.lines(line, other)[0] < 0.2 or law.lines_to_boxes([line], boxes)[0].min() < 0.1:
        return
    moved, _ = law.slides_free(line, direction, 2.0, reach, [(other, 0.1)], boxes)
    there = line + moved * direction / np.linalg.norm(direction)
    assert law.slides_free(there, -direction, moved, reach, [(other, 0.1)], boxes) == (moved, None)


# ---------------------------------------------------------------------------------------------------- parallel


def test_legs_side_by_side_by_hand():
    p = law.parallel([0, 0, 0], [4, 0, 0], [1, 3, 4], [9, 3, 4])
    assert (p.angle, p.overlap, p.least, p.greatest, p.offset) == (0, 3, 5, 5, 5)
    p = law.parallel([0, 0, 0], [4, 0, 0], [9, 3, 4], [1, 3, 4])  # run the other way
    assert (p.angle, p.overlap, p.least, p.greatest, p.offset) == (0, 3, 5, 5, 5)


def test_legs_in_line_and_out_of_it():
    p = law.parallel([0, 0, 0], [4, 0, 0], [5, 0, 0], [9, 0, 0])
    assert (p.angle, p.overlap, p.offset) == (0, 0, 0)
    assert np.isnan(p.least)
    assert np.isnan(p.greatest)
    assert law.parallel([0, 0, 0], [4, 0, 0], [5, 0, 2], [9, 0, 2]).offset == pytest.approx(2)
    # End to end: there is a place where both are.
    p = law.parallel([0, 0, 0], [4, 0, 0], [4, 0, 2], [9, 0, 2])
    assert (p.overlap, p.least, p.greatest) == (0, 2, 2)


def test_legs_at_an_angle():
    """Two legs of 2 that open like a fork at 2 x 0.1 rad from a gap of 0.3, mirrored in the plane y 0.15."""
    c, s = 2 * math.cos(0.1), 2 * math.sin(0.1)
    p = law.parallel([0, 0, 0], [c, -s, 0], [0, 0.3, 0], [c, 0.3 + s, 0])
    assert p.angle == pytest.approx(0.2)
    assert (p.overlap, p.least, p.greatest) == (pytest.approx(c), pytest.approx(0.3), pytest.approx(0.3 + 2 * s))
    # A cross has its least gap in the middle of the stretch.
    p = law.parallel([-c, -s, 0], [c, s, 0], [-c, s, 1], [c, -s, 1])
    assert (p.least, p.greatest, p.offset) == (pytest.approx(1), pytest.approx(math.hypot(1, 2 * s)), pytest.approx(1))
    assert law.parallel(ZERO, [1, 0, 0], ZERO, [0, 0, 1]).angle == pytest.approx(math.pi / 2)
    # An angle this small is lost in its cosine.
    assert law.parallel(ZERO, [1, 0, 0], ZERO, [1, 1e-9, 0]).angle == pytest.approx(1e-9, rel=1e-6)


def test_a_leg_without_length_has_no_direction():
    with np.errstate(all="raise"):
        p = law.parallel(ZERO, [[0, 0, 0], [1, 0, 0]], [0, 1, 0], [1, 1, 0])
    for value in (p.angle, p.overlap, p.least, p.greatest, p.offset):
        assert np.isnan(value).tolist() == [True, False]


@settings(deadline=None)
@given(SEED, st.floats(0, 0.5))
def test_legs_are_the_same_however_they_are_told(seed, lean):
    rng = np.random.default_rng(seed)
    a0, by = rng.normal(size=(2, 3))
    a1 = a0 + rng.uniform(0.5, 2) * np.array([1.0, 0, 0])
    b0 = a0 + rng.normal(size=3)
    b1 = b0 + rng.uniform(0.5, 2) * np.array([math.cos(lean), math.sin(lean), 0])
    turned = Rotation.random(random_state=seed).apply(np.array([a0, a1, b0, b1]) + by)
    names = ("angle", "overlap", "least", "greatest", "offset")
    first = [getattr(law.parallel(a0, a1, b0, b1), name) for name in names]
    assert first[0] == pytest.approx(lean, abs=1e-12)
    for points in ((b0, b1, a0, a1), (a1, a0, b0, b1), (a0, a1, b1, b0), turned):
        other = [getattr(law.parallel(*points), name) for name in names]
        np.testing.assert_allclose(other, first, atol=1e-12)
    # The gap is never less than the distance, and no sample of it falls outside what is told.
    if first[1] > 0:
        distance = law.segments(a0, a1, b0, b1)[0]
        assert distance <= first[2] + 1e-12 <= first[3] + 2e-12
        shared = np.array([math.cos(lean / 2), math.sin(lean / 2), 0])
        samples = []
        for s in np.linspace(0, 1, 50):
            p = a0 + s * (a1 - a0)
            t = ((p - b0) @ shared) / ((b1 - b0) @ shared)
            if 0 <= t <= 1:
                samples.append(np.linalg.norm(b0 + t * (b1 - b0) - p))
        assert all(first[2] - 1e-12 <= x <= first[3] + 1e-12 for x in samples)


# --------------------------------------------------------------------------------------------------- bad input

LINE, BOX = [[0, 0, 0], [1, 0, 0]], [[0, 0, 0], [1, 1, 1]]


@pytest.mark.parametrize(
    ("call", "field", "words"),
    [
        (lambda: law.segments([0, 0], [1, 0, 0], ZERO, ZERO), "a0", "three coordinates"),
        (lambda: law.segments(ZERO, 1.0, ZERO, ZERO), "a1", "three coordinates"),
        (lambda: law.segments(ZERO, ZERO, [0, 0, math.nan], ZERO), "b0", "a finite number"),
        (lambda: law.to_box(ZERO, ZERO, [0, 2, 0], [1, 1, 1]), "low", "nowhere above high"),
        (lambda: law.lines(LINE, [[0, 0, 0]]), "others[0]", "two points or more"),
        (lambda: law.lines_to_lines([LINE], [LINE, [0, 0, 0]]), "others[1]", "two points or more"),
        (lambda: law.lines_to_boxes([LINE], BOX), "boxes", "two corners for each box"),
        (lambda: law.lines_to_boxes([LINE], [BOX, BOX[::-1]]), "low", "nowhere above high"),
        (lambda: law.escape([0, 0, 0], *BOX), "a", "two points or more"),
        (lambda: law.crossing(LINE, BOX[1], BOX[0]), "low", "nowhere above high"),
        (lambda: law.slides_free(LINE, [0, 0, 0], 1.0, 0.1), "direction", "not 0 0 0"),
        (lambda: law.slides_free(LINE, LINE, 1.0, 0.1), "direction", "one direction"),
        (lambda: law.slides_free(LINE, [1, 0, 0], -1.0, 0.1), "travel", "at least 0 m"),
        (lambda: law.slides_free(LINE, [1, 0, 0], 1.0, 0.0), "radius", "more than 0 m"),
        (lambda: law.slides_free(LINE, [1, 0, 0], 1.0, 0.1, [(LINE, -0.1)]), "lines[0] radius", "at least 0 m"),
        (lambda: law.parallel(ZERO, "east", ZERO, ZERO), "a1", "a number"),
    ],
)
def test_bad_input_is_refused_in_words(call, field, words):
    with pytest.raises(InputError) as told:
        call()
    assert words in str(told.value)
    assert told.value.field == field


def test_numbers_out_of_range_say_so():
    with pytest.raises(OutOfRange):
        law.slides_free(LINE, [1, 0, 0], 1.0, -0.1)
