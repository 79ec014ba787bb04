"""A kernel for the machine, made from Debian's own packages: downloads, two small builds, an initial ram disk.

Debian 12's kernel 6.12 is taken on every host, because its build tools run on newer systems too. Two things are missing
in it and are built against its headers: gpio-sim (from the kernel's own source package) and v4l2loopback (from its dkms
package). Everything lies in one cache folder outside the project, is thrown away freely, and needs no privileges.
"""

from __future__ import annotations

import ctypes
import fcntl
import hashlib
import lzma
import os
import re
import shutil
import subprocess
import sys
import tarfile
from dataclasses import dataclass
from pathlib import Path

KEYRING = "/usr/share/keyrings/debian-archive-keyring.gpg"
SOURCES = (
    f"deb [arch=amd64 signed-by={KEYRING}] http://deb.debian.org/debian bookworm main\n"
    f"deb [arch=amd64 signed-by={KEYRING}] http://deb.debian.org/debian-security bookworm-security main\n"
)
SERIES = "6.12"
TOOLS = {"apt-get": "apt", "dpkg-deb": "dpkg", "gcc": "gcc", "make": "make", "depmod": "kmod", "xz": "xz-utils"}
"""Command -> the package that brings it."""
FOLDERS = ("drivers/media", "drivers/usb", "drivers/i2c", "fs/9p", "fs/netfs", "fs/overlayfs", "fs/configfs", "net/9p")
"""Where the modules lie that a guest may need; the other 4000 are not even unpacked."""
EARLY = ("configfs", "netfs", "9pnet", "9pnet_virtio", "9p", "overlay")
"""Loaded before there is a root folder, in this order."""


class KernelError(Exception):
    """The kernel cannot be had here; says why and what to do."""


@dataclass(frozen=True, slots=True)
class Kernel:
    """What qemu and the guest need."""

    image: Path
    modules: Path
    """The folder that is /lib/modules/<version> in the guest."""
    early: tuple[Path, ...]
    """Modules to load before there is a root folder, in this order."""
    busybox: Path


def cache_folder() -> Path:
    """BOATRUN_HIL_CACHE, else a folder in the user's cache."""
    named = os.environ.get("BOATRUN_HIL_CACHE", "")
    return Path(named) if named else Path(os.environ.get("XDG_CACHE_HOME", Path.home() / ".cache")) / "boatrun-hil"


def kernel(cache: Path | None = None) -> Kernel:
    """The kernel from the cache; made first where it is not there, or by another recipe. KernelError: why not."""
    recipe = hashlib.sha256(Path(__file__).read_bytes()).hexdigest()[:12]
    folder = (cache or cache_folder()) / f"kernel-{recipe}"
    folder.parent.mkdir(parents=True, exist_ok=True)
    with (folder.parent / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)  # another machine may be under way at the same time
        if not (folder / "version").is_file():
            _need_tools()
            shutil.rmtree(folder, ignore_errors=True)
            folder.mkdir()
            _make(folder)
    modules = folder / "root/lib/modules" / (folder / "version").read_text(encoding="utf-8")
    image = next((folder / "root/boot").glob("vmlinuz-*"))
    early = tuple(folder / "early" / f"{name}.ko" for name in EARLY)
    return Kernel(image, modules, early, folder / "root/bin/busybox")


def _need_tools() -> None:
    missing = {package for tool, package in TOOLS.items() if shutil.which(tool) is None}
    if not Path(KEYRING).is_file():
        missing.add("debian-archive-keyring")
    try:
        ctypes.CDLL("libelf.so.1")  # the kernel's build tools are linked to it
    except OSError:
        missing.add("libelf1")
    if missing:
        raise KernelError(
            f"kernel: {', '.join(sorted(missing))} not found; apt-get install {' '.join(sorted(missing))}"
        )


def _run(*command: str | Path, cwd: Path, env: dict[str, str] | None = None) -> str:
    """The output of a command that succeeds. KernelError: the end of what it said."""
    asked = [str(word) for word in command]
    done = subprocess.run(
        asked, cwd=cwd, env=os.environ | (env or {}), stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    )
    if done.returncode != 0:
        raise KernelError(f"kernel: {' '.join(asked[:4])} … failed with {done.returncode}:\n{done.stdout[-3000:]}")
    return done.stdout


