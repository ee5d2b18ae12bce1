"""
The loop drawn from its tree: parts as symbols, tubes as lines between them, temperatures at their places.

`layout` says where everything stands; here it is drawn, and read aloud. Artists carry an id by what they show
(`name-3`, `warm-3`, `tube-3`: of the element 3 in flow order), which a picture saved as SVG keeps.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from matplotlib import patches
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from loopmath import layout, style
from loopmath import loop as tree
from loopmath.checks import InputError
from loopmath.designs import one_design
from loopmath.layout import GUTTER, LEFT, LEG, RIGHT, SIZES, UNDER, Cell, Rows
from loopmath.solution import Solution
from loopmath.style import DOTS
from loopmath.units import DISPLAY

TOP, FOOT = 14.0, 58.0  # margins over the first row, and under the closing line for the scale


def _changed(row: dict) -> bool:
    """Return whether an element warms or cools the coolant."""
    return bool(abs(row["out"] - row["in"]) > 1e-9)


def _joins(item: Any, rows: Iterator[dict], warm: Any, joined: dict[int, Any]) -> tuple[Any, Any]:
    """Return temperature and flow behind an item; note in `joined` the temperature where each group's branches join."""
    if isinstance(item, tree.Parallel):
        ways = [_joins(branch, rows, warm, joined) for branch in item.branches]
        flow = sum(through for _, through in ways)
        joined[id(item)] = sum(warm * through for warm, through in ways) / flow
        return joined[id(item)], flow
    if isinstance(item, tree.Series):
        flow = None
        for child in item.items:
            warm, through = _joins(child, rows, warm, joined)
            flow = flow if through is None else through
        return warm, flow
    row = next(rows)
    return (warm, None) if isinstance(item, tree.DeadLeg) else (row["out"], row["flow"])


@dataclass(frozen=True, eq=False)
class _Answer:
    """What a drawing takes from a solution: rows in flow order, temperatures of joins and of the start. [degC]"""

    rows: list[dict]
    joined: dict[int, Any]
    start: Any

    @classmethod
    def of(cls, loop: tree.Series, solution: Solution | None) -> "_Answer | None":
        """Return it for the loop that is drawn; None where no temperature is known."""
        if solution is None:
            return None
        one_design("solution", solution.designs, "Solve the one to be drawn.")
        if [row["element"].name for row in solution.walk] != [leaf.name for leaf in tree.leaves(loop)]:
            raise InputError("solution", "of another loop", "the solution of the loop that is drawn")
        if not solution.known:
            return None
        start = next(row["in"] for row in solution.walk if not isinstance(row["element"], tree.DeadLeg))
        joined: dict[int, Any] = {}
        _joins(loop, iter(solution.walk), start, joined)
        return cls(solution.walk, joined, start)


# ----------------------------------------------------------------------------------------------------- drawing


