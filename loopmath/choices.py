"""
What to cool: which parts of a machine go into the loop and which stay on air, every useful answer solved.

Whatever leaves the loop warms the case instead, so the air of the case is always balanced here
(`plan.case_air_by`), also where the plan states it: a stated case air could not tell.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd

from loopmath import catalogue, parts_list, rules, tables
from loopmath import loop as tree
from loopmath.case import AirPart
from loopmath.checks import InputError, one_of
from loopmath.designs import one_design
from loopmath.plan import BALANCE, Plan
from loopmath.routes import without
from loopmath.solution import Solution, solved

#: The run a part brings along when it joins the loop: length [m] and bends (common practice, no source).
RUN_LENGTH, RUN_BENDS = 0.25, 1.0
#: So many candidates are combined in every way, 63 answers; of more, those with the most heat.
MOST_COMBINED = 6
#: What makes no branch by itself: with its block gone, a branch of these would let coolant pass beside the others.
_PLUMBING = (tree.Run, tree.Fittings, tree.InlineUnit, tree.DeadLeg)
_OTHER, _POWER_SUPPLY = "other", "power supply"


@dataclass(frozen=True, eq=False)
class Candidate:
    """
    A part that could be in the loop or on air.

    Attributes
    ----------
    name : str
        Its name in the plan.
    cools : str
        What it is, a word of data/candidates.csv.
    planned : bool
        True if the plan has it in the loop.
    in_loop, on_air : Source, AirPart
        What stands in the plan for it either way.
    sense : str
        Whether a block makes sense on a part of its kind: "yes", "sometimes", "rarely" or "no".
    caution : str
        What to heed before it is put in the loop.
    """

    name: str
    cools: str
    planned: bool
    in_loop: tree.Source
    on_air: AirPart
    sense: str
    caution: str


def candidates(plan: Plan, power_supply: bool = False, coolers: Iterable[AirPart] = ()) -> list[Candidate]:
    """
    Return what could be in the loop or on air: the blocks of the loop, then the parts on air a block is known for.

    Parameters
    ----------
    plan : Plan
        A part on air is a candidate if it names a block, or if the catalogue has one for its kind (the first is taken).
    power_supply : bool
        True lists power supplies on air too. Never open one: its capacitors hold mains voltage long after
        unplugging, and coolant beside mains can kill. `Candidate.caution` says so again.
    coolers : AirParts
        What blocks of the loop would have on air, by name: resistance, sound level and price are taken from there.
        By default a part has the usual resistance of its kind, and the sound and price of its cooler are unknown
        and counted as none.

    Raises
    ------
    InputError
        If a cooler is given for something that is no block of the loop.

    Notes
    -----
    A part on air that states no resistance (0 K/W) gets the usual one of its kind too.
    """
    given = {cooler.name: cooler for cooler in coolers}
    sources = plan.units(tree.Source)
    for name in given:
        one_of("coolers", name, [source.name for source in sources], "Coolers are given for blocks of the loop.")
    out = []
    for source in sources:
        row = _usual(source.block.cools)
        named = source.block.name if source.block.name in catalogue.names("block") else ""
        part = AirPart(source.name, row["name"], source.heat, source.limit, 0.0, source.peak_heat, named)
        if source.name in given:
            own = given[source.name]
            part = replace(part, resistance=own.resistance, sound_level=own.sound_level, price=own.price)
        out.append(_candidate(True, source, part, row))
    for part in plan.on_air:
        row = _usual(part.cools)
        block = _block_for(part)
        if block is not None and (row["offered"] == "yes" or (power_supply and row["name"] == _POWER_SUPPLY)):
            source = tree.Source(part.name, block, part.heat, part.limit, part.peak_heat)
            out.append(_candidate(False, source, part, row))
    return out


def _candidate(planned: bool, source: tree.Source, part: AirPart, row: dict) -> Candidate:
    if np.all(np.asarray(part.resistance) == 0):
        part = replace(part, resistance=row["air_resistance_k_w"])
    return Candidate(part.name, row["name"], planned, source, part, row["block_makes_sense"], row["caution"])


def _usual(cools: str) -> dict:
    """Return what is usual of a kind of part."""
    known = tables.by_name("candidates.csv")
    return known.get(cools, known[_OTHER])


def _block_for(part: AirPart) -> Any:
    """Return the block a part on air would get, None if none is known."""
    if part.block:
        return catalogue.part("block", part.block, f"{part.name}, block")
    fitting = (catalogue.part("block", name) for name in catalogue.names("block"))
    return next((block for block in fitting if block.cools == part.cools), None)


# ------------------------------------------------------------------------------------------------ another choice


def cooled(plan: Plan, names: Iterable[str], power_supply: bool = False, coolers: Iterable[AirPart] = ()) -> Plan:
    """
    Return the plan with exactly some of its candidates in the loop and the others on air.

    Parameters
    ----------
    plan : Plan
        The plan; it is not changed.
    names : str or names
        What is to be in the loop.
    power_supply, coolers
        See `candidates`.

    Raises
    ------
    InputError
        If a name is no candidate, if nothing is left to cool, or if no tube is known for a new run.

    Notes
    -----
    Taken out: the block goes, and the runs before and behind it become one; lengths, bends and 90-degree fittings
    add up, for the way through the case stays, and two straight fittings are saved. A branch that is left with
    nothing but tube and fittings goes with its block (its dead legs stay, behind the group), and a group of one
    branch becomes part of the line, without its tees. Its heat warms the case.

    Put in: behind the last block of the loop, each with a run of `RUN_LENGTH` before it; without any block, behind the
    last pump.

    The air of the case is balanced, and the plan has no file it was read from: it is for looking.
    """
    listed = candidates(plan, True, coolers)
    wanted = {names} if isinstance(names, str) else set(names)
    for name in sorted(wanted):
        one_of("what to cool", name, [c.name for c in listed], "A part on air needs a block: name one in the plan.")
    for part in listed:
        if part.name in wanted and part.cools == _POWER_SUPPLY and not (part.planned or power_supply):
            raise InputError("what to cool", part.name, "a part that is safe to open", part.caution)
    if not wanted:
        remedy = f"A loop that cools nothing is none. To choose from: {', '.join(c.name for c in listed) or 'nothing'}."
        raise InputError("what to cool", "nothing", "at least one part", remedy)
    return _arranged(plan, listed, wanted)


def _arranged(plan: Plan, listed: list[Candidate], wanted: set[str]) -> Plan:
    """Return the plan with the wanted candidates in the loop; none of them leaves the air with nothing to compare."""
    loop, taken = plan.loop, {leaf.name for leaf in tree.leaves(plan.loop)}
    taken |= {thing.name for thing in (*plan.case_fans, *plan.on_air)}
    by_name = {c.name: c for c in listed}
    # In before out: the last block may be one that goes, and what comes in stands where it stood.
    for part in listed:
        if part.name in wanted and not part.planned:
            loop = _with(loop, part.in_loop, plan, taken)
    for part in listed:
        if part.planned and part.name not in wanted:
            loop = _without(loop, part.name, taken)
    stay = [by_name[p.name].on_air if p.name in by_name else p for p in plan.on_air if p.name not in wanted]
    out = [c.on_air for c in listed if c.planned and c.name not in wanted]
    left = {leaf.name for leaf in tree.leaves(loop)}
    routes = without(plan.routes, {route.name for route in plan.routes} - left)  # two runs in one go no way known yet
    return replace(plan, loop=loop, routes=routes, on_air=(*stay, *out), case_air_by=BALANCE, origin=None)


def new_run(plan: Plan, name: str, tube: Any = None) -> tree.Run:
    """Return a run as a new part brings it along, of the plan's tube or else `tube`; InputError without either."""
    tube = plan.tube or tube
    if tube is None:
        raise InputError("tube", "none in the plan", "the tube of a new run", "Name one in the plan, for all its runs.")
    return tree.Run(name, tube, RUN_LENGTH, RUN_BENDS, fitting_metal=plan.fitting_metal)


