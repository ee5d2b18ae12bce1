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
from typing import Any, NamedTuple

import matplotlib as mpl
import numpy as np
from matplotlib import path as shapes
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.collections import PathCollection
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.transforms import Affine2D
from scipy.ndimage import distance_transform_edt

from loopmath import bench_work, files, sight, style
from loopmath.bench_figures import plain
from loopmath.checks import InputError, one_of
from loopmath.laws import bending
from loopmath.plan import Plan
from loopmath.routes import TubePath
from loopmath.units import DISPLAY, show

#: Paper, upright: width and height. [mm]
PAPERS = {"A4": (210.0, 297.0), "A3": (297.0, 420.0), "letter": (215.9, 279.4), "tabloid": (279.4, 431.8)}
#: What is drawn so many times smaller than it is; full size may take so many sheets, which share a strip this wide. [mm]
SCALES, MOST_SHEETS, OVERLAP = (1, 2, 5, 10, 20), 8, 10.0
#: Left free at the edges of the paper, taken by the foot; kept round a shape, between a tube and words. [mm]
EDGE, FOOT, PAD, CLEAR = 12.0, 24.0, 10.0, 2.0
#: The bar is so long on paper, whatever the scale [mm]; its unit and how many of them.
BARS = {"metric": (100.0, "mm", 100), "us": (101.6, "in", 4)}
#: Height of a line of words, and of the title [mm]; pixels of the font's measures in one millimetre.
LINE, TITLE, PER_MM = 4.2, 6.4, style.DOTS / 25.4
#: The straight tube is cut into rows at multiples of this [mm]: where a mark on the tube is easily made.
BREAKS = {"metric": 10.0, "us": 12.7}
#: Flat, a tube that comes to lie over itself rises by this share of its length, so that later legs cover earlier ones.
RISE = 0.3
#: Three sides arranged as a drawing office does, from above over the front, the left side to its left; one turned.
FRONT, LEFT, TOP, TURNED = "front", "left", "top", (30.0, 25.0)
GREY, QUIET, OUTLINE, FINE = "#E6E6E6", "#555555", 0.8, 0.5


def _fitted(words: str, wide: float, most: int, **how: Any) -> list[str]:
    """Break words into lines no wider than this [mm]; what no printer knows becomes a space."""
    printable = "".join(sign if sign.isprintable() else " " for sign in words)
    return style.fitted(printable, wide * PER_MM, most, **how)


# --------------------------------------------------------------------------------------------- laying out a picture


