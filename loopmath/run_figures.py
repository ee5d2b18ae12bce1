"""Drawings of the machine with its tube runs, seen from any side, and what draws each view of that page."""

from collections.abc import Iterable
from functools import lru_cache
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from loopmath import sight, style
from loopmath.bench_figures import METAL, NOTHING, CutPicture, Drawing, RunShape, RunStrip, look_of, paler, plain
from loopmath.checks import one_of
from loopmath.plan import Plan
from loopmath.routes import Box, TubePath, word
from loopmath.run_words import CASE, CUTS, MARKS, WAYS
from loopmath.sheet import HIGH, WIDE
from loopmath.sight import DISC, LINE, Eye, disc, outline

TITLES = {"front": "Front", "right": "Right side", "rear": "Rear", "left": "Left side", "top": "Top"}
#: A view that shows three sides: azimuth and elevation of the eye. [degrees]
TURNED = (-35.0, 24.0)
#: Axes of the case in words.
AXES = ("to the right", "to the rear", "up")
#: What the colour of a tube says.
COLOURS = TEMPERATURE, MATERIAL = "temperature", "material"
#: Faces of bodies across x, y and z; quiet edges.
FACES, GREY = ("#E1E7EB", "#EDF1F4", "#F5F7F9"), "#B4BCC2"
#: Shapes of signal words, as in `style.SIGNALS`.
SHAPES = {"danger": "H", "warning": "^", "caution": "D", "notice": "o"}
#: Steps of a scale of lengths.
STEPS = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000)
#: Height of a row of the key. [px]
ROW = 18.0


@lru_cache(8)
def _laid(plan: Plan) -> tuple[dict[str, TubePath], tuple[Box, ...], np.ndarray]:
    """Return what is drawn of a plan, and the lowest and highest corner of all of it."""
    paths, bodies = plan.paths, plan.bodies
    ends = [np.zeros(3), np.array(plan.case_size)] if plan.case_size is not None else []
    ends += [corner for box in bodies for corner in (box.low, box.high)]
    for path in paths.values():
        ends += [path.points.min(axis=0) - path.outside / 2, path.points.max(axis=0) + path.outside / 2]
    return paths, bodies, np.array([np.min(ends, 0), np.max(ends, 0)]) if ends else np.zeros((2, 3))


@lru_cache(512)
def _warm(tenths: int) -> str:
    """Return the colour of coolant at tenths of a degree: a colour is looked up more slowly than a tube is drawn."""
    return style.warm_colour(tenths / 10)


def colours(plan: Plan, solution: Any, by: str) -> dict[str, tuple[str, Any, float | None]]:
    """Return of each laid run its colour, the dashes along its middle, and its temperature if that is known. [degC]"""
    rows = {row["element"].name: row for row in solution.walk} if solution is not None and solution.known else {}
    out = {}
    for name, path in _laid(plan)[0].items():
        warm = 0.5 * float(rows[name]["in"] + rows[name]["out"]) if name in rows else np.nan
        warm = warm if np.isfinite(warm) else None
        plain = style.PLAIN_TUBE if warm is None else _warm(round(10 * warm))
        out[name] = (*((plain, None) if by == TEMPERATURE else look_of(path)), warm)
    return out


