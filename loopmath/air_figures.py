"""Drawings of air: where it goes and how warm it is, fans against what they blow through, temperatures and limits."""

from dataclasses import replace
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.colors import to_rgb
from matplotlib.patches import Rectangle

from loopmath import ledger, rules, style, wetted
from loopmath import loop as tree
from loopmath.air import CASE, ROOM
from loopmath.figures import WARM_STEPS, Picture, box, step_up
from loopmath.plan import BALANCE
from loopmath.solution import Solution

#: Size of the map of air, in its own units: pixels of the screen.
WIDE, HIGH = 548, 400
#: Walls of the case: left, right, bottom; its top stands lower where air passes over it from room to room.
LEFT, RIGHT, BOTTOM = 150, 398, 30
#: Air flow that an arrow of full thickness carries [m3/h], in steps, and that thickness.
FLOW_STEPS, THICK = (60.0, 120.0, 240.0, 480.0, 1000.0, 3000.0), 38.0
PRESSURE_STEPS = (5.0, 10.0, 20.0, 40.0, 80.0, 160.0, 400.0)  # Pa
EACH_STEPS = (60.0, 90.0, 120.0, 150.0, 250.0, 500.0, 1500.0)  # m3/h
#: Room each path takes that passes over the case.
PAST = 82.0
#: Half the height of a figure: thinner arrows have their temperatures over them.
HALF_LETTER = 7.0


