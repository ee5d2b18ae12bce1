"""Which coolant: what each costs the loop against water, and what the rules and the table of contacts say of it."""

import csv
from dataclasses import replace

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from examples import CUBE, EXAMPLES, SUITE, each_example

from loopmath import InputError, demo_plan, load_plan, rules, solve, tables
from loopmath import loop as tree
from loopmath import plan as plans
from loopmath.coolant_choice import CHANNELS, ITSELF, RANKS, contact_matrix, coolant_choice
from loopmath.laws.coolant import coolant, coolants
from loopmath.rules import SIGNALS, HouseRule
from loopmath.units import DISPLAY

ROWS = tables.read_table("contacts.csv")
FLUIDS = {row["coolant"]: row["locator"].split("'")[1] for row in tables.read_table("coolants.csv")}
CHOICES = {path.stem: coolant_choice(load_plan(path)) for path in EXAMPLES}
DEMO = CHOICES["podcast_booth"]


def mix(choice, name, colour="clear"):
    (found,) = [m for m in choice.mixes if (m.coolant.name, m.treatment["colour"]) == (name, colour)]
    return found


# ------------------------------------------------------------------------------------------------ against water


@each_example
def test_every_coolant_of_the_table_is_there_water_first_then_the_plans_own_dyed_and_with_particles(path):
    choice = CHOICES[path.stem]
    own = choice.plan.coolant.name
    assert [(m.coolant.name, m.treatment["colour"]) for m in choice.mixes] == [
        *((name, "clear") for name in coolants()),
        (own, "dye"),
        (own, "particles"),
    ]
    assert choice.mixes[0].coolant.name == "water"
    assert [m.coolant.name for m in choice.mixes if m.own] == [own]


@each_example
def test_water_costs_nothing_against_itself_and_every_other_mix_costs_something(path):
    first, *others = CHOICES[path.stem].mixes
    assert first.against_water == {"flow": 0.0, "coolant": 0.0, "component": 0.0}
    for other in others:
        if other.coolant.name != "water":
            assert other.against_water["flow"] < 0
            assert other.against_water["coolant"] > 0
            assert other.against_water["component"] > 0


@each_example
@pytest.mark.parametrize("base", ["propylene glycol", "ethylene glycol"])
def test_more_glycol_never_gives_more_flow_or_a_cooler_component(path, base):
    clear = [m for m in CHOICES[path.stem].mixes if m.treatment["colour"] == "clear"]
    series = sorted(
        (
            m
            for m in clear
            if m.coolant.name == "water" or (m.coolant.base, m.coolant.fraction_basis) == (base, "volume")
        ),
        key=lambda m: m.coolant.fraction,
    )
    assert len(series) >= 4
    assert np.all(np.diff([m.flow for m in series]) < 0)
    assert np.all(np.diff([m.component_temperature for m in series]) > 0)
    assert np.all(np.diff([m.viscosity for m in series]) > 0)


@each_example
def test_each_mix_is_the_plan_solved_with_that_coolant(path):
    plan = load_plan(path)
    for found in CHOICES[path.stem].mixes:
        state = solve(plan.set(coolant=found.coolant.name)).state
        assert found.flow == pytest.approx(float(state["flow"]), rel=1e-12)
        assert found.over_room == pytest.approx(float(state["coolant_over_room"]), abs=1e-9)
        assert found.component_temperature == pytest.approx(float(state[found.component]), abs=1e-9)
        # Of what the loop cools it is the one with the least left to its limit.
        left = {u.name: u.limit - float(state[u.name]) for u in plan.units(tree.Source)}
        assert min(left, key=left.get) == found.component


def test_the_component_is_the_one_nearest_its_limit_not_the_warmest():
    # The graphics card is warmest, at some 54 degC; a processor that may have 50 degC and has 46 comes nearer.
    choice = coolant_choice(demo_plan().set(**{"processor.limit": 50.0}))
    assert {m.component for m in choice.mixes} == {"processor"}
    assert {m.component for m in DEMO.mixes} == {"graphics card"}


@each_example
def test_the_penalty_is_this_mix_less_water(path):
    choice = CHOICES[path.stem]
    water = solve(choice.plan.set(coolant="water")).state
    for found in choice.mixes:
        assert found.against_water["flow"] == pytest.approx(found.flow / float(water["flow"]) - 1, abs=1e-12)
        assert found.against_water["coolant"] == pytest.approx(
            found.over_room - float(water["coolant_over_room"]), abs=1e-9
        )
        rise = found.component_temperature - float(water[found.component])
        assert found.against_water["component"] == pytest.approx(rise, abs=1e-9)


