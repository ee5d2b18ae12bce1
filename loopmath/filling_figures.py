"""Drawings of a fill: the coolant in the loop as it is poured, what holds how much, bubbles against the flow."""

from typing import Any

import numpy as np
from matplotlib.figure import Figure

from loopmath import style
from loopmath.filling_words import DOWN, HOLDS, POUR, Poured
from loopmath.height_figures import Elevations, Fill, Scene, beyond, named
from loopmath.height_words import known
from loopmath.laws.bubbles import CARRIED, CARRIES, SLOWLY, STAYS, UNKNOWN
from loopmath.laws.flooding import UP
from loopmath.sheet import Page, scale_to
from loopmath.units import rough

#: What becomes of bubbles -> colour and marker.
FATES = {
    CARRIED: (style.PUMP, "o"),
    SLOWLY: (style.HEAT, "s"),
    STAYS: (style.LIMIT, "X"),
    UNKNOWN: (style.QUIET, "D"),
}


class Pouring(Elevations):
    """The loop upright with the coolant in it, and the air that may be locked in once gravity has done its part."""

    def __init__(self, ax: Any, system: str = "metric") -> None:
        swatches = [(style.LIQUID, False, "coolant"), (style.AIR, True, "air may be locked in")]
        super().__init__(ax, system, swatches)

    def scene(self, seen: Poured) -> Scene:
        """Return what is drawn of a fill."""
        found, pour = seen.found, seen.found.pour
        void, up = pour.void, np.array(UP)
        if pour.fill is None:
            return Scene(found.plan, pour.seen, np.eye(3), [], [], [], [], "the place of the tank is not known")
        wet = np.flatnonzero(pour.wet(seen.lines) > 1e-12)
        fills = [Fill(wet, beyond(void, -up, -seen.lines, wet), style.LIQUID)]
        if seen.volume >= pour.most - 1e-9:
            both = np.flatnonzero((pour.wet(seen.lines) > 1e-12) & (pour.locked.strands > 0))
            fills.append(Fill(both, beyond(void, up, pour.locked.ways.level, both), style.AIR, True))
        levels = []
        tank = pour.owner[void.cell] == getattr(pour.tank, "name", None)
        if tank.any():
            inside = np.flatnonzero(tank)
            if np.isfinite(pour.inlet):
                levels.append((pour.inlet, inside, "pump's inlet"))
            level = float(seen.lines[void.cell[inside[0]]])
            low, high = void.spans(UP)
            if low[inside].min() < level < high[inside].max():
                levels.append((level, inside, "level"))
        exits = [(name, purpose, np.array(e.at), purpose != "drain") for name, (purpose, e) in pour.seen.exits.items()]
        how = "pump off" if seen.volume <= pour.most + 1e-9 else "the rest by pump"
        where = f"{known(min(seen.volume, pour.most), self.system)} in it, {how}"
        words = named(found.plan, pour.seen)
        return Scene(found.plan, pour.seen, np.eye(3), fills, levels, words, exits, where)


class Volumes(Page):
    """Bars of what every part and run holds, with a line as long as twice its standard uncertainty each way."""

    def show(self, seen: Poured) -> None:
        """Draw the volumes of a fill, most first."""
        unit, found = self.units["volume"], seen.found
        rows = sorted((row for row in found.volumes if row[2] > 0), key=lambda row: -row[2])
        self.say(2, 12, f"What holds how much coolant, {unit.label}", weight="bold", size=style.PLAIN)
        self.say(2, 30, "line: twice the standard uncertainty to each side", color=style.QUIET)
        top = 42.0
        step = min((self.high - top - 4) / max(len(rows), 1), 28.0)
        names = min(max(style.measured(row[0])[0] for row in rows) + 14, 250.0)
        per = (self.wide - names - 190) / scale_to(max(float(unit.convert(v + 2 * s)) for _, _, v, s in rows))
        thick = min(0.36 * step, 9.0)
        for n, (name, kind, volume, sigma) in enumerate(rows):
            y, x = top + (n + 0.5) * step, names
            end, doubt = (float(unit.convert(v)) * per for v in (volume, 2 * sigma))
            colour = style.LIQUID if kind in ("run", "dead leg") else style.HEAT if kind == "radiator" else style.PUMP
            self.say(x - 8, y, style.fitted(name, x - 12, 1)[0], ha="right")
            self.box(x, x + max(end, 1.0), y - thick, y + thick, colour)
            self.draw([x + max(end - doubt, 0.0), x + end + doubt], [y, y], color=style.INK, lw=1.6)
            self.say(x + end + doubt + 8, y, f"{known(volume, self.system)}, {kind}")


