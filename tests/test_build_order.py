"""In which order a loop is built: every reason kept, every contradiction told, orders a builder would agree with."""

from dataclasses import replace
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from examples import CUBE, DEMO, SUITE, each_example

from loopmath import build_order as building
from loopmath import load_plan, ways_out
from loopmath import loop as tree
from loopmath.build_order import (
    FILL,
    FIRM,
    HABIT,
    OWN,
    POWER,
    SPACE,
    TEST,
    TRADE,
    TUBE,
    WISH,
    Before,
    build_order,
    shortest_ring,
    sorted_out,
)
from loopmath.checks import InputError
from loopmath.plansave import save_plan
from loopmath.routes import Box


@cache
def plan_of(path):
    return load_plan(path)


def wanting(path, *pairs):
    return replace(plan_of(path), before=pairs, origin=None)


def kept(order, constraints):
    place = {name: n for n, name in enumerate(order)}
    return all(place[one.first] < place[one.second] for one in constraints)


def random_constraints(seed, acyclic, many=9):
    rng = np.random.default_rng(seed)
    names, out = [f"step {n}" for n in range(many)], []
    hidden = rng.permutation(many)
    for _ in range(int(rng.integers(0, 3 * many))):
        a, b = (int(n) for n in rng.choice(many, 2, replace=False))
        if acyclic and hidden[a] > hidden[b]:
            a, b = b, a
        out.append(Before(names[a], names[b], f"reason {len(out)}", firm=int(rng.integers(0, 4))))
    return names, out


# --------------------------------------------------------------------------------------------------- the sorting


@pytest.mark.parametrize("seed", range(40))
def test_without_contradiction_every_constraint_holds_and_a_further_one_drops_no_step(seed):
    names, constraints = random_constraints(seed, acyclic=True)
    order, held, against = sorted_out(names, constraints)
    assert sorted(order) == sorted(names)
    assert held == constraints
    assert not against
    assert kept(order, constraints)
    assert sorted_out(names, constraints) == (order, held, against)
    for one, other in pairwise(order):
        again, _, _ = sorted_out(names, [*constraints, Before(other, one, "the other way", OWN, firm=WISH)])
        assert sorted(again) == sorted(names)


def length_of_shortest_ring(names, constraints):
    """The least power of the table of neighbours with a step that leads back to itself; 0 if there is none."""
    table = np.zeros((len(names),) * 2, dtype=int)
    for one in constraints:
        table[names.index(one.first), names.index(one.second)] = 1
    power = np.eye(len(names), dtype=int)
    for length in range(1, len(names) + 1):
        power = np.minimum(power @ table, 1)
        if np.trace(power):
            return length
    return 0


@pytest.mark.parametrize("seed", range(60))
def test_a_ring_that_is_told_is_a_true_one_and_the_shortest(seed):
    names, constraints = random_constraints(seed, acyclic=False)
    ring = shortest_ring(constraints)
    assert len(ring) == length_of_shortest_ring(names, constraints)
    assert all(one in constraints for one in ring)
    assert all(one.second == after.first for one, after in zip(ring, [*ring[1:], *ring[:1]], strict=True))


@pytest.mark.parametrize("seed", range(60))
def test_of_each_ring_the_weakest_goes_and_the_rest_still_has_an_order(seed):
    names, constraints = random_constraints(seed, acyclic=False)
    order, held, against = sorted_out(names, constraints)
    assert sorted(order) == sorted(names)
    assert kept(order, held)
    gone = {(one.given_up.first, one.given_up.second) for one in against}
    assert [c for c in constraints if (c.first, c.second) not in gone] == held
    for one in against:
        assert one.given_up in one.ring
        assert one.given_up.firm == min(c.firm for c in one.ring)
        assert all(c.why in one.words for c in one.ring)


def test_a_constraint_with_a_firm_reason_beside_a_weak_one_counts_as_firm():
    constraints = [
        Before("a", "b", "a wish", OWN, firm=WISH),
        Before("a", "b", "a fact", firm=FIRM),
        Before("b", "a", "a habit", firm=HABIT),
    ]
    _, held, [only] = sorted_out("ab", constraints)
    assert only.given_up.why == "a habit"
    assert held == constraints[:2]


def test_of_steps_that_are_free_the_one_of_least_key_comes_first_then_the_one_named_first():
    assert sorted_out("abcd", [Before("d", "a", "")], {"a": 0, "b": 2, "c": 1, "d": 2}.get)[0] == ["c", "b", "d", "a"]


