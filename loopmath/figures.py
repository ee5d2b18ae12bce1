"""
Drawings of a solved plan: each takes an Axes and a Solution; the caller owns the figure.

A drawing is an object that makes its artists once and moves them on `update`, so that a live panel and a
printed page share one drawing. `still` parts are only redrawn when `update` returns True (a range stepped).
"""

import textwrap
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.lines import Line2D

from loopmath import loop as tree
from loopmath import network, rules, style, thermal
from loopmath.solution import Solution
from loopmath.units import DISPLAY

#: Ranges an axis may take; it steps from one to the next and stands still in between.
FLOW_STEPS = (4.0, 6.0, 8.0, 12.0, 18.0)  # L/min
HEAD_STEPS = (1.5, 3.0, 4.5, 6.0, 9.0, 14.0)  # m
WARM_STEPS = (70.0, 90.0, 110.0, 140.0)  # degC
SHARE_STEPS = (0.45, 0.7, 1.0)  # of the head
POWER_STEPS = (10.0, 20.0, 40.0, 80.0)  # W
_POINTS = 81


def step_up(value: float, steps: tuple[float, ...], now: float | None = None) -> float:
    """Return the least step that holds the value; keep the present one while it is not much too wide."""
    wanted = next((s for s in steps if s >= value), steps[-1])
    if now is not None and value <= now and wanted < now and value > 0.8 * wanted:
        return now
    return wanted


def sensible_flow() -> tuple[float, float]:
    """Return the ends of the band of sensible flow, as the rules have them. [m3/s]"""
    limits = {rule.id: rule.limit for rule in rules.rules()}
    return limits["modest-flow"], limits["much-flow"]


def loop_curve(solution: Solution, flows: Any) -> np.ndarray:
    """Return the head the loop takes at given flows, properties as solved. [m]"""
    return network.loop_head(solution.root, flows, solution.settled.flows, solution.fluid, solution.friction)


def pump_curve(solution: Solution, flows: Any, speed: float | None = None) -> np.ndarray:
    """Return the head of all pumps at given main-line flows; `speed` overrides theirs. [m]"""
    return network.pumps_head(solution.root, flows, solution.settled.flows, speed)


class Picture:
    """What all drawings share: an Axes, units, moving artists, kept designs."""

    def __init__(self, ax: Axes, system: str = "metric") -> None:
        self.ax, self.units = ax, DISPLAY[system]
        self.moving: list[Any] = []

    def line(self, **how: Any) -> Line2D:
        """Add a moving line."""
        made = self.ax.plot([], [], **how)[0]
        self.moving.append(made)
        return made

    def text(self, **how: Any) -> Any:
        """Add a moving label."""
        how = {"fontsize": style.SMALL, "x": 0, "y": 0, "s": "", "clip_on": False} | how
        made = self.ax.text(how.pop("x"), how.pop("y"), how.pop("s"), **how)
        self.moving.append(made)
        return made


