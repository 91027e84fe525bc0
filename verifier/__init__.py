"""Checks live point-to-point links against the link plan they were built from."""

__version__ = "0.1.0"
