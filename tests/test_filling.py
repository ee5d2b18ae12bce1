"""Filling: volumes, bottles, what is wet when so much is poured, bubbles on the way down, room for warming."""

from dataclasses import replace
from itertools import product
from types import SimpleNamespace

import CoolProp.CoolProp as cp
import numpy as np
import pytest
from examples import CUBE, DEMO, each_example

from loopmath import filling, load_plan
from loopmath import filling_words as words
from loopmath import loop as tree
from loopmath.checks import InputError, OutOfRange
from loopmath.laws import bubbles, flooding
from loopmath.laws.coolant import coolant
from loopmath.passages import void_of
from loopmath.pour import Pour, basins, pour_of
from loopmath.routes import Port
from loopmath.solution import solved


@pytest.fixture(scope="module")
def booth():
    return solved(load_plan(DEMO))


# ---------------------------------------------------------------------------------------------- every plan


@each_example
def test_every_plan_fills_and_its_sums_hold(path):
    answer = solved(load_plan(path))
    found = filling.filling(answer)
    pour = found.pour
    assert found.total == pytest.approx(float(answer.state["volume"]))
    assert found.stages[-1].least == found.stages[-1].most == pytest.approx(found.total)
    assert all(one.least <= other.least for one, other in zip(found.stages[:-1], found.stages[1:], strict=True))
    assert 0 < pour.covered < pour.least <= pour.most <= found.total + 1e-9
    assert found.bursts > 0
    assert not pour.dry
    assert sum(size * n for size, n in found.bottles) >= found.buy > found.total
    for system, view in product(("metric", "us"), words.VIEWS):
        seen = words.poured(found, found.total)
        assert "nan" not in words.table(seen, view, system).to_string()
        assert not any("nan" in line for line in (*words.steps(found, system), *words.notes(found, system)))


@each_example
def test_what_is_poured_is_what_stands_in_the_loop(path):
    pour = pour_of(load_plan(path))
    before = np.zeros(len(pour.void.volume))
    for share in np.linspace(0.02, 1.0, 12):
        wet = pour.wet(pour.poured(share * pour.most))
        assert wet.sum() == pytest.approx(share * pour.most, abs=0.3e-6)  # a third of a millilitre: layers lie level
        assert np.all(wet >= before - 1e-9)
        before = wet


# ------------------------------------------------------------------------------------------- a loop by hand


def staircase(heights, fill_at=0, top=0.5, volume=1e-5, bore=0.01):
    """Return a pour into upright wells side by side, each joined to the next by an opening at a height of its own."""
    wells = len(heights) + 1
    strands = [[[0.1 * n, 0, 0.0], [0.1 * n, 0, 0.5]] for n in range(wells)]
    void = flooding.Void(
        np.array(strands, float), np.full(wells, 1e-4), np.full(wells, volume), np.arange(wells),
        np.array([(n, n + 1) for n in range(wells - 1)]), np.array([[0.1 * n, 0, h] for n, h in enumerate(heights)]),
        np.tile([1.0, 0, 0], (wells - 1, 1)), np.full(wells - 1, bore / 2),
    )  # fmt: skip
    pour = Pour.__new__(Pour)
    pour.void, pour.fill, pour.top = void, SimpleNamespace(cell=fill_at), top
    pour._all = pour._reached(basins(void))
    pour.most = float(pour.wet(pour._level(pour._all, top)).sum())
    return pour


def test_wells_fill_in_the_order_worked_by_hand():
    """
    Three wells 0.5 m deep of 10 mL each, poured into the first, openings (floor) at 0.2 m and 0.4 m.

    The first fills to 0.2 m (4 mL), runs over; the second rises to 0.2 m (8 mL), then both to 0.4 m (16 mL), then the
    third fills from below to 0.4 m (24 mL), then all to 0.5 m (30 mL).
    """
    pour = staircase([0.205, 0.405])
    for poured, hand in ((0.5, (0.5, 0, 0)), (2, (2, 0, 0)), (6, (4, 2, 0)), (8, (4, 4, 0)), (12, (6, 6, 0)),
                         (20, (8, 8, 4)), (27, (9, 9, 9)), (30, (10, 10, 10))):  # fmt: skip
        assert 1e6 * pour.wet(pour.poured(1e-6 * poured)) == pytest.approx(hand, abs=0.02), poured


