"""
What is wet in a loop as coolant is poured into it: levels, inlets of pumps, air that may be locked in.

Coolant that is poured runs to the lowest place its way leads to, fills that basin to its lowest sill, runs over into
the next, and once both stand at the sill they rise as one. The tree of sills tells which basins become one where.
"""

from collections import deque
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from loopmath import loop as tree
from loopmath import passages, pockets
from loopmath.laws import flooding
from loopmath.laws.flooding import UP, Exit, Void
from loopmath.plan import Plan

#: Less than this is nothing. [m3], and [m] of a height
LEAST = 1e-9
#: Share of the tank's coolant over the pump's inlet that a burst leaves in it (common practice, no source).
RESERVE = 0.2


@lru_cache(maxsize=64)
def pour_of(plan: Plan) -> "Pour":
    """Return what is wet as coolant is poured into a plan's loop."""
    return Pour(plan)


@dataclass(frozen=True, eq=False)
class _Basin:
    """Cells that become one at a height: two basins (of one cell each, at last) and the sill between them."""

    cells: tuple[int, ...]
    sill: float = -np.inf
    parts: tuple["_Basin", ...] = ()
    doors: tuple[int, ...] = ()


def basins(void: Void, shut: Any = ()) -> list[_Basin]:
    """
    Return the basins of a space, the largest of each connected piece; openings that are `shut` (mask) join nothing.

    The least spanning tree of floors, as Kruskal builds it: two basins become one at the lowest floor between them.
    """
    floors = -flooding.crown(-np.array(UP), void.at, void.normal, void.radius)
    found = {cell: _Basin((cell,)) for cell in range(void.cells)}
    for n in np.argsort(floors, kind="stable").tolist():
        one, other = (int(cell) for cell in void.joins[n])
        if found[one] is found[other] or (len(shut) and shut[n]):
            continue
        parts, doors = (found[one], found[other]), (one, other)
        joined = _Basin((*parts[0].cells, *parts[1].cells), float(floors[n]), parts, doors)
        found |= dict.fromkeys(joined.cells, joined)
    return list({id(basin): basin for basin in found.values()}.values())


