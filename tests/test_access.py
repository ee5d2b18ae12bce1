"""How each part is reached: the least that comes out before it, and coolant that runs out, worked out by hand."""

from dataclasses import replace
from functools import cache
from itertools import combinations

import numpy as np
import pytest
from examples import CUBE, DEMO, SUITE, each_example

from loopmath import access, catalogue, load_plan
from loopmath import loop as tree
from loopmath.access import POINTS, accesses, comes_first, lost
from loopmath.checks import InputError
from loopmath.laws import coolant as coolants
from loopmath.laws import flooding
from loopmath.passages import void_of
from loopmath.plan import Plan
from loopmath.routes import Port, Route
from loopmath.ways_out import Way


@cache
def plan_of(path):
    return load_plan(path)


# ----------------------------------------------------------------------------------------------------- a U of tube

TUBE = catalogue.part("tube", "EPDM 13/10 mm")
#: Heights of its ports. [m]
FOOT, LOW, HIGH, TOP = 0.06, 0.17, 0.19, 0.30
#: What a metre of the tube holds. [m3]
EACH = np.pi / 4 * float(TUBE.bore) ** 2


def u_of_tube(drain_of="", drain_at=0.05, drain_faces="down"):
    """
    A tank on top, a pump at the foot, a block in the rising leg; all ports face up or down, so heights are plain.

    The falling tube goes from 300 mm to 60, the rising ones from 60 to 170 and from 190 to 300.
    """
    leaves = [
        tree.Tank("tank", catalogue.part("reservoir", "tube reservoir, 150 mL"), position=(0.1, 0.1, 0.35),
                  size=(0.1, 0.04, 0.1)),
        tree.Run("falling", TUBE, TOP - FOOT),
        tree.PumpUnit("pump", catalogue.part("pump", "compact pump, 2.4 m"), position=(0.1, 0.1, 0.05),
                      size=(0.1, 0.04, 0.02), passage=((0.05, 0.1, 0.05), (0.15, 0.1, 0.05))),
        tree.Run("rising", TUBE, LOW - FOOT),
        tree.Source("block", catalogue.part("block", "processor block, coarse fins"), position=(0.15, 0.1, 0.18),
                    size=(0.02, 0.02, 0.02)),
        tree.Run("back", TUBE, TOP - HIGH),
    ]  # fmt: skip
    ports = [
        Port("tank out", (0.05, 0.1, TOP), "down", "tank"),
        Port("pump in", (0.05, 0.1, FOOT), "up", "pump"),
        Port("pump out", (0.15, 0.1, FOOT), "up", "pump"),
        Port("block in", (0.15, 0.1, LOW), "down", "block"),
        Port("block out", (0.15, 0.1, HIGH), "up", "block"),
        Port("tank in", (0.15, 0.1, TOP), "down", "tank"),
        Port("lid", (0.1, 0.1, 0.4), "up", "tank", purpose="fill"),
    ]
    if drain_of:
        ports.append(Port("tap", (0.1, 0.1, drain_at), drain_faces, drain_of, purpose="drain"))
    ends = [("falling", "tank out", "pump in"), ("rising", "pump out", "block in"), ("back", "block out", "tank in")]
    return Plan(
        title="a U",
        loop=tree.Series(*leaves),
        coolant=coolants.coolant("water"),
        ports=tuple(ports),
        routes=tuple(Route(name, start, end) for name, start, end in ends),
    )


def content(plan):
    return {leaf.name: float(leaf.volume()) for leaf in tree.leaves(plan.loop)}


def test_a_part_at_the_foot_lets_all_coolant_out():
    plan = u_of_tube()
    assert lost(plan, "pump")[0] == pytest.approx(sum(content(plan).values()), rel=1e-6)


def test_a_part_at_the_top_lets_out_only_what_it_holds_itself():
    """Both tubes end open at 300 mm and stand full."""
    plan = u_of_tube()
    assert lost(plan, "tank")[0] == pytest.approx(content(plan)["tank"], rel=1e-6)


