"""The lessons of what to cool, of order and of layout in words: for each a sentence and a table, from its numbers."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from loopmath import choices, lessons
from loopmath import loop as tree
from loopmath.checks import InputError
from loopmath.plan import BALANCE, Plan
from loopmath.solution import Solution, solved
from loopmath.units import DISPLAY

COOL, GAIN, ORDER, LAYOUT = "what to cool", "gain and cost", "order", "series or parallel"
SPLIT, FANS, DEPTH, KNEE = "one big or two small", "push or push and pull", "depth or fan speed", "flow and its knee"
#: Lessons in the order they are told.
LESSONS = (COOL, GAIN, ORDER, LAYOUT, SPLIT, FANS, DEPTH, KNEE)
#: Lessons that ask where heat and air go: the air of the case is balanced there, whatever the plan says.
BALANCED = (COOL, GAIN, SPLIT)
_COOLERS = (
    "Heat that leaves the loop warms the case instead. The cooler a part would have on air counts without sound and "
    "price, unless the plan gives them: then being on air is louder and dearer than shown."
)
#: What lies behind a lesson, whatever the numbers of a plan.
WHY = {
    COOL: _COOLERS,
    GAIN: _COOLERS,
    ORDER: "While every radiator cools, no two places of the loop differ by more. Where radiators meet different air, "
    "the whole loop shifts besides, because the warmer coolant meets another core.",
    LAYOUT: "Side by side the coolant has more ways, so the pump moves more of it; but each block gets its share only, "
    "and the film of coolant in a block follows its own flow.",
    SPLIT: "Cores of one kind take heat with their face, so two halves are about one whole. The air is another matter: "
    "what blows into the case is breathed again by whatever draws case air, and what blows out takes case air along.",
    FANS: "Fans in a row add pressure, not free flow: they gain much only where core and filter take much. Two equal "
    "sources are 3 dB louder than one.",
    DEPTH: "A deeper core has more surface, and holds back more air. Cores of one fan speed are equally loud here.",
    KNEE: "The dotted line is the average of the pump's range; at the knee the curve runs along it. Beyond the knee "
    "more flow is mostly sound and watts.",
}
#: Less than this between two answers is "about as warm". [K]
ALIKE = 0.05
#: An order is hardly worth a thought if it moves no part by more than this [K] and breaks no limit.
LITTLE = 3.0


@dataclass(frozen=True, eq=False)
class Told:
    """
    A lesson worked out for a plan.

    `solution` is the plan as it stands, its case balanced if the lesson balances it. `result` is what the lesson
    gives, None if this plan has nothing to tell; `refused` then says why.
    """

    lesson: str
    solution: Solution
    result: Any = None
    refused: str = ""

    @property
    def plan(self) -> Plan:
        """The plan it is told of."""
        return self.solution.plan


@dataclass(frozen=True)
class Table:
    """Numbers of a lesson as text: heads of the columns, and rows of (name, cells, True if the plan is so)."""

    heads: list[str]
    rows: list[tuple[str, list[str], bool]]


def told(lesson: str, plan: Plan) -> Told:
    """
    Work a lesson out for a plan; what the plan cannot tell is said in `Told.refused`.

    Raises
    ------
    InputError
        If the plan itself has no answer.
    """
    if lesson in BALANCED:
        plan = replace(plan, case_air_by=BALANCE, origin=None)
    solution = solved(plan)
    work: dict[str, Callable] = {
        COOL: choices.what_to_cool,
        GAIN: choices.marginal,
        ORDER: lessons.orders,
        LAYOUT: lambda p: lessons.series_or_parallel(p, _with(pump_now(p))),
        SPLIT: lessons.one_big_or_two_small,
        FANS: lambda p: lessons.push_or_push_pull(p, _with(fans_now(p))),
        DEPTH: lambda p: lessons.depth_or_fan_speed(p, _with(fans_now(p))),
        KNEE: lessons.flow_knee,
    }
    try:
        result = work[lesson](plan)
    except InputError as problem:
        words = f"This plan comes to {problem.value}; the lesson needs {problem.accepted}. {problem.remedy}"
        return Told(lesson, solution, refused=words.strip())
    if lesson == COOL:
        result = result.sort_values("worst margin [K]", ascending=False, kind="stable")
    return Told(lesson, solution, result)


def _with(speed: float) -> np.ndarray:
    """Return the speeds of a lesson, the present one among them."""
    return np.unique(np.round([*lessons.SPEEDS, speed], 4))


def pump_now(plan: Plan) -> float:
    """Return the speed of the first pump, at which the layouts are compared. [share of full speed]"""
    return float(plan.units(tree.PumpUnit)[0].speed)


def fans_now(plan: Plan) -> float:
    """Return the speed of the fans of the first radiator that has any, at which fans and cores are compared."""
    return next((float(u.fan_speed) for u in plan.fanned), 1.0)


def hottest(t: Told) -> str:
    """Return the component of the loop that is nearest its limit, "" if nothing is cooled."""
    sources = t.plan.units(tree.Source)
    known = [u for u in sources if np.isfinite(float(t.solution.state[u.name]))]
    return min(known or sources, key=lambda u: float(u.limit - t.solution.state[u.name])).name if sources else ""


def money(value: float, currency: str, sign: bool = True) -> str:
    """Return money as text, "no price" where it is not known."""
    if not np.isfinite(value):
        return "no price"
    words = f"{value:{'+' if sign else ''}.0f}".replace("-", "−")
    words = "0" if words.lstrip("+−") == "0" else words
    return f"{words} {currency}".strip()


def at(table: pd.DataFrame, column: str, value: float) -> pd.DataFrame:
    """Return the rows of a lesson at one speed."""
    return table[np.isclose(table[column], round(value, 4), atol=1e-9)]


def sentence(t: Told, system: str = "metric") -> str:
    """Return what a lesson teaches of this plan, in a sentence or two, worked out from its numbers."""
    if t.result is None:
        return f"{t.lesson[:1].upper()}{t.lesson[1:]}: nothing to compare in this plan."
    words = _SAY[t.lesson][0](t, system) or f"No temperature can be stated at these settings. {t.solution.plight}"
    return words.strip().replace("diff..", "diff.")  # the unit has its own full stop


def table(t: Told, system: str = "metric") -> Table:
    """Return the numbers of a lesson as text."""
    return Table([], []) if t.result is None else _SAY[t.lesson][1](t, system)


def alt(t: Told, system: str = "metric", most: int = 6) -> str:
    """Return the drawing of a lesson in words: the sentence, and the numbers of its first rows and of the plan."""
    if t.result is None:
        return f"{sentence(t, system)} {t.refused}"
    heads, rows = (got := table(t, system)).heads, got.rows
    shown = [row for place, row in enumerate(rows) if place < most or row[2]]
    words = "; ".join(
        f"{name}{' (as planned)' if own else ''}: "
        + ", ".join(f"{head} {cell}" for head, cell in zip(heads[1:], cells, strict=True))
        for name, cells, own in shown
    )
    return f"{t.lesson[:1].upper()}{t.lesson[1:]}. {sentence(t, system)} {words}.".replace("diff..", "diff.")


def _all(*values: Any) -> bool:
    return all(bool(np.all(np.isfinite(np.asarray(value, dtype=float)))) for value in values)


def _change(value: float, rise: Any, up: str = "warmer", down: str = "cooler") -> str:
    """Return a difference in words: "1.2 K warmer", "about as warm"."""
    if abs(value) < ALIKE:
        return "about as warm"
    return f"{rise.text(abs(value))} {up if value > 0 else down}"


# -------------------------------------------------------------------------------------------------- what to cool


def _cool_said(t: Told, system: str) -> str:
    rise, found = DISPLAY[system]["difference"], t.result
    known = found[np.isfinite(found["worst margin [K]"])]
    if not len(known):
        return ""
    kept = int((known["worst margin [K]"] >= 0).sum())
    best = known.iloc[0]

    def room(row: pd.Series) -> str:
        side = "left to" if row["worst margin [K]"] >= 0 else "over"
        return f"{rise.text(abs(row['worst margin [K]']))} {side} the limit of {row['tightest']}"

    if len(found) == 1:
        return f"There is one choice, {_together(found.index[0])}: {room(best)}."
    each = "All" if kept == len(found) else f"{kept or 'None'} of"
    words = f"{each} {len(found)} choices keep{'' if kept > 1 else 's'} every limit. "
    own = known[known["as planned"]]
    if not len(own):
        words += "The plan's own has no steady answer. " if found["as planned"].any() else ""
        return words + f"Most room has {_together(known.index[0])}: {room(best)}."
    if own.index[0] == known.index[0]:
        return words + f"The plan's own has most room, {room(best)}."
    rank = known.index.get_loc(own.index[0]) + 1
    words += f"Most room has {_together(known.index[0])}: {room(best)}. "
    words += f"The plan, place {rank} of {len(found)}: {room(own.iloc[0])}."
    out = [name for name in own.index[0].split(", ") if name not in known.index[0].split(", ")]
    if out:  # room left is often that of the coolant, which gains from every part left out
        warm, there = DISPLAY[system]["temperature"], out[0]
        words += f" But {there} is then on air at {warm.text(best[f'{there} [degC]'])}, its cooler's sound not counted."
    return words


def _together(names: Any) -> str:
    """Return the parts of a choice as one."""
    return str(names).replace(", ", " + ")


def money_column(found: pd.DataFrame, begins: str = "money") -> str:
    """Return the column of a table that holds money."""
    return next(c for c in found if c.startswith(begins))


def in_loop(row: pd.Series, name: str) -> bool:
    """Return True if a candidate is in the loop in a row of what to cool."""
    return name in str(row.name).split(", ")


def _cool_table(t: Told, system: str) -> Table:
    units, found, currency = DISPLAY[system], t.result, t.plan.currency
    rise, warm = units["difference"], units["temperature"]
    names = cool_names(found)
    heads = ["in the loop", "room left", "tightest", *names, "case air", "over room", "sound", "joints", "money"]
    rows = []
    for words, row in found.iterrows():
        cells = [rise.text(row["worst margin [K]"]), row["tightest"] or "none"]
        cells += [warm.text(row[f"{name} [degC]"]) for name in names]
        cells += [warm.text(row["case air [degC]"]), rise.text(row["coolant over room [K]"])]
        cells += [f"{row['sound [dB]']:.1f} dB", f"{row['joints']:.0f}"]
        rows.append((_together(words), [*cells, money(row[money_column(found)], currency)], bool(row["as planned"])))
    return Table(heads, rows)


def cool_names(found: pd.DataFrame) -> list[str]:
    """Return the candidates of what to cool, in the order of the table."""
    return [c.removesuffix(" [degC]") for c in found if c.endswith(" [degC]") and c != "case air [degC]"]


# ------------------------------------------------------------------------------------------------- gain and cost


def _gain_said(t: Told, system: str) -> str:
    rise, found = DISPLAY[system]["difference"], t.result
    known = found[np.isfinite(found["gain [K]"])].sort_values("gain [K]", ascending=False)
    if not len(known):
        return ""

    def one(row: pd.Series) -> str:
        paid = row["cost to the others [K]"]
        if not np.isfinite(paid):
            return rise.text(row["gain [K]"])
        cost = f"costs {row['who pays']} {rise.text(paid)}" if paid > ALIKE else "costs the others nothing"
        return f"{rise.text(abs(row['gain [K]']))}, and {cost}"

    most = "most, " if len(known) > 1 else ""
    words = f"In the loop, {known.index[0]} {_verb(known.iloc[0])} {most}{one(known.iloc[0])}."
    if len(known) > 1:
        last = known.iloc[-1]
        price = money(last[money_column(found, "change of money")], t.plan.currency, sign=False)
        name, least = known.index[-1], " least," if last["gain [K]"] >= 0 else ""
        words += (
            f" {name[:1].upper()}{name[1:]} {_verb(last)}{least} {one(last)}, "
            f"for {last['change of joints']:.0f} joints and {price}."
        )
    return words


def _verb(row: pd.Series) -> str:
    return "gains" if row["gain [K]"] >= 0 else "loses"


def _gain_table(t: Told, system: str) -> Table:
    units, found = DISPLAY[system], t.result
    rise, warm, column = units["difference"], units["temperature"], money_column(found, "change of money")
    heads = ["part", "heat", "on air", "in the loop", "gain", "cost to another", "who pays", "coolant", "case air"]
    heads += ["sound", "joints", "money", "a block makes sense"]
    rows = []
    for name, row in found.iterrows():
        cells = [f"{row['heat [W]']:.0f} W", warm.text(row["on air [degC]"]), warm.text(row["in the loop [degC]"])]
        cells += [rise.text(row["gain [K]"]), rise.text(row["cost to the others [K]"]), row["who pays"] or "nobody"]
        cells += [rise.text(row[f"change of {w} [K]"], sign=True) for w in ("coolant over room", "case air")]
        sound = row["change of sound [dB]"]
        cells += [f"{sound:+.1f} dB".replace("-", "−") if abs(sound) >= 0.05 else "0 dB"]
        cells += [f"{row['change of joints']:+.0f}".replace("-", "−"), money(row[column], t.plan.currency)]
        rows.append((name, [*cells, row["a block makes sense"]], row["planned"] == "in the loop"))
    return Table(heads, rows)


# --------------------------------------------------------------------------------------------------------- order


def margins(t: Told) -> pd.Series:
    """Return what is left to the tightest limit in every order, coolant and components of the loop. [K]"""
    found, plan = t.result.table, t.plan
    left = [u.limit - found[f"{u.name} [degC]"] for u in plan.units(tree.Source)]
    left.append(float(plan.coolant_limit - plan.room_air) - found["coolant over room [K]"])
    return pd.concat(left, axis=1).min(axis=1, skipna=False)


def _order_said(t: Told, system: str) -> str:
    rise, spread, left = DISPLAY[system]["difference"], t.result.spread, margins(t)
    if not _all(left.to_numpy(), spread.to_numpy()):
        return ""
    if len(left) == 1:
        return "There is one order: nothing to choose."
    listed = spread.sort_values(ascending=False)
    moved = " and ".join(f"{name} by {rise.text(value)}" for name, value in listed.iloc[:2].items())
    words = f"Of {len(left)} orders the best and the worst move {moved}; on a round the coolant warms by "
    words += f"{rise.text(t.result.rise)}. "
    if left.min() < 0 <= left.max():
        return words + f"Here it matters: {int((left < 0).sum())} orders break a limit."
    if spread.max() <= LITTLE:
        return words + "So take the order with the shortest tubes."
    return words + f"That is more than {rise.text(LITTLE)}: worth a longer tube where a limit is near."


def _order_table(t: Told, system: str) -> Table:
    units, found = DISPLAY[system], t.result.table
    rise, warm, flow = units["difference"], units["temperature"], units["flow"]
    names = [u.name for u in t.plan.units(tree.Source)]
    left = margins(t)
    heads = ["order", "room left", *names, "coolant over room", "flow"]
    rows = []
    ranked = left.reset_index(drop=True).sort_values(ascending=False, kind="stable").index
    for place in ranked:
        row = found.iloc[place]
        cells = [rise.text(left.iloc[place]), *(warm.text(row[f"{n} [degC]"]) for n in names)]
        cells += [rise.text(row["coolant over room [K]"]), flow.text(row["flow [L/min]"] / 6e4)]
        rows.append((str(found.index[place]), cells, place == 0))
    return Table(heads, rows)


# -------------------------------------------------------------------------------------------------------- layout


def laid(t: Told) -> tuple[pd.Series, pd.Series]:
    """Return the rows of the blocks in series and side by side, at the present speed of the pump."""
    here = at(t.result, "pump speed", pump_now(t.plan)).set_index("layout")
    return here.loc["series"], here.loc["parallel"]


def _layout_said(t: Told, system: str) -> str:
    units, name = DISPLAY[system], hottest(t)
    row, beside = laid(t)
    there, other = row[f"{name} [degC]"], beside[f"{name} [degC]"]
    if not _all(there, other):
        return ""
    flows = [beside[f"flow of {u.name} [L/min]"] for u in t.plan.units(tree.Source)]
    flow, least, most = units["flow"], min(flows), max(flows)
    span = flow.text(least / 6e4) if most - least < 0.005 else f"{flow.text(least / 6e4, unit=False)} to "
    span += "" if most - least < 0.005 else flow.text(most / 6e4)
    words = (
        f"Side by side the loop moves {flow.text(beside['flow [L/min]'] / 6e4)} instead of "
        f"{flow.text(row['flow [L/min]'] / 6e4)}, but each block gets {span}: {name} is "
        f"{_change(other - there, units['difference'])}."
    )
    if max(abs(beside[f"{u.name} [degC]"] - row[f"{u.name} [degC]"]) for u in t.plan.units(tree.Source)) <= 1.0:
        words += f" No part moves by more than {units['difference'].text(1.0)}: lay it as the case allows."
    return words


def _layout_table(t: Told, system: str) -> Table:
    units = DISPLAY[system]
    flow, warm, rise = units["flow"], units["temperature"], units["difference"]
    names = [u.name for u in t.plan.units(tree.Source)]
    heads = ["layout", "main line", *(f"through {n}" for n in names), *names, "coolant over room"]
    rows = []
    own = "parallel" if _side_by_side(t.plan) else "series"
    for words, row in zip(("series", "parallel"), laid(t), strict=True):
        cells = [flow.text(row["flow [L/min]"] / 6e4)]
        cells += [flow.text(row[f"flow of {n} [L/min]"] / 6e4) for n in names]
        cells += [warm.text(row[f"{n} [degC]"]) for n in names] + [rise.text(row["coolant over room [K]"])]
        rows.append((f"in {words}", cells, words == own))
    return Table(heads, rows)


def _side_by_side(plan: Plan) -> bool:
    return any(isinstance(item, tree.Parallel) for item in tree.flat(plan.loop))


# -------------------------------------------------------------------------------------------------- one or two


def _split_said(t: Told, system: str) -> str:
    units, found = DISPLAY[system], t.result
    rise, over = units["difference"], found["coolant over room [K]"]
    if not _all(over.iloc[0]) or len(found) < 3:
        return ""
    pair = over.iloc[2:]
    if not _all(pair.min()):
        return ""
    name = pair.idxmin()
    price = found.loc[name, money_column(found)]
    cost = f" for {money(price, t.plan.currency, sign=False)} more" if np.isfinite(price) and price > 0 else ""
    one = arrangement(found.index[0])
    words = f"{one[:1].upper()}{one[1:]} holds the coolant {rise.text(over.iloc[0])} over room; "
    words += f"the best pair, {arrangement(name)}, is {_change(pair.min() - over.iloc[0], rise)}{cost}. "
    if _all(over.iloc[1]):
        words += f"Where the air comes from moves the one by {rise.text(abs(over.iloc[1] - over.iloc[0]))}."
    return words


def _split_table(t: Told, system: str) -> Table:
    units, found = DISPLAY[system], t.result
    rise, warm, flow = units["difference"], units["temperature"], units["flow"]
    names = [u.name for u in t.plan.units(tree.Source)]
    heads = ["arrangement", "over room", *names, "case air", "first takes", "second takes"]
    heads += ["flow", "money"]
    rows = []
    for words, row in found.iterrows():
        cells = [rise.text(row["coolant over room [K]"]), *(warm.text(row[f"{n} [degC]"]) for n in names)]
        cells += [warm.text(row["case air [degC]"])]
        cells += [heat_text(row[f"heat of the {n} [W]"]) for n in ("first", "second")]
        cells += [flow.text(row["flow [L/min]"] / 6e4), money(row[money_column(found)], t.plan.currency)]
        rows.append((arrangement(words), cells, False))
    return Table(heads, rows)


def arrangement(name: Any) -> str:
    """Return an arrangement as it is said."""
    return str(name).replace(", ", " in ")


def heat_text(value: float) -> str:
    """Return heat as text."""
    return f"{value:.0f} W".replace("-", "−") if np.isfinite(value) else "none"


# --------------------------------------------------------------------------------------------------------- fans


def fanned(t: Told) -> pd.DataFrame:
    """Return push, push and pull at the same speed and at the same sound, with "push" at the present speed."""
    return at(t.result, "push at", fans_now(t.plan)).set_index("fans")


def _fans_said(t: Told, system: str) -> str:
    units, here = DISPLAY[system], fanned(t)
    rise = units["difference"]
    push, speed, sound = (here.iloc[n] for n in range(3))
    if not _all(push["coolant over room [K]"], speed["coolant over room [K]"]):
        return ""
    if push["speed"] <= 0:
        return "The fans stand still, and twice as many that stand change little: speed them up first."
    gain = push["coolant over room [K]"] - speed["coolant over room [K]"]
    words = (
        f"Twice the fans ({speed['number']:.0f} instead of {push['number']:.0f}) at {100 * push['speed']:.0f} %: "
        f"coolant {_change(-gain, rise)}, {speed['sound [dB]'] - push['sound [dB]']:.1f} dB louder. "
    )
    if not _all(sound["coolant over room [K]"]):
        return words + "No speed at which they still turn is as quiet as one row."
    fair = sound["coolant over room [K]"] - push["coolant over room [K]"]
    return words + f"As loud as one row they turn at {100 * sound['speed']:.0f} %: {_change(fair, rise)}."


def _fans_table(t: Told, system: str) -> Table:
    units, here = DISPLAY[system], fanned(t)
    rise, warm = units["difference"], units["temperature"]
    names = [u.name for u in t.plan.units(tree.Source)]
    heads = ["fans", "speed", "sound", "coolant over room", *names, "fan power", "fans in all"]
    rows = []
    double = any(float(u.fans_in_series) > 1 for u in t.plan.fanned)
    for words, row in here.iterrows():
        known = _all(row["coolant over room [K]"])
        cells = [f"{100 * row['speed']:.0f} %" if _all(row["speed"]) else "none"]
        cells += [f"{row['sound [dB]']:.1f} dB" if known else "none", rise.text(row["coolant over room [K]"])]
        cells += [warm.text(row[f"{n} [degC]"]) for n in names]
        cells += [f"{row['fan power [W]']:.1f} W" if known else "none", f"{row['number']:.0f}"]
        rows.append((words, cells, words == ("push and pull, same speed" if double else "push")))
    return Table(heads, rows)


# ------------------------------------------------------------------------------------------------------- depth


def cores(t: Told) -> pd.DataFrame:
    """Return the cores of three depths at the present speed of the fans."""
    return at(t.result, "speed", fans_now(t.plan)).set_index("core")


def matching(t: Told, core: str, over: float) -> float:
    """Return the fan speed at which a core holds the coolant so far over room; NaN if at none of the lesson."""
    rows = t.result[t.result["core"] == core]
    speeds, warm = rows["speed"].to_numpy(), rows["coolant over room [K]"].to_numpy()
    fine = np.isfinite(warm)
    order = np.argsort(warm[fine])
    return float(np.interp(over, warm[fine][order], speeds[fine][order], np.nan, np.nan)) if fine.any() else np.nan


def _depth_said(t: Told, system: str) -> str:
    rise, over = DISPLAY[system]["difference"], cores(t)["coolant over room [K]"]
    if not _all(over.to_numpy()):
        return ""
    best, worst, speed = over.idxmin(), over.idxmax(), fans_now(t.plan)
    if over[worst] - over[best] < ALIKE:
        words = f"At {100 * speed:.0f} % fan speed all three depths are about as warm. "
    else:
        words = (
            f"At {100 * speed:.0f} % fan speed {best} is coolest, {rise.text(over[best])} over room; {worst} is "
            f"{_change(over[worst] - over[best], rise)}. "
        )
    same = matching(t, worst, over[best])
    if over[worst] - over[best] >= ALIKE:
        words += f"It must turn at {100 * same:.0f} % to get there. " if _all(same) else "No speed brings it there. "
    full = at(t.result, "speed", 1.0).set_index("core")["coolant over room [K]"]
    return words + (f"At full speed {full.idxmin()} is coolest." if _all(full.to_numpy()) else "")


def _depth_table(t: Told, system: str) -> Table:
    units, here = DISPLAY[system], cores(t)
    rise, warm = units["difference"], units["temperature"]
    names = [u.name for u in t.plan.units(tree.Source)]
    heads = ["core", "coolant over room", *names, "flow", "sound", "share of free air flow", "money over slim"]
    depths = {float(u.radiator.depth) for u in t.plan.fanned}
    rows = []
    for words, row in here.iterrows():
        share, depth = row["share of free air flow"], lessons.CORES[words][0]
        cells = [rise.text(row["coolant over room [K]"]), *(warm.text(row[f"{n} [degC]"]) for n in names)]
        cells += [units["flow"].text(row["flow [L/min]"] / 6e4), f"{row['sound [dB]']:.1f} dB"]
        cells += [f"{100 * share:.0f} %" if _all(share) else "none", money(row["money over slim"], t.plan.currency)]
        name = f"{words}, {units['length'].text(depth)}"
        rows.append((name, cells, len(depths) == 1 and abs(depths.copy().pop() - depth) < 5e-4))
    return Table(heads, rows)


# -------------------------------------------------------------------------------------------------------- knee


def per_flow(slope: float, system: str) -> str:
    """Return what one more L/min gains [K], or in US units what one more gallon a minute gains, as text."""
    units = DISPLAY[system]
    value = units["difference"].convert(slope) / units["flow"].convert(1 / 6e4)
    return f"{value:.1f} {units['difference'].label}".replace("-", "−") if np.isfinite(value) else "none"


def _knee_said(t: Told, system: str) -> str:
    units, knee = DISPLAY[system], t.result
    if not np.isfinite(knee.flow):
        return knee.words
    flow, now = units["flow"], float(t.solution.state["flow"])
    side = "beyond" if now * 6e4 > knee.flow else "below"
    return (
        f"The knee is at {flow.text(knee.flow / 6e4)}, {100 * knee.speed:.0f} % pump speed: one {flow.label} more "
        f"gains {knee.component} {per_flow(knee.slope, system)} there, {per_flow(knee.full_slope, system)} at full "
        f"speed. The plan stands {side} it, at {flow.text(now)}."
    )


def knee_points(t: Told) -> list[tuple[str, float, float, float, float]]:
    """Return (name, pump speed, flow [L/min], temperature [degC], gain of one more L/min [K]) along the curve."""
    knee, here = t.result, t.result.table
    flows, warm = here["flow [L/min]"].to_numpy(), here[f"{knee.component} [degC]"].to_numpy()
    slopes = -np.gradient(warm, flows)
    state, name = t.solution.state, knee.component
    speed, flow = pump_now(t.plan), float(state["flow"]) * 6e4
    inside = flows[0] <= flow <= flows[-1]
    points = [("slowest", float(here["speed"].iloc[0]), flows[0], warm[0], slopes[0])]
    if np.isfinite(knee.flow):
        points.append(("knee", knee.speed, knee.flow, knee.temperature, knee.slope))
    if np.isfinite(float(state[name])):
        now = float(np.interp(flow, flows, slopes)) if inside else np.nan
        points.append(("as set", speed, flow, float(state[name]), now))
    points.append(("full speed", 1.0, flows[-1], warm[-1], knee.full_slope))
    return points


def _knee_table(t: Told, system: str) -> Table:
    units, here = DISPLAY[system], t.result.table
    heads = ["pump", "speed", "flow", t.result.component, f"one {units['flow'].label} more gains", "sound"]
    rows = []
    for name, speed, flow, warm, slope in knee_points(t):
        sound = np.interp(speed, here["speed"], here["sound [dB]"])
        cells = [f"{100 * speed:.0f} %", units["flow"].text(flow / 6e4), units["temperature"].text(warm)]
        rows.append((name, [*cells, per_flow(slope, system), f"{sound:.1f} dB"], name == "as set"))
    return Table(heads, rows)


#: Lesson -> what says its sentence, and what gives its table.
_SAY: dict[str, tuple[Callable, Callable]] = {
    COOL: (_cool_said, _cool_table),
    GAIN: (_gain_said, _gain_table),
    ORDER: (_order_said, _order_table),
    LAYOUT: (_layout_said, _layout_table),
    SPLIT: (_split_said, _split_table),
    FANS: (_fans_said, _fans_table),
    DEPTH: (_depth_said, _depth_table),
    KNEE: (_knee_said, _knee_table),
}
