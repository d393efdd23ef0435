"""Two boards of the same make, told apart by serial: unplugged together and plugged again in the other order.

And a program started while its boards are away. Outside source: the kernel gives hidraw numbers by order of plugging.
"""

from lab import config, readers, turning
from lab.boards import PLAIN
from lab.checks import Checks
from lab.config import Fitted
from lab.expected import Trim
from lab.guest import Outcome
from lab.turning import Pulses

LEFT, RIGHT = Pulses("rudder", 3, 4), Pulses("elevator", 3, 4)
STEPS = {"rudder": 11, "elevator": 23}


def fitted() -> list[Fitted]:
    """The same two buttons on both boards."""
    return [
        Fitted(LEFT, Trim(3600, 96), "x", board="left"),
        Fitted(RIGHT, Trim(3600, 96), "y", board="right"),
    ]


def recorder(wheel: Pulses) -> turning.Recorder:
    """One wheel forward."""
    made = turning.Recorder(PLAIN, [wheel])
    for step in range(STEPS[wheel.name]):
        made.step(wheel, 10 + step * 20, 1)
    return made


SCRIPT = f"""\
. /run/job/functions
modules hid-generic uhid uinput evdev
lab listen 127.0.0.1:47811 /run/out/datagrams &
board_start left left.hid uhid TW-L
board_start right right.hid uhid TW-R
daemon_start /run/job/config
sleep 2
for order in "left right" "right left" "left right"; do
    for one in $order; do
        board $one plug
        echo $one $board_answer >>/run/out/nodes
        sleep 0.3
    done
    sleep 1
    board left play 0 {len(recorder(LEFT).reports())}
    board right play 0 {len(recorder(RIGHT).reports())}
    sleep 0.5
    for one in $order; do board $one unplug; done
    sleep 1
done
note_alive end
daemon_stop
exit 0
"""


def files() -> dict[str, str]:
    """What goes into the guest."""
    boards = {name: f'usb = "1209:7a11"\nserial = "{serial}"' for name, serial in [("left", "TW-L"), ("right", "TW-R")]}
    return {
        "main": SCRIPT, "left.hid": recorder(LEFT).text(), "right.hid": recorder(RIGHT).text(),
        **config.files(boards, fitted()),
    }  # fmt: skip


def judge(outcome: Outcome, checks: Checks) -> None:
    """All verdicts of this scene."""
    nodes = [line.split()[1] for line in outcome.text("nodes").splitlines()]
    checks.that("the kernel did swap the nodes", len(set(nodes)) == 2 and nodes[0] == nodes[2], f"{nodes}")
    sent = readers.datagrams(outcome.text("datagrams"))
    for one in fitted():
        name = one.wheel.name
        got = sent[-1]["trims"][name]["counts"] if sent else None
        checks.equal(f"{name}: three rounds of its own board only", got, 3 * STEPS[name])
    checks.equal("alive at the end", outcome.text("alive").split(), ["end"])
