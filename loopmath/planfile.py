"""
A user's plan file: one TOML document in, one plan out, every problem told at once.

What a document may hold stands once, in `SECTIONS`, `PARTS` and `BESIDE`; `plansave` writes from there.
"""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from loopmath import catalogue, named, parts, tables
from loopmath import loop as tree
from loopmath.case import COOLANT, IN, OUT, AirPart, CaseFans, Header, SpeedCurve
from loopmath.checks import InputError, one_of
from loopmath.files import Origin, read_text
from loopmath.laws import coolant as coolants
from loopmath.laws import materials
from loopmath.plan import BALANCE, GIVEN, WORDS, Plan, own_name
from loopmath.reader import NEEDED, Reader, kinds_of, parsed
from loopmath.routes import HOLES, PURPOSES, Box, Port, Route
from loopmath.rules import HouseRule

#: The version of plan files this package writes; older ones are brought forward when they are read.
FORMAT = 2


@dataclass(frozen=True)
class Field:
    """
    A line of the file: key, kind of quantity, what it is if left out, the attribute it becomes, words it may be,
    or what refuses a wrong one.

    A list of rows becomes several attributes, one for each of its `columns`.
    """

    key: str
    kind: str = "text"
    default: Any = NEEDED
    attribute: str = ""
    known: Callable[[], Iterable[str]] | None = None
    columns: tuple[str, ...] = ()
    check: Callable[[str], Any] | None = None

    @property
    def name(self) -> str:
        """Return the attribute it becomes."""
        return self.attribute or self.key

    def of(self, record: Any) -> Any:
        """Return what a record says of it."""
        columns = [getattr(record, column) for column in self.columns]
        return tuple(zip(*columns, strict=True)) if columns else getattr(record, self.name)


FITTING_METAL = Field("fitting_metal", default="nickel plate", check=lambda name: materials.layers(name, ""))

