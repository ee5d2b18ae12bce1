"""
The loop in time: a small set of nodes that store heat, read from the same tree as the steady answer.

Every element that holds coolant is a node, well mixed, whose outlet is its own temperature; a block's metal and a
radiator's count with their coolant. Every component is a node behind the resistance of its block, and the air of the
case is one where the plan balances it. Elements that hold nothing hand the coolant on. Heat is put in and taken out by
the same conductances as in the steady model, so that model is where every run ends.

At one setting of pumps and fans (`Regime`) the nodes obey straight equations whose coefficients follow the coolant's
mean temperature, as in the steady model. They are made once, for a row of temperatures, by one solve of the flow of
all of them, and read between; speeds change in steps in these runs, so each setting is such a row of its own.

Estimates, where no coolant or air is driven:

- Tubes lose heat to the air of the case by natural convection round a horizontal cylinder ([ChurchillChu1975a]_),
  dead legs always, runs only while the coolant stands: while it flows the steady model leaves it out too.
- A radiator whose fans were stopped loses heat like two upright plates of the height of a fan ([ChurchillChu1975b]_)
  and its narrow sides; what rises through the fins is left out. Nothing radiates. Both make it warmer than it would be.
- A block heats coolant that stands through what its law says at `STILL_BLOCK`.
- Blocks, reservoirs and pumps lose nothing to the air; walls of tubes, tanks and pump bodies store nothing.
- Density and films of the air stay as they are in the steady answer of the plan.
"""

from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import cached_property
from itertools import count
from typing import Any

import numpy as np

from loopmath import air as airs
from loopmath import loop as tree
from loopmath import network, solution, tables, thermal
from loopmath.case import AirPart
from loopmath.checks import InputError
from loopmath.laws import coolant as coolants
from loopmath.laws.coolant import Coolant
from loopmath.plan import BALANCE, Plan
from loopmath.radiator import Radiator
from loopmath.regime import LEAD_STEP, MOST_LEAD, Node, Regime, label, radiator_loss, tube_loss

#: Flow at which a block's law gives its resistance to coolant that stands: an estimate, no source. A film that has
#: developed grows no thicker, so the law is not followed down to nothing. [m3/s]
STILL_BLOCK = 0.3e-3 / 60
#: Step of the row of coolant temperatures the equations are made for. [K]
STEP = 2.5
#: A node that stores less than this counts as storing nothing: a quarter of a microlitre of water. [J/K]
LEAST_CAPACITY = 1e-3
#: A component nearer to its coolant or air than this is as warm as they are but for what its heat makes of it. [K/W]
LEAST_RESISTANCE = 1e-6
#: Speed shares by which `linearised` moves fans and pumps.
NUDGE = 0.01


def component_capacity(thing: tree.Source | AirPart) -> float:
    """Return the heat a component stores, its block not counted: as given, or as usual for its kind. [J/K]"""
    if getattr(thing, "heat_capacity", None) is not None:
        return thing.heat_capacity
    usual = tables.by_name("candidates.csv")
    kind = thing.block.cools if isinstance(thing, tree.Source) else thing.cools
    return usual.get(kind, usual["other"])["heat_capacity_j_k"]


def metal_capacity(leaf: tree.Element) -> float:
    """Return the heat the metal of a block or radiator stores; a plated block is copper beneath. [J/K]"""
    if isinstance(leaf, tree.Source):
        mass, metal = leaf.block.mass, leaf.block.metal
    elif isinstance(leaf, tree.RadiatorUnit) and isinstance(leaf.radiator, Radiator):
        mass, metal = leaf.radiator.metal_mass(), leaf.radiator.metal
    else:
        return 0.0
    return mass * tables.by_name("metals.csv")["copper" if metal.endswith("plate") else metal]["specific_heat_j_kg_k"]


