"""A real PostgreSQL server for tests: made in a folder of its own, on the loopback, stopped and taken away at the end."""

from __future__ import annotations

import os
import secrets
import shutil
import socket
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

MISSING = (
    "these tests need a PostgreSQL server and must not be left out: install it (Debian: apt-get install postgresql), so that "
    "initdb and postgres are in /usr/lib/postgresql/*/bin or on the PATH"
)
STARTS = 60.0  # [s] that a busy machine may take


@dataclass(frozen=True)
class Server:
    """A running server."""

    port: int
    password: str
    tools: Path

    def url(self, database: str, *, password: str | None = None) -> str:
        return f"postgresql+pg8000://postgres:{password or self.password}@127.0.0.1:{self.port}/{database}"

    def new_database(self) -> str:
        """Return the URL of a new, empty database."""
        name = f"t{secrets.token_hex(6)}"
        self.sql(f"CREATE DATABASE {name}", "postgres")
        return self.url(name)

    def sql(self, line: str, database: str) -> list[tuple[object, ...]]:
        import pg8000.native

        connection = pg8000.native.Connection(
            "postgres", host="127.0.0.1", port=self.port, database=database, password=self.password
        )
        try:
            return [tuple(row) for row in connection.run(line) or []]
        finally:
            connection.close()


def tools() -> Path | None:
    """Return the folder of initdb and postgres."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), reverse=True)
    on_path = shutil.which("initdb")
    return found[0].parent if found else Path(on_path).resolve().parent if on_path else None


@contextmanager
def running() -> Iterator[Server]:
    """Give a server that runs; as root it runs as the user postgres, as it refuses to be root itself."""
    binaries = tools()
    if binaries is None:
        pytest.fail(MISSING, pytrace=False)
    folder = Path(tempfile.mkdtemp(prefix="planish-postgres-"))
    who: dict[str, str] = {}
    if os.geteuid() == 0:
        who = {"user": "postgres", "group": "postgres"}
        shutil.chown(folder, "postgres", "postgres")
    password = secrets.token_hex(12)
    (folder / "password").write_text(password)
    (folder / "password").chmod(0o644)
    data = folder / "data"
    quiet = {"cwd": folder, "stdout": subprocess.DEVNULL, "stderr": subprocess.STDOUT, **who}
    server: subprocess.Popen[bytes] | None = None
    try:
        made = [
            binaries / "initdb",
            "-D",
            data,
            "-U",
            "postgres",
            "-A",
            "scram-sha-256",
            "--no-sync",
            "-E",
            "UTF8",
        ]
        subprocess.run([*made, "--pwfile", folder / "password"], check=True, **quiet)
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
        options = {"port": port, "listen_addresses": "127.0.0.1", "unix_socket_directories": folder, "fsync": "off",
                   "max_connections": 60}  # fmt: skip
        words = [word for name, value in options.items() for word in ("-c", f"{name}={value}")]
        server = subprocess.Popen([binaries / "postgres", "-D", data, *words], **quiet)
        found = Server(port, password, binaries)
        _wait(found, server)
        yield found
    finally:
        if server is not None:
            server.terminate()
            try:
                server.wait(20)
            except subprocess.TimeoutExpired:
                server.kill()
                server.wait()
        shutil.rmtree(folder, ignore_errors=True)


def _wait(server: Server, process: subprocess.Popen[bytes]) -> None:
    end = time.monotonic() + STARTS
    while True:
        try:
            server.sql("SELECT 1", "postgres")
            return
        except Exception as error:
            if process.poll() is not None or time.monotonic() > end:
                raise RuntimeError(f"the PostgreSQL server of the tests does not start: {error}") from error
            time.sleep(0.1)


@pytest.fixture(scope="session")
def postgres() -> Iterator[Server]:
    """A PostgreSQL server, the same for all tests of a worker."""
    with running() as found:
        yield found
