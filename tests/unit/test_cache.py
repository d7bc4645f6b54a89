"""The store's promises: what was put comes back whole or not at all, bounded, shared by processes.

The house's own rules; expected values are what was put in.
"""

import json
import os
import subprocess
import sys
import threading
from pathlib import Path

import numpy as np
import pytest

from simkit.errors import InputError
from simkit.run import cache
from simkit.run.cache import Store, code_digest, default_store, digest_of

ROOT = Path(__file__).resolve().parents[2]
KEY = digest_of("a key")


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return Store(tmp_path / "cache")


def only_file(store: Store) -> Path:
    (path,) = store.folder.rglob("*.zip")
    return path


def test_what_was_put_comes_back_bit_by_bit(store: Store) -> None:
    values = np.random.default_rng(1).normal(size=(3, 1000))
    assert store.put(KEY, {"a": [1, None, 0.1]}, {"v(x)": values}, {"sub/a.txt": b"\x00\xff"})
    entry = store.get(KEY)
    assert entry is not None
    assert entry.facts == {"a": [1, None, 0.1]}
    assert entry.arrays["v(x)"].tobytes() == values.tobytes()
    assert entry.files == {"sub/a.txt": b"\x00\xff"}


def test_an_unknown_key_is_a_miss(store: Store) -> None:
    assert store.get(KEY) is None


@pytest.mark.parametrize("place", [0.02, 0.5, 0.98])
def test_one_changed_bit_anywhere_is_noticed_and_the_entry_goes(store: Store, place: float) -> None:
    store.put(KEY, {"a": 1}, {"x": np.zeros(500)})
    path = only_file(store)
    content = bytearray(path.read_bytes())
    content[int(place * len(content))] ^= 1
    path.write_bytes(content)
    assert store.get(KEY) is None
    assert not path.exists()


@pytest.mark.parametrize("left", [0, 1, 200])
def test_a_cut_off_entry_is_noticed(store: Store, left: int) -> None:
    store.put(KEY, {"a": 1}, {"x": np.zeros(500)})
    path = only_file(store)
    path.write_bytes(path.read_bytes()[:left])
    assert store.get(KEY) is None


def test_nothing_is_ever_unpickled(store: Store) -> None:
    with pytest.raises(ValueError, match="allow_pickle"):
        store.put(KEY, {}, {"x": np.array([object()])})


def test_the_least_recently_used_go_first_and_the_size_is_bounded(tmp_path: Path) -> None:
    small = Store(tmp_path / "cache", limit=100_000)
    block = {"x": np.zeros(1250)}  # 10 kB
    keys = [digest_of(k) for k in range(30)]
    for age, key in enumerate(keys[:8]):
        small.put(key, age, block)
        path = next((small.folder / key[:2]).glob(f"{key}*"))
        os.utime(path, (1e9 + age, 1e9 + age))
    assert small.get(keys[0]) is not None  # used now, so the second is the oldest
    for key in keys[8:11]:
        small.put(key, 0, block)
    assert small.get(keys[0]) is not None
    assert small.get(keys[1]) is None
    for key in keys[11:]:
        small.put(key, 0, block)
        # 2 % more for a moment, by its own statement.
        assert small.usage().size <= 1.02 * 100_000
    assert small.get(keys[-1]) is not None


def test_info_and_clear(store: Store) -> None:
    for k in range(3):
        store.put(digest_of(k), k)
    assert store.usage().entries == 3
    assert store.usage().size == sum(p.stat().st_size for p in store.folder.rglob("*.zip"))
    assert store.clear() == 3
    assert store.usage().entries == 0
    assert store.get(digest_of(1)) is None


def test_clearing_touches_nothing_but_the_cache_s_own_folders(store: Store) -> None:
    store.put(KEY, 1)
    foreign = store.folder / "notes.txt"
    foreign.write_text("mine")
    store.clear()
    assert foreign.read_text() == "mine"


def test_a_folder_that_cannot_be_written_is_a_cache_without_entries(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    store = Store(tmp_path / "file" / "cache")
    assert store.put(KEY, 1) is False
    assert store.get(KEY) is None
    assert store.usage().entries == 0


def test_of_two_writers_at_a_time_one_is_left(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    remove = cache._remove

    def both(path: Path) -> None:
        # What the other writer does at the same moment: this one's entry is an older one to it.
        for entry in path.parent.iterdir():
            remove(entry)

    store.put(KEY, 1.0)
    monkeypatch.setattr(cache, "_remove", both)
    store.put(KEY, 2.0)
    found = store.get(KEY)
    assert found is not None
    assert found.facts == 2.0


def test_many_writers_and_readers_of_one_key_see_whole_entries_only(store: Store) -> None:
    seen: list[float] = []
    broken: list[object] = []

    def write(number: int) -> None:
        for k in range(15):
            value = 100.0 * number + k
            store.put(KEY, value, {"x": np.full(2000, value)})
            entry = store.get(KEY)
            if entry is None:
                continue
            seen.append(entry.facts)
            if not (entry.arrays["x"] == entry.facts).all():
                broken.append(entry.facts)

    threads = [threading.Thread(target=write, args=(n,)) for n in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert broken == []
    assert len(seen) > 30
    assert store.get(KEY) is not None


def test_the_key_is_the_same_in_every_process() -> None:
    code = (
        "from simkit.run.cache import digest_of, code_digest;"
        "print(digest_of('a', 1, {'b': 0.1, 'a': None}), code_digest())"
    )
    said = {
        subprocess.run(
            [sys.executable, "-c", code],
            cwd=ROOT,
            env={**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": str(ROOT)},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("1", "2")
    }
    assert said == {f"{digest_of('a', 1, {'a': None, 'b': 0.1})} {code_digest()}\n"}


def test_every_part_counts_in_the_key() -> None:
    whole = digest_of("deck", ["v(a)"], 1e-3, "ngspice 39")
    others = [
        digest_of("decl", ["v(a)"], 1e-3, "ngspice 39"),
        digest_of("deck", ["v(b)"], 1e-3, "ngspice 39"),
        digest_of("deck", ["v(a)"], 1e-3 * (1 + 1e-15), "ngspice 39"),
        digest_of("deck", ["v(a)"], 1e-3, "ngspice 44"),
    ]
    assert whole not in others
    assert len(set(others)) == 4


def test_the_environment_moves_and_bounds_the_cache(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv(cache.FOLDER_VARIABLE, str(tmp_path / "there"))
    monkeypatch.setenv(cache.SIZE_VARIABLE, "7")
    assert default_store() == Store(tmp_path / "there" / "cases", 700_000)
    total = sum(default_store(kind).limit for kind in cache.SHARES)
    assert total == pytest.approx(7_000_000)
    monkeypatch.setenv(cache.SIZE_VARIABLE, "7 MB")
    with pytest.raises(InputError, match="SIMKIT_CACHE_MB"):
        default_store()
    monkeypatch.delenv(cache.FOLDER_VARIABLE)
    monkeypatch.delenv(cache.SIZE_VARIABLE)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    assert default_store().folder == tmp_path / "simkit" / "cases"


def test_facts_are_plain_data(store: Store) -> None:
    store.put(KEY, {"x": 0.1 + 0.2})
    entry = store.get(KEY)
    assert entry is not None
    assert json.dumps(entry.facts) == '{"x": 0.30000000000000004}'
