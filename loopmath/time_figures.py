"""Drawings of a run in time: temperatures with their limits and what happens when, heat and speeds below."""

import numpy as np
from matplotlib.axes import Axes

from loopmath import style
from loopmath.course import Course, spoken
from loopmath.figures import WARM_STEPS, Picture, step_up

#: Ranges of the axis of time [min], and of that of heat [W].
TIME_STEPS = (1.0, 2.0, 3.0, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0, 40.0, 60.0, 90.0, 120.0, 180.0, 240.0, 300.0)
TIME_STEPS += (360.0, 480.0, 720.0, 1440.0, 2880.0, 10080.0)
WATT_STEPS = (200.0, 400.0, 600.0, 800.0, 1200.0, 1600.0, 4000.0)
#: Lines drawn at most: coolant, case, and the components nearest to their limits.
MOST = 6
#: Dashes that tell components apart besides their names.
DASHES = ("-", (0, (6, 2)), (0, (2, 1.5)), (0, (6, 2, 1, 2)))
#: Least distance of two names beside the lines, as a share of the height.
APART = 0.055


def kept(course: Course) -> list[tuple[str, str, np.ndarray, str, float]]:
    """Return (name, words, values, colour, limit) of the lines worth drawing, those nearest to their limits first."""
    limits = {part.name: float(part.limit) for part in course.plan.components}
    warm = sorted(limits, key=lambda n: limits[n] - float(np.nanmax(course.temperatures[n])))
    rows = [(name, name, course.temperatures[name], style.HEAT, limits[name]) for name in warm[: MOST - 2]]
    state = course.state
    coolant = (
        "coolant_warmest", "warmest coolant", state["coolant_warmest"], style.LIQUID, float(course.plan.coolant_limit),
    )  # fmt: skip
    return [coolant, ("case_air", "case air", state["case_air"], style.AIR, np.nan), *rows]


class TimeCurves(Picture):
    """Temperatures over time: coolant, case and components, their limits, and when each is reached."""

    def __init__(self, ax: Axes, system: str = "metric") -> None:
        super().__init__(ax, system)
        self.span: tuple = ()
        ax.set_title(f"Temperatures over time, {self.units['temperature'].label}")
        ax.grid(True, axis="x")
        ax.tick_params(axis="x", labelbottom=False, length=0)
        self.lines = [self.line(lw=2.2) for _ in range(MOST)]
        self.limits = self.line(color=style.LIMIT, lw=1.6, ls=(0, (4, 2)))
        self.start = self.line(color=style.QUIET, lw=1.2, ls=(0, (1, 1.5)))
        self.done = self.line(color=style.INK, ls="", marker="|", ms=13, mew=2.0)
        self.events = self.line(color=style.LIMIT, ls="", marker="D", ms=8, mec=style.INK, mew=0.8)
        self.names = [self.text(ha="left", va="center_baseline", weight="bold") for _ in range(MOST)]
        self.times = [self.text(ha="left", va="bottom", color=style.INK) for _ in range(MOST)]
        self.bounds = [self.text(ha="left", va="bottom", color=style.QUIET) for _ in range(MOST)]
        self.what = self.text(ha="right", va="bottom", color=style.QUIET)

    def update(self, course: Course) -> bool:
        """Move the lines to a run; return True if a range stepped."""
        warm = self.units["temperature"]
        minutes = (course.t - course.origin) / 60
        rows = kept(course)
        most = max(float(np.nanmax(values)) for _, _, values, _, _ in rows)
        near = [limit for _, _, _, _, limit in rows if np.isfinite(limit) and limit < most + 25]
        up = step_up(max([most, *near, 50.0]) + 3, WARM_STEPS)
        across = step_up(float(minutes[-1]) * 0.98, TIME_STEPS)
        before = float(minutes[0])
        low = min(15.0, 5.0 * np.floor(min(float(np.nanmin(v)) for _, _, v, _, _ in rows) / 5.0))
        span = (across, up, before, low)
        stepped, self.span = span != self.span, span
        bottom, high = warm.convert(low), warm.convert(up)
        if stepped:
            self.ax.set_xlim(before, across)
            self.ax.set_ylim(bottom, high)
        tall, wide = high - bottom, across - before
        ends, limit_x, limit_y, written = [], [], [], {}
        for number, line in enumerate(self.lines):
            line.set_data([], [])
            self.names[number].set_text("")
            if number >= len(rows):
                continue
            _, words, values, colour, limit = rows[number]
            line.set_data(minutes, warm.convert(values))
            line.set_color(colour)
            line.set_linestyle(DASHES[max(number - 2, 0) % len(DASHES)])
            ends.append((warm.convert(float(values[-1])), words, colour, float(values[-1])))
            if np.isfinite(limit) and limit < up:
                limit_x += [before, across, np.nan]
                limit_y += [warm.convert(limit), warm.convert(limit), np.nan]
                written.setdefault(limit, []).append("your coolant limit" if number == 0 else f"limit of {words}")
        for label, (limit, names) in zip(self.bounds, [*written.items(), *([(0.0, [])] * MOST)], strict=False):
            more = f" and {len(names) - 1} more" if len(names) > 1 else ""
            where = (before + 0.005 * wide, warm.convert(limit) + 0.004 * tall)
            label.set(text=names[0] + more if names else "", position=where)
        self.limits.set_data(limit_x, limit_y)
        self.start.set_data([0, 0] if before < 0 else [], [bottom, high] if before < 0 else [])
        self._name(ends, min(float(minutes[-1]), across) + 0.01 * wide, tall, warm)
        self._mark(course, rows, tall, wide, warm)
        words = "; it ends where the coolant leaves its data" if course.events[-1].time is not None else ""
        self.what.set(text=course.what + words, position=(across - 0.01 * wide, bottom + 0.01 * tall))
        return stepped

    def _name(self, ends: list, x: float, tall: float, warm: object) -> None:
        """Write the names beside the ends of their lines, moved apart where they are close."""
        order = sorted(range(len(ends)), key=lambda n: ends[n][0])
        last = -np.inf
        for n in order:
            y, words, colour, value = ends[n]
            last = max(y, last + APART * tall)
            colour = "#1F77A8" if colour == style.AIR else colour
            self.names[n].set(text=f"{words} {warm.text(value, unit=False)}", position=(x, last), color=colour)

    def _mark(self, course: Course, rows: list, tall: float, wide: float, warm: object) -> None:
        """Mark when each limit is reached, or when each line has done most of its way."""
        for label in self.times:
            label.set_text("")
        by_name = {name: values for name, _, values, _, _ in rows}
        free = iter(self.times)
        met = sorted((e for e in course.events if e.time is not None), key=lambda e: e.time)
        self.events.set_data([(e.time - course.origin) / 60 for e in met], [warm.convert(e.limit) for e in met])
        groups: list[list] = []
        for event in met:
            close = groups and (event.time - groups[-1][-1].time) / 60 < 0.05 * wide
            far = groups and abs(warm.convert(event.limit) - warm.convert(groups[-1][-1].limit)) > 0.08 * tall
            if close and not far:
                groups[-1].append(event)
            else:
                groups.append([event])
        for group, label in zip(groups, free, strict=False):
            at, y = (group[0].time - course.origin) / 60, warm.convert(group[0].limit)
            more = f" and {len(group) - 1} more" if len(group) > 1 else ""
            label.set(text=spoken(group[0].time - course.origin) + more, ha="right", va="bottom")
            label.set_position((at - 0.012 * wide, y + 0.012 * tall))
        done = {n: t for n, t in course.times.items() if t is not None and n in by_name} if course.final else {}
        places = {
            n: ((t - course.origin) / 60, warm.convert(float(np.interp(t, course.t, by_name[n]))))
            for n, t in done.items()
        }
        self.done.set_data([x for x, _ in places.values()], [y for _, y in places.values()])
        # Two times are written: that of the coolant, and the slowest.
        for name in dict.fromkeys(["coolant_warmest", *sorted(done, key=done.get)[-1:]]):
            label = next(free, None)
            if name in places and label is not None:
                x, y = places[name]
                words = f"95 % after {spoken(done[name] - course.origin)}"
                label.set(text=words, position=(x, y + 0.03 * tall), ha="left", va="bottom")


