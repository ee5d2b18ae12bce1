"""
The loop drawn from its tree: parts as symbols, tubes as lines between them, temperatures at their places.

Lay out first, draw after. A series is packed into rows like words into a text; a parallel group is its branches, one
under the other, between two upright bars; each knows how far it reaches from the line it sits on, so that no label
can meet another. All lengths are pixels of the screen, 100 to the inch, y downwards.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import lru_cache
from itertools import count
from typing import Any

import numpy as np
from matplotlib import patches
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.lines import Line2D
from matplotlib.textpath import text_to_path

from loopmath import loop as tree
from loopmath import network, style
from loopmath.checks import InputError
from loopmath.solution import Solution
from loopmath.units import DISPLAY, Shown

DOTS = 100  # pixels to the inch
GRID = 38.0  # symbols and bars stand on multiples of it, so that rows line up
NAME_WIDTH, NAME_LINES = 124.0, 3
TUBE_WIDTH, LEG_WIDTH = 84.0, 84.0
GAP = 24.0  # least length of open tube between two things on it
PAD = 10.0  # least distance of two labels
EDGE = 16.0  # of a row's ends, free of labels
GUTTER = 36.0  # between two rows, with the return line in its middle
BRANCH_GAP = 20.0
LEG = 38.0  # how far a dead leg hangs down
LEFT, RIGHT, TOP, FOOT = 34.0, 16.0, 14.0, 58.0  # margins; the closing line runs in the left one
LINE_SPACING = 1.2
#: Half width and half height of a symbol, by kind of element.
SIZES = {"pump": (24.0, 24.0), "block": (24.0, 24.0), "radiator": (24.0, 24.0), "reservoir": (19.0, 24.0)}
SIZES |= {"fitting": (13.0, 13.0), "other": (18.0, 16.0)}


# ------------------------------------------------------------------------------------------------------ labels


@lru_cache(8192)
def _wide(text: str, size: float, bold: bool) -> float:
    """Return the width of a line of text, from the font's own metrics. [px]"""
    prop = FontProperties(family="sans-serif", size=size, weight="bold" if bold else "normal")
    return text_to_path.get_text_width_height_descent(text, prop, False)[0] * DOTS / 72


def fitted(text: str, width: float, most: int, size: float = style.SMALL, bold: bool = False) -> list[str]:
    """
    Break text into lines no wider than `width` [px], at most `most` of them.

    A word longer than a line is broken between letters; what does not fit in the last line ends in an ellipsis.

    Examples
    --------
    >>> fitted("graphics card", 70, 3), fitted("graphics card", 70, 1)
    (['graphics', 'card'], ['graphics…'])
    """
    lines = [""]
    for word in re.findall(r"[^ \t\r\n\v\f]+", text[:400]):
        whole = f"{lines[-1]} {word}" if lines[-1] else word
        if _wide(whole, size, bold) <= width:
            lines[-1] = whole
            continue
        if lines[-1]:
            lines.append("")
        while _wide(word, size, bold) > width and len(word) > 1:
            end = next((n for n in range(2, len(word) + 1) if _wide(word[:n], size, bold) > width), 2) - 1
            lines[-1], word = word[:end], word[end:]
            lines.append("")
        lines[-1] = word
        if len(lines) > most:
            break
    if len(lines) > most:
        last = lines[most - 1]
        while last and _wide(last + "…", size, bold) > width:
            last = last[:-1]
        lines = [*lines[: most - 1], last.rstrip() + "…"]
    return lines


@dataclass(frozen=True)
class _Label:
    """Lines of text with their size [px]."""

    lines: tuple[str, ...]
    size: float = style.SMALL
    bold: bool = False
    colour: str = style.INK

    @property
    def width(self) -> float:
        return max((_wide(line, self.size, self.bold) for line in self.lines), default=0.0)

    @property
    def height(self) -> float:
        return len(self.lines) * self.size * LINE_SPACING * DOTS / 72


def _label(text: str, width: float, most: int, **how: Any) -> _Label:
    lines = fitted(text, width, most, how.get("size", style.SMALL), how.get("bold", False))
    return _Label(tuple(line for line in lines if line), **how)


