"""
Checks of runs laid in space: gaps, straights, bends, holes, legs in line, what opens, growth, taking a tube out again.

What a check finds is a record, and what the rules judge of it is a fact: of each run the worst of every kind, and all
that is not as it should be. The geometry of a plan is worked out once, however often the plan is solved.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from loopmath import catalogue, rules, run_gaps
from loopmath import loop as tree
from loopmath.checks import InputError, one_of
from loopmath.designs import number_of_designs, one_design
from loopmath.laws import bending, distance, materials
from loopmath.plan import Plan
from loopmath.routes import SAME, Route, TubePath
from loopmath.rules import Fact
from loopmath.run_gaps import Gap, Hole, Removal, Scene, Tube, exact
from loopmath.units import DISPLAY, show

#: How much warmer than the room a tube is taken to get where no answer says it. [K]
WARMER = 20.0
#: Poisson's ratio for the fold of an empty tube, between warm plastic (0.5) and copper (0.34), from memory; the radius
#: differs by 8 % at most. [-]
POISSON = 0.4
#: Legs further than this from parallel were not meant to be. [rad]
ALIKE = np.radians(15.0)
#: So many kinds of laid tubes are remembered, and looked at in designs that differ in them.
KEPT = 24


class Straight(NamedTuple):
    """Length that has to be straight, or inserted: where, what, how long, how long it should be, at which point. [m]"""

    run: str
    place: str
    what: str
    length: float
    wanted: float
    at: np.ndarray

    @property
    def left(self) -> float:
        """What is left over, below 0 what lacks. [m]"""
        return self.length - self.wanted


class Bend(NamedTuple):
    """
    One bend: angle [rad], radius and the least it may have [m], what its outside is stretched and its wall thinned [-].

    `insert` is True where an empty tube would fold; `cold` is what the heat of one of two bends leaves cold of the
    straight between them, NaN after the last [m].
    """

    run: str
    corner: int
    angle: float
    radius: float
    least_radius: float
    outside_stretched: float
    wall_thinner: float
    insert: bool
    cold: float
    at: np.ndarray


class Aligned(NamedTuple):
    """Two legs meant to be "parallel" or "in line": angle between them [rad], by how much they are not [m]."""

    run: str
    leg: int
    other: str
    its_leg: int
    meant: str
    angle: float
    off: float
    at: np.ndarray


class Growth(NamedTuple):
    """How much a warm run grows along the axis of an end, or of both, and the slip there. [m]"""

    run: str
    place: str
    grows: float
    slip: float


# --------------------------------------------------------------------------------------------------------- checks


def _straights(tube: Tube) -> list[Straight]:
    path, out = tube.path, []
    for end, port in enumerate(path.ports):
        if path.bends:
            past = path.straights[-end] - tube.depth[end]
            out.append((f"at {port.name}", PAST, past, tube.practice("fitting_straight_od"), path.mouths[end]))
        if path.fittings[end].ring_depth:
            past = path.insertion[end] - path.play[end] - path.fittings[end].ring_depth
            out.append((f"at {port.name}", RINGS, past, 0.0, path.mouths[end]))
    for k, straight in enumerate(path.straights[1:-1], start=1):
        middle = path.points[k : k + 2].mean(axis=0)
        out.append((f"corners {k} and {k + 1}", BETWEEN, straight, tube.practice("former_straight_od"), middle))
    return [Straight(path.name, place, what, exact(is_), exact(wanted), at) for place, what, is_, wanted, at in out]


def _bends(tube: Tube) -> list[Bend]:
    path, outside = tube.path, tube.path.outside
    radius = float(path.radius)
    cold = np.append(path.straights[1:-1] - tube.practice("heat_spill_od"), np.nan)
    least = max(float(path.tube.bend_radius), tube.practice("least_radius_od"))
    folds = bool(radius < bending.kink_radius(outside, path.tube.bore, POISSON))
    # Where the inside of the bend has no radius left there is no such figure.
    laws = (bending.outer_strain, bending.wall_thinning)
    shares = [float(law(radius, outside)) if 2 * radius > outside else np.nan for law in laws]
    return [
        Bend(path.name, k + 1, float(angle), exact(radius), exact(least), *shares, folds, exact(cold[k]), corner)
        for k, (angle, corner) in enumerate(zip(path.turns.angles, path.points[1:-1], strict=True))
    ]


def _aligned(scene: Scene) -> list[Aligned]:
    """Return for each run that is meant to lie with another the two legs that do so most."""
    by_name, out = {tube.name: tube.path for tube in scene.tubes}, []
    for path in by_name.values():
        wanted = [("parallel", name) for name in path.route.parallel_to]
        wanted += [("in line", name) for name in path.route.in_line_with]
        for meant, other in ((m, by_name[name]) for m, name in wanted if name in by_name and name != path.name):
            (a, b), (c, d) = ((p.points[:-1], p.points[1:]) for p in (path, other))
            lie = distance.parallel(a[:, None], b[:, None], c, d)
            # The longest stretch side by side, or the least offset; if no legs are alike, the two most nearly.
            wrong = np.where(lie.angle <= ALIKE, -lie.overlap if meant == "parallel" else lie.offset, 1e3 + lie.angle)
            at = np.unravel_index(wrong.argmin(), wrong.shape)
            off = lie.overlap[at] * np.sin(lie.angle[at]) if meant == "parallel" else lie.offset[at]
            legs = (path.name, int(at[0]) + 1, other.name, int(at[1]) + 1)
            out.append(Aligned(*legs, meant, float(lie.angle[at]), exact(off), (a + b)[at[0]] / 2))
    return out


def _growths(tube: Tube) -> list[Growth]:
    """Return how much a run grows for one kelvin; ends that face along one axis share their slip."""
    path = tube.path
    try:
        rate = materials.growth(path.tube.material, 1.0, 1.0)
    except InputError:  # nobody knows how much it grows
        return []
    if not np.all(path.insertion > 0):
        return []
    # The run grows as a picture does that is made larger. Into its fitting an end goes as far as its play, out of it
    # until it leaves the last ring.
    longer = rate * (path.points[-1] - path.points[0])
    inward = longer @ path.facing[0], -(longer @ path.facing[1])
    rings = [fitting.ring_depth for fitting in path.fittings]
    slip = np.where(np.array(inward) >= 0, path.play, np.maximum(tube.depth - rings, 0.0))
    if abs(path.facing[0] @ path.facing[1]) > 1 - SAME:
        return [Growth(path.name, "both ends", abs(float(inward[0])), float(slip.sum()))]
    return [
        Growth(path.name, f"at {port.name}", abs(float(inward[end])), float(slip[end]))
        for end, port in enumerate(path.ports)
    ]


def _angled(route: Route) -> int:
    """Return the number of 90-degree fittings in a route."""
    names = [name for name in (route.start_adapter, route.end_adapter) if name]
    return sum(abs(catalogue.part("fitting", name).turn - 90.0) < 1.0 for name in names)


# ---------------------------------------------------------------------------------------------------------- facts

#: Quantities of data/quantities.csv.
PAST, BETWEEN, RINGS = "straight past a fitting", "straight between bends", "tube past its last ring"
MISFIT, THROUGH = "tube off the size its fitting takes", "tube goes through a pass-through fitting"
HOLES = ("left beside a hole", "tube off square in its hole", "bend in a hole")


def _length(metres: float) -> str:
    """Return a length in words for an action, which is told the same in both systems."""
    return f"{show(metres, 'length')} ({show(metres, 'length', 'us')})"


def _worst(records: Iterable, margin: Callable, group: Callable = lambda record: record.run) -> list:
    """Return of each group the record of least margin, and every one below 0."""
    seen, out = set(), []
    for record in sorted(records, key=margin):
        if margin(record) < 0 or group(record) not in seen:
            out.append(record)
        seen.add(group(record))
    return out


def _left(gap: Gap) -> float:
    return gap.gap - gap.wanted


def _of_gap(quantity: str, gap: Gap, limit: float | None = None) -> Fact:
    also = {"place": f"{gap.place} of {gap.run}", "other": gap.other, "run": gap.run}
    towards = gap.towards if gap.towards.startswith(("up", "down")) else f"to the {gap.towards}"
    also |= {"move": f"by {_length(gap.move)} {towards}", "at": gap.at}
    return Fact(quantity, gap.where, gap.gap, limit, also)


def _facts(found: "RunChecks") -> list[Fact]:
    """Return what the rules judge of the geometry."""
    out = [_of_gap("gap beside a tube", gap, gap.wanted) for gap in _worst(found.gaps, _left)]
    for s in _worst(found.straights, lambda s: s.left, lambda s: (s.run, s.what)):
        also = {"lacks": _length(-s.left), "place": s.place.removeprefix("at "), "at": s.at}
        out.append(Fact(s.what, f"{s.run}, {s.place}", s.length, s.wanted, also))
    for path in (tube.path for tube in found.scene.tubes):
        for port, fitting, at in zip(path.ports, path.fittings, path.mouths, strict=True):
            if not fitting.takes:
                continue
            also = {"takes": _length(fitting.takes), "outside": _length(path.outside), "place": port.name, "at": at}
            off = exact(abs(fitting.takes - path.outside))
            out.append(Fact(MISFIT, f"{path.name}, at {port.name}", off, also=also))
    for bend in (bend for bend in found.bends if bend.corner == 1):  # all bends of a run have one radius
        also = {"least": _length(bend.least_radius), "at": bend.at}
        out.append(Fact("bend radius", bend.run, bend.radius, bend.least_radius, also))
    for bend in _worst((b for b in found.bends if not np.isnan(b.cold)), lambda b: b.cold):
        place = f"corners {bend.corner} and {bend.corner + 1}"
        also = {"lacks": _length(-bend.cold), "place": place, "at": bend.at}
        out.append(Fact("cold tube between heated bends", f"{bend.run}, {place}", bend.cold, also=also))
    for hole in found.holes:
        where, also = f"{hole.run}, hole in {hole.panel}", {"other": hole.up_to, "at": hole.at}
        figures = (hole.left, hole.off_square, float(not hole.straight))
        out += [Fact(what, where, figure, also=also) for what, figure in zip(HOLES, figures, strict=True)]
    routes = {tube.name: tube.path.route for tube in found.scene.tubes}
    for (run, panel), crossed in found.scene.crossings.items():
        if crossed:
            also, through = {"other": panel, "at": crossed[0].middle}, routes[run].hole == run_gaps.PASS_THROUGH
            out.append(Fact(THROUGH, f"{run} and {panel}", float(through), also=also))
    for legs in found.aligned:
        where = f"{legs.run}, leg {legs.leg}, and {legs.other}, leg {legs.its_leg}"
        also = {"off": _length(legs.off), "at": legs.at}
        out.append(Fact("legs off parallel", where, legs.angle, also=also))
        if legs.meant == "in line":
            out.append(Fact("legs off one line", where, legs.off, also=also))
    for gap, port in _worst(found.openings, lambda o: -1.0 if o[1] else o[0].gap, lambda o: o[0].other):
        if port:
            where, also = f"{gap.run}, {port}, and {gap.other}", {"run": gap.run, "at": gap.at}
            out.append(Fact("tube hangs on what opens", where, 1.0, also=also))
        else:
            out.append(_of_gap("room of what opens", gap))
    out += [Fact("panel of a route is not met", f"{run} and {panel}", 1.0) for run, panel in found.unmet]
    return out + [Fact("way of a run is not found", run, 1.0) for run in found.waiting]


# ------------------------------------------------------------------------------------------------------ all of it


@dataclass(frozen=True, eq=False)
class RunChecks:
    """
    Every check on the laid runs of one design.

    Attributes
    ----------
    scene : Scene
        What was checked.
    gaps, straights, bends, holes, aligned : lists of records
    openings : list of (Gap, str)
        The gap of each run to the room of each box that opens, and the port of the run that is on the box, if any.
    unmet : list of (run, panel)
        Panels of a route that its run does not go through.
    waiting : tuple of str
        Runs whose way is not found yet.
    counted : dict of float or array
        90-degree fittings the loop counts on each run.
    per_kelvin : list of Growth
        `growth`, for one kelvin.
    still : list of Fact
        What the rules judge that no answer changes.
    warmer : float or array
        How much warmer than the room the tubes get. [K]
    """

    scene: Scene
    gaps: list[Gap]
    straights: list[Straight]
    bends: list[Bend]
    holes: list[Hole]
    aligned: list[Aligned]
    openings: list[tuple[Gap, str]]
    unmet: list[tuple[str, str]]
    waiting: tuple[str, ...]
    per_kelvin: list[Growth]
    still: list[Fact] = field(default_factory=list)
    counted: dict[str, Any] = field(default_factory=dict)
    warmer: Any = WARMER

    @property
    def growth(self) -> list[Growth]:
        """How much each run grows along the axes of its ends."""
        return [one._replace(grows=one.grows * self.warmer) for one in self.per_kelvin]

    @property
    def removal(self) -> list[Removal]:
        """How each tube comes out again; worked out when it is first asked for."""
        return self.scene.removals

    @property
    def tightest(self) -> Gap | None:
        """The gap that leaves least of what is wanted, None if there is none."""
        return min(self.gaps, key=_left, default=None)

    @property
    def marks(self) -> list[tuple[str, np.ndarray, str]]:
        """What is to be flagged in a drawing: signal word of the rule that fires, point [m], and what is there."""
        told = [(rule, fact) for rule, fact, _ in rules.firings(self.facts) if "at" in fact.also]
        return [(rule.signal, fact.also["at"], fact.also.get("other", fact.quantity)) for rule, fact in told]

    @property
    def facts(self) -> list[Fact]:
        """What the rules judge; of each run the worst of every kind, and all that is not as it should be."""
        grown = [
            Fact("growth of a tube against its free play", f"{g.run}, {g.place}", g.grows, g.slip) for g in self.growth
        ]
        routes = {tube.name: tube.path.route for tube in self.scene.tubes}
        for run, counted in self.counted.items():
            laid = _angled(routes[run])
            differ = np.where(np.abs(counted - laid) > 0.01, 1.0, 0.0)
            grown.append(Fact("fittings counted are not those laid", run, differ, also={"laid": laid}))
        return [*self.still, *grown]

    @property
    def stuck(self) -> list[Fact]:
        """Whether each tube comes out again, for the rules; not part of `facts`, since it takes its time."""
        return [
            Fact("way out for a tube", one.run, float(not one.stopped_by), also={"other": one.stopped_by})
            for one in self.removal
        ]

    def table(self, which: str, system: str = "metric") -> pd.DataFrame:
        """
        Return one kind of check as a table, worst first; lengths and angles in the units their heads say.

        Parameters
        ----------
        which : str
            A key of `TABLES`.
        system : str
            "metric" or "us".

        Raises
        ------
        InputError
            If there is no such table or system.
        """
        margin, names = TABLES[one_of("which", which, TABLES)]
        units = DISPLAY[one_of("system", system, DISPLAY)]
        rows = [
            {head: value for name in names for head, value in _cells(name, getattr(one, name), units)}
            for one in sorted(getattr(self, which), key=margin)
        ]
        empty = [head for name in names for head, _ in _cells(name, np.zeros(3) if name == "at" else 0.0, units)]
        return pd.DataFrame(rows, columns=empty)


#: Kind of quantity of what a table shows; the rest are words and numbers.
_KINDS = {
    **dict.fromkeys(("gap", "wanted", "move", "length", "left", "radius", "least_radius", "cold", "off"), "length"),
    **dict.fromkeys(("from_left", "from_front", "from_lower", "diameter", "grows", "slip", "pull", "after"), "length"),
    **dict.fromkeys(("right", "rear", "up"), "length"),
    **dict.fromkeys(("angle", "off_square"), "angle"),
    **dict.fromkeys(("outside_stretched", "wall_thinner"), "share"),
}
#: Table -> what is worst in it, and its columns: attributes of its records.
TABLES: dict[str, tuple[Callable, tuple[str, ...]]] = {
    "gaps": (_left, ("run", "place", "other", "gap", "wanted", "at", "move", "towards")),
    "straights": (lambda straight: straight.left, (*Straight._fields[:-1], "left")),
    "bends": (lambda bend: bend.radius / bend.least_radius, Bend._fields[:-1]),
    "holes": (lambda hole: hole.left, Hole._fields[:-1]),
    "removal": (lambda removal: (not removal.stopped_by, removal.after), Removal._fields),
    "growth": (lambda growth: growth.slip - growth.grows, Growth._fields),
    "aligned": (lambda legs: -legs.angle, Aligned._fields[:-1]),
}


def _cells(name: str, value: Any, units: dict) -> list[tuple[str, Any]]:
    """Return head and value of what a table shows of one attribute; a point takes three columns."""
    if name == "at":
        return [cell for n, way in enumerate(("right", "rear", "up")) for cell in _cells(way, value[n], units)]
    if name not in _KINDS:
        return [(name.replace("_", " "), {True: "yes", False: "no"}[value] if isinstance(value, bool) else value)]
    shown = units[_KINDS[name]]
    number = round(float(shown.convert(float(value))), shown.digits) + 0.0
    return [(f"{name.replace('_', ' ')} [{shown.label}]", number)]


def checks(plan: Plan, solution: Any = None) -> RunChecks:
    """
    Check every laid run of a plan.

    Parameters
    ----------
    plan : Plan
        One design.
    solution : Solution, optional
        Its answer, which says how warm the tubes get; without one they get `WARMER` than the room.

    Returns
    -------
    checks : RunChecks
        Without laid runs all of its lists are empty.

    Raises
    ------
    InputError
        For N designs.
    """
    one_design("tube runs", number_of_designs(plan) if solution is None else solution.designs)
    warmer = WARMER if solution is None else solution.state["coolant_warmest"] - plan.room_air
    return replace(_geometry(plan), counted=_counted(plan), warmer=warmer)


def facts(plan: Plan, warmest: Any) -> list[Fact]:
    """
    Return what the rules judge of the laid runs of a plan at its warmest coolant [degC], for one answer or N.

    Nothing where no run is laid. Where the tubes themselves differ from design to design, each kind of them is looked
    at by itself, and told is only what fires; of more than `KEPT` kinds nothing is told.
    """
    if not plan.routes:
        return []
    apart = [number for number in {id(number): number for number in _numbers(plan)}.values() if np.ndim(number)]
    if not apart:
        return replace(_geometry(plan), counted=_counted(plan), warmer=warmest - plan.room_air).facts
    _, first, kind = np.unique(np.array(apart), axis=1, return_index=True, return_inverse=True)
    if len(first) > KEPT:
        return []
    told: dict[tuple[str, str], Fact] = {}
    for n, design in enumerate(first):
        here, geometry = kind.ravel() == n, _geometry(plan, design)
        for _, fact, _ in rules.firings(geometry.still, plan.house_rules):
            old = told.get((fact.quantity, fact.where), replace(fact, value=np.nan, limit=np.nan))
            limit = None if fact.limit is None else np.where(here, fact.limit, old.limit)
            told[fact.quantity, fact.where] = replace(old, value=np.where(here, fact.value, old.value), limit=limit)
    still = list(told.values())
    return replace(geometry, counted=_counted(plan), warmer=warmest - plan.room_air, still=still).facts


def _counted(plan: Plan) -> dict[str, Any]:
    return {run.name: run.fittings for run in plan.units(tree.Run) if run.laid is not None}


def _numbers(plan: Plan) -> list[Any]:
    """Return what may be an array of designs and changes how tubes lie."""
    return [plan.clearance, *(number for path in plan.paths.values() for number in _of_tube(path))]


def _of_tube(path: TubePath) -> tuple:
    return path.radius, path.tube.outside, path.tube.bore, path.tube.bend_radius


def _picked(path: TubePath, numbers: tuple) -> TubePath:
    radius, outside, bore, least = numbers
    return replace(path, radius=radius, tube=replace(path.tube, outside=outside, bore=bore, bend_radius=least))


_KEPT: dict[tuple, RunChecks] = {}


def _geometry(plan: Plan, design: int = 0) -> RunChecks:
    """Return what follows from the geometry of one design alone; it is remembered for all that is laid alike."""

    def pick(number: Any) -> float:
        return float(number[design] if np.ndim(number) else number)

    leaves, ways = list(tree.leaves(plan.loop)), {route.name for route in plan.routes}
    tubes = [leaf for leaf in leaves if leaf.name in ways and isinstance(leaf, (tree.Run, tree.DeadLeg))]
    laid = [(path, tuple(map(pick, _of_tube(path)))) for path in plan.paths.values()]
    paths = tuple((path.route, path.ports, path.usual[0], path.tube.material, *numbers) for path, numbers in laid)
    waiting = tuple(leaf.name for leaf in tubes if leaf.laid is None and leaf.tube.rigid)
    bodies = tuple((leaf.name, leaf.position, leaf.size) for leaf in leaves if leaf.position and leaf.size)
    key = (paths, waiting, bodies, plan.boxes, pick(plan.clearance), plan.case_size)
    if key not in _KEPT:
        if len(_KEPT) >= KEPT:
            del _KEPT[next(iter(_KEPT))]
        scene = run_gaps.scene([_picked(*both) for both in laid], plan.bodies, pick(plan.clearance), plan.case_size)
        _KEPT[key] = _worked_out(scene, waiting)
    return _KEPT[key]


def _worked_out(scene: Scene, waiting: tuple[str, ...]) -> RunChecks:
    named = [(tube.name, panel) for tube in scene.tubes for panel in tube.path.route.through]
    found = RunChecks(
        scene,
        run_gaps.gaps(scene),
        [one for tube in scene.tubes for one in _straights(tube)],
        [one for tube in scene.tubes if tube.path.bends for one in _bends(tube)],
        run_gaps.holes(scene),
        _aligned(scene),
        run_gaps.openings(scene),
        [both for both in named if not scene.met(*both)],
        waiting,
        [one for tube in scene.tubes for one in _growths(tube)],
    )
    return replace(found, still=_facts(found))
