"""The store as it is kept: versions, copies, its lock, damage, and what a full or read-only disk does to a night."""

import logging
import lzma
import os
import shutil
import signal
import stat
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import duckdb
import pytest

from tests.faults.common import NIGHTS, ROOT, differ, night, reports, small_feeds, tables, triage
from tests.faults.forked import Commands
from tests.faults.releases import FOLDER, release
from triage.errors import TriageError
from triage.keeping import copies, versions
from triage.keeping.opening import log_of, open_file
from triage.keeping.recover import recover
from triage.keeping.verify import verify
from triage.store import connect, open_store

SHARED = "SELECT column_name, data_type FROM duckdb_columns() WHERE database_name = '{}' AND table_name = '{}'"


@pytest.fixture(scope="module")
def commands():
    """Return what runs a command of the program, without starting Python anew."""
    server = Commands()
    yield server
    server.close()


@pytest.fixture(scope="module")
def made(commands, tmp_path_factory) -> Path:
    """Return a folder with a night behind it: feeds, store, copies, reports."""
    place = tmp_path_factory.mktemp("made")
    small_feeds(place / "feeds", rows=4)
    done = commands(*night(place / "feeds", place, NIGHTS[0]))
    assert done.returncode == 0, done.stderr
    return place


@pytest.fixture(scope="module")
def goes_on(commands, made, tmp_path_factory) -> Callable[[Path], None]:
    """Return what sees that the night after makes what an undisturbed night makes."""
    clean = tmp_path_factory.mktemp("clean") / "made"
    shutil.copytree(made, clean)
    assert commands(*night(clean / "feeds", clean)).returncode == 0
    wanted = tables(clean / "t.duckdb") | reports(clean / "reports")

    def see(place: Path) -> None:
        done = commands(*night(place / "feeds", place))
        assert done.returncode == 0, done.stderr
        assert differ(tables(place / "t.duckdb") | reports(place / "reports"), wanted) == []

    return see


@pytest.fixture
def place(made, tmp_path) -> Path:
    """Return a copy of it for one test."""
    shutil.copytree(made, tmp_path / "made")
    return tmp_path / "made"


