"""
A plan while it is being written: its text, what is wrong with it, and every change one step back.

The text of the file is the truth; a form field, a button and typing all change the text, and the plan is read
from it anew. So whatever a panel does can be read, compared and mailed as a file.
"""

import codecs
import tomllib
from collections.abc import MutableMapping, MutableSequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import InlineTable

from loopmath import catalogue, mine
from loopmath import loop as tree
from loopmath.checks import InputError, one_of
from loopmath.files import Origin, Saved, is_example, read_text, save_over
from loopmath.plan import LAYOUTS, Plan
from loopmath.planfile import FORWARD, PARTS, plan_of_text
from loopmath.plansave import text_forward, text_of
from loopmath.reader import Problem, Problems, parsed
from loopmath.routes import without
from loopmath.toml_text import Path as Place
from loopmath.toml_text import dotted

#: Steps that can be taken back.
MOST_STEPS = 200
#: What can be added to a loop -> how a person calls it.
KINDS = {
    "run": "run of tube",
    "dead leg": "dead leg (drain, fill)",
    **{kind: kind for kind in PARTS},
    "inline": "in-line part",
}


@dataclass
class Draft:
    """
    A plan file being edited.

    Attributes
    ----------
    origin : Origin
        The file as it was read or last saved.
    text : str
        The file as it would be saved now.
    plan : Plan or None
        What the text says, None while something in it is not accepted.
    problems : list of InputError
        What is not accepted, in the order of the file.
    """

    origin: Origin
    text: str = ""
    plan: Plan | None = None
    problems: list[InputError] = field(default_factory=list)
    steps: list[str] = field(default_factory=list)

    @classmethod
    def opened(cls, path: Path) -> "Draft":
        """Return the draft of a file; InputError if it cannot be read as text at all."""
        draft = cls(read_text(path, "plan file"))
        draft._take(draft.origin.text)
        return draft

    @property
    def changed(self) -> bool:
        """True if it differs from the file."""
        return self.text != self.origin.text

    def _take(self, text: str) -> None:
        self.text = text
        try:
            self.plan, self.problems = plan_of_text(text, self.origin.path), []
        except (Problems, Problem) as fault:
            self.plan, self.problems = None, getattr(fault, "problems", [fault])
        except InputError as fault:
            self.plan, self.problems = None, [fault]

    def write(self, text: str) -> None:
        """Take another text; the file keeps its line ends, which a text field of a browser does not tell."""
        if _windows(self.text) and "\r" not in text:
            text = text.replace("\n", "\r\n")
        if text != self.text:
            self.steps = [*self.steps[-MOST_STEPS:], self.text]
            self._take(text)

    def back(self) -> None:
        """Take the last step back."""
        if self.steps:
            self._take(self.steps.pop())

    def fields(self) -> dict:
        """Return what the text says as plain dicts, in the words of the present version; empty while it is no TOML."""
        document = self._document()
        return FORWARD[document["format"]](document)[0] if _is_old(document) else document

    def _document(self) -> dict:
        try:
            return parsed(Origin(self.origin.path, self.text), "plan file")
        except InputError:
            return {}

    def put(self, place: Place, value: Any, also: dict[Place, Any] | None = None) -> None:
        """
        Set one field to what was typed, right or wrong: the reader says what it makes of it. None takes it out.

        `also` are fields that follow from it, changed in the same step.

        Raises
        ------
        InputError
            If the text is no TOML, or has no room for the field: it is then left as it is.
        """
        # An older version is brought forward in the same step: the place is one of the present version.
        text = text_forward(self.text) if _is_old(self._document()) else self.text
        for where, what in ({place: value} | (also or {})).items():
            text = with_value(text, where, what)
        self.write(text)

    # ---------------------------------------------------------------------------------------------- the order

    def _ready(self) -> Plan:
        if self.plan is None:
            raise InputError("plan", "not readable yet", "a plan with nothing wrong", "Put right what is listed first.")
        return self.plan

    def _rewrite(self, plan: Plan) -> None:
        """Write a changed plan into the text, only where it changed."""
        self.write(text_of(replace(plan, origin=Origin(self.origin.path, self.text))))

    def _reorder(self, items: list) -> None:
        self._rewrite(replace(self._ready(), loop=tree.Series(*items)))

    def order(self) -> list[str]:
        """Return the entries of the flow order in words, numbered."""
        return (
            [f"{n}. {entry_words(item)}" for n, item in enumerate(self.plan.loop.items, start=1)] if self.plan else []
        )

    def move(self, place: int, by: int) -> int:
        """Move an entry of the order earlier (-1) or later (1); return where it is now."""
        items = list(self._ready().loop.items)
        to = min(max(place + by, 0), len(items) - 1)
        items.insert(to, items.pop(place))
        self._reorder(items)
        return to

    def remove(self, place: int) -> None:
        """Take an entry out of the order, and what the file says of it there and elsewhere."""
        plan = self._ready()
        plan = _not_named(plan, list(tree.leaves(plan.loop.items[place])))
        items = list(plan.loop.items)
        del items[place]
        self._rewrite(replace(plan, loop=tree.Series(*items)))

    def add(self, kind: str, name: str, place: int) -> None:
        """Put a new element behind an entry of the order, with the first part of its kind; all of it can be changed."""
        plan = self._ready()
        one_of("kind", kind, KINDS)
        name = name.strip() or _free(kind, plan)
        if name in _taken(plan):
            raise InputError("name", name, "a name not used in this loop yet", "Add a word that tells the two apart.")
        items = list(plan.loop.items)
        items.insert(place + 1, _new(kind, name, plan))
        self._reorder(items)

    def lay_out(self, layout: str) -> None:
        """Lay the blocks in series or in parallel."""
        one_of("layout", layout, LAYOUTS)
        self._rewrite(self._ready().set(layout=layout))

    # ------------------------------------------------------------------------------------------------- saving

    def target(self) -> Path:
        """Return where it would be saved: its own file, for an example a copy among the user's plans."""
        if not is_example(self.origin.path):
            return self.origin.path
        title, before = self._document().get("title"), tomllib.loads(self.origin.text).get("title")
        renamed = isinstance(title, str) and title != before
        name = f"{mine.file_name(title)}.toml" if renamed else self.origin.path.name
        return mine.own_folder() / "plans" / name

    def keep_aside(self) -> Saved:
        """Save the text into a file of its own beside where it would be saved: a good file is not written over."""
        target = self.target()
        return save_over(target.with_name(f"{target.stem}-unsaved.toml"), self.text, None, "plan file")

    def save(self) -> Saved:
        """Save the text, whatever is wrong with it, and choose it as the plan every page opens."""
        path = self.target()
        known = self.origin if path == self.origin.path else None
        mark = codecs.BOM_UTF8.decode() if self.origin.marked else ""
        saved = save_over(path, mark + self.text, known, "plan file")
        self.origin = read_text(saved.path, "plan file")
        mine.choose(saved.path)
        return saved


