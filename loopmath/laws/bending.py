"""A bent tube: corners in space to straights, rotations, bends and marks, back again, and what bending does to it."""

import math
from typing import Any, NamedTuple

import numpy as np

from loopmath.checks import InputError, OutOfRange, between, number, one_of, positive
from loopmath.tables import by_name

#: Two points closer than this are one. [m]
APART = 1e-4
#: The bends a tube may have: less is no bend, more runs back along itself. [rad]
LEAST_BEND, MOST_BEND = math.radians(0.5), math.radians(175.0)
#: Nearer than this to 0 or half a turn a bend has no plane; a rotation as near to half a turn is counted as +pi. [rad]
HAIR = 1e-6
#: A practice bend that says more than this was measured wrongly. [-]
MOST_STRETCH = 0.5
#: Lengths nearer than this are equal but for rounding. [m]
ROUNDING = 1e-7
#: Flattening at which the moment of an empty tube is greatest [Brazier1927]_, derived in `kink_radius`. [-]
FLAT_AT_KINK = 2.0 / 9.0


class Turns(NamedTuple):
    """
    How a line through points in space turns.

    Attributes
    ----------
    legs : (..., n-1) array
        From point to point. [m]
    directions : (..., n-1, 3) array
        Of each leg, of length 1, in the direction of travel.
    angles : (..., n-2) array
        By how much each corner turns the direction. [rad]
    rotations : (..., n-2) array
        From the plane of the bend before to that of this one, right-hand about the leg between them in the direction
        of travel; the first is 0, half a turn is +pi. [rad]
    """

    legs: Any
    directions: Any
    angles: Any
    rotations: Any


class Lra(NamedTuple):
    """
    A bent tube as a bench makes it: length, rotation, angle, over and over.

    Attributes
    ----------
    lengths : (..., n-1) array
        What stays straight between the bends. [m]
    rotations, angles : (..., n-2) array
        As in `Turns`. [rad]
    """

    lengths: Any
    rotations: Any
    angles: Any


# ----------------------------------------------------------------------------------------------- corners to bends


def setback(angle: Any, radius: Any) -> Any:
    """
    Return how far from its corner a bend begins and ends.

    Parameters
    ----------
    angle : float or array
        Of the bend, 0 to less than pi. [rad]
    radius : float or array
        Of the centre line, more than 0. [m]

    Returns
    -------
    setback : float or array
        [m]

    Raises
    ------
    OutOfRange
        If an input is outside.

    Notes
    -----
    Geometry: R tan(angle/2).

    Examples
    --------
    >>> round(float(setback(np.radians(45.0), 0.025)), 7)
    0.0103553
    """
    half = between("angle", angle, 0.0, math.pi - HAIR, "rad", "a tube cannot turn right back") / 2
    return positive("radius", radius, "m") * np.tan(half)


def arc(angle: Any, radius: Any) -> Any:
    """
    Return the length of a bend along its centre line, R angle; inputs and units as in `setback`.

    Examples
    --------
    >>> round(float(arc(np.radians(90.0), 0.025)), 7)
    0.0392699
    """
    return positive("radius", radius, "m") * between("angle", angle, 0.0, math.pi, "rad")


def _points(points: Any, name: str) -> np.ndarray:
    points = np.asarray(number(name, points))
    if points.ndim < 2 or points.shape[-1] != 3 or points.shape[-2] < 2:
        raise InputError(name, f"an array of shape {points.shape}", "two points or more, each of x, y and z")
    return points


def _two(leg: int, points: int) -> tuple[str, str]:
    """Return the names of the ends of a leg; the first bend is corner 1."""
    return "the start" if leg == 0 else f"corner {leg}", "the end" if leg == points - 2 else f"corner {leg + 1}"


def _refuse_bend(name: str, angles: Any, least: float, most: float) -> None:
    """Refuse a bend outside the given limits; what is told as accepted are those of a tube."""
    wrong = (angles < least) | (angles > most)
    if not np.any(wrong):
        return
    at = tuple(np.argwhere(wrong)[0])
    remedy = "The tube runs straight on there: leave this corner out."
    if angles[at] > most:
        remedy = "The tube runs back along itself there: make the turn of two bends, side by side."
    told = f"corner {at[-1] + 1} bends by {math.degrees(angles[at]):.2f}°"
    accepted = f"a bend of {math.degrees(LEAST_BEND):g}° to {math.degrees(MOST_BEND):g}°"
    raise InputError(name, told, accepted, remedy)


