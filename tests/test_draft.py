"""A plan while it is written: fields, order, undo, saving; whatever is typed, the text stays and the words say why."""

import tomllib
from dataclasses import replace

import pytest
from examples import DEMO, SUITE, each_example
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from loopmath import InputError, load_plan, mine
from loopmath import loop as tree
from loopmath.draft import KINDS, MOST_STEPS, Draft, entry_words, with_value
from loopmath.plan import LAYOUTS
from loopmath.planfile import ANY_PART, PARTS, SECTIONS

pytestmark = pytest.mark.usefixtures("own")
WORKSHOP = DEMO.with_name("quiet_workshop.toml")


def draft_of(tmp_path, text, name="own.toml"):
    path = tmp_path / name
    path.write_bytes(text.encode("utf-8"))
    return Draft.opened(path)


def at(document, place):
    for step in place:
        document = document[step]
    return document


def line_with(text, words):
    return next(n for n, line in enumerate(text.splitlines(), start=1) if words in line)


# --------------------------------------------------------------------------------------------------- reading


@each_example
def test_an_example_opens_with_nothing_wrong_and_nothing_changed(path):
    draft = Draft.opened(path)
    assert draft.plan.title == load_plan(path).title
    assert (draft.problems, draft.changed, draft.steps) == ([], False, [])
    assert len(draft.order()) == len(draft.plan.loop.items)
    assert draft.order()[0].startswith("1. reservoir")


@pytest.mark.parametrize("raw", [b"\xff\xfe", b"a" * 1_000_001])
def test_what_is_no_text_is_refused_in_words(tmp_path, raw):
    path = tmp_path / "x.toml"
    path.write_bytes(raw)
    with pytest.raises(InputError, match="plan file"):
        Draft.opened(path)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('air = "25 degC"', 'air = "25 mm"', "room.air"),
        ('speed = "70 %"', 'speed = "170 %"', "parts.pump.speed"),
        ('part = "standard pump, 3.7 m"', 'part = "standard pomp"', "parts.pump.part"),
        ('bends = 2 },\n  "processor"', 'bends = -2 },\n  "processor"', "bends"),
        ('["85 mm", "280 mm", "390 mm"]', '["85 mm", "285 mm", "390 mm"]', "routes.pump to processor.corners[1]"),
        ("[room]\n", "[room]\nwindow = 3\n", "room.window"),
    ],
)
def test_what_is_typed_wrong_is_told_with_its_line_and_put_right_again(old, new, said):
    draft = Draft.opened(DEMO)
    before = draft.text
    assert old in before
    typed = before.replace(old, new, 1)
    draft.write(typed)
    assert draft.text == typed
    assert draft.plan is None
    (problem,) = draft.problems
    assert said in problem.field
    wanted = new.splitlines()[-1 if "window" in new else 0]
    assert problem.line == line_with(typed, wanted)
    draft.write(before)
    assert draft.plan is not None
    assert draft.problems == []


def test_several_mistakes_are_told_in_the_order_of_the_file():
    draft = Draft.opened(DEMO)
    text = draft.text.replace('"25 degC"', '"25"').replace('"35 dB"', '"loud"').replace('"140 W"', '"-1 W"')
    draft.write(text)
    lines = [p.line for p in draft.problems]
    assert len(lines) == 3
    assert lines == sorted(lines)


