"""Distances between lines of straight pieces and boxes, the way out of a box, and how far a tube slides freely.

All in one frame, in metres. A line is its corner points (n, 3); a box is its least and its greatest corner, with faces
square to the axes. A line has no thickness here: of a tube take the radius off the distance, or grow the box by it.
A segment may have no length and a box no thickness.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from loopmath.checks import InputError, between, number, positive

#: Two things that come nearer than their reach by this share of it still only touch. [-]
TOUCH = 1e-9
#: Most steps towards a contact. Few are used: each doubles the digits, and where two things only graze halves the rest.
STEPS = 100


@dataclass(frozen=True, eq=False)
class Parallel:
    """
    How two legs lie to each other.

    Attributes
    ----------
    angle : float or array
        Between their lines, 0 to pi/2, whichever way they run. [rad]
    overlap : float or array
        The stretch over which they run side by side, 0 if none. [m]
    least, greatest : float or array
        Distance between them square to their shared direction, over that stretch; NaN if there is none. [m]
    offset : float or array
        Of their middles, square to the shared direction: how far two legs meant to be in line are out of it. [m]
    """

    angle: Any
    overlap: Any
    least: Any
    greatest: Any
    offset: Any


@dataclass(frozen=True, eq=False)
class Crossing:
    """
    Where a line goes through a panel.

    Attributes
    ----------
    entry, exit, middle : array (3,)
        Where it meets the first face, the second, and the point midway between them. [m]
    angle : float
        Between the line and the panel's normal, 0 to pi/2; the greater one where the line bends inside. [rad]
    """

    entry: np.ndarray
    exit: np.ndarray
    middle: np.ndarray
    angle: float


# ------------------------------------------------------------------------------------------------ one with one


def segments(a0: Any, a1: Any, b0: Any, b1: Any) -> tuple[Any, Any, Any]:
    """
    Least distance between straight segments, and the points where it is.

    Parameters
    ----------
    a0, a1, b0, b1 : array (..., 3)
        The ends of both; they broadcast. [m]

    Returns
    -------
    distance : float or array (...)
        [m]
    on_a, on_b : array (..., 3)
        The two points; where segments run parallel, one of the pairs that are nearest. [m]

    Raises
    ------
    InputError
        If a point has not three finite coordinates.

    Notes
    -----
    No source: it follows from convexity. Let s and t, 0 to 1, be the places on both. The square of the distance is a
    convex quadratic of them, so it is least with t at 0 or at 1 and the best s for it, or with t between: then s is
    that of the nearest points of both lines, held to 0 to 1. All three are true pairs of points, so the least of them
    cannot be too small. Cross products in place of differences of squares keep lines that are nearly parallel exact.

    Examples
    --------
    >>> float(segments([0, 0, 0], [2, 0, 0], [1, -1, 3], [1, 1, 3])[0])
    3.0
    """
    return _segments(*(_points(name, p) for name, p in (("a0", a0), ("a1", a1), ("b0", b0), ("b1", b1))))


def to_box(a0: Any, a1: Any, low: Any, high: Any) -> tuple[Any, Any, Any]:
    """
    Least distance between straight segments and boxes, and the points where it is.

    Parameters
    ----------
    a0, a1 : array (..., 3)
        The ends of the segments. [m]
    low, high : array (..., 3)
        Corners of the boxes, `low` nowhere above `high`. All four broadcast. [m]

    Returns
    -------
    distance : float or array (...)
        0 where the segment touches the box or is in it. [m]
    on_a, on_box : array (..., 3)
        The two points; of a stretch that is equally near (or inside), its middle. [m]

    Raises
    ------
    InputError
        If a point has not three finite coordinates, or a box is the wrong way round.

    Notes
    -----
    No source: along the segment the square of the distance is convex, and quadratic between the places where it passes
    the plane of a face. The signs of its slope at those six and at both ends tell the stretch where it is least.

    Examples
    --------
    >>> float(to_box([-1, 3, 0], [1, 3, 0], [0, 0, 0], [1, 1, 1])[0])
    2.0
    """
    return _to_box(_points("a0", a0), _points("a1", a1), *_box(low, high))


def parallel(a0: Any, a1: Any, b0: Any, b1: Any) -> Parallel:
    """
    How two legs lie to each other: angle, stretch side by side, gap over it, and how far they are out of line.

    Parameters
    ----------
    a0, a1, b0, b1 : array (..., 3)
        The ends of both legs; they broadcast. [m]

    Returns
    -------
    parallel : Parallel
        Stretch, gap and offset are taken along and square to the direction midway between both, so they are the same
        with the legs exchanged or turned round. All NaN where a leg has no length, as it has no direction.

    Raises
    ------
    InputError
        If a point has not three finite coordinates.

    Examples
    --------
    >>> p = parallel([0, 0, 0], [0.3, 0, 0], [0.1, 0.04, 0], [0.5, 0.04, 0])
    >>> float(p.angle), round(float(p.overlap), 6), float(p.greatest)
    (0.0, 0.2, 0.04)
    """
    a0, a1, b0, b1 = (_points(name, p) for name, p in (("a0", a0), ("a1", a1), ("b0", b0), ("b1", b1)))
    a0, a1, b0, b1 = np.broadcast_arrays(a0, a1, b0, b1)
    e, f = _unit(a1 - a0), _unit(b1 - b0)
    f_alike = np.where(_dot(e, f) < 0, -1.0, 1.0)[..., None] * f
    shared = _unit(e + f_alike)
    # Places along the shared direction, from the start of a.
    first, last = _dot(b0 - a0, shared), _dot(b1 - a0, shared)
    start = np.maximum(0.0, np.minimum(first, last))
    stop = np.minimum(_dot(a1 - a0, shared), np.maximum(first, last))

    def across(place: np.ndarray) -> np.ndarray:
        on_a = (place / _dot(e, shared))[..., None] * e
        return b0 - a0 + ((place - first) / _dot(f, shared))[..., None] * f - on_a

    ends = across(start), across(stop)
    zero = np.zeros(3)
    beside = np.where(stop >= start, 1.0, np.nan)
    middles = (b0 + b1 - a0 - a1) / 2
    return Parallel(
        angle=np.arctan2(_length(np.cross(e, f)), np.abs(_dot(e, f))),
        overlap=np.maximum(stop - start, 0.0),
        least=beside * _segments(*ends, zero, zero)[0],
        greatest=beside * np.maximum(_length(ends[0]), _length(ends[1])),
        offset=_length(middles - _dot(middles, shared)[..., None] * shared),
    )


# ---------------------------------------------------------------------------------------------- many with many


def lines(a: Any, b: Any) -> tuple[float, np.ndarray, np.ndarray]:
    """
    Least distance between two lines (m, 3) and (k, 3), and the points on each; see `lines_to_lines`.

    Examples
    --------
    >>> lines([[0, 0, 0], [1, 0, 0], [1, 1, 0]], [[3, 0, 0], [3, 5, 0]])[0]
    2.0
    """
    distance, on_a, on_b = lines_to_lines([a], [b])
    return float(distance[0, 0]), on_a[0, 0], on_b[0, 0]


def line_to_box(a: Any, low: Any, high: Any) -> tuple[float, np.ndarray, np.ndarray]:
    """
    Least distance between a line (m, 3) and a box, and the points on each; see `lines_to_boxes`.

    Examples
    --------
    >>> line_to_box([[0, 0, 4], [1, 0, 4], [1, 1, 4]], [0, 0, 0], [2, 2, 2])[0]
    2.0
    """
    distance, on_a, on_box = lines_to_boxes([a], [(low, high)])
    return float(distance[0, 0]), on_a[0, 0], on_box[0, 0]


def lines_to_lines(some: Sequence[Any], others: Sequence[Any]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """
    Least distance between each of some lines and each of others.

    Parameters
    ----------
    some, others : sequences of p and k arrays (n, 3)
        Corner points of each line, two or more and not the same number in all. [m]

    Returns
    -------
    distance : array (p, k)
        [m]
    on_some, on_other : array (p, k, 3)
        The points where it is. [m]

    Raises
    ------
    InputError
        If an input is no line.

    Notes
    -----
    Exact: segments are left out only where their bounding boxes are further apart than two segments already measured.
    """
    return _nearest(_segments, _stacked("some", some), _stacked("others", others))


def lines_to_boxes(some: Sequence[Any], boxes: Any) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """
    Least distance between each of some lines and each of a stack of boxes.

    Parameters
    ----------
    some : sequence of p arrays (n, 3)
        Corner points of each line, two or more and not the same number in all. [m]
    boxes : array (k, 2, 3)
        Least and greatest corner of each. [m]

    Returns
    -------
    distance : array (p, k)
        0 where the line touches the box or enters it. [m]
    on_some, on_box : array (p, k, 3)
        The points where it is. [m]

    Raises
    ------
    InputError
        If an input is no line or no stack of boxes.
    """
    return _nearest(_to_box, _stacked("some", some), _boxes(boxes))


# ------------------------------------------------------------------------------------------- boxes in the way


def escape(a: Any, low: Any, high: Any) -> tuple[float, np.ndarray]:
    """
    Shortest move along an axis that takes a line out of a box.

    Parameters
    ----------
    a : array (m, 3)
        Corner points of the line, two or more. [m]
    low, high : array (3,)
        Corners of the box; grow them by radius and clearance for a tube. [m]

    Returns
    -------
    move : float
        0 if the line is out of the box; it is out if it only touches. [m]
    direction : array (3,)
        Of the move, one of six; zeros if there is none. [-]

    Raises
    ------
    InputError
        If an input is no line or no box.

    Notes
    -----
    Exact. What lies in the shadow of the box along an axis is each segment clipped to the other two pairs of faces; a
    piece of it from p to q is in the box for moves between low - q and high - p. Moves that hang together are joined,
    so that a line is also free where the box fits between two of its legs, if there is any play.
    """
    a, (low, high) = _line("a", a), _box(low, high)
    starts, stops = _moves_within(a[:-1], np.diff(a, axis=0), low, high)
    moves = []
    for axis, (start, stop) in enumerate(zip(starts.T, stops.T, strict=True)):
        order = np.argsort(start)
        start, reached = start[order], np.maximum.accumulate(stop[order])
        new = start[1:] > reached[:-1]
        start, stop = start[np.r_[True, new]], reached[np.r_[new, True]]
        held = (start < 0) & (0 < stop)
        if not np.any(held):
            return 0.0, np.zeros(3)
        moves += [(float(stop[held][0]), axis, 1.0), (float(-start[held][0]), axis, -1.0)]
    move, axis, way = min(moves, key=lambda each: each[0])
    return move, np.where(np.arange(3) == axis, way, 0.0)


def crossing(a: Any, low: Any, high: Any) -> list[Crossing]:
    """
    Where a line goes through a panel, in the order of the line.

    Parameters
    ----------
    a : array (m, 3)
        Corner points of the line, two or more. [m]
    low, high : array (3,)
        Corners of the panel; its normal is the axis along which it is thinnest. [m]

    Returns
    -------
    crossings : list of Crossing
        Empty if there is none. A line that starts or ends in the panel, comes out on the side where it went in, or
        through the rim, does not go through it: `line_to_box` tells that it touches.

    Raises
    ------
    InputError
        If an input is no line or no box.

    Examples
    --------
    >>> [hole] = crossing([[0, 0, 0], [0, 0, 0.2]], [-1, -1, 0.1], [1, 1, 0.102])
    >>> round(float(hole.middle[2]), 6), hole.angle
    (0.101, 0.0)
    """
    a, (low, high) = _line("a", a), _box(low, high)
    normal = int(np.argmin(high - low))
    height, along = a[:, normal], np.diff(a, axis=0)
    side = (height > high[normal]).astype(int) - (height < low[normal])
    # Points on either side, leaving out those between the faces: where two in a row differ, the line has gone through.
    outside = np.flatnonzero(side)
    through = np.flatnonzero(side[outside[:-1]] != side[outside[1:]])
    first, last = outside[through], outside[through + 1] - 1  # the segments that go in and come out

    def met(segment: np.ndarray, outer: np.ndarray) -> np.ndarray:
        face = np.where(side[outer] > 0, high[normal], low[normal])
        point = a[segment] + ((face - height[segment]) / along[segment, normal])[:, None] * along[segment]
        point[:, normal] = face
        return point

    entry, leaves = met(first, first), met(last, last + 1)
    lean = np.arctan2(_length(np.delete(along, normal, axis=1)), np.abs(along[:, normal]))
    inside = np.all((low <= entry) & (entry <= high) & (low <= leaves) & (leaves <= high), axis=1)
    return [
        Crossing(entry[k], leaves[k], (entry[k] + leaves[k]) / 2, float(max(lean[first[k]], lean[last[k]])))
        for k in np.flatnonzero(inside)
    ]


def slides_free(
    a: Any, direction: Any, travel: float, radius: float, lines: Sequence[tuple[Any, float]] = (), boxes: Any = ()
) -> tuple[float, tuple[str, int] | None]:
    """
    How far a tube slides in a straight line before it touches another tube or a box.

    Parameters
    ----------
    a : array (m, 3)
        Corner points of its centre line, two or more. [m]
    direction : array (3,)
        Which way it is moved, of any length but 0. [-]
    travel : float
        How far it is to go, 0 or more. [m]
    radius : float
        Of the tube, more than 0; add the clearance that is wanted. [m]
    lines : sequence of (array (n, 3), float)
        Centre lines that stay, each with its radius, 0 or more. [m]
    boxes : array (k, 2, 3)
        Boxes that stay. [m]

    Returns
    -------
    moved : float
        `travel`, or less if something stops it. [m]
    stopped_by : None or (str, int)
        ("line", index) or ("box", index) of what stops it.

    Raises
    ------
    InputError
        If an input is outside.

    Notes
    -----
    Judged for each segment of the tube against each box and each segment that stays. Touching stops nothing; coming
    nearer than the radii allow does. What is nearer than that at the start may go on as long as it does not come nearer
    still, so a tube leaves its fitting. A segment whose centre line meets a box at the start may go any way but
    against its shortest way out (as in `escape`); two centre lines that meet at the start do not hold each other. A
    socket holds its tube sideways: this does not.

    Moving by d changes no distance by more than d, so a step of the present gap is safe (conservative advancement).
    Distance between two convex bodies is moreover convex in the move, so its tangent is safe too: a step of the gap
    over the speed at which it closes never passes the contact, and what does not come nearer never will.
    """
    a, direction = _line("a", a), _points("direction", direction)
    if direction.shape != (3,) or not np.linalg.norm(direction) > 0:
        raise InputError("direction", direction.tolist(), "one direction (x, y, z) that is not 0 0 0")
    direction = direction / np.linalg.norm(direction)
    travel, radius = float(between("travel", travel, 0.0, unit="m")), float(positive("radius", radius, "m"))
    radii = np.array([between(f"lines[{k}] radius", r, 0.0, unit="m") for k, (_, r) in enumerate(lines)], dtype=float)
    moved, stopped_by = travel, None
    others, stack = _stacked("lines", [line for line, _ in lines]), _boxes(boxes)
    for kind, measure, (start, end, starts) in (("line", _segments, others), ("box", _to_box, stack)):
        of = _owner(starts, len(start))
        reach = radius + (radii[of] if kind == "line" else np.zeros(len(of)))
        near = _apart(a[:-1], a[1:], start, end, sweep=travel * direction) <= (1 + TOUCH) * reach**2
        i, j = np.nonzero(near)
        pairs = a[i], a[i + 1], start[j], end[j]
        contact = _contact(measure, pairs, reach[j], direction, moved)
        if kind == "box":
            contact[_deeper(*pairs, 2 * TOUCH * radius, direction)] = 0.0
        if len(contact) and contact.min() < moved:
            first = int(np.argmin(contact))
            moved, stopped_by = float(contact[first]), (kind, int(of[j[first]]))
    return moved, stopped_by


# ------------------------------------------------------------------------------------------------- within here


def _dot(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Return the scalar product over the last axis."""
    return np.einsum("...i,...i->...", a, b)


