"""
The equations of the loop in time at one setting of pumps and fans, and what still air takes from warm parts.

`transient` writes them from the tree. What still air takes stands in tables; everything else is straight.
"""

from bisect import bisect
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from loopmath import loop as tree
from loopmath import tables
from loopmath.checks import InputError
from loopmath.laws import convection, materials
from loopmath.laws import coolant as coolants
from loopmath.loss import GRAVITY
from loopmath.plan import Plan
from loopmath.radiator import Radiator

#: Conductivity of copper (handbook value from memory); plastics have theirs in data/plastics.csv. [W/(m K)]
COPPER_CONDUCTIVITY = 390.0
#: Step and end of the leads of temperature that natural convection is tabled for. [K]
LEAD_STEP, MOST_LEAD = 1.0, 120.0
#: Nusselt number of coolant that moves slowly or not at all. Where it stands, it is an estimate for pure conduction.
STANDING = 3.66
#: Turns in which the film of the air follows the temperature of the outer wall: they leave less than 0.002 K.
TURNS = 3
#: How well the mean coolant temperature is found. [K]
MEAN_STEP = 1e-4


@dataclass(frozen=True)
class Node:
    """
    One temperature of the model.

    `kind` is "coolant" (behind an element), "component", "air", or "mix" (where coolant meets again, or the loop
    starts); `capacity` is the heat it stores [J/K], and 0 where it stores none; `main` says whether it is on the main
    line.
    """

    name: str
    kind: str
    capacity: float
    main: bool = False
    element: Any = None


def label(node: Node) -> str:
    """Return what a temperature is called: a component by its own name."""
    if node.kind == "coolant":
        return f"coolant in {node.name}"
    return "air of the case" if node.kind == "air" and node.name == "case" else node.name


# ------------------------------------------------------------------------------------- what is not driven


def natural_film(lead: np.ndarray, warm: float, size: float, pressure: float, law: Callable) -> np.ndarray:
    """Return the film of still air at leads over air of `warm` degC, on a body of `size` m. [W/(m2 K)]"""
    film = np.clip(warm + 0.5 * lead, -50.0, 150.0)
    conductivity = coolants.air_conductivity(film)
    kinematic = coolants.air_viscosity(film) / coolants.air_density(film, pressure)
    prandtl = coolants.air_viscosity(film) * coolants.AIR_HEAT_CAPACITY / conductivity
    rayleigh = GRAVITY * lead / (film + 273.15) * size**3 / kinematic**2 * prandtl
    return law(rayleigh, prandtl) * conductivity / size


def tube_loss(leaf: Any, lead: np.ndarray, warm: float, pressure: float) -> np.ndarray:
    """Return the heat standing coolant loses through a run or dead leg to still air of `warm` degC. [W]"""
    tube, (film, slope) = leaf.tube, (None, None)
    plastic = tables.by_name("plastics.csv").get(tube.material)
    conductivity = COPPER_CONDUCTIVITY if plastic is None else plastic["conductivity_w_m_k"]
    wall = np.log(tube.outside / tube.bore) / (2 * np.pi * conductivity)
    film = natural_film(lead, warm, tube.outside, pressure, convection.cylinder_natural_nusselt)
    for _ in range(8):  # the film follows the lead of the outer wall
        slope = 1.0 / (wall + 1.0 / (np.pi * tube.outside * film))
        film = natural_film(
            lead - slope * lead * wall, warm, tube.outside, pressure, convection.cylinder_natural_nusselt
        )
    return leaf.length * lead / (wall + 1.0 / (np.pi * tube.outside * film))


