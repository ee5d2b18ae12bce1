"""Lessons of order and layout, worked out for the plan at hand: what matters, and what hardly does."""

from collections.abc import Callable
from dataclasses import replace
from itertools import permutations
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from scipy.optimize import brentq

from loopmath import catalogue, parts_list, quiet, rules
from loopmath import loop as tree
from loopmath.checks import InputError, between
from loopmath.choices import new_run
from loopmath.designs import number_of_designs, one_design
from loopmath.laws import sound
from loopmath.plan import BALANCE, Plan
from loopmath.solution import Solution, solved

#: So many parts are put in every order, 120 answers.
MOST_ORDERED = 5
#: Speeds a lesson looks at unless it is given others. [share of full speed]
SPEEDS = tuple(np.round(np.linspace(0.3, 1.0, 15), 2))
#: Depth [m] and rows of flat tubes of a core, as in the catalogue of data/radiators.csv.
CORES = {"slim": (0.028, 1.0), "standard depth": (0.045, 2.0), "deep": (0.060, 3.0)}
#: Step of pump speed over which the slope of temperature against flow is taken. [share of full speed]
STEP = 2e-3


def _one(answer: Solution) -> Solution:
    one_design("lesson", answer.designs)
    return answer


def _named(plan: Plan) -> list[str]:
    """Return the parts the loop cools; InputError if there are none."""
    names = [source.name for source in plan.units(tree.Source)]
    if not names:
        raise InputError("lesson", "no block in the plan", "a plan whose loop cools something", "Add a block to it.")
    return names


def _warm(plan: Plan, state: dict) -> dict[str, Any]:
    """Return the columns every lesson has: coolant, components, sound."""
    return {
        "flow [L/min]": state["flow"] * 6e4,
        "coolant over room [K]": state["coolant_over_room"],
        **{f"{name} [degC]": state[name] for name in _named(plan)},
        "sound [dB]": state["sound"],
    }


# ------------------------------------------------------------------------------------------------------- order


class Orders(NamedTuple):
    """
    Every order of the parts of a loop.

    `table` has a row for each order; `spread` is what is between a component's warmest and coolest order [K];
    `rise` is what the coolant warms by on one round, heat over mass flow and heat capacity, in the plan's order [K];
    `kept` names parts that kept their place because there are too many to try.
    """

    table: pd.DataFrame
    spread: pd.Series
    rise: float
    kept: tuple[str, ...]


def orders(plan: Plan) -> Orders:
    """
    Solve the loop with its blocks and radiators in every order.

    Blocks, radiators and parallel groups of them change places; tubes, fittings, pump and reservoir stay where they
    are, so tube, joints and flow are the same in every order. Of more than five, the radiators stay too, and of more
    than five blocks those with the least heat.

    Raises
    ------
    InputError
        If nothing is cooled, or the plan is N designs.

    Notes
    -----
    While every radiator cools, no two places of a loop differ by more than the rise, P/(m cp). What radiators in air
    of known temperature give off is fixed, so their inlets, weighted by their conductance, have one mean in every
    order, and it lies between the coolest and the warmest place. A component of heat p therefore never moves by more
    than (2 P - p)/(m cp); where the radiators stay together, by no more than the rise. Radiators in air of different
    temperature, or of a case that is balanced, add what their own order makes of it.
    """
    cooled = _named(plan)
    items = tree.flat(plan.loop)
    places = [i for i, item in enumerate(items) if _moves(item)]
    blocks = [i for i in places if tree.of_kind(items[i], tree.Source)]
    chosen = places if len(places) <= MOST_ORDERED else blocks
    heat = {i: sum(float(np.max(s.heat)) for s in tree.of_kind(items[i], tree.Source)) for i in chosen}
    chosen = sorted(sorted(chosen, key=lambda i: -heat[i])[:MOST_ORDERED])
    radiators = [unit.name for unit in plan.units(tree.RadiatorUnit)]
    rows, rise = [], np.nan
    for order in permutations(chosen):
        new = list(items)
        for place, item in zip(chosen, order, strict=True):
            new[place] = items[item]
        answer = _one(solved(replace(plan, loop=tree.Series(*new))))
        state = answer.state
        if order == tuple(chosen):
            density, _, capacity, _ = answer.fluid
            rise = float(state["heat"] / (density * capacity * state["flow"])) if answer.known else np.nan
        row = {"order": ", ".join(_name(new[place]) for place in places)}
        row |= _warm(plan, state) | {f"coolant into {n} [degC]": answer.row(n)["in"] for n in radiators}
        row |= {f"heat of {n} [W]": -answer.row(n)["heat"] for n in radiators}
        rows.append({key: value if isinstance(value, str) else float(value) for key, value in row.items()})
    table = pd.DataFrame(rows).set_index("order")
    warm = table[[f"{name} [degC]" for name in cooled]].set_axis(cooled, axis=1)
    kept = tuple(_name(items[i]) for i in places if i not in chosen)
    return Orders(table, (warm.max() - warm.min()).rename("spread [K]"), rise, kept)


