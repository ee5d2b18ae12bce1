"""Tube ends: how warm their walls get, against other people's laws and by hand, and what follows from it."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from CoolProp.CoolProp import PropsSI
from examples import CUBE, DEMO, EXAMPLES, SUITE, each_example
from ht.conv_free_immersed import Nu_horizontal_cylinder_Churchill_Chu
from ht.conv_internal import turbulent_Gnielinski
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from loopmath import catalogue, course, regime, scenarios, tables, transient, tube_ends
from loopmath import loop as tree
from loopmath.checks import InputError
from loopmath.laws import coolant as coolants
from loopmath.laws import materials, seals
from loopmath.loss import GRAVITY
from loopmath.planfile import load_plan
from loopmath.rules import HouseRule
from loopmath.solution import solved
from loopmath.tube_ends import CASES, HOT, OFF, PEAK, STEADY, STOPS, WHEN, with_tube
from loopmath.units import DISPLAY

QUIET = tables.DATA / "plans" / "quiet_workshop.toml"
AT_REST = (STEADY, PEAK, HOT)
WATER = coolants.coolant("water")
#: Bore, outside and conductivity of a rigid tube.
SIZES = {"bore": 0.010, "outside": 0.014, "conductivity": 0.2}
#: The first run of the demo as laid: legs of 233, 155 and 83 mm, two bends round 28 mm that cut their corners. [m]
FIRST_RUN = 0.471 - 2 * 0.028 * (2 - np.pi / 2)


@pytest.fixture(scope="module")
def demo():
    return load_plan(DEMO)


@pytest.fixture(scope="module")
def ends(demo):
    return tube_ends.tube_ends(demo)


def named(answer):
    """Return the ends by their names."""
    return {end.name: end for end in answer.ends}


# -------------------------------------------------------------------------------------------- where an end sits


def test_every_run_and_leg_has_two_ends_and_they_sit_where_the_coolant_comes_from_and_goes(ends):
    assert [(e.name, e.side) for e in ends.ends[:8]] == [
        ("fill tube, at reservoir", "start"),
        ("fill tube, closed end", "end"),
        ("drain, at pump", "start"),
        ("drain, closed end", "end"),
        ("pump to processor, at pump", "start"),
        ("pump to processor, at processor", "end"),
        ("processor to graphics card, at processor", "start"),
        ("processor to graphics card, at graphics card", "end"),
    ]
    assert len(ends.ends) == 2 * len([e for e in tree.leaves(ends.plan.loop) if hasattr(e, "tube")])


def test_in_a_group_an_end_sits_at_its_own_branch_and_outside_it_where_the_group_ends():
    answer = tube_ends.tube_ends(load_plan(SUITE), cases=[STEADY])
    at = {(end.run, end.side): end.at for end in answer.ends}
    assert at["in of left card", "start"] == "tees of left card"
    assert at["in of left card", "end"] == at["out of left card", "start"] == "left card"
    assert at["out of right card", "end"] == "quick release out"
    assert at["pump to filter", "start"] == "drain valve"  # the dead leg between them is no neighbour


def looped(*items):
    """Return a plan of the demo with other elements after its pump."""
    plan = load_plan(DEMO)
    pump, tank = plan.units(tree.PumpUnit)[0], plan.units(tree.Tank)[0]
    return replace(plan, loop=tree.Series(tank, pump, *items))


def test_where_branches_meet_an_end_sits_at_a_tee_in_the_mixed_coolant(demo):
    run, card = demo.units(tree.Run)[0], demo.units(tree.Source)[1]
    cpu = demo.units(tree.Source)[0]
    cooler = demo.units(tree.RadiatorUnit)[0]
    leg = replace(demo.units(tree.DeadLeg)[0], name="leg")
    behind, first, last = (replace(run, name=name) for name in ("behind", "first", "last"))
    group = tree.Parallel(tree.Series(cpu, first), tree.Series(card, last))
    plan = looped(group, leg, behind, cooler)
    answer = tube_ends.tube_ends(plan)
    found = named(answer)
    assert {"behind, at tee", "leg, at tee", "first, at tee", "last, at tee"} <= set(found)
    rows = {row["element"].name: row for row in answer.solution.walk}
    # The leg hangs in what the branches make together, not in standing coolant, nor in one of them.
    mixed = float(rows["behind"]["in"])
    assert float(rows["first"]["in"]) != pytest.approx(mixed, abs=0.2)
    assert mixed - 0.5 < found["leg, at tee"].wall[STEADY] < mixed
    # Where two groups follow each other nothing tells: the warmest coolant stands for it, on the safe side.
    twice = looped(group, leg, tree.Parallel(tree.Series(behind), tree.Series(replace(run, name="beside"))), cooler)
    between = named(tube_ends.tube_ends(twice))["leg, at tee"]
    assert between.wall[STEADY] >= mixed - 0.5
    assert all(np.isfinite(value) for value in between.wall.values())


def test_a_loop_of_a_pump_and_a_run_closes_on_itself(demo):
    answer = tube_ends.tube_ends(replace(demo, loop=tree.Series(demo.units(tree.PumpUnit)[0], demo.units(tree.Run)[0])))
    assert [end.at for end in answer.ends] == ["pump", "pump"]


# ------------------------------------------------------------------------------------- the wall, by others' laws


def outside_wall(warm, air, flow):
    """Return both surfaces of a long tube in still air by ht and CoolProp, with no line of ours."""
    bore, out, k = SIZES["bore"], SIZES["outside"], SIZES["conductivity"]
    density, viscosity, heat, conducting = (PropsSI(p, "T", warm + 273.15, "P", 101325, "Water") for p in "DVCL")
    inner = 3.66
    if flow:
        reynolds = 4 * flow * density / (np.pi * bore * viscosity)
        friction = (0.79 * np.log(reynolds) - 1.64) ** -2
        inner = turbulent_Gnielinski(Re=reynolds, Pr=viscosity * heat / conducting, fd=friction)
    inside = 1 / (np.pi * inner * conducting)
    wall = np.log(out / bore) / (2 * np.pi * k)

    def outer(surface):
        film = 273.15 + (surface + air) / 2
        density, viscosity, heat, conducting = (PropsSI(p, "T", film, "P", 101325, "Air") for p in "DVCL")
        grashof = 9.80665 / film * abs(surface - air) * out**3 * (density / viscosity) ** 2
        nusselt = Nu_horizontal_cylinder_Churchill_Chu(viscosity * heat / conducting, grashof)
        return np.pi * nusselt * conducting * (surface - air)

    surface = brentq(lambda t: outer(t) - (warm - t) / (inside + wall), min(warm, air), max(warm, air))
    return warm - outer(surface) * inside, surface


@pytest.mark.parametrize("flow", [0.0, 3e-3 / 60, 6e-3 / 60], ids=["standing", "3 L/min", "6 L/min"])
@pytest.mark.parametrize(("warm", "air"), [(35.0, 30.0), (50.0, 30.0), (65.0, 40.0), (34.0, 45.0)])
def test_the_wall_agrees_with_ht_and_coolprop(warm, air, flow):
    """3 L/min of water are turbulent, and a long tube has no inlet to speak of."""
    found = regime.tube_walls(WATER, warm, air, flow, 100.0, **SIZES)
    np.testing.assert_allclose(found, outside_wall(warm, air, flow), atol=0.003 * abs(warm - air))


def test_an_end_worked_by_hand():
    """
    By hand, property tables of [Incropera2007]_ (from memory), water at 310 K and air at 300 K.

    Water: 993 kg/m3, 695e-6 Pa s, 0.628 W/(m K), Pr 4.62. At 3 L/min in 10 mm Re = 4*5e-5*993/(pi*0.01*695e-6) = 9096;
    f = (0.79 ln 9096 - 1.64)^-2 = 0.03238, so Nu = 0.004048*8096*4.62/(1 + 12.7*0.06362*(4.62^(2/3) - 1)) = 62.2 and
    h = 3906 W/(m2 K). Air: 15.89e-6 m2/s, 0.0263 W/(m K), Pr 0.707, 1/T 1/300: with 8 K between wall and air
    Ra = 9.81/300*8*0.014^3/15.89e-6^2*0.707 = 2010, Nu = (0.6 + 0.387*2010^(1/6)/1.2076)^2 = 2.97 by
    [ChurchillChu1975a]_, h = 5.58. Per metre: inside 1/(pi*0.01*3906) = 0.0081, wall ln(1.4)/(2 pi*0.2) = 0.2678,
    outside 1/(pi*0.014*5.58) = 4.075 K m/W: of 310 - 301.4 K lie 0.0019 inside and 0.0616 in the wall.
    """
    inner, outer = regime.tube_walls(WATER, 36.85, 28.28, 5e-5, 0.3, **SIZES)
    lead = 36.85 - 28.28
    assert 36.85 - inner == pytest.approx(lead * 0.0019, abs=0.003)
    assert 36.85 - outer == pytest.approx(lead * 0.0634, rel=0.03)


@given(st.floats(6.0, 69.0), st.floats(6.0, 80.0), st.sampled_from([0.0, 1e-5, 5e-5, 2e-4]))
def test_a_wall_lies_between_coolant_and_air_and_the_same_heat_passes_it_everywhere(warm, air, flow):
    inner, outer = regime.tube_walls(WATER, warm, air, flow, 0.3, **SIZES)
    ordered = (warm, inner, outer, air) if warm >= air else (air, outer, inner, warm)
    assert all(a >= b - 1e-12 for a, b in zip(ordered, ordered[1:], strict=False))
    # Heat through the wall leaves it as the film of the air takes it up at the outside it has got.
    through = 2 * np.pi * SIZES["conductivity"] * (inner - outer) / np.log(1.4)
    film = 273.15 + (outer + air) / 2
    dense, viscous = 101325 / (287.05 * film), coolants.air_viscosity(film - 273.15)
    conducting = coolants.air_conductivity(film - 273.15)
    prandtl = viscous * coolants.AIR_HEAT_CAPACITY / conducting
    grashof = GRAVITY / film * abs(outer - air) * SIZES["outside"] ** 3 * (dense / viscous) ** 2
    taken = np.pi * Nu_horizontal_cylinder_Churchill_Chu(prandtl, grashof) * conducting * (outer - air)
    assert through == pytest.approx(taken, rel=2e-3, abs=1e-6)


@given(st.floats(10.0, 60.0), st.floats(10.0, 60.0), st.floats(0.1, 9.0), st.floats(1.05, 3.0))
def test_warmer_coolant_or_air_makes_a_warmer_wall(warm, air, more, thicker):
    least = np.array(regime.tube_walls(WATER, warm, air, 5e-5, 0.3, **SIZES))
    assert np.all(np.array(regime.tube_walls(WATER, warm + more, air, 5e-5, 0.3, **SIZES)) > least)
    assert np.all(np.array(regime.tube_walls(WATER, warm, air + more, 5e-5, 0.3, **SIZES)) > least)
    # A better conductor comes nearer to one temperature all through.
    better = np.array(regime.tube_walls(WATER, warm, air, 5e-5, 0.3, **SIZES | {"conductivity": 0.2 * thicker}))
    assert abs(np.diff(better)) <= abs(np.diff(least)) + 1e-12


def test_the_limits_of_the_films():
    fast, slow = (regime.tube_walls(WATER, 50.0, 30.0, flow, 1.0, **SIZES)[0] for flow in (1e-2, 0.0))
    assert fast == pytest.approx(50.0, abs=1e-3)  # film to infinity: the wall is as warm as the coolant
    assert slow < 49.5
    metal = regime.tube_walls(WATER, 50.0, 30.0, 1e-2, 1.0, **SIZES | {"conductivity": 1e5})
    np.testing.assert_allclose(metal, 50.0, atol=2e-3)
    np.testing.assert_allclose(regime.tube_walls(WATER, 40.0, 40.0, 5e-5, 1.0, **SIZES), 40.0, atol=1e-9)


def test_walls_broadcast_and_refuse_a_tube_without_a_wall():
    both = regime.tube_walls(WATER, np.array([[40.0], [50.0]]), np.array([20.0, 30.0, 60.0]), 5e-5, 0.3, **SIZES)
    assert both[0].shape == both[1].shape == (2, 3)
    assert both[1][1, 1] == pytest.approx(regime.tube_walls(WATER, 50.0, 30.0, 5e-5, 0.3, **SIZES)[1])
    with pytest.raises(InputError, match="more than the bore"):
        regime.tube_walls(WATER, 50.0, 30.0, 5e-5, 0.3, **SIZES | {"outside": 0.010})


# -------------------------------------------------------------------------------------------------- the five cases


@each_example
def test_the_cases_are_in_order_and_no_wall_is_warmer_than_what_is_round_it(path):
    plan = load_plan(path)
    answer = tube_ends.tube_ends(plan)
    peak = solved(plan.at_peak())
    for end in answer.ends:
        assert tuple(end.wall) == CASES
        assert end.wall[STEADY] <= end.wall[PEAK] <= min(end.wall[STOPS], end.wall[OFF])
        assert end.wall[HOT] > end.wall[PEAK]
        # Coolant flows, and a standing leg is never warmer than the air.
        assert end.wall[PEAK] <= float(peak.state["coolant_warmest"]) + 1e-9
        assert end.wall[HOT] <= max(float(peak.state["coolant_warmest"]), float(peak.case_air) + plan.hot_spot) + 1e-9
        assert end.wall[end.worst] == max(end.wall.values())
        assert (end.margin is None) == (end.soft is None)
        if end.margin is not None:
            assert end.margin == pytest.approx(end.soft - max(end.wall.values()))


@pytest.mark.parametrize("path", [DEMO, QUIET], ids=lambda path: path.stem)
def test_at_rest_both_ends_of_a_run_in_a_row_are_in_its_own_coolant(path):
    """At a height, where thinner air takes less."""
    plan = load_plan(path).set(height=2500.0)
    answer = tube_ends.tube_ends(plan, cases=AT_REST)
    peak = solved(plan.at_peak())
    pressure = coolants.pressure_at_height(2500.0)
    for case, at, over in ((STEADY, answer.solution, 0.0), (PEAK, peak, 0.0), (HOT, peak, plan.hot_spot)):
        for run in plan.units(tree.Run):
            row, tube = at.row(run.name), run.tube
            film = (float(row["in"]), float(at.case_air) + over, float(row["flow"]), run.length)
            surfaces = regime.tube_walls(plan.coolant, *film, tube.bore, tube.outside, 0.2, pressure)
            own = [end.wall[case] for end in answer.ends if end.run == run.name]
            np.testing.assert_allclose(own, max(map(float, surfaces)), atol=1e-6)


def test_a_closed_end_is_as_warm_as_the_air_round_it(ends, demo):
    closed = named(ends)["drain, closed end"]
    assert closed.wall[STEADY] == pytest.approx(float(demo.case_air))
    assert closed.wall[HOT] == pytest.approx(float(demo.case_air) + demo.hot_spot)


def test_the_end_at_the_tee_is_in_the_coolant_that_flows_past(ends):
    past = float(ends.solution.row("pump")["out"])
    tee = named(ends)["drain, at pump"].wall[STEADY]
    assert float(ends.solution.case_air) < tee < past
    assert past - tee < 0.1
    # Behind a block it is what the block has made of it, not what came in.
    leg = next(e for e in ends.plan.units(tree.DeadLeg) if e.name == "drain")
    items = [item for item in ends.plan.loop.items if item is not leg]
    place = [item.name for item in items].index("graphics card") + 1
    moved = tube_ends.tube_ends(
        replace(ends.plan, loop=tree.Series(*items[:place], leg, *items[place:])), cases=[STEADY]
    )
    row = moved.solution.row("graphics card")
    assert row["in"] + 1.0 < named(moved)["drain, at graphics card"].wall[STEADY] < row["out"]


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_heat_soaks_out_of_blocks_and_is_worst_at_their_ends(path):
    plan = load_plan(path)
    blocks = {unit.name for unit in plan.units(tree.Source)}
    answer = tube_ends.tube_ends(plan, cases=[PEAK, STOPS, OFF])
    for case in (STOPS, OFF):
        at, away = ([e.wall[case] - e.wall[PEAK] for e in answer.ends if (e.at in blocks) == side] for side in (1, 0))
        assert min(at) > 3.0
        assert max(away) < 0.1


@pytest.mark.parametrize("path", [DEMO, SUITE, CUBE], ids=lambda path: path.stem)
def test_switched_off_a_block_ends_where_its_stored_heat_puts_it(path):
    """By hand: what block, coolant and part hold at peak, shared out among the three; nothing leaves a block."""
    plan = load_plan(path).at_peak()
    answer = solved(plan)
    density, _, heat, _ = (float(value) for value in answer.fluid)
    tops = scenarios.power_off(plan, at=0.0).peaks["peak [degC]"]
    walls = {end.name: end for end in tube_ends.tube_ends(plan, cases=[OFF]).ends}
    for unit in plan.units(tree.Source):
        water = density * heat * unit.block.volume
        copper = unit.block.mass * tables.by_name("metals.csv")["copper"]["specific_heat_j_kg_k"]
        part = transient.component_capacity(unit)
        warm = float(answer.row(unit.name)["out"])
        shared = ((water + copper) * warm + part * float(answer.state[unit.name])) / (water + copper + part)
        assert tops[f"coolant in {unit.name}"] == pytest.approx(shared, abs=0.05)
        for end in walls.values():
            if end.at == unit.name:
                inner, outer = regime.tube_walls(
                    plan.coolant, shared, float(answer.state["case_air"]), 0.0, 1.0, end.tube.bore, end.tube.outside,
                    tables.by_name("plastics.csv")[end.tube.material]["conductivity_w_m_k"],
                    coolants.pressure_at_height(plan.height),
                )  # fmt: skip
                assert end.wall[OFF] == pytest.approx(inner, abs=0.05)
                assert outer < inner


@pytest.mark.parametrize("path", [DEMO, SUITE, CUBE], ids=lambda path: path.stem)
def test_pumps_that_stop_end_as_a_run_does_in_which_the_machine_switches_off(path):
    """The soak is one straight step here; the run in time follows it second by second, through the same limit."""
    plan = load_plan(path).at_peak()
    stop = scenarios.pump_stop(plan, at=0.0)
    first = min(e.time for e in stop.events if e.quantity == "component limit" and e.time is not None)
    model = transient.Dynamics(plan)
    pumps = plan.with_speeds({unit.name: 0.0 for unit in plan.units(tree.PumpUnit)})
    off = pumps.with_speeds({unit.name: 0.0 for unit in plan.fanned})
    off = off.with_loop(lambda leaf: replace(leaf, heat=0.0) if isinstance(leaf, tree.Source) else leaf)
    still = tuple(unit.name for unit in plan.units(tree.RadiatorUnit))
    stretches = [
        course.Stretch(0.0, first, model.regime(pumps), model.watts(pumps)),
        course.Stretch(first, first + 3600.0, model.regime(off, still), model.watts(off)),
    ]
    start = np.array([stop.temperatures[course.label(model.nodes[n])][0] for n in model.stored])
    tops = course.run(model, "", stretches, start, ends=False).peaks["peak [degC]"]
    answer = named(tube_ends.tube_ends(load_plan(path), cases=[STOPS]))
    for unit in plan.units(tree.Source):
        near = [end for end in answer.values() if end.at == unit.name]
        inner, _ = regime.tube_walls(
            plan.coolant, tops[f"coolant in {unit.name}"], float(plan.case_air), 0.0, 1.0, near[0].tube.bore,
            near[0].tube.outside, tables.by_name("plastics.csv")[near[0].tube.material]["conductivity_w_m_k"],
            coolants.pressure_at_height(plan.height),
        )  # fmt: skip
        assert near
        assert all(end.wall[STOPS] == pytest.approx(float(inner), abs=0.1) for end in near)


def test_a_pump_that_stops_says_who_switches_off_and_where_nothing_is_known(ends, demo):
    assert ends.notes[STOPS].startswith("18 s after the pumps stop, graphics card is at its limit")
    # Parts that bear anything: the run goes on until the coolant leaves its data, and the answer says so.
    hard = demo.with_loop(lambda leaf: replace(leaf, limit=200.0) if isinstance(leaf, tree.Source) else leaf)
    answer = tube_ends.tube_ends(hard, cases=[STOPS])
    assert "leaves the range of its data" in answer.notes[STOPS]
    assert 68.0 < named(answer)["pump to processor, at processor"].wall[STOPS] < 70.0
    # No heat, and a case as warm as the room: nothing happens within half an hour.
    cold = demo.set(case_air_over_room=0.0).with_loop(
        lambda leaf: replace(leaf, heat=0.0, peak_heat=0.0) if hasattr(leaf, "limit") else leaf
    )
    answer = tube_ends.tube_ends(cold, cases=[PEAK, STOPS])
    assert answer.notes[STOPS] == "No part in the loop reaches its limit within 30 min 00 s."
    assert all(end.wall[STOPS] - end.wall[PEAK] < 0.1 for end in answer.ends)


def test_where_the_soak_leaves_the_data_of_the_coolant_its_end_stands_and_is_told():
    """A processor that may get to 92 degC holds enough to bring the coolant of its block over 70 degC."""
    plan = load_plan(QUIET).set(**{"processor.limit": 92.0, "graphics card.limit": 92.0})
    answer = tube_ends.tube_ends(plan, cases=[STOPS])
    assert "processor is at its limit" in answer.notes[STOPS]
    assert answer.notes[STOPS].endswith(tube_ends.BEYOND)
    air, pressure = answer._warmth.air[1], coolants.pressure_at_height(300.0)
    inner, _ = regime.tube_walls(plan.coolant, 70.0, air, 0.0, 1.0, 0.010, 0.013, 0.2, pressure)
    assert named(answer)["processor to top radiator, at processor"].wall[STOPS] == pytest.approx(inner, abs=1e-6)


def test_no_machine_switches_off_for_a_part_on_air_when_its_pump_stops():
    plan = load_plan(QUIET)
    plain = tube_ends.tube_ends(plan, cases=[STOPS])
    frail = replace(plan, on_air=tuple(replace(part, limit=30.0) for part in plan.on_air))
    other = tube_ends.tube_ends(frail, cases=[STOPS])
    assert other.notes == plain.notes
    assert [end.wall for end in other.ends] == [end.wall for end in plain.ends]


def test_a_part_over_its_limit_already_has_its_machine_switch_off_at_once(demo):
    hot = demo.set(**{"graphics card.limit": 40.0})
    answer = tube_ends.tube_ends(hot, cases=[STOPS, OFF])
    assert answer.notes[STOPS].startswith("Before the pumps stop, graphics card is at its limit")
    assert all(end.wall[STOPS] == pytest.approx(end.wall[OFF], abs=0.1) for end in answer.ends)


def test_coarse_steps_in_time_are_fine_enough(ends, demo, monkeypatch):
    monkeypatch.setattr(tube_ends, "SOLVER", {"relative": 1e-7, "absolute": 1e-6, "points": 801})
    monkeypatch.setattr(tube_ends, "SOAKED", 3 * 3600.0)
    fine = tube_ends.tube_ends(demo, cases=[STOPS, OFF])
    for a, b in zip(ends.ends, fine.ends, strict=True):
        assert all(a.wall[case] == pytest.approx(b.wall[case], abs=0.05) for case in (STOPS, OFF))


def test_the_turns_of_the_film_of_the_air_are_enough(monkeypatch):
    warm, air = np.array([20.0, 40.0, 60.0, 69.0])[:, None], np.array([10.0, 40.0, 70.0])
    found = np.array(regime.tube_walls(WATER, warm, air, 0.0, 0.3, **SIZES))
    monkeypatch.setattr(regime, "TURNS", 30)
    assert np.abs(np.array(regime.tube_walls(WATER, warm, air, 0.0, 0.3, **SIZES)) - found).max() < 0.002


# ---------------------------------------------------------------------------------------- what cannot be answered


def test_no_temperature_is_invented_where_there_is_no_answer(demo):
    answer = tube_ends.tube_ends(demo.set(pump_speed=0.0))
    assert all(np.isnan(value) for end in answer.ends for value in end.wall.values())
    assert all(end.worst == "" and np.isnan(end.margin) and np.isnan(end.grip) for end in answer.ends)
    assert all(answer.notes[case].startswith("Nothing flows") for case in CASES)
    assert all(np.isnan(value) for value in answer.growth.values())
    assert np.isnan(answer.months).all()
    assert answer.warned() == []
    shown = answer.table()
    assert shown[[f"{case} [°C]" for case in CASES]].isna().all(axis=None)
    assert (shown["softens [°C]"] == 50.0).all()  # that much stays known


def test_a_peak_without_an_answer_leaves_the_steady_case(demo):
    far = demo.set(**{"graphics card.peak_heat": 3000.0})
    answer = tube_ends.tube_ends(far)
    for end in answer.ends:
        assert np.isfinite(end.wall[STEADY])
        assert all(np.isnan(end.wall[case]) for case in CASES if case != STEADY)
        assert end.worst == STEADY
        assert end.margin == pytest.approx(end.soft - end.wall[STEADY])
    assert all("range of its data" in answer.notes[case] for case in CASES if case != STEADY)


def test_bad_input_is_refused_in_words(demo, ends):
    with pytest.raises(InputError, match="case = 'pump stop'.*pump stops"):
        tube_ends.tube_ends(demo, cases=["pump stop"])
    with pytest.raises(InputError, match="cases = 'none'.*steady"):
        tube_ends.tube_ends(demo, cases=[])
    with pytest.raises(InputError, match="2 designs"):
        tube_ends.tube_ends(demo.set(pump_speed=np.array([0.5, 0.6])))
    with pytest.raises(InputError, match="PETG"):
        with_tube(ends, "PETGG")
    with pytest.raises(InputError, match="metric"):
        ends.table("imperial")


def test_cases_can_be_left_out_and_a_solution_handed_over(demo, ends):
    few = tube_ends.tube_ends(demo, ends.solution, cases=[HOT, STEADY])
    assert few.solution is ends.solution
    for a, b in zip(few.ends, ends.ends, strict=True):
        assert a.wall == {case: b.wall[case] for case in (STEADY, HOT)}


# ------------------------------------------------------------------------------------------------ softening, ranks


@pytest.mark.parametrize(("material", "told"), [("PETG", True), ("PMMA", False), ("copper", False), ("EPDM", False)])
def test_a_warm_quiet_machine_flags_petg_and_not_acrylic(material, told):
    """
    Slow fans in a warm room, at rest: common practice says acrylic there, or copper, no source; worked out here.
    """
    plan = load_plan(QUIET).set(tube_material=material, room_air=26.0, fan_speed=0.42, case_fan_speed=0.42)
    answer = tube_ends.tube_ends(plan, cases=AT_REST)
    found = [row for row in answer.warned() if row.quantity == "tube end below softening by"]
    assert bool(found) is told
    if told:
        assert {row.signal for row in found} == {"caution", "danger"}
        # One row for each rule; that of the danger is at the worst end.
        assert len(found) == 2
        assert found[0].where.startswith(min(answer.ends, key=lambda end: end.margin).name)


@each_example
def test_copper_and_soft_tube_do_not_soften_and_copper_is_as_warm_as_its_coolant(path):
    plan = load_plan(path)
    answer = tube_ends.tube_ends(plan.set(tube_material="copper"))
    for end in answer.ends:
        assert (end.soft, end.margin, end.strain) == (None, None, None)
        assert end.grip > 0
    assert not [row for row in answer.warned() if row.quantity != "grip over thrust"]
    rows = {row["element"].name: row for row in answer.solution.walk}
    run = plan.units(tree.Run)[0].name
    start = next(end for end in answer.ends if end.run == run)
    assert start.wall[STEADY] == pytest.approx(float(rows[run]["in"]), abs=1e-9)
    assert set(answer.vapour.values()) == {(0.0, 0.0)}
    assert answer.months is None
    soft = with_tube(answer, "EPDM")
    assert all((end.soft, end.margin, end.strain, end.grip) == (None,) * 4 for end in soft.ends)
    assert all(end.thrust > 0 for end in soft.ends)


def test_the_data_sheet_of_a_tube_counts(demo, ends):
    better = demo.with_loop(
        lambda leaf: replace(leaf, tube=replace(leaf.tube, heat_deflection=70.0)) if hasattr(leaf, "tube") else leaf
    )
    for a, b in zip(ends.ends, tube_ends.tube_ends(better).ends, strict=True):
        assert (a.soft, b.soft) == (50.0, 60.0)
        assert b.margin == pytest.approx(a.margin + 10.0, abs=1e-6)
        assert b.strain < a.strain


def test_the_same_temperatures_judged_for_another_material_are_those_of_that_tube(ends, demo):
    for material in catalogue.tube_materials():
        judged = with_tube(ends, material)
        own = tube_ends.tube_ends(demo.set(tube_material=material))
        for a, b in zip(judged.ends, own.ends, strict=True):
            assert (a.name, a.tube.name, a.soft) == (b.name, b.tube.name, b.soft)
            # Another bore is another flow, and that is all that keeps the two apart.
            assert all(a.wall[case] == pytest.approx(b.wall[case], abs=0.3) for case in CASES)
        assert judged.plan.units(tree.Run)[0].tube.material == material
    back = with_tube(with_tube(ends, "PMMA"), "PETG")
    assert [end.wall for end in back.ends] == [end.wall for end in ends.ends]


@settings(max_examples=25, deadline=None)
@given(st.floats(10.0, 40.0), st.floats(0.4, 1.0), st.floats(0.3, 1.0), st.floats(0.0, 40.0))
def test_a_warmer_room_or_spot_never_leaves_more_margin(room, pump, fans, spot):
    plan = load_plan(DEMO).set(pump_speed=pump, fan_speed=fans, hot_spot=spot)
    cool, warm, hotter = (
        tube_ends.tube_ends(p, cases=AT_REST)
        for p in (
            plan.set(room_air=room),
            plan.set(room_air=room + 2.0),
            plan.set(room_air=room, hot_spot=min(spot + 5.0, 40.0)),
        )
    )
    for a, b, c in zip(cool.ends, warm.ends, hotter.ends, strict=True):
        if np.isfinite(b.margin) and np.isfinite(a.margin):
            assert b.margin < a.margin
            assert c.margin <= a.margin + 1e-9


# ------------------------------------------------------------------------------------------------ ring, thrust, grip


def test_the_highest_pressure_by_hand(demo):
    """3.7 m at shut-off and full speed, whatever the speed set; the parts stand from 120 to 514 mm."""
    density = float(demo.coolant.properties(25.0)[0])
    pressure, words = tube_ends.highest_pressure(demo)
    assert pressure == pytest.approx(density * 9.80665 * (3.7 + 0.394), rel=1e-9)
    assert "positions of its parts" in words
    # The cube: its parts stand from 1 1/4 to 6 in.
    pressure, words = tube_ends.highest_pressure(load_plan(CUBE))
    assert pressure == pytest.approx(998.0 * 9.80665 * (2.4 + 4.75 * 0.0254), rel=1e-3)
    assert "positions of its parts" in words
    anywhere = load_plan(CUBE).with_loop(lambda leaf: replace(leaf, position=None))
    pressure, words = tube_ends.highest_pressure(anywhere)
    assert pressure == pytest.approx(998.0 * 9.80665 * (2.4 + 0.5), rel=1e-3)
    assert "not known" in words


def test_pumps_in_a_row_add_and_side_by_side_do_not(demo):
    pump = demo.units(tree.PumpUnit)[0]
    rest = [leaf for leaf in demo.loop.items if leaf.name != "pump"]
    two = replace(pump, name="second")
    row = tube_ends.highest_pressure(replace(demo, loop=tree.Series(pump, two, *rest)))[0]
    beside = tube_ends.highest_pressure(replace(demo, loop=tree.Series(tree.Parallel(pump, two), *rest)))[0]
    one = tube_ends.highest_pressure(demo)[0]
    weight = float(demo.coolant.properties(25.0)[0]) * GRAVITY
    assert row - one == pytest.approx(weight * 3.7)
    assert beside == pytest.approx(one)


def test_ring_and_wall_by_hand(ends):
    """
    Rubber of 70 Shore A: 0.0981*(56 + 7.62336*70)/(0.137505*(254 - 177.8)) = 5.52 MPa [Gent1958]_. A ring of 1.78 mm
    pressed by a fifth bears 1.78e-3*5.52e6*(1.25*0.0894 + 50*6.4e-5) = 1130 N/m [Lindley1967]_. Round a tube 14/10 mm
    (mean radius 6 mm, wall 2 mm, decay 1.2724/sqrt(6*2) = 0.3673 per mm), which it presses at 7 mm, that is
    1130*7/6*6e-3*367.3/(2*2e-3*E), straight in the logarithm from 2 GPa at 23 degC to 1.8 MPa over the strain of
    0.2 % and what it had at first, 1.8/2000, or 621 MPa, at 60 degC.
    Two wet rings hold 0.2*1130*pi*0.014*2 = 19.9 N, and 19.3 N once the wall has given 0.11 % of 6 mm; the thrust is
    40.5 kPa*154 mm2 = 6.23 N.
    """
    end = named(ends)["pump to processor, at processor"]
    stiff = 2000.0 * (620.7 / 2000.0) ** ((end.wall[STOPS] - 23.0) / 37.0)
    assert end.strain == pytest.approx(1130.0 * 7e-3 * 367.3 / (4e-3 * stiff * 1e6), rel=0.01)
    assert end.thrust == pytest.approx(6.23, rel=0.01)
    assert end.grip == pytest.approx(19.3, rel=0.01)
    assert end.held == pytest.approx(end.grip / end.thrust)


def test_a_wall_that_gives_presses_back_less_and_holds_less(ends, demo):
    cooler, warmer = named(ends)["pump to processor, at pump"], named(ends)["pump to processor, at processor"]
    assert cooler.strain < warmer.strain
    assert cooler.grip > warmer.grip
    assert cooler.thrust == warmer.thrust
    # Squeezed to nothing a ring holds nothing, however stiff the wall.
    assert all(end.grip == 0.0 for end in tube_ends.tube_ends(demo.set(squeeze=0.0), cases=[STEADY]).ends)
    assert all(end.grip == 0.0 for end in tube_ends.tube_ends(demo.set(rings=0.0), cases=[STEADY]).ends)


def test_far_over_softening_the_end_of_what_is_known_stands_for_the_wall_and_is_told(demo):
    """45 degC in the room, 40 K in the case and 40 K round the tube: PETG is known to 95 degC, and nothing holds."""
    oven = demo.set(room_air=45.0, case_air_over_room=40.0, hot_spot=40.0)
    answer = tube_ends.tube_ends(oven, cases=[HOT])
    closed = named(answer)["drain, closed end"]
    assert closed.wall[HOT] == pytest.approx(125.0)
    load = seals.ring_load(demo.ring_section, demo.squeeze, seals.rubber_modulus(70.0))
    plateau = float(materials.stiffness("PETG", 95.0))
    assert closed.strain == pytest.approx(float(seals.ring_strain(load, 0.014, 0.010, plateau)))
    assert closed.grip == 0.0
    assert "stiffness" in answer.notes
    told: dict = {}
    for row in answer.warned():  # the gravest first
        told.setdefault(row.quantity, row.signal)
    assert told["wall pressed in by its ring"] == told["tube end below softening by"] == "danger"
    assert "stiffness" not in with_tube(answer, "copper").notes


def test_of_a_rigid_plastic_known_under_the_milder_load_only_the_latest_softening_is_judged(demo):
    tube = replace(demo.tube, material="rigid PVC")
    plain = demo.with_loop(lambda leaf: replace(leaf, tube=tube) if hasattr(leaf, "tube") else leaf)
    end = tube_ends.tube_ends(plain, cases=[STEADY]).ends[0]
    assert (end.soft, end.strain, end.grip) == (47.0, None, None)
    assert end.margin == 47.0 - end.wall[STEADY]
    assert np.isfinite(end.wall[STEADY])


# ------------------------------------------------------------------------------------------------- growth, vapour


def test_growth_by_hand(ends, demo):
    """447 mm of PETG, 68e-6 per kelvin, from 25 degC to what its own coolant makes of it in the hottest air."""
    run = demo.units(tree.Run)[0]
    peak = solved(demo.at_peak())
    coolant, air = float(peak.row(run.name)["in"]), float(peak.case_air) + demo.hot_spot
    warmest = max(
        map(float, regime.tube_walls(
            demo.coolant, coolant, air, float(peak.row(run.name)["flow"]), run.length, 0.010, 0.014, 0.2,
            coolants.pressure_at_height(demo.height),
        ))
    )  # fmt: skip
    assert ends.growth[run.name] == pytest.approx(FIRST_RUN * 68e-6 * (warmest - 25.0), rel=1e-3)
    assert set(ends.growth) == {unit.name for unit in demo.units(tree.Run)}
    # A block that soaks warms the end, not the run.
    assert warmest < ends.ends[5].wall[STOPS] - 10


@pytest.mark.parametrize(
    ("base", "volume", "mass"),
    [
        ("ethylene glycol", 0.181, 0.20),
        ("ethylene glycol", 0.478, 0.50),
        ("propylene glycol", 0.194, 0.20),
        ("propylene glycol", 0.396, 0.40),
    ],
)
def test_mass_shares_through_densities_agree_with_the_handbook(base, volume, mass):
    """Pairs of shares by volume and by mass as in the tables of freezing points of [ASHRAE2001]_ (from memory)."""
    molar = {"ethylene glycol": 62.07, "propylene glycol": 76.09}[base]
    fluid = replace(WATER, base=base, fraction=volume, fraction_basis="volume")
    by_hand = ((1 - mass) / 18.015) / ((1 - mass) / 18.015 + mass / molar)
    assert coolants.water_share(fluid) == pytest.approx(by_hand, abs=0.004)
    assert coolants.water_share(replace(fluid, fraction=mass, fraction_basis="mass")) == pytest.approx(
        by_hand, abs=1e-4
    )


def test_water_alone_has_its_own_vapour_pressure_and_more_glycol_less():
    assert coolants.water_share(WATER) == 1.0
    shares = [coolants.water_share(coolants.coolant(f"propylene-glycol-{n}")) for n in (10, 20, 30, 40)]
    assert shares == sorted(shares, reverse=True)
    assert shares[-1] < 0.9


def test_vapour_and_months_by_hand():
    """
    The cube: EPDM 13/10 mm, 6 + 8.5 + 5 in = 495 mm in all, water, 800 to 1600 barrer; room 72 degF = 22.2 degC.

    Over the coolant of 28.2 to 28.5 degC stand 3.85 kPa, in half-saturated room air 1.34 kPa (steam tables, from
    memory). 2 pi*0.495/ln(1.3) = 11.86 m; 11.86*800*3.346e-16*0.018015*2510 Pa = 1.44e-10 kg/s, or 0.38 g a month.
    A tenth of 150 mL is 15 g.
    """
    answer = tube_ends.tube_ends(load_plan(CUBE), cases=[STEADY])
    low, high = (sum(pair[end] for pair in answer.vapour.values()) for end in (0, 1))
    assert low == pytest.approx(1.44e-10, rel=0.02, abs=0.0)
    assert high == pytest.approx(2 * low, abs=0.0)
    assert answer.months == pytest.approx((15.0 / 0.757, 15.0 / 0.378), rel=0.03)


def test_glycol_lowers_the_vapour_over_the_coolant(demo):
    """The demo's tenth of propylene glycol leaves water 0.973 of all moles; vapour pressures by CoolProp."""
    answer = tube_ends.tube_ends(demo, cases=[STEADY])
    run = demo.units(tree.Run)[0]
    warm = float(answer.solution.row(run.name)["in"])
    over, room = (PropsSI("P", "T", t + 273.15, "Q", 0, "Water") for t in (warm, 25.0))
    passing = 2 * np.pi * FIRST_RUN / np.log(1.4) * 130 * 3.346e-16 * 0.018015
    assert answer.vapour[run.name][0] == pytest.approx(passing * (0.973 * over - 0.5 * room), rel=2e-3, abs=0.0)