#: Table of the file -> its lines; "" is the top.
SECTIONS: dict[str, tuple[Field, ...]] = {
    "": (Field("title", default="Untitled plan"), Field("notes", default="")),
    "room": (
        Field("air", "temperature", attribute="room_air"),
        Field("height", "length", 0.0),
        Field("listener", "length", 1.0),
    ),
    "case": (
        Field("air", default=GIVEN, attribute="case_air_by", known=lambda: (GIVEN, BALANCE)),
        Field("air_over_room", "difference", 5.0, "case_air_over_room"),
        Field("other_heat", "power", 0.0, "case_heat"),
        Field("vents", "area", 0.012, "case_vents"),
        Field("wall_loss", "conductance", 4.0, "case_wall_loss"),
        Field("volume", "volume", 0.05, "case_volume"),
        Field("hot_spot", "difference", 10.0),
    ),
    "coolant": (
        Field("kind", attribute="coolant"),
        Field("price_per_litre", "count", None, "coolant_price"),
        Field("also_wetted", "texts", ()),
        Field("treatment", default="", known=lambda: tables.by_name("treatments.csv")),
        Field("surroundings", default="normal", known=WORDS["surroundings"]),
    ),
    "limits": (
        Field("coolant", "temperature", 45.0, "coolant_limit"),
        Field("sound", "sound", 40.0, "sound_limit"),
        Field("budget", "count", None),
        Field("currency", default=""),
    ),
    "tube": (FITTING_METAL,),
    "space": (
        Field("size", "position", None, "case_size"),
        Field("clearance", "length", 0.003),
        Field("fitting", default="", attribute="tube_fitting", known=lambda: catalogue.names("fitting")),
        Field("radius", "length", None, "bend_radius"),
    ),
    "cutting": (
        Field("stock", "lengths", (0.5, 1.0), "stock_lengths"),
        Field("kerf", "length", 0.001),
        Field("squaring", "length", 0.001),
        Field("spares", "count", 0.0),
        Field("practice", "count", 1.0),
        Field("practice_length", "length", 0.15),
        Field("stretch", "share", None),
        Field("over_bend", "share", None),
    ),
    "service": (
        Field("tip_limit", "angle", math.pi / 2),
        Field("bottles", "volumes", (0.001,), "bottle_sizes"),
        Field("spare", "share", 0.1, "coolant_spare"),
        Field("hours_per_day", "count", 8.0),
        Field("filled_on", default=""),
        Field("gauge_step", "pressure", 1000.0),
        Field("least_leak", "flow", 1e-6 / 60),
    ),
    "build": (Field("before", "rows", ()),),
    "joints": (
        Field("seal", default="EPDM", known=WORDS["seal"]),
        Field("section", "length", 0.00178, "ring_section"),
        Field("squeeze", "share", 0.2),
        Field("rings", "count", 2.0),
        Field("edge", default="chamfered", attribute="tube_edge", known=WORDS["tube_edge"]),
        Field("aid", default="soapy water", attribute="assembly_aid", known=WORDS["assembly_aid"]),
        Field("cleaner", default="soapy water", known=WORDS["cleaner"]),
    ),
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
            Field("heat_capacity", "heat capacity", None),
        ),
    ),
    "radiator": (
        tree.RadiatorUnit,
        (
            Field("fan_speed", "share", 1.0),
            Field("fans_in_series", "count", 1.0),
            Field("air", default="room"),  # what it may be, the plan's other radiators say: see `named`
            Field("air_flow_each", "air flow", 0.0),
            Field("filter_loss", "count", 0.0),
            Field("blows", default="", known=lambda: tree.PLACES),
            Field("fan_side", default=tree.PUSH, known=lambda: (tree.PUSH, tree.PULL)),
            Field("pull_speed", "share", None),
            Field("second_fans", "count", 0.0),
            Field("second_speed", "share", None),
        ),
    ),
    "reservoir": (tree.Tank, ()),
    "fitting": (tree.Fittings, (Field("count", "count", 1.0),)),
    "inline": (tree.InlineUnit, ()),
}
#: Lines that any part may have.
ANY_PART = (
    Field("position", "position", None),
    Field("size", "position", None),
    Field("passage", "positions", None),
    Field("note", default=""),
)
#: The same of the tube entries of the flow order.
NOTE = Field("note", default="")
RUN = (
    Field("length", "length"),
    Field("bends", "count", 0.0),
    Field("fittings", "count", 0.0),
    Field("ends", "count", 2.0),
    FITTING_METAL,
    NOTE,
)
DEAD_LEG = (Field("length", "length"), Field("purpose", default="other", known=lambda: tree.PURPOSES), NOTE)
TUBES: dict[str, tuple[type, tuple[Field, ...]]] = {"run": (tree.Run, RUN), "dead_leg": (tree.DeadLeg, DEAD_LEG)}
#: Group of tables [GROUP.NAME] beside the loop -> the record of each table, and its lines. Fans of the case name their
#: fan as radiators do.
BESIDE: dict[str, tuple[type, tuple[Field, ...]]] = {
    "case_fans": (
        CaseFans,
        (
            Field("count", "count", 1.0),
            Field("speed", "share", 1.0),
            Field("blows", default=OUT, known=lambda: (IN, OUT)),
            Field("filter_loss", "count", 0.0),
        ),
    ),
    "on_air": (
        AirPart,
        (
            Field("cools", default="other", known=lambda: tables.by_name("candidates.csv")),
            Field("typical_heat", "power", attribute="heat"),
            Field("peak_heat", "power", None),
            Field("limit", "temperature", 90.0),
            Field("resistance", "resistance", 0.0),
            Field("block", default="", known=lambda: catalogue.names("block")),
            Field("sound_level", "sound", None),
            Field("price", "count", None),
        ),
    ),
    "headers": (
        Header,
        (
            Field("rating", "current", 1.0),
            Field("volts", "voltage", 12.0),
            Field("start", "count", 1.5),
            Field("feeds", "texts"),
        ),
    ),
    "ports": (
        Port,
        (
            Field("position", "position"),
            Field("faces"),
            Field("of", default=""),  # whose, the plan's parts say
            Field("purpose", default="", known=lambda: PURPOSES),
        ),
    ),
    "boxes": (
        Box,
        (
            Field("corner", "position"),
            Field("size", "position"),
            Field("panel", "truth", False),
            Field("opens", default=""),
            Field("travel", "length", 0.1),
            Field("of", default=""),
        ),
    ),
    "routes": (
        Route,
        (
            Field("start"),
            Field("end"),
            Field("corners", "positions", None),
            Field("radius", "length", None),
            *(
                Field(f"{end}_{what}", default="")
                for what in ("fitting", "adapter", "faces")
                for end in ("start", "end")
            ),
            Field("free_play", "length", 0.001),
            Field("through", "texts", ()),
            Field("hole", default=HOLES[1], known=lambda: HOLES),
            Field("parallel_to", "texts", ()),
            Field("in_line_with", "texts", ()),
        ),
    ),
    "house_rules": (
        HouseRule,
        (
            Field("when"),  # one that cannot be read is told with the warnings, and the others still judge
            Field("signal", default="caution"),
            Field("why", default="A rule of your own."),
            Field("action", default="Change the plan or the rule."),
        ),
    ),
    "speed_curves": (
        SpeedCurve,
        (
            Field("drives", "texts"),
            Field("sensor", default=COOLANT),  # what else it may be, the plan's parts say: see `named`
            Field("points", "points", columns=("temperatures", "speeds")),
            Field("hysteresis", "difference", 0.0),
        ),
    ),
}
#: Records beside the loop that are no parts.
NO_PARTS = (Header, SpeedCurve, HouseRule, Port, Box, Route)
#: Parallel groups inside of each other, at most.
MOST_NESTED = 10


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
    origin = Origin(path, text)
    return read_plan(parsed(origin, "plan file"), origin)


