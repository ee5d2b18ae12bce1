"""Solve a plan and read the answer: headline figures, components, elements, warnings."""

from dataclasses import dataclass
from functools import cached_property, reduce
from itertools import count
from typing import Any

import numpy as np
import pandas as pd

from loopmath import air, facts, network, rules, settle, thermal
from loopmath import loop as tree
from loopmath.checks import OutOfRange, one_of
from loopmath.designs import number_of_designs, one_design
from loopmath.laws import sound
from loopmath.loss import GRAVITY
from loopmath.plan import BALANCE, Plan
from loopmath.radiator import AirSide
from loopmath.rules import Fact
from loopmath.units import Quantity


def solve(plan: Plan, friction: str = "churchill") -> "Solution":
    """
    Solve a plan: flow, head, temperatures, for one design or for N at once.

    Parameters
    ----------
    plan : Plan
        Any number in it may be an array of N designs.
    friction : str
        Law of wall friction, a key of `laws.pipeflow.FRICTION_LAWS`.

    Returns
    -------
    solution : Solution

    Raises
    ------
    OutOfRange
        If the coolant of a single design would leave the range of its property data (no temperature is
        invented); in a plan of N designs those designs carry NaN instead.
    """
    answer = solved(plan, friction)
    if answer.designs is None and answer.outside:
        mean = float(answer.settled.mean_temperature)
        raise OutOfRange(
            f"coolant temperature ({plan.coolant.label})",
            round(mean, 1) if mean < 500 else "no steady value: hardly any heat leaves the radiators",
            f"{plan.coolant.low:g} to {plan.coolant.high:g} degC (the range of its property data)",
            "Raise the fan speed, add radiator, or take heat out of the loop.",
        )
    return answer


def solved(plan: Plan, friction: str = "churchill") -> "Solution":
    """Solve like `solve`, and let a design outside the coolant's data stand as a stated answer."""
    one_of("friction", friction, network.pipeflow.FRICTION_LAWS)
    designs = number_of_designs(plan)
    return Solution(plan, friction, designs, *settle.loop_and_air(plan, friction, designs))


