"""The page as an ASGI application: an address in, a view out."""

from collections.abc import Mapping
from datetime import date
from importlib.resources import files
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl

from anyio.to_thread import run_sync
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.routing import Route

from dyemix.bench.sheet import pages
from dyemix.errors import DyemixError, data, refuse
from dyemix.model.dyes import DyeSet
from dyemix.page.guard import Guard
from dyemix.page.pictures import Frame, Pictures
from dyemix.page.slip import PLACES, Slip
from dyemix.page.views import VIEWS, always, carried_out
from dyemix.page.words import spoon_signs
from dyemix.page.workshop import Workshop

#: What of an address is done once, and is not part of the slip that it leads to.
_PRESSED = {"typed", "slip", "take", "press", "kept"}
#: What goes along beside the slip: a picture, its frame, and what was asked besides.
_BESIDE = ("picture", "frame", "mottled", "grey", "undyed", "analysed", "spare")


class Page:
    """The answers to addresses."""

    def __init__(self, workshop: Workshop) -> None:
        self._workshop, self._pictures = workshop, Pictures()

    def routes(self) -> list[Route]:
        """Every address there is."""
        return [
            Route("/", self.home),
            Route("/static/{name}", self.static),
            Route("/picture", self.receive, methods=["POST"]),
            Route("/picture/{key}", self.picture),
            Route("/keep/{what}", self.keep, methods=["POST"]),
            Route("/waiting", self.waiting),
            Route("/waiting", self.stop, methods=["POST"]),
            Route("/{place}", self.place),
        ]

    async def home(self, request: Request) -> Response:
        """Where the day begins: in the book where there is one."""
        place = "book" if self._workshop.book_path and not request.url.query else "colour"
        return RedirectResponse(f"/{place}?{request.url.query}".rstrip("?"), 303)

    async def static(self, request: Request) -> Response:
        """One of our own files."""
        name = request.path_params["name"]
        if name not in data("page")["static"]:
            return PlainTextResponse("there is no such file.", 404)
        held = files("dyemix").joinpath("page", "static", name).read_bytes()
        return Response(held, media_type=data("page")["static"][name])

    async def place(self, request: Request) -> Response:
        """One of the six places."""
        name = request.path_params["place"]
        if name not in PLACES:
            return PlainTextResponse("there is no such place: /colour, /jars, /shelf, /bath …", 404)
        query = parse_qsl(request.url.query, keep_blank_values=True)
        page, status, address = await run_sync(self.view, name, query)
        pressed = _PRESSED & {name for name, _ in query}
        if status == 200 and pressed and "x-dyemix" not in request.headers:
            return RedirectResponse(address, 303)  # to open it again must not press it again
        headers = {"content-location": address}
        return Response(page, status, headers, "text/html; charset=utf-8")

    def view(self, place: str, query: list[tuple[str, str]]) -> tuple[str, int, str]:
        """A place as HTML, its status, and the address at which it can be opened again."""
        said, fault, slip = dict(query), "", Slip()
        try:
            shop = self._workshop
            # An address may be older than what the book knows of the cloth.
            slip = Slip.of([("stock", shop.stock), *query, ("spoons", shop.own.spoons)])
            slip = slip.but(share=shop.share(slip))  # stands where the press is refused
            job, slip = slip.job, carried_out(shop, slip, said)
            if slip.job != job:  # of whose cloth another part may take dye
                slip = slip.but(share=shop.share(slip))
            if which := said.get("kept"):
                kept = self._workshop.pictures(slip).get(which, b"")
                said["picture"] = self._pictures.add("kept.jpg", kept)
        except (DyemixError, ValueError) as error:
            fault = str(error)
        try:
            values = {**always(self._workshop, slip, place), **VIEWS[place](self._workshop, slip)}
            values |= self._beside(place, slip, said)
            found = values.pop("fault", "")
            fault = fault or found
        except (DyemixError, ValueError) as error:
            fault = fault or str(error)
            values = {**always(self._workshop, Slip(dark=slip.dark), place), "broken": True}
        beside = [(name, said[name]) for name in _BESIDE if name in said]
        page = pages().get_template("page/page.html").render(
            {"broken": False, "picture": "", "framed": None, "frame": Frame(), "spare": (),
             "mottled": None, "places": PLACES, "fault": fault, "typed": said.get("typed", ""),
             "spoon_signs": spoon_signs, "beside": beside, "title": PLACES[place][0],
             "today": date.today(), **values}
        )  # fmt: skip
        return page, 422 if fault else 200, slip.at(place, beside)

    def _beside(self, place: str, slip: Slip, said: Mapping[str, str]) -> dict[str, Any]:
        """What an address asks for beyond its slip: a picture and its frame, the jar to spare."""
        values: dict[str, Any] = {}
        if key := said.get("picture"):
            frame = Frame.parse(said.get("frame", str(Frame())))
            framed = self._pictures.framed(key, frame)
            values = {"picture": key, "frame": frame, "framed": framed}
            if place == "piece" and said.get("mottled"):
                photo = self._pictures.photo(key)
                told = (said.get(name, "") for name in ("grey", "undyed"))
                values["mottled"] = self._workshop.mottled(slip, key, *told, photo=photo)
        if place == "piece" and (which := said.get("analysed")):
            values["mottled"] = self._workshop.analysed(slip).get(which)
        if place == "shelf" and said.get("spare") and slip.wanted:
            values["spare"] = self._workshop.to_spare()
        return values

    async def receive(self, request: Request) -> Response:
        """A picture, kept in memory; its name comes back."""
        name, data = request.headers.get("x-name", "picture"), await request.body()
        return PlainTextResponse(await run_sync(self._pictures.add, name, data))

    async def picture(self, request: Request) -> Response:
        """A picture that was dropped, without what the camera wrote beside it."""
        data = await run_sync(self._pictures.jpeg, request.path_params["key"])
        return Response(data, media_type="image/jpeg")

    async def waiting(self, request: Request) -> Response:
        """How far the answer at work is, where that is known."""
        return PlainTextResponse(self._workshop.done)

    async def stop(self, request: Request) -> Response:
        """Stop the answer at work where it next says how far it is."""
        self._workshop.stopped.set()
        return PlainTextResponse("Stopped.")

    async def keep(self, request: Request) -> Response:
        """Keep the sheet or the piece of a slip in the book."""
        keepers = {"sheet": self._workshop.keep_sheet, "trial": self._workshop.keep_trial}
        what = request.path_params["what"]
        refuse(what not in keepers, f"there is nothing called {what!r} to keep.")
        query = parse_qsl(request.url.query, keep_blank_values=True)
        key = dict(query).get("picture")
        picture = await run_sync(self._pictures.jpeg, key) if key else None
        return PlainTextResponse(await run_sync(keepers[what], Slip.of(query), picture))


async def _refused(request: Request, error: Exception) -> Response:
    return PlainTextResponse(str(error), 404 if request.method == "GET" else 422)


def application(dyes: DyeSet, book: Path | None, port: int, method: str = "") -> Starlette:
    """The page of these dyes, answering on one port of this machine."""
    page = Page(Workshop(dyes, book, method))
    guard, handlers = [Middleware(Guard, port=port)], {DyemixError: _refused}
    return Starlette(routes=page.routes(), middleware=guard, exception_handlers=handlers)
