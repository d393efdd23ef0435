"""What is not there or not allowed: no board, no right to read it, no uinput, no right to write it.

Run as a user without rights. Each trouble must be said with its cure, must not end the program and must be over as soon
as its cause is, without a restart: the kernel tells by inotify. While a board is missing or refused nothing wakes up;
an output that is down is tried again after 1, 2, 4 ... 60 s, as a module that is loaded later makes no new node.
Outside sources: /proc for wake-ups, evtest as reader.
"""

from lab import config, expected, readers, turning
from lab.boards import PLAIN
from lab.checks import Checks
from lab.config import Fitted
from lab.expected import Trim
from lab.guest import Outcome
from lab.turning import Pulses

WHEEL = Pulses("rudder", 3, 4)
STEPS = 12
# In 10 s there are at most three attempts on an output that is down: the dock's thread wakes and, if the attempt is
# worth a line in the log, the thread that writes it, twice.
MOST_SWITCHES_OUTPUT_DOWN = 9
# In guest seconds, which do not depend on the machine; the next attempt by the clock is more than 10 s away.
LONGEST_RECOVERY_S = 1.0


def fitted() -> list[Fitted]:
    """One wheel."""
    return [Fitted(WHEEL, Trim(580, 96), "x")]


def recorder() -> turning.Recorder:
    """Forward all the time, in four parts."""
    made = turning.Recorder(PLAIN, [WHEEL])
    for step in range(4 * STEPS):
        made.step(WHEEL, 10 + step * 20, 1)
    return made


def part(number: int) -> str:
    """Reports of one part, for `play`."""
    return f"{1 + number * STEPS * 2} {1 + (number + 1) * STEPS * 2}"


SCRIPT = f"""\
. /run/job/functions
modules hid-generic uhid uinput evdev
chmod 666 /dev/input/* 2>/dev/null
chmod 777 /run/job/config
# A user may read boards and axes here only where the scene says so.
rm /dev/uinput
board_start main board.hid uhid TW-1
lab listen 127.0.0.1:47811 /run/out/datagrams &
daemon_start /run/job/config lab as-user 1000
sleep 3
note_alive no-board-no-uinput
note_log no-board-no-uinput
rest no-board-no-uinput 10

board main plug
sleep 3
note_alive no-right-to-read
note_log no-right-to-read
rest no-right-to-read 10
lab as-user 1000 tallywheel boards --json >/run/out/boards-refused.json 2>/run/out/boards-refused.err

chmod 666 /dev/$board_answer
sleep 3
note_log readable
board main play 0 1
board main play {part(0)}
sleep 1
cp /run/out/datagrams /run/out/datagrams-readable
note_alive readable
rest readable-no-uinput 10

mknod /dev/uinput c 10 223
chmod 600 /dev/uinput
sleep 3
note_alive no-right-to-write
note_log no-right-to-write
rest no-right-to-write 10

cut -d' ' -f1 /proc/uptime >/run/out/cured-at
chmod 666 /dev/uinput
wait_for_device "Tallywheel bench"
cut -d' ' -f1 /proc/uptime >/run/out/well-at
sleep 3
note_log writable
evtest /dev/input/$(node_of "Tallywheel bench") >/run/out/axis.evtest &
reader=$!
sleep 0.5
board main play {part(1)}
sleep 0.5

# The device node goes while it is being read, and comes back without the right to read it, then with it.
board main unplug
sleep 2
note_alive gone
note_log gone
rest gone 10
board main plug
sleep 0.2
chmod 666 /dev/$board_answer
sleep 2
note_log back
board main play 0 1
board main play {part(2)}
sleep 1
lab as-user 1000 tallywheel boards --json >/run/out/boards-ready.json 2>/run/out/boards-ready.err
kill $reader
wait $reader
note_alive end
daemon_stop
echo $daemon_code >/run/out/daemon-code
exit 0
"""


