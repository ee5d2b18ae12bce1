"""Drawings of what to cool, of order and of layout: what a lesson works out for a plan, made visible."""

import re
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection

from loopmath import choice_words as words_of
from loopmath import loop as tree
from loopmath import style
from loopmath.choice_words import Told
from loopmath.figures import Picture

#: Size of a drawing that is laid out in pixels of the screen.
WIDE, HIGH = 880, 424
#: So many choices are drawn, and the plan's own besides; the table has them all.
DOZEN = 12
#: What a scale of kelvin may end at, and of shares, flows or anything else that begins at nothing.
STEPS = tuple(m * 10.0**e for e in range(-2, 5) for m in (1, 1.5, 2, 3, 4, 5, 6, 8))
#: Line styles of the curves of one lesson: a second cue besides the marker.
SOLID, DASHED, DOTTED = "-", (0, (5, 2)), (0, (1.2, 1.4))
#: The marker that is drawn hollow.
HOLLOW = "D"
_WORD = {"ha": "left", "va": "center_baseline", "color": style.INK, "weight": "normal", "size": style.SMALL}
_LINE = {"color": style.INK, "lw": 1.0, "ls": "-", "marker": "", "ms": 6.0, "mfc": style.INK, "mec": style.INK,
         "mew": 1.0, "zorder": 3.0}  # fmt: skip


class Sheet(Picture):
    """
    A drawing of as many words, lines and boxes as it takes: they are kept and used again, and moved, not made anew.

    When it needs more of them than before, `moving` has grown after `update`.
    """

    def __init__(self, ax: Axes, system: str = "metric") -> None:
        super().__init__(ax, system)
        self.system = system
        self.shapes = PolyCollection([], lw=0)
        ax.add_collection(self.shapes, autolim=False)
        self.moving.append(self.shapes)
        self.kept: dict[str, list] = {"text": [], "line": []}

    def update(self, told: Told) -> bool:
        """Draw what was told; return True if a range stepped."""
        self.used = {"text": 0, "line": 0}
        self.boxes: list[tuple] = []
        stepped = self.show(told)
        for artist in self.kept["text"][self.used["text"] :]:
            artist.set_text("")
        for artist in self.kept["line"][self.used["line"] :]:
            artist.set_data([], [])
        self.shapes.set_verts([corners for corners, *_ in self.boxes])
        self.shapes.set_facecolor([face for _, face, _ in self.boxes])
        self.shapes.set_edgecolor([edge for *_, edge in self.boxes])
        self.shapes.set_linewidth(1.2)
        return bool(stepped)

    def show(self, told: Told) -> bool | None:
        """Draw with `say`, `draw` and `box`."""
        raise NotImplementedError

    def _next(self, kind: str) -> Any:
        place = self.used[kind]
        self.used[kind] += 1
        if place == len(self.kept[kind]):
            self.kept[kind].append(self.text() if kind == "text" else self.line())
        return self.kept[kind][place]

    def say(self, x: float, y: float, words: str, **how: Any) -> None:
        """Put words somewhere."""
        self._next("text").set(text=words, position=(x, y), **(_WORD | how))

    def draw(self, xs: Any, ys: Any, **how: Any) -> None:
        """Draw a line or marks."""
        if "color" in how:
            how = {"mfc": how["color"], "mec": how["color"]} | how
        line = self._next("line")
        line.set_data(xs, ys)
        line.set(**(_LINE | how))

    def box(self, left: float, right: float, low: float, high: float, face: Any, edge: Any = None) -> None:
        """Fill a box; by default its edge has the same colour."""
        corners = [(left, low), (right, low), (right, high), (left, high)]
        self.boxes.append((corners, face, face if edge is None else edge))

    def lines(self, x: float, y: float, words: str, width: float, most: int, **how: Any) -> float:
        """Put words in lines no wider than this, the first at y, and return where the next would stand."""
        # A number and its unit stay together, and a unit that ends in a full stop ends the sentence.
        words = re.sub(r"(?<=\d) (?=[^\s\d])", "\u00a0", words).replace("diff..", "diff.")
        for line in style.fitted(words, width, most, how.get("size", style.SMALL), how.get("weight") == "bold"):
            self.say(x, y, line, **how)
            y += 15
        return y


class Page(Sheet):
    """A sheet in pixels of the screen, y downwards, without axes."""

    def __init__(self, ax: Axes, system: str = "metric", wide: float = WIDE, high: float = HIGH) -> None:
        super().__init__(ax, system)
        self.wide, self.high = wide, high
        ax.set_xlim(0, wide)
        ax.set_ylim(high, 0)
        ax.axis("off")


def scale_to(value: float) -> float:
    """Return the end of a scale that begins at nothing and holds the value."""
    return next((s for s in STEPS if s >= value), STEPS[-1])


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


# ------------------------------------------------------------------------------------------- curves and rows


class Curve(NamedTuple):
    """A line of a lesson: what it is called, its places [inside units], its style and colour."""

    words: str
    x: np.ndarray
    y: np.ndarray
    how: Any = SOLID
    colour: str = style.LIQUID


