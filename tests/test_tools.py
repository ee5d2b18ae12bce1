"""Tools and consumables: what each kind of tube needs, sizes and amounts counted by hand from the plan files."""

import re
from dataclasses import replace

import numpy as np
import pytest
from examples import DEMO, SUITE, each_example

from loopmath import InputError, catalogue, load_plan, tables
from loopmath import loop as tree
from loopmath.parts import Tube
from loopmath.rules import SIGNALS
from loopmath.tools import FIRST, KINDS, MEASURES, PER, SOFT, tools

QUIET = tables.DATA / "plans" / "quiet_workshop.toml"
CUBE = tables.DATA / "plans" / "reading_cube.toml"
LISTED = tables.read_table("tools.csv")
INSERT = "bending insert, flexible cord that bears the heat"
RIGID = [kind for kind in KINDS if kind != SOFT]
MATERIALS = [*RIGID, "plasticised PVC", "EPDM", "silicone"]
EITHER = {"metric", "us"}


def rows(plan):
    return {row.item: row for row in tools(plan).rows}


def of_tubes(plan, **tubes):
    """Return a plan with other tubes, by the first word of their runs' names, all others as they are."""

    def one(leaf):
        name = tubes.get(leaf.name.split()[0])
        return replace(leaf, tube=catalogue.part("tube", name)) if name and isinstance(leaf, tree.Run) else leaf

    return plan.with_loop(one)


# ---------------------------------------------------------------------------------------------- every plan


@each_example
def test_every_plan_has_its_list(path):
    plan = load_plan(path)
    found, cut = tools(plan), {leaf.tube.material for leaf in tree.leaves(plan.loop) if hasattr(leaf, "tube")}
    assert {material for row in found.rows for material in row.materials} == cut
    assert all(row.amount >= 1 for row in found.rows)
    for system in EITHER:
        table = found.table(system)
        assert list(table["item"]) == [row.item for row in found.rows]
        assert not table.map(lambda cell: bool(re.search(r"[{}]|nan|none", cell))).any(axis=None)
        assert table["for"].str.len().min() > 0
        assert not table.loc[:, "size"].str.contains(" in " if system == "metric" else " mm").any()
    assert {row.item for row in found.rows} <= {row["item"] for row in LISTED}


@each_example
def test_cautions_stand_once_the_gravest_first_and_end_with_who_comes_first(path):
    found = tools(load_plan(path))
    *cautions, last = found.cautions
    assert last == FIRST
    assert cautions
    ranks = [SIGNALS.index(words.partition(":")[0].lower()) for words in cautions]
    assert ranks == sorted(ranks)
    sentences = [s for words in cautions for s in words.partition(": ")[2].split(". ")]
    assert len(set(sentences)) == len(sentences)
    assert {words.partition(": ")[2] for words in cautions} == {row.caution for row in found.rows} - {""}
    shown = found.table()["heed"]
    assert set(shown) - {""} == {words[0].lower() + words[1:] for words in cautions}


# --------------------------------------------------------------------------------------- one plan, by hand


def test_the_quiet_workshop_by_hand():
    """PETG 13/10 mm: five runs, all with bends, and two legs; "front radiator to reservoir" is the longest piece."""
    found = rows(load_plan(QUIET))
    # Its legs are 282 and 52 mm from end to end, and a right angle of 26 mm saves 26 * (2 - pi/2) = 11.2 mm.
    assert found["rule"].size() == "at least 322.8 mm long"
    assert found[INSERT].size() == "for a bore of 10.0 mm, at least 422.8 mm long"  # with 50 mm of grip at either end
    # Bent to 26 mm, the least of data/tubes.csv; half of 13 mm nearer to the inside.
    former = "26.0 mm radius to the middle of the tube, 19.5 mm to its inner side, for 13.0 mm tube"
    assert found["bending former"].size() == former
    # A wall of (13 - 10)/2 = 1.5 mm with two teeth in it.
    (teeth,) = found["fine-toothed saw"].sizes
    assert teeth.measures["teeth"] == pytest.approx(0.75e-3)
    # Seven pieces have 14 ends, each with 2 rings, and a fifth more: 28 * 1.2 = 33.6.
    assert found["O-ring"].amount == 34
    assert found["O-ring"].size() == "for 13.0 mm tube, 1.78 mm section, EPDM"
    # A sheet does for ten ends.
    assert (found["fine paper"].amount, found["fine paper"].amount_words) == (2, "2 sheets")
    assert found["safety glasses"].amount_words == "1 pair"
    assert found["practice piece"].size() == "of PETG, 13.0 mm outside, 10.0 mm bore, 150.0 mm long"
    assert found["practice piece"].amount == 1
    assert "spare piece" not in found  # the plan cuts none twice


