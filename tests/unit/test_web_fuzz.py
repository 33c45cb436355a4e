"""The API fuzzed from its own OpenAPI description: whatever comes, no server error. The benchmark sends 5,000."""

from __future__ import annotations

import copy
import random

import schemathesis
from hypothesis import HealthCheck, given, settings
from schemathesis.checks import not_a_server_error

from planish.jobs.exchange import fresh
from planish.web.app import build
from planish.web.workers import Refused, Workers, call

ODD = [
    None,
    True,
    -1,
    0,
    1e308,
    "",
    "0 psi",
    "-3 psi",
    "1e300 m",
    "nan rpm",
    "9" * 200,
    "\u0000",
    [],
    {},
    "3 psi",
    "µ",
    ["3 psi"],
]


class SameProcess(Workers):
    """Workers that answer here."""

    async def ask(self, pool, name, *arguments, module="planish.web.answers", owner="", newest=None):
        done, answer = call(module, name, arguments)
        if not done:
            raise Refused(answer)
        return answer


def spoiled(rng: random.Random) -> dict:
    """Return a real document with up to three values replaced by something odd."""
    document = copy.deepcopy(fresh(rng.choice(["rotary", "linear", "orbital"])))
    for _ in range(rng.randrange(4)):
        here = document
        while True:
            keys = list(here) if isinstance(here, dict) else range(len(here))
            if not keys:
                break
            key = rng.choice(list(keys))
            if isinstance(here[key], dict | list) and here[key] and rng.random() < 0.85:
                here = here[key]
                continue
            here[key] = rng.choice(ODD)
            break
    return document


def put_documents(case: schemathesis.Case, rng: random.Random) -> None:
    """Random dictionaries are refused at the door; two times in three put in a document that nearly is one."""
    if isinstance(case.body, dict) and rng.random() < 0.67:
        for key in ("document", "a", "b"):
            if key in case.body:
                case.body[key] = spoiled(rng)
        for key, most in (("wafers", 5), ("cell_um", 200)):
            if key in case.body and not isinstance(case.body[key], dict | list | str):
                case.body[key] = most


def make(folder) -> schemathesis.BaseSchema:
    app = build(SameProcess(), folder, hosts=["testserver", "127.0.0.1"])
    app.state.services.jobs.start = lambda *args: (_ for _ in ()).throw(Refused("no jobs while fuzzing"))
    return schemathesis.openapi.from_asgi("/api/openapi.json", app)


def test_no_request_makes_the_server_fail(tmp_path) -> None:
    rng = random.Random(11)
    sent = 0
    for result in make(tmp_path).get_all_operations():
        operation = result.ok()

        @settings(
            max_examples=12,
            database=None,
            derandomize=True,
            suppress_health_check=list(HealthCheck),
        )
        @given(case=operation.as_strategy())
        def attack(case: schemathesis.Case) -> None:
            nonlocal sent
            put_documents(case, rng)
            case.call_and_validate(checks=[not_a_server_error], timeout=600)  # a busy machine is no failure
            sent += 1

        attack()
    assert sent > 100
