"""Fit a curve with bounded unknowns to readings by least squares, and say how well it is known."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from scipy import optimize, stats

from loopmath.checks import InputError, number

#: Share of the largest reading below which a residual is rounding and no scatter.
ROUNDING = 1e-9
#: Singular values below this share of the largest leave a direction of the unknowns undetermined.
LOOSE = 1e-8
#: A second search begins this far off the first guess, and a third if the two do not end in the same place.
OTHER_STARTS = (1.0, 0.4, 2.5)


def _level(level: float) -> None:
    """Refuse a share of certainty that is none: with 1 every end is endless, with 0 there is no width."""
    level = number("level", level)
    if not 0.0 < level < 1.0:
        raise InputError("level", level, "more than 0 and less than 1, such as 0.95")


def _part(x: Any, where: Any) -> Any:
    """Return some places of `x`, which is one array, a tuple or a dict of arrays."""
    if isinstance(x, Mapping):
        return {key: value[where] for key, value in x.items()}
    return tuple(value[where] for value in x) if isinstance(x, tuple) else x[where]


def _arrays(x: Any) -> Any:
    if isinstance(x, Mapping):
        return {key: np.atleast_1d(number(key, value)) for key, value in x.items()}
    if isinstance(x, tuple):
        return tuple(np.atleast_1d(number(f"x[{place}]", value)) for place, value in enumerate(x))
    return np.atleast_1d(number("x", x))


def places(x: Any) -> int:
    """Return how many different places the readings were taken at, rounding apart."""
    columns = list(x.values()) if isinstance(x, Mapping) else list(x) if isinstance(x, tuple) else [x]
    near_one = [np.round(c / (np.max(np.abs(c)) or 1.0), 9) for c in columns]
    return len(np.unique(np.column_stack(near_one), axis=0))


@dataclass(frozen=True, eq=False)
class Fit:
    """
    A fitted curve and what is known of it.

    Attributes
    ----------
    model : callable
        model(x, **params) -> y.
    x : array, tuple or dict of arrays
        Where was read.
    y : array (n,)
        What was read.
    params : dict of str to float
        The unknowns at the best fit, the fixed ones among them.
    errors : dict of str to float
        Standard errors by the linearised model: NaN if fixed, held at a bound, or without a reading to spare;
        infinite if the readings do not determine the unknown.
    free : tuple of str
        The unknowns the readings settled, in the order of `covariance`.
    held : dict of str to str
        Unknowns at an end of their range, "low" or "high": the readings pull beyond it.
    fixed : dict of str to float
        Unknowns given by the caller.
    loose : tuple of str
        Unknowns the readings do not determine.
    covariance : array (k, k)
        Of the free unknowns.
    dof : int
        Degrees of freedom: readings less free unknowns.
    residual_sd : float
        Scatter about the curve; NaN if `dof` is 0.
    r_squared : float
        Share of the variation that the curve explains; NaN if the readings do not vary.
    residuals : array (n,)
        Read less fitted.
    rounding : float
        Step of the numbers in `y`: they are known no better. 0 if they are known to the last digit.
    """

    model: Callable
    x: Any
    y: np.ndarray
    params: dict[str, float]
    errors: dict[str, float]
    free: tuple[str, ...]
    held: dict[str, str]
    fixed: dict[str, float]
    loose: tuple[str, ...]
    covariance: np.ndarray
    dof: int
    residual_sd: float
    r_squared: float
    residuals: np.ndarray
    limits: dict[str, tuple[float, float]] = field(repr=False)
    scales: dict[str, float] = field(repr=False)
    leverage: np.ndarray = field(repr=False)
    rounding: float = 0.0

    def __call__(self, x: Any) -> Any:
        """Return the fitted curve at `x`."""
        return self.model(x, **self.params)

    @property
    def sum_of_squares(self) -> float:
        """Sum of the squared residuals."""
        return float(self.residuals @ self.residuals)

    @property
    def exact(self) -> bool:
        """Whether the curve meets every reading but for rounding."""
        return bool(np.all(np.abs(self.residuals) <= ROUNDING * np.max(np.abs(self.y), initial=1e-300)))

    def words(self, names: Mapping[str, str] | None = None) -> list[str]:
        """Return what a reader should know of the fit, in plain sentences; `names` says what an unknown is called."""
        out, called = [], {n: n.replace("_", " ") for n in self.params} | dict(names or {})
        if self.dof < 1:
            out.append(
                f"{self.y.size} readings for {len(self.free)} unknowns leave none to judge the scatter by: "
                "no band and no plus or minus can be given."
            )
        for name, end in self.held.items():
            which = {"low": "lowest", "high": "highest"}[end]
            out.append(f"{called[name]} is held at the {which} end of its range: the readings pull beyond it.")
        if self.loose:
            names = " and ".join(called[name] for name in self.loose)
            out.append(f"The readings do not tell {names} apart; only the curve between the readings is settled.")
        return out

    def interval(self, name: str, level: float = 0.95) -> tuple[float, float]:
        r"""
        Return the ends between which an unknown lies, by the profile of the sum of squares.

        Parameters
        ----------
        name : str
            A name of `params`.
        level : float
            More than 0, less than 1. [-]

        Returns
        -------
        low, high : float
            NaN without a reading to spare or if the unknown was fixed; an end of the unknown's range if the
            readings do not rule it out.

        Raises
        ------
        InputError
            If there is no such unknown, or the level is not more than 0 and less than 1.

        Notes
        -----
        The ends are where :math:`(S(\theta) - S)/s^2 = t^2`, the other unknowns fitted anew at each
        :math:`\theta`; t is Student's. For a curve straight in its unknowns this is the usual interval. For an
        exponent it is better than value ± t · error, being lopsided where the curve is; source [BatesWatts1988]_.
        """
        value = self._unknown(name, level)
        if self.dof < 1 or name in self.fixed:
            return np.nan, np.nan
        if self.exact:
            return value, value
        t, error, ends = float(stats.t.ppf(0.5 + level / 2, self.dof)), self.errors[name], []
        step = t * error if np.isfinite(error) and error > 0 else 0.1 * self.scales[name]
        others = {n: v for n, v in self.params.items() if n != name and n not in self.fixed}
        warm, known = dict(others), {value: -t}  # what was found once stands, so that a bracket stays one

        def excess(guess: float) -> float:
            if guess not in known:
                known[guess] = self._distance(name, guess, warm) - t
            return known[guess]

        for side, wall in zip((-1.0, 1.0), self.limits[name], strict=True):
            warm.update(others)
            near, far, end = value, value, side * np.inf
            for turn in range(30):
                far = value + side * step * 1.5**turn
                far = max(far, wall) if side < 0 else min(far, wall)
                if excess(far) > 0:
                    end = optimize.brentq(excess, near, far, xtol=1e-3 * step, rtol=1e-12)
                    break
                if far == wall:
                    end = wall
                    break
                near = far
            ends.append(float(end))
        return ends[0], ends[1]

    def _unknown(self, name: str, level: float) -> float:
        _level(level)
        if name not in self.params:
            raise InputError("unknown", name, ", ".join(self.params))
        return self.params[name]

    def _distance(self, name: str, value: float, warm: dict[str, float]) -> float:
        """Return how much worse the fit is with an unknown at `value`, in units of the scatter; `warm` is moved."""
        fixed = self.fixed | {name: value}
        found, squares, _ = _best(self.model, self.x, self.y, warm, self.limits, self.scales, fixed)
        warm.update(found)
        return float(np.sqrt(max(squares - self.sum_of_squares, 0.0))) / self.residual_sd

    def _slopes(self, x: Any) -> np.ndarray:
        """Return d model / d free unknowns at `x`, by central differences. (n, k)"""
        columns = []
        for name in self.free:
            value, (low, high) = self.params[name], self.limits[name]
            step = 6e-6 * max(abs(value), 0.01 * self.scales[name])
            above, below = min(value + step, high), max(value - step, low)
            columns.append(
                (self.model(x, **self.params | {name: above}) - self.model(x, **self.params | {name: below}))
                / (above - below)
            )
        return np.stack(columns, axis=-1) if columns else np.zeros((np.size(self(x)), 0))

    def spread(self, x: Any) -> Any:
        """Return the standard error of the fitted curve at `x`, by the delta method; NaN without one."""
        here = self(x)
        if self.dof < 1 or self.loose:
            return np.full(np.shape(here), np.nan)
        slopes = self._slopes(x)
        return np.sqrt(np.maximum(np.einsum("...i,ij,...j->...", slopes, self.covariance, slopes), 0.0))

    def band(self, x: Any, level: float = 0.95) -> tuple[Any, Any]:
        """
        Return the band of the true curve at `x`, point by point.

        It leaves out any one place of the true curve in 1 of 20 tables (at level 0.95), and so some place or other in
        more of them. NaN where no reading is left to judge the scatter by, or the readings do not determine the curve.
        """
        _level(level)
        half = stats.t.ppf(0.5 + level / 2, max(self.dof, 1)) * self.spread(x)
        return self(x) - half, self(x) + half

    def without(self, index: int) -> "Fit":
        """Return the same curve fitted to all readings but one."""
        keep = np.arange(self.y.size) != index
        start = {name: value for name, value in self.params.items() if name not in self.fixed}
        how = (self.limits, self.scales, self.fixed)
        # A gross reading pulls the whole fit away: the others are searched from more than where it ended.
        return _finish(self.model, _part(self.x, keep), self.y[keep], start, *how, OTHER_STARTS, self.rounding)

    def against(self, index: int) -> tuple["Fit", float, float]:
        """
        Return the fit to the others, what they give in place of a reading, and the standard error of one reading there.

        The scatter is taken as no less than that of numbers rounded to `rounding`: step/sqrt(12).
        """
        others, here = self.without(index), _part(self.x, np.array([index]))
        least = max(self.rounding / np.sqrt(12.0), 1e-6 * float(np.max(np.abs(self.y))))
        slopes = others._slopes(others.x)
        long = np.maximum(np.linalg.norm(slopes, axis=0), 1e-300)  # unknowns may be as unlike as 1e-5 and 1e12
        reach = np.linalg.norm(others._slopes(here)[0] / long @ np.linalg.pinv(slopes / long))
        spread = max(others.residual_sd, least) * float(np.hypot(1.0, reach))
        return others, float(others(here)[0]), spread

    def outlier(self, level: float = 0.01) -> int | None:
        """
        Return the place of a reading that does not belong with the others, or None.

        Each suspect is left out, the curve fitted to the others, and its distance from what they predict
        compared with their scatter (the externally studentised residual), at `level` over all readings
        together (Bonferroni). It takes three readings more than there are unknowns. The scatter is no less than
        that of the rounding, so that rows that only happen to meet the curve accuse no other.
        """
        if self.dof < 3 or self.loose or self.exact:
            return None
        apart = np.abs(self.residuals) / np.sqrt(np.maximum(1.0 - self.leverage, 1e-6))
        best, found = float(stats.t.isf(level / (2 * self.y.size), self.dof - 1)), None
        for index in np.argsort(-apart)[:3]:
            if places(_part(self.x, np.arange(self.y.size) != index)) < len(self.free) + len(self.held):
                continue
            others, expected, spread = self.against(int(index))
            if others.dof < 2 or others.loose:  # one to spare would make a small scatter of mere luck
                continue
            # With fewer degrees of freedom lost to a bound the two fits differ; the others' own count is used.
            distance = abs(float(self.y[index]) - expected) / spread
            distance = abs(float(stats.t.isf(stats.t.sf(distance, others.dof), self.dof - 1)))
            if distance > best:
                best, found = distance, int(index)
        return found


def _best(
    model: Callable,
    x: Any,
    y: np.ndarray,
    start: dict,
    limits: dict,
    scales: dict,
    fixed: dict,
    factors: tuple = (1.0,),
) -> tuple[dict[str, float], float, np.ndarray]:
    """Return the best unknowns, their sum of squares and the slopes of the curve there, from several starts."""
    names = list(start)
    if not names:
        return {}, float(np.sum((model(x, **fixed) - y) ** 2)), np.zeros((y.size, 0))
    low = np.array([limits[n][0] for n in names])
    high = np.array([limits[n][1] for n in names])
    first = np.array([start[n] for n in names], dtype=float)
    scale = np.array([scales[n] for n in names])
    tall = float(np.max(np.abs(y))) or 1.0

    def residual(u: np.ndarray) -> np.ndarray:
        return (model(x, **fixed, **dict(zip(names, u * scale, strict=True))) - y) / tall

    best = None
    for factor in factors:
        inner = np.minimum(1e-6 * scale, 0.1 * (high - low))  # the search begins inside the bounds
        u = np.clip(first * factor, low + inner, high - inner) / scale
        try:
            found = optimize.least_squares(
                residual,
                u,
                jac="3-point",
                bounds=(low / scale, high / scale),
                x_scale="jac",
                ftol=1e-14,
                xtol=1e-14,
                gtol=3e-16,  # absolute: no more than stops a search that has no slope to go by
                max_nfev=400,
            )
        except ValueError:  # the curve is not finite at this start
            continue
        if best is not None and abs(found.cost - best.cost) <= 1e-9 * best.cost:
            break  # two searches that end in the same place are enough
        if best is None or found.cost < best.cost:
            best = found
    if best is None:
        raise InputError("first guess", dict(start), "values at which the curve is finite")
    u = np.clip(best.x * scale, low, high)
    return dict(zip(names, map(float, u), strict=True)), 2 * best.cost * tall**2, best.jac * tall / scale


def _finish(
    model: Callable,
    x: Any,
    y: np.ndarray,
    start: dict,
    limits: dict,
    scales: dict,
    fixed: dict,
    factors: tuple = (1.0,),
    step: float = 0.0,
) -> Fit:
    """Fit, hold what lies at a bound, and work out what is known of the rest."""
    found, squares, slopes = _best(model, x, y, start, limits, scales, fixed, factors)
    rounding = y.size * (1e-12 * float(np.max(np.abs(y)))) ** 2
    held: dict[str, str] = {}
    for name in list(start):
        for end, wall in zip(("low", "high"), limits[name], strict=True):
            if name in held or not np.isfinite(wall):
                continue
            if abs(found[name] - wall) > 1e-3 * max(scales[name], abs(wall)):
                continue
            rest = {n: v for n, v in found.items() if n != name}
            at = fixed | {n: limits[n][h == "high"] for n, h in held.items()} | {name: wall}
            trial, trial_squares, trial_slopes = _best(model, x, y, rest, limits, scales, at)
            if trial_squares <= squares * (1 + 1e-8) + rounding:
                held[name], found, squares, slopes = end, trial, trial_squares, trial_slopes
    params = {n: fixed[n] for n in fixed}
    params |= {n: found[n] if n in found else float(limits[n][held[n] == "high"]) for n in start}
    free = tuple(found)
    residuals = y - model(x, **params)
    dof = y.size - len(free)
    squares = float(residuals @ residuals)
    variance = squares / dof if dof > 0 else np.nan
    long = np.linalg.norm(slopes, axis=0)
    long[long == 0.0] = 1.0
    left, values, right = np.linalg.svd(slopes / long, full_matrices=False)
    good = values > LOOSE * np.max(values, initial=0.0)
    inverse = (right[good].T / values[good] ** 2) @ right[good] / np.outer(long, long)
    covariance = variance * inverse
    loose = tuple(n for n, away in zip(free, right[~good].T, strict=True) if np.any(np.abs(away) > 1e-3))
    errors = dict.fromkeys(params, np.nan)
    for place, name in enumerate(free):
        errors[name] = np.inf if name in loose else float(np.sqrt(covariance[place, place]))
    about = float(np.sum((y - y.mean()) ** 2))
    varies = about > y.size * (ROUNDING * float(np.max(np.abs(y)))) ** 2
    return Fit(
        model=model,
        x=x,
        y=y,
        params=params,
        errors=errors,
        free=free,
        held=held,
        fixed=fixed,
        loose=loose,
        covariance=covariance,
        dof=dof,
        residual_sd=float(np.sqrt(variance)),
        r_squared=1.0 - squares / about if varies else np.nan,
        residuals=residuals,
        limits=limits,
        scales=scales,
        leverage=np.sum(left[:, good] ** 2, axis=1),
        rounding=step,
    )


def fit(
    model: Callable,
    x: Any,
    y: Any,
    start: Mapping[str, float],
    low: Mapping[str, float] | None = None,
    high: Mapping[str, float] | None = None,
    fixed: Mapping[str, float] | None = None,
    what: str = "readings",
    rounding: float = 0.0,
) -> Fit:
    """
    Fit the unknowns of a curve to readings by least squares, each within its own ends.

    Parameters
    ----------
    model : callable
        model(x, **params) -> array like y. It must stand arrays.
    x : array, tuple or dict of arrays
        Where was read, handed to the model as it is.
    y : array (n,)
        What was read.
    start : mapping of str to float
        First guess of every unknown; its size tells the scale the unknown is searched on.
    low, high : mapping of str to float, optional
        Ends of the range of an unknown; without, it has none.
    fixed : mapping of str to float, optional
        Arguments of the model that are no unknowns.
    what : str
        What was read, for messages.
    rounding : float
        Step of the numbers in `y`, by which `Fit.outlier` judges.

    Returns
    -------
    fit : Fit
        With as many readings as unknowns it has no errors and no band, and `Fit.words` says so.

    Raises
    ------
    InputError
        If a number is not finite, lengths differ, or there are fewer readings, or fewer different places of
        reading, than unknowns; the message says how many are needed.

    Notes
    -----
    `scipy.optimize.least_squares` (trust region with bounds) from three starts, unknowns and readings scaled to
    about 1. An unknown that ends at a bound is held there and counts no more as free, so the band of the rest
    is that of a curve with one unknown less. All readings count alike: where the scatter grows with the reading,
    plus and minus come out somewhat small (measured on a radiator's table: 88 to 92 tables in 100 hold the truth
    where 95 are meant). Source of intervals and band: [BatesWatts1988]_.

    Examples
    --------
    >>> line = fit(lambda x, a, b: a + b * x, np.array([0.0, 1.0, 2.0, 3.0]), [1.0, 3.1, 4.9, 7.0], {"a": 1, "b": 1})
    >>> round(line.params["b"], 3), line.dof
    (1.98, 2)
    """
    y = np.atleast_1d(number(what, y))
    x = _arrays(x)
    sizes = {np.size(v) for v in (x.values() if isinstance(x, Mapping) else x if isinstance(x, tuple) else [x])}
    if sizes != {y.size}:
        raise InputError(what, sorted(sizes | {y.size}), "as many places as readings")
    fixed = {name: float(value) for name, value in (fixed or {}).items()}
    limits = {
        name: (float((low or {}).get(name, -np.inf)), float((high or {}).get(name, np.inf)))
        for name in (*start, *fixed)
    }
    different = places(x)
    if different < len(start):
        raise InputError(
            what,
            f"{y.size} readings at {different} different places",
            f"at least {len(start)} different places, one for each unknown ({', '.join(start)})",
            "Take more readings, further apart.",
        )
    begin = {name: float(number(name, value)) for name, value in start.items()}
    # Unknowns are searched in units of their first guess, so that 1e-5 m3/s and 1e12 Pa s2/m6 are alike.
    spans = {name: limits[name][1] - limits[name][0] for name in begin}
    scales = {n: abs(v) if v else spans[n] if np.isfinite(spans[n]) else 1.0 for n, v in begin.items()}
    return _finish(model, x, y, begin, limits, scales, fixed, OTHER_STARTS, rounding)
