"""From a finding to the move: lever, leaves, screw turns, live."""
