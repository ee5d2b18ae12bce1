"""The at-a-glance panel: slide, and see flow, temperatures, where the head goes, and what warns."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import ipywidgets as widgets
from matplotlib.figure import Figure

from loopmath import catalogue, figures, style
from loopmath import loop as tree
from loopmath.checks import InputError
from loopmath.compare import Comparison
from loopmath.laws import coolant as coolants
from loopmath.panels import page
from loopmath.panels.canvas import LivePicture
from loopmath.plan import SETTINGS, Plan
from loopmath.solution import Solution, solved
from loopmath.units import DISPLAY

#: Picture on the screen, in pixels. With the control column it fits a window 1440 wide.
WIDTH, HEIGHT = 880, 424
#: Bores offered, in mm.
BORES = (7, 8, 9, 10, 11, 12, 13, 14, 16)
DEPTHS = (28, 45, 60)
SIZES = (120, 140, 200)


@dataclass
class Control:
    """A widget, the setting it slides, and how its value becomes that setting's."""

    setting: str
    widget: Any
    to_inside: Callable[[Any], Any]


class GlancePanel:
    """
    The live panel over one plan.

    Parameters
    ----------
    plan : Plan
        The plan every control starts from.

    Attributes
    ----------
    solution : Solution
        The last answer that could be given.
    view : ipywidgets.Widget
        What is shown.
    """

    def __init__(self, plan: Plan) -> None:
        self.plan, self.system = plan, "metric"
        self.comparison = Comparison()
        self.solution: Solution = solved(plan)
        self.failed = ""
        self.controls: list[Control] = []
        self.screen = widgets.HTML()
        self.screen.add_class("glance-screen")
        self.table = widgets.HTML()
        self.power = widgets.ToggleButton(False, description="Pump power", tooltip="Show the pump's electrical power")
        self.units = widgets.ToggleButtons(
            options=[("metric", "metric"), ("US", "us")], tooltip="Units of everything shown"
        )
        self._quiet = False
        self.view = self._arrange()
        self._draw_anew()
        self._show_table()

    # ------------------------------------------------------------------------------------------------ controls

    def _slider(
        self, setting: str, words: str, low: int, high: int, value: float, scale: float = 1.0, step: int = 1
    ) -> widgets.IntSlider:
        slider = widgets.IntSlider(round(value), low, high, step, description=words, continuous_update=True)
        return self._add(setting, slider, lambda shown: shown * scale)

    def _choice(self, setting: str, words: str, options: list, value: Any, kind: type = widgets.SelectionSlider) -> Any:
        chosen = kind(options=options, value=value, description=words)
        return self._add(setting, chosen, lambda inside: inside)

    def _add(self, setting: str, widget: Any, to_inside: Callable) -> Any:
        widget.tooltip = (
            SETTINGS[setting].words if setting in SETTINGS else setting.replace(".", ": ").replace("_", " ")
        )
        widget.observe(self._moved, "value")
        self.controls.append(Control(setting, widget, to_inside))
        return widget

    def _radiator_controls(self, unit: tree.RadiatorUnit) -> list:
        radiator, name = unit.radiator, unit.name
        short = name.removesuffix(" radiator")
        sizes = [(f"{s}", s / 1e3) for s in SIZES]
        depths = sorted({*DEPTHS, round(1e3 * radiator.depth)})
        return [
            self._slider(f"{name}.positions", f"{short}: positions".capitalize(), 1, 4, radiator.positions),
            self._choice(f"{name}.fan_size", "Fan size, mm", sizes, _near(radiator.fan_size, [v for _, v in sizes])),
            self._choice(
                f"{name}.depth",
                "Depth, mm",
                [(f"{d}", d / 1e3) for d in depths],
                _near(radiator.depth, [d / 1e3 for d in depths]),
            ),
        ]

    def _arrange(self) -> widgets.Widget:
        """Make the controls, most used first, and lay them beside the picture."""
        plan = self.plan
        pump, radiators = plan.units(tree.PumpUnit)[0], plan.units(tree.RadiatorUnit)
        fans = [u for u in radiators if u.fan is not None]
        bore = next(run.tube.bore for run in plan.units(tree.Run))
        layout = "series" if not any(isinstance(i, tree.Parallel) for i in plan.loop.items) else "parallel"
        pump_and_loop = [
            self._choice(
                "layout", "Blocks", [("series", "series"), ("parallel", "parallel")], layout, widgets.ToggleButtons
            ),
            self._slider("pump_speed", "Pump speed, %", 20, 100, 100 * pump.speed, 0.01),
            self._slider("fittings", "90° fittings", 0, 30, tree.total_fittings(plan.loop)),
            self._choice(
                "bore", "Tube bore, mm", [(f"{b}", b / 1e3) for b in BORES], _near(bore, [b / 1e3 for b in BORES])
            ),
        ]
        air = self._radiator_controls(radiators[0]) if radiators else []
        if fans:
            air.append(self._slider("fan_speed", "Fan speed, %", 15, 100, 100 * fans[0].fan_speed, 0.01))
        self.room = widgets.IntSlider(round(plan.room_air), 10, 40, description="Room air, °C")
        air.append(self._add("room_air", self.room, lambda shown: DISPLAY[self.system]["temperature"].back(shown)))
        heat = [
            self._slider(
                f"{u.name}.heat",
                f"{_short(u.name)}, W".capitalize().replace(", w", ", W"),
                0,
                _round_up(2 * u.heat),
                u.heat,
                step=5,
            )
            for u in plan.units(tree.Source)
        ]
        liquids = [(c.label, c.name) for c in coolants.coolants().values()]
        more = [c for unit in radiators[1:] for c in self._radiator_controls(unit)]
        more += [
            self._choice("pump", "Pump", catalogue.names("pump"), pump.pump.name, widgets.Dropdown),
            self._choice("tube", "Tube", catalogue.names("tube"), plan.units(tree.Run)[0].tube.name, widgets.Dropdown),
        ]
        if radiators:
            metals = [("copper", "copper"), ("aluminium", "aluminium 6000 series")]
            words = f"{radiators[0].name.split()[0]} metal".capitalize()
            more.append(
                self._choice(f"{radiators[0].name}.metal", words, metals, radiators[0].radiator.metal, widgets.Dropdown)
            )
        coolant = [self._choice("coolant", "Coolant", liquids, plan.coolant.name, widgets.Dropdown)]
        groups = [("Pump and loop", pump_and_loop), ("Radiator and air", air), ("Heat", heat), ("Coolant", coolant)]
        boxes = [page.group(title, children) for title, children in groups]
        folded = widgets.Accordion([widgets.VBox(more)], titles=["More parts"], selected_index=None)
        folded.add_class("glance-more")
        column = widgets.VBox([*boxes, folded, self._buttons()])
        column.add_class("glance-controls")
        whole = widgets.Box([widgets.HTML(page.STYLE), column, self.screen])
        whole.add_class("glance")
        return widgets.VBox([whole, self.table])

    def _buttons(self) -> widgets.Widget:
        keep = widgets.Button(description="Keep design", tooltip="Hold this design faintly on every plot, up to six")
        drop = widgets.Button(description="Let go", tooltip="Forget the kept designs")
        save = widgets.Button(description="Save comparison", tooltip="Write CSV, Markdown and one HTML page")
        keep.on_click(lambda _: self.keep())
        drop.on_click(lambda _: self.let_go())
        save.on_click(lambda _: self.save())
        self.power.observe(lambda _: self._draw_anew(), "value")
        self.units.observe(lambda _: self._change_units(), "value")
        row = widgets.Box([keep, drop, save, self.power, self.units])
        row.add_class("glance-buttons")
        return row

    # --------------------------------------------------------------------------------------- state, solve, draw

    def settings(self) -> dict[str, Any]:
        """Return what the controls say, as settings of the plan."""
        said = {c.setting: c.to_inside(c.widget.value) for c in self.controls}
        tube = said.pop("tube")
        return {"tube": tube} | said  # the bore slider then has the last word on the bore

    def _moved(self, change: dict) -> None:
        if self._quiet:
            return
        if change["owner"] is self._widget("tube"):
            self._set_quietly("bore", _near(catalogue.part("tube", change["new"]).bore, [b / 1e3 for b in BORES]))
        restructured = change["owner"] is self._widget("layout")
        try:
            self.solution = solved(self.plan.set(**self.settings()))
            self.failed = ""
        except InputError as problem:
            self.failed = page.problem_html(problem)
        if restructured and not self.failed:
            self._draw_anew()
        else:
            self._draw()

    def _widget(self, setting: str) -> Any:
        return next((c.widget for c in self.controls if c.setting == setting), None)

    def _set_quietly(self, setting: str, value: Any) -> None:
        self._quiet = True
        self._widget(setting).value = value
        self._quiet = False

    def _draw_anew(self) -> None:
        """Make the figure from scratch: another layout, other units, a kept design more or less."""
        with style.look():
            figure = Figure()
            shares = figure.add_axes([0.012, 0.02, 0.475, 0.345])
            ladder = figure.add_axes([0.553, 0.115, 0.442, 0.815])
            point = figure.add_axes([0.05, 0.52, 0.41, 0.41])
            self.pictures = [
                figures.OperatingPoint(point, self.system, self.power.value),
                figures.HeadShares(shares, self.system),
                figures.Ladder(ladder, self.solution, self.system),
            ]
            for picture in self.pictures:
                picture.update(self.solution)
            for letter, kept in self.comparison.kept.items():
                for picture in self.pictures:
                    picture.keep(kept, letter)
            moving = [artist for picture in self.pictures for artist in picture.moving]
            self.live = LivePicture(figure, moving, WIDTH, HEIGHT, "")
        self._draw()

    def _draw(self) -> None:
        """Put the answer on the screen in one message: words, picture, figures, warnings."""
        if not self.failed:
            with style.look():
                stepped = [picture.update(self.solution) for picture in self.pictures]
                if any(stepped):
                    self.live.rebuild()
        self.live.alt = page.alt_text(self.solution, self.system)
        self.screen.value = page.screen_html(self.solution, self.live.html(), self.system, self.failed)

    def _change_units(self) -> None:
        """Show everything in the other units, the sliders included."""
        old, self.system = DISPLAY[self.system]["temperature"], self.units.value
        new = DISPLAY[self.system]["temperature"]
        at, low, high = (round(new.convert(old.back(v))) for v in (self.room.value, self.room.min, self.room.max))
        self._quiet = True
        self.room.min, self.room.max = min(low, self.room.min), max(high, self.room.max)
        self.room.value = at
        self.room.min, self.room.max = low, high
        self.room.description = f"Room air, {new.label}"
        length = DISPLAY[self.system]["length"]
        for control in self.controls:
            if control.setting == "bore" or control.setting.endswith((".fan_size", ".depth")):
                value = control.widget.value
                inside = [v for _, v in control.widget.options]
                digits = 2 if self.system == "us" else 0
                control.widget.options = [(f"{length.convert(v):.{digits}f}", v) for v in inside]
                control.widget.value = value
                words = control.widget.description.rpartition(",")[0]
                control.widget.description = f"{words}, {length.label}"
        self._quiet = False
        self._draw_anew()
        self._show_table()

    # -------------------------------------------------------------------------------------------------- keeping

    def keep(self) -> None:
        """Hold the present design: a faint line on every plot, a row in the comparison."""
        if not self.failed:
            self.comparison.keep(self.solution)
            self._draw_anew()
            self._show_table()

    def let_go(self) -> None:
        """Forget every kept design."""
        self.comparison.kept.clear()
        self._draw_anew()
        self._show_table()

    def save(self) -> None:
        """Write the comparison as CSV, Markdown and one HTML page, and say where."""
        if not self.comparison.kept:
            self.comparison.keep(self.solution)
            self._draw_anew()
        paths = self.comparison.save(
            "kept", self.system, self.live.data_uri(), page.alt_text(self.solution, self.system)
        )
        self._show_table(f"Written: {', '.join(map(str, paths))}")

    def _show_table(self, words: str = "") -> None:
        self.table.value = page.comparison_html(self.comparison, self.system, words)

    def _repr_mimebundle_(self, **kwargs: Any) -> dict:
        """Show the live panel, and where no kernel runs its last picture, figures and warnings."""
        still = page.STYLE + self.screen.value
        live = self.view._repr_mimebundle_(**kwargs)
        live = live[0] if isinstance(live, tuple) else live
        return live | {"text/html": still, "text/plain": page.headline(self.solution, self.system)}


def glance(plan: Plan) -> GlancePanel:
    """Return the at-a-glance panel of a plan; as the last line of a cell it is shown."""
    return GlancePanel(plan)


def _near(value: float, among: list[float]) -> float:
    return min(among, key=lambda v: abs(v - value))


def _round_up(watts: float) -> int:
    return max(100, int(-(-watts // 50) * 50))


def _short(name: str) -> str:
    return name if len(name) <= 10 else name.split()[0]
