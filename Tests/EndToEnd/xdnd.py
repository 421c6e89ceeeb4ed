"""Drops files on a window as a file manager does: drag and drop of X (freedesktop.org, "Drag-and-Drop Protocol for the X Window
System")."""

import time
import urllib.parse

from Xlib import X, Xatom, display
from Xlib.protocol import event

VERSION = 5  # of the protocol; an older one where the window speaks no newer
PATIENCE_SECONDS = 5.0


class Drop:
    def __init__(self, name):
        self.display = display.Display(name)
        self.root = self.display.screen().root
        self.source = self.root.create_window(0, 0, 1, 1, 0, X.CopyFromParent)

    def close(self):
        self.display.close()

    def _atom(self, name):
        return self.display.intern_atom(name)

    def _send(self, target, kind, *words):
        data = (32, ([self.source.id, *words] + [0] * 5)[:5])
        target.send_event(event.ClientMessage(window=target, client_type=self._atom(kind), data=data))
        self.display.flush()

    def _wait_for(self, kind, uris):
        """The answer of that kind; whoever asks meanwhile for what is dragged is given it."""
        deadline = time.monotonic() + PATIENCE_SECONDS
        while time.monotonic() < deadline:
            if not self.display.pending_events():
                time.sleep(0.005)
                continue
            come = self.display.next_event()
            if come.type == X.SelectionRequest:
                come.requestor.change_property(come.property, come.target, 8, uris)
                come.requestor.send_event(event.SelectionNotify(time=come.time, requestor=come.requestor, selection=come.selection,
                                                                target=come.target, property=come.property))
                self.display.flush()
            elif come.type == X.ClientMessage and come.client_type == self._atom(kind):
                return come.data[1]
        raise AssertionError(f"the window gives no {kind}")

    def files(self, window, paths, x, y):
        """Drops them at that place of the screen; True where the window took them."""
        uris = "".join("file://" + urllib.parse.quote(str(path)) + "\r\n" for path in paths).encode()
        target = self.display.create_resource_object("window", window)
        aware = target.get_full_property(self._atom("XdndAware"), Xatom.ATOM)
        assert aware, "the window takes no drops"
        self.source.set_selection_owner(self._atom("XdndSelection"), X.CurrentTime)
        self._send(target, "XdndEnter", min(VERSION, aware.value[0]) << 24, self._atom("text/uri-list"))
        self._send(target, "XdndPosition", 0, x << 16 | y, X.CurrentTime, self._atom("XdndActionCopy"))
        if not self._wait_for("XdndStatus", uris)[1] & 1:
            self._send(target, "XdndLeave")
            return False
        self._send(target, "XdndDrop", 0, X.CurrentTime)
        self._wait_for("XdndFinished", uris)
        return True
