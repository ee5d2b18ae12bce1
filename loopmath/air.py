"""
Air through radiators and case: which way it goes and how much of it, for N designs at once.

A *stream* is a radiator, or radiators close behind one another, that the same air passes. Streams, the fans of the
case and its openings join two places, the room and the case. A fan's curve meets what cores, filters and grilles
take; where the air of the case is balanced, its pressure is the one unknown that makes what enters leave again.
How warm the air is goes back to the solver of the loop as `thermal.AirNode`: air and coolant are solved together.
"""

from dataclasses import dataclass, replace
from functools import reduce
from typing import Any

import numpy as np

from loopmath import loop as tree
from loopmath.case import IN, CaseFans
from loopmath.checks import InputError, one_of
from loopmath.laws import coolant as coolants
from loopmath.laws import turbomachine
from loopmath.plan import BALANCE, Plan
from loopmath.radiator import AirSide
from loopmath.thermal import AirNode, Cooler, Inflow

ROOM, CASE = tree.PLACES
#: Share of an opening's area the jet through it fills: a sharp-edged orifice ([TP410]_; figure from memory).
DISCHARGE = 0.6
#: Air flow that counts as none [m3/s]: about 4 L an hour.
STILL_AIR = 1e-6
#: What no position at all counts as, where other designs have some.
NO_POSITIONS = 1e-12
#: A loss every duct has besides [Pa s/m3], so that Newton ends where nothing flows: less than a nanopascal.
LEAST_SLOPE = 1e-8
#: Steps of Newton at most; the last step that is good enough, as a share of a flow, for what is left goes with its
#: square; what counts as rounding of a flow [m3/s].
MOST_STEPS, LAST_STEP, ROUNDING = 80, 1e-6, 1e-11
#: Warmest and coldest air whose properties are taken; beyond, the plan has no answer anyhow. [degC]
COLDEST, WARMEST = -20.0, 150.0


@dataclass(frozen=True, eq=False)
class Stream:
    """Radiators passed by the same air, in the order it passes them, from one place to another."""

    units: tuple[tree.RadiatorUnit, ...]
    source: str
    target: str


def streams(units: list) -> list[Stream]:
    """
    Return the streams of some radiators.

    Raises
    ------
    InputError
        If a radiator stands behind one that is not there, two stand behind the same one, the air would go round in a
        ring, or a radiator in a row has fans of two speeds side by side or a given air flow of its own.
    """
    by_name = {u.name: u for u in units}
    behind: dict[str, str] = {}
    for unit in units:
        if unit.air in tree.PLACES:
            continue
        place = f"{unit.name}, air"
        one_of(place, unit.air, [*tree.PLACES, *(n for n in by_name if n != unit.name)])
        if unit.air in behind:
            remedy = "Put one behind the other, or let one draw from the case."
            raise InputError(place, unit.air, f"a radiator with none behind it; {behind[unit.air]} is", remedy)
        behind[unit.air] = unit.name
    out, reached = [], set()
    for first in units:
        if first.air in tree.PLACES:
            row = [first]
            while row[-1].name in behind:
                row.append(by_name[behind[row[-1].name]])
            reached |= {u.name for u in row}
            target = row[-1].blows or (CASE if first.air == ROOM else ROOM)
            _one_air(row)
            for unit in row if len(row) > 1 else ():
                if np.any(np.asarray(unit.second_fans) > 0):
                    remedy = "Run all fans of a radiator in a row at one speed."
                    raise InputError(f"{unit.name}, second fans", unit.second_fans, "0", remedy)
            out.append(Stream(tuple(row), first.air, target))
    ring = [u for u in units if u.name not in reached]
    if ring:
        names = [ring[0].name]
        while by_name[names[-1]].air not in names:
            names.append(by_name[names[-1]].air)
        way = " draws from ".join([*names, by_name[names[-1]].air])
        remedy = "Let one of them draw air of the room or the case."
        raise InputError(
            f"{ring[0].name}, air", ring[0].air, "air that begins in the room or the case", f"{way}: a ring. {remedy}"
        )
    return out


