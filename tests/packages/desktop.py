"""A person's own session on an installed Debian: who may open what, and the unit as it ships.

The root with the package in it is booted in QEMU by its own systemd, with udevd and logind as Debian ships them. A user
without rights is logged in on the machine's screen; a board is plugged in on a USB bus (dummy_hcd, f_hid). Outside
sources: udevd's and logind's verdict on the rule, the kernel's on opening, systemd on the unit, evtest as reader.
"""

import hashlib
import json
import shutil
import subprocess
from pathlib import Path

from lab import binaries, image, packages, readers, turning
from lab.boards import NUMBERED
from lab.checks import Checks
from lab.guest import RANDOM
from scenes import usb_gadget

HERE = Path(__file__).resolve().parent / "session"
# Some minutes on a busy machine, as systemd boots without hardware support for it.
LONGEST_BOOT_S = 900
LOGIN = "[Service]\nExecStart=\nExecStart=-/sbin/agetty --autologin pilot --noclear %I linux\n"
MACHINE = "[Unit]\nAfter=systemd-logind.service systemd-udev-trigger.service\n[Service]\nExecStart=/srv/job/machine\n"
# In doctor's order.
WANTED = ["board", "rule", "joystick"]
DESKTOP = "[Unit]\nBindsTo=graphical-session.target\n"


def session(root, deb: Path, checks: Checks) -> None:
    """All of it; `root` is a Debian of its own, without the package."""
    packages.host_tools()
    made = image.image()
    shutil.copy(deb, root.folder / "tmp" / "tallywheel.deb")
    done = root.dpkg("-i", "/tmp/tallywheel.deb")
    checks.that("installs", done.returncode == 0, done.stdout + done.stderr)
    prepare(root)
    console = boot(made, root.folder)
    out = image.cache_folder() / "boots" / "session" / "out"
    shutil.copytree(root.folder / "srv" / "out", out)

    def said(name: str) -> str:
        path = out / name
        return path.read_text(errors="replace").strip() if path.is_file() else f"no record {name}; {console[-800:]}"

    checks.equal("nothing went wrong on the way", said("wrong") if (out / "wrong").read_text() else "", "")
    checks.equal(
        "an ordinary person is logged in at the screen", sorted(said("session").splitlines()),
        ["Active=yes", "Name=pilot", "Remote=no", "Seat=seat0"],
    )  # fmt: skip
    checks.equal("and is in no group but the own", said("groups"), "pilot")
    checks.equal("without a line for the board it is refused, the virtual axis is not", said("before"), "board no uinput yes")
    checks.equal("with it the person opens both", said("after"), "board yes uinput yes")
    checks.equal("who is not at the screen opens neither", said("stranger"), "board no uinput no")
    wanted = {"ActiveState=active", "NRestarts=0"}
    checks.that("the unit runs", wanted <= set(said("unit").splitlines()), said("unit"))
    checks.equal("as that person", said("uid"), root.run("id", "-u", "pilot").stdout.strip())
    status = json.loads(said("status"))
    checks.equal("the board is read", [board["state"] for board in status["boards"]], ["reading"])
    recorded, axis = recorder(), readers.evtest(said("axis.evtest"))
    for one in usb_gadget.fitted():
        name = one.wheel.name
        told = next((wheel["counts"] for wheel in status["wheels"] if wheel["name"] == name), None)
        true = usb_gadget.true_counts(recorded, one)
        checks.equal(f"{name}: tally", told, sum(true))
        last = [one.trim.count(step) for step in true][-1:]
        checks.equal(f"{name}: where evtest saw the axis last", axis.axis(usb_gadget.AXIS_CODES[one.axis])[-1:], last)
    found = [line.split()[:2] for line in said("doctor").splitlines() if not line.startswith(" ")]
    checks.equal("doctor: board, rule and joystick are good", [of for how, of in found if how == "good" and of in WANTED], WANTED)
    checks.equal("leaving the desktop ends the daemon, and the axis goes", said("left"), "gone")