def test_a_part_half_way_up_lets_out_what_stands_over_its_openings_in_both_legs():
    """
    Opened at 170 and 190 mm: the tank, the tube over it, the block, and of the falling tube what stands over 170 mm,
    for that pushes over by way of the pump: 130 of its 240 mm.
    """
    plan, held = u_of_tube(), content(u_of_tube())
    by_hand = held["tank"] + held["back"] + held["block"] + EACH * (TOP - LOW)
    assert lost(plan, "block")[0] == pytest.approx(by_hand, rel=1e-6)


def test_a_tube_that_is_opened_lets_out_what_stands_over_its_lower_end():
    """The rising tube between 60 and 170 mm: all that is over 60 mm in the falling leg too, but not the pump."""
    plan, held = u_of_tube(), content(u_of_tube())
    assert lost(plan, "rising")[0] == pytest.approx(sum(held.values()) - held["pump"], rel=1e-6)
    assert lost(plan, "back")[0] == pytest.approx(held["tank"] + held["back"] + EACH * (TOP - HIGH), rel=1e-6)


def test_a_full_tube_may_draw_the_tank_down_over_a_rise():
    """
    The demo's card, joints at 180 mm, behind a rise 390 mm high: the tank, 250 mL from 150 to 350 mm, stays by level,
    and may be drawn down to 180 mm less the tube's radius: at least 85 % of it more runs out, and nothing under 175 mm.
    """
    plan = plan_of(DEMO)
    by_level, siphoned, *_ = lost(plan, "graphics card")
    assert siphoned - by_level >= 0.85 * 250e-6
    void = void_of(plan).void
    assert siphoned <= float(flooding.above(void, flooding.UP, np.full(void.cells, 0.175)).sum()) + 32e-6


def test_where_nothing_rises_a_siphon_takes_no_more():
    plan = u_of_tube()
    for name in ("tank", "pump", "rising", "block"):
        by_level, siphoned, *_ = lost(plan, name)
        assert siphoned == pytest.approx(by_level, rel=1e-6)


def test_after_a_drain_at_the_low_point_nothing_runs_out_any_more():
    plan = u_of_tube("pump", 0.04)
    for name in content(plan):
        assert lost(plan, name)[2] == pytest.approx(0.0, abs=1e-9)
        assert lost(plan, name)[0] == lost(u_of_tube(), name)[0]


def test_after_a_drain_at_the_foot_of_the_tank_the_tubes_still_run_out():
    plan, held = u_of_tube("tank", TOP), content(u_of_tube())
    rest = sum(held.values()) - held["tank"]
    assert lost(plan, "pump")[2] == pytest.approx(rest, rel=1e-6)
    assert lost(plan, "tank")[2] == pytest.approx(0.0, abs=1e-9)
    by_hand = held["block"] + held["back"] + EACH * (TOP - LOW)
    assert lost(plan, "block")[2] == pytest.approx(by_hand, rel=1e-6)


def test_without_a_drain_nobody_knows_what_is_left_after_draining():
    assert np.isnan(lost(u_of_tube(), "block")[2])


def test_quick_release_pairs_on_both_sides_leave_only_what_is_between_them():
    """In the suite both cards hang between the pairs; nothing of the rest runs out of an opened card."""
    plan = plan_of(SUITE)
    tubes = {f"{way} of {side} card" for way in ("in", "out") for side in ("left", "right")}
    between = {"left card", "right card", *tubes}
    whole = {leaf.name: float(leaf.volume()) for leaf in tree.leaves(plan.loop)}
    for name in between:
        out, _, _, pairs = lost(plan, name)
        assert pairs == ("quick release in", "quick release out")
        assert whole[name] <= out <= sum(whole[n] for n in between) + 1e-9
    for name in ("processor", "bottom radiator", "reservoir"):
        assert lost(plan, name)[3] == ()
    one_less = plan.with_loop(
        lambda leaf: (
            replace(leaf, inline=catalogue.part("inline", "filter, coarse mesh"))
            if leaf.name == "quick release out"
            else leaf
        )
    )
    assert lost(one_less, "left card")[3] == ()
    assert lost(one_less, "left card")[0] > 3 * lost(plan, "left card")[0]