def _one_air(row: list) -> None:
    """Refuse a given air flow where others of a row say how much it is: the same air passes all of them."""
    fanned = [unit.name for unit in row if unit.fan is not None]
    for unit in row:
        if unit.fan is None and (fanned or unit is not row[0]) and np.any(np.asarray(unit.air_flow_each) > 0):
            by = f"the fans of {' and '.join(fanned)} move" if fanned else f"{row[0].name} states"
            remedy = f"It stands close to others: the air {by} passes it, too."
            raise InputError(f"{unit.name}, air flow each", unit.air_flow_each, "0", remedy)


def plain(plan: Plan) -> bool:
    """True if every radiator's air is settled by itself: known air, one fan curve before each position."""
    return plan.case_air_by != BALANCE and all(unit.plain for unit in plan.units(tree.RadiatorUnit))


@dataclass(frozen=True, eq=False)
class Duct:
    """
    One flow of air between two places.

    Attributes
    ----------
    name, source, target : str
        What it is, from where to where it goes when its fans have their way.
    density : float or array
        Of the air that enters: the flow is that volume. [kg/m3]
    cores : tuple
        (linear, quadratic, share): what a core takes of the pressure at `share` of the flow.
    fans : tuple
        (fan, pressure factor, speed, share): what fans give at `share` of the flow.
    fixed : float or array, optional
        The flow, where it is given. [m3/s]
    power : float or array
        Of its fans. [W]
    stream : int
        Number of the stream it belongs to, -1 for none.
    """

    name: str
    source: str
    target: str
    density: Any
    cores: tuple = ()
    fans: tuple = ()
    fixed: Any = None
    power: Any = 0.0
    stream: int = -1

    def first_flow(self) -> Any:
        """Return the flow of its strongest fans with nothing in the way. [m3/s]"""
        free = (fan.free_flow * np.maximum(speed, 1e-3) / share for fan, _, speed, share in self.fans)
        return reduce(np.maximum, free) if self.fans else 1e-3

    def excess(self, flow: Any) -> tuple[Any, Any]:
        """Return what it takes less what its fans give, and the slope of that. [Pa], [Pa s/m3]"""
        taken, slope = 0.0, 0.0
        for linear, quadratic, share in self.cores:
            part = flow * share
            taken = taken + part * (linear + quadratic * np.abs(part))
            slope = slope + share * (linear + 2 * quadratic * np.abs(part))
        for fan, factor, speed, share in self.fans:
            given, fall = turbomachine.head_with_slope(
                flow * share, fan.shutoff_pressure * factor, fan.free_flow, fan.exponent, speed
            )
            taken, slope = taken - given, slope - share * fall
        return taken + LEAST_SLOPE * flow, slope + LEAST_SLOPE


def settled_flows(ducts: list[Duct], balanced: bool, near: tuple = (), rough: float = 0.0) -> tuple[list, Any, Any]:
    """
    Return (flows [m3/s], pressure of the case over the room [Pa], whether it settled).

    Newton on all ducts at once: each is linearised, and the pressure of the case is what makes the masses that
    enter and leave equal. Without balance the case has the room's pressure and each duct is by itself. `near` are
    flows of much the same ducts to start from; `rough` is a larger last step to be content with, as a share.
    """
    first = near or [duct.first_flow() for duct in ducts]
    flows = [flow if duct.fixed is None else duct.fixed for duct, flow in zip(ducts, first, strict=True)]
    signs = [(duct.target == CASE) - 1.0 * (duct.source == CASE) for duct in ducts]
    pressure, done, nothing = 0.0, np.True_, ROUNDING + 1e-3 * rough
    for _ in range(MOST_STEPS):
        lines = [(0.0, np.inf) if d.fixed is not None else d.excess(q) for d, q in zip(ducts, flows, strict=True)]
        if balanced:
            mass = ease = 0.0
            for duct, flow, sign, (taken, slope) in zip(ducts, flows, signs, lines, strict=True):
                if sign:
                    mass = mass + sign * duct.density * (flow - taken / slope)
                    ease = ease + duct.density / slope
            pressure = mass / np.maximum(ease, 1e-12)
        done = np.True_
        for place, (sign, (taken, slope)) in enumerate(zip(signs, lines, strict=True)):
            if ducts[place].fixed is None:
                step = (taken + sign * pressure) / slope
                flows[place] = flows[place] - step
                done = done & (np.abs(step) <= (LAST_STEP + rough) * np.abs(flows[place]) + nothing)
        if np.all(done):
            break
    return flows, pressure, done


