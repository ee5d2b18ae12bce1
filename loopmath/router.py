"""
A search for tidy routes of tube: straight legs along the axes of the case, a right angle at every corner.

Lines worth considering (in line with ports and runs, beside them, just clear of what is in the way) make a grid. A leg
is a stretch of one of its lines, a bend sits where two cross. For every crossing the least cost of getting there is
worked out leg by leg until none gets less. So what is found is the cheapest on that grid by `COST`; on a line that the
grid lacks there may be a cheaper one.
"""

from dataclasses import dataclass, replace
from itertools import count as counter
from typing import Any

import numpy as np

from loopmath import loop as tree
from loopmath import network, routes, settle
from loopmath.checks import InputError, one_of
from loopmath.clear_space import BEYOND, HAIR, WAYS, Space, around, ends, filled, fitted, gaps, others, summed
from loopmath.designs import number_of_designs
from loopmath.laws import bending, distance, pipeflow
from loopmath.plan import Plan
from loopmath.routes import Route, TubePath

#: What a route costs in metres of tube besides its length: each bend; each metre neither in line with nor beside a
#: neighbour, if there are any; each leg that shares no coordinate with a port or a leg of another run; the square of
#: each leg in m2, so that of equal routes the one with even legs stands. Judgement of tidiness, no source.
COST = {"bend": 0.08, "loose": 0.15, "out of line": 0.02, "uneven": 0.001}
#: Legs this many outside diameters apart are still seen as a pair.
PAIR = 6.0
#: Coordinates nearer than this are in line; of two lines of the grid nearer than this one is left out. [m]
IN_LINE = 1e-3
#: Lines of the grid along each axis at first, and if there is no way on those.
MOST_LINES = (20, 32)
#: A further route has a corner this many outside diameters off those before, and costs at most so many times the best.
DIFFERENT, WORST = 2.0, 1.75
#: How many orders of runs are tried.
TRIES = 6
#: Costs are counted in whole nanometres, so that what is equal is found equal.
NANO = 1e9
#: Law of wall friction.
FRICTION = "churchill"
#: The direction opposite to each.
OPPOSITE = np.arange(6) ^ 1


@dataclass(frozen=True, eq=False)
class Proposal:
    """
    A route that can be bent, fits its fittings and keeps the clearance of the plan to all that stands.

    Attributes
    ----------
    route, path : Route, TubePath
        With its corners, and the run laid along it.
    bends : int
        All of 90 degrees.
    length : float
        Developed length, what sits in the fittings included. [m]
    aligned : float
        Share of its legs that lies in line with or beside a leg of a neighbour.
    loss : float or array
        What the run takes from the pressure at the flow the plan settles at; 0 of a dead leg. [Pa]
    cost : float
        By `COST`, in metres of tube.
    words : str
        Why it stands here, in a sentence.
    """

    route: Route
    path: TubePath
    bends: int
    length: float
    aligned: float
    loss: Any
    cost: float
    words: str = ""


@dataclass(frozen=True, eq=False)
class Routed:
    """
    Several runs routed together.

    Attributes
    ----------
    plan : Plan
        With the routes put in; that of a run that failed is left without corners.
    proposals : dict of str to Proposal
        By run, each judged with all others in place.
    failed : dict of str to str
        Why there is none, by run.
    order : tuple of str
        In which they were laid.
    tries : int
        How many orders were tried.
    """

    plan: Plan
    proposals: dict[str, Proposal]
    failed: dict[str, str]
    order: tuple[str, ...]
    tries: int

    @property
    def cost(self) -> float:
        """Of all of them, in metres of tube."""
        return sum(proposal.cost for proposal in self.proposals.values())


