"""
Which way air goes and how much of it, against equations written down again here, and what must follow in the loop.

Fans follow H0 n2 (1 - u|u|^(m-1)), u = V/(n V0), in air of 1.2 kg/m3, and in proportion to density (AMCA 201, from
memory); cores take parallel plates' friction and velocity heads, openings are sharp-edged orifices.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from breathing import CORES, FAST, IN, QUIET, exhaust, machine, machines, radiator, without_loss
from ht import effectiveness_from_NTU
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from loopmath import InputError, OutOfRange, air, catalogue, demo_plan, solve
from loopmath import loop as tree
from loopmath.air import CASE, ROOM, Warmth
from loopmath.case import AirPart, CaseFans
from loopmath.plan import GIVEN
from loopmath.solution import solved

SPEEDS = st.floats(0.25, 1.0)


# ------------------------------------------------------------------------- the equations, written down again here


def density(temperature):
    """Ideal gas at 101325 Pa, 287.05 J/(kg K)."""
    return 101325.0 / (287.05 * (temperature + 273.15))


def core_loss(unit, mass, temperature):
    """Return what the core and its filter take of air of a temperature, `mass` kg/s in all its positions. [Pa]"""
    r = unit.radiator
    pitch = 0.0254 / r.fins_per_inch
    spacing = pitch - r.fin_thickness
    free = r.fan_size / r.tube_pitch * (r.tube_pitch - r.tube_height) * r.fan_size * spacing / pitch
    depth, kelvin = r.depth - r.frame, temperature + 273.15
    viscosity = 1.458e-6 * kelvin**1.5 / (kelvin + 110.4)  # Sutherland
    velocity = mass / density(temperature) / r.positions / free
    friction = 48.0 * viscosity * velocity * depth / (2 * spacing) ** 2  # f Re = 96 on twice the spacing
    heads = 1.0 + r.louvre_loss * depth / r.louvre_pitch + unit.filter_loss
    return friction + heads * density(temperature) / 2 * velocity * abs(velocity)


def fan_rise(fan, speed, each, temperature):
    """Return the pressure a fan gives at a volume flow of air of a temperature. [Pa]"""
    full = fan.shutoff_pressure * density(temperature) / 1.2
    if speed == 0.0:
        u = each / fan.free_flow
        return -full * fan.exponent / 2 * u * abs(u)
    u = each / (speed * fan.free_flow)
    shape = u * abs(u) ** (fan.exponent - 1) if abs(u) <= 1 else math.copysign(1 + fan.exponent / 2 * (u * u - 1), u)
    return full * speed**2 * (1.0 - shape)


def root(excess):
    """Return the mass flow at which a rising excess is nothing. [kg/s]"""
    return brentq(excess, -1.0, 1.0, xtol=1e-16, rtol=1e-14)


def warm(plan, case, **ends):
    """Return air temperatures: of the case, and (into, out of) each radiator."""
    return Warmth(case, {n: pair[0] for n, pair in ends.items()}, {n: pair[1] for n, pair in ends.items()})


def masses(plan, warmth):
    """Return the mass flow of each duct by name, those of one name added, and the pressure of the case."""
    found = air.paths(plan, warmth)
    assert np.all(found.settled)
    out = {}
    for duct, flow in zip(found.ducts, found.flows, strict=True):
        out[duct.name] = out.get(duct.name, 0.0) + float(duct.density * flow)
    return out, float(found.pressure)


# ------------------------------------------------------------------------------------------------------ one path


@settings(deadline=None)
@given(SPEEDS, st.sampled_from(CORES), st.sampled_from([QUIET, FAST]), st.floats(0.0, 50.0), st.floats(5.0, 45.0))
def test_one_plain_path_is_the_fan_on_its_curve(speed, core, fan, filter_loss, room):
    unit = radiator("front", speed, core, fan, filter_loss=filter_loss)
    plan = machine(unit, room_air=room, case_air_by=GIVEN)
    (found, _) = masses(plan, warm(plan, room, front=(room, room + 8)))
    linear, quadratic = unit.radiator.air_resistance(room, density(room), filter_loss)
    each = fan.flow(speed, linear, quadratic, density(room))
    assert found["front"] == pytest.approx(unit.radiator.positions * density(room) * each, rel=1e-6)

    def excess(mass):
        each = mass / density(room) / unit.radiator.positions
        return core_loss(unit, mass, room) - fan_rise(fan, speed, each, room)

    assert found["front"] == pytest.approx(root(excess), rel=1e-7)


@settings(deadline=None)
@given(SPEEDS, st.none() | SPEEDS, st.sampled_from([1, 2, 4]), st.sampled_from(["push", "pull"]), st.floats(0.0, 30.0))
def test_fans_behind_the_core_stand_in_the_air_that_leaves_it(speed, pull_speed, series, side, rise):
    """Half of two and more stand behind; a single one where it is said to."""
    unit = radiator("front", speed, fans_in_series=series, fan_side=side, pull_speed=pull_speed)
    plan = machine(unit, case_air_by=GIVEN)
    (found, _) = masses(plan, warm(plan, 30.0, front=(25.0, 25.0 + rise)))
    behind = series / 2 if series > 1 else float(side == "pull")

    def excess(mass):
        cold, hot = (mass / density(t) / 3 for t in (25.0, 25.0 + rise))
        push = (series - behind) * fan_rise(FAST, speed, cold, 25.0)
        pull = behind * fan_rise(FAST, speed if pull_speed is None else pull_speed, hot, 25.0 + rise)
        return core_loss(unit, mass, 25.0) - push - pull

    assert found["front"] == pytest.approx(root(excess), rel=1e-7)


def test_push_and_pull_by_hand():
    """
    At one density: a core that takes R V2 and fans of H0 (1 - (V/V0)2), by hand.

    One fan: V = V0/sqrt(1 + R V0^2/H0); two in a row: V0/sqrt(1 + R V0^2/(2 H0)).
    """
    free, shutoff, taken = 0.03, 30.0, 20.0 / 0.02**2
    fan = replace(FAST, free_flow=free, shutoff_pressure=shutoff, exponent=2.0)
    ratio = taken * free**2 / shutoff
    for series in (1.0, 2.0):
        duct = air.Duct("one", ROOM, CASE, 1.2, ((0.0, taken, 1.0),), ((fan, series, 1.0, 1.0),))
        (flow,), pressure, done = air.settled_flows([duct], False)
        assert done
        assert pressure == 0.0
        assert float(flow) == pytest.approx(free / math.sqrt(1 + ratio / series), rel=1e-8)


def test_a_fan_behind_the_core_moves_less_air_than_one_before_it_and_the_answer_agrees_with_itself():
    push = machine(radiator("front", 0.6), case_air_by=GIVEN)
    pull = push.set(**{"front.fan_side": "pull"})
    cold, hot = solve(push), solve(pull)
    assert hot.airs["front"].flow < cold.airs["front"].flow
    out = float(hot.air_out("front"))
    (found, _) = masses(pull, warm(pull, 30.0, front=(25.0, out)))
    assert float(hot.airs["front"].flow) * density(25.0) == pytest.approx(found["front"], rel=1e-6)


@settings(deadline=None, max_examples=20)
@given(SPEEDS, st.just(0.0) | SPEEDS, st.integers(1, 2), st.sampled_from([ROOM, CASE]))
def test_two_speeds_side_by_side_lie_between_one_and_the_other(first, second, count, place):
    unit = radiator("front", first, air=place, second_fans=float(count), second_speed=second)
    plan = machine(unit, case_air_by=GIVEN)
    warmth = warm(plan, 30.0, front=(25.0 if place == ROOM else 30.0, 40.0))

    def moved(speed):
        whole = plan.set(**{"front.second_fans": 0.0, "front.fan_speed": speed})
        return masses(whole, warmth)[0]["front"]

    found = masses(plan, warmth)[0]["front"]
    assert found == pytest.approx(((3 - count) * moved(first) + count * moved(second)) / 3, rel=1e-7)
    if second == 0.0:
        return
    slow, fast = (
        float(solve(plan.set(**{"front.second_fans": 0.0, "front.fan_speed": s})).state["coolant_return"])
        for s in sorted((first, second))
    )
    assert fast - 1e-6 <= solve(plan).state["coolant_return"] <= slow + 1e-6


def test_fans_of_two_speeds_on_all_positions_are_fans_of_one_speed():
    plan = machine(radiator("front", 0.4), case_fans=(exhaust(),))
    same = plan.set(**{"front.second_fans": 2.0, "front.second_speed": 0.4})
    other = plan.set(**{"front.second_fans": 3.0, "front.second_speed": 0.4, "front.fan_speed": 0.9})
    for twin in (same, other):
        for key, value in solve(plan).state.items():
            assert float(solve(twin).state[key]) == pytest.approx(float(value), rel=1e-7), key


@pytest.mark.parametrize(("second", "most"), [(0.9, 0.008), (0.5, 0.015), (0.25, 0.03), (0.0, 0.06)])
def test_fans_of_two_speeds_take_little_more_than_one_after_the_other_along_the_coolant(second, most):
    """
    The coolant's tubes pass all positions: against an exchanger for each bank, one behind the other, by `ht`.

    One exchanger of the mean is a little too good; simply adding the conductances would be up to 12 % too good.
    """
    answer = solve(machine(radiator("front", 1.0, second_fans=1.0, second_speed=second), case_air_by=GIVEN))
    (unit,) = answer.plan.units(tree.RadiatorUnit)
    row, kept = answer.row("front"), 1.0
    liquid = float(answer.fluid[0] * answer.fluid[2] * row["flow"])
    film = float(unit.radiator.liquid_conductance()(row["flow"], *answer.fluid))
    for duct, flow, positions in zip(answer.air.ducts, answer.air.flows, (2.0, 1.0), strict=True):
        share = positions / 3
        side = unit.radiator.air_side(float(flow) / positions, 25.0, float(duct.density))
        if flow > 1e-6:
            least, most_ = sorted((liquid, share * float(side.capacity)))
            units = 1 / (1 / (share * float(side.conductance)) + 1 / (share * film)) / least
            kept *= 1 - effectiveness_from_NTU(units, least / most_, subtype="crossflow") * least / liquid
    pull = float((row["in"] - row["out"]) / (row["in"] - 25.0))
    assert -0.002 < pull / (1 - kept) - 1 < most


# --------------------------------------------------------------------------------------------------- in a row


@settings(deadline=None)
@given(SPEEDS, SPEEDS, st.booleans(), st.sampled_from(CORES[:2]), st.sampled_from(["push", "pull"]))
def test_two_radiators_in_a_row_share_one_flow(first, second, fanned, core, side):
    """Both cores take, all fans give; the one behind gets warmer air and may have other positions, or no fans."""
    front = radiator("front", first)
    back = radiator("back", second, core, QUIET if fanned else None, air="front", fan_side=side)
    plan = machine(front, back, case_air_by=GIVEN)
    (found, _) = masses(plan, warm(plan, 30.0, front=(25.0, 33.0), back=(33.0, 39.0)))

    def excess(mass):
        total = core_loss(front, mass, 25.0) + core_loss(back, mass, 33.0)
        total -= fan_rise(FAST, first, mass / density(25.0) / 3, 25.0)
        at = 39.0 if side == "pull" else 33.0
        return total - fanned * fan_rise(QUIET, second, mass / density(at) / back.radiator.positions, at)

    assert found["front"] == pytest.approx(root(excess), rel=1e-7)


def test_what_leaves_one_radiator_enters_the_one_behind_it():
    plan = machine(radiator("front", 0.6), radiator("middle", 0.6, air="front"), radiator("back", 0.6, air="middle"))
    answer = solve(plan)
    into = {name: float(cooler.air_temperature) for name, cooler in answer.coolers.items()}
    assert into["front"] == 25.0
    for before, after in (("front", "middle"), ("middle", "back")):
        assert into[after] == pytest.approx(float(answer.air_out(before)), rel=1e-10)
        masses_ = [float(answer.coolers[n].air_capacity) for n in (before, after)]
        assert masses_[0] == pytest.approx(masses_[1], rel=1e-5)  # density is a turn old: air within 1e-4 K


def test_the_air_of_a_radiator_is_its_own_wherever_it_stands_in_the_loop():
    """The loop passes a row's radiators with another between them: the properties are still those of each one's air."""
    units = [radiator("front"), radiator("top", air=CASE), radiator("rear", air="front")]
    answers = [
        solve(machine(*(units[n] for n in order), heats=(400.0,))) for order in ((0, 1, 2), (2, 1, 0), (1, 2, 0))
    ]
    for answer in answers:
        for name, cooler in answer.coolers.items():
            mass = answer.airs[name].flow * density(float(cooler.air_temperature))
            assert float(mass * 1006.5) == pytest.approx(float(cooler.air_capacity), rel=1e-6), name
            linear = answer.airs[name].conductance
            assert 1 / float(linear) == pytest.approx(float(cooler.air_resistance), rel=1e-9)


def test_a_row_drawn_backwards_is_entered_at_its_other_end():
    fans = (exhaust(4.0, 1.0, "strong fans", FAST, IN),)
    row = (radiator("front", 0.3, air=CASE, blows=CASE), radiator("back", 0.3, air="front", blows=CASE))
    turned = machine(radiator("in", 0.25), radiator("behind", 0.25, air="in"), case_fans=fans, case_vents=0.0)
    answer = solve(turned)
    assert float(answer.air.forward(0)) == 0.0
    into = {name: float(cooler.air_temperature) for name, cooler in answer.coolers.items()}
    assert into["behind"] == pytest.approx(float(answer.case_air), rel=1e-10)
    assert into["in"] == pytest.approx(float(answer.air_out("behind")), rel=1e-10)
    assert answer.air_out("in") > into["in"] > into["behind"] > 25.0 + 0.05
    # Two that stir the air of the case take heat from the loop and leave it in the case.
    stirred = solve(machine(*row, case_fans=fans))
    assert stirred.case_air > solve(turned).case_air + 1.0


# --------------------------------------------------------------------------------------------------- the case


def balance(plan, case, temperatures):
    """Return (masses by name, pressure) of a case, by brentq inside of brentq."""
    units = plan.units(tree.RadiatorUnit)
    free = 0.6 * plan.case_vents  # discharge of a sharp edge

    def radiator_mass(unit, over):
        source = plan.room_air if unit.air == ROOM else case
        target = unit.blows or (CASE if unit.air == ROOM else ROOM)
        sign = (target == CASE) * 1.0 - (unit.air == CASE) * 1.0

        def excess(mass):
            each = mass / density(source) / unit.radiator.positions
            return core_loss(unit, mass, source) + sign * over - fan_rise(unit.fan, unit.fan_speed, each, source)

        return sign, root(excess)

    def fan_mass(fans, over):
        source, sign = (plan.room_air, 1.0) if fans.blows == IN else (case, -1.0)

        def excess(mass):
            each = mass / density(source) / fans.count
            velocity = each / (math.pi / 4 * fans.fan.size**2)
            taken = (1 + fans.filter_loss) * density(source) / 2 * velocity * abs(velocity)
            return taken + sign * over - fan_rise(fans.fan, fans.speed, each, source)

        return sign, root(excess)

    def all_masses(over):
        out = {u.name: radiator_mass(u, over) for u in units} | {f.name: fan_mass(f, over) for f in plan.case_fans}
        room = density(plan.room_air)
        out["openings"] = 1.0, -math.copysign(room * free * math.sqrt(2 * abs(over) / room), over)
        return out

    over = brentq(lambda p: sum(s * m for s, m in all_masses(p).values()), -200.0, 200.0, xtol=1e-13)
    return {name: mass for name, (_, mass) in all_masses(over).items()}, over


@settings(deadline=None, max_examples=20)
@given(
    st.lists(st.just(0.0) | SPEEDS, min_size=4, max_size=4),
    st.sampled_from([1e-3, 0.012]) | st.floats(5e-4, 0.05),
    st.floats(0.0, 25.0),
    st.sampled_from(["", ROOM]),
)
def test_the_pressure_of_the_case_lets_leave_what_enters(speeds, vents, over_room, blows):
    """Two radiators in, one out or round about, two fans in or out, openings: against brentq."""
    plan = machine(
        radiator("front", speeds[0]),
        radiator("floor", speeds[1], CORES[1], QUIET, blows=blows),
        radiator("top", speeds[2], CORES[1], air=CASE),
        case_fans=(exhaust(2.0, speeds[3]), exhaust(1.0, 0.5, "side fan", QUIET, IN, 0.0)),
        case_vents=vents,
    )
    case = 25.0 + over_room
    temperatures = {"front": (25.0, 30.0), "floor": (25.0, 30.0), "top": (case, case + 5.0)}
    found, pressure = masses(plan, warm(plan, case, **temperatures))
    expected, over = balance(plan, case, temperatures)
    # Near no pressure at all the openings' root is endlessly steep; the package eases it by 1e-2 Pa for each m3/s.
    assert abs(pressure - over) < 1.1e-2 * abs(expected["openings"]) / density(case) + 1e-6
    for name, mass in expected.items():
        assert found[name] == pytest.approx(mass, rel=2e-4, abs=2e-5), name


def test_two_intakes_and_one_exhaust_with_a_stopped_fan_drawn_backwards():
    """Two radiators blow in, one slow fan draws out: a stopped fan that should blow in lets air out."""
    stopped = exhaust(1.0, 0.0, "stopped fan", QUIET, IN)
    plan = machine(
        radiator("front", 0.9),
        radiator("floor", 0.9, CORES[1]),
        case_fans=(exhaust(1.0, 0.5), stopped),
        case_vents=0.002,
    )
    found, pressure = masses(plan, warm(plan, 35.0, front=(25.0, 30.0), floor=(25.0, 30.0)))
    expected, over = balance(plan, 35.0, {})
    assert found["stopped fan"] < 0 < pressure
    assert pressure == pytest.approx(over, rel=1e-5)
    for name, mass in expected.items():
        assert found[name] == pytest.approx(mass, rel=1e-5), name


def test_without_openings_what_enters_leaves_by_the_fans():
    plan = machine(radiator("front", 0.8), radiator("top", 0.8, air=CASE), case_vents=0.0, case_fans=(exhaust(),))
    found, _ = masses(plan, warm(plan, 35.0, front=(25.0, 33.0), top=(35.0, 39.0)))
    assert found["front"] == pytest.approx(found["top"] + found["rear fan"], rel=1e-5)
    assert found["front"] > 0.01
    # A case with one way in and none out: the fan holds its pressure at no flow, 35 Pa n2 (data/fans.csv).
    shut = machine(radiator("front", 0.8), case_vents=0.0)
    found, pressure = masses(shut, warm(shut, 35.0, front=(25.0, 33.0)))
    assert abs(found["front"]) < 1e-6
    assert pressure == pytest.approx(35.0 * 0.8**2 * density(25.0) / 1.2, rel=1e-4)


def test_wider_openings_bring_the_case_nearer_to_the_room():
    vents = np.array([0.0, 1e-3, 3e-3, 0.01, 0.03, 0.1])
    answer = solve(machine(radiator("front", 0.7), case_fans=(exhaust(1.0, 0.3),), case_vents=vents))
    pressure = answer.air.pressure
    assert np.all(np.diff(pressure) < 0)
    assert np.all(pressure > 0)
    assert pressure[-1] < 0.05 * pressure[0]
    assert np.all(np.diff(answer.case_air) < 0)


def test_all_fans_off_moves_no_air_and_states_no_temperature():
    plan = machine(radiator("front"), radiator("top", air=CASE), case_fans=(exhaust(),))
    answer = solved(plan.set(fan_speed=0.0, case_fan_speed=0.0))
    assert np.all(np.abs(answer.air.flows) < 1e-6)
    assert not answer.known
    assert "leave the range" in answer.plight
    assert np.isnan(answer.state["case_air"])
    assert np.isnan(answer.state["coolant_return"])
    assert ("danger", "coolant outside its data") in {(r.signal, r.quantity) for r in answer.warnings.itertuples()}
    with pytest.raises(OutOfRange, match="coolant temperature"):
        solve(plan.set(fan_speed=0.0, case_fan_speed=0.0))


def test_case_fans_alone_draw_air_through_radiators_whose_fans_stand():
    """Fans that draw out make the radiators the way in, stopped fans and all."""
    plan = machine(radiator("front", 0.0), case_fans=(exhaust(3.0, 1.0, fan=FAST),), case_vents=0.0, heats=(60.0,))
    answer = solve(plan)
    assert answer.air.flows[0] > 0.01
    assert answer.airs["front"].flow * density(25.0) * 1006.5 == pytest.approx(answer.coolers["front"].air_capacity)
    assert answer.case_air > 25.0
    assert answer.coolers["front"].air_temperature == 25.0


def test_air_given_as_such_passes_whatever_the_case_does():
    given_air = replace(radiator("front"), fan=None, air_flow_each=0.012)
    plan = machine(given_air, radiator("top", 0.5, air=CASE))
    answer = solve(plan)
    assert float(answer.air.flows[0]) == pytest.approx(0.036, rel=1e-15)
    # In a row the first one's counts, and passes the positions of those behind it.
    row = machine(given_air, replace(radiator("back", core=CORES[1]), fan=None, air="front"))
    assert float(solve(row).airs["front"].flow) == pytest.approx(0.036, rel=1e-12)
    warm_in = float(solve(row).coolers["back"].air_temperature)
    assert float(solve(row).airs["back"].flow) * density(warm_in) == pytest.approx(0.036 * density(25.0), rel=1e-5)


@pytest.mark.parametrize(
    ("front", "back", "refused", "words"),
    [
        ({"fan": None, "air_flow_each": 0.012}, {"fan": None, "air_flow_each": 0.5}, "back", "the air front states"),
        ({}, {"fan": None, "air_flow_each": 0.5}, "back", "the air the fans of front move"),
        ({"fan": None, "air_flow_each": 0.012}, {}, "front", "the air the fans of back move"),
    ],
)
def test_a_row_has_one_air_flow_and_a_second_one_stated_is_refused(front, back, refused, words):
    units = [replace(radiator("front"), **front), replace(radiator("back"), air="front", **back)]
    with pytest.raises(InputError) as caught:
        solve(machine(*units))
    assert caught.value.field == f"{refused}, air flow each"
    assert words in str(caught.value)
    assert solve(machine(*(replace(u, air_flow_each=0.0) if u.name == refused else u for u in units))).known


@pytest.mark.parametrize("speeds", [(0.0, 0.8), (0.8, 0.0)])
def test_air_that_comes_back_through_fans_that_stand_is_told_whichever_they_are(speeds):
    """What one position blows into a tight case goes back through the two beside it, whose fans stand."""
    first, second = speeds
    many = 1.0 if second else 2.0
    plan = machine(radiator("front", first, second_fans=many, second_speed=second), case_vents=0.0, heats=(40.0,))
    answer = solved(plan)
    backwards = {f.where: float(f.value) for f in answer.facts if f.quantity == "air drawn backwards"}
    assert backwards == {"front": 1.0}
    both = plan.with_loop(lambda leaf: replace(leaf, fan_speed=0.8, second_speed=0.8) if leaf.name == "front" else leaf)
    both = replace(both, case_fans=(exhaust(3.0, 1.0),))
    assert not any(f.value for f in solved(both).facts if f.quantity == "air drawn backwards")


def test_a_case_without_a_way_in_settles_though_what_little_flows_is_rounding():
    """The front radiator's fans stand and there is no opening, so no air can come in for any to leave."""
    shut = radiator("front", 0.93, CORES[1], QUIET, fans_in_series=2, pull_speed=0.3, second_fans=2.0, second_speed=0.0)
    past = radiator("top", 0.3, CORES[1], fans_in_series=2, blows=ROOM, filter_loss=1.0)
    about = radiator("rear", 0.445, CORES[1], QUIET, air=CASE, blows=CASE, fan_side=tree.PULL)
    closed = {"case_vents": 0.0, "case_wall_loss": 0.5, "case_heat": 0.0, "room_air": 10.0}
    answer = solved(machine(shut, past, about, heats=(20.0,), **closed))
    assert answer.known
    moved = {duct.name: float(q) for duct, q in zip(answer.air.ducts, answer.air.flows, strict=True)}
    assert abs(moved["front"]) < 1e-9
    # What warms the case can only go through its walls: what the radiator in it gives and its fans take, by 0.5 W/K.
    gives = -float(answer.row("rear")["heat"]) + float(about.fan_power())
    spare = (1 - answer.plan.loop.items[0].pump.heat_share) * float(answer.state["pump_power"])
    assert 0.5 * (float(answer.case_air) - 10.0) == pytest.approx(gives + spare, rel=1e-6)


