"""
Loop and air settled together, for one design or N at once.

At given properties of the air both are one set of equations; density and films of the air follow its temperature only
weakly, so a few turns settle them, fewer with what the last two turns say of the next (Anderson mixing). Many designs
are solved in blocks that stay in the cache; those that are not settled after the first turns go on by themselves.
"""

from dataclasses import dataclass, fields, replace
from itertools import count
from typing import Any

import numpy as np

from loopmath import air, network, thermal
from loopmath import loop as tree
from loopmath.designs import take
from loopmath.laws import coolant as coolants
from loopmath.plan import BALANCE, Plan

#: What may be left of the air's temperatures, all added up [K]; the most turns; turns each of many designs gets; the
#: least share of a turn's step that is believed to be left after it.
AIR_STEP, MOST_TURNS, FIRST_TURNS, LEAST_LEFT = 1e-5, 30, 4, 0.05
#: While the air is still far from settled: passes of the loop's solver in the first turns, last step of air flows.
EARLY = ((2, 1e-2), (1, 1e-3), (2, 1e-4))


def loop_and_air(plan: Plan, friction: str, designs: int | None) -> tuple:
    """
    Solve a plan of so many designs, None for one of scalars.

    Returns
    -------
    root, paths, settled : Branch, AirPaths, Settled
        The loop collapsed, its air side with the temperature of the air that enters each radiator, the answer.
    """
    if air.plain(plan):
        paths = given_air(plan)
        root = network.collapse(plan.loop, paths.coolers, count())
        return root, paths, network.solve_tree(root, plan.coolant, _guess(plan, paths), friction, designs)
    if designs is None:
        root, paths, stand = _turns(plan, friction, None, None, MOST_TURNS)
        return root, _numbered(paths, stand.nodes), stand.settled()
    stand, turns = None, FIRST_TURNS
    for first in range(0, designs, network.BLOCK):
        where = slice(first, min(first + network.BLOCK, designs))
        part = take(plan, where, designs)
        piece = _turns(part, friction, where.stop - first, None, turns)[-1]
        stand = piece.empty(designs) if stand is None else stand
        stand.put(piece, where)
    while turns < MOST_TURNS and (rest := np.flatnonzero(~(stand.left <= AIR_STEP))).size:
        for first in range(0, rest.size, network.BLOCK):
            where = rest[first : first + network.BLOCK]
            part, piece = take(plan, where, designs), take(stand, where, designs)
            stand.put(_turns(part, friction, where.size, piece, 1)[-1], where)
        turns += 1
    warmth = air.Warmth.first(plan).with_values(stand.warmth)
    paths = air.paths(plan, warmth, settled=(stand.air[:-2], *stand.air[-2:]))
    root = network.collapse(plan.loop, paths.coolers, count())
    return root, _numbered(paths, stand.nodes), stand.settled()


def given_air(plan: Plan) -> air.AirPaths:
    """Return the air side where every radiator's air is known beforehand."""
    pressure = coolants.pressure_at_height(plan.height)
    coolers, sides = {}, {}
    for unit in plan.units(tree.RadiatorUnit):
        enters = plan.case_air if unit.air == "case" else plan.room_air
        density = coolants.air_density(enters, pressure)
        coolers[unit.name], sides[unit.name] = thermal.cooler_of(unit, enters, density)
    return air.AirPaths(coolers, sides, (), air.streams(plan.units(tree.RadiatorUnit)))


def _guess(plan: Plan, paths: air.AirPaths) -> Any:
    """Return a first guess of the mean coolant temperature. [degC]"""
    heat = sum((s.heat for s in plan.units(tree.Source)), 0.0)
    # What the radiators would take per kelvin if the liquid film added 40 % to the air's resistance.
    ease = sum(
        (c.air_capacity * -np.expm1(-0.7 / (c.air_resistance * c.air_capacity)) for c in paths.coolers.values()), 0.0
    )
    return np.clip(plan.room_air + heat / np.maximum(ease, 1.0), plan.coolant.low, plan.coolant.high)


