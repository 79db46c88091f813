"""The bench instrument: geometry, uncertainty, checks, log, daemon, console."""

__version__ = "0.1.0"
