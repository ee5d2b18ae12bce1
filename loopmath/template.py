"""
Printed templates of laid runs: the bent shape, its views in the machine, and the straight tube with its marks.

A sheet is drawn in millimetres of paper, so that a ruler on the print reads what the figures say; a bar on every sheet
proves it. A `Picture` lays shapes out and finds room for words, a `Sheet` puts one, or its part of one, on paper.
"""

import io
import math
import re
from collections.abc import Iterable, Iterator
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
#: What is drawn so many times smaller than it is; full size may take so many sheets, which share strips so wide. [mm]
SCALES, MOST_SHEETS, OVERLAP = (1, 2, 3, 4, 5, 10, 20, 50, 100), 8, 10.0
#: Left free at the edges of the paper; height of the foot; kept round a shape, and between a tube and words. [mm]
EDGE, FOOT, PAD, CLEAR = 12.0, 24.0, 10.0, 2.0
#: The bar is so long on paper, whatever the scale [mm]; in its unit; the unit.
BARS = {"metric": (100.0, 100, "mm"), "us": (101.6, 4, "in")}
#: Height of a line of words, of the title [mm]; pixels of the font's measures to a millimetre.
LINE, TITLE, PER_MM = 4.2, 6.4, style.DOTS / 25.4
#: Rows of the straight tube end at multiples of this [mm], where a mark on the tube is easily made.
BREAKS = {"metric": 10.0, "us": 12.7}
#: Flat, a tube rises by this share of its length, so that where it lies over itself the later leg is on top.
RISE = 0.3
#: Between views; round them at the left and right, above for a title, below for axes. [mm]
GAP, ASIDE, ABOVE, BELOW = 30.0, 12.0, 8.0, 18.0
#: A turned view smaller than this is left out. [mm]
LEAST_TURNED = 25.0
#: A row of the straight tube: words over the tube, and under it. [mm]
OVER, UNDER = 20.0, 16.0
#: Greys that a plain printer keeps apart, and weights of lines. [pt]
FILL, QUIET, HEAVY, FINE = "#E6E6E6", "#555555", 0.8, 0.5


def _fitted(words: str, wide: float, most: int, **how: Any) -> list[str]:
    """Break words into lines no wider than this [mm]; signs that cannot be printed become spaces."""
    printable = "".join(sign if sign.isprintable() else " " for sign in words)
    return style.fitted(printable, wide * PER_MM, most, **how)


def _wide(line: str, bold: bool = False) -> float:
    return style.measured(line, bold=bold)[0] / PER_MM


# --------------------------------------------------------------------------------------------- laying out a picture


