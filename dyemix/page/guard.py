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
_SAFE, _HERE = ("GET", "HEAD"), ("127.0.0.1", "::1", "testclient")
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
        if scope["type"] != "http":  # its beginning and its end; a web socket has no route
            await self._app(scope, receive, send)
            return

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
        """The first reason not to answer."""
        headers, reads = Headers(scope=scope), scope["method"] in _SAFE
        host, origin = headers.get("host", ""), headers.get("origin")
        client, length = scope.get("client"), headers.get("content-length", "")
        stranger = origin is not None and origin.removeprefix("http://") not in self._hosts
        reasons = (
            (client is not None and client[0] not in _HERE, HTTPStatus.FORBIDDEN,
             "this page answers its own machine alone."),
            (host not in self._hosts, HTTPStatus.MISDIRECTED_REQUEST,
             "open the page by the address that dyemix printed."),
            (stranger, HTTPStatus.FORBIDDEN, "another site asked for this: it is not answered."),
            (headers.get("sec-fetch-site", "none") not in ("none", "same-origin"),
             HTTPStatus.FORBIDDEN, "another site asked for this: type the address yourself."),
            (len(scope.get("query_string", b"")) > LONGEST, HTTPStatus.REQUEST_URI_TOO_LONG,
             "this address is too long for a slip."),
            (not reads and scope["method"] != "POST", HTTPStatus.METHOD_NOT_ALLOWED,
             "nothing here is changed that way."),
            (not reads and (origin is None or OWN_HEADER not in headers), HTTPStatus.FORBIDDEN,
             "only the page itself may keep something: open it, and press there."),
            (not reads and not length.isdecimal(), HTTPStatus.LENGTH_REQUIRED,
             "say how much is sent."),
            (length.isdecimal() and int(length) > LARGEST, HTTPStatus.REQUEST_ENTITY_TOO_LARGE,
             "over 30 MB: make the picture smaller first."),
        )  # fmt: skip
        return next(((status, words) for wrong, status, words in reasons if wrong), None)