class _Pen:
    """Draws a layout on an Axes; without an answer no temperature is known."""

    def __init__(self, ax: Axes, units: dict, answer: _Answer | None) -> None:
        self.ax, self.units, self.answer = ax, units, answer

    def tube(self, path: list, warm: float | None, gid: str, cap: str = "round") -> None:
        """Draw a stretch of tube: its colour over a thin dark edge."""
        colour = style.PLAIN_TUBE if warm is None else style.warm_colour(warm)
        x, y = zip(*path, strict=True)
        how = {"solid_capstyle": cap, "solid_joinstyle": "round"}
        self.ax.add_line(Line2D(x, y, color=style.INK, lw=style.TUBE + 2 * style.HAIR, zorder=1, **how))
        self.ax.add_line(Line2D(x, y, color=colour, lw=style.TUBE, zorder=2, gid=gid, **how))

    def shape(self, patch: Any, gid: str | None = None, **how: Any) -> None:
        """Add a filled shape with the outline all symbols have."""
        patch.set(**({"ec": style.INK, "lw": style.OUTLINE, "zorder": 4, "gid": gid} | how))
        self.ax.add_patch(patch)

    def arrow(self, x: float, y: float, way: float = 1.0) -> None:
        """Draw an arrow head with its tip at a place, to the right or (-1) to the left."""
        corners = [(x, y), (x - way * 12, y - 7), (x - way * 12, y + 7)]
        self.shape(patches.Polygon(corners), fc=style.INK, ec="white", lw=style.HAIR, zorder=3)

    def words(self, x: float, y: float, text: str, gid: str, **how: Any) -> None:
        """Write text as it stands: a name may have a dollar sign in it."""
        plain = {"ha": "center", "va": "top", "fontsize": style.SMALL, "zorder": 5}
        self.ax.text(x, y, text, parse_math=False, gid=gid, **(plain | how))

    def labels(self, cell: Cell, x: float, y: float, answer: str = "") -> None:
        """Write an element's labels one under the other, its answer in the room kept for it."""
        labels = *cell.labels[:2], replace(cell.labels[2], lines=(answer,) if answer else ())
        for label, kind in zip(labels, ("name", "about", "answer"), strict=True):
            if label.lines:
                how = {"fontsize": label.size, "weight": "bold" if label.bold else "normal", "color": label.colour}
                # A single line is set without leading.
                drop = style.LEADING / 2 * label.size * DOTS / 72 if len(label.lines) == 1 else 0.0
                self.words(x, y + drop, "\n".join(label.lines), f"{kind}-{cell.number}", **how)
            y += label.height

    def figure(self, x: float, y: float, warm: float, gid: str, **how: Any) -> None:
        """Print a temperature, its unit left to the scale."""
        text = self.units["temperature"].text(float(warm), unit=False)
        self.words(x, y, text, gid, **({"ha": "left", "weight": "bold"} | how))

    def dot(self, x: float, y: float) -> None:
        """Mark a junction."""
        self.shape(patches.Circle((x, y), 6), f"dot-{x:.0f}-{y:.0f}", fc=style.INK, ec="white", lw=style.HAIR)

    def series(self, block: Rows, left: float, top: float, start: list, end: list, warm: Any) -> Any:
        """Draw a series from the points of `start` to those of `end`; return the temperature at its end."""
        path, gid, right = list(start), "tube-start", left + block.width
        for place, row in enumerate(block.rows):
            line = top + block.lines[place]
            if place:
                back = top + block.gutters[place - 1]
                path += [(right, path[-1][1]), (right, back), (left, back), (left, line)]
                self.arrow((left + right) / 2 - 6, back, -1.0)
            for cell, x in row:
                if isinstance(cell.item, tree.Run):
                    self.labels(cell, left + x, line - cell.up)
                    continue
                self.tube([*path, (left + x, line)], warm, gid)
                draw = self.group if cell.branches else self.leg if isinstance(cell.item, tree.DeadLeg) else self.part
                warm = draw(cell, left + x, line, warm)
                path = [(left + x + (cell.after if cell.branches else 0.0), line)]
                gid = f"tube-{cell.number}"
        self.tube([*path, *end], warm, gid)
        return warm

    def leg(self, cell: Cell, x: float, y: float, warm: Any) -> Any:
        """Hang a dead leg on the line: it stands at the temperature of the air around it."""
        own = self.answer.rows[cell.number]["in"] if self.answer else None
        self.tube([(x, y), (x, y + LEG)], own, f"leg-{cell.number}", "butt")
        self.ax.add_line(Line2D([x - 8, x + 8], [y + LEG] * 2, color=style.INK, lw=2 * style.OUTLINE, zorder=3))
        self.dot(x, y)
        self.labels(cell, x, y + LEG + 6)
        if self.answer:
            self.figure(x + 8, y + 0.55 * LEG, own, f"warm-{cell.number}", va="center")
        return warm

    def part(self, cell: Cell, x: float, y: float, _: Any) -> Any:
        """Draw a part on the line with its name; return the temperature behind it."""
        row = self.answer.rows[cell.number] if self.answer else None
        self.arrow(x - cell.before - 3, y)
        for place, (patch, how) in enumerate(_symbol(cell.item.kind, x, y)):
            self.shape(patch, None if place else f"symbol-{cell.number}", **how)
        self.labels(cell, x, y + UNDER, layout.about_part(cell.item, row, self.units)[1] if row else "")
        if row and _changed(row):
            self.figure(x + cell.after + 5, y + 7, row["out"], f"warm-{cell.number}")
        return row and row["out"]

    def group(self, cell: Cell, x: float, y: float, warm: Any) -> Any:
        """Draw a group's bars and branches; return the temperature where they join."""
        end, top, starts, ends = x + cell.after, y - cell.up, [], [y]
        for branch in cell.branches:
            starts.append(top + branch.lines[0])
            ends.append(top + branch.lines[-1])
            self.series(branch, x + cell.inset, top, [(x, starts[-1])], [(end, ends[-1])], warm)
            if all(cell.step == 1.0 for row in branch.rows for cell, _ in row):  # bare tube: no part has its arrow
                self.arrow(end - 18, ends[-1])
            top += branch.height + layout.BRANCH_GAP
        mixed = self.answer and self.answer.joined[id(cell.item)]
        for place, points, at in ((x, starts, warm), (end, ends, mixed)):
            self.tube([(place, min(points)), (place, max(points))], at, f"bar-{place:.0f}-{cell.number}")
            for point in {round(point, 3) for point in points}:
                self.dot(place, point)
        if mixed is not None:
            self.figure(end + 8, y + 7, mixed, f"mixed-{cell.number}")
        return mixed


