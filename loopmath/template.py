"""
Printed templates of laid runs: the bent shape, its views in the machine, and the straight tube with its marks.

A sheet is drawn in millimetres of paper, so that a ruler on the print reads what the figures say; a bar on every sheet
proves it. A `Picture` lays shapes out and finds room for words, a `Sheet` puts one, or its part of one, on paper.
"""

import io
import math
import re
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from itertools import count, product
from pathlib import Path
from string import ascii_uppercase
from typing import Any, NamedTuple

import matplotlib as mpl
import numpy as np
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.collections import PathCollection
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.path import Path as Shape
from matplotlib.transforms import Affine2D
from scipy.ndimage import distance_transform_edt
from scipy.spatial.distance import cdist

from loopmath import bench_work, files, sight, style
from loopmath.bench_figures import plain
from loopmath.checks import InputError, one_of
from loopmath.laws import bending
from loopmath.plan import Plan
from loopmath.routes import TubePath
from loopmath.sight import Eye
from loopmath.units import DISPLAY, show

#: Paper, upright: width and height. [mm]
PAPERS = {"A4": (210.0, 297.0), "A3": (297.0, 420.0), "letter": (215.9, 279.4), "tabloid": (279.4, 431.8)}
#: How many times smaller something is drawn; at the last, the longest run a case may have fits on the smallest paper.
SCALES = (1, 2, 3, 4, 5, 10, 20, 50, 100, 200)
#: At full size a run may take so many sheets; two that are joined share a strip so wide. [mm]
MOST_SHEETS, OVERLAP = 8, 10.0
#: Left free at the edges of the paper; height of the foot; kept round a shape, and between a tube and words. [mm]
EDGE, FOOT, PAD, CLEAR = 12.0, 24.0, 10.0, 2.0
#: The bar: how long on paper, whatever the scale [mm]; in its unit; the unit.
BARS = {"metric": (100.0, 100, "mm"), "us": (101.6, 4, "in")}
#: Height of a line of words, and of the title [mm]; pixels of the font's measures to a millimetre.
LINE, TITLE, PER_MM = 4.2, 6.4, style.DOTS / 25.4
#: Flat, a tube rises by this share of its length, so that where it lies over itself the later leg is on top.
RISE = 0.3
#: Between views; beside, over and under them; the least of a turned one, and where its eye is. [mm], [degrees]
GAP, ASIDE, ABOVE, BELOW, LEAST_TURNED, TURNED = 30.0, 12.0, 8.0, 18.0, 30.0, (30.0, 25.0)
#: Rows of the straight tube end at multiples of this, where a mark is easily made; so much is over and under one. [mm]
BREAKS, OVER, UNDER = {"metric": 10.0, "us": 12.7}, 22.0, 16.0
#: Greys that a plain printer keeps apart; weights of lines. [pt]
FILL, QUIET, HEAVY, FINE = "#E6E6E6", "#555555", 0.8, 0.5


def _fitted(words: str, wide: float, most: int, **how: Any) -> list[str]:
    """Break words into lines no wider than this [mm]; signs that cannot be printed become spaces."""
    return style.fitted("".join(s if s.isprintable() else " " for s in words), wide * PER_MM, most, **how)


def _wide(line: str, bold: bool = False) -> float:
    return style.measured(line, bold=bold)[0] / PER_MM


# --------------------------------------------------------------------------------------------- laying out a picture


