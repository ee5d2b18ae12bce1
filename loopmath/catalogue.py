"""The catalogue: rows of data/ and the user's own parts as records; names not there get their neighbours."""

from collections.abc import Callable
from dataclasses import fields
from functools import cache, lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from loopmath import tables
from loopmath.checks import InputError, one_of
from loopmath.files import Saved, held, own_folder, read_text, save_over
from loopmath.laws import materials
from loopmath.parts import Block, Fan, Fitting, Inline, Pump, Reservoir, Tube
from loopmath.radiator import Radiator
from loopmath.reader import Reader, kinds_of, needed_by, parsed
from loopmath.toml_text import NONE, Leaf, changed

#: Table of data/ and the record its rows become; a column `bore_mm` is the field `bore` in m, and so on.
CATALOGUE: dict[str, tuple[str, type]] = {
    "pump": ("pumps.csv", Pump),
    "fan": ("fans.csv", Fan),
    "radiator": ("radiators.csv", Radiator),
    "block": ("blocks.csv", Block),
    "tube": ("tubes.csv", Tube),
    "fitting": ("fittings.csv", Fitting),
    "inline": ("inline.csv", Inline),
    "reservoir": ("reservoirs.csv", Reservoir),
}


def _metal(name: str, field: str) -> None:
    """Refuse what is no metal; an empty name says that there is none, or that it is not stated."""
    if name:
        materials.layers(name, field)


#: Fields that name a material, and what refuses a wrong one.
MATERIALS: dict[str, Callable[[str, str], Any]] = {
    **dict.fromkeys(("metal", "solder", "tank_metal"), _metal),
    "fitting_metal": materials.layers,
    "material": lambda name, field: one_of(field, name, [*tables.by_name("plastics.csv"), "copper"]),
}
#: The version of own parts files this package reads, and how such a file begins.
OWN_FORMAT = 1
OWN_START = """# Parts of your own: measured, or read off a data sheet. Each is offered beside the catalogue.
format = 1
"""
_SUFFIXES = {
    "_mm": 1e-3,
    "_um": 1e-6,
    "_l_h": 1e-3 / 3600,
    "_l_min": 1e-3 / 60,
    "_m3_h": 1 / 3600,
    "_g": 1e-3,
    "_ml": 1e-6,
    "_cm2": 1e-4,
    "_m": 1.0,
    "_w": 1.0,
    "_pa": 1.0,
    "_db": 1.0,
    "_degc": 1.0,
    "_k_w": 1.0,
    "_percent": 0.01,
    "_kpa_per_l_min": 6e7,
    "_kpa_per_l_min2": 3.6e12,
    "_in03": 1.0,
}


def _from_row(row: dict, record: type) -> Any:
    """Turn a table row into a record: strip unit suffixes, scale to SI, ignore provenance."""
    known = {f.name for f in fields(record)}
    if record is Fitting:  # its constants are published ones, kept once under the name in column `loss`
        row = tables.by_name("losses.csv")[row["loss"]] | row
    values = {}
    for column, value in row.items():
        if value == "":
            continue
        if column in known:
            values[column] = value if column != "rigid" else value == 1.0
            continue
        for suffix in sorted(_SUFFIXES, key=len, reverse=True):
            if column.endswith(suffix) and column.removesuffix(suffix) in known:
                # Rounded as text in a file is, so that a part written out and read back is the very same.
                values[column.removesuffix(suffix)] = float(f"{value * _SUFFIXES[suffix]:.13g}")
                break
    return record(**values)


def names(kind: str) -> list[str]:
    """Return the names of one kind of part: the user's own first, then those of data/."""
    shipped = tables.by_name(CATALOGUE[one_of("kind of part", kind, CATALOGUE)][0])
    return [*(name for own, name in _own() if own == kind and name not in shipped), *shipped]


