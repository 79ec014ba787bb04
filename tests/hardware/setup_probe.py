"""Runs inside the machine of `setup_boot.py`, as root, with the system's own Python: does what was installed work?"""

from __future__ import annotations

import fcntl
import grp
import json
import os
import re
import select
import signal
import socket
import stat
import struct
import subprocess
import urllib.request
from pathlib import Path

RIG = """\
format = "boatrun-rig/1"
name = "machine"
gate_distance_mm = 800
[tank]
length_mm = 1000
width_mm = 400
water_depth_mm = 80
[[lines]]
name = "start"
role = "start"
x_mm = 100
[[lines]]
name = "finish"
role = "finish"
x_mm = 900
[[gates]]
name = "A"
line = "start"
[[gates]]
name = "B"
line = "finish"
[gates_driver]
kind = "gpio_gates"
chip = "rig"
pins = { A = 0, B = 1 }
blocked_is = "high"
pull = "down"
[light_driver]
kind = "gpio_light"
chip = "rig"
pin = 2
"""
FORBIDDEN = r"""
import json, os, socket
def tried(what):
    try:
        what()
        return "done"
    except OSError as error:
        return type(error).__name__ + " " + str(error.errno)
connection = "/etc/NetworkManager/system-connections/boatrun-access-point.nmconnection"
print(json.dumps({
    "writes its folder": tried(lambda: open("/var/lib/boatrun/by-service", "w").close()),
    "writes /etc": tried(lambda: open("/etc/by-service", "w").close()),
    "writes /opt/boatrun": tried(lambda: open("/opt/boatrun/by-service", "w").close()),
    "reads /home": tried(lambda: os.listdir("/home/maker")),
    "reads passwords": tried(lambda: open("/etc/shadow").close()),
    "reads the network's password": tried(lambda: open(connection).close()),
    "opens a disk or memory": tried(lambda: open("/dev/mem", "rb").close()),
    "opens a device that all may open": tried(lambda: open("/dev/all-may", "w").close()),
    "opens pins": tried(lambda: open("/dev/gpiochip0", "rb").close()),
    "opens a socket to the network": tried(lambda: socket.socket(socket.AF_INET)),
    "sets the clock": tried(lambda: __import__("time").clock_settime(0, 1e9)),
    "has privileges": [l for l in open("/proc/self/status") if l.startswith("CapBnd")][0].split()[1],
    "is": os.getuid(),
}))
"""
MUST = {
    "writes its folder": "done",
    "writes /etc": "OSError 30",
    "writes /opt/boatrun": "OSError 30",
    "reads /home": "",
    "reads passwords": "PermissionError 13",
    "reads the network's password": "PermissionError 13",
    "opens a disk or memory": "",
    "opens a device that all may open": "PermissionError 1",
    "opens pins": "done",
    "opens a socket to the network": "OSError 97",
    "sets the clock": "PermissionError 1",
    "has privileges": "0000000000000000",
}
"""What a service of ours may do; "": any refusal will do."""
SIOCSIFADDR = 0x8916
"""Gives an interface an address (netdevice(7); its number: linux/sockios.h)."""
FOUND = "200 True"
"""What `answers` says of pages that are there."""

faults = 0


def say(words: str, *, well: bool = True) -> None:
    global faults
    faults += not well
    print(("ok     " if well else "WRONG  ") + words, flush=True)


def run(*command: str) -> str:
    done = subprocess.run(command, capture_output=True, text=True)
    return (done.stdout + done.stderr).strip()


def last_words(unit: str) -> str:
    return run("journalctl", "-u", unit, "-n", "20")


def simulated_pins() -> None:
    run("modprobe", "gpio-sim")
    if not Path("/sys/kernel/config/gpio-sim").is_dir():
        run("mount", "-t", "configfs", "configfs", "/sys/kernel/config")
    bank = Path("/sys/kernel/config/gpio-sim/rig/bank0")
    bank.mkdir(parents=True)
    (bank / "num_lines").write_text("8")
    (bank / "label").write_text("rig")
    (bank.parent / "live").write_text("1")
    run("udevadm", "settle")
    found = Path("/dev") / (bank / "chip_name").read_text().strip()
    there = found.stat()
    mode = f"{found}: {grp.getgrgid(there.st_gid).gr_name} {there.st_mode & 0o777:o}"
    say(f"udev gives pins to the group: {mode}", well=mode.endswith("gpio 660"))


def the_check() -> None:
    Path("/var/lib/boatrun/rig.toml").write_text(RIG, encoding="utf-8")
    run("systemctl", "start", "boatrun-check.service")
    shown = run("systemctl", "show", "-p", "Result,ExecMainStatus", "boatrun-check.service")
    report = Path("/run/boatrun/check.txt")
    text = report.read_text(encoding="utf-8") if report.is_file() else last_words("boatrun-check")
    print("\n".join("       | " + line for line in text.splitlines()))
    say(f"the check ran to its end ({' '.join(shown.split())})", well="Fit to run" in text or "NOT fit" in text)
    say("it saw the gates", well="the kernel's own edges, from gpiochip0 (rig, 8 lines)" in text)
    say("it lit the light", well=re.search(r"^light\n +ok +it was lit", text, re.MULTILINE) is not None)
    say("it could ask the clock", well="is not known" not in text)


