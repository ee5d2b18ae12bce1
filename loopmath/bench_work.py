"""A laid run at the bench: what to saw, where to mark, in which order to bend, and which of two mirror images it is."""

import itertools
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache, cached_property, partial
from typing import NamedTuple

import numpy as np
import pandas as pd
from scipy.spatial.distance import cdist

from loopmath.checks import InputError, between, one_of
from loopmath.laws import bending
from loopmath.plan import Plan
from loopmath.routes import TubePath
from loopmath.units import DISPLAY, show

#: What a bench does not show: what comes this much nearer than touching still only touches. [m]
SLACK = 5e-4
#: A rotation nearer than this to none or half a turn leaves a tube flat: half of what `same_shape` allows. [rad]
FLAT = math.radians(0.25)
#: Up to so many bends every order is tried.
ALL_TRIED = 7
#: How a bend lies on the bench: what was bent before is all above it, hangs over its edge, or keeps it from lying.
FREE, EDGE, NOT = 0, 1, 2


class Lying(NamedTuple):
    """
    How a bend can be made with others already in the tube.

    `lies` is `FREE`, `EDGE` or `NOT`; `ups` the sides that may lie up, +1 that of the bend's normal (it then turns
    left); `low` and `high` how far the tube goes under and over the bend's plane, +1 up [m]; `into` what it runs into
    on the way to its angle, if it lies: the "former", the "tube" itself or "".
    """

    lies: int
    ups: tuple[int, ...]
    low: float
    high: float
    into: str


class Step(NamedTuple):
    """
    One bend, as it is made. Hands are seen with the start side of the tube towards you.

    Attributes
    ----------
    bend, straight : int, float
        1 is nearest to the start port; what stays straight before it, on that side. [m]
    marks, from_end : (3,) arrays
        Start, middle and end of its heated zone, from the squared start end, and from the other one. [m]
    angle, bend_to : float
        What is wanted, and how far to bend so that it springs back to that. [rad]
    beside, rotation : int, float
        The bend made before from whose plane the rotation counts (0: none), and the rotation: right-hand, looking from
        that bend to this one. [rad]
    turn, hand : float, str
        How far to turn the tube from how it lay for `beside`, clockwise [rad], and where its far side then goes, "left"
        or "right".
    lies, into : int, str
        As in `Lying`; `over` and `under` are how far what was bent before goes over and under the bend's plane. [m]
    near : tuple of int
        Bends made before that leave less straight beside this one than a former wants.
    """

    bend: int
    straight: float
    marks: np.ndarray
    from_end: np.ndarray
    angle: float
    bend_to: float
    beside: int
    rotation: float
    turn: float
    hand: str
    over: float
    under: float
    lies: int
    into: str
    near: tuple[int, ...]


class Mirror(NamedTuple):
    """
    A tube beside its mirror image.

    Attributes
    ----------
    same : bool
        True if the mirror image is the same tube, from whichever end it is read.
    hand : str
        Where bend 1 turns, the start end towards you, when the tube lies with its other end up.
    bend, way : int, str
        The first bend out of the plane of bend 1 (0: none), and whether it then turns "up" or "down".
    height, low : float
        How far over the plane of bend 1 the other end then lies, and how far under it the lowest place. [m]
    miss : float
        How far a mirrored tube ends from the port, its first leg and the plane of bend 1 being right. [m]
    """

    same: bool
    hand: str = "right"
    bend: int = 0
    way: str = ""
    height: float = 0.0
    low: float = 0.0
    miss: float = 0.0


