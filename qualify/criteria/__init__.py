"""Acceptance criteria and their verdicts."""
