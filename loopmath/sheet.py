"""Sheets that draw what a lesson told: words, lines and boxes; curves with marks; rows of numbers."""

import re
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection

from loopmath import style
from loopmath.choice_words import WHY, Told
from loopmath.figures import Picture

#: Size of a drawing that is laid out in pixels of the screen.
WIDE, HIGH = 880, 424
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
        why = style.fitted(WHY[told.lesson], self.wide - 20, 6) if self.whys else []
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


class Beside(Rows):
    """More numbers of the same rows, which have their names already."""

    whys = False
