#!/usr/bin/python3
"""A desktop in miniature: a place for tray items and for messages, on the bus that DBUS_SESSION_BUS_ADDRESS names.

Sources: StatusNotifierItem and StatusNotifierWatcher of the freedesktop.org draft, in its org.kde form; Desktop
Notifications Specification 1.2. What happens is told as one JSON object a line on standard output.

  desktop.py [panel] [messages]
"""
import json
import sys

import dbus
import dbus.mainloop.glib
import dbus.service
from gi.repository import GLib

WATCHER = "org.kde.StatusNotifierWatcher"
ITEM = "org.kde.StatusNotifierItem"
MESSAGES = "org.freedesktop.Notifications"
PROPERTIES = {"IsStatusNotifierHostRegistered": True, "ProtocolVersion": dbus.Int32(0)}


def tell(**what):
    print(json.dumps(what), flush=True)


class Panel(dbus.service.Object):
    def __init__(self, bus):
        super().__init__(bus, "/StatusNotifierWatcher")
        self.items = []
        bus.add_signal_receiver(lambda *_: tell(signal="NewIcon"), "NewIcon", ITEM)

    @dbus.service.method(WATCHER, in_signature="s")
    def RegisterStatusNotifierItem(self, name):
        self.items.append(name)
        tell(registered=name)

    @dbus.service.method(dbus.PROPERTIES_IFACE, in_signature="ss", out_signature="v")
    def Get(self, _interface, name):
        return dbus.Array(self.items, "s") if name == "RegisteredStatusNotifierItems" else PROPERTIES[name]

    @dbus.service.method(dbus.PROPERTIES_IFACE, in_signature="s", out_signature="a{sv}")
    def GetAll(self, _interface):
        return {**PROPERTIES, "RegisteredStatusNotifierItems": dbus.Array(self.items, "s")}


class Messages(dbus.service.Object):
    def __init__(self, bus):
        super().__init__(bus, "/org/freedesktop/Notifications")
        self.last = 0

    @dbus.service.method(MESSAGES, in_signature="susssasa{sv}i", out_signature="u")
    def Notify(self, app, replaces, _icon, title, body, actions, hints, _timeout):
        if not replaces:
            self.last += 1
        number = replaces or self.last
        tell(message=title, body=body, app=app, replaces=int(replaces), number=int(number),
             actions=list(actions), urgency=int(hints.get("urgency", 1)))
        return dbus.UInt32(number)


def main():
    dbus.mainloop.glib.DBusGMainLoop(set_as_default=True)
    bus = dbus.SessionBus()
    kept = []
    for part, name, service in (("panel", WATCHER, Panel), ("messages", MESSAGES, Messages)):
        if part in sys.argv[1:]:
            kept += [service(bus), dbus.service.BusName(name, bus, do_not_queue=True)]
    tell(ready=True)
    GLib.MainLoop().run()


main()
