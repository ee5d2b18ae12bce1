"""
Air and liquid at rest in a space of many chambers: what a vent cannot let out, what a drain cannot let go.

The space is a set of convex cells (a stretch of tube, a tank, the passage of a block) joined by round openings. Air at
rest leaves by a way that never goes below it, so it is held by the best way's lowest opening, measured at the crown of
the opening; liquid is the same upside down, held by the floor of an opening. Levels follow from the spanning tree of
least dips ([HU61]_: the widest way between two points of a graph lies on its maximum spanning tree).

Valid where gravity rules the interface: bores wider than about 5 mm in water ([BRETHERTON]_); in narrower ones bubbles
stand still whatever the slope. Pressure of the gas trapped is not followed: pockets are not compressed by the column.
"""

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import breadth_first_order, minimum_spanning_tree

from loopmath.checks import InputError

UP = (0.0, 0.0, 1.0)


class Exit(NamedTuple):
    """A round opening to the outside: its cell, its middle [m], unit vector out of it, radius [m]."""

    cell: int
    at: tuple[float, float, float]
    normal: tuple[float, float, float]
    radius: float


@dataclass(frozen=True, eq=False)
class Void:
    """
    Convex cells joined by round openings.

    Attributes
    ----------
    strands : (S, 2, 3) array
        Ends of the straight strands the cells are made of. [m]
    spread : (S,) array
        Half the width of each. [m]
    volume : (S,) array
        [m3]
    cell : (S,) array of int
        The cell each belongs to.
    joins : (J, 2) array of int
        The two cells an opening joins.
    at, normal : (J, 3) arrays
        Middle of each opening [m], unit vector through it.
    radius : (J,) array
        [m]
    least : int
        Cells there are at least, though nothing of them has a volume or an opening.
    """

    strands: np.ndarray
    spread: np.ndarray
    volume: np.ndarray
    cell: np.ndarray
    joins: np.ndarray
    at: np.ndarray
    normal: np.ndarray
    radius: np.ndarray
    least: int = 0

    @property
    def cells(self) -> int:
        """How many cells there are."""
        return max(int(max(self.cell.max(initial=-1), self.joins.max(initial=-1))) + 1, self.least)

    def spans(self, up: Any) -> tuple[np.ndarray, np.ndarray]:
        """Return (lowest, highest) height of each strand along a direction (..., 3), its width counted. [m]"""
        up = np.asarray(up, dtype=float)
        ends = up @ self.strands.reshape(-1, 3).T
        ends = ends.reshape(*up.shape[:-1], -1, 2)
        way = np.diff(self.strands, axis=1)[:, 0]
        long = np.linalg.norm(way, axis=1)
        along = up @ (way / np.where(long > 0, long, 1.0)[:, None]).T
        half = self.spread * np.sqrt(np.clip(1.0 - along**2, 0.0, 1.0))
        return ends.min(-1) - half, ends.max(-1) + half


def crown(up: Any, at: Any, normal: Any, radius: Any) -> np.ndarray:
    """
    Return the highest point of round openings along a direction. [m]

    Parameters
    ----------
    up : (..., 3) array
        Unit vector against gravity.
    at, normal : (J, 3) arrays
        Middle [m] and unit vector through each.
    radius : (J,) array
        [m]

    Returns
    -------
    heights : (..., J) array

    Notes
    -----
    Geometry: a disc reaches r sin(angle between its axis and the vertical) over its middle.

    Examples
    --------
    >>> crown([0, 0, 1], [[0, 0, 0.1]], [[1, 0, 0]], [0.005]).round(6).tolist()
    [0.105]
    """
    up = np.asarray(up, dtype=float)
    tilt = up @ np.asarray(normal, dtype=float).T
    return up @ np.asarray(at, dtype=float).T + radius * np.sqrt(np.clip(1.0 - tilt**2, 0.0, 1.0))


class Ways(NamedTuple):
    """
    The best way out of every cell in one position.

    Attributes
    ----------
    level : (cells,) array
        Height above which air is held; -inf where no way leads out. [m]
    before : (cells,) array of int
        The next cell on the way out; -1 at an exit, -2 where there is no way.
    opening : (J,) array
        Crown of each opening. [m]
    """

    level: np.ndarray
    before: np.ndarray
    opening: np.ndarray


def ways(void: Void, up: Any, exits: Any) -> Ways:
    """
    Return the best way out of every cell, for one position of the machine.

    Parameters
    ----------
    void : Void
        The space.
    up : (3,) array
        Against gravity, in the frame of the machine; its opposite for liquid.
    exits : sequence of Exit
        Openings to the outside; none: nothing leaves.

    Raises
    ------
    InputError
        If `up` is no direction.
    """
    up = np.asarray(up, dtype=float)
    if up.shape != (3,) or not np.all(np.isfinite(up)) or not np.linalg.norm(up) > 0:
        raise InputError("up", up, "a direction: three numbers, not all 0")
    up = up / np.linalg.norm(up)
    n, exits = void.cells, list(exits)
    opening = crown(up, void.at, void.normal, void.radius)
    out = crown(up, [e.at for e in exits], [e.normal for e in exits], [e.radius for e in exits]) if exits else []
    # The outside is one more node. The tree that keeps the highest openings is the least one of what is left over them.
    ends = np.concatenate([void.joins.reshape(-1, 2), [(e.cell, n) for e in exits] or np.empty((0, 2), int)]).astype(
        int
    )
    heights = np.concatenate([opening, out])
    level, before = np.full(n + 1, -np.inf), np.full(n + 1, -2)
    level[n], before[n] = np.inf, -1
    if len(ends):
        a, b = ends.min(1), ends.max(1)
        ranked = np.lexsort((-heights, b, a))  # of two openings between the same cells the higher one counts
        first = np.ones(len(ranked), bool)
        first[1:] = (np.diff(a[ranked]) != 0) | (np.diff(b[ranked]) != 0)
        kept = ranked[first]
        kept = kept[a[kept] != b[kept]]
        weight = heights.max() - heights[kept] + 1.0  # scipy takes 0 for no edge
        tree = minimum_spanning_tree(csr_array((weight, (a[kept], b[kept])), shape=(n + 1, n + 1)))
        order, before = breadth_first_order(tree, n, directed=False)
        before = np.where(before < 0, -2, before)
        before[n] = -1
        links = tree.tocoo()
        height_of = {(i, j): heights.max() + 1.0 - w for i, j, w in zip(links.row, links.col, links.data, strict=True)}
        for cell in order[1:].tolist():
            parent = int(before[cell])
            level[cell] = min(level[parent], height_of[(min(cell, parent), max(cell, parent))])
    before = np.where(before == n, -1, before)
    return Ways(level[:n], before[:n], opening)


