"""The plan page's panel without a browser: fields, file, buttons, other plans; nothing raises, nothing is lost."""

import re
from html import unescape

import ipywidgets as widgets
import pytest
from examples import CUBE, DEMO, SUITE, each_example

from loopmath import catalogue, load_plan, mine
from loopmath import loop as tree
from loopmath.draft import KINDS
from loopmath.panels.planner import FIRST, KINDS_ON_PAGES, MATERIALS, PAGES, PlannerPanel, planner
from loopmath.planfile import ANY_PART, PARTS, SECTIONS

pytestmark = pytest.mark.usefixtures("own")


@pytest.fixture
def panel():
    return PlannerPanel(DEMO)


def plain(html):
    return unescape(re.sub(r"<[^>]+>", " ", re.sub(r"<style>.*?</style>", "", html, flags=re.S))).replace("\xa0", " ")


def drawn(panel):
    """Return the picture on the screen, None if there is none."""
    found = re.search(r'src="(data:image/png;base64,[^"]+)"', panel.drawing.value)
    return found and found[1]


def every_widget(widget):
    yield widget
    for child in getattr(widget, "children", ()):
        yield from every_widget(child)


def button(panel, words):
    return next(w for w in every_widget(panel.view) if isinstance(w, widgets.Button) and w.description == words)


def press(panel, words):
    button(panel, words).click()


def answers(panel):
    """Check that screen and draft say the same."""
    if panel.draft.plan is None:
        assert 'role="alert"' in panel.drawing.value
        assert f"{len(panel.draft.problems)} problem" in plain(panel.drawing.value)
        assert panel.said.value == ""
    else:
        assert 'role="alert"' not in panel.drawing.value
        assert drawn(panel)
        assert "gl-warn" in panel.said.value
    assert panel.file.value == panel.draft.text.replace("\r\n", "\n")
    return panel.draft.plan is not None


# -------------------------------------------------------------------------------------------------- what it opens


def test_with_nothing_chosen_it_opens_the_demo(own):
    panel = planner()
    assert panel.draft.origin.path == DEMO
    assert "the demo" in plain(panel.status.value)
    assert panel.chooser.value == DEMO
    assert not own.exists()
    assert answers(panel)


@each_example
def test_it_opens_what_was_chosen_and_shows_all_of_it(path):
    mine.choose(path)
    panel = planner()
    assert panel.draft.origin.path.resolve() == path
    assert panel.chooser.value.resolve() == path
    assert panel.file.value == path.read_text(encoding="utf-8")
    assert answers(panel)
    assert list(panel.form.titles) == list(PAGES)
    plan = load_plan(path)
    names = {place[1] for place in panel.fields if place[0] == "parts"}
    assert names == {leaf.name for leaf in tree.leaves(plan.loop) if not isinstance(leaf, (tree.Run, tree.DeadLeg))}
    assert len(panel.entries.options) == len(plan.loop.items)
    assert re.search(r'alt="[^"]{40,}"', panel.drawing.value)
    for block in plan.units(tree.Source):
        assert block.name in panel.alt


def test_every_line_of_the_form_is_a_line_of_the_file():
    for section, key, label, tooltip in (*FIRST, *MATERIALS):
        assert key == "part" or key in {f.key for f in SECTIONS[section]}
        assert 0 < len(label) <= len("Coolant at most") + 1
        assert len(tooltip) > 8
    assert {kind for kinds in KINDS_ON_PAGES for kind in kinds} == set(PARTS)


def test_a_chosen_file_with_problems_is_opened_to_be_put_right(own):
    path = own / "plans" / "broken.toml"
    path.parent.mkdir(parents=True)
    path.write_text(DEMO.read_text(encoding="utf-8").replace('"25 degC"', '"25 mm"'), encoding="utf-8")
    mine.choose(path)
    panel = planner()
    assert panel.draft.origin.path == path
    assert "room.air" in plain(panel.drawing.value)
    assert "other pages show the demo" in plain(panel.status.value)
    panel.fields["room", "air"].value = "24 degC"
    assert answers(panel)
    press(panel, "Save")
    assert not mine.chosen().trouble


