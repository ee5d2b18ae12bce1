"""
A user's plan file: one TOML document in, one plan out, every problem told at once; and back into the file.

What a document may hold stands once, in `SECTIONS` and `PARTS`; it is read and written from there.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from loopmath import catalogue, tables
from loopmath import loop as tree
from loopmath.checks import InputError, one_of
from loopmath.files import Origin, Saved, read_text, save_over
from loopmath.laws import coolant as coolants
from loopmath.plan import Plan
from loopmath.reader import NEEDED, Reader, kinds_of, parsed
from loopmath.toml_text import Leaf, changed, line_of

#: The version of plan files this package writes; older ones are brought forward when they are read.
FORMAT = 2
#: How a plan that never was a file begins.
START = """# A loop plan. Quantities carry their units; lines that start with # are yours.
"""


@dataclass(frozen=True)
class Field:
    """A line of the file: its key, its kind of quantity, what it is if left out, the attribute it becomes."""

    key: str
    kind: str = "text"
    default: Any = NEEDED
    attribute: str = ""

    @property
    def name(self) -> str:
        """Return the attribute it becomes."""
        return self.attribute or self.key


#: Table of the file -> its lines; "" is the top.
SECTIONS: dict[str, tuple[Field, ...]] = {
    "": (Field("title", default="Untitled plan"), Field("notes", default="")),
    "room": (
        Field("air", "temperature", attribute="room_air"),
        Field("height", "length", 0.0),
        Field("listener", "length", 1.0),
    ),
    "case": (Field("air_over_room", "difference", 5.0, "case_air_over_room"),),
    "coolant": (
        Field("kind", attribute="coolant"),
        Field("price_per_litre", "count", None, "coolant_price"),
        Field("also_wetted", "texts", ()),
    ),
    "limits": (
        Field("coolant", "temperature", 45.0, "coolant_limit"),
        Field("sound", "sound", 40.0, "sound_limit"),
        Field("money", "count", None, "money_limit"),
        Field("currency", default=""),
    ),
    "tube": (Field("fitting_metal", default="nickel plate"),),
}
#: Kind of part -> element of the loop, and the lines that say how the part is used.
PARTS: dict[str, tuple[type, tuple[Field, ...]]] = {
    "pump": (tree.PumpUnit, (Field("speed", "share", 1.0),)),
    "block": (
        tree.Source,
        (
            Field("typical_heat", "power", attribute="heat"),
            Field("peak_heat", "power", None),
            Field("limit", "temperature", 90.0),
        ),
    ),
    "radiator": (
        tree.RadiatorUnit,
        (
            Field("fan_speed", "share", 1.0),
            Field("fans_in_series", "count", 1.0),
            Field("air", default="room"),
            Field("air_flow_each", "air flow", 0.0),
            Field("filter_loss", "count", 0.0),
        ),
    ),
    "reservoir": (tree.Tank, ()),
    "fitting": (tree.Fittings, (Field("count", "count", 1.0),)),
    "inline": (tree.InlineUnit, ()),
}
#: Lines that any part may have.
ANY_PART = (Field("position", "position", None), Field("note", default=""))
RUN = (
    Field("length", "length"),
    Field("bends", "count", 0.0),
    Field("fittings", "count", 0.0),
    Field("ends", "count", 2.0),
)
DEAD_LEG = (Field("length", "length"), Field("purpose", default="other"))


def demo_plan() -> Plan:
    """Return the demo: a machine in a podcast booth, all parts invented."""
    return load_plan(tables.DATA / "plans" / "podcast_booth.toml")


# --------------------------------------------------------------------------------------------------- reading


def load_plan(path: str | Path) -> Plan:
    """
    Read a plan file.

    Parameters
    ----------
    path : str or Path
        A TOML file, UTF-8; data/plans/podcast_booth.toml is a commented example.

    Returns
    -------
    plan : Plan
        With `origin`, so that it can be saved back into its file.

    Raises
    ------
    InputError
        If the file cannot be read, or holds anything that is not accepted. The message lists every
        problem with its line and its place in the file.
    """
    origin = read_text(path, "plan file")
    return read_plan(parsed(origin, "plan file"), origin)


def plan_of_text(text: str, path: Path) -> Plan:
    """Return the plan a text describes that has not been saved yet; see `load_plan` for what is raised."""
    origin = Origin(path, text, "")
    return read_plan(parsed(origin, "plan file"), origin)


def read_plan(document: dict, origin: Origin | None = None) -> Plan:
    """Return the plan a TOML document describes; see `load_plan` for what is raised."""
    read = Reader()
    version = document.get("format", "missing")
    if type(version) is not int or version not in (*FORWARD, FORMAT):
        accepted = f"{FORMAT}, or an older one: {', '.join(map(str, FORWARD))}"
        read.note(("format",), version, accepted, "This package reads those versions of plan files.")
    elif version < FORMAT:
        document = FORWARD[version](document)
    read.known(document, (), ("format", "parts", "part_data", "loop", "title", "notes", *SECTIONS))
    values, places = {}, {"loop": ("loop", "order")}
    for section, lines in SECTIONS.items():
        place = (section,) if section else ()
        table = read.table(document.get(section, {}), place) if section else document
        if section:
            known = kinds_of(catalogue.CATALOGUE["tube"][1]) if section == "tube" else ()
            read.known(table, place, [*(f.key for f in lines), *(("part",) if section == "tube" else ()), *known])
        for line in lines:
            values[line.name] = read.value(table, place, line.key, line.kind, line.default)
            places[line.name] = (*place, line.key)
    lookup = _Lookup(read, read.table(document.get("part_data", {}), ("part_data",)))
    tube_table = read.table(document.get("tube", {}), ("tube",))
    runs = any("part" not in e for e in _entries(document) if isinstance(e, dict) and "parallel" not in e)
    tube = lookup.part("tube", tube_table, ("tube",), "") if tube_table or runs else None
    values["coolant"] = (
        read.tried(places["coolant"], coolants.coolant, values["coolant"]) if values["coolant"] else None
    )
    metals = tables.by_name("metals.csv")
    for number, metal in enumerate(values["also_wetted"] or ()):
        read.tried((*places["also_wetted"], number), one_of, "", metal, metals)
    if values["fitting_metal"]:
        read.tried(places["fitting_metal"], one_of, "", values["fitting_metal"], metals)
    described = read.table(document.get("parts", {}), ("parts",))
    elements = {
        name: _element(lookup, name, read.table(t, ("parts", name)), ("parts", name)) for name, t in described.items()
    }
    loop_table = read.table(document.get("loop", {}), ("loop",))
    read.known(loop_table, ("loop",), ("order",))
    used: list[str] = []
    fresh = _Order(lookup, elements, tube, values["fitting_metal"], used)
    items = fresh.items(loop_table.get("order", []), ("loop", "order"))
    for name in elements:
        if name not in used:
            remedy = "Name it in loop.order or remove the part."
            read.note(("parts", name), "not in loop.order", "a place in the flow order", remedy)
    plan = None
    if not read.problems:
        plan = read.built(Plan, (), places, loop=tree.Series(*items), tube=tube, origin=origin, **values)
    read.done("plan", origin.text if origin else "")
    return plan


def _entries(document: dict) -> list:
    """Return the entries of the flow order, those inside of branches included, whatever their type."""
    loop = document.get("loop")
    todo, out = [loop.get("order")] if isinstance(loop, dict) else [], []
    while todo:
        value = todo.pop()
        if isinstance(value, list):
            todo += value
        else:
            out.append(value)
            if isinstance(value, dict) and "parallel" in value:
                todo.append(value["parallel"])
    return out


class _Lookup:
    """Finds the parts a plan names: in its own [part_data], among the user's own, in data/."""

    def __init__(self, read: Reader, part_data: dict) -> None:
        self.read = read
        self.own = catalogue.read_parts(read, part_data, ("part_data",))

    def part(self, kind: str, table: dict, place: tuple, name: str, key: str = "part") -> Any:
        """
        Return the part that `table[key]` names, with those of its fields changed that the table gives.

        Without that key, the table is to describe a part of its own, called `name`.
        """
        if key not in table and name and any(f in table for f in kinds_of(catalogue.CATALOGUE[kind][1])):
            return catalogue.read_record(self.read, kind, name, table, place)
        value = self.read.value(table, place, key, "text")
        if value is None:
            return None
        base = self.own.get((kind, value)) or self.read.tried((*place, key), self._catalogue, kind, value)
        return None if base is None else catalogue.read_record(self.read, kind, value, table, place, base)

    def _catalogue(self, kind: str, name: str) -> Any:
        own = [n for k, n in self.own if k == kind]
        one_of(
            "", name, [*own, *catalogue.names(kind)], "The catalogue is in data/; your own parts are listed with it."
        )
        return catalogue.part(kind, name)


