"""Boot a Debian tree with the service in it, as README sets it up, and see how it lives. By hand, as root:

    debootstrap --variant=minbase --include=systemd,systemd-sysv,dbus,python3,python3-venv,udev bookworm TREE
    pip wheel -w WHEELS .
    python tests/appliance/boot_service.py TREE WHEELS

Prints one JSON line {test, figure, limit, pass} a matter; exit 1 when one fails. No Pi: the kernel, the clock
and the cables are this machine's.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

HOUSE = Path(__file__).resolve().parents[2]
SPAWN = ["systemd-nspawn", "--quiet", "--register=no", "--keep-unit", "-D"]
LONGEST_BOOT = 300  # s

SET_UP = """
set -e
cp /opt/house/systemd/sweepgauge.sysusers.conf /usr/lib/sysusers.d/sweepgauge.conf && systemd-sysusers 2>/dev/null
id maker >/dev/null 2>&1 || useradd --create-home --groups sweepgauge maker
python3 -m venv --system-site-packages /opt/sweepgauge
/opt/sweepgauge/bin/pip install -q --no-index --find-links /opt/wheels sweepgauge
cp /opt/house/systemd/60-sweepgauge.rules /etc/udev/rules.d/
cp /opt/house/systemd/sweepgauge.service /etc/systemd/system/
[ ! -e /opt/house/systemd/sweepgauge.tmpfiles.conf ] || {
    cp /opt/house/systemd/sweepgauge.tmpfiles.conf /usr/lib/tmpfiles.d/sweepgauge.conf
    systemd-tmpfiles --create sweepgauge.conf
}
systemctl enable -q sweepgauge
cat > /etc/systemd/system/look.service <<'UNIT'
[Unit]
After=multi-user.target
[Service]
ExecStart=/bin/bash /opt/look.sh
[Install]
WantedBy=multi-user.target
UNIT
systemctl enable -q look
"""

LOOK = r"""
exec >/opt/seen.txt 2>/opt/look.log
export SWEEPGAUGE_SOCKET=/run/sweepgauge/socket
SG=/opt/sweepgauge/bin/sweepgauge
ASK="SWEEPGAUGE_SOCKET=$SWEEPGAUGE_SOCKET $SG status"
DEMO="cd; env -u SWEEPGAUGE_SOCKET $SG demo --headless --seed 4 --json"
say() { printf '%s\t%s\n' "$1" "$2"; }
pid() { systemctl show -p MainPID --value sweepgauge; }
now() { date +%s.%N; }
since() { echo "$(now) $1" | awk '{printf "%.2f", $1 - $2}'; }
until_new() {  # until another process is the service's
    for _ in $(seq 400); do sleep 0.1; [ "$(pid)" != "$1" ] && [ "$(pid)" != 0 ] && return; done
}
answers() { for _ in $(seq 100); do $SG status >/dev/null 2>&1 && return; sleep 0.1; done; }
answers
say active "$(systemctl is-active sweepgauge)"
say status "$($SG status >/dev/null 2>&1; echo $?)"
say status-of-a-member "$(su maker -c "$ASK" >/dev/null 2>&1; echo $?)"
say status-of-a-stranger "$(su nobody -s /bin/sh -c "$ASK" >/dev/null 2>&1; echo $?)"
say settings-kept "$(nsenter -t "$(pid)" -m -S "$(id -u sweepgauge)" -G "$(id -g sweepgauge)" \
    sh -c 'touch /etc/sweepgauge/x && rm /etc/sweepgauge/x' && echo yes)"
say elsewhere-kept "$(nsenter -t "$(pid)" -m touch /etc/x 2>/dev/null && echo yes || echo no)"
old=$(pid); t=$(now); kill -9 "$old"; until_new "$old"; answers; say back-after-kill "$(since "$t")"
old=$(pid); t=$(now); kill -STOP "$old"; until_new "$old"; say back-after-freeze "$(since "$t")"
answers; t=$(now); systemctl stop sweepgauge; say stopped-in "$(since "$t")"
say stopped-with "$(systemctl show -p ExecMainStatus --value sweepgauge)"
mkdir -p /etc/sweepgauge; printf '[indicator]\nprot = "x"\n' > /etc/sweepgauge/settings.toml
systemctl start sweepgauge; sleep 6
say wrong-settings "$(systemctl show -p NRestarts,ActiveState --value sweepgauge | tr '\n' ' ')"
say wrong-settings-named "$(journalctl -b -u sweepgauge -o cat --no-pager | grep -c 'settings.toml: indicator.prot')"
rm /etc/sweepgauge/settings.toml; systemctl reset-failed sweepgauge; systemctl start sweepgauge
answers; sleep 2; say memory "$(awk '/VmRSS/ {print $2 * 1024}' /proc/"$(pid)"/status)"
say exposure "$(systemd-analyze security sweepgauge --no-pager |
    sed -n 's/.*Overall exposure level[^:]*: \([0-9.]*\).*/\1/p')"
