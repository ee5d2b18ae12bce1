"""The loop in two elevations as it hangs, with what is drawn into it: air or coolant that stays, or what is poured."""

from itertools import zip_longest
from typing import Any, NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection

from loopmath import loop as tree
from loopmath import style
from loopmath.figures import Picture
from loopmath.height_words import LETTERS, NAMES, Looked, amount, position
from loopmath.laws.flooding import Void
from loopmath.passages import Passages
from loopmath.pockets import AIR
from loopmath.sheet import HIGH, WIDE

#: What is looked at, and which direction of the room runs to the right of the picture.
SIDES = (("From the front", 0), ("From the right side", 1))
#: Soft colours of what holds the coolant: tubes, radiators, tanks, other parts.
KINDS = {"tube": style.PLAIN_TUBE, "radiator": "#D8C3B0", "tank": "#B5D3C4", "part": "#C9C4D6"}
#: Colour of what stays; air has white dots on it besides.
HELD = {AIR: style.AIR, "liquid": style.LIQUID}
#: White dots on what has them.
DOTS = (0, (0.6, 2.2))
#: Room for words at both sides of an elevation, over and under it. [px]
BESIDE, OVER, UNDER, LINE = 116.0, 34.0, 34.0, 16.0
#: Openings that are named, level lines that are drawn, parts that are named.
OPENINGS, LEVELS, PARTS = 5, 3, 8


def kind_of(leaf: Any) -> str:
    """Return the kind of a part or run, as its colour says it."""
    if isinstance(leaf, (tree.Run, tree.DeadLeg)):
        return "tube"
    return "radiator" if isinstance(leaf, tree.RadiatorUnit) else "tank" if isinstance(leaf, tree.Tank) else "part"


class Fill(NamedTuple):
    """What is drawn into a loop: strands (n,), which shares of their lengths (n, 2), colour, dotted white or not."""

    strands: np.ndarray
    shares: np.ndarray
    colour: str
    dotted: bool = False


class Scene(NamedTuple):
    """
    What is drawn of a loop in one position.

    `fills` are drawn into it; `levels` are (height [m] along up, strands it reaches over, words); `words` (point, text,
    bold); `exits` (name, purpose, point, open). `where` says the position.
    """

    plan: Any
    passages: Passages
    frame: np.ndarray
    fills: list[Fill]
    levels: list[tuple[float, np.ndarray, str]]
    words: list[tuple[np.ndarray, str, bool]]
    exits: list[tuple[str, str, np.ndarray, bool]]
    where: str = ""


def beyond(void: Void, up: np.ndarray, lines: np.ndarray, strands: np.ndarray) -> np.ndarray:
    """
    Return from which to which share of its length (n, 2) each of some strands lies above the line of its cell.

    A strand that lies level is taken whole; others up to where they cross the line, and not at all if both ends of
    their middle are short of it.
    """
    line = lines[void.cell[strands]]
    first, last = (void.strands[strands] @ up).T
    with np.errstate(divide="ignore", invalid="ignore"):
        crossing = (line - first) / (last - first)
    inside = (crossing > 0) & (crossing < 1)
    rises = last > first
    level = np.abs(last - first) <= 2 * void.spread[strands]
    none = ~level & (first < line) & (last < line)
    ends = np.where(inside & rises, crossing, 0.0), np.where(none, 0.0, np.where(inside & ~rises, crossing, 1.0))
    return np.stack(ends, axis=1)


def named(plan: Any, passages: Passages) -> list[tuple[np.ndarray, str, bool]]:
    """Return the names of blocks, pumps, tanks and radiators with the middles of what they hold."""
    owner, out = np.array(passages.owner)[passages.void.cell], []
    for leaf in tree.leaves(plan.loop):
        mine = owner == leaf.name
        if isinstance(leaf, (tree.Source, tree.PumpUnit, tree.Tank, tree.RadiatorUnit)) and mine.any():
            out.append((passages.void.strands[mine].mean(axis=(0, 1)), leaf.name, False))
    return out[:PARTS]