@pytest.mark.parametrize("text", ["", "title = [", "x = 3"])
def test_a_chosen_file_that_is_no_plan_at_all_is_opened_too(own, text):
    path = own / "plans" / "broken.toml"
    path.parent.mkdir(parents=True)
    path.write_text(text, encoding="utf-8")
    mine.choose(path)
    panel = planner()
    assert panel.file.value == text
    assert not answers(panel)
    assert "text/html" in panel._repr_mimebundle_()
    press(panel, "Undo")
    press(panel, "Later")
    press(panel, "Add behind the chosen one")
    assert panel.file.value == text
    panel.file.value = DEMO.read_text(encoding="utf-8")
    assert answers(panel)


@pytest.mark.parametrize("how", ["deleted", "no text", "note damaged"])
def test_a_chosen_file_that_is_gone_leaves_the_demo_and_says_why(own, how):
    path = own / "plans" / "gone.toml"
    path.parent.mkdir(parents=True)
    path.write_bytes(b"\xff\xfe" if how == "no text" else DEMO.read_bytes())
    mine.choose(path)
    if how == "deleted":
        path.unlink()
    if how == "note damaged":
        (own / "chosen.txt").write_bytes(b"\x00\x01")
    panel = planner()
    assert panel.draft.origin.path == DEMO
    assert "cannot be opened" in plain(panel.status.value)
    assert answers(panel)


def test_a_plan_from_elsewhere_stays_in_the_list(tmp_path):
    path = tmp_path / "on a stick.toml"
    path.write_bytes(SUITE.read_bytes())
    panel = PlannerPanel(path)
    assert panel.chooser.value == path
    assert panel.chooser.options[0][0].startswith("elsewhere: ")
    assert "Grading suite machine" in plain(panel.status.value)


# ---------------------------------------------------------------------------------------------------------- fields

GOOD = {
    "temperature": "31 degC",
    "length": "0.9 m",
    "difference": "4 K",
    "sound": "33 dB",
    "count": "2",
    "share": "65 %",
    "power": "120 W",
    "text": "another <word>",
    "texts": "silver; aluminium casting, other; nickel plate over brass",
}
#: What is right where the kind alone does not tell.
GOOD_AT = {("joints", "section"): "3 mm", ("joints", "squeeze"): "25 %"}
BAD = {
    "temperature": "31 mm",
    "length": "far",
    "difference": "4 degC",
    "sound": "loud",
    "count": "two",
    "share": "900 %",
    "power": "-5 W",
    "texts": "copper; coper",
}


def kind_of(place, document):
    if place[-1] == "price":
        return "count"
    lines = (*PARTS[document["parts"][place[1]]["kind"]][1], *ANY_PART) if place[0] == "parts" else ()
    lines = lines or SECTIONS[place[0] if len(place) > 1 else ""]
    return next(f.kind for f in lines if f.key == place[-1])


def of_a_kind_no_other_example_has(place, document):
    """Return True if a field belongs to a fitting or an in-line part."""
    return place[0] == "parts" and document["parts"][place[1]]["kind"] in ("fitting", "inline")


@each_example
def test_every_field_answers_what_is_right_and_what_is_wrong(path):
    panel = PlannerPanel(path)
    first, document = panel.draft.text, panel.draft.fields()
    assert len(panel.fields) > 25
    tried = {p: w for p, w in panel.fields.items() if path != SUITE or of_a_kind_no_other_example_has(p, document)}
    assert len(tried) > 4
    for place, widget in tried.items():
        before = widget.value
        if isinstance(widget, widgets.Dropdown):
            widget.value = widget._options_full[-1][1]
            if not answers(panel):  # such as fans of another size
                widget.value = before
        else:
            kind = kind_of(place, document)
            if kind in BAD:
                widget.value = BAD[kind]
                assert not answers(panel), place
                assert place[-1] in plain(panel.drawing.value), place
                assert "line " in plain(panel.drawing.value), place
                assert widget.value == BAD[kind]  # what was typed stays to be put right
            widget.value = GOOD_AT.get(place, GOOD[kind])
        assert panel.fields[place] is widget
        assert answers(panel), place
    while len(panel.draft.steps) > 1:
        panel.draft.back()
    press(panel, "Undo")
    assert panel.draft.text == first


