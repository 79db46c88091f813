"""The terminal screen: a client of the wire like any other."""
