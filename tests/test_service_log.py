"""The log: lines are added and never changed, none is lost, and what cannot be read is told by its line."""

import csv
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopmath import InputError, demo_plan
from loopmath.service_log import COLUMNS, FLUSH, KINDS, STRIP, TOP_UP, Entry, append, log_path, read_log

TODAY = date(2027, 6, 15)
FULL = Entry(
    "2027-03-01",
    "reading",
    topped_up="20 mL",
    ph=7.4,
    colour="clear, faintly green",
    coolant="88.7 degF",
    room="25 degC",
    part="processor",
    part_temperature=54.0,
    flow="2.7 L/min",
    heat="440 W",
    load="80 %",
    pump_speed=0.7,
    fan_speed="55 %",
    note='said "drip", looked; none',
)


@pytest.fixture
def path(tmp_path):
    return tmp_path / "plans" / "booth.log.csv"


def test_an_entry_reads_back_as_it_was_written(path):
    append(path, FULL, TODAY)
    append(path, Entry(date(2027, 3, 2)), TODAY)
    full, bare = read_log(path, TODAY).entries
    for name in Entry.__dataclass_fields__:
        wanted = getattr(FULL, name)
        assert getattr(full, name) == (pytest.approx(wanted, rel=1e-11) if isinstance(wanted, float) else wanted), name
    assert bare == Entry("2027-03-02")


def test_units_stand_in_the_columns(path):
    append(path, FULL, TODAY)
    with path.open(encoding="utf-8", newline="") as file:
        (row,) = csv.DictReader(file)
    assert tuple(row) == COLUMNS
    assert (row["topped_up_ml"], row["coolant_degc"], row["flow_l_min"]) == ("20", "31.5", "2.7")
    assert (row["heat_w"], row["load_percent"], row["fan_percent"]) == ("440", "80", "55")


def test_what_stands_in_the_file_is_never_touched(path):
    append(path, FULL, TODAY)
    for line in (b"not a line of ours\r\n", b"\xff\xfe\n", b"2027-03-05,rea"):
        before = path.read_bytes() + line
        path.write_bytes(before)
        append(path, Entry("2027-04-01", "inspection"), TODAY)
        assert path.read_bytes().startswith(before)
    assert len(read_log(path, TODAY).entries) == 4


def test_a_torn_last_line_is_left_and_told(path):
    append(path, FULL, TODAY)
    path.write_bytes(path.read_bytes() + b"2027-03-05,rea")
    saved = append(path, Entry("2027-04-01", "note", note="after"), TODAY)
    assert "broken off" in saved.words
    found = read_log(path, TODAY)
    assert [e.note for e in found.entries][-1] == "after"
    assert [t.line for t in found.skipped] == [3]


@pytest.mark.parametrize(
    ("line", "why"),
    [
        (b"2027-03-01,note,\xff,,,,,,,,,,,,", "UTF-8"),
        (b"2027-03-01,note", "cells"),
        (b"2027-03-01,note,,,,,,,,,,,,,,,", "cells"),
        (b"2027-02-30,note" + b"," * 13, "date"),
        (b"01.03.2027,note" + b"," * 13, "date"),
        (b"2027-09-01,note" + b"," * 13, "a day that has come"),
        (b"2027-03-01,party" + b"," * 13, "kind of entry"),
        (b"2027-03-01,note,much" + b"," * 12, "topped_up_ml"),
        (b"2027-03-01,note,,15" + b"," * 11, "ph"),
        (b"2027-03-01,note,nan" + b"," * 12, "finite"),
        (b"2027-03-01,note,,,,990" + b"," * 9, "coolant"),
        (b'2027-03-01,note,,,"clear' + b"," * 10, "quotation mark"),
    ],
)
def test_a_line_that_cannot_be_read_stays_is_skipped_and_told(path, line, why):
    append(path, FULL, TODAY)
    path.write_bytes(path.read_bytes() + line + b"\n")
    append(path, Entry("2027-04-01"), TODAY)
    found = read_log(path, TODAY)
    assert len(found.entries) == 2
    ((number, words),) = found.skipped
    assert number == 3
    assert why in words
    assert f"Line 3 is left out: {words}" in found.words
    assert line in path.read_bytes()


def test_a_file_from_a_spreadsheet_reads_the_same(path):
    append(path, FULL, TODAY)
    plain = read_log(path, TODAY).entries
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n") + b"\r\n" + b"," * 14 + b"\r\n")
    found = read_log(path, TODAY)
    assert (found.entries, found.skipped) == (plain, ())


