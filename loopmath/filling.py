"""Filling a loop: how much coolant to buy, in which stages it is poured, what the pump has to do, room to warm up."""

from dataclasses import dataclass
from heapq import heappop, heappush
from typing import Any, NamedTuple

import numpy as np

from loopmath import loop as tree
from loopmath import passages
from loopmath.checks import InputError, positive
from loopmath.designs import one_design
from loopmath.laws import bending, bubbles
from loopmath.laws import coolant as coolants
from loopmath.loss import GRAVITY, area_of
from loopmath.plan import Plan
from loopmath.pour import LEAST, Pour, pour_of
from loopmath.rules import Fact, Warned, warnings_of
from loopmath.solution import Solution, solved

#: Common practice, no source: how far a tube's bore is from its size, a standard uncertainty [m], and the same as a
#: share of the volume of a radiator, a reservoir and any other part.
BORE, RADIATOR, TANK, PART = 0.1e-3, 0.15, 0.05, 0.10
#: So much more pressure is nothing to the seals of a tank that is closed tight (common practice, no source). [Pa]
RISE = 10e3
#: A leg leads down from this slope on, our choice. [rad]
LEVEL = np.radians(5.0)


class Stage(NamedTuple):
    """
    A step of the fill.

    Attributes
    ----------
    what, do : str
        What it is, what to do.
    least, most : float
        Poured in all by its end: with all air locked in that may be, and with none; nan if not known. [m3]
    """

    what: str
    least: float
    most: float
    do: str


class Descent(NamedTuple):
    """
    A run that leads down.

    Attributes
    ----------
    run : str
        Its name.
    drop : float
        The deepest descent in it, along the flow. [m]
    velocity, rise : float
        Of the coolant, and of a long bubble against it. [m/s]
    words : str
        What becomes of a bubble, as `bubbles.carried` has it.
    """

    run: str
    drop: float
    velocity: float
    rise: float
    words: str


@dataclass(frozen=True, eq=False)
class Filling:
    """
    How a loop is filled; nan is what the plan does not tell.

    Attributes
    ----------
    plan : Plan
        The design.
    pour : Pour
        What is wet when so much is poured.
    volumes : tuple of (name, kind, volume, uncertainty)
        Of every element. [m3]
    total, sigma, buy : float
        What the loop holds, its standard uncertainty, what to have at hand. [m3]
    bottles : tuple of (size, number)
        To buy. [m3]
    bursts : int
        Of the pump, so many at most; 0 where it is not to run.
    stages : tuple of Stage
        In order.
    descents : tuple of Descent
        Runs that lead down.
    unlaid : tuple of str
        Runs that may lead down or not.
    column : float
        Pressure on the lowest place when coolant stands up to the fill opening. [Pa]
    cold, warm : float
        Coolant when it is filled, and at its warmest. [degC]
    growth, air, room : float
        What it grows by, the air that leaves a tank closed tight no more than `RISE` over the room [m3], and how high
        that stands in it [m].
    cautions : tuple of str
        What is not known, or not well.
    """

    plan: Plan
    pour: Pour
    volumes: tuple[tuple[str, str, float, float], ...]
    total: float
    sigma: float
    buy: float
    bottles: tuple[tuple[float, int], ...]
    bursts: int
    stages: tuple[Stage, ...]
    descents: tuple[Descent, ...]
    unlaid: tuple[str, ...]
    column: float
    cold: float
    warm: float
    growth: float
    air: float
    room: float
    cautions: tuple[str, ...]

    def facts(self) -> list[Fact]:
        """Return what rules can judge."""
        pump, over = self.pour.pump, self.pour.over
        out = [] if np.isnan(over) else [Fact("pump over the floor of its tank by", pump, over)]
        if self.pour.fill is not None and self.pour.locked.pockets:
            out.append(Fact("air held at rest", "the loop", self.pour.locked.volume))
        known = [d for d in self.descents if np.isfinite(d.velocity)]
        return out + [Fact("coolant against the rise of bubbles", d.run, d.velocity / d.rise) for d in known]

    def warned(self, system: str = "metric") -> list[Warned]:
        """Return what is warned of."""
        return warnings_of(self.facts(), system, self.plan.house_rules)


