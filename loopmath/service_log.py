"""What was done to a loop and read off it, one line an entry: lines are added and never changed."""

import csv
import io
import os
import re
from collections.abc import Iterable
from dataclasses import dataclass, fields
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any, ClassVar, NamedTuple

import pandas as pd

from loopmath import files, mine
from loopmath.checks import Checked, InputError, one_of
from loopmath.files import Saved
from loopmath.plan import Plan
from loopmath.units import DISPLAY, to_si

#: Jobs, the greater later: a strip is a flush as well, a flush a top-up, and all of them an inspection.
INSPECTION, TOP_UP, FLUSH, STRIP = JOBS = ("inspection", "top-up", "flush", "strip")
NOTE, READING = "note", "reading"
KINDS = (*JOBS, NOTE, READING)
#: No loop of this kind is older, and no calendar is wanted for later.
EARLIEST, LATEST = date(2000, 1, 1), date(2100, 1, 1)
#: A spreadsheet takes a cell that begins so for a formula; a quote before it makes it words.
_FORMULA = re.compile(r"'*[=+\-@]")
#: Field -> its column and the kind of quantity it holds; what is not here is a word or a plain number.
_MEASURED = {
    "topped_up": ("topped_up_ml", "volume"),
    "coolant": ("coolant_degc", "temperature"),
    "room": ("room_degc", "temperature"),
    "part_temperature": ("part_degc", "temperature"),
    "flow": ("flow_l_min", "flow"),
    "heat": ("heat_w", "power"),
    "load": ("load_percent", "share"),
    "pump_speed": ("pump_percent", "share"),
    "fan_speed": ("fan_percent", "share"),
}


def dated(field: str, value: Any) -> date:
    """
    Return a date given as one, or as text such as "2026-03-01".

    Raises
    ------
    InputError
        If there is no such day, or it is before 2000 or after 2099.
    """
    if isinstance(value, datetime):
        value = value.date()
    try:
        found = value if isinstance(value, date) else date.fromisoformat(str(value).strip())
    except ValueError:
        found = LATEST
    if not EARLIEST <= found < LATEST:
        remedy = "Write year, month and day, each a day that there is."
        raise InputError(field, str(value), "a date from 2000 to 2099, such as 2026-03-01", remedy)
    return found


@dataclass(frozen=True)
class Entry(Checked):
    """
    One entry; what was not read is None or empty. Quantities may be given as text with a unit.

    Attributes
    ----------
    day : date
        Also as text: "2026-03-01".
    kind : str
        One of `KINDS`.
    topped_up : float, optional
        What was poured in. [m3]
    ph : float, optional
    colour : str
        In words, such as "clear, faintly green".
    coolant, room : float, optional
        Coolant where it is warmest, air of the room. [degC]
    part, part_temperature : str, float
        A part that the loop cools, and how warm it was. [degC]
    flow : float, optional
        [m3/s]
    heat, load : float, optional
        Heat of all that the loop cools [W], or as a share of the plan's.
    pump_speed, fan_speed : float, optional
        Share of full speed; by default the plan's.
    note : str
    """

    day: Any
    kind: str = NOTE
    topped_up: Any = None
    ph: Any = None
    colour: str = ""
    coolant: Any = None
    room: Any = None
    part: str = ""
    part_temperature: Any = None
    flow: Any = None
    heat: Any = None
    load: Any = None
    pump_speed: Any = None
    fan_speed: Any = None
    note: str = ""

    RANGES: ClassVar[dict] = {
        "topped_up": (0.0, 0.02, "m3"),
        "ph": (0.0, 14.0, ""),
        "coolant": (0.0, 100.0, "degC"),
        "room": (5.0, 45.0, "degC"),
        "part_temperature": (0.0, 150.0, "degC"),
        "flow": (0.0, 0.001, "m3/s"),
        "heat": (0.0, 10000.0, "W"),
        "load": (0.0, 5.0, ""),
        "pump_speed": (0.0, 1.0, ""),
        "fan_speed": (0.0, 1.0, ""),
    }

    def __post_init__(self) -> None:
        object.__setattr__(self, "day", dated("date", self.day))
        one_of("kind of entry", self.kind, KINDS)
        for name, (_, kind) in _MEASURED.items():
            if isinstance(getattr(self, name), str):
                object.__setattr__(self, name, to_si(name.replace("_", " "), getattr(self, name), kind))
        for name in ("colour", "part", "note"):
            # An entry is one line, so line ends and signs that print nothing become blanks.
            object.__setattr__(self, name, re.sub(r"[\s\x00-\x1f\x7f\u2028]+", " ", str(getattr(self, name))).strip())
        super().__post_init__()