def _half_turn(rotations: Any) -> Any:
    """Lift what is a hair past half a turn to +pi, so that rounding does not choose the sign; no figure is changed."""
    return np.where(rotations < HAIR - math.pi, rotations + 2 * math.pi, rotations)


def turns(points: Any, name: str = "points") -> Turns:
    """
    Return legs, directions, angles and rotations of a line through points.

    Parameters
    ----------
    points : (..., n, 3) array
        Start, corners, end; two or more. [m]
    name : str
        What to call the line in an error.

    Returns
    -------
    turns : Turns

    Raises
    ------
    InputError
        If two neighbours are nearer than 0.1 mm, or a corner goes straight on or right back: its bend has no plane.

    Notes
    -----
    Geometry, with u the directions and n_k = u_k x u_(k+1) the normal of a bend: the rotation between two bends is
    atan2((n_(k-1) x n_k).u_k, n_(k-1).n_k).

    Examples
    --------
    >>> found = turns([[0, 0, 0], [0.1, 0, 0], [0.1, 0.08, 0], [0.1, 0.08, 0.06]])
    >>> np.degrees(found.angles).tolist(), np.degrees(found.rotations).tolist()
    ([90.0, 90.0], [0.0, 90.0])
    """
    points = _points(points, name)
    steps = np.diff(points, axis=-2)
    legs = np.linalg.norm(steps, axis=-1)
    if np.any(legs < APART):
        at = tuple(np.argwhere(legs < APART)[0])
        one, other = _two(at[-1], points.shape[-2])
        both = f"corners {at[-1]} and {at[-1] + 1}" if one[0] == other[0] == "c" else f"{one} and {other}"
        told = f"{both} are {math.floor(legs[at] * 1e4) / 10:.1f} mm apart"
        raise InputError(name, told, f"points at least {1e3 * APART:.1f} mm apart", "Move one or leave it out.")
    directions = steps / legs[..., None]
    before, after = directions[..., :-1, :], directions[..., 1:, :]
    normals = np.cross(before, after)
    angles = np.arctan2(np.linalg.norm(normals, axis=-1), np.sum(before * after, axis=-1))
    _refuse_bend(name, angles, HAIR, math.pi - HAIR)
    first, second = normals[..., :-1, :], normals[..., 1:, :]
    sine = np.sum(np.cross(first, second) * directions[..., 1:-1, :], axis=-1)
    rotations = np.zeros_like(angles)
    rotations[..., 1:] = _half_turn(np.arctan2(sine, np.sum(first * second, axis=-1)))
    return Turns(legs, directions, angles, rotations)


def _bends(points: Any, radius: Any, name: str = "points") -> tuple[Turns, Any, Any, Any]:
    """Return the turns, the radius ready to meet them, what stays straight, and the setbacks."""
    found = turns(points, name)
    radius = np.asarray(positive(f"{name}, radius", radius, "m"))[..., None]
    back = radius * np.tan(found.angles / 2)
    padded = np.pad(back, [(0, 0)] * (back.ndim - 1) + [(1, 1)])
    return found, radius, found.legs - padded[..., :-1] - padded[..., 1:], back


def straights(points: Any, radius: Any) -> Any:
    """
    Return what stays straight of each leg.

    Parameters
    ----------
    points : (..., n, 3) array
        Start, corners, end. [m]
    radius : float or (...) array
        Of the centre line in the bends, more than 0; (N,) radii of one line are N designs. [m]

    Returns
    -------
    straights : (..., n-1) array
        Negative where the arcs do not fit; `checked_points` refuses that. [m]

    Raises
    ------
    InputError
        As in `turns`, or if the radius is not above 0.

    Examples
    --------
    >>> np.round(straights([[0, 0, 0], [0.15, 0, 0], [0.15, 0.1, 0]], 0.025), 6).tolist()
    [0.125, 0.075]
    """
    return _bends(points, radius)[2]


