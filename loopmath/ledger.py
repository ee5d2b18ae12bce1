"""Where air goes and where heat comes from and goes to, of an answer: the books of `solution.Solution`."""

from typing import Any

import numpy as np
import pandas as pd

from loopmath import loop as tree
from loopmath.air import CASE, ROOM, Warmth, paths
from loopmath.laws import coolant as coolants
from loopmath.plan import BALANCE


def air_table(solution: Any) -> pd.DataFrame:
    """
    Return all that air passes: from where to where, how much, how warm it enters and leaves, what heat it takes on.

    Air that is drawn backwards, against its fans, has its places the other way round. "either": fans of two speeds let
    some of it back, or N designs differ.
    """
    columns = ["path", "from", "to", "air flow [m3/h]", "air in [degC]", "air out [degC]", "heat taken on [W]"]
    room, case, rows = solution.plan.room_air, solution.case_air, []
    for number, row in enumerate(solution.air.rows):
        ahead = solution.air.forward(number)
        stops = [row.source, *(u.name for u in row.units[:-1]), row.target]
        for place, unit in enumerate(row.units):
            after = row.target if place == len(row.units) - 1 else row.units[place + 1].name
            ends = _either(ahead, stops[place], after)
            heat, cooler = -solution.row(unit.name)["heat"], solution.coolers[unit.name]
            flow = 3600 * solution.airs[unit.name].flow
            rows.append((unit.name, *ends, flow, cooler.air_temperature, solution.air_out(unit.name), heat))
    for duct, flow in zip(solution.air.ducts, solution.air.flows, strict=True):
        if duct.stream < 0:
            ahead = np.asarray(flow) >= 0
            warm = np.where(ahead == (duct.source == ROOM), room, case)
            heat = duct.power + 0.0 * flow
            rows.append(
                (duct.name, *_either(1.0 * ahead, duct.source, duct.target), 3600 * np.abs(flow), warm, warm, heat)
            )
    return solution.frame(rows, columns)


def ducts(solution: Any) -> tuple[tuple, tuple, Any]:
    """Return the ducts of an answer, their flows [m3/s] and the pressure of the case over the room [Pa]."""
    if solution.air.ducts:
        return solution.air.ducts, solution.air.flows, solution.air.pressure
    into = {name: cooler.air_temperature for name, cooler in solution.coolers.items()}
    out = {name: np.where(solution.known, solution.air_out(name), into[name]) for name in into}
    settled = paths(solution.plan, Warmth(solution.case_air, into, out))
    return settled.ducts, settled.flows, settled.pressure


def _either(ahead: Any, source: str, target: str) -> tuple[str, str]:
    """Return the places a path goes from and to; `ahead` is the share that goes ahead."""
    if np.all(ahead == 1.0):
        return source, target
    return (target, source) if np.all(ahead == 0.0) else ("either", "either")


def energy(solution: Any) -> dict[str, Any]:
    """
    Return where heat comes from and where it goes. [W]

    What is given to coolant or air is positive, what leaves into the room negative. Where the air of the case is
    balanced, the sum is zero. Where it is given, the case itself takes or gives what is missing, and parts on air are
    not counted.
    """
    plan, state = solution.plan, solution.state
    balanced = plan.case_air_by == BALANCE
    room, case = plan.room_air, solution.case_air
    out = {source.name: source.heat for source in plan.units(tree.Source)}
    out |= {"pumps": state["pump_power"], "fans": state["fan_power"]}
    if balanced:
        out |= {part.name: part.heat for part in plan.on_air}
        out["other heat in the case"] = plan.case_heat
        for duct, flow in zip(solution.air.ducts, solution.air.flows, strict=True):
            if duct.stream < 0:
                outward = flow if duct.source == CASE else -flow
                warm = coolants.AIR_HEAT_CAPACITY * duct.density * np.maximum(outward, 0.0) * (case - room)
                out[f"air of {duct.name}"] = -warm - duct.power * (duct.target == ROOM)
        out["walls of the case"] = -np.maximum(plan.case_wall_loss, 0.0) * (case - room)
    for number, row in enumerate(solution.air.rows):
        ahead, first, last = solution.air.forward(number), row.units[0].name, row.units[-1].name
        capacity = solution.coolers[first].air_capacity
        power = sum(unit.fan_power() for unit in row.units)
        leaves = ahead * (solution.air_out(last) - room) * (row.target == ROOM)
        leaves = leaves + (1.0 - ahead) * (solution.air_out(first) - room) * (row.source == ROOM)
        out[f"air of {first}"] = -capacity * leaves - power * (row.target == ROOM)
    return out


def energy_table(solution: Any) -> pd.DataFrame:
    """Return `energy` of one design as a table, what comes in first, with its sum."""
    rows = {name: float(heat) for name, heat in energy(solution).items()}
    rows = {name: heat for name, heat in sorted(rows.items(), key=lambda item: -item[1]) if abs(heat) > 1e-3}
    return pd.DataFrame({"heat [W]": rows | {"sum": round(sum(rows.values()), 9) + 0.0}})
