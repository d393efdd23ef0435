"""Wheels that turn, as the reports a board sends about them, with the true counts beside.

The truth is known because the reports are made from it. Nothing in here reads reports.
"""

import random
from dataclasses import dataclass, field

from lab.boards import Board

# A leads B: 00, 10, 11, 01 (A, B), the order of the table in the Linux counter documentation, forward.
PHASES = ((0, 0), (1, 0), (1, 1), (0, 1))


@dataclass(frozen=True)
class Pulses:
    """A wheel whose board decodes the encoder: one press of a button per count."""

    name: str
    forward: int
    backward: int
    pressed_at_rest: bool = False
    pressed_ms: int = 4

    def at_rest(self) -> set[int]:
        """Buttons that the board shows as pressed while the wheel rests."""
        return {self.forward, self.backward} if self.pressed_at_rest else set()


@dataclass(frozen=True)
class Quadrature:
    """A wheel whose A and B arrive raw; one true count per edge."""

    name: str
    a: int
    b: int

    def at_rest(self) -> set[int]:
        """At phase 00 nothing is pressed."""
        return set()


Wheel = Pulses | Quadrature


@dataclass
class Recorder:
    """Collects the changes of a board's buttons over time."""

    board: Board
    wheels: list[Wheel]
    changes: dict[int, dict[int, bool]] = field(default_factory=dict)
    edges: dict[str, list[tuple[int, int]]] = field(default_factory=dict)
    phase: dict[str, int] = field(default_factory=dict)

    def step(self, wheel: Wheel, at_ms: int, direction: int) -> None:
        """One step of a wheel: a pulse, or one quadrature edge."""
        self.edges.setdefault(wheel.name, []).append((at_ms, direction))
        if isinstance(wheel, Pulses):
            button = wheel.forward if direction > 0 else wheel.backward
            self._set(at_ms, button, not wheel.pressed_at_rest)
            self._set(at_ms + wheel.pressed_ms, button, wheel.pressed_at_rest)
        else:
            phase = (self.phase.get(wheel.name, 0) + direction) % 4
            self.phase[wheel.name] = phase
            for button, level in zip((wheel.a, wheel.b), PHASES[phase]):
                self._set(at_ms, button, bool(level))

    def _set(self, at_ms: int, button: int, pressed: bool) -> None:
        self.changes.setdefault(at_ms, {})[button] = pressed

    def reports(self) -> list[tuple[int, frozenset[int]]]:
        """(milliseconds, pressed buttons) per report: one at the start, then one per change."""
        pressed = set().union(*(wheel.at_rest() for wheel in self.wheels))
        sent = [(0, frozenset(pressed))]
        for at_ms in sorted(self.changes):
            for button, down in self.changes[at_ms].items():
                (pressed.add if down else pressed.discard)(button)
            if frozenset(pressed) != sent[-1][1]:
                sent.append((at_ms, frozenset(pressed)))
        return sent

    def text(self) -> str:
        """The recording in the hid-recorder text format (hid-tools, man/hid-recorder.md)."""
        return recording(self.board, self.reports())


def recording(board: Board, reports: list[tuple[int, frozenset[int]]]) -> str:
    """Text of a recording of these reports."""
    lines = ["# made by tests/kernel", f"N: {board.name}", f"I: 3 {board.vendor:04x} {board.product:04x}"]
    lines.append(f"R: {len(board.descriptor)} {board.descriptor.hex(' ')}")
    for at_ms, pressed in reports:
        data = board.encode(pressed)
        lines.append(f"E: {at_ms // 1000:06d}.{at_ms % 1000 * 1000:06d} {len(data)} {data.hex(' ')}")
    return "\n".join(lines) + "\n"


def strokes(recorder: Recorder, wheel: Wheel, seed: int, plan: list[int], first_ms: int = 100) -> None:
    """Turns a wheel by strokes of a hand: `plan` holds signed steps; the pace is drawn from a seed."""
    draw = random.Random(f"{seed} {wheel.name}")
    # Never two edges of one wheel in one report, and never a pulse into the one before.
    shortest = wheel.pressed_ms + 5 if isinstance(wheel, Pulses) else 2
    at_ms = first_ms + draw.randrange(20)
    for steps in plan:
        pace = shortest + draw.randrange(12)
        for index in range(abs(steps)):
            recorder.step(wheel, at_ms, 1 if steps > 0 else -1)
            # A hand starts slowly, is fastest in the middle and slows down again; a board's own beat never varies, and
            # a stroke as even as that would be taken for a board that cannot keep up.
            off_middle = abs(2 * (index + 0.5) / abs(steps) - 1)
            at_ms += round(pace * (1 + 2 * off_middle**2)) + draw.randrange(pace // 3 + 1)
        # A hand rests and takes a new grip.
        at_ms += 40 + draw.randrange(80)
