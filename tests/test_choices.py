"""What to cool: every choice keeps heat, books and the rest of the machine; tables say what direct solves say."""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from examples import DEMO, EXAMPLES, SUITE
from hypothesis import HealthCheck, assume, given, settings
from random_plans import plans

from loopmath import InputError, catalogue, choices, ledger, load_plan, parts_list, tables
from loopmath import loop as tree
from loopmath.case import AirPart
from loopmath.choices import candidates, cooled, marginal, money, plumbing, what_to_cool
from loopmath.plan import BALANCE, GIVEN
from loopmath.solution import solved

WORKSHOP = tables.DATA / "plans" / "quiet_workshop.toml"
CUBE = tables.DATA / "plans" / "reading_cube.toml"
TUBE = catalogue.part("tube", "PETG 14/10 mm")
TEE = catalogue.part("fitting", "tee, into the branch")


def nested():
    """Return the demo with both blocks and a third in groups inside of a group, dead legs among them."""
    plan = load_plan(DEMO)
    processor, card = plan.units(tree.Source)
    third = replace(card, name="third", heat=60.0)

    def run(name):
        return tree.Run(name, TUBE, 0.1)

    inner = tree.Parallel(
        tree.Series(tree.Fittings("tees b", TEE, 2), run("b in"), card, run("b out")),
        tree.Series(tree.Fittings("tees c", TEE, 2), third, run("c out"), tree.DeadLeg("leg", TUBE, 0.1, "drain")),
    )
    outer = tree.Parallel(
        tree.Series(tree.Fittings("tees a", TEE, 2), processor, run("a out")),
        tree.Series(tree.Fittings("tees d", TEE, 2), run("to group"), inner, run("from group")),
    )
    items = [item for item in plan.loop.items if item.name not in (processor.name, card.name)]
    place = next(i for i, item in enumerate(items) if item.name == "processor to graphics card")
    return replace(plan, loop=tree.Series(*items[:place], outer, *items[place:]))


PLANS = {
    **{path.stem: lambda path=path: load_plan(path) for path in EXAMPLES},
    "suite in series": lambda: load_plan(SUITE).set(layout="series"),
    "workshop in parallel": lambda: load_plan(WORKSHOP).set(layout="parallel"),
    "nested": nested,
}
each_plan = pytest.mark.parametrize("name", PLANS)


def subsets(names, least=1):
    return [s for many in range(least, len(names) + 1) for s in combinations(names, many)]


def heat_of(plan):
    return sum(float(p.heat) for p in (*plan.units(tree.Source), *plan.on_air))


def rest(plan):
    """Return everything but blocks, runs, and the tees of groups."""
    skipped = (tree.Source, tree.Run)
    return [e for e in tree.leaves(plan.loop) if not isinstance(e, skipped) and not choices._is_tee(e)]


# ------------------------------------------------------------------------------------------------ every choice


@each_plan
def test_every_choice_keeps_the_heat_cools_what_was_chosen_and_closes_its_books(name):
    plan = PLANS[name]()
    for chosen in subsets([c.name for c in candidates(plan)]):
        new = cooled(plan, chosen)
        assert {s.name for s in new.units(tree.Source)} == set(chosen)
        assert heat_of(new) == pytest.approx(heat_of(plan), abs=1e-9)
        assert new.case_air_by == BALANCE
        answer = solved(new)
        assert answer.plight == ""
        assert abs(float(sum(ledger.energy(answer).values()))) < 1e-6


@each_plan
def test_the_plans_own_choice_is_the_plan_with_its_case_balanced(name):
    plan = PLANS[name]()
    new = cooled(plan, [s.name for s in plan.units(tree.Source)])
    assert [*tree.leaves(new.loop)] == [*tree.leaves(plan.loop)]
    assert {p.name: p.heat for p in new.on_air} == {p.name: p.heat for p in plan.on_air}
    there, here = solved(new).state, solved(replace(plan, case_air_by=BALANCE)).state
    assert {k: float(v) for k, v in there.items()} == pytest.approx({k: float(v) for k, v in here.items()}, abs=1e-9)