class Elevations(Picture):
    """Both elevations on Axes of 880 x 424 pixels, gravity down; `swatches` are (colour, dotted, words) of the key."""

    def __init__(self, ax: Axes, system: str, swatches: list[tuple[str, bool, str]]) -> None:
        super().__init__(ax, system)
        self.system = system
        ax.set_axis_off()
        ax.set_xlim(0, WIDE)
        ax.set_ylim(0, HIGH)
        for n, (title, _) in enumerate(SIDES):
            ax.text(8 + n * WIDE / 2, HIGH - 8, title, va="top", weight="bold", fontsize=style.PLAIN)
        self.place = self.text(x=120, y=HIGH - 8, va="top", color=style.QUIET)
        self.all = self._lines(zorder=1)
        self.fills = [(self._lines(zorder=2 + n), self._lines(zorder=2.5 + n, colors="white", linestyles=[DOTS]))
                      for n in range(len(swatches))]  # fmt: skip
        self.leads = self._lines(zorder=5, colors=style.QUIET, linewidths=0.7)
        self.levels = self._lines(zorder=6, colors=style.INK, linewidths=1.0, linestyles=[(0, (5, 3))])
        marks = {"fill": "^", "vent": "^", "drain": "v"}
        self.marks = {
            (purpose, used): self.line(ls="", marker=mark, ms=9, mec=style.INK, mfc=style.INK if used else "white",
                                       zorder=7)
            for purpose, mark in marks.items() for used in (True, False)
        }  # fmt: skip
        count = len(SIDES) * (len(LETTERS) + OPENINGS + PARTS)
        self.labels = [self.text(va="center", zorder=8) for _ in range(count)]
        self._key(swatches)

    def _lines(self, **how: Any) -> LineCollection:
        made = LineCollection([], capstyle="butt", **how)
        self.ax.add_collection(made, autolim=False)
        self.moving.append(made)
        return made

    def _key(self, swatches: list) -> None:
        """Say at the bottom what the colours and marks are."""
        x, y = 8.0, 12.0
        for words, kind in {"tubes": "tube", "radiators": "radiator", "tank": "tank", "other parts": "part"}.items():
            self.ax.plot([x, x + 16], [y, y], color=KINDS[kind], lw=7, solid_capstyle="butt")
            x = self._said(x + 21, y, words)
        for colour, dotted, words in swatches:
            self.ax.plot([x, x + 16], [y, y], color=colour, lw=7, solid_capstyle="butt")
            if dotted:
                self.ax.plot([x, x + 16], [y, y], color="white", lw=3, ls=DOTS)
            x = self._said(x + 21, y, words)
        self.ax.plot([x, x + 20], [y, y], color=style.INK, lw=1.0, ls=(0, (5, 3)))
        x = self._said(x + 25, y, "level")
        for mark, words in (("^", "fill, vent"), ("v", "drain")):
            self.ax.plot([x + 6], [y], marker=mark, ms=8, mfc="white", mec=style.INK)
            x = self._said(x + 15, y, words)
        self.ax.plot([x + 6], [y], marker="o", ms=7, color=style.INK)
        self._said(x + 15, y, "dark: open")

    def _said(self, x: float, y: float, words: str) -> float:
        self.ax.text(x, y, words, va="center", fontsize=style.SMALL, color=style.INK)
        return x + style.measured(words)[0] + 14

    def scene(self, answer: Any) -> Scene:
        """Return what is drawn of an answer."""
        raise NotImplementedError

    def update(self, answer: Any) -> bool:
        """Draw an answer; no range ever steps."""
        scene = self.scene(answer)
        void, frame, exits = scene.passages.void, scene.frame, scene.exits[:OPENINGS]
        self.place.set_text(scene.where)
        ends = np.concatenate([void.strands.reshape(-1, 3), *[at[None] for _, _, at, _ in exits]]) @ frame.T
        low, high = (ends.min(0), ends.max(0)) if len(ends) else (np.zeros(3), np.ones(3))
        span = np.maximum(high - low, 1e-3)
        said = [*(w for _, w, _ in scene.words), *(w for _, _, w in scene.levels), *(name for name, *_ in exits)]
        longest = max((style.measured(words, bold=True)[0] for words in said), default=0.0)
        beside = min(BESIDE, 20 * np.ceil((longest + 26) / 20))  # in steps, so that a figure more does not move it all
        tall, wide = HIGH - OVER - UNDER - 24, WIDE / 2 - 2 * beside
        scale = min(tall / span[2], wide / span[0], wide / span[1])
        middle = (low + high) / 2
        kinds = {leaf.name: KINDS[kind_of(leaf)] for leaf in tree.leaves(scene.plan.loop)}
        own = [kinds[name] for name in scene.passages.owner]
        round_ = np.bincount(void.cell, minlength=void.cells)[void.cell] == 7  # a tube is a bundle of seven
        widths = np.maximum(2 * void.spread * np.where(round_, 1.7, 1.0) * scale * 72 / style.DOTS, 0.9)
        lines, levels, marks, labels = [], [], {key: [] for key in self.marks}, []
        parts: list[list] = [[] for _ in scene.fills]
        for n, (_, axis) in enumerate(SIDES):
            centre = np.array([(n + 0.5) * WIDE / 2, UNDER + 12 + tall / 2])

            def flat(points: Any, axis: int = axis, centre: np.ndarray = centre) -> np.ndarray:
                return centre + scale * ((points @ frame.T) - middle)[..., [axis, 2]]

            drawn = flat(void.strands)
            # What is looked at along its length is drawn as wide as it is, or nothing of it would be seen.
            end_on = np.linalg.norm(drawn[:, 1] - drawn[:, 0], axis=1) < 2.0
            half = np.where(end_on, void.spread * scale, 0.0)
            drawn[..., 0] += half[:, None] * np.array([-1.0, 1.0])
            lines.append(drawn)
            for part, fill in zip(parts, scene.fills, strict=True):
                start = drawn[fill.strands, :1]
                part.append(start + fill.shares[:, :, None] * (drawn[fill.strands, 1:] - start))
            wanted = [(flat(at), words, bold) for at, words, bold in scene.words]
            for height, strands, words in scene.levels:
                across = drawn[strands][..., 0]
                y = centre[1] + scale * (height - middle[2])
                levels.append([(across.min() - 10, y), (across.max() + 10, y)])
                if words:
                    wanted.append((np.array([across.max() + 10, y]), words, True))
            for name, purpose, at, used in exits:
                marks[purpose, used].append(flat(at))
                wanted.append((flat(at), name, False))
            edges = (centre[0] + scale * (np.array([low[axis], high[axis]]) - middle[axis])).tolist()
            labels += self._beside(wanted, n * WIDE / 2, edges, beside)
        self.all.set_segments([*np.concatenate(lines)])
        self.all.set_linewidths(np.tile(widths, 2))
        self.all.set_color([own[cell] for cell in void.cell] * 2)
        for (solid, dots), fill, part in zip_longest(self.fills, scene.fills, parts):
            if fill is None:
                solid.set_segments([])
                dots.set_segments([])
                continue
            segments, thick = [*np.concatenate(part)], widths[fill.strands]
            solid.set_segments(segments)
            solid.set_linewidths(np.tile(np.maximum(thick, 1.6), 2))
            solid.set_color(fill.colour)
            dots.set_segments(segments if fill.dotted else [])
            dots.set_linewidths(np.tile(np.maximum(0.5 * thick, 0.8), 2))
        self.levels.set_segments(levels)
        for key, line in self.marks.items():
            line.set_data(*np.array(marks[key]).reshape(-1, 2).T)
        self.leads.set_segments([lead for _, _, lead, _, _ in labels])
        for artist, label in zip(self.labels, [*labels, *[None] * len(self.labels)], strict=False):
            if label is None:
                artist.set_text("")
                continue
            words, at, _, side, bold = label
            artist.set_text(words)
            artist.set_position(at)
            artist.set_horizontalalignment(side)
            artist.set_fontweight("bold" if bold else "normal")
        return False

    @staticmethod
    def _beside(wanted: list, left: float, edges: list[float], beside: float) -> list[tuple]:
        """Return the words beside an elevation: at the nearer side, at their own height or as near as there is room."""
        out = []
        places = (
            ("right", max(left + beside - 8, edges[0] - 14)),
            ("left", min(left + WIDE / 2 - beside + 8, edges[1] + 14)),
        )
        near = [at[0] > sum(edges) / 2 for at, _, _ in wanted]
        for k, (side, x) in enumerate(places):
            mine = sorted(
                (w for w, right in zip(wanted, near, strict=True) if right == bool(k)), key=lambda w: -w[0][1]
            )
            room, y = LINE * len(mine), HIGH - OVER
            for n, (at, words, bold) in enumerate(mine):
                y = float(np.clip(min(at[1], y - LINE if n else y), UNDER + room - LINE * n - LINE / 2, HIGH - OVER))
                wide = (x - left if k == 0 else left + WIDE / 2 - x) - 6
                shown = style.fitted(words, wide, 1, bold=bold)[0]
                out.append((shown, (x, y), [(x + (3 if k == 0 else -3), y), tuple(at)], side, bold))
        return out


