"""Reads what the independent programs in the guest printed: evtest, jstest, SDL, our own listener, /proc."""

import json
import re
from dataclasses import dataclass, field

from lab.guest import Outcome


@dataclass
class Evtest:
    """One evtest run: what it said of the device, then the packets, each a list of (type, code, value)."""

    about: str = ""
    packets: list[list[tuple[int, int, int]]] = field(default_factory=list)
    dropped: bool = False

    def axis(self, code: int) -> list[int]:
        """Values of one axis, in order."""
        return [value for packet in self.packets for kind, number, value in packet if kind == 3 and number == code]

    def ranges(self) -> dict[int, dict[str, int]]:
        """Per axis what evtest tells of it: Value, Min, Max, and Fuzz, Flat, Resolution where not 0."""
        axes: dict[int, dict[str, int]] = {}
        inside = None
        for line in self.about.splitlines():
            code = re.match(r"\s+Event code (\d+) \(ABS_", line)
            fact = re.match(r"\s+(Value|Min|Max|Fuzz|Flat|Resolution)\s+(-?\d+)$", line)
            if code:
                inside = axes.setdefault(int(code[1]), {})
            elif fact and inside is not None:
                inside[fact[1]] = int(fact[2])
            else:
                inside = None
        return axes


def evtest(text: str) -> Evtest:
    """evtest 1.35: `Event: time S.US, type 3 (EV_ABS), code 0 (ABS_X), value 5`, packets closed by SYN_REPORT."""
    made, packet = Evtest(), []
    about = []
    for line in text.splitlines():
        if not line.startswith("Event: time"):
            about.append(line)
        elif "SYN_DROPPED" in line:
            made.dropped = True
        elif "SYN_REPORT" in line:
            made.packets.append(packet)
            packet = []
        else:
            found = re.search(r"type (\d+) \(.*\), code (\d+) \(.*\), value (-?\w+)$", line)
            if not found:
                raise ValueError(f"evtest printed: {line}")
            kind = int(found[1])
            # EV_MSC values are printed in hexadecimal.
            made_of = (kind, int(found[2]), int(found[3], 16) if kind == 4 else int(found[3]))
            packet.append(made_of)
    made.about = "\n".join(about)
    return made


def joydev(text: str) -> tuple[dict[int, int], dict[int, list[int]]]:
    """jstest --event: the first value of each axis and what came after; js_event types: Documentation/input/joydev."""
    first: dict[int, int] = {}
    later: dict[int, list[int]] = {}
    for kind, number, value in re.findall(r"Event: type (\d+), time -?\d+, number (\d+), value (-?\d+)", text):
        if int(kind) == 0x80 | 2:
            first[int(number)] = int(value)
        elif int(kind) == 2:
            later.setdefault(int(number), []).append(int(value))
    return first, later


@dataclass
class SdlJoystick:
    """A joystick as SDL shows it."""

    axes: list[int]
    buttons: int


def sdl(text: str) -> tuple[str, dict[str, SdlJoystick]]:
    """The output of floor/sdl_axes.c: SDL's version, and every joystick by name."""
    lines = text.splitlines()
    found = {}
    for line in lines[1:]:
        name, axes, buttons, values = line.split("\t")
        found[name] = SdlJoystick([int(value) for value in values.split()], int(buttons.split()[1]))
        assert len(found[name].axes) == int(axes.split()[1])
    return lines[0] if lines else "", found


def datagrams(text: str) -> list[dict]:
    """The JSON datagrams, in the order in which they came."""
    return [json.loads(line) for line in text.splitlines() if line]


def covers(margin: list[int] | None, error: int) -> bool:
    """Whether truth minus tally lies in a margin [low, high]; None is unlimited."""
    return margin is None or -margin[0] <= error <= margin[1]


def switches_at_rest(outcome: Outcome, name: str) -> int:
    """Context switches that the daemon made during `rest NAME`, over all its threads, which must stay the same."""
    before, after = (_switches(outcome.text(f"rest-{name}-{when}")) for when in ("before", "after"))
    if not before or before.keys() != after.keys():
        raise ValueError(f"threads came or went at rest: {sorted(before)} then {sorted(after)}")
    return sum(after.values()) - sum(before.values())


def _switches(text: str) -> dict[str, int]:
    return {line.split()[0]: sum(map(int, line.split()[1:])) for line in text.splitlines()}


def holdings(line: str) -> dict[str, int]:
    """`fds N threads N memory N`."""
    words = line.split()
    return {name: int(value) for name, value in zip(words[::2], words[1::2])}
