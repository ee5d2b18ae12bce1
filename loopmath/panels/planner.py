"""The plan page's panel: fields, the file beside them, the loop as it is edited, and which plan all pages open."""

from collections.abc import Callable
from html import escape
from pathlib import Path
from typing import Any

import ipywidgets as widgets

from loopmath import catalogue, mine, parts_list, schematic
from loopmath import loop as tree
from loopmath.checks import InputError
from loopmath.draft import KINDS, Draft
from loopmath.laws import coolant as coolants
from loopmath.laws import materials
from loopmath.panels import page
from loopmath.panels.canvas import LivePicture
from loopmath.planfile import ANY_PART, PARTS, SECTIONS, TUBES, Field
from loopmath.solution import Solution, solved
from loopmath.units import DISPLAY, written

#: Width of the drawing on the screen, and the height from which it scrolls, in pixels.
WIDTH, TALLEST = 880, 456
STYLE = """<style>
.plan-bar{display:flex;flex-flow:row wrap;align-items:center;gap:4px 8px;margin:0 0 4px}
.plan-bar .widget-dropdown{width:360px;margin:0}.plan-bar .widget-button{width:auto;margin:0;height:28px}
.plan-bar .widget-toggle-buttons .widget-toggle-button{width:70px;margin:0 2px 0 0}
.plan-body{display:flex;flex-flow:row wrap;align-items:flex-start;gap:6px 14px;overflow:visible}
.plan-form{flex:1 1 284px;max-width:296px;min-width:270px;max-height:690px;overflow:auto!important;margin:0}
.plan-form .widget-inline-hbox{width:auto;margin:1px 0;height:27px}
.plan-form .widget-inline-hbox .widget-label{width:104px;min-width:104px;text-align:right;color:#222}
.plan-form .widget-button{width:auto;height:26px;line-height:26px;margin:0 2px 2px 0}
.plan-form .widget-select{width:auto;margin:0;height:236px}.plan-form .widget-select select{height:100%;font-size:12px}
.plan-form .jupyter-widget-Collapse-header{padding:3px 8px}
.plan-form .jupyter-widget-Collapse-contents{padding:3px 4px}
.plan-form .widget-html-content{font-size:12.5px;font-weight:bold;color:#444;line-height:1.3;min-height:0}
.plan-form .widget-html{margin:3px 0 0;min-height:0;height:auto}
.plan-right{flex:1 1 640px;max-width:880px;min-width:0;margin:0;overflow:visible}
.plan-right .widget-html{margin:0;height:auto}
.plan-right .widget-html-content{line-height:1.35;font-size:13px;color:#222}
.plan-drawing{max-height:456px;overflow:auto;border-bottom:1px solid #ddd}
.plan-stage{position:relative}.plan-stage .gl-words{inset:6% 8% auto 8%;max-height:80%}
.plan-drawing img{width:100%;max-width:880px;height:auto;display:block}
.plan-low{display:flex;flex-flow:row wrap;gap:4px 12px;overflow:visible;align-items:flex-start}
.plan-file{flex:1 1 420px;min-width:300px;margin:0}.plan-file textarea{font-family:monospace;font-size:12px;
 line-height:1.35;height:210px;resize:vertical;white-space:pre}
.plan-said{flex:1 1 300px;min-width:260px;margin:0}
.plan-problems{margin:4px 0 0;padding-left:0;list-style:none;font-size:13px}
.plan-problems li{border-bottom:1px solid #eee;padding:3px 0}.plan-problems b{white-space:nowrap}
.plan-said .gl-warn{height:190px}
@media (max-width:1180px){.plan-right{display:contents}.plan-right>.widget-html{order:1;flex:1 0 100%}
 .plan-form{order:2;max-height:420px}.plan-low{order:3;flex:1 1 480px}}
</style>"""
#: Fields of the form's first page: section of the file, label, words of the tooltip.
FIRST = (
    ("", "title", "Title", "What you call this machine"),
    ("room", "air", "Room air", "25 degC, 77 degF"),
    ("room", "height", "Height", "Above sea level: thin air carries less heat"),
    ("room", "listener", "Ear at", "Distance at which the sound is stated"),
    ("case", "air", "Case air by", "given: your estimate below; balance: from fans, openings and heat"),
    ("case", "air_over_room", "Case air over", "Air inside the case over room air; your estimate"),
    ("case", "other_heat", "Heat in case", "Of all that stays on air and has no line of its own in the file"),
    ("case", "hot_spot", "Hot spot over", "How much warmer than its mean the case may be where a tube hangs"),
    ("coolant", "kind", "Coolant", "What flows"),
    ("coolant", "treatment", "Treatment", "What is in the coolant besides: against corrosion, against growth, colour"),
    ("coolant", "price_per_litre", "A litre costs", "In your own currency"),
    ("limits", "coolant", "Coolant at most", "The warmest coolant you accept"),
    ("limits", "sound", "Sound at most", "The loudest you accept, in dB"),
    ("limits", "budget", "Budget", "What the parts may cost"),
    ("limits", "currency", "Currency", "Such as EUR"),
    ("tube", "part", "Tube", "What a run is made of unless it says otherwise"),
)
#: The same of the last page.
MATERIALS = (
    ("tube", "fitting_metal", "Fittings' metal", "What the coolant touches in them, and what a plating is on"),
    ("coolant", "also_wetted", "Wetted besides", "Metals in no part of the plan, such as a coil: copper; tin plate"),
    ("coolant", "surroundings", "Surroundings", "How far apart the index lets two metals lie"),
    ("joints", "seal", "Seal", "Rubber of the rings on the ends of rigid tube"),
    ("joints", "section", "Ring is thick", "Diameter of the ring's section"),
    ("joints", "squeeze", "Ring squeeze", "Share of its section; 17 to 27 % is usual, the thinner the more"),
    ("joints", "rings", "Rings at an end", "How many rings seal each end"),
    ("joints", "edge", "Tube edge", "How you leave the ends of cut tube: a sharp edge shaves the ring"),
    ("joints", "aid", "Wetted with", "What the ring is wetted with when the tube goes in: oil swells some rubbers"),
    ("joints", "cleaner", "Cleaned with", "What takes marks off the outside of the tube: some cleaners crack plastics"),
)
#: Between the names in a field that takes several: names of metals hold commas.
APART = ";"
#: Label of a line of [parts.NAME]; a line not named here is left to the file.
LABELS = {
    "speed": "Speed",
    "typical_heat": "Typical heat",
    "peak_heat": "Peak heat",
    "limit": "Limit",
    "fan_speed": "Fan speed",
    "air": "Air from",
    "count": "How many",
    "length": "Length",
    "bends": "Bends in it",
    "fittings": "90° fittings",
    "purpose": "Purpose",
}


