"""A running FlightGear with the shipped protocol file, on a screen that nobody sees."""

import http.client
import itertools
import json
import os
import select
import shutil
import subprocess
import time
from pathlib import Path

from stand import patience
from stand.place import TOP, WORK

SHIPPED = TOP / "config" / "simulators" / "flightgear"
# The words of tallywheel.xml, with the hyphens that a comment in XML cannot have.
LISTENS = "--generic=socket,in,50,127.0.0.1,5140,udp,tallywheel"
PORTS = itertools.count(5301)
# It was ready after 18 to 40 s where nothing else ran, and after 64 to 97 s where two cores had to compile as well.
START_SECONDS = 600
# Without a graphics processor Mesa draws, and crashed on scenery: so nothing is drawn. The aircraft is the same.
PLAIN = [
    *("--disable-sound", "--disable-splash-screen", "--disable-ai-traffic", "--disable-ai-models", "--disable-clouds"),
    *("--disable-real-weather-fetch", "--disable-terrasync", "--fog-disable", "--geometry=320x240"),
    *(f"--prop:bool:/sim/rendering/draw-mask/{part}=false" for part in ("terrain", "aircraft", "models", "clouds")),
    "--prop:int:/sim/rendering/shaders/quality-level=0",
]


class FlightGear:
    """`fgfs` with a c172p that stands on the runway where FlightGear starts by itself; no code of ours is in it."""

    def __init__(self, name: str) -> None:
        began = time.monotonic()
        root = WORK / name / "flightgear"
        shutil.rmtree(root, ignore_errors=True)
        (root / "data" / "Protocol").mkdir(parents=True)
        self._home = root / "home"
        self._home.mkdir()
        shutil.copy(SHIPPED / "tallywheel.xml", root / "data" / "Protocol")
        assert LISTENS.lstrip("-") in (SHIPPED / "tallywheel.xml").read_text()
        self.log = root / "log"
        self._port = next(PORTS)
        self._process = None
        self._screen, number = self._start_screen(root)
        environment = dict(os.environ, HOME=str(self._home), FG_HOME=str(self._home), DISPLAY=f":{number}")
        # It takes the absence of a D-Bus for fatal without the first.
        environment |= {"DBUS_FATAL_WARNINGS": "0", "LIBGL_ALWAYS_SOFTWARE": "1", "QT_QPA_PLATFORM": "offscreen"}
        # Debian has its games in a folder that is not on root's path.
        program = shutil.which("fgfs", path=f"{os.environ['PATH']}:/usr/games")
        command = [program, f"--data={root / 'data'}", "--aircraft=c172p", LISTENS, f"--httpd={self._port}", *PLAIN]
        try:
            with self.log.open("w") as log:
                self._process = subprocess.Popen(command, cwd=root, env=environment, stdout=log, stderr=log)
            patience.until("FlightGear is ready", self._is_ready, START_SECONDS)
        except BaseException:
            self.close()
            raise
        self.ready_after = time.monotonic() - began

    def _start_screen(self, root: Path) -> tuple[subprocess.Popen, int]:
        """An X server on the first number that is free, as it says itself."""
        reads, writes = os.pipe()
        command = ["Xvfb", "-displayfd", str(writes), "-screen", "0", "320x240x24", "-nolisten", "tcp"]
        with (root / "screen.log").open("w") as log:
            screen = subprocess.Popen(command, pass_fds=[writes], stdout=log, stderr=log)
        os.close(writes)
        # At its end it closes the pipe too.
        with os.fdopen(reads) as pipe:
            number = pipe.readline() if select.select([pipe], [], [], patience.SECONDS)[0] else ""
        if not number:
            screen.kill()
            screen.wait()
            raise RuntimeError(f"no screen from Xvfb: {(root / 'screen.log').read_text()[-1000:]}")
        return screen, int(number)

    def _is_ready(self) -> bool:
        if self._process.poll() is not None:
            raise RuntimeError(f"FlightGear ended: {self.log.read_text(errors='replace')[-1000:]}")
        try:
            return all(self.get(name) for name in ("/sim/signals/fdm-initialized", "/sim/sceneryloaded"))
        except (OSError, http.client.HTTPException, KeyError, ValueError):
            return False

    def get(self, name: str) -> float | bool | str:
        """A property's value, from FlightGear's own HTTP server."""
        connection = http.client.HTTPConnection("127.0.0.1", self._port, timeout=patience.SECONDS)
        try:
            connection.request("GET", f"/json{name}")
            return json.loads(connection.getresponse().read())["value"]
        finally:
            connection.close()

    def close(self) -> None:
        for process in (self._process, self._screen):
            if process is not None:
                process.kill()
                process.wait()
        # Made anew at each start, 170 MB of it.
        for cache in self._home.glob("*.cache"):
            cache.unlink()