def test_without_a_reservoir_there_are_no_months(demo):
    dry = replace(demo, loop=tree.Series(*(leaf for leaf in demo.loop.items if not isinstance(leaf, tree.Tank))))
    answer = tube_ends.tube_ends(dry, cases=[STEADY])
    assert answer.months is None
    assert all(0 < low < high for low, high in answer.vapour.values())
    assert not [fact for fact in answer.facts if fact.quantity.startswith("months")]


def test_silicone_lets_far_more_through_than_anything_else(ends):
    months = {m: with_tube(ends, m).months for m in catalogue.tube_materials() if m != "copper"}
    assert min(months, key=lambda m: months[m][0]) == "silicone"
    assert months["silicone"][1] < 0.1 * min(pair[0] for m, pair in months.items() if m != "silicone")
    told = [row for row in with_tube(ends, "silicone").warned() if row.quantity == "months to the next top-up"]
    assert [row.signal for row in told] == ["caution"]


# ------------------------------------------------------------------------------------------------ facts and tables


def test_facts_name_every_end_once_and_the_rules_know_all_of_them(ends):
    by_quantity = pd.Series([fact.quantity for fact in ends.facts]).value_counts()
    assert by_quantity["tube end below softening by"] == by_quantity["wall pressed in by its ring"] == len(ends.ends)
    assert by_quantity["grip over thrust"] == 1  # one tube
    assert by_quantity["months to the next top-up"] == 1
    assert set(by_quantity.index) <= set(tables.by_name("quantities.csv"))
    held = next(fact for fact in ends.facts if fact.quantity == "grip over thrust")
    assert held.value == min(end.held for end in ends.ends)
    assert held.where in named(ends)


