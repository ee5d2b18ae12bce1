"""
Whether a loop does what it did: readings of the log against the plan's own answer, and what was topped up.

Each reading is held against the plan solved at the heat, the room and the speeds of that reading, so weather and load
drop out; what is left is a ratio, 1 where machine and plan agree. Of the ratio only the trend is judged: a plan that is
a tenth off from the start is no drift.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
from scipy import stats

from loopmath import loop as tree
from loopmath import rules
from loopmath.checks import InputError
from loopmath.plan import Plan
from loopmath.rules import Fact, Warned
from loopmath.service_log import FLUSH, STRIP, Entry, Log
from loopmath.solution import solved
from loopmath.upkeep import Upkeep

ROOM, PART, FLOW = QUANTITIES = ("resistance to room grown by", "resistance to coolant grown by", "flow fallen by")
#: Whether a trend stands out, as the rules ask for it.
BEYOND = "trend beyond its scatter"
#: What a trend must stand out by, one-sided. Two or three are judged at each look, and one looks again and again.
SURE = 0.995
#: Readings, and days between the first and the last, from which a trend is judged.
FEWEST, SHORTEST = 5, 28
#: How well things are read (estimates, common practice): each temperature [K], heat and flow [share].
KELVIN, SHARE = 0.5, 0.03
#: A smaller difference of temperatures tells nothing. [K]
LEAST = 2.0
#: Days after filling in which the last air makes room; how well a level is judged (an estimate, common practice) [m3].
SETTLING, LEVEL = 14, 20e-6
MONTH = 30.4
#: Days that are looked at together, and the share of the loop that is much to top up within them once the air of the
#: filling is out (common practice, no source).
WEEKS, LOST = 28, 0.25
#: What drifts together -> what is behind it (common practice, no source). Room and part: resistances; flow: falls.
SIGNS = {
    (ROOM,): "dust on fins or filters, or a fan that slows or stands: look from the air's side first",
    (PART,): "film or fibres in the fins of that block, or paste that has dried out",
    (FLOW,): "air in the pump, a pump that wears, a kink, or a strainer that fills",
    (ROOM, PART): "film inside blocks and radiators, and dust",
    (ROOM, FLOW): "sludge or particles in radiators or strainer, or air that has gathered in a radiator",
    (PART, FLOW): "fins of that block clogged by particles or fibres",
    (ROOM, PART, FLOW): "a loop that is fouled throughout, or coolant that has thickened",
}


@dataclass(frozen=True, eq=False)
class Trend:
    """
    How one quantity went against the plan.

    Attributes
    ----------
    quantity, where : str
        One of `QUANTITIES`, and of what.
    day : (n,) array
        Ordinal of the date.
    ratio, error : (n,) array
        Reading over the plan's answer, and how well it is known, one standard deviation. [-]
    counts : (n,) bool array
        Those since the last flush or strip: the trend is theirs.
    start, change, low, high : float
        Ratio at the first of them; change of the ratio from there to the last, as a share, with its 95 % interval. NaN
        if there are too few.
    probability : float
        That chance alone makes a trend as bad. [-]
    """

    quantity: str
    where: str
    day: np.ndarray
    ratio: np.ndarray
    error: np.ndarray
    counts: np.ndarray
    start: float = np.nan
    change: float = np.nan
    low: float = np.nan
    high: float = np.nan
    probability: float = np.nan

    @property
    def worse(self) -> float:
        """By how much it got worse, as the rules ask: a flow that falls, a resistance that grows. [share]"""
        return -self.change if self.quantity == FLOW else self.change

    @property
    def sure(self) -> bool:
        """True if that stands out of its scatter."""
        return bool(self.probability < 1.0 - SURE)

    @property
    def ends(self) -> tuple[np.ndarray, np.ndarray]:
        """First and last day of the trend, and the ratio there."""
        days = self.day[self.counts][[0, -1]]
        return days, self.start * np.array([1.0, 1.0 + self.change])


@dataclass(frozen=True, eq=False)
class Drift:
    """
    What the log tells of a loop.

    Attributes
    ----------
    plan : Plan
    trends : tuple of Trend
        Those that have readings at all.
    lost, expected : float
        Water topped up [m3 a month], NaN if not known; the most that tube walls let through and reading the level may
        hide.
    early : (float, float)
        Most water topped up within `WEEKS`, and what there may be of it; NaN if there is none. [m3]
    ph, flow : float
        The last pH, and the last flow as a share of the plan's, since the last flush; NaN if there is none.
    notes : tuple of str
        Readings that are left out, and what is still missing, in sentences.
    """

    plan: Plan
    trends: tuple[Trend, ...]
    lost: float
    expected: float
    early: tuple[float, float]
    ph: float
    flow: float
    notes: tuple[str, ...]

    @property
    def facts(self) -> list[Fact]:
        """What the rules judge."""
        sure = tuple(t.quantity for t in self.trends if t.sure)
        likely = SIGNS.get(tuple(q for q in QUANTITIES if q in sure), "")
        out = [
            Fact("water topped up a month", "reservoir", self.lost, self.expected),
            Fact("topped up within weeks", "reservoir", *self.early),
            Fact("pH read", "coolant", self.ph),
        ]
        out.append(Fact("flow last read against the plan", "loop", self.flow))
        for t in self.trends:
            out.append(Fact(t.quantity, t.where, t.worse, also={BEYOND: float(t.sure), "likely": likely}))
            out.append(Fact(BEYOND, t.where, float(t.sure)))
        return out

    def warned(self, system: str = "metric") -> list[Warned]:
        """Return what the rules say of it."""
        return rules.warnings_of(self.facts, system)

    def table(self) -> pd.DataFrame:
        """Return a row for each trend: how many readings, level against the plan, change with its 95 % interval."""
        rows = [
            {
                "what": f"{t.quantity.rpartition(' ')[0].rpartition(' ')[0]}, {t.where}",
                "readings": int(np.sum(t.counts)),
                "at first, of the plan's [%]": round(100 * t.start, 1),
                "change [%]": round(100 * t.change, 1),
                "from [%]": round(100 * t.low, 1),
                "to [%]": round(100 * t.high, 1),
                "stands out": "not known" if np.isnan(t.probability) else "yes" if t.sure else "no",
            }
            for t in self.trends
        ]
        return pd.DataFrame(rows)


def drift(upkeep: Upkeep, log: Log, filled: date | None = None) -> Drift:
    """
    Judge the readings of a log against the plan.

    Parameters
    ----------
    upkeep : Upkeep
        Of one design.
    log : Log
        An entry with coolant, room and heat or load tells the resistance to the room; one with a part and its
        temperature that of its block; one with a flow the flow. A speed that is not given is the plan's.
    filled : date, optional
        When the loop was filled; without it what is topped up counts from the first top-up or filling of the log.

    Returns
    -------
    drift : Drift

    Notes
    -----
    The logarithm of the ratio is fitted by a line over time, each reading weighted by how well it is read: 0.5 K a
    temperature, 3 % heat and flow. Its scatter is taken from what the line leaves over, its interval from Student's t.
    A trend stands out where chance alone makes as bad a one in less than 0.5 % of cases, one-sided; a caution speaks if
    it has got worse by a tenth as well. Of simulated loops that do not drift, with a scatter of 3 to 5 % and a look
    after each of 12 readings, 2 % at most got a caution at some time; a growth by a quarter was found in 98 % or more.
    After a flush or a strip the trend begins anew.
    """
    plan, since = upkeep.plan, max((e.day for e in log.entries if e.kind in (FLUSH, STRIP)), default=date.min)
    readings, notes = _usable(plan, log.entries)
    found: dict[tuple[str, str], list[tuple[date, float, float]]] = {}
    for entry, state in readings:
        over = float(state["coolant_over_room"])
        if entry.flow is not None and entry.flow > 0 and state["flow"] > 0:
            found.setdefault((FLOW, "loop"), []).append((entry.day, entry.flow / float(state["flow"]), SHARE))
        if entry.heat is None and entry.load is None:
            continue
        pairs = []
        if entry.coolant is not None and entry.room is not None:
            pairs.append((ROOM, "coolant", entry.coolant - entry.room, over))
        if entry.part and entry.part_temperature is not None and entry.coolant is not None:
            own = float(state[entry.part] - state["coolant_warmest"])
            pairs.append((PART, entry.part, entry.part_temperature - entry.coolant, own))
        for quantity, where, seen, planned in pairs:
            if seen < LEAST or not planned >= LEAST:
                notes.append(f"{entry.day}: {where} is less than {LEAST:g} K warmer than what it warms: left out.")
                continue
            error = float(np.hypot(np.sqrt(2.0) * KELVIN / seen, SHARE))
            found.setdefault((quantity, where), []).append((entry.day, seen / planned, error))
    order = sorted(found, key=lambda key: (QUANTITIES.index(key[0]), key[1]))
    trends = tuple(trend(*key, found[key], since) for key in order)
    notes += [_missing(t) for t in trends if np.isnan(t.change)]
    if not trends:
        notes.append("No reading tells of drift yet: log coolant, room, load and flow once all stand still.")
    begun = max(filled or date.min, since)
    lost, months = _topped_up(log.entries, begun)
    expected = upkeep.loss[1] + LEVEL / months if months else np.nan
    early = _within_weeks(log.entries, begun, sum(float(leaf.volume()) for leaf in tree.leaves(plan.loop)))
    read = [float(e.ph) for e in log.entries if e.ph is not None and e.day >= since]
    flows = [
        entry.flow / float(state["flow"])
        for entry, state in readings
        if entry.flow is not None and entry.day >= since and state["flow"] > 0
    ]
    last = (float(series[-1]) if series else np.nan for series in (read, flows))
    return Drift(plan, trends, lost, expected, early, *last, tuple(dict.fromkeys(notes)))


def _missing(one: Trend) -> str:
    count = int(np.sum(one.counts))
    return (
        f"{one.where}: {count} reading{'s' * (count != 1)} since the last flush or strip; a trend is judged from "
        f"{FEWEST} readings over {SHORTEST} days."
    )


def _usable(plan: Plan, entries: Iterable[Entry]) -> tuple[list[tuple[Entry, dict]], list[str]]:
    """Return the readings with the plan's answer at their heat, room and speeds, and what is left out and why."""
    total = sum(float(unit.heat) for unit in plan.units(tree.Source))
    parts = [unit.name for unit in plan.units(tree.Source)]
    out, notes = [], []
    for entry in entries:
        if entry.flow is None and entry.coolant is None:
            continue
        if entry.part and entry.part not in parts:
            notes.append(f"{entry.day}: the loop cools no {entry.part}; it cools {', '.join(parts)}.")
            entry = replace(entry, part="", part_temperature=None)
        share = entry.load if entry.load is not None else 1.0
        if entry.heat is not None:
            if total <= 0:
                notes.append(f"{entry.day}: the plan's parts give no heat to compare with; its flow counts.")
            share, entry = (entry.heat / total, entry) if total > 0 else (1.0, replace(entry, heat=None, load=None))
        try:
            answer = solved(_as_read(plan, entry, share))
        except InputError as problem:
            notes.append(f"{entry.day}: {problem}")
            continue
        if answer.known:
            out.append((entry, answer.state))
        else:
            notes.append(f"{entry.day}: the plan has no answer there. {answer.plight}")
    return out, notes


