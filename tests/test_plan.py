"""A plan and its settings: what is changed changes, what is not stays, what cannot be is refused."""

import math
from dataclasses import fields, is_dataclass, replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopmath import (
    InputError,
    OutOfRange,
    catalogue,
    demo_plan,
    ledger,
    load_plan,
    scenarios,
    solve,
    speed_curves,
    sweep,
    tables,
)
from loopmath import loop as tree
from loopmath.case import AirPart, CaseFans
from loopmath.laws import coolant
from loopmath.plan import FIGURES, SETTINGS, WAYS, apply_setting
from loopmath.units import Quantity

#: The demo with a fan in the case, so that every setting has something to set.
REAR = CaseFans("rear fan", catalogue.part("fan", "quiet fan 120 mm, 1300 rpm"))
PLAN = replace(demo_plan(), case_fans=(REAR,))


def pictured(thing):
    """Return a record as nested tuples, to be compared by value."""
    if is_dataclass(thing):
        return type(thing).__name__, tuple((f.name, pictured(getattr(thing, f.name))) for f in fields(thing))
    if isinstance(thing, (tuple, list)):
        return tuple(map(pictured, thing))
    return thing.tolist() if isinstance(thing, np.ndarray) else thing


#: Setting -> (value given, what the plan then says, the same read off the plan).
CASES = {
    "pump_speed": ("55 %", 0.55, lambda p: [u.speed for u in p.units(tree.PumpUnit)]),
    "fan_speed": (0.45, 0.45, lambda p: [u.fan_speed for u in p.units(tree.RadiatorUnit)]),
    "fittings": (18, 18.0, lambda p: [tree.total_fittings(p.loop)]),
    "room_air": ("86 degF", 30.0, lambda p: [p.room_air]),
    "case_air_over_room": ("9 K", 9.0, lambda p: [p.case_air_over_room]),
    "case_fan_speed": ("40 %", 0.4, lambda p: [f.speed for f in p.case_fans]),
    "case_heat": ("60 W", 60.0, lambda p: [p.case_heat]),
    "case_vents": ("90 cm^2", 0.009, lambda p: [p.case_vents]),
    "case_wall_loss": ("6 W/K", 6.0, lambda p: [p.case_wall_loss]),
    "case_air": ("balance", "balance", lambda p: [p.case_air_by]),
    "sound_limit": ("33 dB", 33.0, lambda p: [p.sound_limit]),
    "coolant_limit": ("40 degC", 40.0, lambda p: [p.coolant_limit]),
    "height": (Quantity(1500, "m"), 1500.0, lambda p: [p.height]),
    "listener": ("60 cm", 0.6, lambda p: [p.listener]),
    "bore": ("8 mm", 0.008, lambda p: [leaf.tube.bore for leaf in tree.leaves(p.loop) if hasattr(leaf, "tube")]),
    "tube": ("EPDM 13/10 mm", "EPDM 13/10 mm", lambda p: [r.tube.name for r in p.units(tree.Run)]),
    "coolant": ("water", "water", lambda p: [p.coolant.name]),
    "layout": ("parallel", 1, lambda p: [sum(isinstance(i, tree.Parallel) for i in p.loop.items)]),
    "radiator": (
        "3 x 120 mm, deep, medium fins",
        "3 x 120 mm, deep, medium fins",
        lambda p: [p.units(tree.RadiatorUnit)[0].radiator.name],
    ),
    "pump": ("compact pump, 2.4 m", "compact pump, 2.4 m", lambda p: [u.pump.name for u in p.units(tree.PumpUnit)]),
    "fan": (
        "radiator fan 120 mm, 2000 rpm",
        "radiator fan 120 mm, 2000 rpm",
        lambda p: [p.units(tree.RadiatorUnit)[0].fan.name],
    ),
    "tube_material": ("PMMA", "PMMA", lambda p: [r.tube.material for r in p.units(tree.Run)]),
    "treatment": ("biocide", "biocide", lambda p: [p.treatment]),
    "surroundings": ("harsh", "harsh", lambda p: [p.surroundings]),
    "seal": ("FKM", "FKM", lambda p: [p.seal]),
    "tube_edge": ("sharp", "sharp", lambda p: [p.tube_edge]),
    "assembly_aid": ("mineral oil", "mineral oil", lambda p: [p.assembly_aid]),
    "cleaner": ("vinegar", "vinegar", lambda p: [p.cleaner]),
    "also_wetted": (
        ["silver", "tin plate over brass"],
        ("silver", "tin plate over brass"),
        lambda p: [p.also_wetted],
    ),
    "squeeze": ("25 %", 0.25, lambda p: [p.squeeze]),
    "ring_section": ("0.1 in", 0.00254, lambda p: [p.ring_section]),
    "rings": (1, 1.0, lambda p: [p.rings]),
    "hot_spot": ("15 K", 15.0, lambda p: [p.hot_spot]),
    "bend_radius": ("26 mm", 0.026, lambda p: [path.radius for path in p.paths.values()]),
    "clearance": ("0.2 in", 0.00508, lambda p: [p.clearance]),
    "kerf": ("1.6 mm", 0.0016, lambda p: [p.kerf]),
    "tip_limit": ("45 deg", np.pi / 4, lambda p: [p.tip_limit]),
    "coolant_spare": ("15 %", 0.15, lambda p: [p.coolant_spare]),
    "stock_lengths": ("1 m", 1.0, lambda p: p.stock_lengths),
    "bottle_sizes": ("250 mL", 0.25e-3, lambda p: p.bottle_sizes),
    "hours_per_day": (6, 6.0, lambda p: [p.hours_per_day]),
    "gauge_step": ("500 Pa", 500.0, lambda p: [p.gauge_step]),
    "least_leak": ("1.2 L/h", 1.2e-3 / 3600, lambda p: [p.least_leak]),
    "squaring": ("2 mm", 0.002, lambda p: [p.squaring]),
    "spares": (2, 2.0, lambda p: [p.spares]),
    "practice": (3, 3.0, lambda p: [p.practice]),
    "stretch": ("-2 %", -0.02, lambda p: [p.stretch]),
    "over_bend": ("3 %", 0.03, lambda p: [p.over_bend]),
    # the demo's sum of peak heats, as its file states them
    "load": ("peak", 530.0, lambda p: [sum(u.heat for u in p.units(tree.Source))]),
}
NUMBERS = [name for name, setting in SETTINGS.items() if setting.kind != "name"]
NAMES = [name for name, setting in SETTINGS.items() if setting.kind == "name"]
#: What is a list in one design already: several numbers are no array of designs.
LISTS = ("stock_lengths", "bottle_sizes")
#: What tells only where the air of the case is worked out.
CASE_MATTERS = ("case_fan_speed", "case_heat", "case_vents", "case_wall_loss")


