"""The panel of filling, bleeding and draining: tip the machine and see what stays."""

import time
from typing import Any

import ipywidgets as widgets
import numpy as np
from matplotlib.figure import Figure

from loopmath import height_figures, height_words, mine, pockets, tipping
from loopmath.checks import InputError
from loopmath.height_words import BLEED, VIEWS, Looked
from loopmath.panels import page
from loopmath.panels.live import LivePanel
from loopmath.passages import void_of
from loopmath.plan import Plan

STYLE = """<style>
@media (max-width:1180px){
 .glance-heights .glance .glance-controls{grid-template-columns:minmax(0,1fr) minmax(0,2fr) auto}
 .glance-heights .glance .glance-controls>.glance-group:nth-child(1){grid-column:1;grid-row:1}
 .glance-heights .glance .glance-controls>.glance-group:nth-child(3){grid-column:1;grid-row:2}
 .glance-heights .glance .glance-controls>.glance-group:nth-child(2){grid-column:2;grid-row:1/span 2;
  display:grid;grid-template-columns:repeat(2,minmax(0,1fr));gap:0 8px}
 .glance-heights .glance-group:nth-child(2)>.widget-html{grid-column:span 2}
 .glance-heights .glance .glance-controls>.glance-buttons{grid-column:3;grid-row:1}}
</style>"""
NONE, BY_HAND = "nowhere else", "as the sliders say"


