"""
Fits against published ones; the source stands beside each.

NIST StRD: the Statistical Reference Datasets of the National Institute of Standards and Technology,
www.itl.nist.gov/div898/strd, public domain. Data and certified values are from memory. They prove each other: a wrong
reading would not give eleven certified digits. Starts are the second ones NIST gives, for Pontius our own.
"""

import warnings
from pathlib import Path

import numpy as np
import pytest

from loopmath.fit import fit
from loopmath.laws import turbomachine
from loopmath.measured.curves import fit_machine

# DanWood: name, model, x, y, start, {unknown: (certified, its certified standard deviation)}, residual squares
DAN_WOOD = (
    lambda x, b1, b2: b1 * x**b2,
    [1.309, 1.471, 1.490, 1.565, 1.611, 1.680],
    [2.138, 3.421, 3.597, 4.340, 4.882, 5.660],
    {"b1": 0.7, "b2": 4.0},
    {"b1": (0.76886226176, 0.018281973860), "b2": (3.8604055871, 0.051726610913)},
    0.0043173084083,
)
MISRA_1A = (
    lambda x, b1, b2: b1 * (1 - np.exp(-b2 * x)),
    [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0],
    [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78],
    {"b1": 250.0, "b2": 0.0005},
    {"b1": (2.3894212918e02, 2.7070075241e00), "b2": (5.5015643181e-04, 7.2668688436e-06)},
    1.2455138894e-01,
)
RAT_42 = (
    lambda x, b1, b2, b3: b1 / (1 + np.exp(b2 - b3 * x)),
    [9.0, 14.0, 21.0, 28.0, 42.0, 57.0, 63.0, 70.0, 79.0],
    [8.93, 10.80, 18.59, 22.33, 39.35, 56.11, 61.73, 64.62, 67.08],
    {"b1": 75.0, "b2": 2.5, "b3": 0.07},
    {
        "b1": (7.2462237576e01, 1.7340283401e00),
        "b2": (2.6180768402e00, 8.8295217536e-02),
        "b3": (6.7359200066e-02, 3.4465663377e-03),
    },
    8.0565229338e00,
)
# Unknowns of 6e-3 and 6e3 in one curve: "higher difficulty" by NIST's own grading.
MGH_10 = (
    lambda x, b1, b2, b3: b1 * np.exp(b2 / (x + b3)),
    np.arange(50.0, 126.0, 5.0),
    [34780, 28610, 23650, 19630, 16370, 13720, 11540, 9744, 8261, 7030, 6005, 5147, 4427, 3820, 3307, 2872],
    {"b1": 0.02, "b2": 4000.0, "b3": 250.0},
    {
        "b1": (5.6096364710e-03, 1.5687892471e-04),
        "b2": (6.1813463463e03, 2.3309021107e01),
        "b3": (3.4522363462e02, 7.8486103508e-01),
    },
    8.7945855171e01,
)
# Pontius, linear: a parabola over x from 150 000 to 3 000 000.
PONTIUS = (
    lambda x, b0, b1, b2: b0 + b1 * x + b2 * x * x,
    np.tile(np.arange(1, 21) * 150_000.0, 2),
    [
        *(0.11019, 0.21956, 0.32949, 0.43899, 0.54803, 0.65694, 0.76562, 0.87487, 0.98292, 1.09146),
        *(1.20001, 1.30822, 1.41599, 1.52399, 1.63194, 1.73947, 1.84646, 1.95392, 2.06128, 2.16844),
        *(0.11052, 0.22018, 0.32939, 0.43886, 0.54798, 0.65739, 0.76596, 0.87474, 0.98300, 1.09150),
        *(1.20004, 1.30818, 1.41613, 1.52408, 1.63159, 1.73965, 1.84696, 1.95445, 2.06177, 2.16829),
    ],
    {"b0": 1e-3, "b1": 1e-6, "b2": 1e-14},
    {
        "b0": (0.673565789473684e-03, 0.107938612033077e-03),
        "b1": (0.732059160401003e-06, 0.157817399981659e-09),
        "b2": (-0.316081871345029e-14, 0.486652849992036e-16),
    },
    0.155761768796992e-05,
)
# NoInt1, linear: a line through nothing.
NO_INTERCEPT = (
    lambda x, b1: b1 * x,
    np.arange(60.0, 71.0),
    np.arange(130.0, 141.0),
    {"b1": 1.0},
    {"b1": (2.07438016528926, 0.165289256198347e-01)},
    127.272727272727,
)
CERTIFIED = {
    "DanWood": DAN_WOOD,
    "Misra1a": MISRA_1A,
    "Rat42": RAT_42,
    "MGH10": MGH_10,
    "Pontius": PONTIUS,
    "NoInt1": NO_INTERCEPT,
}


@pytest.mark.parametrize("name", CERTIFIED)
def test_certified_regression(name):
    """NIST StRD: estimates to 1e-6, standard deviations to 1e-4, residual sum of squares to 1e-8."""
    model, x, y, start, certified, squares = CERTIFIED[name]
    found = fit(model, np.asarray(x), y, start)
    for unknown, (value, error) in certified.items():
        assert found.params[unknown] == pytest.approx(value, rel=1e-6)
        assert found.errors[unknown] == pytest.approx(error, rel=1e-4)
    assert found.sum_of_squares == pytest.approx(squares, rel=1e-8)
    assert found.residual_sd == pytest.approx(np.sqrt(squares / (len(y) - len(start))), rel=1e-8)


