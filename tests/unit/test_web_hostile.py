"""Requests nobody means well with: each gets an answer of one line with the security headers, none a server error."""

from __future__ import annotations

import asyncio
import json
import random
from typing import Any

import pytest

from planish.web import accounts as people
from planish.web.accounts import Accounts
from planish.web.app import build
from planish.web.security import HEADERS
from planish.web.workers import Refused, Workers, call

PASSWORD = "correct horse battery"
DEEP = 100_000


class SameProcess(Workers):
    """Workers that answer here."""

    async def ask(self, pool, name, *arguments, module="planish.web.answers", owner="", newest=None):
        done, answer = call(module, name, arguments)
        if not done:
            raise Refused(answer)
        return answer


class Server:
    """The application called as a server calls it, with whatever bytes; remembers what was logged as failed."""

    def __init__(self, app: Any) -> None:
        self.app = app

    def ask(
        self,
        method: str,
        path: str,
        headers: list[tuple[bytes, bytes]] | None = None,
        body: bytes = b"",
        query: bytes = b"",
        host: bytes | None = b"localhost",
    ) -> tuple[int, dict[bytes, bytes], bytes]:
        """Send one request; return status, headers and body of the answer."""
        named = [(b"host", host)] if host is not None else []
        scope = {
            "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": method, "path": path,
            "raw_path": path.encode("utf-8", "replace"), "query_string": query, "root_path": "", "scheme": "http",
            "headers": [*named, *(headers or [])], "client": ("10.0.0.1", 1), "server": ("localhost", 80),
        }  # fmt: skip
        pieces = [body[i : i + 65536] for i in range(0, len(body), 65536)] or [b""]
        sent: list[dict[str, Any]] = []

        async def receive() -> dict[str, Any]:
            if not pieces:
                return {"type": "http.disconnect"}
            return {"type": "http.request", "body": pieces.pop(0), "more_body": bool(pieces)}

        async def send(message: dict[str, Any]) -> None:
            sent.append(message)

        asyncio.run(self.app(scope, receive, send))
        starts = [m for m in sent if m["type"] == "http.response.start"]
        assert len(starts) == 1, "one answer to one request"
        found = b"".join(m.get("body", b"") for m in sent if m["type"] == "http.response.body")
        pairs = starts[0]["headers"]
        assert len({k for k, _ in pairs if k != b"set-cookie"}) == len(
            [k for k, _ in pairs if k != b"set-cookie"]
        )
        return starts[0]["status"], dict(reversed(pairs)), found


def made(folder, team: bool) -> Server:
    if team:
        Accounts(folder / "people.json").add("ada", PASSWORD, "approve")
    app = build(SameProcess(), folder, team=team)
    app.state.services.jobs.start = lambda *args: (_ for _ in ()).throw(Refused("no jobs while fuzzing"))
    return Server(app)


@pytest.fixture(scope="module")
def single(tmp_path_factory):
    return made(tmp_path_factory.mktemp("single"), team=False)


@pytest.fixture(scope="module")
def team(tmp_path_factory):
    before = people._COST["n"]
    people._COST["n"] = 2
    yield made(tmp_path_factory.mktemp("team"), team=True)
    people._COST["n"] = before


def check(answer: tuple[int, dict[bytes, bytes], bytes], allowed: range = range(200, 500)) -> None:
    status, headers, body = answer
    assert status in allowed, body
    for key, value in HEADERS:
        assert headers.get(key) == value, key
    if status >= 400 and headers[b"content-type"] == b"application/json" and body:
        refused = json.loads(body)["refused"]
        assert "\n" not in refused
        assert "Traceback" not in refused


JSON = [(b"content-type", b"application/json")]


@pytest.mark.parametrize(
    "host", [b"[", b"[::1", b"]", b"[::g]", b"[::1]x", b"a" * 5000, b"\xff\xfe", b"", b"localhost:x", b"local host", b"[v1.a]", None]
)  # fmt: skip
def test_a_malformed_host_is_another_host(single, host) -> None:
    answer = single.ask("GET", "/api/me", host=host)
    check(answer)
    assert answer[0] == 421


def test_two_hosts_are_refused(single) -> None:
    answer = single.ask("GET", "/api/me", [(b"host", b"localhost")])
    check(answer)
    assert answer[0] == 400


@pytest.mark.parametrize(
    "origin", [b"[", b"http://[::1", b"http://[x]/", b"null", b"\xff", b"http://", b"//localhost@evil"]
)
def test_a_malformed_origin_is_another_page(single, origin) -> None:
    answer = single.ask("POST", "/api/read", [*JSON, (b"origin", origin)], b'{"text": ""}')
    check(answer)
    assert answer[0] == 403


