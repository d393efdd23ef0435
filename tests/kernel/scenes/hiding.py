"""Hidden wheels: what other programs see of a board is its twin, which has all but the wheels.

The same recording is played twice, once with the board in the open and once hidden; what evtest and jstest see of the
twin must be what they saw of the board, the wheels' buttons left out. A joystick with buttons past the 16th, axes and a
hat, and a gamepad. Then unplugging, a daemon that was stopped while the board went on, a rig file that changes, a daemon
that is killed, and one that starts while a switch is on. Outside sources: evtest and jstest as readers; the kernel gives the codes.
"""

import random
import re
from dataclasses import replace

from lab import config, decoding, readers, turning
from lab.boards import PAD, STICK, Board, Controls, kernel_code
from lab.checks import Checks
from lab.config import Fitted
from lab.expected import Trim
from lab.guest import Outcome
from lab.turning import PHASES, Pulses, Quadrature

TWINS = {"stick": "Bench stick without its wheels", "pad": "Bench pad without its wheels"}
BOARDS = {"stick": STICK, "pad": PAD}
FIRST_CODE = {"stick": 0x120, "pad": 0x130}
# Rudder and elevator; the aileron.
HIDDEN = {"stick": [3, 4, 17, 18], "pad": [1, 2]}
FREE = {"stick": [1, 2, 5, 7, 16, 19, 23], "pad": [3, 7, 15, 16, 17, 20]}
# A switch that somebody has left on.
SWITCH = {"stick": 7, "pad": 17}
TICKS = 400
TICK_MS = 10
EV_SYN, EV_KEY, EV_ABS, EV_MSC, MSC_SCAN = 0, 1, 3, 4, 4


def fitted() -> list[Fitted]:
    """Two wheels on the joystick, one of them on buttons past the 16th, and one on the gamepad."""
    return [
        Fitted(Pulses("rudder", 3, 4), Trim(3600, 96), "x", board="stick"),
        Fitted(Quadrature("elevator", 17, 18), Trim(3600, 96), "y", board="stick"),
        Fitted(Pulses("aileron", 1, 2), Trim(3600, 96), "z", board="pad"),
    ]


def states(board: str) -> list[Controls]:
    """What the board shows, tick by tick: all of it moves at once, from rest to rest."""
    draw = random.Random(f"hiding {board}")
    wheels = {one.wheel.name: one.wheel for one in fitted() if one.board == board}
    shown, phase, pulsed = Controls(), 0, None
    direction, resting = 1, 0
    made = [shown]
    for tick in range(TICKS):
        pressed = set(shown.pressed)
        if pulsed is None:
            wheel = wheels["rudder" if board == "stick" else "aileron"]
            pulsed = wheel.forward if draw.random() < 0.7 else wheel.backward
            pressed.add(pulsed)
        else:
            pressed.discard(pulsed)
            pulsed = None
        # A hand does not turn round from one report to the next: it rests first.
        if resting:
            resting -= 1
        elif draw.random() < 0.05:
            direction, resting = draw.choice([1, 1, -1]), 12
        elif "elevator" in wheels and tick % 2:
            phase += direction
            for button, level in zip((wheels["elevator"].a, wheels["elevator"].b), PHASES[phase % 4]):
                (pressed.add if level else pressed.discard)(button)
        if tick == 100 and board == "stick":
            pressed.add(24)
        if tick == 103:
            pressed.discard(24)
        if draw.random() < 0.3:
            pressed ^= {draw.choice(FREE[board])}
        changes = {"pressed": frozenset(pressed)}
        if draw.random() < 0.3:
            changes["x"] = draw.randrange(0x10000)
        if board == "stick" and draw.random() < 0.3:
            changes["y"] = min(0xFFFF, max(0, shown.y + draw.randrange(-600, 600)))
        if board == "stick" and draw.random() < 0.2:
            changes["hat"] = draw.choice([None, *range(8)])
        shown = replace(shown, **changes)
        made.append(shown)
    wheels_only = shown.pressed & set(HIDDEN[board])
    made.append(Controls(frozenset(wheels_only - {3, 4, 1, 2} if board == "stick" else frozenset())))
    return made


def left_on(board: str) -> Controls:
    """A switch is on, and the axes are where somebody has left them."""
    return Controls(frozenset({SWITCH[board]}), x=0x1234, y=0xC000 if board == "stick" else 0x8000)


def recording(name: str) -> str:
    """All states, then the one with the switch."""
    board: Board = BOARDS[name]
    shown = [*states(name), left_on(name)]
    return turning.recording(board, [(place * TICK_MS, state) for place, state in enumerate(shown)])


END = TICKS + 2

