"""Drawings of what to cool, of order and of layout: what a lesson works out for a plan, made visible."""

from typing import Any

import numpy as np

from loopmath import choice_words as words_of
from loopmath import loop as tree
from loopmath import style
from loopmath.choice_words import Told
from loopmath.sheet import (
    DASHED,
    DOTTED,
    HIGH,
    SOLID,
    WIDE,
    Beside,
    Chart,
    Curve,
    Curves,
    Mark,
    Page,
    Row,
    Rows,
    Sheet,
    scale_to,
)
from loopmath.units import DISPLAY

#: So many choices are drawn, and the plan's own besides; the table has them all.
DOZEN = 12


# -------------------------------------------------------------------------------------------------- what to cool


class Choices(Page):
    """The best dozen of all choices and the plan's own: who is in the loop, how warm everybody gets, what it takes."""

    #: Columns of numbers: head, width.
    TAKES = (("room left", 58), ("coolant over room", 64), ("sound", 62), ("joints", 50), ("money", 74))

    def show(self, told: Told) -> None:
        """Draw a row for every choice shown."""
        units, found, plan = self.units, told.result, told.plan
        # What was not combined stays as planned in every row: it stands in the table only.
        names = [name for name in words_of.cool_names(found) if f"{name}: gain [K]" in found]
        left, right = 42.0, self.wide - sum(w for _, w in self.TAKES) - 2.0
        column = min((right - left) / len(names), 250.0)
        right = left + column * len(names)
        self._heads(names, left, column, right)
        shown = [row for place, (_, row) in enumerate(found.iterrows()) if place < DOZEN or row["as planned"]]
        rank = {row.name: place + 1 for place, (_, row) in enumerate(found.iterrows())}
        told_why = len(shown) < DOZEN - 3
        step = min((self.high - (124.0 if told_why else 80.0)) / max(len(shown) + 0.62 * (len(shown) > DOZEN), 4), 72.0)
        y, limits = 54.0 + 0.5 * step, {u.name: float(u.limit) for u in (*plan.units(tree.Source), *plan.on_air)}
        for place, row in enumerate(shown):
            own, gap = bool(row["as planned"]), rank[row.name] - (rank[shown[place - 1].name] if place else 0) - 1
            if gap > 0:
                self.say(left, y - 0.22 * step, f"{gap} choice{'s' if gap > 1 else ''} between", color=style.QUIET)
                y += 0.62 * step
            if own:
                self.box(0, right + sum(w for _, w in self.TAKES), y - 0.46 * step, y + 0.46 * step, style.BAND)
            how = {"weight": "bold" if own else "normal"}
            known = np.isfinite(row["worst margin [K]"])
            self.say(2, y, f"{'▶' if own else ''}{rank[row.name] if known else '–'}", **how)
            for number, name in enumerate(names):
                warm = row[f"{name} [degC]"]
                self._cell(left + number * column, y, column, words_of.in_loop(row, name), warm, limits[name], plan)
            texts = [units["difference"].text(row["worst margin [K]"])]
            texts += [units["difference"].text(row["coolant over room [K]"]), f"{row['sound [dB]']:.1f} dB"]
            texts += [f"{row['joints']:.0f}", words_of.money(row[words_of.money_column(found)], plan.currency)]
            x = right
            for text, (_, width) in zip(texts, self.TAKES, strict=True):
                x += width
                self.say(x - 4, y, text.replace(" °F diff.", " °F"), ha="right", **how)
            y += step
        self._key(self.high - 9.0)
        if told_why:
            self.lines(2, self.high - 56, words_of.WHY[told.lesson], self.wide - 20, 2, color=style.QUIET)

    def _key(self, y: float) -> None:
        """Say what the marks mean, one behind the other."""
        x = 2.0
        for mark, words in (
            ("in", "in the loop"),
            ("out", "on air"),
            ("dot", "from room air"),
            ("limit", "to the limit"),
            ("over", "over it"),
            ("", "▶ the plan; places by room left to the tightest limit"),
        ):
            if mark in ("in", "out"):
                self.box(x, x + 9, y - 4.5, y + 4.5, style.LIQUID if mark == "in" else "#FFFFFF",
                         style.LIQUID if mark == "in" else style.QUIET)  # fmt: skip
            elif mark == "limit":
                self.draw([x + 4, x + 4], [y - 6, y + 6], color=style.LIMIT, lw=2.2)
            elif mark:
                how = {"marker": "o", "color": style.HEAT} if mark == "dot" else {"marker": "X", "color": style.INK}
                self.draw([x + 4], [y], ls="", ms=8, **how)
            self.say(x + (15 if mark else 0), y, words, color=style.QUIET)
            x += 15 + style.measured(words)[0] + 18

    def _heads(self, names: list[str], left: float, column: float, right: float) -> None:
        for number, name in enumerate(names):
            lines = style.fitted(name, column - 6, 2, bold=True)
            for place, line in enumerate(lines):
                y = 44 - 15 * (len(lines) - 1 - place)
                self.say(left + number * column, y, line, weight="bold")
        x = right
        for head, width in self.TAKES:
            x += width
            lines = style.fitted(head, width - 6, 3, bold=True)
            for place, line in enumerate(lines):
                self.say(x - 4, 44 - 15 * (len(lines) - 1 - place), line, weight="bold", ha="right")
        self.say(2, 44, "place", color=style.QUIET)

    def _cell(self, x: float, y: float, wide: float, inside: bool, warm: float, limit: float, plan: Any) -> None:
        """Draw one candidate of one choice: in or out, and where it stands between room air and its limit."""
        face, edge = (style.LIQUID, style.LIQUID) if inside else ("#FFFFFF", style.QUIET)
        self.box(x, x + 10, y - 5, y + 5, face, edge)
        start, end = x + 17, x + wide - 50
        room = float(plan.room_air)
        self.draw([start, end], [y, y], color=style.GRID, lw=1.2, zorder=1)
        bound = start + 0.82 * (end - start)
        self.draw([bound, bound], [y - 6, y + 6], color=style.LIMIT, lw=2.2, zorder=2)
        if np.isfinite(warm):
            share = (float(warm) - room) / (limit - room) if limit > room else 2.0
            at = start + min(max(0.82 * share, 0.0), 1.0) * (end - start)
            over = float(warm) > limit
            self.draw([at], [y], color=style.INK if over else style.HEAT, marker="X" if over else "o", ls="",
                      ms=8 if over else 6)  # fmt: skip
            self.say(end + 9, y, f"{self.units['temperature'].convert(float(warm)):.0f}°")


