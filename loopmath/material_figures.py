"""Drawings of materials: metals and their pairs, tube ends, the choice of tube and coolant, what may touch what."""

import re
from collections.abc import Iterable, Mapping
from itertools import groupby
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.path import Path

from loopmath import rules, style, tables, wetted
from loopmath.laws import materials
from loopmath.material_words import COOLANTS, ENDS, METALS, PAIRS, TOUCH, TUBES, touching
from loopmath.sheet import HIGH, WIDE, Page
from loopmath.tube_choice import months_in_words
from loopmath.tube_ends import LASTING, PASSING

#: Shapes of `style.SIGNALS` as marks, and those of what no rule speaks of: a tick, a small ring.
TICK = Path([(-0.5, 0.0), (-0.15, -0.4), (0.55, 0.45)])
SHAPES = {"danger": "H", "warning": "^", "caution": "D", "notice": "o", rules.FITS: TICK, "": "o"}
#: What a second sign in a cell says of the sea-water series.
APART, TURNED = "≠", "⇄"
#: Colours of criteria in their order: tints of the palette, light enough for words.
TINTS = ("#EDB08A", "#8FD3BD", "#A9D6F3", "#8DBEDD", "#E3BDD1", "#C9C9C9", "#E9E3CF", "#D5EBD9")
#: A mark for each of the cases a tube end is looked at in, its size, and its place over (-) or under the bar: those of
#: one temperature are seen beside each other.
CASE_MARKS = (("o", 6.5, 0.0), ("^", 6.5, -0.26), ("s", 8.5, 0.0), ("v", 6.5, 0.26), ("D", 4.5, 0.0))
#: Metals drawn at most; the table has them all.
DOZEN = 12
#: Distance of two lines of words. [px]
LINE = 15.0


class Board(Page):
    """
    A page as large as its axes. All its words and lines are made at once, so that a slider only moves them.

    `update` takes what is drawn, or anything that has it as `result`.
    """

    #: Words and lines.
    most = (120, 60)

    def __init__(self, ax: Axes, system: str = "metric") -> None:
        place = ax.get_position()
        super().__init__(ax, system, WIDE * place.width, HIGH * place.height)
        for kind, make, most in zip(("text", "line"), (self.text, self.line), self.most, strict=True):
            self.kept[kind] = [make() for _ in range(most)]

    def update(self, answer: Any) -> bool:
        """Draw an answer; return False, for everything moves and no range is left behind."""
        return super().update(getattr(answer, "result", answer))

    def signs(self, places: Iterable[tuple[float, float, str]], size: float = 9.0, inked: bool = False) -> None:
        """Draw the signs of signal words at (x, y, signal); `inked` for those on a ground of their colour."""
        by_signal: dict[str, list] = {}
        for x, y, signal in places:
            by_signal.setdefault(signal, []).append((x, y))
        for signal, spots in by_signal.items():
            how: dict[str, Any] = {"marker": SHAPES[signal], "ls": "", "ms": size, "mew": 0.8, "zorder": 4}
            if signal in style.SIGNALS:
                face, ink, _ = style.SIGNALS[signal]
                how |= {"color": ink if inked else face, "mec": ink if inked else style.INK}
            elif signal:
                how |= {"color": style.INK, "mfc": "none", "mew": 1.8}
            else:
                how |= {"color": style.KEPT, "mfc": "none", "ms": 0.6 * size}
            self.draw(*zip(*spots, strict=True), **how)

    def key(self, y: float, signals: Mapping[str, str], more: str = "", x: float = 4.0) -> None:
        """Say in a line what signs mean, and more behind them as far as there is room."""
        for signal, words in signals.items():
            self.signs([(x + 5, y, signal)], 8.0)
            self.say(x + 15, y, words, color=style.QUIET)
            x += 33 + style.measured(words)[0]
        if more:
            self.lines(x, y, more, self.wide - x - 4, 1, color=style.QUIET)

    def title(self, words: str) -> None:
        """Put the title on top."""
        self.say(2, 14, words, weight="bold", size=style.PLAIN)

    def names(self, x: float, y: float, words: str, width: float, most: int, **how: Any) -> None:
        """Put a name in lines around its place."""
        lines = style.fitted(words, width, most, bold=how.get("weight") == "bold")
        for number, line in enumerate(lines):
            self.say(x, y + LINE * (number - 0.5 * (len(lines) - 1)), line, **how)

    def nothing(self, words: str) -> None:
        """Say why there is nothing to draw."""
        self.lines(24, 60, words, self.wide - 60, 4, color=style.QUIET)