@each_plan
def test_in_then_out_then_in_again_keeps_the_rest(name):
    plan = PLANS[name]()
    names = [c.name for c in candidates(plan)]
    everything = cooled(plan, names)
    for out in names if len(names) > 1 else ():
        without = cooled(everything, [n for n in names if n != out])
        again = cooled(without, names)
        assert [e.name for e in rest(without) if not isinstance(e, tree.DeadLeg)] == [
            e.name for e in rest(everything) if not isinstance(e, tree.DeadLeg)
        ]
        assert {e.name for e in rest(without)} == {e.name for e in rest(everything)}  # dead legs may move behind
        assert {e.name for e in rest(again)} == {e.name for e in rest(everything)}
        assert {(s.name, s.block.name, s.heat, s.limit, s.peak_heat) for s in again.units(tree.Source)} == {
            (s.name, s.block.name, s.heat, s.limit, s.peak_heat) for s in everything.units(tree.Source)
        }
        assert [p.name for p in again.on_air] == [p.name for p in everything.on_air]
        assert heat_of(again) == pytest.approx(heat_of(plan), abs=1e-9)


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(plans())
def test_any_plan_gives_any_part_back_to_the_air_or_to_the_loop(plan):
    listed = candidates(plan)
    assume(listed)
    # Joined runs may be longer, or bent more often, than one run may be; that is refused, and no case here.
    runs = plan.units(tree.Run)
    assume(plan.tube is not None or runs)
    assume(all(sum(getattr(run, key) for run in runs) < run_range[1] for key, run_range in tree.Run.RANGES.items()))
    for chosen in (listed[:1], listed[1::2] or listed, listed):
        new = cooled(plan, [c.name for c in chosen])
        assert {s.name for s in new.units(tree.Source)} == {c.name for c in chosen}
        assert heat_of(new) == pytest.approx(heat_of(plan), rel=1e-12)
        for kind in (tree.PumpUnit, tree.Tank, tree.RadiatorUnit, tree.DeadLeg):
            assert {e.name for e in new.units(kind)} == {e.name for e in plan.units(kind)}


# ----------------------------------------------------------------------------------------------------- surgery


def test_two_runs_become_one_with_two_straight_fittings_fewer():
    plan = load_plan(DEMO)
    new = cooled(plan, "graphics card")
    names = [e.name for e in tree.leaves(new.loop)]
    assert names[3:6] == ["drain", "pump to graphics card", "graphics card"]
    run = next(e for e in tree.leaves(new.loop) if e.name == "pump to graphics card")
    # As they are laid: legs of 471 and of 412 mm in all, each with 2 bends round 28 mm that cut their corners.
    length = 0.471 + 0.412 - 4 * 0.028 * (2 - np.pi / 2)
    assert (run.length, run.bends, run.fittings, run.ends) == (pytest.approx(length, rel=1e-12), 4.0, 0.0, 2.0)
    assert (run.laid, new.paths.keys()) == (None, plan.paths.keys() - {r.name for r in plan.routes[:2]})
    assert [route.parallel_to for route in new.routes] == [()] * 5
    assert plumbing(plan)["tube [m]"] == pytest.approx(plumbing(new)["tube [m]"])
    assert plumbing(plan)["tube ends"] - plumbing(new)["tube ends"] == 2.0


def test_a_part_joins_behind_the_last_block_with_a_run_of_its_own():
    new = cooled(load_plan(WORKSHOP), ["graphics card", "processor", "memory"])
    names = [e.name for e in tree.leaves(new.loop)]
    at = names.index("processor")
    assert names[at : at + 4] == ["processor", "processor to memory", "memory", "processor to top radiator"]
    run = next(e for e in tree.leaves(new.loop) if e.name == "processor to memory")
    assert (run.length, run.bends, run.tube.name) == (choices.RUN_LENGTH, choices.RUN_BENDS, "PETG 13/10 mm")


def test_the_only_block_may_be_changed_for_another():
    names = [e.name for e in tree.leaves(cooled(load_plan(WORKSHOP), "memory").loop)]
    assert names[4:6] == ["pump to memory", "memory"]


def test_a_loop_without_blocks_takes_one_behind_its_pump():
    plan = load_plan(WORKSHOP)
    bare = replace(plan, loop=choices._without(choices._without(plan.loop, "processor", set()), "graphics card", set()))
    names = [e.name for e in tree.leaves(cooled(bare, "memory").loop)]
    at = names.index("pump")
    assert names[at : at + 3] == ["pump", "pump to memory", "memory"]
    assert what_to_cool(bare)["as planned"].sum() == 0


