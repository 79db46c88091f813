"""One file per command. May import everything of the house; each file only what it needs."""
