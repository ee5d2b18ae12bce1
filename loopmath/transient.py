"""
The loop in time: a small set of nodes that store heat, read from the same tree as the steady answer.

Every element that holds coolant is a node, well mixed, whose outlet is its own temperature; a block's metal and a
radiator's count with their coolant. Every component is a node behind the resistance of its block, and the air of the
case is one where the plan balances it. Elements that hold nothing hand the coolant on. Heat is put in and taken out by
the same conductances as in the steady model, so that model is where every run ends.

At one setting of pumps and fans (`Regime`) the nodes obey straight equations whose coefficients follow the coolant's
mean temperature, as in the steady model. They are made once (`assembly`), for a row of temperatures, by one solve of
the flow of all of them, and read between; speeds change in steps in these runs, so each setting is such a row of its
own.

Estimates, where no coolant or air is driven:

- Tubes lose heat to the air of the case by natural convection round a horizontal cylinder ([ChurchillChu1975a]_),
  dead legs always, runs only while the coolant stands: while it flows the steady model leaves it out too.
- A radiator whose fans were stopped loses heat like two upright plates of the height of a fan ([ChurchillChu1975b]_)
  and its narrow sides; what rises through the fins is left out. Nothing radiates. Both make it warmer than it would be.
- A block heats coolant that stands through what its law says at `assembly.STILL_BLOCK`.
- Blocks, reservoirs and pumps lose nothing to the air; walls of tubes, tanks and pump bodies store nothing.
- Density and films of the air stay as they are in the steady answer of the plan.
"""

from collections.abc import Iterable
from typing import Any

import numpy as np

from loopmath import air as airs
from loopmath import loop as tree
from loopmath import solution, tables
from loopmath.assembly import LEAST_CAPACITY, LEAST_RESISTANCE, Assembly, air_side, apart, group_name
from loopmath.case import AirPart
from loopmath.checks import InputError
from loopmath.designs import one_design
from loopmath.laws import coolant as coolants
from loopmath.plan import BALANCE, Plan
from loopmath.radiator import Radiator, bulk
from loopmath.regime import Node, Regime, label

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
    """Return the heat the metal of a block or radiator stores, solders like copper. [J/K]"""
    if isinstance(leaf, tree.Source):
        mass, metal = leaf.block.mass, leaf.block.metal
    elif isinstance(leaf, tree.RadiatorUnit) and isinstance(leaf.radiator, Radiator):
        mass, metal = leaf.radiator.metal_mass(), leaf.radiator.metal
    else:
        return 0.0
    known = tables.by_name("metals.csv")
    return mass * known[bulk(metal)]["specific_heat_j_kg_k"]


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
        one_design("plan", answer.designs)
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
                nodes.append(Node(group_name(item), "mix", 0.0, main))
            else:
                capacity = float(volumetric * item.volume() + metal_capacity(item))
                part = component_capacity(item) if isinstance(item, tree.Source) else 0.0
                own = not isinstance(item, tree.Source) or apart(item)
                nodes.append(
                    Node(
                        item.name,
                        "coolant",
                        capacity + (0.0 if own else part),
                        main and not isinstance(item, tree.DeadLeg),
                        item,
                    )
                )
                if isinstance(item, tree.Source):
                    nodes.append(Node(item.name, "component", part if own else 0.0, element=item))

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
            self._regimes[key] = Assembly(self, plan, stopped).regime()
        return self._regimes[key]

    def standing(self, plan: Plan) -> bool:
        """True if no pump of a plan turns."""
        return all(float(unit.pump.turning(unit.speed)) == 0.0 for unit in plan.units(tree.PumpUnit))


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
