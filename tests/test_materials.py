"""Metals in one loop and plastics under a fitting."""

import inspect
import math
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopmath.checks import InputError, OutOfRange
from loopmath.laws import convection, coolant, pipeflow, seals, sound, turbomachine
from loopmath.laws import materials as law
from loopmath.tables import by_name, read_table

FILES = ("coolants.csv", "losses.csv", "metals.csv", "plastics.csv", "treatments.csv", "contacts.csv", "rules.csv")


@pytest.mark.parametrize("name", FILES)
def test_every_row_names_a_known_source(name):
    known = by_name("sources.csv", "key")
    assert all(row["source"] in known for row in read_table(name))


def test_every_source_cited_in_the_laws_is_listed():
    known = by_name("sources.csv", "key")
    for module in (coolant, convection, pipeflow, seals, sound, turbomachine, law):
        keys = set(re.findall(r"\[(\w+)\]_", inspect.getsource(module)))
        assert keys, module.__name__
        assert keys <= set(known), module.__name__


def test_pair_difference_is_symmetric_and_broadcasts():
    index = np.array([0.15, 0.35, 0.90])
    table = law.pair_difference(index[:, None], index)
    np.testing.assert_array_equal(table, table.T)
    assert np.all(np.diag(table) == 0)
    assert np.ndim(law.pair_difference(0.1, 0.2)) == 0


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


# ------------------------------------------------------------------------------------------------ names of metals


@pytest.mark.parametrize(
    ("name", "surface", "base"),
    [
        ("copper", "copper", ""),
        ("nickel plate", "nickel plate", ""),
        ("nickel plate over brass", "nickel plate", "brass"),
        ("nickel plate over zinc casting", "nickel plate", "zinc casting"),
        ("silver plate over copper", "silver plate", "copper"),
        ("chromium plate over aluminium 6000 series", "chromium plate", "aluminium 6000 series"),
        # A row of its own that has the word in its name.
        ("rhodium over silver-plated copper", "rhodium over silver-plated copper", ""),
    ],
)
def test_a_metal_is_its_surface_and_what_lies_under_it(name, surface, base):
    assert law.layers(name) == (surface, base)


@pytest.mark.parametrize(
    ("name", "field", "words"),
    [
        ("copper over nickel plate", "fitting metal", "a plating on top; copper is none"),
        ("brass over copper", "fitting metal", "a plating on top; brass is none"),
        ("nickel plate over nickel plate", "fitting metal", "nickel plate is a plating itself"),
        ("nickel plate over tin plate", "fitting metal", "tin plate is a plating itself"),
        ("silver plate over silver", "fitting metal", "two metals; silver plate and silver are one"),
        ("nickel plate over bras", "fitting metal, under the plating", "'brass'"),
        ("nickle plate over brass", "fitting metal, the plating", "nickel plate"),
        ("coper", "fitting metal", "'copper'"),
        ("", "fitting metal", "one of: 'gold'"),
        ("nickel plate over brass over copper", "fitting metal, under the plating", "brass"),
    ],
)
def test_a_metal_that_contradicts_itself_is_refused_in_words(name, field, words):
    with pytest.raises(InputError) as caught:
        law.layers(name, "fitting metal")
    assert caught.value.field == field
    assert words in str(caught.value)


def test_a_contradiction_says_how_to_write_it():
    with pytest.raises(InputError, match="nickel plate over brass"):
        law.layers("copper over nickel plate")


def test_every_name_that_is_offered_is_accepted():
    names = law.metal_names()
    assert len(set(names)) == len(names)
    assert {law.layers(name)[0] for name in names} == set(by_name("metals.csv"))
    assert "nickel plate over brass" in names


@pytest.mark.parametrize("bad", [np.nan, np.inf, "copper", None, True])
def test_a_difference_needs_numbers(bad):
    with pytest.raises(InputError, match="number"):
        law.pair_difference(0.35, bad)


def test_what_the_sea_water_series_does_not_have_is_not_guessed():
    assert law.sea_water_difference("gold", "copper") is None
    assert law.sea_water_difference("copper", "gold") is None
    with pytest.raises(InputError, match="copper"):
        law.sea_water_difference("brass", "coper")


