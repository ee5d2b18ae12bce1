"""The measured-parts page's panel: paste readings, see the fit and what it cannot tell, keep the part."""

import datetime
import re
from html import escape
from typing import Any

import ipywidgets as widgets
import numpy as np

from loopmath import catalogue, fit_figures, mine, tables
from loopmath import loop as tree
from loopmath.checks import InputError
from loopmath.files import decoded, read_text
from loopmath.laws import coolant as coolants
from loopmath.measured import COLUMNS, Measured, measured_block, measured_fan, measured_pump, measured_radiator
from loopmath.panels import page
from loopmath.panels.canvas import LivePicture
from loopmath.readings import MOST_BYTES, read_readings
from loopmath.solution import solved
from loopmath.units import DISPLAY, to_si, written

WIDTH, HEIGHT = 880, 400
STYLE = """<style>
.bench{display:flex;flex-flow:row wrap;align-items:flex-start;gap:6px 14px;overflow:visible}
.bench-left{flex:1 1 284px;max-width:296px;min-width:270px;margin:0;overflow:visible}
.bench-left .widget-inline-hbox{width:auto;margin:1px 0;height:27px}
.bench-left .widget-inline-hbox .widget-label{width:96px;min-width:96px;text-align:right;color:#222}
.bench-left .widget-toggle-buttons .widget-toggle-button{width:auto;padding:0 10px;margin:0 2px 0 0}
.bench-left .widget-toggle-buttons .widget-label{display:none}
.bench-left textarea{font-family:monospace;font-size:12px;line-height:1.3;height:250px;white-space:pre}
.bench-left .widget-textarea{width:auto;height:auto;margin:3px 0}
.bench-left .widget-button,.bench-left .widget-upload{width:auto;height:27px;line-height:27px;margin:2px 4px 0 0}
.bench-right{flex:1 1 640px;max-width:880px;min-width:0;margin:0;height:auto}
.bench-right .widget-html-content{line-height:1.4;font-size:13px;color:#222}
.bench-said{columns:2 340px;column-gap:22px;margin:4px 0}.bench-said p{margin:0 0 5px;break-inside:avoid}
.bench-right .gl-words{inset:8% 10% auto 10%;max-height:80%}
.bench-odd{border-left:4px solid #CC79A7;padding-left:8px;font-weight:600}
@media (max-width:1180px){.bench-left{max-width:none;flex-basis:100%}.bench-left textarea{height:150px}}
</style>"""
KINDS = ("pump", "block", "radiator", "fan")


#: Part each kind starts from, and the coolant's temperature where the table does not say.
START = {
    "pump": "standard pump, 3.7 m",
    "block": "processor block, fine fins",
    "radiator": "2 x 120 mm, standard depth, medium fins",
    "fan": "quiet fan 120 mm, 1300 rpm",
}
WARM = {"pump": "", "block": "20 degC", "radiator": "35 degC", "fan": ""}