class Bubbles(Page):
    """For every run that leads down the coolant's velocity, and how fast a bubble would rise against it."""

    def show(self, seen: Poured) -> None:
        """Draw the runs of a fill."""
        unit, found = self.units["velocity"], seen.found
        self.say(2, 12, f"Runs that lead down: velocity, {unit.label}", weight="bold", size=style.PLAIN)
        x = 2.0
        self.draw([x + 8], [32], marker="|", ls="", ms=11, mew=2.4, color=style.INK)
        x = self._said(x + 18, "a bubble rises")
        for words, (colour, marker) in FATES.items():
            self.draw([x + 6], [32], marker=marker, ls="", ms=8, color=colour)
            x = self._said(x + 16, f"coolant: bubbles {words}" if words != UNKNOWN else words)
        if not found.descents:
            self.say(2, 90, "No run with a way in the plan leads down by more than its bore.", color=style.QUIET)
            return
        names = min(1.05 * max(style.measured(d.run, bold=True)[0] for d in found.descents) + 16, 290.0)
        rates = [float(unit.convert(v)) for d in found.descents for v in (d.velocity, d.rise) if np.isfinite(v)]
        most = float(unit.convert(CARRIES))
        per = (self.wide - names - 120) / scale_to(1.05 * max([*rates, most]))
        top, bottom = 58.0, self.high - 20
        step = min((bottom - top) / len(found.descents), 52.0)
        last = top + step * len(found.descents)
        self.draw([names + most * per] * 2, [top - 4, last], color=style.QUIET, lw=1.2, ls=(0, (4, 2)))
        self.draw([names] * 2, [top - 4, last], color=style.GRID, lw=1.2)
        words = f"from {unit.text(CARRIES)} on carried in any bore"
        self.say(names + most * per - 6, last + 8, words, color=style.QUIET, ha="right")
        for n, one in enumerate(found.descents):
            y = top + (n + 0.5) * step
            self.say(names - 10, y - 7, style.fitted(one.run, names - 14, 1, bold=True)[0], ha="right", weight="bold")
            self.say(names - 10, y + 8, f"down {rough(one.drop, self.system)}", ha="right", color=style.QUIET)
            rise = names + per * float(unit.convert(one.rise))
            self.draw([rise], [y], marker="|", ls="", ms=13, mew=2.4, color=style.INK)
            left = not one.velocity < one.rise  # the coolant's own mark stands to the right of it
            self.say(rise + (-8 if left else 8), y, unit.text(one.rise, unit=False), ha="right" if left else "left",
                     color=style.QUIET)  # fmt: skip
            colour, marker = FATES[one.words]
            if np.isnan(one.velocity):
                self.say(rise + 14, y, "flow not known", color=style.QUIET)
                continue
            at = names + per * float(unit.convert(one.velocity))
            self.draw([rise, at], [y, y], color=colour, lw=2.4, zorder=2)
            self.draw([at], [y], marker=marker, ls="", ms=9, color=colour, mec="#FFFFFF")
            words = f"{unit.text(one.velocity)}, {one.words}"
            begin, line = max(at, rise) + 12, names + most * per
            if begin - 6 < line < begin + style.measured(words, bold=True)[0] + 6:  # not across the dashed line
                begin = line + 12
            self.say(begin, y, words, weight="bold")

    def _said(self, x: float, words: str) -> float:
        self.say(x, 32, words, color=style.QUIET)
        return x + style.measured(words)[0] + 14


def pictures(figure: Figure, view: str, system: str = "metric") -> list:
    """Return the pictures of a view on a figure of 880 x 424 pixels."""
    kind = {POUR: Pouring, HOLDS: Volumes, DOWN: Bubbles}[view]
    return [kind(figure.add_axes((0.0, 0.0, 1.0, 1.0)), system)]
