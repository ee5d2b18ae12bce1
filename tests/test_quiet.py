"""Quiet against cool: sources of sound, margins, the trade-off, the quietest setting; and speeds on their curves."""

from dataclasses import replace

import numpy as np
import pytest
from examples import EXAMPLES, each_example

from loopmath import InputError, OutOfRange, demo_plan, load_plan, quiet, rules, solve
from loopmath import loop as tree
from loopmath import speed_curves as curves_of
from loopmath.case import CaseFans, SpeedCurve
from loopmath.laws import sound
from loopmath.solution import solved
from loopmath.speed_curves import hunting, steady_on_curves

WORKSHOP = next(path for path in EXAMPLES if path.stem == "quiet_workshop")
BOTH = ("front radiator", "top radiator")


def workshop():
    return load_plan(WORKSHOP)


def wide(plan, **limits):
    """Return a plan whose fans also turn in the case, and other limits."""
    fan = plan.units(tree.RadiatorUnit)[0].fan
    return replace(plan, case_fans=(CaseFans("rear fan", fan, 2, 0.3),), **limits)


# ------------------------------------------------------------------------------------------------------ sources


@each_example
def test_sources_add_up_to_the_sound_and_their_shares_to_one(path):
    answer = solve(load_plan(path))
    table = quiet.sound_sources(answer)
    assert float(sound.sum_levels(table["level [dB]"])) == pytest.approx(float(answer.state["sound"]), abs=1e-9)
    assert table["share of sound energy [%]"].sum() == pytest.approx(100.0)
    order = table.sort_values("level [dB]")["share of sound energy [%]"]
    assert order.is_monotonic_increasing


def test_a_source_that_stands_is_silent_and_has_no_share_and_no_speed():
    table = quiet.sound_sources(solved(demo_plan().set(**{"top radiator.fan_speed": 0.1})))
    row = table.loc["top radiator"]
    assert row["level [dB]"] == -np.inf
    assert row["share of sound energy [%]"] == row["speed [%]"] == 0.0
    still = solved(demo_plan().set(fan_speed=0.0, pump_speed=0.0))
    assert (quiet.sound_sources(still)["share of sound energy [%]"] == 0).all()


def test_three_equal_fans_of_one_source_are_4_77_db_over_one():
    # 10 log10 3 = 4.77 dB (energy sum, ISO 9613-2); a third of the energy each, doubling the distance less 6.02 dB
    plan = demo_plan()
    unit = plan.units(tree.RadiatorUnit)[0]
    beside = replace(plan, case_fans=(CaseFans("one", unit.fan, 1, 1.0), CaseFans("three", unit.fan, 3, 1.0)))
    table = quiet.sound_sources(solve(beside))["level [dB]"]
    assert table["three"] - table["one"] == pytest.approx(4.77, abs=0.005)
    far = quiet.sound_sources(solve(beside.set(listener=2.0)))["level [dB]"]
    assert table["one"] - far["one"] == pytest.approx(6.02, abs=0.005)


# ------------------------------------------------------------------------------------------------------ margins


def test_margins_are_what_is_left_to_each_limit():
    plan = workshop()
    answer = solve(plan)
    s, left = answer.state, quiet.margins(answer)
    assert left["coolant limit"] == pytest.approx(plan.coolant_limit - s["coolant_warmest"])
    assert left["sound limit"] == pytest.approx(plan.sound_limit - s["sound"])
    assert left["least flow"] == pytest.approx(s["flow"] * 6e4 / 1.0 - 1.0)  # the rule's 1 L/min
    assert left["coolant limit of pump"] == pytest.approx(60.0 - answer.row("pump")["in"])
    assert left["limit of processor"] == pytest.approx(85.0 - s["processor"])
    assert left["limit of memory"] == pytest.approx(85.0 - s["memory"])
    assert left["softening of fill tube"] == pytest.approx(50.0 - s["case_air"])  # PETG, data/plastics.csv
    assert left["data of the coolant"] == pytest.approx(70.0 - s["coolant_warmest"])
    ends = {row["element"].name for row in answer.walk if isinstance(row["element"], (tree.Run, tree.DeadLeg))}
    assert {f"softening of {name}" for name in ends} <= set(left)


