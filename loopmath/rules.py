"""
One table of rules, one small engine: facts of a design in, warnings in one form out.

A rule is a row of data/rules.csv or of data/contacts.csv, or a house rule of a plan. Its condition is clauses joined by
"and": a quantity of data/quantities.csv, how it compares, and a limit. The first clause is judged at every place that
has the quantity; a further one at the same place, or anywhere in the machine if that place does not have it. Of several
rules on one quantity only the gravest that fires at a place is kept (on words: of those on the same words); house rules
always speak for themselves.
"""

from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from loopmath import tables, units
from loopmath.checks import InputError, one_of
from loopmath.laws.seals import EDGES

#: Signal words of ANSI Z535, gravest first.
SIGNALS = ("danger", "warning", "caution", "notice")
#: How a clause compares.
COMPARE = {
    **{"above": "above", "more than": "above", "below": "below", "less than": "below"},
    **{"from": "from", "is not": "is not", "is": "is"},
}
#: A limit the part or the plan sets; what stands between the clauses of a condition.
OWN_LIMIT, AND = "its limit", " and "
#: The quantity that names two things that touch, what stands between the two, and the word for a pair that gets on.
CONTACT, ON, FITS = "contact", " on ", "fits"
#: What stands before the name of a house rule where it speaks.
YOURS = "your rule "


def _column(file: str, name: str) -> list[str]:
    return list(dict.fromkeys(row[name] for row in tables.read_table(file)))


#: Quantity that is told in words -> the words it may be.
WORDS: dict[str, Callable[[], list[str]]] = {
    "coolant base": lambda: _column("coolants.csv", "base"),
    "coolant colour": lambda: _column("treatments.csv", "colour"),
    "tube material": lambda: [*_column("plastics.csv", "name"), "copper"],
    "tube edge": lambda: list(EDGES),
    CONTACT: lambda: list(
        dict.fromkeys(_pair(row) for row in tables.read_table("contacts.csv") if row["signal"] != FITS)
    ),
}


def _pair(row: dict) -> str:
    return f"{row['agent']}{ON}{row['material']}"


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
    """
    A named quantity at one place, for N designs; `limit` where the part or the plan sets its own.

    `also` holds what else is known there: other quantities, and words that an action may name in braces.
    """

    quantity: str
    where: str
    value: Any
    limit: Any = None
    also: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class HouseRule:
    """A rule of the builder's own, in a plan: its signal word, its condition in words, why, and what to do."""

    name: str
    when: str
    signal: str = "caution"
    why: str = "A rule of your own."
    action: str = "Change the plan or the rule."


@dataclass(frozen=True)
class Clause:
    """A quantity compared with a limit in the inside unit; None is the limit of the fact's own."""

    quantity: str
    compare: str
    limit: Any
    kind: str

    def holds(self, value: Any, own: Any = None) -> Any:
        """Return True where it holds; a quantity that is not known never does."""
        limit = own if self.limit is None else self.limit
        if limit is None:
            return np.False_
        if self.kind == "words":
            return np.bool_((value in limit) == (self.compare == "is"))
        with np.errstate(invalid="ignore"):
            if self.kind == "truth":
                return np.asarray(value) > 0 if (limit == "yes") == (self.compare == "is") else np.asarray(value) <= 0
            if self.compare == "from":
                return (value >= limit[0]) & (value <= limit[1])
            return value > limit if self.compare == "above" else value < limit


@dataclass(frozen=True)
class Rule:
    """One rule; quantity, comparison, limit and kind are those of its first clause."""

    id: str
    signal: str
    clauses: tuple[Clause, ...]
    why: str
    action: str
    source: str
    house: bool = False

    @property
    def quantity(self) -> str:
        """What is judged."""
        return self.clauses[0].quantity

    @property
    def compare(self) -> str:
        """How it compares."""
        return self.clauses[0].compare

    @property
    def limit(self) -> Any:
        """The limit in the inside unit, None where the fact sets it."""
        return self.clauses[0].limit

    @property
    def kind(self) -> str:
        """The kind of the quantity."""
        return self.clauses[0].kind

    def fires(self, fact: Fact, others: Mapping[str, list[Fact]] | None = None) -> Any:
        """Return True where the rule fires at a fact, beside all the facts by their quantity."""
        mask = self.clauses[0].holds(fact.value, fact.limit)
        for clause in self.clauses[1:]:
            mask = mask & _anywhere(clause, fact, others or {})
        return mask


def _anywhere(clause: Clause, fact: Fact, others: Mapping[str, list[Fact]]) -> Any:
    if clause.quantity in fact.also:
        return clause.holds(fact.also[clause.quantity])
    found = others.get(clause.quantity, [])
    here = [f for f in found if f.where == fact.where]
    out: Any = np.False_
    for f in here or found:
        out = out | clause.holds(f.value, f.limit)
    return out