class Mark(NamedTuple):
    """A point of a lesson, the marker that tells it from the others, and its words: by default its own value."""

    x: float
    y: float
    words: str | None
    marker: str = "o"
    below: bool = False
    size: float = 10.0


class Chart(NamedTuple):
    """Curves on one pair of axes: kinds of quantity as in `units.DISPLAY` ("" for a plain number), curves, marks."""

    title: str
    across: str
    kinds: tuple[str, str]
    curves: list[Curve]
    marks: list[Mark]
    from_zero: bool = False


class Curves(Sheet):
    """A chart of a lesson: `chart` makes it from what was told."""

    def __init__(self, ax: Axes, chart: Callable[[Told], Chart], system: str = "metric") -> None:
        super().__init__(ax, system)
        self.chart, self.span = chart, None
        self.words = ax.set_title("")
        ax.grid(True, axis="x")

    def show(self, told: Told) -> bool:
        """Draw the chart, its curves labelled at their ends."""
        chart = self.chart(told)
        across, up = (self.units[k].convert if k else (lambda v: v) for k in chart.kinds)
        label = self.units[chart.kinds[0]].label if chart.kinds[0] else ""
        xs, ys = [[f(np.asarray(getattr(c, w), float)) for c in chart.curves] for w, f in (("x", across), ("y", up))]
        fine = [np.isfinite(x) & np.isfinite(y) for x, y in zip(xs, ys, strict=True)]
        if not any(f.any() for f in fine):
            self.ax.set_axis_off()
            self.span = None
            x0, x1 = self.ax.get_xlim()
            self.say(0.5 * (x0 + x1), np.mean(self.ax.get_ylim()), "No answer at any of these speeds.", ha="center",
                     color=style.QUIET)  # fmt: skip
            return True
        flat_x, flat_y = (np.concatenate([v[f] for v, f in zip(vs, fine, strict=True)]) for vs in (xs, ys))
        most = 100.0 if chart.kinds[0] == "share" else np.inf
        span = self._range(flat_x, False, 8, most), self._range(flat_y, chart.from_zero, 7)
        stepped = (span, chart.title) != self.span
        self.span = (span, chart.title)
        (left, right), (low, high) = span
        if stepped:
            self.ax.set_axis_on()
            self.ax.set_xlim(left, right)
            self.ax.set_ylim(low, high)
            self.words.set_text(f"{chart.title}, {self.units[chart.kinds[1]].label}")
            self.ax.set_xlabel(f"{chart.across}, {label}" if label else chart.across, labelpad=2)
        ends = []
        for curve, x, y, f in zip(chart.curves, xs, ys, fine, strict=True):
            self.draw(np.where(f, x, np.nan), np.where(f, y, np.nan), color=curve.colour, ls=curve.how, lw=2.4)
            if f.any() and curve.words:
                last = np.flatnonzero(f)[-1]
                ends.append((float(y[last]), float(x[last]), curve))
        self._label(ends, left, right, low, high)
        for mark in chart.marks:
            x, y = across(mark.x), up(mark.y)
            if np.isfinite(x) and np.isfinite(y):
                self.draw([x], [y], color=style.INK, marker=mark.marker, ls="", ms=mark.size, mew=1.4, zorder=4,
                          mfc="#FFFFFF" if mark.marker == HOLLOW else style.INK,
                          mec=style.INK if mark.marker == HOLLOW else "#FFFFFF")  # fmt: skip
                near = mark.below or x > left + 0.72 * (right - left)
                words = self.units[chart.kinds[1]].text(mark.y) if mark.words is None else mark.words
                self.say(x + (-0.016 if near else 0.016) * (right - left),
                         y + (-0.05 if mark.below else 0.05) * (high - low), words,
                         weight="bold", ha="right" if near else "left")  # fmt: skip
        return stepped

    def _range(self, values: np.ndarray, from_zero: bool, most: int, bound: float = np.inf) -> tuple[float, float]:
        """Return round ends around some values, at most so many steps apart and not beyond a bound."""
        low, high = float(values.min()), float(values.max())
        low = min(low, 0.0) if from_zero else low
        wide = max(high - low, 1e-6)
        step = next((s for s in STEPS if wide / s <= most), STEPS[-1])
        begin, end = step * np.floor(low / step + 1e-9), step * np.ceil((high + 0.04 * wide) / step - 1e-9)
        return float(begin), float(min(max(end, begin + step), max(bound, begin + step)))

    def _label(self, ends: list, left: float, right: float, low: float, high: float) -> None:
        """Name curves behind their ends, pushed apart where they end close together."""
        gap = 15.0 / (self.ax.get_position().height * HIGH) * (high - low)
        before = -np.inf
        for y, x, curve in sorted(ends, key=lambda item: item[0]):
            y = max(y, before + gap)
            before = y
            self.say(x + 0.012 * (right - left), y, curve.words, color=style.INK, weight="bold")


