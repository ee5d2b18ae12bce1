"""The panel of the leak test: every example, every control to both ends, units, files, bad input, saving."""

import re
from html import unescape

import ipywidgets as widgets
import pytest
from examples import DEMO, each_example
from on_the_page import put, words

from loopmath import leak_test, load_plan
from loopmath.panels import live
from loopmath.panels.leak import EXAMPLES, leak


@pytest.fixture(autouse=True)
def own(tmp_path, monkeypatch):
    monkeypatch.setenv("LOOPMATH_MINE", str(tmp_path))
    monkeypatch.setattr(live, "ECHO", 0.0)
    return tmp_path


@each_example
def test_every_example_is_told_in_words_and_the_plan_stays(path):
    panel, said = leak(load_plan(path)), {}
    for name, stem in EXAMPLES.items():
        put(panel, ":example", stem)
        said[name] = panel.failed or panel.headline()
        assert panel.settings() == {}
        assert panel.failed or panel.headline() in words(panel)
        assert panel.failed or panel.headline().split(".")[0] in unescape(panel.live.alt)
        assert "nan" not in re.findall(r"[a-z]+", words(panel).lower())
    assert said["none: plan only"].startswith(("Test at", "There is no window"))
    enough = leak_test.planned(panel.plan).sees < 55e3  # what the examples were read at
    assert said["tight, room cools"].startswith("Tight" if enough else "Cannot tell: too little pressure")
    assert said["slow leak"].startswith("It leaks")
    assert said["still settling"].startswith("Cannot tell yet: go on for")
    assert "one atmosphere" in said["gauge and absolute mixed"]


@pytest.mark.parametrize("stem", ["", "leak_tight", "leak_settling"])
@each_example
def test_every_control_answers_at_both_ends_and_comes_back(path, stem):
    panel = put(leak(load_plan(path)), ":example", stem)
    before = words(panel)
    for control in panel.controls:
        widget, start = control.widget, control.widget.value
        if control.setting in (":table", ":example") or isinstance(widget, widgets.Text):
            continue
        slider = isinstance(widget, widgets.IntSlider)
        for end in (widget.min, widget.max) if slider else [value for _, value in widget.options]:
            widget.value = end
            assert panel.failed or panel.headline() in words(panel), (control.setting, end)
            assert "nan" not in re.findall(r"[a-z]+", words(panel).lower()), (control.setting, end)
        widget.value = start
    assert words(panel) == before


@pytest.mark.parametrize("stem", ["", "leak_slow"])
def test_units_change_everywhere_and_back(stem):
    panel = put(leak(load_plan(DEMO)), ":example", stem)
    before = words(panel)
    panel.units.value = "us"
    assert "psi" in words(panel)
    assert "fl oz/min" in words(panel)
    assert panel._control("gauge_step").widget.value == "0.145 psi"
    assert not re.search(r"\d (kPa|Pa|mL|°C)\b", words(panel))
    panel.units.value = "metric"
    assert words(panel) == before


def test_fields_take_either_unit_and_refuse_in_words():
    panel = leak(load_plan(DEMO))
    put(put(panel, "gauge_step", "0.2 psi"), "least_leak", "0.1 fl oz/min")
    assert panel.solution.test.step == pytest.approx(0.2 * 6894.757, rel=1e-6)
    put(panel, ":own", "pump: 30 kPa")
    assert panel.solution.test.lowest == ("pump", 30e3)
    assert "There is no window" in words(panel)
    put(panel, ":own", "pomp: 30 kPa")
    assert "a part of the plan" in panel.failed
    put(panel, ":own", "")
    assert panel.failed == ""
    put(panel, ":room", "98 kPa")
    assert panel.solution.test.room == 98e3
    put(panel, "gauge_step", "ten")
    assert "a number with a unit" in panel.failed
    assert panel.table.value


def test_a_file_and_a_bad_table_keep_what_was_typed():
    panel = leak(load_plan(DEMO))
    content = b"time [min],pressure [kPa],temperature [degC]\n" + b"\n".join(b"%d,55.0,22.0" % m for m in range(60))
    panel._load(({"name": "own.csv", "content": content},))
    assert panel.headline().startswith("Tight")
    panel.table.value += "\n60,fifty,22.0"
    assert "line 62" in panel.failed
    assert panel.table.value.endswith("60,fifty,22.0")
    panel._load(({"name": "bad.csv", "content": b"\xff\x00\x81\x00\x02"},))
    assert panel.failed


def test_above_the_rating_is_a_danger():
    panel = put(leak(load_plan(DEMO)), ":pressure", 100)
    assert "above the window" in words(panel)
    assert "danger" in words(panel)


def test_the_cautions_stand_on_the_screen_and_no_kernel_still_shows_it():
    panel = leak(load_plan(DEMO))
    for said in ("glasses", "never a compressor", "acrylic", "local codes", "licensed", "instructions decide"):
        assert said in words(panel)
    bundle = panel._repr_mimebundle_()
    assert panel.headline() in unescape(bundle["text/html"])


def test_gauge_and_smallest_leak_are_saved_into_the_plan(tmp_path, monkeypatch):
    monkeypatch.setenv("LOOPMATH_MINE", str(tmp_path))
    panel = leak(load_plan(DEMO))
    put(put(panel, "gauge_step", "0.2 psi"), "least_leak", "0.1 fl oz/min").save_plan()
    (saved,) = tmp_path.rglob("*.toml")
    plan = load_plan(saved)
    assert plan.gauge_step == pytest.approx(0.2 * 6894.757, rel=1e-6)
    assert plan.least_leak == pytest.approx(0.1 * 29.5735e-6 / 60, rel=1e-5)  # the US fluid ounce
