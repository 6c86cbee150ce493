"""Figures and their alternative texts, from plain values."""