def test_a_group_of_one_branch_becomes_part_of_the_line():
    plan = load_plan(SUITE)
    new = cooled(plan, ["processor", "right card"])
    assert all(not isinstance(item, tree.Parallel) for item in new.loop.items)
    left = [e.name for e in tree.leaves(new.loop)]
    # Left card, its tees and its two runs are gone; the right card's tees too, as nothing branches any more.
    gone = {"left card", "tees of left card", "in of left card", "out of left card", "tees of right card"}
    assert [e.name for e in tree.leaves(plan.loop) if e.name not in gone] == left


def test_a_group_of_three_loses_a_branch_and_stays_a_group():
    plan = load_plan(WORKSHOP)
    three = cooled(plan, ["processor", "graphics card", "memory"]).set(layout="parallel")
    new = cooled(three, ["processor", "memory"])
    group = next(item for item in new.loop.items if isinstance(item, tree.Parallel))
    assert [tree.of_kind(branch, tree.Source)[0].name for branch in group.branches] == ["processor", "memory"]


def test_a_dead_leg_of_a_branch_that_goes_stays_behind_the_group():
    plan = nested()
    new = cooled(plan, ["processor", "graphics card"])
    assert "leg" in [e.name for e in new.units(tree.DeadLeg)]
    assert "tees b" not in [e.name for e in tree.leaves(new.loop)]  # the inner group is gone,
    assert "tees a" in [e.name for e in tree.leaves(new.loop)]  # the outer is not


def test_a_branch_with_a_radiator_outlives_its_block():
    plan = load_plan(DEMO)
    processor, card = plan.units(tree.Source)
    front, top = plan.units(tree.RadiatorUnit)
    pump = plan.units(tree.PumpUnit)[0]
    group = tree.Parallel(tree.Series(processor, front), tree.Series(card, tree.Run("r", TUBE, 0.2)))
    plan = replace(plan, loop=tree.Series(pump, group, tree.Run("back", TUBE, 0.5), top))
    group = next(item for item in cooled(plan, "graphics card").loop.items if isinstance(item, tree.Parallel))
    assert [e.name for e in tree.leaves(group.branches[0])] == ["front radiator"]
    assert [e.name for e in tree.leaves(cooled(plan, "processor").loop)][1:4] == ["processor", "front radiator", "back"]


# ------------------------------------------------------------------------------------------------------ tables


@each_plan
def test_the_table_says_what_direct_solves_say(name):
    plan = PLANS[name]()
    table = what_to_cool(plan)
    names = [c.name for c in candidates(plan)]
    assert len(table) == 2 ** len(names) - 1
    assert table["as planned"].sum() == 1
    for chosen in [s for s in subsets(names) if len(s) in (1, 2, len(names))]:
        row, state = table.loc[", ".join(chosen)], solved(cooled(plan, chosen)).state
        for part in names:
            assert row[f"{part} [degC]"] == pytest.approx(float(state[part]), abs=1e-6)
        assert row["sound [dB]"] == pytest.approx(float(state["sound"]), abs=1e-9)
        for part in chosen if len(chosen) > 1 else ():
            others = [n for n in state if n in names and n != part]
            others += [p.name for p in plan.on_air if p.name not in names]
            out = solved(cooled(plan, [n for n in chosen if n != part])).state
            assert row[f"{part}: gain [K]"] == pytest.approx(float(out[part] - state[part]), abs=1e-6)
            cost = max(float(state[o] - out[o]) for o in others)
            assert row[f"{part}: cost to the others [K]"] == pytest.approx(cost, abs=1e-6)


@each_plan
def test_one_part_more_or_less_says_what_direct_solves_say(name):
    plan = PLANS[name]()
    table = marginal(plan)
    own = {s.name for s in plan.units(tree.Source)}
    for part in candidates(plan):
        row = table.loc[part.name]
        assert row["planned"] == ("in the loop" if part.name in own else "on air")
        inside = solved(cooled(plan, own | {part.name}))
        assert row["in the loop [degC]"] == pytest.approx(float(inside.state[part.name]), abs=1e-6)
        if own - {part.name}:
            outside = solved(cooled(plan, own - {part.name}))
            assert row["gain [K]"] == pytest.approx(float(outside.state[part.name] - inside.state[part.name]), abs=1e-6)
            change = float(inside.state["flow"] - outside.state["flow"]) * 6e4
            assert row["change of flow [L/min]"] == pytest.approx(change, abs=1e-6)


