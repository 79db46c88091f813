"""Keeps in one SQLite file what was measured, with what, and what was concluded.

`writer` writes (the daemon only); `findings`, `moves`, `events`, `sweeps` and `runs`
read. Nothing measured is ever deleted. No file of this room imports numpy.
"""
