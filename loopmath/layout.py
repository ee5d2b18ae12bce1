"""
Where everything of a schematic stands: the tree of a loop laid out in rows, its words measured and broken to fit.

A series is packed into rows like words into a text; a parallel group is its branches, one under the other, between
two upright bars; each knows how far it reaches from the line it sits on, so that no label can meet another. All
lengths are pixels of the screen, `style.DOTS` to the inch, y downwards.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import count
from typing import Any

import numpy as np

from loopmath import loop as tree
from loopmath import network, style
from loopmath.checks import InputError
from loopmath.units import Shown

GRID = 38.0  # symbols and bars stand on multiples of it, so that rows line up
NAME_WIDTH, NAME_LINES = 124.0, 4
TUBE_WIDTH = 84.0
GAP = 24.0  # least length of open tube between two things on it
PAD = 10.0  # least distance of two labels
EDGE = 16.0  # of a row's ends, free of labels
GUTTER = 36.0  # between two rows, with the return line in its middle
BRANCH_GAP = 20.0
WIDEST = 1.35  # how far symbols may move apart where there is room
OVER, UNDER = 10.0, 30.0  # from a line up to the words over it, and down to the names under it
LEG = 38.0  # how far a dead leg hangs down
LEFT, RIGHT = 34.0, 16.0  # margins; the closing line runs in the left one
FIGURE = style.measured("188.8", bold=True)[0]  # the widest temperature
#: Half width and half height of a symbol, by kind of element.
SIZES = {"pump": (24.0, 24.0), "block": (24.0, 24.0), "radiator": (24.0, 24.0), "reservoir": (19.0, 24.0)}
SIZES |= {"fitting": (13.0, 13.0), "other": (18.0, 16.0)}


# ------------------------------------------------------------------------------------------------------ labels


@dataclass(frozen=True)
class Label:
    """Lines of text with their size [px]."""

    lines: tuple[str, ...]
    size: float = style.SMALL
    bold: bool = False
    colour: str = style.INK

    @property
    def width(self) -> float:
        """Width of the longest line."""
        return max((style.measured(line, self.size, self.bold)[0] for line in self.lines), default=0.0)

    @property
    def height(self) -> float:
        """Height of all lines with the leading under each."""
        leading = style.LEADING * self.size * style.DOTS / 72
        return sum(style.measured(line, self.size, self.bold)[1] + leading for line in self.lines)


def _label(text: str, width: float, most: int, colour: str = style.INK, **how: Any) -> Label:
    return Label(tuple(style.fitted(text, width, most, **how)), colour=colour, **how)


def tube_length(leaf: Any, units: dict[str, Shown]) -> str:
    """Return the length of a tube, no finer than a saw cuts: whole millimetres, tenths of an inch."""
    shown = units["length"]
    return replace(shown, digits=shown.digits // 2).text(float(leaf.length))


def about_tube(leaf: tree.Run, units: dict[str, Shown]) -> str:
    """Return length, bends and 90-degree fittings of a run."""
    bends = f", {leaf.bends:.3g} bend{'s' if leaf.bends != 1 else ''}" if leaf.bends else ""
    return tube_length(leaf, units) + bends + (f", {leaf.fittings:.3g} × 90°" if leaf.fittings else "")


def about_part(leaf: tree.Element, row: dict | None, units: dict[str, Shown]) -> tuple[str, str]:
    """Return what the plan says of a part and what its solution adds, or for that a text just as wide."""
    if isinstance(leaf, tree.PumpUnit):
        head = float(network.pump_head(leaf, row["flow"])) if row else 88.88
        return f"speed {100 * leaf.speed:.0f} %", f"head {units['head'].text(head)}"
    if isinstance(leaf, tree.Source):
        return f"{leaf.heat:.0f} W in", ""
    if isinstance(leaf, tree.RadiatorUnit):
        fans = f"{leaf.fans:.0f} fan{'s' if leaf.fans != 1 else ''}, " if leaf.fan is not None else ""
        heat = -float(row["heat"]) if row else 8888.0
        source = f"{leaf.air} air" if leaf.air in tree.PLACES else f"behind {leaf.air}"
        return f"{fans}{source}", f"{abs(heat):.0f} W {'out' if heat >= 0 else 'in'}"
    if isinstance(leaf, tree.Fittings):
        return f"{leaf.count:.3g} × {leaf.fitting.name}", ""
    return "", ""


# ------------------------------------------------------------------------------------------------------ layout


@dataclass(frozen=True, eq=False)
class Cell:
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
    step: float = 1.0  # of the grid
    labels: tuple[Label, ...] = ()
    branches: tuple = ()  # of a group, whose bars are `after` apart
    inset: float = 0.0  # from a bar to the branches, where they wrap


@dataclass(frozen=True, eq=False)
class Rows:
    """A series packed into rows: cells with their places, the height of each row's line over the block's top."""

    rows: list[list[tuple[Cell, float]]]
    width: float
    lines: list[float]
    gutters: list[float]
    height: float


def _leaf_cell(leaf: tree.Element, number: int, units: dict, told: str) -> Cell:
    """Return the cell of an element; a tube named as `told` says no more than what stands at its ends."""
    if isinstance(leaf, (tree.Run, tree.DeadLeg)):
        run = isinstance(leaf, tree.Run)
        about = about_tube(leaf, units) if run else f"{tube_length(leaf, units)}, case air"
        about = about.replace(" ", "\u00a0").replace(",\u00a0", ", ")  # broken at commas only
        name = "" if run and leaf.name == told else leaf.name
        labels = _label(name, TUBE_WIDTH, NAME_LINES), _label(about, TUBE_WIDTH, 4, style.QUIET), Label(())
        half, tall = max(label.width for label in labels) / 2, sum(label.height for label in labels)
        if run:
            return Cell(leaf, number, (half, half), None, OVER + tall, OVER, labels=labels)
        return Cell(leaf, number, None, (half, max(half, 10 + FIGURE)), OVER, LEG + 8 + tall, labels=labels)
    wide, high = SIZES.get(leaf.kind, SIZES["other"])
    name = _label(leaf.name, NAME_WIDTH, NAME_LINES, size=style.PLAIN, bold=True)
    labels = (name, *(_label(text, NAME_WIDTH, 2, style.QUIET) for text in about_part(leaf, None, units)))
    half, tall = max(label.width for label in labels) / 2, sum(label.height for label in labels)
    below = max(half, wide), max(half, wide + 6 + FIGURE)
    return Cell(leaf, number, (wide, wide), below, high, UNDER + tall, wide, wide, GRID, labels)


def _group_cell(item: tree.Parallel, width: float, numbers: Iterator[int], units: dict) -> Cell:
    """Return the cell of a parallel group; it sits at its left bar, on the line of its first branch."""
    figure = 8.0 + FIGURE
    branches = [_rows(branch, width - 2 * GRID - figure, numbers, units) for branch in item.branches]
    inset = GRID if any(len(branch.rows) > 1 for branch in branches) else 0.0
    across = max(branch.width for branch in branches) + 2 * inset
    up = branches[0].lines[0]
    down = sum(branch.height + BRANCH_GAP for branch in branches) - BRANCH_GAP - up
    above, below = (8.0, across + 8.0), (8.0, across + figure)
    number = f"{branches[0].rows[0][0][0].number}-{branches[-1].rows[-1][-1][0].number}"
    return Cell(item, number, above, below, up, down, 0.0, across, GRID, (), tuple(branches), inset)


def _rows(series: tree.Series, width: float, numbers: Iterator[int], units: dict) -> Rows:
    """Pack a series into rows no wider than `width`, the rows as even as their number allows."""
    width, items, cells = GRID * (width // GRID), tree.flat(series), []
    ends = [(i, getattr(e, "name", "")) for i, e in enumerate(items) if not isinstance(e, (tree.Run, tree.DeadLeg))]
    for place, item in enumerate(items):
        if isinstance(item, tree.Parallel):
            cells.append(_group_cell(item, width - 2 * EDGE, numbers, units))
            continue
        before = [name for i, name in ends if i < place] or [name for _, name in ends] or [""]
        after = [name for i, name in ends if i > place] or [name for _, name in ends] or [""]
        cells.append(_leaf_cell(item, next(numbers), units, f"{before[-1]} to {after[0]}"))
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
    return Rows(rows, GRID * np.ceil(across / GRID), lines, gutters, y - GUTTER)


def _packed(cells: list[Cell], width: float) -> tuple[list[list[tuple[Cell, float]]], float]:
    """Place cells in rows, each as far left as labels and the grid allow; return them and the widest row."""
    rows, across, fresh = [], 0.0, (0.0, EDGE, EDGE)
    row, taken = [], fresh  # how far the line, the room above it and the room below it are taken
    for cell in cells:
        while True:
            room = [edge + side[0] for edge, side in zip(taken[1:], (cell.above, cell.below), strict=True) if side]
            least = max(taken[0] + GAP + cell.before, *room)
            x = float(cell.step * np.ceil(least / cell.step - 1e-9))
            reach = [x + side[1] if side else 0.0 for side in (cell.above, cell.below)]
            end = max(x + cell.after, *reach) + EDGE
            if end <= width or not row:
                break
            rows, row, taken = [*rows, row], [], fresh
        row.append((cell, x, x - least))
        across = max(across, end)
        taken = (x + cell.after, *(max(edge, to + PAD) for edge, to in zip(taken[1:], reach, strict=True)))
    return [_centred(row) for row in [*rows, row]], across


def _centred(row: list[tuple[Cell, float, float]]) -> list[tuple[Cell, float]]:
    """Move tubes and dead legs to the middle of the room the grid left them."""
    out, link, start = [], [], 0.0
    for cell, x, spare in row:
        if cell.step == 1.0:
            link.append((cell, x))
            continue
        if len(link) == 1 and link[0][0].above:  # a lone tube: its label has both sides to itself
            link = [(link[0][0], (start + x - cell.before) / 2)]
        else:
            link = [(inner, at + spare / 2) for inner, at in link]
        out, link, start = [*out, *link, (cell, x)], [], x + cell.after
    return out + link


def laid_out(loop: tree.Series, width: float, units: dict[str, Shown]) -> Rows:
    """
    Return the loop in rows that, with the margins, are no wider than `width` [px], solved or not.

    Raises
    ------
    InputError
        If a nested group cannot be made so narrow.
    """
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
