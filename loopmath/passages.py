"""Where the coolant of a plan stands in space: the passages of its parts and tubes as cells joined by openings."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import numpy as np

from loopmath import loop as tree
from loopmath.checks import InputError
from loopmath.laws import bending
from loopmath.laws.flooding import Exit, Void
from loopmath.loss import PORT_BORE
from loopmath.plan import Plan
from loopmath.routes import Port

#: A tube's arcs are taken as chords that miss them by so much at most. [m]
SAG = 5e-4
#: Strands of a round section, as shares of its radius: equal volumes with the disc's own second moment.
RING = np.sqrt(7 / 12)
SECTION = np.array([[0.0, 0.0], *([RING * np.cos(a), RING * np.sin(a)] for a in np.arange(6) * np.pi / 3)])


@dataclass(frozen=True, eq=False)
class Passages:
    """
    The passages of a plan.

    Attributes
    ----------
    void : Void
        Its cells and openings, in the frame of the case.
    owner : tuple of str
        The part or run each cell belongs to.
    exits : dict
        Name of what can be opened -> (purpose: "fill", "vent" or "drain", Exit).
    missing : tuple of str
        What is not known of heights, in words; the rest stands without it.
    uncounted : float
        Coolant in what has no place. [m3]
    guessed : frozenset of str
        Parts with no place that were put where their neighbours are.
    """

    void: Void
    owner: tuple[str, ...]
    exits: dict[str, tuple[str, Exit]]
    missing: tuple[str, ...]
    uncounted: float
    guessed: frozenset[str] = frozenset()

    def exits_for(self, *purposes: str) -> list[Exit]:
        """Return the openings of some purposes."""
        return [exit_ for purpose, exit_ in self.exits.values() if purpose in purposes]

    @property
    def vents(self) -> list[Exit]:
        """Openings air leaves by."""
        return self.exits_for("fill", "vent")

    @property
    def drains(self) -> list[Exit]:
        """Openings coolant is let out by."""
        return self.exits_for("drain")


@dataclass
class _Maker:
    """Cells and openings while they are gathered."""

    strands: list = field(default_factory=list)
    joins: list = field(default_factory=list)
    owner: list = field(default_factory=list)

    def cell(self, owner: str, strands: Any = ()) -> int:
        """Add a cell of strands (start, end, half width, volume) and return its number."""
        self.owner.append(owner)
        self.strands += [(*strand, len(self.owner) - 1) for strand in strands]
        return len(self.owner) - 1

    def join(self, one: int, other: int, at: Any, normal: Any, radius: float) -> None:
        """Join two cells by an opening."""
        self.joins.append((one, other, np.asarray(at, float), _unit(normal), radius))

    def way(self, owner: str, points: np.ndarray, radius: float, volume: float) -> list[int]:
        """Add a round passage along points, a cell a stretch, and return its cells."""
        points = np.asarray(points, dtype=float)
        keep = np.concatenate([[True], np.linalg.norm(np.diff(points, axis=0), axis=1) > 1e-6])
        points = points[keep]
        if len(points) == 1:
            return [self.cell(owner, [(points[0], points[0], radius, volume)])]
        legs = np.diff(points, axis=0)
        lengths = np.linalg.norm(legs, axis=1)
        cells = []
        for start, end, length in zip(points[:-1], points[1:], lengths, strict=True):
            across = _across((end - start) / length)
            offsets = radius * SECTION @ across
            share = volume * length / lengths.sum() / len(SECTION)
            cells.append(self.cell(owner, [(start + o, end + o, (1 - RING) * radius, share) for o in offsets]))
        units = legs / lengths[:, None]
        for n, (one, other) in enumerate(zip(cells[:-1], cells[1:], strict=True)):
            turned = units[n] + units[n + 1]
            self.join(one, other, points[n + 1], turned if np.linalg.norm(turned) > 1e-6 else units[n], radius)
        return cells

    def nearest(self, cells: list[int], at: np.ndarray) -> int:
        """Return the cell, of some, whose strands come nearest to a point."""
        best = {}
        for start, end, _, _, cell in self.strands:
            if cell in cells:
                way = end - start
                share = np.clip((at - start) @ way / max(way @ way, 1e-18), 0.0, 1.0)
                gap = float(np.linalg.norm(start + share * way - at))
                best[cell] = min(gap, best.get(cell, np.inf))
        return min(best, key=best.get) if best else cells[0]

    def void(self) -> Void:
        """Return what was gathered."""
        n = len(self.strands)
        return Void(
            np.array([(s[0], s[1]) for s in self.strands]).reshape(n, 2, 3),
            np.array([s[2] for s in self.strands]),
            np.array([s[3] for s in self.strands]),
            np.array([s[4] for s in self.strands], dtype=int),
            np.array([j[:2] for j in self.joins], dtype=int).reshape(-1, 2),
            np.array([j[2] for j in self.joins]).reshape(-1, 3),
            np.array([j[3] for j in self.joins]).reshape(-1, 3),
            np.array([j[4] for j in self.joins], dtype=float),
            len(self.owner),
        )


def _unit(vector: Any) -> np.ndarray:
    vector = np.asarray(vector, dtype=float)
    size = np.linalg.norm(vector)
    return vector / size if size > 0 else np.array([0.0, 0.0, 1.0])


def _across(unit: np.ndarray) -> np.ndarray:
    """Return two unit vectors (2, 3) across a direction."""
    helper = np.eye(3)[int(np.argmin(np.abs(unit)))]
    first = _unit(np.cross(unit, helper))
    return np.array([first, np.cross(unit, first)])


def _one(name: str, value: Any) -> float:
    """Return a number of a plan that is one design."""
    if np.size(value) != 1:
        raise InputError(name, "an array", "one design at a time", "Heights are worked out for one design.")
    return float(np.ravel(value)[0])


# ---------------------------------------------------------------------------------------------------- parts, tubes


@lru_cache(maxsize=64)
def void_of(plan: Plan) -> Passages:
    """
    Return the passages of a plan.

    A tube follows its way; one that is not laid goes straight between its ports, and by its stated volume. A part's
    passage goes from its inlet over the points it states (`Element.passage`), or over the middle of its body, to its
    outlet; a tank fills its body's height; a radiator has its tanks at both ends of its longest side, with flat tubes
    between them, in as many passes as it has. Steps of bore at ports are left out: a film of air they
    could keep is blown away.

    Parameters
    ----------
    plan : Plan
        One design.

    Raises
    ------
    InputError
        If the plan is an array of designs.
    """
    return _Walk(plan).passages()


class _Walk:
    """One walk over the tree of a plan."""

    def __init__(self, plan: Plan) -> None:
        self.plan, self.made, self.uncounted = plan, _Maker(), 0.0
        #: What is not known, in words for several names -> the names.
        self.missing: dict[str, list[str]] = {}
        self.ports = {port.name: port for port in plan.ports}
        self.routes = {route.name: route for route in plan.routes}
        self.exits: dict[str, tuple[str, Exit]] = {}
        self.cells: dict[str, list[int]] = {}
        #: Cells a port may open into, where not all of a part's are.
        self.ported: dict[str, list[int]] = {}
        self.spots: dict[str, list[np.ndarray]] = {}
        #: Parts with no place: those whose neighbour has none to meet them at, and those put there all the same.
        self.loose: set[str] = set()
        self.guessed: set[str] = set()

    def passages(self) -> Passages:
        """Return what the walk found."""
        leaves = list(tree.leaves(self.plan.loop))
        self._note_spots(leaves)
        for leaf in leaves:
            self._place(leaf)
        self._joined(self.plan.loop)
        for leg in (leaf for leaf in leaves if isinstance(leaf, tree.DeadLeg)):
            self._hang(leg, leaves)
        for port in self.plan.ports:
            if port.purpose and port.of in self.cells:
                self._open(port.name, port.purpose, self._at_port(port.of, port.at), port)
        return Passages(
            self.made.void(),
            tuple(self.made.owner),
            self.exits,
            tuple(f"{', '.join(names)}: {words}" for words, names in self.missing.items()),
            float(self.uncounted),
            frozenset(self.guessed),
        )

    def _note(self, words: str, name: str) -> None:
        self.missing.setdefault(words, []).append(name)

    def _open(self, name: str, purpose: str, cell: int, port: Port, radius: float = PORT_BORE / 2) -> None:
        self.exits[name] = (purpose, Exit(cell, tuple(port.at), tuple(port.facing), radius))

    def _note_spots(self, leaves: list) -> None:
        """Note for every part where coolant enters and leaves: ports of its runs, or where it touches its neighbour."""
        self.between: dict[tuple[str, str], Any] = {}
        for one, other in neighbours(self.plan.loop):
            at = self._meeting(one, other)
            self.between[one.name, other.name] = at
            if at is not None:
                self.spots.setdefault(one.name, []).append(at)
                self.spots.setdefault(other.name, []).append(at)

    def _ends(self, run: tree.Element) -> tuple[Port | None, Port | None]:
        route = self.routes.get(run.name)
        return (None, None) if route is None else (self.ports.get(route.start), self.ports.get(route.end))

    def _meeting(self, one: tree.Element, other: tree.Element) -> np.ndarray | None:
        """Return where coolant goes from one to the other, if that is known."""
        for run, which in ((other, 0), (one, 1)):
            if isinstance(run, tree.Run) and self._ends(run)[which] is not None:
                return self._ends(run)[which].at
        bodies = [_body(leaf) for leaf in (one, other)]
        if any(body is None for body in bodies):
            known = next((b for b in bodies if b is not None), None)
            self.loose |= {leaf.name for leaf, body in zip((one, other), bodies, strict=True) if body is None}
            return None if known is None else known.mean(0)
        (low, high), (low_2, high_2) = bodies
        return (np.maximum(low, low_2) + np.minimum(high, high_2)) / 2

    def _place(self, leaf: tree.Element) -> None:
        """Make the cells of a leaf, or note what is not known of it."""
        volume = _one(f"volume of {leaf.name}", leaf.volume())
        if isinstance(leaf, (tree.Run, tree.DeadLeg)):
            cells = self._tube(leaf, volume)
        elif isinstance(leaf, tree.RadiatorUnit) and _body(leaf) is not None:
            cells, self.ported[leaf.name] = _radiator(self.made, leaf, volume, self.spots.get(leaf.name, []))
        elif isinstance(leaf, tree.Tank) and _body(leaf) is not None:
            cells = [_tank(self.made, leaf, volume)]
        else:
            cells = self._part(leaf, volume)
        if cells:
            self.cells[leaf.name] = cells
            if leaf.name in self.loose and volume > 0 and not isinstance(leaf, (tree.Run, tree.DeadLeg)):
                self.guessed.add(leaf.name)
                self._note("no place in the plan, so taken to be where the neighbour is.", leaf.name)
        elif volume > 0:
            self.uncounted += volume
            what = "no way and no ports" if isinstance(leaf, (tree.Run, tree.DeadLeg)) else "no place"
            self._note(f"{what} in the plan, so the heights are not known; left out.", leaf.name)

    def _tube(self, leaf: Any, volume: float) -> list[int]:
        start, end = self._ends(leaf)
        radius = _one(f"bore of {leaf.name}", leaf.tube.bore) / 2
        if leaf.laid is not None:
            path = leaf.laid
            _one(f"{leaf.name}, radius", path.radius)
            points, _ = bending.line(path.points, float(path.radius), SAG) if path.bends else (path.points, None)
        elif start is not None and end is not None:
            points = np.array([start.at, end.at])
        else:
            spots = self.spots.get(leaf.name, []) if isinstance(leaf, tree.Run) else []
            if len(spots) < 2:
                return []
            self._note("no way and no ports in the plan, so taken straight from part to part.", leaf.name)
            points = np.array(spots[:2])
        # Fittings and adapters hold no coolant of their own in a plan, but they lead it.
        first, last = points[0], points[-1]
        cells = self.made.way(leaf.name, points, radius, volume)
        lead_in = self._lead(leaf, "start", start, first, radius, cells[0])
        lead_out = self._lead(leaf, "end", end, last, radius, cells[-1])
        return [*lead_in, *cells, *lead_out[::-1]]

    def _lead(self, leaf: Any, end: str, port: Port | None, at: np.ndarray, radius: float, cell: int) -> list[int]:
        """Return the empty cells from a port over the knee of an angled fitting to the tube, the port's first."""
        if port is None or np.linalg.norm(port.at - at) < 1e-3:
            return []
        out = port.facing
        knee = port.at + ((at - port.at) @ out) * out
        points = [port.at, knee, at] if min(np.linalg.norm(knee - p) for p in (port.at, at)) > 1e-3 else [port.at, at]
        cells = [self.made.cell(leaf.name) for _ in points[:-1]]
        for n, point in enumerate(points[1:]):
            onward = cells[n + 1] if n + 1 < len(cells) else cell
            self.made.join(cells[n], onward, point, point - points[n], radius)
        return cells

    def _part(self, leaf: Any, volume: float) -> list[int]:
        body, spots = _body(leaf), self.spots.get(leaf.name, [])
        if body is None and (isinstance(leaf, tree.Fittings) or not spots):
            return []
        inner = [np.array(p) for p in leaf.passage] if leaf.passage else [] if body is None else [body.mean(0)]
        spots = spots[:1] + spots[-1:] if len(spots) > 1 else spots
        points = [*spots[:1], *inner, *spots[1:]]
        return self.made.way(leaf.name, np.array(points), PORT_BORE / 2, volume)

    def _joined(self, item: Any) -> None:
        """Join what follows one another."""
        for one, other in neighbours(item, lambda leaf: leaf.name in self.cells):
            known = self.between.get((one.name, other.name), self._meeting(one, other))
            if known is None:
                continue
            first, second = (self._door(leaf, known, which) for leaf, which in ((one, -1), (other, 0)))
            run = next((leaf for leaf in (one, other) if isinstance(leaf, tree.Run)), None)
            radius = PORT_BORE / 2 if run is None else _one("bore", run.tube.bore) / 2
            self.made.join(first, second, known, self._through(one, other, known), radius)

    def _door(self, leaf: Any, at: np.ndarray, which: int) -> int:
        return self.cells[leaf.name][which] if isinstance(leaf, tree.Run) else self._at_port(leaf.name, at)

    def _at_port(self, name: str, at: np.ndarray) -> int:
        """Return the cell of a part that an opening of it leads into."""
        return self.made.nearest(self.ported.get(name, self.cells[name]), at)

    def _through(self, one: Any, other: Any, at: np.ndarray) -> np.ndarray:
        """Return the direction through the opening between two neighbours."""
        for run, which in ((other, 0), (one, 1)):
            if isinstance(run, tree.Run) and self._ends(run)[which] is not None:
                return self._ends(run)[which].facing
        middles = [at if _body(leaf) is None else _body(leaf).mean(0) for leaf in (one, other)]
        return np.eye(3)[int(np.argmax(np.abs(middles[1] - middles[0])))]

    def _hang(self, leg: tree.DeadLeg, leaves: list) -> None:
        """Join a dead leg to what it hangs from, and open its far end."""
        if leg.name not in self.cells:
            if leg.purpose in ("fill", "drain"):
                self._note("where it ends is not known, so it counts as no opening.", leg.name)
            return
        start, end = self._ends(leg)
        place = next(n for n, leaf in enumerate(leaves) if leaf is leg)
        before = [leaf.name for leaf in leaves[place::-1] + leaves[:place:-1] if not isinstance(leaf, tree.DeadLeg)]
        holder = start.of if start.of in self.cells else next((n for n in before if n in self.cells), None)
        cells, radius = self.cells[leg.name], _one("bore", leg.tube.bore) / 2
        if holder is not None:
            self.made.join(self._at_port(holder, start.at), cells[0], start.at, start.facing, radius)
        if leg.purpose in ("fill", "drain"):
            self._open(leg.name, leg.purpose, cells[-1], end, radius)


