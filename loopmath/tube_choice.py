"""
Which tube for a plan: the kinds of tube side by side, ranked by criteria whose weights the reader sets.

Three criteria are worked out for the plan, four are judged once for all in data/tube_kinds.csv (common practice, no
source). A score runs from 0 to 1; the total is the weighted mean. What the rules call a danger outranks any weight.
"""

import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from loopmath import loop as tree
from loopmath import rules, tables, units, wetted
from loopmath.checks import InputError, between, one_of
from loopmath.designs import number_of_designs, one_design
from loopmath.parts import Tube
from loopmath.plan import Plan
from loopmath.rules import CONTACT, ON, Fact
from loopmath.solution import solved
from loopmath.tube_ends import BRIEF, WHEN, TubeEnds, tube_ends, with_tube

#: What kinds of tube are compared by, and what its score says.
CRITERIA = {
    "softening": "how far the worst tube end stays below softening while it runs: 0 K, or less, to 20 K, or none",
    "forming": "how easily it is cut, bent and finished; judged",
    "transport": "how it bears being moved; judged",
    "cleaning": "how it is kept clean; judged",
    "looks": "how it looks, and how much of the coolant shows; judged",
    "cost": "price of the tube against the cheapest kind: 1 for that, 0.5 for twice its price",
    "upkeep": "months to the next top-up, from 0 to 12, less what the coolant does to it",
}
JUDGED = ("forming", "transport", "cleaning", "looks")
#: Weights that hold until the reader sets others: a tube that lets go floods the machine, and tube is a small part of
#: what a loop costs.
WEIGHTS = dict.fromkeys(CRITERIA, 0.5) | {"softening": 1.0, "cost": 0.25}
#: Where the scores of softening [K] and of months are full; what is bought beyond the length (common practice, no
#: source).
FULL_MARGIN, FULL_MONTHS, WASTE = 20.0, 12.0, 0.1
#: What upkeep is multiplied by for the gravest that is known of coolant and tube; ours, common practice, no source.
SPOILED = {"": 1.0, "notice": 0.75, "caution": 0.5, "warning": 0.25, "danger": 0.0}
#: The score of a cost that is not known.
UNKNOWN_COST = 0.5
#: Totals nearer than this are level to the last bit; nearer than that, to a reader.
LEVEL, ABOUT = 1e-9, 0.01


@dataclass(frozen=True, eq=False)
class Kind:
    """
    One kind of tube in a plan.

    Attributes
    ----------
    material, label : str
        Its name in the tables, and for the reader.
    tube : Tube
        The catalogue's nearest to the plan's longest run, or the plan's own.
    margin : float or None
        Of the worst tube end to softening while it runs; None if nothing softens. [K]
    briefly : (float, str) or None
        Of the worst tube end in the cases that pass within minutes [K], and which of them that is.
    cost : float or None
        Of the tube and its waste, in the plan's currency; None if a price is missing.
    months : float or None
        To the next top-up at the earliest; None if the wall passes no vapour or there is no reservoir to look at.
    scores : dict
        Criterion -> 0 to 1.
    words : dict
        Criterion -> why.
    total : float
        Weighted mean of the scores.
    told : tuple of (str, str)
        Signal word of every rule that speaks of this kind and not of all, gravest first, and what it says.
    tools : str
        What suits it, and what to heed.
    """

    material: str
    label: str
    tube: Tube
    margin: float | None
    briefly: tuple[float, str] | None
    cost: float | None
    months: float | None
    scores: dict[str, float]
    words: dict[str, str]
    total: float
    told: tuple[tuple[str, str], ...]
    tools: str

    @property
    def signals(self) -> Counter:
        """How many rules of each signal word speak of it; a rule counts once, at however many ends it fires."""
        return Counter(signal for signal, _ in self.told)

    @property
    def danger(self) -> str:
        """What the rules call a danger, empty if nothing."""
        return next((words for signal, words in self.told if signal == "danger"), "")

    @property
    def heed(self) -> str:
        """The gravest signal word of what the rules say of it, empty if that is no more than a notice."""
        return next((signal for signal, _ in self.told if signal != "notice"), "")

    def left(self, system: str = "metric") -> str:
        """Return what is left to softening, as it runs and when it stops, in words; empty if nothing softens."""
        return _left(self.margin, self.briefly, system)


class Turn(NamedTuple):
    """Beyond this weight of one criterion, all others kept, `rival` would be first: above or below it."""

    criterion: str
    weight: float
    above: bool
    rival: Kind