def test_every_setting_has_its_case_here():
    assert set(CASES) == set(SETTINGS)


@pytest.mark.parametrize("name", CASES)
def test_a_setting_changes_what_it_names(name):
    given_value, expected, read = CASES[name]
    before = read(PLAN)
    after = read(apply_setting(PLAN, name, given_value))
    assert all(value == expected or value == pytest.approx(expected) for value in after)
    assert after
    assert before != after


@pytest.mark.parametrize("name", CASES)
def test_the_plan_given_is_never_changed(name):
    before = pictured(PLAN)
    changed = apply_setting(PLAN, name, CASES[name][0])
    assert pictured(PLAN) == before
    assert pictured(changed) != before


@pytest.mark.parametrize("name", CASES)
def test_a_changed_plan_is_solved(name):
    assert solve(apply_setting(PLAN, name, CASES[name][0])).flow.magnitude > 0


def test_several_settings_are_changed_by_one_call():
    plan = PLAN.set(pump_speed="50 %", room_air=20, **{"processor.heat": 90.0})
    assert (plan.units(tree.PumpUnit)[0].speed, plan.room_air, plan.units(tree.Source)[0].heat) == (0.5, 20.0, 90.0)


# ------------------------------------------------------------------------------------------------- refusals


@pytest.mark.parametrize("name", NUMBERS)
def test_both_ends_of_a_range_are_accepted_and_a_step_beyond_is_not(name):
    setting = SETTINGS[name]
    plan = PLAN.as_counts() if name == "bend_radius" else PLAN  # the legs of what is laid ask for a smaller radius
    for end, beyond in ((setting.low, -math.inf), (setting.high, math.inf)):
        apply_setting(plan, name, end)
        with pytest.raises(OutOfRange) as caught:
            apply_setting(plan, name, math.nextafter(end, beyond))
        assert caught.value.field == name
        assert f"{setting.low:g} to {setting.high:g}" in caught.value.accepted