def test_warnings_are_those_of_the_ends_alone_and_see_the_rest_of_the_machine(ends, demo):
    quantities = {fact.quantity for fact in ends.facts}
    assert {row.quantity for row in ends.warned()} <= quantities
    assert {row.signal for row in ends.warned()} == {"warning"}  # in the demo only a stopped pump softens an end
    near = {
        "pump to processor, at processor",
        "processor to graphics card, at processor",
        "processor to graphics card, at graphics card",
        "graphics card to front radiator, at graphics card",
    }
    assert {fact.where for fact in ends.facts if fact.quantity.endswith("for minutes by") and fact.value < 0} == near
    (row,) = (row for row in ends.warned() if row.quantity.endswith("for minutes by"))
    worst = min(ends.ends, key=lambda end: end.margin)
    assert worst.name in near
    assert row.where == f"{worst.name} and 3 more ends"
    assert row.value == f"−{-worst.margin:.1f} K"
    house = HouseRule("ends and inhibitor", "tube end below softening by less than 12 K and inhibitor is yes", "notice")
    told = tube_ends.tube_ends(replace(demo, house_rules=(house,))).warned()
    # The other rule of its kind keeps its own row.
    assert [row.where for row in told if row.signal == "notice"] == ["fill tube, at reservoir and 3 more ends"]
    assert sum(row.signal == "warning" for row in told) == 1
    other = replace(house, when="tube end below softening by less than 12 K and inhibitor is no")
    assert not any(r.signal == "notice" for r in tube_ends.tube_ends(replace(demo, house_rules=(other,))).warned())


