"""Drawings for the bench: a tube straight with its marks, the same tube bent, and bars of stock with what is sawn."""

from collections.abc import Iterable
from functools import lru_cache
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import PathCollection
from matplotlib.colors import to_hex, to_rgb, to_rgba
from matplotlib.path import Path

from loopmath import loop as tree
from loopmath import sight, style
from loopmath.cut_plan import PRACTICE, SPARE
from loopmath.routes import TubePath
from loopmath.sheet import HIGH, WIDE, Page
from loopmath.sight import DISC, LINE, Eye, disc, outline, strokes

#: Material of a tube -> its colour and the dashes along its middle (on, off), the second cue; None: no line.
LOOKS = {
    "PETG": ("#8DBEDD", None),
    "PMMA": ("#E3BDD1", (7.0, 4.0)),
    "copper": ("#EDB08A", (1e3, 1.0)),
    "": ("#C9C9C9", (1.5, 3.5)),
}
#: Quiet edges and metal of fittings; what is heated.
METAL, HOT = "#B4BCC2", "#F6D3B8"
#: Side of a cell in which room for words is counted; a tube drawn by itself is no thicker. [px]
CELL, THICK = 4.0, 28.0
#: What is nearer than this to a plane lies in it. [m]
FLAT = 5e-4
NOTHING, NOT_YET = "No run is laid in space yet.", "This run is not laid in space yet."


def look_of(path: TubePath) -> tuple[str, Any]:
    """Return the colour of a run's material, and the dashes along its middle."""
    return LOOKS.get(path.tube.material, LOOKS[""])


def plain(value: float, digits: int = 1, sign: str = "") -> str:
    """Return a number without a needless nought behind it."""
    return f"{value:{sign}.{digits}f}".removesuffix("." + "0" * digits).replace("-", "−")


# ------------------------------------------------------------------------------------------------------ the page


@lru_cache(512)
def _rgba(colour: str) -> tuple:
    return to_rgba(colour)


@lru_cache(512)
def paler(colour: str, share: float = 0.6) -> str:
    """Return a colour mixed with white."""
    return to_hex(1 - (1 - share) * (1 - np.array(to_rgb(colour))))