def test_a_field_that_is_emptied_takes_its_line_out():
    panel = PlannerPanel(CUBE)
    needed = {("room", "air"), ("parts", "processor", "typical_heat")}
    for place, widget in panel.fields.items():
        if isinstance(widget, widgets.Text):
            before, widget.value = widget.value, "  "
            assert answers(panel) == (place not in needed), place
            assert widget.value == ""
            if place in needed:
                widget.value = before
    assert answers(panel)
    assert panel.draft.plan.title == "Untitled plan"
    assert panel.fields[("limits", "sound")].placeholder == "40 dB"


def test_a_price_of_ones_own_is_a_number_in_the_file(panel):
    field = panel.fields["parts", "pump", "price"]
    assert field.placeholder == "68, as in the catalogue"
    before = float(re.search(r"Parts: (\d+)", plain(panel.said.value))[1])
    field.value = "72"
    assert "price = 72\n" in panel.file.value
    assert float(re.search(r"Parts: (\d+)", plain(panel.said.value))[1]) == before + 4
    for odd in ("nan", "inf", "-3", "1e400", "cheap"):
        field.value = odd
        assert panel.draft.plan is None
        assert "parts.pump.price" in plain(panel.drawing.value)
    field.value = ""
    assert answers(panel)
    assert "price = 72" not in panel.file.value


def test_another_part_is_chosen_and_the_drawing_follows(panel):
    before, picture = panel.solution.state["flow"], drawn(panel)
    panel.fields["parts", "pump", "part"].value = "strong pump, 6.2 m"
    assert panel.solution.state["flow"] > before
    assert drawn(panel) != picture
    assert 'part = "strong pump, 6.2 m"' in panel.file.value


def test_a_fan_of_another_size_is_told_and_put_right(panel):
    panel.fields["parts", "front radiator", "fan"].value = "quiet fan 140 mm, 1100 rpm"
    assert not answers(panel)
    assert "a fan of 120 mm" in plain(panel.drawing.value)
    panel.fields["parts", "front radiator", "fan"].value = "very quiet fan 120 mm, 900 rpm"
    assert answers(panel)


def test_parts_of_ones_own_are_offered(panel):
    from dataclasses import replace

    catalogue.keep_part("pump", replace(catalogue.part("pump", "compact pump, 2.4 m"), name="bench pump"))
    text = (
        DEMO.read_text(encoding="utf-8")
        + '\n[part_data.pump."garage pump"]\nshutoff_head = "3 m"\nrunout_flow = "900 L/h"\n'
    )
    panel.file.value = text
    assert answers(panel)
    press(panel, "Undo")  # the form is made anew
    panel.file.value = text
    press(panel, "Later")
    options = panel.fields["parts", "pump", "part"].options
    assert {"bench pump", "garage pump"} <= {o if isinstance(o, str) else o[1] for o in options}
    panel.fields["parts", "pump", "part"].value = "garage pump"
    assert answers(panel)
    assert panel.draft.plan.units(tree.PumpUnit)[0].pump.name == "garage pump"


def test_every_line_of_coolant_case_and_joints_has_a_field(panel):
    lines = {(section, f.key) for section in ("coolant", "joints", "tube") for f in SECTIONS[section]}
    assert lines <= set(panel.fields)
    assert ("case", "hot_spot") in panel.fields
    shown = [panel.fields[place] for place in panel.fields if place[0] == "joints"]
    assert [w.value if isinstance(w, widgets.Dropdown) else w.placeholder for w in shown] == [
        *("EPDM", "1.78 mm", "20 %", "2", "chamfered", "soapy water", "soapy water")
    ]
    assert set(shown) <= set(panel.pages[-1].children)


