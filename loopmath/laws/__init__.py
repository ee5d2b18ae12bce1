"""One subject each, one relation per function, with its range, source and example."""