class BenchPanel:
    """
    The live bench: a table of readings becomes a part.

    Attributes
    ----------
    measured : Measured or None
        What the last table that could be used came to.
    failed : str
        What is wrong with the present table, in words; empty if nothing is.
    """

    def __init__(self) -> None:
        self.system, self.measured, self.failed, self.words = "metric", None, "", ""
        self.picture = ""
        self._quiet, self.named = False, {}
        self.plan, self.trouble = mine.chosen().plan, catalogue.own_trouble()
        self.tables = {kind: read_text(tables.DATA / "readings" / f"{kind}.csv", "readings").text for kind in KINDS}
        self.view = self._arrange()
        self._choose("pump")

    # -------------------------------------------------------------------------------------------------- layout

    def _arrange(self) -> widgets.Widget:
        self.kind = widgets.ToggleButtons(options=KINDS, tooltip="What was measured")
        self.kind.observe(lambda change: self._quiet or self._choose(change["new"]), "value")
        self.name = self._text("Name", "Name of the new part")
        self.like = self._choice("Similar to", "What is not measured is taken from this part", [])
        self.cools = self._choice("Cools", "What the block sits on", _cooled())
        self.size = self._choice("Size", "Trade size of the fan", [("120 mm", 0.12), ("140 mm", 0.14), ("200 mm", 0.2)])
        self.fan = self._choice("Fans on it", "The fan it was measured with", [])
        liquids = [(c.label, c.name) for c in coolants.coolants().values()]
        self.liquid = self._choice("Coolant", "What flowed while it was measured", liquids)
        self.warm = self._text("Coolant at", "Its temperature, where the table does not say")
        self.speed = self._text("Speed", "Share of full speed, where the table does not say")
        self.height = self._text("Height", "Height above the sea it was measured at: air is thinner up there")
        self.price = self._text("Price", "In your own currency; may be left out")
        self.table = widgets.Textarea(
            continuous_update=True, tooltip="Paste a table: header with units, a reading a line"
        )
        self.table.observe(self._moved, "value")
        self.upload = widgets.FileUpload(accept=".csv,.txt,.tsv", multiple=False, description="Load a CSV file")
        self.upload.observe(lambda change: self._load(change["new"]), "value")
        keep = widgets.Button(description="Save as my part", tooltip="Write it into your own parts file")
        keep.on_click(lambda _: self.keep())
        self.units = widgets.ToggleButtons(
            options=[("metric", "metric"), ("US", "us")], tooltip="Units of what is shown"
        )
        self.units.observe(lambda change: self._change_units(change["new"]), "value")
        self.options = widgets.VBox()
        buttons = widgets.HBox([self.upload, keep])
        left = widgets.VBox([self.kind, self.table, buttons, self.name, self.options, self.price, self.units])
        left.add_class("bench-left")
        self.screen = widgets.HTML()
        self.screen.add_class("bench-right")
        whole = widgets.Box([widgets.HTML(page.STYLE + STYLE), left, self.screen])
        whole.add_class("bench")
        return whole

    def _text(self, label: str, tooltip: str) -> widgets.Text:
        widget = widgets.Text(description=label, tooltip=tooltip, continuous_update=False)
        widget.observe(self._moved, "value")
        return widget

    def _choice(self, label: str, tooltip: str, options: list) -> widgets.Dropdown:
        widget = widgets.Dropdown(options=options, description=label, tooltip=tooltip)
        widget.observe(self._moved, "value")
        return widget

    def _choose(self, kind: str) -> None:
        """Show the fields and an example table of one kind of part."""
        self._quiet = True
        try:
            self.table.value = self.tables[kind]
            self.name.value, self.price.value = self.named.get(kind, (f"measured {kind}", ""))
            self.like.options = [(f"{n}", n) for n in catalogue.names(kind)]
            self.like.value = START[kind]
            self.fan.options = catalogue.names("fan")
            self.fan.value = "radiator fan 120 mm, 2000 rpm"
            self.warm.value, self.speed.value = WARM[kind], "100 %"
            self.height.value = str(written(float(self.plan.height), "length", "120 m"))
            shown = {
                "pump": [self.like, self.speed],
                "block": [self.like, self.cools, self.liquid, self.warm],
                "radiator": [self.like, self.fan, self.liquid, self.warm, self.speed, self.height],
                "fan": [self.size, self.speed, self.height],
            }
            self.options.children = shown[kind]
        finally:
            self._quiet = False
        self._work()

    # ----------------------------------------------------------------------------------------- what a user does

    def _moved(self, _: Any) -> None:
        if not self._quiet:
            self.tables[self.kind.value] = self.table.value
            self.named[self.kind.value] = (self.name.value, self.price.value)
            self.words = ""
            self._work()

    def _load(self, files: tuple) -> None:
        """Take the table of a file; it is read, never written."""
        if not files:
            return
        name, raw = files[0]["name"], bytes(files[0]["content"])
        try:
            self.table.value = decoded(raw, "table file", name, MOST_BYTES, sixteen=True)
        except InputError as problem:
            self.failed = _problem_html(problem)
            self._show()

    def keep(self) -> None:
        """Write the part into the user's own parts file; every page offers it from now on."""
        if self.failed or self.measured is None:
            self.words = "Not kept: put right what is said first."
        else:
            try:
                self.words = catalogue.keep_part(self.kind.value, self.measured.part, self._note()).words
                self.words += " Every page offers it from now on, beside the catalogue."
            except InputError as problem:
                self.words = f"Not kept. {problem}"
        self._show()

    def _note(self) -> str:
        """Return where the part's numbers come from, for its entry in the parts file."""
        fits = (f"{key}: {c.x.size} readings, R2 {c.fit.r_squared:.4f}" for key, c in self.measured.fits.items())
        doubts = f"; doubts: {' '.join(self.measured.suspicions)}" if self.measured.suspicions else ""
        return f"measured, fitted {datetime.date.today().isoformat()}; {'; '.join(fits)}{doubts}"

    def _change_units(self, system: str) -> None:
        self.system = system
        self._work()

    # ------------------------------------------------------------------------------------------- work and show

    def _fitted(self) -> Measured:
        kind, name = self.kind.value, self.name.value
        price = float(self.price.value) if _is_number(self.price.value) else None
        if self.price.value.strip() and price is None:
            raise InputError("price", self.price.value, "a plain number")
        readings = read_readings(self.table.value, COLUMNS[kind], "your table")
        beside = {"price": price, "system": self.system}
        if kind in ("block", "radiator"):
            warm = to_si("coolant at", self.warm.value, "temperature")
        else:
            speed = to_si("speed", self.speed.value, "share")
        if kind in ("radiator", "fan"):
            beside["height"] = to_si("height", self.height.value, "length")
        if kind == "pump":
            return measured_pump(readings, name, like=self.like.value, speed=speed, **beside)
        if kind == "fan":
            like = catalogue.fan_of_size(None, self.size.value)
            return measured_fan(readings, name, self.size.value, like=like, speed=speed, **beside)
        liquid = self.liquid.value
        if kind == "block":
            how = {"like": self.like.value, "coolant_name": liquid, "temperature": warm}
            return measured_block(readings, name, self.cools.value, **how, **beside)
        speed = to_si("speed", self.speed.value, "share")
        how = {"speed": speed, "coolant_name": liquid, "coolant_temperature": warm}
        return measured_radiator(readings, name, self.like.value, self.fan.value, **how, **beside)

    def _work(self) -> None:
        """Fit the table and show what came of it."""
        try:
            self.measured, self.failed = self._fitted(), ""
            figure = fit_figures.measured_figure(self.measured, WIDTH, HEIGHT, self.system)
            alt = fit_figures.words(self.measured, self.system)
            self.picture = LivePicture(figure, [], WIDTH, HEIGHT, alt).html()
        except InputError as problem:
            self.failed = _problem_html(problem)
        self._show()

    def _show(self) -> None:
        none = "No fit for this table; the last picture stays faint behind."
        head = self.words or (none if self.failed else self._in_the_loop())
        head = f"{head} {self.trouble}".strip()
        over = f'<div class="gl-words" role="alert">{self.failed}</div>' if self.failed else ""
        said = "" if self.failed or self.measured is None else self._said()
        self.screen.value = (
            f'<div class="gl-head" role="status" aria-live="polite">{escape(head)}</div>'
            f'<div class="gl-picture{" gl-problem" if self.failed else ""}">{self.picture}{over}</div>{said}'
        )

    def _said(self) -> str:
        """Return suspicions first, then what was found and what the readings cannot tell."""
        odd = "".join(f'<p class="bench-odd">{page.mark("caution")} {escape(s)}</p>' for s in self.measured.suspicions)
        found = "".join(f"<p>{escape(w)}</p>" for w in self.measured.words)
        return f'<div class="bench-said">{odd}{found}</div>'

    def _in_the_loop(self) -> str:
        """Return what the part would do in the plan in place of the one there is."""
        kind, part, plan = self.kind.value, self.measured.part, self.plan
        units = [u for u in plan.units(tree.Element) if _takes(u, kind, part)]
        if not units:
            return f"“{part.name}” is fitted; {plan.title} has no place for a {kind} of this kind."
        try:
            new = solved(plan.set(**{f"{u.name}.{kind}": part for u in units[: None if kind == "fan" else 1]}))
        except InputError as problem:
            return f"“{part.name}” is fitted; in {plan.title} it cannot be solved: {problem}"
        old, shown = solved(plan), DISPLAY[self.system]
        if not (new.known and old.known):
            return f"“{part.name}” is fitted; in {plan.title}: {new.plight or old.plight}"
        figures = [
            ("flow", "flow", "flow"),
            ("coolant over room", "coolant_over_room", "difference"),
            ("sound", "sound", "sound"),
        ]
        said = (f"{word} {shown[k].text(new.state[s])} (was {shown[k].text(old.state[s])})" for word, s, k in figures)
        was = units[0].fan.name if kind == "fan" else units[0].part.name
        beyond = any("what was measured" in row.quantity for row in new.warned())
        guess = " Caution: it runs beyond its readings there." if beyond else ""
        return f"“{part.name}” in {plan.title}, in place of “{was}”: {', '.join(said)}.{guess}"

    def _repr_mimebundle_(self, **kwargs: Any) -> dict:
        """Show the live panel, and where no kernel runs its last picture and words."""
        words = fit_figures.words(self.measured, self.system)
        return page.bundle(self.view, STYLE + self.screen.value, words, **kwargs)