def propose(
    plan: Plan,
    name: str,
    start: str | None = None,
    end: str | None = None,
    count: int = 5,
    neighbours: tuple[str, ...] = (),
    lines: Any = ((), (), ()),
) -> list[Proposal]:
    """
    Return routes for one run, the cheapest first.

    Parameters
    ----------
    plan : Plan
        What it keeps clear of: parts, the room that boxes open into, sides of the case, fittings, runs that are laid.
        Of N designs the largest radius, tube and clearance hold.
    name : str
        A run or dead leg of rigid tube; fittings and radius are those of its route, if it has one.
    start, end : str, optional
        Ports, if not those of its route.
    count : int
        At most so many; each has a corner well off those before it.
    neighbours : tuple of str
        Laid runs it should lie in line with or beside; by default those its route names, or else all.
    lines : three sequences of float
        Coordinates to the right, to the rear and up to consider besides. [m]

    Returns
    -------
    proposals : list of Proposal
        The first is the cheapest on the grid by `COST`, unless that touches itself.

    Raises
    ------
    InputError
        If the run is not known or of soft tube, a fitting faces along no axis of the case, or there is no way: with
        what closes it in, or how much room its fitting lacks.
    """
    case = _case(plan, name, {n: p for n, p in plan.paths.items() if n != name}, start, end, neighbours)
    flows = _flows(plan)
    found = sorted((_judged(case, path, flows) for path in _search(case, count, lines)), key=lambda p: p.cost)
    return [replace(p, words=_why(case, p, found[0])) for p in found]


def route_all(plan: Plan, names: Any = None, order: Any = None) -> Routed:
    """
    Return the plan with several runs routed anew so that none is in another's way.

    They are laid one after another, each the cheapest way past those that lie. Of up to `TRIES` orders the
    best is kept: that with fewest runs left over, then that of least cost. The next order takes all up again and lays
    first the run that found no way, or else the one that the others made dearest.

    Parameters
    ----------
    plan : Plan
        Its other runs stay where they are.
    names : sequence of str, optional
        Runs with a route, by default all of rigid tube.
    order : sequence of str, optional
        Those to lay first; then come, and by default, those that need fewest bends, the cheaper ones first.

    Raises
    ------
    InputError
        If a name is none of a run with a route.
    """
    rigid = {leaf.name for leaf in tree.leaves(plan.loop) if getattr(getattr(leaf, "tube", None), "rigid", False)}
    known = [route.name for route in plan.routes if route.name in rigid]
    names = [one_of("names", name, known) for name in (known if names is None else names)]
    stay = {n: p for n, p in plan.paths.items() if n not in names}
    alone, hopeless, best, tried = {}, {}, None, set()
    for name in names:
        try:
            alone[name] = _judged(case := _case(plan, name, stay), _search(case, 1)[0])
        except InputError as error:
            hopeless[name] = str(error)
    easy = sorted(alone, key=lambda n: (alone[n].bends, alone[n].cost))
    asked = [name for name in order or () if one_of("order", name, names) in alone]
    following = tuple(dict.fromkeys((*asked, *easy)))
    while following not in tried and len(tried) < TRIES:
        tried.add(following)
        paths, failed = dict(stay), {}
        for name in following:
            try:
                paths[name] = _search(_case(plan, name, paths), 1)[0]
            except InputError as error:
                failed[name] = str(error)
        laid = [n for n in following if n in paths]
        cost = {n: _judged(_case(plan, n, {m: p for m, p in paths.items() if m != n}), paths[n]).cost for n in laid}
        rank = len(failed), round(sum(cost.values()), 9)
        best = (rank, following, paths, failed) if best is None or rank < best[0] else best
        first = next(iter(failed), None) or max(laid, key=lambda n: cost[n] - alone[n].cost, default="")
        following = tuple(n for n in dict.fromkeys((first, *following)) if n)
    _, order, paths, failed = best
    new = {n: paths[n].route if n in paths else None for n in names}
    put = [new[r.name] or replace(r, corners=None) if r.name in new else r for r in plan.routes]
    plan = replace(plan, routes=tuple(put))
    proposals, flows = {}, _flows(plan)
    for name in (n for n in names if n in paths):
        case = _case(plan, name, {n: p for n, p in paths.items() if n != name})
        found = _judged(case, paths[name], flows)
        proposals[name] = replace(found, words=_why(case, found, found))
    return Routed(plan, proposals, hopeless | failed, order, len(tried))


# --------------------------------------------------------------------------------------------------------- one run


