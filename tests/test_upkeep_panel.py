"""The panel of upkeep: every example, controls to both ends, units, a line added or refused, the calendar, problems."""

import json
import re
from dataclasses import replace
from datetime import date, timedelta
from html import unescape
from pathlib import Path

import icalendar
import ipywidgets as widgets
import pytest
from examples import DEMO, EXAMPLES, SUITE, each_example
from on_the_page import put, words

from loopmath import load_plan, mine, service_log
from loopmath.panels import live
from loopmath.panels.upkeep import DUE, ORDER, REACHED, READ, VIEWS, upkeep
from loopmath.service_log import COLUMNS, JOBS, Entry

TODAY = date(2027, 6, 15)
every_view = pytest.mark.parametrize("view", list(VIEWS))


@pytest.fixture(autouse=True)
def own(tmp_path, monkeypatch):
    monkeypatch.setenv("LOOPMATH_MINE", str(tmp_path))
    monkeypatch.setattr(live, "ECHO", 0.0)
    return tmp_path


def opened(path=DEMO):
    return upkeep(load_plan(path), TODAY)


def typed(panel, **fields):
    for name, value in fields.items():
        panel.form[name].value = value
    panel.add_line()
    return panel.note.value


def written(own):
    return sorted(path for path in own.rglob("*") if path.is_file())


def filled_log(plan, count=8):
    path = service_log.log_path(plan)
    for number in range(count):
        day = TODAY - timedelta(days=14 * (count - number))
        grown = 30 + 1.5 * number
        service_log.append(path, Entry(day, "reading", coolant=grown, room=22.0, flow=5e-5, heat=300.0), TODAY)
    return path


@every_view
@each_example
def test_every_control_answers_at_both_ends_and_comes_back(path, view, own):
    panel = put(opened(path), ":view", view)
    before = words(panel)
    for control in panel.controls:
        widget, start = control.widget, control.widget.value
        if control.setting == ":view" or isinstance(widget, widgets.Text):
            continue
        slider = isinstance(widget, widgets.IntSlider)
        for end in (widget.min, widget.max) if slider else widget.options:
            widget.value = end
            assert panel.failed == "", (control.setting, end)
            assert panel.headline() in words(panel)
            assert panel.headline() in unescape(panel.live.alt)
            assert "nan" not in re.findall(r"[a-z]+", words(panel).lower()), (control.setting, end)
        widget.value = start
    assert words(panel) == before
    assert panel.settings() == {}
    assert written(own) == []


@each_example
def test_each_job_tells_its_own_cautions_and_steps(path):
    panel = opened(path)
    for job in JOBS:
        put(panel, ":job", job)
        said, wanted = words(panel), panel.solution.upkeep.jobs[job]
        assert all(line in said for line in (*wanted.cautions, *wanted.steps))
        assert "unplug" in said


@every_view
def test_units_change_everywhere_and_back(view):
    plan = load_plan(DEMO)
    filled_log(plan)
    panel = put(upkeep(plan, TODAY), ":view", view)
    panel.form["coolant"].value, panel.form["flow"].value = "35", "0.9 gal/min"
    before = words(panel)
    panel.units.value = "us"
    assert ("fl oz" in words(panel)) == (view != ORDER)
    assert ("°F" in words(panel)) == (view == READ)
    # The steps give the drained volume both ways; everything else is in the units asked for.
    assert not re.search(r"\d (mL|°C|L/min)\b(?! \()", words(panel))
    assert (panel.form["coolant"].value, panel.form["coolant"].description) == ("95", "Coolant, °F")
    assert panel.form["flow"].value == "0.9 gal/min"
    panel.units.value = "metric"
    assert words(panel) == before
    assert panel.form["coolant"].value == "35"


@each_example
def test_order_and_access_are_told_with_the_cautions_and_hide_what_does_not_count(path):
    panel = opened(path)
    for view in (ORDER, REACHED):
        put(panel, ":view", view)
        said, seen = words(panel), panel.solution
        assert "unplugged at the wall" in said
        assert "own instructions" in said
        names = [one.name for one in (seen.order.steps if view == ORDER else seen.reached)]
        assert all(name in said for name in names)
        assert [title for title, box in panel.boxes.items() if box.layout.display != "none"] == ["Look at"]
    put(panel, ":view", DUE)
    assert all(box.layout.display is None for box in panel.boxes.values())


