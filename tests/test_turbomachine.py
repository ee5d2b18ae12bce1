"""One curve for pumps and fans: shape, slope, speed."""

import numpy as np
import pytest

from loopmath.checks import OutOfRange
from loopmath.laws import turbomachine as law

FLOW = np.linspace(-8.0, 24.0, 65)
EXPONENTS = [1.0, 1.7, 2.0, 3.5]


@pytest.mark.parametrize("exponent", EXPONENTS)
def test_head_never_rises_with_flow(exponent):
    for speed in (0.0, 0.3, 1.0):
        assert np.all(np.diff(law.head_curve(FLOW, 4.0, 16.0, exponent, speed)) <= 0)


@pytest.mark.parametrize("exponent", EXPONENTS)
def test_slope_equals_the_finite_difference(exponent):
    flow = FLOW[FLOW != 0]  # at 0 the curve of exponent 1.7 has a slope but no curvature to difference
    head, slope = law.head_with_slope(flow, 4.0, 16.0, exponent, 0.7)
    step = 1e-6
    above = law.head_with_slope(flow + step, 4.0, 16.0, exponent, 0.7)[0]
    below = law.head_with_slope(flow - step, 4.0, 16.0, exponent, 0.7)[0]
    np.testing.assert_allclose(slope, (above - below) / (2 * step), atol=1e-6)
    assert np.all(slope <= 0)


def test_short_way_equals_the_general_way():
    speed = np.linspace(0, 1, 5)[:, None]
    short = law.head_with_slope(FLOW, 4.0, 16.0, 2.0, speed)
    general = law.head_with_slope(FLOW, 4.0, 16.0, np.array(2.0), speed)
    for a, b in zip(short, general, strict=True):
        np.testing.assert_allclose(*np.broadcast_arrays(a, b), atol=1e-13)


@pytest.mark.parametrize("exponent", EXPONENTS)
def test_affinity_laws(exponent):
    full = law.head_curve(FLOW, 4.0, 16.0, exponent, 1.0)
    np.testing.assert_allclose(law.head_curve(0.6 * FLOW, 4.0, 16.0, exponent, 0.6), 0.36 * full, atol=1e-12)


@pytest.mark.parametrize("exponent", EXPONENTS)
def test_shutoff_runout_and_reversed_flow(exponent):
    assert law.head_curve(0.0, 4.0, 16.0, exponent) == 4.0
    assert law.head_curve(16.0, 4.0, 16.0, exponent) == pytest.approx(0.0)
    above = law.head_curve(-3.0, 4.0, 16.0, exponent) - 4.0
    assert above == pytest.approx(4.0 - law.head_curve(3.0, 4.0, 16.0, exponent))


@pytest.mark.parametrize("exponent", EXPONENTS)
def test_a_machine_at_rest_gives_nothing_and_resists(exponent):
    head, slope = law.head_with_slope(FLOW, 4.0, 16.0, exponent, 0.0)
    assert law.head_with_slope(0.0, 4.0, 16.0, exponent, 0.0)[0] == 0
    np.testing.assert_allclose(head, -0.5 * exponent * 4.0 * (FLOW / 16.0) * np.abs(FLOW / 16.0), atol=1e-12)
    assert np.all(slope[FLOW != 0] < 0)


@pytest.mark.parametrize("exponent", EXPONENTS)
def test_slowing_to_rest_makes_no_jump(exponent):
    at_rest = law.head_with_slope(FLOW, 4.0, 16.0, exponent, 0.0)
    nearly = law.head_with_slope(FLOW, 4.0, 16.0, exponent, 1e-5)
    for a, b in zip(at_rest, nearly, strict=True):
        np.testing.assert_allclose(a, b, atol=1e-4)


@pytest.mark.parametrize("exponent", EXPONENTS)
def test_past_run_out_head_and_slope_go_on_without_a_step(exponent):
    below, above = (law.head_with_slope(16.0 * (1 + d), 4.0, 16.0, exponent, 1.0) for d in (-1e-9, 1e-9))
    np.testing.assert_allclose(below, above, atol=1e-7)


def test_many_equal_one_by_one_and_scalars_stay_scalars():
    speed = np.array([0.0, 0.5, 1.0])[:, None]
    together = law.head_curve(FLOW, 4.0, 16.0, 1.8, speed)
    alone = [[law.head_curve(float(q), 4.0, 16.0, 1.8, float(n)) for q in FLOW] for n in speed[:, 0]]
    np.testing.assert_allclose(together, alone, rtol=1e-12, atol=1e-14)
    assert np.ndim(law.head_curve(1.0, 4.0, 16.0)) == 0


def test_shaft_power_goes_with_the_cube():
    np.testing.assert_allclose(law.shaft_power(8.0, np.array([0.0, 0.5, 1.0])), [0.0, 1.0, 8.0])


@pytest.mark.parametrize(
    "call",
    [
        lambda: law.head_curve(1.0, 0.0, 16.0),
        lambda: law.head_curve(1.0, 4.0, -1.0),
        lambda: law.head_curve(1.0, 4.0, 16.0, 0.9),
        lambda: law.head_curve(1.0, 4.0, 16.0, 2.0, -0.1),
        lambda: law.shaft_power(-1.0, 0.5),
    ],
)
def test_bad_input_is_refused(call):
    with pytest.raises(OutOfRange):
        call()
