"""
The loop drawn from its tree: parts as symbols, tubes as lines between them, temperatures at their places.

Lay out first, draw after. A series is packed into rows like words into a text; a parallel group is its branches, one
under the other, between two upright bars; each knows how far it reaches from the line it sits on, so that no label
can meet another. All lengths are pixels of the screen, 100 to the inch, y downwards.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from itertools import count
from typing import Any

import numpy as np
from matplotlib import patches
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from loopmath import loop as tree
from loopmath import network, style
from loopmath.checks import InputError
from loopmath.solution import Solution
from loopmath.style import DOTS
from loopmath.units import DISPLAY, Shown

GRID = 38.0  # symbols and bars stand on multiples of it, so that rows line up
NAME_WIDTH, NAME_LINES = 124.0, 4
TUBE_WIDTH = LEG_WIDTH = 84.0
GAP = 24.0  # least length of open tube between two things on it
PAD = 10.0  # least distance of two labels
EDGE = 16.0  # of a row's ends, free of labels
GUTTER = 36.0  # between two rows, with the return line in its middle
BRANCH_GAP = 20.0
WIDEST = 1.35  # how far symbols may move apart where there is room
OVER = 10.0  # from a line up to the words over it
LEG = 38.0  # how far a dead leg hangs down
LEFT, RIGHT, TOP, FOOT = 34.0, 16.0, 14.0, 58.0  # margins; the closing line runs in the left one
FIGURE = style.measured("188.8", bold=True)[0]  # the widest temperature
#: Half width and half height of a symbol, by kind of element.
SIZES = {"pump": (24.0, 24.0), "block": (24.0, 24.0), "radiator": (24.0, 24.0), "reservoir": (19.0, 24.0)}
SIZES |= {"fitting": (13.0, 13.0), "other": (18.0, 16.0)}


# ------------------------------------------------------------------------------------------------------ labels


@dataclass(frozen=True)
class _Label:
    """Lines of text with their size [px]."""

    lines: tuple[str, ...]
    size: float = style.SMALL
    bold: bool = False
    colour: str = style.INK

    @property
    def width(self) -> float:
        return max((style.measured(line, self.size, self.bold)[0] for line in self.lines), default=0.0)

    @property
    def height(self) -> float:
        leading = style.LEADING * self.size * DOTS / 72
        return sum(style.measured(line, self.size, self.bold)[1] + leading for line in self.lines)


def _label(text: str, width: float, most: int, colour: str = style.INK, **how: Any) -> _Label:
    return _Label(tuple(style.fitted(text, width, most, **how)), colour=colour, **how)


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


def _about(leaf: tree.Element, row: dict | None, units: dict[str, Shown]) -> tuple[str, str]:
    """Return what the plan says of a part and what its solution adds, or for that a text just as wide."""
    if isinstance(leaf, tree.PumpUnit):
        head = float(network.pump_head(leaf, row["flow"])) if row else 88.88
        return f"speed {100 * leaf.speed:.0f} %", f"head {units['head'].text(head)}"
    if isinstance(leaf, tree.Source):
        return f"{leaf.heat:.0f} W in", ""
    if isinstance(leaf, tree.RadiatorUnit):
        fans = f"{leaf.fans:.0f} fan{'s' if leaf.fans != 1 else ''}, " if leaf.fan is not None else ""
        heat = -float(row["heat"]) if row else 8888.0
        return f"{fans}{leaf.air} air", f"{abs(heat):.0f} W {'out' if heat >= 0 else 'in'}"
    if isinstance(leaf, tree.Fittings):
        return f"{leaf.count:.3g} × {leaf.fitting.name}", ""
    return "", ""


def _mixed(ways: list[tuple[Any, Any]]) -> tuple[Any, Any]:
    """Return temperature and flow where branches join, None where they are not known."""
    if any(warm is None for warm, _ in ways):
        return None, None
    flow = sum(through for _, through in ways)
    return sum(warm * through for warm, through in ways) / flow, flow


# ------------------------------------------------------------------------------------------------------ layout


@dataclass(frozen=True, eq=False)
class _Cell:
    """
    One thing on a line, and how far it reaches from the point where it sits.

    `above` and `below` are its reach to the left and right over and under the line, None where it has none;
    `before` and `after` are how far it covers the line itself.
    """

    item: Any
    number: Any  # of an element in flow order; of a group those of its first and last
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


def _leaf_cell(leaf: tree.Element, number: int, units: dict, beside: tuple[str, str]) -> _Cell:
    """Return the cell of an element; `beside` are the names of its neighbours."""
    if isinstance(leaf, tree.Run):
        figures = _label(_tube_words(leaf, units), TUBE_WIDTH, 4, style.QUIET)
        # A name that only repeats what stands at the two ends is not written again.
        told = leaf.name == f"{beside[0]} to {beside[1]}"
        named = () if told else (_label(leaf.name, TUBE_WIDTH, NAME_LINES),)
        labels = (*named, figures)
        half = max(label.width for label in labels) / 2
        up = OVER + sum(label.height for label in labels)
        return _Cell(leaf, number, (half, half), None, up, 8.0, labels=labels)
    if isinstance(leaf, tree.DeadLeg):
        about = _label(f"{_short(units, leaf.length)}, case\u00a0air", LEG_WIDTH, 2, style.QUIET)
        labels = (_label(leaf.name, LEG_WIDTH, NAME_LINES), about)
        half = max(*(label.width / 2 for label in labels), 8.0)
        down = LEG + 8.0 + sum(label.height for label in labels)
        return _Cell(leaf, number, None, (half, max(half, 10.0 + FIGURE)), 8.0, down, labels=labels)
    wide, high = SIZES.get(leaf.kind, SIZES["other"])
    name = _label(leaf.name, NAME_WIDTH, NAME_LINES, size=style.PLAIN, bold=True)
    labels = (name, *(_label(text, NAME_WIDTH, 2, style.QUIET) for text in _about(leaf, None, units)))
    half = max(wide, *(label.width / 2 for label in labels))
    below = half, max(half, wide + 6.0 + FIGURE)
    down = 24.0 + 6.0 + sum(label.height for label in labels)
    return _Cell(leaf, number, (wide, wide), below, high, down, wide, wide, GRID, labels)


def _group_cell(item: tree.Parallel, width: float, numbers: Iterator[int], units: dict) -> _Cell:
    """Return the cell of a parallel group; it sits at its left bar, on the line of its first branch."""
    figure = 8.0 + FIGURE
    branches = [_rows(branch, width - 2 * GRID - figure, numbers, units) for branch in item.branches]
    inset = GRID if any(len(branch.rows) > 1 for branch in branches) else 0.0
    across = max(branch.width for branch in branches) + 2 * inset
    up = branches[0].lines[0]
    down = sum(branch.height + BRANCH_GAP for branch in branches) - BRANCH_GAP - up
    above, below = (8.0, across + 8.0), (8.0, across + figure)
    number = f"{branches[0].rows[0][0][0].number}-{branches[-1].rows[-1][-1][0].number}"
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
    if not any(cell.branches for row in block.rows for cell, _ in row):
        # A short loop may breathe: its symbols move apart, they do not grow.
        wider = min(WIDEST, (width - LEFT - RIGHT) // GRID * GRID / block.width)
        rows = [[(cell, x * wider) for cell, x in row] for row in block.rows]
        block = replace(block, rows=rows, width=block.width * wider)
    return block


# ----------------------------------------------------------------------------------------------------- drawing


class _Pen:
    """Draws a layout on an Axes; `rows` are the solution's, in flow order, None where no temperature is known."""

    def __init__(self, ax: Axes, units: dict, rows: list[dict] | None) -> None:
        self.ax, self.units, self.rows = ax, units, rows

    def tube(self, path: list, warm: float | None, gid: str, cap: str = "round") -> None:
        """Draw a stretch of tube: its colour over a thin dark edge."""
        colour = style.PLAIN_TUBE if warm is None else style.warm_colour(warm)
        x, y = zip(*path, strict=True)
        how = {"solid_capstyle": cap, "solid_joinstyle": "round"}
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
        plain = {"ha": "center", "va": "top", "fontsize": style.SMALL, "zorder": 5}
        self.ax.text(x, y, text, parse_math=False, gid=gid, **(plain | how))

    def labels(self, x: float, y: float, labels: tuple, gids: list[str]) -> None:
        """Write labels one under the other."""
        for label, gid in zip(labels, gids, strict=True):
            if label.lines:
                weight = "bold" if label.bold else "normal"
                text = "\n".join(label.lines)
                # A single line is set without leading.
                drop = style.LEADING / 2 * label.size * DOTS / 72 if len(label.lines) == 1 else 0.0
                self.words(x, y + drop, text, gid, fontsize=label.size, weight=weight, color=label.colour)
            y += label.height

    def figure(self, x: float, y: float, warm: float, gid: str, **how: Any) -> None:
        """Print a temperature, its unit left to the scale."""
        text = self.units["temperature"].text(float(warm), unit=False)
        self.words(x, y, text, gid, **({"ha": "left", "weight": "bold"} | how))

    def series(self, block: _Rows, left: float, top: float, start: list, end: list, warm: Any) -> tuple[Any, Any]:
        """Draw a series from the points of `start` to those of `end`; return temperature and flow at its end."""
        path, flow, gid, right = list(start), None, "tube-start", left + block.width
        for place, row in enumerate(block.rows):
            line = top + block.lines[place]
            if place:
                back = top + block.gutters[place - 1]
                path += [(right, path[-1][1]), (right, back), (left, back), (left, line)]
                self.arrow((left + right) / 2 - 6, back, -1.0)
            for cell, x in row:
                if isinstance(cell.item, tree.Run):
                    self.run(cell, left + x, line)
                    continue
                self.tube([*path, (left + x, line)], warm, gid)
                if cell.branches:
                    warm, flow = self.group(cell, left + x, line, warm)
                elif isinstance(cell.item, tree.DeadLeg):
                    self.leg(cell, left + x, line)
                else:
                    warm, flow = self.part(cell, left + x, line, warm)
                path = [(left + x + (cell.after if cell.branches else 0.0), line)]
                gid = f"tube-{cell.number}"
        self.tube([*path, *end], warm, gid)
        return warm, flow

    def run(self, cell: _Cell, x: float, y: float) -> None:
        """Write what a run is over its line."""
        gids = [f"name-{cell.number}", f"about-{cell.number}"][-len(cell.labels) :]
        self.labels(x, y - cell.up, cell.labels, gids)

    def leg(self, cell: _Cell, x: float, y: float) -> None:
        """Hang a dead leg on the line: it stands at the temperature of the air around it."""
        row = self.rows[cell.number] if self.rows else None
        self.tube([(x, y), (x, y + LEG)], row and row["in"], f"leg-{cell.number}", "butt")
        self.ax.add_line(Line2D([x - 8, x + 8], [y + LEG] * 2, color=style.INK, lw=2 * style.OUTLINE, zorder=3))
        self.dot(x, y)
        gids = [f"name-{cell.number}", f"about-{cell.number}"]
        self.labels(x, y + LEG + 6, cell.labels, gids)
        if row:
            self.figure(x + 8, y + 0.55 * LEG, row["in"], f"warm-{cell.number}", va="center")

    def dot(self, x: float, y: float) -> None:
        """Mark a junction."""
        self.shape(patches.Circle((x, y), 6), "dot", fc=style.INK, ec="white", lw=style.HAIR)

    def part(self, cell: _Cell, x: float, y: float, warm: Any) -> tuple[Any, Any]:
        """Draw a part on the line with its name; return temperature and flow behind it."""
        leaf, row = cell.item, self.rows[cell.number] if self.rows else None
        self.arrow(x - cell.before - 3, y)
        for patch, how in _symbol(leaf.kind, x, y):
            self.shape(patch, f"symbol-{cell.number}", **how)
        answer = _about(leaf, row, self.units)[1] if row else ""
        labels = (*cell.labels[:2], replace(cell.labels[2], lines=(answer,) if answer else ()))
        self.labels(x, y + 30, labels, [f"name-{cell.number}", f"about-{cell.number}", f"answer-{cell.number}"])
        if row is None:
            return None, None
        if abs(row["out"] - row["in"]) > 1e-9:
            self.figure(x + cell.after + 5, y + 7, row["out"], f"warm-{cell.number}")
        return row["out"], row["flow"]

    def group(self, cell: _Cell, x: float, y: float, warm: Any) -> tuple[Any, Any]:
        """Draw a group's bars and branches; return temperature and flow where they join."""
        end, top = x + cell.after, y - cell.up
        starts, ends, ways = [], [y], []
        for branch in cell.branches:
            starts.append(top + branch.lines[0])
            ends.append(top + branch.lines[-1])
            way = [(x, starts[-1])], [(end, ends[-1])]
            ways.append(self.series(branch, x + cell.inset, top, *way, warm))
            top += branch.height + BRANCH_GAP
        mixed, flow = _mixed(ways)
        for place, points, at in ((x, starts, warm), (end, ends, mixed)):
            self.tube([(place, min(points)), (place, max(points))], at, f"bar-{cell.number}")
            for point in {round(point, 3) for point in points}:
                self.dot(place, point)
        if mixed is not None:
            self.figure(end + 8, y + 7, mixed, f"mixed-{cell.number}")
        return mixed, flow


