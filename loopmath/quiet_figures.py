"""Drawings of sound: quiet against cool with every limit marked, who makes the sound, and speed curves at work."""

from typing import Any, NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection

from loopmath import quiet, rules, speed_curves, style
from loopmath.case import SpeedCurve
from loopmath.figures import Picture, box, step_up
from loopmath.loop import PumpUnit
from loopmath.solution import Solution
from loopmath.units import DISPLAY

#: Ranges the axes may take.
OVER_STEPS = (15.0, 25.0, 40.0, 60.0)  # K over room
SOUND_SPANS = ((0.0, 30.0), (5.0, 35.0), (10.0, 40.0), (15.0, 45.0), (20.0, 55.0), (0.0, 60.0), (20.0, 80.0))  # dB
#: Speeds that are marked along the curve.
MARKED = (0.2, 0.4, 0.6, 0.8, 1.0)
#: Levels that stand for something a reader knows; common practice, no source.
KNOWN_LEVELS = ((20.0, "a still room at night"), (30.0, "a whisper"), (40.0, "a quiet office"))


class Heard(NamedTuple):
    """An answer, and what other fan speeds would give beside it."""

    solution: Solution
    trade_off: quiet.TradeOff


def crossings(t: quiet.TradeOff) -> dict[str, float]:
    """
    Return the fan speed at which each limit is met, straight between the speeds solved; NaN where it is not.

    Good to a percent, for a drawing that follows a slider; `TradeOff.hits` has the roots.
    """
    out = {}
    for name, margin in t.margins.items():
        if "flow" in name:  # fans move it only by how thin warm coolant is
            continue
        sign = np.flatnonzero(np.signbit(margin[:-1]) != np.signbit(margin[1:]))
        sign = [n for n in sign if np.isfinite(margin[n] + margin[n + 1])]
        out[name] = np.nan
        if sign:
            at = sign[-1]
            share = margin[at] / (margin[at] - margin[at + 1])
            out[name] = float(t.speeds[at] + share * (t.speeds[at + 1] - t.speeds[at]))
    return out


def spoken(name: str) -> str:
    """Return what a limit is called on the curve: every tube end that softens is called alike."""
    return "tube ends soften" if name.startswith("softening of") else name


