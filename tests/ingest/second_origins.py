"""For each polluted variant that is not loaded: another clean table that the same generator turns into the same bytes.

Whoever has only the bytes can't know which of the two tables they were, so no reader can be right about both, and one
that loads either is wrong about the other. Where the kind of pollution is the same, only the clean table differs;
elsewhere another kind of pollution of the set, or another text, place or encoding of it, makes the same bytes.
"""

from collections.abc import Callable

from polluted import (
    PLACES,
    Rows,
    Variant,
    bare_comma,
    behind_quote,
    clean,
    letter_lost,
    one_more,
    other_encoding,
    part_quoted,
    spoilt,
    variants,
)

# Names of variants of which the very same pollution of another table makes the same bytes.
SAME_POLLUTION = {
    *(f"{name} in the {place} row" for place in PLACES
      for name in ("last cell missing", "middle cell missing", "only the first cell", "half a row", "delimiter moved")),
    "file cut off inside the last address", "file cut off behind the last delimiter",
}  # fmt: skip


def second_origins() -> dict[str, Variant]:
    """Return a variant of another clean table with the same bytes, by the name of the variant."""
    rows = clean()
    found: dict[str, Variant] = {}
    for place, at in PLACES.items():
        title, address, damage = rows[at + 1][1], rows[at + 1][9], f"in the {place} row"
        other_address = _with(rows, at, 9, address[:-2] + "98")
        for name in ("last cell missing", "only the first cell", "half a row"):
            found[f"{name} {damage}"] = _same(f"{name} {damage}", other_address)
        other_wear = _with(rows, at, 6, "worn" if rows[at + 1][6] != "worn" else "deadstock")
        found[f"middle cell missing {damage}"] = _same(f"middle cell missing {damage}", other_wear)
        other_text = _with(rows, at, 2, "Sole bond solid")
        found[f"delimiter moved {damage}"] = _same(f"delimiter moved {damage}", other_text)
        found[f"text after a closing quote {damage}"] = part_quoted(
            _with(rows, at, 1, f"{title} nice"), "quotes around a part of a title", at, " nice"
        )
        last = " " + title.split()[-1]
        found[f"quotes around a part of a title {damage}"] = spoilt(
            _with(rows, at, 1, title.removesuffix(last)),
            "text after a closing quote", at, _behind(last), "stray-quote",
        )  # fmt: skip
        found[f"cell too many {damage}"] = bare_comma(rows, "comma in an unquoted address", at, 9, f"{address},more")
        found[f"comma in an unquoted address {damage}"] = spoilt(
            rows, "cell too many", at, lambda record: f"{record},2", "row-width"
        )
        found[f"cell too many inside {damage}"] = bare_comma(rows, "comma in an unquoted title", at, 1, f"more,{title}")
        found[f"comma in an unquoted title {damage}"] = spoilt(
            rows, "cell too many inside", at, lambda record: one_more(record, "boxed"), "row-width"
        )
    for name in ("file cut off inside the last address", "file cut off behind the last delimiter"):
        found[name] = _same(name, _with(rows, 39, 9, "https://board.example/item/4998"))
    found["NUL inside a text"] = letter_lost(
        _with(rows, 20, 1, "Haldrassen Tarquellan High"), "NUL instead of another letter", 20, "Tar"
    )
    for encoding, other in (("cp1252", "mac_roman"), ("mac_roman", "cp1252")):
        name = f"one row in {encoding}, with words no other row has"
        text = rows[11][2].replace("Größe", "Naht öfter").encode(encoding).decode(other)
        found[name] = other_encoding(_with(rows, 10, 2, text), f"one row in {other}", 10, other)
    return found


def _same(name: str, rows: Rows) -> Variant:
    """Return the variant of that name of another clean table."""
    return next(one for one in variants(rows, "widths") if one.name == name)


def _with(rows: Rows, at: int, column: int, text: str) -> Rows:
    """Return a clean table with another text in one cell."""
    row = [*rows[at + 1][:column], text, *rows[at + 1][column + 1 :]]
    return [*rows[: at + 1], row, *rows[at + 2 :]]


def _behind(text: str) -> Callable[[str], str]:
    return lambda record: behind_quote(record, text)
