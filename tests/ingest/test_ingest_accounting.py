"""Every file and every row is accounted for."""

import gzip
import os
from datetime import date
from pathlib import Path

import pytest

from triage import ingest, listing
from triage.catalogue.words import load_words
from triage.errors import TriageError
from triage.ingest import READERS, run
from triage.ingest.bulk import LEAST_BYTES
from triage.ingest.files import date_in, find
from triage.keeping.verify import verify
from triage.store import connect, frame

CSV = "listing id;title;price\n1;Trail shoe;10 EUR\n2;Court shoe;12 EUR\n3;Track shoe;9 EUR\n"
NIGHT = date(2026, 11, 25)
WORDS = Path(__file__).parents[2] / "rules" / "words"
TOUCHED = ("feed", "raw_row", "sighting", "listing", "reject")


def test_a_row_that_is_too_short_is_rejected_and_the_others_are_kept(ingest, rows, rejects):
    note = ingest("board.csv", CSV + "4;Lost price\n5;Fine again;7 EUR\n")
    assert (note.rows_read, note.rows_rejected) == (5, 1)
    assert [row["title"] for row in rows()] == ["Trail shoe", "Court shoe", "Track shoe", "Fine again"]
    assert rejects() == [(4, "row-width")]


def test_a_row_that_is_mended_is_used_and_named(ingest, rows):
    lines = [f"{i:06d},Trail shoe {i},{i}.50,2026-11-{i:02d}" for i in range(10, 30)]
    lines[4] = lines[4].replace(",2026", "2026")
    note = ingest("board.csv", "listing id,title,price,listed on\n" + "\n".join(lines) + "\n")
    assert (note.rows_read, note.rows_rejected) == (20, 0)
    assert note.notes == ("damaged rows mended, each the one way that fits its columns: 5",)
    assert rows()[4] == {"listing id": "000014", "title": "Trail shoe 14", "price": "14.50", "listed on": "2026-11-14"}


def test_rows_that_ran_into_each_other_are_named_too(ingest, rows):
    lines = [f"{i:06d},Trail shoe {i},{i}.50,2026-11-{i:02d}" for i in range(10, 30)]
    lines[4:6] = [lines[4] + lines[5]]
    note = ingest("board.csv", "listing id,title,price,listed on\n" + "\n".join(lines) + "\n")
    assert (note.rows_read, note.rows_rejected) == (20, 0)
    assert note.notes == ("damaged rows mended, each the one way that fits its columns: 5, 6",)


def test_lines_that_are_no_data_are_counted_by_what_they_are(ingest, rows):
    text = "Saved on Tuesday\n\n" + CSV + "listing id;title;price\n4;Camp shoe;1 EUR\n;;\nTotal;4\n"
    note = ingest("board.csv", text)
    assert dict(note.skipped) == {"preamble": 1, "blank": 2, "repeated heading": 1, "footer": 1}
    assert (note.rows_read, note.rows_rejected, len(rows())) == (4, 0, 4)


def test_the_same_bytes_are_read_once_under_whatever_name(store, feeds, tmp_path):
    (tmp_path / "a.csv").write_text(CSV)
    (tmp_path / "b.csv").write_text(CSV)
    assert [note.outcome for note in run(store, feeds, [tmp_path], NIGHT)] == ["new", "seen"]
    assert [note.outcome for note in run(store, feeds, [tmp_path], NIGHT)] == ["seen", "seen"]
    assert frame(store, "SELECT count(*) FROM raw_row").item() == 3


def test_a_file_without_a_title_is_rejected_whole_with_a_map_to_edit(ingest, store, rows):
    note = ingest("odd-2026-11-24.csv", "foo;bar\n1;2\n3;4\n5;6\n")
    assert note.outcome == "rejected"
    assert rows() == []
    reject = frame(store, "SELECT scope, row_no, code, hint FROM reject").rows(named=True)[0]
    assert (reject["scope"], reject["row_no"], reject["code"]) == ("file", None, "no-title")
    assert 'id = "odd"' in reject["hint"]
    assert 'match = ["odd-*.csv"]' in reject["hint"]
    assert '# headings left: "foo", "bar"' in reject["hint"]
    assert frame(store, "SELECT rows_read, rows_rejected FROM feed").rows() == [(0, 0)]