def test_what_runs_over_fills_one_well_after_the_other():
    """Openings at 0.4 m and 0.3 m: the second fills to 0.3 m before the third gets any, then both rise to 0.4 m."""
    pour = staircase([0.405, 0.305])
    for poured, hand in ((8, (8, 0, 0)), (12, (8, 4, 0)), (14, (8, 6, 0)), (17, (8, 6, 3)), (20, (8, 6, 6)),
                         (22, (8, 7, 7)), (24, (8, 8, 8)), (27, (9, 9, 9))):  # fmt: skip
        assert 1e6 * pour.wet(pour.poured(1e-6 * poured)) == pytest.approx(hand, abs=0.02), poured


def test_what_is_poured_into_the_middle_runs_to_the_lower_side_first():
    """Poured into the second of four, openings at 0.3, 0.1 and 0.4 m: 2 mL there, then the third, and so on."""
    pour = staircase([0.305, 0.105, 0.405], fill_at=1)
    for poured, hand in ((2, (0, 2, 0, 0)), (3, (0, 2, 1, 0)), (12, (0, 6, 6, 0)), (15, (3, 6, 6, 0)),
                         (24, (8, 8, 8, 0)), (30, (8, 8, 8, 6))):  # fmt: skip
        assert 1e6 * pour.wet(pour.poured(1e-6 * poured)) == pytest.approx(hand, abs=0.02), poured


def test_what_lies_behind_a_rise_above_the_opening_stays_dry():
    pour = staircase([0.205, 0.405], top=0.35)
    assert 1e6 * pour.wet(pour.poured(1.0)) == pytest.approx((7, 7, 0), abs=0.02)


def test_where_the_fill_opening_lies_beyond_a_rise_the_pump_stays_dry(booth):
    """Filled at the graphics card, behind the rise of 0.39 m, by an opening 0.2 m high: nothing gets to the tank."""
    card = next(u for u in booth.plan.units(tree.Source) if u.name == "graphics card")
    port = Port("side fill", (*card.position[:2], 0.2), "up", "graphics card", purpose="fill")
    items = [i for i in booth.plan.loop.items if i.name != "fill tube"]
    routes = tuple(r for r in booth.plan.routes if r.name != "fill tube")
    plan = replace(booth.plan, loop=tree.Series(*items), routes=routes, ports=(*booth.plan.ports, port), origin=None)
    pour = pour_of(plan)
    assert pour.dry == ("pump",)
    assert np.isinf(pour.covered)
    tank = pour.owner[pour.void.cell] == "reservoir"
    assert float(pour.wet(pour.poured(pour.most))[tank].sum()) == pytest.approx(0.0, abs=1e-12)
    assert filling.filling(solved(plan)).bursts == 0


def test_a_loop_without_a_tank_says_so(booth):
    items = [i for i in booth.plan.loop.items if i.name != "reservoir"]
    found = filling.filling(solved(replace(booth.plan, loop=tree.Series(*items), ports=(), routes=(), origin=None)))
    assert found.pour.fill is None
    assert found.bursts == 0


def with_second_pump(plan, height):
    """Return the demo with another pump after its graphics card, its body 30 mm high, at a height of its middle. [m]"""
    (pump,), (card,) = plan.units(tree.PumpUnit), [u for u in plan.units(tree.Source) if u.name == "graphics card"]
    at = (card.position[0], card.position[1] - 0.06, height)
    second = replace(pump, name="second pump", position=at, size=(0.06, 0.06, 0.03))
    items = list(plan.loop.items)
    items.insert(items.index(card) + 1, second)
    return replace(plan, loop=tree.Series(*items), origin=None)