@pytest.mark.parametrize(
    "text", ["", "title = [", "\x00", "format = 2", "[[parts]]\na = 1", "parts = 3", "a.b.c = 1\na = 2"]
)
def test_a_text_that_is_no_plan_is_kept_and_its_fields_are_plain(text):
    draft = Draft.opened(DEMO)
    draft.write(text)
    assert (draft.text, draft.plan) == (text, None)
    assert draft.problems
    assert isinstance(draft.fields(), dict)
    assert draft.order() == []
    for act in (lambda: draft.move(0, 1), lambda: draft.remove(0), lambda: draft.add("run", "", 0)):
        with pytest.raises(InputError, match="Put right what is listed first"):
            act()
    draft.back()
    assert draft.plan is not None


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_any_piece_cut_out_or_typed_in_raises_nothing(data):
    draft = Draft.opened(DEMO)
    text = draft.text
    start = data.draw(st.integers(0, len(text)))
    stop = data.draw(st.integers(start, min(len(text), start + 40)))
    piece = data.draw(
        st.sampled_from(["", '"', "[", "]", "{", "}", "=", "\n", "#", ".", ",", "9", "é", "\t", "'''", "\r\n"])
    )
    typed = text[:start] + piece + text[stop:]
    draft.write(typed)
    assert draft.text == typed
    assert (draft.plan is None) == bool(draft.problems)
    try:
        draft.put(("room", "air"), "26 degC")
    except InputError:
        assert draft.text == typed
    else:
        assert draft.fields()["room"]["air"] == "26 degC"


# ---------------------------------------------------------------------------------------------------- fields

#: Kind of quantity -> values a person may give, and values that are refused.
GOOD = {
    "temperature": ["31 degC", "88 degF"],
    "length": ["0.9 m", "90 cm"],
    "difference": ["4 K", "8 delta_degF"],
    "sound": ["33 dB", 33],
    "count": [2, 3.0],
    "share": ["55 %", 0.55],
    "power": ["120 W", "0.12 kW"],
    "air flow": ["60 m^3/h", "35 ft^3/min"],
    "area": ["120 cm^2", "19 in^2"],
    "conductance": ["4 W/K", 5],
    "volume": ["50 L", "13 gal"],
    "heat capacity": ["90 J/K", "0.09 kJ/K"],
    "position": [["1 mm", "2 mm", "3 mm"]],
    "text": ['a "word" # no comment', "it's"],
    "texts": [["copper"], []],
    "rows": [[["pump", "reservoir"], ["drain", "pump", "no hand fits later"]], []],
    "lengths": [["500 mm", "3 ft"], ["1 m"]],
    "volumes": [["1 L", "250 mL"], ["2 L"]],
    "positions": [[["10 mm", "2 in", "0.1 m"]], []],
    "angle": ["45 deg", "1 rad"],
    "pressure": ["500 Pa", "0.1 psi"],
    "flow": ["1.2 L/hour", "2 mL/min"],
}
BAD = {
    "temperature": ["31 K/W", "warm", "31", True],
    "length": ["0.9 kg", "far", "900 km"],
    "difference": ["4 degC", "4 mm", ""],
    "sound": ["33 W", "loud", 900],
    "count": ["2 mm", "two", -3, float("nan")],
    "share": ["155 %", "55 mm", "half"],
    "power": ["-120 W", "120 K", "1/0 W"],
    "air flow": ["60 L", "much"],
    "area": ["12 cm", "wide", "-1 cm^2"],
    "conductance": ["4 W", "-4 W/K"],
    "volume": ["0 L", "50 m", "big"],
    "heat capacity": ["90 J", "0 J/K", "much"],
    "position": ["here", ["1 mm", "2 mm"], ["1 s", "2 mm", "3 mm"]],
    "text": [3, ["a"], True],
    "texts": ["copper", [1]],
    "rows": ["pump", ["pump", "drain"], [["pump"]], [["pump", "pump"]], [["pump", 1]], [["a", "b", "c", "d"]]],
    "lengths": ["1 m", [], ["1 kg"], ["1 m", "1 mm"]],
    "volumes": ["1 L", [], ["1 kg"], ["1 L", "1 nL"]],
    "positions": ["here", [["1 mm", "2 mm"]], [["1 s", "2 mm", "3 mm"]]],
    "angle": ["45 mm", "far", "200 deg"],
    "pressure": ["1 mm", "much", "-2 kPa"],
    "flow": ["1 L", "much", "-1 L/min"],
}
#: What is right where the kind alone does not tell.
GOOD_AT = {
    ("service", "filled_on"): ["2026-05-31", ""],
    ("tube", "fitting_metal"): ["brass", "nickel plate", "nickel plate over brass"],
    ("joints", "section"): ["1.78 mm", "0.1 in"],
    ("joints", "squeeze"): ["18 %", 0.25],
    ("space", "size"): [["9 in", "460 mm", "0.54 m"]],
    ("space", "clearance"): ["2 mm", "0.1 in"],
    ("space", "radius"): ["26 mm", "1 in"],
    ("cutting", "kerf"): ["0.8 mm", "1/16 in"],
    ("cutting", "squaring"): ["2 mm", "0.1 in"],
    ("cutting", "stretch"): ["-1.5 %", 0.02],
    ("cutting", "over_bend"): ["2 %", 0.02],
}