def cut_off(store: Path, rows: int = 400) -> int:
    """Commit exports to a store in a process that ends without closing it; return how long its log is."""
    code = (
        f"import os, duckdb; store = duckdb.connect({str(store)!r})\n"
        "query = \"INSERT INTO confirmation SELECT 'a/' || i, NULL, DATE '2026-01-01' FROM range(?) r(i)\"\n"
        f"for number in range(10): store.execute(query, [{rows}])\n"
        "os._exit(0)"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
    return log_of(store).stat().st_size


# Versions


def test_there_is_a_store_of_every_version_up_to_the_newest_released():
    kept = sorted(int(path.name.split("-")[1].split(".")[0]) for path in FOLDER.glob("*.xz"))
    assert kept == list(range(1, len(kept) + 1))
    assert len(kept) >= 2


@pytest.mark.parametrize("packed", sorted(FOLDER.glob("*.xz")), ids=lambda path: path.name)
def test_a_store_of_every_released_version_is_brought_up_without_a_lost_row(packed, tmp_path, monkeypatch):
    store, old = tmp_path / "t.duckdb", tmp_path / "old.duckdb"
    if packed == release(versions.current()):
        # Today's version stands for an old one of a version that changes nothing.
        one_more = versions.migrations() | {versions.current() + 1: ""}
        monkeypatch.setattr(versions, "migrations", lambda: one_more)
    for path in (store, old):
        path.write_bytes(lzma.decompress(packed.read_bytes()))
    with open_store(store) as connection:
        assert versions.version_of(connection) == versions.current()
        connection.execute(f"ATTACH '{old}' AS old (READ_ONLY)")
        names = connection.execute("SELECT table_name FROM duckdb_tables() WHERE database_name = 'old'").fetchall()
        held = 0
        for (name,) in names:
            if name == "schema_version":
                continue
            # A column may have been made narrower since: an old value counts as the new column can hold it.
            types = dict(connection.execute(SHARED.format("t", name)).fetchall())
            columns = types.keys() & dict(connection.execute(SHARED.format("old", name)).fetchall()).keys()
            wanted = ", ".join(f"{column}::{types[column]}" for column in sorted(columns))
            lost = f"SELECT {wanted} FROM old.{name} EXCEPT ALL SELECT {wanted} FROM {name}"
            new = f"SELECT {wanted} FROM {name} EXCEPT ALL SELECT {wanted} FROM old.{name}"
            assert connection.execute(lost).fetchall() == connection.execute(new).fetchall() == []
            held += connection.execute(f"SELECT count(*) FROM old.{name}").fetchall()[0][0]
        assert held > 1000
        assert verify(connection, "t").exports == 6
    assert copies.sha256_of(copies.copies_of(store)[0].path) == copies.sha256_of(old)


def laid_out(connection: duckdb.DuckDBPyConnection) -> list[tuple]:
    """Return every column with its type, default and comment, and every constraint."""
    columns = "SELECT table_name, column_name, data_type, is_nullable, column_default, comment FROM duckdb_columns()"
    rules = "SELECT table_name, constraint_text FROM duckdb_constraints()"
    return (
        connection.execute(f"{columns} ORDER BY ALL").fetchall()
        + connection.execute(f"{rules} ORDER BY ALL").fetchall()
    )


def test_an_old_store_ends_with_the_layout_of_a_new_one(tmp_path):
    store = tmp_path / "t.duckdb"
    store.write_bytes(lzma.decompress(release(1).read_bytes()))
    with open_store(store) as connection:
        assert laid_out(connection) == laid_out(connect(comments=True))


def test_a_contract_other_than_the_newest_released_one_has_a_migration_of_its_own(tmp_path):
    newest = max(int(path.name.split("-")[1].split(".")[0]) for path in FOLDER.glob("*.xz"))
    store = tmp_path / "t.duckdb"
    store.write_bytes(lzma.decompress(release(newest).read_bytes()))
    connection = open_file(store)
    if laid_out(connection) != laid_out(connect(comments=True)):
        assert versions.current() > newest, "add triage/migrations/NNNN_what.sql"
    connection.close()


def test_migrations_count_up_from_two():
    assert list(versions.migrations()) == list(range(2, versions.current() + 1))


def test_added_columns_get_their_default_or_what_a_migration_says(place, monkeypatch):
    store = place / "t.duckdb"
    contract = (ROOT / "triage" / "contract.sql").read_text("utf-8")
    wider = contract.replace(
        "  text_cut           BOOLEAN NOT NULL DEFAULT FALSE,",
        "  text_cut           BOOLEAN NOT NULL DEFAULT FALSE,\n  shelf VARCHAR NOT NULL DEFAULT 'top' "
        "CHECK (shelf <> ''),\n  letters BIGINT,",
    )
    assert wider != contract
    package = place / "package"
    (package / "migrations").mkdir(parents=True)
    (package / "contract.sql").write_text(wider)
    newer = versions.current() + 1
    for name in (ROOT / "triage" / "migrations").glob("*.sql"):
        shutil.copy(name, package / "migrations")
    (package / "migrations" / f"{newer:04d}_shelf.sql").write_text("UPDATE listing SET letters = length(title);\n")
    before = tables(store)
    monkeypatch.setattr(versions, "files", lambda name: package)
    with open_store(store) as connection:
        assert connection.execute("SELECT version FROM schema_version").fetchall() == [(newer,)]
        assert connection.execute("SELECT DISTINCT shelf FROM listing").fetchall() == [("top",)]
        assert connection.execute("SELECT count(*) FROM listing WHERE letters <> length(title)").fetchall() == [(0,)]
    assert differ(before, tables(store)) == ["listing", "schema_version"]
    monkeypatch.undo()
    with (
        pytest.raises(TriageError, match=f"version {newer}; this program knows versions up to {newer - 1}"),
        open_store(store),
    ):
        pass


def test_rows_that_do_not_fit_leave_the_old_store_as_it_was(place, monkeypatch):
    store = place / "t.duckdb"
    package = place / "package"
    (package / "migrations").mkdir(parents=True)
    contract = (ROOT / "triage" / "contract.sql").read_text("utf-8")
    (package / "contract.sql").write_text(contract.replace("CHECK (rows_read >= 0)", "CHECK (rows_read > 1000)"))
    (package / "migrations" / "0099_more.sql").write_text("-- more\n")
    before = store.read_bytes()
    monkeypatch.setattr(versions, "files", lambda name: package)
    with pytest.raises(TriageError, match="don't fit version 99"), open_store(store):
        pass
    assert store.read_bytes() == before


def test_a_table_of_the_users_own_comes_along(tmp_path):
    store = tmp_path / "t.duckdb"
    store.write_bytes(lzma.decompress(release(1).read_bytes()))
    connection = duckdb.connect(str(store))
    connection.execute("CREATE TABLE my_notes AS SELECT 'keep' AS note")
    connection.close()
    with open_store(store) as connection:
        assert connection.execute("SELECT note FROM my_notes").fetchall() == [("keep",)]


# Copies


def test_a_night_makes_a_checked_copy_and_keeps_a_number_of_them(place):
    store = place / "t.duckdb"
    assert [one.why for one in copies.copies_of(store)] == ["after"]
    for day in range(4):
        with open_store(store, keep=3) as connection:
            connection.execute("INSERT INTO confirmation VALUES ('a/b', NULL, ?)", [f"2026-01-0{day + 1}"])
    kept = copies.copies_of(store)
    # The store before each night is the store after the night before, so that copy does for both.
    assert [(one.number, one.why) for one in kept] == [(5, "after"), (4, "after"), (3, "after")]
    for one in kept:
        assert copies.sha256_of(one.path) == one.sha256
    assert kept[0].sha256 == copies.sha256_of(store)
    sums = subprocess.run(
        ["sha256sum", "-c", *[f"{one.path.name}.sha256" for one in kept]], cwd=copies.folder_of(store)
    )
    assert sums.returncode == 0


def test_what_changed_between_two_nights_has_a_copy_of_its_own(place):
    store = place / "t.duckdb"
    with open_store(store) as connection:
        connection.execute("INSERT INTO confirmation VALUES ('a/b', NULL, DATE '2026-01-01')")
    with open_store(store, keep=9):
        assert [one.why for one in copies.copies_of(store)] == ["before", "after"]


def test_the_newest_sound_copy_is_brought_back_and_what_it_replaces_is_kept(commands, place):
    store = place / "t.duckdb"
    sound = tables(store)
    with open_store(store, keep=9) as connection:
        connection.execute("INSERT INTO confirmation VALUES ('a/b', NULL, DATE '2026-01-01')")
    newest = copies.copies_of(store)[0].path
    newest.write_bytes(newest.read_bytes()[:-5000])
    store.write_bytes(b"lost")
    done = commands("store", "restore", "--store", store)
    assert done.returncode == 0, done.stderr
    assert "000001-" in done.stdout
    assert tables(store) == sound
    assert [one.path.read_bytes() for one in copies.copies_of(store) if one.why == "replaced"] == [b"lost"]


def test_a_drill_says_what_would_come_back_and_replaces_nothing(commands, place):
    store = place / "t.duckdb"
    before = store.read_bytes()
    done = commands("store", "restore", "--drill", "--store", store)
    assert done.returncode == 0, done.stderr
    assert "comes back whole" in done.stdout
    assert "every ledger line recounted: 3 exports" in done.stdout
    assert store.read_bytes() == before
    assert [path.name for path in place.iterdir() if "drill" in path.name] == []


def test_what_a_drill_that_was_killed_has_brought_back_goes_with_the_next_start(place):
    left = place / f"{copies.drill_prefix(place / 't.duckdb')}x1"
    left.mkdir()
    shutil.copy(place / "t.duckdb", left)
    with open_store(place / "t.duckdb"):
        assert not left.exists()


def test_a_store_that_is_gone_is_not_quietly_begun_anew(commands, place):
    (place / "t.duckdb").unlink()
    done = commands(*night(place / "feeds", place))
    assert done.returncode == 4
    assert "'triage store restore'" in done.stderr
    assert commands("store", "restore", "--store", place / "t.duckdb").returncode == 0
    assert commands(*night(place / "feeds", place)).returncode == 0


# Verify


DAMAGE = {
    "a row is gone": "DELETE FROM raw_row WHERE row_no = 1",
    "a sighting is gone": "DELETE FROM sighting WHERE row_no = 1",
    "a ledger line is gone": "DELETE FROM feed WHERE path LIKE '%attic%'",
    "a ledger line says more": "UPDATE feed SET rows_read = rows_read + 1",
    "a ledger line hides a reject": "INSERT INTO reject SELECT feed_id, 1, '', 'row', 'listing', '', 'x', '' FROM feed",
    "a listing is gone": "DELETE FROM listing WHERE kind = 'pair'",
    "a listing nobody saw": "INSERT INTO listing BY NAME SELECT * REPLACE ('x/y' AS listing_id) FROM listing LIMIT 1",
    "two first sightings": "UPDATE sighting SET first = NOT first",
    "a night that does not add up": "UPDATE run SET counts = json_merge_patch(counts, '{\"rows_read\": 1}')",
}  # fmt: skip


@pytest.mark.parametrize("statement", DAMAGE.values(), ids=DAMAGE)
def test_verify_finds_rows_that_do_not_add_up(place, statement):
    with open_store(place / "t.duckdb") as connection:
        verify(connection, "t")
        connection.execute(statement)
        with pytest.raises(TriageError) as told:
            verify(connection, "t")
    assert told.value.exit_code == 4


def test_verify_reads_blocks_that_opening_does_not(commands, place):
    store = place / "t.duckdb"
    content = bytearray(store.read_bytes())
    told = 0
    for at in range(300_000, len(content), 10 * 262_144):
        content[at] ^= 1
        store.write_bytes(content)
        done = commands("store", "verify", "--store", store)
        assert "Traceback" not in done.stderr
        told += done.returncode == 4 and "'triage store restore'" in done.stderr
        content[at] ^= 1
    assert told > 0


# The log


def test_a_log_that_can_be_read_is_taken_over_and_said(place, caplog):
    store = place / "t.duckdb"
    cut_off(store)
    with caplog.at_level(logging.WARNING), open_store(store) as connection:
        assert connection.execute("SELECT count(*) FROM confirmation").fetchall() == [(4000,)]
    assert "the last run did not end" in caplog.text


@pytest.mark.parametrize(("share", "kept"), [(0.55, 5), (0.999, 9), (0.02, 0)])
def test_of_a_log_that_can_not_be_read_what_was_committed_before_the_damage_is_kept(place, share, kept):
    store = place / "t.duckdb"
    length = cut_off(store)
    content = bytearray(log_of(store).read_bytes())
    content[int(length * share)] ^= 8
    log_of(store).write_bytes(content)
    with pytest.raises(TriageError, match="'triage store recover'"), open_store(store):
        pass
    done = recover(store)
    assert done is not None
    assert done.of == length
    assert log_of(done.aside).read_bytes() == content
    with open_store(store) as connection:
        assert connection.execute("SELECT count(*) FROM confirmation").fetchall() == [(400 * kept,)]


def test_where_store_and_log_are_both_damaged_the_copy_is_the_next_step(place, commands):
    store = place / "t.duckdb"
    cut_off(store)
    for path, at in ((store, 5000), (store, 9000), (log_of(store), 700)):
        content = bytearray(path.read_bytes())
        content[at] ^= 8
        path.write_bytes(content)
    done = commands("store", "recover", "--store", store)
    assert done.returncode == 4
    assert "'triage store restore'" in done.stderr
    assert commands("store", "restore", "--store", store).returncode == 0
    assert commands("store", "verify", "--store", store).returncode == 0


def test_there_is_nothing_to_recover_in_a_sound_store(place):
    assert recover(place / "t.duckdb") is None


# One at a time


def test_two_nights_at_once_the_second_is_told_who_holds_the_store(commands, place):
    command = [sys.executable, "-m", "triage.cli", *map(str, night(place / "feeds", place))]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.DEVNULL) as first:
        while f"process {first.pid}," not in (place / "t.duckdb.lock").read_text():
            time.sleep(0.01)
        done = commands("store", "verify", "--store", place / "t.duckdb")
        assert done.returncode == 4
        assert f"another run holds the store: triage nightly, process {first.pid}, since 20" in done.stderr
    assert first.returncode == 0


