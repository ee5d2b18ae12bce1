"""Order and layout: what the lessons say is what direct solves say, and keeps within what must hold."""

from dataclasses import replace

import numpy as np
import pytest
from examples import DEMO, EXAMPLES, SUITE, each_example

from loopmath import InputError, catalogue, ledger, lessons, load_plan, tables
from loopmath import loop as tree
from loopmath.laws import materials
from loopmath.lessons import (
    CORES,
    another_core,
    depth_or_fan_speed,
    flow_knee,
    one_big_or_two_small,
    orders,
    push_or_push_pull,
    series_or_parallel,
)
from loopmath.plan import BALANCE, GIVEN
from loopmath.solution import solved

WORKSHOP = tables.DATA / "plans" / "quiet_workshop.toml"
CUBE = tables.DATA / "plans" / "reading_cube.toml"
PAIRED = [path for path in EXAMPLES if path != CUBE]
SPEEDS = [0.35, 0.6, 1.0]


def warm_columns(plan):
    return [f"{s.name} [degC]" for s in plan.units(tree.Source)]


# ------------------------------------------------------------------------------------------------------- order


@each_example
def test_no_order_moves_a_component_by_more_than_the_books_allow(path):
    # Every place lies within the rise of the mean that radiators in air of known temperature hold (see `orders`).
    plan = replace(load_plan(path), case_air_by=GIVEN)
    found = orders(plan)
    total = sum(float(s.heat) for s in plan.units(tree.Source))
    for source in plan.units(tree.Source):
        assert 0 < found.spread[source.name] <= found.rise * (2 - source.heat / total)
    # The rise is the heat of one round over its flow and heat capacity, which the plan's own answer shows too.
    answer = solved(plan)
    assert found.rise == pytest.approx(float(answer.state["heat"]) / _capacity(answer), rel=1e-9)


def _capacity(answer):
    density, _, heat_capacity, _ = answer.fluid
    return float(density * heat_capacity * answer.state["flow"])


@each_example
def test_radiators_hold_one_mean_of_the_coolant_in_every_order(path):
    plan = replace(load_plan(path), case_air_by=GIVEN)
    found = orders(plan)
    units = plan.units(tree.RadiatorUnit)
    air = {u.name: plan.case_air if u.air == "case" else plan.room_air for u in units}
    inlets = np.array([found.table[f"coolant into {u.name} [degC]"] for u in units])
    heats = np.array([found.table[f"heat of {u.name} [W]"] for u in units])
    # Conductance of each, inlet to inlet, in the plan's own order: flow and films hardly change with the order.
    weights = heats[:, 0] / (inlets[:, 0] - np.array([air[u.name] for u in units]))
    means = weights @ inlets / weights.sum()
    assert np.ptp(means) < 0.05
    assert np.ptp(heats.sum(axis=0)) < 0.05  # W: only the heat of the pump may change, with its coolant


@each_example
def test_while_radiators_keep_together_no_order_of_the_blocks_reaches_them(path):
    plan = load_plan(path)
    found = orders(plan)
    names = [u.name for u in plan.units(tree.RadiatorUnit)]
    table = found.table[[order.endswith(", ".join(names)) for order in found.table.index]]
    # Nothing but which block is first differs: all radiators get what they got, and no block moves beyond the rise.
    assert np.ptp(table[f"coolant into {names[0]} [degC]"]) < 0.05
    for column in warm_columns(plan):
        assert np.ptp(table[column]) <= found.rise + 0.05


@each_example
def test_every_order_is_there_once_and_the_first_is_the_plans(path):
    plan = load_plan(path)
    found = orders(plan)
    parts = sum(
        1 for item in plan.loop.items if tree.of_kind(item, tree.Source) or tree.of_kind(item, tree.RadiatorUnit)
    )
    assert len(found.table) == {2: 2, 4: 24}[parts]
    assert found.table.index.is_unique
    state = solved(plan).state
    for column in warm_columns(plan):
        assert found.table[column].iloc[0] == pytest.approx(float(state[column.removesuffix(" [degC]")]), abs=1e-9)
    # Losses in a row add up whatever their order; only viscosity sees another temperature.
    assert np.ptp(found.table["flow [L/min]"]) < 0.02 * found.table["flow [L/min]"].mean()