@dataclass(frozen=True, eq=False)
class BenchWork:
    """What `work` returns: a run, what is left to square each end [m], and its material's row of data/bending.csv."""

    path: TubePath
    squaring: float
    practice: dict

    @cached_property
    def installed(self) -> float:
        """Length along the centre line. [m]"""
        return float(self.path.length)

    @cached_property
    def finished(self) -> float:
        """Length of the straight tube with its ends squared: what the bends stretch is taken off. [m]"""
        return float(bending.length(self.path.points, self.path.radius, self.practice["stretch"]))

    @property
    def cut(self) -> float:
        """Length to saw where there is enough to hold it by. [m]"""
        return self.finished + 2 * self.squaring

    @cached_property
    def held(self) -> tuple[float, float]:
        """What is sawn longer at each end to hold the tube by while it is bent, and sawn off afterwards. [m]"""
        if not self.path.bends:
            return 0.0, 0.0
        marks = np.concatenate([step.marks for step in self.steps])
        grip = self.practice["grip_mm"] / 1e3
        free = float(marks.min()), float(self.finished - marks.max())
        return tuple(max(grip - left, 0.0) for left in free)

    @property
    def blank(self) -> float:
        """Length to saw, what it is held by included. [m]"""
        return self.cut + sum(self.held)

    @property
    def former(self) -> float:
        """Straight that a former or a hand wants beside a bend. [m]"""
        return self.practice["former_straight_od"] * self.path.outside

    # -------------------------------------------------------------------------------------------------- order

    @cached_property
    def lying(self) -> Callable[[int, frozenset], Lying]:
        """How a bend can be made after some others; here they are counted from 0."""
        return cache(lambda bend, made: _lying(self.path, self.former, bend, made))

    def _ranks(self, order: tuple[int, ...]) -> list[int]:
        """Return how each bend of an order goes; to run into something is as bad as not to lie."""
        found = [self.lying(bend, frozenset(order[:n])) for n, bend in enumerate(order)]
        return [NOT if lying.into else lying.lies for lying in found]

    def _orders(self) -> Iterator[tuple[int, ...]]:
        """Give the orders to try: from the start, from the other end, then any."""
        bends = tuple(range(self.path.bends))
        yield from (bends, bends[::-1])
        if len(bends) <= ALL_TRIED:
            yield from itertools.permutations(bends)
            return
        order: tuple[int, ...] = ()
        while left := [(self._ranks((*order, bend))[-1], bend) for bend in bends if bend not in order]:
            order += (min(left)[1],)
        yield order

    @cached_property
    def order(self) -> tuple[int, ...]:
        """Numbers of the bends in the order to make them: the first of those tried that asks for the least."""
        best, least = (), (math.inf, math.inf)
        for order in self._orders():
            ranks = self._ranks(order)
            if (cost := (ranks.count(NOT), ranks.count(EDGE))) < least:
                best, least = order, cost
            if not any(ranks):
                break
        return tuple(bend + 1 for bend in best)

    @property
    def why(self) -> str:
        """The order in words, and its reason."""
        bends = tuple(range(self.path.bends))
        if len(bends) < 2:
            return "One bend: there is no order to choose." if bends else "It is straight: there is nothing to bend."
        order = tuple(bend - 1 for bend in self.order)
        ways = dict(zip((bends, bends[::-1]), (f"rom the {port.name} end" for port in self.path.ports), strict=True))
        words = f"Bend in the order {', '.join(map(str, self.order))}{', f' + ways[order] if order in ways else ''}: "
        if any(ranks := self._ranks(order)):
            tried = "" if len(bends) <= ALL_TRIED else " of those tried"
            worst = " and ".join(str(bend) for bend, rank in zip(self.order, ranks, strict=True) if rank)
            return f"{words}no order{tried} keeps all of it free above the bench; this one asks least, at bend {worst}."
        words += "what is bent already always lies flat or points up."
        for way in itertools.takewhile(lambda way: way != order, ways):
            ranks = self._ranks(way)
            at = ranks.index(max(ranks))
            into = self.lying(way[at], frozenset(way[:at])).into
            fault = f"run into the {into}" if into else "lie below the bench"
            words += f" F{ways[way]}, what was bent before would {fault} at bend {way[at] + 1}."
        return words

    @cached_property
    def steps(self) -> tuple[Step, ...]:
        """The bends in the order to make them."""
        path, lra, bench = self.path, self.path.lra, self.practice
        marks = bending.marks(path.points, path.radius, bench["stretch"], bench["heat_spill_od"] * path.outside)
        marks = np.clip(marks, 0.0, self.finished)  # no one can mark past an end
        ups: dict[int, int] = {}
        steps = []
        for bend in (number - 1 for number in self.order):
            found, made = self.lying(bend, frozenset(ups)), list(ups)
            near = [b for b in made if not any(min(b, bend) < other < max(b, bend) for other in made)]
            beside = made[-1] if made and made[-1] in near else min(near, default=-1)
            low, high = sorted((beside, bend))
            rotation = _wrapped(float(lra.rotations[low + 1 : high + 1].sum())) if made else 0.0
            # The side that is to lie up comes on top as the tube turns back by what that side is turned.
            back = -rotation if beside < bend else rotation
            turns = {up: _wrapped(back + math.pi * (ups.get(beside, up) != up)) for up in found.ups}
            up = min(turns, key=lambda up: (round(abs(turns[up]), 6), up))
            ups[bend] = up
            sides = {bend - 1: lra.lengths[bend], bend + 1: lra.lengths[bend + 1]}
            steps.append(
                Step(
                    bend=bend + 1,
                    straight=float(lra.lengths[bend]),
                    marks=marks[bend],
                    from_end=self.finished - marks[bend],
                    angle=float(lra.angles[bend]),
                    bend_to=float(lra.angles[bend]) * (1 + bench["over_bend"]),
                    beside=beside + 1,
                    rotation=rotation,
                    turn=turns[up],
                    hand="left" if up > 0 else "right",
                    over=found.high if up > 0 else found.low,
                    under=found.low if up > 0 else found.high,
                    lies=found.lies,
                    into=found.into,
                    near=tuple(b + 1 for b in sides if b in made and sides[b] < self.former - SLACK),
                )
            )
        return tuple(steps)

    # ------------------------------------------------------------------------------------------------- mirror

    @property
    def flat(self) -> bool:
        """True if the whole run lies in one plane."""
        return bool(np.all(np.abs(np.sin(self.path.lra.rotations)) <= math.sin(FLAT)))

    @cached_property
    def mirror(self) -> Mirror:
        """The run beside its mirror image."""
        lra, ahead = self.path.lra, self.path.turns.directions
        same = bool(bending.same_shape(lra, bending.mirrored(lra)))
        if self.flat:
            return Mirror(same)
        heights = (self.path.line[0] - self.path.points[0]) @ np.cross(ahead[0], ahead[1]) / math.sin(lra.angles[0])
        bend = int(np.argmax(np.abs(np.sin(lra.rotations)) > math.sin(FLAT)))
        rise = float(ahead[bend + 1] @ np.cross(ahead[0], ahead[1]))
        # Its other end up, or where that comes back into the plane, what leaves the plane first.
        up = np.sign(heights[-1] if abs(heights[-1]) > SLACK else rise)
        return Mirror(
            same=same,
            hand="left" if up > 0 else "right",
            bend=bend + 1,
            way="up" if up * rise > 0 else "down",
            height=abs(float(heights[-1])),
            low=abs(float((up * heights).min())),
            miss=2 * abs(float(heights[-1])),
        )

    @property
    def up(self) -> str:
        """Which way is up, in words that the mirrored tube does not meet."""
        if self.flat:
            flat = "It lies flat; turned over it is its own mirror."
            return flat if self.path.bends else "It is straight: there is no wrong way round."
        hold = f"Hold the tube with the end that goes to {self.path.ports[0].name} towards you and bend 1 turning "
        words = f"{hold}{self.mirror.hand}: then bend {self.mirror.bend} turns {self.mirror.way}."
        either = " Turned end for end it is its own mirror, so either hand is right."
        return words + (either if self.mirror.same else "")

    @cached_property
    def check_lengths(self) -> tuple[tuple[str, float], ...]:
        """What to measure on the finished tube, and what to find; legs up to where outer edges would meet. [m]"""
        path, half = self.path, self.path.outside / 2
        ends = [f"the {port.name} end" for port in path.ports]
        checks = [("straight across, end to end", float(np.linalg.norm(path.points[-1] - path.points[0])))]
        if path.bends:
            out = np.array([0.0, *(half * np.tan(path.turns.angles / 2)), 0.0])
            places = [ends[0], *(f"the outside of bend {n}" for n in range(1, path.bends + 1)), ends[1]]
            legs = zip(places, places[1:], (path.turns.legs + out[:-1] + out[1:]).tolist(), strict=False)
            checks += [(f"{one} to {other}", leg) for one, other, leg in legs]
            lies = f"over the bench to its middle, bend 1 flat and turning {self.mirror.hand}"
            checks += [(f"{ends[0]} {lies}", half), (f"{ends[1]} {lies}", half + self.mirror.height)]
        return tuple(checks)

    # -------------------------------------------------------------------------------------------- words, table

    def table(self, system: str = "metric") -> pd.DataFrame:
        """Return a row for each bend, in the order to make them; marks from the squared start end."""
        one_of("system", system, DISPLAY)
        long = DISPLAY[system]["length"]
        lengths = [f"{name} [{long.label}]" for name in ("straight before", "mark start", "mark middle", "mark end")]
        angles = ["rotation [°]", "angle [°]", "bend to [°]"]
        rows = [[s.bend, s.straight, *s.marks, s.rotation, s.beside or "–", s.angle, s.bend_to] for s in self.steps]
        frame = pd.DataFrame(rows, columns=["bend", *lengths, angles[0], "from bend", *angles[1:]])
        frame[lengths] = long.convert(frame[lengths].astype(float)).round(long.digits)
        frame[angles] = np.degrees(frame[angles].astype(float)).round(1) + 0.0  # no minus before a zero
        return frame

    @property
    def words(self) -> list[str]:
        """What to do, in order and in metric units."""
        return self.sentences()

    def sentences(self, system: str = "metric") -> list[str]:
        """Return what to do, in "metric" or "us" units: order, saw, each bend, which way is up, what to measure."""
        one_of("system", system, DISPLAY)
        mm = partial(show, kind="length", system=system)
        start, end = (port.name for port in self.path.ports)
        saw = self.saw_words(mm)
        out = [self.why, f"{saw} Bent, it is {mm(self.installed)} along its middle." if self.path.bends else saw]
        if self.path.bends:
            seen = "left, right and clockwise are as seen with that side of the tube towards you."
            line = f" and draw a line {mm(self.held[0] + self.squaring)} from it" if self.held[0] else ""
            out.append(f"Write {start} on one end{line}: marks count from there, and {seen}")
        last = [0, *self.order]
        out += [self._step_words(step, before, mm) for step, before in zip(self.steps, last, strict=False)]
        out.append(self.up)
        if not self.mirror.same:
            over, mirrored = (self.path.outside / 2 + side * self.mirror.height for side in (1, -1))
            hang = ", what goes lower over its edge" if self.mirror.low > SLACK else ""
            out.append(f"Lay it so on the bench{hang}: the middle of its {end} end is {mm(over)} above.")
            where = f"{mm(abs(mirrored))} {'above' if mirrored > 0 else 'below'}"
            where += f", and in the machine it misses {end} by {mm(self.mirror.miss)}."
            where = where if self.mirror.miss > 2 * SLACK else "there too, but the wrong way round."
            out[-1] += f" A mirrored tube, bend 1 turning the same way, has it {where}"
        found = "; ".join(f"{what}, {mm(length)}" for what, length in self.check_lengths)
        return [*out, f"Measure the finished tube: {found}."]

    def saw_words(self, mm: Callable[[float], str]) -> str:
        """Return in words what to saw: longer where there is too little to hold it by while it is bent."""
        saw = f"Saw {mm(self.blank)} of {self.path.tube.name}"
        if not any(self.held):
            return f"{saw} and square both ends: {mm(self.finished)} is left."
        more = " and ".join(
            f"{mm(long)} at the {port.name} end" for long, port in zip(self.held, self.path.ports, strict=True) if long
        )
        return f"{saw}: {more} more than it needs, to hold it by. Bent and cold, saw that off and square the ends."

    def _step_words(self, step: Step, last: int, mm: Callable[[float], str]) -> str:
        """Return one bend in words, after that of number `last`."""
        start, middle, end = map(mm, step.marks)
        takes = "warm the tube" if self.practice["method"] == "hot" else "it reaches"
        lay = f"lay the tube as for bend {step.beside}" if step.beside not in (0, last) else ""
        how = lay or ("leave the tube as it lies" if step.beside else "lay the tube flat")
        if abs(step.turn) > FLAT:
            how = f"{lay}, then " if lay else ""
            how += f"turn the tube {_turn(step.turn)}, so that what you bent before {_lies(step)}"
        words = f"Bend {step.bend}: {takes} from {start} to {end}, its middle at {middle}. "
        words += f"{how[0].upper()}{how[1:]}, and bend {_degrees(step.angle)} to the {step.hand}"
        words += f"; go to {_degrees(step.bend_to)}, it springs back." if step.bend_to > step.angle else "."
        fitting = "or make the run of two tubes with a fitting between."
        if step.lies != FREE:
            edge = "hold that side still over the edge of the bench and swing the other."
            block = f"set the former on a block higher than that, clear of what hangs down, {fitting}"
            words += f" What you bent before goes {mm(step.under)} lower than this bend: "
            words += edge if step.lies == EDGE else block
        if step.into:
            words += f" As it bends, what you bent before runs into the {step.into}: move a corner, {fitting}"
        for other in step.near:
            words += f" Bend {other} leaves less straight than the {mm(self.former)} a former wants: guide it by hand."
        return words


