"""
Temperature along the flow: every element maps the coolant affinely, so the closed loop is a fixed point.

Air whose temperature is not known beforehand is solved with it: each `AirNode` is one more straight equation.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from loopmath import loop as tree
from loopmath.laws import convection
from loopmath.radiator import AirSide

#: Flow below which nothing is said to move [m3/s]: 0.06 mL/min.
STILL = 1e-9


@dataclass(frozen=True, eq=False)
class Heater:
    """Heat that enters the coolant at one place. [W]"""

    name: str
    heat: Any


@dataclass(frozen=True, eq=False)
class PumpHeater:
    """The part of a pump's electrical power that warms the coolant."""

    name: str
    unit: tree.PumpUnit


@dataclass(frozen=True, eq=False)
class Cooler:
    """
    A radiator with its air side settled: pulls the coolant towards the air entering it.

    That air has `air_temperature`, and `weights` times the temperatures of the air nodes on top of it while those are
    still solved for.
    """

    name: str
    air_temperature: Any
    air_capacity: Any
    air_resistance: Any
    conductance: Callable
    weights: tuple = ()


@dataclass(frozen=True, eq=False)
class Inflow:
    """Air that enters a node: its capacity [W/K], and its temperature [degC] or the cooler it comes out of."""

    capacity: Any
    temperature: Any = None
    cooler: str = ""


@dataclass(frozen=True, eq=False)
class AirNode:
    """Air at one place, well mixed, whose temperature is solved with the loop; `pumps` warm it with what they lose."""

    name: str
    inflows: tuple[Inflow, ...]
    heat: Any = 0.0
    pumps: bool = False


def cooler_pull(cooler: Cooler, flow: Any, capacity: Any, fluid: tuple) -> Any:
    """Return eps C_min / C_coolant: the share of its lead over the air that the coolant gives up."""
    air = cooler.air_capacity
    conductance = 1.0 / (cooler.air_resistance + 1.0 / cooler.conductance(flow, *fluid))
    least, most = np.minimum(air, capacity), np.maximum(air, capacity)
    return convection.crossflow_effectiveness(conductance / least, least / most) * least / capacity


@dataclass(eq=False)
class _Found:
    """What a walk along the flow collects: temperatures behind each element, each cooler's share, what pumps lose."""

    nodes: list
    coolers: dict
    spare: Any = 0.0


def _affine(branch: Any, flows: list, fluid: tuple, found: _Found, warm: list) -> list:
    """
    Return the temperature at a branch's end as [a, b, w...]: a T_start + b + w times the temperatures of the air nodes.

    `warm` is that at its beginning. `found.nodes` collects (temperature, on the main line or not) behind every element
    that warms or cools, `found.coolers` (what of the lead of coolant over air the air takes on, temperature before).
    """
    flow = np.maximum(np.abs(flows[branch.index]), STILL)
    capacity = fluid[0] * fluid[2] * flow
    for element in branch.thermal:
        if isinstance(element, Heater):
            warm = [warm[0], warm[1] + element.heat / capacity, *warm[2:]]
        elif isinstance(element, Cooler):
            pull = cooler_pull(element, flow, capacity, fluid)
            found.coolers[element.name] = (element, pull * capacity / element.air_capacity, warm)
            air = (element.air_temperature, *element.weights)
            warm = [warm[0] * (1 - pull), *(w + pull * (t - w) for w, t in zip(warm[1:], air, strict=True))]
        elif isinstance(element, PumpHeater):
            power, share = pump_power(element.unit, flow), element.unit.pump.heat_share
            found.spare = found.spare + (1.0 - share) * power
            warm = [warm[0], warm[1] + share * power / capacity, *warm[2:]]
        else:
            ends = [(child, _affine(child, flows, fluid, found, warm)) for child in branch.groups[element]]
            shares = [np.maximum(flows[child.index], 0.0) / flow for child, _ in ends]
            warm = [sum(share * end[n] for share, (_, end) in zip(shares, ends, strict=True)) for n in range(len(warm))]
        found.nodes.append((warm, branch.index == 0))
    return warm