class Pour:
    """
    What is wet at which level, as coolant is poured into a plan's loop with the pump off.

    Air that could not rise out by itself may stay, and then lets nothing past, or be pushed ahead round the loop: what
    gravity fills lies about between both.

    Attributes
    ----------
    pump : str
        The pump that is nearest behind a tank.
    pumps, dry : tuple of str
        All pumps; those whose inlet gravity may not cover, or of which it is not known.
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
        self._before: dict[str, list] = {}
        for one, other in passages.neighbours(plan.loop):
            self._before.setdefault(other.name, []).append(one)
        cautions = list(self.seen.missing)
        self.covered = self.burst = self.top = self.height = self.least = self.most = self.over = np.nan
        units = [leaf for leaf in self._leaves if isinstance(leaf, tree.PumpUnit)]
        inlets = {unit.name: self._inlet(unit) for unit in units}
        behind = {unit.name: self._back_to_tank(unit) for unit in units}
        self.pump = min(behind, key=lambda name: behind[name][0])
        self.tank, self.pumps, self.dry = behind[self.pump][1], tuple(inlets), tuple(inlets)
        self.inlet = inlets[self.pump][0]
        self._fed = [name for name, (_, tank) in behind.items() if tank is self.tank]
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
        self._all = self._reached(basins(self.void))
        held = self._reached(basins(self.void, self._locked_openings()))
        full, stopped = (self._level(basin, self.top) for basin in (self._all, held))
        self.most = float(self.wet(full).sum())
        self.least = float(np.minimum(self.wet(stopped), self.void.volume - self.locked.strands).sum())
        if self.seen.uncounted > 0:
            cautions.append("What has no place in the plan counts as air until the pump runs.")
        names = self.owner[self.void.cell]
        mine, inside = names == self.pump, names == getattr(self.tank, "name", None)
        if np.isnan(self.inlet):
            cautions.append(f"Where coolant enters {self.pump} is not known: watch its inlet, not the volumes.")
        elif mine.any() and inside.any():
            self.over = float(high[mine].max() - low[inside].min())
            # What stands in the tank over the highest inlet it feeds.
            under = self.wet(self._level(self._all, max(inlets[name][0] for name in self._fed)))
            self.burst = (1 - RESERVE) * float(np.maximum(self.wet(full) - under, 0.0)[inside].sum())
        needs = {name: self._needs(*inlet) for name, inlet in inlets.items()}
        self.covered = max(needs.values())
        stopped = np.minimum(stopped, self.locked.ways.level)  # air that stays covers nothing
        cut = {name for name, inlet in inlets.items() if not self._covers(stopped, *inlet)}
        self.dry = tuple(name for name, volume in needs.items() if not volume <= self.most or name in cut)
        for name in self.dry:
            if np.isinf(needs[name]):
                cautions.append(f"Gravity alone does not cover {name}'s inlet: do not run it before it is covered.")
            elif np.isfinite(needs[name]):
                cautions.append(f"Locked air may keep coolant from {name}'s inlet: see that it is covered first.")
        for name, (purpose, e) in self.seen.exits.items():
            crown = float(flooding.crown(UP, [e.at], [e.normal], [e.radius])[0])
            if purpose != "drain" and crown < self.top - LEAST and e.cell in self._all.cells:
                cautions.append(f"{name} lies lower than the fill opening: close it when coolant shows there.")

    def _locked_openings(self) -> np.ndarray:
        """Return True for openings that lie all in locked air."""
        void, level = self.void, self.locked.ways.level
        floor = -flooding.crown(-np.array(UP), void.at, void.normal, void.radius)
        return floor >= np.maximum(*level[void.joins].T) - LEAST if len(void.joins) else np.zeros(0, bool)

    def _reached(self, pieces: list[_Basin]) -> _Basin:
        """Return the largest basin coolant gets to before it stands at the fill opening."""
        basin = next(piece for piece in pieces if self.fill.cell in piece.cells)
        while basin.parts and basin.sill > self.top:
            basin = next(part for part in basin.parts if self.fill.cell in part.cells)
        return basin

    def _level(self, basin: _Basin, level: float) -> np.ndarray:
        """Return how high coolant stands in each cell with all of a basin at one level; -inf in the others. [m]"""
        out = np.full(self.void.cells, -np.inf)
        out[list(basin.cells)] = level
        return out

    def _back_to_tank(self, pump: Any) -> tuple[int, Any]:
        """Return how many elements lie between a pump and the tank that feeds it, and that tank, None if none does."""
        todo, met = deque([(0, pump)]), {pump.name}
        while todo:
            far, leaf = todo.popleft()
            for one in self._before.get(leaf.name, ()):
                if isinstance(one, tree.Tank):
                    return far, one
                if one.name not in met and not isinstance(one, tree.PumpUnit):  # that one feeds it
                    met.add(one.name)
                    todo.append((far + 1, one))
        return len(self._leaves), None

    def _inlet(self, pump: Any) -> tuple[float, tuple[int, ...]]:
        """Return the crown of a pump's highest inlet and the cells on both its sides; nan and none if not known."""
        void, before = self.void, {leaf.name for leaf in self._before.get(pump.name, ())}
        crowns, found = flooding.crown(UP, void.at, void.normal, void.radius), [(-np.inf, ())]
        for crown, cells in zip(crowns.tolist(), void.joins.tolist(), strict=True):
            names = {str(self.owner[cell]) for cell in cells}
            if pump.name in names and names & before:
                if names & self.seen.guessed:
                    return np.nan, ()
                found.append((crown, tuple(cells)))
        highest, sides = max(found, key=lambda pair: pair[0])
        return (highest, sides) if sides else (np.nan, ())

    @staticmethod
    def _covers(lines: np.ndarray, inlet: float, sides: tuple[int, ...]) -> bool:
        """Return True where coolant stands over an inlet on both its sides: what only runs through covers nothing."""
        return bool(sides) and bool(np.all(lines[list(sides)] >= inlet - LEAST))

    def _needs(self, inlet: float, sides: tuple[int, ...]) -> float:
        """Return how much has to be poured until coolant covers an inlet; inf if gravity does not do it. [m3]"""
        if np.isnan(inlet):
            return np.nan
        if not self._covers(self.poured(self.most), inlet, sides):
            return np.inf
        low, high = 0.0, self.most
        for _ in range(24):
            middle = (low + high) / 2
            low, high = (low, middle) if self._covers(self.poured(middle), inlet, sides) else (middle, high)
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

    def wet(self, lines: np.ndarray) -> np.ndarray:
        """Return the coolant in each strand below the lines of its cells. [m3]"""
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
        if volume >= self.most:
            return self._level(self._all, self.top)
        lines, todo = np.full(self.void.cells, -np.inf), [(self._all, volume, self.fill.cell)]
        while todo:
            basin, much, entry = todo.pop()
            if much <= 0:
                continue
            if basin.parts and much < self._below(basin, basin.sill):
                # One after the other: the part it runs into is full to the sill before the next gets any.
                first, door = (0, basin.doors[1]) if entry in basin.parts[0].cells else (1, basin.doors[0])
                room = self._below(basin.parts[first], basin.sill)
                if much < room:
                    todo.append((basin.parts[first], much, entry))
                else:
                    lines[list(basin.parts[first].cells)] = basin.sill
                    todo.append((basin.parts[1 - first], much - room, door))
                continue
            low, high = max(basin.sill, float(self.void.spans(UP)[0].min())), self.top
            for _ in range(40):
                middle = (low + high) / 2
                low, high = (middle, high) if self._below(basin, middle) <= much else (low, middle)
            lines[list(basin.cells)] = low
        return lines

    def _below(self, basin: _Basin, level: float) -> float:
        """Return what a basin holds below a level. [m3]"""
        return float(self.wet(self._level(basin, level)).sum())
