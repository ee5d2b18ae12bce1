"""Writes the equations of the loop in time at one setting, node by node, for `transient.Dynamics`."""

from collections.abc import Callable
from dataclasses import replace
from functools import cached_property
from itertools import count
from typing import Any

import numpy as np

from loopmath import air as airs
from loopmath import loop as tree
from loopmath import network, settle, thermal
from loopmath.checks import InputError
from loopmath.laws.coolant import Coolant
from loopmath.plan import BALANCE, Plan
from loopmath.regime import LEAD_STEP, MOST_LEAD, Regime, radiator_loss, tube_loss

#: Flow at which a block's law gives its resistance to coolant that stands: an estimate, no source. A film that has
#: developed grows no thicker, so the law is not followed down to nothing. [m3/s]
STILL_BLOCK = 0.3e-3 / 60
#: Step of the row of coolant temperatures the equations are made for. [K]
STEP = 2.5
#: A node that stores less than this counts as storing nothing: a quarter of a microlitre of water. [J/K]
LEAST_CAPACITY = 1e-3
#: A component nearer to its coolant or air than this is as warm as they are but for what its heat makes of it. [K/W]
LEAST_RESISTANCE = 1e-6


def apart(item: tree.Source) -> bool:
    """Return True if a component stands behind a resistance; if not, it counts with the coolant of its block."""
    return item.block.resistance + item.block.flow_resistance >= LEAST_RESISTANCE


def group_name(item: tree.Parallel) -> str:
    """Return what the place is called where the branches of a group meet again."""
    return "behind " + " and ".join(leaf.name for leaf in tree.leaves(item))


def air_side(plan: Plan, warmth: airs.Warmth) -> tuple[dict[str, thermal.Cooler], tuple[thermal.AirNode, ...]]:
    """Return radiators and nodes of air of a plan, the heat of its parts on air left out: it is an input here."""
    if not airs.plain(plan):
        quiet = replace(plan, on_air=tuple(replace(part, heat=0.0) for part in plan.on_air))
        paths = airs.paths(quiet, warmth)
        return paths.coolers, paths.nodes
    return settle.given_air(plan).coolers, ()


def flows_at(plan: Plan, temperatures: np.ndarray, friction: str) -> list:
    """Return the flow of each branch at property temperatures [degC], all solved as designs of one plan. [m3/s]"""
    columns = [np.log(c) if n == 1 else c for n, c in enumerate(plan.coolant.properties(temperatures))]
    fixed = [np.array([c, 0.0 * c]) for c in columns]
    frozen = Coolant("", "", "", 0.0, "none", 0.0, -1e3, 1e3, *fixed)
    quiet = plan.with_loop(lambda leaf: replace(leaf, heat=0.0) if isinstance(leaf, tree.Source) else leaf)
    root = network.collapse(quiet.loop, {}, count())
    settled = network.solve_tree(root, frozen, temperatures, friction, len(temperatures))
    if not np.all(settled.settled):
        raise InputError("plan", "a flow that did not settle", "a loop whose flow settles")
    if min(np.min(flow) for flow in settled.flows) < -10 * network.STILL:
        raise InputError("plan", "coolant that runs backwards through a branch", "a loop whose coolant goes one way")
    return settled.flows


