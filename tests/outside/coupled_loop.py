"""
Coolant, air and flow of one loop in its case, one design at a time, with scipy, fluids, ht and CoolProp only.

The reference loop with two radiators and the air they share. Every number is made up for comparison.

Coolant: pump -> front radiator -> top radiator -> cpu block -> gpu block -> tube, fittings, reservoir -> pump. Pump,
tube, fittings, reservoir and blocks are those of `reference_loop`; each radiator takes dp = 0.4e12 Q^2 + 1.0e7 Q Pa
from the coolant. The liquid film of either is 500 W/K at 6e-5 m3/s and grows with flow^0.8.

Air: each radiator has 3 positions with one fan each. A position of the core takes K mu V + Z rho V^2/(2 A^2) Pa, with
mu and rho of the air that enters it; its filter counts in Z. The air film is `film` W/K at `film_flow` m3/s through the
whole core and grows with flow^`film_power`. Both streams are unmixed. Fans are those of `FAN`, pressure in proportion
to the density of the air they stand in. One more fan blows case air out through a grille of 2.5 velocity heads on its
opening. Openings of area `vents` are a sharp orifice of discharge coefficient 0.6. In the arrangement

- "crossed" the front radiator draws room air and blows into the case, the top one draws case air and blows out;
- "stacked" the top radiator stands close behind the front one, its air is what leaves that, and it blows into the case.

Case: well mixed. The masses of air that enter and leave are equal, which sets its pressure. It takes up `case_heat`,
`part_heat`, the power of the fans that blow into it, and what the radiators blow into it; it gives `wall` W/K through
its walls. The part left on air is `PART_RESISTANCE` K/W warmer than the case. Pump power is neglected. Pressure of the
air is that of the standard atmosphere at the height.

Lengths in m, areas in m2, flows in m3/s or kg/s, powers in W, temperatures in degC.
"""

from collections.abc import Callable
from functools import cache
from math import copysign, pi, sqrt
from types import SimpleNamespace

import CoolProp
import numpy as np
from CoolProp.CoolProp import PropsSI
from fluids import ATMOSPHERE_1976
from ht import effectiveness_from_NTU
from scipy.optimize import brentq

from outside import reference_loop
from outside.reference_loop import COOLANT_FLOW, CPU_RESISTANCE, GPU_RESISTANCE, ZERO_CELSIUS

Air = Callable[[float, float], tuple[float, float, float]]

#: Coolant side of a radiator: (square, linear) of its loss; film at `COOLANT_FLOW` and its power of the flow.
LIQUID_LOSS, LIQUID_FILM, LIQUID_POWER = (0.4e12, 1.0e7), 500.0, 0.8
POSITIONS = 3.0
#: Air side of each radiator: K [1/m3], Z, A of one position; film of the whole core [W/K], its flow, its power.
CORES = {
    "front": SimpleNamespace(linear=1.2e7, heads=7.0, area=0.0115, film=75.0, film_flow=0.045, film_power=0.45),
    "top": SimpleNamespace(linear=1.6e7, heads=6.0, area=0.0110, film=95.0, film_flow=0.045, film_power=0.50),
}
#: Side of the fans, free flow, pressure at no flow in air of `FAN_AIR`, shape, power at full speed.
FAN = SimpleNamespace(size=0.120, free=0.030, shutoff=26.0, exponent=1.6, power=2.0)
FAN_AIR = 1.2  # kg/m3
GRILLE_HEADS = 2.5  # with what leaving into still air takes
DISCHARGE = 0.6
PART_RESISTANCE = 0.25  # K/W
#: What openings take besides in the simple model, Pa s/m3.
SIMPLE_LINEAR = 1e-2

#: What passes the same air in order, from where to where.
ARRANGEMENTS = {
    "crossed": ((("front",), "room", "case"), (("top",), "case", "room")),
    "stacked": ((("front", "top"), "room", "case"),),
}

DESIGN = {
    "speed": 0.8,  # pump speed over full speed
    "bore": 0.010,
    "length": 2.4,
    "fittings": 14.0,
    "front_speed": 0.7,  # fan speeds over full speed
    "top_speed": 0.6,
    "case_speed": 0.6,
    "power_cpu": 180.0,
    "power_gpu": 300.0,
    "case_heat": 60.0,
    "part_heat": 20.0,
    "room": 24.0,
    "vents": 0.012,
    "wall": 4.0,  # W/K
    "height": 300.0,  # above the sea
}


@cache
def _pressure(height: float) -> float:
    return ATMOSPHERE_1976(height).P


