"""Serves a preview to browsers on this machine, and to nobody else."""

from __future__ import annotations

import mimetypes
import secrets
import threading
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import PurePosixPath
from typing import Any
from urllib.parse import unquote, urlsplit

from reviewkit.errors import InputError
from reviewkit.pipeline.results import ASSETS
from reviewkit.preview.build import State
from reviewkit.publishing import site

HOST = "127.0.0.1"
_NAMES = (HOST, "localhost")
_BEAT_S = 10.0
"""Chosen: how long a browser that has gone keeps its thread here."""
_HEADERS = {
    # A page of another origin may neither read nor frame what is served here.
    "Cross-Origin-Resource-Policy": "same-origin",
    "X-Frame-Options": "DENY",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
}


class Board:
    """The state that is shown, and who waits for the next one.

    Parameters
    ----------
    name : str
        The review's, which is the folder of its pages in every address.
    """

    def __init__(self, name: str) -> None:
        self.name = name
        self.state = State()
        self.is_over = False
        self._changed = threading.Condition()

    def show(self, state: State) -> None:
        """Have every open page show another state."""
        with self._changed:
            self.state = state
            self._changed.notify_all()

    def end(self) -> None:
        """Let go of every open page."""
        with self._changed:
            self.is_over = True
            self._changed.notify_all()

    def wait(self, number: int) -> State:
        """Return the state once its number is another one, or after a while."""
        with self._changed:
            self._changed.wait_for(lambda: self.is_over or self.state.number != number, _BEAT_S)
            return self.state


@dataclass(frozen=True)
class Address:
    """Where a preview is.

    Parameters
    ----------
    secret : str
        Begins every path: no other page could guess it.
    """

    port: int
    secret: str
    name: str

    @property
    def url(self) -> str:
        """What to open in a browser."""
        return f"http://{HOST}:{self.port}/{self.secret}/{self.name}/index.html"


class _Asked(BaseHTTPRequestHandler):
    """One request."""

    def __init__(self, board: Board, secret: str, *rest: Any) -> None:
        self._board, self._secret = board, secret
        super().__init__(*rest)

    def do_GET(self) -> None:
        """Answer with a file of the pages, the stream of changes, or nothing."""
        told = self.headers.get("Host", "")
        port = self.connection.getsockname()[1]
        secret, *rest = PurePosixPath(unquote(urlsplit(self.path).path)).parts[1:] or ("",)
        is_ours = told in {f"{name}:{port}" for name in _NAMES}
        if not is_ours or not secrets.compare_digest(secret.encode(), self._secret.encode()):
            self._send(b"Not here.", "text/plain", HTTPStatus.NOT_FOUND)
        elif rest == ["events"]:
            self._stream()
        elif rest == ["preview.js"]:
            self._send(site.preview_script().encode(), "text/javascript")
        elif len(rest) == 2 and rest[0] == ASSETS and rest[1] == site.charts_name(site.charts_source()):
            self._send(site.charts_source().read_bytes(), "text/javascript")
        elif len(rest) > 1 and rest[0] == self._board.name:
            self._page(self._board.state, "/".join(rest[1:]))
        else:
            self._send(
                b"", "text/plain", HTTPStatus.FOUND, Location=f"/{self._secret}/{self._board.name}/index.html"
            )

    do_HEAD = do_GET

    def _page(self, state: State, name: str) -> None:
        kind = mimetypes.guess_type(name)[0] or "application/octet-stream"
        found = (state.pages / name).resolve() if state.pages else None
        if found is None and name == "index.html":
            self._send(site.preview_of_nothing(self._board.name, state, f"/{self._secret}").encode(), kind)
        elif found is None or not found.is_file() or not found.is_relative_to(state.pages.resolve()):  # type: ignore[union-attr]
            self._send(
                b"A preview has no such file; the published review may.", "text/plain", HTTPStatus.NOT_FOUND
            )
        elif kind == "text/html":
            text = site.with_preview(found.read_text(encoding="utf-8"), name, state, f"/{self._secret}")
            self._send(text.encode(), "text/html; charset=utf-8")
        else:
            self._send(found.read_bytes(), kind)

    def _stream(self) -> None:
        """Say the state's number now and whenever it changes (WHATWG HTML, server-sent events)."""
        self._head("text/event-stream", HTTPStatus.OK, {})
        number = -1
        while not self._board.is_over:
            state = self._board.wait(number)
            told = f"data: {state.number}\n\n" if state.number != number else ": still here\n\n"
            number = state.number
            try:
                self.wfile.write(told.encode())
                self.wfile.flush()
            except OSError:
                return

    def _send(self, data: bytes, kind: str, status: HTTPStatus = HTTPStatus.OK, **more: str) -> None:
        self._head(kind, status, {"Content-Length": str(len(data)), **more})
        if self.command == "GET":
            self.wfile.write(data)

    def _head(self, kind: str, status: HTTPStatus, more: dict[str, str]) -> None:
        self.send_response(status)
        for name, value in {"Content-Type": kind, **_HEADERS, **more}.items():
            self.send_header(name, value)
        self.end_headers()

    def log_message(self, format: str, *_: Any) -> None:
        """Say nothing at the terminal."""


class _Server(ThreadingHTTPServer):
    daemon_threads = True
    # Two previews at one port would share their visitors.
    allow_reuse_address = False

    def handle_error(self, *_: Any) -> None:
        """Leave alone that a browser has gone."""


def serving(board: Board, port: int = 0) -> tuple[Address, Callable[[], None]]:
    """Begin to serve in threads of their own; return where, and what ends it.

    Parameters
    ----------
    port : int
        0: any that is free.

    Raises
    ------
    InputError
        If the port is taken.
    """
    secret = secrets.token_urlsafe(16)
    try:
        server = _Server((HOST, port), partial(_Asked, board, secret))
    except OSError as error:
        raise InputError(
            f"port {port} can't be had on this machine ({error.strerror})",
            remedy="Leave --port off: any free one is taken then.",
        ) from None
    threading.Thread(target=server.serve_forever, daemon=True).start()

    def end() -> None:
        board.end()
        server.shutdown()
        server.server_close()

    return Address(server.server_address[1], secret, board.name), end