class Drawing(Page):
    """
    A page of the size of its axes, in pixels. All its shapes are one artist, painted in the order they were put down.

    `update` takes what the page of tube runs looks at: see `run_words.Looked`.
    """

    #: Words and lines made at once, so that a slider only moves them.
    most = (100, 6)

    def __init__(self, ax: Axes, system: str = "metric") -> None:
        place = ax.get_position()
        super().__init__(ax, system, WIDE * place.width, HIGH * place.height)
        self.moving.remove(self.shapes)
        self.paper = PathCollection([])
        ax.add_collection(self.paper, autolim=False)
        self.moving.append(self.paper)
        for kind, make, most in zip(("text", "line"), (self.text, self.line), self.most, strict=True):
            self.kept[kind] = [make() for _ in range(most)]

    def update(self, answer: Any) -> bool:
        """Draw an answer; return True if it took more words than were made."""
        self.laid: list[tuple] = []
        self.taken: list[tuple[float, float, float, float]] = []
        self.keep_clear(np.zeros((0, 2)))
        self.margin = 0.0
        made = len(self.moving)
        super().update(answer)
        self.paper.set_paths([path for path, *_ in self.laid])
        self.paper.set_facecolor(np.array([_rgba(face) for _, face, *_ in self.laid]).reshape(-1, 4))
        self.paper.set_edgecolor(np.array([_rgba(edge) for _, _, edge, _ in self.laid]).reshape(-1, 4))
        self.paper.set_linewidth([weight for *_, weight in self.laid] or 1.0)
        return len(self.moving) > made

    def put(self, path: Path, face: str, edge: str = "none", weight: float = style.HAIR) -> None:
        """Lay a shape on all that lies there; a shape without an edge has no width."""
        self.laid.append((path, face, edge, weight if edge != "none" else 0.0))

    def bar(self, left: float, right: float, top: float, bottom: float, *how: Any) -> None:
        """Lay down a rectangle."""
        self.put(outline([(left, top), (right, top), (right, bottom), (left, bottom)]), *how)

    def strokes(self, lines: Iterable[Any], colour: str, weight: float = style.HAIR) -> None:
        """Lay down lines of one colour."""
        self.put(strokes(lines), "none", colour, weight)

    def hatched(self, left: float, right: float, top: float, bottom: float, colour: str, gap: float = 6.0) -> None:
        """Lay slanted lines into a rectangle."""
        starts = np.arange(left - (bottom - top) + gap / 2, right, gap)
        low, high = np.maximum(starts, left), np.minimum(starts + bottom - top, right)
        ends = zip(low, high, starts, strict=True)
        self.strokes([[(a, bottom - a + at), (b, bottom - b + at)] for a, b, at in ends], colour)

    def arrow(self, middle: Any, way: Any, size: float = 9.0, face: str = style.INK, edge: str = "#FFFFFF") -> None:
        """Lay down an arrow head."""
        middle, ahead = np.asarray(middle), 0.55 * size * np.asarray(way)
        aside = 1.1 * np.array([-ahead[1], ahead[0]])
        self.put(outline([middle + ahead, middle - ahead + aside, middle - ahead - aside]), face, edge)

    def number(self, x: float, y: float, number: int, chosen: bool) -> None:
        """Put the number of a run on a disc; that of the chosen one is white on black."""
        face, ink = ("#FFFFFF", style.INK)[:: -1 if chosen else 1]
        self.put(disc(x, y, DISC + (number > 9)), face, style.INK, 1.2)
        self.say(x, y, str(number), ha="center", color=ink, weight="bold")

    def title(self, words: str, x: float = 2.0) -> None:
        """Put a title on top."""
        line = style.fitted(words, self.wide - x - 2, 1, style.PLAIN, bold=True)[0]
        self.say(x, 12, line, weight="bold", size=style.PLAIN)

    def move(self, left: float, wide: float, bottom: float, high: float) -> None:
        """Give the page another place on its figure of 880 x 424 pixels."""
        if (place := (left / WIDE, bottom / HIGH, wide / WIDE, high / HIGH)) != self.ax.get_position().bounds:
            self.ax.set_position(place)
            self.wide, self.high = wide, high
            self.ax.set(xlim=(0, wide), ylim=(high, 0))

    def nothing(self, words: str = NOTHING) -> None:
        """Say why there is nothing to draw."""
        self.lines(8, 44, words, self.wide - 16, 6, color=style.QUIET)

    # ----------------------------------------------------------------------------------------- room for words

    def keep_clear(self, spots: np.ndarray) -> None:
        """Keep words off some places (n, 2): how many lie left of and above each cell is counted once."""
        cells = (int(self.high / CELL) + 2, int(self.wide / CELL) + 2)
        x, y = np.clip((spots / CELL).astype(int), 0, (cells[1] - 2, cells[0] - 2)).T
        self.filled = np.zeros(cells, int)
        np.add.at(self.filled, (y + 1, x + 1), 1)
        self.filled = self.filled.cumsum(axis=0).cumsum(axis=1)

    def free(self, middles: np.ndarray, wide: float, high: float, tubes: bool = True) -> np.ndarray:
        """Return at which places (m, 2) words so large cover no other words, and no tube."""
        low = middles - (wide / 2, high / 2)
        up = low + (wide, high)
        page = (self.wide - 2, self.high - 2)
        good = ((low >= (2, 22)) & (up <= page)).all(axis=1)
        taken = np.array(self.taken).reshape(-1, 1, 4)
        good &= ((up <= taken[..., :2]) | (low >= taken[..., 2:])).any(axis=-1).all(axis=0)
        if tubes:
            cells = [(at / CELL).astype(int) + n for n, at in enumerate((low - self.margin, up + self.margin))]
            most = np.array(self.filled.shape[::-1]) - 1
            (x0, y0), (x1, y1) = (np.minimum(np.maximum(at, 0), most).T for at in cells)
            good &= self.filled[y1, x1] - self.filled[y0, x1] - self.filled[y1, x0] + self.filled[y0, x0] == 0
        return good

    def take(self, x: float, y: float, wide: float, high: float) -> None:
        """Keep a place for what stands there."""
        self.taken.append((x - wide / 2, y - high / 2, x + wide / 2, y + high / 2))

    def beside(self, x: float, y: float, wide: float, high: float, gaps: Iterable[float], tubes: bool = True) -> Any:
        """Return a place for words beside a point, at the first gap that leaves a free one; None if there is none."""
        ways = np.array([(1, 0), (-1, 0), (0, -1), (0, 1), (1, -1), (-1, -1), (1, 1), (-1, 1)])
        spots = np.concatenate([(x, y) + ways * (wide / 2 + gap, high / 2 + gap) for gap in gaps])
        taken = np.array([box for box in self.taken if not (box[0] <= x <= box[2] and box[1] <= y <= box[3])])
        way = np.linspace(0.1, 1.0, 10)[:, None, None]
        for spot in spots[self.free(spots, wide, high, tubes)]:
            lead = (x, y) + way * (spot - (x, y))
            across = (lead > taken.reshape(-1, 4)[:, :2]) & (lead < taken.reshape(-1, 4)[:, 2:])
            if not across.all(axis=-1).any():  # a line to it would strike no other words
                return tuple(spot.tolist())
        return None

    def nearest(self, x: float, y: float, wide: float, high: float) -> tuple[float, float]:
        """Return the place nearest to a point that covers no other words; the point itself if the page is full."""
        grid = np.array([(a, b) for a in np.arange(2.0, self.wide, 8.0) for b in np.arange(24.0, self.high, 8.0)])
        grid = grid[self.free(grid, wide, high, False)]
        return tuple(grid[np.argmin(np.hypot(*(grid - (x, y)).T))].tolist()) if len(grid) else (x, y)