# ------------------------------------------------------------------------------------------------- gain and cost


class GainCost(Page):
    """Each candidate's own gain against what its heat costs the part it warms most, on one scale."""

    rows = 8

    def show(self, told: Told) -> None:
        """Draw a row for every candidate, by gain."""
        rise, found = self.units["difference"], told.result
        column = words_of.money_column(found, "change of money")
        listed = found.sort_values("gain [K]", ascending=False, na_position="last").iloc[: self.rows]
        zero, room, back = 330.0, 250.0, 100.0
        biggest = float(np.nanmax([*np.abs(listed["gain [K]"]), *(listed["cost to the others [K]"] / 0.4), 0.1]))
        per = room / scale_to(biggest)
        self.say(2, 14, "What being in the loop does to each part", weight="bold", size=style.PLAIN)
        self.say(zero - 6, 40, "◀ costs another", color=style.QUIET, ha="right")
        self.say(zero + 6, 40, "gains itself ▶", color=style.QUIET)
        self.say(zero + room + 68, 40, "and takes", color=style.QUIET)
        step = min((self.high - 92.0) / len(listed), 100.0)
        for place, (name, row) in enumerate(listed.iterrows()):
            y = 56 + (place + 0.5) * step
            gain, cost = float(row["gain [K]"]), float(row["cost to the others [K]"])
            self.say(2, y - 8, style.fitted(name, 150, 1, bold=True)[0], weight="bold")
            now = "in the loop now" if row["planned"] == "in the loop" else "on air now"
            self.say(2, y + 8, f"{row['heat [W]']:.0f} W, {now}", color=style.QUIET)
            if np.isfinite(gain):
                self.box(zero, zero + max(gain, 0) * per, y - 10, y + 10, style.LIQUID)
                self.say(zero + max(gain, 0) * per + 5, y, rise.text(gain), weight="bold")
            else:
                self.say(zero + 6, y, "not known", color=style.QUIET)
            if np.isfinite(cost) and cost > words_of.ALIKE:
                end = zero - min(cost * per, back)
                self.box(end, zero, y - 10, y + 10, style.HEAT)
                payer = style.fitted(f"{rise.text(cost)}, {row['who pays']}", max(end - 158, 40), 2)
                for number, line in enumerate(payer):
                    self.say(end - 5, y + 15 * (number - 0.5 * (len(payer) - 1)), line, ha="right")
            else:
                paid = "nothing" if np.isfinite(cost) else "no other part" if np.isfinite(gain) else ""
                self.say(zero - 6, y, paid, ha="right", color=style.QUIET)
            takes = f"{row['change of joints']:+.0f} joints, ".replace("-", "−")
            takes += words_of.money(row[column], told.plan.currency)
            self.say(zero + room + 68, y - 8, takes)
            self.say(zero + room + 68, y + 8, f"a block makes sense: {row['a block makes sense']}", color=style.QUIET)
        self.draw([zero, zero], [52, 58 + step * len(listed)], color=style.INK, lw=1.2, zorder=6)
        self.lines(2, self.high - 24, words_of.WHY[told.lesson], self.wide - 20, 2, color=style.QUIET)


