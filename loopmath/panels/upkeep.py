"""The panel of assembly and upkeep: what is due, what the log says, in which order to build, how parts are reached."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from html import escape
from typing import Any, ClassVar, NamedTuple

import ipywidgets as widgets
from matplotlib.figure import Figure

from loopmath import due_dates, mine, order_figures, rules, service_log, service_words, upkeep_figures, upkeep_words
from loopmath import loop as tree
from loopmath.checks import InputError
from loopmath.drift import FLOW
from loopmath.figures import Picture
from loopmath.panels import page
from loopmath.panels.live import LivePanel
from loopmath.plan import Plan
from loopmath.service_log import JOBS, KINDS, NOTE, READING, Entry
from loopmath.service_words import Served
from loopmath.tube_ends import TOPPED_UP
from loopmath.units import DISPLAY, to_si
from loopmath.upkeep import FIRST
from loopmath.upkeep_words import LOG, TRENDS, Looked

DUE, READ, ORDER, REACHED = "what is due", "readings", "build order", "service access"
#: Said where a loop is put together or opened (common practice, no source).
HEED = (
    "Machine off, unplugged at the wall and cool before anything is opened; towels under the joint, gloves and glasses "
    "on. The plug stays out until all is dry and the leak test is passed. The parts' own instructions go first."
)
#: A reserve of nothing says that there is no tank, so a slider goes no lower. [m3]
LEAST = 1e-6
#: What can be typed of a reading: field of an entry -> its words and the kind of quantity.
TYPED = {
    "topped_up": ("Topped up", "volume"),
    "ph": ("pH", None),
    "coolant": ("Coolant", "temperature"),
    "room": ("Room", "temperature"),
    "flow": ("Flow", "flow"),
    "heat": ("Heat", "power"),
}
STYLE = """<style>
.glance-upkeep .glance-group .widget-button{width:auto;height:26px;line-height:26px;margin:3px 0 0}
.glance-upkeep .glance-controls .glance-group .widget-text input{height:24px}
@media (max-width:1180px){.glance-upkeep .glance .glance-controls{grid-template-columns:repeat(3,minmax(0,1fr))}
 .glance-upkeep .glance .glance-controls>.glance-group:nth-child(n){grid-column:1;grid-row:auto}
 .glance-upkeep .glance .glance-controls>.glance-group:nth-child(4){grid-column:2/span 2;grid-row:1/span 3;
  display:grid;grid-template-columns:repeat(2,minmax(0,1fr));gap:0 8px}
 .glance-upkeep .glance-group .widget-dropdown,.glance-upkeep .glance-group .widget-text{min-width:0;max-width:100%}
 .glance-upkeep .glance-group:nth-child(4)>.widget-html{grid-column:span 2}
 .glance-upkeep .glance .glance-controls>.glance-buttons{grid-column:2/span 2;grid-row:4}}
