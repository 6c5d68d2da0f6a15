"""A small client of the service's HTTP API: what any integrator would write, with the standard library only."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any
from urllib.error import HTTPError
from urllib.request import Request, urlopen

TIMEOUT_S = 20


@dataclass(frozen=True, slots=True)
class Answer:
    """Status, parsed body and entity tag of one answer."""

    status: int
    body: Any
    etag: str = ""


class Refused(RuntimeError):
    """The service answered something else than the story expects."""


class Api:
    """Speaks for one member."""

    def __init__(self, url: str, token: str) -> None:
        self._base = f"{url}/api/v1/"
        self._token = token

    def get(self, path: str) -> Any:
        return self.ask("GET", path, expect=(200,)).body

    def post(self, path: str, body: Any, *, expect: tuple[int, ...] = (200, 201, 207), tag: str = "") -> Any:
        return self.ask("POST", path, body, expect=expect, tag=tag).body

    def ask(
        self, method: str, path: str, body: Any = None, *, expect: tuple[int, ...] = (200,), tag: str = ""
    ) -> Answer:
        """One request. *tag* "*" or an entity tag goes into If-Match. *Raises* Refused for any other status."""
        headers = {"Authorization": f"Bearer {self._token}", "Content-Type": "application/json"}
        if tag:
            headers["If-Match"] = tag
        data = None if body is None and method == "GET" else json.dumps({} if body is None else body).encode()
        request = Request(self._base + path, data=data, method=method, headers=headers)
        try:
            with urlopen(request, timeout=TIMEOUT_S) as response:
                answer = _answer(response.status, response.read(), response.headers.get("ETag"))
        except HTTPError as error:
            with error:
                answer = _answer(error.code, error.read(), error.headers.get("ETag"))
        if answer.status not in expect:
            raise Refused(f"{method} {path} answered {answer.status}: {json.dumps(answer.body)[:600]}")
        return answer


def _answer(status: int, data: bytes, etag: str | None) -> Answer:
    return Answer(status, json.loads(data) if data else None, etag or "")
