"""Where a client finds its daemon, and with it the settings and the log."""

from __future__ import annotations

import socket

import pytest

from bench.settings import paths
from bench.settings.paths import default_paths


@pytest.fixture
def service(tmp_path, monkeypatch):
    """An installed service's socket, in a folder of the test's own."""
    at = tmp_path / "run" / "socket"
    at.parent.mkdir()
    monkeypatch.setattr(paths, "SERVICE_SOCKET", at)
    return at


def environ(tmp_path) -> dict[str, str]:
    (tmp_path / "mine" / "sweepgauge").mkdir(parents=True)
    return {"HOME": str(tmp_path), "XDG_RUNTIME_DIR": str(tmp_path / "mine")}


def test_a_client_finds_the_service_and_its_settings_and_log(tmp_path, service) -> None:
    found = default_paths(environ(tmp_path), client=True)
    assert found.socket == service
    assert (found.settings, found.log) == (paths.SERVICE_SETTINGS, paths.SERVICE_LOG)


def test_a_daemon_started_by_hand_has_its_own(tmp_path, service) -> None:
    found = default_paths(environ(tmp_path))
    assert found.socket == tmp_path / "mine" / "sweepgauge" / "socket"
    assert found.log.is_relative_to(tmp_path)


def test_a_daemon_of_my_own_goes_first_and_one_that_was_killed_does_not(tmp_path, service) -> None:
    mine = tmp_path / "mine" / "sweepgauge" / "socket"
    env = environ(tmp_path)
    with socket.socket(socket.AF_UNIX) as listener:
        listener.bind(str(mine))
        listener.listen()
        assert default_paths(env, client=True).socket == mine
    assert mine.exists()  # left over
    assert default_paths(env, client=True).socket == service


def test_what_was_named_counts(tmp_path, service) -> None:
    env = environ(tmp_path) | {"SWEEPGAUGE_SOCKET": "/x/socket"}
    found = default_paths(env, client=True)
    assert str(found.socket) == "/x/socket"
    assert found.log.is_relative_to(tmp_path)
    own = default_paths(
        environ(tmp_path / "b") | {"SWEEPGAUGE_SETTINGS": "/y.toml"}, client=True, socket=service, log="/z.db"
    )
    assert (str(own.settings), str(own.log)) == ("/y.toml", "/z.db")
