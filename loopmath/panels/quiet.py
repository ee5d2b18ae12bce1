"""The sound-and-speed panel: quiet against cool, who makes the sound, and speed curves at work."""

from dataclasses import replace
from typing import Any

import ipywidgets as widgets
import numpy as np
from matplotlib.figure import Figure

from loopmath import air_figures, mine, quiet, quiet_figures, speed_curves
from loopmath import loop as tree
from loopmath.case import SpeedCurve
from loopmath.panels import page
from loopmath.panels.live import LivePanel
from loopmath.plan import Plan
from loopmath.quiet_figures import Heard, OnCurve
from loopmath.solution import solved
from loopmath.units import DISPLAY

#: Fan speeds the curve is drawn through: enough for a smooth line, few enough to answer a slider.
POINTS = 25


class _OfSolution:
    """A picture of a solution alone, shown what was heard beside it."""

    def __init__(self, picture: Any) -> None:
        self.picture, self.moving = picture, picture.moving

    def update(self, heard: Heard) -> bool:
        return self.picture.update(heard.solution)


class QuietPanel(LivePanel):
    """The live panel of sound and speed over one plan."""

    def groups(self) -> list[tuple[str, list]]:
        """Return the controls under their titles."""
        plan = self.plan
        pump, fans = plan.units(tree.PumpUnit)[0], [u for u in plan.units(tree.RadiatorUnit) if u.fan is not None]
        speeds = [self._slider("pump_speed", "Pump, %", 0, 100, 100 * pump.speed, 0.01)]
        speeds += [
            self._slider(f"{u.name}.fan_speed", f"{u.name.removesuffix(' radiator').capitalize()} fans, %", 0, 100,
                         100 * u.fan_speed, 0.01)
            for u in fans[:3]
        ]  # fmt: skip
        if plan.case_fans:
            speeds.append(self._slider("case_fan_speed", "Case fans, %", 0, 100, 100 * plan.case_fans[0].speed, 0.01))
        limits = [
            self._slider("sound_limit", "Sound limit, dB", 10, 60, plan.sound_limit),
            self._quantity("listener", "Distance", "length", 20, 400, float(plan.listener)),
            self._room_slider(),
        ]
        heat = self._heats()
        tubes = plan.units(tree.Run)
        self.more = []
        if tubes:
            kinds = [("as planned", ""), *((w, w) for w in ("PETG 14/10 mm", "acrylic 14/10 mm", "copper 12/10 mm"))]
            chosen = self._choice(":tube", "Tube", kinds, "", widgets.Dropdown)
            heat.append(chosen)
        return [("Speeds", speeds), ("Listener and room", limits), ("Heat and tube", heat)]

    def settings(self) -> dict[str, Any]:
        """Return what was moved, the tube among it."""
        out = super().settings()
        tube = self._control(":tube")
        return out | ({"tube": tube.value} if tube is not None and tube.value else {})

    def _start_from_here(self) -> None:
        """Take what the controls say as what the plan has; the tube chosen is the planned one now."""
        tube = self._control(":tube")
        if tube is not None:
            self._quiet, before = True, self._quiet
            tube.widget.value, self._quiet = "", before
        super()._start_from_here()

    def buttons(self) -> list:
        """Return the search for the quietest setting."""
        find = widgets.Button(description="Find the quietest", tooltip="Slowest fans and pump that keep every limit")
        find.on_click(lambda _: self.find())
        return [find]

    def find(self) -> None:
        """Move the sliders to the quietest setting that keeps every limit."""
        found = quiet.quietest(self.planned())
        self._quiet = True
        plan = found.solution.plan
        speeds = {"pump_speed": max(float(pump.speed) for pump in plan.units(tree.PumpUnit))}
        speeds |= {f"{u.name}.fan_speed": float(u.fan_speed) for u in plan.units(tree.RadiatorUnit)}
        for setting, speed in speeds.items():
            control = self._control(setting)
            if control is not None:  # rounded up: a percent slower would break what is kept
                control.widget.value = int(np.ceil(100 * speed - 1e-6))
        if found.solution.plan.case_fans and self._control("case_fan_speed"):
            fastest = max(float(f.speed) for f in found.solution.plan.case_fans)
            self._control("case_fan_speed").widget.value = int(np.ceil(100 * fastest - 1e-6))
        self._quiet = False
        self.solution, self.failed = self.answer(self.planned()), ""
        self.found = f"{found.words} {page.counts(self.solution.solution)}"
        self._draw()
        self.found = ""

    def answer(self, plan: Plan) -> Heard:
        """Return the answer of a plan and what other fan speeds would give."""
        return Heard(solved(plan), quiet.trade_off(plan, POINTS))

    def drawn(self) -> tuple[Figure, list]:
        """Return the three drawings."""
        figure = Figure()
        curve = figure.add_axes([0.045, 0.12, 0.545, 0.80])
        sources = figure.add_axes([0.765, 0.60, 0.225, 0.325])
        limits = figure.add_axes([0.785, 0.075, 0.13, 0.40])
        return figure, [
            quiet_figures.TradeOffCurve(curve, self.system),
            quiet_figures.Sources(sources, self.system),
            _OfSolution(air_figures.Limits(limits, self.system)),
        ]

    found = ""

    def headline(self) -> str:
        """Return the answer in one sentence."""
        return self.found or page.headline(self.solution.solution, self.system)

    def figures(self) -> list[tuple[str, str]]:
        """Return the readouts."""
        units, s, t = DISPLAY[self.system], self.solution.solution.state, self.solution.trade_off
        met = {n: v for n, v in quiet_figures.crossings(t).items() if n != quiet.SOUND and np.isfinite(v)}
        rows = [
            ("sound", f"{float(s['sound']):.1f} dB"),
            ("coolant over room", units["difference"].text(s["coolant_over_room"])),
            ("case air", units["temperature"].text(s["case_air"])),
            ("flow", units["flow"].text(s["flow"])),
        ]
        if met:
            name = max(met, key=met.get)
            words = f"{100 * met[name]:.0f} % ({quiet_figures.spoken(name)})"
            rows.append(("slowest fans that keep the limits of temperature", words))
        return rows

    def below(self) -> str:
        """Return the warnings."""
        return page.warnings_html(self.solution.solution, self.system)

    def alt(self) -> str:
        """Return the picture in words."""
        t = self.solution.trade_off
        fine = np.isfinite(t.coolant_over_room)
        if not np.any(fine):
            return f"No fan speed has an answer. {self.headline()}"
        rise = DISPLAY[self.system]["difference"]
        first, last = np.flatnonzero(fine)[[0, -1]]
        slow, fast = (
            f"{t.sound[n]:.0f} dB and {rise.text(float(t.coolant_over_room[n]))} over room" for n in (first, last)
        )
        return f"Sound against coolant: from {slow} with slow fans to {fast} at full speed. {self.headline()}"


