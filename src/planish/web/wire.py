"""What uvicorn answers by itself when bytes are no HTTP: as one line, with the headers of every other answer."""

from __future__ import annotations

from typing import Any


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