class OperatingPoint(Picture):
    """Pump curve against loop curve; the operating point with its figures."""

    def __init__(self, ax: Axes, system: str = "metric", power: bool = False) -> None:
        super().__init__(ax, system)
        self.span: tuple = ()
        low, high = (self.units["flow"].convert(f) for f in sensible_flow())
        ax.set_title(f"Where the pump meets the loop: head, {self.units['head'].label}")
        ax.set_xlabel(f"flow, {self.units['flow'].label}", labelpad=2)
        ax.axvspan(low, high, color=style.BAND, zorder=0, lw=0)
        ax.text(
            low,
            0.02,
            " sensible flow",
            transform=ax.get_xaxis_transform(),
            va="bottom",
            color=style.QUIET,
            fontsize=style.SMALL,
        )
        self.kept: list = []
        self.full = self.line(color=style.PUMP, lw=1.2, alpha=0.45, ls=(0, (4, 2)))
        self.pump = self.line(color=style.PUMP)
        self.guessed = self.line(color=style.PUMP, ls=(0, (2, 2)))
        self.loop = self.line(color=style.LIQUID)
        self.point = self.line(color=style.INK, marker="o", ms=8, mec="white", mew=1.5)
        self.full_label = self.text(color=style.PUMP, ha="left", va="bottom")
        self.pump_label = self.text(color=style.PUMP, ha="left", va="bottom", weight="bold")
        self.loop_label = self.text(color=style.LIQUID, ha="right", va="bottom", weight="bold")
        self.labels = [self.text(weight="bold", fontsize=style.PLAIN) for _ in range(2)]
        self.right = ax.twinx() if power else None
        if self.right is not None:
            self.right.grid(False)
            self.right.tick_params(axis="y", colors=style.QUIET, length=0)
            self.right.yaxis.set_major_formatter("{x:.0f} W")
            self.power = self.right.plot([], [], color=style.QUIET, lw=1.4, ls=(0, (1, 1.5)))[0]
            self.power_label = self.right.text(
                0, 0, "pump power (right)", color=style.QUIET, va="top", fontsize=style.SMALL
            )
            self.moving += [self.power, self.power_label]

    def update(self, solution: Solution) -> bool:
        """Move the drawing to a solution; return True if an axis range stepped."""
        flow_of, head_of = self.units["flow"], self.units["head"]
        point = solution.state
        still = max(float(pump_curve(solution, 0.0, 1.0)), 0.1)
        meet = np.interp(0.0, *_difference(solution))
        across = step_up(1.25 * 6e4 * max(point["flow"], meet), FLOW_STEPS, self.span[0] if self.span else None)
        up = step_up(1.02 * still, HEAD_STEPS)
        stepped = (across, up) != self.span
        self.span = (across, up)
        flows = np.linspace(0.0, across / 6e4, _POINTS)
        x = flow_of.convert(flows)
        head = head_of.convert(pump_curve(solution, flows))
        full = head_of.convert(pump_curve(solution, flows, 1.0))
        taken = head_of.convert(loop_curve(solution, flows))
        top = head_of.convert(up)
        if stepped:
            self.ax.set_xlim(0, x[-1])
            self.ax.set_ylim(0, top)
        keep, seen = head >= 0, _measured(solution, flows)
        self.pump.set_data(x[keep], np.where(seen, head, np.nan)[keep])
        # Where no reading supports the curve it is dashed.
        self.guessed.set_data(x[keep], np.where(seen, np.nan, head)[keep])
        self.full.set_data(x[full >= 0], full[full >= 0])
        inside = taken <= top
        self.loop.set_data(x[inside], taken[inside])
        at = flow_of.convert(point["flow"]), head_of.convert(point["head"])
        self.point.set_data([at[0]], [at[1]])
        words = flow_of.text(point["flow"]), head_of.text(point["head"])
        # Right of the point and under both curves; near the right end, left of it and over them.
        far = at[0] > 0.66 * x[-1]
        left = at[0] + (-0.03 if far else 0.03) * x[-1]
        base = min(at[1] + 0.05 * top, 0.86 * top) if far else max(at[1] - 0.2 * top, 0.02 * top)
        for label, word, lift in zip(
            self.labels, words if solution.moving else ("no flow", ""), (0.09, 0.0), strict=True
        ):
            label.set(text=word, ha="right" if far else "left", va="bottom", position=(left, base + lift * top))
        speeds = [u.speed for u in solution.plan.units(tree.PumpUnit)]
        self.pump_label.set_text(f"pump at {100 * speeds[0]:.0f} %")
        self.pump_label.set_position((0.01 * x[-1], max(head[0] - 0.09 * top, 0.0)))
        near_full = abs(full[0] - head[0]) < 0.12 * top
        self.full_label.set_text("" if near_full else "at full speed")
        self.full_label.set_position((0.01 * x[-1], min(full[0], top) - 0.09 * top))
        last = np.flatnonzero(inside)[-1]
        self.loop_label.set_text("loop")
        self.loop_label.set_position((x[last] - 0.03 * x[-1], min(taken[last], 0.9 * top)))
        if self.right is not None:
            watts = sum(thermal.pump_power(u, flows) for u in solution.plan.units(tree.PumpUnit))
            if stepped:
                self.right.set_ylim(0, step_up(1.1 * _full_power(solution, flows[-1]), POWER_STEPS))
            self.power.set_data(x, watts)
            self.power_label.set_position((0.01 * x[-1], watts[0] - 0.025 * self.right.get_ylim()[1]))
        return stepped

    def keep(self, solution: Solution, letter: str) -> None:
        """Leave a solution as faint still lines."""
        flows = np.linspace(0.0, self.span[0] / 6e4, _POINTS)
        x = self.units["flow"].convert(flows)
        for curve in (pump_curve(solution, flows), loop_curve(solution, flows)):
            y = self.units["head"].convert(curve)
            ok = (y >= 0) & (y <= self.units["head"].convert(self.span[1]))
            self.kept += self.ax.plot(x[ok], y[ok], color=style.KEPT, lw=1, zorder=1.5)
        at = self.units["flow"].convert(solution.state["flow"]), self.units["head"].convert(solution.state["head"])
        self.kept += self.ax.plot(*at, "o", ms=4, color=style.KEPT, zorder=1.6)
        self.kept.append(
            self.ax.annotate(
                letter,
                at,
                xytext=(-4, 4),
                textcoords="offset points",
                ha="right",
                color=style.QUIET,
                fontsize=style.SMALL,
            )
        )


