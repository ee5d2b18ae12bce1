"""The panel of what to cool: every lesson on every plan, every control to both ends, words where nothing compares."""

import re
from dataclasses import replace
from html import unescape

import ipywidgets as widgets
import pytest
from examples import CUBE, DEMO, EXAMPLES, SUITE, each_example

from loopmath import choice_words, load_plan, mine, tables
from loopmath import loop as tree
from loopmath.case import AirPart
from loopmath.checks import InputError
from loopmath.choice_words import COOL, DEPTH, FANS, GAIN, KNEE, LAYOUT, LESSONS, ORDER, SPLIT
from loopmath.panels import choice as module
from loopmath.panels.choice import SLOW, choice

WORKSHOP = tables.DATA / "plans" / "quiet_workshop.toml"


def words(panel):
    return unescape(re.sub(r"<[^>]+>", " ", panel.screen.value)).replace("\xa0", " ")


def picture(panel):
    return re.search(r'src="(data:image/png;base64,[^"]+)"', panel.screen.value)[1]


def alt(panel):
    return unescape(re.search(r'alt="([^"]*)"', panel.screen.value)[1])


def sliders(panel):
    return [c for c in panel.controls if isinstance(c.widget, widgets.IntSlider)]


def answered(panel):
    """Say what every screen must hold, whatever the settings."""
    said = words(panel)
    assert not panel.failed
    assert picture(panel)
    assert "nan" not in re.findall(r"[a-z]+", said.lower())
    assert panel.headline() in said
    assert panel.headline() in alt(panel)
    return said


@each_example
def test_every_lesson_shows_its_sentence_its_numbers_and_its_drawing(path):
    plan = load_plan(path)
    panel = choice(plan)
    seen = set()
    for lesson in LESSONS:
        panel.lesson.value = lesson
        said = answered(panel)
        assert panel.settings() == {}
        assert panel.solution.lesson == lesson
        table = choice_words.table(panel.solution)
        assert len(table.rows) == panel.screen.value.count("<tr") - bool(table.heads)
        for name, cells, _ in table.rows[:6]:
            assert name in said
            assert all(cell in said for cell in cells)
            assert all(cell in alt(panel) for cell in cells)
        seen.add(picture(panel))
    assert len(seen) == len(LESSONS)


@each_example
def test_all_controls_at_their_ends_together_in_every_lesson(path):
    panel = choice(load_plan(path))
    for end in ("min", "max"):
        for control in sliders(panel):
            control.widget.value = getattr(control.widget, end)
        for lesson in LESSONS:
            panel.lesson.value = lesson
            answered(panel)


@each_example
def test_every_control_answers_at_both_ends_and_comes_back_to_the_plan(path):
    panel = choice(load_plan(path))
    for number, control in enumerate(sliders(panel)):
        panel.lesson.value = LESSONS[number % len(LESSONS)]
        start = control.widget.value
        for end in (control.widget.min, control.widget.max):
            control.widget.value = end
            answered(panel)
        control.widget.value = start
        assert panel.settings() == {}


def test_a_slider_moves_what_it_says():
    panel = choice(load_plan(WORKSHOP))
    panel.lesson.value = GAIN
    before = panel.solution.result
    panel._control("memory.heat").widget.value = 40
    assert panel.solution.result.loc["memory", "heat [W]"] == 40
    assert panel.solution.result.loc["memory", "on air [degC]"] > before.loc["memory", "on air [degC]"]
    panel.lesson.value = KNEE
    panel._control("pump_speed").widget.value = 40
    assert panel.solution.solution.plan.units(tree.PumpUnit)[0].speed == pytest.approx(0.4)
    assert "40 %" in words(panel)


def test_slow_lessons_answer_when_a_slider_is_let_go_and_say_when_they_compute():
    panel = choice(load_plan(CUBE))
    for lesson in LESSONS:
        notes = []
        panel.pace.observe(lambda change, notes=notes: notes.append(change["new"]), "value")
        panel.lesson.value = LESSONS[(LESSONS.index(lesson) + 1) % len(LESSONS)]
        notes.clear()
        panel.lesson.value = lesson
        panel.pace.unobserve_all("value")
        assert {c.widget.continuous_update for c in sliders(panel)} == {lesson not in SLOW}
        assert (module.LET_GO if lesson in SLOW else module.WHILE) in panel.pace.value
        assert any(module.BUSY in note for note in notes) == (lesson in SLOW)


def test_units_change_everywhere_at_once_and_change_nothing_else():
    panel = choice(load_plan(WORKSHOP))
    for lesson in LESSONS:
        panel.lesson.value = lesson
        before = panel.solution.solution.state["coolant_warmest"]
        panel.units.value = "us"
        for said in (words(panel), alt(panel)):
            assert "°F" in said
            assert "°C" not in said
            assert "L/min" not in said
            assert not re.search(r"\d K\b", said)
        assert panel.solution.solution.state["coolant_warmest"] == before
        assert panel.settings() == {}
        panel.units.value = "metric"
    assert "°F" not in words(panel)


