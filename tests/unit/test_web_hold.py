"""Charts and traces over HTTP: the same answers as in Python, refusals that name the file as its owner does."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from answered_here import SameProcess
from starlette.testclient import TestClient

from planish import follow_trace, hold_chart, invent_trace, watch_trace
from planish.jobs.exchange import fresh
from planish.web.answers import setup_of
from planish.web.app import build
from planish.web.holding import MOST_DRAWN

EXAMPLES = Path(__file__).parents[2] / "examples"


@pytest.fixture
def rig(tmp_path):
    with TestClient(build(SameProcess(), tmp_path / "data"), base_url="http://localhost") as client:
        yield client


def bring(client: TestClient, name: str, content: bytes) -> str:
    reply = client.post(f"/api/uploads?name={name}", content=content)
    assert reply.status_code == 200, reply.json()
    return str(reply.json()["id"])


def refused(client: TestClient, path: str, body: dict[str, Any]) -> str:
    reply = client.post(path, json=body)
    assert reply.status_code == 400, reply.json()
    return str(reply.json()["refused"])


def test_the_columns_of_a_table_and_what_they_are_for(rig) -> None:
    rows = "\n".join(f"{k},{'A' if k < 4 else 'B'},{300 + k / 7:.3f},x{k}" for k in range(8))
    file = bring(rig, "line.csv", f"wafer,pad,rate,name\n{rows}\n".encode())
    told = rig.post("/api/hold/columns", json={"file": file}).json()
    assert told["rows"] == 8
    by_name = {one["name"]: one for one in told["columns"]}
    assert [by_name[name]["numbers"] for name in ("wafer", "pad", "rate", "name")] == [
        True,
        False,
        True,
        False,
    ]
    assert (by_name["wafer"]["whole"], by_name["rate"]["whole"]) == (True, False)
    assert (by_name["pad"]["phases"], by_name["name"]["phases"]) == (2, 8)


def test_a_chart_is_that_of_the_function(rig) -> None:
    table = EXAMPLES / "data" / "month.csv"
    file = bring(rig, "month.csv", table.read_bytes())
    asked = {"file": file, "value": ["rate"], "chart": "ewma", "phase": "pad", "baseline": 30, "weight": 0.1}
    got = rig.post("/api/hold/chart", json=asked).json()
    want = hold_chart(table, "rate", "ewma", phase="pad", baseline=30, weight=0.1)
    assert got["alarms"] == want.document()["alarms"]
    assert (got["centre"], got["lower"], got["upper"]) == (want.centre, want.lower, want.upper)
    assert got["rows"] == want.rows.tolist()
    np.testing.assert_array_equal(got["panels"][0]["lines"], want.panels[0].series)
    two = {"file": file, "value": ["rate", "rate"], "chart": "t2"}
    assert "each column named once" in refused(rig, "/api/hold/chart", two)


def test_of_a_long_table_the_last_points_are_sent(rig) -> None:
    values = 300 + np.random.default_rng(0).standard_normal(MOST_DRAWN + 500)
    file = bring(rig, "long.csv", ("rate,more\n" + "\n".join(f"{v:.6f},1" for v in values)).encode())
    got = rig.post("/api/hold/chart", json={"file": file, "value": ["rate"]}).json()
    assert (got["points"], got["first_point"]) == (values.size, 500)
    assert got["rows"][0] == 501
    assert len(got["rows"]) == len(got["panels"][0]["upper"]) == MOST_DRAWN
    np.testing.assert_allclose(got["panels"][0]["lines"][0], values[500:], atol=1e-6)


def test_traces_are_replayed_as_by_the_functions(rig, tmp_path) -> None:
    path = invent_trace(EXAMPLES / "rotary.toml", "light", seed=2).write(tmp_path / "fringes.csv")
    file = bring(rig, "fringes.csv", path.read_bytes())
    got = rig.post("/api/hold/trace", json={"file": file, "target_nm": 450}).json()
    want = follow_trace(path, "450 nm").document()
    assert got["called_s"] == want["called_s"] is not None
    assert got["states"] == want["states"]
    document = fresh()
    made = rig.post("/api/hold/trace", json={"document": document, "kind": "friction", "seed": 7}).json()
    own = watch_trace(invent_trace(setup_of(document), "friction", seed=7)).document()
    assert (made["found_s"], made["promised_delay_s"]) == (own["found_s"], own["promised_delay_s"])


def test_what_cannot_be_used_is_refused_under_the_files_own_name(rig, tmp_path) -> None:
    file = bring(rig, "line.csv", b"wafer,rate\n1,300.5\n2,301.5\n3,x\n")
    assert refused(rig, "/api/hold/chart", {"file": file, "value": ["rate"]}).startswith("line.csv: ")
    assert "speed" in refused(rig, "/api/hold/chart", {"file": file, "value": ["speed"]})
    told = refused(rig, "/api/hold/trace", {"file": file, "target_nm": 500})
    assert told.startswith("line.csv: ")
    assert str(tmp_path) not in told
    assert "no such file" in refused(rig, "/api/hold/columns", {"file": "0" * 16})
    layout = bring(rig, "blocks.gds", (EXAMPLES / "data" / "test-blocks.gds").read_bytes())
    assert "must be a table" in refused(rig, "/api/hold/columns", {"file": layout})
    assert refused(rig, "/api/hold/trace", {"document": {}, "kind": "light", "target_nm": 500})
