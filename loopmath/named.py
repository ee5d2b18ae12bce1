"""Names in a plan file that point at its parts: air of radiators, what headers feed, curves follow, routes join."""

import re

from loopmath import air
from loopmath import loop as tree
from loopmath.case import SENSORS
from loopmath.checks import InputError, one_of
from loopmath.reader import Reader
from loopmath.routes import is_found
from loopmath.routes import laid as _laid

#: Group beside the loop -> its line that names what turns, and the word for one of the group.
TURNS = {"headers": ("feeds", "header"), "speed_curves": ("drives", "curve")}


def air_paths(read: Reader, described: dict, elements: dict) -> None:
    """Look at where radiators get their air from: room, case, or another radiator that nothing else stands behind."""
    # An element that could not be read was told; whether it is a radiator nobody knows.
    units = {name: e for name, e in elements.items() if e is None or isinstance(e, tree.RadiatorUnit)}
    for name in units:
        said, known = described[name], [*tree.PLACES, *(other for other in units if other != name)]
        value = said.get("air") if isinstance(said, dict) else None
        if isinstance(value, str) and value not in known:
            remedy = "The name of a radiator means close behind it." if len(known) > len(tree.PLACES) else ""
            read.note(("parts", name, "air"), value, f"one of: {', '.join(known)}", remedy)
    if None in units.values():
        return
    try:
        air.streams(list(units.values()))
    except InputError as problem:
        name, _, field = problem.field.rpartition(", ")
        place = ("parts", name, field.replace(" ", "_"))
        read.note(place, problem.value, problem.accepted, problem.remedy)


def _tables(document: dict, group: str) -> dict[str, dict]:
    """Return the tables of a group beside the loop; what is none was told."""
    found = document.get(group)
    return {name: t for name, t in found.items() if isinstance(t, dict)} if isinstance(found, dict) else {}


def turned(read: Reader, document: dict, elements: dict) -> None:
    """Look at what headers feed and curves drive: pumps, fans of radiators and of the case, each by one of them."""
    known = [n for n, e in elements.items() if e is None or isinstance(e, tree.PumpUnit) or getattr(e, "fan", None)]
    known += document["case_fans"] if isinstance(document.get("case_fans"), dict) else []
    for group, (key, word) in TURNS.items():
        remedy = f"A {word} {key} pumps, radiators with fans and fans of the case."
        taken: dict[str, str] = {}
        for owner, table in _tables(document, group).items():
            names = table.get(key)
            if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
                continue  # told already
            for number, name in enumerate(names):
                place = (group, owner, key, number)
                if read.tried(place, one_of, "", name, known, remedy) is not None and name in taken:
                    accepted = f"each on one {word}; {taken[name]} {key} it too"
                    other = "Take it off one of the two." if taken[name] != owner else "Take it off once."
                    read.note(place, name, accepted, other)
                taken.setdefault(name, owner)


def followed(read: Reader, document: dict, elements: dict) -> None:
    """Look at what curves follow, and that each drives something."""
    on_air = document["on_air"] if isinstance(document.get("on_air"), dict) else []
    known = [*SENSORS, *(n for n, e in elements.items() if e is None or isinstance(e, tree.Source)), *on_air]
    for name, table in _tables(document, "speed_curves").items():
        place = ("speed_curves", name)
        if isinstance(table.get("sensor"), str):
            remedy = "A curve follows the coolant, the air of the case, a block or a part on air."
            read.tried((*place, "sensor"), one_of, "", table["sensor"], known, remedy)
        if table.get("drives") == []:
            read.note((*place, "drives"), [], "one name or more", "A curve that drives nothing does nothing.")


def laid(read: Reader, document: dict, values: dict, tubes: dict | None, elements: dict) -> None:
    """
    Look at whose ports and boxes are, and lay every route: its run, ports, panels and neighbours, then its corners.

    `tubes` gives the tube of each run and dead leg by its name, None where the flow order cannot be read.
    """
    for group in ("ports", "boxes"):
        for name, table in _tables(document, group).items():
            if isinstance(table.get("of"), str) and table["of"]:
                read.tried((group, name, "of"), one_of, "", table["of"], elements, "It names a part of [parts].")
    ports = {p.name: p for p in values["ports"] if p is not None}
    known = {
        "start": _tables(document, "ports"),
        "end": _tables(document, "ports"),
        "through": [n for n, t in _tables(document, "boxes").items() if t.get("panel") is True],
        "parallel_to": _tables(document, "routes"),
        "in_line_with": _tables(document, "routes"),
    }
    for route in values["routes"]:
        if route is None:
            continue
        place, fine = ("routes", route.name), True
        if tubes is not None and route.name not in tubes:
            remedy = "A route has the name of the run or dead leg it is the way of."
            fine = read.tried(place, one_of, "", route.name, tubes, remedy) is not None
        for key, names in known.items():
            said = getattr(route, key)
            for number, name in enumerate((said,) if isinstance(said, str) else said):
                here = (*place, key) if isinstance(said, str) else (*place, key, number)
                remedy = "It names a panel: a box with panel = true." if key == "through" else ""
                fine &= read.tried(here, one_of, "", name, names, remedy) is not None
        tube = (tubes or {}).get(route.name)
        if fine and tube is not None and tube.rigid and {route.start, route.end} <= ports.keys():
            try:
                if not is_found(route, ports, values["tube_fitting"] or ""):
                    continue
                _laid(route, ports, tube, values["tube_fitting"] or "", values["bend_radius"])
            except InputError as problem:
                spot, lines = problem.field.removeprefix(f"{route.name}, "), _tables(document, "routes")[route.name]
                # A fault of the whole run tells the corner it lies at.
                corner = re.search(r"corners? (\d+)", str(problem.value) if spot == route.name else spot)
                at = ("corners", int(corner[1]) - 1) if corner else (spot,) if spot in lines else ()
                read.note((*place, *at), problem.value, problem.accepted, problem.remedy)