def test_a_lock_goes_with_its_process(place):
    code = (
        "import time; from pathlib import Path; from triage.keeping.held import held\n"
        f"with held(Path({str(place / 't.duckdb')!r})): print('held', flush=True); time.sleep(60)"
    )
    with subprocess.Popen([sys.executable, "-c", code], cwd=ROOT, stdout=subprocess.PIPE, text=True) as holder:
        assert holder.stdout.readline() == "held\n"
        with pytest.raises(TriageError, match=f"process {holder.pid}"), open_store(place / "t.duckdb"):
            pass
        holder.kill()
    with open_store(place / "t.duckdb"):
        pass


def test_another_program_in_the_store_is_told(commands, place):
    store = str(place / "t.duckdb")
    code = f"import duckdb, time; c = duckdb.connect({store!r}); print('open', flush=True); time.sleep(60)"
    with subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True) as other:
        assert other.stdout.readline() == "open\n"
        done = commands("store", "verify", "--store", store)
        other.kill()
    assert done.returncode == 4
    assert "another program has the store open" in done.stderr
    assert str(other.pid) in done.stderr


def test_no_process_is_forked_in_the_program():
    for path in (ROOT / "triage").rglob("*.py"):
        text = path.read_text("utf-8")
        assert "os.fork" not in text, path
        assert "multiprocessing" not in text, path


