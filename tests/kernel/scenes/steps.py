"""A simulator without a trim axis: the presses that an independent reader sees add up to the position.

The wheel is turned there and back, to its stops and past them, faster than buttons can be pressed. Outside sources:
evtest as reader of the virtual buttons; the position in exact fractions (lab/expected.py); the board's own button
events as the kernel gives them.
"""

from fractions import Fraction

from lab import config, decoding, expected, readers, turning
from lab.boards import PLAIN, kernel_code
from lab.checks import Checks
from lab.config import Fitted
from lab.expected import Trim
from lab.guest import Outcome
from lab.turning import Pulses

DEVICE = "Tindlow trim buttons"
EV_KEY = 1
PRESSES = {"rudder": 251, "elevator": 160}
PRESS_MS, PAUSE_MS, EXTRA = 20, 15, 4
LOW, HIGH = {"rudder": 1, "elevator": 4}, {"rudder": 2, "elevator": 18}


def fitted() -> list[Fitted]:
    """154 2/3 counts of travel and 251 presses, 106 2/3 and 160: nothing divides evenly, and turning is faster."""
    return [
        Fitted(Pulses("rudder", 3, 4), Trim(580, 96, neutral=319), "x"),
        Fitted(Pulses("elevator", 5, 6), Trim(400, 96), "y"),
    ]


# Parts between which the presses may catch up.
PLANS = {
    "rudder": [[20, -35], [100, 30], [-7, 3], [-190, -12, 90, 90], [-41, -17, 5, -5]],
    "elevator": [[13, -5], [9, 3, -90, 4], [-9], [130, -31, 42, -29], [33]],
}
REST_MS = 20_000


def recorder() -> turning.Recorder:
    """Both wheels, with rests of the hand in between."""
    made = turning.Recorder(PLAIN, [one.wheel for one in fitted()])
    for one in fitted():
        for place, plan in enumerate(PLANS[one.wheel.name]):
            turning.strokes(made, one.wheel, seed=4 + place, plan=plan, first_ms=100 + place * REST_MS)
    return made


SCRIPT = f"""\
. /run/job/functions
modules hid-generic uhid uinput evdev
board_start main board.hid uhid TW-1
board main plug
evtest /dev/input/$(node_of "Bench 32") >/run/out/board.evtest &
reader1=$!
daemon_start /run/job/config
wait_for_device "{DEVICE} 2"
sleep 0.1
board main play 0 1
evtest /dev/input/$(node_of "{DEVICE}") >/run/out/rudder.evtest &
reader2=$!
evtest /dev/input/$(node_of "{DEVICE} 2") >/run/out/elevator.evtest &
reader3=$!
sleep 2
board main play 0 REPORTS
sleep 20
rest idle 10
note_alive end
kill $reader1 $reader2 $reader3
wait $reader1 $reader2 $reader3
daemon_stop
echo $daemon_code >/run/out/daemon-code
sleep 0.2
echo "left: $(node_of "{DEVICE}")" >/run/out/left
exit 0
"""


def _output(name: str) -> str:
    return f"""\
[[output]]
kind = "steps"
device = "{DEVICE}"
presses = {PRESSES[name]}
low_buttons = {{ {name} = {LOW[name]} }}
high_buttons = {{ {name} = {HIGH[name]} }}
press_ms = {PRESS_MS}
pause_ms = {PAUSE_MS}
extra_presses = {EXTRA}
"""


def files() -> dict[str, str]:
    """What goes into the guest: the rudder's presses are on one joystick, the elevator's on another."""
    made = recorder()
    board = 'usb = "1209:7a11"\nserial = "TW-1"\nreport_interval_ms = 1'
    shared = config.files({"main": board}, fitted(), axis=False, datagram=False)
    shared["config/aircraft/kettrin.toml"] += _output("rudder") + _output("elevator").replace(DEVICE, f"{DEVICE} 2")
    return {"main": SCRIPT.replace("REPORTS", str(len(made.reports()))), "board.hid": made.text(), **shared}


def nearest(axis: int, presses: int) -> int:
    """The step nearest to the axis in exact fractions, halves away from neutral; at neutral itself upward."""
    exact = Fraction(axis + 32767, 65534) * presses
    low = exact.numerator // exact.denominator
    rest = exact - low
    return low + (rest > Fraction(1, 2) or (rest == Fraction(1, 2) and axis >= 0))


def presses(text: str, low: int, high: int) -> list[tuple[float, int, int]]:
    """(seconds, direction, 1 pressed or 0 released) of each event, with evtest's own times."""
    found = []
    for line in text.splitlines():
        if line.startswith("Event: time") and "type 1 " in line:
            seconds = float(line.split("time ")[1].split(",")[0])
            code = int(line.split("code ")[1].split()[0])
            direction = {kernel_code(low): -1, kernel_code(high): 1}[code]
            found.append((seconds, direction, int(line.rsplit(" ", 1)[1])))
    return found


