"""What is refused is refused in words: which field, which value, what is accepted, what to do."""

import math
from dataclasses import replace

import numpy as np
import pytest

from loopmath import catalogue
from loopmath.checks import InputError, OutOfRange, between, number, one_of, positive


def test_an_error_carries_its_four_parts_and_says_them():
    error = InputError("pump.speed", "fast", "a share, such as '55 %'", "Write a number.")
    assert (error.field, error.value) == ("pump.speed", "fast")
    assert (error.accepted, error.remedy) == ("a share, such as '55 %'", "Write a number.")
    assert str(error) == "pump.speed = 'fast' is not accepted. Accepted: a share, such as '55 %'. Write a number."


def test_an_error_without_a_remedy_ends_with_what_is_accepted():
    assert str(InputError("speed", 3, "0 to 1")) == "speed = 3 is not accepted. Accepted: 0 to 1."


def test_an_error_is_a_value_error_and_a_number_out_of_range_is_such_an_error():
    assert issubclass(InputError, ValueError)
    assert issubclass(OutOfRange, InputError)


@pytest.mark.parametrize("value", [0, 2.5, np.float64(2.5), np.int64(3), np.array(2.5)])
def test_a_number_comes_back_as_a_float(value):
    assert type(number("heat", value)) is float
    assert number("heat", value) == value


@pytest.mark.parametrize("value", [[1, 2], (1.0, 2.0), np.array([[1, 2], [3, 4]])])
def test_an_array_comes_back_as_floats_of_its_shape(value):
    out = number("heat", value)
    assert out.dtype == float
    np.testing.assert_array_equal(out, value)


@pytest.mark.parametrize("value", ["3", True, None, {}, [[1], [1, 2]], ["a"], 1 + 2j, 10**400, object(), math.nan])
def test_what_is_no_finite_number_is_refused_by_every_check(value):
    for check in (number, positive, between):
        with pytest.raises(InputError) as caught:
            check("heat", value, remedy="Give watts.")
        assert caught.value.field == "heat"
        assert "number" in caught.value.accepted
        assert caught.value.remedy == "Give watts."


def test_the_entry_that_is_not_finite_is_named():
    with pytest.raises(InputError) as caught:
        number("heat", [1.0, -math.inf, 2.0])
    assert caught.value.value == -math.inf
    assert caught.value.accepted == "a finite number"


@pytest.mark.parametrize("value", [5.0, 45.0, 25, [5.0, 45.0]])
def test_both_ends_of_a_range_belong_to_it(value):
    np.testing.assert_array_equal(between("room", value, 5.0, 45.0), value)


@pytest.mark.parametrize(
    ("low", "high", "value", "words"),
    [
        (5.0, 45.0, 50, "5 to 45 degC (a room a person sits in)"),
        (5.0, 45.0, math.nextafter(5.0, 0.0), "5 to 45 degC (a room a person sits in)"),
        (5.0, math.inf, 4.0, "at least 5 degC (a room a person sits in)"),
        (-math.inf, 45.0, 46.0, "at most 45 degC (a room a person sits in)"),
    ],
)
def test_a_value_outside_is_named_with_the_range_its_unit_and_the_reason(low, high, value, words):
    with pytest.raises(OutOfRange) as caught:
        between("room", value, low, high, "degC", "a room a person sits in", "Open a window.")
    assert (caught.value.field, caught.value.value) == ("room", value)
    assert (caught.value.accepted, caught.value.remedy) == (words, "Open a window.")


@pytest.mark.parametrize("bad", [4.0, 46.0])
def test_the_one_bad_entry_of_an_array_is_named(bad):
    with pytest.raises(OutOfRange) as caught:
        between("room", np.array([[20.0, 25.0], [bad, 30.0]]), 5.0, 45.0, "degC")
    assert caught.value.value == bad


@pytest.mark.parametrize("value", [0, 0.0, -1e-300, -3.0])
def test_zero_and_less_are_not_positive(value):
    with pytest.raises(OutOfRange, match="more than 0 m") as caught:
        positive("bore", value, "m", "Measure it.")
    assert (caught.value.value, caught.value.remedy) == (value, "Measure it.")


def test_the_bad_entry_of_an_array_that_should_be_positive_is_named():
    with pytest.raises(OutOfRange) as caught:
        positive("bore", [0.01, -0.002, 0.012], "m")
    assert caught.value.value == -0.002


def test_positive_values_pass():
    assert positive("bore", 1e-300) == 1e-300
    np.testing.assert_array_equal(positive("bore", [1, 2]), [1.0, 2.0])


def test_a_known_name_passes():
    assert one_of("layout", "series", ("series", "parallel")) == "series"


LONG = ["pump_speed", "fan_speed", "fittings", "room_air", "Height", *(f"zz{n}" for n in range(6))]


def test_of_a_long_list_an_unknown_name_is_told_those_spelt_like_it():
    with pytest.raises(InputError) as caught:
        one_of("setting", "pump_sped", LONG, "See SETTINGS.")
    assert (caught.value.value, caught.value.remedy) == ("pump_sped", "See SETTINGS.")
    assert caught.value.accepted == "a known name; nearest: 'pump_speed', 'fan_speed'"
    for name, told in (("heigt", "nearest: 'Height'"), ("room", "nearest: 'room_air'"), ("fit", "nearest: 'fittings'")):
        with pytest.raises(InputError, match=told):
            one_of("setting", name, LONG)


@pytest.mark.parametrize("name", ["elsewhere, on the moon", "", None])
def test_of_a_long_list_a_name_like_none_is_told_the_first_ten(name):
    with pytest.raises(InputError) as caught:
        one_of("setting", name, LONG)
    assert caught.value.accepted.startswith("one of: 'pump_speed', 'fan_speed', 'fittings', ")
    assert caught.value.accepted.endswith("'zz4' and 1 more")


@pytest.mark.parametrize("name", ["zzz", "pump_sped"])
def test_of_ten_names_or_fewer_all_are_told_each_in_quotes(name):
    with pytest.raises(InputError) as caught:
        one_of("setting", name, LONG[:10])
    assert caught.value.accepted == (
        "one of: 'pump_speed', 'fan_speed', 'fittings', 'room_air', 'Height', 'zz0', 'zz1', 'zz2', 'zz3', 'zz4'"
    )


@pytest.mark.parametrize("value", [None, 3, ["series"], {}])
def test_what_is_no_name_is_refused_in_words(value):
    with pytest.raises(InputError, match=r"Accepted: .*series"):
        one_of("layout", value, ("series", "parallel"))


@pytest.mark.parametrize("kind", ["measured", "measured_air"])
def test_a_range_that_ends_before_it_begins_is_refused(kind):
    core = catalogue.part("radiator", catalogue.names("radiator")[0])
    assert replace(core, **{f"{kind}_from": 1e-4, f"{kind}_to": 1e-4})
    with pytest.raises(OutOfRange, match=f"{kind.replace('_', ' ')} from"):
        replace(core, **{f"{kind}_from": 2e-4, f"{kind}_to": 1e-4})
