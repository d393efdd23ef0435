"""A Windows of our own: a Wine prefix below target/windows, with the test DLL in it.

Every run has a time limit, and ends whatever it started in its own prefix and nothing else.
"""

import os
import shutil
import subprocess
import tempfile
from pathlib import Path

HERE = Path(__file__).resolve().parent.parent
TOP = HERE.parent.parent
BUILD = TOP / "target" / "windows"
SHIM_FLAGS = ["-shared", "-O2", "-s", "-Wall", "-Wno-unused", "-D_SETUPAPI_", "-DWINVER=0x0A00", "-D_WIN32_WINNT=0x0A00"]
SHIM_LIBRARIES = ["-ladvapi32", "-lsetupapi", "-lws2_32", "-luser32"]


class Prefix:
    """One Wine prefix."""

    def __init__(self) -> None:
        self.folder = BUILD / "wine"
        self.environment = dict(os.environ, WINEPREFIX=str(self.folder), HOME=str(BUILD / "home"), WINEDEBUG="-all")
        # Without a debugger a crash ends the program instead of waiting for a click; no HTML, no .NET, no menus.
        self.environment["WINEDLLOVERRIDES"] = "winedbg.exe=d;winemenubuilder.exe=d;mscoree,mshtml="
        self.environment.pop("DISPLAY", None)
        self.x_server: subprocess.Popen | None = None

    def make(self) -> None:
        """Makes it anew, so that no run sees what another left."""
        self.end()
        shutil.rmtree(self.folder, ignore_errors=True)
        (BUILD / "home").mkdir(parents=True, exist_ok=True)
        self._run(["wineboot", "--init"], 120)
        self._run(["wineserver", "--wait"], 120)
        dll = self.folder / "drive_c" / "windows" / "system32" / "bcryptprimitives.dll"
        source = HERE / "shim" / "shim.c"
        compiler = ["x86_64-w64-mingw32-gcc", *SHIM_FLAGS, "-o", dll, source, *SHIM_LIBRARIES]
        subprocess.run(compiler, check=True, timeout=60)

    def screen(self) -> None:
        """Gives the programs that start from now on a screen; without one Wine opens no windows at all."""
        self.end()
        if self.x_server is not None:
            return
        xvfb = ["Xvfb", "-displayfd", "1", "-screen", "0", "800x600x24", "-nolisten", "tcp"]
        self.x_server = subprocess.Popen(xvfb, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
        self.environment["DISPLAY"] = f":{self.x_server.stdout.readline().strip()}"

    def close(self) -> None:
        """Ends the screen and every program, and leaves no prefix: the next run makes its own, and it is large."""
        self.end()
        shutil.rmtree(self.folder, ignore_errors=True)
        if self.x_server is not None:
            self.x_server.terminate()
            self.x_server.wait(30)

    def end(self) -> None:
        """Ends every program in this prefix."""
        subprocess.run(["wineserver", "--kill"], env=self.environment, timeout=60, check=False)

    def _run(self, command: list[str], limit_s: int) -> None:
        quiet = {"stdin": subprocess.DEVNULL, "stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        subprocess.run(command, env=self.environment, timeout=limit_s, check=True, **quiet)

    def run(self, *command: object, limit_s: int = 60, **environment: str) -> subprocess.CompletedProcess:
        """Runs a Windows program to its end; what it prints goes through files.

        Wine's own services may be started by it and keep its standard output open, so a pipe would not end with it.
        """
        with tempfile.TemporaryFile("w+", errors="replace") as out, tempfile.TemporaryFile("w+", errors="replace") as err:
            done = subprocess.run(
                ["wine", *map(str, command)], env=self.environment | environment, timeout=limit_s, check=False,
                stdin=subprocess.DEVNULL, stdout=out, stderr=err,
            )  # fmt: skip
            out.seek(0)
            err.seek(0)
            done.stdout, done.stderr = out.read(), err.read()
            return done

    def start(self, *command: object, output: Path, **environment: str) -> subprocess.Popen:
        """Starts a Windows program in the folder of the file that gets what it prints."""
        with output.open("wb") as file:
            return subprocess.Popen(
                ["wine", *map(str, command)], env=self.environment | environment, cwd=output.parent,
                stdin=subprocess.DEVNULL, stdout=file, stderr=subprocess.STDOUT,
            )  # fmt: skip

    def user(self, *parts: str) -> Path:
        """A folder of the Windows user's: user("AppData", "Roaming")."""
        homes = [home for home in (self.folder / "drive_c" / "users").iterdir() if home.name != "Public"]
        if len(homes) != 1:
            raise RuntimeError(f"which user's home: {homes}")
        return homes[0].joinpath(*parts)
