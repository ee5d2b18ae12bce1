"""Drawings of materials: the numbers of the answers, in both units, every sign twice told, nothing over another."""

from collections import Counter
from dataclasses import replace
from functools import cache
from itertools import combinations
from types import SimpleNamespace

import numpy as np
import pytest
from examples import EXAMPLES
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from on_the_page import nothing_is_lost

from loopmath import load_plan, material_words, rules, style, tables, wetted
from loopmath import material_figures as drawings
from loopmath.coolant_choice import contact_matrix, coolant_choice
from loopmath.laws import materials
from loopmath.material_words import COOLANTS, ENDS, METALS, TOUCH, TUBES, VIEWS
from loopmath.rules import FITS
from loopmath.tube_choice import CRITERIA, tube_choice
from loopmath.tube_ends import LASTING, PASSING, tube_ends, with_tube
from loopmath.units import DISPLAY

PLANS = {path.stem: load_plan(path) for path in EXAMPLES}
BOOTH, CUBE, SUITE = (PLANS[name] for name in ("podcast_booth", "reading_cube", "grading_suite"))
#: An aluminium radiator, silver, zinc and more beside a loop of five metals.
UGLY = BOOTH.set(
    also_wetted=("aluminium 6000 series", "silver", "galvanised steel", "zinc plate", "mild steel", "titanium")
)
#: All that data/contacts.csv knows of.
AGENTS = list(dict.fromkeys(agent for agent, _ in wetted.known_contacts()))
STILL = {"pump_speed": 0.0}
WARM = {"room_air": 45.0, "fan_speed": 0.2}
SYSTEMS = ("metric", "us")


@cache
def ends_of(name):
    return tube_ends(PLANS[name])


@cache
def looked(view, name, **settings):
    return material_words.look(view, PLANS[name].set(**settings))


def drawn(kind, answer, system="metric"):
    with style.look():
        figure = Figure(figsize=(8.8, 4.24), dpi=100)
        FigureCanvasAgg(figure)
        picture = kind(figure.add_axes((0, 0, 1, 1)), system)
        count = len(picture.moving)
        picture.update(answer)
    assert len(picture.moving) == count, "it made artists anew"
    return picture


def texts(picture):
    return [text for text in picture.kept["text"] if text.get_text()]


def words(picture):
    return [text.get_text().replace("\xa0", " ") for text in texts(picture)]


def lines(picture, **how):
    """Return the lines with data whose `get_...` are these."""
    used = [line for line in picture.kept["line"] if len(line.get_xdata())]
    return [line for line in used if all(getattr(line, f"get_{name}")() == value for name, value in how.items())]


def boxes(picture, face):
    return [(corners[0][0], corners[1][0], 0.5 * (corners[0][1] + corners[2][1]))
            for corners, colour, _ in picture.boxes if colour == face]  # fmt: skip


def keeps_to_the_page(picture):
    nothing_is_lost(texts(picture), picture.ax.figure.canvas.get_renderer())


each = pytest.mark.parametrize("name", PLANS)
either = pytest.mark.parametrize("system", SYSTEMS)


# ------------------------------------------------------------------------------------------------ how all of them look


@each
@either
@pytest.mark.parametrize("view", VIEWS)
def test_no_words_are_cut_off_too_small_or_over_each_other(name, system, view):
    keeps_to_the_page(drawn(drawings.DRAWN[view], looked(view, name), system))


@either
@pytest.mark.parametrize("view", [METALS, ENDS, COOLANTS, TOUCH])
@pytest.mark.parametrize("hard", [STILL, WARM], ids=["still", "warm"])
def test_words_keep_apart_where_there_is_no_answer(system, view, hard):
    keeps_to_the_page(drawn(drawings.DRAWN[view], material_words.look(view, BOOTH.set(**hard)), system))