# ------------------------------------------------------------------------------------------------------ the plans


@each_example
def test_the_example_plans_have_an_order_that_keeps_every_constraint(path):
    order = build_order(plan_of(path))
    names = order.names
    assert len(set(names)) == len(names)
    assert not order.contradictions
    assert {leaf.name for leaf in tree.leaves(plan_of(path).loop)} <= set(names)
    assert kept(names, order.constraints)
    assert all(one.why and one.source for one in order.constraints)
    for step in order.steps:
        assert step.what.endswith(".")
        assert step.why.endswith(".")
        assert "!" not in step.what + step.why


@each_example
def test_the_order_of_a_plan_is_the_same_whenever_it_is_asked_for(path):
    first = build_order(plan_of(path))
    for made in (building.build_order, ways_out.ways_out, ways_out.space_of):
        made.cache_clear()
    assert [(s.name, s.why, s.cautions) for s in build_order(load_plan(path)).steps] == [
        (s.name, s.why, s.cautions) for s in first.steps
    ]


@each_example
def test_habits_of_the_trade(path):
    """Common practice, no source: both ends before a tube, test before coolant and power, panels last."""
    plan, names = plan_of(path), build_order(plan_of(path)).names
    place = {name: n for n, name in enumerate(names)}
    for tube, parts in ways_out.ends_of(plan).items():
        assert len(parts) >= 1
        assert all(place[part] < place[tube] for part in parts)
        assert place[tube] < place[TEST] < place[FILL] < place[POWER]
    panels = [box.name for box in plan.boxes if box.must_open]
    assert set(names[-len(panels) :]) == set(panels)
    assert next(s for s in build_order(plan).steps if s.name == TEST).cautions


def test_runs_end_on_parts_that_ports_or_the_flow_order_name():
    ends = ways_out.ends_of(plan_of(SUITE))
    assert set(ends["pump to filter"]) == {"drain valve", "filter"}
    assert set(ends["in of left card"]) == {"tees of left card", "left card"}
    assert ends["drain"] == ("pump",)
    assert set(ways_out.ends_of(plan_of(CUBE))["radiator to reservoir"]) == {"radiator", "reservoir"}


def test_the_farther_card_goes_in_before_the_one_that_would_stand_before_it():
    """In the suite only the left panel opens: right card at x = 195 to 225 mm stands behind left card at 105 to 135."""
    plan = plan_of(SUITE)
    names = build_order(plan).names
    assert names.index("right card") < names.index("left card")
    assert any(
        one[:2] == ("right card", "left card") and one.source == SPACE and one.kind == building.BLOCKS
        for one in build_order(plan).constraints
    )
    turned = [replace(b, opens="right", corner=(0.3, 0.0, 0.0)) if b.name == "left panel" else b for b in plan.boxes]
    free = build_order(replace(plan, boxes=tuple(turned), origin=None))
    assert not any(one[:2] == ("right card", "left card") for one in free.constraints)


def test_what_stands_on_another_goes_in_after_it_and_comes_out_before_it():
    """In the booth the reservoir begins at 150 mm, where the pump ends."""
    names = build_order(plan_of(DEMO)).names
    assert names.index("pump") < names.index("reservoir")
    assert all("reservoir" in way.blockers for way in ways_out.ways_out(plan_of(DEMO))["pump"])


def test_a_panel_with_holes_is_drilled_first_and_a_radiator_brings_its_fans():
    first, second = build_order(plan_of(SUITE)).steps[:2]
    assert first.name == "holes in mid plate"
    assert all(tube in first.what for tube in ("pump to filter", "cards to bottom radiator"))
    assert second.name == building.CASE
    assert "board" in second.what
    assert "fans" not in second.what
    radiator = next(s for s in build_order(plan_of(SUITE)).steps if s.name == "top radiator")
    assert "top fans" in radiator.what


def test_a_box_in_the_way_of_a_part_is_named_and_one_beside_the_way_is_not():
    """The processor of the booth is at y = 255 to 345, z = 345 to 435 mm, and leaves to the left."""
    plan = plan_of(DEMO)

    def blockers(y):
        box = Box("a shelf", (0.1, y, 0.38), (0.02, 0.02, 0.02))
        ways = ways_out.ways_out(replace(plan, boxes=(*plan.boxes, box), origin=None))["processor"]
        return [way for way in ways if way.way == "left"], ways

    straight, ways = blockers(0.30)
    assert all("a shelf" in way.blockers for way in straight)
    assert all("a shelf" in way.blockers or ", then " in way.way for way in ways)
    straight, _ = blockers(0.36)
    assert straight
    assert "a shelf" not in straight[0].blockers