def read_plan(document: dict, origin: Origin | None = None) -> Plan:
    """Return the plan a TOML document describes; see `load_plan` for what is raised."""
    version, renamed = document.get("format", "missing"), {}
    known_version = type(version) is int and version in (*FORWARD, FORMAT)
    if known_version and version < FORMAT:
        document, renamed = FORWARD[version](document)
    read = Reader(renamed)
    if not known_version:
        accepted = f"{FORMAT}, or an older one: {', '.join(map(str, FORWARD))}"
        read.note(("format",), version, accepted, "This package reads those versions of plan files.")
    read.known(document, (), ("format", "parts", "part_data", "loop", "title", "notes", *SECTIONS, *BESIDE))
    tube_fields = ("part", *kinds_of(catalogue.CATALOGUE["tube"][1]))
    values, at = {}, {"loop": ("loop", "order")}
    for section, lines in SECTIONS.items():
        place = (section,) if section else ()
        table = read.table(document.get(section, {}), place) if section else document
        if section:
            read.known(table, place, [*(f.key for f in lines), *(tube_fields if section == "tube" else ())])
        values |= _values(read, lines, table, place)
        at |= {line.name: (*place, line.key) for line in lines}
    lookup = _Lookup(read, read.table(document.get("part_data", {}), ("part_data",)))
    tube_table = read.table(document.get("tube", {}), ("tube",))
    runs = any("part" not in e for e in _entries(document) if isinstance(e, dict) and "parallel" not in e)
    tube = lookup.part("tube", tube_table, ("tube",)) if runs or any(f in tube_table for f in tube_fields) else None
    if values["coolant"] is not None:
        values["coolant"] = read.tried(at["coolant"], coolants.coolant, values["coolant"])
    for number, metal in enumerate(values["also_wetted"] or ()):
        read.tried((*at["also_wetted"], number), materials.layers, metal, "")
    described = read.table(document.get("parts", {}), ("parts",))
    elements = {
        name: _element(lookup, name, read.table(t, ("parts", name)), ("parts", name)) for name, t in described.items()
    }
    for name, element in elements.items():
        read.tried(("parts", name), own_name, element)
    loop_table = read.table(document.get("loop", {}), ("loop",))
    read.known(loop_table, ("loop",), ("order",))
    fresh = _Order(lookup, elements, tube, values["fitting_metal"])
    items = [item for item in fresh.items(loop_table.get("order", []), ("loop", "order")) if item is not None]
    for name in elements:
        if fresh.whole and name not in fresh.used:
            remedy = "Name it in loop.order or remove the part."
            read.note(("parts", name), "not in loop.order", "a place in the flow order", remedy)
    taken = {*elements, *fresh.used}
    values |= {group: _beside(lookup, group, document.get(group, {}), taken) for group in BESIDE}
    named.air_paths(read, described, elements)
    named.turned(read, document, elements)
    named.followed(read, document, elements)
    tubes = {leaf.name: leaf.tube for item in items for leaf in tree.leaves(item) if hasattr(leaf, "tube")}
    tubes |= dict.fromkeys(sorted(fresh.used - elements.keys() - tubes.keys()))  # what is wrong with those was told
    named.laid(read, document, values, tubes if fresh.whole else None, elements)
    wrong = {problem.place[0] for problem in read.problems}
    if not wrong & {"parts", "part_data", "loop"} and not tree.of_kind(tree.Series(*items), tree.PumpUnit):
        read.note(("loop", "order"), "no pump", "at least one pump", "Add a pump to [parts] and to the loop's order.")
    loop = tree.Series(*items)
    if read.problems:  # what is wrong with the loop was told; the rest is looked at beside one that is right
        loop = tree.Series(tree.PumpUnit("pump", parts.Pump("pump", 1.0, 1e-4)))
        values |= {"title": "", "coolant": coolants.coolant("water")} | dict.fromkeys(BESIDE, ())
    plan = read.built(Plan, (), at, loop=loop, tube=tube, origin=origin, **values)
    read.done("plan", origin.text if origin else "")
    return plan


