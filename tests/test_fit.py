"""The fitting engine: straight lines it must get exactly, bounds, scales, intervals, odd readings, too few points."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from loopmath.checks import InputError
from loopmath.fit import fit


def line(x, a, b):
    return a + b * x


def power(x, a, m):
    return a * x**m


X = np.linspace(1.0, 10.0, 12)


def noisy(sd=0.3, seed=3):
    return 2.0 + 0.7 * X + sd * np.random.default_rng(seed).standard_normal(X.size)


def test_a_straight_line_is_that_of_ordinary_regression():
    """scipy.stats.linregress and the textbook band are an independent answer."""
    y = noisy()
    found, known = fit(line, X, y, {"a": 1.0, "b": 1.0}), stats.linregress(X, y)
    assert found.params["b"] == pytest.approx(known.slope, rel=1e-8)
    assert found.errors["b"] == pytest.approx(known.stderr, rel=1e-6)
    assert found.errors["a"] == pytest.approx(known.intercept_stderr, rel=1e-6)
    assert found.r_squared == pytest.approx(known.rvalue**2, rel=1e-9)
    t = stats.t.ppf(0.975, 10)
    assert found.interval("b") == pytest.approx(
        (known.slope - t * known.stderr, known.slope + t * known.stderr), rel=1e-4
    )
    at = np.array([0.0, 5.0])
    half = t * found.residual_sd * np.sqrt(1 / 12 + (at - X.mean()) ** 2 / np.sum((X - X.mean()) ** 2))
    np.testing.assert_allclose(found.band(at)[1] - found(at), half, rtol=1e-5)


def test_the_odd_reading_is_judged_as_by_the_studentised_deleted_residual():
    y = noisy()
    y[7] += 3.0
    found = fit(line, X, y, {"a": 1.0, "b": 1.0})
    assert found.outlier() == 7
    design = np.column_stack([np.ones(12), X])
    hat = np.diag(design @ np.linalg.pinv(design))
    e, dof = found.residuals, found.dof
    deleted = np.sqrt((found.sum_of_squares - e**2 / (1 - hat)) / (dof - 1))
    t = np.abs(e / (deleted * np.sqrt(1 - hat)))
    edge = 2 * 12 * stats.t.sf(t[7], dof - 1)  # the level at which it would just be called odd
    assert found.outlier(edge * 1.01) == 7
    assert found.outlier(edge * 0.99) is None
    assert found.without(7).y.size == 11


@pytest.mark.parametrize("seed", range(5))
def test_readings_that_belong_together_have_no_odd_one(seed):
    assert fit(line, X, noisy(seed=seed), {"a": 1.0, "b": 1.0}).outlier(1e-4) is None


@settings(max_examples=40, deadline=None)
@given(st.integers(-14, 14), st.integers(-14, 14))
def test_the_size_of_the_numbers_does_not_matter(tall, far):
    """x in 1e-5 m3/s, unknowns of 1e12: the same answer, scaled."""
    a, b = 10.0**tall, 10.0 ** (tall - far)
    x, y = X * 10.0**far, noisy() * 10.0**tall
    here, there = fit(line, X, noisy(), {"a": 1.0, "b": 1.0}), fit(line, x, y, {"a": a, "b": b})
    for name, scale in (("a", a), ("b", b)):
        assert there.params[name] == pytest.approx(here.params[name] * scale, rel=1e-6)
        assert there.errors[name] == pytest.approx(here.errors[name] * scale, rel=1e-5)
    assert there.interval("b") == pytest.approx(tuple(v * b for v in here.interval("b")), rel=1e-3)


def test_an_unknown_at_its_bound_is_held_and_named():
    y = noisy()
    found = fit(line, X, y, {"a": 1.0, "b": 1.0}, low={"a": 3.0})
    assert found.held == {"a": "low"}
    assert found.params["a"] == 3.0
    assert np.isnan(found.errors["a"])
    assert found.free == ("b",)
    assert found.covariance.shape == (1, 1)
    assert found.dof == 11
    alone = np.sum(X * (y - 3.0)) / np.sum(X * X)
    assert found.params["b"] == pytest.approx(alone, rel=1e-9)
    assert any("lowest" in w for w in found.words())
    low, high = found.interval("a")
    assert low == 3.0 < high


def test_a_bound_that_does_not_bite_changes_nothing():
    free = fit(line, X, noisy(), {"a": 1.0, "b": 1.0})
    walled = fit(line, X, noisy(), {"a": 1.0, "b": 1.0}, low={"a": 0.0, "b": 0.0}, high={"a": 9.0, "b": 9.0})
    assert not walled.held
    assert walled.params == pytest.approx(free.params, rel=1e-8)


def test_a_fixed_argument_is_no_unknown():
    found = fit(line, X, noisy(), {"b": 1.0}, fixed={"a": 2.0})
    assert found.params["a"] == 2.0
    assert found.dof == 11
    assert np.isnan(found.interval("a")).all()


def test_x_may_be_several_columns():
    columns = {"p": X, "q": X[::-1] ** 2}
    y = 2.0 * columns["p"] + 0.1 * columns["q"]
    for x, model in (
        (columns, lambda x, a, b: a * x["p"] + b * x["q"]),
        (tuple(columns.values()), lambda x, a, b: a * x[0] + b * x[1]),
    ):
        found = fit(model, x, y, {"a": 1.0, "b": 1.0})
        assert (found.params["a"], found.params["b"]) == pytest.approx((2.0, 0.1), rel=1e-9)
        assert found.exact
        assert found.without(3).params["a"] == pytest.approx(2.0, rel=1e-9)


def test_as_many_readings_as_unknowns_give_a_curve_but_no_band():
    found = fit(power, [1.0, 4.0], [2.0, 4.0], {"a": 1.0, "m": 1.0})
    assert (found.params["a"], found.params["m"]) == pytest.approx((2.0, 0.5), rel=1e-9)
    assert found.dof == 0
    assert np.isnan(found.band(np.array([2.0]))).all()
    assert np.isnan(found.interval("m")).all()
    assert np.isnan(found.residual_sd)
    assert found.outlier() is None
    assert any("no band" in w for w in found.words())


@pytest.mark.parametrize(("x", "y"), [([1.0], [2.0]), ([3.0, 3.0, 3.0], [1.0, 1.1, 0.9])])
def test_too_few_places_are_refused_with_the_number_needed(x, y):
    with pytest.raises(InputError, match="at least 2 different places"):
        fit(line, x, y, {"a": 1.0, "b": 1.0})


@pytest.mark.parametrize(("x", "y"), [([1.0, np.nan], [1.0, 2.0]), ([1.0, 2.0], [np.inf, 2.0]), ([1.0, 2.0], [1.0])])
def test_numbers_that_are_none_and_lengths_that_differ_are_refused(x, y):
    with pytest.raises(InputError):
        fit(line, x, y, {"a": 1.0, "b": 1.0})


def test_unknowns_that_cannot_be_told_apart_are_said_to_be_so():
    found = fit(lambda x, a, b: (a + b) * x, X, 3 * X + noisy() * 0.1, {"a": 1.0, "b": 1.0})
    assert set(found.loose) == {"a", "b"}
    assert np.isinf(found.errors["a"])
    assert np.isnan(found.band(X)).all()
    assert any("apart" in w for w in found.words())


def test_readings_that_do_not_vary_have_no_r_squared():
    found = fit(line, X, np.full(12, 4.0), {"a": 1.0, "b": 1.0})
    assert found.params["a"] == pytest.approx(4.0)
    assert np.isnan(found.r_squared)


@pytest.mark.parametrize("level", [0.0, 1.0, 1.2, -0.1, np.nan])
def test_a_level_that_is_no_share_of_certainty_is_refused(level):
    found = fit(line, X, noisy(), {"a": 1.0, "b": 1.0})
    with pytest.raises(InputError, match="level"):
        found.interval("b", level)
    with pytest.raises(InputError, match="level"):
        found.band(X, level)


def test_an_odd_reading_is_judged_by_the_step_of_the_numbers_at_least():
    """Eleven of twelve on a line to the digit: one off by a step is rounding, one off by five steps is not."""
    y = 2.0 + 0.5 * X
    for off, odd in ((1.0, None), (5.0, 4)):
        y[4] = 2.0 + 0.5 * X[4] + off
        assert fit(line, X, y, {"a": 1.0, "b": 1.0}).outlier() == 4
        found = fit(line, X, y, {"a": 1.0, "b": 1.0}, rounding=1.0)
        assert found.outlier() == odd
    _, expected, spread = found.against(4)
    assert expected == pytest.approx(2.0 + 0.5 * X[4])
    others = np.delete(X, 4)  # textbook error of one more reading about a straight line, scatter 1/sqrt(12)
    lean = (X[4] - others.mean()) ** 2 / np.sum((others - others.mean()) ** 2)
    assert spread == pytest.approx(np.sqrt((1 + 1 / 11 + lean) / 12), rel=1e-6)


def test_an_unknown_name_is_refused():
    with pytest.raises(InputError, match="a, b"):
        fit(line, X, noisy(), {"a": 1.0, "b": 1.0}).interval("c")