def _length(a: np.ndarray) -> np.ndarray:
    """Return the length over the last axis."""
    return np.sqrt(_dot(a, a))


def _unit(a: np.ndarray) -> np.ndarray:
    """Return the direction over the last axis, NaN of what has no length."""
    with np.errstate(invalid="ignore"):
        return a / _length(a)[..., None]


def _divided(top: np.ndarray, bottom: np.ndarray) -> np.ndarray:
    """Return the quotient, 0 where the divisor is 0."""
    top, bottom = np.broadcast_arrays(top, bottom)
    with np.errstate(over="ignore"):
        return np.divide(top, bottom, out=np.zeros(top.shape), where=bottom != 0)


def _segments(a0: np.ndarray, a1: np.ndarray, b0: np.ndarray, b1: np.ndarray) -> tuple[Any, Any, Any]:
    """Return what `segments` does, of checked points."""
    a0, a1, b0, b1 = np.broadcast_arrays(a0, a1, b0, b1)
    u, v, w = a1 - a0, b1 - b0, b0 - a0
    uu, vv, uv, uw, vw = _dot(u, u), _dot(v, v), _dot(u, v), _dot(u, w), _dot(v, w)
    square = np.cross(u, v)
    s_top, s_bottom = [_dot(np.cross(w, v), square), uw, uw + uv], [_dot(square, square), uu, uu]
    s = np.clip(_divided(np.stack(s_top), np.stack(s_bottom)), 0.0, 1.0)
    t = np.stack([np.clip(_divided(s[0] * uv - vw, vv), 0.0, 1.0), np.zeros(uu.shape), np.ones(uu.shape)])
    s, t = s[..., None], t[..., None]
    apart = w + t * v - s * u
    least = _dot(apart, apart).argmin(axis=0)[None, ..., None]
    s, t, apart = (np.take_along_axis(x, least, axis=0)[0] for x in (s, t, apart))
    return _length(apart), a0 + s * u, b0 + t * v