def test_fittings_of_a_plated_metal_are_chosen_and_judged_by_what_is_under_the_plating(panel):
    field = panel.fields["tube", "fitting_metal"]
    field.value = "nickel plate over zinc casting"
    assert answers(panel)
    assert 'fitting_metal = "nickel plate over zinc casting"' in panel.file.value
    assert {run.fitting_metal for run in panel.draft.plan.units(tree.Run)} == {"nickel plate over zinc casting"}
    assert "nickel plate over zinc casting, with" in plain(panel.said.value)
    panel.file.value = panel.file.value.replace("over zinc casting", "over nickel plate")
    assert not answers(panel)
    assert "tube.fitting_metal" in plain(panel.drawing.value)
    assert field.value == "nickel plate over nickel plate"  # shown as it stands, to be put right


def test_metals_besides_are_written_apart_by_semicolons_as_their_names_hold_commas(panel):
    field = panel.fields["coolant", "also_wetted"]
    field.value = "aluminium casting, other;  nickel plate over brass ;"
    assert 'also_wetted = ["aluminium casting, other", "nickel plate over brass"]' in panel.file.value
    assert panel.draft.plan.also_wetted == ("aluminium casting, other", "nickel plate over brass")
    assert field.value == "aluminium casting, other; nickel plate over brass"
    field.value = "copper over brass; tin plate"
    assert "coolant.also_wetted[0]" in plain(panel.drawing.value)
    assert field.value == "copper over brass; tin plate"
    field.value = " ; "
    assert answers(panel)
    assert "also_wetted" not in panel.file.value


def test_a_treatment_that_was_chosen_is_saved_and_nothing_else_changes(panel, own):
    before = DEMO.read_text(encoding="utf-8").splitlines()
    field = panel.fields["coolant", "treatment"]
    assert (field.value, field.label) == ("inhibitor and biocide",) * 2
    field.value = "inhibitor, biocide and dye"
    assert "Dye stains" in plain(panel.said.value)
    press(panel, "Save")
    after = (own / "plans" / DEMO.name).read_text(encoding="utf-8").splitlines()
    (row,) = [row for row in after if row not in before]
    assert row == 'treatment = "inhibitor, biocide and dye"   # a ready mix, clear'
    assert [row for row in after if row in before] == [r for r in before if not r.startswith("treatment")]
    assert mine.chosen().plan.treatment == "inhibitor, biocide and dye"
    field.value = ""
    assert "treatment" not in panel.file.value


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('when = "loop flw below 3 L/min"', "'loop flow'"),
        ('when = "loop flow below 3 K"', "a quantity of the right kind"),
        ('when = "loop flow below 9 L/min"\nsignal = "dangerous"', "'danger'"),
    ],
)
def test_a_house_rule_that_cannot_be_judged_is_a_warning_and_the_plan_stays_open(panel, line, said):
    good = '[house_rules.fine]\nwhen = "loop flow below 9 L/min"\naction = "<b>Open</b> the valve."\n'
    panel.file.value = f"{panel.file.value}\n[house_rules.odd]\n{line}\n{good}"
    assert answers(panel)
    words = plain(panel.said.value)
    assert "house rule odd" in words
    assert "cannot be judged" in words
    assert said in words
    assert "<b>Open</b> the valve." in words  # the other one is judged, and its words are words
    assert "<b>Open" not in panel.said.value


def test_a_house_rule_without_a_condition_is_a_problem_of_the_file(panel):
    panel.file.value = f'{panel.file.value}\n[house_rules.odd]\nsignal = "danger"\n'
    assert not answers(panel)
    assert "house_rules.odd.when" in plain(panel.drawing.value)


# ------------------------------------------------------------------------------------------- the file and the fields


def test_typing_in_the_file_fills_the_fields(panel):
    panel.file.value = panel.file.value.replace('"25 degC"', '"77 degF"').replace('"70 %"', '"81 %"')
    assert panel.fields["room", "air"].value == "77 degF"
    assert panel.fields["parts", "pump", "speed"].value == "81 %"
    assert answers(panel)
    panel.fields["parts", "pump", "speed"].value = "82 %"
    assert 'speed = "82 %"' in panel.file.value