@dataclass(frozen=True, eq=False)
class _Stand:
    """
    Where loop and air stand after a turn.

    Attributes
    ----------
    warmth, fresh, mixed : tuple
        Temperatures of air its properties were taken at, as the solver then found them, and to go on with. [degC]
    air : tuple
        Flows of the ducts [m3/s], pressure of the case [Pa], whether they settled.
    flows, found, nodes, out : tuple
        What `network.solve_tree` found: flows; start, mean and property temperature, settled, outside; air.
    left : float or array
        What is left to move. [K]
    names : tuple of str
        Radiators, in the order of `out`.
    passes : int
        Of the loop's solver in the last turn.
    """

    warmth: tuple
    fresh: tuple
    mixed: tuple
    air: tuple
    flows: tuple
    found: tuple
    nodes: tuple
    out: tuple
    left: Any
    names: tuple
    passes: int

    def settled(self) -> network.Settled:
        """Return the answer of the loop's solver, settled only where the air is, too."""
        start, mean, at, done, outside = self.found
        done = done & (self.left <= 10 * AIR_STEP) & self.air[-1]
        out = dict(zip(self.names, self.out, strict=True))
        return network.Settled(list(self.flows), start, mean, at, done, outside, self.passes, self.nodes, out)

    def _arrays(self) -> dict[str, Any]:
        return {f.name: getattr(self, f.name) for f in fields(self) if f.name not in ("names", "passes")}

    def empty(self, designs: int) -> "_Stand":
        """Return one for so many designs, to be filled by `put`."""

        def room(value: Any) -> Any:
            if isinstance(value, tuple):
                return tuple(map(room, value))
            return np.empty(designs, bool if np.asarray(value).dtype == bool else float)

        return replace(self, **{name: room(value) for name, value in self._arrays().items()})

    def put(self, piece: "_Stand", where: Any) -> None:
        """Take over what some of its designs came to."""
        for own, new in zip(self._arrays().values(), piece._arrays().values(), strict=True):
            pairs = zip(own, new, strict=True) if isinstance(own, tuple) else [(own, new)]
            for whole, part in pairs:
                whole[where] = part


def _turns(plan: Plan, friction: str, designs: int | None, stand: _Stand | None, most: int) -> tuple:
    """Return (collapsed loop, its air side, where it stands) after so many turns from `stand`, or fewer if settled."""
    first, root, early = air.Warmth.first(plan), None, EARLY if stand is None else ()
    for turn in range(most):
        only, rough = early[turn] if turn < len(early) else (None, 0.0)
        warmth = first if stand is None else first.with_values(stand.mixed)
        paths = air.paths(plan, warmth, () if stand is None else stand.air[:-2], rough=rough)
        if root is None:
            root = network.collapse(plan.loop, paths.coolers, count())
        else:
            root = network.with_coolers(root, paths.coolers)
        near, guess = (None, _guess(plan, paths)) if stand is None else (stand.flows, stand.found[1])
        guess = np.clip(guess, plan.coolant.low, plan.coolant.high)
        found = network.solve_tree(root, plan.coolant, guess, friction, designs, paths.nodes, near, only)
        stand = _after(plan, warmth, paths, found, stand)
        if only is None and np.all(stand.left <= AIR_STEP):
            break
    return root, paths, stand


def _after(
    plan: Plan, warmth: air.Warmth, paths: air.AirPaths, found: network.Settled, before: _Stand | None
) -> _Stand:
    """Return where a turn has led, and what to go on with."""
    case = found.air[0] if plan.case_air_by == BALANCE else plan.case_air
    coolers = _numbered(paths, found.air).coolers
    into = {name: coolers[name].air_temperature for name in warmth.into}  # the plan's order, not that of the air
    # Where nothing moves, or hardly, a temperature has no bounds; the properties are those of some air all the same.
    out = {name: np.nan_to_num(found.air_out[name], nan=30.0) for name in into}
    fresh = mixed = air.Warmth(case, into, out).values
    steps = [new - old for new, old in zip(fresh, warmth.values, strict=True)]
    moved = left = _size(steps)
    if before is not None:
        mixed, to_go = _mixed(fresh, steps, before)
        left = np.maximum(_size(to_go), LEAST_LEFT * moved)
    return _Stand(
        tuple(warmth.values),
        tuple(fresh),
        tuple(mixed),
        (*paths.flows, paths.pressure, paths.settled),
        tuple(found.flows),
        (found.start_temperature, found.mean_temperature, found.properties_at, found.settled, found.outside),
        found.air,
        tuple(found.air_out.values()),
        left,
        tuple(found.air_out),
        found.passes,
    )


def _size(steps: list) -> Any:
    return sum(np.abs(np.clip(step, -1e3, 1e3)) for step in steps)


def _mixed(fresh: list, steps: list, before: _Stand) -> tuple[list, list]:
    """Return where a straight line through the last two turns has no step left, and how far that is from here."""
    bends = [step - (new - old) for step, new, old in zip(steps, before.fresh, before.warmth, strict=True)]
    along = sum(bend * step for bend, step in zip(bends, steps, strict=True))
    share = np.clip(along / np.maximum(sum(bend * bend for bend in bends), 1e-300), -0.5, 0.5)
    to_go = [share * (old - new) for new, old in zip(fresh, before.fresh, strict=True)]
    return [new + step for new, step in zip(fresh, to_go, strict=True)], to_go


def _numbered(paths: air.AirPaths, nodes: tuple) -> air.AirPaths:
    """Return the air side with the temperature of the air that enters each radiator as a number."""

    def known(cooler: thermal.Cooler) -> thermal.Cooler:
        warm = sum((w * t for w, t in zip(cooler.weights, nodes, strict=True)), cooler.air_temperature)
        return replace(cooler, air_temperature=warm, weights=())

    return replace(paths, coolers={name: known(cooler) for name, cooler in paths.coolers.items()})