def bench() -> BenchPanel:
    """Return the bench for measured parts; as the last line of a cell it is shown."""
    return BenchPanel()


def _cooled() -> list[str]:
    """Return what blocks of the catalogue cool."""
    return list(dict.fromkeys(catalogue.part("block", n).cools for n in catalogue.names("block")))


def _is_number(text: str) -> bool:
    try:
        return bool(np.isfinite(float(text)))
    except ValueError:
        return False


def _takes(unit: Any, kind: str, part: Any) -> bool:
    """Return True if an element of a plan could hold the part."""
    if kind == "fan":
        return isinstance(unit, tree.RadiatorUnit) and unit.fan is not None and abs(unit.fan.size - part.size) < 1e-6
    if unit.slot != kind:
        return False
    return kind != "block" or unit.block.cools == part.cools


def _problem_html(problem: InputError) -> str:
    """Return what is wrong with a table, a fault a line."""
    faults = re.split(r"(?:^|; )(?=\(\d+\) )", problem.remedy)
    if len(faults) > 1:
        return "<b>This table cannot be used yet.</b><br>" + "<br>".join(escape(f) for f in faults if f)
    said = str(problem.value)
    said = said if len(said) < 120 else said[:117] + "…"
    words = f"{problem.field}: {said}. Accepted: {problem.accepted}. {problem.remedy}"
    return f"<b>This table cannot be used yet.</b><br>{escape(words)}"
