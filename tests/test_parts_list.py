"""The parts list: counted and priced by hand from data/, for one plan and for many designs."""

from dataclasses import replace

import numpy as np
import pytest

from loopmath import InputError, catalogue, load_plan, parts_list, tables
from loopmath import loop as tree
from loopmath.parts_list import cost, end_fitting, unpriced


def example(name):
    return load_plan(tables.DATA / "plans" / f"{name}.toml")


def lines(plan):
    return {item.part: item for item in parts_list.parts_list(plan)}


# The reading cube, by hand. Prices as they stand in data/*.csv: reservoir 150 mL 38, compact pump 2.4 m 42, EPDM
# 13/10 tube 6 a metre, compression fitting for it 5, block with coarse fins 48, radiator 2 x 120 standard depth,
# medium fins 66, quiet fan of 120 mm 14. Tube: 6 in + 8 1/2 in + 5 in = 19.5 in, an inch is 25.4 mm by definition.
CUBE = {
    "tube reservoir, 150 mL": (1, "", 38.0),
    "compact pump, 2.4 m": (1, "", 42.0),
    "EPDM 13/10 mm": (19.5 * 0.0254, "m", 6.0),
    "compression fitting for 13/10 mm soft tube": (6, "", 5.0),
    "processor block, coarse fins": (1, "", 48.0),
    "2 x 120 mm, standard depth, medium fins": (1, "", 66.0),
    "quiet fan 120 mm, 1300 rpm": (2, "", 14.0),
}


def test_the_prices_used_by_hand_are_those_of_the_tables():
    for table in ("reservoirs", "pumps", "tubes", "fittings", "blocks", "radiators", "fans"):
        for name, row in tables.by_name(f"{table}.csv").items():
            if name in CUBE:
                assert row.get("price", row.get("price_per_m")) == CUBE[name][2]


def test_the_cube_comes_to_what_a_hand_adds_up():
    found = lines(example("reading_cube"))
    coolant = found.pop("deionised water")
    assert found.keys() == CUBE.keys()
    for name, (amount, unit, price) in CUBE.items():
        assert (found[name].unit, found[name].price) == (unit, price)
        assert float(found[name].amount) == pytest.approx(amount, rel=1e-12)
    by_hand = 38 + 42 + 19.5 * 0.0254 * 6 + 6 * 5 + 48 + 66 + 2 * 14
    assert float(cost(parts_list.parts_list(example("reading_cube")))) == pytest.approx(by_hand, rel=1e-12)
    assert (coolant.unit, coolant.price) == ("L", None)


def test_coolant_is_what_the_loop_holds():
    plan = example("reading_cube")
    tube = np.pi / 4 * 0.010**2 * 19.5 * 0.0254
    held = sum(float(leaf.volume()) for leaf in tree.leaves(plan.loop) if not isinstance(leaf, tree.Run))
    assert float(lines(plan)["deionised water"].amount) == pytest.approx(1e3 * (held + tube), rel=1e-12)


def test_a_dead_leg_brings_its_tee_its_end_and_what_closes_it():
    # The demo's own: a fill tube and a drain, prices in data/fittings.csv.
    found = lines(example("podcast_booth"))
    assert (found["tee, through the run"].amount, found["tee, through the run"].used_for) == (2.0, "fill tube, drain")
    assert (found["drain tap"].amount, found["drain tap"].used_for) == (1.0, "drain")
    assert (found["fill-port cap"].amount, found["fill-port cap"].used_for) == (1.0, "fill tube")
    assert "plug" not in found


def test_a_fitting_is_taken_in_the_plans_metal_where_it_is_listed_in_it():
    found = lines(example("grading_suite"))
    assert found["sharp 90 degree fitting, brass"].amount == 2.0
    assert found["straight fitting for 16 mm hard tube"].amount == 22.0  # none of brass is listed in this size


def test_two_equal_parts_stand_on_one_line_with_both_names():
    found = lines(example("grading_suite"))
    cards = found["graphics card block, full cover"]
    assert (float(cards.amount), cards.used_for) == (2.0, "left card, right card")
    # The file's points, from end to end of each tube along its legs, dead legs first [mm]; a port's fitting is 17 mm
    # high and takes 11 less 1. A right angle of 32 mm cuts the corner by 2 R - pi/2 R, half of one by its own share.
    legs = [60, 116, 121, 188 + 10 + 204 + 68, 113 + 68, 61, 61, 73 + 78, 78 + 73, 178 + 304 + 88]
    legs += [318 + 81 * 2**0.5 + 100, 344]
    saved = 7 * 32 * (2 - np.pi / 2) + 2 * 32 * (2 * np.tan(np.pi / 8) - np.pi / 4)
    assert float(found["acrylic 16/12 mm"].amount) == pytest.approx((sum(legs) - saved) / 1e3, rel=1e-9)
    assert float(found["straight fitting for 16 mm hard tube"].amount) == 22.0  # ten runs, two dead legs
    assert float(found["sharp 90 degree fitting, brass"].amount) == 2.0
    assert found["strong pump, 5.1 m"].price == 90.0  # the plan's own, not the 95 of the catalogue