def _element(lookup: _Lookup, name: str, table: dict, place: tuple) -> Any:
    """Return the element a table of [parts] describes, None if it cannot be read."""
    read = lookup.read
    kind = read.value(table, place, "kind", "text")
    if kind is None or read.tried((*place, "kind"), one_of, "", kind, PARTS) is None:
        return None
    made, lines = PARTS[kind]
    lines = (*lines, *ANY_PART)
    fields = kinds_of(catalogue.CATALOGUE[kind][1])
    read.known(
        table, place, ("kind", "part", *(("fan",) if kind == "radiator" else ()), *(f.key for f in lines), *fields)
    )
    values = {f.name: read.value(table, place, f.key, f.kind, f.default) for f in lines}
    part = lookup.part(kind, table, place, name)
    if kind == "radiator":
        fan = values["fan"] = _fan(lookup, table, place)
        if fan is not None and part is not None and abs(fan.size - part.fan_size) > 1e-6:
            read.note((*place, "fan"), fan.name, f"a fan of {1e3 * part.fan_size:.0f} mm")
        if fan is None and "fan" in table:
            return None
    keys = {f.name: (f.key,) for f in lines}
    return read.built(made, place, keys, name=name, **{kind: part}, **values)


def _fan(lookup: _Lookup, table: dict, place: tuple) -> Any:
    """Return the fan of a radiator: named, or named with some of its numbers changed; None if air is given instead."""
    if isinstance(table.get("fan"), dict):
        here = (*place, "fan")
        lookup.read.known(table["fan"], here, ("part", *kinds_of(catalogue.CATALOGUE["fan"][1])))
        return lookup.part("fan", table["fan"], here, f"{place[-1]} fan")
    if "fan" not in table and table.get("air_flow_each"):
        return None
    name = lookup.read.value(table, place, "fan", "text")
    return (
        None
        if name is None
        else lookup.part("fan", {"part": name}, place, "")
        if _known_fan(lookup, name, place)
        else None
    )