def entry_words(item: Any) -> str:
    """Return an entry of the flow order in a few words."""
    if isinstance(item, tree.Parallel):
        branches = (" + ".join(e.name for e in tree.leaves(b) if not isinstance(e, tree.Run)) for b in item.branches)
        return f"in parallel: {' | '.join(branches)}"
    if isinstance(item, (tree.Run, tree.DeadLeg)):
        return f"{item.kind} “{item.name}”, {1e3 * item.length:.0f} mm"
    return item.name if item.name == item.kind else f"{item.name} ({item.kind})"


def _taken(plan: Plan) -> set[str]:
    return {thing.name for thing in (*tree.leaves(plan.loop), *plan.case_fans, *plan.on_air)}


def _not_named(plan: Plan, going: list[tree.Element]) -> Plan:
    """
    Return a plan where nothing names what is to go.

    A radiator behind it draws the air that one draws; no header feeds it and no speed curve drives it. A curve that
    would drive nothing, or follows what is to go, goes too: its points mean nothing for another sensor. The route of a
    run goes with it.
    """
    airs = {e.name: e.air for e in going if isinstance(e, tree.RadiatorUnit)}
    names = {e.name for e in going}

    def change(leaf: tree.Element) -> tree.Element:
        air = before = getattr(leaf, "air", "")
        while air in airs:
            air = airs[air]
        return leaf if air == before else replace(leaf, air=air)

    def left(named: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(name for name in named if name not in names)

    headers = [replace(h, feeds=left(h.feeds)) for h in plan.headers]
    curves = [replace(c, drives=left(c.drives)) for c in plan.speed_curves if c.sensor not in names and left(c.drives)]
    # Ports and boxes stay where they are: what leaves the loop may go on standing in the case.
    ports, boxes = (tuple(replace(x, of="") if x.of in names else x for x in xs) for xs in (plan.ports, plan.boxes))
    plan = replace(plan, headers=tuple(headers), speed_curves=tuple(curves), ports=ports, boxes=boxes)
    return replace(plan.with_loop(change), routes=without(plan.routes, names))


def _free(kind: str, plan: Plan) -> str:
    """Return a name for a new element that nothing in the plan has."""
    taken, number = _taken(plan), 2
    base = {"inline": "in-line part"}.get(kind, kind)
    if base not in taken:
        return base
    while f"{base} {number}" in taken:
        number += 1
    return f"{base} {number}"


def _new(kind: str, name: str, plan: Plan) -> tree.Element:
    """Return a new element with ordinary numbers."""
    if kind in ("run", "dead leg"):
        runs = plan.units(tree.Run)
        tube = plan.tube or (runs[0].tube if runs else catalogue.part("tube", catalogue.names("tube")[0]))
        if kind == "run":
            return tree.Run(name, tube, 0.3, fitting_metal=plan.fitting_metal)
        return tree.DeadLeg(name, tube, 0.1, "drain")
    part = catalogue.part(kind, catalogue.names(kind)[0])
    if kind == "block":
        return tree.Source(name, part, 100.0)
    if kind == "radiator":
        return tree.RadiatorUnit(name, part, catalogue.fan_of_size(None, part.fan_size), 0.6)
    return PARTS[kind][0](name, part)


def _is_old(document: dict) -> bool:
    """Return True if a document is of an older version that can be brought forward."""
    version = document.get("format")
    return type(version) is int and version in FORWARD


def _windows(text: str) -> bool:
    """Return True if every line of a text ends as on Windows."""
    return "\r\n" in text and "\n" not in text.replace("\r\n", "")


def with_value(text: str, place: Place, value: Any) -> str:
    """
    Return the text of a document with one field set to what a person typed; None takes the field out.

    Tables on the way that are not there are added; everything else stays as it was.

    Raises
    ------
    InputError
        If the text is no TOML, or something else stands where a table is needed.
    """
    windows = _windows(text)
    try:
        document = tomlkit.parse(text.replace("\r\n", "\n") if windows else text)
        out = tomlkit.dumps(document) if _set(document, place, value) else text
    except TOMLKitError as fault:
        remedy = f"Put it right in the file first. The reader says: {fault}."
        raise InputError(dotted(place), value, "a file that is a TOML document", remedy) from None
    return out.replace("\n", "\r\n") if windows and out is not text else out


def _set(document: Any, place: Place, value: Any) -> bool:
    """Set one field of a document; return whether that changed anything."""
    holder, key = document, place[-1]
    for number, step in enumerate(place[:-1], start=1):
        listed = isinstance(step, int) and isinstance(holder, MutableSequence) and step < len(holder)
        if not listed and step not in holder:
            if value is None:
                return False
            holder[step] = tomlkit.inline_table() if isinstance(holder, InlineTable) else tomlkit.table()
        holder = holder[step]
        lists = isinstance(place[number], int) and isinstance(holder, MutableSequence)
        if not lists and not isinstance(holder, MutableMapping):
            accepted = "a table of lines KEY = VALUE"
            raise InputError(dotted(place[:number]), holder.unwrap(), accepted, "Put it right in the file first.")
    if value is None and key not in holder or key in holder and holder[key] == value:
        return False
    if value is None:
        del holder[key]
    else:
        holder[key] = value
    return True