@dataclass(frozen=True, eq=False)
class TubeChoice:
    """
    The kinds of tube of a plan, best first.

    `weights` are those it was ranked by; `own` is the material of most of the plan's tube, which may be none of the
    kinds compared.
    """

    plan: Plan
    kinds: tuple[Kind, ...]
    weights: dict[str, float]
    own: str

    def weighed(self, weights: Mapping[str, float] | None = None) -> "TubeChoice":
        """Return the same kinds ranked by other weights, see `tube_choice`; nothing is solved again."""
        weights = _checked(weights)
        whole = sum(weights.values())
        kinds = [replace(k, total=sum(weights[c] * k.scores[c] for c in CRITERIA) / whole) for k in self.kinds]
        # Rounding must not decide between kinds that are level, nor may the order they came in.
        kinds.sort(key=lambda kind: (bool(kind.danger), -round(kind.total, 12), kind.material))
        return replace(self, kinds=tuple(kinds), weights=weights)

    @cached_property
    def turns(self) -> list[Turn]:
        """
        What would cost the first kind its place: for each criterion the nearest weight above and below, if any.

        The smallest change comes first. Against each rival the lead is straight in one weight, so these are exact.
        """
        first, *others = self.kinds
        out = []
        for criterion, now in self.weights.items():
            found = []
            for rival in (kind for kind in others if bool(kind.danger) == bool(first.danger)):
                slope = first.scores[criterion] - rival.scores[criterion]
                lead = sum(w * (first.scores[c] - rival.scores[c]) for c, w in self.weights.items())
                if slope:
                    at = now - lead / slope
                    if slope < 0 and at < 1.0 - LEVEL or slope > 0 and at > LEVEL:
                        found.append(Turn(criterion, at, slope < 0, rival))
            for above in (True, False):
                side = [turn for turn in found if turn.above == above]
                out += [min(side, key=lambda turn: abs(turn.weight - now))] if side else []
        return sorted(out, key=lambda turn: abs(turn.weight - self.weights[turn.criterion]))

    @property
    def reason(self) -> str:
        """What puts the first before the second, what speaks against it, and which weight would turn the order."""
        own = [place for place, kind in enumerate(self.kinds, start=1) if kind.material == self.own]
        words = [self.lead, _told_of(self.kinds[0]), _against(self), _turning(self), _dangers(self)]
        if own and own[0] > 1:
            words.append(f"The plan's own, {self.kinds[own[0] - 1].label}, is place {own[0]} of {len(self.kinds)}.")
        return " ".join(word for word in words if word)

    @property
    def lead(self) -> str:
        """What puts the first before the second, in a sentence."""
        first, second = self.kinds[:2]
        head = f"{_big(first)} is first with {first.total:.2f} of 1,"
        if second.danger and not first.danger:
            return f"{head} the only kind of which the rules tell no danger."
        gain = {c: w * (first.scores[c] - second.scores[c]) for c, w in self.weights.items()}
        best = sorted((c for c in gain if gain[c] > 0), key=lambda c: -gain[c])[:2]
        scores = " and ".join(f"{c} ({first.scores[c]:.2f} against {second.scores[c]:.2f})" for c in best)
        before = "about level with" if first.total - second.total < ABOUT else "before"
        return f"{head} {before} {second.label} with {second.total:.2f}{', by ' if scores else ''}{scores}."

    def work(self) -> pd.DataFrame:
        """Return what each kind asks of the builder: forming, moving, cleaning, and which tools suit."""
        rows = [(kind.label, *(kind.words[name] for name in ("forming", "transport", "cleaning")), kind.tools)
                for kind in self.kinds]  # fmt: skip
        return pd.DataFrame(rows, columns=["kind", "forming", "transport", "cleaning", "tools and care"])

    def table(self, system: str = "metric") -> pd.DataFrame:
        """
        Return one row for each kind, best first, units in the heads.

        No number stands where nothing softens, where no price is known, and where there is no top-up to come.
        """
        rise = units.DISPLAY[system]["difference"]
        money = f"cost [{self.plan.currency}]" if self.plan.currency else "cost in money"
        rows = [
            {
                "kind": kind.label,
                "tube": kind.tube.name,
                f"left as it runs [{rise.label}]": np.nan if kind.margin is None else rise.convert(kind.margin),
                f"left for minutes [{rise.label}]": np.nan if kind.briefly is None else rise.convert(kind.briefly[0]),
                money: np.nan if kind.cost is None else kind.cost,
                "months to top-up": np.nan if kind.months is None else kind.months,
                **kind.scores,
                "total": kind.total,
                "signals": ", ".join(f"{n} {signal}" for signal, n in kind.signals.items()) or "none",
            }
            for kind in self.kinds
        ]
        return pd.DataFrame(rows).round(2)


