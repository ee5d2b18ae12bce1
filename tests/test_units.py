"""The boundary of units: what a person writes is read, what is read comes back, the rest is refused."""

import math

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from loopmath import units
from loopmath.checks import InputError
from loopmath.units import DISPLAY, INSIDE, Quantity, show, to_si, written

SYSTEMS = [(system, kind) for system in DISPLAY for kind in INSIDE]


@pytest.mark.parametrize(("system", "kind"), SYSTEMS)
@given(value=st.floats(-1e6, 1e6))
def test_shown_value_leads_back_to_the_inside_value(system, kind, value):
    shown = DISPLAY[system][kind]
    assert shown.back(shown.convert(value)) == pytest.approx(value, rel=1e-12, abs=1e-9)


@pytest.mark.parametrize(("system", "kind"), SYSTEMS)
def test_an_array_is_shown_as_its_numbers_one_by_one(system, kind):
    shown = DISPLAY[system][kind]
    values = np.array([-3.0, 0.0, 1e-5, 42.0])
    np.testing.assert_array_equal(shown.convert(values), [shown.convert(v) for v in values])
    np.testing.assert_allclose(shown.back(shown.convert(values)), values, atol=1e-12)


@pytest.mark.parametrize(("system", "kind"), SYSTEMS)
@given(value=st.floats(0.0, 500.0))
def test_text_as_shown_is_read_back_within_its_last_digit(system, kind, value):
    shown = DISPLAY[system][kind]
    inside = shown.back(value)
    words = show(inside, kind, system).replace("°F diff.", "delta_degF").replace("°F/W", "delta_degF/W")
    words = words.replace("m³", "m^3").replace("ft³", "ft^3")
    again = shown.convert(to_si("shown", words, kind))
    assert again == pytest.approx(value, abs=0.5000001 * 10**-shown.digits)


@pytest.mark.parametrize("kind", INSIDE)
def test_a_plain_number_is_taken_in_the_inside_unit(kind):
    assert to_si("plain", 0.25, kind) == 0.25
    np.testing.assert_array_equal(to_si("plain", [0.25, 1.0], kind), [0.25, 1.0])


# Expected values follow from the definitions of NIST SP 811, appendix B.8: gallon (US) 3.785 411 784 L,
# inch 25.4 mm, foot 0.3048 m, and degC = (degF - 32)/1.8.
@pytest.mark.parametrize(
    ("text", "kind", "expected"),
    [
        ("3.5 L/min", "flow", 3.5e-3 / 60),
        ("0.9 gal/min", "flow", 0.9 * 3.785411784e-3 / 60),
        ("210 L/h", "flow", 0.21 / 3600),
        ("60 m^3/h", "air flow", 60 / 3600),
        ("35 ft^3/min", "air flow", 35 * 0.3048**3 / 60),
        ("12 mm", "length", 0.012),
        ("12mm", "length", 0.012),
        ("1/2 in", "length", 0.0127),
        ("  3 / 8 inch ", "length", 0.009525),
        ("31 degC", "temperature", 31.0),
        ("88 degF", "temperature", (88 - 32) / 1.8),
        ("31 °C", "temperature", 31.0),
        ("88 °F", "temperature", (88 - 32) / 1.8),
        ("300 K", "temperature", 26.85),
        ("-5 degC", "temperature", -5.0),
        ("−5 degC", "temperature", -5.0),
        ("5 K", "difference", 5.0),
        ("9 delta_degF", "difference", 5.0),
        ("−9 delta_degF", "difference", -5.0),
        ("55 %", "share", 0.55),
        ("55%", "share", 0.55),
        ("0.55", "share", 0.55),
        ("12 kPa", "pressure", 12e3),
        ("1.2 mH2O", "pressure", 1.2 * 9806.65),
        ("250 mL", "volume", 250e-6),
        ("140 W", "power", 140.0),
        ("0.05 K/W", "resistance", 0.05),
        ("0.6 m/s", "velocity", 0.6),
        ("32 dB", "sound", 32.0),
        ("32 dBA", "sound", 32.0),
        ("4", "count", 4.0),
        ("1.4e2 W", "power", 140.0),
    ],
)
def test_what_a_person_writes_is_read(text, kind, expected):
    assert to_si("field", text, kind) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("quantity", "kind", "expected"),
    [
        (Quantity(3.6, "L/min"), "flow", 6e-5),
        (Quantity(0.5, "inch"), "length", 0.0127),
        (Quantity(77, "degF"), "temperature", 25.0),
        (Quantity(9, "delta_degF"), "difference", 5.0),
        (Quantity(5, "kelvin"), "difference", 5.0),
        (Quantity(0.09, "delta_degF/W"), "resistance", 0.05),
        (Quantity(60, "percent"), "share", 0.6),
    ],
)
def test_a_quantity_is_read(quantity, kind, expected):
    assert to_si("field", quantity, kind) == pytest.approx(expected, rel=1e-12)


