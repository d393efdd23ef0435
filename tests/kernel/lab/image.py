"""The guest's kernel and its initramfs, made once and kept.

The kernel is Debian's own. Its vmlinuz is unpacked on the host once, because the guest would spend seconds on that at
every boot. The initramfs never holds anything built from this repository: binaries travel on a 9p share, so that the
guest's memory is laid out alike in every run, and the figures under -icount repeat.
"""

import hashlib
import lzma
import os
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from lab import packages

HERE = Path(__file__).resolve().parent.parent
REPOSITORY = HERE.parent.parent

# With what they depend on. virtio and 9p for the share; the rest is what this laboratory is about.
MODULES = [
    "virtio_pci", "9pnet_virtio", "9p",
    "hid-generic", "uhid", "uinput", "evdev", "joydev",
    "usbhid", "dummy_hcd", "libcomposite", "usb_f_hid",
]  # fmt: skip

# The parts of Python's library that no import of python-evdev reaches.
UNUSED_PYTHON = [
    "ensurepip", "idlelib", "lib2to3", "pydoc_data", "test", "tkinter", "turtledemo", "unittest", "wsgiref",
    "xmlrpc", "distutils", "sqlite3", "venv", "dbm", "curses", "xml", "html", "http", "email", "multiprocessing",
]  # fmt: skip


@dataclass(frozen=True)
class Image:
    """Paths of what QEMU boots."""

    kernel: Path
    initramfs: Path
    initramfs_with_python: Path


def cache_folder() -> Path:
    """Where images and builds are kept: TALLYWHEEL_KERNEL_LAB, else target/kernel-lab."""
    chosen = os.environ.get("TALLYWHEEL_KERNEL_LAB")
    return Path(chosen).absolute() if chosen else REPOSITORY / "target" / "kernel-lab"


def image() -> Image:
    """The image for today's packages, built if it is not there yet."""
    kernel_package = packages.kernel_package()
    python_package = packages.python_package()
    recipe = hashlib.sha256()
    for part in [Path(__file__), HERE / "lab" / "packages.py", HERE / "initramfs" / "init"]:
        recipe.update(part.read_bytes())
    recipe.update(f"{kernel_package} {python_package}".encode())
    folder = cache_folder() / f"image-{recipe.hexdigest()[:16]}"
    made = Image(folder / "vmlinux", folder / "initramfs.cpio", folder / "initramfs-python.cpio")
    if folder.is_dir():
        return made
    print(f"making the guest's image from {kernel_package}", file=sys.stderr)
    work = folder.with_suffix(".part")
    shutil.rmtree(work, ignore_errors=True)
    work.mkdir(parents=True)
    _kernel(work, kernel_package)
    _tools(work)
    _python(work, python_package)
    for scrap in ["kernel", "tree", "python"]:
        shutil.rmtree(work / scrap)
    work.rename(folder)
    for old in cache_folder().glob("image-*"):
        if old != folder:
            shutil.rmtree(old)
    return made


def _kernel(work: Path, package: str) -> None:
    packages.unpack([package], work / "kernel")
    vmlinuz = next((work / "kernel" / "boot").glob("vmlinuz-*")).read_bytes()
    start = vmlinuz.find(bytes.fromhex("FD377A585A00"))
    if start < 0:
        raise packages.Missing(f"the kernel in {package} is not packed with xz; lab/image.py must learn its format")
    unpacked = lzma.LZMADecompressor(lzma.FORMAT_XZ).decompress(vmlinuz[start:])
    if not unpacked.startswith(b"\x7fELF"):
        raise packages.Missing(f"what is packed in {package} is no ELF kernel")
    (work / "vmlinux").write_bytes(unpacked)


def _tools(work: Path) -> None:
    tree = work / "tree"
    packages.unpack(["libc6", "evtest", "joystick"], work / "unpacked")
    for folder in ["bin", "dev", "proc", "sys", "run", "mnt", "etc", "tmp", "lib64", "lib/x86_64-linux-gnu"]:
        (tree / folder).mkdir(parents=True)
    found = {path.name: path for path in (work / "unpacked").rglob("*") if path.is_file()}
    for program in ["evtest", "jstest"]:
        shutil.copy(found[program], tree / "bin")
    for library in ["libc.so.6", "libm.so.6", "libdl.so.2", "libpthread.so.0", "librt.so.1"]:
        shutil.copy(found[library], tree / "lib/x86_64-linux-gnu")
    shutil.copy(found["ld-linux-x86-64.so.2"], tree / "lib64")
    shutil.copy(packages.sdl_library(work / "unpacked"), tree / "lib/x86_64-linux-gnu")
    shutil.copy(shutil.which("busybox") or "/bin/busybox", tree / "bin" / "busybox")
    shutil.copy(HERE / "initramfs" / "init", tree / "init")
    (tree / "init").chmod(0o755)
    _modules(work, tree)
    _pack(tree, work / "initramfs.cpio")
    shutil.rmtree(work / "unpacked")