def every_field():
    """Yield (place, field) of every line of a plan file in SECTIONS, and of every kind of part in PARTS."""
    for section, lines in SECTIONS.items():
        for line in lines:
            yield ((section, line.key) if section else (line.key,)), line
    for kind, (_, lines) in PARTS.items():
        for line in (*lines, *ANY_PART):
            yield ("parts", f"a {kind}", line.key), line


FIELDS = list(every_field())


def with_every_kind(path):
    """Return the draft of a plan that has a part of every kind, called `a KIND`."""
    draft = Draft.opened(path)
    for kind in PARTS:
        draft.add(kind, f"a {kind}", len(draft.plan.loop.items) - 1)
    assert draft.plan is not None
    return draft


@pytest.mark.parametrize(("place", "line"), FIELDS, ids=lambda v: ".".join(v) if isinstance(v, tuple) else "")
def test_every_field_takes_what_is_right_and_tells_what_is_wrong(place, line):
    draft = with_every_kind(DEMO)
    first, steps = draft.text, len(draft.steps)
    known = list(line.known()) if line.known else None
    good = known[:3] if known else GOOD_AT.get(place, GOOD[line.kind])
    if place == ("coolant", "kind"):
        good = ["water", "ethylene-glycol-20"]
    elif place[-1] == "air" and place[0] == "parts":
        good = ["room", "case", "front radiator"]
    elif place[-1] == "second_fans":  # the new radiator has one position
        good = [1, 0]
    for value in good:
        draft.put(place, value)
        assert draft.problems == [], value
        assert at(tomllib.loads(draft.text), place) == value
    for value in BAD[line.kind]:
        draft.put(place, value)
        assert draft.plan is None, value
        assert draft.problems, value
        said = at(tomllib.loads(draft.text), place)
        assert said == value or value != value
        assert any(p.line == line_of_value(draft.text, place) for p in draft.problems), value
    if known or line.check or place == ("coolant", "kind"):
        draft.put(place, "no such word")
        assert draft.plan is None
    draft.put(place, None)
    with pytest.raises(KeyError):
        at(tomllib.loads(draft.text), place)
    assert (draft.plan is None) == (
        place in {("room", "air"), ("coolant", "kind"), ("parts", "a block", "typical_heat")}
    )
    while len(draft.steps) > steps:
        draft.back()
    assert draft.text == first


def line_of_value(text, place):
    """Return the line a field stands on, found without the package: by its header and key."""
    here, header = (), None
    for number, line in enumerate(text.splitlines(), start=1):
        if line.startswith("["):
            header = line.strip().split("#")[0].strip().strip("[]")
            here = tuple(next(iter(walk_keys(header))))
        elif line.split("=")[0].strip() == place[-1] and here == place[:-1]:
            return number
    raise AssertionError(place)


def walk_keys(header):
    document, out = tomllib.loads(f"[{header}]"), []
    while document:
        key, document = next(iter(document.items()))
        out.append(key)
    yield out


