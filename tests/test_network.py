"""The solver on trees and plans drawn at random, against its own laws and against an independent solution."""

import math
from itertools import count

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reference_case import Resistance
from scipy.optimize import brentq

import loopmath
from loopmath import catalogue, loop, network, parts
from loopmath.checks import OutOfRange
from loopmath.laws import coolant as coolants
from loopmath.laws.coolant import Coolant
from loopmath.loss import Loss
from loopmath.plan import Plan
from loopmath.solution import solve, solved

GRAVITY = 9.80665
DENSITY, VISCOSITY = 1005.0, 1.1e-3
LITRES_PER_MINUTE = 6e4
SEEDS = st.integers(0, 2**32 - 1)
RANDOM = settings(max_examples=60, deadline=None, derandomize=True, database=None)


def unchanging():
    """Return a coolant whose properties are the same at every temperature."""
    values = {
        "density": DENSITY,
        "log_viscosity": math.log(VISCOSITY),
        "heat_capacity": 4000.0,
        "conductivity": 0.5,
    }
    columns = {key: np.array([value, 0.0]) for key, value in values.items()}
    return Coolant("unchanging", "unchanging", "water", 0.0, "none", 0.0, 5.0, 70.0, **columns)


# -------------------------------------------------------------------------------------------- random trees

# A tree is drawn as plain tuples, from which both the package's elements and the independent laws are made.


def draw_leaf(draw):
    kind = draw.choice(["part", "tube", "fitting"])
    if kind == "part":
        # Pa at 3 L/min in the linear and in the quadratic part, fixed or scaled with the coolant
        linear, quadratic = draw.uniform(0.0, 4e3) / 5e-5, draw.uniform(10.0, 8e3) / 5e-5**2
        return ("part", linear, quadratic, bool(draw.integers(2)))
    if kind == "tube":
        return ("tube", draw.uniform(0.05, 2.0), draw.uniform(0.006, 0.016), draw.choice([0.0, 1.5e-6, 5e-5]))
    bore = draw.uniform(0.006, 0.012)
    return ("fitting", draw.uniform(0, 1000), draw.uniform(0.05, 0.6), draw.uniform(0, 4), bore, draw.integers(1, 6))


def draw_series(draw, depth, most=3):
    items = [draw_leaf(draw) for _ in range(draw.integers(1, most + 1))]
    if depth:
        for _ in range(draw.integers(1, 3)):
            branches = [draw_series(draw, draw.integers(depth), most=2) for _ in range(draw.integers(2, 4))]
            if depth > 1:
                branches[0] = draw_series(draw, depth - 1, most=1)
            items.insert(draw.integers(len(items) + 1), ("parallel", branches))
    return ("series", items)


def draw_pumps(draw):
    """Return (layout, pumps) with a pump as (head, flow at no head, exponent, speed)."""
    layout = draw.choice(["one", "series", "side by side"])
    first = (draw.uniform(2, 8), draw.uniform(8, 25) / LITRES_PER_MINUTE, draw.uniform(1.2, 3), draw.uniform(0.4, 1))
    if layout == "one":
        return layout, [first]
    second = first if layout == "side by side" else (draw.uniform(2, 8), *first[1:])
    return layout, [first, second]


def built(tree, names):
    """Return the package's elements of a drawn tree."""
    kind, *values = tree
    name = f"{kind} {next(names)}"
    if kind == "series":
        return loop.Series(*(built(item, names) for item in values[0]))
    if kind == "parallel":
        return loop.Parallel(*(built(branch, names) for branch in values[0]))
    if kind == "part":
        linear, quadratic, scaled = values
        if scaled:
            return Resistance(name, Loss(linear / VISCOSITY, quadratic / DENSITY))
        return Resistance(name, Loss(fixed_linear=linear, fixed_quadratic=quadratic))
    if kind == "tube":
        length, bore, rough = values
        return loop.Run(name, parts.Tube(name, "PETG", bore + 4e-3, bore, rough), length, ends=0.0)
    k1, ki, kd, bore, number = values
    return loop.Fittings(name, parts.Fitting(name, k1, ki, kd, bore), number)


def built_pumps(layout, pumps, name="pump"):
    units = [
        loop.PumpUnit(f"{name} {n}", parts.Pump(f"{name} {n}", head, runout, exponent), speed)
        for n, (head, runout, exponent, speed) in enumerate(pumps)
    ]
    return [loop.Parallel(*units)] if layout == "side by side" else units