class Drive(Picture):
    """What drives a run: heat of the components, flow of the coolant."""

    def __init__(self, ax: Axes, system: str = "metric") -> None:
        super().__init__(ax, system)
        self.span: tuple = ()
        ax.set_title("What drives it: heat, W, and flow")
        ax.set_xlabel("time, min", labelpad=2)
        self.heat = self.line(color=style.HEAT, lw=2.0)
        self.flow = self.line(color=style.LIQUID, lw=2.0, ls=(0, (5, 2)))
        self.labels = [
            self.text(color=style.HEAT, ha="left", va="bottom", weight="bold"),
            self.text(color=style.LIQUID, ha="right", va="bottom", weight="bold"),
        ]

    def update(self, course: Course) -> bool:
        """Move the lines to a run; return True if a range stepped."""
        minutes = (course.t - course.origin) / 60
        watts = sum(course.watts.values(), 0.0 * course.t)
        across = step_up(float(minutes[-1]) * 0.98, TIME_STEPS)
        up = step_up(1.5 * float(np.max(watts, initial=1.0)), WATT_STEPS)
        span = (across, up, float(minutes[0]))
        stepped, self.span = span != self.span, span
        if stepped:
            self.ax.set_xlim(span[2], across)
            self.ax.set_ylim(0, up)
        flow = course.state["flow"]
        whole = max(float(np.max(flow)), 1e-9)
        self.heat.set_data(minutes, watts)
        self.flow.set_data(minutes, 0.86 * up * flow / whole)
        wide = across - span[2]
        first = int(np.argmax(watts)) if np.max(watts, initial=0.0) > 0 else 0
        words = f"heat {watts[first]:.0f} W" if np.max(watts, initial=0.0) > 0 else ""
        self.labels[0].set(text=words, position=(minutes[first] + 0.01 * wide, watts[first]))
        seen = (
            self.units["flow"].text(float(flow[0]))
            if flow[-1] < 0.01 * whole
            else self.units["flow"].text(float(flow[-1]))
        )
        words = f"flow {seen}" + (" until it stops" if flow[-1] < 0.01 * whole else "")
        self.labels[1].set(text=words, position=(across, 0.02 * up if flow[-1] < 0.01 * whole else 0.88 * up))
        return stepped
