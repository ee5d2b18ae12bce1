"""The catalogue of data/: rows become part records, and names that are not there get their neighbours."""

from dataclasses import fields
from functools import cache
from typing import Any

from loopmath import tables
from loopmath.checks import one_of
from loopmath.parts import Block, Fan, Fitting, Inline, Pump, Reservoir, Tube
from loopmath.radiator import Radiator

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
_SUFFIXES = {
    "_mm": 1e-3,
    "_um": 1e-6,
    "_l_h": 1e-3 / 3600,
    "_l_min": 1e-3 / 60,
    "_m3_h": 1 / 3600,
    "_ml": 1e-6,
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
                values[column.removesuffix(suffix)] = value * _SUFFIXES[suffix]
                break
    return record(**values)


def names(kind: str) -> list[str]:
    """Return the names in the catalogue of one kind of part."""
    return list(tables.by_name(CATALOGUE[one_of("kind of part", kind, CATALOGUE)][0]))


def part(kind: str, name: str, field_name: str = "") -> Any:
    """
    Return a part of the catalogue.

    Parameters
    ----------
    kind : str
        One of `CATALOGUE`: "pump", "fan", "radiator", "block", "tube", "fitting", "reservoir".
    name : str
        Its name there.
    field_name : str
        Where the name was written, for the message.

    Raises
    ------
    InputError
        If the name is not in the catalogue; the nearest names are listed.
    """
    one_of(field_name or kind, name, tables.by_name(CATALOGUE[kind][0]), "The catalogue is in data/.")
    return _part(kind, name)


@cache
def _part(kind: str, name: str) -> Any:
    return _from_row(tables.by_name(CATALOGUE[kind][0])[name], CATALOGUE[kind][1])


def fan_of_size(like: Fan, size: float) -> Fan:
    """Return the catalogue fan of another size that is nearest in full speed to `like`."""
    rows = [part("fan", n) for n in names("fan")]
    fitting = [f for f in rows if abs(f.size - size) < 1e-6]
    if not fitting:
        one_of("fan size", f"{1e3 * size:.0f} mm", sorted({f"{1e3 * f.size:.0f} mm" for f in rows}))
    return min(fitting, key=lambda f: abs(f.sound_level - like.sound_level))
