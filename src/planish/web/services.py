"""What the routes use: workers, jobs, files, people and logs, as the server holds them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from planish.web.accounts import Accounts
    from planish.web.column_maps import ColumnMaps
    from planish.web.jobs import Jobs
    from planish.web.log import Approvals, Log
    from planish.web.sessions import Sessions
    from planish.web.tries import Line, Tries
    from planish.web.uploads import Uploads
    from planish.web.workers import Workers


@dataclass
class Services:
    """All of it. ``accounts`` and ``sessions`` are None on a server for one person.

    Passwords are hashed in two lines, so that a crowd of unknown browsers keeps no known one waiting.
    ``notes`` says what was set right in the data folder at the start.
    """

    workers: Workers
    jobs: Jobs
    uploads: Uploads
    maps: ColumnMaps
    approvals: Approvals
    log: Log
    tries: Tries
    line: Line
    known_line: Line
    accounts: Accounts | None = None
    sessions: Sessions | None = None
    https: bool = False
    proxies: tuple[str, ...] = ()
    notes: list[str] = field(default_factory=list)
