"""Filling a loop: how much coolant to buy, in which stages it is poured, where bubbles stay, what room it needs."""

from dataclasses import dataclass
from heapq import heappop, heappush
from typing import Any

import numpy as np
import pandas as pd

from loopmath import loop as tree
from loopmath import passages, pockets
from loopmath.checks import InputError, between, one_of, positive
from loopmath.designs import one_design
from loopmath.laws import bending, flooding
from loopmath.laws.flooding import UP, Exit
from loopmath.loss import GRAVITY, area_of
from loopmath.rules import Fact
from loopmath.solution import Solution
from loopmath.units import DISPLAY, show

#: Common practice, no source: how far a tube's bore is from its size, a standard uncertainty [m], and the same as a
#: share of the volume of a radiator, a reservoir and any other part.
BORE, RADIATOR, TANK, PART = 2 * 0.1e-3, 0.15, 0.05, 0.10
#: Share of the tank's coolant over the pump's inlet that a burst leaves in it (common practice, no source).
RESERVE = 0.2
#: Bubbles go down a pipe with the coolant from here on ([ASHRAE-hydronics]_, from memory). [m/s]
CARRIES = 0.6
#: A long bubble rises at this times sqrt(g D) (Davies & Taylor 1950, Dumitrescu 1943), and stands still where
#: rho g R^2 / sigma is below `STANDS` ([BRETHERTON]_); all from memory.
RISES, STANDS = 0.345, 0.842
#: Surface tension of water against air at 20 degC (from memory) [N/m]; glycol and additives lower it.
TENSION = 0.0727
CARRIED, SLOWLY, STAYS = "carried", "carried slowly", "stays until it is tipped out"


@dataclass(frozen=True)
class Stage:
    """A step of the fill: what, how much is poured in it and by its end in all [m3], NaN if not known, what to do."""

    what: str
    pour: float
    total: float
    do: str


@dataclass(frozen=True)
class Descent:
    """A run that leads down: drop and bore [m], velocity, rise of a long bubble [m/s], what becomes of one."""

    run: str
    drop: float
    bore: float
    velocity: float
    rise: float
    words: str


@dataclass(frozen=True, eq=False)
class Filling:
    """
    How a loop is filled.

    Attributes
    ----------
    volumes : tuple of (str, str, float, float)
        Name, kind, volume and its standard uncertainty, for every element. [m3]
    total, sigma : float
        All of it, and its standard uncertainty. [m3]
    buy : float
        Coolant to have at hand. [m3]
    bottles : tuple of (float, int)
        Sizes [m3] and how many of each, the largest first.
    covered : float
        Volume poured when the pump's inlet is covered, NaN if heights do not tell. [m3]
    by_gravity : float
        What runs in with the pump off. [m3]
    burst : float
        Most that a burst of the pump may take out of the tank, NaN if heights do not tell. [m3]
    bursts : int
        How many of them; 0 if none is needed or their size is not known.
    stages : tuple of Stage
    descents : tuple of Descent
        Laid runs that lead down by more than a bore.
    unlaid : tuple of str
        Runs with no way in the plan: whether they lead down is not known.
    column : float
        Pressure the coolant at rest puts on the lowest place that is known. [Pa]
    cold, warm : float
        Filled at, and the warmest in the loop. [degC]
    expansion : float
        How much the coolant grows between them, NaN if it is not known. [m3]
    room : float
        The same as height in the tank. [m]
    facts : tuple of Fact
        By how much the pump's top stands over the floor of its tank. [m]
    cautions : tuple of str
        What of this plan asks for care, or is not known.
    """

    volumes: tuple[tuple[str, str, float, float], ...]
    total: float
    sigma: float
    buy: float
    bottles: tuple[tuple[float, int], ...]
    covered: float
    by_gravity: float
    burst: float
    bursts: int
    stages: tuple[Stage, ...]
    descents: tuple[Descent, ...]
    unlaid: tuple[str, ...]
    column: float
    cold: float
    warm: float
    expansion: float
    room: float
    facts: tuple[Fact, ...]
    cautions: tuple[str, ...]


