"""No file is written except by planish.engine.files: the source is read, and bare writes are refused.

A linter sees names that are imported; methods such as ``Path.write_text`` it does not see. This reads the
syntax tree: a call that writes must get an open whole file, a buffer in memory, or stand inside a whole folder.
"""

from __future__ import annotations

import ast
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
FILES = [*sorted((ROOT / "src" / "planish").rglob("*.py")), ROOT / "examples" / "demo.py"]

# (file, call): why it may write by itself.
ALLOWED = {
    ("src/planish/tuning/study/store.py", "open"): "a folder, opened to be locked",
    ("src/planish/web/book.py", "open"): "a book only ever grows, line by line",
    ("src/planish/web/private.py", "open"): "a lock has no content",
    ("src/planish/web/sessions.py", "open"): "made empty with its mode; the database writes it",
    ("src/planish/web/uploads.py", "open"): "a file on its way in: its folder gets its name when it is whole",
    ("src/planish/measure/layout/shape_store.py", "tofile"): "an unnamed file that nobody else sees",
    ("src/planish/cli/main.py", "open"): "the null device, where a stream was closed",
    ("src/planish/measure/layout/oasis.py", "savez"): "in the temporary folder of one reading process",
}
HOME = "src/planish/engine/files.py"
# Their first argument is where they write.
TO_TARGET = {
    "save", "savez", "savez_compressed", "savetxt", "savefig", "tofile", "to_netcdf", "to_csv", "to_json",
    "to_parquet", "to_excel", "write_csv", "write_parquet", "write_json", "write_ndjson", "write_ipc",
    "write_excel", "write_avro", "sink_csv", "sink_parquet", "sink_ipc", "dump", "write_html",
}  # fmt: skip
# Their owners name things of numpy and the like; elsewhere these words are our own methods.
ONLY_OF = {"save": {"np", "numpy"}, "dump": {"json", "pickle", "joblib", "tomlkit", "marshal"}}
IN_A_FOLDER = {"create_group", "open_group", "to_zarr", "save_array", "create_array"}
ALWAYS = {"write_text", "write_bytes", "touch"}


@cache
def bare_writes(source: str) -> list[tuple[int, str]]:
    """Return (line, call) of each call in a module that writes a file by itself."""
    found: list[tuple[int, str]] = []
    _walk(ast.parse(source), frozenset(), False, found)
    return found


def _walk(node: ast.AST, safe: frozenset[str], in_folder: bool, found: list[tuple[int, str]]) -> None:
    if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
        buffers = {
            target.id
            for each in ast.walk(node)
            if isinstance(each, ast.Assign) and _name(each.value) in ("BytesIO", "StringIO")
            for target in each.targets
            if isinstance(target, ast.Name)
        }
        safe = safe | buffers
    if isinstance(node, ast.With | ast.AsyncWith):
        for item in node.items:
            _walk(item.context_expr, safe, in_folder, found)
            if _name(item.context_expr) == "whole_file" and isinstance(item.optional_vars, ast.Name):
                safe = safe | {item.optional_vars.id}
            in_folder = in_folder or _name(item.context_expr) == "whole_folder"
        for child in node.body:
            _walk(child, safe, in_folder, found)
        return
    if isinstance(node, ast.Call) and _writes(node, safe, in_folder):
        found.append((node.lineno, _name(node)))
    for child in ast.iter_child_nodes(node):
        _walk(child, safe, in_folder, found)


def _name(node: ast.AST) -> str:
    """The last name of what is called."""
    if not isinstance(node, ast.Call):
        return ""
    return node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")


def _writes(call: ast.Call, safe: frozenset[str], in_folder: bool) -> bool:
    name = _name(call)
    owner = getattr(call.func.value, "id", "") if isinstance(call.func, ast.Attribute) else ""
    words = {word.arg: word.value for word in call.keywords}
    if name in ALWAYS:
        return True
    if name == "open":
        return _opens_to_write(call, words)
    if name in IN_A_FOLDER:
        mode = words.get("mode")
        reads = isinstance(mode, ast.Constant) and mode.value == "r"
        return not (in_folder or reads)
    if name in TO_TARGET and owner in ONLY_OF.get(name, {owner}):
        given = call.args[1:] if name == "dump" else call.args
        targets = [*given[:1], *(words[w] for w in ("path", "file", "target", "fname") if w in words)]
        return any(not (isinstance(t, ast.Name) and t.id in safe) for t in targets)
    return False


def _opens_to_write(call: ast.Call, words: dict[str | None, ast.expr]) -> bool:
    """Whether open() may write: its mode says so, or is not a plain text."""
    plain = isinstance(call.func, ast.Name) or getattr(call.func.value, "id", "") in ("io", "gzip", "os")
    place = 1 if plain else 0
    mode = words.get("mode", call.args[place] if len(call.args) > place else None)
    if mode is None:
        return False
    if isinstance(mode, ast.Constant):
        return (
            isinstance(mode.value, str)
            and set(mode.value) <= set("rwaxbt+")
            and bool(set(mode.value) & set("wax+"))
        )
    return plain  # elsewhere the first argument is a path, as in Image.open(path)


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(ROOT)))
def test_no_file_is_written_in_part(path):
    place = str(path.relative_to(ROOT))
    if place == HOME:
        return
    bare = [
        f"{place}:{line}: {call}"
        for line, call in bare_writes(path.read_text())
        if (place, call) not in ALLOWED
    ]
    assert bare == [], "write these by planish.engine.files (write_whole, whole_file, whole_folder)"


def test_every_exception_is_still_needed():
    used = {
        (str(path.relative_to(ROOT)), call)
        for path in FILES
        for _, call in bare_writes(path.read_text())
        if str(path.relative_to(ROOT)) != HOME
    }
    assert used == set(ALLOWED)


@pytest.mark.parametrize(
    "line",
    [
        "path.write_text('a')",
        "(folder / 'a').write_bytes(b'')",
        "open(path, 'w')",
        "open(path, mode='ab')",
        "path.open('x')",
        "path.open(mode='r+')",
        "gzip.open(path, 'wb')",
        "open(path, how)",
        "np.save(path, a)",
        "np.savez_compressed(str(path), a=a)",
        "fig.savefig(path)",
        "fig.savefig(fname=path)",
        "data.to_netcdf(path)",
        "table.write_csv(path)",
        "table.write_parquet(folder / 'a')",
        "json.dump(a, file)",
        "zarr.open_group(path, mode='w')",
        "zarr.create_group(store=path)",
    ],
)
def test_each_bare_write_is_seen(line):
    assert bare_writes(f"def f(path, a):\n    {line}\n")


@pytest.mark.parametrize(
    "lines",
    [
        "with whole_file(path) as out:\n        np.savez(out, a=a)",
        "buffer = io.BytesIO()\n    table.write_parquet(buffer)",
        "with whole_folder(path) as folder:\n        zarr.create_group(store=str(folder))",
        "text = table.write_csv()",
        "with open(path) as file:\n        file.read()",
        "with path.open('rb') as file:\n        file.read()",
        "maps.save(folder / 'maps.npz')",
        "Image.open(place)",
        "zarr.open_group(path, mode='r')",
    ],
)
def test_whole_writes_and_reads_pass(lines):
    assert bare_writes(f"def f(path, a):\n    {lines}\n") == []


def test_a_folder_is_no_file_to_write(tmp_path, monkeypatch):
    from planish.engine.files import write_whole

    monkeypatch.chdir(tmp_path)
    for path in (Path("."), tmp_path, Path("/")):
        with pytest.raises(IsADirectoryError):
            write_whole(path, "x")
    assert list(tmp_path.iterdir()) == []