def test_a_quantity_of_many_designs_is_read_as_an_array():
    np.testing.assert_allclose(to_si("flow", Quantity([3.6, 7.2], "L/min"), "flow"), [6e-5, 1.2e-4])


def test_a_quantity_of_another_registry_is_read():
    import pint

    assert to_si("flow", pint.UnitRegistry().Quantity(3.6, "L/min"), "flow") == pytest.approx(6e-5)


#: A quantity that each kind must not take for one of its own.
WRONG = {
    "flow": "3 m",
    "air flow": "3 Pa",
    "head": "3 kPa",
    "pressure": "3 m",
    "length": "3 m^2",
    "temperature": "3 W",
    "difference": "3 W",
    "power": "3 J",
    "share": "3 W",
    "volume": "3 m",
    "velocity": "3 m",
    "resistance": "3 K",
    "sound": "3 Pa",
    "count": "3 m",
    "linear loss": "3 kPa",
    "quadratic loss": "3 kPa/(L/min)",
    "area": "3 mm",
    "air pressure": "3 m",
    "conductance": "3 W",
    "current": "3 V",
    "voltage": "3 A",
    "heat capacity": "3 J",
    "mass": "3 J",
    "angle": "3 m",
    "time": "3 m",
}


@pytest.mark.parametrize("kind", INSIDE)
def test_a_wrong_dimension_is_refused_with_an_example_of_the_right_one(kind):
    with pytest.raises(InputError) as caught:
        to_si("my field", WRONG[kind], kind)
    assert caught.value.field == "my field"
    assert units._EXAMPLE[kind] in caught.value.accepted


@pytest.mark.parametrize("kind", INSIDE)
def test_the_example_given_in_a_message_is_itself_accepted(kind):
    quoted = units._EXAMPLE[kind].split("'")[1::2]
    for text in quoted or ["4"]:
        assert math.isfinite(to_si("example", text, kind))


@pytest.mark.parametrize("kind", ["share", "count", "power", "length"])
def test_a_sound_level_is_no_other_quantity(kind):
    with pytest.raises(InputError):
        to_si("field", "55 dB", kind)


@pytest.mark.parametrize("value", ["5 delta_degC", "9 delta_degF", Quantity(5, "delta_degC")])
def test_a_difference_is_no_temperature(value):
    with pytest.raises(InputError, match="a temperature, such as"):
        to_si("room.air", value, "temperature")


@pytest.mark.parametrize(
    "value",
    ["25 degC", "77 degF", "25 °C", "25 celsius", "77 degree_Fahrenheit", Quantity(25, "degC"), Quantity(77, "degF")],
)
def test_a_temperature_is_no_difference(value):
    with pytest.raises(InputError, match="a difference is not a temperature"):
        to_si("case.air_over_room", value, "difference")


@pytest.mark.parametrize("kind", INSIDE)
@pytest.mark.parametrize(
    "value", [math.nan, math.inf, -math.inf, [1.0, math.nan], "nan m", "inf W", "", "   ", "m", "1e999", None, True, {}]
)
def test_no_finite_number_is_refused(kind, value):
    with pytest.raises(InputError) as caught:
        to_si("my field", value, kind)
    assert caught.value.field == "my field"


