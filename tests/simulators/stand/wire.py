"""Sees every UDP datagram to one port of this network, whoever receives it."""

import socket
import struct
import threading

# linux/if_ether.h; a socket for this protocol sees each packet once, on its way in.
ETH_P_IP = 0x0800


class Wire:
    """The datagrams to `port` since it was made."""

    def __init__(self, port: int) -> None:
        self._port = port
        self._seen: list[bytes] = []
        self._socket = socket.socket(socket.AF_PACKET, socket.SOCK_DGRAM, socket.htons(ETH_P_IP))
        self._socket.bind(("lo", ETH_P_IP))
        threading.Thread(target=self._listen, daemon=True).start()

    def seen(self) -> list[bytes]:
        """All so far."""
        return list(self._seen)

    def _listen(self) -> None:
        while True:
            packet = self._socket.recv(65536)
            if packet[9] != socket.IPPROTO_UDP:
                continue
            header = (packet[0] & 15) * 4
            _, to, length, _ = struct.unpack_from("!HHHH", packet, header)
            if to == self._port:
                self._seen.append(packet[header + 8 : header + length])
