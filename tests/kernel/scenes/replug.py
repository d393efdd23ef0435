"""A hundred and sixty times unplugged and plugged again in the middle of a turn, every second time in the middle of a pulse.

Every report had been read before the cable went, so nothing may be missing and nothing counted twice. Afterwards ten
more times with reports still waiting in the kernel's queue: those are gone, so the margin must say so. What the daemon
holds (descriptors, threads, memory: /proc) must not grow. Outside source: evtest as reader.
"""

from lab import config, expected, readers, turning
from lab.boards import PLAIN
from lab.checks import Checks
from lab.config import Fitted
from lab.expected import Trim
from lab.guest import Outcome
from lab.turning import Pulses

CYCLES = 160
COUNTS_A_CYCLE = 7
QUEUED_CYCLES = 10
# Each unplugging is a loss, and the daemon keeps the last hundred losses to show them.
WARM_CYCLES = 110
# What an allocator may keep more of; a leaked thread alone would be 8 KiB and a descriptor, fifty of them far more.
MOST_GROWTH_KIB = 32
WHEEL = Pulses("rudder", 3, 4)


def fitted() -> list[Fitted]:
    """Enough travel for all of it."""
    return [Fitted(WHEEL, Trim(1200, 96), "x")]


def recorder() -> turning.Recorder:
    """A wheel that goes up and down by turns, one direction a cycle."""
    made = turning.Recorder(PLAIN, [WHEEL])
    for cycle in range(CYCLES + QUEUED_CYCLES):
        for step in range(COUNTS_A_CYCLE):
            direction = 1 if cycle % 3 else -1
            made.step(WHEEL, 10 + (cycle * COUNTS_A_CYCLE + step) * 10, direction)
    return made


def parts() -> list[tuple[int, int]]:
    """Reports of each cycle; every second one ends with the button held."""
    first, made = 1, []
    for cycle in range(CYCLES + QUEUED_CYCLES):
        # Report 0 is the board at rest; then press and release by turns.
        last = 1 + (cycle + 1) * COUNTS_A_CYCLE * 2 - (1 if cycle % 2 else 0)
        made.append((first, last))
        first = last
    return made


CYCLE = """\
board main plug
sleep 0.5
board main play 0 1
board main play FIRST LAST
sleep 0.1
board main unplug
sleep 0.2
"""

# Stopped, the daemon reads nothing; then the cable takes away what waits.
QUEUED = """\
board main plug
sleep 0.5
board main play 0 1
sleep 0.1
kill -STOP $daemon
board main play FIRST LAST
board main unplug
kill -CONT $daemon
sleep 0.2
"""

SCRIPT = """\
. /run/job/functions
modules hid-generic uhid uinput evdev
board_start main board.hid uhid TW-1
lab listen 127.0.0.1:47811 /run/out/datagrams &
daemon_start /run/job/config
wait_for_device "Tallywheel bench"
sleep 1
evtest /dev/input/$(node_of "Tallywheel bench") >/run/out/axis.evtest &
reader=$!
sleep 0.5
"""

END = """\
note_alive end
kill $reader
wait $reader
daemon_stop
echo $daemon_code >/run/out/daemon-code
exit 0
"""


def files() -> dict[str, str]:
    """What goes into the guest."""
    script = SCRIPT
    for cycle, (first, last) in enumerate(parts()):
        if cycle == CYCLES:
            script += "sleep 1\nholdings >/run/out/holdings-after\ncp /run/out/datagrams /run/out/datagrams-plain\n"
        block = CYCLE if cycle < CYCLES else QUEUED
        script += block.replace("FIRST", str(first)).replace("LAST", str(last))
        if cycle == WARM_CYCLES - 1:
            script += "sleep 1\nholdings >/run/out/holdings-before\n"
    board = 'usb = "1209:7a11"'
    return {"main": script + END, "board.hid": recorder().text(), **config.files({"main": board}, fitted())}


def judge(outcome: Outcome, checks: Checks) -> None:
    """All verdicts of this scene."""
    trim = fitted()[0].trim
    steps = [direction for _, direction in recorder().edges["rudder"]]
    plain = steps[: CYCLES * COUNTS_A_CYCLE]
    values = expected.events([trim.count(step) for step in plain], start=0)
    axis = readers.evtest(outcome.text("axis.evtest"))
    checks.equal(f"{CYCLES} times replugged: every value evtest saw", axis.axis(0)[: len(values)], values)
    sent = readers.datagrams(outcome.text("datagrams-plain"))
    checks.equal("the tally is the truth", sent[-1]["trims"]["rudder"]["counts"] if sent else None, sum(plain))
    log = outcome.text("daemon.log")
    checks.equal("each unplugging is in the log", log.count("the board is gone"), CYCLES + QUEUED_CYCLES)
    checks.equal("each is a loss", log.count("board-gone"), CYCLES + QUEUED_CYCLES)
    last = readers.datagrams(outcome.text("datagrams"))[-1]["trims"]["rudder"]
    error = sum(steps) - last["counts"]
    checks.that("reports that went with the cable are missing", error != 0, "nothing was lost: the scene is too tame")
    checks.that("the margin covers what is missing", readers.covers(last["margin"], error), f"{error}: {last}")
    before, after = (readers.holdings(outcome.text(f"holdings-{when}")) for when in ("before", "after"))
    checks.equal("open descriptors did not grow", after["fds"], before["fds"])
    checks.equal("threads did not grow", after["threads"], before["threads"])
    growth = after["memory"] - before["memory"]
    checks.that("memory did not grow", growth <= MOST_GROWTH_KIB, f"{growth} KiB more")
    checks.equal("alive at the end", outcome.text("alive").split(), ["end"])
    checks.equal("SIGTERM: exit code", outcome.text("daemon-code").strip(), "0")
