"""When each job of upkeep is due, and those days as a calendar file ([RFC5545]_) that any calendar can take in."""

import calendar
import re
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import icalendar
import pandas as pd

from loopmath import files, mine
from loopmath.checks import InputError, between
from loopmath.files import Saved
from loopmath.plan import Plan
from loopmath.service_log import EARLIEST, JOBS, LATEST, Log, dated
from loopmath.upkeep import FIRST, Job, Upkeep, span

#: What a calendar shows of each job.
TITLES = dict(
    zip(JOBS, ("Look the loop over", "Top up the coolant", "Flush the loop", "Strip and clean the loop"), strict=True)
)
#: From so many months on a job is repeated by whole months, before that by weeks.
BY_MONTHS = 3.0
#: The names by which a calendar knows an event again are made from this one and the name of the plan's file.
_OURS = uuid.uuid5(uuid.NAMESPACE_URL, "urn:loopmath:upkeep")
#: Who wrote a calendar file.
PRODID = "-//loopmath//upkeep of a liquid-cooling loop//EN"
#: Days before the day at which a calendar reminds, at nine in the morning.
REMINDED = 3
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f]")


@dataclass(frozen=True)
class Due:
    """
    When a job is due.

    Attributes
    ----------
    job : Job
    since : date
        When it was last done, or the loop filled.
    months, weeks : int
        What it is repeated by; one of the two is 0.
    """

    job: Job
    since: date
    months: int
    weeks: int

    def day(self, number: int) -> date | None:
        """Return the day it is due for the nth time, from 1; None after 2099."""
        if self.weeks:
            ahead = self.since.toordinal() + 7 * self.weeks * number
            return date.fromordinal(ahead) if ahead < LATEST.toordinal() else None
        return months_after(self.since, self.months * number)

    @property
    def first(self) -> date:
        """The next day it is due."""
        return self.day(1) or LATEST - timedelta(days=1)

    @property
    def latest(self) -> date:
        """The day from which it is overdue."""
        return min(self.since + timedelta(days=round(30.4 * self.job.high)), LATEST - timedelta(days=1))

    def days(self, until: date) -> Iterator[date]:
        """Yield the days it is due up to a day."""
        number = 1
        while (day := self.day(number)) is not None and day <= until:
            yield day
            number += 1

    @property
    def every(self) -> str:
        """How often, in words."""
        count, unit = (self.weeks, "week") if self.weeks else (self.months, "month")
        return f"every {unit}" if count == 1 else f"every {count} {unit}s"

    @property
    def rule(self) -> dict[str, Any]:
        """
        How a calendar repeats it (RFC 5545, 3.3.10).

        A month without the day is passed over by the plain monthly rule, so a loop filled on the 31st names all days
        from the 28th and takes the last there is.
        """
        if self.weeks:
            return {"FREQ": "WEEKLY", "INTERVAL": self.weeks}
        late = {"BYMONTHDAY": list(range(28, self.since.day + 1)), "BYSETPOS": -1} if self.since.day > 28 else {}
        return {"FREQ": "MONTHLY", "INTERVAL": self.months} | late


def months_after(day: date, months: int) -> date | None:
    """
    Return the same day so many months later, or the last of that month where it is shorter; None after 2099.

    Examples
    --------
    >>> months_after(date(2027, 1, 31), 1), months_after(date(2028, 2, 29), 12)
    (datetime.date(2027, 2, 28), datetime.date(2029, 2, 28))
    """
    year, month = divmod(12 * day.year + day.month - 1 + months, 12)
    if year >= LATEST.year:
        return None
    return date(year, month + 1, min(day.day, calendar.monthrange(year, month + 1)[1]))


def filled(plan: Plan, start: Any = None) -> date:
    """
    Return the day a loop was filled: a given one, else the plan's.

    Raises
    ------
    InputError
        If there is none, or it is no day from 2000 to 2099.
    """
    day = start or plan.filled_on
    if not day:
        raise InputError("filled_on", "", "a date such as 2026-03-01", "Say when the loop was filled last.")
    return dated("filled_on" if start is None else "start", day)


def due(upkeep: Upkeep, start: Any = None, log: Log | None = None) -> tuple[Due, ...]:
    """
    Return when each job is due, in the order of `service_log.JOBS`.

    Parameters
    ----------
    upkeep : Upkeep
    start : date or str, optional
        When the loop was filled; by default `plan.filled_on`.
    log : Log, optional
        What was done since: a job counts from the day it, or one that includes it, was last done.

    Raises
    ------
    InputError
        As `filled`.
    """
    begun = filled(upkeep.plan, start)
    out = []
    for name, job in upkeep.jobs.items():
        last = log.last(name) if log is not None else None
        exact = abs(job.low - round(job.low)) < 1e-9 and round(job.low) > 0
        months = int(job.low + 1e-9) if exact or job.low >= BY_MONTHS else 0
        weeks = 0 if months else max(int(job.low * 30.4 / 7.0 + 1e-9), 1)
        out.append(Due(job, max(begun, last or EARLIEST), months, weeks))
    return tuple(out)


