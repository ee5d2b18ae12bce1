"""
One table of rules, one small engine: facts of a design in, warnings in one form out.

A rule (a row of data/rules.csv) compares one named quantity with a limit. A fact is that quantity at one
place. Of several rules on one quantity only the gravest that fires at a place is kept.
"""

from dataclasses import dataclass
from functools import cache
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from loopmath import tables, units
from loopmath.checks import InputError, one_of

#: Signal words of ANSI Z535, gravest first.
SIGNALS = ("danger", "warning", "caution", "notice")


class Warned(NamedTuple):
    """One warning in its one form."""

    signal: str
    where: str
    quantity: str
    value: str
    limit: str
    why: str
    action: str
    source: str


COLUMNS = Warned._fields


@dataclass(frozen=True, eq=False)
class Fact:
    """A named quantity at one place, for N designs; `limit` where the part or the plan sets its own."""

    quantity: str
    where: str
    value: Any
    limit: Any = None


@dataclass(frozen=True)
class Rule:
    """One row of the table, limit in the inside unit."""

    id: str
    signal: str
    quantity: str
    compare: str
    limit: Any
    kind: str
    why: str
    action: str
    source: str

    def fires(self, fact: Fact) -> Any:
        """Return True where the rule fires; a quantity that is not known never fires."""
        limit = fact.limit if self.limit is None else self.limit
        with np.errstate(invalid="ignore"):
            if self.compare == "between":
                return (fact.value >= limit[0]) & (fact.value <= limit[1])
            return fact.value > limit if self.compare == "above" else fact.value < limit


def _limit(row: dict) -> Any:
    text, where = str(row["limit"]), f"rules.csv rule {row['id']} limit"
    if text == "own":
        return None
    if row["kind"] == "truth":
        return 0.0
    if row["kind"] == "voltage":
        return units.to_si(where, text.removesuffix(" V"), "count")
    if row["compare"] == "between":
        return tuple(units.to_si(where, end, "count") for end in text.split(" to "))
    return units.to_si(where, text, row["kind"])


@cache
def rules() -> tuple[Rule, ...]:
    """
    Return the rules, gravest first.

    Raises
    ------
    InputError
        If a row has an unknown signal word, comparison or limit; the message names the rule.
    """
    out = []
    for row in tables.read_table("rules.csv"):
        one_of(f"rules.csv rule {row['id']} signal", row["signal"], SIGNALS)
        one_of(f"rules.csv rule {row['id']} compare", row["compare"], ("above", "below", "between"))
        one_of(f"rules.csv rule {row['id']} kind", row["kind"], (*units.INSIDE, "voltage", "truth"))
        if row["compare"] == "between" and str(row["limit"]).count(" to ") != 1:
            raise InputError(f"rules.csv rule {row['id']} limit", row["limit"], "two numbers: 'LOW to HIGH'")
        source = row["source"] if row["basis"] == "" else f"{row['source']}: {row['basis']}"
        out.append(
            Rule(
                row["id"],
                row["signal"],
                row["quantity"],
                row["compare"],
                _limit(row),
                row["kind"],
                row["why"],
                row["action"],
                source,
            )
        )
    return tuple(sorted(out, key=lambda rule: SIGNALS.index(rule.signal)))


def firings(facts: list[Fact]) -> list[tuple[Rule, Fact, Any]]:
    """Return (rule, fact, mask of designs) for all that fire, gravest first, milder ones masked out."""
    out, taken = [], {}
    places: dict[str, list[Fact]] = {}
    for fact in facts:
        places.setdefault(fact.quantity, []).append(fact)
    for rule in rules():
        for fact in places.get(rule.quantity, ()):
            key = (fact.quantity, fact.where)
            mask = rule.fires(fact) & ~taken.get(key, np.False_)
            if np.any(mask):
                taken[key] = taken.get(key, np.False_) | mask
                out.append((rule, fact, mask))
    return out


def text_of(value: Any, kind: str, system: str) -> str:
    """Return a value or limit in words."""
    if isinstance(value, tuple):
        return " to ".join(f"{v:g}" for v in value)
    if kind == "voltage":
        return f"{value:.2f} V"
    return units.show(value, kind, system)


def warnings_of(facts: list[Fact], system: str = "metric") -> list[Warned]:
    """Return the warnings of one design, gravest first, values in "metric" or "us" units."""
    rows = []
    for rule, fact, _ in firings(facts):
        limit = fact.limit if rule.limit is None else rule.limit
        # A fact that is only true or false has nothing to print as value and limit.
        yes_or_no = rule.kind == "truth"
        value, bound = ("", "") if yes_or_no else (text_of(v, rule.kind, system) for v in (fact.value, limit))
        rows.append(Warned(rule.signal, fact.where, rule.quantity, value, bound, rule.why, rule.action, rule.source))
    return rows


def table(facts: list[Fact], system: str = "metric") -> pd.DataFrame:
    """Return the warnings of one design as a table: the fields of `Warned` are its columns."""
    return pd.DataFrame(warnings_of(facts, system), columns=list(COLUMNS))


def counts(facts: list[Fact], designs: int) -> dict[str, np.ndarray]:
    """Return for N designs how many rules of each signal word fire."""
    out = {signal: np.zeros(designs, dtype=int) for signal in SIGNALS}
    for rule, _, mask in firings(facts):
        out[rule.signal] += mask
    return out