def the_walls() -> None:
    os.mknod("/dev/all-may", 0o666 | stat.S_IFCHR, os.makedev(1, 11))  # the kernel's log, under a name of its own
    Path("/dev/all-may").chmod(0o666)
    outside = run("runuser", "-u", "boatrun", "--", "sh", "-c", ": >/dev/all-may && echo done")
    say(f"outside of its service the account opens a device that all may open: {outside}", well=outside == "done")
    unit = Path("/etc/systemd/system/boatrun-check.service").read_text(encoding="utf-8")
    Path("/opt/forbidden.py").write_text(FORBIDDEN, encoding="utf-8")
    unit = re.sub(r"(?m)^ExecStart=.*$", "ExecStart=/usr/bin/python3 /opt/forbidden.py", unit)
    unit = unit.replace("check.txt", "walls.txt")
    Path("/run/systemd/system/boatrun-walls.service").write_text(unit, encoding="utf-8")
    run("systemctl", "daemon-reload")
    run("systemctl", "start", "boatrun-walls.service")
    said = Path("/run/boatrun/walls.txt").read_text(encoding="utf-8")
    try:
        found = json.loads(said)
    except ValueError:
        say("the service could not look at its walls: " + last_words("boatrun-walls"), well=False)
        return
    for what, must in MUST.items():
        is_well = found[what] == must if must else "Error" in found[what]
        say(f"a service {what}: {found[what]}", well=is_well)
    say(f"a service is number {found['is']}, not root", well=found["is"] != 0)


def answers(address: str) -> str:
    """What the pages say there: their status, or why not."""
    try:
        with urllib.request.urlopen(f"http://{address}:8321/rig", timeout=30) as answer:
            return f"{answer.status} {'Calibration, step by step' in answer.read().decode()}"
    except OSError as error:
        return type(error).__name__


def the_pages() -> None:
    """The rig's own network has no radio here; the loopback interface gets its address as well."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as any_socket:
        kind_and_address = struct.pack("=HH4s8x", socket.AF_INET, 0, socket.inet_aton("10.42.0.1"))
        fcntl.ioctl(any_socket, SIOCSIFADDR, b"lo:1".ljust(16, b"\0") + kind_and_address)
    run("systemctl", "restart", "boatrun-serve.service")  # comes back when it has told that it is ready
    shown = run("systemctl", "show", "-p", "ActiveState,NRestarts,WatchdogUSec,User", "boatrun-serve.service")
    say("the pages: " + " ".join(shown.split()), well="ActiveState=active" in shown and "User=boatrun" in shown)
    at_home, abroad = answers("127.0.0.1"), answers("10.42.0.1")
    say(f"without a PIN: this computer {at_home}, the network {abroad}", well=(at_home, abroad) == (FOUND, "URLError"))
    pin = ["sh", "-c", "echo seagull7 | boatrun serve /var/lib/boatrun/rig.toml --set-pin"]
    said = run("runuser", "-u", "maker", "--", *pin)
    run("systemctl", "restart", "boatrun-serve.service")
    abroad = answers("10.42.0.1")
    say(f"with a PIN ({said}): the network {abroad}", well=abroad == FOUND)
    if abroad != FOUND:
        print(last_words("boatrun-serve"))
    process = run("systemctl", "show", "-p", "MainPID", "--value", "boatrun-serve.service")
    with open(os.pidfd_open(int(process))) as its_end:
        signal.pidfd_send_signal(its_end.fileno(), signal.SIGSTOP)  # it hangs: nothing is told any more
        select.select([its_end], [], [], 240)
    shown = run("systemctl", "show", "-p", "Result,SubState", "boatrun-serve.service")
    say(f"pages that hang are started anew: {' '.join(shown.split())}", well="Result=watchdog" in shown)
    run("systemctl", "stop", "boatrun-serve.service")


def the_system() -> None:
    run("journalctl", "--flush")
    memory, card = (list(Path(place).rglob("*.journal")) for place in ("/run/log/journal", "/var/log/journal"))
    say(f"the log: {len(memory)} files in memory, {len(card)} on the card", well=len(memory) > 0 and not card)
    say("/tmp: " + run("findmnt", "-no", "FSTYPE,OPTIONS", "/tmp"), well=os.path.ismount("/tmp"))  # noqa: S108
    known = {line.split()[1] for line in Path("/proc/devices").read_text().splitlines() if line[:4].strip().isdigit()}
    early = {"ttyACM", "ttyUSB", "video4linux"}
    say(f"kinds of device known before one is plugged in: {sorted(early & known)}", well=early <= known)
    timer = run("systemctl", "show", "-p", "ActiveState,NextElapseUSecMonotonic,LastTriggerUSec", "boatrun-check.timer")
    say("the timer: " + " ".join(timer.split()), well="ActiveState=active" in timer)
    watchdog = run("systemctl", "show", "-p", "RuntimeWatchdogUSec")
    say(watchdog, well=watchdog.endswith("=14s"))
    run("nm-online", "-s", "-t", "30")
    known = run("nmcli", "-t", "-f", "NAME,TYPE,AUTOCONNECT", "connection", "show")
    say("NetworkManager knows: " + " ".join(known.split()), well="boatrun-access-point:802-11-wireless:yes" in known)
    failed = run("systemctl", "list-units", "--failed", "--no-legend", "--plain", "boatrun*", "systemd-udevd*", "tmp*")
    say(f"failed: {failed or 'none'}", well=not failed)


def main() -> None:
    for part in (simulated_pins, the_check, the_walls, the_pages, the_system):
        try:
            part()
        except Exception as error:  # whatever it is, the machine must end
            say(f"{part.__name__}: {type(error).__name__}: {error}", well=False)
    if not faults:
        print("setup_boot: all is well", flush=True)
    subprocess.run(["sync"])
    subprocess.run(["systemctl", "poweroff", "--force", "--force"])


if __name__ == "__main__":
    main()