def staircase(starts: list[float], widths: list[float], gap: float = 10.0) -> list[int]:
    """
    Return rows for labels that begin at a stem each, in the order of their stems, so that no stem crosses a label.

    A label stands over every later one it would reach, and its stem passes the lower ones on their left.

    Examples
    --------
    >>> staircase([0, 30, 200], [100, 100, 100])
    [1, 0, 0]
    """
    rows: list[int] = []
    for number in reversed(range(len(starts))):
        over = [
            row
            for row, start in zip(rows, starts[number + 1 :], strict=True)
            if start < starts[number] + widths[number] + gap
        ]
        rows.insert(0, 1 + max(over) if over else 0)
    return rows


def lanes(starts: list[float], ends: list[float], gap: float = 12.0) -> list[int]:
    """Return for pieces in the order of their starts the first lane in which each is free of those before it."""
    until: list[float] = []
    out = []
    for start, end in zip(starts, ends, strict=True):
        lane = next((n for n, last in enumerate(until) if last + gap <= start), len(until))
        until[lane : lane + 1] = [end]
        out.append(lane)
    return out


def short_names(names: Iterable[str]) -> dict[str, str]:
    """
    Return metals without what only tells grades apart, where they keep apart without it.

    Examples
    --------
    >>> list(short_names(["copper", "stainless steel 18 % chromium", "aluminium 6000 series"]).values())
    ['copper', 'stainless steel', 'aluminium']
    """
    cut = {name: re.split(r",| \d", name)[0] for name in names}
    taken = list(cut.values())
    return {name: words if taken.count(words) == 1 else name for name, words in cut.items()}


def _ticks(low: float, high: float, most: int = 10) -> np.ndarray:
    """Return round numbers between two ends."""
    step = next(s for s in (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000) if (high - low) / s <= most)
    return step * np.arange(np.ceil(low / step - 1e-9), np.floor(high / step + 1e-9) + 1)


# ----------------------------------------------------------------------------------------------------- metals


def judged(pairs: list[wetted.Pair]) -> list[wetted.Pair]:
    """Return the pairs that speak for a plan: each aluminium with copper and its kin, then the widest of each other."""
    refused = {pair.baser: pair for pair in reversed(pairs) if pair.refused}
    widest = {pair.baser: pair for pair in reversed(pairs)}
    apart = [pair for pair in pairs if pair is widest[pair.baser] and not pair.refused]
    return [pair for pair in pairs if pair is refused.get(pair.baser)] + apart


def _listed(places: list[str], width: float) -> str:
    """Return as many names as have room in a line [px], and how many more there are."""
    for count in range(len(places), 0, -1):
        more = len(places) - count
        words = ", ".join(places[:count]) + (f" and {more} more" if more else "")
        if style.measured(words)[0] <= width:
            return words
    return f"{len(places)} of them" if len(places) > 1 else style.fitted(places[0], width, 1)[0]


def drawn_metals(seen: wetted.Seen) -> tuple[list[str], int]:
    """Return the metals that are drawn, noblest first: all, or a dozen of the widest pairs; and how many are not."""
    listed = sorted(dict.fromkeys(one.surface for one in seen.wetted), key=wetted.index)
    if len(listed) > DOZEN:
        wide = dict.fromkeys(name for pair in seen.pairs for name in (pair.baser, pair.nobler))
        kept = list(wide)[:DOZEN]
        return [name for name in listed if name in kept], len(listed) - DOZEN
    return listed, 0