def _values(read: Reader, lines: Iterable[Field], table: dict, place: tuple) -> dict[str, Any]:
    """Return what a table says in its lines, by attribute; None for what cannot be read."""
    out = {}
    for line in lines:
        value = read.value(table, place, line.key, line.kind, line.default)
        if line.known is not None and value not in (None, line.default):
            value = read.tried((*place, line.key), one_of, "", value, line.known())
        if line.check is not None and value not in (None, line.default):
            read.tried((*place, line.key), line.check, value)
        out[line.name] = value
    return out


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
        #: Parts that are described there, right or wrong.
        self.listed = {(k, name) for k, inner in part_data.items() if isinstance(inner, dict) for name in inner}

    def part(self, kind: str, table: dict, place: tuple, name: str = "", key: str = "part") -> Any:
        """
        Return the part that `table[key]` names, with those of its fields changed that the table gives.

        Without that key, the table is to describe a part of its own, called `name`. None if it cannot be read.
        """
        if key not in table and name and any(f in table for f in kinds_of(catalogue.CATALOGUE[kind][1])):
            return catalogue.read_record(self.read, kind, name, table, place)
        value = self.read.value(table, place, key, "text")
        if value is None or (kind, value) in self.listed - self.own.keys():
            return None  # what is wrong with it was told
        base = self.own.get((kind, value)) or self.read.tried((*place, key), self._catalogue, kind, value)
        return None if base is None else catalogue.read_record(self.read, kind, value, table, place, base)

    def _catalogue(self, kind: str, name: str) -> Any:
        own = [n for k, n in self.own if k == kind]
        remedy = catalogue.own_trouble() or "The catalogue is in data/; your own parts are listed with it."
        return catalogue.part(kind, one_of("", name, [*own, *catalogue.names(kind)], remedy))


def _element(lookup: _Lookup, name: str, table: dict, place: tuple) -> Any:
    """Return the element a table of [parts] describes, None if it cannot be read."""
    read = lookup.read
    kind = read.value(table, place, "kind", "text")
    if kind is None or read.tried((*place, "kind"), one_of, "", kind, PARTS) is None:
        return None
    made, lines = PARTS[kind]
    lines = (*lines, *ANY_PART)
    fields = kinds_of(catalogue.CATALOGUE[kind][1])
    fan_key = ("fan",) if kind == "radiator" else ()
    read.known(table, place, ("kind", "part", *fan_key, *(f.key for f in lines), *fields))
    values = _values(read, lines, table, place)
    values[kind] = part = lookup.part(kind, table, place, name)
    if kind == "radiator" and ("fan" in table or "air_flow_each" not in table):
        fan = values["fan"] = _fan(lookup, table, place)
        if fan is not None and part is not None and abs(fan.size - part.fan_size) > 1e-6:
            read.note((*place, "fan"), fan.name, f"a fan of {1e3 * part.fan_size:.0f} mm")
    return read.built(made, place, {f.name: (f.key,) for f in lines}, name=name, **values)