def part(kind: str, name: str, field_name: str = "") -> Any:
    """
    Return a part of the catalogue, or one of the user's own.

    Parameters
    ----------
    kind : str
        One of `CATALOGUE`: "pump", "fan", "radiator", "block", "tube", "fitting", "inline", "reservoir".
    name : str
        Its name there.
    field_name : str
        Where the name was written, for the message.

    Raises
    ------
    InputError
        If the name is neither in data/ nor among the user's own parts; the nearest names are listed.
    """
    found = shipped(kind, name) or _own().get((kind, name))
    if found is None:
        one_of(field_name or kind, name, names(kind), "The catalogue is in data/; your own parts are listed with it.")
    return found


def shipped(kind: str, name: str) -> Any:
    """Return a part of data/, None if there is none of this name."""
    return _part(kind, name) if name in tables.by_name(CATALOGUE[kind][0]) else None


@cache
def _part(kind: str, name: str) -> Any:
    return _from_row(tables.by_name(CATALOGUE[kind][0])[name], CATALOGUE[kind][1])


# ------------------------------------------------------------------------------------------- the user's own parts


def own_file() -> Path:
    """Return the path of the user's own parts file."""
    return own_folder() / "parts.toml"


def own_parts() -> dict[tuple[str, str], Any]:
    """
    Return the user's own parts by kind and name.

    Raises
    ------
    InputError
        If there is a file and something in it is not accepted; every problem is told with its line.
    """
    return dict(_read_own(own_file(), _stamp(own_file())))


def own_trouble() -> str:
    """Return in words why the user's own parts cannot be offered; empty if they are."""
    try:
        own_parts()
    except InputError as problem:
        return f"Your own parts are left out until this is put right: {problem}"
    return ""


def _own() -> dict[tuple[str, str], Any]:
    """Return the user's own parts, none while their file has something wrong in it: the shipped ones still serve."""
    try:
        return own_parts()
    except InputError:
        return {}


def _stamp(path: Path) -> tuple | None:
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_mtime_ns, found.st_size


@lru_cache(maxsize=8)
def _read_own(path: Path, stamp: tuple | None) -> dict[tuple[str, str], Any]:
    if stamp is None:
        return {}
    origin, read = read_text(path, "own parts file"), Reader()
    document = parsed(origin, "own parts file")
    version = document.pop("format", "missing")
    if type(version) is not int or version != OWN_FORMAT:
        read.note(("format",), version, str(OWN_FORMAT), "This package reads that version of parts files.")
    found = read_parts(read, document, ())
    read.done("own parts file", origin.text)
    return found


def read_parts(read: Reader, document: dict, place: tuple) -> dict[tuple[str, str], Any]:
    """Return the parts described in tables [KIND.NAME] by kind and name; problems are noted in `read`."""
    read.known(document, place, CATALOGUE)
    found = {}
    for kind in (k for k in document if k in CATALOGUE):
        for name, table in read.table(document[kind], (*place, kind)).items():
            here = (*place, kind, name)
            table = read.table(table, here)
            read.known(table, here, kinds_of(CATALOGUE[kind][1]))
            found[kind, name] = read_record(read, kind, name, table, here)
    return {key: value for key, value in found.items() if value is not None}


def read_record(read: Reader, kind: str, name: str, table: dict, place: tuple, base: Any = None) -> Any:
    """
    Return the part a table describes, or `base` with those of its fields that the table gives.

    Problems are noted in `read`, and None is returned for them.
    """
    made = CATALOGUE[kind][1]
    unset = {f.name for f in fields(made) if f.default is None}
    given = {
        key: None if table[key] == NONE and key in unset else read.value(table, place, key, how)
        for key, how in kinds_of(made).items()
        if key in table
    }
    before = len(read.problems)
    for key, check in MATERIALS.items():
        if isinstance(given.get(key), str):
            read.tried((*place, key), check, given[key], "")
    start = {} if base is None else {f.name: getattr(base, f.name) for f in fields(made)}
    if base is None:
        for key in needed_by(made):
            if key not in given:
                words = ", ".join(needed_by(made))
                read.note((*place, key), "missing", "a value", f"A part of this kind needs: {words}.")
                given[key] = None
    record = read.built(made, place, **({"name": name} | start | given)) if given else base
    return None if len(read.problems) > before else record