class TradeOffCurve(Picture):
    """Sound against warmest coolant as the fans speed up: where each limit is met, and where the plan stands."""

    def __init__(self, ax: Axes, system: str = "metric") -> None:
        super().__init__(ax, system)
        self.span: tuple = ()
        ax.set_title(f"Quiet against cool: warmest coolant over room, {self.units['difference'].label}")
        ax.set_xlabel("estimated sound at the listener, dB", labelpad=2)
        ax.grid(True, axis="x")
        self.sound_limit = self.line(color=style.LIMIT, lw=1.8, ls=(0, (4, 2)))
        self.warm_limit = self.line(color=style.LIMIT, lw=1.8, ls=(0, (4, 2)))
        self.curve = self.line(color=style.LIQUID, lw=2.6)
        self.dots = self.line(color=style.LIQUID, ls="", marker="o", ms=4.5)
        self.hits = self.line(color=style.LIMIT, ls="", marker="D", ms=8, mec=style.INK, mew=0.8)
        self.point = self.line(color=style.INK, ls="", marker="o", ms=10, mec="white", mew=1.5)
        self.speeds = [self.text(color=style.LIQUID, ha="right", va="top") for _ in MARKED]
        self.names = [self.text(color=style.INK, ha="left", va="center") for _ in range(6)]
        self.here = self.text(weight="bold", fontsize=style.PLAIN, va="top")
        self.bounds = [self.text(color=style.QUIET, va="bottom") for _ in range(2)]
        self.levels = [self.text(color=style.QUIET, ha="center", va="bottom") for _ in KNOWN_LEVELS]
        self.none = self.text(color=style.QUIET, ha="center", weight="bold")

    def update(self, heard: Heard) -> bool:
        """Move the curve to an answer; return True if a range stepped."""
        t, s, rise = heard.trade_off, heard.solution.state, self.units["difference"]
        sound, over = np.asarray(t.sound), np.asarray(t.coolant_over_room)
        fine = np.isfinite(sound) & np.isfinite(over)
        plan = heard.solution.plan
        warmest = float(np.max(over[fine], initial=10.0))
        up = step_up(min(warmest, 60.0) + 1.0, OVER_STEPS)
        low = float(np.min(sound[fine], initial=20.0))
        high = float(np.max(sound[fine], initial=30.0))
        low, high = min(low, float(s["sound"])), max(high, float(s["sound"]))
        low = max(low, 0.0)  # what is quieter than nothing stands at the edge
        fitting = [span for span in SOUND_SPANS if span[0] <= low and high <= span[1] - 1]
        across = self.span[0] if self.span and self.span[0] in fitting else (fitting or SOUND_SPANS[-1:])[-1]
        stepped = (across, up) != self.span
        self.span = (across, up)
        top = rise.convert(up)
        if stepped:
            self.ax.set_xlim(*across)
            self.ax.set_ylim(0, top)
        x, y = np.where(fine, sound, np.nan), np.where(fine, rise.convert(over), np.nan)
        self.curve.set_data(x, y)
        wide = across[1] - across[0]
        self._mark_speeds(t, x, y, wide, top)
        self._mark_hits(t, x, y, wide, top)
        limit, bound = float(plan.sound_limit), rise.convert(float(plan.coolant_limit - plan.room_air))
        self.sound_limit.set_data([limit, limit], [0, top])
        self.warm_limit.set_data(across, [bound, bound])
        inside = across[0] < limit < across[1]
        self.bounds[0].set(text=f"your sound limit {limit:.0f} dB" if inside else "", x=limit - 0.01 * wide, ha="right")
        self.bounds[0].set_y(0.93 * top)
        self.bounds[1].set(text="your coolant limit" if 0 < bound < 0.97 * top else "", x=across[1], ha="right")
        self.bounds[1].set_y(bound - 0.045 * top)
        for label, (level, words) in zip(self.levels, KNOWN_LEVELS, strict=True):
            seen = across[0] + 2 < level < across[1] - 4 and abs(level - limit) > 4
            label.set(text=words if seen else "", position=(level, 0.01 * top))
        at = float(s["sound"]), rise.convert(float(s["coolant_over_room"]))
        known = bool(heard.solution.known) and np.isfinite(at[0])
        self.point.set_data([at[0]] if known else [], [at[1]] if known else [])
        self.here.set_text(f"{at[0]:.1f} dB, {rise.text(float(s['coolant_over_room']))}" if known else "")
        self.here.set_position((at[0] + 0.02 * wide if known else 0, at[1] - 0.015 * top if known else 0))
        words = "" if np.any(fine) else "No fan speed has an answer here."
        self.none.set(text=words, position=(0.5 * sum(across), 0.5 * top))
        return stepped

    def _mark_speeds(self, t: quiet.TradeOff, x: np.ndarray, y: np.ndarray, wide: float, top: float) -> None:
        dots: tuple[list, list] = ([], [])
        for label, speed in zip(self.speeds, MARKED, strict=True):
            label.set_text("")
            if np.min(t.speeds) <= speed <= np.max(t.speeds):
                at = np.interp(speed, t.speeds, x), np.interp(speed, t.speeds, y)
                if np.all(np.isfinite(at)) and at[1] < top:
                    dots[0].append(at[0])
                    dots[1].append(at[1])
                    label.set(text=f"{100 * speed:.0f} %", position=(at[0] - 0.012 * wide, at[1] - 0.008 * top))
        self.dots.set_data(*dots)

    def _mark_hits(self, t: quiet.TradeOff, x: np.ndarray, y: np.ndarray, wide: float, top: float) -> None:
        """Mark where each limit is met; those that lie close share one line of words."""
        places: dict[float, list[str]] = {}
        for name, speed in sorted(crossings(t).items(), key=lambda item: item[1]):
            if np.isfinite(speed):
                near = next((at for at in places if abs(at - speed) < 0.025), speed)
                places.setdefault(near, [])
                if spoken(name) not in places[near]:
                    places[near].append(spoken(name))
        xs, ys = [], []
        shown = list(places.items())[: len(self.names)]
        for number, label in enumerate(self.names):
            label.set_text("")
            if number < len(shown):
                speed, names = shown[number]
                at = float(np.interp(speed, t.speeds, x)), float(np.interp(speed, t.speeds, y))
                if np.all(np.isfinite(at)) and at[1] <= top:
                    xs.append(at[0])
                    ys.append(at[1])
                    more = f" and {len(names) - 1} more" if len(names) > 1 else ""
                    what = style.fitted(f"{names[0]}{more}", 150, 1)[0]
                    left = at[0] > self.span[0][0] + 0.6 * wide  # words stay on their drawing
                    label.set(text=f"{what}: {100 * speed:.0f} %", ha="right" if left else "left")
                    label.set_position((at[0] + (-0.025 if left else 0.025) * wide, at[1] + 0.035 * top))
        self.hits.set_data(xs, ys)