@pytest.mark.parametrize("kind", [drawings.MetalAxis, drawings.MetalMatrix])
@pytest.mark.parametrize("seed", range(25))
def test_any_metals_find_room_together(kind, seed):
    rng, every = np.random.default_rng(seed), list(tables.by_name("metals.csv"))
    beside = tuple(str(metal) for metal in rng.choice(every, rng.integers(1, 20), replace=False))
    around = {"surroundings": str(rng.choice(list(materials.LIMITS))), "treatment": str(rng.choice(["none", ""]))}
    picture = drawn(kind, wetted.seen(PLANS[str(rng.choice(list(PLANS)))].set(also_wetted=beside, **around)))
    keeps_to_the_page(picture)


def test_one_metal_or_none_is_said():
    pair = wetted.seen(BOOTH)
    one = replace(pair, wetted=pair.wetted[:1], pairs=[])
    none = replace(pair, wetted=[], pairs=[])
    assert any("no pair" in said for said in words(drawn(drawings.MetalAxis, one)))
    assert any("two metals" in said for said in words(drawn(drawings.MetalMatrix, one)))
    for kind in (drawings.MetalAxis, drawings.MetalMatrix):
        keeps_to_the_page(drawn(kind, one))
        assert len(words(drawn(kind, none))) == 2


@pytest.mark.parametrize("view", VIEWS)
def test_a_drawing_is_used_again_and_shows_what_a_new_one_shows(view):
    first, other = looked(view, "podcast_booth"), looked(view, "grading_suite")
    picture, fresh = drawn(drawings.DRAWN[view], other), drawn(drawings.DRAWN[view], first)
    count = len(picture.moving)
    assert picture.update(first) is False
    assert len(picture.moving) == count
    assert words(picture) == words(fresh)
    assert picture.boxes == fresh.boxes
    for one, two in zip(lines(picture), lines(fresh), strict=True):
        assert np.array_equal(one.get_xydata(), two.get_xydata(), equal_nan=True)


@either
def test_every_view_has_its_drawing_on_a_figure(system):
    for view in VIEWS:
        with style.look():
            (picture,) = drawings.pictures(Figure(), view, system)
            picture.update(looked(view, "podcast_booth"))
        assert isinstance(picture, drawings.DRAWN[view])
        assert picture.units is DISPLAY[system]
        assert words(picture)


@pytest.mark.parametrize(
    ("kind", "answer"),
    [(drawings.MetalAxis, wetted.seen(UGLY)), (drawings.MetalMatrix, wetted.seen(UGLY)),
     (drawings.ContactMatrix, contact_matrix(AGENTS, ["copper", "aluminium", "zinc", "PMMA", "EPDM", "POM"]))],
)  # fmt: skip
def test_no_colour_of_a_signal_stands_without_its_shape(kind, answer):
    picture = drawn(kind, answer)
    seen = 0
    for signal, (face, _, _) in style.SIGNALS.items():
        spots = [spot for line in lines(picture, marker=drawings.SHAPES[signal]) for spot in line.get_xydata()]
        for left, right, y in boxes(picture, face):
            near = [x for x, height in spots if abs(height - y) < 1 and left - 1 <= x <= right + 20]
            assert near, (signal, left, y)
            seen += 1
    assert seen >= 5


@pytest.mark.parametrize("seed", range(20))
def test_no_stem_crosses_a_label(seed):
    rng = np.random.default_rng(seed)
    starts, widths = sorted(rng.uniform(0, 400, 12)), rng.uniform(20, 180, 12)
    rows = drawings.staircase(starts, widths)
    for one, other in combinations(range(12), 2):
        # The later label begins right of the earlier stem, so only the earlier one can reach over.
        if starts[one] + widths[one] > starts[other]:
            assert rows[one] > rows[other]
    assert min(rows) == 0


# ---------------------------------------------------------------------------------------------------------- metals


