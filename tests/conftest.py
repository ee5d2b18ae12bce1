"""Let the tests import their neighbours, and keep them away from the user's own files."""

import os
import sys
import tempfile
from pathlib import Path

import pytest

TESTS = str(Path(__file__).resolve().parent)
if TESTS not in sys.path:
    sys.path.insert(0, TESTS)

# One file of tests a core: libraries that take all cores for one matrix would only fight over them. Set before numpy
# is imported, and handed down to the other test processes and the kernels.
for _library in ("OMP", "OPENBLAS", "MKL"):
    os.environ.setdefault(f"{_library}_NUM_THREADS", "1")

# Set before anything is imported and handed down to the kernels of notebook tests. The folder is kept by this name
# until the session ends, when it goes with all that was written into it.
_MINE = tempfile.TemporaryDirectory(prefix="loopmath-mine-")
os.environ["LOOPMATH_MINE"] = _MINE.name


@pytest.fixture
def own(tmp_path, monkeypatch):
    """Return a folder of the user's that nothing has written to yet."""
    folder = tmp_path / "of the user"
    monkeypatch.setenv("LOOPMATH_MINE", str(folder))
    return folder
