"""Drawings of a leak test: what the gauge read, and what is left of it when the room's temperature is taken out."""

from typing import NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from loopmath import style
from loopmath.figures import Picture, step_up
from loopmath.leak_test import LeakPlan, leak_text
from loopmath.leak_verdict import LEAKS, TIGHT, Verdict
from loopmath.slips import shown

#: Ranges of the axis of time. [min]
MINUTES = (15.0, 30.0, 45.0, 60.0, 90.0, 120.0, 180.0, 300.0, 600.0, 1440.0, 1e4)
#: Colour and shape of a verdict.
MARKS = {TIGHT: (style.PUMP, "✓"), LEAKS: (style.HEAT, "▼")}


class Tested(NamedTuple):
    """A plan of a leak test, and what its readings say; None where there are none."""

    test: LeakPlan
    verdict: Verdict | None


class _OverTime(Picture):
    """What both drawings share: time along, pressure up in steps of their own."""

    def __init__(self, ax: Axes, system: str, title: str) -> None:
        super().__init__(ax, system)
        self.span: tuple = ()
        self.show, self.unit = shown("pressure", system), self.units["pressure"]
        ax.set_title(f"{title}, {self.unit.label}")
        ax.grid(True, axis="x")
        self.dots = self.line(color=style.INK, ls="", marker="o", ms=4.5)
        self.early = self.line(color=style.QUIET, ls="", marker="o", ms=4.5, mfc="white")

    def _range(self, minutes: float, *pressures: np.ndarray) -> bool:
        """Set the axes to hold these [min], [Pa]; return True if they stepped."""
        every = self.unit.convert(np.concatenate([np.ravel(p) for p in pressures]))
        low, high = float(np.min(every)), float(np.max(every))
        grid = 10 ** np.floor(np.log10(max(high - low, 1e-2)))
        grid = grid if high - low > 4 * grid else grid / 2
        ends = grid * np.floor(low / grid - 0.2), grid * np.ceil(high / grid + 0.6)
        span = (step_up(minutes, MINUTES), *ends)
        stepped, self.span = span != self.span, span
        if stepped:
            self.ax.set_xlim(-0.008 * span[0], span[0])
            self.ax.set_ylim(*ends)
        return stepped

    def _dot(self, verdict: Verdict | None, values: np.ndarray) -> None:
        time, kept = verdict.time / 60, verdict.time >= verdict.settled
        self.dots.set_data(time[kept], self.unit.convert(values[kept]))
        self.early.set_data(time[~kept], self.unit.convert(values[~kept]))


class AsRead(_OverTime):
    """The gauge as it was read, with the ends of the temperature, and the pressures that bound the test."""

    def __init__(self, ax: Axes, system: str = "metric") -> None:
        super().__init__(ax, system, "As the gauge reads")
        ax.tick_params(axis="x", labelbottom=False, length=0)
        self.sees, self.rating = (self.line(color=style.LIMIT, lw=1.6, ls=(0, (4, 2))) for _ in range(2))
        self.bounds = [self.text(ha=h, va=v, color=style.QUIET) for h, v in (("left", "top"), ("right", "bottom"))]
        self.ends = [self.text(ha=side, va="bottom") for side in ("left", "right")]

    def update(self, tested: Tested) -> bool:
        """Move the drawing to a test; return True if a range stepped."""
        test, verdict = tested
        lines = (test.sees, test.lowest[1])
        time = verdict.time / 60 if verdict else np.array([0.0, min(test.hold, 7200.0) / 60])
        gauge = verdict.gauge if verdict else np.full(2, test.pressure)
        stepped = self._range(float(time[-1]), gauge, np.array([lines[0] - 0.1 * (lines[1] - lines[0]), *lines]))
        if verdict:
            self._dot(verdict, gauge)
        else:
            self.dots.set_data(time, self.unit.convert(gauge))
            self.early.set_data([], [])
        words = (
            f"the loop sees up to {self.show(lines[0])}",
            f"lowest rating: {test.lowest[0]}, {self.show(lines[1])}",
        )
        across, tall = self.span[0], self.span[2] - self.span[1]
        for line, label, at, said in zip((self.sees, self.rating), self.bounds, lines, words, strict=True):
            at = self.unit.convert(at)
            line.set_data([0, across], [at, at])
            # Away from the readings: under its line where they lie over it.
            under = label is self.bounds[0] and gauge[0] >= lines[0]
            label.set(text=said, y=at + (-0.02 if under else 0.01) * tall, va="top" if under else "bottom")
            label.set_x((0.005 if label is self.bounds[0] else 0.995) * across)
        warm = self.units["temperature"]
        for n, label in enumerate(self.ends):
            at = min(float(time[-n]), across)
            label.set(
                text=warm.text(float(verdict.warm[-n])) if verdict else "",
                position=(at, self.unit.convert(float(gauge[-n])) + 0.06 * tall),
            )
        return stepped


