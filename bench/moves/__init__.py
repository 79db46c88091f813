"""The move that a finding asks for: lever, leaves, screw turns, live."""