def _checked(points: Any, radius: Any, name: str) -> tuple[np.ndarray, tuple[Turns, Any, Any, Any]]:
    points = _points(points, name)
    found, _, left, _ = bends = _bends(points, radius, name)
    _refuse_bend(name, found.angles, LEAST_BEND - HAIR, MOST_BEND + HAIR)
    if np.any(left < -ROUNDING):
        at = tuple(np.argwhere(left < -ROUNDING)[0])
        leg = np.broadcast_to(found.legs, left.shape)[at]
        one, other = _two(at[-1], points.shape[-2])
        short = math.ceil(-left[at] * 1e4 - 1e-3) / 10
        told = f"leg {at[-1] + 1}, from {one} to {other}, is {1e3 * leg:.1f} mm"
        accepted = f"at least {1e3 * (leg - left[at]):.1f} mm, which its bends take; it is {short:.1f} mm short"
        raise InputError(name, told, accepted, "Move a corner, or bend to a smaller radius.")
    return points, bends


def checked_points(points: Any, radius: Any, name: str = "points") -> np.ndarray:
    """
    Return the points as an array of floats if a tube can be bent along them.

    Parameters
    ----------
    points, radius
        As in `straights`.
    name : str
        What to call the tube in an error.

    Raises
    ------
    InputError
        Naming the corner or the leg: two points in one place, a bend under 0.5 or over 175 degrees, a leg shorter than
        its bends take. Of many designs the first bad one is told.

    Examples
    --------
    >>> checked_points([[0, 0, 0], [0.1, 0, 0], [0.1, 0.04, 0], [0.2, 0.04, 0]], 0.025, "tube")
    Traceback (most recent call last):
    loopmath.checks.InputError: tube = 'leg 2, from corner 1 to corner 2, is 40.0 mm' is not accepted.
      Accepted: at least 50.0 mm, which its bends take; it is 10.0 mm short. Move a corner, or bend to a smaller radius.
    """
    return _checked(points, radius, name)[0]


def tangents(points: Any, radius: Any) -> tuple[Any, Any]:
    """
    Return the points where each bend begins and where it ends, each (..., n-2, 3) [m]; inputs as in `straights`.

    Examples
    --------
    >>> [np.round(p, 6).tolist() for p in tangents([[0, 0, 0], [0.15, 0, 0], [0.15, 0.1, 0]], 0.025)]
    [[[0.125, 0.0, 0.0]], [[0.15, 0.025, 0.0]]]
    """
    found, _, _, back = _bends(points, radius)
    corners, back = np.asarray(points, dtype=float)[..., 1:-1, :], back[..., None]
    return corners - back * found.directions[..., :-1, :], corners + back * found.directions[..., 1:, :]


def _stretched(stretch: Any) -> Any:
    return 1.0 - between("stretch", stretch, -MOST_STRETCH, MOST_STRETCH, "of the arc")


def length(points: Any, radius: Any, stretch: Any = 0.0) -> Any:
    """
    Return how long the straight tube is that a bent one is made of.

    Parameters
    ----------
    points, radius
        As in `straights`.
    stretch : float or (...) array
        Share of each arc that bending adds by stretching the tube, -0.5 to 0.5. [-]

    Returns
    -------
    length : float or (...) array
        Straights, and of the arcs what is not stretched. [m]

    Raises
    ------
    InputError
        As in `straights`, or if the stretch is outside.

    Examples
    --------
    >>> round(float(length([[0, 0, 0], [0.15, 0, 0], [0.15, 0.1, 0]], 0.025)), 7)
    0.2392699
    """
    found, radius, left, _ = _bends(points, radius)
    return left.sum(axis=-1) + (radius * found.angles).sum(axis=-1) * _stretched(stretch)


def marks(points: Any, radius: Any, stretch: Any = 0.0, spill: Any = 0.0) -> Any:
    """
    Return where on the straight tube each bend lies.

    Parameters
    ----------
    points, radius, stretch
        As in `length`.
    spill : float or (...) array
        By how much the heated zone reaches past the bend on each side, 0 or more. [m]

    Returns
    -------
    marks : (..., n-2, 3) array
        Start, middle and end of each heated zone, from the start of the tube. Zones may meet, or reach past an end.
        [m]

    Raises
    ------
    InputError
        As in `length`, or if the spill is below 0.

    Examples
    --------
    >>> np.round(marks([[0, 0, 0], [0.15, 0, 0], [0.15, 0.1, 0]], 0.025), 6).tolist()
    [[0.125, 0.144635, 0.16427]]
    """
    found, radius, left, _ = _bends(points, radius)
    bent = radius * found.angles * np.asarray(_stretched(stretch))[..., None]
    middle = np.cumsum(left[..., :-1] + bent, axis=-1) - bent / 2
    half = bent / 2 + np.asarray(between("spill", spill, 0.0, unit="m"))[..., None]
    return np.stack(np.broadcast_arrays(middle - half, middle, middle + half), axis=-1)