def _symbol(kind: str, x: float, y: float) -> list[tuple[Any, dict]]:
    """Return the shapes of a symbol: outline first, then what is on it."""
    wide, high = SIZES.get(kind, SIZES["other"])
    corner, across, tall = (x - wide, y - high), 2 * wide, 2 * high
    on = {"lw": 0.0, "fc": "white"}
    if kind == "pump":
        wing = patches.Polygon([(x + 15, y), (x - 9, y - 13), (x - 9, y + 13)])
        return [(patches.Circle((x, y), wide), {"fc": style.PUMP}), (wing, on)]
    if kind == "block":
        inner = patches.Rectangle((x - 11, y - 11), 22, 22)
        return [(patches.Rectangle(corner, across, tall), {"fc": style.HEAT}), (inner, on)]
    if kind == "radiator":
        fins = [(patches.Rectangle((x + at - 1.5, y - 16), 3, 32), on) for at in (-15, -7.5, 0, 7.5, 15)]
        return [(patches.Rectangle(corner, across, tall), {"fc": style.AIR}), *fins]
    if kind == "reservoir":
        tank = patches.FancyBboxPatch(corner, across, tall, boxstyle="round,pad=0,rounding_size=10")
        level = (x - wide + 5, y - 8), across - 10, high + 3
        filled = patches.FancyBboxPatch(*level, boxstyle="round,pad=0,rounding_size=6")
        return [(tank, {"fc": "white"}), (filled, on | {"fc": style.LIQUID})]
    corners = 4 if kind == "fitting" else 6
    shape = patches.RegularPolygon((x, y), corners, radius=wide, orientation=np.pi / 2)
    return [(shape, {"fc": style.GRID})]


def _loop_of(plan: Any) -> tree.Series:
    """Return the loop of a plan, or the loop given as such."""
    loop = getattr(plan, "loop", plan)
    if not any(tree.leaves(loop)):
        raise InputError("loop", "nothing", "elements in flow order")
    return loop


def size_of(plan: Any, width: float = 1000, system: str = "metric") -> tuple[int, int]:
    """Return width and height [px] a drawing of a plan or loop takes, solved or not."""
    block = layout.laid_out(_loop_of(plan), width, DISPLAY[system])
    return int(width), int(np.ceil(TOP + block.height + GUTTER + FOOT))


def draw_schematic(ax: Axes, plan: Any, solution: Solution | None = None, system: str = "metric") -> Axes:
    """
    Draw the loop of a plan: parts in flow order, and once solved the temperatures of the coolant.

    Parameters
    ----------
    ax : Axes
        At least as large as `size_of` says for its width.
    plan : Plan or Series
        What is drawn.
    solution : Solution, optional
        Its answer; one design. Without it the tubes are plain and nothing that must be solved is printed.
    system : str
        "metric" or "us".

    Raises
    ------
    InputError
        If the axes are too small, the solution is of another loop or of many designs.
    """
    loop, units = _loop_of(plan), DISPLAY[system]
    answer = _Answer.of(loop, solution)
    width, height = (side / ax.figure.dpi * DOTS for side in ax.get_window_extent().size)
    block = layout.laid_out(loop, width + 0.5, units)
    tall = TOP + block.height + GUTTER + FOOT
    if tall > height + 1:
        raise InputError("height of the axes", f"{height:.0f} px", f"{tall:.0f} px or more", "Ask `size_of`.")
    ax.set_axis_off()
    left = max(LEFT, np.floor((width - block.width + LEFT - RIGHT) / 2))
    top = TOP + np.floor((height - tall) / 2)
    pen = _Pen(ax, units, answer)
    first, right = top + block.lines[0], left + block.width
    back, far = top + block.height + GUTTER / 2, left - 20
    end = [(right, top + block.lines[-1]), (right, back), (far, back), (far, first), (left, first)]
    pen.series(block, left, top, [(left, first)], end, answer and answer.start)
    pen.arrow((left + right) / 2 - 6, back, -1.0)
    _foot(pen, solution, width, top + block.height + GUTTER + 8, far)
    ax.set(xlim=(0, width), ylim=(height, 0))
    return ax