@pytest.mark.parametrize("plan", [*PLANS.values(), UGLY], ids=[*PLANS, "ugly"])
def test_metals_stand_by_their_index_and_pairs_are_as_long_as_they_lie_apart(plan):
    seen = wetted.seen(plan)
    picture = drawn(drawings.MetalAxis, seen)
    dots = lines(picture, marker="o", markersize=6.5)[0].get_xdata()
    index = sorted(wetted.index(metal) for metal in {one.surface for one in seen.wetted})
    per, start = np.polyfit(index, dots, 1)
    assert dots == pytest.approx(per * np.array(index) + start, abs=1e-6)
    (ruler,) = lines(picture, marker="|")
    assert np.ptp(ruler.get_xdata()) == pytest.approx(per * materials.LIMITS[plan.surroundings])
    bars = [bar for face in (style.BAND, *(s[0] for s in style.SIGNALS.values())) for bar in boxes(picture, face)]
    told = [pair.volts for pair in drawings.judged(seen.pairs)]
    assert sorted(right - left for left, right, _ in bars) == pytest.approx(sorted(per * v for v in told))


@pytest.mark.parametrize("plan", [*PLANS.values(), UGLY], ids=[*PLANS, "ugly"])
def test_the_pairs_that_are_drawn_are_those_the_rules_judge_and_have_their_word(plan):
    facts = [fact for fact in wetted.facts(plan) if fact.quantity in (*wetted.REFUSED, wetted.APART)]
    pairs = drawings.judged(wetted.seen(plan).pairs)
    assert {f"{pair.baser} with {pair.nobler}" for pair in pairs} == {fact.where for fact in facts}
    assert len(pairs) == len(facts)
    picture = drawn(drawings.MetalAxis, wetted.seen(plan))
    fired = [
        (rule.signal, fact.value)
        for rule, fact, _ in rules.firings(wetted.facts(plan))
        if rule.quantity in (*wetted.REFUSED, wetted.APART)
    ]
    assert fired
    for signal, volts in fired:
        assert any(said.startswith(f"{signal} {volts:.2f} V") for said in words(picture))
        face = {line.get_markerfacecolor() for line in lines(picture, marker=drawings.SHAPES[signal], markersize=9.0)}
        assert face == {style.SIGNALS[signal][0]}
    assert sum(said.startswith(tuple(style.SIGNALS)) for said in words(picture)) == len(fired)


def test_what_does_not_share_a_loop_is_told_before_wider_pairs():
    every = wetted.seen(BOOTH.set(also_wetted=("aluminium 6000 series", "mild steel"))).pairs
    wide = replace(next(pair for pair in every if pair.baser == "mild steel"), volts=1.5)
    pairs = drawings.judged([wide, *every])
    assert [pair.baser for pair in pairs[:2]] == ["aluminium 6000 series", "mild steel"]
    assert pairs[0].refused
    assert pairs[1] is wide


def test_the_sea_water_series_stands_under_the_axis_and_says_who_rises():
    seen = wetted.seen(BOOTH)
    picture = drawn(drawings.MetalAxis, seen)
    grey = boxes(picture, style.GRID)
    rows = tables.by_name("metals.csv")
    known = {one.surface for one in seen.wetted if rows[one.surface]["seawater_low_v"] != ""}
    ends = sorted((rows[metal]["seawater_high_v"], rows[metal]["seawater_low_v"]) for metal in known)
    # The lowest numbers are those of its axis; passive stainless steel lies at -0.04 to -0.10 V [ASTMG82].
    per = next(t.get_position()[0] for t in texts(picture) if t.get_text() == "−1.0") - 14
    assert ((grey[0][0] - 14) / per, (grey[0][1] - 14) / per) == pytest.approx((0.04, 0.10))
    assert sorted((14 - left) / per for left, _, _ in grey) == pytest.approx([high for high, _ in ends])
    assert sorted((14 - right) / per for _, right, _ in grey) == pytest.approx(sorted(low for _, low in ends))
    top = min(y for *_, y in grey)
    bold = {t.get_text() for t in texts(picture) if t.get_weight() == "bold" and t.get_position()[1] >= top}
    # Stainless steel passes nickel, copper and brass in sea water, solder passes brass and copper.
    assert bold == {"stainless steel", "tin-lead solder"}


