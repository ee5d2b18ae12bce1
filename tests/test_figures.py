"""Drawings: they show the solution's own numbers, in both units, and their ranges stand still."""

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure

import loopmath
from loopmath import figures, style
from loopmath import loop as tree
from loopmath.units import DISPLAY


@pytest.fixture(scope="module")
def solution():
    return loopmath.solve(loopmath.demo_plan())


def axes():
    with style.look():
        figure = Figure(figsize=(6, 4))
        FigureCanvasAgg(figure)
        return figure.add_subplot()


def test_the_operating_point_lies_on_both_curves(solution):
    for plan in (solution.plan, solution.plan.set(layout="parallel"), solution.plan.set(pump_speed=0.4, fittings=30)):
        solved = loopmath.solve(plan)
        flow = float(solved.state["flow"])
        head = float(solved.state["head"])
        # The split among parallel branches was settled to the solver's own 1e-5 of a step.
        assert float(figures.pump_curve(solved, flow)) == pytest.approx(head, rel=1e-6)
        assert float(figures.loop_curve(solved, flow)[0]) == pytest.approx(head, rel=1e-5)


def test_the_loop_curve_rises_and_the_pump_curve_never_does(solution):
    flows = np.linspace(0, 2e-4, 200)
    assert np.all(np.diff(figures.loop_curve(solution, flows)) > 0)
    assert np.all(np.diff(figures.pump_curve(solution, flows)) <= 0)


@pytest.mark.parametrize("system", ["metric", "us"])
def test_the_point_is_drawn_where_its_label_says(solution, system):
    drawing = figures.OperatingPoint(axes(), system)
    drawing.update(solution)
    units = DISPLAY[system]
    x, y = drawing.point.get_data()
    assert x[0] == pytest.approx(units["flow"].convert(solution.state["flow"]))
    shown = [label.get_text() for label in drawing.labels]
    assert shown == [units["flow"].text(x[0] / units["flow"].factor), units["head"].text(solution.state["head"])]
    assert y[0] <= drawing.ax.get_ylim()[1]


def test_shares_are_sorted_and_add_up(solution):
    drawing = figures.HeadShares(axes())
    drawing.update(solution)
    shares = [float(v.get_text().removesuffix(" %")) for v in drawing.values if v.get_text()]
    assert shares == sorted(shares, reverse=True)
    assert sum(shares) == pytest.approx(100, abs=4)  # each is rounded to a percent
    widths = [path.get_extents().width for path in drawing.bars.get_paths()]
    assert len(widths) == len(shares)
    assert widths == sorted(widths, reverse=True)


def test_more_causes_than_bars_are_summed_in_the_last(solution, monkeypatch):
    monkeypatch.setattr(figures.HeadShares, "rows", 4)
    drawing = figures.HeadShares(axes())
    drawing.update(solution)
    assert drawing.order[-1] == "all others"
    assert len(drawing.order) == 4


def test_the_ladder_shows_each_component_over_its_coolant(solution):
    drawing = figures.Ladder(axes(), solution)
    drawing.update(solution)
    for name in ("processor", "graphics card"):
        value, rise, *_ = (label.get_text() for label in drawing.labels[name])
        assert float(value) == pytest.approx(float(solution.state[name]), abs=0.05)
        over = solution.components.loc[name, "over coolant [K]"]
        assert float(rise.replace("+", "")) == pytest.approx(over, abs=0.05)
    assert drawing.words.get_text() == ""


def test_ranges_stand_still_while_sliding_and_step_when_they_must(solution):
    with style.look():
        drawing = figures.OperatingPoint(axes())
        assert drawing.update(solution)
        for speed in np.linspace(0.4, 1.0, 25):
            assert not drawing.update(loopmath.solve(solution.plan.set(pump_speed=speed)))
        assert drawing.update(loopmath.solve(solution.plan.set(pump="two-stage pump, 7.4 m")))


def test_a_step_has_room_to_come_back_without_flicker():
    now = figures.step_up(4.1, figures.FLOW_STEPS)
    assert now == 6.0
    assert figures.step_up(3.9, figures.FLOW_STEPS, now) == 6.0  # just under: stays
    assert figures.step_up(2.0, figures.FLOW_STEPS, now) == 4.0  # well under: steps down


def test_no_label_is_smaller_than_nine_points(solution):
    with style.look():
        ax = axes()
        drawing = figures.Ladder(ax, solution)
        drawing.update(solution)
        texts = [*ax.texts, *ax.get_xticklabels(), *ax.get_yticklabels(), ax.title]
        assert min(t.get_fontsize() for t in texts) >= 9


def luminance(colour):
    """Relative luminance (WCAG 2.1, its definition)."""
    parts = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(colour)]
    return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]


@pytest.mark.parametrize("signal", style.SIGNALS)
def test_signal_words_can_be_read_on_their_colour(signal):
    back, ink, shape = style.SIGNALS[signal]
    light, dark = sorted((luminance(back), luminance(ink)), reverse=True)
    assert (light + 0.05) / (dark + 0.05) >= 4.5  # WCAG 2.1, contrast of text, level AA
    assert len(shape) == 1


def test_signal_shapes_differ():
    assert len({shape for *_, shape in style.SIGNALS.values()}) == len(style.SIGNALS)


def test_a_measured_pump_is_dashed_where_it_was_not_measured():
    plan = loopmath.demo_plan()
    unit = plan.units(tree.PumpUnit)[0]
    # 70 % speed carries readings from 2 to 8 L/min at full speed to 1.4 to 5.6 L/min.
    pump = replace(unit.pump, measured_from=2 / 6e4, measured_to=8 / 6e4)
    point = figures.OperatingPoint(axes())
    point.update(loopmath.solve(plan.set(**{"pump.pump": pump})))
    full, dashed = (line.get_xdata()[np.isfinite(line.get_ydata())] for line in (point.pump, point.guessed))
    assert 1.4 <= full.min() < 1.5
    assert point.guessed.is_dashed()
    assert not np.any((dashed > 1.4) & (dashed < 5.6))
    assert dashed.min() == 0.0
    point.update(loopmath.solve(plan))
    assert np.all(np.isnan(point.guessed.get_ydata()))


def test_a_name_with_dollar_signs_is_drawn_as_it_is_written():
    plan = loopmath.demo_plan()
    change = {"processor": r"CPU $\frac{$", "graphics card": "chip ($60 used, $90 new)"}
    plan = plan.with_loop(lambda leaf: replace(leaf, name=change.get(leaf.name, leaf.name)))
    solution = loopmath.solve(plan)
    with style.look():
        figure = Figure(figsize=(6, 4))
        FigureCanvasAgg(figure)
        figures.HeadShares(figure.add_subplot(211)).update(solution)
        figures.Ladder(figure.add_subplot(212), solution).update(solution)
        figure.canvas.draw()
    drawn = [label.get_text() for ax in figure.axes for label in (*ax.texts, *ax.get_xticklabels())]
    assert any("$60 used" in text for text in drawn)
    assert any(r"$\frac{$" in text for text in drawn)