</style>"""


class View(NamedTuple):
    """
    A view: how a panel's plan is answered, and what is told and drawn of that answer.

    `words` tells it (sentence, readouts), `drawn` makes its pictures on a figure, `below` gives what stands under them
    as HTML, `alt` says what is drawn.
    """

    answer: Callable[[Any, Plan], Any]
    words: Any
    drawn: Callable[[Any, str], list[Picture]]
    below: Callable[[Any], str]
    alt: str


class UpkeepPanel(LivePanel):
    """The live panel of upkeep over one plan, as it stands on a day, by default today."""

    classes, style = ("glance-upkeep", "glance-loose"), STYLE
    anew = (":view",)
    shown: ClassVar[dict[str, tuple[str, ...]]] = {
        "Use": (DUE, READ),
        "Steps": (DUE,),
        "Add to the log": (DUE, READ),
    }
    #: The view the last answer is of, and the one that is drawn.
    _told = _drawn = ""

    def __init__(self, plan: Plan, today: date | None = None) -> None:
        self.today = today or date.today()
        super().__init__(plan)

    # ------------------------------------------------------------------------------------------------ controls

    def groups(self) -> list[tuple[str, list]]:
        """Return the controls under their titles."""
        view = self._choice(":view", "", list(VIEWS), DUE, widgets.Dropdown)
        view.tooltip = "What the drawing and the words show"
        filled = widgets.Text(self._begun(), description="Filled", placeholder="2026-03-01", continuous_update=False)
        filled.tooltip = "When the loop was filled: year-month-day"
        # In sight in every view: a day that cannot be read holds all of them up.
        look = [view, self._add(":filled", filled, str)]
        use = [self._slider("hours_per_day", "Hours a day", 0, 24, float(self.plan.hours_per_day))]
        tanks = sum(float(tank.volume()) for tank in self.plan.units(tree.Tank))
        if tanks > 0:
            most = int(min(1e6 * tanks, 20e3))
            reserve = self._quantity(":reserve", "Reserve", "volume", 1, most, TOPPED_UP * tanks)
            reserve.tooltip = "What the tank can lose before air is drawn"
            use.append(reserve)
        job = self._choice(":job", "Job", list(JOBS), JOBS[0], widgets.Dropdown)
        job.tooltip = "Whose cautions and steps are told"
        return [("Look at", look), ("Use", use), ("Steps", [job]), ("Add to the log", self._form())]

    def _form(self) -> list:
        """Return the fields of a line of the log, and the button that adds it; moving them redraws nothing."""
        kinds = widgets.Dropdown(options=KINDS, value=READING, description="Kind", tooltip="A job done, or a reading")
        self.form = {"day": widgets.Text(self.today.isoformat(), description="Date"), "kind": kinds}
        self.form |= {name: widgets.Text(description=words) for name, (words, _) in TYPED.items()}
        self.form["note"] = widgets.Text(description="Note")
        self.form_system = self.system
        self._label_form()
        add = widgets.Button(description="Add to log", tooltip="Write this line to the end of the log")
        add.on_click(lambda _: self.add_line())
        return [*self.form.values(), add]

    def _label_form(self) -> None:
        for name, (words, kind) in TYPED.items():
            if kind:
                unit = DISPLAY[self.system][kind].label
                self.form[name].description = f"{words}, {unit}"
                self.form[name].tooltip = f"{words} in {unit}, or with a unit of its own; empty if it was not read"

    def _rename_units(self) -> None:
        """Put labels, and what was typed without a unit, into the present units."""
        for name, (_, kind) in TYPED.items():
            try:
                value = float(self.form[name].value)
            except ValueError:
                continue
            if kind:
                old, new = DISPLAY[self.form_system][kind], DISPLAY[self.system][kind]
                self.form[name].value = f"{new.convert(old.back(value)):.5g}"
        self.form_system = self.system
        self._label_form()

    def _begun(self) -> str:
        """Return when the loop was filled, as the plan says; else the first day of the log, else today."""
        if self.plan.filled_on:
            return self.plan.filled_on
        try:
            entries = service_log.read_log(service_log.log_path(self.plan), self.today).entries
        except InputError:
            entries = ()
        return min([self.today, *(entry.day for entry in entries)]).isoformat()

    def buttons(self) -> list:
        """Return the button that writes the calendar."""
        button = widgets.Button(description="Write calendar", tooltip="A file any calendar can take in: what is due")
        button.on_click(lambda _: self.write_calendar())
        return [button]

    # ------------------------------------------------------------------------------------------------- the answer

    def planned(self) -> Plan:
        """Return the plan as the controls have it, with the day it was filled if that was typed."""
        filled, plan = self._control(":filled"), super().planned()
        return replace(plan, filled_on=filled.value.strip()) if filled.moved else plan

    def answer(self, plan: Plan) -> Any:
        """Return the answer of the view."""
        view = self.own("view")
        found = VIEWS[view].answer(self, plan)
        self._told = view
        return found

    def looked(self, plan: Plan) -> Looked:
        """Return the upkeep of a plan on the day."""
        filled, reserve = self._control(":filled"), self._control(":reserve")
        least = reserve and max(reserve.value, LEAST)
        return upkeep_words.look(plan, filled.value.strip() or None, None, self.today, reserve=least)

    def drawn(self) -> tuple[Figure, list]:
        """Return the drawings of the view."""
        figure, self._drawn = Figure(), self._told
        return figure, VIEWS[self._told].drawn(figure, self.system)

    def _draw(self) -> None:
        """Draw; where the first answer of a view comes only after a field was put right, the figure is made anew."""
        if self.solution is not None and self._drawn != self._told:
            self._draw_anew()
        else:
            super()._draw()

    def headline(self) -> str:
        """Return the view in words; of upkeep also on what day that rests if the plan names none."""
        said, filled = VIEWS[self._told].words.sentence(self.solution, self.system), self._control(":filled")
        if self.plan.filled_on or filled.moved or not isinstance(self.solution, Looked):
            return said
        return f"Type under Filled when it was filled; until then {filled.value} counts. {said}"

    def figures(self) -> list[tuple[str, str]]:
        """Return the readouts."""
        return VIEWS[self._told].words.readouts(self.solution, self.system)

    def below(self) -> str:
        """Return the words of the view."""
        return VIEWS[self._told].below(self)

    def alt(self) -> str:
        """Return the drawing in words."""
        return f"{VIEWS[self._told].alt} {self.headline()}"

    # ---------------------------------------------------------------------------------------------------- buttons

    def entry(self) -> Entry:
        """
        Return the line that was typed.

        Raises
        ------
        InputError
            If a field cannot be read, or a reading or note says nothing.
        """
        given = {name: value for name in TYPED if (value := self._typed(name)) is not None}
        note, kind = self.form["note"].value.strip(), self.form["kind"].value
        if kind in (READING, NOTE) and not given and not note:
            raise InputError(kind, "", "one thing that was read, or a note", "Type what there is to keep.")
        return Entry(self.form["day"].value, kind, note=note, **given)

    def _typed(self, name: str) -> float | None:
        """Return what a field says, in SI; a number without a unit is in the one its label names."""
        (words, kind), text = TYPED[name], self.form[name].value.strip()
        if not text:
            return None
        if kind is None:
            try:
                return float(text.replace(",", "."))
            except ValueError:
                raise InputError(words, text, "a number from 0 to 14") from None
        if text[-1].isdigit():
            text = f"{text} {DISPLAY[self.system][kind].label}"
        return to_si(words, text, kind)

    def add_line(self) -> None:
        """Add the line that was typed to the log, and say so; what cannot be read is told, and nothing written."""
        if not any(self.form[name].value.strip() for name in (*TYPED, "note")) and self.form["kind"].value == READING:
            self.say("Nothing was added. Type one thing that was read, or choose under Kind what was done.")
            return
        try:
            saved = service_log.append(service_log.log_path(self.plan), self.entry(), self.today)
        except InputError as problem:
            self.say(f"Nothing was added. {problem}")
            return
        for name in (*TYPED, "note"):
            self.form[name].value = ""
        filled = self._control(":filled")
        if not filled.moved:
            self._quiet, filled.widget.value = True, self._begun()
            self._quiet, filled.start = False, filled.widget.value
        self._answer_anew()
        self.say(f"{saved.words} A slip in it can be mended with any text editor.")

    def write_calendar(self) -> None:
        """Write what is due as a calendar file, and say where it is."""
        try:
            plan = self.planned()
            dues = self.looked(plan).dues
            if not dues:
                self.say("No calendar was written: say first when the loop was filled.")
                return
            saved = due_dates.write_calendar(plan, dues)
        except InputError as problem:
            self.say(f"No calendar was written. {problem}")
            return
        self.say(f"{saved.words} Open it with your calendar to take the days in.")


# ------------------------------------------------------------------------------------------------------- the views


def _rows(seen: Looked, system: str) -> list[tuple[str, str]]:
    """Return what the log and its readings warn of: signal word, words."""
    rows = [("caution", f"Log, line {line} is left out: {words}") for line, words in seen.log.skipped]
    rows += [("notice", f"Log, line {line}: {words}") for line, words in seen.log.remarks]
    for row in rules.warnings_of(seen.drift.facts, system, seen.plan.house_rules):
        said = f"{row.where}: {row.quantity} {row.value} (limit {row.limit}). {row.action} {row.why}"
        rows.append((row.signal, f"{said} [{row.source.split(':')[0]}]"))
    return rows


def _listed(rows: list[tuple[str, str]]) -> str:
    listed = "".join(f"<tr><td>{page.mark(s)}</td><td>{page.unbroken(escape(words))}</td></tr>" for s, words in rows)
    return f'<div class="gl-warn" tabindex="0" aria-label="Cautions"><table>{listed}</table></div>'


def _due_drawn(figure: Any, system: str) -> list[Picture]:
    line = upkeep_figures.TimeLine(figure.add_axes((0.265, 0.08, 0.715, 0.84)), system)
    for marks in line.due:  # the last day drawn is often a due one: two years from today
        marks.set_clip_on(False)
    return [line]


def _due_below(panel: UpkeepPanel) -> str:
    """Return the cautions and steps of the chosen job, then all days and what stands behind them."""
    seen, system = panel.solution, panel.system
    job = seen.upkeep.jobs[panel.own("job")]
    cautions = [("caution", f"{job.name}: {words}") for words in job.cautions]
    return (
        _listed(_rows(seen, system) + cautions)
        + page.steps_html(f"Steps of the {job.name}", job.steps)
        + page.table_html("What is due", upkeep_words.table(seen, upkeep_words.DUE, system))
        + page.note_html("Behind the days", f"{FIRST} {seen.upkeep.lost(system)}")
    )


def _read_drawn(figure: Any, system: str) -> list[Picture]:
    return [
        upkeep_figures.TrendLines(figure.add_axes((0.05, 0.08, 0.405, 0.84)), system),
        upkeep_figures.TrendLines(figure.add_axes((0.545, 0.08, 0.405, 0.84)), system, (FLOW,)),
    ]


def _read_below(panel: UpkeepPanel) -> str:
    """Return what the readings warn of, the trends and the log."""
    seen, system = panel.solution, panel.system
    said = _listed(_rows(seen, system) + [("notice", words) for words in seen.drift.notes])
    for title, view in (("Trends", TRENDS), ("Log", LOG)):
        table = upkeep_words.table(seen, view, system)
        said += page.table_html(title, table) if len(table) else ""
    return said + page.note_html("The file", f"{seen.log.path}. {seen.log.words}")


def _served(view: str) -> Callable[[UpkeepPanel, Plan], Served]:
    """Return how order or access is answered: hours and days do not count there, so it is worked out once a plan."""
    return lambda panel, _: service_words.look(view, panel.plan)


def _page(kind: type) -> Callable[[Any, str], list[Picture]]:
    return lambda figure, system: [kind(figure.add_axes((0, 0, 1, 1)), system)]


def _served_below(panel: UpkeepPanel) -> str:
    """Return what contradicts and what is not known, then the table."""
    seen = panel.solution
    against = [one.words for one in seen.order.contradictions]
    rows = [("caution", HEED)]
    rows += [("caution" if words in against else "notice", words) for words in service_words.notes(seen)]
    said = _listed(rows) + page.table_html(*service_words.table(seen, panel.system))
    if seen.view == service_words.ORDER:
        said += page.table_html("What comes before what, and why", service_words.reasons_table(seen.order))
    return said


VIEWS = {
    DUE: View(
        UpkeepPanel.looked,
        upkeep_words,
        _due_drawn,
        _due_below,
        "A time line: a row for each job with its due days, what was done in black.",
    ),
    READ: View(
        UpkeepPanel.looked,
        upkeep_words,
        _read_drawn,
        _read_below,
        "Readings of the log as a share of the plan's answer: resistances, and flow.",
    ),
    ORDER: View(
        _served(service_words.ORDER),
        service_words,
        _page(order_figures.OrderStrip),
        _served_below,
        "The steps of building the loop in their order, each with its reason.",
    ),
    REACHED: View(
        _served(service_words.REACHED),
        service_words,
        _page(order_figures.AccessBars),
        _served_below,
        "For every part a bar of the coolant lost when it is opened, and what comes out before it.",
    ),
}


def upkeep(plan: Plan | None = None, today: date | None = None) -> UpkeepPanel:
    """Return the panel of upkeep of a plan, of the chosen one by default."""
    return UpkeepPanel(mine.chosen().plan if plan is None else plan, today)
