"""Finds where settings, log and socket lie.

Cheap to import: a client needs no more to find its daemon.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

_NAME = "sweepgauge"
# where systemd/sweepgauge.service keeps its things
SERVICE_SETTINGS = Path("/etc/sweepgauge/settings.toml")
SERVICE_LOG = Path("/var/lib/sweepgauge/sweepgauge.db")
SERVICE_SOCKET = Path("/run/sweepgauge/socket")

# the variables that name the state's folder, and where it else lies below the home
_STATE = ("STATE_DIRECTORY", "XDG_STATE_HOME", ".local/state")
LONGEST_SENTENCE = 600  # characters; of a longer one the middle is left out


def one_line(text: str) -> str:
    """A stranger's words on one line of a terminal, whatever they hold: blanks for line
    ends, escapes for controls."""
    line = "".join(
        c if c.isprintable() else ascii(c)[1:-1] for c in " ".join(text.split())
    )
    half = LONGEST_SENTENCE // 2
    return (
        line if len(line) <= LONGEST_SENTENCE else f"{line[:half]} ... {line[-half:]}"
    )


class SettingsError(ValueError):
    """One line: which file, which key, what was found and what would do."""

    def __init__(self, words: str) -> None:
        super().__init__(one_line(words))


class Paths(NamedTuple):
    settings: Path
    log: Path
    gear: Path  # beside the log
    socket: Path


def _home_of_user() -> str:
    """HOME is not set for what systemd or cron starts; the password database knows it
    all the same."""
    import os
    import pwd

    try:
        return pwd.getpwuid(os.getuid()).pw_dir
    except KeyError:
        return ""


def _listens(socket_path: Path) -> bool:
    """Whether a daemon takes connections at this path."""
    import socket

    with socket.socket(socket.AF_UNIX) as probe:
        probe.setblocking(False)
        try:
            probe.connect(str(socket_path))
        except BlockingIOError:
            return True  # its queue of waiting clients is full
        except (OSError, ValueError):
            return False
        return True


def default_paths(
    environ: Mapping[str, str],
    *,
    settings: Path | str | None = None,
    log: Path | str | None = None,
    socket: Path | str | None = None,
    client: bool = False,
) -> Paths:
    """The command line's own paths, else the environment's, else the service's
    directories, else XDG's.

    client: the path is wanted to reach a daemon. The installed service's socket is then
    taken where nothing was named and no daemon of the user's own listens, and with it
    the service's settings and log.

    systemd names its directories in STATE_DIRECTORY, RUNTIME_DIRECTORY,
    CONFIGURATION_DIRECTORY (systemd.exec, "RuntimeDirectory="); the rest follows the
    XDG base directory specification.
    """

    named = socket or environ.get("SWEEPGAUGE_SOCKET")
    socket_path = Path(named) if named else _socket_path(environ, client=client)
    service = client and socket_path == SERVICE_SOCKET
    if not (settings := settings or environ.get("SWEEPGAUGE_SETTINGS")):
        config = ("CONFIGURATION_DIRECTORY", "XDG_CONFIG_HOME", ".config")
        own = SERVICE_SETTINGS if service else None
        settings = own or _folder(environ, *config) / "settings.toml"
    if not (log := log or environ.get("SWEEPGAUGE_LOG")):
        own = SERVICE_LOG if service else None
        log = own or _folder(environ, *_STATE) / f"{_NAME}.db"
    gear = Path(log).parent / "gear.toml"
    return Paths(Path(settings), Path(log), gear, socket_path)


def _socket_path(environ: Mapping[str, str], *, client: bool) -> Path:
    """Where none was named."""
    xdg = environ.get("XDG_RUNTIME_DIR", "")
    has_runtime = environ.get("RUNTIME_DIRECTORY") or xdg.startswith("/")
    runtime = ("RUNTIME_DIRECTORY", "XDG_RUNTIME_DIR", "")
    own = _folder(environ, *(runtime if has_runtime else _STATE)) / "socket"
    if client and SERVICE_SOCKET.parent.is_dir() and not _listens(own):
        return SERVICE_SOCKET
    return own


def _folder(
    environ: Mapping[str, str], service: str, xdg: str, below_home: str
) -> Path:
    """Raises SettingsError."""
    if first := environ.get(service, "").split(":")[0]:
        return Path(first)
    base = environ.get(xdg, "")
    if base.startswith("/"):  # the specification has relative ones ignored
        return Path(base) / _NAME
    if home := environ.get("HOME") or _home_of_user():
        return Path(home) / below_home / _NAME
    raise SettingsError(
        f"environment: {xdg}: found nothing, nor HOME; a directory in either would do"
    )
