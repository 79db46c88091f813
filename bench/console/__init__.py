"""The terminal screen, a client of the daemon like any other."""