class CaseView(Drawing):
    """
    The machine seen from one side: case, parts, ports and tubes to one scale.

    Parameters
    ----------
    view : str or tuple of 2 floats
        As in `sight.frame`.
    by : str
        What the colour of a tube says: `TEMPERATURE` or `MATERIAL`.
    """

    def __init__(self, ax: Axes, view: Any, system: str = "metric", by: str = TEMPERATURE) -> None:
        super().__init__(ax, system)
        self.by = one_of("by", by, COLOURS)
        self.turn(view)

    def turn(self, view: Any) -> None:
        """Look from another side."""
        self.view, self.axes = view, sight.frame(view)

    @property
    def called(self) -> str:
        """The view in words."""
        return TITLES[self.view] if isinstance(self.view, str) else f"From {word(self.axes[2])}".replace("up", "above")

    def alt(self, answer: Any) -> str:
        """Return the drawing in words."""
        paths, bodies, _ = _laid(answer.plan)
        words = "; ".join(f"{n} {name}" for n, name in enumerate(paths, start=1))
        said = f"{len(bodies)} parts and panels, tubes {words}." if paths else NOTHING
        return f"{self.called}: {said}"

    def show(self, answer: Any) -> None:
        """Draw the case, what is in it, the tubes, and what is flagged."""
        paths, bodies, ends = _laid(answer.plan)
        chosen, size, sided = getattr(answer, "chosen", ""), answer.plan.case_size, isinstance(self.view, str)
        self.title(self.called)
        if not np.any(ends):
            self.nothing()
            return
        room = (40.0, self.wide - 14.0, 44.0, self.high - 40.0)
        room = room if sided else (8.0, self.wide - 8.0, 42.0, self.high - 10.0)
        corners = sight.corners_of(ends)
        eye = Eye.on(self.axes, corners, room)
        top, self.low = eye.place(corners)[:, 1].min(), eye.place(corners)[:, 1].max()
        self.eye, self.low = eye._replace(y=eye.y + room[2] - top), self.low + room[2] - top
        if size is not None:
            self._case(np.array(size))
        self._rulers(ends) if sided else self._tripod(ends, size)
        parts = [box for box in bodies if not box.panel]
        solid = np.array([(box.low, box.high) for box in parts]).tobytes()
        for n, faces in sight.bodies(self.eye, solid):
            for k, corners in faces:
                self.put(outline(self.eye.place(corners)), FACES[k], style.QUIET if parts[n].of else GREY)
        if sided:
            self.put(sight.covered(self.eye, solid), "none", GREY)
        self._tubes(answer, paths, solid, chosen)
        lines = [sight.fine(path)[0] for path in paths.values()]
        tubes = self.eye.place(np.concatenate(lines)) if lines else np.zeros((0, 2))
        self.margin = 0.5 * self.eye.scale * max((path.outside for path in paths.values()), default=0.0)
        self.keep_clear(tubes)
        for box in (box for box in bodies if box.panel):
            for _, corners in sight.faces_of(box.low, box.high, self.axes[2]):
                ring = self.eye.place(np.vstack([corners, corners[:1]]))
                self.strokes(sight.dashes(ring, 6, 4) if box.must_open else [ring], style.QUIET, 1.1)
        self._marks(getattr(answer, "marks", ()))
        self._numbers(paths, solid, chosen)
        edges = [(box.low, box.high) for box in bodies] + ([(np.zeros(3), np.array(size))] if size is not None else [])
        self.keep_clear(np.concatenate([tubes, sight.rims(self.eye, np.array(edges).tobytes())]))
        self._run_names(paths, chosen)
        self.keep_clear(tubes)
        for lines, wide, high, spots, k in sight.rooms(self.eye, solid, tuple(box.name for box in parts)):
            found = np.flatnonzero(self.free(spots, wide, high))
            if len(found):
                x, y = spots[found[0]]
                self.take(x, y, wide, high)
                self.bar(x - wide / 2, x + wide / 2, y - high / 2, y + high / 2, FACES[k])
                for m, line in enumerate(lines):
                    self.say(x, y + LINE * (m - 0.5 * (len(lines) - 1)), line, ha="center", color=style.QUIET)

    def _case(self, size: np.ndarray) -> None:
        """Draw the edges of the case, those at its far corner paler."""
        corners = np.array([[k & 1, k >> 1 & 1, k >> 2] for k in range(8)]) * size
        far, flat = int(np.argmin(corners @ self.axes[2] + 1e-9 * np.arange(8))), self.eye.place(corners)
        edges = [(a, a | 1 << k) for k in range(3) for a in range(8) if not a >> k & 1]
        for colour, behind in ((style.GRID, True), (GREY, False)):
            self.strokes([flat[[a, b]] for a, b in edges if (far in (a, b)) == behind], colour, style.OUTLINE)

    def _tubes(self, answer: Any, paths: dict[str, TubePath], solid: bytes, chosen: str) -> None:
        """Draw tubes, fittings and ports, what is nearer over what is farther; what is behind a body is pale."""
        looks, all_pieces = colours(answer.plan, answer.solution, self.by), []
        for name, path in paths.items():
            colour, pattern, _ = looks[name]
            for seen, depth, shapes in sight.pieces(path, self.eye, 2.2 if name == chosen else style.HAIR, solid):
                ink = {"tube": colour, "edge": style.INK, "metal": METAL}
                ink = ink if seen else {what: paler(own) for what, own in ink.items()}
                all_pieces.append((seen, depth, shapes, ink, pattern))
        all_pieces.sort(key=lambda piece: piece[:2])
        for _, _, shapes, ink, pattern in all_pieces:
            for shape, what in shapes:
                if what != "middle":
                    self.put(shape, ink[what])
                elif pattern:
                    self.strokes(sight.dashes(shape, *pattern), ink["edge"], 1.2)
        used = {port.name for path in paths.values() for port in path.ports}
        for port in (port for port in answer.plan.ports if port.name not in used):
            boxes = np.frombuffer(solid).reshape(-1, 2, 3)
            behind = sight.hidden(port.at[None] + 1e-4 * port.facing, boxes, self.axes[2])[0]
            ink = paler(style.INK) if behind else style.INK
            self._port(*self.eye.place(port.at), port.facing @ self.axes.T, ink)

    def _port(self, x: float, y: float, way: np.ndarray, ink: str) -> None:
        """Draw a free port: an arrow head out of it; a round with a dot if it faces the eye, with a cross if away."""
        self.take(x, y, 12, 12)
        flat = way[:2] * (1, -1)
        if np.hypot(*flat) > 0.5:
            self.arrow((x, y) + 4 * flat / np.hypot(*flat), flat / np.hypot(*flat), 7.0, METAL, ink)
            return
        self.put(disc(x, y, 4.0), METAL, ink, 1.0)
        if way[2] > 0:
            self.put(disc(x, y, 1.2), ink)
        else:
            self.strokes([[(x - 2, y - 2), (x + 2, y + 2)], [(x - 2, y + 2), (x + 2, y - 2)]], ink, 1.0)

    def _marks(self, marks: Iterable[tuple]) -> None:
        """Flag places with the shape of their signal and its word, the gravest first."""
        order = list(style.SIGNALS)
        marks = sorted(marks, key=lambda mark: order.index(mark[0]))[:24]
        spots = self.eye.place(np.array([point for _, point, _ in marks]).reshape(-1, 3))
        for signal in order:
            own = [spot for spot, mark in zip(spots, marks, strict=True) if mark[0] == signal]
            if own:
                face = style.SIGNALS[signal][0]
                self.draw(*np.transpose(own), ls="", marker=SHAPES[signal], ms=10, color=face, mec=style.INK, zorder=4)
        for x, y in spots:
            self.take(x, y, 14, 14)
        for (signal, _, words), (x, y) in zip(marks, spots, strict=True):
            for said in (f"{signal}: {words}", signal) if words else (signal,):
                wide = style.measured(said, bold=True)[0] + 8
                where = self.beside(x, y, wide, LINE + 2, (9.0, 16.0, 28.0, 44.0, 66.0))
                if where:
                    self.take(*where, wide, LINE + 2)
                    self.strokes([[(x, y), where]], style.INK, 1.0)
                    left, top = where[0] - wide / 2, where[1] - LINE / 2 - 1
                    self.bar(left, left + wide, top, top + LINE + 2, "#FFFFFF", style.INK)
                    self.say(*where, said, ha="center", weight="bold")
                    break

    def _numbers(self, paths: dict[str, TubePath], solid: bytes, chosen: str) -> None:
        """Number every run on its tube, and put its arrow of flow."""
        stops = sight.stops(tuple(paths.values()), self.eye, solid) if paths else []
        self.numbers = []
        for number, (name, (spots, long, _)) in enumerate(zip(paths, stops, strict=True), start=1):
            found = np.flatnonzero(self.free(spots, 2 * DISC, 2 * DISC, False) & (long > 22))
            x, y = here = spots[found[0] if len(found) else 0].tolist()
            if not len(found):  # beside its tube, over others only where there is no room
                own = (self.beside(x, y, 2 * DISC, 2 * DISC, (6.0, 14.0, 24.0), free) for free in (True, False))
                x, y = next(filter(None, own), None) or self.nearest(x, y, 2 * DISC, 2 * DISC)
                self.strokes([[here, (x, y)]], style.INK)
            self.numbers.append((x, y))
            self.take(x, y, 2 * DISC + 2, 2 * DISC + 2)
            self.number(x, y, number, name == chosen)
        for spots, long, ways in stops:
            found = np.flatnonzero(self.free(spots, 10, 10, False) & (long > 12))
            if len(found):
                self.take(*spots[found[0]], 10, 10)
                self.arrow(spots[found[0]], ways[found[0]])

    def _run_names(self, paths: dict[str, TubePath], chosen: str) -> None:
        """Name runs beside their numbers where there is room, the chosen one first."""
        for name, (x, y) in sorted(zip(paths, self.numbers, strict=True), key=lambda item: item[0] != chosen):
            how = {"weight": "bold"} if name == chosen else {}
            wide = style.measured(name, bold=bool(how))[0] + 4
            spot = self.beside(x, y, wide, LINE - 1, (DISC + 2,))
            if spot:
                self.take(*spot, wide, LINE)
                self.say(*spot, name, ha="center", **how)

    def _rulers(self, ends: np.ndarray) -> None:
        """Draw the two axes of the case that are seen, at the left and at the bottom."""
        unit, axes = self.units["length"], [int(np.argmax(np.abs(row))) for row in self.axes[:2]]
        flat, low, high = self.eye.place(ends), *(unit.convert(end) for end in ends)
        bottom, left = flat[:, 1].max() + 5, flat[:, 0].min() - 5
        step = next(s for s in STEPS if self.eye.scale * unit.back(s) >= 36)
        for n, m in enumerate(axes):
            ticks = step * np.arange(np.ceil(low[m] / step - 1e-9), np.floor(high[m] / step + 1e-9) + 1) + 0.0
            at = self.eye.place(unit.back(ticks)[:, None] * np.eye(3)[m])[:, n]
            places = [(left - 6, y) for y in at] if n else [(x, bottom + 11) for x in at]
            lines = [[(left - 4, y), (left, y)] for y in at] if n else [[(x, bottom), (x, bottom + 4)] for x in at]
            self.strokes(lines, style.QUIET)
            for place, tick in zip(places, ticks, strict=True):
                self.say(*place, f"{tick:.0f}", ha="right" if n else "center", color=style.QUIET)
        across, up = (f"{AXES[m]}, {unit.label}" for m in axes)
        across, up = f"← {across}" if self.axes[0].min() < -0.5 else f"{across} →", f"↑ {up}"
        half = style.measured(across)[0] / 2
        self.say(min(max(flat[:, 0].mean(), half + 2), self.wide - half - 2), bottom + 25, across, ha="center",
                 color=style.QUIET)  # fmt: skip
        top = flat[:, 1].min() - 14
        self.say(2, top, up, color=style.QUIET)
        self.take(2 + style.measured(up)[0] / 2, top, style.measured(up)[0], LINE)
        self.take(self.wide / 2, bottom + 22, self.wide, 36)
        self.take(left - 18, self.high / 2, 36, self.high)

    def _tripod(self, ends: np.ndarray, size: Any) -> None:
        """Draw which way the axes of the case run, and say how large it is."""
        unit = self.units["length"]
        if size is not None:
            words = " × ".join(plain(unit.convert(side), unit.digits) for side in size)
            self.lines(2, 30, f"case {words} {unit.label}", self.wide - 4, 1, color=style.QUIET)
            self.take(self.wide / 2, 30, self.wide, LINE)
        arms = []
        for name, arm in zip(("right", "rear", "up"), self.axes[:2].T * (22, -22), strict=True):
            if (long := np.hypot(*arm)) > 2:  # otherwise it runs at the eye
                wide = style.measured(name)[0]
                aside = np.sign(arm[0]) * wide / 2 if abs(arm[0]) > 2 else 0.0
                arms.append((name, wide, arm, arm * (1 + 9 / long) + (aside, 0.0)))
        lefts, rights = zip(*((at[0] - wide / 2, at[0] + wide / 2) for _, wide, _, at in arms), strict=True)
        low = min(self.high - 12 - max(0.0, *(at[1] for *_, at in arms)), self.low + 44)
        feet = [np.array([x, y]) for y in (low, 76.0) for x in (4 - min(lefts), self.wide - 4 - max(rights))]
        rims = sight.rims(self.eye, ends.tobytes())
        foot = min(feet, key=lambda foot: np.count_nonzero(np.all(np.abs(rims - foot) < (50, 34), axis=1)))
        for name, wide, arm, at in arms:
            self.strokes([[foot, foot + arm]], style.QUIET, 1.2)
            spots = foot + at + [(0.0, dy) for dy in (0, -7, 7, -14, 14, -21)]
            x, y = spots[np.argmax(self.free(spots, wide, 12, False))]
            self.take(x, y, wide, 12)
            self.say(x, y, name, ha="center", color=style.QUIET)
        self.take(*foot, 24, 24)


