"""A saw, a jig and hands in software, speaking real bytes through real
pseudo-terminals."""