def _as_read(plan: Plan, entry: Entry, share: float) -> Plan:
    """Return the plan at the heat, room and speeds of a reading."""
    speeds: dict[str, Any] = {}
    if entry.pump_speed is not None:
        speeds |= {unit.name: entry.pump_speed for unit in plan.units(tree.PumpUnit)}
    if entry.fan_speed is not None:
        speeds |= {unit.name: entry.fan_speed for unit in plan.fanned}
    if speeds:
        plan = plan.with_speeds(speeds)
    if entry.room is not None:
        plan = replace(plan, room_air=entry.room)
    return plan.with_loop(lambda e: replace(e, heat=share * e.heat) if isinstance(e, tree.Source) else e)


def trend(quantity: str, where: str, readings: Iterable[tuple[date, float, float]], since: date = date.min) -> Trend:
    """
    Fit a line over time to the logarithm of a ratio.

    Parameters
    ----------
    quantity : str
        One of `QUANTITIES`: it says which way is worse.
    where : str
        Of what, in words.
    readings : list of (date, ratio, error)
        By date; ratio above 0, error its standard deviation as a share of it. [-]
    since : date, optional
        Earlier readings are kept and do not count.
    """
    rows = np.array([(day.toordinal(), value, error) for day, value, error in readings], dtype=float)
    days, ratio, error = rows.T
    counts = days >= since.toordinal()
    raw = Trend(quantity, where, days, ratio, error, counts)
    n = int(np.sum(counts))
    if n < FEWEST or np.ptp(days[counts]) < SHORTEST:
        return raw
    # From 0 at the first reading to 1 at the last, so the slope is the change.
    t = (days[counts] - days[counts][0]) / np.ptp(days[counts])
    y, weight = np.log(ratio[counts]), 1.0 / error[counts]
    matrix = np.column_stack([np.ones(n), t]) * weight[:, None]
    (level, slope), _, _, _ = np.linalg.lstsq(matrix, y * weight, rcond=None)
    left = matrix @ (level, slope) - y * weight
    # Readings that agree to the last digit were rounded: a scatter of a tenth of what they are read to stays.
    variance = max(float(left @ left) / (n - 2), 0.01)
    spread = float(np.sqrt(variance * np.linalg.inv(matrix.T @ matrix)[1, 1]))
    bad = -slope if quantity == FLOW else slope
    reach = float(stats.t.ppf(0.975, n - 2)) * spread
    ends = (float(np.expm1(slope + side)) for side in (0.0, -reach, reach))
    return replace(raw, **dict(zip(("change", "low", "high"), ends, strict=True)), start=float(np.exp(level)),
                   probability=float(stats.t.sf(bad / spread, n - 2)))  # fmt: skip