def solved_tree(tree, layout, pumps, friction="churchill"):
    items = [*built_pumps(layout, pumps), built(tree, count())]
    return solved(Plan("random", loop.Series(*items), unchanging()), friction)


# -------------------------------------------------------------------------------------- the independent laws


def churchill(reynolds, rough):
    """Churchill 1977, written out again in its usual form."""
    a = (2.457 * math.log(1 / ((7 / reynolds) ** 0.9 + 0.27 * rough))) ** 16
    b = (37530 / reynolds) ** 16
    return 8 * ((8 / reynolds) ** 12 + (a + b) ** -1.5) ** (1 / 12)


def drop(tree, flow, tolerance=1e-13):
    """Return the pressure loss of a drawn tree at a flow; a parallel group by nested brentq. [Pa]"""
    kind, *values = tree
    if kind == "series":
        return sum(drop(item, flow, tolerance) for item in values[0])
    if kind == "part":
        return values[0] * flow + values[1] * flow * flow
    if flow < 1e-15:
        return 0.0
    if kind == "tube":
        length, bore, rough = values
        velocity = flow / (math.pi / 4 * bore**2)
        reynolds = DENSITY * velocity * bore / VISCOSITY
        return churchill(reynolds, rough / bore) * length / bore * DENSITY * velocity**2 / 2
    if kind == "fitting":
        k1, ki, kd, bore, number = values
        velocity = flow / (math.pi / 4 * bore**2)
        reynolds = DENSITY * velocity * bore / VISCOSITY
        return number * (k1 / reynolds + ki * (1 + kd / (bore / 0.0254) ** 0.3)) * DENSITY * velocity**2 / 2
    branches = values[0]
    most = min(drop(branch, flow, tolerance) for branch in branches)

    def excess(pressure):
        return sum(flow_at(branch, pressure, flow, tolerance) for branch in branches) - flow

    return brentq(excess, 0.0, most, xtol=tolerance * most, rtol=1e-14)


def flow_at(branch, pressure, most, tolerance):
    """Return the flow at which a branch takes a pressure. [m3/s]"""
    if pressure <= 0:
        return 0.0
    return brentq(lambda q: drop(branch, q, tolerance) - pressure, 0.0, most * (1 + 1e-12), xtol=1e-13 * most)


def lift(layout, pumps, flow):
    """Return the pumps' head at a flow; those side by side are equal. [m]"""
    each = flow / 2 if layout == "side by side" else flow
    heads = [s**2 * head * (1 - (each / (s * runout)) ** m) for head, runout, m, s in pumps]
    return heads[0] if layout == "side by side" else sum(heads)


def losses_at(item, tree, flows):
    """Yield (loss of every branch) of each parallel group, by the independent laws at the package's flows."""
    for child, drawn in zip(item.items, tree[1], strict=True):
        if drawn[0] != "parallel":
            continue
        pairs = list(zip(child.branches, drawn[1], strict=True))
        yield [loss_along(branch, inner, flows) for branch, inner in pairs]
        for branch, inner in pairs:
            yield from losses_at(branch, inner, flows)


def loss_along(item, tree, flows):
    """Return the loss along the first branch of every group in a series, by the independent laws."""
    total = 0.0
    for child, drawn in zip(item.items, tree[1], strict=True):
        if drawn[0] == "parallel":
            total += loss_along(child.branches[0], drawn[1][0], flows)
        else:
            total += drop(drawn, flows[child.name])
    return total


def group_flows(item, flows):
    """Yield (flow before or after a group, flows of its branches), for groups beside a leaf in series."""
    for child in item.items:
        if isinstance(child, loop.Parallel):
            leaf = next(c for c in item.items if not isinstance(c, loop.Parallel))
            inner = [next(c for c in b.items if not isinstance(c, loop.Parallel)) for b in child.branches]
            yield flows[leaf.name], [flows[c.name] for c in inner]
            for branch in child.branches:
                yield from group_flows(branch, flows)


def drawn(seed, deepest=3):
    draw = np.random.default_rng(seed)
    depth = int(draw.integers(0, deepest + 1))
    layout, pumps = draw_pumps(draw)
    return draw_series(draw, depth), layout, pumps