def group_of(count):
    """Return the cube with `count` equal branches, each with a tee at either end, as files describe them."""
    plan = example("reading_cube")
    block, tee = plan.units(tree.Source)[0], catalogue.part("fitting", "tee, into the branch")
    run = plan.units(tree.Run)[0]
    branches = (
        tree.Series(
            tree.Fittings(f"tees {n}", tee, 2.0), replace(block, name=f"block {n}"), replace(run, name=f"run {n}")
        )
        for n in range(count)
    )
    items = [item for item in plan.loop.items if item is not block]
    return replace(plan, loop=tree.Series(*items, tree.Parallel(*branches)))


@pytest.mark.parametrize("count", [2, 3, 4, 5])
def test_of_n_branches_one_tee_fewer_is_bought_at_either_end(count):
    found = lines(group_of(count))
    assert float(found["tee, into the branch"].amount) == pytest.approx(2 * (count - 1), rel=1e-12)
    assert float(found["processor block, coarse fins"].amount) == count


def test_the_two_cards_need_two_tees():
    assert float(lines(example("grading_suite"))["tee, into the branch"].amount) == pytest.approx(2.0, rel=1e-12)


def test_a_tee_in_the_main_line_is_a_whole_one_and_other_fittings_of_a_branch_too():
    plan = group_of(3)
    tee, valve = (catalogue.part("fitting", n) for n in ("tee, into the branch", "ball valve, full bore"))
    plan = replace(plan, loop=tree.Series(*plan.loop.items, tree.Fittings("gauge tee", tee, 1.0)))
    assert float(lines(plan)["tee, into the branch"].amount) == pytest.approx(5.0)
    inside = plan.with_loop(lambda e: tree.Fittings("valve", valve, 1.0) if e.name == "run 1" else e)
    assert float(lines(inside)["ball valve, full bore"].amount) == 1.0


def test_laying_blocks_side_by_side_adds_its_tees():
    plan = example("podcast_booth").set(layout="parallel")
    assert float(lines(plan)["tee, into the branch"].amount) == pytest.approx(2.0)


def test_a_price_of_the_plan_takes_the_place_of_the_catalogues():
    plan = example("reading_cube").with_loop(
        lambda e: replace(e, block=replace(e.block, price=12.5)) if isinstance(e, tree.Source) else e
    )
    assert lines(plan)["processor block, coarse fins"].price == 12.5
    less = float(cost(parts_list.parts_list(example("reading_cube")))) - float(cost(parts_list.parts_list(plan)))
    assert less == pytest.approx(48.0 - 12.5)


def test_equal_parts_at_two_prices_stand_on_two_lines():
    plan = example("grading_suite")
    plan = plan.with_loop(lambda e: replace(e, block=replace(e.block, price=20.0)) if e.name == "left card" else e)
    cards = [i for i in parts_list.parts_list(plan) if i.part == "graphics card block, full cover"]
    assert [(i.used_for, i.price) for i in cards] == [("left card", 20.0), ("right card", 118.0)]


def test_what_has_no_price_is_named_and_not_counted():
    plan = example("reading_cube")
    assert unpriced(parts_list.parts_list(plan)) == ["deionised water"]
    priced = replace(plan, coolant_price=3.0)
    assert unpriced(parts_list.parts_list(priced)) == []
    litres = float(lines(plan)["deionised water"].amount)
    more = float(cost(parts_list.parts_list(priced))) - float(cost(parts_list.parts_list(plan)))
    assert more == pytest.approx(3.0 * litres)


def test_a_tube_no_fitting_of_the_catalogue_holds_is_named_as_unpriced():
    plan = example("reading_cube").set(tube="silicone 12/8 mm")
    assert end_fitting(catalogue.part("tube", "silicone 12/8 mm"), "brass") is None
    assert unpriced(parts_list.parts_list(plan)) == ["fittings for silicone 12/8 mm", "deionised water"]


