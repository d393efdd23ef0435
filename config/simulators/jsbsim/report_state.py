#!/usr/bin/env python3
"""Tells Tallywheel what JSBSim flies and where its trims are, ten times a second, until JSBSim ends.

JSBSim must listen for text: <input port="5137"/> beside the <input> of input.xml. Tallywheel listens where the rig
file's [simulator] says; its aircraft file is chosen by the title, the name of JSBSim's aircraft.

    report_state.py c172p                       JSBSim and Tallywheel on this machine, at their usual ports
    report_state.py c172p --to 192.168.1.5:47820
"""

import argparse
import json
import socket
import time

PROMPT = b"JSBSim> "
# Property of JSBSim, the trim's name in Tallywheel, and the sign that output.toml has.
TRIMS = [
    ("fcs/yaw-trim-cmd-norm", "rudder", -1),
    ("fcs/pitch-trim-cmd-norm", "elevator", -1),
    ("fcs/roll-trim-cmd-norm", "aileron", 1),
]


class JSBSim:
    """The text interface of a running JSBSim."""

    def __init__(self, port: int) -> None:
        self._socket = socket.create_connection(("127.0.0.1", port), timeout=10)
        self._answer()

    def value(self, name: str) -> float:
        """The value of a property.

        Raises ConnectionError when JSBSim has ended, and ValueError for a property that it does not have.
        """
        self._socket.sendall(f"get {name}\n".encode())
        _, equals, number = self._answer().partition("=")
        if not equals:
            raise ValueError(f"JSBSim has no property {name}")
        return float(number.split()[0])

    def _answer(self) -> str:
        received = b""
        while not received.endswith(PROMPT):
            more = self._socket.recv(4096)
            if not more:
                raise ConnectionError("JSBSim has ended")
            received += more
        return received.decode()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("title", help="the name of JSBSim's aircraft, such as c172p")
    parser.add_argument("--jsbsim", type=int, default=5137, metavar="PORT", help="JSBSim's port for text (5137)")
    parser.add_argument("--to", default="127.0.0.1:47820", metavar="HOST:PORT", help="Tallywheel's (127.0.0.1:47820)")
    parser.add_argument("--every", type=float, default=0.1, metavar="SECONDS", help="time between two reports (0.1)")
    arguments = parser.parse_args()
    host, _, port = arguments.to.rpartition(":")
    jsbsim = JSBSim(arguments.jsbsim)
    sender = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    sequence = 0
    try:
        while True:
            report = {
                "tallywheel": 1,
                "sequence": sequence,
                "title": arguments.title,
                # JSBSim answers a trim of 0 in the other direction as -0.
                "trims": {name: sign * jsbsim.value(of) + 0.0 for of, name, sign in TRIMS},
                "paused": False,
            }
            sender.sendto(json.dumps(report).encode(), (host, int(port)))
            sequence += 1
            time.sleep(arguments.every)
    except ConnectionError:
        pass


if __name__ == "__main__":
    main()