@dataclass(frozen=True, eq=False)
class _Case:
    """
    One run to be routed and what it has to heed; its two ends in the direction of flow. [m]

    `ahead` is the least from mouth to corner, `least` that from corner to corner; `mates` are the legs (n, 2, 3) of
    each neighbour, `sights` the points (n, 3) whose coordinates are good to share, `bounds` (2, 3) where lines may be.
    """

    plan: Plan
    leaf: Any
    route: Route
    mouths: np.ndarray
    ways: list[int]
    ahead: list[float]
    least: float
    radius: float
    outside: float
    gap: float
    space: Space
    mates: dict[str, np.ndarray]
    sights: np.ndarray
    bounds: np.ndarray

    def covered(self, lines: list, axis: int) -> np.ndarray:
        """Return how much of each line along an axis, up to each crossing, is in line with or beside a neighbour."""
        legs = np.concatenate([np.zeros((0, 2, 3)), *self.mates.values()])
        legs = np.sort(legs[np.ptp(legs, axis=1).argmax(axis=1) == axis], axis=1)
        t = np.unique(np.concatenate([lines[axis], legs[..., axis].ravel()]))
        one, other = (np.abs(lines[k][:, None] - legs[:, 0, k]) for k in others(axis))
        in_line = np.maximum(one[:, None], other) <= IN_LINE
        i, j, k = np.nonzero(in_line | (np.hypot(one[:, None], other) <= PAIR * self.outside + HAIR))
        low, high = (
            legs[k, end, axis] + np.where(in_line[i, j, k], far, 0.0) for end, far in ((0, -np.inf), (1, np.inf))
        )
        return summed(filled(t, in_line.shape[:2], (i, j), low, high) * np.diff(t))[
            ..., np.searchsorted(t, lines[axis])
        ]

    def dear(self, lines: list, axis: int) -> np.ndarray:
        """Return what each leg along an axis costs, from crossing to crossing (..., n, n), its bends left out. [m]"""
        seen = [np.any(np.abs(lines[k][:, None] - self.sights[:, k]) <= IN_LINE, axis=1) for k in others(axis)]
        span = np.abs(lines[axis][:, None] - lines[axis])
        cost = span + COST["uneven"] * span**2 + COST["out of line"] * ~(seen[0][:, None] | seen[1])[..., None, None]
        if self.mates:
            beside = self.covered(lines, axis)
            cost += COST["loose"] * (span - np.abs(beside[..., :, None] - beside[..., None, :]))
        return cost

    def legs(self, lines: list, axis: int, reach: np.ndarray, least: float) -> np.ndarray:
        """Return `dear` in nanometres, infinite where a leg is too short or not free."""
        shut, t = self.space.shut(lines, axis, reach), lines[axis]
        free = (shut[..., :, None] == shut[..., None, :]) & (np.abs(t[:, None] - t) >= least - HAIR)
        return np.where(free, np.rint(NANO * self.dear(lines, axis)), np.inf)

    def lay(self, corners: Any) -> TubePath:
        """Return the run laid over some corners."""
        route = replace(self.route, corners=tuple(tuple(round(float(x), 6) for x in corner) for corner in corners))
        ports = {port.name: port for port in self.plan.ports}
        return routes.laid(route, ports, self.leaf.tube, self.plan.tube_fitting, self.plan.bend_radius)

    def touches_itself(self, path: TubePath) -> bool:
        """Return whether legs that are no neighbours come too near; arcs cut their corners by 0.42 of the radius."""
        low, high = np.sort([path.points[:-1], path.points[1:]], axis=0)
        one, other = np.triu_indices(len(low), 3)  # a leg and the next but one are apart by the leg between them
        off = np.maximum(np.maximum(low[one] - high[other], low[other] - high[one]), 0.0)
        return bool(np.any(np.linalg.norm(off, axis=1) < self.outside + self.gap + 0.42 * self.radius))