@pytest.mark.parametrize("name", NUMBERS)
@pytest.mark.parametrize("value", [math.nan, math.inf, "fast", "", None, True, [1.0, math.nan], {}])
def test_a_value_that_is_no_number_is_refused_by_name(name, value):
    with pytest.raises(InputError) as caught:
        apply_setting(PLAN, name, value)
    assert caught.value.field == name


@pytest.mark.parametrize("name", [name for name in NUMBERS if SETTINGS[name].kind not in ("share", "count")])
def test_a_quantity_of_another_kind_is_refused(name):
    with pytest.raises(InputError) as caught:
        apply_setting(PLAN, name, "3 kg")
    assert caught.value.field == name


@pytest.mark.parametrize("name", NAMES)
def test_an_unknown_name_of_a_part_is_refused_with_names_that_exist(name):
    with pytest.raises(InputError, match=r"Accepted: (one of|a known name; nearest): "):
        apply_setting(PLAN, name, "paralel pump radiator fan 120")


@pytest.mark.parametrize("value", [3, None, ["copper", "coper"], ["copper over brass"], "tin plate over nickel plate"])
def test_metals_beside_the_plan_are_a_list_of_metals(value):
    with pytest.raises(InputError) as caught:
        PLAN.set(also_wetted=value)
    assert caught.value.field.startswith("also_wetted")
    assert PLAN.set(also_wetted="silver").also_wetted == ("silver",)
    assert PLAN.set(also_wetted=[]).also_wetted == ()


@pytest.mark.parametrize(
    ("name", "good", "bad"),
    [
        ("processor.metal", "nickel plate over copper", "nickel plate over coper"),
        ("front radiator.metal", "nickel plate over brass", "brass over nickel plate"),
        ("front radiator.solder", "silver solder", "silver sodder"),
        ("front radiator.tank_metal", "brass", "brss"),
        ("pump to processor.fitting_metal", "tin plate over brass", ""),
        ("pump to processor.material", "PMMA", "PMMB"),
        ("drain.material", "copper", ""),
        ("reservoir.material", "PC", 3.0),
        ("pump.metal", "", np.array(["copper", "brass"])),
    ],
)
def test_a_material_of_a_part_is_one_that_is_known(name, good, bad):
    element, _, field = name.rpartition(".")
    leaf = next(e for e in tree.leaves(PLAN.set(**{name: good}).loop) if e.name == element)
    assert getattr(leaf, field, getattr(leaf.part if leaf.part is not None else leaf.tube, field, None)) == good
    with pytest.raises(InputError) as caught:
        PLAN.set(**{name: bad})
    assert caught.value.field.startswith(name)


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("pump_sped", "'pump_speed'"),
        ("coolent", "'coolant'"),
        ("nobody.heat", "element = 'nobody'"),
        ("procesor.heat", "'processor'"),
        ("processor.haet", "field of processor = 'haet'.*heat"),
        ("front radiator.dept", "field of front radiator = 'dept'.*depth"),
        ("processor.name", "field of processor = 'name'"),
        ("drain.loss", "field of drain"),
    ],
)
def test_an_unknown_setting_is_told_the_nearest_ones(name, words):
    with pytest.raises(InputError, match=words):
        apply_setting(PLAN, name, 1.0)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("processor.heat", -1.0),
        ("processor.heat", math.nan),
        ("pump.speed", 1.01),
        ("front radiator.fan_speed", -0.01),
        ("front radiator.depth", 0.5),
        ("front radiator.positions", 0),
        ("front radiator.air", "outdoors"),
        ("front radiator.fans_in_series", 0),
        ("pump to processor.length", -0.001),
        ("pump to processor.bends", -1),
        ("drain.length", -0.001),
    ],
)
def test_a_dotted_setting_keeps_to_the_range_of_its_field(name, value):
    with pytest.raises(InputError):
        apply_setting(PLAN, name, value)


