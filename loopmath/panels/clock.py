"""The time panel: warm-up, steps of load, an evening, and what happens when something stops."""

from collections.abc import Callable
from pathlib import Path

import ipywidgets as widgets
import pandas as pd
from matplotlib.figure import Figure

from loopmath import loop as tree
from loopmath import mine, scenarios, time_figures
from loopmath.checks import InputError
from loopmath.course import Course, Event, spoken
from loopmath.files import own_folder, write_whole
from loopmath.panels import page
from loopmath.panels.live import LivePanel
from loopmath.plan import Plan
from loopmath.solution import solve
from loopmath.units import DISPLAY

#: Coarser than the package's own tolerance: a hundredth of a kelvin is not seen, and a slider answers sooner.
DRAWN = {"relative": 1e-4, "absolute": 1e-3}
WARM_UP, STEP, PUMP, FANS, OFF, EVENING = (
    "it is switched on", "the load jumps", "the pump stops", "the fans stop", "it is switched off", "an evening passes",
)  # fmt: skip


#: What is reached, said of the limits a run looks for.
MET = {
    "component limit": "{where} at its limit",
    "your limit of the coolant": "coolant at your limit",
    "end of the coolant's data": "coolant beyond its data",
    "tube may soften": "tube may soften ({where})",
}


def _reached(event: Event) -> str:
    """Return what is reached and when, as a sentence goes on."""
    words = MET[event.quantity].format(where=event.where)
    if event.words.startswith("already"):
        return words.replace(" at ", " already over ") if " at " in words else f"{words} already"
    return f"{words} {event.words}"