# Modes


def test_store_copies_and_lock_are_for_their_owner_alone_and_reports_as_the_user_has_it(commands, tmp_path):
    small_feeds(tmp_path / "feeds", rows=3)
    before = os.umask(0o022)
    try:
        assert commands(*night(tmp_path / "feeds", tmp_path)).returncode == 0
    finally:
        os.umask(before)
    modes = {path: stat.S_IMODE(path.stat().st_mode) for path in tmp_path.rglob("*")}
    kept = {path: mode for path, mode in modes.items() if "t.duckdb" in str(path)}
    assert len(kept) >= 5
    assert {mode for path, mode in kept.items() if path.is_file()} == {0o600}
    assert {mode for path, mode in kept.items() if path.is_dir()} == {0o700}
    assert modes[tmp_path / "reports" / NIGHTS[1] / "index.html"] == 0o644


def test_the_log_is_for_its_owner_alone_while_a_run_is_on(place):
    with open_store(place / "t.duckdb") as connection:
        connection.execute("INSERT INTO confirmation VALUES ('a/b', NULL, DATE '2026-01-01')")
        assert stat.S_IMODE(log_of(place / "t.duckdb").stat().st_mode) == 0o600


def test_a_store_of_an_older_program_is_closed_to_others(place):
    (place / "t.duckdb").chmod(0o644)
    with open_store(place / "t.duckdb"):
        assert stat.S_IMODE((place / "t.duckdb").stat().st_mode) == 0o600


