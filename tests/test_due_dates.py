"""Days that are due and their calendar file, read back by the text of RFC 5545 and not by what wrote it."""

import calendar
import re
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from dateutil.rrule import rrulestr
from examples import each_example
from hypothesis import given
from hypothesis import strategies as st

from loopmath import InputError, demo_plan, load_plan
from loopmath.due_dates import (
    Due,
    calendar_path,
    calendar_text,
    described,
    due,
    filled,
    months_after,
    table,
    write_calendar,
)
from loopmath.service_log import JOBS, Entry, Log
from loopmath.upkeep import Job, Reason, upkeep

MADE = datetime(2027, 1, 2, 3, 4, 5, tzinfo=UTC)


# --------------------------------------------------------------------------- a reader of our own, by the RFC's text


def unfolded(text: str) -> list[str]:
    """RFC 5545, 3.1: a line break and one blank or tab are taken out."""
    assert text.endswith("\r\n")
    return re.sub("\r\n[ \t]", "", text).removesuffix("\r\n").split("\r\n")


def unescaped(value: str) -> str:
    r"""RFC 5545, 3.3.11: \\, \; and \, are those signs, \n and \N a line end."""
    return re.sub(r"\\(.)", lambda m: "\n" if m[1] in "nN" else m[1], value)


def parsed(text: str) -> dict:
    """Return a component as {name: [(parameters, value)]}, its parts under "parts"."""
    stack = [{"parts": []}]
    for line in unfolded(text):
        head, _, value = line.partition(":")
        name, *parameters = head.split(";")
        assert re.fullmatch(r"[A-Z-]+", name), line
        if name == "BEGIN":
            stack.append({"is": value, "parts": []})
        elif name == "END":
            done = stack.pop()
            assert done["is"] == value
            stack[-1]["parts"].append(done)
        else:
            stack[-1].setdefault(name, []).append((parameters, value))
    (whole,) = stack[0]["parts"]
    return whole


def test_the_reader_takes_the_rfcs_own_examples():
    # RFC 5545, 3.1 (from memory).
    folded = "DESCRIPTION:This is a lo\r\n ng description\r\n  that exists on a long line.\r\n"
    assert unfolded(folded) == ["DESCRIPTION:This is a long description that exists on a long line."]
    # RFC 5545, 3.3.11 (from memory).
    told = r"Project XYZ Final Review\nConference Room - 3B\nCome Prepared."
    assert unescaped(told) == "Project XYZ Final Review\nConference Room - 3B\nCome Prepared."


# ------------------------------------------------------------------------------------------------------- the days


@pytest.mark.parametrize(
    ("day", "months", "then"),
    [
        ("2027-01-31", 1, "2027-02-28"),
        ("2028-01-31", 1, "2028-02-29"),
        ("2028-02-29", 12, "2029-02-28"),
        ("2028-02-29", 48, "2032-02-29"),
        ("2027-11-30", 3, "2028-02-29"),
        ("2027-12-15", 1, "2028-01-15"),
        ("2027-08-31", 6, "2028-02-29"),
    ],
)
def test_months_end_where_the_shorter_month_ends(day, months, then):
    assert str(months_after(date.fromisoformat(day), months)) == then


def test_no_day_is_made_beyond_what_is_accepted():
    assert months_after(date(2099, 11, 30), 2) is None


def one(low: float, since: str, high: float = 60.0) -> Due:
    job = Job("flush", (Reason("why", low, high, "Because.", "here"),), ("Mind it.",), ("Do it.",))
    (made,) = due(replace(UPKEEP, jobs={"flush": job}), since)
    return made


UPKEEP = upkeep(demo_plan())


@pytest.mark.parametrize(
    ("low", "every", "first"),
    [
        (1.0, "every month", "2027-03-28"),
        (0.25, "every week", "2027-03-07"),
        (1.5, "every 6 weeks", "2027-04-11"),
        (2.99, "every 12 weeks", "2027-05-23"),
        (3.9, "every 3 months", "2027-05-28"),
        (12.0, "every 12 months", "2028-02-28"),
    ],
)
def test_an_interval_becomes_weeks_or_whole_months_and_never_longer(low, every, first):
    made = one(low, "2027-02-28")
    assert (made.every, str(made.first)) == (every, first)
    assert (made.first - made.since).days <= 30.4 * low + 3  # a month has up to 31 days, not 30.4


