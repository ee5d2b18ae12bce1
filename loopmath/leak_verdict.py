"""
What the readings of a leak test say.

Air of a closed loop keeps p/T (absolute) whatever the room does, so the verdict is the slope of the pressure corrected
to one temperature, with what rounding, scatter and the weather could make of it.
"""

from dataclasses import dataclass

import numpy as np
from scipy import stats

from loopmath.checks import InputError, between
from loopmath.laws import leak
from loopmath.leak_test import SCATTER, SETTLES, UNKNOWN_ROOM, WEATHER, LeakPlan, leak_text, minutes
from loopmath.readings import Column, Readings, read_readings
from loopmath.slips import shown

#: Least readings that are judged; a bend of the readings that is accused of settling by chance at most so often.
LEAST_ROWS, BENT_BY_CHANCE = 4, 0.001
#: Air of a room while a test runs [degC]; a jump or start within these shares of the room's pressure is suspicious.
ROOM_RANGE, ATMOSPHERE = (0.0, 45.0), (0.85, 1.15)
#: Pressure air of a room can have, from high mountains to below the sea (common practice, no source): its middle, and
#: so much to both sides. [Pa]
ROOM_PRESSURE = (80e3, 30e3)
TIGHT, LEAKS, UNSURE = "tight as far as this test can tell", "leaks", "cannot tell yet"
GAUGE, ABSOLUTE = "gauge", "absolute"
COLUMNS = (
    Column("time", "time", ("t", "elapsed", "elapsed time", "minutes", "seconds"), "min", low=-np.inf),
    Column("pressure", "pressure", ("gauge", "gauge pressure", "p", "overpressure"), "kPa", needed=False, low=-np.inf),
    Column("temperature", "temperature", ("temp", "air temperature", "room temperature"), "degC", low=-273.15),
    Column("room", "pressure", ("barometer", "room pressure", "air pressure"), "kPa", False, positive=True),
    Column("absolute", "pressure", ("absolute pressure", "pressure absolute", "abs"), "kPa", False, positive=True),
)


