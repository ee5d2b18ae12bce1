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
MOST_TIPS, MOST_STATES = 4, 25


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
    stays: float
    limit: float


class _Positions:
    """Positions that were looked at, so that each is worked out once."""

    def __init__(self, passages: Passages, what: str, exits: list, least: float = LEAST) -> None:
        self.passages, self.what, self.exits, self.least = passages, what, exits, least
        self.known: dict[Tip | None, Holding] = {}

    def at(self, tip: Tip | None) -> Holding:
        if tip not in self.known:
            up = UP if tip is None else tip.up
            self.known[tip] = in_void(self.passages.void, self.passages.owner, self.what, up, self.exits, self.least)
        return self.known[tip]

    def after(self, tip: Tip | None, cells: Any) -> frozenset:
        """Return the cells that may still hold something after a tip."""
        now, void = self.at(tip), self.passages.void
        filled = np.zeros(void.cells, bool)
        filled[list(cells)] = True
        up = now.up if self.what == AIR else -now.up
        rest = flooding.gathered(void, up, now.ways, self.exits, filled, now.cells(void.cells))
        return frozenset(np.flatnonzero(rest).tolist())

    def volume(self, tip: Tip | None, cells: frozenset) -> float:
        """Return what those cells can hold in a position. [m3]"""
        now = self.at(tip)
        return float(now.strands[np.isin(self.passages.void.cell, list(cells))].sum())


@lru_cache(maxsize=16)
def tipping(plan: Plan, what: str = AIR, limit: float | None = None) -> Tipping:
    """
    Return how to tip the machine so that all air gets to the vent, or all coolant to the drain.

    What leaves one place may be caught in another: a tip counts only if nothing of what it moves can come to rest on
    its way out, however it goes. Sides are the eight of `SIDES`.

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
        return Tipping(what, upright, (None,) * len(upright.pockets), (), not upright.pockets, upright.volume, limit)
    single = tuple(_smallest(positions, pocket, tips) for pocket in upright.pockets)
    start = frozenset(cell for pocket in upright.pockets for cell in pocket.cells)
    coarse = [tip for n, tip in enumerate(tips) if (n // len(SIDES)) % 2 or tip.angle == limit]
    sequence, rest = _in_a_row(positions, start, coarse)
    stays = min(upright.volume, positions.volume(sequence[-1] if sequence else None, rest)) if rest else 0.0
    return Tipping(what, upright, single, sequence, not rest, stays, limit)


def _smallest(positions: _Positions, pocket: Pocket, tips: list[Tip]) -> Tip | None:
    """Return the least tip that frees a pocket, to the degree."""
    first = next((tip for tip in tips if not positions.after(tip, pocket.cells)), None)
    if first is None:
        return None
    for angle in np.arange(first.angle - STEP + np.radians(1.0), first.angle, np.radians(1.0)):
        for side in SIDES:
            if angle > 0 and not positions.after(Tip(side, float(angle)), pocket.cells):
                return Tip(side, float(angle))
    return first


def _in_a_row(positions: _Positions, start: frozenset, tips: list[Tip]) -> tuple[tuple[Tip, ...], frozenset]:
    """Return the fewest tips that free all, and what may stay if none do: then the row that leaves least."""
    states: dict[frozenset, tuple[Tip, ...]] = {start: ()}
    seen, best = {start}, (np.inf, (), start)
    for _ in range(MOST_TIPS):
        following: dict[frozenset, tuple[Tip, ...]] = {}
        for state, row in states.items():
            for tip in tips:
                rest = positions.after(tip, state)
                new = (*row, tip)
                if rest in seen and rest:
                    continue
                if rest not in following or _turned(new) < _turned(following[rest]):
                    following[rest] = new
        if frozenset() in following:
            return following[frozenset()], frozenset()
        for rest, row in following.items():
            best = min(best, (positions.volume(row[-1], rest), row, rest), key=lambda found: found[0])
        seen |= set(following)
        kept = sorted(following.items(), key=lambda item: positions.volume(item[1][-1], item[0]))
        states = dict(kept[:MOST_STATES])
    return best[1], best[2]


def _turned(row: tuple[Tip, ...]) -> float:
    return sum(tip.angle for tip in row)