def _symbol(kind: str, x: float, y: float) -> list[tuple[Any, dict]]:
    """Return the shapes of a symbol: outline first, then what is on it."""
    wide, high = SIZES.get(kind, SIZES["other"])
    on = {"lw": 0.0, "fc": "white"}
    if kind == "pump":
        wing = [(x + 15, y), (x - 9, y - 13), (x - 9, y + 13)]
        return [(patches.Circle((x, y), wide), {"fc": style.PUMP}), (patches.Polygon(wing), on)]
    if kind == "block":
        inner = patches.Rectangle((x - 11, y - 11), 22, 22)
        return [(patches.Rectangle((x - wide, y - high), 2 * wide, 2 * high), {"fc": style.HEAT}), (inner, on)]
    if kind == "radiator":
        fins = [patches.Rectangle((x + at - 1.5, y - 16), 3, 32) for at in (-15, -7.5, 0, 7.5, 15)]
        core = patches.Rectangle((x - wide, y - high), 2 * wide, 2 * high)
        return [(core, {"fc": style.AIR}), *((fin, on) for fin in fins)]
    if kind == "reservoir":
        round_box = f"round,pad=0,rounding_size={10}"
        tank = patches.FancyBboxPatch((x - wide, y - high), 2 * wide, 2 * high, boxstyle=round_box)
        level = patches.FancyBboxPatch(
            (x - wide + 5, y - 8), 2 * wide - 10, high + 3, boxstyle="round,pad=0,rounding_size=6"
        )
        return [(tank, {"fc": "white"}), (level, on | {"fc": style.LIQUID})]
    if kind == "fitting":
        return [(patches.RegularPolygon((x, y), 4, radius=wide), {"fc": style.GRID})]
    return [(patches.RegularPolygon((x, y), 6, radius=wide, orientation=np.pi / 2), {"fc": style.GRID})]