def air_properties(temperature: float, height: float) -> tuple[float, float, float]:
    """Return density kg/m3, viscosity Pa s and specific heat J/(kg K) of air at degC and a height in m."""
    kelvin, pressure = temperature + ZERO_CELSIUS, _pressure(height)
    return tuple(PropsSI(what, "T", kelvin, "P", pressure, "HEOS::Air") for what in "DVC")


@cache
def _air_state() -> CoolProp.AbstractState:
    return CoolProp.AbstractState("HEOS", "Air")


def low_level_air(temperature: float, height: float) -> tuple[float, float, float]:
    """Return the same through the low-level object, one state update for all three."""
    state = _air_state()
    state.update(CoolProp.PT_INPUTS, _pressure(height), temperature + ZERO_CELSIUS)
    return state.rhomass(), state.viscosity(), state.cpmass()


def fan_pressure(volume: float, speed: float, density: float) -> float:
    """
    Return what a fan adds at a volume flow.

    With u = V/(n V0) it is n^2 p0 (1 - u^m) up to free flow and n^2 p0 m/2 (1 - u^2) beyond; blown backwards it
    resists by as much as it would lose the other way. At rest the second law is left, a resistance.
    """
    exponent, share = FAN.exponent, abs(volume) / FAN.free
    if share <= speed:
        lost = speed ** (2.0 - exponent) * share**exponent
    else:
        lost = speed**2 + exponent / 2.0 * (share**2 - speed**2)
    return FAN.shutoff * density / FAN_AIR * (speed**2 - copysign(lost, volume))


def root(function: Callable[[float], float], size: float, tolerance: float) -> float:
    """Return where a rising function is zero, the bracket widened from `size` either way as far as it takes."""
    low, high = -size, size
    while function(low) > 0.0:
        low *= 2.0
    while function(high) < 0.0:
        high *= 2.0
    return brentq(function, low, high, xtol=tolerance * size, rtol=1e-15)


class _Air:
    """Flows of air at given temperatures: {"case", ("into", radiator), ("out", radiator)} -> degC."""

    def __init__(self, design: dict, rows: tuple, side: str, law: Air, simple: bool, tolerance: float) -> None:
        self.design, self.rows, self.side, self.law = design, rows, side, law
        self.simple, self.tolerance = simple, tolerance

    def refresh(self, warm: dict) -> None:
        """Take the properties anew."""
        self.at = {place: self.law(value, self.design["height"]) for place, value in warm.items()}
        self.at["room"] = self.law(self.design["room"], self.design["height"])

    def _density(self, source: str, target: str, flow: float) -> float:
        """Return the density of the air in the case fan or a vent: of where it comes from, unless `simple`."""
        return self.at[target if flow < 0.0 and not self.simple else source][0]

    def _row_excess(self, mass: float, names: tuple) -> float:
        taken = 0.0
        for name in names:
            core, (density, viscosity, _) = CORES[name], self.at["into", name]
            each = mass / (POSITIONS * density)
            taken += core.linear * viscosity * each + core.heads * density * each * abs(each) / (2.0 * core.area**2)
            fans = self.at["out" if self.side == "pull" else "into", name][0]
            taken -= fan_pressure(mass / (POSITIONS * fans), self.design[f"{name}_speed"], fans)
        return taken

    def _case_fan_excess(self, mass: float) -> float:
        density = self._density("case", "room", mass)
        volume, opening = mass / density, pi / 4.0 * FAN.size**2
        taken = GRILLE_HEADS * density * volume * abs(volume) / (2.0 * opening**2)
        return taken - fan_pressure(volume, self.design["case_speed"], density)

    def flows(self, over: float) -> list[float]:
        """Return the mass flow of each row, the case fan and the openings at a pressure of the case over the room."""
        size = POSITIONS * FAN.free
        out = []
        for names, _, target in self.rows:
            against = over if target == "case" else -over
            out.append(root(lambda m, n=names, a=against: self._row_excess(m, n) + a, size, self.tolerance))
        out.append(root(lambda m: self._case_fan_excess(m) - over, FAN.free, self.tolerance))
        density = self._density("room", "case", -over)
        linear, square = SIMPLE_LINEAR * self.simple, density / (2.0 * (DISCHARGE * self.design["vents"]) ** 2)
        volume = 2.0 * abs(over) / max(linear + sqrt(linear**2 + 4.0 * square * abs(over)), 1e-300)
        out.append(copysign(density * volume, -over))
        return out

    def balance(self) -> tuple[float, list[float]]:
        """Return the pressure of the case and the flows at which as much air leaves as enters."""
        inward = [1.0 if target == "case" else -1.0 for _, _, target in self.rows] + [-1.0, 1.0]

        def leaving(over: float) -> float:
            return -sum(sign * flow for sign, flow in zip(inward, self.flows(over), strict=True))

        over = root(leaving, 1.0, self.tolerance)
        return over, self.flows(over)