class Picture:
    """A drawing in millimetres of paper, y down: shapes in the order they are painted, words, and what is taken."""

    def __init__(self, wide: float, high: float) -> None:
        self.size = np.array([wide, high])
        self.shapes: list[tuple[shapes.Path, str, str, float]] = []
        self.words: list[tuple[float, float, str, bool]] = []
        self.taken = np.zeros((int(high), int(wide)), dtype=bool)

    def put(self, shape: shapes.Path, face: str = "none", edge: str = "black", weight: float = OUTLINE) -> None:
        """Paint a shape on what is there."""
        self.shapes.append((shape, face, edge, 0.0 if edge == "none" else weight))

    def strokes(self, lines: Iterable[Any], weight: float = FINE, colour: str = "black") -> None:
        """Paint lines."""
        self.put(sight.strokes(lines), edge=colour, weight=weight)

    def box(self, left: float, top: float, right: float, bottom: float, *how: Any) -> None:
        """Paint a rectangle."""
        self.put(sight.outline([(left, top), (right, top), (right, bottom), (left, bottom)]), *how)

    def block(self, left: float, top: float, right: float, bottom: float) -> None:
        """Keep words out of a rectangle."""
        left, top = max(math.floor(left), 0), max(math.floor(top), 0)
        self.taken[top : max(math.ceil(bottom), 0), left : max(math.ceil(right), 0)] = True

    def block_along(self, points: np.ndarray, half: float) -> None:
        """Keep words out of a band along some points."""
        open_ = np.ones(self.taken.shape, dtype=bool)
        x, y = np.floor(points).astype(int).T
        inside = (x >= 0) & (y >= 0) & (x < open_.shape[1]) & (y < open_.shape[0])
        open_[y[inside], x[inside]] = False
        if inside.any():
            self.taken |= distance_transform_edt(open_) <= half + 0.5

    def label(self, words: str | list[str], spots: Any, bold: bool = False) -> None:
        """Put words at the nearest free place to one of some spots (k, 2), with a line to it if that is far."""
        lines, spots = [words] if isinstance(words, str) else words, np.atleast_2d(spots)
        wide = math.ceil(max(style.measured(line, bold=bold)[0] for line in lines) / PER_MM + 1.5)
        high = math.ceil(LINE * len(lines))
        top, left, off = self._nearest(spots, wide, high)
        self.block(left, top, left + wide, top + high)
        self.words.append((left + wide / 2, top + high / 2, "\n".join(lines), bold))
        spot = spots[np.argmin(off)]
        if off.min() > 2.5 * CLEAR:
            near = np.clip(spot, (left, top), (left + wide, top + high))
            self.strokes([[near, spot]], FINE, QUIET)
            self.block_along(near + np.linspace(0, 1, 60)[:, None] * (spot - near), 0.5)

    def _nearest(self, spots: np.ndarray, wide: int, high: int) -> tuple[int, int, np.ndarray]:
        """Return top and left of the free rectangle nearest to a spot, and how far it is from each."""
        sums = np.pad(self.taken.cumsum(axis=0).cumsum(axis=1), ((1, 0), (1, 0)))
        covered = sums[high:, wide:] - sums[:-high, wide:] - sums[high:, :-wide] + sums[:-high, :-wide]
        tops, lefts = np.arange(covered.shape[0])[:, None], np.arange(covered.shape[1])
        away = [np.hypot(_outside(lefts - x, wide), _outside(tops - y, high)) for x, y in spots]
        aside = [np.hypot(lefts + wide / 2 - x, tops + high / 2 - y) for x, y in spots]
        cost = np.min([a + 0.05 * b for a, b in zip(away, aside, strict=True)], axis=0) + 1e4 * covered
        top, left = np.unravel_index(np.argmin(cost), cost.shape)
        return int(top), int(left), np.array([a[top, left] for a in away])

    def tube(self, flat: np.ndarray, depth: np.ndarray, half: float) -> None:
        """
        Paint a tube from far to near, in pieces so short that where it crosses itself the right leg is on top.

        Its centre line (n, 2), how near the eye each point is (n,), half its width. [mm]
        """
        end, begin, sharp = sight.sides(flat, 1.0)
        rim, heavy, pieces = flat.copy(), OUTLINE * 25.4 / 72, []
        rim[0] -= heavy * begin[0, ::-1] * (1, -1)  # an outline round the ends as well
        rim[-1] += heavy * end[-1, ::-1] * (1, -1)
        lots = np.floor(np.cumsum(np.abs(np.diff(depth))) / (0.6 * half))
        cuts = np.flatnonzero((np.diff(lots) != 0) | sharp[1:-1]) + 1
        last = len(flat) - 1
        for a, b in zip([0, *cuts], [*cuts, last], strict=True):
            at_eye = np.hypot(*(flat[b] - flat[a])) < 0.15 * abs(depth[b] - depth[a])
            rounds = [k for k in (a, b) if sharp[k] or (at_eye and k == b)]
            # One step more at both ends, so that no line is seen between two pieces.
            more = a - (a > 0 and not sharp[a]), b + (b < last and not sharp[b])
            for of, reach, (i, j), face in ((rim, half + heavy, (a, b), "black"), (flat, half, more, GREY)):
                off = reach * np.vstack([begin[i:j], end[j : j + 1]])
                band = sight.outline(np.concatenate([of[i : j + 1] + off, (of[i : j + 1] - off)[::-1]]))
                found = [*(sight.disc(*flat[k], reach) for k in rounds), band]
                pieces += [(float(depth[a : b + 1].mean()), len(pieces), (shape, face, "none")) for shape in found]
        dash = min(4.0, 1.2 * half)
        for ends in sight.dashes(np.column_stack([flat, depth]), dash, dash / 2):
            dashed = (sight.strokes([ends[:, :2]]), "none", QUIET, FINE)
            pieces.append((float(ends[:, 2].max()) + 0.7 * half, len(pieces), dashed))
        for *_, shape in sorted(pieces, key=lambda piece: piece[:2]):
            self.put(*shape)
        self.block_along(flat, half + CLEAR)