def test_of_more_than_five_parts_the_radiators_stay():
    plan = load_plan(WORKSHOP)
    block, run = catalogue.part("block", "drive block, one flat drive"), plan.units(tree.Run)[0]
    extra = []
    for n in range(4):
        extra += [tree.Source(f"drive {n}", block, 3.0 + n), replace(run, name=f"run {n}", length=0.1)]
    items = [*plan.loop.items]
    place = next(i for i, item in enumerate(items) if item.name == "graphics card")
    found = orders(replace(plan, loop=tree.Series(*items[:place], *extra[:4], *items[place:])))
    assert (len(found.table), found.kept) == (24, ("top radiator", "front radiator"))
    found = orders(replace(plan, loop=tree.Series(*items[:place], *extra, *items[place:])))
    assert len(found.table) == 120
    assert found.kept == ("drive 0", "top radiator", "front radiator")  # the block with the least heat stays too


# ------------------------------------------------------------------------------------------------------ layout


@pytest.mark.parametrize("path", PAIRED, ids=lambda path: path.stem)
def test_series_and_parallel_are_the_layouts_of_the_plan(path):
    plan = load_plan(path)
    table = series_or_parallel(plan, SPEEDS)
    assert len(table) == 2 * len(SPEEDS)
    for _, row in table.iterrows():
        # Both layouts go by lengths and bends, not by the ways of their tubes.
        answer = solved(plan.as_counts().set(layout=row["layout"], pump_speed=row["pump speed"]))
        for source in answer.plan.units(tree.Source):
            assert row[f"{source.name} [degC]"] == pytest.approx(float(answer.state[source.name]), abs=1e-4)
            flow = float(answer.row(source.name)["flow"]) * 6e4
            assert row[f"flow of {source.name} [L/min]"] == pytest.approx(flow, rel=1e-6)
    side_by_side = table[table["layout"] == "parallel"]
    flows = side_by_side[[c for c in table if c.startswith("flow of")]]
    assert np.allclose(flows.sum(axis=1), side_by_side["flow [L/min]"], rtol=1e-6)


@each_example
def test_one_big_or_two_small_share_positions_sound_and_heat(path):
    plan = load_plan(path)
    table = one_big_or_two_small(plan)
    assert np.ptp(table["sound [dB]"]) < 1e-9
    assert table.index[0].endswith("room air")
    # The first is the plan itself, its case balanced and its largest radiator drawing room air into the case.
    largest = max(plan.units(tree.RadiatorUnit), key=lambda unit: unit.radiator.positions).name
    inward = {f"{largest}.air": "room", f"{largest}.blows": "case"}
    state = solved(replace(plan.set(**inward), case_air_by=BALANCE)).state
    for column in warm_columns(plan):
        assert table[column].iloc[0] == pytest.approx(float(state[column.removesuffix(" [degC]")]), abs=1e-9)
    money = next(c for c in table if c.startswith("money"))
    assert (table[money].iloc[2:] > 0).all()  # two of them cost more, and a run besides
    # Two in room air do what one does, but for the coolant's own path: the heat of both is that of the one.
    both = table["heat of the first [W]"] + table["heat of the second [W]"]
    pair = [i for i, words in enumerate(table.index) if words.count("room air") == 2]
    assert np.allclose(both.iloc[pair], both.iloc[0], rtol=0.05)