def test_every_pair_has_its_cell_with_the_colour_and_number_of_its_grade():
    seen = wetted.seen(UGLY)
    picture = drawn(drawings.MetalMatrix, seen)
    grades = Counter(seen.signals.get((pair.nobler, pair.baser), FITS) for pair in seen.pairs)
    for signal, count in grades.items():
        face = style.BAND if signal == FITS else style.SIGNALS[signal][0]
        assert len(boxes(picture, face)) == count
        assert sum(len(line.get_xdata()) for line in lines(picture, marker=drawings.SHAPES[signal])) == count + 1
    numbers = Counter(said.split(" ")[0] for said in words(picture))
    for volts, count in Counter(f"{pair.volts:.2f}" for pair in seen.pairs).items():
        assert numbers[volts] == count
    assert sum(grades.values()) == 11 * 10 / 2


def test_cells_where_sea_water_disagrees_have_a_second_sign_that_is_explained():
    seen = wetted.seen(BOOTH)
    said = words(drawn(drawings.MetalMatrix, seen))
    (rule,) = (rule for rule in rules.rules() if rule.id == "sea-water-disagrees")
    far = {
        (pair.nobler, pair.baser)
        for pair in seen.pairs
        if (pair.nobler, pair.baser) not in seen.signals and max(map(abs, pair.sea_water)) > 0.25
    }
    assert rule.compare == "above"
    signs = [word.partition(" ")[2] for word in said if word[:1].isdigit()]
    assert sum(drawings.APART in sign for sign in signs) == len(far) > 0
    assert sum(drawings.TURNED in sign for sign in signs) == sum(pair.turned for pair in seen.pairs) > 0
    assert ("brass", "stainless steel 18 % chromium") in far  # -0.31 to -0.40 V against -0.04 to -0.10 V [ASTMG82]
    for sign in (drawings.APART, drawings.TURNED):
        assert any(f"{sign} " in word and "sea water" in word for word in said)
    plain = words(drawn(drawings.MetalMatrix, replace(seen, pairs=[replace(p, sea_water=None) for p in seen.pairs])))
    assert not any(drawings.APART in word or drawings.TURNED in word for word in plain)


# ------------------------------------------------------------------------------------------------------- tube ends


@each
@either
def test_bars_of_tube_ends_run_from_steady_to_the_worst_on_one_scale_with_softening(name, system):
    answer, warm = ends_of(name), DISPLAY[system]["temperature"]
    picture = drawn(drawings.EndBars, answer, system)
    bars = boxes(picture, style.LIQUID)
    shown = [end for end in answer.ends if id(end) in {id(e) for e in picture._chosen(answer.ends)[0]}]
    assert len(bars) == len(shown)
    steady = np.array([end.wall["steady"] for end in shown])
    worst = np.array([max(end.wall.values()) for end in shown])
    values = np.concatenate([steady, worst])
    places = np.concatenate([[bar[0] for bar in bars], [bar[1] for bar in bars]])
    per, start = np.polyfit(values, places, 1)
    assert places == pytest.approx(per * values + start, abs=1.0)  # a bar is a pixel wide at least
    for line, soft in zip(lines(picture, color=style.LIMIT), dict.fromkeys(e.soft for e in shown), strict=False):
        assert line.get_xdata()[0] == pytest.approx(per * soft + start, abs=0.5)
    for end in shown:
        if end.soft is not None:
            deflection = {"PETG": 60.0, "PMMA": 71.0}[end.tube.material]  # low ends, [PlasticsData], [Lange1999]
            assert f"bends at {warm.text(deflection).replace('.0 ', ' ')}" in words(picture)
            at = next(t for t in texts(picture) if t.get_text().startswith("bends at")).get_position()[0] - 5
            assert at == pytest.approx(per * deflection + start, abs=0.5)
            assert f"{end.tube.material} softens at {warm.text(end.soft).replace('.0 ', ' ')}" in words(picture)
    for case, (mark, size, _) in zip(answer.ends[0].wall, drawings.CASE_MARKS, strict=True):
        _, marks = lines(picture, marker=mark, markersize=size)[-2:]
        assert marks.get_xdata() == pytest.approx([per * end.wall[case] + start for end in shown], abs=1.0)


