"""The panel of materials and the class exercise: every view of every plan, every control to both ends, saving."""

import re
from html import unescape

import ipywidgets as widgets
import pytest
from examples import DEMO, each_example

from loopmath import load_plan, material_words, mine
from loopmath.exercise import EXERCISES, exercise
from loopmath.material_words import COOLANTS, ENDS, METALS, PAIRS, TOUCH, TUBES, VIEWS
from loopmath.panels.exercise import NOTHING, exercises
from loopmath.panels.materials import SHOWN, TITLES, materials
from loopmath.rules import SIGNALS


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    """Whatever is saved or chosen here is gone afterwards."""
    monkeypatch.setenv("LOOPMATH_MINE", str(tmp_path))


def words(panel):
    return unescape(re.sub(r"<[^>]+>", " ", panel.screen.value)).replace("\xa0", " ")


def view(panel, name):
    panel._control(":view").widget.value = name
    return panel


def answered(panel):
    said = words(panel)
    assert not panel.failed
    assert 'src="data:image/png;base64,' in panel.screen.value
    assert "nan" not in re.findall(r"[a-z]+", said.lower())
    assert panel.headline() in said
    assert panel.headline() in unescape(re.search(r'alt="([^"]*)"', panel.screen.value)[1])
    return said


@each_example
def test_every_view_shows_its_sentence_and_leaves_the_plan_as_it_is(path):
    panel, seen = materials(load_plan(path)), set()
    for name in VIEWS:
        answered(view(panel, name))
        assert panel.settings() == {}
        seen.add(panel.headline())
    assert len(seen) == len(VIEWS) - 1  # both views of metals say the same


@each_example
def test_every_control_answers_at_both_ends_and_comes_back_to_the_plan(path):
    panel = materials(load_plan(path))
    for name in VIEWS:
        view(panel, name)
        before = words(panel)
        for control in panel.controls:
            widget, start = control.widget, control.widget.value
            if control.setting == ":view" or name not in SHOWN.get(group_of(panel, widget), VIEWS):
                continue
            if isinstance(widget, widgets.IntSlider):
                ends = (widget.min, widget.max)
            elif isinstance(widget, widgets.Checkbox):
                ends = (not start,)
            else:
                options = [o[1] if isinstance(o, tuple) else o for o in widget.options]
                ends = (options[0], options[-1])
            for end in ends:
                widget.value = end
                assert panel.failed or panel.headline() in words(panel), (name, control.setting, end)
            widget.value = start
        assert panel.settings() == {}
        assert words(panel) == before


def group_of(panel, widget):
    return next(title for title, box in panel.boxes.items() if widget in box.children)


def test_a_view_shows_the_controls_that_count_in_it_alone():
    panel = materials(load_plan(DEMO))
    for name in VIEWS:
        view(panel, name)
        shown = {title for title, box in panel.boxes.items() if box.layout.display != "none"}
        assert shown == {"Look at", *(title for title, views in SHOWN.items() if name in views)}


def test_aluminium_ticked_is_a_danger_with_any_coolant_and_says_what_to_replace():
    panel = view(materials(load_plan(DEMO)), METALS)
    panel._control(":metal aluminium 6000 series").widget.value = True
    for _, treatment in panel._control("treatment").widget.options:
        panel._control("treatment").widget.value = treatment
        assert panel.headline().startswith("Aluminium 6000 series and nickel plate lie 0.60 V apart")
        assert "1 danger" in panel.headline()
        assert "Take the aluminium 6000 series out of the loop" in words(panel)
    assert panel.planned().also_wetted == ("aluminium 6000 series",)


def test_what_is_in_the_coolant_follows_it_and_is_said():
    panel = materials(load_plan(DEMO).set(treatment=""))
    assert panel._control("treatment").widget.options[0] == ("as usual for it", "")
    assert panel._control("treatment").widget.value == ""
    assert ("in the coolant", "inhibitor and biocide, as usual") in panel.figures()
    panel._control("coolant").widget.value = "water"
    assert ("in the coolant", "biocide, as usual") in panel.figures()
    assert "biocide, as usual" in words(panel)
    panel._control("treatment").widget.value = "none"
    assert ("in the coolant", "nothing") in panel.figures()
    assert panel.planned().treatment == "none"


def test_what_was_chosen_for_the_coolant_can_be_given_back_to_what_is_usual(own):
    panel = materials(load_plan(DEMO).set(treatment="inhibitor, biocide and dye"))
    panel._control("treatment").widget.value = ""
    panel.save_plan()
    (saved,) = (own / "plans").glob("*.toml")
    assert load_plan(saved).treatment == ""


@each_example
def test_a_metal_of_those_offered_is_quiet_and_one_is_not(path):
    panel = view(materials(load_plan(path)), METALS)
    before = [(row.signal, row.where) for row in panel.solution.warned()]
    for metal, quiet in (("titanium", True), ("bronze", True), ("mild steel", False), ("zinc casting", False)):
        tick = panel._control(f":metal {metal}").widget
        tick.value = True
        assert ([(row.signal, row.where) for row in panel.solution.warned()] == before) is quiet, metal
        tick.value = False