class AirMap(Picture):
    """The room, the case, and every path of air between them: arrows as thick as the flow, coloured by temperature."""

    def __init__(self, ax: Axes, solution: Solution, system: str = "metric") -> None:
        super().__init__(ax, system)
        ax.set_xlim(0, WIDE)
        ax.set_ylim(0, HIGH)
        ax.axis("off")
        ax.set_title("Where the air goes")
        self.scale: float | None = None
        past = sum(row.source == row.target == ROOM for row in solution.air.rows)
        self.top = 366.0 - PAST * past
        self.box = Rectangle(
            (LEFT, BOTTOM), RIGHT - LEFT, self.top - BOTTOM, lw=style.OUTLINE, ec=style.QUIET, zorder=1
        )
        ax.add_patch(self.box)
        self.arrows = PolyCollection([], lw=0.6, ec=style.QUIET, zorder=2)
        self.cores = PolyCollection([], fc="#FFFFFF", ec=style.INK, lw=1.2, hatch="||||", zorder=3)
        for made in (self.arrows, self.cores):
            ax.add_collection(made, autolim=False)
        self.moving += [self.box, self.arrows, self.cores]
        self.room = self.text(x=2, y=HIGH - 4, va="top", weight="bold")
        self.case = self.text(x=0.5 * (LEFT + RIGHT), y=self.top - 6, ha="center", va="top", weight="bold")
        self.inside = [self.text(x=0.5 * (LEFT + RIGHT), ha="center", va="top", color=style.INK) for _ in range(7)]
        self.walls = self.text(x=0.5 * (LEFT + RIGHT), y=BOTTOM - 6, ha="center", va="top", color=style.QUIET)
        self.paths = self._paths(solution)
        self.labels = [
            [self.text(color=style.INK, va="bottom"), self.text(color=style.QUIET, va="top")]
            + [self.text(ha="center", va="center", weight="bold") for _ in range(len(path["stops"]) + 1)]
            for path in self.paths
        ]

    def _paths(self, solution: Solution) -> list[dict]:
        """Return all paths with their places on the page: from the left into the case, to the right out of it."""
        paths = []
        for number, row in enumerate(solution.air.rows):
            side = {(ROOM, CASE): "in", (CASE, ROOM): "out", (ROOM, ROOM): "past", (CASE, CASE): "round"}
            names = [u.name for u in row.units]
            paths.append({"side": side[row.source, row.target], "stops": names, "stream": number, "duct": None})
        for number, duct in enumerate(solution.air.ducts):
            if duct.stream < 0:
                side = "in" if duct.target == CASE else "out"
                paths.append({"side": side, "stops": [], "stream": -1, "duct": number, "name": duct.name})
        for side in ("in", "out"):
            those = [p for p in paths if p["side"] == side]
            for place, path in enumerate(those):
                path["y"] = self.top - 30 - (place + 0.5) * (self.top - BOTTOM - 30) / len(those)
        for side, high in (("past", 332.0), ("round", BOTTOM + 34.0)):
            for place, path in enumerate(p for p in paths if p["side"] == side):
                path["y"] = high - PAST * place
        return paths

    def _ends(self, path: dict) -> tuple[float, float, float]:
        """Return where a path begins, where its first core stands, and where it ends."""
        return {
            "in": (4.0, LEFT - 7.0, LEFT + 46.0),
            "out": (RIGHT - 46.0, RIGHT - 7.0, WIDE - 4.0),
            "past": (120.0, 270.0, WIDE - 30.0),
            "round": (LEFT + 20.0, LEFT + 100.0, RIGHT - 20.0),
        }[path["side"]]

    def update(self, solution: Solution) -> bool:
        """Move the map to a solution; nothing of it stands on an axis, so nothing steps."""
        warm, flow_of = self.units["temperature"], self.units["air flow"]
        plan, known = solution.plan, bool(solution.known)
        case = float(solution.case_air) if known or plan.case_air_by != BALANCE else np.nan
        room = float(plan.room_air)
        flows = [self._flow(solution, path) for path in self.paths]
        self.scale = step_up(3600 * max([abs(f) for f in flows], default=0.0), FLOW_STEPS, self.scale)
        shapes, colours, cores = [], [], []
        for path, flow, labels in zip(self.paths, flows, self.labels, strict=True):
            ahead = flow >= 0
            begin, core, end = self._ends(path)
            half = 0.5 * THICK * max(min(abs(flow) * 3600 / self.scale, 1.0), 0.04)
            count = max(len(path["stops"]), 1)
            inner = [core - 16.0 * (count - 1 - n) for n in range(count)]
            cuts = [begin, *(x for c in inner for x in (c, c + 14.0)), end] if path["stops"] else [begin, end]
            temperatures = self._temperatures(solution, path, ahead, room, case)
            pieces = list(zip(cuts[::2], cuts[1::2], strict=True))
            for place, ((x0, x1), t) in enumerate(zip(pieces, temperatures, strict=True)):
                last = place == (len(pieces) - 1 if ahead else 0)
                shapes.append(_arrow(x0, x1, path["y"], half, last, ahead))
                colours.append(_tint(t))
            tall = max(half + 7.0, 16.0)
            cores += [box(c, c + 14.0, path["y"] - tall, path["y"] + tall) for c in inner if path["stops"]]
            self._label(path, labels, flow, temperatures, tall if path["stops"] else half + 6.0, flow_of, warm)
        self.arrows.set_verts(shapes)
        self.arrows.set_facecolor(colours)
        self.cores.set_verts(cores)
        self.box.set_facecolor(_tint(case, 0.22))
        self.room.set_text(f"room {warm.text(room)}")
        given = "" if plan.case_air_by == BALANCE else ", as the plan gives it"
        self.case.set_text(f"case {warm.text(case)}{given}" if np.isfinite(case) else "case: not known")
        self._heat_inside(solution, case, known)
        return False

    def _flow(self, solution: Solution, path: dict) -> float:
        if path["duct"] is not None:
            return float(solution.air.flows[path["duct"]])
        first = path["stops"][0]
        return float(solution.airs[first].flow) * (1.0 if float(solution.air.forward(path["stream"])) > 0.5 else -1.0)

    def _temperatures(self, solution: Solution, path: dict, ahead: bool, room: float, case: float) -> list[float]:
        """Return the temperature of each piece of a path from its left end to its right end."""
        if path["duct"] is not None:
            return [room if (path["side"] == "in") == ahead else case]
        names = path["stops"]
        if not solution.known:
            return [np.nan] * (len(names) + 1)
        into = [float(solution.coolers[n].air_temperature) for n in names]
        out = [float(solution.air_out(n)) for n in names]
        return [into[0], *out] if ahead else [*out, into[-1]]

    def _label(
        self, path: dict, labels: list, flow: float, temperatures: list, high: float, flow_of: Any, warm: Any
    ) -> None:
        begin, core, end = self._ends(path)
        name = " and ".join(path["stops"]) or path["name"]
        back = "" if flow >= 0 else ", backwards"
        on_right = path["side"] == "out"
        x = end if on_right else begin
        amount = flow_of.text(abs(flow))
        if not path["stops"] and np.isfinite(temperatures[0]):
            amount += f", {warm.text(temperatures[0])}"
        for label, word, y in (
            (labels[0], name + back, path["y"] + high + 2),
            (labels[1], amount, path["y"] - high - 2),
        ):
            label.set(text=word, position=(x, y), ha="right" if on_right else "left")
        for label in labels[2:]:
            label.set_text("")
        if path["stops"]:
            first_core = core - 16.0 * (len(path["stops"]) - 1)
            shown = [(temperatures[0], 0.5 * (begin + first_core)), (temperatures[-1], 0.5 * (core + 14.0 + end))]
            shape = HALF_LETTER <= 0.5 * THICK * abs(flow) * 3600 / self.scale
            for label, (t, at) in zip(labels[2:], shown, strict=False):
                if np.isfinite(t):
                    y = path["y"] if shape else path["y"] + 14
                    label.set(text=warm.text(t, unit=False), position=(at, y), color=_ink(t) if shape else style.INK)

    def _heat_inside(self, solution: Solution, case: float, known: bool) -> None:
        """List what warms the case, warmest part first."""
        plan, warm = solution.plan, self.units["temperature"]
        lines = []
        for part in sorted(plan.on_air, key=lambda p: -float(p.heat)):
            t = warm.text(float(solution.state[part.name])) if known else "not known"
            lines.append(f"{part.name} {float(part.heat):.0f} W, {t}")
        if float(plan.case_heat) > 0:
            lines.append(f"other heat {float(plan.case_heat):.0f} W")
        if len(lines) > 6:
            lines = [*lines[:5], f"and {len(lines) - 5} more parts"]
        for place, label in enumerate(self.inside):
            label.set_text(lines[place] if place < len(lines) else "")
            label.set_y(self.top - 26 - 15 * place)
        if plan.case_air_by == BALANCE and known:
            lost = float(plan.case_wall_loss) * (case - float(plan.room_air))
            pressure = self.units["air pressure"].text(float(solution.air.pressure))
            self.walls.set_text(f"through the walls {lost:.0f} W; pressure {pressure} over the room")
        else:
            self.walls.set_text("")