@each_example
def test_viscosity_is_what_the_library_gives_at_the_mean_temperature(path):
    # CoolProp, by the fluid names in data/coolants.csv; bounds of the fits as in tests/test_coolant.py.
    for found in CHOICES[path.stem].mixes:
        assert found.fits[0] < found.mean < found.fits[1]
        library = PropsSI("V", "T", found.mean + 273.15, "P", 101325.0, FLUIDS[found.coolant.name])
        assert found.viscosity == pytest.approx(library, rel=5e-4 if found.coolant.name == "water" else 3e-3)


@pytest.mark.parametrize("name", FLUIDS)
def test_the_demo_by_hand(name):
    # Coolant leaves the graphics card warmest. On the way through it warms by its 300 W over mass flow and heat
    # capacity (CoolProp's, not ours); the card lies over the mean of its two ends by 300 W times the block's
    # resistance, 0.038 + 0.026 (3.6/q)^0.6 K/W with q in L/min (data/blocks.csv). Room: 25 degC.
    found = mix(DEMO, name)
    density, capacity = (PropsSI(key, "T", found.mean + 273.15, "P", 101325.0, FLUIDS[name]) for key in "DC")
    warmest = 25.0 + found.over_room
    halfway = warmest - 0.5 * 300.0 / (density * capacity * found.flow)
    by_hand = halfway + 300.0 * (0.038 + 0.026 * (3.6 / (6e4 * found.flow)) ** 0.6)
    assert found.component == "graphics card"
    assert found.component_temperature == pytest.approx(by_hand, abs=0.002)


def test_range_freezing_and_life_come_from_the_tables():
    water, glycol = mix(DEMO, "water"), mix(DEMO, "propylene-glycol-20")
    # data/coolants.csv and data/treatments.csv, typed by hand.
    assert (water.fits, water.freezing, water.life) == ((5.0, 70.0), 0.0, (6.0, 12.0))
    assert (glycol.freezing, glycol.life) == (-7.38, (12.0, 24.0))
    assert mix(DEMO, "propylene-glycol-20-mass").treatment["name"] == "none"
    assert mix(DEMO, "propylene-glycol-10", "particles").life == (3.0, 6.0)
    for found in DEMO.mixes:
        assert found.care.endswith(".")
        assert found.disposal.endswith(".")


def test_a_coloured_mix_has_the_numbers_of_its_base_and_says_so():
    base = mix(DEMO, "propylene-glycol-10")
    assert base.remark == ""
    for colour in ("dye", "particles"):
        found = mix(DEMO, "propylene-glycol-10", colour)
        assert (found.flow, found.viscosity, found.against_water) == (base.flow, base.viscosity, base.against_water)
        assert "no data" in found.remark
        assert colour in found.label


@pytest.mark.parametrize(
    ("settings", "own"),
    [
        ({"treatment": "inhibitor, biocide and dye"}, ("propylene-glycol-10", "inhibitor, biocide and dye")),
        ({"treatment": "none"}, ("propylene-glycol-10", "none")),
        ({"coolant": "water", "treatment": "inhibitor and biocide"}, ("water", "inhibitor and biocide")),
        ({"coolant": "water", "treatment": ""}, ("water", "biocide")),
    ],
)
def test_what_the_plan_says_is_in_its_coolant_is_its_own_mix(settings, own):
    choice = coolant_choice(demo_plan().set(**settings))
    assert [(m.coolant.name, m.treatment["name"]) for m in choice.mixes if m.own] == [own]
    assert len(choice.mixes) == len(DEMO.mixes)


def test_a_coolant_of_the_builders_own_is_judged_with_the_others():
    own = replace(coolant("propylene-glycol-30"), name="own mix", label="own mix", fraction=0.33)
    choice = coolant_choice(demo_plan().set(coolant=own))
    assert [m.label for m in choice.mixes][-3:] == ["own mix", "own mix, with dye", "own mix, with particles"]
    assert choice.mixes[-3].own
    assert choice.mixes[-3].flow == pytest.approx(mix(DEMO, "propylene-glycol-30").flow, rel=1e-12)


# ------------------------------------------------------------------------------------------------- no answer


