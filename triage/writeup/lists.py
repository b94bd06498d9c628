"""Ageing, previews and readings as plain text for the terminal."""

from collections.abc import Sequence
from datetime import date
from typing import Any, Protocol

import polars as pl

from triage.writeup.phrase import count, day, percent, percent_range, plain

CAUTION = (
    "Estimates from age, material and the sellers' words, not inspections. A pair can fail sooner; "
    "have the sole checked by a qualified shoe repairer before wearing."
)


def ageing_text(rows: pl.DataFrame, name: str, fails: str, basis: str, as_of: date) -> str:
    """Return how one material has aged, and its chances now and in years to come.

    Args:
        rows: As ``prognosis.single.age_of`` returns them.
    """
    first = rows.to_dicts()[0]
    lines = [
        f"{name}, on {day(as_of)}: {first['age_years']:.1f} years old, "
        f"which has aged it as {first['effective_years']:.1f} at 20 °C and 50 %",
        f"{fails}; {basis}",
        "",
        "still wanted   chance of unfit   long-lived to short-lived grade",
    ]
    lines += [
        f"{row['horizon_years']:>4.0f} years     {percent(row['p_unfit']):<18}"
        f"{percent_range(row['p_unfit_lo'], row['p_unfit_hi'])}"
        for row in rows.to_dicts()
    ]
    return "\n".join([*lines, "", CAUTION]) + "\n"


class Preview(Protocol):
    """How an export would be read, as stage 1 says."""

    @property
    def path(self) -> str: ...
    @property
    def reader(self) -> str | None: ...
    @property
    def feed_map(self) -> str | None: ...
    @property
    def source(self) -> str | None: ...
    @property
    def columns(self) -> Sequence[Any]: ...
    @property
    def rows_read(self) -> int: ...
    @property
    def rejected(self) -> Sequence[tuple[int, str, str]]: ...
    @property
    def skipped(self) -> Sequence[tuple[str, int]]: ...
    @property
    def notes(self) -> Sequence[str]: ...
    @property
    def refusal(self) -> str | None: ...


def preview_text(looked: Preview) -> str:
    """Return what each column of an export would become, and what would be refused."""
    how = (
        f"{looked.reader or 'no reader'}, {looked.feed_map or 'by its headings'}, source {looked.source or 'not named'}"
    )
    lines = [f"{plain(looked.path)}: {how}"]
    if looked.refusal:
        lines.append(f"  would be refused whole: {looked.refusal}")
    for column in looked.columns:
        examples = ", ".join(plain(example)[:40] for example in column.examples)
        lines.append(f"  {column.field or '(kept, not used)':<18} {plain(column.heading)}: {examples}")
    if not looked.refusal:
        lines.append(f"  {count(looked.rows_read, 'row')} in the part looked at")
    lines += [f"  {number} {what}" for what, number in looked.skipped]
    lines += [f"  row {number}: {code}; expected {hint}" for number, code, hint in looked.rejected[:10]]
    lines += [f"  {note}" for note in looked.notes]
    return "\n".join(lines) + "\n"


def reading_text(text: str, read: pl.DataFrame) -> str:
    """Return a text, its readings marked, with each of them under it: sign, state, words, offset.

    Args:
        read: sign, state, hedged, quote, start, language, value, counts, as stage 4 gives them.
    """
    lines = [plain(text), ""]
    for row in read.to_dicts():
        doubt = ", with a doubt" if row["hedged"] else ""
        weight = "" if row["counts"] else ", no weight"
        value = f" ({row['value']})" if row["value"] else ""
        lines.append(
            f'{row["sign"]} {row["state"]}{value}{doubt}{weight}: "{plain(row["quote"])}" '
            f"at {row['start']}, {row['language'] or '?'}"
        )
    return "\n".join([*lines, *([] if read.height else ["nothing is read from it"])]) + "\n"
