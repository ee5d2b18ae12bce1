"""Air a plan's loop keeps when it is filled, coolant it keeps when it is drained, in any position of the machine."""

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from loopmath.checks import one_of
from loopmath.laws import flooding
from loopmath.laws.flooding import UP, Exit, Void, Ways
from loopmath.passages import Passages, void_of
from loopmath.plan import Plan

AIR, LIQUID = "air", "liquid"
#: A layer thinner than this clings: the capillary length of water, sqrt(sigma / (rho g)), is 2.7 mm at 20 degC (from
#: memory; common practice, no source, for the 2 mm). [m]
LEAST = 0.002


@dataclass(frozen=True, eq=False)
class Pocket:
    """
    Air or coolant that stays in one place.

    Attributes
    ----------
    volume : float
        [m3]
    parts : dict
        Volume in each part and run, most first. [m3]
    level : float
        Height, upward, of the sill it is held by; not finite where no way leads out. [m]
    depth : float
        From there to its furthest point. [m]
    at : (3,) array
        That point. [m]
    cells : tuple of int
        Where it is.
    """

    volume: float
    parts: dict[str, float]
    level: float
    depth: float
    at: np.ndarray
    cells: tuple[int, ...]

    @property
    def place(self) -> str:
        """The part or run that holds most of it."""
        return next(iter(self.parts))


@dataclass(frozen=True, eq=False)
class Holding:
    """
    All that is held in one position.

    Attributes
    ----------
    what : str
        "air" or "liquid".
    up : (3,) array
        Against gravity, in the frame of the machine.
    exits : tuple of Exit
        What was open.
    pockets : tuple of Pocket
        Largest first.
    strands : (S,) array
        Volume in each strand of the void, what clings left out. [m3]
    ways : Ways
        The best way out of every cell.
    """

    what: str
    up: np.ndarray
    exits: tuple[Exit, ...]
    pockets: tuple[Pocket, ...]
    strands: np.ndarray
    ways: Ways

    @property
    def volume(self) -> float:
        """All of it. [m3]"""
        return float(sum(p.volume for p in self.pockets))

    @property
    def by_element(self) -> dict[str, float]:
        """Volume in each part and run. [m3]"""
        out: dict[str, float] = {}
        for pocket in self.pockets:
            for name, volume in pocket.parts.items():
                out[name] = out.get(name, 0.0) + volume
        return dict(sorted(out.items(), key=lambda item: -item[1]))

    def cells(self, count: int) -> np.ndarray:
        """Return True for every cell that holds some."""
        out = np.zeros(count, bool)
        out[[cell for pocket in self.pockets for cell in pocket.cells]] = True
        return out


def in_void(void: Void, owner: tuple[str, ...], what: str, up: Any, exits: Any, least: float = LEAST) -> Holding:
    """
    Return what a space holds in one position.

    Parameters
    ----------
    void : Void
        The space.
    owner : tuple of str
        Name of what each cell belongs to.
    what : str
        "air": what cannot rise out; "liquid": what cannot run out.
    up : (3,) array
        Against gravity.
    exits : sequence of Exit
        What is open.
    least : float
        A layer thinner than this clings, and is left out. [m]
    """
    sign = 1.0 if one_of("what", what, (AIR, LIQUID)) == AIR else -1.0
    up = np.asarray(up, dtype=float) / np.linalg.norm(up)
    found = flooding.ways(void, sign * up, exits)
    volumes = flooding.above(void, sign * up, found.level)
    _, high = void.spans(sign * up)
    depth = np.where(volumes > 0, high - found.level[void.cell], 0.0)
    inside = np.zeros(void.cells, bool)
    inside[void.cell[volumes > 0]] = True
    one, other = void.joins.T
    # Two cells are one pocket if what they hold meets in the opening between them.
    linked = found.opening > np.maximum(found.level[one], found.level[other]) + 1e-9
    passing = np.zeros(void.cells, bool)
    passing[one[linked]] = passing[other[linked]] = True
    graph = coo_array((np.ones(linked.sum()), (one[linked], other[linked])), shape=(void.cells, void.cells))
    _, label = connected_components(graph, directed=False)
    pockets, kept = [], np.zeros_like(volumes)
    for group in np.unique(label[inside]):
        mine = (label[void.cell] == group) & (volumes > 0)
        deepest = float(depth[mine].max())
        if deepest < least:
            continue
        kept[mine] = volumes[mine]
        top = np.flatnonzero(mine)[int(np.argmax(high[mine]))]
        ends = void.strands[top]
        parts: dict[str, float] = {}
        for cell, volume in zip(void.cell[mine].tolist(), volumes[mine].tolist(), strict=True):
            parts[owner[cell]] = parts.get(owner[cell], 0.0) + volume
        cells = tuple(np.flatnonzero((label == group) & (inside | passing)).tolist())
        pockets.append(
            Pocket(
                float(volumes[mine].sum()),
                dict(sorted(parts.items(), key=lambda item: -item[1])),
                float(sign * found.level[void.cell[top]]),
                deepest,
                ends[int(np.argmax(ends @ (sign * up)))],
                cells,
            )
        )
    pockets.sort(key=lambda pocket: -pocket.volume)
    return Holding(what, up, tuple(exits), tuple(pockets), kept, found)