say demo "$(su maker -c "$DEMO" >/opt/demo.json 2>/opt/demo.log; echo $?)"
systemctl poweroff
"""


def _run(tree: Path, *command: str, log: Path, time_out: float = LONGEST_BOOT) -> int:
    # the unified hierarchy: with the old one systemd cannot make the unit's own control group
    environ = {**os.environ, "SYSTEMD_NSPAWN_UNIFIED_HIERARCHY": "1"}
    with log.open("w") as out:
        return subprocess.run(
            [*SPAWN, str(tree), *command], stdout=out, stderr=out, env=environ, timeout=time_out, check=False
        ).returncode


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return float("inf")


def main(tree: Path, wheels: Path) -> int:
    for name in ("seen.txt", "demo.json"):
        (tree / "opt" / name).unlink(missing_ok=True)
    shutil.rmtree(tree / "opt/house", ignore_errors=True)
    shutil.copytree(HOUSE / "systemd", tree / "opt/house/systemd")
    shutil.rmtree(tree / "opt/wheels", ignore_errors=True)
    shutil.copytree(wheels, tree / "opt/wheels")
    (tree / "opt/set_up.sh").write_text(SET_UP)
    (tree / "opt/look.sh").write_text(LOOK)
    if _run(tree, "/bin/bash", "/opt/set_up.sh", log=tree / "opt/set_up.log"):
        print((tree / "opt/set_up.log").read_text(), file=sys.stderr)
        return 2
    _run(tree, "--boot", log=tree / "opt/boot.log")
    lines = (tree / "opt/seen.txt").read_text().splitlines()
    seen: dict[str, str] = dict(line.split("\t", 1) for line in lines)  # type: ignore[misc]
    demo = json.loads((tree / "opt/demo.json").read_text() or "{}")
    judged: list[tuple[str, object, object, bool]] = [
        ("service is active", seen["active"], "active", seen["active"] == "active"),
        ("status without HOME, exit", seen["status"], "0", seen["status"] == "0"),
        (
            "status of a member of the group, exit",
            seen["status-of-a-member"],
            "0",
            seen["status-of-a-member"] == "0",
        ),
        (
            "status of a stranger, exit",
            seen["status-of-a-stranger"],
            "2",
            seen["status-of-a-stranger"] == "2",
        ),
        ("the daemon may keep its settings", seen["settings-kept"], "yes", seen["settings-kept"] == "yes"),
        ("but write nowhere else", seen["elsewhere-kept"], "no", seen["elsewhere-kept"] == "no"),
        (
            "back after kill -9, s",
            seen["back-after-kill"],
            5.0,
            _number(seen["back-after-kill"]) <= 5.0,
        ),
        ("back after a freeze, s", seen["back-after-freeze"], 30.0, _number(seen["back-after-freeze"]) <= 30),
        ("stopped in, s", seen["stopped-in"], 2.0, _number(seen["stopped-in"]) <= 2.0),
        ("stopped with exit", seen["stopped-with"], "0", seen["stopped-with"] == "0"),
        (
            "wrong settings: restarts, state",
            seen["wrong-settings"].split(),
            ["0", "failed"],
            sorted(seen["wrong-settings"].split()) == ["0", "failed"],
        ),
        (
            "wrong settings are named in the journal, times",
            seen["wrong-settings-named"],
            "1",
            seen["wrong-settings-named"] == "1",
        ),
        ("memory, MiB", _number(seen["memory"]) / 2**20, 60, _number(seen["memory"]) <= 60 * 2**20),
        ("exposure of the unit", seen["exposure"], 1.0, _number(seen["exposure"]) <= 1.0),
        ("demo --headless, exit", seen["demo"], "0", seen["demo"] == "0"),
        ("demo found", demo.get("finding", {}).get("verdict"), "outside", bool(demo.get("finding"))),
    ]
    for test, figure, limit, good in judged:
        print(json.dumps({"test": test, "figure": figure, "limit": limit, "pass": good}))
    return 0 if all(good for *_, good in judged) else 1


if __name__ == "__main__":
    if len(sys.argv) != 3 or os.geteuid():
        sys.exit(f"as root: {sys.argv[0]} TREE WHEELS")
    sys.exit(main(Path(sys.argv[1]), Path(sys.argv[2])))
