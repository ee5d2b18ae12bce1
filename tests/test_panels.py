"""The at-a-glance panel without a browser: every control to both ends, errors in words, keeping, units."""

import difflib
import re
from dataclasses import replace
from html import unescape

import ipywidgets as widgets
import numpy as np
import pytest
from examples import DEMO, EXAMPLES, each_example

import loopmath
from loopmath import catalogue, mine
from loopmath import loop as tree
from loopmath.checks import InputError
from loopmath.panels import glance as module
from loopmath.panels import page
from loopmath.panels.glance import glance
from loopmath.planfile import plan_of_text


@pytest.fixture(scope="module")
def panel():
    return glance(loopmath.demo_plan())


@pytest.fixture(autouse=True)
def at_rest(request):
    """Put every control of the shared panel back after a test."""
    if "panel" not in request.fixturenames:
        yield
        return
    shared = request.getfixturevalue("panel")
    before = {c.setting: c.widget.value for c in shared.controls}
    yield
    shared.units.value = "metric"
    for control in shared.controls:
        control.widget.value = before[control.setting]
    shared.let_go()


def words(panel):
    """Return what the screen says, tags taken out."""
    return unescape(re.sub(r"<[^>]+>", " ", re.sub(r"<style>.*?</style>", "", panel.screen.value, flags=re.S)))


def picture(panel):
    return re.search(r'src="(data:image/png;base64,[^"]+)"', panel.screen.value)[1]


def ends(widget):
    """Return the two ends of a slider, or every option of a choice."""
    if isinstance(widget, widgets.IntSlider):
        return [widget.min, widget.max]
    return [o[1] if isinstance(o, tuple) else o for o in widget.options]


def test_all_controls_at_their_low_ends_and_high_ends_together(panel):
    for end in (0, -1):
        for control in panel.controls:
            control.widget.value = ends(control.widget)[end]
        assert "cannot" not in panel.failed
        assert panel.solution.plight or panel.solution.known


def test_a_slider_changes_picture_headline_and_figures_in_one_message(panel):
    seen = []
    panel.screen.observe(lambda change: seen.append(change["new"]), "value")
    before = picture(panel)
    panel._control("pump_speed").widget.value = 83
    assert len(seen) == 1
    assert picture(panel) != before
    flow = f"{panel.solution.flow.to('L/min').m:.2f} L/min"
    assert words(panel).replace("\xa0", " ").count(flow) >= 2  # headline and readout agree


def test_more_pump_speed_shows_more_flow_and_cooler_parts(panel):
    slider, states = panel._control("pump_speed").widget, []
    for speed in (40, 70, 100):
        slider.value = speed
        states.append(panel.solution.state)
    assert states[0]["flow"] < states[1]["flow"] < states[2]["flow"]
    assert states[0]["graphics card"] > states[1]["graphics card"] > states[2]["graphics card"]


def test_an_error_is_shown_in_words_in_its_place_and_the_panel_recovers(panel, monkeypatch):
    before = picture(panel)

    def refuse(plan):
        raise InputError("tube <bore>", -1, "more than 0 mm", "Choose a tube.")

    with monkeypatch.context() as patch:
        patch.setattr(module, "solved", refuse)
        panel._control("fittings").widget.value = 9
        assert "This cannot be solved" in words(panel)
        assert "tube <bore>" in words(panel)
        assert "<bore>" not in panel.screen.value  # escaped
        assert "Choose a tube" in words(panel)
        assert picture(panel) == before  # the last good picture stays behind
    panel._control("fittings").widget.value = 10
    assert "cannot" not in words(panel)


def test_where_no_temperature_can_be_stated_the_screen_says_why_and_invents_none(panel):
    panel._control("fan_speed").widget.value = 15
    assert "no temperature can be stated" in words(panel)
    assert "DANGER" in words(panel).upper()
    assert "least speed" in words(panel)


