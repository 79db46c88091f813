"""A saw, a sled and hands in software, speaking real bytes through pseudo-terminals."""
