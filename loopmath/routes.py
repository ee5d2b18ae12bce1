"""Tube runs in space: ports, boxes and routes as a builder measures them, and the run that is laid through them."""

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, ClassVar

import numpy as np

from loopmath import catalogue, parts
from loopmath.checks import Checked, InputError, OutOfRange, one_of
from loopmath.laws import bending

Point = tuple[float, float, float]

#: Words for directions in the case, seen from the front.
FACES: dict[str, Point] = {
    "right": (1.0, 0.0, 0.0),
    "left": (-1.0, 0.0, 0.0),
    "rear": (0.0, 1.0, 0.0),
    "front": (0.0, -1.0, 0.0),
    "up": (0.0, 0.0, 1.0),
    "down": (0.0, 0.0, -1.0),
}
#: A tube that goes into its fitting askew by more than this does not go in (common practice, no source). [m]
ASKEW = 0.001
#: Two unit vectors that differ by less are one direction. [-]
SAME = 1e-6
#: How a tube goes through a panel.
HOLES = ("clear hole", "grommet", "pass-through fitting")


def direction(field: str, text: str) -> np.ndarray:
    """
    Return the unit vector of a direction in words.

    Parameters
    ----------
    field : str
        Where it was written, for the message.
    text : str
        A word of `FACES`, two of them joined by "and" (halfway between), or three numbers: right, rear, up.

    Returns
    -------
    unit : (3,) array
        In the frame of the case: right, rear, up.

    Raises
    ------
    InputError
        If it is none of these.

    Examples
    --------
    >>> direction("faces", "up").tolist()
    [0.0, 0.0, 1.0]
    >>> direction("faces", "0, 3, 4").tolist()
    [0.0, 0.6, 0.8]
    """
    text = " ".join(str(text).split())
    try:
        vector = np.array([float(number) for number in text.split(",")])
    except ValueError:
        vector = sum((np.array(FACES[one_of(field, word, FACES)]) for word in text.split(" and ")), np.zeros(3))
    if vector.shape != (3,) or not np.all(np.isfinite(vector)) or np.linalg.norm(vector) < SAME:
        accepted = f"one of: {', '.join(FACES)}; two of them joined by and; three numbers: right, rear, up"
        raise InputError(field, text, accepted, "Such as: right, or rear and up, or 0, 0.5, 0.87.")
    return vector / np.linalg.norm(vector)


def word(unit: Any) -> str:
    """Return a direction in words: the nearest of `FACES`, two of them where it lies between."""
    unit = np.asarray(unit, dtype=float)
    shares = {name: float(unit @ face) for name, face in FACES.items()}
    told = sorted((name for name, share in shares.items() if share > 0.38), key=lambda name: -shares[name])
    return " and ".join(told[:2])


# ------------------------------------------------------------------------------------------------------ records


def point_of(field: str, value: Any) -> Point:
    """Return a point of the case [m], or refuse it."""
    try:
        point = tuple(float(x) for x in value)
    except (TypeError, ValueError):
        point = ()
    if len(point) != 3 or not all(map(math.isfinite, point)):
        raise InputError(field, value, "three lengths: to the right, to the rear, up")
    if max(map(abs, point)) > 5.0:
        raise OutOfRange(field, [round(1e3 * x, 1) for x in point], "within 5000 mm of the corner of the case")
    return point


def size_of(field: str, value: Any) -> Point:
    """Return how far a body goes to the right, to the rear and up [m], or refuse it."""
    size = point_of(field, value)
    if min(size) <= 0:
        raise OutOfRange(field, round(1e3 * min(size), 1), "more than 0 mm each way", "A panel has its thickness.")
    return size


#: What a spare port of a part may be opened for; empty: a run ends on it, or it stays plugged.
PURPOSES = ("", "fill", "vent", "drain")


@dataclass(frozen=True, eq=False)
class Port:
    """
    A threaded port of a part: where its face is [m], and which way it faces (see `direction`).

    `of` is the element of the loop it belongs to; empty for a tee, a fill port in a panel and the like.
    `purpose` is what a spare one is opened for: one of `PURPOSES`.
    """

    name: str
    position: Point
    faces: str
    of: str = ""
    purpose: str = ""

    def __post_init__(self) -> None:
        one_of(f"{self.name}, purpose", self.purpose, PURPOSES)
        object.__setattr__(self, "position", point_of(f"{self.name}, position", self.position))
        direction(f"{self.name}, faces", self.faces)

    @property
    def at(self) -> np.ndarray:
        """Where its face is. [m]"""
        return np.array(self.position)

    @property
    def facing(self) -> np.ndarray:
        """Unit vector out of the port."""
        return direction(f"{self.name}, faces", self.faces)


