"""Friction, bends and fittings: limits, joins, slopes, and agreement with an open library."""

import math

import numpy as np
import pytest

from loopmath.checks import OutOfRange
from loopmath.laws import pipeflow as law
from loopmath.tables import by_name

REYNOLDS = np.geomspace(1e-3, 1e8, 221)
ROUGH = np.array([0.0, 1e-5, 1e-3, 0.05])[:, None]


@pytest.mark.parametrize("name", sorted(law.FRICTION_LAWS))
def test_slope_equals_the_finite_difference(name):
    friction = law.FRICTION_LAWS[name]
    reynolds = REYNOLDS[np.abs(REYNOLDS / law.LAMINAR_LIMIT - 1) > 0.01]
    step = 1e-5
    above = np.log(friction(reynolds * math.exp(step), ROUGH)[0])
    below = np.log(friction(reynolds * math.exp(-step), ROUGH)[0])
    np.testing.assert_allclose(friction(reynolds, ROUGH)[1], (above - below) / (2 * step), atol=2e-9)


@pytest.mark.parametrize("name", sorted(law.FRICTION_LAWS))
def test_many_equal_one_by_one(name):
    friction = law.FRICTION_LAWS[name]
    factor, slope = friction(REYNOLDS, ROUGH)
    assert factor.shape == slope.shape == (4, REYNOLDS.size)
    one = [[friction(float(r), float(e))[0] for r in REYNOLDS] for e in ROUGH[:, 0]]
    np.testing.assert_allclose(factor, one, rtol=1e-12)
    assert np.ndim(friction(1e4, 0.0)[0]) == 0


@pytest.mark.parametrize("name", sorted(law.FRICTION_LAWS))
def test_a_branch_at_rest_gives_finite_numbers(name):
    factor, slope = law.FRICTION_LAWS[name](np.array([0.0, 1e-9]), 0.0)
    assert np.all(np.isfinite(factor))
    np.testing.assert_allclose(slope, -1.0)


def test_pressure_drop_rises_with_flow_through_the_transition():
    """f Re^2 is what the pressure drop goes with; a falling stretch would give a loop three answers."""
    for rough in ROUGH[:, 0]:
        assert np.all(law.churchill_with_slope(REYNOLDS, rough)[1] > -2.0)


def test_churchill_is_laminar_below_and_near_colebrook_above():
    slow = np.geomspace(1, 1000, 50)
    np.testing.assert_allclose(law.churchill_friction_factor(slow), 64 / slow, rtol=1e-6)
    fast = np.geomspace(1e4, 1e8, 50)
    ratio = law.churchill_friction_factor(fast, ROUGH) / law.colebrook_friction_factor(fast, ROUGH)
    assert np.max(np.abs(ratio - 1)) < 0.035


def test_colebrook_solves_its_own_equation():
    reynolds = np.geomspace(2040, 1e8, 300)
    factor = law.colebrook_friction_factor(reynolds, ROUGH)
    root = factor**-0.5
    left = root + 2 * np.log10(ROUGH / 3.7 + 2.51 * root / reynolds)
    assert np.max(np.abs(left / root)) < 1e-12


def test_colebrook_jumps_up_at_its_laminar_limit():
    below, above = law.colebrook_friction_factor(np.array([2039.999, 2040.0]))
    assert below == pytest.approx(64 / 2040, rel=1e-5)
    assert above > 1.4 * below


def test_haaland_is_within_one_and_a_half_percent():
    reynolds = np.geomspace(4e3, 1e8, 200)
    rough = np.concatenate([[0.0], np.geomspace(1e-6, 0.05, 60)])[:, None]
    ratio = law.haaland_friction_factor(reynolds, rough) / law.colebrook_friction_factor(reynolds, rough)
    assert np.max(np.abs(ratio - 1)) < 0.015