# --------------------------------------------------------------------------------------------------------- order


class Orders(Page):
    """Each component in every order, on one scale with its limit: a strip of dots; and the best and worst order."""

    strips = 6

    def show(self, told: Told) -> None:
        """Draw a strip for the coolant and for every component, those with the widest spread first."""
        warm, rise, plan = self.units["temperature"], self.units["difference"], told.plan
        found, room = told.result.table, float(plan.room_air)
        spread = told.result.spread.sort_values(ascending=False)
        limits = {u.name: float(u.limit) for u in plan.units(tree.Source)}
        rows = [(n, found[f"{n} [degC]"].to_numpy(), limits[n], style.HEAT) for n in spread.index[: self.strips - 1]]
        coolant = room + found["coolant over room [K]"].to_numpy()
        rows.append(("warmest coolant", coolant, float(plan.coolant_limit), style.LIQUID))
        tops = [v for _, values, limit, _ in rows for v in (*values[np.isfinite(values)], limit)]
        low, high = 5 * np.floor(room / 5), 5 * np.ceil((max(tops) + 1) / 5)
        begin, end = 128.0, 566.0

        def x_of(t: Any) -> Any:
            return begin + (np.asarray(t) - low) / (high - low) * (end - begin)

        self.say(2, 14, f"The {len(found)} orders on one scale, {warm.label}", weight="bold", size=style.PLAIN)
        step = min((self.high - 76.0) / len(rows), 116.0)
        bottom = 36 + step * len(rows)
        for tick in self._ticks(low, high):
            at = float(x_of(warm.back(tick)))
            self.draw([at, at], [34, bottom], color=style.GRID, lw=0.8, zorder=0)
            self.say(at, bottom + 12, f"{tick:.0f}", ha="center", color=style.QUIET)
        for place, (name, values, limit, colour) in enumerate(rows):
            y = 36 + (place + 0.55) * step
            for number, line in enumerate(lines := style.fitted(name, begin - 12, 2, bold=True)):
                self.say(begin - 10, y + 15 * (number - 0.5 * (len(lines) - 1)), line, ha="right", weight="bold")
            self.draw([begin, end], [y, y], color=style.GRID, lw=1.2, zorder=1)
            at = float(x_of(limit))
            self.draw([at, at], [y - 13, y + 13], color=style.LIMIT, lw=2.4, zorder=2)
            near = at < begin + 40
            self.say(at + (5 if near else -5), y + 17, "limit", ha="left" if near else "right", color=style.QUIET)
            fine = values[np.isfinite(values)]
            if not fine.size:
                self.say(begin + 8, y - 14, "not known", color=style.QUIET)
                continue
            offsets = 4.0 * (np.arange(len(values)) * 3 % 5 - 2)
            self.draw(x_of(values), y + offsets, color=colour, marker="o", ls="", ms=4, mec="#FFFFFF", mew=0.4)
            if np.isfinite(values[0]):
                self.draw([x_of(values[0])], [y], color=style.INK, mfc="none", marker="o", ls="", ms=11, mew=1.4)
            words = f"{rise.text(fine.max() - fine.min())} from best to worst"
            left, wide = x_of(fine.min()), style.measured(words, bold=True)[0]
            self.say(min(max(left - 4, begin), end - wide), y - 25, words, weight="bold")
        self.say(begin, self.high - 9, "○ as planned; dots stand above each other only to be seen", color=style.QUIET)
        self._in_words(told)

    def _ticks(self, low: float, high: float) -> list[float]:
        warm = self.units["temperature"]
        first, last = warm.convert(low), warm.convert(high)
        step = next(s for s in (5, 10, 20, 50, 100, 200, 500, 1000) if (last - first) / s <= 9)
        return list(np.arange(step * np.ceil(first / step), last + 1e-6, step))

    def _in_words(self, told: Told) -> None:
        rise, left = self.units["difference"], words_of.margins(told).dropna()
        x, y, wide = 604.0, 14.0, self.wide - 620.0
        if not len(left):
            self.say(x, y, "No order has an answer.", color=style.QUIET)
            return
        own, first = left.iloc[0], str(left.index[0]) == str(told.result.table.index[0])
        best, worst = left.idxmax(), left.idxmin()
        # Orders that are one round begun elsewhere are about alike: of those the plan's own is named.
        best = left.index[0] if first and left.max() - own < words_of.ALIKE else best
        worst = left.index[0] if first and own - left.min() < words_of.ALIKE else worst
        ends = [("Best order", best, left.max()), ("Worst order", worst, left.min())]
        for title, order, margin in ends[: 2 if left.max() - left.min() >= words_of.ALIKE else 1]:
            title += " is the plan's" if first and order == left.index[0] else ""
            self.say(x, y, title, weight="bold", size=style.PLAIN)
            side = "left to the tightest limit" if margin >= 0 else "over the tightest limit"
            self.say(x, y + 16, f"{rise.text(abs(margin))} {side}", color=style.QUIET)
            y += 36
            for number, part in enumerate(str(order).split(", ")):
                y = self.lines(x, y, f"{number + 1}  {part}", wide, 2) + 2
            y += 14
        words = f"On one round the coolant warms by {rise.text(told.result.rise)}. {words_of.WHY[told.lesson]}"
        y = self.lines(x, y, words, wide, 5, color=style.QUIET)
        if told.result.kept:
            self.lines(x, y + 8, f"Left in their place: {', '.join(told.result.kept)}", wide, 2, color=style.QUIET)


