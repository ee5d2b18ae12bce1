"""
What happens to a plan in time: it warms up, its load changes, an evening passes, a pump or fan stops, it is switched
off.

Each function runs `transient.Dynamics` and returns a `course.Course`. Case air the plan gives stays as given all along.
"""

import re
from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from loopmath import air as airs
from loopmath import loop as tree
from loopmath import solution
from loopmath.checks import InputError, between, one_of
from loopmath.course import Course, Stretch, run
from loopmath.plan import Plan
from loopmath.regime import Regime
from loopmath.transient import Dynamics
from loopmath.units import to_si

#: Time constants after which a run counts as settled.
SETTLED = 10.0


def _ready(plan: Plan) -> tuple[Dynamics, Regime]:
    """Return a plan that has a steady answer, made ready; refuse one that has none in the words of `solve`."""
    model = Dynamics(plan, answer=solution.solve(plan))
    return model, model.regime()


def _settled(model: Dynamics, regime: Regime, inputs: np.ndarray) -> np.ndarray:
    plan = model.plan
    guess = np.clip(plan.room_air + 10.0, plan.coolant.low, plan.coolant.high)
    return regime.steady(inputs, np.full(len(model.stored), float(guess)))


def _slowest(model: Dynamics, regime: Regime, inputs: np.ndarray, around: np.ndarray) -> float:
    """Return the longest time constant of the loop, dead legs left out. [s]"""
    keep = [k for k, n in enumerate(model.stored) if not isinstance(model.nodes[n].element, tree.DeadLeg)]
    rates = np.linalg.eigvals(regime.jacobian(around, inputs)[np.ix_(keep, keep)]).real
    return float(1.0 / -rates.max()) if rates.max() < 0 else np.inf


# ---------------------------------------------------------------------------------------------------- scenarios


def load_step(
    plan: Plan, from_heat_share: float = 0.0, to_heat_share: float = 1.0, duration: float | None = None, **solver: Any
) -> Course:
    """
    Settle at one share of the heat of every component, then go to another at once.

    Parameters
    ----------
    plan : Plan
        One design with a steady answer.
    from_heat_share, to_heat_share : float
        Shares of each component's heat, 0 to 3.
    duration : float, optional
        By default until all is settled. [s]
    **solver
        `relative`, `absolute` [K]: tolerances; `points` kept of each stretch.

    Raises
    ------
    InputError
        As `solution.solve` and `transient.Dynamics`.
    """
    shares = [between(n, v, 0.0, 3.0) for n, v in (("from", from_heat_share), ("to", to_heat_share))]
    model, regime = _ready(plan)
    before, after = (model.watts(share=share) for share in shares)
    start = _settled(model, regime, before)
    return _to_rest(
        model, f"load from {100 * shares[0]:.0f} % to {100 * shares[1]:.0f} %", regime, after, start, duration, solver
    )


def warm_up(plan: Plan, duration: float | None = None, **solver: Any) -> Course:
    """
    Switch on at room temperature, all heat at once, and run until all is settled.

    Parameters
    ----------
    plan : Plan
        One design with a steady answer.
    duration : float, optional
        By default until all is settled. [s]
    **solver
        See `load_step`.
    """
    model, regime = _ready(plan)
    start = np.full(len(model.stored), float(plan.room_air))
    return _to_rest(model, "warm-up from room temperature", regime, model.watts(), start, duration, solver)


def _to_rest(
    model: Dynamics, what: str, regime: Regime, inputs: np.ndarray, start: np.ndarray, duration: Any, solver: dict
) -> Course:
    if duration is None:
        duration = SETTLED * _slowest(model, regime, inputs, _settled(model, regime, inputs))
    between("duration", duration, 1.0, 1e7, "s")
    return run(model, what, [Stretch(0.0, duration, regime, inputs)], start, **solver)


def pump_stop(plan: Plan, at: float = 60.0, within: float = 1800.0, **solver: Any) -> Course:
    """
    Stop all pumps of a settled loop while everything else goes on, and see when which limit is reached.

    Parameters
    ----------
    plan : Plan
        One design with a steady answer.
    at : float
        Time of the run at which they stop. [s]
    within : float
        How long to look from then on. [s]
    **solver
        See `load_step`.

    Notes
    -----
    What coolant does that stands is an estimate, see `transient`; a machine that watches its temperatures slows down or
    switches off before.
    """
    pumps = [unit.name for unit in plan.units(tree.PumpUnit)]
    return _stop(plan, "pump stops", lambda p: _standing(p, pumps), (), at, within, solver)


