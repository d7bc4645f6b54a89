"""Stored bytes that claim to be more than they are: refused before memory is taken.

No standard to compare with for the refusals; the formats are numpy's `.npy` version 1.0 ("numpy/
lib/format.py", recalled from memory) and zip (APPNOTE 6.3, recalled from memory), written here by
the reference libraries or by hand. Each bomb is run in a child whose memory is limited, and a
control shows that the limit would end a reader that believed the header.
"""

import ast
import hashlib
import io
import json
import os
import struct
import subprocess
import sys
import zipfile
import zlib
from pathlib import Path

import numpy as np
import pytest

from simkit.run.arrays import load_array, load_packed, member_array
from simkit.run.cache import Store
from simkit.studies.scenario.result_cache import restore

ROOT = Path(__file__).resolve().parents[2]
KEY = "ab" + "0" * 62
LIMIT = 1_500_000_000
"""Address space of the child [byte]: python with numpy needs a fraction of it, every bomb more."""
GIGABYTES = 8_000_000_000
UNPACKED = 2_000_000_000
"""What a bomb that is made unpacks to [byte]: beyond the child's memory already."""


def npy(header: str, values: bytes = b"") -> bytes:
    """An `.npy` file with any header."""
    text = header.encode().ljust(117) + b"\n"
    return b"\x93NUMPY\x01\x00" + struct.pack("<H", len(text)) + text + values


def claim(shape: str, kind: str = "<f8") -> str:
    return f"{{'descr': '{kind}', 'fortran_order': False, 'shape': {shape}, }}"


HEADERS = {
    "huge shape": npy(claim(f"({GIGABYTES},)"), b"\0" * 80),
    "huge in two dimensions": npy(claim("(4000000000, 4000000000)"), b"\0" * 80),
    "beyond 64 bits": npy(claim(f"({10**30},)"), b"\0" * 80),
    "negative shape": npy(claim("(-5, -2)"), b"\0" * 80),
    "objects": npy(claim("(1,)", "|O"), b"cos\nsystem\n(S'true'\ntR."),
    "raw bytes": npy(claim("(1,)", "|V80"), b"\0" * 80),
    "wide text": npy(claim("(1,)", "<U999999999"), b"\0" * 80),
    "less than it holds": npy(claim("(3,)"), b"\0" * 80),
    "shape of text": npy(claim("('a',)"), b"\0" * 80),
    "an expression": npy("__import__('os').system('touch was-here')"),
    "deep header": npy("(" * 60),
    "later version": b"\x93NUMPY\x09\x00" + b"\0" * 100,
    "nothing": b"",
    "not one": b"PK\x03\x04" + b"\0" * 100,
}


@pytest.mark.parametrize("header", HEADERS)
def test_header_is_held_against_the_bytes(header: str, tmp_path: Path) -> None:
    (tmp_path / "vectors.npy").write_bytes(HEADERS[header])
    with pytest.raises(ValueError, match=r"."):
        member_array(HEADERS[header])
    with pytest.raises(ValueError, match=r"."):
        load_array(tmp_path / "vectors.npy")
    assert not (tmp_path / "was-here").exists()


@pytest.mark.parametrize("shape", [(), (0,), (7,), (3, 4), (2, 0, 5)])
@pytest.mark.parametrize("kind", ["<f8", "<i4", "<c16", "|b1", "<U5", ">f4"])
def test_whole_arrays_come_back(kind: str, shape: tuple[int, ...], tmp_path: Path) -> None:
    # The reference is numpy's own reader, and the array that was written.
    array = np.zeros(shape, kind)
    np.save(tmp_path / "a.npy", array, allow_pickle=False)
    found = load_array(tmp_path / "a.npy")
    assert found.dtype == array.dtype
    np.testing.assert_array_equal(found, np.load(tmp_path / "a.npy", allow_pickle=False))
    np.testing.assert_array_equal(np.asfortranarray(array), member_array(
        (tmp_path / "a.npy").read_bytes()))  # fmt: skip


