"""Drawings and words of what to cool, order and layout: the lesson's own numbers, in both units, nothing cut off."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from examples import CUBE, DEMO, EXAMPLES, SUITE
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from on_the_page import nothing_is_lost

from loopmath import choice_figures, choice_words, choices, lessons, load_plan, style, tables
from loopmath import loop as tree
from loopmath.case import AirPart
from loopmath.choice_words import COOL, DEPTH, FANS, GAIN, KNEE, LAYOUT, LESSONS, ORDER, SPLIT, sentence, told
from loopmath.plan import BALANCE
from loopmath.solution import solved
from loopmath.units import DISPLAY

WORKSHOP = tables.DATA / "plans" / "quiet_workshop.toml"
PLANS = {path.stem: path for path in EXAMPLES}
_TOLD: dict = {}


def lesson(name, which):
    """Return a lesson of an example, worked out once."""
    if (name, which) not in _TOLD:
        _TOLD[name, which] = told(which, load_plan(PLANS[name]))
    return _TOLD[name, which]


def drawn(t, system="metric"):
    with style.look():
        figure = Figure(figsize=(8.8, 4.24), dpi=100)
        FigureCanvasAgg(figure)
        return figure, choice_figures.draw_lesson(figure, t, system)


def texts(picture):
    return [text for text in picture.kept["text"] if text.get_text()]


def words(picture):
    return [text.get_text().replace("\xa0", " ") for text in texts(picture)]


every = pytest.mark.parametrize(("name", "which"), [(name, which) for name in PLANS for which in LESSONS])


# ----------------------------------------------------------------------------------------- how it looks, everywhere


@every
@pytest.mark.parametrize("system", ["metric", "us"])
def test_no_words_are_cut_off_too_small_or_over_each_other(name, which, system):
    keeps_to_the_page(lesson(name, which), system)


@pytest.mark.parametrize("which", LESSONS)
@pytest.mark.parametrize("hard", [{"pump_speed": 0.0}, {"fan_speed": 0.2, "room_air": 40.0}, {"room_air": 40.0}])
def test_words_keep_apart_where_little_or_nothing_is_known(which, hard):
    keeps_to_the_page(told(which, load_plan(WORKSHOP).set(**hard)), "us")


@pytest.mark.parametrize("which", [COOL, GAIN, FANS])
def test_words_keep_apart_with_more_parts_than_are_combined(which):
    more = tuple(AirPart(f"a regulator of long name, {n}", "voltage regulator", 12.0 + n, 100.0, 1.0) for n in range(7))
    t = told(which, replace(load_plan(SUITE), on_air=more))
    picture = keeps_to_the_page(t, "us")[0]
    if which == COOL:
        assert len(choice_words.cool_names(t.result)) == 10
        squares = [face for _, face, _ in picture.boxes if face != style.BAND]
        rows = choice_figures.DOZEN + (list(t.result["as planned"]).index(True) >= choice_figures.DOZEN)
        assert len(squares) == choices.MOST_COMBINED * rows + 2  # two in the key


def keeps_to_the_page(t, system):
    """Draw a lesson and look that no words are cut off, too small or over each other; return its pictures."""
    figure, pictures = drawn(t, system)
    for picture in pictures:
        assert words(picture)
    nothing_is_lost([text for picture in pictures for text in texts(picture)], figure.canvas.get_renderer())
    return pictures


@every
def test_a_drawing_is_used_again_and_shows_what_a_new_one_shows(name, which):
    t = lesson(name, which)
    other = told(which, t.plan.set(room_air=31.0))
    _, pictures = drawn(other)
    _, fresh = drawn(t)
    for picture, new in zip(pictures, fresh, strict=True):
        picture.update(t)
        assert words(picture) == words(new)
        for one, two in zip(picture.kept["line"], new.kept["line"], strict=False):
            assert np.array_equal(one.get_xydata(), two.get_xydata(), equal_nan=True)


def test_no_words_say_nan_or_end_twice():
    for name in PLANS:
        for which in LESSONS:
            for system in ("metric", "us"):
                said = choice_words.alt(lesson(name, which), system)
                assert "nan" not in said.lower().split()
                assert ".." not in said


# ---------------------------------------------------------------------------------------------------- what to cool


def test_the_best_dozen_and_the_plans_own_choice_are_drawn_with_their_squares():
    t = lesson("quiet_workshop", COOL)
    _, (picture,) = drawn(t)
    said, found = words(picture), t.result
    assert list(found["worst margin [K]"]) == sorted(found["worst margin [K]"], reverse=True)
    rank = list(found["as planned"]).index(True) + 1
    assert rank > choice_figures.DOZEN  # else the gap below would not be there
    assert f"▶{rank}" in said
    assert f"{rank - choice_figures.DOZEN - 1} choices between" in said
    shown = [*range(choice_figures.DOZEN), rank - 1]
    blue = np.array([c for c in picture.shapes.get_facecolor()])
    filled = (np.abs(blue[:, :3] - np.array([0x00, 0x72, 0xB2]) / 255).max(1) < 1e-3).sum() - 1  # one in the key
    assert filled == sum(len(str(found.index[place]).split(", ")) for place in shown)
    for place in shown:
        assert f"{found['coolant over room [K]'].iloc[place]:.1f} K" in said


def test_a_part_over_its_limit_is_a_cross_beyond_the_mark_and_others_stand_in_proportion():
    t = lesson("podcast_booth", COOL)
    _, (picture,) = drawn(t)
    crosses = [line for line in picture.kept["line"] if line.get_marker() == "X" and len(line.get_xdata())]
    over = sum(t.result[f"{u.name} [degC]"].gt(u.limit).sum() for u in (*t.plan.units(tree.Source), *t.plan.on_air))
    assert len(crosses) == over + 1  # one in the key
    own = next(row for _, row in t.result.iterrows() if row["as planned"])
    dots = [line for line in picture.kept["line"] if line.get_marker() == "o" and len(line.get_xdata())]
    limits = [line for line in picture.kept["line"] if line.get_color() == style.LIMIT and len(line.get_xdata())]
    source = t.plan.units(tree.Source)[0]
    share = (own[f"{source.name} [degC]"] - t.plan.room_air) / (source.limit - t.plan.room_air)
    start = 42.0 + 17
    assert dots[0].get_xdata()[0] - start == pytest.approx(share * (limits[0].get_xdata()[0] - start))


# --------------------------------------------------------------------------------------------------- gain and cost


@pytest.mark.parametrize("name", PLANS)
def test_bars_are_as_long_as_gain_and_cost_on_one_scale(name):
    t = lesson(name, GAIN)
    _, (picture,) = drawn(t)
    rows = t.result.sort_values("gain [K]", ascending=False)
    bars = [(corners[0][0], corners[1][0], face) for corners, face, _ in picture.boxes]
    right = [end - start for start, end, face in bars if face == style.LIQUID]
    left = [end - start for start, end, face in bars if face == style.HEAT]
    scale = right[0] / rows["gain [K]"].iloc[0]
    assert right == pytest.approx(list(rows["gain [K]"] * scale))
    costs = rows["cost to the others [K]"]
    assert left == pytest.approx([c * scale for c in costs if np.isfinite(c) and c > choice_words.ALIKE])


# ------------------------------------------------------------------------------------------------------------ order


@pytest.mark.parametrize("name", PLANS)
@pytest.mark.parametrize("system", ["metric", "us"])
def test_all_orders_stand_on_one_scale_with_the_limit(name, system):
    t = lesson(name, ORDER)
    _, (picture,) = drawn(t, system)
    found, said = t.result.table, words(picture)
    strips = [line for line in picture.kept["line"] if len(line.get_xdata()) == len(found) and line.get_ls() == "None"]
    strips = [line for line in strips if line.get_marker() == "o" and line.get_ms() == 4]
    limits = [line.get_xdata()[0] for line in picture.kept["line"] if line.get_color() == style.LIMIT][: len(strips)]
    names = [*t.result.spread.sort_values(ascending=False).index]
    values = [found[f"{n} [degC]"].to_numpy() for n in names]
    values.append(t.plan.room_air + found["coolant over room [K]"].to_numpy())
    bounds = [next(u.limit for u in t.plan.units(tree.Source) if u.name == n) for n in names] + [t.plan.coolant_limit]
    # One straight line from temperature to place holds for every strip and every limit.
    x = np.concatenate([*(line.get_xdata() for line in strips), limits])
    y = np.concatenate([*values, bounds])
    slope, start = np.polyfit(y, x, 1)
    assert x == pytest.approx(slope * y + start, abs=1e-6)
    rise = DISPLAY[system]["difference"]
    for strip in values:
        assert f"{rise.text(strip.max() - strip.min())} from best to worst" in said


def test_what_is_said_of_the_order_follows_from_the_numbers():
    t = lesson("quiet_workshop", ORDER)
    assert t.result.spread.max() <= choice_words.LITTLE
    assert "shortest tubes" in sentence(t)

    def stretched(by, lift=0.0):
        table = t.result.table.copy()
        for column in [c for c in table if c.endswith(" [degC]") and "into" not in c]:
            table[column] = table[column].mean() + by * (table[column] - table[column].mean()) + lift
        warm = table[[f"{n} [degC]" for n in t.result.spread.index]].set_axis(t.result.spread.index, axis=1)
        return replace(t, result=t.result._replace(table=table, spread=warm.max() - warm.min()))

    assert "worth a longer tube" in sentence(stretched(4.0))
    names = t.result.spread.index
    source = next(u for u in t.plan.units(tree.Source) if u.name == names[0])
    broken = stretched(4.0, float(source.limit) - t.result.table[f"{names[0]} [degC]"].mean())
    assert "it matters" in sentence(broken)


# ------------------------------------------------------------------------------------------------ curves and rows


@pytest.mark.parametrize("name", [path.stem for path in (DEMO, SUITE, WORKSHOP)])
@pytest.mark.parametrize("system", ["metric", "us"])
def test_layouts_are_compared_where_the_pump_stands(name, system):
    t = lesson(name, LAYOUT)
    _, (chart, rows) = drawn(t, system)
    hot, warm = choice_words.hottest(t), DISPLAY[system]["temperature"]
    for layout, marker in (("series", "o"), ("parallel", "D")):
        direct = solved(t.plan.as_counts().set(layout=layout)).state  # both go by lengths and bends
        (mark,) = [m for m in chart.kept["line"] if m.get_marker() == marker and m.get_ls() == "None"]
        assert mark.get_xdata()[0] == pytest.approx(100 * choice_words.pump_now(t.plan))
        assert mark.get_ydata()[0] == pytest.approx(warm.convert(float(direct[hot])), rel=1e-6)
        assert DISPLAY[system]["flow"].text(float(direct["flow"]), unit=False) in words(rows)
        assert warm.text(float(direct[hot])) in words(chart)


def test_a_sentence_turns_round_with_its_numbers():
    t = lesson("podcast_booth", LAYOUT)
    assert "warmer" in sentence(t)
    table = t.result.copy()
    table["layout"] = table["layout"].map({"series": "parallel", "parallel": "series"})
    assert "cooler" in sentence(replace(t, result=table))

    t = lesson("podcast_booth", DEPTH)
    here = choice_words.cores(t)["coolant over room [K]"]
    assert f"{here.idxmin()} is coolest" in sentence(t)
    table = t.result.copy()
    table["core"] = table["core"].map({"slim": "deep", "deep": "slim"}).fillna(table["core"])
    assert "fan speed deep is coolest" in sentence(replace(t, result=table))

    t = lesson("podcast_booth", FANS)
    assert "cooler" in sentence(t)
    table = t.result.copy()
    table.loc[table["fans"] != "push", "coolant over room [K]"] += 20.0
    assert "warmer" in sentence(replace(t, result=table))
    assert "cooler" not in sentence(replace(t, result=table))

    t = lesson("podcast_booth", COOL)
    assert sentence(t).startswith("1 of 3")
    assert sentence(replace(t, result=t.result.assign(**{"worst margin [K]": -1.0}))).startswith("None of 3")


def test_a_core_that_is_warmer_says_at_which_speed_it_would_be_as_cool():
    t = lesson("podcast_booth", DEPTH)
    here = choice_words.cores(t)["coolant over room [K]"]
    speed = choice_words.matching(t, here.idxmax(), here.min())
    depth, rows = lessons.CORES[here.idxmax()]

    def deep(unit):
        if not isinstance(unit, tree.RadiatorUnit):
            return unit
        core = lessons.another_core(unit.radiator, depth=depth, tube_rows=rows)
        return replace(unit, radiator=core, fan_speed=speed)

    # Straight between speeds 5 % apart, on a curve that bends: good to a few hundredths of a kelvin.
    assert float(solved(t.plan.with_loop(deep)).state["coolant_over_room"]) == pytest.approx(here.min(), abs=0.05)
    assert f"{100 * speed:.0f} %" in sentence(t)


@pytest.mark.parametrize("name", PLANS)
@pytest.mark.parametrize("system", ["metric", "us"])
def test_the_knee_and_the_plan_lie_on_the_curve(name, system):
    t = lesson(name, KNEE)
    _, (chart, rows) = drawn(t, system)
    flow, warm = DISPLAY[system]["flow"], DISPLAY[system]["temperature"]
    curve = next(line for line in chart.kept["line"] if len(line.get_xdata()) == len(t.result.table))
    for marker, (x, y) in {
        "D": (t.result.flow / 6e4, t.result.temperature),
        "o": (float(t.solution.state["flow"]), float(t.solution.state[t.result.component])),
    }.items():
        (mark,) = [m for m in chart.kept["line"] if m.get_marker() == marker and m.get_ls() == "None"]
        assert mark.get_xydata()[0] == pytest.approx([flow.convert(x), warm.convert(y)])
        assert np.interp(mark.get_xdata()[0], *curve.get_data()) == pytest.approx(mark.get_ydata()[0], abs=0.05)
    # One more litre a minute in kelvin is one more gallon a minute in Fahrenheit times what either is.
    k = (
        1.0 if system == "metric" else 1.8 * 3.785411784
    )  # US gallon: 3.785411784 L exactly, 231 cubic inches of 2.54 cm
    assert f"{t.result.slope * k:.1f} {DISPLAY[system]['difference'].label}" in words(rows)


def test_a_curve_without_a_knee_says_so():
    t = lesson("podcast_booth", KNEE)
    nothing = dict.fromkeys(("speed", "flow", "temperature", "slope"), np.nan)
    flat = replace(t, result=t.result._replace(words="It bends nowhere: there is no knee.", **nothing))
    assert "no knee" in sentence(flat)
    _, pictures = drawn(flat)
    assert "knee" not in words(pictures[0])


@pytest.mark.parametrize("name", PLANS)
def test_one_big_and_two_small_show_coolant_case_air_heat_and_money(name):
    t = lesson(name, SPLIT)
    _, (left, right) = drawn(t)
    for _, row in t.result.iterrows():
        assert f"{row['coolant over room [K]']:.1f} K" in words(left)
        over = row["case air [degC]"] - t.plan.room_air
        assert DISPLAY["metric"]["difference"].text(over) in words(right)
        assert any(f"{row['heat of the first [W]']:.0f} W" in word for word in words(left))


# --------------------------------------------------------------------------------------------- which air, which plan


def test_lessons_of_where_heat_goes_balance_the_case_and_others_keep_the_plans():
    for which in LESSONS:
        t = lesson("podcast_booth", which)
        assert (t.plan.case_air_by == BALANCE) == (which in choice_words.BALANCED)


@pytest.mark.parametrize("which", LESSONS)
def test_a_plan_that_cools_nothing_gets_its_answer_in_words(which):
    plan = load_plan(CUBE)
    bare = replace(plan, loop=tree.Series(*(i for i in plan.loop.items if not isinstance(i, tree.Source))))
    t = told(which, bare)
    if t.result is None:
        assert t.refused
        _, (picture,) = drawn(t)
        assert words(picture)[0] == "Nothing to compare here"
        assert sentence(t).endswith("nothing to compare in this plan.")
        assert t.refused in choice_words.alt(t)
    else:
        assert which == SPLIT  # a radiator can be split with nothing to cool
        assert choice_words.alt(t)


def test_money_is_said_as_a_builder_would():
    assert choice_words.money(12.4, "EUR") == "+12 EUR"
    assert choice_words.money(-12.6, "EUR") == "−13 EUR"
    assert choice_words.money(-0.4, "") == "0"
    assert choice_words.money(5.0, "USD", sign=False) == "5 USD"
    assert choice_words.money(float("nan"), "USD") == "no price"


def test_scales_begin_at_nothing_and_hold_their_value():
    for value in (0.003, 0.7, 11.3, 101.9, 27000.0):
        assert value <= choice_figures.scale_to(value) <= max(2.0 * value, 0.01)


def test_an_answer_that_is_nowhere_known_draws_words():
    t = told(FANS, load_plan(DEMO).set(pump_speed=0.0))
    _, (chart, rows) = drawn(t)
    assert words(chart) == ["No answer at any of these speeds."]
    assert "no answer" in words(rows)
    assert sentence(t).startswith("No temperature can be stated")
    assert isinstance(t.result, pd.DataFrame)