def test_a_fitting_that_others_will_stand_before_is_marked():
    order = build_order(plan_of(DEMO))
    names = order.names
    marked = [step for step in order.steps if step.hidden_by]
    assert marked
    for step in marked:
        assert all(names.index(other) > names.index(step.name) for other in step.hidden_by)
        assert any("Tighten and check it now" in words for words in step.cautions)


def test_soft_tube_without_ways_is_ordered_by_the_trade_alone_and_told():
    order = build_order(plan_of(CUBE))
    assert sum("has no way in the plan" in words for words in order.missing) == 3
    assert [s.kind for s in order.steps].count(TUBE) == 3
    assert all(one.source != SPACE or one.first not in ways_out.ends_of(plan_of(CUBE)) for one in order.constraints)


# ----------------------------------------------------------------------------------------------- the builder's own


def test_a_wish_is_kept_where_it_can_be():
    order = build_order(wanting(DEMO, ("top radiator", "front radiator"), ("processor", "graphics card")))
    names = order.names
    assert names.index("top radiator") < names.index("front radiator")
    assert names.index("processor") < names.index("graphics card")
    assert [one.why for one in order.constraints if one.source == OWN] == ["you asked for it"] * 2
    assert "you asked for it" in next(s.why for s in order.steps if s.name == "front radiator")


def test_a_wish_may_name_a_box_which_then_is_a_step_of_its_own():
    order = build_order(wanting(SUITE, ("bottom radiator", "power supply", "its leads lie over the radiator")))
    assert order.names.index("bottom radiator") < order.names.index("power supply") < order.names.index(TEST)
    assert "power supply" not in next(s.what for s in order.steps if s.name == building.CASE)
    assert any(one.why == "its leads lie over the radiator" for one in order.constraints)


def test_a_wish_that_contradicts_is_given_up_and_told():
    order = build_order(wanting(DEMO, ("pump to processor", "pump"), ("top radiator", "front radiator")))
    [only] = order.contradictions
    assert (only.given_up.first, only.given_up.second) == ("pump to processor", "pump")
    assert "the weakest is pump to processor before pump" in only.words
    assert sorted(order.names) == sorted(build_order(plan_of(DEMO)).names)
    assert order.names.index("top radiator") < order.names.index("front radiator")
    assert kept(order.names, order.constraints)


@each_example
def test_no_wish_drops_a_step_and_none_puts_power_before_the_leak_test(path):
    names = build_order(plan_of(path)).names
    against = [(b, a) for a, b in pairwise(names)]
    order = build_order(wanting(path, *against))
    assert sorted(order.names) == sorted(names)
    assert order.names.index(TEST) < order.names.index(POWER)
    assert all(one.given_up.source == OWN for one in order.contradictions)


@pytest.mark.parametrize(
    ("pair", "words"),
    [
        (("top radiator", "top fans"), "two different steps"),
        (("pumpe", "reservoir"), "'pump'"),
    ],
)
def test_a_wish_that_makes_no_sense_is_refused(pair, words):
    with pytest.raises(InputError, match="before, pair 1") as refused:
        build_order(wanting(DEMO, pair))
    assert words in str(refused.value)


@pytest.mark.parametrize("pair", [("pump",), "pump", ("pump", "pump"), ("pump", "drain", "why", "more")])
def test_a_wish_that_is_no_pair_is_no_plan(pair):
    with pytest.raises(InputError, match="two different names"):
        wanting(DEMO, pair)


def test_a_wish_stands_in_the_plan_file_and_comes_back(tmp_path):
    wishes = (("drain", "front radiator", "no hand fits there later"), ("pump", "reservoir"))
    path = tmp_path / "mine.toml"
    save_plan(replace(plan_of(DEMO), before=wishes), path)
    assert load_plan(path).before == wishes
    assert '["drain", "front radiator", "no hand fits there later"]' in path.read_text("utf-8")
    reasons = [c.why for c in build_order(load_plan(path)).constraints]
    assert "no hand fits there later" in reasons


def test_of_many_designs_none_is_built():
    with pytest.raises(InputError, match="one design"):
        build_order(plan_of(DEMO).set(clearance=np.array([0.003, 0.004])))


def test_reasons_of_the_trade_say_that_they_have_no_source():
    assert TRADE == "common practice, no source"
    assert {one.source for one in build_order(plan_of(DEMO)).constraints if one.firm == FIRM} == {TRADE}
