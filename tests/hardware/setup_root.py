"""A folder that looks like the root of a fresh Raspberry Pi OS Lite, and the set-up script run on it."""

from __future__ import annotations

import hashlib
import os
import subprocess
from dataclasses import dataclass
from pathlib import Path

PROJECT = Path(__file__).resolve().parents[2]
SETUP = PROJECT / "hardware/setup"
CONFIG = "# see the documentation\ndtparam=audio=on\ncamera_auto_detect=1\n\n[cm4]\notg_mode=1\n\n[all]\n"
CMDLINE = "console=serial0,115200 console=tty1 root=PARTUUID=0badcafe-02 rootfstype=ext4 fsck.repair=yes rootwait\n"
FSTAB = (
    "proc            /proc           proc    defaults          0       0\n"
    "PARTUUID=0badcafe-01  /boot/firmware  vfat    defaults          0       2\n"
    "PARTUUID=0badcafe-02  /               ext4    defaults          0       1\n"
)
"""These three are like those of an image as it is downloaded (made for the tests)."""
CONNECTION = "etc/NetworkManager/system-connections/boatrun-access-point.nmconnection"
DATA = "var/lib/boatrun"
STEPS = ("packages", "rights", "program", "boot", "storage", "network", "services")


def only(step: str) -> list[str]:
    """The options that leave every other step out."""
    return [word for other in STEPS if other != step for word in ("--without", other)]


@dataclass(frozen=True, slots=True)
class Said:
    """How the script ended and what it said."""

    status: int
    out: str
    err: str


@dataclass(frozen=True, slots=True)
class Root:
    """The folder."""

    path: Path

    def __truediv__(self, name: str) -> Path:
        return self.path / name

    def setup(self, *words: str | Path) -> Said:
        command = ["bash", str(SETUP / "boatrun-setup"), *map(str, words), "--root", str(self.path)]
        environment = {"PATH": os.environ["PATH"], "HOME": str(self.path)}
        done = subprocess.run(command, capture_output=True, text=True, env=environment, stdin=subprocess.DEVNULL)
        return Said(done.returncode, done.stdout, done.stderr)

    def install(self, *words: str | Path) -> Said:
        said = self.setup("install", "--yes", *words)
        assert said.status == 0, said.err
        return said

    def step(self, name: str, *words: str) -> Said:
        """Only this step, and what was chosen."""
        return self.install(*words, *only(name))

    def state(self, *, but: tuple[str, ...] = ()) -> dict[str, str]:
        """Name -> mode and content of every file."""
        found = {}
        for path in sorted(self.path.rglob("*")):
            name = str(path.relative_to(self.path))
            if path.is_dir() or name.startswith(but):
                continue
            content = os.readlink(path) if path.is_symlink() else hashlib.sha256(path.read_bytes()).hexdigest()
            found[name] = f"{path.lstat().st_mode:o} {content}"
        return found

    def write(self, name: str, text: str) -> Path:
        path = self.path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
        return path


def fresh_root(folder: Path, *, release: str = "bookworm") -> Root:
    root = Root(folder)
    root.write("etc/os-release", f"ID=debian\nVERSION_CODENAME={release}\n")
    root.write("etc/hostname", "pi\n")
    root.write("etc/fstab", FSTAB)
    root.write("boot/firmware/config.txt", CONFIG)
    root.write("boot/firmware/cmdline.txt", CMDLINE)
    for place in ("opt", "usr/local/bin", "var/log"):
        (folder / place).mkdir(parents=True)
    return root