def test_a_quick_release_pair_itself_lets_nothing_out():
    assert lost(plan_of(SUITE), "quick release in")[:3] == (0.0, 0.0, 0.0)


def test_an_unknown_part_is_refused():
    with pytest.raises(InputError, match="part"):
        lost(plan_of(DEMO), "prozessor")


# --------------------------------------------------------------------------------------------- what comes out first


def random_ways(seed, many=7):
    rng = np.random.default_rng(seed)
    names = [f"thing {n}" for n in range(many)]
    ways = {}
    for name in names:
        others = [other for other in names if other != name]
        some = [rng.choice(others, int(rng.integers(0, 4)), replace=False) for _ in range(int(rng.integers(0, 4)))]
        ways[name] = tuple(Way(f"way {n}", frozenset(map(str, each))) for n, each in enumerate(some))
    return names, ways


def comes_out(ways, name, allowed):
    """Return True if something comes out when only some others may be taken out before."""
    out = set()
    while True:
        free = {n for n in {*allowed, name} - out if any(way.blockers <= out for way in ways[n])}
        if not free:
            return name in out
        out |= free


@pytest.mark.parametrize("seed", range(60))
def test_what_comes_out_first_is_the_least_there_is_and_in_an_order_that_works(seed):
    names, ways = random_ways(seed)
    for name in names:
        others = [other for other in names if other != name]
        least = next(
            (k for k in range(len(names)) if any(comes_out(ways, name, some) for some in combinations(others, k))), None
        )
        found = comes_first(ways, name)
        if found is None:
            assert least is None
            continue
        order, way = found
        assert len(order) == least == len(set(order))
        for n, one in enumerate((*order, name)):
            assert any(w.blockers <= set(order[:n]) for w in ways[one])
        assert any(w.way == way and w.blockers <= set(order) for w in ways[name])


def test_the_tubes_of_a_part_come_out_before_it():
    reached = {one.name: one for one in accesses(plan_of(DEMO))}
    assert set(reached["processor"].first) == {"pump to processor", "processor to graphics card"}
    assert reached["pump to processor"].first == ()
    assert "reservoir" in reached["pump"].first
    tubes = [n for n in reached["pump"].first if n in reached and reached[n].kind == "run"]
    assert all(reached["pump"].first.index(n) < reached["pump"].first.index("reservoir") for n in tubes[1:])


# ------------------------------------------------------------------------------------------------------- the score


@each_example
def test_the_terms_of_the_score_are_all_there_and_sum_up(path):
    plan = plan_of(path)
    total = sum(float(leaf.volume()) for leaf in tree.leaves(plan.loop))
    for one in accesses(plan):
        assert list(one.points) == list(POINTS)
        if np.isnan(one.lost):
            assert np.isnan(one.score)
            continue
        assert one.score == pytest.approx(sum(one.points.values()))
        assert all(-1e-9 <= one.points[term] <= most for term, most in POINTS.items())
        assert 0 <= one.lost <= one.siphoned * (1 + 1e-9) <= total * (1 + 1e-6)
        assert one.points["in the way"] == max(50 - 10 * len(one.first), 0)
        assert one.points["lost undrained"] == pytest.approx(25 * (1 - one.lost / total))
        if not np.isnan(one.drained):
            assert 0 <= one.drained <= one.lost + 1e-9
        if one.name not in one.shut_off:
            assert one.lost >= one.content - 1e-9
    assert sum(POINTS.values()) == 100


def test_what_has_no_place_is_not_judged():
    reached = {one.name: one for one in accesses(plan_of(SUITE))}
    assert "tees of left card" not in void_of(plan_of(SUITE)).owner
    assert np.isnan(reached["tees of left card"].lost)


def test_a_plan_without_a_drain_goes_by_what_is_lost_undrained():
    for one in accesses(plan_of(CUBE)):
        assert np.isnan(one.drained)
        assert one.points["lost drained"] == pytest.approx(15 / 25 * one.points["lost undrained"])


def test_the_formula_and_what_is_assumed_are_said_in_words():
    for number in ("50", "10", "25", "15"):
        assert number in access.FORMULA
    assert "fill opening is open" in access.ASSUMED