def _outside(low: np.ndarray, long: float) -> np.ndarray:
    """Return how far nought lies outside of stretches of a length from `low`."""
    return np.maximum(np.maximum(low, -long - low), 0.0)


class Sheet:
    """One sheet of paper: head, foot, and between them room for a picture."""

    def __init__(self, paper: str, system: str, title: str, words: Iterable[str], cells: Any = (), number: int = 0) -> None:
        self.wide, self.high = PAPERS[paper]
        self.system, broad = system, self.wide - 2 * EDGE
        self.figure = Figure(figsize=(self.wide / 25.4, self.high / 25.4))
        self.ax = self.figure.add_axes((0, 0, 1, 1))
        self.ax.set(xlim=(0, self.wide), ylim=(self.high, 0))
        self.ax.set_axis_off()
        y = EDGE
        for line in _fitted(title, broad, 2, size=13, bold=True):
            self.text(EDGE, y + TITLE / 2, line, size=13, weight="bold")
            y += TITLE
        low = self._map(y + 1, cells, number)
        broad -= 6 * (max((column for _, column in cells), default=-2) + 2)
        for line in (line for said in words for line in _fitted(said, broad, 4)):
            self.text(EDGE, y + LINE / 2, line)
            y += LINE
        self.top = max(y, low) + 3

    @property
    def room(self) -> np.ndarray:
        """Width and height of what is free between head and foot. [mm]"""
        return np.array([self.wide - 2 * EDGE, self.high - EDGE - FOOT - self.top])

    def text(self, x: float, y: float, words: str, size: float = style.SMALL, **how: Any) -> None:
        """Write words at a place of the paper. [mm]"""
        self.ax.text(x, y, words, **({"fontsize": size, "color": "black", "va": "center", "linespacing": 1.1} | how))

    def rectangle(self, left: float, top: float, wide: float, high: float, face: str, name: str = "") -> None:
        """Draw a rectangle at a place of the paper; the name is its own in an SVG. [mm]"""
        how = {"facecolor": face, "edgecolor": "black", "linewidth": FINE, "gid": name or None}
        self.ax.add_patch(Rectangle((left, top), wide, high, **how))

    def _map(self, top: float, cells: Any, number: int) -> float:
        """Draw which sheet goes where, this one black; return how far down that reaches."""
        columns = max((column for _, column in cells), default=0) + 1
        for n, (row, column) in enumerate(cells, start=1):
            left, high = self.wide - EDGE - 6 * (columns - column), top + 6 * row
            self.rectangle(left, high, 6, 6, "black" if n == number else "white")
            self.text(left + 3, high + 3, str(n), ha="center", color="white" if n == number else "black")
        return top + 6 * (max((row for row, _ in cells), default=-1) + 1)

    def foot(self, scale: int) -> "Sheet":
        """Draw the bar that proves the scale, what to heed, and where to sign."""
        (long, unit, many), y = BARS[self.system], self.high - EDGE - 12.5
        for n, face in enumerate(("black", "white")):
            self.rectangle(EDGE + n * long / 2, y, long / 2, 2.4, face, f"bar {n + 1}")
        stands = "" if scale == 1 else f" and stands for {many * scale} {unit} of tube"
        self.text(EDGE, y - 3, f"Scale 1:{scale}. This bar is {many} {unit} long{stands}.")
        self.text(EDGE, y + 5.6, "Measure the bar first. If it is off, print again at actual size, not fitted to the page.")
        self.text(EDGE, y + 9.8, "Caution: heat burns, fumes and dust harm. Wear gloves and glasses, let fresh air in.")
        left, right = EDGE + BARS["us"][0] + 6, self.wide - EDGE
        middle = (left + right) / 2
        for word, a, b in (("date", left, middle - 2), ("name", middle, right)):
            self.text(a, y + 1.2, word)
            self.ax.plot([a + 10, b], [y + 2.6] * 2, color="black", linewidth=FINE)
        return self

    def show(self, picture: Picture, shift: Any = (0.0, 0.0)) -> "Sheet":
        """Put a picture into the room, or the part of it from `shift` on that the room holds. [mm]"""
        (wide, high), move = self.room, (EDGE - shift[0], self.top - shift[1])
        paths, faces, edges, weights = zip(*picture.shapes, strict=True)
        at = Affine2D().translate(*move) + self.ax.transData
        how = {"facecolors": faces, "edgecolors": edges, "linewidths": weights, "capstyle": "butt", "transform": at}
        laid = PathCollection(paths, **how)
        self.ax.add_collection(laid, autolim=False)
        laid.set_clip_path(Rectangle((EDGE, self.top), wide, high, transform=self.ax.transData))
        for x, y, words, bold in picture.words:
            x, y = x + move[0], y + move[1]
            if 0 < x - EDGE < wide and 0 < y - self.top < high:
                self.text(x, y, words, ha="center", weight="bold" if bold else "normal")
        return self


