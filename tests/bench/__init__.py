"""The figures: `tests/run bench`. Every one is a ratio of two things measured in turn, in one run, on one machine."""