@pytest.mark.parametrize("system", DISPLAY)
def test_the_table_shows_every_end_in_the_readers_units(ends, system):
    table, warm = ends.table(system), DISPLAY[system]["temperature"]
    assert list(table["tube end"]) == [end.name for end in ends.ends]
    assert list(table["pressed in [%]"]) == [float(f"{100 * end.strain:.2g}") for end in ends.ends]
    for case in CASES:
        shown = table[f"{case} [{warm.label}]"]
        np.testing.assert_allclose(shown, [warm.convert(end.wall[case]) for end in ends.ends], atol=0.051)
    rise = DISPLAY[system]["difference"]
    margins = table[f"left [{rise.label}]"]
    np.testing.assert_allclose(margins, [rise.convert(end.margin) for end in ends.ends], atol=0.051)
    assert list(table["warmest"]) == [end.worst for end in ends.ends]


def test_a_loop_without_tube_has_no_ends(demo):
    bare = replace(demo, loop=tree.Series(*(leaf for leaf in demo.loop.items if not hasattr(leaf, "tube"))))
    answer = tube_ends.tube_ends(bare)
    assert (answer.ends, answer.growth, answer.vapour, answer.months) == ((), {}, {}, None)
    others = {"tank below softening by", "seal below its service temperature by"}
    assert {fact.quantity for fact in answer.facts} <= others
    assert answer.table().empty
    assert with_tube(answer, "copper").ends == ()


