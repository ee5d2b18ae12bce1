"""Upkeep: what decides each interval, what passes the walls, whether a loop drifts, and the drawings of it."""

import csv
import math
from dataclasses import replace
from datetime import date, timedelta
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from examples import CUBE, EXAMPLES, each_example
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from loopmath import InputError, demo_plan, load_plan, rules, style, tables, upkeep_figures, upkeep_words
from loopmath import loop as tree
from loopmath.drift import FLOW, PART, ROOM, SIGNS, SURE, drift, trend
from loopmath.laws.coolant import coolant
from loopmath.rules import COLUMNS
from loopmath.service_log import FLUSH, INSPECTION, JOBS, STRIP, TOP_UP, Entry, Log
from loopmath.solution import solved
from loopmath.tube_ends import MONTH, tube_ends
from loopmath.upkeep import SOONEST, span, upkeep, wall_loss
from loopmath.upkeep_words import TRENDS, VIEWS, look

BOOTH, READING_CUBE = demo_plan(), load_plan(CUBE)
TODAY = date(2027, 6, 15)
NOTHING = Log(Path("none.log.csv"))


@cache
def of(name: str, **settings):
    return upkeep(load_plan(next(p for p in EXAMPLES if p.stem == name)).set(**settings))


# ---------------------------------------------------------------------------------------------------- intervals


@each_example
def test_every_plan_has_every_job_with_reasons_steps_and_cautions(path):
    found = upkeep(load_plan(path))
    assert tuple(found.jobs) == JOBS
    for job in found.jobs.values():
        assert SOONEST <= job.low <= job.high <= 60.0
        assert job.low == min(r.low for r in job.reasons)
        assert job.decided is job.reasons[0]
        assert all(r.source and r.why.endswith(".") and r.low <= r.high for r in job.reasons)
        said = " ".join([*job.cautions, *job.steps])
        assert len(job.cautions) >= 3 and len(job.steps) >= 5  # noqa: PT018
        assert "unplug" in said
        assert "{" not in said and "!" not in said  # noqa: PT018
    assert "never mix" in " ".join(found.jobs[TOP_UP].cautions).lower()
    assert "glove" in " ".join(found.jobs[FLUSH].cautions).lower()
    disposal = {row["disposal"][1:] for row in tables.read_table("treatments.csv")}
    assert any(words in " ".join(found.jobs[FLUSH].steps) for words in disposal)


@pytest.mark.parametrize(
    ("treatment", "low", "high"),
    [(row["name"], row["life_low_months"], row["life_high_months"]) for row in tables.read_table("treatments.csv")],
)
def test_the_coolant_lasts_as_the_table_of_treatments_says_or_as_its_bottle_does(treatment, low, high):
    plan = BOOTH.set(treatment=treatment)
    named = {r.name: r for r in upkeep(plan).jobs[FLUSH].reasons}
    assert (named["coolant used up"].low, named["coolant used up"].high) == (low, high)
    bottle = upkeep(plan, life=(7.0, 9.0)).jobs[FLUSH]
    assert [(r.low, r.high, r.source) for r in bottle.reasons if r.name == "coolant used up"] == [
        (7.0, 9.0, "the bottle")
    ]


@pytest.mark.parametrize(
    ("settings", "job", "reason"),
    [
        ({"treatment": "inhibitor, biocide and particles"}, INSPECTION, "particles"),
        ({"treatment": "inhibitor, biocide and particles"}, STRIP, "particles"),
        ({"treatment": "inhibitor, biocide and dye"}, STRIP, "dye"),
        ({"tube_material": "plasticised PVC"}, FLUSH, "plasticiser"),
        ({"tube_material": "plasticised PVC"}, STRIP, "plasticiser"),
        ({"tube_material": "silicone"}, INSPECTION, "soft tube"),
        ({"treatment": "none"}, INSPECTION, "metals far apart"),
        ({"front radiator.metal": "aluminium 6000 series"}, INSPECTION, "metals that do not share a loop"),
        ({"front radiator.metal": "aluminium 6000 series"}, STRIP, "metals that do not share a loop"),
        ({"also_wetted": ("mild steel", "silver")}, FLUSH, "metals far apart"),
    ],
)
def test_what_is_in_the_loop_brings_its_reason_and_is_missing_without(settings, job, reason):
    assert reason in [r.name for r in upkeep(BOOTH.set(**settings)).jobs[job].reasons]
    assert reason not in [r.name for r in upkeep(BOOTH).jobs[job].reasons]


