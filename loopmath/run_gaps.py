"""
What laid runs come near to: each other, parts, panels, the case; holes for them, and whether a tube comes out again.

A tube is its centre line with its outside diameter, a fitting a short cylinder, everything else a box.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations, product
from typing import NamedTuple

import numpy as np

from loopmath import catalogue, tables
from loopmath.laws import bending, distance
from loopmath.routes import ASKEW, FACES, HOLES, SAME, Box, Port, TubePath, direction, word

#: Lengths are told to this many decimals of a metre, so that rounding decides no limit.
DECIMALS = 7
#: The way through a panel that no tube takes: it holds the end of one on either side.
PASS_THROUGH = HOLES[2]
#: What the sides of the case are called: lower and higher, along each axis.
SIDES = (("left side", "right side"), ("front", "rear"), ("bottom", "top"))


@dataclass(frozen=True, eq=False)
class Tube:
    """A laid run, with what several checks ask of it."""

    path: TubePath

    @property
    def name(self) -> str:
        """The run."""
        return self.path.name

    @property
    def radius(self) -> float:
        """Of its outside. [m]"""
        return self.path.outside / 2

    @cached_property
    def depth(self) -> np.ndarray:
        """How far it sits in the fitting at each end. [m]"""
        return np.maximum(self.path.insertion - self.path.play, 0.0)

    @cached_property
    def seen(self) -> tuple[float, float]:
        """Where along it the mouths of its fittings are. [m]"""
        return float(self.depth[0]), float(self.path.line[1][-1] - self.depth[1])

    @cached_property
    def bends(self) -> np.ndarray:
        """Where along it each bend begins and ends (n, 2). [m]"""
        return bending.marks(self.path.points, self.path.radius)[:, ::2]

    def practice(self, name: str) -> float:
        """Return a figure of data/bending.csv for its material, of lengths in metres; 0 where it has no row."""
        row = tables.by_name("bending.csv").get(self.path.tube.material, {})
        return row[name] * (self.path.outside if name.endswith("_od") else 1.0) if row else 0.0

    def cut(self, start: float, stop: float) -> np.ndarray:
        """Return its centre line from one place along it to another."""
        points, places = self.path.line[0], self.places(start, stop)
        return np.stack([np.interp(places, self.path.line[1], points[:, k]) for k in range(3)], axis=1)

    def places(self, start: float, stop: float) -> np.ndarray:
        """Return how far along it the points of `cut` are. [m]"""
        along = self.path.line[1]
        return np.array([start, *along[(along > start) & (along < stop)], stop])

    def along(self, point: np.ndarray) -> float:
        """Return how far along it the place nearest to a point is. [m]"""
        points, along = self.path.line
        off, near, _ = distance.segments(points[:-1], points[1:], point, point)
        k = int(np.argmin(off))
        return float(along[k] + np.linalg.norm(near[k] - points[k]))

    def place(self, point: np.ndarray) -> str:
        """Return the corner of it that a point is at, or the leg."""
        return self.place_at(self.along(point))

    def place_at(self, at: float) -> str:
        """Return the corner of it that is so far along it, or the leg."""
        off = np.maximum(self.bends[:, 0] - at, at - self.bends[:, 1])
        if len(off) and off.min() <= self.path.outside:
            return f"corner {off.argmin() + 1}"
        return f"leg {np.count_nonzero(self.bends[:, 0] < at) + 1}"


class Piece(NamedTuple):
    """Something of a run that can touch: its tube, or the fitting on a port."""

    tube: Tube
    line: np.ndarray
    radius: float
    port: Port | None = None

    def place(self, point: np.ndarray) -> str:
        """Return the corner, leg or fitting at a point."""
        return self.tube.place(point) if self.port is None else f"the fitting at {self.port.name}"


def _fittings(tube: Tube) -> list[Piece]:
    """Return the fittings of a run as lines with round ends that just fit into a cylinder from port to mouth."""
    path, out = tube.path, []
    for port, mouth, facing, fitting, adapter in zip(
        *(path.ports, path.mouths, path.facing, path.fittings),
        (path.route.start_adapter, path.route.end_adapter),
        strict=True,
    ):
        body = max(fitting.body, catalogue.part("fitting", adapter).body if adapter else 0.0)
        axis = np.array([port.at, mouth - fitting.height * facing, mouth])[:: 1 if adapter else 2]
        first, last = np.linalg.norm(axis[1] - axis[0]), np.linalg.norm(axis[-1] - axis[-2])
        if body and first and last:
            share = 1.0 if adapter else 0.5
            axis[0] += min(body / 2, share * first) * port.facing
            axis[-1] -= min(body / 2, share * last) * facing
            out.append(Piece(tube, axis, body / 2, port))
    return out


@dataclass(frozen=True, eq=False)
class Scene:
    """All that stands in one design of a plan: runs, boxes and the gap that is wanted between them. [m]"""

    tubes: tuple[Tube, ...]
    boxes: tuple[Box, ...]
    clearance: float
    case_size: tuple[float, float, float] | None

    @cached_property
    def pieces(self) -> list[Piece]:
        """The tubes in the order of `tubes`, then their fittings."""
        seen = [Piece(tube, tube.cut(*tube.seen), tube.radius) for tube in self.tubes]
        return seen + [piece for tube in self.tubes for piece in _fittings(tube)]

    @cached_property
    def walls(self) -> tuple[Box, ...]:
        """What lies outside the case, as six boxes, a lower and a higher one for each axis."""
        out, size = [], np.array(self.case_size or ())
        for axis in range(len(size)):
            for name, start in zip(SIDES[axis], (-1.0, size[axis]), strict=True):
                corner, reach = np.full(3, -1.0), size + 2.0
                corner[axis], reach[axis] = start, 1.0
                out.append(Box(f"the {name} of the case", tuple(corner), tuple(reach)))
        return tuple(out)

    @cached_property
    def crossings(self) -> dict[tuple[str, str], list[distance.Crossing]]:
        """Where each run goes through the panels of its route, by the names of both; [] where it does not."""
        return {
            (tube.name, box.name): distance.crossing(tube.path.line[0], box.low, box.high)
            for tube in self.tubes
            for box in self.boxes
            if box.panel and box.name in tube.path.route.through
        }

    @cached_property
    def ends(self) -> dict[tuple[str, str], list[Port]]:
        """Ports of each run in the faces of panels of its route, where pass-through fittings hold it; see `met`."""
        return {
            (tube.name, box.name): [
                port
                for port in tube.path.ports
                if (port.name, box.name) in self.seats
                and np.min(np.abs([box.low - port.at, box.high - port.at]), axis=0)[normal(box)] <= ASKEW
            ]
            for tube in self.tubes
            for box in self.boxes
            if box.panel and box.name in tube.path.route.through and tube.path.route.hole == PASS_THROUGH
        }

    def spot(self, piece: Piece) -> np.ndarray:
        """Return where the thread of a fitting is: its port, or the middle of the panel it passes; NaN of a tube."""
        at = np.full(3, np.nan) if piece.port is None else piece.port.at
        for box in self.boxes:
            if piece.port in self.ends.get((piece.tube.name, box.name), ()):
                at[normal(box)] = (box.low + box.high)[normal(box)] / 2
        return at

    def met(self, run: str, panel: str) -> bool:
        """Return True if a run goes through a panel, or ends at a fitting that does."""
        return bool(self.crossings.get((run, panel)) or self.ends.get((run, panel)))

    @cached_property
    def seats(self) -> dict[tuple[str, str], float]:
        """
        Ports and the boxes they belong to or lie on, by name, and how deep in the box each is [m].

        Deep is only a port that faces the nearest way out; one that faces along its part is not buried in it. A box of
        something else that a port is inside of is no seat of it.
        """
        ports = {port.name: port for tube in self.tubes for port in tube.path.ports}
        out = {}
        for port in ports.values():
            at, facing = port.at, port.facing
            for box in (*self.boxes, *self.walls):
                ways = np.concatenate([box.high - at, at - box.low])
                mine = bool(port.of) and port.of == box.of
                if ways.min() >= -ASKEW and (mine or exact(ways.min()) <= ASKEW or box in self.walls):
                    ahead = float(ways[np.argmax(np.concatenate([facing, -facing]))])
                    deep = ahead <= ways.min() + ASKEW and box not in self.walls
                    out[port.name, box.name] = max(ahead, 0.0) if deep else 0.0
                elif mine:
                    out[port.name, box.name] = 0.0
        return out

    @cached_property
    def removals(self) -> list["Removal"]:
        """How each tube comes out again; slower than the rest, so only worked out when it is asked for."""
        return [removal(self, tube) for tube in self.tubes]

    def skipped(self, tube: Tube, box: Box) -> list[tuple[float, float]]:
        """
        Return the stretches of a tube that need not keep clear of a box.

        It comes out of the part its port is on, and lies in the holes of its panels; both count as far as a tube that
        is square to them has to come near. Who leaves through a panel in a side of the case may pass that side there,
        and is free where it is wholly outside.
        """
        reach, path, out = tube.radius + self.clearance, tube.path, []
        for end, port in enumerate(path.ports):
            deep = self.seats.get((port.name, box.name))
            beyond = -1.0 if deep is None else deep + reach - float((path.mouths[end] - port.at) @ port.facing)
            if beyond > 0:
                out.append((0.0, tube.seen[0] + beyond) if end == 0 else (tube.seen[1] - beyond, np.inf))
        doors = self.doors(tube, box)
        if doors:
            out += _outside(tube, box)
        for panel in (box, *doors):
            for hole in self.crossings.get((tube.name, panel.name), ()):
                beside = reach / np.cos(hole.angle)
                out.append((tube.along(hole.entry) - beside, tube.along(hole.exit) + beside))
        return out

    def doors(self, tube: Tube, wall: Box) -> list[Box]:
        """Return the panels by which a tube leaves a side of the case; none for what is no such side."""
        axis = normal(wall)
        return [
            panel
            for panel in (self.boxes if wall in self.walls else ())
            if max(panel.low[axis] - wall.high[axis], wall.low[axis] - panel.high[axis]) <= ASKEW
            and self.met(tube.name, panel.name)
            and normal(panel) == axis
        ]


def _outside(tube: Tube, wall: Box) -> list[tuple[float, float]]:
    """Return the stretches of a tube that are wholly beyond the inner face of a side of the case."""
    (points, along), axis = tube.path.line, normal(wall)
    at, least, out = points[:, axis], tube.radius - bending.ROUNDING, []
    beyond = np.minimum(at - wall.low[axis], wall.high[axis] - at) - least
    for k in np.flatnonzero(np.maximum(beyond[:-1], beyond[1:]) > 0):
        places, depths = along[k : k + 2], beyond[k : k + 2]
        edge = np.interp(0.0, *(both[np.argsort(depths)] for both in (depths, places)))
        out.append(tuple(places) if depths.min() >= 0 else tuple(sorted((edge, places[np.argmax(depths)]))))
    return out


def scene(paths: Iterable[TubePath], boxes: Iterable[Box], clearance: float, case_size: tuple | None) -> Scene:
    """Return what stands in one design of a plan."""
    return Scene(tuple(map(Tube, paths)), tuple(boxes), exact(clearance), case_size)


def normal(panel: Box) -> int:
    """Return the axis a panel is square to: it is thinnest along it."""
    return int(np.argmin(panel.size))


def exact(metres: float) -> float:
    """Return a length without what rounding made of it. [m]"""
    return round(float(metres), DECIMALS)


# ----------------------------------------------------------------------------------------------------------- gaps


@dataclass(frozen=True, eq=False)
class Gap:
    """
    The free distance between a run and what is beside it, how much is wanted, and at which point of the run. [m]

    Below 0 it runs through. `move` and `way` are the shortest move that leaves what is wanted, 0 where that is left.
    `here` is the place of the run, where the point alone does not tell it.
    """

    piece: Piece
    other: str
    gap: float
    wanted: float
    at: np.ndarray
    move: float
    way: np.ndarray
    here: str = ""

    @property
    def run(self) -> str:
        """The run."""
        return self.piece.tube.name

    @cached_property
    def place(self) -> str:
        """The corner, leg or fitting of the run that is nearest."""
        return self.here or self.piece.place(self.at)

    @property
    def towards(self) -> str:
        """The way of the move in words."""
        return word(self.way)

    @property
    def where(self) -> str:
        """Run, place of it, and what is beside it."""
        return f"{self.run}, {self.place}, and {self.other}"


def _made(piece: Piece, other: str, gap: float, wanted: float, at: np.ndarray, way_out: Callable) -> Gap:
    gap = exact(gap)
    return Gap(piece, other, gap, wanted, at, *(way_out() if gap < wanted else (0.0, np.zeros(3))))


def _to_box(piece: Piece, other: str, box: np.ndarray, wanted: float, measured: tuple | None = None) -> Gap:
    """Return the gap to a box of two corners; `measured` is its distance and point on the line, where known."""
    (low, high), (apart, at) = box, measured or distance.line_to_box(piece.line, *box)[:2]
    gap, reach = apart - piece.radius, piece.radius + wanted
    if apart == 0.0:
        gap = min(gap, -distance.escape(piece.line, low - piece.radius, high + piece.radius)[0])
    return _made(piece, other, gap, float(wanted), at, lambda: distance.escape(piece.line, low - reach, high + reach))


def gaps(scene: Scene) -> list[Gap]:
    """
    Return the gap of every run to every other, to every box and to every side of the case.

    Tubes keep the clearance; two fittings, or a fitting and a box, only must not meet: 0 is wanted there. A run need
    not keep clear of the part its port is on where it comes out of it, nor of a panel of its route in its hole. Of a
    run that comes too near to itself that gap is told too.
    """
    return [*_to_runs(scene), *_to_themselves(scene), *_to_boxes(scene)]


def _to_themselves(scene: Scene) -> list[Gap]:
    """
    Return the worst gap of each run to its own legs and fittings, of those where it comes too near.

    What lies nearer along the tube than a half circle across the wanted distance is a bend of it and no clash: no tube
    bent to half that distance or wider comes nearer to itself there (Schur: an arc bent less spans more).
    """
    out = []
    for tube in scene.tubes:
        mine = [piece for piece in scene.pieces if piece.tube is tube]
        found = [gap for piece in mine for gap in _to_itself(scene, mine[0], piece)]
        out += sorted(found, key=lambda gap: gap.gap - gap.wanted)[:1]
    return out


def _to_itself(scene: Scene, tube: Piece, own: Piece) -> list[Gap]:
    """Return the gap of a tube to one of its own pieces, which may be the tube itself, where it lacks."""
    whole = tube.tube
    places = whole.places(*whole.seen)
    first, last = places[:-1], places[1:]
    if own.port is not None:  # all of a fitting counts as where its axis ends, short of its mouth
        end = [port.name for port in whole.path.ports].index(own.port.name)
        inside = float(np.linalg.norm(whole.path.mouths[end] - own.line[-1]))
        first = last = np.full(len(own.line) - 1, whole.seen[end] + (inside if end else -inside))
    apart, here, there = distance.segments(tube.line[:-1, None], tube.line[1:, None], own.line[:-1], own.line[1:])
    between = np.maximum(places[:-1, None] - last, first - places[1:, None])
    left = apart - tube.radius - own.radius
    touch, wanted = (np.pi / 2 * (tube.radius + own.radius + more) for more in (0.0, scene.clearance))
    wanted = np.where(between > wanted, scene.clearance, 0.0)
    lacks = np.where(between > touch, left - wanted, np.inf)
    i, j = at = np.unravel_index(lacks.argmin(), lacks.shape)
    if lacks[at] >= 0:
        return []

    def way_out() -> tuple[float, np.ndarray]:
        if apart[at] > bending.ROUNDING:
            return -float(lacks[at]), (here[at] - there[at]) / apart[at]
        legs = tube.line[i + 1] - tube.line[i], own.line[j + 1] - own.line[j]
        faces = [np.array(face) for face in FACES.values()]  # the centre lines meet: whichever is most square to both
        along = [sum(abs(leg @ face) / np.linalg.norm(leg) for leg in legs) for face in faces]
        return -float(lacks[at]), faces[int(np.argmin(along))]

    def place(k: int, point: np.ndarray) -> str:
        return whole.place_at(places[k] + float(np.linalg.norm(point - tube.line[k])))

    other = own.place(there[at]) if own.port else place(j, there[at])
    gap = _made(tube, f"{other} of itself", left[at], float(wanted[at]), here[at], way_out)
    return [replace(gap, here=place(i, here[at]))]


def _to_runs(scene: Scene) -> list[Gap]:
    pieces, out = scene.pieces, []
    lines, radius = [piece.line for piece in pieces], np.array([piece.radius for piece in pieces])
    fitting = np.array([piece.port is not None for piece in pieces], dtype=bool)
    spots = np.array([scene.spot(piece) for piece in pieces])
    apart, here, there = distance.lines_to_lines(lines, lines)
    left = apart - radius[:, None] - radius
    wanted = np.where(fitting[:, None] & fitting, 0.0, scene.clearance)
    margin = left - wanted
    margin[np.linalg.norm(spots[:, None] - spots, axis=-1) <= ASKEW] = (
        np.inf
    )  # both are on one tee, or in one pass-through
    mine = [[n for n, piece in enumerate(pieces) if piece.tube is tube] for tube in scene.tubes]
    for i, j in combinations(mine, 2):
        a, b = min(product(i, j), key=lambda pair: margin[pair])

        def way_out(a: int = a, b: int = b) -> tuple[float, np.ndarray]:
            move, between = float(wanted[a, b] - left[a, b]), here[a, b] - there[a, b]
            if apart[a, b] > bending.ROUNDING:
                return move, between / np.linalg.norm(between)
            faces = [np.array(face) for face in FACES.values()]  # the centre lines meet: whichever way parts them most
            return move, max(faces, key=lambda face: distance.lines(lines[a] + move * face, lines[b])[0])

        out.append(_made(pieces[a], pieces[b].tube.name, left[a, b], float(wanted[a, b]), here[a, b], way_out))
    return out


def _to_boxes(scene: Scene) -> list[Gap]:
    boxes, pieces, out = (*scene.boxes, *scene.walls), scene.pieces, []
    if not boxes:
        return out
    lines, corners = [piece.line for piece in pieces], np.array([(box.low, box.high) for box in boxes])
    apart, at, _ = distance.lines_to_boxes(lines, corners)
    wanted = np.array([scene.clearance if piece.port is None else 0.0 for piece in pieces])
    margin = apart - (wanted + [piece.radius for piece in pieces])[:, None]
    for n, tube in enumerate(scene.tubes):  # the tubes are the first pieces
        mine = [m for m, piece in enumerate(pieces) if piece.tube is tube]
        for k, box in enumerate(boxes):
            found = []
            if skipped := scene.skipped(tube, box):
                margin[n, k] = np.inf
                for line in _rest(tube, skipped):
                    gap = _to_box(pieces[n]._replace(line=line), box.name, corners[k], scene.clearance)
                    found += [gap] * (gap.gap < gap.wanted)  # else it is only the way out of its hole or part
            told = [m for m in mine if m == n or (pieces[m].port.name, box.name) not in scene.seats]
            m = min(told, key=lambda m: margin[m, k])
            if margin[m, k] < np.inf:
                found.append(_to_box(pieces[m], box.name, corners[k], wanted[m], (apart[m, k], at[m, k])))
            out += sorted(found, key=lambda gap: gap.gap - gap.wanted)[:1]
    return out


def _rest(tube: Tube, skipped: list[tuple[float, float]]) -> list[np.ndarray]:
    """Return what is seen of a tube but for some stretches."""
    (at, last), out = tube.seen, []
    for start, stop in [*sorted(skipped), (last, last)]:
        if min(start, last) - at > bending.APART:
            out.append(tube.cut(at, min(start, last)))
        at = max(at, stop)
    return out


def openings(scene: Scene) -> list[tuple[Gap, str]]:
    """Return for each box that opens and each run the gap to the room it sweeps, and the run's port on it, if any."""
    boxes, pieces, out = [box for box in scene.boxes if box.must_open], scene.pieces, []
    if not boxes:
        return out
    corners = np.array([box.sweep for box in boxes])
    apart, at, _ = distance.lines_to_boxes([piece.line for piece in pieces], corners)
    gaps = apart - np.array([piece.radius for piece in pieces])[:, None]
    for tube in scene.tubes:
        mine = [n for n, piece in enumerate(pieces) if piece.tube is tube]
        for k, box in enumerate(boxes):
            n = min(mine, key=lambda n: gaps[n, k])
            port = next((port.name for port in tube.path.ports if (port.name, box.name) in scene.seats), "")
            out.append((_to_box(pieces[n], box.name, corners[k], 0.0, (apart[n, k], at[n, k])), port))
    return out