def test_every_pump_has_to_be_covered_not_only_the_first(booth):
    """
    A second pump behind the rise of 0.39 m: above the fill opening gravity never covers it; lower it may, if no air is
    locked in before it. Either way no burst is offered, and the words name it.
    """
    one = pour_of(booth.plan)
    for height in (0.17, 0.23, 0.8):
        plan = with_second_pump(booth.plan, height)
        pour = pour_of(plan)
        inlet, sides = pour._inlet(next(u for u in pour._leaves if u.name == "second pump"))
        assert (pour.pump, pour.burst) == ("pump", pytest.approx(one.burst))
        assert pour.dry == ("second pump",)
        reached = pour.poured(pour.most)[list(sides)].min() >= inlet
        assert reached == np.isfinite(pour.covered) == (height < 0.4)
        if reached:
            assert pour.covered > one.covered
            before, after = (pour.poured(v)[list(sides)].min() for v in (pour.covered - 1e-6, pour.covered))
            assert before < inlet <= after + 1e-6
        found = filling.filling(solved(plan))
        assert found.bursts == 0
        assert "second pump's inlet" in " ".join([*words.steps(found), *found.cautions])


def test_two_pumps_on_one_tank_are_spared_for_the_higher_inlet(booth):
    """Side by side on the reservoir, 150 to 350 mm: what stands over the upper inlet, less the fifth that stays."""
    (pump,) = booth.plan.units(tree.PumpUnit)
    upper = replace(pump, name="upper pump", position=(*pump.position[:2], 0.3))
    items = [tree.Parallel(i, upper) if i is pump else i for i in booth.plan.loop.items]
    pour = pour_of(replace(booth.plan, loop=tree.Series(*items), origin=None))
    (inlet, _), one = pour._inlet(upper), pour_of(booth.plan)
    assert inlet > 0.2
    assert pour.burst == pytest.approx(0.8 * 250e-6 * (0.35 - inlet) / 0.2, rel=0.02)
    assert pour.burst < one.burst


#: What turns the cube into one whose tube arches from a raised tank to a pump beside it: lines of its file.
ARCHED = {
    '["1 5/8 in", "6 in", "4 1/2 in"]': '["1 5/8 in", "6 in", "314.3 mm"]',
    '["1 5/8 in", "6 in", "1 1/4 in"]': '["140 mm", "6 in", "265 mm"]',
    'size = ["12 in", "12 in", "12 in"]': 'size = ["12 in", "12 in", "20 in"]',
    '["2 7/8 in", "6 in", "3/4 in"]': '["172 mm", "6 in", "250 mm"]',
    '["1 5/8 in", "5 in", "3 in"]': '["1 5/8 in", "5 in", "276.2 mm"]',
    '["1 5/8 in", "6 in", "6 3/4 in"]': '["1 5/8 in", "6 in", "371.4 mm"]',
    '[boxes."front fans"]': """[ports."tank out"]
position = ["66 mm", "6 in", "270 mm"]
faces = "right"
of = "reservoir"
[ports."pump in"]
position = ["140 mm", "6 in", "290 mm"]
faces = "up"
of = "pump"
[ports.vent]
position = ["6 in", "2 1/8 in", "289 mm"]
faces = "up"
of = "radiator"
purpose = "vent"
[routes."reservoir to pump"]
start = "tank out"
end = "pump in"
corners = [["82 mm", "6 in", "270 mm"], ["82 mm", "6 in", "345 mm"], ["140 mm", "6 in", "345 mm"]]
radius = "8 mm"

[boxes."front fans"]""",
    '  "pump",\n': '  { run = "reservoir to pump", length = "8 in" },\n  "pump",\n',
}


def test_an_inlet_in_locked_air_is_not_covered_though_coolant_gets_to_both_its_sides(tmp_path):
    """The inlet's crown at 290 mm; air stays in the arch from 275 mm on, the tank's outlet, on both sides of it."""
    text = CUBE.read_text(encoding="utf-8")
    for old, new in ARCHED.items():
        assert old in text
        text = text.replace(old, new, 1)
    path = tmp_path / "arch.toml"
    path.write_text(text, encoding="utf-8")
    pour = pour_of(load_plan(path))
    assert pour.inlet == pytest.approx(0.290)
    assert pour.locked.ways.level[list(pour._inlet(pour._leaves[2])[1])] == pytest.approx(0.275, abs=0.001)
    assert pour.dry == ("pump",)
    assert filling.filling(solved(load_plan(path))).bursts == 0