def _fan(lookup: _Lookup, table: dict, place: tuple) -> Any:
    """Return the fan of a radiator: named, or a table that names one and changes some of its numbers."""
    if not isinstance(table.get("fan"), dict):
        return lookup.part("fan", {"fan": table["fan"]} if "fan" in table else {}, place, key="fan")
    here = (*place, "fan")
    lookup.read.known(table["fan"], here, ("part", *kinds_of(catalogue.CATALOGUE["fan"][1])))
    return lookup.part("fan", table["fan"], here, fan_name(place[-1]))


def fan_name(owner: str) -> str:
    """Return what a fan is called that is described where its radiator or its place in the case is."""
    return f"{owner} fan"


def _beside(lookup: _Lookup, group: str, tables_: Any, taken: set[str]) -> tuple:
    """Return what the tables of a group beside the loop describe, in the order of the file; None for what is wrong."""
    read, (made, lines), out = lookup.read, BESIDE[group], []
    for name, table in read.table(tables_, (group,)).items():
        place = (group, name)
        table = read.table(table, place)
        read.known(table, place, (*(f.key for f in lines), *(("fan",) if made is CaseFans else ())))
        values = _values(read, lines, table, place)
        if made is CaseFans:
            values["fan"] = _fan(lookup, table, place)
        if made is SpeedCurve:
            values |= _columns(read, place, values.pop("points"))
        if made not in NO_PARTS:  # such a thing may be called as what it feeds, drives or judges
            if name in taken:
                read.note(place, name, "each name once", "Give every part a name of its own.")
            taken.add(name)
        out.append(read.built(made, place, {f.name: (f.key,) for f in lines}, name=name, **values))
        read.tried(place, own_name, out[-1])
    return tuple(out)


def _columns(read: Reader, place: tuple, rows: tuple | None) -> dict[str, tuple]:
    """Return the points of a speed curve as its record holds them; each is told that does not go on from the last."""
    columns, before = ("temperatures", "speeds"), None
    fine = rows is not None and None not in rows
    for number, row in enumerate(rows or ()):
        if row is None:
            continue
        first = before or row
        try:  # two points are a curve, so its record says what is wrong with the second
            SpeedCurve("", (), "", *zip(first, row, strict=True))
        except InputError as problem:
            alone = not isinstance(problem.value, str)  # a pair of numbers is words, and one point is no pair
            if alone or before is not None:
                fine = False
                at = columns.index(problem.field.rpartition(", ")[2])
                read.note((*place, "points", number, at), problem.value, problem.accepted, problem.remedy)
            if alone:
                continue
        before = row
    # Beside points that are wrong the rest of the curve is looked at with some that are right.
    return dict(zip(columns, zip(*rows, strict=True) if fine else ((20.0, 40.0), (0.0, 1.0)), strict=False))


