"""Everything that touches a port or a pin."""
