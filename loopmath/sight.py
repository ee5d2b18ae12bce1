"""How boxes and tubes look from one side: projection, what covers what, and their shapes on a page."""

from collections.abc import Iterable, Iterator
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
from matplotlib.path import Path

from loopmath import style
from loopmath.checks import one_of
from loopmath.laws import bending
from loopmath.routes import TubePath

#: A side of the case -> where the eye is: turned about the upright from the front towards the right side, and how far
#: above. [degrees]
VIEWS = {"front": (0.0, 0.0), "right": (90.0, 0.0), "rear": (180.0, 0.0), "left": (-90.0, 0.0), "top": (0.0, 90.0)}
#: A tube is drawn in pieces so long, of steps so long: what is nearer covers what is farther. [m]
PIECE, STEP = 0.04, 0.005
#: Height of a line of words, and what is kept free round the number of a run. [px]
LINE, DISC = 15.0, 8.0

# ------------------------------------------------------------------------------------------------- projection


def frame(view: Any) -> np.ndarray:
    """
    Return the axes of the screen in the frame of the case: to the right, up, towards the eye.

    Parameters
    ----------
    view : str or tuple of 2 floats
        One of `VIEWS`, or azimuth and elevation of the eye: 0, 0 before the front, 90, 0 before the right side, 0, 90
        above with the front at the bottom. [degrees]

    Returns
    -------
    axes : (3, 3) array
        A row for each; ``points @ axes.T`` are places on the screen and how near they are.

    Raises
    ------
    InputError
        If the view has no such name.

    Examples
    --------
    Seen from the left side the front is at the right: the rear runs to the left.

    >>> frame("left")[0].tolist()
    [0.0, -1.0, 0.0]
    """
    azimuth, elevation = np.radians(VIEWS[one_of("view", view, VIEWS)] if isinstance(view, str) else view)
    right = np.array([np.cos(azimuth), np.sin(azimuth), 0.0])
    away = np.array([-right[1], right[0], 0.0])
    nearer = np.array([0.0, 0.0, np.sin(elevation)]) - np.cos(elevation) * away
    return np.round([right, np.cross(nearer, right), nearer], 12) + 0.0


def hidden(points: np.ndarray, boxes: np.ndarray, towards: np.ndarray) -> np.ndarray:
    """
    Return which points lie in or behind a box.

    Parameters
    ----------
    points : (n, 3) array
        [m]
    boxes : (k, 2, 3) array
        Lowest and highest corners. [m]
    towards : (3,) array
        Unit direction to the eye.

    Returns
    -------
    hidden : (n,) array of bool
        A point on a face that looks at the eye is seen.
    """
    slope = np.where(np.abs(towards) < 1e-9, 1e-12, towards)
    ends = (boxes - points[:, None, None, :]) / slope
    enters, leaves = ends.min(axis=2).max(axis=-1), ends.max(axis=2).min(axis=-1)
    return np.any(leaves > np.maximum(enters, 0.0) + 1e-6, axis=1)


def far_to_near(boxes: np.ndarray, towards: np.ndarray) -> list[int]:
    """
    Return in which order boxes are painted, so that none is covered by one behind it; arguments as in `hidden`.

    Of two that a plane across an axis parts, the one on its far side never covers the other. Boxes that run into each
    other go by their middles.
    """
    signs = np.where(np.abs(towards) < 1e-9, 0.0, np.sign(towards))
    near, far = (boxes * signs).max(axis=1), (boxes * signs).min(axis=1)
    parted = (near[:, None] <= far[None] + 1e-9) & (signs != 0)
    covers = ~parted.any(axis=-1)  # [a, b]: a can cover b
    after = covers & ~covers.T
    left = [int(n) for n in np.argsort(boxes.mean(axis=1) @ towards, kind="stable")]
    out: list[int] = []
    while left:
        out.append(next((a for a in left if not after[a, left].any()), left[0]))
        left.remove(out[-1])
    return out