class Hole(NamedTuple):
    """
    One hole in a panel: its centre from the left, front or lower edges of the panel (NaN across it), its diameter, and
    what is left of the panel beside it, up to what [m].

    `off_square` is the angle of the tube to the panel's normal [rad]; `straight`: it is straight in the hole.
    """

    run: str
    panel: str
    kind: str
    from_left: float
    from_front: float
    from_lower: float
    diameter: float
    left: float
    up_to: str
    off_square: float
    straight: bool
    at: np.ndarray


def holes(scene: Scene) -> list[Hole]:
    """Return every hole that the panels of the routes need."""
    boxes, kinds, found = {box.name: box for box in scene.boxes}, tables.by_name("holes.csv"), []
    for tube in scene.tubes:
        row = kinds[tube.path.route.hole]
        drilled = [
            (boxes[panel], hole.middle, hole.angle, sorted((tube.along(hole.entry), tube.along(hole.exit))))
            for (run, panel), holes in scene.crossings.items()
            for hole in holes
            if run == tube.name
        ]
        drilled += [
            (boxes[panel], port.at, float(np.arccos(min(abs(port.facing[normal(boxes[panel])]), 1.0))), (0.0, 0.0))
            for (run, panel), ports in scene.ends.items()
            for port in ports
            if run == tube.name
        ]
        for box, middle, angle, (begin, end) in drilled:
            across = normal(box)
            # A round hole that lets a slanting tube pass is as wide as its shadow on the panel.
            slant = tube.path.outside / np.cos(angle) + box.size[across] * np.tan(angle)
            diameter = 1e-3 * row["over_mm"] + (slant if row["fixed_mm"] == "" else 1e-3 * row["fixed_mm"])
            centre = np.where(np.arange(3) == across, np.nan, middle - box.low)
            edge = float(np.nanmin([centre, np.array(box.size) - centre])) - diameter / 2
            straight = not np.any((tube.bends[:, 0] < end - SAME) & (tube.bends[:, 1] > begin + SAME))
            figures = map(exact, (*centre, diameter, edge))
            one = Hole(
                tube.name, box.name, row["name"], *figures, f"an edge of {box.name}", angle, bool(straight), middle
            )
            twin = next((n for n, other in enumerate(found) if _shared(one, other)), None)
            if twin is None:
                found.append(one)
            else:
                found[twin] = found[twin]._replace(run=f"{found[twin].run} and {one.run}")
    out = []
    for one in found:
        near = [(one.left, one.up_to)]
        for other in (hole for hole in found if hole is not one and hole.panel == one.panel):
            near.append((exact(_between(one, other) - (one.diameter + other.diameter) / 2), f"the hole of {other.run}"))
        out.append(one._replace(left=min(near)[0], up_to=min(near)[1]))
    return out


