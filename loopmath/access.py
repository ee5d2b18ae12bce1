"""How each part of a loop is reached: what comes out before it, and how much coolant runs out when it is opened."""

from dataclasses import dataclass, replace
from functools import lru_cache
from graphlib import CycleError, TopologicalSorter

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from loopmath import loop as tree
from loopmath.checks import one_of
from loopmath.laws import flooding
from loopmath.laws.flooding import UP, Exit, Void
from loopmath.passages import Passages, void_of
from loopmath.plan import Plan
from loopmath.ways_out import Way, ways_out

#: What the catalogue calls a coupling that shuts itself when it is pulled apart.
QUICK_RELEASE = "quick-release pair"
#: Points of the score, our own weighting: nothing in the way, little lost without the drain and with it, shut off.
POINTS = {"in the way": 50.0, "lost undrained": 25.0, "lost drained": 15.0, "shut off": 10.0}
#: Taken off for each thing that comes out first.
EACH = 10.0
#: In how many tries the least set of what comes out first is looked for.
TRIES = 20000
FORMULA = (
    "100 points: 50, less 10 for each thing that comes out first; 25, less as much of them as is lost of all coolant "
    "without draining; 15, the same after draining; 10 if quick-release pairs shut it off on both sides. The weights "
    "are our own."
)
ASSUMED = (
    "The machine stands upright, the fill opening is open so that air follows, and all that runs downhill to the joint "
    "does. A full tube can draw more over a rise, down to the height of the joint: that is the larger number; have a "
    "vessel for it. Counted is this part alone: what it holds is lost, and what comes out before it loses its own. A "
    "quick-release pair that is pulled apart lets a drop go, which is left out."
)


@dataclass(frozen=True, eq=False)
class Access:
    """
    How one part or tube is reached.

    Attributes
    ----------
    name, kind : str
    first : tuple of str
        What has to come out before it, in that order; panels that open are off already.
    way : str
        Which way it then comes out; "" where that is not known.
    found : bool
        False if no way out was found past what cannot be moved.
    content, lost, siphoned, drained : float
        What it holds, what is lost when it is opened, what may be if full tubes draw coolant over rises, and what still
        runs out after the loop was let out by its drain [m3]; NaN where its height is not known, `drained` also without
        a drain.
    shut_off : tuple of str
        The quick-release pairs that shut it off; empty: nothing does.
    points : dict
        Term of `POINTS` -> points it got; NaN where that is not known.
    """

    name: str
    kind: str
    first: tuple[str, ...]
    way: str
    found: bool
    content: float
    lost: float
    siphoned: float
    drained: float
    shut_off: tuple[str, ...]
    points: dict[str, float]

    @property
    def score(self) -> float:
        """Sum of the points, 0 to 100; NaN where a term is not known."""
        return float(sum(self.points.values()))


# ------------------------------------------------------------------------------------------------ what comes out first


def comes_first(ways: dict[str, tuple[Way, ...]], name: str) -> tuple[tuple[str, ...], str] | None:
    """
    Return the least that has to come out before something, in order, and which way it then goes.

    Parameters
    ----------
    ways : dict
        Of everything, as `ways_out.ways_out` returns them.
    name : str
        What is to come out.

    Returns
    -------
    found : None or (names, way)
        None if it never comes out. The set is the smallest there is; of equal ones the first found.

    Examples
    --------
    >>> out = {"a": (Way("up", frozenset("b")),), "b": (Way("up", frozenset("c")),),
    ...        "c": (Way("left", frozenset()),)}
    >>> comes_first(out, "a")
    (('c', 'b'), 'up')
    """
    best: list = [None, np.inf]
    tries = [0]

    def look(chosen: dict[str, Way], todo: list[str]) -> None:
        tries[0] += 1
        if len(chosen) + len(todo) >= best[1] or tries[0] > TRIES:
            return
        if not todo:
            try:
                order = tuple(TopologicalSorter({n: sorted(way.blockers) for n, way in chosen.items()}).static_order())
            except CycleError:
                return
            best[:] = order, len(chosen)
            best.append(chosen[name].way)
            return
        one = todo[0]
        for way in sorted(ways.get(one, ()), key=lambda way: len(way.blockers - chosen.keys())):
            more = sorted(way.blockers - chosen.keys() - set(todo))
            look({**chosen, one: way}, [*todo[1:], *more])

    look({}, [name])
    return None if best[0] is None else (tuple(n for n in best[0] if n != name), best[-1])


# ---------------------------------------------------------------------------------------------------- what runs out


def _parts_from(passages: Passages, name: str) -> tuple[np.ndarray, list[Exit]]:
    """Return which cells are those of a part, and the openings that are left in the rest when it is taken away."""
    mine, void, exits = np.array([owner == name for owner in passages.owner]), passages.void, []
    for (one, other), at, normal, radius in zip(void.joins, void.at, void.normal, void.radius, strict=True):
        if mine[one] != mine[other]:
            rest = int(other if mine[one] else one)
            exits.append(Exit(rest, tuple(at), tuple(normal), float(radius)))
    return mine, exits


def _shut(passages: Passages, pairs: list[str], name: str) -> tuple[np.ndarray, tuple[str, ...]]:
    """Return the cells that stay joined to a part when every quick-release pair is shut, and the pairs around it."""
    owner, joins = np.array(passages.owner), passages.void.joins
    seen, met, todo = set(), set(), list(np.flatnonzero(owner == name))
    while todo:
        cell = int(todo.pop())
        if cell in seen:
            continue
        seen.add(cell)
        for one, other in joins:
            if cell in (one, other):
                next_ = int(other if cell == one else one)
                if owner[next_] in pairs:
                    met.add(str(owner[next_]))
                else:
                    todo.append(next_)
    out = np.zeros(len(owner), bool)
    out[list(seen)] = True
    return out, tuple(pair for pair in pairs if pair in met)