@dataclass(frozen=True, eq=False)
class Warmth:
    """Air temperatures the properties of air are taken at: of the case, entering and leaving each radiator. [degC]"""

    case: Any
    into: dict[str, Any]
    out: dict[str, Any]

    @classmethod
    def first(cls, plan: Plan) -> "Warmth":
        """Return a first guess: the builder's own of the case, and a little warming in the radiators."""
        units = plan.units(tree.RadiatorUnit)
        into = {u.name: plan.room_air if u.air == ROOM else plan.case_air for u in units}
        return cls(plan.case_air, into, {name: warm + 5.0 for name, warm in into.items()})

    @property
    def values(self) -> list:
        """Return all of its temperatures as one list."""
        return [self.case, *self.into.values(), *self.out.values()]

    def with_values(self, values: list) -> "Warmth":
        """Return it with other temperatures, in the order of `values`."""
        many = len(self.into)
        into, out = values[1 : many + 1], values[many + 1 :]
        return Warmth(values[0], dict(zip(self.into, into, strict=True)), dict(zip(self.out, out, strict=True)))

    def density(self, temperature: Any, pressure: Any) -> Any:
        """Return the density of air at a temperature, kept to what air can be. [kg/m3]"""
        return coolants.air_density(_kept(temperature), pressure)


def _kept(temperature: Any) -> Any:
    """Return a temperature at which air has properties."""
    return np.clip(temperature, COLDEST, WARMEST)


@dataclass(frozen=True, eq=False)
class AirPaths:
    """
    The air side of a plan, ready for the loop's solver.

    Attributes
    ----------
    coolers : dict of str to thermal.Cooler
        The radiators.
    sides : dict of str to AirSide
        Their air.
    nodes : tuple of thermal.AirNode
        Air whose temperature is solved for: the case first if it is balanced, then each gap between two radiators.
    rows : list of Stream
        Radiators in the order the air passes them.
    ducts, flows : list
        All that air passes, and how much [m3/s of the air that enters it]; the last is the case's openings if it is
        balanced.
    pressure : float or array
        Of the case over the room. [Pa]
    settled : bool or array
        Whether the flows settled.
    """

    coolers: dict[str, Cooler]
    sides: dict[str, AirSide]
    nodes: tuple[AirNode, ...]
    rows: list[Stream]
    ducts: tuple[Duct, ...] = ()
    flows: tuple = ()
    pressure: Any = 0.0
    settled: Any = True

    def forward(self, number: int) -> Any:
        """Return the share of a stream's air that goes the way its fans blow."""
        return _forward([q for d, q in zip(self.ducts, self.flows, strict=True) if d.stream == number])


def _forward(flows: list) -> Any:
    """
    Return the share of some flows side by side that goes ahead, 1 if nothing moves.

    It is 1 or 0 unless fans of two speeds stand side by side: through slow ones air may come back.
    """
    ahead, back = (sum((np.maximum(way * flow, 0.0) for flow in flows), 0.0) for way in (1.0, -1.0))
    return np.where(back > 0, ahead / np.maximum(ahead + back, 1e-300), 1.0)