# -------------------------------------------------------------------------------------------------- each lesson


def _layout_chart(told: Told) -> Chart:
    name, found = words_of.hottest(told), told.result
    curves, marks = [], []
    now = [float(row[f"{name} [degC]"]) for row in words_of.laid(told)]
    layouts = (("series", "in series", SOLID, "o"), ("parallel", "side by side", DASHED, "D"))
    for (layout, words, how, marker), warmth in zip(layouts, now, strict=True):
        rows = found[found["layout"] == layout]
        warm = rows[f"{name} [degC]"].to_numpy()
        curves.append(Curve(words, rows["pump speed"].to_numpy(), warm, how, style.HEAT))
        marks.append(Mark(words_of.pump_now(told.plan), warmth, None, marker, warmth < max(now)))
    return Chart(f"How warm {name} gets", "pump speed", ("share", "temperature"), curves, marks)


def _layout_rows(told: Told, system: str) -> tuple:
    flow = DISPLAY[system]["flow"]
    row, beside = words_of.laid(told)
    rows = []
    blocks = [(u.name, f"flow of {u.name} [L/min]") for u in told.plan.units(tree.Source)[:5]]
    for name, column in [("main line", "flow [L/min]"), *blocks]:
        values = [(float(laid[column]), marker) for laid, marker in ((row, "o"), (beside, "D"))]
        rows.append(Row(name, [(v, flow.text(v / 6e4, unit=False), marker) for v, marker in values]))
    speed = 100 * words_of.pump_now(told.plan)
    return f"Flow at {speed:.0f} % pump speed, {flow.label}", rows, style.LIQUID, "●  in series    ◇  side by side"


