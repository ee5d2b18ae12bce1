"""Drawings of upkeep: what is due in two years with what was done, and how resistances and flow went."""

from datetime import date
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from loopmath import style
from loopmath.drift import FEWEST, FLOW, PART, ROOM, Trend
from loopmath.due_dates import months_after
from loopmath.figures import Picture, step_up
from loopmath.service_log import JOBS
from loopmath.upkeep_words import Looked

#: Days drawn before and after today.
BEFORE, AHEAD = 183, 731
#: Row of a time line -> its mark and colour; the last row is of readings and notes.
ROWS = {
    "inspection": ("o", style.PUMP),
    "top-up": ("v", style.AIR),
    "flush": ("s", style.LIQUID),
    "strip": ("D", style.HEAT),
    "readings, notes": ("|", style.INK),
}
#: Room for words left of a time line. [px]
NAMED = 212
#: How far from the plan an axis of trends may reach. [%]
SPREADS = (15.0, 30.0, 60.0, 120.0, 300.0)
#: A change by so much makes a caution, as data/rules.csv has it. [%]
TENTH = 10.0
#: Lines of a drawing of trends at most, their marks and colours.
LINES = (("o", style.LIQUID), ("s", style.HEAT), ("^", style.PUMP), ("D", style.LIMIT))