def test_a_part_typed_into_the_file_gets_fields_of_its_own(panel):
    text = panel.file.value.replace(
        '[parts."front radiator"]', '[parts.valve]\nkind = "fitting"\npart = "angle valve"\n\n[parts."front radiator"]'
    )
    panel.file.value = text.replace('  "processor",', '  "processor",\n  "valve",')
    assert answers(panel)
    assert ("parts", "valve", "count") in panel.fields
    assert any("valve" in w for w in panel.entries.options)


def test_a_sign_too_few_in_the_file_empties_no_field(panel):
    before = {place: widget.value for place, widget in panel.fields.items()}
    panel.file.value = panel.file.value.replace("[room]", "[room")
    assert not answers(panel)
    assert {place: widget.value for place, widget in panel.fields.items()} == before
    typed = panel.file.value
    panel.fields["room", "air"].value = "30 degC"  # no file to write it into
    assert panel.file.value == typed
    assert "TOML" in plain(panel.status.value)
    assert panel.fields["room", "air"].value == "25 degC"
    panel.file.value = typed.replace("[room", "[room]")
    assert answers(panel)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "\x00",
        "format = 2",
        "parts = 3",
        "[parts]\npump = 3",
        "[parts.pump]\nkind = ['pump']",
        "[parts.pump]\nkind = 'pump'\nprice = nan\npart = nan\nspeed = [1]",
        "[parts.pump]\nkind = 'pump'\nprice = 0x" + "f" * 5000,
        "[parts.pump]\nkind = 'pump'\npart = {part = 3}",
        "[parts.rad]\nkind = 'radiator'\nfan = {part = ['x']}\nair = 2026-01-01",
        "coolant = 'water'\nroom = []\ntube = 3\nlimits = nan",
        "[coolant]\nkind = nan\n[tube]\npart = nan\nfitting_metal = 3.5",
        "part_data = 3\n[parts.a]\nkind = 'pump'",
        "[part_data]\npump = 3\n[parts.a]\nkind = 'pump'",
        "title = 3\nnotes = 4\nformat = [2]",
        "[[room]]\nair = 3",
        "format = 1\n[parts]\nx = {kind = 'block', heat = []}",
    ],
)
def test_whatever_stands_in_the_file_is_shown_and_nothing_raises(panel, text):
    good = panel.file.value
    panel.file.value = text
    assert not answers(panel)
    for widget in list(panel.fields.values()):
        if isinstance(widget, widgets.Text):
            widget.value = "7"
    for words in (
        "Earlier",
        "Later",
        "Take out",
        "Add behind the chosen one",
        "Blocks in series",
        "Blocks in parallel",
    ):
        press(panel, words)
        answers(panel)
    panel.units.value = "us"
    while len(panel.draft.steps) > 1:
        panel.draft.back()
    press(panel, "Undo")
    assert panel.file.value == good
    assert answers(panel)


def test_problems_show_their_lines_and_are_escaped(panel):
    text = panel.file.value.replace('"25 degC"', '"<script>alert(1)</script>"').replace('"35 dB"', '"<b>loud</b>"')
    panel.file.value = text.replace("Podcast booth machine", "<script>alert(2)</script>")
    listed = re.findall(r"<li>(.*?)</li>", panel.drawing.value, flags=re.S)
    assert len(listed) == 2
    lines = panel.file.value.splitlines()
    for item, key in zip(listed, ("air =", "sound ="), strict=True):
        line = int(re.search(r"<b>line (\d+)</b>", item)[1])
        assert lines[line - 1].startswith(key)
    assert "<script>" not in panel.drawing.value + panel.status.value + panel.said.value
    assert "&lt;script&gt;alert(1)" in panel.drawing.value
    assert "gl-problem" in panel.drawing.value  # the last drawing stays faint behind
    assert drawn(panel)


