"""What a page of upkeep shows of a plan: what is due, how it is done, what was done, whether it drifts."""

from dataclasses import dataclass
from datetime import date
from typing import Any

import pandas as pd

from loopmath import due_dates, rules, service_log
from loopmath.checks import InputError, one_of
from loopmath.drift import Drift, drift
from loopmath.due_dates import Due
from loopmath.plan import Plan
from loopmath.rules import Warned
from loopmath.service_log import JOBS, Log
from loopmath.units import DISPLAY, show
from loopmath.upkeep import FIRST, Upkeep, upkeep

DUE, STEPS, LOG, TRENDS = VIEWS = (
    "what is due when",
    "how each job is done",
    "what was done and read",
    "whether it drifts",
)


@dataclass(frozen=True, eq=False)
class Looked:
    """
    The upkeep of a plan on a day.

    Attributes
    ----------
    upkeep : Upkeep
    dues : tuple of Due
        Empty while it is not known when the loop was filled.
    log : Log
    drift : Drift
    today : date
    trouble : str
        Why there are no dates.
    """

    upkeep: Upkeep
    dues: tuple[Due, ...]
    log: Log
    drift: Drift
    today: date
    trouble: str = ""

    @property
    def plan(self) -> Plan:
        """The plan that was looked at."""
        return self.upkeep.plan

    def warned(self, system: str = "metric") -> list[Warned]:
        """Return what the rules say of plan and log."""
        facts = [*self.upkeep.solution.facts, *self.drift.facts]
        return rules.warnings_of(facts, system, self.plan.house_rules)


def look(plan: Plan, start: Any = None, log: Log | None = None, today: date | None = None, **how: Any) -> Looked:
    """
    Look at the upkeep of a plan.

    Parameters
    ----------
    plan : Plan
        One design.
    start : date or str, optional
        When it was filled; by default as the plan says.
    log : Log, optional
        By default what stands in `service_log.log_path(plan)`.
    today : date, optional
    how
        `reserve`, `life`, `hours` of `upkeep.upkeep`.

    Raises
    ------
    InputError
        As `upkeep.upkeep` and `service_log.read_log`, and for a `start` that is no date.
    """
    today = today or date.today()
    work = upkeep(plan, **how)
    log = service_log.read_log(service_log.log_path(plan), today) if log is None else log
    try:
        filled, trouble = due_dates.filled(plan, start), ""
    except InputError as problem:
        if start:
            raise
        filled, trouble = None, str(problem)
    dues = due_dates.due(work, filled, log) if filled else ()
    return Looked(work, dues, log, drift(work, log, filled), today, trouble)


def sentence(seen: Looked, system: str = "metric") -> str:
    """Return the upkeep in a sentence or two a builder would say."""
    if not seen.dues:
        return f"No dates yet. {seen.trouble} {rules.told(seen.drift.warned(system))}"
    late = [one.job.name for one in seen.dues if one.latest <= seen.today]
    now = [one.job.name for one in seen.dues if one.first <= seen.today and one.job.name not in late]
    following = min((one for one in seen.dues if one.first > seen.today), key=lambda one: one.first, default=None)
    said = [f"Overdue: {', '.join(late)}."] if late else []
    said += [f"Due: {', '.join(now)}."] if now else []
    if following is not None:
        said.append(f"Next: {following.job.name} on {following.first}, {following.job.decided.name}.")
    told = rules.told(seen.drift.warned(system)) if seen.log.entries else "No readings yet."
    return " ".join([*said, f"By the log, of drift and leaks: {told[:1].lower()}{told[1:]}"])


def readouts(seen: Looked, system: str = "metric") -> list[tuple[str, str]]:
    """Return the figures under the picture: what, and how much."""
    found = [(one.job.name, str(one.first)) for one in seen.dues]
    found.append(("runs a day", f"{seen.upkeep.hours:g} h"))
    found.append(("reserve of the tank", show(seen.upkeep.reserve, "volume", system)))
    return [*found, ("topped up a month", show(seen.drift.lost, "volume", system))]


def table(seen: Looked, view: str, system: str = "metric") -> pd.DataFrame:
    """
    Return the table of one of `VIEWS`, in "metric" or "us" units.

    Raises
    ------
    InputError
        If view or system is unknown.
    """
    one_of("system", system, DISPLAY)
    view = one_of("view", view, VIEWS)
    if view == DUE:
        return due_dates.table(seen.dues) if seen.dues else seen.upkeep.table()
    if view == LOG:
        return seen.log.table(system)
    if view == TRENDS:
        return seen.drift.table()
    rows = [
        (job, kind, number, words)
        for job in JOBS
        for kind, said in (("caution", seen.upkeep.jobs[job].cautions), ("step", seen.upkeep.jobs[job].steps))
        for number, words in enumerate(said, start=1)
    ]
    return pd.DataFrame(rows, columns=["job", "what", "number", "words"])


def notes(seen: Looked, system: str = "metric") -> list[str]:
    """Return what stands behind the figures, in sentences."""
    return [FIRST, seen.upkeep.lost(system), seen.log.words, *seen.drift.notes]


def alt(seen: Looked, system: str = "metric") -> str:
    """Return the drawings in words."""
    drawn = "A time line of two years: a row for each job with its due days, what was done marked by filled signs; "
    return f"{drawn}beside it the trends of the log against the plan. {sentence(seen, system)}"