def sides(line: np.ndarray, half: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """
    Return how far the left side of a band lies off a line in the plane: where a step ends, where one begins, and where
    the line turns so sharply that these differ; elsewhere sides meet in a mitre.

    Parameters
    ----------
    line : (n, 2) array
        Points; more of them lie in one place where a tube runs at the eye.
    half : float
        Half the width of the band, in units of the line.
    """
    steps = np.diff(line, axis=0)
    size = np.hypot(*steps.T)
    seen = np.flatnonzero(size > 1e-6 * half)
    if not len(seen):
        return np.zeros_like(line), np.zeros_like(line), np.zeros(len(line), bool)
    normals = np.column_stack([-steps[seen, 1], steps[seen, 0]]) / size[seen, None]
    normals = normals[np.maximum(np.searchsorted(seen, np.arange(len(steps)), side="right") - 1, 0)]
    before, behind = np.vstack([normals[:1], normals]), np.vstack([normals, normals[-1:]])
    cos = np.sum(before * behind, axis=1)
    sharp, mitre = cos < 0.7, (before + behind) / np.maximum(1.0 + cos, 0.1)[:, None]
    return *(half * np.where(sharp[:, None], end, mitre) for end in (before, behind)), sharp


def dashes(line: np.ndarray, on: float, off: float) -> np.ndarray:
    """Return a line as dashes, (k, 2, ...), each `on` long and `off` apart, in units of the line."""
    along = np.append(0.0, np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1)))
    starts = np.arange(0.0, along[-1], on + off)
    ends = np.stack([starts, np.minimum(starts + on, along[-1])], axis=1)
    return np.stack([np.interp(ends, along, column) for column in line.T], axis=-1)


def corners_of(ends: np.ndarray) -> np.ndarray:
    """Return the eight corners of a box, (8, 3), from its lowest and its highest."""
    return np.array(np.meshgrid(*ends.T)).reshape(3, -1).T


class Eye(NamedTuple):
    """How the case is seen: axes of the screen (see `frame`) as bytes, scale [px/m], where its corner is [px]."""

    frame: bytes
    scale: float
    x: float
    y: float

    @classmethod
    def on(cls, axes: np.ndarray, points: np.ndarray, room: tuple, most: float = np.inf) -> "Eye":
        """Return the eye for which points [m] just fill a room of the page: left, right, top, bottom [px]."""
        flat = points @ axes[:2].T
        low, high = flat.min(axis=0), flat.max(axis=0)
        left, right, top, bottom = room
        scale = min(float(np.min((right - left, bottom - top) / np.maximum(high - low, 1e-9))), most)
        middle = scale * (low + high) / 2
        return cls(axes.tobytes(), scale, (left + right) / 2 - middle[0], (top + bottom) / 2 + middle[1])

    @property
    def axes(self) -> np.ndarray:
        """Axes of the screen."""
        return np.frombuffer(self.frame).reshape(3, 3)

    def place(self, points: np.ndarray) -> np.ndarray:
        """Return where points of the case [m] are on the page. [px]"""
        return (self.x, self.y) + np.asarray(points) @ self.axes[:2].T * (self.scale, -self.scale)


# ------------------------------------------------------------------- what a slider does not change is kept: shapes


def outline(points: Any) -> Path:
    """Return a closed shape."""
    points = np.asarray(points)
    return Path(np.vstack([points, points[:1]]), _codes(len(points), True))


def strokes(lines: Iterable[Any]) -> Path:
    """Return any number of lines as one shape."""
    lines = [np.asarray(line) for line in lines]
    if not lines:
        return Path(np.zeros((0, 2)))
    return Path(np.concatenate(lines), np.concatenate([_codes(len(line), False) for line in lines]))


def disc(x: float, y: float, radius: float) -> Path:
    """Return a disc."""
    turn = np.linspace(0.0, 2 * np.pi, 20, endpoint=False)
    return outline(np.column_stack([x + radius * np.cos(turn), y + radius * np.sin(turn)]))


@lru_cache(512)
def _codes(count: int, closed: bool) -> np.ndarray:
    codes = np.full(count + closed, Path.LINETO)
    codes[0] = Path.MOVETO
    codes[-1] = Path.CLOSEPOLY if closed else codes[-1]
    return codes


@lru_cache(256)
def fine(path: TubePath) -> tuple[np.ndarray, np.ndarray]:
    """Return the centre line of a run in steps of at most `STEP`, and how far along each point is. [m]"""
    points, along = path.line
    parts = np.maximum(np.ceil(np.diff(along) / STEP - 1e-9), 1).astype(int)
    ends = zip(along[:-1], along[1:], parts, strict=True)
    at = np.concatenate([*(np.linspace(a, b, n, endpoint=False) for a, b, n in ends), along[-1:]])
    return np.column_stack([np.interp(at, along, points[:, k]) for k in range(3)]), at


def stubs(path: TubePath) -> Iterator[tuple[np.ndarray, float]]:
    """Yield the middle line of the fitting at each end, from its port to its mouth, and how wide it is. [m]"""
    for port, mouth, way, fitting in zip(path.ports, path.mouths, path.facing, path.fittings, strict=True):
        out, between, cos = port.facing, mouth - port.at, float(port.facing @ way)
        bent = (between @ out - cos * (between @ way)) / (1 - cos**2) if abs(cos) < 1 - 1e-9 else 0.0
        if fitting.body:
            yield np.array([port.at, *([port.at + bent * out] if bent else []), mouth]), float(fitting.body)