# The night


@pytest.mark.parametrize(("number", "wait"), [(signal.SIGTERM, 0.7), (signal.SIGINT, 0.2)])
def test_a_signal_ends_the_night_in_one_line(place, goes_on, number, wait):
    log = place / "t.duckdb.lock"
    log.unlink()
    run = subprocess.Popen(
        [sys.executable, "-m", "triage.cli", *map(str, night(place / "feeds", place))],
        cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    while not log.exists():
        time.sleep(0.01)
    time.sleep(wait)
    run.send_signal(number)
    _, said = run.communicate(timeout=60)
    assert run.returncode == 128 + number, said
    assert said.splitlines()[-1].startswith(f"stopped by {signal.Signals(number).name}: ")
    assert "Traceback" not in said
    goes_on(place)


def mounted(place: Path, options: str) -> list[str]:
    """Return a wrapper that runs a command with a file system of its own over a folder."""
    if subprocess.run(["unshare", "-rm", "true"], capture_output=True).returncode:
        pytest.skip("this system gives no name spaces to its users")
    return ["unshare", "-rm", "sh", "-c", f'{options} && exec "$@"', "sh"]


def test_a_full_disk_ends_the_night_in_one_line_and_the_next_goes_on(place, goes_on):
    # Whole pages for every file, and one for each folder.
    size = sum(4 * (path.stat().st_size // 4096 + 1) for path in place.rglob("*"))
    kept = place.with_name("kept")
    kept.mkdir()
    told = set()
    for room in (16, 600, 3_000, 6_000):
        # The store is copied into a small file system and, the night over, out of it again.
        full = (
            f"mount -t tmpfs -o size={size + room}k tmpfs {place.with_name('full')} && "
            f"cp -a {place}/. {place.with_name('full')}"
        )
        place.with_name("full").mkdir(exist_ok=True)
        arguments = [str(one) for one in night(place.with_name("full") / "feeds", place.with_name("full"))]
        wrapper = mounted(place, full)
        wrapper[4] = f'{full}; "$@"; code=$?; cp -a {place.with_name("full")}/. {kept}; exit $code'
        done = triage(*arguments, limits=wrapper)
        assert done.returncode in (0, 4), done.stderr
        assert "Traceback" not in done.stderr
        if done.returncode == 4:
            told.add(done.stderr.strip().splitlines()[-1].split(";")[0])
            goes_on(kept)
        shutil.rmtree(kept)
        kept.mkdir()
    assert told, "the disk was never full"
    assert all("o room" in one or "No space left" in one for one in told), told


def test_a_read_only_folder_ends_the_night_in_one_line(place, goes_on):
    wrapper = mounted(place, f"mount --bind {place} {place} && mount -o remount,ro,bind {place}")
    done = triage(*night(place / "feeds", place), limits=wrapper)
    assert done.returncode == 4, done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
    assert "Read-only file system" in done.stderr
    goes_on(place)


def test_a_read_only_folder_of_reports_ends_the_night_in_one_line(place, goes_on):
    out = place / "reports"
    wrapper = mounted(place, f"mount --bind {out} {out} && mount -o remount,ro,bind {out}")
    done = triage(*night(place / "feeds", place), limits=wrapper)
    assert done.returncode == 4, done.stderr
    assert "Read-only file system" in done.stderr
    assert "Traceback" not in done.stderr
    goes_on(place)