class Picture:
    """A drawing in millimetres of paper, y down: shapes in the order they are painted, words, and what is taken."""

    def __init__(self, size: Iterable[float]) -> None:
        wide, high = size
        self.shapes: list[tuple[Shape, str, str, float]] = []
        self.words: list[tuple[float, float, str, bool]] = []
        self.taken = np.zeros((int(high), int(wide)), dtype=bool)

    def put(self, shape: Shape, face: str = "none", edge: str = "black", weight: float = HEAVY) -> None:
        """Paint a shape on what is there."""
        self.shapes.append((shape, face, edge, 0.0 if edge == "none" else weight))

    def strokes(self, lines: Iterable[Any], weight: float = FINE, colour: str = "black") -> None:
        """Paint lines."""
        self.put(sight.strokes(lines), "none", colour, weight)

    def box(self, left: float, top: float, right: float, bottom: float, *how: Any) -> None:
        """Paint a rectangle."""
        self.put(sight.outline([(left, top), (right, top), (right, bottom), (left, bottom)]), *how)

    def say(self, x: float, y: float, words: str, bold: bool = False) -> None:
        """Write words with their middle here."""
        self.words.append((x, y, words, bold))

    def _cells(self, left: float, top: float, right: float, bottom: float) -> np.ndarray:
        rows, columns = (
            slice(max(int(top), 0), max(math.ceil(bottom), 0)),
            slice(max(int(left), 0), max(math.ceil(right), 0)),
        )
        return self.taken[rows, columns]

    def block(self, *sides: float) -> None:
        """Keep words out of a rectangle: left, top, right, bottom."""
        self._cells(*sides)[...] = True

    def is_free(self, *sides: float) -> bool:
        """Return whether a rectangle is free."""
        return not self._cells(*sides).any()

    def block_along(self, points: np.ndarray, half: float) -> None:
        """Keep words out of a band along points."""
        free = np.ones(self.taken.shape, dtype=bool)
        x, y = np.floor(points).astype(int).T
        inside = (x >= 0) & (y >= 0) & (x < free.shape[1]) & (y < free.shape[0])
        free[y[inside], x[inside]] = False
        if inside.any():
            self.taken |= distance_transform_edt(free) <= half + 0.5

    def nearest(self, at: Any, wide: int, high: int) -> tuple[int, int]:
        """Return left and top of the free rectangle that is nearest to a point, or covers least."""
        sums = np.pad(self.taken.cumsum(axis=0).cumsum(axis=1), ((1, 0), (1, 0)))
        covered = sums[high:, wide:] - sums[:-high, wide:] - sums[high:, :-wide] + sums[:-high, :-wide]
        x, y = np.arange(covered.shape[1]) + wide / 2 - at[0], np.arange(covered.shape[0])[:, None] + high / 2 - at[1]
        away = np.hypot(np.maximum(np.abs(x) - wide / 2, 0.0), np.maximum(np.abs(y) - high / 2, 0.0))
        top, left = np.unravel_index(np.argmin(away + 0.05 * np.hypot(x, y) + 1e4 * covered), covered.shape)
        return int(left), int(top)

    def label(self, words: str | list[str], at: Any, reach: float = 0.0, bold: bool = False) -> None:
        """Put words at the nearest free place to a disc, with a line to it if that is far."""
        lines, at = [words] if isinstance(words, str) else words, np.asarray(at, dtype=float)
        size = np.array([max(_wide(line, bold) for line in lines) + 1.5, LINE * len(lines)])
        size = np.ceil(size).astype(int)
        low = np.array(self.nearest(at, *size))
        self.block(*low, *(low + size))
        self.say(*(low + size / 2), "\n".join(lines), bold)
        near = np.clip(at, low, low + size)
        away = float(np.hypot(*(near - at)))
        if away > reach + 2.5 * CLEAR:
            end = at + (near - at) * reach / away
            self.strokes([[near, end]], FINE, QUIET)
            self.block_along(near + np.linspace(0, 1, int(away) + 2)[:, None] * (end - near), 0.5)

    def tube(self, flat: np.ndarray, depth: np.ndarray, half: float) -> None:
        """
        Paint a tube from far to near, in pieces so short that where it crosses itself the nearer leg is on top.

        Its centre line (n, 2), how near the eye each point is (n,), and half its width. [mm]
        """
        end, begin, sharp = sight.sides(flat, half)
        inside, pieces, last = 1 - HEAVY * 25.4 / 144 / half, [], len(flat) - 1  # faces end where outlines begin
        lots = np.floor(np.cumsum(np.abs(np.diff(depth))) / (0.6 * half))
        cuts = np.flatnonzero((np.diff(lots) != 0) | sharp[1:-1]) + 1
        for a, b in zip([0, *cuts], [*cuts, last], strict=True):
            at_eye = np.hypot(*(flat[b] - flat[a])) < 0.15 * abs(depth[b] - depth[a])
            rounds = [k for k in (a, b) if sharp[k] or (at_eye and k == b)]
            # A face goes on for one step at both ends, so that no line is seen between two pieces.
            i, j = a - (a > 0 and not sharp[a]), b + (b < last and not sharp[b])
            off, line = inside * np.vstack([begin[i:j], end[j : j + 1]]), flat[i : j + 1]
            face = sight.outline(np.concatenate([line + off, (line - off)[::-1]]))
            off, line = np.vstack([begin[a:b], end[b : b + 1]]), flat[a : b + 1]
            rims = [line + off, line - off, *((flat[k] + s[k], flat[k] - s[k]) for k, s in ((0, begin), (last, end)) if k in (a, b))]
            found = [(Shape.circle(flat[k], half), FILL, "black", HEAVY) for k in rounds]
            found += [(face, FILL, "none", 0.0), (sight.strokes(rims), "none", "black", HEAVY)]
            found += [(Shape.circle(flat[k], inside * half), FILL, "none", 0.0) for k in rounds]
            pieces += [(float(depth[a : b + 1].mean()), len(pieces), shape) for shape in found]
        dash = min(4.0, 1.2 * half)
        for ends in sight.dashes(np.column_stack([flat, depth]), dash, dash / 2):
            shape = sight.strokes([ends[:, :2]])
            pieces.append((float(ends[:, 2].max()) + 0.7 * half, len(pieces), (shape, "none", QUIET, FINE)))
        for *_, shape in sorted(pieces, key=lambda piece: piece[:2]):
            self.put(*shape)
        self.block_along(flat, half + CLEAR)