def test_air_that_did_not_settle_states_no_temperature(monkeypatch):
    plan = machine(radiator("front"), radiator("top", 0.4, air=CASE), case_fans=(exhaust(),))
    assert solve(plan).known
    monkeypatch.setattr(air, "ROUNDING", -1.0)  # so that no last step is small enough
    monkeypatch.setattr(air, "LAST_STEP", 0.0)
    answer = solved(plan)
    assert not answer.known
    assert math.isnan(answer.state["coolant_warmest"])
    assert "design that did not settle" in set(answer.warnings["quantity"])


# ------------------------------------------------------------------------------------------------ what follows


def hottest(answer):
    """Return coolant, case and components of an answer, NaN where none is stated."""
    names = [u.name for u in answer.plan.units(tree.Source)] + [p.name for p in answer.plan.on_air]
    return np.array([answer.state[key] for key in ("coolant_return", "coolant_warmest", "case_air", *names)])


def roomy(plan):
    """
    Return a plan with openings.

    In a tight case two radiators may stand against each other, and what little moves hangs on how thin the air at a
    fan is: there a cooler loop may well leave the case warmer.
    """
    return plan.set(case_vents=plan.case_vents + 0.004)


@settings(deadline=None, max_examples=20)
@given(machines(least_speed=0.4), st.floats(0.5, 0.95))
def test_all_fans_faster_never_warm_the_coolant(plan, share):
    """All of them by one factor: every flow of air grows by about it. No fan may come to rest at either."""

    def slowed(unit):
        speeds = {k: getattr(unit, k, None) for k in ("fan_speed", "pull_speed", "second_speed")}
        return replace(unit, **{k: share * v for k, v in speeds.items() if v})

    slow = replace(plan.with_loop(slowed), case_fans=tuple(replace(f, speed=share * f.speed) for f in plan.case_fans))
    (slow, fast) = (hottest(solved(p.set(room_air=20.0)))[:2] for p in (slow, plan))
    assert not np.any(fast > slow + 1e-6)