def _free(name: str, taken: set[str]) -> str:
    """Return a name that is not taken yet, and take it."""
    number, free = 2, name
    while free in taken:
        number, free = number + 1, f"{name}, {number}"
    taken.add(free)
    return free


def _with(loop: tree.Series, source: tree.Source, plan: Plan, taken: set[str]) -> tree.Series:
    """Return the loop with a block more, behind its last one."""
    items = tree.flat(loop)
    kind = tree.Source if tree.of_kind(loop, tree.Source) else tree.PumpUnit
    last = max(place for place, child in enumerate(items) if tree.of_kind(child, kind))
    runs = tree.of_kind(loop, tree.Run)
    after = tree.of_kind(items[last], kind)[-1].name
    run = new_run(plan, _free(f"{after} to {source.name}", taken), runs[-1].tube if runs else None)
    return tree.Series(*items[: last + 1], run, source, *items[last + 1 :])


def _without(series: tree.Series, name: str, taken: set[str]) -> tree.Series:
    """Return a series without one block, wherever in it the block is."""
    items = tree.flat(series)
    place = next(i for i, child in enumerate(items) if any(leaf.name == name for leaf in tree.leaves(child)))
    before, group, after = items[:place], items[place], items[place + 1 :]
    if not isinstance(group, tree.Parallel):
        return tree.Series(*_joined(before, after, taken))
    branches, spare = [], []
    for branch in group.branches:
        if any(leaf.name == name for leaf in tree.leaves(branch)):
            branch = _without(branch, name, taken)
            if all(isinstance(leaf, _PLUMBING) for leaf in tree.leaves(branch)):
                spare = tree.of_kind(branch, tree.DeadLeg)
                continue
        branches.append(branch)
    if len(branches) > 1:
        return tree.Series(*before, tree.Parallel(*branches), *spare, *after)
    only = [item for item in tree.flat(branches[0]) if not _is_tee(item)]
    return tree.Series(*_joined(_joined(before, only, taken), [*spare, *after], taken))


