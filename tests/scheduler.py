"""Runs tasks that need one another side by side, so that every core is busy, and keeps what each of them says.

A task starts once all that it needs has passed, once nobody holds its locks, and while the tasks that run weigh less
than the machine bears. Among those that could start, the one that was declared first does. What a task says is kept
and printed whole when it has ended, so that the output of two never mixes.
"""

import os
import shutil
import signal
import subprocess
import time
from dataclasses import dataclass, field
from pathlib import Path

# How often the scheduler looks whether a task has ended, and how often it says what still runs, in seconds.
LOOK_S, SAY_S = 0.2, 60


@dataclass
class Task:
    """One command: a stage, which is counted, or a preparation, which only stages need."""

    name: str
    command: list[str]
    # Roughly what it takes on two idle cores, in seconds of wall time.
    seconds: int
    needs: tuple[str, ...] = ()
    # Only one task at a time holds a lock. A target folder of cargo's has one, as cargo would only wait there.
    locks: tuple[str, ...] = ()
    # Cores that it keeps busy.
    weight: float = 1.0
    # Folders below the top that it reads or writes; see `keep`.
    uses: tuple[str, ...] = ()
    environment: dict[str, str] = field(default_factory=dict)
    stage: bool = True
    verdict: str = ""
    took: float = 0.0
    processor: float = 0.0


class Scheduler:
    """Runs tasks in a folder; `keep` says that a folder which no later task uses may stay."""

    def __init__(self, top: Path, tasks: list[Task], capacity: float, keep: bool) -> None:
        self.top, self.tasks, self.capacity, self.keep = top, tasks, capacity, keep
        self.by_name = {task.name: task for task in tasks}
        self.logs = top / "target" / "tests"
        self.begun = time.monotonic()
        self.running: dict[int, tuple[Task, subprocess.Popen, float]] = {}

    def say(self, words: str) -> None:
        """One line with the time since the start."""
        print(f"[{time.monotonic() - self.begun:5.0f} s] {words}", flush=True)

    def run(self) -> bool:
        """Runs all of it and prints the table; whether every task has passed."""
        self.logs.mkdir(parents=True, exist_ok=True)
        said = time.monotonic()
        try:
            while self.running or any(not task.verdict for task in self.tasks):
                self._give_up()
                while (task := self._next()) is not None:
                    self._start(task)
                if not self._ended():
                    time.sleep(LOOK_S)
                if time.monotonic() - said >= SAY_S:
                    said = time.monotonic()
                    still = [f"{task.name} ({said - since:.0f} s)" for task, _, since in self.running.values()]
                    self.say(f"running: {', '.join(still)}")
        finally:
            for _, process, _ in self.running.values():
                os.killpg(process.pid, signal.SIGTERM)
        return self._table()

    def _give_up(self) -> None:
        """A task whose needs have failed fails too: nothing is skipped."""
        for task in self.tasks:
            lost = [need for need in task.needs if self.by_name[need].verdict == "FAILED"]
            if not task.verdict and lost:
                task.verdict = "FAILED"
                print(f"\n== {task.name}\nnot run, because it needs {', '.join(lost)}, which failed\n", flush=True)

    def _next(self) -> Task | None:
        held = {lock for task, _, _ in self.running.values() for lock in task.locks}
        weight = sum(task.weight for task, _, _ in self.running.values())
        for task in self.tasks:
            waits = task.verdict or any(self.by_name[need].verdict != "ok" for need in task.needs)
            if not waits and not held & set(task.locks) and (not self.running or weight + task.weight <= self.capacity):
                return task
            # Whoever comes later must not keep an earlier one from a lock that it waits for.
            if not waits:
                held |= set(task.locks)
        return None

    def _start(self, task: Task) -> None:
        task.verdict = "running"
        with (self.logs / f"{task.name}.log").open("wb") as log:
            process = subprocess.Popen(
                task.command, cwd=self.top, env=dict(os.environ, **task.environment), stdin=subprocess.DEVNULL, stdout=log,
                stderr=subprocess.STDOUT, start_new_session=True,
            )  # fmt: skip
        self.running[process.pid] = (task, process, time.monotonic())
        self.say(f"begins: {task.name}, about {task.seconds} s")

    def _ended(self) -> bool:
        """Takes leave of one task that has ended, if there is one."""
        for pid, (task, process, since) in list(self.running.items()):
            ended, status, used = os.wait4(pid, os.WNOHANG)
            if not ended:
                continue
            process.returncode = os.waitstatus_to_exitcode(status)
            del self.running[pid]
            task.verdict = "ok" if process.returncode == 0 else "FAILED"
            task.took, task.processor = time.monotonic() - since, used.ru_utime + used.ru_stime
            print(f"\n== {task.name}", flush=True)
            print((self.logs / f"{task.name}.log").read_text(errors="replace").rstrip("\n"), flush=True)
            self.say(f"{task.verdict}: {task.name}, {task.took:.0f} s\n")
            self._leave(task)
            return True
        return False

    def _leave(self, done: Task) -> None:
        """Deletes what this task has used and no task to come does."""
        if self.keep:
            return
        ahead = {folder for task in self.tasks if task.verdict in ("", "running") for folder in task.uses}
        for folder in set(done.uses) - ahead:
            shutil.rmtree(self.top / folder, ignore_errors=True)
            self.say(f"{folder} is used no more and gone")
        self.say(f"{shutil.disk_usage(self.top).free >> 20} MiB of disk left")

    def _table(self) -> bool:
        print(f"\n== stages\n{'':22} {'':7} {'wall s':>7} {'processor s':>12}")
        for task in self.tasks:
            name = task.name if task.stage else f"({task.name})"
            print(f"{name:22} {task.verdict:7} {task.took:7.0f} {task.processor:12.0f}")
        wall, processor = time.monotonic() - self.begun, sum(task.processor for task in self.tasks)
        print(f"{'all':22} {'':7} {wall:7.0f} {processor:12.0f}")
        passed, failed = (sum(task.verdict == word for task in self.tasks if task.stage) for word in ("ok", "FAILED"))
        print(f"{passed} passed, {failed} failed", flush=True)
        return failed == 0 and passed > 0