@each_example
def test_a_limit_is_broken_where_its_rule_warns(path):
    # A broken limit is one that a rule of danger, warning or the plan's own limit speaks of, and no other.
    own = {"coolant against your limit", "sound against your limit", "component below its limit by"}
    own |= {"coolant against pump limit", "coolant against tube limit", "tube below softening by"}
    plan = load_plan(path).set(fan_speed=np.array([0.2, 0.3, 0.6, 1.0]), pump_speed=np.array([0.5, 0.3, 0.8, 1.0]))
    answer = solved(plan)
    grave = [f for f in rules.firings(answer.facts) if f[1].quantity in own and not f[0].id.endswith("near")]
    speaks = np.sum([mask for _, _, mask in grave], axis=0) if grave else np.zeros(4)
    left = {n: v for n, v in quiet.margins(answer).items() if "flow" not in n and not n.startswith("data")}
    assert np.array_equal(np.sum([v < 0 for v in left.values()], axis=0), speaks)


def test_margins_of_many_designs_are_those_of_each_alone():
    speeds = np.array([0.2, 0.5, 1.0])
    together = quiet.margins(solved(demo_plan().set(fan_speed=speeds)))
    for n, speed in enumerate(speeds):
        alone = quiet.margins(solved(demo_plan().set(fan_speed=speed)))
        assert set(alone) == set(together)
        for name, value in alone.items():
            assert together[name][n] == pytest.approx(value, abs=1e-5, nan_ok=True)


def test_what_is_not_known_is_no_margin():
    left = quiet.margins(solved(demo_plan().set(fan_speed=0.0)))
    assert np.isnan(left["coolant limit"])
    assert np.isnan(left["data of the coolant"])
    assert left["sound limit"] > 0


# ------------------------------------------------------------------------------------------------------- speeds


def test_fans_keep_their_proportions_or_turn_alike():
    plan = wide(demo_plan().set(**{"front radiator.fan_speed": 0.8, "top radiator.fan_speed": 0.4}))

    def speeds(given):
        front, top = given.units(tree.RadiatorUnit)
        return [front.fan_speed, top.fan_speed, given.case_fans[0].speed]

    assert speeds(quiet.at_speeds(plan, 0.8)) == pytest.approx(speeds(plan))
    assert speeds(quiet.at_speeds(plan, 1.0)) == pytest.approx([1.0, 0.5, 0.375])
    assert speeds(quiet.at_speeds(plan, 0.5, keep="common")) == pytest.approx([0.5, 0.5, 0.5])
    # 0.2 is the least speed of these fans: what turns, turns no slower
    assert speeds(quiet.at_speeds(plan, 0.3)) == pytest.approx([0.3, 0.2, 0.2])
    assert speeds(quiet.at_speeds(plan, 0.0)) == [0.0, 0.0, 0.0]
    assert plan.units(tree.PumpUnit)[0].speed == quiet.at_speeds(plan, 0.5).units(tree.PumpUnit)[0].speed


def test_all_fans_of_a_radiator_follow():
    changes = {"second_fans": 1.0, "second_speed": 0.3, "pull_speed": 0.6, "fans_in_series": 2.0}
    plan = demo_plan().set(**{f"front radiator.{k}": v for k, v in changes.items()})
    unit = quiet.at_speeds(plan, 1.0).units(tree.RadiatorUnit)[0]
    assert (unit.fan_speed, unit.pull_speed, unit.second_speed) == pytest.approx((1.0, 1.0, 0.5))


def test_fans_that_all_stand_have_no_proportions():
    plan = quiet.at_speeds(demo_plan().set(fan_speed=0.0), 0.7)
    assert [u.fan_speed for u in plan.units(tree.RadiatorUnit)] == pytest.approx([0.7, 0.7])


def test_bad_speeds_and_plans_are_refused():
    with pytest.raises(OutOfRange, match="fan speed"):
        quiet.at_speeds(demo_plan(), 1.2)
    with pytest.raises(OutOfRange):
        quiet.trade_off(demo_plan(), [0.5, -0.1])
    with pytest.raises(OutOfRange):
        quiet.quietest(demo_plan(), pump_speed=1.5)
    with pytest.raises(InputError, match="one of: 'planned', 'common'"):
        quiet.trade_off(demo_plan(), keep="all")
    with pytest.raises(InputError, match="one design"):
        quiet.quietest(demo_plan().set(room_air=np.array([20.0, 25.0])))
    bare = demo_plan().with_loop(lambda e: replace(e, fan=None) if isinstance(e, tree.RadiatorUnit) else e)
    with pytest.raises(InputError, match="a plan with a fan"):
        quiet.quietest(bare)