@pytest.mark.parametrize(
    ("tube", "metal", "fitting"),
    [
        ("PETG 14/10 mm", "nickel plate", "straight fitting for 14 mm hard tube"),
        ("PETG 12/8 mm", "brass", "straight fitting for 12 mm hard tube, brass"),
        ("PETG 3/8 in bore, 1/2 in outside", "nickel plate", "straight fitting for 1/2 in hard tube"),
        ("plasticised PVC 16/10 mm", "brass", "compression fitting for 16/10 mm soft tube, brass"),
        ("EPDM 1/2 in bore, 3/4 in outside", "copper", "compression fitting for 1/2 in bore, 3/4 in outside soft tube"),
    ],
)
def test_a_tube_ends_in_a_fitting_of_its_size(tube, metal, fitting):
    assert end_fitting(catalogue.part("tube", tube), metal).name == fitting


def test_a_bare_tube_needs_no_fittings_and_nothing_of_no_amount_is_listed():
    plan = example("reading_cube").with_loop(lambda e: replace(e, ends=0.0) if isinstance(e, tree.Run) else e)
    assert not [name for name in lines(plan) if "fitting" in name]
    assert all(np.all(np.asarray(item.amount) > 0) for item in parts_list.parts_list(plan))


def test_a_radiator_without_fans_lists_none():
    plan = example("reading_cube").with_loop(
        lambda e: replace(e, fan=None, air_flow_each=0.02) if isinstance(e, tree.RadiatorUnit) else e
    )
    assert not [name for name in lines(plan) if "fan" in name]


def test_two_fans_behind_each_other_are_both_bought():
    plan = example("reading_cube").with_loop(
        lambda e: replace(e, fans_in_series=2) if isinstance(e, tree.RadiatorUnit) else e
    )
    assert float(lines(plan)["quiet fan 120 mm, 1300 rpm"].amount) == 4.0


def test_many_designs_are_counted_and_priced_each_for_itself():
    positions = np.array([1.0, 2.0, 3.0])
    many = example("reading_cube").set(**{"radiator.positions": positions})
    amounts = np.broadcast_to(lines(many)["quiet fan 120 mm, 1300 rpm"].amount, 3)
    assert amounts.tolist() == [1.0, 2.0, 3.0]
    alone = [
        float(cost(parts_list.parts_list(example("reading_cube").set(**{"radiator.positions": p})))) for p in positions
    ]
    assert np.broadcast_to(cost(parts_list.parts_list(many)), 3) == pytest.approx(alone)
    some = example("reading_cube").set(fittings=np.array([0.0, 4.0]))
    assert np.asarray(lines(some)["sharp 90 degree fitting"].amount) == pytest.approx([0.0, 4.0])


def test_designs_of_several_bores_and_prices_are_listed():
    many = example("reading_cube").set(bore=np.array([0.008, 0.010]))
    assert "fittings for EPDM 13/10 mm" in unpriced(parts_list.parts_list(many))  # no one fitting holds both
    litres = np.asarray(lines(many)["deionised water"].amount)
    assert litres[1] > litres[0]
    prices = np.array([10.0, 30.0])
    dear = example("reading_cube").set(**{"processor.price": prices})
    assert np.diff(np.asarray(cost(parts_list.parts_list(dear)))) == pytest.approx([20.0])


def test_the_table_closes_with_the_sum():
    plan = example("podcast_booth")
    table = parts_list.table(plan)
    assert list(table.columns) == ["part", "used for", "amount", "unit", "price [EUR]", "together [EUR]"]
    last = table.iloc[-1]
    assert last["part"] == "sum of the priced parts"
    assert last["together [EUR]"] == pytest.approx(table["together [EUR]"].iloc[:-1].sum())
    assert last["together [EUR]"] == pytest.approx(float(cost(parts_list.parts_list(plan))))
    assert len(table) == len(parts_list.parts_list(plan)) + 1


def test_without_a_currency_the_table_names_none():
    table = parts_list.table(replace(example("podcast_booth"), currency=""))
    assert list(table.columns)[-2:] == ["price", "together"]


def test_a_tee_inside_a_branch_that_splits_nothing_counts_whole():
    plan = example("grading_suite")
    tee = tree.Fittings("gauge tee", catalogue.part("fitting", "tee, through the run"))
    (group,) = (i for i in plan.loop.items if isinstance(i, tree.Parallel))
    longer = tree.Parallel(tree.Series(*group.branches[0].items, tee), *group.branches[1:])
    plan = replace(plan, loop=tree.Series(*(longer if i is group else i for i in plan.loop.items)))
    assert lines(plan)["tee, through the run"].amount == 1.0  # of nickel; those of the dead legs are of brass
    assert lines(plan)["tee, into the branch"].amount == 2.0  # two branches split and join once


def test_a_table_of_several_designs_is_refused_in_words():
    plan = example("reading_cube").set(**{"radiator.positions": np.array([1.0, 2.0])})
    with pytest.raises(InputError, match="one design"):
        parts_list.table(plan)