def paths(plan: Plan, warmth: Warmth, near: tuple = (), settled: tuple = (), rough: float = 0.0) -> AirPaths:
    """
    Settle the flows of air at given air temperatures, starting from flows `near` them if there are any.

    `settled` are those flows, the pressure of the case and whether they settled, where they are known already.

    Raises
    ------
    InputError
        See `streams`.
    """
    balanced = plan.case_air_by == BALANCE
    pressure = coolants.pressure_at_height(plan.height)
    rows = streams(plan.units(tree.RadiatorUnit))
    density = {ROOM: warmth.density(plan.room_air, pressure), CASE: warmth.density(warmth.case, pressure)}
    ducts = [d for number, row in enumerate(rows) for d in _ducts_of(number, row, warmth, pressure, density)]
    if balanced:
        ducts += [_case_duct(fans, density) for fans in plan.case_fans]
        free = DISCHARGE * np.maximum(plan.case_vents, 1e-8)
        # The linear part keeps Newton from an endless slope at no flow; it is a ten-thousandth of a pascal.
        ducts.append(Duct("openings", ROOM, CASE, density[ROOM], ((1e-2, density[ROOM] / (2 * free**2), 1.0),)))
    flows, over, done = settled or settled_flows(ducts, balanced, near, rough)
    # What is no more than rounding is none: its sign would turn from one turn of the solver to the next.
    flows = [np.where(np.abs(flow) > 10 * ROUNDING, flow, 0.0)[()] for flow in flows]
    coolers, sides, gaps = {}, {}, []
    first_gap = 1 if balanced else 0
    case = (0.0, {0: 1.0}) if balanced else (plan.case_air, {})
    places = {ROOM: (plan.room_air, {}), CASE: case}
    total = first_gap + sum(len(row.units) - 1 for row in rows)
    into_case: list[Inflow] = []
    for number, row in enumerate(rows):
        own = [(d, q) for d, q in zip(ducts, flows, strict=True) if d.stream == number]
        ahead = _forward([q for _, q in own])
        numbers = range(first_gap + len(gaps), first_gap + len(gaps) + len(row.units) - 1)
        stops = [places[row.source], *((0.0, {n: 1.0}) for n in numbers), places[row.target]]
        for place, unit in enumerate(row.units):
            side = _side(unit, own, warmth, pressure)
            constant, weights = _chosen(ahead, stops[place], stops[place + 1], total)
            capacity = np.maximum(side.capacity, 1e-12)  # so little that no heat of the books goes with it
            resistance = 1.0 / np.maximum(side.conductance, 1e-12)
            sides[unit.name] = side
            liquid = unit.radiator.liquid_conductance()
            coolers[unit.name] = Cooler(unit.name, constant, capacity, resistance, liquid, weights)
        for before, after in zip(row.units, row.units[1:], strict=False):
            # The gap holds what left the radiator before it, or behind it where air is drawn backwards.
            through = coolers[before.name].air_capacity
            gaps.append(
                AirNode(
                    f"air behind {before.name}",
                    (
                        Inflow(through * ahead, cooler=before.name),
                        Inflow(through * (1.0 - ahead), cooler=after.name),
                    ),
                )
            )
        ends = ((row.target, row.units[-1], ahead), (row.source, row.units[0], 1.0 - ahead))
        into_case += [Inflow(coolers[u.name].air_capacity * way, cooler=u.name) for end, u, way in ends if end == CASE]
    nodes = (*([_case_node(plan, ducts, flows, into_case)] if balanced else []), *gaps)
    return AirPaths(coolers, sides, nodes, rows, tuple(ducts), tuple(flows), over, done)


def _ducts_of(number: int, row: Stream, warmth: Warmth, pressure: Any, density: dict) -> list[Duct]:
    """Return the ducts of a stream: one, or one for each speed its only radiator's fans have."""
    enters, lead = density[row.source], row.units[0]
    fanned = [u for u in row.units if u.fan is not None]
    common = {"source": row.source, "target": row.target, "density": enters, "stream": number}
    if not fanned:
        return [Duct(lead.name, fixed=lead.air_flow_each * lead.radiator.positions, **common)]
    banks = {u.name: u.banks() for u in row.units}
    out = []
    for bank in range(len(banks[lead.name])):
        cores, fans, power = [], [], 0.0
        for unit in row.units:
            into = _kept(warmth.into[unit.name])
            before = warmth.density(into, pressure)
            positions, sides = banks[unit.name][bank]
            each = 1.0 / np.maximum(positions, NO_POSITIONS)
            linear, quadratic = unit.radiator.air_resistance(into, before, unit.filter_loss)
            cores.append((linear, quadratic, each * enters / before))
            for series, speed, behind in sides:
                here = warmth.density(warmth.out[unit.name], pressure) if behind else before
                fans.append((unit.fan, series * here / 1.2, speed, each * enters / here))
                power = power + series * positions * unit.fan.power * speed**3
        out.append(Duct(lead.name, cores=tuple(cores), fans=tuple(fans), power=power, **common))
    return out


