"""What is refused before anything is answered: the page is for the one who sits at this machine.

Other sites that a browser has open, names that were made to lead here, and requests too large or
too many. A request that changes something must come from a page of ours (`Origin`) and say so in a
header that no form and no other site can send (the fetch standard asks this server first, and it
never says yes).
"""

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from dyemix.errors import data

#: Longest address and largest body, bytes; a phone's picture is seldom over 12 MB.
LONGEST, LARGEST = 24_000, 30_000_000
#: Requests that may wait at once; one dyer has a few under way at most.
WAITING = 24
OWN_HEADER = "x-dyemix"
_SAFE, _HERE = ("GET", "HEAD"), ("127.0.0.1", "::1", "testclient")


class Guard:
    """Passes on what comes from this machine's own page, and refuses the rest in a sentence."""

    def __init__(self, app: ASGIApp, port: int) -> None:
        self._app = app
        self._hosts = {f"{name}:{port}" for name in ("127.0.0.1", "localhost")}
        self._waiting = 0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http":  # its beginning and its end; a web socket has no route
            await self._app(scope, receive, send)
            return

        async def answered(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers.update(data("page")["headers"])
            await send(message)

        refused = self._refused(scope)
        if refused is None and self._waiting >= WAITING:
            refused = "waiting"
        if refused is not None:
            status, words = data("page")["refused"][refused]
            await PlainTextResponse(words, status)(scope, receive, answered)
            return
        self._waiting += 1
        try:
            await self._app(scope, receive, answered)
        finally:
            self._waiting += -1

    def _refused(self, scope: Scope) -> str | None:
        """The first reason not to answer, by its name."""
        headers, reads = Headers(scope=scope), scope["method"] in _SAFE
        host, origin = headers.get("host", ""), headers.get("origin")
        client, length = scope.get("client"), headers.get("content-length", "")
        stranger = origin is not None and origin.removeprefix("http://") not in self._hosts
        holds = {
            "machine": client is not None and client[0] not in _HERE,
            "host": host not in self._hosts,
            "site": stranger,
            "fetched": headers.get("sec-fetch-site", "none") not in ("none", "same-origin"),
            "address": len(scope.get("query_string", b"")) > LONGEST,
            "method": not reads and scope["method"] != "POST",
            "page": not reads and (origin is None or OWN_HEADER not in headers),
            "length": not reads and not length.isdecimal(),
            "large": length.isdecimal() and int(length) > LARGEST,
        }
        return next((name for name, is_so in holds.items() if is_so), None)
