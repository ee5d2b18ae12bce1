"""A plan back into its file: what the file is to say, and only that much of the text changed."""

import os
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from loopmath import catalogue
from loopmath import loop as tree
from loopmath.case import CaseFans
from loopmath.checks import InputError
from loopmath.files import Origin, Saved, is_example, read_text, save_over
from loopmath.plan import Plan
from loopmath.planfile import (
    ANY_PART,
    BESIDE,
    FITTING_METAL,
    FORMAT,
    FORWARD,
    PARTS,
    SECTIONS,
    TUBES,
    Field,
    fan_name,
    read_plan,
)
from loopmath.reader import parsed
from loopmath.toml_text import LISTS, Leaf, changed, places

#: How a plan that never was a file begins.
START = """# A loop plan. Quantities carry their units; lines that start with # are yours.
"""


def text_forward(text: str) -> str:
    """Return the text of a file of an older version in the present one, its comments kept."""
    document = parsed(Origin(text=text), "plan file")
    if document["format"] == FORMAT:
        return text
    where = places(text)
    _, renamed = FORWARD[document["format"]](document)
    spans = [(where[old], new[-1]) for new, old in renamed.items() if old in where]
    for (start, stop), key in sorted(spans, reverse=True):
        text = text[:start] + key + text[stop:]
    return changed(text, {"format": Leaf(document["format"], "count")}, {"format": Leaf(FORMAT, "count")})


# --------------------------------------------------------------------------------------------------- writing


def described(plan: Plan) -> dict:
    """
    Return all that a plan's file says, as nested dicts and lists of `Leaf`: two plans that say the same are equal here.

    Raises
    ------
    InputError
        If the plan holds an array of designs, or a part that only Python knows.
    """
    return _Description(plan).whole()


class _Description:
    """What a plan's file says."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.parts: dict[str, dict] = {}
        #: Parts that are in no table of data/, by kind and name.
        self.own: dict[str, dict[str, Any]] = {}

    def whole(self) -> dict:
        plan = self.plan
        out: dict[str, Any] = {"format": Leaf(FORMAT, "count")}
        for section, lines in SECTIONS.items():
            values = _leaves(plan, lines)
            if section == "coolant":
                values["kind"] = Leaf(plan.coolant.name)
            if section == "tube" and plan.tube is not None:
                values = self.reference("tube", plan.tube) | values
            out |= {section: values} if section else values
        order = [self.item(item) for item in tree.flat(plan.loop)]
        out |= {group: self.beside(group) for group in BESIDE}
        data = {
            kind: {name: catalogue.described(kind, record) for name, record in inner.items()}
            for kind, inner in self.own.items()
        }
        return out | {"part_data": data, "parts": self.parts, "loop": {"order": order}}

    def reference(self, kind: str, record: Any, own_name: str = "") -> dict:
        """Return how a file names a part; one that is not in data/ is described in `own`, or on the spot."""
        base = catalogue.shipped(kind, record.name)
        if base is None and record.name == own_name:
            return {"part": Leaf(None)} | catalogue.described(kind, record)
        if base is None:
            base = self.own.setdefault(kind, {}).setdefault(record.name, record)
        return {"part": Leaf(record.name)} | catalogue.described(kind, record, base)

    def item(self, item: Any) -> Any:
        """Return how the flow order names an element; what is more to say of a part goes into `parts`."""
        if isinstance(item, tree.Parallel):
            return {"parallel": [[self.item(i) for i in tree.flat(b)] for b in item.branches]}
        item = tree.as_counted(item)
        for key, (made, lines) in TUBES.items():
            if type(item) is made:
                return {key: Leaf(item.name)} | self.tube(item) | _leaves(item, lines, self.plan)
        kind = next((k for k, (made, _) in PARTS.items() if type(item) is made), None)
        if kind is None:
            name = type(item).__name__
            raise InputError(item.name, name, "an element a plan file knows", "Give it as a part in the line.")
        out = {"kind": Leaf(kind)} | self.reference(kind, getattr(item, kind), item.name)
        values = _leaves(item, (*PARTS[kind][1], *ANY_PART))
        if kind == "radiator":
            out["fan"] = self.fan(item)
            if item.fan is None:  # the file says so by giving the air, also where that is none
                values["air_flow_each"] = replace(values["air_flow_each"], default=None)
        self.parts[item.name] = out | values
        return item.name

    def beside(self, group: str) -> dict:
        """Return the tables of a group beside the loop."""
        items = getattr(self.plan, group)
        names = [item.name for item in items]
        if len(set(names)) < len(names):
            raise InputError(group, names, "each name once", "Give each a name of its own.")
        fans = {item.name: {"fan": self.fan(item)} if isinstance(item, CaseFans) else {} for item in items}
        return {item.name: fans[item.name] | _leaves(item, BESIDE[group][1]) for item in items}

    def tube(self, item: Any) -> dict:
        """Return how a run or dead leg names its tube: not at all if it is that of the plan."""
        own, usual = self.plan.tube, self.reference("tube", item.tube)
        return {} if own is not None and usual == self.reference("tube", own) else usual

    def fan(self, item: tree.RadiatorUnit | CaseFans) -> Any:
        """Return how a radiator or fans of the case name their fan: by its name alone if it is one as it is listed."""
        if item.fan is None:
            return Leaf(None)
        fan = self.reference("fan", item.fan, fan_name(item.name))
        changed_too = any(leaf.value != leaf.default for key, leaf in fan.items() if key != "part")
        return fan if changed_too or fan["part"].value is None else fan["part"]


def _leaves(record: Any, lines: Iterable[Field], plan: Plan | None = None) -> dict[str, Leaf]:
    """Return lines of a file; a run's fittings are by default what the plan says."""
    out = {}
    for line in lines:
        value, default = line.of(record), line.default
        if line.kind not in ("text", "texts", "truth", "position", *LISTS) and value is not None:
            if np.ndim(value):
                raise InputError(line.name, "an array", "one value", "Save one design at a time.")
            value = float(value)
        if line is FITTING_METAL and plan is not None:
            default = plan.fitting_metal
        out[line.key] = Leaf(value, line.kind, default)
    return out