def _known_fan(lookup: _Lookup, name: str, place: tuple) -> bool:
    if ("fan", name) in lookup.own:
        return True
    return lookup.read.tried((*place, "fan"), lookup._catalogue, "fan", name) is not None


class _Order:
    """Turns the flow order of a file into elements."""

    def __init__(self, lookup: _Lookup, elements: dict, tube: Any, fitting_metal: Any, used: list) -> None:
        self.lookup, self.read = lookup, lookup.read
        self.elements, self.tube, self.fitting_metal, self.used = elements, tube, fitting_metal, used

    def items(self, order: Any, place: tuple) -> list:
        """Return the elements of a flow order."""
        if not isinstance(order, list) or not order:
            self.read.note(place, order, "a list of elements in flow order")
            return []
        found = (self.item(entry, (*place, n)) for n, entry in enumerate(order))
        return [item for item in found if item is not None]

    def item(self, entry: Any, here: tuple) -> Any:
        """Return one element or parallel group."""
        if isinstance(entry, str):
            remedy = "Parts are described in [parts.NAME]."
            if self.read.tried(here, one_of, "", entry, self.elements, remedy) is None:
                return None
            if entry in self.used:
                self.read.note(
                    here, entry, "each name once", "Describe a second part of this kind under a name of its own."
                )
            self.used.append(entry)
            return self.elements[entry]
        kinds = [k for k in ("run", "dead_leg", "parallel") if isinstance(entry, dict) and k in entry]
        if len(kinds) != 1:
            return self.read.note(here, entry, "a part's name, or one of: a run, a dead_leg, a parallel group")
        return self.group(entry, here) if kinds[0] == "parallel" else self.tube_entry(kinds[0], entry, here)

    def group(self, entry: dict, here: tuple) -> Any:
        """Return the parallel group an entry describes."""
        self.read.known(entry, here, ("parallel",))
        place = (*here, "parallel")
        branches = entry["parallel"] if isinstance(entry["parallel"], list) else []
        inner = [self.items(b, (*place, i)) for i, b in enumerate(branches)]
        return self.read.tried(place, lambda: tree.Parallel(*(tree.Series(*b) for b in inner)))

    def tube_entry(self, kind: str, entry: dict, here: tuple) -> Any:
        """Return the run or dead leg an entry describes."""
        lines = RUN if kind == "run" else DEAD_LEG
        own = kinds_of(catalogue.CATALOGUE["tube"][1])
        beside = ("fitting_metal",) if kind == "run" else ()
        if kind == "dead_leg" and "order" in entry:
            self.read.note((*here, "order"), entry["order"], "no elements", "Nothing flows through a dead leg.")
            entry = {key: value for key, value in entry.items() if key != "order"}
        self.read.known(entry, here, (kind, "part", *(f.key for f in lines), *beside, *own))
        values = {f.name: self.read.value(entry, here, f.key, f.kind, f.default) for f in lines}
        values["note"] = self.read.value(entry, here, "note", "text", "")
        tube = self.tube
        if "part" in entry:
            tube = self.lookup.part("tube", entry, here, "")
        elif tube is not None and any(key in entry for key in own):
            tube = catalogue.read_record(self.read, "tube", tube.name, entry, here, tube)
        if kind == "dead_leg":
            return self.read.built(
                tree.DeadLeg, here, name=self.read.value(entry, here, kind, "text"), tube=tube, **values
            )
        metal = self.read.value(entry, here, "fitting_metal", "text", self.fitting_metal)
        if metal:
            self.read.tried((*here, "fitting_metal"), one_of, "", metal, tables.by_name("metals.csv"))
        name = self.read.value(entry, here, kind, "text")
        return self.read.built(tree.Run, here, name=name, tube=tube, fitting_metal=metal, **values)