class Dynamics:
    """
    A plan made ready to run in time.

    Attributes
    ----------
    plan : Plan
    answer : Solution
        Its steady answer.
    nodes : tuple of Node
        Every temperature; `stored` are the numbers of those that store heat.
    inputs : tuple of str
        Components whose watts drive the model, those in the loop first.

    Raises
    ------
    InputError
        For a plan of N designs, one whose coolant does not move or goes backwards, or one that stores no heat at all.
    """

    def __init__(self, plan: Plan, friction: str = "churchill", answer: solution.Solution | None = None) -> None:
        answer = solution.solved(plan, friction) if answer is None else answer
        if answer.designs is not None:
            raise InputError("plan", f"{answer.designs} designs", "one design", "Run one design at a time.")
        if not answer.moving or answer.backwards or not (answer.known or answer.outside):
            raise InputError("plan", answer.plight, "a loop whose coolant moves")
        self.plan, self.friction, self.answer = plan, friction, answer
        low, high = plan.coolant.low, plan.coolant.high
        density, _, self._heat, _ = plan.coolant.properties(float(np.clip(answer.settled.properties_at, low, high)))
        self._density = density
        self.pressure = float(coolants.pressure_at_height(plan.height))
        self.warmth = self._warmth()
        self.sources, self.on_air = plan.units(tree.Source), plan.on_air
        self.inputs = tuple(unit.name for unit in (*self.sources, *self.on_air))
        self.nodes = tuple(self._made_nodes())
        self.place = {(node.kind, node.name): n for n, node in enumerate(self.nodes)}
        self.capacity = np.array([node.capacity for node in self.nodes])
        self.stored = np.flatnonzero(self.capacity > LEAST_CAPACITY)
        if not self.stored.size:
            raise InputError("plan", "nothing in it stores heat", "an element that holds coolant, or a component")
        self.case_air = float(plan.case_air)
        self._regimes: dict[tuple, Regime] = {}

    def _warmth(self) -> airs.Warmth:
        if airs.plain(self.plan) or not self.answer.known:
            return airs.Warmth.first(self.plan)
        into = {name: cooler.air_temperature for name, cooler in self.answer.coolers.items()}
        return airs.Warmth(self.answer.case_air, into, {name: self.answer.air_out(name) for name in into})

    def _made_nodes(self) -> list[Node]:
        nodes, volumetric = [Node("start of the loop", "mix", 0.0, True)], self._density * self._heat

        def visit(item: Any, main: bool) -> None:
            if isinstance(item, tree.Series):
                for child in item.items:
                    visit(child, main)
            elif isinstance(item, tree.Parallel):
                for branch in item.branches:
                    visit(branch, False)
                nodes.append(Node(_group(item), "mix", 0.0, main))
            else:
                capacity = float(volumetric * item.volume() + metal_capacity(item))
                part = component_capacity(item) if isinstance(item, tree.Source) else 0.0
                apart = not isinstance(item, tree.Source) or _apart(item)
                nodes.append(
                    Node(
                        item.name,
                        "coolant",
                        capacity + (0.0 if apart else part),
                        main and not isinstance(item, tree.DeadLeg),
                        item,
                    )
                )
                if isinstance(item, tree.Source):
                    nodes.append(Node(item.name, "component", part if apart else 0.0, element=item))

        visit(self.plan.loop, True)
        for number, node in enumerate(air_side(self.plan, self.warmth)[1]):
            balanced = self.plan.case_air_by == BALANCE and number == 0
            volume = self.plan.case_volume * coolants.air_density(self.warmth.case, self.pressure) if balanced else 0.0
            nodes.append(Node(node.name, "air", float(volume * coolants.AIR_HEAT_CAPACITY)))
        for part in self.plan.on_air:
            near = part.resistance < LEAST_RESISTANCE
            nodes.append(Node(part.name, "component", 0.0 if near else component_capacity(part), element=part))
        return nodes

    # --------------------------------------------------------------------------------------------- one regime

    def watts(self, plan: Plan | None = None, share: float = 1.0) -> np.ndarray:
        """Return the inputs of a plan: 1, and the watts of each component times `share`."""
        plan = plan or self.plan
        return np.array([1.0, *(share * float(thing.heat) for thing in plan.components)])

    def regime(self, plan: Plan | None = None, stopped: tuple[str, ...] = ()) -> Regime:
        """
        Return the equations at the speeds of a plan that differs from this one in speeds and case heat only.

        Parameters
        ----------
        plan : Plan, optional
            By default the plan itself.
        stopped : tuple of str
            Radiators whose fans were stopped: they lose heat by natural convection alone.
        """
        plan = plan or self.plan
        key = (id(plan), stopped)
        if key not in self._regimes:  # it keeps its plan, so no other plan can come to have that id
            self._regimes[key] = _Assembly(self, plan, stopped).regime()
        return self._regimes[key]

    def standing(self, plan: Plan) -> bool:
        """True if no pump of a plan turns."""
        return all(float(unit.pump.turning(unit.speed)) == 0.0 for unit in plan.units(tree.PumpUnit))


