"""Find and read the files of data/: rows as records, errors that name file, row and column."""

import csv
from functools import cache
from pathlib import Path

from loopmath.checks import InputError

#: data/ is the sibling of the package folder in a checkout, which is how the package is installed.
DATA = Path(__file__).resolve().parent.parent / "data"

#: Columns that say where a row comes from; every row of every table has them.
PROVENANCE = ("source", "locator", "basis", "checked_on")


def data_file(name: str) -> Path:
    """Return the path of a file in data/, or say that the package needs its checkout."""
    path = DATA / name
    if not path.exists():
        raise InputError(
            "data file",
            str(path),
            "a file that exists",
            "Install from a checkout: cd to the project, then pip install -r requirements.txt.",
        )
    return path


def _cell(text: str) -> str | float:
    try:
        return float(text)
    except ValueError:
        return text


@cache
def read_table(name: str) -> tuple[dict, ...]:
    """
    Return the rows of one CSV file of data/ as dicts; cells that are numbers become floats.

    Parameters
    ----------
    name : str
        File name in data/, such as "pumps.csv".

    Raises
    ------
    InputError
        If the file is missing, a row has too many or too few cells, or a provenance column is empty.
    """
    path = data_file(name)
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    if not rows:
        raise InputError(f"{name}", "an empty file", "a header and rows")
    header, body = rows[0], rows[1:]
    out = []
    for line, cells in enumerate(body, start=2):
        if len(cells) != len(header):
            raise InputError(f"{name} line {line}", f"{len(cells)} cells", f"{len(header)} cells, as in line 1")
        row = {column: _cell(cell.strip()) for column, cell in zip(header, cells, strict=True)}
        for column in PROVENANCE:
            if column in header and row[column] == "":
                raise InputError(f"{name} line {line} column {column}", "", "where the row comes from")
        out.append(row)
    return tuple(out)


@cache
def by_name(name: str, key: str = "name") -> dict[str, dict]:
    """Return a table of data/ keyed by one column; a repeated key is an error."""
    found: dict[str, dict] = {}
    for line, row in enumerate(read_table(name), start=2):
        if row[key] in found:
            raise InputError(f"{name} line {line} column {key}", row[key], "a name used once")
        found[row[key]] = row
    return found
