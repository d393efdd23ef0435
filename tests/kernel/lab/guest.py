"""One boot of the guest: a folder of files goes in, a folder of records comes out.

Everything runs under `-icount shift=0,sleep=off`: the guest's clock counts its own instructions (1 ns each) and jumps
over idle time. So a test that waits ten seconds takes none, and a busy host changes nothing that the guest can see.
"""

import shutil
import subprocess
import time
from dataclasses import dataclass
from pathlib import Path

from lab.image import Image, cache_folder

# Far above what a boot takes; a guest that hangs is killed.
LONGEST_BOOT_S = 240

# A computer with a desktop has random numbers long before login. The guest has no source of them but this one, and
# without it the first program that needs a key (the daemon, for its control port) waits for ever.
RANDOM = ["-cpu", "qemu64,+rdrand"]

QEMU = [
    "qemu-system-x86_64", *RANDOM, "-accel", "tcg", "-icount", "shift=0,sleep=off", "-smp", "1", "-nodefaults", "-no-reboot",
    "-display", "none", "-serial", "stdio", "-device", "isa-debug-exit,iobase=0xf4,iosize=4",
    "-append", "console=ttyS0 panic=-1 quiet random.trust_cpu=on",
]  # fmt: skip


class GuestFailed(Exception):
    """The guest did not run its job to the end; the text says what it printed."""


@dataclass(frozen=True)
class Outcome:
    """What a boot left behind."""

    folder: Path
    seconds: float

    def text(self, name: str) -> str:
        """Text of one record; empty when there is none."""
        path = self.folder / name
        return path.read_text(errors="replace") if path.exists() else ""


def boot(image: Image, name: str, files: dict[str, Path | str], *, python: bool = False) -> Outcome:
    """Boots the guest with `files` (name in the guest -> path or text) and runs `main` among them.

    Raises GuestFailed unless main ended with 0.
    """
    share = cache_folder() / "boots" / name
    shutil.rmtree(share, ignore_errors=True)
    (share / "out").mkdir(parents=True)
    for target, source in files.items():
        path = share / "job" / target
        path.parent.mkdir(parents=True, exist_ok=True)
        if isinstance(source, Path):
            shutil.copy(source, path)
        else:
            path.write_text(source)
    initramfs = image.initramfs_with_python if python else image.initramfs
    command = ["timeout", "-s", "KILL", str(LONGEST_BOOT_S), *QEMU, "-m", "384" if python else "192"]
    command += ["-kernel", str(image.kernel), "-initrd", str(initramfs)]
    command += ["-virtfs", f"local,path={share},mount_tag=host,security_model=none"]
    begun = time.monotonic()
    done = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, text=True, errors="replace")
    seconds = time.monotonic() - begun
    (share / "console").write_text(done.stdout + done.stderr)
    # (0 << 1) | 1. A kernel panic ends QEMU with 0, so 0 is no success.
    if done.returncode != 1:
        transcript = share / "out" / "transcript"
        tail = transcript.read_text(errors="replace")[-4000:] if transcript.exists() else "(no transcript)"
        raise GuestFailed(f"{name}: QEMU exit {done.returncode}\n{done.stdout[-3000:]}{done.stderr[-500:]}\n{tail}")
    return Outcome(share / "out", seconds)