def test_every_condition_of_the_table_can_be_read_and_every_job_has_a_row():
    found = tables.read_table("upkeep.csv")
    for row in found:
        assert row["low_months"] <= row["high_months"]
        if row["when"]:
            assert rules.clauses("upkeep.csv", row["when"])
    assert {row["job"] for row in found} == set(JOBS)
    with (tables.DATA / "upkeep_steps.csv").open(encoding="utf-8", newline="") as file:
        steps = list(csv.DictReader(file))
    assert {row["job"] for row in steps} == set(JOBS)
    assert {row["kind"] for row in steps} == {"caution", "step"}


def test_what_wears_with_use_goes_with_the_hours_a_day():
    at = {
        h: {(j.name, r.name): r.low for j in upkeep(BOOTH, hours=h).jobs.values() for r in j.reasons}
        for h in (4, 8, 16)
    }
    table = {row["reason"]: row for row in tables.read_table("upkeep.csv")}
    for job, reason in (("inspection", "dust"), ("strip", "pump")):
        low = table[reason]["low_months"]
        assert [at[h][job, reason] for h in (4, 8, 16)] == pytest.approx([min(2 * low, 60.0), low, low / 2])
    for h in (4, 16):
        assert at[h]["strip", "rings and fins"] == at[8]["strip", "rings and fins"]
    assert math.isfinite(upkeep(BOOTH, hours=0.0).jobs[STRIP].low)


@pytest.mark.parametrize(
    ("how", "field"),
    [
        ({"hours": 25.0}, "hours a day"),
        ({"hours": float("nan")}, "hours a day"),
        ({"reserve": -1e-6}, "reserve"),
        ({"reserve": 1.0}, "reserve"),
        ({"life": (12.0, 6.0)}, "life of the coolant"),
        ({"life": 6.0}, "life of the coolant"),
        ({"life": (0.0, 6.0)}, "life of the coolant"),
    ],
)
def test_a_wrong_number_is_refused(how, field):
    with pytest.raises(InputError) as told:
        upkeep(BOOTH, **how)
    assert told.value.field == field


def test_many_designs_are_refused():
    with pytest.raises(InputError):
        upkeep(BOOTH.set(room_air=np.array([20.0, 25.0])))


# ------------------------------------------------------------------------------------------ water through the walls


@each_example
def test_a_loop_that_never_rests_loses_what_the_tube_ends_say(path):
    plan = load_plan(path)
    answer = solved(plan)
    density = float(coolant("water").properties(20.0)[0])
    assert density == pytest.approx(998.2072, rel=1e-4)  # IAPWS, data/coolants.csv
    kilograms = np.sum(list(tube_ends(plan, answer, ("steady",)).vapour.values()), axis=0) * MONTH
    assert np.array(wall_loss(plan, answer, 24.0)) * density == pytest.approx(kilograms, rel=1e-9)


def test_a_loop_that_rests_loses_less_by_its_share_of_the_day():
    answer = solved(READING_CUBE)
    off, half, on = (np.array(wall_loss(READING_CUBE, answer, h)) for h in (0.0, 12.0, 24.0))
    assert half == pytest.approx(0.5 * (off + on), rel=1e-12)
    assert (0 < off).all() and (off < on).all()  # noqa: PT018
    copper = READING_CUBE.with_loop(
        lambda e: replace(e, tube=replace(e.tube, material="copper")) if hasattr(e, "tube") else e
    )
    assert wall_loss(copper, solved(copper), 24.0) == (0.0, 0.0)


