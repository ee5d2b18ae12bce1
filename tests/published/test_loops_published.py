"""
Whole loops against printed answers; the source stands beside each.

"Computed" marks an answer that was worked out by an independent program and not printed in a book.
"""

import math

import numpy as np
import pytest
from outside import reference_loop as reference
from reference_case import COOLANTS, PowerRadiator, Resistance, reference_plan

from loopmath import loop, network, parts
from loopmath.laws import pipeflow
from loopmath.laws.coolant import Coolant, coolant
from loopmath.loss import Loss, area_of
from loopmath.plan import Plan
from loopmath.solution import solve, solved

GRAVITY = 9.80665
FOOT = 0.3048
LITRES_PER_MINUTE = 6e4


def unchanging(density, viscosity):
    """Return a coolant whose properties are the same at every temperature."""
    values = {
        "density": density,
        "log_viscosity": math.log(viscosity),
        "heat_capacity": 4180.0,
        "conductivity": 0.6,
    }
    return Coolant(
        name="unchanging",
        label="unchanging",
        base="water",
        fraction=0.0,
        fraction_basis="none",
        freezing=0.0,
        low=5.0,
        high=70.0,
        **{key: np.array([value, 0.0]) for key, value in values.items()},
    )


def answer_of(*items, density=1000.0, viscosity=1e-3, friction="churchill"):
    """Solve a loop without heat; its flow is what is asked for."""
    answer = solved(Plan("closed form", loop.Series(*items), unchanging(density, viscosity)), friction)
    assert answer.settled.settled
    return answer


def head_loss(name, metres_per_flow2, flow_unit=LITRES_PER_MINUTE, density=1000.0):
    """Return a part that takes k Q² metres of head, Q in the unit of which `flow_unit` are one m3/s."""
    pascal = metres_per_flow2 * flow_unit**2 * density * GRAVITY
    return Resistance(name, Loss(fixed_quadratic=pascal))


# ------------------------------------------------------------------------------------- the reference loop

# Made up for comparison; four independent programs (scipy with fluids, ht and CoolProp; EPANET through
# wntr; pandapipes; TESPy) agree on the answers in `reference_loop.CASES`.


def _case_answer(name, friction):
    case = reference.CASES[name]
    answer = solve(reference_plan(case["design"], case["coolant"], case["layout"]), friction)
    flows, elements = answer.components["flow [L/min]"], answer.elements
    found = {
        "flow": answer.flow.to("L/min").magnitude,
        "flow_cpu": flows["cpu"],
        "flow_gpu": flows["gpu"],
        "t_hot": elements.loc["radiator", "coolant in [degC]"],
        "t_cold": elements.loc["radiator", "coolant out [degC]"],
        "t_cpu": answer.components.loc["cpu", "temperature [degC]"],
        "t_gpu": answer.components.loc["gpu", "temperature [degC]"],
    }
    return found, case["answers"], case["design"]["room"]


def _off(found, printed, room):
    """Return how far each figure is from the printed one: flows by share, temperatures by share over room."""
    zero = {key: room if key.startswith("t_") else 0.0 for key in found}
    return {key: abs(found[key] - printed[key]) / (printed[key] - zero[key]) for key in found}


@pytest.mark.parametrize("name", reference.CASES)
def test_reference_case_with_the_same_friction_law_is_within_0_05_percent(name):
    found, printed, room = _case_answer(name, "colebrook")
    off = _off(found, printed, room)
    assert max(off.values()) < 5e-4, off
    # The properties are fitted polynomials, which moves the answer by some 1e-5; nothing else differs.
    assert max(off.values()) < 2e-5, off


@pytest.mark.parametrize("name", reference.CASES)
def test_reference_case_with_churchill_differs_by_the_law_alone(name):
    """
    Churchill and Colebrook differ by up to 1.5 % in friction at these Reynolds numbers (6600 to 17 900).

    Tube friction is 10 to 20 % of the head and flow goes as the root of it: 0.04 % in flow is the most
    that the law itself makes here, found by the reference program run with both laws.
    """
    found, printed, room = _case_answer(name, "churchill")
    case = reference.CASES[name]
    both = [
        reference.solve_plain(case["design"], case["coolant"], case["layout"], law, low_level=True)["flow"]
        for law in ("churchill", "fluids")
    ]
    by_law = both[0] / both[1] - 1
    assert abs(by_law) < 4e-4
    assert found["flow"] / printed["flow"] - 1 == pytest.approx(by_law, abs=2e-5)
    assert max(_off(found, printed, room).values()) < 4e-4


