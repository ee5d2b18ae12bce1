"""What a solved plan says, against the sense of the trade, and what it refuses, in words."""

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import loopmath
from loopmath import catalogue, loop, thermal
from loopmath.checks import InputError, OutOfRange
from loopmath.laws.coolant import coolant
from loopmath.plan import Plan
from loopmath.solution import solve
from loopmath.units import Quantity

GRAVITY = 9.80665


@pytest.fixture(scope="module")
def demo():
    return solve(loopmath.demo_plan())


# ----------------------------------------------------------------------------------------- sense of the trade


def test_demo_lies_where_the_trade_expects_it(demo):
    """Common practice, no source: 2 to 6 L/min, coolant 5 to 15 K over room, components 10 to 40 K over coolant."""
    assert 2 < demo.flow.to("L/min").magnitude < 6
    assert 5 < demo.state["coolant_over_room"] < 15
    assert demo.components["over coolant [K]"].between(10, 40).all()
    assert demo.state["coolant_return"] < demo.plan.coolant_limit
    assert demo.state["sound"] < demo.plan.sound_limit
    assert not set(demo.warnings["signal"]) & {"danger", "warning", "caution"}


def swapped(plan):
    """Return the plan with its two blocks in each other's place."""
    items = list(plan.loop.items)
    first, second = (place for place, item in enumerate(items) if isinstance(item, loop.Source))
    items[first], items[second] = items[second], items[first]
    return replace(plan, loop=loop.Series(*items))


def test_order_of_the_blocks_moves_a_component_by_the_others_heat_over_capacity():
    """Order matters by P/(m cp) only: about 1 K for 250 W at 3.6 L/min, so 1 to 2 K in the demo."""
    plan = loopmath.demo_plan().set(pump_speed=1.0)
    before, after = solve(plan), solve(swapped(plan))
    assert after.state["flow"] == pytest.approx(before.state["flow"], rel=1e-5)
    heats = dict(zip(before.components.index, before.components["heat [W]"], strict=True))
    density, _, heat_capacity, _ = before.fluid
    capacity = density * heat_capacity * before.state["flow"]
    moved = {name: after.state[name] - before.state[name] for name in heats}
    assert moved["processor"] == pytest.approx(heats["graphics card"] / capacity, rel=0.02)
    assert moved["graphics card"] == pytest.approx(-heats["processor"] / capacity, rel=0.02)
    assert max(map(abs, moved.values())) < 1.3
    per_250_w = moved["processor"] * 250 / heats["graphics card"] * before.flow.to("L/min").magnitude / 3.6
    assert per_250_w == pytest.approx(1.0, rel=0.05)


def watts_per_position(radiator, line, speed):
    """Return the heat one fan position takes from water 10 K over room at 3.6 L/min. [W]"""
    fans = [catalogue.part("fan", name) for name in catalogue.names("fan")]
    fan = next(f for f in fans if abs(f.size - radiator.fan_size) < 1e-6 and f.name.startswith(line))
    plan = loopmath.demo_plan()
    unit = loop.RadiatorUnit("one", radiator, fan, speed)
    cooler, _ = thermal.cooler_of(unit, plan.room_air, 1.184)
    fluid = coolant("water").properties(35.0)
    capacity = fluid[0] * fluid[2] * 6e-5
    return 10.0 * thermal.cooler_pull(cooler, 6e-5, capacity, fluid) * capacity / radiator.positions


#: How far the catalogue may be from the rules of thumb below, which have no source.
RULE_OF_THUMB = 1.35


@pytest.mark.parametrize("name", [n for n in catalogue.names("radiator") if "120 mm" in n])
def test_a_120_mm_position_takes_about_100_w_with_quiet_fans_and_2_to_3_times_that_at_full_speed(name):
    """
    Common practice, no source: about 100 W at 10 K with quiet fans, two to three times that at full speed.

    Read as: quiet fans at 60 % against radiator fans at 100 %. The catalogue's slim cores give 96 to 102 W and
    1.8 times that, the deep one 77 W and 2.5 times; the rule of thumb is held to a factor of 1.35 each way.
    """
    radiator = catalogue.part("radiator", name)
    quiet = watts_per_position(radiator, "quiet", 0.6)
    full = watts_per_position(radiator, "radiator", 1.0)
    assert 100 / RULE_OF_THUMB < quiet < 100 * RULE_OF_THUMB
    assert 2 / RULE_OF_THUMB < full / quiet < 3 * RULE_OF_THUMB


