"""What is wet in a loop as coolant is poured into it: levels, inlets of pumps, air that may be locked in."""

from copy import copy
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np

from loopmath import loop as tree
from loopmath import passages, pockets
from loopmath.laws import flooding
from loopmath.laws.flooding import UP, Exit
from loopmath.plan import Plan

#: Less than this is nothing. [m3], and [m] of a height
LEAST = 1e-9
#: Share of the tank's coolant over the pump's inlet that a burst leaves in it (common practice, no source).
RESERVE = 0.2


@lru_cache(maxsize=64)
def pour_of(plan: Plan) -> "Pour":
    """Return what is wet as coolant is poured into a plan's loop."""
    return Pour(plan)


class Pour:
    """
    What is wet at which level, as coolant is poured into a plan's loop with the pump off.

    Coolant comes from the fill opening to the tank's pump by the way of the lowest floors, and stands as high as each
    of them before it goes over; from the tank it rises in the loop and goes over every floor below its level. Air that
    could not rise out by itself may stay, and then lets nothing past, or be pushed ahead round the loop: what gravity
    fills lies about between both.

    Attributes
    ----------
    pump : str
        The pump the tank feeds.
    pumps, dry : tuple of str
        All pumps; those whose inlet gravity does not cover, or of which it is not known.
    tank : Tank or None
        What stands before the pump.
    fill : Exit or None
        Where it is poured in.
    inlet, top, height : float
        Height of the crown of the pump's inlet, of the fill opening, and of that over the lowest place. [m]
    over : float
        The pump's highest passage over the floor of its tank. [m]
    covered, least, most, burst : float
        Poured when every inlet is covered, inf if gravity does not do it; in by gravity with all air locked in that may
        be, and with none; what the tank can spare to one burst of the pump. [m3]
    cautions : tuple of str
        What is not known.
    """

    def __init__(self, plan: Plan) -> None:
        self.seen, self._leaves = passages.void_of(plan), list(tree.leaves(plan.loop))
        self.void, self.owner = self.seen.void, np.array(self.seen.owner)
        self._sill: dict[int, flooding.Ways] = {}
        self.covered = self.burst = self.top = self.height = self.least = self.most = self.over = np.nan
        inlets = {unit.name: self._inlet(unit) for unit in self._leaves if isinstance(unit, tree.PumpUnit)}
        behind = {name: self._back_to_tank(name) for name in inlets}
        self.pump = min(behind, key=lambda name: behind[name][0])
        self.tank, self.pumps, self.dry = behind[self.pump][1], tuple(inlets), tuple(inlets)
        self.inlet, self._feed = inlets[self.pump]
        cautions = list(self.seen.missing)
        self.fill = self._opening(cautions)
        if self.fill is None:
            cautions.append("The place of the tank is not known, so the stages of the fill cannot be told.")
        else:
            self._measure(inlets, cautions)
        self.cautions = tuple(cautions)

    def _measure(self, inlets: dict, cautions: list[str]) -> None:
        exits = [self.fill, *self.seen.vents]
        self.locked = pockets.in_void(self.void, self.seen.owner, pockets.AIR, UP, exits)
        self.top = float(flooding.crown(UP, [self.fill.at], [self.fill.normal], [self.fill.radius])[0])
        low, high = self.void.spans(UP)
        self.height = self.top - float(low.min())
        if self._feed is None:
            self._feed = self.fill.cell
        full = self.wet(self.lines(self.top))
        self.most = float(full.sum())
        self.least = float(np.minimum(self._past_locks(), self.void.volume - self.locked.strands).sum())
        if self.seen.uncounted > 0:
            cautions.append("What has no place in the plan counts as air until the pump runs.")
        names = self.owner[self.void.cell]
        mine, inside = names == self.pump, names == getattr(self.tank, "name", None)
        if np.isnan(self.inlet):
            cautions.append(f"Where coolant enters {self.pump} is not known: watch its inlet, not the volumes.")
        elif mine.any() and inside.any():
            self.over = float(high[mine].max() - low[inside].min())
            self.burst = (1 - RESERVE) * float((full - self.wet(self.lines(self.inlet)))[inside].sum())
        needs = {name: self._needs(*inlet) for name, inlet in inlets.items()}
        self.covered = max(needs.values())
        self.dry = tuple(name for name, volume in needs.items() if not volume <= self.most)
        for name in self.dry:
            if np.isinf(needs[name]):
                cautions.append(f"Gravity alone does not cover {name}'s inlet: do not run it before it is covered.")

    def _past_locks(self) -> np.ndarray:
        """Return the coolant in each strand when none gets through an opening that lies all in locked air. [m3]"""
        void, level = self.void, self.locked.ways.level
        floor = -flooding.crown(-np.array(UP), void.at, void.normal, void.radius)
        free = floor < np.maximum(*level[void.joins].T) - LEAST if len(void.joins) else np.zeros(0, bool)
        less = copy(self)
        less._sill = {}
        joins = void.joins[free], void.at[free], void.normal[free], void.radius[free]
        less.void = replace(void, **dict(zip(("joins", "at", "normal", "radius"), joins, strict=True)))
        return less.wet(less.lines(self.top))

    def _back_to_tank(self, name: str) -> tuple[int, Any]:
        """Return how many elements lie between a pump and the tank before it, and that tank, None if there is none."""
        place = next(n for n, leaf in enumerate(self._leaves) if leaf.name == name)
        before = [*self._leaves[:place][::-1], *self._leaves[:place:-1]]
        tanks = ((n, leaf) for n, leaf in enumerate(before) if isinstance(leaf, tree.Tank))
        return next(tanks, (len(before), None))

    def _inlet(self, pump: Any) -> tuple[float, int | None]:
        """Return the crown of a pump's inlet and the cell that feeds it; nan and None if it is not known."""
        place = next(n for n, leaf in enumerate(self._leaves) if leaf is pump)
        legs = {leaf.name for leaf in self._leaves if isinstance(leaf, tree.DeadLeg)}
        order = [leaf.name for leaf in (*self._leaves[:place][::-1], *self._leaves[:place:-1]) if leaf.name not in legs]
        mine = self.owner[self.void.joins] == pump.name
        doors = [int(n) for n in np.flatnonzero(mine.sum(1) == 1)] if mine.size else []
        feeds = {n: int(self.void.joins[n][~mine[n]][0]) for n in doors}
        feeds = {n: cell for n, cell in feeds.items() if self.owner[cell] in order}
        if not feeds:
            return np.nan, None
        # What stands next before the pump in the order of flow feeds it.
        door = min(feeds, key=lambda n: order.index(self.owner[feeds[n]]))
        if {pump.name, str(self.owner[feeds[door]])} & self.seen.guessed:
            return np.nan, feeds[door]
        void = self.void
        crown = flooding.crown(UP, void.at[[door]], void.normal[[door]], void.radius[[door]])
        return float(crown[0]), feeds[door]

    def _needs(self, inlet: float, feed: int | None) -> float:
        """Return how much has to be poured until coolant covers an inlet; inf if gravity does not do it. [m3]"""
        if np.isnan(inlet):
            return np.nan

        def covers(volume: float) -> bool:
            return bool(self.poured(volume)[feed] >= inlet - LEAST)

        if not covers(self.most):
            return np.inf
        low, high = 0.0, self.most
        for _ in range(24):
            middle = (low + high) / 2
            low, high = (low, middle) if covers(middle) else (middle, high)
        return high

    def _opening(self, cautions: list[str]) -> Exit | None:
        """Return the opening coolant is poured into: the plan's highest, or the top of the tank."""
        stated = self.seen.exits_for("fill")
        if stated:
            return max(stated, key=lambda e: e.at[2])
        name = "" if self.tank is None else self.tank.name
        if not np.any(self.owner[self.void.cell] == name):
            return None
        cautions.append(f"The plan states no opening to fill by: it is taken at the top of {name}.")
        return pockets.opening_at(self.seen, name, pockets.AIR)

    def _floors(self, cell: int) -> flooding.Ways:
        """Return how high coolant has to stand in each cell to get to one of them; heights are turned round."""
        if cell not in self._sill:
            deep = Exit(cell, (0.0, 0.0, -1e3), UP, 0.0)  # an opening far down, which holds nothing back
            self._sill[cell] = flooding.ways(self.void, -np.array(UP), [deep])
        return self._sill[cell]

    def lines(self, level: float) -> np.ndarray:
        """
        Return how high coolant stands in each cell once it stands at a level before the pump.

        Parameters
        ----------
        level : float
            In the frame of the machine, upward. [m]

        Returns
        -------
        lines : (cells,) array
            -inf where none gets to. [m]
        """
        found = self._floors(self._feed)
        floors = -found.level
        line, cell = np.where(floors <= level + 1e-9, level, -np.inf), self.fill.cell
        while cell >= 0:
            if level < floors[cell] < np.inf:
                line[-self._floors(cell).level < floors[cell]] = floors[cell]
            cell = int(found.before[cell])
        return line

    def wet(self, lines: np.ndarray) -> np.ndarray:
        """Return the coolant in each strand below the lines of `lines`. [m3]"""
        return self.void.volume - flooding.above(self.void, UP, lines)

    def poured(self, volume: float) -> np.ndarray:
        """
        Return how high coolant stands in each cell once so much is poured, with no air locked in.

        Parameters
        ----------
        volume : float
            More than `most` counts as `most`. [m3]

        Returns
        -------
        lines : (cells,) array
            -inf where none gets to. [m]
        """
        low, high = float(self.void.spans(UP)[0].min()) - LEAST, self.top
        if volume >= self.most:
            return self.lines(high)
        for _ in range(40):
            middle = (low + high) / 2
            low, high = (middle, high) if self.wet(self.lines(middle)).sum() <= volume else (low, middle)
        now, then = self.lines(low), self.lines(high)
        # At a floor it runs over into what lies behind: that fills from below while the level before it stands.
        behind = np.isneginf(now) & np.isfinite(then)
        if not behind.any():
            return now
        low, high = float(self.void.spans(UP)[0].min()), float(then[behind].max())
        for _ in range(40):
            middle = (low + high) / 2
            now[behind] = np.minimum(middle, then[behind])
            low, high = (middle, high) if self.wet(now).sum() <= volume else (low, middle)
        return now
