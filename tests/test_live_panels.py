"""The panels of heat and air, sound and speed, and time: every control to both ends, words, units, no kernel."""

import re
from dataclasses import replace
from html import unescape

import ipywidgets as widgets
import numpy as np
import pytest
from examples import EXAMPLES

import loopmath
from loopmath import loop as tree
from loopmath import quiet, scenarios
from loopmath.files import own_folder
from loopmath.panels import clock as clock_module
from loopmath.panels import live
from loopmath.panels.clock import clock
from loopmath.panels.heat import heat
from loopmath.panels.quiet import curve_panel, quiet_panel

PANELS = {"heat": heat, "sound": quiet_panel, "curve": curve_panel, "time": clock}
WORKSHOP = next(path for path in EXAMPLES if path.stem == "quiet_workshop")


def words(panel):
    """Return what the screen says, tags taken out."""
    return unescape(re.sub(r"<[^>]+>", " ", panel.screen.value)).replace("\xa0", " ")


def picture(panel):
    return re.search(r'src="(data:image/png;base64,[^"]+)"', panel.screen.value)[1]


def ends(widget):
    """Return the two ends of a slider, or every option of a choice."""
    if isinstance(widget, widgets.IntSlider):
        return [widget.min, widget.max]
    return [o[1] if isinstance(o, tuple) else o for o in widget.options]


@pytest.fixture(autouse=True)
def no_browser(monkeypatch):
    """No browser is here that could send choices back, so none is disregarded after a change of units."""
    monkeypatch.setattr(live, "ECHO", 0.0)


@pytest.fixture(scope="module")
def workshop():
    plan = loopmath.load_plan(WORKSHOP)
    return {name: make(plan) for name, make in PANELS.items()}


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
@pytest.mark.parametrize("name", PANELS)
def test_every_example_opens_with_an_answer_and_its_words(name, path):
    panel = PANELS[name](loopmath.load_plan(path))
    assert panel.failed == ""
    assert len(panel.headline()) > 40
    assert re.search(r"\d", panel.alt())
    assert f'alt="{panel.alt()[:20]}' in unescape(panel.screen.value)


@pytest.mark.parametrize("name", PANELS)
def test_every_control_answers_at_both_ends_and_comes_back(workshop, name):
    panel = workshop[name]
    before = words(panel)
    for control in panel.controls:
        start = control.widget.value
        for end in ends(control.widget):
            control.widget.value = end
            assert "Traceback" not in panel.screen.value
            assert panel.failed == "" or "cannot be solved" in words(panel)
            assert "nan" not in re.sub(r"[a-z]*nan[a-z]+|[a-z]+nan[a-z]*", "", words(panel).lower()), control.setting
        control.widget.value = start
    assert words(panel) == before


@pytest.mark.parametrize("name", PANELS)
def test_units_change_everywhere_and_back(workshop, name):
    panel = workshop[name]
    before, shown = words(panel), picture(panel)
    panel.units.value = "us"
    assert "°C" not in words(panel)
    assert "°C" not in panel.alt()
    assert picture(panel) != shown
    panel.units.value = "metric"
    assert words(panel) == before


@pytest.mark.parametrize("name", PANELS)
def test_without_a_kernel_the_last_picture_and_words_stand(workshop, name):
    bundle = workshop[name]._repr_mimebundle_()
    assert "<img alt=" in bundle["text/html"]
    assert bundle["text/plain"] == workshop[name].headline()


@pytest.mark.parametrize("name", PANELS)
def test_a_plan_that_nothing_flows_through_gets_words_in_the_place_of_a_picture(name):
    panel = PANELS[name](loopmath.load_plan(WORKSHOP).set(pump_speed=0.0))
    said = words(panel).lower()
    assert "nothing flows" in said or "no steady" in said or "not known" in said or "cannot be solved" in said


def test_radiators_in_a_ring_are_refused_in_words_and_the_picture_stays(workshop):
    panel = workshop["heat"]
    shown = picture(panel)
    panel._control("front radiator.air").widget.value = "top radiator"
    panel._control("top radiator.air").widget.value = "front radiator"
    assert "ring" in words(panel)
    assert picture(panel)
    panel._control("top radiator.air").widget.value = "case"
    panel._control("front radiator.air").widget.value = "room"
    assert panel.failed == ""
    assert picture(panel) == shown


def test_a_radiator_that_blows_out_spares_the_case_and_costs_the_coolant(workshop):
    panel = workshop["heat"]
    inward = panel.solution.state
    panel._control("front radiator.air").widget.value = "case"
    panel._control("front radiator.blows").widget.value = "room"
    outward = panel.solution.state
    assert outward["case_air"] < inward["case_air"]
    panel._control("front radiator.air").widget.value = "room"
    panel._control("front radiator.blows").widget.value = "case"


def test_fans_on_both_sides_of_a_core_are_two_settings_of_the_plan(workshop):
    panel = workshop["heat"]
    control = panel._control(":front radiator.fans").widget
    control.value = "push and pull"
    assert panel.planned().units(tree.RadiatorUnit)[-1].fans_in_series == 2
    control.value = "push"