def line(points: Any, radius: float, sag: float = 5e-5, name: str = "points") -> tuple[np.ndarray, np.ndarray]:
    """
    Return the centre line of one tube as fine points.

    Parameters
    ----------
    points : (n, 3) array
        Start, corners, end. [m]
    radius : float
        Of the centre line in the bends, more than 0. [m]
    sag : float
        By how much a chord may miss its arc, more than 0. [m]
    name : str
        What to call the tube in an error.

    Returns
    -------
    line : (m, 3) array
        [m]
    along : (m,) array
        Length of the centre line from the start to each point, before any stretch. [m]

    Raises
    ------
    InputError
        As in `checked_points`, or if there is more than one design.

    Examples
    --------
    >>> fine, along = line([[0, 0, 0], [0.15, 0, 0], [0.15, 0.1, 0]], 0.025)
    >>> len(fine), round(float(along[-1]), 7)
    (16, 0.2392699)
    """
    points, (found, _, left, back) = _checked(points, radius, name)
    if left.ndim != 1:
        raise InputError(name, f"designs in an array of shape {left.shape[:-1]}", "one tube of one radius")
    # A chord over an angle a misses its arc by R (1 - cos(a/2)) = 2 R sin(a/4)^2.
    step = 4 * math.asin(min(math.sqrt(positive("sag", sag, "m") / (2 * radius)), 1.0))
    fine, along, reach = [points[:1]], [np.zeros(1)], 0.0
    for k, angle in enumerate(found.angles):
        turned = np.linspace(0.0, angle, max(math.ceil(angle / step), 1) + 1)
        ahead = found.directions[k]
        inward = (found.directions[k + 1] - np.cos(angle) * ahead) / np.sin(angle)
        turn = np.sin(turned)[:, None] * ahead + (1 - np.cos(turned))[:, None] * inward
        fine.append(points[k + 1] - back[k] * ahead + radius * turn)
        along.append(reach + left[k] + radius * turned)
        reach = along[-1][-1]
    fine, along = np.concatenate([*fine, points[-1:]]), np.append(np.concatenate(along), reach + left[-1])
    new = np.append(True, np.diff(along) > ROUNDING)  # where no straight lies between, points repeat
    return fine[new], along[new]


# ------------------------------------------------------------------------------------------ the bench's own figures


def lra(points: Any, radius: Any) -> Lra:
    """
    Return a tube as the bench makes it; inputs as in `straights`.

    Examples
    --------
    >>> made = lra([[0, 0, 0], [0.1, 0, 0], [0.1, 0.08, 0], [0.02, 0.08, 0]], 0.02)
    >>> np.round(made.lengths, 6).tolist(), np.degrees(made.rotations).tolist()
    ([0.08, 0.04, 0.06], [0.0, 0.0])
    """
    found, _, left, _ = _bends(points, radius)
    return Lra(left, found.rotations, found.angles)


def _unit(field: str, vector: Any) -> np.ndarray:
    vector = np.asarray(number(field, vector))
    size = np.linalg.norm(vector, axis=-1, keepdims=True)
    if np.any(size < 1e-9):
        raise InputError(field, vector.tolist(), "a direction: x, y and z, not all 0")
    return vector / size