class Assembly:
    """Writes the equations of one regime, node by node, and takes out those that store nothing."""

    def __init__(self, model: Any, plan: Plan, stopped: tuple[str, ...]) -> None:
        self.model, self.plan, self.stopped = model, plan, stopped
        self.moving = not model.standing(plan)
        low, high = plan.coolant.low, plan.coolant.high
        own = float(np.clip(model.answer.settled.properties_at, low, high))
        grid = np.linspace(low, high, round((high - low) / STEP) + 1)
        # The steady answer's own temperature is one of the row, so that a run ends right there.
        grid = np.sort(np.append(grid[np.abs(grid - own) > 1e-3], own))
        self.grid = grid if self.moving else np.array([own])
        self.fluid = plan.coolant.properties(self.grid)
        self.flows = flows_at(plan, self.grid, model.friction) if self.moving else None
        self.coolers, self.air_nodes = air_side(plan, model.warmth)
        size = (len(self.grid), len(model.nodes))
        self.a, self.b = np.zeros((*size, size[1])), np.zeros((*size, 1 + len(model.inputs)))
        self.heats: dict[str, tuple[np.ndarray, np.ndarray]] = {}
        self.linked: dict[int, int] = {}  # node that hands the coolant on -> the one before it
        self.lifts: dict[str, tuple] = {}  # radiator -> share of the lead its air takes on, node the lead is over
        self.spare = np.zeros(size[0])
        self.still: list[tuple] = []

    # ----------------------------------------------------------------------------------------- pieces of equations

    def air(self, cooler: thermal.Cooler) -> tuple[float, dict[int, float]]:
        """Return the air entering a radiator as a constant and weights of nodes."""
        first = self.first_air
        return float(cooler.air_temperature), {first + n: float(w) for n, w in enumerate(cooler.weights) if w}

    @cached_property
    def first_air(self) -> int:
        """Number of the first node of air, -1 if there is none."""
        return next((n for n, node in enumerate(self.model.nodes) if node.kind == "air"), -1)

    @cached_property
    def case(self) -> tuple[int | None, float]:
        """The node of the case's air, or None and its temperature."""
        if self.plan.case_air_by == BALANCE:
            return self.first_air, 0.0
        return None, float(self.plan.case_air)

    def exchange(self, node: int, towards: int | None, constant: float, conductance: Any) -> None:
        """Let a node lose heat to another, or to a fixed temperature."""
        self.a[:, node, node] -= conductance
        if towards is None:
            self.b[:, node, 0] += conductance * constant
        else:
            self.a[:, node, towards] += conductance
            self.a[:, towards, towards] -= conductance
            self.a[:, towards, node] += conductance

    def follow(self, node: int, towards: int | None, constant: float) -> None:
        """Let a node that stores nothing have the temperature of another, or a fixed one."""
        self.a[:, node, node] -= 1.0
        if towards is None:
            self.b[:, node, 0] += constant
        else:
            self.a[:, node, towards] += 1.0

    def natural(self, node: int, towards: int | None, warm: float, law: Callable, leaf: Any) -> None:
        """Let a node lose heat by natural convection: a straight part, and a table of the rest over the lead."""
        if self.model.nodes[node].capacity <= LEAST_CAPACITY:
            return self.follow(node, towards, warm) if isinstance(leaf, tree.DeadLeg) else None
        lead = np.arange(0.0, MOST_LEAD + LEAD_STEP, LEAD_STEP)
        about = self.model.warmth.case if towards is not None else warm
        heat = law(leaf, np.concatenate(([1e-9], lead[1:])), float(about), self.model.pressure)
        straight = heat[0] / 1e-9
        self.exchange(node, towards, warm, straight)
        rest = np.concatenate(([0.0], heat[1:] - straight * lead[1:]))
        capacity = self.model.capacity
        at = None if towards is None else towards
        theirs = capacity[towards] if towards is not None else np.inf
        self.still.append((node, at, warm, rest, theirs, capacity[node], f"{leaf.name}, to still air"))
        row, by = self.row_pair()
        row[:, node] += straight
        if towards is None:
            by[:, 0] -= straight * warm
        else:
            row[:, towards] -= straight
        self.heats[f"{leaf.name}, to still air"] = (row, by)

    def row_pair(self) -> tuple[np.ndarray, np.ndarray]:
        """Return weights of nodes and of inputs, all nothing, to write one heat with."""
        return np.zeros(self.a.shape[:2]), np.zeros((len(self.grid), self.b.shape[2]))

    # --------------------------------------------------------------------------------------------- the loop

    def stretch(self, series: tree.Series, before: int, numbers: Any) -> tuple[int, Any]:
        """Write a stretch of the loop; return its last node and its flow."""
        number = next(numbers)
        flow = self.flows[number] if self.moving else np.zeros(1)
        moving = np.maximum(np.abs(flow), network.STILL)
        capacity = self.fluid[0] * self.fluid[2] * moving * self.moving
        for item in tree.flat(series):
            if isinstance(item, tree.Parallel):
                ends = [self.stretch(branch, before, numbers) for branch in item.branches]
                mix = self.model.place["mix", group_name(item)]
                for end, part in ends:
                    self.a[:, mix, end] += np.maximum(part, 0.0) / moving
                    self.a[:, mix, mix] -= np.maximum(part, 0.0) / moving
                if not self.moving:
                    self.linked[mix] = ends[0][0]
                before = mix
            elif isinstance(item, tree.DeadLeg):
                self.natural(self.model.place["coolant", item.name], *self.case, tube_loss, item)
            else:
                before = self.element(item, before, moving, capacity)
        return before, flow

    def element(self, item: Any, before: int, moving: Any, capacity: Any) -> int:
        """Write one element the coolant passes; return its node."""
        node = self.model.place["coolant", item.name]
        self.a[:, node, node] -= capacity
        self.a[:, node, before] += capacity
        if not self.moving:
            self.linked[node] = before
        if isinstance(item, tree.Source):
            self.source(item, node, before, moving)
        elif isinstance(item, tree.PumpUnit):
            power = thermal.pump_power(item, moving) if self.moving else np.zeros(1)
            self.b[:, node, 0] += item.pump.heat_share * power
            self.spare += (1.0 - item.pump.heat_share) * power
            row, by = self.row_pair()
            by[:, 0] = item.pump.heat_share * power
            self.heats[item.name] = (row, by)
        elif isinstance(item, tree.RadiatorUnit):
            self.radiator(item, node, before, moving, capacity)
        elif isinstance(item, tree.Run) and not self.moving:
            self.natural(node, *self.case, tube_loss, item)
        return node

    def source(self, item: tree.Source, node: int, before: int, moving: Any) -> None:
        """Write a component, and the coolant of its block it heats at the middle between inlet and outlet."""
        part, given = self.model.place["component", item.name], 1 + self.model.inputs.index(item.name)
        near = {before: 0.5, node: 0.5} if self.moving else {node: 1.0}
        row, by = self.row_pair()
        block = item.block
        if not apart(item):
            self.b[:, node, given] += 1.0
            self.b[:, part, given] += block.thermal_resistance(moving if self.moving else np.array([STILL_BLOCK]))
            self.a[:, part, part] -= 1.0
            for place, weight in near.items():
                self.a[:, part, place] += weight
            by[:, given] = 1.0
        else:
            ease = 1.0 / block.thermal_resistance(moving if self.moving else np.array([STILL_BLOCK]))
            row[:, part] += ease
            for place, weight in near.items():
                row[:, place] -= ease * weight
            self.a[:, node] += row
            self.a[:, part] -= row
            self.b[:, part, given] += 1.0
        self.heats[item.name] = (row, by)

    def radiator(self, item: tree.RadiatorUnit, node: int, before: int, moving: Any, capacity: Any) -> None:
        """Write what a radiator gives to its air: driven by fans, or on its own once they were stopped."""
        cooler = self.coolers[item.name]
        constant, weights = self.air(cooler)
        if item.name in self.stopped:
            towards, warm = (None, float(self.plan.room_air)) if item.air == "room" else self.case
            self.lifts[item.name] = (0.0, node, constant, weights)
            self.natural(node, towards, warm, radiator_loss, item)
            return
        if self.moving:
            over, ease = before, thermal.cooler_pull(cooler, moving, capacity, self.fluid) * capacity
        else:  # coolant that stands has one temperature, and its film is that of hardly any flow
            film = cooler.conductance(np.array([network.STILL]), *self.fluid)
            transfer = 1.0 / (cooler.air_resistance + 1.0 / np.maximum(film, 1e-12))
            over, ease = node, cooler.air_capacity * -np.expm1(-transfer / cooler.air_capacity)
        row, by = self.row_pair()
        row[:, over] += ease
        for place, weight in weights.items():
            row[:, place] -= ease * weight
        by[:, 0] -= ease * constant
        self.a[:, node] -= row
        self.b[:, node] -= by
        self.lifts[item.name] = (ease / cooler.air_capacity, over, constant, weights)
        self.heats[item.name] = (row, by)

    def airs(self) -> None:
        """Write the nodes of air: what enters them, and the heat given to them."""
        for number, node in enumerate(self.air_nodes, start=max(self.first_air, 0)):
            self.b[:, number, 0] += float(node.heat) + (self.spare if node.pumps else 0.0)
            for inflow in node.inflows:
                capacity = float(np.asarray(inflow.capacity))
                self.a[:, number, number] -= capacity
                if not inflow.cooler:
                    self.b[:, number, 0] += capacity * float(inflow.temperature)
                    continue
                lift, over, constant, weights = self.lifts[inflow.cooler]
                self.a[:, number, over] += capacity * lift
                self.b[:, number, 0] += capacity * (1.0 - lift) * constant
                for place, weight in weights.items():
                    self.a[:, number, place] += capacity * (1.0 - lift) * weight
        towards, warm = self.case
        for part in self.plan.on_air:
            node, given = self.model.place["component", part.name], 1 + self.model.inputs.index(part.name)
            if part.resistance >= LEAST_RESISTANCE:
                self.b[:, node, given] += 1.0
                self.exchange(node, towards, warm, 1.0 / part.resistance)
                continue
            self.follow(node, towards, warm)
            self.b[:, node, given] += part.resistance
            if towards is not None:
                self.b[:, towards, given] += 1.0

    # ------------------------------------------------------------------------------------------- the equations

    def regime(self) -> Regime:
        """Return the equations with every node that stores nothing taken out."""
        model = self.model
        last, flow = self.stretch(self.plan.loop, 0, count())
        self.a[:, 0, last] += 1.0
        self.a[:, 0, 0] -= 1.0
        self.airs()
        stored, size = model.stored, len(model.nodes)
        rest = np.setdiff1d(np.arange(size), stored)
        for node in rest:  # where coolant stands, what holds none is as warm as what is before it
            if node in self.linked and not np.any(np.delete(self.a[:, node], node, axis=1)):
                self.follow(node, self.linked[node], 0.0)
        names = tuple(self.heats)
        rows = np.stack([self.heats[n][0] for n in names], axis=1)
        by = np.stack([self.heats[n][1] for n in names], axis=1)
        full = self._taken_out(stored, rest)
        a, b = self.a[:, stored], self.b[:, stored]
        rates = a @ full
        rates[:, :, len(stored) :] += b
        rates /= model.capacity[stored][None, :, None]
        heats = rows @ full
        heats[:, :, len(stored) :] += by
        order = {int(node): n for n, node in enumerate(stored)}
        main = np.array([n for n, node in enumerate(model.nodes) if node.main])
        still = tuple((order[s[0]], None if s[1] is None else order[s[1]], *s[2:]) for s in self.still)
        return Regime(
            self.plan,
            self.moving,
            self.grid,
            rates,
            full,
            heats,
            names,
            np.broadcast_to(flow, self.grid.shape),
            main,
            np.array([order[n] for n in main if n in order], dtype=int),
            still,
        )

    def _taken_out(self, stored: np.ndarray, rest: np.ndarray) -> np.ndarray:
        """Return all temperatures as straight functions of those that store heat and of the inputs."""
        n, p = len(stored), self.b.shape[2]
        full = np.zeros((len(self.grid), len(self.model.nodes), n + p))
        full[:, stored, np.arange(n)] = 1.0
        if rest.size:
            scale = 1.0 / np.maximum(np.abs(self.a[:, rest]).max(axis=2, keepdims=True), 1e-300)
            left = self.a[:, rest] * scale
            right = np.concatenate((left[:, :, stored], self.b[:, rest] * scale), axis=2)
            try:
                full[:, rest] = -np.linalg.solve(left[:, :, rest], right)
            except np.linalg.LinAlgError:
                remedy = "Give an element of the loop its volume."
                raise InputError("loop", "no coolant in it", "coolant that can take heat up", remedy) from None
        return full