class Picture:
    """A drawing in millimetres of paper, y down: shapes in the order they are painted, words, and what is taken."""

    def __init__(self, size: Iterable[float]) -> None:
        wide, high = size
        self.shapes: list[tuple[Shape, str, str, float]] = []
        self.words: list[tuple[float, float, str, bool]] = []
        self.taken, self.written = np.zeros((2, int(high), int(wide)), dtype=bool)

    def put(self, shape: Shape, face: str = "none", edge: str = "none", weight: float = 0.0) -> None:
        """Paint a shape on what is there."""
        self.shapes.append((shape, face, edge, weight))

    def strokes(self, lines: Iterable[Any], weight: float = FINE, colour: str = "black") -> None:
        """Paint lines."""
        self.put(sight.strokes(lines), "none", colour, weight)

    def say(self, x: float, y: float, words: str, bold: bool = False) -> None:
        """Write words with their middle here."""
        self.words.append((x, y, words, bold))

    def area(self, low: Iterable[float], high: Iterable[float]) -> tuple[slice, slice]:
        """Return the cells of a rectangle, from its left, upper corner to the other."""
        (left, top), (right, bottom) = np.maximum(low, 0).astype(int), np.maximum(np.ceil(high), 0).astype(int)
        return slice(top, bottom), slice(left, right)

    def block(self, low: Iterable[float], high: Iterable[float]) -> None:
        """Keep words out of a rectangle."""
        self.taken[self.area(low, high)] = True

    def label(self, words: str | list[str], at: Any, reach: float = 0.0, bold: bool = False) -> None:
        """Put words at the free place nearest to a disc, with a line to it if that is far and crosses no words."""
        lines, at = [words] if isinstance(words, str) else words, np.asarray(at, dtype=float)
        wide, high = size = np.ceil([max(_wide(line, bold) for line in lines) + 2.5, LINE * len(lines)]).astype(int)
        sums = np.pad(self.taken.cumsum(axis=0).cumsum(axis=1), ((1, 0), (1, 0)))
        covered = sums[high:, wide:] - sums[:-high, wide:] - sums[high:, :-wide] + sums[:-high, :-wide]
        x, y = np.arange(covered.shape[1]) + wide / 2 - at[0], np.arange(covered.shape[0])[:, None] + high / 2 - at[1]
        away = np.hypot(np.maximum(np.abs(x) - wide / 2, 0.0), np.maximum(np.abs(y) - high / 2, 0.0))
        cost = (away + 0.05 * np.hypot(x, y) + 1e4 * covered).ravel()
        some = np.argpartition(cost, min(4000, cost.size - 1))[:4000]
        top, left = np.unravel_index(some[np.argsort(cost[some], kind="stable")][::5], covered.shape)
        lows = np.column_stack([left, top])
        nears = np.clip(at, lows, lows + size)
        ways = (nears[:, None] + np.linspace(0.1, 1.0, 20)[:, None] * (at - nears)[:, None]).astype(int)
        column, row = np.clip(np.moveaxis(ways, -1, 0), 0, np.array(self.taken.shape[::-1])[:, None, None] - 1)
        far = np.hypot(*(nears - at).T) > reach + 2.5 * CLEAR
        n = int(np.argmin(far & self.written[row, column].any(axis=1)))
        low, near = lows[n], nears[n]
        self.written[self.area(low, low + size)] = True
        if far[n]:
            self.strokes([(near, at + (near - at) * reach / np.hypot(*(near - at)))], FINE, QUIET)
            self.written[row[n], column[n]] = True
        self.taken |= self.written
        self.say(*(low + size / 2), "\n".join(lines), bold)

    def tube(self, flat: np.ndarray, depth: np.ndarray, half: float) -> None:
        """
        Paint a tube from far to near, in pieces so short that where it crosses itself the nearer leg is on top.

        Its centre line (n, 2), how near the eye each point is (n,), and half its width. [mm]
        """
        end, begin, sharp = sight.sides(flat, half)
        inside = max(1 - HEAVY * 25.4 / 144 / half, 0.1)  # a face ends where its outline begins
        pieces, last = [], len(flat) - 1
        lots = np.floor(np.cumsum(np.abs(np.diff(depth))) / (0.6 * half))
        cuts = np.flatnonzero((np.diff(lots) != 0) | sharp[1:-1]) + 1
        for a, b in zip([0, *cuts], [*cuts, last], strict=True):
            at_eye = np.hypot(*(flat[b] - flat[a])) < 0.15 * abs(depth[b] - depth[a])
            rounds = [k for k in (a, b) if sharp[k] or (at_eye and k == b)]
            # A piece goes on for one step at both ends, so that no line is seen between two.
            i, j = a - (a > 0 and not sharp[a]), b + (b < last and not sharp[b])
            line, off = flat[i : j + 1], np.vstack([begin[i:j], end[j : j + 1]])
            face = sight.outline(np.concatenate([line + inside * off, (line - inside * off)[::-1]]))
            rims = [line + off, line - off]
            rims += [(flat[k] + off[n], flat[k] - off[n]) for k, n in ((0, 0), (last, -1)) if k in (a, b)]
            found = [(Shape.circle(flat[k], half), FILL, "black", HEAVY) for k in rounds]
            found += [(face, FILL), (sight.strokes(rims), "none", "black", HEAVY)]
            found += [(Shape.circle(flat[k], inside * half), FILL) for k in rounds]
            pieces += [(float(depth[a : b + 1].mean()), shape) for shape in found]
        dash = min(4.0, 1.2 * half)
        for ends in sight.dashes(np.column_stack([flat, depth]), dash, dash / 2):
            pieces.append((float(ends[:, 2].max()) + 0.7 * half, (sight.strokes([ends[:, :2]]), "none", QUIET, FINE)))
        for _, shape in sorted(pieces, key=lambda piece: piece[0]):
            self.put(*shape)
        # Words keep off it.
        free = np.ones(self.taken.shape, dtype=bool)
        row, column = np.clip(flat[:, ::-1].astype(int), 0, np.array(free.shape) - 1).T
        free[row, column] = False
        self.taken |= distance_transform_edt(free) <= half + CLEAR + 0.5


