"""The machine: boots a real Linux in an emulated PC on this host and runs `pytest -m hil tests/hil` inside it.

    python -m tests.hil.machine [--cpus N] [--memory-mb N] [--limit-s N] [--results FOLDER] [pytest arguments]
    python -m tests.hil.machine [...] --script FILE.py [its arguments]

The guest's root is the host's, read only, under a layer in memory: this very interpreter and this very check-out run
there as they are. qemu emulates (TCG) even where it could do better, so that every host shows the same. What the guest
says goes to standard output; the exit status is pytest's, 124 when the time was over, 125 when the guest died, and 3
where the machine cannot be built.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import threading
from collections.abc import Sequence
from pathlib import Path

from tests.hil.kernel import Kernel, KernelError, kernel

PROJECT = Path(__file__).resolve().parents[2]
QEMU = "qemu-system-x86_64"
LIMIT_S = 900
"""A machine that hangs is ended; one that shares its processors needs twice what an idle one does."""
TIME_OVER, GUEST_DIED, NOT_BUILT = 124, 125, 3

INIT = """#!/bin/busybox sh
/bin/busybox mkdir -p /proc /sys /dev /host /top /new
/bin/busybox mount -t proc proc /proc
/bin/busybox mount -t sysfs sys /sys
/bin/busybox mount -t devtmpfs dev /dev
for module in {early}; do /bin/busybox insmod /$module || exec /bin/busybox poweroff -f; done
/bin/busybox mount -t 9p -o trans=virtio,version=9p2000.L,msize=1048576,cache=loose,ro host /host
/bin/busybox mount -t tmpfs -o size=70% top /top
/bin/busybox mkdir /top/upper /top/work
/bin/busybox mount -t overlay -o lowerdir=/host,upperdir=/top/upper,workdir=/top/work new /new
for kept in dev proc sys; do /bin/busybox mount --move /$kept /new/$kept; done
exec /bin/busybox switch_root /new {python} {guest} {modules} {results} {project} {arguments}
"""


def quoted(word: str) -> str:
    """A word as the init script's shell takes it."""
    return "'" + word.replace("'", "'\\''") + "'"


def ram_disk(made: Kernel, *, results: Path, arguments: Sequence[str]) -> bytes:
    """The initial ram disk: a shell, the modules that make a root folder, and what to start there."""
    init = INIT.format(
        early=" ".join(module.name for module in made.early),
        python=quoted(sys.executable),
        guest=quoted(str(Path(__file__).with_name("guest.py"))),
        modules=quoted(str(made.modules)),
        results=quoted(str(results)),
        project=quoted(str(PROJECT)),
        arguments=" ".join(quoted(argument) for argument in arguments),
    )
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        (root / "bin").mkdir()
        shutil.copy(made.busybox, root / "bin/busybox")
        for module in made.early:
            shutil.copy(module, root)
        (root / "init").write_text(init, encoding="utf-8")
        (root / "init").chmod(0o755)
        names = "\n".join([".", *sorted(str(path.relative_to(root)) for path in root.rglob("*"))])
        packed = subprocess.run(
            [made.busybox, "cpio", "-o", "-H", "newc"], cwd=root, input=names.encode(), capture_output=True, check=True
        )
    return packed.stdout


CPU = "Nehalem"
"""Without AVX: emulated by QEMU 7.2, NumPy's comparisons by AVX2 end in a segmentation fault where memory lies
unluckily, which they do on no real processor."""