def _state(solution: Solution | None) -> str:
    """Return why no temperature is there."""
    return f"No temperature is stated. {solution.plight}" if solution else "Drawn from the plan; not solved yet."


def _foot(pen: _Pen, solution: Solution | None, width: float, y: float, left: float) -> None:
    """Draw the scale of temperatures under the loop, or say why there are none."""
    if not pen.answer:
        bold = solution is not None
        text = "\n".join(style.fitted(_state(solution), width - 2 * left, 2, style.PLAIN, bold))
        weight = "bold" if bold else "normal"
        pen.words(left, y + 6, text, "state", ha="left", fontsize=style.PLAIN, weight=weight)
        return
    unit = pen.units["temperature"]
    title = f"coolant, {unit.label}"
    pen.words(left, y + 4, title, "scale", ha="left")
    start, across, steps = left + style.measured(title)[0] + 32, 240.0, 64
    shades = np.linspace(style.WARM_LOW, style.WARM_HIGH, steps)
    edges = start + across * np.arange(steps + 1) / steps
    pen.ax.pcolormesh(edges, [y + 6, y + 17], shades[None, :], cmap=style.WARM_MAP, edgecolors="face", lw=0.2)
    pen.shape(patches.Rectangle((start, y + 6), across, 11), fc="none", lw=style.HAIR)
    ticks = np.arange(style.WARM_LOW, style.WARM_HIGH + 1, 10.0)
    for share, tick in zip(np.linspace(0, 1, len(ticks)), ticks, strict=True):
        sign = {0.0: "≤ ", 1.0: "≥ "}.get(share, "")
        pen.words(
            start + share * across, y + 21, f"{sign}{unit.convert(tick):.0f}", f"tick-{tick:.0f}", color=style.QUIET
        )


def schematic_figure(
    plan: Any, solution: Solution | None = None, width: float = 1000, system: str = "metric"
) -> Figure:
    """Return a figure of its own, `width` pixels wide and as tall as the loop asks for."""
    with style.look():
        size = size_of(plan, width, system)
        figure = Figure(figsize=(size[0] / DOTS, size[1] / DOTS), dpi=DOTS)
        draw_schematic(figure.add_axes((0, 0, 1, 1)), plan, solution, system)
    return figure


def words(plan: Any, solution: Solution | None = None, system: str = "metric") -> str:
    """
    Read the loop aloud, in flow order: the words for who cannot see the drawing.

    Returns
    -------
    text : str
        Every element by its name, branches and dead legs as such, temperatures where they change.
    """
    loop, units = _loop_of(plan), DISPLAY[system]
    answer = _Answer.of(loop, solution)
    rows = iter(answer.rows if answer else [])

    def at(warm: Any) -> str:
        return units["temperature"].text(float(warm))

    def read(item: Any) -> list[str]:
        if isinstance(item, tree.Series):
            return [said for child in item.items for said in read(child)]
        if isinstance(item, tree.Parallel):
            many, said = len(item.branches), []
            for place, branch in enumerate(item.branches, start=1):
                first, *others = read(branch)
                said += [f"branch {place} of {many} side by side: {first}", *others]
            return [*said, f"the {many} branches join" + (f" at {at(answer.joined[id(item)])}" if answer else "")]
        row = next(rows, None)
        if isinstance(item, tree.Run):
            return [f"tube {item.name} ({layout.about_tube(item, units)})"]
        if isinstance(item, tree.DeadLeg):
            standing = f" at {at(row['in'])}" if row else ""
            return [f"dead leg {item.name} ({layout.tube_length(item, units)}, no flow{standing})"]
        planned, solved = layout.about_part(item, row, units)
        about = ", ".join(filter(None, (item.kind, planned, solved if row else "")))
        return [f"{item.name} ({about})" + (f", coolant then {at(row['out'])}" if row and _changed(row) else "")]

    state = f"Coolant comes to the first element at {at(answer.start)}." if answer else _state(solution)
    return f"The loop in flow order: {'; '.join(read(loop))}; and back to the start. {state}"
