"""The panel of filling, bleeding and draining: tip the machine and see what stays."""

from html import escape
from typing import Any

import ipywidgets as widgets
import numpy as np
from matplotlib.figure import Figure

from loopmath import height_figures, height_words, mine, tipping
from loopmath.checks import InputError
from loopmath.height_words import BLEED, VIEWS, Looked
from loopmath.panels import page
from loopmath.panels.live import HEIGHT, WIDTH, LivePanel
from loopmath.plan import Plan
from loopmath.style import DOTS

NONE = "nowhere else"


class HeightsPanel(LivePanel):
    """The live panel of heights over one plan."""

    anew = (":view",)

    #: Tips that were looked for, and for which plan and view.
    found: tuple[Any, Any] | None = None

    def groups(self) -> list[tuple[str, list]]:
        """Return the controls under their titles."""
        plan = self.plan
        view = self._choice(":view", "", list(VIEWS), BLEED, widgets.Dropdown)
        view.tooltip = "What stays that should not"
        tip = [
            self._slider(":aside", "To the right, °", -90, 90, 0, np.pi / 180),
            self._slider(":back", "To the rear, °", -90, 90, 0, np.pi / 180),
        ]
        openings = [
            self._choice(":extra", "Also open", [NONE, *dict.fromkeys(self._owners())], NONE, widgets.Dropdown),
        ]
        movable = self._fill_port()
        if movable is not None:
            port = next(p for p in plan.ports if p.name == movable)
            top = max(int(1e3 * port.position[2]) + 100, 100)
            openings.append(self._quantity(f"{movable}.up", "Fill at", "small length", 0, top, float(port.position[2])))
        return [("Show", [view]), ("Tip", tip), ("Openings", openings)]

    def _owners(self) -> tuple[str, ...]:
        return height_words.void_of(self.plan).owner

    def _fill_port(self) -> str | None:
        """Return the port the fill tube ends on, if there is one."""
        routes = {route.name: route for route in self.plan.routes}
        fills = [n for n, (purpose, _) in height_words.void_of(self.plan).exits.items() if purpose == "fill"]
        return next((routes[n].end for n in fills if n in routes), None)

    def buttons(self) -> list:
        """Return the button that looks for tips."""
        made = widgets.Button(description="Find tips", tooltip="The least tips that free what stays; a few seconds")
        made.on_click(lambda _: self.find_tips())
        return [made]

    def find_tips(self) -> None:
        """Look for tips, tell them, and tip the machine as the first of them says."""
        if self.failed:
            self.say("No tips: the plan cannot be laid as it is set now.")
            return
        plan = self.planned()
        try:
            found = tipping.tipping(plan, VIEWS[self.own("view")])
        except InputError as problem:
            self.say(str(problem))
            return
        self.found = (self._key(), found)
        first = next((tip for tip in (*found.sequence, *found.single) if tip is not None), None)
        if first is not None:
            up = first.up
            aside, back = -np.arcsin(np.clip(up[0], -1, 1)), np.arctan2(-up[1], up[2])
            self._quiet = True
            self._control(":aside").widget.value = round(float(np.degrees(aside)))
            self._control(":back").widget.value = round(float(np.degrees(back)))
            self._quiet = False
        self.solution = self.answer(plan)
        self._draw()

    def _key(self) -> tuple:
        return (self.own("view"), tuple(sorted((k, str(v)) for k, v in self.settings().items())), id(self.plan))

    def answer(self, plan: Plan) -> Looked:
        """Return what stays in the position of the sliders."""
        extra = self.own("extra")
        tips = self.found[1] if self.found is not None and self.found[0] == self._key() else None
        up = height_words.tilted(self.own("aside"), self.own("back"))
        return height_words.look(plan, self.own("view"), up, "" if extra == NONE else extra, tips)

    def drawn(self) -> tuple[Figure, list]:
        """Return both elevations."""
        figure = Figure(figsize=(WIDTH / DOTS, HEIGHT / DOTS), dpi=DOTS)
        return figure, height_figures.drawn(figure, self.system)

    def headline(self) -> str:
        """Return the answer in one sentence."""
        return escape(height_words.sentence(self.solution, self.system))

    def figures(self) -> list[tuple[str, str]]:
        """Return the readouts."""
        held, volume = self.solution.holding, height_words.DISPLAY[self.system]["volume"]
        total = float(self.solution.passages.void.volume.sum() + self.solution.passages.uncounted)
        return [
            ("Stays in this position", volume.text(held.volume, unit=True)),
            ("Loop holds", volume.text(total, unit=True)),
            ("Pockets", str(len(held.pockets))),
        ]

    def below(self) -> str:
        """Return pockets, advice, tips and cautions."""
        looked, system = self.solution, self.system
        out = page.steps_html("What stays", height_words.rows(looked, system))
        told = height_words.tips(looked, system)
        if told:
            out += page.steps_html("How to tip", told)
        out += page.steps_html("What would help", height_words.advice(looked, system))
        return out + page.steps_html("Before you tip", height_words.CAUTIONS)

    def alt(self) -> str:
        """Return the picture in words."""
        return height_words.alt(self.solution, self.system)


def heights(plan: Plan | None = None) -> HeightsPanel:
    """Return the panel of heights of a plan, of the chosen one by default."""
    return HeightsPanel(mine.chosen().plan if plan is None else plan)