@pytest.mark.parametrize("layout", reference.LAYOUTS)
@pytest.mark.parametrize("liquid", COOLANTS)
def test_random_designs_equal_the_tight_reference(liquid, layout):
    """100 designs for each coolant and layout, properties and friction law the same on both sides."""
    count = 100
    designs = reference.sweep_designs(count, seed=7)
    polynomials = coolant(COOLANTS[liquid])

    def properties(temperature):
        return tuple(float(value) for value in polynomials.properties(temperature)[:3])

    answer = solve(reference_plan(designs, liquid, layout))
    assert np.all(answer.settled.settled)
    rows = answer.elements.set_index(["element", "design"])
    flows = answer.components.set_index(["component", "design"])["flow [L/min]"] / LITRES_PER_MINUTE
    found = {
        "flow": answer.state["flow"],
        "flow_cpu": flows["cpu"].to_numpy(),
        "flow_gpu": flows["gpu"].to_numpy(),
        "t_hot": rows.loc["radiator", "coolant in [degC]"].to_numpy(),
        "t_cold": rows.loc["radiator", "coolant out [degC]"].to_numpy(),
        "t_cpu": answer.state["cpu"],
        "t_gpu": answer.state["gpu"],
    }
    for number, design in enumerate(reference.design_rows(designs)):
        tight = reference.solve_tight(design, properties, "churchill", layout)
        for key, values in found.items():
            near = {"rel": 1e-7} if key.startswith("flow") else {"rel": 0, "abs": 1e-6}
            assert values[number] == pytest.approx(tight[key], **near), (number, key)


# ------------------------------------------------------------------------------------ loops in closed form

# Pump H = 4 - 4 (Q/16)² m, Q in L/min; a part of 0.02 Q² m in series with two side by side of 0.03 q² and
# 0.05 q² m. Closed form, computed by hand: 0.0095262 Q² for the two, and the flows below; to 1e-4.


def closed_form_pump(name="pump", speed=1.0, gravity=GRAVITY):
    """Return the pump; one that gives its metres at another gravity gives that much more pressure."""
    return loop.PumpUnit(name, parts.Pump(name, 4.0 * gravity / GRAVITY, 16 / LITRES_PER_MINUTE, 2.0), speed)


def closed_form_parts():
    pair = loop.Parallel(head_loss("left", 0.03), head_loss("right", 0.05))
    return head_loss("main", 0.02), pair


def test_closed_form_loop():
    answer = answer_of(closed_form_pump(), *closed_form_parts())
    assert answer.flow.to("L/min").magnitude == pytest.approx(9.4123, rel=1e-4)
    assert answer.head.to("m").magnitude == pytest.approx(2.6158, rel=1e-4)
    elements = answer.elements
    assert elements.loc["left", "flow [L/min]"] == pytest.approx(5.3039, rel=1e-4)
    assert elements.loc["right", "flow [L/min]"] == pytest.approx(4.1084, rel=1e-4)
    assert elements.loc["left", "loss [m]"] == pytest.approx(0.0095262 * 9.4123**2, rel=1e-4)


def test_closed_form_loop_with_two_pumps_in_series():
    answer = answer_of(closed_form_pump("first"), closed_form_pump("second"), *closed_form_parts())
    assert answer.flow.to("L/min").magnitude == pytest.approx(11.4730, rel=1e-4)


def test_closed_form_loop_with_two_pumps_side_by_side():
    pumps = loop.Parallel(closed_form_pump("first"), closed_form_pump("second"))
    answer = answer_of(pumps, *closed_form_parts())
    assert answer.flow.to("L/min").magnitude == pytest.approx(10.9382, rel=1e-4)


def test_closed_form_loop_at_60_percent_speed():
    """Affinity laws of ISO 9906 and nothing but quadratic losses: the flow goes exactly with the speed."""
    answer = answer_of(closed_form_pump(speed=0.6), *closed_form_parts())
    assert answer.flow.to("L/min").magnitude == pytest.approx(5.6474, rel=1e-4)
    assert answer.head.to("m").magnitude == pytest.approx(0.94167, rel=1e-4)
    full = answer_of(closed_form_pump(), *closed_form_parts())
    # 1e-7 is what three passes promise of a flow.
    assert answer.state["flow"] == pytest.approx(0.6 * full.state["flow"], rel=1e-7)