def fan_stop(
    plan: Plan, which: Iterable[str] | str | None = None, at: float = 60.0, within: float = 7200.0, **solver: Any
) -> Course:
    """
    Stop fans of a settled loop while everything else goes on, and see when which limit is reached.

    Parameters
    ----------
    plan : Plan
        One design with a steady answer.
    which : str or list of str, optional
        Radiators whose fans stop, or fans of the case; by default those of all radiators.
    at, within : float
        As in `pump_stop`. [s]
    **solver
        See `load_step`.

    Raises
    ------
    InputError
        If a name is neither a radiator with fans nor a fan of the case.
    """
    fanned = [unit.name for unit in plan.units(tree.RadiatorUnit)]
    known = [*fanned, *(fans.name for fans in plan.case_fans)]
    which = fanned if which is None else [which] if isinstance(which, str) else list(which)
    if not which:
        raise InputError("fans that stop", "none", "a radiator or a fan of the case")
    for name in which:
        one_of("fans that stop", name, known)
    words = f"fans stop: {', '.join(which)}"
    return _stop(plan, words, lambda p: _standing(p, which), _without_air(plan, which), at, within, solver)


def power_off(plan: Plan, at: float = 60.0, within: float = 3600.0, **solver: Any) -> Course:
    """
    Switch a settled machine off: no heat, no pump, no fan; what is warm soaks through (`Course.peaks`).

    Parameters
    ----------
    plan : Plan
        One design with a steady answer.
    at, within : float
        As in `pump_stop`. [s]
    **solver
        See `load_step`.
    """
    every = [unit.name for unit in (*plan.units(tree.RadiatorUnit), *plan.case_fans)]
    pumps = [unit.name for unit in plan.units(tree.PumpUnit)]

    def off(p: Plan) -> Plan:
        p = replace(_standing(p, [*every, *pumps]), case_heat=0.0)
        p = p.with_loop(lambda leaf: replace(leaf, heat=0.0) if isinstance(leaf, tree.Source) else leaf)
        return replace(p, on_air=tuple(replace(part, heat=0.0) for part in p.on_air))

    return _stop(plan, "switched off", off, _without_air(plan, every), at, within, solver)


def _stop(
    plan: Plan, what: str, change: Callable, stopped: tuple[str, ...], at: float, within: float, solver: dict
) -> Course:
    between("at", at, 0.0, 1e6, "s")
    between("within", within, 1.0, 1e6, "s")
    model, regime = _ready(plan)
    inputs, then = model.watts(), change(plan)
    start = _settled(model, regime, inputs)
    stretches = [Stretch(0.0, at, regime, inputs)] if at > 0 else []
    stretches.append(Stretch(at, at + within, model.regime(then, stopped), model.watts(then)))
    return run(model, what, stretches, start, origin=at, ends=False, **solver)


def _standing(plan: Plan, which: Iterable[str]) -> Plan:
    """Return the plan with pumps and fans standing, and radiators without the air they are given."""

    def airless(leaf: Any) -> Any:
        there = isinstance(leaf, tree.RadiatorUnit) and leaf.name in which
        return replace(leaf, air_flow_each=0.0) if there else leaf

    return plan.with_speeds(dict.fromkeys(which, 0.0)).with_loop(airless)


def _without_air(plan: Plan, which: Iterable[str]) -> tuple[str, ...]:
    """Return the radiators no fan moves air through any more: of a row, all must have stopped."""
    rows = airs.streams(plan.units(tree.RadiatorUnit))
    still = [row for row in rows if all(unit.name in which for unit in row.units)]
    return tuple(unit.name for row in still for unit in row.units)


# ------------------------------------------------------------------------------------------- an evening of use

_CLOCK = re.compile(r"\s*(\d{1,3}):([0-5]\d)(?::([0-5]\d))?\s*")


def _time(value: Any, row: str) -> float:
    """Return minutes, or hh:mm, as seconds."""
    if isinstance(value, str) and (clock := _CLOCK.fullmatch(value)):
        return 3600.0 * int(clock[1]) + 60.0 * int(clock[2]) + float(clock[3] or 0)
    try:
        minutes = float(value)
    except (TypeError, ValueError):
        minutes = np.nan
    if not 0 <= minutes < 1e6:
        raise InputError(f"time, {row}", value, "minutes, or a time such as 19:30")
    return 60.0 * minutes


