"""Tables as people paste them: read, or refused in words with every fault named."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopmath.checks import InputError
from loopmath.measured import COLUMNS as PART_COLUMNS
from loopmath.readings import TURNS, Column, load_readings, read_readings

L_MIN = 1e-3 / 60
COLUMNS = (
    Column("flow", "flow", ("volume flow", "q"), "L/min"),
    Column("head", "head", ("h", "lift"), "m", also=(("pressure", 1 / (998.2 * 9.80665)),)),
    Column("power", "power", ("electrical power", "p"), "W", needed=False),
    Column("speed", "share", ("rpm", "n"), "", needed=False, positive=True, also=((TURNS, 1.0),)),
    Column("water", "temperature", ("water temperature",), "degC", needed=False, low=-50.0),
)


def read(text):
    return read_readings(text, COLUMNS)


# Text, flows in L/min, heads in m: exact, since the same conversion would not show a wrong one.
GOOD = {
    "comma": ("flow [L/min],head [m]\n1.5,2\n3,4.25", [1.5, 3], [2, 4.25]),
    "semicolon, decimal commas": ("flow [L/min];head (m)\n1,5;2\n3;4,25\n", [1.5, 3], [2, 4.25]),
    "tab": ("flow\thead\n1.5\t2\n3\t4.25", [1.5, 3], [2, 4.25]),
    "tab, decimal commas": ("flow\thead\n1,5\t2\n3\t4,25", [1.5, 3], [2, 4.25]),
    "pipe": ("flow|head\n1.5|2\n3|4.25", [1.5, 3], [2, 4.25]),
    "framed in pipes": ("| flow | head |\n| 1.5 | 2 |\n| 3 | 4.25 |", [1.5, 3], [2, 4.25]),
    "blanks": ("flow   head\n1.5    2\n3      4.25", [1.5, 3], [2, 4.25]),
    "single blanks": ("flow head\n1.5 2\n3 4.25", [1.5, 3], [2, 4.25]),
    "blanks, decimal commas, no header": ("1,5 2,0\n3,0 4,25", [1.5, 3], [2, 4.25]),
    "blanks, units in brackets": ("flow [L/min] head [m]\n1.5 2\n3 4.25", [1.5, 3], [2, 4.25]),
    "comma and blank": ("1.5, 2\n3, 4.25", [1.5, 3], [2, 4.25]),
    "quoted": ('"flow, L/min","head, m"\n"1,5","2"\n"3","4,25"', [1.5, 3], [2, 4.25]),
    "comma unit": ("flow, L/min;head, m\n1.5;2\n3;4.25", [1.5, 3], [2, 4.25]),
    "comma unit parted by commas": ("flow, L/min, head, m\n1.5,2\n3,4.25", [1.5, 3], [2, 4.25]),
    "in": ("Flow in L/min;Head in m\n1.5;2\n3;4.25", [1.5, 3], [2, 4.25]),
    "bare unit after the name": ("flow L/h,head m\n90,2\n180,4.25", [1.5, 3], [2, 4.25]),
    "units alone": ("L/min;m;W\n1.5;2;1\n3;4.25;1", [1.5, 3], [2, 4.25]),
    "units on the second line": ("flow,head\nL/min,m\n1.5,2\n3,4.25", [1.5, 3], [2, 4.25]),
    "units in the cells": ("flow,head\n1.5 L/min,2 m\n3000 mL/min,425 cm", [1.5, 3], [2, 4.25]),
    "units in the cells, blanks": ("1.5 L/min 2 m\n3 L/min 4.25 m", [1.5, 3], [2, 4.25]),
    "mark of byte order, CRLF, blank lines, remarks": (
        "\ufeff# my bench\r\nflow;head\r\n\r\n1,5;2\r\n# again\r\n3;4,25\r\n",
        [1.5, 3],
        [2, 4.25],
    ),
    "thousands": ("flow [mL/min];head\n1.500,0;2\n3.000,0;4,25", [1.5, 3], [2, 4.25]),
    "thousands, points": ('flow [mL/min];head\n"1,500.0";2\n"3,000";4.25', [1.5, 3], [2, 4.25]),
    "thousands, blank": ("flow [mL/min];head\n1 500;2\n3\u00a0000;4.25", [1.5, 3], [2, 4.25]),
    "exponent": ("flow,head\n1.5e0,2E0\n0.3e+1,4.25", [1.5, 3], [2, 4.25]),
    "another order, a column more": ("shade;head;flow\nred;2;1.5\nblue;4.25;3", [1.5, 3], [2, 4.25]),
    "capitals, underscores": ("VOLUME_FLOW;Head\n1.5;2\n3;4.25", [1.5, 3], [2, 4.25]),
    "separator at the end": ("flow;head;\n1.5;2;\n3;4.25;", [1.5, 3], [2, 4.25]),
    # 998.2 kg/m3 x 9.80665 m/s2 is 9.78899803 kPa a metre, by hand.
    "kPa": ("flow;head [kPa]\n1.5;19.57799606\n3;41.60324163", [1.5, 3], [2, 4.25]),
    "trade spellings": ("flow lpm,head [ft]\n1.5,6.56167979\n3,13.94356955", [1.5, 3], [2, 4.25]),
    "gpm": ("flow [gpm];head\n0.396258079;2\n0.792516157;4.25", [1.5, 3], [2, 4.25]),
}


@pytest.mark.parametrize("case", GOOD)
def test_good_tables(case):
    text, flow, head = GOOD[case]
    found = read(text)
    np.testing.assert_allclose(found["flow"] / L_MIN, flow, rtol=1e-8)
    np.testing.assert_allclose(found["head"], head, rtol=1e-8)
    assert len(found) == 2


def test_lines_are_those_of_the_text():
    found = read("# one\n\nflow;head\n1;2\n\n# six\n3;4")
    assert found.rows.tolist() == [4, 7]


def test_what_was_assumed_is_said():
    assert any("no header" in n for n in read("1 2\n3 4").notes)
    notes = " ".join(read("flow;head [m];shade\n1;2;red").notes)
    assert "L/min" in notes
    assert "shade" in notes
    assert "Head" not in notes
    assert read("flow [L/h];head [m]\n1;2").notes == ()
    assert any("1,234" in n for n in read("flow [mL/min];head\n1,234;2\n5,678;3").notes)


def test_units_and_kinds_are_kept():
    found = read("flow [L/h];head [kPa];rpm;water [degF]\n1;2;3000;77")
    assert found.units == {"flow": "L/h", "head": "kPa", "speed": "rpm", "water": "degF"}
    assert found.kinds["head"] == "pressure"
    assert found.kinds["speed"] == TURNS
    assert found["speed"].tolist() == [3000.0]
    assert found["water"][0] == pytest.approx(25.0)
    assert found.scales["flow"] == pytest.approx(1e-3 / 3600)
    assert read("flow;head;speed [%]\n1;2;55")["speed"][0] == pytest.approx(0.55)
    assert read("flow;head;speed\n1;2;55 %")["speed"][0] == pytest.approx(0.55)


@pytest.mark.parametrize(
    ("cells", "step"),
    [
        (("1", "4", "9", "16", "25.1"), 1.0),
        (("3.9", "4", "4.1", "4.3"), 0.1),  # a spreadsheet drops the last 0 of 4.0
        (("0", "3.25", "3.5", "2.15"), 0.01),  # nothing is read off "0"
        (("1.2e1", "1.3e1", "1.45e1"), 1.0),
        (("1,25", "2,5", "3,75"), 0.01),
        (("300 cm", "250 cm", "190 cm"), 0.01),
        (("0", "0", "0"), 0.0),
    ],
)
def test_the_step_of_the_numbers_is_the_place_of_their_last_digit(cells, step):
    found = read("flow [L/h];head [m]\n" + "\n".join(f"{n};{cell}" for n, cell in enumerate(cells)))
    assert found.steps["head"] == pytest.approx(step)
    assert found.steps["flow"] == pytest.approx(1e-3 / 3600)


PARTS = {
    "coolant in": ("radiator", "coolant_inlet", "degC"),
    "Water in": ("radiator", "coolant_inlet", "degC"),
    "air in": ("radiator", "air_inlet", "degC"),
    "air in [°F]": ("radiator", "air_inlet", "°F"),
    "air in °C": ("radiator", "air_inlet", "°C"),
    "coolant in, °C": ("radiator", "coolant_inlet", "°C"),
    "fan": ("radiator", "speed", ""),
    "fan rpm": ("fan", "speed", "rpm"),
    "Fan [%]": ("fan", "speed", "%"),
    "pump rpm": ("pump", "speed", "rpm"),
    "K/W": ("block", "resistance", "K/W"),
}


@pytest.mark.parametrize("header", PARTS)
def test_headers_of_parts_are_names_before_they_are_units(header):
    kind, key, unit = PARTS[header]
    beside = {"radiator": "flow,W/K", "fan": "flow,pressure", "pump": "flow,head", "block": "flow,loss"}[kind]
    found = read_readings(
        f"{beside},{header}\n1,2,33\n" if "," not in header else f"{beside.replace(',', ';')};{header}\n1;2;33\n",
        PART_COLUMNS[kind],
    )
    assert key in found
    assert found.units[key] == unit
    assert found.doubts == ()


def test_a_column_that_is_not_used_although_it_has_a_unit_is_doubted():
    found = read("flow;head;shade;fan model;bearing [degC]\n1;2;red;x;40")
    assert found.doubts == (
        "The column 'bearing' is not used, although it is in degC: no such quantity is looked for by that name.",
    )
    assert any("shade, fan model" in n for n in found.notes)


def test_an_empty_cell_of_an_optional_column_is_no_number_and_no_fault():
    found = read("flow;head;power\n1;2;\n3;4;7\n5;6;-")
    np.testing.assert_array_equal(found["power"], [np.nan, 7.0, np.nan])
    assert "power" in found
    assert "speed" not in found
    assert found.having("flow", "power").rows.tolist() == [3]
    assert "power" not in read("flow;head;power\n1;2;\n3;4;")


def test_a_minus_of_print_is_a_minus():
    assert read("flow;head;water temperature\n1;2;−5")["water"][0] == -5.0


BAD = {
    "nothing": ("", "empty"),
    "remarks alone": ("# a\n\n# b", "empty"),
    "a header alone": ("flow;head", "no readings"),
    "words for a number": ("flow;head\n1;much", r"line 2, head: 'much' is no number"),
    "no number": ("flow;head\n1;nan", "line 2, head: 'nan'"),
    "endless": ("flow;head\n1;inf", "line 2, head: 'inf'"),
    "endless by its exponent": ("flow;head\n1;1e999", "line 2, head: '1e999'"),
    "negative": ("flow;head\n-1;2", "line 2, flow: '-1', at least 0"),
    "zero speed": ("flow;head;rpm\n1;2;0", "line 2, speed: '0', more than 0"),
    "a cell too few": ("flow;head\n1;2\n3", "line 3 has 1 cells, 2 expected"),
    "a cell too many": ("flow;head\n1;2\n3;4;5", "line 3 has 3 cells, 2 expected"),
    "an empty cell": ("flow;head\n1;2\n3;", "line 3, head: the cell is empty"),
    "a column missing": ("folw;head\n1;2", "no column for flow .*nearest header: 'folw'"),
    "a column missing, no header": ("1\n2", "no column for head"),
    "a column twice": ("flow;flow;head\n1;2;3", "two columns that could be flow"),
    "a unit of another kind": ("flow [kg];head\n1;2", "line 1, flow: the unit 'kg' is no flow"),
    "a unit nobody knows": ("flow [blorps];head\n1;2", "'blorps'"),
    "a cell's unit of another kind": ("flow;head\n1;2 kg", "line 2, head: '2 kg'"),
    "points and commas": ("flow;head\n1.5;2\n3;2,5", r"line 2 has a decimal point \(1.5\), line 3 a decimal comma"),
    "a point that groups badly": ("flow;head\n1.23.4,5;2", "line 2, flow: '1.23.4,5'"),
    "a picture": ("\x00\x01flow", "no text"),
    "an underscore": ("flow;head\n1_000;2", "line 2, flow"),
    "turns and shares": ("flow;head;speed\n1;2;50 %\n1;2;900 rpm", "speed"),
    "an open quote": ('flow;head\n"1;2', "line 2"),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_tables_are_refused_in_words(case):
    text, words = BAD[case]
    with pytest.raises(InputError, match=words):
        read(text)


def test_all_faults_are_told_at_once_in_the_order_of_the_lines():
    with pytest.raises(InputError) as refused:
        read("flow;head\n1;abc\n-2;3\n4\n5;nan\n6;7 kg")
    words = str(refused.value)
    assert [words.index(f"({n})") for n in range(1, 6)] == sorted(words.index(f"({n})") for n in range(1, 6))
    for line in range(2, 7):
        assert f"line {line}" in words
    assert refused.value.value == "5 faults"


def test_a_long_list_of_faults_is_cut():
    with pytest.raises(InputError, match="and 28 more"):
        read("flow;head\n" + "x;y\n" * 20)


def test_files(tmp_path):
    path = tmp_path / "bench.csv"
    path.write_bytes("flow [L/min];head [m]\r\n1,5;2\r\n".encode("utf-8-sig"))
    assert load_readings(path, COLUMNS)["flow"][0] == pytest.approx(1.5 * L_MIN)
    path.write_bytes("flow;head\n1,5;2\n".encode("utf-16"))
    assert load_readings(str(path), COLUMNS)["head"].tolist() == [2.0]
    path.write_bytes("flow [m³/h];head\n1;2".encode("latin-1"))
    with pytest.raises(InputError, match="UTF-8"):
        load_readings(path, COLUMNS)
    path.write_bytes("flow [m³/h];head\n0.09;2".encode())
    assert load_readings(path, COLUMNS)["flow"][0] == pytest.approx(1.5 * L_MIN)
    with pytest.raises(InputError, match=r"bench\.csv"):
        load_readings(tmp_path / "bnech.csv", COLUMNS)
    with pytest.raises(InputError, match="folder"):
        load_readings(tmp_path, COLUMNS)
    path.write_bytes(b"flow;head\n" + b"1;2\n" * 1_300_000)
    with pytest.raises(InputError, match="5 MB"):
        load_readings(path, COLUMNS)


def test_thousands_of_rows_and_every_one_right():
    flow, head = np.linspace(0, 20, 20_000), np.linspace(5, 0, 20_000)
    for text in (
        "flow;head\n" + "\n".join(f"{q!r};{h!r}" for q, h in zip(flow.tolist(), head.tolist(), strict=True)),
        "flow;head\n"
        + "\n".join(f"{q!r};{h!r}" for q, h in zip(flow.tolist(), head.tolist(), strict=True)).replace(".", ","),
    ):
        found = read(text)
        np.testing.assert_allclose(found["flow"] / L_MIN, flow, rtol=1e-9)
        np.testing.assert_allclose(found["head"], head, rtol=1e-12)


NUMBERS = st.floats(1e-6, 1e6).map(lambda v: float(f"{v:.6g}"))


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(NUMBERS, NUMBERS), min_size=2, max_size=8),
    st.sampled_from([";", "\t", "|", "   "]),
    st.booleans(),
    st.sampled_from(["{:.6g}", "{:.5e}", "{!r}"]),
    st.booleans(),
)
def test_numbers_survive_their_ways_of_being_written(rows, separator, commas, form, header):
    lines = [separator.join(form.format(v) for v in row) for row in rows]
    text = "\n".join(lines).replace(".", ",") if commas else "\n".join(lines)
    found = read(f"flow{separator}head\n{text}" if header else text)
    np.testing.assert_allclose(np.column_stack([found["flow"] / L_MIN, found["head"]]), rows, rtol=1e-9)