class Hanging(Elevations):
    """A loop as it hangs, with the air ("air") or the coolant ("liquid") that stays."""

    def __init__(self, ax: Axes, system: str = "metric", what: str = AIR) -> None:
        super().__init__(ax, system, [(HELD[what], what == AIR, f"{NAMES[what]} that stays")])

    def scene(self, looked: Looked) -> Scene:
        """Return what is drawn of what was found."""
        void, held = looked.passages.void, looked.holding
        air = held.what == AIR
        # Coolant only runs out while air follows: with a drain open, so is what it was filled by.
        also = () if air or not looked.passages.drains else ("fill", "vent")
        exits = [(name, purpose, np.array(e.at), e in held.exits or purpose in also)
                 for name, (purpose, e) in looked.passages.exits.items()]  # fmt: skip
        if looked.extra:
            extra = (f"also open: {looked.extra}", "vent" if air else "drain", np.array(held.exits[-1].at), True)
            exits.insert(0, extra)
        kept = np.flatnonzero(held.strands > 0)
        shares = beyond(void, held.up if air else -held.up, held.ways.level, kept)
        levels = []
        for pocket in held.pockets[:LEVELS]:
            mine = kept[np.isin(void.cell[kept], pocket.cells)]
            if np.isfinite(pocket.level) and len(mine):
                levels.append((pocket.level, mine, ""))
        words = [(pocket.at, f"{letter}  {amount(pocket.volume, self.system)}", True)
                 for letter, pocket in zip(looked.letters, held.pockets, strict=True) if letter]  # fmt: skip
        fills = [Fill(kept, shares, HELD[held.what], air)]
        words += named(looked.plan, looked.passages)
        return Scene(looked.plan, looked.passages, looked.frame, fills, levels, words, exits, position(looked))