class Sheet:
    """One sheet of paper: head, foot, and between them room for a picture."""

    def __init__(self, paper: str, system: str, about: str, title: str, words: Iterable[str]) -> None:
        self.wide, self.high = PAPERS[paper]
        self.system = system
        self.figure = Figure(figsize=(self.wide / 25.4, self.high / 25.4))
        self.ax = self.figure.add_axes((0, 0, 1, 1))
        self.ax.set(xlim=(0, self.wide), ylim=(self.high, 0))
        self.ax.set_axis_off()
        self.top, broad = EDGE, self.wide - 2 * EDGE
        for line in _fitted(title, broad, 2, size=13, bold=True):
            self.text(EDGE, self.top + TITLE / 2, line, fontsize=13, weight="bold")
            self.top += TITLE
        for line in (line for said in (about, *words) for line in _fitted(said, broad, 4)):
            self.text(EDGE, self.top + LINE / 2, line)
            self.top += LINE
        self.top += 3

    @property
    def room(self) -> np.ndarray:
        """Width and height of what is free between head and foot. [mm]"""
        return np.array([self.wide - 2 * EDGE, self.high - EDGE - FOOT - self.top])

    def text(self, x: float, y: float, words: str, **how: Any) -> None:
        """Write words at a place of the paper. [mm]"""
        usual = {"fontsize": style.SMALL, "color": "black", "va": "center", "linespacing": 1.1}
        self.ax.text(x, y, words, **(usual | how))

    def foot(self, scale: int) -> "Sheet":
        """Draw the bar that proves the scale, what to heed, and lines to sign on."""
        (long, many, unit), y = BARS[self.system], self.high - EDGE - 13
        for n, face in enumerate(("black", "white")):
            how = {"facecolor": face, "edgecolor": "black", "linewidth": FINE, "gid": f"bar_{n + 1}"}
            self.ax.add_patch(Rectangle((EDGE + n * long / 2, y), long / 2, 2.4, **how))
        stands = "" if scale == 1 else f" and stands for {many * scale} {unit} of tube"
        self.text(EDGE, y - 3, f"Scale 1:{scale}. This bar is {many} {unit} long{stands}.")
        measure = "Measure the bar first. If it is off, print again at actual size, not fitted to the page."
        caution = "Caution: heat burns, fumes and dust harm. Wear gloves and glasses, let fresh air in."
        self.text(EDGE, y + 5.8, measure)
        self.text(EDGE, y + 10.2, caution)
        left, right = EDGE + long + 6, self.wide - EDGE
        middle = 0.55 * left + 0.45 * right
        for word, a, b in (("date", left, middle - 2), ("name", middle, right)):
            self.text(a, y + 1.2, word)
            self.ax.plot([a + 10, b], [y + 2.8] * 2, color="black", linewidth=FINE)
        return self

    def show(self, picture: Picture, shift: Any = (0.0, 0.0)) -> "Sheet":
        """Put a picture into the room, or what of it the room holds from `shift` on. [mm]"""
        (wide, high), move = self.room, (EDGE - shift[0], self.top - shift[1])
        paths, faces, edges, weights = zip(*picture.shapes, strict=True)
        at = Affine2D().translate(*move) + self.ax.transData
        how = {"facecolors": faces, "edgecolors": edges, "linewidths": weights, "capstyle": "butt", "transform": at}
        laid = PathCollection(paths, **how)
        self.ax.add_collection(laid, autolim=False)
        laid.set_clip_path(Rectangle((EDGE, self.top), wide, high, transform=self.ax.transData))
        for x, y, words, bold in picture.words:
            if 0 < x - shift[0] < wide and 0 < y - shift[1] < high:
                self.text(x + move[0], y + move[1], words, ha="center", weight="bold" if bold else "normal")
        return self


Make = Callable[[str, list[str]], Sheet]

# -------------------------------------------------------------------------------------------------- bent, laid flat


def flattened(path: TubePath) -> np.ndarray:
    """
    Return the points of a run laid flat, (n, 3), all of height 0. [m]

    A run that lies in one plane keeps its shape. Of another, legs and bends stay true and rotations are lost: each is
    turned to the nearer of none and half a turn, or, if the tube then lies on itself, so that it does not if that goes.
    """
    made, ways = path.lra, []
    cos = np.cos(made.rotations)
    for turned in (cos < -1e-9, cos < 1e-9, np.ones(len(cos), dtype=bool)):
        flat = made._replace(rotations=np.where(turned, np.pi, 0.0))
        ways.append(bending.xyz(flat, path.radius, np.zeros(3), [0, 1.0, 0], [0, 0, -1.0]))
        line, along = sight.fine(replace(path, points=ways[-1]))
        apart = np.abs(along[:, None] - along) > math.pi * float(path.radius) + path.outside
        if np.all(np.abs(cos) > 0.999) or not np.any(apart & (cdist(line, line) < path.outside)):
            return ways[-1]
    return ways[0]


class Grid(NamedTuple):
    """A flat run on sheets: how it is seen, steps from sheet to sheet [mm], columns and rows, sheets (row, column)."""

    eye: Eye
    step: np.ndarray
    counts: np.ndarray
    cells: list[tuple[int, int]]

    @property
    def size(self) -> np.ndarray:
        """Width and height of all sheets, joined. [mm]"""
        return self.counts * self.step + OVERLAP

    def joins(self) -> Iterator[tuple[str, int, int, int, np.ndarray]]:
        """Yield where two sheets meet: letter, sheet before, sheet behind, axis across it, its ends (2, 2) [mm]."""
        letters = iter(ascii_uppercase)
        for (row, column), axis in product(self.cells, (0, 1)):
            if (behind := (row + axis, column + 1 - axis)) in self.cells:
                cell = np.array([column, row])
                low = cell * self.step + np.where(cell > 0, OVERLAP / 2, 0.0)
                high = (cell + 1) * self.step + np.where(cell + 1 < self.counts, OVERLAP / 2, OVERLAP)
                low[axis] = high[axis]
                numbers = (self.cells.index(at) + 1 for at in ((row, column), behind))
                yield next(letters), *numbers, axis, np.array([low, high])


