"""The bench's server with workers that answer in the test's own process, so that a test starts no others."""

from __future__ import annotations

import asyncio

from planish.web.workers import Refused, Workers, call


class SameProcess(Workers):
    """Workers that answer here."""

    async def ask(self, pool, name, *arguments, module="planish.web.answers", owner="", newest=None):
        done, answer = await asyncio.to_thread(call, module, name, arguments)
        if not done:
            raise Refused(answer)
        return answer