class MetalAxis(Board):
    """The wetted metals by anodic index, the spans of the pairs that speak, and the sea-water series under them."""

    most = (110, 80)
    #: Kept free right of the axis, for words that begin at its end. [px]
    words = 172.0

    def show(self, seen: wetted.Seen) -> None:
        """Draw flags over an axis, spans under it, and the second series at the bottom."""
        self.title("Metals the coolant touches, by anodic index, V: nobler to the left, baser to the right")
        names, left_out = drawn_metals(seen)
        if not names:
            self.nothing("No part of this loop has a stated metal.")
            return
        where = {name: [one.where for one in seen.wetted if one.surface == name] for name in names}
        limit, short = materials.LIMITS[seen.surroundings], short_names(where)
        index = {name: wetted.index(name) for name in where}
        first = min(index.values())
        low = max(np.floor(10 * first - 0.3) / 10, 0.0)
        high = np.ceil(10 * max(*index.values(), first + limit, low + 0.5) + 0.1) / 10
        per = (self.wide - 14 - self.words) / (high - low)
        x_of = {name: 14 + (volts - low) * per for name, volts in index.items()}
        bottom = self._sea(seen, where, short)
        told = [pair for pair in judged(seen.pairs) if pair.nobler in x_of and pair.baser in x_of]
        y = self._flags(where, short, x_of, bottom - 82 - 17 * min(len(told), 7))
        self._scale(y, np.arange(low, high + 0.05, 0.1), lambda volts: 14 + (volts - low) * per, style.QUIET)
        rest = f"{left_out} metals more stand in the table" if left_out else ""
        self._spans(seen, told, short, x_of, limit * per, y + 36, bottom, rest)

    def _flags(self, where: dict[str, list[str]], short: dict, x_of: dict[str, float], room: float) -> float:
        """Name each metal over its place, its parts under it while there is room; return where the axis is."""
        stems, free = list(x_of.values()), [self.wide - x - 6 for x in x_of.values()]
        heads = [style.fitted(name, most, 1, bold=True)[0] for name, most in zip(where, free, strict=True)]
        wides = [style.measured(head, bold=True)[0] for head in heads]
        parts = [
            _listed(list(dict.fromkeys(places)), min(max(wide, 220), most))
            for places, wide, most in zip(where.values(), wides, free, strict=True)
        ]
        both = [max(wide, style.measured(words)[0]) for wide, words in zip(wides, parts, strict=True)]
        rows, high = staircase(stems, both), 30.0
        if high * (1 + max(rows)) > room:
            heads, parts, high = [short[name] for name in where], [""] * len(where), 14.0
            rows = staircase(stems, [style.measured(head, bold=True)[0] for head in heads])
        y = 34 + high * (1 + max(rows))
        for stem, row, head, words in zip(stems, rows, heads, parts, strict=True):
            top = y - 4 - high * (row + 1)
            self.draw([stem, stem], [top, y], color=style.QUIET, lw=0.8, zorder=2)
            self.say(stem + 4, top + 7, head, weight="bold")
            self.say(stem + 4, top + 21, words, color=style.QUIET)
        self.draw(stems, [y] * len(stems), ls="", marker="o", ms=6.5, color=style.INK, zorder=4)
        return y

    def _scale(self, y: float, ticks: np.ndarray, place: Any, colour: str) -> None:
        """Draw an axis with its numbers."""
        at = place(ticks)
        self.draw([at[0], at[-1]], [y, y], color=colour, lw=1.2, zorder=1)
        self.draw(np.repeat(at, 3), np.tile([y, y + 4, np.nan], len(at)), color=colour, lw=0.8)
        for x, tick in zip(at, ticks, strict=True):
            self.say(x, y + 13, f"{abs(tick):.1f}" if tick > -0.05 else f"−{-tick:.1f}", ha="center", color=style.QUIET)

    def _spans(self, seen: wetted.Seen, pairs: list, short: dict, x_of: dict, limit: float, y: float, bottom: float,
               rest: str) -> None:  # fmt: skip
        """Draw the limit as a ruler, then the pairs that speak as bars of their span, the gravest first."""
        begin = min(x_of.values())
        self.draw([begin, begin + limit], [y, y], color=style.LIMIT, lw=2.2, ls=(0, (4, 2)))
        self.draw([begin, begin + limit], [y, y], color=style.LIMIT, ls="", marker="|", ms=10, mew=2.2)
        words = f"{materials.LIMITS[seen.surroundings]:.2f} V, the most that {seen.surroundings} surroundings allow"
        self.say(begin + limit + 9, y, words)
        order = (*style.SIGNALS, rules.FITS)
        told = [(seen.signals.get((pair.nobler, pair.baser), rules.FITS), pair) for pair in pairs]
        told.sort(key=lambda item: order.index(item[0]))
        room = int((bottom - y - 8) / 17)
        shown = told if len(told) + bool(rest) <= room else told[: max(room - 1, 1)]
        more = len(told) - len(shown)
        step = min((bottom - y - 8) / max(len(shown) + bool(more or rest), 1), 26.0)
        y += 8 + 0.5 * step
        for signal, pair in shown:
            self._span(pair, signal, short, x_of, y)
            y += step
        worst = told[len(shown)][0] if more else ""
        remarks = [] if told else ["one metal alone: there is no pair to judge"]
        remarks += [f"{more} more pairs, {'all pass' if worst == rules.FITS else f'at most {worst}'}"] if more else []
        self.say(begin, y, "; ".join([*remarks, *([rest] if rest else [])]), color=style.QUIET)

    def _span(self, pair: wetted.Pair, signal: str, short: dict, x_of: dict, y: float) -> None:
        left, right = x_of[pair.nobler], x_of[pair.baser]
        face, ink, _ = style.SIGNALS.get(signal, (style.BAND, style.INK, ""))
        self.box(left, max(right, left + 2), y - 7.5, y + 7.5, face, style.INK)
        self.signs([(right + 13, y, signal)])
        words = f"{'passes' if signal == rules.FITS else signal} {pair.volts:.2f} V"
        names = f"{short[pair.baser]} with {short[pair.nobler]}"
        if style.measured(names)[0] < right - left - 12:
            self.say(0.5 * (left + right), y, names, ha="center", color=ink)
        else:
            words += f": {names}"
        self.lines(right + 24, y, words, self.wide - right - 28, 1, weight="bold")

    def _sea(self, seen: wetted.Seen, where: dict, short: dict) -> float:
        """Draw the ranges of the sea-water series at the bottom, and return where that begins."""
        rows = tables.by_name("metals.csv")
        ends = {name: (rows[name]["seawater_high_v"], rows[name]["seawater_low_v"]) for name in where}
        known = sorted((name for name in where if ends[name][0] != ""), key=lambda name: -ends[name][0])
        risen = {pair.baser for pair in seen.pairs if pair.turned}
        title = "In flowing sea water, V against a saturated calomel electrode"
        title += "; bold: higher in this order than above" if risen else ""
        if without := [short[name] for name in where if name not in known]:
            title += f"; not listed: {_listed(without, self.wide - 150 - style.measured(title)[0])}"
        per, axis = (self.wide - 14 - self.words) / 1.1, self.high - 24
        spans = [[14 - volts * per for volts in ends[name]] for name in known]
        wides = [style.measured(short[name], bold=name in risen)[0] for name in known]
        stack = lanes([start for start, _ in spans], [end + 5 + w for (_, end), w in zip(spans, wides, strict=True)])
        for name, (start, end), lane in zip(known, spans, stack, strict=True):
            y, bold = axis - 10 - 13 * lane, name in risen
            self.box(start, end, y - 4, y + 4, style.GRID, style.INK if bold else style.KEPT)
            how = {"weight": "bold"} if bold else {"color": style.QUIET}
            self.say(end + 5, y, short[name], **how)
        self._scale(axis, np.arange(0.0, -1.15, -0.1), lambda volts: 14 - volts * per, style.KEPT)
        top = axis - 28 - 13 * max(stack, default=0)
        self.lines(14, top, title, self.wide - 44, 1, color=style.QUIET)
        return top - 12


