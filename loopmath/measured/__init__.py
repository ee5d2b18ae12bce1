"""A user's readings become parts of the package's own forms, with what was found and what looks wrong."""

from loopmath.measured.block import measured_block
from loopmath.measured.curves import COLUMNS, Curve, Measured
from loopmath.measured.machines import measured_fan, measured_pump
from loopmath.measured.radiator import measured_radiator

__all__ = ["COLUMNS", "Curve", "Measured", "measured_block", "measured_fan", "measured_pump", "measured_radiator"]
