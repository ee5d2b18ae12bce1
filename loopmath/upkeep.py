"""
How often a loop is looked at, topped up, flushed and stripped, why, and how each is done.

A job has as many reasons as speak for a plan; each has a low and a high number of months, and the earliest decides.
What the bottle and the instructions of the parts say goes before all of them.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from loopmath import loop as tree
from loopmath import pockets, rules, tables, wetted
from loopmath.checks import InputError, between
from loopmath.designs import number_of_designs, one_design
from loopmath.laws import coolant as coolants
from loopmath.laws import materials
from loopmath.passages import void_of
from loopmath.plan import Plan
from loopmath.service_log import FLUSH, JOBS, TOP_UP
from loopmath.solution import Solution, solved
from loopmath.tube_ends import HUMIDITY, MONTH, TOPPED_UP
from loopmath.units import DISPLAY, show

#: Hours a day for which the table's months hold where something wears with use (common practice, no source). [h]
USUAL_HOURS = 8.0
#: No job is done oftener than weekly or left for more than five years. [months]
SOONEST, LONGEST = 7.0 / 30.4, 60.0
#: Said beside every interval.
FIRST = "What the bottle and the instructions of the parts say goes before this table."


@dataclass(frozen=True)
class Reason:
    """Why a job is done, after how many months at the earliest and the latest, and where that is from."""

    name: str
    low: float
    high: float
    why: str
    source: str


@dataclass(frozen=True)
class Job:
    """
    A job of upkeep.

    Attributes
    ----------
    name : str
        One of `service_log.JOBS`.
    reasons : tuple of Reason
        The earliest first: it decides.
    cautions, steps : tuple of str
        What to heed, then what to do, in order.
    """

    name: str
    reasons: tuple[Reason, ...]
    cautions: tuple[str, ...]
    steps: tuple[str, ...]

    @property
    def decided(self) -> Reason:
        """The reason that decides."""
        return self.reasons[0]

    @property
    def low(self) -> float:
        """Months after which it is due."""
        return self.decided.low

    @property
    def high(self) -> float:
        """Months after which it is overdue: no reason bears more."""
        return min(reason.high for reason in self.reasons)


@dataclass(frozen=True, eq=False)
class Upkeep:
    """
    What a loop asks for.

    Attributes
    ----------
    plan : Plan
    solution : Solution
        Its steady answer.
    jobs : dict of str to Job
        In the order of `service_log.JOBS`.
    loss : (low, high)
        Water that passes the tube walls, off and on together; NaN where it is not known. [m3 a month]
    reserve : float
        What the tank can lose before air is drawn. [m3]
    hours : float
        It runs so many hours a day.
    """

    plan: Plan
    solution: Solution
    jobs: dict[str, Job]
    loss: tuple[float, float]
    reserve: float
    hours: float

    def table(self) -> pd.DataFrame:
        """Return a row for each job: when, what decided it, why, and where that is from."""
        rows = [
            {
                "job": job.name,
                "every [months]": span(job.low, job.high),
                "decided by": job.decided.name,
                "why": job.decided.why,
                "source": job.decided.source,
            }
            for job in self.jobs.values()
        ]
        return pd.DataFrame(rows)

    def reasons(self) -> pd.DataFrame:
        """Return a row for each reason of each job, the one that decides first."""
        rows = [
            (job.name, reason.name, span(reason.low, reason.high), reason.why, reason.source)
            for job in self.jobs.values()
            for reason in job.reasons
        ]
        return pd.DataFrame(rows, columns=["job", "reason", "every [months]", "why", "source"])

    def lost(self, system: str = "metric") -> str:
        """Return in a sentence what passes the tube walls, and what the tank can lose."""
        if not np.isfinite(self.loss[1]):
            return f"What passes the tube walls is not known: {self.solution.plight}"
        if self.loss[1] <= 0:
            return "No water passes the tube walls."
        shown = DISPLAY[system]["volume"]
        much = f"{span(*map(shown.convert, self.loss))} {shown.label}"
        room = f"the tank can lose {shown.text(self.reserve)} before air is drawn"
        return f"Tube walls let {much} of water through a month; {room if self.reserve else 'there is no tank'}."


def span(low: float, high: float) -> str:
    """
    Return a low and a high number by two digits that count.

    Examples
    --------
    >>> span(1.0, 3.0), span(0.25, 12.4)
    ('1 to 3', '0.25 to 12')
    """
    return f"{low:.2g} to {high:.2g}"


def upkeep(
    plan: Plan,
    solution: Solution | None = None,
    reserve: float | None = None,
    life: tuple[float, float] | None = None,
    hours: float | None = None,
) -> Upkeep:
    """
    Work out what upkeep a loop asks for.

    Parameters
    ----------
    plan : Plan
        One design.
    solution : Solution, optional
        Its steady answer, if it is at hand.
    reserve : float, optional
        What the tank can lose before air is drawn, 0 to 0.02; by default a tenth of the tanks (`tube_ends.TOPPED_UP`,
        common practice, no source). [m3]
    life : (low, high), optional
        Months the coolant lasts as its bottle says, 0.1 to 120; by default the estimate of data/treatments.csv.
    hours : float, optional
        Hours a day it runs, 0 to 24; by default the plan's.

    Raises
    ------
    InputError
        If the plan is N designs, or a number is out of its range.

    Notes
    -----
    Reasons stand in data/upkeep.csv, each with the condition under which it speaks, in the words of rules. "by hours"
    are those that go with use: their months hold at 8 hours a day. Water passes the walls at the temperature of the
    coolant while it runs and at that of the room while it rests ([Crank1975]_ is straight in vapour pressure, so the
    mean pressure over the day counts). All intervals are common practice except that one.
    """
    one_design("upkeep", number_of_designs(plan))
    solution = solved(plan) if solution is None else solution
    hours = between("hours a day", plan.hours_per_day if hours is None else hours, 0.0, 24.0, "h")
    tanks = sum(float(tank.volume()) for tank in plan.units(tree.Tank))
    reserve = between("reserve", TOPPED_UP * tanks if reserve is None else reserve, 0.0, 0.02, "m3")
    loss = wall_loss(plan, solution, hours)
    found: dict[str, list[Reason]] = {job: [] for job in JOBS}
    for row in tables.read_table("upkeep.csv"):
        if _speaks(row["when"], solution):
            share = USUAL_HOURS / max(hours, 1e-3) if row["by_hours"] == "yes" else 1.0
            ends = (share * row["low_months"], share * row["high_months"])
            found[row["job"]].append(_reason(row["reason"], *ends, row["why"], row["basis"]))
    found[FLUSH].append(_life(plan, life))
    if loss[1] > 0 and reserve > 0:
        ends = (reserve / loss[1], reserve / max(loss[0], 1e-12))
        why = "Water passes the walls of the tubes as vapour until the tank has lost its reserve."
        source = "material-data: permeability of data/plastics.csv, a low and a high estimate"
        found[TOP_UP].append(_reason("water through tube walls", *ends, why, source))
    said = _said(plan, solution)
    jobs = {
        name: Job(name, tuple(sorted(reasons, key=lambda r: (r.low, r.high))), *said[name])
        for name, reasons in found.items()
    }
    return Upkeep(plan, solution, jobs, loss, reserve, hours)


def _reason(name: str, low: float, high: float, why: str, source: str) -> Reason:
    return Reason(name, *(float(np.clip(end, SOONEST, LONGEST)) for end in (low, high)), why, source)


def _life(plan: Plan, life: tuple[float, float] | None) -> Reason:
    """Return how long the coolant lasts: as its bottle says, or as is usual for what is in it."""
    if life is None:
        row = wetted.treatment(plan)
        held = row["name"] if row["name"] != "none" else "nothing"
        ends = (row["life_low_months"], row["life_high_months"])
        why = f"What protects the loop is used up: {plan.coolant.label}, with {held} in it."
        return _reason("coolant used up", *ends, why, row["basis"])
    try:
        low, high = (between("life of the coolant", end, 0.1, 120.0, "months") for end in life)
    except TypeError:
        raise InputError("life of the coolant", life, "two numbers of months: low and high") from None
    if low > high:
        raise InputError("life of the coolant", f"{low:g} to {high:g}", "the lower number first")
    return _reason("coolant used up", low, high, "The bottle says so.", "the bottle")


def _speaks(when: str, solution: Solution) -> bool:
    """Return True if a condition in the words of rules holds somewhere in an answer; an empty one always does."""
    if not when:
        return True
    facts = solution.facts
    places: dict[str, list] = {}
    for fact in facts:
        places.setdefault(fact.quantity, []).append(fact)
    rule = rules.Rule("", "notice", rules.clauses("upkeep.csv", when), "", "", "")
    return any(bool(np.any(rule.fires(fact, places))) for fact in places.get(rule.quantity, ()))


def _said(plan: Plan, solution: Solution) -> dict[str, tuple[tuple[str, ...], tuple[str, ...]]]:
    """Return the cautions and steps of every job, with the plan's own words put in."""
    row = wetted.treatment(plan)
    words: dict[str, Any] = {
        "coolant": plan.coolant.label,
        "care": row["care"],
        "disposal": row["disposal"][:1].lower() + row["disposal"][1:],
        "volume": "{} ({})".format(*(show(float(solution.state["volume"]), "volume", s) for s in DISPLAY)),
        "drained": _drained(plan),
        "seal": plan.seal,
        "aid": plan.assembly_aid,
    }
    found = [(line["job"], line["kind"], line["words"]) for line in tables.read_table("upkeep_steps.csv")]
    return {
        job: tuple(
            tuple(text.format(**words) for of, kind, text in found if (of, kind) == (job, wanted))
            for wanted in ("caution", "step")
        )
        for job in JOBS
    }


