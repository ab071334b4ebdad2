"""A port that nobody listens at."""

import socket


def free_port() -> int:
    """One of this machine's ports, free at this moment."""
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        return int(held.getsockname()[1])
