"""What every live panel over a plan shares: controls to settings, settings to an answer, an answer to one message."""

import time
from collections.abc import Callable
from dataclasses import dataclass
from html import escape
from typing import Any, ClassVar

import ipywidgets as widgets
import numpy as np
from matplotlib.figure import Figure

from loopmath import loop as tree
from loopmath import mine, style
from loopmath.checks import InputError
from loopmath.panels import page
from loopmath.panels.canvas import LivePicture
from loopmath.plan import SETTINGS, Plan
from loopmath.plansave import reloaded
from loopmath.solution import solved
from loopmath.units import DISPLAY, SLIDING, Shown

#: Picture on the screen, in pixels. With the control column it fits a window 1440 wide.
WIDTH, HEIGHT = 880, 424
#: Sliders of heat beside a picture.
MOST_HEATS = 3
#: So long after a change of units a browser may still send old choices back. [s]
ECHO = 1.0


def short(name: str) -> str:
    """Return a name short enough to stand before a slider."""
    word = name if len(name) <= 10 else (name.split() or [name])[0][:10]
    return word[:1].upper() + word[1:]


def _scale(kind: str, system: str) -> Shown:
    """Return the scale of a slider."""
    return SLIDING[system].get(kind) or DISPLAY[system][kind]


def _round_number(value: float, digits: int = 12) -> float:
    """Return a number without the noise of a conversion, so that it is written into a file as it was meant."""
    return float(f"{value:.{digits}g}")


@dataclass
class Control:
    """
    A widget, the setting it slides, how its value becomes that setting's, and where the plan itself has it.

    A setting that begins with a colon is the panel's own, such as the time shown, and none of the plan's.
    """

    setting: str
    widget: Any
    to_inside: Callable[[Any], Any]
    start: Any = None
    #: What it shows and what that stands for, if the scale is too coarse to say it.
    exact: tuple[Any, Any] | None = None

    @property
    def moved(self) -> bool:
        """True if it says something else than the plan; what was not touched stays exactly as planned."""
        return self.widget.value != self.start

    @property
    def value(self) -> Any:
        """What it says, in the inside unit."""
        if self.exact is not None and self.widget.value == self.exact[0]:
            return self.exact[1]
        return self.to_inside(self.widget.value)