def tube_choice(
    plan: Plan, weights: Mapping[str, float] | None = None, ends: TubeEnds | None = None, system: str = "metric"
) -> TubeChoice:
    """
    Rank the kinds of tube for one plan.

    Parameters
    ----------
    plan : Plan
        One design, its tube of any material.
    weights : dict, optional
        Criterion of `CRITERIA` -> weight, 0 to 1; those not given are as in `WEIGHTS`. Only their proportions count.
    ends : TubeEnds, optional
        `tube_ends.tube_ends(plan)`, if it is at hand; the cases it was asked for are those that count.
    system : str
        "metric" or "us" units in the words.

    Returns
    -------
    choice : TubeChoice
        Kinds of data/tube_kinds.csv, best first; a kind of which the rules tell a danger stands below all of which
        they do not. `TubeChoice.weighed` ranks it anew without solving.

    Raises
    ------
    InputError
        If a criterion is unknown (the nearest are named), a weight lies outside 0 to 1, all are 0, the plan is N
        designs, has no tube, or has no answer to judge tube ends by.

    Notes
    -----
    Every kind is solved in its own nearest size, so that a rule it trips by its bore is told; its tube ends are judged
    at the temperatures of the plan as it stands. Runs that are laid go by their lengths and the number of their bends:
    another tube has fittings and a former of its own.
    """
    _checked(weights)
    one_of("system", system, units.DISPLAY)
    one_design("tube choice", number_of_designs(plan))
    if not _tubes(plan):
        raise InputError("tube choice", "no tube in the plan", "a plan with a run of tube")
    ends = ends or tube_ends(plan)
    if not ends.solution.known or not all(end.worst for end in ends.ends):
        plight = ends.solution.plight or "no case of the tube ends has an answer"
        raise InputError("tube choice", plight, "a plan whose tube walls are known", "Mend the plan first.")
    rows = tables.by_name("tube_kinds.csv")
    counted = plan.as_counts()
    plans = {material: counted.set(tube_material=material) for material in rows}
    judged = {material: with_tube(ends, material) for material in rows}
    fired = {material: _fired(material, plans[material], judged[material]) for material in rows}
    # A rule that fires whatever the tube tells the kinds not apart.
    always = set.intersection(*({place for _, _, place in found} for found in fired.values()))
    costs = {material: _cost(each) for material, each in plans.items()}
    cheapest = min((cost for cost in costs.values() if cost is not None), default=0.0)
    kinds = []
    for material, row in rows.items():
        each, tube = plans[material], _longest(plans[material]).tube
        found = {c: (row[c], row[f"{c}_words"]) for c in JUDGED}
        bend = units.show(tube.bend_radius, "length", system)
        found["forming"] = (row["forming"], f"{row['forming_words']} Least bend radius: {bend}.")
        *found["softening"], margin, briefly = _softening(tube, judged[material], system)
        *found["upkeep"], months = _upkeep(material, each, judged[material])
        found["cost"] = _cost_score(costs[material], cheapest, each, system)
        scores, words = ({c: found[c][part] for c in CRITERIA} for part in (0, 1))
        told = _told([(rule, fact) for rule, fact, place in fired[material] if place not in always], system)
        kinds.append(
            Kind(
                *(material, row["label"], tube, margin, briefly, costs[material], months),
                *(scores, words, 0.0, told, row["tools"]),
            )
        )
    return TubeChoice(plan, tuple(kinds), WEIGHTS, _longest(plan).tube.material).weighed(weights)


def _checked(weights: Mapping[str, float] | None) -> dict[str, float]:
    """Return all weights, the ones given in place of the usual ones."""
    given = {}
    for name, value in (weights or {}).items():
        one_of("criterion", name, CRITERIA)
        if np.ndim(value):
            raise InputError(f"weight of {name}", value, "one number, 0 to 1")
        given[name] = between(f"weight of {name}", value, 0.0, 1.0)
    out = WEIGHTS | given
    if not sum(out.values()) > 0:
        raise InputError("weights", "all 0", "at least one above 0", "Give what matters to you a weight.")
    return out


def _tubes(plan: Plan) -> list:
    """Return all that is cut from tube."""
    return [leaf for leaf in tree.leaves(plan.loop) if isinstance(leaf, (tree.Run, tree.DeadLeg))]


def _longest(plan: Plan) -> Any:
    """Return the longest of what is cut from the material of which there is most."""
    lengths: Counter = Counter()
    for leaf in _tubes(plan):
        lengths[leaf.tube.material] += float(leaf.length)
    most = max(lengths, key=lambda material: lengths[material])
    return max((leaf for leaf in _tubes(plan) if leaf.tube.material == most), key=lambda leaf: float(leaf.length))


