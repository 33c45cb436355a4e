"""A real server over real sockets: what only shows when many ask at once, or when bytes are no HTTP."""

from __future__ import annotations

import json
import os
import re
import socket
import subprocess
import sys
import threading
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from http.client import HTTPConnection, HTTPResponse

import pytest

from planish.web.accounts import Accounts
from planish.web.leaving import remove
from planish.web.log import Log
from planish.web.security import HEADERS
from planish.web.tries import LIMITS

PASSWORD = "the one right password"


class Server:
    """A team's rig in processes of its own, started with the umask that most systems have."""

    def __init__(self, folder, *options: str) -> None:
        self.folder = folder
        command = [sys.executable, "-m", "planish.cli.main", "serve", "--team", "--port", "0", *options]
        before = os.umask(0o022)
        self.process = subprocess.Popen(
            [*command, "--data", str(folder)], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
        )
        os.umask(before)
        line = self.process.stdout.readline()
        found = re.search(r"http://localhost:(\d+)/", line)
        assert found, line + self.process.stdout.read()
        self.port = int(found[1])
        self.said: list[str] = []
        threading.Thread(target=lambda: self.said.extend(self.process.stdout), daemon=True).start()

    def ask(self, method: str, path: str, told: object = None, **headers: str) -> HTTPResponse:
        """Ask over a connection of its own."""
        connection = HTTPConnection("127.0.0.1", self.port, timeout=60)
        body = told if told is None or isinstance(told, bytes) else json.dumps(told)
        named = {key.replace("_", "-"): value for key, value in headers.items()}
        named = {"Host": f"localhost:{self.port}", "Content-Type": "application/json", **named}
        connection.request(method, path, body, named)
        reply = connection.getresponse()
        reply.body = reply.read()
        connection.close()
        return reply

    def enter(self, name: str, password: str = PASSWORD, **headers: str) -> HTTPResponse:
        return self.ask("POST", "/api/sign-in", {"name": name, "password": password}, **headers)

    def raw(self, content: bytes) -> bytes:
        """Send bytes as they are and return all that comes back."""
        with socket.create_connection(("127.0.0.1", self.port), timeout=60) as wire:
            wire.sendall(content)
            found = b""
            while piece := wire.recv(65536):
                found += piece
        return found

    def stop(self) -> None:
        self.process.terminate()
        self.process.wait(timeout=20)


def cookie_of(reply: HTTPResponse) -> str:
    return "; ".join(v.partition(";")[0] for k, v in reply.getheaders() if k.lower() == "set-cookie")


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    folder = tmp_path_factory.mktemp("team")
    for name in ("ada", "bob", "eve"):
        Accounts(folder / "people.json").add(name, PASSWORD, "work")
    running = Server(folder, "--https")
    yield running
    running.stop()
    assert not [line for line in running.said if "Traceback" in line], "".join(running.said)


def test_guesses_side_by_side_are_not_tried_side_by_side(server) -> None:
    """200 guesses at once, the last one right, from one address; another person goes on meanwhile."""
    bob = cookie_of(server.enter("bob", X_Forwarded_For="198.51.100.1"))
    words = [f"a wrong password {i}" for i in range(199)] + [PASSWORD]
    with ThreadPoolExecutor(200) as pool:
        asked = [pool.submit(server.enter, "ada", word, X_Forwarded_For="198.51.100.66") for word in words]
        mine = [server.ask("GET", "/api/me", Cookie=bob).status for _ in range(10)]
        codes = Counter(one.result().status for one in asked)
    assert mine == [200] * 10
    assert codes[401] + codes[200] <= LIMITS["pair"][0]
    assert codes[401] + codes[200] + codes[429] == 200
    tried = [
        e for e in Log(server.folder).read(0)[0] if e.get("person") == "ada" and e["what"] == "sign-in failed"
    ]
    assert len(tried) == codes[401]
    assert server.enter("ada", X_Forwarded_For="198.51.100.2").status == 200, "the owner, from elsewhere"
    refused = server.enter("ada", X_Forwarded_For="198.51.100.66")
    assert refused.status == 429
    assert int(refused.headers["retry-after"]) >= 1


def test_a_proxy_is_believed_about_addresses_and_must_name_them(server) -> None:
    assert "X-Forwarded-For" in json.loads(server.enter("bob").body)["refused"]
    assert server.enter("bob", X_Forwarded_For="198.51.100.3").status == 200
    addresses = {entry.get("address") for entry in Log(server.folder).read(0)[0]}
    assert "198.51.100.3" in addresses
    assert "127.0.0.1" not in addresses


def test_a_running_server_notices_who_is_taken_out(server) -> None:
    eve = cookie_of(server.enter("eve", X_Forwarded_For="198.51.100.4"))
    assert server.ask("GET", "/api/me", Cookie=eve).status == 200
    remove(server.folder, "eve")
    assert server.ask("GET", "/api/me", Cookie=eve).status == 401
    assert server.enter("eve", X_Forwarded_For="198.51.100.4").status == 401


def test_nothing_in_the_folder_is_open_to_others(server) -> None:
    bob = cookie_of(server.enter("bob", X_Forwarded_For="198.51.100.5"))
    sites = b"x_mm,y_mm,removal_nm\n0,0,1\n1,0,2\n0,1,3\n"
    assert server.ask("POST", "/api/uploads?name=a.csv", sites, Cookie=bob).status == 200
    found = [server.folder, *server.folder.rglob("*")]
    assert len(found) > 5
    assert [path for path in found if path.stat().st_mode & 0o077] == []


@pytest.mark.parametrize("content", [
    b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03", b"GET\r\n\r\n", b"\0\0\0\0\r\n\r\n", b"GET / HTTP/9.9\r\nConnection: close\r\n\r\n",
    b"GET / HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n", b"GET / HTTP/1.1\r\n\r\n", b"GET / HTTP/1.1\r\nHost: localhost\r\nContent-Length: x\r\n\r\n",
    b"POST /api/read HTTP/1.1\r\nHost: localhost\r\nContent-Length: 5\r\nContent-Length: 6\r\n\r\nhello",
    b"POST /api/read HTTP/1.1\r\nHost: localhost\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n",
    b"GET /" + b"a" * 60_000 + b" HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n",
    b"GET /\xff HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n", b"GET / HTTP/1.1\r\nHost: [::1\r\nConnection: close\r\n\r\n",
])  # fmt: skip
def test_bytes_that_are_no_request(server, content) -> None:
    """Each gets one answer, below 500, with the security headers."""
    head, _, body = server.raw(content).partition(b"\r\n\r\n")
    lines = head.split(b"\r\n")
    assert re.match(rb"HTTP/1\.1 4\d\d ", lines[0]), head
    found = dict(line.lower().split(b": ", 1) for line in lines[1:])
    for key, value in HEADERS:
        assert found.get(key) == value.lower(), key
    assert json.loads(body)["refused"]
    assert server.ask("GET", "/sign-in").status == 200
