"""What the rules judge of an answer: named quantities at places, for one design or N."""

from collections.abc import Iterator
from functools import reduce
from typing import Any

import numpy as np

from loopmath import electrical, parts_list, run_checks, wetted
from loopmath import loop as tree
from loopmath.air import STILL_AIR
from loopmath.loss import area_of
from loopmath.plan import BALANCE
from loopmath.rules import Fact


def of(solution: Any) -> list[Fact]:
    """Return what the rules judge of a solution (`solution.Solution`), place by place."""
    plan, s = solution.plan, solution.state
    hottest = s["coolant_warmest"]
    facts = [
        Fact("loop flow", "loop", s["flow"]),
        Fact("coolant against your limit", "coolant", hottest, plan.coolant_limit),
        Fact("coolant over room", "radiators", s["coolant_over_room"]),
        Fact("sound against your limit", "machine", s["sound"], plan.sound_limit),
        Fact("coolant outside its data", "coolant", np.where(solution.outside, 1.0, 0.0)),
    ]
    facts += [
        Fact("coolant against pump limit", u.name, solution.row(u.name)["in"], u.pump.coolant_limit)
        for u in plan.units(tree.PumpUnit)
    ]
    facts += [Fact("component below its limit by", u.name, u.limit - s[u.name]) for u in plan.components]
    if plan.budget is not None:
        facts.append(
            Fact("cost against your budget", "parts", parts_list.cost(parts_list.parts_list(plan)), plan.budget)
        )
    facts += _tube_facts(solution) + wetted.warm_facts(solution) + wetted.facts(plan)
    facts += _fan_facts(solution) + _branch_facts(solution)
    facts += _air_facts(solution) + electrical.facts(plan) + _measured_facts(solution)
    return facts + run_checks.facts(plan, hottest)


def _measured_facts(solution: Any) -> list[Fact]:
    """Flows beyond what was measured of a part; pumps and fans carried to full speed, as their curves are."""
    facts: list[Fact] = []

    def note(where: str, flow: Any, low: Any, high: Any, what: str = "flow") -> None:
        seen = np.where(solution.moving, flow, np.nan)
        for limit, side in ((high, "over"), (low, "under")):
            if limit is not None:  # half a percent is no other flow: the air of another day does as much
                close = np.abs(seen - limit) <= 0.005 * limit
                facts.append(Fact(f"{what} {side} what was measured", where, np.where(close, limit, seen), limit))

    for unit in solution.plan.units(tree.Element):
        if hasattr(unit.part, "measured_to"):
            flow = solution.row(unit.name)["flow"]
            if isinstance(unit, tree.PumpUnit):
                flow = _at_full(flow, unit.pump.turning(unit.speed))
            note(unit.name, flow, unit.part.measured_from, unit.part.measured_to)
        if isinstance(unit, tree.RadiatorUnit):
            each = solution.airs[unit.name].flow / unit.radiator.positions
            ends = (unit.radiator.measured_air_from, unit.radiator.measured_air_to)
            note(f"air of {unit.name}", each, *ends, what="air flow")
            if unit.fan is not None:
                at_full = _at_full(each, unit.fan.turning(unit.fan_speed))
                note(f"fans of {unit.name}", at_full, unit.fan.measured_from, unit.fan.measured_to, what="air flow")
    return facts


def _branch_facts(solution: Any) -> list[Fact]:
    """The flow of every branch of a parallel group, under the name of its first element with flow."""
    groups = [b for item in _parallels(solution.plan.loop) for b in item.branches]
    firsts = [next(e for e in tree.leaves(b) if not isinstance(e, tree.DeadLeg)) for b in groups]
    return [
        Fact("branch flow", f"branch of {e.name}", np.where(solution.moving, solution.row(e.name)["flow"], np.nan))
        for e in firsts
    ] + [Fact("design that did not settle", "solver", np.where(solution.settled.settled, 0.0, 1.0))]


def _tube_facts(solution: Any) -> list[Fact]:
    """Velocity, Reynolds number and rated limit; the worst run of each tube speaks."""
    groups: dict[str, list] = {}
    for row in solution.walk:
        if isinstance(row["element"], tree.Run):
            groups.setdefault(row["element"].tube.name, []).append(row)
    facts: list[Fact] = []
    for name, runs in groups.items():
        tube = runs[0]["element"].tube
        speeds = [row["flow"] / area_of(row["element"].tube.bore) for row in runs]
        fastest, slowest = reduce(np.maximum, speeds), reduce(np.minimum, speeds)
        slowest = np.where(solution.moving, slowest, np.nan)
        facts += [
            Fact("tube velocity", name, fastest),
            Fact("slowest tube velocity", name, slowest),
            Fact("Reynolds number in the tube", name, slowest * tube.bore * solution.fluid[0] / solution.fluid[1]),
            Fact("coolant against tube limit", name, reduce(np.maximum, [r["in"] for r in runs]), tube.coolant_limit),
        ]
    return facts


def _fan_facts(solution: Any) -> list[Fact]:
    facts = []
    for unit in solution.plan.fanned:
        where = f"fans of {unit.name}"
        # The slowest and the fastest of its fans; where a design has no fan of a speed, that speed says nothing.
        asked = [
            np.where(np.asarray(many * series) > 0, speed, np.nan)
            for many, sides in unit.asked()
            for series, speed, _ in sides
        ]
        slowest, fastest = reduce(np.fmin, asked), reduce(np.fmax, asked)
        facts.append(Fact("fan speed over its least speed by", where, slowest - unit.fan.least_speed))
        turning = np.asarray(unit.fan.turning(fastest)) > 0
        share = np.where(turning, solution.airs[unit.name].share_of_free_flow, np.nan)
        facts.append(Fact("share of the fan's free flow", where, share))
    for fans in solution.plan.case_fans:
        facts.append(Fact("fan speed over its least speed by", fans.name, fans.speed - fans.fan.least_speed))
    return facts


def _air_facts(solution: Any) -> list[Fact]:
    """Warmth of the case where it is worked out, and paths on which air goes against its fans."""
    if solution.plan.case_air_by != BALANCE:
        return []
    facts = [Fact("case air over room", "case", solution.state["case_air"] - solution.plan.room_air)]
    least: dict[str, Any] = {}
    for duct, flow in zip(solution.air.ducts, solution.air.flows, strict=True):
        if duct.stream >= 0 or duct.fans:
            least[duct.name] = np.minimum(flow, least.get(duct.name, flow))
    return facts + [Fact("air drawn backwards", name, np.where(q < -STILL_AIR, 1.0, 0.0)) for name, q in least.items()]


def _parallels(item: Any) -> Iterator[tree.Parallel]:
    """Yield every parallel group of a tree."""
    if isinstance(item, tree.Parallel):
        yield item
    for child in getattr(item, "items", ()) or getattr(item, "branches", ()):
        yield from _parallels(child)


def _at_full(flow: Any, turning: Any) -> Any:
    """Return a flow carried to full speed, NaN for a machine that stands."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(np.asarray(turning) > 0, flow / turning, np.nan)
