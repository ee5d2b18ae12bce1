"""
In which order a loop is built: what must be in before what, why, and what contradicts what.

Reasons come from the trade, from the places in the plan (what only comes out after another goes in before it) and from
the builder. Trade facts here are common practice, no source.
"""

import heapq
from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from graphlib import TopologicalSorter
from typing import Any, NamedTuple

import numpy as np

from loopmath import loop as tree
from loopmath.checks import InputError, one_of
from loopmath.plan import Plan
from loopmath.routes import FACES
from loopmath.run_gaps import PASS_THROUGH
from loopmath.ways_out import hidden, screwed_on, space_of, tight, ways_out

#: Kinds of constraint.
IN_BEFORE, BLOCKS, NEEDS_ROOM = "must be in before", "blocks access to", "needs clear space"
#: Sources of constraints.
TRADE, SPACE, OWN = "common practice, no source", "the places in the plan", "the builder's own"
#: How hard a constraint is to give up: a wish, a habit, what space allows, what cannot work or hurts otherwise.
WISH, HABIT, ROOM, FIRM = range(4)
#: Steps that are no part.
CASE, TEST, FILL, WET, POWER = "the case", "leak test", "fill and bleed", "wet test", "power on"
#: Kinds of steps.
SETUP, PART, TUBE, WORK, CLOSE = "set-up", "part", "tube", "work", "closing"
#: Heavier kinds of part first, a habit of the trade; within a kind the larger body, then flow order.
HEAVY = (tree.RadiatorUnit, tree.Tank, tree.PumpUnit, tree.Source, tree.InlineUnit, tree.Fittings)


class Before(NamedTuple):
    """A constraint: the first step comes before the second, why, says who, what kind it is and how firm."""

    first: str
    second: str
    why: str
    source: str = TRADE
    kind: str = IN_BEFORE
    firm: int = HABIT


@dataclass(frozen=True)
class Contradiction:
    """Constraints that run in a ring, and the one that was given up so that the rest has an order."""

    ring: tuple[Before, ...]
    given_up: Before

    @property
    def words(self) -> str:
        """The ring in words."""
        steps = "; ".join(f"{b.first} before {b.second}, because {clause(b.why)}" for b in self.ring)
        weak = self.given_up
        return (
            f"These cannot all hold: {steps}. One of these has to go; the weakest is {weak.first} before {weak.second} "
            f"({weak.source}), and the order stands without it."
        )


@dataclass(frozen=True, eq=False)
class Step:
    """
    One step of the order.

    Attributes
    ----------
    name, kind : str
        What is put in or done; one of `SETUP`, `PART`, `TUBE`, `WORK`, `CLOSE`.
    what, why, short : str
        What to do, why now, and the same in a few words.
    needs : str
        What it needs: a hand, a spanner, free room.
    cautions : tuple of str
    hidden_by : tuple of str
        What goes in later and then stands in front of a fitting or tap of this step: it has to be right before.
    beside : tuple of (port, thing, gap)
        Fittings with less than `FINGERS` beside them when this is put in. [m]
    """

    name: str
    kind: str
    what: str
    why: str
    short: str
    needs: str
    cautions: tuple[str, ...]
    hidden_by: tuple[str, ...]
    beside: tuple[tuple[str, str, float], ...]


