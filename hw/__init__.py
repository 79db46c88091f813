"""Everything that touches a port or a pin. Knows nothing of checks; never imports
bench."""
