"""The at-a-glance panel: slide, and see flow, temperatures, where the head goes, and what warns."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import ipywidgets as widgets
from matplotlib.figure import Figure

from loopmath import catalogue, figures, mine, style
from loopmath import loop as tree
from loopmath.checks import InputError
from loopmath.compare import Comparison
from loopmath.laws import coolant as coolants
from loopmath.panels import page
from loopmath.panels.canvas import LivePicture
from loopmath.plan import AS_PLANNED, LAYOUTS, SETTINGS, Plan
from loopmath.plansave import reloaded
from loopmath.solution import Solution, solved
from loopmath.units import DISPLAY

#: Picture on the screen, in pixels. With the control column it fits a window 1440 wide.
WIDTH, HEIGHT = 880, 424
#: Bores offered, in mm.
BORES = (7, 8, 9, 10, 11, 12, 13, 14, 16)
DEPTHS = (28, 45, 60)
SIZES = (120, 140, 200)
#: Heat sliders in sight; those of further sources are folded away with the parts.
MOST_SOURCES = 3


@dataclass
class Control:
    """A widget, the setting it slides, how its value becomes that setting's, and where the plan itself has it."""

    setting: str
    widget: Any
    to_inside: Callable[[Any], Any]
    start: Any = None

    @property
    def moved(self) -> bool:
        """True if it says something else than the plan; what was not touched stays exactly as planned."""
        return self.widget.value != self.start


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
        value = round(value)
        low, high = min(low, value), max(high, value)
        slider = widgets.IntSlider(value, low, high, step, description=words, continuous_update=True)
        return self._add(setting, slider, lambda shown: shown * scale)

    def _choice(self, setting: str, words: str, options: list, value: Any, kind: type = widgets.SelectionSlider) -> Any:
        chosen = kind(options=options, value=value, description=words)
        return self._add(setting, chosen, lambda inside: inside)

    def _add(self, setting: str, widget: Any, to_inside: Callable) -> Any:
        widget.tooltip = (
            SETTINGS[setting].words if setting in SETTINGS else setting.replace(".", ": ").replace("_", " ")
        )
        widget.observe(self._moved, "value")
        self.controls.append(Control(setting, widget, to_inside, widget.value))
        return widget

    def _part_choice(self, setting: str, words: str) -> Any:
        return self._choice(setting, words, self._parts(setting), AS_PLANNED, widgets.Dropdown)

    def _parts(self, setting: str) -> list:
        """Offer every part of a kind, the plan's own first: it may have numbers of its own."""
        record = self._planned(setting)
        others = [(n, n) for n in catalogue.names(setting.rpartition(".")[2]) if n != record.name]
        return [(record.name, AS_PLANNED), *others]

    def _planned(self, setting: str) -> Any:
        """Return the part that the plan has where a setting chooses one."""
        name, _, kind = setting.rpartition(".")
        if name:
            return getattr(self.plan_unit(name), kind)
        having = {"pump": tree.PumpUnit, "tube": tree.Run, "fan": tree.RadiatorUnit}[kind]
        return next(getattr(u, kind) for u in self.plan.units(having) if getattr(u, kind) is not None)

    def _layouts(self) -> list:
        """Offer the layouts of the blocks: that of the plan first if it has blocks side by side."""
        items = self.plan.loop.items
        side_by_side = any(tree.of_kind(i, tree.Source) for i in items if isinstance(i, tree.Parallel))
        return [(w, w) for w in (LAYOUTS if side_by_side else LAYOUTS[1:])]

    def _lengths(self, setting: str, words: str, usual: tuple, value: float) -> Any:
        """Offer usual lengths [mm] and the plan's own."""
        options = sorted({*(v / 1e3 for v in usual if abs(v / 1e3 - value) > 1e-6), value})
        return self._choice(setting, f"{words}, mm", [(f"{1e3 * v:.4g}", v) for v in options], value)

    def _radiator_controls(self, unit: tree.RadiatorUnit) -> list:
        radiator, name = unit.radiator, unit.name
        short = name.removesuffix(" radiator")
        return [
            self._slider(f"{name}.positions", _first_up(f"{short}: positions"), 1, 4, radiator.positions),
            self._lengths(f"{name}.fan_size", "Fan size", SIZES, radiator.fan_size),
            self._lengths(f"{name}.depth", "Depth", DEPTHS, radiator.depth),
        ]

    def _arrange(self) -> widgets.Widget:
        """Make the controls, most used first, and lay them beside the picture."""
        plan = self.plan
        pump, radiators = plan.units(tree.PumpUnit)[0], plan.units(tree.RadiatorUnit)
        fans, runs, sources = [u for u in radiators if u.fan is not None], plan.units(tree.Run), plan.units(tree.Source)
        pump_and_loop = [self._slider("pump_speed", "Pump speed, %", 20, 100, 100 * pump.speed, 0.01)]
        if len(sources) > 1:
            layouts = self._layouts()
            kind = widgets.ToggleButtons if len(layouts) == 2 else widgets.Dropdown
            pump_and_loop.insert(0, self._choice("layout", "Blocks", layouts, layouts[0][1], kind))
        if runs:
            pump_and_loop += [
                self._slider("fittings", "90° fittings", 0, 30, tree.total_fittings(plan.loop)),
                self._lengths("bore", "Tube bore", BORES, runs[0].tube.bore),
            ]
        air = self._radiator_controls(radiators[0]) if radiators else []
        if fans:
            air.append(self._slider("fan_speed", "Fan speed, %", 15, 100, 100 * fans[0].fan_speed, 0.01))
        self.room = widgets.IntSlider(round(plan.room_air), 10, 40, description="Room air, °C")
        air.append(self._add("room_air", self.room, lambda shown: DISPLAY[self.system]["temperature"].back(shown)))
        labels = _labels([u.name for u in sources])
        heat = [
            self._slider(f"{u.name}.heat", _first_up(f"{label}, W"), 0, _round_up(2 * u.heat), u.heat, step=5)
            for u, label in zip(sources, labels, strict=True)
        ]
        heat, more = heat[:MOST_SOURCES], heat[MOST_SOURCES:]
        liquids = [(c.label, c.name) for c in coolants.coolants().values()]
        more += [c for unit in radiators[1:] for c in self._radiator_controls(unit)]
        more.append(self._part_choice("pump", "Pump"))
        if runs:
            more.append(self._part_choice("tube", "Tube"))
        more += [
            self._part_choice(f"{u.name}.block", _first_up(f"{label}: block"))
            for u, label in zip(sources, labels, strict=True)
        ]
        for u, label in zip(radiators, _labels([u.name for u in radiators]), strict=True):
            more.append(self._part_choice(f"{u.name}.radiator", _first_up(f"{label}: core")))
        if fans:
            more.append(self._part_choice("fan", "Fans"))
        if radiators:
            metals = [("copper", "copper"), ("aluminium", "aluminium 6000 series")]
            now = radiators[0].radiator.metal
            metals += [(now, now)] if now not in dict(metals).values() else []
            words = _first_up(f"{_labels([u.name for u in radiators])[0]}: metal")
            more.append(self._choice(f"{radiators[0].name}.metal", words, metals, now, widgets.Dropdown))
        coolant = [self._choice("coolant", "Coolant", liquids, plan.coolant.name, widgets.Dropdown)]
        groups = [("Pump and loop", pump_and_loop), ("Radiator and air", air), ("Heat", heat), ("Coolant", coolant)]
        boxes = [page.group(title, children) for title, children in groups if children]
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
        plan = widgets.Button(description="Save plan", tooltip="Write what was changed here into your plan's file")
        keep.on_click(lambda _: self.keep())
        drop.on_click(lambda _: self.let_go())
        save.on_click(lambda _: self.save())
        plan.on_click(lambda _: self.save_plan())
        self.power.observe(lambda _: self._draw_anew(), "value")
        self.units.observe(lambda _: self._change_units(), "value")
        row = widgets.Box([keep, drop, save, plan, self.power, self.units])
        row.add_class("glance-buttons")
        return row

    # --------------------------------------------------------------------------------------- state, solve, draw

    def settings(self) -> dict[str, Any]:
        """Return what the controls that were moved say, as settings of the plan: parts first, then their numbers."""
        said = {c.setting: c.to_inside(c.widget.value) for c in self.controls if c.moved}
        return dict(sorted(said.items(), key=lambda item: not _names_part(item[0])))

    def _moved(self, change: dict) -> None:
        if self._quiet:
            return
        setting = next(c.setting for c in self.controls if c.widget is change["owner"])
        if _names_part(setting):
            self._follow(setting, change["new"])
        try:
            self.solution = solved(self.plan.set(**self.settings()))
            self.failed = ""
        except InputError as problem:
            self.failed = page.problem_html(problem)
        if setting == "layout" and not self.failed:
            self._draw_anew()
        else:
            self._draw()

    def _follow(self, setting: str, name: str) -> None:
        """Move the sliders of a part to the numbers of the one chosen."""
        kind = setting.rpartition(".")[2]
        if kind not in ("tube", "radiator"):
            return
        unit = setting.rpartition(".")[0]
        record = self._planned(setting) if name == AS_PLANNED else catalogue.part(kind, name)
        for field in ("bore",) if kind == "tube" else ("positions", "fan_size", "depth", "metal"):
            control = self._control(f"{unit}.{field}" if unit else field)
            if control is not None:
                self._set_quietly(control, getattr(record, field))

    def plan_unit(self, name: str) -> Any:
        """Return an element of the plan by its name."""
        return next(leaf for leaf in tree.leaves(self.plan.loop) if leaf.name == name)

    def _control(self, setting: str) -> Control | None:
        return next((c for c in self.controls if c.setting == setting), None)

    def _set_quietly(self, control: Control, value: Any) -> None:
        """Put a control where its part has it: it says nothing of its own until it is moved again."""
        self._quiet = True
        widget = control.widget
        if hasattr(widget, "options"):
            if value not in [v for _, v in widget.options]:
                word = value if isinstance(value, str) else f"{DISPLAY[self.system]['length'].convert(value):.4g}"
                widget.options = sorted([*widget.options, (word, value)], key=lambda option: option[1])
            widget.value = value
        else:
            widget.max = max(widget.max, round(value))
            widget.value = round(value)
        control.start = widget.value
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
        room = self._control("room_air")
        moved, start = room.moved, room.start
        old, self.system = DISPLAY[self.system]["temperature"], self.units.value
        new = DISPLAY[self.system]["temperature"]
        at, low, high = (round(new.convert(old.back(v))) for v in (self.room.value, self.room.min, self.room.max))
        self._quiet = True
        self.room.min, self.room.max = min(low, self.room.min), max(high, self.room.max)
        self.room.value = at
        self.room.min, self.room.max = low, high
        begun = round(new.convert(old.back(start)))
        # Two degrees of one scale may be one of the other: what was moved stays moved.
        room.start = (None if begun == at else begun) if moved else at
        self.room.description = f"Room air, {new.label}"
        length = DISPLAY[self.system]["length"]
        for control in self.controls:
            if control.setting == "bore" or control.setting.endswith((".fan_size", ".depth")):
                value = control.widget.value
                inside = [v for _, v in control.widget.options]
                words = "{:.2f}" if self.system == "us" else "{:.4g}"
                control.widget.options = [(words.format(length.convert(v)), v) for v in inside]
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

    def save_plan(self) -> None:
        """Write what was changed into the user's own plan file, and say where; a new file is what all pages open."""
        if self.failed:
            self._show_table("The plan was not saved: it cannot be solved as it is set now.")
            return
        try:
            plan, before = self.plan.set(**self.settings()), self.plan.origin
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
            self._show_table(f"The plan was not saved. {problem}")
            return
        self._show_table(words)

    def _start_from_here(self) -> None:
        """Take what the controls say as what the plan has: choices name the parts it has now."""
        self._quiet = True
        for control in self.controls:
            if _names_part(control.setting):
                options = self._layouts() if control.setting == "layout" else self._parts(control.setting)
                control.widget.options = options
                control.widget.value = options[0][1]
            control.start = control.widget.value
        self._quiet = False

    def _show_table(self, words: str = "") -> None:
        self.table.value = page.comparison_html(self.comparison, self.system, words)

    def _repr_mimebundle_(self, **kwargs: Any) -> dict:
        """Show the live panel, and where no kernel runs its last picture, figures and warnings."""
        return page.bundle(self.view, self.screen.value, page.headline(self.solution, self.system), **kwargs)


def glance(plan: Plan) -> GlancePanel:
    """Return the at-a-glance panel of a plan; as the last line of a cell it is shown."""
    return GlancePanel(plan)


def _names_part(setting: str) -> bool:
    return setting.rpartition(".")[2] in (*catalogue.CATALOGUE, "layout")


def _round_up(watts: float) -> int:
    return max(100, int(-(-watts // 50) * 50))


def _labels(names: list[str]) -> list[str]:
    """Return short names that still tell elements apart: the first word, or as much of the name as has room."""
    short = [n if len(n) <= 10 else (n.split() or [n])[0][:10] for n in names]
    short = [
        s if short.count(s) == 1 else n if len(n) <= 12 else f"{n[:5]}…{n[-6:]}"
        for s, n in zip(short, names, strict=True)
    ]
    return [s if short.count(s) == 1 else f"{s[:8]}… {number}" for number, s in enumerate(short, start=1)]


def _first_up(words: str) -> str:
    return words[:1].upper() + words[1:]