def xyz(made: Lra, radius: Any, start: Any, direction: Any, normal: Any) -> np.ndarray:
    """
    Return start, corners and end of a tube that is given as the bench makes it: `lra` the other way.

    Parameters
    ----------
    made : Lra
        Straights, rotations and angles. [m], [rad]
    radius : float or (...) array
        Of the centre line in the bends, more than 0. [m]
    start : (..., 3) array
        First point. [m]
    direction : (..., 3) array
        Of the first leg; any length.
    normal : (..., 3) array
        Of the plane of the first bend: direction of the first leg x direction of the second. Any length; what of it
        lies along `direction` is taken out.

    Returns
    -------
    points : (..., n, 3) array
        [m]

    Raises
    ------
    InputError
        If the counts do not fit, a direction is 0, the normal lies along the first leg, or an angle is out of range.

    Examples
    --------
    >>> made = Lra([0.125, 0.075], [0.0], [np.pi / 2])
    >>> np.round(xyz(made, 0.025, [0, 0, 0], [1, 0, 0], [0, 0, 1]), 6).tolist()
    [[0.0, 0.0, 0.0], [0.15, 0.0, 0.0], [0.15, 0.1, 0.0]]
    """
    lengths, rotations, angles = (np.asarray(part, dtype=float) for part in made)
    if not lengths.shape[-1] == rotations.shape[-1] + 1 == angles.shape[-1] + 1:
        told = f"{lengths.shape[-1]} lengths, {rotations.shape[-1]} rotations, {angles.shape[-1]} angles"
        raise InputError("bends", told, "one length more than bends, and a rotation and an angle for each bend")
    radius, ahead = np.asarray(positive("radius", radius, "m"))[..., None], _unit("direction", direction)
    at = np.asarray(number("start", start))
    bends = angles.shape[-1]
    back = setback(angles, radius) if bends else angles
    if bends:
        normal = _unit("normal", normal)
        normal = normal - np.sum(normal * ahead, axis=-1, keepdims=True) * ahead
        normal = _unit("normal, beside the first leg", normal)
    points = [at]
    for k in range(bends + 1):
        leg = lengths[..., k]
        for bend in range(max(k - 1, 0), min(k + 1, bends)):
            leg = leg + back[..., bend]
        at = at + leg[..., None] * ahead
        points.append(at)
        if k < bends:
            turn, angle = rotations[..., k, None], angles[..., k, None]
            normal = np.cos(turn) * normal + np.sin(turn) * np.cross(ahead, normal)
            ahead = np.cos(angle) * ahead + np.sin(angle) * np.cross(normal, ahead)
    return np.stack(np.broadcast_arrays(*points), axis=-2)


def mirrored(made: Lra) -> Lra:
    """
    Return the mirror image of a tube: every rotation the other way, half a turn still +pi.

    Examples
    --------
    >>> mirrored(Lra([0.1, 0.1, 0.1], [0.0, 0.5], [1.0, 1.0])).rotations.tolist()
    [0.0, -0.5]
    """
    return made._replace(rotations=_half_turn(0.0 - np.asarray(made.rotations)))


def from_other_end(made: Lra) -> Lra:
    """
    Return the same tube, read from its other end; a rotation keeps its hand.

    Examples
    --------
    >>> from_other_end(Lra([0.1, 0.2, 0.3, 0.4], [0.0, 0.5, -1.0], [1.0, 1.1, 1.2])).rotations.tolist()
    [0.0, -1.0, 0.5]
    """
    lengths, rotations, angles = (np.asarray(part)[..., ::-1] for part in made)
    return Lra(lengths, np.concatenate([rotations[..., -1:], rotations[..., :-1]], axis=-1), angles)


def same_shape(one: Lra, other: Lra, near: float = 5e-4, turned: float = math.radians(0.5)) -> Any:
    """
    Return whether two tubes are one shape, from whichever end they are read.

    Parameters
    ----------
    one, other : Lra
        [m], [rad]
    near, turned : float
        By how much lengths [m] and angles or rotations [rad] may differ.

    Returns
    -------
    same : bool or (...) array of bool
        False if the tubes have different numbers of bends. A mirror image is another shape, unless the tube is flat.

    Examples
    --------
    >>> made = Lra([0.1, 0.2, 0.3], [0.0, 0.5], [1.0, 1.1])
    >>> bool(same_shape(made, from_other_end(made))), bool(same_shape(made, mirrored(made)))
    (True, False)
    """
    if np.shape(one.angles)[-1] != np.shape(other.angles)[-1]:
        return False

    def alike(b: Lra) -> Any:
        apart = np.asarray(one.rotations) - np.asarray(b.rotations)
        turn = np.abs((apart + math.pi) % (2 * math.pi) - math.pi)
        bend = np.abs(np.asarray(one.angles) - np.asarray(b.angles))
        far = np.abs(np.asarray(one.lengths) - np.asarray(b.lengths))
        return np.all(far <= near, axis=-1) & np.all((turn <= turned) & (bend <= turned), axis=-1)

    return alike(other) | alike(from_other_end(other))


