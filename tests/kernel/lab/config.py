"""Rig and aircraft files for the guest, from the same wheels and trims that the judges use."""

from dataclasses import dataclass

from lab.expected import Trim
from lab.turning import Pulses, Wheel

DATAGRAM_ADDRESS = "127.0.0.1:47811"


@dataclass
class Fitted:
    """A wheel of the rig with what the rig file says of it, and the trim it moves."""

    wheel: Wheel
    trim: Trim
    axis: str
    per_cycle: int = 4
    board: str = "main"


def rig(boards: dict[str, str], fitted: list[Fitted]) -> str:
    """rig.toml; `boards` gives each board's lines."""
    lines = ['name = "bench"']
    for name, body in boards.items():
        lines += ["[[board]]", f'name = "{name}"', body]
    for one in fitted:
        wheel = one.wheel
        lines += ["[[wheel]]", f'name = "{wheel.name}"', f'board = "{one.board}"']
        if isinstance(wheel, Pulses):
            lines += ['wiring = "pulses"', f"forward = {wheel.forward}", f"backward = {wheel.backward}"]
            lines += [f"pressed_at_rest = {str(wheel.pressed_at_rest).lower()}"]
            # A board that is not told so may have dropped counts until its pulses have been measured.
            lines += [f"pulse_on_ms = {wheel.pressed_ms}", "pulse_off_ms = 1"]
        else:
            lines += ['wiring = "quadrature"', f"a = {wheel.a}", f"b = {wheel.b}"]
            lines += [f"counts_per_cycle = {one.per_cycle}"]
        lines += [f"counts_per_turn = {one.trim.counts_per_turn}", f"reversed = {str(one.trim.reversed).lower()}"]
    return "\n".join(lines) + "\n"


def aircraft(fitted: list[Fitted], *, axis: bool = True, datagram: bool = True) -> str:
    """aircraft/kettrin.toml."""
    lines = ['name = "Kettrin 2 floatplane"']
    for one in fitted:
        lines += ["[[trim]]", f'name = "{one.wheel.name}"', f"travel_degrees = {one.trim.travel}"]
        if one.trim.neutral is not None:
            lines += [f"neutral_degrees = {one.trim.neutral}"]
        lines += [f'stops = "{one.trim.stops}"', 'start = "neutral"']
    if axis:
        axes = ", ".join(f'{one.wheel.name} = "{one.axis}"' for one in fitted)
        lines += ["[[output]]", 'kind = "axis"', f"axes = {{ {axes} }}"]
    if datagram:
        lines += ["[[output]]", 'kind = "datagram"', f'to = "{DATAGRAM_ADDRESS}"', 'template = "json"']
    return "\n".join(lines) + "\n"


def files(boards: dict[str, str], fitted: list[Fitted], **outputs: bool) -> dict[str, str]:
    """Both, as files of a boot."""
    return {"config/rig.toml": rig(boards, fitted), "config/aircraft/kettrin.toml": aircraft(fitted, **outputs)}