def read(text: str, test: LeakPlan, reads: str = "") -> Readings:
    """
    Read a table of a leak test, pasted or from a file.

    Parameters
    ----------
    text : str
        Time, gauge or absolute pressure, temperature; the room's pressure too if it was noted.
    test : LeakPlan
    reads : str
        "gauge" or "absolute" of the column of pressure, where the table is doubtful.

    Returns
    -------
    readings : Readings
        With "absolute" [Pa] always filled in.

    Raises
    ------
    InputError
        With all faults of the table; backward time, too few readings, gauge mixed with absolute, odd temperatures.
    """
    table = read_readings(text, COLUMNS, "leak test")
    if ("pressure" in table) == ("absolute" in table):
        raise InputError("leak test", "no or two columns of pressure", "one: gauge pressure or absolute pressure")
    key = "absolute" if "absolute" in table else "pressure"
    every, table = table.rows, table.having("time", key, "temperature")
    if len(table) < LEAST_ROWS:
        raise InputError("leak test", f"{len(table)} readings", f"{LEAST_ROWS} or more", "Read once a minute.")
    back = np.flatnonzero(np.diff(table["time"]) <= 0)
    if back.size:
        line = table.rows[back[0] + 1]
        remedy = "Time must go on from line to line; put the lines in order, or take out the repeated one."
        raise InputError(f"leak test, line {line}, time", _time(table, back[0] + 1), "a later time", remedy)
    warm = table["temperature"]
    odd = np.flatnonzero((warm < ROOM_RANGE[0]) | (warm > ROOM_RANGE[1]))
    if odd.size:
        line, said = table.rows[odd[0]], f"{warm[odd[0]]:.1f} degC"
        remedy = "If it is in another unit, write that in the header: temperature [degF] or [K]."
        raise InputError(f"leak test, line {line}, temperature", said, "0 to 45 degC, as in a room", remedy)
    noted = np.isfinite(table["room"]) if "room" in table else np.zeros(len(table), bool)
    room = np.full(len(table), test.room)
    wrong = np.flatnonzero(noted)
    wrong = wrong[np.abs(table["room"][wrong] - ROOM_PRESSURE[0]) > ROOM_PRESSURE[1]] if wrong.size else wrong
    if wrong.size:
        line, said = table.rows[wrong[0]], f"{table['room'][wrong[0]] / 1e3:.1f} kPa"
        remedy = "Write its unit into the header: room pressure [hPa], [mbar], [mmHg], [inHg] or [kPa]."
        raise InputError(f"leak test, line {line}, room pressure", said, "50 to 110 kPa, as air has it", remedy)
    if noted.any():  # between notes in a line, before and after as they are
        room = np.interp(table["time"], table["time"][noted], table["room"][noted])
    kind = reads or (ABSOLUTE if key == "absolute" else GAUGE)
    pressure, low, high = table[key], *(share * test.room for share in ATMOSPHERE)
    jump = np.flatnonzero((np.abs(np.diff(pressure)) > low) & (np.abs(np.diff(pressure)) < high))
    if jump.size:
        raise InputError(
            f"leak test, line {table.rows[jump[0] + 1]}, pressure",
            f"{pressure[jump[0] + 1] / 1e3:.1f} kPa after {pressure[jump[0]] / 1e3:.1f} kPa",
            "gauge pressures throughout, or absolute ones throughout",
            "It jumps by about one atmosphere: do some lines read absolute, or did a tube come off?",
        )
    if not reads and (kind == GAUGE) == bool(pressure[0] > low):
        said = f"{pressure[0] / 1e3:.1f} kPa {kind}"
        part, rating = test.lowest
        over = f"If it is gauge pressure it lies above the rating of {part}: release it now. "
        remedy = over if kind == GAUGE and pressure[0] > rating else ""
        remedy += "Say whether the table reads gauge or absolute pressure: a loop at the pressure of the room reads "
        remedy += f"0 on a gauge and about {test.room / 1e3:.0f} kPa absolute."
        raise InputError(f"leak test, line {table.rows[0]}, pressure", said, "a likely pressure of such a test", remedy)
    total = pressure if kind == ABSOLUTE else pressure + room
    if np.any(total <= 0):
        line = table.rows[np.argmax(total <= 0)]
        raise InputError(f"leak test, line {line}, pressure", "below a vacuum", "more than 0 absolute")
    steps = table.steps | {"absolute": table.steps[key]}
    notes, empty = table.notes, sorted({*map(int, every)} - {*map(int, table.rows)})
    if empty:
        notes += (f"Left out, for their pressure is empty: line{'s'[: len(empty) > 1]} {', '.join(map(str, empty))}.",)
    if kind == GAUGE and not noted.all():
        notes += ("The gauge reads against the room; its usual drift with the weather is allowed for.",)
        steps["room"] = np.nan
    values = table.values | {"absolute": total, "room": room}
    return Readings(table.name, values, table.rows, table.units, table.kinds, table.scales, notes, table.doubts, steps)


def _time(table: Readings, place: int) -> str:
    return f"{table['time'][place] / 60:g} min after {table['time'][place - 1] / 60:g} min"


@dataclass(frozen=True, eq=False)
class Verdict:
    """
    What readings say.

    Attributes
    ----------
    test : LeakPlan
    kind : str
        TIGHT, LEAKS or UNSURE.
    time, gauge, corrected, warm : array
        Of all readings: from the first on [s], over the room [Pa], corrected to the first temperature and over the
        room [Pa], temperature [degC].
    settled : float
        Readings before it are left out. [s]
    start, slope, doubt : float
        Of the line through the others: at the first of them [Pa over the room], [Pa/s]; `doubt` to each side.
    leak : tuple of 3 floats
        Rate and its ends, at the pressure of the test, as air at room conditions. [m3/s]
    more : float
        To go on by [s]; 0 if the verdict stands, infinite if a day would not do.
    words : tuple of str
        What was noticed.
    low : bool
        True if it stood at too little pressure to say anything.
    """

    test: LeakPlan
    kind: str
    time: np.ndarray
    gauge: np.ndarray
    corrected: np.ndarray
    warm: np.ndarray
    settled: float
    start: float
    slope: float
    doubt: float
    leak: tuple[float, float, float]
    more: float
    words: tuple[str, ...]
    low: bool = False

    def said(self, system: str = "metric") -> str:
        """Return the verdict in a sentence."""
        size, smallest = [leak_text(value, system) for value in self.leak], leak_text(self.test.smallest, system)
        show = shown("pressure", system)
        if self.kind == LEAKS and np.isnan(self.slope):
            highest = np.maximum.accumulate(self.corrected)
            worst = int(np.argmax(highest - self.corrected))
            start, fall = float(highest[worst]), float((highest - self.corrected)[worst])
            return f"It leaks: of {show(start)} it lost {show(fall)}. Release, find it, mend it."
        if self.low:
            return f"Cannot tell: too little pressure. Pump up to {show(self.test.pressure)} and read anew."
        if self.kind == TIGHT:
            return f"Tight as far as this test can tell: {size[2]} of air at most, less than the {smallest} looked for."
        if self.kind == LEAKS:
            return f"It leaks: {size[0]} of air at room conditions, {size[1]} to {size[2]}. Release, find it, mend it."
        on = "a day would not do: take a finer gauge" if np.isinf(self.more) else f"go on for {minutes(self.more)}"
        why = next((words for words in self.words if words.startswith("The corrected pressure")), "")
        why = why or (f"So far {size[1]} to {size[2]} of air." if np.isfinite(self.slope) else "")
        return f"Cannot tell yet: {on}. {why}".strip()