@settings(deadline=None, max_examples=20)
@given(machines(balanced=True), SPEEDS, SPEEDS)
def test_faster_fans_of_a_radiator_between_room_and_room_never_warm_the_coolant(plan, one, other):
    extra = radiator("outside", blows=ROOM)
    plan = replace(roomy(plan), loop=tree.Series(*plan.loop.items, extra))
    slow, fast = (hottest(solved(plan.set(**{"outside.fan_speed": s}))) for s in sorted((one, other)))
    assert not np.any(fast[:2] > slow[:2] + 1e-4)
    assert not fast[2] > slow[2] + 0.05  # fans in thinner air give way a little


@settings(deadline=None, max_examples=20)
@given(machines(), SPEEDS)
def test_one_more_radiator_in_the_room_never_warms_anything(plan, speed):
    """One that takes nothing from the flow: what a real one takes is for the hydraulics to say."""
    plan = roomy(plan)
    extra = without_loss(radiator("outside", speed, blows=ROOM))
    more = hottest(solved(replace(plan, loop=tree.Series(*plan.loop.items, extra))))
    less = hottest(solved(plan))
    # Cooler coolant is stiffer and moves less, fans in thinner air give way: some hundredths of a kelvin at most.
    assert not np.any(more > less + 0.05)
    assert not np.any(more[:2] > less[:2] + 1e-4)


