"""The panel of tube runs: the machine from all sides, marks on each tube, cuts, other ways; everything redraws live."""

from dataclasses import replace
from typing import Any

import ipywidgets as widgets
from matplotlib.figure import Figure

from loopmath import choice_words, mine, router, run_figures, run_words, tables, template
from loopmath.checks import InputError
from loopmath.panels import page
from loopmath.panels.live import LivePanel, _scale
from loopmath.plan import Plan
from loopmath.run_words import CASE, CUTS, MARKS, VIEWS, WAYS, Looked

#: Title of a group of controls -> the views it is shown in.
SHOWN = {
    "Tube": (CASE, MARKS, WAYS),
    "Bends": (CASE, MARKS, WAYS),
    "Practice bend": (MARKS, CUTS),
    "Move": (CASE, MARKS, WAYS),
    "Draw": (CASE, WAYS),
    "Way": (WAYS,),
    "Stock": (CUTS,),
    "Loop": (CASE, WAYS),
}
#: Stock that is offered: what it is called, lengths [m].
STOCKS = (("500 mm", (0.5,)), ("1000 mm", (1.0,)), ("500 and 1000 mm", (0.5, 1.0)))
#: Ways that are looked for.
MOST_WAYS = 5


class RunsPanel(LivePanel):
    """The live panel of tube runs over one plan."""

    anew = (":view", ":colour")
    classes = ("glance-runs",)
    shown = SHOWN

    #: What the last answer was worked out for.
    _looked: Any = None

    def _prepare(self) -> None:
        #: Ports and routes as they were moved here, and why the last move could not be made.
        self.space = {"ports": self.plan.ports, "routes": self.plan.routes}
        self.refused: InputError | None = None

    # ------------------------------------------------------------------------------------------------ controls

    def groups(self) -> list[tuple[str, list]]:
        """Return the controls under their titles."""
        plan = self.plan
        view = self._choice(":view", "", list(VIEWS), VIEWS[0], widgets.Dropdown)
        view.tooltip = "What the drawing and the table show"
        names = run_words.runs(plan)
        first = run_words.first_run(plan)
        tube = [self._choice(":run", "Run", names or [""], first, widgets.Dropdown)]
        bends, bench = [], []
        if plan.paths:
            one = next(iter(plan.paths.values()))
            usual = tables.by_name("bending.csv").get(one.tube.material, {}).get("stretch", 0.0)
            shown = usual if plan.stretch is None else float(plan.stretch)
            bench.append(self._slider("stretch", "Stretch, %", -10, 15, 100 * shown, 0.01))
            now = plan.bend_radius if plan.bend_radius is not None else one.radius
            bends.append(self._quantity("bend_radius", "Radius", "small length", 10, 80, float(now)))
        bends.append(self._quantity("clearance", "Gap", "small length", 0, 20, float(plan.clearance)))
        move = [
            self._quantity(
                ":standoff", "Standoff", "small length", 5, 300, run_words.free_standoff(plan, first) or 0.05
            )
        ]
        ports = [port.name for port in plan.ports]
        if ports:
            route = next((r for r in plan.routes if r.name == first), None)
            at = route.start if route is not None else ports[0]
            move.append(self._choice(":port", "Port", ports, at, widgets.Dropdown))
            move.append(self._quantity(":height", "Height", "small length", 0, 600, self._height(plan) or 0.0))
        draw = [
            self._choice(":colour", "Colour by", list(run_figures.COLOURS), run_figures.COLOURS[0], widgets.Dropdown),
            self._slider(":azimuth", "Turn, °", -180, 180, run_figures.TURNED[0]),
            self._slider(":elevation", "Tip, °", -10, 90, run_figures.TURNED[1]),
        ]
        ways = [self._slider(":way", "Way (0: planned)", 0, MOST_WAYS, 0)]
        take = widgets.Button(description="Lay it so", tooltip="Take the way that is drawn into the plan")
        take.on_click(lambda _: self._take())
        every = widgets.Button(
            description="Lay every run", tooltip="Look for ways of all runs at once that do not cross"
        )
        every.on_click(lambda _: self._lay_every())
        back = widgets.Button(description="Put back", tooltip="Lay every run as the plan has it")
        back.on_click(lambda _: self._put_back())
        ways += [take, every, back]
        stock = [self._choice("stock_lengths", "Sold in", self._stocks(), plan.stock_lengths, widgets.Dropdown)]
        stock += [
            self._quantity("kerf", "Saw takes", "small length", 0, 5, float(plan.kerf)),
            self._quantity("squaring", "To square", "small length", 0, 10, float(plan.squaring)),
            self._slider("spares", "Spare runs", 0, 10, float(plan.spares)),
            self._slider("practice", "Practice", 0, 10, float(plan.practice)),
        ]
        loop = [self._slider("pump_speed", "Pump, %", 0, 100, 100 * choice_words.pump_now(plan), 0.01)]
        return [("Look at", [view]), *zip(SHOWN, (tube, bends, bench, move, draw, ways, stock, loop), strict=True)]

    def _stocks(self) -> list:
        own = tuple(self.plan.stock_lengths)
        listed = [stock for stock in STOCKS if stock[1] != own]
        words = next((w for w, s in STOCKS if s == own), " and ".join(f"{1e3 * x:.0f} mm" for x in own))
        return [(words, own), *listed]

    def _height(self, plan: Plan) -> float | None:
        return next((port.position[2] for port in plan.ports if port.name == self.own("port")), None)

    def buttons(self) -> list:
        """Return the button that writes the templates."""
        button = widgets.Button(description="Write templates", tooltip="PDF and SVG of every run, true to scale")
        button.on_click(lambda _: self.write_templates())
        return [button]

    def _arranged(self, groups: list) -> widgets.Widget:
        view = super()._arranged(groups)
        self._show_own(":standoff")
        return view

    # ------------------------------------------------------------------------------------ what was moved in space

    def followed(self, setting: str, value: Any) -> None:
        """Move what was slid in space; show another run's or port's own figures when it is chosen."""
        super().followed(setting, value)
        if setting == ":standoff":
            self._move(f"{self.own('run')}.standoff", self.own("standoff"))
        elif setting == ":height":
            self._move(f"{self.own('port')}.up", self.own("height"))
        elif setting in (":run", ":port"):
            self.refused = None
            self._show_own(":standoff" if setting == ":run" else ":height")

    def _move(self, setting: str, value: Any) -> None:
        """Change something in space; what cannot be is told, and the rest stays as it was."""
        try:
            plan = self.planned().set(**{setting: value})
            self.space, self.refused = {"ports": plan.ports, "routes": plan.routes}, None
        except InputError as problem:
            self.refused = problem

    def _show_own(self, setting: str) -> None:
        """Put a slider where the plan, as it is set now, has what it slides; one that nothing can move is held."""
        control, free = self._control(setting), run_words.free_standoff
        if control is None:
            return
        try:
            plan = self.planned()
            value = free(plan, self.own("run")) if setting == ":standoff" else self._height(plan)
        except InputError:
            value = None
        control.widget.disabled = value is None
        if value is not None:
            self._put(control, value)

    def _put(self, control: Any, value: float) -> None:
        """Set a slider without taking it for a move of the user's."""
        at = round(float(_scale("small length", self.system).convert(value)))
        self._quiet = True
        control.widget.min, control.widget.max = min(control.widget.min, at), max(control.widget.max, at)
        control.widget.value = at
        self._quiet = False
        control.start, control.exact = at, (at, value)

    def planned(self) -> Plan:
        """Return the plan as the controls have it, and as it was moved in space."""
        return replace(self.plan, **self.space).set(**self.settings())

    # ------------------------------------------------------------------------------------------------- the answer

    def answer(self, plan: Plan) -> Looked:
        """Return the view worked out for a plan; turning it works nothing out again."""
        if self.refused is not None:
            raise self.refused
        asked = (self.settings(), self.space, self.own("view"), self.own("run"))
        way, before = int(self.own("way")), self._looked
        if before == (*asked, way):
            return self.solution
        ways = self.solution.ways if before is not None and before[:-1] == asked else None
        seen = run_words.look(self.own("view"), plan, self.own("run"), way, ways)
        self._looked = (*asked, way)
        return seen

    def drawn(self) -> tuple[Figure, list]:
        """Return the drawings of the view."""
        figure = Figure()
        turned = (self.own("azimuth"), self.own("elevation"))
        return figure, run_figures.pictures(figure, self.own("view"), self.system, self.own("colour"), turned)

    def _draw(self) -> None:
        """Turn the view that can be turned, then draw."""
        for picture in self.pictures:
            if hasattr(picture, "turned"):
                picture.turned = (self.own("azimuth"), self.own("elevation"))
        super()._draw()

    def headline(self) -> str:
        """Return the view in one sentence."""
        return run_words.sentence(self.solution, self.system)

    def figures(self) -> list[tuple[str, str]]:
        """Return the readouts."""
        return run_words.readouts(self.solution, self.system)

    def below(self) -> str:
        """Return the warnings, and under them the numbers of the view."""
        said = page.warnings_html(self.solution, self.system)
        if self.own("view") == MARKS and self.solution.work is not None:
            said += page.steps_html("At the bench", self.solution.work.sentences(self.system))
        table = run_words.table(self.solution, self.system)
        return said if table is None else said + page.table_html(*table)

    def alt(self) -> str:
        """Return the drawing in words."""
        return run_words.alt(self.solution, self.system)

    # ---------------------------------------------------------------------------------------------------- buttons

    def _take(self) -> None:
        """Lay the run along the way that is drawn."""
        seen = self.solution
        if self.failed or not seen.ways or not seen.way:
            self.say("Choose a way first: 0 is the one the plan has.")
            return
        self._move(f"{seen.chosen}.corners", seen.ways[seen.way - 1].route.corners)
        if self.refused is not None:
            self.say(f"It was not laid. {self.refused}")
            return
        self._lie(self.space)
        self.say(f"{seen.chosen} is laid along way {seen.way}. Save the plan to keep it.")

    def _lay_every(self) -> None:
        """Lay all runs anew, so that none is in another's way."""
        try:
            found = router.route_all(self.planned())
        except InputError as problem:
            self.say(f"No way was looked for. {problem}")
            return
        before = run_words.tube_words(self.planned(), self.system)
        self._lie({"ports": found.plan.ports, "routes": found.plan.routes})
        failed = "".join(f" {name}: {words}" for name, words in found.failed.items())
        now = run_words.tube_words(self.planned(), self.system)
        kept = "Save the plan to keep them, or put the plan's own back."
        self.say(f"{len(found.proposals)} runs are laid anew: {now}, before {before}. {kept}{failed}")

    def _lie(self, space: dict) -> None:
        """Take ports and routes as they are to lie, and draw them."""
        self.space, self.refused = space, None
        self._put_way(0)
        self._show_own(":standoff")
        self._show_own(":height")
        self._answer_anew()

    def _put_back(self) -> None:
        """Lay every run as the plan has it."""
        self._lie({"ports": self.plan.ports, "routes": self.plan.routes})
        self.say("Every run lies as the plan has it.")

    def _put_way(self, way: int) -> None:
        """Draw the plan's own way, or another, without looking for ways again."""
        self._quiet = True
        self._control(":way").widget.value = way
        self._quiet = False

    def write_templates(self) -> None:
        """Write the templates of every run, and say where."""
        if self.failed:
            self.say("No template was written: the tubes cannot be laid as they are set now.")
            return
        try:
            made = template.write_templates(self.planned(), system=self.system)
        except InputError as problem:
            self.say(f"No template was written. {problem}")
            return
        self.say(
            f"Templates: {made[0]}, and {len(made) - 1} SVG files beside it. Print at actual size, measure the bar."
        )

    def _start_from_here(self) -> None:
        super()._start_from_here()
        self.space = {"ports": self.plan.ports, "routes": self.plan.routes}


def runs(plan: Plan | None = None) -> RunsPanel:
    """Return the panel of tube runs of a plan, of the chosen one by default."""
    return RunsPanel(mine.chosen().plan if plan is None else plan)