def _is_tee(item: Any) -> bool:
    return isinstance(item, tree.Fittings) and item.fitting.name.startswith("tee,")


def _joined(before: list, after: list, taken: set[str]) -> list:
    """Return one stretch behind another; two runs that meet become one."""
    if not (before and after and isinstance(before[-1], tree.Run) and isinstance(after[0], tree.Run)):
        return [*before, *after]
    first, second = before[-1], after[0]
    told = " to " in first.name and " to " in second.name
    start, end = first.name.partition(" to ")[0], second.name.rpartition(" to ")[2]
    run = replace(
        first,
        name=_free(f"{start} to {end}" if told else f"{first.name} and {second.name}", taken),
        length=first.length + second.length,
        bends=first.bends + second.bends,
        fittings=first.fittings + second.fittings,
        ends=np.maximum(first.ends + second.ends - 2.0, 0.0),
        laid=None,
        counted=None,
    )
    return [*before[:-1], run, *after[1:]]


# ------------------------------------------------------------------------------------------------ what it comes to


def plumbing(plan: Plan) -> dict[str, Any]:
    """
    Return what there is to cut, screw and keep tight: "tube ends", "joints" and "tube [m]".

    A tube end is one that sits in a fitting. A joint is a seal that can leak: two at every tube end (the tube, and
    the thread of its fitting), and one for every other fitting of the parts list: 90 degrees, tee, valve, plug.
    """
    runs, legs = plan.units(tree.Run), plan.units(tree.DeadLeg)
    ends = sum((run.ends for run in runs), 0.0) + len(legs)
    tubes = [(run.tube, run.fitting_metal) for run in runs] + [(leg.tube, plan.fitting_metal) for leg in legs]
    known = set(catalogue.names("fitting"))
    holders = {end.name for end in (parts_list.end_fitting(*pair) for pair in tubes) if end}
    items = [item for item in parts_list.parts_list(plan) if item.part in known and item.part not in holders]
    others = sum((item.amount for item in items), 0.0)
    tube = sum((leaf.length for leaf in (*runs, *legs)), 0.0)
    return {"tube ends": ends, "joints": 2 * ends + others, "tube [m]": tube}


def money(plan: Plan) -> Any:
    """Return what the priced parts come to, coolers of the parts on air among them."""
    kept = sum((part.price for part in plan.on_air if part.price is not None), 0.0)
    return parts_list.cost(parts_list.parts_list(plan)) + kept


@dataclass(frozen=True, eq=False)
class _Choice:
    """One choice, solved: temperature of every part [degC], and the other columns of its row."""

    warm: dict[str, float]
    row: dict[str, Any]


def _solve(plan: Plan) -> _Choice:
    answer = solved(plan)
    one_design("what to cool", answer.designs)
    state = answer.state
    warm = {part.name: float(state[part.name]) for part in plan.components}
    return _Choice(warm, _figures(plan, answer))


def _figures(plan: Plan, answer: Solution) -> dict[str, Any]:
    state = answer.state
    margins = {part.name: part.limit - state[part.name] for part in plan.components}
    margins["coolant"] = plan.coolant_limit - state["coolant_warmest"]
    tightest = min(margins, key=lambda name: margins[name]) if answer.known else ""
    counts = answer.warning_counts()
    return {
        "flow [L/min]": float(state["flow"]) * 6e4,
        "coolant over room [K]": float(state["coolant_over_room"]),
        "case air [degC]": float(state["case_air"]),
        "sound [dB]": float(state["sound"]),
        **{name: float(value) for name, value in plumbing(plan).items()},
        _money_column(plan): float(money(plan)),
        "worst margin [K]": float(margins[tightest]) if tightest else np.nan,
        "tightest": tightest,
        **{signal: int(counts[signal][0]) for signal in rules.SIGNALS},
    }


def _money_column(plan: Plan) -> str:
    return f"money [{plan.currency}]" if plan.currency else "money"


def _effect(name: str, with_it: _Choice, without: _Choice) -> tuple[float, float, str]:
    """Return what a part gains in the loop [K], what that costs the one it costs most [K], and who that is."""
    changes = {other: warm - without.warm[other] for other, warm in with_it.warm.items() if other != name}
    gain = without.warm[name] - with_it.warm[name]
    if not changes or np.any(np.isnan([*changes.values()])):
        return gain, np.nan, ""
    payer = max(changes, key=lambda other: changes[other])
    return gain, changes[payer], payer