@dataclass(frozen=True, eq=False)
class BuildOrder:
    """
    The order of a plan.

    Attributes
    ----------
    steps : tuple of Step
    constraints : tuple of Before
        All that were kept.
    contradictions : tuple of Contradiction
    missing : tuple of str
        What has no place in the plan, in words.
    """

    steps: tuple[Step, ...]
    constraints: tuple[Before, ...]
    contradictions: tuple[Contradiction, ...]
    missing: tuple[str, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """The steps by name."""
        return tuple(step.name for step in self.steps)


def clause(sentence: str) -> str:
    """Return a sentence as the end of another: without its full stop, its first article or pronoun small."""
    first, _, rest = sentence.partition(" ")
    small = first.lower() if first in ("A", "An", "The", "It", "Its", "Both", "What", "You", "Chips", "With") else first
    return f"{small} {rest}".strip().removesuffix(".")


# --------------------------------------------------------------------------------------------------- the sorting


def shortest_ring(constraints: Iterable[Before]) -> tuple[Before, ...]:
    """
    Return the shortest ring of constraints, () if there is none.

    Examples
    --------
    >>> [b.first for b in shortest_ring([Before("a", "b", ""), Before("b", "a", ""), Before("b", "c", "")])]
    ['a', 'b']
    """
    onward: dict[str, list[Before]] = {}
    for one in constraints:
        onward.setdefault(one.first, []).append(one)
    best: tuple[Before, ...] = ()
    for start in onward:
        came: dict[str, Before] = {}
        queue = deque([start])
        while queue and start not in came:
            for one in onward.get(queue.popleft(), ()):
                if one.second not in came:
                    came[one.second] = one
                    queue.append(one.second)
        if start in came:
            ring = [came[start]]
            while ring[-1].first != start:
                ring.append(came[ring[-1].first])
            if not best or len(ring) < len(best):
                best = tuple(ring[::-1])
    return best


def _firmest(constraints: Iterable[Before]) -> list[Before]:
    """Return of all reasons for one step before another the firmest."""
    best: dict[tuple[str, str], Before] = {}
    for one in constraints:
        pair = one.first, one.second
        if pair not in best or one.firm > best[pair].firm:
            best[pair] = one
    return list(best.values())


def sorted_out(
    names: Iterable[str], constraints: Iterable[Before], key: Any = None
) -> tuple[list[str], list[Before], list[Contradiction]]:
    """
    Return an order that keeps the constraints, those that were kept, and what contradicted.

    Parameters
    ----------
    names : iterable of str
        All steps, each once; of steps that are free the one of least key comes first.
    constraints : iterable of Before
        Between those names. Of each ring, the shortest first, the least firm constraint is given up.
    key : callable, optional
        Name to what is compared; by default the place in `names`.

    Examples
    --------
    >>> sorted_out("abc", [Before("c", "a", "")])[0]
    ['b', 'c', 'a']
    """
    names, kept, given_up = list(names), list(constraints), []
    places = {name: n for n, name in enumerate(names)}
    while ring := shortest_ring(_firmest(kept)):
        weakest = min(ring, key=lambda one: one.firm)
        given_up.append(Contradiction(ring, weakest))
        kept = [one for one in kept if (one.first, one.second) != (weakest.first, weakest.second)]
    sorter = TopologicalSorter({name: () for name in names})
    for one in kept:
        sorter.add(one.second, one.first)
    sorter.prepare()
    free, out = [], []
    while sorter.is_active():
        for name in sorter.get_ready():
            heapq.heappush(free, ((places[name] if key is None else key(name), places[name]), name))
        _, name = heapq.heappop(free)
        out.append(name)
        sorter.done(name)
    return out, kept, given_up


# ------------------------------------------------------------------------------------------------- the constraints

#: Why a part is in before a tube that ends on it.
_ENDS = {
    tree.RadiatorUnit: "it ends on {}, which is screwed down with its fans first",
    tree.Tank: "it ends on {}, which is screwed down first",
    tree.PumpUnit: "it ends on {}, which is screwed down first",
    tree.Source: "it ends on {}, which is down on its component first",
}
_END = "it ends on {}, which is in place first"


class _Maker:
    """The constraints of one plan, and the steps that come of their order."""

    def __init__(self, plan: Plan) -> None:
        self.plan, self.space = plan, space_of(plan)
        self.leaves = {leaf.name: leaf for leaf in tree.leaves(plan.loop)}
        self.tubes = self.space.ends
        self.ways = ways_out(plan)
        wanted = {name for pair in plan.before for name in pair[:2]}
        self.apart = [n for n in self.space.bodies if n not in self.leaves and n in wanted]
        self.drilled = {
            box.name: [tube.name for tube in self.space.scene.tubes if self.space.scene.met(tube.name, box.name)]
            for box in self.space.scene.boxes
            if box.panel
        }
        self.drilled = {panel: tubes for panel, tubes in self.drilled.items() if tubes}
        self.kinds = {holes(panel): SETUP for panel in self.drilled} | {CASE: SETUP}
        self.kinds |= dict.fromkeys(self.apart, SETUP)
        self.kinds |= {name: TUBE if name in self.tubes else PART for name in self.leaves}
        self.kinds |= {TEST: WORK, FILL: WORK, WET: WORK, POWER: WORK} | {box.name: CLOSE for box in self.space.panels}
        self.step_of = {name: name for name in self.kinds}
        for name, body in self.space.bodies.items():
            for box in (box for box in body.boxes if not box.of):
                self.step_of.setdefault(box.name, name if name in self.kinds else CASE)

    def constraints(self) -> list[Before]:
        """Return all that was found."""
        return [*self._trade(), *self._space(), *self._own()]

    def _trade(self) -> Iterator[Before]:
        for panel in self.drilled:
            yield Before(holes(panel), CASE, "chips of drilling stay away from everything else", firm=HABIT)
            for tube in self.drilled[panel]:
                why = f"its hole in {panel} is drilled, smoothed and lined before it goes through"
                yield Before(holes(panel), tube, why, firm=FIRM)
        for name in self.leaves:
            yield Before(CASE, name, "what is fixed in the case is there first", firm=HABIT)
        for name in self.apart:
            yield Before(CASE, name, "what is fixed in the case is there first", firm=HABIT)
        for tube, parts in self.tubes.items():
            for part in parts:
                why = _ENDS.get(type(self.leaves[part]), _END)
                yield Before(part, tube, why.format(part), firm=FIRM)
        for main, small in screwed_on(self.plan):
            yield Before(main, small, f"it is screwed to {main}")
        for name in self.leaves:
            yield Before(name, TEST, "the whole loop is tested before coolant comes in", firm=FIRM)
        for name in self.apart:
            yield Before(name, TEST, "the case is complete before the test", firm=HABIT)
        yield Before(TEST, FILL, "a leak that air finds wets nothing", firm=FIRM)
        yield Before(TEST, POWER, "no electronics are powered before the loop has passed its leak test", firm=FIRM)
        dead = "while it fills, the pump alone runs and the board is dead"
        yield Before(FILL, POWER, dead, firm=FIRM)
        yield Before(FILL, WET, "drops are looked for once coolant is in", firm=FIRM)
        yield Before(WET, POWER, "a slow drop takes hours to show", firm=FIRM)
        for panel in self.space.panels:
            yield Before(POWER, panel.name, "panels come last: joints are looked at once more, warm")

    def _space(self) -> Iterator[Before]:
        for low, body in self.space.bodies.items():
            for high in sorted(body.on_it):
                yield Before(low, high, f"{high} stands on {low}", SPACE, IN_BEFORE, ROOM)
        for name, ways in self.ways.items():
            if name not in self.leaves or not ways:
                continue
            body = self.space.bodies.get(name)
            own = {*self.tubes[name]} if body is None else body.tubes | body.on_it
            for other in sorted(frozenset.intersection(*(way.blockers for way in ways)) - own):
                if self.step_of.get(other) not in (None, CASE, name):
                    why = f"{other} would keep {name} from going in or out"
                    yield Before(name, self.step_of[other], why, SPACE, BLOCKS, ROOM)

    def rooms(self, kept: list[Before]) -> Iterator[Before]:
        """Yield what would leave a hand more room at a fitting, as far as nothing firmer speaks against it."""
        stands = hidden(self.space)
        onward: dict[str, set[str]] = {}
        for one in kept:
            onward.setdefault(one.first, set()).add(one.second)
        for tube, names in stands.items():
            for other in sorted(names & stands.keys()):
                if tube not in stands[other] and not _leads(onward, other, tube):
                    onward.setdefault(tube, set()).add(other)
                    why = f"{other} would hide the fittings of {tube}"
                    yield Before(tube, other, why, f"{SPACE}; room for a hand: {TRADE}", NEEDS_ROOM, HABIT)

    def _own(self) -> Iterator[Before]:
        for n, pair in enumerate(self.plan.before, start=1):
            field = f"before, pair {n}"
            first, second = (self.step_of[one_of(field, name, self.step_of)] for name in pair[:2])
            if first == second:
                remedy = "Name two different parts, tubes or steps."
                raise InputError(field, f"{pair[0]} before {pair[1]}", "two different steps", remedy)
            why = pair[2] if len(pair) == 3 else "you asked for it"
            yield Before(first, second, why, OWN, IN_BEFORE, WISH)

    def key(self, name: str) -> tuple:
        """Return what steps that are free are ordered by."""
        leaf = self.leaves.get(name)
        if leaf is None:
            return (list(self.kinds.values()).index(self.kinds[name]) if self.kinds[name] == SETUP else 99, 0.0)
        if name in self.tubes:
            return (len(HEAVY) + 1, 0.0)
        rank = next((n for n, kind in enumerate(HEAVY) if isinstance(leaf, kind)), len(HEAVY))
        return (rank, -float(np.prod(leaf.size)) if leaf.size else 0.0)

    # ------------------------------------------------------------------------------------------------------ steps

    def steps(self, order: list[str], kept: list[Before]) -> tuple[Step, ...]:
        """Return the order as steps with their words."""
        place = {name: n for n, name in enumerate(order)}
        self.hidden, self.tight = hidden(self.space), tight(self.space)
        return tuple(self._step(name, place, kept) for name in order)

    def _step(self, name: str, place: dict[str, int], kept: list[Before]) -> Step:
        mine = [one for one in kept if one.second == name]
        after = max(mine, key=lambda one: (place[one.first], one.firm), default=None)
        ahead = [one for one in kept if one.first == name and (one.kind != IN_BEFORE or one.source == OWN)]
        why = [] if after is None else [f"After {after.first}: {after.why}."]
        why += [f"Before {one.second}: {one.why}." for one in ahead[:2]]
        short = "" if after is None else after.why
        if short.startswith(f"{name} "):
            short = f"it{short.removeprefix(name)}"
        if ahead and (after is None or after.first == CASE):
            short = f"before {ahead[0].second}"
        later = tuple(
            sorted(n for n in self.hidden.get(name, ()) if place.get(self.step_of.get(n, n), -1) > place[name])
        )
        beside = tuple(row for row in self.tight.get(name, ()) if place.get(row[1], 99) < place[name])
        what, needs, cautions = self._words(name)
        notes = {way.note for way in self.ways.get(name, ()) if way.note}
        if late := [tube for tube in self.tubes if any((name,) == way.loose for way in self.ways[tube])]:
            notes.add(f"Leave it loose until {listed(late)} {'are' if len(late) > 1 else 'is'} in.")
        if name in self.ways and not self.ways[name]:
            notes.add("No straight way in was found past what is there: try it by hand before anything is tightened.")
        if later:
            cautions = (*cautions, f"Tighten and check it now: {listed(later)} will stand before it.")
        words = what, " ".join(why) or "It waits for nothing.", short, needs
        return Step(name, self.kinds[name], *words, (*cautions, *sorted(notes)), later, beside)

    def _words(self, name: str) -> tuple[str, str, tuple[str, ...]]:
        plan, leaf = self.plan, self.leaves.get(name)
        if name == CASE:
            boxes = [n for n in self.space.bodies if n not in self.leaves and n not in self.apart]
            inside = f" with {listed(boxes)}" if boxes else ""
            return f"Set up the case{inside}.", "", (
                "Keep the mains plug out until the leak test is passed; touch bare metal of the case before a board.",
            )  # fmt: skip
        if name in self.apart:
            return f"Put {name} in.", "", ()
        if self.kinds[name] == SETUP:
            panel = next(panel for panel in self.drilled if holes(panel) == name)
            lined = listed(self.drilled[panel])
            routes = {route.name: route.hole for route in plan.routes}
            how = {routes[tube] for tube in self.drilled[panel]}
            what = f"Drill {panel} for {lined}, smooth both edges, set {' and '.join(sorted(how))}s."
            tool = "; both sides of the panel free to hold a nut" if PASS_THROUGH in how else ""
            return what, f"drill, deburring tool, eye protection{tool}", ("Sweep out every chip.",)
        if name == TEST:
            return "Plug every open port and test the loop with air.", "tester with its own pump and gauge, plugs", (
                "No higher than the weakest part's own instructions allow, and with eye protection: air under pressure "
                "stores more than coolant.",
                "All electronics stay without power.",
            )  # fmt: skip
        if name == FILL:
            fills = [n for n, e in self.leaves.items() if isinstance(e, tree.DeadLeg) and e.purpose == "fill"]
            fills += [port.name for port in plan.ports if port.purpose == "fill"]
            by = f" by {fills[0]}" if fills else " at the reservoir" if plan.units(tree.Tank) else ""
            return f"Fill{by}, run the pump alone, let the air out, top up.", "towels, a funnel or squeeze bottle", (
                "Never let the pump run dry. Only the pump has power; the board has none.",
                "Wipe up and wait until everything is dry before anything else is powered.",
            )  # fmt: skip
        if name == WET:
            return "Run the pump alone for 24 hours, white paper under every joint.", "paper, the pump's supply", (
                "Look after 10 minutes, an hour, at the end. If anything is wet: pump off, drain, mend, test again.",
            )  # fmt: skip
        if name == POWER:
            return "Connect and power the electronics.", "", ("Only when everything is dry to the touch.",)
        if self.kinds[name] == CLOSE:
            return f"Close {name}.", "", ()
        if name in self.tubes:
            return self._tube_words(leaf)
        return _part_words(leaf, [box.name for box in self.space.bodies[name].boxes if not box.of])

    def _tube_words(self, leaf: Any) -> tuple[str, str, tuple[str, ...]]:
        bends = "" if leaf.laid is None else f", {leaf.laid.bends} bend{'s' * (leaf.laid.bends != 1)}"
        what = f"Fit {leaf.name} ({leaf.tube.name}{bends})."
        if isinstance(leaf, tree.DeadLeg) and leaf.purpose == "drain":
            what += " Its tap has to stay within reach."
        if not leaf.tube.rigid:
            return what, "both hands, a spanner for the collars", ("Leave it long enough that no part is pulled.",)
        way = next(iter(self.ways[leaf.name]), None)
        from_ = f", room to bring it in {_inward(way.way)}" if way and way.way else ""
        aid = self.plan.assembly_aid
        return what, f"both hands{from_}, {aid} on the rings", ("Push it straight in; never twist it by its bend.",)


def _inward(way: str) -> str:
    """Return how something goes in that comes out that way."""
    turned = {name: list(FACES)[n ^ 1] for n, name in enumerate(FACES)}
    moves = [turned[move] for move in reversed(way.split(", then "))]
    return f"from the {way.split(', then ')[-1]}" if len(moves) == 1 else f"first {moves[0]}, then {moves[1]}"


def _part_words(leaf: Any, fans: list[str]) -> tuple[str, str, tuple[str, ...]]:
    if isinstance(leaf, tree.RadiatorUnit):
        with_ = f" with its fans ({listed(fans)})" if fans else " with its fans" if leaf.fan is not None else ""
        return f"Rinse {leaf.name} and screw it down{with_}.", "a screwdriver; a second hand holds it", (
            "A screw that is too long goes into a tube of the core: try one by hand first.",
        )  # fmt: skip
    if isinstance(leaf, tree.Source):
        return f"Mount {leaf.name} on its component.", "a screwdriver from its free side", (
            "Paste, pads and screws as the part's own instructions say: crosswise, a little at a time.",
        )  # fmt: skip
    if isinstance(leaf, tree.PumpUnit):
        return f"Mount {leaf.name}, its lead where a hand reaches the plug.", "a screwdriver", ()
    if isinstance(leaf, tree.Tank):
        return f"Mount {leaf.name}.", "a screwdriver", ("Plug its ports that stay free.",)
    many = getattr(leaf, "count", 1.0)
    number = f"{many:.0f} times " if np.ndim(many) == 0 and many > 1.5 else ""
    part = f" ({number}{leaf.part.name})" if leaf.part is not None else ""
    return f"Fit {leaf.name}{part}.", "fingers, then a spanner on its flats", ("Hand-tight and no more than a nudge.",)


def holes(panel: str) -> str:
    """Return what the step of drilling a panel is called."""
    return f"holes in {panel}"


def listed(names: Iterable[str]) -> str:
    """Return names in a row: a, b and c."""
    names = list(names)
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def _leads(onward: dict[str, set[str]], start: str, end: str) -> bool:
    """Return True if constraints lead from one step to another."""
    seen, todo = set(), [start]
    while todo:
        name = todo.pop()
        if name == end:
            return True
        todo += onward.get(name, set()) - seen
        seen |= onward.get(name, set())
    return False


@lru_cache(maxsize=24)
def build_order(plan: Plan) -> BuildOrder:
    """
    Return the order in which the loop of a plan is built.

    Parameters
    ----------
    plan : Plan
        One design. What has a place is judged in space; of the rest only the trade's own order counts.

    Returns
    -------
    order : BuildOrder
        Every step once; all constraints kept hold, and every contradiction is told with what was given up for it.

    Raises
    ------
    InputError
        For N designs, or if `plan.before` names what is no part, tube, box or step, or one thing twice.
    """
    made = _Maker(plan)
    _, kept, against = sorted_out(made.kinds, made.constraints(), made.key)
    kept += list(made.rooms(kept))
    order, kept, _ = sorted_out(made.kinds, kept, made.key)
    missing = [
        f"{name} has no place in the plan: what stands in its way is not known."
        for name, body in made.space.bodies.items()
        if not body.boxes
    ]
    missing += [
        f"{name} has no way in the plan: what it passes is not known." for name in made.tubes if name not in plan.paths
    ]
    return BuildOrder(made.steps(order, kept), tuple(kept), tuple(against), tuple(missing))