def _between(one: Hole, other: Hole) -> float:
    """Return how far the middles of two holes of a panel are from each other. [m]"""
    return float(np.sqrt(np.nansum(np.square(np.subtract(one[3:6], other[3:6])))))


def _shared(one: Hole, other: Hole) -> bool:
    """Return True if two runs end at one pass-through fitting, one on either side of the panel."""
    return (one.panel, one.kind) == (other.panel, PASS_THROUGH) == (other.panel, other.kind) and (
        _between(one, other) <= ASKEW
    )


# ------------------------------------------------------------------------------------------------- taking it out


#: How a straight tube between two parts that stay comes out.
PUSHED_UP = "both fittings, pushed up the tube"
#: The longest first one of two moves that is tried. [m]
ASIDE = 0.1


class Removal(NamedTuple):
    """
    How a tube comes out with its neighbours in place.

    `unscrew` is the port whose fitting comes off first, or `PUSHED_UP`, `part` what has to be moved for it; both may be
    empty. It is pulled by `pull` [m] the way `pulled` says and then goes `way`, two ways one after the other if it has
    to, so far [m] as `after` says: to be out of the case, or to what it is `stopped_by`.
    """

    run: str
    unscrew: str
    part: str
    pulled: str
    pull: float
    way: str
    after: float
    stopped_by: str