def _compared(listed: list[Candidate]) -> list[Candidate]:
    if not listed:
        remedy = "Put a block in the loop, or name the block a part on air would get."
        raise InputError(
            "what to cool", "nothing in the plan", "blocks in the loop or parts on air with a block", remedy
        )
    return listed


def what_to_cool(plan: Plan, coolers: Iterable[AirPart] = ()) -> pd.DataFrame:
    """
    Solve every useful choice of what to cool; one row each, by what is in the loop.

    Parameters
    ----------
    plan : Plan
        One design.
    coolers
        See `candidates`.

    Returns
    -------
    table : DataFrame
        For each candidate its temperature [degC]; where it is in the loop its gain, how much cooler it is than on
        air with the others as in the row [K], and its cost to the others, by how much its heat warms the part it
        warms most, negative if all others get cooler too [K]. Then flow, coolant over room, case air, sound (coolers
        of the parts on air included), tube ends, joints, metres of tube, money (over or under the plan as it
        stands), the worst margin to a limit and whose it is, and how many rules of each signal word fire.
        "as planned" marks the plan's own choice. No steady answer leaves NaN. `table.attrs["left as planned"]` names
        the candidates that were not combined.

    Raises
    ------
    InputError
        If there is no candidate, or the plan is N designs.

    Notes
    -----
    Of more than six candidates the six with the most heat are combined and the others stay as planned. "On air" for
    the only part of a loop is a loop that runs with nothing to cool, its fans still turning.
    """
    listed = _compared(candidates(plan, coolers=coolers))
    varied = sorted(listed, key=lambda c: -np.max(c.in_loop.heat))[:MOST_COMBINED]
    fixed = [c for c in listed if c not in varied]
    always = {c.name for c in fixed if c.planned}
    every = [c.name for c in listed if c in varied]
    chosen = [frozenset(s) for many in range(len(every) + 1) for s in combinations(every, many)]
    found = {s: _solve(_arranged(plan, listed, always | s)) for s in chosen}
    own = frozenset(c.name for c in varied if c.planned)
    column, rows = _money_column(plan), []
    stated = float(money(plan))
    for subset in chosen:
        if not (subset or always):
            continue
        here = found[subset]
        row: dict[str, Any] = {"in the loop": ", ".join(c.name for c in listed if c.name in always | subset)}
        row["as planned"] = subset == own
        for part in listed:
            row[f"{part.name} [degC]"] = here.warm[part.name]
        for name in every:
            gain, cost, _ = _effect(name, here, found[subset - {name}]) if name in subset else (np.nan, np.nan, "")
            row |= {f"{name}: gain [K]": gain, f"{name}: cost to the others [K]": cost}
        rows.append(row | here.row | {column: here.row[column] - stated})
    table = pd.DataFrame(rows).set_index("in the loop")
    table.attrs["left as planned"] = [c.name for c in fixed]
    return table


def marginal(plan: Plan, coolers: Iterable[AirPart] = ()) -> pd.DataFrame:
    """
    Compare each candidate in the loop with the same on air, all others as planned; one row each.

    Parameters and errors are those of `what_to_cool`.

    Returns
    -------
    table : DataFrame
        Where the plan has it, its heat [W], its temperature on air and in the loop [degC], its gain [K], its cost to
        the part that it warms most [K] and which that is; then what being in the loop changes (in less out): flow,
        coolant, case air, sound, tube ends, joints, tube, money; whether a block makes sense on its kind, a caution.
    """
    listed = _compared(candidates(plan, coolers=coolers))
    own = {c.name for c in listed if c.planned}
    found = {frozenset(s): None for s in (own, *(own ^ {c.name} for c in listed))}
    found = {s: _solve(_arranged(plan, listed, set(s))) for s in found}
    changed = [
        "flow [L/min]",
        "coolant over room [K]",
        "case air [degC]",
        "sound [dB]",
        "tube ends",
        "joints",
        "tube [m]",
        _money_column(plan),
    ]
    rows = []
    for part in listed:
        with_it, without = found[frozenset(own | {part.name})], found[frozenset(own - {part.name})]
        gain, cost, payer = _effect(part.name, with_it, without)
        row = {
            "part": part.name,
            "planned": "in the loop" if part.planned else "on air",
            "heat [W]": float(part.in_loop.heat),
            "on air [degC]": without.warm[part.name],
            "in the loop [degC]": with_it.warm[part.name],
            "gain [K]": gain,
            "cost to the others [K]": cost,
            "who pays": payer,
        }
        for name in changed:
            words = name.replace("[degC]", "[K]")
            row[f"change of {words}"] = with_it.row[name] - without.row[name]
        rows.append(row | {"a block makes sense": part.sense, "caution": part.caution})
    return pd.DataFrame(rows).set_index("part")
