"""
Flow and temperature of the whole tree, for N designs at once.

Hydraulics: every series stretch collapses into one `Branch` (losses add). Newton linearises each branch,
a parallel group combines its branches like conductances, and the root's balance pump = loss gives the new
flow, which is handed back down the tree: one pass updates every flow of every design. Temperature: along
the flow every element maps the coolant affinely, so a chain is one affine map and the closed loop is its
fixed point. Flow and properties are refreshed in the same few passes, in blocks that stay in the cache;
the few designs that are not settled by then go on until they are.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from loopmath import loop as tree
from loopmath.designs import take
from loopmath.laws import pipeflow, turbomachine
from loopmath.laws.coolant import Coolant
from loopmath.loss import GRAVITY, Loss
from loopmath.thermal import STILL, AirNode, Cooler, Heater, PumpHeater, cooler_names, temperatures

#: Designs solved together: few enough for the cache, many enough that each call is worth its overhead (measured).
BLOCK = 16384
_TINY = 1e-13
#: Added to every slope [Pa s/m3], so that a branch without loss is very easy and not endlessly so: 1 L/min
#: more would cost 0.02 Pa. It steers Newton's steps and is no part of the loss.
LEAST_SLOPE = 1e3
#: Passes every design gets; what may be left of flow (as a share) and of mean temperature [K], judged from
#: its last two steps, whose ratio is taken as `LEAST_RATIO` at least; the step that counts as rounding for a
#: design that goes on; the most passes. From flows near the answer two passes do.
PASSES, LEFT_FLOW, LEFT_WARMING, LEAST_RATIO, ROUNDING, MOST_PASSES = 3, 5e-8, 5e-7, 0.02, 1e-12, 80
NEAR_PASSES = 2


@dataclass(frozen=True, eq=False)
class Branch:
    """A series stretch, collapsed: one loss law, its pumps, its parallel groups, its thermal elements."""

    index: int
    loss: Loss
    reynolds_factor: Any
    head_factor: Any
    roughness: Any
    pumps: tuple
    groups: tuple
    thermal: tuple


@dataclass(frozen=True, eq=False)
class Settled:
    """
    What the solver hands back, for one design or N.

    Flow of each branch [m3/s]; temperature where the loop starts, mean temperature and the temperature the
    properties were last taken at [degC]; whether the design closed, whether its mean lies outside the
    coolant's data; the most passes any design took; temperature of each air node, and of the air leaving each cooler
    if they were asked for. [degC]
    """

    flows: list
    start_temperature: Any
    mean_temperature: Any
    properties_at: Any
    settled: Any
    outside: Any
    passes: int
    air: tuple = ()
    air_out: dict = field(default_factory=dict)


# ------------------------------------------------------------------------------------------------ collapsing


def _key(value: Any) -> Any:
    return id(value) if isinstance(value, np.ndarray) and value.ndim else float(value)


def _stacked(values: list) -> Any:
    """Stack the values of several ducts on a new first axis, designs last; one duct needs none."""
    if len(values) == 1:
        return values[0]
    return np.stack(np.broadcast_arrays(*(np.atleast_1d(np.asarray(v, dtype=float)) for v in values)))


def _ducts(loss: Loss) -> tuple[Any, Any, Any]:
    """Merge the ducts of equal bore; return stacked Reynolds factor, head factor and roughness."""
    merged: dict[tuple, list] = {}
    for duct in loss.friction:
        key = (_key(duct.diameter), _key(duct.area), _key(duct.roughness), _key(duct.laminar_factor))
        merged.setdefault(key, [duct, 0.0])[1] += duct.length
    if not merged:
        return None, None, None
    ducts = merged.values()
    reynolds = [d.laminar_factor * d.diameter / d.area for d, _ in ducts]
    heads = [length / (2 * d.diameter * d.area**2) for d, length in ducts]
    return _stacked(reynolds), _stacked(heads), _stacked([d.roughness for d, _ in ducts])


def collapse(item: tree.Series, coolers: dict[str, Cooler], counter: Iterator[int]) -> Branch:
    """
    Collapse a tree into nested branches.

    Parameters
    ----------
    item : Series
        The loop, or a branch of it.
    coolers : dict of str to Cooler
        The radiators by element name, air side settled.
    counter : iterator of int
        Numbers the branches in flow order; the root is 0.
    """
    index = next(counter)
    total, pumps, groups, thermal = Loss(), [], [], []

    def visit(child: Any) -> None:
        nonlocal total
        if isinstance(child, tree.Series):
            for inner in child.items:
                visit(inner)
        elif isinstance(child, tree.Parallel):
            thermal.append(len(groups))
            groups.append(tuple(collapse(b, coolers, counter) for b in child.branches))
        else:
            total = total + child.loss()
            if isinstance(child, tree.PumpUnit):
                pumps.append(child)
                if np.any(np.asarray(child.pump.power_shutoff + child.pump.power_runout) > 0):
                    thermal.append(PumpHeater(child.name, child))
            elif isinstance(child, tree.Source):
                thermal.append(Heater(child.name, child.heat))
            elif child.name in coolers:
                thermal.append(coolers[child.name])

    visit(item)
    reynolds, heads, roughness = _ducts(total)
    return Branch(
        index, replace(total, friction=()), reynolds, heads, roughness, tuple(pumps), tuple(groups), tuple(thermal)
    )


def with_coolers(branch: Branch, coolers: dict[str, Cooler]) -> Branch:
    """Return a collapsed tree with the air side of its radiators replaced."""
    thermal = tuple(coolers[e.name] if isinstance(e, Cooler) else e for e in branch.thermal)
    groups = tuple(tuple(with_coolers(child, coolers) for child in group) for group in branch.groups)
    return replace(branch, thermal=thermal, groups=groups)


# ------------------------------------------------------------------------------------------------ hydraulics


def branch_loss(branch: Branch, flow: Any, density: Any, viscosity: Any, law: Callable) -> tuple[Any, Any]:
    """
    Return pressure loss less pump pressure of a branch's own elements, and its slope with flow.

    Both are for the elements in series; parallel groups inside are not counted. [Pa], [Pa s/m3]
    """
    loss = branch.loss
    size = np.abs(flow) + 1e-3 * _TINY
    linear = viscosity * loss.linear + loss.fixed_linear
    squared = (density * loss.quadratic + loss.fixed_quadratic) * size
    slope = linear + 2 * squared
    per_flow = linear + squared
    if branch.head_factor is not None:
        factor, bend = law(size * (density / viscosity) * branch.reynolds_factor, branch.roughness)
        factor = factor * branch.head_factor
        bend = factor * (bend + 2)
        if np.ndim(branch.reynolds_factor) == 2 or np.ndim(branch.head_factor) == 2:
            factor, bend = factor.sum(axis=0), bend.sum(axis=0)
        size = size * density
        per_flow = per_flow + factor * size
        slope = slope + bend * size
    pressure = per_flow * flow
    for unit in branch.pumps:
        pump = unit.pump
        head, fall = turbomachine.head_with_slope(
            flow, pump.shutoff_head, pump.runout_flow, pump.exponent, pump.turning(unit.speed)
        )
        weight = density * GRAVITY
        pressure = pressure - weight * head
        slope = slope - weight * fall
    return pressure, slope + LEAST_SLOPE


def alone(loss: Loss) -> Branch:
    """Return a loss as a branch of its own, to be evaluated by `branch_loss`."""
    return Branch(0, loss, *_ducts(loss), (), (), ())


def pump_head(unit: tree.PumpUnit, flow: Any) -> Any:
    """Return the head of a pump at a flow. [m]"""
    pump = unit.pump
    return turbomachine.head_with_slope(
        flow, pump.shutoff_head, pump.runout_flow, pump.exponent, pump.turning(unit.speed)
    )[0]


def _rough(branch: Branch, density: Any, viscosity: Any) -> tuple[Any, Any]:
    """
    Return the loss as (linear, quadratic) coefficients of flow: only to start from.

    A friction factor of 64/Re + 0.025 is within some tenths of any law from Re 300 to 20000 and keeps that form.
    """
    loss = branch.loss
    linear = viscosity * loss.linear + loss.fixed_linear
    squared = density * loss.quadratic + loss.fixed_quadratic
    if branch.head_factor is not None:
        heads, viscous = branch.head_factor, branch.head_factor / branch.reynolds_factor
        if np.ndim(viscous) == 2:
            heads, viscous = np.broadcast_to(heads, viscous.shape).sum(axis=0), viscous.sum(axis=0)
        linear = linear + 64.0 * viscosity * viscous
        squared = squared + 0.025 * density * heads
    for group in branch.groups:
        squared = squared + sum(_ease(b, density, viscosity) for b in group) ** -2.0
    return linear, squared + 1e6  # as good as nothing, yet a branch of a pump alone is not free


def _ease(branch: Branch, density: Any, viscosity: Any) -> Any:
    """Return flow per root of loss of a branch, its linear part counted as it would be at 3 L/min."""
    linear, squared = _rough(branch, density, viscosity)
    return (squared + linear / 5e-5) ** -0.5


def _start(branch: Branch, flow: Any, flows: list, *fluid: Any) -> None:
    """Share a flow among the branches as if every loss were quadratic."""
    flows[branch.index] = flow
    for group in branch.groups:
        eases = [_ease(b, *fluid) for b in group]
        whole = sum(eases)
        for child, ease in zip(group, eases, strict=True):
            _start(child, flow * ease / whole, flows, *fluid)


def _first_flow(root: Branch, density: Any, viscosity: Any) -> Any:
    """Return the flow at which the pumps' parabolas meet the rough loss."""
    head, (linear, squared) = 0.0, _rough(root, density, viscosity)
    for unit in (unit for branch in _all_branches(root) for unit in branch.pumps):
        pump = unit.pump
        full = density * GRAVITY * pump.shutoff_head
        head = head + full * pump.turning(unit.speed) ** 2
        squared = squared + full / pump.runout_flow**2
    return 2.0 * head / (linear + np.sqrt(linear * linear + 4.0 * squared * head)) + STILL / 10