def _loop_of(plan: Any) -> tree.Series:
    """Return the loop of a plan, or the loop given as such."""
    return getattr(plan, "loop", plan)


def _rows_of(loop: tree.Series, solution: Solution | None) -> list[dict] | None:
    """Return the solution's rows in flow order, one design of the loop that is to be drawn."""
    if solution is None:
        return None
    if solution.designs is not None:
        raise InputError("solution", f"{solution.designs} designs", "one design", "Solve the one to be drawn.")
    if [row["element"].name for row in solution.walk] != [leaf.name for leaf in tree.leaves(loop)]:
        raise InputError("solution", "of another loop", "the solution of the loop that is drawn")
    return solution.walk if solution.known else None


def _start(rows: list[dict] | None) -> Any:
    """Return the temperature at which the coolant comes to the first element. [degC]"""
    return next((row["in"] for row in rows or [] if not isinstance(row["element"], tree.DeadLeg)), None)


def size_of(plan: Any, width: float = 1000, system: str = "metric") -> tuple[int, int]:
    """Return width and height [px] a drawing of a plan or loop takes, solved or not."""
    block = _layout(_loop_of(plan), width, DISPLAY[system])
    return int(width), int(np.ceil(TOP + block.height + GUTTER + FOOT))


def draw_schematic(ax: Axes, plan: Any, solution: Solution | None = None, system: str = "metric") -> Axes:
    """
    Draw the loop of a plan: parts in flow order, and once solved the temperatures of the coolant.

    Parameters
    ----------
    ax : Axes
        At least as large as `size_of` says for its width.
    plan : Plan or Series
        What is drawn.
    solution : Solution, optional
        Its answer; one design. Without it the tubes are plain and nothing that must be solved is printed.
    system : str
        "metric" or "us".

    Raises
    ------
    InputError
        If the axes are too small, the solution is of another loop or of many designs.
    """
    loop, units = _loop_of(plan), DISPLAY[system]
    rows = _rows_of(loop, solution)
    inches = ax.get_figure(root=True).dpi
    width, height = (side / inches * DOTS for side in ax.get_window_extent().size)
    block = _layout(loop, width + 0.5, units)
    tall = TOP + block.height + GUTTER + FOOT
    if tall > height + 1:
        raise InputError("height of the axes", f"{height:.0f} px", f"{tall:.0f} px or more", "Ask `size_of`.")
    ax.set_axis_off()
    left = max(LEFT, np.floor((width - block.width + LEFT - RIGHT) / 2))
    top = TOP + np.floor((height - tall) / 2)
    pen = _Pen(ax, units, rows)
    first, right = top + block.lines[0], left + block.width
    back, far = top + block.height + GUTTER / 2, left - 20
    end = [(right, top + block.lines[-1]), (right, back), (far, back), (far, first), (left, first)]
    pen.series(block, left, top, [(left, first)], end, _start(rows))
    pen.arrow((left + right) / 2 - 6, back, -1.0)
    _foot(pen, solution, width, top + block.height + GUTTER + 8, far)
    ax.set(xlim=(0, width), ylim=(height, 0))
    return ax


