"""Recordings computed from a model of waves, for trials on paper before metal is cut."""