# ----------------------------------------------------------------------------------------------------- the bench


def _chosen(answer: Any) -> TubePath | None:
    return answer.plan.paths.get(getattr(answer, "chosen", ""))


class RunStrip(Drawing):
    """The straight tube of the chosen run: where it is heated and bent, from its squared start end."""

    #: What the figures under a bend are.
    heads = ("bend by", "turned", "heat from", "middle", "to")

    def alt(self, answer: Any) -> str:
        """Return the drawing in words."""
        path, work, unit = _chosen(answer), answer.work, self.units["length"]
        if path is None or work is None:
            return NOT_YET
        zones = [f"bend {s.bend} from {unit.text(s.marks[0])} to {unit.text(s.marks[2])}" for s in work.steps]
        return f"{self._head(path, work)}. {'; '.join(zones) or 'No bend'}."

    def _head(self, path: TubePath, work: Any) -> str:
        cut, finished = (self.units["length"].text(long) for long in (work.blank, work.finished))
        return f"{path.name}, the straight tube: saw {cut}, finished {finished}"

    def show(self, answer: Any) -> None:
        """Draw the tube to scale, zones hatched, and under each bend its figures."""
        path, work, unit = _chosen(answer), answer.work, self.units["length"]
        if path is None or work is None:
            self.nothing(NOT_YET)
            return
        self.title(self._head(path, work))
        left = 12.0
        steps = sorted(work.steps, key=lambda step: step.bend)
        if steps:
            left += 8 + max(style.measured(words)[0] for words in self.heads)
        per = min((self.wide - 14 - left) / work.finished, THICK / path.outside)
        end, half = left + per * work.finished, per * path.outside / 2
        y = 68 + half
        self._ends(path, left, end)
        self.bar(left, end, y - half, y + half, "#FFFFFF", style.INK)
        for depth, play, a, sign in zip(path.insertion, path.play, (left, end), (1, -1), strict=True):
            b = a + sign * per * max(depth - play, 0.0)
            self.bar(min(a, b), max(a, b), y - half, y + half, METAL, style.INK)
        zones = [[left + per * float(mark) for mark in step.marks] for step in steps]
        for a, middle, b in zones:
            self.bar(a, b, y - half, y + half, HOT, style.INK)
            self.hatched(a, b, y - half, y + half, style.HEAT)
            self.strokes(sight.dashes(np.array([(middle, y - half - 5), (middle, y + half)]), 6, 3), style.INK, 1.2)
        turns = ["", *(f"{plain(np.degrees(turn), sign='+')}°".replace("+0°", "0°") for turn in path.lra.rotations[1:])]
        table = [(f"{plain(np.degrees(step.angle))}°", turns[step.bend - 1],
                  *(unit.text(float(mark), unit=False) for mark in step.marks)) for step in steps]  # fmt: skip
        self._columns([middle for _, middle, _ in zones], table, left, y + half)
        words = f"hatched: heat here; {unit.label} from the squared start end; " * bool(steps) + "grey: in its fitting"
        self.lines(8, self.high - 8, words, self.wide - 16, 1, color=style.QUIET)

    def _ends(self, path: TubePath, left: float, end: float) -> None:
        """Say which port each end goes to."""
        said = [f"{port.name} ({port.of})" if port.of else port.name for port in path.ports]
        ends = (f"◀ start: {said[0]}", f"end: {said[1]} ▶")
        first, last = (style.fitted(words, (self.wide - left - 40) / 2, 1)[0] for words in ends)
        self.say(left, 34, first)
        both = sum(style.measured(words)[0] for words in (first, last))
        self.say(max(end, left + 30 + both), 34, last, ha="right")

    def _columns(self, middles: list[float], table: list[tuple], left: float, y: float) -> None:
        """Write a column of figures under each bend, its number over it, as near as the columns have room."""
        wide = 8 + max((style.measured(cell)[0] for column in table for cell in column), default=0.0)
        most = int((self.wide - 6 - left) / wide)
        places: list[float] = []
        for x in middles[:most]:
            places.append(max(x, left + wide / 2, places[-1] + wide if places else 0.0))
        limit = self.wide - 4 - wide / 2
        for n in reversed(range(len(places))):
            places[n] = min(places[n], limit)
            limit = places[n] - wide
        top = y + 14
        for row, head in enumerate(self.heads if table else ()):
            self.say(left - 8, top + LINE * (row + 0.5), head, ha="right", color=style.QUIET)
        for number, (x, place, column) in enumerate(zip(middles, places, table, strict=False), start=1):
            self.say(x, 54, str(number), ha="center", weight="bold")
            self.strokes([[(x, y), (place, top)]], style.QUIET)
            for row, cell in enumerate(column):
                self.say(place, top + LINE * (row + 0.5), cell, ha="center", weight="normal" if row else "bold")
        if most < len(table):
            words = f"and {len(table) - most} more bends; the table has them all"
            self.say(self.wide - 8, self.high - 8, words, ha="right", color=style.QUIET)