@pytest.mark.parametrize("system", DISPLAY)
def test_every_run_tells_its_growth_its_bend_and_what_passes_its_wall(ends, demo, system):
    table, long, mass = ends.runs(system), DISPLAY[system]["length"], DISPLAY[system]["mass"]
    assert list(table["run"]) == [leaf.name for leaf in tree.leaves(demo.loop) if hasattr(leaf, "tube")]
    for row in table.to_dict("records"):
        leaf = next(leaf for leaf in tree.leaves(demo.loop) if leaf.name == row["run"])
        assert row["material"] == "PETG"
        assert row[f"length [{long.label}]"] == pytest.approx(long.convert(leaf.length), abs=0.051)
        assert row[f"least bend radius [{long.label}]"] == pytest.approx(long.convert(0.028), abs=0.051)  # tubes.csv
        grown = row[f"grows by [{long.label}]"]
        if isinstance(leaf, tree.DeadLeg):
            assert np.isnan(grown)
        else:
            assert grown == pytest.approx(long.convert(ends.growth[leaf.name]), abs=0.51 * 10**-long.digits)
        month = 30.4 * 24 * 3600
        said = [float(words) for words in row[f"water out a month [{mass.label}]"].split(" to ")]
        assert said == pytest.approx([mass.convert(end * month) for end in ends.vapour[leaf.name]], rel=0.05)
    assert set(with_tube(ends, "copper").runs(system)[f"water out a month [{mass.label}]"]) == {"none"}