def _case(
    plan: Plan, name: str, laid: dict[str, TubePath], start: Any = None, end: Any = None, neighbours: tuple = ()
) -> _Case:
    """Return a run with all it has to heed, the other runs being where `laid` says."""
    runs = {leaf.name: leaf for leaf in tree.leaves(plan.loop) if isinstance(leaf, (tree.Run, tree.DeadLeg))}
    leaf = runs[one_of("name", name, runs)]
    if not leaf.tube.rigid:
        raise InputError(name, leaf.tube.name, "a run of rigid tube", "Soft tube finds a way of its own.")
    ports = {port.name: port for port in plan.ports}
    route = next((r for r in plan.routes if r.name == name), Route(name, start or "", end or ""))
    route = replace(route, start=start or route.start, end=end or route.end, corners=None)
    one_of(f"{name}, start", route.start, ports)
    one_of(f"{name}, end", route.end, ports)
    for chosen in neighbours:
        one_of("neighbours", chosen, laid)
    both, ways = ends(route, ports, plan.tube_fitting), []
    for which, (_, way, *_) in zip(("start", "end"), both, strict=True):
        ways.append(int(np.argmax(WAYS @ way)))
        if WAYS[ways[-1]] @ way < 1 - routes.SAME:
            told = f"the fitting at {getattr(route, which)} faces {routes.word(way)}"
            accepted = "a fitting that faces along an axis of the case: this search only does right angles"
            remedy = "Give the corners by hand, or turn the tube along an axis with an angled fitting."
            raise InputError(f"{name}, {which}", told, accepted, remedy)
    outside, gap = float(np.max(leaf.tube.outside)), float(np.max(plan.clearance))
    radius = float(np.max(next(r for r in (route.radius, plan.bend_radius, leaf.tube.bend_radius) if r is not None)))
    practice, back = bending.for_material(leaf.tube.material, f"{name}, material"), bending.setback(np.pi / 2, radius)
    former, past, heat = (
        practice[f"{what}_od"] * outside for what in ("former_straight", "fitting_straight", "heat_spill")
    )
    held = [max(float(fitting.insertion) - float(np.max(route.free_play)), 0.0) for _, _, fitting, *_ in both]

    mouths, mates = np.array([mouth for mouth, *_ in both]), {}
    sights = [port.at for port in plan.ports]
    sights += [mouth for r in fitted(plan, route) for mouth, *_ in ends(r, ports, plan.tube_fitting)]
    for other, path in laid.items():
        corners = np.array([path.mouths[0], *path.points[1:-1], path.mouths[1]])
        legs = np.stack([corners[:-1], corners[1:]], axis=1)
        square = np.count_nonzero(np.ptp(legs, axis=1) > IN_LINE, axis=1) == 1
        mates |= {other: legs[square]} if np.any(square) else {}
    sights += [point for legs in mates.values() for point in legs.reshape(-1, 3)]
    wanted = tuple(neighbours) or (*route.parallel_to, *route.in_line_with)
    inside = plan.case_size is not None and bool(np.all((mouths >= 0) & (mouths <= plan.case_size)))
    wide, least = outside / 2 + gap, max(2 * back + max(former, 2 * heat), outside + gap)
    bounds = [np.min(sights, axis=0) - 3 * least, np.max(sights, axis=0) + 3 * least]
    return _Case(
        *(plan, leaf, route, mouths, ways, [back + max(past, former - depth, wide) for depth in held], least),
        *(radius, outside, gap, around(plan, route, laid, outside, inside)),
        mates={other: legs for other, legs in mates.items() if other in wanted} or mates,
        sights=np.array(sights),
        bounds=np.array([np.full(3, wide), np.array(plan.case_size) - wide] if inside else bounds),
    )