@pytest.mark.parametrize(("length", "status"), [
    (b"-1", 400), (b"x", 400), (b"", 400), ("²".encode("latin-1"), 400), (b"1e3", 400), (b"+5", 400), (b"9" * 5000, 413), (b"99999999999", 413),
])  # fmt: skip
def test_a_bad_content_length_is_refused(single, length, status) -> None:
    answer = single.ask("POST", "/api/read", [*JSON, (b"content-length", length)], b"{}")
    check(answer)
    assert answer[0] == status


def test_a_body_that_grows_too_large_is_said_to_be(single) -> None:
    for path, query in (("/api/read", b""), ("/api/uploads", b"name=a.csv")):
        answer = single.ask("POST", path, JSON, b" " * (66 * 2**20), query)
        check(answer)
        assert answer[0] == 413, path


@pytest.mark.parametrize("body", [
    b"[" * DEEP, b'{"document":' * DEEP, b"[" * DEEP + b"]" * DEEP, b'{"document":' * 900 + b"{}" + b"}" * 900,
    b'{"document": ' + b'{"a":' * 40 + b"1" + b"}" * 40 + b"}",
    b'{"document": {"title": "\\ud800"}}', b'{"document": {"\\udfff": 1}}', b'{"\\ud800": 1}', b'{"text": "\\ud83d"}',
    b'{"document": {"a": NaN}}', b'{"document": {"a": [Infinity]}}', b'{"document": {"a": 1e999}}', b"9" * 5000,
    b'{"document": {"a": ' + b"9" * 4000 + b"}}", b"\xff\xfe{}", b"\x00", b"", b"null", b"[]", b'"a"', b"{} {}", b'{"document": {"a": "\\u0000"}}',
])  # fmt: skip
@pytest.mark.parametrize("path", ["/api/wafer", "/api/read", "/api/toml", "/api/compare"])
def test_bodies_that_are_no_questions(single, path, body) -> None:
    answer = single.ask("POST", path, JSON, body)
    check(answer, range(400, 500))


@pytest.mark.parametrize("path", [
    "/\0", "/static/\0", "/static/a\0.js", "/api/jobs/\0", "/static/" + "a" * 300, "/static/" + "a/" * 900, "/" + "a" * 5000,
    "/api/lessons/" + "x" * 1500, "/api/setups/\ud800".encode("utf-8", "replace").decode(), "/api/jobs/0000000000000000/maps/surface/0/0/99999999999999999999",
    "/static/../people.json", "/static/..%2f..%2fpeople.json", "/api/jobs/..", "/static", "/static/", "//", "/api/setups/\u2028",
])  # fmt: skip
def test_odd_paths(single, team, path) -> None:
    for server in (single, team):
        for method in ("GET", "POST", "DELETE", "HEAD", "PATCH", "FOO"):
            check(server.ask(method, path))


@pytest.mark.parametrize(
    "query",
    [
        b"\xff",
        b"%",
        b"name=%00",
        b"name=%ff%fe",
        b"&" * 5000,
        b"=" * 5000,
        b"name=" + b"a" * 9000,
        b"name=%ed%a0%80.csv",
        b"last=9e9",
    ],
)
def test_odd_queries(single, query) -> None:
    check(single.ask("POST", "/api/uploads", [], b"x", query), range(400, 500))
    check(single.ask("GET", "/api/log", [], b"", query))


@pytest.mark.parametrize(
    "cookie",
    [
        b"planish",
        b"planish=",
        b"=;=;;",
        b"planish=\xff\xfe",
        b'planish="\\"',
        b"planish=" + b"a" * 60000,
        b"planish=a\0b",
        b"\x00",
        b"planish=a; planish=b",
        b"planish-device=\xc3\x28",
    ],
)
def test_odd_cookies(team, cookie) -> None:
    answer = team.ask("GET", "/api/me", [(b"cookie", cookie)])
    check(answer)
    assert answer[0] == 401
    check(team.ask("GET", "/", [(b"cookie", cookie)]))
    body = json.dumps({"name": "ada", "password": PASSWORD}).encode()
    answer = team.ask("POST", "/api/sign-in", [*JSON, (b"cookie", cookie)], body)
    check(answer)