@dataclass(frozen=True, eq=False)
class Box(Checked):
    """
    Something that is in the way: a part, a panel, a place to keep clear.

    Attributes
    ----------
    corner, size : tuple of 3 floats
        Its left, front, lower corner, and how far it goes to the right, to the rear and up. [m]
    panel : bool
        A panel: a tube may go through it, in a hole.
    opens : str
        Which way it comes off or swings open (see `direction`); empty: it stays.
    travel : float
        So far it has to move to be out of the way. [m]
    of : str
        The element of the loop whose body it is.
    """

    name: str
    corner: Point
    size: Point
    panel: bool = False
    opens: str = ""
    travel: float = 0.1
    of: str = ""

    RANGES: ClassVar[dict] = {"travel": (0.0, 2.0, "m")}

    def __post_init__(self) -> None:
        super().__post_init__()
        object.__setattr__(self, "corner", point_of(f"{self.name}, corner", self.corner))
        object.__setattr__(self, "size", size_of(f"{self.name}, size", self.size))
        if self.opens:
            direction(f"{self.name}, opens", self.opens)

    @property
    def low(self) -> np.ndarray:
        """Its left, front, lower corner. [m]"""
        return np.array(self.corner)

    @property
    def high(self) -> np.ndarray:
        """Its right, rear, upper corner. [m]"""
        return np.array(self.corner) + np.array(self.size)

    @property
    def must_open(self) -> bool:
        """True if it has to come off without a tube in its way."""
        return bool(self.opens)

    @property
    def sweep(self) -> tuple[np.ndarray, np.ndarray]:
        """Lowest and highest corner of all the room it takes while it opens. [m]"""
        way = self.travel * direction(f"{self.name}, opens", self.opens) if self.opens else np.zeros(3)
        return self.low + np.minimum(way, 0.0), self.high + np.maximum(way, 0.0)


@dataclass(frozen=True, eq=False)
class Route(Checked):
    """
    Where a run of tube goes: from a port over corner points to a port.

    Attributes
    ----------
    name : str
        The run or dead leg of the loop it is the way of.
    start, end : str
        Its ports, in the direction of flow.
    corners : tuple of points, optional
        Where the straight legs meet, before the bends round them [m]. None: it goes straight, or its way is not found
        yet.
    radius : float or array, optional
        Of the centre line in the bends; by default the plan's own, or the least the tube may be bent to. [m]
    start_fitting, end_fitting : str
        Fittings of the catalogue that hold the tube; empty: the plan's own, "none": the tube begins at the port.
    start_adapter, end_adapter : str
        An angled fitting or extender of the catalogue between port and fitting; empty: none.
    start_faces, end_faces : str
        Which way the tube leaves an angled one (see `direction`).
    free_play : float or array
        Left between the end of the tube and the stop of its fitting, at each end. [m]
    through : tuple of str
        Panels it goes through, and `hole`, how.
    parallel_to, in_line_with : tuple of str
        Runs it is meant to go beside, or on one line with.
    """

    name: str
    start: str
    end: str
    corners: tuple[Point, ...] | None = None
    radius: Any = None
    start_fitting: str = ""
    end_fitting: str = ""
    start_adapter: str = ""
    end_adapter: str = ""
    start_faces: str = ""
    end_faces: str = ""
    free_play: Any = 0.001
    through: tuple[str, ...] = ()
    hole: str = HOLES[1]
    parallel_to: tuple[str, ...] = ()
    in_line_with: tuple[str, ...] = ()

    RANGES: ClassVar[dict] = {"radius": (0.001, 1.0, "m"), "free_play": (0.0, 0.02, "m")}

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.corners is not None:
            if isinstance(self.corners, str) or not hasattr(self.corners, "__len__"):
                raise InputError(f"{self.name}, corners", self.corners, "points, each of three lengths")
            spots = tuple(point_of(f"{self.name}, corner {n}", c) for n, c in enumerate(self.corners, start=1))
            object.__setattr__(self, "corners", spots)
        one_of(f"{self.name}, hole", self.hole, HOLES)
        for end in ("start", "end"):
            fitting, adapter = getattr(self, f"{end}_fitting"), getattr(self, f"{end}_adapter")
            faces, field = getattr(self, f"{end}_faces"), f"{self.name}, {end}_faces"
            if fitting not in ("", BARE):
                catalogue.part("fitting", fitting, f"{self.name}, {end}_fitting")
            turn = catalogue.part("fitting", adapter, f"{self.name}, {end}_adapter").turn if adapter else 0.0
            if turn and not faces:
                remedy = "Say which way the tube leaves the angled fitting, such as: up."
                raise InputError(field, "missing", "a direction", remedy)
            if faces and not turn:
                raise InputError(
                    field, faces, "nothing", "Without an angled fitting a tube goes the way its port faces."
                )
            if faces:
                direction(field, faces)


