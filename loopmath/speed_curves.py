"""
Speeds that follow a temperature: where they come to rest, and whether they would swing about that point.

At rest every speed lies on its curve at the temperature its sensor then has. A fan that turns faster makes its sensor
cooler, so the point is found as a root of that temperature. With hysteresis a speed rises along its curve and falls
along the curve moved to the cool side; speeds may rest anywhere between the two, and where they do depends on what
was before. The two ends are given: reached from cold, and from hot.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from scipy import interpolate, signal

from loopmath import loop as tree
from loopmath import rules, transient
from loopmath.case import CASE, COOLANT, SENSORS, SpeedCurve
from loopmath.checks import InputError, between, one_of
from loopmath.designs import one_design
from loopmath.plan import BALANCE, Plan
from loopmath.roots import UNKNOWN, root
from loopmath.rules import Fact
from loopmath.solution import Solution, solved
from loopmath.units import DISPLAY

#: Nearer than this a sensor agrees with the speeds it asks for; a speed that jumps never gets there. [K]
AGREED = 1e-3
#: How close a temperature is found; step of slopes, above the noise of an answer whose air is balanced; Newton's
#: steps, and rounds of it, at most. [K]
CLOSE, STEP, STEPS, ROUNDS = 1e-8, 0.05, 25, 6
#: Delay of sensor, controller and fan together, unless told otherwise: an estimate, no source. [s]
DELAY = 1.0
#: Order of the rational function that stands for the delay: denominator, numerator.
PADE = (4, 3)
#: Margins of gain looked for; beyond the last the loop counts as far from hunting.
GAINS = np.geomspace(1e-3, 1e3, 61)


# ------------------------------------------------------------------------------------------------- what is asked


def sensors(plan: Plan) -> list[str]:
    """Return what a curve may follow."""
    return [*SENSORS, *(thing.name for thing in plan.components)]


def checked(plan: Plan) -> tuple[SpeedCurve, ...]:
    """
    Return the speed curves of a plan.

    Raises
    ------
    InputError
        If one drives nothing, an unknown element or one that does not turn, two drive the same, or a sensor is unknown.
    """
    turns, driven = [unit.name for unit in plan.turning], {}
    everything = [thing.name for thing in (*tree.leaves(plan.loop), *plan.case_fans, *plan.on_air)]
    for curve in plan.speed_curves:
        place = f"{curve.name}, drives"
        if not curve.drives:
            raise InputError(place, "nothing", f"one or more of: {', '.join(turns) or 'nothing in the plan turns'}")
        for name in curve.drives:
            one_of(place, name, everything)
            if name not in turns:
                raise InputError(place, name, f"something that turns: {', '.join(turns)}")
            if name in driven:
                remedy = "Let one of the two drive it."
                raise InputError(place, name, f"what no other curve drives; {driven[name]} does", remedy)
            driven[name] = curve.name
        one_of(f"{curve.name}, sensor", curve.sensor, sensors(plan))
    return plan.speed_curves


def sensed(solution: Solution, sensor: str) -> Any:
    """Return what a sensor reads, NaN where it is not known. [degC]"""
    if sensor == CASE and solution.plan.case_air_by != BALANCE:
        return solution.plan.case_air
    return solution.state[{COOLANT: "coolant_warmest", CASE: "case_air"}.get(sensor, sensor)]


# ------------------------------------------------------------------------------------------------------- at rest


@dataclass(frozen=True, eq=False)
class Point:
    """
    Speeds at rest.

    Attributes
    ----------
    plan, solution
        With these speeds.
    speeds : dict of str to float or array
        By curve. [share of full speed]
    temperatures : dict of str to float or array
        By sensor. [degC]
    agrees : bool or array
        Whether every sensor has the temperature its curves ask these speeds for. Where not, there is no rest: a speed
        jumps at its machine's least speed, and it starts and stops in turns.
    """

    plan: Plan
    solution: Solution
    speeds: dict[str, Any]
    temperatures: dict[str, Any]
    agrees: Any


@dataclass(frozen=True, eq=False)
class OnCurves:
    """Where the speeds come to rest: reached from cold, and from hot; without hysteresis they are the same."""

    cold: Point
    hot: Point

    @property
    def plan(self) -> Plan:
        """The plan at the speeds reached from cold, the slower and warmer of the two."""
        return self.cold.plan

    @property
    def solution(self) -> Solution:
        """The answer at the speeds reached from cold."""
        return self.cold.solution

    @property
    def words(self) -> str:
        """What one design does, in a sentence or two."""
        return self.said()

    def said(self, system: str = "metric") -> str:
        """Return what one design does, in "metric" or "us" units."""
        shown = DISPLAY[system]["temperature"].text
        curves = self.cold.plan.speed_curves
        if not curves:
            return "No speed follows a temperature."
        if not (np.all(self.cold.agrees) and np.all(self.hot.agrees)):
            return "No rest: a speed jumps at its machine's least speed, so that starts and stops in turns."
        if plight := self.cold.solution.plight or self.hot.solution.plight:
            return plight
        out = []
        for curve in curves:
            slow, fast = (float(point.speeds[curve.name]) for point in (self.cold, self.hot))
            warm, cool = (float(point.temperatures[curve.sensor]) for point in (self.cold, self.hot))
            driven = " and ".join(curve.drives)
            if self.hot is self.cold or round(100 * slow) == round(100 * fast):
                out.append(f"{driven}: at rest at {100 * slow:.0f} %, {curve.sensor} at {shown(warm)}.")
            else:
                out.append(
                    f"{driven}: at rest anywhere from {100 * slow:.0f} % ({curve.sensor} at {shown(warm)}, reached "
                    f"from cold) to {100 * fast:.0f} % ({shown(cool)}, from hot)."
                )
        return " ".join(out)


def steady_on_curves(plan: Plan, friction: str = "churchill") -> OnCurves:
    """
    Return where the speeds come to rest on the plan's speed curves.

    Parameters
    ----------
    plan : Plan
        One design or N at once; without speed curves its own speeds stand.
    friction : str
        Law of wall friction.

    Returns
    -------
    on_curves : OnCurves
        Plan and answer at these speeds, reached from cold and from hot.

    Raises
    ------
    InputError
        See `checked`.
    """
    curves = checked(plan)
    cold = _at_rest(plan, curves, friction, falling=False)
    apart = any(curve.hysteresis > 0 for curve in curves)
    return OnCurves(cold, _at_rest(plan, curves, friction, falling=True) if apart else cold)


@dataclass(frozen=True, eq=False)
class _Rest:
    """What the sensors read at the speeds their curves ask for."""

    plan: Plan
    curves: tuple[SpeedCurve, ...]
    friction: str
    falling: bool

    @cached_property
    def sensors(self) -> list[str]:
        return list(dict.fromkeys(curve.sensor for curve in self.curves))

    @cached_property
    def ends(self) -> np.ndarray:
        """Temperatures between which the curves of each sensor change: (2, sensors). [degC]"""
        return np.array([[end(c) for end in (min, max)] for c in map(self._points, self.sensors)], dtype=float).T

    def _points(self, sensor: str) -> list[float]:
        return [t - self._shift(c) for c in self.curves if c.sensor == sensor for t in c.temperatures]

    def _shift(self, curve: SpeedCurve) -> float:
        return curve.hysteresis if self.falling else 0.0

    def speeds(self, temperatures: Any) -> dict[str, Any]:
        """Return the speed of each curve where sensors read these temperatures."""
        at = dict(zip(self.sensors, temperatures, strict=True))
        return {c.name: c.speed(at[c.sensor] + self._shift(c)) for c in self.curves}

    def point(self, temperatures: Any) -> Point:
        speeds = self.speeds(temperatures)
        plan = self.plan.with_speeds({name: speeds[c.name] for c in self.curves for name in c.drives})
        answer = solved(plan, self.friction)
        read = {sensor: sensed(answer, sensor) for sensor in self.sensors}
        asked = self.speeds([np.nan_to_num(read[s], nan=1e3) for s in self.sensors])
        agrees = np.True_
        for (sensor, warm), assumed in zip(read.items(), temperatures, strict=True):
            # Beyond the ends of a curve its speed no longer changes, and any temperature will do.
            level = [np.abs(asked[c.name] - speeds[c.name]) for c in self.curves if c.sensor == sensor]
            agrees = agrees & ((np.abs(warm - assumed) < AGREED) | (np.max(level, axis=0) < 1e-12))
        return Point(plan, answer, speeds, read, agrees)

    def excess(self, temperatures: Any) -> np.ndarray:
        """Return how much warmer the sensors are than assumed; what is not known is far too hot. [K]"""
        read = self.point(temperatures).temperatures
        out = np.broadcast_arrays(*(read[s] - t for s, t in zip(self.sensors, temperatures, strict=True)))
        return np.nan_to_num(np.array(out), nan=-UNKNOWN)


def _at_rest(plan: Plan, curves: tuple[SpeedCurve, ...], friction: str, falling: bool) -> Point:
    rest = _Rest(plan, curves, friction, falling)
    if not curves:
        return Point(plan, solved(plan, friction), {}, {}, np.True_)
    low, high = rest.ends
    shape = rest.excess(low).shape
    low, high = (np.broadcast_to(end.reshape(-1, *[1] * (len(shape) - 1)), shape) for end in (low, high))
    t = np.array(high)
    if len(rest.sensors) == 1:
        return rest.point([_alone(rest, t, 0, low, high)])
    for _ in range(ROUNDS):
        t, left = _newton(rest, t, low, high)
        if np.all(np.abs(left) < AGREED):
            break
        # Where Newton stands still, as at corners, one sensor after the other is brought to rest.
        for n in range(len(t)):
            t[n] = np.where(np.any(np.abs(left) >= AGREED, axis=0), _alone(rest, t, n, low, high), t[n])
    return rest.point(list(t))


def _alone(rest: _Rest, t: np.ndarray, n: int, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Return what sensor `n` reads at rest while the others stay: warmer than it assumes only below that."""

    def excess(at: np.ndarray) -> np.ndarray:
        one = np.array(t)
        one[n] = at
        return rest.excess(one)[n]

    at_low, at_high = excess(low[n]), excess(high[n])
    # Cooler than the curve begins, or hotter than it ends, it rests at that end's speed.
    inside = (at_low > 0) & (at_high < 0)
    ends = (np.where(inside, at_low, 1.0), np.where(inside, at_high, -1.0))
    found, _ = root(
        lambda at: np.where(inside, excess(np.where(inside, at, low[n])), 0.0), low[n], high[n], *ends, CLOSE
    )
    return np.where(inside, found, np.where(at_low <= 0, low[n], high[n]))


