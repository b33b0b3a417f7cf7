"""The yardstick for HTTP: an application that answers nothing, served as the service is."""

import sys
from typing import Any

import uvicorn

_START = {"type": "http.response.start", "status": 200, "headers": [(b"content-length", b"0")]}
_BODY = {"type": "http.response.body", "body": b""}


async def app(scope: dict[str, Any], _receive: Any, send: Any) -> None:
    """An empty answer to everything."""
    if scope["type"] == "http":
        await send(_START)
        await send(_BODY)


if __name__ == "__main__":
    uvicorn.run(app, host="127.0.0.1", port=int(sys.argv[1]), access_log=False, log_level="warning", lifespan="off")