FIELDS = tuple(field.name for field in fields(Entry))
COLUMNS = tuple({"day": "date"}.get(name) or _MEASURED.get(name, (name,))[0] for name in FIELDS)


class Trouble(NamedTuple):
    """A line of a log, and what is to be known of it."""

    line: int
    words: str


@dataclass(frozen=True)
class Log:
    """
    What a log holds.

    Attributes
    ----------
    path : Path
    entries : tuple of Entry
        By date; of one day as they stand in the file.
    skipped : tuple of Trouble
        Lines that cannot be read: they stay in the file, and count for nothing.
    remarks : tuple of Trouble
        Lines that count, and are odd.
    """

    path: Path
    entries: tuple[Entry, ...] = ()
    skipped: tuple[Trouble, ...] = ()
    remarks: tuple[Trouble, ...] = ()

    def last(self, job: str) -> date | None:
        """Return when a job was last done, or one that includes it; None if never."""
        doing = JOBS[JOBS.index(one_of("job", job, JOBS)) :]
        return max((entry.day for entry in self.entries if entry.kind in doing), default=None)

    def table(self, system: str = "metric") -> pd.DataFrame:
        """Return a row for each entry, in "metric" or "us" units; columns that are empty throughout are left out."""
        shown = DISPLAY[one_of("system", system, DISPLAY)]
        rows = []
        for entry in self.entries:
            row = {}
            for name in FIELDS:
                value, words = getattr(entry, name), name.replace("_", " ")
                if name in _MEASURED:
                    how = shown[_MEASURED[name][1]]
                    words = f"{words} [{how.label}]"
                    value = None if value is None else round(float(how.convert(value)), how.digits)
                row[words] = value
            rows.append(row)
        found = pd.DataFrame(rows).replace("", None)
        return found.dropna(axis="columns", how="all").astype(object).fillna("") if rows else found

    @property
    def words(self) -> str:
        """How much there is, and what is wrong with it, in a sentence or two."""
        count = len(self.entries)
        said = f"{count} {'entry' if count == 1 else 'entries'} in {self.path.name}." if count else "No entries yet."
        told = [f"Line {line} is left out: {words}" for line, words in self.skipped]
        return " ".join([said, *told, *(f"Line {line}: {words}" for line, words in self.remarks)])


def log_path(plan: Plan) -> Path:
    """Return where the log of a plan is: beside the plan's own file, for an example among the user's plans."""
    own = mine.own_path(plan)
    return own.with_name(f"{own.stem}.log.csv")