#: Pages of the form, and the kinds of part on those between the second and the last.
PAGES = (
    "The plan",
    "The order of flow",
    "What is cooled",
    "Pump and reservoir",
    "Radiators",
    "Fittings, valves, in-line parts",
    "Metals, seals, tube ends",
)
KINDS_ON_PAGES = (("block",), ("pump", "reservoir"), ("radiator",), ("fitting", "inline"))


class PlannerPanel:
    """
    The live editor of one plan file.

    Parameters
    ----------
    path : Path, optional
        The file; by default the one chosen last, the demo if none was.

    Attributes
    ----------
    draft : Draft
        The file being edited.
    solution : Solution
        The answer of the last text that could be read.
    """

    def __init__(self, path: Path | None = None) -> None:
        self.system, self.words, self.picture, self.alt, self.more = "metric", "", "", "", False
        self.solution: Solution | None = None
        self.fields: dict[tuple, Any] = {}
        self._quiet = False
        self._last: dict = {}  # what the file said while it was a TOML document last
        self._built: list = []
        self._entry = 0
        self.draft, self.words = self._first(path)
        self.view = self._arrange()
        self._show(anew=True)

    def _first(self, path: Path | None) -> tuple[Draft, str]:
        """Return the draft to begin with and words to it: the file that was chosen, right or wrong, else the demo."""
        if path is not None:
            draft = Draft.opened(path)
            return draft, self._called(draft)
        chosen = mine.chosen()
        try:
            draft = Draft.opened(mine.chosen_path() or chosen.plan.origin.path)
        except InputError:  # it is gone; the words say so
            return Draft.opened(chosen.plan.origin.path), chosen.words
        return draft, self._called(draft) if chosen.trouble else chosen.words

    @staticmethod
    def _called(draft: Draft) -> str:
        """Return which plan it is, and whether other pages can open it."""
        title, path = draft.fields().get("title"), draft.origin.path
        words = mine.called(title if isinstance(title, str) else "Untitled plan", path)
        trouble = catalogue.own_trouble()
        return " ".join(filter(None, (words, _wrong(draft) if draft.plan is None else "", trouble)))

    # -------------------------------------------------------------------------------------------------- layout

    def _arrange(self) -> widgets.Widget:
        self.chooser = widgets.Dropdown(description="", tooltip="The plan that every page opens")
        self.chooser.observe(lambda change: self._quiet or self.open(change["new"]), "value")
        self.units = widgets.ToggleButtons(
            options=[("metric", "metric"), ("US", "us")], tooltip="Units of what is shown"
        )
        self.units.observe(lambda change: self._change_units(change["new"]), "value")
        bar = widgets.Box(
            [
                widgets.HTML("<b>Plan every page opens</b>"),
                self.chooser,
                self._button("Save", "Write the text below into your own file", self.save),
                self._button("Undo", "Take the last change back", self.undo),
                self.units,
            ]
        )
        bar.add_class("plan-bar")
        self.status, self.drawing, self.said = widgets.HTML(), widgets.HTML(), widgets.HTML()
        self.pages = [widgets.VBox() for _ in PAGES]
        self.form = widgets.Accordion(self.pages, titles=PAGES, selected_index=0)
        for widget, name in ((self.form, "form"), (self.said, "said")):
            widget.add_class(f"plan-{name}")
        self.low = widgets.Box()
        self.low.add_class("plan-low")
        self._new_file_box()
        right = widgets.VBox([self.drawing, self.low])
        right.add_class("plan-right")
        body = widgets.Box([self.form, right])
        body.add_class("plan-body")
        return widgets.VBox([widgets.HTML(page.STYLE + STYLE), bar, self.status, body])

    def _new_file_box(self) -> None:
        """Put an empty box for the file on the screen: an old one would keep the last file's place of scrolling."""
        tooltip = "The plan file itself: type here, or use the fields"
        self.file = widgets.Textarea(continuous_update=True, tooltip=tooltip)
        self.file.observe(lambda change: self._quiet or self._typed(change["new"]), "value")
        self.file.add_class("plan-file")
        self.low.children = [self.file, self.said]

    def _button(self, words: str, tooltip: str, do: Callable[[], None]) -> widgets.Button:
        button = widgets.Button(description=words, tooltip=tooltip)
        button.on_click(lambda _: self._doing(do))
        return button

    def _field(self, place: tuple, label: str, options: Any = None, tooltip: str = "") -> Any:
        """Add a field of the form: it writes what is typed to its place in the file."""
        if options is None:
            widget = widgets.Text(description=label, continuous_update=False, tooltip=tooltip)
        else:
            widget = widgets.Dropdown(options=options, description=label, tooltip=tooltip)
        widget.observe(lambda change: self._quiet or self._put(place, change["new"]), "value")
        self.fields[place] = widget
        return widget

    def _build_form(self) -> None:
        """Make the fields anew for the parts there are now."""
        self.fields, self._built = {}, self._structure()
        parts = [(name, kind) for name, kind in self._built if kind in PARTS]
        made = [[self._line_field(*line) for line in FIRST], self._order_page()]
        for kinds in KINDS_ON_PAGES:
            mine_here = [self._part_fields(n, kind) for n, kind in parts if kind in kinds]
            made.append([widget for part in mine_here for widget in part] or [widgets.HTML("none in this plan")])
        made.append([self._line_field(*line) for line in MATERIALS])
        for shown, children in zip(self.pages, made, strict=True):
            shown.children = children

    def _line_field(self, section: str, key: str, label: str, tooltip: str) -> Any:
        """Return the field of a line that is no part's: a choice where the file takes certain words only."""
        line = next((f for f in SECTIONS[section] if f.key == key), None)
        options = list(line.known()) if line is not None and line.known is not None else None
        if key == "kind":
            options = [(c.label, c.name) for c in coolants.coolants().values()]
        elif key == "part":
            options = self._names("tube")
        elif key == "fitting_metal":
            options = materials.metal_names()
        elif key == "treatment":
            options = [("as usual for it", ""), *((name, name) for name in options)]
        elif key == "surroundings":
            options = [(f"{name}: up to {materials.LIMITS[name]:.2f} V", name) for name in options]
        return self._field((section, key) if section else (key,), label, options, tooltip)

    def _part_fields(self, name: str, kind: str) -> list:
        place = ("parts", name)
        out = [widgets.HTML(escape(name)), self._field((*place, "part"), "Part", self._names(kind))]
        if kind == "radiator":
            out.append(self._field((*place, "fan"), "Fans", self._names("fan")))
        for line in PARTS[kind][1]:
            if line.key in LABELS:
                options = self._airs(name) if line.key == "air" else None
                out.append(self._field((*place, line.key), LABELS[line.key], options))
        return [
            *out,
            self._field((*place, "price"), "Price", tooltip="Instead of the catalogue's, in your own currency"),
        ]

    def _airs(self, name: str) -> list[str]:
        """Return where a radiator's air may come from: another radiator is one it stands close behind."""
        return [*tree.PLACES, *(other for other, kind in self._built if kind == "radiator" and other != name)]

    def _names(self, kind: str) -> list[str]:
        """Return the parts that can be chosen: those described in the plan, the user's own, those of data/."""
        data = self._document().get("part_data", {})
        own = list(data.get(kind, {})) if isinstance(data, dict) and isinstance(data.get(kind, {}), dict) else []
        return list(dict.fromkeys([*own, *catalogue.names(kind)]))

    def _order_page(self) -> list:
        self.entries = widgets.Select(rows=12, tooltip="Elements in the order the coolant passes them")
        self.entries.observe(lambda change: self._quiet or self._note_entry(change["new"]), "index")
        buttons = [
            self._button("Earlier", "Move the chosen element against the flow", lambda: self._move(-1)),
            self._button("Later", "Move the chosen element with the flow", lambda: self._move(1)),
            self._button("Take out", "Remove the chosen element and what the file says of it", self._remove),
        ]
        self.kind = widgets.Dropdown(options=[(words, kind) for kind, words in KINDS.items()], description="New")
        self.name = widgets.Text(description="Called", placeholder="a name of your own")
        add = self._button("Add behind the chosen one", "Put it in with the first part of its kind", self._add)
        series = self._button("Blocks in series", "One after another", lambda: self.draft.lay_out("series"))
        side = self._button("Blocks in parallel", "Between two tees", lambda: self.draft.lay_out("parallel"))
        self.entry_box, self._entry_of = widgets.VBox(), None
        return [
            self.entries,
            widgets.HBox(buttons),
            self.entry_box,
            self.kind,
            self.name,
            add,
            widgets.HBox([series, side]),
        ]

    # ----------------------------------------------------------------------------------------- what a user does

    def _doing(self, do: Callable[[], None]) -> None:
        """Do what a button says; what it refuses is said in words."""
        self.words = ""
        try:
            do()
        except InputError as problem:
            self.words = _said(problem)
        self._show(anew=True)

    def _put(self, place: tuple, typed: Any) -> None:
        value = _as_typed(place, typed)
        if value == [] or isinstance(value, str) and not value.strip():
            value = None
        self.words = ""
        try:
            self.draft.put(place, value, self._fans_that_fit(place, value))
        except InputError as problem:
            self.words = _said(problem)
        self._show()

    def _fans_that_fit(self, place: tuple, value: Any) -> dict:
        """Return the fans that go with a radiator of another fan size."""
        part = self.draft.fields().get("parts", {}).get(place[1]) if place[0] == "parts" else None
        if not isinstance(part, dict) or part.get("kind") != "radiator" or place[-1] != "part":
            return {}
        try:
            core, fan = catalogue.part("radiator", value), catalogue.part("fan", part.get("fan"))
        except InputError:
            return {}
        if abs(core.fan_size - fan.size) < 1e-6:
            return {}
        return {(*place[:-1], "fan"): catalogue.fan_of_size(fan, core.fan_size).name}

    def _typed(self, text: str) -> None:
        self.words = ""
        self.draft.write(text)
        self._show(text=False)

    def _document(self) -> dict:
        """Return what the file says; while it is no TOML, what it said last: one sign too few empties no field."""
        self._last = self.draft.fields() or self._last
        return self._last

    def _structure(self) -> list:
        """Return what the form's fields depend on."""
        parts = self._document().get("parts", {})
        described = parts.items() if isinstance(parts, dict) else ()
        kinds = [(name, t.get("kind") if isinstance(t, dict) else None) for name, t in described]
        return [(name, kind if isinstance(kind, str) else None) for name, kind in kinds]

    def _show_entry(self) -> None:
        """Give the chosen run or dead leg its fields."""
        order = self._document().get("loop", {})
        order = order.get("order") if isinstance(order, dict) else None
        entry = order[self._entry] if isinstance(order, list) and self._entry < len(order) else None
        kind = next((k for k in TUBES if isinstance(entry, dict) and k in entry), None)
        now = (self._entry, kind)
        if now == self._entry_of:
            return
        self._entry_of = now
        self.fields = {place: widget for place, widget in self.fields.items() if place[0] != "loop"}
        made, place = [], ("loop", "order", self._entry)
        for line in TUBES[kind][1] if kind else ():
            if line.key in LABELS:
                options = list(line.known()) if line.known is not None else None
                made.append(self._field((*place, line.key), LABELS[line.key], options))
        if kind:
            tubes = [("the plan's tube", None), *((name, name) for name in self._names("tube"))]
            made.append(self._field((*place, "part"), "Tube", tubes))
        self.entry_box.children = made

    def _move(self, by: int) -> None:
        self._entry = self.draft.move(self._entry, by)

    def _remove(self) -> None:
        self.draft.remove(self._entry)

    def _add(self) -> None:
        self.draft.add(self.kind.value, self.name.value, self._entry)
        self._entry += 1

    def _note_entry(self, index: int | None) -> None:
        self._entry = index or 0
        self._show()

    def undo(self) -> None:
        """Take the last change back."""
        self.draft.back()

    def save(self) -> None:
        """Save the text into the user's own file; every page opens it from now on."""
        self.words = self.draft.save().words
        if self.draft.problems:
            self.words += f" {_wrong(self.draft)}"

    def open(self, path: Path) -> None:
        """Open another plan and choose it for every page; a text not saved yet goes into a file of its own first."""
        self.words = ""
        try:
            kept = ""
            if self.draft.changed:
                kept = f" What you had changed is kept. {self.draft.keep_aside().words}"
            self.draft, self._last, self._entry = Draft.opened(path), {}, 0
            self._new_file_box()
            mine.choose(path)
            self.words = f"{self._called(self.draft)} Every page opens it from now on.{kept}"
        except InputError as problem:
            self.words = _said(problem)
        self._show(anew=True)

    def _change_units(self, system: str) -> None:
        self.system = system
        self._show()

    # ------------------------------------------------------------------------------------------------- showing

    def _show(self, anew: bool = False, text: bool = True) -> None:
        """Put the draft on the screen: fields, file, drawing, what is said."""
        self._quiet = True
        try:
            if anew or self._structure() != self._built:
                self._build_form()
                self._offer_plans()
            if text:  # a browser gets it first, so that no field is ahead of the file
                self.file.value = self.draft.text.replace("\r\n", "\n")
            self._fill_form()
        finally:
            self._quiet = False
        self._answer()
        self.status.value = self._status_html()
        self.drawing.value = self._drawing_html()
        self.said.value = self._said_html()

    def _offer_plans(self) -> None:
        options = mine.plans()
        path = self.draft.origin.path
        if path.resolve() not in [p.resolve() for _, p in options]:
            options = [(f"elsewhere: {path}", path), *options]
        self.chooser.options = options
        self.chooser.value = next(p for _, p in options if p.resolve() == path.resolve())

    def _fill_form(self) -> None:
        if self.draft.plan is not None:
            self.entries.options = self.draft.order()
            self.entries.index = min(self._entry, len(self.entries.options) - 1)
            self._entry = self.entries.index or 0
        document = self._document()
        self._show_entry()
        for place, widget in self.fields.items():
            said: Any = document
            for step in place:
                listed = isinstance(said, list) and isinstance(step, int) and step < len(said)
                said = said.get(step) if isinstance(said, dict) else said[step] if listed else None
            if isinstance(said, dict):
                said = said.get("part")
            usual = self._catalogue_price(place[1]) if place[-1] == "price" else _default(place, document)
            if place[-1] == "also_wetted" and isinstance(said, list):
                said = f"{APART} ".join(map(_in_words, said))
            said = said if said is None or isinstance(said, str) else _in_words(said)
            if isinstance(widget, widgets.Dropdown):
                _choose(widget, usual if said is None else said)
            else:
                widget.placeholder = "" if usual is None else str(usual)
                widget.value = said or ""

    def _catalogue_price(self, name: str) -> str | None:
        """Return what a part costs if the plan says nothing of it."""
        leaves = tree.leaves(self.draft.plan.loop) if self.draft.plan is not None else ()
        price = next((leaf.part.price for leaf in leaves if leaf.name == name and leaf.part is not None), None)
        return None if price is None else f"{price:g}, as in the catalogue"

    def _answer(self) -> None:
        """Solve and draw the plan if it can be read; what cannot be drawn is said in words."""
        if self.draft.plan is None:
            return
        self.solution = solved(self.draft.plan)
        try:
            figure = schematic.schematic_figure(self.draft.plan, self.solution, WIDTH, self.system)
        except InputError as problem:
            self.words = f"{self.words} This loop cannot be drawn here. {problem}".strip()
            self.picture, self.alt = "", schematic.words(self.draft.plan, self.solution, self.system)
            return
        width, height = (round(schematic.DOTS * side) for side in figure.get_size_inches())
        self.alt = schematic.words(self.draft.plan, self.solution, self.system)
        self.picture = LivePicture(figure, [], width, height, self.alt).html()
        self.more = height > TALLEST

    def _status_html(self) -> str:
        state = "Not saved yet. " if self.draft.changed else ""
        return (
            f'<div role="status" aria-live="polite" style="line-height:1.35">{escape(state + self.words)}&nbsp;</div>'
        )

    def _drawing_html(self) -> str:
        if self.draft.plan is None or self.solution is None:
            behind = "; the last drawing stays faint behind" if self.picture else ""
            head = f"The file has something in it that is not accepted{behind}."
        else:
            head = page.headline(self.solution, self.system)
            at_peak = self._peak_words()
            head += f" {at_peak}" if at_peak else ""
        faint = " gl-problem" if self.draft.plan is None else ""
        below = '<div class="gl-why">The loop goes on below: scroll inside the drawing.</div>' if self.more else ""
        room = "" if self.picture else ' style="min-height:260px"'
        return (
            f'<div class="gl-head" style="min-height:22px">{page.unbroken(escape(head))}</div>'
            f'<div class="plan-stage"{room}>'
            f'<div class="plan-drawing gl-picture{faint}" tabindex="0" aria-label="The loop">{self.picture}</div>'
            f"{self._problems_html()}</div>{below}"
        )

    def _peak_words(self) -> str:
        """Return how the hottest part fares at peak heat, empty where the plan names none."""
        plan = self.draft.plan
        if not any(u.peak_heat is not None for u in plan.units(tree.Source)):
            return ""
        peak = solved(plan.at_peak())
        if not peak.known:
            return f"At peak heat: {peak.plight}"
        units, s = DISPLAY[self.system], peak.state
        worst = min(plan.units(tree.Source), key=lambda u: float(u.limit - s[u.name]))
        return f"At peak heat: {worst.name} {units['temperature'].text(s[worst.name])}."

    def _problems_html(self) -> str:
        """Return everything that is not accepted, over the faint drawing."""
        if self.draft.plan is not None:
            return ""
        rows = "".join(f"<li>{_problem_html(p)}</li>" for p in self.draft.problems)
        many = len(self.draft.problems)
        back = "; Undo takes the last change back" if self.draft.steps else ""
        words = f"{many} problem{'s' * (many > 1)} in the file{back}."
        return f'<div class="gl-words" role="alert"><b>{words}</b><ul class="plan-problems">{rows}</ul></div>'

    def _said_html(self) -> str:
        if self.draft.plan is None:
            return ""
        items = parts_list.parts_list(self.draft.plan)
        money, limit = self.draft.plan.currency, self.draft.plan.budget
        words = f"Parts: {float(parts_list.cost(items)):.0f} {money}".strip()
        words += f" of {limit:.0f}" if limit is not None else ""
        missing = parts_list.unpriced(items)
        words += f"; no price for {', '.join(missing)}" if missing else ""
        return f"<div>{escape(words)}.</div>{page.warnings_html(self.solution, self.system)}"

    def _repr_mimebundle_(self, **kwargs: Any) -> dict:
        """Show the live panel, and where no kernel runs its last drawing, words and warnings."""
        whole = "<style>.plan-drawing{max-height:none!important}</style>"
        still = STYLE + whole + self.drawing.value + self.said.value
        return page.bundle(self.view, still, self.alt, **kwargs)