# ------------------------------------------------------------------------------------------ older versions


def _forward_from_1(document: dict) -> dict:
    """Version 1 knew one heat of a block, and called it `heat`; it is the typical one now."""
    parts = document.get("parts")
    if not isinstance(parts, dict):
        return document
    renamed = {
        name: {"typical_heat" if key == "heat" else key: value for key, value in part.items()}
        if isinstance(part, dict) and part.get("kind") == "block"
        else part
        for name, part in parts.items()
    }
    return document | {"format": 2, "parts": renamed}


#: Older version -> what makes the next one of it.
FORWARD: dict[int, Callable[[dict], dict]] = {1: _forward_from_1}


def _text_forward(text: str, plan: Plan) -> str:
    """Return the text of a file of an older version in the present one, its comments kept."""
    origin = Origin(Path(), text, "")
    if parsed(origin, "plan file").get("format") != 1:
        return text
    lines = text.split("\n")
    for unit in plan.units(tree.Source):
        if (line := line_of(text, ("parts", unit.name, "heat"))) is not None:
            lines[line - 1] = re.sub(r"(?<![\w-])heat(\s*=)", r"typical_heat\1", lines[line - 1], count=1)
    line = line_of(text, ("format",))
    lines[line - 1] = re.sub(r"=\s*1", f"= {FORMAT}", lines[line - 1], count=1)
    return "\n".join(lines)


# --------------------------------------------------------------------------------------------------- writing


def described(plan: Plan) -> dict:
    """
    Return all that a plan's file says, as nested dicts and lists of `Leaf`: two plans that say the same are equal here.

    Raises
    ------
    InputError
        If the plan holds an array of designs, or a part that only Python knows.
    """
    out: dict[str, Any] = {"format": Leaf(FORMAT, "count")}
    for section, lines in SECTIONS.items():
        values = {f.key: Leaf(_plain(plan, f), f.kind, f.default) for f in lines}
        if section == "coolant":
            values["kind"] = Leaf(plan.coolant.name)
        if section:
            out[section] = values
        else:
            out |= values
    data: dict[str, dict] = {}
    if plan.tube is not None:
        out["tube"] = _reference("tube", plan.tube, data) | out["tube"]
    parts: dict[str, dict] = {}
    order = [_described_item(item, plan, parts, data) for item in _flat(plan.loop)]
    return out | {"part_data": data, "parts": parts, "loop": {"order": order}}


