"""The at-a-glance panel: slide, and see flow, temperatures, where the head goes, and what warns."""

from typing import Any

import ipywidgets as widgets
from matplotlib.figure import Figure

from loopmath import catalogue, figures
from loopmath import loop as tree
from loopmath.compare import Comparison
from loopmath.laws import coolant as coolants
from loopmath.panels import page
from loopmath.panels.live import Control, LivePanel
from loopmath.plan import AS_PLANNED, LAYOUTS, Plan
from loopmath.solution import Solution, solved
from loopmath.units import DISPLAY

#: Bores offered, in mm.
BORES = (7, 8, 9, 10, 11, 12, 13, 14, 16)
DEPTHS = (28, 45, 60)
SIZES = (120, 140, 200)
#: Heat sliders in sight; those of further sources are folded away with the parts.
MOST_SOURCES = 3


class GlancePanel(LivePanel):
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

    anew = ("layout",)

    def __init__(self, plan: Plan) -> None:
        self.comparison, self.table = Comparison(), widgets.HTML()
        self.power = widgets.ToggleButton(False, description="Pump power", tooltip="Show the pump's electrical power")
        super().__init__(plan)
        self.view = widgets.VBox([self.view, self.table])
        self._show_table()

    # ------------------------------------------------------------------------------------------------ controls

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

    def groups(self) -> list[tuple[str, list]]:
        """Return the controls under their titles, most used first; `more` holds those that are folded away."""
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
        air.append(self._room_slider())
        labels = _labels([u.name for u in sources])
        heat = [
            self._slider(f"{u.name}.heat", _first_up(f"{label}, W"), 0, _round_up(2 * u.heat), u.heat)
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
        self.more = more
        return [("Pump and loop", pump_and_loop), ("Radiator and air", air), ("Heat", heat), ("Coolant", coolant)]

    def beside(self) -> list:
        """Return the controls of further parts."""
        return self.more

    def buttons(self) -> list:
        """Return what keeps and saves designs."""
        keep = widgets.Button(description="Keep design", tooltip="Hold this design faintly on every plot, up to six")
        drop = widgets.Button(description="Let go", tooltip="Forget the kept designs")
        save = widgets.Button(description="Save comparison", tooltip="Write CSV, Markdown and one HTML page")
        keep.on_click(lambda _: self.keep())
        drop.on_click(lambda _: self.let_go())
        save.on_click(lambda _: self.save())
        self.power.observe(lambda _: self._draw_anew(), "value")
        return [keep, drop, save, self.power]

    # --------------------------------------------------------------------------------------- state, solve, draw

    def settings(self) -> dict[str, Any]:
        """Return what the controls that were moved say, as settings of the plan: parts first, then their numbers."""
        return dict(sorted(super().settings().items(), key=lambda item: not _names_part(item[0])))

    def answer(self, plan: Plan) -> Solution:
        """Return the answer of a plan."""
        return solved(plan)

    def followed(self, setting: str, value: Any) -> None:
        """Move the sliders of a part to the numbers of the one chosen."""
        if _names_part(setting):
            self._follow(setting, value)

    def _follow(self, setting: str, name: str) -> None:
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

    def drawn(self) -> tuple[Figure, list]:
        """Return the three drawings."""
        figure = Figure()
        shares = figure.add_axes([0.012, 0.02, 0.475, 0.345])
        ladder = figure.add_axes([0.553, 0.115, 0.442, 0.815])
        point = figure.add_axes([0.05, 0.52, 0.41, 0.41])
        return figure, [
            figures.OperatingPoint(point, self.system, self.power.value),
            figures.HeadShares(shares, self.system),
            figures.Ladder(ladder, self.solution, self.system),
        ]

    def _keep_all(self) -> None:
        for letter, kept in self.comparison.kept.items():
            for picture in self.pictures:
                picture.keep(kept, letter)

    def alt(self) -> str:
        """Return the picture in words."""
        return page.alt_text(self.solution, self.system)

    def _change_units(self) -> None:
        super()._change_units()
        self._show_table()

    def _rename_units(self) -> None:
        length = DISPLAY[self.system]["length"]
        for control in self.controls:
            if control.setting == "bore" or control.setting.endswith((".fan_size", ".depth")):
                value = control.widget.value
                inside = [v for _, v in control.widget.options]
                words = "{:.2f}" if self.system == "us" else "{:.4g}"
                with control.widget.hold_sync():  # a browser that saw options alone would send its first one back
                    control.widget.options = [(words.format(length.convert(v)), v) for v in inside]
                    control.widget.value = value
                words = control.widget.description.rpartition(",")[0]
                control.widget.description = f"{words}, {length.label}"

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

    def say(self, words: str) -> None:
        """Tell under the panel what was done."""
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