def test_a_mix_that_would_leave_its_data_has_no_numbers_and_says_why():
    # A hot room, slow fans and a watt more: water just stays within its data, 40 % of propylene glycol does not.
    choice = coolant_choice(demo_plan().set(room_air=45.0, fan_speed=0.24, **{"graphics card.heat": 301.0}))
    water, thick = mix(choice, "water"), mix(choice, "propylene-glycol-40")
    assert (water.remark, thick.remark) == ("", "The coolant would leave the range of its data, 5 to 70 °C.")
    assert np.isfinite([water.flow, water.over_room, water.component_temperature]).all()
    numbers = [thick.flow, thick.over_room, thick.component_temperature, thick.mean, thick.viscosity]
    assert np.isnan([*numbers, *thick.against_water.values()]).all()
    assert thick.component == ""
    table = choice.table().set_index("coolant")
    assert np.isnan(table.loc[thick.label, "flow [L/min]"])
    assert table.loc[thick.label, "remark"] == thick.remark


def test_where_water_has_no_answer_nothing_is_held_against_it():
    choice = coolant_choice(demo_plan().set(fan_speed=0.1))
    assert all(m.remark for m in choice.mixes)
    assert np.isnan([m.against_water["flow"] for m in choice.mixes]).all()


def test_a_pump_that_stands_moves_nothing_and_that_is_known():
    choice = coolant_choice(demo_plan().set(pump_speed=0.1))
    assert {m.flow for m in choice.mixes} == {0.0}
    assert {m.remark for m in choice.mixes} == {"Nothing flows: the pump cannot start this loop."}
    assert np.isnan([m.against_water["flow"] for m in choice.mixes]).all()
    choice.table()


def test_a_loop_that_cools_nothing_still_has_its_flow():
    plan = demo_plan()
    bare = replace(plan, loop=tree.Series(*(i for i in plan.loop.items if not isinstance(i, tree.Source))))
    choice = coolant_choice(bare)
    assert {m.component for m in choice.mixes} == {""}
    assert all(m.flow > 0 for m in choice.mixes)


def test_many_designs_are_refused():
    with pytest.raises(InputError, match="one design"):
        coolant_choice(demo_plan().set(pump_speed=[0.5, 0.7]))


# ----------------------------------------------------------------------------------------------- what rules say


def contacts_by_hand(material, agents, inhibitor):
    """Return the gravest signal of data/contacts.csv read by itself; "" where a row is missing and none warns."""
    with (tables.DATA / "contacts.csv").open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["also"] in ("", f"inhibitor is {inhibitor}")]
    known = {(row["agent"], row["material"]): row["signal"] for row in rows}
    said = [known.get((agent, material), "") for agent in agents]
    return next((s for s in SIGNALS if s in said), "" if "" in said else "fits")


def agents_of(found):
    colour = found.treatment["colour"]
    return [found.coolant.base] + ([colour] if colour != "clear" else [])


@each_example
def test_common_materials_are_told_as_the_table_of_contacts_has_them(path):
    choice = CHOICES[path.stem]
    others = [m for m in choice.materials[choice.own_materials :] if m != CHANNELS]
    assert {"aluminium", "zinc", "steel", "FKM", "PC", "silicone"} <= set(choice.materials)
    assert others
    for found in choice.mixes:
        assert list(found.told) == list(found.why) == list(choice.materials)
        for material in others:
            assert found.told[material] == contacts_by_hand(material, agents_of(found), found.treatment["inhibitor"])


@each_example
def test_own_materials_are_never_judged_milder_than_the_plan_with_that_mix_would_be(path):
    choice = CHOICES[path.stem]
    for found in choice.mixes:
        plan = choice.plan.set(coolant=found.coolant.name, treatment=found.treatment["name"])
        rows = [
            row for row in solve(plan).warned() if row.quantity.startswith(tuple(f"{a} on " for a in agents_of(found)))
        ]
        for row in rows:
            material = row.quantity.partition(" on ")[2]
            assert material in choice.materials[: choice.own_materials]
            assert RANKS.index(found.told[material]) <= RANKS.index(row.signal)