@pytest.mark.parametrize("kind", [kind for kind, unit in INSIDE.items() if unit])
def test_text_without_a_unit_is_refused(kind):
    with pytest.raises(InputError, match="a number with a unit"):
        to_si("field", "3", kind)


@pytest.mark.parametrize(
    "text", ["1/0 in", "1//2 in", "1.2.3 mm", "3 mm; 4", "3 furlongish", "1,500 m", "3 m/", "½ in"]
)
def test_text_that_cannot_be_read_is_refused(text):
    with pytest.raises(InputError):
        to_si("field", text, "length")


@given(st.text(max_size=30), st.sampled_from(sorted(INSIDE)))
def test_any_text_is_read_as_a_finite_number_or_refused_in_words(text, kind):
    try:
        value = to_si("field", text, kind)
    except InputError:
        return
    assert math.isfinite(value)


@pytest.mark.parametrize(
    ("value", "kind", "system", "how", "expected"),
    [
        (-5.0, "temperature", "metric", {}, "−5.0 °C"),
        (-0.04, "temperature", "metric", {}, "0.0 °C"),
        (-17.78, "temperature", "us", {}, "0.0 °F"),
        (3.0, "difference", "metric", {"sign": True}, "+3.0 K"),
        (-3.0, "difference", "metric", {"sign": True, "unit": False}, "−3.0"),
        (6e-5, "flow", "metric", {"unit": False}, "3.60"),
        (4.0, "count", "metric", {}, "4"),
        (math.nan, "temperature", "metric", {}, "none"),
        (None, "temperature", "us", {}, "none"),
        (-math.inf, "sound", "metric", {}, "none"),
    ],
)
def test_a_number_is_printed_with_a_true_minus_sign_and_its_unit(value, kind, system, how, expected):
    assert show(value, kind, system, **how) == expected


@pytest.mark.parametrize(
    ("kind", "one"),
    [
        # NIST SP 811, appendix B.8, exact where it prints bold: gallon (US) 3.785 411 784 L; inch 25.4 mm;
        # foot 0.3048 m; fluid ounce (US) 1/128 gallon; psi 6894.757 Pa as printed, 7 digits.
        ("flow", 60e3 / 3.785411784),
        ("air flow", 60 / 0.3048**3),
        ("head", 1 / 0.3048),
        ("pressure", pytest.approx(1 / 6894.757, rel=1e-7)),
        ("length", 1 / 0.0254),
        ("difference", 1.8),
        ("temperature", 1.8),
        ("volume", 128e3 / 3.785411784),
        ("velocity", 1 / 0.3048),
        ("resistance", 1.8),
    ],
)
def test_us_units_follow_their_definitions(kind, one):
    factor = DISPLAY["us"][kind].factor
    assert factor == (one if not isinstance(one, float) else pytest.approx(one, rel=1e-12))
    # 32 degF is 0 degC (NIST SP 811, section B.9); no other kind has a zero of its own.
    assert DISPLAY["us"][kind].offset == (pytest.approx(32.0) if kind == "temperature" else 0.0)


def test_every_kind_has_an_example_and_is_shown_in_both_systems():
    assert set(units._EXAMPLE) == set(INSIDE) == set(DISPLAY["metric"]) == set(DISPLAY["us"])


# ------------------------------------------------------------------------------------------ written into a file

#: Units that a person may have typed, by kind; `written` keeps them.
TYPED = {
    "flow": ("gal/min", "L/h", "mL/s"),
    "air flow": ("ft^3/min", "m^3/h"),
    "head": ("ft", "cm"),
    "pressure": ("psi", "mbar", "mH2O"),
    "length": ("in", "cm", "m"),
    "temperature": ("degF", "°C", "K"),
    "difference": ("delta_degF", "K"),
    "power": ("kW", "mW"),
    "share": ("%",),
    "volume": ("L", "fluid_ounce"),
    "velocity": ("ft/s",),
    "resistance": ("delta_degF/W", "mK/W"),
    "sound": ("dB",),
    "linear loss": ("Pa/(L/h)",),
    "quadratic loss": ("Pa/(L/h)^2",),
    "area": ("cm^2", "in^2"),
}