def _lines(case: _Case, most: int, more: Any, whole: bool) -> list[np.ndarray]:
    """Return the coordinates of lines worth considering, so many; distances are `whole` millimetres or as they fall."""

    def up(size: Any) -> Any:
        size = np.asarray(size) + BEYOND
        return np.ceil(1e3 * size) / 1e3 if whole else size

    corners = [m + up(a) * WAYS[w] for m, a, w in zip(case.mouths, case.ahead, case.ways, strict=True)]
    spots, out, space = np.array([*case.mouths, *corners]), [], case.space
    legs = np.concatenate([np.zeros((0, 3)), *(legs.reshape(-1, 3) for legs in case.mates.values())])
    beside = up([case.outside + case.gap, case.outside + 2 * case.gap, 2 * case.outside])
    solid = np.array([not name.startswith("the run ") for name in space.names], dtype=bool)
    for axis in range(3):
        kept = list(dict.fromkeys([*spots[:, axis], *more[axis]]))
        (first, last), (lowest, highest) = (min(kept), max(kept)), case.bounds[:, axis]
        faces = [*(space.low[:, axis] - up(space.reach))[solid], *(space.high[:, axis] + up(space.reach))[solid]]
        wanted = (
            *((0.00, x + sign * up(case.least)) for x in spots[:, axis] for sign in (1, -1)),
            *((0.01, x) for x in faces),
            *((0.01, x + step) for x in legs[:, axis] for step in (0.0, *beside, *-beside)),
            *((0.02, x) for x in case.sights[:, axis]),
        )
        # First what lies between the ends, then what is near that.
        for _, x in sorted((rank + max(first - x, x - last, 0.0), x) for rank, x in wanted):
            if len(kept) < most - 3 and lowest <= x <= highest and min(abs(x - k) for k in kept) > IN_LINE:
                kept.append(x)
        while len(kept) < most:  # the widest gaps are parted
            marks = np.sort([*kept, lowest, highest])
            widest = int(np.argmax(np.round(np.diff(marks), 6)))
            kept.append((marks[widest] + marks[widest + 1]) / 2)
        out.append(np.unique(np.round(kept, 9)))
    return out


# ------------------------------------------------------------------------------------------------------- the search


