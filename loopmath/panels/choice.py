"""The panel of what to cool: which parts go into the loop, in which order, and which lessons of layout matter."""

from html import escape
from typing import Any

import ipywidgets as widgets
from matplotlib.figure import Figure

from loopmath import choice_figures, choice_words, mine
from loopmath import loop as tree
from loopmath.choice_words import BALANCED, COOL, GAIN, KNEE, LESSONS, ORDER, SPLIT, Told
from loopmath.panels import page
from loopmath.panels.live import LivePanel
from loopmath.plan import BALANCE, GIVEN, Plan
from loopmath.units import DISPLAY

#: Lessons that take longer than about 150 ms: they answer when a slider is let go.
SLOW = (COOL, ORDER, KNEE)
#: So many parts have a slider of their heat: the warmest ones.
HEATED = 5
WHILE, LET_GO, BUSY = "answers while you slide", "answers when you let go", "computing …"
#: How the row of the plan itself begins in a table.
OWN = '<tr style="background:#EEF4F8"><th>▶ '
POWER_SUPPLY = (
    "A power supply is not offered: opened, it can kill with stored mains voltage, long after it was unplugged."
)


class ChoicePanel(LivePanel):
    """The live panel of what to cool, of order and of layout over one plan."""

    anew = (":lesson",)
    classes = ("glance-choice",)

    def groups(self) -> list[tuple[str, list]]:
        """Return the controls under their titles."""
        plan = self.plan
        self.lesson = self._choice(":lesson", "", list(LESSONS), LESSONS[0], widgets.Dropdown)
        self.lesson.tooltip = "What the drawing and the table compare"
        self.pace = widgets.HTML()
        speeds = [self._slider("pump_speed", "Pump, %", 0, 100, 100 * plan.units(tree.PumpUnit)[0].speed, 0.01)]
        if any(u.fan is not None for u in plan.units(tree.RadiatorUnit)):
            speeds.append(
                self._slider("fan_speed", "Radiator fans, %", 0, 100, 100 * choice_words.fans_now(plan), 0.01)
            )
        if plan.case_fans:
            speeds.append(self._slider("case_fan_speed", "Case fans, %", 0, 100, 100 * plan.case_fans[0].speed, 0.01))
        room = [self._room_slider(), self._slider("case_heat", "Other heat, W", 0, 300, plan.case_heat)]
        parts = sorted(plan.components, key=lambda part: -float(part.heat))[:HEATED]
        heat = [
            self._slider(f"{p.name}.heat", f"{_short(p.name)}, W", 0, 600 if float(p.heat) > 30 else 60, p.heat)
            for p in parts
        ]
        self._set_pace()
        return [("Lesson", [self.lesson, self.pace]), ("Speeds", speeds), ("Room and case", room),
                ("Heat of the parts", heat)]  # fmt: skip

    def _set_pace(self) -> None:
        """Let the sliders of a slow lesson answer when they are let go."""
        slow = self.own("lesson") in SLOW
        self._tell(LET_GO if slow else WHILE)
        for control in self.controls:
            if isinstance(control.widget, widgets.IntSlider):
                control.widget.continuous_update = not slow

    def _tell(self, words: str) -> None:
        self.pace.value = f'<span class="gl-why" style="font-weight:normal">{words}</span>'

    def followed(self, setting: str, value: Any) -> None:
        """Change the pace with the lesson, and say that a slow one is being worked out."""
        if setting == ":lesson":
            self._set_pace()
        if self.own("lesson") in SLOW:
            self._tell(BUSY)

    def answer(self, plan: Plan) -> Told:
        """Return the lesson worked out for a plan."""
        return choice_words.told(self.own("lesson"), plan)

    def drawn(self) -> tuple[Figure, list]:
        """Return the drawings of the lesson."""
        figure, self.shown = Figure(), self._kind()
        return figure, choice_figures.pictures(figure, self.solution, self.system)

    def _kind(self) -> tuple:
        return self.solution.lesson, bool(self.solution.refused)

    def _draw(self) -> None:
        """Put the answer on the screen; where it needs another kind of drawing, that is made first."""
        if self.live is not None and self._kind() != self.shown:
            self._draw_anew()
            return
        super()._draw()
        if self.live is not None and len(self.live.moving) != sum(len(p.moving) for p in self.pictures):
            self._draw_anew()
        self._set_pace()

    def headline(self) -> str:
        """Return what the lesson teaches of this plan."""
        return choice_words.sentence(self.solution, self.system)

    def figures(self) -> list[tuple[str, str]]:
        """Return the readouts of the plan as the sliders have it."""
        units, s, plan = DISPLAY[self.system], self.solution.solution.state, self.solution.plan
        parts = plan.components
        how = "balanced" if plan.case_air_by == BALANCE else "as given"
        return [
            ("flow as set", units["flow"].text(s["flow"])),
            ("coolant over room", units["difference"].text(s["coolant_over_room"])),
            (f"case air, {how}", units["temperature"].text(s["case_air"])),
            *((p.name, units["temperature"].text(s[p.name])) for p in parts[:5]),
            ("sound", units["sound"].text(s["sound"])),
        ]

    def below(self) -> str:
        """Return the numbers of the lesson as a table."""
        table = choice_words.table(self.solution, self.system)
        head = "".join(f"<th>{escape(words)}</th>" for words in table.heads)
        body = "".join(
            f"{OWN if own else '<tr><th>'}{page.unbroken(escape(name))}</th>"
            + "".join(f"<td>{page.unbroken(escape(cell))}</td>" for cell in cells)
            + "</tr>"
            for name, cells, own in table.rows
        )
        rows = f"<table><tr>{head}</tr>{body}</table>" if table.heads else ""
        return (
            f'<div class="gl-warn gl-kept gl-rows" tabindex="0" aria-label="Numbers of the lesson">{rows}'
            f'<div class="gl-why">{escape(self._remarks())}</div></div>'
        )

    def _remarks(self) -> str:
        """Return what to know besides the numbers."""
        lesson, said = self.own("lesson"), []
        if lesson in BALANCED and self.plan.case_air_by == GIVEN:
            given = DISPLAY[self.system]["temperature"].text(float(self.planned().case_air))
            said.append(
                f"The plan gives its case air, {given}. This lesson balances it, so the coolant may differ from the "
                "first page."
            )
        if lesson in (COOL, GAIN):
            said.append(POWER_SUPPLY)
        if lesson == SPLIT:
            said.append(
                "Here a radiator in room air blows into the case, and one in case air out of it, whatever the plan has."
            )
        if lesson == COOL and self.solution.result is not None:
            left = self.solution.result.attrs.get("left as planned", [])
            said += [f"Left as planned, for there are too many to combine: {', '.join(left)}."] if left else []
        if lesson == GAIN and self.solution.result is not None:
            heed = self.solution.result["caution"]
            said += [f"{name[:1].upper()}{name[1:]}: {words}" for name, words in heed.items() if words]
        return " ".join(said)

    def alt(self) -> str:
        """Return the drawing in words."""
        return choice_words.alt(self.solution, self.system)


def choice(plan: Plan | None = None) -> ChoicePanel:
    """Return the panel of what to cool of a plan, of the chosen one by default."""
    return ChoicePanel(mine.chosen().plan if plan is None else plan)


def _short(name: str) -> str:
    word = name if len(name) <= 12 else max(name.split(), key=len)[:12]
    return word[:1].upper() + word[1:]