def files() -> dict[str, str]:
    """What goes into the guest."""
    return {"main": SCRIPT, "board.hid": recorder().text(), **config.files({"main": 'usb = "1209:7a11"'}, fitted())}


# Points of the scene at which the daemon is looked at.
STATES = ["no-board-no-uinput", "no-right-to-read", "readable", "no-right-to-write", "gone", "end"]


def judge(outcome: Outcome, checks: Checks) -> None:
    """All verdicts of this scene."""
    checks.equal("alive all the time", outcome.text("alive").split(), STATES)
    log = {name: outcome.text(f"log-{name}") for name in [*STATES[:5], "writable", "back"]}
    said = _Said(log, checks)
    said.first("no board", "no-board-no-uinput", None, ["WARN", "main", "not plugged in"])
    said.first("no uinput", "no-board-no-uinput", None, ["ERROR", "modprobe uinput"])
    said.first("no right to read", "no-right-to-read", "no-board-no-uinput", ["ERROR", "ermission denied", "60-tallywheel.rules"])
    said.first("readable", "readable", "no-right-to-read", ["INFO", "reading the board"])
    said.first("no right to write", "no-right-to-write", "readable", ["ERROR", "may not open /dev/uinput", "60-tallywheel.rules"])
    said.first("writable", "writable", "no-right-to-write", ["INFO", "open again"])
    said.first("gone", "gone", "writable", ["WARN", "the board is gone"])
    said.first("back", "back", "gone", ["INFO", "reading the board"])
    checks.equal("gone: context switches in 10 s", readers.switches_at_rest(outcome, "gone"), 0)
    for name in ["no-board-no-uinput", "no-right-to-read", "readable-no-uinput", "no-right-to-write"]:
        made = readers.switches_at_rest(outcome, name)
        few = made <= MOST_SWITCHES_OUTPUT_DOWN
        checks.that(f"{name}: few context switches in 10 s, as an output is down", few, f"{made}")
    took = float(outcome.text("well-at")) - float(outcome.text("cured-at"))
    checks.that("the joystick is there as soon as it may be", took < LONGEST_RECOVERY_S, f"after {took:.2f} s")
    refused, ready = outcome.text("boards-refused.json"), outcome.text("boards-ready.json")
    checks.that("boards --json tells who may not read it and the cure", "60-tallywheel.rules" in refused, refused)
    checks.that("boards --json tells that it may be read", "Bench 32" in ready and "60-tallywheel" not in ready, ready)
    trim = fitted()[0].trim
    values = [trim.count(1) for _ in range(3 * STEPS)]
    sent = readers.datagrams(outcome.text("datagrams-readable"))
    last = sent[-1]["trims"]["rudder"] if sent else {}
    checks.equal("one output failing does not stop the other", last.get("axis"), values[STEPS - 1])
    axis = readers.evtest(outcome.text("axis.evtest"))
    start = axis.ranges().get(0, {}).get("Value")
    checks.equal("the new joystick starts where the trim is", start, values[STEPS - 1])
    wanted = expected.events(values[STEPS:], start=values[STEPS - 1])
    checks.equal("every value evtest saw from then on", axis.axis(0), wanted)
    checks.equal("SIGTERM: exit code", outcome.text("daemon-code").strip(), "0")


class _Said:
    """Looks for lines that are new in the log between two points of the scene."""

    def __init__(self, log: dict[str, str], checks: Checks) -> None:
        self._log, self._checks = log, checks

    def first(self, what: str, at: str, before: str | None, words: list[str]) -> None:
        """Some line that is new since `before` holds all words; and no line is repeated on and on."""
        new = self._log[at].splitlines()[len(self._log[before].splitlines()) if before else 0 :]
        hits = [line for line in new if all(word in line for word in words)]
        self._checks.that(f"{what}: said with its cure", len(hits) >= 1, f"new lines: {new}")
        self._checks.that(f"{what}: said once", len(hits) <= 1, f"{hits}")