@each
@either
def test_what_is_left_is_written_with_the_sign_of_the_rules(name, system):
    answer, rise = ends_of(name), DISPLAY[system]["difference"]
    picture = drawn(drawings.EndBars, answer, system)
    said, column = words(picture), 880 - 140 + 13
    fired: dict = {}
    for rule, fact, _ in rules.firings(answer.facts):  # the gravest first
        if rule.quantity in (LASTING, PASSING):
            fired.setdefault(fact.where, rule.signal)
    shown = picture._chosen(answer.ends)[0]
    for end in shown:
        if end.margin is not None:
            side = "left" if end.margin >= 0 else "over"
            assert f"{rise.text(abs(end.margin), unit=False)} {side}" in said
    for signal in (*style.SIGNALS, FITS):
        spots = [x for line in lines(picture, marker=drawings.SHAPES[signal]) for x in line.get_xdata()]
        wanted = sum(end.margin is not None and fired.get(end.name, FITS) == signal for end in shown)
        assert sum(x == pytest.approx(column) for x in spots) == wanted
    if name == "podcast_booth":  # where a pump that stops leaves soft ends at the processor
        assert fired


def test_cases_of_one_temperature_are_seen_beside_each_other():
    answer = ends_of("grading_suite")
    level = [replace(end, wall=dict.fromkeys(end.wall, 40.0)) for end in answer.ends[:6]]
    picture = drawn(
        drawings.EndBars, SimpleNamespace(plan=SUITE, solution=answer.solution, ends=level, facts=[], said=[])
    )
    marks = [lines(picture, marker=mark, markersize=size)[-1] for mark, size, _ in drawings.CASE_MARKS]
    seen = {(round(line.get_ydata()[0], 2), line.get_markersize()) for line in marks}
    assert len(seen) == 5
    assert len({y for y, _ in seen}) == 3