def test_a_vent_below_the_fill_opening_is_told_to_be_closed(booth):
    card = next(u for u in booth.plan.units(tree.Source) if u.name == "graphics card")
    port = Port("side vent", (*card.position[:2], card.position[2]), "up", "graphics card", purpose="vent")
    pour = pour_of(replace(booth.plan, ports=(*booth.plan.ports, port), origin=None))
    assert any(line.startswith("side vent lies lower than the fill opening") for line in pour.cautions)


def test_a_drain_that_stands_first_is_no_inlet(booth):
    items = list(booth.plan.loop.items)
    drain = next(i for i in items if i.name == "drain")
    items.remove(drain)
    items.insert(next(n for n, i in enumerate(items) if i.name == "pump"), drain)
    moved = pour_of(replace(booth.plan, loop=tree.Series(*items), origin=None))
    usual = pour_of(booth.plan)
    assert (moved.inlet, moved.covered) == (usual.inlet, pytest.approx(usual.covered))


@pytest.mark.parametrize("kind", [tree.PumpUnit, tree.Tank])
def test_a_guessed_place_makes_no_volume(booth, kind):
    plan = booth.plan.with_loop(lambda u: replace(u, position=None, size=None) if isinstance(u, kind) else u)
    pour = pour_of(plan)
    assert pour.seen.guessed
    assert np.isnan(pour.inlet)
    assert np.isnan(pour.covered)
    assert any("taken to be where the neighbour is" in line for line in pour.cautions)
    assert filling.filling(solved(plan)).bursts == 0


# --------------------------------------------------------------------------------------- volumes and bottles


def test_uncertainty_of_a_part_and_of_runs_of_one_tube(booth):
    rows, total, sigma = filling.volumes(booth.plan)
    assert total == pytest.approx(sum(row[2] for row in rows))
    shares = {name: share / volume for name, _, volume, share in rows if volume > 0}
    assert shares["reservoir"] == pytest.approx(0.05)
    assert shares["front radiator"] == pytest.approx(0.15)
    assert shares["pump"] == pytest.approx(0.10)
    bore = next(run.tube.bore for run in booth.plan.units(tree.Run))
    assert shares["pump to processor"] == pytest.approx(2 * 0.1e-3 / float(bore))
    # JCGM 100, 5.1.2 and 5.2.2: independent ones add as squares, what shares one cause adds as it is.
    tubes = sum(s for name, kind, _, s in rows if kind in ("run", "dead leg"))
    rest = [s for name, kind, _, s in rows if kind not in ("run", "dead leg")]
    assert sigma == pytest.approx(np.sqrt(tubes**2 + sum(s**2 for s in rest)))


def test_bottles_against_every_combination():
    for volume, sizes in ((1.6e-3, (1e-3, 5e-3)), (2.35e-3, (1e-3, 0.7e-3, 0.25e-3)), (0.9e-3, (0.5e-3, 0.3e-3))):
        counts = product(range(11), repeat=len(sizes))
        sums = [(round(sum(n * s for n, s in zip(c, sizes, strict=True)) * 1e9), sum(c)) for c in counts]
        least = min(pair for pair in sums if pair[0] >= volume * 1e9 - 1e-3)
        found = filling.bottles(volume, sizes)
        assert (round(sum(s * n for s, n in found) * 1e9), sum(n for _, n in found)) == least
    assert filling.bottles(1e-3, (1e-3,)) == ((1e-3, 1),)
    with pytest.raises(InputError):
        filling.bottles(1e-3, ())


def test_spare_and_bottles_of_the_plan_count(booth):
    found = filling.filling(booth)
    more = filling.filling(solved(replace(booth.plan, coolant_spare=1.0, bottle_sizes=(0.25e-3,))))
    assert more.buy == pytest.approx(found.buy * 2 / 1.1)
    assert [size for size, _ in more.bottles] == [0.25e-3]


