"""
How warm the wall of every tube end gets, at rest and when something stops, and what follows for tube, ring and level.

A plastic tube gives way where its O-ring presses it: in the port of a part, where the coolant is the warmer of its own
and that part's. Films lie on both sides of the wall ([Incropera2007]_): the coolant's as in the steady model, and still
air round a level cylinder ([ChurchillChu1975a]_). Nothing radiates; that the fitting shades the end from the air, and
spreads its heat, is left out.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from loopmath import loop as tree
from loopmath import network, regime, rules, scenarios, tables, transient, wetted
from loopmath.checks import InputError, OutOfRange, one_of
from loopmath.course import Course, spoken
from loopmath.designs import number_of_designs, one_design
from loopmath.laws import coolant as coolants
from loopmath.laws import materials, seals
from loopmath.loss import GRAVITY
from loopmath.parts import Tube
from loopmath.plan import Plan
from loopmath.rules import Fact, Warned
from loopmath.solution import Solution, solved
from loopmath.units import DISPLAY

STEADY, PEAK, STOPS, OFF, HOT = CASES = ("steady", "peak load", "pump stops", "switched off", "hot spot")
#: When each of them is, in a sentence.
WHEN = {
    STEADY: "while it runs steadily",
    PEAK: "at peak load",
    STOPS: "for minutes when the pump stops",
    OFF: "for minutes when it is switched off",
    HOT: "in the hot spot",
}
#: Cases that pass within minutes: a wall gives less in them, and the rules judge them more mildly.
BRIEF = (STOPS, OFF)
#: What the rules call how far an end stays below softening, in the cases that last and in those that pass.
LASTING, PASSING = "tube end below softening by", "tube end below softening for minutes by"
#: What is judged at peak load too, by how its quantity begins.
AT_PEAK = ("tank below", "seal below", "tube below its service")
#: Heat that soaks into an end warms it by this at least. [K]
LEAST_SOAK = 0.1
#: What an end sits in where branches meet.
TEE = "tee"
#: Hardness of O-rings (common practice, no source) [Shore A], friction between wet rubber and tube (from memory).
HARDNESS, WET_FRICTION = 70.0, 0.2
#: Height of a loop whose positions are not known (an estimate, common practice). [m]
USUAL_HEIGHT = 0.5
#: How the runs in time are followed [K]; after so long what was stored in a block has come out of it. [s]
SOLVER, SOAKED = {"relative": 1e-3, "absolute": 1e-2, "points": 81}, 900.0
SOAKS = "What the parts have stored then goes on into their blocks."
BEYOND = " The coolant leaves the range of its data: walls there get warmer than is shown."
#: Room air holds this share of the vapour it could (common practice); share of a reservoir after which it is topped up.
HUMIDITY, TOPPED_UP = 0.5, 0.1
MONTH = 30.4 * 86400.0


@dataclass(frozen=True, eq=False)
class End:
    """
    One end of a tube.

    Attributes
    ----------
    run, side : str
        Name of the run or dead leg; "start" or "end" of it, in flow order.
    at : str
        The element it is plugged into, "tee" where branches meet, empty for the closed end of a dead leg.
    tube : Tube
    soft : float or None
        Where it softens, None for a material that does not. [degC]
    wall : dict of str to float
        Case -> warmest surface of the wall, NaN where it is not known. [degC]
    worst : str
        The case in which it is warmest, empty if none is known.
    margin : float or None
        How far it stays below softening in the worst case, None if it does not soften. [K]
    strain : float or None
        Share of its radius the wall is pressed in by its ring in the worst case; None for copper and soft tube.
    thrust : float
        Push of the highest pressure there can be on the end. [N]
    grip : float or None
        What its rings hold by friction alone once the wall has given; None for soft tube. [N]
    beyond : float
        End of the coolant's data if the coolant passes it in a case; NaN otherwise. [degC]
    """

    run: str
    side: str
    at: str
    tube: Tube
    soft: float | None
    wall: dict[str, float]
    worst: str
    margin: float | None
    strain: float | None
    thrust: float
    grip: float | None
    beyond: float = np.nan

    @property
    def name(self) -> str:
        """What it is called."""
        return f"{self.run}, at {self.at}" if self.at else f"{self.run}, closed end"

    def left(self, brief: bool = False) -> float | None:
        """
        Return how far it stays below softening in the cases that last, or in those that pass. [K]

        Where the coolant leaves its data in a case, it is at most what is left at the end of that data.
        """
        walls = [value for case, value in self.wall.items() if (case in BRIEF) == brief]
        if self.soft is None or not walls:
            return None
        least = [self.beyond] if any(np.isnan(walls)) else []
        return self.soft - max((value for value in (*walls, *least) if np.isfinite(value)), default=np.nan)

    @property
    def held(self) -> float | None:
        """Grip over thrust, None for soft tube."""
        return None if self.grip is None else self.grip / self.thrust if self.thrust > 0 else np.inf


class _Spot(NamedTuple):
    """A place on a tube; `near` is whose coolant it meets there, and on which side: (element, "in" or "out")."""

    run: str
    side: str
    at: str
    near: tuple[str, str]


@dataclass(frozen=True, eq=False)
class _Warmth:
    """Coolant and air [degC] and flow [m3/s] at every place, a column for each case."""

    spots: tuple[_Spot, ...]
    cases: tuple[str, ...]
    coolant: np.ndarray
    air: np.ndarray
    flow: np.ndarray
    outside: tuple[str, ...]
    peak: Solution


@dataclass(frozen=True, eq=False)
class TubeEnds:
    """
    All tube ends of a plan.

    Attributes
    ----------
    plan : Plan
    solution : Solution
        Its steady answer.
    ends : tuple of End
        In flow order.
    growth : dict of str to float
        Run -> how much longer it gets from room temperature to its warmest case, NaN if not known. [m]
    vapour : dict of str to (float, float)
        Run or dead leg -> water that passes its wall, steady, by the low and the high end of its permeability. [kg/s]
    months : (float, float) or None
        Until a tenth of the reservoirs is gone through tube walls alone, not through caps and seals; None without a
        reservoir, or if no wall lets water through.
    notes : dict of str to str
        Case or figure -> what stands behind it, or why it is not known, in a sentence.
    """

    plan: Plan
    solution: Solution
    ends: tuple[End, ...]
    growth: dict[str, float]
    vapour: dict[str, tuple[float, float]]
    months: tuple[float, float] | None
    notes: dict[str, str]
    _warmth: _Warmth

    @property
    def said(self) -> list[str]:
        """The notes, that on pumps that stop first, and none twice."""
        out: list[str] = []
        for words in (self.notes[key] for key in dict.fromkeys([STOPS, *self.notes]) if key in self.notes):
            out += [] if any(words in other for other in out) else [words]
        return out

    @property
    def facts(self) -> list[Fact]:
        """What the rules judge of tube ends, the worst first; of how rings hold, the worst end of each tube speaks."""
        out = [
            Fact(quantity, e.name, left, also={"tube": e.tube.name})
            for quantity, brief in ((LASTING, False), (PASSING, True))
            for e in sorted(self.ends, key=lambda e: _known(e.left(brief)))
            if (left := e.left(brief)) is not None and (not brief or _soaks(e))
        ]
        out += [Fact("coolant outside its data", case, 1.0) for case in self._warmth.outside if case != STEADY]
        # What else softens or hardens with the coolant, when it is warmest.
        peak = wetted.warm_facts(self._warmth.peak) if PEAK in self._warmth.cases else []
        out += [replace(fact, where=f"{fact.where}, {PEAK}") for fact in peak if fact.quantity.startswith(AT_PEAK)]
        pressed = sorted((e for e in self.ends if e.strain is not None), key=lambda e: -e.strain)
        out += [Fact("wall pressed in by its ring", e.name, e.strain) for e in pressed]
        held = sorted((e for e in self.ends if e.held is not None), key=lambda e: -e.held)
        out += [Fact("grip over thrust", e.name, e.held) for e in {e.tube.name: e for e in held}.values()]
        if self.months is not None:
            out.append(Fact("months to the next top-up", "reservoir", self.months[0]))
        return out

    def warned(self, system: str = "metric") -> list[Warned]:
        """Return what the rules say of the tube ends beside what they say of the answer, as `gather`."""
        known = set(self.solution.warned(system))
        every = rules.warnings_of([*self.solution.facts, *self.facts], system, self.plan.house_rules)
        return self.gather([row for row in every if row not in known])

    def gather(self, rows: list[Warned]) -> list[Warned]:
        """Return warnings with one row for each rule on tube ends: the worst end, and how many others."""
        ends, groups = {end.name for end in self.ends}, {}
        for row in rows:
            alike = (row.signal, row.quantity, row.limit, row.why) if row.where in ends else row
            groups.setdefault(alike, []).append(row)
        return [
            first._replace(where=f"{first.where} and {len(more)} more end{'s' * (len(more) > 1)}") if more else first
            for first, *more in groups.values()
        ]

    def runs(self, system: str = "metric") -> pd.DataFrame:
        """
        Return a row for each run and dead leg: its tube, how it grows, what passes its wall.

        "grows" is from room temperature to its warmest case, of runs alone. "water out" is its low and high estimate.
        """
        one_of("system", system, DISPLAY)
        long, mass = DISPLAY[system]["length"], DISPLAY[system]["mass"]
        leaves = [leaf for leaf in tree.leaves(self.plan.loop) if isinstance(leaf, (tree.Run, tree.DeadLeg))]
        rows = [
            {
                "run": leaf.name,
                "material": leaf.tube.material,
                f"length [{long.label}]": round(long.convert(float(leaf.length)), long.digits),
                f"least bend radius [{long.label}]": round(long.convert(float(leaf.tube.bend_radius)), long.digits),
                f"grows by [{long.label}]": round(long.convert(self.growth.get(leaf.name, np.nan)), long.digits),
                f"water out a month [{mass.label}]": _span(mass.convert(np.array(self.vapour[leaf.name]) * MONTH)),
            }
            for leaf in leaves
        ]
        return pd.DataFrame(rows)

    def table(self, system: str = "metric") -> pd.DataFrame:
        """Return a row for each end, in "metric" or "us" units; "left" is to softening, below 0 it is over."""
        one_of("system", system, DISPLAY)
        warm, rise = DISPLAY[system]["temperature"], DISPLAY[system]["difference"]

        def shown(value: float | None, how: Any) -> float:
            return np.nan if value is None else round(float(how.convert(value)), how.digits)

        rows = [
            {
                "tube end": e.name,
                "tube": e.tube.name,
                **{f"{case} [{warm.label}]": shown(value, warm) for case, value in e.wall.items()},
                "warmest": e.worst,
                f"softens [{warm.label}]": shown(e.soft, warm),
                f"left [{rise.label}]": shown(e.margin, rise),
                "pressed in [%]": np.nan if e.strain is None else float(f"{100.0 * e.strain:.2g}"),
                "grip over thrust": np.nan if e.held is None else round(e.held, 1),
            }
            for e in self.ends
        ]
        return pd.DataFrame(rows)


def _soaks(end: End) -> bool:
    """Return True if an end gets warmer in a case that passes than in any that lasts, or that is not known."""
    lasting, passing = (end.left(brief) for brief in (False, True))
    return lasting is None or not passing > lasting - LEAST_SOAK


def _known(value: float | None) -> float:
    """Return a value to sort by, what is not known behind all others."""
    return value if value is not None and np.isfinite(value) else np.inf


def _span(ends: np.ndarray) -> str:
    """Return a low and a high end in words, each by two significant digits."""
    return "none" if not ends[1] > 0 else "{:.2g} to {:.2g}".format(*ends)


def tube_ends(plan: Plan, solution: Solution | None = None, cases: Iterable[str] = CASES) -> TubeEnds:
    """
    Find how warm every tube end of a plan gets, and what that does to it.

    Parameters
    ----------
    plan : Plan
        One design.
    solution : Solution, optional
        Its steady answer, if it is at hand.
    cases : list of str
        Of `CASES`. "pump stops" and "switched off" run in time and take longest.

    Returns
    -------
    ends : TubeEnds

    Raises
    ------
    InputError
        If a case is unknown or there is none, or the plan is N designs.

    Notes
    -----
    "steady" is the typical heat; all else is at peak heat. "pump stops": all pumps stop, and a machine that protects
    itself switches off when the first part in the loop reaches its limit; what block and part hold by then goes into
    the coolant of the block, until all three are equally warm. "switched off" at once, it soaks in the same way. "hot
    spot": the air round the tube is `plan.hot_spot` warmer than the air of the case, round a dead leg its coolant too.
    A case without an answer leaves NaN and a note: no temperature is invented.

    Rings: [Gent1958]_, [Lindley1967]_ and [RoarkYoung2002]_ as in `laws.seals`. The grip counts the squeeze less what
    the wall gives under the whole squeeze, which is on the safe side. Pressure: see `highest_pressure`. Vapour:
    [Crank1975]_ with the vapour pressure of water by [WagnerPruss1993]_ times `laws.coolant.water_share`, less
    half-saturated room air.
    """
    asked = tuple(one_of("case", case, CASES) for case in cases)
    if not asked:
        raise InputError("cases", "none", f"one or more of: {', '.join(CASES)}")
    one_design("tube ends", number_of_designs(plan))
    solution = solved(plan) if solution is None else solution
    spots, notes = tuple(_spots(plan.loop)), {}
    peak = solved(plan.at_peak(), solution.friction) if set(asked) - {STEADY} else solution
    # The peak is the start of the runs, so their walls are never cooler than that.
    needed = [case for case in CASES if case in asked or case == PEAK and {STOPS, OFF} & set(asked)]
    columns = []
    for case in needed:
        at, air, flows = _met(case, solution if case == STEADY else peak, notes)
        coolant = [max(at(spot.run, "in"), at(*spot.near)) for spot in spots]
        columns.append((coolant, air, [flows.get(spot.run, 0.0) for spot in spots]))
    coolant, air, flow = (np.array(part, dtype=float).T for part in zip(*columns, strict=True))
    outside = tuple(case for case in needed if (solution if case == STEADY else peak).outside)
    warmth = _Warmth(spots, tuple(needed), coolant, air, flow, outside, peak)
    return _judged(plan, solution, warmth, [case for case in CASES if case in asked], notes)


def with_tube(answer: TubeEnds, material: str) -> TubeEnds:
    """
    Judge the same temperatures of coolant and air for tube of another material.

    Parameters
    ----------
    answer : TubeEnds
    material : str
        One of `catalogue.tube_materials()`; the tube nearest in size is taken for every tube of another one.

    Raises
    ------
    InputError
        If no tube of the catalogue is of that material.

    Notes
    -----
    The flow is kept: another bore would change it, and the temperatures with it, a little.
    """
    plan = answer.plan.as_counts().set(tube_material=material)  # it has fittings and a former of its own
    asked = list(answer.ends[0].wall) if answer.ends else []
    return _judged(plan, answer.solution, answer._warmth, asked, answer.notes)


# ---------------------------------------------------------------------------------------------------- where ends sit


def _spots(loop: tree.Series) -> Iterator[_Spot]:
    """Yield both ends of every run and dead leg, and the middle of every run."""

    def visit(items: list, first: tuple[str, str], last: tuple[str, str]) -> Iterator[_Spot]:
        passed = [first, *(_called(item) for item in items if not isinstance(item, tree.DeadLeg)), last]
        place = 0
        for item in items:
            own = (getattr(item, "name", TEE), "in")
            at, before = passed[place]
            if isinstance(item, tree.DeadLeg):
                # Where branches have just met, what comes next tells how warm the coolant is.
                yield _Spot(item.name, "start", at, (before, "out") if before != TEE else (passed[place + 1][1], "in"))
                yield _Spot(item.name, "end", "", own)
                continue
            place += 1
            to, behind = passed[place + 1]
            if isinstance(item, tree.Parallel):
                # Branches meet in a tee where a run goes on from there: tube is not plugged into tube.
                outer = [(TEE if name in runs else said, name) for said, name in ((at, before), (to, behind))]
                for branch in item.branches:
                    yield from visit(tree.flat(branch), *outer)
            elif isinstance(item, tree.Run):
                yield _Spot(item.name, "start", at, own if before == TEE else (before, "out"))
                yield _Spot(item.name, "middle", "", own)
                yield _Spot(item.name, "end", to, own if behind == TEE else (behind, "in"))

    items, runs = tree.flat(loop), {run.name for run in tree.of_kind(loop, tree.Run)}
    round_ = [item for item in items if not isinstance(item, tree.DeadLeg)]
    yield from visit(items, _called(round_[-1]), _called(round_[0]))


def _called(item: Any) -> tuple[str, str]:
    """Return what a neighbour is called, and whose coolant is met there."""
    return (TEE, TEE) if isinstance(item, tree.Parallel) else (item.name, item.name)


# ---------------------------------------------------------------------------------------------------- temperatures


def _met(case: str, answer: Solution, notes: dict[str, str]) -> tuple[Callable, float, dict[str, float]]:
    """
    Return how warm coolant and air get in a case [degC], and the flow of each element that has one [m3/s].

    The coolant is a function (element, "in" or "out"); of `TEE` it is that of the warmest place.
    """
    if not answer.known:
        notes[case] = answer.plight
        return lambda name, side: np.nan, np.nan, {}
    if case in (STOPS, OFF):
        try:
            tops = _until_off(answer, notes) if case == STOPS else _switched_off(answer, notes)
        except InputError as problem:
            notes[case] = str(problem)
            return lambda name, side: np.nan, np.nan, {}
        return lambda name, side: tops["coolant_warmest" if name == TEE else f"coolant in {name}"], tops["case_air"], {}
    over = float(answer.plan.hot_spot) if case == HOT else 0.0
    warm = {(TEE, "in"): float(answer.state["coolant_warmest"])}
    for row in answer.walk:
        lead = over if isinstance(row["element"], tree.DeadLeg) else 0.0
        warm |= {(row["element"].name, side): float(row[side]) + lead for side in ("in", "out")}
    flows = {row["element"].name: abs(float(row["flow"])) for row in answer.walk}
    return lambda name, side: warm[name, side], float(answer.state["case_air"]) + over, flows


def _tops(course: Course, until: float) -> dict[str, float]:
    """Return the highest each temperature of a run becomes up to a time. [degC]"""
    early = course.t <= until
    every = course.temperatures | course.state
    return {name: float(max(v[early].max(), np.interp(until, course.t, v))) for name, v in every.items()}


def _switched_off(peak: Solution, notes: dict[str, str]) -> dict[str, float]:
    """Return the highest temperatures after all is switched off. [degC]"""
    course = scenarios.power_off(peak.plan, at=0.0, within=SOAKED, **SOLVER)
    notes[OFF] = SOAKS
    return _tops(course, float(course.t[-1]))


def _until_off(peak: Solution, notes: dict[str, str]) -> dict[str, float]:
    """Return the highest temperatures when the pumps stop and a machine that protects itself switches off. [degC]"""
    course = scenarios.pump_stop(peak.plan, at=0.0, **SOLVER)
    sources, high = {unit.name: unit for unit in peak.plan.units(tree.Source)}, peak.plan.coolant.high
    reached = [event for event in course.events if event.time is not None]
    # A part on air is not what a machine switches off for when its pump stands.
    limits = [event for event in reached if event.quantity == "component limit" and event.where in sources]
    if not limits:
        end = float(course.t[-1])
        left = any(event.quantity == "end of the coolant's data" for event in reached)
        notes[STOPS] = f"No part in the loop reaches its limit within {spoken(end)}." + (BEYOND if left else "")
        return _tops(course, end)
    first = min(limits, key=lambda event: event.time)
    tops = _tops(course, first.time)
    density, _, heat, _ = (float(value) for value in peak.fluid)
    beyond = ""
    # What follows is straight: nothing else leaves or enters a block whose coolant stands.
    for name, unit in sources.items():
        part, coolant = (np.interp(first.time, course.t, course.temperatures[n]) for n in (name, f"coolant in {name}"))
        block = density * heat * float(unit.volume()) + transient.metal_capacity(unit)
        store = transient.component_capacity(unit)
        soaked = float((store * part + block * coolant) / (store + block))
        beyond = BEYOND if soaked > high else beyond
        tops[f"coolant in {name}"] = max(tops[f"coolant in {name}"], min(soaked, high))
        tops["coolant_warmest"] = max(tops["coolant_warmest"], tops[f"coolant in {name}"])
    when = f"{spoken(first.time)} after the pumps stop" if first.time > 0 else "Before the pumps stop"
    notes[STOPS] = (
        f"{when}, {first.where} is at its limit: a machine that protects itself switches off, one that does not gets "
        f"warmer. {SOAKS}{beyond}"
    )
    return tops


def _surfaces(plan: Plan, warmth: _Warmth, leaves: dict[str, Any]) -> np.ndarray:
    """Return the warmer surface of the wall at every place in every case; copper is as warm as its coolant. [degC]"""
    cut = [leaves[spot.run] for spot in warmth.spots]
    plastics = tables.by_name("plastics.csv")

    def column(values: Iterable[float]) -> np.ndarray:
        return np.array([float(value) for value in values])[:, None]

    sizes = [column(values) for values in zip(*((x.length, x.tube.bore, x.tube.outside) for x in cut), strict=True)]
    rows = [plastics.get(leaf.tube.material) for leaf in cut]  # None is copper
    conductivity = column(1.0 if row is None else row["conductivity_w_m_k"] for row in rows)
    known = np.isfinite(warmth.coolant)
    coolant, air = (np.where(known, value, 25.0) for value in (warmth.coolant, warmth.air))
    pressure = float(coolants.pressure_at_height(plan.height))
    warmer = np.maximum(*regime.tube_walls(plan.coolant, coolant, air, warmth.flow, *sizes, conductivity, pressure))
    copper = np.array([row is None for row in rows])[:, None]
    out = np.where(known, np.where(copper, coolant, warmer), np.nan)
    for case in (STOPS, OFF):
        if case in warmth.cases:
            place = warmth.cases.index(case)
            out[:, place] = np.maximum(out[:, place], out[:, warmth.cases.index(PEAK)])
    return out


# ---------------------------------------------------------------------------------------------------- what follows


def _judged(plan: Plan, solution: Solution, warmth: _Warmth, asked: list[str], notes: dict[str, str]) -> TubeEnds:
    leaves = {leaf.name: leaf for leaf in tree.leaves(plan.loop)}
    notes = {key: words for key, words in notes.items() if key in CASES}
    warm = _surfaces(plan, warmth, leaves) if warmth.spots else np.zeros((0, len(warmth.cases)))
    columns = [warmth.cases.index(case) for case in asked]
    pressure, notes["pressure"] = highest_pressure(plan)
    ends, growth = [], {}
    for spot, row in zip(warmth.spots, warm[:, columns], strict=True):
        if spot.side == "middle":
            growth[spot.run] = _growth(plan, leaves[spot.run], row)
        else:
            wall = dict(zip(asked, map(float, row), strict=True))
            end = _end(plan, spot, leaves[spot.run].tube, wall, pressure, notes)
            if warmth.outside and not isinstance(leaves[spot.run], tree.DeadLeg):
                end = replace(end, beyond=plan.coolant.high)
            ends.append(end)
    rows = [row for row in solution.walk if isinstance(row["element"], (tree.Run, tree.DeadLeg))]
    vapour = {(leaf := leaves[row["element"].name]).name: _vapour(plan, leaf, float(row["in"])) for row in rows}
    return TubeEnds(plan, solution, tuple(ends), growth, vapour, _months(plan, vapour), notes, warmth)


def _end(plan: Plan, spot: _Spot, tube: Tube, wall: dict[str, float], pressure: float, notes: dict[str, str]) -> End:
    """Return one end judged: how far from softening, how far its ring presses it in, whether its rings hold it."""
    known = {case: value for case, value in wall.items() if np.isfinite(value)}
    worst = max(known, key=lambda case: known[case], default="")
    warmest = known.get(worst, np.nan)
    plastic = tables.by_name("plastics.csv").get(tube.material)
    soft = None if plastic is None else wetted.softening(tube.material, tube.heat_deflection)
    strain = grip = None
    # Soft tube sits on a barb; of a rigid plastic whose softening is not known nothing can be said.
    stiff = plastic is None or plastic["hdt_low_degc"] != "" or tube.heat_deflection is not None
    if tube.rigid and stiff and (plastic is None or soft is not None):
        squeeze, given = float(plan.squeeze), 0.0
        if soft is not None:
            strain = _pressed_in(tube, warmest, _ring_load(plan, squeeze), notes)
            given = strain * float(tube.outside + tube.bore) / 4.0 / float(plan.ring_section)
        grip = np.nan
        if np.isfinite(given):
            left = _ring_load(plan, max(squeeze - given, 0.0))
            grip = float(seals.ring_grip(left, float(tube.outside), float(plan.rings), WET_FRICTION))
    thrust = float(seals.end_thrust(pressure, float(tube.outside)))
    margin = None if soft is None else soft - warmest
    return End(spot.run, spot.side, spot.at, tube, soft, wall, worst, margin, strain, thrust, grip)


def _ring_load(plan: Plan, squeeze: float) -> float:
    """Return what a ring of the plan presses with at a squeeze. [N/m]"""
    return float(seals.ring_load(float(plan.ring_section), squeeze, seals.rubber_modulus(HARDNESS)))


def _pressed_in(tube: Tube, wall: float, load: float, notes: dict[str, str]) -> float:
    """Return the share of its radius a ring presses a wall in by; beyond what is known of its stiffness, at the end."""
    if np.isnan(wall):
        return np.nan
    try:
        modulus = materials.stiffness(tube.material, wall, tube.heat_deflection)
    except OutOfRange:
        modulus = materials.PLATEAU
        notes["stiffness"] = "A wall is warmer than its stiffness is known for; the least that is known stands for it."
    return float(seals.ring_strain(load, float(tube.outside), float(tube.bore), float(modulus)))


def highest_pressure(plan: Plan) -> tuple[float, str]:
    """
    Return the highest pressure pumps and coolant give a loop, and in words what it is made of.

    Parameters
    ----------
    plan : Plan
        One design.

    Returns
    -------
    pressure : float
        Over that of the air. [Pa]
    words : str

    Notes
    -----
    Pumps at shut-off at full speed (in parallel the strongest counts), as while filling, under coolant as high as the
    loop is: from its lowest part to its highest where two positions or more are known, else 0.5 m (an estimate). What
    the air of a sealed reservoir adds as it warms is left out: the less air, the more, even more than all else.

    Examples
    --------
    >>> from loopmath.planfile import load_plan
    >>> round(highest_pressure(load_plan(tables.DATA / "plans" / "podcast_booth.toml"))[0] / 1e3, 1)
    40.4
    """

    def shutoff(item: Any) -> float:
        if isinstance(item, tree.PumpUnit):
            return float(network.pump_head(replace(item, speed=1.0), 0.0))
        children = [shutoff(c) for c in getattr(item, "items", ()) or getattr(item, "branches", ())]
        return max(children) if isinstance(item, tree.Parallel) else sum(children)

    up = [leaf.position[2] for leaf in tree.leaves(plan.loop) if leaf.position is not None]
    height = max(up) - min(up) if len(up) > 1 else USUAL_HEIGHT
    density = float(plan.coolant.properties(float(plan.room_air))[0])
    origin = "by the positions of its parts" if len(up) > 1 else "as loops usually are, for positions are not known"
    words = f"Pumps at shut-off at full speed, under coolant as high as the loop: {origin}."
    words += " Air that warms in a tight reservoir adds to it."
    return density * GRAVITY * (shutoff(plan.loop) + height), words


def _growth(plan: Plan, run: tree.Run, walls_: np.ndarray) -> float:
    known = walls_[np.isfinite(walls_)]
    if not known.size:
        return np.nan
    return float(materials.growth(run.tube.material, float(run.length), float(known.max() - plan.room_air)))


def _vapour(plan: Plan, leaf: Any, warm: float) -> tuple[float, float]:
    """Return the water that passes the wall of a run or leg, by the ends of its permeability. [kg/s]"""
    row = tables.by_name("plastics.csv").get(leaf.tube.material)
    if row is None:
        return 0.0, 0.0
    if not np.isfinite(warm):
        return np.nan, np.nan
    inside = coolants.water_share(plan.coolant) * float(coolants.water_vapour_pressure(min(warm, 100.0)))
    outer = HUMIDITY * float(coolants.water_vapour_pressure(float(plan.room_air)))
    shape = (float(leaf.length), float(leaf.tube.outside), float(leaf.tube.bore))
    ends = (row["vapour_permeability_low"], row["vapour_permeability_high"])
    return tuple(float(materials.vapour_loss(end, *shape, inside, outer)) for end in ends)


def _months(plan: Plan, vapour: dict[str, tuple[float, float]]) -> tuple[float, float] | None:
    volume = sum(float(tank.volume()) for tank in plan.units(tree.Tank))
    low, high = (sum(pair[end] for pair in vapour.values()) for end in (0, 1))
    if not volume or high <= 0:
        return None
    mass = TOPPED_UP * volume * float(coolants.coolant("water").properties(20.0)[0])
    return mass / high / MONTH, mass / low / MONTH