def _split_rows(told: Told, system: str) -> tuple:
    rise, found = DISPLAY[system]["difference"], told.result
    column = words_of.money_column(found)
    rows = []
    for name, row in found.iloc[:8].iterrows():
        over = float(row["coolant over room [K]"])
        heats = [words_of.heat_text(row[f"heat of the {n} [W]"]) for n in ("first", "second")]
        under = f"takes {heats[0]}" if str(name).startswith("one") else f"take {heats[0]} and {heats[1]}"
        price = float(row[column])
        if np.isfinite(price) and abs(price) >= 0.5:
            under += f"; {words_of.money(price, told.plan.currency)}"
        rows.append(Row(words_of.arrangement(name), [(over, rise.text(over), "o")], under))
    return "Warmest coolant over room", rows, style.LIQUID, ""


def _case_rows(told: Told, system: str) -> tuple:
    rise, room = DISPLAY[system]["difference"], float(told.plan.room_air)
    over = [float(v) - room for v in told.result["case air [degC]"].iloc[:8]]
    return "Case air over room", [Row("", [(v, rise.text(v), "o")], " ") for v in over], style.AIR, ""


_FANS = (("push", "one row", SOLID, "o"), ("push and pull, same speed", "two rows", DASHED, "D"))


def _fans_chart(told: Told) -> Chart:
    found, here = told.result, words_of.fanned(told)
    curves = []
    for kind, words, how, _ in _FANS:
        rows = found[found["fans"] == kind]
        curves.append(Curve(words, rows["sound [dB]"].to_numpy(), rows["coolant over room [K]"].to_numpy(), how))
    marks = [
        Mark(float(r["sound [dB]"]), float(r["coolant over room [K]"]), "", marker, size=size)
        for (_, r), marker, size in zip(here.iterrows(), ("o", "D", "s"), (8.0, 10.0, 13.0), strict=True)
    ][::-1]  # the small one over the large one: they may nearly meet
    return Chart("Warmest coolant over room against sound", "sound, dB", ("", "difference"), curves, marks, True)


def _fans_rows(told: Told, system: str) -> tuple:
    rise = DISPLAY[system]["difference"]
    rows = []
    names = ("one row", "two rows, same speed", "two rows, same sound")
    for (_, row), name, marker in zip(words_of.fanned(told).iterrows(), names, ("o", "D", "s"), strict=True):
        over = float(row["coolant over room [K]"])
        under = (
            "no temperature can be stated" if np.isfinite(row["speed"]) else "no speed at which they turn is as quiet"
        )
        if np.isfinite(over):
            under = f"{100 * row['speed']:.0f} %, {row['sound [dB]']:.1f} dB, {row['fan power [W]']:.1f} W, "
            under += f"{row['number']:.0f} fan{'s' if row['number'] > 1 else ''}"
        rows.append(Row(name, [(over, rise.text(over), marker)], under))
    key = f"one row at {100 * words_of.fans_now(told.plan):.0f} % fan speed"
    return "Warmest coolant over room", rows, style.LIQUID, key


_CORES = {"slim": (SOLID, "o"), "standard depth": (DASHED, "D"), "deep": (DOTTED, "s")}


def _depth_chart(told: Told) -> Chart:
    found, here, now = told.result, words_of.cores(told), words_of.fans_now(told.plan)
    curves, marks = [], []
    for core, (how, marker) in _CORES.items():
        rows = found[found["core"] == core]
        curves.append(Curve(core, rows["speed"].to_numpy(), rows["coolant over room [K]"].to_numpy(), how))
        marks.append(Mark(now, float(here.loc[core, "coolant over room [K]"]), "", marker))
    return Chart("Warmest coolant over room", "fan speed", ("share", "difference"), curves, marks, True)