def _measured(solution: Solution, flows: np.ndarray) -> np.ndarray:
    """Return True for main-line flows at which every pump of the main line runs inside its readings, if it has any."""
    seen = np.ones(flows.shape, bool)
    for unit in tree.of_kind(
        tree.Series(*(i for i in solution.plan.loop.items if not isinstance(i, tree.Parallel))), tree.PumpUnit
    ):
        at_full = flows / max(float(unit.pump.turning(unit.speed)), 1e-9)
        low, high = unit.pump.measured_from, unit.pump.measured_to
        seen &= (at_full >= (low or 0.0)) & (at_full <= (np.inf if high is None else high))
    return seen


def _difference(solution: Solution) -> tuple[np.ndarray, np.ndarray]:
    """Return (loop less pump head at full speed, flow), rising, to find where they meet."""
    flows = np.linspace(0.0, 20.0 / 6e4, 41)
    return loop_curve(solution, flows) - pump_curve(solution, flows, 1.0), flows


def _full_power(solution: Solution, flow: float) -> float:
    return float(sum(u.pump.power(flow, 1.0) for u in solution.plan.units(tree.PumpUnit)))


class HeadShares(Picture):
    """Where the head goes: a bar for each cause, longest on top."""

    rows = 9

    def __init__(self, ax: Axes, system: str = "metric") -> None:
        super().__init__(ax, system)
        ax.set_title("Where the head goes")
        ax.set_xlim(0, 100)
        ax.set_ylim(self.rows - 0.4, -0.6)
        ax.set_yticks([])
        ax.set_xticks([])
        ax.grid(False)
        ax.spines["bottom"].set_visible(False)
        self.start = 33.0
        # All bars are one artist: nine would take nine times as long to draw.
        self.bars = PolyCollection([], facecolor=style.LIQUID, edgecolor="none")
        ax.add_collection(self.bars, autolim=False)
        self.moving.append(self.bars)
        self.names, self.values = [], []
        for place in range(self.rows):
            self.names.append(self.text(ha="right", va="center_baseline", x=self.start - 1.2, y=place))
            self.values.append(self.text(ha="left", va="center_baseline", y=place))
        self.kept: list = []
        self.order: list[str] = []
        self.scale: float | None = None

    def _reach(self, share: float) -> float:
        """Return where a bar of this share ends."""
        return self.start + (100.0 - self.start - 15.0) * share / self.scale

    def update(self, solution: Solution) -> bool:
        """Move the bars to a solution; its ranges never step."""
        shares = sorted(_shares(solution).items(), key=lambda item: -item[1])
        if len(shares) > self.rows:
            rest = sum(v for _, v in shares[self.rows - 1 :])
            shares = [*shares[: self.rows - 1], ("all others", rest)]
        counts = {"90° fittings": f" ({float(tree.total_fittings(solution.plan.loop)):.0f})"}
        self.scale = step_up(max((v for _, v in shares), default=0.0), SHARE_STEPS, self.scale)
        self.order = [name for name, _ in shares]
        for place, (name, value) in enumerate(zip(self.names, self.values, strict=True)):
            cause, share = shares[place] if place < len(shares) else ("", 0.0)
            name.set_text(cause + counts.get(cause, ""))
            value.set_text(f"{100 * share:.0f} %" if cause else "")
            value.set_x(self._reach(share) + 1.2)
        ends = [self._reach(share) for _, share in shares]
        self.bars.set_verts([box(self.start, end, place - 0.36, place + 0.36) for place, end in enumerate(ends)])
        return False

    def keep(self, solution: Solution, letter: str) -> None:
        """Mark a kept design's shares on the bars as they stand now."""
        kept = _shares(solution)
        for place, name in enumerate(self.order):
            if name in kept:
                at = min(self._reach(kept[name]), 99.0)
                self.kept += self.ax.plot([at, at], [place + 0.1, place + 0.5], color=style.QUIET, lw=1.2, zorder=4)


def box(left: float, right: float, low: float, high: float) -> list[tuple[float, float]]:
    """Return the corners of a bar."""
    return [(left, low), (right, low), (right, high), (left, high)]


def _shares(solution: Solution) -> dict[str, float]:
    heads = {k: float(v) for k, v in solution.head_shares.items()}
    whole = sum(heads.values())
    return {k: v / whole for k, v in heads.items() if v > 0} if whole > 1e-9 else {}