@settings(deadline=None, max_examples=15)
@given(machines(), st.floats(0.4, 0.9), st.floats(1.02, 1.2))
def test_more_flow_at_the_same_heat_never_warms_the_warmest_coolant_or_the_only_component(plan, speed, factor):
    """
    Pumps that warm nothing. Of several blocks in a row the first ones may well get warmer: see below.
    """
    plan = plan.set(**{"pump.power_shutoff": 0.0, "pump.power_runout": 0.0})
    slow, fast = (solved(plan.set(pump_speed=s)) for s in (speed, min(speed * factor, 1.0)))
    keys = ["coolant_warmest"]
    sources = plan.units(tree.Source)
    keys += [sources[0].name] if len(sources) == 1 else []
    for key in keys:
        # Where more of the heat moves to the first core, air thins at fans behind it and a little less goes through:
        # the lead of the coolant over the air grows by no larger share (4e-5 of 4 K once, from 2.86 to 3.28 L/min).
        thinner = max(
            0.0, *(1.0 - float(fast.airs[n].flow) / max(float(side.flow), 1e-12) for n, side in slow.airs.items())
        )
        lead = slow.state[key] - min(float(cooler.air_temperature) for cooler in slow.coolers.values())
        assert not fast.state[key] > slow.state[key] + 1e-4 + thinner * lead, key


