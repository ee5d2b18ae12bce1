"""Read a table of readings, pasted or from a CSV file, as arrays in SI; refuse it in words, all faults at once."""

import csv
import difflib
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from loopmath import units
from loopmath.checks import InputError
from loopmath.files import read_text

MOST_BYTES, MOST_LISTED = 5_000_000, 12
_SAMPLE = 200
#: Kind of a column that counts turns: kept as written, since only the part knows its full speed.
TURNS = "turns"
#: Words that name a column only if they are the whole header: "fan" may stand in "fan model" too.
_WHOLE = {"fan"}
_TURN_UNITS = {"rpm", "1/min", "r/min", "rev/min", "turns/min", "min-1", "min^-1"}
#: Trade spellings -> one that the units module reads. Without the first few, C is a coulomb and F a farad.
_SPELLINGS = {
    **{"c": "degC", "f": "degF", "c/w": "K/W", "°c/w": "K/W", "degc/w": "K/W", "f/w": "delta_degF/W"},
    **{"°f/w": "delta_degF/W", "degf/w": "delta_degF/W", "w/c": "W/K", "w/°c": "W/K"},
    **{"lpm": "L/min", "lph": "L/hour", "l/min": "L/min", "l/h": "L/hour", "l/hr": "L/hour", "ml/min": "mL/min"},
    **{"gpm": "gal/min", "gph": "gal/hour", "gal/h": "gal/hour", "gal/hr": "gal/hour", "cfm": "ft^3/min"},
    **{
        "m^3/h": "m^3/hour",
        "ft^3/min": "ft^3/min",
        "m3/hr": "m^3/hour",
        "cbm/h": "m^3/hour",
        "mws": "mH2O",
        "mwc": "mH2O",
        "mh2o": "mH2O",
        "mmh2o": "mmH2O",
    },
    **{"mmwc": "mmH2O", "inh2o": "inH2O", "inwc": "inH2O", "inwg": "inH2O", "fth2o": "ftH2O", "kpa": "kPa"},
    **{"pa": "Pa", "w": "W", "kw": "kW", "k/w": "K/W", "psi": "psi", "db(a)": "dBA", "dba": "dBA", "db": "dB"},
    **{"feet": "ft", "watt": "W", "watts": "W", "percent": "%", "pct": "%", "hpa": "hPa", "mbar": "mbar", "bar": "bar"},
}
_AMOUNT = re.compile(r"([+-]?(?:[0-9][0-9.,'’]*|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?)\s*(.*)", re.DOTALL)
_GROUPED = re.compile(r"(?<=[0-9])[ \u00a0\u202f](?=[0-9]{3}(?![0-9]))")
_EMPTY = {"", "-", "–", "—", "n/a", "na", "none"}


@dataclass(frozen=True)
class Column:
    """
    One quantity looked for in a table.

    Attributes
    ----------
    key : str
        Its key in `Readings`.
    kind : str
        A key of `units.INSIDE`.
    words : tuple of str
        How a header may name it, besides the key; lower case.
    unit : str
        Unit it is read in if the table names none.
    needed : bool
        Whether a table without it is refused.
    low : float
        Least value accepted, in SI.
    positive : bool
        Whether 0 is refused too.
    also : tuple of (kind, factor)
        Other kinds accepted and what carries them to this one; `TURNS` takes turns a minute as they are.
    """

    key: str
    kind: str
    words: tuple[str, ...]
    unit: str
    needed: bool = True
    low: float = 0.0
    positive: bool = False
    also: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, eq=False)