def _grid(flat: TubePath, room: np.ndarray, scale: int) -> Grid:
    """Return a flat run at a scale on as few sheets as it takes, upright or level if that costs none more."""
    best, least, step = None, (math.inf,), room - OVERLAP
    for angle in (0, 90, *range(5, 90, 5), *range(95, 180, 5)):
        eye = Eye(sight.frame((angle, 90.0)).tobytes(), 1e3 / scale, 0.0, 0.0)
        line = eye.place(sight.fine(flat)[0])
        side = sight.sides(line, eye.scale * flat.outside / 2)[0]
        rim = np.concatenate([line + side, line - side])
        size = np.ptp(rim, axis=0)
        counts = np.maximum(np.ceil((size + 2 * PAD - OVERLAP) / step - 1e-9), 1).astype(int)
        shift = (counts * step + OVERLAP - size) / 2 - rim.min(axis=0)
        cells = np.clip(np.floor((rim + shift - OVERLAP / 2) / step), 0, counts - 1).astype(int)
        cells = [(int(row), int(column)) for row, column in np.unique(cells[:, ::-1], axis=0)]
        if (cost := (len(cells), int(counts.prod()))) < least:
            best, least = Grid(eye._replace(x=float(shift[0]), y=float(shift[1])), step, counts, cells), cost
    return best