def _tint(temperature: float, share: float = 1.0) -> Any:
    """Return the fill of air at a temperature, mixed with white; white where it is not known."""
    if not np.isfinite(temperature):
        return (1.0, 1.0, 1.0)
    return tuple(1.0 - share * (1.0 - c) for c in to_rgb(style.warm_colour(temperature)))


def _ink(temperature: float) -> str:
    """Return ink that can be read on air of a temperature: the map is dark at its cool end."""
    return "#FFFFFF" if np.isfinite(temperature) and temperature < 44.0 else style.INK


def _arrow(x0: float, x1: float, y: float, half: float, headed: bool, ahead: bool) -> list[tuple[float, float]]:
    """Return the corners of a piece of a path, with a head at its end if it is the last."""
    if not headed:
        return box(x0, x1, y - half, y + half)
    head = min(14.0, 0.5 * abs(x1 - x0))
    if not ahead:
        x0, x1, head = x1, x0, -head
    neck, wide = x1 - head, half + 6.0
    return [
        (x0, y - half), (neck, y - half), (neck, y - wide), (x1, y), (neck, y + wide), (neck, y + half), (x0, y + half),
    ]  # fmt: skip


def stall() -> float:
    """Return the share of its free flow below which a fan runs near its stall, as the rules have it."""
    return next(rule.limit for rule in rules.rules() if rule.id == "fan-stalls")