def planner(path: Path | None = None) -> PlannerPanel:
    """Return the editor of the plan chosen last; as the last line of a cell it is shown."""
    return PlannerPanel(path)


def _problem_html(problem: InputError) -> str:
    line = getattr(problem, "line", None)
    where = f"<b>line {line}</b> " if line else ""
    return f"{where}{escape(_said(problem))}"


def _said(problem: InputError) -> str:
    """Return a problem in one line: where, what stands there, what is accepted, what to do."""
    value = _in_words(problem.value)
    value = value if len(value) < 80 else value[:77] + "…"
    return f"{problem.field}: {value}. Accepted: {problem.accepted}. {problem.remedy}".strip()


def _in_words(value: Any) -> str:
    """Return a value of the file as text."""
    try:
        return str(value)
    except ValueError:  # more than 4300 digits
        return "a number of very many digits"


def _wrong(draft: Draft) -> str:
    many = len(draft.problems)
    return f"{many} problem{'s' * (many > 1)} in it: other pages show the demo until that is put right."


def _lines(place: tuple, document: dict) -> tuple[Field, ...]:
    """Return the lines the file may have beside a place."""
    if place[0] == "loop":
        return tuple(line for _, lines in TUBES.values() for line in lines)
    if place[0] == "parts":
        part = document.get("parts", {}).get(place[1], {})
        kind = part.get("kind") if isinstance(part, dict) else None
        return (*PARTS[kind][1], *ANY_PART) if kind in PARTS else ()
    return SECTIONS[place[0] if len(place) > 1 else ""]


