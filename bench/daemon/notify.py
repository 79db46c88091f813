"""What the service manager wants to hear: ready, alive, stopping. No library needed for
one datagram."""

from __future__ import annotations

import os
import socket


def notify(text: str) -> bool:
    """Send to the service manager that started us; False when there is none."""
    address = os.environ.get("NOTIFY_SOCKET")
    if not address:
        return False
    if address.startswith("@"):
        address = "\0" + address[1:]
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as channel:
        try:
            channel.sendto(text.encode(), address)
        except OSError:
            return False
    return True


def watchdog_interval() -> float | None:
    """Seconds between signs of life, half of what the service manager allows."""
    try:
        allowed = int(os.environ.get("WATCHDOG_USEC", ""))
    except ValueError:
        return None
    owner = os.environ.get("WATCHDOG_PID")
    if owner and owner != str(os.getpid()):
        return None
    return allowed / 2e6