def filling(solution: Solution, fill_temperature: Any = None, warmest: Any = None) -> Filling:
    """
    Return how the loop of one design is filled.

    Parameters
    ----------
    solution : Solution
        One design, as `solution.solved` gives it.
    fill_temperature, warmest : float, optional
        Of the coolant, when it is filled and at its warmest; by default room air and the solution's. [degC]

    Raises
    ------
    InputError
        For N designs, or a temperature outside the coolant's data.

    Notes
    -----
    Shares of uncertainty are independent, and add as the root of the sum of squares (JCGM 100); runs of one tube share
    its bore, so theirs add up first.
    """
    one_design("filling", solution.designs)
    plan = solution.plan
    rows, total, sigma = volumes(plan)
    buy = (total + 2 * sigma) * (1 + float(plan.coolant_spare))
    poured, cautions = _Pour(plan, total), []
    cautions += poured.cautions
    covered, gravity, burst = poured.covered, poured.by_gravity, poured.burst
    still = max(total - gravity, 0.0)
    bursts = int(np.ceil(still / burst - 1e-9)) if burst > 0 and still > 1e-9 else 0
    if covered > gravity + 1e-9 or (np.isfinite(burst) and burst <= 0):
        cautions.append(
            "Gravity alone does not cover the pump's inlet: do not run the pump before the plan is changed."
        )
        bursts = 0
    cold = float(plan.room_air if fill_temperature is None else fill_temperature)
    warm = float(solution.state["coolant_warmest"] if warmest is None else warmest)
    grows = expansion(total, cold, warm, plan.coolant) if solution.known or warmest is not None else np.nan
    tank = poured.tank
    high = np.nan if tank is None or tank.size is None else tank.size[2] / float(tank.volume())
    if not np.isfinite(grows):
        cautions.append("No warmest coolant is known for this plan, so neither is the space to leave.")
    descents, unlaid = _descents(solution)
    density = float(plan.coolant.checked_properties(cold)[0])
    return Filling(
        rows, total, sigma, buy, bottles(buy, plan.bottle_sizes), covered, gravity, burst, bursts,
        _stages(covered, gravity, burst, bursts, total), descents, unlaid, hydrostatic(density, poured.height),
        cold, warm, grows, max(grows, 0.0) * high, tuple(poured.facts), tuple(cautions),
    )  # fmt: skip


# ------------------------------------------------------------------------------------------------------ volumes


def volumes(plan: Any) -> tuple[tuple, float, float]:
    """Return (name, kind, volume, uncertainty) of every element, the whole and its standard uncertainty. [m3]"""
    rows, shares = [], {}
    for leaf in tree.leaves(plan.loop):
        volume, tube = float(leaf.volume()), getattr(leaf, "tube", None)
        if tube is not None:
            share = 2 * BORE / float(tube.bore) / 2
        else:
            share = RADIATOR if isinstance(leaf, tree.RadiatorUnit) else TANK if isinstance(leaf, tree.Tank) else PART
        rows.append((leaf.name, leaf.kind, volume, share * volume))
        one = leaf.name if tube is None else ("tube", tube.name)
        shares[one] = shares.get(one, 0.0) + share * volume
    return tuple(rows), sum(row[2] for row in rows), float(np.linalg.norm(list(shares.values())))


def bottles(volume: float, sizes: Any) -> tuple[tuple[float, int], ...]:
    """
    Return the bottles to buy: the smallest sum that covers a volume, then the fewest of them.

    Parameters
    ----------
    volume : float
        [m3]
    sizes : sequence of float
        Contents of the bottles there are. [m3]

    Examples
    --------
    >>> bottles(1.6e-3, (1e-3, 5e-3))
    ((0.001, 2),)
    """
    positive("volume", volume, "m^3")
    if not len(sizes):
        raise InputError("bottle sizes", "none", "one size or more")
    # Whole microlitres: sums of floats that ought to be equal are not. Sums come up from the smallest, fewest first.
    units = {round(positive("bottle sizes", size, "m^3") * 1e9): size for size in sorted(sizes, reverse=True)}
    need, seen, queue = int(np.ceil(volume * 1e9 - 1e-3)), set(), [(0, 0, ())]
    while True:
        total, count, taken = heappop(queue)
        if total >= need:
            return tuple((units[u], taken.count(u)) for u in units if u in taken)
        if total not in seen:
            seen.add(total)
            for unit in units:
                if not taken or unit <= taken[-1]:
                    heappush(queue, (total + unit, count + 1, (*taken, unit)))


# ------------------------------------------------------------------------------------------------------- stages