@each_example
def test_a_title_and_names_with_tags_are_never_tags(path):
    panel = PlannerPanel(path)
    panel.fields[("title",)].value = "<script>alert(1)</script>"
    panel.name.value = "<img src=x>"
    panel.kind.value = "block"
    press(panel, "Add behind the chosen one")
    assert answers(panel)
    press(panel, "Save")
    shown = panel.drawing.value + panel.status.value + panel.said.value + panel.pages[2].children[-1].description
    shown += "".join(w.value for w in every_widget(panel.form) if isinstance(w, widgets.HTML))
    assert "<script>" not in shown
    assert "<img src=x>" not in shown
    panel.open(panel.draft.origin.path)
    assert "<script>" not in panel.status.value


# --------------------------------------------------------------------------------------------------------- buttons


def test_elements_are_moved_taken_out_and_added_by_the_buttons(panel):
    first = panel.draft.text
    panel.entries.index = 1
    second = panel.entries.options[1].partition(" ")[2]
    press(panel, "Later")
    assert panel.entries.index == 2
    assert panel.entries.options[2].partition(" ")[2] == second
    press(panel, "Earlier")
    press(panel, "Earlier")
    press(panel, "Earlier")  # it is the first already
    assert panel.entries.index == 0
    assert answers(panel)
    for kind in KINDS:
        count = len(panel.entries.options)
        panel.entries.index = count - 1
        panel.kind.value, panel.name.value = kind, f"new {kind}"
        press(panel, "Add behind the chosen one")
        assert answers(panel)
        assert len(panel.entries.options) == count + 1
        assert panel.entries.index == count  # the new one is chosen
        assert f"new {kind}" in panel.entries.options[-1]
    for _ in KINDS:
        panel.entries.index = len(panel.entries.options) - 1
        press(panel, "Take out")
        assert answers(panel)
    press(panel, "Blocks in series")
    assert answers(panel)
    press(panel, "Blocks in parallel")
    assert answers(panel)
    while len(panel.draft.steps) > 1:
        panel.draft.back()
    press(panel, "Undo")
    assert panel.draft.text == first


def test_what_a_button_refuses_is_said_in_words(panel):
    panel.entries.index = next(n for n, w in enumerate(panel.entries.options) if "pump" in w and "to" not in w)
    before = panel.draft.text
    press(panel, "Take out")
    assert "no pump" in plain(panel.status.value)
    panel.name.value = "processor"
    press(panel, "Add behind the chosen one")
    assert "not used in this loop" in plain(panel.status.value)
    assert panel.draft.text == before


def test_the_chosen_entry_stays_chosen_when_a_field_is_changed(panel):
    panel.entries.index = 5
    panel.fields["room", "air"].value = "26 degC"
    assert panel.entries.index == 5
    press(panel, "Undo")
    assert panel.entries.index == 5


def test_all_elements_but_the_pump_are_taken_out_and_the_panel_still_answers(panel):
    while len(panel.entries.options) > 1:
        panel.entries.index = 1 if panel.entries.options[0].endswith("pump") else 0
        press(panel, "Take out")
        answers(panel)
    assert panel.entries.options == ("1. pump",)
    assert answers(panel)


def test_a_loop_too_deep_to_draw_is_told_and_the_panel_goes_on(panel):
    inside = '{ run = "r0", length = "1 m" }'
    for n in range(1, 9):
        inside = f'{{ parallel = [[{inside}], [{{ run = "s{n}", length = "1 m" }}]] }}'
    good = panel.file.value
    panel.file.value = good.replace('  "processor",', f'  "processor",\n  {inside},')
    assert panel.draft.plan is not None
    assert "cannot be drawn" in plain(panel.status.value)
    panel.file.value = good
    assert answers(panel)


# ----------------------------------------------------------------------------------------------- saving, other plans


@each_example
def test_saving_an_example_makes_a_copy_that_every_page_opens(path, own):
    before = path.read_bytes()
    panel = PlannerPanel(path)
    panel.fields["room", "air"].value = "29 degC"
    assert "Not saved yet" in plain(panel.status.value)
    press(panel, "Save")
    copy = own / "plans" / path.name
    assert panel.draft.origin.path == copy
    assert "Saved to" in plain(panel.status.value)
    assert "Not saved yet" not in plain(panel.status.value)
    assert panel.chooser.value == copy
    assert path.read_bytes() == before
    assert float(mine.chosen().plan.room_air) == 29.0