def _plain(record: Any, line: Field) -> Any:
    value = getattr(record, line.name)
    if line.kind not in ("text", "texts", "position") and value is not None:
        if np.ndim(value):
            raise InputError(line.name, "an array", "one value", "Save one design at a time.")
        value = float(value)
    return value


def _flat(item: tree.Series) -> list:
    return [inner for child in item.items for inner in (_flat(child) if isinstance(child, tree.Series) else [child])]


def _reference(kind: str, record: Any, data: dict, own_name: str = "") -> dict:
    """Return how a file names a part; a part that is not in data/ is described in `data`, or on the spot."""
    base = catalogue.shipped(kind, record.name)
    if base is None and record.name == own_name:
        return catalogue.described(kind, record)
    if base is None:
        full = catalogue.described(kind, record)
        if data.setdefault(kind, {}).setdefault(record.name, full) is full:
            return {"part": Leaf(record.name)}
        raise_same = {k: v for k, v in full.items() if data[kind][record.name].get(k) != v}
        return {"part": Leaf(record.name)} | raise_same
    return {"part": Leaf(record.name)} | catalogue.described(kind, record, base)


def _described_item(item: Any, plan: Plan, parts: dict, data: dict) -> Any:
    """Return how the flow order names an element; what is more to say of a part goes into `parts`."""
    if isinstance(item, tree.Parallel):
        return {"parallel": [[_described_item(i, plan, parts, data) for i in _flat(b)] for b in item.branches]}
    if isinstance(item, (tree.Run, tree.DeadLeg)):
        run = isinstance(item, tree.Run)
        out = {"run" if run else "dead_leg": Leaf(item.name)}
        out |= {f.key: Leaf(_plain(item, f), f.kind, f.default) for f in (RUN if run else DEAD_LEG)}
        tube = _reference("tube", item.tube, data)
        if plan.tube is None or tube != _reference("tube", plan.tube, data):
            out |= tube
        if run:
            out["fitting_metal"] = Leaf(item.fitting_metal, default=plan.fitting_metal)
        return out | {"note": Leaf(item.note, default="")}
    kind = next((k for k, (made, _) in PARTS.items() if type(item) is made), None)
    if kind is None:
        raise InputError(
            item.name, type(item).__name__, "an element a plan file knows", "Give it as a part in the line."
        )
    lines = (*PARTS[kind][1], *ANY_PART)
    out = {"kind": Leaf(kind)} | _reference(kind, getattr(item, kind), data, item.name)
    if kind == "radiator" and item.fan is not None:
        fan = _reference("fan", item.fan, data)
        out["fan"] = fan if len(fan) > 1 else fan["part"]
    parts[item.name] = out | {f.key: Leaf(_plain(item, f), f.kind, f.default) for f in lines}
    return item.name


def text_of(plan: Plan) -> str:
    """Return the plan as the text of its file: that of its origin with only what changed changed."""
    new = described(plan)
    if plan.origin is None:
        return changed(START, {}, new)
    old_plan = read_plan(parsed(plan.origin, "plan file"), plan.origin)
    old = described(old_plan)
    if old == new:
        return plan.origin.text
    return changed(_text_forward(plan.origin.text, old_plan), old, new)


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
        If there is no path to go to, the folder cannot be written to, or the plan cannot be written down.
    """
    if path is None and plan.origin is None:
        raise InputError("path", "none", "a path", "This plan was not read from a file; say where it should go.")
    path = Path(path) if path is not None else plan.origin.path
    text = text_of(plan)
    read_plan(parsed(Origin(path, text, ""), "plan file"))  # what cannot be read back is not written
    mark = "\ufeff" if plan.origin is not None and _has_mark(plan.origin.path) else ""
    own = plan.origin if plan.origin is not None and plan.origin.path == path else None
    return save_over(path, mark + text, own, "plan file")


def _has_mark(path: Path) -> bool:
    try:
        with path.open("rb") as file:
            return file.read(3) == b"\xef\xbb\xbf"
    except OSError:
        return False


def reloaded(plan: Plan, saved: Saved) -> Plan:
    """Return the plan with its origin where it was saved, so that the next save goes there."""
    return replace(plan, origin=read_text(saved.path, "plan file"))