def _moves(item: Any) -> bool:
    """Return True for what may change its place: blocks, radiators, and groups of them without a pump or a tank."""
    return bool(tree.of_kind(item, tree.Source) or tree.of_kind(item, tree.RadiatorUnit)) and not (
        tree.of_kind(item, tree.PumpUnit) or tree.of_kind(item, tree.Tank)
    )


def _name(item: Any) -> str:
    parts = [leaf.name for kind in (tree.Source, tree.RadiatorUnit) for leaf in tree.of_kind(item, kind)]
    return " beside ".join(parts)


# ------------------------------------------------------------------------------------------------------ layout


def series_or_parallel(plan: Plan, speeds: Any = SPEEDS) -> pd.DataFrame:
    """
    Solve the blocks one after another and side by side, over pump speeds [share of full speed].

    Returns
    -------
    table : DataFrame
        A row for each layout and speed: flow of the main line, flow through each block [L/min], coolant over room,
        components, sound; NaN where the pump stands.

    Raises
    ------
    InputError
        If there are fewer than two blocks, the plan is N designs, or a speed is not accepted.
    """
    if len(_named(plan)) < 2:
        remedy = "With one block there is nothing to lay out."
        raise InputError("series or parallel", "one block", "a plan with two blocks or more", remedy)
    _one(solved(plan))
    speeds, frames = np.atleast_1d(np.asarray(speeds, dtype=float)), []
    plan = plan.as_counts()  # side by side the tubes go other ways, so both go by their lengths and bends
    for layout in ("series", "parallel"):
        laid = plan.set(layout=layout, pump_speed=speeds)
        answer = solved(laid)
        columns = {"layout": layout, "pump speed": speeds} | _warm(laid, answer.state)
        flows = {f"flow of {n} [L/min]": answer.row(n)["flow"] * 6e4 for n in _named(laid)}
        frames.append(pd.DataFrame(columns | {n: np.broadcast_to(f, speeds.shape) for n, f in flows.items()}))
    return pd.concat(frames, ignore_index=True)