class CurvePanel(LivePanel):
    """The live panel of one speed curve that drives all fans of a plan: where it rests, and whether it would hunt."""

    def _prepare(self) -> None:
        own = self.plan.speed_curves[0] if self.plan.speed_curves else None
        warm = round(float(self.plan.room_air))
        ends = (0.3, 0.9) if own is None else (own.speeds[0], own.speeds[-1])
        at = (warm + 5, warm + 20) if own is None else (own.temperatures[0], own.temperatures[-1])
        self.first = {
            "sensor": speed_curves.COOLANT if own is None else own.sensor,
            "low": round(at[0]), "high": round(at[1]), "slow": round(100 * ends[0]), "fast": round(100 * ends[1]),
            "hysteresis": 0 if own is None else round(own.hysteresis),
        }  # fmt: skip

    def groups(self) -> list[tuple[str, list]]:
        """Return the controls under their titles."""
        plan, first = self.plan, self.first
        names = [(name, name) for name in speed_curves.sensors(plan)]
        curve = [
            self._choice(":sensor", "Sensor", names, first["sensor"], widgets.Dropdown),
            self._quantity(":low", "From", "temperature", 15, 60, first["low"]),
            self._slider(":slow", "Slowest, %", 0, 100, first["slow"]),
            self._quantity(":high", "To", "temperature", 16, 90, first["high"]),
            self._slider(":fast", "Fastest, %", 0, 100, first["fast"]),
            self._quantity(":hysteresis", "Hysteresis", "difference", 0, 10, first["hysteresis"]),
            self._slider(":delay", "Delay, s", 0, 30, 1),
        ]
        heat = self._heats()
        pump = plan.units(tree.PumpUnit)[0]
        machine = [self._slider("pump_speed", "Pump, %", 20, 100, 100 * pump.speed, 0.01), self._room_slider()]
        return [("Speed curve of all fans", curve), ("Machine", machine), ("Heat", heat)]

    def slid(self) -> SpeedCurve:
        """Return the curve the sliders say."""
        fans = [u.name for u in self.plan.units(tree.RadiatorUnit) if u.fan is not None]
        return SpeedCurve(
            self.plan.speed_curves[0].name if self.plan.speed_curves else "all fans",
            (*fans, *(f.name for f in self.plan.case_fans)),
            self.own("sensor"),
            (float(self.own("low")), float(self.own("high"))),
            (round(0.01 * self.own("slow"), 4), round(0.01 * self.own("fast"), 4)),
            float(self.own("hysteresis")),
        )

    def planned(self) -> Plan:
        """Return the plan as the controls have it: its own curve until one of the curve's sliders is moved."""
        plan, own = super().planned(), (":sensor", ":low", ":high", ":slow", ":fast", ":hysteresis")
        if any(self._control(name).moved for name in own):
            plan = replace(plan, speed_curves=(self.slid(),))
        return plan

    def answer(self, plan: Plan) -> OnCurve:
        """Return where the speeds come to rest on the curve; a plan without one is shown on that of the sliders."""
        curve = plan.speed_curves[0] if plan.speed_curves else self.slid()
        plan = replace(plan, speed_curves=(curve,))
        rest = speed_curves.steady_on_curves(plan)
        known = bool(np.all(rest.solution.known))
        swings = speed_curves.hunting(plan, float(self.own("delay")), on=rest) if known else None
        return OnCurve(curve, rest, swings, quiet.trade_off(plan, POINTS, keep=quiet.COMMON))

    def drawn(self) -> tuple[Figure, list]:
        """Return the curve at work and what has a limit."""
        figure = Figure()
        curve = figure.add_axes([0.065, 0.12, 0.53, 0.80])
        limits = figure.add_axes([0.785, 0.32, 0.13, 0.60])
        return figure, [quiet_figures.CurveAtWork(curve, self.system), _OfRest(air_figures.Limits(limits, self.system))]

    def headline(self) -> str:
        """Return the answer in a sentence or two."""
        swings = self.solution.hunting
        return self.solution.rest.said(self.system) + ("" if swings is None else f" {swings.words}")

    def figures(self) -> list[tuple[str, str]]:
        """Return the readouts."""
        units, s, swings = DISPLAY[self.system], self.solution.rest.solution.state, self.solution.hunting
        gain = "not known" if swings is None else f"{swings.gain_margin:.3g}"
        gain = "over 1000" if gain == "inf" else gain
        rows = [
            ("gain margin", gain),
            ("sound", f"{float(s['sound']):.1f} dB"),
            ("coolant over room", units["difference"].text(s["coolant_over_room"])),
            ("case air", units["temperature"].text(s["case_air"])),
        ]
        if swings is not None and np.isfinite(swings.period):
            rows.insert(1, ("it would swing every", f"{swings.period:.0f} s"))
        return rows

    def below(self) -> str:
        """Return the warnings, that of hunting first."""
        swings = self.solution.hunting
        first = [] if swings is None else swings.warned(self.system)
        return page.warnings_html(self.solution.rest.solution, self.system, first)

    def alt(self) -> str:
        """Return the picture in words."""
        return f"A speed curve and the temperature at each speed, crossing where the speed rests. {self.headline()}"


class _OfRest(_OfSolution):
    """A picture of a solution alone, shown where the speeds rest."""

    def update(self, on: OnCurve) -> bool:
        return self.picture.update(on.rest.solution)


def curve_panel(plan: Plan | None = None) -> CurvePanel:
    """Return the speed-curve panel of a plan, of the chosen one by default."""
    return CurvePanel(mine.chosen().plan if plan is None else plan)


def quiet_panel(plan: Plan | None = None) -> QuietPanel:
    """Return the sound-and-speed panel of a plan, of the chosen one by default."""
    return QuietPanel(mine.chosen().plan if plan is None else plan)
