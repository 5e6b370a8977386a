"""Whether the server keeps out what must not reach it; each test tries to get in."""

from __future__ import annotations

import asyncio
import json
import logging
from collections.abc import Iterator

import pytest
from starlette.testclient import TestClient
from starlette.types import Message

from dampcell import __version__
from dampcell.functions.hosts.http.app import PAGE, Application
from dampcell.functions.hosts.http.guard import HEADERS

ADDRESS = "http://127.0.0.1:27430"
TOKEN = "t" * 43
NO_CALLS = {"version": __version__, "calls": []}
GETS = ["/", "/v1/health", "/v1/functions", "/v1/guides", "/openapi.json", "/style.css", "/app.js"]


def error_of(answer: object) -> dict[str, object]:
    """Read an error, and hold it to the one shape."""
    read = answer.json()  # type: ignore[attr-defined]  # the client's response has no public type
    assert set(read) == {"error"}
    assert set(read["error"]) == {"code", "message", "argument"}
    assert read["error"]["message"].endswith(".")
    return dict(read["error"])


@pytest.mark.parametrize(
    "host",
    [
        "evil.example",
        "evil.example:27430",
        "127.0.0.1",
        "127.0.0.1:80",
        "127.0.0.1.evil.example:27430",
        "localhost:27431",
        "127.0.0.1:27430@evil.example",
        "0.0.0.0:27430",
        "[::]:27430",
        "",
    ],
)
@pytest.mark.parametrize("path", GETS)
def test_a_foreign_name_that_leads_to_this_machine_is_refused(
    client: TestClient, host: str, path: str
) -> None:
    answer = client.get(path, headers={"Host": host})
    assert answer.status_code == 403
    assert error_of(answer)["code"] == "host"


@pytest.mark.parametrize("host", ["127.0.0.1:27430", "localhost:27430", "LOCALHOST:27430", "[::1]:27430"])
def test_each_name_of_this_machine_is_answered(client: TestClient, host: str) -> None:
    assert client.get("/v1/health", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize(
    "origin",
    [
        "http://evil.example",
        "null",
        "http://127.0.0.1:8080",
        "https://127.0.0.1:27430",
        "file://",
        "http://localhost",
        "http://127.0.0.1:27430.evil.example",
        "",
    ],
)
def test_a_page_of_another_server_is_refused_even_with_the_token(client: TestClient, origin: str) -> None:
    answer = client.post("/v1/calls", json=NO_CALLS, headers={"Origin": origin})
    assert answer.status_code == 403
    assert error_of(answer)["code"] == "origin"
    assert "access-control-allow-origin" not in answer.headers


def test_our_own_page_is_answered(client: TestClient) -> None:
    answer = client.post("/v1/calls", json=NO_CALLS, headers={"Origin": "http://127.0.0.1:27430"})
    assert answer.status_code == 200


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_a_request_that_a_browser_calls_foreign_is_refused(client: TestClient, site: str) -> None:
    answer = client.get("/v1/functions", headers={"Sec-Fetch-Site": site, "Sec-Fetch-Mode": "no-cors"})
    assert answer.status_code == 403


def test_a_link_from_elsewhere_may_open_the_page(client: TestClient) -> None:
    answer = client.get("/", headers={"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate"})
    assert answer.status_code == 200


def test_a_preflight_gets_no_permission(client: TestClient) -> None:
    asked = {"Origin": "http://evil.example", "Access-Control-Request-Method": "POST"}
    for headers in (asked, {"Access-Control-Request-Method": "POST"}):
        answer = client.options("/v1/calls", headers=headers)
        assert answer.status_code in (403, 405)
        assert not any(name.startswith("access-control") for name in answer.headers)


@pytest.mark.parametrize(
    "kind",
    [
        "text/plain",
        "application/x-www-form-urlencoded",
        "multipart/form-data",
        "application/jsonp",
        "text/json",
        "application/json; charset=utf-16",
        "text/plain; application/json",
        "",
    ],
)
def test_what_a_form_of_a_foreign_page_could_send_is_refused(client: TestClient, kind: str) -> None:
    answer = client.post("/v1/calls", content=json.dumps(NO_CALLS), headers={"Content-Type": kind})
    assert answer.status_code == 415
    assert error_of(answer)["code"] == "content_type"


def test_json_may_name_its_only_character_set(client: TestClient) -> None:
    headers = {"Content-Type": 'Application/JSON; charset="UTF-8"'}
    assert client.post("/v1/calls", content=json.dumps(NO_CALLS), headers=headers).status_code == 200


@pytest.mark.parametrize("path", ["/v1/calls", "/v1/links", "/v1/unknown"])
@pytest.mark.parametrize(
    "given",
    [
        None,
        "",
        "Bearer",
        "Bearer ",
        "Bearer " + "t" * 42,
        "Bearer " + "t" * 44,
        "Basic " + TOKEN,
        TOKEN,
        "Bearer ü",
    ],
)
def test_a_post_without_the_token_is_refused(app: Application, path: str, given: str | None) -> None:
    headers = {} if given is None else {b"Authorization": given.encode("latin-1")}
    answer = TestClient(app, base_url=ADDRESS).post(path, json=NO_CALLS, headers=headers)
    assert answer.status_code == 401
    assert "dampcell serve --link" in str(error_of(answer)["message"])


def test_a_token_in_the_address_or_the_body_opens_nothing(app: Application) -> None:
    stranger = TestClient(app, base_url=ADDRESS)
    body = {**NO_CALLS, "token": TOKEN}
    assert stranger.post(f"/v1/calls?token={TOKEN}", json=body).status_code == 401
    stranger.cookies.set("token", TOKEN)
    assert stranger.post("/v1/calls", json=body).status_code == 401


def test_two_tokens_in_one_request_open_nothing(app: Application) -> None:
    headers = [("Authorization", f"Bearer {TOKEN}"), ("Authorization", "Bearer x")]
    assert (
        TestClient(app, base_url=ADDRESS).post("/v1/calls", json=NO_CALLS, headers=headers).status_code == 401
    )


def test_health_tells_whether_the_token_is_right(app: Application, client: TestClient) -> None:
    assert client.get("/v1/health").json()["authorised"] is True
    stranger = TestClient(app, base_url=ADDRESS)
    assert stranger.get("/v1/health").json()["authorised"] is False
    assert stranger.get("/v1/health", headers={"Authorization": "Bearer x"}).json()["authorised"] is False


def test_a_body_above_the_cap_is_refused_by_its_stated_length(client: TestClient) -> None:
    answer = client.post("/v1/calls", content=b" " * 200_001, headers={"Content-Type": "application/json"})
    assert answer.status_code == 413
    assert "larger than" in str(error_of(answer)["message"])


def test_a_body_above_the_cap_is_refused_while_it_streams_in(client: TestClient) -> None:
    sent = 0

    def endless() -> Iterator[bytes]:
        nonlocal sent
        while sent < 100:
            sent += 1
            yield b" " * 10_000

    answer = client.post("/v1/calls", content=endless(), headers={"Content-Type": "application/json"})
    assert answer.status_code == 413
    assert error_of(answer)["code"] == "body_size"


@pytest.mark.parametrize("length", ["-1", "1e3", "²", "999999999999999999999999"])
def test_a_length_that_is_no_number_or_too_large_is_refused(client: TestClient, length: str) -> None:
    headers = {b"Content-Type": b"application/json", b"Content-Length": length.encode("latin-1")}
    assert client.post("/v1/calls", content=b"", headers=headers).status_code == 413


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "TRACE", "CONNECT"])
def test_other_methods_are_refused(client: TestClient, method: str) -> None:
    answer = client.request(method, "/v1/calls")
    assert answer.status_code == 405
    assert error_of(answer)["code"] == "method"


