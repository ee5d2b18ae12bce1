"""The user's own parts: kept in a file that reads as it was written, offered everywhere, carried along by plans."""

import threading
from dataclasses import fields, replace

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from random_plans import NAMES, changed_fields

from loopmath import InputError, catalogue, demo_plan, load_plan, solve, tables
from loopmath import loop as tree
from loopmath.catalogue import CATALOGUE, keep_part, own_file, own_parts, own_trouble
from loopmath.plansave import described, save_plan, text_of

PUMP = replace(catalogue.shipped("pump", "standard pump, 3.7 m"), name="bench pump", shutoff_head=4.25, price=None)
pytestmark = pytest.mark.usefixtures("own")


def values(record) -> dict:
    return {f.name: getattr(record, f.name) for f in fields(record)}


def write(text: str) -> bytes:
    own_file().parent.mkdir(parents=True, exist_ok=True)
    own_file().write_bytes(text.encode())
    return own_file().read_bytes()


def test_without_a_file_there_are_no_parts_of_ones_own_and_no_trouble(own):
    assert own_parts() == {}
    assert own_trouble() == ""
    assert not own.exists()


def test_a_part_that_was_kept_is_offered_first_and_found(own):
    saved = keep_part("pump", PUMP, "bucket and scale, in March")
    assert saved.path == own / "parts.toml"
    assert catalogue.names("pump")[0] == "bench pump"
    assert values(catalogue.part("pump", "bench pump")) == values(PUMP)
    assert own_parts().keys() == {("pump", "bench pump")}
    assert own_trouble() == ""
    assert 'note = "bucket and scale, in March"' in saved.path.read_text()
    assert "bench pump" not in catalogue.names("fan")


@pytest.mark.parametrize("kind", CATALOGUE)
def test_a_part_of_every_kind_is_kept_as_it_is(kind):
    names = sorted(tables.by_name(CATALOGUE[kind][0]))
    for number, name in enumerate(names):
        record = replace(catalogue.shipped(kind, name), name=f"mine {number}")
        keep_part(kind, record)
        assert values(catalogue.part(kind, f"mine {number}")) == values(record)
    assert catalogue.names(kind) == [*(f"mine {n}" for n in range(len(names))), *tables.by_name(CATALOGUE[kind][0])]


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.data())
def test_any_part_under_any_name_is_kept_bit_for_bit(data):
    kind = data.draw(st.sampled_from(sorted(CATALOGUE)))
    name = data.draw(NAMES)
    assume(name.strip() == name and name)
    base = catalogue.shipped(kind, data.draw(st.sampled_from(sorted(tables.by_name(CATALOGUE[kind][0])))))
    record = replace(changed_fields(data.draw, base), name=name)
    write("format = 1\n# mine\n")
    keep_part(kind, record, data.draw(st.text(st.characters(exclude_categories=("Cs",)), max_size=9)))
    assert values(own_parts()[kind, name]) == values(record)
    assert "# mine" in own_file().read_text(encoding="utf-8")


@pytest.mark.parametrize("name", ["", "  ", " pump", "pump\n"])
def test_an_empty_name_or_one_with_blanks_at_its_ends_is_refused(own, name):
    with pytest.raises(InputError, match="a name without blanks at its ends"):
        keep_part("pump", replace(PUMP, name=name))
    assert not own.exists()


def test_a_name_that_is_taken_is_refused_and_the_file_stays():
    with pytest.raises(InputError, match="a name not used yet"):
        keep_part("pump", replace(PUMP, name="standard pump, 3.7 m"))
    keep_part("pump", PUMP)
    before = own_file().read_bytes()
    with pytest.raises(InputError, match=r"'bench pump' is not accepted.*a name not used yet"):
        keep_part("pump", replace(PUMP, shutoff_head=1.0))
    assert own_file().read_bytes() == before


@pytest.mark.parametrize(
    ("kind", "field", "name"),
    [
        ("pump", "metal", "coper"),
        ("block", "metal", "nickel plate over tin plate"),
        ("radiator", "tank_metal", "bras"),
        ("tube", "material", "petg2"),
        ("reservoir", "material", ""),
    ],
)
def test_a_part_of_an_unknown_material_is_not_kept_for_its_file_could_not_be_read(own, kind, field, name):
    record = replace(catalogue.shipped(kind, catalogue.names(kind)[0]), name="mine")
    with pytest.raises(InputError, match=f"mine, {field}"):
        keep_part(kind, replace(record, **{field: name}))
    assert not own.exists()
    if field != "material":
        keep_part(kind, replace(record, **{field: "nickel plate over brass"}))
        assert getattr(catalogue.part(kind, "mine"), field) == "nickel plate over brass"