def test_what_is_lost_a_month_adds_up_to_the_months_to_the_next_top_up(ends, demo):
    """A tenth of the reservoir in grams over the high ends of all rows."""
    high = [float(words.split(" to ")[1]) for words in ends.runs()["water out a month [g]"]]
    tenth = 0.1 * 998.2e3 * demo.units(tree.Tank)[0].volume()
    assert tenth / sum(high) == pytest.approx(ends.months[0], rel=0.03)


def test_notes_begin_with_the_pump_and_none_is_said_twice(ends, demo):
    assert ends.said[0] == ends.notes[STOPS]
    assert len(ends.said) == len(set(ends.said)) == len(ends.notes) - 1  # the soak is told with the pump
    still = tube_ends.tube_ends(demo.set(pump_speed=0.0))
    assert len([words for words in still.said if words.startswith("Nothing flows")]) == 1
    assert set(WHEN) == set(CASES)


def test_a_peak_beyond_the_coolants_data_is_a_danger_and_never_silent(demo):
    """At 2500 W the coolant leaves its data, 70 degC: no end of a run can be said to be cooler than that."""
    hot = tube_ends.tube_ends(demo.set(**{"graphics card.peak_heat": 2500.0}))
    assert all(np.isnan(end.wall[PEAK]) for end in hot.ends)
    told = {(row.signal, row.where) for row in hot.warned() if row.quantity == "coolant outside its data"}
    assert told == {("danger", case) for case in CASES if case != STEADY}
    for end in hot.ends:
        leg = end.run in ("fill tube", "drain")  # what stands there may well stay cool
        assert end.left() == pytest.approx(end.soft - (end.wall[STEADY] if leg else 70.0))
    softened = [row for row in hot.warned() if row.quantity == "tube end below softening by"]
    assert [row.signal for row in softened] == ["danger"]
    copper = with_tube(hot, "copper")
    assert {row.quantity for row in copper.warned() if row.signal == "danger"} == {"coolant outside its data"}


def test_only_an_end_that_soaks_is_told_of_what_passes(demo):
    """Beside pump and radiators nothing soaks in: those ends are no warmer when the pump stops than at peak."""
    oven = demo.set(room_air=42.0)
    facts = [fact for fact in tube_ends.tube_ends(oven).facts if fact.quantity == tube_ends.PASSING]
    assert {fact.where.partition(", at ")[2] for fact in facts} == {"processor", "graphics card"}


def test_the_reservoir_is_judged_at_peak_load_too(demo):
    """2000 W warm the coolant to some 58 degC: acrylic, 61 degC after its allowance, is near (data/plastics.csv)."""
    hot = tube_ends.tube_ends(demo.set(**{"graphics card.peak_heat": 2000.0, "tube_material": "copper"}))
    (fact,) = (f for f in hot.facts if f.quantity == "tank below softening by")
    assert fact.where == "reservoir, peak load"
    assert fact.value == pytest.approx(61.0 - solved(hot.plan.at_peak()).row("reservoir")["in"], abs=1e-6)
    assert [r.signal for r in hot.warned() if r.where == "reservoir, peak load"] == ["caution"]