@pytest.mark.parametrize(
    "path",
    [
        "/../settings.py",
        "/..%2fapp.py",
        "/%2e%2e/%2e%2e/etc/passwd",
        "/page/index.html",
        "/app.py",
        "/token",
        "/index.html",
        "//etc/passwd",
        "/style.css/%2e%2e",
        "/v1/",
        "/v1/health/",
        "/docs",
    ],
)
def test_nothing_is_served_but_the_files_of_the_page(client: TestClient, path: str) -> None:
    answer = client.get(path)
    assert answer.status_code == 404
    assert error_of(answer)["code"] == "not_found"


@pytest.mark.parametrize("path", [*GETS, "/nothing"])
def test_every_answer_carries_the_protecting_headers(client: TestClient, path: str) -> None:
    answer = client.get(path)
    for name, value in HEADERS.items():
        assert answer.headers[name] == value
    assert "unsafe" not in answer.headers["content-security-policy"]


def test_no_answer_to_a_stranger_holds_the_token(app: Application) -> None:
    stranger = TestClient(app, base_url=ADDRESS)
    for path in ["/", *(f"/{name}" for name in PAGE if name != "index.html"), *GETS]:
        answer = stranger.get(path)
        assert answer.status_code == 200
        assert TOKEN not in answer.text
        assert TOKEN not in str(answer.headers)
    assert TOKEN not in repr(app.settings)


def test_the_page_asks_nothing_of_the_outside(client: TestClient) -> None:
    for name in PAGE:
        text = client.get("/" if name == "index.html" else f"/{name}").text
        assert "https://" not in text
        assert "http://" not in text.replace("http://www.w3.org/2000/svg", "")


def test_a_link_gives_the_token_once(app: Application) -> None:
    key = app.new_link().partition("#key=")[2]
    page = TestClient(app, base_url=ADDRESS, headers={"Origin": ADDRESS})
    first = page.post("/v1/session", json={"version": __version__, "key": key})
    assert first.json() == {"token": TOKEN}
    second = page.post("/v1/session", json={"version": __version__, "key": key})
    assert second.status_code == 401
    assert "has been used" in str(error_of(second)["message"])


@pytest.mark.parametrize("key", ["", "x", None, 1, ["x"], "\ud800"])
def test_a_guessed_key_gives_nothing(app: Application, key: object) -> None:
    app.new_link()
    body = json.dumps({"version": __version__, "key": key})
    answer = TestClient(app, base_url=ADDRESS).post(
        "/v1/session", content=body, headers={"Content-Type": "application/json"}
    )
    assert answer.status_code == 401
    assert TOKEN not in answer.text


