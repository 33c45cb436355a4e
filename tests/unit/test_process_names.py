"""Nothing but a process's own record knows it by name: what others need, the record says."""

from __future__ import annotations

import re
from pathlib import Path

from planish.predict.die.processes import OWN

SRC = Path(__file__).parents[2] / "src" / "planish"
HOME = SRC / "predict" / "die" / "processes"
MOST = 2
# These name what a film is made of as light sees it, and two processes are called as their film is: no process is meant.
MATERIALS = {"physics/optics/materials.py", "setup/optical_index.py", "hold/endpoint/invent.py"}


def knowing(words: str) -> set[str]:
    files = [path for ending in ("py", "js", "html") for path in SRC.rglob(f"*.{ending}")]
    assert len(files) > 200
    return {
        str(path.relative_to(SRC))
        for path in files
        if HOME not in path.parents and re.search(words, path.read_text(encoding="utf-8"))
    }


def test_few_files_name_a_process():
    names = "|".join(process.name for process in OWN)
    found = knowing(rf"""["'`]({names})["'`]""")
    assert "setup/new.py" in found, "the setup that planish writes names its process, so the search finds it"
    assert found >= MATERIALS
    assert not any("process" in (SRC / name).read_text(encoding="utf-8").lower() for name in MATERIALS)
    assert len(found - MATERIALS) <= MOST, sorted(found)


def test_no_file_looks_at_the_kind_of_a_level():
    kinds = "|".join(sorted({type(process.level).__name__ for process in OWN}))
    assert "MetalLevel" in kinds
    assert knowing(rf"\b({kinds})\b") == set()