class Sources(Picture):
    """Who makes the sound: a bar for each source's level, loudest on top."""

    rows = 7
    low, high = 0.0, 50.0

    def __init__(self, ax: Axes, system: str = "metric") -> None:
        super().__init__(ax, system)
        ax.set_title("Who makes the sound, dB at the listener", x=-0.62)
        ax.set_xlim(self.low, self.high)
        ax.set_ylim(self.rows - 0.4, -0.6)
        ax.set_yticks([])
        ax.grid(True, axis="x")
        ax.grid(False, axis="y")
        self.bars = PolyCollection([], lw=0)
        ax.add_collection(self.bars, autolim=False)
        self.moving.append(self.bars)
        self.names = [self.text(ha="right", va="center_baseline", x=-1.0, y=n) for n in range(self.rows)]
        self.values = [self.text(ha="left", va="center_baseline", y=n) for n in range(self.rows)]

    def update(self, heard: Heard) -> bool:
        """Move the bars to an answer; the range stands still."""
        levels = {name: float(level) for name, level in heard.solution.sounds().items()}
        total = float(heard.solution.state["sound"])
        pumps = {u.name for u in heard.solution.plan.units(PumpUnit)}
        order = sorted(levels, key=lambda name: -levels[name])
        rows = [
            ("together", total, style.INK),
            *((n, levels[n], style.PUMP if n in pumps else style.AIR) for n in order),
        ]
        shapes, colours = [], []
        for place in range(self.rows):
            name, level, colour = rows[place] if place < len(rows) else ("", -np.inf, style.INK)
            self.names[place].set_text(name)
            words = ""
            if name:
                words = "silent" if np.isinf(level) else f"{level:.1f}"
                if np.isfinite(level) and place:
                    words += f"   {100 * 10 ** ((level - total) / 10):.0f} %"
            end = min(max(level, 0.0), self.high) if np.isfinite(level) else 0.0
            shapes.append(box(0, end, place - 0.3, place + 0.3))
            colours.append(colour)
            self.values[place].set(text=words, x=end + 0.8)
        self.bars.set_verts(shapes)
        self.bars.set_facecolor(colours)
        return False


class OnCurve(NamedTuple):
    """A plan on its speed curve: the curve, where it rests, whether it would hunt, and what other speeds would give."""

    curve: SpeedCurve
    rest: speed_curves.OnCurves
    hunting: speed_curves.Hunting | None
    trade_off: quiet.TradeOff


class CurveAtWork(Picture):
    """A speed curve against what the machine answers: they cross where the speed comes to rest."""

    def __init__(self, ax: Axes, system: str = "metric") -> None:
        super().__init__(ax, system)
        self.span: tuple = ()
        ax.set_title("The curve asks for a speed, the machine answers")
        ax.set_ylim(0, 108)
        ax.yaxis.set_major_formatter("{x:.0f} %")
        ax.grid(True, axis="x")
        self.falling = self.line(color=style.AIR, lw=1.6, ls=(0, (4, 2)))
        self.rising = self.line(color=style.AIR, lw=2.8)
        self.machine = self.line(color=style.HEAT, lw=2.2)
        self.rests = self.line(color=style.INK, ls="", marker="o", ms=10, mec="white", mew=1.5)
        self.labels = {
            "curve": self.text(color="#1F77A8", weight="bold", ha="left", va="bottom"),
            "falling": self.text(color="#1F77A8", ha="right", va="bottom"),
            "machine": self.text(color=style.HEAT, weight="bold", ha="right", va="bottom"),
            "cold": self.text(weight="bold", ha="left", va="top"),
            "hot": self.text(weight="bold", ha="right", va="bottom"),
        }

    def update(self, on: OnCurve) -> bool:
        """Move the drawing to another curve or answer; return True if the range stepped."""
        warm, curve, t = self.units["temperature"], on.curve, on.trade_off
        speeds = np.asarray(t.speeds)
        # Air of the case that the plan gives is one number: it does not answer to fans.
        answered = np.broadcast_to(np.asarray(speed_curves.sensed(t.solution, curve.sensor), dtype=float), speeds.shape)
        seen = answered[np.isfinite(answered)]
        high = max([*curve.temperatures, *np.minimum(seen, 90.0), 50.0])
        span = (20.0 if min([*curve.temperatures, *seen, 25.0]) >= 20 else 0.0, 10.0 * np.ceil(0.1 * (high + 2)))
        stepped, self.span = span != self.span, span
        if stepped:
            self.ax.set_xlim(*(warm.convert(end) for end in span))
            self.ax.set_xlabel(f"temperature at the sensor, {warm.label}", labelpad=2)
        x = np.array([span[0], *curve.temperatures, span[1]])
        y = 100 * np.array([curve.speeds[0], *curve.speeds, curve.speeds[-1]])
        self.rising.set_data(warm.convert(x), y)
        back = curve.hysteresis > 0
        self.falling.set_data(warm.convert(x - curve.hysteresis) if back else [], y if back else [])
        self.machine.set_data(warm.convert(answered), 100 * speeds)
        wide = warm.convert(span[1]) - warm.convert(span[0])
        self.labels["curve"].set(
            text=f"curve by {curve.sensor}", position=(warm.convert(span[0]) + 0.01 * wide, y[0] + 1)
        )
        self.labels["falling"].set(
            text="on the way down" if back else "",
            position=(warm.convert(curve.temperatures[-1] - curve.hysteresis) - 0.01 * wide, y[-1]),
        )
        inside = np.flatnonzero(answered < span[1] - 1)
        self.labels["machine"].set_text("")
        if inside.size:
            place = int(inside[0])
            at = warm.convert(answered[place]), 100 * speeds[place] + 4
            self.labels["machine"].set(text=f"{curve.sensor} at each speed", position=at)
        ends = [on.rest.cold] if on.rest.hot is on.rest.cold else [on.rest.cold, on.rest.hot]
        points = [(float(p.temperatures[curve.sensor]), 100 * float(p.speeds[curve.name])) for p in ends]
        points = [p for p in points if np.all(np.isfinite(p))]
        self.rests.set_data([warm.convert(p[0]) for p in points], [p[1] for p in points])
        for name, number in (("cold", 0), ("hot", 1)):
            label = self.labels[name]
            label.set_text("")
            if number < len(points):
                words = f"{points[number][1]:.0f} %, {warm.text(points[number][0])}"
                label.set_text(words + (("", f" from {name}")[len(points) > 1]))
                side = 0.02 * wide if name == "cold" else -0.02 * wide
                label.set_position((warm.convert(points[number][0]) + side, points[number][1] + (-2, 2)[number]))
        return stepped