def _short(units: dict[str, Shown], length: Any) -> str:
    """Return the length of a tube, no finer than a saw cuts: whole millimetres, tenths of an inch."""
    shown = units["length"]
    return replace(shown, digits=shown.digits // 2).text(float(length)).replace(" ", "\u00a0")


def _tube_words(leaf: tree.Run, units: dict[str, Shown]) -> str:
    """Return length, bends and 90-degree fittings of a run."""
    words = [_short(units, leaf.length)]
    if leaf.bends:
        words.append(f"{leaf.bends:.3g}\u00a0bend{'s' if leaf.bends != 1 else ''}")
    if leaf.fittings:
        words.append(f"{leaf.fittings:.3g}\u00a0×\u00a090°")
    return ", ".join(words)


def _planned(leaf: tree.Element) -> str:
    """Return what the plan says of an element, in a few words."""
    if isinstance(leaf, tree.PumpUnit):
        return f"speed {100 * leaf.speed:.0f} %"
    if isinstance(leaf, tree.Source):
        return f"{leaf.heat:.0f} W in"
    if isinstance(leaf, tree.RadiatorUnit):
        fans = f"{leaf.fans:.0f} fan{'s' if leaf.fans != 1 else ''}, " if leaf.fan is not None else ""
        return f"{fans}{leaf.air} air"
    if isinstance(leaf, tree.Fittings):
        return f"{leaf.count:.3g} × {leaf.fitting.name}"
    return ""


def _answered(row: dict | None, leaf: tree.Element, units: dict[str, Shown]) -> str:
    """Return what the solution adds, or a text just as wide where there is none yet."""
    if isinstance(leaf, tree.PumpUnit):
        return f"head {units['head'].text(float(network.pump_head(leaf, row['flow'])) if row else 88.88)}"
    if isinstance(leaf, tree.RadiatorUnit):
        heat = -float(row["heat"]) if row else 8888.0
        return f"{abs(heat):.0f} W {'out' if heat >= 0 else 'in'}"
    return ""


# ------------------------------------------------------------------------------------------------------ layout


@dataclass(frozen=True, eq=False)
class _Cell:
    """
    One thing on a line, and how far it reaches from the point where it sits.

    `above` and `below` are its reach to the left and right over and under the line, None where it has none;
    `before` and `after` are how far it covers the line itself.
    """

    item: Any
    number: int
    above: tuple[float, float] | None
    below: tuple[float, float] | None
    up: float
    down: float
    before: float = 0.0
    after: float = 0.0
    step: float = 1.0
    labels: tuple[_Label, ...] = ()
    branches: tuple = ()  # of a group, whose bars are `after` apart
    inset: float = 0.0  # from a bar to the branches, where they wrap


@dataclass(frozen=True, eq=False)
class _Rows:
    """A series packed into rows: cells with their places, the height of each row's line over the block's top."""

    rows: list[list[tuple[_Cell, float]]]
    width: float
    lines: list[float] = field(default_factory=list)
    gutters: list[float] = field(default_factory=list)
    height: float = 0.0


def _figure_width() -> float:
    return _wide("188.8", style.SMALL, True)


def _leaf_cell(leaf: tree.Element, number: int, units: dict, beside: tuple[str, str]) -> _Cell:
    """Return the cell of an element; `beside` are the names of its neighbours."""
    if isinstance(leaf, tree.Run):
        figures = _label(_tube_words(leaf, units), TUBE_WIDTH, 4, colour=style.QUIET)
        # A name that only repeats what stands at the two ends is not written again.
        told = leaf.name == f"{beside[0]} to {beside[1]}"
        named = () if told else (_label(leaf.name, TUBE_WIDTH, NAME_LINES),)
        labels = (*named, figures)
        half = max(label.width for label in labels) / 2
        up = 10.0 + sum(label.height for label in labels)
        return _Cell(leaf, number, (half, half), None, up, 8.0, labels=labels)
    if isinstance(leaf, tree.DeadLeg):
        about = _label(f"{_short(units, leaf.length)}, case\u00a0air", LEG_WIDTH, 2, colour=style.QUIET)
        labels = (_label(leaf.name, LEG_WIDTH, NAME_LINES), about)
        half = max(*(label.width / 2 for label in labels), 8.0)
        down = LEG + 8.0 + sum(label.height for label in labels)
        return _Cell(leaf, number, None, (half, max(half, 10.0 + _figure_width())), 8.0, down, labels=labels)
    wide, high = SIZES.get(leaf.kind, SIZES["other"])
    texts = [leaf.name, _planned(leaf), _answered(None, leaf, units)]
    bold = {"size": style.PLAIN, "bold": True}
    labels = (
        _label(texts[0], NAME_WIDTH, NAME_LINES, **bold),
        *(_label(text, NAME_WIDTH, 2, colour=style.QUIET) for text in texts[1:] if text),
    )
    half = max(wide, *(label.width / 2 for label in labels))
    below = half, max(half, wide + 6.0 + _figure_width())
    down = 24.0 + 6.0 + sum(label.height for label in labels)
    return _Cell(leaf, number, (wide, wide), below, high, down, wide, wide, GRID, labels)


def _group_cell(item: tree.Parallel, width: float, numbers: Iterator[int], units: dict) -> _Cell:
    """Return the cell of a parallel group; it sits at its left bar, on the line of its first branch."""
    number = next(numbers)
    figure = 8.0 + _figure_width()
    branches = [_rows(branch, width - 2 * GRID - figure, numbers, units) for branch in item.branches]
    inset = GRID if any(len(branch.rows) > 1 for branch in branches) else 0.0
    across = max(branch.width for branch in branches) + 2 * inset
    up = branches[0].lines[0]
    down = sum(branch.height + BRANCH_GAP for branch in branches) - BRANCH_GAP - up
    above, below = (8.0, across + 8.0), (8.0, across + figure)
    return _Cell(item, number, above, below, up, down, 0.0, across, GRID, (), tuple(branches), inset)


def _flat(item: Any) -> Iterator[Any]:
    """Yield the items of a series, a series within it opened up."""
    for child in item.items:
        if isinstance(child, tree.Series):
            yield from _flat(child)
        else:
            yield child


def _rows(series: tree.Series, width: float, numbers: Iterator[int], units: dict) -> _Rows:
    """Pack a series into rows no wider than `width`, the rows as even as their number allows."""
    width = GRID * (width // GRID)
    items = list(_flat(series))
    solid = [i for i, item in enumerate(items) if not isinstance(item, (tree.Run, tree.DeadLeg))]
    cells = []
    for place, item in enumerate(items):
        if isinstance(item, tree.Parallel):
            cells.append(_group_cell(item, width - 2 * EDGE, numbers, units))
            continue
        ends = [items[i] for i in [s for s in solid if s < place][-1:] + [s for s in solid if s > place][:1]]
        around = [getattr(end, "name", "") for end in ends] if len(ends) == 2 else _around(items, solid)
        cells.append(_leaf_cell(item, next(numbers), units, tuple(around)))
    rows, across = _packed(cells, width)
    for narrower in np.arange(width, 0.0, -GRID):
        trial, reach = _packed(cells, narrower)
        if len(trial) > len(rows) or reach > narrower:
            break
        rows, across = trial, reach
    lines, gutters, y = [], [], 0.0
    for row in rows:
        lines.append(y + max(cell.up for cell, _ in row))
        y = lines[-1] + max(cell.down for cell, _ in row) + GUTTER
        gutters.append(y - GUTTER / 2)
    return _Rows(rows, GRID * np.ceil(across / GRID), lines, gutters, y - GUTTER)


def _around(items: list, solid: list[int]) -> list[str]:
    """Return the names at the two ends of the line that closes the loop."""
    return [getattr(items[i], "name", "") for i in (solid[-1], solid[0])] if solid else ["", ""]


def _packed(cells: list[_Cell], width: float) -> tuple[list[list[tuple[_Cell, float]]], float]:
    """Place cells in rows, each as far left as labels and the grid allow; return them and the widest row."""
    rows: list[list[tuple[_Cell, float]]] = []
    slacks: list[list[float]] = []
    across = 0.0
    edges, last = (EDGE, EDGE), 0.0
    for cell in cells:
        for attempt in ("here", "next row"):
            least = max(last + GAP + cell.before, *_least(cell, edges))
            x = cell.step * np.ceil(least / cell.step - 1e-9)
            end = x + max(cell.after, *(side[1] for side in (cell.above, cell.below) if side)) + EDGE
            if attempt == "here" and (not rows or (end > width and last > 0.0)):
                rows.append([])
                slacks.append([])
                edges, last = (EDGE, EDGE), 0.0
            else:
                break
        rows[-1].append((cell, float(x)))
        slacks[-1].append(float(x - least))
        across = max(across, end)
        reach = [x + side[1] + PAD if side else 0.0 for side in (cell.above, cell.below)]
        edges, last = (max(edges[0], reach[0]), max(edges[1], reach[1])), x + cell.after
    return [_centred(row, slack) for row, slack in zip(rows, slacks, strict=True)], across


def _least(cell: _Cell, edges: tuple[float, float]) -> list[float]:
    """Return how far left a cell may sit for what stands above and below the line already."""
    return [edge + side[0] for edge, side in zip(edges, (cell.above, cell.below), strict=True) if side]


def _centred(row: list[tuple[_Cell, float]], slack: list[float]) -> list[tuple[_Cell, float]]:
    """Move tubes and dead legs to the middle of the room the grid left them."""
    out, link = [], []
    start = 0.0
    for (cell, x), spare in zip(row, slack, strict=True):
        link.append((cell, x))
        if cell.step == 1.0:
            continue
        between = link[:-1]
        if len(between) == 1 and between[0][0].above:  # a lone tube: its label has both sides to itself
            between = [(between[0][0], (start + x - cell.before) / 2)]
        else:
            between = [(inner, at + spare / 2) for inner, at in between]
        out += [*between, link[-1]]
        link, start = [], x + cell.after
    return out + link


def _layout(loop: tree.Series, width: float, units: dict) -> _Rows:
    block = _rows(loop, width - LEFT - RIGHT, count(), units)
    if block.width + LEFT + RIGHT > width:
        need = int(np.ceil(block.width + LEFT + RIGHT))
        raise InputError("width", f"{width:.0f} px", f"{need} px or more", "So many groups in groups take more room.")
    return block


# ----------------------------------------------------------------------------------------------------- drawing


class _Pen:
    """Draws a layout on an Axes; `rows` are the solution's, in flow order, or None."""

    def __init__(self, ax: Axes, units: dict, rows: list[dict] | None, known: bool) -> None:
        self.ax, self.units, self.rows, self.known = ax, units, rows, known

    def tube(self, path: list, warm: float | None, gid: str = "") -> None:
        """Draw a stretch of tube: its colour over a thin dark edge."""
        colour = style.warm_colour(warm) if self.known else style.PLAIN_TUBE
        x, y = zip(*path, strict=True)
        how = {"solid_capstyle": "round", "solid_joinstyle": "round"}
        self.ax.add_line(Line2D(x, y, color=style.INK, lw=style.TUBE + 2 * style.HAIR, zorder=1, **how))
        self.ax.add_line(Line2D(x, y, color=colour, lw=style.TUBE, zorder=2, gid=gid, **how))

    def shape(self, patch: Any, gid: str = "", **how: Any) -> None:
        """Add a filled shape with the outline all symbols have."""
        patch.set(**({"ec": style.INK, "lw": style.OUTLINE, "zorder": 4, "gid": gid} | how))
        self.ax.add_patch(patch)

    def arrow(self, x: float, y: float, way: float = 1.0) -> None:
        """Draw an arrow head with its tip at a place, to the right or (-1) to the left."""
        corners = [(x, y), (x - way * 12, y - 7), (x - way * 12, y + 7)]
        self.shape(patches.Polygon(corners), fc=style.INK, ec="white", lw=style.HAIR, zorder=3)

    def words(self, x: float, y: float, text: str, gid: str, **how: Any) -> None:
        """Write text as it stands: a name may have a dollar sign in it."""
        plain = {"ha": "center", "va": "top", "fontsize": style.SMALL, "linespacing": LINE_SPACING, "zorder": 5}
        self.ax.text(x, y, text, parse_math=False, gid=gid, **(plain | how))

    def labels(self, x: float, y: float, labels: tuple, gids: list[str], shown: list[bool]) -> None:
        """Write labels one under the other."""
        for label, gid, seen in zip(labels, gids, shown, strict=True):
            if seen and label.lines:
                weight = "bold" if label.bold else "normal"
                text = "\n".join(label.lines)
                self.words(x, y, text, gid, fontsize=label.size, weight=weight, color=label.colour)
            y += label.height

    def figure(self, x: float, y: float, warm: float, gid: str, **how: Any) -> None:
        """Print a temperature, its unit left to the scale."""
        text = self.units["temperature"].text(float(warm), unit=False)
        self.words(x, y, text, gid, **({"ha": "left", "weight": "bold"} | how))

    def series(self, block: _Rows, left: float, top: float, start: list, end: list | None, warm: Any) -> tuple:
        """
        Draw a series from the points of `start` to those of `end`, or straight on to its right edge.

        Returns
        -------
        warm, flow
            Temperature [degC] and flow [m3/s] with which it is left, None where not solved.
        """
        path, flow, right = list(start), None, left + block.width
        gid = "start"
        for row, line, gutter in zip(block.rows, block.lines, block.gutters, strict=True):
            if row is not block.rows[0]:
                y = path[-1][1]
                path += [(right, y), (right, top + between), (left, top + between), (left, top + line)]  # noqa: F821
                self.arrow((left + right) / 2 - 6, top + between, -1.0)  # noqa: F821
            between = gutter
            for cell, x in row:
                at = left + x, top + line
                if isinstance(cell.item, tree.Run):
                    self.run(cell, *at)
                    continue
                path.append(at)
                self.tube(path, warm, gid)
                warm, through = self.thing(cell, *at, warm)
                flow = through if through is not None else flow
                path = [(at[0] + (cell.after if cell.branches else 0.0), at[1])]
                gid = f"e{cell.number}-tube"
        self.tube([*path, *(end or [])], warm, gid)
        return warm, flow
