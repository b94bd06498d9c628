"""A clock that has jumped is told before it dates anything: exports without a date in their path get the night's."""

from datetime import date

from triage.errors import USAGE, fail
from triage.keeping.opening import Connection

_LONGEST_PAUSE = 400


def see_clock(connection: Connection, today: date) -> None:
    """Hold today's date, which nobody gave, against the last night of a store.

    Raises:
        TriageError: It is before that night, or more than a year after it.
    """
    last = connection.execute("SELECT max(as_of) FROM run").fetchall()[0][0]
    if last is not None and not 0 <= (today - last).days <= _LONGEST_PAUSE:
        fail(
            "the clock",
            f"says {today}; the last night in the store is {last}",
            f"a night of at most {_LONGEST_PAUSE} days after that, or the date by --as-of; nothing was changed",
            USAGE,
        )