def draw_softening(ax: Axes, story: Any, plan: Any, system: str = "metric") -> Axes:
    """Draw how far tube ends stay below softening as the fans slow down (`lessons.Softening`), sound to the right."""
    rise = DISPLAY[system]["difference"]
    limits = {rule.id: rule.limit for rule in rules.rules()}
    near, none = (rise.convert(limits[name]) for name in ("softening-near", "softening"))
    colours = dict(zip(story.tubes, (style.HEAT, style.LIQUID, style.PUMP, style.INK), strict=False))
    bottom = min(float(np.nanmin(v)) for v in story.left.values())
    top = max(float(np.nanmax(v)) for v in story.left.values())
    ax.set_title(f"What is left to softening of the warmest tube end, {rise.label}")
    ax.set_xlabel("estimated sound at the listener, dB (fans slow down to the left)")
    ax.set_ylim(rise.convert(max(min(bottom, 0.0) - 3, -10.0)), rise.convert(top + 3))
    ax.axhspan(none, near, color=style.SIGNALS["caution"][0], alpha=0.3, lw=0)
    ax.axhspan(ax.get_ylim()[0], none, color=style.SIGNALS["danger"][0], alpha=0.14, lw=0)
    edge = float(np.nanmax(story.sound))
    for words, at in (("caution", near), ("danger: it softens", none)):
        ax.text(edge, at - 0.2, words, ha="right", va="top", fontsize=style.SMALL, color=style.INK)
    limit = float(plan.sound_limit)
    ax.axvline(limit, color=style.LIMIT, ls=(0, (4, 2)), lw=1.8)
    ax.text(limit, ax.get_ylim()[1], f" sound limit {limit:.1f} dB", va="top", fontsize=style.SMALL, color=style.QUIET)
    for number, tube in enumerate(story.tubes):
        left = rise.convert(story.left[tube])
        ax.plot(story.sound, left, color=colours[tube], lw=2.4, ls=("-", (0, (5, 1.5)))[number % 2])
        ax.text(edge, left[-1] + 0.4, tube, ha="right", va="bottom", weight="bold", color=colours[tube])
        at = np.interp(limit, story.sound, left)
        ax.plot(
            [limit], [at], "o" if number % 2 == 0 else "s", ms=9, color=colours[tube], mec="white", mew=1.2, zorder=5
        )
        ax.text(limit, at - 0.5, f"   {rise.text(rise.back(at))}", va="top", color=colours[tube], weight="bold")
    return ax