def parts(text: str) -> list[tuple[float, float]]:
    """(first, last) second of each part of the turning, from the board's button events: between them the hand rests."""
    times = sorted(float(line.split("time ")[1].split(",")[0]) for line in text.splitlines() if "type 1 " in line
                   and line.startswith("Event: time"))  # fmt: skip
    found = [[times[0], times[0]]]
    for at in times:
        if at - found[-1][1] > REST_MS / 4000:
            found.append([at, at])
        found[-1][1] = at
    return [(first, last) for first, last in found]


def judge(outcome: Outcome, checks: Checks) -> None:
    """All verdicts of this scene."""
    recorded = recorder()
    board = readers.evtest(outcome.text("board.evtest"))
    turned = parts(outcome.text("board.evtest"))
    checks.equal("the hand rested between the parts", len(turned), len(PLANS["rudder"]))
    for one in fitted():
        name = one.wheel.name
        text = outcome.text(f"{name}.evtest")
        checks.that(f"{name}: no reader lost events", not readers.evtest(text).dropped and not board.dropped, "SYN_DROPPED")
        checks.equal(
            f"{name}: the kernel's button events give the true counts",
            decoding.counts(board.packets, one), [direction for _, direction in recorded.edges[name]],
        )  # fmt: skip
        _judge_presses(name, one.trim, recorded, turned, presses(text, LOW[name], HIGH[name]), checks)
    checks.equal("10 s at rest: context switches", readers.switches_at_rest(outcome, "idle"), 0)
    checks.equal("alive at the end", outcome.text("alive").split(), ["end"])
    checks.equal("SIGTERM: exit code", outcome.text("daemon-code").strip(), "0")
    checks.equal("SIGTERM: the joystick is gone", outcome.text("left").strip(), "left:")


def _judge_presses(
    name: str,
    trim: Trim,
    recorded: turning.Recorder,
    turned: list[tuple[float, float]],
    events: list[tuple[float, int, int]],
    checks: Checks,
) -> None:
    checks.equal(f"{name}: one button at a time, pressed and released", [value for _, _, value in events], [1, 0] * (len(events) // 2))
    down, up = events[::2], events[1::2]
    checks.equal(f"{name}: what is released is what was pressed", [one[1] for one in down], [one[1] for one in up])
    held = [late[0] - early[0] for early, late in zip(down, up)]
    pauses = [late[0] - early[0] for early, late in zip(up, down[1:])]
    # The event's time is taken a little after the daemon's own.
    checks.that(f"{name}: held for {PRESS_MS} ms", held and min(held) > PRESS_MS / 1000 - 0.0005, f"{min(held, default=0)}")
    checks.that(f"{name}: and never long enough to repeat", held and max(held) < 0.1, f"{max(held, default=0)}")
    checks.that(f"{name}: {PAUSE_MS} ms of pause", pauses and min(pauses) > PAUSE_MS / 1000 - 0.0005, f"{min(pauses, default=0)}")
    last = PRESSES[name]
    begin = step = nearest(trim.axis(), last)
    stops, late, reversals = 0, 0, 0
    for place, (first, ended) in enumerate(turned):
        arrivals, at_stop = 0, abs(trim.axis()) == expected.END
        for at_ms, direction in recorded.edges[name]:
            if at_ms // REST_MS == place:
                axis = trim.count(direction)
                arrivals += abs(axis) == expected.END and not at_stop
                at_stop = abs(axis) == expected.END
        begins = turned[place + 1][0] if place + 1 < len(turned) else float("inf")
        made = [(at, direction) for at, direction, _ in down if first <= at < begins]
        for _, direction in made:
            # The simulator's own end swallows what goes past it.
            step = min(max(step + direction, 0), last)
        wanted = nearest(trim.axis(), last)
        checks.equal(f"{name}: presses net to the position after part {place}", step, wanted)
        if not arrivals:
            checks.equal(f"{name}: exactly, without a stop, in part {place}", sum(d for _, d in made), wanted - begin)
        elif at_stop:
            side = 1 if trim.axis() > 0 else -1
            tail = [direction for _, direction in made[-EXTRA:]]
            checks.equal(f"{name}: {EXTRA} extra presses at the stop in part {place}", tail, [side] * EXTRA)
        begin = wanted
        stops += arrivals
        late += sum(at > ended for at, _ in made)
        reversals += sum(early != after for (_, early), (_, after) in zip(made, made[1:]))
    checks.that(f"{name}: there was something to catch up with", late > 20, f"{late} presses after the turning")
    checks.that(f"{name}: stops were reached and directions changed", stops > 2 and reversals > 2, f"{stops}, {reversals}")
