"""What stands in whose way in a case: ways out of parts and tubes, fittings that get hidden, room for a hand."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np

from loopmath import loop as tree
from loopmath import run_gaps
from loopmath.designs import number_of_designs, one_design
from loopmath.laws import distance
from loopmath.passages import neighbours
from loopmath.plan import Plan
from loopmath.routes import ASKEW, FACES, Box, direction, word
from loopmath.run_gaps import Scene, normal

#: Half of what a slim spanner or two fingers need on their way to a fitting, and what they need beside it (common
#: practice, no source). [m]
REACH, FINGERS = 0.015, 0.010
#: How far a part is first moved aside to come out past another. [m]
ASIDE = (0.03, 0.06, 0.1)


class Way(NamedTuple):
    """
    One way something comes out: which way, and what has to be out before.

    Of a tube: the part that has to give way a little, or, where it goes `through` a panel, the parts at its ends.
    """

    way: str
    blockers: frozenset
    loose: tuple[str, ...] = ()
    through: str = ""

    @property
    def note(self) -> str:
        """What is left loose until it is in, in words."""
        if self.through:
            start = f"It goes through its hole in {self.through}"
            return f"{start}: leave {' or '.join(self.loose)} loose until it is in." if self.loose else f"{start}."
        return f"{self.loose[0]} has to give way a little: leave it loose until this is in." if self.loose else ""


class Body(NamedTuple):
    """
    What comes out as one: its boxes, tubes that end on it, and what stands on it.

    A radiator brings its fans, and a part the fittings that are screwed to it.
    """

    boxes: tuple[Box, ...]
    tubes: frozenset
    on_it: frozenset = frozenset()


@dataclass(frozen=True, eq=False)
class Space:
    """What stands where in one plan, and what ends on what."""

    plan: Plan
    scene: Scene
    ends: dict[str, tuple[str, ...]]
    bodies: dict[str, Body]

    @property
    def fixed(self) -> list[Box]:
        """Panels that stay."""
        return [box for box in self.scene.boxes if box.panel and not box.must_open]

    @property
    def panels(self) -> list[Box]:
        """All that opens."""
        return [box for box in self.scene.boxes if box.must_open]

    def owner(self, box: Box) -> str:
        """Return what a box belongs to: a part of the loop, or itself."""
        return box.of or next((name for name, body in self.bodies.items() if box in body.boxes), box.name)

    @property
    def doors(self) -> dict[str, np.ndarray]:
        """Ways out of the case: where a panel opens, if any does."""
        opens = {word(direction("opens", box.opens)) for box in self.panels if box.panel} & FACES.keys()
        return {name: np.array(FACES[name]) for name in FACES if name in opens or not opens}

    def far(self, low: np.ndarray, high: np.ndarray, way: np.ndarray) -> float:
        """Return how far something has to go until it is out of the case. [m]"""
        size = self.scene.case_size
        ends = (
            np.vstack([e for box in self.scene.boxes for e in (box.low, box.high)])
            if size is None
            else np.array([np.zeros(3), size])
        )
        return max(float((ends @ way).max() - min(low @ way, high @ way)), 0.0)


def ends_of(plan: Plan) -> dict[str, tuple[str, ...]]:
    """Return for each run and dead leg the parts of the loop it ends on, by its ports and by what is beside it."""
    tubes = [leaf for leaf in tree.leaves(plan.loop) if isinstance(leaf, (tree.Run, tree.DeadLeg))]
    found: dict[str, dict] = {leaf.name: {} for leaf in tubes}
    names = {leaf.name for leaf in tree.leaves(plan.loop)}
    ports, routes = {port.name: port for port in plan.ports}, {route.name: route for route in plan.routes}
    for name in found:
        for port in (routes[name].start, routes[name].end) if name in routes else ():
            if port in ports and ports[port].of in names:
                found[name][ports[port].of] = None
    for one, other in neighbours(plan.loop):
        for tube, part in ((one.name, other.name), (other.name, one.name)):
            if tube in found and part not in found:
                found[tube][part] = None
    before = ""
    for leaf in tree.leaves(plan.loop):
        if isinstance(leaf, tree.DeadLeg) and not found[leaf.name] and before:
            found[leaf.name][before] = None
        elif leaf.name not in found:
            before = leaf.name
    return {name: tuple(parts) for name, parts in found.items()}


@lru_cache(maxsize=24)
def space_of(plan: Plan) -> Space:
    """
    Return what stands where in a plan.

    Raises
    ------
    InputError
        For N designs.
    """
    one_design("build order", number_of_designs(plan))
    scene = run_gaps.scene(plan.paths.values(), plan.bodies, float(plan.clearance), plan.case_size)
    ends, own = ends_of(plan), {box.of: box for box in scene.boxes if box.of}
    loose = [box for box in scene.boxes if not box.of and not box.must_open and not box.panel]
    bodies, fans = {}, set()
    for leaf in tree.leaves(plan.loop):
        if leaf.name in ends:
            continue
        box, tubes = own.get(leaf.name), frozenset(name for name, parts in ends.items() if leaf.name in parts)
        boxes = () if box is None else (box,)
        if box is not None and isinstance(leaf, tree.RadiatorUnit) and leaf.fan is not None:
            boxes += tuple(b for b in loose if _lies_on(b, box))
        fans |= set(boxes[1:])
        bodies[leaf.name] = Body(boxes, tubes)
    screwed = [(main, bodies[small]) for main, small in screwed_on(plan)]
    for main, small in screwed:
        mine = bodies[main]
        bodies[main] = mine._replace(boxes=mine.boxes + small.boxes, tubes=mine.tubes | small.tubes)
    for low, high in stands_on(own):
        bodies[low] = bodies[low]._replace(on_it=bodies[low].on_it | {high})
    bodies |= {box.name: Body((box,), frozenset()) for box in loose if box not in fans}
    return Space(plan, scene, ends, bodies)


def screwed_on(plan: Plan) -> list[tuple[str, str]]:
    """Return (part, fitting or in-line part that is screwed to it), where no tube is between them."""
    out = []
    for pair in neighbours(plan.loop):
        small = [isinstance(leaf, (tree.Fittings, tree.InlineUnit)) for leaf in pair]
        if sum(small) == 1 and not any(isinstance(leaf, tree.Run) for leaf in pair):
            out.append(tuple(leaf.name for leaf in (pair if small[1] else pair[::-1])))
    return out


def _lies_on(box: Box, core: Box) -> bool:
    """Return True if a box lies flat on the large face of a radiator, as its fans do."""
    axis = normal(core)
    apart = max(box.low[axis] - core.high[axis], core.low[axis] - box.high[axis])
    overlap = np.minimum(box.high, core.high) - np.maximum(box.low, core.low)
    wide = np.delete(overlap, axis) / np.delete(np.array(core.size), axis)
    return abs(apart) <= 3 * ASKEW and bool(np.all(wide > 0.5))


def stands_on(own: dict[str, Box]) -> Iterator[tuple[str, str]]:
    """Yield (lower, upper) where one body of some rests on another."""
    for low, under in own.items():
        for high, over in own.items():
            overlap = np.minimum(under.high, over.high) - np.maximum(under.low, over.low)
            if low != high and abs(over.low[2] - under.high[2]) <= ASKEW and np.all(overlap[:2] > ASKEW):
                yield low, high


@lru_cache(maxsize=24)
def ways_out(plan: Plan) -> dict[str, tuple[Way, ...]]:
    """
    Return for every part, tube and box of a plan the ways it comes out, those with least in the way first.

    A part goes straight out where a panel opens, or first aside by up to 100 mm; its tubes come off before. Screws,
    sockets and pins that hold it one way are left out. Panels that do not open stay. () where no way was found; what
    has no place in the plan has one way that only its tubes are in.
    """
    space = space_of(plan)
    out = {name: _part_ways(space, name) for name in space.bodies}
    laid = {tube.name: tube for tube in space.scene.tubes}
    anyhow = (Way("", frozenset()),)
    return out | {name: _tube_ways(space, laid[name]) if name in laid else anyhow for name in space.ends}


def _part_ways(space: Space, name: str) -> tuple[Way, ...]:
    body = space.bodies[name]
    if not body.boxes:
        return (Way("", body.tubes | body.on_it),)
    moves = [(word_, [], way) for word_, way in space.doors.items()]
    for aside, first in FACES.items():
        moves += [
            (f"{aside}, then {word_}", [step * np.array(first)], way)
            for word_, way in space.doors.items()
            if abs(np.array(first) @ way) < 0.5
            for step in ASIDE
        ]
    sweeps, of = [], []
    inside = [True] * len(moves)
    for n, (_, asides, way) in enumerate(moves):
        for box in body.boxes:
            low, high = box.low, box.high
            for step in asides:
                sweeps.append((np.minimum(low, low + step), np.maximum(high, high + step)))
                of.append((n, True))
                low, high = low + step, high + step
                size = space.scene.case_size
                inside[n] &= size is None or bool(np.all(low >= -ASKEW) and np.all(high <= np.array(size) + ASKEW))
            go = space.far(low, high, way) * way
            sweeps.append((np.minimum(low, low + go), np.maximum(high, high + go)))
            of.append((n, False))
    met: list[tuple[set, set]] = [(set(), set()) for _ in moves]
    for (n, first), names in zip(of, _met(space, body, np.array(sweeps)), strict=True):
        met[n][not first].update(names)
    fixed, found = {box.name for box in space.fixed}, []
    for n, (word_, _, _) in enumerate(moves):
        aside, onward = met[n]
        if inside[n] and not aside and not onward & fixed:
            found.append(Way(word_, frozenset(onward) | body.tubes | body.on_it))
    found.sort(key=lambda way: len(way.blockers))
    kept: list[Way] = []
    for way in found:
        if not any(other.blockers <= way.blockers for other in kept):
            kept.append(way)
    return tuple(kept)


def _met(space: Space, body: Body, sweeps: np.ndarray) -> list[set[str]]:
    """Return what each sweep (k, 2, 3) of a body meets, what it touches from the start left out."""
    found: list[set[str]] = [set() for _ in sweeps]
    low, high = sweeps[:, 0] + ASKEW, sweeps[:, 1] - ASKEW
    for box in space.scene.boxes:
        if box in body.boxes or box.must_open:
            continue
        if any(np.all((box.low < b.high - ASKEW) & (b.low + ASKEW < box.high)) for b in body.boxes):
            continue
        for n in np.flatnonzero(np.all((low < box.high) & (box.low < high), axis=1)):
            found[n].add(space.owner(box))
    pieces = [piece for piece in space.scene.pieces if piece.tube.name not in body.tubes]
    if pieces:
        lines, radius = [piece.line for piece in pieces], np.array([piece.radius for piece in pieces])
        apart, _, _ = distance.lines_to_boxes(lines, np.stack([np.minimum(low, high), np.maximum(low, high)], axis=1))
        for m, n in zip(*np.nonzero(apart < radius[:, None] - ASKEW), strict=True):
            found[n].add(pieces[m].tube.name)
    return found


def _without(scene: Scene, gone: Iterable[str]) -> Scene:
    gone = set(gone)
    tubes = tuple(tube for tube in scene.tubes if tube.name not in gone)
    return Scene(tubes, tuple(b for b in scene.boxes if b.name not in gone), scene.clearance, scene.case_size)


def _tube_ways(space: Space, tube: Any) -> tuple[Way, ...]:
    """Return how a tube comes out: with nothing gone, else with any one thing, else with one after another gone."""
    found = run_gaps.removal(space.scene, tube)
    through = [box.name for box in space.fixed if space.scene.met(tube.name, box.name)]
    if through:
        return (Way("", frozenset(), space.ends[tube.name], through[0]),)
    if not found.stopped_by:
        return (Way(found.way, frozenset(), _moved(found)),)
    own = {box.name for part in space.ends[tube.name] for box in space.bodies[part].boxes}
    parts = [box.name for box in space.scene.boxes if not box.panel and not box.must_open and box.name not in own]
    others = [*(t.name for t in space.scene.tubes if t is not tube), *parts]
    singles = [(name, run_gaps.removal(_without(space.scene, [name]), tube)) for name in others]
    ways = [Way(way.way, frozenset([_whose(space, name)]), _moved(way)) for name, way in singles if not way.stopped_by]
    if ways:
        return tuple(ways)
    gone: list[str] = []
    while found.stopped_by in others and found.stopped_by not in gone:
        gone.append(found.stopped_by)
        found = run_gaps.removal(_without(space.scene, gone), tube)
    if found.stopped_by:
        return ()
    for name in list(gone):
        fewer = [other for other in gone if other != name]
        if not (again := run_gaps.removal(_without(space.scene, fewer), tube)).stopped_by:
            gone, found = fewer, again
    return (Way(found.way, frozenset(_whose(space, name) for name in gone), _moved(found)),)


def _whose(space: Space, name: str) -> str:
    box = next((box for box in space.scene.boxes if box.name == name), None)
    return name if box is None else space.owner(box)


def _moved(removal: Any) -> tuple[str, ...]:
    return (removal.part,) if removal.part else ()


def hidden(space: Space) -> dict[str, frozenset]:
    """
    Return for each laid tube what stands between its fittings, or the tap at its end, and every open side of the case:
    of all straight ways to each the one with least on it, `REACH` to all sides.
    """
    out: dict[str, frozenset] = {}
    pieces = space.scene.pieces
    lines, radius = [p.line for p in pieces], np.array([p.radius for p in pieces])
    for tube in space.scene.tubes:
        names: set[str] = set()
        own = {box.name for part in space.ends[tube.name] for box in space.bodies[part].boxes}
        boxes = [b for b in space.scene.boxes if not b.must_open and b.name not in own]
        for port, mouth in zip(tube.path.ports, tube.path.mouths, strict=True):
            start = (port.at + mouth) / 2
            ways = space.doors.values()
            rays = [np.array([start, start + max(space.far(start, start, way), ASKEW) * way]) for way in ways]
            near, _, _ = distance.lines_to_lines(rays, lines)
            to_box, _, _ = distance.lines_to_boxes(rays, np.array([(b.low, b.high) for b in boxes]).reshape(-1, 2, 3))
            each = [
                {pieces[m].tube.name for m in np.flatnonzero(near[n] < radius + REACH)} - {tube.name}
                | {space.owner(boxes[m]) for m in np.flatnonzero(to_box[n] < REACH)}
                for n in range(len(rays))
            ]
            names |= min(each, key=len)
        out[tube.name] = frozenset(names)
    return out


def tight(space: Space) -> dict[str, list[tuple[str, str, float]]]:
    """Return for each laid tube (port, other, gap) of what leaves less than `FINGERS` beside a fitting of it. [m]"""
    pieces, out = space.scene.pieces, {tube.name: [] for tube in space.scene.tubes}
    mine = [p for p in pieces if p.port is not None]
    if not mine:
        return out
    apart, _, _ = distance.lines_to_lines([p.line for p in mine], [p.line for p in pieces])
    gap = apart - np.array([p.radius for p in mine])[:, None] - np.array([p.radius for p in pieces])
    for n, one in enumerate(mine):
        near: dict[str, float] = {}
        for m in np.flatnonzero(gap[n] < FINGERS):
            other = pieces[m]
            if other.tube is not one.tube and np.linalg.norm(space.scene.spot(other) - one.port.at) > ASKEW:
                near[other.tube.name] = min(near.get(other.tube.name, np.inf), max(float(gap[n, m]), 0.0))
        out[one.tube.name] += [(one.port.name, name, far) for name, far in near.items()]
    return out