def _linearise(branch: Branch, flows: list, memory: dict, *fluid: Any) -> tuple[Any, Any]:
    """
    Return (loss, slope) of a branch as a straight line through its present flow, groups included.

    A group of branches with losses g and slopes s at flows q is, linearised, one element of slope
    S = 1/sum(1/s) and loss S (Q + sum(g/s - q)): conductances in parallel.
    """
    flow = flows[branch.index]
    loss, slope = branch_loss(branch, flow, *fluid)
    for place, group in enumerate(branch.groups):
        lines = [_linearise(b, flows, memory, *fluid) for b in group]
        ease = [1.0 / s for _, s in lines]
        whole = 1.0 / sum(ease)
        shift = sum(g * e - flows[b.index] for (g, _), e, b in zip(lines, ease, group, strict=True))
        memory[branch.index, place] = (lines, ease, whole, shift)
        loss = loss + whole * (flow + shift)
        slope = slope + whole
    return loss, slope


def _hand_down(branch: Branch, flow: Any, flows: list, memory: dict) -> None:
    """Set the branch's new flow and share it among its groups along the same straight lines."""
    flows[branch.index] = flow
    for place, group in enumerate(branch.groups):
        lines, ease, whole, shift = memory[branch.index, place]
        across = whole * (flow + shift)
        for child, (g, _), e in zip(group, lines, ease, strict=True):
            _hand_down(child, flows[child.index] + (across - g) * e, flows, memory)


