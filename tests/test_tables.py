"""data/: every row says where it comes from, every key cited exists, and a damaged file is refused by name."""

import ast
import csv
import re
from datetime import date
from pathlib import Path

import pytest

from loopmath import catalogue, tables
from loopmath.checks import InputError
from loopmath.laws import coolant
from loopmath.plan import AIDS
from loopmath.rules import SIGNALS

ROOT = Path(__file__).resolve().parent.parent
FILES = sorted(path.name for path in tables.DATA.glob("*.csv"))
#: The list of sources names the sources, and that of quantities is no data: their own rows have none.
WITH_PROVENANCE = [name for name in FILES if name not in ("sources.csv", "quantities.csv")]
#: Tables of parts: all of them invented for the demo. Fittings take published constants by way of losses.csv.
PARTS = {kind: file for kind, (file, _) in catalogue.CATALOGUE.items()}


def cells(name: str) -> list[list[str]]:
    with (tables.DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.reader(file))


def rows(name: str) -> list[dict[str, str]]:
    header, *body = cells(name)
    return [dict(zip(header, row, strict=True)) for row in body]


def keys() -> list[str]:
    return [row["key"] for row in rows("sources.csv")]


def test_the_tables_are_found_beside_the_package():
    assert tables.DATA == ROOT / "data"
    assert {"sources.csv", "rules.csv", "coolants.csv", *PARTS.values()} <= set(FILES)


@pytest.mark.parametrize("name", FILES)
def test_a_table_has_one_header_and_rows_of_its_width(name):
    header, *body = cells(name)
    assert body
    assert len(set(header)) == len(header)
    assert all(header)
    assert header not in body
    assert {len(row) for row in body} == {len(header)}
    assert len(tables.read_table(name)) == len(body)


@pytest.mark.parametrize("name", FILES)
def test_a_table_is_utf8_with_unix_line_ends_and_no_stray_blanks(name):
    raw = (tables.DATA / name).read_bytes()
    raw.decode("utf-8")
    assert not raw.startswith(b"\xef\xbb\xbf")
    assert b"\r" not in raw
    assert all(cell == cell.strip() for row in cells(name) for cell in row)


@pytest.mark.parametrize("name", WITH_PROVENANCE)
def test_every_row_says_where_it_comes_from(name):
    known = keys()
    for line, row in enumerate(rows(name), start=2):
        for column in tables.PROVENANCE:
            assert row[column].strip(), f"{name} line {line}: {column} is empty"
        assert row["source"] in known, f"{name} line {line}: {row['source']} is not in sources.csv"
        assert date.fromisoformat(row["checked_on"]).isoformat() == row["checked_on"], f"{name} line {line}"


def test_a_source_is_listed_once_with_a_title_and_terms():
    assert len(set(keys())) == len(keys())
    for row in rows("sources.csv"):
        assert re.fullmatch(r"[A-Za-z][A-Za-z0-9-]*", row["key"])
        assert all(row[column] for column in ("authors", "title", "publisher", "terms")), row["key"]
        assert re.fullmatch(r"(\d{4})?", row["year"]), row["key"]


def test_every_key_cited_in_the_package_is_listed():
    known, cited = keys(), []
    for path in sorted((ROOT / "loopmath").rglob("*.py")):
        text = path.read_text(encoding="utf-8")
        cited += [(path.name, key) for key in re.findall(r"\[([A-Za-z][A-Za-z0-9-]*)\]_", text)]
    assert cited
    assert [where for where in cited if where[1] not in known] == []


def test_every_key_cited_in_a_docstring_is_written_as_a_citation():
    """A key in square brackets without the underscore would slip past the check above."""
    years = re.compile(r"\[[A-Z][A-Za-z]+\d{4}[a-z]?\](?!_)")
    for path in sorted((ROOT / "loopmath").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, (ast.Module, ast.ClassDef, ast.FunctionDef)):
                assert not years.findall(ast.get_docstring(node) or ""), f"{path.name}: {node}"