def _modules(work: Path, tree: Path) -> None:
    release = next((work / "kernel" / "lib" / "modules").iterdir()).name
    base = work / "kernel"
    tool = shutil.which("depmod", path=packages.SEARCH_PATH) or "depmod"
    subprocess.run([tool, "-b", base, release], check=True)
    needs = {}
    source = base / "lib" / "modules" / release
    for line in (source / "modules.dep").read_text().splitlines():
        module, _, others = line.partition(":")
        needs[Path(module).name.split(".ko")[0].replace("-", "_")] = [module, *others.split()]
    for module in MODULES:
        try:
            files = needs[module.replace("-", "_")]
        except KeyError:
            raise packages.Missing(f"Debian's kernel {release} has no module {module}") from None
        for file in files:
            target = tree / "lib" / "modules" / release / file
            target.parent.mkdir(parents=True, exist_ok=True)
            packed = (source / file).read_bytes()
            if file.endswith(".xz"):
                # Later releases pack modules, and busybox's modprobe can't read that.
                target.with_suffix("").write_bytes(lzma.decompress(packed))
            else:
                target.write_bytes(packed)
    for listing in source.glob("modules.[bo]*"):
        if not listing.suffix == ".bin":
            shutil.copy(listing, tree / "lib" / "modules" / release)
    subprocess.run([tool, "-b", tree, release], check=True)


def _python(work: Path, package: str) -> None:
    version = package.removesuffix("-minimal")
    tree = work / "python"
    packages.unpack([package, *packages.python_libraries(package), "python3-evdev"], work / "unpacked")
    library = tree / "usr" / "lib" / version
    library.parent.mkdir(parents=True)
    (tree / "bin").mkdir()
    shutil.copy(work / "unpacked" / "usr" / "bin" / version, tree / "bin" / "python3")
    shutil.copytree(work / "unpacked" / "usr" / "lib" / version, library)
    for folder in UNUSED_PYTHON:
        shutil.rmtree(library / folder, ignore_errors=True)
    shutil.copytree(work / "unpacked/usr/lib/python3/dist-packages/evdev", library / "evdev")
    target = tree / "lib" / "x86_64-linux-gnu"
    target.mkdir(parents=True)
    for pattern in ["libexpat.so.?", "libz.so.?", "libffi.so.?"]:
        shutil.copy(next(path for path in (work / "unpacked").rglob(pattern) if path.is_file()), target)
    # The guest would take half a minute to compile what it imports.
    environment = {"PYTHONHOME": str(tree / "usr"), "LD_LIBRARY_PATH": str(tree / "lib/x86_64-linux-gnu")}
    compiler = [tree / "bin" / "python3", "-m", "compileall", "-q", "-s", tree, library]
    # PYTHONHOME points at /usr in the guest; unchecked files spare it one stat per import.
    compiler += ["--invalidation-mode", "unchecked-hash"]
    subprocess.run(compiler, env=environment, check=True, stdout=subprocess.DEVNULL)
    _pack(tree, work / "python.cpio")
    with (work / "initramfs-python.cpio").open("wb") as both:
        for part in ["initramfs.cpio", "python.cpio"]:
            both.write((work / part).read_bytes())
    (work / "python.cpio").unlink()
    shutil.rmtree(work / "unpacked")


def _pack(tree: Path, archive: Path) -> None:
    names = sorted(str(path.relative_to(tree)) for path in tree.rglob("*"))
    for path in [tree, *tree.rglob("*")]:
        if not path.is_symlink():
            os.utime(path, (0, 0))
    with archive.open("wb") as out:
        subprocess.run(
            ["cpio", "--quiet", "-o", "-H", "newc", "--reproducible", "-R", "0:0"],
            input="\n".join(names).encode(), stdout=out, cwd=tree, check=True,
        )  # fmt: skip