def held(plan: Plan, what: str = AIR, up: Any = UP, exits: Any = None) -> Holding:
    """
    Return what a plan's loop holds at rest.

    Air leaves by what the plan opens for filling and venting, coolant by its drains; where there is no drain, by the
    same openings as the air, for which the machine has to be turned over.

    Parameters
    ----------
    plan : Plan
        One design.
    what : str
        "air" or "liquid".
    up : (3,) array
        Against gravity, in the frame of the machine.
    exits : sequence of Exit, optional
        Other openings than the plan's.

    Raises
    ------
    InputError
        If the plan is an array of designs.
    """
    passages = void_of(plan)
    if exits is None:
        exits = open_for(passages, what)
    return in_void(passages.void, passages.owner, what, up, exits)


def open_for(passages: Passages, what: str) -> list[Exit]:
    """Return the openings air or coolant leaves by."""
    return passages.vents if what == AIR else passages.drains or passages.vents


def opening_at(passages: Passages, name: str, what: str) -> Exit:
    """Return an opening at the highest point of a part or run, for coolant at its lowest, as the machine stands."""
    up = np.array(UP) if what == AIR else -np.array(UP)
    void, (_, high) = passages.void, passages.void.spans(up)
    mine = np.flatnonzero(np.array(passages.owner)[void.cell] == one_of("opening", name, passages.owner))
    best = int(mine[np.argmax(high[mine])])
    end = void.strands[best][int(np.argmax(void.strands[best] @ up))]
    return Exit(int(void.cell[best]), tuple(end + (high[best] - end @ up) * up), tuple(up), 0.0)


@dataclass(frozen=True, eq=False)
class Outlet:
    """
    How good the opening for air or coolant is where it stands.

    Attributes
    ----------
    name : str
        The highest fill or vent, or the lowest drain; empty if there is none.
    short : float
        So much it lies below the highest point of the loop, or above the lowest. [m]
    keeps : float
        What stays with the plan's openings. [m3]
    better : str
        The part or run nearest to it where one more opening would keep least.
    at : (3,) array
        Where there. [m]
    left : float
        What would stay then. [m3]
    """

    name: str
    short: float
    keeps: float
    better: str
    at: np.ndarray
    left: float


@lru_cache(maxsize=64)
def outlet(plan: Plan, what: str = AIR) -> Outlet:
    """
    Return how good the plan's fill port (for "air") or drain (for "liquid") stands, upright, and a better place.

    Parameters
    ----------
    plan : Plan
        One design.
    what : str
        "air" or "liquid".
    """
    passages = void_of(plan)
    void, sign = passages.void, 1.0 if what == AIR else -1.0
    purposes = ("fill", "vent") if what == AIR else ("drain",)
    own = {name: e for name, (purpose, e) in passages.exits.items() if purpose in purposes}
    up = sign * np.array(UP)
    _, high = void.spans(up)
    heights = {n: float(flooding.crown(up, [e.at], [e.normal], [e.radius])[0]) for n, e in own.items()}
    name = max(heights, key=heights.get) if heights else ""
    short = float(high.max() - heights[name]) if heights else np.nan
    exits = list(own.values())
    keeps = in_void(void, passages.owner, what, UP, exits).volume
    start = np.array(own[name].at) if name else np.zeros(3)
    choices = []
    for cell in np.unique(void.cell):
        mine = np.flatnonzero(void.cell == cell)
        ends = void.strands[mine[int(np.argmax(high[mine]))]]
        at = ends[int(np.argmax(ends @ up))]
        lifted = at + (high[mine].max() - at @ up) * up
        extra = Exit(int(cell), tuple(lifted), tuple(up), 0.0)
        left = in_void(void, passages.owner, what, UP, [*exits, extra]).volume
        choices.append((left, float(np.linalg.norm(at - start)), int(cell), at))
    least = min(choice[0] for choice in choices)
    left, _, cell, at = min((c for c in choices if c[0] <= least + 1e-6), key=lambda c: c[1])
    return Outlet(name, short, keeps, passages.owner[cell], at, left)