def pump_power(unit: tree.PumpUnit, flow: Any) -> Any:
    """Return the electrical power of a pump at a flow. [W]"""
    return unit.pump.power(flow, unit.pump.turning(unit.speed))


def temperatures(root: Any, flows: list, fluid: tuple, air: tuple | None) -> tuple:
    """
    Return the temperature at the loop's start, the middle of the main line's, the warmest and the coolest, and a list.

    The list holds the temperatures of the air nodes and of the air leaving each cooler, unless `air` is None.
    """
    found, nodes = _Found([], {}), air or ()
    end = _affine(root, flows, fluid, found, [1.0, 0.0, *([0.0] * len(nodes))])
    known = _fixed_point(end, nodes, found)
    start = known[0]

    def value(warm: list) -> Any:
        return sum((w * u for w, u in zip(warm[2:], known[1:], strict=True)), warm[0] * start + warm[1])

    warmest = coolest = high = low = start
    for warm, main in found.nodes:
        node = value(warm)
        high, low = np.maximum(high, node), np.minimum(low, node)
        if main:
            warmest, coolest = np.maximum(warmest, node), np.minimum(coolest, node)
    extra = known[1:]
    for cooler, lift, before in found.coolers.values() if air is not None else ():
        enters = value([0.0, cooler.air_temperature, *cooler.weights])
        extra.append(enters + lift * (value(before) - enters))
    return start, 0.5 * (warmest + coolest), high, low, extra


def _fixed_point(end: list, air: tuple, found: _Found) -> list:
    """
    Return [T_start, temperature of each air node].

    The loop closes on itself and every node of air balances its heat: one small set of straight equations for each
    design, its diagonal the largest, solved by elimination with the coolant last.
    """
    rows = [[1.0 - end[0], *(-w for w in end[2:])]]
    right = [end[1]]
    for place, node in enumerate(air, start=1):
        row, gains = [0.0] * (len(air) + 1), node.heat + (found.spare if node.pumps else 0.0)
        for inflow in node.inflows:
            row[place] = row[place] + inflow.capacity
            if inflow.cooler:
                cooler, lift, before = found.coolers[inflow.cooler]
                row[0] = row[0] - inflow.capacity * lift * before[0]
                enters = (cooler.air_temperature, *cooler.weights)
                leaves = [t + lift * (w - t) for t, w in zip(enters, before[1:], strict=True)]
                gains = gains + inflow.capacity * leaves[0]
                row[1:] = [r - inflow.capacity * w for r, w in zip(row[1:], leaves[1:], strict=True)]
            else:
                gains = gains + inflow.capacity * inflow.temperature
        rows.append(row)
        right.append(gains)
    for pivot in range(len(air), 0, -1):
        least = np.maximum(rows[pivot][pivot], 1e-9)
        for row in range(pivot):
            factor = rows[row][pivot] / least
            right[row] = right[row] - factor * right[pivot]
            rows[row][:pivot] = [r - factor * p for r, p in zip(rows[row][:pivot], rows[pivot][:pivot], strict=True)]
    known = [right[0] / np.maximum(rows[0][0], 1e-12)]
    for place in range(1, len(air) + 1):
        rest = sum(r * k for r, k in zip(rows[place], known, strict=False))
        known.append((right[place] - rest) / np.maximum(rows[place][place], 1e-9))
    return known


def cooler_of(unit: tree.RadiatorUnit, air_temperature: Any, density: Any) -> tuple[Cooler, AirSide]:
    """Return the radiator as the solver sees it, and its air side."""
    air = unit.air_side(air_temperature, density)
    capacity = np.maximum(air.capacity, 1e-9)
    resistance = 1.0 / np.maximum(air.conductance, 1e-12)
    return Cooler(unit.name, air_temperature, capacity, resistance, unit.radiator.liquid_conductance()), air


def cooler_names(branch: Any) -> Iterator[str]:
    """Yield the names of the coolers in the order a walk along the flow meets them."""
    for element in branch.thermal:
        if isinstance(element, Cooler):
            yield element.name
        elif isinstance(element, int):
            for child in branch.groups[element]:
                yield from cooler_names(child)
