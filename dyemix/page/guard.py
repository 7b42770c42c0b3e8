"""What is refused before anything is answered: the page is for the one who sits at this machine.

Other sites that a browser has open, names that were made to lead here, and requests too large or
too many. A request that changes something must come from a page of ours (`Origin`) and say so in a
header that no form and no other site can send (the fetch standard asks this server first, and it
never says yes).
"""

from __future__ import annotations

from http import HTTPStatus

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

#: Longest address and largest body, bytes; a phone's picture is seldom over 12 MB.
LONGEST, LARGEST = 24_000, 30_000_000
#: Requests that may wait at once; one dyer has a few under way at most.
WAITING = 24
OWN_HEADER = "x-dyemix"
_SAFE = ("GET", "HEAD")
#: Scripts, styles and pictures of ours and no others; no frames, no forms to elsewhere.
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
_ALWAYS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cache-control": "no-store",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}


class Guard:
    """Passes on what comes from this machine's own page, and refuses the rest in a sentence."""

    def __init__(self, app: ASGIApp, port: int) -> None:
        self._app = app
        self._hosts = {f"{name}:{port}" for name in ("127.0.0.1", "localhost")}
        self._waiting = 0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            raise RuntimeError("only HTTP is answered here")

        async def answered(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in _ALWAYS.items():
                    headers[name] = value
            await send(message)

        refused = self._refused(scope)
        if refused is None and self._waiting >= WAITING:
            refused = HTTPStatus.SERVICE_UNAVAILABLE, "too many presses at once: wait a moment."
        if refused is not None:
            await PlainTextResponse(refused[1], refused[0])(scope, receive, answered)
            return
        self._waiting += 1
        try:
            await self._app(scope, receive, answered)
        finally:
            self._waiting += -1

    def _refused(self, scope: Scope) -> tuple[HTTPStatus, str] | None:
        headers, forbidden = Headers(scope=scope), HTTPStatus.FORBIDDEN
        host, origin = headers.get("host", ""), headers.get("origin")
        client = scope.get("client")
        if client is not None and client[0] not in ("127.0.0.1", "::1", "testclient"):
            return forbidden, "this page answers its own machine alone."
        if host not in self._hosts:
            return (
                HTTPStatus.MISDIRECTED_REQUEST,
                "open the page by the address that dyemix printed.",
            )
        if origin is not None and origin.removeprefix("http://") not in self._hosts:
            return forbidden, "another site asked for this: it is not answered."
        if headers.get("sec-fetch-site", "none") not in ("none", "same-origin"):
            return forbidden, "another site asked for this: type the address yourself."
        if len(scope.get("query_string", b"")) > LONGEST:
            return HTTPStatus.REQUEST_URI_TOO_LONG, "this address is too long for a slip."
        if scope["method"] in _SAFE:
            return None
        if scope["method"] != "POST":
            return HTTPStatus.METHOD_NOT_ALLOWED, "nothing here is changed that way."
        if origin is None or OWN_HEADER not in headers:
            return forbidden, "only the page itself may keep something: open it, and press there."
        length = headers.get("content-length", "")
        if not length.isdecimal():
            return HTTPStatus.LENGTH_REQUIRED, "say how much is sent."
        if int(length) > LARGEST:
            return (
                HTTPStatus.REQUEST_ENTITY_TOO_LARGE,
                "over 30 MB: make the picture smaller first.",
            )
        return None