def _body(leaf: Any) -> np.ndarray | None:
    """Return lowest and highest corner (2, 3) of a part's body, its position twice if it has no size."""
    if leaf.position is None:
        return None
    half = np.zeros(3) if leaf.size is None else np.array(leaf.size) / 2
    return np.array([np.array(leaf.position) - half, np.array(leaf.position) + half])


def neighbours(item: Any, known: Any = lambda leaf: True) -> Iterator[tuple[Any, Any]]:
    """Yield what follows one another round a loop, as (before, after), without dead legs and what is not known."""

    def ends(node: Any, which: int) -> list:
        """Return the first or last known leaves of a stretch, none if there is nothing in it."""
        if isinstance(node, tree.Series):
            for child in node.items if which == 0 else node.items[::-1]:
                found = ends(child, which)
                if found:
                    return found
            return []
        if isinstance(node, tree.Parallel):
            return [leaf for branch in node.branches for leaf in ends(branch, which)]
        return [node] if not isinstance(node, tree.DeadLeg) and known(node) else []

    def pairs(node: Any, ring: bool) -> Iterator[tuple[Any, Any]]:
        if isinstance(node, tree.Parallel):
            for branch in node.branches:
                yield from pairs(branch, False)
        if not isinstance(node, tree.Series):
            return
        filled = [child for child in node.items if ends(child, 0)]
        for child in filled:
            yield from pairs(child, False)
        following = [*filled[1:], *filled[:1]] if ring else filled[1:]
        for one, other in zip(filled, following, strict=False):
            for before in ends(one, 1):
                for after in ends(other, 0):
                    if before is not after:
                        yield before, after

    yield from pairs(item, True)


