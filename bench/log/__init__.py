"""The log: one SQLite file that keeps what was measured, with what, and what was
concluded.

`writer` appends (the daemon only), `read` and `export` read. Nothing measured is ever
deleted. Never numpy.
"""
