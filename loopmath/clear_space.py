"""What stands in the way of a tube, and which straight lines and right-angled bends are clear of it."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from loopmath import catalogue, routes
from loopmath.laws import bending
from loopmath.plan import Plan
from loopmath.routes import Route, TubePath

#: The six directions: right, left, rear, front, up, down; the opposite of d is d ^ 1, its axis d // 2.
WAYS = np.array(list(routes.FACES.values()))
#: The sides of the case that way.
SIDES = ("right side", "left side", "rear", "front", "top", "bottom")
#: Added to a reach so that rounding crosses no limit; a line that bends is taken as points no further apart. [m]
BEYOND, POINTS = 1e-4, 0.004
#: Rounding of lengths. [m]
HAIR = 1e-7


def ends(route: Route, ports: dict, usual: str) -> list[tuple]:
    """
    Return for the start and the end of a route what is fixed there.

    Returns
    -------
    ends : list of (mouth, way, fitting, line, wide)
        Where the fitting leaves the tube free (3,) [m], the direction it then goes (3,), the fitting, the line from
        the port to the mouth (3, 3) [m], and the greatest radius about that line [m].
    """
    out = []
    for end, port in (("start", ports[route.start]), ("end", ports[route.end])):
        mouth, way, fitting = routes.mouth(route, end, port, usual)
        named = getattr(route, f"{end}_adapter")
        adapter = catalogue.part("fitting", named) if named else None
        corner = port.at + (adapter.height if adapter else 0.0) * port.facing
        wide = max(fitting.body, adapter.body if adapter else 0.0) / 2
        out.append((mouth, way, fitting, np.array([port.at, corner, mouth]), wide))
    return out


def others(axis: int) -> list[int]:
    """Return the two other axes, in order."""
    return [k for k in range(3) if k != axis]


def gaps(t: np.ndarray, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Return how far each coordinate (n,) is from each range (m,), 0 inside."""
    return np.maximum(np.maximum(low - t[:, None], t[:, None] - high), 0.0)