def test_numbers_stand_under_their_heading_outside_of_the_warnings():
    panel = materials(load_plan(DEMO))
    for name in VIEWS:
        shown = view(panel, name).screen.value
        warned, _, after = shown.partition('aria-label="Warnings"')[2].partition("</div>")
        assert "<th>" not in warned
        assert ("<th>" in after) is (name != TOUCH)
        assert name == TOUCH or f'class="gl-title">{TITLES[name]}' in after


def test_the_whole_reason_and_the_tools_of_the_plans_own_tube_stand_under_the_picture():
    panel = view(materials(load_plan(DEMO)), TUBES)
    result, said = panel.solution.result, words(panel)
    assert result.reason in said
    assert "Against it:" in result.reason  # more than the headline says
    own = next(kind for kind in result.kinds if kind.material == result.own)
    assert f"Tools for {own.label}" in said
    assert own.tools in said


def test_how_tube_ends_are_held_is_said_in_one_line():
    panel = view(materials(load_plan(DEMO)), TOUCH)
    panel._control("tube_edge").widget.value = "sharp"
    panel._control("squeeze").widget.value = 30
    assert "Tube ends: sharp; rings of EPDM with a section of 1.8 mm, squeezed by 30 %." in words(panel)


def judged_pairs(metal):
    """Return how the pairs of a plan and a metal beside it are judged without an inhibitor, and with one."""
    panel = view(materials(load_plan(DEMO)), PAIRS)
    panel._control(f":metal {metal}").widget.value = True
    for treatment in ("biocide", "inhibitor and biocide"):
        panel._control("treatment").widget.value = treatment
        yield panel.solution.result.signals


def test_an_inhibitor_lowers_a_pair_by_one_grade_and_never_removes_it():
    without, inhibited = judged_pairs("mild steel")
    assert without.keys() == inhibited.keys()
    assert without["nickel plate", "mild steel"] == "warning"  # 0.55 V apart, over the 0.50 V of any surroundings
    for pair, signal in without.items():
        assert SIGNALS.index(inhibited[pair]) == SIGNALS.index(signal) + 1


def test_no_inhibitor_makes_zinc_beside_copper_less_than_a_warning():
    for signals in judged_pairs("zinc casting"):
        assert signals["copper", "zinc casting"] == signals["brass", "zinc casting"] == "warning"


def test_the_nearest_end_is_named_with_its_moment():
    panel = view(materials(load_plan(DEMO)), ENDS)
    end = min(panel.solution.result.ends, key=lambda e: e.margin)
    assert end.run in panel.headline()
    assert end.worst in panel.headline()
    panel._control("tube_material").widget.value = "copper"
    assert panel.headline().startswith("No tube of this loop softens.")


def test_weights_alone_rank_again_without_solving(monkeypatch):
    panel = view(materials(load_plan(DEMO)), TUBES)
    monkeypatch.setattr(material_words, "look", None)  # what would solve
    first = panel.solution.result.kinds[0].material
    for name in ("forming", "transport", "upkeep", "cost"):
        panel._control(f":{name}").widget.value = 0
    panel._control(":looks").widget.value = 100
    assert panel.solution.result.kinds[0].material != first
    assert panel.solution.result.weights["looks"] == 1.0


def test_no_weight_at_all_is_told_and_the_last_picture_stays():
    panel = view(materials(load_plan(DEMO)), TUBES)
    for control in panel.controls:
        if control.setting.removeprefix(":") in panel.solution.result.weights:
            control.widget.value = 0
    assert "weights" in panel.failed
    assert "gl-problem" in panel.screen.value


def test_oil_on_epdm_is_a_danger_in_the_headline():
    panel = view(materials(load_plan(DEMO)), TOUCH)
    panel._control("assembly_aid").widget.value = "mineral oil"
    assert "mineral oil on EPDM" in panel.headline()
    assert "1 danger" in panel.headline()


def test_units_change_the_words_and_not_the_plan():
    panel = view(materials(load_plan(DEMO)), COOLANTS)
    metric = answered(panel)
    panel.units.value = "us"
    said = answered(panel)
    assert panel.settings() == {}
    assert said != metric
    assert "L/min" not in said


def test_a_plan_saved_from_the_panel_has_what_was_chosen(monkeypatch):
    panel = materials(load_plan(DEMO))
    panel._control("treatment").widget.value = "inhibitor, biocide and dye"
    panel._control(":metal silver").widget.value = True
    panel._control("seal").widget.value = "NBR"
    panel.save_plan()
    kept = mine.chosen().plan
    assert (kept.treatment, kept.also_wetted, kept.seal) == ("inhibitor, biocide and dye", ("silver",), "NBR")


# ----------------------------------------------------------------------------------------------- the class exercise


@pytest.mark.parametrize("number", EXERCISES)
def test_every_machine_of_the_exercise_is_shown_and_judged(number):
    panel = exercises()
    panel.which.value = number
    case = exercise(number)
    assert case.words in unescape(panel.screen.value)
    assert [choice for _, choice in panel.guess.options] == [NOTHING, *case.choices]
    panel._judge()
    assert "Choose first" in panel.said.value
    wrong = next(choice for choice in case.choices if choice != case.answer)
    panel.guess.value = wrong
    panel._judge()
    assert "✘" in panel.said.value
    assert case.answer not in unescape(panel.said.value)
    panel.guess.value = case.answer
    panel._judge()
    assert "✔" in panel.said.value
