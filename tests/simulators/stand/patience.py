"""Waiting for something on a machine that may be busy with something else."""

import time
from collections.abc import Callable

SECONDS = 60


def until(what: str, is_so: Callable[[], object], seconds: float = SECONDS) -> object:
    """Waits until something is so and returns it; raises TimeoutError when it never came."""
    end = time.monotonic() + seconds
    while not (found := is_so()):
        if time.monotonic() > end:
            raise TimeoutError(f"it never came: {what}")
        time.sleep(0.01)
    return found