def test_on_air_a_part_is_as_warm_as_its_usual_cooler_lets_it():
    plan = load_plan(DEMO)
    state = solved(cooled(plan, "graphics card")).state
    usual = tables.by_name("candidates.csv")["processor"]["air_resistance_k_w"]
    assert float(state["processor"]) == pytest.approx(float(state["case_air"]) + 140 * usual, abs=1e-9)


def test_the_heat_left_on_air_warms_the_case_by_what_openings_and_walls_do_not_take():
    # More heat left in the case, warmer case: both radiators of the workshop draw or leave air there.
    table = what_to_cool(load_plan(WORKSHOP))
    some = table.loc[["memory", "memory, voltage regulator", "processor, memory, voltage regulator"]]
    assert some["case air [degC]"].is_monotonic_decreasing


def test_a_stated_case_air_is_balanced_to_answer_and_the_plan_is_left_alone():
    plan = load_plan(DEMO)
    assert cooled(plan, "processor").case_air_by == BALANCE
    assert plan.case_air_by == GIVEN
    assert cooled(plan, "processor").origin is None


def test_ends_joints_and_tube_counted_by_hand():
    # The demo: 5 runs of 2 ends and 2 dead legs of one; a fitting of 90 degrees; 2 tees, a tap and a cap. Its tubes are
    # laid: legs of runs and dead legs, less what 7 bends round 28 mm cut off their corners.
    assert plumbing(load_plan(DEMO)) == {
        "tube ends": 12.0,
        "joints": 2 * 12 + 1 + 4,
        "tube [m]": pytest.approx(0.471 + 0.412 + 0.373 + 0.109 + 0.136 + 0.076 + 0.056 - 7 * 0.028 * (2 - np.pi / 2)),
    }
    # The suite: 10 runs, 2 dead legs; 2 fittings of 90 degrees, a valve, 2 tees of the group, 2 of the legs, tap, cap.
    assert plumbing(load_plan(SUITE))["joints"] == 2 * 22 + 2 + 1 + 2 + 4


def test_money_of_a_part_put_in_by_hand():
    plan = load_plan(WORKSHOP)
    drive = marginal(plan).loc["flat drive"]
    tube = catalogue.part("tube", "PETG 13/10 mm")
    block = catalogue.part("block", "drive block, one flat drive")
    end = parts_list.end_fitting(tube, "nickel plate")
    litres = (block.volume + np.pi / 4 * tube.bore**2 * 0.25) * 1e3
    by_hand = block.price + 2 * end.price + 0.25 * tube.price_per_m + 14 * litres - 12  # the plan's own prices
    assert drive["change of money [EUR]"] == pytest.approx(by_hand, abs=1e-9)
    assert drive["change of sound [dB]"] < -0.1  # its small fan goes with its cooler


def test_a_cooler_given_for_a_block_counts_with_what_it_is():
    plan = load_plan(DEMO)
    tower = AirPart("processor", resistance=0.2, sound_level=30.0, price=45.0)
    plain, new = (cooled(plan, "graphics card", coolers=given) for given in ((), (tower,)))
    there, here = solved(plain).state, solved(new).state
    assert float(here["processor"] - here["case_air"]) == pytest.approx(140 * 0.2)
    # Energies of sounds add up ([ISO3744]): the listener of the demo sits at 1 m.
    together = 10 * np.log10(10 ** (float(there["sound"]) / 10) + 10**3.0)
    assert float(here["sound"]) == pytest.approx(together)
    assert money(new) - money(plain) == pytest.approx(45.0)
    assert marginal(plan, coolers=[tower]).loc["processor", "change of sound [dB]"] < 0


def test_a_part_on_air_that_states_no_resistance_gets_the_usual_one():
    plan = load_plan(WORKSHOP)
    plan = replace(plan, on_air=(*plan.on_air, AirPart("spare", "drive", heat=6.0)))
    assert "spare" in [c.name for c in candidates(plan)]
    state = solved(cooled(plan, "processor")).state
    usual = tables.by_name("candidates.csv")["drive"]["air_resistance_k_w"]
    assert float(state["spare"] - state["case_air"]) == pytest.approx(6 * usual)


def test_of_many_candidates_those_with_the_most_heat_are_combined():
    plan = load_plan(WORKSHOP)
    more = tuple(AirPart(f"drive {n}", "drive", heat=0.5 + n, resistance=2.0) for n in range(3))
    plan = replace(plan, on_air=(*plan.on_air, *more))
    table = what_to_cool(plan)
    assert table.attrs["left as planned"] == ["drive 0", "drive 1"]
    assert len(table) == 63
    assert f"{'drive 0'} [degC]" in table