def test_soft_tube_and_a_small_reserve_decide_the_top_up():
    leaky = READING_CUBE.set(tube_material="silicone")
    found = upkeep(leaky, reserve=5e-6)
    job, loss = found.jobs[TOP_UP], found.loss
    assert job.decided.name == "water through tube walls"
    assert job.decided.source.startswith("material-data")
    assert (job.decided.low, job.decided.high) == pytest.approx((5e-6 / loss[1], 5e-6 / loss[0]), rel=1e-9)
    assert upkeep(leaky).reserve == pytest.approx(0.1 * sum(t.volume() for t in leaky.units(tree.Tank)))
    assert upkeep(leaky, reserve=5e-4).jobs[TOP_UP].decided.name == "caps and seals"


def test_a_loop_that_stands_says_why_its_loss_is_not_known():
    found = upkeep(BOOTH.set(pump_speed=0.0))
    assert "Nothing flows" in found.lost()
    assert [r.name for r in found.jobs[TOP_UP].reasons] == ["caps and seals"]


def test_the_loss_is_told_in_both_systems():
    metric, us = (of("reading_cube").lost(system) for system in ("metric", "us"))
    assert " mL of water" in metric
    assert " fl oz of water" in us
    assert span(*(1e6 * v for v in of("reading_cube").loss)) in metric


# ------------------------------------------------------------------------------------------------------- drift


def ratios(rng, readings: int, change: float, scatter: float, days: int = 365):
    """Return readings on days spread at random over a year, whose ratio goes straight up, with scatter."""
    at = np.sort(rng.choice(days, readings, replace=False))
    t = (at - at[0]) / (at[-1] - at[0])
    true = (1.0 + change * t) * np.exp(scatter * rng.normal(size=readings))
    return [(date(2027, 1, 1) + timedelta(int(d)), float(r), 0.05) for d, r in zip(at, true, strict=True)]


def cautions(quantity: str, readings) -> bool:
    one = trend(quantity, "coolant", readings)
    return one.sure and one.worse > 0.1


@pytest.mark.parametrize("scatter", [0.03, 0.05])
def test_a_loop_that_does_not_drift_is_left_in_peace(scatter):
    """Looked at after every reading from the fifth on: less than 5 % get a caution at any time."""
    rng = np.random.default_rng(20270101)
    for quantity in (ROOM, FLOW):
        runs = [ratios(rng, 12, 0.0, scatter) for _ in range(300)]
        assert np.mean([any(cautions(quantity, run[:n]) for n in range(5, 13)) for run in runs]) < 0.05


def test_what_stands_out_by_chance_alone_is_as_rare_as_stated():
    rng = np.random.default_rng(11)
    found = [trend(ROOM, "coolant", ratios(rng, 10, 0.0, 0.04)).probability for _ in range(1500)]
    assert np.mean(np.array(found) < 0.05) == pytest.approx(0.05, abs=0.02)  # 3.5 standard deviations
    assert np.mean(np.array(found) < 1 - SURE) < 0.02


@pytest.mark.parametrize(("quantity", "change"), [(ROOM, 0.25), (PART, 0.25), (FLOW, -0.22)])
def test_a_drift_of_a_quarter_over_a_year_is_found(quantity, change):
    rng = np.random.default_rng(5)
    assert np.mean([cautions(quantity, ratios(rng, 12, change, 0.04)) for _ in range(300)]) >= 0.95


def test_the_interval_holds_the_true_change():
    rng, inside = np.random.default_rng(8), 0
    for _ in range(600):
        one = trend(ROOM, "coolant", ratios(rng, 10, 0.2, 0.04))
        inside += one.low <= 0.2 <= one.high
    assert inside / 600 == pytest.approx(0.95, abs=0.03)