def prepare(root) -> None:
    """What the installed system gets besides the package: a second person, the login, the board and the files."""
    root.run("useradd", "--create-home", "stranger")
    (root.folder / "etc/machine-id").write_text(hashlib.md5(b"tallywheel").hexdigest() + "\n")
    (root.folder / "etc/hostname").write_text("bench\n")
    job, out = root.folder / "srv/job", root.folder / "srv/out"
    job.mkdir()
    out.mkdir()
    out.chmod(0o1777)
    (out / "wrong").write_text("")
    (out / "wrong").chmod(0o666)
    shutil.copy(binaries.lab(), job / "lab")
    for script in ["pilot", "meeting"]:
        shutil.copy(HERE / script, job / script)
    turned = recorder()
    plays = f"ask play 0 {len(turned.reports())}"
    (job / "machine").write_text((HERE / "machine").read_text().replace("PLAYS", plays))
    (job / "machine").chmod(0o755)
    files = usb_gadget.files()
    (job / "board.hid").write_text(turned.text())
    home = root.folder / "home/pilot"
    (home / ".profile").write_text("[ \"$(tty)\" = /dev/tty1 ] && exec /srv/job/pilot\n")
    for name, text in files.items():
        if name.startswith("config/"):
            write(home / ".config/tallywheel" / name.removeprefix("config/"), text)
    write(home / ".config/systemd/user/desktop.target", DESKTOP)
    root.run("chown", "-R", "pilot:pilot", "/home/pilot")
    write(root.folder / "etc/systemd/system/getty@tty1.service.d/login.conf", LOGIN)
    write(root.folder / "etc/systemd/system/machine.service", MACHINE)
    wanted = root.folder / "etc/systemd/system/multi-user.target.wants/machine.service"
    wanted.parent.mkdir(parents=True, exist_ok=True)
    wanted.symlink_to("/etc/systemd/system/machine.service")


def recorder() -> turning.Recorder:
    """One bout of turning of every wheel, not a whole number of turns."""
    wheels = [one.wheel for one in usb_gadget.fitted()]
    made = turning.Recorder(NUMBERED, wheels)
    for wheel in wheels:
        turning.strokes(made, wheel, seed=9, plan=usb_gadget.PLANS[wheel.name])
    return made


def write(path: Path, text: str) -> None:
    """A file with its folders."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text)


def boot(made: image.Image, root: Path) -> str:
    """Boots the root until it powers itself off; answers what its console said."""
    work = image.cache_folder() / "boots" / "session"
    shutil.rmtree(work, ignore_errors=True)
    (work / "tree").mkdir(parents=True)
    shutil.copy(HERE / "init", work / "tree" / "session")
    (work / "tree" / "session").chmod(0o755)
    initramfs = work / "initramfs.cpio"
    with initramfs.open("wb") as out:
        out.write(made.initramfs.read_bytes())
        out.flush()
        names = subprocess.run(
            ["cpio", "--quiet", "-o", "-H", "newc", "-R", "0:0"], input=b"session", cwd=work / "tree", check=True, stdout=subprocess.PIPE
        )  # fmt: skip
        out.write(names.stdout)
    command = ["timeout", "-s", "KILL", str(LONGEST_BOOT_S), "qemu-system-x86_64", *RANDOM, "-accel", "tcg", "-smp", "2", "-m", "768"]
    command += ["-nodefaults", "-no-reboot", "-display", "none", "-serial", "stdio", "-kernel", str(made.kernel), "-initrd", str(initramfs)]
    command += ["-append", "console=ttyS0 panic=-1 random.trust_cpu=on rdinit=/session systemd.mask=serial-getty@ttyS0.service"]
    command += ["-virtfs", f"local,path={root},mount_tag=debian,security_model=passthrough"]
    done = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, text=True, errors="replace")
    (work / "console").write_text(done.stdout + done.stderr)
    return done.stdout + done.stderr