def qemu_command(made: Kernel, *, results: Path, cpus_count: int, memory_mb: int) -> list[str]:
    """qemu with the guest's wiring: ttyS1 and ttyS2 are joined, and so are ttyS3 and a USB serial adapter."""
    wires = results / "wires"

    def wire(name: str) -> list[str]:
        path = wires / name
        return ["-chardev", f"socket,id={name}-a,path={path},server=on,wait=off",
                "-chardev", f"socket,id={name}-b,path={path}"]  # fmt: skip

    return [
        QEMU, "-accel", "tcg,thread=multi", "-cpu", CPU, "-smp", str(cpus_count), "-m", str(memory_mb),
        "-nodefaults", "-no-user-config", "-display", "none", "-no-reboot",
        "-kernel", str(made.image), "-initrd", str(results / "initrd"),
        "-append", "console=ttyS0 loglevel=4 panic=-1 no_timer_check rdinit=/init" + "".join(
            f" {name}={value}" for name, value in os.environ.items() if name.startswith("BOATRUN_HIL_")
        ),
        "-virtfs", "local,path=/,mount_tag=host,security_model=none,readonly=on,multidevs=remap",
        "-virtfs", f"local,path={results},mount_tag=results,security_model=none",
        "-chardev", f"file,id=console,path={results / 'console.log'}", "-serial", "chardev:console",
        *wire("pair"), "-serial", "chardev:pair-a", "-serial", "chardev:pair-b",
        *wire("usb"), "-serial", "chardev:usb-a",
        "-device", "qemu-xhci,id=xhci", "-device", "usb-serial,chardev=usb-b,always-plugged=on",
        "-device", "virtio-serial-pci", "-chardev", "stdio,id=out,signal=off", "-device", "virtconsole,chardev=out",
        "-device", "virtio-rng-pci",
    ]  # fmt: skip


def run(command: list[str], *, results: Path, limit_s: float) -> int:
    """Run the guest to its end, its words to our standard output; its status."""
    with subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE) as machine:
        is_over = threading.Event()

        def end() -> None:
            is_over.set()
            machine.kill()

        timer = threading.Timer(limit_s, end)
        timer.start()
        try:
            assert machine.stdout is not None
            for line in machine.stdout:
                sys.stdout.write(line.decode(errors="replace").replace("\r\n", "\n"))
                sys.stdout.flush()
        finally:
            timer.cancel()
            machine.kill()
    if is_over.is_set():
        print(f"machine: not done after {limit_s:g} s; ended", file=sys.stderr)
        return TIME_OVER
    status = results / "status"
    if status.is_file():
        return int(status.read_text(encoding="utf-8"))
    console = results / "console.log"
    said = console.read_text(encoding="utf-8", errors="replace") if console.is_file() else ""
    print(f"machine: the guest died; its console said last:\n{said[-3000:]}", file=sys.stderr)
    return GUEST_DIED


def main(arguments: Sequence[str]) -> int:
    """Build the machine, run the tests in it, and hand on how they ended."""
    parser = argparse.ArgumentParser(prog="python -m tests.hil.machine", description=__doc__, allow_abbrev=False)
    parser.add_argument("--cpus", type=int, default=1)
    parser.add_argument("--memory-mb", type=int, default=1536)
    parser.add_argument("--limit-s", type=float, default=LIMIT_S)
    parser.add_argument("--results", type=Path, help="where junit.xml and the console's log are to be left")
    parser.add_argument("--script", action="store_true", help="run a program of yours in the guest instead of pytest")
    asked, rest = parser.parse_known_args(arguments)
    if shutil.which(QEMU) is None:
        print(f"machine: {QEMU} not found; apt-get install qemu-system-x86", file=sys.stderr)
        return NOT_BUILT
    try:
        made = kernel()
    except KernelError as error:
        print(error, file=sys.stderr)
        return NOT_BUILT
    with tempfile.TemporaryDirectory(prefix="boatrun-hil-") as folder:
        results = Path(folder)
        (results / "wires").mkdir()
        subprocess.run([sys.executable, "-m", "tests.hil.film", str(results / "films")], cwd=PROJECT, check=True)
        (results / "initrd").write_bytes(
            ram_disk(made, results=results, arguments=["--script", *rest] if asked.script else rest)
        )
        command = qemu_command(made, results=results, cpus_count=asked.cpus, memory_mb=asked.memory_mb)
        status = run(command, results=results, limit_s=asked.limit_s)
        if asked.results is not None:
            asked.results.mkdir(parents=True, exist_ok=True)
            for left in ("junit.xml", "console.log"):
                if (results / left).is_file():
                    shutil.copy(results / left, asked.results / left)
    return status


if __name__ == "__main__":
    os.environ.setdefault("PYTHONUNBUFFERED", "1")
    sys.exit(main(sys.argv[1:]))
