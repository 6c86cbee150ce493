"""Modes compared on the same targets."""