# ---------------------------------------------------------------------------------------------------- trade-off


@each_example
@pytest.mark.parametrize("keep", ["planned", "common"])
def test_slower_is_never_louder_and_never_cooler(path, keep):
    table = quiet.trade_off(load_plan(path), keep=keep)
    assert len(table.speeds) == 60
    assert np.all(np.diff(table.sound) >= -1e-12)
    assert table.sound[-1] > table.sound[0]
    known = np.isfinite(table.coolant_over_room)
    assert np.all(np.diff(table.coolant_over_room[known]) < 1e-4)
    assert np.all(np.diff(table.case_air[known]) < 1e-4)
    for warm in table.components.values():
        assert np.all(np.diff(warm[known]) < 1e-4)


@each_example
def test_a_limit_is_met_where_a_fine_sweep_meets_it(path):
    plan = load_plan(path)
    fine = quiet.trade_off(plan, 2001)
    met = 0
    for name, hit in quiet.trade_off(plan, 12).hits.items():
        left = np.nan_to_num(fine.margins[name], nan=-1.0)
        turns = np.flatnonzero((left[:-1] < 0) != (left[1:] < 0))
        if np.isnan(hit.speed):
            assert not turns.size or np.isnan(fine.margins[name][turns[-1]])
            continue
        met += 1
        assert fine.speeds[turns[-1]] - 1e-4 <= hit.speed <= fine.speeds[turns[-1] + 1] + 1e-4
        there = solved(quiet.at_speeds(plan, hit.speed))
        assert quiet.margins(there)[name] == pytest.approx(0.0, abs=0.005)
        assert hit.sound == pytest.approx(float(there.state["sound"]), abs=1e-4)
    assert met


def test_pump_speeds_beside_fan_speeds_equal_one_by_one():
    plan, pumps = demo_plan(), np.array([0.4, 0.6, 0.9])
    table = quiet.trade_off(plan, [0.25, 0.5, 1.0], pumps)
    assert table.sound.shape == (3, 3)
    for n, pump in enumerate(pumps):
        alone = quiet.trade_off(plan.set(pump_speed=pump), [0.25, 0.5, 1.0])
        np.testing.assert_allclose(table.sound[n], alone.sound, atol=1e-9)
        np.testing.assert_allclose(table.coolant_over_room[n], alone.coolant_over_room, atol=1e-5)
        for name, hit in alone.hits.items():
            assert table.hits[name].speed[n] == pytest.approx(hit.speed, abs=2e-5, nan_ok=True)


def test_speeds_may_come_in_any_order_and_stand():
    table = quiet.trade_off(demo_plan(), [1.0, 0.0, 0.2, 0.6])
    assert np.isnan(table.coolant_over_room[1])
    straight = quiet.trade_off(demo_plan(), [0.2, 0.6, 1.0])
    assert table.hits["coolant limit"].speed == pytest.approx(straight.hits["coolant limit"].speed, abs=2e-5)


def test_no_limit_is_met_where_only_the_data_end():
    # Far under its limit a component loses its temperature at once where the coolant leaves its data.
    plan = replace(demo_plan(), coolant_limit=69.9).with_loop(
        lambda e: replace(e, heat=6 * e.heat, limit=200.0) if isinstance(e, tree.Source) else e
    )
    table = quiet.trade_off(plan)
    assert np.any(np.isnan(table.margins["limit of processor"]))
    assert np.isnan(table.hits["limit of processor"].speed)


# ------------------------------------------------------------------------------------------------- the quietest


@each_example
@pytest.mark.parametrize("reserve", [0.0, 4.0])
def test_the_quietest_setting_keeps_every_limit_and_slower_fans_break_one(path, reserve):
    plan = load_plan(path)
    found = quiet.quietest(plan, reserve=reserve)
    assert found.kept
    assert found.failing == ()
    again = solve(quiet.at_speeds(plan, found.fan_speed, found.pump_speed))
    kinds = {limit.name: limit.kind for limit in quiet.limits(again)}
    spare = {n: v - reserve * (kinds[n] == "difference") for n, v in quiet.margins(again).items()}
    assert min(spare.values()) >= 0
    assert found.sound == pytest.approx(float(again.state["sound"]))
    slower = quiet.margins(solve(quiet.at_speeds(plan, 0.99 * found.fan_speed, found.pump_speed)))
    broken = {n for n, v in slower.items() if v - reserve * (kinds[n] == "difference") < 0}
    assert "coolant limit" in broken
    assert "coolant limit" in found.binding


