"""Drawings and words of build order and access: all said, nothing over the edge, told apart without colour."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from examples import CUBE, DEMO, SUITE, each_example
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from on_the_page import nothing_is_lost

from loopmath import access, load_plan, style
from loopmath import service_words as words
from loopmath.checks import InputError
from loopmath.order_figures import LOOKS, AccessBars, OrderStrip
from loopmath.service_words import ORDER, REACHED, VIEWS
from loopmath.units import DISPLAY

DRAWN = {ORDER: OrderStrip, REACHED: AccessBars}
either = pytest.mark.parametrize("system", ["metric", "us"])
each_view = pytest.mark.parametrize("view", VIEWS)


@cache
def seen(path, view=ORDER, before=()):
    return words.look(view, replace(load_plan(path), before=before, origin=None))


def drawn(answer, system="metric"):
    with style.look():
        figure = Figure(figsize=(8.8, 4.24), dpi=100)
        FigureCanvasAgg(figure)
        picture = DRAWN[answer.view](figure.add_axes((0, 0, 1, 1)), system)
        picture.update(answer)
    return picture


def texts(picture):
    return [text for text in picture.kept["text"] if text.get_text()]


def said(picture):
    return " | ".join(text.get_text() for text in texts(picture))


@each_example
@each_view
@either
def test_no_words_are_lost_or_over_each_other(path, view, system):
    picture = drawn(seen(path, view), system)
    nothing_is_lost(texts(picture), picture.ax.figure.canvas.get_renderer())


@each_example
def test_every_step_is_named_in_its_order_with_a_reason(path):
    answer = seen(path)
    picture = drawn(answer)
    shown = [text.get_text() for text in texts(picture)]
    places = [shown.index(step.name) for step in answer.order.steps]
    assert places == sorted(places)
    for number, step in enumerate(answer.order.steps, start=1):
        at = shown.index(step.name)
        assert shown[at - 1] == str(number)
        assert not step.short or shown[at + 1].rstrip("…")[:12] == step.short[:12]


def test_kinds_of_steps_differ_in_shape_and_what_others_will_hide_has_a_line():
    assert len({marker for _, marker in LOOKS.values()}) == len(LOOKS)
    hidden = sum(bool(step.hidden_by) for step in seen(DEMO).order.steps)
    lines = [line for line in drawn(seen(DEMO)).kept["line"] if line.get_color() == style.LIMIT]
    assert hidden > 0
    assert sum(len(line.get_xdata()) == 2 for line in lines) == hidden + 1  # and the key's


def test_a_contradiction_is_told_on_the_drawing():
    answer = seen(DEMO, ORDER, (("pump to processor", "pump"),))
    picture = drawn(answer)
    assert "These cannot all hold" in said(picture)
    nothing_is_lost(texts(picture), picture.ax.figure.canvas.get_renderer())


def test_bars_are_as_long_as_what_is_lost():
    answer = seen(DEMO, REACHED)
    picture = drawn(answer)
    wide = {}
    for corners, face, _ in picture.boxes[2:]:  # behind the key
        wide.setdefault(face, []).append(corners[1][0] - corners[0][0])
    lost = np.array([one.lost for one in answer.reached])
    drained = np.array([one.drained for one in answer.reached])
    per = wide[style.LIQUID][0] / lost[0]
    assert wide[style.LIQUID] == pytest.approx(np.maximum(per * lost, 1.0))
    assert wide["#FFFFFF"] == pytest.approx(np.maximum(per * drained, 1.0))


def test_a_square_for_each_thing_in_the_way():
    answer = seen(SUITE, REACHED)
    squares = [line for line in drawn(answer).kept["line"] if line.get_marker() == "s" and len(line.get_xdata())]
    assert len(squares) == 1 + sum(len(one.first) for one in answer.reached)


@each_view
def test_a_drawing_goes_from_plan_to_plan_and_back_without_leftovers(view):
    picture = drawn(seen(SUITE, view))
    first = said(picture)
    picture.update(seen(CUBE, view))
    assert said(picture) == said(drawn(seen(CUBE, view)))
    made = len(picture.moving)
    picture.update(seen(SUITE, view))
    assert said(picture) == first
    assert len(picture.moving) == made


# ------------------------------------------------------------------------------------------------------------- words


@each_example
@each_view
@either
def test_every_view_is_said_in_words_and_a_table(path, view, system):
    answer = seen(path, view)
    sentence = words.sentence(answer, system)
    assert sentence.endswith(".")
    assert "nan" not in sentence.lower()
    assert sentence in words.alt(answer, system)
    assert all(value and "nan" not in value for _, value in words.readouts(answer, system))
    title, table = words.table(answer, system)
    assert title
    assert len(table) == len(answer.order.steps if view == ORDER else answer.reached)
    assert (f"lost [{DISPLAY[system]['volume'].label}]" in table.columns) == (view == REACHED)


def test_the_table_shows_every_term_of_the_score():
    _, table = words.table(seen(DEMO, REACHED))
    terms = [name for name in table.columns if name.startswith("points: ")]
    assert len(terms) == len(access.POINTS)
    assert table["score"].to_numpy() == pytest.approx(table[terms].sum(axis=1).to_numpy(), abs=0.21)
    assert list(table["score"]) == sorted(table["score"])
    assert access.FORMULA in words.notes(seen(DEMO, REACHED))


def test_reasons_are_listed_with_their_source_the_builders_own_first():
    table = words.reasons_table(seen(DEMO, ORDER, (("top radiator", "front radiator"),)).order)
    assert table["source"][0] == "the builder's own"
    assert set(table["source"]) >= {"common practice, no source", "the places in the plan"}


def test_an_unknown_view_is_refused():
    with pytest.raises(InputError, match="view"):
        words.look("upside down", load_plan(DEMO))