# --------------------------------------------------------------------------------------------- what bending does


def _inside_clear(radius: Any, outside: Any) -> tuple[Any, Any]:
    """Return both if the inside of the bend has a radius left."""
    radius, outside = positive("radius", radius, "m"), positive("outside", outside, "m")
    if np.any(2 * np.asarray(radius) <= np.asarray(outside)):
        raise OutOfRange("radius", float(np.min(radius)), "more than half the outside diameter")
    return radius, outside


def outer_strain(radius: Any, outside: Any) -> Any:
    """
    Return by what share the outermost fibre of a bend is stretched.

    Parameters
    ----------
    radius : float or array
        Of the centre line, more than half of `outside`. [m]
    outside : float or array
        Diameter, more than 0. [m]

    Returns
    -------
    strain : float or array
        [-]

    Raises
    ------
    OutOfRange
        If an input is outside.

    Notes
    -----
    Geometry: the outermost fibre has R + D/2 to go where the centre line has R, so D/(2 R). The centre line is taken
    to keep its length.

    Examples
    --------
    >>> float(outer_strain(0.028, 0.014))
    0.25
    """
    radius, outside = _inside_clear(radius, outside)
    return outside / (2 * radius)


def wall_thinning(radius: Any, outside: Any) -> Any:
    """
    Return what share of its wall a tube loses at the outside of a bend; inputs as in `outer_strain`.

    Notes
    -----
    D/(2 R + D): the wall keeps its volume and the tube its girth, so thickness falls as length grows
    [TubeBending]_ (from memory). An upper figure: pushed into the bend, a tube thins less.

    Examples
    --------
    >>> round(float(wall_thinning(0.028, 0.014)), 4)
    0.2
    """
    radius, outside = _inside_clear(radius, outside)
    return outside / (2 * radius + outside)


def wall_thickening(radius: Any, outside: Any) -> Any:
    """
    Return by what share the wall grows thicker at the inside of a bend; inputs as in `outer_strain`.

    Notes
    -----
    D/(2 R - D), by the same rule [TubeBending]_ as `wall_thinning`; a tube that wrinkles has not thickened.

    Examples
    --------
    >>> round(float(wall_thickening(0.028, 0.014)), 4)
    0.3333
    """
    radius, outside = _inside_clear(radius, outside)
    return outside / (2 * radius - outside)


def _wall_and_mean(outside: Any, bore: Any, poisson: Any) -> tuple[Any, Any, Any]:
    outside, bore = positive("outside", outside, "m"), positive("bore", bore, "m")
    if np.any(np.asarray(outside) <= np.asarray(bore)):
        raise OutOfRange("outside", float(np.min(outside)), "more than the bore")
    return (outside - bore) / 2, (outside + bore) / 4, 1.0 - between("poisson", poisson, 0.0, 0.5) ** 2


def kink_radius(outside: Any, bore: Any, poisson: Any) -> Any:
    """
    Return the least radius an empty tube can be bent to before it folds.

    Parameters
    ----------
    outside, bore : float or array
        Diameters, `outside` more than `bore` > 0. [m]
    poisson : float or array
        Poisson's ratio of the wall, 0 to 0.5. [-]

    Returns
    -------
    radius : float or array
        Of the centre line. [m]

    Raises
    ------
    OutOfRange
        If an input is outside.

    Notes
    -----
    After [Brazier1927]_ (from memory; derived again here, and checked in the tests by maximising the moment). A bent
    tube of mean radius r and wall t flattens by a share z of r. To first order in z its second moment of area is
    pi r^3 t (1 - 3 z/2); flattening costs 3 pi E t^3 z^2/(8 (1 - nu^2) r) for each metre. At a curvature k the energy
    is least at z = (1 - nu^2) r^4 k^2/t^2, so the moment goes as k (1 - 3 z/2): greatest at z = 2/9. Past that it
    falls, and the tube folds at R = 3 sqrt(1 - nu^2) r^2/(sqrt(2) t). Keeping all orders moves that by one percent.

    It holds for thin, long, elastic tubes. Hot plastic is a guide only: its wall is thick, it yields and flows, and
    the cold ends beside a short bend keep it round.

    Examples
    --------
    >>> round(1e3 * float(kink_radius(0.014, 0.010, 0.5)), 1)
    33.1
    """
    wall, mean, plate = _wall_and_mean(outside, bore, poisson)
    return mean**2 / wall * np.sqrt(plate / FLAT_AT_KINK)


