"""The page of filling, bleeding and draining: every control to both ends, every plan, tips told and drawn."""

import pytest

import loopmath
from loopmath.height_words import BLEED, DRAIN
from loopmath.panels.heights import heights

PLANS = ["podcast_booth", "quiet_workshop", "grading_suite", "reading_cube"]


@pytest.fixture(params=PLANS)
def panel(request):
    return heights(loopmath.load_plan(f"data/plans/{request.param}.toml"))


def set_to(panel, setting, value):
    panel._control(setting).widget.value = value


def test_every_control_goes_to_both_ends(panel):
    for view in (BLEED, DRAIN):
        set_to(panel, ":view", view)
        for control in panel.controls:
            widget, start = control.widget, control.widget.value
            ends = (widget.min, widget.max) if hasattr(widget, "min") else widget.options[:2]
            for end in ends:
                widget.value = end
                assert "Traceback" not in panel.screen.value
                assert panel.screen.value
            widget.value = start
        assert not panel.failed


def test_units_change_every_number(panel):
    panel.units.value = "us"
    assert "fl oz" in panel.screen.value
    panel.units.value = "metric"
    assert "mL" in panel.screen.value


def test_what_stays_is_told_and_drawn():
    panel = heights(loopmath.load_plan("data/plans/podcast_booth.toml"))
    assert "top radiator" in panel.headline()
    assert "fill tube lies" in panel.headline()
    assert len(panel.pictures[0].held.get_segments()) > 0
    before = panel.solution.holding.volume
    set_to(panel, ":extra", "top radiator")
    assert panel.solution.holding.volume < before
    set_to(panel, ":extra", "nowhere else")
    set_to(panel, ":aside", 40)
    assert panel.solution.holding.volume != pytest.approx(before)


def test_tips_are_found_told_and_drawn():
    panel = heights(loopmath.load_plan("data/plans/quiet_workshop.toml"))
    set_to(panel, ":view", DRAIN)
    panel.find_tips()
    assert "How to tip" in panel.screen.value
    assert (panel.own("aside"), panel.own("back")) != (0.0, 0.0)
    set_to(panel, ":aside", 5)
    assert "How to tip" in panel.screen.value or "What stays" in panel.screen.value


def test_a_plan_with_no_opening_says_so():
    panel = heights(loopmath.load_plan("data/plans/reading_cube.toml"))
    assert "no fill or vent opening" in panel.headline()
    assert "taken straight from part to part" in panel.screen.value