def test_more_depth_pays_only_with_fast_fans():
    """Common practice: a deep core is worse than a slim one with slow fans and better with fast ones."""
    slim, deep = (
        catalogue.part("radiator", name) for name in ("3 x 120 mm, slim, medium fins", "3 x 120 mm, deep, medium fins")
    )
    assert watts_per_position(deep, "quiet", 0.5) < watts_per_position(slim, "quiet", 0.5)
    assert watts_per_position(deep, "radiator", 1.0) > watts_per_position(slim, "radiator", 1.0)


def test_thin_air_warms_the_coolant():
    answer = solve(loopmath.demo_plan().set(height=np.array([0.0, 1000.0, 2000.0, 3000.0])))
    for name in ("front radiator", "top radiator"):
        assert np.all(np.diff(answer.airs[name].capacity) < 0)
    assert np.all(np.diff(answer.state["coolant_return"]) > 0)
    # A fifth less air at 2000 m (standard atmosphere: 0.785 of the pressure) is felt, and does not double it.
    over = answer.state["coolant_over_room"]
    assert 1.05 < over[2] / over[0] < 1.5


def test_air_from_inside_the_case_is_worse_than_room_air(demo):
    inside = solve(loopmath.demo_plan().set(**{"front radiator.air": "case"}))
    rise = inside.state["coolant_return"] - demo.state["coolant_return"]
    assert 0 < rise < demo.plan.case_air_over_room


# ------------------------------------------------------------------------------------------- the public face


def test_headline_figures_are_quantities(demo):
    assert demo.flow.to("gal/min").magnitude == pytest.approx(demo.state["flow"] * 15850.323, rel=1e-6)
    assert demo.head.to("ft").magnitude == pytest.approx(demo.state["head"] / 0.3048, rel=1e-9)
    supply, back = demo.coolant_supply.to("degF").magnitude, demo.coolant_return.to("degF").magnitude
    assert back - supply == pytest.approx(1.8 * demo.headline["coolant rise [K]"], rel=1e-9)
    assert isinstance(demo.flow, Quantity)