def test_the_fans_shown_are_those_chosen(workshop):
    panel = workshop["heat"]
    first = picture(panel)
    panel._control(":fans shown").widget.value = 1
    assert picture(panel) != first
    panel._control(":fans shown").widget.value = 0
    assert picture(panel) == first


def test_the_quietest_setting_is_found_and_the_sliders_stand_there(workshop):
    panel = workshop["sound"]
    start = {c.setting: c.widget.value for c in panel.controls}
    before = float(panel.solution.solution.state["sound"])
    panel.find()
    found = panel.solution.solution
    assert float(found.state["sound"]) < before
    assert float(found.state["coolant_warmest"]) <= float(found.plan.coolant_limit) + 0.05
    assert "Quietest" in words(panel)
    for control in panel.controls:
        control.widget.value = start[control.setting]


def test_a_tube_is_chosen_for_every_run(workshop):
    panel = workshop["sound"]
    panel._control(":tube").widget.value = "acrylic 14/10 mm"
    assert {run.tube.material for run in panel.planned().units(tree.Run)} == {"PMMA"}
    assert "PMMA tube end" in [t.get_text() for t in panel.pictures[2].picture.names]
    panel._control(":tube").widget.value = ""


def test_a_falling_curve_is_refused_in_words(workshop):
    panel = workshop["curve"]
    first = panel._control(":slow").widget.value
    panel._control(":slow").widget.value = 100
    assert "none slower" in words(panel)
    panel._control(":slow").widget.value = first
    assert panel.failed == ""


def test_where_the_curve_rests_lies_on_it(workshop):
    panel = workshop["curve"]
    rest, curve = panel.solution.rest.cold, panel.solution.curve
    assert float(rest.speeds[curve.name]) == pytest.approx(
        float(curve.speed(rest.temperatures[curve.sensor])), abs=1e-4
    )


def test_a_larger_reservoir_takes_longer_and_ends_alike(workshop):
    panel = workshop["time"]
    small = panel.solution
    panel._control("reservoir.volume").widget.value = 1500
    assert panel.solution.times["coolant_warmest"] > 1.5 * small.times["coolant_warmest"]
    assert panel.solution.final["coolant_warmest"] == pytest.approx(small.final["coolant_warmest"], abs=0.02)
    panel._control("reservoir.volume").widget.value = 250


def test_a_stopped_pump_meets_its_limits_sooner_than_stopped_fans(workshop):
    panel, first = workshop["time"], {}
    for happens in (clock_module.PUMP, clock_module.FANS):
        panel._control(":happens").widget.value = happens
        first[happens] = min(e.time for e in panel.solution.events if e.time is not None)
        assert "WARNING" in words(panel).upper()
    assert first[clock_module.PUMP] < first[clock_module.FANS]
    panel._control(":happens").widget.value = clock_module.WARM_UP


def test_the_evening_is_written_once_and_then_read_from_the_users_own_file(workshop):
    panel = workshop["time"]
    own = panel.evening_file
    assert own.parent == own_folder()
    panel.write()
    assert own.exists()
    assert str(own) in words(panel)
    own.write_text("time,graphics card\n0,10\n20,400\n40,400\n", encoding="utf-8")
    panel.write()  # never over what is there
    assert "400" in own.read_text(encoding="utf-8")
    panel._control(":happens").widget.value = clock_module.EVENING
    assert panel.solution.watts["graphics card"].max() == 400.0
    own.write_text("time,graphics card\n0,10\n20,400\n10,400\n", encoding="utf-8")
    panel._control(":to").widget.value = 95
    assert "row 4" in words(panel)
    assert str(own) in words(panel)
    own.unlink()
    panel._control(":happens").widget.value = clock_module.WARM_UP
    panel._control(":to").widget.value = 100
    assert panel.failed == ""


def test_the_evening_of_the_demo_is_a_table_profile_takes():
    plan = loopmath.demo_plan()
    course = scenarios.profile(plan, scenarios.evening(plan), start="room")
    assert course.t[-1] - course.t[0] == pytest.approx(5 * 3600)
    peak = max(float(w.max()) for w in course.watts.values())
    assert peak == max(float(s.peak_heat) for s in plan.units(tree.Source))


def test_plans_with_one_radiator_one_block_or_no_fans_are_shown():
    cube = loopmath.load_plan(next(path for path in EXAMPLES if path.stem == "reading_cube"))
    bare = replace(cube.with_loop(
        lambda leaf: replace(leaf, fan=None, air_flow_each=0.01) if isinstance(leaf, tree.RadiatorUnit) else leaf
    ))  # fmt: skip
    for name, make in PANELS.items():
        panel = make(bare)
        assert panel.failed == "" or "fan" in words(panel), name
        assert np.isfinite(len(words(panel)))


