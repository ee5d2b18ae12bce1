"""
Which piece out of which stock length: the fewest bars, then the least stock, then the longest offcut.

A pattern is a way to fill one bar, and a plan is so many bars of each pattern: whole numbers, found by an exact solver
([GilmoreGomory1961]_). Every piece and every bar is taken longer by a kerf, so the last piece may end where the bar
ends. Lengths are whole nanometres inside, so no sum is off by more than a saw could tell.
"""

import math
import time
from collections import Counter, defaultdict, deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from scipy.optimize import LinearConstraint, linprog, milp

from loopmath.checks import InputError, between, one_of
from loopmath.units import DISPLAY, show

#: Shortest and longest piece or bar that is cut by hand, widest kerf (common practice, no source). [m]
SHORTEST, LONGEST, WIDEST_KERF = 1e-3, 20.0, 0.02
#: Most pieces of a plan.
MOST_PIECES = 2000
#: So many patterns are listed at once, and searched for the longest offcut; so many if those that were made as they
#: help do not prove the plan; of so many lengths of pieces none are listed.
FEW_PATTERNS, MOST_PATTERNS, MOST_LENGTHS = 400, 10_000, 200
#: Steps of a bar where patterns are made: one is found with its pieces rounded up, the bound with pieces rounded down.
CELLS = 10_000
#: A bound is rounded up only where it is over a whole number by more than this share, as solvers are not quite exact.
CLOSE = 1e-6


def _one(field: str, value: Any, low: float, high: float, unit: str, remedy: str, whole: bool = False) -> float:
    """Return one number, a whole one if asked, within a range."""
    if np.ndim(value):
        raise InputError(field, value, "one number", "Plan the cuts of one design at a time.")
    value = between(field, value, low, high, unit, remedy=remedy)
    if whole and value % 1:
        raise InputError(field, value, "a whole number", remedy)
    return int(value) if whole else value


@dataclass(frozen=True)
class Piece:
    """A piece to cut: its name, its length, 0.001 to 20 [m], and how many of it, 1 to 2000."""

    name: str
    length: float
    count: int = 1

    def __post_init__(self) -> None:
        if not isinstance(self.name, str) or not self.name.strip():
            raise InputError("piece, name", self.name, "a name", "Call it by its run.")
        _one(f"{self.name}, length", self.length, SHORTEST, LONGEST, "m", "Give the length it is cut to.")
        _one(f"{self.name}, count", self.count, 1, MOST_PIECES, "", "Leave out what is not to be cut.", whole=True)


@dataclass(frozen=True)
class Stock:
    """Bars of one length, 0.001 to 20 [m]: the price of one, None if not known; how many there are, None for enough."""

    length: float
    price: float | None = None
    available: int | None = None

    def __post_init__(self) -> None:
        _one("stock, length", self.length, SHORTEST, LONGEST, "m", "Give the length the tube is sold in.")
        if self.price is not None:
            _one("stock, price", self.price, 0.0, math.inf, "", "Leave it out if it is not known.")
        if self.available is not None:
            _one("stock, available", self.available, 0, math.inf, "", "Leave it out if there is enough.", whole=True)


class Bar(NamedTuple):
    """One bar: its stock, its cuts (piece, start, stop [m]), and what is left behind the last one [m]."""

    stock: Stock
    cuts: list[tuple[str, float, float]]
    offcut: float


