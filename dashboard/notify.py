"""What a service manager is told: that the board is ready, reads its files anew, or ends.

The protocol is a datagram of words to the socket that the environment names (sd_notify(3)); without one, nothing.
"""

import os
import socket
import time


def tell(*words: str) -> bool:
    """Send words such as "READY=1" to the service manager; return whether there is one that took them."""
    where = os.environ.get("NOTIFY_SOCKET", "")
    if not where.startswith(("/", "@")) or not hasattr(socket, "AF_UNIX"):
        return False
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as way:
            way.connect("\0" + where[1:] if where.startswith("@") else where)
            way.sendall("\n".join(words).encode())
    except OSError:  # a manager that went away is no reason to end
        return False
    return True


def tell_reloading() -> bool:
    """Tell that files are read anew; READY=1 tells that it is over."""
    return tell("RELOADING=1", f"MONOTONIC_USEC={time.monotonic_ns() // 1000}")