@each_example
def test_the_part_of_every_element_can_be_named_anew_and_priced(path):
    draft = Draft.opened(path)
    for name, table in list(draft.fields()["parts"].items()):
        draft.put(("parts", name, "part"), "no such part")
        assert draft.plan is None
        assert any(p.field.endswith(".part") for p in draft.problems)
        draft.put(("parts", name, "part"), table["part"])
        draft.put(("parts", name, "price"), 12)
        assert draft.problems == []
    assert all(leaf.part.price == 12 for leaf in tree.leaves(draft.plan.loop) if leaf.part is not None)


def test_a_field_of_a_table_that_is_not_there_makes_the_table():
    draft = Draft.opened(DEMO)
    text = draft.text
    limits = text[text.index("[limits]") : text.index("[tube]")]
    draft.write(text.replace(limits, ""))
    draft.put(("limits", "sound"), "31 dB")
    assert draft.plan.sound_limit == 31.0
    before = draft.text
    draft.put(("no", "such", "table"), None)
    assert draft.text == before


def test_a_title_that_is_not_there_goes_above_the_first_table():
    draft = Draft.opened(DEMO)
    draft.put(("title",), None)
    assert draft.plan.title == "Untitled plan"
    draft.put(("title",), "Mine")
    assert draft.plan.title == "Mine"
    assert draft.text.index('title = "Mine"') < draft.text.index("[room]")


@pytest.mark.parametrize(
    ("text", "place", "words"),
    [
        ("format = 2\nroom = 3\n", ("room", "air"), "room = 3"),
        ("format = 2\n[[parts]]\na = 1\n", ("parts", "pump", "speed"), "parts ="),
        ("format = 2\n[parts]\npump = 'x'\n", ("parts", "pump", "speed"), "parts.pump = 'x'"),
        ("title = [", ("title",), "TOML document"),
        ("a = 1\na = 2\n", ("title",), "TOML document"),
    ],
)
def test_a_field_without_room_in_the_text_is_refused_and_the_text_stays(text, place, words):
    draft = Draft.opened(DEMO)
    draft.write(text)
    with pytest.raises(InputError) as caught:
        draft.put(place, "25 degC")
    assert words in str(caught.value)
    assert draft.text == text


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("room.air = '20 degC'\n", ("room", "height")),
        ("parts.a.kind = 'pump'\n", ("parts", "a", "speed")),
        ("parts = { a = { kind = 'pump' } }\n", ("parts", "a", "speed")),
        ("[parts.a]\nkind = 'pump'\n[room]\n[parts.b]\nkind = 'pump'\n", ("parts", "b", "speed")),
        ("[parts.a]\nkind = 'pump'\n[room]\n[parts.b]\nkind = 'pump'\n", ("parts", "c", "speed")),
        ("[parts.'a b']  # pump\n", ("parts", "a b", "speed")),
        ("", ("room", "height")),
    ],
)
def test_a_field_finds_its_place_however_the_file_is_written(text, place):
    for value in ("5 m", 3, "6 m"):
        text = with_value(text, place, value)
        assert at(tomllib.loads(text), place) == value
    assert place[-1] not in at(tomllib.loads(with_value(text, place, None)), place[:-1])


def test_comments_and_blank_lines_stay_when_a_field_is_put():
    draft = Draft.opened(DEMO)
    before = draft.text.splitlines()
    draft.put(("parts", "processor", "peak_heat"), "200 W")
    after = draft.text.splitlines()
    differing = [(a, b) for a, b in zip(before, after, strict=True) if a != b]
    assert differing == [('peak_heat = "190 W"         # a long export', 'peak_heat = "200 W"         # a long export')]


# ------------------------------------------------------------------------------------------------- the order


@each_example
def test_every_entry_is_moved_to_every_place_and_back(path):
    draft = Draft.opened(path)
    first, names = draft.text, [entry_words(i) for i in draft.plan.loop.items]
    for place in range(len(names)):
        for by in (-1, 1, -100, 100):
            now = draft.move(place, by)
            expected = [n for i, n in enumerate(names) if i != place]
            expected.insert(now, names[place])
            assert [entry_words(i) for i in draft.plan.loop.items] == expected
            assert draft.problems == []
            if draft.text != first:
                draft.back()
            assert draft.text == first