def _in_text(document: dict, said: dict, new: dict) -> tuple[dict, dict]:
    """
    Return what a text says and what it is to say, as far as its descriptions of parts are to be touched.

    Parts it only names are not described there yet. One that is used no more stays, unless data/ has one of its name.
    """
    there, old_data, new_data = document.get("part_data", {}), {}, dict(new["part_data"])
    for kind, inner in there.items():
        new_data.setdefault(kind, {})
        known = said["part_data"].get(kind, {})
        touched = [name for name in inner if name in new_data[kind] or catalogue.shipped(kind, name) is not None]
        old_data[kind] = {name: known.get(name, {}) for name in touched}
    return said | {"part_data": old_data}, new | {"part_data": new_data}


def text_of(plan: Plan) -> str:
    """Return the plan as the text of its file: that of its origin with only what changed changed."""
    new = described(plan)
    if plan.origin is None:
        return _agreed(changed(START, {}, new), new)
    text = plan.origin.text
    document = parsed(plan.origin, "plan file")
    try:
        old = described(read_plan(document, plan.origin))
    except InputError:  # a part it names is gone from the user's own since it was read
        return _agreed(changed(text_forward(text), {}, new), new)
    there = document.get("part_data", {})
    if old == new and all(name in there.get(kind, {}) for kind, inner in new["part_data"].items() for name in inner):
        return text
    return _agreed(changed(text_forward(text), *_in_text(document, old, new)), new)


def _agreed(text: str, new: dict) -> str:
    """
    Return a text that says a plan and nothing else.

    A line that meant nothing while it said what holds anyway may mean something after a change beside it; so what
    was written is read back, and what still differs is set right.
    """
    for _ in range(3):
        document = parsed(Origin(text=text), "plan file")
        said = described(read_plan(document, Origin(text=text)))
        if said == new:
            return text
        # Every line is looked at, whether it differs or not; only the order is known again entry by entry.
        text = changed(text, {"loop": said["loop"]}, new)
    raise InputError("plan", "as it is", "a plan that a file can hold", "Save it to a new file.")


def save_plan(plan: Plan, path: str | Path | None = None) -> Saved:
    """
    Write a plan into its file, or another.

    Only what changed is changed: comments, order, units and notes stay. The file is written whole or not at all.

    Parameters
    ----------
    plan : Plan
        One design.
    path : str or Path, optional
        By default the file it was read from.

    Returns
    -------
    saved : Saved
        `saved.path` is where it went: if the file was changed on disk since it was read, or another file stood
        in the way, that is left alone and a second one beside it takes the plan; `saved.words` says so.

    Raises
    ------
    InputError
        If there is no path to go to or it is an example's, the folder cannot be written to, or the plan cannot be
        written down.
    """
    if path is None and plan.origin is None:
        raise InputError("path", "none", "a path", "This plan was not read from a file; say where it should go.")
    if path is None and is_example(plan.origin.path):
        raise InputError("path", str(plan.origin.path), "a path of your own", "Examples are never written.")
    path = Path(path) if path is not None else plan.origin.path
    text, own = text_of(plan), None
    if plan.origin is not None:
        own = plan.origin if os.path.realpath(path) == os.path.realpath(plan.origin.path) else None
        text = ("\ufeff" if plan.origin.marked else "") + text
    return save_over(path, text, own, "plan file")


def reloaded(plan: Plan, saved: Saved) -> Plan:
    """Return the plan with its origin where it was saved, so that the next save goes there."""
    return replace(plan, origin=read_text(saved.path, "plan file"))
