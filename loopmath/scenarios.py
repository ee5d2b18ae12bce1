"""
What happens to a plan in time: it warms up, its load changes, an evening passes, a pump or fan stops, it is switched off.

Each function runs `transient.Dynamics` and returns a `Course`. A run ends early where the coolant leaves the range of
its data: no temperature is invented beyond. Case air the plan gives stays as given all along.
"""

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from loopmath import air as airs
from loopmath import loop as tree
from loopmath import solution
from loopmath.checks import InputError, between, one_of
from loopmath.laws import materials
from loopmath.plan import Plan
from loopmath.transient import Dynamics, Node, Regime, label
from loopmath.units import to_si

#: Relative and absolute tolerance of the solver; points kept of each stretch; time constants until all is settled.
RELATIVE, ABSOLUTE = 1e-6, 1e-5
POINTS, SETTLED = 161, 10.0
#: A change smaller than this has no time of its own. [K]
LEAST_CHANGE = 0.02
#: Share of a change after which it counts as done.
DONE = 0.95


@dataclass(frozen=True)
class Event:
    """
    When a limit was reached.

    `time` is that of the run [s], None if it was not reached; `words` say it, counted from what caused it.
    """

    quantity: str
    where: str
    limit: float
    time: float | None
    words: str


@dataclass(frozen=True, eq=False)
class _Stretch:
    """Part of a run at one setting: from where to where, its equations, its inputs and how fast they change."""

    start: float
    end: float
    regime: Regime
    inputs: np.ndarray
    slope: np.ndarray | None = None
    states: Callable | None = None

    def driven(self, t: float) -> np.ndarray:
        return self.inputs if self.slope is None else self.inputs + self.slope * (t - self.start)


@dataclass(frozen=True, eq=False)
class Course:
    """
    A run in time.

    Attributes
    ----------
    plan : Plan
    what : str
        What was done, in words.
    origin : float
        Time of the run at which it was done. [s]
    t : array (T,)
        Time; where something stops, two points share a time. [s]
    temperatures : dict of str to array (T,)
        "coolant in X" behind each element, "X" of each component, "air of the case". [degC]
    state : dict of str to array (T,)
        coolant_supply, coolant_return (of the main line), coolant_warmest (anywhere), case_air [degC], flow [m3/s].
    watts : dict of str to array (T,)
        Heat of each component. [W]
    heat : dict of str to array (T,)
        Heat from each component and pump into the coolant; from the coolant to the air of each radiator and, under
        "X, to still air", by natural convection. [W]
    speeds : dict of str to array (T,)
        Of pumps and of radiators' fans, as a share of full speed.
    stored : array (T,)
        Heat stored in loop and components since the start, the air of the case not counted. [J]
    events : tuple of Event
        Limits, each with its time or with words why there is none.
    final : dict of str to float
        Where each temperature of `temperatures` and `state` ends if nothing more changes; empty if nowhere. [degC]
    """

    plan: Plan
    what: str
    origin: float
    t: np.ndarray
    temperatures: dict[str, np.ndarray]
    state: dict[str, np.ndarray]
    watts: dict[str, np.ndarray]
    heat: dict[str, np.ndarray]
    speeds: dict[str, np.ndarray]
    stored: np.ndarray
    events: tuple[Event, ...]
    final: dict[str, float]
    _value: Callable

    def at(self, name: str, time: float) -> float:
        """Return a temperature of `temperatures` or `state` at a time of the run. [degC]"""
        one_of("temperature", name, [*self.temperatures, *(n for n in self.state if n != "flow")])
        between("time", time, float(self.t[0]), float(self.t[-1]), "s")
        return self._value(name, time)

    def reached(self, name: str, share: float = DONE) -> float | None:
        """
        Return the time after which a temperature has come to a share of its whole change, and stays there. [s]

        None if it hardly changes, or has not come there within the run.
        """
        values = self.temperatures.get(name, self.state.get(name))
        if values is None:
            one_of("temperature", name, [*self.temperatures, *self.state])
        if name not in self.final or abs(self.final[name] - values[0]) < LEAST_CHANGE:
            return None
        end, left = self.final[name], (1.0 - share) * abs(self.final[name] - values[0])
        out = np.flatnonzero(np.abs(values - end) > left)
        if not out.size or out[-1] == len(values) - 1:
            return None
        low, high = self.t[out[-1]], self.t[out[-1] + 1]

        def over(t: float) -> float:
            return abs(self._value(name, t) - end) - left

        return brentq(over, low, high) if over(low) * over(high) < 0 else float(high)

    @cached_property
    def times(self) -> dict[str, float | None]:
        """Time to 95 % of the change, for the coolant's warmest point and each component. [s]"""
        names = [n for n in self.temperatures if n in self.watts]
        return {name: self.reached(name) for name in ("coolant_warmest", *names)}

    @property
    def table(self) -> pd.DataFrame:
        """The run as a table: time in minutes, temperatures, flow, heat of each component."""
        columns = {"time [min]": self.t / 60}
        columns |= {f"{n} [degC]": v for n, v in (*self.state.items(), *self.temperatures.items()) if n != "flow"}
        columns["flow [L/min]"] = self.state["flow"] * 6e4
        return pd.DataFrame(columns | {f"{n} [W]": v for n, v in self.watts.items()})

    @property
    def peaks(self) -> pd.DataFrame:
        """The warmest each temperature became from what was done on, and how long after it."""
        late = np.flatnonzero(self.t >= self.origin)
        late = late[1:] if late.size > 1 and self.t[late[0]] == self.t[late[1]] else late
        rows = []
        for name, values in self.temperatures.items():
            top = late[int(np.argmax(values[late]))]
            rows.append((name, float(values[top]), float(self.t[top] - self.origin)))
        return pd.DataFrame(rows, columns=["temperature", "peak [degC]", "after [s]"]).set_index("temperature")


