"""Reference blocks: targets, grading units, as-built values and their uncertainty."""