# -------------------------------------------------------------------------------------------------- soft and stiff

RIGID = {"PETG": 50.0, "PMMA": 61.0, "PC": 118.0, "POM": 90.0}
SOFT = ("plasticised PVC", "EPDM", "silicone", "NBR", "FKM")


def test_softening_of_every_plastic_there_is():
    """Deflection at 1.8 MPa, its low end, less 10 K; a rubber has none, and of rigid PVC none was read."""
    assert {n: law.softening_temperature(n) for n in RIGID} == RIGID
    assert all(law.softening_temperature(n) is None for n in SOFT)
    assert set(by_name("plastics.csv")) == {*RIGID, *SOFT, "rigid PVC"}
    with pytest.raises(InputError, match="heat_deflection"):
        law.softening_temperature("rigid PVC")


def test_a_data_sheet_counts_more_than_the_table():
    assert law.softening_temperature("rigid PVC", 68.0) == 58.0
    assert law.softening_temperature("PETG", 66.0) == 56.0
    # Over its glass transition, 80 degC, an amorphous plastic does not hold, whatever a data sheet says.
    assert law.softening_temperature("PETG", 95.0) == 70.0
    # Crystals hold it there: the glass transition of acetal lies far below zero.
    assert law.softening_temperature("POM", 120.0) == 110.0


@pytest.mark.parametrize("bad", [19.0, 301.0, np.nan])
def test_a_deflection_that_makes_no_sense_is_refused(bad):
    with pytest.raises(InputError, match="heat deflection"):
        law.softening_temperature("PETG", bad)


@pytest.mark.parametrize("name", ["PETGG", "Acryl", "copper"])
def test_an_unknown_plastic_names_the_nearest(name):
    for call in (law.softening_temperature, law.plastic, lambda n: law.stiffness(n, 30.0)):
        with pytest.raises(InputError, match="Accepted: ") as caught:
            call(name)
        assert caught.value.value == name
    with pytest.raises(InputError, match="PETG"):
        law.softening_temperature("PETGG")


def ends(name, deflection=None):
    """Return how warm stiffness is known for, read off the message that refuses more."""
    with pytest.raises(OutOfRange) as caught:
        law.stiffness(name, 1000.0, deflection)
    return float(re.search(r"0 to ([\d.]+) degC", str(caught.value))[1])


#: 15 K over the glass transition of what has no crystals, the milder deflection temperature of acetal.
WARMEST = {"PETG": 95.0, "PMMA": 120.0, "PC": 164.0, "POM": 155.0}


@pytest.mark.parametrize("name", RIGID)
def test_stiffness_is_refused_where_it_is_not_known(name):
    assert ends(name) == WARMEST[name]
    for bad in (-0.1, WARMEST[name] + 0.1):
        with pytest.raises(OutOfRange, match=f"temperature of {name}.*0 to {WARMEST[name]:g} degC"):
            law.stiffness(name, bad)
    with pytest.raises(OutOfRange):
        law.stiffness(name, np.array([30.0, 1000.0]))
    assert law.stiffness(name, 0.0) == law.stiffness(name, 23.0)


@pytest.mark.parametrize("name", SOFT)
def test_a_soft_material_has_no_stiffness_of_a_wall(name):
    with pytest.raises(InputError, match="a rigid plastic"):
        law.stiffness(name, 30.0)


@given(st.sampled_from([*RIGID, "rigid PVC"]), st.floats(0, 1), st.floats(0, 1), st.none() | st.integers(20, 120))
def test_a_warmer_wall_is_never_stiffer(name, one, other, deflection):
    if name == "rigid PVC" and deflection is None:
        deflection = 68.0
    low, high = (ends(name, deflection) * share for share in sorted((one, other)))
    stiff, less = law.stiffness(name, np.array([low, high]), deflection)
    assert 0 < less <= stiff <= by_name("plastics.csv")[name]["youngs_modulus_gpa"] * 1e9 * (1 + 1e-12)
    if high > low >= 23.0 and (high - low) > 1e-6 and (deflection or 100.0) > 23.0:
        assert less < stiff


