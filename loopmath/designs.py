"""Records whose numbers may be arrays of N designs, the designs last: how many there are, and some of them only."""

from collections.abc import Callable
from dataclasses import fields
from typing import Any

import numpy as np

from loopmath.checks import InputError
from loopmath.laws.coolant import Coolant


def _map_arrays(record: Any, change: Callable[[np.ndarray], Any]) -> Any:
    """Return a record with every array in it, however deep, replaced by `change(array)`."""
    if isinstance(record, np.ndarray):
        return change(record)
    if isinstance(record, Coolant) and record.density.ndim == 1:
        return record  # its coefficients are no designs
    if isinstance(record, tuple):
        return tuple(_map_arrays(r, change) for r in record)
    if hasattr(record, "__dataclass_fields__"):
        new, fixed = {}, getattr(record, "FIXED", ())
        for f in fields(record):
            old = getattr(record, f.name)
            if f.name in fixed:
                continue
            if isinstance(old, (np.ndarray, tuple)) or hasattr(old, "__dataclass_fields__"):
                new[f.name] = _map_arrays(old, change)
        if not new:
            return record
        copy = object.__new__(type(record))  # skips the checks: the values were checked as a whole
        kept = {f.name: getattr(record, f.name) for f in fields(record)}  # what was worked out from them goes
        copy.__dict__.update(kept | new)
        return copy
    return record


def take(record: Any, where: Any, designs: int) -> Any:
    """Return a record with only the designs `where` (slice or index array) of its arrays kept."""
    return _map_arrays(record, lambda a: a[..., where] if a.ndim and a.shape[-1] == designs else a)


def number_of_designs(*records: Any) -> int | None:
    """
    Return N if any array of designs is found in the records, None if all is scalar.

    Raises
    ------
    InputError
        If two arrays of different length are found.
    """
    found: set[int] = set()

    def note(array: np.ndarray) -> np.ndarray:
        if array.ndim:
            found.add(array.shape[-1])
        return array

    for record in records:
        _map_arrays(record, note)
    if len(found) > 1:
        raise InputError("number of designs", sorted(found), "arrays of one common length")
    return found.pop() if found else None


def one_design(what: str, designs: int | None, remedy: str = "Choose one of them first.") -> None:
    """Raise InputError if there are N designs where `what` takes one."""
    if designs is not None:
        raise InputError(what, f"{designs} designs", "one design", remedy)