SCRIPT = f"""\
. /run/job/functions
modules hid-generic uhid uinput evdev joydev
read_all() {{
    for one in stick pad; do
        evtest /dev/input/$(node_of "Bench $one$2") >/run/out/$one.$1.evtest &
        echo $! >>/tmp/readers
        jstest --event /dev/input/$(node_of "Bench $one$2" js) >/run/out/$one.$1.jstest &
        echo $! >>/tmp/readers
    done
    sleep 0.5
}}
read_no_more() {{
    sleep 0.5
    kill $(cat /tmp/readers)
    rm /tmp/readers
    sleep 0.2
}}
play_all() {{
    board stick play 0 {END}
    board pad play 0 {END}
}}
board_start stick stick.hid uhid TW-1
board_start pad pad.hid uhid TW-2
board stick plug
board pad plug
board stick play 0 1
board pad play 0 1
read_all open ""
play_all
read_no_more

lab listen 127.0.0.1:47811 /run/out/datagrams &
daemon_start /run/job/config
wait_for_device "{TWINS['stick']}"
wait_for_device "{TWINS['pad']}"
board stick play 0 1
board pad play 0 1
sleep 1
read_all twin " without its wheels"
read_all silent ""
play_all
read_no_more
cp /run/out/datagrams /run/out/datagrams-hidden
# What is written after turning, is written by then.
sleep 5
rest idle 10

# The cable: the twin goes and comes with the board.
board stick unplug
wait_until_gone "{TWINS['stick']}"
note_log unplugged
board stick plug
wait_for_device "{TWINS['stick']}"
board stick play 0 1
sleep 1
read_all replugged " without its wheels"
board stick play 0 {END}
read_no_more

# So long without a look at the board that the kernel drops events.
read_all flooded " without its wheels"
kill -STOP $daemon
board stick flood 0 {END}
board stick flood {END} {END + 1}
kill -CONT $daemon
sleep 1
read_no_more
query() {{
    evtest --query /dev/input/$(node_of "$2") EV_KEY $3
    echo "$1 $?" >>/run/out/keys
}}
query after-flood "{TWINS['stick']}" {kernel_code(SWITCH['stick'])}
query after-flood-other "{TWINS['stick']}" {kernel_code(5)}
read_all after-flood " without its wheels"
read_no_more
note_alive before-kill

# The rig file asks for the pulses in the open, and then not, while the daemon runs.
sed -i "s/hide = true/hide = false/" /run/job/config/rig.toml
wait_until_gone "{TWINS['stick']}"
wait_until_gone "{TWINS['pad']}"
board stick play 0 1
board pad play 0 1
read_all shown ""
play_all
read_no_more
sed -i "s/hide = false/hide = true/" /run/job/config/rig.toml
wait_for_device "{TWINS['stick']}"
wait_for_device "{TWINS['pad']}"
# The log is written in bursts, and kill -9 takes what waits.
sleep 1
note_alive hidden-again

# Nobody tidies up after kill -9.
kill -9 $daemon
wait $daemon
wait_until_gone "{TWINS['stick']}"
wait_until_gone "{TWINS['pad']}"
board stick play 0 1
board pad play 0 1
read_all killed ""
play_all
read_no_more

# A switch is on when the daemon starts, and there is no uinput yet.
board stick play {END} {END + 1}
board pad play {END} {END + 1}
rm /dev/uinput
daemon_start /run/job/config
sleep 5
note_log no-uinput
mknod /dev/uinput c 10 223
wait_for_device "{TWINS['stick']}"
wait_for_device "{TWINS['pad']}"
sleep 1
query switch-stick "{TWINS['stick']}" {kernel_code(SWITCH['stick'])}
query switch-pad "{TWINS['pad']}" {kernel_code(SWITCH['pad'], FIRST_CODE['pad'])}
read_all switched " without its wheels"
read_no_more
note_alive end
daemon_stop
echo $daemon_code >/run/out/daemon-code
sleep 0.2
echo "left: $(node_of "{TWINS['stick']}")$(node_of "{TWINS['pad']}")" >/run/out/left
board stick play 0 1
board pad play 0 1
read_all stopped ""
play_all
read_no_more
exit 0
"""


def files() -> dict[str, str]:
    """What goes into the guest."""
    boards = {"stick": 'usb = "1209:7a14"\nhide = true', "pad": 'usb = "1209:7a15"\nhide = true'}
    made = config.files(boards, fitted())
    return {"main": SCRIPT, "stick.hid": recording("stick"), "pad.hid": recording("pad"), **made}


def without_wheels(board: str, packets: list[list[tuple[int, int, int]]]) -> list[list[tuple[int, int, int]]]:
    """The packets with the wheels' buttons and their scan codes left out; empty ones are none."""
    codes = {kernel_code(button, FIRST_CODE[board]) for button in HIDDEN[board]}
    scans = {0x90000 + button for button in HIDDEN[board]}
    kept = []
    for packet in packets:
        rest = [
            (kind, code, value)
            for kind, code, value in packet
            if not (kind == EV_KEY and code in codes) and not (kind == EV_MSC and value in scans)
        ]
        if rest:
            kept.append(rest)
    return kept


def buttons(text: str) -> list[tuple[int, int]]:
    """(number, value) of each button event that jstest saw, those at its start apart."""
    return [(int(number), int(value)) for number, value in re.findall(r"type 1, time -?\d+, number (\d+), value (-?\d+)", text)]