# --------------------------------------------------------------------------------------------- hydraulics


@RANDOM
@given(SEEDS)
def test_pump_head_equals_loss_and_branches_lose_alike_and_flows_add(seed):
    tree, layout, pumps = drawn(seed)
    answer = solved_tree(tree, layout, pumps)
    assert answer.settled.settled
    item = answer.plan.loop.items[-1]
    flows = {row["element"].name: float(row["flow"]) for row in answer.walk}
    flow = float(answer.state["flow"])
    head = lift(layout, pumps, flow)
    assert float(answer.state["head"]) == pytest.approx(head, rel=1e-9)
    taken = loss_along(item, tree, flows) / (DENSITY * GRAVITY)
    shutoff = lift(layout, pumps, 0.0)
    assert abs(head - taken) < 1e-6 * head + 1e-9 * shutoff
    for losses in losses_at(item, tree, flows):
        assert losses == pytest.approx([losses[0]] * len(losses), rel=1e-8)
    for whole, branches in group_flows(item, flows):
        assert sum(branches) == pytest.approx(whole, rel=1e-12)
    # The package's own account of the same thing
    shares = sum(answer.head_shares.values())
    assert shares == pytest.approx(head, rel=1e-6)


def test_random_trees_do_reach_depth_three_and_every_layout_of_pumps():
    """The draw above would prove little if it never drew a deep tree."""

    def depth(tree):
        inner = [depth(b) for item in tree[1] if item[0] == "parallel" for b in item[1]]
        return 1 + max(inner) if inner else 0

    trees = [drawn(seed) for seed in range(40)]
    assert {depth(tree) for tree, *_ in trees} == {0, 1, 2, 3}
    assert {layout for _, layout, _ in trees} == {"one", "series", "side by side"}


@pytest.mark.parametrize("seed", range(20))
def test_flow_equals_a_nested_brentq_solution(seed):
    tree, layout, pumps = drawn(seed, deepest=1 + (seed % 5 == 0))
    flow = solved_tree(tree, layout, pumps).state["flow"]
    most = min(s * runout for _, runout, _, s in pumps) * (2 if layout == "side by side" else 1)
    most = most if layout != "series" else max(s * runout for _, runout, _, s in pumps)

    def balance(q):
        return lift(layout, pumps, q) - drop(tree, q, 1e-11) / (DENSITY * GRAVITY)

    assert flow == pytest.approx(brentq(balance, 1e-12, most, xtol=1e-15, rtol=1e-13), rel=1e-8)


def test_churchill_settles_on_every_random_tree():
    for seed in range(300):
        answer = solved_tree(*drawn(seed))
        assert answer.settled.settled, seed
        assert sum(answer.head_shares.values()) == pytest.approx(float(answer.state["head"]), rel=1e-8), seed


def test_branches_settle_as_well_as_the_main_line(monkeypatch):
    """Three passes promise 1e-7 of every flow, against as many passes as it takes."""
    for seed in range(100):
        flows = [float(flow) for flow in solved_tree(*drawn(seed)).settled.flows]
        monkeypatch.setattr(network, "PASSES", 40)
        tight = [float(flow) for flow in solved_tree(*drawn(seed)).settled.flows]
        monkeypatch.undo()
        assert flows == pytest.approx(tight, rel=1e-7, abs=0), seed


def test_colebrook_settles_unless_a_tube_sits_at_its_jump():
    """
    The law jumps by half at Re 2040: a tube there may have no flow at which its loss equals its neighbours'.

    Newton then goes to and fro about the jump, so the flows reported lie around it. Such an answer says so.
    """
    settled = []
    for seed in range(120):
        answer = solved_tree(*drawn(seed), "colebrook")
        settled.append(bool(answer.settled.settled))
        if settled[-1]:
            assert sum(answer.head_shares.values()) == pytest.approx(float(answer.state["head"]), rel=1e-8), seed
            continue
        tubes = [(float(row["flow"]), row["element"].tube.bore) for row in answer.walk if row["element"].kind == "run"]
        reynolds = np.array([4 * flow * DENSITY / (math.pi * bore * VISCOSITY) for flow, bore in tubes])
        assert np.min(np.abs(reynolds / 2040 - 1)) < 0.3, seed
        assert not answer.known
        assert "solver" in set(answer.warnings["where"])
    assert np.mean(settled) > 0.8


