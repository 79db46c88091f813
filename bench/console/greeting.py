"""The requests that the console sends on each connection."""

from bench.protocol import GetChecks, GetGear, GetStatus, Watch

# live readings: messages a second and instrument; digits are not drawn more often
MOST_READINGS = 10.0
AT_REST = 2.0  # so many where nobody waits for the number: it saves half of the CPU
GREETING = (
    GetGear(),
    GetStatus(),
    Watch(on=True, most=MOST_READINGS),
    GetChecks(),
)