def test_every_kind_of_answer_carries_the_headers(single, team) -> None:
    wanted = {
        200: single.ask("GET", "/static/main.js"),
        303: team.ask("GET", "/"),
        404: single.ask("GET", "/nowhere"),
        405: single.ask("PUT", "/api/me"),
        413: single.ask("POST", "/api/read", [(b"content-length", b"99999999")]),
        414: single.ask("GET", "/" + "a" * 3000),
        421: single.ask("GET", "/", host=b"evil.example"),
        422: single.ask("POST", "/api/wafer", JSON, b"{}"),
    }
    for status, answer in wanted.items():
        check(answer)
        assert answer[0] == status
    assert single.ask("GET", "/static/nowhere.js")[0] == 404


def test_what_fails_inside_is_answered_and_logged(single, monkeypatch, caplog) -> None:
    def broken(*_: object) -> None:
        raise RuntimeError("a secret of the inside")

    monkeypatch.setattr(single.app.state.services.uploads, "told", broken)
    answer = single.ask("GET", "/api/uploads")
    check(answer, range(500, 501))
    assert b"secret" not in answer[2]
    assert "a secret of the inside" in caplog.text


ODD_TEXT = [
    "",
    "\0",
    "%00",
    "..",
    "\u202e",
    "é",
    "x" * 3000,
    "[",
    "{}",
    "' or 1=1",
    "\ud83d\ude00",
    "a b",
    "0",
    "-1",
    "nan",
]


def spoiled(rng: random.Random) -> bytes:
    """Return a body: a good one cut, doubled, or with bytes changed; or noise."""
    good = rng.choice([
        {"document": {}, "changes": {"pad.part": "x"}}, {"text": "[polisher]\nmotion = 'rotary'"}, {"name": "ada", "password": "x"},
        {"document": {"title": "x", "recipe": {"step": [{"name": "a"}]}}, "step": 3}, {"a": {}, "b": {}, "outcomes": ["x"]}, {"old": "a", "new": "b"},
    ])  # fmt: skip
    body = bytearray(json.dumps(good).encode())
    for _ in range(rng.randrange(6)):
        at = rng.randrange(len(body) + 1)
        turn = rng.randrange(4)
        if turn == 0:
            del body[at : at + rng.randrange(9)]
        elif turn == 1:
            body[at:at] = rng.choice(
                [b"[", b"{", b'"\\ud800"', b"\xff", b"\0", b"1e999", b"NaN", b'"', b"\\u0000"]
            )
        elif turn == 2:
            body[at:at] = rng.randbytes(rng.randrange(8))
        else:
            body[at:at] = rng.choice([b"[", b'{"a":']) * rng.randrange(3000)
    return bytes(body)


def test_no_request_gets_a_server_error(single, team) -> None:
    """Some 600 requests put together at random from a fixed seed."""
    rng = random.Random(17)
    paths = single.app.openapi()["paths"]
    routes = [(path, method.upper()) for path in sorted(paths) for method in sorted(paths[path])]
    routes += [("/", "GET"), ("/sign-in", "GET"), ("/static/{name}", "GET"), ("/{name}", "GET")]
    entered = team.ask(
        "POST", "/api/sign-in", JSON, json.dumps({"name": "ada", "password": PASSWORD}).encode()
    )
    cookie = (b"cookie", entered[1][b"set-cookie"].partition(b";")[0])
    names = [b"cookie", b"origin", b"content-type", b"accept", b"range", b"if-modified-since", b"if-none-match", b"sec-fetch-site",
             b"x-forwarded-for", b"x-forwarded-proto", b"transfer-encoding", b"authorization", b"expect"]  # fmt: skip
    statuses = set()
    for _ in range(300):
        path, method = rng.choice(routes)
        while "{" in path:
            before, _, after = path.partition("{")
            path = before + rng.choice(ODD_TEXT) + after.partition("}")[2]
        headers = [
            (
                rng.choice(names),
                rng.choice(
                    [rng.randbytes(rng.randrange(40)), rng.choice(ODD_TEXT).encode("utf-8", "replace")]
                ),
            )
            for _ in range(rng.randrange(4))
        ]
        if rng.random() < 0.8:
            headers.append(JSON[0])
        for server in (single, team):
            if server is team and rng.random() < 0.7:
                headers = [*headers, cookie]
            answer = server.ask(
                rng.choice([method, method, method, "PUT"]),
                path,
                headers,
                spoiled(rng),
                rng.choice([b"", b"name=a.csv", rng.randbytes(rng.randrange(30))]),
                rng.choice([b"localhost", b"localhost", b"127.0.0.1:8765", b"[::1]:8765", rng.randbytes(5)]),
            )
            check(answer)
            statuses.add(answer[0])
    assert statuses > {400, 401, 405, 421, 422}, statuses