# ------------------------------------------------------------------------------------------------------ reading


@cache
def quantities() -> dict[str, str]:
    """Return the quantities a rule can judge, and the kind of each: one of `units.INSIDE`, "truth" or "words"."""
    kinds = {name: row["kind"] for name, row in tables.by_name("quantities.csv").items()}
    for name, kind in kinds.items():
        one_of(f"quantities.csv {name} kind", kind, (*units.INSIDE, "truth", "words"))
    return kinds


def clauses(place: str, condition: str) -> tuple[Clause, ...]:
    """
    Return the clauses of a condition such as "loop flow below 1 L/min and coolant over room above 10 K".

    Raises
    ------
    InputError
        If a quantity is unknown (the nearest are listed), or a comparison or limit cannot be read; `place` is named.
    """
    known, out = quantities(), []
    for text in " ".join(str(condition).split()).split(AND):
        quantity = max((q for q in known if f"{text} ".startswith(f"{q} ")), key=len, default="")
        if not quantity:
            word = next((text.partition(f" {c} ")[0] for c in COMPARE if f" {c} " in text), text)
            one_of(f"{place}, quantity", word, known, "Such as: loop flow below 1 L/min.")
        rest = text[len(quantity) + 1 :]
        compare = next((c for c in COMPARE if f"{rest} ".startswith(f"{c} ")), "")
        if not compare:
            one_of(f"{place}, comparison", rest.split(" ")[0], COMPARE)
        limit, kind = rest[len(compare) + 1 :], known[quantity]
        others = limit.split(" or ")[1:]
        if others and (kind != "words" or any(f"{other} ".startswith(f"{q} ") for other in others for q in known)):
            raise InputError(f"{place}, limit", limit, "clauses joined by and", "For or write two rules.")
        if not limit or limit == OWN_LIMIT and not tables.by_name("quantities.csv")[quantity]["own_limit"]:
            remedy = f"Write it out: {quantity} has no limit of its own."
            raise InputError(f"{place}, limit", limit or "nothing", "what to compare with", remedy)
        limit = _limit(f"{place}, limit", limit, COMPARE[compare], kind, quantity)
        out.append(Clause(quantity, COMPARE[compare], limit, kind))
    return tuple(out)


def _limit(place: str, text: str, compare: str, kind: str, quantity: str) -> Any:
    if (kind in ("truth", "words")) != (compare in ("is", "is not")):
        fitting = ("is", "is not") if kind in ("truth", "words") else ("above", "below", "from")
        raise InputError(place, f"{compare} {text}", f"a comparison by: {', '.join(fitting)}")
    if kind == "truth":
        return one_of(place, text, ("yes", "no"))
    if kind == "words":
        return tuple(one_of(place, word.strip(), WORDS[quantity]()) for word in text.split(" or "))
    if compare == "from":
        ends = text.split(" to ")
        if len(ends) != 2:
            raise InputError(place, text, "two limits: LOW to HIGH")
        low, high = (units.to_si(place, end, kind) for end in ends)
        if low > high:
            raise InputError(place, text, "the lower limit first")
        return low, high
    return None if text == OWN_LIMIT else units.to_si(place, text, kind)


def _made(id_: str, signal: str, condition: str, why: str, action: str, source: str, house: bool = False) -> Rule:
    where = f"house rule {id_}" if house else f"rule {id_}"
    one_of(f"{where}, signal", signal, SIGNALS)
    return Rule(id_, signal, clauses(where, condition), why, action, source, house)


@cache
def _read() -> tuple[tuple[Rule, ...], tuple[InputError, ...]]:
    """Return the rules of the tables, gravest first, and what is wrong with those that cannot be read."""
    out, wrong = [], []
    for row in tables.read_table("rules.csv"):
        cells = (row["id"], row["signal"], row["condition"], row["why"], row["action"])
        try:
            out.append(_made(*cells, _source(row)))
        except InputError as problem:
            wrong.append(problem)
    for row in tables.read_table("contacts.csv"):
        if row["signal"] != FITS:
            further = f"{AND}{row['also']}" if row["also"] else ""
            condition = f"{CONTACT} is {_pair(row)}{further}"
            try:
                out.append(
                    _made(_pair(row) + further, row["signal"], condition, row["why"], row["action"], _source(row))
                )
            except InputError as problem:
                wrong.append(problem)
    return tuple(sorted(out, key=lambda rule: SIGNALS.index(rule.signal))), tuple(wrong)


def _source(row: dict) -> str:
    return row["source"] if row["basis"] == "" else f"{row['source']}: {row['basis']}"


def rules() -> tuple[Rule, ...]:
    """Return the rules of data/, gravest first; those that cannot be read are left out and told by `problems`."""
    return _read()[0]


