"""One virtual machine of the rig: QEMU with real USB serial ports, power that can be cut, an ssh door.

The other ends of its serial ports are the virtual saw's pseudo-terminals on the host; its disk is a layer over the
image, so that each test begins from a fresh one.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import signal
import socket
import subprocess
import time
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from image import PERSON, Image

SSH_OPTIONS = {
    "StrictHostKeyChecking": "no",
    "UserKnownHostsFile": "/dev/null",
    "LogLevel": "ERROR",
    "ConnectTimeout": "120",
    "BatchMode": "yes",
    "ServerAliveInterval": "20",
}
BOOT_S = 900.0  # under emulation; with KVM it takes some ten seconds


class Machine:
    """clock: what QEMU's -rtc takes as base ("utc", or a date without a clock chip's battery). ports: serial number
    that the guest sees -> the host's pseudo-terminal. kvm: where the host's /dev/kvm works; else all is emulated.

    counted, from the next start on: inside, an instruction takes 2**counted ns, so that nothing is seen there of this
    host's own load; a core of a Pi 3 or Zero 2 does some 2**-1 in a ns (from memory)."""

    def __init__(
        self,
        image: Image,
        folder: Path,
        *,
        arch: str = "amd64",
        ports: Mapping[str, str] = {},
        memory_mib: int = 512,
        cores: int = 1,
        clock: str = "utc",
        kvm: bool = False,
    ) -> None:
        self.image, self.folder, self.arch, self.kvm = image, folder, arch, kvm
        self.ports, self.memory_mib, self.cores, self.clock = dict(ports), memory_mib, cores, clock
        self.counted: int | None = None
        self._process: subprocess.Popen[bytes] | None = None
        self._door = _free_port()
        folder.mkdir(parents=True, exist_ok=True)
        self.disk = folder / "disk.qcow2"
        layer = [
            "qemu-img",
            "create",
            "-q",
            "-f",
            "qcow2",
            "-F",
            image.disk.suffix[1:],
            "-b",
            str(image.disk),
            str(self.disk),
        ]
        subprocess.run(layer, check=True)

    # ---- power -----------------------------------------------------------------------

    def start(self) -> float:
        """Power on; returns when it lets the person in. Gives the seconds that took."""
        began = time.monotonic()
        log = (self.folder / "console.log").open("ab")
        self._process = subprocess.Popen(self._command(), stdin=subprocess.DEVNULL, stdout=log, stderr=log)
        log.close()
        while self.call("true", check=False, time_out=180).returncode:
            if self._process.poll() is not None:
                raise RuntimeError(
                    f"QEMU ended: {(self.folder / 'console.log').read_text(errors='replace')[-800:]}"
                )
            if time.monotonic() - began > BOOT_S:
                raise RuntimeError(f"nobody lets us in; see {self.folder / 'console.log'}")
            time.sleep(0.5)
        return time.monotonic() - began

    def cut_power(self) -> None:
        """As by the switch: what the guest had not synced is gone."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process = None

    def busy_s(self) -> float:
        """Seconds that it has kept this host's processors busy since it was switched on (proc(5))."""
        assert self._process is not None
        fields = Path(f"/proc/{self._process.pid}/stat").read_text().rsplit(")", 1)[1].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    @contextlib.contextmanager
    def stopped(self) -> Iterator[None]:
        """Nothing moves inside: what is on its disk is what would be there if the power went now."""
        assert self._process is not None
        self._process.send_signal(signal.SIGSTOP)
        try:
            yield
        finally:
            self._process.send_signal(signal.SIGCONT)

    def keep(self, disk: Path) -> None:
        """Shut down in good order, and copy what is on the disk now: a later machine can begin with it."""
        assert self._process is not None
        self.call("sudo poweroff", check=False)
        self._process.wait()
        self._process = None
        shutil.copy(self.disk, disk)

    def _command(self) -> list[str]:
        emulated = ["-accel", "tcg,thread=multi"]
        if self.counted is not None:
            emulated = ["-accel", "tcg,thread=single", "-icount", f"shift={self.counted}"]
        if self.arch == "amd64":
            speed = ["-enable-kvm", "-cpu", "host"] if self.kvm else [*emulated, "-cpu", "max"]
            board = ["qemu-system-x86_64", "-M", "q35", *speed]
            tty = "ttyS0"
        else:
            board = ["qemu-system-aarch64", "-M", "virt", "-cpu", "cortex-a72", *emulated]
            tty = "ttyAMA0"
        out = [*board, "-m", str(self.memory_mib), "-smp", str(self.cores), "-nographic", "-monitor", "none"]
        out += ["-kernel", str(self.image.kernel), "-initrd", str(self.image.initrd)]
        # no_timer_check, panic: an emulated timer that a busy host holds up at boot is no broken board
        boot = f"root=/dev/vda rw console={tty} quiet no_timer_check panic=5"
        out += ["-append", boot, "-rtc", f"base={self.clock}"]
        # writethrough of the host would hide what the guest forgot to sync; the cache is dropped with the process
        out += ["-drive", f"file={self.disk},if=virtio,format=qcow2,cache=writeback"]
        out += [
            "-netdev",
            f"user,id=net,hostfwd=tcp:127.0.0.1:{self._door}-:22",
            "-device",
            "virtio-net-pci,netdev=net",
        ]
        out += ["-qmp", f"unix:{self.folder / 'qmp'},server=on,wait=off", "-device", "qemu-xhci,id=usb"]
        for number, path in self.ports.items():
            out += ["-chardev", f"serial,id=c{number},path={path}", "-device", _usb_serial(number)]
        return out

    # ---- cables ----------------------------------------------------------------------

    def unplug(self, number: str) -> None:
        """Returns when the guest has let go of it."""
        self._monitor("device_del", {"id": f"u{number}"}, until="DEVICE_DELETED")

    def plug(self, number: str) -> None:
        arguments = dict(pair.split("=", 1) for pair in f"driver={_usb_serial(number)}".split(","))
        self._monitor("device_add", arguments | {"always-plugged": True})

    def _monitor(self, command: str, arguments: dict[str, Any], *, until: str | None = None) -> None:
        with socket.socket(socket.AF_UNIX) as monitor:
            monitor.connect(str(self.folder / "qmp"))
            lines = monitor.makefile("rw")
            lines.readline()
            events = []
            for request in ({"execute": "qmp_capabilities"}, {"execute": command, "arguments": arguments}):
                lines.write(json.dumps(request) + "\n")
                lines.flush()
                while "return" not in (answer := json.loads(lines.readline())):
                    events.append(answer.get("event"))
                    if "error" in answer:
                        raise RuntimeError(f"{command}: {answer['error']['desc']}")
            while until is not None and until not in events:
                events.append(json.loads(lines.readline()).get("event"))

    # ---- inside ----------------------------------------------------------------------

    def call(
        self, command: str, *, check: bool = True, time_out: float = 3600, given: bytes = b""
    ) -> subprocess.CompletedProcess[str]:
        """A command in the person's own login shell. Raises RuntimeError with what it said."""
        try:
            done = subprocess.run(
                [*self._ssh(), command], input=given, capture_output=True, timeout=time_out, check=False
            )
        except subprocess.TimeoutExpired:
            return subprocess.CompletedProcess(command, 255, "", "timed out")
        words = [part.decode(errors="replace") for part in (done.stdout, done.stderr)]
        if check and done.returncode:
            raise RuntimeError(
                f"`{command}` ended with {done.returncode}: {words[0][-800:]} {words[1][-800:]}"
            )
        return subprocess.CompletedProcess(command, done.returncode, *words)

    def send(self, source: Path, target: str) -> None:
        """A folder of the host into the guest, by tar over the door."""
        packed = subprocess.run(
            ["tar", "-C", str(source), "-cf", "-", "."], capture_output=True, check=True
        ).stdout
        self.call(f"mkdir -p {target} && tar -C {target} -xf -", given=packed)

    @contextlib.contextmanager
    def forwarded(self, path: str) -> Iterator[Path]:
        """A socket of the guest as one of the host."""
        here = self.folder / "forwarded"
        here.unlink(missing_ok=True)
        ssh = self._ssh()
        tunnel = subprocess.Popen(
            [*ssh[:-1], "-N", "-o", "ExitOnForwardFailure=yes", "-L", f"{here}:{path}", ssh[-1]]
        )
        try:
            while not here.exists():
                if tunnel.poll() is not None:
                    raise RuntimeError(f"no way to {path} in the guest")
                time.sleep(0.1)
            yield here
        finally:
            tunnel.terminate()
            tunnel.wait()

    def _ssh(self) -> list[str]:
        key = ["-i", str(self.image.key), "-p", str(self._door)]
        options = [word for name, value in SSH_OPTIONS.items() for word in ("-o", f"{name}={value}")]
        return ["ssh", *options, *key, f"{PERSON}@127.0.0.1"]

    def close(self) -> None:
        self.cut_power()
        shutil.rmtree(self.folder, ignore_errors=True)


def _usb_serial(number: str) -> str:
    return f"usb-serial,bus=usb.0,id=u{number},chardev=c{number},serial={number}" + ",always-plugged=on"


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])