def _within_weeks(entries: Iterable[Entry], begun: date, holds: float) -> tuple[float, float]:
    """Return the most that was topped up within `WEEKS`, of it what is usual, by how far it is beyond that. [m3]"""
    poured = [(e.day, float(e.topped_up)) for e in entries if e.topped_up and e.kind not in (FLUSH, STRIP)]
    begun = begun if begun > date.min else min((day for day, _ in poured), default=begun)
    poured = [(day, much) for day, much in poured if day > begun]  # what went in on the day is the filling
    found = []
    for start, _ in poured:
        much = sum(m for day, m in poured if 0 <= (day - start).days < WEEKS)
        found.append((much, holds if (start - begun).days <= SETTLING else LOST * holds))
    return max(found, key=lambda pair: pair[0] / pair[1], default=(np.nan, np.nan))


def _topped_up(entries: Iterable[Entry], begun: date) -> tuple[float, float]:
    """Return what was topped up [m3 a month] and over how many months; (NaN, 0) while that is too short to say."""
    poured = [(e.day, e.topped_up) for e in entries if e.topped_up and e.kind not in (FLUSH, STRIP)]
    if not poured:
        return np.nan, 0.0
    start = begun.toordinal() + SETTLING if begun > date.min else poured[0][0].toordinal()
    counted = [(day.toordinal(), much) for day, much in poured if day.toordinal() > start]
    months = (counted[-1][0] - start) / MONTH if counted else 0.0
    return (sum(much for _, much in counted) / months, months) if months >= 1.0 else (np.nan, 0.0)