def _to_box(a0: np.ndarray, a1: np.ndarray, low: np.ndarray, high: np.ndarray) -> tuple[Any, Any, Any]:
    """Return what `to_box` does, of checked points."""
    a0, a1, low, high = np.broadcast_arrays(a0, a1, low, high)
    u = a1 - a0
    ends = np.broadcast_to([0.0, 1.0], (*u.shape[:-1], 2))
    places = np.clip(np.concatenate([ends, _divided(low - a0, u), _divided(high - a0, u)], axis=-1), 0.0, 1.0)
    places.sort(axis=-1)
    points = a0[..., None, :] + places[..., None] * u[..., None, :]
    slope = _dot(points - np.clip(points, low[..., None, :], high[..., None, :]), u[..., None, :])

    def rest(before: np.ndarray) -> np.ndarray:
        # Where the slope is 0 between the last place of `before` and the next. It is read midway: at a place itself
        # rounding decides which faces count, and a face that is met steeply drowns one that is met at a slant.
        k = np.clip(before - 1, 0, 6)[..., None]
        at, then = (np.take_along_axis(places, k + n, axis=-1) for n in (0, 1))
        point = a0 + (at + then) / 2 * u
        over = point - np.clip(point, low, high)
        back = _divided(_dot(over, u), _dot(u * u, over != 0))[..., None]
        return np.clip((at + then) / 2 - back, at, then)

    first, last = rest((slope < 0).sum(axis=-1)), rest((slope <= 0).sum(axis=-1))
    on_a = a0 + (first + last) / 2 * u
    on_box = np.clip(on_a, low, high)
    return _length(on_a - on_box), on_a, on_box