def _state(solution: Solution | None) -> str:
    """Return why no temperature is there, empty where there are some."""
    if solution is None:
        return "Drawn from the plan; not solved yet."
    return f"No temperature is stated. {solution.plight}" if solution.plight else ""


def _foot(pen: _Pen, solution: Solution | None, width: float, y: float, left: float) -> None:
    """Draw the scale of temperatures under the loop, or say why there are none."""
    if not pen.rows:
        bold = solution is not None
        text = "\n".join(style.fitted(_state(solution), width - 2 * left, 2, style.PLAIN, bold))
        weight = "bold" if bold else "normal"
        pen.words(left, y + 6, text, "state", ha="left", fontsize=style.PLAIN, weight=weight)
        return
    unit = pen.units["temperature"]
    title = f"coolant, {unit.label}"
    pen.words(left, y + 4, title, "scale", ha="left")
    start, across, steps = left + style.measured(title)[0] + 32, 240.0, 64
    shades = np.linspace(style.WARM_LOW, style.WARM_HIGH, steps)
    edges = start + across * np.arange(steps + 1) / steps
    pen.ax.pcolormesh(edges, [y + 6, y + 17], shades[None, :], cmap=style.WARM_MAP, edgecolors="face", lw=0.2)
    pen.shape(patches.Rectangle((start, y + 6), across, 11), fc="none", lw=style.HAIR)
    ticks = np.arange(style.WARM_LOW, style.WARM_HIGH + 1, 10.0)
    for share, tick in zip(np.linspace(0, 1, len(ticks)), ticks, strict=True):
        sign = {0.0: "≤ ", 1.0: "≥ "}.get(share, "")
        pen.words(start + share * across, y + 21, f"{sign}{unit.convert(tick):.0f}", "tick", color=style.QUIET)


