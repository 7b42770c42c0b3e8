"""The page asked in this process, without a server or a browser."""

from __future__ import annotations

import re
from collections.abc import Mapping
from html import unescape
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import anyio
import httpx

from dyemix.model.dyes import DyeSet
from dyemix.page.app import application

PORT = 8417
HOST = f"127.0.0.1:{PORT}"
OWN = {"origin": f"http://{HOST}", "x-dyemix": "1"}
Answer = httpx.Response


class Asked:
    """``asked("/jars", wanted="#7d8a6e")``: an address of the page, and what comes back."""

    def __init__(self, dyes: DyeSet, book: Path | None = None, method: str = "") -> None:
        self.app = application(dyes, book, PORT, method)

    def __call__(
        self, path: str, headers: Mapping[str, str] | None = None, **fields: str
    ) -> Answer:
        """A view, as a script of the page asks for it."""
        query = f"?{urlencode(fields)}" if fields else ""
        return self.send("GET", path + query, headers or {"x-dyemix": "1"})

    def on(self, answer: Answer, path: str = "", **fields: str) -> Answer:
        """The next view from where an answer stands."""
        address = answer.headers["content-location"]
        here, _, query = address.partition("?")
        joined = "&".join(filter(None, (query, urlencode(fields))))
        return self.send("GET", f"{path or here}?{joined}", {"x-dyemix": "1"})

    def send(
        self, method: str, address: str, headers: Mapping[str, str] | None = None,
        content: Any = None,
    ) -> Answer:  # fmt: skip
        return self.many([(method, address, headers, content)])[0]

    def many(self, requests: list[tuple[str, str, Mapping[str, str] | None, Any]]) -> list[Answer]:
        """Requests all at once."""
        answers: dict[int, Answer] = {}

        async def send(client: httpx.AsyncClient, i: int) -> None:
            method, address, headers, content = requests[i]
            answers[i] = await client.request(method, address, headers=headers, content=content)

        async def run() -> None:
            way = httpx.ASGITransport(self.app, client=("127.0.0.1", 9))
            async with (
                httpx.AsyncClient(transport=way, base_url=f"http://{HOST}") as client,
                anyio.create_task_group() as group,
            ):
                for i in range(len(requests)):
                    group.start_soon(send, client, i)

        anyio.run(run)
        return [answers[i] for i in range(len(requests))]


def words(answer: Answer) -> str:
    """The text of a view, as it is read."""
    main = answer.text[answer.text.index("<main") : answer.text.index("</main>")]
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", main)).split())