def _make(folder: Path) -> None:
    print(f"kernel: made once from Debian's packages in {folder}", file=sys.stderr)
    packages, source = _download(folder)
    version = _version(packages)
    root = folder / "root"
    for package in packages:
        _unpack(package, root)
    _build_gpio_sim(folder, source, version)
    _build_v4l2loopback(folder, version)
    _run("depmod", "-b", root, version, cwd=folder)
    _unpack_early(folder, root / "lib/modules" / version)
    for big in (folder / "deb", folder / "apt", root / "usr"):
        shutil.rmtree(big)
    (folder / "version").write_text(version, encoding="utf-8")


def _download(folder: Path) -> tuple[list[Path], Path]:
    """Newest packages of the series: those to unpack, and the kernel's source."""
    apt, deb = folder / "apt", folder / "deb"
    for needed in (apt / "lists/partial", apt / "archives/partial", deb):
        needed.mkdir(parents=True)
    (apt / "sources.list").write_text(SOURCES, encoding="utf-8")
    (apt / "conf").write_text(
        f'Dir::Etc::sourcelist "{apt}/sources.list"; Dir::Etc::sourceparts "-";\n'
        f'Dir::State "{apt}"; Dir::State::lists "{apt}/lists"; Dir::State::status "{apt}/status"; Dir::Cache "{apt}";\n'
        'APT::Sandbox::User ""; Acquire::Languages "none"; APT::Architecture "amd64";\n',
        encoding="utf-8",
    )
    (apt / "status").touch()
    env = {"APT_CONFIG": str(apt / "conf")}
    _run("apt-get", "-q", "update", cwd=deb, env=env)
    told = _run("apt-cache", "depends", f"linux-headers-{SERIES}-amd64", cwd=deb, env=env)
    found = re.search(rf"Depends: linux-headers-({re.escape(SERIES)}\.\S+)-amd64$", told, re.MULTILINE)
    if found is None:
        raise KernelError(
            f"kernel: no linux-headers-{SERIES}-amd64 in the package lists; the recipe needs a new series"
        )
    names = (f"linux-image-{found[1]}-amd64", f"linux-headers-{found[1]}-amd64", f"linux-headers-{found[1]}-common",
             f"linux-kbuild-{found[1]}", f"linux-source-{SERIES}", "v4l2loopback-dkms", "busybox-static")  # fmt: skip
    _run("apt-get", "-q", "download", *names, cwd=deb, env=env)
    source = next(deb.glob("linux-source-*.deb"))
    return sorted(set(deb.glob("*.deb")) - {source}), source


def _version(packages: list[Path]) -> str:
    image = next(package.name for package in packages if package.name.startswith("linux-image-"))
    return image.removeprefix("linux-image-").split("_")[0]


def _unpack(package: Path, root: Path) -> None:
    """Unpack a package; of a kernel only itself and the folders of modules that are wanted."""
    wanted = [f"./lib/modules/*/kernel/{name}" for name in FOLDERS]
    only = ["./boot", "./lib/modules/*/modules.*", *wanted] if package.name.startswith("linux-image-") else ["."]
    root.mkdir(exist_ok=True)
    with subprocess.Popen(["dpkg-deb", "--fsys-tarfile", package], stdout=subprocess.PIPE) as packed:
        _pipe(["tar", "-x", "-C", str(root), "--no-same-owner", "--wildcards", *only], packed)
    if packed.returncode != 0:
        raise KernelError(f"kernel: {package.name} cannot be unpacked; remove {root.parent} and try again")


def _pipe(command: list[str], source: subprocess.Popen[bytes]) -> None:
    done = subprocess.run(command, stdin=source.stdout, capture_output=True)
    if done.returncode != 0:
        raise KernelError(f"kernel: {' '.join(command[:2])} failed: {done.stderr.decode(errors='replace')[-500:]}")


def _headers(folder: Path, version: str) -> Path:
    """The unpacked headers, made to find their other half here and not in /usr/src."""
    headers = folder / "root/usr/src" / f"linux-headers-{version}"
    makefile = headers / "Makefile"
    text = makefile.read_text(encoding="utf-8")
    makefile.write_text(text.replace("include /usr/src", f"include {headers.parent}"), encoding="utf-8")
    (headers / "vmlinux").unlink(missing_ok=True)  # else type tables are wanted, and pahole for them
    return headers