def bomb(path: Path, member: str, size: int) -> None:
    """A zip whose one big member unpacks to so many zero bytes, made piece by piece."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as box:
        box.writestr("facts.json", "{}")
        with box.open(member, "w", force_zip64=True) as out:
            for _ in range(size // 10_000_000):
                out.write(bytes(10_000_000))


def entry(store: Store, content: bytes) -> Path:
    """Bytes as an entry whose digest fits: whoever can write there can make one."""
    place = store.folder / KEY[:2]
    place.mkdir(parents=True, exist_ok=True)
    path = place / f"{KEY}.{hashlib.sha256(content).hexdigest()}.zip"
    path.write_bytes(content)
    return path


def boxed(members: dict[str, bytes], how: int = zipfile.ZIP_STORED) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", how) as box:
        for name, content in members.items():
            box.writestr(name, content)
    return out.getvalue()


def lying(content: bytes, size: int) -> bytes:
    """A zip whose directory and local header both say another unpacked size."""
    local, central = content.find(b"PK\x03\x04"), content.find(b"PK\x01\x02")
    out = bytearray(content)
    out[local + 22 : local + 26] = struct.pack("<I", size)
    out[central + 24 : central + 28] = struct.pack("<I", size)
    return bytes(out)


def strange(content: bytes) -> bytes:
    """A zip packed by a method (99) that nobody here knows."""
    out = bytearray(content)
    for place in (content.find(b"PK\x03\x04") + 8, content.find(b"PK\x01\x02") + 10):
        out[place : place + 2] = struct.pack("<H", 99)
    return bytes(out)


ENTRIES = {
    "compressed": boxed({"facts.json": b" " * 10_000_000 + b"{}"}, zipfile.ZIP_DEFLATED),
    "states a large size": lying(boxed({"facts.json": b"{}"}), 4_000_000_000),
    "unpacks to more than stated": lying(
        boxed({"facts.json": b"{}" + b" " * 10_000_000}, zipfile.ZIP_DEFLATED), 50
    ),
    "array of objects": boxed({"facts.json": b"{}", "arrays/a.npy": HEADERS["objects"]}),
    "array of a huge shape": boxed({"facts.json": b"{}", "arrays/a.npy": HEADERS["huge shape"]}),
    "deep facts": boxed({"facts.json": b"[" * 200_000}),
    "facts that are no text": boxed({"facts.json": b"\xff\xfe\x00"}),
    "no facts": boxed({"files/a": b"x"}),
    "file above the folder": boxed({"facts.json": b"{}", "files/../../was-here": b"x"}),
    "file at the root": boxed({"facts.json": b"{}", "files//tmp/was-here": b"x"}),
    "file with backslashes": boxed({"facts.json": b"{}", "files/..\\was-here": b"x"}),
    "unknown compression": strange(boxed({"facts.json": b"{}"})),
    "a compressed stream alone": zlib.compress(bytes(1000)),
}


@pytest.mark.parametrize("kind", ENTRIES)
def test_entry_that_is_none_is_not_taken_and_goes(kind: str, tmp_path: Path) -> None:
    store = Store(tmp_path / "cache")
    path = entry(store, ENTRIES[kind])
    assert store.get(KEY) is None
    assert not path.exists()
    assert not list(tmp_path.rglob("*was-here*"))


def test_an_entry_that_is_one_is_taken(tmp_path: Path) -> None:
    store = Store(tmp_path)
    entry(store, boxed({"facts.json": b'{"a": 1}', "files/figures/a.svg": b"<svg/>"}))
    found = store.get(KEY)
    assert found is not None
    assert (found.facts, dict(found.files)) == ({"a": 1}, {"figures/a.svg": b"<svg/>"})


def test_pipe_or_device_in_an_entry_s_place_is_not_read(tmp_path: Path) -> None:
    store = Store(tmp_path)
    (tmp_path / KEY[:2]).mkdir()
    os.mkfifo(tmp_path / KEY[:2] / f"{KEY}.{'0' * 64}.zip")
    (tmp_path / KEY[:2] / f"{KEY}.{'1' * 64}.zip").symlink_to("/dev/zero")
    assert store.get(KEY) is None


def test_restored_folder_holds_script_as_text(tmp_path: Path) -> None:
    from simkit.studies.scenario.result_cache import PAGE_MARK

    store = Store(tmp_path / "cache")
    page = f"<p>x</p>{PAGE_MARK}".encode()
    files = {"result.json": b"{}", "provenance.json": b"{}", "index.html": page}
    store.put(KEY, {"made": "<script>alert(1)</script>"}, files=files)
    assert restore(store, KEY, tmp_path / "out") is not None
    text = (tmp_path / "out" / "index.html").read_text()
    assert "&lt;script&gt;" in text
    assert "<script" not in text


READ = {
    "entry": "from simkit.run.cache import Store\nfrom pathlib import Path\n"
    f"assert Store(Path('.')).get('{KEY}') is None",
    "packed": "from simkit.run.arrays import load_packed\nfrom pathlib import Path\n"
    "try:\n    load_packed(Path('bomb.npz'))\nexcept ValueError:\n    pass\n"
    "else:\n    raise AssertionError",
    "control": "import zipfile\nzipfile.ZipFile('bomb.npz').read('arrays/a.npy')",
}


def limited(code: str, folder: Path) -> subprocess.CompletedProcess[str]:
    limits = f"import resource\nresource.setrlimit(resource.RLIMIT_AS, ({LIMIT}, {LIMIT}))\n"
    # One thread: each of the linear algebra's own reserves address space.
    own = {"PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1"}
    return subprocess.run([sys.executable, "-c", limits + code], cwd=folder, text=True,
                          capture_output=True, timeout=120, env={**os.environ, **own})  # fmt: skip


@pytest.mark.slow
def test_bombs_are_refused_within_bounded_memory(tmp_path: Path) -> None:
    path = tmp_path / "bomb.npz"
    bomb(path, "arrays/a.npy", UNPACKED)
    assert path.stat().st_size < 10_000_000
    entry(Store(tmp_path), path.read_bytes())
    for kind in ("entry", "packed"):
        done = limited(READ[kind], tmp_path)
        assert done.returncode == 0, done.stderr
    control = limited(READ["control"], tmp_path)
    assert "MemoryError" in control.stderr, control.stderr


def test_recordings_are_bounded(tmp_path: Path) -> None:
    path = tmp_path / "run.npz"
    table = np.arange(12.0).reshape(3, 4)
    np.savez_compressed(path, table=table, facts=np.array(json.dumps({"a": 1})))
    np.testing.assert_array_equal(load_packed(path)["table"], table)
    with pytest.raises(ValueError, match="unpacks to"):
        load_packed(path, most=100)


# --- nothing that is read is ever run

UNPICKLE = {"pickle", "cPickle", "marshal", "shelve", "dill", "cloudpickle", "joblib", "imp"}
RUNS = {"eval", "exec", "compile", "__import__"}
LOADS = {"load", "save", "read_array", "write_array", "savez", "savez_compressed"}


def findings(text: str) -> list[str]:
    """What in a module could turn stored bytes into running code."""
    found = []
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
            found += [n for n in names if n.split(".")[0] in UNPICKLE]
        elif isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] in UNPICKLE:
            found.append(str(node.module))
        elif isinstance(node, ast.Call):
            found += _call(node)
    return found


def _call(node: ast.Call) -> list[str]:
    name = ast.unparse(node.func)
    if name in RUNS or name.endswith(("read_pickle", "to_pickle")):
        return [name]
    head, _, last = name.rpartition(".")
    if head not in ("np", "numpy", "np.lib.format", "numpy.lib.format") or last not in LOADS:
        return []
    plain = any(k.arg == "allow_pickle" and ast.unparse(k.value) == "False" for k in node.keywords)
    return [] if plain else [name]


def test_no_module_unpickles_or_evaluates() -> None:
    paths = sorted((ROOT / "simkit").rglob("*.py"))
    assert len(paths) > 100
    found = {str(p.relative_to(ROOT)): findings(p.read_text("utf-8")) for p in paths}
    assert {name: what for name, what in found.items() if what} == {}


@pytest.mark.parametrize("text", [
    "import pickle", "from marshal import loads", "import shelve as s", "np.load('a')",
    "numpy.load('a', allow_pickle=True)", "np.lib.format.read_array(f)", "eval('1')",
    "exec(x)", "np.load('a', allow_pickle=flag)", "pd.read_pickle('a')", "np.savez('a', b=c)",
])  # fmt: skip
def test_that_would_be_found(text: str) -> None:
    assert len(findings(text)) == 1