class HeightsPanel(LivePanel):
    """The live panel of heights over one plan."""

    classes, style = ("glance-heights", "glance-loose"), STYLE
    anew = (":view",)

    def _prepare(self) -> None:
        #: Plans by what was moved: a plan that stays the same object keeps its passages.
        self._plans: dict[tuple, Plan] = {}
        #: What was found, by view and what was moved.
        self._tips: dict[tuple, Any] = {}
        self._outlets: dict[tuple, Any] = {}

    # ------------------------------------------------------------------------------------------------ controls

    def groups(self) -> list[tuple[str, list]]:
        """Return the controls under their titles."""
        view = self._choice(":view", "", list(VIEWS), BLEED, widgets.Dropdown)
        view.tooltip = "What stays that should not"
        tip = [
            self._slider(":aside", "Right down, °", -90, 90, 0, np.pi / 180),
            # Over its back or its face it may be turned as far as the limit can be set.
            self._slider(":back", "Rear down, °", -180, 180, 0, np.pi / 180),
            self._slider("tip_limit", "Tip up to, °", 5, 180, np.degrees(float(self.plan.tip_limit)), np.pi / 180),
            self._choice(":tip", "Draw tip", [(BY_HAND, -1)], -1, widgets.Dropdown),
        ]
        find = widgets.Button(description="Find tips", tooltip="The least tips that free what stays; some seconds")
        find.on_click(lambda _: self.find_tips())
        upright = widgets.Button(description="Upright", tooltip="Stand the machine upright again")
        upright.on_click(lambda _: self._stand((0.0, 0.0)))
        owners = dict.fromkeys(void_of(self.plan).owner)
        opened = [self._choice(":extra", "Also open", [NONE, *owners], NONE, widgets.Dropdown)]
        for words, purposes in (("Fill at", ("fill", "vent")), ("Drain at", ("drain",))):
            port = self._port(*purposes)
            if port is not None:
                high = float(port.position[2])
                top = round(1e3 * high + 150)
                opened.append(self._quantity(f"{port.name}.up", words, "port height", 0, top, high))
        return [("Look at", [view]), ("Position", [*tip, find, upright]), ("Openings", opened)]

    def _port(self, *purposes: str) -> Any:
        """Return the port of the first opening for one of some purposes that can be moved up and down, or None."""
        ends = {route.name: route.end for route in self.plan.routes}
        exits = void_of(self.plan).exits.items()
        wanted = [ends.get(name, name) for name, (purpose, _) in exits if purpose in purposes]
        for port in (port for name in wanted for port in self.plan.ports if port.name == name):
            for off in (0.001, -0.001):
                try:
                    void_of(self.plan.set(**{f"{port.name}.up": port.position[2] + off}))
                    return port
                except InputError:
                    continue
        return None

    def followed(self, setting: str, value: Any) -> None:
        """Draw a tip that was chosen; tips that were found for something else are put away."""
        super().followed(setting, value)
        if setting == ":tip":
            found = self._tips.get(self._key())
            chosen = height_words.choices(found)[value][1] if value >= 0 else None
            self._put((0.0, 0.0) if chosen is None else height_words.angles_of(chosen.up))
        elif setting in (":aside", ":back"):
            self._choose(-1)
        else:
            self._offer()

    def _put(self, angles: tuple[float, float]) -> None:
        """Set both sliders of the position without taking it for a move of the user's. [rad]"""
        self._quiet = True
        for setting, angle in zip((":aside", ":back"), angles, strict=True):
            control = self._control(setting)
            control.widget.value = round(np.degrees(angle))
            control.exact = (control.widget.value, angle)  # a tip is finer than whole degrees of two sliders
        self._quiet = False

    def _choose(self, which: int) -> None:
        self._quiet = True
        self._control(":tip").widget.value = which
        self._quiet = False

    def _offer(self) -> None:
        """Offer the tips found for what is set now."""
        words = [label for label, _ in height_words.choices(self._tips.get(self._key()))]
        options, widget = ((BY_HAND, -1), *((label, n) for n, label in enumerate(words))), self._control(":tip").widget
        if tuple(widget.options) != options:
            self._quiet = True
            widget.options = options
            widget.value = -1
            self._quiet, self._renamed = False, time.monotonic()

    def _stand(self, angles: tuple[float, float]) -> None:
        """Bring the machine into a position [rad], and draw it."""
        self._put(angles)
        self._choose(-1)
        self._answer_anew()

    def find_tips(self) -> None:
        """Look for tips and for a better opening, and tell them."""
        if self.failed:
            self.say("No tips: the plan cannot be laid as it is set now.")
            return
        self.say("Looking for tips …")
        plan, key = self.planned(), self._key()
        self._tips[key] = tipping.tipping(plan, VIEWS[self.own("view")])
        self._outlets[key[:2]] = pockets.outlet(plan, VIEWS[self.own("view")])
        self._offer()
        self._put((0.0, 0.0))
        self._answer_anew()
        more = "Choose one under Draw tip to see it." if height_words.choices(self._tips[key]) else ""
        self.say(f"Tips are told beside the picture, for the openings of the plan. {more}")

    # -------------------------------------------------------------------------------------------------- answer

    def _key(self) -> tuple:
        """Return what tips hang on: view, what was moved in space, limit."""
        moved = self.settings()
        limit = moved.pop("tip_limit", None)
        return self.own("view"), (id(self.plan), *sorted(moved.items())), limit

    def planned(self) -> Plan:
        """Return the plan as the controls have it, the same one for the same controls."""
        key = self._key()[1:]
        if key not in self._plans:
            self._plans = {key: super().planned()} if len(self._plans) > 60 else {**self._plans, key: super().planned()}
        return self._plans[key]

    def answer(self, plan: Plan) -> Looked:
        """Return what stays in the position of the sliders."""
        key, view, extra = self._key(), self.own("view"), self.own("extra")
        if key[:2] not in self._outlets and len(key[1]) == 1:  # an opening on the move is not waited for
            self._outlets[key[:2]] = pockets.outlet(plan, VIEWS[view])
        frame = height_words.hung(self.own("aside"), self.own("back"))
        extra = "" if extra == NONE else extra
        return height_words.look(plan, view, frame, extra, self._outlets.get(key[:2]), self._tips.get(key))

    def drawn(self) -> tuple[Figure, list]:
        """Return the picture."""
        figure = Figure()
        return figure, [
            height_figures.Hanging(figure.add_axes((0.0, 0.0, 1.0, 1.0)), self.system, VIEWS[self.own("view")])
        ]

    def headline(self) -> str:
        """Return the answer in one sentence."""
        return height_words.sentence(self.solution, self.system)

    def figures(self) -> list[tuple[str, str]]:
        """Return the readouts."""
        return height_words.figures(self.solution, self.system)

    def below(self) -> str:
        """Return warnings, the places something stays in, tips, advice and cautions."""
        looked, system = self.solution, self.system
        out = page.warnings_html(looked, system)
        table = height_words.table(looked, system)
        if len(table):
            out += page.table_html("Where it stays", table)
        told = height_words.steps(looked, system)
        out += page.steps_html("How to tip it", told) if told else ""
        out += page.steps_html("What would help", height_words.advice(looked, system))
        return out + page.steps_html("Take care", height_words.cautions(looked))

    def alt(self) -> str:
        """Return the picture in words."""
        return height_words.alt(self.solution, self.system)


def heights(plan: Plan | None = None) -> HeightsPanel:
    """Return the panel of heights of a plan, of the chosen one by default."""
    return HeightsPanel(mine.chosen().plan if plan is None else plan)