class Sheet:
    """One sheet of paper: head, foot, and between them room for a picture."""

    def __init__(self, paper: str, system: str, about: str, title: str, words: Iterable[str]) -> None:
        self.wide, self.high = PAPERS[paper]
        self.system = system
        self.figure = Figure(figsize=(self.wide / 25.4, self.high / 25.4))
        self.ax = self.figure.add_axes((0, 0, 1, 1))
        self.ax.set(xlim=(0, self.wide), ylim=(self.high, 0))
        self.ax.set_axis_off()
        y, broad = EDGE, self.wide - 2 * EDGE
        for line in _fitted(title, broad, 2, size=13, bold=True):
            self.text(EDGE, y + TITLE / 2, line, fontsize=13, weight="bold")
            y += TITLE
        for line in (line for said in (about, *words) for line in _fitted(said, broad, 4)):
            self.text(EDGE, y + LINE / 2, line)
            y += LINE
        self.top = y + 3

    @property
    def room(self) -> np.ndarray:
        """Width and height of what is free between head and foot. [mm]"""
        return np.array([self.wide - 2 * EDGE, self.high - EDGE - FOOT - self.top])

    def text(self, x: float, y: float, words: str, **how: Any) -> None:
        """Write words at a place of the paper. [mm]"""
        plain = {"fontsize": style.SMALL, "color": "black", "va": "center", "linespacing": 1.1}
        self.ax.text(x, y, words, **(plain | how))

    def foot(self, scale: int) -> "Sheet":
        """Draw the bar that proves the scale, what to heed, and lines to sign on."""
        (long, many, unit), y = BARS[self.system], self.high - EDGE - 13
        for n, face in enumerate(("black", "white")):
            how = {"facecolor": face, "edgecolor": "black", "linewidth": FINE, "gid": f"bar_{n + 1}"}
            self.ax.add_patch(Rectangle((EDGE + n * long / 2, y), long / 2, 2.4, **how))
        stands = "" if scale == 1 else f" and stands for {many * scale} {unit} of tube"
        self.text(EDGE, y - 3, f"Scale 1:{scale}. This bar is {many} {unit} long{stands}.")
        self.text(
            EDGE, y + 5.8, "Measure the bar first. If it is off, print again at actual size, not fitted to the page."
        )
        self.text(
            EDGE, y + 10.2, "Caution: heat burns, fumes and dust harm. Wear gloves and glasses, let fresh air in."
        )
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


# -------------------------------------------------------------------------------------------------- bent, laid flat