@pytest.mark.parametrize(("kind", "name"), [(k, n) for k in catalogue.CATALOGUE for n in catalogue.names(k)])
def test_every_catalogue_row_builds_its_record(kind, name):
    record = catalogue.part(kind, name)
    file, made = catalogue.CATALOGUE[kind]
    assert type(record) is made
    assert record.name == name
    # A cell of text or an empty cell where a number is meant would give a record that breaks later.
    texts = {"name", "material", "metal", "solder", "tank_metal", "cools", "kind_of_part"}
    wrong = {f: getattr(record, f) for f in made.__dataclass_fields__ if f not in texts}
    assert [f for f, value in wrong.items() if isinstance(value, str)] == []
    assert file in FILES


@pytest.mark.parametrize("kind", catalogue.CATALOGUE)
def test_every_column_of_a_catalogue_table_is_a_field_or_known_not_to_be(kind):
    """A misspelt column would be passed over and its field keep a default."""
    file, made = catalogue.CATALOGUE[kind]
    beside = {"line"} if kind == "fan" else {"loss"} if kind == "fitting" else set()
    for column in set(cells(file)[0]) - set(tables.PROVENANCE):
        stems = {column, *(column.removesuffix(s) for s in catalogue._SUFFIXES if column.endswith(s))}
        assert column in beside or stems & set(made.__dataclass_fields__), column


@pytest.mark.parametrize(
    ("file", "column", "known"),
    [
        ("pumps.csv", "metal", "metals.csv"),
        ("radiators.csv", "metal", "metals.csv"),
        ("radiators.csv", "solder", "metals.csv"),
        ("radiators.csv", "tank_metal", "metals.csv"),
        ("blocks.csv", "metal", "metals.csv"),
        ("fittings.csv", "metal", "metals.csv"),
        ("inline.csv", "metal", "metals.csv"),
        ("tubes.csv", "material", "plastics.csv"),
        ("reservoirs.csv", "material", "plastics.csv"),
    ],
)
def test_every_material_of_a_part_is_in_the_tables_of_materials(file, column, known):
    # Copper tube stands among the plastics. An aluminium radiator is brazed, tanks and all.
    listed = {row["name"] for row in rows(known)} | ({"copper"} if file == "tubes.csv" else set())
    whole = column in ("solder", "tank_metal")
    named = [row[column] for row in rows(file) if not whole or not row["metal"].startswith("aluminium")]
    assert set(named) <= listed


def test_an_aluminium_radiator_has_tanks_of_aluminium_or_none_of_another_metal():
    light = [row for row in rows("radiators.csv") if row["metal"].startswith("aluminium")]
    assert light
    assert {row["tank_metal"] for row in light} <= {"", *(row["metal"] for row in light)}
    assert {row["solder"] for row in light} == {""}


def test_what_touches_and_what_is_touched_can_be_in_a_plan():
    """A misspelt row of contacts would never speak."""
    bases = {row["base"] for row in rows("coolants.csv")}
    colours = {row["colour"] for row in rows("treatments.csv")} - {"clear"}
    agents = {*bases, *colours, *AIDS, "silver"}
    families, plastics = {row["family"] for row in rows("metals.csv")}, {row["name"] for row in rows("plastics.csv")}
    materials = {*families, *plastics, "pump", *(row["kind_of_part"] for row in rows("inline.csv"))}
    listed = [(row["agent"], row["material"], row["also"]) for row in rows("contacts.csv")]
    found = {pair[:2] for pair in listed}
    for pair in found:  # one row in any coolant, or one with an inhibitor and one without
        also = sorted(row[2] for row in listed if row[:2] == pair)
        assert also in ([""], ["inhibitor is no", "inhibitor is yes"]), pair
    assert {agent for agent, _ in found} == agents
    assert {material for _, material in found} <= materials
    # Every coolant against every plastic, rubber and common metal, every colour against what is clear.
    for base in bases:
        for material in (*plastics, "copper", "nickel", "stainless", "tin", "aluminium", "zinc", "steel"):
            assert (base, material) in found, (base, material)
    for base in bases:
        assert {(base, "pump"), (base, "filter")} <= found
    # All that rings, and the plastics of tubes and tanks, may meet when a loop is put together and wiped.
    for agent in (*AIDS, "water", "dye", "particles"):
        for ring in ("EPDM", "NBR", "silicone", "FKM"):
            assert (agent, ring) in found, (agent, ring)
    for agent in ("petroleum jelly", "vinegar"):
        assert {(agent, plastic) for plastic in ("PETG", "PMMA", "POM")} <= found
    assert {row["signal"] for row in rows("contacts.csv")} <= {*SIGNALS, "fits"}