#: A tube that begins at the port itself, in no fitting.
BARE = "none"
#: The fitting of a bare end: nothing of it stands out.
_NO_FITTING = parts.Fitting(BARE, 0.0, 0.0, 0.0)

# ------------------------------------------------------------------------------------------------- a run laid out


@dataclass(frozen=True, eq=False)
class TubePath:
    """
    A run laid in space, from the end of the tube in its first fitting to that in its last, in the direction of flow.

    Attributes
    ----------
    points : (n, 3) array
        End of the tube, corners, end of the tube. [m]
    mouths, facing : (2, 3) arrays
        Where the fittings end and the tube is seen [m]; the direction it leaves them.
    insertion, play : (2,) arrays
        How deep each fitting takes a tube, and what is left free at its stop. [m]
    radius : float or array
        Of the centre line in the bends. [m]
    fittings : tuple
        The fitting that holds the tube at each end.
    usual : tuple
        The plan's own fitting and radius, which hold where the route has none.
    """

    route: Route
    ports: tuple[Port, Port]
    tube: parts.Tube
    points: np.ndarray
    mouths: np.ndarray
    facing: np.ndarray
    insertion: np.ndarray
    play: np.ndarray
    radius: Any
    fittings: tuple
    usual: tuple

    #: What is the same for all of N designs: only radii and what follows from them may differ.
    FIXED: ClassVar[tuple[str, ...]] = ("points", "mouths", "facing", "insertion", "play")

    @property
    def name(self) -> str:
        """The run it is the way of."""
        return self.route.name

    @property
    def made_of(self) -> tuple:
        """All that it follows from."""
        return (self.route, self.tube, *self.usual, *self.ports)

    @cached_property
    def turns(self) -> bending.Turns:
        """Legs, directions, angles and rotations."""
        return bending.turns(self.points)

    @cached_property
    def straights(self) -> np.ndarray:
        """What stays straight of each leg. [m]"""
        return bending.straights(self.points, self.radius)

    @cached_property
    def lra(self) -> bending.Lra:
        """Straight lengths, rotations and angles, as a bench works."""
        return bending.lra(self.points, self.radius)

    @cached_property
    def length(self) -> Any:
        """Length along the centre line, what sits in the fittings included. [m]"""
        return bending.length(self.points, self.radius)

    @property
    def bends(self) -> int:
        """Number of bends."""
        return len(self.points) - 2

    @cached_property
    def line(self) -> tuple[np.ndarray, np.ndarray]:
        """Centre line of one design as fine points, and how far along the tube each is. [m]"""
        return bending.line(self.points, float(self.radius))

    @property
    def profile(self) -> tuple[np.ndarray, np.ndarray]:
        """How far along the tube, and how high there, in the direction of flow. [m]"""
        points, along = self.line
        return along, points[:, 2]

    @property
    def standoffs(self) -> tuple[float, float]:
        """Distance from each fitting to the corner nearest to it, or to the other fitting. [m]"""
        near = (self.points[1], self.points[-2]) if self.bends else self.mouths[::-1]
        return tuple(float(np.linalg.norm(p - m)) for p, m in zip(near, self.mouths, strict=True))

    @property
    def outside(self) -> float:
        """Outside diameter. [m]"""
        return float(self.tube.outside)


def mouth(route: Route, end: str, port: Port, usual: str) -> tuple[np.ndarray, np.ndarray, parts.Fitting]:
    """Return where the fitting at one end leaves the tube free, which way the tube goes there, and the fitting."""
    named = getattr(route, f"{end}_fitting") or usual or BARE
    fitting = _NO_FITTING if named == BARE else catalogue.part("fitting", named, f"{route.name}, {end}_fitting")
    out, at, named = port.facing, port.at, getattr(route, f"{end}_adapter")
    if named:
        adapter = catalogue.part("fitting", named)
        at, faces = at + adapter.height * out, getattr(route, f"{end}_faces")
        if adapter.turn:
            towards = direction(f"{route.name}, {end}_faces", faces)
            turned = np.degrees(np.arccos(np.clip(out @ towards, -1.0, 1.0)))
            if abs(turned - adapter.turn) > 0.5:
                words = f"a direction {adapter.turn:g} degrees off {word(out)}, which its port faces"
                raise InputError(f"{route.name}, {end}_faces", f"{faces}, {turned:.0f} degrees off", words)
            at, out = at + adapter.reach * towards, towards
    return at + fitting.height * out, out, fitting


