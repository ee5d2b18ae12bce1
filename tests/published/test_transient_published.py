"""
Textbook lumps, driven through the package's own model by plans built to be those lumps.

A figure "from memory" was not read again in its source.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
import reference_case

from loopmath import loop, parts, scenarios, solution, tables, transient
from loopmath.laws import convection
from loopmath.laws.coolant import coolant
from loopmath.loss import Loss
from loopmath.plan import Plan

ROOM = 25.0


def lump(conductance: float, heat: float, capacity: float | None = None, block: parts.Block | None = None) -> Plan:
    """
    Return a loop whose one tank stores `capacity` [J/K] and loses `conductance` [W/K] to the room.

    A very strong pump carries any heat from the block to the tank at once; the radiator takes that conductance times
    the lead of the tank over the room. `block` is without resistance and mass unless one is given.
    """
    block = block or parts.Block("block", "other", 0.0, 0.0, 0.0, 0.0, mass=0.0)
    source = loop.Source("component", block, heat, heat_capacity=0.1)
    pump = parts.Pump("pump", shutoff_head=10.0, runout_flow=0.01)
    tank = loop.Tank("tank", parts.Reservoir("tank", 1e-3, 0.0, 0.0))

    def plan(film: float, volume: float) -> Plan:
        core = reference_case.PowerRadiator("core", film, 1.0, 0.0, 1e12, 1.0, 0.0, Loss(fixed_quadratic=1e6), 1e12)
        radiator = loop.RadiatorUnit("radiator", core, air_flow_each=1.0)
        held = replace(tank, reservoir=replace(tank.reservoir, volume=volume))
        return Plan(
            "one lump", loop.Series(loop.PumpUnit("pump", pump), held, radiator, source), coolant("water"), ROOM
        )

    first = plan(conductance, 1e-3)
    answer = solution.solve(first)
    density, _, own, _ = (float(v) for v in answer.fluid)
    carried = density * own * float(answer.settled.flows[0])
    # The radiator takes W (1 - exp(-U/W)) of each kelvin; its U is chosen so that this is the conductance.
    film = -carried * math.log1p(-conductance / carried)
    return plan(film, (capacity or 1e4) / (density * own))


#: 1.0 kg of water, cp 4180 J/(kg K), 20 W/K to the room, a step of 300 W: first-order system, rise 300/20 K,
#: time constant 4180/20 s, rise after one of them 15 (1 - 1/e) K (exact).
KILOGRAM = {"conductance": 20.0, "heat": 300.0, "capacity": 4180.0}


@pytest.fixture(scope="module")
def warming():
    return scenarios.load_step(lump(**KILOGRAM), 0.0, 1.0, relative=1e-9, absolute=1e-9)


def test_a_kilogram_of_water_comes_to_its_final_rise(warming):
    assert warming.final["coolant in tank"] - ROOM == pytest.approx(15.0, abs=2e-3)
    assert warming.temperatures["coolant in tank"][0] == pytest.approx(ROOM, abs=1e-6)


def test_its_time_constant(warming):
    assert warming.reached("coolant in tank", 1 - math.exp(-1)) == pytest.approx(209.0, abs=0.1)
    assert warming.at("coolant in tank", 209.0) - ROOM == pytest.approx(9.4818, abs=2e-3)


# Lienhard, A Heat Transfer Textbook, chapter 1: response of a lump after 1, 3, 4 and 5 time constants (from memory)
@pytest.mark.parametrize(("constants", "percent"), [(1, 63.2), (3, 95.0), (4, 98.2), (5, 99.3)])
def test_shares_of_the_change_after_time_constants(warming, constants, percent):
    share = (warming.at("coolant in tank", 209.0 * constants) - ROOM) / (warming.final["coolant in tank"] - ROOM)
    assert 100 * share == pytest.approx(percent, abs=0.05)


def test_a_thermocouple_bead():
    """
    Cengel, Heat Transfer, example 4-1: bead of 1 mm, h 210 W/(m2 K), k 35, rho 8500, cp 320; 99 % in 10 s.

    The book's tau is rho cp L/h with L = D/6, which is 2.16 s, and 99 % takes 4.605 of them, 9.94 s; it prints 10 s.
    Here the bead is the component, a thousand times in parallel, and its film the resistance of the block.
    """
    beads, film, diameter = 1000, 210.0, 0.001
    area, mass = math.pi * diameter**2, 8500 * math.pi * diameter**3 / 6
    assert film * diameter / 6 / 35 < 0.1  # the lump holds: Biot number 0.001
    block = parts.Block("film", "other", 0.0, 0.0, 1 / (film * area * beads), 0.0, mass=0.0)
    plan = lump(2000.0, 1.0, 100.0, block)  # the coolant round it settles in a twentieth of a second
    plan = plan.set(**{"component.heat_capacity": mass * 320 * beads})
    run = scenarios.load_step(plan, 0.0, 1.0, duration=30.0, relative=1e-9, absolute=1e-9)
    lead = run.final["component"] - ROOM
    assert lead == pytest.approx(1 / (film * area * beads), rel=1e-3)
    assert run.reached("component", 1 - math.exp(-1)) == pytest.approx(2.159, abs=0.005)
    ninety_nine = run.reached("component", 0.99)
    assert ninety_nine == pytest.approx(9.94, abs=0.01)
    assert round(ninety_nine) == 10  # as printed


def test_the_linear_model_of_a_lump_has_its_time_constant():
    _, a, _ = transient.linearised(lump(**KILOGRAM))
    assert -1 / np.linalg.eigvals(a).real.max() == pytest.approx(209.0, abs=0.1)


# Incropera, 6th edition, example 9.4: steam pipe of 0.1 m, 165 degC in air of 23 degC (from memory)
def test_natural_convection_round_a_steam_pipe():
    found = convection.cylinder_natural_nusselt(5.073e6, 0.697)
    assert found == pytest.approx(23.3, rel=0.01)


@pytest.mark.parametrize("prandtl", [0.7, 6.0, 100.0])
def test_natural_convection_is_that_of_the_library(prandtl):
    free = pytest.importorskip("ht.conv_free_immersed")
    for rayleigh in np.logspace(0, 11, 12):
        own = (
            convection.cylinder_natural_nusselt(rayleigh, prandtl),
            convection.plate_natural_nusselt(rayleigh, prandtl),
        )
        grashof = rayleigh / prandtl
        assert own[0] == pytest.approx(free.Nu_horizontal_cylinder_Churchill_Chu(prandtl, grashof), rel=1e-12)
        assert own[1] == pytest.approx(free.Nu_vertical_plate_Churchill(prandtl, grashof), rel=1e-12)


# Callister, 3rd edition, tables B.1 and B.8: density kg/m3 and specific heat J/(kg K) (from memory)
STORED = {
    "copper": (8890, 385),
    "brass": (8530, 375),
    "aluminium 6000 series": (2700, 896),
    "stainless steel 18 % chromium": (8000, 500),
    "nickel plate": (8890, 456),
    "silver": (10490, 235),
    "gold": (19320, 128),
}


@pytest.mark.parametrize("name", STORED)
def test_density_and_specific_heat_of_metals(name):
    row = tables.by_name("metals.csv")[name]
    assert (row["density_kg_m3"], row["specific_heat_j_kg_k"]) == STORED[name]


# Incropera, 6th edition, table A.1 (from memory): pure metals at 300 K, another source for the same numbers
@pytest.mark.parametrize(
    ("name", "density", "heat"),
    [("copper", 8933, 385), ("silver", 10500, 235), ("gold", 19300, 129), ("nickel plate", 8900, 444)],
)
def test_another_handbook_agrees_within_three_percent(name, density, heat):
    row = tables.by_name("metals.csv")[name]
    assert row["density_kg_m3"] == pytest.approx(density, rel=0.03)
    assert row["specific_heat_j_kg_k"] == pytest.approx(heat, rel=0.03)
