"""The study: its plan, declaration and data, and the run from blocks to verdicts."""