def test_a_rejected_file_is_tried_again_once_its_map_is_there(store, feeds, tmp_path):
    export = tmp_path / "odd.csv"
    export.write_text("foo;bar\n1;2\n3;4\n5;6\n")
    assert run(store, feeds, [export], NIGHT)[0].outcome == "rejected"
    text = 'id = "odd"\nsource = "odd"\nmatch = ["odd*"]\n[columns]\ntitle = "foo"\nprice = "bar"\n'
    (tmp_path / "rules").mkdir()
    (tmp_path / "rules" / "odd.toml").write_text(text)
    (tmp_path / "rules" / "headings.toml").write_text("")
    from triage.catalogue.feeds import load_feeds

    assert run(store, load_feeds(tmp_path / "rules", []), [export], NIGHT)[0].outcome == "new"
    assert frame(store, "SELECT count(*) FROM reject").item() == 0
    assert frame(store, "SELECT mapping FROM feed").item() == '{"title": "foo", "price": "bar"}'


def test_a_reader_that_fails_half_way_contributes_nothing_and_the_night_goes_on(store, feeds, tmp_path):
    class Failing:
        NAME = "failing"

        def claims(self, path, head):
            return path.name == "bad.dat"

        def read(self, path, settings):
            for reader in READERS:
                if reader.NAME == "csv":
                    yield from reader.read(tmp_path / "good.csv", settings)
            raise ZeroDivisionError("half way")

    (tmp_path / "good.csv").write_text(CSV)
    (tmp_path / "bad.dat").write_bytes(b"\x00\x01\x02" * 50)
    notes = run(store, feeds, [tmp_path], NIGHT, (Failing(), *READERS))
    assert {note.path: note.outcome for note in notes} == {"bad.dat": "rejected", "good.csv": "new"}
    assert "ZeroDivisionError: half way" in notes[0].notes[0]
    assert frame(store, "SELECT count(*) FROM raw_row").item() == 3


def test_two_readers_that_claim_one_file_are_both_named(store, feeds, tmp_path):
    class Greedy:
        NAME = "greedy"

        def claims(self, path, head):
            return True

    (tmp_path / "a.csv").write_text(CSV)
    note = run(store, feeds, [tmp_path], NIGHT, (Greedy(), *READERS))[0]
    assert note.outcome == "rejected"
    assert "greedy, csv" in note.notes[0]


def test_a_date_in_the_path_is_the_night_and_the_nearest_one_wins(tmp_path):
    from pathlib import Path

    assert date_in(Path("2026-11-23/2026-11-24/board.csv")) == date(2026, 11, 24)
    assert date_in(Path("2026-11-23/board_2026-11-20.csv")) == date(2026, 11, 20)
    assert date_in(Path("2026-13-40/board.csv")) is None


def test_a_file_dated_after_the_night_is_left_out_with_a_note(store, feeds, tmp_path):
    (tmp_path / "2026-11-26").mkdir()
    (tmp_path / "2026-11-26" / "a.csv").write_text(CSV)
    assert [note.outcome for note in run(store, feeds, [tmp_path], NIGHT)] == ["later"]
    assert frame(store, "SELECT count(*) FROM feed").item() == 0


def test_every_path_that_does_not_exist_is_named(store, feeds, tmp_path):
    with pytest.raises(TriageError) as caught:
        run(store, feeds, [tmp_path / "gone", tmp_path / "lost"], NIGHT)
    assert caught.value.exit_code == 2
    assert "gone" in str(caught.value)
    assert "lost" in str(caught.value)


def test_readme_and_hidden_files_of_a_folder_are_no_feeds(store, feeds, tmp_path):
    (tmp_path / "README.md").write_text("what is here")
    (tmp_path / ".hidden.csv").write_text(CSV)
    (tmp_path / ".git").mkdir()
    (tmp_path / ".git" / "a.csv").write_text(CSV)
    with pytest.raises(TriageError, match="no export in it"):
        run(store, feeds, [tmp_path], NIGHT)


def test_a_file_no_reader_claims_is_rejected(ingest):
    note = ingest("photo.jpg", b"\xff\xd8\xff\xe0\x00\x10JFIF\x00" + bytes(range(256)) * 4)
    assert note.outcome == "rejected"
    assert note.notes[0].startswith("no-reader")