def test_more_flow_may_warm_a_component_that_sits_before_the_heat():
    """A weak part before a strong one stands in the coolest coolant, and more flow makes the coolest less cool."""
    plan = machine(radiator("front", 1.0), heats=(5.0, 700.0), case_air_by=GIVEN)
    plan = plan.set(**{"pump.power_shutoff": 0.0, "pump.power_runout": 0.0})
    slow, fast = (solve(plan.set(pump_speed=s)).state for s in (0.4, 1.0))
    assert fast["coolant_supply"] > slow["coolant_supply"]
    assert fast["block 1"] > slow["block 1"]
    assert fast["block 2"] < slow["block 2"]


@settings(deadline=None, max_examples=20)
@given(machines(), st.floats(5.0, 30.0))
def test_a_warmer_room_warms_everything_by_about_as_much(plan, room):
    cold, warmer = (hottest(solved(plan.set(room_air=room + rise))) for rise in (0.0, 10.0))
    rise = (warmer - cold)[~np.isnan(warmer - cold)]
    over = np.nanmax(cold) - room if rise.size else 0.0
    # Warm air is thinner, a hundredth for each 3 K, and warm coolant flows easier: some hundredths of what all is over.
    assert np.all(np.abs(rise - 10.0) < 0.3 + 0.06 * over)


