"""What the deployment tests share."""

import os
import socket

import pytest


@pytest.fixture
def free_ports() -> tuple[int, int]:
    """Two neighbouring ports that nobody uses."""
    # Each process of a run that has several looks among ports of its own.
    worker = int(os.environ.get("PYTEST_XDIST_WORKER", "gw0").removeprefix("gw"))
    for first in range(18600 + 100 * worker, 18700 + 100 * worker, 2):
        try:
            with socket.socket() as one, socket.socket() as two:
                one.bind(("127.0.0.1", first))
                two.bind(("127.0.0.1", first + 1))
        except OSError:
            continue
        return first, first + 1
    raise RuntimeError("no two free ports")
