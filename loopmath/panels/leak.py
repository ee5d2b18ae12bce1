"""The panel of the leak test: which pressure, how long, and what a pasted table of readings says."""

from html import escape
from typing import Any

import ipywidgets as widgets
import numpy as np
from matplotlib.figure import Figure

from loopmath import leak_figures, leak_test, leak_verdict, mine, tables
from loopmath.checks import InputError
from loopmath.files import decoded, read_text
from loopmath.leak_figures import Tested
from loopmath.leak_test import minutes
from loopmath.leak_verdict import ABSOLUTE, GAUGE, LEAKS
from loopmath.panels import page
from loopmath.panels.live import LivePanel
from loopmath.plan import Plan
from loopmath.readings import MOST_BYTES
from loopmath.slips import shown
from loopmath.units import DISPLAY, to_si

#: Example -> file of data/readings; the first leaves the table empty.
EXAMPLES = {
    "none: plan only": "",
    "tight, room cools": "leak_tight",
    "slow leak": "leak_slow",
    "still settling": "leak_settling",
    "gauge and absolute mixed": "leak_mixed",
}
OWN = "own"
STYLE = """<style>
.glance-leak .glance-controls .glance-group .widget-textarea{width:auto;height:124px;margin:2px 0}
.glance-leak .glance-controls .glance-group .widget-textarea .widget-label{display:none}
.glance-leak textarea{font-family:monospace;font-size:12px;line-height:1.25;height:118px;white-space:pre}
.glance-leak .glance-group .widget-upload{width:auto;height:26px;line-height:26px;margin:2px 0}
@media (max-width:1180px){.glance-leak .glance .glance-controls{grid-template-columns:repeat(3,minmax(0,1fr))}
 .glance-leak .glance .glance-controls>.glance-group:nth-child(n){grid-column:auto;grid-row:1}
 .glance-leak .glance .glance-controls>.glance-group:nth-child(1){grid-row:1/span 3}
 .glance-leak .glance .glance-controls>.glance-buttons{grid-column:2/span 2;grid-row:2}
 .glance-leak .glance .glance-controls>.glance-note{grid-column:2/span 2;grid-row:3}
 .glance-leak .glance-controls .glance-group .widget-textarea{height:76px}.glance-leak textarea{height:70px}}
</style>"""


