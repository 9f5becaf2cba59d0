"""A network between a session and its server that fails at the packet that is told."""

import contextlib
import socket
import threading
import time


class Proxy:
    """Passes on what comes at a port of the loopback, until it is told to fail.

    Attributes:
        port: Where it listens.
        packets: How many packets of the session's were seen since the last plan.
        failed: Whether it has done what was planned.
    """

    def __init__(self, target_port):
        self.target, self.packets, self.failed = target_port, 0, False
        self._plan = None
        self._lock = threading.Lock()
        self._pairs = []
        self.down = False
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = self._listener.getsockname()[1]
        threading.Thread(target=self._accept, daemon=True).start()

    def plan(self, at, before=None, after=None):
        """At the session's packet of this number: what is called before it is passed on, and after that."""
        with self._lock:
            self._plan, self.packets, self.failed = (at, before, after), 0, False

    def cut(self):
        """Break every connection that there is."""
        for pair in [*self._pairs]:
            for end in pair:
                with contextlib.suppress(OSError):
                    end.shutdown(socket.SHUT_RDWR)
        self._pairs.clear()

    def close(self):
        """Pass nothing on any more."""
        self._listener.close()
        self.cut()

    def _accept(self):
        while True:
            try:
                near, _ = self._listener.accept()
                if self.down:
                    near.close()
                    continue
                far = socket.create_connection(("127.0.0.1", self.target), timeout=2)
                far.settimeout(None)
            except OSError:
                if self._listener.fileno() < 0:
                    return
                near.close()
                continue
            for end in (near, far):
                end.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self._pairs.append((near, far))
            silent = threading.Event()
            threading.Thread(target=self._pass, args=(near, far, silent, True), daemon=True).start()
            threading.Thread(
                target=self._pass, args=(far, near, silent, False), daemon=True
            ).start()

    def _pass(self, source, target, silent, counted):
        with contextlib.suppress(OSError):
            while data := source.recv(1 << 16):
                after = None
                if counted:
                    before, after = self._due()
                    if after:
                        silent.set()  # what the server answers is not heard
                    if before:
                        before()
                elif silent.is_set():
                    continue
                target.sendall(data)
                if after:
                    time.sleep(0.05)  # so that the server has done it
                    after()
        for end in (source, target):
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)

    def _due(self):
        with self._lock:
            self.packets += 1
            if self._plan is None or self.packets != self._plan[0]:
                return None, None
            _, before, after = self._plan
            self._plan, self.failed = None, True
            return before, after