def test_what_gets_better_is_no_caution_and_weights_count():
    rng = np.random.default_rng(3)
    assert not cautions(ROOM, ratios(rng, 12, -0.3, 0.03))
    assert not cautions(FLOW, ratios(rng, 12, 0.3, 0.03))
    clean = [(date(2027, 1, 1) + timedelta(30 * n), 1.0, 0.02) for n in range(8)]
    odd = [*clean, (date(2027, 10, 1), 2.0, 0.02)]
    badly_read = [*clean, (date(2027, 10, 1), 2.0, 2.0)]
    assert trend(ROOM, "coolant", odd).change > 0.3
    assert abs(trend(ROOM, "coolant", badly_read).change) < 0.01


def test_a_line_without_scatter_gives_its_own_change_and_numpys_fit():
    days = [date(2027, 1, 1) + timedelta(20 * n) for n in range(7)]
    exact = [(day, float(np.exp(0.02 * n)), 0.05) for n, day in enumerate(days)]
    assert trend(ROOM, "c", exact).change == pytest.approx(np.expm1(0.12), rel=1e-9)
    rng = np.random.default_rng(2)
    rows = [(day, float(np.exp(rng.normal(0, 0.05))), float(rng.uniform(0.02, 0.2))) for day in days]
    t = np.linspace(0.0, 1.0, 7)
    slope, level = np.polyfit(t, np.log([r for _, r, _ in rows]), 1, w=[1 / e for _, _, e in rows])
    one = trend(ROOM, "c", rows)
    assert (one.start, one.change) == pytest.approx((np.exp(level), np.expm1(slope)), rel=1e-9)


def logged(plan, months=10, room=25.0, growth=0.0, fall=0.0, load=1.0, **also):
    """Return a log whose readings are the plan's own answer at their room and load, drifting straight."""
    entries = []
    for n in range(months):
        t, air = n / (months - 1), room + 4.0 * (n % 3)
        at = replace(plan, room_air=air).with_loop(
            lambda e: replace(e, heat=load * e.heat) if isinstance(e, tree.Source) else e
        )
        s = solved(at).state
        over = float(s["coolant_over_room"]) * (1 + growth * t)
        entries.append(
            Entry(date(2026, 8, 1) + timedelta(30 * n), "reading", coolant=air + over, room=air, load=load,
                  flow=float(s["flow"]) * (1 - fall * t), **also)
        )  # fmt: skip
    return Log(Path("some.log.csv"), tuple(entries))


@each_example
def test_a_loop_as_planned_has_ratio_one_in_any_weather_and_load(path):
    plan = load_plan(path)
    found = drift(upkeep(plan), logged(plan, load=0.8))
    assert [t.quantity for t in found.trends] == [ROOM, FLOW]
    for one in found.trends:
        assert one.ratio == pytest.approx(np.ones(10), abs=1e-6)
        assert not one.sure
    assert found.warned() == []


def test_fouling_speaks_in_the_one_form_with_the_signs_that_tell_it():
    found = drift(upkeep(BOOTH), logged(BOOTH, growth=0.3, fall=0.2))
    rows = found.warned()
    assert [(r.signal, r.where, r.quantity) for r in rows] == [("caution", "coolant", ROOM), ("caution", "loop", FLOW)]
    assert all(len(r) == len(COLUMNS) and SIGNS[ROOM, FLOW] in r.action for r in rows)
    assert (rows[0].value, rows[0].limit) == ("30 %", "10 %")
    (dusty,) = drift(upkeep(BOOTH), logged(BOOTH, growth=0.3)).warned()
    assert SIGNS[(ROOM,)] in dusty.action
    (tired,) = drift(upkeep(BOOTH), logged(BOOTH, fall=0.2)).warned()
    assert SIGNS[(FLOW,)] in tired.action


def test_a_block_that_clogs_is_told_from_a_loop_that_does():
    answer = solved(BOOTH).state
    own = float(answer["processor"] - answer["coolant_warmest"])
    log = logged(BOOTH)
    entries = tuple(
        replace(e, part="processor", part_temperature=e.coolant + own * (1 + 0.05 * n))
        for n, e in enumerate(log.entries)
    )
    (row,) = drift(upkeep(BOOTH), replace(log, entries=entries)).warned()
    assert (row.where, row.quantity) == ("processor", PART)
    assert SIGNS[(PART,)] in row.action