def schematic_figure(
    plan: Any, solution: Solution | None = None, width: float = 1000, system: str = "metric"
) -> Figure:
    """Return a figure of its own, `width` pixels wide and as tall as the loop asks for."""
    with style.look():
        size = size_of(plan, width, system)
        figure = Figure(figsize=(size[0] / DOTS, size[1] / DOTS), dpi=DOTS)
        draw_schematic(figure.add_axes((0, 0, 1, 1)), plan, solution, system)
    return figure


def words(plan: Any, solution: Solution | None = None, system: str = "metric") -> str:
    """
    Read the loop aloud, in flow order: the words for who cannot see the drawing.

    Returns
    -------
    text : str
        Every element by its name, branches and dead legs as such, temperatures where they change.
    """
    loop, units = _loop_of(plan), DISPLAY[system]
    rows = _rows_of(loop, solution)
    left = iter(rows or [])

    def warm_words(warm: Any) -> str:
        return units["temperature"].text(float(warm))

    def read(item: Any, warm: Any) -> tuple[list[str], Any, Any]:
        if isinstance(item, tree.Series):
            said, flow = [], None
            for child in _flat(item):
                more, warm, through = read(child, warm)
                said, flow = said + more, flow if through is None else through
            return said, warm, flow
        if isinstance(item, tree.Parallel):
            many, said, ways = len(item.branches), [], []
            for place, branch in enumerate(item.branches, start=1):
                more, *way = read(branch, warm)
                said.append(f"branch {place} of {many} side by side: {more[0]}")
                said += more[1:]
                ways.append(tuple(way))
            warm, flow = _mixed(ways)
            return [*said, f"the {many} branches join" + (f" at {warm_words(warm)}" if rows else "")], warm, flow
        row = next(left, None)
        if isinstance(item, tree.Run):
            return [f"tube {item.name} ({_tube_words(item, units)})"], warm, row and row["flow"]
        if isinstance(item, tree.DeadLeg):
            at = f" at {warm_words(row['in'])}" if row else ""
            return [f"dead leg {item.name} ({_short(units, item.length)}, no flow{at})"], warm, None
        planned, answer = _about(item, row, units)
        about = ", ".join(filter(None, (item.kind, planned, answer if row else "")))
        changed = row and abs(row["out"] - row["in"]) > 1e-9
        after = f", coolant then {warm_words(row['out'])}" if changed else ""
        return [f"{item.name} ({about}){after}"], row and row["out"], row and row["flow"]

    said, *_ = read(loop, _start(rows))
    state = _state(solution) or f"Coolant comes to the first element at {warm_words(_start(rows))}."
    return f"The loop in flow order: {'; '.join(said)}; and back to the start. {state}".replace("\u00a0", " ")
