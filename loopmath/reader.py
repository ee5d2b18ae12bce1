"""Read the fields of a TOML document and collect what is wrong, so that all of it is told at once."""

import re
import tomllib
from collections.abc import Callable, Iterable
from dataclasses import MISSING, fields
from typing import Any

from loopmath.checks import InputError, between, one_of
from loopmath.files import Origin
from loopmath.toml_text import LISTS, ROWS, Path, dotted, line_of, places
from loopmath.units import KIND_OF_UNIT, to_si

#: A field that has to be there.
NEEDED = object()
#: How a row of quantities is written.
ROW_WORDS = {
    "position": 'three lengths, such as ["120 mm", "80 mm", "300 mm"]',
    "point": 'a temperature and a speed, such as ["30 degC", "40 %"]',
    "length": 'a length, such as "500 mm"',
    "volume": 'a volume, such as "1 L"',
    "texts": 'a list of names, such as ["drain valve", "front radiator"]',
}
#: Problems told in full; what follows is counted.
MOST_PROBLEMS = 40
#: A wrong value is told to this many signs.
LONGEST_VALUE = 200


def parsed(origin: Origin, what: str) -> dict:
    """Return a text as a TOML document, or say what is wrong with it and where."""
    try:
        return tomllib.loads(origin.text)
    except tomllib.TOMLDecodeError as fault:
        raise _syntax(what, origin, str(fault)) from None
    except ValueError:  # from the number of Python: more than 4300 digits
        raise InputError(what, str(origin.path), "a TOML document", "A number in it is too long.") from None
    except RecursionError:
        raise InputError(what, str(origin.path), "a TOML document", "It is nested too deeply.") from None


def _syntax(what: str, origin: Origin, fault: str) -> InputError:
    """Return what the parser could not read in words a builder can act on, with the line and what stands there."""
    found = re.search(r"line (\d+)", fault)
    if found is None:
        remedy = "A quote, a bracket [ or a brace { that is opened somewhere is not closed."
        return InputError(what, str(origin.path), "a TOML document", f"{remedy} The reader says: {fault}.")
    number = int(found[1])
    line = (origin.text.splitlines() or [""])[min(number, origin.text.count("\n") + 1) - 1].strip()
    if set(line) & set("“”„‘’"):
        hint = "Quotes have to be straight ones."
    elif line.count('"') % 2:
        hint = "A text in quotes is not closed on its line."
    elif re.match(r"^[\w.\- ]+=\s*[^\"'\[{\s]", line):
        hint = "Text and quantities stand in straight quotes; only plain numbers do not."
    elif "overwrite" in fault or "twice" in fault or "Cannot declare" in fault:
        hint = "This key or table stands in the file twice."
    else:
        hint = "A line reads KEY = VALUE or [TABLE]."
    said = f"{hint} The reader says: {fault}."
    return Problem((f"{what} {origin.path.name}".strip(),), line[:120], "a TOML document", said, number)


def kinds_of(record: type) -> dict[str, str]:
    """Return the fields of a part's record and how each is written: a kind of quantity, "text" or "truth"."""
    out = {}
    for f in fields(record):
        if f.name in ("name", "position", "note"):
            continue
        if f.name in record.RANGES:
            out[f.name] = KIND_OF_UNIT.get(record.RANGES[f.name][2], "count")
        elif f.type in (str, bool):
            out[f.name] = "text" if f.type is str else "truth"
    return out


def needed_by(record: type) -> list[str]:
    """Return the fields a record cannot be made without, its name left out."""
    return [f.name for f in fields(record) if f.default is MISSING and f.name != "name"]


class Problem(InputError):
    """What is wrong at one place of a file."""

    def __init__(self, place: Path, value: Any, accepted: str, remedy: str = "", line: int | None = None) -> None:
        super().__init__(dotted(place), value, accepted, remedy)
        self.place, self.line = place, line

    def __str__(self) -> str:
        words = super().__str__()
        return f"line {self.line}: {words}" if self.line else words


class Problems(InputError):
    """All that is wrong with a file: `problems` holds each with its place, line, value and what is accepted."""

    def __init__(self, what: str, problems: list[Problem]) -> None:
        self.problems = problems
        shown = "; ".join(f"({n}) {p}" for n, p in enumerate(problems[:MOST_PROBLEMS], start=1))
        more = len(problems) - MOST_PROBLEMS
        super().__init__(
            what, f"{len(problems)} problems", f"{what} without them", shown + (f"; and {more} more" * (more > 0))
        )


def _short(value: Any) -> Any:
    """Return a value, or the beginning of its words if they would fill the page."""
    try:
        words = repr(value)
    except ValueError:  # more than 4300 digits
        return "a number of very many digits"
    return value if len(words) <= LONGEST_VALUE else f"{words[:LONGEST_VALUE]}…"