def test_tables_have_the_columns_that_are_promised(demo):
    assert list(demo.components.columns) == [
        "heat [W]",
        "temperature [degC]",
        "limit [degC]",
        "margin [K]",
        "over coolant [K]",
        "flow [L/min]",
    ]
    assert list(demo.elements.columns) == [
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
    assert list(demo.warnings.columns) == [
        "signal",
        "where",
        "quantity",
        "value",
        "limit",
        "why",
        "action",
        "source",
    ]
    for table in (demo.components, demo.elements):
        numbers = table.drop(columns="kind", errors="ignore")
        assert all(pd.api.types.is_float_dtype(kind) for kind in numbers.dtypes)
        assert np.isfinite(numbers.to_numpy()).all()
    assert (demo.components["limit [degC]"] - demo.components["temperature [degC]"]).equals(
        demo.components["margin [K]"]
    )


@pytest.mark.parametrize("layout", ["series", "parallel"])
def test_elements_come_in_flow_order_and_their_losses_make_the_head(layout):
    answer = solve(loopmath.demo_plan().set(layout=layout))
    elements = answer.elements
    assert list(elements.index) == [leaf.name for leaf in loop.leaves(answer.plan.loop)]
    groups = [item for item in answer.plan.loop.items if isinstance(item, loop.Parallel)]
    beside = [leaf.name for group in groups for branch in group.branches[1:] for leaf in loop.leaves(branch)]
    line = elements.drop(index=beside)
    assert line["loss [m]"].sum() == pytest.approx(answer.state["head"], rel=1e-6)
    assert line["share of head [%]"].sum() == pytest.approx(100.0, rel=1e-6)
    assert line["loss [kPa]"].sum() == pytest.approx(
        1e-3 * answer.state["head"] * GRAVITY * float(answer.fluid[0]), rel=1e-6
    )
    assert sum(answer.head_shares.values()) == pytest.approx(answer.state["head"], rel=1e-6)
    for group in groups:
        losses = [elements.loc[[e.name for e in loop.leaves(b)], "loss [m]"].sum() for b in group.branches]
        assert losses == pytest.approx([losses[0]] * len(losses), rel=1e-6)
    # What leaves one element of the line enters the next; a standing leg is passed over.
    flowing = line[line["kind"] != "dead leg"]
    arriving, leaving = flowing["coolant in [degC]"].to_numpy(), flowing["coolant out [degC]"].to_numpy()
    if layout == "series":
        assert arriving[1:] == pytest.approx(leaving[:-1], abs=1e-12)
    assert arriving[0] == pytest.approx(leaving[-1], abs=1e-6)


def test_coolant_return_is_what_arrives_at_the_radiators():
    """So it says of itself; beside each other one branch is warmer than the mixture that arrives."""
    for layout in ("series", "parallel"):
        answer = solve(loopmath.demo_plan().set(layout=layout))
        arriving = answer.elements.loc["front radiator", "coolant in [degC]"]
        assert answer.coolant_return.magnitude == pytest.approx(arriving, abs=1e-9), layout


def test_volume_is_the_sum_of_what_the_elements_hold(demo):
    volume = demo.elements["volume [mL]"]
    assert volume.sum() == pytest.approx(1e6 * demo.state["volume"], rel=1e-12)
    length = sum(run.length for run in demo.plan.units(loop.Run))
    tubes = math.pi / 4 * 0.010**2 * length * 1e6
    assert volume[demo.elements["kind"] == "run"].sum() == pytest.approx(tubes, rel=1e-9)
    assert volume["reservoir"] == 250


def test_heat_of_the_table_adds_to_nothing_and_the_headline_is_what_goes_in(demo):
    heat = demo.elements["heat [W]"]
    assert heat.sum() == pytest.approx(0.0, abs=1e-9 * heat[heat > 0].sum())
    assert heat[heat > 0].sum() == pytest.approx(demo.state["heat"], rel=1e-12)
    pump = demo.state["pump_power"] * demo.plan.units(loop.PumpUnit)[0].pump.heat_share
    assert demo.state["heat"] == pytest.approx(440.0 + pump, rel=1e-12)


def test_dead_legs_stand_still_at_the_air_of_the_case(demo):
    legs = demo.elements[demo.elements["kind"] == "dead leg"]
    assert len(legs) == 2
    assert (legs["flow [L/min]"] == 0).all()
    assert (legs["coolant in [degC]"] == demo.plan.case_air).all()


def test_tables_of_many_designs_have_a_row_for_each():
    answer = solve(loopmath.demo_plan().set(pump_speed=np.array([0.5, 0.7, 1.0])))
    single = solve(loopmath.demo_plan().set(pump_speed=0.7))
    rows = answer.components.query("design == 1").set_index("component").drop(columns="design")
    assert np.allclose(rows.to_numpy(dtype=float), single.components.to_numpy(dtype=float), rtol=1e-9, atol=0)
    assert len(answer.elements) == 3 * len(single.elements)
    with pytest.raises(InputError, match="warning_counts"):
        _ = answer.warnings


def test_solving_changes_neither_the_plan_nor_the_next_answer(demo):
    plan = loopmath.demo_plan()
    first = solve(plan).headline
    solve(plan.set(pump_speed=1.0, layout="parallel", radiator="1 x 120 mm, slim, medium fins", bore="12 mm"))
    pd.testing.assert_series_equal(first, solve(plan).headline)
    pd.testing.assert_series_equal(first, demo.headline)


# ----------------------------------------------------------------------------------------------- bad input


def test_coolant_leaving_its_data_is_refused_with_what_to_do():
    plan = loopmath.demo_plan().set(fan_speed=0.2, **{"graphics card.heat": 1500.0})
    with pytest.raises(OutOfRange, match=r"5 to 70 degC .*Raise the fan speed, add radiator, or take heat out"):
        solve(plan)
    many = solve(plan.set(**{"graphics card.heat": np.array([200.0, 1500.0])}))
    assert np.array_equal(np.isnan(many.state["coolant_return"]), [False, True])
    assert np.array_equal(many.outside, [False, True])


@pytest.mark.parametrize(
    ("setting", "value", "words"),
    [
        ("pump_speed", "60 W", "'55 %' or 0.55"),
        ("pump_speed", -0.1, "0 to 1"),
        ("pump_speed", float("nan"), "a finite number"),
        ("pump_speed", float("inf"), "a finite number"),
        ("pump_speed", True, "a number"),
        ("pump_speed", "fast", "a number with a unit"),
        ("pump_speed", np.array([0.5, 1.5]), "0 to 1"),
        ("pump_speed", np.array([]), "at least one"),
        ("fan_speed", 2, "0 to 1"),
        ("fan_speed", "200 %", "0 to 1"),
        ("bore", 0, "0.004 to 0.02"),
        ("bore", "10", "a number with a unit"),
        ("bore", "10 L", "'12 mm' or '1/2 in'"),
        ("room_air", "25 K", "5 to 45"),
        ("room_air", "20 delta_degC", "a temperature"),
        ("case_air_over_room", "5 degC", "a difference"),
        ("fittings", -1, "0 to 200"),
        ("layout", "paralel", "'parallel'"),
        ("coolant", "watr", "'water'"),
        ("pump", "standard pump", "standard pump, 3.7 m"),
        ("radiator", "3 x 120 slim", "3 x 120 mm, slim, medium fins"),
        ("tube", "PETG 14/10", "PETG 14/10 mm"),
        ("fan", "quiet fan", "quiet fan 120 mm, 1300 rpm"),
        ("pump_sped", 1, "pump_speed"),
        ("procesor.heat", 100, "processor"),
        ("processor.hat", 100, "heat"),
        ("processor.name", "other", "nearest"),
        ("processor.heat", -5, "0 to 3000 W"),
        ("processor.heat", float("nan"), "a finite number"),
        ("processor.heat", "140 kg", "'140 W'"),
        ("processor.heat", Quantity(140, "kg"), "'140 W'"),
        ("processor.limit", float("nan"), "a finite number"),
        ("processor.block", "another", "processor block"),
        ("front radiator.depth", 0.0, "0.015 to 0.12"),
        ("front radiator.air", "outside", "one of: 'room', 'case'"),
        ("pump.shutoff_head", -1.0, "0 to 100"),
    ],
)
def test_bad_settings_are_refused_in_words(setting, value, words):
    with pytest.raises(InputError) as refused:
        solve(loopmath.demo_plan().set(**{setting: value}))
    assert words in str(refused.value)


@pytest.mark.parametrize(
    ("setting", "text", "number"),
    [
        ("processor.heat", "140 W", 140.0),
        ("processor.heat", Quantity(0.14, "kW"), 140.0),
        ("front radiator.depth", "45 mm", 0.045),
        ("pump to processor.length", "0.5 m", 0.5),
        ("pump.speed", "70 %", 0.7),
    ],
)
def test_dotted_settings_take_units_as_promised(setting, text, number):
    plan = loopmath.demo_plan()
    with_unit, plain = solve(plan.set(**{setting: text})), solve(plan.set(**{setting: number}))
    assert with_unit.state["flow"] == pytest.approx(plain.state["flow"], rel=1e-12)
    assert with_unit.state["processor"] == pytest.approx(plain.state["processor"], rel=1e-12)


def test_a_list_of_numbers_is_as_good_as_an_array():
    plan = loopmath.demo_plan()
    for setting, values in {"room_air": [20, 25], "processor.heat": [100, 200]}.items():
        listed = solve(plan.set(**{setting: values}))
        assert listed.designs == 2
        assert np.array_equal(
            listed.state["processor"], solve(plan.set(**{setting: np.array(values)})).state["processor"]
        )


def test_a_plan_needs_a_pump_and_names_of_its_own():
    plan = loopmath.demo_plan()
    without = [item for item in plan.loop.items if not isinstance(item, loop.PumpUnit)]
    with pytest.raises(InputError, match="Add a pump"):
        Plan("no pump", loop.Series(*without), plan.coolant)
    with pytest.raises(InputError, match="each name once"):
        Plan("twice", loop.Series(*plan.loop.items, plan.loop.items[0]), plan.coolant)
    with pytest.raises(InputError, match="elements in flow order"):
        Plan("empty", loop.Series(), plan.coolant)
    with pytest.raises(InputError, match="two branches or more"):
        loop.Parallel(plan.loop.items[0])
    with pytest.raises(InputError, match="an element in it"):
        loop.Parallel(plan.loop.items[0], loop.Series())


def test_an_unknown_friction_law_is_refused_in_words():
    with pytest.raises(InputError, match="colebrook"):
        solve(loopmath.demo_plan(), friction="colebrok")