def one_big_or_two_small(plan: Plan, name: str = "") -> pd.DataFrame:
    """
    Compare a radiator with two smaller ones of the same core, fans and fan positions in all.

    Parameters
    ----------
    plan : Plan
        One design; its other radiators stay.
    name : str
        The radiator; by default the largest that stands close to no other.

    Returns
    -------
    table : DataFrame
        A row for each arrangement, in room air and with one of the two in case air: flow, coolant over room,
        components, case air, sound, heat of either [W], money over that of one in room air.

    Raises
    ------
    InputError
        If there is no radiator of two positions or more that stands by itself, or the plan is N designs.

    Notes
    -----
    The air of the case is balanced, because where the air goes is the question: a radiator in room air blows into
    the case, one in case air blows out, whatever the plan says. A second radiator brings a run of tube along, of the
    usual length of a run (`choices.RUN_LENGTH`).
    """
    _named(plan)
    unit = _to_split(plan, name)
    total = int(unit.radiator.positions)
    plan = replace(plan, case_air_by=BALANCE, origin=None)

    def part(positions: int, air: str, suffix: str = "") -> tree.RadiatorUnit:
        radiator = another_core(unit.radiator, positions=float(positions))
        blows = "case" if air == "room" else "room"
        return replace(unit, name=unit.name + suffix, radiator=radiator, air=air, blows=blows)

    run = new_run(plan, f"between {unit.name}", next((run.tube for run in plan.units(tree.Run)), None))
    choices = {f"one of {total}, {air} air": [part(total, air)] for air in tree.PLACES}
    for small in range(1, total // 2 + 1):
        for second in tree.PLACES:
            pair = [part(total - small, "room"), run, part(small, second, ", second")]
            choices[f"{total - small} in room air and {small} in {second} air"] = pair
    rows = []
    for words, items in choices.items():
        new = plan.with_loop(lambda leaf, items=items: tree.Series(*items) if leaf.name == unit.name else leaf)
        answer = _one(solved(new))
        heats = [-answer.row(item.name)["heat"] for item in items if isinstance(item, tree.RadiatorUnit)]
        row = {"arrangement": words} | _warm(new, answer.state) | {"case air [degC]": answer.state["case_air"]}
        row |= {"heat of the first [W]": heats[0], "heat of the second [W]": heats[1] if len(heats) > 1 else 0.0}
        money = parts_list.cost(parts_list.parts_list(new))
        rows.append({k: v if isinstance(v, str) else float(v) for k, v in (row | {"money": money}).items()})
    table = pd.DataFrame(rows).set_index("arrangement")
    table["money"] -= table["money"].iloc[0]
    return table.rename(columns={"money": f"money [{plan.currency}]"} if plan.currency else {})


def _to_split(plan: Plan, name: str) -> tree.RadiatorUnit:
    """Return the radiator to split, by default the largest that can be."""
    units = plan.units(tree.RadiatorUnit)
    behind = {unit.air for unit in units}

    def stands_alone(unit: tree.RadiatorUnit) -> bool:
        alike = np.all(np.asarray(unit.second_fans) == 0)
        return bool(alike and unit.air in tree.PLACES and unit.name not in behind and unit.radiator.positions >= 2)

    one_design("lesson", number_of_designs(*units))
    fitting = {unit.name: unit for unit in units if stands_alone(unit)}
    if not fitting:
        accepted = "a radiator of two fan positions or more, by itself, its fans at one speed"
        raise InputError("one big or two small", "none in the plan", accepted, "Put such a radiator in the plan.")
    if name and name not in fitting:
        raise InputError("radiator", name, f"one that can be split: {', '.join(fitting)}")
    return fitting[name] if name else max(fitting.values(), key=lambda unit: unit.radiator.positions)


def another_core(radiator: Any, **shape: float) -> Any:
    """
    Return a radiator with another shape: what was measured of its loss goes, its price is the catalogue's or none.

    `shape` are fields such as positions, depth and tube_rows. If the catalogue has a core of that shape, size, fins
    and metal, the radiator gets its name and price.
    """
    ends = ("measured_from", "measured_to", "measured_air_from", "measured_air_to")
    if all(np.all(np.isclose(getattr(radiator, key), value)) for key, value in shape.items()):
        return radiator
    gone = dict.fromkeys(("linear", "quadratic", *ends, "price"))
    new = replace(radiator, name=f"{radiator.name}, another core", **gone, **shape)
    keys = ("positions", "fan_size", "depth", "fins_per_inch", "tube_rows", "passes")
    for name in catalogue.names("radiator"):
        listed = catalogue.part("radiator", name)
        same = all(np.all(np.isclose(getattr(listed, key), getattr(new, key))) for key in keys)
        if same and listed.metal == new.metal:
            return replace(new, name=listed.name, price=listed.price)
    return new


# --------------------------------------------------------------------------------------------- fans and flow


def _fanned(plan: Plan) -> list[tree.RadiatorUnit]:
    units = plan.fanned
    if not units:
        raise InputError("lesson", "no radiator with fans", "a plan whose radiators have fans", "Name their fan in it.")
    return units


def _each(plan: Plan, change: Callable) -> Plan:
    """Return the plan with every radiator that has fans replaced by `change(radiator)`."""
    _fanned(plan)
    return plan.with_loop(lambda leaf: change(leaf) if getattr(leaf, "fan", None) else leaf)


def push_or_push_pull(plan: Plan, speeds: Any = SPEEDS) -> pd.DataFrame:
    """
    Compare one fan at each position with two, before and behind the core, over fan speeds [share of full speed].

    Returns
    -------
    table : DataFrame
        Three rows for each speed, told apart by "fans": "push"; "push and pull, same speed"; "push and pull, same
        sound", which turn so much slower that the machine is as loud as with "push" at the speed in column "push at".
        Speed, flow, coolant over room, components, sound, power of the fans [W], number of fans. NaN where no speed
        at which the fans still turn is as quiet.

    Raises
    ------
    InputError
        If nothing is cooled, no radiator has fans, the plan is N designs, or a speed is not accepted.

    Notes
    -----
    All positions of a radiator turn at one speed here, whatever the plan says of a second one.
    """
    _named(plan)
    _one(solved(plan))
    speeds = between("fan speed", np.atleast_1d(np.asarray(speeds, dtype=float)), 0.0, 1.0, "of full speed")

    def with_fans(series: int, speed: Any) -> Plan:
        plain = {"pull_speed": None, "second_fans": 0.0, "second_speed": None, "fan_side": tree.PUSH}
        return _each(plan, lambda unit: replace(unit, fans_in_series=float(series), fan_speed=speed, **plain))

    def level(series: int, speed: float) -> float:
        units = _fanned(with_fans(series, speed))
        return float(sound.sum_levels(np.array([float(unit.sound()) for unit in units])))

    least = max(float(unit.fan.least_speed) for unit in _fanned(plan))
    least = max(least, 1e-3)

    def as_loud(speed: float) -> float:
        aim = level(1, speed) if speed > 0 else -np.inf
        if not level(2, least) <= aim:
            return np.nan
        return brentq(lambda other: level(2, other) - aim, least, 1.0, xtol=1e-12)

    same_sound = np.array([as_loud(speed) for speed in speeds])
    frames = []
    for words, series, turning in (
        ("push", 1, speeds),
        ("push and pull, same speed", 2, speeds),
        ("push and pull, same sound", 2, same_sound),
    ):
        there = np.isfinite(turning)
        new = with_fans(series, np.where(there, turning, 1.0))
        state = solved(new).state
        fans = sum(float(unit.fans) for unit in _fanned(new))
        numbers = _warm(new, state) | {"fan power [W]": state["fan_power"]}
        numbers = {key: np.where(there, value, np.nan) for key, value in numbers.items()}
        frames.append(pd.DataFrame({"fans": words, "push at": speeds, "speed": turning} | numbers | {"number": fans}))
    return pd.concat(frames, ignore_index=True)


def depth_or_fan_speed(plan: Plan, speeds: Any = SPEEDS) -> pd.DataFrame:
    """
    Solve the plan with cores of three depths in all radiators that have fans, over fan speeds [share of full speed].

    Returns
    -------
    table : DataFrame
        A row for each core of `CORES` and each speed: flow, coolant over room, components, sound, the largest air
        flow a core lets through as a share of what its fans move freely, money over the slim core. Equal speeds are
        equally loud here, so rows of one speed compare at equal sound. A deeper core holds back more air, so with
        slow or weak fans it may well be warmer.

    Raises
    ------
    InputError
        If nothing is cooled, no radiator has fans, the plan is N designs, or a speed is not accepted.
    """
    _named(plan)
    _one(solved(plan))
    speeds = between("fan speed", np.atleast_1d(np.asarray(speeds, dtype=float)), 0.0, 1.0, "of full speed")
    frames, cost = [], []
    for words, (depth, rows) in CORES.items():

        def change(unit: tree.RadiatorUnit, depth: float = depth, rows: float = rows) -> tree.RadiatorUnit:
            return replace(unit, radiator=another_core(unit.radiator, depth=depth, tube_rows=rows), fan_speed=speeds)

        new = _each(plan, change)
        answer = solved(new)
        shares = [np.asarray(answer.airs[unit.name].share_of_free_flow, dtype=float) for unit in _fanned(new)]
        share = np.fmax.reduce(np.broadcast_arrays(*shares)) if shares else np.nan
        priced = [unit.radiator.price for unit in _fanned(new)]
        cost.append(np.nan if None in priced else float(sum(priced)))
        columns = {"core": words, "speed": speeds} | _warm(new, answer.state)
        frames.append(pd.DataFrame(columns | {"share of free air flow": share, "money over slim": cost[-1] - cost[0]}))
    return pd.concat(frames, ignore_index=True)


class Knee(NamedTuple):
    """
    The knee of temperature against flow, of the component that is hottest at full pump speed.

    At `flow` [L/min], reached at `speed` [share of full speed], it has `temperature` [degC] and gains `slope` from
    each L/min more [K], just the average over the pump's range; below it gains more, beyond it less. `words` says so,
    or that there is no such flow: the four are then NaN. `full_slope` is what it gains at full speed [K], `table` has
    temperature against flow, for a drawing.
    """

    component: str
    speed: float
    flow: float
    temperature: float
    slope: float
    full_slope: float
    words: str
    table: pd.DataFrame


def flow_knee(plan: Plan) -> Knee:
    """
    Find the knee of temperature against flow: where one more L/min gains just the average of the pump's range.

    The flow is changed by the speed of all pumps, from the least at which they turn to full.

    Raises
    ------
    InputError
        If nothing is cooled, nothing can be stated at full pump speed, or the plan is N designs.

    Notes
    -----
    The chord from least to full speed has the same slope somewhere between (mean value theorem); the curve bends one
    way but for the change from laminar to turbulent flow, so the first such place is taken.
    """
    names = _named(plan)
    _one(solved(plan))
    least = max(0.05, *(float(unit.pump.least_speed) for unit in plan.units(tree.PumpUnit)))
    # The ends lie a step inside, so that the slope can be taken there too.
    speeds = np.linspace(min(least, 1 - 4 * STEP) + STEP, 1.0 - STEP, 41)
    table = pd.DataFrame({"speed": speeds} | _warm(plan, solved(plan.set(pump_speed=speeds)).state))
    table = table[np.isfinite(table[f"{names[0]} [degC]"])].reset_index(drop=True)
    if len(table) < 2:
        raise InputError("flow knee", "no steady answer at full pump speed", "a plan with one", "See its warnings.")
    component = max(names, key=lambda name: table[f"{name} [degC]"].iloc[-1])
    flows, warm = table["flow [L/min]"].to_numpy(), table[f"{component} [degC]"].to_numpy()
    average = float((warm[0] - warm[-1]) / (flows[-1] - flows[0]))

    def gains(speed: Any) -> Any:
        ends = np.ravel(np.outer([-STEP, STEP], np.ones(np.size(speed))) + speed)
        state = solved(plan.set(pump_speed=ends)).state
        (slow, fast), (before, after) = np.split(state["flow"] * 6e4, 2), np.split(state[component], 2)
        return (before - after) / (fast - slow)

    slopes = gains(table["speed"].to_numpy())
    falls = np.flatnonzero((slopes[:-1] > average) & (slopes[1:] <= average))
    if not len(falls):
        words = f"Temperature of {component} against flow bends nowhere: there is no knee."
        return Knee(component, np.nan, np.nan, np.nan, np.nan, float(slopes[-1]), words, table)
    low, high = table["speed"].iloc[falls[0]], table["speed"].iloc[falls[0] + 1]
    speed = brentq(lambda s: float(gains(s)[0]) - average, low, high, xtol=1e-6)
    state = solved(plan.set(pump_speed=speed)).state
    flow, temperature = float(state["flow"]) * 6e4, float(state[component])
    words = (
        f"The knee is at {flow:.2f} L/min, {speed:.0%} pump speed: one more L/min gains {component} {average:.1f} K "
        f"there, and {slopes[-1]:.1f} K at full speed."
    )
    return Knee(component, speed, flow, temperature, average, float(slopes[-1]), words, table)


# ------------------------------------------------------------------------------------------------ a quiet machine


class Softening(NamedTuple):
    """
    How far tube ends stay below softening as the fans slow down.

    Attributes
    ----------
    tubes : tuple of str
        Tubes of the catalogue, each put into every run.
    sound : array of N
        At the listener, estimated. [dB]
    left : dict of str to array of N
        Of the end nearest to softening, by tube. [K]
    table : DataFrame
        For each tube at the speeds of the plan, and with the fans as fast as the sound limit lets them: fan speed,
        sound, case air, warmest coolant, what is left, and the signal word the rules give it.
    """

    tubes: tuple[str, ...]
    sound: np.ndarray
    left: dict[str, np.ndarray]
    table: pd.DataFrame


def quiet_machine(plan: Plan, tubes: tuple[str, ...] = ("PETG 13/10 mm", "acrylic 13/10 mm")) -> Softening:
    """
    Return what the sound limit of a plan asks of its tube ends: fans slow, case and coolant warm, the margin shrinks.

    Raises
    ------
    InputError
        If no fan can turn, a tube is not in the catalogue or does not soften, or no fan speed meets the sound limit.
    """
    rows, left, sounds = [], {}, np.array([])
    for tube in tubes:
        one = plan.as_counts().set(tube=tube)  # it has fittings and a former of its own
        swept = quiet.trade_off(one)
        soft = [margin for name, margin in swept.margins.items() if name.startswith("softening of ")]
        if not soft:
            raise InputError("tube", tube, "a tube that softens", "Metal and soft tube have no softening margin here.")
        met = swept.hits[quiet.SOUND].speed
        if not np.isfinite(met):
            accepted = f"{np.min(swept.sound):.1f} to {np.max(swept.sound):.1f} dB, what these fans can do"
            raise InputError("sound limit", plan.sound_limit, accepted, "Choose a limit that the fans can meet.")
        sounds, left[tube] = swept.sound, np.min(soft, axis=0)
        for words, answer in (("as planned", solved(one)), ("at the sound limit", solved(quiet.at_speeds(one, met)))):
            facts = [fact for fact in answer.facts if fact.quantity == "tube below softening by"]
            said = [rule.signal for rule, _, _ in rules.firings(facts)]
            s = answer.state
            fans = max(float(unit.fan_speed) for unit in _fanned(answer.plan))
            rows.append((tube, words, 100 * fans, *(float(s[k]) for k in ("sound", "case_air", "coolant_warmest"))))
            rows[-1] += (min(float(fact.value) for fact in facts), said[0] if said else "none")
    columns = ["tube", "fans", "fastest fans [%]", "sound [dB]", "case air [degC]", "warmest coolant [degC]"]
    table = pd.DataFrame(rows, columns=[*columns, "left to softening [K]", "warning"])
    return Softening(tuple(tubes), sounds, left, table)