def _held(void: Void, exits: list[Exit]) -> np.ndarray:
    """Return what stays in each strand of what runs out by some openings. [m3]"""
    return flooding.held(void, -np.array(UP), exits)


def _siphoned(void: Void, exits: list[Exit]) -> np.ndarray:
    """Return what stays in each strand if all that is joined to some openings is drawn down to the lowest. [m3]"""
    graph = coo_array((np.ones(len(void.joins)), tuple(void.joins.T)), shape=(void.cells, void.cells))
    _, label = connected_components(graph, directed=False)
    floors = np.full(void.cells, np.inf)
    for e in exits:
        floor = -float(flooding.crown(-np.array(UP), [e.at], [e.normal], [e.radius])[0])
        joined = label == label[e.cell]
        floors[joined] = np.minimum(floors[joined], floor)
    return void.volume - flooding.above(void, UP, floors)


def lost(plan: Plan, name: str) -> tuple[float, float, float, tuple[str, ...]]:
    """
    Return what is lost when a part is opened, what may be, what is after the drain was used, and what shuts it off.

    Parameters
    ----------
    plan : Plan
        One design.
    name : str
        A part, run or dead leg of its loop.

    Returns
    -------
    lost, siphoned, drained : float
        [m3]; NaN where the part's height is not known, and of `drained` where the plan has no drain.
    shut_off : tuple of str
        Quick-release pairs on both sides of it.

    Raises
    ------
    InputError
        If the loop has no such part, or for N designs.

    Notes
    -----
    The part is taken away, so the ends of its neighbours are openings: what stands over them runs out with what the
    part holds, and what stands under them stays. Full tubes can draw coolant over a rise, down to the lowest end at
    most: `siphoned`. Between two quick-release pairs only what is between them can run out.
    """
    one_of("part", name, [leaf.name for leaf in tree.leaves(plan.loop)])
    passages = void_of(plan)
    void = passages.void
    pairs = [unit.name for unit in plan.units(tree.InlineUnit) if unit.kind == QUICK_RELEASE]
    if name in pairs:
        return 0.0, 0.0, 0.0, (name,)
    mine, exits = _parts_from(passages, name)
    if not mine.any():
        return np.nan, np.nan, np.nan, ()
    reached, around = _shut(passages, pairs, name)
    if len(around) < 2 or sum(_is_main(plan, passages.owner[cell]) for cell in np.flatnonzero(reached)):
        reached, around = np.ones(len(mine), bool), ()
    inside = reached[void.joins].all(axis=1) if len(void.joins) else np.zeros(0, bool)
    joins = void.joins[inside], void.at[inside], void.normal[inside], void.radius[inside]
    void = replace(void, **dict(zip(("joins", "at", "normal", "radius"), joins, strict=True)))
    seen, own = reached[void.cell], mine[void.cell]
    drains = [e for e in passages.drains if reached[e.cell]]
    opened = [e for e in exits if reached[e.cell]]
    stays = np.where(own, 0.0, _held(void, opened)) if opened else np.where(own, 0.0, void.volume)
    undrained = float((void.volume - stays)[seen].sum())
    drawn = np.where(own, 0.0, np.minimum(_siphoned(void, opened), stays)) if opened else stays
    siphoned = float((void.volume - drawn)[seen].sum())
    if not passages.drains:
        return undrained, siphoned, np.nan, around
    left = _held(void, drains) if drains else void.volume
    stays = np.where(own, 0.0, _held(void, [*drains, *opened]) if [*drains, *opened] else left)
    drained = float(np.maximum(left - np.minimum(stays, left), 0.0)[seen].sum())
    return undrained, siphoned, drained, around


def _is_main(plan: Plan, name: str) -> bool:
    """Return True for a tank or a pump: the side of a pair of couplings that counts as the rest of the loop."""
    return any(leaf.name == name and isinstance(leaf, (tree.Tank, tree.PumpUnit)) for leaf in tree.leaves(plan.loop))


# --------------------------------------------------------------------------------------------------------- all of it


@lru_cache(maxsize=24)
def accesses(plan: Plan) -> tuple[Access, ...]:
    """
    Return how every part and tube of a plan is reached, in flow order.

    Raises
    ------
    InputError
        For N designs.
    """
    ways, passages, out = ways_out(plan), void_of(plan), []
    total = float(passages.void.volume.sum()) + passages.uncounted
    owner = np.array(passages.owner)[passages.void.cell] if len(passages.void.cell) else np.array([])
    for leaf in tree.leaves(plan.loop):
        found = comes_first(ways, leaf.name)
        first, way = found or ((), "")
        undrained, siphoned, drained, around = lost(plan, leaf.name)
        content = float(passages.void.volume[owner == leaf.name].sum()) if leaf.name in passages.owner else np.nan
        least = undrained if np.isnan(drained) else drained
        points = {
            "in the way": max(POINTS["in the way"] - EACH * len(first), 0.0) if found else 0.0,
            "lost undrained": POINTS["lost undrained"] * (1.0 - undrained / total) if total else np.nan,
            "lost drained": POINTS["lost drained"] * (1.0 - least / total) if total else np.nan,
            "shut off": POINTS["shut off"] if around else 0.0,
        }
        runs = content, undrained, siphoned, drained
        out.append(Access(leaf.name, leaf.kind, first, way, bool(found), *runs, around, points))
    return tuple(out)