def test_a_height_thins_the_air_and_warms_all():
    heights = np.array([0.0, 500.0, 1500.0, 3000.0])
    answer = solve(machine(radiator("front"), radiator("top", air=CASE), case_fans=(exhaust(),), height=heights))
    assert np.all(np.diff(hottest(answer), axis=1) > 0.1)


def test_a_part_on_air_is_as_much_over_the_case_as_its_cooler_lets_it():
    part = AirPart("memory", "memory", 12.0, 85.0, 1.5)
    answer = solve(machine(radiator("front"), on_air=(part,)))
    assert answer.state["memory"] - answer.state["case_air"] == pytest.approx(18.0)
    without = solve(machine(radiator("front"), case_heat=40.0 + 12.0))
    assert answer.state["case_air"] == pytest.approx(float(without.state["case_air"]), rel=1e-12)


# ------------------------------------------------------------------------------------------------- many designs


@settings(deadline=None, max_examples=15)
@given(machines(), st.integers(0, 10**6))
def test_many_designs_equal_one_by_one(plan, seed):
    """Turns of air and loop go on until the last design is settled: a neighbour may add a turn, 1e-5 K at most."""
    draw = np.random.default_rng(seed)
    many = {
        "fan_speed": draw.uniform(0.0, 1.0, 5),
        "case_vents": draw.uniform(0.0, 0.02, 5),
        "room_air": draw.uniform(15.0, 30.0, 5),
        "case_heat": draw.uniform(0.0, 100.0, 5),
        "block 1.heat": draw.uniform(20.0, 200.0, 5),
    }
    together = solved(plan.set(**many))
    for n in range(5):
        alone = solved(plan.set(**{key: float(values[n]) for key, values in many.items()}))
        assert bool(alone.known) == bool(together.known[n])
        for key, value in alone.state.items():
            assert together.state[key][n] == pytest.approx(float(value), abs=1e-6, rel=1e-7, nan_ok=True), key


