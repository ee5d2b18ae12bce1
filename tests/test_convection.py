"""Ducts, fins and crossing streams: limits, joins, and agreement with an open library."""

import numpy as np
import pytest

from loopmath.checks import OutOfRange
from loopmath.laws import convection as law

NTU = np.array([0.0, 0.01, 0.1, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0])
RATIO = np.array([0.001, 0.05, 0.25, 0.5, 0.75, 0.9, 1.0])


def test_crossflow_equals_the_library():
    exchangers = pytest.importorskip("ht.hx")
    found = law.crossflow_effectiveness(NTU[1:, None], RATIO)
    library = [[exchangers.effectiveness_from_NTU(n, c, subtype="crossflow") for c in RATIO] for n in NTU[1:]]
    np.testing.assert_allclose(found, library, atol=1e-9)


@pytest.mark.parametrize("ratio", [0.0, 1e-300, 1e-15, 1e-12])
def test_crossflow_with_one_stream_unchanged_is_the_simple_law(ratio):
    """The library is 4e-7 off in this limit, so the limit itself is the check."""
    np.testing.assert_allclose(law.crossflow_effectiveness(NTU, ratio), -np.expm1(-NTU), atol=1e-11)


def test_crossflow_is_monotone_and_between_parallel_and_counter_flow():
    ntu = np.linspace(0.01, 30, 200)[:, None]
    ratio = np.linspace(0.0, 0.999, 40)
    found = law.crossflow_effectiveness(ntu, ratio)
    assert np.all(np.diff(found, axis=0) > -1e-11)
    assert np.all(np.diff(found, axis=1) < 1e-11)
    fade = np.exp(-ntu * (1 - ratio))
    assert np.all(found <= (1 - fade) / (1 - ratio * fade) + 1e-11)
    assert np.all(found >= -np.expm1(-ntu * (1 + ratio)) / (1 + ratio) - 1e-11)


def test_crossflow_copes_with_a_stopped_fan():
    found = law.crossflow_effectiveness(np.array([1.0, 1e12, 0.0]), np.array([0.5, 1e-12, 0.0]))
    np.testing.assert_allclose(found, [0.547490, 1.0, 0.0], atol=1e-6)


def test_crossflow_equals_a_marching_grid():
    """March both streams across a grid of small exchangers: no series, no library."""
    ntu, ratio, grid = 2.5, 0.6, 120
    hot, cold = np.ones(grid), np.zeros(grid)
    hot_step, cold_step = ntu / grid, ntu * ratio / grid
    for i in range(grid):
        stream = cold[i]
        for j in range(grid):
            passed = (hot[j] - stream) / (1 + 0.5 * (hot_step + cold_step))
            hot[j] -= passed * hot_step
            stream += passed * cold_step
    assert law.crossflow_effectiveness(ntu, ratio) == pytest.approx(1 - hot.mean(), abs=2e-5)


def test_many_equal_one_by_one():
    together = law.crossflow_effectiveness(NTU[:, None], RATIO)
    assert together.shape == (NTU.size, RATIO.size)
    alone = [[law.crossflow_effectiveness(float(n), float(c)) for c in RATIO] for n in NTU]
    np.testing.assert_allclose(together, alone, atol=1e-11)
    assert np.ndim(law.crossflow_effectiveness(1.0, 0.5)) == 0


def test_one_term_formula_is_within_its_stated_error():
    ntu = np.geomspace(0.005, 10, 200)[:, None]
    ratio = np.linspace(0.0, 1.0, 21)
    off = law.crossflow_effectiveness_one_term(ntu, ratio) / law.crossflow_effectiveness(ntu, ratio) - 1
    assert 0.037 < np.max(np.abs(off)) < 0.038


@pytest.mark.parametrize("end", [law.LAMINAR_END, law.TURBULENT_START])
def test_duct_law_is_continuous_at_both_ends(end):
    below, above = law.duct_nusselt(np.array([end * (1 - 1e-9), end * (1 + 1e-9)]), 5.0, 4.4, 0.01)
    assert above == pytest.approx(below, rel=1e-7)


def test_duct_law_is_laminar_below_and_turbulent_above():
    slow = law.duct_nusselt(800.0, 5.0, 4.4, 0.02)
    assert slow == pytest.approx(law.laminar_developing_nusselt(4.4, 0.02 * 800.0 * 5.0), rel=1e-12)
    fast = law.duct_nusselt(9000.0, 5.0, 4.4, 0.02)
    assert fast == pytest.approx(law.gnielinski_nusselt(9000.0, 5.0), rel=1e-12)
    middle = law.duct_nusselt(3150.0, 5.0, 4.4, 0.02)
    ends = law.duct_nusselt(np.array([2300.0, 4000.0]), 5.0, 4.4, 0.02)
    assert middle == pytest.approx(ends.mean(), rel=1e-12)


def test_duct_law_rises_with_flow_and_broadcasts():
    reynolds = np.linspace(0, 2e4, 500)
    found = law.duct_nusselt(reynolds, np.array([[4.0], [7.0]]), 4.4, 0.01)
    assert found.shape == (2, 500)
    assert np.all(np.diff(found, axis=1) > 0)
    assert found[0, 0] == pytest.approx(4.4)
    assert found[1, 100] == pytest.approx(law.duct_nusselt(float(reynolds[100]), 7.0, 4.4, 0.01), rel=1e-12)


def test_gnielinski_equals_the_library():
    internal = pytest.importorskip("ht.conv_internal")
    for reynolds, prandtl in ((3.5e3, 0.7), (1e4, 5.0), (2e5, 20.0)):
        friction = (0.79 * np.log(reynolds) - 1.64) ** -2
        library = internal.turbulent_Gnielinski(Re=reynolds, Pr=prandtl, fd=friction)
        assert law.gnielinski_nusselt(reynolds, prandtl) == pytest.approx(library, rel=1e-12)


def test_fin_efficiency_limits():
    assert law.fin_efficiency(0.0, 5e-3, 5e-5, 390.0) == 1.0
    efficiency = law.fin_efficiency(np.array([1.0, 50.0, 500.0]), 5e-3, 5e-5, 390.0)
    assert np.all(np.diff(efficiency) < 0)
    long = law.fin_efficiency(1e4, 1.0, 5e-5, 390.0)
    assert long == pytest.approx(1 / np.sqrt(2 * 1e4 / (390.0 * 5e-5)), rel=1e-9)


@pytest.mark.parametrize(
    "call",
    [
        lambda: law.gnielinski_nusselt(2000.0, 5.0),
        lambda: law.gnielinski_nusselt(1e4, 0.1),
        lambda: law.rectangle_nusselt(2.0),
        lambda: law.crossflow_effectiveness_one_term(-1.0, 0.5),
        lambda: law.crossflow_effectiveness_one_term(1.0, 1.1),
    ],
)
def test_bad_input_is_refused(call):
    with pytest.raises(OutOfRange):
        call()