@RANDOM
@given(SEEDS)
def test_more_pump_speed_never_gives_less_flow(seed):
    tree, layout, pumps = drawn(seed)
    flows = [
        float(solved_tree(tree, layout, [(*pump[:3], pump[3] * share) for pump in pumps]).state["flow"])
        for share in (0.3, 0.5, 0.7, 0.85, 1.0)
    ]
    assert np.all(np.diff(flows) > 0)


@RANDOM
@given(SEEDS)
def test_one_more_fitting_gives_less_flow_and_a_branch_beside_gives_more(seed):
    tree, layout, pumps = drawn(seed)
    flow = solved_tree(tree, layout, pumps).state["flow"]
    fitting = ("fitting", 800.0, 0.3, 4.0, 0.009, 1)
    assert solved_tree(("series", [*tree[1], fitting]), layout, pumps).state["flow"] < flow
    beside = ("series", [("part", 1e7, 5e12, False)])
    doubled = ("series", [("parallel", [tree, beside])])
    assert solved_tree(doubled, layout, pumps).state["flow"] > flow


def test_a_loop_of_parallel_groups_alone_is_solved():
    """Two pumps side by side, then two parts side by side, and nothing on the line between."""
    pumps = [(4.0, 2.7e-4, 2.0, 1.0)] * 2
    parts_ = [Resistance(f"part {n}", Loss(fixed_quadratic=4e12)) for n in range(2)]
    item = loop.Series(*built_pumps("side by side", pumps), loop.Parallel(*parts_))
    answer = solved(Plan("groups alone", item, unchanging()))
    # Half the flow goes through each: H0 (1 - (q/q0)^2) rho g = b q^2
    q = math.sqrt(4.0 / (4.0 / 2.7e-4**2 + 4e12 / (DENSITY * GRAVITY)))
    assert answer.state["flow"] == pytest.approx(2 * q, rel=1e-7)


@pytest.mark.parametrize("place", ["series", "branch"])
def test_nested_series_is_the_same_loop_as_a_flat_one(place):
    one, two, three = (Resistance(n, Loss(fixed_quadratic=q)) for n, q in (("a", 1e12), ("b", 2e12), ("c", 3e12)))
    pump = built_pumps("one", [(4.0, 2.7e-4, 2.0, 1.0)])
    if place == "series":
        loops = [loop.Series(*pump, one, two, three), loop.Series(*pump, loop.Series(one, loop.Series(two)), three)]
    else:
        loops = [
            loop.Series(*pump, loop.Parallel(loop.Series(one, two), three)),
            loop.Series(*pump, loop.Parallel(loop.Series(loop.Series(one), loop.Series(two)), three)),
        ]
    flows = [float(solved(Plan("nested", item, unchanging())).state["flow"]) for item in loops]
    assert flows[0] == pytest.approx(flows[1], rel=1e-12)


# ------------------------------------------------------------------------------------------------- plans


def random_designs(number, seed=1):
    """Return the demo with N designs across the slider ranges, heat to twice the demo's."""
    draw = np.random.default_rng(seed)
    liquids = list(coolants.coolants().values())
    return {
        "pump_speed": draw.uniform(0.25, 1.0, number),
        "bore": draw.uniform(0.007, 0.016, number),
        "fittings": draw.uniform(0.0, 30.0, number),
        "fan_speed": draw.uniform(0.2, 1.0, number),
        "processor.heat": draw.uniform(0.0, 280.0, number),
        "graphics card.heat": draw.uniform(0.0, 600.0, number),
        "room_air": draw.uniform(10.0, 35.0, number),
    }, coolants.gather(liquids, draw.integers(len(liquids), size=number))


def random_plan(number, seed=1, layout="series"):
    designs, liquid = random_designs(number, seed)
    return loopmath.demo_plan().set(layout=layout, coolant=liquid, **designs)


def one_of_plan(number, index, seed=1, layout="series"):
    """Return design `index` of `random_plan` as a plan of plain numbers."""
    designs, liquid = random_designs(number, seed)
    draw = np.random.default_rng(seed)
    for _ in range(7):
        draw.uniform(size=number)
    liquids = list(coolants.coolants().values())
    alone = next(c for c in liquids if c.fraction == liquid.fraction[index] and c.freezing == liquid.freezing[index])
    single = {name: float(values[index]) for name, values in designs.items()}
    return loopmath.demo_plan().set(layout=layout, coolant=alone, **single)