@lru_cache(1024)
def pieces(path: TubePath, eye: Eye, heavy: float, solid: bytes) -> list[tuple[bool, float, list]]:
    """
    Return a run and its fittings in pieces to be painted: (is seen, how near [m], shapes with what each is).

    Parameters
    ----------
    path : TubePath
        One design.
    eye : Eye
        How it is seen.
    heavy : float
        Of its outline. [px]
    solid : bytes
        Boxes as of `hidden`: behind them it is pale.
    """
    boxes, out = np.frombuffer(solid).reshape(-1, 2, 3), []
    for line, width, what in [(fine(path)[0], path.outside, "tube"), *((*stub, "metal") for stub in stubs(path))]:
        flat, half, depth, last = eye.place(line), eye.scale * width / 2, line @ eye.axes[2], len(line) - 1
        end, begin, sharp = sides(flat, 1.0)
        rim = flat.copy()  # an edge round the ends as well
        rim[0] -= heavy * begin[0, ::-1] * (1, -1)
        rim[-1] += heavy * end[-1, ::-1] * (1, -1)
        pale = hidden(0.5 * (line[1:] + line[:-1]), boxes, eye.axes[2])
        along = np.cumsum(np.append(0.0, np.linalg.norm(np.diff(line, axis=0), axis=1)))
        lots = 2 * np.floor(along[:-1] / PIECE + 1e-6) + pale
        cuts = np.flatnonzero((np.diff(lots) != 0) | sharp[1:-1]) + 1
        for a, b in zip([0, *cuts], [*cuts, last], strict=True):
            # Where it runs at the eye, or turns sharply on the screen, a round is seen.
            at_eye = np.hypot(*(flat[b] - flat[a])) < half
            round_at = [k for k in (a, b) if sharp[k] or (at_eye and k == b)]
            # One step more at both ends, so that no edge is seen between two pieces.
            more = a - (a > 0 and not sharp[a]), b + (b < last and not sharp[b])
            shapes = [(disc(*flat[k], half + heavy), "edge") for k in round_at]
            for of, reach, (i, j), kind in ((rim, half + heavy, (a, b), "edge"), (flat, half, more, what)):
                off = reach * np.vstack([begin[i:j], end[j : j + 1]])
                shapes.append((outline(np.concatenate([of[i : j + 1] + off, (of[i : j + 1] - off)[::-1]])), kind))
            shapes += [(disc(*flat[k], half), what) for k in round_at]
            if what == "tube" and not at_eye:
                shapes.append((flat[a : b + 1], "middle"))
            out.append((not pale[a], float(depth[a : b + 1].mean()) + width / 2, shapes))
    return out


@lru_cache(64)
def bodies(eye: Eye, solid: bytes) -> list[tuple[int, list[tuple[int, np.ndarray]]]]:
    """Return boxes from far to near: which, and its faces that look at the eye, as (axis it is across, corners [m])."""
    boxes = np.frombuffer(solid).reshape(-1, 2, 3)
    return [(n, faces_of(*boxes[n], eye.axes[2])) for n in far_to_near(boxes, eye.axes[2])] if len(boxes) else []


def faces_of(low: np.ndarray, high: np.ndarray, towards: np.ndarray) -> list[tuple[int, np.ndarray]]:
    """Return the faces of a box that look at the eye, the broadest last: the axis each is across, its corners [m]."""
    out = []
    for k in sorted(np.flatnonzero(np.abs(towards) > 1e-6), key=lambda k: abs(towards[k])):
        i, j = (m for m in range(3) if m != k)
        corners = np.tile(high if towards[k] > 0 else low, (4, 1))
        corners[:, i], corners[:, j] = [low[i], high[i], high[i], low[i]], [low[j], low[j], high[j], high[j]]
        out.append((int(k), corners))
    return out


@lru_cache(64)
def covered(eye: Eye, solid: bytes) -> Path:
    """Return the edges of bodies that lie behind others, dotted."""
    boxes, out = np.frombuffer(solid).reshape(-1, 2, 3), []
    for _, faces in bodies(eye, solid):
        ring = faces[-1][1]
        lines = dashes(np.vstack([ring, ring[:1]]), 1.6 / eye.scale, 2.8 / eye.scale)
        out.append(lines[hidden(lines.mean(axis=1), boxes, eye.axes[2])])
    return strokes(eye.place(line) for lines in out for line in lines)