def test_saving_a_file_with_problems_keeps_it_and_says_what_follows(panel, own):
    panel.file.value = panel.file.value.replace('"25 degC"', '"25 mm"')
    press(panel, "Save")
    assert "1 problem in it: other pages show the demo" in plain(panel.status.value)
    assert (own / "plans" / "podcast_booth.toml").read_text(encoding="utf-8") == panel.file.value


def test_what_was_not_saved_is_saved_when_another_plan_is_chosen(panel, own):
    panel.fields["room", "air"].value = "29 degC"
    typed = panel.file.value
    panel.chooser.value = SUITE
    assert panel.draft.origin.path == SUITE
    assert mine.chosen().plan.title == "Grading suite machine"
    copy = own / "plans" / "podcast_booth-unsaved.toml"
    assert copy.read_text(encoding="utf-8") == typed
    assert "What you had changed is kept" in plain(panel.status.value)
    assert str(copy) in plain(panel.status.value)
    panel.chooser.value = copy
    assert panel.file.value == typed
    assert answers(panel)


def test_a_text_that_is_no_plan_is_not_lost_either(panel, own):
    panel.file.value = "title = ["
    panel.chooser.value = SUITE
    assert (own / "plans" / "podcast_booth-unsaved.toml").read_text(encoding="utf-8") == "title = ["
    assert answers(panel)


def test_a_good_file_is_not_written_over_by_a_text_that_was_not_saved(panel, own):
    panel.save()
    good = own / "plans" / "podcast_booth.toml"
    before = good.read_bytes()
    for turn, sign in (("", '"'), ("-2", "[")):
        panel.file.value = panel.file.value.replace(sign, "", 1)
        panel.chooser.value = SUITE
        assert good.read_bytes() == before
        assert (own / "plans" / f"podcast_booth-unsaved{turn}.toml").exists()
        panel.chooser.value = good
    assert panel.draft.plan is not None


def test_a_chosen_run_and_a_dead_leg_have_fields_of_their_own(panel):
    panel.entries.index = 4
    places = [place for place in panel.fields if place[0] == "loop"]
    assert places == [("loop", "order", 4, key) for key in ("length", "bends", "fittings", "part")]
    assert panel.fields["loop", "order", 4, "length"].value == "440 mm"
    before = float(panel.solution.flow.m)
    panel.fields["loop", "order", 4, "length"].value = "2 m"
    assert 'run = "pump to processor", length = "2 m"' in panel.file.value
    assert float(panel.solution.flow.m) == before  # it is laid, and as long as its way
    panel.fields["loop", "order", 4, "part"].value = "EPDM 13/10 mm"
    assert 'part = "EPDM 13/10 mm"' in panel.file.value
    assert float(panel.solution.flow.m) < before  # soft tube finds a way of its own, as long as is stated
    panel.fields["loop", "order", 4, "part"].value = None
    assert 'part = "EPDM 13/10 mm"' not in panel.file.value
    panel.fields["loop", "order", 4, "bends"].value = "many"
    assert "loop.order[4].bends" in plain(panel.drawing.value)
    panel.undo()
    panel._show()
    panel.entries.index = 1
    assert panel.fields["loop", "order", 1, "purpose"].value == "fill"
    panel.entries.index = 2  # a pump: its fields are on a page of their own
    assert [place for place in panel.fields if place[0] == "loop"] == []


def test_a_radiator_of_another_fan_size_brings_fans_of_that_size(panel):
    panel.fields["parts", "front radiator", "part"].value = "2 x 140 mm, slim, medium fins"
    assert panel.draft.problems == []
    assert "140 mm" in panel.fields["parts", "front radiator", "fan"].value
    steps = len(panel.draft.steps)
    panel.undo()
    assert len(panel.draft.steps) == steps - 1
    assert 'part = "3 x 120 mm, slim, medium fins"' in panel.draft.text