def test_speeds_of_a_reading_are_those_the_plan_is_solved_at():
    slow = BOOTH.set(pump_speed=0.5)
    s = solved(slow).state
    entry = Entry("2027-01-01", "reading", flow=float(s["flow"]), pump_speed=0.5)
    (one,) = drift(upkeep(BOOTH), Log(Path("x"), (entry,))).trends
    assert one.ratio == pytest.approx([1.0], abs=1e-6)
    (other,) = drift(upkeep(BOOTH), Log(Path("x"), (replace(entry, pump_speed=None),))).trends
    assert other.ratio[0] < 0.9


def test_a_flush_begins_a_new_trend_and_too_few_readings_say_so():
    log = logged(BOOTH, growth=0.4)
    flushed = Entry(log.entries[7].day, FLUSH)
    found = drift(upkeep(BOOTH), replace(log, entries=(*log.entries, flushed)))
    assert found.warned() == []
    assert np.sum(found.trends[0].counts) == 3
    assert any("3 readings since the last flush or strip" in note for note in found.notes)
    assert drift(upkeep(BOOTH), NOTHING).trends == ()
    assert "log coolant" in drift(upkeep(BOOTH), NOTHING).notes[0]


def test_what_cannot_be_compared_is_left_out_and_told():
    entries = (
        Entry("2027-01-01", "reading", coolant=26.0, room=25.0, load=1.0),
        Entry("2027-01-02", "reading", coolant=35.0, room=25.0),
        Entry("2027-01-03", "reading", coolant=35.0, room=25.0, load=1.0, part="toaster", part_temperature=50.0),
        Entry("2027-01-04", "reading", coolant=35.0, room=25.0, heat=9000.0),
    )
    found = drift(upkeep(BOOTH), Log(Path("x"), entries))
    assert [t.day.size for t in found.trends] == [1]
    for words in ("2027-01-01: coolant is less than 2 K", "cools no toaster", "2027-01-04"):
        assert any(words in note for note in found.notes), words


# ------------------------------------------------------------------------------------------------- what is topped up


def poured(*amounts: float) -> Log:
    days = [date(2027, 1, 31) + timedelta(round(30.4 * (n + 1))) for n in range(len(amounts))]
    return Log(Path("x"), tuple(Entry(d, TOP_UP, topped_up=v) for d, v in zip(days, amounts, strict=True)))


def test_more_than_the_walls_let_through_is_a_leak_to_look_for():
    work = upkeep(READING_CUBE)
    found = drift(work, poured(*[25e-6] * 6), date(2027, 1, 17))
    assert found.lost == pytest.approx(25e-6, rel=0.01)
    assert found.expected == pytest.approx(work.loss[1] + 20e-6 / 6, rel=0.01)
    (row,) = found.warned()
    assert (row.signal, row.where, row.quantity) == ("caution", "reservoir", "water topped up a month")
    assert "leak" in row.action
    few = drift(work, poured(*[work.loss[1]] * 6), date(2027, 1, 17))
    assert few.lost == pytest.approx(work.loss[1], rel=0.01)
    assert few.warned() == []


def test_much_topped_up_within_weeks_speaks_at_once_and_a_filling_does_not():
    """The loop holds 0.76 L: by day after filling and mL, and whether it is too much."""
    first = date(2027, 1, 1)
    cases = (
        ([(3 * n, 100) for n in range(1, 10)], True),
        ([(3 * n, 25) for n in range(1, 10)], False),
        ([(1, 1000), (4, 1000), (60, 20)], True),
        ([(0, 580), (0, 150), (1, 50)], False),
        ([(30 * n, 30) for n in range(1, 36)], False),
        ([*((30 * n, 30) for n in range(1, 36)), (1100, 750)], True),
    )
    for poured, warned in cases:
        entries = tuple(Entry(first + timedelta(day), "top-up", topped_up=1e-6 * much) for day, much in poured)
        rows = drift(upkeep(BOOTH), Log(Path("x"), entries), first).warned()
        assert any(w.quantity == "topped up within weeks" for w in rows) == warned, poured


