"""
The reference loop, solved one design at a time with scipy, fluids, ht and CoolProp only.

One closed loop: pump -> radiator -> cpu block -> gpu block -> tube and fittings -> reservoir -> pump.
The flow is steady and incompressible. Pump work and heat lost by the tube are neglected. Every number
is made up for comparison. Lengths are in m, flows in m3/s, powers in W, temperatures in degC.

`solve_plain` is the plain loop that every speed ratio is measured against: the usual library calls,
properties at the mean coolant temperature, iterated to convergence. Most of its time goes into the general
property call, so the same loop can also be run on the faster low-level property object. `solve_tight` is
the same model with supplied properties, converged as far as double precision allows; it checks faster
solvers.
"""

from collections.abc import Callable
from functools import cache
from math import pi

import CoolProp
import numpy as np
from CoolProp.CoolProp import PropsSI
from fluids import friction_factor
from fluids.friction import Churchill_1977
from ht import effectiveness_from_NTU
from scipy.optimize import brentq

GRAVITY = 9.80665  # m/s2
ATMOSPHERE = 101325.0  # Pa
ZERO_CELSIUS = 273.15  # K

PUMP_HEAD = 4.0  # m at full speed and no flow
PUMP_SQUARE = 5.184e7  # m per (m3/s)2; the head is zero at 1000 L/h at full speed
FITTING_K = 0.9  # each, on the velocity head of the tube
RESERVOIR_K = 1.5  # exit and entry together, on the velocity head of the tube
#: Pressure laws of the parts, dp = square Q^2 + linear Q in Pa, as (square, linear).
CPU_BLOCK = (2.5e12, 4.0e7)
GPU_BLOCK = (1.8e12, 3.0e7)
RADIATOR = (0.8e12, 2.0e7)

AIR_HEAT = 1.19 * 1006.0  # rho cp of the air, J/(m3 K)
AIR_CONDUCTANCE = 75.0  # W/K at AIR_FLOW, grows with flow^0.6
AIR_FLOW = 0.08  # m3/s
WATER_CONDUCTANCE = 400.0  # W/K at COOLANT_FLOW, grows with flow^0.8
COOLANT_FLOW = 6e-5  # m3/s
#: Thermal resistance of a block from coolant to component, R0 + R1 (6e-5/q)^0.6 in K/W, as (R0, R1).
CPU_RESISTANCE = (0.040, 0.030)
GPU_RESISTANCE = (0.030, 0.020)

#: Library, fluid and mass fraction; pg20 is 20 % propylene glycol by mass.
COOLANTS = {"water": ("HEOS", "Water", None), "pg20": ("INCOMP", "MPG", 0.2)}
LAYOUTS = ("series", "parallel")

#: The design of cases A to D; case E runs the pump at 0.6 of its speed.
DESIGN = {
    "speed": 1.0,  # pump speed over full speed
    "bore": 0.010,  # m, smooth tube
    "length": 2.4,  # m, 12 pieces of 0.20 m
    "fittings": 14.0,
    "air_flow": 0.08,  # m3/s through the radiator
    "power_cpu": 250.0,  # W
    "power_gpu": 300.0,  # W
    "room": 24.0,  # degC
}

#: Published answers to the digits printed. Flows in L/min, temperatures in degC.
#: Four independent routes gave them: this one, EPANET through wntr, pandapipes and TESPy.
ANSWER_COLUMNS = ("flow", "flow_cpu", "flow_gpu", "reynolds", "effectiveness", "t_hot", "t_cold", "t_cpu", "t_gpu")
#: Decimals printed in each column.
ANSWER_DECIMALS = dict(zip(ANSWER_COLUMNS, (6, 5, 5, 0, 6, 5, 5, 5, 5), strict=True))


def _case(coolant: str, layout: str, speed: float, *answers: float) -> dict:
    """Return one published case as a dict."""
    return {
        "coolant": coolant,
        "layout": layout,
        "design": DESIGN | {"speed": speed},
        "answers": dict(zip(ANSWER_COLUMNS, answers, strict=True)),
    }