def test_own_parts_that_cannot_be_read_are_told_with_the_plan(own):
    own.mkdir(exist_ok=True)
    (own / "parts.toml").write_text("format = 1\n[pump.mine]\nshutoff_hed = 3\n")
    words = plain(planner().status.value)
    assert "Your own parts are left out" in words
    assert "line 3" in words


def test_where_nothing_can_be_saved_the_text_stays_on_the_screen(panel, own):
    own.write_text("a file in the place of the folder")
    panel.fields["room", "air"].value = "29 degC"
    typed = panel.file.value
    panel.chooser.value = SUITE
    assert panel.file.value == typed
    assert panel.chooser.value == DEMO
    assert "can be written to" in plain(panel.status.value)
    press(panel, "Save")
    assert panel.file.value == typed
    assert "can be written to" in plain(panel.status.value)


def test_another_plan_begins_with_its_first_element_chosen(panel):
    panel.entries.index = 7
    panel.chooser.value = SUITE
    assert panel.entries.index == 0


def test_choosing_without_a_change_saves_nothing(panel, own):
    panel.chooser.value = SUITE
    assert not (own / "plans").exists()
    assert mine.chosen_path() == SUITE
    assert answers(panel)


def test_choosing_a_file_that_went_away_is_told(panel, own):
    copy = own / "plans" / "mine.toml"
    copy.parent.mkdir(parents=True)
    copy.write_bytes(SUITE.read_bytes())
    press(panel, "Undo")  # the list is made anew
    copy.unlink()
    panel.chooser.value = next(p for _, p in panel.chooser.options if p == copy)
    assert "a file that exists" in plain(panel.status.value)
    assert panel.draft.origin.path == DEMO
    assert panel.chooser.value == DEMO


@each_example
def test_windows_line_ends_survive_the_text_field_of_a_browser(path, tmp_path):
    file = tmp_path / "windows.toml"
    file.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    panel = PlannerPanel(file)
    assert "\r" not in panel.file.value
    assert not panel.draft.changed
    panel.file.value = panel.file.value + "# typed\n"
    press(panel, "Save")
    assert file.read_bytes() == path.read_bytes().replace(b"\n", b"\r\n") + b"# typed\r\n"


# ----------------------------------------------------------------------------------------------------- what is shown


def test_units_change_in_words_and_drawing_and_not_in_the_file(panel):
    text, picture = panel.file.value, drawn(panel)
    panel.units.value = "us"
    shown = plain(panel.drawing.value + panel.said.value)
    assert "gal/min" in shown
    assert "L/min" not in shown
    assert "°C" not in shown
    assert "°F" in panel.alt
    assert drawn(panel) != picture
    assert panel.file.value == text
    panel.units.value = "metric"
    assert drawn(panel) == picture


@each_example
def test_what_is_shown_without_a_kernel_holds_drawing_words_and_warnings(path):
    panel = PlannerPanel(path)
    bundle = panel._repr_mimebundle_()
    assert "application/vnd.jupyter.widget-view+json" in bundle
    alt = unescape(re.search(r'<img[^>]*alt="([^"]*)"', bundle["text/html"])[1])
    assert alt == bundle["text/plain"] == panel.alt
    assert "L/min" in plain(bundle["text/html"])
    assert "At peak heat" in plain(bundle["text/html"])
    assert 'aria-label="Warnings"' in bundle["text/html"]
    assert "Parts: " in plain(bundle["text/html"])


def test_the_cost_and_what_has_no_price_are_said():
    panel = PlannerPanel(CUBE)
    assert "Parts: 255 USD of 420; no price for deionised water." in plain(panel.said.value)


def test_peak_heat_is_said_in_the_headline(panel):
    warmest = panel.draft.plan.at_peak()
    from loopmath.solution import solved

    expected = float(solved(warmest).state["graphics card"])
    assert f"At peak heat: graphics card {expected:.1f} °C" in plain(panel.drawing.value)
    for name in ("processor", "graphics card"):
        panel.fields["parts", name, "peak_heat"].value = ""
    assert "At peak heat" not in plain(panel.drawing.value)
