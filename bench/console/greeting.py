"""The requests that the console sends on each connection."""

from bench.protocol import GetChecks, GetGear, GetStatus, Watch

# messages of readings a second and instrument: digits are not drawn more often, and at
# rest, where nobody waits for the number, less of them saves half of the CPU
LIVE_RATE_HZ, REST_RATE_HZ = 10.0, 2.0
GREETING = (
    GetGear(),
    GetStatus(),
    Watch(on=True, most=LIVE_RATE_HZ),
    GetChecks(),
)