# ---------------------------------------------------------------------------------------------------- bad input


def refused(*radiators, **fields):
    """Return the refusal of a machine."""
    with pytest.raises(InputError) as caught:
        solve(machine(*radiators, **fields))
    return caught.value


def test_radiators_that_cannot_stand_as_said_are_refused_in_words():
    ring = refused(radiator("a", air="b"), radiator("b", air="a"), radiator("c"))
    assert ring.field == "a, air"
    assert "a draws from b draws from a: a ring" in str(ring)
    three = refused(radiator("a", air="c"), radiator("b", air="a"), radiator("c", air="b"))
    assert "a draws from c draws from b draws from a" in str(three)
    two = refused(radiator("a"), radiator("b", air="a"), radiator("c", air="a"))
    assert (two.field, "b is" in str(two)) == ("c, air", True)
    unequal = radiator("b", second_fans=1.0, second_speed=0.3)
    assert refused(radiator("a"), replace(unequal, air="a")).field == "b, second fans"
    assert refused(unequal, radiator("c", air="b")).field == "b, second fans"


@pytest.mark.parametrize("name", ["itself", "nobody", "", "Room", "pump", "block 1"])
def test_air_from_behind_what_is_no_other_radiator_is_refused_by_the_plan(name):
    with pytest.raises(InputError) as caught:
        machine(radiator("itself", air=name), radiator("other"))
    assert caught.value.field == "itself, air"


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"case_vents": -1e-3}, "case_vents"),
        ({"case_vents": 1.01}, "case_vents"),
        ({"case_heat": -1.0}, "case_heat"),
        ({"case_wall_loss": -0.1}, "case_wall_loss"),
        ({"case_vents": math.nan}, "case_vents"),
        ({"case_air_by": "guess"}, "case_air_by"),
        ({"case_fans": (exhaust(name="front"),)}, "plan"),
        ({"case_fans": (exhaust(), exhaust())}, "plan"),
        ({"on_air": (AirPart("block 1", heat=5.0),)}, "plan"),
        ({"case_fans": (exhaust(name="x"),), "on_air": (AirPart("x", heat=5.0),)}, "plan"),
    ],
)
def test_a_case_that_cannot_be_is_refused_by_name(fields, field):
    with pytest.raises(InputError) as caught:
        machine(radiator("front"), **fields)
    assert caught.value.field == field


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: radiator("front", second_fans=4.0), "front, second fans"),
        (lambda: radiator("front", second_fans=np.array([1.0, 3.5])), "front, second fans"),
        (lambda: radiator("front", second_fans=-1.0), "front, second fans"),
        (lambda: radiator("front", blows="outdoors"), "front, blows"),
        (lambda: radiator("front", fan_side="top"), "front, fan side"),
        (lambda: radiator("front", fans_in_series=0), "front, fans in series"),
        (lambda: radiator("front", pull_speed=1.1), "front, pull speed"),
        (lambda: exhaust(0.0), "rear fan, count"),
        (lambda: exhaust(1.0, 1.01), "rear fan, speed"),
        (lambda: exhaust(1.0, blows="sideways"), "rear fan, blows"),
        (lambda: exhaust(filter_loss=-1.0), "rear fan, filter loss"),
        (lambda: AirPart("memory", heat=-1.0), "memory, heat"),
        (lambda: AirPart("memory", resistance=math.inf), "memory, resistance"),
    ],
)
def test_a_fan_that_cannot_be_is_refused_by_name(make, field):
    with pytest.raises(InputError) as caught:
        make()
    assert caught.value.field.replace("_", " ") == field