def _build(folder: Path, sources: Path, version: str) -> None:
    """Build every module of `sources` and put it with the kernel's own."""
    headers = folder / "root/usr/src" / f"linux-headers-{version}"
    _run("make", "-C", headers, f"M={sources}", "CC=gcc", "modules", cwd=sources)
    extra = folder / "root/lib/modules" / version / "extra"
    extra.mkdir(exist_ok=True)
    for module in sources.glob("*.ko"):
        shutil.copy(module, extra)


def _build_gpio_sim(folder: Path, package: Path, version: str) -> None:
    _headers(folder, version)
    sources = folder / "gpio-sim"
    sources.mkdir()
    _take_from_source(package, sources, {"drivers/gpio/gpio-sim.c", "kernel/irq/irq_sim.c"})
    simulated = sources / "irq_sim.c"
    text = simulated.read_text(encoding="utf-8")
    # irq_to_desc() is for the kernel itself; modules have a call for the same purpose
    text, changed = re.subn(
        r"irqnum = irq_find_mapping\([^;]*;\s*handle_simple_irq\(irq_to_desc\(irqnum\)\);",
        "irqnum = generic_handle_domain_irq(work_ctx->domain, offset);",
        text,
    )
    if changed != 1:
        raise KernelError("kernel: irq_sim.c is not as known; the recipe has to be looked at")
    simulated.write_text("#include <linux/module.h>\n" + text + '\nMODULE_LICENSE("GPL");\n', encoding="utf-8")
    (sources / "Makefile").write_text("obj-m := irq_sim.o gpio-sim.o\n", encoding="utf-8")
    _build(folder, sources, version)


def _take_from_source(package: Path, target: Path, wanted: set[str]) -> None:
    """Read the source package only until the wanted files have come by."""
    missing = set(wanted)
    with (
        subprocess.Popen(["dpkg-deb", "--fsys-tarfile", package], stdout=subprocess.PIPE) as outer,
        subprocess.Popen(
            ["tar", "-xO", "--wildcards", "*.tar.xz"], stdin=outer.stdout, stdout=subprocess.PIPE
        ) as inner,
        subprocess.Popen(["xz", "-dc", "-T2"], stdin=inner.stdout, stdout=subprocess.PIPE) as plain,
    ):
        with tarfile.open(fileobj=plain.stdout, mode="r|") as files:
            for member in files:
                name = member.name.partition("/")[2]
                if name in missing and (data := files.extractfile(member)) is not None:
                    (target / Path(name).name).write_bytes(data.read())
                    missing.discard(name)
                if not missing:
                    break
        for process in (plain, inner, outer):
            process.kill()
    if missing:
        raise KernelError(f"kernel: {', '.join(sorted(missing))} not in {package.name}; the recipe has to be looked at")


def _build_v4l2loopback(folder: Path, version: str) -> None:
    sources = next((folder / "root/usr/src").glob("v4l2loopback-*"))
    code = sources / "v4l2loopback.c"
    text = code.read_text(encoding="utf-8")
    # 0.12.7 is older than the kernel; strscpy() took over strlcpy()'s work in 6.8
    text = text.replace("strlcpy(", "strscpy(")
    # a reader may be late by as many pictures as it has buffers, as with a camera, and not by two at most
    text = text.replace("opener->read_position + 2)", "opener->read_position + dev->used_buffers - 1)")
    code.write_text(text, encoding="utf-8")
    (sources / "Makefile").write_text("obj-m := v4l2loopback.o\n", encoding="utf-8")
    _build(folder, sources, version)


def _unpack_early(folder: Path, modules: Path) -> None:
    early = folder / "early"
    early.mkdir()
    for name in EARLY:
        packed = next(modules.rglob(f"{name}.ko.xz"))
        (early / f"{name}.ko").write_bytes(lzma.decompress(packed.read_bytes()))


if __name__ == "__main__":
    try:
        print(kernel())
    except KernelError as error:
        sys.exit(str(error))