# ------------------------------------------------------------------------------------------------- dotted names


@pytest.mark.parametrize(
    ("name", "value", "read"),
    [
        ("processor.heat", 200.0, lambda leaf: leaf.heat),
        ("graphics card.limit", 70.0, lambda leaf: leaf.limit),
        ("processor.resistance", 0.08, lambda leaf: leaf.block.resistance),
        ("pump.speed", 0.5, lambda leaf: leaf.speed),
        ("pump.heat_share", 0.5, lambda leaf: leaf.pump.heat_share),
        ("front radiator.depth", 0.06, lambda leaf: leaf.radiator.depth),
        ("top radiator.fan_speed", 0.3, lambda leaf: leaf.fan_speed),
        ("top radiator.air", "case", lambda leaf: leaf.air),
        ("top radiator to reservoir.length", 1.0, lambda leaf: leaf.length),
        ("drain.length", 0.5, lambda leaf: leaf.length),
        ("reservoir.volume", 4e-4, lambda leaf: leaf.reservoir.volume),
    ],
)
def test_a_dotted_setting_changes_that_element_and_no_other(name, value, read):
    element = name.rpartition(".")[0]
    plan = apply_setting(PLAN, name, value)
    for old, new in zip(tree.leaves(PLAN.loop), tree.leaves(plan.loop), strict=True):
        if old.name == element:
            assert read(new) == value != read(old)
        else:
            assert pictured(new) == pictured(old)


DOTTED = ["processor.heat", "front radiator.depth", "pump to processor.length", "pump to processor.radius"]


@pytest.mark.parametrize("name", [*[n for n in NUMBERS if n not in LISTS], *DOTTED])
def test_an_array_of_designs_answers_as_its_values_one_by_one(name):
    low, high = {
        "processor.heat": (50.0, 250.0),
        "front radiator.depth": (0.028, 0.06),
        "pump to processor.length": (0.1, 2.0),
        "pump_speed": (0.4, 1.0),
        "fan_speed": (0.4, 1.0),
        "fittings": (0, 20),
        "room_air": (15.0, 30.0),
        "case_air_over_room": (0.0, 10.0),
        "height": (0.0, 2000.0),
        "listener": (0.5, 2.0),
        "sound_limit": (30.0, 40.0),
        "coolant_limit": (40.0, 50.0),
        "case_fan_speed": (0.3, 1.0),
        "case_heat": (0.0, 120.0),
        "case_vents": (0.0, 0.03),
        "case_wall_loss": (0.0, 8.0),
        "bore": (0.008, 0.012),
        "squeeze": (0.05, 0.4),
        "ring_section": (0.001, 0.003),
        "rings": (0, 4),
        "hot_spot": (0.0, 30.0),
        "bend_radius": (0.014, 0.028),
        "pump to processor.radius": (0.014, 0.04),
        "clearance": (0.0, 0.02),
        "kerf": (0.0, 0.003),
        "tip_limit": (0.0, 1.0),
        "coolant_spare": (0.0, 0.2),
        "hours_per_day": (0.0, 12.0),
        "gauge_step": (100.0, 1000.0),
        "least_leak": (1e-9, 1e-8),
        "squaring": (0.0, 0.004),
        "spares": (0, 4),
        "practice": (0, 2),
        "stretch": (-0.05, 0.05),
        "over_bend": (0.0, 0.05),
    }[name]
    values = np.array([low, 0.5 * (low + high), high])
    plan = PLAN.set(case_air="balance") if name in CASE_MATTERS else PLAN
    together = solve(apply_setting(plan, name, values)).state
    assert name not in CASE_MATTERS or np.all(np.diff(together["case_air"]) != 0)
    assert "radius" not in name or np.all(np.diff(together["flow"]) != 0)
    for n, value in enumerate(values):
        alone = solve(apply_setting(plan, name, float(value))).state
        for key, number in alone.items():
            assert together[key][n] == pytest.approx(float(number), rel=1e-5), (key, value)