class MetalMatrix(Board):
    """Every pair of wetted metals: how far they lie apart, and what the rules say of it."""

    most = (100, 30)

    def show(self, seen: wetted.Seen) -> None:
        """Draw a stair of cells; each metal's name stands at the end of its row, over its own column."""
        self.title("How far two metals lie apart by anodic index, V")
        names, left_out = drawn_metals(seen)
        if len(names) < 2:
            self.nothing("It takes two metals to make a pair.")
            return
        short, count = short_names(names), len(names)
        wide = min((self.wide - 20 - min(style.measured(short[names[-1]], bold=True)[0], 160)) / (count - 1), 120.0)
        tall = min((self.high - 94) / count, 56.0)
        found = {(pair.nobler, pair.baser): pair for pair in seen.pairs}
        limit = materials.LIMITS[seen.surroundings]
        signs, far, seconds = [], self._far(seen, limit), ""
        for row, baser in enumerate(names):
            y = 32 + (row + 0.5) * tall
            left = 12 + row * wide
            self.say(left, y, style.fitted(short[baser], self.wide - left - 4, 1, bold=True)[0], weight="bold")
            for column, nobler in enumerate(names[:row]):
                pair = found[nobler, baser]
                signal = seen.signals.get((nobler, baser), rules.FITS)
                face, ink, _ = style.SIGNALS.get(signal, (style.BAND, style.INK, ""))
                left = 6 + column * wide
                self.box(left, left + wide, y - 0.5 * tall, y + 0.5 * tall, face, "#FFFFFF")
                second = APART * (_pair(pair) in far) + TURNED * pair.turned
                seconds += second
                margin = 0.5 * (wide - 68)
                self.say(left + margin + 18, y, f"{pair.volts:.2f} {second}".rstrip(), color=ink)
                signs.append((left + margin + 6, y, signal))
        self.signs(signs, 7.5, inked=True)
        used = {signal for *_, signal in signs}
        words = {s: s if s != rules.FITS else "passes" for s in (*style.SIGNALS, rules.FITS) if s in used}
        held = "with an inhibitor" if seen.inhibitor else "without an inhibitor"
        self.key(self.high - 46, words, f"{held}; {seen.surroundings} surroundings allow {limit:.2f} V")
        told = {APART: "passes here, lies further apart in sea water", TURNED: "in sea water the other is the nobler"}
        remarks = [f"{second} {words}" for second, words in told.items() if second in seconds]
        remarks += [f"{left_out} more metals stand in the table"] if left_out else []
        self.lines(4, self.high - 28, "; ".join(remarks), self.wide - 10, 1, color=style.QUIET)
        self.say(
            4, self.high - 11, "A metal's row runs left from its name, its column down from it.", color=style.QUIET
        )

    @staticmethod
    def _far(seen: wetted.Seen, limit: float) -> set[str]:
        """Return the pairs of which the rules say that the index lets them pass and sea water does not."""
        facts = [
            rules.Fact("difference in the sea-water series", _pair(pair), max(map(abs, pair.sea_water)), limit)
            for pair in seen.pairs
            if pair.sea_water is not None and (pair.nobler, pair.baser) not in seen.signals
        ]
        return {fact.where for _, fact, _ in rules.firings(facts)}