@lru_cache(64)
def rims(eye: Eye, boxes: bytes) -> np.ndarray:
    """Return points along all edges of boxes that words are kept off, (n, 2). [px]"""
    faces = [corners for box in np.frombuffer(boxes).reshape(-1, 2, 3) for _, corners in faces_of(*box, eye.axes[2])]
    rings = [eye.place(np.vstack([corners, corners[:1]])) for corners in faces]
    return np.concatenate([dashes(ring, 3.0, 0.0).reshape(-1, 2) for ring in rings] or [np.zeros((0, 2))])


@lru_cache(64)
def rooms(eye: Eye, solid: bytes, names: tuple[str, ...]) -> list[tuple[list[str], float, float, np.ndarray, int]]:
    """
    Return bodies' names, the nearest first: lines, how wide and high, places for them on what is seen, the best first
    [px], and the axis their face is across.
    """
    boxes, out = np.frombuffer(solid).reshape(-1, 2, 3), []
    for n, faces in reversed(bodies(eye, solid)):
        k, corners = faces[-1]
        flat = eye.place(corners)
        a, b = (g.reshape(-1, 1) for g in np.meshgrid(np.linspace(0, 1, 21)[1:-1], np.linspace(0, 1, 31)[1:-1]))
        at = corners[0] + a * (corners[1] - corners[0]) + b * (corners[3] - corners[0])
        spots = eye.place(at)
        back = np.linalg.inv(np.column_stack([flat[1] - flat[0], flat[3] - flat[0]]))
        for lines in {tuple(style.fitted(names[n], np.ptp(flat[:, 0]), most)): None for most in (1, 2)}:
            if "…" in lines[-1] or " ".join(lines) != " ".join(names[n].split()):
                continue
            wide, high = max(style.measured(line)[0] for line in lines) + 2, LINE * len(lines) - 4
            spread = np.array([(x * wide / 2, y * high / 2) for x in (-1, 0, 1) for y in (-1, 0, 1)])
            shares = (spots[:, None] + spread - flat[0]) @ back.T
            fits = np.flatnonzero(np.all((shares >= 0) & (shares <= 1), axis=(1, 2)))
            shares = shares[fits].reshape(-1, 2)
            points = corners[0] + shares @ (corners[[1, 3]] - corners[0])
            fits = fits[~hidden(points, boxes, eye.axes[2]).reshape(-1, 9).any(axis=1)] if len(fits) else fits
            if len(fits):
                near = np.argsort(np.hypot(*(spots[fits] - flat.mean(axis=0)).T))
                out.append((list(lines), wide, high, spots[fits][near], k))
                break
    return out


@lru_cache(256)
def straight_parts(path: TubePath) -> tuple[np.ndarray, np.ndarray]:
    """Return start and end of every straight part of a run that is seen: from its fitting, between bends. [m]"""
    first, last = bending.tangents(path.points, path.radius)
    return np.vstack([path.mouths[:1], last]), np.vstack([first, path.mouths[1:]])


@lru_cache(64)
def stops(paths: tuple[TubePath, ...], eye: Eye, solid: bytes) -> list[tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """
    Return for every run places on its straight parts, the best first: not behind a body or another tube, on long ones.

    Each as three arrays: the places, how long the straight is that they are on [px], which way it runs.
    """
    boxes, shares = np.frombuffer(solid).reshape(-1, 2, 3), np.array([0.5, 0.3, 0.7, 0.15, 0.85])
    lines, parts = [fine(path)[0] for path in paths], [straight_parts(path) for path in paths]
    owner = np.repeat(np.arange(len(paths)), [len(line) for line in lines])
    line = np.concatenate(lines)
    flat, near = eye.place(line), line @ eye.axes[2]
    out = []
    for number, (starts, ends) in enumerate(parts):
        at = (starts + shares[:, None, None] * (ends - starts)).reshape(-1, 3)
        spots, ways = eye.place(at), np.tile((ends - starts) @ eye.axes[:2].T * (1, -1), (len(shares), 1))
        over = (owner != number) & (near > (at @ eye.axes[2])[:, None] + 1e-6)
        for n in (0, 1):
            over &= np.abs(flat[:, n] - spots[:, n, None]) < DISC
        worse = over.any(axis=1)
        size = np.hypot(*ways.T)
        order = np.lexsort((-size, worse + 0.5 * hidden(at, boxes, eye.axes[2])))
        out.append((spots[order], eye.scale * size[order], ways[order] / np.maximum(size[order, None], 1e-9)))
    return out