def test_an_array_of_squeezes_is_judged_design_by_design():
    """What only the rules look at may be an array, too."""
    counts = solve(PLAN.set(squeeze=np.array([0.05, 0.12, 0.2, 0.35]))).warning_counts()
    alone = [solve(PLAN.set(squeeze=v)).warning_counts() for v in (0.05, 0.12, 0.2, 0.35)]
    for signal, found in counts.items():
        assert list(found) == [one[signal][0] for one in alone]
    # data/rules.csv: below 10 % a warning, 10 to 14 % a notice, above 30 % a caution
    assert [list(counts[s] - counts[s][2]) for s in ("warning", "notice", "caution")] == [
        [1, 0, 0, 0],
        [0, 1, 0, 0],
        [0, 0, 0, 1],
    ]
    table = sweep(PLAN, squeeze=["5 %", "20 %"], treatment=["none", "inhibitor and biocide"])
    assert len(table) == 4
    assert table.flow.nunique() == 1


# ---------------------------------------------------------------------------------------------------- fittings


@given(st.integers(0, 200))
def test_the_total_of_fittings_is_kept(total):
    plan = apply_setting(PLAN, "fittings", total)
    assert tree.total_fittings(plan.loop) == pytest.approx(total, rel=1e-14)
    again = apply_setting(apply_setting(plan, "fittings", 12), "fittings", total)
    assert tree.total_fittings(again.loop) == pytest.approx(total, rel=1e-14)


def test_fittings_are_shared_as_they_were_and_evenly_where_there_were_none():
    plan = PLAN.set(**{"pump to processor.fittings": 2, "top radiator to reservoir.fittings": 3})
    assert tree.total_fittings(plan.loop) == 6
    doubled = apply_setting(plan, "fittings", 12).units(tree.Run)
    assert [r.fittings for r in doubled] == pytest.approx([2 * r.fittings for r in plan.units(tree.Run)])
    bare = apply_setting(PLAN, "fittings", 0)
    assert [r.fittings for r in apply_setting(bare, "fittings", 10).units(tree.Run)] == [2.0] * 5


def test_an_array_of_totals_is_kept_design_by_design():
    totals = np.array([0.0, 1.0, 7.0, 200.0])
    np.testing.assert_allclose(tree.total_fittings(apply_setting(PLAN, "fittings", totals).loop), totals, rtol=1e-14)


def test_the_total_counts_the_runs_of_every_branch():
    plan = PLAN.set(layout="parallel", fittings=12)
    assert tree.total_fittings(plan.loop) == pytest.approx(12, rel=1e-14)


# ------------------------------------------------------------------------------------------------------ layout


def test_blocks_go_side_by_side_and_back_to_the_loop_as_it_was():
    side = PLAN.set(layout="parallel")
    (group,) = [item for item in side.loop.items if isinstance(item, tree.Parallel)]
    assert [tree.of_kind(branch, tree.Source)[0].name for branch in group.branches] == ["processor", "graphics card"]
    assert all(tree.of_kind(branch, tree.Run) for branch in group.branches)
    back = side.set(layout="series")
    # Between the tees the tubes go other ways than they were laid, so they go by lengths and bends from there on.
    assert (side.routes, side.paths, back.paths) == ((), {}, {})
    assert pictured(back.loop) == pictured(PLAN.as_counts().loop)
    assert PLAN.set(layout="series") is PLAN


