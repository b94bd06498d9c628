"""The routes of the page, and what each form does. Forms answer with a redirect, so that going back sends nothing."""

from asyncio import sleep
from collections.abc import Awaitable, Callable, Mapping
from http import HTTPStatus
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.background import BackgroundTask
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route

from triage import journal
from triage.desk import forms, pages
from triage.desk.change import change_line
from triage.desk.guard import MOST_BYTES
from triage.desk.reply import Reply, corrections, noted, reply_of
from triage.desk.tonight import Tonight
from triage.errors import TriageError
from triage.store import frame
from triage.writeup import phrase
from triage.writeup.parts import PARTS

# Who leafs on sooner notes nothing of a pair, and is not to wait for what is made ready.
GLANCE_SECONDS = 0.3

Fields = Mapping[str, str]
Work = Callable[[Request, Fields], Response]


def site(tonight: Tonight, buyer_files: Mapping[str, Path], photos: bool = False) -> Starlette:
    """Return the application, unguarded.

    Args:
        tonight: The pairs.
        buyer_files: Where buyers are edited, by id.
        photos: Load the photos that exports name.
    """
    desk = Desk(tonight, buyer_files, photos)
    routes = [
        Route("/", handled(desk.list), methods=["GET"]),
        Route("/parcels", handled(desk.parcels), methods=["GET"]),
        Route("/parcels/{name}", handled(desk.parcel), methods=["GET"]),
        Route("/parcels/{name}", handled(desk.receive), methods=["POST"]),
        Route("/knowledge", handled(desk.knowledge), methods=["GET"]),
        Route("/file/{file}", handled(desk.asset), methods=["GET"]),
        Route("/pair/{name}", handled(desk.pair), methods=["GET"]),
        Route("/pair/{name}/what-if", handled(desk.what_if), methods=["GET"]),
        Route("/pair/{name}/read", handled(desk.read), methods=["POST"]),
        Route("/pair/{name}/{what}", handled(desk.note), methods=["POST"]),
    ]

    async def told(request: Request, error: Exception) -> Response:
        status, faults = _fault(error)
        back = f"/pair/{request.path_params['name']}" if "name" in request.path_params else "/"
        title = f"{status.value} {status.phrase}"
        return HTMLResponse(pages.fault_page(tonight, title, faults, back), status)

    application = Starlette(routes=routes, exception_handlers={HTTPException: told, TriageError: told})
    application.router.redirect_slashes = False
    return application


def _fault(error: Exception) -> tuple[HTTPStatus, list[str]]:
    if isinstance(error, TriageError):
        return HTTPStatus.UNPROCESSABLE_ENTITY, [str(problem) for problem in error.problems]
    assert isinstance(error, HTTPException)
    status = HTTPStatus(error.status_code)
    return status, [{404: "There is no such page.", 405: "This page is not asked that way."}.get(status, status.phrase)]


def handled(work: Work) -> Callable[[Request], Awaitable[Response]]:
    """Return an endpoint: the form or the query read whole, the work done beside the loop."""

    async def endpoint(request: Request) -> Response:
        if request.method == "POST":
            try:
                body = await request.body()
            except ClientDisconnect:
                return Response(status_code=HTTPStatus.BAD_REQUEST)
        else:
            body = request.scope["query_string"]
        if len(body) > MOST_BYTES:
            raise HTTPException(HTTPStatus.REQUEST_ENTITY_TOO_LARGE)
        return await run_in_threadpool(work, request, forms.fields_of(body))

    return endpoint