def _drained(plan: Plan) -> str:
    """Return how much stays in a loop that is drained as it stands, in words."""
    passages = void_of(plan)
    if not passages.drains:
        return "The plan has no drain: rock it over its fill opening, or open the lowest joint over the vessel."
    stays = pockets.held(plan, pockets.LIQUID).volume + passages.uncounted
    both = "{} ({})".format(*(show(stays, "volume", system) for system in DISPLAY))
    return f"About {both} stay and thin the new coolant: tip it as the page of filling and draining tells."


def wall_loss(plan: Plan, solution: Solution, hours: float) -> tuple[float, float]:
    """
    Return the water that passes the walls of all tubes, by the low and the high end of their permeability.

    Parameters
    ----------
    plan, solution : Plan, Solution
        One design and its answer.
    hours : float
        Hours a day it runs as in the answer; in the others the coolant is as warm as the room. [h]

    Returns
    -------
    loss : (low, high)
        NaN where temperatures are not known; 0 where the room is the moister side. [m3 a month]
    """
    plastics, share = tables.by_name("plastics.csv"), hours / 24.0
    water = coolants.water_share(plan.coolant)
    room = float(coolants.water_vapour_pressure(float(plan.room_air)))
    total = np.zeros(2)
    for row in solution.walk:
        leaf = row["element"]
        plastic = plastics.get(leaf.tube.material) if isinstance(leaf, (tree.Run, tree.DeadLeg)) else None
        if plastic is None:  # copper lets nothing through
            continue
        warm = float(row["in"])
        over = float(coolants.water_vapour_pressure(min(warm, 100.0))) if np.isfinite(warm) else np.nan
        inside = water * (share * over + (1.0 - share) * room)
        ends = np.array([plastic["vapour_permeability_low"], plastic["vapour_permeability_high"]])
        shape = (float(leaf.length), float(leaf.tube.outside), float(leaf.tube.bore))
        total = total + materials.vapour_loss(ends, *shape, inside, HUMIDITY * room)
    low, high = np.maximum(total, 0.0) * MONTH / float(coolants.coolant("water").properties(20.0)[0])
    return float(low), float(high)