@pytest.mark.parametrize("sign", "=+-@")
@pytest.mark.parametrize("before", ["", "'", "''"])
def test_words_a_spreadsheet_would_run_are_made_harmless_and_read_back(path, sign, before):
    words = f"{before}{sign}SUM(A1:A9)"
    append(path, Entry("2027-03-01", "note", note=words, colour=words, part=words), TODAY)
    with path.open(encoding="utf-8", newline="") as file:
        cells = [cell for row in csv.reader(file) for cell in row]
    assert not [cell for cell in cells if cell[:1] in tuple("=+-@\t\r")]
    (entry,) = read_log(path, TODAY).entries
    assert (entry.note, entry.colour, entry.part) == (words,) * 3


@given(note=st.text(max_size=60))
def test_any_words_stay_one_line_and_read_back(tmp_path_factory, note):
    path = tmp_path_factory.mktemp("log") / "x.csv"
    entry = Entry("2027-03-01", note=note)
    append(path, entry, TODAY)
    assert path.read_bytes().count(b"\n") == 2
    assert read_log(path, TODAY).entries == (entry,)


def test_half_a_sign_is_refused_and_nothing_is_written(path):
    with pytest.raises(InputError, match="UTF-8"):
        append(path, Entry("2027-03-01", note="half a sign \ud83d"), TODAY)
    assert not path.exists()


def test_dates_that_go_backwards_are_told_and_put_in_order(path):
    append(path, Entry("2027-03-10"), TODAY)
    saved = append(path, Entry("2027-03-01"), TODAY)
    assert "before that of the newest entry, 2027-03-10" in saved.words
    found = read_log(path, TODAY)
    assert [str(e.day) for e in found.entries] == ["2027-03-01", "2027-03-10"]
    assert [r.line for r in found.remarks] == [3]
    assert "Line 3" in found.words


@pytest.mark.parametrize(
    ("field", "given_"),
    [
        ("day", "2027-02-29"),
        ("day", "yesterday"),
        ("day", "1027-02-01"),
        ("kind", "flushing"),
        ("ph", 14.5),
        ("topped_up", "3 kg"),
        ("coolant", float("nan")),
        ("load", -0.1),
        ("pump_speed", 1.2),
    ],
)
def test_a_wrong_entry_is_refused(field, given_):
    with pytest.raises(InputError) as told:
        Entry(**({"day": "2027-03-01"} | {field: given_}))
    assert told.value.accepted


def test_a_day_that_has_not_come_is_refused_and_nothing_is_written(path):
    with pytest.raises(InputError, match="a day that has come"):
        append(path, Entry("2027-06-17"), TODAY)
    assert not path.exists()
    append(path, Entry("2027-06-16"), TODAY)  # it is tomorrow somewhere


def test_a_log_that_cannot_be_read_or_written_is_told_in_words(tmp_path):
    with pytest.raises(InputError, match="log"):
        read_log(tmp_path)
    with pytest.raises(InputError, match="can be written to"):
        append(tmp_path, FULL, TODAY)
    assert read_log(tmp_path / "none.csv").words == "No entries yet."


def test_a_job_counts_for_those_it_includes(path):
    for day, kind in (("2027-01-01", STRIP), ("2027-02-01", FLUSH), ("2027-03-01", "note")):
        append(path, Entry(day, kind), TODAY)
    log = read_log(path, TODAY)
    assert [log.last(job) and log.last(job).month for job in KINDS[:4]] == [2, 2, 2, 1]
    assert read_log(path.with_name("none")).last(TOP_UP) is None


def test_the_table_is_in_both_systems_and_leaves_empty_columns_out(path):
    append(path, Entry("2027-03-01", "top-up", topped_up="100 mL", coolant=30.0), TODAY)
    log = read_log(path, TODAY)
    assert list(log.table().columns) == ["day", "kind", "topped up [mL]", "coolant [°C]"]
    assert log.table("us")["topped up [fl oz]"].tolist() == [3.4]  # 29.57 mL the US fluid ounce
    assert read_log(path.with_name("none")).table().empty


def test_the_log_is_beside_the_plan_and_never_among_the_examples(own):
    assert log_path(demo_plan()) == own / "plans" / "podcast_booth.log.csv"


WRITER = """
import sys
from datetime import date
from loopmath.service_log import Entry, append
for n in range(200):
    append(sys.argv[1], Entry(date(2027, 3, 1), note=f"{sys.argv[2]} {n}"), date(2027, 6, 15))
"""


def test_two_pages_that_write_at_once_lose_nothing(path):
    command = [sys.executable, "-c", WRITER, str(path)]
    both = [subprocess.Popen([*command, name], cwd=Path(__file__).parent) for name in ("one", "two")]
    assert [process.wait(timeout=120) for process in both] == [0, 0]
    log = read_log(path, TODAY)
    notes = [entry.note for entry in log.entries]
    assert len(notes) == 400
    assert log.skipped == ()
    for name in ("one", "two"):  # and each writer's own in its order
        assert [n for n in notes if n.startswith(name)] == [f"{name} {n}" for n in range(200)]
