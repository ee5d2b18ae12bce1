"""The panel of materials: which metals meet, how warm tube ends get, which tube and which coolant suit."""

from dataclasses import replace
from html import escape
from typing import Any

import ipywidgets as widgets
from matplotlib.figure import Figure

from loopmath import catalogue, choice_words, material_figures, material_words, mine, tables, wetted
from loopmath import loop as tree
from loopmath.laws import coolant as coolants
from loopmath.material_words import COOLANTS, ENDS, METALS, PAIRS, TOUCH, TUBES, VIEWS, Looked
from loopmath.panels import page
from loopmath.panels.live import LivePanel
from loopmath.plan import WORDS, Plan
from loopmath.tube_choice import CRITERIA, WEIGHTS, TubeChoice
from loopmath.units import DISPLAY

#: Metals that can be ticked beside those of the plan, where the plan has none of the kind.
TICKED = (
    *("aluminium 6000 series", "silver", "zinc casting", "mild steel", "titanium", "bronze", "tin plate"),
    *("brass", "stainless steel 18 % chromium"),
)
#: View -> what its table holds.
TITLES = {
    METALS: "Every pair of metals, the widest first",
    PAIRS: "Every pair of metals, the widest first",
    ENDS: "Every tube end",
    TUBES: "Every kind of tube, the best first",
    COOLANTS: "Every coolant, against water",
}
#: Title of a group of controls -> the views it is shown in.
SHOWN = {
    "What counts, %": (TUBES,),
    "Coolant": VIEWS,
    "Metals beside the plan": (METALS, PAIRS),
    "Tube": (ENDS, TOUCH),
    "Conditions": (ENDS, TUBES, COOLANTS),
    "Joints": (TOUCH,),
}


class MaterialsPanel(LivePanel):
    """The live panel of materials over one plan."""

    anew = (":view",)
    classes = ("glance-materials",)
    shown = SHOWN
    #: View and settings the last answer was solved for.
    _solved: Any = None

    def groups(self) -> list[tuple[str, list]]:
        """Return the controls under their titles."""
        plan = self.plan
        view = self._choice(":view", "", list(VIEWS), VIEWS[0], widgets.Dropdown)
        view.tooltip = "What the drawing and the table show"
        kinds = [(c.label, c.name) for c in coolants.coolants().values()]
        mixes = [("as usual for it", ""), *((name, name) for name in tables.by_name("treatments.csv"))]
        coolant = [
            self._choice("coolant", "Coolant", kinds, plan.coolant.name, widgets.Dropdown),
            self._choice("treatment", "In it", mixes, plan.treatment, widgets.Dropdown),
        ]
        own = {one.surface for one in wetted.wetted(plan)}
        metals = [self._tick(metal) for metal in TICKED if metal not in own]
        tubes = {e.tube.material for e in tree.leaves(plan.loop) if isinstance(e, (tree.Run, tree.DeadLeg))}
        now = plan.tube.material if plan.tube is not None else next(iter(tubes), "PETG")
        tube = [self._choice("tube_material", "Tube", catalogue.tube_materials(), now, widgets.Dropdown)]
        at = [self._room_slider()]
        if plan.fanned:
            at.append(self._slider("fan_speed", "Radiator fans, %", 0, 100, 100 * choice_words.fans_now(plan), 0.01))
        at.append(self._slider("pump_speed", "Pump, %", 0, 100, 100 * choice_words.pump_now(plan), 0.01))
        at.append(self._quantity("hot_spot", "Hot spot", "difference", 0, 30, float(plan.hot_spot)))
        weights = [self._slider(f":{name}", name.capitalize(), 0, 100, 100 * WEIGHTS[name], 0.01) for name in CRITERIA]
        joints = [
            self._choice("seal", "Rings of", WORDS["seal"](), plan.seal, widgets.Dropdown),
            self._choice("tube_edge", "Edge", WORDS["tube_edge"](), plan.tube_edge, widgets.Dropdown),
            self._choice("assembly_aid", "Wetted with", WORDS["assembly_aid"](), plan.assembly_aid, widgets.Dropdown),
            self._choice("cleaner", "Wiped with", WORDS["cleaner"](), plan.cleaner, widgets.Dropdown),
            self._slider("squeeze", "Squeeze, %", 0, 45, 100 * float(plan.squeeze), 0.01),
        ]
        made = [weights, coolant, metals, tube, at, joints]
        return [("Look at", [view]), *zip(SHOWN, made, strict=True)]

    def _tick(self, metal: str) -> widgets.Checkbox:
        there = metal in self.plan.also_wetted
        tick = widgets.Checkbox(there, description=metal, indent=False)
        tick.tooltip = "As if the coolant touched it too"
        return self._add(f":metal {metal}", tick, lambda shown: shown)

    def settings(self) -> dict[str, Any]:
        """Return what was moved; the ticks become the metals beside the plan."""
        out = super().settings()
        ticks = {c.setting.removeprefix(":metal "): c for c in self.controls if c.setting.startswith(":metal ")}
        if any(control.moved for control in ticks.values()):
            kept = [metal for metal in self.plan.also_wetted if metal not in ticks]
            out["also_wetted"] = (*kept, *(metal for metal, control in ticks.items() if control.value))
        return out

    def answer(self, plan: Plan) -> Looked:
        """Return the view worked out for a plan; new weights alone rank again what was solved."""
        weights, solved = {name: self.own(name) for name in CRITERIA}, (self.own("view"), self.settings())
        if solved == self._solved and isinstance(self.solution.result, TubeChoice):
            return replace(self.solution, result=self.solution.result.weighed(weights))
        self._solved = solved
        return material_words.look(self.own("view"), plan, weights)

    def drawn(self) -> tuple[Figure, list]:
        """Return the drawings of the view."""
        figure = Figure()
        return figure, material_figures.pictures(figure, self.solution.view, self.system)

    def headline(self) -> str:
        """Return the view in one sentence."""
        return material_words.sentence(self.solution, self.system)

    def figures(self) -> list[tuple[str, str]]:
        """Return the readouts, what is in the coolant among them."""
        plan = self.solution.plan
        mix = wetted.treatment(plan)["name"].replace("none", "nothing")
        rows = material_words.readouts(self.solution, self.system)
        return [*rows, ("in the coolant", mix if plan.treatment else f"{mix}, as usual")]

    def _joints(self) -> str:
        """Return in one line how tube ends are held, for what touches there."""
        plan, length = self.solution.plan, DISPLAY[self.system]["length"]
        return (
            f"Tube ends: {plan.tube_edge}; rings of {plan.seal} with a section of {length.text(plan.ring_section)}, "
            f"squeezed by {100 * float(plan.squeeze):.0f} %."
        )

    def below(self) -> str:
        """Return the warnings, and under them why this order of tubes, and the numbers of the view."""
        table, result = material_words.table(self.solution, self.system), self.solution.result
        said = f"<div>{escape(self._joints())}</div>" if self.solution.view == TOUCH else ""
        said += page.warnings_html(self.solution, self.system)
        if isinstance(result, TubeChoice):
            said += page.note_html("Why this order", result.reason)
            said += "".join(
                page.note_html(f"Tools for {k.label}", k.tools) for k in result.kinds if k.material == result.own
            )
        return said if table is None else said + page.table_html(TITLES[self.solution.view], table)

    def alt(self) -> str:
        """Return the drawing in words."""
        return material_words.alt(self.solution, self.system)


def materials(plan: Plan | None = None) -> MaterialsPanel:
    """Return the panel of materials of a plan, of the chosen one by default."""
    return MaterialsPanel(mine.chosen().plan if plan is None else plan)
