"""Which way and how far to tip the machine so that held air rises out, or coolant that stays runs out."""

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from loopmath.checks import between
from loopmath.laws import flooding
from loopmath.laws.flooding import UP
from loopmath.passages import Passages, void_of
from loopmath.plan import Plan
from loopmath.pockets import AIR, LEAST, Holding, Pocket, in_void, open_for
from loopmath.routes import direction

#: Sides that may go down, seen from the front.
SIDES = ("left", "right", "front", "rear", "left and front", "left and rear", "right and front", "right and rear")
#: Angles are looked at in steps of this, and the smallest then found to the degree. [rad]
STEP = np.radians(5.0)
#: Most tips in a row that are looked for, and most ways of holding air that are followed.
MOST_TIPS, MOST_STATES = 4, 12


@dataclass(frozen=True)
class Tip:
    """A position: this side goes down by so much [rad]."""

    side: str
    angle: float

    @property
    def up(self) -> np.ndarray:
        """Against gravity, in the frame of the machine."""
        return tipped(self.side, self.angle)

    @property
    def words(self) -> str:
        """What a builder does."""
        return f"{np.degrees(self.angle):.0f}° to the {self.side}"


def tipped(side: str, angle: Any) -> np.ndarray:
    """
    Return the direction against gravity, in the frame of the machine, once one side of it went down.

    Parameters
    ----------
    side : str
        As in `routes.direction`, such as "left and rear".
    angle : float or array
        [rad]

    Returns
    -------
    up : (..., 3) array

    Examples
    --------
    >>> tipped("left", np.pi / 2).round(12).tolist()
    [1.0, 0.0, 0.0]
    """
    angle = np.asarray(angle, dtype=float)[..., None]
    return np.cos(angle) * np.array(UP) - np.sin(angle) * direction("side", side)


@dataclass(frozen=True, eq=False)
class Tipping:
    """
    How to free what is held.

    Attributes
    ----------
    what : str
        "air" or "liquid".
    upright : Holding
        What stays with no tip.
    single : tuple
        For each of its pockets the smallest tip that frees it, None if no single one within the limit does.
    sequence : tuple of Tip
        The fewest tips in a row that free all, of those the least angles in sum; empty if nothing is held.
    freed : bool
        True if nothing stays after them.
    after : tuple of float
        What may stay if it is set upright after each of them. [m3]
    stays : float
        What may stay with the best that was found. [m3]
    limit : float
        Most angle allowed. [rad]
    """

    what: str
    upright: Holding
    single: tuple[Tip | None, ...]
    sequence: tuple[Tip, ...]
    freed: bool
    after: tuple[float, ...]
    stays: float
    limit: float


class _Positions:
    """Positions that were looked at, so that each is worked out once."""

    def __init__(self, passages: Passages, what: str, exits: list, least: float = LEAST) -> None:
        self.passages, self.what, self.exits, self.least = passages, what, exits, least
        self.known: dict[Tip | None, Holding] = {}
        self.moves: dict[tuple, frozenset] = {}

    def at(self, tip: Tip | None) -> Holding:
        if tip not in self.known:
            up = UP if tip is None else tip.up
            self.known[tip] = in_void(self.passages.void, self.passages.owner, self.what, up, self.exits, self.least)
        return self.known[tip]

    def after(self, before: Tip | None, cells: frozenset, tip: Tip | None) -> frozenset:
        """Return the cells that may hold something in a position, of what was in some cells in the one before."""
        key = (before, cells, tip)
        if key not in self.moves:
            was, now, void = self.at(before), self.at(tip), self.passages.void
            sign = 1.0 if self.what == AIR else -1.0
            start = flooding.lowest(void, sign * was.up, was.ways.level, sign * now.up) + max(self.least, 1e-6)
            start[~np.isin(np.arange(void.cells), list(cells))] = np.inf
            rest = flooding.gathered(void, sign * now.up, now.ways, self.exits, start, now.cells(void.cells))
            self.moves[key] = frozenset(np.flatnonzero(rest).tolist())
        return self.moves[key]

    def left(self, cells: frozenset, tip: Tip) -> frozenset:
        """Return the cells that may still hold something once the machine is tipped and set upright again."""
        return self.after(tip, self.after(None, cells, tip), None)

    def stays(self, row: tuple[Tip, ...], cells: frozenset) -> float:
        """
        Return the most that can be left after a row of tips, of it what may still be in some cells upright. [m3]

        No more is left than those cells hold, nor than was held in any of the positions: all else had left by then, for
        in each of them it is waited until nothing more comes and what is held has levelled out.
        """
        upright = float(self.at(None).strands[np.isin(self.passages.void.cell, list(cells))].sum())
        return min([upright, *(self.at(tip).volume for tip in row)])