class Reader:
    """
    Reads fields of tables by their place and notes every problem.

    Parameters
    ----------
    renamed : dict, optional
        Place -> the place where the file has it, if the file is of an older version.
    """

    def __init__(self, renamed: dict[Path, Path] | None = None) -> None:
        self.problems: list[Problem] = []
        self.told: set[Path] = set()
        self.renamed = renamed or {}

    def note(self, place: Path, value: Any, accepted: str, remedy: str = "") -> None:
        """Note a problem, one for each place, and none inside of what is wrong as a whole."""
        place = self.renamed.get(place, place)
        if not any(place[:n] in self.told for n in range(len(place) + 1)):
            self.told.add(place)
            self.problems.append(Problem(place, _short(value), accepted, remedy))

    def tried(self, place: Path, make: Callable, *args: Any, **how: Any) -> Any:
        """Return `make(...)`, or None with its refusal noted at a place."""
        try:
            return make(*args, **how)
        except InputError as problem:
            self.note(place, problem.value, problem.accepted, problem.remedy)
            return None

    def table(self, value: Any, place: Path) -> dict:
        """Return a table, an empty one if it is none."""
        if isinstance(value, dict):
            return value
        self.note(place, value, "a table of lines KEY = VALUE")
        return {}

    def known(self, table: dict, place: Path, allowed: Iterable[str]) -> None:
        """Note every key of a table that means nothing there; `note` is free for the builder's words."""
        for key in table:
            if key != "note":
                self.tried((*place, key), one_of, "", key, allowed, "Free words go into a key called note.")
            elif not isinstance(table[key], str):
                self.note((*place, key), table[key], "text in quotes")

    def value(self, table: dict, place: Path, key: str | int, kind: str, default: Any = NEEDED) -> Any:
        """
        Return a field in the inside unit, its default if it is not there, None if it cannot be read.

        A list of rows holds None for each row that cannot be read.
        """
        here = (*place, key)
        if key not in table:
            if default is NEEDED:
                self.note(here, "missing", "a value", "Add this line.")
                return None
            return default
        value = table[key]
        if isinstance(value, int) and value.bit_length() > 1024:  # too long to be told, or to be a float
            return self.note(here, value, "a number that is not so long")
        if kind == "text":
            return value if isinstance(value, str) else self.note(here, value, "text in quotes")
        if kind == "truth":
            return value if isinstance(value, bool) else self.note(here, value, "true or false")
        if kind == "texts":
            fine = isinstance(value, list) and all(isinstance(v, str) for v in value)
            return tuple(value) if fine else self.note(here, value, "a list of texts in quotes")
        if kind in ROWS:
            if not isinstance(value, list) or len(value) != len(ROWS[kind]):
                return self.note(here, value, ROW_WORDS[kind])
            row = [self.value(dict(enumerate(value)), here, n, inner) for n, inner in enumerate(ROWS[kind])]
            return None if None in row else tuple(row)
        if kind in LISTS:
            if not isinstance(value, list):
                return self.note(here, value, f"a list; each entry is {ROW_WORDS[LISTS[kind]]}")
            return tuple(self.value(dict(enumerate(value)), here, n, LISTS[kind]) for n in range(len(value)))
        if isinstance(value, (list, dict)):
            return self.note(here, value, "one value")
        return self.tried(here, to_si, "", value, kind)

    def built(self, make: Callable, place: Path, keys: dict[str, Path] | None = None, **values: Any) -> Any:
        """
        Make a record; a refusal is noted at the field that caused it.

        `keys` gives the place of a field where it is not its own name, also of what only a refusal speaks of. None
        where it may not stand makes None.
        """
        made = {f.name: f.default for f in fields(make)}
        ranges, fine = getattr(make, "RANGES", {}), True
        broken = {
            key: None for key, value in values.items() if isinstance(value, tuple) and any(v is None for v in value)
        }
        given = values | broken  # a list is read as a whole or not at all
        at = {key: (*place, *path) for key, path in ({key: (key,) for key in given} | (keys or {})).items()}
        for key in [k for k in given if k in ranges and given[k] is not None]:
            if self.tried(at[key], between, "", given[key], *ranges[key]) is None:
                given[key] = None
        # What was refused is left at its default, so that what is wrong besides is told as well.
        while True:
            for key in [k for k, value in given.items() if value is None and made[k] is not None]:
                fine = False
                if made[key] is MISSING:
                    return None
                del given[key]
            try:
                record = make(**given)
            except InputError as problem:
                words = problem.field.rpartition(", ")[2].split()
                field = next((f for f in ("_".join(words), words[0], f"{words[0]}s") if f in at), "")
                row = (int(words[1]) - 1,) if field == f"{words[0]}s" and words[-1].isdigit() else ()  # of a list
                self.note((*at.get(field, place), *row), problem.value, problem.accepted, problem.remedy)
                fine = False
                if field not in given or made[field] is MISSING:
                    return None
                del given[field]
            else:
                return record if fine else None

    def done(self, what: str, text: str = "") -> None:
        """
        Raise everything that was noted.

        Raises
        ------
        InputError
            One `Problem`, or `Problems` in the order of the file.
        """
        if not self.problems:
            return
        where = places(text) if text else {}
        for problem in self.problems:
            problem.line = line_of(text, problem.place, where)
        self.problems.sort(key=lambda p: p.line or 0)
        raise self.problems[0] if len(self.problems) == 1 else Problems(what, self.problems)