def ovality(radius: Any, outside: Any, bore: Any, poisson: Any) -> Any:
    """
    Return how far out of round bending makes an empty tube, as a share of its diameter.

    Parameters
    ----------
    radius : float or array
        Of the centre line, more than 0. [m]
    outside, bore, poisson
        As in `kink_radius`.

    Returns
    -------
    ovality : float or array
        Greatest less least diameter, over the round one; NaN where the tube has folded. [-]

    Notes
    -----
    Twice the flattening of `kink_radius` [Brazier1927]_, and as much a guide. A tube that is held, by an insert in its
    bore or a groove round it, stays rounder.

    Examples
    --------
    >>> round(float(ovality(0.050, 0.014, 0.010, 0.5)), 3)
    0.194
    """
    least = kink_radius(outside, bore, poisson)
    share = least / positive("radius", radius, "m")
    return np.where(share > 1.0, np.nan, 2 * FLAT_AT_KINK * share**2)


# ------------------------------------------------------------------------------------------------ practice pieces


def for_material(material: str, field: str = "material") -> dict:
    """
    Return the row of data/bending.csv for a material, refusing one that is not listed.

    The figures, in shares of the angle (`over_bend`), of the arc (`stretch`) or in outside diameters (`_od`), are
    common practice to start from: `practice_stretch` replaces the stretch by what a practice piece says.

    Examples
    --------
    >>> for_material("copper")["method"]
    'cold'
    """
    remedy = "Only these keep a bend; hose is laid in a curve."
    return by_name("bending.csv")[one_of(field, material, by_name("bending.csv"), remedy)]


def practice_stretch(cut: Any, first: Any, second: Any, angle: Any, radius: Any, outside: Any = 0.0) -> Any:
    """
    Return how much a tube stretches in a bend, from a practice piece with one bend.

    Parameters
    ----------
    cut : float or array
        Length of the straight tube before. [m]
    first, second : float or array
        Legs after, from each end to the corner where the two centre lines would meet, more than the setback. If
        `outside` is given: to the outer corner, where the outer edges would meet. [m]
    angle : float or array
        Of the bend as it came out, 0.5 to 175 degrees. [rad]
    radius : float or array
        Of the centre line, more than 0. [m]
    outside : float or array
        Diameter, if the legs were measured to the outer corner. [m]

    Returns
    -------
    stretch : float or array
        Share of the arc, for `length` and `marks`; below 0 if the tube became shorter. [-]

    Raises
    ------
    InputError
        If an input is outside, or the answer is more than a half either way.

    Notes
    -----
    `length` solved for the stretch. One millimetre read wrongly is a share of 1 mm over the arc: 0.023 for a right
    angle of 28 mm.

    Examples
    --------
    >>> round(float(practice_stretch(0.185, 0.1, 0.1, np.pi / 2, 0.028)), 3)
    0.068
    """
    angle = between("angle", angle, LEAST_BEND - HAIR, MOST_BEND + HAIR, "rad")
    back, bent = setback(angle, radius), arc(angle, radius)
    over = between("outside", outside, 0.0, unit="m") / 2 * np.tan(angle / 2)
    left = [positive(f"{word} leg", leg, "m") - over - back for word, leg in (("first", first), ("second", second))]
    for word, straight in zip(("first", "second"), left, strict=True):
        if np.any(np.asarray(straight) < 0):
            short = f"{-1e3 * float(np.min(straight)):.1f} mm too short for its bend"
            raise InputError(f"{word} leg", short, "a leg longer than the setback", "Measure to the corner.")
    stretch = 1.0 - (positive("cut", cut, "m") - left[0] - left[1]) / bent
    remedy = "Measure the piece again, and say whether its legs go to the centre lines' corner or the outer one."
    return between("stretch", stretch, -MOST_STRETCH, MOST_STRETCH, remedy=remedy)
