"""What every test may use: the open data beside the checkout, where they are there."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings
from postgres_server import postgres as postgres

# A deadline measures how busy the machine is, not whether the code is right.
settings.register_profile("planish", deadline=None)
settings.load_profile("planish")

WHERE = {
    "phm2016": "the PHM Society's 2016 data challenge page (phmsociety.org), training part",
    "wafers": "the R package nlme (data set Oxide; see also NIST/SEMATECH e-Handbook 3.5.1) and the "
    "openMV data collection",
    "layouts": "openly licensed chip layouts",
}


# Files that take long for the number of their tests; a file that is not here is as long as it has tests.
LONG = {
    "test_shipped_dies.py",
    "test_shipped_numbers.py",
    "test_bench_page.py",
    "test_bench_reach.py",
    "test_bench_tradeoffs.py",
    "test_bench_columns.py",
    "test_script_parts.py",
    "test_inputs_alive.py",
    "test_results.py",
    "test_outside_package.py",
    "test_types.py",
    "test_worked_pages.py",
    "test_asperities_balance.py",
    "test_calibrate.py",
    "test_choose.py",
    "test_tradeoffs.py",
    "test_tune_several.py",
}


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put files that take long first: what is left at the end is short, and no core waits for another's last file."""
    tests = Counter(item.path for item in items)
    items.sort(key=lambda item: (item.path.name not in LONG, -tests[item.path], str(item.path)))


@pytest.fixture(scope="session", autouse=True)
def _commands_built_once() -> Iterator[None]:
    """Build the command line of an app once for all that ask it here, not once a call: that takes longer than most calls."""
    from typer import testing

    build, built = testing._get_command, {}

    def kept(app: object) -> object:
        key = (id(app), len(app.registered_commands), len(app.registered_groups))
        if key not in built:
            built[key] = (app, build(app))
        return built[key][1]

    testing._get_command = kept
    yield
    testing._get_command = build


def _root() -> Path:
    given = os.environ.get("PLANISH_DATA")
    return Path(given) if given else Path(__file__).resolve().parents[2] / "shared" / "data"


@pytest.fixture
def shared_data(request: pytest.FixtureRequest):
    """A function from a path inside the open data to the file, or a skip that says what was not checked.

    In CI (``CI=true``) absent data fail instead: there the check must run.
    """

    def find(name: str) -> Path:
        path = _root() / name
        if path.exists():
            return path
        source = WHERE.get(name.split("/", maxsplit=1)[0], "its publisher")
        message = (
            f"NOT CHECKED: {request.node.name}: open data {name!r} not found under {_root()}; to run "
            f"this check get "
            f"them from {source} and set PLANISH_DATA to the folder that holds {name!r}"
        )
        if os.environ.get("CI", "").lower() == "true":
            pytest.fail(message + " (in CI this check must run)", pytrace=False)
        pytest.skip(message)

    return find