def _case_duct(fans: CaseFans, density: dict) -> Duct:
    source, target = (ROOM, CASE) if fans.blows == IN else (CASE, ROOM)
    here, each = density[source], 1.0 / fans.count
    return Duct(
        fans.name,
        source,
        target,
        here,
        ((0.0, fans.resistance(here), each),),
        ((fans.fan, here / 1.2, fans.fan.turning(fans.speed), each),),
        power=fans.fan_power(),
    )


def _side(unit: tree.RadiatorUnit, own: list, warmth: Warmth, pressure: Any) -> AirSide:
    """
    Return a radiator's air, positions of several speeds added up.

    Positions whose fans are slower pass air that is warmed more, so together they take less than their conductances'
    sum would: it counts as what warms all air as much on average, the wall at one temperature (fits if the coolant
    carries much more heat than the air).
    """
    into = _kept(warmth.into[unit.name])
    before = warmth.density(into, pressure)
    total, taken = AirSide(0.0, 0.0, 0.0, np.inf), 0.0
    for (duct, flow), (positions, sides) in zip(own, unit.banks(), strict=True):
        part, each = positions / unit.radiator.positions, flow / np.maximum(positions, NO_POSITIONS)
        side = unit.radiator.air_side(np.abs(each) * duct.density / before, into, before)
        free = np.inf
        for _, speed, _ in sides:
            with np.errstate(divide="ignore", invalid="ignore"):
                share = np.where(speed > 0, each / (unit.fan.free_flow * speed), np.inf)
            free = np.minimum(free, np.where(positions > 0, share, np.inf))
        taken = taken + part * side.capacity * -np.expm1(-side.conductance / np.maximum(side.capacity, 1e-9))
        total = AirSide(
            total.flow + part * side.flow,
            total.capacity + part * side.capacity,
            total.conductance + part * side.conductance,
            np.minimum(total.share_of_free_flow, free),
        )
    if len(own) > 1:
        capacity = np.maximum(total.capacity, 1e-9)
        total = replace(total, conductance=-capacity * np.log1p(-np.minimum(taken / capacity, 1.0 - 1e-12)))
    return replace(
        total, share_of_free_flow=np.where(np.isinf(total.share_of_free_flow), np.nan, total.share_of_free_flow)
    )


def _chosen(ahead: Any, front: tuple, back: tuple, total: int) -> tuple[Any, tuple]:
    """Return the air entering a radiator as (constant, weight of each air node), the share `ahead` from its front."""
    constant = ahead * front[0] + (1.0 - ahead) * back[0]
    weights = tuple(ahead * front[1].get(n, 0.0) + (1.0 - ahead) * back[1].get(n, 0.0) for n in range(total))
    return constant, weights


def _case_node(plan: Plan, ducts: list, flows: list, inflows: list) -> AirNode:
    """Return the air of the case: what enters it, and the heat given to it."""
    heat = plan.case_heat + sum((part.heat for part in plan.on_air), 0.0)
    room = plan.case_wall_loss
    for duct, flow in zip(ducts, flows, strict=True):
        heat = heat + duct.power * (duct.target == CASE)
        if duct.stream < 0:
            inward = flow if duct.target == CASE else -flow
            room = room + coolants.AIR_HEAT_CAPACITY * duct.density * np.maximum(inward, 0.0)
    return AirNode("case", (Inflow(np.maximum(room, 1e-6), temperature=plan.room_air), *inflows), heat, True)
