"""How often a password may be tried, and how many are hashed at once.

A try is counted before it is hashed, so that tries side by side cannot all pass before the first has failed.
Counted are the pair of name and address, the address, and the name. A browser that has signed in as a person
before carries a device cookie; its tries count for itself alone, so that nobody else's failures keep its owner
out: the idea of A. Dedov, "Slow Down Online Guessing Attacks with Device Cookies" (OWASP,
owasp.org/www-community/Slow_Down_Online_Guessing_Attacks_with_Device_Cookies). There a name that is attacked
is closed to all unknown browsers; here an address without a failure still has a try, so that its owner gets in
from a new browser too. The numbers are common practice, no source.
"""

from __future__ import annotations

import asyncio
import ipaddress
import threading
import time
from collections import deque
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any, TypeVar

from planish.errors import PlanishError

T = TypeVar("T")
MINUTE = 60.0  # [s]
# Kind of key: how many tries in how many seconds.
LIMITS: dict[str, tuple[int, float]] = {
    "device": (5, MINUTE),  # of a browser that is known, for one person
    "pair": (5, MINUTE),  # for one name from one address
    "address": (20, MINUTE),  # from one address, whatever the name
    "name": (30, 10 * MINUTE),  # for one name from everywhere, unknown browsers only
    "knock": (60, MINUTE),  # requests to sign in from one address, refused ones too; above, they are not read
}
WAITING = 8  # passwords that wait to be hashed, in each line
Key = tuple[str, str, str]


class TooMany(PlanishError):
    """Too many tries; ``wait`` [s] says for how long, ``first`` whether this is the first one refused."""

    def __init__(self, message: str, wait: float, first: bool = False) -> None:
        super().__init__(message)
        self.wait = max(1, round(wait))
        self.first = first


@dataclass(frozen=True, slots=True)
class Ticket:
    """A try that was counted: when, and under what."""

    at: float
    keys: tuple[Key, ...]


class Tries:
    """The tries of the last minutes, in memory: a restart forgets them."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._tried: dict[Key, deque[float]] = {}
        self._told: dict[Key, float] = {}
        self._next_sweep = 0.0

    def take(self, name: str, address: str, device: str = "") -> Ticket:
        """Count a try, or refuse it.

        Where a name has had too many from everywhere, an address without a failure of late still has one.

        Raises
        ------
        TooMany
            While it has to wait.
        """
        pair, here, there = ("pair", name, address), ("address", "", address), ("name", name, "")
        keys: tuple[Key, ...] = (("device", name, device),) if device else (pair, here, there)
        now = self._clock()
        with self._lock:
            self._sweep(now)
            for key in keys:
                most, span = LIMITS[key[0]]
                tried = self._recent(key, now)
                if len(tried) < most or (key == there and not self._recent(here, now)):
                    continue
                wait = tried[-most] + span - now
                first = self._told.get(key, now) <= now
                self._told[key] = now + wait
                raise TooMany(
                    f"sign in: too many tries: wait {max(1, round(wait))} s, then try again", wait, first
                )
            for key in keys:
                self._tried.setdefault(key, deque(maxlen=2 * LIMITS[key[0]][0])).append(now)
        return Ticket(now, keys)

    def knock(self, address: str) -> float:
        """Count a request to sign in, before it is read; return how long [s] it has to wait, 0 to go on."""
        key, now = ("knock", "", address), self._clock()
        most, span = LIMITS["knock"]
        with self._lock:
            self._sweep(now)
            knocked = self._recent(key, now)
            if len(knocked) >= most:
                return max(1.0, knocked[0] + span - now)
            self._tried.setdefault(key, deque()).append(now)
        return 0.0

    def give_back(self, ticket: Ticket) -> None:
        """Take back a try that was not made, or was right."""
        with self._lock:
            for key in ticket.keys:
                if ticket.at in (tried := self._tried.get(key, deque())):
                    tried.remove(ticket.at)

    def right(self, ticket: Ticket) -> None:
        """Forget the failures before a right password.

        Those of the address and of the name stay: others' failures are among them.
        """
        self.give_back(ticket)
        with self._lock:
            self._tried.pop(ticket.keys[0], None)

    def _recent(self, key: Key, now: float) -> deque[float]:
        tried = self._tried.get(key)
        if tried is None:
            return deque()
        while tried and now - tried[0] >= LIMITS[key[0]][1]:
            tried.popleft()
        return tried

    def _sweep(self, now: float) -> None:
        """Forget what is over, once a minute."""
        if now < self._next_sweep:
            return
        self._next_sweep = now + MINUTE
        self._tried = {key: tried for key, tried in self._tried.items() if self._recent(key, now)}
        self._told = {key: until for key, until in self._told.items() if until > now}


class Line:
    """One thread that hashes, and a bounded line before it. Used from one event loop."""

    def __init__(self, name: str, waiting: int = WAITING) -> None:
        self._thread = ThreadPoolExecutor(1, thread_name_prefix=f"hash-{name}")
        self._most = 1 + waiting
        self._inside = 0

    async def run(self, function: Callable[..., T], *arguments: Any) -> T:
        """Return ``function(*arguments)``, run when its turn comes.

        Raises
        ------
        TooMany
            Where the line is full.
        """
        if self._inside >= self._most:
            raise TooMany("sign in: too many people at once: wait a few seconds, then try again", 3)
        self._inside += 1
        future = self._thread.submit(function, *arguments)
        future.add_done_callback(self._leave(asyncio.get_running_loop()))
        return await asyncio.wrap_future(future)

    def _leave(self, loop: asyncio.AbstractEventLoop) -> Callable[[Any], None]:
        def leave(_: Any) -> None:
            if not loop.is_closed():
                loop.call_soon_threadsafe(self._out)

        return leave

    def _out(self) -> None:
        self._inside -= 1

    def stop(self) -> None:
        """Hash nothing more."""
        self._thread.shutdown(wait=False, cancel_futures=True)


def grouped(host: str) -> str:
    """Return the address that tries are counted under: an IPv6 client holds a whole /64 (RFC 4291, 2.5.4, from memory)."""
    try:
        address = ipaddress.ip_address(host.partition("%")[0])
    except ValueError:
        return host[:64]
    if isinstance(address, ipaddress.IPv6Address):
        if address.ipv4_mapped is not None:
            return str(address.ipv4_mapped)
        return str(ipaddress.ip_network((address, 64), strict=False))
    return str(address)