def _pair(pair: wetted.Pair) -> str:
    return f"{pair.baser} with {pair.nobler}"


# --------------------------------------------------------------------------------------------------- tube ends


class EndBars(Board):
    """How warm the wall of each tube end gets, from steady to its worst, against where its tube softens."""

    most = (110, 130)
    #: Ends at most, and lines of notes under them.
    ends, noted = 16, 2
    #: Where the scale begins, and the room behind it for words. [px]
    columns = (290.0, 140.0)

    def show(self, answer: Any) -> None:
        """Draw a row for every end, the runs in flow order."""
        self.title(f"Wall of each tube end, {self.units['temperature'].label}: steady, and at its worst")
        if not answer.ends:
            self.nothing("This loop has no tube with an end to judge.")
            return
        shown, blocks, step = self._chosen(answer.ends)
        cases = list(dict.fromkeys(case for end in answer.ends for case in end.wall))
        self._cases(cases)
        self.say(self.wide - self.columns[1] + 8, 34, f"to softening, {self.units['difference'].label}")
        values = [float(v) for end in shown for v in end.wall.values() if np.isfinite(v)]
        bends = [float(end.soft) + materials.SOFTENING_ALLOWANCE for end in shown if end.soft is not None]
        room = float(answer.plan.room_air)
        self.span = 5 * np.floor(min([room, *values]) / 5), 5 * np.ceil((max([*values, *bends, room + 15]) + 1) / 5)
        signals, marks, y = self._signals(answer), {case: ([], []) for case in cases}, 46.0
        for bound, material, ends in blocks:
            if bound is not None and values:
                self._bound(float(bound), material, y, y + 16 + step * len(ends))
            y = self._block(ends, y + 16 * (bound is not None), step, signals, marks)
        warm = self.units["temperature"]
        for tick in _ticks(*map(warm.convert, self.span), 9):
            at = self.x(warm.back(tick))
            self.draw([at, at], [46, y], color=style.GRID, lw=0.8, zorder=0)
            self.say(at, y + 11, f"{tick:.0f}", ha="center", color=style.QUIET)
        for case, (mark, size, _) in zip(cases, CASE_MARKS, strict=False):
            self.draw(*marks[case], ls="", marker=mark, ms=size, color=style.INK, mfc="#FFFFFF", mew=1.2, zorder=4)
        if not values:
            words = f"No temperature is stated. {answer.solution.plight}"
            self.lines(self.columns[0] + 20, 180, words, self.wide - sum(self.columns) - 40, 4, weight="bold")
        else:
            self._notes(answer.said)
        if len(shown) < len(answer.ends):
            words = f"{len(shown)} of {len(answer.ends)} ends, those with least left; the table has them all."
            self.say(2, self.high - 8 - LINE * self.noted, words, color=style.QUIET)

    def _notes(self, said: list[str]) -> None:
        """Say at the bottom what stands behind the temperatures, as many whole sentences as have room."""
        kept: list[str] = []
        for words in said:
            if len(style.fitted(" ".join([*kept, words]), self.wide - 40, 9)) <= self.noted or not kept:
                kept.append(words)
        lines = style.fitted(_kept(" ".join(kept)), self.wide - 40, self.noted)
        for number, line in enumerate(reversed(lines)):
            self.say(2, self.high - 8 - LINE * number, line, color=style.QUIET)

    def _chosen(self, ends: tuple) -> tuple[list, list, float]:
        """Return as many of the worst ends as have room, blocks of (softens at, material, ends), the row height."""
        for most in range(min(self.ends, len(ends)), 0, -1):
            worst = {id(end) for end in sorted(ends, key=_margin)[:most]}
            shown = [end for end in ends if id(end) in worst]
            blocks = [(*key, list(of)) for key, of in groupby(shown, key=lambda end: (end.soft, end.tube.material))]
            heads = sum(1 for bound, *_ in blocks if bound is not None)
            step = (self.high - 76 - LINE * (self.noted + (most < len(ends))) - 16 * heads) / most
            if step >= LINE:
                break
        return shown, blocks, min(step, 42.0)

    def _cases(self, cases: list[str]) -> None:
        """Say which mark is which case."""
        x = self.columns[0]
        for case, (mark, size, _) in zip(cases, CASE_MARKS, strict=False):
            self.draw([x], [34], ls="", marker=mark, ms=size, color=style.INK, mfc="#FFFFFF", mew=1.2)
            self.say(x + 9, 34, case)
            x += 30 + style.measured(case)[0]

    def x(self, temperature: Any) -> Any:
        """Return where a temperature [degC] stands."""
        begin, right = self.columns
        return begin + (temperature - self.span[0]) / (self.span[1] - self.span[0]) * (self.wide - right - begin)

    def _bound(self, soft: float, material: str, y: float, end: float) -> None:
        """Mark where the tube of a block softens, and where it bends in the test."""
        warm, bends = self.units["temperature"], soft + materials.SOFTENING_ALLOWANCE
        at, far = self.x(soft), self.x(bends)
        self.draw([at, at], [y + 2, end], color=style.LIMIT, lw=2.0, ls=(0, (4, 2)), zorder=2)
        self.draw([far, far], [y + 2, end], color=style.QUIET, lw=0.8, zorder=1)
        self.say(at - 5, y + 9, f"{material} softens at {_plain(warm, soft)}", ha="right")
        self.say(far + 5, y + 9, f"bends at {_plain(warm, bends)}", color=style.QUIET)

    def _block(self, ends: list, y: float, step: float, signals: dict, marks: dict) -> float:
        for run, group in groupby(ends, key=lambda end: end.run):
            here = list(group)
            self.names(2, y + 0.5 * step * len(here), run, 140, 2 if step * len(here) >= 28 else 1, weight="bold")
            self.draw([0, self.wide - 4], [y, y], color=style.GRID, lw=0.8, zorder=0)
            for end in here:
                self._end(end, y + 0.5 * step, step, signals, marks)
                y += step
        return y

    def _end(self, end: Any, y: float, step: float, signals: dict, marks: dict) -> None:
        begin, right = self.columns
        place = f"at {end.at}" if end.at else "closed end"
        self.say(begin - 10, y, style.fitted(place, 132, 1)[0], ha="right", color=style.QUIET)
        known = {case: float(v) for case, v in end.wall.items() if np.isfinite(v)}
        steady = next(iter(known.values()), np.nan)
        if known:
            start, stop = self.x(steady), self.x(max(known.values()))
            self.box(start, max(stop, start + 1), y - min(0.14 * step, 4), y + min(0.14 * step, 4), style.LIQUID)
        for (case, (xs, ys)), (_, _, offset) in zip(marks.items(), CASE_MARKS, strict=False):
            if case in known:
                xs.append(self.x(known[case]))
                ys.append(y + offset * min(step, 26.0))
        x = self.wide - right + 8
        if not known:
            self.say(x, y, "no temperature", color=style.QUIET)
        elif end.soft is None:
            self.say(x, y, _without(end.tube), color=style.QUIET)
        else:
            margin, signal = end.margin, signals.get(end.name, rules.FITS)
            self.signs([(x + 5, y, signal)], 8.0)
            words = self.units["difference"].text(abs(margin), unit=False)
            self.say(x + 16, y, f"{words} {'left' if margin >= 0 else 'over'}", weight="bold")

    @staticmethod
    def _signals(answer: Any) -> dict[str, str]:
        """Return what the rules say of each end's distance to softening, by its name."""
        out: dict[str, str] = {}
        for rule, fact, _ in rules.firings(answer.facts, answer.plan.house_rules):
            if fact.quantity in (LASTING, PASSING):
                out.setdefault(fact.where, rule.signal)
        return out