def test_split_radiators_hold_the_positions_of_the_one_and_close_their_books():
    plan = replace(load_plan(DEMO), case_air_by=BALANCE)
    unit = plan.units(tree.RadiatorUnit)[0]
    small = [replace(unit, name=f"r {n}", radiator=another_core(unit.radiator, positions=n)) for n in (1.0, 2.0)]
    assert [s.radiator.name for s in small] == ["1 x 120 mm, slim, medium fins", "2 x 120 mm, slim, medium fins"]
    assert [s.radiator.price for s in small] == [38.0, 54.0]  # as in data/radiators.csv
    new = plan.with_loop(lambda leaf: tree.Series(*small) if leaf.name == unit.name else leaf)
    assert abs(float(sum(ledger.energy(solved(new)).values()))) < 1e-6


def test_a_radiator_of_a_shape_nobody_lists_has_no_price_and_no_measured_loss():
    core = replace(catalogue.part("radiator", "2 x 120 mm, slim, medium fins"), linear=1e7, fins_per_inch=15.0)
    new = another_core(core, positions=1.0)
    assert (new.price, new.linear, new.positions) == (None, None, 1.0)
    assert another_core(core, positions=2.0) is core


# --------------------------------------------------------------------------------------------- fans and flow


@each_example
def test_push_and_pull_is_never_warmer_at_equal_speed_and_equally_loud_where_it_says_so(path):
    plan = load_plan(path)
    table = push_or_push_pull(plan, SPEEDS)
    push, both, quiet = (table[table["fans"] == words].reset_index() for words in table["fans"].unique())
    for column in warm_columns(plan):
        assert (both[column] < push[column]).all()
    assert (both["sound [dB]"] > push["sound [dB]"]).all()
    assert np.allclose(quiet["sound [dB]"], push["sound [dB]"], atol=1e-9)
    assert np.array_equal(both["number"], 2 * push["number"])
    # Twice the fans are 10 lg 2 louder ([ISO3744]), a slower one 50 lg n quieter ([AMCA201], exponent from memory).
    assert np.allclose(quiet["speed"] / push["speed"], 10 ** (-10 * np.log10(2) / 50), rtol=1e-9)
    row = both.iloc[1]
    change = {"fans_in_series": 2.0, "fan_speed": 0.6, "fan_side": "push"}
    state = solved(lessons._each(plan, lambda unit: replace(unit, **change))).state
    assert row["coolant over room [K]"] == pytest.approx(float(state["coolant_over_room"]), abs=1e-4)


def test_no_speed_is_as_quiet_as_a_slow_fan_alone():
    table = push_or_push_pull(load_plan(DEMO), [0.2, 1.0])
    quiet = table[table["fans"] == "push and pull, same sound"]
    assert np.isnan(quiet["speed"].iloc[0])
    assert np.isnan(quiet["processor [degC]"].iloc[0])
    assert quiet["speed"].iloc[1] < 1.0


def given_air(plan, each):
    """Return the plan with so much air through every fan position, whatever fans would give [m3/s]."""
    return plan.with_loop(
        lambda e: replace(e, fan=None, air_flow_each=each, fan_side="push") if isinstance(e, tree.RadiatorUnit) else e
    )


@each_example
@pytest.mark.parametrize("each", [0.003, 0.01, 0.03])
def test_at_one_air_flow_a_deeper_core_is_never_warmer(path, each):
    # More fins in the same air. At equal fan speed this does not hold: a deep core lets less air through.
    plan, over = given_air(load_plan(path), each), []
    for depth, rows in CORES.values():
        cores = {
            u.name: another_core(u.radiator, depth=depth, tube_rows=rows, fins_per_inch=14.0)
            for u in plan.units(tree.RadiatorUnit)
        }
        new = plan.with_loop(lambda e, cores=cores: replace(e, radiator=cores[e.name]) if e.name in cores else e)
        state = solved(new).state
        over.append(float(state["coolant_over_room"] / state["heat"]))  # K/W: the pump's own heat is not the core's
    assert over[0] > over[1] > over[2]