@dataclass(frozen=True)
class Cutting:
    """
    A plan of cuts.

    Attributes
    ----------
    bars : list of Bar
        The fullest first; the longest piece first in each.
    bound : int
        No plan has fewer bars: the solver's own bound, rounded up to a whole bar.
    proven : bool
        True if there are no more bars than `bound`, and it is shown that no plan of so many takes less stock.
    """

    bars: list[Bar]
    bound: int
    proven: bool

    @property
    def stock(self) -> float:
        """Length of all bars. [m]"""
        return sum(bar.stock.length for bar in self.bars)

    @property
    def offcut(self) -> float:
        """What is left of all bars. [m]"""
        return sum(bar.offcut for bar in self.bars)

    @property
    def cost(self) -> float | None:
        """Price of all bars, None if that of any is not known."""
        prices = [bar.stock.price for bar in self.bars]
        return None if None in prices else sum(prices)

    def table(self, system: str = "metric") -> pd.DataFrame:
        """Return a row for each cut in order, in "metric" or "us" units; offcut and price stand in a bar's first."""
        one_of("system", system, DISPLAY)
        long, rows = DISPLAY[system]["length"], []
        for n, bar in enumerate(self.bars, 1):
            for k, (name, *ends) in enumerate(bar.cuts):
                values = [round(float(long.convert(v)), long.digits) for v in (bar.stock.length, *ends, bar.offcut)]
                price = "" if k or bar.stock.price is None else bar.stock.price
                rows.append((n, values[0], name, *values[1:3], "" if k else values[3], price))
        unit = f"[{long.label}]"
        names = ["bar", f"stock {unit}", "piece", f"from {unit}", f"to {unit}", f"offcut {unit}", "price"]
        return pd.DataFrame(rows, columns=names)


