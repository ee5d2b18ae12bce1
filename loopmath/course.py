"""
A run in time: stretches at one setting each, followed by a solver for stiff equations, and the record that is kept.

A run ends early where the coolant leaves the range of its data: no temperature is invented beyond.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from loopmath import loop as tree
from loopmath import wetted
from loopmath.case import AirPart
from loopmath.checks import InputError, between, one_of
from loopmath.plan import Plan
from loopmath.regime import Regime, label
from loopmath.transient import Dynamics

#: Relative and absolute tolerance of the solver; points kept of each stretch.
RELATIVE, ABSOLUTE = 1e-6, 1e-5
POINTS = 161
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
class Stretch:
    """
    Part of a run at one setting: from where to where [s], its equations, its inputs and how fast they change.

    `states` gives the temperatures that store heat at a time, once it was run.
    """

    start: float
    end: float
    regime: Regime
    inputs: np.ndarray
    slope: np.ndarray | None = None
    states: Callable | None = None

    def driven(self, t: float) -> np.ndarray:
        """Return the inputs at a time."""
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
        Of pumps, of radiators' fans and of fans of the case, as a share of full speed.
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
            peak = values[late].max()
            # What stays as warm as it became has its peak when it came there, not at a later wobble of the solver.
            top = late[int(np.argmax(values[late] >= peak - LEAST_CHANGE))]
            rows.append((name, float(peak), float(self.t[top] - self.origin)))
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
            soft = wetted.softening(leaf.tube.material, leaf.tube.heat_deflection)
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


def run(
    model: Dynamics,
    what: str,
    stretches: list[Stretch],
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
        events = [_over(model, stretch, limit, limit is limits[-1]) for limit in limits]
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


def _over(model: Dynamics, stretch: Stretch, limit: _Limit, ends: bool) -> Callable:
    """Return an event for the solver: a limit passed on the way up; the run stops there if it `ends`."""
    reader = _reader(model, stretch.regime, limit.nodes)

    def event(t: float, y: np.ndarray) -> float:
        return reader(y, stretch.driven(t)).max() - limit.limit

    event.direction, event.terminal = 1.0, ends
    return event


def _event(limit: _Limit, time: float | None, origin: float, end: float, broken: float | None) -> Event:
    if time is not None:
        words = "already over it" if time <= origin else f"after {spoken(time - origin)}"
    elif broken is not None:
        words = f"not known: {spoken(broken - origin)} after, the coolant leaves the range of its data"
    else:
        words = f"not within the {spoken(end - origin)} shown"
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
    loop_nodes = [
        n for n in model.stored if model.nodes[n].kind != "air" and not isinstance(model.nodes[n].element, AirPart)
    ]
    order = {int(n): k for k, n in enumerate(model.stored)}
    rows = [order[int(n)] for n in loop_nodes]
    first = pieces[0][2][rows, 0]
    for stretch, times, states in pieces:
        inputs = np.stack([stretch.driven(time) for time in times], axis=1)
        read, heat = _read(model, stretch.regime, states, inputs)
        for name, values in read.items():
            parts.setdefault(name, []).append(values)
        heats.append(heat | {"": 0.0 * times})
        for unit in stretch.regime.plan.turning:
            speed = float(unit.machine.turning(unit.speed))
            speeds.setdefault(unit.name, []).append(np.full(len(times), speed))
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
