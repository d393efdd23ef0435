"""A board on a USB bus (dummy_hcd and f_hid): usbcore, usbhid, a report ID, buttons above 16, x1 and x2 quadrature.

Unplugged and plugged again twice while all wheels rest. Outside sources: evtest as reader; the kernel's button events
as second opinion; the counter documentation for x1 and x2.
"""

from lab import config, decoding, expected, readers, turning
from lab.boards import NUMBERED
from lab.checks import Checks
from lab.config import Fitted
from lab.expected import Trim
from lab.guest import Outcome
from lab.turning import Pulses, Quadrature


def fitted() -> list[Fitted]:
    """Buttons 16 and 17 lie on both sides of the kernel's jump from BTN_JOYSTICK to BTN_TRIGGER_HAPPY."""
    return [
        Fitted(Pulses("rudder", 16, 17), Trim(577, 24), "rx"),
        Fitted(Quadrature("elevator", 5, 6), Trim(577, 24), "ry", per_cycle=1),
        Fitted(Quadrature("aileron", 8, 7), Trim(360, 48), "rz", per_cycle=2),
    ]


PLANS = {"rudder": [30, -60, 20], "elevator": [41, -66, 30], "aileron": [30, -90, 10, 20]}
AXIS_CODES = {"rx": 3, "ry": 4, "rz": 5}
PARTS = 3


def recorder() -> turning.Recorder:
    """Three bouts of turning with seconds of rest between."""
    wheels = [one.wheel for one in fitted()]
    made = turning.Recorder(NUMBERED, wheels)
    for part in range(PARTS):
        for wheel in wheels:
            turning.strokes(made, wheel, seed=part, plan=PLANS[wheel.name], first_ms=100 + part * 20_000)
    return made


def bounds() -> list[int]:
    """Where each bout begins in the list of reports, and its end."""
    reports = recorder().reports()
    begins = [next(n for n, (at, _) in enumerate(reports) if at >= part * 20_000) for part in range(PARTS)]
    return [*begins, len(reports)]


SCRIPT = """\
. /run/job/functions
modules hid-generic usbhid dummy_hcd libcomposite usb_f_hid uinput evdev
mount -t configfs none /sys/kernel/config
board_start main board.hid gadget TW-2
board main plug
lab listen 127.0.0.1:47811 /run/out/datagrams &
daemon_start /run/job/config
wait_for_device "Tallywheel bench"
sleep 1
evtest /dev/input/$(node_of "Tallywheel bench") >/run/out/axis.evtest &
reader=$!
BOUTS
sleep 1
kill $reader
wait $reader
cat /proc/bus/input/devices >/run/out/devices
note_alive end
daemon_stop
echo $daemon_code >/run/out/daemon-code
exit 0
"""

BOUT = """\
evtest /dev/input/$(node_of "Bench Bench 20") >/run/out/board-PART.evtest &
board_reader=$!
sleep 1
board main play FIRST LAST
sleep 1
kill $board_reader
wait $board_reader
"""

REPLUG = """\
board main unplug
sleep 2
board main plug
sleep 2
"""


def files() -> dict[str, str]:
    """What goes into the guest."""
    at = bounds()
    bouts = []
    for part in range(PARTS):
        # A board that comes back tells where its lines stand before anything moves.
        first = at[part] - (1 if part else 0)
        bouts.append(BOUT.replace("PART", str(part)).replace("FIRST", str(first)).replace("LAST", str(at[part + 1])))
    board = 'usb = "1209:7a12"'
    return {
        "main": SCRIPT.replace("BOUTS\n", REPLUG.join(bouts)), "board.hid": recorder().text(),
        **config.files({"main": board}, fitted()),
    }  # fmt: skip


def judge(outcome: Outcome, checks: Checks) -> None:
    """All verdicts of this scene."""
    axis = readers.evtest(outcome.text("axis.evtest"))
    sent = readers.datagrams(outcome.text("datagrams"))
    boards = [readers.evtest(outcome.text(f"board-{part}.evtest")) for part in range(PARTS)]
    checks.that("no reader lost events", not any(one.dropped for one in [axis, *boards]), "SYN_DROPPED")
    recorded = recorder()
    for one in fitted():
        name = one.wheel.name
        true = true_counts(recorded, one)
        values = expected.events([one.trim.count(step) for step in true], start=0)
        checks.equal(f"{name}: every value evtest saw", axis.axis(AXIS_CODES[one.axis]), values)
        kernel = decoding.counts([packet for board in boards for packet in board.packets], one)
        checks.equal(f"{name}: the kernel's button events give the true counts", kernel, true)
        last = sent[-1]["trims"][name] if sent else {}
        checks.equal(f"{name}: tally in the last datagram", last.get("counts"), sum(true))
    checks.equal("alive at the end", outcome.text("alive").split(), ["end"])
    checks.equal("SIGTERM: exit code", outcome.text("daemon-code").strip(), "0")
    log = outcome.text("daemon.log")
    checks.equal("each unplugging is in the log", log.count("the board is gone"), PARTS - 1)
    checks.equal("each plugging is in the log", log.count("reading the board"), PARTS)


def true_counts(recorded: turning.Recorder, one: Fitted) -> list[int]:
    """From the steps that the reports were made of, by phase and never by level changes."""
    steps = [direction for _, direction in recorded.edges[one.wheel.name]]
    if isinstance(one.wheel, Pulses):
        return steps
    counts, phase = [], 0
    for step in steps:
        # Edges between phases 0-1 and 2-3 are A's; the one between 0 and 1 is where A rises forward.
        edge = phase if step > 0 else (phase - 1) % 4
        phase = (phase + step) % 4
        if edge in ((0, 2) if one.per_cycle == 2 else (0,)):
            counts.append(step)
    return counts