def work(
    path: TubePath, squaring: float = 0.001, stretch: float | None = None, over_bend: float | None = None
) -> BenchWork:
    """
    Return what a builder does at the bench for one run.

    Parameters
    ----------
    path : TubePath
        A laid run of one design.
    squaring : float
        What is left at each end to file it square, 0 to 0.05. [m]
    stretch, over_bend : float, optional
        What a practice bend told of this tube, shares of the arc (-0.5 to 0.5) and of the angle (0 to 0.5); by default
        those of data/bending.csv.

    Raises
    ------
    InputError
        If the run has radii of several designs, its material is not in data/bending.csv, or `squaring` is outside.

    Notes
    -----
    How a bench allows a bend (a model; common practice, no source): the plane of the bend lies on the bench and the
    tube is wrapped round a disc. What was bent before may stick out on the upper side only; failing that it may hang
    over the edge on one side, farther from the bend than a former wants straight, while the other side swings. On the
    way to the angle it must not meet the disc or the rest of the tube. The tube may be turned over, which mirrors
    nothing. Places are tried half a diameter apart, along the tube and on its way, so that a graze may be overlooked.
    """
    if np.ndim(path.radius):
        raise InputError(f"{path.name}, radius", "N designs", "one radius", "Choose one design first.")
    left = float(between("squaring", squaring, 0.0, 0.05, "m"))
    practice = dict(bending.for_material(path.tube.material, f"{path.tube.name}, material"))
    if stretch is not None:
        practice["stretch"] = float(between("stretch", stretch, -bending.MOST_STRETCH, bending.MOST_STRETCH))
    if over_bend is not None:
        practice["over_bend"] = float(between("over_bend", over_bend, 0.0, 0.5))
    return BenchWork(path, left, practice)