@each_example
@pytest.mark.parametrize("keep", ["planned", "common"])
def test_no_setting_of_a_fine_sweep_is_quieter(path, keep):
    plan = load_plan(path)
    found = quiet.quietest(plan, keep=keep)
    table = quiet.trade_off(plan, np.linspace(0.2, 1.0, 161), np.linspace(0.2, 1.0, 81), keep)
    kept = np.all([np.nan_to_num(m, nan=-1.0) >= 0 for m in table.margins.values()], axis=0)
    best = np.min(table.sound[kept])
    # The sweep's steps are half and one percent of speed: worth at most about half a decibel.
    assert best - 0.6 < found.sound < best + 0.01


@pytest.mark.parametrize("pump", [0.35, 0.6, 1.0])
def test_at_a_settled_pump_speed_it_is_where_the_trade_off_meets_the_limit(pump):
    plan = demo_plan()
    found = quiet.quietest(plan, pump_speed=pump)
    assert found.pump_speed == pump
    hit = quiet.trade_off(plan.set(pump_speed=pump)).hits["coolant limit"]
    assert found.fan_speed == pytest.approx(hit.speed, abs=5e-5)


def test_little_heat_leaves_fans_and_pump_at_their_least_speed():
    plan = demo_plan().with_loop(lambda e: replace(e, heat=5.0) if isinstance(e, tree.Source) else e)
    found = quiet.quietest(plan)
    assert found.kept
    assert found.fan_speed == 0.2  # the least speed of these fans
    assert "fans at their least speed" in found.binding
    assert "least flow" in found.binding  # the pump may go slower, the flow may not
    assert "fans at 20 %" in found.words


def test_all_fans_may_stand():
    # A radiator whose air something else moves needs no fan; only one of the case is left, and it may stand.
    plan = demo_plan().with_loop(
        lambda e: replace(e, fan=None, air_flow_each=0.02) if isinstance(e, tree.RadiatorUnit) else e
    )
    rear = CaseFans("rear fan", demo_plan().units(tree.RadiatorUnit)[0].fan, 1, 0.5)
    found = quiet.quietest(replace(plan, case_fans=(rear,)))
    assert found.kept
    assert found.fan_speed == 0.0
    assert "all fans stand" in found.binding
    assert "all fans standing" in found.words


def test_too_much_heat_is_named_with_what_fails_at_full_speed():
    plan = replace(demo_plan(), coolant_limit=30.0)
    found = quiet.quietest(plan)
    assert not found.kept
    assert (found.fan_speed, found.pump_speed) == (1.0, 1.0)
    full = quiet.margins(solve(plan.set(fan_speed=1.0, pump_speed=1.0)))
    assert {limit.name: by for limit, by in found.failing} == pytest.approx(
        {name: -left for name, left in full.items() if left < 0}
    )
    assert "No setting keeps every limit" in found.words
    assert "coolant limit by" in found.words


def test_heat_beyond_the_data_has_no_number_but_a_name():
    plan = demo_plan().with_loop(lambda e: replace(e, heat=2500.0) if isinstance(e, tree.Source) else e)
    found = quiet.quietest(plan)
    assert not found.kept
    assert "coolant limit" in {limit.name for limit, by in found.failing if np.isnan(by)}
    assert not found.solution.known
    assert "not known" in found.words
    assert "range of its data" in found.words


def test_a_sound_limit_nothing_keeps_is_told_at_the_quietest_setting():
    plan = demo_plan()
    best = quiet.quietest(plan)
    found = quiet.quietest(replace(plan, sound_limit=best.sound - 2.0))
    assert not found.kept
    ((limit, by),) = found.failing
    assert (limit.name, by) == ("sound limit", pytest.approx(2.0, abs=0.02))
    assert (found.fan_speed, found.pump_speed) == pytest.approx((best.fan_speed, best.pump_speed), abs=1e-3)


def test_a_pump_below_its_least_speed_is_lifted_to_it():
    found = quiet.quietest(demo_plan(), pump_speed=0.01)
    assert found.pump_speed == demo_plan().units(tree.PumpUnit)[0].pump.least_speed
    assert "least flow" in {limit.name for limit, _ in found.failing}


