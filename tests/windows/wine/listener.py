"""The simulator's end: keeps every datagram that arrives."""

import json
import socket
import threading
import time

BUFFER_BYTES = 4 << 20


class Listener:
    """A UDP port on loopback."""

    def __init__(self) -> None:
        self.socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.socket.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, BUFFER_BYTES)
        self.socket.bind(("127.0.0.1", 0))
        self.port = self.socket.getsockname()[1]
        self.frames: list[dict] = []
        threading.Thread(target=self._listen, daemon=True).start()

    def _listen(self) -> None:
        while True:
            frame = json.loads(self.socket.recv(65536))
            self.frames.append(frame)

    def forget(self) -> None:
        """Starts anew."""
        self.frames = []

    def values(self, trim: str, key: str = "axis") -> list:
        """Every new value of one trim in turn."""
        seen: list = []
        for frame in list(self.frames):
            value = frame["trims"][trim][key]
            if not seen or seen[-1] != value:
                seen.append(value)
        return seen

    def wait_for(self, frames: int, limit_s: float = 30) -> None:
        """Waits until so many datagrams have come; what came is judged by the caller."""
        wait_until(lambda: len(self.frames) >= frames, limit_s)


def wait_until(holds, limit_s: float = 30) -> bool:
    """Whether it holds in the end."""
    deadline = time.monotonic() + limit_s
    while not holds():
        if time.monotonic() > deadline:
            return False
        time.sleep(0.02)
    return True