# ------------------------------------------------------------------------------------------- what is worked out


def _softening(tube: Tube, ends: TubeEnds, system: str) -> tuple[float, str, float | None, tuple[float, str] | None]:
    """Return the score of softening, why, and what the worst ends have left, see `Kind.margin` and `Kind.briefly`."""
    soft = [end for end in ends.ends if end.soft is not None]
    if not soft:
        held = "does not soften in a loop" if tube.rigid else "sits on a barb under a clamp, where nothing necks"
        row = tables.by_name("plastics.csv").get(tube.material, {"continuous_limit_degc": ""})
        limit = min(tube.coolant_limit, row["continuous_limit_degc"] or tube.coolant_limit)
        walls = [w for e in ends.ends for w in (*(v for c, v in e.wall.items() if c not in BRIEF), e.beyond)]
        warmest = max((wall for wall in walls if np.isfinite(wall)), default=0.0)
        words = f"It {held}; it is rated to coolant of {units.DISPLAY[system]['temperature'].text(limit)}."
        return float(np.clip((limit - warmest) / FULL_MARGIN, 0.0, 1.0)), words, None, None
    lasting, passing = (
        [(end.soft - wall, case) for end in soft for case, wall in end.wall.items()
         if (case in BRIEF) == brief and np.isfinite(wall)]
        for brief in (False, True)
    )  # fmt: skip
    margin, briefly = min(lasting, default=(None, ""))[0], min(passing, default=None)
    least = min((left for end in soft if np.isfinite(left := end.left() or np.nan)), default=np.nan)
    score = float(np.clip(np.nan_to_num(least) / FULL_MARGIN, 0.0, 1.0))
    worst = min(
        soft, key=lambda end: end.soft - max(end.wall[case] for case in end.wall if np.isfinite(end.wall[case]))
    )
    return score, f"To softening: {_left(margin, briefly, system)}; its worst end is {worst.name}.", margin, briefly


def _left(margin: float | None, briefly: tuple[float, str] | None, system: str) -> str:
    """Return what is left to softening, as it runs and when it stops; empty if nothing softens."""
    found = [] if margin is None else [(margin, "while it runs")]
    found += [] if briefly is None else [(briefly[0], WHEN[briefly[1]])]
    rise = units.DISPLAY[system]["difference"]
    return ", ".join(f"{rise.text(abs(k))} {'left' if k >= 0 else 'over'} {when}" for k, when in found)


def _cost(plan: Plan) -> float | None:
    """Return what the tube of a plan costs with its waste, None if a price is missing."""
    prices = [(leaf.length, leaf.tube.price_per_m) for leaf in _tubes(plan)]
    if any(price is None for _, price in prices):
        return None
    return float(sum(length * price for length, price in prices) * (1.0 + WASTE))


def _cost_score(cost: float | None, cheapest: float, plan: Plan, system: str) -> tuple[float, str]:
    """Return the score of a cost, and what it is for."""
    if cost is None:
        return UNKNOWN_COST, "No price of this tube is known, so it stands in the middle."
    length = units.SLIDING[system]["length"].text(sum(float(leaf.length) for leaf in _tubes(plan)))
    money = f"{cost:.2f} {plan.currency}".strip()
    words = f"{money} for {length} of tube and a tenth for waste, without its fittings."
    return (cheapest / cost if cost > 0 else 1.0), words


def _upkeep(material: str, plan: Plan, ends: TubeEnds) -> tuple[float, str, float | None]:
    """Return the score of upkeep, why, and the months to the next top-up at the earliest."""
    months = None if ends.months is None else float(ends.months[0])
    if months is not None:
        words = f"Vapour through its wall takes a tenth of the reservoir in {months_in_words(months)} at the earliest."
    elif any(high > 0 for _, high in ends.vapour.values()):
        words = "The plan has no reservoir whose level tells what its wall passes as vapour."
    else:
        words = "Its wall passes no vapour."
    # The rule on the tube and that on coolant and tube say the same, so one place holds both and the graver speaks.
    base, colour = plan.coolant.base, wetted.treatment(plan)["colour"]
    facts = [Fact("tube material", "base", material)]
    facts += [Fact(CONTACT, where, f"{agent}{ON}{material}") for where, agent in (("base", base), ("colour", colour))]
    said: dict[str, rules.Rule] = {}
    for rule, fact, _ in rules.firings(facts):
        said.setdefault(fact.where, rule)
    gravest = next((rule.signal for rule in said.values()), "")
    score = (1.0 if months is None else min(months / FULL_MONTHS, 1.0)) * SPOILED[gravest]
    return score, " ".join([words, *(rule.why for rule in said.values())]), months