def test_a_bad_day_holds_through_other_views_and_the_picture_of_the_view_comes_back():
    panel = put(opened(), ":filled", "soon")
    put(panel, ":view", ORDER)
    assert "soon" in panel.failed
    panel.units.value = "us"
    put(panel, ":filled", "2027-06-01")
    assert panel.failed == ""
    assert panel.headline() in words(panel)
    assert "steps" in panel.headline()
    put(panel, ":view", REACHED).write_calendar()
    assert ".ics" in panel.note.value


def test_hours_and_reserve_move_the_days():
    panel = put(opened(SUITE), ":filled", "2027-06-01")

    def first(job):
        return next(one.first for one in panel.solution.dues if one.job.name == job)

    before = first("strip"), first("top-up")
    put(panel, "hours_per_day", 24)
    assert first("strip") < before[0]  # a pump wears with use
    put(panel, ":reserve", 1)
    assert first("top-up") < before[1]
    assert panel.solution.upkeep.reserve == pytest.approx(1e-6)
    panel.units.value = "us"
    put(panel, ":reserve", panel._control(":reserve").widget.min)
    assert panel.solution.upkeep.jobs["top-up"].decided.name == "water through tube walls"


def test_the_day_it_was_filled_is_the_plans_else_the_logs_first_else_today():
    plan = load_plan(DEMO)
    assert opened()._control(":filled").value == "2027-06-15"
    assert "until then 2027-06-15 counts" in words(opened())
    service_log.append(service_log.log_path(plan), Entry("2027-01-02", "inspection"), TODAY)
    assert opened()._control(":filled").value == "2027-01-02"
    panel = upkeep(replace(plan, filled_on="2026-12-24"), TODAY)
    assert panel._control(":filled").value == "2026-12-24"
    assert "Type under Filled" not in words(panel)


@pytest.mark.parametrize("day", ["soon", "2027-02-30", "1999-01-01"])
def test_a_bad_day_is_refused_in_words_and_comes_back(day, own):
    panel = opened()
    before = words(panel)
    put(panel, ":filled", day)
    assert day in panel.failed
    panel.write_calendar()
    assert "No calendar was written" in panel.note.value
    put(panel, ":filled", "")
    assert panel.failed == ""
    assert "No dates yet" in words(panel)
    panel.write_calendar()
    assert "No calendar was written" in panel.note.value
    assert written(own) == []
    assert words(put(panel, ":filled", "2027-06-15")) == before


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_adding_a_line_adds_one_line_and_changes_the_picture(path, own):
    panel = opened(path)
    log = service_log.log_path(panel.plan)
    before = panel.live.html()
    note = typed(panel, day="2027-06-01", kind="flush", topped_up="120", ph="7,4", note="=new, coolant")
    assert str(log) in unescape(note)
    assert log.is_relative_to(own)
    assert len(log.read_text(encoding="utf-8").splitlines()) == 2
    (entry,) = service_log.read_log(log, TODAY).entries
    assert (entry.kind, entry.topped_up, entry.ph, entry.note) == ("flush", pytest.approx(120e-6), 7.4, "=new, coolant")
    assert panel.live.html() != before
    assert panel.solution.log.last("flush") == date(2027, 6, 1)
    assert all(panel.form[name].value == "" for name in ("topped_up", "ph", "note"))
    put(panel, ":view", READ)
    before = panel.live.html()
    typed(panel, day="2027-06-14", kind="reading", coolant="95 degF", room="72 degF", flow="0.8", heat="300 W")
    assert len(log.read_text(encoding="utf-8").splitlines()) == 3
    assert service_log.read_log(log, TODAY).entries[-1].coolant == pytest.approx(35.0)
    assert panel.live.html() != before
    assert written(own) == [log]