@each_example
def test_depth_pays_with_strong_fans_only(path):
    plan = load_plan(path)

    def stronger(times):
        """Return the plan with fans that turn so much faster than any here: flow as speed, pressure as its square."""

        def change(unit):
            fan = unit.fan
            flow, pressure = fan.free_flow * times, fan.shutoff_pressure * times**2
            return replace(unit, fan=replace(fan, free_flow=flow, shutoff_pressure=pressure))

        return lessons._each(plan, change)

    def deep_over_slim(some):
        over = depth_or_fan_speed(some, [1.0]).set_index("core")["coolant over room [K]"]
        return over["deep"] - over["slim"]

    assert deep_over_slim(stronger(4.0)) < 0
    assert deep_over_slim(stronger(0.3)) > 0


@each_example
def test_depth_against_fan_speed_is_what_direct_solves_say(path):
    plan = load_plan(path)
    table = depth_or_fan_speed(plan, SPEEDS)
    for speed in SPEEDS:
        assert np.ptp(table[table["speed"] == speed]["sound [dB]"]) < 1e-9
    assert (table.groupby("core")["coolant over room [K]"].diff().dropna() < 0).all()
    depth, rows = CORES["deep"]
    new = plan.set(fan_speed=0.6)
    for unit in plan.units(tree.RadiatorUnit):
        new = new.set(**{f"{unit.name}.depth": depth}).set(**{f"{unit.name}.tube_rows": rows})
    row = table[(table["core"] == "deep") & (table["speed"] == 0.6)].iloc[0]
    answer = solved(new)
    assert row["coolant over room [K]"] == pytest.approx(float(answer.state["coolant_over_room"]), abs=1e-4)
    most = max(float(side.share_of_free_flow) for side in answer.airs.values())
    assert row["share of free air flow"] == pytest.approx(most, abs=1e-5)


KNEES = {
    **{path.stem: lambda path=path: load_plan(path) for path in EXAMPLES},
    "demo in parallel": lambda: load_plan(DEMO).set(layout="parallel"),
}


@pytest.mark.parametrize("name", KNEES)
def test_the_knee_is_where_the_curve_runs_beside_its_chord(name):
    plan = KNEES[name]()
    knee = flow_knee(plan)
    column = f"{knee.component} [degC]"
    first, last = knee.table.iloc[0], knee.table.iloc[-1]
    chord = (first[column] - last[column]) / (last["flow [L/min]"] - first["flow [L/min]"])

    def at(speed):
        state = solved(plan.set(pump_speed=speed)).state
        return float(state["flow"]) * 6e4, float(state[knee.component])

    def slope(speed, step=0.01):  # another step than the one it was found with
        (slow, before), (fast, after) = at(speed - step), at(speed + step)
        return (before - after) / (fast - slow)

    assert knee.slope == pytest.approx(chord)
    assert slope(knee.speed) == pytest.approx(chord, rel=0.02)
    assert slope(knee.speed - 0.1) > chord > slope(knee.speed + 0.1)
    assert (knee.flow, knee.temperature) == pytest.approx(at(knee.speed))
    assert knee.full_slope == pytest.approx(slope(0.99), rel=0.1)
    hottest = max(warm_columns(plan), key=lambda c: last[c])
    assert hottest == column
    assert f"{knee.flow:.2f} L/min" in knee.words


# --------------------------------------------------------------------------------------------------- bad input

ALL = [orders, series_or_parallel, one_big_or_two_small, push_or_push_pull, depth_or_fan_speed, flow_knee]


@pytest.mark.parametrize("lesson", ALL)
def test_a_plan_without_blocks_teaches_nothing(lesson):
    plan = load_plan(CUBE)
    items = [item for item in plan.loop.items if not isinstance(item, tree.Source)]
    with pytest.raises(InputError, match="no block"):
        lesson(replace(plan, loop=tree.Series(*items)))


@pytest.mark.parametrize("lesson", ALL)
def test_many_designs_are_refused(lesson):
    with pytest.raises(InputError, match="one design"):
        lesson(load_plan(SUITE).set(room_air=np.array([20.0, 25.0])))