def test_a_name_taken_for_another_kind_is_free():
    keep_part("pump", PUMP)
    fan = replace(catalogue.shipped("fan", "quiet fan 120 mm, 1300 rpm"), name="bench pump")
    keep_part("fan", fan)
    assert values(catalogue.part("fan", "bench pump")) == values(fan)
    assert values(catalogue.part("pump", "bench pump")) == values(PUMP)


def test_a_kind_that_is_none_an_array_and_a_part_of_another_make_are_refused(own):
    for kind, record, words in (
        ("pmup", PUMP, "pump"),
        ("pump", replace(PUMP, shutoff_head=[3.0, 4.0]), "one value"),
        ("fan", PUMP, "a Fan"),
    ):
        with pytest.raises(InputError, match=words):
            keep_part(kind, record)
    assert not own.exists()


# ------------------------------------------------------------------------------------------- the file by hand

BY_HAND = """# My bench.
format = 1   # of this file

[fan]        # fans first
'slow one' = { size = "120 mm", free_flow = "40 ft^3/min", shutoff_pressure = "1.2 mmH2O" }   # by the meter

[inline."a \\"filter\\", 水"]   # quotes and all
kind_of_part = "filter"
quadratic = "0.9 kPa/(L/min)^2"     # twice measured
note = "the coarse one"
# the end
"""


def test_comments_and_units_by_hand_stay_when_a_part_is_kept():
    write(BY_HAND)
    assert own_parts()["fan", "slow one"].free_flow == pytest.approx(40 * 0.3048**3 / 60)
    keep_part("pump", PUMP)
    keep_part("fan", replace(own_parts()["fan", "slow one"], name="slow two"))
    keep_part("inline", replace(own_parts()["inline", 'a "filter", 水'], name="b"))
    text = own_file().read_text(encoding="utf-8")
    left = iter(text.split("\n"))
    assert all(line in left for line in BY_HAND.rstrip("\n").split("\n")), text  # each of them, in their order
    assert len(own_parts()) == 5
    assert own_trouble() == ""


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ("format = 1 ", "format = 2 ", 2, "format = 2 is not accepted. Accepted: 1."),
        ("format = 1 ", "format = true ", 2, "format = True"),
        ('"120 mm"', '"12 m"', 5, "fan.slow one.size = 12.0"),
        ('"40 ft^3/min"', '"40 ft"', 5, "fan.slow one.free_flow"),
        ("free_flow", "fre_flow", 5, "'free_flow'"),
        ("[inline.", "[inlin.", 7, "inlin = 'inlin'"),
        ('kind_of_part = "filter"', "kind_of_part = 3", 8, "text in quotes"),
        ('"the coarse one"', "7", 10, "text in quotes"),
        ('"filter"\n', '"filter"\nmetal = "coper"\n', 9, "'copper'"),
        ('"filter"\n', '"filter"\nmetal = "nickel plate over tin plate"\n', 9, "tin plate is a plating itself"),
        ('"filter"\n', '"filter"\nmetal = "copper over brass"\n', 9, "a plating on top; copper is none"),
        ('"filter"\n', '"filter"\nwetted_area = "9 mm"\n', 9, 'inline.a "filter", 水.wetted_area'),
    ],
)
def test_a_file_with_a_fault_is_told_with_its_line_left_alone_and_the_catalogue_still_serves(old, new, line, words):
    raw = write(BY_HAND.replace(old, new))
    assert f"line {line}: " in own_trouble()
    assert words in own_trouble()
    assert own_trouble().startswith("Your own parts are left out until this is put right: ")
    with pytest.raises(InputError):
        own_parts()
    with pytest.raises(InputError):
        keep_part("pump", PUMP)
    assert own_file().read_bytes() == raw
    assert catalogue.names("fan") == [*tables.by_name("fans.csv")]
    assert catalogue.part("fan", "quiet fan 120 mm, 1300 rpm").size == 0.12
    assert solve(demo_plan()).flow.magnitude > 0
    write(BY_HAND)
    assert own_trouble() == ""


@pytest.mark.parametrize("raw", [b"\xff", b"[fan", b"", b"x" * 2_000_000, b"format = 1\nformat = 1"])
def test_a_file_that_is_none_is_told_and_left_alone(raw):
    own_file().parent.mkdir(parents=True, exist_ok=True)
    own_file().write_bytes(raw)
    assert "own parts file" in own_trouble() or "format" in own_trouble()
    with pytest.raises(InputError):
        keep_part("pump", PUMP)
    assert own_file().read_bytes() == raw