def _newton(rest: _Rest, start: np.ndarray, low: np.ndarray, high: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """
    Return (what several sensors read at rest, what is left), from a start; a step that makes matters worse is halved.

    Curves that follow different sensors may have more than one point of rest; this finds one.
    """
    t, size = start, len(start)

    def missed(at: np.ndarray) -> np.ndarray:
        """Return the excess; beyond a curve's ends there is none on the outer side."""
        out = rest.excess(at)
        outside = ((at <= low) & (out < 0)) | ((at >= high) & (out > 0))
        return np.where(outside, 0.0, out)

    left = missed(t)
    for _ in range(STEPS):
        if np.all(np.abs(left) < CLOSE):
            break
        slopes = []
        for n in range(size):
            # Towards the inner side, where a curve has a slope.
            way = np.where(
                np.arange(size).reshape(-1, *[1] * (t.ndim - 1)) == n, np.where(t - low > STEP, -STEP, STEP), 0.0
            )
            slopes.append((rest.excess(t + way) - rest.excess(t)) / np.sum(way, axis=0))
        matrix = np.moveaxis(np.array(slopes), (0, 1), (-1, -2))
        # What rests at an end of its curve stays there.
        still = np.moveaxis((left == 0) & ((t <= low) | (t >= high)), 0, -1)
        matrix = np.where(still[..., None], np.eye(size), matrix)
        step = np.moveaxis(np.linalg.solve(matrix, -np.moveaxis(left, 0, -1)[..., None])[..., 0], -1, 0)
        share = np.ones(t.shape[1:])
        for _ in range(10):
            fresh = np.clip(t + share * step, low, high)
            after = missed(fresh)
            worse = np.max(np.abs(after), axis=0) > np.max(np.abs(left), axis=0)
            if not np.any(worse):
                break
            share = np.where(worse, 0.5 * share, share)
        if np.array_equal(fresh, t):
            break
        t, left = fresh, after
    return t, left


# ------------------------------------------------------------------------------------------------------- hunting


@dataclass(frozen=True, eq=False)
class Hunting:
    """
    Whether speeds on their curves would swing.

    Attributes
    ----------
    gain_margin : float
        So many times steeper all curves could be before the swings no longer die out; below 1 they hunt now, 0 where
        there is no rest at all, infinite where none was found up to `GAINS`.
    period : float
        Of the swings at that margin, infinite where nothing swings but one curve takes over from another. [s]
    growth : float
        Of what dies out slowest now; negative dies out. [1/s]
    slopes : dict of str to float
        Of each curve at the point of rest. [share of full speed for each K]
    delay : float
        As taken. [s]
    """

    gain_margin: float
    period: float
    growth: float
    slopes: dict[str, float]
    delay: float

    @property
    def facts(self) -> list[Fact]:
        """What the rule on hunting judges."""
        where = " and ".join(self.slopes)
        return [Fact("gain margin of the speed curves", where, self.gain_margin)] if self.slopes else []

    def warned(self, system: str = "metric") -> list[rules.Warned]:
        """Return the warning, if there is one."""
        return rules.warnings_of(self.facts, system)

    @property
    def words(self) -> str:
        """What it means, in a sentence."""
        if not self.slopes:
            return "No speed follows a temperature."
        if self.gain_margin == 0:
            return "The speeds find no rest: a machine starts and stops in turns at its least speed."
        factor, delay = self.gain_margin, f"with a delay of {self.delay:g} s"
        if np.isinf(factor):
            return f"The speeds come to rest and cannot hunt, {delay}."
        apart = np.isinf(self.period)
        swing = "one curve would take over from another" if apart else f"swings of about {self.period:.0f} s would"
        if factor < 1:
            trouble = "drift apart" if apart else "hunt"
            more = "" if apart else " grow"
            return (
                f"The speeds would {trouble}: {delay}, {swing}{more}. Make the curves {1 / factor:.1f} times flatter."
            )
        last = "" if apart else " last"
        return f"The speeds come to rest: {delay}, {swing}{last} if the curves were {factor:.1f} times as steep."


def delayed(delay: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return (A, B, C) of a delay as a rational function of s, after Pade, [Ogata2010]_; empty for no delay."""
    if delay == 0:
        return np.zeros((0, 0)), np.zeros((0, 1)), np.zeros((1, 0))
    taylor = np.cumprod([1.0, *(-1.0 / np.arange(1, sum(PADE) + 1))])
    over, under = interpolate.pade(taylor, *PADE)
    a, b, c, _ = signal.tf2ss(over.coeffs, under.coeffs)
    return a / delay, b / delay, c


def closed(a: np.ndarray, b: np.ndarray, c: np.ndarray, gains: Any, delay: float) -> np.ndarray:
    """
    Return the matrix of a closed loop: T' = a T + b u, u = gain times c T of `delay` seconds ago.

    `b` (n, curves), `c` (curves, n), `gains` (curves,) or (m, curves) for m matrices at once.
    """
    gains = np.asarray(gains, dtype=float)
    n, curves = b.shape
    lag_a, lag_b, lag_c = delayed(delay)
    order = len(lag_a)
    size = n + curves * order
    out = np.zeros((*gains.shape[:-1], size, size))
    out[..., :n, :n] = a
    if order == 0:
        out[..., :n, :n] += np.einsum("nj,...j,jm->...nm", b, gains, c)
        return out
    for j in range(curves):
        own = slice(n + j * order, n + (j + 1) * order)
        out[..., own, own] = lag_a
        out[..., own, :n] = lag_b @ c[j : j + 1]
        out[..., :n, own] = gains[..., j, None, None] * (b[:, j : j + 1] @ lag_c)
    return out


def margin(a: np.ndarray, b: np.ndarray, c: np.ndarray, slopes: Any, delay: float) -> tuple[float, float, float]:
    """
    Return (gain margin, period there [s], growth now [1/s]) of a linear system on curves of these slopes.

    The margin is the least factor on all slopes at which an eigenvalue of the closed loop leaves the left half plane.
    """
    slopes = np.asarray(slopes, dtype=float)

    def values(factors: np.ndarray) -> np.ndarray:
        return np.linalg.eigvals(closed(a, b, c, np.multiply.outer(factors, slopes), delay))

    growth = float(np.max(values(np.array([1.0])).real))
    factors = np.concatenate(([0.0], GAINS))
    grows = np.max(values(factors).real, axis=-1) > 0
    if not np.any(grows):
        return np.inf, np.nan, growth
    first = int(np.argmax(grows))
    if first == 0:
        return 0.0, np.nan, growth
    for _ in range(4):
        factors = np.linspace(factors[first - 1], factors[first], 17)
        first = max(1, int(np.argmax(np.max(values(factors).real, axis=-1) > 0)))
    there = values(factors[first : first + 1])[0]
    swing = abs(there[np.argmax(there.real)].imag)
    return float(factors[first]), float(2 * np.pi / swing) if swing > 0 else np.inf, growth


def hunting(plan: Plan, delay: float = DELAY, friction: str = "churchill", on: OnCurves | None = None) -> Hunting:
    """
    Return whether the speeds would hunt: swing about their point of rest without end.

    The model in time is made linear about the point of rest (`transient`), the curves by their slope there, the
    steeper one at a corner. The loop is looked at from both ends of the hysteresis, and the worse one counts;
    hysteresis itself is left out: it quiets small swings and delays large ones. Fans take their speed at once but for
    the delay. A gain margin below 2 is narrow: a rule of thumb of control engineering, [Ogata2010]_ from memory.

    Parameters
    ----------
    plan : Plan
        One design with speed curves.
    delay : float
        Of sensor, controller and fan together, 0 to 60. [s]
    on : OnCurves, optional
        What `steady_on_curves` says of this plan, if that is known.

    Returns
    -------
    hunting : Hunting

    Raises
    ------
    InputError
        See `checked`; for N designs, or one that does not come to a known temperature.
    OutOfRange
        If the delay is outside its range.
    """
    between("delay", delay, 0.0, 60.0, "s")
    on = steady_on_curves(plan, friction) if on is None else on
    one_design("plan", on.solution.designs)
    if not plan.speed_curves:
        return Hunting(np.inf, np.nan, np.nan, {}, delay)
    found = [_hunting(on.cold, False, delay, friction)]
    if on.hot is not on.cold:
        found.append(_hunting(on.hot, True, delay, friction))
    return min(found, key=lambda one: one.gain_margin)


def _hunting(point: Point, falling: bool, delay: float, friction: str) -> Hunting:
    curves = point.plan.speed_curves
    slopes = {c.name: _slope(c, float(point.temperatures[c.sensor]) + c.hysteresis * falling) for c in curves}
    if not point.agrees:
        return Hunting(0.0, np.nan, np.nan, slopes, delay)
    if not point.solution.known:
        raise InputError("plan", point.solution.plight, "a plan that comes to a known temperature on its curves")
    names, a, pushes = transient.linearised(point.plan, [c.drives for c in curves], friction)
    rows = np.zeros((len(curves), len(names)))
    for row, curve in zip(rows, curves, strict=True):
        place = _place(point.solution, curve.sensor, names)
        if place is not None:
            row[place] = 1.0
    return Hunting(*margin(a, pushes, rows, list(slopes.values()), delay), slopes, delay)


def _slope(curve: SpeedCurve, warm: float) -> float:
    """Return the slope of a curve at a temperature, the steeper one at a corner, none beyond its ends. [1/K]"""
    ends = np.array(curve.temperatures)
    slopes = np.diff(curve.speeds) / np.diff(ends)
    touches = (ends[:-1] - AGREED <= warm) & (warm <= ends[1:] + AGREED)
    return float(np.max(slopes[touches], initial=0.0))


def _place(solution: Solution, sensor: str, names: tuple[str, ...]) -> int | None:
    """Return which temperature of the model a sensor reads; None for one that nothing in the model moves."""
    if sensor == COOLANT:
        flowing = [r for r in solution.walk if f"coolant in {r['element'].name}" in names and np.all(r["flow"] != 0)]
        sensor = f"coolant in {max(flowing, key=lambda row: row['out'])['element'].name}"
    elif sensor == CASE:
        sensor = "air of the case"
    elif sensor not in names:
        sensor = f"coolant in {sensor}"
    return names.index(sensor) if sensor in names else None
