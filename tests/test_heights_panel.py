"""The page of filling, bleeding and draining: every control to both ends, every plan, tips told and drawn."""

import json
import re
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from examples import DEMO, each_example
from matplotlib.figure import Figure
from on_the_page import put, words

from loopmath import height_figures, height_words, load_plan, mine, pockets
from loopmath.height_words import BLEED, DRAIN, VIEWS, angles_of, hung
from loopmath.panels.heights import BY_HAND, heights
from loopmath.plansave import text_of
from loopmath.tipping import SIDES, tipped, tipping

ROOT = Path(__file__).resolve().parent.parent
CUBE = ROOT / "data" / "plans" / "reading_cube.toml"


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    """Whatever is saved here is gone afterwards."""
    monkeypatch.setenv("LOOPMATH_MINE", str(tmp_path))


def ends_of(widget):
    if hasattr(widget, "min"):
        return widget.min, widget.max
    return [o[1] if isinstance(o, tuple) else o for o in widget.options]


@each_example
def test_every_control_goes_to_all_its_ends_and_comes_back(path):
    panel = heights(load_plan(path))
    for view in (DRAIN, BLEED):
        put(panel, ":view", view)
        before = words(panel)
        for control in panel.controls:
            if control.setting == ":view":
                continue
            start = control.widget.value
            for end in ends_of(control.widget):
                control.widget.value = end
                assert panel.failed or panel.headline() in words(panel), (view, control.setting, end)
                assert "nan" not in re.findall(r"[a-z]+", words(panel).lower())
            control.widget.value = start
            assert words(panel) == before, (view, control.setting)
    assert text_of(panel.planned()) == panel.plan.origin.text


@each_example
def test_units_change_every_volume_and_length(path):
    panel = heights(load_plan(path))
    for view in VIEWS:
        put(panel, ":view", view)
        assert " mL" in words(panel)
        panel.units.value = "us"
        assert "fl oz" in words(panel)
        assert not re.search(r"\d (mL|mm)\b", words(panel))
        assert not any(re.search(r"\d mL", label.get_text()) for label in panel.pictures[0].labels)
        panel.units.value = "metric"


def test_both_angles_are_found_again_from_any_tip():
    for side in SIDES:
        for angle in np.radians([7.0, 45.0, 89.0, 130.0]):
            up = tipped(side, angle)
            frame = hung(*angles_of(up))
            assert frame[2] == pytest.approx(up, abs=1e-9), (side, angle)
            assert frame @ frame.T == pytest.approx(np.eye(3), abs=1e-12)
            assert np.linalg.det(frame) == pytest.approx(1.0)
    assert angles_of(tipped("right", 0.3)) == pytest.approx((0.3, 0.0))
    assert angles_of(tipped("rear", 0.3)) == pytest.approx((0.0, 0.3))


def test_what_is_drawn_of_a_strand_is_the_part_beyond_its_level():
    plan = load_plan(DEMO)
    for view, up in ((BLEED, hung(0.0, 0.0)), (DRAIN, hung(0.3, -0.2))):
        seen = height_words.look(plan, view, up)
        axes = Figure().add_axes((0, 0, 1, 1))
        kept, shares, *_ = height_figures.Hanging(axes, what=seen.holding.what).scene(seen).fills[0]
        strands, sign = seen.passages.void.strands[kept], 1.0 if view == BLEED else -1.0
        height = sign * strands @ seen.holding.up
        line = seen.holding.ways.level[seen.passages.void.cell[kept]]
        at = height[:, :1] + shares * np.diff(height, axis=1)
        # One that only its width brings over the line is not drawn.
        whole = np.all(shares == [0.0, 1.0], axis=1) | (np.ptp(shares, axis=1) == 0)
        assert not whole.all()
        assert np.all(at[~whole].min(axis=1) == pytest.approx(line[~whole]))
        assert np.all(at[~whole].max(axis=1) > line[~whole])


def test_the_machine_on_its_side_lies_so_in_the_picture():
    """What stood up runs to the side once the right side is down: up of the machine is right of the room."""
    assert hung(np.pi / 2, 0.0) @ [0, 0, 1] == pytest.approx([1, 0, 0])
    assert hung(0.0, np.pi / 2) @ [0, 0, 1] == pytest.approx([0, 1, 0])


