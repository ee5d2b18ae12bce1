"""
Quiet against cool: who makes the sound, how far every limit is kept, and the slowest fans that keep them all.

Levels are estimates: rated level and 50 log10 of the speed, the energies of all sources added, 20 log10 of the
distance (`laws.sound`). Limits are those of the plan and its parts; rules of thumb, such as how far coolant should stay
over room, are no limits here and go on warning. At another load use `Plan.at_peak`.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from scipy.interpolate import PchipInterpolator

from loopmath import loop as tree
from loopmath.checks import InputError, between, one_of
from loopmath.designs import number_of_designs, one_design
from loopmath.limits import SOUND, Limit, limits, margins
from loopmath.plan import Plan
from loopmath.roots import UNKNOWN, root
from loopmath.solution import Solution, solved

#: What stays while fans are scaled: the proportions they have in the plan (the default), or all turn at one speed.
PLANNED, COMMON = "planned", "common"
#: Fan and pump speeds of the grids that bracket what is searched; how often the search zooms in at most.
FANS, PUMPS, ZOOMS = 12, 17, 5
#: How near a margin at its root is to none: beyond, the limit was not met there but what is known ended.
NEAR = 0.01
#: How close speeds are found, share of full speed: less than 0.001 dB, and less than that matters nowhere. [dB]
CLOSE, ENOUGH = 1e-5, 0.01


# ------------------------------------------------------------------------------------------------------ sound


def sound_sources(solution: Solution) -> pd.DataFrame:
    """
    Return who makes the sound: level at the listener, share of the sound's energy, speed it turns at.

    The levels are estimates, see the head of this module. A source that stands has minus infinity and no share; a
    part on air is stated at its usual level, without a speed. N designs give N rows each.
    """
    levels, total = solution.sounds(), solution.state["sound"]
    speeds = {unit.name: unit.machine.turning(unit.speed) for unit in solution.plan.turning}
    rows = []
    for name, level in levels.items():
        with np.errstate(invalid="ignore"):
            share = np.where(np.isfinite(level), 10.0 ** ((level - total) / 10.0), 0.0)
        rows.append((name, level, 100 * share, 100 * np.asarray(speeds.get(name, np.nan))))
    columns = ["source", "level [dB]", "share of sound energy [%]", "speed [%]"]
    return solution.frame(rows, columns)


def _worst(found: list[Limit], kinds: tuple[str, ...], reserve: float = 0.0) -> np.ndarray:
    """Return the smallest margin of the limits of some kinds, temperatures less a reserve."""
    kept = [one.margin - reserve * (one.kind == "difference") for one in found if one.kind in kinds]
    return np.min([_known(margin) for margin in kept], axis=0)


# ----------------------------------------------------------------------------------------------------- speeds


@dataclass(frozen=True, eq=False)
class _Machines:
    """All fans, or all pumps: the speed of each as a share of the fastest, and the least speed of each."""

    shares: dict[tuple[str, str], float]
    least: dict[str, float]

    @property
    def lowest(self) -> float:
        """Speed of the fastest at which all that turn are at their least speed. [share of full]"""
        turning = [self.least[name] / share for (name, _), share in self.shares.items() if share > 0]
        return min(1.0, max(min(turning), 1e-3))

    def speed(self, name: str, field: str, fastest: Any) -> Any:
        """Return the speed of one; what turns cannot turn slower than its least speed."""
        share = self.shares[name, field]
        if share == 0:
            return 0.0 * fastest
        return np.where(np.asarray(fastest) > 0, np.clip(share * fastest, self.least[name], 1.0), 0.0)[()]


def _machines(speeds: dict[tuple[str, str], Any], least: dict[str, float], keep: str) -> tuple[_Machines, float]:
    one_of("keep", keep, (PLANNED, COMMON))
    fastest = max(speeds.values(), default=0.0)
    # Fans that all stand in the plan have no proportions: they get one speed.
    same = keep == COMMON or fastest == 0
    shares = {place: 1.0 if same else speed / fastest for place, speed in speeds.items()}
    return _Machines(shares, least), float(fastest)


def _fans(plan: Plan, keep: str = PLANNED) -> tuple[_Machines, float]:
    speeds, least = {}, {}
    for unit in plan.fanned:
        least[unit.name] = unit.fan.least_speed
        for field in ("fan_speed", "pull_speed", "second_speed"):
            used = field != "second_speed" or np.any(np.asarray(unit.second_fans) > 0)
            if used and getattr(unit, field) is not None:
                speeds[unit.name, field] = getattr(unit, field)
    for fans in plan.case_fans:
        speeds[fans.name, "speed"], least[fans.name] = fans.speed, fans.fan.least_speed
    return _machines(speeds, least, keep)


def _pumps(plan: Plan) -> tuple[_Machines, float]:
    units = plan.units(tree.PumpUnit)
    return _machines({(u.name, "speed"): u.speed for u in units}, {u.name: u.pump.least_speed for u in units}, PLANNED)


def at_speeds(plan: Plan, fans: Any = None, pumps: Any = None, keep: str = PLANNED) -> Plan:
    """
    Return the plan with all its fans, those of radiators and of the case, or all its pumps at another speed.

    Parameters
    ----------
    plan : Plan
        One design.
    fans, pumps : float or array of N designs, optional
        Speed of the fastest of them, 0 to 1 of full speed; 0: all stand. None leaves them as they are.
    keep : str
        "planned": the others keep the proportions of the plan; "common": all fans turn at this speed. Pumps always
        keep their proportions. What turns turns no slower than its least speed.

    Raises
    ------
    OutOfRange
        If a speed is no share of full speed.
    """

    def place(machines: _Machines, value: Any) -> Callable:
        def one(leaf: Any) -> Any:
            mine = [field for name, field in machines.shares if name == leaf.name]
            return replace(leaf, **{f: machines.speed(leaf.name, f, value) for f in mine}) if mine else leaf

        return one

    if fans is not None:
        change = place(_fans(plan, keep)[0], between("fan speed", fans, 0.0, 1.0, "of full speed"))
        plan = replace(plan.with_loop(change), case_fans=tuple(map(change, plan.case_fans)))
    if pumps is not None:
        plan = plan.with_loop(place(_pumps(plan)[0], between("pump speed", pumps, 0.0, 1.0, "of full speed")))
    return plan


def _checked(plan: Plan) -> None:
    """Refuse a plan of N designs, or one without fans."""
    one_design("plan", number_of_designs(plan))
    if not _fans(plan)[0].shares:
        raise InputError("fans", "none in the plan", "a plan with a fan", "Give a radiator its fans.")


# --------------------------------------------------------------------------------------------------- trade-off


class Hit(NamedTuple):
    """The fan speed at which a limit is just kept, and the sound there; NaN where no speed of the range meets it."""

    speed: Any
    sound: Any


@dataclass(frozen=True, eq=False)
class TradeOff:
    """
    What speeds give: arrays over fan speeds (N,), or over pump and fan speeds (P, N) where pump speeds were given.

    Attributes
    ----------
    speeds, pump_speeds : array
        Of the fastest fan and the fastest pump; `pump_speeds` is None where the pumps stay as they are.
    solution : Solution
        The answer at all these speeds; what else is here is read from it.
    """

    plan: Plan
    keep: str
    speeds: np.ndarray
    pump_speeds: np.ndarray | None
    solution: Solution

    def _shaped(self, value: Any) -> np.ndarray:
        return np.reshape(value, (len(self.speeds),) if self.pump_speeds is None else (-1, len(self.speeds)))

    @property
    def sound(self) -> np.ndarray:
        """At the listener, estimated. [dB]"""
        return self._shaped(self.solution.state["sound"])

    @property
    def coolant_over_room(self) -> np.ndarray:
        """Of the warmest coolant. [K]"""
        return self._shaped(self.solution.state["coolant_over_room"])

    @property
    def case_air(self) -> np.ndarray:
        """Air of the case. [degC]"""
        return self._shaped(self.solution.state["case_air"])

    @cached_property
    def components(self) -> dict[str, np.ndarray]:
        """In the loop and on air. [degC]"""
        return {part.name: self._shaped(self.solution.state[part.name]) for part in self.plan.components}

    @cached_property
    def margins(self) -> dict[str, np.ndarray]:
        """As the function `margins`."""
        return {name: self._shaped(value) for name, value in margins(self.solution).items()}

    @cached_property
    def hits(self) -> dict[str, Hit]:
        """
        Where each limit is met: a root, bracketed by the speeds; arrays (P,) where pump speeds were given.

        Where a limit is met at more speeds than one, the fastest of them counts.
        """
        turning = np.flatnonzero(self.speeds > 0)
        order = turning[np.argsort(self.speeds[turning])]
        grid, names = self.speeds[order], list(self.margins)
        rows = 1 if self.pump_speeds is None else len(self.pump_speeds)
        table = _known(np.array([np.reshape(m, (rows, -1))[:, order] for m in self.margins.values()]))
        crossed = (table[..., :-1] < 0) != (table[..., 1:] < 0)
        which, pump = np.nonzero(np.any(crossed, axis=-1))
        last = crossed.shape[-1] - 1 - np.argmax(crossed[which, pump, ::-1], axis=-1)
        speed, level = np.full((2, len(names), rows), np.nan)
        if which.size:

            def margin(fan: Any) -> Any:
                values = margins(self._at(fan, pump)).values()
                return _known(np.array(list(values)))[which, np.arange(len(fan))]

            ends = (table[which, pump, last], table[which, pump, last + 1])
            met, left = root(margin, grid[last], grid[last + 1], *ends)
            known = np.abs(left) < NEAR
            speed[which, pump] = np.where(known, met, np.nan)
            level[which, pump] = np.where(known, self._at(met, pump).state["sound"], np.nan)
        if self.pump_speeds is None:
            return {name: Hit(float(s[0]), float(d[0])) for name, s, d in zip(names, speed, level, strict=True)}
        return {name: Hit(s, d) for name, s, d in zip(names, speed, level, strict=True)}

    def _at(self, fan: np.ndarray, pump: np.ndarray) -> Solution:
        pumps = None if self.pump_speeds is None else self.pump_speeds[pump]
        return solved(at_speeds(replace(self.plan, budget=None), fan, pumps, self.keep), self.solution.friction)


def _known(values: Any) -> np.ndarray:
    """Return margins with `UNKNOWN` for what is not known."""
    return np.nan_to_num(np.asarray(values, dtype=float), nan=UNKNOWN)


def trade_off(
    plan: Plan, speeds: Any = 60, pump_speeds: Any = None, keep: str = PLANNED, friction: str = "churchill"
) -> TradeOff:
    """
    Return sound, temperatures and margins while the fans of the whole machine are scaled together.

    Parameters
    ----------
    plan : Plan
        One design; fans of radiators and of the case are scaled, nothing else.
    speeds : int or array of N
        Of the fastest fan, 0 to 1; or how many, from where all turn at their least speed to full speed.
    pump_speeds : array of P, optional
        Of the fastest pump; by default the pumps stay as they are.
    keep : str
        "planned" or "common", as `at_speeds`; the proportions of the plan by default.

    Returns
    -------
    trade_off : TradeOff
        All speeds solved at once; `hits` are roots, bracketed by the speeds given.

    Raises
    ------
    InputError
        For a plan of N designs or without fans.
    OutOfRange
        If a speed is no share of full speed.
    """
    _checked(plan)
    if isinstance(speeds, int):
        speeds = np.linspace(_fans(plan, keep)[0].lowest, 1.0, speeds)
    speeds = np.atleast_1d(between("speeds", speeds, 0.0, 1.0, "of full speed"))
    if pump_speeds is None:
        return TradeOff(plan, keep, speeds, None, solved(at_speeds(plan, speeds, None, keep), friction))
    pump_speeds = np.atleast_1d(between("pump speeds", pump_speeds, 0.0, 1.0, "of full speed"))
    fans, pumps = np.tile(speeds, len(pump_speeds)), np.repeat(pump_speeds, len(speeds))
    return TradeOff(plan, keep, speeds, pump_speeds, solved(at_speeds(plan, fans, pumps, keep), friction))


# ------------------------------------------------------------------------------------------------ the quietest


@dataclass(frozen=True, eq=False)
class Quietest:
    """
    The quietest setting, or why there is none.

    Attributes
    ----------
    kept : bool
        Whether it keeps every limit.
    fan_speed, pump_speed : float
        Of the fastest fan and pump; where no speed keeps the limits of temperature and flow, full speed.
    sound : float
        Estimated. [dB]
    binding : tuple of str
        Limits at which it stands, and "fans at their least speed", "all fans stand", "pumps at their least speed".
    failing : tuple of (Limit, float)
        Limits it breaks and by how much, as a positive number; NaN where no temperature can be stated.
    solution : Solution
        The answer at this setting.
    """

    kept: bool
    fan_speed: float
    pump_speed: float
    sound: float
    binding: tuple[str, ...]
    failing: tuple[tuple[Limit, float], ...]
    solution: Solution

    @property
    def words(self) -> str:
        """What was found, in a sentence or two."""
        fans = f"fans at {100 * self.fan_speed:.0f} %" if self.fan_speed > 0 else "all fans standing"
        at = f"{fans}, pump at {100 * self.pump_speed:.0f} %, {self.sound:.1f} dB (estimated)"
        if self.kept:
            return f"Quietest setting that keeps every limit: {at}. What holds it there: {', '.join(self.binding)}."
        units = {"difference": " K", "sound": " dB", "share": " of it"}
        broken = [
            f"{limit.name} by {by:.2g}{units[limit.kind]}" if np.isfinite(by) else f"{limit.name} (not known)"
            for limit, by in self.failing
        ]
        why = "" if self.solution.plight == "" else f" {self.solution.plight}"
        return f"No setting keeps every limit. With {at}, these are broken: {', '.join(broken)}.{why}"


def quietest(
    plan: Plan,
    pump_speed: float | None = None,
    keep: str = PLANNED,
    reserve: float = 0.0,
    friction: str = "churchill",
) -> Quietest:
    """
    Return the quietest setting of fans and pumps that keeps every limit.

    At a pump speed the slowest fans that keep the limits of temperature and flow are a root, bracketed by a grid; what
    is quietest over pump speeds is searched on a grid that zooms in on its best. A fan or pump that turns turns no
    slower than its least speed; that all fans stand is looked at apart.

    Parameters
    ----------
    plan : Plan
        One design.
    pump_speed : float, optional
        Of the fastest pump, if it is settled; by default it is searched.
    keep : str
        "planned" or "common", as `at_speeds`.
    reserve : float
        So much every temperature stays below its limit. [K]

    Returns
    -------
    quietest : Quietest
        Where nothing keeps the limits of temperature and flow, the answer at full speed with what fails there; where
        only the sound limit is broken, the quietest setting that keeps all others.

    Raises
    ------
    InputError
        For a plan of N designs or without fans.
    OutOfRange
        If the pump speed is no share of full speed.
    """
    _checked(plan)
    between("reserve", reserve, 0.0, 100.0, "K")
    lowest = _pumps(plan)[0].lowest if plan.units(tree.PumpUnit) else 1.0
    if pump_speed is None:
        pumps = np.linspace(lowest, 1.0, PUMPS)
    else:
        given = between("pump speed", float(pump_speed), 0.0, 1.0, "of full speed")
        pumps = np.array([max(given, lowest) if given > 0 else 0.0])
    slowest = _Slowest(replace(plan, budget=None), keep, reserve, friction, _fans(plan, keep)[0].lowest)
    window = np.linspace(slowest.lowest, 1.0, FANS)
    fan, pump = 1.0, float(pumps[-1])
    for _ in range(ZOOMS):
        fans, sound, corners = slowest(pumps, window)
        if np.all(np.isnan(fans)):
            break
        best = int(np.nanargmin(sound))
        fan, pump = float(fans[best]), float(pumps[best])
        beside = [n for n in (best - 1, best + 1) if 0 <= n < len(pumps)]
        gain = max((np.nan_to_num(sound[n], nan=np.inf) - sound[best] for n in beside), default=0.0)
        if gain < ENOUGH or pumps[beside[-1]] - pumps[beside[0]] < 30 * CLOSE:
            break
        low, high = pumps[beside[0]], pumps[beside[-1]]
        around = np.nan_to_num(fans[[*beside, best]], nan=1.0)
        window = np.linspace(around.min(), around.max(), FANS)
        near = [corner + side for corner in corners for side in (-CLOSE, CLOSE) if low < corner + side < high]
        pumps = np.unique([*np.linspace(low, high, PUMPS), pump, *near])
    answer = solved(at_speeds(plan, fan, pump, keep), friction)
    binding, failing = [], []
    for limit in limits(answer):
        left = limit.margin - reserve * (limit.kind == "difference")
        if not left >= 0:
            failing.append((limit, -left))
        elif left < NEAR and limit.name != SOUND:
            binding.append(limit.name)
    if fan <= slowest.lowest:
        binding.append("all fans stand" if fan == 0 else "fans at their least speed")
    if pump <= lowest:
        binding.append("pumps at their least speed")
    sound = float(answer.state["sound"])
    return Quietest(not failing, fan, pump, sound, tuple(binding), tuple(failing), answer)


@dataclass(frozen=True, eq=False)
class _Slowest:
    """The slowest fans that keep the limits of temperature and flow, for many pump speeds at once."""

    plan: Plan
    keep: str
    reserve: float
    friction: str
    lowest: float

    def __call__(self, pumps: np.ndarray, window: np.ndarray) -> tuple[np.ndarray, np.ndarray, list[float]]:
        """
        Return for each pump speed the slowest fans, NaN where none will do, and the sound. [share], [dB]

        They are looked for among standing, the lowest speed, the `window` and full speed, then between two of these.
        The last item are pump speeds at which, read between those given, the flow is the least or the lowest speed of
        the fans begins to do: where the quietest setting may stand in a corner.
        """
        grid = np.unique([0.0, self.lowest, *np.maximum(window, self.lowest), 1.0])
        table = np.reshape(self._left(np.tile(grid, len(pumps)), np.repeat(pumps, len(grid))), (len(pumps), -1))
        first = np.argmax(table >= 0, axis=1)
        fans = np.where(np.any(table >= 0, axis=1), grid[first], np.nan)
        rooted = np.flatnonzero(first > 1)
        if rooted.size:
            above = first[rooted]
            ends = (grid[above - 1], grid[above], table[rooted, above - 1], table[rooted, above])
            found, _ = root(lambda fan: self._left(fan, pumps[rooted]), *ends)
            # Just beyond the root, where the limits are kept.
            fans[rooted] = np.minimum(found + 2 * CLOSE, 1.0)
        answer = self._at(np.nan_to_num(fans, nan=1.0), pumps)
        flow = _worst(limits(answer), ("share",))
        sound = np.where(flow >= 0, answer.state["sound"], np.nan)
        corners = [x for values in (flow, table[:, 1]) for x in _crossings(pumps, values)]
        return np.where(flow >= 0, fans, np.nan), np.where(np.isnan(fans), np.nan, sound), corners

    def _left(self, fans: np.ndarray, pumps: np.ndarray) -> np.ndarray:
        """Return the smallest margin of temperature. [K]"""
        return _worst(limits(self._at(fans, pumps)), ("difference",), self.reserve)

    def _at(self, fans: np.ndarray, pumps: np.ndarray) -> Solution:
        return solved(at_speeds(self.plan, fans, pumps, self.keep), self.friction)


def _crossings(x: np.ndarray, values: np.ndarray) -> list[float]:
    """Return where values at rising x change sign, read between them."""
    if len(x) < 2 or np.all(values >= 0) or np.all(values < 0):
        return []
    return [float(root) for root in PchipInterpolator(x, values).solve(extrapolate=False)]