def test_numbers_without_a_unit_are_in_the_units_shown():
    panel = opened()
    panel.units.value = "us"
    typed(panel, kind="reading", topped_up="2", coolant="95", room="72.5", flow="0.95")
    (entry,) = service_log.read_log(service_log.log_path(panel.plan), TODAY).entries
    # A US fluid ounce is 29.5735 mL, a US gallon 3.785411784 L (NIST SP 811, appendix B).
    assert entry.topped_up == pytest.approx(2 * 29.5735e-6, rel=1e-5)
    assert (entry.coolant, entry.room) == (pytest.approx(35.0), pytest.approx(22.5))
    assert entry.flow == pytest.approx(0.95 * 3.785411784e-3 / 60)


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"day": "2027-06-31", "kind": "flush"}, "2027-06-31"),
        ({"day": "2028-01-01", "kind": "flush"}, "a day that has come"),
        ({"ph": "sour"}, "a number from 0 to 14"),
        ({"ph": "15"}, "15"),
        ({"coolant": "warm"}, "Coolant"),
        ({"coolant": "300"}, "300"),
        ({"flow": "3 kPa"}, "Flow"),
        ({"heat": "nan W"}, "Heat"),
        ({"topped_up": "-5 mL"}, "0"),
        ({}, "one thing that was read"),
    ],
)
def test_a_bad_field_is_refused_in_words_and_nothing_is_written(fields, said, own):
    panel = opened()
    before = words(panel)
    note = unescape(typed(panel, **fields))
    assert "Nothing was added." in note
    assert said in note
    assert words(panel) == before
    assert all(panel.form[name].value == value for name, value in fields.items())
    assert written(own) == []


def test_problems_of_the_log_are_told_with_their_line(own):
    plan = load_plan(DEMO)
    path = service_log.log_path(plan)
    path.parent.mkdir(parents=True)
    cells = ["2027-05-01", "reading", *[""] * (len(COLUMNS) - 2)]
    lines = [",".join(COLUMNS), ",".join(cells), "2027-05-02,inspected" + "," * (len(COLUMNS) - 2), "2027-04-01,note"]
    path.write_text("\n".join([*lines, ",".join(["2027-04-01", "note", *cells[2:]])]) + "\n", encoding="utf-8")
    raw = path.read_bytes()
    for view in (DUE, READ):
        said = words(put(upkeep(plan, TODAY), ":view", view))
        assert "Log, line 3 is left out" in said
        assert "Log, line 4 is left out" in said
        assert re.search(r"Log, line 5: +its date", said)
    assert path.read_bytes() == raw


def test_a_log_that_cannot_be_read_is_told(own):
    plan = load_plan(DEMO)
    service_log.log_path(plan).mkdir(parents=True)
    panel = upkeep(plan, TODAY)
    assert "a file that can be read" in words(panel)
    assert "Nothing was added" in typed(panel, kind="inspection")
    panel.write_calendar()
    assert "No calendar was written" in panel.note.value


def test_a_drift_is_a_caution_in_both_views_and_a_flush_ends_it():
    plan = load_plan(DEMO)
    filled_log(plan)
    panel = upkeep(plan, TODAY)
    for view in (DUE, READ):
        put(panel, ":view", view)
        assert "resistance to room grown by" in words(panel)
    assert "stands out" in words(panel)
    typed(panel, day=TODAY.isoformat(), kind="flush")
    assert "resistance to room grown by" not in words(panel)


def test_the_calendar_goes_beside_the_plan_and_holds_every_job(own):
    panel = put(opened(), ":filled", "2027-06-01")
    panel.write_calendar()
    (path,) = written(own)
    assert path.suffix == ".ics"
    assert str(path) in unescape(panel.note.value)
    events = icalendar.Calendar.from_ical(path.read_text(encoding="utf-8")).walk("VEVENT")
    assert [event["dtstart"].dt for event in events] == [one.first for one in panel.solution.dues]
    put(panel, "hours_per_day", 24).write_calendar()
    assert written(own) == [path]


def test_the_day_typed_is_saved_with_the_plan(own):
    panel = put(put(opened(), ":filled", "2027-06-01"), "hours_per_day", 12)
    put(panel, ":reserve", 100)
    before = panel.solution.upkeep.reserve
    panel.save_plan()
    (path,) = [path for path in written(own) if path.suffix == ".toml" and path.parent.name == "plans"]
    assert load_plan(path).filled_on == "2027-06-01"
    assert load_plan(path).hours_per_day == 12
    assert panel.answer(panel.planned()).upkeep.reserve == before


def test_no_kernel_still_shows_it():
    panel = opened()
    assert panel.headline() in unescape(panel._repr_mimebundle_()["text/html"])
    assert panel.own("view") == DUE


@each_example
def test_the_page_runs_with_every_plan_and_writes_nothing(path, own):
    mine.choose(path)
    before, names = written(own), {}
    (page,) = (Path(__file__).resolve().parent.parent / "workbook").glob("13_*.ipynb")
    for cell in json.loads(page.read_text(encoding="utf-8"))["cells"]:
        if cell["cell_type"] == "code":
            exec("".join(cell["source"]), names)
    assert names["panel"].plan.title == load_plan(path).title
    assert names["panel"].failed == ""
    assert written(own) == before