def test_words_of_contacts_fit_a_tank_as_well_as_a_tube():
    """What is of acrylic may be a reservoir."""
    for row in rows("contacts.csv"):
        if row["material"] in ("PMMA", "PC", "POM", "PETG"):
            assert not re.search(r"\b(bends?|tubes?)\b", row["why"] + row["action"]), row


def test_a_coolant_is_named_by_its_share_first():
    labels = {row["coolant"]: row["label"] for row in rows("coolants.csv")}
    assert labels["propylene-glycol-10"] == "10 % propylene glycol, inhibited (by volume)"
    assert labels["propylene-glycol-20-mass"] == "20 % propylene glycol, pure (by mass)"
    assert labels["ethylene-glycol-40"] == "40 % ethylene glycol, inhibited (by volume)"
    assert labels["water"] == "deionised water"


def test_treatments_say_what_is_in_them():
    for row in rows("treatments.csv"):
        name, life = row["name"], (float(row["life_low_months"]), float(row["life_high_months"]))
        assert (row["inhibitor"] == "yes") == ("inhibitor" in name), name
        assert (row["biocide"] == "yes") == ("biocide" in name), name
        assert row["colour"] == (name.rpartition(" and ")[2] if name.endswith(("dye", "particles")) else "clear")
        assert 0 < life[0] < life[1]
        assert row["care"].endswith(".")
        assert row["disposal"].endswith(".")


def test_every_fitting_names_a_loss_and_every_loss_serves_a_fitting_or_a_tank():
    losses = {row["name"] for row in rows("losses.csv")}
    used = {row["loss"] for row in rows("fittings.csv")}
    assert used <= losses
    # The ends of a tank are written out in reservoirs.csv, summed.
    assert losses - used <= {"tank entry, sharp", "tank exit"}


def test_every_radiator_of_the_catalogue_has_fans_of_its_size_to_choose_from():
    sizes = [row["size_mm"] for row in rows("fans.csv")]
    for size in {row["fan_size_mm"] for row in rows("radiators.csv")}:
        assert sizes.count(size) >= 2, size


@pytest.mark.parametrize(
    ("kind", "least"),
    [
        ("pump", 8),
        ("radiator", 24),
        ("fan", 10),
        ("block", 12),
        ("tube", 16),
        ("fitting", 20),
        ("inline", 7),
        ("reservoir", 5),
    ],
)
def test_the_catalogue_is_wide_enough_to_choose_from(kind, least):
    assert len(rows(PARTS[kind])) >= least


#: What the catalogue must offer at least: kind of part, column, value and how many rows of it.
OFFERED = [
    *(("radiator", "positions", str(n), 2) for n in (1, 2, 3, 4)),
    *(("radiator", "fan_size_mm", size, 4) for size in ("120", "140", "200")),
    *(("fan", "size_mm", size, 2) for size in ("120", "140", "200")),
    *(("fan", "line", line, 3) for line in ("quiet", "radiator", "fast")),
    *(("block", "cools", what, 3) for what in ("processor", "graphics card")),
    *(("block", "cools", what, 2) for what in ("memory", "voltage regulator", "drive")),
    *(("tube", "material", m, 2) for m in ("PETG", "PMMA", "copper", "plasticised PVC", "EPDM", "silicone")),
    *(("fitting", "metal", m, 2) for m in ("nickel plate", "brass", "stainless steel 18 % chromium")),
    *(("inline", "kind_of_part", what, 2) for what in ("filter", "flow meter", "quick-release pair")),
    ("inline", "kind_of_part", "temperature probe", 1),
]


