#!/usr/bin/env python3
"""Takes trims from Tallywheel and tells it the simulator's own: a start for a script of your own.

    python3 tallywheel.py [TAKE_PORT [REPORT_PORT]] [NAME=POSITION ...] [title=TITLE]

It needs Python 3.8 or newer and nothing else. TAKE_PORT is the port of the aircraft file's `to` (47811),
REPORT_PORT that of `listen` under `[simulator]` in rig.toml (47820). For simulators only, never for real aircraft.
Replace the part between the two lines of equals signs by your simulator's own calls; the rest may stay.
"""
import json
import secrets
import socket
import sys
import time

# ======================================== your simulator's own calls go here ========================================
# A pretend simulator: it knows only the trims that the command line names, prints what it is given and keeps it.
numbers = [int(word) for word in sys.argv[1:] if "=" not in word]
trims = dict(word.split("=", 1) for word in sys.argv[1:] if "=" in word)
title = trims.pop("title", None)
trims = {name: float(position) for name, position in trims.items()}


def set_trim(name, position, margin):
    """Moves the simulator's trim; -1 is its low end, 0 neutral, 1 its high end. `margin` is how many counts the
    position may be off below and above, None if it is not known at all."""
    trims[name] = position
    print(name, position, flush=True)


def get_trims():
    """The simulator's trims by their names in the aircraft file, each from -1 to 1; {} if it cannot tell."""
    return trims


def get_title():
    """The title of the aircraft that is loaded, or None."""
    return title


# =====================================================================================================================

TAKE = ("127.0.0.1", numbers[0] if numbers else 47811)
REPORT = ("127.0.0.1", numbers[1] if len(numbers) > 1 else 47820)
REPORT_EVERY = 0.5  # seconds

take = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
take.bind(TAKE)
report = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
session = secrets.token_hex(8)  # another one each time this script starts, so that Tallywheel begins anew with it
sequence = 0
newest = 0  # the time of the newest datagram: what comes late or twice is older and does nothing
due = time.monotonic()

while True:
    take.settimeout(max(due - time.monotonic(), 0.001))
    try:
        frame = json.loads(take.recv(65536))
        if frame["time_us"] > newest:
            newest = frame["time_us"]
            for name, trim in frame["trims"].items():
                set_trim(name, trim["position"], trim["margin"])
    except socket.timeout:
        pass
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        print("not a datagram of Tallywheel's:", error, file=sys.stderr)
    except OSError:
        pass  # on Windows the answer to a report that nobody took
    if time.monotonic() >= due:
        due = time.monotonic() + REPORT_EVERY
        sequence += 1
        message = {"tallywheel": 1, "session": session, "sequence": sequence, "trims": get_trims()}
        if get_title() is not None:
            message["title"] = get_title()
        try:
            report.sendto(json.dumps(message).encode(), REPORT)
        except OSError:
            pass  # Tallywheel does not run; the next report may reach it