def test_the_quiet_workshop_in_inches():
    found = rows(load_plan(QUIET))
    assert found[INSERT].size("us") == "for a bore of 0.394 in, at least 16.647 in long"  # 422.84 mm / 25.4
    assert found["O-ring"].size("us") == "for 0.512 in tube, 0.0701 in section, EPDM"  # 1.78 mm / 25.4


def test_rings_are_those_of_the_plan():
    plan = load_plan(SUITE)
    # Ten runs and two dead legs: 24 ends, a ring at each, and a fifth more: 28.8.
    one = rows(replace(plan, rings=1.0, seal="FKM", ring_section=0.0024))["O-ring"]
    assert (one.amount, one.size()) == (29, "for 16.0 mm tube, 2.40 mm section, FKM")
    assert "O-ring" not in rows(replace(plan, rings=0.0))
    # Bare runs sit in no fitting: the four ends of the dead legs are left, 4 * 2 * 1.2 = 9.6.
    bare = plan.with_loop(lambda e: replace(e, ends=0.0) if isinstance(e, tree.Run) else e)
    assert rows(bare)["O-ring"].amount == 10


def test_pieces_that_the_plan_cuts_twice_are_the_longest():
    plan = load_plan(QUIET).set(spares=2)
    spare = rows(plan)["spare piece"]
    assert spare.size() == "pump to graphics card; front radiator to reservoir"  # 272.5 and 322.8 mm, in flow order
    assert (spare.amount, spare.materials) == (2, ("PETG",))


def test_practice_pieces_are_those_of_the_plan():
    plan = load_plan(QUIET)
    assert "practice piece" not in rows(plan.set(practice=0))
    three = rows(replace(plan.set(practice=3), practice_length=0.2))["practice piece"]
    assert (three.amount, three.sizes[0].measures["practice"]) == (3, 0.2)


# ------------------------------------------------------------------------------------------- each material

#: How plastic tube is cut, and how it is bent.
SAWN = {"fine-toothed saw", "mitre box", "dust mask"}
WARMED = {INSERT, "bending former", "hot-air gun with a stand", "heat-proof gloves"}
#: What a plan with bends is told to have and not to have, by its material.
NEEDS = {
    "PETG": ({*SAWN, *WARMED, "reaming bit, turned by hand"}, {"wheel tube cutter", "tube bender"}),
    "PMMA": ({*SAWN, *WARMED}, {"reaming bit, turned by hand", "wheel tube cutter", "tube bender"}),
    "copper": (
        {"wheel tube cutter", "tube bender", "isopropyl alcohol"},
        {*SAWN, *WARMED, "reaming bit, turned by hand"},
    ),
    SOFT: (
        {"sharp knife or tube shears"},
        {*SAWN, *WARMED, "deburring tool", "fine flat file", "fine paper", "O-ring", "tube bender", "practice piece"},
    ),
}


@pytest.mark.parametrize("material", MATERIALS)
def test_each_material_has_its_tools_and_not_those_of_others(material):
    found = rows(load_plan(SUITE).set(tube_material=material))
    there, not_there = NEEDS.get(material, NEEDS[SOFT])
    assert there <= set(found)
    assert not not_there & set(found)
    every = {"rule", "soapy water", "paper towels", "measuring jug", "marker that wipes off with water"}
    assert every <= set(found)
    assert all(row.materials == (material,) for row in found.values())
    if material in RIGID:
        hard = {"deburring tool", "fine flat file", "vice with soft jaws", "safety glasses", "small square", "O-ring"}
        hard |= {"masking tape", "length stop", "angle gauge", "practice piece", "gloves against cuts"}
        assert hard <= set(found)