def _places(path: TubePath) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the middles of straight parts and of bends, these a little outwards, and where one meets the other. [m]"""
    line, along = sight.fine(path)
    lengths = np.zeros(2 * path.bends + 1)
    lengths[::2], lengths[1::2] = path.straights, float(path.radius) * path.turns.angles
    ends = lengths.cumsum()
    at = lambda places: np.column_stack([np.interp(places, along, axis) for axis in line.T])  # noqa: E731
    middles = at(ends - lengths / 2)
    return middles[::2], 0.9 * middles[1::2] + 0.1 * path.points[1:-1], at(ends[:-1])


def _bent(picture: Picture, flat: TubePath, eye: Eye) -> None:
    """Draw a flat run, with a short line across it where each bend begins and ends."""
    line, along = sight.fine(flat)
    half = eye.scale * flat.outside / 2
    picture.tube(eye.place(line), eye.scale * RISE * along, half)
    ways = np.repeat(flat.turns.directions @ eye.axes[:2].T * (1, -1), 2, axis=0)[1:-1]
    sides = (half + 1.5) * np.column_stack([-ways[:, 1], ways[:, 0]])
    spots = eye.place(_places(flat)[2])
    picture.strokes(zip(spots - sides, spots + sides, strict=True))


def _named(picture: Picture, flat: TubePath, eye: Eye, system: str) -> None:
    """Name the ends, bends and straight parts of a flat run."""
    half, (straights, bends, _) = eye.scale * flat.outside / 2, _places(flat)
    for n, letter in ((0, "A"), (-1, "B")):
        words = _fitted(f"{letter}: {flat.ports[n].name}", 55, 3, bold=True)
        picture.label(words, eye.place(flat.points[n]), half, bold=True)
    for n, (at, angle) in enumerate(zip(bends, np.degrees(flat.turns.angles), strict=True), start=1):
        picture.label(f"bend {n}: {plain(angle)}°", eye.place(at), half)
    for at, long in zip(straights, flat.straights, strict=True):
        if long > bending.APART:
            picture.label(show(float(long), "length", system), eye.place(at), half)


def _mark_joins(picture: Picture, grid: Grid) -> None:
    """Draw where sheets meet: a line to cut along, on it two short lines with the letter on both sides."""
    for letter, _, _, axis, (low, high) in grid.joins():
        picture.strokes(sight.dashes(np.array([low, high]), 3, 2), FINE, QUIET)
        side, way = np.eye(2)[axis], np.eye(2)[1 - axis]
        spots = low + np.arange(12.0, np.ptp([low, high], axis=0).max() - 9, 3)[:, None] * way
        for some in (spots, spots[::-1]):
            free = (spot for spot in some if not picture.taken[picture.area(spot - 7, spot + 7)].any())
            if (spot := next(free, None)) is not None:
                picture.strokes([(spot - 6 * side, spot + 6 * side)])
                picture.block(spot - 7, spot + 7)
                for sign in (-1, 1):
                    picture.say(*(spot - 2.6 * way + 3.2 * sign * side), letter, bold=True)
    for *_, (low, high) in grid.joins():
        picture.block(low - OVERLAP / 2 - 1, high + OVERLAP / 2 + 1)
    for row, column in product(*map(range, grid.counts[::-1])):
        if (row, column) not in grid.cells:  # no sheet, no words
            picture.block((column, row) * grid.step, (column + 1, row + 1) * grid.step + OVERLAP)


def _tiles(flat: TubePath, make: Make, title: str, system: str) -> tuple[Grid, dict[str, Sheet]]:
    """Return a flat run at full size on sheets to be joined, none if they are too many."""
    rule = (
        "Cut along the dashed lines at the left and top, lay it on the sheets beside it, letter on letter, and tape it."
    )
    room = make(f"{title}, sheet 1 of {MOST_SHEETS}", [rule, "A"]).room
    grid, out = _grid(flat, room, 1), {}
    if (total := len(grid.cells)) > MOST_SHEETS:
        return grid, out
    picture = Picture(grid.size)
    _bent(picture, flat, grid.eye)
    _mark_joins(picture, grid)
    _named(picture, flat, grid.eye, system)
    for n, (row, column) in enumerate(grid.cells, start=1):
        beside = [(a, ("left", "above")[axis], letter) for letter, a, b, axis, _ in grid.joins() if b == n]
        beside += [(b, ("right", "below")[axis], letter) for letter, a, b, axis, _ in grid.joins() if a == n]
        said = "; ".join(f"sheet {other} {where}, {letter} on {letter}" for other, where, letter in beside)
        sheet = make(f"{title}, sheet {n} of {total}", [rule, *_fitted(f"Beside it: {said}.", room[0], 1)])
        out[f"flat {n} of {total}"] = sheet.show(picture, (column, row) * grid.step).foot(1)
    return grid, out


def _flat_sheets(path: TubePath, is_flat: bool, make: Make, system: str) -> dict[str, Sheet]:
    """Return the bent run flat: at full size on one sheet, or on some to be joined and smaller on one."""
    flat, title, tiles = replace(path, points=flattened(path)), f"{path.name}: bent, laid flat", {}
    hold = "Legs and bends are true, but the tube turns between them: at full size, lay one bend after the other on it."
    if is_flat:
        hold = (
            "At full size, lay the bent tube on it: it covers the grey. If it lies the other way round, turn it over."
        )
    words = [hold, "Lengths are those of the straight parts, from mark to mark."]
    sheet = make(title, words)
    grid = _grid(flat, sheet.room, 1)
    if len(grid.cells) > 1:
        grid, tiles = _tiles(flat, make, title, system)
        said = "is on {} sheets that follow; the boxes show which goes where" if tiles else "would take {} sheets"
        sheet = make(title, [*words, f"Full size {said.format(len(grid.cells))}."])
    picture, low, scale = Picture(sheet.room), np.zeros(2), 1
    if tiles:
        scale = next(scale for scale in SCALES if np.all(grid.size / scale <= sheet.room))
        low = (sheet.room - grid.size / scale) / 2
    elif len(grid.cells) > 1:
        smaller = (_grid(flat, sheet.room, scale) for scale in SCALES[1:])
        grid = next((found for found in smaller if len(found.cells) == 1), None)
        if grid is None:
            raise InputError(
                f"{path.name}, template", show(float(path.length), "length", system), "a run that fits in a case"
            )
    x, y = low + np.array([grid.eye.x, grid.eye.y]) / scale
    eye = Eye(grid.eye.frame, grid.eye.scale / scale, x, y)
    _bent(picture, flat, eye)
    for n, cell in enumerate(grid.cells if tiles else (), start=1):
        corner, size = low + np.array(cell[::-1]) * grid.step / scale, (grid.step + OVERLAP) / scale
        picture.put(sight.outline(corner + size * [(0, 0), (1, 0), (1, 1), (0, 1)]), "none", QUIET, FINE)
        for share in np.eye(2):  # words keep off its sides
            picture.block(corner - 0.5, corner + share * size + 0.5)
            picture.block(corner + size - share * size - 0.5, corner + size + 0.5)
        picture.label(f"sheet {n}", corner + (14, 8), 10.0, bold=True)
    _named(picture, flat, eye, system)
    return {"flat": sheet.show(picture).foot(round(1e3 / eye.scale))} | tiles


# --------------------------------------------------------------------------------------------------- in the machine


def _arranged(path: TubePath, room: np.ndarray) -> tuple[int, dict[str, Eye]]:
    """Return the scale of the three views, and for each title how it is seen; a turned one too if there is room."""
    line, half = sight.fine(path)[0], path.outside / 2
    low, high = line.min(axis=0) - half, line.max(axis=0) + half
    for scale in SCALES:
        across, deep, tall = (high - low) * 1e3 / scale
        needed = np.array([across + deep, deep + tall]) + (GAP + 2 * ASIDE, GAP + ABOVE + BELOW)
        if np.all(needed <= room):
            break
    # A turned view goes where it comes out largest: over the left side, or to the right of all three, or below them.
    axes, best, place = sight.frame(TURNED), None, 0
    edges = np.concatenate([line + sign * half * axis for axis in axes[:2] for sign in (1, -1)])
    least = LEAST_TURNED / np.ptp(edges @ axes[:2].T, axis=0).max()
    spots = [(0, ASIDE + deep + GAP / 2, 0, ABOVE + deep + GAP / 2)]
    spots += [(needed[0], room[0], 0, room[1]), (0, room[0], needed[1], room[1])]
    for n, (left, right, top, bottom) in enumerate(spots):
        inner = (left + ASIDE, right - ASIDE, top + ABOVE, bottom - BELOW)
        if inner[0] < inner[1] and inner[2] < inner[3]:
            eye = Eye.on(axes, edges, inner, 1e3 / scale)
            if eye.scale > (best.scale * 1.01 if best else least):
                best, place = eye, n
    shift = (room - needed) / 2 * (place == 0)
    x, y = shift + (ASIDE, ABOVE)
    front, lower = x + deep + GAP + across / 2, y + deep + GAP + tall / 2
    middles = {"front": (front, lower), "left": (x + deep / 2, lower), "top": (front, y + deep / 2)}
    eyes = {}
    for view, spot in middles.items():
        eye = Eye(sight.frame(view).tobytes(), 1e3 / scale, 0.0, 0.0)
        x, y = spot - eye.place((low + high) / 2)
        eyes["From above" if view == "top" else f"From the {view}"] = eye._replace(x=float(x), y=float(y))
    if best:
        eyes["Turned, not to scale"] = best._replace(x=best.x + shift[0], y=best.y + shift[1])
    return scale, eyes


def _axes(picture: Picture, eye: Eye, at: np.ndarray) -> None:
    """Draw from a place on which way is right, rear and up."""
    for word, way in zip(("right", "rear", "up"), eye.axes[:2].T * (1, -1), strict=True):
        if (size := np.hypot(*way)) > 0.2:
            tip, ahead = at + 8 * way, way / size
            back, aside = tip - 2.4 * ahead, 0.8 * np.array([-ahead[1], ahead[0]])
            picture.strokes([(at, tip)])
            picture.put(sight.outline([tip, back + aside, back - aside]), "black")
            picture.say(*(tip + ahead * (_wide(word) / 2 + 1, LINE / 2)), word)
    picture.block(at - (18, 13), at + (18, 4))


def _view_sheet(path: TubePath, work: bench_work.BenchWork, make: Make, system: str) -> Sheet:
    """Return the run as it lies in the machine: three views to scale, in line with each other, and one turned."""
    ends = f"A: {path.ports[0].name}. B: {path.ports[1].name}."
    lengths = " Lengths go to the corners of the middle line." if path.bends else ""
    sheet = make(f"{path.name}: in the machine", [ends + lengths, work.up])
    scale, eyes = _arranged(path, sheet.room)
    picture, line, bends = Picture(sheet.room), sight.fine(path)[0], _places(path)[1]
    for title, eye in eyes.items():
        flat, half, wide = eye.place(line), eye.scale * path.outside / 2, _wide(title, bold=True)
        picture.tube(flat, eye.scale * line @ eye.axes[2], half)
        low, high = flat.min(axis=0) - half, flat.max(axis=0) + half
        middle = np.array([np.clip(low[0], 1, sheet.room[0] - wide - 1) + wide / 2, low[1] - 5])
        picture.say(*middle, title, bold=True)
        picture.block(middle - (wide / 2 + 2, LINE / 2), middle + (wide / 2 + 2, LINE / 2))
        _axes(picture, eye, np.array([low[0] + 6, high[1] + 14]))
    for eye, n in product(eyes.values(), (0, -1)):
        picture.label("AB"[n], eye.place(path.points[n]), eye.scale * path.outside / 2, bold=True)
    three, turned, ahead = [*eyes.values()][:3], [*eyes.values()][3:], path.turns.directions
    for k, angle in enumerate(np.degrees(path.turns.angles)):
        # A bend is seen best from above its plane, a leg from its side.
        seen = [abs(round(float(eye.axes[2] @ np.cross(ahead[k], ahead[k + 1])), 6)) for eye in three]
        best = three[int(np.argmax(seen))]
        for eye, words in ((best, f"bend {k + 1}: {plain(angle)}°"), *((eye, f"bend {k + 1}") for eye in turned)):
            picture.label(words, eye.place(bends[k]), eye.scale * path.outside / 2)
    for k, leg in enumerate(path.turns.legs):
        best = min(three, key=lambda eye: abs(round(float(eye.axes[2] @ ahead[k]), 6)))
        at = best.place((path.points[k] + path.points[k + 1]) / 2)
        picture.label(show(float(leg), "length", system), at, best.scale * path.outside / 2)
    return sheet.show(picture).foot(scale)


# ----------------------------------------------------------------------------------------------- straight, with marks


class Mark(NamedTuple):
    """A place along the straight tube [mm], its words, above or under it, and the weight of its line, 0 for none."""

    at: float
    words: list[str]
    above: bool = False
    weight: float = HEAVY


def _marks(path: TubePath, work: bench_work.BenchWork, system: str) -> list[Mark]:
    """Return all that is marked on the straight tube, what is above it first."""
    text, marks = partial(DISPLAY[system]["length"].text, unit=False), {}
    steps = sorted(work.steps, key=lambda step: step.bend)
    for step in steps:
        words = [f"bend {step.bend}: {plain(math.degrees(step.angle))}°", f"middle {text(step.marks[1])}"]
        if step.bend_to > step.angle:
            words.insert(1, f"go to {plain(math.degrees(step.bend_to))}°")
        marks[step.bend] = Mark(1e3 * step.marks[1], words, True, 1.6)
    for at in (at for step in steps for at in step.marks[[0, 2]]):
        marks[text(at)] = Mark(1e3 * at, [text(at)])
    for end, sign, depth in zip((0.0, work.finished), (1, -1), path.insertion - path.play, strict=True):
        if depth > 0:
            words = ["in fitting", f"{'to' if sign > 0 else 'from'} {text(end + sign * depth)}"]
            marks[text(end + sign * depth)] = Mark(1e3 * (end + sign * depth), words)
    for a, b, turn in zip(steps, steps[1:], path.lra.rotations[1:], strict=False):
        words = [f"turned {plain(math.degrees(abs(turn)))}°", "clockwise" if turn > 0 else "anticlockwise"]
        if math.pi - abs(turn) < bench_work.FLAT:
            words = ["turned", "half round"]
        words = words if abs(turn) > bench_work.FLAT else ["not turned"]
        at = max(500 * (a.marks[2] + b.marks[0]), 1e3 * b.marks[0] - 7)  # in the row of the later bend
        marks[a.bend, b.bend] = Mark(at, words, False, 0.0)
    return [*marks.values()]


def _rows(length: float, wide: float, marks: list[Mark], zones: list, step: float) -> list[tuple[float, float]]:
    """Return from where to where each row of the straight tube goes, at heated zones whole if that goes. [mm]"""
    starts, held = [0.0], np.array([mark.at for mark in marks] or [math.inf])
    while length - starts[-1] > wide:
        spots = step * np.arange(math.floor((starts[-1] + wide) / step + 1e-9), starts[-1] / step + 1, -1.0)
        spots = [spot for spot in spots if length - spot >= 4 * LINE] or spots
        hot = lambda at: any(low - 8 < at < high + 8 for low, _, high in zones)  # noqa: E731
        starts.append(float(min(spots, key=lambda at: (hot(at), np.abs(at - held).min() < 5, -at))))
    rows = [*zip(starts, [*starts[1:], length], strict=True)]
    # Where there is nothing to mark for a whole row, there is nothing to print.
    middle = [row for row in rows[1:-1] if np.any((row[0] <= held) & (held <= row[1]))]
    return [*rows[:1], *middle, *rows[-1:]] if len(rows) > 1 else rows


def _strip(
    picture: Picture, path: TubePath, work: bench_work.BenchWork, rows: list, marks: list, system: str
) -> Picture:
    """Draw rows of the straight tube, each (from, to, where the next one drawn begins). [mm]"""
    length, spare, outside = 1e3 * work.finished, 1e3 * work.squaring, 1e3 * path.outside
    text = lambda mm: DISPLAY[system]["length"].text(mm / 1e3, unit=False)  # noqa: E731
    high = picture.taken.shape[0]
    pitch = min(high / len(rows), OVER + UNDER + outside + 14)
    corners = [np.array([spare, OVER + pitch * n]) for n in range(len(rows))]
    for (x, y), (start, stop, _) in zip(corners, rows, strict=True):
        right, bottom = x + stop - start, y + outside
        picture.strokes([[(x, y), (right, y)], [(x, bottom), (right, bottom)]], HEAVY)
        picture.block((x - 2, y - 2.5), (right + 2, bottom + 2.5))
        for step in work.steps:
            low, up = x + np.clip(1e3 * step.marks[[0, 2]], start, stop) - start
            at = np.arange(low - outside, up, 2.0)
            ends = [np.maximum(at, low), np.minimum(at + outside, up)]
            picture.strokes(np.moveaxis([[end, y + end - at] for end in ends], 2, 0), FINE, QUIET)
    for (x, y), (start, stop, after) in zip(corners, rows, strict=True):
        right, bottom = x + stop - start, y + outside
        for letter, at, whole, sign, port in (("A", x, start == 0, -1, 0), ("B", right, stop == length, 1, 1)):
            side = np.array([(at, y), (at, bottom)])
            picture.strokes([side] if whole else sight.dashes(side, 1.5, 1.5), HEAVY)
            if whole:
                ring = np.array([(at, y), (at + sign * spare, y), (at + sign * spare, bottom), (at, bottom)])
                picture.strokes(sight.dashes(ring, 1, 1) if spare else [], FINE)
                picture.label(_fitted(f"{letter}: {path.ports[port].name}", 60, 3, bold=True), side[0], 2.0, bold=True)
        if start > 0:
            picture.label(f"from {text(start)}", (x, bottom), 2.0)
        if stop < length:
            words = [f"goes on at {text(stop)}"] if after == stop else ["nothing to mark", f"until {text(after)}"]
            picture.label(words, (right, bottom), 2.0)
    for mark, ((x, y), (start, stop, _)) in product(marks, zip(corners, rows, strict=True)):
        if start <= mark.at < stop or mark.at == stop == length:
            place = x + mark.at - start
            if mark.weight:
                picture.strokes([[(place, y - 2), (place, y + outside + 2)]], mark.weight)
                picture.label(mark.words, (place, y if mark.above else y + outside), 2.0)
            else:  # to a stretch, not to a place
                picture.label(mark.words, (place, y + outside / 2), outside / 2 + 1)
    return picture


def _straight_sheets(path: TubePath, work: bench_work.BenchWork, make: Make, system: str) -> dict[str, Sheet]:
    """Return the straight tube at full size in rows, with every mark, on as many sheets as it takes."""
    mm, title, length = (
        partial(show, kind="length", system=system),
        f"{path.name}: straight, with its marks",
        1e3 * work.finished,
    )
    file = f" File its ends square: {mm(work.squaring)} comes off each, as dashed, and {mm(work.finished)} is left."
    held = " and ".join(f"{mm(long)} at {end}" for long, end in zip(work.held, "AB", strict=True) if long)
    held = f": {held} is to hold it by, and comes off once it is bent and cold" if held else ""
    words = [f"Saw {mm(work.blank)} of tube{held}.{file if work.squaring else ''}"]
    words.append(f"Marks count in {'millimetres' if system == 'metric' else 'inches'} from the squared end A.")
    if path.bends:
        words[1] += " Hatched: heat here." if work.practice["method"] == "hot" else " Hatched: what the bend takes."
    if path.bends > 1:
        words[1] += f" Bend in the order {', '.join(map(str, work.order))}."
        words.append("Turned: how the plane of the next bend lies to that of the one before, looking from A to B.")
    marks = _marks(path, work, system)
    room, zones = make(f"{title}, sheet 1 of 9", words).room, [1e3 * step.marks for step in work.steps]
    rows = _rows(length, room[0] - 2e3 * work.squaring, marks, zones, BREAKS[system])
    rows = [(*row, after) for row, (after, _) in zip(rows, [*rows[1:], (length, length)], strict=True)]
    most = max(int(room[1] / (OVER + UNDER + 1e3 * path.outside)), 1)
    total, out = math.ceil(len(rows) / most), {}
    for n in range(total):
        of, key = (f", sheet {n + 1} of {total}", f" {n + 1} of {total}") if total > 1 else ("", "")
        sheet, some = make(title + of, words), rows[n * most : (n + 1) * most]
        out[f"straight{key}"] = sheet.show(_strip(Picture(sheet.room), path, work, some, marks, system)).foot(1)
    return out


# ---------------------------------------------------------------------------------------------------------- sheets


@contextmanager
def _look() -> Iterator[None]:
    """Draw as the rest of the workbook does, to the full precision of a file and the same each time."""
    with style.look(), mpl.rc_context({"path.simplify": False, "svg.hashsalt": "templates", "svg.fonttype": "path"}):
        yield


def sheets(
    path: TubePath,
    system: str = "metric",
    paper: str = "A4",
    squaring: float = 0.001,
    title: str = "",
    stretch: float | None = None,
    over_bend: float | None = None,
) -> dict[str, Figure]:
    """
    Return the sheets of one run, upright, by what is on them.

    Parameters
    ----------
    path : TubePath
        A laid run of one design.
    system : str
        "metric" or "us" units.
    paper : str
        One of `PAPERS`.
    squaring : float
        Left at each end to square it. [m]
    title : str
        Of the plan it belongs to.
    stretch, over_bend : float, optional
        What a practice bend told; see `bench_work.work`.

    Returns
    -------
    sheets : dict of Figure
        "flat": the bent run laid flat, at full size if it fits; if not smaller, and at full size on "flat 1 of 2" and
        so on, if eight sheets are enough. "in space": its views. "straight", or "straight 1 of 2" and so on: the
        straight tube with its marks, at full size. A run without bends has no flat one.

    Raises
    ------
    InputError
        If the paper or the system is not known, `bench_work.work` refuses the run, or it is longer than a case.
    """
    one_of("paper", paper, PAPERS)
    one_of("system", system, DISPLAY)
    work, about = bench_work.work(path, squaring, stretch, over_bend), path.tube.name
    about += f", bend radius {show(float(path.radius), 'length', system)}" if path.bends else ""
    make = partial(Sheet, paper, system, f"{title}: {about}" if title else about)
    with _look():
        made = _flat_sheets(path, work.flat, make, system) if path.bends else {}
        made["in space"] = _view_sheet(path, work, make, system)
        made |= _straight_sheets(path, work, make, system)
    return {name: sheet.figure for name, sheet in made.items()}


def _file_name(words: str, used: Iterable[str] = ()) -> str:
    """Return words as a file name that is not used yet."""
    stem = re.sub(r"[^a-z0-9]+", "_", words.lower()).strip("_")[:60] or "run"
    return next(name for n in count(1) if (name := f"{stem}_{n}" if n > 1 else stem) not in used)


def write_templates(plan: Plan, folder: Path | None = None, system: str = "metric", paper: str = "A4") -> list[Path]:
    """
    Write the templates of every laid run: one PDF of all sheets, and each sheet as SVG.

    Parameters
    ----------
    plan : Plan
        One design.
    folder : Path, optional
        By default "templates" in the folder of the user's own files, under the plan's title.
    system, paper : str
        As in `sheets`.

    Returns
    -------
    files : list of Path
        The PDF first. Equal plans give equal bytes.

    Raises
    ------
    InputError
        If no run is laid, the folder cannot be written to, or `sheets` refuses a run; then nothing is written.
    """
    if not plan.paths:
        raise InputError("templates", "no run laid in space", "a plan with routes", "Lay a run first.")
    folder = files.own_folder() / "templates" / _file_name(plan.title) if folder is None else Path(folder)
    whole, contents, used = io.BytesIO(), {}, []
    with _look(), PdfPages(whole, metadata={"Title": f"Tube templates: {plan.title}", "CreationDate": None}) as pdf:
        for name, path in plan.paths.items():
            used.append(_file_name(name, used))
            told = (float(plan.squaring), plan.title, plan.stretch, plan.over_bend)
            for what, figure in sheets(path, system, paper, *told).items():
                one = io.StringIO()
                figure.savefig(one, format="svg", metadata={"Date": None})
                contents[f"{used[-1]}-{what.replace(' ', '_')}.svg"] = one.getvalue()
                pdf.savefig(figure)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        every = {"all_runs.pdf": whole.getvalue()} | contents
        return [files.write_whole(folder / name, content) for name, content in every.items()]
    except OSError as fault:
        said = f"The system says: {fault}."
        raise InputError("templates", str(folder), "a folder that can be written to", said) from None
