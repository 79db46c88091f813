"""The terminal screen: a client of the wire like any other. May import: textual, bench.wire, bench.units."""