CASES = {
    "A": _case(
        "water", "series", 1.0, 4.027643, 4.02764, 4.02764, 11994, 0.450137, 36.75802, 34.78523, 52.24511, 50.82921
    ),
    "B": _case(
        "water", "parallel", 1.0, 6.035920, 2.74474, 3.29118, 17855, 0.475006, 36.09005, 34.77381, 54.25721, 50.76389
    ),
    "C": _case(
        "pg20", "series", 1.0, 4.026538, 4.02654, 4.02654, 6650, 0.449156, 36.78589, 34.75908, 52.23239, 50.84326
    ),
    "D": _case(
        "pg20", "parallel", 1.0, 5.986408, 2.72205, 3.26436, 9805, 0.473856, 36.11940, 34.75611, 54.30715, 50.80084
    ),
    "E": _case(
        "water", "series", 0.6, 2.272838, 2.27284, 2.27284, 6866, 0.402670, 38.26193, 34.76507, 55.44310, 54.21487
    ),
}


def coolant_properties(coolant: str) -> Callable[[float], tuple[float, float, float]]:
    """
    Return the property function of a coolant at one atmosphere.

    Parameters
    ----------
    coolant : str
        "water" or "pg20".

    Returns
    -------
    callable
        Temperature in degC -> density kg/m3, viscosity Pa s, specific heat J/(kg K).
    """
    library, name, fraction = COOLANTS[coolant]
    fluid = f"{library}::{name}" if fraction is None else f"{library}::{name}[{fraction}]"

    def properties(temperature: float) -> tuple[float, float, float]:
        kelvin = temperature + ZERO_CELSIUS
        density = PropsSI("D", "T", kelvin, "P", ATMOSPHERE, fluid)
        viscosity = PropsSI("V", "T", kelvin, "P", ATMOSPHERE, fluid)
        specific_heat = PropsSI("C", "T", kelvin, "P", ATMOSPHERE, fluid)
        return density, viscosity, specific_heat

    return properties


@cache
def state_properties(coolant: str) -> Callable[[float], tuple[float, float, float]]:
    """
    Return the same property function through the low-level object, one state update for all three.

    Parameters
    ----------
    coolant : str
        "water" or "pg20".

    Returns
    -------
    callable
        As `coolant_properties`.
    """
    library, fluid, fraction = COOLANTS[coolant]
    state = CoolProp.AbstractState(library, fluid)
    if fraction is not None:
        state.set_mass_fractions([fraction])

    def properties(temperature: float) -> tuple[float, float, float]:
        state.update(CoolProp.PT_INPUTS, ATMOSPHERE, temperature + ZERO_CELSIUS)
        return state.rhomass(), state.viscosity(), state.cpmass()

    return properties


def friction_law(name: str) -> Callable[[float], float]:
    """
    Return the Darcy friction factor of a smooth tube as a function of the Reynolds number.

    Parameters
    ----------
    name : str
        "fluids" (64/Re below 2040, Colebrook above, so it jumps there) or "churchill" (1977, smooth).
    """
    if name == "fluids":
        return friction_factor
    if name == "churchill":
        return lambda reynolds: Churchill_1977(reynolds, 0.0)
    raise ValueError(f"friction law {name!r}: expected 'fluids' or 'churchill'")


def block_flows(flow: float, layout: str) -> tuple[float, float]:
    """Return the flows through the cpu and gpu blocks; in parallel both have the same pressure drop."""
    if layout == "series":
        return flow, flow
    if layout != "parallel":
        raise ValueError(f"layout {layout!r}: expected one of {LAYOUTS}")
    square_cpu, linear_cpu = CPU_BLOCK
    square_gpu, linear_gpu = GPU_BLOCK
    # cpu(q) = gpu(flow - q) is a quadratic in q; this form of its root also holds for equal blocks.
    linear = linear_cpu + linear_gpu + 2.0 * square_gpu * flow
    constant = flow * (square_gpu * flow + linear_gpu)
    flow_cpu = 2.0 * constant / (linear + (linear**2 + 4.0 * (square_cpu - square_gpu) * constant) ** 0.5)
    return flow_cpu, flow - flow_cpu