def months(first: date, last: date, every: int) -> list[date]:
    """Return the first days of every so many months, counted from a January, between two days."""
    start = date(first.year, 1, 1)
    days = (months_after(start, every * number) for number in range(1200 // every))
    return [day for day in days if day is not None and first <= day <= last]


def _ticks(ax: Axes, first: date, last: date, least: float = 40.0, most: int = 9) -> None:
    """Name some months under an axis of ordinals."""
    span = (last - first).days
    every = next((n for n in (1, 2, 3, 6, 12) if span / (30.4 * n) <= most), 24)
    named = months(first, last, every)
    if len(named) < 2 or span < least:
        named = [first, last]
        ax.set_xticks([d.toordinal() for d in named], [str(d) for d in named])
    else:
        ax.set_xticks([d.toordinal() for d in named], [d.strftime("%b %Y") for d in named])


def _put(line: Any, days: list[int], row: int) -> None:
    """Put the marks of a row on its days."""
    line.set_data(days, [row] * len(days))


class TimeLine(Picture):
    """A row for each job: hollow marks where it is due, filled black ones where it was done."""

    def __init__(self, ax: Axes, system: str = "metric") -> None:
        super().__init__(ax, system)
        self.span: tuple = ()
        ax.set_title("What is due when (hollow), and what was done (black)")
        ax.set_ylim(len(ROWS) - 0.4, -1.2)
        ax.set_yticks([])
        ax.grid(False)
        self.rails = self.line(color=style.GRID, lw=1.0, zorder=1)
        self.now = self.line(color=style.LIMIT, lw=1.6, ls=(0, (4, 2)), zorder=1.5)
        self.now_label = self.text(color=style.INK, ha="center", va="bottom")
        self.due, self.done, self.names, self.whys, self.days = [], [], [], [], []
        ground = {"facecolor": "white", "edgecolor": "none", "pad": 0.6}
        for place, (name, (mark, colour)) in enumerate(ROWS.items()):
            self.due.append(self.line(ls="", marker=mark, ms=8, color=colour, mfc="white", mew=1.8, zorder=3))
            self.done.append(self.line(ls="", marker=mark, ms=8, color=style.INK, mew=1.5, zorder=4))
            self.names.append(self.text(s=name, y=place - 0.03, ha="right", va="bottom", weight="bold"))
            self.whys.append(self.text(y=place + 0.03, ha="right", va="top", color=style.QUIET))
            self.days.append(self.text(y=place - 0.24, ha="left", va="bottom", bbox=ground))
        self.none = self.text(ha="left", va="center", color=style.QUIET, weight="bold")

    def update(self, seen: Looked) -> bool:
        """Move the marks to a day; return True if the range of days moved."""
        today = seen.today.toordinal()
        span = (today - BEFORE, today + AHEAD)
        stepped, self.span = span != self.span, span
        first, last = (date.fromordinal(day) for day in span)
        if stepped:
            self.ax.set_xlim(*span)
            _ticks(self.ax, first, last)
            self.rails.set_data(np.tile([*span, np.nan], len(ROWS)), np.repeat(np.arange(len(ROWS)), 3))
            self.now.set_data([today, today], [-0.75, len(ROWS) - 0.4])
            self.now_label.set(text=f"today, {seen.today}", position=(today, -0.75))
        edge = span[0] - 0.012 * (span[1] - span[0])
        dues = {one.job.name: one for one in seen.dues}
        for place, name in enumerate(ROWS):
            for label in (self.names[place], self.whys[place]):
                label.set_x(edge)
            kinds = (name,) if name in JOBS else ("reading", "note")
            done = [e.day.toordinal() for e in seen.log.entries if e.kind in kinds]
            _put(self.done[place], [day for day in done if span[0] <= day <= span[1]], place)
            one = dues.get(name)
            if one is None:
                job = seen.upkeep.jobs.get(name)
                self.whys[place].set_text(style.fitted(job.decided.name, NAMED, 1)[0] if job else "")
                self.due[place].set_data([], [])
                self.days[place].set_text("")
                continue
            days = [day.toordinal() for day in one.days(last)]
            ahead = [day for day in days if day > today]
            missed = [day for day in days if day <= today][:1]
            _put(self.due[place], [max(day, span[0]) for day in missed] + ahead, place)
            self.whys[place].set_text(style.fitted(f"{one.every}: {one.job.decided.name}", NAMED, 1)[0])
            late = "overdue, was" if one.latest <= seen.today else "due since" if missed else "due"
            at = (missed or ahead or [span[1]])[0]
            self.days[place].set(text=f"{late} {one.first}", x=max(at, span[0]) + 5)
            self.days[place].set(ha="right" if at > span[1] - 150 else "left")
        words = "" if dues else "No dates yet: say when the loop was filled."
        self.none.set(text=words, position=(today + 0.02 * AHEAD, 1.5))
        return stepped


class TrendLines(Picture):
    """Readings as a share of the plan's answer over time, the line through them, and a tenth to each side."""

    def __init__(self, ax: Axes, system: str = "metric", quantities: tuple[str, ...] = (ROOM, PART)) -> None:
        super().__init__(ax, system)
        self.quantities, self.span = quantities, ()
        flow = quantities == (FLOW,)
        ax.set_title(f"{'Flow' if flow else 'Thermal resistance'}, % of the plan's answer")
        ax.axhspan(100 - TENTH, 100 + TENTH, color=style.BAND, zorder=0, lw=0)
        self.level = self.line(color=style.QUIET, lw=1.2, ls=(0, (4, 2)))
        self.level_label = self.text(color=style.QUIET, ha="left", va="bottom")
        self.dots, self.fits, self.bars, self.names = [], [], [], []
        for mark, colour in LINES[2:3] if flow else LINES:
            self.bars.append(self.line(color=colour, lw=1.0, alpha=0.6))
            self.dots.append(self.line(color=colour, ls="", marker=mark, ms=5.5))
            self.fits.append(self.line(color=colour, lw=2.2))
            self.names.append(self.text(color=style.INK, ha="right", va="center"))
        self.none = self.text(ha="center", va="center", color=style.QUIET)

    def update(self, seen: Looked) -> bool:
        """Move the readings to a log; return True if a range stepped."""
        trends = [one for one in seen.drift.trends if one.quantity in self.quantities][: len(self.dots)]
        days = [day for one in trends for day in one.day] or [seen.today.toordinal() - 365, seen.today.toordinal()]
        ends = (min(days), max(max(days), min(days) + 28))
        far = max((float(np.max(np.abs(100 * one.ratio - 100))) for one in trends), default=0.0)
        reach = step_up(far + 4, SPREADS)
        span = (*ends, reach)
        stepped, self.span = span != self.span, span
        low, high = max(100 - 1.3 * reach, 0.0), 100 + 1.7 * reach  # words stand over and under the readings
        wide, tall = ends[1] - ends[0], high - low
        if stepped:
            self.ax.set_xlim(ends[0] - 0.04 * wide, ends[1] + 0.04 * wide)
            self.ax.set_ylim(low, high)
            _ticks(self.ax, *(date.fromordinal(int(day)) for day in ends), least=150, most=4)
        self.level.set_data(self.ax.get_xlim(), [100, 100])
        words = f"plan: {self._planned(seen)}, band ± {TENTH:.0f} %"
        self.level_label.set(text=words, position=(ends[0] - 0.03 * wide, low + 0.01 * tall))
        for number, label in enumerate(self.names):
            one = trends[number] if number < len(trends) else None
            self._draw(number, one)
            told = "" if one is None else self._told(one, number)
            label.set(text=told, position=(ends[1] + 0.03 * wide, high - (0.06 + 0.12 * number) * tall))
        self.none.set(text="" if trends else "No readings of it in the log yet.")
        self.none.set_position((0.5 * sum(ends), high - 0.15 * tall))
        return stepped

    def _planned(self, seen: Looked) -> str:
        """Return what the plan says of it at its own heat and speeds."""
        state = seen.upkeep.solution.state
        if self.quantities == (FLOW,):
            return self.units["flow"].text(float(state["flow"]))
        heat = float(state["heat"])
        over = float(state["coolant_over_room"])
        return f"coolant to room {self.units['resistance'].text(over / heat if heat > 0 else np.nan)}"

    def _draw(self, number: int, one: Trend | None) -> None:
        for line in (self.dots[number], self.fits[number], self.bars[number]):
            line.set_data([], [])
        if one is None:
            return
        self.dots[number].set_data(one.day, 100 * one.ratio)
        ends = [100 * one.ratio * (1 - one.error), 100 * one.ratio * (1 + one.error), np.full_like(one.ratio, np.nan)]
        self.bars[number].set_data(np.repeat(one.day, 3), np.column_stack(ends).ravel())
        if np.isfinite(one.change):
            days, ratio = one.ends
            self.fits[number].set_data(days, 100 * ratio)

    def _told(self, one: Trend, number: int) -> str:
        """Return the shape of a line, its name, and how it changed."""
        shape = {"o": "●", "s": "■", "^": "▲", "D": "◆"}[self.dots[number].get_marker()]
        if np.isnan(one.change):
            return f"{shape} {one.where}: too few for a trend, {FEWEST} are wanted"
        sure = "stands out" if one.sure else "within its scatter"
        return f"{shape} {one.where} {round(100 * one.change) or 0:+d} %, {sure}".replace("-", "−").replace(
            "+0 %", "0 %"
        )


def pictures(figure: Any, system: str = "metric") -> list[Picture]:
    """Put time line and trends on a figure of 880 x 424 pixels; each is still to be updated with a `Looked`."""
    return [
        TimeLine(figure.add_axes((0.265, 0.52, 0.715, 0.42)), system),
        TrendLines(figure.add_axes((0.06, 0.08, 0.42, 0.32)), system),
        TrendLines(figure.add_axes((0.56, 0.08, 0.42, 0.32)), system, (FLOW,)),
    ]
