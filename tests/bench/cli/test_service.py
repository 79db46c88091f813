"""`service install|remove` on a file tree of its own, by the tools that a Debian brings."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from bench.cli import cli
from bench.cli.common import CommandError
from bench.cli.service_steps import TARGET_FOLDERS, InstallTarget, install_steps, remove_steps

SYSTEMD = Path(__file__).parents[3] / "systemd"
pytestmark = pytest.mark.skipif(
    any(
        shutil.which(tool) is None
        for tool in ("systemd-sysusers", "systemd-tmpfiles", "systemctl", "usermod")
    ),
    reason="systemd's tools are not on this machine",
)


@pytest.fixture
def tree(tmp_path: Path) -> Path:
    """As little of a Debian as the tools need, with a person in it."""
    root = tmp_path / "card"
    (root / "etc").mkdir(parents=True)
    (root / "etc/passwd").write_text(
        "root:x:0:0:root:/root:/bin/sh\nmaker:x:1000:1000::/home/maker:/bin/sh\n"
    )
    (root / "etc/group").write_text("root:x:0:\nmaker:x:1000:\n")
    (root / "etc/shadow").write_text("root:*:19000:0:99999:7:::\nmaker:*:19000:0:99999:7:::\n")
    (root / "etc/gshadow").write_text("root:*::\nmaker:!::\n")
    return root


def place(root: Path, *, screen: bool = False) -> InstallTarget:
    return InstallTarget(root, "/opt/sweepgauge/bin/sweepgauge", "maker", screen)


def files_in(root: Path) -> dict[str, str]:
    return {
        str(path.relative_to(root)): path.read_text(errors="replace") if path.exists() else ""
        for path in sorted(root.rglob("*"))
        if path.is_symlink() or path.is_file()
    }


def carry_out(steps) -> None:
    for step in steps:
        if not step.done:
            step.act()


needs_root = pytest.mark.skipif("os.geteuid() != 0", reason="a tree of accounts is changed by root alone")


@needs_root
def test_installed_once_and_nothing_to_do_the_second_time(tree) -> None:
    carry_out(install_steps(place(tree)))
    there = files_in(tree)
    for unit in SYSTEMD.glob("*.service"):
        assert (f"etc/systemd/system/{unit.name}" in there) == (unit.name != "sweepgauge-screen.service")
    assert "etc/systemd/system/multi-user.target.wants/sweepgauge.service" in there
    assert (tree / "usr/local/bin/sweepgauge").readlink() == Path("/opt/sweepgauge/bin/sweepgauge")
    groups = dict(line.split(":", 1) for line in (tree / "etc/group").read_text().splitlines())
    assert groups["sweepgauge"].endswith(":maker")
    assert (tree / "etc/sweepgauge").stat().st_mode & 0o7777 == 0o2775
    assert [step.words for step in install_steps(place(tree)) if not step.done] == []
    carry_out(install_steps(place(tree)))
    assert files_in(tree) == there


@needs_root
def test_an_upgrade_replaces_only_what_differs(tree) -> None:
    carry_out(install_steps(place(tree)))
    unit = tree / "etc/systemd/system/sweepgauge.service"
    unit.write_text("[Service]\nExecStart=/bin/false\n")
    left = [step for step in install_steps(place(tree)) if not step.done]
    assert [step.words for step in left] == [f"replace {unit}"]
    carry_out(left)
    assert "sweepgauge daemon" in unit.read_text()


@needs_root
def test_removed_all_but_the_log_and_the_settings(tree) -> None:
    before = files_in(tree)
    carry_out(install_steps(place(tree, screen=True)))
    log = tree / "var/lib/sweepgauge/sweepgauge.db"
    log.parent.mkdir(parents=True, exist_ok=True)
    log.write_text("the log")
    (tree / "etc/sweepgauge/settings.toml").write_text("units = 'inch'\n")
    carry_out(remove_steps(place(tree)))
    after = files_in(tree)
    assert log.read_text() == "the log"
    assert "sweepgauge:x" in (tree / "etc/passwd").read_text()  # owns the log
    assert "maker" not in next(
        line for line in (tree / "etc/group").read_text().splitlines() if line.startswith("sweepgauge:")
    )
    accounts = {name for name in after if name.startswith("etc/") and name.rstrip("-") in before}
    assert set(after) - set(before) - accounts <= {
        "var/lib/sweepgauge/sweepgauge.db",
        "etc/sweepgauge/settings.toml",
        "etc/.pwd.lock",
    }
    assert [step.words for step in remove_steps(place(tree)) if not step.done] == []


@needs_root
def test_the_screen_belongs_to_the_person(tree) -> None:
    carry_out(install_steps(place(tree, screen=True)))
    unit = (tree / "etc/systemd/system/sweepgauge-screen.service").read_text()
    assert "User=maker\n" in unit and "@" not in unit.replace("getty@tty1", "").replace("maker@", "")
    assert (tree / "etc/systemd/system/multi-user.target.wants/sweepgauge-screen.service").is_symlink()


def test_a_dry_run_prints_each_path_and_changes_nothing(tree) -> None:
    before = files_in(tree)
    done = CliRunner().invoke(
        cli, ["service", "install", "--dry-run", "--root", str(tree), "--user", "maker"]
    )
    assert done.exit_code == 0, done.output
    for line in ("etc/systemd/system/sweepgauge.service", "etc/udev/rules.d/60-sweepgauge.rules", "maker"):
        assert line in done.output
    assert files_in(tree) == before


def test_every_file_of_the_folder_has_a_place() -> None:
    for path in SYSTEMD.iterdir():
        assert path.name.endswith(tuple(TARGET_FOLDERS)), path


def test_a_program_in_a_home_folder_is_refused(tree, monkeypatch) -> None:
    monkeypatch.setattr(sys, "prefix", "/home/maker/.venv")
    with pytest.raises(CommandError, match="/opt/sweepgauge"):
        CliRunner().invoke(
            cli, ["service", "install", "--root", str(tree)], catch_exceptions=False, standalone_mode=False
        )


def test_a_command_of_somebody_else_is_not_taken_away(tree) -> None:
    other = tree / "usr/local/bin/sweepgauge"
    other.parent.mkdir(parents=True)
    other.write_text("#!/bin/sh\n")
    with pytest.raises(CommandError, match="no link of ours"):
        list(install_steps(place(tree)))
    carry_out(step for step in remove_steps(place(tree)) if step.words.startswith("remove "))
    assert other.exists()
