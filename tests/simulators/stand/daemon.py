"""The running program, with the shipped files and a recording in the place of a board."""

import shutil
import subprocess
from pathlib import Path

from stand.place import TOP, WORK


def folder(name: str, aircraft: list[str]) -> Path:
    """A folder of the user's files: the shipped rig and these shipped aircraft, as they are. Nothing is kept of an earlier
    run."""
    config = WORK / name / "config"
    for old in (config, WORK / name / "log"):
        shutil.rmtree(old, ignore_errors=True)
    (config / "aircraft").mkdir(parents=True)
    shutil.copy(TOP / "config" / "rig.toml", config)
    for stem in aircraft:
        shutil.copy(TOP / "config" / "aircraft" / f"{stem}.toml", config / "aircraft")
    return config


def folder_for(name: str, aircraft: str, simulator: str) -> Path:
    """The same with one aircraft, whose outputs are those of config/simulators/`simulator`."""
    config = folder(name, [aircraft])
    file = config / "aircraft" / f"{aircraft}.toml"
    trims, separator, _ = file.read_text().partition("[[output]]")
    assert separator
    file.write_text(trims + (TOP / "config" / "simulators" / simulator / "output.toml").read_text())
    return config


class Daemon:
    """`tallywheel run`, on which somebody turns the wheels as `recording` has it."""

    def __init__(self, program: Path, config: Path, recording: str, *arguments: str) -> None:
        work = config.parent
        (work / "recording.hid").write_text(recording)
        self.log = work / "daemon.log"
        command = [program, "run", "--no-tray", "--config", config, "--log-dir", work / "log"]
        command += ["--recording", work / "recording.hid", *arguments]
        with self.log.open("a") as log:
            self._process = subprocess.Popen(command, stdout=log, stderr=log)

    def alive(self) -> bool:
        return self._process.poll() is None

    def kill(self) -> None:
        """As a power cut would end it."""
        self._process.kill()
        self._process.wait()
