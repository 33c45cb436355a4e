"""The server around the application: how many come in at a time, and what is said to bytes that are no HTTP."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import socket

AT_A_TIME = 4  # connections taken in before those that are in are served again
WAITING = 1024  # connections that wait to be taken in; the system may allow fewer


def server(application: Any, proxies: list[str]) -> Any:
    """Return a uvicorn server for the application; ``proxies`` are believed about whom they speak for.

    A crowd that comes in at once is taken in a few at a time, so that a page that is open already is served
    between them and not after all of them.
    """
    import uvicorn

    class Patient(uvicorn.Server):
        async def startup(self, sockets: list[socket.socket] | None = None) -> None:
            """Start; uvicorn gives both numbers, of those taken in and of those waiting, the same value."""
            await super().startup(sockets)
            for each in sockets or ():
                each.listen(WAITING)

    config = uvicorn.Config(
        application,
        log_level="warning",
        server_header=False,
        ws="none",
        http=protocol(),
        backlog=AT_A_TIME,
        timeout_keep_alive=60,
        timeout_graceful_shutdown=2,
        proxy_headers=bool(proxies),
        forwarded_allow_ips=proxies,
    )
    return Patient(config)


def protocol() -> Any:
    """Return uvicorn's h11 protocol with our answer to a request that cannot be read."""
    import h11
    from uvicorn.protocols.http.h11_impl import H11Protocol

    from planish.web.security import HEADERS

    class OneLine(H11Protocol):
        def send_400_response(self, msg: str) -> None:
            """Answer and close; where an answer is under way or done, only close."""
            if self.cycle is not None:  # what the application may still say has no one to go to
                self.cycle.disconnected = True
                self.cycle.message_event.set()
            if self.conn.our_state not in (h11.IDLE, h11.SEND_RESPONSE):
                self.transport.close()
                return
            body = b'{"refused": "this is not HTTP as the server reads it"}'
            headers = [
                (b"content-type", b"application/json"),
                (b"content-length", str(len(body)).encode()),
                (b"connection", b"close"),
                *HEADERS,
            ]
            told = (
                h11.Response(status_code=400, headers=headers, reason=b"Bad Request"),
                h11.Data(data=body),
            )
            for event in (*told, h11.EndOfMessage()):
                self.transport.write(self.conn.send(event))  # type: ignore[arg-type]
            self.transport.close()

    return OneLine
