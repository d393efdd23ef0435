"""Where the tests run: a network namespace of their own, with Python packages of their own."""

import fcntl
import os
import socket
import struct
import subprocess
import sys
from pathlib import Path

TOP = Path(__file__).resolve().parents[3]
WORK = TOP / "target" / "simulators"
# linux/sockios.h, linux/if.h
SIOCGIFFLAGS, SIOCSIFFLAGS, IFF_UP = 0x8913, 0x8914, 1


def _python_with(packages: list[str]) -> Path:
    """The Python of an environment of these tests' own."""
    python = WORK / "venv" / "bin" / "python"
    if not python.exists():
        subprocess.run([sys.executable, "-m", "venv", WORK / "venv"], check=True)
    subprocess.run([python, "-m", "pip", "install", "--quiet", *packages], check=True)
    return python


def enter(packages: list[str]) -> None:
    """Starts this program again with `packages` and alone on a network that has nothing but a loopback interface: what
    simulators open, they open on every address. Returns in that second life."""
    if os.environ.get("TALLYWHEEL_SIMULATORS") != "inside":
        python = _python_with(packages) if packages else sys.executable
        # Built out here, where crates can be fetched.
        program = _program()
        unshare = ["unshare", "--net"] if os.geteuid() == 0 else ["unshare", "--map-root-user", "--net"]
        environment = dict(os.environ, TALLYWHEEL_SIMULATORS="inside", TALLYWHEEL_PROGRAM=str(program))
        os.execvpe("unshare", [*unshare, str(python), *sys.argv], environment)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as any_socket:
        request = struct.pack("16sh", b"lo", 0)
        flags = struct.unpack("16sh", fcntl.ioctl(any_socket, SIOCGIFFLAGS, request))[1]
        fcntl.ioctl(any_socket, SIOCSIFFLAGS, struct.pack("16sh", b"lo", flags | IFF_UP))


def program() -> Path:
    """The program under test, as `enter` has found it."""
    return Path(os.environ["TALLYWHEEL_PROGRAM"])


def _program() -> Path:
    """The program under test, built if TALLYWHEEL_PROGRAM names none."""
    named = os.environ.get("TALLYWHEEL_PROGRAM")
    if named:
        return Path(named).resolve()
    subprocess.run(["cargo", "build-as-tested"], cwd=TOP, check=True)
    return Path(os.environ.get("CARGO_TARGET_DIR", TOP / "target")) / "debug" / "tallywheel"