def _depth_rows(told: Told, system: str) -> tuple:
    rise, rows = DISPLAY[system]["difference"], []
    for core, row in words_of.cores(told).iterrows():
        over, share = float(row["coolant over room [K]"]), float(row["share of free air flow"])
        under = f"lets {100 * share:.0f} % of the free air flow through, " if np.isfinite(share) else ""
        under += words_of.money(float(row["money over slim"]), told.plan.currency)
        rows.append(Row(str(core), [(over, rise.text(over), _CORES[str(core)][1])], under))
    key = f"at {100 * words_of.fans_now(told.plan):.0f} % fan speed"
    return "Warmest coolant over room", rows, style.LIQUID, key


def _knee_chart(told: Told) -> Chart:
    knee, found = told.result, told.result.table
    flows, warm = found["flow [L/min]"].to_numpy() / 6e4, found[f"{knee.component} [degC]"].to_numpy()
    curves = [Curve("", flows, warm, SOLID, style.HEAT)]
    curves.append(Curve("", flows[[0, -1]], warm[[0, -1]], DOTTED, style.QUIET))
    marks = [
        Mark(flow / 6e4, t, name, {"knee": "D", "as set": "o"}[name], True)
        for name, _, flow, t, _ in words_of.knee_points(told)
        if name in ("knee", "as set")
    ]
    return Chart(f"How warm {knee.component} gets", "flow", ("flow", "temperature"), curves, marks)


def _knee_rows(told: Told, system: str) -> tuple:
    label = DISPLAY[system]["flow"].label
    rows = [
        Row(name, [(max(slope, 0.0), words_of.per_flow(slope, system), {"knee": "D"}.get(name, "o"))],
            f"{100 * speed:.0f} % pump speed, {DISPLAY[system]['flow'].text(flow / 6e4)}")
        for name, speed, flow, _, slope in words_of.knee_points(told)
    ]  # fmt: skip
    return f"What one {label} more gains", rows, style.HEAT, ""


#: Lesson -> (chart, rows) for those that are a chart with rows beside it.
CHARTS = {
    words_of.LAYOUT: (_layout_chart, _layout_rows),
    words_of.FANS: (_fans_chart, _fans_rows),
    words_of.DEPTH: (_depth_chart, _depth_rows),
    words_of.KNEE: (_knee_chart, _knee_rows),
}
PAGES = {words_of.COOL: Choices, words_of.GAIN: GainCost, words_of.ORDER: Orders}


class Refused(Page):
    """Why a plan has nothing to tell, in the place of the drawing."""

    def show(self, told: Told) -> None:
        """Write it."""
        self.say(60, 120, "Nothing to compare here", weight="bold", size=14)
        for place, line in enumerate(style.fitted(told.refused, 620, 8, 12)):
            self.say(60, 156 + 24 * place, line, size=12)


def pictures(figure: Any, told: Told, system: str = "metric") -> list[Sheet]:
    """Put the drawings of a lesson on a figure of 880 x 424 pixels; they are still to be updated."""
    whole = (0.0, 0.0, 1.0, 1.0)
    if told.result is None:
        return [Refused(figure.add_axes(whole), system)]
    if told.lesson in PAGES:
        return [PAGES[told.lesson](figure.add_axes(whole), system)]
    if told.lesson == words_of.SPLIT:
        left = figure.add_axes((0.0, 0.0, 560 / WIDE, 1.0))
        right = figure.add_axes((590 / WIDE, 0.0, 290 / WIDE, 1.0))
        # Both have the same height for their rows, so that they stand beside each other.
        return [Rows(left, _split_rows, system, (560, HIGH)), Beside(right, _case_rows, system, (290, HIGH))]
    chart, rows = CHARTS[told.lesson]
    left = figure.add_axes((0.045, 0.115, 0.42, 0.815))
    right = figure.add_axes((545 / WIDE, 0.0, 335 / WIDE, 1.0))
    return [Curves(left, chart, system), Rows(right, rows, system, (335, HIGH))]


def draw_lesson(figure: Any, told: Told, system: str = "metric") -> list[Sheet]:
    """Draw a lesson on a figure, for print."""
    made = pictures(figure, told, system)
    for picture in made:
        picture.update(told)
    return made