def read_profile(plan: Plan, table: pd.DataFrame | str | Path) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """
    Return the times [s] and the watts of each component a table gives.

    Parameters
    ----------
    table : DataFrame, or path of a CSV file
        A column "time", in minutes or as hh:mm, and a column for each component that does not stay at its heat,
        headed by its name: watts as plain numbers or with a unit.

    Raises
    ------
    InputError
        If a column is unknown, a value is no time or no power, or the time does not rise; the row is named, counted
        as in a file whose first line is the heading.
    """
    if not isinstance(table, pd.DataFrame):
        try:
            table = pd.read_csv(table, dtype=str, keep_default_na=False, skipinitialspace=True)
        except (OSError, UnicodeError, pd.errors.ParserError, pd.errors.EmptyDataError) as fault:
            raise InputError("profile", str(table), "a CSV file that can be read", f"{fault}") from None
    known = [thing.name for thing in plan.components]
    heads = {column: re.sub(r"\s*[\[(](W|min|watts?|minutes)[\])]\s*$", "", str(column)).strip() for column in table}
    clocks = [column for column, head in heads.items() if head.lower() in ("time", "t", "minutes")]
    if len(clocks) != 1:
        raise InputError("profile", list(heads.values()), "one column called time")
    for column, head in heads.items():
        if column != clocks[0]:
            one_of("column of the profile", head, known, "The columns are time and components of the plan.")
    if len(table) < 2:
        raise InputError("profile", f"{len(table)} rows", "two rows or more")
    rows = [f"row {number}" for number in range(2, len(table) + 2)]
    times = np.array([_time(value, row) for value, row in zip(table[clocks[0]], rows, strict=True)])
    for number in np.flatnonzero(np.diff(times) <= 0)[:1] + 1:
        value = table[clocks[0]].iloc[number]
        remedy = "After midnight go on counting: 24:15." if isinstance(value, str) and ":" in value else ""
        raise InputError(f"time, {rows[number]}", value, "later than the row before", remedy)
    watts = {}
    for column, head in heads.items():
        if column == clocks[0]:
            continue
        cells = [(str(v) if isinstance(v, str) else float(v), row) for v, row in zip(table[column], rows, strict=True)]
        cells = [(f"{v} W" if isinstance(v, str) and re.fullmatch(r"[\d.,\s]+", v) else v, row) for v, row in cells]
        watts[head] = np.array(
            [between(f"{head}, {row}", to_si(f"{head}, {row}", v, "power"), 0.0, 3000.0, "W") for v, row in cells]
        )
    return times, watts


def profile(
    plan: Plan, table: pd.DataFrame | str | Path, between_rows: str = "steps", start: str = "settled", **solver: Any
) -> Course:
    """
    Run a table of watts over time, such as an evening of mixed use.

    Parameters
    ----------
    plan : Plan
        One design with a steady answer; components the table leaves out keep their heat.
    table : DataFrame, or path of a CSV file
        See `read_profile`.
    between_rows : str
        "steps": a row holds until the next one. "straight": watts go straight from row to row.
    start : str
        "settled" at the first row, or "room": all at room temperature.
    **solver
        See `load_step`.
    """
    one_of("between_rows", between_rows, ("steps", "straight"))
    one_of("start", start, ("settled", "room"))
    times, watts = read_profile(plan, table)
    model, regime = _ready(plan)
    inputs = np.tile(model.watts(), (len(times), 1))
    for name, values in watts.items():
        inputs[:, 1 + model.inputs.index(name)] = values
    cold = np.full(len(model.stored), float(plan.room_air))
    begin = cold if start == "room" else _settled(model, regime, inputs[0])
    stretches = []
    for number, (low, high) in enumerate(zip(times, times[1:], strict=False)):
        slope = (inputs[number + 1] - inputs[number]) / (high - low) if between_rows == "straight" else None
        stretches.append(Stretch(low, high, regime, inputs[number], slope))
    solver = {"points": 41} | solver
    return run(model, "load over time", stretches, begin, origin=float(times[0]), ends=False, **solver)


#: An evening of mixed use, invented for the demo: clock, and share of the way from idle to a component's peak heat.
EVENING = (
    ("18:00", 0.0),
    ("18:10", 0.3),
    ("18:40", 1.0),
    ("19:40", 0.1),
    ("20:00", 1.0),
    ("21:30", 0.2),
    ("22:30", 0.0),
)
#: Heat of a component that idles, as a share of what it usually has; invented for the demo.
IDLE = 0.2


def evening(plan: Plan) -> pd.DataFrame:
    """
    Return an evening of mixed use as a table for `profile`, made up for the demo: time, and watts of each component.

    It idles, does some work, plays twice at peak heat with a meal between, and idles again for the last half hour.
    """
    parts = plan.components
    peaks = {
        part.name: float(part.heat if part.peak_heat is None else np.maximum(part.heat, part.peak_heat))
        for part in parts
    }
    rows = [
        {"time": clock}
        | {p.name: round(IDLE * float(p.heat) + share * (peaks[p.name] - IDLE * float(p.heat)), 1) for p in parts}
        for clock, share in (*EVENING, ("23:00", 0.0))
    ]
    return pd.DataFrame(rows)