def table(dues: tuple[Due, ...]) -> pd.DataFrame:
    """Return a row for each job: when it is due next and again, from when it is overdue, and what decided it."""
    rows = [(d.job.name, d.since, d.first, d.latest, d.every, d.job.decided.name, d.job.decided.source) for d in dues]
    columns = ["job", "counted from", "due", "overdue from", "again", "decided by", "source"]
    return pd.DataFrame([tuple(map(str, row)) for row in rows], columns=columns)


# ------------------------------------------------------------------------------------------------- a calendar file


def described(job: Job) -> str:
    """Return what a calendar says about a job: how often and why, cautions, steps."""
    why = f"Every {span(job.low, job.high)} months: {job.decided.name}. {job.decided.why} ({job.decided.source})"
    cautions = [f"CAUTION: {words}" for words in job.cautions]
    steps = [f"{number}. {words}" for number, words in enumerate(job.steps, start=1)]
    return "\n".join([why, FIRST, "", *cautions, "", *steps])


def calendar_text(plan: Plan, dues: tuple[Due, ...], made: datetime | None = None, ahead: int = REMINDED) -> str:
    """
    Return the days as a calendar: an all-day event for each job, which repeats.

    Parameters
    ----------
    plan : Plan
        Its title stands in the events; the name of its file makes the names by which a calendar knows them again.
    dues : tuple of Due
    made : datetime, optional
        When it was written, with its time zone; by default now.
    ahead : int
        Days before at which a calendar reminds, 1 to 60.

    Raises
    ------
    InputError
        If `ahead` is out of its range, or the title cannot stand in UTF-8.

    Notes
    -----
    UIDs are the same at every writing, so a calendar that takes the file in again puts the new days in the place of the
    old (by RFC 5546, 2.1.5, the later DTSTAMP counts).
    """
    ahead = int(between("days before", ahead, 1, 60))
    whole = icalendar.Calendar()
    whole.add("prodid", PRODID)
    whole.add("version", "2.0")
    for one in dues:
        title = _CONTROL.sub(" ", f"{TITLES[one.job.name]}: {plan.title}")
        event = icalendar.Event()
        event.add("uid", str(uuid.uuid5(_OURS, f"{mine.own_path(plan).stem}/{one.job.name}")))
        event.add("dtstamp", (made or datetime.now(UTC)).astimezone(UTC).replace(microsecond=0))
        event.add("dtstart", one.first)
        event.add("rrule", one.rule)
        event.add("summary", title)
        event.add("description", _CONTROL.sub(" ", described(one.job)))
        event.add("transp", "TRANSPARENT")  # a day with a job is not a day that is taken
        alarm = icalendar.Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("description", title)
        alarm.add("trigger", timedelta(hours=9 - 24 * ahead))
        event.add_component(alarm)
        whole.add_component(event)
    try:
        return whole.to_ical().decode("utf-8")
    except UnicodeEncodeError:
        raise InputError("title", plan.title, "text that UTF-8 can hold", "Half a sign stands in it.") from None


def calendar_path(plan: Plan) -> Path:
    """Return where the calendar file of a plan goes: beside the plan's own file."""
    return mine.own_path(plan).with_suffix(".ics")


def write_calendar(plan: Plan, dues: tuple[Due, ...], path: Path | None = None, made: datetime | None = None) -> Saved:
    """
    Write the calendar file of a plan, whole or not at all.

    A calendar file written here before is written anew; anything else that stands there is left alone, and the calendar
    goes into a second file beside it.

    Returns
    -------
    saved : Saved

    Raises
    ------
    InputError
        As `calendar_text`, or if the folder cannot be written to.
    """
    path, text = Path(path or calendar_path(plan)), calendar_text(plan, dues, made)
    target, number, before = path, 2, None
    while target.exists():
        before = files.read_text(target, "calendar file")
        if f"\nPRODID:{PRODID}" in before.text.replace("\r", ""):
            break
        target, number, before = path.with_name(f"{path.stem}-{number}{path.suffix}"), number + 1, None
    saved = files.save_over(target, text, before, "calendar file")
    if target == path:
        return saved
    return Saved(saved.path, f"{saved.words} {path.name} is no calendar written here, so it was left alone.")
