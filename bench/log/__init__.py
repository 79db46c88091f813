"""Keeps in one SQLite file what was measured, with what, and what was concluded.

`writer` writes (the daemon, or an import into a file); `findings`, `events` and
`recover` read. Nothing measured is ever deleted. No file of this room imports numpy.
"""