@pytest.mark.parametrize("layout", ["series", "parallel"])
def test_a_layout_set_twice_is_the_layout_set_once(layout):
    once = PLAN.set(layout=layout)
    assert pictured(once.set(layout=layout).loop) == pictured(once.loop)


@pytest.mark.parametrize("start", ["series", "parallel"])
def test_as_planned_leaves_the_layout_alone(start):
    plan = PLAN.set(layout=start)
    assert plan.set(layout="as planned") is plan


def test_typical_load_leaves_the_plan_alone_and_peak_load_is_no_file_of_its_own():
    assert PLAN.set(load="typical") is PLAN
    assert PLAN.set(load="peak").origin is None
    with pytest.raises(InputError, match="one of: 'typical', 'peak'"):
        PLAN.set(load="x")


def test_side_by_side_each_block_gets_a_part_of_a_greater_flow():
    one_by_one, side = solve(PLAN), solve(PLAN.set(layout="parallel"))
    assert side.flow > one_by_one.flow
    flows = side.components["flow [L/min]"]
    assert float(flows.sum()) == pytest.approx(side.flow.to("L/min").magnitude)
    assert (flows < one_by_one.flow.to("L/min").magnitude).all()


# ------------------------------------------------------------------------------------------- radiators and fans


@pytest.mark.parametrize("size", [0.12, 0.14, 0.2])
def test_a_radiator_of_another_fan_size_gets_fans_of_that_size(size):
    unit = apply_setting(PLAN, "front radiator.fan_size", size).units(tree.RadiatorUnit)[0]
    assert unit.radiator.fan_size == size
    assert unit.fan.size == pytest.approx(size)


def test_a_radiator_chosen_by_name_gets_fans_of_its_size_and_the_second_stays():
    plan = PLAN.set(radiator="3 x 140 mm, slim, medium fins")
    first, second = plan.units(tree.RadiatorUnit)
    assert (first.radiator.fan_size, first.fan.size) == (pytest.approx(0.14), pytest.approx(0.14))
    assert second is PLAN.units(tree.RadiatorUnit)[1]


def test_a_radiator_of_the_same_fan_size_keeps_its_fans():
    assert PLAN.set(radiator="4 x 120 mm, slim, medium fins").units(tree.RadiatorUnit)[0].fan.name == (
        PLAN.units(tree.RadiatorUnit)[0].fan.name
    )


def test_a_fan_chosen_by_name_goes_to_every_radiator_in_its_own_size():
    units = PLAN.set(fan="radiator fan 140 mm, 1700 rpm").units(tree.RadiatorUnit)
    assert [u.fan.name for u in units] == ["radiator fan 120 mm, 2000 rpm", "radiator fan 140 mm, 1700 rpm"]


def test_a_fan_size_that_no_fan_has_is_refused():
    with pytest.raises(InputError, match="fan size = '92 mm'") as caught:
        apply_setting(PLAN, "front radiator.fan_size", 0.092)
    assert all(size in caught.value.accepted for size in ("120 mm", "140 mm", "200 mm"))


# ------------------------------------------------------------------------------------------------- tube, coolant


def test_another_bore_keeps_the_wall():
    before, after = PLAN.units(tree.Run)[0].tube, PLAN.set(bore=0.013).units(tree.Run)[0].tube
    assert after.outside - after.bore == pytest.approx(before.outside - before.bore)


def test_runs_of_one_tube_go_on_sharing_one_record():
    tubes = {id(leaf.tube) for leaf in tree.leaves(PLAN.set(bore=0.013).loop) if hasattr(leaf, "tube")}
    assert len(tubes) == len({id(leaf.tube) for leaf in tree.leaves(PLAN.loop) if hasattr(leaf, "tube")}) == 1