def loop_head(root: Branch, flow: Any, solved: list, fluid: tuple, friction: str) -> np.ndarray:
    """
    Return the head the loop's elements take at given main-line flows, pumps left out. [m]

    Parameters
    ----------
    flow : float or array
        Main-line flow. [m3/s]
    solved : list
        Flows of the branches at a solution, whose split starts the search for the split at `flow`.
    """
    still = _without_pumps(root)
    flow = np.atleast_1d(np.asarray(flow, dtype=float))
    ratio = np.maximum(flow, STILL) / max(float(solved[0]), STILL)
    flows, memory = [np.maximum(float(f), STILL) * ratio for f in solved], {}
    law = pipeflow.FRICTION_LAWS[friction]
    for _ in range(6 if root.groups else 1):
        loss, slope = _linearise(still, flows, memory, fluid[0], fluid[1], law)
        _hand_down(still, flows[0], flows, memory)
    return loss / (fluid[0] * GRAVITY)


def _without_pumps(branch: Branch) -> Branch:
    return replace(branch, pumps=(), groups=tuple(tuple(map(_without_pumps, group)) for group in branch.groups))


def pumps_head(root: Branch, flow: Any, solved: list, speed: float | None = None) -> Any:
    """Return the head of all pumps at given main-line flows, at a common speed if one is given. [m]"""
    total = 0.0 * np.asarray(flow)
    for branch in _all_branches(root):
        share = float(solved[branch.index]) / max(float(solved[0]), STILL) if branch.index else 1.0
        for unit in branch.pumps:
            unit = unit if speed is None else replace(unit, speed=speed)
            weight = share if branch.index else 1.0  # pumps side by side each lift their share of the flow
            total = total + weight * pump_head(unit, np.asarray(flow) * share)
    return total


def _all_branches(branch: Branch) -> Iterator[Branch]:
    yield branch
    for group in branch.groups:
        for child in group:
            yield from _all_branches(child)


# ----------------------------------------------------------------------------------------------------- solve