def about(text: str) -> list[str]:
    """What evtest says of the device's kind, but for its name, fuzz and where its axes are."""
    lines = readers.evtest(text).about.splitlines()
    kept = [line for line in lines if re.match(r"Input device ID|\s+Event |\s+(Min|Max|Flat|Resolution)|Properties", line)]
    return kept


def judge(outcome: Outcome, checks: Checks) -> None:
    """All verdicts of this scene."""
    seen = {}
    for board in BOARDS:
        for when in ["open", "twin", "silent", "replugged", "flooded", "after-flood", "shown", "killed", "switched", "stopped"]:
            seen[board, when] = readers.evtest(outcome.text(f"{board}.{when}.evtest"))
    for board in BOARDS:
        _judge_board(board, outcome, seen, checks)
    opened = seen["stick", "open"]
    for one in fitted():
        if one.board == "stick":
            wanted = sum(decoding.counts(opened.packets, one))
            sent = readers.datagrams(outcome.text("datagrams-hidden"))
            got = sent[-1]["trims"][one.wheel.name]["counts"] if sent else None
            checks.equal(f"{one.wheel.name}: counted all the same", got, wanted)
            checks.that(f"{one.wheel.name}: it was turned", abs(wanted) > 20, f"{wanted}")
    wanted = without_wheels("stick", opened.packets)
    checks.equal("plugged again: every event of the twin", seen["stick", "replugged"].packets, wanted)
    few = seen["stick", "flooded"].packets
    checks.that("stopped for a while: the kernel did drop events", 0 < len(few) < len(wanted) / 2, f"{len(few)} of {len(wanted)}")
    values = {code: facts["Value"] for code, facts in seen["stick", "after-flood"].ranges().items()}
    checks.equal("and the axes are where the board has them", values, {0: 0x1234, 1: 0xC000, 16: 0, 17: 0})
    values = {code: facts["Value"] for code, facts in seen["stick", "switched"].ranges().items()}
    checks.equal("started late: the axes are where the board has them", values, {0: 0x1234, 1: 0xC000, 16: 0, 17: 0})
    keys = dict(line.split() for line in outcome.text("keys").splitlines())
    # evtest --query: 10 is pressed, 0 is not.
    checks.equal("the switches", keys, {"after-flood": "10", "after-flood-other": "0", "switch-stick": "10", "switch-pad": "10"})
    checks.equal("10 s at rest: context switches", readers.switches_at_rest(outcome, "idle"), 0)
    checks.equal("alive", outcome.text("alive").split(), ["before-kill", "hidden-again", "end"])
    checks.equal("SIGTERM: exit code", outcome.text("daemon-code").strip(), "0")
    checks.equal("SIGTERM: the twins are gone", outcome.text("left").strip(), "left:")
    log = outcome.text("daemon.log")
    told = outcome.text("log-no-uinput").count("the wheels are not hidden")
    checks.equal("without uinput: told for each board", told, 2)
    # Two at each start, one plugged again, two hidden again.
    checks.equal("each twin is in the log", log.count("the wheels are hidden"), 7)
    checks.that("no panic in the log", "panicked" not in log, log[-800:])


def _judge_board(board: str, outcome: Outcome, seen: dict, checks: Checks) -> None:
    opened, twin = seen[board, "open"], seen[board, "twin"]
    checks.that(f"{board}: no reader lost events", not opened.dropped and not twin.dropped, "SYN_DROPPED")
    codes = {kernel_code(button, FIRST_CODE[board]) for button in HIDDEN[board]}
    pulses = sum(kind == EV_KEY and code in codes for packet in opened.packets for kind, code, _ in packet)
    checks.that(f"{board}: in the open the pulses are seen", pulses > TICKS / 2, f"{pulses}")
    wanted = without_wheels(board, opened.packets)
    kinds = {kind for packet in wanted for kind, _, _ in packet}
    checks.equal(f"{board}: there is more than pulses", kinds, {EV_KEY, EV_ABS, EV_MSC})
    checks.equal(f"{board}: every event of the twin", twin.packets, wanted)
    checks.equal(f"{board}: its kind, codes and ranges", about(outcome.text(f"{board}.twin.evtest")), about(outcome.text(f"{board}.open.evtest")))
    silent = outcome.text(f"{board}.silent.evtest")
    checks.that(f"{board}: evtest finds the board taken", "grabbed by another process" in silent, silent[-300:])
    checks.equal(f"{board}: nobody else sees an event of it", seen[board, "silent"].packets, [])
    numbers = {button - 1 for button in HIDDEN[board]}
    pressed = [one for one in buttons(outcome.text(f"{board}.open.jstest")) if one[0] not in numbers]
    checks.equal(f"{board}: joydev numbers its buttons alike", buttons(outcome.text(f"{board}.twin.jstest")), pressed)
    checks.that(f"{board}: joydev saw them", len(pressed) > 30, f"{len(pressed)}")
    checks.equal(f"{board}: joydev has nothing of the board", buttons(outcome.text(f"{board}.silent.jstest")), [])
    for when in ["shown", "killed", "stopped"]:
        checks.equal(f"{board}: {when}, the board is everybody's again", seen[board, when].packets, opened.packets)