def test_the_materials_of_the_plan_come_first():
    # Demo: copper family (tubes, brass tanks), nickel, solder, stainless pump; PETG tube, acrylic tank, EPDM rings.
    own = set(DEMO.materials[: DEMO.own_materials])
    assert own == {ITSELF, "copper", "nickel", "tin", "stainless", "PETG", "PMMA", "EPDM", "pump", CHANNELS}
    assert "filter" in CHOICES[SUITE.stem].materials[: CHOICES[SUITE.stem].own_materials]


def test_an_inhibitor_makes_a_pair_of_metals_milder():
    # Solder and nickel plate lie 0.35 V apart, 0.10 V more than normal surroundings allow (data/metals.csv).
    assert mix(DEMO, "propylene-glycol-20").told["tin"] == "notice"
    bare = mix(DEMO, "propylene-glycol-20-mass")
    assert bare.told["tin"] == "caution"
    assert "index" in bare.why["tin"]


def test_what_concerns_no_one_material_is_told_of_the_coolant_itself():
    said = {name: mix(DEMO, name).told[ITSELF] for name in coolants()}
    assert said["water"] == said["propylene-glycol-20"] == "fits"
    assert said["propylene-glycol-20-mass"] == "warning"  # no inhibitor
    assert {said[f"ethylene-glycol-{n}"] for n in (20, 30, 40)} == {"warning"}  # poisonous
    assert said["propylene-glycol-40"] == "notice"  # thick
    assert mix(DEMO, "propylene-glycol-10", "dye").told[ITSELF] == "notice"
    assert DEMO.gravest(mix(DEMO, "propylene-glycol-20-mass")) == "warning"
    grown = coolant_choice(demo_plan().set(coolant="water", treatment="none"))
    assert mix(grown, "water").told[ITSELF] == "caution"  # no biocide


def test_particles_stop_up_fine_channels_whether_this_plan_has_them_or_not():
    cube = CHOICES[CUBE.stem]  # its only block has channels of 0.8 mm
    assert CHANNELS in cube.materials[cube.own_materials :]
    for choice in (DEMO, cube):
        *clear, dyed, particles = choice.mixes
        assert {m.told[CHANNELS] for m in (*clear, dyed)} == {"fits"}
        assert particles.told[CHANNELS] == "warning"
    assert DEMO.gravest(DEMO.mixes[-1]) == "warning"
    assert RANKS.index(cube.gravest(cube.mixes[-1])) > RANKS.index("warning")


def test_no_coolant_makes_aluminium_beside_copper_good():
    choice = coolant_choice(demo_plan().set(radiator="3 x 120 mm, slim, medium fins, aluminium"))
    assert {m.told["aluminium"] for m in choice.mixes} == {"danger"}


def test_what_does_not_hang_on_the_coolant_is_not_told_of_it():
    # A sharp edge and a wrong assembly aid are a danger to the loop whatever is in it.
    spoilt = coolant_choice(demo_plan().set(tube_edge="sharp", assembly_aid="mineral oil", cleaner="acetone"))
    for here, there in zip(spoilt.mixes, DEMO.mixes, strict=True):
        assert here.told == there.told


def test_a_house_rule_on_the_coolant_is_told_too():
    rule = HouseRule("no dye here", "coolant colour is dye", "danger", "The photographs are black and white.")
    choice = coolant_choice(replace(demo_plan(), house_rules=(rule,)))
    dyed = mix(choice, "propylene-glycol-10", "dye")
    assert (dyed.told[ITSELF], dyed.why[ITSELF]) == ("danger", rule.why)
    assert mix(choice, "propylene-glycol-10").told[ITSELF] == "fits"


# -------------------------------------------------------------------------------------------------------- table


@pytest.mark.parametrize("system", ["metric", "us"])
def test_the_table_has_its_units_in_the_header_and_the_numbers_of_the_mixes(system):
    table, units = DEMO.table(system), DISPLAY[system]
    assert len(table) == len(DEMO.mixes)
    flow, warm, rise = (units[kind] for kind in ("flow", "temperature", "difference"))
    for number, found in enumerate(DEMO.mixes):
        row = table.iloc[number]
        assert row["coolant"] == found.label
        assert row["in it"] == found.treatment["name"]
        assert row[f"flow [{flow.label}]"] == pytest.approx(flow.convert(found.flow), abs=0.005)
        assert row["flow changed by [%]"] == pytest.approx(100 * found.against_water["flow"], abs=0.05)
        assert row[f"it has [{warm.label}]"] == pytest.approx(warm.convert(found.component_temperature), abs=0.05)
        header = f"it is warmer by [{rise.label}]"
        assert row[header] == pytest.approx(rise.convert(found.against_water["component"]), abs=0.005)
        assert row["viscosity [mPa s]"] == pytest.approx(1e3 * found.viscosity, abs=0.005)
        assert row[f"freezes [{warm.label}]"] == pytest.approx(warm.convert(found.freezing), abs=0.05)
        assert row["nearest its limit"] == found.component


