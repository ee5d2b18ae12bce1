"""A class exercise: a machine with one thing wrong, a guess, and an answer that explains."""

import io
from base64 import b64encode
from html import escape
from typing import Any

import ipywidgets as widgets

from loopmath import schematic, style
from loopmath.exercise import EXERCISES, exercise
from loopmath.panels import page
from loopmath.panels.live import WIDTH
from loopmath.solution import solved

NOTHING = "choose what you suspect"


class ExercisePanel:
    """
    One machine at a time: its loop, what its builder says, and what could be at fault.

    Attributes
    ----------
    exercise : Exercise
        The one shown.
    view : ipywidgets.Widget
        What is shown.
    """

    def __init__(self, system: str = "metric") -> None:
        self.system = system
        self.which = widgets.Dropdown(options=[(f"Machine {n}", n) for n in EXERCISES], tooltip="Machine")
        self.guess = widgets.Dropdown(options=[NOTHING], tooltip="What ruins this loop")
        self.check = widgets.Button(description="Check", tooltip="Say whether that is it")
        self.show = widgets.Button(description="Show the answer")
        self.screen, self.said = widgets.HTML(), widgets.HTML()
        self.which.observe(lambda _: self._open(), "value")
        self.guess.observe(lambda _: self._say(""), "value")
        self.check.on_click(lambda _: self._judge())
        self.show.on_click(lambda _: self._say(page.unbroken(escape(self.exercise.why))))
        row = widgets.Box([self.which, self.guess, self.check, self.show])
        row.add_class("glance-buttons")
        self.view = widgets.VBox([widgets.HTML(page.STYLE), self.screen, row, self.said])
        self._open()

    def _open(self) -> None:
        self.exercise = exercise(self.which.value)
        answer = solved(self.exercise.plan)
        with style.look():
            figure = schematic.schematic_figure(self.exercise.plan, answer, WIDTH, self.system)
            buffer = io.BytesIO()
            figure.savefig(buffer, format="png", dpi=2 * schematic.DOTS)
        words = schematic.words(self.exercise.plan, answer, self.system)
        source = b64encode(buffer.getvalue()).decode("ascii")
        self.screen.value = (
            f'<div class="gl-head">{escape(self.exercise.words)}</div>'
            f'<div class="gl-picture"><img alt="{escape(words)}" src="data:image/png;base64,{source}"></div>'
        )
        self.guess.options = [NOTHING, *self.exercise.choices]
        self.guess.value = NOTHING
        self._say("")

    def _judge(self) -> None:
        if self.guess.value == NOTHING:
            self._say("Choose first what you suspect.")
            return
        right, words = self.exercise.judge(self.guess.value)
        shape = "✔" if right else "✘"
        self._say(f"<b>{shape}</b> {page.unbroken(escape(words))}")

    def _say(self, words: str) -> None:
        self.said.value = f'<div role="status" style="font-size:14px;max-width:{WIDTH}px">{words}</div>'

    def _repr_mimebundle_(self, **kwargs: Any) -> dict:
        words = f"Find the one part that ruins this loop. {self.exercise.words}"
        return page.bundle(self.view, self.screen.value, words, **kwargs)


def exercises() -> ExercisePanel:
    """Return the class exercise."""
    return ExercisePanel()