def test_without_a_steady_answer_numbers_are_left_out():
    plan = load_plan(DEMO).set(fan_speed=0.0, case_vents=0.0, case_wall_loss=0.5)
    row = what_to_cool(plan).loc["processor, graphics card"]
    assert np.isnan(row["processor [degC]"])
    assert np.isnan(row["worst margin [K]"])
    assert row["tightest"] == ""
    assert row["danger"] >= 1


# --------------------------------------------------------------------------------------------------- bad input


def test_a_name_that_is_no_candidate_gets_its_neighbours():
    with pytest.raises(InputError, match="graphics card"):
        cooled(load_plan(DEMO), ["grafics card"])


def test_a_loop_that_cools_nothing_is_refused_in_words():
    with pytest.raises(InputError, match="cools nothing is none. To choose from: processor, graphics card"):
        cooled(load_plan(DEMO), [])


@pytest.mark.parametrize("table", [what_to_cool, marginal])
def test_a_plan_with_nothing_to_choose_is_refused(table):
    plan = load_plan(CUBE)
    bare = replace(plan, loop=choices._without(plan.loop, "processor", set()))
    assert candidates(bare) == []
    with pytest.raises(InputError, match="nothing in the plan"):
        table(bare)
    with pytest.raises(InputError, match="cools nothing"):
        cooled(bare, [])


@pytest.mark.parametrize("table", [what_to_cool, marginal])
def test_many_designs_are_refused(table):
    with pytest.raises(InputError, match="one design"):
        table(load_plan(DEMO).set(pump_speed=np.array([0.5, 1.0])))


def test_a_power_supply_is_never_offered_unasked():
    plan = load_plan(WORKSHOP)
    supply = AirPart("supply", "power supply", heat=25.0, resistance=0.3, block="drive block, one flat drive")
    plan = replace(plan, on_air=(*plan.on_air, supply))
    assert "supply" not in [c.name for c in candidates(plan)]
    assert "Do not open it" in next(c for c in candidates(plan, power_supply=True) if c.name == "supply").caution
    assert "supply [degC]" not in what_to_cool(plan)
    with pytest.raises(InputError, match="Do not open it"):
        cooled(plan, ["processor", "supply"])
    assert "supply" in [s.name for s in cooled(plan, ["processor", "supply"], power_supply=True).units(tree.Source)]


def test_a_cooler_for_something_that_is_no_block_is_refused():
    with pytest.raises(InputError, match="coolers"):
        candidates(load_plan(DEMO), coolers=[AirPart("procesor", resistance=0.2)])


def test_a_new_run_needs_a_tube():
    plan = load_plan(WORKSHOP)
    items = [item for item in plan.loop.items if not isinstance(item, (tree.Run, tree.DeadLeg))]
    plan = replace(plan, loop=tree.Series(*items), tube=None)
    with pytest.raises(InputError, match="tube"):
        cooled(plan, ["processor", "memory"])


def test_a_run_that_has_one_end_in_a_fitting_keeps_it_when_two_become_one():
    """The far end of the second run sits in something that is no fitting of a tube: three ends less the two saved."""
    plan = load_plan(DEMO)
    last = plan.units(tree.Run)[1]
    plan = plan.with_loop(lambda leaf: replace(leaf, ends=1.0) if leaf.name == last.name else leaf)
    kept = cooled(plan, ["graphics card"])
    (new,) = [run for run in kept.units(tree.Run) if run.name not in {r.name for r in plan.units(tree.Run)}]
    assert new.ends == 1.0


def test_a_new_run_takes_no_name_of_a_part_on_air():
    plan = load_plan(DEMO)
    (name,) = {r.name for r in cooled(plan, ["graphics card"]).units(tree.Run)} - {r.name for r in plan.units(tree.Run)}
    named = replace(plan, on_air=(AirPart(name, heat=1.0),))
    assert f"{name}, 2" in [run.name for run in cooled(named, ["graphics card"]).units(tree.Run)]


def test_the_coolant_may_be_what_is_tightest():
    plan = load_plan(WORKSHOP)
    warm = float(solved(plan).state["coolant_warmest"])
    table = what_to_cool(replace(plan, coolant_limit=warm + 0.5))
    (row,) = table[table["as planned"]].to_dict("records")
    assert (row["tightest"], row["worst margin [K]"]) == ("coolant", pytest.approx(0.5, abs=1e-4))
