"""Feed maps and heading words as people write them."""

import pytest

from triage.catalogue.feeds import fold, load_feeds

MAP = 'id = "board"\nsource = "board"\nmatch = ["board*.csv"]\n[columns]\ntitle = "Titel"\n'


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "headings.toml").write_text('[title]\nen = ["title"]\n')
    return tmp_path


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (MAP.replace('"board"\nsource', '"bord"\nsource'), "board.toml:1: id is 'bord'"),
        (MAP + 'colr = "Farbe"\n', "board.toml:4: columns.colr"),
        (MAP.replace("title", "price"), "a heading for the title"),
        ('currency = "euro"\n' + MAP, "board.toml:1: currency is 'euro'"),
        ('encoding = "cp9999"\n' + MAP, "a text encoding Python knows"),
        ("id = ", "TOML"),
    ],
)
def test_a_fault_in_a_feed_map_is_named_with_file_and_line(folder, text, said):
    (folder / "board.toml").write_text(text)
    problems: list = []
    load_feeds(folder, problems)
    assert said in "\n".join(map(str, problems))


def test_a_word_under_two_fields_is_a_fault(folder):
    (folder / "headings.toml").write_text('[title]\nen = ["name"]\n[seller]\nen = ["Name"]\n')
    problems: list = []
    load_feeds(folder, problems)
    assert "'Name' names both title and seller" in str(problems[0])


def test_a_tab_is_a_delimiter_and_not_stripped(folder):
    (folder / "board.toml").write_text('delimiter = "\\t"\n' + MAP)
    problems: list = []
    assert load_feeds(folder, problems).maps[0].delimiter == "\t"
    assert problems == []


def test_spellings_of_a_heading_are_one_word():
    assert fold("Item Title") == fold("item_title") == fold("itemTitle") == fold(" ITEM-TITLE ")
    assert fold("Größe") == fold("größe")
    assert fold("ﾀｲﾄﾙ") == fold("タイトル")


def test_a_heading_the_map_names_and_the_export_lacks_is_said(ingest, store):
    note = ingest("attic_board.csv", "Anzeigen-Nr.;Titel\n1;a\n2;b\n3;c\n")
    assert note.feed_map == "attic-board"
    assert "headings of the feed map not in this export: " in note.notes[0]


def test_two_headings_for_one_field_are_doubt_and_reject_the_file(ingest):
    note = ingest("x.csv", "id;title;subject;price\n1;a;b;3\n2;c;d;4\n3;e;f;4\n")
    assert note.outcome == "rejected"
    assert note.notes[0].startswith("heading-doubt: title could be 'title' or 'subject'")


def test_a_weak_word_counts_where_no_other_heading_claims_the_field(ingest, rows, store):
    from triage.store import frame

    ingest("x.csv", "id,name,seller,price\n1,shoe,bob,3\n2,boot,amy,4\n3,clog,kim,4\n")
    assert '"title": "name"' in frame(store, "SELECT mapping FROM feed").item()