# ------------------------------------------------------------------------------------------------------- a root


def test_roots_of_bent_kinked_and_jumping_functions():
    values = [lambda x: x**9 - 0.4, lambda x: np.where(x < 0.7, -1e-3, 50 * (x - 0.7)), lambda x: np.exp(20 * x) - 2]
    values += [lambda x: np.where(x < 0.31, quiet.UNKNOWN, 2.0), lambda x: np.where(x < 0.31, quiet.UNKNOWN, x - 0.62)]

    def all_of(x):
        return np.array([one(np.asarray(each)) for one, each in zip(values, x, strict=True)])

    low, high = np.zeros(5), np.ones(5)
    found, _ = quiet.root(all_of, low, high, all_of(low), all_of(high), close=1e-8)
    expected = [0.4 ** (1 / 9), 0.70002, np.log(2) / 20, 0.31, 0.62]  # solved by hand
    np.testing.assert_allclose(found, [*expected], atol=2e-5)


# ------------------------------------------------------------------------------------------- at rest on curves


def curve(drives=BOTH, sensor="coolant", at=(28.0, 45.0), speeds=(0.3, 1.0), hysteresis=0.0, name="fans"):
    return SpeedCurve(name, tuple(drives), sensor, at, speeds, hysteresis)


def on(plan, *curves):
    return replace(plan, speed_curves=curves)


TWO = (
    curve(sensor="graphics card", at=(45.0, 60.0)),
    curve(["pump"], "processor", (40.0, 60.0), (0.4, 1.0), name="pump"),
)
THREE = (
    curve(),
    curve(["rear fan"], "case", (25.0, 40.0), name="rear"),
    curve(["pump"], "graphics card", (40.0, 60.0), name="pump"),
)


@pytest.mark.parametrize(
    ("plan", "curves"),
    [
        (demo_plan, (curve(),)),
        (demo_plan, (curve(at=(34.0, 34.2)),)),
        (demo_plan, (curve(at=(28.0, 33.0, 35.0, 60.0), speeds=(0.2, 0.4, 0.9, 1.0)),)),
        (demo_plan, (curve(["front radiator"]), curve(["top radiator"], at=(30.0, 40.0), name="top"))),
        (demo_plan, TWO),
        (workshop, THREE),
        (workshop, (curve(["rear fan", "top radiator"], "memory", (30.0, 60.0)),)),
    ],
)
def test_at_rest_every_speed_lies_on_its_curve_and_the_plan_is_solved(plan, curves):
    found = steady_on_curves(on(plan(), *curves))
    assert found.cold.agrees
    assert found.hot is found.cold
    again = solve(found.plan)
    for one in curves:
        speed = found.cold.speeds[one.name]
        warm = {"coolant": again.state["coolant_warmest"]} | {"case": again.state["case_air"]} | again.state
        assert abs(float(one.speed(warm[one.sensor])) - speed) < 1e-6
        for name in one.drives:
            thing = next(e for e in (*tree.leaves(found.plan.loop), *found.plan.case_fans) if e.name == name)
            assert getattr(thing, "fan_speed", getattr(thing, "speed", None)) == speed


def test_the_point_of_rest_is_where_a_fine_sweep_crosses_the_curve():
    speeds = np.linspace(0.2, 1.0, 4001)
    warm = solved(demo_plan().set(fan_speed=speeds)).state["coolant_warmest"]
    crossing = speeds[np.argmax(curve().speed(warm) < speeds)]
    assert steady_on_curves(on(demo_plan(), curve())).cold.speeds["fans"] == pytest.approx(crossing, abs=3e-4)


def test_beyond_its_ends_a_curve_holds_its_end_speeds():
    slow = steady_on_curves(on(demo_plan(), curve(at=(60.0, 65.0), speeds=(0.4, 1.0))))
    fast = steady_on_curves(on(demo_plan(), curve(at=(10.0, 20.0), speeds=(0.4, 0.8))))
    assert (slow.cold.speeds["fans"], fast.cold.speeds["fans"]) == pytest.approx((0.4, 0.8))
    assert slow.cold.agrees
    assert fast.cold.agrees