def patterns(width: int, sizes: Sequence[int], most: Sequence[int]) -> Iterator[tuple[int, ...]]:
    """
    Yield every way to fill a bar to which no piece can be added: how many of each.

    Parameters
    ----------
    width : int
        Length of the bar, a kerf added, in any unit.
    sizes : sequence of int
        Lengths of the pieces, a kerf added, the longest first, none twice.
    most : sequence of int
        How many there are of each, 1 or more.

    Examples
    --------
    >>> list(patterns(10, [6, 4, 3], [1, 1, 3]))
    [(1, 1, 0), (1, 0, 1), (0, 1, 2), (0, 0, 3)]
    """
    behind = np.cumsum((np.array(sizes) * most)[::-1])[::-1].tolist()
    held = [0] * len(sizes)

    def fill(first: int, room: int, wasted: int) -> Iterator[tuple[int, ...]]:
        """Yield what goes on so; `wasted` is the least piece that was passed by, for which no room may be left."""
        for i in range(first, len(sizes)):
            if sizes[i] > room:
                continue
            if room - behind[i] >= wasted:
                return  # all that follows leaves too much room, so every branch that is followed ends in a pattern
            for count in range(min(most[i], room // sizes[i]), 0, -1):
                held[i] = count
                yield from fill(i + 1, room - count * sizes[i], wasted if count == most[i] else sizes[i])
            held[i], wasted = 0, sizes[i]
        if room < wasted:
            yield tuple(held)

    return fill(0, width, width + 1)


def cutting(pieces: Iterable[Piece], stocks: Iterable[Stock], kerf: float, time_limit: float = 5.0) -> Cutting:
    """
    Return the plan with the fewest bars; of those one of least stock; of those, if found soon, the longest offcut.

    Bars are taken as square at their ends. A bar cut into k pieces loses k kerfs, or k - 1 and what is left if that is
    less than a kerf.

    Parameters
    ----------
    pieces : iterable of Piece
        What to cut, 2000 pieces at most, no name twice.
    stocks : iterable of Stock
        What there is. Of one length the cheaper is used first.
    kerf : float
        What one cut takes, 0 to 0.02. [m]
    time_limit : float
        When to stop searching, 0.01 to 600. [s]

    Returns
    -------
    plan : Cutting

    Raises
    ------
    InputError
        If there is nothing to cut, or nothing to cut it from, or not enough; if a piece is longer than the longest bar,
        or a name stands twice.

    Notes
    -----
    Patterns are listed if there are few. Of many, those that can help are made one by one; the bound of the linear
    problem ([Farley1990]_) holds all the same and most often proves the plan. If it does not, up to `MOST_PATTERNS` are
    listed after all, and only time can then keep a plan from being proven; with more it may stay unproven. The longest
    offcut is looked for among `FEW_PATTERNS` at most.

    Examples
    --------
    >>> plan = cutting([Piece("front", 0.24), Piece("top", 0.155), Piece("rear", 0.2)], [Stock(0.5)], kerf=0.003)
    >>> [bar.cuts for bar in plan.bars]
    [[('front', 0.0, 0.24), ('rear', 0.243, 0.443)], [('top', 0.0, 0.155)]]
    >>> plan.bound, plan.proven
    (2, True)
    """
    kerf = _one("kerf", kerf, 0.0, WIDEST_KERF, "m", "Measure what one cut of the saw takes.")
    limit = _one("time_limit", time_limit, 0.01, 600.0, "s", "Give the search a few seconds.")
    pieces, stocks = list(pieces), [stock for stock in stocks if stock.available != 0]
    _refuse(pieces, stocks)
    saw, total = _nm(kerf), sum(int(piece.count) for piece in pieces)
    names, bars = defaultdict(deque), defaultdict(deque)
    for piece in pieces:
        names[_nm(piece.length) + saw] += [piece.name] * int(piece.count)
    for stock in sorted(stocks, key=lambda s: math.inf if s.price is None else s.price):
        there = total if stock.available is None else min(total, int(stock.available))
        bars[_nm(stock.length) + saw] += [stock] * there
    widths, sizes = sorted(bars, reverse=True), sorted(names, reverse=True)
    limits, wanted = [min(total, len(bars[w])) for w in widths], [len(names[s]) for s in sizes]
    chosen, bound, proven = _solve(_Job(widths, limits, sizes, wanted, time.monotonic() + limit), saw)

    plan = []
    for width, counts in chosen:
        at, cuts = 0, []
        for size, count in zip(sizes, counts, strict=True):
            for _ in range(count):
                cuts.append((names[size].popleft(), at / 1e9, (at + size - saw) / 1e9))
                at += size
        plan.append(Bar(bars[width].popleft(), cuts, max(0, width - saw - at) / 1e9))
    return Cutting(plan, bound, proven)


def _nm(length: float) -> int:
    """Return a length in nanometres."""
    return round(length * 1e9)


def _up(bound: float) -> int:
    """Return a bound rounded up."""
    return math.ceil(bound * (1 - CLOSE))


def _refuse(pieces: list[Piece], stocks: list[Stock]) -> None:
    """Raise InputError for what cannot be cut, before any search."""
    total = sum(piece.count for piece in pieces)
    if not 1 <= total <= MOST_PIECES:
        remedy = "Plan in several lots." if total else "Add what is to be cut."
        raise InputError("pieces", total, f"1 to {MOST_PIECES} in all", remedy)
    for name, times in Counter(piece.name for piece in pieces).items():
        if times > 1:
            raise InputError("pieces", name, "each name once", "Set its count, or give each a name of its own.")
    if not stocks:
        raise InputError("stock", "none", "one length or more", "Say in which lengths the tube is sold.")
    longest = max(stock.length for stock in stocks)
    over = sorted((p for p in pieces if _nm(p.length) > _nm(longest)), key=lambda p: -p.length)
    if over:
        more = f" Too long as well: {', '.join(p.name for p in over[1:])}." if over[1:] else ""
        remedy = f"It is {1e3 * (over[0].length - longest):.3g} mm too long.{more} "
        remedy += "Take longer stock, or make it of two pieces with a fitting in the middle."
        accepted = f"at most {show(longest, 'length')}, the longest stock"
        raise InputError(f"{over[0].name}, length", show(over[0].length, "length"), accepted, remedy)


class _Job(NamedTuple):
    """
    What to cut, a kerf added to every length [nm]: bars and pieces, the longest first, and how many of each.

    A column stands for one bar: how many it holds of each piece, a 1 for its stock, and a 1 as it is one bar.
    """

    widths: list[int]
    limits: list[int]
    sizes: list[int]
    wanted: list[int]
    until: float

    def column(self, stock: int, pattern: Sequence[int]) -> list[int]:
        """Return the column of a stock, by its place, and a pattern."""
        return [*pattern, *(int(s == stock) for s in range(len(self.widths))), 1]

    def stock(self, columns: np.ndarray) -> np.ndarray:
        """Return which stock columns are of: 0 or 1 for each."""
        return columns[:, len(self.sizes) : -1]

    def singles(self) -> np.ndarray:
        """Return a column for each piece alone, of no bar."""
        return np.eye(len(self.sizes), len(self.sizes) + len(self.widths) + 1, dtype=int)


def _solve(job: _Job, saw: int) -> tuple[list[tuple[int, list[int]]], int, bool]:
    """Return the bars (width, pattern), the fullest first; the bound on their number; whether the plan is proven."""
    listed, known = _listed(job), _first_fit(job)
    few = whole = listed is not None and len(listed) <= FEW_PATTERNS
    first, times = np.unique(known or job.singles()[:0], axis=0, return_counts=True)
    columns, plan = np.vstack([first, listed]) if whole else first, times

    def least(price: np.ndarray, most: int) -> int:
        """Set `plan` to that of least price, if one is found; return the bound of its price."""
        nonlocal columns, plan, whole
        while True:
            columns, bound = _linear(job, columns, price, most, whole)
            plan, cost = np.pad(plan, (0, len(columns) - len(plan))), job.stock(columns) @ price
            if not plan.any() or cost @ plan > _up(bound):
                found, dual = _milp(job, columns, cost, most)
                plan = plan if plan.any() and cost @ found >= cost @ plan or not found.any() else found
                bound = max(bound, dual) if whole else bound
            if whole or listed is None or plan.any() and cost @ plan <= _up(bound):
                return _up(bound)
            columns, whole = np.vstack([columns, listed]), True

    bound = least(np.ones(len(job.widths)), sum(job.limits))
    if not plan.any():
        lengths = [show((width - saw) / 1e9, "length") for width in job.widths]
        there = ", ".join(f"{n} of {length}" for n, length in zip(job.limits, lengths, strict=True))
        needed = show(np.dot(job.sizes, job.wanted) / 1e9, "length")
        enough = f"bars enough for {sum(job.wanted)} pieces, {needed} with their cuts"
        raise InputError("stock, available", there, enough, "Get more bars, or longer ones.")
    proven = bound == plan.sum()
    if len(job.widths) > 1:
        lengths = np.array(job.widths) - saw
        lengths = lengths // math.gcd(*lengths.tolist())
        proven &= least(lengths, plan.sum()) == job.stock(columns) @ lengths @ plan
    bars = np.repeat(columns, plan, axis=0)
    if few:
        bars = _longest_offcut(job, columns, bars)
    left, chosen = np.array(job.wanted), []
    for bar in bars:
        taken = np.minimum(bar[: len(left)], left)  # a plan may hold more pieces than are wanted
        left -= taken
        width = int(bar[len(left) : -1] @ job.widths)
        chosen += [(int(width - taken @ job.sizes), -width, (-taken).tolist())] if taken.any() else []
    return [(-width, [-n for n in counts]) for _, width, counts in sorted(chosen)], bound, bool(proven)


def _listed(job: _Job) -> np.ndarray | None:
    """Return a column for each pattern, None if there are too many."""
    if len(job.sizes) > MOST_LENGTHS:
        return None
    every = (job.column(s, p) for s, width in enumerate(job.widths) for p in patterns(width, job.sizes, job.wanted))
    columns = list(islice(every, MOST_PATTERNS + 1))
    return np.array(columns) if len(columns) <= MOST_PATTERNS else None


def _first_fit(job: _Job) -> list[list[int]]:
    """Return a plan at once, the longest pieces first, each into the first bar that has room; empty if that fails."""
    bars, there = [], list(job.limits)
    for i in np.repeat(np.arange(len(job.sizes)), job.wanted):
        bar = next((bar for bar in bars if bar[0] >= job.sizes[i]), None)
        if bar is None:
            stock = next((s for s, n in enumerate(there) if n and job.widths[s] >= job.sizes[i]), None)
            if stock is None:
                return []
            there[stock] -= 1
            bars.append(bar := [job.widths[stock], job.column(stock, [0] * len(job.sizes))])
        bar[0] -= job.sizes[i]
        bar[1][i] += 1
    return [column for _, column in bars]


def _milp(job: _Job, columns: np.ndarray, cost: np.ndarray, most: int, *extra: Any) -> tuple[np.ndarray, float]:
    """Return how many of each column come to the least cost, all 0 if none was found, and the solver's bound."""
    low = np.r_[job.wanted, np.zeros(len(job.limits) + 1)]
    high = np.r_[np.full(len(job.wanted), np.inf), job.limits, most]
    rows = [LinearConstraint(columns.T, low, high), *extra]
    options = {"time_limit": max(job.until - time.monotonic(), 0.01), "mip_rel_gap": 0.0}
    answer = milp(cost, integrality=np.ones(len(cost)), constraints=rows, options=options)
    found = np.zeros(len(cost)) if answer.x is None else np.rint(answer.x)
    return found.astype(int), -math.inf if answer.mip_dual_bound is None else answer.mip_dual_bound


def _longest_offcut(job: _Job, columns: np.ndarray, bars: np.ndarray) -> np.ndarray:
    """Return as many bars of as much stock, the first of which leaves the longest offcut there can be."""
    # The first is of any stock and holds any single pieces; the others follow patterns.
    kinds, singles = len(job.widths), job.singles()
    every = np.vstack([columns, singles, [job.column(s, [0] * len(job.sizes)) for s in range(kinds)]])
    own = np.arange(len(every)) >= len(every) - kinds
    length = job.stock(every) @ job.widths / 1e6
    cost = np.r_[np.zeros(len(columns)), np.array(job.sizes) / 1e6, -length[own]]
    total = sum(job.stock(bars) @ job.widths) / 1e6
    rows = LinearConstraint(np.array([own, length]), [1, 0], [1, total * (1 + CLOSE)])
    found, _ = _milp(job, every, cost, len(bars), rows)
    first = found[len(columns) :] @ every[len(columns) :]
    fits = first[-1] and first[: len(job.sizes)] @ job.sizes <= job.stock(first[None])[0] @ job.widths
    return np.vstack([first, np.repeat(columns, found[: len(columns)], axis=0)]) if fits else bars


def _linear(job: _Job, columns: np.ndarray, price: np.ndarray, most: int, whole: bool) -> tuple[np.ndarray, float]:
    """Return the columns, with those that lower the price unless they are `whole`, and the bound of the price."""
    sizes, never = len(job.sizes), 1e3 * price.max()  # the price of a piece that is left out
    sign = np.r_[-np.ones(sizes), np.ones(len(job.widths) + 1)]
    limits = sign * np.r_[job.wanted, job.limits, most]
    while True:
        cost = np.r_[job.stock(columns) @ price, np.full(sizes, never)]
        answer = linprog(cost, A_ub=sign[:, None] * np.vstack([columns, job.singles()]).T, b_ub=limits)
        if whole:
            return columns, answer.fun
        worth = -answer.ineqlin.marginals
        own, rent = worth[:sizes], worth[sizes:-1] + worth[-1]
        made = [job.column(s, _fullest(job, width, own, True)) for s, width in enumerate(job.widths)]
        made = [m for m in made if own @ m[:sizes] > np.dot(m[sizes:-1], (1 + 1e-7) * price + rent)]
        if not made or time.monotonic() > job.until:
            break
        columns = np.vstack([columns, made])
    # Values of the pieces bound the price once they are so small that no pattern is worth more than its bar.
    full = np.array([_fullest(job, width, own, False) for width in job.widths])
    over = max(1.0, np.max((full - rent) / price))
    plain = np.dot(job.sizes, job.wanted) * np.min(price / job.widths)  # all bars full
    return columns, max(-worth @ limits / over, plain)


def _fullest(job: _Job, width: int, worth: np.ndarray, fits: bool) -> Any:
    """Return the pattern worth most, pieces rounded up so that it fits; or what one rounded down is worth at most."""
    best, steps = np.zeros(CELLS + 1), []
    for i, (size, left) in enumerate(zip(job.sizes, job.wanted, strict=True)):
        cells, lot = -(-size * CELLS // width) if fits else size * CELLS // width, 1
        while left and (lot := min(lot, left)) * cells <= CELLS:  # lots of 1, 2, 4, ... make any number
            more = best[: CELLS + 1 - lot * cells] + lot * worth[i]
            better = more > best[lot * cells :]
            best[lot * cells :] = np.where(better, more, best[lot * cells :])
            steps.append((i, lot, lot * cells, better))
            left, lot = left - lot, 2 * lot
    held, at = [0] * len(job.sizes), CELLS
    for i, lot, cells, better in reversed(steps):
        if at >= cells and better[at - cells]:
            held[i], at = held[i] + lot, at - cells
    return held if fits else best[-1]