def test_a_foreign_page_cannot_trade_a_key(app: Application) -> None:
    key = app.new_link().partition("#key=")[2]
    answer = TestClient(app, base_url=ADDRESS).post(
        "/v1/session", json={"version": __version__, "key": key}, headers={"Origin": "http://evil.example"}
    )
    assert answer.status_code == 403


def test_who_knows_the_token_may_ask_for_another_link(client: TestClient) -> None:
    link = client.post("/v1/links", json={"version": __version__}).json()["link"]
    assert link.startswith("http://127.0.0.1:27430/#key=")
    key = link.partition("#key=")[2]
    assert client.post("/v1/session", json={"version": __version__, "key": key}).json() == {"token": TOKEN}


def test_a_link_for_another_version_is_refused(client: TestClient) -> None:
    answer = client.post("/v1/links", json={"version": "99.0.0"})
    assert answer.status_code == 409


def test_the_log_names_requests_and_no_secrets(
    app: Application, client: TestClient, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG)
    key = app.new_link().partition("#key=")[2]
    page = TestClient(app, base_url=ADDRESS)
    page.post("/v1/session", json={"version": __version__, "key": key})
    page.get(f"/v1/health?token={TOKEN}", headers={"Authorization": f"Bearer {TOKEN}"})
    page.get(f"/{TOKEN}")
    page.get("/x%0a2026-01-01 GET /forged 200")
    client.post("/v1/calls", json=NO_CALLS)
    lines = [record.getMessage() for record in caplog.records if record.name == "dampcell.http.access"]
    assert [line.rsplit(" ", 2)[0] for line in lines] == [
        "POST /v1/session 200",
        "GET /v1/health 200",
        "GET (unknown path) 404",
        "GET (unknown path) 404",
        "POST /v1/calls 200",
    ]
    own = [record for record in caplog.records if record.name.startswith(("dampcell", "uvicorn"))]
    assert not any(TOKEN in record.getMessage() or key in record.getMessage() for record in own)


def test_a_fault_inside_gives_the_one_shape_and_no_traceback(
    app: Application, client: TestClient, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    async def fail(_body: bytes) -> None:
        raise RuntimeError(f"secret {TOKEN}")

    monkeypatch.setattr(app._pool, "run", fail)
    answer = client.post("/v1/calls", json=NO_CALLS)
    assert answer.status_code == 500
    assert "fault of Dampcell" in str(error_of(answer)["message"])
    assert "Traceback" not in answer.text
    assert TOKEN not in answer.text
    own = [record for record in caplog.records if record.name == "dampcell.http"]
    assert [record.getMessage() for record in own] == ["a request failed inside with RuntimeError"]


def test_an_unchanged_file_is_not_sent_twice(client: TestClient) -> None:
    first = client.get("/app.js")
    again = client.get("/app.js", headers={"If-None-Match": first.headers["etag"]})
    assert again.status_code == 304
    assert again.content == b""


def test_a_websocket_is_closed(app: Application) -> None:
    from starlette.websockets import WebSocketDisconnect

    client = TestClient(app, base_url=ADDRESS)
    with pytest.raises(WebSocketDisconnect), client.websocket_connect("/v1/calls"):
        pass


@pytest.mark.parametrize(
    ("method", "path"), [("GET", "/v1/calls"), ("GET", "/v1/session"), ("POST", "/v1/health")]
)
def test_an_address_answers_its_own_kind_of_request_only(client: TestClient, method: str, path: str) -> None:
    answer = client.request(method, path, json={} if method == "POST" else None)
    assert answer.status_code == 405
    assert "does not answer this kind of request" in str(error_of(answer)["message"])


def test_more_requests_than_can_wait_are_told_to_come_again(
    app: Application, client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(app, "_at_work", app.settings.limits.waiting)
    answer = client.post("/v1/calls", json=NO_CALLS)
    assert answer.status_code == 503
    assert "too many requests are waiting" in str(error_of(answer)["message"])


@pytest.mark.parametrize("hangs", [False, True])
def test_a_body_that_does_not_arrive_is_given_up(
    app: Application, monkeypatch: pytest.MonkeyPatch, hangs: bool
) -> None:
    monkeypatch.setattr("dampcell.functions.hosts.http.app._READ_SECONDS", 0.0)
    sent: list[Message] = []

    async def receive() -> Message:
        if hangs:
            await asyncio.Event().wait()
        return {"type": "http.disconnect"}

    async def send(message: Message) -> None:
        sent.append(message)

    headers = [
        (b"host", b"127.0.0.1:27430"),
        (b"content-type", b"application/json"),
        (b"authorization", f"Bearer {TOKEN}".encode()),
    ]
    scope = {"type": "http", "method": "POST", "path": "/v1/calls", "headers": headers}
    asyncio.run(app(scope, receive, send))
    assert sent[0]["status"] == 408
    assert b"did not arrive within" in sent[1]["body"]