def _margin(end: Any) -> float:
    """Return what is left, more than any for an end that has no such figure."""
    return float(end.margin) if end.margin is not None and np.isfinite(end.margin) else np.inf


def _without(tube: Any) -> str:
    if tube.material == "copper":
        return "copper stays hard"
    return "softening unknown" if tube.rigid else "soft tube, clamped"


def _kept(words: str) -> str:
    """Return words whose numbers keep their units in one line."""
    return re.sub(r"(?<=\d) (?=[^\s\d])", "\u00a0", words)


def _plain(shown: Any, value: float) -> str:
    """Return a value without the nought behind its point."""
    return shown.text(value).replace(".0 ", " ")


# ----------------------------------------------------------------------------------------------------- choices


class TubeRanking(Board):
    """Kinds of tube, the best on top: what each criterion adds to its points."""

    most = (120, 24)

    def show(self, choice: Any) -> None:
        """Draw a bar for every kind, made of what the criteria add."""
        self.title("Which tube suits: points of 100. A criterion adds its weight, here, times its score, in this order")
        weights = {name: float(weight) for name, weight in choice.weights.items()}
        whole = sum(weights.values())
        x = 4.0
        for (name, weight), tint in zip(weights.items(), TINTS, strict=False):
            self.box(x, x + 11, 29, 40, tint, style.QUIET)
            words = f"{name} {100 * weight / whole:.0f}"
            self.say(x + 16, 34.5, words, color=style.QUIET)
            x += 34 + style.measured(words)[0]
        begin, per = 300.0, (self.wide - 300 - 230) / 100
        step = min((self.high - 52) / len(choice.kinds), 62.0)
        for place, kind in enumerate(choice.kinds):
            self._kind(choice, place, kind, 48 + (place + 0.5) * step, step, begin, per, weights, whole)

    def _kind(self, choice: Any, place: int, kind: Any, y: float, step: float, begin: float, per: float,
              weights: dict, whole: float) -> None:  # fmt: skip
        own, refused = kind.material == choice.own, bool(kind.danger)
        if own:
            self.box(0, self.wide, y - 0.48 * step, y + 0.48 * step, style.BAND)
        ink = style.QUIET if refused else style.INK
        name = style.fitted(f"{place + 1} {kind.label}", begin - 14, 1, bold=True)[0]
        under = style.fitted(self._under(kind, choice.plan), begin - 26, max(int(step / LINE) - 1, 1))
        first = y - 0.5 * LINE * len(under)
        self.say(4, first, name, weight="bold", color=ink)
        for number, line in enumerate(under, start=1):
            self.say(14, first + LINE * number, line, color=style.QUIET)
        high, x = min(0.34 * step, 12.0), begin
        for (name, weight), tint in zip(weights.items(), TINTS, strict=False):
            points = 100 * weight * float(kind.scores[name]) / whole
            end = x + points * per
            if end - x >= 1:
                self.box(x, end, y - high, y + high, style.GRID if refused else tint, style.QUIET)
            words = next(
                (w for w in (f"{name} {points:.0f}", f"{points:.0f}") if style.measured(w)[0] <= end - x - 5), ""
            )
            if words:
                self.say(0.5 * (x + end), y, words, ha="center", color=ink)
            x = end
        self.say(x + 8, y, f"{100 * float(kind.total):.0f}", weight="bold", color=ink, size=style.PLAIN)
        x = max(x + 32, self.wide - 188)
        if kind.heed:
            self.signs([(x + 5, y, kind.heed)])
            self.say(x + 15, y, kind.heed)
        if own:
            self.say(self.wide - 8, y, "▶ this plan's", weight="bold", ha="right")

    def _under(self, kind: Any, plan: Any) -> str:
        """Return what stands behind the points, in short."""
        said = [left] if (left := kind.left(self.system)) else []
        if kind.cost is not None:
            said.append(f"{kind.cost:.0f} {plan.currency}".strip())
        if kind.months is not None:
            said.append(f"top-up after {months_in_words(kind.months)}")
        return _kept(", ".join(said))


