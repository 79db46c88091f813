"""Simulated parts in the guest's kernel: the modules in `kernel/`, built here and loaded there.

They are built in a tree of the guest's Debian with its compiler and the headers of its kernel, which debootstrap makes
beside the images, once.
"""

from __future__ import annotations

import asyncio
import shutil
import subprocess
from pathlib import Path

from guest import Rig
from image import run


async def build(rig: Rig) -> str:
    """The modules into the folder `kernel` of the guest; the words why not, where its headers cannot be had."""
    kernel, image = (await rig.shell("uname -r")).strip(), rig.machine.image
    tree = image.key.with_name(f"headers-{kernel}")
    suite, arch = image.kernel.parent.name.rsplit("-", 1)
    try:
        await asyncio.to_thread(_make_tree, tree, suite, arch, kernel)
    except subprocess.CalledProcessError as error:
        return f"no tree with the headers of kernel {kernel}: {error.cmd[0]} ended with {error.returncode}"
    shutil.copytree(Path(__file__).with_name("kernel"), tree / "kernel", dirs_exist_ok=True)
    make = ("chroot", str(tree), "make", "-C", "/kernel", f"KERNEL={kernel}")
    await asyncio.to_thread(run, *make)
    await asyncio.to_thread(rig.machine.send, tree / "kernel", "kernel")
    return ""


def _make_tree(tree: Path, suite: str, arch: str, kernel: str) -> None:
    if not tree.exists():
        beside = tree.with_name(f"{tree.name}.new")
        shutil.rmtree(beside, ignore_errors=True)
        include = f"--include=linux-headers-{kernel},gcc,make"
        run("debootstrap", "--variant=minbase", f"--arch={arch}", include, suite, str(beside))
        beside.rename(tree)


async def load(rig: Rig, name: str, parameters: str = "") -> None:
    """Anew, where it is loaded."""
    there = f"! grep -q '^{name} ' /proc/modules || sudo rmmod {name}"
    await rig.shell(f"({there}) && sudo insmod kernel/{name}.ko {parameters}")
