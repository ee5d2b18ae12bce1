"""The panel of the fill: pour, and see when the pump may run; what to buy; where bubbles stay."""

from typing import Any, ClassVar

import ipywidgets as widgets
from matplotlib.figure import Figure

from loopmath import choice_words, filling_figures, filling_words, mine
from loopmath.filling import Filling, filling, volumes
from loopmath.filling_words import DOWN, HOLDS, POUR, VIEWS, Poured
from loopmath.panels import page
from loopmath.panels.live import LivePanel
from loopmath.plan import Plan
from loopmath.pour import pour_of
from loopmath.solution import solved
from loopmath.units import to_si

STYLE = """<style>
@media (max-width:1180px){.glance-fill .glance .glance-controls{grid-template-columns:repeat(3,minmax(0,1fr)) auto}
 .glance-fill .glance .glance-controls>.glance-group:nth-child(1){grid-column:1;grid-row:1}
 .glance-fill .glance .glance-controls>.glance-group:nth-child(2){grid-column:1;grid-row:2}
 .glance-fill .glance .glance-controls>.glance-group:nth-child(3){grid-column:2;grid-row:1/span 2}
 .glance-fill .glance .glance-controls>.glance-group:nth-child(4){grid-column:3;grid-row:1/span 2}
 .glance-fill .glance .glance-controls>.glance-buttons{grid-column:4;grid-row:1}}
</style>"""


class FillPanel(LivePanel):
    """The live panel of the fill over one plan."""

    classes, style = ("glance-fill", "glance-loose"), STYLE
    anew = (":view",)
    shown: ClassVar[dict[str, tuple[str, ...]]] = {"Pour": (POUR,), "Buy": (POUR, HOLDS), "Run": VIEWS}

    def _prepare(self) -> None:
        #: The last answer and what it hangs on: the slider of what is poured moves nothing else.
        self._found: tuple[Any, Filling] | None = None

    def groups(self) -> list[tuple[str, list]]:
        """Return the controls under their titles."""
        plan = self.plan
        view = self._choice(":view", "", list(VIEWS), POUR, widgets.Dropdown)
        view.tooltip = "What the drawing and the words show"
        total = volumes(plan)[1]
        pour = [self._quantity(":poured", "Poured", "volume", 0, round(1e6 * total), total)]
        own = ", ".join(f"{1e3 * size:.6g} L" for size in plan.bottle_sizes)
        sizes = widgets.Text(own, description="Bottles of", continuous_update=False, placeholder="1 L, 500 mL")
        sizes.tooltip = "Sizes the coolant is sold in, between commas"
        self._add("bottle_sizes", sizes, self._sizes)
        buy = [sizes, self._slider("coolant_spare", "Spare, %", 0, 100, 100 * float(plan.coolant_spare), 0.01)]
        run = [
            self._quantity(":cold", "Filled at", "temperature", 5, 40, float(plan.room_air)),
            self._slider("pump_speed", "Pump, %", 0, 100, 100 * choice_words.pump_now(plan), 0.01),
            *self._heats(),
        ]
        return [("Look at", [view]), ("Pour", pour), ("Buy", buy), ("Run", run)]

    @staticmethod
    def _sizes(text: str) -> tuple[float, ...]:
        """Return bottle sizes from words [m3]."""
        words = [word.strip() for word in text.replace(";", ",").split(",") if word.strip()]
        return tuple(to_si("bottles", word, "volume") for word in words)

    def answer(self, plan: Plan) -> Poured:
        """Return the fill of a plan, as far as it is poured."""
        cold = self._control(":cold")
        key = (id(self.plan), *sorted(self.settings().items()), cold.value if cold.moved else None)
        if self._found is None or self._found[0] != key:
            self._found = key, filling(solved(plan), key[-1], pour=pour_of(self.plan))
        return filling_words.poured(self._found[1], self.own("poured"))

    def drawn(self) -> tuple[Figure, list]:
        """Return the drawing of the view."""
        figure = Figure()
        return figure, filling_figures.pictures(figure, self.own("view"), self.system)

    def headline(self) -> str:
        """Return the answer in one sentence."""
        return filling_words.sentence(self.solution, self.own("view"), self.system)

    def figures(self) -> list[tuple[str, str]]:
        """Return the readouts."""
        return filling_words.figures(self.solution.found, self.system)

    def below(self) -> str:
        """Return warnings, steps, the table of the view, what is not known, cautions."""
        seen, system = self.solution, self.system
        view, found = self.own("view"), seen.found
        titles = {POUR: "Stage by stage", HOLDS: "Volume of every part and run", DOWN: "Runs that lead down"}
        out = page.warnings_html(found, system) + page.steps_html("How to fill it", filling_words.steps(found, system))
        table = filling_words.table(seen, view, system)
        if len(table):
            out += page.table_html(titles[view], table)
        out += page.steps_html("Take care", filling_words.CAUTIONS)
        return out + page.steps_html("What the numbers mean", filling_words.notes(found, system))

    def alt(self) -> str:
        """Return the drawing in words."""
        return filling_words.alt(self.solution, self.own("view"), self.system)


def fill(plan: Plan | None = None) -> FillPanel:
    """Return the panel of the fill of a plan, of the chosen one by default."""
    return FillPanel(mine.chosen().plan if plan is None else plan)