class CoolantCosts(Board):
    """What each coolant costs against water: flow, and the temperature of the component nearest its limit."""

    most = (90, 20)

    def show(self, choice: Any) -> None:
        """Draw a row for every mix with a mark in two panels, from the line of water."""
        self.title("What each coolant costs against water")
        mixes, begin, top = choice.mixes, 296.0, 54.0
        width, step = 0.5 * (self.wide - begin), min((self.high - 82) / len(mixes), 44.0)
        rows = [top + (place + 0.5) * step for place in range(len(mixes))]
        for y, mix in zip(rows, mixes, strict=True):
            if mix.own:
                self.box(0, self.wide, y - 0.48 * step, y + 0.48 * step, style.BAND)
            label = f"▶ {mix.label} (this plan's)" if mix.own else mix.label
            self.names(4, y, label, begin - 14, 2 if step >= 29 else 1, weight="bold" if mix.own else "normal")
        parts = {mix.component for mix in mixes if mix.component}
        part = parts.pop() if len(parts) == 1 else "part nearest its limit"
        rise, warm = self.units["difference"], self.units["temperature"]
        for left, head, what, colour, mark, least, at_water, told in (
            (begin, "change of flow", "flow", style.LIQUID, "o", 0.05, self.units["flow"].text(mixes[0].flow),
             lambda share: f"{100 * share:+.0f} %".replace("-", "−")),
            (begin + width, f"{part} warmer by", "component", style.HEAT, "s", 1.0,
             warm.text(mixes[0].component_temperature), lambda kelvin: rise.text(kelvin, sign=True)),
        ):  # fmt: skip
            self.say(left + 6, 36, style.fitted(head, width - 20, 1, bold=True)[0], weight="bold")
            values = np.array([float(mix.against_water[what]) for mix in mixes])
            words = [at_water, *map(told, values[1:])]
            xs, away = self._panel(left, width - 20, (top, top + step * len(mixes)), rows, values, least, colour, mark)
            for x, side, y, value, text, mix in zip(xs, away, rows, values, words, mixes, strict=True):
                how = {"weight": "bold"} if mix.own else {}
                known = np.isfinite(value)
                self.say(x + 10 * side, y, text if known else "no answer", ha="left" if side > 0 else "right", **how)
        silent = [m.remark for m in mixes if m.remark and not np.isfinite(m.component_temperature)]
        words = f"No answer: {silent[0]}" if silent else "Dashed: water. Mixes with dye or particles: as their base."
        self.lines(4, top + step * len(mixes) + 14, words, self.wide - 10, 1, color=style.QUIET)

    def _panel(self, left: float, width: float, ends: tuple, rows: list, values: np.ndarray, least: float,
               colour: str, mark: str) -> tuple[np.ndarray, np.ndarray]:  # fmt: skip
        """Draw marks joined to the line of water; return where they are, and on which side their numbers stand."""
        seen = np.nan_to_num(values)
        low, high = -min(seen.min(), 0.0), max(seen.max(), 0.0)
        # Room for a number on each side that has marks.
        before, after = 84.0 if low > 0 else 8.0, 84.0 if high > 0 or low == 0 else 8.0
        per = (width - before - after) / max(low + high, least)
        zero = left + (before + low * per if high > 0 or low == 0 else width - after)
        xs = zero + seen * per
        self.draw([zero, zero], ends, color=style.QUIET, lw=1.2, ls=(0, (4, 2)), zorder=1)
        stems = np.column_stack([np.full_like(xs, zero), xs, np.full_like(xs, np.nan)]).ravel()
        self.draw(stems, np.repeat(rows, 3), color=colour, lw=3, zorder=2)
        self.draw(np.where(np.isfinite(values), xs, np.nan), rows, ls="", marker=mark, ms=8, color=colour,
                  mec="#FFFFFF", zorder=4)  # fmt: skip
        return xs, np.where(seen == 0, -1 if low > high else 1, np.sign(seen))