def _passes(
    root: Branch,
    coolant: Coolant,
    air: tuple | None,
    guess: Any,
    law: Callable,
    state: list | None = None,
    passes: int = PASSES,
) -> tuple:
    """
    Refresh flow and properties together.

    Three passes from a good start bring flow within 1e-7 and temperature within 1e-6 K, unless the check
    on the last step says otherwise; a design that failed it comes again with `state`, its flows, for one pass
    at a time. Returns flows; start, mean and property temperature,
    whether settled, whether outside the data, and temperatures of air.
    """
    temperature, memory = guess, {}
    flows: list = [None] * _count(root) if state is None else list(state)
    steps: list = []
    for turn in range(passes):
        fluid = coolant.properties(temperature)
        if turn == 0 and state is None:
            _start(root, _first_flow(root, *fluid[:2]), flows, *fluid[:2])
        old, before, earlier = list(flows), temperature, steps
        loss, slope = _linearise(root, flows, memory, fluid[0], fluid[1], law)
        _hand_down(root, np.maximum(old[0] - loss / slope, 0.1 * old[0]), flows, memory)
        start, mean, high, low, extra = temperatures(root, flows, fluid, air)
        temperature = np.minimum(np.maximum(mean, coolant.low), coolant.high)
        steps = [np.abs(new - was) for new, was in zip([*flows, temperature], [*old, before], strict=True)]
    sizes = [np.abs(f) + _TINY for f in flows] + [1.0]
    done = np.True_
    for place, (step, size) in enumerate(zip(steps, sizes, strict=True)):
        # Steps shrink by a ratio, so last step times ratio is what is left; Newton's lucky ratios are not believed.
        left = step * np.maximum(step / (earlier[place] + 1e-300), LEAST_RATIO) if earlier else step
        goal = (LEFT_WARMING if place == len(flows) else LEFT_FLOW) if earlier else ROUNDING
        done &= (left < goal * size) | (step < ROUNDING * size)
    outside = (low < coolant.low) | (high > coolant.high)
    return flows, (start, mean, before, done, outside, *extra)


def _count(branch: Branch) -> int:
    return 1 + sum(_count(child) for group in branch.groups for child in group)


def solve_tree(
    root: Branch,
    coolant: Coolant,
    guess: Any,
    friction: str = "churchill",
    designs: int | None = None,
    air: tuple[AirNode, ...] | None = None,
    near: list | None = None,
    only: int | None = None,
) -> Settled:
    """
    Solve flow and temperature of N designs.

    Parameters
    ----------
    root : Branch
        The collapsed loop.
    coolant : Coolant
        Its coefficients may be columns of N designs.
    guess : float or array
        First guess of the mean coolant temperature. [degC]
    friction : str
        A key of `pipeflow.FRICTION_LAWS`.
    designs : int, optional
        N; None for scalars.
    air : tuple of AirNode, optional
        Air whose temperature is solved with the loop; by default there is none, nor is air that leaves coolers told.
    near : list, optional
        Flows of the same loop in air only a little different, to start from.
    only : int, optional
        So many passes and no more, settled or not: while the air is still far from settled.

    Returns
    -------
    settled : Settled
        With `settled` False where a design did not close and `outside` True where the coolant would
        leave the range of its data.
    """
    law = pipeflow.FRICTION_LAWS[friction]
    many = designs or 1
    guess = np.array(np.broadcast_to(guess, (many,)), dtype=float)
    flows = [np.empty(many) for _ in range(_count(root))]
    found = [np.empty(many), np.empty(many), np.empty(many), np.zeros(many, bool), np.zeros(many, bool)]
    start, mean, properties_at, done, outside = found
    found += [np.empty(many) for _ in range(0 if air is None else len(air) + len(list(cooler_names(root))))]

    def fill(where: Any, state: list | None, passes: int) -> None:
        part = (root, coolant, air)
        part = part if where is None else tuple(take(record, where, many) for record in part)
        where = slice(None) if where is None else where
        pieces, results = _passes(*part, guess[where], law, state, passes)
        for whole, piece in zip([*flows, *found], [*pieces, *results], strict=True):
            whole[where] = piece

    near = None if near is None else [np.array(np.broadcast_to(f, (many,)), dtype=float) for f in near]
    passes, more = (PASSES, 1) if near is None else (NEAR_PASSES, NEAR_PASSES)
    passes = only or passes
    if many <= BLOCK:
        fill(None, near, passes)
    else:
        for first in range(0, many, BLOCK):
            where = slice(first, first + BLOCK)
            fill(where, None if near is None else [f[where] for f in near], passes)
    while only is None and passes < MOST_PASSES and (rest := np.flatnonzero(~done)).size:
        # A fixed number at a time, so that no design depends on which others are still under way.
        for first in range(0, rest.size, BLOCK):
            where = rest[first : first + BLOCK]
            guess[where] = np.clip(mean[where], coolant.low, coolant.high)
            fill(where, [f[where] for f in flows], more)
        passes += more
    done &= np.isfinite(flows[0]) & np.isfinite(mean)
    if designs is None:
        flows, found = [f[0] for f in flows], [v[0] for v in found]
    nodes = len(air or ())
    out = {} if air is None else dict(zip(cooler_names(root), found[5 + nodes :], strict=True))
    return Settled(flows, *found[:5], passes, tuple(found[5 : 5 + nodes]), out)