def spoken(seconds: float) -> str:
    """
    Return a length of time as people say it.

    Examples
    --------
    >>> spoken(42.4), spoken(185), spoken(4320)
    ('42 s', '3 min 05 s', '1 h 12 min')
    """
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02d} s"
    return f"{whole // 3600} h {whole % 3600 // 60:02d} min"


# ------------------------------------------------------------------------------------------------------ the run


@dataclass(frozen=True, eq=False)
class _Limit:
    quantity: str
    where: str
    limit: float
    nodes: np.ndarray  # the warmest of these nodes of the model


def _limits(model: Dynamics) -> list[_Limit]:
    """Return what must not become too warm; the last is the end of the coolant's data."""
    plan, out = model.plan, []
    for thing in (*model.sources, *model.on_air):
        node = np.array([model.place["component", thing.name]])
        out.append(_Limit("component limit", thing.name, thing.limit, node))
    coolant = np.array([n for n, node in enumerate(model.nodes) if node.kind == "coolant"])
    out.append(_Limit("your limit of the coolant", "coolant", plan.coolant_limit, coolant))
    for leaf in tree.leaves(plan.loop):
        if isinstance(leaf, (tree.Run, tree.DeadLeg)) and leaf.tube.material != "copper":
            soft = materials.softening_temperature(leaf.tube.material)
            if soft is not None:
                node = np.array([model.place["coolant", leaf.name]])
                out.append(_Limit("tube may soften", leaf.name, soft, node))
    return [*out, _Limit("end of the coolant's data", "coolant", plan.coolant.high, coolant)]


def _reader(model: Dynamics, regime: Regime, nodes: np.ndarray) -> Callable:
    """Return a function (stored, inputs) -> temperatures of some nodes, the short way where all of them store heat."""
    order = {int(n): k for k, n in enumerate(model.stored)}
    if all(int(n) in order for n in nodes):
        at = np.array([order[int(n)] for n in nodes])
        return lambda stored, inputs: stored[at]
    return lambda stored, inputs: regime.temperatures(stored, inputs)[nodes]