def tube_walls(
    fluid: coolants.Coolant,
    coolant: Any,
    air: Any,
    flow: Any,
    length: Any,
    bore: Any,
    outside: Any,
    conductivity: Any,
    pressure: Any = 101325.0,
) -> tuple[Any, Any]:
    """
    Temperature of a tube's wall at its bore and at its outside, with the films of its coolant and of still air.

    Parameters
    ----------
    fluid : Coolant
    coolant, air : float or array
        Properties are taken within the coolant's data. [degC]
    flow : float or array
        0 or more; where it is 0 the coolant stands. [m3/s]
    length, bore, outside : float or array
        Of the tube, `outside` more than `bore` > 0. [m]
    conductivity : float or array
        Of the wall, more than 0. [W/(m K)]
    pressure : float or array
        Of the air. [Pa]

    Returns
    -------
    inner, outer : float or array
        [degC]

    Raises
    ------
    InputError
        If a number is not finite or the tube has no wall.

    Notes
    -----
    `laws.convection.duct_nusselt` inside, `cylinder_natural_nusselt` outside, `laws.materials.wall_temperatures`
    between. Coolant that stands counts as a film of pure conduction with Nu 3.66, that of slow flow (an estimate).

    Examples
    --------
    >>> inner, outer = tube_walls(coolants.coolant("water"), 45.0, 30.0, 5e-5, 0.3, 0.010, 0.014, 0.2)
    >>> round(float(inner), 1), round(float(outer), 1)
    (45.0, 43.9)
    """
    clipped = np.clip(coolant, fluid.low, fluid.high)
    density, viscosity, heat, conducting = fluid.properties(clipped)
    reynolds = 4.0 * flow * density / (np.pi * bore * viscosity)
    inlet = bore / np.maximum(length, bore)
    inner_film = convection.duct_nusselt(reynolds, viscosity * heat / conducting, STANDING, inlet) * conducting / bore
    law, inner, outer = convection.cylinder_natural_nusselt, coolant, coolant
    for _ in range(TURNS):
        outer_film = natural_film(np.abs(outer - air), np.minimum(outer, air), outside, pressure, law)
        inner, outer = materials.wall_temperatures(coolant, air, inner_film, outer_film, conductivity, outside, bore)
    return inner, outer


def radiator_loss(unit: tree.RadiatorUnit, lead: np.ndarray, warm: float, pressure: float) -> np.ndarray:
    """Return the heat a radiator with stopped fans loses to still air of `warm` degC. [W]"""
    core = unit.radiator
    if not isinstance(core, Radiator):
        return 0.0 * lead
    film = natural_film(lead, warm, core.fan_size, pressure, convection.plate_natural_nusselt)
    return 2 * (core.core_length * core.fan_size + core.depth * (core.core_length + core.fan_size)) * film * lead


# ------------------------------------------------------------------------------------------------- a setting