@given(
    start=st.dates(date(2024, 1, 1), date(2030, 12, 31)),
    low=st.sampled_from([0.25, 1.0, 1.5, 2.0, 3.0, 5.2, 6.0, 12.0, 24.0]),
)
def test_what_a_calendar_repeats_are_the_days_that_are_due(start, low):
    """RFC 5545, 3.3.10: a day that a month does not have is passed over; dateutil knows the rule independently."""
    made, until = one(low, str(start)), start + timedelta(days=1500)
    event = parsed(calendar_text(demo_plan(), (made,), MADE))["parts"][0]
    ((parameters, begins),) = event["DTSTART"]
    assert parameters == ["VALUE=DATE"]
    rule = rrulestr(event["RRULE"][0][1], dtstart=datetime.strptime(begins, "%Y%m%d"))
    expected = [
        d.date() for d in rule.between(datetime(2000, 1, 1), datetime.combine(until, datetime.min.time()), inc=True)
    ]
    assert expected == list(made.days(until))
    if made.months:
        assert all(d.day == min(start.day, calendar.monthrange(d.year, d.month)[1]) for d in expected)


def test_a_job_counts_from_when_it_or_a_greater_one_was_done():
    log = Log(calendar_path(demo_plan()), (Entry("2027-03-01", "flush"), Entry("2027-05-01", "inspection")))
    since = {d.job.name: str(d.since) for d in due(UPKEEP, "2027-01-01", log)}
    assert since == {"inspection": "2027-05-01", "top-up": "2027-03-01", "flush": "2027-03-01", "strip": "2027-01-01"}
    # It was filled anew after that.
    assert {str(d.since) for d in due(UPKEEP, "2027-06-01", log)} == {"2027-06-01"}


@pytest.mark.parametrize("wrong", ["2027-02-29", "31.1.2027", "soon", "1027-01-01", "2100-01-01", 7])
def test_a_wrong_date_is_refused_in_words(wrong):
    with pytest.raises(InputError, match="a date from 2000 to 2099") as told:
        due(UPKEEP, wrong)
    assert told.value.field == "start"


def test_without_a_date_it_says_so():
    with pytest.raises(InputError, match="filled_on"):
        filled(demo_plan())
    assert filled(demo_plan(), "2028-02-29") == date(2028, 2, 29)


@each_example
def test_every_plan_has_its_table_of_days(path):
    found = table(due(upkeep(load_plan(path)), "2027-01-31"))
    assert found["job"].tolist() == list(JOBS)
    assert (found["due"] <= found["overdue from"]).all()
    assert (found["source"] != "").all()


# ------------------------------------------------------------------------------------------------------- the file


def text_of(title: str = "Booth", made: datetime = MADE, start: str = "2027-01-31") -> str:
    plan = replace(demo_plan(), title=title)
    return calendar_text(plan, due(upkeep(plan), start), made)


def test_lines_end_and_fold_as_the_rfc_says():
    """RFC 5545, 3.1: CRLF, no line longer than 75 octets; no sign of UTF-8 is cut in two."""
    text = text_of("Wärmetauscher für Büro – größer, kühler; leiser \\ 静音" * 3)
    raw = text.encode("utf-8")
    assert raw.count(b"\n") == raw.count(b"\r\n") == raw.count(b"\r")
    lines = raw.split(b"\r\n")
    assert max(map(len, lines)) <= 75
    assert any(line.startswith(b" ") for line in lines)
    for line in lines:
        line.decode("utf-8")


def test_every_property_that_must_be_there_is_there_once():
    whole = parsed(text_of())
    assert whole["is"] == "VCALENDAR"
    assert [whole[name][0][1] for name in ("VERSION",)] == ["2.0"]  # 3.7.4
    assert len(whole["PRODID"]) == 1  # 3.7.3
    assert [event["is"] for event in whole["parts"]] == ["VEVENT"] * len(JOBS)
    for event in whole["parts"]:
        for name in ("UID", "DTSTAMP", "DTSTART", "SUMMARY", "DESCRIPTION", "RRULE"):  # 3.6.1: each at most once
            assert len(event[name]) == 1, name
        assert event["DTSTAMP"] == [([], "20270102T030405Z")]  # 3.8.7.2: in UTC
        assert {"DTEND", "DURATION"}.isdisjoint(event)  # 3.6.1: a date alone is one day
        (alarm,) = event["parts"]
        assert alarm["is"] == "VALARM"
        assert alarm["ACTION"] == [([], "DISPLAY")]  # 3.6.6: a display needs action, description, trigger
        assert len(alarm["DESCRIPTION"]) == 1
        assert alarm["TRIGGER"] == [([], "-P2DT15H")]  # three days before, at nine in the morning