def test_a_plan_with_one_block_gets_its_answer_in_the_place_of_the_drawing():
    panel = choice(load_plan(CUBE))
    panel.lesson.value = LAYOUT
    assert "nothing to compare" in words(panel)
    assert "two blocks or more" in alt(panel)
    assert "Traceback" not in panel.screen.value
    panel.lesson.value = KNEE
    assert "knee" in panel.headline()


def shapes():
    demo = load_plan(DEMO)

    def without(plan, kind):
        return replace(plan, loop=tree.Series(*(i for i in plan.loop.items if not isinstance(i, kind))))

    def fanless(leaf):
        return replace(leaf, fan=None, air_flow_each=0.02) if isinstance(leaf, tree.RadiatorUnit) else leaf

    names = ("memory of the left side", "memory of the right side", "another very long name of a part, really long")
    crowd = tuple(AirPart(name, "memory", 9.0, 85.0, 2.0) for name in names)
    more = tuple(AirPart(f"regulator {n}", "voltage regulator", 12.0 + n, 100.0, 1.0) for n in range(6))
    return {
        "no block": without(demo, tree.Source),
        "no radiator": without(demo, tree.RadiatorUnit),
        "no fans": demo.with_loop(fanless),
        "no runs": replace(without(demo, (tree.Run, tree.DeadLeg)), tube=None),
        "no money": replace(demo, currency="", budget=None),
        "a crowd": replace(load_plan(SUITE), on_air=(*crowd, *more)),
    }


SHAPES = shapes()


@pytest.mark.parametrize("shape", SHAPES)
def test_plans_of_every_shape_get_an_answer_in_every_lesson(shape):
    panel = choice(SHAPES[shape])
    for lesson in LESSONS if shape != "a crowd" else (GAIN, FANS, SPLIT):
        panel.lesson.value = lesson
        answered(panel)
        panel.units.value = "us"
        answered(panel)
        panel.units.value = "metric"


def test_without_fans_or_blocks_the_words_say_what_is_missing():
    panel = choice(SHAPES["no fans"])
    for lesson in (FANS, DEPTH):
        panel.lesson.value = lesson
        assert "radiators have fans" in words(panel) + alt(panel)
    panel = choice(SHAPES["no block"])
    panel.lesson.value = ORDER
    assert "Add a block" in alt(panel)


def test_a_power_supply_is_never_offered():
    supply = AirPart("supply", "power supply", 60.0, 50.0, 0.3)
    panel = choice(replace(load_plan(WORKSHOP), on_air=(supply,)))
    for lesson in (COOL, GAIN):
        panel.lesson.value = lesson
        assert not [row for row in choice_words.table(panel.solution).rows if "supply" in row[0]]
        assert "can kill" in words(panel)


def test_where_the_case_is_balanced_against_the_plan_it_is_said():
    panel = choice(load_plan(DEMO))
    for lesson in LESSONS:
        panel.lesson.value = lesson
        said = lesson in choice_words.BALANCED
        assert ("may differ from the first page" in words(panel)) == said
        assert ("case air, balanced" in words(panel)) == said


def test_an_error_is_shown_in_words_and_the_panel_recovers(monkeypatch):
    panel = choice(load_plan(DEMO))

    def refuse(lesson, plan):
        raise InputError("tube <bore>", -1, "more than 0 mm", "Choose a tube.")

    with monkeypatch.context() as patch:
        patch.setattr(choice_words, "told", refuse)
        panel._control("pump_speed").widget.value = 66
        assert "Choose a tube" in words(panel)
        assert "<bore>" not in panel.screen.value
    panel._control("pump_speed").widget.value = 67
    answered(panel)


def test_what_is_shown_without_a_kernel_holds_picture_and_words():
    panel = choice(load_plan(WORKSHOP))
    bundle = panel._repr_mimebundle_()
    assert "application/vnd.jupyter.widget-view+json" in bundle
    assert 'alt="What to cool. All 31 choices' in bundle["text/html"]
    assert "data:image/png" in bundle["text/html"]
    assert bundle["text/plain"] == panel.headline()


def test_without_a_plan_the_chosen_one_is_opened(own):
    mine.choose(EXAMPLES[-1])
    assert choice().plan.title == load_plan(EXAMPLES[-1]).title


def test_saving_writes_what_was_moved_and_not_the_air_a_lesson_balances(own):
    mine.choose(DEMO)
    panel = choice(load_plan(DEMO))
    panel.lesson.value = GAIN
    panel._control("pump_speed").widget.value = 66
    panel.save_plan()
    before = DEMO.read_text(encoding="utf-8").splitlines()
    after = (own / "plans" / DEMO.name).read_text(encoding="utf-8").splitlines()
    assert [line.split("#")[0].strip() for line in after if line not in before] == ['speed = "66 %"']
    assert panel.settings() == {}


def test_sliders_are_told_apart():
    for path in EXAMPLES:
        names = [c.widget.description for c in sliders(choice(load_plan(path)))]
        assert len(set(names)) == len(names)
