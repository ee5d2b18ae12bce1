"""The at-a-glance panel without a browser: every control to both ends, errors in words, keeping, units."""

import re
from html import unescape

import ipywidgets as widgets
import pytest

import loopmath
from loopmath.checks import InputError
from loopmath.panels import glance as module
from loopmath.panels import page
from loopmath.panels.glance import glance


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


SETTINGS = [c.setting for c in glance(loopmath.demo_plan()).controls]


@pytest.mark.parametrize("setting", SETTINGS)
def test_every_control_reaches_both_ends_and_the_screen_answers(panel, setting):
    widget = panel._widget(setting)
    start = widget.value
    for value in [*ends(widget), start]:
        widget.value = value
        assert not panel.failed
        assert "nan" not in words(panel).lower()
        assert picture(panel)
        said = panel.settings()
        again = loopmath.solution.solved(panel.plan.set(**said))
        assert float(again.flow.m) == pytest.approx(float(panel.solution.flow.m), rel=1e-12)


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
    panel._widget("pump_speed").value = 83
    assert len(seen) == 1
    assert picture(panel) != before
    flow = f"{panel.solution.flow.to('L/min').m:.2f} L/min"
    assert words(panel).replace("\xa0", " ").count(flow) >= 2  # headline and readout agree


def test_more_pump_speed_shows_more_flow_and_cooler_parts(panel):
    slider, states = panel._widget("pump_speed"), []
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
        panel._widget("fittings").value = 9
        assert "This cannot be solved" in words(panel)
        assert "tube <bore>" in words(panel)
        assert "<bore>" not in panel.screen.value  # escaped
        assert "Choose a tube" in words(panel)
        assert picture(panel) == before  # the last good picture stays behind
    panel._widget("fittings").value = 10
    assert "cannot" not in words(panel)


def test_where_no_temperature_can_be_stated_the_screen_says_why_and_invents_none(panel):
    panel._widget("fan_speed").value = 15
    assert "no temperature can be stated" in words(panel)
    assert "DANGER" in words(panel).upper()
    assert "least speed" in words(panel)


def test_a_pump_below_its_least_speed_is_a_danger_with_no_flow(panel):
    panel._widget("pump_speed").value = 20
    assert words(panel).strip().startswith("Nothing flows")
    assert "danger" in words(panel)


def test_units_change_everywhere_at_once_and_change_nothing_else(panel):
    panel._widget("room_air").value = 30
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
        panel._widget("pump_speed").value = speed
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
    panel._widget("layout").value = "parallel"
    panel._widget("layout").value = layout
    assert ("tee, into the branch" in panel.pictures[1].order) == (layout == "parallel")