def _apart(item: tree.Source) -> bool:
    return item.block.resistance + item.block.flow_resistance >= LEAST_RESISTANCE


def _group(item: tree.Parallel) -> str:
    return "behind " + " and ".join(leaf.name for leaf in tree.leaves(item))


def air_side(plan: Plan, warmth: airs.Warmth) -> tuple[dict[str, thermal.Cooler], tuple[thermal.AirNode, ...]]:
    """Return radiators and nodes of air of a plan, the heat of its parts on air left out: it is an input here."""
    if not airs.plain(plan):
        quiet = replace(plan, on_air=tuple(replace(part, heat=0.0) for part in plan.on_air))
        paths = airs.paths(quiet, warmth)
        return paths.coolers, paths.nodes
    coolers, pressure = {}, coolants.pressure_at_height(plan.height)
    for unit in plan.units(tree.RadiatorUnit):
        enters = plan.case_air if unit.air == "case" else plan.room_air
        coolers[unit.name], _ = thermal.cooler_of(unit, enters, coolants.air_density(enters, pressure))
    return coolers, ()


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


class _Assembly:
    """Writes the equations of one regime, node by node, and takes out those that store nothing."""

    def __init__(self, model: Dynamics, plan: Plan, stopped: tuple[str, ...]) -> None:
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
                mix = self.model.place["mix", _group(item)]
                for end, part in ends:
                    self.a[:, mix, end] += np.maximum(part, 0.0) / moving
                    self.a[:, mix, mix] -= np.maximum(part, 0.0) / moving
                if not self.moving:
                    self.linked[mix] = ends[0][0]
                before = mix
            elif isinstance(item, tree.DeadLeg):
                self.natural(self.model.place["coolant", item.name], *self.case, tube_loss, item)
            else:
                before = self.element(item, before, flow, moving, capacity)
        return before, flow

    def element(self, item: Any, before: int, flow: Any, moving: Any, capacity: Any) -> int:
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
        if not _apart(item):
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


# ------------------------------------------------------------------------------------------------ about a point


def linearised(
    plan: Plan, driven: Iterable[Iterable[str]] = (), friction: str = "churchill"
) -> tuple[tuple[str, ...], np.ndarray, np.ndarray]:
    """
    Return how small changes of the steady state and of speeds act on the temperatures' rates of change.

    Parameters
    ----------
    plan : Plan
        One design with a steady answer.
    driven : lists of str
        Names of `plan.turning` whose speeds are moved together, a list for each column of B.

    Returns
    -------
    names : tuple of str
        Temperatures that store heat: "coolant in X" of an element, "X" of a component, "air of the case".
    A : array (n, n)
        Slope of each rate with each temperature, flow and films following the coolant included. [1/s]
    B : array (n, len(driven))
        Slope of each rate with the speeds that are moved together. [K/s for full speed]

    Raises
    ------
    InputError
        As `Dynamics`, or without a steady state.

    Notes
    -----
    A speed is moved by a hundredth of full speed to both sides, or to one side where it ends or where the machine would
    stop. Density and films of the air stay as they are, which makes the gain of a fan up to 4 % small where the air of
    the case is balanced and hot (the tests compute 3.5 %). With s = i omega the gain of a temperature is its row of
    (s - A)^-1 B; at rest -A^-1 B.
    """
    model = Dynamics(plan, friction)
    inputs, regime = model.watts(), model.regime()
    guess = float(np.clip(plan.room_air + 10, plan.coolant.low, plan.coolant.high))
    at = regime.steady(inputs, np.full(len(model.stored), guess))
    steps = 1e-3 * np.eye(len(at))
    slopes = [(regime.rise(at + step, inputs) - regime.rise(at - step, inputs)) / 2e-3 for step in steps]
    units, columns = {unit.name: unit for unit in plan.turning}, []
    for names in driven:
        column = np.zeros(len(at))
        for unit in (units[name] for name in names):
            least = unit.machine.least_speed
            up = min(unit.speed + NUDGE, 1.0)
            down = unit.speed - NUDGE if unit.speed - NUDGE >= least else unit.speed
            if unit.speed >= least and up > down:
                ends = (model.regime(plan.with_speeds({unit.name: speed})).rise(at, inputs) for speed in (up, down))
                column += np.subtract(*ends) / (up - down)
        columns.append(column)
    labels = tuple(label(model.nodes[n]) for n in model.stored)
    return labels, np.array(slopes).T, np.reshape(columns, (-1, len(at))).T
