"""Boots a root in which the set-up script was run, in an emulated PC, and asks whether what it installed works.

    python -m tests.hardware.setup_boot ROOT

systemd, udev, NetworkManager and the kernel are real; pins are the kernel's simulated ones (gpio-sim). The root is read
only, under a layer in memory. Prints what the guest found, one line each, and ends with 0 if all of it is as it should
be. Needs what tests/hil needs; takes two to eight minutes.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.hil.kernel import Kernel, kernel
from tests.hil.machine import QEMU, quoted

LIMIT_S = 720
DONE = "setup_boot: all is well"

INIT = """#!/bin/busybox sh
set -e
/bin/busybox mkdir -p /proc /sys /dev /host /top /new /modules
/bin/busybox mount -t proc proc /proc
/bin/busybox mount -t sysfs sys /sys
/bin/busybox mount -t devtmpfs dev /dev
for module in {early}; do /bin/busybox insmod /$module; done
/bin/busybox mount -t 9p -o trans=virtio,version=9p2000.L,msize=1048576,cache=loose,ro host /host
/bin/busybox mount -t tmpfs -o size=70% top /top
/bin/busybox mkdir /top/upper /top/work
/bin/busybox mount -t overlay -o lowerdir=/host,upperdir=/top/upper,workdir=/top/work new /new
here=/new/lib/modules/{version}
/bin/busybox mkdir -p $here
/bin/busybox mount -t 9p -o trans=virtio,version=9p2000.L,msize=1048576,cache=loose,ro modules $here
/bin/busybox cp /probe.py /new/opt/probe.py
/bin/busybox cp /probe.service /new/etc/systemd/system/probe.service
/bin/busybox mkdir -p /new/etc/systemd/system/multi-user.target.wants
/bin/busybox ln -s ../probe.service /new/etc/systemd/system/multi-user.target.wants/probe.service
/bin/busybox sed -i /PARTUUID/d /new/etc/fstab
/bin/busybox rm -f /new/var/lib/boatrun/rig.toml
for kept in dev proc sys; do /bin/busybox mount --move /$kept /new/$kept; done
exec /bin/busybox switch_root /new /lib/systemd/systemd
"""
SERVICE = """[Unit]
Description=What works here?
After=multi-user.target systemd-udevd.service
[Service]
Type=idle
ExecStart=/usr/bin/python3 /opt/probe.py
StandardOutput=file:/dev/hvc0
StandardError=file:/dev/hvc0
"""


def ram_disk(made: Kernel) -> bytes:
    """The initial ram disk: makes the root, lays the probe into it, and starts systemd."""
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        (root / "bin").mkdir()
        shutil.copy(made.busybox, root / "bin/busybox")
        for module in made.early:
            shutil.copy(module, root)
        init = INIT.format(early=" ".join(module.name for module in made.early), version=quoted(made.modules.name))
        (root / "init").write_text(init, encoding="utf-8")
        (root / "init").chmod(0o755)
        shutil.copy(Path(__file__).with_name("setup_probe.py"), root / "probe.py")
        (root / "probe.service").write_text(SERVICE, encoding="utf-8")
        names = "\n".join([".", *sorted(str(path.relative_to(root)) for path in root.rglob("*"))])
        packed = subprocess.run(
            [made.busybox, "cpio", "-o", "-H", "newc"], cwd=root, input=names.encode(), capture_output=True, check=True
        )
    return packed.stdout


def main(root: Path) -> int:
    """Boot it; 0 if the probe found all well."""
    made = kernel()
    with tempfile.TemporaryDirectory(prefix="boatrun-boot-") as folder:
        initrd, console = Path(folder) / "initrd", Path(folder) / "console.log"
        initrd.write_bytes(ram_disk(made))
        command = [
            QEMU, "-accel", "tcg,thread=multi", "-cpu", "max", "-smp", "1", "-m", "1536",
            "-nodefaults", "-no-user-config", "-display", "none", "-no-reboot",
            "-kernel", str(made.image), "-initrd", str(initrd),
            # A busy host's clock is no broken one, as the kernel would think (no_timer_check: kernel-parameters.txt).
            "-append", "console=ttyS0 loglevel=4 panic=-1 no_timer_check rdinit=/init "
            "systemd.mask=serial-getty@hvc0.service",
            "-virtfs", f"local,path={root},mount_tag=host,security_model=none,readonly=on,multidevs=remap",
            "-virtfs", f"local,path={made.modules},mount_tag=modules,security_model=none,readonly=on",
            "-chardev", f"file,id=console,path={console}", "-serial", "chardev:console",
            "-device", "virtio-serial-pci", "-chardev", "stdio,id=out,signal=off", "-device", "virtconsole,chardev=out",
            "-device", "virtio-rng-pci",
        ]  # fmt: skip
        try:
            ran = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, timeout=LIMIT_S)
            said = ran.stdout.decode(errors="replace").replace("\r", "")
        except subprocess.TimeoutExpired as error:
            said = (error.stdout or b"").decode(errors="replace") + f"\nsetup_boot: not done after {LIMIT_S} s"
        print(said)
        if DONE in said:
            return 0
        print(f"setup_boot: the console said last:\n{console.read_text(errors='replace')[-3000:]}", file=sys.stderr)
        return 1


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]).resolve()))
