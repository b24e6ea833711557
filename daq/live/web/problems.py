"""Refusals and errors of the API, all as RFC 9457 problems, and documented as such."""

from __future__ import annotations

from typing import Any, get_args

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from starlette.exceptions import HTTPException

from daq.keep.errors import NotThere, StoreError
from daq.refusals import Doubted, NotNow, Refusal, See, plainly

DOUBTED = "doubted"
"""The code of a value that looks like a slip: the page asks whether it is so."""
MEDIA_TYPE = "application/problem+json"
SCHEMA = {
    "type": "object",
    "properties": {
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string"},
        "code": {"enum": [DOUBTED]},
        "see": {"enum": list(get_args(See))},
    },
    "required": ["title", "status", "detail"],
}
_MEANINGS = {
    400: "not a request this daemon can read",
    401: "no key, or a wrong one",
    403: "from a foreign page, or not for this screen",
    404: "nothing there",
    408: "the body took too long",
    409: "not now: it does not fit what is going on",
    413: "the body is too large",
    414: "the address is too long",
    421: "not an address of this daemon",
    422: "not accepted: a value is wrong",
    429: "too fast",
    500: "a fault of the daemon",
    507: "the store did not take it",
}
RESPONSES: dict[int | str, dict[str, Any]] = {
    status: {"description": meaning, "content": {MEDIA_TYPE: {"schema": SCHEMA}}}
    for status, meaning in _MEANINGS.items()
}
"""What every route may answer besides its own responses."""


class Problem(Exception):
    """A refusal with its status."""

    def __init__(self, status: int, title: str, detail: str, *, wait_s: int = 0) -> None:
        super().__init__(detail)
        self.status, self.title, self.detail, self.wait_s = status, title, detail, wait_s


def problem(status: int, title: str, detail: str, headers: dict[str, str] | None = None, **more: str) -> JSONResponse:
    """An error as RFC 9457 has it. more: extension members."""
    # a lone surrogate, which JSON lets in, cannot be sent back
    said = detail.encode("utf-8", "backslashreplace").decode()
    return JSONResponse({"title": title, "status": status, "detail": said, **more}, status, headers, MEDIA_TYPE)


def add_errors(app: FastAPI) -> None:
    """Every error the routes raise, as a problem."""

    @app.exception_handler(Problem)
    async def refused(_: Request, error: Problem) -> JSONResponse:
        headers = {"Retry-After": str(error.wait_s)} if error.wait_s else None
        return problem(error.status, error.title, error.detail, headers)

    @app.exception_handler(NotNow)
    async def not_now(_: Request, error: NotNow) -> JSONResponse:
        return problem(409, "not now", str(error), None, **_see(error))

    @app.exception_handler(ValueError)
    async def bad_value(_: Request, error: ValueError) -> JSONResponse:
        code = {"code": DOUBTED} if isinstance(error, Doubted) else {}
        return problem(422, "not accepted", str(error), None, **code, **_see(error))

    @app.exception_handler(OverflowError)
    async def beyond(_: Request, __: OverflowError) -> JSONResponse:
        return problem(422, "not accepted", "a number is larger than the store or any measurement can hold")

    @app.exception_handler(NotThere)
    async def nothing_there(_: Request, error: NotThere) -> JSONResponse:
        return problem(404, "not there", str(error))

    @app.exception_handler(StoreError)
    async def not_stored(_: Request, error: StoreError) -> JSONResponse:
        return problem(507, "not stored", str(error))

    @app.exception_handler(RequestValidationError)
    async def bad_request(_: Request, error: RequestValidationError) -> JSONResponse:
        found = [f"{'.'.join(str(part) for part in item['loc'][1:])}: {plainly(item)}" for item in error.errors()]
        return problem(422, "not accepted", "; ".join(found))

    @app.exception_handler(HTTPException)
    async def by_http(_: Request, error: HTTPException) -> JSONResponse:
        headers = dict(error.headers) if error.headers else None
        return problem(error.status_code, str(error.detail).lower(), "see /api/v1/openapi for what there is", headers)

    @app.exception_handler(Exception)
    async def fault(_: Request, error: Exception) -> JSONResponse:
        return problem(500, "a fault of the daemon", f"{type(error).__name__}; the log has where, by the request's id")


def _see(error: Exception) -> dict[str, str]:
    """The place that a refusal names, as an extension member."""
    return {"see": error.see} if isinstance(error, Refusal) and error.see is not None else {}