def test_hysteresis_gives_an_interval_from_cold_to_hot():
    found = steady_on_curves(on(demo_plan(), curve(hysteresis=3.0)))
    plain = steady_on_curves(on(demo_plan(), curve()))
    moved = steady_on_curves(on(demo_plan(), curve(at=(25.0, 42.0))))  # the curve 3 K to the cool side
    assert found.cold.speeds["fans"] == pytest.approx(plain.cold.speeds["fans"], abs=1e-9)
    assert found.hot.speeds["fans"] == pytest.approx(moved.cold.speeds["fans"], abs=1e-9)
    assert found.hot.speeds["fans"] > found.cold.speeds["fans"] + 0.05
    assert found.hot.temperatures["coolant"] < found.cold.temperatures["coolant"]
    assert "from cold" in found.words
    assert "from hot" in found.words


def test_many_designs_come_to_rest_as_each_alone():
    room = np.array([15.0, 22.0, 30.0])
    for curves in ((curve(),), TWO):
        together = steady_on_curves(on(demo_plan().set(room_air=room), *curves))
        assert np.all(together.cold.agrees)
        for n, air in enumerate(room):
            alone = steady_on_curves(on(demo_plan().set(room_air=air), *curves))
            for name, speed in alone.cold.speeds.items():
                assert together.cold.speeds[name][n] == pytest.approx(float(speed), abs=1e-6)


def test_a_plan_no_speed_can_cool_says_so():
    plan = demo_plan().with_loop(lambda e: replace(e, heat=3000.0) if isinstance(e, tree.Source) else e)
    found = steady_on_curves(on(plan, curve()))
    assert found.cold.speeds["fans"] == 1.0
    assert "range of its data" in found.words
    with pytest.raises(InputError):
        hunting(on(plan, curve()))


def test_without_curves_the_plan_keeps_its_speeds():
    found = steady_on_curves(demo_plan())
    assert float(found.solution.state["flow"]) == pytest.approx(float(solve(demo_plan()).state["flow"]))
    assert "No speed follows" in found.words
    assert hunting(demo_plan()).facts == []


def test_a_fan_that_starts_and_stops_finds_no_rest():
    # At 57 degC the curve asks for 0.2, the least speed. Turning, the fans hold less, and standing, no bound is known.
    assert float(solve(demo_plan().set(fan_speed=0.2)).state["coolant_warmest"]) < 57.0
    assert not solved(demo_plan().set(fan_speed=0.19)).known
    plan = on(demo_plan(), curve(at=(50.0, 60.5), speeds=(0.1, 0.25)))
    found = steady_on_curves(plan)
    assert not found.cold.agrees
    assert "starts and stops" in found.words
    swings = hunting(plan)
    assert swings.gain_margin == 0
    assert [row.signal for row in swings.warned()] == ["caution"]


@pytest.mark.parametrize(
    ("curves", "words"),
    [
        ((curve(["front radiatr"]),), "front radiator"),
        ((curve(["processor"]),), "something that turns: front radiator"),
        ((curve([]),), "nothing"),
        ((curve(), curve(["top radiator"], name="other")), "what no other curve drives; fans does"),
        ((curve(sensor="procesor"),), "processor"),
        ((curve(sensor="pump"),), "sensor"),
    ],
)
def test_curves_that_cannot_work_are_refused_in_words(curves, words):
    for ask in (steady_on_curves, hunting):
        with pytest.raises(InputError, match=words):
            ask(on(demo_plan(), *curves))


# ------------------------------------------------------------------------------------------------------- hunting


def swing(a, b, c, slope, delay, seconds, step=0.01):
    """Return what a sensor does after a push, the delay kept as it is: a plain march in time."""
    temperatures, seen, late = np.zeros(len(a)), [], round(delay / step)
    temperatures[0] = 1.0
    for n in range(round(seconds / step)):
        seen.append(float(c @ temperatures))
        sensed = seen[n - late] if n >= late else 0.0
        temperatures = temperatures + step * (a @ temperatures + b * slope * sensed)
    return np.abs(np.array(seen))


#: Two stores of heat, coolant and block, cooled by 30 K for full speed; numbers of our own.
SMALL = np.array([[-0.05, 0.04], [0.2, -0.2]]), np.array([-0.4, 0.0]), np.array([0.0, 1.0])


