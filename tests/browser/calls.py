"""The API as a test calls it, to see what a page has really done."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import httpx


@dataclass(frozen=True, slots=True)
class Api:
    url: str
    token: str

    def get(self, path: str) -> Any:
        return self._checked("GET", path)

    def post(self, path: str, body: Any = None, **headers: str) -> Any:
        """`body` None: a command that takes none."""
        return self._checked("POST", path, headers=headers, **({} if body is None else {"json": body}))

    def _checked(self, method: str, path: str, *, headers: dict[str, str] | None = None, **more: Any) -> Any:
        all_headers = {"Authorization": f"Bearer {self.token}"} | (headers or {})
        answer = httpx.request(method, f"{self.url}/api/v1/{path}", headers=all_headers, timeout=20, **more)
        assert answer.is_success, answer.text
        return answer.json()
