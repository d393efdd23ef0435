"""The program stands still for 200 ms while a board sends 1000 reports a second.

hidraw keeps 63 reports and drops the newest without a word (drivers/hid/hidraw.c, HIDRAW_BUFFER_SIZE), so counts are
truly gone. That must be said, and the margin must hold the truth. A stall of 30 ms fits the queue: nothing is lost, so
nothing may be in doubt.
"""

from lab import config, decoding, readers, turning
from lab.boards import PLAIN
from lab.checks import Checks
from lab.config import Fitted
from lab.expected import Trim
from lab.guest import Outcome
from lab.turning import Pulses, Quadrature

REPORTS = 3000
# 200 reports came while nobody read; 63 were kept. A board that decodes by itself cannot have counted more than it
# could report. Raw lines show a wheel past one edge a report, and it may have turned as fast as a hand can, 6 turns/s of
# 2400 edges (crates/hid-reader/src/parameters.rs); and the tally goes by whole cycles of four.
MOST_DOUBT = {"rudder": 200, "elevator": 140 * (-(-6 * 2400 // 1000) + 1) + 4 + 20}


def fitted() -> list[Fitted]:
    """Fine encoders, so that a count in every report is a hand's speed."""
    return [
        Fitted(Pulses("rudder", 3, 4, pressed_ms=1), Trim(3600, 2400), "x"),
        Fitted(Quadrature("elevator", 1, 2), Trim(3600, 2400), "y"),
    ]


def recorder() -> turning.Recorder:
    """Both wheels forward all the time: an edge passes in every millisecond, and a pulse begins in every fourth."""
    rudder, elevator = (one.wheel for one in fitted())
    made = turning.Recorder(PLAIN, [rudder, elevator])
    for at_ms in range(1, REPORTS):
        made.step(elevator, at_ms, 1)
        # Half as often as this board could: faster, counts might be missing anyway.
        if at_ms % 4 == 1:
            made.step(rudder, at_ms, 1)
    return made


SCRIPT = f"""\
. /run/job/functions
modules hid-generic uhid uinput evdev
board_start main board.hid uhid TW-1
board main plug
lab listen 127.0.0.1:47811 /run/out/datagrams &
evtest /dev/input/$(node_of "Bench 32") >/run/out/board.evtest &
reader=$!
daemon_start /run/job/config
wait_for_device "Tallywheel bench"
# A board that reports steadily has spoken by now; a late first report would leave an edge in doubt.
sleep 0.1
board main play 0 1
sleep 1
(
    sleep 0.5
    kill -STOP $daemon
    sleep 0.03
    kill -CONT $daemon
    sleep 0.5
    cp /run/out/datagrams /run/out/datagrams-short
    note_log short
    kill -STOP $daemon
    sleep 0.2
    kill -CONT $daemon
) &
board main play 0 {REPORTS}
sleep 1
note_alive end
kill $reader
wait $reader
daemon_stop
exit 0
"""


def files() -> dict[str, str]:
    """What goes into the guest."""
    board = 'usb = "1209:7a11"\nreport_interval_ms = 1'
    return {"main": SCRIPT, "board.hid": recorder().text(), **config.files({"main": board}, fitted())}


def judge(outcome: Outcome, checks: Checks) -> None:
    """All verdicts of this scene."""
    short = readers.datagrams(outcome.text("datagrams-short"))
    sent = readers.datagrams(outcome.text("datagrams"))
    board = readers.evtest(outcome.text("board.evtest"))
    log = outcome.text("daemon.log")
    for one in fitted():
        name = one.wheel.name
        true = sum(direction for _, direction in recorder().edges[name])
        checks.equal(f"{name}: the kernel's input core had every report", sum(decoding.counts(board.packets, one)), true)
        # Since reports are numbered by a sample clock a burst may leave one cycle of an encoder in doubt: a known gap. It was
        # nothing while the times of reading were taken for those of sampling.
        most = 4 if name == "elevator" else 0
        margin = short[-1]["trims"][name]["margin"]
        checks.that(f"{name}: 30 ms: next to nothing in doubt", margin is not None and max(margin) <= most, f"{margin}")
        last = sent[-1]["trims"][name]
        error = true - last["counts"]
        checks.that(f"{name}: 200 ms: counts are missing", error > 20, f"{error}: the scene is too tame")
        margin = last["margin"]
        checks.that(f"{name}: 200 ms: the margin holds the truth", readers.covers(margin, error), f"{error}: {margin}")
        honest = margin is not None and max(margin) <= MOST_DOUBT[name]
        checks.that(f"{name}: 200 ms: the margin is no wider than what may be missing", honest, f"{margin}")
        lines = [line for line in log.splitlines() if "reader-stalled" in line and name in line]
        checks.equal(f"{name}: 200 ms: one line in the log", len(lines), 1)
        checks.that(f"{name}: it is inferred, not observed", all("inferred" in line for line in lines), f"{lines}")
    checks.that("30 ms: nothing in the log", "reader-stalled" not in outcome.text("log-short"), "a false alarm")
    checks.equal("alive at the end", outcome.text("alive").split(), ["end"])
