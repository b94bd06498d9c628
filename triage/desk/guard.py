"""Who may speak to the page: this machine's own browser, from the page's own forms, with the token of the start.

Any program of this machine and any site the browser has open can send requests to a port of it. So a request needs the
cookie that the start address sets, the host it is meant for (a name that was made to point here is refused), and, where
it writes, the browser's own word that it comes from one of the page's forms.
"""

import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from http import HTTPStatus
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qs

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

LOOPBACK = ("127.0.0.1", "::1")
MOST_BYTES = 131_072


@dataclass(frozen=True)
class Guard:
    """The outermost layer: it answers what may not pass, and marks every answer.

    Attributes:
        app: What answers what may pass.
        port: The port the page listens on.
        token: What the start address holds.
        images: Let the page load photos by http and https.
    """

    app: ASGIApp
    port: int
    token: str
    images: bool = False

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or let it through."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return
        headers = MutableHeaders(raw=[])
        headers.update(self.marks())

        async def marked(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message.get("headers", []), *headers.raw]
            await send(message)

        answer = self.refusal(scope)
        await (self.app if answer is None else answer)(scope, receive, marked)

    def marks(self) -> Mapping[str, str]:
        """Return the headers of every answer: nothing from or to anywhere else, no script but the page's files."""
        images = " https: http:" if self.images else ""
        return {
            "content-security-policy": (
                "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; form-action 'self'; "
                f"img-src 'self' data:{images}; base-uri 'none'; frame-ancestors 'none'"
            ),
            "x-content-type-options": "nosniff",
            # The browser leaves the origin of a form out where it may tell no referrer at all.
            "referrer-policy": "same-origin",
            "cross-origin-opener-policy": "same-origin",
            "cross-origin-resource-policy": "same-origin",
            "cache-control": "no-store",
        }

    def refusal(self, scope: Scope) -> Response | None:
        """Return the answer to a request that may not pass; None to one that may."""
        headers = Headers(scope=scope)
        hosts = headers.getlist("host")
        own = [f"{name}:{self.port}" for name in ("127.0.0.1", "localhost")]
        if (scope.get("client") or ("",))[0] not in LOOPBACK:
            return _no(HTTPStatus.FORBIDDEN, "only from this machine")
        if len(hosts) != 1 or hosts[0] not in own:
            return _no(HTTPStatus.BAD_REQUEST, f"the host of the request is not {own[0]}")
        if scope["method"] not in ("GET", "HEAD", "POST"):
            return _no(HTTPStatus.METHOD_NOT_ALLOWED, "GET, HEAD or POST")
        if scope["path"] == "/start":
            return self.start(scope)
        if not self.knows(headers.getlist("cookie")):
            return _no(HTTPStatus.FORBIDDEN, "open the address that 'triage desk' has printed")
        if scope["method"] == "POST":
            return self.refused_write(headers, hosts[0])
        return None

    def refused_write(self, headers: Headers, host: str) -> Response | None:
        """Return the answer to what wants to write and may not."""
        if headers.getlist("origin") != [f"http://{host}"] or headers.getlist("sec-fetch-site") != ["same-origin"]:
            return _no(HTTPStatus.FORBIDDEN, "only from a form of this page")
        length = headers.get("content-length", "")
        if not (length.isascii() and length.isdigit()):
            return _no(HTTPStatus.LENGTH_REQUIRED, "how long the request is")
        if int(length[:12]) > MOST_BYTES:
            return _no(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, f"at most {MOST_BYTES} bytes")
        return None

    def start(self, scope: Scope) -> Response:
        """Return the answer to the start address: the cookie, for the right token."""
        given = parse_qs(scope["query_string"].decode("latin-1")).get("token", [""])[-1]
        if not self.is_token(given):
            return _no(HTTPStatus.FORBIDDEN, "open the address that 'triage desk' has printed")
        answer = RedirectResponse("/", HTTPStatus.SEE_OTHER)
        answer.set_cookie(self.cookie, self.token, httponly=True, samesite="strict", path="/")
        return answer

    @property
    def cookie(self) -> str:
        """Name of the cookie; browsers don't keep ports apart."""
        return f"desk-{self.port}"

    def is_token(self, text: str) -> bool:
        """Return whether a text is the token, in time that tells nothing of where it differs."""
        return secrets.compare_digest(text.encode("utf-8", "replace"), self.token.encode())

    def knows(self, cookies: list[str]) -> bool:
        """Return whether one of the cookies is the token."""
        try:
            held = SimpleCookie("; ".join(cookies)).get(self.cookie)
        except CookieError:
            return False
        return held is not None and self.is_token(held.value)


def _no(status: HTTPStatus, why: str) -> Response:
    return PlainTextResponse(f"{status.value} {status.phrase}: {why}\n", status)