# -------------------------------------------------------------------------------------------------- bent, laid flat


def flattened(path: TubePath) -> np.ndarray:
    """
    Return the points of a run laid flat, (n, 3): every rotation turned to the nearer of none and half a turn. [m]

    A run that lies in one plane keeps its shape; of another, legs and bends stay true and only the rotations are lost.
    """
    made = path.lra
    flat = made._replace(rotations=np.where(np.cos(made.rotations) >= -1e-9, 0.0, np.pi))
    return bending.xyz(flat, path.radius, np.zeros(3), [0, 1.0, 0], [0, 0, -1.0])


class Grid(NamedTuple):
    """How a flat run lies on sheets: seen so, in steps from sheet to sheet [mm], on these sheets (row, column)."""

    eye: sight.Eye
    step: np.ndarray
    size: np.ndarray
    cells: list[tuple[int, int]]

    def joins(self) -> Iterator[tuple[str, np.ndarray]]:
        """Yield for each two sheets side by side their letter, and the line where they meet, (2, 2). [mm]"""
        letters = map(chr, count(ord("A")))
        most = np.round((self.size - OVERLAP) / self.step).astype(int)
        for (row, column), across in product(self.cells, (0, 1)):
            if (row + across, column + 1 - across) in self.cells:
                cell = np.array([column, row])
                low = cell * self.step + np.where(cell > 0, OVERLAP / 2, 0.0)
                high = (cell + 1) * self.step + np.where(cell + 1 < most, OVERLAP / 2, OVERLAP)
                low[across] = high[across]
                yield next(letters), np.array([low, high])


def _grid(flat: TubePath, room: np.ndarray, scale: int) -> Grid:
    """Return a run at a scale on as few sheets as it takes, upright or level if that costs none more."""
    best, least = None, ()
    for angle in (0, 90, *range(5, 90, 5), *range(95, 180, 5)):
        eye = sight.Eye(sight.frame((angle, 90.0)).tobytes(), 1e3 / scale, 0.0, 0.0)
        line = eye.place(sight.fine(flat)[0])
        side = sight.sides(line, eye.scale * flat.outside / 2)[0]
        rim = np.concatenate([line + side, line - side])
        size = np.ptp(rim, axis=0) + 2 * PAD
        step = room - OVERLAP
        counts = np.maximum(np.ceil((size - OVERLAP) / step - 1e-9), 1).astype(int)
        whole = counts * step + OVERLAP
        shift = (whole - np.ptp(rim, axis=0)) / 2 - rim.min(axis=0)
        cells = np.clip(np.floor((rim + shift - OVERLAP / 2) / step), 0, counts - 1).astype(int)
        cells = sorted({(int(row), int(column)) for column, row in cells})
        if best is None or (len(cells), counts.prod()) < least:
            best, least = Grid(eye._replace(x=shift[0], y=shift[1]), step, whole, cells), (len(cells), counts.prod())
    return best