def levels(void: Void, up: Any, exits: Any) -> np.ndarray:
    """
    Return the height above which air of each cell is held.

    Parameters
    ----------
    void : Void
        The space.
    up : (..., 3) array
        Against gravity, for any number of positions; the opposite for liquid.
    exits : sequence of Exit
        Openings to the outside.

    Returns
    -------
    levels : (..., cells) array
        Along `up`; -inf where no way leads out. [m]

    Notes
    -----
    The maximin of opening crowns over all ways to an exit, on the maximum spanning tree [HU61]_.
    """
    up = np.asarray(up, dtype=float)
    each = [ways(void, one, exits).level for one in up.reshape(-1, 3)]
    return np.array(each).reshape(*up.shape[:-1], void.cells)


def above(void: Void, up: Any, level: Any) -> np.ndarray:
    """Return the volume of each strand above the level (..., cells) of its cell. [m3]"""
    low, high = void.spans(up)
    line = np.asarray(level)[..., void.cell]
    share = (high - line) / np.maximum(high - low, 1e-9)  # what lies level at the line itself is free
    return void.volume * np.clip(share, 0.0, 1.0)


def held(void: Void, up: Any, exits: Any) -> np.ndarray:
    """
    Return the volume of air that is held in each strand; of liquid with `up` turned round and the drains for exits.

    Parameters
    ----------
    void, up, exits
        As of `levels`.

    Returns
    -------
    volume : (..., S) array
        [m3]
    """
    return above(void, up, levels(void, up, exits))


def lowest(void: Void, up: Any, level: np.ndarray, new_up: Any) -> np.ndarray:
    """
    Return how high, in a new position, the lowest of the air of each cell lies when the machine gets there.

    Parameters
    ----------
    void : Void
        The space.
    up, new_up : (3,) arrays
        Against gravity, before and after.
    level : (cells,) array
        What `ways` says of the position before. [m]

    Returns
    -------
    heights : (cells,) array
        inf where a cell held none. [m]
    """
    ends = void.strands @ np.asarray(up, dtype=float)
    line = level[void.cell]
    first, last = ends[:, 0], ends[:, 1]
    with np.errstate(divide="ignore", invalid="ignore"):
        crossing = np.clip(np.nan_to_num((line - first) / (last - first)), 0.0, 1.0)
    share = np.where(first >= line, 0.0, crossing), np.where(last >= line, 1.0, crossing)
    new = void.strands @ np.asarray(new_up, dtype=float)
    at = [new[:, 0] + t * (new[:, 1] - new[:, 0]) for t in share]
    height = np.where(above(void, up, level) > 0, np.minimum(*at), np.inf)
    out = np.full(void.cells, np.inf)
    np.minimum.at(out, void.cell, height)
    return out


def gathered(void: Void, up: Any, found: Ways, exits: Any, start: np.ndarray, holds: np.ndarray) -> np.ndarray:
    """
    Return where air that is now in some cells may come to rest in one position, having risen as it will.

    Air leaves a cell by any opening no lower than where it came in. Where it is held it stays; should there be more of
    it than the place takes, the rest goes over the sill and on along the best way out. Every place it may reach counts.

    Parameters
    ----------
    void, up, exits
        As of `ways`.
    found : Ways
        What `ways` says of that position.
    start : (cells,) array
        How high in each cell the lowest of its air is now, inf where there is none; see `lowest`. [m]
    holds : (cells,) array of bool
        Where some is held in that position.

    Returns
    -------
    rest : (cells,) array of bool
        Where some of it may stay.
    """
    doors: list[list[tuple[float, int]]] = [[] for _ in range(void.cells)]
    for (a, b), height in zip(void.joins.tolist(), found.opening.tolist(), strict=True):
        doors[a].append((height, b))
        doors[b].append((height, a))
    for e in exits:
        doors[e.cell].append((float(crown(up, [e.at], [e.normal], [e.radius])[0]), -1))
    rest, reached = np.zeros(void.cells, bool), np.full(void.cells, np.inf)
    moving = [(int(cell), float(start[cell])) for cell in np.flatnonzero(np.isfinite(start))]
    while moving:
        cell, height = moving.pop()
        if height >= reached[cell]:
            continue
        reached[cell] = height
        rest[cell] |= bool(holds[cell])
        upward = [(other, at) for at, other in doors[cell] if at >= height - 1e-12 and other >= 0]
        moving += upward
        if holds[cell] or any(holds[other] for other, _ in upward):
            onward = int(found.before[cell])  # over the sill, should the place be full
            if onward >= 0:
                moving.append((onward, max(at for at, other in doors[cell] if other == onward)))
    return rest