def test_a_data_sheet_moves_the_stiffness_with_it():
    """
    The milder test is left out where its temperature of the table lies below; the rubbery end stays.

    ISO 75 counts the strain added after loading (from memory): 1.8 MPa/(0.002 + 1.8/2000) = 620.69 MPa.
    """
    assert law.stiffness("PETG", 75.0, 75.0) == pytest.approx(620.69e6, rel=1e-5)
    # Half way from 75 to 95 degC in the logarithm: the root of 620.69 times 3 MPa.
    assert law.stiffness("PETG", 85.0, 75.0) == pytest.approx(math.sqrt(620.69e6 * 3e6), rel=1e-5)
    # Softer than a room is warm: all of it counts as at that temperature.
    assert law.stiffness("PETG", np.array([5.0, 21.0]), 21.0) == pytest.approx([620.69e6, 620.69e6], rel=1e-5)


def test_a_softened_amorphous_plastic_is_rubbery():
    for name in ("PETG", "PMMA", "PC"):
        assert law.stiffness(name, WARMEST[name]) == pytest.approx(3e6)
    # Half way in the logarithm between 620.69 MPa and 0.45/(0.002 + 0.45/2000) = 202.25 MPa.
    assert law.stiffness("PETG", 65.0) == pytest.approx(354.3e6, rel=1e-3)


# ------------------------------------------------------------------------------------------------- through the wall


@given(
    st.floats(5, 70),
    st.floats(5, 60),
    st.floats(50, 5000),
    st.floats(2, 50),
    st.floats(0.1, 400),
    st.floats(0.004, 0.02),
    st.floats(1.05, 2.0),
)
def test_the_same_heat_passes_film_wall_and_film(coolant_at, air, inner, outer, conductivity, bore, ratio):
    outside = ratio * bore
    warm, cool = law.wall_temperatures(coolant_at, air, inner, outer, conductivity, outside, bore)
    inwards = inner * np.pi * bore * (coolant_at - warm)
    through = 2 * np.pi * conductivity * (warm - cool) / np.log(ratio)
    outwards = outer * np.pi * outside * (cool - air)
    size = max(abs(outwards), 1e-3)
    assert abs(inwards - outwards) < 1e-6 * size + 1e-9 * inner
    assert abs(through - outwards) < 1e-6 * size + 1e-9 * conductivity
    assert min(coolant_at, air) - 1e-9 <= cool <= max(coolant_at, air) + 1e-9
    assert abs(warm - air) >= abs(cool - air) - 1e-9


def test_wall_temperatures_in_their_limits_and_by_hand():
    # Without heat to pass everything is as warm as the coolant; a wall of copper is all of one temperature.
    assert law.wall_temperatures(30.0, 30.0, 1500.0, 8.0, 0.2, 0.014, 0.010) == (30.0, 30.0)
    warm, cool = law.wall_temperatures(40.0, 30.0, 1500.0, 8.0, 390.0, 0.014, 0.010)
    assert abs(warm - cool) < 1e-3
    # 1/(1500 x 0.005) = 0.13333, ln(1.4)/0.2 = 1.68236, 1/(8 x 0.007) = 17.85714: 10 K over 19.67284 is 0.508315.
    warm, cool = law.wall_temperatures(40.0, 30.0, 1500.0, 8.0, 0.2, 0.014, 0.010)
    assert warm == pytest.approx(40 - 0.508315 * 0.133333, abs=1e-5)
    assert cool == pytest.approx(30 + 0.508315 * 17.857143, abs=1e-5)
    many = law.wall_temperatures(np.array([40.0, 50.0]), 30.0, 1500.0, 8.0, 0.2, 0.014, 0.010)
    assert many[0][0] == warm
    assert many[1].shape == (2,)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"inner_film": 0.0}, "inner film"),
        ({"outer_film": -1.0}, "outer film"),
        ({"conductivity": 0.0}, "conductivity"),
        ({"bore": 0.0}, "bore"),
        ({"outside": 0.010}, "more than the bore"),
        ({"outside": np.array([0.014, 0.009])}, "more than the bore"),
    ],
)
def test_a_tube_without_a_wall_or_film_is_refused(change, words):
    good = {"coolant": 40.0, "air": 30.0, "inner_film": 1500.0, "outer_film": 8.0, "conductivity": 0.2}
    with pytest.raises(InputError, match=words):
        law.wall_temperatures(**{**good, "outside": 0.014, "bore": 0.010, **change})