class LivePanel:
    """
    A live panel over one plan.

    A panel gives `groups` (its controls), `answer` (a plan to whatever it draws), `drawn` (a figure and the pictures on
    it, each with `moving` and `update`), `headline`, `figures`, `below` and `alt` (the answer in words).

    Attributes
    ----------
    solution : Any
        The last answer that could be given.
    failed : str
        Why there is none for the present settings, as HTML.
    view : ipywidgets.Widget
        What is shown.
    """

    #: Settings after which the figure is made anew.
    anew: tuple[str, ...] = ()
    #: Names its page knows it by, and what is laid out otherwise there.
    classes: tuple[str, ...] = ()
    style = ""
    #: Title of a group of controls -> the views it is shown in, of a panel of several; one that is not here always is.
    shown: ClassVar[dict[str, tuple[str, ...]]] = {}

    def __init__(self, plan: Plan) -> None:
        self.plan, self.system, self.failed = plan, "metric", ""
        self.controls: list[Control] = []
        #: Sliders that change their scale with the units: control, words, kind of quantity.
        self.quantities: list[tuple[Control, str, str]] = []
        self.screen = widgets.HTML()
        self.screen.add_class("glance-screen")
        #: What was saved, or why not, under the buttons.
        self.note = widgets.HTML()
        self.units = widgets.ToggleButtons(
            options=[("metric", "metric"), ("US", "us")], tooltip="Units of everything shown"
        )
        self._quiet, self._renamed = False, -np.inf
        self._prepare()
        groups = self.groups()
        try:
            self.solution = self.answer(plan)
        except InputError as problem:
            self.solution, self.failed = None, page.problem_html(problem)
        self.view = self._arranged(groups)
        self.units.observe(lambda _: self._change_units(), "value")
        self._draw_anew()

    # ------------------------------------------------------------------------------- what a panel gives of its own

    def _prepare(self) -> None:
        """Set up what the controls need."""

    def groups(self) -> list[tuple[str, list]]:
        """Return the controls under their titles, most used first."""
        raise NotImplementedError

    def answer(self, plan: Plan) -> Any:
        """Return what is drawn of a plan; InputError if it has no answer."""
        return solved(plan)

    def drawn(self) -> tuple[Figure, list]:
        """Return a new figure and the pictures on it; called inside of the look."""
        raise NotImplementedError

    def headline(self) -> str:
        """Return the answer in one sentence a builder would say."""
        return page.headline(self.solution, self.system)

    def figures(self) -> list[tuple[str, str]]:
        """Return the readouts: what, and how much."""
        return page.figures(self.solution, self.system)

    def below(self) -> str:
        """Return what stands under the figures, as HTML."""
        return page.warnings_html(self.solution, self.system)

    def alt(self) -> str:
        """Return the picture in words."""
        return self.headline()

    def buttons(self) -> list:
        """Return what stands in the last row of the controls besides the units."""
        return []

    def beside(self) -> list:
        """Return controls that are folded away."""
        return []

    def followed(self, setting: str, value: Any) -> None:
        """Move other controls after one was moved by hand; show those that count with another view."""
        if setting == ":view":
            self._fold()

    # ------------------------------------------------------------------------------------------------ controls

    def _slider(
        self,
        setting: str,
        words: str,
        low: int,
        high: int,
        value: float,
        scale: float = 1.0,
    ) -> widgets.IntSlider:
        # Always in steps of one: a browser puts what lies beside a coarser grid on it, and sends that back as moved.
        value = round(value)
        low, high = min(low, value), max(high, value)
        slider = widgets.IntSlider(value, low, high, description=words, continuous_update=True)
        return self._add(setting, slider, lambda shown: _round_number(shown * scale))

    def _choice(self, setting: str, words: str, options: list, value: Any, kind: type = widgets.SelectionSlider) -> Any:
        chosen = kind(options=options, value=value, description=words)
        return self._add(setting, chosen, lambda inside: inside)

    def _quantity(self, setting: str, words: str, kind: str, low: int, high: int, value: float) -> widgets.IntSlider:
        """Return a slider of a quantity that changes its scale with the units; ends in metric, value inside."""
        scale = _scale(kind, "metric")
        at = round(scale.convert(value))
        slider = widgets.IntSlider(at, min(low, at), max(high, at), description=f"{words}, {scale.label}")
        made = self._add(setting, slider, lambda shown: _round_number(_scale(kind, self.system).back(shown), 4))
        self.quantities.append((self.controls[-1], words, kind))
        self.controls[-1].exact = (at, value)
        return made

    def _heats(self) -> list:
        """Return a slider for the heat of each of the first parts the loop cools."""
        return [
            self._slider(f"{u.name}.heat", f"{short(u.name)}, W", 0, 600, u.heat)
            for u in self.plan.units(tree.Source)[:MOST_HEATS]
        ]

    def _room_slider(self) -> widgets.IntSlider:
        """Return the slider of the room's air."""
        self.room = self._quantity("room_air", "Room air", "temperature", 10, 40, float(self.plan.room_air))
        return self.room

    def _add(self, setting: str, widget: Any, to_inside: Callable) -> Any:
        if not widget.tooltip:
            words = setting.lstrip(":").replace(".", ": ").replace("_", " ")
            widget.tooltip = SETTINGS[setting].words if setting in SETTINGS else words
        widget.observe(self._moved, "value")
        self.controls.append(Control(setting, widget, to_inside, widget.value))
        return widget

    def _control(self, setting: str) -> Control | None:
        return next((c for c in self.controls if c.setting == setting), None)

    def own(self, setting: str) -> Any:
        """Return what a control of the panel's own says."""
        return self._control(f":{setting}").value

    def _arranged(self, groups: list) -> widgets.Widget:
        """Lay the controls beside the picture."""
        self.boxes = {title: page.group(title, children) for title, children in groups if children}
        self._fold()
        boxes = [*self.boxes.values()]
        folded = self.beside()
        if folded:
            more = widgets.Accordion([widgets.VBox(folded)], titles=["More parts"], selected_index=None)
            more.add_class("glance-more")
            boxes.append(more)
        save = widgets.Button(description="Save plan", tooltip="Write what was changed here into your plan's file")
        save.on_click(lambda _: self.save_plan())
        row = widgets.Box([*self.buttons(), save, self.units])
        row.add_class("glance-buttons")
        self.note.add_class("glance-note")
        column = widgets.VBox([*boxes, row, self.note])
        column.add_class("glance-controls")
        whole = widgets.Box([widgets.HTML(page.STYLE), column, self.screen])
        whole.add_class("glance")
        view = widgets.VBox([*([widgets.HTML(self.style)] if self.style else []), whole])
        for name in self.classes:
            view.add_class(name)
        return view

    def _fold(self) -> None:
        """Show the controls that count in this view."""
        for title, views in self.shown.items():
            if title in self.boxes:
                self.boxes[title].layout.display = None if self.own("view") in views else "none"

    # --------------------------------------------------------------------------------------- state, solve, draw

    def settings(self) -> dict[str, Any]:
        """Return what the controls that were moved say, as settings of the plan."""
        return {c.setting: c.value for c in self.controls if c.moved and not c.setting.startswith(":")}

    def planned(self) -> Plan:
        """Return the plan as the controls have it."""
        return self.plan.set(**self.settings())

    def _moved(self, change: dict) -> None:
        if self._quiet or self._is_echo(change):
            return
        setting = next(c.setting for c in self.controls if c.widget is change["owner"])
        self.followed(setting, change["new"])
        self._answer()
        if setting in self.anew and not self.failed:
            self._draw_anew()
        else:
            self._draw()

    def _answer(self) -> None:
        """Work out what is set now, or keep why it cannot be."""
        try:
            self.solution, self.failed = self.answer(self.planned()), ""
        except InputError as problem:
            self.failed = page.problem_html(problem)

    def _answer_anew(self) -> None:
        """Work out what a button changed, and draw it."""
        self._answer()
        self._draw()

    def _is_echo(self, change: dict) -> bool:
        """Put a choice back that a browser sends of itself after its options were renamed; nobody slides so soon."""
        widget = change["owner"]
        if not hasattr(widget, "options") or time.monotonic() > self._renamed + ECHO:
            return False
        self._quiet = True
        widget.value = change["old"]
        self._quiet = False
        return True

    def _draw_anew(self) -> None:
        """Make the figure from scratch: another layout, other units."""
        if self.solution is None:
            self.pictures, self.live = [], None
        else:
            with style.look():
                figure, self.pictures = self.drawn()
                for picture in self.pictures:
                    picture.update(self.solution)
                self._keep_all()
                moving = [artist for picture in self.pictures for artist in picture.moving]
                self.live = LivePicture(figure, moving, WIDTH, HEIGHT, "")
        self._draw()

    def _keep_all(self) -> None:
        """Leave marks of kept designs on the pictures."""

    def _draw(self) -> None:
        """Put the answer on the screen in one message: words, picture, figures, warnings."""
        if self.solution is None:
            self.screen.value = f'<div class="gl-words" role="alert" style="position:static">{self.failed}</div>'
            return
        if self.live is None:
            self._draw_anew()
            return
        if not self.failed:
            with style.look():
                stepped = [picture.update(self.solution) for picture in self.pictures]
                if any(stepped):
                    self.live.rebuild()
        self.live.alt = self.alt()
        self.screen.value = page.screen_html(
            self.headline(), self.live.html(), self.figures(), self.below(), self.failed
        )

    def _change_units(self) -> None:
        """Show everything in the other units, the sliders included."""
        before, self.system = self.system, self.units.value
        self._quiet = True
        for control, words, kind in self.quantities:
            old, new, slider = _scale(kind, before), _scale(kind, self.system), control.widget
            moved, start = control.moved, control.start
            shown, kept = control.exact
            inside = kept if slider.value == shown else old.back(slider.value)
            low, high = (round(new.convert(old.back(end))) for end in (slider.min, slider.max))
            at = round(new.convert(inside))
            low, high = min(low, at), max(high, at)
            # Each a message of its own, and never a value beside its range: a browser takes the parts of one message in
            # whatever order they come, puts a value on the end of the range it has just then, and sends that back.
            slider.min, slider.max = min(low, slider.min), max(high, slider.max)
            slider.value = at
            slider.min, slider.max = low, high
            control.exact = (at, inside)
            begun = at if start is None else round(new.convert(old.back(start)))
            # Two degrees of one scale may be one of the other: what was moved stays moved.
            control.start = (None if begun == at else begun) if moved else at
            slider.description = f"{words}, {new.label}"
        self._rename_units()
        self._quiet, self._renamed = False, time.monotonic()
        self._draw_anew()

    def _rename_units(self) -> None:
        """Put the sliders that show a length or another quantity into the present units."""

    # -------------------------------------------------------------------------------------------------- saving

    def save_plan(self) -> None:
        """Write what was changed into the user's own plan file, and say where; a new file is what all pages open."""
        if self.failed:
            self.say("The plan was not saved: it cannot be solved as it is set now.")
            return
        try:
            plan, before = self.planned(), self.plan.origin
            saved = mine.save_mine(plan)
            words = saved.words
            self.plan = reloaded(plan, saved)
            self._start_from_here()
            # A copy of an example is chosen instead of it; a choice that only cannot be opened now is kept.
            elsewhere = before is None or saved.path.resolve() != before.path.resolve()
            if elsewhere and mine.chosen_path() in (None, before and before.path):
                mine.choose(saved.path)
                words += " Every page opens it from now on."
        except InputError as problem:
            self.say(f"The plan was not saved. {problem}")
            return
        self.say(words)

    def say(self, words: str) -> None:
        """Tell under the buttons what was done."""
        self.note.value = f'<p role="status">{escape(words)}</p>'

    def _start_from_here(self) -> None:
        """Take what the controls say as what the plan has."""
        for control in self.controls:
            control.start = control.widget.value

    def _repr_mimebundle_(self, **kwargs: Any) -> dict:
        """Show the live panel, and where no kernel runs its last picture, figures and warnings."""
        words = self.headline() if self.solution is not None else "This plan has no answer."
        return page.bundle(self.view, self.screen.value, words, **kwargs)