class _Grid:
    """
    All legs and bends of a case that are free on some lines, and the cheapest ways over them.

    `legs` of each direction are costs (..., to, from); `first` for each end the costs (6, ...) of arriving somewhere in
    a direction by the first leg from there; `bend` (6, 6, ...) that of arriving in one and leaving in another.
    """

    def __init__(self, case: _Case, lines: list[np.ndarray]) -> None:
        self.case, self.lines, self.legs, self.first = case, lines, [], []
        for axis in range(3):
            cost, forward = case.legs(lines, axis, case.space.reach, case.least), np.tri(len(lines[axis]), k=-1) > 0
            self.legs += [np.where(way, cost, np.inf) for way in (forward, forward.T)]
        for mouth, way, least in zip(case.mouths, case.ways, case.ahead, strict=True):
            axis, at = way // 2, [int(np.argmin(np.abs(t - x))) for t, x in zip(lines, mouth, strict=True)]
            line = [t if k == axis else t[[n]] for k, (t, n) in enumerate(zip(lines, at, strict=True))]
            row = case.legs(line, axis, case.space.near(mouth), least)[0, 0, at[axis]]
            on = [slice(None) if k == axis else n for k, n in enumerate(at)]
            self.first.append(np.full((6, *map(len, lines)), np.inf))
            self.first[-1][(way, *on)] = np.where((lines[axis] - mouth[axis]) * WAYS[way, axis] > 0, row, np.inf)
        taken = case.space.turns(lines, case.space.reach, case.radius)
        each = round(NANO * (COST["bend"] - (2 - np.pi / 2) * case.radius))  # an arc is shorter than its corner
        self.bend = np.where(taken, np.inf, each)[OPPOSITE]

    def spread(self, first: np.ndarray) -> np.ndarray:
        """Return the least cost of arriving at each crossing in each direction (6, ...), after that first leg."""
        best = first
        while True:
            leave, new = (best[:, None] + self.bend).min(axis=0), best.copy()
            for way, legs in enumerate(self.legs):
                out = np.moveaxis(leave[way], way // 2, -1)
                if np.isfinite(out).any():
                    come = np.moveaxis((legs + out[..., None, :]).min(axis=-1), -1, way // 2)
                    np.minimum(new[way], come, out=new[way])
            if np.array_equal(new, best):
                return best
            best = new

    def back(self, best: np.ndarray, first: np.ndarray, way: int, node: tuple) -> list[tuple]:
        """Return the crossings of the best way that arrives at one in a direction, back to its first corner."""
        out = [node]
        while best[(way, *node)] < first[(way, *node)]:
            axis = way // 2
            on = (*node[:axis], slice(None), *node[axis + 1 :])
            leave = best[(slice(None), *on)] + self.bend[(slice(None), way, *on)]
            legs = self.legs[way][(*(node[k] for k in others(axis)), node[axis])]
            way, at = np.unravel_index(np.argmin(leave + legs), leave.shape)
            node = (*node[:axis], int(at), *node[axis + 1 :])
            out.append(node)
        return out

    def paths(self, count: int, found: list[TubePath]) -> list[TubePath]:
        """Return up to so many, the cheapest first after those found already, each with a corner off those before."""
        first, last = self.first
        ahead, behind = self.spread(first), last if count == 1 else self.spread(last)
        # The best whole routes over each crossing, by the directions in which both ends arrive there.
        total, found = ahead[:, None] + behind + self.bend[:, OPPOSITE], list(found)
        most = WORST * min([total.min(), *(NANO * _judged(self.case, path).cost for path in found)])
        for path in found:
            self._leave_out(total, path)
        while len(found) < count and total.min() < most:
            one, other, *node = np.unravel_index(np.argmin(total), total.shape)
            total[(one, other, *node)] = np.inf
            nodes = self.back(ahead, first, one, tuple(node))[::-1]
            nodes += self.back(behind, last, other, tuple(node))[1:]
            path = self.case.lay([[t[n] for t, n in zip(self.lines, at, strict=True)] for at in nodes])
            if not self.case.touches_itself(path):
                found.append(path)
                self._leave_out(total, path)
        return found

    def _leave_out(self, total: np.ndarray, path: TubePath) -> None:
        """Leave out all corners that are near a path."""
        for a, b in zip(path.points[:-1], path.points[1:], strict=True):
            low, high = np.minimum(a, b), np.maximum(a, b)
            x, y, z = (gaps(t, low[[k]], high[[k]])[:, 0] ** 2 for k, t in enumerate(self.lines))
            near = x[:, None, None] + y[:, None] + z < (DIFFERENT * self.case.outside) ** 2
            total[:, :, near] = np.inf


def _search(case: _Case, count: int, more: Any = ((), (), ())) -> list[TubePath]:
    """Return up to so many ways from a coarse grid, or else a finer one; or say what closes the run in."""
    straight, space = [], case.space
    across, far = case.mouths[1] - case.mouths[0], 0.0
    if case.ways[0] == case.ways[1] ^ 1 and (far := float(across @ WAYS[case.ways[0]])) > 0:
        reach = np.minimum(*map(space.near, case.mouths)) - HAIR
        free = np.all(distance.to_box(*case.mouths, space.low, space.high)[0] >= reach)
        if free and np.linalg.norm(across - far * WAYS[case.ways[0]]) <= routes.ASKEW:
            straight.append(case.lay(()))
    # A detour has two bends or more, so a straight run that is this short stands unrivalled.
    if straight and count == 1 and (COST["loose"] + COST["uneven"] * far) * far < COST["bend"]:
        return straight
    for most, whole in zip(MOST_LINES, (True, False), strict=True):
        grid = _Grid(case, _lines(case, most, more, whole))
        if found := grid.paths(count, straight):
            return found
    raise _closed_in(grid)


def _closed_in(grid: _Grid) -> InputError:
    """Return in words why there is no way."""
    case, names, field = grid.case, grid.case.space.names, f"{grid.case.route.name}, corners"
    ports = (case.route.start, case.route.end)
    for port, mouth, way, need in zip(ports, case.mouths, case.ways, case.ahead, strict=True):
        free, stop = case.space.room(mouth, way)
        if free < need - HAIR:
            told = f"{1e3 * free:.1f} mm free ahead of the fitting at {port}, then {names[stop]}"
            accepted = (
                f"{1e3 * need:.1f} mm or more for the bend and its straights; it lacks {1e3 * (need - free):.1f} mm"
            )
            remedy = "Move one of them, turn the tube with an angled fitting, or bend to a smaller radius."
            return InputError(field, told, accepted, remedy)
    # Where the ways from both ends come nearest to each other.
    here, there = (
        np.array([mouth, *np.stack(np.meshgrid(*grid.lines, indexing="ij"), axis=-1)[np.isfinite(spread).any(axis=0)]])
        for mouth, spread in zip(case.mouths, map(grid.spread, grid.first), strict=True)
    )
    spot = here[np.linalg.norm(here - case.mouths[1], axis=1).argmin()]
    aim = there[np.linalg.norm(there - spot, axis=1).argmin()]
    off = distance.to_box(spot, aim, case.space.low, case.space.high)[0] - case.space.reach
    off[[name in [f"the fitting at {port}" for port in ports] for name in names]] = np.inf
    told = "the way from {} ends {:.0f} mm to the right, {:.0f} mm to the rear and {:.0f} mm up, closed in by {}"
    told = told.format(ports[0], *1e3 * spot, names[off.argmin()])
    accepted = f"a way {1e3 * (case.outside + 2 * case.gap):.1f} mm wide with legs of {1e3 * case.least:.1f} mm or more"
    remedy = "Move what closes it in, route the runs beside it anew, or bend to a smaller radius."
    return InputError(field, told, accepted, remedy)


# --------------------------------------------------------------------------------------------------------- judgement


def _flows(plan: Plan) -> dict[str, Any]:
    """Return the flow through each element where the plan settles [m3/s], and under "" density and viscosity."""
    root, _, settled = settle.loop_and_air(plan, FRICTION, number_of_designs(plan))
    flows, numbers = {"": plan.coolant.properties(settled.properties_at)[:2]}, counter()

    def visit(item: Any, flow: Any) -> None:
        for child in getattr(item, "items", ()):
            visit(child, flow)
        for branch in getattr(item, "branches", ()):
            visit(branch, settled.flows[next(numbers)])
        if isinstance(item, tree.Element):
            flows[item.name] = 0.0 if isinstance(item, tree.DeadLeg) else flow

    visit(plan.loop, settled.flows[next(numbers)])
    return flows


def _judged(case: _Case, path: TubePath, flows: dict | None = None) -> Proposal:
    """Return a path with what it costs and, at given flows, takes."""
    points = np.array([path.mouths[0], *path.points[1:-1], path.mouths[1]])
    spans, dear, beside = np.abs(np.diff(points, axis=0)).max(axis=1), 0.0, 0.0
    for a, b in zip(points[:-1], points[1:], strict=True):
        axis = int(np.argmax(np.abs(b - a)))
        line = [np.sort([a[k], b[k]]) if k == axis else a[[k]] for k in range(3)]
        dear += float(case.dear(line, axis)[0, 0, 0, 1])
        beside += float(np.ptp(case.covered(line, axis)))
    length, loss = float(np.max(path.length)), np.nan
    if flows is not None:
        bends = {"bends": float(path.bends)} if isinstance(case.leaf, tree.Run) else {}
        leaf = replace(case.leaf, laid=path, length=path.length, **bends)
        law = pipeflow.FRICTION_LAWS[FRICTION]
        loss = network.branch_loss(network.alone(leaf.loss()), flows[leaf.name], *flows[""], law)[0]
    cost = length + COST["bend"] * path.bends + dear - spans.sum()
    return Proposal(path.route, path, path.bends, length, float(beside / spans.sum()), loss, float(cost))


def _why(case: _Case, proposal: Proposal, first: Proposal) -> str:
    """Return in a sentence why a proposal stands here, against the first."""
    bends = {0: "no bend", 1: "one bend"}.get(proposal.bends, f"{proposal.bends} bends")
    told = f"Costs least of the ways found, with {bends}" if proposal.bends else "Goes straight from fitting to fitting"
    if proposal is not first:
        more = proposal.length / first.length - 1.0
        told = (
            f"Goes another way than the first, with {bends} and {abs(more):.0%} {'more' if more >= 0 else 'less'} tube"
        )
    if proposal.aligned < 0.05:
        return told + (", beside no other run." if case.mates else ".")
    near = {
        name: _judged(replace(case, mates={name: legs}), proposal.path).aligned for name, legs in case.mates.items()
    }
    return told + f", {proposal.aligned:.0%} of it in line with or beside {max(near, key=near.get)}."