def many(answer, times):
    """Return an answer with its ends several times over, each time warmer and with another tube in every other run."""
    copper = with_tube(answer, "copper")
    ends = [
        replace(end, run=f"{end.run} {n}", margin=None if end.margin is None else end.margin - n)
        for n in range(times)
        for place, pair in enumerate(zip(answer.ends, copper.ends, strict=True))
        for end in [pair[place // 2 % 2]]
    ]
    return SimpleNamespace(plan=answer.plan, solution=answer.solution, ends=tuple(ends), facts=[], said=answer.said)


@either
@pytest.mark.parametrize("times", [1, 2, 5])
def test_of_many_ends_those_with_least_left_are_drawn_in_flow_order(system, times):
    answer = many(ends_of("grading_suite"), times)
    picture = drawn(drawings.EndBars, answer, system)
    keeps_to_the_page(picture)
    shown = picture._chosen(answer.ends)[0]
    assert 9 <= len(shown) <= 16
    assert [end for end in answer.ends if end in shown] == shown
    hidden = [end for end in answer.ends if end not in shown]
    assert max(map(drawings._margin, shown)) <= min(map(drawings._margin, hidden))
    assert any(said.startswith(f"{len(shown)} of {len(answer.ends)} ends") for said in words(picture))


@pytest.mark.parametrize("step", [0, 1])
def test_tubes_that_alternate_leave_every_row_its_room(step):
    every = [with_tube(ends_of("grading_suite"), material) for material in ("PETG", "PMMA")]
    ends = [pair[(place + step) // 2 % 2] for place, pair in enumerate(zip(*(a.ends for a in every), strict=True))]
    answer = SimpleNamespace(plan=SUITE, solution=every[0].solution, ends=tuple(ends), facts=[], said=[])
    picture = drawn(drawings.EndBars, answer, "us")
    keeps_to_the_page(picture)
    heads = [said for said in words(picture) if "softens at" in said]
    assert {said.split(" ")[0] for said in heads} == {"PETG", "PMMA"}
    assert len(lines(picture, color=style.LIMIT)) == len(heads) > 2


@pytest.mark.parametrize(("material", "told"), [("copper", "copper stays hard"), ("EPDM", "soft tube, clamped")])
def test_tube_that_does_not_soften_is_told_in_words(material, told):
    picture = drawn(drawings.EndBars, with_tube(ends_of("podcast_booth"), material))
    keeps_to_the_page(picture)
    assert words(picture).count(told) == len(ends_of("podcast_booth").ends)
    assert lines(picture, color=style.LIMIT) == []


def test_ends_without_a_temperature_have_no_bar_and_say_why():
    answer = tube_ends(BOOTH.set(**STILL))
    assert not any(np.isfinite(list(end.wall.values())).any() for end in answer.ends)
    picture = drawn(drawings.EndBars, answer)
    assert boxes(picture, style.LIQUID) == []
    assert words(picture).count("no temperature") == len(answer.ends)
    assert any(said.startswith("No temperature is stated.") for said in words(picture))
    assert "nan" not in " ".join(words(picture)).lower()


@each
@either
def test_what_happens_when_the_pump_stops_is_written_under_the_ends_in_whole(name, system):
    answer = ends_of(name)
    picture = drawn(drawings.EndBars, answer, system)
    under = " ".join(said for said in reversed(words(picture)[-5:]))
    for note in answer.notes["pump stops"].split(". "):
        assert note.strip(". ") in " ".join(under.split())
    assert "…" not in under


# --------------------------------------------------------------------------------------------------------- choices


def bars(picture):
    """Return the pieces of the bars of a ranking, those of its key not among them."""
    return [box for box in picture.boxes if box[0][0][0] >= 299 and box[0][0][1] > 45]


@each
@either
def test_what_criteria_add_ends_at_the_total(name, system):
    choice = looked(TUBES, name).result
    picture = drawn(drawings.TubeRanking, choice, system)
    totals: dict = {}
    for corners, _, _ in bars(picture):
        totals.setdefault(round(corners[0][1], 3), []).append((corners[0][0], corners[1][0]))
    assert len(totals) == len(choice.kinds)
    per = (880 - 300 - 230) / 100
    for kind, spans in zip(choice.kinds, totals.values(), strict=True):
        # A sliver under a pixel is left out.
        assert max(end for _, end in spans) == pytest.approx(300 + 100 * kind.total * per, abs=1.0)
        assert f"{100 * kind.total:.0f}" in words(picture)
    assert list(totals) == sorted(totals)


@each
@either
def test_a_kind_says_what_it_has_left_and_what_the_rules_say_of_it(name, system):
    choice = looked(TUBES, name).result
    picture = drawn(drawings.TubeRanking, choice, system)
    joined = " ".join(words(picture))
    for kind in choice.kinds:
        assert kind.left(system) in joined
    for signal in ("danger", "warning", "caution"):
        count = sum(kind.heed == signal for kind in choice.kinds)
        assert words(picture).count(signal) == count
        assert sum(len(line.get_xdata()) for line in lines(picture, marker=drawings.SHAPES[signal])) == count
    assert "…" not in joined


def test_a_refused_tube_is_grey_with_its_word_and_sign_and_the_plans_own_is_marked():
    choice = looked(TUBES, "podcast_booth").result
    kinds = [replace(k, told=(("danger", "it softens"),) if k.material == "PETG" else ()) for k in choice.kinds]
    choice = replace(choice, kinds=tuple(kinds)).weighed()
    refused = choice.kinds[-1]
    assert refused.material == "PETG"  # what is refused stands last
    picture = drawn(drawings.TubeRanking, choice)
    keeps_to_the_page(picture)
    assert words(picture).count("danger") == 1
    (sign,) = lines(picture, marker=drawings.SHAPES["danger"])
    assert {y for *_, y in boxes(picture, style.GRID)} == set(sign.get_ydata())
    assert sum("this plan's" in said for said in words(picture)) == 1
    quiet = {t.get_text() for t in texts(picture) if t.get_color() == style.QUIET and t.get_weight() == "bold"}
    assert {"6 PETG", f"{100 * refused.total:.0f}"} <= quiet
    tints = Counter(face for _, face, _ in bars(picture))
    assert max(count for face, count in tints.items() if face != style.GRID) <= len(choice.kinds) - 1


@pytest.mark.parametrize("only", CRITERIA)
def test_a_criterion_that_counts_alone_makes_the_whole_bar(only):
    weights = {name: float(name == only) for name in CRITERIA}
    choice = tube_choice(BOOTH, weights, ends_of("podcast_booth"))
    picture = drawn(drawings.TubeRanking, choice)
    keeps_to_the_page(picture)
    tint = drawings.TINTS[list(CRITERIA).index(only)]
    assert {face for _, face, _ in bars(picture)} <= {tint, style.GRID}
    for kind in choice.kinds:
        if kind.scores[only] > 0.3:
            assert f"{only} {100 * kind.total:.0f}" in words(picture)


@each
@either
def test_coolants_stand_by_what_they_cost_against_water(name, system):
    choice, rise = looked(COOLANTS, name).result, DISPLAY[system]["difference"]
    picture = drawn(drawings.CoolantCosts, choice, system)
    for what, mark in (("flow", "o"), ("component", "s")):
        (line,) = lines(picture, marker=mark)
        values = np.array([mix.against_water[what] for mix in choice.mixes])
        per, zero = np.polyfit(values, line.get_xdata(), 1)
        assert line.get_xdata() == pytest.approx(per * values + zero, abs=1e-6)
        dashed = [one.get_xdata()[0] for one in lines(picture, color=style.QUIET)]
        assert any(x == pytest.approx(zero) for x in dashed)
    for mix in choice.mixes[1:]:
        assert f"{100 * mix.against_water['flow']:+.0f} %".replace("-", "−") in words(picture)
        assert rise.text(mix.against_water["component"], sign=True) in words(picture)
    assert DISPLAY[system]["flow"].text(choice.mixes[0].flow) in words(picture)
    (own,) = (mix for mix in choice.mixes if mix.own)
    bold = [t for t in texts(picture) if t.get_weight() == "bold" and t.get_position()[0] == 4]
    assert " ".join(t.get_text() for t in bold) == f"▶ {own.label} (this plan's)"


def test_a_difference_of_less_than_a_kelvin_does_not_fill_its_panel():
    choice = looked(COOLANTS, "reading_cube").result
    (line,) = lines(drawn(drawings.CoolantCosts, choice), marker="s")
    most = max(mix.against_water["component"] for mix in choice.mixes)
    assert most < 0.8
    assert np.ptp(line.get_xdata()) == pytest.approx(most * (0.5 * (880 - 296) - 20 - 8 - 84))


@pytest.mark.parametrize("hard", [STILL, WARM], ids=["still", "warm"])
def test_coolants_without_an_answer_say_so(hard):
    choice = coolant_choice(BOOTH.set(**hard))
    picture = drawn(drawings.CoolantCosts, choice)
    silent = sum(not np.isfinite(mix.against_water[what]) for mix in choice.mixes for what in ("flow", "component"))
    assert silent > 10
    assert words(picture).count("no answer") == silent
    assert any(said.startswith("No answer: ") and len(said) > 20 for said in words(picture))
    marks = np.concatenate([line.get_xdata() for mark in "os" for line in lines(picture, marker=mark)])
    assert np.isfinite(marks).sum() == 2 * len(choice.mixes) - silent


def test_every_cell_of_contacts_has_its_sign():
    listed = ["copper", "nickel", "aluminium", "zinc", "PETG", "PMMA", "PC", "POM", "EPDM", "NBR", "silicone", "FKM"]
    matrix = contact_matrix(AGENTS, listed)
    picture = drawn(drawings.ContactMatrix, matrix)
    keeps_to_the_page(picture)
    rows = {line.get_text(): line.get_position()[1] for line in texts(picture) if line.get_text() in AGENTS}
    assert list(rows) == AGENTS
    columns = {t.get_text(): t.get_position()[0] - 3 for t in texts(picture) if t.get_text() in listed}
    for (agent, material), row in matrix.items():
        signal = "" if row is None else row["signal"]
        spots = [
            spot
            for line in lines(picture, marker=drawings.SHAPES[signal])
            if signal or line.get_color() == style.KEPT
            for spot in line.get_xydata()
        ]
        here = columns[material], rows[agent]
        assert any(np.allclose(spot, here) for spot in spots), (agent, material)
    keys = [word for word in words(picture) if word in style.SIGNALS or word.startswith(("fits", "nothing known"))]
    assert len(keys) == 6


@each
@either
def test_what_touches_in_the_plan_is_bold_with_a_mark_that_is_explained(name, system):
    seen = looked(TOUCH, name)
    picture = drawn(drawings.ContactMatrix, seen, system)
    own = {each for agent, material, _ in wetted.contacts(seen.plan) for each in (agent, material)}
    listed = {each for pair in seen.result for each in pair}
    marked = {t.get_text().removeprefix("▶ ") for t in texts(picture) if t.get_weight() == "bold"} - {
        "What may touch what"
    }
    assert marked == own & listed
    assert {PLANS[name].coolant.base, "EPDM"} <= marked
    assert sum(t.get_text().startswith("▶") for t in texts(picture)) == len(marked) + 1
    assert words(picture)[-1] == "▶ this plan's"
    picture.update(seen.result)  # of the table alone nothing is anybody's own
    assert not any("▶" in said for said in words(picture))


def test_the_whole_table_of_contacts_has_room():
    rows = tables.read_table("contacts.csv")
    materials_ = list(dict.fromkeys(row["material"] for row in rows))
    matrix = contact_matrix(dict.fromkeys(row["agent"] for row in rows), materials_)
    picture = drawn(drawings.ContactMatrix, matrix)
    keeps_to_the_page(picture)
    assert set(materials_) <= set(words(picture))
    assert words(drawn(drawings.ContactMatrix, {}))[-1] == "Nothing to compare here."


# ----------------------------------------------------------------------------------------------------------- words


@each
@either
@pytest.mark.parametrize("view", VIEWS)
def test_sentences_end_once_and_say_no_number_that_is_none(name, system, view):
    seen = looked(view, name)
    said = material_words.sentence(seen, system)
    assert ".." not in said
    assert "+0 %" not in said
    assert "−0" not in said.replace("−0.", "")
    table = material_words.table(seen, system)
    assert table is None or not any("nan" in cell for cell in table.to_numpy().ravel())


def test_each_view_says_what_it_is_about():
    ends = ends_of("podcast_booth")
    worst, said = min(ends.ends, key=lambda end: end.margin), material_words.sentence(looked(ENDS, "podcast_booth"))
    assert f"softens by {-worst.margin:.1f} K for minutes when the pump stops; while it runs it keeps" in said
    assert "1 warning" in said  # at four ends
    assert "this is the water all others are compared with" in material_words.sentence(looked(COOLANTS, "reading_cube"))
    weights = {
        "looks": 1.0,
        "forming": 1.0,
        "upkeep": 1.0,
        "softening": 0.0,
        "transport": 0.0,
        "cleaning": 0.0,
        "cost": 0.0,
    }
    best = material_words.sentence(material_words.look(TUBES, BOOTH, weights))
    assert "The rules tell a warning of it, 10.0 K left while it runs, 8.0 K over for minutes" in best
    still = material_words.look(ENDS, BOOTH.set(**STILL))
    assert dict(material_words.readouts(still))["to the next top-up"] == "none"
    sea = [row.quantity for row in looked(METALS, "podcast_booth").warned()]
    assert sea.count("difference in the sea-water series") == 1


def test_a_table_in_words_has_the_digits_of_its_units_and_true_minus_signs():
    ends = material_words.table(looked(ENDS, "podcast_booth"))
    row = ends[ends["tube end"] == "pump to processor, at processor"].iloc[0]
    assert (row["softens [°C]"], row["left [K]"], row["pressed in [%]"]) == ("50.0", "−8.0", "0.11")
    metals = material_words.table(looked(METALS, "podcast_booth"))
    assert metals["apart [V]"].iloc[0] == "0.35"
    assert "-0" not in " ".join(metals["in sea water [V]"])
    tubes = material_words.table(looked(TUBES, "podcast_booth"))
    assert set(tubes[tubes["kind"] == "copper"][["left as it runs [K]", "months to top-up"]].iloc[0]) == {"none"}
    assert "text-align: left" in material_words.page(ends_of("podcast_booth").table()).to_html()