def months_in_words(months: float) -> str:
    """Return a time in words, as coarse as it is known."""
    if not np.isfinite(months):
        return "none"
    if months >= 36:
        return f"{months / 12:.0f} years" if months < 120 else "more than ten years"
    return f"{months:.0f} months" if months >= 9.5 else f"{months:.1f} months"


def _fired(material: str, plan: Plan, ends: TubeEnds) -> list[tuple[rules.Rule, Fact, tuple[str, str]]]:
    """Return (rule, fact, rule and place) of what the rules say of a plan and its tube ends, gravest first."""
    names = {leaf.tube.name for leaf in _tubes(plan)}
    found = rules.firings([*solved(plan).facts, *ends.facts], plan.house_rules)
    # What touches the tank or the seals is not the tube's, of whatever material that tube is; and the tubes of two
    # kinds are one place, though they have two names.
    return [
        (rule, fact, (rule.id, "" if fact.where in names else fact.where))
        for rule, fact, _ in found
        if rule.quantity != CONTACT or str(fact.value).endswith(f"{ON}{material}")
    ]


def _told(found: list[tuple[rules.Rule, Fact]], system: str) -> tuple[tuple[str, str], ...]:
    """Return signal and words of each rule once, at the place where it is exceeded most."""
    worst: dict[str, tuple[rules.Rule, Fact]] = {}
    for rule, fact in found:
        if rule.id in worst and rule.kind not in ("truth", "words"):
            other = worst[rule.id][1].value
            if fact.value > other if rule.compare == "above" else fact.value < other:
                worst[rule.id] = (rule, fact)
        worst.setdefault(rule.id, (rule, fact))
    return tuple((rule.signal, _short(rule, fact, system)) for rule, fact in worst.values())


def _short(rule: rules.Rule, fact: Fact, system: str) -> str:
    """Return what a rule says of a fact, in few words: of what lies below something, on which side and how far."""
    if rule.kind == "words":
        return str(fact.value) if rule.quantity == CONTACT else f"{rule.quantity} is {fact.value}"
    if rule.kind == "truth":
        return f"{rule.quantity} ({fact.where})"
    if match := re.fullmatch("(.*) below (.*) by", rule.quantity):
        value = rules.text_of(abs(fact.value), rule.kind, system)
        return f"{match[1]} {value} {'below' if fact.value >= 0 else 'over'} {match[2]} ({fact.where})"
    return f"{rule.quantity} {rules.text_of(fact.value, rule.kind, system)} ({fact.where})"


# ------------------------------------------------------------------------------------------------- the reasons


def _told_of(kind: Kind) -> str:
    """Return what the rules say of a kind, notices left out."""
    told = "; ".join(f"{signal}, {said}" for signal, said in kind.told if signal != "notice")
    return f"The rules say of it: {told}." if told else ""


def _against(choice: TubeChoice) -> str:
    """Return what speaks against the first: where it lies furthest behind the best, weights counted."""
    first = choice.kinds[0]
    best = {c: max(choice.kinds, key=lambda kind: kind.scores[c]) for c in CRITERIA}
    behind = {c: w * (best[c].scores[c] - first.scores[c]) for c, w in choice.weights.items()}
    most = max(behind, key=lambda c: behind[c])
    return f"Against it: {most}, {first.scores[most]:.2f}. {first.words[most]}" if behind[most] > 0 else ""


def _turning(choice: TubeChoice) -> str:
    """Return the smallest change of one weight that gives the first place to another kind."""
    if not choice.turns:
        return "No weight alone turns this order."
    turn = choice.turns[0]
    now = f"{choice.weights[turn.criterion]:.2f}"
    if now == f"{turn.weight:.2f}":
        return (
            f"With {'more' if turn.above else 'less'} than its {now} for {turn.criterion}, {turn.rival.label} is first."
        )
    side = "above" if turn.above else "below"
    return f"With the weight of {turn.criterion} {side} {turn.weight:.2f}, now {now}, {turn.rival.label} is first."


def _dangers(choice: TubeChoice) -> str:
    """Return which kinds the rules call a danger."""
    named = "; ".join(f"{kind.label}, {kind.danger}" for kind in choice.kinds if kind.danger)
    if not named:
        return ""
    if choice.kinds[0].danger:
        return f"The rules tell a danger of every kind: {named}."
    return f"Below all others whatever the weights, for the rules tell a danger: {named}."


def _big(kind: Kind) -> str:
    """Return a label as it begins a sentence."""
    return kind.label[:1].upper() + kind.label[1:]
