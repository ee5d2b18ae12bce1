"""Where functions change sign, many at once."""

from collections.abc import Callable
from typing import Any

import numpy as np

#: Margin of what is not known: nothing flows, or coolant outside its data. It only says on which side a root lies.
UNKNOWN = -100.0


def root(
    function: Callable, low: Any, high: Any, at_low: Any, at_high: Any, close: float = 1e-5
) -> tuple[np.ndarray, np.ndarray]:
    """
    Return (x, function(x)) where functions change sign between ends whose values are known, all at once.

    Regula falsi, the value of an end that stays lowered as Anderson and Bjorck do it; halving beside a value as large
    as `UNKNOWN`. Where a function jumps over zero x is at the jump, and what is left tells it.
    """
    low, high, at_low, at_high = (np.array(v, dtype=float) for v in (low, high, at_low, at_high))
    x = left = None
    for _ in range(60):
        slope = (at_high - at_low) / (high - low)
        blind = (np.abs(at_low) >= -UNKNOWN) | (np.abs(at_high) >= -UNKNOWN)
        x = np.where(blind, 0.5 * (low + high), low - at_low / slope)
        left = function(x)
        done = (np.abs(left) <= 0.3 * close * np.abs(slope)) & ~blind | (np.abs(high - low) < close)
        if np.all(done):
            break
        # `high` is always the newest point; `low` the one of the other sign.
        turned = (left < 0) != (at_high < 0)
        lowered = 1.0 - left / np.where(at_high == 0, 1.0, at_high)
        kept = at_low * np.where(lowered > 0, lowered, 0.5)
        at_low = np.where(done, at_low, np.where(turned, at_high, np.where(blind, at_low, kept)))
        low = np.where(done, low, np.where(turned, high, low))
        high, at_high = np.where(done, high, x), np.where(done, at_high, left)
    return x, left
