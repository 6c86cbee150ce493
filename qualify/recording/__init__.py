"""Recordings: full matrix captures, simulated or measured, and what is wrong with them."""
