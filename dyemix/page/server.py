"""The page served on this machine, until Ctrl-C."""

import socket
import threading
import webbrowser
from pathlib import Path

from dyemix import console
from dyemix.errors import DyemixError
from dyemix.model.dyes import DyeSet
from dyemix.photo.decode import need

#: No other machine reaches this address.
HOST, PORT = "127.0.0.1", 8417


def listening(port: int) -> socket.socket:
    """An ear on a port of this machine; 0 for any that is free.

    Known to be TCP: asyncio sends small answers at once only where a socket says so, and 40 ms
    later else (Nagle's algorithm against delayed acknowledgement, RFC 1122, 4.2.3.2, 4.2.3.4).
    """
    ear = socket.create_server((HOST, port))  # on Windows too, no other program may share the port
    return socket.socket(ear.family, ear.type, socket.IPPROTO_TCP, fileno=ear.detach())


def serve(
    dyes: DyeSet, book: Path | None = None, method: str = "", port: int = PORT,
    no_browser: bool = False,
) -> None:  # fmt: skip
    """Answer on `port` of this machine, and open the browser there.

    The `dyes` are of a `method` of the `book`, where they are of one.

    Raises `InputError` where the extra ``web`` is missing, `DyemixError` where the port is taken.
    """
    uvicorn = need("uvicorn", "web")
    need("starlette", "web")
    from dyemix.page.app import application

    try:
        ear = listening(port)
    except (OSError, OverflowError):
        raise DyemixError(
            f"port {port} is taken or may not be used: is the page open already? Else name "
            f"another, as --port {PORT + 1}."
        ) from None
    address = f"http://{HOST}:{port}/"
    console.say(f"The page at the bench: {address}  (Ctrl-C ends it)")
    if not no_browser:
        threading.Timer(0.5, webbrowser.open, [address]).start()
    page = application(dyes, book, port, method)
    config = uvicorn.Config(page, log_level="warning", access_log=False)
    with ear:
        uvicorn.Server(config).run(sockets=[ear])