class Corrected(_OverTime):
    """Pressure corrected to one temperature, the line through it, where a tight loop stays, the smallest leak."""

    def __init__(self, ax: Axes, system: str = "metric") -> None:
        super().__init__(ax, system, "Corrected to the first temperature")
        ax.set_xlabel("time, minutes", labelpad=2)
        self.band = [self.line(color=style.PUMP, lw=1.0, ls=(0, (1, 1.2))) for _ in range(2)]
        self.smallest = self.line(color=style.LIMIT, lw=1.8, ls=(0, (4, 2)))
        self.fitted = self.line(color=style.LIQUID)
        self.labels = [self.text(color=colour, va="bottom") for colour in (style.PUMP, style.LIMIT)]
        self.said = self.text(weight="bold", fontsize=style.PLAIN, va="top", ha="right")

    def update(self, tested: Tested) -> bool:
        """Move the drawing to a test; return True if a range stepped."""
        test, verdict = tested
        known = verdict is not None and np.isfinite(verdict.slope)
        start = verdict.start if known else test.pressure
        from_ = float(verdict.time[verdict.time >= verdict.settled][0]) if known else 0.0
        until = float(verdict.time[-1]) if known else min(test.hold, 7200.0)
        time = np.linspace(from_, max(until, from_ + 60.0), 61)
        after = time - time[0]
        doubt = verdict.doubt if known else test.fall / 2
        # Rounding and scatter of one reading, and what the slope of a tight loop may seem to be.
        half = test.step / 2 + doubt * after
        falls = start - test.fall * after
        values = verdict.corrected if verdict is not None else np.full(2, start)
        stepped = self._range(
            time[-1] / 60, values, start + half, np.maximum(falls, start - 2.5 * np.ptp(half) - 4000.0)
        )
        minutes, show = time / 60, self.unit.convert
        for line, sign in zip(self.band, (1, -1), strict=True):
            line.set_data(minutes, show(start + sign * half))
        inside = show(falls) >= self.span[1]
        self.smallest.set_data(minutes[inside], show(falls[inside]))
        if verdict is not None:
            self._dot(verdict, values)
        else:
            self.dots.set_data([], [])
            self.early.set_data([], [])
        self.fitted.set_data(minutes, show(start + verdict.slope * after)) if known else self.fitted.set_data([], [])
        across, tall = self.span[0], self.span[2] - self.span[1]
        words = (
            "between the dotted lines: may as well be tight",
            f"dashed: the smallest leak, {leak_text(test.smallest, self.system)} of air",
        )
        for label, said, up in zip(self.labels, words, (0.13, 0.03), strict=True):
            label.set(text=said, position=(0.005 * across, self.span[1] + up * tall))
        colour, shape = MARKS.get(verdict.kind, (style.INK, "?")) if verdict is not None else (style.INK, "")
        words = f"{shape} {verdict.kind}" if verdict is not None else "no readings yet: as planned"
        self.said.set(text=words, color=colour, position=(0.995 * across, self.span[2] - 0.02 * tall))
        return stepped

    @property
    def system(self) -> str:
        """The units it is drawn in."""
        return "us" if self.unit.label == "psi" else "metric"


def pictures(figure: Figure, system: str = "metric") -> list[Picture]:
    """Return both drawings on a figure."""
    return [
        AsRead(figure.add_axes((0.065, 0.575, 0.92, 0.365)), system),
        Corrected(figure.add_axes((0.065, 0.105, 0.92, 0.365)), system),
    ]


def alt(tested: Tested, system: str = "metric") -> str:
    """Return the drawings in words."""
    test, verdict = tested
    show = shown("pressure", system)
    said = (
        f"Two drawings over time. The loop sees up to {show(test.sees)}; the lowest rating is {show(test.lowest[1])}. "
    )
    if verdict is None:
        return f"{said}No readings yet. {test.brief(system)}"
    warm = tested.verdict.warm
    kelvins = shown("temperature", system)
    return (
        f"{said}The gauge goes from {show(float(verdict.gauge[0]))} to {show(float(verdict.gauge[-1]))} while the room "
        f"goes from {kelvins(float(warm[0]))} to {kelvins(float(warm[-1]))}; corrected to the first temperature it "
        f"ends at {show(float(verdict.corrected[-1]))}. {verdict.said(system)}"
    )