class Desk:
    """The pages and forms over one night's pairs."""

    def __init__(self, tonight: Tonight, buyer_files: Mapping[str, Path], photos: bool) -> None:
        self.tonight, self.buyer_files, self.photos = tonight, buyer_files, photos
        self.shown = ""

    def listing(self, request: Request) -> str:
        """Return the listing an address names; anything else is no page."""
        with self.tonight.fresh():
            found = self.tonight.names.get(request.path_params["name"])
        if found is None:
            raise HTTPException(HTTPStatus.NOT_FOUND)
        return found

    def list(self, request: Request, fields: Fields) -> Response:
        """Show the list."""
        return HTMLResponse(pages.list_page(self.tonight))

    def pair(self, request: Request, fields: Fields) -> Response:
        """Show a pair, and make ready for what will be noted of it."""
        listing_id = self.shown = self.listing(request)
        page = pages.pair_page(self.tonight, listing_id, photos=self.photos)
        return HTMLResponse(page, background=BackgroundTask(self._make_ready, listing_id))

    async def _make_ready(self, listing_id: str) -> None:
        await sleep(GLANCE_SECONDS)
        if self.shown == listing_id:
            await run_in_threadpool(self.tonight.prepare, listing_id)

    def parcels(self, request: Request, fields: Fields) -> Response:
        """Show what was bought."""
        return HTMLResponse(pages.parcels_page(self.tonight))

    def parcel(self, request: Request, fields: Fields) -> Response:
        """Show the receipt sheet of a pair."""
        return HTMLResponse(pages.parcel_page(self.tonight, self.listing(request)))

    def knowledge(self, request: Request, fields: Fields) -> Response:
        """Show buyers and rules."""
        return HTMLResponse(pages.knowledge_page(self.tonight, self.buyer_files))

    def asset(self, request: Request, fields: Fields) -> Response:
        """Give one of the few files the pages load."""
        found = pages.assets().get(request.path_params["file"])
        if found is None:
            raise HTTPException(HTTPStatus.NOT_FOUND)
        return Response(found[1], media_type=found[0])

    def what_if(self, request: Request, fields: Fields) -> Response:
        """Show what would become of a pair if something were so; nothing is noted."""
        listing_id = self.listing(request)
        with self.tonight.fresh() as memory:
            supposed = forms.supposed_of(fields, self.tonight.catalogue, pages.repairs_of(memory, listing_id))
            before = self.tonight.standing(memory, listing_id)
            line = ""
            if supposed and before is not None:
                after = self.tonight.suppose(memory, listing_id, supposed, before.buyer)
                line = change_line(self._for(self._supposed(fields), before.buyer), before, after)
            decided = pages.Decided(line, {name: fields.get(name, "") for name in pages.SUPPOSED})
            if _is_part(request):
                return HTMLResponse(pages.render("decided.html", decided=decided))
        return HTMLResponse(pages.pair_page(self.tonight, listing_id, decided=decided, photos=self.photos))

    def _supposed(self, fields: Fields) -> str:
        catalogue, told = self.tonight.catalogue, {name: text.strip() for name, text in fields.items()}
        money = catalogue.words.money.base_currency
        words = {
            "price": f"at {money} {told.get('price')}",
            "purpose": f"to {told.get('purpose')}",
            "repair": f"repairs for {money} {told.get('repair')}",
            "storage": catalogue.signs[told["storage"]].affirmed if told.get("storage") else "",
            "year": f"{told.get('year')} on the label",
        }
        return "If " + ", ".join(text for name, text in words.items() if told.get(name))

    def read(self, request: Request, fields: Fields) -> Response:
        """Show what is read from a reply; nothing is noted."""
        listing_id, text = self.listing(request), forms.text_of(fields)
        reply = self._listing_reply(listing_id, text)
        if _is_part(request):
            return HTMLResponse(pages.render("reading.html", reply=reply))
        return HTMLResponse(pages.pair_page(self.tonight, listing_id, reply=reply, photos=self.photos))

    def _listing_reply(self, listing_id: str, text: str) -> Reply:
        with self.tonight.fresh() as memory:
            asked = frame(memory, pages.ASKED, [listing_id])["sign"].to_list()
            language = frame(memory, pages.LISTING, [listing_id])["language"][0]
        return reply_of(text, language, asked, self.tonight.catalogue)

    def note(self, request: Request, fields: Fields) -> Response:
        """Note what a form of a pair says, and lead back to the pair, which tells what changed."""
        listing_id, what = self.listing(request), request.path_params["what"]
        makers = {
            "look": self._look, "answer": self._answer, "asked": _plain("asked", "asked"),
            "no-reply": _plain("no_reply", "no reply came"), "sold": _plain("sold", "sold"),
            "open": _plain("open", "still to be had"), "bought": self._bought,
        }  # fmt: skip
        if what not in makers:
            raise HTTPException(HTTPStatus.NOT_FOUND)
        kind, content, cause = makers[what](listing_id, fields)
        if content is not None:
            self._write(forms.form_of(fields), kind, listing_id, content, cause)
        name = request.path_params["name"]
        return RedirectResponse(f"/parcels/{name}" if kind == "bought" else f"/pair/{name}", HTTPStatus.SEE_OTHER)

    def _write(self, form: str, kind: journal.Kind, listing_id: str, content: Mapping[str, Any], cause: str) -> None:
        with self.tonight.fresh() as memory:
            before = self.tonight.standing(memory, listing_id)
            if self.tonight.note(form, kind, listing_id, content):
                with self.tonight.fresh() as memory:
                    buyer = before.buyer if before else None
                    after = self.tonight.standing(memory, listing_id, buyer)
                    line = f"{cause}." if kind == "asked" else change_line(self._for(cause, buyer), before, after)
                    self.tonight.changed[listing_id] = line

    def _for(self, cause: str, buyer: str | None) -> str:
        """Return a cause with whose figures follow, where there are several buyers."""
        every = self.tonight.catalogue.buyers
        return f"{cause} (for {every[buyer].name})" if buyer and len(every) > 1 else cause

    def _look(self, listing_id: str, fields: Fields) -> "Made":
        catalogue = self.tonight.catalogue
        told = forms.told_of(fields, "look-", catalogue.look)
        with self.tonight.fresh() as memory:
            seen = dict(frame(memory, pages.LOOKED, [listing_id]).iter_rows())
        new = {sign: state for sign, state in told.items() if pages.LOOKED_AS.get(seen.get(sign, "")) != state}
        return "look", {"signs": new} if new else None, "; ".join(self._words(one, new[one]) for one in new)

    def _answer(self, listing_id: str, fields: Fields) -> "Made":
        text = forms.text_of(fields)
        reply = self._listing_reply(listing_id, text)
        told = forms.told_of(fields, "told-", [one.sign for one in reply.heard])
        content = noted(reply, corrections(reply, told, fields.get("read", "")))
        kept = self._listing_reply(listing_id, content["text"]).heard
        told = {one.sign: one.told for one in kept if one.told} | content["signs"]
        cause = "; ".join(self._words(sign, state) for sign, state in told.items()) or "Nothing is read from it"
        return "answer", content if text or content["signs"] else None, cause

    def _words(self, sign: str, told: str) -> str:
        known = self.tonight.catalogue.signs[sign]
        words = {"yes": known.affirmed, "no": known.denied or f"not: {known.affirmed}"}
        return words.get(told, f"{known.part} not shown")

    def _bought(self, listing_id: str, fields: Fields) -> "Made":
        told = {name: fields.get(name, "").strip()[:60] for name in ("price", "on", "buyer")}
        content = {"on": told["on"], "price": told["price"] or None, "buyer": told["buyer"] or None}
        return "bought", content, "Bought"

    def receive(self, request: Request, fields: Fields) -> Response:
        """Note what was found on a pair that arrived."""
        listing_id = self.listing(request)
        found = [
            {"part": part, "found": fields[f"found-{part}"][:20], "note": fields.get(f"note-{part}", "").strip()[:500],
             "wears": fields.get("wears", "").strip()[:10]}
            for part in PARTS
            if fields.get(f"found-{part}")
        ]  # fmt: skip
        content = {
            "arrived": fields.get("arrived", "").strip()[:20], "found": found,
            "photos": fields.get("photos", "").strip()[:500],
        }  # fmt: skip
        self._write(forms.form_of(fields), "received", listing_id, content, "Received")
        return RedirectResponse(f"/parcels/{request.path_params['name']}", HTTPStatus.SEE_OTHER)


Made = tuple[journal.Kind, Mapping[str, Any] | None, str]


def _plain(kind: journal.Kind, cause: str) -> Callable[[str, Fields], Made]:
    return lambda listing_id, fields: (kind, {}, phrase.plain(cause).capitalize())


def _is_part(request: Request) -> bool:
    """Return whether only a part of the page is wanted, by the page's script."""
    return request.headers.get("hx-request") == "true"