# ----------------------------------------------------------------------------------------- bubbles and warmth


def test_published_speeds_and_bores():
    # 0.345 sqrt(g D) upright: Davies & Taylor 1950, Dumitrescu 1943; 0.54 sqrt(g D) level: Bendiksen 1984; from memory.
    assert float(bubbles.rise_speed(0.010)) == pytest.approx(0.108, abs=5e-4)
    assert float(bubbles.rise_speed(0.010, 0.0)) == pytest.approx(0.169, abs=5e-4)
    # (0.345 + 0.54) / sqrt 2 = 0.626 at 45 degrees, which is faster than both.
    assert float(bubbles.rise_speed(0.010, np.pi / 4)) == pytest.approx(0.626 * np.sqrt(9.80665 * 0.01), abs=5e-4)
    # Bretherton 1961, 0.842; water at 20 degC, 0.0727 N/m.
    assert float(bubbles.still_bore(998.2, 0.0727)) == pytest.approx(5.00e-3, rel=0.01)


def test_what_becomes_of_bubbles_over_many_speeds():
    speeds = np.array([0.0, 0.10, 0.12, 0.59, 0.61, np.nan])
    fates = [bubbles.STAYS] * 2 + [bubbles.SLOWLY] * 2 + [bubbles.CARRIED, bubbles.UNKNOWN]
    assert bubbles.carried(speeds, 0.108).tolist() == fates
    assert bubbles.carried(speeds[:, None], np.array([0.108, 0.7])).shape == (6, 2)
    assert bubbles.carried(0.65, 0.7) == bubbles.STAYS


def test_the_steepest_leg_is_not_the_worst():
    """Down 45 degrees a bubble rises faster than straight down, and a leg that rises counts for nothing."""
    upright, level, slant = [0, 0, -1], [1, 0, 0], [1, 0, -1]
    assert filling.steepness(np.cumsum([[0, 0, 0], upright, level], axis=0)) == pytest.approx(np.pi / 2)
    assert filling.steepness(np.cumsum([[0, 0, 0], upright, slant], axis=0)) == pytest.approx(np.pi / 4)
    assert filling.steepness(np.cumsum([[0, 0, 0], [1, 0, 1], upright], axis=0)) == pytest.approx(np.pi / 2)


def test_air_that_a_closed_tank_needs_by_the_gas_law():
    """p V / T by hand: 2.6 mL of growth, 25 to 34 degC, 101.325 kPa, 10 kPa more at most."""
    air = float(bubbles.cushion(2.6e-6, 25.0, 34.0, 101325.0, 10e3))
    before, after = 101325.0 * air / 298.15, 111325.0 * (air - 2.6e-6) / 307.15
    assert before == pytest.approx(after, rel=1e-9)
    # With air saturated over water (vapour pressure from CoolProp, IAPWS-95) each side holds less dry air.
    wet = [cp.PropsSI("P", "T", t + 273.15, "Q", 0, "Water") for t in (25.0, 34.0)]
    air = float(bubbles.cushion(2.6e-6, 25.0, 34.0, 101325.0, 10e3, wet))
    dry = (101325.0 - wet[0]) * air / 298.15, (111325.0 - wet[1]) * (air - 2.6e-6) / 307.15
    assert dry[0] == pytest.approx(dry[1], rel=1e-9)
    assert bubbles.cushion(2.6e-6, 20.0, 60.0, 101325.0, 10e3) == np.inf  # 40 K alone make 13.8 kPa
    with pytest.raises(InputError):
        bubbles.cushion(1e-6, 20.0, 30.0, 0.0, 1e4)


def test_a_slow_pump_leaves_bubbles_and_a_rule_says_so(booth):
    """At a seventh of its speed the demo's pump moves nothing; at a quarter 0.149 m/s against 0.108 m/s of a bubble."""

    def warned(speed):
        found = filling.filling(solved(booth.plan.set(pump_speed=speed)))
        rows = {w.where for w in found.warned() if w.quantity == "coolant against the rise of bubbles"}
        return rows, {d.run for d in found.descents if d.words == bubbles.STAYS}

    told, stay = warned(0.15)
    assert told == stay != set()
    assert warned(0.25) == warned(1.0) == (set(), set())