# --------------------------------------------------------------------------------------------------- growth, vapour


def test_growth_is_straight_in_length_and_warmth():
    assert law.growth("PETG", 0.3, np.array([-10.0, 0.0, 10.0])) == pytest.approx([-2.04e-4, 0.0, 2.04e-4])
    assert law.growth("PETG", 0.0, 10.0) == 0.0
    for name, length, words in (("PET", 0.5, "PETG"), ("chromium plate", 0.5, "expansion"), ("PETG", -0.5, "length")):
        with pytest.raises(InputError, match=words):
            law.growth(name, length, 10.0)


def test_vapour_by_hand():
    """
    1200 barrer, 2 m of 13/10 mm, 4000 Pa: 2 pi 2/ln 1.3 = 47.897 m, 1200 x 3.346e-16 x 0.018015 = 7.2334e-15.

    47.897 x 7.2334e-15 x 4000 = 1.38583e-9 kg/s, 3.64 g in a month of 30.4 days.
    """
    loss = law.vapour_loss(1200.0, 2.0, 0.013, 0.010, 5600.0, 1600.0)
    assert 1e9 * loss == pytest.approx(1.38583, rel=1e-4)
    assert 1e3 * loss * 86400 * 30.4 == pytest.approx(3.64, abs=0.005)


@pytest.mark.parametrize(("outside", "bore"), [(0.013, 0.010), (0.016, 0.008), (0.0101, 0.010)])
def test_vapour_against_shells_added_up(outside, bore):
    """The wall cut into many thin shells, each flat: their resistances to vapour add up."""
    edges = np.linspace(bore / 2, outside / 2, 4001)
    middle, thin = 0.5 * (edges[1:] + edges[:-1]), np.diff(edges)
    resistance = np.sum(thin / (2 * np.pi * middle * 1.5 * 700.0 * law.BARRER_OF_WATER))
    found = law.vapour_loss(700.0, 1.5, outside, bore, 6000.0, 1500.0)
    assert found * resistance == pytest.approx(4500.0, rel=1e-6)


def test_vapour_goes_to_the_drier_side():
    assert law.vapour_loss(700.0, 1.5, 0.013, 0.010, 1500.0, 6000.0) < 0
    assert law.vapour_loss(700.0, 1.5, 0.013, 0.010, 3000.0, 3000.0) == 0
    many, one = (law.vapour_loss(p, 1.5, 0.013, 0.010, 6000.0, 1500.0) for p in (np.array([0.0, 700.0, 1400.0]), 700.0))
    assert many / one == pytest.approx([0.0, 1.0, 2.0])
    for change, words in (
        ({"permeability": -1.0}, "barrer"),
        ({"length": -1.0}, "length"),
        ({"outside": 0.01}, "bore"),
    ):
        good = {"permeability": 700.0, "length": 1.0, "outside": 0.013, "bore": 0.01}
        with pytest.raises(InputError, match=words):
            law.vapour_loss(**good | change, inside_pressure=6000.0, outer_pressure=1500.0)


@pytest.mark.parametrize("bad", [-0.1, 100.1, np.nan])
def test_vapour_pressure_is_refused_outside_its_range(bad):
    with pytest.raises(InputError, match="water temperature"):
        coolant.water_vapour_pressure(bad)
    with pytest.raises(InputError):
        coolant.water_vapour_pressure(np.array([20.0, bad]))


def test_every_plastic_has_what_answers_ask_of_it():
    for name, row in by_name("plastics.csv").items():
        for column in ("expansion_per_k", "vapour_permeability_low", "vapour_permeability_high", "conductivity_w_m_k"):
            assert row[column] > 0, name
        assert row["vapour_permeability_low"] < row["vapour_permeability_high"]
        assert row["structure"] in ("amorphous", "semicrystalline", "soft", "rubber")
        assert (row["youngs_modulus_gpa"] == "") == (row["structure"] in ("soft", "rubber")), name
