"""The example plans of data/plans."""

import pytest

from loopmath import tables

EXAMPLES = sorted((tables.DATA / "plans").glob("*.toml"))
DEMO, SUITE, CUBE = (
    tables.DATA / "plans" / f"{name}.toml" for name in ("podcast_booth", "grading_suite", "reading_cube")
)
each_example = pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