@pytest.mark.parametrize(
    "title",
    [
        "Würfel, groß; mit \\ und \\n darin",
        "Project XYZ Final Review\nConference Room - 3B\nCome Prepared.",  # RFC 5545, 3.3.11
        'said "so": a=b;c,d',
        "静かな机",
        "x" * 300,
    ],
)
def test_titles_read_back_whole(title):
    for event in parsed(text_of(title))["parts"]:
        assert unescaped(event["SUMMARY"][0][1]).endswith(f": {title}")


def test_the_rfcs_example_is_escaped_as_the_rfc_writes_it():
    """RFC 5545, 3.3.11 (from memory)."""
    told = unfolded(text_of("Project XYZ Final Review\nConference Room - 3B\nCome Prepared."))
    assert any(r"Project XYZ Final Review\nConference Room - 3B\nCome Prepared." in line for line in told)


@given(title=st.text(min_size=1, max_size=120))
def test_any_title_gives_a_file_that_reads_back(title):
    text = text_of(title)
    assert max(len(line.encode()) for line in text.split("\r\n")) <= 75
    assert not re.search("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]", text)
    assert len(parsed(text)["parts"]) == len(JOBS)


def test_half_a_sign_in_a_title_is_refused():
    with pytest.raises(InputError, match="UTF-8") as told:
        text_of("half a sign \ud83d")
    assert told.value.field == "title"


def test_the_words_of_a_job_are_all_in_its_event():
    whole = parsed(text_of())
    for event, made in zip(whole["parts"], due(UPKEEP, "2027-01-31"), strict=True):
        words = unescaped(event["DESCRIPTION"][0][1])
        assert words == described(made.job)
        for said in (*made.job.cautions, *made.job.steps, made.job.decided.source):
            assert said in words
        assert "unplug" in words


def test_a_second_writing_updates_and_does_not_double():
    first, later = (parsed(text_of("Booth", made, start)) for made, start in
                    ((MADE, "2027-01-31"), (MADE + timedelta(days=9), "2027-05-05")))  # fmt: skip
    uids = [[event["UID"][0][1] for event in whole["parts"]] for whole in (first, later)]
    assert uids[0] == uids[1]
    assert len(set(uids[0])) == len(JOBS)
    # RFC 5546, 2.1.5 (from memory): of equal UIDs the later stamp counts.
    assert first["parts"][0]["DTSTAMP"] < later["parts"][0]["DTSTAMP"]
    renamed = parsed(text_of("Another title"))
    assert [event["UID"][0][1] for event in renamed["parts"]] == uids[0]
    plan = replace(demo_plan(), origin=None, title="Other loop")
    other = parsed(calendar_text(plan, due(UPKEEP, "2027-01-31"), MADE))
    assert {event["UID"][0][1] for event in other["parts"]}.isdisjoint(uids[0])


@pytest.mark.parametrize("ahead", [0, 61, float("nan")])
def test_a_reminder_out_of_range_is_refused(ahead):
    with pytest.raises(InputError, match="days before"):
        calendar_text(demo_plan(), due(UPKEEP, "2027-01-31"), MADE, ahead)


def test_it_is_written_beside_the_plan_and_written_anew(own):
    plan = demo_plan()
    dues = due(UPKEEP, "2027-01-31")
    first = write_calendar(plan, dues, made=MADE)
    assert first.path == calendar_path(plan) == own / "plans" / "podcast_booth.ics"
    again = write_calendar(plan, due(UPKEEP, "2027-03-01"), made=MADE + timedelta(days=1))
    assert again.path == first.path
    assert again.path.read_bytes().decode() == calendar_text(plan, due(UPKEEP, "2027-03-01"), MADE + timedelta(days=1))
    assert [p.name for p in first.path.parent.iterdir()] == [first.path.name]


def test_a_file_that_is_not_ours_is_left_alone_and_told(own):
    plan, path = demo_plan(), own / "plans" / "podcast_booth.ics"
    path.parent.mkdir(parents=True)
    mine = b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//mine//EN\r\nEND:VCALENDAR\r\n"
    path.write_bytes(mine)
    saved = write_calendar(plan, due(UPKEEP, "2027-01-31"), made=MADE)
    assert path.read_bytes() == mine
    assert saved.path.name == "podcast_booth-2.ics"
    assert "left alone" in saved.words
    again = write_calendar(plan, due(UPKEEP, "2027-02-01"), made=MADE)  # that one is ours
    assert again.path == saved.path
    assert path.read_bytes() == mine
    with pytest.raises(InputError, match="calendar file"):
        write_calendar(plan, due(UPKEEP, "2027-01-31"), own)