@pytest.mark.parametrize("layout", ["series", "parallel"])
def test_every_design_across_the_sliders_settles(layout):
    answer = solved(random_plan(20_000, 3, layout))
    assert np.all(answer.settled.settled)
    assert np.all(answer.moving)
    assert np.all(answer.state["flow"] > 0)
    # Where the coolant stays in its data every figure is a number; elsewhere no temperature is stated.
    stated = np.isfinite(answer.state["processor"])
    assert np.array_equal(stated, ~answer.outside)
    assert 0.5 < stated.mean() < 1.0
    elements = answer.elements
    loss = elements.groupby("design")["loss [m]"].sum()
    if layout == "series":
        assert np.allclose(loss, answer.state["head"], rtol=1e-6, atol=0)


@pytest.mark.parametrize("layout", ["series", "parallel"])
def test_energy_closes(layout):
    answer = solved(random_plan(2000, 5, layout))
    known = np.isfinite(answer.state["coolant_supply"])
    given = sum(row["heat"] for row in answer.walk if row["element"].name not in answer.coolers)
    taken = -sum(row["heat"] for row in answer.walk if row["element"].name in answer.coolers)
    assert known.sum() > 1000
    assert np.max(np.abs(given - taken)[known] / given[known]) < 1e-9
    # and the coolant comes back to the start as warm as it left it
    first, last = answer.walk[0]["in"], answer.walk[-1]["out"]
    assert np.nanmax(np.abs(first - last)) < 1e-9


@pytest.mark.parametrize("layout", ["series", "parallel"])
@pytest.mark.parametrize(("number", "block"), [(1, 8192), (4, 8192), (5, 8192), (23, 5), (24, 8), (40, 1)])
def test_many_designs_equal_one_by_one(number, block, layout, monkeypatch):
    monkeypatch.setattr(network, "BLOCK", block)
    together = solved(random_plan(number, 11, layout)).state
    for index in range(number):
        alone = solved(one_of_plan(number, index, 11, layout)).state
        for key, values in together.items():
            assert values.shape == (number,)
            assert values[index] == pytest.approx(float(alone[key]), rel=1e-12, nan_ok=True), (index, key)


def test_an_array_in_any_one_place_makes_the_designs():
    plan = loopmath.demo_plan()
    for name, values in {
        "front radiator.depth": [0.03, 0.04],
        "pump.shutoff_head": [3.0, 4.0],
        "reservoir.k1": [100.0, 200.0],
        "drain.length": [0.1, 0.2],
        "height": [0.0, 1000.0],
        "case_air_over_room": [3.0, 6.0],
        "listener": [0.5, 1.0],
    }.items():
        answer = solved(plan.set(**{name: np.array(values)}))
        assert answer.designs == 2, name
        for key, column in answer.state.items():
            assert column.shape == (2,), (name, key)


def test_arrays_of_two_lengths_are_refused():
    plan = loopmath.demo_plan().set(pump_speed=np.array([0.5, 0.6]))
    with pytest.raises(loopmath.InputError, match="one common length"):
        solve(plan.set(room_air=np.array([20.0, 21.0, 22.0])))


def temperatures(answer):
    return np.array([row[end] for row in answer.walk for end in ("in", "out") if row["element"].kind != "dead leg"])


def heated(layout, liquid):
    """Yield (heated part, answer before, answer 20 W later, where both can be stated)."""
    designs, gathered = random_designs(400, 17)
    designs["processor.heat"] *= 0.4
    designs["graphics card.heat"] *= 0.4
    plan = loopmath.demo_plan().set(layout=layout, coolant=liquid or gathered, **designs)
    before = solved(plan)
    for part in ("processor", "graphics card"):
        after = solved(plan.set(**{f"{part}.heat": designs[f"{part}.heat"] + 20.0}))
        yield part, before, after, before.known & after.known


@pytest.mark.parametrize("layout", ["series", "parallel"])
def test_adding_heat_cools_nothing(layout):
    """Exactly so in a coolant whose properties do not change with temperature."""
    for part, before, after, known in heated(layout, unchanging()):
        assert known.sum() > 300
        assert np.allclose(before.state["flow"], after.state["flow"], rtol=1e-12, atol=0)
        assert np.min((temperatures(after) - temperatures(before))[:, known]) > -1e-9, part
        for name in ("processor", "graphics card"):
            assert np.min((after.state[name] - before.state[name])[known]) > 0, (part, name)