def test_without_a_day_of_filling_late_top_ups_count_as_late():
    """600 of 760 mL within four weeks, 300 days after the first line of the log."""
    days = [(0, 50), *((300 + 7 * n, 150) for n in range(4))]
    entries = tuple(Entry(date(2027, 1, 1) + timedelta(d), "top-up", topped_up=1e-6 * m) for d, m in days)
    rows = drift(upkeep(BOOTH), Log(Path("x"), entries)).warned()
    assert any(w.quantity == "topped up within weeks" for w in rows)


def test_flow_that_stopped_is_the_gravest_and_a_flush_ends_what_was_read_before():
    def warned(*entries):
        return [w.quantity for w in drift(upkeep(BOOTH), Log(Path("x"), entries)).warned()]

    stopped = Entry("2027-02-01", "reading", coolant=33.0, room=24.0, load=1.0, flow=0.0)
    assert "flow last read against the plan" in warned(stopped)
    assert warned(stopped, Entry("2027-02-02", "flush")) == []


def test_one_reading_can_be_odd_enough_to_speak():
    quantities = {"pH read": ("ph", (3.0, 12.0), 8.0), "flow last read against the plan": ("flow", (0.8e-5,), 4e-5)}
    for quantity, (field, odd, usual) in quantities.items():
        for value, warned in (*((v, True) for v in odd), (usual, False)):
            entry = Entry("2027-02-01", "reading", coolant=33.0, room=24.0, load=1.0, **{field: value})
            rows = drift(upkeep(BOOTH), Log(Path("x"), (entry,))).warned()
            assert any(w.quantity == quantity for w in rows) == warned, (field, value)


def test_what_goes_in_while_the_last_air_comes_out_does_not_count():
    work, filled = upkeep(READING_CUBE), date(2027, 1, 17)
    early = Entry("2027-01-25", TOP_UP, topped_up=80e-6)
    later = poured(0.0, 1e-7, 1e-7)
    found = drift(work, replace(later, entries=(early, *later.entries)), filled)
    assert found.lost < 1e-6
    assert math.isnan(drift(work, replace(later, entries=(early,)), filled).lost)
    # Without a day of filling the first top-up is where counting begins.
    assert drift(work, replace(later, entries=(early, *later.entries))).lost < 1e-6


# ------------------------------------------------------------------------------------------------- words and drawings


@each_example
@pytest.mark.parametrize("system", ["metric", "us"])
def test_every_view_of_every_plan_has_words_and_tables(own, path, system):
    plan = load_plan(path)
    for start, log in ((None, NOTHING), ("2027-01-31", NOTHING), ("2026-07-01", logged(plan, growth=0.3))):
        seen = look(plan, start, log, TODAY)
        said = upkeep_words.sentence(seen, system)
        assert said.endswith(".")
        assert (("No dates yet" in said) == (start is None)) and "!" not in said  # noqa: PT018
        for view in VIEWS:
            assert upkeep_words.table(seen, view, system) is not None
        assert len(upkeep_words.table(seen, TRENDS)) == len(seen.drift.trends)
        assert said in upkeep_words.alt(seen, system)
        assert all(words for _, words in upkeep_words.readouts(seen, system))
        assert all(upkeep_words.notes(seen, system))
        assert {r.signal for r in seen.warned(system)} <= set(rules.SIGNALS)


def test_what_is_late_is_told():
    seen = look(BOOTH, "2024-01-31", NOTHING, TODAY)
    assert upkeep_words.sentence(seen).startswith("Overdue: inspection, top-up, flush")
    seen = look(BOOTH, "2027-05-01", NOTHING, TODAY)
    assert upkeep_words.sentence(seen).startswith("Due: inspection. Next: top-up on 2027-08-01")
    with pytest.raises(InputError, match="start"):
        look(BOOTH, "2027-02-30", NOTHING, TODAY)
    with pytest.raises(InputError, match="view"):
        upkeep_words.table(seen, "all")


