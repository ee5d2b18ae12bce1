"""The heat-and-air panel: where the air goes, how warm the case gets, and what that does to the loop."""

from typing import Any

import ipywidgets as widgets
from matplotlib.figure import Figure

from loopmath import air_figures, mine
from loopmath import loop as tree
from loopmath.panels import page
from loopmath.panels.live import LivePanel
from loopmath.plan import BALANCE, GIVEN, Plan
from loopmath.solution import Solution, solved
from loopmath.units import DISPLAY

#: Fans on a core: word -> (fans in series, side of a single one).
FANS = {"push": (1, tree.PUSH), "pull": (1, tree.PULL), "push and pull": (2, tree.PUSH)}


class HeatPanel(LivePanel):
    """The live panel of air and heat over one plan."""

    def _prepare(self) -> None:
        radiators = self.plan.units(tree.RadiatorUnit)
        self.radiators = radiators
        self.anew = tuple(f"{u.name}.{field}" for u in radiators for field in ("air", "blows"))
        self.anew += (":fans shown", "case_air")

    def groups(self) -> list[tuple[str, list]]:
        """Return the controls under their titles."""
        plan, short = self.plan, [u.name.removesuffix(" radiator").capitalize() for u in self.radiators]
        balance = self._choice(
            "case_air",
            "Case air",
            [("balance", BALANCE), ("given", GIVEN)],
            plan.case_air_by,
            widgets.ToggleButtons,
        )
        balance.tooltip = "Worked out from fans, openings and heat, or as the plan gives it"
        case = [balance]
        if plan.case_fans:
            case.append(self._slider("case_fan_speed", "Case fans, %", 0, 100, 100 * plan.case_fans[0].speed, 0.01))
        case += [
            self._slider("case_heat", "Other heat, W", 0, 300, plan.case_heat),
            self._quantity("case_vents", "Openings", "area", 0, 400, float(plan.case_vents)),
            self._room_slider(),
        ]
        speeds = [
            self._slider(f"{u.name}.fan_speed", f"{word}: fans, %", 0, 100, 100 * u.fan_speed, 0.01)
            for u, word in zip(self.radiators, short, strict=True)
            if u.fan is not None
        ][:3]
        ways = [w for u, word in zip(self.radiators, short, strict=True) for w in self._ways(u, word)][:6]
        heat = self._heats()
        self.more = []
        for u, word in zip(self.radiators, short, strict=True):
            if u.fan is not None:
                self.more.append(self._fans(u, word))
                self.more.append(self._slider(f"{u.name}.filter_loss", f"{word}: filter", 0, 40, u.filter_loss))
        self.more.append(self._quantity("case_wall_loss", "Walls", "conductance", 0, 20, float(plan.case_wall_loss)))
        self.more.append(self._quantity("height", "Height", "height", 0, 4000, float(plan.height)))
        self.followed("case_air", plan.case_air_by)
        return [("Case", case), ("Radiator fans", speeds), ("Air of the radiators", ways), ("Heat in the loop", heat)]

    def _ways(self, unit: tree.RadiatorUnit, word: str) -> list:
        """Return the choice of where a radiator's air comes from and goes to, as one."""
        name = unit.name
        others = [(f"behind {o.name.removesuffix(' radiator')}", o.name) for o in self.radiators if o.name != name]
        source = self._choice(
            f"{name}.air", f"{word}: draws", [("room", "room"), ("case", "case"), *others], unit.air, widgets.Dropdown
        )
        usual = "case" if unit.air == "room" else "room"
        target = self._choice(
            f"{name}.blows",
            f"{word}: blows",
            [("case", "case"), ("room", "room")],
            unit.blows or usual,
            widgets.Dropdown,
        )
        return [source, target]

    def _fans(self, unit: tree.RadiatorUnit, word: str) -> Any:
        """Return the choice of fans before, behind, or on both sides of a core."""
        now = "push and pull" if float(unit.fans_in_series) > 1 else unit.fan_side
        return self._choice(f":{unit.name}.fans", f"{word}: fans", [(w, w) for w in FANS], now, widgets.Dropdown)

    def beside(self) -> list:
        """Return what is slid less often."""
        shown = [(f"{row.name}", n) for n, row in enumerate(self._streams())]
        if len(shown) > 1:
            self.more.insert(0, self._choice(":fans shown", "Fans shown", shown, 0, widgets.Dropdown))
        return self.more

    def _streams(self) -> list:
        return [u for u in self.radiators if u.air in tree.PLACES]

    def settings(self) -> dict[str, Any]:
        """Return what was moved; the choice of fans becomes two settings."""
        out = super().settings()
        for control in self.controls:
            if control.setting.startswith(":") and control.setting.endswith(".fans") and control.moved:
                name = control.setting[1:].removesuffix(".fans")
                series, side = FANS[control.value]
                out |= {f"{name}.fans_in_series": series, f"{name}.fan_side": side}
        return out

    def followed(self, setting: str, value: Any) -> None:
        """Grey out what does not count where the plan gives the air of the case."""
        for name in ("case_vents", "case_heat", "case_wall_loss", "case_fan_speed"):
            control = self._control(name)
            if control is not None:
                control.widget.disabled = self._control("case_air").widget.value == GIVEN

    def answer(self, plan: Plan) -> Solution:
        """Return the answer of a plan."""
        return solved(plan)

    def drawn(self) -> tuple[Figure, list]:
        """Return the map of air, the fans of one radiator, and what has a limit."""
        figure = Figure()
        limits = figure.add_axes([0.785, 0.065, 0.13, 0.40])
        fans = figure.add_axes([0.672, 0.615, 0.306, 0.315])
        air = figure.add_axes([0.0, 0.0, air_figures.WIDE / 880, air_figures.HIGH / 424])
        point = air_figures.FanPoint(fans, self.system)
        shown = self._control(":fans shown")
        point.which = min(shown.value if shown else 0, len(self.solution.air.rows) - 1)
        return figure, [
            air_figures.AirMap(air, self.solution, self.system),
            point,
            air_figures.Limits(limits, self.system),
        ]

    def headline(self) -> str:
        """Return the answer in one sentence."""
        words = page.headline(self.solution, self.system)
        if not self.solution.known:
            return words
        rise = float(self.solution.state["case_air"]) - float(self.solution.plan.room_air)
        how = "" if self.solution.plan.case_air_by == BALANCE else ", as given"
        return (
            f"Case air {DISPLAY[self.system]['difference'].text(rise)} over room{how}; {words[:1].lower()}{words[1:]}"
        )

    def figures(self) -> list[tuple[str, str]]:
        """Return the readouts."""
        units, s = DISPLAY[self.system], self.solution.state
        parts = self.solution.plan.components
        return [
            ("case air", units["temperature"].text(s["case_air"])),
            ("warmest coolant", units["temperature"].text(s["coolant_warmest"])),
            *((p.name, units["temperature"].text(s[p.name])) for p in parts[:5]),
            ("flow", units["flow"].text(s["flow"])),
            ("sound", units["sound"].text(s["sound"])),
        ]

    def alt(self) -> str:
        """Return the picture in words."""
        rows = "; ".join(
            f"{name} draws {DISPLAY[self.system]['air flow'].text(float(side.flow))}"
            for name, side in self.solution.airs.items()
        )
        drawings = "Map of the air through case and radiators, a fan curve, temperatures with limits."
        return f"{drawings} {rows}. {self.headline()}"


def heat(plan: Plan | None = None) -> HeatPanel:
    """Return the heat-and-air panel of a plan, of the chosen one by default."""
    return HeatPanel(mine.chosen().plan if plan is None else plan)