def _temperatures(design: dict, air: _Air, flows: list[float], flow: float, coolant: tuple) -> dict:
    """
    Return all temperatures at given flows, from one set of linear equations.

    The unknowns are the coolant before the first radiator and behind each, the air that leaves each, and the case.
    """
    names = [name for row, _, _ in air.rows for name in row]
    coolant_order = [name for name in CORES if name in names]
    count = len(coolant_order)
    place = {("coolant", n): n for n in range(count + 1)}
    place |= {("out", name): count + 1 + n for n, name in enumerate(coolant_order)} | {"case": 2 * count + 1}
    matrix, right = np.zeros((2 * count + 2, 2 * count + 2)), np.zeros(2 * count + 2)
    room = design["room"]

    def add(equation: int, source: object, weight: float) -> None:
        """Add `weight` times a temperature, known or not, to the left of an equation."""
        if source == "room":
            right[equation] -= weight * room
        else:
            matrix[equation, place[source]] += weight

    density, _, specific_heat = coolant
    liquid = density * specific_heat * flow
    liquid_film = LIQUID_FILM * (flow / COOLANT_FLOW) ** LIQUID_POWER
    case = len(right) - 1
    entering, last = {}, {}
    for (row, source, target), mass in zip(air.rows, flows[:-2], strict=True):
        order, begins, ends = (row, source, target) if mass >= 0.0 else (row[::-1], target, source)
        for before, name in zip((None, *order), order, strict=False):
            entering[name] = (begins if before is None else ("out", before), abs(mass))
        last[order[-1]] = ends
    for number, name in enumerate(coolant_order):
        source, mass = entering[name]
        inlet, _, heat = air.at["into", name]
        core, capacity = CORES[name], mass * heat
        film = core.film * (mass / inlet / core.film_flow) ** core.film_power
        smaller, larger = sorted((capacity, liquid))
        units = 1.0 / ((1.0 / film + 1.0 / liquid_film) * smaller)
        moved = effectiveness_from_NTU(units, smaller / larger, subtype="crossflow") * smaller
        # Coolant and air behind the radiator: capacity times rise is what moved.
        for equation, own, before, other, given in (
            (number, ("coolant", number + 1), ("coolant", number), source, liquid),
            (count + number, ("out", name), source, ("coolant", number), capacity),
        ):
            add(equation, own, given)
            add(equation, before, moved - given)
            add(equation, other, -moved)
        if last.get(name) == "case":
            add(case, ("out", name), -capacity)
            add(case, "case", capacity)
    add(2 * count, ("coolant", 0), liquid)
    add(2 * count, ("coolant", count), -liquid)
    right[2 * count] += design["power_cpu"] + design["power_gpu"]
    inward = design["wall"]
    heat = air.at["room"][2]
    inward += heat * (max(-flows[-2], 0.0) + max(flows[-1], 0.0))
    add(case, "case", inward)
    add(case, "room", -inward)
    blown = [name for row, _, target in air.rows for name in row if target == "case"]
    fans = sum(POSITIONS * FAN.power * design[f"{name}_speed"] ** 3 for name in blown)
    right[case] += design["case_heat"] + design["part_heat"] + fans
    found = np.linalg.solve(matrix, right)
    warm = {key: float(found[n]) for key, n in place.items()}
    return warm | {("into", name): room if source == "room" else warm[source] for name, (source, _) in entering.items()}