class RunShape(Drawing):
    """The chosen run bent: in the plane of its first bend, and beside it what stands out of that plane."""

    def alt(self, answer: Any) -> str:
        """Return the drawing in words."""
        path, unit = _chosen(answer), self.units["length"]
        if path is None:
            return NOT_YET
        legs = ", ".join(unit.text(float(leg), unit=False) for leg in path.turns.legs)
        angles = ", ".join(f"{plain(angle)}°" for angle in np.degrees(path.turns.angles))
        return f"{path.name} bent: legs {legs} {unit.label}" + (f", angles {angles}." if angles else ".")

    def show(self, answer: Any) -> None:
        """Draw the run twice to one scale, its legs and angles labelled where they are seen best."""
        path, unit = _chosen(answer), self.units["length"]
        if path is None:
            self.nothing(NOT_YET)
            return
        axes, line = plane_of(path), sight.fine(path)[0]
        heights = (line - path.points[1]) @ axes[2]
        views = [axes] if np.ptp(heights) < FLAT else [axes, np.array([axes[0], axes[2], -axes[1]])]
        edges = np.concatenate([line + sign * path.outside / 2 * axis for axis in axes for sign in (1, -1)])
        cut = self.wide if len(views) == 1 else 0.56 * self.wide
        rooms = [(70, cut - 70, 44, self.high - 40), (cut + 20, self.wide - 110, 44, self.high - 40)][: len(views)]
        scales = [Eye.on(rows, edges, room).scale for rows, room in zip(views, rooms, strict=True)]
        scale = min(*scales, THICK / path.outside)
        eyes = [Eye.on(rows, edges, room, scale) for rows, room in zip(views, rooms, strict=True)]
        flat = "" if len(eyes) > 1 else ": it lies flat"
        self.title(f"Bent, in the plane of bend 1{flat}" if path.bends else "It is straight")
        clear = [eye.place(line) for eye in eyes]
        if len(eyes) > 1:
            up, down = float(heights.max()), -float(heights.min())
            words = [f"{unit.text(far)} {way}" for far, way in ((up, "up"), (down, "down")) if far > FLAT]
            self.title(f"Out of that plane: {', '.join(words)}", cut + 4)
            at = eyes[1].place(path.points[1])[1]
            level = np.array([(cut + 4, at), (self.wide - 6, at)])
            self.strokes(sight.dashes(level, 9, 4), style.QUIET)
            clear.append(sight.dashes(level, 3, 0).reshape(-1, 2))
        ink = {"tube": look_of(path)[0], "edge": style.INK, "metal": METAL}
        for eye in eyes:
            for _, _, shapes in sorted(sight.pieces(path, eye, style.HAIR, b""), key=lambda piece: piece[1]):
                for shape, what in shapes:
                    if what in ink:
                        self.put(shape, ink[what])
        self.keep_clear(np.concatenate(clear))
        self.margin = eyes[0].scale * path.outside / 2
        words = f"legs to the corners of the middle line, {unit.label}"
        self.lines(8, self.high - 8, words, self.wide - 16, 1, color=style.QUIET)
        self.take(self.wide / 2, self.high - 8, self.wide, LINE)
        self._label(path, eyes)

    def _label(self, path: TubePath, eyes: list[Eye]) -> None:
        """Name legs, bends and ends, each in the view that shows it larger."""
        unit, found, half = self.units["length"], path.turns, eyes[0].scale * path.outside / 2
        ahead, middles = found.directions, 0.5 * (path.points[1:] + path.points[:-1])
        bold, quiet = {"weight": "bold"}, {"color": style.QUIET}
        legs = [unit.text(float(leg), unit=False) for leg in found.legs]
        bend = "bend " if path.bends < 4 else ""
        bends = [f"{bend}{n}: {plain(angle)}°" for n, angle in enumerate(np.degrees(found.angles), start=1)]
        normals = np.cross(ahead[:-1], ahead[1:])
        labels = [(*bend, bold, True) for bend in zip(path.points[1:-1], normals, bends, strict=True)]
        labels += [(*leg, {}, False) for leg in zip(middles, ahead, legs, strict=True)]
        labels += [(port.at, ahead[n], port.name, quiet, False) for n, port in zip((0, -1), path.ports, strict=True)]
        for at, way, words, how, across in labels:
            # A leg is seen best across the view, a bend where its plane is seen from above.
            seen = [abs(way @ eye.axes[2]) * (1 if across else -1) for eye in eyes]
            wide = style.measured(words, bold="weight" in how)[0] + 4
            x, y = eyes[int(np.argmax(seen))].place(at)
            spot = self.beside(x, y, wide, LINE, half + np.array([5, 9, 16, 28, 44, 66]))
            if spot:
                self.take(*spot, wide, LINE)
                self.say(*spot, words, ha="center", **how)
                reach = np.array(spot) + np.clip(np.array([x, y]) - spot, (-wide / 2, -LINE / 2), (wide / 2, LINE / 2))
                if np.hypot(*(reach - (x, y))) > half + 12:
                    self.strokes([[(x, y), reach]], style.QUIET)