@pytest.mark.parametrize("layout", ["series", "parallel"])
def test_adding_heat_warms_what_is_heated_in_every_coolant(layout):
    """Warmer coolant is thinner and flows faster, which may cool another part by some hundredths of a kelvin."""
    for part, before, after, known in heated(layout, None):
        rise = {name: (after.state[name] - before.state[name])[known] for name in ("processor", "graphics card")}
        supply = (after.state["coolant_supply"] - before.state["coolant_supply"])[known]
        assert rise[part].min() > 0.5
        assert supply.min() > 0
        brisk = before.state["flow"][known] > 1.8 / LITRES_PER_MINUTE
        assert brisk.sum() > 100
        assert min(values[brisk].min() for values in rise.values()) > 0


def test_a_warmer_room_warms_everything_by_as_much():
    """
    By 0.9 to 1.1 K for 1 K in a loop nothing warns of: over 1.8 L/min, coolant less than 10 K over room.

    A slow loop of thick coolant flows faster when warmer, and its coolant may then rise by half as much. A block's
    film gains by the faster flow too, some tenths of a kelvin at 600 W, which is taken out here.
    """
    plan = random_plan(2000, 19)
    before, after = solved(plan), solved(plan.set(room_air=plan.room_air + 1.0))
    usual = (before.state["flow"] > 1.8 / LITRES_PER_MINUTE) & (before.state["coolant_over_room"] < 10.0)
    assert usual.sum() > 300
    rise = (temperatures(after) - temperatures(before))[:, usual]
    assert 0.9 < rise.min() <= rise.max() < 1.1
    for unit in plan.units(loop.Source):
        films = [unit.heat * unit.block.thermal_resistance(answer.state["flow"]) for answer in (before, after)]
        rise = (after.state[unit.name] - before.state[unit.name] + films[0] - films[1])[usual]
        assert 0.9 < rise.min() <= rise.max() < 1.1
        assert np.max((films[0] - films[1])[usual]) < 0.2


def test_a_warmer_room_warms_everything_as_much_at_unchanging_properties():
    """What is left is the air's own change: per kelvin its density falls by 0.33 %, its viscosity rises by 0.27 %."""
    plan = random_plan(500, 19).set(coolant=unchanging())
    before, after = solved(plan), solved(plan.set(room_air=plan.room_air + 1.0))
    known = before.known & after.known
    rise = (temperatures(after) - temperatures(before))[:, known]
    over = before.state["coolant_over_room"][known]
    assert known.sum() > 300
    assert np.max(np.abs(rise - 1.0) / over) < 6e-3


@pytest.mark.parametrize("layout", ["series", "parallel"])
def test_three_passes_are_as_good_as_forty(layout, monkeypatch):
    """1e-7 of flow and 1e-6 K, as the solver promises, over the whole range of the sliders."""
    plan = random_plan(5000, 3, layout)
    answer = solved(plan)
    monkeypatch.setattr(network, "PASSES", 40)
    tight = solved(plan)
    for flow, other in zip(answer.settled.flows, tight.settled.flows, strict=True):
        assert np.max(np.abs(flow / other - 1)) < 1e-7
    for key in ("coolant_supply", "coolant_return", "processor", "graphics card"):
        assert np.nanmax(np.abs(answer.state[key] - tight.state[key])) < 1e-6, key


# -------------------------------------------------------------------------------------- when nothing works


def test_a_pump_below_its_least_speed_moves_nothing_and_no_temperature_is_stated():
    answer = solve(loopmath.demo_plan().set(pump_speed=0.2))
    assert answer.state["flow"] == 0
    assert answer.state["head"] == 0
    for key in ("coolant_supply", "coolant_return", "coolant_over_room", "processor", "graphics card"):
        assert math.isnan(answer.state[key])
    first = answer.warnings.iloc[0]
    assert (first["signal"], first["quantity"]) == ("danger", "loop flow")
    assert "Nothing flows" in answer.plight


