"""Let the tests import their neighbours, and keep them away from the user's own files."""

import functools
import os
import sys
import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

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


# How long an example takes depends on who else is at work on the machine.
settings.register_profile("untimed", settings.default, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("untimed")


def pytest_xdist_auto_num_workers(config):
    """Return one process a core this machine lends us; past six the longest file of tests is what takes the time."""
    # Not the number pytest-xdist finds: it counts two threads of one core as one, and cores that others hold as ours.
    if "PYTEST_XDIST_AUTO_NUM_WORKERS" in os.environ:
        return None
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    return min(cores or 1, 6)


@pytest.fixture(scope="module")
def each_text_once():
    """Read each text with its unit once: of reading the same plan a thousand times, that is four fifths."""
    from loopmath import reader  # not before the lines above have told numpy

    read = reader.to_si
    remembered = functools.lru_cache(maxsize=4096)(read)  # what is refused is refused anew

    def to_si(field, value, kind):
        return remembered(field, value, kind) if isinstance(value, str) else read(field, value, kind)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(reader, "to_si", to_si)
        yield


@pytest.fixture
def own(tmp_path, monkeypatch):
    """Return a folder of the user's that nothing has written to yet."""
    folder = tmp_path / "of the user"
    monkeypatch.setenv("LOOPMATH_MINE", str(folder))
    return folder
