"""
Air, case and radiators of coupled answers against published rules and an open library; the source stands beside each.

"From memory" marks a figure that was not read again in its source.
"""

import math

import numpy as np
import pytest
from breathing import CORES, FAST, IN, QUIET, exhaust, machine, radiator
from ht import effectiveness_from_NTU

from loopmath import catalogue, ledger, solve, tables
from loopmath import loop as tree
from loopmath.air import CASE, ROOM, Duct, settled_flows
from loopmath.solution import solved

#: Imperial rules of thumb are for standard air of 0.075 lb/ft3 and 0.24 BTU/(lb degF): 1.201 kg/m3, 1005 J/(kg K).
CFM, BTU_PER_HOUR, INCH_OF_WATER = 0.3048**3 / 60, 1055.06 / 3600, 249.089
ARRANGEMENTS = {
    "in and out": machine(radiator("front", 0.6), radiator("top", 0.5, CORES[1], air=CASE), case_fans=(exhaust(),)),
    "a row": machine(radiator("front", 0.7), radiator("top", 0.7, CORES[1], air="front", fan_side="pull")),
    "side by side": machine(
        radiator("front", 0.7, fans_in_series=2), radiator("top", 0.5, blows=ROOM), layout="parallel"
    ),
    "drawn backwards": machine(
        radiator("front", 0.25), case_fans=(exhaust(3.0, 1.0, "floor fans", FAST, IN),), case_vents=0.0
    ),
}


@pytest.mark.parametrize("name", ARRANGEMENTS)
def test_a_radiator_of_a_coupled_answer_is_the_librarys_crossflow_exchanger(name):
    """
    Both streams unmixed: the open library `ht` by numerical integration, at the answer's own flows and conductances.
    """
    answer = solve(ARRANGEMENTS[name])
    density, _, heat_capacity, _ = answer.fluid
    for unit in answer.plan.units(tree.RadiatorUnit):
        row, side, cooler = answer.row(unit.name), answer.airs[unit.name], answer.coolers[unit.name]
        liquid = float(density * heat_capacity * row["flow"])
        film = float(unit.radiator.liquid_conductance()(row["flow"], *answer.fluid))
        whole = 1 / (1 / film + 1 / float(side.conductance))
        least, most = sorted((liquid, float(side.capacity)))
        share = effectiveness_from_NTU(whole / least, least / most, subtype="crossflow")
        heat = share * least * float(row["in"] - cooler.air_temperature)
        assert -float(row["heat"]) == pytest.approx(heat, rel=1e-6)
        assert float(row["in"] - row["out"]) == pytest.approx(heat / liquid, rel=1e-6)
        assert float(answer.air_out(unit.name) - cooler.air_temperature) == pytest.approx(
            heat / float(side.capacity), rel=1e-6
        )


def test_air_of_a_case_warms_by_the_rule_of_108():
    """BTU/h = 1.08 x cfm x degF for standard air (ASHRAE Fundamentals, from memory): a case of fans and heat alone."""
    plan = machine(
        radiator("outside", 0.8, blows=ROOM), case_heat=200.0, case_wall_loss=0.0, case_fans=(exhaust(2.0, 0.8),)
    )
    plan = plan.set(**{"pump.power_shutoff": 0.0, "pump.power_runout": 0.0})
    answer = solve(plan)
    table = ledger.air_table(answer)
    cfm = table.loc["openings", "air flow [m3/h]"] / 3600 / CFM  # of room air at 25 degC, 1.4 % thinner
    rise = 200.0 / BTU_PER_HOUR / (1.08 * cfm) / 1.8
    assert answer.case_air - 25.0 == pytest.approx(rise * 1.201 / 1.184, rel=0.005)


def test_air_through_an_opening_by_the_rule_of_4005():
    """ft/min = 4005 sqrt(inH2O), standard air (ACGIH and ASHRAE, from memory), times the 0.6 of a sharp edge."""
    answer = solve(machine(radiator("front", 0.8), case_fans=(exhaust(1.0, 0.3),), case_vents=0.006))
    speed = 4005 * math.sqrt(float(answer.air.pressure) / INCH_OF_WATER) * 0.3048 / 60
    leaving = -float(answer.air.flows[-1])
    assert leaving == pytest.approx(0.6 * 0.006 * speed * math.sqrt(1.201 / 1.184), rel=0.005)


def test_a_fan_from_1200_to_1800_rpm_in_a_duct_of_quadratic_loss():
    """AMCA 201: 1.5 times the flow, 2.25 times the pressure, 3.375 times the power."""
    fan = catalogue.part("fan", FAST.name)
    flows, pressures = [], []
    for rpm in (1200.0, 1800.0):
        duct = Duct("one", ROOM, ROOM, 1.2, ((0.0, 4e4, 1.0),), ((fan, 1.0, rpm / fan.full_rpm, 1.0),))
        (flow,), _, _ = settled_flows([duct], False)
        flows.append(float(flow))
        pressures.append(4e4 * float(flow) ** 2)
    assert flows[1] / flows[0] == pytest.approx(1.5, rel=1e-6)
    assert pressures[1] / pressures[0] == pytest.approx(2.25, rel=1e-6)
    one, other = (radiator("front", rpm / fan.full_rpm).fan_power() for rpm in (1200.0, 1800.0))
    assert other / one == pytest.approx(3.375, rel=1e-12)


@pytest.mark.parametrize("series", [1, 2])
def test_two_equal_fans_in_series_double_the_pressure_and_two_side_by_side_the_flow(series):
    """AMCA 201, fans in series and in parallel (from memory), at no flow and with nothing in the way."""
    fan = FAST
    shut = Duct("one", ROOM, CASE, 1.2, ((0.0, 1e12, 1.0),), ((fan, float(series), 1.0, 1.0),))
    (flow,), _, _ = settled_flows([shut], False)
    assert 1e12 * float(flow) ** 2 == pytest.approx(series * fan.shutoff_pressure, rel=1e-3)
    open_ = Duct("one", ROOM, CASE, 1.2, (), ((fan, 1.0, 1.0, 1.0 / series),))
    (flow,), _, _ = settled_flows([open_], False)
    assert float(flow) == pytest.approx(series * fan.free_flow, rel=1e-4)


@pytest.mark.parametrize("row", tables.read_table("radiators.csv"), ids=lambda row: row["name"])
def test_a_position_of_a_whole_machine_gives_off_about_100_w_when_the_coolant_is_10_k_over_the_air(row):
    """
    Common practice, no source: about 100 W for a 120 mm square with quiet fans, from 60 to 160 W.

    Here the coupled answer is asked: the heat at which the warmest coolant of a machine is 10 K over its room, quiet
    fans at full speed between room and room.
    """
    size = row["fan_size_mm"] / 1e3
    squares = row["positions"] * (size / 0.12) ** 2
    radiator_ = catalogue.part("radiator", row["name"])
    unit = tree.RadiatorUnit("front", radiator_, catalogue.fan_of_size(QUIET, size), 1.0, blows=ROOM)
    heats = np.linspace(40.0, 200.0, 41) * squares
    over = solved(machine(unit, heats=(heats,))).state["coolant_over_room"]
    assert np.all(np.diff(over) > 0)
    assert over[0] < 10.0 < over[-1]
    assert 60.0 < np.interp(10.0, over, heats) / squares < 160.0