def _in_line(route: Route, end: str, number: int, mouth: np.ndarray, out: np.ndarray, corner: np.ndarray) -> None:
    """Refuse a corner that a tube does not reach straight from its fitting."""
    away = corner - mouth
    ahead = float(away @ out)
    aside = away - ahead * out
    field, faces = f"{route.name}, corner {number}", word(out)
    what = "the first" if end == "start" else "the last"
    port = getattr(route, end)
    if ahead <= 0:
        raise InputError(
            field,
            f"{-1e3 * ahead:.1f} mm behind the fitting at {port}",
            f"{what} corner ahead of its fitting, which faces {faces}",
            "The port faces the wrong way, or the corner lies on the wrong side of it.",
        )
    if np.linalg.norm(aside) > ASKEW:
        off = ", ".join(
            f"{abs(1e3 * aside @ np.array(FACES[name])):.1f} mm too far {name}"
            for name in FACES
            if aside @ np.array(FACES[name]) > 1e-5
        )
        accepted = f"{what} corner in line with its fitting at {port}, which faces {faces}, within {1e3 * ASKEW:g} mm"
        raise InputError(field, off, accepted, "Move the corner by that much, or turn the port.")


def laid(
    route: Route, ports: dict[str, Port], tube: parts.Tube, usual_fitting: str = "", usual_radius: Any = None
) -> TubePath:
    """
    Return a route as a run laid in space.

    Parameters
    ----------
    route : Route
        Its radius may be an array of N designs.
    ports : dict of Port
        By name.
    tube : Tube
        What it is made of.
    usual_fitting : str
        The fitting that holds the tube where the route names none.
    usual_radius : float or array, optional
        Radius of its bends where the route has none of its own; by default the least of the tube. [m]

    Raises
    ------
    InputError
        If a port is not known, the first or last corner is not in line with its fitting or lies behind it, two corners
        are in one place, a bend is none or doubles back, or a leg is shorter than its bends need: with the run, the
        corner and by how many mm.
    """
    one_of(f"{route.name}, start", route.start, ports)
    one_of(f"{route.name}, end", route.end, ports)
    ends = ports[route.start], ports[route.end]
    mouths, facing, fittings = zip(
        *(mouth(route, end, port, usual_fitting) for end, port in zip(("start", "end"), ends, strict=True)),
        strict=True,
    )
    corners = [np.array(corner) for corner in route.corners or ()]
    if corners:
        _in_line(route, "start", 1, mouths[0], facing[0], corners[0])
        _in_line(route, "end", len(corners), mouths[1], facing[1], corners[-1])
    else:
        off = _off_line(mouths, facing)
        if off is not None:
            given = f"{route.start} faces {word(facing[0])}, {route.end} faces {word(facing[1])}, {off}"
            accepted = "corners, or two ports that face each other on one line"
            remedy = "Give the corner points of the run, or let the page of tube runs propose some."
            raise InputError(f"{route.name}, corners", given, accepted, remedy)
    if np.ndim(route.free_play):
        raise InputError(f"{route.name}, free_play", "an array", "one value", "Only radii may be arrays of designs.")
    play = np.full(2, float(route.free_play))
    insertion = np.array([float(fitting.insertion) for fitting in fittings])
    stops = [m - max(i - p, 0.0) * f for m, f, i, p in zip(mouths, facing, insertion, play, strict=True)]
    points = np.array([stops[0], *corners, stops[1]])
    radius = next(r for r in (route.radius, usual_radius, tube.bend_radius) if r is not None)
    bending.checked_points(points, radius, route.name)
    return TubePath(
        *(route, ends, tube, points, np.array(mouths), np.array(facing), insertion, play, radius),
        fittings=tuple(fittings),
        usual=(usual_fitting, usual_radius),
    )


def _off_line(mouths: Any, facing: Any) -> str | None:
    """Return in words by how much two fittings do not face each other on one line, None if they do."""
    between = mouths[1] - mouths[0]
    ahead = float(between @ facing[0])
    aside = float(np.linalg.norm(between - ahead * facing[0]))
    if ahead > 0 and aside <= ASKEW and facing[0] @ facing[1] <= SAME - 1:
        return None
    return f"{1e3 * aside:.1f} mm off its line" if ahead > 0 else "behind it"


