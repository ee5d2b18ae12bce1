"""Refuse bad input in words: the field, the value, what is accepted, what to do."""

import difflib
import math
from collections.abc import Iterable
from typing import Any, ClassVar

import numpy as np


class InputError(ValueError):
    """
    The one error a user of the package meets.

    Attributes
    ----------
    field : str
        What was wrong, in the user's words or as a dotted place in the plan file.
    value : object
        The value that was given.
    accepted : str
        What would have been accepted.
    remedy : str
        What to do about it.
    """

    def __init__(self, field: str, value: Any, accepted: str, remedy: str = "") -> None:
        self.field, self.value, self.accepted, self.remedy = field, value, accepted, remedy
        words = f"{field} = {value!r} is not accepted. Accepted: {accepted}."
        super().__init__(words + (f" {remedy}" if remedy else ""))


class OutOfRange(InputError):
    """A number outside the range in which a relation or its data hold."""


def number(field: str, value: Any, remedy: str = "") -> Any:
    """
    Return `value` as a float, or as a float array if it is one; refuse NaN and infinity.

    Raises
    ------
    InputError
        If the value is no number, or any of it is not finite.
    """
    if isinstance(value, float) and math.isfinite(value):
        return float(value)
    if isinstance(value, bool) or isinstance(value, str):
        raise InputError(field, value, "a number", remedy)
    try:
        array = np.asarray(value, dtype=float)
    except (TypeError, ValueError, OverflowError):
        raise InputError(field, value, "a number", remedy) from None
    if array.size == 0:
        raise InputError(field, value, "at least one number", remedy)
    if not np.all(np.isfinite(array)):
        bad = value if array.ndim == 0 else array[~np.isfinite(array)][0]
        raise InputError(field, bad, "a finite number", remedy)
    return float(array) if array.ndim == 0 else array


def between(
    field: str,
    value: Any,
    low: float = -math.inf,
    high: float = math.inf,
    unit: str = "",
    because: str = "",
    remedy: str = "",
) -> Any:
    """
    Return `value` if all of it lies within `low` to `high`, ends included.

    Parameters
    ----------
    field : str
        Name of the value, for the message.
    value : float or array, any shape
        The value. [unit]
    low, high : float
        The ends of the accepted range. [unit]
    unit : str
        Unit as printed in the message.
    because, remedy : str
        Why the range ends there; what the user should do.

    Returns
    -------
    value : float or array
        The value as float, shape kept.

    Raises
    ------
    OutOfRange
        If any of it lies outside.
    InputError
        If it is no finite number.
    """
    if isinstance(value, float) and low <= value <= high:
        return float(value)  # the common case, on every solve
    value = number(field, value, remedy)
    outside = (np.asarray(value) < low) | (np.asarray(value) > high)
    if np.any(outside):
        bad = value if np.ndim(value) == 0 else float(np.asarray(value)[outside].flat[0])
        if math.isinf(high):
            words = f"at least {low:g}"
        elif math.isinf(low):
            words = f"at most {high:g}"
        else:
            words = f"{low:g} to {high:g}"
        words += f" {unit}" if unit else ""
        words += f" ({because})" if because else ""
        raise OutOfRange(field, bad, words, remedy)
    return value


def positive(field: str, value: Any, unit: str = "", remedy: str = "") -> Any:
    """Return `value` if all of it is greater than zero; raise `OutOfRange` otherwise."""
    value = number(field, value, remedy)
    if np.any(np.asarray(value) <= 0):
        raise OutOfRange(field, float(np.min(value)), f"more than 0{' ' + unit if unit else ''}", remedy)
    return value


#: Of a list no longer than this all names are told.
SHORT = 10


def one_of(field: str, value: str, known: Iterable[str], remedy: str = "") -> str:
    """
    Return `value` if it is one of `known`.

    Raises
    ------
    InputError
        If the name is unknown; the message lists all names of a short list, of a long one those that hold it or are
        spelt like it, or the first if none is.
    """
    known = list(known)
    if value in known:
        return value
    told, text = known[:SHORT], str(value).lower()
    start, end = "one of: ", f" and {len(known) - SHORT} more" if len(known) > SHORT else ""
    if end:
        names = [k.lower() for k in known]
        near = [name for name in names if text and text in name][:3]
        near = near or difflib.get_close_matches(text, names, n=3, cutoff=0.5)
        if near:
            told, start, end = [k for n in near for k in known if k.lower() == n], "a known name; nearest: ", ""
    raise InputError(field, value, start + ", ".join(map(repr, told)) + end, remedy)


class Checked:
    """
    Base of the records: every number named in `RANGES` is checked when the record is made, and kept as float.

    A subclass with a `__post_init__` of its own calls this one first.
    """

    #: Field -> (low, high, unit); both ends are accepted. None is left alone.
    RANGES: ClassVar[dict[str, tuple[float, float, str]]] = {}

    def __post_init__(self) -> None:
        for field, (low, high, unit) in self.RANGES.items():
            value = getattr(self, field)
            if value is not None and not (isinstance(value, float) and low <= value <= high):
                words = f"{getattr(self, 'name', type(self).__name__.lower())}, {field.replace('_', ' ')}"
                object.__setattr__(self, field, between(words, value, low, high, unit))
        for field in [f for f in self.RANGES if f.endswith("_from")]:
            low, high = getattr(self, field), getattr(self, f"{field.removesuffix('_from')}_to")
            if low is not None and high is not None and np.any(np.asarray(low) > np.asarray(high)):
                words = f"{getattr(self, 'name', '')}, {field.replace('_', ' ')}"
                raise OutOfRange(words, low, f"at most {high:g}, where the range ends")
