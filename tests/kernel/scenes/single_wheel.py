"""One wheel only, and a board that says nothing before the wheel is turned.

SDL takes a device for a joystick only with two axes and a trigger, so one wheel alone is the hard case. And a board
that reports only changes sends its first report with the first press: the kernel counts that press, and so must we, or
the margin must hold it. Outside sources: SDL; the kernel's button events.
"""

from lab import config, decoding, expected, readers, turning
from lab.boards import PLAIN
from lab.checks import Checks
from lab.config import Fitted
from lab.expected import Trim
from lab.guest import Outcome
from lab.turning import Pulses
from scenes.uhid_board import DEVICE, sdl_value

WHEEL = Pulses("rudder", 3, 4)
STEPS = [1] * 20 + [-1] * 5


def fitted() -> list[Fitted]:
    """One wheel."""
    return [Fitted(WHEEL, Trim(580, 96), "x")]


def recorder() -> turning.Recorder:
    """Twenty forward, five back."""
    made = turning.Recorder(PLAIN, [WHEEL])
    for place, step in enumerate(STEPS):
        made.step(WHEEL, 10 + place * 20, step)
    return made


SCRIPT = f"""\
. /run/job/functions
modules hid-generic uhid uinput evdev joydev
board_start main board.hid uhid TW-1
board main plug
lab listen 127.0.0.1:47811 /run/out/datagrams &
daemon_start /run/job/config
wait_for_device "{DEVICE}"
sleep 1
sdl-axes >/run/out/sdl-before 2>&1
evtest /dev/input/$(node_of "Bench 32") >/run/out/board.evtest &
reader=$!
sleep 0.5
# Not from 0: the report of the board at rest is left out.
board main play 1 {len(recorder().reports())}
sleep 1
sdl-axes >/run/out/sdl-after 2>&1
kill $reader
wait $reader
daemon_stop
exit 0
"""


def files() -> dict[str, str]:
    """What goes into the guest."""
    return {"main": SCRIPT, "board.hid": recorder().text(), **config.files({"main": 'usb = "1209:7a11"'}, fitted())}


def judge(outcome: Outcome, checks: Checks) -> None:
    """All verdicts of this scene."""
    one = fitted()[0]
    version, before = readers.sdl(outcome.text("sdl-before"))
    _, after = readers.sdl(outcome.text("sdl-after"))
    checks.that(f"{version} sees a joystick for one wheel", DEVICE in before, f"it sees {sorted(before)}")
    board = readers.evtest(outcome.text("board.evtest"))
    kernel = decoding.counts(board.packets, one)
    checks.equal("the kernel's button events give the true counts", kernel, STEPS)
    sent = readers.datagrams(outcome.text("datagrams"))
    last = sent[-1]["trims"]["rudder"]
    error = sum(STEPS) - last["counts"]
    checks.that("the margin holds the truth from the first press on", readers.covers(last["margin"], error), f"{error} missing: {last}")
    values = expected.events([one.trim.count(step) for step in [last["counts"]]], start=0)
    if DEVICE in before and DEVICE in after:
        checks.equal("SDL before", before[DEVICE].axes[0], 0)
        checks.equal("SDL after", after[DEVICE].axes[0], sdl_value(values[-1], -32767, 32767))