def plane_of(path: TubePath) -> np.ndarray:
    """
    Return axes of the plane of a run's first bend, as of `sight.frame`: the longer way to the right, out of it last.

    Out of it is where the run's other end lies, or where it goes farthest.
    """
    ahead = path.turns.directions
    out = np.cross(ahead[0], ahead[1] if path.bends else np.eye(3)[np.argmin(np.abs(ahead[0]))])
    out /= np.linalg.norm(out)
    heights = (path.points - path.points[0]) @ out
    far = heights[-1] if abs(heights[-1]) > FLAT else heights[np.argmax(np.abs(heights))]
    out = -out if far < -FLAT else out
    right, up = ahead[0], np.cross(out, ahead[0])
    if np.ptp(path.points @ up) > np.ptp(path.points @ right):
        right, up = up, -right
    return np.array([right, up, out])


class CutPicture(Drawing):
    """Every bar of stock to scale: the pieces sawn from it, the saw's gaps, what is left, and its price."""

    most = (160, 2)

    def alt(self, answer: Any) -> str:
        """Return the drawing in words."""
        return " ".join(f"{head}." for _, head, _ in self._cuttings(answer)) or "There is no tube to saw."

    def _cuttings(self, answer: Any) -> list[tuple[str, str, Any]]:
        """Return for every kind of tube its name, a title, and its plan of cuts."""
        out = []
        for name, one in answer.cuts.cuttings.items():
            lengths = [bar.stock.length for bar in one.bars]
            counts = {long: lengths.count(long) for long in sorted(set(lengths))}
            bars = " and ".join(f"{n} bar{'s' if n > 1 else ''} of {self._round(long)}" for long, n in counts.items())
            out.append((name, f"{name}: {bars}, {self.units['length'].text(one.offcut)} left over", one))
        return out

    def _round(self, long: float) -> str:
        unit = self.units["length"]
        return f"{plain(unit.convert(long), unit.digits)} {unit.label}"

    def show(self, answer: Any) -> None:
        """Draw a row for every bar."""
        every = self._cuttings(answer)
        count = sum(len(one.bars) for *_, one in every)
        if not count:
            self.nothing("There is no tube to saw.")
            return
        bars = [(n, bar) for *_, one in every for n, bar in enumerate(one.bars, start=1)]
        costs = [bar.stock.price for _, bar in bars]
        prices = ["" if cost is None else f"{cost:.2f} {answer.plan.currency}".strip() for cost in costs]
        leaves = tree.leaves(answer.plan.loop)
        made_of = {leaf.tube.name: leaf.tube.material for leaf in leaves if hasattr(leaf, "tube")}
        left = 12 + max(style.measured(f"{n}  {self._round(bar.stock.length)}")[0] for n, bar in bars)
        right = self.wide - 14 - max(style.measured(words)[0] for words in prices)
        per = (right - left) / max(bar.stock.length for _, bar in bars)
        step = min(max((self.high - 6 - 24 * len(every)) / count, 34.0), 74.0)
        y, drawn = 0.0, 0
        for name, head, one in every:
            if y + 24 + step > self.high - 18 * (drawn + len(one.bars) < count):
                break
            self.lines(2, y + 12, head, self.wide - 4, 1, weight="bold", size=style.PLAIN)
            y += 24
            colour = LOOKS.get(made_of.get(name, ""), LOOKS[""])[0]
            for _ in one.bars:
                if y + step > self.high - 18 * (drawn + 1 < count):
                    break
                (n, bar), words = bars[drawn], prices[drawn]
                self._bar(bar, left, per, y + step / 2, min(step - 8, 48.0), colour)
                self.say(left - 6, y + step / 2, f"{n}  {self._round(bar.stock.length)}", ha="right")
                self.say(left + per * bar.stock.length + 8, y + step / 2, words, color=style.QUIET)
                y, drawn = y + step, drawn + 1
        if drawn < count:
            words = f"and {count - drawn} more; the table has them all"
            self.say(left, self.high - 9, words, color=style.QUIET)

    def _bar(self, bar: Any, left: float, per: float, y: float, tall: float, colour: str) -> None:
        """Draw a bar: its pieces with name and length as far as they fit, the saw's cuts, and hatched what is left."""
        unit, top, bottom, end = self.units["length"], y - tall / 2, y + tall / 2, left + per * bar.stock.length
        kept = end - per * bar.offcut
        for (name, start, stop), after in zip(bar.cuts, [*(cut[1] for cut in bar.cuts[1:]), None], strict=True):
            a, b = left + per * start, left + per * stop
            aside = name == PRACTICE or name.startswith(SPARE)
            self.bar(a, b, top, bottom, paler(colour) if aside else colour, style.INK)
            long, room = unit.text(stop - start, unit=False), b - a - 6
            rows = int((tall + 3) / LINE)
            said = [*style.fitted(name, room, rows - 1), long] if rows > 1 else style.fitted(f"{long}  {name}", room, 1)
            lines = [words for words in said if style.measured(words)[0] <= room]
            for n, words in enumerate(lines):
                self.say((a + b) / 2, y + (LINE - 1) * (n - 0.5 * (len(lines) - 1)), words, ha="center")
            gap = kept if after is None else left + per * after
            if gap - b > 1e-6:
                self.bar(b, max(gap, b + 1.4), top - 3, bottom + 3, style.INK)
        if bar.offcut > 0:
            self.bar(kept, end, top, bottom, "#FFFFFF", style.QUIET)
            self.hatched(kept, end, top, bottom, METAL, 8.0)
            words = f"{unit.text(bar.offcut, unit=False)} left"
            wide = style.measured(words)[0] + 6
            if wide < end - kept:
                self.bar((kept + end - wide) / 2, (kept + end + wide) / 2, y - LINE / 2, y + LINE / 2, "#FFFFFF")
                self.say((kept + end) / 2, y, words, ha="center", color=style.QUIET)