def flattened(path: TubePath) -> np.ndarray:
    """
    Return the points of a run laid flat, (n, 3), all of height 0. [m]

    A run that lies in one plane keeps its shape. Of another, legs and bends stay true and rotations are lost: each is
    turned to the nearer of none and half a turn, or if the tube then lies on itself, so that it does not, if that goes.
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
        cells = sorted({(int(row), int(column)) for column, row in cells})
        if (cost := (len(cells), int(counts.prod()))) < least:
            best, least = Grid(eye._replace(x=float(shift[0]), y=float(shift[1])), step, counts, cells), cost
    return best


def _straight_ends(path: TubePath) -> tuple[np.ndarray, np.ndarray]:
    """Return where each straight part of a run begins and ends. [m]"""
    first, last = bending.tangents(path.points, float(path.radius))
    return np.vstack([path.points[:1], last]), np.vstack([first, path.points[-1:]])


def _apex(path: TubePath, bend: int) -> np.ndarray:
    """Return a place in the middle of a bend, a little outside of its centre line. [m]"""
    begins, ends = _straight_ends(path)
    corner, chord = path.points[bend + 1], (ends[bend] + begins[bend + 1]) / 2
    out = corner - chord
    far, radius = float(np.linalg.norm(out)), float(path.radius)
    sag = radius * (1 - math.cos(path.turns.angles[bend] / 2))
    return chord + out / far * (sag + 0.15 * path.outside)


def _bent(picture: Picture, flat: TubePath, eye: Eye) -> None:
    """Draw a flat run, with a short line across it where each bend begins and ends."""
    line, along = sight.fine(flat)
    half = eye.scale * flat.outside / 2
    picture.tube(eye.place(line), eye.scale * RISE * along, half)
    begins, ends = (eye.place(spots) for spots in _straight_ends(flat))
    ways = flat.turns.directions @ eye.axes[:2].T * (1, -1)
    sides = (half + 1.5) * np.column_stack([-ways[:, 1], ways[:, 0]])
    spots = [*zip(begins[1:], sides[1:], strict=True), *zip(ends[:-1], sides[:-1], strict=True)]
    picture.strokes([(at - side, at + side) for at, side in spots])


def _named(picture: Picture, flat: TubePath, eye: Eye, system: str) -> Picture:
    """Name the ends, bends and straight parts of a flat run."""
    half = eye.scale * flat.outside / 2
    for n, letter in ((0, "A"), (-1, "B")):
        words = _fitted(f"{letter}: {flat.ports[n].name}", 55, 3, bold=True)
        picture.label(words, eye.place(flat.points[n]), half, bold=True)
    for k, angle in enumerate(np.degrees(flat.turns.angles)):
        picture.label(f"bend {k + 1}: {plain(angle)}°", eye.place(_apex(flat, k)), half)
    for long, a, b in zip(flat.straights, *_straight_ends(flat), strict=True):
        if long > bending.APART:
            picture.label(show(float(long), "length", system), eye.place((a + b) / 2), half)
    return picture


def _mark_joins(picture: Picture, grid: Grid) -> None:
    """Draw where sheets meet: a line to cut along, on it two short lines with the letter on both sides."""
    for letter, _, _, axis, (low, high) in grid.joins():
        picture.strokes(sight.dashes(np.array([low, high]), 3, 2), FINE, QUIET)
        side, way = np.eye(2)[axis], np.eye(2)[1 - axis]
        along = np.arange(12.0, np.ptp([low, high], axis=0).max() - 9, 3)
        for places in (along, along[::-1]):
            spots = low + places[:, None] * way
            spot = next((s for s in spots if picture.is_free(*(s - 7), *(s + 7))), spots[0])
            picture.strokes([(spot - 6 * side, spot + 6 * side)])
            for sign in (-1, 1):
                picture.say(*(spot - 2.6 * way + 3.2 * sign * side), letter, bold=True)
    for *_, (low, high) in grid.joins():
        picture.block(*(low - OVERLAP / 2 - 1), *(high + OVERLAP / 2 + 1))
    for row, column in product(*map(range, grid.counts[::-1])):
        if (row, column) not in grid.cells:  # no sheet, no words
            low = np.array([column, row]) * grid.step
            picture.block(*low, *(low + grid.step + OVERLAP))


def _mark_sheets(picture: Picture, grid: Grid, scale: int, low: np.ndarray) -> None:
    """Draw in a picture of the whole, from `low` on, which sheet goes where."""
    wide, high = (grid.step + OVERLAP) / scale
    for n, (row, column) in enumerate(grid.cells, start=1):
        left, top = low + np.array([column, row]) * grid.step / scale
        picture.box(left, top, left + wide, top + high, "none", QUIET, FINE)
        places = product(np.arange(top + 2, top + high - 6, 2), np.arange(left + 2, left + wide - 18, 2))
        y, x = next(((y, x) for y, x in places if picture.is_free(x, y, x + 17, y + 5)), (top + 2, left + 2))
        picture.say(x + 8, y + 2.5, f"sheet {n}", bold=True)
        picture.block(x, y, x + 17, y + 5)


def _tiles(flat: TubePath, make: Any, title: str, system: str) -> tuple[Grid, dict[str, Sheet]]:
    """Return a flat run at full size on sheets to be joined, none if they are too many."""
    rule = "Cut along the dashed lines at the left and the top, lay the sheet on its neighbours, letter on letter, and tape it."
    room = make(f"{title}, sheet 1 of {MOST_SHEETS}", [rule, "A"]).room
    grid, out = _grid(flat, room, 1), {}
    if (total := len(grid.cells)) > MOST_SHEETS:
        return grid, out
    picture = Picture(grid.size)
    _bent(picture, flat, grid.eye)
    _mark_joins(picture, grid)
    _named(picture, flat, grid.eye, system)
    for n, (row, column) in enumerate(grid.cells, start=1):
        sides = [
            (a, b, letter, ("right", "below")[axis], ("left", "above")[axis]) for letter, a, b, axis, _ in grid.joins()
        ]
        beside = [f"sheet {b} {after} ({letter})" for a, b, letter, after, _ in sides if a == n]
        beside = [f"sheet {a} {before} ({letter})" for a, b, letter, _, before in sides if b == n] + beside
        words = style.fitted(f"Its neighbours: {', '.join(beside)}.", room[0] * PER_MM, 1)
        sheet = make(f"{title}, sheet {n} of {total}", [rule, *words])
        out[f"flat {n} of {total}"] = sheet.show(picture, np.array([column, row]) * grid.step).foot(1)
    return grid, out


def _flat_sheets(path: TubePath, is_flat: bool, make: Any, paper: str, system: str) -> dict[str, Sheet]:
    """Return the bent run flat: at full size on one sheet or on sheets to be joined, and then smaller on one."""
    flat, title = replace(path, points=flattened(path)), f"{path.name}: bent, laid flat"
    hold = "Lay the bent tube on it: it covers the grey. Turned over, it is its mirror and fits as well."
    if not is_flat:
        hold = "Legs and bends are true, but the tube turns between them: lay one bend after the other on it."
    words, tiles = [hold, "Lengths are those of the straight parts, from mark to mark."], {}
    sheet = make(title, words)
    grid = _grid(flat, sheet.room, 1)
    if len(grid.cells) > 1:
        grid, tiles = _tiles(flat, make, title, system)
        said = "it is on the {} sheets that follow, which go as the boxes show" if tiles else "it would take {} sheets"
        sheet = make(title, [*words, f"At full size {said.format(len(grid.cells))}."])
        if not tiles:
            smaller = (_grid(flat, sheet.room, scale) for scale in SCALES[1:])
            grid = next((found for found in smaller if len(found.cells) == 1), None)
            if grid is None:
                long, least = f"{1e3 * np.ptp(flat.points, axis=0).max():.0f} mm", f"1:{SCALES[-1]}"
                accepted = f"a shape that fits on {paper} at {least}"
                raise InputError(f"{path.name}, template", long, accepted, "Take larger paper.")
    picture, eye = Picture(sheet.room), grid.eye
    if tiles:
        scale = next(scale for scale in SCALES if np.all(grid.size / scale <= sheet.room))
        low = (sheet.room - grid.size / scale) / 2
        eye = Eye(eye.frame, eye.scale / scale, *(low + np.array([eye.x, eye.y]) / scale))
    _bent(picture, flat, eye)
    if tiles:
        _mark_sheets(picture, grid, scale, low)
    _named(picture, flat, eye, system)
    return {"flat": sheet.show(picture).foot(round(1e3 / eye.scale))} | tiles


# --------------------------------------------------------------------------------------------------- in the machine


def _axes(picture: Picture, eye: Eye, near: Any) -> None:
    """Draw near a place which way is right, rear and up."""
    ways = [(word, eye.axes[:2, k] * (1, -1)) for k, word in enumerate(("right", "rear", "up"))]
    ways = [(word, way, 8.0 * way) for word, way in ways if np.hypot(*way) > 0.2]
    spots = [tip + way / np.hypot(*way) * (_wide(word) / 2 + 1, LINE / 2) for word, way, tip in ways]
    half = [np.array([_wide(word) / 2 + 0.5, LINE / 2]) for word, *_ in ways]
    low = np.min([(0, 0), *(s - h for s, h in zip(spots, half, strict=True))], axis=0)
    size = np.ceil(np.max([(0, 0), *(s + h for s, h in zip(spots, half, strict=True))], axis=0) - low).astype(int)
    corner = np.array(picture.nearest(near, *size))
    picture.block(*corner, *(corner + size))
    at = corner - low
    for (word, way, tip), spot in zip(ways, spots, strict=True):
        ahead = way / np.hypot(*way)
        aside = 0.8 * np.array([-ahead[1], ahead[0]])
        picture.strokes([(at, at + tip)])
        picture.put(sight.outline([at + tip, at + tip - 2.4 * ahead + aside, at + tip - 2.4 * ahead - aside]), "black")
        picture.say(*(at + spot), word)


def _arranged(path: TubePath, room: np.ndarray) -> tuple[int, dict[str, Eye]]:
    """Return the scale of the three views, and for each title how it is seen; a turned one too if there is room."""
    line = sight.fine(path)[0]
    low, high = line.min(axis=0) - path.outside / 2, line.max(axis=0) + path.outside / 2
    for scale in SCALES:
        across, deep, tall = (high - low) * 1e3 / scale
        needed = np.array([across + deep, deep + tall]) + (GAP + 2 * ASIDE, GAP + ABOVE + BELOW)
        if np.all(needed <= room):
            break
    else:
        long, accepted = f"{1e3 * max(high - low):.0f} mm", f"a run whose views fit on the paper at 1:{SCALES[-1]}"
        raise InputError(f"{path.name}, template", long, accepted, "Take larger paper.")
    # A turned view goes where it comes out largest: over the left side, or to the right of all three, or below them.
    axes, found = sight.frame((30.0, 25.0)), []
    edges = np.concatenate([line + sign * path.outside / 2 * axis for axis in axes[:2] for sign in (1, -1)])
    size = np.ptp(edges @ axes[:2].T, axis=0)
    spots = [(0, ASIDE + deep + GAP / 2, 0, ABOVE + deep + GAP / 2)]
    spots += [(needed[0], room[0], 0, room[1]), (0, room[0], needed[1], room[1])]
    for n, (left, right, top, bottom) in enumerate(spots):
        inner = (left + ASIDE, right - ASIDE, top + ABOVE, bottom - BELOW)
        if inner[0] < inner[1] and inner[2] < inner[3]:
            eye = Eye.on(axes, edges, inner, 1e3 / scale)
            if eye.scale * size.max() >= LEAST_TURNED:
                found.append((eye.scale, -n, eye))
    best = max(found, default=None)
    shift = np.zeros(2) if best and best[1] else (room - needed) / 2
    x, y = shift + (ASIDE, ABOVE)
    middles = {
        "From the front": ("front", (x + deep + GAP + across / 2, y + deep + GAP + tall / 2)),
        "From the left": ("left", (x + deep / 2, y + deep + GAP + tall / 2)),
        "From above": ("top", (x + deep + GAP + across / 2, y + deep / 2)),
    }
    eyes = {}
    for title, (view, spot) in middles.items():
        at = Eye(sight.frame(view).tobytes(), 1e3 / scale, 0.0, 0.0)
        eyes[title] = at._replace(**dict(zip("xy", (spot - at.place((low + high) / 2)).tolist(), strict=True)))
    if best:
        eye = best[2]
        eyes["Turned, not to scale"] = eye._replace(x=eye.x + shift[0], y=eye.y + shift[1])
    return scale, eyes


def _view_sheet(path: TubePath, work: bench_work.BenchWork, make: Any, system: str) -> Sheet:
    """Return the run as it lies in the machine: three views to scale, in line with each other, and one turned."""
    ends = f"A: {path.ports[0].name}. B: {path.ports[1].name}."
    words = "Lengths go to the corners of the middle line." if path.bends else ""
    sheet = make(f"{path.name}: in the machine", [f"{ends} {words}", work.up])
    scale, eyes = _arranged(path, sheet.room)
    picture, line = Picture(sheet.room), sight.fine(path)[0]
    flats = {title: eye.place(line) for title, eye in eyes.items()}
    for title, eye in eyes.items():
        picture.tube(flats[title], eye.scale * line @ eye.axes[2], eye.scale * path.outside / 2)
    for title, eye in eyes.items():
        half = eye.scale * path.outside / 2
        (left, top), bottom = flats[title].min(axis=0) - half, flats[title][:, 1].max() + half
        x, y = max(left + _wide(title, True) / 2, _wide(title, True) / 2 + 1), top - 5.0
        picture.say(x, y, title, bold=True)
        picture.block(x - _wide(title, True) / 2, y - LINE / 2, x + _wide(title, True) / 2 + 1, y + LINE / 2)
    for title, eye in eyes.items():
        half = eye.scale * path.outside / 2
        for n, letter in ((0, "A"), (-1, "B")):
            picture.label(letter, eye.place(path.points[n]), half, bold=True)
        (left, _), bottom = flats[title].min(axis=0) - half, flats[title][:, 1].max() + half
        _axes(picture, eye, (left - 4, bottom + 6))
    three, turned, unit = [*eyes.values()][:3], [*eyes.values()][3:], DISPLAY[system]["length"]
    ahead = path.turns.directions
    for k, angle in enumerate(np.degrees(path.turns.angles)):
        # A bend is seen best with the eye across its plane, a leg across its length.
        seen = np.abs([eye.axes[2] @ np.cross(ahead[k], ahead[k + 1]) for eye in three]).round(6)
        for eye, words in ((three[int(np.argmax(seen))], f": {plain(angle)}°"), *((eye, "") for eye in turned)):
            picture.label(f"bend {k + 1}{words}", eye.place(_apex(path, k)), eye.scale * path.outside / 2)
    for k, leg in enumerate(path.turns.legs):
        eye = three[int(np.argmin(np.abs([eye.axes[2] @ ahead[k] for eye in three]).round(6)))]
        at = eye.place((path.points[k] + path.points[k + 1]) / 2)
        picture.label(unit.text(float(leg)), at, eye.scale * path.outside / 2)
    return sheet.show(picture).foot(scale)


# ----------------------------------------------------------------------------------------------- straight, with marks


class Mark(NamedTuple):
    """A place along the straight tube [mm], its words, above or under it, and the weight of its line, 0 for none."""

    at: float
    words: list[str]
    above: bool = False
    weight: float = 0.8


def _breaks(length: float, wide: float, zones: list, step: float) -> list[float]:
    """Return where rows of a straight tube begin, so that none breaks a heated zone if that can be helped. [mm]"""
    starts = [0.0]
    while length - starts[-1] > wide:
        last = math.floor((starts[-1] + wide) / step + 1e-9)
        spots = step * np.arange(last, starts[-1] / step + 1, -1.0)
        left = [spot for spot in spots if length - spot >= 4 * LINE] or list(spots)
        clear = [spot for spot in left if all(not low - 8 < spot < high + 8 for low, _, high in zones)]
        starts.append(float((clear or left)[0]))
    return starts


def _turned(rotation: float) -> list[str]:
    """Return in words how the plane of a bend is turned from that of the one before."""
    if abs(rotation) < bench_work.FLAT:
        return ["not turned"]
    if math.pi - abs(rotation) < bench_work.FLAT:
        return ["turned", "half round"]
    return [f"turned {plain(math.degrees(abs(rotation)))}°", "clockwise" if rotation > 0 else "anticlockwise"]


def _marks(path: TubePath, work: bench_work.BenchWork, system: str) -> list[Mark]:
    """Return all that is marked on the straight tube."""
    unit, marks = DISPLAY[system]["length"], {}
    text = partial(unit.text, unit=False)
    steps = sorted(work.steps, key=lambda step: step.bend)
    for step in steps:
        bend = f"bend {step.bend}: {plain(math.degrees(step.angle))}°"
        bend += f", go to {plain(math.degrees(step.bend_to))}°" * (step.bend_to > step.angle)
        marks[step.bend] = Mark(1e3 * step.marks[1], [bend, f"middle {text(step.marks[1])}"], True, 1.6)
        for at in step.marks[[0, 2]]:
            marks[text(at)] = Mark(1e3 * at, [text(at)])
    ends = zip((0.0, work.finished), (1, -1), path.insertion, path.play, strict=True)
    for end, sign, depth, play in ends:
        if (deep := max(float(depth - play), 0.0)) > 0:
            at = end + sign * deep
            marks.setdefault(text(at), Mark(1e3 * at, ["in fitting", f"{'to' if sign > 0 else 'from'} {text(at)}"]))
    turns = zip(steps, steps[1:], path.lra.rotations[1:], strict=False)
    return [*marks.values(), *(Mark(500 * (a.marks[1] + b.marks[1]), _turned(r), False, 0.0) for a, b, r in turns)]


def _row(picture: Picture, at: tuple[float, float], span: tuple[float, float], length: float, outside: float) -> None:
    """Draw a stretch of the straight tube from a place on, its ends dashed where it goes on in another row. [mm]"""
    (x, y), (start, stop) = at, span
    right, bottom = x + stop - start, y + outside
    picture.strokes([[(x, y), (right, y)], [(x, bottom), (right, bottom)]], HEAVY)
    for place, whole in ((x, start == 0.0), (right, stop == length)):
        line = np.array([(place, y), (place, bottom)])
        picture.strokes([line] if whole else sight.dashes(line, 1.5, 1.5), HEAVY)
    picture.block(x - 2, y - 2.5, right + 2, bottom + 2.5)


def _strip(
    path: TubePath, work: bench_work.BenchWork, marks: list[Mark], starts: list, room: Any, system: str
) -> Picture:
    """Draw some rows of the straight tube: where each starts, and last where the next sheet goes on. [mm]"""
    length, spare, outside = 1e3 * work.finished, 1e3 * work.squaring, 1e3 * path.outside
    unit, picture = DISPLAY[system]["length"], Picture(room)
    text = lambda mm: unit.text(mm / 1e3, unit=False)  # noqa: E731
    spans = [*zip(starts, starts[1:], strict=False)]
    pitch = min(room[1] / len(spans), OVER + UNDER + outside + 14)
    places = [(spare, OVER + pitch * n) for n in range(len(spans))]
    for (x, y), (start, stop) in zip(places, spans, strict=True):
        _row(picture, (x, y), (start, stop), length, outside)
        hatch = []
        for step in work.steps:
            low, high = x + np.clip(1e3 * step.marks[[0, 2]], start, stop) - start
            at = np.arange(low - outside, high, 2.0)
            first, last = np.maximum(at, low), np.minimum(at + outside, high)
            hatch += [[(a, y + a - o), (b, y + b - o)] for a, b, o in zip(first, last, at, strict=True) if b > a]
        picture.strokes(hatch, FINE, QUIET)
        for end, at, side in (("A", start, 0.0), ("B", stop, length)):
            if at == side:
                edge = x + at - start
                outer = edge + (spare if at else -spare)
                ring = np.array([(edge, y), (outer, y), (outer, y + outside), (edge, y + outside)])
                picture.strokes(sight.dashes(ring, 1, 1), FINE)
                name = path.ports[0 if end == "A" else 1].name
                picture.label(_fitted(f"{end}: {name}", 60, 3, bold=True), (edge, y), 2.0, bold=True)
            else:
                words = f"{'goes on at' if end == 'B' else 'from'} {text(at)}"
                picture.label(words, (x + at - start, y + outside), 2.0)
    for above in (True, False):
        for mark in sorted(mark for mark in marks if mark.above == above):
            for (x, y), (start, stop) in zip(places, spans, strict=True):
                if start <= mark.at < stop or mark.at == stop == length:
                    place = x + mark.at - start
                    if mark.weight:
                        picture.strokes([[(place, y - 2), (place, y + outside + 2)]], mark.weight)
                    picture.label(mark.words, (place, y if above else y + outside), 2.0)
    return picture


def _straight_sheets(path: TubePath, work: bench_work.BenchWork, make: Any, system: str) -> dict[str, Sheet]:
    """Return the straight tube at full size in rows, with every mark, on as many sheets as it takes."""
    mm, label = partial(show, kind="length", system=system), DISPLAY[system]["length"].label
    words = [
        f"Saw {mm(work.cut)} and square the ends: {mm(work.squaring)} comes off each, dashed, {mm(work.finished)} is left."
    ]
    words[0] += f" Marks are in {label} from the squared end A."
    if path.bends:
        heat = "Hatched: heat here." if work.practice["method"] == "hot" else "Hatched: what the bend takes."
        turned = "Turned: how the next bend lies, seen from A to B." * (path.bends > 1)
        words.append(f"{heat} Bend in the order {', '.join(map(str, work.order))}. {turned}")
    zones, length, title = (
        [1e3 * step.marks for step in work.steps],
        1e3 * work.finished,
        f"{path.name}: straight, with its marks",
    )
    room = make(f"{title}, sheet 1 of 1", words).room
    starts = _breaks(length, room[0] - 2e3 * work.squaring, zones, BREAKS[system])
    rows = max(int(room[1] / (OVER + UNDER + 1e3 * path.outside)), 1)
    total, marks, out = math.ceil(len(starts) / rows), _marks(path, work, system), {}
    for n in range(total):
        some = [*starts, length][n * rows : (n + 1) * rows + 1]
        of, key = (f", sheet {n + 1} of {total}", f" {n + 1} of {total}") if total > 1 else ("", "")
        sheet = make(title + of, words)
        out[f"straight{key}"] = sheet.show(_strip(path, work, marks, some, sheet.room, system)).foot(1)
    return out


# ---------------------------------------------------------------------------------------------------------- sheets


@contextmanager
def _look() -> Iterator[None]:
    """Draw as the rest of the workbook, to the full precision of a file and the same each time."""
    with style.look(), mpl.rc_context({"path.simplify": False, "svg.hashsalt": "templates", "svg.fonttype": "path"}):
        yield


def sheets(
    path: TubePath, system: str = "metric", paper: str = "A4", squaring: float = 0.001, title: str = ""
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

    Returns
    -------
    sheets : dict of Figure
        "flat": the bent run laid flat, at full size if it fits; else smaller, and at full size on "flat 1 of 2" and so
        on, if eight sheets are enough. "in space": its views. "straight", or "straight 1 of 2" and so on: the straight
        tube with its marks at full size. A run without bends has no flat one.

    Raises
    ------
    InputError
        If the paper or the system is not known, the run is too large for the paper at the smallest scale, or
        `bench_work.work` refuses it.
    """
    one_of("paper", paper, PAPERS)
    one_of("system", system, DISPLAY)
    work = bench_work.work(path, squaring)
    about = (
        f"{path.tube.name}, bend radius {show(float(path.radius), 'length', system)}" if path.bends else path.tube.name
    )
    make = partial(Sheet, paper, system, f"{title}: {about}" if title else about)
    with _look():
        made = _flat_sheets(path, work.flat, make, paper, system) if path.bends else {}
        made["in space"] = _view_sheet(path, work, make, system)
        made |= _straight_sheets(path, work, make, system)
    return {name: sheet.figure for name, sheet in made.items()}