class _Order:
    """Turns the flow order of a file into elements."""

    def __init__(self, lookup: _Lookup, elements: dict, tube: Any, fitting_metal: Any) -> None:
        self.lookup, self.read = lookup, lookup.read
        self.elements, self.tube, self.fitting_metal = elements, tube, fitting_metal
        #: Names of the elements passed so far, and False once something was passed that has none.
        self.used: set[str] = set()
        self.whole = True

    def items(self, order: Any, place: tuple) -> list:
        """Return the elements of a flow order, None for each that cannot be read."""
        if isinstance(order, list) and order:
            return [self.item(entry, (*place, n)) for n, entry in enumerate(order)]
        self.lost(place, order, "a list of elements in flow order")
        return [None]

    def item(self, entry: Any, here: tuple) -> Any:
        """Return one element or parallel group."""
        if isinstance(entry, str):
            if entry in self.elements:
                self.once(entry, here, "Describe a second part of this kind under a name of its own.")
                return self.elements[entry]
            self.whole = False
            return self.read.tried(here, one_of, "", entry, self.elements, "Parts are described in [parts.NAME].")
        kinds = [k for k in (*TUBES, "parallel") if isinstance(entry, dict) and k in entry]
        if len(kinds) != 1:
            return self.lost(here, entry, "a part's name, or one of: a run, a dead_leg, a parallel group")
        return self.group(entry, here) if kinds[0] == "parallel" else self.tube_entry(kinds[0], entry, here)

    def lost(self, place: tuple, value: Any, accepted: str) -> None:
        """Note something that cannot be passed, so that nobody knows which parts were meant."""
        self.whole = False
        self.read.note(place, value, accepted)

    def once(self, name: str, place: tuple, remedy: str) -> None:
        """Note a name that came before."""
        if name in self.used:
            self.read.note(place, name, "each name once", remedy)
        self.used.add(name)

    def group(self, entry: dict, here: tuple) -> Any:
        """Return the parallel group an entry describes."""
        self.read.known(entry, here, ("parallel",))
        place, branches = (*here, "parallel"), entry["parallel"]
        if len(here) > 3 * MOST_NESTED:
            return self.lost(place, "a group too deep", f"groups inside of each other, {MOST_NESTED} deep at most")
        if not isinstance(branches, list) or not branches:
            return self.lost(place, branches, "a list of two branches or more, each a list of elements")
        inner = [self.items(b, (*place, i)) for i, b in enumerate(branches)]
        if any(item is None for branch in inner for item in branch):
            return None
        return self.read.tried(place, lambda: tree.Parallel(*(tree.Series(*b) for b in inner)))

    def tube_entry(self, kind: str, entry: dict, here: tuple) -> Any:
        """Return the run or dead leg an entry describes."""
        made, lines = TUBES[kind]
        if kind == "dead_leg" and "order" in entry:
            self.read.note((*here, "order"), entry["order"], "no elements", "Nothing flows through a dead leg.")
            entry = {key: value for key, value in entry.items() if key != "order"}
        own = kinds_of(catalogue.CATALOGUE["tube"][1])
        self.read.known(entry, here, (kind, "part", *(f.key for f in lines), *own))
        values = _values(self.read, lines, entry, here)
        values["name"] = self.read.value(entry, here, kind, "text")
        if values["name"] in self.elements:
            self.read.note((*here, kind), values["name"], "each name once", "A part of [parts] is called that.")
        elif values["name"] is not None:
            self.once(values["name"], (*here, kind), "Give every run and dead leg a name of its own.")
        if kind == "run" and "fitting_metal" not in entry:
            values["fitting_metal"] = self.fitting_metal
        tube = self.tube
        if "part" in entry:
            tube = self.lookup.part("tube", entry, here)
        elif tube is not None and any(key in entry for key in own):
            tube = catalogue.read_record(self.read, "tube", tube.name, entry, here, tube)
        return self.read.built(made, here, tube=tube, **values)


# ------------------------------------------------------------------------------------------ older versions


def _forward_from_1(document: dict) -> tuple[dict, dict[tuple, tuple]]:
    """Version 1 knew one heat of a block, and called it `heat`; it is the typical one now."""
    described = document.get("parts")
    blocks = [
        name
        for name, part in (described.items() if isinstance(described, dict) else ())
        if isinstance(part, dict) and part.get("kind") == "block" and "typical_heat" not in part
    ]
    renamed = {
        name: {"typical_heat" if key == "heat" else key: value for key, value in described[name].items()}
        for name in blocks
    }
    places = {("parts", name, "typical_heat"): ("parts", name, "heat") for name in blocks}
    return document | ({"parts": described | renamed} if blocks else {}), places


#: Older version -> what makes the next one of it, with the places of what has another name now: new -> old.
FORWARD: dict[int, Callable[[dict], tuple[dict, dict[tuple, tuple]]]] = {1: _forward_from_1}