@each_example
def test_life_care_and_disposal_stand_beside_each_kind_of_mix_once(path):
    choice = CHOICES[path.stem]
    rows = choice.care().to_dict("records")
    assert len({(row["coolant"], row["in it"]) for row in rows}) == len(rows)
    assert (rows[0]["coolant"], rows[0]["in it"], rows[0]["life [months]"]) == ("water", "biocide", "6 to 12")
    for found in choice.mixes:
        name = "nothing" if found.treatment["name"] == "none" else found.treatment["name"]
        (row,) = (row for row in rows if (row["coolant"], row["in it"]) == (found.coolant.base, name))
        assert (row["care"], row["disposal"]) == (found.treatment["care"], found.treatment["disposal"])


# ----------------------------------------------------------------------------------------------- what touches what


def test_the_matrix_has_every_pair_and_none_where_nothing_is_known():
    found = contact_matrix(["water", "dye", "silver"], ["copper", "EPDM", "pump"])
    assert list(found) == [(a, m) for a in ("water", "dye", "silver") for m in ("copper", "EPDM", "pump")]
    assert found["water", "EPDM"]["signal"] == "fits"
    assert found["silver", "EPDM"] is None


@pytest.mark.parametrize(
    ("agents", "materials", "field"),
    [(["minral oil"], ["EPDM"], "agent"), (["water"], ["EPDN"], "material"), (["clear"], ["EPDM"], "agent")],
)
def test_a_name_that_is_unknown_is_refused_with_its_neighbours(agents, materials, field):
    with pytest.raises(InputError) as caught:
        contact_matrix(agents, materials)
    assert caught.value.field == field


@pytest.mark.parametrize(
    ("agent", "material", "signal"),
    [  # facts of the trade, each common practice or from memory
        ("mineral oil", "EPDM", "danger"),
        ("petroleum jelly", "EPDM", "danger"),
        ("soapy water", "EPDM", "fits"),
        ("mineral oil", "NBR", "fits"),
        ("silicone grease", "silicone", "warning"),
        ("isopropyl alcohol", "PMMA", "warning"),
        ("acetone", "PETG", "danger"),
        ("acetone", "PMMA", "danger"),
        ("water", "steel", "warning"),
        ("water", "copper", "fits"),
        ("propylene glycol", "zinc", "warning"),
        ("particles", "filter", "warning"),
    ],
)
def test_facts_of_the_trade(agent, material, signal):
    row = contact_matrix([agent], [material])[agent, material]
    assert row["signal"] == signal
    assert "common practice" in row["basis"] or "from memory" in row["basis"]


def test_every_contact_has_words_action_and_provenance_once():
    sources = tables.by_name("sources.csv", "key")
    for row in ROWS:
        assert row["signal"] in (*SIGNALS, rules.FITS), row
        assert row["why"].endswith("."), row
        assert row["action"].endswith("."), row
        assert row["source"] in sources, row
        assert "common practice" in row["basis"] or "from memory" in row["basis"], row
    assert len({(row["agent"], row["material"], row["also"]) for row in ROWS}) == len(ROWS)


def test_an_inhibitor_tells_two_rows_of_one_pair_apart():
    with_, without = (contact_matrix(["water"], ["steel"], has)["water", "steel"] for has in (True, False))
    assert (with_["signal"], without["signal"]) == ("caution", "warning")
    assert contact_matrix(["water"], ["steel"])["water", "steel"] is without  # water usually has none


def test_every_contact_names_things_that_exist():
    bases = {row["base"] for row in tables.read_table("coolants.csv")}
    colours = {row["colour"] for row in tables.read_table("treatments.csv")} - {"clear"}
    families = {row["family"] for row in tables.read_table("metals.csv")}
    plastics = {row["name"] for row in tables.read_table("plastics.csv")}
    assert {row["agent"] for row in ROWS} <= bases | colours | {*plans.AIDS, "silver"}
    assert {row["material"] for row in ROWS} <= families | plastics | {"pump", "filter"}