def _default(place: tuple, document: dict) -> Any:
    """Return what the file would say at a place where it says nothing, as text; None where that is not one value."""
    line = next((f for f in _lines(place, document) if f.key == place[-1]), None)
    if line is None or line.default is None or not isinstance(line.default, (str, float)):
        return None
    if isinstance(line.default, str):
        return line.default
    text = written(line.default, line.kind)
    return text if isinstance(text, str) else DISPLAY["metric"][line.kind].text(line.default)


def _choose(widget: widgets.Dropdown, said: Any) -> None:
    """Show a choice, also one that is not on the list: the reader says what is wrong with it."""
    pairs = [o if isinstance(o, tuple) else (o, o) for o in widget.options]
    if said not in [value for _, value in pairs]:
        widget.options = [*pairs, (str(said) if said else "choose", said)]
    widget.value = said


def _as_typed(place: tuple, typed: Any) -> Any:
    """Return plain numbers as such, a price is 72, not the text "72"; several names as a list."""
    if place[-1] == "also_wetted":
        return [name.strip() for name in typed.split(APART) if name.strip()]
    if place[-1] in ("price", "price_per_litre", "budget", "count", "rings") and isinstance(typed, str):
        try:
            number = float(typed)
        except ValueError:
            return typed
        return int(number) if number.is_integer() else number
    return typed