def judge(readings: Readings, test: LeakPlan, settle: float = SETTLES) -> Verdict:
    """
    Judge the readings of a leak test.

    Parameters
    ----------
    readings : Readings
        Of `read`.
    test : LeakPlan
    settle : float
        Time after the first reading that is left out: pumping warms the air, 0 or more. [s]

    Raises
    ------
    OutOfRange
        If `settle` is negative.

    Notes
    -----
    Least squares on p T1/T; the doubt is that of `laws.leak.slope_doubt` with the true times. A false alarm, and a leak
    of the smallest size passed as tight, come in less than 1 of 100 tests. What is lost at less than the pressure of
    the test counts for more, by `laws.leak.drive`. A fall that no cooling explains is a leak whenever it came, also
    while the air settled.
    """
    settle = between("settling time", settle, 0.0, 86400.0, "s")
    time, warm, total = readings["time"] - readings["time"][0], readings["temperature"], readings["absolute"]
    room = readings["room"]
    kept = time >= settle
    reference = float(warm[np.argmax(kept)])
    corrected = leak.corrected_pressure(total, warm, reference)
    over = corrected - room[0]
    blind = np.isnan(readings.steps.get("room", 0.0))
    each = float(np.mean(total)) / leak.kelvin(reference)
    others = each * readings.steps["temperature"] + (0.0 if blind else readings.steps.get("room", 0.0))
    written, step = (
        others + gauge for gauge in (readings.steps["absolute"], max(test.step, readings.steps["absolute"]))
    )
    scatter, drift = each * SCATTER, WEATHER if blind else 0.0
    notes, (part, rating) = [], test.lowest
    # Ten times the scatter of one reading is seven of a difference: chance does not get there.
    risen = np.flatnonzero(np.diff(over) > step + 10 * scatter)
    if risen.size:  # a rise that is no rounding and no scatter: it was pumped up, and what was before does not count
        pumped_at = float(time[risen[-1] + 1])
        settle += pumped_at
        kept = time >= settle
        notes.append(f"It was pumped up until {minutes(pumped_at)} after the first reading: judged from there on.")
    if np.max(total - room) > rating:
        notes.insert(0, f"Danger: readings lie above the rating of {part}. Release the pressure now.")
    if readings.steps["absolute"] > 1.5 * test.step:
        notes.append(
            f"The table is written in steps of {readings.steps['absolute'] / 1e3:.3g} kPa: it is judged by those."
        )
    # From the highest reading so far: what was read while it was pumped up does not count.
    highest = np.maximum.accumulate(over)
    worst = int(np.argmax(highest - over))
    pumped, fell = max(float(highest[worst]), 0.0), float(highest[worst] - over[worst])
    weather = WEATHER * float(time[-1]) if blind else 0.0
    lost = fell - 2 * written - weather > leak.cooling_fall(pumped, float(room[0]))
    # Where the ratings leave no room for more, a test at less than the loop will see is the best there is.
    low = not lost and float((total - room)[kept].mean() if kept.any() else pumped) < min(test.sees, 0.95 * test.most)
    if low:
        notes.append("The pressure is below what the loop will see with coolant: that proves nothing.")
    every = {"test": test, "time": time, "gauge": total - room, "corrected": over, "warm": warm, "settled": settle}
    none = {"start": np.nan, "slope": np.nan, "doubt": np.nan, "leak": (np.nan,) * 3}
    if lost:
        notes.append("So much is lost that no cooling of the air explains it.")
        return Verdict(**every, **none, kind=LEAKS, more=0.0, words=(*notes, *readings.notes, *readings.doubts))
    if kept.sum() < LEAST_ROWS:
        more = settle + test.hold - time[-1]
        notes.append("Too few readings are left after settling.")
        return Verdict(**every, **none, kind=UNSURE, more=float(more), words=tuple(notes))
    t, y = time[kept], over[kept]
    count, span, middle = t.size, float(np.ptp(t)), float(t.mean())
    weights = (t - middle) / np.sum((t - middle) ** 2)
    slope = float(weights @ y)
    left = y - y.mean() - slope * (t - middle)
    seen = float(np.sqrt(left @ left / (count - 2)))
    one = max(np.hypot(step / np.sqrt(12), scatter), seen)
    sloped = float(np.abs(weights).sum()) * step / 2
    doubt = sloped + stats.t.ppf(1 - leak.RISK, count - 2) * one * np.sqrt(float(weights @ weights)) + drift
    if blind and not test.measured_room:  # a wrong pressure of the room corrects by the wrong share
        doubt += UNKNOWN_ROOM * abs(float(weights @ (leak.kelvin(reference) / leak.kelvin(warm[kept]))))
    ratio = max(float(leak.drive((total - room)[kept].mean(), room[0]) / leak.drive(test.pressure, room[0])), 1e-3)
    rate, least, high = -slope, -slope - doubt, -slope + doubt
    limit = ratio * test.fall
    bent = _settling(t, y, written, scatter, rate, float(np.mean((total - room)[kept])))
    more, weak = 0.0, False
    if bent:
        kind = UNSURE
        more = max(test.hold, span / 2)
        notes.append(
            f"The corrected pressure falls ever slower: air and thermometer still settle. Wait, then leave out the "
            f"first {minutes(settle + span / 2)}."
        )
    elif high < 0:
        kind, more = UNSURE, test.hold
        notes.append("The corrected pressure rises: the thermometer lags the air, or the loop stands in sun. Wait.")
    elif least > 0 and high >= limit:
        kind = LEAKS
    elif low:
        kind, more, weak = UNSURE, test.hold, True
    elif high < limit:
        kind = TIGHT
    else:
        kind, wanted = UNSURE, 0.9 * max(rate, limit - rate)
        total_time = float(leak.hold_time(2 * wanted, step, one, drift, span / (count - 1)))
        more = max(total_time - span, span / (count - 1))
    if np.ptp(warm) > 0.05:
        way = "cooled" if warm[-1] < warm[0] else "warmed"
        notes.append(f"The room {way}; what that does to the pressure is taken out.")
    sizes = tuple(float(value * test.volume / room[0] / ratio) for value in (rate, least, high))
    line = {"start": float(y.mean() + slope * (t[0] - middle)), "slope": slope, "doubt": float(doubt), "leak": sizes}
    return Verdict(
        **every,
        **line,
        kind=kind,
        more=more,
        low=weak,
        words=(*notes, *readings.notes, *readings.doubts),
    )


def _settling(t: np.ndarray, y: np.ndarray, step: float, scatter: float, rate: float, gauge: float) -> bool:
    """
    Return True if the readings bend more than a leak that slows as its pressure falls would bend them.

    `step` is that of the written numbers: where a reader tells tenths between two marks, they bend visibly.
    """
    if t.size < 6 or gauge <= 0 or rate * np.ptp(t) > 0.5 * gauge:
        return False
    u = (t - t.mean()) / np.ptp(t)
    design = np.column_stack((np.ones_like(u), u, u * u))
    solve = np.linalg.pinv(design)
    weights, left = solve[2], y - design @ (solve @ y)
    bend = 2 * float(weights @ y) / np.ptp(t) ** 2
    one = max(np.hypot(step / np.sqrt(12), scatter), float(np.sqrt(left @ left / (t.size - 3))))
    doubt = float(np.abs(weights).sum()) * step / 2
    doubt += stats.t.ppf(1 - BENT_BY_CHANCE, t.size - 3) * one * np.sqrt(float(weights @ weights))
    return bend - 2 * doubt / np.ptp(t) ** 2 > 2 * rate**2 / gauge