def _drop(law: tuple[float, float], flow: float) -> float:
    """Return the pressure drop of a part, Pa."""
    square, linear = law
    return flow * (square * flow + linear)


def _reynolds(design: dict, flow: float, density: float, viscosity: float) -> float:
    return 4.0 * density * flow / (pi * design["bore"] * viscosity)


def pressure_balance(
    flow: float, design: dict, layout: str, density: float, viscosity: float, friction: Callable[[float], float]
) -> float:
    """Return pump pressure minus loop losses in Pa; zero at the operating flow."""
    pump = density * GRAVITY * (design["speed"] ** 2 * PUMP_HEAD - PUMP_SQUARE * flow**2)
    velocity = 4.0 * flow / (pi * design["bore"] ** 2)
    factor = friction(_reynolds(design, flow, density, viscosity))
    losses = factor * design["length"] / design["bore"] + design["fittings"] * FITTING_K + RESERVOIR_K
    tube = losses * density * velocity**2 / 2.0
    flow_cpu, flow_gpu = block_flows(flow, layout)
    blocks = _drop(CPU_BLOCK, flow_cpu)
    if layout == "series":
        blocks += _drop(GPU_BLOCK, flow_gpu)
    return pump - tube - blocks - _drop(RADIATOR, flow)


def radiator(design: dict, flow: float, capacity: float) -> tuple[float, float, float]:
    """
    Return effectiveness, inlet and outlet temperature of the radiator at steady heat.

    Crossflow with both streams unmixed, the exact relation. `capacity` is that of the coolant in W/K.
    """
    air_capacity = design["air_flow"] * AIR_HEAT
    conductance = 1.0 / (
        1.0 / (AIR_CONDUCTANCE * (design["air_flow"] / AIR_FLOW) ** 0.6)
        + 1.0 / (WATER_CONDUCTANCE * (flow / COOLANT_FLOW) ** 0.8)
    )
    smaller, larger = sorted((air_capacity, capacity))
    effectiveness = effectiveness_from_NTU(conductance / smaller, smaller / larger, subtype="crossflow")
    power = design["power_cpu"] + design["power_gpu"]
    hot = design["room"] + power / (effectiveness * smaller)
    return effectiveness, hot, hot - power / capacity


def component(inlet: float, power: float, flow: float, heat: float, resistance: tuple[float, float]) -> float:
    """Return the component temperature; `heat` is rho cp of the coolant in J/(m3 K)."""
    fixed, falling = resistance
    return inlet + power / (2.0 * heat * flow) + power * (fixed + falling * (COOLANT_FLOW / flow) ** 0.6)


def _solve(
    design: dict,
    properties: Callable,
    friction: Callable,
    layout: str,
    flow_tolerance: float,
    temperature_tolerance: float,
) -> dict:
    """Iterate flow and mean temperature until the temperature moves less than its tolerance."""
    highest = design["speed"] * (PUMP_HEAD / PUMP_SQUARE) ** 0.5
    mean = design["room"] + 10.0
    for _ in range(50):
        density, viscosity, specific_heat = properties(mean)
        flow = brentq(
            pressure_balance,
            1e-9,
            highest,
            xtol=flow_tolerance * highest,
            rtol=1e-15,
            args=(design, layout, density, viscosity, friction),
        )
        heat = density * specific_heat
        effectiveness, hot, cold = radiator(design, flow, heat * flow)
        previous, mean = mean, (hot + cold) / 2.0
        if abs(mean - previous) < temperature_tolerance:
            break
    else:
        raise RuntimeError(f"mean temperature still moves by {mean - previous:.3g} K after 50 rounds")
    flow_cpu, flow_gpu = block_flows(flow, layout)
    gpu_inlet = cold + design["power_cpu"] / (heat * flow) if layout == "series" else cold
    return {
        "flow": flow,
        "flow_cpu": flow_cpu,
        "flow_gpu": flow_gpu,
        "reynolds": _reynolds(design, flow, density, viscosity),
        "effectiveness": effectiveness,
        "t_hot": hot,
        "t_cold": cold,
        "t_cpu": component(cold, design["power_cpu"], flow_cpu, heat, CPU_RESISTANCE),
        "t_gpu": component(gpu_inlet, design["power_gpu"], flow_gpu, heat, GPU_RESISTANCE),
        "t_mean": mean,
        "density": density,
        "viscosity": viscosity,
        "specific_heat": specific_heat,
    }


