"""A Debian disk image with a kernel, a person and an ssh key, as near to a fresh Pi as a virtual machine comes.

Needs root, debootstrap, e2fsprogs and a Debian mirror. The image is kept in a folder and made once.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import NamedTuple

PERSON = "maker"
PACKAGES = (
    "systemd,systemd-sysv,systemd-timesyncd,dbus,udev,sudo,openssh-server,iproute2,passwd,adduser,kmod,"
    "initramfs-tools,python3,python3-venv,linux-image-{arch}"
)
DISK_SIZE = "3G"

NETWORK = "[Match]\nName=en* eth*\n[Network]\nDHCP=yes\n"
FSTAB = "/dev/vda / ext4 defaults,noatime 0 1\n"


class Image(NamedTuple):
    disk: Path
    kernel: Path
    initrd: Path
    key: Path


def image(suite: str, folder: Path, *, arch: str = "amd64") -> Image:
    """The image of that suite in this folder, made where it is not there yet."""
    here = folder / f"{suite}-{arch}"
    made = Image(here / "disk.raw", here / "vmlinuz", here / "initrd", folder / "key")
    if not made.key.exists():
        folder.mkdir(parents=True, exist_ok=True)
        run("ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", str(made.key))
    if made.disk.exists():
        return made
    here.mkdir(exist_ok=True)
    tree = here / "tree"
    if not (tree / "boot").is_dir() or not list((tree / "boot").glob("vmlinuz-*")):
        shutil.rmtree(tree, ignore_errors=True)
        include = PACKAGES.format(arch=arch)
        run("debootstrap", "--variant=minbase", f"--arch={arch}", f"--include={include}", suite, str(tree))
    _furnish(tree, made.key.with_suffix(".pub").read_text())
    for file, pattern in ((made.kernel, "vmlinuz-*"), (made.initrd, "initrd.img-*")):
        shutil.copy(next((tree / "boot").glob(pattern)), file)
    beside = made.disk.with_suffix(".new")
    beside.unlink(missing_ok=True)
    run("mke2fs", "-q", "-t", "ext4", "-d", str(tree), str(beside), DISK_SIZE)
    beside.rename(made.disk)
    shutil.rmtree(tree)
    return made


def _furnish(tree: Path, key: str) -> None:
    """A person who may sudo and log in by the key, a network by DHCP, no root password."""
    (tree / "etc/fstab").write_text(FSTAB)
    (tree / "etc/hostname").write_text("bench\n")
    (tree / "etc/hosts").write_text("127.0.0.1 localhost bench\n")
    network = tree / "etc/systemd/network/20-wired.network"
    network.parent.mkdir(parents=True, exist_ok=True)
    network.write_text(NETWORK)
    _in(tree, f"id {PERSON} 2>/dev/null || useradd --create-home --shell /bin/bash {PERSON}")
    (tree / "etc/sudoers.d/maker").write_text(f"{PERSON} ALL=(ALL) NOPASSWD: ALL\n")
    keys = tree / f"home/{PERSON}/.ssh/authorized_keys"
    keys.parent.mkdir(exist_ok=True)
    keys.write_text(key)
    _in(tree, f"chown -R {PERSON}:{PERSON} /home/{PERSON}/.ssh && chmod 700 /home/{PERSON}/.ssh")
    _in(tree, "systemctl enable -q systemd-networkd ssh && systemctl mask -q systemd-networkd-wait-online")


def _in(tree: Path, command: str) -> None:
    run("chroot", str(tree), "/bin/sh", "-ec", command)


def run(*command: str) -> None:
    subprocess.run(command, check=True, stdout=sys.stderr, env=os.environ | {"LC_ALL": "C"})