@pytest.mark.parametrize("kind", INSIDE)
@given(value=st.floats(-1e15, 1e15))
@example(value=5e-324)
@example(value=-0.0)
@example(value=0.1 + 0.2)
@example(value=1e-300)
@example(value=2.0**53 + 2)
def test_what_is_written_reads_back_bit_for_bit(kind, value):
    again = to_si("field", written(value, kind), kind)
    assert type(again) is float
    assert again.hex() == (value + 0.0).hex()


@pytest.mark.parametrize(("kind", "unit"), [(kind, unit) for kind, units_ in TYPED.items() for unit in units_])
@given(value=st.floats(-1e6, 1e6))
def test_what_is_written_like_something_reads_back_bit_for_bit(kind, unit, value):
    assert to_si("field", written(value, kind, f"7 {unit}"), kind) == value


@pytest.mark.parametrize(("kind", "unit"), [(kind, unit) for kind, units_ in TYPED.items() for unit in units_])
@given(tenths=st.integers(-99999, 99999))
def test_the_unit_that_was_typed_is_kept_with_the_number_a_person_would_type(kind, unit, tenths):
    typed = f"{tenths / 10:g} {unit}"
    text = written(to_si("field", typed, kind), kind, f"7 {unit}")
    assert text.endswith(f" {unit}")
    assert float(text.partition(" ")[0]) == pytest.approx(tenths / 10, rel=1e-11, abs=1e-9)


@pytest.mark.parametrize(
    ("value", "kind", "like", "expected"),
    [
        (0.012, "length", None, "12 mm"),
        (0.3, "length", None, "300 mm"),
        (120.0, "length", None, "120 m"),
        (0.0127, "length", "3/8 in", "0.5 in"),
        (0.55, "share", "60%", "55 %"),
        (30.0, "temperature", "77 degF", "86 degF"),
        (5.0, "difference", None, "5 K"),
        (140.0, "power", None, "140 W"),
        (3.0, "count", None, 3),
        (2.5, "count", "3", 2.5),
        (35.0, "sound", None, "35 dB"),
        (1e-4, "flow", None, "6 L/min"),
        (0.012, "area", None, "120 cm^2"),
        (0.009, "area", "14 in^2", "90 cm^2"),
        (0.009, "area", "14 mm^2", "9000 mm^2"),
        (1e-6, "area", "3 mm^2", "1 mm^2"),
        (0.00025, "volume", None, "250 mL"),
        (0.001, "volume", None, "1 L"),
        (0.0012, "volume", None, "1.2 L"),
        (0.055, "volume", None, "55 L"),
        (0.055, "volume", "2 mL", "55000 mL"),
        (0.001234, "volume", None, "1234 mL"),
        (90.0, "heat capacity", None, "90 J/K"),
    ],
)
def test_a_value_is_written_as_a_person_would(value, kind, like, expected):
    assert written(value, kind, like) == expected


def test_a_count_is_written_as_a_whole_number_where_it_is_one():
    assert type(written(3.0, "count")) is int
    assert type(written(3.5, "count")) is float


@pytest.mark.parametrize(
    ("text", "kind", "inside"),
    [
        ("1,5 m", "length", 1.5),
        ("24,5 °C", "temperature", 24.5),
        ("24 C", "temperature", 24.0),
        ("75F", "temperature", 23.88888888889),  # (75 - 32) / 1.8
        ("24 degrees C", "temperature", 24.0),
        ("34 dB(A)", "sound", 34.0),
        ("34,5 dB", "sound", 34.5),
        ("8 1/2 in", "length", 0.2159),
        ("1,2345 m", "length", 1.2345),
    ],
)
def test_what_builders_write_is_read(text, kind, inside):
    assert to_si("x", text, kind) == pytest.approx(inside, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "kind", "words"),
    [
        ("1,200 m", "length", r"'1\.200 m' or '1200 m'"),
        ("60", "share", "Write 60 %"),
        ("abc", "count", "such as '4'"),
        ("1,2,3 m", "length", "a unit that is known|a number"),
    ],
)
def test_what_can_mean_two_things_is_asked_back(text, kind, words):
    with pytest.raises(InputError, match=words):
        to_si("x", text, kind)