class Readings:
    """
    Readings in SI.

    Attributes
    ----------
    name : str
        What the table is called in messages.
    values : dict of str to array
        By key of the column; NaN where an optional cell is empty. Columns the table lacks are missing.
    rows : int array
        Line of the text each reading stands in, from 1.
    units : dict of str to str
        The unit each column was read in.
    kinds : dict of str to str
        The kind each column was read as: the column's own, or one of `Column.also`.
    scales : dict of str to float
        What one of the unit each column was read in is in SI.
    notes : tuple of str
        What was assumed, in plain sentences.
    doubts : tuple of str
        What may be a slip: columns left unused although they look like readings.
    steps : dict of str to float
        Step of the numbers of each column in SI, by the place of their last digit.
    """

    name: str
    values: dict[str, np.ndarray]
    rows: np.ndarray
    units: dict[str, str]
    kinds: dict[str, str]
    scales: dict[str, float]
    notes: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    steps: dict[str, float] = field(default_factory=dict)

    def __getitem__(self, key: str) -> np.ndarray:
        return self.values[key]

    def __contains__(self, key: str) -> bool:
        return key in self.values and bool(np.any(np.isfinite(self.values[key])))

    def __len__(self) -> int:
        return len(self.rows)

    def having(self, *keys: str) -> "Readings":
        """Return the readings in which none of these columns is empty."""
        return self.kept(np.all([np.isfinite(self.values[key]) for key in keys], axis=0))

    def kept(self, keep: np.ndarray) -> "Readings":
        """Return some of the readings; `keep` says of each whether it stays."""
        values = {key: value[keep] for key, value in self.values.items()}
        return replace(self, values=values, rows=self.rows[keep])


class _Faults:
    """Everything wrong with a table, gathered so that it can be said at once."""

    def __init__(self, name: str) -> None:
        self.name, self.found = name, []

    def add(self, line: int, words: str) -> None:
        self.found.append((line, words))

    def raise_if_any(self) -> None:
        if not self.found:
            return
        self.found.sort(key=lambda fault: fault[0])
        said = [f"({n}) {words}" for n, (_, words) in enumerate(self.found[:MOST_LISTED], start=1)]
        if len(self.found) > MOST_LISTED:
            said.append(f"and {len(self.found) - MOST_LISTED} more")
        count = f"{len(self.found)} fault" + ("s" if len(self.found) > 1 else "")
        raise InputError(self.name, count, "a table with these lines put right", "; ".join(said) + ".")


# ---------------------------------------------------------------------------------------------------- cells


def _amount(cell: str) -> tuple[str, str] | None:
    """Return a cell as (number as written, unit), or None if it does not begin with a number."""
    match = _AMOUNT.fullmatch(_GROUPED.sub("", cell.strip()))
    return (match[1], match[2].strip()) if match else None


def _style(number: str) -> str:
    """Return how a number marks its decimals: "point", "comma", "" if it has none, or "both" if unreadable."""
    number = re.sub(r"[eE].*", "", number)
    points, commas = number.count("."), number.count(",")
    if points and commas:
        last = "point" if number.rfind(".") > number.rfind(",") else "comma"
        mark = "." if last == "point" else ","
        whole = number[: number.rfind(mark)]
        grouped = re.fullmatch(r"[+-]?[0-9]{1,3}(?:[.,'’][0-9]{3})+", whole) and mark not in whole
        return last if grouped else "both"
    if points > 1 or commas > 1:
        grouped = re.fullmatch(r"[+-]?[0-9]{1,3}(?:[.,][0-9]{3})+", number)
        return ("comma" if points else "point") if grouped else "both"
    return "point" if points else "comma" if commas else ""


def _float(number: str, style: str) -> float:
    """Return a written number as a float; `style` says which mark its decimals have."""
    number = number.replace("'", "").replace("’", "")
    if style == "comma":
        return float(number.replace(".", "").replace(",", "."))
    return float(number.replace(",", ""))


def _step(number: str, style: str) -> float:
    """Return what one of the last digit of a written number is worth: 0.1 for "25.1", 100 for "1.2e3"."""
    whole, _, power = number.casefold().partition("e")
    mark = "," if style == "comma" else "."
    behind = len(whole) - whole.rfind(mark) - 1 if mark in whole else 0
    return float(f"1e{int(power or 0) - behind}")


def _spelled(unit: str) -> str:
    unit = unit.strip().strip("[]()").strip().replace("³", "^3").replace("²", "^2").replace("·", " ")
    unit = re.sub(r"\b(m|ft|in|cm)3\b", r"\1^3", unit)
    plain = unit.casefold().replace(" ", "")
    return _SPELLINGS.get(plain, unit)


def _scale(column: Column, unit: str) -> tuple[float, float, str]:
    """Return (factor, offset, kind) of a unit for this column; raise InputError if it is of another kind."""
    unit = _spelled(unit)
    kinds = [(column.kind, 1.0), *column.also]
    if unit.casefold() in _TURN_UNITS:
        for kind, factor in kinds:
            if kind == TURNS:
                return factor, 0.0, TURNS
    refused: InputError | None = None
    for kind, factor in kinds:
        if kind == TURNS:
            continue
        try:
            offset = units.to_si(column.key, f"0 {unit}", kind)
            return (units.to_si(column.key, f"1 {unit}", kind) - offset) * factor, offset * factor, kind
        except InputError as error:
            refused = refused or error
    raise refused