def test_a_radiator_without_fans_and_air_is_a_stated_answer():
    """It moves no heat; beside one that does it is a length of tube."""
    idle = replace(radiator("front"), fan=None, air_flow_each=0.0)
    answer = solved(machine(idle))
    assert not answer.known
    assert "leave the range" in answer.plight
    beside = solve(machine(idle, radiator("top", 0.8, blows=ROOM)))
    assert float(beside.row("front")["heat"]) == pytest.approx(0.0, abs=1e-6)
    assert beside.known


def test_a_room_hotter_than_the_limits_warns_and_still_gives_its_numbers():
    plan = machine(radiator("front", 0.8), case_fans=(exhaust(),), room_air=45.0)
    plan = replace(plan, coolant_limit=40.0, on_air=(AirPart("drive", "drive", 5.0, 44.0, 1.0),))
    plan = plan.set(**{"block 1.limit": 44.0})
    answer = solve(plan)
    assert 45.0 < answer.state["case_air"] < answer.state["coolant_return"] < 70.0
    said = {(r.signal, r.where) for r in answer.warnings.itertuples()}
    places = {where for _, where in said}
    assert {"coolant", "block 1", "drive"} <= places


def test_a_name_taken_by_the_case_is_refused_wherever_it_is_taken():
    with pytest.raises(InputError, match="each name once"):
        replace(demo_plan(), case_fans=(CaseFans("pump", catalogue.part("fan", QUIET.name)),))