def _grid(low: np.ndarray, high: np.ndarray, along: int, parts: tuple[int, int]) -> list[tuple]:
    """Return (start, end, half width, share) of the columns a box is cut into along one of its sides."""
    a, b = (n for n in range(3) if n != along)
    steps = (high - low)[[a, b]] / parts
    out = []
    for i in range(parts[0]):
        for j in range(parts[1]):
            start = low.copy()
            start[[a, b]] += (np.array([i, j]) + 0.5) * steps
            end = start.copy()
            end[along] = high[along]
            out.append((start, end, float(min(steps)) / 2, 1.0 / (parts[0] * parts[1])))
    return out


def _tank(made: _Maker, leaf: tree.Tank, volume: float) -> int:
    """Add a tank: all of its body's height, and as much of its section as its volume asks for."""
    low, high = _body(leaf)
    size = high - low
    share = min(np.sqrt(volume / np.prod(size)), 1.0) if np.all(size > 0) else 1.0
    shrink = np.array([0.5 * (1 - share), 0.5 * (1 - share), 0.0]) * size
    columns = _grid(low + shrink, high - shrink, 2, (4, 4))
    return made.cell(leaf.name, [(a, b, half, part * volume) for a, b, half, part in columns])


def _radiator(
    made: _Maker, leaf: tree.RadiatorUnit, volume: float, spots: list[np.ndarray]
) -> tuple[list[int], list[int]]:
    """
    Add a radiator: tanks at both ends of its longest side, flat tubes between them; return all cells, and the tanks'.

    The tank its inlet is on is parted for the first pass, the others follow from there.
    """
    radiator, (low, high) = leaf.radiator, _body(leaf)
    size = high - low
    long, wide, deep = (int(n) for n in np.argsort(-size, kind="stable"))
    passes = max(round(_one(f"passes of {leaf.name}", radiator.passes)), 1)
    tubes = max(round(_one(f"tubes of {leaf.name}", radiator.tubes)), passes)
    core = min(_one(f"core of {leaf.name}", radiator.core_length), 0.98 * size[long])
    tank = (size[long] - core) / 2
    in_tanks = min(_one("tanks", radiator.tank_volume_per_width * radiator.fan_size), 0.9 * volume)
    edges = low[wide] + size[wide] * np.arange(tubes + 1) / tubes
    group = np.arange(tubes) * passes // tubes

    def point(along: float, across: float, share: float) -> np.ndarray:
        out = np.zeros(3)
        out[[long, wide, deep]] = along, across, low[deep] + share * size[deep]
        return out

    inlet = int(bool(spots) and spots[0][long] > (low + high)[long] / 2)

    def segments(end: int) -> list[tuple[int, ...]]:
        """Return which passes meet in each chamber of the tank at one end."""
        first = [(0,)] if end == inlet else []
        pairs = [(n, n + 1) for n in range(end == inlet, passes - 1, 2)]
        rest = sorted(set(range(passes)) - {n for pair in (*first, *pairs) for n in pair})
        return [*first, *pairs, *((n,) for n in rest)]

    chambers: list[dict[int, int]] = []
    for end in (0, 1):
        near = low[long] if end == 0 else high[long] - tank
        inside: dict[int, int] = {}
        for meet in segments(end):
            members = np.flatnonzero(np.isin(group, meet))
            a, b = edges[members[0]], edges[members[-1] + 1]
            part = in_tanks / 2 * len(members) / tubes / 4
            strands = [
                (point(near + tank * x, a, share), point(near + tank * x, b, share), min(tank, size[deep]) / 4, part)
                for share in (0.25, 0.75)
                for x in (0.25, 0.75)
            ]
            cell = made.cell(leaf.name, strands)
            inside |= dict.fromkeys(meet, cell)
        chambers.append(inside)
    tanks = sorted({cell for inside in chambers for cell in inside.values()})
    cells = list(tanks)
    each, thin = (volume - in_tanks) / tubes, _one("tube height", radiator.tube_height) / 2
    for n in range(tubes):
        middle = (edges[n] + edges[n + 1]) / 2
        lines = [
            (point(low[long] + tank, middle, s), point(high[long] - tank, middle, s)) for s in (1 / 6, 1 / 2, 5 / 6)
        ]
        cell = made.cell(leaf.name, [(a, b, thin, each / 3) for a, b in lines])
        cells.append(cell)
        for line in lines:
            for end in (0, 1):
                made.join(cell, chambers[end][int(group[n])], line[end], np.eye(3)[long], thin)
    return cells, tanks