def is_found(route: Route, ports: dict[str, Port], usual_fitting: str = "") -> bool:
    """Return False for a route whose corners are still to be found: it has none, and does not go straight."""
    if route.corners is not None or not {route.start, route.end} <= ports.keys():
        return True
    ends = zip(("start", "end"), (ports[route.start], ports[route.end]), strict=True)
    mouths, facing, _ = zip(*(mouth(route, end, port, usual_fitting) for end, port in ends), strict=True)
    return _off_line(mouths, facing) is None


def without(routes: tuple[Route, ...], gone: Any) -> tuple[Route, ...]:
    """Return the routes of all runs but those called `gone`, which no other names as its neighbour then."""

    def left(route: Route) -> Route:
        named = {key: getattr(route, key) for key in ("parallel_to", "in_line_with")}
        kept = {key: tuple(name for name in names if name not in gone) for key, names in named.items()}
        return route if kept == named else replace(route, **kept)

    return tuple(left(route) for route in routes if route.name not in gone)


# ---------------------------------------------------------------------------------------------- moving something


def moved(points: np.ndarray, index: int, shift: np.ndarray, name: str = "run") -> np.ndarray:
    """
    Move one point of a run and whatever hangs on it, so that every leg keeps its direction.

    The move is handed on from corner to corner until a leg that lies along it takes it up by its length.

    Parameters
    ----------
    points : (n, 3) array
        Points of the run; its first and last are its ports. [m]
    index : int
        The point that is moved.
    shift : (3,) array
        By how much. [m]

    Raises
    ------
    InputError
        If no leg takes it up before the other port, or the one that does is too short for it.
    """
    out, shift = points.copy(), np.asarray(shift, dtype=float)
    size = float(np.linalg.norm(shift))
    if size == 0.0:
        return out
    out[index] += shift
    for step in (1, -1):
        at = index
        while 0 <= at + step < len(points):
            leg = points[at + step] - points[at]
            if np.linalg.norm(np.cross(leg, shift)) <= 1e-6 * size * max(float(np.linalg.norm(leg)), 1e-9):
                break
            at += step
            if at in (0, len(points) - 1):
                words = f"{1e3 * size:.1f} mm {word(shift / size)}"
                accepted = "a move along one of its legs, which takes it up"
                raise InputError(
                    f"{name}, corners", words, accepted, "Give the run one more corner, or move the port too."
                )
            out[at] += shift
    legs = np.diff(points, axis=0)
    turned = np.flatnonzero(np.sum(np.diff(out, axis=0) * legs, axis=1) <= 0)
    for leg in turned[:1]:
        accepted = f"less than leg {leg + 1}, which takes it up: {1e3 * np.linalg.norm(legs[leg]):.1f} mm"
        raise InputError(f"{name}, corners", f"{1e3 * size:.1f} mm {word(shift / size)}", accepted, "Move it by less.")
    return out


def _corners(points: np.ndarray) -> tuple[Point, ...]:
    """Return the corners of a run without the noise of a move, so that one and back leaves a plan as it was."""
    return tuple(tuple(round(float(x), 9) for x in point) for point in points[1:-1])


def with_port(path: TubePath, port: str, shift: np.ndarray) -> Route:
    """Return the route of a run after one of its ports was moved; every leg keeps its direction."""
    points = np.array([path.mouths[0], *path.points[1:-1], path.mouths[1]])
    for index, end in ((0, path.route.start), (-1, path.route.end)):
        if end == port:
            points = moved(points, index % len(points), shift, path.name)
    return replace(path.route, corners=_corners(points) or path.route.corners)


def with_standoff(path: TubePath, end: str, standoff: float) -> Route:
    """
    Return the route with another distance [m] between the fitting at its "start" or "end" and the corner nearest to it.

    Raises
    ------
    InputError
        If it has no corner, or the move is taken up by no leg.
    """
    if not path.bends:
        raise InputError(f"{path.name}, standoff", 1e3 * standoff, "a run with a bend", "It goes straight.")
    points = np.array([path.mouths[0], *path.points[1:-1], path.mouths[1]])
    at, last = (1, 0) if end == "start" else (len(points) - 2, 1)
    shift = (standoff - path.standoffs[last]) * path.facing[last]
    return replace(path.route, corners=_corners(moved(points, at, shift, path.name)))