@pytest.mark.parametrize("material", RIGID)
def test_a_tube_that_is_not_bent_needs_nothing_to_bend_it(material):
    straight = load_plan(SUITE).as_counts().set(tube_material=material)
    straight = straight.with_loop(lambda e: replace(e, bends=0.0) if isinstance(e, tree.Run) else e)
    bent_only = {row["item"] for row in LISTED if row["needs"] == "bends"}
    assert {INSERT, "bending former", "tube bender", "hot-air gun with a stand", "practice piece"} <= bent_only
    assert not bent_only & set(rows(straight))
    assert "deburring tool" in rows(straight)


def test_what_is_used_on_tube_harms_none_of_it():
    """data/contacts.csv says what does."""
    told = {(c["agent"], c["material"]): c["signal"] for c in tables.read_table("contacts.csv")}
    listed = {}
    for material in MATERIALS:
        for item in rows(load_plan(SUITE).set(tube_material=material)):
            listed.setdefault(item, set()).add(material)
    assert listed["soapy water"] == set(MATERIALS)
    assert listed["isopropyl alcohol"] == {"copper"}
    assert told["isopropyl alcohol", "PMMA"] == "warning"
    assert {told.get((item, m), "fits") for item, found in listed.items() for m in found} == {"fits"}


def test_the_list_agrees_with_what_the_kinds_of_tube_say():
    """A saw for plastics, a wheel cutter for copper, a reaming bit for PETG alone, nothing to finish on soft tube."""
    said = {name: row["tools"] for name, row in tables.by_name("tube_kinds.csv").items()}
    kept = {row["item"]: row["materials"].split("; ") for row in LISTED}
    for material in said:
        kind = material if material in RIGID else SOFT
        assert (kind in kept["reaming bit, turned by hand"]) == ("reaming bit suits" in said[material])
        assert (kind in kept["wheel tube cutter"]) == ("wheel cutter suits" in said[material])
        assert (kind in kept["sharp knife or tube shears"]) == ("knife or tube shears" in said[material])
        assert (kind in kept["deburring tool"]) == ("nothing to finish" not in said[material])
        assert (kind in kept["dust mask"]) == ("a mask" in said[material])
        assert (kind in kept["safety glasses"]) == ("glasses" in said[material])


# ----------------------------------------------------------------------------------- several tubes in one plan


def test_tubes_of_several_kinds_share_rows_and_their_sizes_are_listed():
    """
    The quiet workshop by its counts, with "processor to top radiator" (119.8 mm, 2 bends) of acrylic 16/12 and "top
    radiator to front radiator" (230.8 mm, 1 bend) of copper 12/10, and "front radiator to reservoir" (322.8 mm) of soft
    EPDM 13/10.
    """
    plan = load_plan(QUIET).as_counts()
    plan = of_tubes(plan, processor="acrylic 16/12 mm", top="copper 12/10 mm", front="EPDM 13/10 mm")
    found = rows(plan)
    assert found["rule"].materials == ("PETG", "PMMA", "copper", "EPDM")
    assert found["rule"].size() == "at least 322.8 mm long"
    assert found["mitre box"].materials == ("PETG", "PMMA")
    assert found["mitre box"].size() == "takes 16.0 mm tube"
    assert found["wheel tube cutter"].size() == "takes 12.0 mm tube"
    assert found["sharp knife or tube shears"].materials == ("EPDM",)
    # One insert a bore: PETG's longest bent piece is 272.5 mm, the acrylic one 119.8 mm; copper takes none.
    both = "for a bore of 10.0 mm, at least 372.5 mm long; for a bore of 12.0 mm, at least 219.8 mm long"
    assert found[INSERT].size() == both
    assert found[INSERT].amount == 2
    assert found["tube bender"].size() == "for 12.0 mm tube, 30.0 mm radius to its middle"
    # PETG: two runs and two dead legs, 8 ends, 19.2 rings; acrylic and copper 2 ends each, 4.8.
    sizes = "20 for 13.0 mm tube, 1.78 mm section, EPDM; 5 for 16.0 mm tube, 1.78 mm section, EPDM; "
    assert found["O-ring"].size() == sizes + "5 for 12.0 mm tube, 1.78 mm section, EPDM"
    assert (found["O-ring"].amount, found["O-ring"].materials) == (30, ("PETG", "PMMA", "copper"))
    assert found["fine paper"].amount == 2  # 12 ends
    assert found["isopropyl alcohol"].materials == ("copper",)
    table = tools(plan).table().set_index("item")
    assert table.loc["rule", "for"] == "PETG, acrylic (PMMA), copper, EPDM rubber"