def _flat(picture: Picture, path: TubePath, flat: TubePath, eye: sight.Eye, system: str) -> Iterator[None]:
    """Draw the bent run flat, then, after what the caller has to draw on it, its words."""
    line, along = sight.fine(flat)
    half = eye.scale * path.outside / 2
    picture.tube(eye.place(line), eye.scale * RISE * along, half)
    first, last = (eye.place(t) for t in bending.tangents(flat.points, float(path.radius)))
    spots = eye.place(flat.points)
    ahead = np.diff(spots, axis=0) / np.linalg.norm(np.diff(spots, axis=0), axis=1)[:, None]
    aside = np.column_stack([-ahead[:, 1], ahead[:, 0]])
    ticks = [(at + s * (half + 1.5) * side for s in (-1, 1)) for at, side in zip(first, aside, strict=False)]
    ticks += [(at + s * (half + 1.5) * side for s in (-1, 1)) for at, side in zip(last, aside[1:], strict=False)]
    picture.strokes([list(tick) for tick in ticks])
    yield
    for n, way, sign in ((0, ahead[0], -1), (-1, ahead[-1], 1)):
        words = _fitted(f"{'AB'[n]}: {path.ports[n].name}", 55, 3, bold=True)
        picture.label(words, [spots[n] + sign * way, *(spots[n] + s * half * aside[n] for s in (-1, 1))], bold=True)
    for k in range(path.bends):
        out = ahead[k] - ahead[k + 1]
        out /= np.linalg.norm(out)
        back = float(np.linalg.norm(spots[k + 1] - first[k]))
        turn, radius = path.turns.angles[k], eye.scale * float(path.radius)
        apex = spots[k + 1] - out * (math.hypot(back, radius) - radius)
        picture.label(f"bend {k + 1}: {plain(math.degrees(turn))}°", [apex + s * half * out for s in (1, -1)])
    for straight, a, b, side in zip(flat.straights, [spots[0], *last], [*first, spots[-1]], aside, strict=True):
        if straight > 5e-5:
            places = [a + share * (b - a) for share in (0.5, 0.25, 0.75)]
            picture.label(show(float(straight), "length", system), [p + s * half * side for p in places for s in (1, -1)])
    yield


def _join_marks(picture: Picture, grid: Grid) -> None:
    """Draw where sheets meet: a line to cut along, and twice on it a short line with the letter on both sides."""
    for letter, (low, high) in grid.joins():
        picture.strokes(sight.dashes(np.array([low, high]), 3, 2), FINE, QUIET)
        way = (high - low) / np.linalg.norm(high - low)
        side = way[::-1]
        along = np.arange(9.0, np.linalg.norm(high - low) - 9, 3)
        for places in (along, along[::-1]):
            spots = low + places[:, None] * way
            taken = [_any(picture, spot - 7, spot + 7) for spot in spots]
            spot = spots[int(np.argmin(taken))]
            picture.strokes([[spot - 6 * side, spot + 6 * side]])
            letters = [(*(spot - 2.6 * way + s * 3.2 * side), letter, True) for s in (-1, 1)]
            picture.words += letters
        reach = OVERLAP / 2 + 1
        picture.block(*(np.minimum(low, high) - reach), *(np.maximum(low, high) + reach))
    for row, column in product(*(range(int(n)) for n in np.round((grid.size - OVERLAP) / grid.step)[::-1])):
        if (row, column) not in grid.cells:
            low = np.array([column, row]) * grid.step
            picture.block(*low, *(low + grid.step + OVERLAP))


def _any(picture: Picture, low: np.ndarray, high: np.ndarray) -> bool:
    (left, top), (right, bottom) = np.maximum(low, 0).astype(int), np.ceil(high).astype(int)
    return bool(picture.taken[top:bottom, left:right].any())


def _flat_sheets(path: TubePath, work: bench_work.BenchWork, make: Any, system: str, paper: str) -> dict[str, Sheet]:
    """Return the bent run flat: one sheet at full size if it fits, else sheets to be joined and one of all of it."""
    flat = replace(path, points=flattened(path))
    title = f"{path.name}: bent, laid flat"
    hold = "Lay the bent tube on it: it covers the grey. Turned over it is its mirror, and both fit."
    if not work.flat:
        hold = "Legs and bends are true. Between them it is turned, so lay one bend after the other on it; the views show how."
    words = [hold, "Lengths are of the straight parts, from mark to mark."]
    join = "Cut along the dashed lines at the left and at the top. Lay the sheet on its neighbour, so that lines and letters meet, and tape it."
    room = make(title, words).room
    whole = next((grid for scale in SCALES if len((grid := _grid(flat, room, scale)).cells) == 1), None)
    if whole is None:
        long = f"{1e3 * max(np.ptp(sight.fine(flat)[0], axis=0)):.0f} mm"
        raise InputError(f"{path.name}, template", long, f"a shape that fits on {paper} at 1:{SCALES[-1]}", "Take larger paper.")
    scale = round(1e3 / whole.eye.scale)
    tiles = None
    if scale > 1:
        tiles = _grid(flat, make(f"{title}, sheet 8 of 8", [join, words[0]], [(0, 0)] * 4).room, 1)
        ...
    return {}
