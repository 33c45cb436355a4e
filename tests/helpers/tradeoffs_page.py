"""What tests do on the page of trade-offs."""

from __future__ import annotations

from typing import Any

ASK = "#tradeoffs-view .ask"


def answer_the_question(page: Any) -> None:
    """Take the question in hand, open: the front of an earlier search that comes later leaves it so."""
    page.click(f"{ASK} > summary")
    if page.locator(f"{ASK}:not([open])").count():
        page.click(f"{ASK} > summary")