class Ladder(Picture):
    """Temperatures in flow order: room, coolant through each part, each component with its limit."""

    def __init__(self, ax: Axes, solution: Solution, system: str = "metric") -> None:
        super().__init__(ax, system)
        self.span: float | None = None
        self.slots = self.slots_of(solution)
        self.kept: list = []
        ax.set_title(f"Temperatures in flow order, {self.units['temperature'].label}")
        ax.set_xlim(-0.6, len(self.slots) + 0.55)
        ax.set_xticks(range(len(self.slots) + 1), ["room\nair", *(_wrapped(s) for s in self.slots)])
        ax.tick_params(axis="x", length=0)
        ax.spines["bottom"].set_visible(False)
        self.room = self.line(color=style.AIR, lw=3, solid_capstyle="butt")
        self.room_label = self.text(color=style.INK, ha="center", va="top")
        self.lead = self.line(color=style.QUIET, lw=1, marker="_", ms=7)
        self.lead_labels = [self.text(ha="left", va="bottom", color=style.LIQUID) for _ in range(2)]
        self.link = self.line(color=style.LIQUID, lw=1, ls=(0, (2, 2)))
        self.coolant = self.line(color=style.LIQUID, lw=3.2, solid_capstyle="round")
        self.stems = self.line(color=style.HEAT, lw=2)
        self.tops = self.line(color=style.HEAT, ls="", marker="s", ms=8)
        self.airs = self.line(color=style.AIR, ls="", marker="v", ms=7)
        self.limits = self.line(color=style.LIMIT, ls=(0, (4, 2)), lw=1.8)
        self.words = self.text(ha="center", va="center", weight="bold", fontsize=style.PLAIN, linespacing=1.5)
        self.labels = {
            s: [
                self.text(ha="center", va="bottom", weight="bold"),
                self.text(ha="left", va="center"),
                self.text(ha="center", va="top", color=style.LIQUID),
                self.text(ha="center", va="bottom", color=style.INK),
            ]
            for s in self.slots
        }

    @staticmethod
    def slots_of(solution: Solution) -> list[str]:
        """Return the elements that get a place on the ladder."""
        return [
            leaf.name for leaf in tree.leaves(solution.plan.loop) if isinstance(leaf, (tree.Source, tree.RadiatorUnit))
        ]

    def update(self, solution: Solution) -> bool:
        """Move the ladder to a solution; return True if the range stepped."""
        plan, warm_of, rise_of = solution.plan, self.units["temperature"], self.units["difference"]
        known = bool(solution.known)
        tops = [solution.state[u.name] for u in plan.units(tree.Source)] if known else []
        limits = [float(u.limit) for u in plan.units(tree.Source)]
        wanted = step_up(max([*tops, *limits, 60.0]) + 3.0, WARM_STEPS)
        stepped = wanted != self.span
        if stepped:
            self.span = wanted
            self.ax.set_ylim(warm_of.convert(10.0), warm_of.convert(wanted))
        high = warm_of.convert(wanted) - warm_of.convert(10.0)
        room = warm_of.convert(float(plan.room_air))
        self.room.set_data([-0.5, 0.35], [room, room])
        self.room_label.set_text(warm_of.text(float(plan.room_air), unit=False))
        self.room_label.set_position((-0.07, room - 0.015 * high))
        rows = {row["element"].name: row for row in solution.walk}
        xs, ys, link_x, link_y = [], [], [], []
        stem_x, stem_y, limit_x, limit_y, air_x, air_y, top_x, top_y = ([] for _ in range(8))
        last = None
        for place, name in enumerate(self.slots, start=1):
            element, row = rows[name]["element"], rows[name]
            value, rise, change, bound = self.labels[name]
            for label in (value, rise, change, bound):
                label.set_text("")
            if isinstance(element, tree.Source):
                limit = warm_of.convert(float(element.limit))
                limit_x += [place - 0.38, place + 0.38, np.nan]
                limit_y += [limit, limit, np.nan]
                bound.set_text(f"limit {warm_of.text(float(element.limit), unit=False).removesuffix('.0')}")
                bound.set_position((place, limit + 0.008 * high))
            if not known:
                continue
            enters, leaves = warm_of.convert(float(row["in"])), warm_of.convert(float(row["out"]))
            xs += [place - 0.3, place + 0.3, np.nan]
            ys += [enters, leaves, np.nan]
            if last is not None and abs(last - enters) < 1e-6 * high:  # a branch starts anew
                link_x += [place - 0.7, place - 0.3, np.nan]
                link_y += [last, enters, np.nan]
            last = leaves
            change.set_text(rise_of.text(float(row["out"] - row["in"]), unit=False, sign=True))
            cooled = not isinstance(element, tree.Source)  # there the air's mark stands below the line
            change.set_va("bottom" if cooled else "top")
            change.set_position(
                (place, max(enters, leaves) + 0.012 * high if cooled else min(enters, leaves) - 0.015 * high)
            )
            if isinstance(element, tree.Source):
                warm = solution.state[name]
                top = warm_of.convert(float(warm))
                local = 0.5 * (enters + leaves)
                stem_x += [place, place, np.nan]
                stem_y += [local, top, np.nan]
                top_x, top_y = [*top_x, place], [*top_y, top]
                value.set_text(warm_of.text(float(warm), unit=False))
                value.set_position((place, top + 0.022 * high))
                rise.set_text(rise_of.text(float(warm - 0.5 * (row["in"] + row["out"])), unit=False, sign=True))
                rise.set_position((place + 0.08, 0.5 * (local + top)))
            else:
                out = float(solution.air_out(name))
                air_x, air_y = [*air_x, place], [*air_y, warm_of.convert(out)]
                value.set_text("")
                rise.set_text(f"air {warm_of.text(out, unit=False)}")
                rise.set_position((place, warm_of.convert(out) - 0.05 * high))
                rise.set_ha("center")
        self.coolant.set_data(xs, ys)
        self.link.set_data(link_x, link_y)
        self.stems.set_data(stem_x, stem_y)
        self.tops.set_data(top_x, top_y)
        self.airs.set_data(air_x, air_y)
        self.limits.set_data(limit_x, limit_y)
        self.words.set_text("" if known else "No temperature is stated.\n" + _broken(solution.plight, 34))
        self.words.set_position((0.5 * len(self.slots), warm_of.convert(67.0)))
        if known:
            hottest = warm_of.convert(float(solution.state["coolant_warmest"]))
            self.lead.set_data([0.2, 0.2], [room, hottest])
            over = rise_of.text(float(solution.state["coolant_over_room"]), sign=True)
            for label, word, lift in zip(self.lead_labels, ("coolant", over), (0.055, 0.012), strict=True):
                label.set(text=word, position=(-0.55, hottest + lift * high))
        else:
            self.lead.set_data([], [])
            for label in self.lead_labels:
                label.set_text("")
        return stepped

    def keep(self, solution: Solution, letter: str) -> None:
        """Leave a solution's coolant and components as faint still marks."""
        rows = {row["element"].name: row for row in solution.walk}
        warm_of, xs, ys = self.units["temperature"], [], []
        for place, name in enumerate(self.slots, start=1):
            if name not in rows:
                continue
            xs += [place - 0.3, place + 0.3, np.nan]
            ys += [warm_of.convert(float(rows[name]["in"])), warm_of.convert(float(rows[name]["out"])), np.nan]
            if name in solution.state:
                at = (place - 0.16, warm_of.convert(float(solution.state[name])))
                self.kept += self.ax.plot(*at, "s", ms=5, color=style.KEPT, zorder=1.6)
                self.kept.append(
                    self.ax.annotate(
                        letter,
                        at,
                        xytext=(-5, 0),
                        textcoords="offset points",
                        ha="right",
                        va="center",
                        color=style.QUIET,
                        fontsize=style.SMALL,
                    )
                )
        self.kept += self.ax.plot(xs, ys, color=style.KEPT, lw=1.2, zorder=1.5)


def _broken(words: str, width: int) -> str:
    return "\n".join(textwrap.wrap(words, width))


def _wrapped(name: str) -> str:
    """Break a name of several words over two lines."""
    words = name.split()
    middle = (len(words) + 1) // 2
    return "\n".join(filter(None, (" ".join(words[:middle]), " ".join(words[middle:]))))


def draw_operating_point(ax: Axes, solution: Solution, system: str = "metric", power: bool = False) -> Axes:
    """Draw pump curve, loop curve and operating point of one design."""
    OperatingPoint(ax, system, power).update(solution)
    return ax


def draw_head_shares(ax: Axes, solution: Solution, system: str = "metric") -> Axes:
    """Draw where the head of one design goes, sorted."""
    HeadShares(ax, system).update(solution)
    return ax


def draw_ladder(ax: Axes, solution: Solution, system: str = "metric") -> Axes:
    """Draw the temperatures of one design in flow order."""
    Ladder(ax, solution, system).update(solution)
    return ax