def _line(cells: Iterable[str]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerow(cells)
    return out.getvalue()


def _written(entry: Entry) -> str:
    """Return an entry as its line."""

    def cell(name: str) -> str:
        value = getattr(entry, name)
        if value is None:
            return ""
        if name in _MEASURED:
            return f"{DISPLAY['metric'][_MEASURED[name][1]].convert(value):.12g}"
        if not isinstance(value, str):
            return f"{value:.12g}" if isinstance(value, float) else value.isoformat()
        return f"'{value}" if _FORMULA.match(value) else value

    return _line(map(cell, FIELDS))


def _read(cells: list[str], today: date) -> Entry:
    """Return the entry of a line; InputError if it is none."""
    if len(cells) != len(COLUMNS):
        raise InputError("line", f"{len(cells)} cells", f"{len(COLUMNS)} cells with commas between them")
    given: dict[str, Any] = {}
    for name, column, cell in zip(FIELDS, COLUMNS, map(str.strip, cells), strict=True):
        if name in _MEASURED or name == "ph":
            if cell:
                try:
                    value = float(cell)
                except ValueError:
                    raise InputError(column, cell, "a plain number") from None
                given[name] = value if name == "ph" else DISPLAY["metric"][_MEASURED[name][1]].back(value)
        else:
            given[name] = cell[1:] if cell.startswith("'") and _FORMULA.match(cell) else cell
    return _not_ahead(Entry(**given), today)


def _not_ahead(entry: Entry, today: date) -> Entry:
    if entry.day > today + timedelta(days=1):  # it may be tomorrow elsewhere
        raise InputError("date", entry.day.isoformat(), "a day that has come", "What is to be done is in the calendar.")
    return entry


def read_log(path: Path, today: date | None = None) -> Log:
    """
    Read a log; a log that is not there has no entries.

    Parameters
    ----------
    path : Path
    today : date, optional
        Entries of later days are left out; by default today.

    Raises
    ------
    InputError
        If it is a folder, cannot be read, or is larger than `files.LARGEST`.

    Notes
    -----
    Bad UTF-8, the wrong number of cells, no number where one is meant, an unknown kind or day: the line is left out and
    told with its number.
    """
    path, today = Path(path), today or date.today()
    if not path.exists():
        return Log(path)
    try:
        raw = path.read_bytes()
    except OSError as fault:
        raise InputError("log", str(path), "a file that can be read", f"The system says: {fault}.") from None
    if len(raw) > files.LARGEST:
        raise InputError("log", f"{path}, {len(raw) / 1e6:.1f} MB", f"a file of at most {files.LARGEST / 1e6:g} MB")
    found: list[tuple[int, Entry]] = []
    skipped = []
    for number, line in enumerate(raw.removeprefix(b"\xef\xbb\xbf").split(b"\n"), start=1):
        try:
            cells = next(csv.reader([line.decode("utf-8").strip("\r")], strict=True), [])
            if any(cells) and tuple(cells) != COLUMNS:
                found.append((number, _read(cells, today)))
        except UnicodeDecodeError:
            skipped.append(Trouble(number, "it is not text in UTF-8."))
        except csv.Error:
            skipped.append(Trouble(number, "a quotation mark in it does not end."))
        except InputError as problem:
            skipped.append(Trouble(number, str(problem)))
    remarks = [
        Trouble(number, f"its date, {entry.day}, is before that of the entry above it, {before.day}.")
        for (_, before), (number, entry) in zip(found, found[1:], strict=False)
        if entry.day < before.day
    ]
    return Log(path, tuple(sorted((e for _, e in found), key=lambda e: e.day)), tuple(skipped), tuple(remarks))


def append(path: Path, entry: Entry, today: date | None = None) -> Saved:
    """
    Add an entry to a log, which is made if it is not there.

    All of the entry goes to the end in one write; what stands in the file already is never touched. Where the last line
    was broken off, the entry begins on a new one.

    Returns
    -------
    saved : Saved
        Where it was written, and in words what is odd about it.

    Raises
    ------
    InputError
        If its day has not come, or the file cannot be written to.
    """
    path = Path(path)
    _not_ahead(entry, today or date.today())
    said = [f"Entry of {entry.day} added to {path}."]
    try:
        line = _written(entry).encode("utf-8")
        path.parent.mkdir(parents=True, exist_ok=True)
        with files.held(path), path.open("ab+", buffering=0) as file:
            end = file.seek(0, os.SEEK_END)
            if not end:
                line = _line(COLUMNS).encode() + line
            elif file.seek(end - 1) is not None and file.read(1) != b"\n":
                line = b"\n" + line
                said.append("The last line was broken off; it stays as it is, and this one begins below it.")
            if file.write(line) != len(line):
                raise OSError("not all of it could be written")
            os.fsync(file.fileno())
    except UnicodeEncodeError:
        raise InputError("entry", entry.note, "text that UTF-8 can hold", "Half a sign stands in its words.") from None
    except OSError as fault:
        raise InputError("log", str(path), "a file that can be written to", f"The system says: {fault}.") from None
    newest = read_log(path, today).entries[-1].day
    if newest > entry.day:
        said.append(f"Its date is before that of the newest entry, {newest}.")
    return Saved(path, " ".join(said))