@pytest.mark.parametrize(("pumps", "flow", "head"), [(1, 1.272, 332.6), (2, 2.575, 464.7)])
def test_pumps_that_lift_water_state_the_university_problem(pumps, flow, head):
    """
    h = 365 - 20 Q² (ft, ft3/s) lifting 290 ft through 90 ft of 10 in (f 0.022) and 4900 ft of 8 in (f 0.028).

    A widely used university problem: 1.272 ft3/s at 332.6 ft; two in series 2.575 ft3/s at 464.7 ft (the
    latter computed); to 0.3 %. A closed loop lifts nothing, so the lift is taken off the pumps' head; the
    flow is stated in L/s in place of ft3/s, since a pump of the package gives 10 L/s at most.
    """
    litre = 1e-3  # m3, stands for a cubic foot
    lift = 290.0
    pipes = [(0.022, 90.0, 10 / 12), (0.028, 4900.0, 8 / 12)]
    coefficient = sum(f * length / bore / (2 * 32.2 * area_of(bore) ** 2) for f, length, bore in pipes)
    assert coefficient == pytest.approx(26.351, rel=1e-4)
    shutoff = 365.0 - lift / pumps  # ft, of each
    runout = math.sqrt(shutoff / 20.0) * litre
    units = [loop.PumpUnit(f"pump {n}", parts.Pump(f"pump {n}", shutoff * FOOT, runout, 2.0)) for n in range(pumps)]
    answer = answer_of(*units, head_loss("pipes", coefficient * FOOT, 1 / litre))
    assert answer.state["flow"] / litre == pytest.approx(flow, rel=3e-3)
    assert answer.state["head"] / FOOT + lift == pytest.approx(head, rel=3e-3)


def test_hydraulic_power_of_a_duty_point():
    """rho g Q H: 5 L/min at 3.2 m of water of 998.2 kg/m3 are 2.610 W (computed); to 0.1 %."""
    duty = 5 / LITRES_PER_MINUTE
    pump = loop.PumpUnit("pump", parts.Pump("pump", 4.0, duty / math.sqrt(0.2), 2.0))
    answer = answer_of(pump, head_loss("loop", 3.2 / 5**2, density=998.2), density=998.2)
    assert answer.state["flow"] == pytest.approx(duty, rel=1e-7)
    power = 1e3 * answer.elements["loss [kPa]"].sum() * answer.state["flow"]
    assert power == pytest.approx(2.610, rel=1e-3)


def test_three_pipes_in_series_with_friction_factors_given():
    """Daugherty and Franzini example 8.8: 0.084 m3/s under 10 m of head; to 0.5 %."""
    pipes = [(0.019, 300.0, 0.30), (0.021, 150.0, 0.20), (0.020, 250.0, 0.25)]
    # A pump of the package gives 10 L/s at most, so a thousandth of the flow is asked for.
    scale = 1e3
    items = [
        Resistance(f"pipe {n}", Loss(quadratic=scale**2 * f * length / bore / (2 * area_of(bore) ** 2)))
        for n, (f, length, bore) in enumerate(pipes)
    ]
    # A head that hardly falls with flow stands in for the level of a lake.
    lake = loop.PumpUnit("lake", parts.Pump("lake", 10.0, 0.01, 6.0))
    flow = scale * answer_of(lake, *items).state["flow"]
    assert flow == pytest.approx(0.084, rel=5e-3)
    # Computed with g = 9.81: 0.08362; the package's g is 9.80665.
    assert flow * math.sqrt(9.81 / GRAVITY) == pytest.approx(0.08362, rel=1e-4)


@pytest.mark.parametrize(
    ("friction", "gravity", "flow", "tolerance"),
    [
        ("colebrook", 9.81, 6.8771, 1e-5),  # an independent solver with Colebrook
        # EPANET itself: Swamee-Jain friction, which costs 1.6e-4 of flow, and a gravity of 32.2 ft/s2
        ("colebrook", 9.81456, 6.8775, 3e-4),
        ("colebrook", GRAVITY, 6.8775, 2e-3),
        ("churchill", GRAVITY, 6.8775, 2e-3),
    ],
)
def test_pumped_loop_with_two_tubes_side_by_side(friction, gravity, flow, tolerance):
    """After the method of EPANET 2.2 (Rossman 2020), computed with it: 6.8775 L/min as 4.1482 + 2.7293; to 0.2 %."""
    rough, density = 1.5e-6, 1000.0
    wide = parts.Tube("10 mm", "PETG", 0.014, 0.010, roughness_height=rough)
    narrow = parts.Tube("8 mm", "PETG", 0.012, 0.008, roughness_height=rough)

    def line(name, tube, length, minor_k):
        fitting = parts.Fitting(f"K of {name}", 0.0, minor_k, 0.0, tube.bore)
        return loop.Series(loop.Run(name, tube, length, ends=0.0), loop.Fittings(f"fittings of {name}", fitting))

    answer = answer_of(
        closed_form_pump(gravity=gravity),
        line("first", wide, 1.0, 6.0),
        loop.Parallel(line("left", narrow, 0.5, 12.0), line("right", narrow, 0.5, 30.0)),
        line("last", wide, 1.0, 6.0),
        density=density,
        viscosity=1.0219e-6 * density,
        friction=friction,
    )
    elements = answer.elements
    assert answer.flow.to("L/min").magnitude == pytest.approx(flow, rel=tolerance)
    assert elements.loc["left", "flow [L/min]"] == pytest.approx(4.1482, rel=2e-3)
    assert elements.loc["right", "flow [L/min]"] == pytest.approx(2.7293, rel=2e-3)
    # Heads at the pump's inlet and outlet and around the two tubes: 0.500, 3.7609, 2.8011, 1.4598 m.
    assert answer.head.to("m").magnitude * GRAVITY / gravity == pytest.approx(3.7609 - 0.5, rel=2e-3)
    both = elements.loc[["left", "fittings of left"], "loss [m]"].sum() * GRAVITY / gravity
    assert both == pytest.approx(2.8011 - 1.4598, rel=2e-3)