class _Pour:
    """What is wet at which level, as coolant is poured into a plan's loop."""

    def __init__(self, plan: Any, total: float) -> None:
        self.seen, leaves = passages.void_of(plan), list(tree.leaves(plan.loop))
        self.void, self.owner = self.seen.void, np.array(self.seen.owner)
        self.cautions, self.facts = list(self.seen.missing), []
        self.covered = self.burst = self.height = np.nan
        self.by_gravity = 0.0
        tanks = [leaf for leaf in leaves if isinstance(leaf, tree.Tank)]
        pump, inlet = self._inlet(leaves)
        place = leaves.index(pump)
        behind = leaves[place - 1 :: -1] if place else []
        before = [leaf for leaf in (*behind, *leaves[:place:-1]) if isinstance(leaf, tree.Tank)]
        self.tank = before[0] if before else None
        fill = self._fill(self.tank)
        if not tanks:
            self.cautions.append("The plan has no reservoir: nothing feeds the pump while the loop is filled.")
        if fill is None:
            self.cautions.append("Heights are not known, so the stages of the fill cannot be told.")
            self.by_gravity = np.nan
            return
        exits = [fill, *self.seen.exits_for("fill", "vent")]
        keeps = pockets.held(plan, pockets.AIR, exits=exits).strands
        self.most = self.void.volume - keeps
        top = float(flooding.crown(UP, [fill.at], [fill.normal], [fill.radius])[0])
        low, high = self.void.spans(UP)
        self.height = top - float(low.min())
        feed = fill.cell if inlet is None else inlet[1]
        self.full = self._wet(top, fill.cell, feed)
        self.by_gravity = min(float(self.full.sum()), total)
        if self.seen.uncounted > 0:
            self.cautions.append("What has no place in the plan counts as air until the pump runs.")
        inside = self.owner[self.void.cell] == ("" if self.tank is None else self.tank.name)
        mine = self.owner[self.void.cell] == pump.name
        over = float(high[mine].max() - low[inside].min()) if mine.any() and inside.any() else np.nan
        self.facts.append(Fact("top of the pump over the floor of its tank", pump.name, over))
        if not np.isfinite(over):
            self.cautions.append(f"Whether {pump.name} stands below its tank is not known: see that it never runs dry.")
        elif over > 0:
            self.cautions.append(f"{pump.name} stands higher than the floor of its tank: it can draw air and run dry.")
        if inlet is None:
            self.cautions.append(f"Where coolant enters {pump.name} is not known: watch its inlet, not the volumes.")
            return
        self.covered = float(self._wet(inlet[0], fill.cell, feed).sum())
        if inside.any():
            above = self.full - np.minimum(
                self.void.volume - flooding.above(self.void, UP, self._at(inlet[0])), self.full
            )
            self.burst = (1 - RESERVE) * float(above[inside].sum())

    def _at(self, level: float) -> np.ndarray:
        return np.full(self.void.cells, level)

    def _inlet(self, leaves: list) -> tuple[Any, tuple[float, int] | None]:
        """Return the pump with the highest inlet, with the crown of its opening and the cell that feeds it."""
        crowns, best = flooding.crown(UP, self.void.at, self.void.normal, self.void.radius), []
        pumps = [leaf for leaf in leaves if isinstance(leaf, tree.PumpUnit)]
        for pump in pumps:
            mine = self.owner[self.void.joins] == pump.name
            doors = np.flatnonzero(mine.sum(1) == 1)
            feeds = {int(n): int(self.void.joins[n][~mine[n]][0]) for n in doors}
            place = leaves.index(pump)
            order = [leaf.name for leaf in (*leaves[:place][::-1], *leaves[:place:-1])]
            named = [order.index(self.owner[cell]) for cell in feeds.values()]
            if named:
                near = [n for n, rank in zip(feeds, named, strict=True) if rank == min(named)]
                door = max(near, key=lambda n: crowns[n])
                best.append((float(crowns[door]), feeds[door], pump))
        if not best:
            return pumps[0], None
        level, cell, pump = max(best, key=lambda row: row[0])
        return pump, (level, cell)

    def _fill(self, tank: Any) -> Exit | None:
        """Return the opening coolant is poured into: the plan's highest, or the top of the tank."""
        stated = self.seen.exits_for("fill")
        if stated:
            return max(stated, key=lambda e: e.at[2])
        name = "" if tank is None else tank.name
        if not np.any(self.owner[self.void.cell] == name):
            return None
        self.cautions.append(f"The plan states no opening to fill by: it is taken at the top of {name}.")
        return pockets.opening_at(self.seen, name, pockets.AIR)

    def _sills(self, cell: int) -> np.ndarray:
        """Return how high coolant has to stand to get from each cell to one of them: the lowest way's highest floor."""
        deep = Exit(cell, (0.0, 0.0, -1e3), UP, 0.0)  # an opening far down, which holds nothing back
        return -flooding.levels(self.void, -np.array(UP), [deep])

    def _wet(self, level: float, fill: int, feed: int) -> np.ndarray:
        """Return the volume of coolant in each strand once it stands at a level in the cell that feeds the pump. [m3]"""
        deep = Exit(feed, (0.0, 0.0, -1e3), UP, 0.0)
        found = flooding.ways(self.void, -np.array(UP), [deep])
        sills = -found.level
        line = np.where(sills <= level, level, -np.inf)
        # What is poured comes down to the feed over sills, and stands as high as each of them before it.
        cell = fill
        while cell >= 0:
            if level < sills[cell] < np.inf:
                line[self._sills(cell) < sills[cell]] = sills[cell]
            cell = int(found.before[cell])
        below = self.void.volume - flooding.above(self.void, UP, line)
        return np.minimum(below, self.most)