def test_a_still_pump_among_many_designs_is_still_there_alone():
    answer = solve(loopmath.demo_plan().set(pump_speed=np.array([0.0, 0.7, 0.1, 1.0])))
    assert np.array_equal(answer.state["flow"] > 0, [False, True, False, True])
    assert np.array_equal(np.isnan(answer.state["processor"]), [True, False, True, False])
    assert np.array_equal(answer.warning_counts()["danger"] > 0, [True, False, True, False])


def test_without_radiators_no_temperature_is_stated():
    plan = loopmath.demo_plan()
    items = [item for item in plan.loop.items if not isinstance(item, loop.RadiatorUnit)]
    bare = Plan("bare", loop.Series(*items), plan.coolant)
    with pytest.raises(OutOfRange, match="add radiator"):
        solve(bare)
    answer = solved(bare)
    assert answer.state["flow"] > 0
    assert math.isnan(answer.state["coolant_return"])
    assert math.isnan(answer.state["processor"])
    assert answer.warnings.iloc[0]["signal"] == "danger"


def test_without_heat_and_radiators_no_temperature_is_stated():
    """Nothing sets the temperature of such a loop, so none may be made up."""
    plan = loopmath.demo_plan().set(**{"processor.heat": 0.0, "graphics card.heat": 0.0, "pump.heat_share": 0.0})
    items = [item for item in plan.loop.items if not isinstance(item, loop.RadiatorUnit)]
    answer = solved(Plan("bare", loop.Series(*items), plan.coolant))
    assert math.isnan(answer.state["coolant_return"])


def test_fans_standing_still_state_no_temperature():
    plan = loopmath.demo_plan().set(fan_speed=0.1)
    with pytest.raises(OutOfRange, match="Raise the fan speed"):
        solve(plan)
    answer = solved(plan)
    assert math.isnan(answer.state["coolant_return"])
    assert answer.state["flow"] > 0
    assert "coolant outside its data" in set(answer.warnings["quantity"])
    assert "fan speed over its least speed by" in set(answer.warnings["quantity"])


def side_by_side(first, second, beside=None):
    """Return the demo with two pumps side by side in place of its own."""
    plan = loopmath.demo_plan()
    pumps = [
        loop.PumpUnit(name, catalogue.part("pump", kind), speed)
        for name, (kind, speed) in (("left pump", first), ("right pump", second))
    ]
    branches = [loop.Series(p, Resistance(f"check of {p.name}", Loss(fixed_quadratic=2e11))) for p in pumps]
    branches = branches if beside is None else pumps
    items = [loop.Parallel(*branches) if isinstance(i, loop.PumpUnit) else i for i in plan.loop.items]
    return Plan("two pumps", loop.Series(*items), plan.coolant)


@pytest.mark.parametrize("beside", [None, "bare"])
def test_a_weak_pump_beside_a_strong_one_is_overrun_and_named(beside):
    strong, weak = ("two-stage pump, 7.4 m", 1.0), ("compact pump, 2.4 m", 0.35)
    answer = solved(side_by_side(strong, weak, beside))
    flows = answer.elements["flow [L/min]"]
    assert flows["right pump"] < 0 < flows["left pump"]
    assert flows["left pump"] + flows["right pump"] == pytest.approx(flows["processor"], rel=1e-9)
    found = answer.warnings.query("quantity == 'branch flow'")
    assert list(found["where"]) == ["branch of right pump"]
    assert found.iloc[0]["signal"] == "danger"
    # The order of flow no longer holds, so no temperature is made up.
    assert math.isnan(answer.state["processor"])
    assert "backwards" in answer.plight


@pytest.mark.parametrize("beside", [None, "bare"])
def test_a_pump_beside_a_standing_one_pushes_coolant_back_through_it(beside):
    answer = solved(side_by_side(("standard pump, 3.7 m", 1.0), ("standard pump, 3.7 m", 0.0), beside))
    assert np.isfinite(answer.state["flow"])
    assert answer.settled.settled
    assert answer.elements["flow [L/min]"]["right pump"] < 0


def test_equal_pumps_side_by_side_share_the_flow_and_one_gives_less():
    kind = "standard pump, 3.7 m"
    answer = solve(side_by_side((kind, 0.7), (kind, 0.7)))
    flows = answer.elements["flow [L/min]"]
    assert flows["left pump"] == pytest.approx(flows["right pump"], rel=1e-9)
    assert answer.state["flow"] > solve(loopmath.demo_plan()).state["flow"]
    assert "branch flow" not in set(answer.warnings["quantity"])