def test_a_pump_below_its_least_speed_is_a_danger_with_no_flow(panel):
    panel._control("pump_speed").widget.value = 20
    assert words(panel).strip().startswith("Nothing flows")
    assert "danger" in words(panel)


def test_units_change_everywhere_at_once_and_change_nothing_else(panel):
    panel._control("room_air").widget.value = 30
    before = panel.solution.state["coolant_return"]
    panel.units.value = "us"
    text = words(panel).replace("\xa0", " ")
    assert "gal/min" in text
    assert "L/min" not in text
    assert "°C" not in text
    assert panel.room.value == 86
    assert "°F" in panel.room.description
    assert panel.solution.state["coolant_return"] == before
    panel.room.value = 77
    assert float(panel.solution.plan.room_air) == pytest.approx(25.0)
    panel.keep()
    assert "gal/min" in panel.table.value
    panel.units.value = "metric"
    assert panel.room.value == 25
    assert "L/min" in panel.table.value


def test_six_designs_are_kept_and_the_seventh_drops_the_oldest(panel):
    for speed in (40, 50, 60, 70, 80, 90, 100):
        panel._control("pump_speed").widget.value = speed
        panel.keep()
    kept = panel.comparison.table()
    assert list(kept["design"]) == list("ABCDEF")
    assert kept["pump"].iloc[0].endswith("50 %")
    assert kept["pump"].iloc[-1].endswith("100 %")
    drawn = sum(len(p.kept) for p in panel.pictures)
    assert drawn > 6
    panel.let_go()
    assert sum(len(p.kept) for p in panel.pictures) == 0