def filling(
    solution: Solution, fill_temperature: float | None = None, warmest: float | None = None, pour: Pour | None = None
) -> Filling:
    """
    Return how the loop of one design is filled.

    Parameters
    ----------
    solution : Solution
        As `solution.solved` gives it.
    fill_temperature, warmest : float, optional
        Of the coolant, when filled and at its warmest; by default room air, and the solution's or that at peak heat.
        [degC]
    pour : Pour, optional
        Of a plan with the same parts in the same places, to save working it out again.

    Raises
    ------
    InputError
        For N designs.
    OutOfRange
        For a temperature outside the coolant's data.
    """
    one_design("filling", solution.designs)
    plan = solution.plan
    rows, total, sigma = volumes(plan)
    buy = (total + 2 * sigma) * (1 + float(plan.coolant_spare))
    pour = pour_of(plan) if pour is None else pour
    cautions, burst, bursts = list(pour.cautions), pour.burst, 0
    if burst <= LEAST:
        cautions.append("The tank spares nothing over the pump's inlet: do not run the pump before the loop is full.")
    elif burst > 0 and not pour.dry and total - pour.least > LEAST:
        bursts = int(np.ceil((total - pour.least) / burst - 1e-9))
    cold = float(plan.room_air if fill_temperature is None else fill_temperature)
    known, warm = solution.known or warmest is not None, _warmest(solution) if warmest is None else float(warmest)
    grows = max(float(bubbles.growth(total, cold, warm, plan.coolant)), 0.0) if known else np.nan
    room = float(coolants.pressure_at_height(plan.height))
    ends = cold, max(cold, warm)
    vapour = tuple(coolants.water_vapour_pressure(end) for end in ends) if known else ()
    air = float(bubbles.cushion(grows, *ends, room, RISE, vapour)) if known else np.nan
    if not known:
        cautions.append("No warmest coolant is known for this plan, so neither is the space to leave.")
    tank = pour.tank
    height = np.nan if tank is None or tank.size is None else tank.size[2] / float(tank.volume())
    density = float(plan.coolant.checked_properties(cold)[0])
    narrow = [run.name for run in plan.units(tree.Run) if float(run.tube.bore) < bubbles.still_bore(density)]
    if narrow:
        cautions.append(f"Bubbles stand still in tubes this narrow: {', '.join(narrow)}. No tip or slope frees them.")
    descents, unlaid = descending(solution)
    return Filling(
        plan=plan,
        pour=pour,
        volumes=rows,
        total=total,
        sigma=sigma,
        buy=buy,
        bottles=bottles(buy, plan.bottle_sizes),
        bursts=bursts,
        stages=_stages(pour, bursts, total),
        descents=descents,
        unlaid=unlaid,
        column=density * GRAVITY * pour.height,
        cold=cold,
        warm=warm,
        growth=grows,
        air=air,
        room=air * height,
        cautions=tuple(cautions),
    )


def _warmest(solution: Solution) -> float:
    """Return the warmest coolant of a plan as it is set or at peak heat, whichever is warmer. [degC]"""
    now = float(solution.state["coolant_warmest"])
    peak = solved(solution.plan.set(load="peak"))
    return float(np.fmax(now, peak.state["coolant_warmest"])) if peak.known else now


# ------------------------------------------------------------------------------------------------------ volumes


def volumes(plan: Plan) -> tuple[tuple[tuple[str, str, float, float], ...], float, float]:
    """
    Return (name, kind, volume, standard uncertainty) of every element, the whole and its uncertainty. [m3]

    What is not sure of one part is independent of another; runs of one tube share its bore, so theirs add up ([GUM]_).
    """
    rows, shares = [], {}
    for leaf in tree.leaves(plan.loop):
        volume, tube = float(leaf.volume()), getattr(leaf, "tube", None)
        if tube is not None:
            share = 2 * BORE / float(tube.bore)
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

    Raises
    ------
    InputError
        If there is no size, or one of the numbers is not above 0.
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


def _stages(pour: Pour, bursts: int, total: float) -> tuple[Stage, ...]:
    first = not pour.dry and pour.covered <= pour.least + LEAST
    out = [Stage("pump's inlet covered", pour.covered, pour.covered, "Power off. Pour slowly.")] if first else []
    do = "Power off. Pour on until no more goes in and no more bubbles come up."
    out.append(Stage("what gravity fills", pour.least, pour.most, do))
    what, do = "the rest", "How is not known: see that coolant always covers the pump's inlet."
    if bursts:
        what = "with 1 burst of the pump" if bursts == 1 else f"with up to {bursts} bursts of the pump"
        do = "Only the pump powered. After each: pump off, pour it full, wait."
    return (*out, Stage(what, total, total, do)) if not total - pour.least <= LEAST else tuple(out)


# ------------------------------------------------------------------------------------------------- ways down


def fall(heights: Any) -> float:
    """Return the deepest descent along a way of heights, over rises within it. [m]"""
    heights = np.asarray(heights, dtype=float)
    return float(np.max(np.maximum.accumulate(heights) - heights))


def steepness(points: Any) -> float:
    """Return of the legs of a way (n, 3) that lead down the slope at which a long bubble rises fastest. [rad]"""
    legs = np.diff(np.asarray(points, dtype=float), axis=0)
    slopes = np.arctan2(-legs[:, 2], np.hypot(legs[:, 0], legs[:, 1]))
    down = slopes[slopes > LEVEL]
    return float(down[np.argmax(bubbles.rise_speed(1.0, down))]) if len(down) else np.pi / 2


def descending(solution: Solution) -> tuple[tuple[Descent, ...], tuple[str, ...]]:
    """Return the runs of one design that lead down by more than their bore, and the names of those with no way."""
    out, unlaid = [], []
    for row in solution.walk:
        leaf = row["element"]
        if not isinstance(leaf, tree.Run):
            continue
        if leaf.laid is None:
            unlaid.append(leaf.name)
            continue
        path, flow, bore = leaf.laid, float(row["flow"]), float(leaf.tube.bore)
        onward = 1 if not flow < 0 else -1
        bent = bending.line(path.points, float(path.radius), passages.SAG)[0] if path.bends else path.points
        drop = fall(np.asarray(bent)[::onward, 2])
        if drop > bore:
            # Bends turn through every slope, but too shortly for a bubble to stand in them: legs count.
            rise = float(bubbles.rise_speed(bore, steepness(np.asarray(path.points)[::onward])))
            speed = abs(flow) / float(area_of(bore))
            out.append(Descent(leaf.name, drop, speed, rise, str(bubbles.carried(speed, rise))))
    return tuple(out), tuple(unlaid)