def test_a_coolant_may_be_given_as_a_record():
    water = coolant.coolant("water")
    assert PLAN.set(coolant=water).coolant is water


def test_a_setting_needs_the_part_it_sets():
    left_out = (tree.Run, tree.RadiatorUnit)
    only = tree.Series(*[leaf for leaf in tree.leaves(PLAN.loop) if not isinstance(leaf, left_out)])
    small = replace(PLAN, loop=only)
    with pytest.raises(InputError, match="a plan with a radiator"):
        small.set(radiator="4 x 120 mm, slim, medium fins")
    with pytest.raises(InputError, match="a loop with tube runs"):
        small.set(fittings=3)


def test_a_radiator_of_another_shape_forgets_what_was_measured_in_every_design_alike():
    plan = demo_plan()
    unit = plan.units(tree.RadiatorUnit)[0]
    core = replace(
        unit.radiator, linear=2.5e7, quadratic=4e11, measured_from=1e-5, measured_to=9e-5, measured_air_to=0.02
    )
    plan = plan.set(**{"front radiator.radiator": core})
    assert plan.units(tree.RadiatorUnit)[0].radiator.linear == 2.5e7
    for field in ("positions", "fan_size", "depth", "fins_per_inch", "tube_rows", "passes", "tube_height", "frame"):
        now = getattr(core, field)
        for value in (now, np.array([now, now])) if field != "fan_size" else (now,):
            changed = plan.set(**{f"front radiator.{field}": value}).units(tree.RadiatorUnit)[0].radiator
            left = (
                changed.linear,
                changed.quadratic,
                changed.measured_from,
                changed.measured_to,
                changed.measured_air_to,
            )
            assert left == (None,) * 5, field
            assert changed.louvre_heat == core.louvre_heat


def test_a_peak_below_the_typical_heat_does_not_cool_the_plan_down():
    plan = demo_plan().set(**{"processor.heat": 250.0})
    peak = {u.name: u.heat for u in plan.at_peak().units(tree.Source)}
    assert peak == {"processor": 250.0, "graphics card": 340.0}


# ------------------------------------------------------------------------------------------------ names

WORKSHOP = load_plan(tables.DATA / "plans" / "quiet_workshop.toml")


def renamed(plan, old, new):
    """Return a plan with one element of its loop called otherwise."""
    return plan.with_loop(lambda leaf: replace(leaf, name=new) if leaf.name == old else leaf)


def test_no_component_may_be_called_as_a_figure_of_the_answer():
    """Otherwise its temperature would stand in that figure's place."""
    answer, components = solve(WORKSHOP), {part.name for part in WORKSHOP.components}
    run = scenarios.warm_up(WORKSHOP, duration=60.0)
    books = {name for name in ledger.energy(answer) if not name.startswith("air of ")}
    assert {*answer.state, *run.state, *books} - components <= set(FIGURES)
    assert set(speed_curves.sensors(WORKSHOP)) - components <= set(FIGURES)
    for name in FIGURES:
        with pytest.raises(InputError, match="a name of its own"):
            replace(WORKSHOP, on_air=(AirPart(name, heat=5.0),))
        with pytest.raises(InputError, match="a name of its own"):
            renamed(WORKSHOP, "processor", name)


def test_nothing_air_passes_may_be_called_as_a_place_or_as_the_openings():
    ways = {duct.name for duct in solve(WORKSHOP).air.ducts} - {part.name for part in WORKSHOP.turning}
    assert {*ways, *tree.PLACES} == set(WAYS)
    for name in WAYS:
        with pytest.raises(InputError, match="a name of its own"):
            renamed(WORKSHOP, "top radiator", name)
        with pytest.raises(InputError, match="a name of its own"):
            replace(WORKSHOP, case_fans=(replace(WORKSHOP.case_fans[0], name=name),))
    # Elsewhere such a word is a name like any other.
    assert "case" in [leaf.name for leaf in tree.leaves(renamed(WORKSHOP, "reservoir", "case").loop)]