def test_what_a_plan_lacks_is_said():
    cube = load_plan(CUBE)
    with pytest.raises(InputError, match="two blocks"):
        series_or_parallel(cube)
    without = given_air(cube, 0.01)
    for lesson in (push_or_push_pull, depth_or_fan_speed):
        with pytest.raises(InputError, match="no radiator with fans"):
            lesson(without)
    one = cube.set(**{"radiator.positions": 1.0})
    with pytest.raises(InputError, match="two fan positions"):
        one_big_or_two_small(one)
    with pytest.raises(InputError, match="can be split: radiator"):
        one_big_or_two_small(cube, "radiatr")


@pytest.mark.parametrize("lesson", [series_or_parallel, push_or_push_pull, depth_or_fan_speed])
def test_a_speed_past_full_is_refused(lesson):
    with pytest.raises(InputError, match="speed"):
        lesson(load_plan(DEMO), [0.5, 1.2])


def test_what_is_left_to_softening_is_that_of_the_warmest_tube_end_and_the_sound_limit_is_met():
    plan = load_plan(tables.DATA / "plans" / "quiet_workshop.toml")
    story = lessons.quiet_machine(plan)
    assert set(story.table["tube"]) == set(story.tubes) == set(story.left)
    for tube in story.tubes:
        rows = story.table[story.table["tube"] == tube].set_index("fans")
        planned, met = rows.loc["as planned"], rows.loc["at the sound limit"]
        one = plan.as_counts().set(tube=tube)  # as the lesson compares tubes: by lengths and bends
        answer, soft = solved(one), materials.softening_temperature(one.units(tree.Run)[0].tube.material)
        warmest = max(float(row["in"]) for row in answer.walk if isinstance(row["element"], tree.Run))
        warmest = max(warmest, float(answer.case_air))  # where dead legs stand
        assert planned["left to softening [K]"] == pytest.approx(soft - warmest, abs=1e-6)
        assert planned["sound [dB]"] == pytest.approx(float(answer.state["sound"]))
        assert met["sound [dB]"] == pytest.approx(plan.sound_limit, abs=0.01)
        assert np.all(np.diff(story.left[tube]) > 0)  # faster fans, cooler ends
        for row in (planned, met):  # data/rules.csv: danger below 0 K, caution below 8 K
            left = row["left to softening [K]"]
            assert row["warning"] == ("danger" if left < 0 else "caution" if left < 8 else "none")


# ----------------------------------------------------------------------------------------------- runs that are laid


def test_every_order_keeps_the_tubes_where_they_are_laid():
    """All the same, flow differs a little with how warm the coolant is where it is narrow."""
    plan = load_plan(DEMO)
    flows = orders(plan).table["flow [L/min]"]
    assert flows.iloc[0] == float(solved(plan).state["flow"]) * 6e4
    assert np.ptp(flows) < 1e-3 * flows.iloc[0]


def test_layouts_are_compared_by_lengths_and_bends_both():
    """Side by side the tubes go other ways, so bends round another former are left out of the comparison."""
    plan = load_plan(DEMO).set(bend_radius=0.02)
    table = series_or_parallel(plan, [0.7]).set_index("layout")
    for layout in ("series", "parallel"):
        flow = float(solved(plan.as_counts().set(layout=layout, pump_speed=0.7)).state["flow"])
        assert table.loc[layout, "flow [L/min]"] == pytest.approx(6e4 * flow, rel=1e-9)


def test_a_tube_that_cannot_be_bent_as_the_runs_are_laid_is_judged_by_their_lengths():
    plan, wide = load_plan(DEMO), ("acrylic 16/12 mm",)
    assert catalogue.part("tube", *wide).bend_radius > plan.bend_radius
    story, counted = (lessons.quiet_machine(each, wide) for each in (plan, plan.as_counts()))
    assert story.table.equals(counted.table)
    assert story.table["left to softening [K]"].notna().all()
