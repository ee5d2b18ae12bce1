"""
Bent tubes against worked figures; lengths in millimetres and angles in degrees, as printed.

"Geometry, by hand" marks a figure anyone can work out on paper: setback R tan(angle/2), arc R angle. Tolerance 1e-4 mm,
the last digit printed.
"""

import numpy as np
import pytest

from loopmath.checks import InputError
from loopmath.laws import bending

CLOSE = 1e-7  # m: 1e-4 mm

# Corners, R, legs, bends, rotations, straights, cut length
TUBES = {
    # Geometry, by hand: 150 + 100 - 50 + 12.5 pi
    "a right angle": ([(0, 0, 0), (150, 0, 0), (150, 100, 0)], 25, [150, 100], [90], [0], [125, 75], 239.2699),
    # Geometry, by hand: setback 10.3553, arc 19.6350
    "half a right angle": (
        [(0, 0, 0), (100, 0, 0), (100 + 50 * 2**0.5, 50 * 2**0.5, 0)],
        25,
        [100, 100],
        [45],
        [0],
        [89.6447, 89.6447],
        198.9243,
    ),
    # Geometry, by hand: arcs of 31.4159 each
    "a U in one plane": (
        [(0, 0, 0), (100, 0, 0), (100, 80, 0), (20, 80, 0)],
        20,
        [100, 80, 80],
        [90, 90],
        [0, 0],
        [80, 40, 60],
        242.8319,
    ),
    # Geometry, by hand, as the U
    "a Z in one plane": (
        [(0, 0, 0), (100, 0, 0), (100, 80, 0), (180, 80, 0)],
        20,
        [100, 80, 80],
        [90, 90],
        [0, 180],
        [80, 40, 60],
        242.8319,
    ),
    # Geometry, by hand: 240 - 80 + 20 pi; right-hand about the middle leg from the first plane's normal
    "out of the plane": (
        [(0, 0, 0), (100, 0, 0), (100, 80, 0), (100, 80, 60)],
        20,
        [100, 80, 60],
        [90, 90],
        [0, 90],
        [80, 40, 40],
        222.8319,
    ),
    # Geometry; worked out with code of its own beforehand
    "45 then 90 out of the plane": (
        [(0, 0, 0), (100, 0, 0), (200, 0, 100), (200, 100, 100)],
        25,
        [100, 141.4214, 100],
        [45, 90],
        [0, -90],
        [89.6447, 106.0660, 75],
        329.6155,
    ),
    # Points of a question on a mathematics forum (freemathhelp.com, thread 111090; no answer given there); the figures
    # are geometry, worked out with code of its own beforehand. Straights by hand: legs less 1, 2 and 1.
    "an offset in an inclined plane": (
        [
            (38.5202, -14.0264, 0),
            (45.3142, -14.0264, 0),
            (45.3142, -17.5214, 0.9654),
            (48.6822, -17.5214, 0.9654),
        ],
        1,
        [6.794, 3.6259, 3.368],
        [90, 90],
        [0, 180],
        [5.794, 1.6259, 2.368],
        12.9295,
    ),
}


@pytest.mark.parametrize("name", TUBES)
def test_a_bent_tube(name):
    corners, radius, legs, bends, rotations, straights, cut = TUBES[name]
    points, radius = 1e-3 * np.array(corners, dtype=float), 1e-3 * radius
    found, made = bending.turns(points), bending.lra(points, radius)
    np.testing.assert_allclose(1e3 * found.legs, legs, rtol=0, atol=1e-4)
    np.testing.assert_allclose(np.degrees(found.angles), bends, rtol=0, atol=1e-9)
    np.testing.assert_allclose(np.degrees(found.rotations), rotations, rtol=0, atol=1e-9)
    np.testing.assert_allclose(1e3 * made.lengths, straights, rtol=0, atol=1e-4)
    assert bending.length(points, radius) == pytest.approx(1e-3 * cut, abs=CLOSE)


@pytest.mark.parametrize(("angle", "setback", "arc"), [(90, 25.0, 39.2699), (45, 10.3553, 19.6350)])
def test_setback_and_arc(angle, setback, arc):
    """R 25 mm; geometry, by hand."""
    assert bending.setback(np.radians(angle), 0.025) == pytest.approx(1e-3 * setback, abs=CLOSE)
    assert bending.arc(np.radians(angle), 0.025) == pytest.approx(1e-3 * arc, abs=CLOSE)


def test_arcs_that_do_not_fit_are_refused():
    """A leg of 40 mm between two right angles of R 25 mm: geometry, 40 - 50 = -10 mm."""
    points = 1e-3 * np.array([[0, 0, 0], [100, 0, 0], [100, 40, 0], [200, 40, 0]])
    assert bending.straights(points, 0.025)[1] == pytest.approx(-0.010, abs=CLOSE)
    with pytest.raises(InputError, match=r"leg 2, from corner 1 to corner 2, is 40\.0 mm.*10\.0 mm short"):
        bending.checked_points(points, 0.025)


def test_brazier_folds_a_tube_at_two_ninths():
    """
    Brazier 1927 (from memory): at the greatest moment a tube has flattened by 2/9 of its radius.

    Printed in the form curvature = sqrt(2) t/(3 r^2 sqrt(1 - nu^2)).
    """
    wall, mean, poisson = 0.001, 0.0055, 0.34
    assert 1 / bending.kink_radius(0.012, 0.010, poisson) == pytest.approx(
        2**0.5 / 3 * wall / mean**2 / (1 - poisson**2) ** 0.5, rel=1e-12
    )
    at = bending.kink_radius(0.012, 0.010, poisson)
    assert bending.ovality(at, 0.012, 0.010, poisson) == pytest.approx(2 * 2 / 9, rel=1e-12)


def test_wall_of_a_bend_of_two_diameters():
    """Bending handbooks (from memory): at R = 2 D the outside loses a fifth of its wall, the inside gains a third."""
    assert bending.wall_thinning(0.028, 0.014) == pytest.approx(0.2, rel=1e-12)
    assert bending.wall_thickening(0.028, 0.014) == pytest.approx(1 / 3, rel=1e-12)
    assert bending.outer_strain(0.028, 0.014) == pytest.approx(0.25, rel=1e-12)
