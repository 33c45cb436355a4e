"""Files on their way in: straight to disk, so many and so large for each person, and gone where they are no use."""

from __future__ import annotations

import pytest
from answered_here import SameProcess
from starlette.testclient import TestClient

from planish.errors import DataError
from planish.web import uploads as module
from planish.web.app import build
from planish.web.child import CutOff
from planish.web.limits import QUICK
from planish.web.uploads import Uploads
from planish.web.workers import Refused

SITES = b"x_mm,y_mm,thickness_nm\n0,0,1000\n10,0,1001\n0,10,1002\n-10,0,1003\n0,-10,1004\n"


class ToldWhatToSay(SameProcess):
    """Workers that answer here, or say what they are told to say."""

    says: BaseException | None = None

    async def ask(self, pool, name, *arguments, module="planish.web.answers", owner="", newest=None):
        if self.says is not None:
            raise self.says
        return await super().ask(pool, name, *arguments, module=module, owner=owner, newest=newest)


@pytest.fixture
def rig(tmp_path):
    workers = ToldWhatToSay()
    with TestClient(build(workers, tmp_path), base_url="http://localhost") as client:
        client.workers, client.files = workers, tmp_path / "files"
        yield client


def on_disk(folder) -> list[str]:
    return sorted(path.name for path in folder.glob("*/*"))


def test_a_file_comes_in_pieces_and_is_read(rig) -> None:
    def pieces():
        for at in range(0, len(SITES), 7):
            yield SITES[at : at + 7]

    reply = rig.post("/api/uploads?name=sites.csv", content=pieces())
    told = reply.json()
    assert (reply.status_code, told["about"]["is"], told["size"], told["notes"]) == (
        200,
        "sites",
        len(SITES),
        [],
    )
    assert on_disk(rig.files) == [told["id"]]


@pytest.mark.parametrize(
    ("says", "words"),
    [
        (CutOff(QUICK.took_long()), "sites.csv: reading it took longer than 60 s; ask for less"),
        (CutOff(QUICK.took_much()), "sites.csv: reading it needed more than 1 GB of memory; ask for less"),
        (Refused(QUICK.took_much()), "sites.csv: reading it needed more than 1 GB of memory; ask for less"),
        (Refused("sites.csv: cannot be read"), "sites.csv: cannot be read"),
    ],
)
def test_a_file_that_cannot_be_read_is_not_kept(rig, says, words) -> None:
    rig.workers.says = says
    reply = rig.post("/api/uploads?name=sites.csv", content=SITES)
    assert (reply.status_code, reply.json()["refused"]) == (400, words)
    assert on_disk(rig.files) == []


def test_a_file_that_grows_too_large_on_the_way_leaves_nothing(rig, monkeypatch) -> None:
    monkeypatch.setattr(module, "LARGEST", 1000)
    reply = rig.post("/api/uploads?name=a.csv", content=iter([b"1,2\n" * 200] * 5))
    assert reply.status_code == 400
    assert "must be at most" in reply.json()["refused"]
    assert on_disk(rig.files) == []


def test_a_large_file_is_never_held_in_memory(tmp_path) -> None:
    import tracemalloc

    kept, piece = Uploads(tmp_path), b"1.25,3\n" * 9000
    incoming = kept.begin("ada", "a.csv")
    tracemalloc.start()
    try:
        for _ in range(500):  # 31 MB
            if incoming.add(piece):
                incoming.write()
        made, _ = incoming.finish()
        _, most = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
        incoming.close()
    assert made.size == 500 * len(piece)
    assert most < 8_000_000


def test_one_person_sends_few_files_side_by_side(tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(module, "AT_ONCE_IN_ALL", 3)
    kept = Uploads(tmp_path)
    coming = [kept.begin("ada", "a.csv"), kept.begin("ada", "b.csv")]
    with pytest.raises(DataError, match="you already send 2 files"):
        kept.begin("ada", "c.csv")
    coming.append(kept.begin("bob", "d.csv"))
    with pytest.raises(DataError, match="3 files come in already"):
        kept.begin("cem", "e.csv")
    for one in coming:
        one.close()
    kept.begin("ada", "c.csv").close()
    assert on_disk(tmp_path) == []


def test_a_name_that_will_not_do_takes_no_place(tmp_path) -> None:
    kept = Uploads(tmp_path)
    for _ in range(5):
        with pytest.raises(DataError):
            kept.begin("ada", "../a.csv")
    assert not kept._coming


def test_the_oldest_go_by_count_and_by_size_and_are_named(tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(module, "PER_PERSON", 3)
    monkeypatch.setattr(module, "BYTES_PER_PERSON", 100)
    kept = Uploads(tmp_path)

    def send(owner: str, name: str, size: int) -> list[str]:
        incoming = kept.begin(owner, name)
        incoming.add(b"1" * size)
        try:
            return incoming.finish()[1]
        finally:
            incoming.close()

    assert send("bob", "theirs.csv", 90) == []
    for name in ("a.csv", "b.csv", "c.csv"):
        assert send("ada", name, 10) == []
    assert [note.split(" ")[0] for note in send("ada", "d.csv", 10)] == ["a.csv"]
    assert [note.split(" ")[0] for note in send("ada", "e.csv", 85)] == ["c.csv", "b.csv"]
    assert [upload.name for upload in kept.of("ada")] == ["e.csv", "d.csv"]
    assert [upload.name for upload in kept.of("bob")] == ["theirs.csv"]


def test_what_was_on_its_way_when_the_server_was_killed_is_swept(tmp_path) -> None:
    kept = Uploads(tmp_path)
    whole = kept.keep("ada", "a.csv", SITES)
    half = kept.begin("ada", "b.csv")
    half.add(b"1,2")
    half.write()
    assert [upload.id for upload in kept.of("ada")] == [whole.id]
    again = Uploads(tmp_path)
    assert on_disk(tmp_path) == [whole.id]
    assert again.path("ada", whole.id).read_bytes() == SITES


def test_a_disk_that_is_full_is_one_line(tmp_path, monkeypatch) -> None:
    (tmp_path / "files").write_text("a file where the folder should be")
    with pytest.raises(DataError, match=r"a\.csv: cannot be stored"):
        Uploads(tmp_path / "files").begin("ada", "a.csv")