def _run(
    model: Dynamics,
    what: str,
    stretches: list[_Stretch],
    start: np.ndarray,
    origin: float = 0.0,
    relative: float = RELATIVE,
    absolute: float = ABSOLUTE,
    points: int = POINTS,
    ends: bool = True,
) -> Course:
    """Run stretches one after another and read the course; `ends` says whether it settles where the last one leads."""
    limits = _limits(model)
    crossed: dict[int, float] = {}
    done, pieces, stored, broken = [], [], start, None
    for stretch in stretches:
        regime = stretch.regime
        readers = [_reader(model, regime, limit.nodes) for limit in limits]

        def over(number: int, readers: list = readers, stretch: _Stretch = stretch) -> Callable:
            reader, limit = readers[number], limits[number].limit

            def event(t: float, y: np.ndarray) -> float:
                return reader(y, stretch.driven(t)).max() - limit

            event.direction, event.terminal = 1.0, number == len(limits) - 1
            return event

        events = [over(n) for n in range(len(limits))]
        for n, event in enumerate(events):
            if event(stretch.start, stored) > 0:
                crossed.setdefault(n, stretch.start)
        if len(limits) - 1 in crossed:
            broken = stretch.start
            break
        found = solve_ivp(
            lambda t, y, r=regime, s=stretch: r.rise(y, s.driven(t)),
            (stretch.start, stretch.end),
            stored,
            method="LSODA",
            jac=lambda t, y, r=regime, s=stretch: r.jacobian(y, s.driven(t)),
            dense_output=True,
            events=events,
            rtol=relative,
            atol=absolute,
        )
        if found.status < 0:
            raise InputError("run in time", found.message, "a plan whose temperatures can be followed")
        for n, times in enumerate(found.t_events):
            if len(times):
                crossed.setdefault(n, float(times[0]))
        stored, last = found.y[:, -1], float(found.t[-1])
        kept = replace(stretch, end=last, states=found.sol)
        done.append(kept)
        t = stretch.start + (last - stretch.start) * np.linspace(0.0, 1.0, points) ** 2
        pieces.append((kept, t, found.sol(t)))
        if found.status == 1:
            broken = last
            break
    if not pieces:
        limit = limits[-1]
        raise InputError("coolant temperature", f"more than {limit.limit:g} degC", "a start inside the coolant's data")
    end = done[-1].end
    told = tuple(_event(limit, crossed.get(n), origin, end, broken) for n, limit in enumerate(limits))
    final = {}
    if ends and broken is None:
        last = done[-1]
        settled = last.regime.steady(last.driven(last.end), stored)
        final = _read(model, last.regime, settled[:, None], last.driven(last.end)[:, None])[0]
        final = {name: float(values[0]) for name, values in final.items() if name != "flow"}
    return _course(model, what, origin, pieces, told, final)


def _event(limit: _Limit, time: float | None, origin: float, end: float, broken: float | None) -> Event:
    if time is not None:
        words = "already over it" if time <= origin else f"after {spoken(time - origin)}"
    elif broken is not None:
        words = f"not known: {spoken(broken - origin)} after, the coolant leaves the range of its data"
    else:
        words = f"never within the {spoken(end - origin)} asked"
    return Event(limit.quantity, limit.where, float(limit.limit), time, words)


def _names(model: Dynamics) -> list[tuple[int, str]]:
    keep = ("coolant", "component", "air")
    return [(n, label(node)) for n, node in enumerate(model.nodes) if node.kind in keep]


def _read(model: Dynamics, regime: Regime, stored: np.ndarray, inputs: np.ndarray) -> tuple[dict, dict]:
    """Return (temperatures and state, heats) of many moments, the moments last."""
    full, heats, flow = regime.read(stored, inputs)
    out = {name: full[n] for n, name in _names(model)}
    main = full[regime.main]
    coolant = [n for n, node in enumerate(model.nodes) if node.kind == "coolant"]
    # Dead legs count for tubes but not for what is called the coolant of the loop.
    flowing = [n for n in coolant if not isinstance(model.nodes[n].element, tree.DeadLeg)]
    case = full[model.place["air", "case"]] if ("air", "case") in model.place else np.full_like(flow, model.case_air)
    out |= {"coolant_supply": main.min(axis=0), "coolant_return": main.max(axis=0)}
    out |= {"coolant_warmest": full[flowing].max(axis=0), "case_air": case, "flow": flow}
    return out, heats


STATE = ("coolant_supply", "coolant_return", "coolant_warmest", "case_air", "flow")