@pytest.mark.parametrize("delay", [0.5, 1.0, 4.0])
def test_a_steep_curve_swings_up_in_time_and_a_gentle_one_dies_out(delay):
    a, b, c = SMALL
    limit, period, _ = curves_of.margin(a, b[:, None], c[None], [1.0], delay)
    for share, grows in ((0.8, False), (1.25, True)):
        factor, _, growth = curves_of.margin(a, b[:, None], c[None], [share * limit], delay)
        assert (growth > 0) is (factor < 1) is grows
        # numpy compares the first swings with the last
        size = swing(a, b, c, share * limit, delay, 12 * period)
        few = round(3 * period / 0.01)
        assert bool(np.max(size[-few:]) > np.max(size[few : 2 * few])) is grows


@pytest.mark.parametrize("delay", [0.5, 1.0, 4.0])
def test_the_margin_is_that_of_the_frequency_response_with_the_true_delay(delay):
    # Nyquist: the loop c (s - A)^-1 b exp(-s delay) times the margin is 1 where its phase has gone round (Ogata).
    a, b, c = SMALL
    limit, period, _ = curves_of.margin(a, b[:, None], c[None], [1.0], delay)
    s = 2j * np.pi / period
    response = c @ np.linalg.solve(s * np.eye(2) - a, b) * np.exp(-s * delay)
    assert limit * response == pytest.approx(1.0, abs=2e-3)


def test_without_a_delay_two_stores_never_hunt_and_three_do_at_eight():
    # Routh: three equal stores in a row, 1/(s + 1)^3, bear a gain of 8, at sqrt(3) rad/s; two bear any (Ogata).
    two = np.array([[-1.0, 0.0], [1.0, -1.0]])
    assert curves_of.margin(two, np.array([[-1.0], [0.0]]), np.array([[0.0, 1.0]]), [1.0], 0.0)[0] == np.inf
    three = np.array([[-1.0, 0.0, 0.0], [1.0, -1.0, 0.0], [0.0, 1.0, -1.0]])
    b, c = np.array([[-1.0], [0.0], [0.0]]), np.array([[0.0, 0.0, 1.0]])
    factor, period, _ = curves_of.margin(three, b, c, [1.0], 0.0)
    assert factor == pytest.approx(8.0, rel=1e-3)
    assert period == pytest.approx(2 * np.pi / np.sqrt(3), rel=1e-3)


def test_one_store_and_a_delay_meet_the_textbook():
    # A pure integrator u -> -u/s with a delay of 1 s bears a gain of pi/2 and then swings every 4 s.
    a, b, c = np.array([[-1e-6]]), np.array([[-1.0]]), np.array([[1.0]])
    factor, period, _ = curves_of.margin(a, b, c, [1.0], 1.0)
    assert (factor, period) == pytest.approx((np.pi / 2, 4.0), rel=2e-3)


def test_gentle_curves_of_the_demo_rest_and_steep_ones_hunt():
    gentle = hunting(on(demo_plan(), curve()))
    assert gentle.gain_margin > 10
    assert gentle.growth < 0
    assert gentle.warned() == []
    steep = hunting(on(demo_plan(), curve(at=(34.0, 34.1))))
    assert steep.gain_margin < 1
    assert steep.growth > 0
    assert "would hunt" in steep.words
    (row,) = steep.warned()
    assert (row.signal, row.where, row.limit) == ("caution", "fans", "200 %")
    near = hunting(on(demo_plan(), curve(at=(34.0, 35.0))))
    assert 1 < near.gain_margin < 2
    assert near.growth < 0
    assert len(near.warned()) == 1


@pytest.mark.parametrize(("at", "grows"), [((28.0, 45.0), False), ((34.0, 35.2), False), ((34.0, 34.4), True)])
def test_what_is_told_of_the_demo_is_what_its_linear_system_does_in_time(at, grows):
    plan = on(demo_plan(), curve(at=at))
    found, point = hunting(plan, delay=2.0), steady_on_curves(plan).cold
    names, a, pushes = curves_of.transient.linearised(point.plan, [c.drives for c in plan.speed_curves])
    push = pushes[:, 0]
    sensor = np.zeros(len(a))
    sensor[curves_of._place(point.solution, "coolant", names)] = 1.0
    size = swing(a, push, sensor, found.slopes["fans"], 2.0, 900.0, step=0.05)
    early, late = np.max(size[1000:4000]), np.max(size[-3000:])
    assert bool(late > early) is grows is bool(found.gain_margin < 1)