def _reads(column: Column, unit: str) -> bool:
    """Return whether a column may be in this unit."""
    try:
        _scale(column, unit)
    except InputError:
        return False
    return True


# ------------------------------------------------------------------------------------------------ the layout


def _lines(text: str) -> list[tuple[int, str]]:
    """Return the lines that hold anything, with their number in the text."""
    whole = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n").replace("−", "-")
    lines = enumerate(whole.split("\n"), start=1)
    return [(n, line) for n, line in lines if line.strip(" \t;,|\u00a0") and not line.lstrip().startswith("#")]


def _cells(line: str, separator: str) -> list[str]:
    """Split one line; for separator "blanks" a word that is no number goes with the number before it."""
    if separator != "blanks":
        cells = next(csv.reader([line], delimiter=separator, skipinitialspace=True))
        if separator == "|" and len(cells) > 2 and not cells[0].strip() and not cells[-1].strip():
            cells = cells[1:-1]  # a line framed in pipes
        return [cell.strip() for cell in cells]
    cells = [cell.strip() for cell in re.split(r"\s{2,}|\t", line.strip())]
    if len(cells) == 1:
        merged: list[str] = []
        for word in line.split():
            unit = merged and (word[0] in "[(" or _amount(word) is None and _amount(merged[-1]) is not None)
            open_bracket = merged and merged[-1].count("[") + merged[-1].count("(") > merged[-1].count("]") + merged[
                -1
            ].count(")")
            if (unit or open_bracket) and word.casefold() not in _EMPTY:
                merged[-1] += f" {word}"
            else:
                merged.append(word)
        return merged
    return cells


def _separator(lines: list[str]) -> str:
    """Return the mark that parts the cells: the first that most lines have, a comma only if it parts numbers."""
    sample = lines[:200]
    for mark in "\t;|":
        if sum(mark in line for line in sample) > 0.5 * len(sample):
            return mark
    if sum("," in line for line in sample) <= 0.5 * len(sample):
        return "blanks"
    # A comma parts cells if what stands between is a number; in "3,5 1,2" it is the decimal mark.
    body = [line for line in sample if _amount(line.strip().strip('"')) is not None and "," in line]
    parted = 0
    for line in body:
        amounts = [_amount(cell) for cell in _cells(line, ",") if cell.casefold() not in _EMPTY]
        parted += not any(a and re.match(r"[0-9.,+-]", a[1]) for a in amounts)
    return "," if parted >= 0.5 * len(body) else "blanks"


def _name_and_unit(header: str, columns: Sequence[Column]) -> tuple[str, str | None]:
    """Return a header as (name, unit or None): "flow [L/min]", "head (m)", "flow, L/min", "flow in L/min"."""
    header = header.strip().strip('"').replace("_", " ")
    for form in (r"(.*?)\s*[\[(]\s*(.*?)\s*[\])]{1,2}\s*", r"(.*?)\s*,\s*(.+)"):
        if match := re.fullmatch(form, header):
            return match[1].strip().casefold(), match[2].strip()
    before, _, last = header.rpartition(" ")
    for column in columns:  # the "in" of "coolant in" is no inch, and that of "air in °C" is part of the name
        words = (column.key.replace("_", " "), *column.words)
        if header.casefold() in words:
            return header.casefold(), last if _reads(column, last) else None
        if before.casefold() in words and _reads(column, last):
            return before.casefold(), last
    if match := re.fullmatch(r"(.*?)\s+in\s+(\S+)", header):
        return match[1].strip().casefold(), match[2].strip()
    if " " not in header and _is_unit(header):
        return header.casefold(), header  # a unit alone is name and unit
    head, _, last = header.rpartition(" ")
    if head and _is_unit(last):
        return head.strip().casefold(), last
    return header.casefold(), None