@dataclass(frozen=True, eq=False)
class Solution:
    """
    The answer for one plan, or for N designs of it.

    The public figures are pint quantities (`.flow.to("L/min")`); the arrays behind them, SI and degC,
    are in `.state`. Tables are pandas DataFrames in the units their column names say.
    """

    plan: Plan
    friction: str
    designs: int | None
    root: network.Branch
    air: air.AirPaths
    settled: network.Settled

    # ------------------------------------------------------------------------------------------- arrays, SI

    @property
    def coolers(self) -> dict[str, thermal.Cooler]:
        """The radiators as the solver sees them."""
        return self.air.coolers

    @property
    def airs(self) -> dict[str, AirSide]:
        """The air through each radiator."""
        return self.air.sides

    @property
    def case_air(self) -> Any:
        """Air inside the case: as the plan gives it, or as it balances. [degC]"""
        return self.settled.air[0] if self.plan.case_air_by == BALANCE else self.plan.case_air

    @property
    def outside(self) -> Any:
        """True where the coolant would leave the range of its data."""
        return self.settled.outside & self.moving & ~self.backwards

    @cached_property
    def moving(self) -> Any:
        """True where coolant moves."""
        return np.asarray(self.settled.flows[0]) > 10 * network.STILL

    @property
    def plight(self) -> str:
        """Why no temperature of a single design can be stated, in words; empty where they can."""
        if not self.moving:
            return "Nothing flows: the pump cannot start this loop."
        if self.outside:
            limits = f"{self.plan.coolant.low:g} to {self.plan.coolant.high:g} °C"
            return f"The coolant would leave the range of its data, {limits}."
        if self.backwards:
            return "Coolant runs backwards through a branch, so the order of flow does not hold."
        return "" if self.known else "The solver did not settle on this design."

    @cached_property
    def known(self) -> Any:
        """True where temperatures can be stated."""
        return self.moving & ~np.asarray(self.settled.outside) & self.settled.settled & ~self.backwards

    @cached_property
    def backwards(self) -> Any:
        """True where coolant runs backwards through some branch, so that no order of flow holds."""
        least = reduce(np.minimum, self.settled.flows)
        return self.moving & (least < -10 * network.STILL)

    @cached_property
    def fluid(self) -> tuple:
        """Density, viscosity, heat capacity and conductivity of the coolant, as the solver last took them."""
        return self.plan.coolant.properties(self.settled.properties_at)

    @cached_property
    def walk(self) -> list[dict]:
        """Every element in flow order with flow, temperature in and out, heat given to the coolant."""
        rows: list[dict] = []
        density, _, heat_capacity, _ = self.fluid
        numbers = count()

        def stretch(item: Any, warm: Any) -> tuple[Any, Any]:
            index = next(numbers)
            flow = self.settled.flows[index] * self.moving
            moving = np.maximum(np.abs(flow), network.STILL)

            def visit(child: Any, warm: Any) -> Any:
                if isinstance(child, tree.Series):
                    for inner in child.items:
                        warm = visit(inner, warm)
                    return warm
                if isinstance(child, tree.Parallel):
                    mixed = 0.0
                    for branch in child.branches:
                        out, share = stretch(branch, warm)
                        mixed = mixed + out * share / moving
                    return mixed
                warm_out, heat = self._through(child, moving, density * heat_capacity * moving, warm)
                standing = isinstance(child, tree.DeadLeg)
                through = 0.0 * flow if standing else flow
                at = np.where(self.known, self.case_air, np.nan) if standing else warm
                row = {"element": child, "main": index == 0 and not standing, "flow": through, "heat": heat}
                rows.append(row | {"in": at, "out": at if standing else warm_out})
                return warm_out

            return visit(item, warm), flow

        stretch(self.plan.loop, np.where(self.known, self.settled.start_temperature, np.nan))
        return rows

    @cached_property
    def _losses(self) -> dict[str, dict[str, Any]]:
        """Pressure loss of every element by cause. [Pa]"""
        density, viscosity = self.fluid[:2]
        law = network.pipeflow.FRICTION_LAWS[self.friction]
        return {
            row["element"].name: {
                cause: network.branch_loss(network.alone(loss), row["flow"], density, viscosity, law)[0]
                for cause, loss in row["element"].losses().items()
            }
            for row in self.walk
        }

    def _loss(self, row: dict) -> Any:
        return sum(self._losses[row["element"].name].values(), 0.0 * row["flow"])

    def _through(self, leaf: Any, flow: Any, capacity: Any, warm: Any) -> tuple[Any, Any]:
        """Return (temperature out, heat given to the coolant) of one element."""
        if isinstance(leaf, tree.Source):
            heat = leaf.heat
        elif isinstance(leaf, tree.PumpUnit):
            heat = leaf.pump.heat_share * thermal.pump_power(leaf, flow)
        elif leaf.name in self.coolers:
            cooler = self.coolers[leaf.name]
            pull = thermal.cooler_pull(cooler, flow, capacity, self.fluid)
            heat = -pull * capacity * (warm - cooler.air_temperature)
        else:
            return warm, 0.0
        return warm + heat / capacity, np.where(self.known, heat, np.nan)

    @cached_property
    def state(self) -> dict[str, Any]:
        """
        The headline figures as floats or arrays, SI and degC.

        Keys: flow [m3/s], head [m], coolant_supply, coolant_return (main line), coolant_warmest (anywhere)
        [degC], coolant_over_room (of the warmest) [K], heat [W],
        sound [dB], pump_power, fan_power [W], case_air [degC], volume [m3], and one key for each component and part on
        air [degC].
        """
        flow = self.settled.flows[0] * self.moving
        # Elements that neither warm nor cool hand on the same array: it is looked at once.
        moving = [row for row in self.walk if not isinstance(row["element"], tree.DeadLeg)]
        ends = {id(row[end]): row[end] for row in moving for end in ("out", "in")}
        on_main = {id(row[end]): row[end] for row in moving if row["main"] for end in ("out", "in")}
        main = list(on_main.values()) or [moving[0]["in"]]
        hottest = reduce(np.maximum, list(ends.values()))
        pumps = [row for row in self._main_line() if isinstance(row["element"], tree.PumpUnit)]
        out = {
            "flow": flow,
            "head": sum((network.pump_head(row["element"], row["flow"]) for row in pumps), 0.0) * self.moving,
            "coolant_supply": reduce(np.minimum, main),
            "coolant_return": reduce(np.maximum, main),
            "coolant_warmest": hottest,
            "coolant_over_room": hottest - self.plan.room_air,
            "heat": sum((row["heat"] for row in self.walk if row["element"].name not in self.coolers), 0.0),
            "sound": sound.sum_levels(np.broadcast_arrays(*self.sounds().values())),
            "pump_power": sum(
                (thermal.pump_power(u, self.row(u.name)["flow"]) for u in self.plan.units(tree.PumpUnit)), 0.0
            ),
            "fan_power": sum((u.fan_power() for u in (*self.plan.fanned, *self.plan.case_fans)), 0.0),
            "case_air": np.where(self.known, self.case_air, np.nan),
            "volume": sum((leaf.volume() for leaf in tree.leaves(self.plan.loop)), 0.0),
        }
        for unit in self.plan.units(tree.Source):
            out[unit.name] = self._component(unit)
        for part in self.plan.on_air:
            out[part.name] = out["case_air"] + part.heat * part.resistance
        if self.designs is not None:
            out = {key: np.broadcast_to(value, (self.designs,)) for key, value in out.items()}
        return out

    def air_out(self, name: str) -> Any:
        """Return the temperature of the air leaving a radiator. [degC]"""
        cooler = self.coolers[name]
        return cooler.air_temperature - self.row(name)["heat"] / cooler.air_capacity

    def row(self, name: str) -> dict:
        """Return what is known of one element: flow, temperatures in and out, heat."""
        return next(row for row in self.walk if row["element"].name == name)

    def _main_line(self) -> list[dict]:
        """Return the rows whose losses add up to the head: of every parallel group one branch, a pumped one first."""
        keep: set[str] = set()

        def visit(item: Any) -> None:
            if isinstance(item, tree.Series):
                for child in item.items:
                    visit(child)
            elif isinstance(item, tree.Parallel):
                visit(max(item.branches, key=lambda branch: len(tree.of_kind(branch, tree.PumpUnit))))
            else:
                keep.add(item.name)

        visit(self.plan.loop)
        return [row for row in self.walk if row["element"].name in keep]

    def _component(self, unit: tree.Source) -> Any:
        row = self.row(unit.name)
        flow = np.maximum(np.abs(row["flow"]), network.STILL)
        return 0.5 * (row["in"] + row["out"]) + unit.heat * unit.block.thermal_resistance(flow)

    def sounds(self) -> dict[str, Any]:
        """Return the level of every source of sound at the listener, by name; minus infinity is silence. [dB]"""
        sources = (*self.plan.turning, *self.plan.on_air)
        return {u.name: sound.at_distance(u.sound(), self.plan.listener) for u in sources}

    # --------------------------------------------------------------------------------------- the public face

    @property
    def flow(self) -> Quantity:
        """Flow of the main line."""
        return Quantity(self.state["flow"], "m^3/s")

    @property
    def head(self) -> Quantity:
        """Head the pumps give and the loop takes, in metres of the coolant."""
        return Quantity(self.state["head"], "m")

    @property
    def coolant_supply(self) -> Quantity:
        """Coolest coolant of the main line: what leaves the radiators for the blocks."""
        return Quantity(self.state["coolant_supply"], "degC")

    @property
    def coolant_return(self) -> Quantity:
        """Warmest coolant of the main line, branches mixed: what arrives at the radiators."""
        return Quantity(self.state["coolant_return"], "degC")

    @property
    def components(self) -> pd.DataFrame:
        """What is cooled: heat, temperature, limit, margin, and its rise over the coolant."""
        rows = []
        for unit in self.plan.units(tree.Source):
            row, warm = self.row(unit.name), self.state[unit.name]
            local = 0.5 * (row["in"] + row["out"])
            rows.append((unit.name, unit.heat, warm, unit.limit, unit.limit - warm, warm - local, row["flow"] * 6e4))
        columns = [
            "component",
            "heat [W]",
            "temperature [degC]",
            "limit [degC]",
            "margin [K]",
            "over coolant [K]",
            "flow [L/min]",
        ]
        return self.frame(rows, columns)

    @property
    def elements(self) -> pd.DataFrame:
        """Every element in flow order: flow, loss, share of head, coolant in and out, heat, volume."""
        density = self.fluid[0]
        whole = np.maximum(self.state["head"] * density * GRAVITY, 1e-12)
        rows = [
            (
                row["element"].name,
                row["element"].kind,
                row["flow"] * 6e4,
                self._loss(row) / 1e3,
                self._loss(row) / (density * GRAVITY),
                100 * self._loss(row) / whole,
                row["in"],
                row["out"],
                row["heat"],
                row["element"].volume() * 1e6,
            )
            for row in self.walk
        ]
        columns = [
            "element",
            "kind",
            "flow [L/min]",
            "loss [kPa]",
            "loss [m]",
            "share of head [%]",
            "coolant in [degC]",
            "coolant out [degC]",
            "heat [W]",
            "volume [mL]",
        ]
        return self.frame(rows, columns)

    def frame(self, rows: list, columns: list) -> pd.DataFrame:
        """Return rows as a table; N designs give N rows each, with the design's number first."""
        if self.designs is None:
            return pd.DataFrame([[_plain(v) for v in row] for row in rows], columns=columns).set_index(columns[0])
        blocks = []
        for row in rows:
            values = {c: np.broadcast_to(v, (self.designs,)) for c, v in zip(columns, row, strict=True)}
            blocks.append(pd.DataFrame({"design": np.arange(self.designs)} | values))
        return pd.concat(blocks, ignore_index=True)

    @cached_property
    def head_shares(self) -> dict[str, Any]:
        """Where the head goes, by cause: [m] of tube friction, bends, fittings and each part."""
        out: dict[str, Any] = {}
        for row in self._main_line():
            for cause, loss in self._losses[row["element"].name].items():
                out[cause] = out.get(cause, 0.0) + loss / (self.fluid[0] * GRAVITY)
        return out

    @property
    def headline(self) -> pd.Series:
        """The headline figures of one design, units in the index."""
        s = self.state
        return pd.Series(
            {
                "flow [L/min]": s["flow"] * 6e4,
                "head [m]": s["head"],
                "coolant supply [degC]": s["coolant_supply"],
                "coolant return [degC]": s["coolant_return"],
                "coolant rise [K]": s["coolant_return"] - s["coolant_supply"],
                "coolant over room [K]": s["coolant_over_room"],
                "heat [W]": s["heat"],
                "sound [dB]": s["sound"],
                "pump power [W]": s["pump_power"],
                "fan power [W]": s["fan_power"],
                "coolant volume [mL]": s["volume"] * 1e6,
            },
            name=self.plan.title,
        )

    @property
    def warnings(self) -> pd.DataFrame:
        """
        What warns, gravest first: signal word, where, quantity, value, limit, why, action, source.

        Raises
        ------
        InputError
            For N designs; use `warning_counts` there, or solve one design.
        """
        one_design("warnings", self.designs, "Use warning_counts for many.")
        return rules.table(self.facts, house=self.plan.house_rules)

    def warned(self, system: str = "metric") -> list[rules.Warned]:
        """Return the warnings as records, values in "metric" or "us" units."""
        if system not in self._warned:
            self._warned[system] = rules.warnings_of(self.facts, system, self.plan.house_rules)
        return self._warned[system]

    @cached_property
    def _warned(self) -> dict[str, list[rules.Warned]]:
        return {}

    def warning_counts(self) -> dict[str, np.ndarray]:
        """Return for each signal word how many rules fire, for each design."""
        return rules.counts(self.facts, self.designs or 1, self.plan.house_rules)

    @cached_property
    def facts(self) -> list[Fact]:
        """What the rules judge, place by place."""
        return facts.of(self)


def _plain(value: Any) -> Any:
    """Return a number as a Python float, anything else as it is."""
    return float(value) if np.ndim(value) == 0 and not isinstance(value, str) else value
