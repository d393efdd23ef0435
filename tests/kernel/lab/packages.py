"""What the laboratory takes from Debian and from PyPI, each by name; apt and pip choose the version.

Host tools are installed when this runs as root, else what is missing is listed and the run stops. What goes *into* the
guest (kernel, evtest, jstest, python-evdev, SDL) is only downloaded and unpacked, so the host stays as it was.
"""

import os
import re
import shutil
import subprocess
import sys
import time
import zipfile
from pathlib import Path

# Program on the host -> the Debian package that brings it.
HOST_TOOLS = {
    "qemu-system-x86_64": "qemu-system-x86",
    "busybox": "busybox-static",
    "depmod": "kmod",
    "cpio": "cpio",
    "dpkg": "dpkg",
    "gcc": "gcc libc6-dev",
    "strip": "binutils",
}

LISTS = Path("/var/lib/apt/lists")
SEARCH_PATH = os.environ.get("PATH", "") + ":/usr/sbin:/sbin"


class Missing(Exception):
    """Something that the laboratory can't do without, and how to get it."""


def host_tools() -> None:
    """Sees to it that every program of HOST_TOOLS is there.

    Raises Missing with the whole list when it can't be put right.
    """
    absent = [tool for tool in HOST_TOOLS if not shutil.which(tool, path=SEARCH_PATH)]
    if not absent:
        return
    wanted = " ".join(HOST_TOOLS[tool] for tool in absent)
    if os.geteuid() != 0:
        raise Missing(f"missing {', '.join(absent)}; as root: apt-get install {wanted}")
    _apt("update")
    _apt("install", "--yes", "--no-install-recommends", *wanted.split())
    absent = [tool for tool in HOST_TOOLS if not shutil.which(tool, path=SEARCH_PATH)]
    if absent:
        raise Missing(f"installed {wanted}, yet {', '.join(absent)} can't be found")


def kernel_package() -> str:
    """Name of the unsigned image that linux-image-amd64 stands for today."""
    return _first_dependency("linux-image-amd64", r"linux-image-\S+") + "-unsigned"


def python_package() -> str:
    """Name of the interpreter that python3-minimal stands for today, such as python3.11-minimal."""
    return _first_dependency("python3-minimal", r"python3\.\d+-minimal")


def python_libraries(python: str) -> list[str]:
    """Names of the packages with the library of such an interpreter and with what python-evdev's imports load."""
    version = python.removesuffix("-minimal")
    library = f"lib{version}-stdlib"
    return [f"lib{version}-minimal", library, _first_dependency(library, r"libffi\d+"), "libexpat1", "zlib1g"]


def unpack(names: list[str], into: Path) -> None:
    """Downloads Debian packages and unpacks them into a folder, without installing them."""
    downloads = into.parent / f"{into.name}.debs"
    shutil.rmtree(downloads, ignore_errors=True)
    downloads.mkdir(parents=True)
    try:
        _apt("download", *names, cwd=downloads)
    except Missing:
        # Lists of yesterday name files of yesterday.
        if os.geteuid() != 0:
            raise
        _apt("update")
        _apt("download", *names, cwd=downloads)
    debs = sorted(downloads.glob("*.deb"))
    if len(debs) != len(names):
        raise Missing(f"asked apt for {names}, got {[deb.name for deb in debs]}")
    into.mkdir(parents=True, exist_ok=True)
    for deb in debs:
        subprocess.run(["dpkg", "-x", deb, into], check=True)
    shutil.rmtree(downloads)


def sdl_library(into: Path) -> Path:
    """Fetches the one file of SDL 2 that we need: a wheel of 5 MB against some sixty Debian packages."""
    into.mkdir(parents=True, exist_ok=True)
    said = ""
    # tests/all brings a Python of its own; Debian's has no pip.
    for python in [os.environ.get("TALLYWHEEL_PYTHON"), sys.executable]:
        if python:
            pip = [python, "-m", "pip", "download", "--quiet", "--disable-pip-version-check", "--no-deps"]
            pip += ["--only-binary=:all:", "--dest", str(into), "pysdl2-dll"]
            said = subprocess.run(pip, capture_output=True, text=True, check=False).stderr
        wheels = sorted(into.glob("pysdl2_dll-*.whl"))
        if wheels:
            break
    else:
        raise Missing(f"pip could not download pysdl2-dll: {said.strip()}")
    library = into / "libSDL2.so"
    with zipfile.ZipFile(wheels[-1]) as wheel:
        library.write_bytes(wheel.read("sdl2dll/dll/libSDL2-2.0.so"))
    wheels[-1].unlink()
    return library


def _first_dependency(package: str, pattern: str) -> str:
    for attempt in range(5):
        text = subprocess.run(["apt-cache", "depends", package], capture_output=True, text=True, check=False).stdout
        found = re.search(rf"Depends: ({pattern})", text)
        if found:
            return found[1]
        # A fresh machine has no lists yet; on any other, somebody may be writing them just now.
        if attempt == 3 and os.geteuid() == 0:
            _apt("update")
        elif any(LISTS.glob("*_Packages*")):
            time.sleep(2)
    raise Missing(f"apt-cache knows no {package}; as root: apt-get update")


def _apt(*words: str, cwd: Path | None = None) -> None:
    environment = dict(os.environ, DEBIAN_FRONTEND="noninteractive", LC_ALL="C")
    done = subprocess.run(
        ["apt-get", "-qq", "-o", "DPkg::Lock::Timeout=600", *words], cwd=cwd, env=environment, capture_output=True, text=True, check=False
    )
    if done.returncode:
        raise Missing(f"apt-get {' '.join(words)} failed: {done.stderr.strip() or done.stdout.strip()}")