def _matched(
    names: list[str], given: list[str | None], columns: Sequence[Column], faults: _Faults, line: int
) -> dict[str, int]:
    """Return which column of the table holds which key: by the very word, then by the longest word contained."""
    places: dict[str, int] = {}
    for exact in (True, False):
        for place, name in enumerate(names):
            if place in places.values():
                continue
            best, size = None, 0
            for column in columns:
                for word in (column.key.replace("_", " "), *column.words):
                    inside = (
                        name == word
                        if exact
                        else len(word) > 2 and word not in _WHOLE and re.search(rf"\b{re.escape(word)}\b", name)
                    )
                    if inside and len(word) > size:
                        best, size = column.key, len(word)
            if best in places:
                if exact:
                    faults.add(line, f"line {line} has two columns that could be {best.replace('_', ' ')}: leave one")
            elif best:
                places[best] = place
    for place, unit in enumerate(given):  # a header that is a unit alone: the one column that could have it
        if unit and unit.casefold() == names[place] and place not in places.values():
            could = [c.key for c in columns if c.key not in places and _reads(c, unit)]
            if len(could) == 1:
                places[could[0]] = place
    for column in columns:
        if column.needed and column.key not in places:
            near = difflib.get_close_matches(column.key, names, n=1, cutoff=0.5)
            near = near or difflib.get_close_matches(column.words[0], names, n=1, cutoff=0.4)
            hint = f"; nearest header: {near[0]!r}" if near else f"; headers found: {', '.join(map(repr, names))}"
            wanted = ", ".join(dict.fromkeys((column.key.replace("_", " "), *column.words)))
            faults.add(line, f"line {line} names no column for {column.key.replace('_', ' ')} ({wanted}){hint}")
    return places


# --------------------------------------------------------------------------------------------------- reading


