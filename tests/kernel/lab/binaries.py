"""Static binaries for the guest: the program under test exactly as it ships for Linux, and our own guest tools.

They have a target folder of their own, as other compiler flags would throw away what a normal build left.
"""

import os
import subprocess
from dataclasses import dataclass
from pathlib import Path

from lab.image import HERE, REPOSITORY, cache_folder

TARGET = "x86_64-unknown-linux-gnu"
GUEST = "tallywheel-kernel-guest"


@dataclass(frozen=True)
class Binaries:
    """Paths on the host."""

    tallywheel: Path
    lab: Path
    floor: Path
    sdl_axes: Path
    policy: Path

    def for_guest(self) -> dict[str, Path]:
        """As files of a boot."""
        return {
            "tallywheel": self.tallywheel, "lab": self.lab, "floor-c": self.floor, "sdl-axes": self.sdl_axes,
            "policy": self.policy,
            "functions": HERE / "initramfs" / "functions",
        }  # fmt: skip


def lab() -> Path:
    """Only our own guest tools; raises as `build` does."""
    return _cargo(GUEST) / GUEST


def _cargo(*crates: str) -> Path:
    """Builds these packages and answers where their programs are."""
    folder = cache_folder() / "build"
    folder.mkdir(parents=True, exist_ok=True)
    # --target keeps the flags away from build scripts and procedural macros, which can't be static.
    environment = dict(os.environ, RUSTFLAGS="-Ctarget-feature=+crt-static")
    cargo = ["cargo", "build", "--quiet", "--release", "--locked", "--target", TARGET, "--target-dir", str(folder)]
    cargo += [word for crate in crates for word in ("--package", crate)]
    subprocess.run(cargo, cwd=REPOSITORY, env=environment, check=True)
    return folder / TARGET / "release"


def build() -> Binaries:
    """Builds everything; raises CalledProcessError with the compiler's words on the terminal."""
    folder = cache_folder() / "build"
    release = _cargo("tallywheel", GUEST)
    made = Binaries(
        release / "tallywheel", release / GUEST,
        folder / "floor-c", folder / "sdl-axes", folder / "policy",
    )  # fmt: skip
    warnings = ["-O2", "-Wall", "-Wextra", "-Werror"]
    for source, target, how in [
        ("floor/floor.c", made.floor, ["-static"]),
        ("floor/sdl_axes.c", made.sdl_axes, ["-ldl"]),
        ("floor/policy.c", made.policy, ["-static"]),
    ]:
        # Another run may be copying what is there.
        part = target.with_name(f"{target.name}.{os.getpid()}")
        subprocess.run(["gcc", *warnings, str(HERE / source), "-o", str(part), *how], check=True)
        subprocess.run(["strip", str(part)], check=True)
        part.replace(target)
    for path in [made.tallywheel, made.lab, made.floor, made.policy]:
        if b"ld-linux" in path.read_bytes()[:4096]:
            raise RuntimeError(f"{path} is not static")
    return made