def _course(model: Dynamics, what: str, origin: float, pieces: list, events: tuple, final: dict) -> Course:
    parts: dict[str, list] = {}
    heats: list[dict] = []
    speeds: dict[str, list] = {}
    t, watts, energy = [], [], []
    loop_nodes = [n for n in model.stored if model.nodes[n].kind != "air" and not _on_air(model.nodes[n])]
    order = {int(n): k for k, n in enumerate(model.stored)}
    rows = [order[int(n)] for n in loop_nodes]
    first = pieces[0][2][rows, 0]
    for stretch, times, states in pieces:
        inputs = np.stack([stretch.driven(time) for time in times], axis=1)
        read, heat = _read(model, stretch.regime, states, inputs)
        for name, values in read.items():
            parts.setdefault(name, []).append(values)
        heats.append(heat | {"": 0.0 * times})
        for name, speed in _speeds(stretch.regime.plan):
            speeds.setdefault(name, []).append(np.full(len(times), speed))
        t.append(times)
        watts.append(inputs[1:])
        energy.append(model.capacity[loop_nodes] @ (states[rows] - first[:, None]))
    whole = {name: np.concatenate(values) for name, values in parts.items()}
    names = {name for heat in heats for name in heat if name}
    joined = {name: np.concatenate([heat.get(name, heat[""]) for heat in heats]) for name in sorted(names)}

    def value(name: str, time: float) -> float:
        stretch = next(s for s, times, _ in reversed(pieces) if s.start <= time or s is pieces[0][0])
        inputs = stretch.driven(time)
        return float(_read(model, stretch.regime, stretch.states(time)[:, None], inputs[:, None])[0][name][0])

    return Course(
        model.plan,
        what,
        origin,
        np.concatenate(t),
        {name: values for name, values in whole.items() if name not in STATE},
        {name: whole[name] for name in STATE},
        dict(zip(model.inputs, np.concatenate(watts, axis=1), strict=True)),
        joined,
        {name: np.concatenate(values) for name, values in speeds.items()},
        np.concatenate(energy),
        events,
        final,
        value,
    )


def _on_air(node: Node) -> bool:
    return node.kind == "component" and not isinstance(node.element, tree.Source)


def _speeds(plan: Plan) -> Iterable[tuple[str, float]]:
    for unit in plan.units(tree.PumpUnit):
        yield unit.name, float(unit.pump.turning(unit.speed))
    for unit in plan.units(tree.RadiatorUnit):
        if unit.fan is not None:
            yield unit.name, float(unit.fan.turning(unit.fan_speed))


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
    return _to_rest(model, f"load from {shares[0]:.0%} to {shares[1]:.0%}", regime, after, start, duration, solver)


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
    return _run(model, what, [_Stretch(0.0, duration, regime, inputs)], start, **solver)


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
    return _stop(plan, "pump stops", _pumps_off, (), at, within, solver)


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
    return _stop(plan, words, lambda p: _fans_off(p, which), _without_air(plan, which), at, within, solver)


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
    every = [unit.name for unit in plan.units(tree.RadiatorUnit)] + [fans.name for fans in plan.case_fans]

    def off(p: Plan) -> Plan:
        p = replace(_fans_off(_pumps_off(p), every), case_heat=0.0)
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
    stretches = [_Stretch(0.0, at, regime, inputs)] if at > 0 else []
    stretches.append(_Stretch(at, at + within, model.regime(then, stopped), model.watts(then)))
    return _run(model, what, stretches, start, origin=at, ends=False, **solver)


def _pumps_off(plan: Plan) -> Plan:
    return plan.with_loop(lambda leaf: replace(leaf, speed=0.0) if isinstance(leaf, tree.PumpUnit) else leaf)


def _fans_off(plan: Plan, which: Iterable[str]) -> Plan:
    def off(leaf: Any) -> Any:
        if not isinstance(leaf, tree.RadiatorUnit) or leaf.name not in which:
            return leaf
        return replace(leaf, fan_speed=0.0, pull_speed=None, second_fans=0.0, air_flow_each=0.0)

    case = tuple(replace(fans, speed=0.0) if fans.name in which else fans for fans in plan.case_fans)
    return replace(plan.with_loop(off), case_fans=case)


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
    known = [thing.name for thing in (*plan.units(tree.Source), *plan.on_air)]
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
        stretches.append(_Stretch(low, high, regime, inputs[number], slope))
    solver = {"points": 41} | solver
    return _run(model, "load over time", stretches, begin, origin=float(times[0]), ends=False, **solver)