def _file_name(words: str, used: set[str]) -> str:
    """Return words as a file name that no other has."""
    stem = re.sub(r"[^a-z0-9]+", "_", words.lower()).strip("_")[:60] or "run"
    name = next(name for n in count(1) if (name := f"{stem}_{n}" if n > 1 else stem) not in used)
    used.add(name)
    return name


def write_templates(plan: Plan, folder: Path | None = None, system: str = "metric", paper: str = "A4") -> list[Path]:
    """
    Write the templates of every laid run: one PDF of all sheets, and each sheet as SVG.

    Parameters
    ----------
    plan : Plan
        One design.
    folder : Path, optional
        By default "templates" in the folder of the user's own files, under the plan's title.
    system : str
        "metric" or "us" units.
    paper : str
        One of `PAPERS`.

    Returns
    -------
    files : list of Path
        The PDF first. Equal plans give equal bytes.

    Raises
    ------
    InputError
        If no run is laid, a run is too large for the paper, or the folder cannot be written to.
    """
    if not plan.paths:
        raise InputError("templates", "no run laid in space", "a plan with routes", "Lay a run first.")
    folder = files.own_folder() / "templates" / _file_name(plan.title, set()) if folder is None else Path(folder)
    whole, contents, used = io.BytesIO(), {}, set()
    with _look(), PdfPages(whole, metadata={"Title": f"Tube templates: {plan.title}", "CreationDate": None}) as pdf:
        for name, path in plan.paths.items():
            run = _file_name(name, used)
            for what, figure in sheets(path, system, paper, float(plan.squaring), plan.title).items():
                one = io.StringIO()
                figure.savefig(one, format="svg", metadata={"Date": None})
                contents[f"{run}-{what.replace(' ', '_')}.svg"] = one.getvalue()
                pdf.savefig(figure)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        every = {"all_runs.pdf": whole.getvalue()} | contents
        return [files.write_whole(folder / name, content) for name, content in every.items()]
    except OSError as fault:
        said = f"The system says: {fault}."
        raise InputError("templates", str(folder), "a folder that can be written to", said) from None
