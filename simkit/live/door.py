"""The door of the live page: who may ask at all, and what every answer forbids.

Only addresses of this machine in the Host header (a foreign name that resolves here is refused),
only this page's own origin, and only under the random token of the address.
"""

import secrets
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; "
    "img-src 'self' data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
"""For the page itself: its own files only, nothing inline."""
REPORT_POLICY = (
    "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data:; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
"""For reports, which are one file each; their own policy narrows the scripts to one digest."""
ALWAYS = {
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}
"""Headers of every answer; the address holds the token, so it must not travel as a referrer."""


def new_token() -> str:
    """A token nobody guesses: 128 random bits."""
    return secrets.token_urlsafe(16)


class Door:
    """Lets through what comes from this machine's own page, with the token cut off the path."""

    def __init__(self, inner: App, token: str, port: int) -> None:
        self._inner = inner
        self._token = token
        self._hosts = {f"{name}:{port}" for name in ("127.0.0.1", "localhost")}
        self._origins = {f"http://{host}" for host in self._hosts}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request, or refuse it."""
        if scope["type"] == "lifespan":
            await self._inner(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        refusal = self._refusal(scope)
        if refusal is not None:
            await _refuse(send, *refusal)
            return
        path = scope["path"].removeprefix(f"/{self._token}") or "/"
        inner = {**scope, "path": path, "raw_path": path.encode(), "root_path": ""}
        await self._inner(inner, receive, _with_headers(send, path))

    def _refusal(self, scope: Scope) -> tuple[int, str] | None:
        headers: dict[str, list[str]] = {}
        for name, value in scope["headers"]:
            headers.setdefault(name.decode("latin-1"), []).append(value.decode("latin-1"))
        if len(headers.get("host", [])) != 1 or headers["host"][0] not in self._hosts:
            return 403, "This page answers to 127.0.0.1 and localhost only."
        if any(origin not in self._origins for origin in headers.get("origin", [])):
            return 403, "This page answers to its own origin only."
        sites = headers.get("sec-fetch-site", [])
        if any(site not in ("same-origin", "none") for site in sites):
            return 403, "This page answers to its own origin only."
        first = scope["path"].split("/")[1] if "/" in scope["path"] else ""
        if not secrets.compare_digest(first.encode(), self._token.encode()):
            return 404, "Nothing here: the address is not the one simkit bench printed."
        return None


def _with_headers(send: Send, path: str) -> Send:
    policy = REPORT_POLICY if path.startswith("/reports/") else POLICY
    extra = {**ALWAYS, "Content-Security-Policy": policy}

    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            more = [(k.lower().encode(), v.encode()) for k, v in extra.items()]
            message["headers"] = [*message.get("headers", []), *more]
        await send(message)

    return sending


async def _refuse(send: Send, status: int, text: str) -> None:
    headers = [(k.lower().encode(), v.encode()) for k, v in ALWAYS.items()]
    headers += [(b"content-type", b"text/plain; charset=utf-8"),
                (b"content-security-policy", b"default-src 'none'")]  # fmt: skip
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": text.encode()})