def solve_plain(
    design: dict, coolant: str = "water", layout: str = "series", friction: str = "fluids", low_level: bool = False
) -> dict:
    """
    Solve one design as a plain loop of library calls; the baseline of every speed ratio.

    Parameters
    ----------
    design : dict
        The keys of `DESIGN`.
    coolant : str
        "water" or "pg20".
    layout : str
        "series", or "parallel" for the two blocks between ideal manifolds.
    friction : str
        "fluids" or "churchill".
    low_level : bool
        Take the properties from `state_properties`: the same numbers, faster.

    Returns
    -------
    dict
        flow, flow_cpu, flow_gpu (m3/s), reynolds, effectiveness, t_hot, t_cold, t_cpu, t_gpu (degC) and the
        mean temperature with the density, viscosity and specific heat there.
    """
    properties = state_properties(coolant) if low_level else coolant_properties(coolant)
    return _solve(design, properties, friction_law(friction), layout, 1e-9, 1e-6)


def solve_tight(
    design: dict,
    properties: Callable[[float], tuple[float, float, float]],
    friction: str | Callable[[float], float] = "churchill",
    layout: str = "series",
) -> dict:
    """
    Solve the same model with supplied properties, converged to 1e-12 in flow and 1e-12 K.

    Parameters
    ----------
    design, layout
        As in `solve_plain`.
    properties : callable
        Temperature in degC -> density kg/m3, viscosity Pa s, specific heat J/(kg K).
    friction : str or callable
        A name as in `solve_plain`, or Reynolds number -> Darcy friction factor.

    Returns
    -------
    dict
        As `solve_plain`.
    """
    law = friction_law(friction) if isinstance(friction, str) else friction
    # Rounding alone moves a temperature near 40 degC by 7e-15 K; 1e-12 K leaves room for that.
    return _solve(design, properties, law, layout, 1e-16, 1e-12)


def sweep_designs(count: int, seed: int = 1) -> dict[str, np.ndarray]:
    """
    Draw designs for a sweep.

    Each column is drawn whole, in the order of the table below, from numpy.random.default_rng(seed).
    All are uniform; fittings are whole numbers, both ends included.

    Parameters
    ----------
    count : int
        Number of designs.
    seed : int
        Seed of the generator.

    Returns
    -------
    dict of ndarray
        speed 0.5-1, bore 7-13 mm (in m), length 1-5 m, fittings 4-30, air_flow 0.03-0.14 m3/s,
        power_cpu 60-350 W, power_gpu 60-500 W, room 16-32 degC.
    """
    draw = np.random.default_rng(seed)
    return {
        "speed": draw.uniform(0.5, 1.0, count),
        "bore": draw.uniform(0.007, 0.013, count),
        "length": draw.uniform(1.0, 5.0, count),
        "fittings": draw.integers(4, 30, count, endpoint=True).astype(float),
        "air_flow": draw.uniform(0.03, 0.14, count),
        "power_cpu": draw.uniform(60.0, 350.0, count),
        "power_gpu": draw.uniform(60.0, 500.0, count),
        "room": draw.uniform(16.0, 32.0, count),
    }


def design_rows(designs: dict[str, np.ndarray]) -> list[dict[str, float]]:
    """Return a sweep as a list of designs, each a dict of plain numbers."""
    names = list(designs)
    columns = [designs[name].tolist() for name in names]
    return [dict(zip(names, row, strict=True)) for row in zip(*columns, strict=True)]