# ------------------------------------------------------------------------------------------------ pump curves


def networks():
    wntr = pytest.importorskip("wntr")
    return wntr, Path(wntr.__file__).parent


def three_point_pumps():
    """
    Return the pumps with three published points of the example networks of the US EPA that come with wntr.

    Net3 has two; Net6 has 61, of which several share a curve. (flow m3/s, head m, wntr's own A, B, C of A - B Q^C)
    """
    wntr, home = networks()
    found = {}
    for file in ("Net3.inp", "Net6.inp"):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            network = wntr.network.WaterNetworkModel(str(home / "library" / "networks" / file))
        for name, pump in network.pumps():
            if pump.pump_type == "HEAD":
                points = tuple(pump.get_pump_curve().points)
                found[points] = (f"{file} {name}", pump.get_head_curve_coefficients())
    return [(name, *np.array(points).T, *abc) for points, (name, abc) in found.items()]


def test_three_published_points_give_the_coefficients_of_wntr():
    """Ours is the same curve: H0 = A, exponent C, run-out (A/B)^(1/C). wntr goes by scipy's curve_fit; to 1e-6."""
    inside = held = 0
    for name, flow, head, a, b, c in three_point_pumps():
        found = fit_machine(flow, head)
        if 1.0 <= c <= 6.0:
            inside += 1
            assert found.params["shutoff"] == pytest.approx(a, rel=1e-6), name
            assert found.params["exponent"] == pytest.approx(c, rel=1e-6), name
            assert found.params["runout"] == pytest.approx((a / b) ** (1 / c), rel=1e-6), name
            np.testing.assert_allclose(found(flow), head, rtol=1e-6)
        else:  # a curve that bends the other way, or falls off a cliff: outside what our form allows, and said
            held += 1
            assert found.held["exponent"] == ("low" if c < 1 else "high"), name
            assert any("exponent is held" in w for w in found.words())
    assert inside >= 20
    assert held >= 3


# Pump of the Anytown network, Walski and others 1987 (Battle of the Network Models): gal/min, ft. The values are
# those of the file Anytown.inp that comes with wntr, read below.
ANYTOWN = [(0, 300), (2000, 292), (4000, 270), (6000, 230), (8000, 181)]


def test_five_published_points_of_a_pump():
    """Walski 1987: met within 2 ft of 300, which is 0.7 %; the points are given to 1 ft."""
    flow, head = np.array(ANYTOWN, dtype=float).T
    found = fit_machine(flow * 6.30901964e-5, head * 0.3048)
    assert not found.held
    assert np.max(np.abs(found.residuals)) < 2 * 0.3048
    assert found.r_squared > 0.999
    assert found.outlier() is None
    low, high = found.interval("shutoff")
    assert low < 300 * 0.3048 < high


@pytest.mark.parametrize(("file", "points"), [("Anytown.inp", 5), ("Anytown_multipointcurves.inp", 9)])
def test_curves_of_many_points_have_the_coefficients_of_wntr(file, points):
    """wntr regresses A - B Q^C through all points, unweighted, by scipy's curve_fit; to 1e-5, points within 1.5 %."""
    wntr, home = networks()
    path = home / "tests" / "networks_for_testing" / file
    if not path.exists():
        pytest.skip("this build of wntr comes without its test networks")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        network = wntr.network.WaterNetworkModel(str(path))
        pump = next(p for _, p in network.pumps() if p.pump_type == "HEAD" and p.get_pump_curve().num_points == points)
        a, b, c = pump.get_head_curve_coefficients()
    flow, head = np.array(pump.get_pump_curve().points).T
    if points == 5:  # the points above are those of the file
        np.testing.assert_allclose(np.column_stack([flow / 6.30901964e-5, head / 0.3048]), ANYTOWN, rtol=1e-6)
    found = fit_machine(flow, head)
    assert found.params["shutoff"] == pytest.approx(a, rel=1e-5)
    assert found.params["exponent"] == pytest.approx(c, rel=1e-5)
    assert found.params["runout"] == pytest.approx((a / b) ** (1 / c), rel=1e-5)
    assert np.max(np.abs(found.residuals)) < 0.015 * head[0]


def test_a_pump_by_its_quoted_law_is_found_from_its_points():
    """EPANET 2.2 (Rossman 2020), one-point curve: shut-off 4/3 of the head, run-out twice the flow, exponent 2."""
    flow = np.linspace(0.0, 1.8, 7)
    found = fit_machine(flow * 0.0946352946, 4 / 3 * 76.2 - 76.2 / 3 * flow**2)
    assert found.params["shutoff"] == pytest.approx(101.6, rel=1e-8)  # wntr prints 101.6 for Net1
    assert found.params["runout"] == pytest.approx(2 * 0.0946352946, rel=1e-8)
    assert found.params["exponent"] == pytest.approx(2.0, rel=1e-7)
    np.testing.assert_allclose(found(0.05), turbomachine.head_curve(0.05, 101.6, 2 * 0.0946352946, 2.0), rtol=1e-8)