def problems(house: Iterable[HouseRule] = ()) -> list[InputError]:
    """Return what is wrong with rules that cannot be judged, those of a house among them."""
    return [*_read()[1], *_house(tuple(house))[1]]


@cache
def _house(house: tuple[HouseRule, ...]) -> tuple[list[Rule], list[InputError]]:
    out, wrong = [], []
    for own in house:
        try:
            source = f"plan: {YOURS}{own.name}"
            out.append(_made(own.name, own.signal, own.when, own.why, own.action, source, house=True))
        except InputError as problem:
            wrong.append(problem)
    return out, wrong


# ------------------------------------------------------------------------------------------------------ judging


def firings(facts: list[Fact], house: Iterable[HouseRule] = ()) -> list[tuple[Rule, Fact, Any]]:
    """Return (rule, fact, mask of designs) for all that fire, gravest first, milder ones masked out."""
    out, taken = [], {}
    places: dict[str, list[Fact]] = {}
    for fact in facts:
        places.setdefault(fact.quantity, []).append(fact)
    every = (*rules(), *_house(tuple(house))[0])
    for rule in sorted(every, key=lambda rule: SIGNALS.index(rule.signal)) if house else every:
        for fact in places.get(rule.quantity, ()):
            words = fact.value if rule.kind == "words" else ""
            key = (fact.quantity, fact.where, words, rule.id if rule.house else "")
            mask = rule.fires(fact, places) & ~taken.get(key, np.False_)
            if np.any(mask):
                taken[key] = taken.get(key, np.False_) | mask
                out.append((rule, fact, mask))
    return out


def text_of(value: Any, kind: str, system: str) -> str:
    """Return a value or limit in words."""
    if isinstance(value, tuple):
        return (" or " if kind == "words" else " to ").join(text_of(v, kind, system) for v in value)
    if kind == "words":
        return str(value)
    shown = units.DISPLAY[system][kind]
    if kind == "voltage":
        return replace(shown, digits=2).text(value)
    small = float(shown.convert(value)) + 0.0
    if kind in ("share", "count") and abs(small) < 10:  # whole numbers would hide on which side of a limit it lies
        return f"{small:.3g} {shown.label}".strip().replace("-", "−")
    return shown.text(value)


def warnings_of(facts: list[Fact], system: str = "metric", house: Iterable[HouseRule] = ()) -> list[Warned]:
    """Return the warnings of one design, gravest first, values in "metric" or "us" units."""
    rows = []
    for rule, fact, _ in firings(facts, house):
        limit = fact.limit if rule.limit is None else rule.limit
        # What is only so or not so has nothing to print as value and limit.
        plain = rule.kind in ("truth", "words")
        value, bound = ("", "") if plain else (text_of(v, rule.kind, system) for v in (fact.value, limit))
        words, action = _judged(rule, fact), _named(rule.action, fact)
        rows.append(Warned(rule.signal, fact.where, words, value, bound, rule.why, action, rule.source))
    for p in problems(house):
        words, action = f"{p.field} cannot be judged", "Mend the rule; all others hold."
        rows.append(Warned("warning", "rules", words, "", "", str(p), action, "plan"))
    return sorted(rows, key=lambda row: SIGNALS.index(row.signal))


def told(rows: Iterable[Warned]) -> str:
    """Return how many warnings there are of each signal word, as a sentence."""
    found = Counter(row.signal for row in rows)
    listed = [f"{found[w]} {w}{'s' if found[w] > 1 else ''}" for w in SIGNALS if w in found]
    return (", ".join(listed) if listed else "No warnings") + "."


def _judged(rule: Rule, fact: Fact) -> str:
    """Return what was judged in words: what is missing is called so, and a house rule by its name."""
    words = rule.quantity
    if rule.kind == "words":
        words = str(fact.value) if words == CONTACT else f"{words}: {fact.value}"
    if rule.kind == "truth" and (rule.limit == "no") == (rule.compare == "is"):
        words = f"no {words}"
    return f"{words} ({YOURS.strip()}: {rule.id})" if rule.house else words


def _named(action: str, fact: Fact) -> str:
    """Return an action with the words of the place put in."""
    for key, words in fact.also.items():
        action = action.replace(f"{{{key}}}", str(words))
    return action


def table(facts: list[Fact], system: str = "metric", house: Iterable[HouseRule] = ()) -> pd.DataFrame:
    """Return the warnings of one design as a table: the fields of `Warned` are its columns."""
    return pd.DataFrame(warnings_of(facts, system, house), columns=list(COLUMNS))


def counts(facts: list[Fact], designs: int, house: Iterable[HouseRule] = ()) -> dict[str, np.ndarray]:
    """Return for N designs how many rules of each signal word fire."""
    out = {signal: np.zeros(designs, dtype=int) for signal in SIGNALS}
    for rule, _, mask in firings(facts, house):
        out[rule.signal] += mask
    out["warning"] += len(problems(house))
    return out