class Row(NamedTuple):
    """A row of a lesson: its name, marks as (value, text, marker), and grey words under the name."""

    words: str
    marks: list[tuple[float, str, str]]
    under: str = ""


class Rows(Page):
    """Numbers of a lesson beside each other: `rows` makes (title, rows, colour, key) from what was told."""

    #: True if what lies behind the lesson is written under them.
    whys = True

    def __init__(self, ax: Axes, rows: Callable, system: str = "metric", size: tuple = (340, HIGH)) -> None:
        super().__init__(ax, system, *size)
        self.make = rows

    def show(self, told: Told) -> None:
        """Draw a row for each; one mark stands on a bar from nothing, two are joined."""
        title, rows, colour, key = self.make(told, self.system)
        self.say(2, 14, title, weight="bold", size=style.PLAIN)
        top = 30.0
        if key:
            self.say(2, 34, key, color=style.QUIET)
            top = 48.0
        names = [style.fitted(row.words, 0.5 * self.wide, 2, bold=True) for row in rows]
        begin = 22 + max((style.measured(line, bold=True)[0] for lines in names for line in lines), default=-8)
        values = [v for row in rows for v, *_ in row.marks if np.isfinite(v)]
        pair = any(len(row.marks) > 1 for row in rows)
        ends = [style.measured(text, bold=True)[0] for row in rows for _, text, _ in row.marks]
        per = (self.wide - 26 - max(ends, default=0.0) - begin) / scale_to(max([*values, 1e-6]))
        why = style.fitted(words_of.WHY[told.lesson], self.wide - 20, 6) if self.whys else []
        step = min((self.high - top - 15 * len(why) - 8) / max(len(rows), 1), 84.0)
        for place, (row, lines) in enumerate(zip(rows, names, strict=True)):
            y = top + (place + 0.5) * step
            above = 9 if row.under else 0
            for number, line in enumerate(lines):
                self.say(2, y - above + 15 * (number - 0.5 * (len(lines) - 1)), line, weight="bold")
            if row.under.strip():
                self.say(2, y + 9, style.fitted(row.under, self.wide - 4, 1)[0], color=style.QUIET)
            self._marks(row, y - above, begin + (34 if pair else 0), per * (0.86 if pair else 1.0), colour)
        for number, line in enumerate(why):
            self.say(2, self.high - 10 - 15 * (len(why) - 1 - number), line, color=style.QUIET)

    def _marks(self, row: Row, y: float, begin: float, per: float, colour: str) -> None:
        fine = sorted((begin + v * per, text, marker) for v, text, marker in row.marks if np.isfinite(v))
        if not fine:
            self.say(begin, y, "no answer", color=style.QUIET)
            return
        start = begin if len(fine) == 1 else fine[0][0]
        self.draw([start, fine[-1][0]], [y, y], color=colour, lw=3, zorder=2)
        for number, (x, text, marker) in enumerate(fine):
            hollow = marker == HOLLOW
            self.draw([x], [y], color=colour, marker=marker, ls="", ms=8, mfc="#FFFFFF" if hollow else colour, mew=1.8)
            before = number == 0 and len(fine) > 1
            self.say(x + (-9 if before else 9), y, text, ha="right" if before else "left", weight="bold")


class _Beside(Rows):
    """More numbers of the same rows, which have their names already."""

    whys = False


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
    flow = style_units(system)["flow"]
    row, beside = words_of.laid(told)
    rows = []
    blocks = [(u.name, f"flow of {u.name} [L/min]") for u in told.plan.units(tree.Source)[:5]]
    for name, column in [("main line", "flow [L/min]"), *blocks]:
        values = [(float(laid[column]), marker) for laid, marker in ((row, "o"), (beside, "D"))]
        rows.append(Row(name, [(v, flow.text(v / 6e4, unit=False), marker) for v, marker in values]))
    speed = 100 * words_of.pump_now(told.plan)
    return f"Flow at {speed:.0f} % pump speed, {flow.label}", rows, style.LIQUID, "●  in series    ◇  side by side"


def _split_rows(told: Told, system: str) -> tuple:
    rise, found = style_units(system)["difference"], told.result
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
    rise, room = style_units(system)["difference"], float(told.plan.room_air)
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
    rise = style_units(system)["difference"]
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
    rise, rows = style_units(system)["difference"], []
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
    label = style_units(system)["flow"].label
    rows = [
        Row(name, [(max(slope, 0.0), words_of.per_flow(slope, system), {"knee": "D"}.get(name, "o"))],
            f"{100 * speed:.0f} % pump speed, {style_units(system)['flow'].text(flow / 6e4)}")
        for name, speed, flow, _, slope in words_of.knee_points(told)
    ]  # fmt: skip
    return f"What one {label} more gains", rows, style.HEAT, ""


def style_units(system: str) -> dict:
    """Return how quantities are shown."""
    return words_of.DISPLAY[system]


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
        return [Rows(left, _split_rows, system, (560, HIGH)), _Beside(right, _case_rows, system, (290, HIGH))]
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