class TimePanel(LivePanel):
    """The live panel of time over one plan."""

    said = ""

    def table(self, plan: Plan) -> pd.DataFrame | Path:
        """Return the evening to run: the user's own file if there is one, else one made up for the demo."""
        own = self.evening_file
        return own if own.exists() else scenarios.evening(plan)

    @property
    def evening_file(self) -> Path:
        """The user's own evening for this plan, whether it is there or not."""
        origin = self.plan.origin
        stem = origin.path.stem if origin is not None and origin.path is not None else "plan"
        return own_folder() / f"evening-{stem}.csv"

    def buttons(self) -> list:
        """Return what writes the evening down, so that it can be changed."""
        write = widgets.Button(
            description="Write the evening", tooltip="Save the table of the evening as a file to edit"
        )
        write.on_click(lambda _: self.write())
        return [write]

    def write(self) -> None:
        """Write the evening's table where the next run reads it; a file that is there already is left alone."""
        own = self.evening_file
        try:
            if not own.exists():
                own.parent.mkdir(parents=True, exist_ok=True)
                write_whole(own, scenarios.evening(self.plan).to_csv(index=False))
            self.said = f"The evening is in {own}: change watts and times there, then choose it again."
        except OSError as fault:
            self.said = f"The evening was not written: {fault}."
        self._draw()
        self.said = ""

    def groups(self) -> list[tuple[str, list]]:
        """Return the controls under their titles."""
        plan = self.plan
        happens = [(words, words) for words in (WARM_UP, STEP, EVENING, PUMP, FANS, OFF)]
        what = [
            self._choice(":happens", "What happens", happens, WARM_UP, widgets.Dropdown),
            self._slider(":from", "Load before, %", 0, 200, 20, 0.01),
            self._slider(":to", "Load after, %", 0, 200, 100, 0.01),
            self._slider(":minutes", "Look for, min", 1, 120, 30),
        ]
        pump, fans = plan.units(tree.PumpUnit)[0], [u for u in plan.units(tree.RadiatorUnit) if u.fan is not None]
        machine = [self._slider("pump_speed", "Pump, %", 20, 100, 100 * pump.speed, 0.01)]
        if fans:
            machine.append(self._slider("fan_speed", "Fans, %", 15, 100, 100 * fans[0].fan_speed, 0.01))
        machine.append(self._room_slider())
        tanks = plan.units(tree.Tank)
        if tanks:
            name = tanks[0].name
            machine.append(self._quantity(f"{name}.volume", "Reservoir", "volume", 20, 2000, float(tanks[0].volume())))
        heat = self._heats()
        self._grey()
        return [("What happens", what), ("Machine", machine), ("Heat", heat)]

    def followed(self, setting: str, value: object) -> None:
        """Grey out what does not count for what happens."""
        self._grey()

    def _grey(self) -> None:
        happens = self.own("happens")
        for name in ("from", "to"):
            self._control(f":{name}").widget.disabled = happens != STEP
        self._control(":minutes").widget.disabled = happens not in (PUMP, FANS, OFF)

    def answer(self, plan: Plan) -> Course:
        """Return the run of a plan."""
        solve(plan)  # says in words why there is no steady answer to start from
        within = 60.0 * self.own("minutes")
        runs: dict[str, Callable] = {
            WARM_UP: lambda: scenarios.warm_up(plan, **DRAWN),
            STEP: lambda: scenarios.load_step(plan, self.own("from"), self.own("to"), **DRAWN),
            EVENING: lambda: scenarios.profile(plan, self.table(plan), start="room", **DRAWN),
            PUMP: lambda: scenarios.pump_stop(plan, within=within, **DRAWN),
            FANS: lambda: scenarios.fan_stop(plan, within=within, **DRAWN),
            OFF: lambda: scenarios.power_off(plan, within=within, **DRAWN),
        }
        try:
            return runs[self.own("happens")]()
        except InputError as problem:
            if self.own("happens") != EVENING or not self.evening_file.exists():
                raise
            remedy = f"Your evening is in {self.evening_file}: put it right there or delete it. {problem.remedy}"
            raise InputError(problem.field, problem.value, problem.accepted, remedy) from None

    def drawn(self) -> tuple[Figure, list]:
        """Return temperatures over time, and what drives them."""
        figure = Figure()
        curves = figure.add_axes([0.045, 0.345, 0.745, 0.58])
        drive = figure.add_axes([0.045, 0.10, 0.745, 0.155])
        return figure, [time_figures.TimeCurves(curves, self.system), time_figures.Drive(drive, self.system)]

    def headline(self) -> str:
        """Return what happens, in a sentence or two."""
        if self.said:
            return self.said
        course, warm = self.solution, DISPLAY[self.system]["temperature"]
        met = sorted((e for e in course.events if e.time is not None), key=lambda e: e.time)
        words = course.what[:1].upper() + course.what[1:]
        if course.final and not met:
            times = {n: t for n, t in course.times.items() if t is not None}
            coolant = times.get("coolant_warmest")
            far = f"95 % of the coolant's change after {spoken(coolant)}" if coolant else "the coolant hardly changes"
            return f"{words}: {far}; it ends at {warm.text(course.final['coolant_warmest'])}. No limit is reached."
        if met:
            listed = "; ".join(_reached(e) for e in met[:3])
            more = f"; {len(met) - 3} more limit{'s' if len(met) > 4 else ''} after that" if len(met) > 3 else ""
            return f"{words}: {listed}{more}."
        peak = float(course.state["coolant_warmest"].max())
        return f"{words}: the coolant gets to {warm.text(peak)} at most. No limit is reached."

    def figures(self) -> list[tuple[str, str]]:
        """Return the readouts: when each part has done 95 % of its way, or how warm it became."""
        course, warm = self.solution, DISPLAY[self.system]["temperature"]
        rows = []
        for name, time in list(course.times.items())[:5]:
            words = "coolant" if name == "coolant_warmest" else name
            if time is not None:
                rows.append((f"{words}, to 95 %", spoken(time - course.origin)))
            else:
                values = course.temperatures.get(name, course.state.get(name))
                rows.append((f"{words}, warmest", warm.text(float(values.max()))))
        held = sum(float(leaf.volume()) for leaf in tree.leaves(course.plan.loop))
        return [*rows, ("coolant held", DISPLAY[self.system]["volume"].text(held))]

    def below(self) -> str:
        """Return every limit with its time, in one table."""
        rows, still = "", [e for e in self.solution.events if e.time is None and e.quantity == "tube may soften"]
        shown = [e for e in self.solution.events if e not in still]
        for event in sorted(shown, key=lambda e: (e.time is None, e.time or 0.0)):
            grave = event.quantity in ("end of the coolant's data", "component limit")
            signal = page.mark("danger" if grave else "warning") if event.time is not None else ""
            limit = DISPLAY[self.system]["temperature"].text(event.limit)
            words = f"{event.quantity}, {limit}: {event.words}"
            if event.time is not None and event.quantity == "end of the coolant's data":
                words += ". Coolant this hot can boil in a block and burst a joint: protection has to switch off before"
            rows += f"<tr><td>{signal}</td><td><b>{page.escape(event.where)}</b>: {page.escape(words)}</td></tr>"
        if still:
            words = (
                f"{len(still)} tubes do not soften" if "not within" in still[0].words else f"tubes: {still[0].words}"
            )
            rows += f"<tr><td></td><td>{page.escape(words)}</td></tr>"
        return f'<div class="gl-warn" tabindex="0" aria-label="Limits and their times"><table>{rows}</table></div>'

    def alt(self) -> str:
        """Return the picture in words."""
        return f"Temperatures over time with limits, heat and flow below. {self.headline()}"


def clock(plan: Plan | None = None) -> TimePanel:
    """Return the time panel of a plan, of the chosen one by default."""
    return TimePanel(mine.chosen().plan if plan is None else plan)