@each_example
def test_every_entry_is_taken_out_with_what_the_file_says_of_it(path):
    draft = Draft.opened(path)
    first = draft.text
    for place, item in enumerate(draft.plan.loop.items):
        gone = [leaf.name for leaf in tree.leaves(item)]
        if isinstance(item, tree.PumpUnit):
            with pytest.raises(InputError, match="no pump"):
                draft.remove(place)
            assert draft.text == first
            continue
        draft.remove(place)
        assert draft.problems == []
        assert not {leaf.name for leaf in tree.leaves(draft.plan.loop)} & set(gone)
        assert not draft.fields()["parts"].keys() & set(gone)
        draft.back()
        assert draft.text == first


@each_example
@pytest.mark.parametrize("kind", KINDS)
def test_a_new_element_of_every_kind_goes_in_at_either_end_and_in_between(path, kind):
    draft = Draft.opened(path)
    first, count = draft.text, len(draft.plan.loop.items)
    for place in (0, count // 2, count - 1):
        draft.add(kind, "", place)
        items = draft.plan.loop.items
        assert len(items) == count + 1
        assert draft.problems == []
        assert items[place + 1].kind == {"inline": "filter"}.get(kind, kind)
        draft.back()
        assert draft.text == first


@pytest.mark.parametrize("kind", KINDS)
def test_many_of_a_kind_get_names_of_their_own(kind):
    draft = Draft.opened(DEMO)
    for _ in range(4):
        draft.add(kind, "  ", 0)
    names = [leaf.name for leaf in tree.leaves(draft.plan.loop)]
    assert len(names) == len(set(names))
    assert draft.problems == []


def test_what_headers_and_radiators_say_of_an_entry_goes_with_it(tmp_path):
    """No header names what it feeds no more, and a radiator behind one that goes draws the air that one drew."""
    text = WORKSHOP.read_text(encoding="utf-8").replace('air = "case"\nblows', 'air = "front radiator"\nblows')
    draft = draft_of(tmp_path, text)
    places = {leaf.name: n for n, leaf in enumerate(draft.plan.loop.items)}
    draft.remove(places["front radiator"])
    assert draft.problems == []
    assert [h.feeds for h in draft.plan.headers] == [("pump",), (), ("top radiator", "rear fan")]
    (top,) = draft.plan.units(tree.RadiatorUnit)
    assert (top.air, top.blows) == ("room", "room")
    assert "feeds = []" in draft.text
    draft.back()
    assert draft.text == text


def test_the_route_of_a_run_goes_with_it_and_what_stands_in_the_case_stays():
    draft = Draft.opened(DEMO)
    places = {leaf.name: n for n, leaf in enumerate(draft.plan.loop.items)}
    before = draft.text
    draft.remove(places["pump to processor"])
    assert (draft.problems, "pump to processor" in draft.text) == ([], False)
    assert [route.parallel_to for route in draft.plan.routes] == [()] * 6
    assert len(draft.plan.paths) == 6
    draft.back()
    assert draft.text == before
    draft.remove(places["processor"])
    assert draft.problems == []
    assert [port.of for port in draft.plan.ports if port.name.startswith("processor")] == ["", ""]
    assert draft.plan.paths.keys() == {route.name for route in draft.plan.routes}
    gone = ("[parts.processor]", 'kind = "block"', "part = ", "typical_heat", "peak_heat", "limit", "position", "size")
    lost = [line for line in before.splitlines() if line and line not in draft.text.splitlines()]
    assert all(line.startswith((*gone, 'of = "processor"', '  "processor",')) for line in lost)


def test_a_run_renamed_by_hand_is_told_where_its_route_still_has_the_old_name(tmp_path):
    text = DEMO.read_text(encoding="utf-8").replace('{ run = "pump to processor"', '{ run = "first run"')
    (problem,) = draft_of(tmp_path, text).problems
    assert (problem.field, problem.value) == ("routes.pump to processor", "pump to processor")
    assert problem.line == line_with(text, '[routes."pump to processor"]')
    assert "'first run'" in problem.accepted


@pytest.mark.parametrize("name", ["rear fan", "memory"])
def test_a_new_entry_is_not_called_as_something_beside_the_loop(name):
    draft = Draft.opened(WORKSHOP)
    with pytest.raises(InputError, match="not used in this loop"):
        draft.add("block", name, 0)
    assert not draft.changed


@pytest.mark.parametrize(
    ("name", "changes", "said"),
    [
        (
            "pump",
            {"[parts.pump]": "[parts.heart]", '  "pump",': '  "heart",'},
            {"headers.pump header.feeds[0]": 'feeds = ["pump"]'},
        ),
        (
            "rear fan",
            {'[case_fans."rear fan"]': "[case_fans.rear]"},
            {"headers.top header.feeds[1]": 'feeds = ["top', "speed_curves.fans by coolant.drives[2]": "drives = "},
        ),
        (
            "front radiator",
            {'[parts."front radiator"]': "[parts.front]", '  "front radiator",': '  "front",'},
            {"headers.front header.feeds[0]": 'feeds = ["fr', "speed_curves.fans by coolant.drives[0]": "drives = "},
        ),
    ],
    ids=["a pump", "a case fan", "a radiator"],
)
def test_a_name_changed_by_hand_is_told_where_it_is_missed(tmp_path, name, changes, said):
    text, ports = WORKSHOP.read_text(encoding="utf-8"), load_plan(WORKSHOP).ports
    for old, new in changes.items():
        assert text.count(old) == 1
        text = text.replace(old, new)
    draft = draft_of(tmp_path, text)
    wanted = [(s, line_with(text, line)) for s, line in said.items()]
    wanted += [(f"ports.{p.name}.of", line_of_value(text, ("ports", p.name, "of"))) for p in ports if p.of == name]
    assert [(p.field, p.line) for p in draft.problems] == sorted(wanted, key=lambda told: told[1])


@pytest.mark.parametrize("name", ['a "quoted" one', "dots.and.dots", "ü 水", "[x] # y", "=", "'"])
@pytest.mark.parametrize("kind", ["run", "block", "dead leg"])
def test_an_odd_name_is_kept_as_it_is(kind, name):
    draft = Draft.opened(DEMO)
    draft.add(kind, name, 0)
    assert draft.plan.loop.items[1].name == name
    draft.remove(1)
    assert name not in {leaf.name for leaf in tree.leaves(draft.plan.loop)}


def test_a_name_in_use_or_an_unknown_kind_is_refused():
    draft = Draft.opened(DEMO)
    with pytest.raises(InputError, match="not used in this loop"):
        draft.add("run", "processor", 0)
    with pytest.raises(InputError, match="kind"):
        draft.add("turbine", "", 0)
    with pytest.raises(InputError, match="layout"):
        draft.lay_out("upside down")
    assert not draft.changed


@each_example
@pytest.mark.parametrize("layout", LAYOUTS)
def test_blocks_are_laid_out_and_the_text_says_it(path, layout):
    draft = Draft.opened(path)
    first = draft.text
    draft.lay_out(layout)
    assert draft.problems == []
    wanted = load_plan(path).set(layout=layout)
    assert [leaf.name for leaf in tree.leaves(draft.plan.loop)] == [leaf.name for leaf in tree.leaves(wanted.loop)]
    while draft.steps:
        draft.back()
    assert draft.text == first


def test_after_all_of_it_undo_leads_to_the_very_first_text():
    draft = Draft.opened(DEMO)
    first = draft.text
    draft.put(("room", "air"), "nonsense")
    draft.put(("room", "air"), "28 degC")
    draft.add("inline", "filter", 3)
    draft.move(4, -2)
    draft.lay_out("parallel")
    draft.write(draft.text + "\n# a word more\n")
    draft.write("title = [")
    for _ in range(20):
        draft.back()
    assert draft.text == first
    assert (draft.changed, draft.problems) == (False, [])


def test_a_change_that_changes_nothing_is_no_step_and_old_steps_fall_off():
    draft = Draft.opened(DEMO)
    draft.put(("room", "air"), "25 degC")
    draft.put(("limits", "nothing"), None)
    draft.move(0, -1)
    assert draft.steps == []
    for n in range(MOST_STEPS + 20):
        draft.write(f"# {n}\n")
    assert len(draft.steps) <= MOST_STEPS + 1
    draft.back()
    assert draft.text == f"# {MOST_STEPS + 18}\n"


# ---------------------------------------------------------------------------------------- an older version

OLD = """# my first file
format = 1
title = "Old one"
[room]
air = "24 degC"
[coolant]
kind = "water"
[tube]
part = "PETG 14/10 mm"
[parts.pump]
kind = "pump"
part = "standard pump, 3.7 m"
[parts.cpu]
kind = "block"
part = "processor block, fine fins"
heat = "120 W"   # measured at the wall
[parts.rad]
kind = "radiator"
part = "2 x 120 mm, slim, medium fins"
fan = "quiet fan 120 mm, 1300 rpm"
[loop]
order = ["pump", { run = "a", length = "300 mm" }, "cpu", "rad"]
"""


def test_a_file_of_version_1_is_brought_forward_with_the_first_change_and_in_one_step(tmp_path):
    draft = draft_of(tmp_path, OLD)
    assert draft.plan.units(tree.Source)[0].heat == 120.0
    assert draft.fields()["parts"]["cpu"]["typical_heat"] == "120 W"
    assert draft.text == OLD  # looking changes nothing
    draft.put(("parts", "cpu", "limit"), "80 degC")
    assert draft.fields()["format"] == 2
    assert 'typical_heat = "120 W"   # measured at the wall' in draft.text
    assert draft.text.startswith("# my first file\n")
    assert draft.plan.units(tree.Source)[0].limit == 80.0
    draft.back()
    assert draft.text == OLD
    assert draft.steps == []


def test_the_heat_of_a_version_1_file_is_changed_where_it_stands(tmp_path):
    draft = draft_of(tmp_path, OLD)
    draft.put(("parts", "cpu", "typical_heat"), "150 W")
    assert draft.plan.units(tree.Source)[0].heat == 150.0
    assert draft.text.count("heat =") == 1
    wrong = draft_of(tmp_path, OLD.replace("24 degC", "24 mm"), "wrong.toml")
    wrong.put(("parts", "cpu", "typical_heat"), "150 W")  # while something else is wrong, too
    assert 'typical_heat = "150 W"   # measured' in wrong.text
    wrong.put(("room", "air"), "24 degC")
    assert wrong.plan.units(tree.Source)[0].heat == 150.0


def test_moving_in_a_version_1_file_brings_it_forward_too(tmp_path):
    draft = draft_of(tmp_path, OLD)
    draft.move(3, -1)
    assert draft.fields()["format"] == 2
    assert draft.problems == []


# ------------------------------------------------------------------------------------------------------ saving


@each_example
def test_an_example_is_saved_as_a_copy_of_the_users_and_chosen(path, own):
    before = path.read_bytes()
    draft = Draft.opened(path)
    assert draft.target() == own / "plans" / path.name
    draft.put(("room", "air"), "26 degC")
    saved = draft.save()
    assert saved.path == own / "plans" / path.name
    assert path.read_bytes() == before
    assert mine.chosen().plan.room_air == pytest.approx(26.0)
    assert not draft.changed
    draft.put(("room", "air"), "27 degC")
    assert draft.save().path == saved.path  # and goes on there
    assert mine.chosen().plan.room_air == pytest.approx(27.0)


def test_a_file_saved_unchanged_is_the_same_to_the_byte(tmp_path):
    for name, text in (("lf", OLD), ("crlf", OLD.replace("\n", "\r\n")), ("bom", "\ufeff" + OLD)):
        draft = draft_of(tmp_path, text, f"{name}.toml")
        assert not draft.changed
        saved = draft.save()
        assert saved.path == draft.origin.path
        assert saved.path.read_bytes() == text.encode("utf-8")
    assert not list(tmp_path.glob("*-2.toml"))


def test_a_file_changed_on_disk_meanwhile_is_left_alone(tmp_path):
    draft = draft_of(tmp_path, OLD)
    path = draft.origin.path
    draft.put(("title",), "Mine")
    path.write_text(OLD.replace("Old one", "Somebody else's"), encoding="utf-8")
    saved = draft.save()
    assert "Somebody else's" in path.read_text(encoding="utf-8")
    assert saved.path.name == "own-2.toml"
    assert "was changed on disk" in saved.words
    assert load_plan(saved.path).title == "Mine"
    assert mine.chosen_path() == saved.path
    draft.put(("title",), "Mine still")
    assert draft.save().path == saved.path


def test_a_copy_of_an_example_that_is_there_already_is_left_alone(own):
    first = Draft.opened(DEMO)
    first.put(("title",), "First")
    first.save()
    second = Draft.opened(DEMO)
    second.put(("room", "air"), "28 degC")
    second.put(("title",), "First")
    saved = second.save()
    assert saved.path.name == "first-2.toml"
    assert load_plan(own / "plans" / "first.toml").room_air == 25.0


def test_a_copy_of_an_example_is_called_by_its_new_title(own):
    draft = Draft.opened(DEMO)
    assert draft.target().name == "podcast_booth.toml"
    draft.put(("title",), "Küche & Workshop")
    assert draft.save().path == own / "plans" / "k_che_workshop.toml"
    draft.put(("title",), "Another")
    assert draft.save().path.name == "k_che_workshop.toml"  # a file of the user's keeps its name


def test_a_text_with_problems_is_saved_as_it_is_and_other_pages_say_so(own):
    draft = Draft.opened(DEMO)
    typed = draft.text.replace('"25 degC"', '"25 mm"') + "\n# not done yet\n"
    draft.write(typed)
    saved = draft.save()
    assert saved.path.read_text(encoding="utf-8") == typed
    assert draft.text == typed
    assert mine.chosen().trouble
    assert Draft.opened(saved.path).problems[0].line == line_with(typed, "25 mm")


def test_a_place_that_cannot_be_written_to_is_told_and_the_text_stays(own):
    own.write_text("a file in the place of the folder")
    draft = Draft.opened(DEMO)
    draft.put(("title",), "Mine")
    with pytest.raises(InputError, match="can be written to"):
        draft.save()
    assert 'title = "Mine"' in draft.text
    assert draft.changed


def test_windows_line_ends_stay_through_every_kind_of_change(tmp_path):
    text = DEMO.read_text(encoding="utf-8").replace("\n", "\r\n")
    draft = draft_of(tmp_path, text)
    draft.put(("room", "air"), "26 degC")
    draft.put(("limits", "currency"), None)
    draft.add("run", "more", 2)
    draft.move(3, 1)
    draft.lay_out("parallel")
    # A text field of a browser hands line ends on as \n alone, whatever they were.
    draft.write(draft.text.replace("\r\n", "\n") + "# typed\n")
    assert draft.plan is not None
    assert draft.text.count("\n") == draft.text.count("\r\n")
    raw = draft.save().path.read_bytes()
    assert raw.count(b"\n") == raw.count(b"\r\n")
    while draft.steps:
        draft.back()
    assert draft.text == text


def test_the_words_of_an_entry_tell_what_it_is():
    plan = load_plan(SUITE)
    words = [entry_words(item) for item in plan.loop.items]
    assert words[:3] == ["reservoir", "dead leg “fill tube”, 60 mm", "pump"]
    assert "in parallel: tees of left card + left card | tees of right card + right card" in words
    assert entry_words(replace(plan.units(tree.Source)[0], name="cpu")) == "cpu (block)"