def read_readings(text: str, columns: Sequence[Column], name: str = "table") -> Readings:
    """
    Read a pasted table.

    Parameters
    ----------
    text : str
        Lines of cells parted by comma, semicolon, tab, pipe or blanks, with or without a header. A header may
        carry units, "flow [L/min]"; so may a second line, or a cell. Numbers may have decimal commas if commas
        do not part the cells. Blank lines and lines that begin with # are passed over.
    columns : sequence of Column
        What is looked for; in this order if there is no header.
    name : str
        What the table is called in messages.

    Raises
    ------
    InputError
        With every fault found, by line.

    Examples
    --------
    >>> flow = Column("flow", "flow", ("volume flow", "q"), "L/min")
    >>> table = read_readings("flow [L/h]; head" + chr(10) + "360; 2,5", [flow, Column("head", "head", ("h",), "m")])
    >>> round(float(table["flow"][0]), 9), float(table["head"][0]), table.units["flow"], table.rows.tolist()
    (0.0001, 2.5, 'L/h', [2])
    """
    faults, notes, doubts = _Faults(name), [], []
    if "\x00" in text:
        raise InputError(name, "bytes that are no text", "a table as text", "Save it as CSV in UTF-8.")
    lines = _lines(text)
    if not lines:
        raise InputError(name, "an empty table", "a header and readings, or readings alone", "Paste the readings.")
    separator = _separator([line for _, line in lines])
    try:
        table = [(number, _cells(line, separator)) for number, line in lines]
    except csv.Error as error:
        raise InputError(name, str(error), "a table whose quotes are closed", "Save it as CSV anew.") from None

    # ------ header, units
    headers: list[tuple[str, str | None]] | None = None
    header_line, first = table[0]
    if not any(_amount(cell) for cell in first):
        table = table[1:]
        width = Counter(len(cells) for _, cells in table[:200]).most_common(1)[0][0] if table else len(first)
        if len(first) > width and separator == ",":  # "flow, L/min, head, m": a unit goes with its name
            first = [", ".join(first[i : i + 2]) for i in range(0, len(first), 2)]
        headers = [_name_and_unit(cell, columns) for cell in first]
        if table and not any(_amount(cell) for cell in table[0][1]) and any(table[0][1]):
            line, under = table[0]
            if all(cell.casefold() in _EMPTY or _is_unit(cell) for cell in under) and len(under) == len(headers):
                headers = [(n, u or cell or None) for (n, u), cell in zip(headers, under, strict=True)]
                table = table[1:]
        places = _matched([n for n, _ in headers], [u for _, u in headers], columns, faults, header_line)
        unused = [h for place, h in enumerate(headers) if place not in places.values() and h[0]]
        unknown = [name for name, unit in unused if not (unit and _is_unit(unit))]
        doubts = [
            f"The column {name!r} is not used, although it is in {unit}: no such quantity is looked for by that name."
            for name, unit in unused
            if name not in unknown
        ]
        if unknown:
            notes.append(f"Columns not used: {', '.join(unknown)}.")
        width = len(headers)
    else:
        width = Counter(len(cells) for _, cells in table[:200]).most_common(1)[0][0]
        while width > 1 and not any(cells[width - 1] for _, cells in table if len(cells) >= width):
            width -= 1
        places = {column.key: place for place, column in enumerate(columns[:width])}
        said = ", ".join(f"{c.key.replace('_', ' ')}{f' [{c.unit}]' if c.unit else ''}" for c in columns[:width])
        notes.append(f"The table has no header; its columns are taken in this order: {said}.")
        for column in columns[width:]:
            if column.needed:
                faults.add(0, f"there is no column for {column.key.replace('_', ' ')}: {width} found, and no header")
        if width > len(columns):
            notes.append(f"Columns not used: all from the {len(columns) + 1}th on.")
    if not table:
        faults.add(header_line + 1, "there are no readings below the header")

    # ------ rows of the right width
    kept = []
    for line, cells in table:
        while len(cells) > width and not cells[-1]:
            cells = cells[:-1]
        if len(cells) != width:
            faults.add(line, f"line {line} has {len(cells)} cells, {width} expected")
        else:
            kept.append((line, cells))
    rows = np.array([line for line, _ in kept], dtype=int)

    # ------ columns
    written = [list(column) for column in zip(*(cells for _, cells in kept), strict=True)] if kept else []
    styles = _decimal_marks([written[p] for p in places.values()] if written else [], rows, faults)
    values, used, kinds, scales, steps = {}, {}, {}, {}, {}
    for column in columns:
        if column.key not in places:
            continue
        place = places[column.key]
        given = headers[place][1] if headers else None
        unit = given if given else column.unit
        try:
            scale = _scale(column, unit)
        except InputError as error:
            faults.add(
                header_line,
                f"line {header_line}, {column.key.replace('_', ' ')}: the unit {unit!r} is no "
                f"{column.kind} ({error.accepted})",
            )
            continue
        if written:
            found = _column(column, written[place], rows, scale, unit, styles, faults, bool(given or headers is None))
            values[column.key], used[column.key], kinds[column.key], scales[column.key], assumed, step = found
            steps[column.key] = step
            if headers and not given and assumed and column.unit:
                notes.append(
                    f"{column.key.replace('_', ' ').capitalize()} is read in {column.unit}: no unit was given."
                )
    if styles == "comma" and any(_all_thousands(written[p]) for p in places.values() if written):
        notes.append("Commas are read as decimal marks: 1,234 is a little more than one.")
    faults.raise_if_any()
    return Readings(name, values, rows, used, kinds, scales, tuple(notes), tuple(doubts), steps)


def _is_unit(cell: str) -> bool:
    return any(_reads(Column("unit", kind, (), "", also=((TURNS, 1.0),)), cell) for kind in units.INSIDE)


