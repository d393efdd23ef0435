"""A running JSBSim, held still: it goes on only when it is told to, so the same orders give the same flight."""

import itertools
import shutil
import signal
import socket
import subprocess
import sys
from pathlib import Path

from stand import patience
from stand.place import TOP, WORK

HERTZ = 120
# JSBSim cannot take a port that another one had a minute ago.
PORTS = itertools.count(5201)
HERE = TOP / "tests" / "simulators"
SHIPPED = TOP / "config" / "simulators" / "jsbsim"


class JSBSim:
    """The command `jsbsim` with flight.xml and the shipped <input>; no code of ours is in it."""

    def __init__(self, name: str) -> None:
        import jsbsim

        package = Path(jsbsim.__file__).parent
        root = WORK / name / "jsbsim"
        shutil.rmtree(root, ignore_errors=True)
        root.mkdir(parents=True)
        for folder in ("engine", "systems"):
            (root / folder).symlink_to(package / folder)
        shutil.copytree(package / "aircraft" / "c172p", root / "aircraft" / "c172p")
        shutil.copy(HERE / "cruise.xml", root / "aircraft" / "c172p")
        shipped = (SHIPPED / "input.xml").read_text()
        element = shipped[shipped.index("<input") :]
        script = (HERE / "flight.xml").read_text()
        self._port, self.reports_port = next(PORTS), next(PORTS)
        for word, real in (
            ("<!-- shipped input -->", element),
            ("CONTROL", str(self._port)),
            ("REPORTS", str(self.reports_port)),
        ):
            assert script.count(word) == 1
            script = script.replace(word, real)
        (root / "flight.xml").write_text(script)
        self.log = root / "log"
        with self.log.open("w") as log:
            command = Path(sys.executable).parent / "jsbsim"
            arguments = [f"--root={root}", f"--script={root / 'flight.xml'}", "--suspend", "--nohighlight"]
            self._process = subprocess.Popen([command, *arguments], cwd=root, stdout=log, stderr=log)
        self._socket = patience.until("JSBSim listens", self._connect)
        self._answer()

    def _connect(self) -> socket.socket | None:
        if self._process.poll() is not None:
            raise RuntimeError(f"JSBSim ended: {self.log.read_text()[-1000:]}")
        try:
            return socket.create_connection(("127.0.0.1", self._port), timeout=patience.SECONDS)
        except ConnectionRefusedError:
            return None

    def _answer(self) -> str:
        received = b""
        while not received.endswith(b"JSBSim> "):
            more = self._socket.recv(4096)
            if not more:
                raise RuntimeError(f"JSBSim ended: {self.log.read_text()[-1000:]}")
            received += more
        return received.decode()

    def get(self, name: str) -> float:
        """A property's value, as JSBSim prints it: six digits."""
        self._socket.sendall(f"get {name}\n".encode())
        return float(self._answer().split("=")[1].split()[0])

    def fly(self, seconds: float) -> None:
        """Goes on for so much of its own time."""
        end = self.get("simulation/sim-time-sec") + seconds - 0.5 / HERTZ
        self._socket.sendall(f"iterate {round(seconds * HERTZ)}\n".encode())
        self._answer()
        patience.until("the flight goes on", lambda: self.get("simulation/sim-time-sec") >= end)

    def close(self) -> None:
        self._process.send_signal(signal.SIGKILL)
        self._process.wait()
        self._socket.close()