def solve(
    design: dict,
    arrangement: str = "crossed",
    fan_side: str = "push",
    friction: str | Callable[[float], float] = "fluids",
    water: Callable[[float], tuple[float, float, float]] | None = None,
    air: Air = air_properties,
    simple: bool = False,
    tolerance: float = 1e-9,
    temperature_tolerance: float = 1e-6,
) -> dict:
    """
    Solve one design: flows by brentq, temperatures, properties at them, again until no temperature moves.

    Parameters
    ----------
    design : dict
        The keys of `DESIGN`.
    arrangement : str
        A key of `ARRANGEMENTS`.
    fan_side : str
        "push": fans of the radiators stand in the air that enters; "pull": in the air that leaves.
    friction : str or callable
        "fluids", "churchill" or Reynolds number -> Darcy friction factor.
    water : callable, optional
        Temperature -> density, viscosity, specific heat; by default water of CoolProp.
    air : callable
        Temperature, height -> density, viscosity, specific heat.
    simple : bool
        Two simplifications a solver may make: air in a vent or in the case fan counts with the density of where the
        way is meant to begin, even while it runs backwards; vents take `SIMPLE_LINEAR` times their flow besides.
    tolerance, temperature_tolerance : float
        Of flows, as a share, and of temperatures, in K.

    Returns
    -------
    dict
        flow [m3/s], coolant_return, coolant_supply, cpu, gpu, case_air, part [degC], over [Pa], masses [kg/s]: each
        row of radiators, the case fan, the openings (inwards); air_out [degC] of each radiator.
    """
    water = water or reference_loop.coolant_properties("water")
    law = reference_loop.friction_law(friction) if isinstance(friction, str) else friction
    rows = ARRANGEMENTS[arrangement]
    ways = _Air(design, rows, fan_side, air, simple, tolerance)
    mean = design["room"] + 10.0
    warm = {(end, name): design["room"] + 5.0 for end in ("into", "out") for row, _, _ in rows for name in row}
    warm["case"] = design["room"] + 5.0
    highest = design["speed"] * (reference_loop.PUMP_HEAD / reference_loop.PUMP_SQUARE) ** 0.5

    def excess(flow: float, density: float, viscosity: float) -> float:
        # The reference loop has one radiator, of twice the loss of each of these: it stands for the two.
        return reference_loop.pressure_balance(flow, design, "series", density, viscosity, law)

    for _ in range(100):
        coolant = water(mean)
        flow = brentq(excess, 1e-9, highest, xtol=tolerance * highest, rtol=1e-15, args=coolant[:2])
        ways.refresh(warm)
        over, masses = ways.balance()
        found = _temperatures(design, ways, masses, flow, coolant)
        capacity = coolant[0] * coolant[2] * flow
        cold = found["coolant", len(CORES)]
        middle = cold + design["power_cpu"] / capacity
        nodes = [value for key, value in found.items() if key[0] == "coolant"] + [middle]
        before, mean = (mean, *warm.values()), (min(nodes) + max(nodes)) / 2.0
        warm = {key: found[key] for key in warm}
        step = max(abs(new - old) for new, old in zip((mean, *warm.values()), before, strict=True))
        if step < temperature_tolerance:
            break
    else:
        raise RuntimeError(f"temperatures still move by {step:.3g} K after 100 rounds")
    heat = coolant[0] * coolant[2]
    return {
        "flow": flow,
        "coolant_return": max(nodes),
        "coolant_supply": min(nodes),
        "cpu": reference_loop.component(cold, design["power_cpu"], flow, heat, CPU_RESISTANCE),
        "gpu": reference_loop.component(middle, design["power_gpu"], flow, heat, GPU_RESISTANCE),
        "case_air": warm["case"],
        "part": warm["case"] + PART_RESISTANCE * design["part_heat"],
        "over": over,
        "masses": masses,
        "air_out": {name: warm["out", name] for row, _, _ in rows for name in row},
    }


def sweep_designs(count: int, seed: int = 2) -> dict[str, np.ndarray]:
    """
    Draw designs for a sweep, uniform, each column whole and in the order of `DESIGN`.

    Returns
    -------
    dict of ndarray
        speed 0.5-1, bore 7-13 mm (in m), length 1-5 m, fittings 4-30, front_speed, top_speed and case_speed 0.3-1,
        power_cpu 60-300 W, power_gpu 60-400 W, case_heat 20-150 W, part_heat 0-60 W, room 16-32 degC, vents 0.004-0.03
        m2, wall 2-6 W/K, height 0-2000 m.
    """
    ranges = {
        "speed": (0.5, 1.0),
        "bore": (0.007, 0.013),
        "length": (1.0, 5.0),
        "fittings": (4.0, 30.0),
        "front_speed": (0.3, 1.0),
        "top_speed": (0.3, 1.0),
        "case_speed": (0.3, 1.0),
        "power_cpu": (60.0, 300.0),
        "power_gpu": (60.0, 400.0),
        "case_heat": (20.0, 150.0),
        "part_heat": (0.0, 60.0),
        "room": (16.0, 32.0),
        "vents": (0.004, 0.03),
        "wall": (2.0, 6.0),
        "height": (0.0, 2000.0),
    }
    draw = np.random.default_rng(seed)
    return {name: draw.uniform(low, high, count) for name, (low, high) in ranges.items()}