def _apart(a0: np.ndarray, a1: np.ndarray, b0: np.ndarray, b1: np.ndarray, sweep: Any = (0.0, 0.0, 0.0)) -> np.ndarray:
    """Return the squared gap (m, n) between the bounding boxes of m things, swept along a move, and of n."""
    a_low, a_high = np.minimum(a0, a1) + np.minimum(sweep, 0.0), np.maximum(a0, a1) + np.maximum(sweep, 0.0)
    b_low, b_high = np.minimum(b0, b1), np.maximum(b0, b1)
    total = np.zeros((len(a0), len(b0)))
    for axis in range(3):
        gap = np.subtract.outer(a_low[:, axis], b_high[:, axis])
        np.maximum(gap, b_low[:, axis] - a_high[:, axis, None], out=gap)
        total += np.square(np.maximum(gap, 0.0, out=gap), out=gap)
    return total


def _nearest(measure: Callable, some: tuple, others: tuple) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the least distance (p, k) and the points, of what `_stacked` or `_boxes` return."""
    (a0, a1, a_starts), (b0, b1, b_starts) = some, others
    shape = len(a_starts), len(b_starts)
    if 0 in shape:
        return np.zeros(shape), np.zeros((*shape, 3)), np.zeros((*shape, 3))
    bounds = [_apart(p, q, b0, b1) for p, q in zip(*(np.split(ends, a_starts[1:]) for ends in (a0, a1)), strict=True)]
    # One true distance for each line and each of b: what others must beat.
    at = np.array([bound.argmin(axis=0) for bound in bounds]) + a_starts[:, None]
    best = np.minimum.reduceat(measure(a0[at], a1[at], b0, b1)[0], b_starts, axis=1)
    of = _owner(b_starts, len(b0))
    keep = np.concatenate([bound <= (beat**2)[of] for bound, beat in zip(bounds, best, strict=True)])
    keep[at, np.arange(len(b0))] = True  # so that each two keep a pair, whatever rounding does
    i, j = np.nonzero(keep)
    distance, on_a, on_b = measure(a0[i], a1[i], b0[j], b1[j])
    pair = _owner(a_starts, len(a0))[i] * shape[1] + of[j]
    order = np.lexsort((distance, pair))
    first = order[np.searchsorted(pair[order], np.arange(shape[0] * shape[1]))].reshape(shape)
    return distance[first], on_a[first], on_b[first]


def _owner(starts: np.ndarray, total: int) -> np.ndarray:
    """Return which of several each of `total` belongs to, from where they start."""
    return np.repeat(np.arange(len(starts)), np.diff(starts, append=total))


def _contact(measure: Callable, pairs: tuple, reach: np.ndarray, direction: np.ndarray, travel: float) -> np.ndarray:
    """Return the move (n,) at which the first of each pair comes nearer than its reach, infinite where it does not."""
    answer, moved, going = np.full(len(reach), np.inf), np.zeros(len(reach)), np.arange(len(reach))
    limit = reach
    for step in range(STEPS):
        if not len(going):
            break
        a0, a1, b0, b1 = (ends[going] for ends in pairs)
        shift = moved[going, None] * direction
        gap, on_a, on_b = measure(a0 + shift, a1 + shift, b0, b1)
        if step == 0:
            # Of what meets at the start the direction of the gap is only rounding.
            limit = np.where(gap > TOUCH * reach, np.minimum(reach, gap), 0.0)
        closing = -_divided((on_a - on_b) @ direction, gap)
        nearer = (closing > 0) & (limit[going] > 0)
        going, gap, closing = going[nearer], gap[nearer], closing[nearer]
        allowed = limit[going]
        # Clearly past touching: go back along the tangent to where it touched, which is never too far.
        hit = gap < (1 - TOUCH / 2) * allowed
        answer[going[hit]] = np.maximum(moved[going[hit]] - ((allowed - gap) / closing)[hit], 0.0)
        moved[going] += (gap - (1 - TOUCH) * allowed) / closing
        going = going[~hit & (moved[going] < min(travel, answer.min()))]
    answer[going] = moved[going]  # not settled: as far as it is surely free
    return answer


def _moves_within(a0: np.ndarray, along: np.ndarray, low: np.ndarray, high: np.ndarray) -> tuple[Any, Any]:
    """Return from and to which move along each axis (..., 3) a segment is in a box; 0 and 0 where it never is."""
    still, within = along == 0, (low < a0) & (a0 < high)
    faces = _divided(np.stack([low - a0, high - a0]), along)
    enter = np.where(still, np.where(within, -np.inf, np.inf), faces.min(axis=0))
    leave = np.where(still, np.where(within, np.inf, -np.inf), faces.max(axis=0))
    start, stop = np.zeros(enter.shape), np.zeros(enter.shape)
    for axis in range(3):
        other = [k for k in range(3) if k != axis]
        first, last = np.maximum(enter[..., other].max(axis=-1), 0.0), np.minimum(leave[..., other].min(axis=-1), 1.0)
        # A panel without thickness is passed in a point; of a box that has some, a point is only a touch.
        meets = (first < last) | ((first == last) & np.any((low == high)[..., other], axis=-1))
        ends = a0[..., axis] + np.where(meets, [first, last], 0.0) * along[..., axis]
        start[..., axis] = np.where(meets, low[..., axis] - ends.max(axis=0), 0.0)
        stop[..., axis] = np.where(meets, high[..., axis] - ends.min(axis=0), 0.0)
    return start, stop


def _deeper(a0: np.ndarray, a1: np.ndarray, low: np.ndarray, high: np.ndarray, around: float, direction: Any) -> Any:
    """Return which segments are in their box (grown, so that touching counts) and move against the shortest way out."""
    start, stop = _moves_within(a0, a1 - a0, low - around, high + around)
    way = np.concatenate([stop, -start], axis=-1).argmin(axis=-1)
    against = np.concatenate([direction, -direction])[way] < -TOUCH
    return against & np.all((start < 0) & (0 < stop), axis=-1)


def _points(field: str, value: Any) -> np.ndarray:
    """Return points (..., 3), or refuse them."""
    points = np.asarray(number(field, value))
    if points.ndim == 0 or points.shape[-1] != 3:
        raise InputError(field, f"shape {points.shape}", "points of three coordinates, shape (..., 3)")
    return points


def _line(field: str, value: Any) -> np.ndarray:
    """Return the corner points of a line, or refuse them."""
    points = _points(field, value)
    if points.ndim != 2 or len(points) < 2:
        raise InputError(field, f"shape {points.shape}", "two points or more, shape (n, 3)")
    return points


def _box(low: Any, high: Any) -> tuple[np.ndarray, np.ndarray]:
    """Return the corners of boxes, or refuse them."""
    low, high = _points("low", low), _points("high", high)
    if np.any(low > high):
        raise InputError("low", low.tolist(), "nowhere above high", "Exchange the two coordinates.")
    return low, high


def _boxes(boxes: Any) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the corners of a stack of boxes and the place of each in it, or refuse it; it may be empty."""
    corners = np.zeros((0, 2, 3)) if np.size(boxes) == 0 else _points("boxes", boxes)
    if corners.ndim != 3 or corners.shape[1] != 2:
        raise InputError("boxes", f"shape {corners.shape}", "two corners for each box, shape (k, 2, 3)")
    low, high = (corners[:, 0], corners[:, 1]) if len(corners) == 0 else _box(corners[:, 0], corners[:, 1])
    return low, high, np.arange(len(low))


def _stacked(field: str, lines: Sequence[Any]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the ends of all segments of several lines, and where each line starts."""
    points = [_line(f"{field}[{k}]", line) for k, line in enumerate(lines)]
    starts = np.cumsum([0] + [len(p) - 1 for p in points])[:-1]
    none = [np.zeros((0, 3))]  # so that there may be no line
    return np.concatenate(none + [p[:-1] for p in points]), np.concatenate(none + [p[1:] for p in points]), starts