def drawn(seen, system="metric"):
    with style.look():
        figure = Figure(figsize=(8.8, 4.24), dpi=100)
        FigureCanvasAgg(figure)
        made = upkeep_figures.pictures(figure, system)
        before = [len(picture.moving) for picture in made]
        stepped = [picture.update(seen) for picture in made]
        assert stepped == [True, True, True]
        assert [picture.update(seen) for picture in made] == [False, False, False]
        assert [len(picture.moving) for picture in made] == before, "it made artists anew"
        figure.canvas.draw()
    return figure, made


CASES = {
    "empty": (None, lambda plan: NOTHING),
    "new": ("2027-05-31", lambda plan: NOTHING),
    "late": ("2020-02-29", lambda plan: NOTHING),
    "drifting": ("2026-07-01", lambda plan: logged(plan, growth=0.3, fall=0.2)),
}


@each_example
@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("system", ["metric", "us"])
def test_all_words_are_on_the_picture_and_large_enough(path, case, system):
    plan = load_plan(path)
    start, log = CASES[case]
    figure, made = drawn(look(plan, start, log(plan), TODAY), system)
    frame, renderer = figure.bbox, figure.canvas.get_renderer()
    words = [t for ax in figure.axes for t in (*ax.texts, *ax.get_xticklabels(), *ax.get_yticklabels()) if t.get_text()]
    assert len(words) > 15
    for text in words:
        place = text.get_window_extent(renderer)
        assert text.get_fontsize() >= style.SMALL
        assert place.x0 >= -1 and place.x1 <= frame.x1 + 1, text.get_text()  # noqa: PT018
        assert place.y0 >= -1 and place.y1 <= frame.y1 + 1, text.get_text()  # noqa: PT018


def test_the_time_line_has_every_due_day_of_two_years_and_what_was_done():
    log = Log(
        Path("x"), (Entry("2027-03-01", "inspection"), Entry("2027-06-01", "reading"), Entry("2026-07-01", "flush"))
    )
    seen = look(BOOTH, "2026-07-01", log, TODAY)
    _, (line, *_) = drawn(seen)
    until = TODAY + timedelta(upkeep_figures.AHEAD)
    for place, one in enumerate(seen.dues):
        days = [d for d in one.days(until) if d > TODAY]
        shown = [date.fromordinal(int(x)) for x in line.due[place].get_xdata()]
        assert [d for d in shown if d > TODAY] == days
        assert line.due[place].get_mfc() == "white"
        assert str(one.first) in line.days[place].get_text()
        assert one.job.name == line.names[place].get_text()
    assert line.done[0].get_xdata() == [date(2027, 3, 1).toordinal()]
    assert line.done[4].get_xdata() == [date(2027, 6, 1).toordinal()]
    assert list(line.done[2].get_xdata()) == []  # before what is drawn
    marks = {made.get_marker() for made in line.due}
    assert len(marks) == len(line.due)


def test_the_trends_are_those_of_the_log():
    seen = look(BOOTH, "2026-07-01", logged(BOOTH, growth=0.3, fall=0.2), TODAY)
    _, (_, resistance, flow) = drawn(seen)
    room, falls = seen.drift.trends
    assert resistance.dots[0].get_ydata() == pytest.approx(100 * room.ratio)
    assert flow.dots[0].get_ydata() == pytest.approx(100 * falls.ratio)
    assert resistance.fits[0].get_ydata()[-1] / resistance.fits[0].get_ydata()[0] == pytest.approx(1.3, rel=1e-2)
    assert "+30 %, stands out" in resistance.names[0].get_text()
    assert "−20 %, stands out" in flow.names[0].get_text()
    _, (_, nothing, _) = drawn(look(BOOTH, "2026-07-01", NOTHING, TODAY))
    assert "No readings" in nothing.none.get_text()