def test_links_that_leave_the_folder_pipes_and_unreadable_files_are_rejected_not_followed(store, feeds, tmp_path):
    outside, folder = tmp_path / "outside.csv", tmp_path / "feeds"
    outside.write_text(CSV)
    folder.mkdir()
    (folder / "link.csv").symlink_to(outside)
    (folder / "dangling.csv").symlink_to(tmp_path / "nothing")
    (folder / "up").symlink_to(tmp_path)
    os.mkfifo(folder / "pipe.csv")
    notes = {note.path: note.notes[0].split(":")[0] for note in run(store, feeds, [folder], NIGHT)}
    assert notes == {
        "dangling.csv": "outside-folder", "link.csv": "outside-folder", "pipe.csv": "no-file", "up": "outside-folder",
    }  # fmt: skip


def test_a_path_of_odd_characters_is_stored_as_text(store, feeds, tmp_path):
    name = os.fsdecode(b"b\xff\nx.csv")
    (tmp_path / name).write_text(CSV)
    note = run(store, feeds, [tmp_path], NIGHT)[0]
    assert (note.path, note.outcome) == ("b\\xff\\x0ax.csv", "new")


def test_reading_the_same_files_in_any_order_gives_the_same_tables(feeds, tmp_path):
    for day, price in (("2026-11-23", "10"), ("2026-11-24", "9")):
        (tmp_path / day).mkdir()
        (tmp_path / day / "a.csv").write_text(CSV.replace("10 EUR", f"{price} EUR"))
    tables = []
    for paths in ([tmp_path], [tmp_path / "2026-11-24", tmp_path / "2026-11-23"]):
        store = connect()
        run(store, feeds, paths, NIGHT)
        tables.append(frame(store, "SELECT * EXCLUDE path FROM feed ORDER BY ALL").rows())
    assert tables[0] == tables[1]


class EndedError(Exception):
    """Stands for whatever ends a night."""


def test_a_night_that_ends_while_sightings_are_made_leaves_nothing_of_its_files(store, feeds, tmp_path):
    words = load_words(WORDS, [])
    (tmp_path / "a.csv").write_text(CSV)
    (tmp_path / "b.csv").write_text(CSV.replace("Trail", "Camp") + "4;lost price\n")
    reading = listing.Reading(words)

    def ended(feed_ids):
        listing.sort_out(store, reading, feed_ids)
        assert frame(store, "SELECT count(*) FROM sighting").item() == 6
        raise EndedError

    with pytest.raises(EndedError):
        run(store, feeds, [tmp_path], NIGHT, then=ended)
    assert [frame(store, f"SELECT count(*) FROM {one}").item() for one in TOUCHED] == [0, 0, 0, 0, 0]
    run(store, feeds, [tmp_path], NIGHT, then=lambda feed_ids: listing.sort_out(store, reading, feed_ids))
    assert [frame(store, f"SELECT count(*) FROM {one}").item() for one in TOUCHED] == [2, 6, 6, 6, 1]
    verify(store, "t")


def test_a_refused_file_takes_nothing_from_those_it_is_stored_with(store, feeds, tmp_path):
    (tmp_path / "a.csv").write_text(CSV)
    (tmp_path / "b.csv").write_bytes(gzip.compress(CSV.replace("Trail", "Camp").encode() * 900)[:-9])
    (tmp_path / "c.csv").write_text(CSV.replace("Trail", "Road"))
    told = []
    notes = run(store, feeds, [tmp_path], NIGHT, then=told.append)
    assert [note.outcome for note in notes] == ["new", "rejected", "new"]
    assert told == [[notes[0].feed_id, notes[2].feed_id]]
    assert frame(store, "SELECT count(*) FROM raw_row").item() == 6
    assert run(store, feeds, [tmp_path], NIGHT, then=told.append)[1].outcome == "rejected"
    assert len(told) == 1


def test_long_files_are_stored_alone_and_small_ones_together(tmp_path):
    sizes = {"a": 1, "b": 2, "c": LEAST_BYTES, "d": 3, **{f"e{i}": LEAST_BYTES - 1 for i in range(5)}, "f": 4}
    for name, size in sizes.items():
        with (tmp_path / f"{name}.csv").open("wb") as stream:
            stream.truncate(size)
    groups = [[one.path.stem for one in group] for group in ingest._groups(find([tmp_path], NIGHT))]
    assert groups == [["a", "b"], ["c"], ["d", "e0", "e1", "e2", "e3"], ["e4", "f"]]