class RunKey(Drawing):
    """What numbers and colours of the views mean: every run by number, name and temperature or material."""

    def __init__(self, ax: Axes, system: str = "metric", by: str = TEMPERATURE) -> None:
        super().__init__(ax, system)
        self.by = one_of("by", by, COLOURS)

    def show(self, answer: Any) -> None:
        """Draw the scale of temperatures and what else is told by a line, then the runs in columns."""
        paths, bodies, _ = _laid(answer.plan)
        warm, chosen = self.units["temperature"], getattr(answer, "chosen", "")
        x = 4.0
        if not paths:
            self.say(x, 10, NOTHING, weight="bold")
            x += style.measured(NOTHING, bold=True)[0] + 18
        elif self.by == TEMPERATURE:
            x = self._scale(x, 10)
        told = [("pale: behind a part", bool(paths)), ("dashed: comes off", any(box.must_open for box in bodies))]
        for words in (words for words, there in told if there):
            self.say(x, 10, words, color=style.QUIET)
            x += style.measured(words)[0] + 18
        looks = colours(answer.plan, answer.solution, self.by)
        columns, rows = self.columns(list(paths), self.high), int((self.high - 20) / ROW)
        names = list(paths)[: sum(map(len, columns))]
        for n, name in enumerate(names):
            colour, pattern, known = looks[name]
            what = "" if known is None else warm.text(known, unit=False)
            what = paths[name].tube.material if self.by == MATERIAL else what
            x = 4 + sum(self._widths(columns)[: n // rows])
            y = 20 + ROW * (n % rows + 0.5)
            self.number(x + DISC, y, n + 1, name == chosen)
            self.bar(x + 22, x + 46, y - 4, y + 4, colour, style.INK)
            if pattern:
                self.strokes(sight.dashes(np.array([(x + 22, y), (x + 46, y)]), *pattern), style.INK, 1.2)
            self.say(x + 52, y, f"{name}, {what}".rstrip(", "), weight="bold" if name == chosen else "normal")
        if len(names) < len(paths):
            words = f"and {len(paths) - len(names)} more"
            self.say(self.wide - 6, 10, words, ha="right", color=style.QUIET)

    def columns(self, names: list[str], high: float) -> list[list[str]]:
        """Return runs in columns as many as have room."""
        rows = max(int((high - 20) / ROW), 1)
        columns = [names[n : n + rows] for n in range(0, len(names), rows)]
        while columns and sum(self._widths(columns)) > self.wide:
            columns.pop()
        return columns

    def _widths(self, columns: list[list[str]]) -> list[float]:
        most = ", 100.0" if self.by == TEMPERATURE else ", copper"
        return [64 + max(style.measured(name + most, bold=True)[0] for name in names) for names in columns]

    def _scale(self, x: float, y: float) -> float:
        """Draw the scale of temperatures, and return where it ends."""
        unit, shades = self.units["temperature"], np.linspace(style.WARM_LOW, style.WARM_HIGH, 33)
        title, step = f"coolant, {unit.label}", 3.6
        self.say(x, y, title, color=style.QUIET)
        x += style.measured(title)[0] + 8
        for n, ends in enumerate((style.WARM_LOW, style.WARM_HIGH)):
            words = f"{'≤≥'[n]} {unit.convert(ends):.0f}"
            self.say(x, y, words, color=style.QUIET)
            x += style.measured(words)[0] + 5
            for shade in shades if not n else ():
                self.bar(x, x + step + 0.5, y - 5, y + 5, _warm(round(10 * shade)))
                x += step
            x += 0 if n else 5
        return x + 18


class Machine:
    """
    Views of a machine side by side on a figure of 880 x 424 pixels, each as wide as it needs, and their key below.

    Attributes
    ----------
    turned : tuple of 2 floats
        Where the eye of the last view is; see `sight.frame`. It may be set at any time. [degrees]
    """

    def __init__(self, figure: Any, system: str = "metric", by: str = TEMPERATURE, turned: Any = TURNED,
                 sides: Iterable[str] = ("front", "left", "top")) -> None:  # fmt: skip
        self.turned = turned
        place = (0.0, 0.0, 1.0, 1.0)
        self.views = [CaseView(figure.add_axes(place), view, system, by) for view in (*sides, turned)]
        self.key = RunKey(figure.add_axes(place), system, by)
        self.moving = [artist for picture in (*self.views, self.key) for artist in picture.moving]

    def alt(self, answer: Any) -> str:
        """Return the drawing in words."""
        return " ".join([f"{view.called}." for view in self.views[1:]] + [self.views[0].alt(answer)])

    def update(self, answer: Any) -> bool:
        """Draw an answer; return True if it took more words than were made."""
        self.views[-1].turn(self.turned)
        paths, _, ends = _laid(answer.plan)
        held = [sum(map(len, self.key.columns(list(paths), 20 + ROW * rows))) for rows in range(1, 4)]
        key = 24 + ROW * (1 + int(np.argmax([*held, len(paths)])))  # the fewest rows that hold most
        self.key.move(0.0, WIDE, 0.0, key)
        left = 0.0
        for view, wide in zip(self.views, self._widths(np.ptp(ends, axis=0), HIGH - key), strict=True):
            view.move(left, wide, key, HIGH - key)
            left += wide
        stepped = [picture.update(answer) for picture in (*self.views, self.key)]
        self.moving[:] = [artist for picture in (*self.views, self.key) for artist in picture.moving]
        return any(stepped)

    def _widths(self, size: np.ndarray, high: float) -> list[float]:
        """Return how wide each view is for a machine of some size [m], so that all have one scale, but for the last."""
        spans = np.array([np.abs(view.axes[:2]) @ np.maximum(size, 1e-3) for view in self.views[:-1]])
        last = 0.9 * np.hypot(*np.maximum(size[:2], 1e-3))  # whichever way it is turned
        scale = min((high - 84) / spans[:, 1].max(), (WIDE - 58 * len(spans) - 20) / (spans[:, 0].sum() + last))
        wides = [*np.maximum(58 + scale * spans[:, 0], 128.0), max(20 + scale * last, 150.0)]
        return [wide + (WIDE - sum(wides)) / len(wides) for wide in wides]


def pictures(figure: Any, view: str, system: str = "metric", by: str = TEMPERATURE, turned: Any = TURNED) -> list[Any]:
    """Put what draws a view of the page of tube runs on a figure of 880 x 424 pixels."""
    if view in (CASE, WAYS):
        return [Machine(figure, system, by, turned)]
    if view == CUTS:
        return [CutPicture(figure.add_axes((0.0, 0.0, 1.0, 1.0)), system)]
    share = {MARKS: 204.0}[view] / HIGH
    return [RunStrip(figure.add_axes((0.0, 1 - share, 1.0, share)), system),
            RunShape(figure.add_axes((0.0, 0.0, 1.0, 1 - share)), system)]  # fmt: skip