def test_the_warmest_coolant_is_that_of_peak_heat(booth):
    peak = solved(booth.plan.set(load="peak"))
    assert filling.filling(booth).warm == pytest.approx(float(peak.state["coolant_warmest"]))
    assert filling.filling(booth).warm > float(booth.state["coolant_warmest"])


def test_tubes_so_narrow_that_bubbles_stand_in_them_are_named(booth):
    """Water at 25 degC: 5.0 mm (Bretherton 1961, from memory)."""
    for bore, told in (("4.5 mm", True), ("6 mm", False)):
        found = filling.filling(solved(booth.plan.set(bore=bore)))
        assert any(line.startswith("Bubbles stand still in tubes this narrow") for line in found.cautions) == told


def test_a_fall_is_along_the_flow():
    assert filling.fall([0.0, 0.3, 0.1, 0.2, 0.05]) == pytest.approx(0.25)
    assert filling.fall([0.0, 0.1, 0.3]) == 0.0
    assert filling.fall([0.3, 0.1, 0.0]) == pytest.approx(0.3)


def test_water_grows_as_an_equation_of_state_says(booth):
    def density(warm):
        return cp.PropsSI("D", "T", warm + 273.15, "P", 101325, "Water")

    grown = 1e-3 + bubbles.growth(1e-3, 20.0, np.array([40.0, 60.0]), coolant("water"))
    assert grown == pytest.approx([1e-3 * density(20) / density(t) for t in (40, 60)], rel=1e-3)
    # The growth itself, which is a small difference of large numbers.
    assert grown[1] - 1e-3 == pytest.approx(1e-3 * (density(20) / density(60) - 1), rel=0.03)
    warmer = filling.filling(booth, warmest=55.0)
    assert warmer.growth > filling.filling(booth, warmest=40.0).growth > 0
    tank = booth.plan.units(tree.Tank)[0]
    assert warmer.air > warmer.growth
    assert warmer.room == pytest.approx(warmer.air / float(tank.volume()) * tank.size[2])
    with pytest.raises(OutOfRange):
        filling.filling(booth, warmest=150.0)


def test_the_column_is_the_height_of_the_fill_opening_over_the_lowest_place(booth):
    found = filling.filling(booth)
    seen = void_of(booth.plan)
    at = max(e.at[2] for e in seen.exits_for("fill"))
    height = at - seen.void.spans(flooding.UP)[0].min()
    density = cp.PropsSI("D", "T", found.cold + 273.15, "P", 101325, "Water")
    # The demo's coolant is a tenth glycol: 1 to 2 % denser than water.
    assert found.column == pytest.approx(1.013 * density * 9.80665 * height, rel=0.015)


# ------------------------------------------------------------------------------------------------- bad input


def test_one_design_only():
    with pytest.raises(InputError):
        filling.filling(solved(load_plan(DEMO).set(room_air=np.array([20.0, 25.0]))))


def test_a_plan_without_an_opening_says_so():
    found = filling.filling(solved(replace(load_plan(CUBE), ports=(), routes=(), origin=None)))
    assert any("states no opening to fill by" in line for line in found.cautions)
    assert found.unlaid
    assert not found.descents


@pytest.mark.parametrize("kind", [tree.Tank, tree.Element])
def test_a_tank_without_a_place_is_told_and_the_pump_is_not_to_run(kind):
    plan = load_plan(CUBE).with_loop(lambda leaf: replace(leaf, position=None) if isinstance(leaf, kind) else leaf)
    found = filling.filling(solved(plan))
    assert found.bursts == 0
    told = [*words.steps(found), *words.notes(found)]
    for view, poured in product(words.VIEWS, (0.0, found.total)):
        told += [words.sentence(words.poured(found, poured), view), words.alt(words.poured(found, poured), view)]
    assert not any("nan" in line for line in told)
    assert any("not known" in line for line in told)
    assert any("do not run the pump" in line.lower() for line in told)