# --------------------------------------------------------------------------------- single tubes, and energy


@pytest.mark.parametrize("friction", pipeflow.FRICTION_LAWS)
@pytest.mark.parametrize(
    ("density", "viscosity", "flow", "bore", "length", "rough", "drop", "tolerance"),
    [
        # Cengel and Cimbala example 8-2: laminar in a 3 mm tube, 43.7 kPa; to 0.3 %
        (1000.0, 1.519e-3, 0.9 * 0.25 * math.pi * 0.003**2, 0.003, 9.0, 0.0, 43.7e3, 3e-3),
        # Cengel and Cimbala example 8-3: nearly smooth 50 mm pipe, 96.2 to 96.5 kPa; to 1 %
        (999.0, 1.138e-3, 6e-3, 0.05, 60.0, 2e-6, 96.35e3, 1e-2),
    ],
)
def test_single_tube_takes_the_printed_pressure(
    friction, density, viscosity, flow, bore, length, rough, drop, tolerance
):
    tube = parts.Tube("one", "copper", bore + 2e-3, bore, roughness_height=rough)
    # A run is at most 50 m, so the tube is laid in two halves.
    halves = [loop.Run(name, tube, length / 2, ends=0.0).loss() for name in ("first", "second")]
    branch = network.alone(halves[0] + halves[1])
    found, slope = network.branch_loss(branch, flow, density, viscosity, pipeflow.FRICTION_LAWS[friction])
    assert found == pytest.approx(drop, rel=tolerance)
    step = 1e-4 * flow
    ends = [
        network.branch_loss(branch, flow + side, density, viscosity, pipeflow.FRICTION_LAWS[friction])[0]
        for side in (-step, step)
    ]
    assert slope - network.LEAST_SLOPE == pytest.approx((ends[1] - ends[0]) / (2 * step), rel=1e-5)


def test_coolant_rise_of_300_w_in_one_litre_a_minute():
    """Energy balance with IAPWS water at 30 degC: 4.325 K (computed); to 0.3 %."""
    big = PowerRadiator("big", 1e5, 1.0, 0.0, 1e6, 6e-5, 0.0, Loss(), air_heat_per_volume=1e4)
    block = parts.Block("block", "anything", 0.0, 0.0, 0.0, 0.0)
    plan = Plan(
        "rise",
        loop.Series(
            loop.PumpUnit("pump", parts.Pump("pump", 4.0, 1 / LITRES_PER_MINUTE / math.sqrt(0.5), 2.0)),
            # Half the head at 1 L/min: 2 m of the coolant, so that its density does not matter.
            Resistance("loop", Loss(quadratic=2.0 * GRAVITY * LITRES_PER_MINUTE**2)),
            loop.Source("block", block, 300.0),
            loop.RadiatorUnit("radiator", big, fan=None, air_flow_each=1.0),
        ),
        coolant("water"),
        room_air=30.0 - 4.325 / 2,
    )
    answer = solve(plan)
    assert answer.flow.to("L/min").magnitude == pytest.approx(1.0, rel=1e-6)
    assert float(answer.settled.properties_at) == pytest.approx(30.0, abs=0.01)
    rise = (answer.coolant_return - answer.coolant_supply).to("delta_degC").magnitude
    assert rise == pytest.approx(4.325, rel=3e-3)
    assert answer.components.loc["block", "flow [L/min]"] == pytest.approx(1.0, rel=1e-6)