def test_curves_of_different_sensors_rest_at_their_corners_too():
    # Short steep curves with a corner: Newton's method alone stands still on these, one sensor at a time helps it on.
    plan = load_plan(next(path for path in EXAMPLES if path.stem == "grading_suite")).set(room_air=17.09)
    plan = plan.with_loop(lambda e: replace(e, heat=0.9 * e.heat) if isinstance(e, tree.Source) else e)
    short = curve(["bottom radiator"], "coolant", (32.68, 32.884, 33.19), (0.25, 0.57, 1.0), name="a")
    steep = curve(["pump"], "processor", (43.85, 44.054, 44.36), (0.5, 0.505, 1.0), name="b")
    found = steady_on_curves(on(plan, short, steep))
    assert found.cold.agrees
    for one in (short, steep):
        assert abs(float(one.speed(found.cold.temperatures[one.sensor])) - found.cold.speeds[one.name]) < 1e-6


def test_the_margin_falls_with_delay_and_scales_with_the_slope():
    margins = [hunting(on(demo_plan(), curve()), delay).gain_margin for delay in (0.0, 1.0, 5.0, 20.0)]
    assert np.all(np.diff(margins) < 0)
    low, high = demo_plan(), demo_plan()
    point = float(steady_on_curves(on(low, curve())).cold.temperatures["coolant"])
    speed = float(curve().speed(point))
    # twice as steep through the same point
    steep = curve(at=(point - 5.0, point + 5.0), speeds=(speed - 10 * 0.7 / 17, speed + 10 * 0.7 / 17))
    assert hunting(on(high, steep)).gain_margin == pytest.approx(margins[1] / 2, rel=1e-3)


def test_a_level_curve_never_hunts_and_a_dead_sensor_neither():
    level = hunting(on(demo_plan(), curve(at=(10.0, 20.0))))
    assert level.gain_margin == np.inf
    given = hunting(on(demo_plan(), curve(sensor="case", at=(20.0, 40.0))))  # the case's air is the builder's estimate
    assert given.gain_margin == np.inf


def test_the_model_in_time_moves_as_the_steady_model_does():
    # At rest, gain of the linear model -A^-1 B against two steady answers; the model in time leaves the air's films.
    plan = on(demo_plan(), curve())
    point = steady_on_curves(plan).cold
    names, a, pushes = curves_of.transient.linearised(point.plan, [c.drives for c in plan.speed_curves])
    push = pushes[:, 0]
    place = curves_of._place(point.solution, "coolant", names)
    gain = -np.linalg.solve(a, push)[place]
    speed = float(point.speeds["fans"])
    two = solved(plan.set(fan_speed=np.array([speed - 0.01, speed + 0.01]))).state["coolant_warmest"]
    assert gain == pytest.approx(float(np.diff(two)[0]) / 0.02, rel=0.01)


def test_hunting_of_many_designs_or_with_a_bad_delay_is_refused():
    with pytest.raises(InputError, match="one design"):
        hunting(on(demo_plan().set(room_air=np.array([20.0, 25.0])), curve()))
    with pytest.raises(OutOfRange, match="delay"):
        hunting(on(demo_plan(), curve()), -1.0)


def test_a_trade_off_begins_where_every_fan_is_at_its_least_speed():
    # 20 % is the least speed of the demo's fans (data/fans.csv); at half the speed the top ones get there first.
    plan = demo_plan().set(**{"front radiator.fan_speed": 0.8, "top radiator.fan_speed": 0.4})
    swept = quiet.trade_off(plan, 5)
    assert swept.speeds[0] == pytest.approx(0.2)
    speeds = [unit.fan_speed[0] for unit in swept.solution.plan.units(tree.RadiatorUnit)]
    assert speeds == pytest.approx([0.2, 0.2])


def test_of_two_speeds_that_meet_a_limit_the_faster_counts(monkeypatch):
    def made_up(solution):
        speed = solution.plan.units(tree.RadiatorUnit)[0].fan_speed
        return {"kept between": (speed - 0.37) * (0.74 - speed), "kept outside": (speed - 0.37) * (speed - 0.74)}

    swept = quiet.trade_off(demo_plan())
    monkeypatch.setattr(quiet, "margins", made_up)
    assert [hit.speed for hit in swept.hits.values()] == pytest.approx([0.74, 0.74], abs=1e-4)
