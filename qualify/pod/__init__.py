"""Probability of detection and false-call rate."""