def _stages(covered: float, gravity: float, burst: float, bursts: int, total: float) -> tuple[Stage, ...]:
    known = covered <= gravity + 1e-9
    first = [Stage("until the pump's inlet is covered", covered, covered, "Power off. Pour slowly.")] if known else []
    poured = covered if known else 0.0
    rest = Stage("what gravity fills", gravity - poured, gravity, "Power off. Pour on until no more bubbles come up.")
    left = total - gravity
    if not left > 1e-9 and np.isfinite(left):
        return (*first, rest)
    if bursts:
        do = "Only the pump powered. Stop the pump at the stated amount, pour it, wait, go on."
        last = Stage(f"pump bursts: {bursts}", left, total, do)
    else:
        last = Stage("the rest", left, total, "Not known how: watch that coolant always covers the pump's inlet.")
    return (*first, rest, last)


# ------------------------------------------------------------------------------------------ bubbles and warmth


def hydrostatic(density: Any, height: Any) -> Any:
    """Return the pressure under a column at rest of a density [kg/m3] and a height [m]. [Pa]"""
    return density * GRAVITY * np.asarray(height)


def still_bore(density: Any, tension: Any = TENSION) -> Any:
    """
    Return the bore below which a long bubble stands still, whatever the slope. [m]

    Notes
    -----
    Source: [BRETHERTON]_, rho g R^2 / sigma = 0.842 (from memory); density [kg/m3], surface tension [N/m].

    Examples
    --------
    >>> round(1e3 * float(still_bore(998.2)), 2)
    5.0
    """
    return 2 * np.sqrt(STANDS * positive("tension", tension, "N/m") / (positive("density", density) * GRAVITY))


def rise_speed(bore: Any) -> Any:
    """
    Return how fast a long bubble rises in still coolant. [m/s]

    Notes
    -----
    Source: 0.345 sqrt(g D), Davies & Taylor 1950, Dumitrescu 1943 (from memory). An upper bound: surface tension slows
    it in small bores, to nothing at `still_bore`.

    Examples
    --------
    >>> round(float(rise_speed(0.010)), 3)
    0.108
    """
    return RISES * np.sqrt(GRAVITY * positive("bore", bore, "m"))


def carried(flow: Any, bore: Any) -> np.ndarray:
    """
    Return what becomes of a bubble where the coolant leads down.

    Parameters
    ----------
    flow : float or array
        Either sign. [m3/s]
    bore : float or array, broadcast against `flow`
        [m]

    Returns
    -------
    words : array of str
        "carried", "carried slowly" or "stays until it is tipped out"; "not known" where the flow is not.
    """
    speed = np.abs(flow) / area_of(bore)
    rise = rise_speed(bore) + 0.0 * speed
    cases = [np.isnan(speed), (speed >= CARRIES) & (speed > rise), speed > rise]
    return np.select(cases, ["not known", CARRIED, SLOWLY], STAYS)


def fall(heights: Any) -> float:
    """Return the deepest descent along a way of heights, over rises within it. [m]"""
    heights = np.asarray(heights, dtype=float)
    return float(np.max(np.maximum.accumulate(heights) - heights))


def _descents(solution: Solution) -> tuple[tuple[Descent, ...], tuple[str, ...]]:
    out, unlaid = [], []
    for row in solution.walk:
        leaf = row["element"]
        if not isinstance(leaf, tree.Run):
            continue
        if leaf.laid is None:
            unlaid.append(leaf.name)
            continue
        path, flow, bore = leaf.laid, float(row["flow"]), float(leaf.tube.bore)
        points = bending.line(path.points, float(path.radius), passages.SAG)[0] if path.bends else path.points
        heights = np.asarray(points)[:, 2]
        drop = fall(heights if flow >= 0 else heights[::-1])
        if drop > bore:
            speed, rise = abs(flow) / float(area_of(bore)), float(rise_speed(bore))
            out.append(Descent(leaf.name, drop, bore, speed, rise, str(carried(flow, bore))))
    return tuple(out), tuple(unlaid)


def expansion(volume: Any, cold: Any, warm: Any, coolant: Any) -> Any:
    """
    Return how much a volume of coolant grows as it warms: V (rho_cold / rho_warm - 1). [m3]

    Parameters
    ----------
    volume : float or array
        When cold. [m3]
    cold, warm : float or array
        Within the coolant's data. [degC]
    coolant : Coolant

    Raises
    ------
    OutOfRange
        If a temperature lies outside the coolant's data.

    Notes
    -----
    The walls grow too, plastics more than coolant does not; that is left out, and a little space more is left.
    """
    between("volume", volume, 0.0, np.inf, "m^3")
    return volume * (coolant.checked_properties(cold)[0] / coolant.checked_properties(warm)[0] - 1.0)


# --------------------------------------------------------------------------------------------- rows and words
