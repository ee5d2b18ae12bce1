"""Drawings of a build order, step by step with its reasons, and of what it takes to reach each part."""

from typing import Any

import numpy as np

from loopmath import build_order, style
from loopmath.height_words import spread
from loopmath.service_words import Served
from loopmath.sheet import Page, scale_to

#: Kind of step -> its colour and the shape that tells it without colour.
LOOKS = {
    build_order.SETUP: (style.QUIET, "s"),
    build_order.PART: (style.PUMP, "o"),
    build_order.TUBE: (style.LIQUID, "D"),
    build_order.WORK: (style.HEAT, "^"),
    build_order.CLOSE: (style.INK, "P"),
}
#: What a step that has to be right before the loop closes is marked with.
NOW = "before the loop closes"
#: Rows of a column that still have room for a reason.
ROWS = 12


class OrderStrip(Page):
    """The steps in columns, down and then to the right: number, kind, name, and why it comes now."""

    def show(self, seen: Served) -> None:
        """Draw the order of an answer."""
        steps, against = seen.order.steps, seen.order.contradictions
        self.say(2, 12, "In which order it is built: down each column, then the next", weight="bold", size=style.PLAIN)
        self._key(32.0)
        bottom = self.high - 4
        if against:
            words = style.fitted(against[0].words, self.wide - 46, 4)
            bottom -= 15 * len(words) + 4
            self.draw([10], [bottom + 11], marker="X", ls="", ms=9, color=style.LIMIT)
            for n, line in enumerate(words):
                self.say(22, bottom + 11 + 15 * n, line)
        columns = max(-(-len(steps) // ROWS), 2)
        rows = max(-(-len(steps) // columns), 1)
        wide, step = self.wide / columns, (bottom - 46) / rows
        for n, one in enumerate(steps):
            column, row = divmod(n, rows)
            self._step(
                n + 1, one, column * wide, 46 + row * step, wide, step, last=row == rows - 1 or n + 1 == len(steps)
            )

    def _key(self, y: float) -> None:
        x = 10.0
        for kind, (colour, marker) in LOOKS.items():
            self.draw([x], [y], marker=marker, ls="", ms=8, color=colour)
            self.say(x + 9, y, kind, color=style.QUIET)
            x += 34 + style.measured(kind)[0]
        self.draw([x - 4, x - 4], [y - 8, y + 8], color=style.LIMIT, lw=3)
        self.say(x + 4, y, f"{NOW}: others will stand before it", color=style.QUIET)

    def _step(self, number: int, one: Any, x: float, y: float, wide: float, high: float, last: bool) -> None:
        colour, marker = LOOKS[one.kind]
        if not last:
            self.draw([x + 32, x + 32], [y + 8, y + high + 8], color=style.GRID, lw=2, zorder=1)
        if one.hidden_by:
            self.draw([x + 4, x + 4], [y + 1, y + high - 5], color=style.LIMIT, lw=3)
        self.say(x + 22, y + 8, str(number), ha="right", color=style.QUIET)
        self.draw([x + 32], [y + 8], marker=marker, ls="", ms=9, color=colour, mec="#FFFFFF")
        room = wide - 58
        name = style.fitted(one.name, room, 1, bold=True)[0]
        self.say(x + 44, y + 8, name, weight="bold")
        most = int((high - 18) / 14)
        for n, line in enumerate(style.fitted(one.short, room, most) if most else ()):
            self.say(x + 44, y + 23 + 14 * n, line, color=style.QUIET)


class AccessBars(Page):
    """For every part the coolant that is lost when it is opened, and after draining, and what is in its way."""

    def show(self, seen: Served) -> None:
        """Draw what an answer says of every part."""
        unit, rows = self.units["volume"], seen.reached
        self.say(2, 12, f"Coolant lost when a part is opened, {unit.label}", weight="bold", size=style.PLAIN)
        self.say(612, 12, "comes out first", weight="bold", size=style.PLAIN)
        self.say(self.wide - 6, 12, "score", weight="bold", size=style.PLAIN, ha="right")
        self.box(10, 34, 27, 33, style.LIQUID)
        self.draw([34, 52], [30, 30], color=style.LIQUID, lw=1.4)
        self.say(58, 30, "as it stands, line: if it siphons", color=style.QUIET)
        if any(np.isfinite(one.drained) for one in rows):
            self.box(268, 290, 27, 33, "#FFFFFF", style.HEAT)
            self.say(296, 30, "drained before (hollow)", color=style.QUIET)
        self.draw([452], [30], marker="|", ls="", ms=8, color=style.INK, mew=2)
        self.say(460, 30, "what it holds itself", color=style.QUIET)
        self.draw([617], [30], marker="s", ls="", ms=6, color=style.QUIET)
        self.say(626, 30, "one thing in the way each", color=style.QUIET)
        top, names = 44.0, 196.0
        step = min((self.high - top - 4) / max(len(rows), 1), 30.0)
        known = [float(unit.convert(v)) for one in rows for v in (one.siphoned, one.drained) if np.isfinite(v)]
        per = (420 - names) / scale_to(max([*known, 1e-6]))
        for n, one in enumerate(rows):
            self._row(one, top + (n + 0.5) * step, names, per, min(0.36 * step, 7.0))

    def _row(self, one: Any, y: float, x: float, per: float, thick: float) -> None:
        unit = self.units["volume"]
        self.say(x - 8, y, style.fitted(one.name, x - 12, 1)[0], ha="right")
        if np.isnan(one.lost):
            self.say(x + 2, y, "its height is not known", color=style.QUIET)
        else:
            lost, siphoned, drained, own = (
                float(unit.convert(v)) for v in (one.lost, one.siphoned, one.drained, one.content)
            )
            self.draw([x + per * lost, x + per * siphoned], [y - 0.5 * thick] * 2, color=style.LIQUID, lw=1.4)
            self.box(x, x + max(per * lost, 1.0), y - thick, y - 0.5, style.LIQUID)
            words = spread(one.lost, one.siphoned, self.system)
            if np.isfinite(drained):
                self.box(x, x + max(per * drained, 1.0), y + 0.5, y + thick, "#FFFFFF", style.HEAT)
                words = f"{words}, then {plain(drained, unit.digits)}"
            self.draw([x + per * own], [y], marker="|", ls="", ms=9, color=style.INK, mew=2)
            self.say(x + per * max(siphoned, own) + 8, y, words)
        count = len(one.first)
        for k in range(min(count, 8)):
            self.draw([617 + 10 * k], [y], marker="s", ls="", ms=6, color=style.QUIET)
        first = ", ".join(one.first) if count else "nothing"
        first = first if one.found else "no straight way out found"
        start = 612 + 10 * min(count, 8) + (6 if count else 0)
        self.say(start, y, style.fitted(first, self.wide - 44 - start, 1)[0])
        self.say(self.wide - 6, y, "–" if np.isnan(one.score) else f"{one.score:.0f}", weight="bold", ha="right")


def plain(value: float, digits: int) -> str:
    """Return a number with so many digits behind its point."""
    return f"{value:.{digits}f}"
