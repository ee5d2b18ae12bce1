"""Metals in one loop and plastics under a fitting."""

import inspect
import re

import numpy as np
import pytest

from loopmath.checks import InputError
from loopmath.laws import convection, coolant, pipeflow, sound, turbomachine
from loopmath.laws import materials as law
from loopmath.tables import by_name, read_table

FILES = ("coolants.csv", "losses.csv", "metals.csv", "plastics.csv")


@pytest.mark.parametrize("name", FILES)
def test_every_row_names_a_known_source(name):
    known = by_name("sources.csv", "key")
    assert all(row["source"] in known for row in read_table(name))


def test_every_source_cited_in_the_laws_is_listed():
    known = by_name("sources.csv", "key")
    for module in (coolant, convection, pipeflow, sound, turbomachine, law):
        keys = set(re.findall(r"\[(\w+)\]_", inspect.getsource(module)))
        assert keys, module.__name__
        assert keys <= set(known), module.__name__


def test_pair_difference_is_symmetric_and_broadcasts():
    index = np.array([0.15, 0.35, 0.90])
    table = law.pair_difference(index[:, None], index)
    np.testing.assert_array_equal(table, table.T)
    assert np.all(np.diag(table) == 0)
    assert np.ndim(law.pair_difference(0.1, 0.2)) == 0


def test_a_pair_right_at_the_limit_passes():
    assert law.pair_difference(0.50, 0.35) <= law.LIMITS["harsh"]
    assert law.pair_difference(0.65, 0.40) <= law.LIMITS["normal"]


def test_worst_pair_finds_the_extremes_and_does_not_depend_on_order():
    names = ["brass", "aluminium 6000 series", "copper", "silver"]
    assert law.worst_pair(names) == law.worst_pair(names[::-1]) == ("silver", "aluminium 6000 series", 0.75)
    assert law.worst_pair(["copper"]) == ("copper", "copper", 0.0)


@pytest.mark.parametrize(("names", "words"), [([], "at least one metal"), (["cooper", "brass"], "copper")])
def test_worst_pair_refuses_bad_names(names, words):
    with pytest.raises(InputError, match=words):
        law.worst_pair(names)


def test_index_and_sea_water_order_agree_within_each_plain_pair():
    """The second opinion must not turn round the pairs a loop is made of."""
    table = by_name("metals.csv")
    for nobler, baser in (
        ("silver", "copper"),
        ("copper", "mild steel"),
        ("copper", "aluminium 6000 series"),
        ("nickel plate", "brass"),
        ("mild steel", "zinc plate"),
    ):
        a, b = table[nobler], table[baser]
        assert a["anodic_index_v"] < b["anodic_index_v"]
        assert a["seawater_low_v"] + a["seawater_high_v"] > b["seawater_low_v"] + b["seawater_high_v"]


def test_ranges_are_the_right_way_round():
    for row in read_table("metals.csv"):
        assert row["seawater_low_v"] == "" or row["seawater_low_v"] < row["seawater_high_v"]
    for row in read_table("plastics.csv"):
        assert row["hdt_low_degc"] == "" or row["hdt_low_degc"] < row["hdt_high_degc"]


def test_softening_is_known_for_rigid_plastics_only():
    assert [law.softening_temperature(n) for n in ("PETG", "PMMA", "PC", "POM")] == [50.0, 61.0, 118.0, 90.0]
    assert all(law.softening_temperature(n) is None for n in ("plasticised PVC", "EPDM", "silicone", "NBR"))


def test_acrylic_softens_later_than_petg():
    assert law.softening_temperature("PMMA") > law.softening_temperature("PETG")


def test_unknown_plastic_names_the_nearest():
    with pytest.raises(InputError, match="PETG"):
        law.softening_temperature("PETGG")