@pytest.mark.parametrize(("kind", "column", "value", "least"), OFFERED)
def test_the_catalogue_offers_every_kind_of_the_trade(kind, column, value, least):
    assert [row[column] for row in rows(PARTS[kind])].count(value) >= least


def test_there_are_eight_coolants_or_more():
    assert len({row["coolant"] for row in rows("coolants.csv")}) >= 8
    assert set(coolant.coolants()) == {row["coolant"] for row in rows("coolants.csv")}


@pytest.mark.parametrize("kind", PARTS)
def test_every_part_of_the_catalogue_says_it_is_invented(kind):
    for row in rows(PARTS[kind]):
        assert row["source"] == "invented-for-demo", row["name"]
        assert "invented" in row["locator"], row["name"]
        assert row["basis"].startswith("made up"), row["name"]


# ------------------------------------------------------------------------------- damaged files

HEADER = "name,bore_mm,source,locator,basis,checked_on"
GOOD = "tube one,10,ours,none,made up,2026-01-02"


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """An empty data folder in place of data/; what was read from it is forgotten afterwards."""

    def forget():
        for cached in (tables.read_table, tables.by_name, catalogue._part):
            cached.cache_clear()

    forget()
    monkeypatch.setattr(tables, "DATA", tmp_path)
    yield tmp_path
    monkeypatch.undo()
    forget()


def test_a_good_table_is_read_with_numbers_as_floats(folder):
    (folder / "small.csv").write_text(f"{HEADER}\n{GOOD}\n", encoding="utf-8")
    (row,) = tables.read_table("small.csv")
    assert row["name"] == "tube one"
    assert row["bore_mm"] == 10.0
    assert tables.by_name("small.csv")["tube one"] is row


def test_a_missing_file_is_named_and_the_reader_told_to_use_a_checkout(folder):
    with pytest.raises(InputError, match=r"absent\.csv.*checkout"):
        tables.read_table("absent.csv")


@pytest.mark.parametrize("bad", ["tube two,12,ours,none,made up", GOOD.replace("one", "two") + ",more"])
def test_a_row_of_the_wrong_width_is_refused_with_file_and_line(folder, bad):
    (folder / "small.csv").write_text(f"{HEADER}\n{GOOD}\n{bad}\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"small\.csv line 3") as caught:
        tables.read_table("small.csv")
    assert caught.value.accepted == "6 cells, as in line 1"


@pytest.mark.parametrize("column", tables.PROVENANCE)
@pytest.mark.parametrize("empty", ["", "   "])
def test_an_empty_provenance_cell_is_refused_with_file_line_and_column(folder, column, empty):
    row = dict(zip(HEADER.split(","), GOOD.split(","), strict=True)) | {"name": "tube two", column: empty}
    (folder / "small.csv").write_text(f"{HEADER}\n{GOOD}\n{','.join(row.values())}\n", encoding="utf-8")
    with pytest.raises(InputError, match=rf"small\.csv line 3 column {column}"):
        tables.read_table("small.csv")


def test_a_repeated_name_is_refused_with_file_and_line(folder):
    (folder / "small.csv").write_text(f"{HEADER}\n{GOOD}\n{GOOD}\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"small\.csv line 3 column name") as caught:
        tables.by_name("small.csv")
    assert caught.value.value == "tube one"


def test_a_repeated_part_is_refused_when_the_catalogue_is_asked(folder):
    (folder / "tubes.csv").write_text(f"{HEADER}\n{GOOD}\n{GOOD}\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"tubes\.csv line 3"):
        catalogue.names("tube")


@pytest.mark.parametrize(
    ("kind", "name", "near"), [("pump", "standrad pump", "standard pump"), ("tube", "PETG", "PETG 14/10")]
)
def test_an_unknown_part_is_told_its_nearest_names(kind, name, near):
    with pytest.raises(InputError, match=near) as caught:
        catalogue.part(kind, name, "parts.mine.part")
    assert (caught.value.field, caught.value.value) == ("parts.mine.part", name)


def test_an_unknown_kind_of_part_is_refused():
    with pytest.raises(InputError, match="kind of part"):
        catalogue.names("pumpe")