def test_two_tubes_of_one_bore_share_an_insert_but_not_a_former():
    """One run of 14/10 mm beside 13/10 mm, and acrylic of the size of PETG."""
    plan = of_tubes(load_plan(QUIET).as_counts(), top="PETG 14/10 mm", processor="acrylic 14/10 mm")
    found = rows(plan)
    assert found[INSERT].size() == "for a bore of 10.0 mm, at least 422.8 mm long"
    assert found[INSERT].materials == ("PETG", "PMMA")
    assert [round(1e3 * s.measures["radius"]) for s in found["bending former"].sizes] == [26, 28]
    assert [s.measures["material"] for s in found["practice piece"].sizes] == ["PETG", "acrylic (PMMA)", "PETG"]
    assert found["soft brush"].amount == 1
    # The thinner wall asks for the finer saw: (13 - 10)/2/2.
    assert found["fine-toothed saw"].sizes[0].measures["teeth"] == pytest.approx(0.75e-3)


def test_the_longest_piece_of_an_insert_is_one_that_is_bent():
    straight = load_plan(QUIET).as_counts()
    straight = straight.with_loop(lambda e: replace(e, bends=0.0) if e.name == "front radiator to reservoir" else e)
    # The next is "pump to graphics card": 53 + 120 + 80 + 53 mm less three right angles, 306 - 33.5 = 272.5 mm.
    assert rows(straight)[INSERT].size() == "for a bore of 10.0 mm, at least 372.5 mm long"
    assert rows(straight)["rule"].size() == "at least 322.8 mm long"


def test_rows_name_only_the_materials_whose_amount_they_hold():
    plan = of_tubes(load_plan(QUIET), front="copper 12/10 mm").set(spares=1)
    assert rows(plan)["spare piece"].materials == ("copper",)


# --------------------------------------------------------------------------------------- runs laid in space


def test_runs_laid_in_space_give_radius_and_length():
    plan = load_plan(DEMO)
    assert plan.paths
    wide = plan.set(bend_radius=0.03)
    bent = [path for path in wide.paths.values() if path.bends]
    (insert,), (former,) = rows(wide)[INSERT].sizes, rows(wide)["bending former"].sizes
    assert {float(path.radius) for path in bent} == {0.03}
    assert former.measures["radius"] == 0.03
    assert former.measures["rim"] == pytest.approx(0.03 - 0.014 / 2)
    assert insert.measures["insert"] == pytest.approx(max(float(path.length) for path in bent) + 0.1)
    # The same tubes by their counts are bent to what the tube allows: 28 mm in data/tubes.csv.
    assert rows(plan.as_counts())["bending former"].sizes[0].measures["radius"] == 0.028


# ------------------------------------------------------------------------------------------------ bad input


def test_a_plan_without_tube_needs_nothing():
    plan = load_plan(CUBE)
    items = [item for item in plan.loop.items if not isinstance(item, tree.Run)]
    found = tools(replace(plan, loop=tree.Series(*items)))
    assert (found.rows, found.cautions) == ((), ())
    assert found.table().empty
    assert list(found.table().columns) == list(tools(plan).table().columns)


def test_a_run_of_no_length_is_no_piece():
    plan = load_plan(QUIET).as_counts()
    # Six pieces are left: 12 ends, 24 rings and a fifth more.
    short = plan.with_loop(lambda e: replace(e, length=0.0) if e.name == "processor to top radiator" else e)
    assert rows(short)["O-ring"].amount == 29


