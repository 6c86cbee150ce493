"""Digests of what went in and what came out."""