def _all_thousands(cells: list[str]) -> bool:
    marked = [c for c in cells if "," in c]
    return bool(marked) and all(re.fullmatch(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}", c) for c in marked)


def _decimal_marks(columns: list[list[str]], rows: np.ndarray, faults: _Faults) -> str:
    """Return the decimal mark of the whole table, "point" or "comma"; two marks in one table are a fault."""
    seen: dict[str, tuple[int, str]] = {}
    proven = set()
    for cells in columns:
        if not any("," in cell for cell in cells):
            plain = next(((n, c) for n, c in zip(rows, cells, strict=True) if "." in c), None)
            if plain and _amount(plain[1]):
                seen.setdefault("point", plain)
            continue
        for line, cell in zip(rows, cells, strict=True):
            amount = _amount(cell)
            style = _style(amount[0]) if amount else ""
            if style in ("point", "comma"):
                seen.setdefault(style, (line, cell))
                if "," in amount[0] and "." in amount[0]:
                    proven.add(style)
    if len(seen) < 2:
        return next(iter(seen), "point")
    if len(proven) == 1 and "point" in proven:
        loose = [
            (line, cell)
            for cells in columns
            for line, cell in zip(rows, cells, strict=True)
            if (amount := _amount(cell)) and _style(amount[0]) == "comma"
        ]
        if all(re.fullmatch(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}", _amount(cell)[0]) for _, cell in loose):
            return "point"  # 1,234.5 stands beside 1,234: both are thousands
    (line, point), (other, comma) = seen["point"], seen["comma"]
    faults.add(
        min(line, other),
        f"line {line} has a decimal point ({point}), line {other} a decimal comma ({comma}): use one of the two",
    )
    return "point"


def _column(
    column: Column,
    cells: list[str],
    rows: np.ndarray,
    scale: tuple[float, float, str],
    unit: str,
    style: str,
    faults: _Faults,
    stated: bool,
) -> tuple[np.ndarray, str, str, float, bool, float]:
    """Return one column in SI, the unit, kind and scale it was read in, whether that was assumed, and its step."""
    said = column.key.replace("_", " ")
    factor, offset, kind = scale
    try:  # plain numbers, which most tables hold, are converted all at once
        plain = "".join(cells)
        if "," in plain or "_" in plain or "'" in plain or not column.needed and "" in cells:
            raise ValueError
        value, assumed = np.array(cells, dtype=float) * factor + offset, not stated
        sizes = [_step(cell, style) * factor for cell in cells[:_SAMPLE] if float(cell)]
        bad = np.flatnonzero(~np.isfinite(value))
        for place in bad:
            faults.add(rows[place], f"line {rows[place]}, {said}: {cells[place]!r} is no finite number")
    except ValueError:
        value, own, units_seen, sizes = np.full(len(cells), np.nan), {}, set(), []
        for place, cell in enumerate(cells):
            line = rows[place]
            if cell.casefold() in _EMPTY:
                if column.needed:
                    faults.add(line, f"line {line}, {said}: the cell is empty")
                continue
            amount = _amount(cell)
            if amount is None or _style(amount[0]) == "both":
                faults.add(line, f"line {line}, {said}: {cell!r} is no number")
                continue
            units_seen.add(amount[1])
            try:
                if amount[1] not in own:
                    own[amount[1]] = _scale(column, amount[1]) if amount[1] else scale
                if own[amount[1]][2] != kind and amount[1] and kind == TURNS:
                    raise InputError(said, cell, "one kind of unit in a column")
            except InputError as error:
                faults.add(line, f"line {line}, {said}: {cell!r} has no unit of the right kind ({error.accepted})")
                continue
            number = _float(amount[0], style)
            if not np.isfinite(number):
                faults.add(line, f"line {line}, {said}: {cell!r} is no finite number")
                continue
            value[place] = number * own[amount[1]][0] + own[amount[1]][1]
            if number:
                sizes.append(_step(amount[0], style) * own[amount[1]][0])
        named = [u for u in own if u]
        assumed = not stated and (not units_seen or "" in units_seen)
        if named and "" not in units_seen:
            unit, factor, kind = named[0], own[named[0]][0], own[named[0]][2]
            if len({own[u][2] for u in named} & {TURNS}) and len({own[u][2] for u in named}) > 1:
                faults.add(rows[0], f"{said} mixes turns a minute with shares of full speed: use one of the two")
    short = value <= column.low if column.positive else value < column.low
    for place in np.flatnonzero(short):
        least = "more than 0" if column.positive else "at least 0" if column.low == 0 else f"at least {column.low:g}"
        faults.add(rows[place], f"line {rows[place]}, {said}: {cells[place]!r}, {least} expected")
    # The coarser half decides: a 4 among 3.9 and 4.1 is a 4.0, but 1, 4, 9 beside 25.1 are whole numbers. A 0 says
    # nothing, since "0" is what is written at shut-off.
    return value, unit, kind, factor, assumed, sorted(sizes)[len(sizes) // 2] if sizes else 0.0


def load_readings(path: str | Path, columns: Sequence[Column]) -> Readings:
    """
    Read a table of readings from a file, UTF-8 and at most 5 MB, as `read_readings` does.

    Raises
    ------
    InputError
        If the file is missing, a folder, too big or not UTF-8, and as `read_readings`.
    """
    return read_readings(read_text(path, "table file", MOST_BYTES, sixteen=True).text, columns, Path(path).name)
