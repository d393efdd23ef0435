"""Hands that turn the wheels of the shipped rig, as recordings of a board.

Reports come from tests/kernel/lab, which shares no code with the product.
"""

import sys

from stand.place import TOP

sys.path.append(str(TOP / "tests" / "kernel"))

from lab.boards import PLAIN  # noqa: E402
from lab.turning import Pulses, Quadrature, Recorder, strokes  # noqa: E402

# As config/rig.toml has them.
WHEELS = {
    "rudder": Quadrature("rudder", a=1, b=2),
    "elevator": Pulses("elevator", forward=3, backward=4),
    "aileron": Pulses("aileron", forward=5, backward=6),
}
# So long nobody turns after the board was plugged in.
REST_MS = 1000


def turn(**wheels: list[int]) -> str:
    """A recording in which each wheel makes these strokes, in steps of its own."""
    recorder = Recorder(PLAIN, [WHEELS[name] for name in wheels])
    for name, plan in wheels.items():
        strokes(recorder, WHEELS[name], 1, plan, first_ms=REST_MS)
    return recorder.text()