def test_saving_writes_three_files_and_never_overwrites(panel, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    panel.keep()
    panel.save()
    first = sorted(p.name for p in (tmp_path / "kept").iterdir())
    assert first == ["comparison-1.csv", "comparison-1.html", "comparison-1.md"]
    text = (tmp_path / "kept" / "comparison-1.html").read_text(encoding="utf-8")
    assert "data:image/png" in text
    assert "<table>" in text
    panel.save()
    assert len(list((tmp_path / "kept").iterdir())) == 6
    assert "comparison-2.md" in panel.table.value


def test_what_is_shown_without_a_kernel_holds_picture_words_and_warnings(panel):
    bundle = panel._repr_mimebundle_()
    assert "application/vnd.jupyter.widget-view+json" in bundle
    assert 'alt="Three drawings' in bundle["text/html"]
    assert "gl-warn" in bundle["text/html"]
    assert bundle["text/plain"] == page.headline(panel.solution)


def test_the_headline_is_one_line_of_plain_words():
    solution = loopmath.solve(loopmath.demo_plan())
    line = page.headline(solution)
    assert re.match(
        r"^\d\.\d\d L/min; warmest coolant \d+\.\d K over room; graphics card [\d.]+ °C, [\d.]+ K below", line
    )
    assert "dB" in line


@pytest.mark.parametrize("layout", ["series", "parallel"])
def test_layout_of_blocks_is_redrawn(panel, layout):
    panel._control("layout").widget.value = "parallel"
    panel._control("layout").widget.value = layout
    assert ("tee, into the branch" in panel.pictures[1].order) == (layout == "parallel")


# ------------------------------------------------------------------------------------------ plans of every shape


def renamed_blocks(plan, count, name):
    """Return a plan with `count` blocks one behind the other, called by `name(n)`."""
    first = plan.units(tree.Source)[0]
    others = [item for item in plan.loop.items if not isinstance(item, tree.Source)]
    blocks = [replace(first, name=name(n), heat=40.0 + n) for n in range(count)]
    return replace(plan, loop=tree.Series(*others, *blocks))


def without(plan, kind):
    return replace(plan, loop=tree.Series(*(i for i in plan.loop.items if not isinstance(i, kind))))


def shapes():
    demo = loopmath.demo_plan()
    text = DEMO.read_text(encoding="utf-8")
    own_pump = '\n[part_data.pump."garage pump"]\nshutoff_head = "3.3 m"\nrunout_flow = "900 L/h"\n'
    garage = text.replace("standard pump, 3.7 m", "garage pump") + own_pump
    thirds = text.replace('part = "PETG 14/10 mm"', 'part = "PETG 14/10 mm"\nbore = "9.525 mm"')
    similar = ("graphics card left side", "graphics card right side", "graphics card inner side", "graphics card")
    return {
        **{path.stem: loopmath.load_plan(path) for path in EXAMPLES},
        "one block": renamed_blocks(demo, 1, lambda n: "cpu"),
        "no block": without(demo, tree.Source),
        "no runs": without(demo, (tree.Run, tree.DeadLeg)),
        "no radiator": without(demo, tree.RadiatorUnit),
        "no fans": demo.with_loop(
            lambda e: replace(e, fan=None, air_flow_each=0.02) if isinstance(e, tree.RadiatorUnit) else e
        ),
        "four blocks": renamed_blocks(demo, 4, lambda n: f"block {n}"),
        "similar long names": renamed_blocks(demo, 4, lambda n: similar[n]),
        "names with dots": renamed_blocks(demo, 2, lambda n: f"a.b.{n}"),
        "a part only the plan knows": plan_of_text(garage, DEMO),
        "room between two steps": replace(demo, room_air=22.2),
        "3/8 inch bore": plan_of_text(thirds, DEMO),
    }


SHAPES = shapes()
each_shape = pytest.mark.parametrize("shape", SHAPES)


def same(one, other):
    """Return True if two answers are the same to the bit."""
    return one.state.keys() == other.state.keys() and all(
        np.array_equal(value, other.state[key], equal_nan=True) for key, value in one.state.items()
    )


@each_shape
def test_an_untouched_panel_gives_the_plans_own_answer_to_the_bit(shape):
    plan = SHAPES[shape]
    panel = glance(plan)
    assert panel.settings() == {}
    assert same(panel.solution, loopmath.solution.solved(plan))
    assert page.headline(loopmath.solution.solved(plan)) in words(panel).replace("\xa0", " ")
    panel.units.value = "us"
    assert panel.settings() == {}
    panel.units.value = "metric"
    assert panel.settings() == {}
    assert same(panel.solution, loopmath.solution.solved(plan))
    labels = [c.widget.description for c in panel.controls]
    labels = [label for label in labels if not label.startswith(("Fan size", "Depth"))]  # each beside its radiator
    assert len(set(labels)) == len(labels)


@pytest.mark.parametrize("shape", [shape for shape in SHAPES if shape != "similar long names"])
def test_every_control_answers_at_both_ends_and_comes_back_to_the_plan(shape):
    plan = SHAPES[shape]
    panel = glance(plan)
    before = loopmath.solution.solved(plan)
    for control in panel.controls:
        start = control.widget.value
        low, *others, high = ends(control.widget)
        for value in [v for v in (low, *(others if shape == DEMO.stem else ()), high) if v != start]:
            control.widget.value = value
            assert not panel.failed, (control.setting, value)
            assert picture(panel)
            assert "nan" not in words(panel).lower().replace("finance", "")
            again = loopmath.solution.solved(plan.set(**panel.settings()))
            assert float(again.flow.m) == pytest.approx(float(panel.solution.flow.m), rel=1e-12)
        control.widget.value = start
        assert panel.settings() == {}, control.setting
        assert same(panel.solution, before), control.setting


def test_short_names_tell_elements_apart():
    assert module._labels(["processor", "graphics card"]) == ["processor", "graphics"]
    for names in (
        ["graphics card left side", "graphics card right side"],
        ["left radiator of the case", "left radiator of the roof"],
        ["a very long name", "a very long name too", "a very long name"],
        [" " * 12, "x"],
    ):
        found = module._labels(names)
        assert len(set(found)) == len(names)
        assert all(len(label) <= 12 for label in found)


def test_choosing_a_tube_gives_exactly_that_tube_and_moves_its_slider():
    panel = glance(SHAPES["podcast_booth"])
    panel._control("bore").widget.value = 0.008
    for name in ("PETG 3/8 in bore, 1/2 in outside", "copper 12/10 mm"):
        panel._control("tube").widget.value = name
        tube = catalogue.part("tube", name)
        assert panel._control("bore").widget.value == tube.bore
        assert {(run.tube.name, run.tube.bore) for run in panel.solution.plan.units(tree.Run)} == {(name, tube.bore)}
        assert same(panel.solution, loopmath.solution.solved(panel.plan.set(tube=name)))
    panel._control("tube").widget.value = "as planned"
    assert panel._control("bore").widget.value == 0.010
    assert same(panel.solution, loopmath.solution.solved(panel.plan))


def test_choosing_a_radiator_gives_exactly_that_core_and_moves_its_sliders():
    panel = glance(SHAPES["grading_suite"])
    panel._control("top radiator.positions").widget.value = 1
    for name in ("2 x 200 mm, slim, wide fins", "4 x 120 mm, deep, wide fins"):
        panel._control("top radiator.radiator").widget.value = name
        core = catalogue.part("radiator", name)
        for field in ("positions", "fan_size", "depth"):
            assert panel._control(f"top radiator.{field}").widget.value == getattr(core, field)
        unit = next(u for u in panel.solution.plan.units(tree.RadiatorUnit) if u.name == "top radiator")
        assert unit.radiator == core or vars(unit.radiator) == vars(core)
        assert unit.fan.size == core.fan_size
    panel._control("top radiator.radiator").widget.value = "as planned"
    assert same(panel.solution, loopmath.solution.solved(panel.plan))


def test_a_part_only_the_plan_knows_can_be_left_and_taken_again():
    panel = glance(SHAPES["a part only the plan knows"])
    chooser = panel._control("pump").widget
    assert chooser.options[0][0] == "garage pump"
    before = panel.solution
    chooser.value = "strong pump, 5.1 m"
    assert panel.solution.state["flow"] > before.state["flow"]
    chooser.value = "as planned"
    assert same(panel.solution, before)


def test_parts_kept_as_ones_own_are_offered(own):
    for kind, name in (("pump", "compact pump, 2.4 m"), ("radiator", "1 x 120 mm, slim, wide fins")):
        catalogue.keep_part(kind, replace(catalogue.part(kind, name), name=f"my {kind}"))
    panel = glance(SHAPES["podcast_booth"])
    for setting in ("pump", "front radiator.radiator"):
        widget = panel._control(setting).widget
        name = f"my {setting.rpartition('.')[2]}"
        assert name in ends(widget)
        widget.value = name
        assert not panel.failed
    assert panel.solution.plan.units(tree.PumpUnit)[0].pump.name == "my pump"
    assert panel.solution.plan.units(tree.RadiatorUnit)[0].radiator.name == "my radiator"


def test_what_was_moved_stays_moved_when_two_degrees_fahrenheit_are_one_celsius():
    panel = glance(SHAPES["podcast_booth"])
    panel.units.value = "us"
    start = panel.room.value
    panel.room.value = start - 1
    panel.room.value = start
    assert panel.settings() == {}
    for step in (1, -1):
        panel.room.value = start + step
        panel.units.value = "metric"
        assert "room_air" in panel.settings()
        panel.units.value = "us"
        assert "room_air" in panel.settings()
        panel.room.value = start


# --------------------------------------------------------------------------------------------------- saving a plan


def lines_changed(before, after):
    return [line for line in difflib.ndiff(before.splitlines(), after.splitlines()) if line[0] in "+-"]


@each_example
def test_saving_writes_only_what_was_moved_into_a_copy_and_goes_on_there(path, own):
    before = path.read_text(encoding="utf-8")
    mine.choose(path)
    panel = glance(loopmath.load_plan(path))
    panel._control("pump_speed").widget.value = 91
    panel.save_plan()
    copy = own / "plans" / path.name
    assert path.read_text(encoding="utf-8") == before
    changed = lines_changed(before, copy.read_text(encoding="utf-8"))
    assert [line.split("#")[0].split()[1:4] for line in changed if line[0] == "+"] == [["speed", "=", '"91']]
    assert len(changed) == 2
    assert str(copy) in panel.table.value
    assert mine.chosen_path() == copy  # the other pages go on with what was saved
    answer = panel.solution
    assert panel.settings() == {}
    assert same(loopmath.solution.solved(loopmath.load_plan(copy)), answer)
    panel._control("fan_speed").widget.value = 77
    panel.save_plan()
    assert [p.name for p in (own / "plans").iterdir()] == [path.name]
    again = loopmath.load_plan(copy)
    assert {u.fan_speed for u in again.units(tree.RadiatorUnit)} == {0.77}
    assert again.units(tree.PumpUnit)[0].speed == 0.91
    assert same(loopmath.solution.solved(again), panel.solution)


def test_saving_an_untouched_plan_leaves_its_file_as_it_is(own):
    path = EXAMPLES[0]
    panel = glance(loopmath.load_plan(path))
    panel.save_plan()
    assert (own / "plans" / path.name).read_bytes() == path.read_bytes()


def test_after_saving_choices_name_the_part_the_plan_has_now(own):
    panel = glance(loopmath.load_plan(DEMO))
    panel._control("pump").widget.value = "strong pump, 5.1 m"
    panel._control("tube").widget.value = "PETG 12/8 mm"
    panel._control("front radiator.radiator").widget.value = "2 x 140 mm, deep, medium fins"
    panel._control("layout").widget.value = "parallel"
    panel.save_plan()
    saved = panel.solution
    assert panel.settings() == {}
    assert panel._control("pump").widget.options[0] == ("strong pump, 5.1 m", "as planned")
    for setting in ("pump", "tube", "front radiator.radiator", "layout"):
        widget = panel._control(setting).widget
        start = widget.value
        widget.value = ends(widget)[-1]
        assert not panel.failed
        widget.value = start
        assert not panel.failed
    assert same(panel.solution, saved)
    panel._control("pump").widget.value = "standard pump, 3.7 m"  # the one it had at first can be taken again
    panel._control("layout").widget.value = "series"
    panel.save_plan()
    plan = loopmath.load_plan(panel.plan.origin.path)
    assert plan.units(tree.PumpUnit)[0].pump.name == "standard pump, 3.7 m"
    assert not [item for item in plan.loop.items if isinstance(item, tree.Parallel)]


def test_a_plan_changed_on_disk_meanwhile_is_left_alone_and_the_second_file_is_said(own):
    panel = glance(loopmath.load_plan(DEMO))
    panel.save_plan()
    copy = own / "plans" / "podcast_booth.toml"
    copy.write_text(copy.read_text(encoding="utf-8") + "# from elsewhere\n", encoding="utf-8")
    panel._control("pump_speed").widget.value = 66
    panel.save_plan()
    assert copy.read_text(encoding="utf-8").endswith("# from elsewhere\n")
    assert "podcast_booth-2.toml" in panel.table.value
    assert mine.chosen_path() == own / "plans" / "podcast_booth-2.toml"


def test_a_plan_that_cannot_be_saved_is_told_in_words(own):
    own.write_text("a file in the place of the folder")
    panel = glance(loopmath.load_plan(DEMO))
    panel._control("pump_speed").widget.value = 66
    panel.save_plan()
    assert "The plan was not saved." in panel.table.value
    assert panel._control("pump_speed").moved  # nothing is forgotten
