"""Sizing error and tolerance intervals."""
