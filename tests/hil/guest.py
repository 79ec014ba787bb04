"""The first program of the guest: mounts what a system has, loads the modules, runs pytest, tells how it ended.

guest.py MODULES RESULTS PROJECT [pytest arguments | --script FILE ...]
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import subprocess
import sys
import traceback
from pathlib import Path

POWER_OFF = 0x4321FEDC
"""LINUX_REBOOT_CMD_POWER_OFF of reboot(2)."""
MOUNTS = (
    ("devpts", "/dev/pts", "devpts", "ptmxmode=0666"),
    ("shm", "/dev/shm", "tmpfs", ""),  # noqa: S108 - where a system has it
    ("configfs", "/sys/kernel/config", "configfs", ""),
)
"""What, where, file system, options."""
MODULES = ("gpio-sim", "xhci-pci", "ftdi_sio", "videodev")


def mount(what: str, where: str, kind: str, options: str = "") -> None:
    """mount(2). OSError: it failed."""
    libc = ctypes.CDLL(None, use_errno=True)
    Path(where).mkdir(exist_ok=True)
    if libc.mount(what.encode(), where.encode(), kind.encode(), 0, options.encode()) != 0:
        raise OSError(ctypes.get_errno(), os.strerror(ctypes.get_errno()), where)


def set_up(modules: Path, results: Path) -> None:
    """Everything that a distribution's start would have done and that the tests need."""
    for what, where, kind, options in MOUNTS:
        mount(what, where, kind, options)
    mount("results", str(results), "9p", "trans=virtio,version=9p2000.L,msize=1048576")
    here = Path("/lib/modules") / modules.name
    here.parent.mkdir(parents=True, exist_ok=True)
    with contextlib.suppress(FileExistsError):
        here.symlink_to(modules)
    subprocess.run(["ip", "link", "set", "lo", "up"], check=False, capture_output=True)
    for module in MODULES:
        subprocess.run(["modprobe", module], check=True)


OPTIONS = "-q --strict-markers --strict-config --import-mode=importlib"
"""Instead of those in pyproject.toml, some of which are for spreading tests over processors."""


def work(results: Path, project: Path, arguments: tuple[str, ...]) -> int:
    """Run pytest, or the program that was asked for; its status."""
    if arguments[:1] == ("--script",):
        return subprocess.run([sys.executable, *arguments[1:]], cwd=project, check=False).returncode
    asked = arguments if any("tests/hil" in word for word in arguments) else ("tests/hil", *arguments)
    # --confcutdir: what the other tests share, Hypothesis among it, takes ten seconds to load here
    options = ["-o", f"addopts={OPTIONS}", "-m", "hil", "--confcutdir=tests/hil", "-p", "no:cacheprovider"]
    options += ["-p", "no:xdist"]
    options += [f"--junitxml={results}/junit.xml", "-o", "faulthandler_timeout=120"]
    command = [sys.executable, "-m", "pytest", *options, *asked]
    return subprocess.run(command, cwd=project, check=False).returncode


def main(modules: str, results: str, project: str, *arguments: str) -> None:
    """Never returns: the first program of a system must not."""
    given = dict(word.partition("=")[::2] for word in Path("/proc/cmdline").read_text().split() if "BOATRUN_" in word)
    os.environ.update(
        given,
        PATH="/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin", HOME="/root", LANG="C.UTF-8", TERM="dumb",
        PYTHONDONTWRITEBYTECODE="1", OMP_NUM_THREADS="1", OPENBLAS_NUM_THREADS="1", BOATRUN_HIL=results,
        OPENCV_LOG_LEVEL="SILENT",
    )  # fmt: skip
    out = os.open("/dev/hvc0", os.O_RDWR | os.O_NOCTTY)
    for number in (0, 1, 2):
        os.dup2(out, number)
    status = 99
    try:
        set_up(Path(modules), Path(results))
        status = work(Path(results), Path(project), arguments)
    except Exception:
        traceback.print_exc()
    finally:
        sys.stderr.flush()
        with contextlib.suppress(OSError):
            Path(results, "status").write_text(str(status), encoding="utf-8")
        os.sync()
        ctypes.CDLL(None).reboot(POWER_OFF)


if __name__ == "__main__":
    main(*sys.argv[1:])
