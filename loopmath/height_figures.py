"""The loop in elevation as it hangs, with the air or coolant that stays filled in."""

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure

from loopmath import style
from loopmath.figures import Picture
from loopmath.height_words import MOST, Looked
from loopmath.pockets import AIR

#: What is looked at: its words, and the axis of the machine that goes to the right of the picture.
FRONT, SIDE = ("from the front", (1.0, 0.0, 0.0)), ("from the right", (0.0, 1.0, 0.0))
#: Colour of what stays; the letters beside it are the second cue.
HELD = {AIR: style.HEAT, "liquid": style.LIQUID}


class Elevation(Picture):
    """One side of the loop, gravity down."""

    def __init__(self, ax: Axes, side: tuple, system: str = "metric") -> None:
        super().__init__(ax, system)
        self.words, self.aside = side[0], np.array(side[1])
        self.ax.set_axis_off()
        self.ax.set_aspect("equal")
        self.fixed = False
        self.all = self._lines(style.PLAIN_TUBE, 1)
        self.held = self._lines(style.HEAT, 2)
        self.letters = [
            self.text(
                ha="center", va="center", fontweight="bold", zorder=6, bbox={"fc": "white", "ec": "none", "pad": 1}
            )
            for _ in range(MOST)
        ]
        self.openings = [self.text(va="center", color=style.PUMP, fontweight="bold", zorder=5) for _ in range(4)]

    def _lines(self, colour: str, order: int) -> LineCollection:
        made = LineCollection([], colors=colour, zorder=order, capstyle="butt")
        self.ax.add_collection(made, autolim=False)
        self.moving.append(made)
        return made

    def update(self, looked: Looked) -> bool:
        """Draw what stays in a position; True the first time, when the range is set."""
        void, held = looked.passages.void, looked.holding
        stepped = not self.fixed
        middle = void.strands.reshape(-1, 3).mean(0) if len(void.strands) else np.zeros(3)
        if stepped:
            self._frame(void, middle)
        across = self.aside - (self.aside @ held.up) * held.up
        across /= max(np.linalg.norm(across), 1e-9)
        plane = np.array([across, held.up])
        lines = (void.strands - middle) @ plane.T
        width = np.maximum(2 * void.spread * self.points, 0.8)
        self.all.set_segments(lines)
        self.all.set_linewidths(width)
        sign = 1.0 if held.what == AIR else -1.0
        kept = np.flatnonzero(held.strands > 0)
        height = sign * void.strands @ held.up
        line = held.ways.level[void.cell]
        parts = []
        for n in kept.tolist():
            a, b = height[n]
            cut = [0.0, 1.0]
            if np.isfinite(line[n]) and min(a, b) < line[n] < max(a, b):
                cut[0 if a < b else 1] = (line[n] - a) / (b - a)
            parts.append([lines[n, 0] + t * (lines[n, 1] - lines[n, 0]) for t in cut])
        self.held.set_segments(parts)
        self.held.set_linewidths(width[kept])
        self.held.set_color(HELD[held.what])
        taken: list[np.ndarray] = []
        for letter, artist, pocket in zip("ABCDEF", self.letters, (*held.pockets, *[None] * MOST), strict=False):
            if pocket is None:
                artist.set_text("")
                continue
            at = (pocket.at - middle) @ plane.T
            while any(np.all(np.abs(at - other) < (0.09, 0.03)) for other in taken):
                at = at - (0.0, 0.03)
            taken.append(at)
            artist.set_text(f"{letter}  {self.units['volume'].text(pocket.volume, unit=True)}")
            artist.set_color(HELD[held.what])
            artist.set_position(at)
        names = list(looked.passages.exits.items())[: len(self.openings)]
        for artist, found in zip(self.openings, [*names, *[None] * len(self.openings)], strict=False):
            if found is None:
                artist.set_text("")
                continue
            name, (purpose, opening) = found
            artist.set_text(f"{'▼' if purpose == 'drain' else '▲'} {name}")
            artist.set_position((np.array(opening.at) - middle) @ plane.T)
        return stepped

    def _frame(self, void: Any, middle: np.ndarray) -> None:
        """Set a range the loop keeps inside of however it hangs."""
        reach = float(np.linalg.norm(void.strands.reshape(-1, 3) - middle, axis=1).max()) if len(void.strands) else 0.3
        self.ax.set_xlim(-1.15 * reach, 1.15 * reach)
        self.ax.set_ylim(-reach, reach)
        box = self.ax.get_window_extent()
        self.points = min(box.width / (2.3 * reach), box.height / (2 * reach)) * 72 / self.ax.figure.dpi
        self.ax.set_title(self.words)
        self.fixed = True


def drawn(figure: Figure, system: str) -> list[Elevation]:
    """Put both elevations on a figure."""
    places = ((0.0, FRONT), (0.5, SIDE))
    return [Elevation(figure.add_axes((x + 0.005, 0.02, 0.49, 0.9)), side, system) for x, side in places]
