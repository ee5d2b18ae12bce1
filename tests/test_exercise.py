"""The class exercise: a good plan, one change that ruins it, and the rules that prove both."""

import numpy as np
import pytest

from loopmath import InputError, solve
from loopmath.exercise import EXERCISES, exercise, grave, things

ALL = {number: exercise(number) for number in EXERCISES}
each = pytest.mark.parametrize("number", ALL)

#: What ruins each, typed by hand: signal word, what the rules judged, the answer's name and the word that tells.
RUINED = {
    1: ("danger", {"aluminium with a copper-family metal"}, "front radiator: ", "aluminium"),
    2: ("danger", {"mineral oil on EPDM"}, "O-rings wetted with: ", "oil"),
    3: ("warning", {"water on steel"}, "fittings of the tube: ", "steel"),
    4: ("warning", {"fan speed over its least speed by"}, "fans of front radiator: ", "15 %"),
    5: ("danger", {"tube below softening by"}, "air of the case: ", "27"),
    6: ("warning", {"difference where plating is worn through"}, "fittings of the tube: ", "zinc"),
    7: ("warning", {"inhibitor"}, "coolant: ", "pure"),
    8: ("warning", {"isopropyl alcohol on PMMA"}, "cleaned from outside with: ", "alcohol"),
    9: ("warning", {"loop flow"}, "pump: ", "35 %"),
    10: ("warning", {"narrowest channel"}, "coolant: ", "particle"),
    11: ("warning", {"tube edge: sharp"}, "ends of the tube: ", "sharp"),
    12: ("danger", {"tube below softening by", "coolant against tube limit"}, "tube: ", "PETG"),
}


def test_there_are_enough_of_them_and_each_is_in_the_table_above():
    assert list(ALL) == list(range(1, len(ALL) + 1))
    assert set(ALL) == set(RUINED)
    assert len(ALL) >= 8


@each
def test_the_good_plan_has_nothing_graver_than_a_caution(number):
    assert {row.signal for row in solve(ALL[number].good).warned()} <= {"caution", "notice"}


@each
def test_the_change_alone_makes_something_graver_exactly_there(number):
    signal, quantities, thing, _ = RUINED[number]
    found = grave(ALL[number].plan)
    assert found[0].signal == signal
    assert {row.quantity for row in found} == quantities
    changed = set(things(ALL[number].plan)) - set(things(ALL[number].good))
    assert changed == {ALL[number].answer}
    assert ALL[number].answer.startswith(thing)


@each
def test_plan_and_good_plan_differ_in_one_line_only(number):
    before, after = things(ALL[number].good), things(ALL[number].plan)
    assert sum(a != b for a, b in zip(before, after, strict=True)) == 1


@each
def test_choices_are_many_once_each_and_the_answer_is_one_of_them(number):
    choices = ALL[number].choices
    assert len(choices) >= 6
    assert len(set(choices)) == len(choices)
    assert choices.count(ALL[number].answer) == 1
    assert choices == tuple(things(ALL[number].plan))


def test_choices_stand_in_flow_order_parts_before_decisions():
    # Elements of data/plans/podcast_booth.toml in its own order; fans behind their radiator, runs as one tube.
    assert [choice.partition(":")[0] for choice in ALL[1].choices] == [
        *("reservoir", "fill tube", "pump", "drain", "processor", "graphics card"),
        *("front radiator", "fans of front radiator", "top radiator", "fans of top radiator"),
        *("tube", "fittings of the tube", "coolant", "air of the room", "air of the case"),
        *("cleaned from outside with", "O-rings", "ends of the tube", "O-rings wetted with"),
    ]


def test_soft_tube_has_no_ends_to_chamfer():
    assert not any(choice.startswith(("O-rings", "ends of")) for choice in ALL[3].choices)


def test_every_exercise_differs():
    for field in ("words", "hint", "why"):
        assert len({getattr(one, field) for one in ALL.values()}) == len(ALL)
    assert len({(one.plan.title, one.answer) for one in ALL.values()}) == len(ALL)


@each
def test_neither_words_nor_hint_name_the_answer(number):
    one = ALL[number]
    name, telling = RUINED[number][2].removesuffix(": "), RUINED[number][3]
    assert telling.lower() in one.answer.lower()
    assert not any(telling.lower() in text.lower() for text in (one.words, one.hint))
    assert name.lower() not in one.hint.lower()


@each
def test_the_reason_gives_the_number_the_rule_found_and_what_to_do(number):
    why, first = ALL[number].why, grave(ALL[number].plan)[0]
    assert first.why in why
    assert first.action in why
    assert first.signal in why
    assert (first.value or first.quantity[1:]) in why
    assert "{" not in why
    assert why[0] == why[0].upper()
    assert "!" not in why + ALL[number].words + ALL[number].hint


def test_the_share_of_glycol_stands_in_its_reason():
    assert ALL[7].why.startswith("20 % of glycol")  # data/coolants.csv, propylene-glycol-20-mass


@each
def test_only_the_answer_is_right_and_any_other_choice_gets_the_hint(number):
    one = ALL[number]
    for choice in one.choices:
        right, words = one.judge(choice)
        assert right == (choice == one.answer)
        assert (one.why in words) == right
        assert (one.hint in words) != right


@pytest.mark.parametrize("choice", ["pump", "", "the moon", None])
def test_a_choice_that_was_not_offered_is_refused(choice):
    with pytest.raises(InputError) as caught:
        ALL[1].judge(choice)
    assert caught.value.field == "choice"


@pytest.mark.parametrize("number", [0, -1, 13, 1.5, "one", None, [1]])
def test_an_exercise_that_is_not_there_is_refused(number):
    with pytest.raises(InputError, match="1 to 12"):
        exercise(number)


@each
def test_the_readers_units_change_the_words_and_not_the_exercise(number):
    us = exercise(number, "us")
    assert us.choices.index(us.answer) == ALL[number].choices.index(ALL[number].answer)
    assert not any(" K" in text or "°C" in text or "L/min" in text for text in (us.why, *us.choices))


def test_what_the_builders_say_of_heat_is_what_the_plans_say():
    # 5: blocks as cool as before, though the case is hot. 4: warmer than it should be. 9: hardly warmer.
    def warm(one, plan):
        return np.array([float(solve(plan).state[name]) for name in ("processor", "graphics card")])

    rise = {n: warm(ALL[n], ALL[n].plan) - warm(ALL[n], ALL[n].good) for n in (4, 5, 9)}
    assert np.all(np.abs(rise[5]) < 0.1)
    assert np.all(rise[4] > 2.0)
    over = [float(solve(p).state["coolant_over_room"]) for p in (ALL[9].plan, ALL[9].good)]
    assert 0 < over[0] - over[1] < 1.5