@pytest.mark.parametrize(
    ("name", "setting", "value", "line"),
    [
        ("heat", "case_vents", 155, 'vents = "155 cm^2"'),
        ("heat", ":front radiator.fans", "pull", 'fan_side = "pull"'),
        ("sound", "sound_limit", 27, 'sound = "27 dB"'),
        ("sound", ":tube", "acrylic 14/10 mm", 'part = "acrylic 14/10 mm"'),
        ("time", "reservoir.volume", 400, 'volume = "400 mL"'),
    ],
)
def test_what_was_slid_is_saved_into_the_users_own_file_and_nothing_else(own, name, setting, value, line):
    panel = PANELS[name](loopmath.load_plan(WORKSHOP))
    panel._control(setting).widget.value = value
    panel.save_plan()
    (saved,) = (own / "plans").glob("*.toml")
    assert str(saved) in unescape(panel.note.value)
    before, after = WORKSHOP.read_text(encoding="utf-8"), saved.read_text(encoding="utf-8")
    assert line in after
    new = [row for row in after.splitlines() if row not in before.splitlines()]
    assert len(new) <= 2
    assert panel.planned().origin is not None
    assert loopmath.load_plan(saved).title == panel.plan.title
    assert not any(c.moved for c in panel.controls)


def test_us_sliders_stand_at_us_numbers_and_come_back_untouched(workshop):
    for name, setting, label in (
        ("heat", "case_vents", "in²"),
        ("sound", "listener", "in"),
        ("time", "reservoir.volume", "fl oz"),
    ):
        panel = workshop[name]
        control = panel._control(setting)
        at = control.widget.value
        panel.units.value = "us"
        assert label in control.widget.description
        assert not control.moved
        assert panel.settings() == {}
        panel.units.value = "metric"
        assert control.widget.value == at


@pytest.mark.parametrize("name", PANELS)
def test_no_message_of_a_change_of_units_has_a_value_beside_its_range_whatever_is_read_first(name, monkeypatch):
    panel = PANELS[name](loopmath.load_plan(WORKSHOP))
    sliders = [control.widget for control, _, _ in panel.quantities]
    assert sliders
    shown = {slider: {"value": slider.value, "min": slider.min, "max": slider.max} for slider in sliders}
    sent = []

    def send(slider, keys):
        keys = [keys] if isinstance(keys, str) else list(keys)
        sent.append((slider, {key: getattr(slider, key) for key in keys if key in ("value", "min", "max")}))

    for slider in sliders:
        monkeypatch.setattr(slider, "send_state", lambda key=None, slider=slider: send(slider, key))
    for system in ("us", "metric", "us"):
        panel.units.value = system
        for slider, state in sent:
            for key, value in state.items():  # in a browser each part of a message counts as soon as it is read
                shown[slider][key] = value
                other = {**shown[slider], **{k: v for k, v in state.items() if k != "value"}}
                assert len(state) == 1, "parts of one message come in any order"
                assert other["min"] <= other["value"] <= other["max"]
        sent.clear()
        for slider in sliders:
            assert shown[slider] == {"value": slider.value, "min": slider.min, "max": slider.max}


def test_the_quietest_setting_moves_the_pump_to_the_pumps_speed_and_the_fans_to_theirs():
    panel = quiet_panel(loopmath.demo_plan())
    panel.find()
    found = quiet.quietest(loopmath.demo_plan())
    assert panel._control("pump_speed").widget.value == np.ceil(100 * found.pump_speed - 1e-6)
    shown = max(c.widget.value for c in panel.controls if c.setting.endswith(".fan_speed"))
    assert shown == np.ceil(100 * found.fan_speed - 1e-6)


def test_a_curve_by_the_given_air_of_the_case_is_drawn_and_said():
    panel = curve_panel(loopmath.demo_plan())
    panel._control(":sensor").widget.value = "case"
    assert panel.failed == ""
    assert "case at 30.0 °C" in words(panel)


def test_a_curve_that_was_slid_is_saved_with_the_plan(own):
    panel = curve_panel(loopmath.load_plan(WORKSHOP))
    panel._control(":fast").widget.value = 88
    panel.save_plan()
    (saved,) = (own / "plans").glob("*.toml")
    (curve,) = loopmath.load_plan(saved).speed_curves
    assert curve.speeds[-1] == 0.88
    assert curve.name == loopmath.load_plan(WORKSHOP).speed_curves[0].name


@pytest.mark.parametrize("name", PANELS)
def test_sliders_go_in_steps_of_one_so_that_a_browser_moves_none_by_itself(workshop, name):
    for control in workshop[name].controls:
        assert getattr(control.widget, "step", 1) == 1


def test_a_room_set_in_fahrenheit_is_saved_without_noise(own):
    panel = heat(loopmath.load_plan(WORKSHOP))
    panel.units.value = "us"
    panel.room.value = 78
    panel.save_plan()
    (saved,) = (own / "plans").glob("*.toml")
    assert 'air = "25.56 degC"' in saved.read_text(encoding="utf-8")