@pytest.mark.parametrize(
    "call",
    [
        lambda: law.haaland_friction_factor(3000.0),
        lambda: law.churchill_friction_factor(-1.0),
        lambda: law.churchill_friction_factor(0.0),
        lambda: law.colebrook_friction_factor(1e4, 0.06),
        lambda: law.bend_loss(4.0, 3.0),
        lambda: law.bend_loss(1.0, 0.4),
        lambda: law.bend_loss(1.0, 3.0, 0.0),
        lambda: law.sudden_expansion(1.1),
        lambda: law.sudden_contraction(-0.1),
        lambda: law.three_k(800, 0.1, 4.0, 0.0),
        lambda: law.three_k(-1, 0.1, 4.0, 0.01),
        lambda: law.hooper_two_k(800, -0.1, 0.01),
        lambda: law.laminar_duct_factor(1.5),
    ],
)
def test_bad_input_is_refused(call):
    with pytest.raises(OutOfRange):
        call()


@pytest.mark.parametrize("angle", [15, 45, 90, 135, 180])
@pytest.mark.parametrize("radius", [1.0, 1.5, 3.0, 8.0])
def test_bend_with_its_wall_friction_equals_the_library(angle, radius):
    fittings = pytest.importorskip("fluids.fittings")
    whole = fittings.bend_rounded(Di=0.01, angle=angle, fd=0.03, bend_diameters=radius)
    alpha = math.radians(angle)
    assert law.bend_loss(alpha, radius, 0.03) + 0.03 * alpha * radius == pytest.approx(whole, rel=1e-12)


def test_bend_of_no_angle_loses_nothing_and_more_angle_loses_more():
    assert law.bend_loss(0.0, 2.0) == 0.0
    assert np.all(np.diff(law.bend_loss(np.linspace(0, np.pi / 2, 50), 3.0)) > 0)


def test_changes_of_bore_vanish_at_equal_bores_and_end_at_a_tank():
    assert law.sudden_expansion(1.0) == 0.0
    assert law.sudden_contraction(1.0) == 0.0
    assert law.sudden_expansion(0.0) == 1.0
    assert law.sudden_contraction(0.0) == pytest.approx(0.57, abs=0.005)
    assert np.all(np.diff(law.sudden_contraction(np.linspace(0, 1, 30))) < 0)


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("sharp 90 degree fitting", "Elbow, 90°, mitered, 1 weld, (90°)"),
        ("swept 90 degree fitting", "Elbow, 90°, threaded, standard, (r/D = 1)"),
        ("45 degree fitting", "Elbow, 45°, threaded standard, (r/D = 1)"),
        ("tee, through the run", "Tee, Run-through, threaded, (r/D = 1)"),
        ("tee, into the branch", "Tee, Through-branch, (as elbow), threaded, (r/D = 1)"),
        ("ball valve, full bore", "Valve, Ball valve, standard, β = 1"),
    ],
)
def test_fittings_equal_the_library(name, words):
    fittings = pytest.importorskip("fluids.fittings")
    row = by_name("losses.csv")[name]
    laminar, turbulent = law.three_k(row["k1"], row["ki"], row["kd_in03"], 0.0085)
    library = fittings.Darby3K(NPS=0.0085 / 0.0254, Re=2500.0, name=words)
    assert laminar / 2500.0 + turbulent == pytest.approx(library, rel=1e-12)


def test_tank_ends_have_no_size_term():
    table = by_name("losses.csv")
    for name, laminar, turbulent in (("tank entry, sharp", 160.0, 0.5), ("tank exit", 0.0, 1.0)):
        row = table[name]
        found = law.three_k(row["k1"], row["ki"], row["kd_in03"], np.array([0.008, 0.012]))
        assert found[0] == laminar
        np.testing.assert_allclose(found[1], turbulent)


def test_two_k_equals_the_library():
    fittings = pytest.importorskip("fluids.fittings")
    laminar, turbulent = law.hooper_two_k(800.0, 0.4, 0.02)
    assert laminar / 900.0 + turbulent == pytest.approx(
        fittings.Hooper2K(Di=0.02 / 0.0254, Re=900.0, K1=800.0, Kinfty=0.4), rel=1e-12
    )


def test_round_tube_law_with_the_duct_factor_is_exact_when_laminar():
    aspect = np.linspace(0, 1, 11)
    reynolds = 100.0
    factor = law.churchill_friction_factor(reynolds * law.laminar_equivalent_factor(aspect))
    np.testing.assert_allclose(factor * reynolds, law.laminar_duct_factor(aspect), rtol=1e-9)