@lru_cache(maxsize=16)
def tipping(plan: Plan, what: str = AIR, limit: float | None = None) -> Tipping:
    """
    Return how to tip the machine so that all air gets to the vent, or all coolant to the drain.

    What leaves one place may be caught in another: a tip counts only if whatever of it comes to rest on its way,
    however it goes, gets out once the machine stands upright again, as air that reached the tank does.
    Sides are the eight of `SIDES`.

    Parameters
    ----------
    plan : Plan
        One design.
    what : str
        "air" or "liquid".
    limit : float, optional
        Most angle; by default the plan's own. A heavy machine, an open tank have a smaller one. [rad]

    Raises
    ------
    InputError
        If the limit is not from 0 to half a turn.
    """
    limit = float(plan.tip_limit if limit is None else limit)
    between("tip_limit", limit, 0.0, np.pi, "rad")
    passages = void_of(plan)
    exits = open_for(passages, what)
    positions = _Positions(passages, what, exits)
    upright = positions.at(None)
    angles = np.unique(np.minimum(np.append(np.arange(STEP, limit, STEP), limit), limit))
    tips = [Tip(side, float(angle)) for angle in angles if angle > 0 for side in SIDES]
    if not exits or not upright.pockets:
        return Tipping(
            what, upright, (None,) * len(upright.pockets), (), not upright.pockets, (), upright.volume, limit
        )
    single = tuple(_smallest(positions, pocket, tips) for pocket in upright.pockets)
    start = frozenset(cell for pocket in upright.pockets for cell in pocket.cells)
    # In a row by 15 degrees: nobody holds a machine nearer than that for long.
    coarse = [tip for n, tip in enumerate(tips) if (n // len(SIDES)) % 3 == 2 or tip.angle == limit]
    sequence, rest = _in_a_row(positions, start, coarse)
    before, cells, after = None, start, []
    for n, tip in enumerate(sequence, 1):
        before, cells = tip, positions.after(before, cells, tip)
        after.append(positions.stays(sequence[:n], positions.after(tip, cells, None)))
    return Tipping(what, upright, single, sequence, not rest, tuple(after), positions.stays(sequence, rest), limit)


def _smallest(positions: _Positions, pocket: Pocket, tips: list[Tip]) -> Tip | None:
    """Return the least tip that frees a pocket, to the degree."""
    cells = frozenset(pocket.cells)
    first = next((tip for tip in tips if not positions.left(cells, tip)), None)
    if first is None:
        return None
    for angle in np.arange(first.angle - STEP + np.radians(1.0), first.angle, np.radians(1.0)):
        for side in SIDES:
            if angle > 0 and not positions.left(cells, Tip(side, float(angle))):
                return Tip(side, float(angle))
    return first


def _in_a_row(positions: _Positions, start: frozenset, tips: list[Tip]) -> tuple[tuple[Tip, ...], frozenset]:
    """Return the fewest tips that free all, and what may stay if none do: then the row that leaves least."""
    states: dict[tuple[Tip | None, frozenset], tuple[Tip, ...]] = {(None, start): ()}
    seen, best = set(states), (positions.stays((), start), (), start)
    for _ in range(MOST_TIPS):
        following: dict[tuple[Tip | None, frozenset], tuple[Tip, ...]] = {}
        for (before, cells), row in states.items():
            for tip in tips:
                state, new = (tip, positions.after(before, cells, tip)), (*row, tip)
                if state not in seen and (state not in following or _turned(new) < _turned(following[state])):
                    following[state] = new
        left = {state: positions.after(*state, None) for state in following}
        done = [row for state, row in following.items() if not left[state]]
        if done:
            return min(done, key=_turned), frozenset()
        stays = {state: positions.stays(row, left[state]) for state, row in following.items()}
        ranked = sorted(following, key=lambda state: (stays[state], _turned(following[state])))
        if ranked and stays[ranked[0]] < best[0] - 1e-9:
            best = (stays[ranked[0]], following[ranked[0]], left[ranked[0]])
        seen |= set(following)
        states = {state: following[state] for state in ranked[:MOST_STATES]}
    return best[1], best[2]


def _turned(row: tuple[Tip, ...]) -> float:
    return sum(tip.angle for tip in row)