def described(kind: str, record: Any, base: Any = None) -> dict[str, Leaf]:
    """Return the fields of a part; their defaults are those of `base`, or what a record has by itself."""
    made, out = CATALOGUE[kind][1], {}
    if type(record) is not made:
        raise InputError(
            record.name, type(record).__name__, f"a {made.__name__}", "Only such a part can be written to a file."
        )
    needed, usual = needed_by(made), {f.name: f.default for f in fields(made)}
    for key, how in kinds_of(made).items():
        value = getattr(record, key)
        if np.ndim(value):
            raise InputError(f"{record.name}, {key}", "an array", "one value", "Save one design at a time.")
        default = getattr(base, key) if base is not None else None if key in needed else usual[key]
        out[key] = Leaf(value, how, default)
    return out


def keep_part(kind: str, record: Any, note: str = "") -> Saved:
    """
    Write a part into the user's own parts file; it is then offered wherever parts are chosen.

    Parameters
    ----------
    kind : str
        A key of `CATALOGUE`.
    record : Pump, Fan, Radiator, Block, ...
        The part; its name must be new.
    note : str
        Where its numbers come from; kept beside them.

    Raises
    ------
    InputError
        If the name is taken or empty, a material is unknown, or the file has something wrong in it: it is then left
        alone.
    """
    one_of("kind of part", kind, CATALOGUE)
    if not record.name.strip() or record.name != record.name.strip():
        raise InputError("name of the part", record.name, "a name without blanks at its ends")
    for field, check in MATERIALS.items():
        if hasattr(record, field):
            check(getattr(record, field), f"{record.name}, {field}")
    path, new = own_file(), described(kind, record) | ({"note": Leaf(note)} if note else {})
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        remedy = f"The system says: {fault}."
        raise InputError("own parts file", str(path), "a place that can be written to", remedy) from None
    with held(path.with_name("keeping")):  # from reading to writing: two pages may keep a part at once
        own = own_parts()
        if record.name in names(kind):
            remedy = "Add a word that tells the two apart."
            raise InputError("name of the part", record.name, "a name not used yet", remedy)
        origin = read_text(path, "own parts file") if path.exists() else None
        text = origin.text if origin else OWN_START
        old = {k: {n: {} for own_kind, n in own if own_kind == k} for k in {own_kind for own_kind, _ in own}}
        wanted = {k: dict(inner) for k, inner in old.items()}
        wanted.setdefault(kind, {})[record.name] = new
        return save_over(path, changed(text, old, wanted), origin, "own parts file")


def tube_materials() -> list[str]:
    """Return the materials tubes of the catalogue are of."""
    return list(dict.fromkeys(part("tube", name).material for name in names("tube")))


def tube_like(tube: Tube, material: str) -> Tube:
    """Return the tube of a material that is nearest in bore to another one, of those the nearest outside."""
    fitting = [t for t in (part("tube", n) for n in names("tube")) if t.material == material]
    if not fitting:
        one_of("tube material", material, tube_materials())
    bore, outside = float(np.mean(tube.bore)), float(np.mean(tube.outside))
    return min(fitting, key=lambda t: (round(abs(t.bore - bore), 6), abs(t.outside - outside)))


def fan_of_size(like: Fan | None, size: float) -> Fan:
    """Return the fan of a size that is nearest in loudness to `like`, without one the first; InputError if none is."""
    rows = [part("fan", n) for n in names("fan")]
    fitting = [f for f in rows if abs(f.size - size) < 1e-6]
    if not fitting:
        one_of("fan size", f"{1e3 * size:.0f} mm", sorted({f"{1e3 * f.size:.0f} mm" for f in rows}))
    return min(fitting, key=lambda f: abs(f.sound_level - like.sound_level)) if like is not None else fitting[0]
