"""What the deployment tests share."""

import socket

import pytest


@pytest.fixture
def free_ports() -> tuple[int, int]:
    """Two neighbouring ports that nobody uses."""
    for first in range(18600, 18900, 2):
        try:
            with socket.socket() as one, socket.socket() as two:
                one.bind(("127.0.0.1", first))
                two.bind(("127.0.0.1", first + 1))
        except OSError:
            continue
        return first, first + 1
    raise RuntimeError("no two free ports")