class ContactMatrix(Board):
    """What may touch what: a sign for each agent on each material."""

    most = (60, 40)
    #: Agents and materials at most.
    rows, columns = 15, 20
    #: What touches what in the plan, where one is known.
    own: Any = frozenset()

    def update(self, answer: Any) -> bool:
        """Draw a matrix, with what is the plan's own marked where the answer has a plan."""
        self.own = touching(answer.plan) if hasattr(answer, "plan") else frozenset()
        return super().update(answer)

    def show(self, matrix: Mapping[tuple[str, str], dict | None]) -> None:
        """Draw a row for every agent, a column for every material."""
        self.title("What may touch what")
        agents = list(dict.fromkeys(agent for agent, _ in matrix))[: self.rows]
        wide_all = list(dict.fromkeys(material for _, material in matrix))[: self.columns]
        if not agents or not wide_all:
            self.nothing("Nothing to compare here.")
            return
        own = {name for pair in self.own for name in pair}
        bold = {name: {"weight": "bold"} if name in own else {} for name in (*agents, *wide_all)}
        names = {name: f"▶ {name}" if name in own else name for name in bold}
        wides = [style.measured(names[m], bold=m in own)[0] for m in wide_all]
        begin = 22 + max(style.measured(names[agent], bold=agent in own)[0] for agent in agents)
        reach = [(self.wide - begin - 8 - wide) / (n + 0.5) for n, wide in enumerate(wides)]
        cell = min(*reach, (self.wide - begin - 4) / len(wide_all), 60.0)
        stems = [begin + (n + 0.5) * cell for n in range(len(wide_all))]
        stairs = staircase(stems, wides, 8.0)
        top = 36 + LINE * (1 + max(stairs))
        tall = min((self.high - top - 26) / len(agents), 32.0)
        for stem, row, material in zip(stems, stairs, wide_all, strict=True):
            y = top - 9 - LINE * row
            self.draw([stem, stem], [y, top], color=style.KEPT, lw=0.8, zorder=1)
            self.say(stem + 3, y, names[material], **bold[material])
        signs: dict[bool, list] = {True: [], False: []}
        for number, agent in enumerate(agents):
            y = top + (number + 0.5) * tall
            self.say(begin - 8, y, names[agent], ha="right", **bold[agent])
            for stem, material in zip(stems, wide_all, strict=True):
                row = matrix.get((agent, material))
                signal = "" if row is None else row["signal"]
                ground = style.SIGNALS[signal][0] if signal in style.SIGNALS else style.BAND
                self.box(stem - 0.5 * cell, stem + 0.5 * cell, y - 0.5 * tall, y + 0.5 * tall, ground, "#FFFFFF")
                signs[signal in style.SIGNALS].append((stem, y, signal))
        for inked, places in signs.items():
            self.signs(places, 9.0, inked)
        words = {s: s for s in style.SIGNALS} | {rules.FITS: "fits: no trouble known", "": "nothing known of it"}
        self.key(self.high - 10, words, "▶ this plan's" if own else "")


# ---------------------------------------------------------------------------------------------------- on a figure


#: View of `material_words` -> what draws it.
DRAWN = {
    METALS: MetalAxis,
    PAIRS: MetalMatrix,
    ENDS: EndBars,
    TUBES: TubeRanking,
    COOLANTS: CoolantCosts,
    TOUCH: ContactMatrix,
}


def pictures(figure: Any, view: str, system: str = "metric") -> list[Board]:
    """Put what draws a view on a figure of 880 x 424 pixels; it is still to be updated with that view of a plan."""
    return [DRAWN[view](figure.add_axes((0.0, 0.0, 1.0, 1.0)), system)]