def test_a_rigid_tube_no_tools_are_known_for_is_refused_by_name():
    tube = Tube("PC 13/10 mm", "PC", 0.013, 0.010)
    plan = load_plan(CUBE).with_loop(lambda e: replace(e, tube=tube) if e.name == "radiator to reservoir" else e)
    with pytest.raises(InputError, match="radiator to reservoir, material = 'PC'.*'PETG', 'PMMA', 'copper'.*soft"):
        tools(plan)


def test_a_soft_tube_of_any_material_is_cut_as_soft_tube_is():
    tube = Tube("NBR 13/10 mm", "NBR", 0.013, 0.010, rigid=False)
    found = rows(load_plan(CUBE).with_loop(lambda e: replace(e, tube=tube) if isinstance(e, tree.Run) else e))
    assert found["sharp knife or tube shears"].materials == ("NBR",)


def test_many_designs_are_refused():
    with pytest.raises(InputError, match="2 designs.*one design"):
        tools(load_plan(CUBE).set(bore=np.array([0.01, 0.012])))


def test_units_that_are_none_are_refused():
    with pytest.raises(InputError, match="system"):
        tools(load_plan(CUBE)).table("furlongs")


@pytest.fixture
def with_row(monkeypatch):
    """Return a function that puts one more row, with some cells changed, into data/tools.csv."""
    read = tables.read_table

    def put(**cells):
        more = {"tools.csv": (dict(LISTED[0]) | {"item": "one more"} | cells,)}
        monkeypatch.setattr(tables, "read_table", lambda name: (*read(name), *more.get(name, ())))

    return put


def test_a_row_more_is_a_tool_more(with_row):
    with_row(size="for {bore} bore", amount=0.5, per="end", unit="plug")
    more = rows(load_plan(CUBE))["one more"]
    assert (more.size(), more.amount_words) == ("for 10.0 mm bore", "3 plugs")  # three runs, six ends


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("item", ""),
        ("item", "rule"),
        ("item", 3.0),
        ("why", ""),
        ("materials", ""),
        ("materials", "PETG, PMMA"),
        ("materials", "PETG; glass"),
        ("needs", "bend"),
        ("size", "{girth} round"),
        ("size", 3.0),
        ("amount", ""),
        ("amount", 0.0),
        ("amount", "some"),
        ("per", ""),
        ("per", "metre"),
        ("signal", "care"),
        ("signal", "caution"),
        ("caution", "it bites."),
    ],
)
def test_a_bad_row_is_refused_with_line_and_column(with_row, column, value):
    with_row(**{"signal": "", "caution": ""} | {column: value})
    told = "caution" if column == "signal" and value in SIGNALS else column
    with pytest.raises(InputError, match=rf"tools\.csv line {len(LISTED) + 2} column {told}"):
        tools(load_plan(CUBE))


# ------------------------------------------------------------------------------------------- the table itself


def test_every_row_says_that_it_is_common_practice():
    for row in LISTED:
        assert (row["source"], row["locator"]) == ("common-practice", "none")
        assert row["basis"].startswith("common practice, no source")


def test_every_measure_and_every_count_is_used():
    assert {name for row in LISTED for name in re.findall(r"\{(.*?)\}", row["size"])} == set(MEASURES)
    assert {row["per"] for row in LISTED} == set(PER)


def test_words_are_calm_sentences_and_cautions_cover_what_can_hurt():
    for row in LISTED:
        assert re.fullmatch(r"[A-Z].*\.", row["why"]), row["item"]
        assert not re.search(r"!|\b[A-Z]{5,}\b", row["why"] + row["caution"])
        assert row["signal"] in ("", "warning", "caution")
        assert not row["caution"] or re.fullmatch(r"[a-z].*\.", row["caution"])
    told = " ".join(row["caution"] for row in LISTED)
    for hazard in ("burn", "dust", "splinters", "fumes", "cut", "fresh air", "fire", "pinches", "eyes", "lungs"):
        assert hazard in told, hazard
    assert "before bending" in next(row["why"] for row in LISTED if row["item"] == "deburring tool")
