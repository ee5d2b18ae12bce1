"""The panel of the fill: every control to both ends, every plan and view, units, bottles, what is saved."""

import re

import pytest
from examples import DEMO, each_example
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from on_the_page import nothing_is_lost, put, words

from loopmath import filling_figures, filling_words, load_plan, style
from loopmath.filling import filling
from loopmath.filling_words import DOWN, HOLDS, POUR, VIEWS
from loopmath.panels.fill import fill
from loopmath.plansave import text_of
from loopmath.solution import solved


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    """Whatever is saved here is gone afterwards."""
    monkeypatch.setenv("LOOPMATH_MINE", str(tmp_path))
    return tmp_path


@each_example
def test_every_control_goes_to_both_ends_and_comes_back(path):
    panel = fill(load_plan(path))
    for view in VIEWS:
        put(panel, ":view", view)
        before = words(panel)
        for control in panel.controls:
            if control.setting in (":view", "bottle_sizes"):
                continue
            start = control.widget.value
            for end in (control.widget.min, control.widget.max):
                control.widget.value = end
                assert not panel.failed, (view, control.setting, end)
                assert panel.headline() in words(panel)
                assert "nan" not in re.findall(r"[a-z]+", words(panel).lower())
            control.widget.value = start
            assert words(panel) == before, (view, control.setting)
    assert text_of(panel.planned()) == panel.plan.origin.text


@each_example
@pytest.mark.parametrize("view", VIEWS)
@pytest.mark.parametrize("system", ["metric", "us"])
def test_no_words_of_a_drawing_are_lost(path, view, system):
    found = filling(solved(load_plan(path)))
    for share in (0.02, 0.3, 1.0):
        with style.look():
            figure = Figure(figsize=(8.8, 4.24), dpi=100)
            renderer = FigureCanvasAgg(figure).get_renderer()
            (picture,) = filling_figures.pictures(figure, view, system)
            picture.update(filling_words.poured(found, share * found.total))
            nothing_is_lost([text for text in picture.ax.texts if text.get_text()], renderer)


def test_pouring_says_when_the_pump_may_run():
    panel = fill(load_plan(DEMO))
    pour = panel.solution.found.pour
    put(panel, ":poured", 10)
    assert "inlet is dry" in panel.headline()
    put(panel, ":poured", round(1e6 * pour.covered) + 2)
    assert "inlet is covered. Keep the pump off" in panel.headline()
    put(panel, ":poured", 760)
    assert "bursts of the pump" in panel.headline()


def test_the_pump_slowed_down_leaves_bubbles_in_words_picture_and_warnings():
    panel = put(fill(load_plan(DEMO)), ":view", DOWN)
    assert "takes bubbles down every run" in panel.headline()
    put(panel, "pump_speed", 15)
    assert panel.headline().startswith("Bubbles stay where")
    assert "coolant against the rise of bubbles" in words(panel)


def test_units_and_bottles():
    panel = put(fill(load_plan(DEMO)), ":view", HOLDS)
    before = words(panel)
    assert "at hand, 1 x 1 L" in panel.headline()
    put(panel, "bottle_sizes", "250 mL; 0.5 L")
    assert "2 x 500 mL" in panel.headline()
    for typed in ("much", "", "1 kg"):
        put(panel, "bottle_sizes", typed)
        assert panel.failed
    put(panel, "bottle_sizes", "16 fl oz")
    panel.units.value = "us"
    assert "2 x 16.0 fl oz" in panel.headline()
    assert not re.search(r"\d mL", words(panel))
    panel.units.value = "metric"
    put(panel, "bottle_sizes", "1 L")
    assert words(panel) == before


def test_bottles_and_spare_are_saved(own_folder):
    panel = fill(load_plan(DEMO))
    put(put(put(panel, "bottle_sizes", "0.5 L"), "coolant_spare", 20), ":view", POUR).save_plan()
    (saved,) = own_folder.rglob("*.toml")
    plan = load_plan(saved)
    assert (plan.bottle_sizes, plan.coolant_spare) == ((0.5e-3,), 0.2)