def removal(scene: Scene, tube: Tube) -> Removal:
    """
    Return how a tube comes out; if no way is free, the one on which it gets furthest.

    Ends that face one way are pulled out together. Of a straight tube that is long enough both fittings are unscrewed
    and pushed up it (where their stops let the tube pass). Otherwise the fitting at one end is unscrewed and the tube
    pulled out of the other; if the two face each other that drives it into the part of the first, which has to move.
    Boxes that open are taken to be off. It leaves the case straight on one of six ways, or after a move aside: where a
    panel opens, if any does. That a box is no socket, and holds nothing sideways, is left out.
    """
    path, found, line = tube.path, [], tube.path.line[0]
    alike = float(path.facing[0] @ path.facing[1])
    pulls, wide = [], max(tube.radius, *(fitting.body / 2 for fitting in path.fittings))
    if alike > 1 - SAME:
        pulls.append(("", "", path.facing[0], float(tube.depth.max()), tube.radius))
    else:
        room = sum(fitting.height for fitting in path.fittings) + float(tube.depth.sum())
        if not path.bends and np.all(tube.depth > 0) and path.straights[0] >= room:
            pulls.append((PUSHED_UP, "", np.zeros(3), 0.0, wide))
        pulls += [
            (other.name, (other.of or other.name) if alike < -SAME else "", *pull, tube.radius)
            for other, pull in zip(path.ports[::-1], zip(path.facing, map(float, tube.depth), strict=True), strict=True)
        ]
    for unscrew, part, way, pull, radius in pulls:
        start = (tube.name, unscrew, part, word(way), pull)
        boxes = [box for box in scene.boxes if not box.must_open and not (part and part in (box.of, box.name))]
        moved, by = _slide(scene, tube, line, way, pull, boxes, radius) if pull else (0.0, "")
        if by:
            found.append(Removal(*start, word(way), moved, by))
            continue
        if out := _leaves(scene, tube, line + pull * way, boxes, radius, start, found):
            return out
    return max(found, key=lambda way: way.after)


