"""Counts from the kernel's own button events, decoded here and nowhere else.

Pulses: HID Usage Tables 1.3, 3.4.1.1: a button pair stands for -1, 0, +1; each press is one. Quadrature: Linux
Documentation/driver-api/generic-counter.rst: x4 counts every edge of A and B, x2 every edge of A, x1 the rising edge
of A forward and its falling edge backward; A leads B forward.
"""

from lab.boards import kernel_code
from lab.config import Fitted
from lab.turning import Pulses

EV_KEY = 1


def counts(packets: list[list[tuple[int, int, int]]], fitted: Fitted) -> list[int]:
    """Signed counts of one wheel from packets of key events, in order. All buttons start released, as in the kernel."""
    wheel = fitted.wheel
    first, second = (wheel.forward, wheel.backward) if isinstance(wheel, Pulses) else (wheel.a, wheel.b)
    codes = {kernel_code(first): 0, kernel_code(second): 1}
    lines = [False, False]
    found = []
    for packet in packets:
        before = list(lines)
        for kind, code, value in packet:
            if kind == EV_KEY and code in codes:
                lines[codes[code]] = value != 0
        if isinstance(wheel, Pulses):
            idle = wheel.pressed_at_rest
            step = sum(
                sign
                for was, now, sign in zip(before, lines, (1, -1))
                # Leaving the idle level is the press.
                if was == idle and now != idle
            )
        else:
            step = _quadrature(before, lines, fitted.per_cycle)
        if step:
            found.append(step)
    return found


def _quadrature(before: list[bool], after: list[bool], per_cycle: int) -> int:
    a_edge, b_edge = before[0] != after[0], before[1] != after[1]
    if a_edge and b_edge:
        raise ValueError("both lines changed at once; the recording never does that")
    if a_edge:
        direction = 1 if after[0] != after[1] else -1
    elif b_edge:
        direction = 1 if after[0] == after[1] else -1
    else:
        return 0
    if per_cycle == 4 or (per_cycle == 2 and a_edge):
        return direction
    rises = after[0]
    return direction if per_cycle == 1 and a_edge and rises == (direction > 0) else 0