@dataclass(frozen=True, eq=False)
class Regime:
    """
    The equations at one setting of pumps and fans.

    With x = (temperatures that store heat, inputs), inputs = (1, watts of each component), all at a row of mean
    coolant temperatures and straight between them:

    Attributes
    ----------
    grid : array (K,)
        Mean coolant temperatures. [degC]
    rates : array (K, n, n + p)
        Rise of the temperatures that store heat, times x. [K/s]
    full : array (K, m, n + p)
        All temperatures, times x. [degC]
    heats : array (K, h, n + p)
        Heat that flows at `heat_names`, times x. [W]
    flows : array (K,)
        Of the main line. [m3/s]
    still : tuple
        What natural convection takes: (node, air node or None, air temperature [degC], table of heat over lead beyond
        a straight line [W], capacity of that air, of the node [J/K], name of the heat).
    """

    plan: Plan
    moving: bool
    grid: np.ndarray
    rates: np.ndarray
    full: np.ndarray
    heats: np.ndarray
    heat_names: tuple[str, ...]
    flows: np.ndarray
    main: np.ndarray
    main_stored: np.ndarray
    still: tuple

    def _at(self, table: np.ndarray, temperature: float) -> np.ndarray:
        if len(self.grid) == 1:
            return table[0]
        knots = self._knots
        low = min(max(bisect(knots, temperature) - 1, 0), len(knots) - 2)
        share = min(max((temperature - knots[low]) / (knots[low + 1] - knots[low]), 0.0), 1.0)
        return (1.0 - share) * table[low] + share * table[low + 1]

    @cached_property
    def _knots(self) -> list[float]:
        return self.grid.tolist()

    @cached_property
    def _main_full(self) -> np.ndarray:
        return self.full[:, self.main]

    def mean(self, x: np.ndarray) -> float:
        """
        Return the mean coolant temperature as the steady model takes it: between the main line's ends. [degC]

        Elements that hold nothing follow from the others by equations that follow the mean, so it takes a few turns.
        """
        if len(self.grid) == 1:
            return float(self.grid[0])
        near = x[self.main_stored]
        mean = 0.5 * (near.max() + near.min()) if near.size else self.grid[len(self.grid) // 2]
        for _ in range(8):
            line = self._at(self._main_full, mean) @ x
            before, mean = mean, 0.5 * (line.max() + line.min())
            if abs(mean - before) < MEAN_STEP:
                break
        return mean

    def rise(self, stored: np.ndarray, inputs: np.ndarray) -> np.ndarray:
        """Return how fast the temperatures that store heat rise. [K/s]"""
        x = np.concatenate((stored, inputs))
        out = self._at(self.rates, self.mean(x)) @ x
        if self.still:
            self._still(stored, out)
        return out

    def jacobian(self, stored: np.ndarray, inputs: np.ndarray) -> np.ndarray:
        """Return the slope of `rise`, what the mean temperature does to flow and films left out. [1/s]"""
        x = np.concatenate((stored, inputs))
        out = self._at(self.rates, self.mean(x))[:, : len(stored)].copy()
        if self.still:
            self._still_slope(stored, out)
        return out

    def temperatures(self, stored: np.ndarray, inputs: np.ndarray) -> np.ndarray:
        """Return all temperatures at a moment. [degC]"""
        x = np.concatenate((stored, inputs))
        return self._at(self.full, self.mean(x)) @ x

    def read(self, stored: np.ndarray, inputs: np.ndarray) -> tuple[np.ndarray, dict[str, np.ndarray], np.ndarray]:
        """Return all temperatures (m, T) [degC], heats by name [W] and flow [m3/s] of T moments, moments last."""
        x = np.concatenate((stored, inputs))
        means = np.array([self.mean(column) for column in x.T])
        full = np.stack([self._at(self.full, m) @ column for m, column in zip(means, x.T, strict=True)], axis=1)
        heats = np.stack([self._at(self.heats, m) @ column for m, column in zip(means, x.T, strict=True)], axis=1)
        named = dict(zip(self.heat_names, heats, strict=True))
        if self.still:
            beyond = np.stack([self.still_heat(column)[0] for column in stored.T], axis=1)
            for taken, row in zip(self.still, beyond, strict=True):
                named[taken[-1]] = named[taken[-1]] + row
        return full, named, np.array([self._at(self.flows, m) for m in means])

    @cached_property
    def _still_arrays(self) -> tuple:
        nodes, at, warm, table, capacity, own, _ = zip(*self.still, strict=True)
        at = np.array([-1 if a is None else a for a in at])
        return np.array(nodes), at, np.array(warm), np.array(table), np.array(capacity), np.array(own)

    def still_heat(self, stored: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return what natural convection takes beyond its straight part at each of `still`, and its slope."""
        nodes, at, warm, table, _, _ = self._still_arrays
        lead = stored[nodes] - np.where(at < 0, warm, stored[at])
        size = np.minimum(np.abs(lead), MOST_LEAD - 1e-6) / LEAD_STEP
        low = size.astype(int)
        row = np.arange(len(nodes))
        slope = (table[row, low + 1] - table[row, low]) / LEAD_STEP
        return np.sign(lead) * (table[row, low] + slope * (size - low) * LEAD_STEP), slope

    def _still(self, stored: np.ndarray, out: np.ndarray) -> None:
        nodes, at, _, _, capacity, own = self._still_arrays
        heat, _ = self.still_heat(stored)
        np.subtract.at(out, nodes, heat / own)
        inner = at >= 0
        np.add.at(out, at[inner], (heat / capacity)[inner])

    def _still_slope(self, stored: np.ndarray, out: np.ndarray) -> None:
        nodes, at, _, _, capacity, own = self._still_arrays
        _, slope = self.still_heat(stored)
        np.subtract.at(out, (nodes, nodes), slope / own)
        inner = at >= 0
        np.add.at(out, (nodes[inner], at[inner]), (slope / own)[inner])
        np.add.at(out, (at[inner], nodes[inner]), (slope / capacity)[inner])
        np.subtract.at(out, (at[inner], at[inner]), (slope / capacity)[inner])

    def steady(self, inputs: np.ndarray, start: np.ndarray) -> np.ndarray:
        """
        Return the temperatures at which nothing changes any more. [degC]

        Raises
        ------
        InputError
            If there are none: heat goes in and hardly any leaves.
        """
        stored = start.copy()
        for _ in range(60):
            try:
                step = np.linalg.solve(self.jacobian(stored, inputs), self.rise(stored, inputs))
            except np.linalg.LinAlgError:
                break
            stored = stored - step
            if np.abs(step).max() < 1e-7:
                return stored
            if not np.abs(stored).max() < 1e6:
                break
        remedy = "Raise the fan speed, add radiator, or take heat out of the loop."
        raise InputError("steady temperature", "none", "a loop from which heat can leave", remedy)
