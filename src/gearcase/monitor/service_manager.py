"""What a service manager is told, over the datagram socket it names in the environment: ready, alive, reloading, stopping.

The protocol is that of systemd's sd_notify(3) and watchdog: lines ``KEY=VALUE`` in one datagram to $NOTIFY_SOCKET, "@" standing
for the first byte of an abstract address; $WATCHDOG_USEC is the time within which it must hear ``WATCHDOG=1``. Without the socket
nothing is told.
"""

import os
import socket
import time
from collections.abc import Mapping
from contextlib import suppress

__all__ = ["ServiceManager"]


class ServiceManager:
    """The service manager that started this program, where one did.

    Attributes
    ----------
    watchdog_s : float or None
        Within which it must hear `alive`; None where it does not ask. [s]
    """

    def __init__(self, environment: Mapping[str, str]) -> None:
        self._socket = environment.get("NOTIFY_SOCKET", "")
        given, meant = environment.get("WATCHDOG_USEC", ""), environment.get("WATCHDOG_PID", "")
        mine = meant in ("", str(os.getpid()))
        self.watchdog_s = int(given) / 1e6 if mine and given.isdecimal() and int(given) > 0 else None

    def ready(self, says: str) -> None:
        """It runs, or has finished reloading."""
        self._tell("READY=1", f"STATUS={says}")

    def alive(self, says: str) -> None:
        """Rounds go on."""
        self._tell("WATCHDOG=1", f"STATUS={says}")

    def reloading(self) -> None:
        """It reads its settings again."""
        self._tell("RELOADING=1", f"MONOTONIC_USEC={time.clock_gettime_ns(time.CLOCK_MONOTONIC) // 1000}")

    def stopping(self) -> None:
        """It leaves."""
        self._tell("STOPPING=1")

    def _tell(self, *lines: str) -> None:
        if not self._socket:
            return
        address = f"\0{self._socket[1:]}" if self._socket.startswith("@") else self._socket
        text = "\n".join(" ".join(line.split()) for line in lines)
        with suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as one:
            one.settimeout(0.2)  # a manager that does not listen holds up nothing
            one.sendto(text.encode(), address)
