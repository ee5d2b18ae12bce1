"""A class exercise: a machine with one thing wrong, what it is made of, a guess, and an answer that explains."""

import io
from base64 import b64encode
from html import escape
from typing import Any

import ipywidgets as widgets

from loopmath import schematic, style
from loopmath.exercise import EXERCISES, exercise
from loopmath.panels import page
from loopmath.solution import Solution, solved
from loopmath.units import show

#: First of what can be chosen, and what it stands for.
NOTHING = "choose what you suspect"
#: The loop, in pixels: with the table beside it, it fits a window 1440 wide.
WIDTH = 620
#: The table stands beside the loop; where the window is narrow, under it.
STYLE = f"""<style>
.ex-both{{display:flex;flex-flow:row wrap;align-items:flex-start;gap:4px 16px;overflow:visible}}
.ex-both>*{{margin:0;min-width:0;overflow:visible;height:auto}}
.ex-loop{{flex:0 1 {WIDTH}px}}.ex-side{{flex:1 1 560px;max-width:820px}}
.ex-side .widget-html{{height:auto;margin:0}}
.ex-both .widget-html-content{{line-height:1.3;font-size:13px;color:#222}}
.ex-side caption{{caption-side:top;text-align:left;padding:0 0 4px;color:#444}}
.ex-side .gl-kept td{{padding:2px 8px 2px 0}}.ex-side td:first-child{{text-align:right!important}}
.ex-side td:nth-child(2){{font-weight:600;min-width:96px}}
.ex-said{{font-size:14px;min-height:40px;margin-top:4px}}
</style>"""


class ExercisePanel:
    """
    One machine at a time: its loop, what its builder says, what it is made of, and what could be at fault.

    Attributes
    ----------
    exercise : Exercise
        The one shown.
    view : ipywidgets.Widget
        What is shown.
    """

    def __init__(self, system: str = "metric") -> None:
        self.which = widgets.Dropdown(options=[(f"Machine {n}", n) for n in EXERCISES], tooltip="Machine")
        self.units = widgets.ToggleButtons(
            options=[("metric", "metric"), ("US", "us")], value=system, tooltip="Units of everything shown"
        )
        self.guess = widgets.Dropdown(options=[(NOTHING, NOTHING)], tooltip="What ruins this loop")
        self.check = widgets.Button(description="Check", tooltip="Say whether that is it")
        self.show = widgets.Button(description="Show the answer")
        self.screen, self.table, self.said = widgets.HTML(), widgets.HTML(), widgets.HTML()
        self.which.observe(lambda _: self._open(), "value")
        self.units.observe(lambda _: self._draw(), "value")
        self.guess.observe(lambda _: self._tell(None), "value")
        self.check.on_click(lambda _: self._judge())
        self.show.on_click(lambda _: self._tell(self._answer))
        above, below = widgets.Box([self.which, self.units]), widgets.Box([self.guess, self.check, self.show])
        side = widgets.VBox([self.table, below, self.said])
        both = widgets.Box([self.screen, side])
        for box, name in (
            *((row, "glance-buttons") for row in (above, below)),
            *((self.screen, "ex-loop"), (side, "ex-side"), (both, "ex-both")),
        ):
            box.add_class(name)
        self.view = widgets.VBox([widgets.HTML(page.STYLE + STYLE), above, both])
        self._open()

    @property
    def system(self) -> str:
        """The units of everything shown."""
        return self.units.value

    def _open(self) -> None:
        """Show another machine."""
        self._told = None
        self._draw()
        names = enumerate(self.exercise.choices, 1)
        self.guess.options = [(NOTHING, NOTHING), *((f"{number}  {name}", name) for number, name in names)]
        self.guess.value = NOTHING
        self._tell(None)

    def _draw(self) -> None:
        """Show the machine in the present units; what was answered stays answered."""
        self.exercise = exercise(self.which.value, self.system)
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
        self.table.value = self._table(answer)
        self._tell(self._told)

    def _table(self, answer: Solution) -> str:
        """Return what the machine is made of, numbered as the choices are."""
        room = show(answer.plan.room_air, "temperature", self.system)
        flow = show(float(answer.state["flow"]), "flow", self.system)
        head = "".join(f'<th scope="col">{words}</th>' for words in ("", "what", "figures", "coolant touches"))
        body = "".join(
            f"<tr><td>{number}</td>{''.join(f'<td>{page.unbroken(escape(cell))}</td>' for cell in thing)}</tr>"
            for number, thing in enumerate(self.exercise.things, 1)
        )
        words = page.unbroken(f"Room air {room}, {answer.plan.surroundings} surroundings, flow {flow}.")
        return f'<div class="gl-kept"><table><caption>{words}</caption><tr>{head}</tr>{body}</table></div>'

    def _judge(self) -> None:
        self._tell(self._judged)

    def _judged(self) -> str:
        if self.guess.value == NOTHING:
            return "Choose first what you suspect."
        right, words = self.exercise.judge(self.guess.value)
        return f"<b>{'✔' if right else '✘'}</b> {page.unbroken(escape(words))}"

    def _answer(self) -> str:
        number = self.exercise.choices.index(self.exercise.answer) + 1
        return f"<b>{number} {escape(self.exercise.answer)}.</b> {page.unbroken(escape(self.exercise.why))}"

    def _tell(self, words: Any) -> None:
        """Say what a function has to say, now and in other units; None is nothing."""
        self._told = words
        self.said.value = f'<div role="status" class="ex-said">{words() if words else ""}</div>'

    def _repr_mimebundle_(self, **kwargs: Any) -> dict:
        words = f"Find the one part that ruins this loop. {self.exercise.words}"
        still = f'{STYLE}<div class="ex-both"><div class="ex-loop">{self.screen.value}</div>'
        still += f'<div class="ex-side">{self.table.value}</div></div>'
        return page.bundle(self.view, still, words, **kwargs)


def exercises() -> ExercisePanel:
    """Return the class exercise."""
    return ExercisePanel()