class FanPoint(Picture):
    """One radiator's fans against what its core, its filter and the case take: where they meet is the air flow."""

    def __init__(self, ax: Axes, system: str = "metric") -> None:
        super().__init__(ax, system)
        self.span: tuple = ()
        self.which = 0
        self.words = ax.set_title("Fans against core and filter")
        ax.set_xlabel(f"air through one position, {self.units['air flow'].label}", labelpad=2)
        self.stall = Rectangle((0, 0), 0, 1, transform=ax.get_xaxis_transform(), fc="#F6E3EE", lw=0, zorder=0)
        ax.add_patch(self.stall)
        self.full = self.line(color=style.AIR, lw=1.2, ls=(0, (4, 2)))
        self.fan = self.line(color=style.AIR, lw=2.4)
        self.core = self.line(color=style.INK, lw=1.8)
        self.point = self.line(color=style.INK, marker="o", ms=8, mec="white", mew=1.5)
        self.moving.insert(0, self.stall)
        self.labels = {
            "stall": self.text(color=style.QUIET, va="top", ha="left"),
            "full": self.text(color=style.QUIET, va="bottom", ha="right"),
            "fan": self.text(color="#1F77A8", va="bottom", weight="bold"),
            "core": self.text(color=style.INK, va="bottom", ha="right", weight="bold"),
            "point": self.text(weight="bold"),
            "none": self.text(color=style.QUIET, ha="center"),
        }

    def update(self, solution: Solution) -> bool:
        """Move the drawing to a solution; return True if an axis range stepped."""
        ducts, flows, over = ledger.ducts(solution)
        those = [(d, q) for d, q in zip(ducts, flows, strict=True) if d.stream == self.which and d.fans]
        for label in self.labels.values():
            label.set_text("")
        lines = (self.full, self.fan, self.core, self.point)
        if not those:
            for line in lines:
                line.set_data([], [])
            self.stall.set_width(0)
            self.labels["none"].set(text="this radiator has no fans of its own", position=(0.5, 0.5))
            return False
        duct, flow = those[0]
        unit = solution.air.rows[self.which].units[0]
        each = float(duct.cores[0][-1])
        pressure, air = self.units["air pressure"], self.units["air flow"]
        speed = max(float(s) for _, _, s, _ in duct.fans)
        full = replace(duct, fans=tuple((f, k, 1.0, s) for f, k, _, s in duct.fans))
        free = max(float(f.free_flow) for f, *_ in duct.fans)
        top = sum(float(f.shutoff_pressure * k) for f, k, *_ in duct.fans)
        across = step_up(1.02 * 3600 * free, EACH_STEPS)
        up = step_up(1.05 * top, PRESSURE_STEPS)
        stepped = (across, up, each) != self.span
        self.span = (across, up, each)
        if stepped:
            self.ax.set_xlim(0, air.convert(across / 3600))
            self.ax.set_ylim(0, pressure.convert(up))
        q = np.linspace(0, across / 3600 / each, 61)
        given = -replace(duct, cores=()).excess(q)[0]
        sign = (duct.target == CASE) - 1.0 * (duct.source == CASE)
        taken = replace(duct, fans=()).excess(q)[0] + sign * over
        x = air.convert(q * each)
        self.fan.set_data(x, _inside(pressure.convert(given), pressure.convert(up)))
        self.full.set_data(x, _inside(pressure.convert(-replace(full, cores=()).excess(q)[0]), pressure.convert(up)))
        self.core.set_data(x, _inside(pressure.convert(taken), pressure.convert(up)))
        at = air.convert(float(flow) * each), pressure.convert(float(-replace(duct, cores=()).excess(flow)[0]))
        self.point.set_data([at[0]], [at[1]])
        high, wide = pressure.convert(up), air.convert(across / 3600)
        edge = air.convert(stall() * free * speed)
        self.stall.set_width(edge)
        self.labels["stall"].set(text="near stall", position=(0.01 * wide, 0.985 * high))
        self.labels["fan"].set(
            text=f"fans at {100 * speed:.0f} %", position=(x[4], pressure.convert(given[4]) + 0.01 * high)
        )
        self.labels["full"].set(
            text="at full speed",
            position=(wide, min(pressure.convert(-replace(full, cores=()).excess(q[44])[0]), 0.92 * high)),
        )
        seen = np.flatnonzero(pressure.convert(taken) < 0.93 * high)
        end = int(seen[-1]) if seen.size else 30
        self.labels["core"].set(text="core and filter", position=(x[end], pressure.convert(taken[end])))
        self.labels["point"].set(
            text=f"{air.text(float(flow) * each)}, {pressure.text(float(-replace(duct, cores=()).excess(flow)[0]))}",
            position=(at[0] + 0.02 * wide, at[1] - 0.02 * high), va="top",
        )  # fmt: skip
        self.words.set_text(f"Fans of the {unit.name}, {pressure.label}")
        return stepped


def _inside(values: Any, high: float) -> np.ndarray:
    values = np.asarray(values, dtype=float)
    return np.where((values < 0) | (values > high), np.nan, values)