def test_what_stays_is_told_and_a_bleed_opening_lets_some_out():
    panel = heights(load_plan(DEMO))
    assert "top radiator" in panel.headline()
    assert "below the highest point" in panel.headline()
    assert "air held at rest" in words(panel)
    before = panel.solution.holding.volume
    best = panel.solution.outlet
    put(panel, ":extra", best.better)
    assert panel.solution.holding.volume < before
    assert any("also open" in label.get_text() for label in panel.pictures[0].labels)


def test_a_fill_opening_below_a_tube_leaves_a_named_place():
    """Lower than the tank's outlet tube it leaves at least as much, and the words name where."""
    panel = heights(load_plan(DEMO))
    (fill,) = (c for c in panel.controls if c.widget.description.startswith("Fill at"))
    before, short = panel.solution.holding.volume, height_words.short_of(panel.solution.passages, pockets.AIR)[1]
    fill.widget.value -= 10
    assert not panel.failed
    assert height_words.short_of(panel.solution.passages, pockets.AIR)[1] == pytest.approx(short + 0.010)
    assert panel.solution.holding.volume >= before
    assert panel.solution.holding.pockets[0].place in words(panel)
    assert "press Find tips to look for a better one" in words(panel)


def test_a_drain_is_slid_up_as_far_as_its_tube_takes_it():
    """The demo's drain hangs by a leg of 36 mm: 20 mm up are taken, 55 mm are refused in words."""
    panel = put(heights(load_plan(DEMO)), ":view", DRAIN)
    (drain,) = (c for c in panel.controls if c.widget.description.startswith("Drain at"))
    before = panel.solution.passages.exits["drain"][1].at[2]
    drain.widget.value += 20
    assert not panel.failed
    assert panel.solution.passages.exits["drain"][1].at[2] == pytest.approx(before + 0.020)
    drain.widget.value += 35
    assert "leg 1, which takes it up: 36.0 mm" in panel.failed


def test_tips_are_found_told_drawn_and_put_away():
    panel = put(heights(load_plan(DEMO)), ":view", DRAIN)
    panel.find_tips()
    panel._renamed = -np.inf  # a second later
    choice = panel._control(":tip").widget
    assert "How to tip it" in words(panel)
    assert len(choice.options) > 1
    tips = height_words.choices(panel.solution.tips)
    choice.value = 0
    assert panel.solution.frame[2] == pytest.approx(tips[0][1].up, abs=1e-9)
    put(panel, ":aside", -3)
    assert choice.label == BY_HAND
    put(panel, "tip_limit", 30)
    assert len(choice.options) == 1
    assert "How to tip it" not in words(panel)
    assert "press Find tips" in words(panel)


def test_a_plan_with_no_drain_is_rocked_over_its_fill_opening():
    panel = put(heights(load_plan(CUBE)), ":view", DRAIN)
    assert "there is no drain: turn it until coolant runs out of its fill opening, and rock it" in panel.headline()
    assert "Without a drain all has to come out by the fill opening" in words(panel)
    panel.find_tips()
    tips = panel._tips[panel._key()]
    assert tips.sequence
    assert 0 < tips.stays < 0.3 * tips.upright.volume
    assert f"Tip it {tips.sequence[0].words}" in words(panel)


def test_what_is_left_after_a_row_of_tips_is_no_more_than_its_positions_hold():
    plan = load_plan(CUBE)
    found = tipping(plan, pockets.LIQUID)
    held = [pockets.held(plan, pockets.LIQUID, tip.up).volume for tip in found.sequence]
    assert found.after == pytest.approx(tuple(np.minimum.accumulate(held)))


def test_a_plan_with_no_opening_says_so_and_what_is_missing():
    panel = heights(replace(load_plan(CUBE), ports=(), routes=(), origin=None))
    assert "nothing to fill or vent it by: all" in panel.headline()
    assert "taken straight from part to part" in words(panel)
    panel.find_tips()
    assert "No tip helps" in words(panel)


def test_a_step_of_a_slider_is_worked_out_at_once():
    panel = heights(load_plan(DEMO))
    plan, best = panel.planned(), np.inf
    for _ in range(5):
        start = time.perf_counter()
        panel.answer(plan)
        best = min(best, time.perf_counter() - start)
    assert best < 0.030


@each_example
def test_every_cell_of_the_page_runs_with_every_example(path):
    mine.choose(path)
    cells = json.loads((ROOT / "workbook" / "11_fill_bleed_drain.ipynb").read_text(encoding="utf-8"))["cells"]
    names = {}
    for cell in cells:
        if cell["cell_type"] == "code":
            exec("".join(cell["source"]), names)
    assert names["panel"].headline()