class LeakPanel(LivePanel):
    """The live panel of the leak test over one plan."""

    classes, style = ("glance-leak",), STYLE

    def groups(self) -> list[tuple[str, list]]:
        """Return the controls under their titles."""
        test = leak_test.planned(self.plan)
        example = self._choice(
            ":example", "Example", [*EXAMPLES.items(), ("your own table", OWN)], "leak_tight", widgets.Dropdown
        )
        example.tooltip = "Invented readings, to see what the test says of them"
        self.table = widgets.Textarea(
            value=_example("leak_tight"), tooltip="Paste a table: time, pressure, temperature"
        )
        self._add(":table", self.table, str)
        upload = widgets.FileUpload(accept=".csv,.txt,.tsv", multiple=False, description="Load a CSV file")
        upload.observe(lambda change: self._load(change["new"]), "value")
        kinds = [("as its header says", ""), (GAUGE, GAUGE), (ABSOLUTE, ABSOLUTE)]
        readings = [
            example,
            self.table,
            upload,
            self._choice(":reads", "Pressure is", kinds, "", widgets.Dropdown),
            self._slider(":settle", "Leave out, min", 0, 60, leak_test.SETTLES / 60, 60.0),
        ]
        hold = min(np.ceil(test.hold / 60), 240)
        pressure = [
            self._quantity(":pressure", "Pressure", "pressure", 5, 150, test.pressure),
            self._slider(":hold", "Hold, min", 2, 240, hold, 60.0),
            self._typed("least_leak", "Smallest leak", "flow", leak_test.leak_text(test.smallest)),
            self._typed("gauge_step", "Gauge tells", "pressure", shown("pressure")(test.step)),
        ]
        beside = [
            self._quantity(":hose", "Hose", "volume", 0, 500, 0.0),
            self._room_slider(),
            self._text(":room", "Room pressure", "", "from the height"),
            self._text(":own", "Own ratings", "", "reservoir: 60 kPa"),
        ]
        return [("Readings", readings), ("Test", pressure), ("Beside", beside)]

    def _text(self, setting: str, words: str, value: str, hint: str = "") -> widgets.Text:
        text = widgets.Text(value, description=words, placeholder=hint, continuous_update=False)
        return self._add(setting, text, str)

    def _typed(self, setting: str, words: str, kind: str, value: str) -> widgets.Text:
        """Return a field of the plan that is typed with its unit."""
        text = widgets.Text(value, description=words, continuous_update=False)
        return self._add(setting, text, lambda typed: to_si(words.lower(), typed, kind))

    def _rename_units(self) -> None:
        """Put the fields that were not touched into the present units."""
        test, show = leak_test.planned(self.plan), shown("pressure", self.system)
        smallest = leak_test.leak_text(test.smallest, self.system)
        for setting, text in (("least_leak", smallest), ("gauge_step", show(test.step))):
            control = self._control(setting)
            if not control.moved:
                control.widget.value = control.start = text

    def followed(self, setting: str, value: Any) -> None:
        """Show the table of an example once it is chosen."""
        super().followed(setting, value)
        if setting == ":example" and value != OWN:
            self._put(_example(value))
        if setting == ":table":
            self._quiet, self._control(":example").widget.value = True, OWN
            self._quiet = False

    def _put(self, text: str) -> None:
        self._quiet, self.table.value = True, text
        self._quiet = False

    def _load(self, files: tuple) -> None:
        """Take the table of a file; it is read, never written."""
        if not files:
            return
        try:
            raw = bytes(files[0]["content"])
            self.table.value = decoded(raw, "table file", files[0]["name"], MOST_BYTES, sixteen=True)
        except InputError as problem:
            self.failed = page.problem_html(problem)
            self._draw()

    def answer(self, plan: Plan) -> Tested:
        """Return the test planned, and its readings judged if there are any."""
        slid, room = self._control(":pressure"), self.own("room").strip()
        test = leak_test.planned(
            plan,
            slid.value if slid.moved else None,
            self.own("hose"),
            room=to_si("room pressure", room, "pressure") if room else None,
            own=leak_test.own_ratings(self.own("own")),
        )
        if not self.table.value.strip():
            return Tested(test, None)
        readings = leak_verdict.read(self.table.value, test, self.own("reads"))
        return Tested(test, leak_verdict.judge(readings, test, self.own("settle")))

    def drawn(self) -> tuple[Figure, list]:
        """Return the drawings."""
        figure = Figure()
        return figure, leak_figures.pictures(figure, self.system)

    def headline(self) -> str:
        """Return the verdict, or what to do."""
        test, verdict = self.solution
        return verdict.said(self.system) if verdict else test.brief(self.system)

    def figures(self) -> list[tuple[str, str]]:
        """Return the readouts."""
        test, show, hold = self.solution.test, shown("pressure", self.system), self.own("hold")
        size, (part, rating) = leak_test.leak_text, test.lowest
        out = [
            ("test pressure", show(test.pressure)),
            (f"lowest rating: {part}", show(rating)),
            ("loop sees up to", show(test.sees)),
            ("air in loop and hose", DISPLAY[self.system]["volume"].text(test.volume)),
            ("hold for the smallest leak", minutes(test.hold) if np.isfinite(test.hold) else "over a day"),
            (f"found in {minutes(hold)}", f"{size(float(leak_test.findable(test, hold)), self.system)} or more"),
            ("room", show(test.room)),
            ("stored energy", f"{test.energy[0]:.0f} J"),
        ]
        return out

    def below(self) -> str:
        """Return what was noticed, the window, and the steps with their cautions."""
        test, verdict = self.solution
        rows = [("danger" if test.pressure > test.lowest[1] else "caution", test.danger(self.system))]
        over = test.pressure > test.most
        under = test.pressure < test.least and not over
        if over or under or test.least > test.most:
            words = f"{shown('pressure', self.system)(test.pressure)} is {'above' if over else 'below'} the window. "
            words = words if over or under else ""
            rows.insert(0, ("warning" if over else "caution", words + test.window(self.system)))
        for words in verdict.words if verdict else ():
            signal = "danger" if words.startswith("Danger") else "caution" if "elow" in words else "notice"
            rows.append((signal, words))
        if verdict is not None and verdict.kind == LEAKS:
            soap = "Find it at low pressure with soapy water on a brush, then rinse and dry. Joints and caps first."
            rows.append(("notice", soap))
        listed = "".join(f"<tr><td>{page.mark(s)}</td><td>{escape(words)}</td></tr>" for s, words in rows)
        dry, wet = leak_test.steps(test, self.system)
        return (
            f'<div class="gl-warn" tabindex="0" aria-label="Cautions"><table>{listed}</table></div>'
            + page.note_html("Pressure and time", f"{test.window(self.system)} {test.advice(self.system)}")
            + page.note_html("What that leak means", test.wet(self.system))
            + page.steps_html("Dry test", dry)
            + page.steps_html("Wet test", wet)
        )

    def alt(self) -> str:
        """Return the drawing in words."""
        return leak_figures.alt(self.solution, self.system)


def leak(plan: Plan | None = None) -> LeakPanel:
    """Return the panel of the leak test of a plan, of the chosen one by default."""
    return LeakPanel(mine.chosen().plan if plan is None else plan)


def _example(stem: str) -> str:
    return read_text(tables.DATA / "readings" / f"{stem}.csv", "readings").text if stem else ""