def _leaves(
    scene: Scene, tube: Tube, line: np.ndarray, boxes: list[Box], radius: float, start: tuple, found: list[Removal]
) -> Removal | None:
    """Return how a loose tube leaves the case, in one move or two, or None; `found` gets what is tried in one."""
    for first in ("", *FACES):
        aside, there = 0.0, line
        if first:
            way = np.array(FACES[first])
            aside, _ = _slide(scene, tube, line, way, ASIDE, [*boxes, *scene.walls], radius)
            there = line + aside * way
        for name, left in _ways_out(scene, there, radius) if aside > ASKEW or not first else ():
            if name == first:
                continue
            moved, by = _slide(scene, tube, there, np.array(FACES[name]), left, boxes, radius)
            tried = Removal(*start, f"{first}, then {name}" if first else name, aside + moved, by)
            if not by:
                return tried
            found += [tried] * (not first)
    return None


def _slide(
    scene: Scene, tube: Tube, line: np.ndarray, way: np.ndarray, travel: float, boxes: list[Box], radius: float
) -> tuple[float, str]:
    """Return how far a tube slides one way, and what stops it: "" if nothing does."""
    for panel in [box for box in boxes if scene.crossings.get((tube.name, box.name))]:
        # Out of its hole it goes only along it, and only if all that has to pass the hole is straight.
        axis = normal(panel)
        behind = line[(line - (panel.low + panel.high) / 2) @ way < 0]
        if abs(way[axis]) < 1 - SAME or np.ptp(np.delete(behind, axis, axis=1), axis=0).max(initial=0.0) > ASKEW:
            return 0.0, panel.name
    boxes = [box for box in boxes if not scene.crossings.get((tube.name, box.name))]
    others = [piece for piece in scene.pieces if piece.tube is not tube]
    corners = np.array([(box.low, box.high) for box in boxes]).reshape(-1, 2, 3)
    lines = [(piece.line, piece.radius) for piece in others]
    moved, by = distance.slides_free(line, way, travel, radius, lines, corners)
    if by is None:
        return moved, ""
    return moved, others[by[1]].tube.name if by[0] == "line" else boxes[by[1]].name


def _ways_out(scene: Scene, line: np.ndarray, radius: float) -> list[tuple[str, float]]:
    """Return the ways a tube may go, the shortest first, and how far it is out on each."""
    every = [end for box in scene.boxes for end in (box.low, box.high)] + [tube.path.points for tube in scene.tubes]
    ends = np.vstack(every) if scene.case_size is None else np.array([np.zeros(3), scene.case_size])
    opens = {word(direction("opens", box.opens)) for box in scene.boxes if box.panel and box.must_open}
    far = {name: max(float((ends @ face).max() - (line @ face).min() + radius), 0.0) for name, face in FACES.items()}
    return sorted(
        ((name, way) for name, way in far.items() if name in opens or not opens & FACES.keys()), key=lambda way: way[1]
    )