def test_a_folder_in_the_place_of_the_file_is_told():
    own_file().mkdir(parents=True)
    assert "a file, not a folder" in own_trouble()
    assert catalogue.names("pump") == [*tables.by_name("pumps.csv")]


def test_a_part_of_ones_own_does_not_push_out_one_of_the_catalogue():
    write('format = 1\n[pump."standard pump, 3.7 m"]\nshutoff_head = "9 m"\nrunout_flow = "5 L/min"\n')
    assert catalogue.part("pump", "standard pump, 3.7 m").shutoff_head == 3.7
    assert catalogue.names("pump") == [*tables.by_name("pumps.csv")]


def test_what_is_handed_out_cannot_be_changed_by_mistake():
    keep_part("pump", PUMP)
    own_parts().clear()
    assert ("pump", "bench pump") in own_parts()


def test_the_file_changed_by_hand_is_read_anew():
    write(BY_HAND)
    assert ("fan", "slow one") in own_parts()
    write(BY_HAND.replace("'slow one'", "'slower one'"))
    assert ("fan", "slower one") in own_parts()


# ------------------------------------------------------------------------------------------------ used in a plan


def test_a_part_of_ones_own_goes_into_the_plans_file_with_the_plan(own, tmp_path):
    keep_part("pump", PUMP)
    plan = demo_plan().set(pump="bench pump")
    saved = save_plan(plan, tmp_path / "plan.toml")
    assert '[part_data.pump."bench pump"]' in saved.path.read_text(encoding="utf-8")
    (own / "parts.toml").unlink()  # another machine
    elsewhere = load_plan(saved.path)
    assert described(elsewhere) == described(plan)
    assert solve(elsewhere).flow == solve(plan).flow
    with pytest.raises(InputError):
        catalogue.part("pump", "bench pump")


def test_a_plan_that_only_names_it_is_given_its_description_when_it_is_saved(own, tmp_path):
    keep_part("pump", PUMP)
    file = tmp_path / "plan.toml"
    text = demo_plan().origin.text.replace('part = "standard pump, 3.7 m"', 'part = "bench pump"   # mine')
    file.write_text(text, encoding="utf-8")
    assert load_plan(file).units(tree.PumpUnit)[0].pump.shutoff_head == 4.25
    save_plan(load_plan(file))
    after = file.read_text(encoding="utf-8")
    assert after.startswith(text)
    assert '[part_data.pump."bench pump"]' in after[len(text) :]
    save_plan(load_plan(file))
    assert file.read_text(encoding="utf-8") == after
    (own / "parts.toml").unlink()
    assert load_plan(file).units(tree.PumpUnit)[0].pump.shutoff_head == 4.25


def test_what_the_plans_file_says_of_a_part_goes_before_the_own_parts_file(tmp_path):
    keep_part("pump", PUMP)
    saved = save_plan(demo_plan().set(pump="bench pump"), tmp_path / "plan.toml")
    own_file().write_text(own_file().read_text().replace("4.25 m", "2 m"))
    assert catalogue.part("pump", "bench pump").shutoff_head == 2.0
    plan = load_plan(saved.path)
    assert plan.units(tree.PumpUnit)[0].pump.shutoff_head == 4.25
    assert text_of(plan) == plan.origin.text


def test_a_plan_can_be_saved_after_a_part_it_only_named_is_gone(own, tmp_path):
    keep_part("pump", PUMP)
    file = tmp_path / "plan.toml"
    text = demo_plan().origin.text.replace('part = "standard pump, 3.7 m"', 'part = "bench pump"   # mine')
    file.write_text(text, encoding="utf-8")
    plan = load_plan(file)
    (own / "parts.toml").unlink()
    save_plan(plan.set(room_air=30.0))
    assert described(load_plan(file)) == described(plan.set(room_air=30.0))
    assert "# mine" in file.read_text(encoding="utf-8")


def test_two_pages_that_keep_parts_at_once_lose_none(own):
    def keep(page):
        for number in range(6):
            keep_part("pump", replace(PUMP, name=f"pump {number} of page {page}"))

    pages = [threading.Thread(target=keep, args=(page,)) for page in range(3)]
    for page in pages:
        page.start()
    for page in pages:
        page.join()
    assert len(catalogue.own_parts()) == 18
    assert sorted(path.name for path in own.iterdir()) == ["parts.toml"]