def planned(plan: Plan, name: str) -> BenchWork:
    """Return the bench work of a laid run of a plan, with its squaring and what its practice bend told; see `work`."""
    return work(plan.paths[name], plan.squaring, plan.stretch, plan.over_bend)


# ------------------------------------------------------------------------------------------------ on the bench


def _wrapped(angle: float) -> float:
    """Return an angle as one of -pi to pi, half a turn as +pi."""
    angle = math.remainder(angle, 2 * math.pi)
    return angle + 2 * math.pi if angle < bending.HAIR - math.pi else angle


def _arm(path: TubePath, bend: int, made: frozenset, way: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """
    Return one side of a bend, `way` +1 ahead and -1 behind: places, how far along the tube, and which are past a bend.

    Only the bends of `made` are bent. Origin where the bend ends on that side, x along the tube, z the bend's normal.
    """
    lra, last, radius = path.lra, path.bends - 1, float(path.radius)
    if way < 0:
        lra, bend, made = bending.from_other_end(lra), last - bend, {last - b for b in made}
    lengths, rotations, angles = (np.array(part[bend + 1 :]) for part in (lra.lengths, lra.rotations, lra.angles))
    still = np.array([b not in made for b in range(bend + 1, last + 1)], dtype=bool)
    lengths[1:][still] += radius * angles[still]
    angles[still] = 0.0
    points = bending.xyz(bending.Lra(lengths, rotations, angles), radius, np.zeros(3), [way, 0, 0], [0, 0, way])
    if lengths.sum() < bending.APART:
        return points[:1], np.zeros(1), np.zeros(1, dtype=bool)
    line, along = bending.line(points[np.r_[True, ~still, True]], radius)
    places = np.linspace(0.0, along[-1], math.ceil(along[-1] / (path.outside / 2)) + 1)
    fine = np.stack([np.interp(places, along, line[:, axis]) for axis in range(3)], axis=-1)
    return fine, places, np.cumsum(np.hypot(fine[:, 1], fine[:, 2]) > bending.ROUNDING) > 0


def _lying(path: TubePath, former: float, bend: int, made: frozenset) -> Lying:
    """Return how a bend, counted from 0, can be made with those of `made` already in the tube."""
    arms = {way: _arm(path, bend, made, way) for way in (-1, 1)}
    sides = {}
    for up in (-1, 1):
        below = {way: points[up * points[:, 2] < -SLACK] for way, (points, _, _) in arms.items()}
        hangs = [np.all(way * points[:, 0] >= former) for way, points in below.items() if len(points)]
        sides[up] = FREE if not hangs else EDGE if hangs == [True] else NOT
    heights = np.concatenate([points[:, 2] for points, _, _ in arms.values()])
    low, high = float(-heights.min()), float(heights.max())
    best = min(sides.values())
    ups = tuple(up for up in sides if sides[up] == best)
    if best == NOT and abs(high - low) > SLACK:  # where nothing helps, what reaches less far goes down
        ups = (1 if low < high else -1,)
    into = "" if best == NOT else _runs_into(path, float(path.lra.angles[bend]), *arms.values())
    return Lying(best, ups, low, high, into)


def _runs_into(path: TubePath, angle: float, start: tuple, end: tuple) -> str:
    """Return what the tube runs into on the way to an angle: the "former", the "tube" itself, or "" if it goes free."""
    (start, start_along, start_bent), (end, end_along, end_bent) = start, end
    if not (start_bent.any() or end_bent.any()):
        return ""
    half, radius, whole = path.outside / 2, float(path.radius), float(path.radius) * angle
    # The bend and what lies ahead of it: how far along the straight tube, how far beside it, what is past a bend.
    bow = np.linspace(0.0, whole, math.ceil(whole / half) + 1)
    ahead, y, z = np.concatenate([np.pad(bow[:, None], ((0, 0), (0, 2))), end + [whole, 0.0, 0.0]]).T
    bent = np.r_[np.zeros(len(bow), dtype=bool), end_bent]
    reach = whole + float(np.linalg.norm(end[:, :2], axis=1).max())
    turned = np.linspace(0.0, angle, math.ceil(angle * reach / half) + 1)[:, None]
    wrapped = np.minimum(np.r_[bow / radius, np.full(len(end), np.inf)], turned)
    cos, sin, on = np.cos(turned), np.sin(turned), ahead - radius * wrapped
    swung = [radius * np.sin(wrapped) + on * cos - y * sin, radius * (1 - np.cos(wrapped)) + on * sin + y * cos]
    swung = np.stack([*swung, np.broadcast_to(z, on.shape)], axis=-1)
    x, y, z = np.concatenate([start[start_bent], swung[:, bent].reshape(-1, 3)]).T
    beside = np.maximum(np.hypot(x, y - radius) - (radius - half), 0.0)
    if np.any(np.hypot(beside, np.maximum(np.abs(z) - half, 0.0)) < half - SLACK):
        return "former"
    # Places near along the tube always lie near each other, half a tight turn at most; only others can meet.
    apart = start_along[:, None] + np.r_[bow, whole + end_along] > math.pi * half
    meets = apart & (start_bent[:, None] | bent)
    near = cdist(start, swung.reshape(-1, 3)).reshape(len(start), *on.shape) < path.outside - SLACK
    return "tube" if np.any(near & meets[:, None]) else ""


# ---------------------------------------------------------------------------------------------------- in words


def _degrees(angle: float) -> str:
    return f"{math.degrees(angle):.1f}".removesuffix(".0") + "°"


def _turn(turn: float) -> str:
    """Return how far to turn a tube, and which way round."""
    if math.pi - abs(turn) < FLAT:
        return "half a turn"
    quarter = abs(abs(turn) - math.pi / 2) < FLAT
    return f"{'a quarter turn' if quarter else _degrees(abs(turn))} {'clockwise' if turn > 0 else 'anticlockwise'}"


def _lies(step: Step) -> str:
    """Return how what was bent before then lies."""
    if step.over > SLACK:
        return "points up" if step.lies == FREE else "points up or hangs down"
    return "lies flat" if step.lies == FREE else "hangs down"