def filled(t: np.ndarray, shape: tuple, where: tuple, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """
    Return which pieces of lines, from each coordinate to the next, are met by a range.

    Parameters
    ----------
    t : (n,) array
        Coordinates along the lines, ascending.
    shape : tuple
        Of the stack of lines.
    where : tuple of (m,) arrays
        The line of each range, as an index of the stack.
    low, high : (m,) arrays
        The ranges.

    Returns
    -------
    filled : (*shape, n-1) array of bool
        A range that only touches a piece does not meet it.
    """
    marks, last = np.zeros((*shape, len(t)), dtype=int), len(t) - 1
    np.add.at(marks, (*where, np.clip(np.searchsorted(t, low, side="right") - 1, 0, last)), 1)
    np.add.at(marks, (*where, np.clip(np.searchsorted(t, high, side="left"), 0, last)), -1)
    return np.cumsum(marks, axis=-1)[..., :-1] > 0


def summed(pieces: np.ndarray) -> np.ndarray:
    """Return the sum of all pieces of a line before each coordinate."""
    return np.concatenate([np.zeros((*pieces.shape[:-1], 1)), np.cumsum(pieces, axis=-1)], axis=-1)


@dataclass(frozen=True, eq=False)
class Space:
    """
    What stands in the way of the centre line of one run.

    Attributes
    ----------
    low, high : (m, 3) arrays
        Corners of boxes; tubes and fittings are boxes without thickness. [m]
    reach : (m,) array
        How near the line may come to each. [m]
    names : tuple of str
        What each is, for a message.
    passed : (m,) array of int
        Of a panel with a hole the axis along which the line may go through, else -1.

    Notes
    -----
    `lines` below are three ascending arrays of coordinates: a grid. Where a reach is given, it stands for `reach`.
    """

    low: np.ndarray
    high: np.ndarray
    reach: np.ndarray
    names: tuple[str, ...]
    passed: np.ndarray

    def near(self, point: np.ndarray) -> np.ndarray:
        """Return the reach (m,) with all that is nearer to a mouth anyway allowed to be as near as it is there."""
        away = np.maximum(np.maximum(self.low - point, point - self.high), 0.0)
        return np.minimum(self.reach, np.linalg.norm(away, axis=1))

    def shut(self, lines: list, axis: int, reach: np.ndarray) -> np.ndarray:
        """Return for each line along an axis how many of its pieces before each crossing are not free: (..., n)."""
        low, high, (a, b) = self.low, self.high, others(axis)
        reach = np.maximum(reach - HAIR, 0.0)
        across = [gaps(lines[k], low[:, k], high[:, k]) ** 2 for k in (a, b)]
        away = across[0][:, None] + across[1]
        i, j, k = np.nonzero(away < reach**2)
        at, rim = np.stack([lines[a][i], lines[b][j]], axis=1), reach[k, None]
        in_hole = np.all((at >= low[k][:, [a, b]] + rim) & (at <= high[k][:, [a, b]] - rim), axis=1)
        i, j, k = (x[~(in_hole & (self.passed[k] == axis))] for x in (i, j, k))
        more = np.sqrt(reach[k] ** 2 - away[i, j, k])
        return summed(filled(lines[axis], away.shape[:2], (i, j), low[k, axis] - more, high[k, axis] + more))

    def turns(self, lines: list, reach: np.ndarray, radius: float) -> np.ndarray:
        """
        Return at which crossings no bend fits between two directions, both seen from the corner: (6, 6, ...).

        A quarter of a circle and a box: in the plane of the bend, what of the box is nearest to the arc is nearest to
        one of its ends, or is a corner of the box; or the two meet.
        """
        reach = np.maximum(reach - HAIR, 0.0)
        taken = np.ones((6, 6, *map(len, lines)), dtype=bool)
        for axis in range(3):
            a, b = others(axis)
            aside = gaps(lines[axis], self.low[:, axis], self.high[:, axis]) ** 2
            for one, other in ((one, other) for one in (2 * a, 2 * a + 1) for other in (2 * b, 2 * b + 1)):
                # Coordinates from the centre of the arc towards its corner: the arc lies where both are above 0.
                (u0, u1), (v0, v1) = (
                    np.sort(
                        [radius - WAYS[way, k] * (box[:, k] - lines[k][:, None]) for box in (self.low, self.high)], 0
                    )
                    for way, k in ((one, a), (other, b))
                )
                square = [np.maximum(np.maximum(x0 - radius, -x1), 0.0) ** 2 for x0, x1 in ((u0, u1), (v0, v1))]
                i, j, k = np.nonzero(square[0][:, None] + square[1] < reach**2)
                if not len(i):
                    taken[one, other] = taken[other, one] = False
                    continue
                u0, u1, v0, v1 = u0[i, k], u1[i, k], v0[j, k], v1[j, k]
                off = [
                    np.maximum(np.maximum(x0 - p, p - x1), 0.0)
                    for x0, x1 in ((u0, u1), (v0, v1))
                    for p in (radius, 0.0)
                ]
                away = np.minimum(np.hypot(off[0], off[3]), np.hypot(off[1], off[2]))
                for u, v in ((u0, v0), (u0, v1), (u1, v0), (u1, v1)):
                    away = np.where((u > 0) & (v > 0), np.minimum(away, np.abs(np.hypot(u, v) - radius)), away)
                inner = np.hypot(np.maximum(u0, 0.0), np.maximum(v0, 0.0))
                away[(u1 >= 0) & (v1 >= 0) & (inner <= radius) & (radius <= np.hypot(u1, v1))] = 0.0
                hit = away[:, None] ** 2 + aside.T[k] < reach[k, None] ** 2
                first = np.flatnonzero(np.diff(i * len(lines[b]) + j, prepend=-1))
                at = np.zeros((len(lines[a]), len(lines[b]), len(lines[axis])), dtype=bool)
                at[i[first], j[first]] = np.logical_or.reduceat(hit, first, axis=0)
                taken[one, other] = taken[other, one] = np.moveaxis(at, -1, axis)
        return taken

    def room(self, mouth: np.ndarray, way: int) -> tuple[float, int]:
        """Return how far it is free ahead of a fitting, and which thing is there. [m]"""
        axis, sign, reach = way // 2, WAYS[way, way // 2], np.maximum(self.near(mouth) - HAIR, 0.0)
        away = sum(gaps(mouth[[k]], self.low[:, k], self.high[:, k])[0] ** 2 for k in others(axis))
        more = np.sqrt(np.maximum(reach**2 - away, 0.0))
        begin, stop = np.sort([sign * (box[:, axis] - mouth[axis]) for box in (self.low, self.high)], axis=0)
        met = (away < reach**2) & (stop + more > 0) & (self.passed != axis)
        free = np.where(met, np.maximum(begin - more, 0.0), np.inf)
        return float(free.min()), int(free.argmin())


def solid(points: Any, reach: float, name: str, thick: float = 0.0) -> list[tuple]:
    """Return what lies about a line: a box with square ends for a piece along an axis, else points close together."""
    rows = []
    for a, b in zip(points[:-1], points[1:], strict=True):
        along = np.abs(b - a) > HAIR
        if np.count_nonzero(along) <= 1:
            round_it = np.where(along, 0.0, thick)
            rows.append((np.minimum(a, b) - round_it, np.maximum(a, b) + round_it, reach, name, -1))
            continue
        # Where a straight piece is nearest, its nearest point is at most half a step aside.
        steps, far = int(np.ceil(np.linalg.norm(b - a) / POINTS)), np.hypot(reach + thick + BEYOND, POINTS / 2)
        rows += [(p, p, far, name, -1) for p in np.linspace(a, b, steps + 1)]
    return rows


def around(plan: Plan, route: Route, laid: dict[str, TubePath], outside: float, walls: bool) -> Space:
    """
    Return what stands in the way of a run.

    Parameters
    ----------
    plan : Plan
        Its parts, boxes and the room they open into, and the fittings of its routes; of N designs the widest clearance.
    route : Route
        Of the run; panels it names may be gone through.
    laid : dict of str to TubePath
        The other runs.
    outside : float
        Diameter of its tube. [m]
    walls : bool
        Whether it stays within the case.
    """
    ports, wide, rows = {p.name: p for p in plan.ports}, outside / 2 + float(np.max(plan.clearance)), []
    for box in plan.bodies:
        passed = box.panel and not box.must_open and box.name in route.through
        rows.append((*box.sweep, wide, box.name, int(np.argmin(box.size)) if passed else -1))
    for other in fitted(plan, route):
        both = zip((other.start, other.end), ends(other, ports, plan.tube_fitting), strict=True)
        for port, (*_, line, thick) in both:
            rows += solid(line, wide, f"the fitting at {port}", thick) if thick else []
    for name, path in laid.items():
        corners = [path.mouths[0], *path.points[1:-1], path.mouths[1]]
        fine = bending.line(corners, float(np.max(path.radius)))[0]
        rows += solid(fine, wide + float(np.max(path.tube.outside)) / 2, f"the run {name}")
    for number, side in enumerate(SIDES if walls else ()):
        low, high, axis = np.full(3, -1.0), np.array(plan.case_size) + 1.0, number // 2
        if number % 2:
            high[axis] = 0.0
        else:
            low[axis] = plan.case_size[axis]
        rows.append((low, high, wide, f"the {side} of the case", -1))
    low, high, reach, names, passed = zip(*rows, strict=True) if rows else ([], [], [], [], [])
    corners = (np.array(x, dtype=float).reshape(-1, 3) for x in (low, high))
    return Space(*corners, np.array(reach, dtype=float), tuple(names), np.array(passed, dtype=int))


def fitted(plan: Plan, route: Route) -> list[Route]:
    """Return the routes of a plan whose ports are known, one of them as given."""
    ports = {port.name for port in plan.ports}
    return [*(r for r in plan.routes if r.name != route.name and {r.start, r.end} <= ports), route]