class Limits(Picture):
    """Temperatures and their limits: a bar from the room's air to each, its limit, what is left."""

    rows = 9

    def __init__(self, ax: Axes, system: str = "metric") -> None:
        super().__init__(ax, system)
        self.span: float | None = None
        ax.set_title(f"Temperatures and limits, {self.units['temperature'].label}", x=-1.05)
        ax.set_ylim(self.rows - 0.4, -0.6)
        ax.set_yticks([])
        ax.grid(True, axis="x")
        ax.grid(False, axis="y")
        self.bars = PolyCollection([], lw=0)
        ax.add_collection(self.bars, autolim=False)
        self.moving.append(self.bars)
        self.ticks = self.line(color=style.LIMIT, lw=2.2)
        self.names = [self.text(ha="right", va="center_baseline", y=n) for n in range(self.rows)]
        self.values = [self.text(ha="right", va="center_baseline", y=n, weight="bold") for n in range(self.rows)]
        self.margins = [self.text(ha="right", va="center_baseline", y=n) for n in range(self.rows)]

    def update(self, solution: Solution) -> bool:
        """Move the bars to a solution; return True if the range stepped."""
        warm, rise = self.units["temperature"], self.units["difference"]
        rows = limit_rows(solution)[: self.rows]
        tops = [v for _, t, limit, _ in rows for v in (t, limit) if np.isfinite(v)]
        wanted = step_up(max([*tops, 60.0]) + 3.0, WARM_STEPS)
        stepped, self.span = wanted != self.span, wanted
        low, high = warm.convert(10.0), warm.convert(wanted)
        if stepped:
            self.ax.set_xlim(low, high)
        room, shapes, colours, ticks = warm.convert(float(solution.plan.room_air)), [], [], [[], []]
        for place in range(self.rows):
            name, t, limit, colour = rows[place] if place < len(rows) else ("", np.nan, np.nan, style.INK)
            wide = high - low
            self.names[place].set(text=name, x=low - 0.40 * wide)
            self.values[place].set(text="", x=low - 0.02 * wide)
            self.margins[place].set(text="", x=high + 0.63 * wide)
            if np.isfinite(t):
                end = warm.convert(t)
                shapes.append(box(min(room, end), max(end, room + 0.004 * wide), place - 0.3, place + 0.3))
                colours.append(colour)
                self.values[place].set_text(warm.text(t, unit=False))
                if np.isfinite(limit):
                    side = "left" if limit >= t else "over"
                    margin = rise.text(abs(limit - t)).replace(" diff.", "")  # the word behind it says that
                    self.margins[place].set_text(f"{margin} {side}")
            if np.isfinite(limit):
                at = warm.convert(limit)
                ticks[0] += [at, at, np.nan]
                ticks[1] += [place - 0.42, place + 0.42, np.nan]
        self.bars.set_verts(shapes)
        self.bars.set_facecolor(colours)
        self.ticks.set_data(*ticks)
        return stepped


def limit_rows(solution: Solution) -> list[tuple[str, float, float, str]]:
    """Return (name, temperature, limit, colour) of all that has a limit: air, coolant, components, tube ends [degC]."""
    plan, s = solution.plan, solution.state
    known = bool(solution.known)
    rows = [("case air", float(s["case_air"]), np.nan, style.AIR)]
    rows.append(("warmest coolant", float(s["coolant_warmest"]), float(plan.coolant_limit), style.LIQUID))
    parts = plan.components
    components = [(p.name, float(s[p.name]), float(p.limit), style.HEAT) for p in parts]
    rows += sorted(components, key=lambda row: row[2] - row[1] if known else 0.0)
    tubes = {leaf.name: leaf.tube for leaf in tree.leaves(plan.loop) if hasattr(leaf, "tube")}
    worst: dict[str, tuple[float, float]] = {}
    for fact in solution.facts:
        if fact.quantity == "tube below softening by":
            tube, margin = tubes[fact.where], float(fact.value)
            if tube.material not in worst or margin < worst[tube.material][0]:
                worst[tube.material] = margin, wetted.softening(tube.material, tube.heat_deflection)
    rows += [(f"{material} tube end", soft - margin, soft, style.QUIET) for material, (margin, soft) in worst.items()]
    return rows
