"""What a note or a supposition changed, in one line: part, chance, offer, call and place."""

from triage.desk.tonight import Standing
from triage.writeup import phrase

# Less is not seen in a report either.
LEAST_POINTS = 1
MOST_PARTS = 2


def change_line(cause: str, before: Standing | None, after: Standing | None) -> str:
    """Return what changed and why: "the foam springs back: midsole +31 points; offer up to EUR 142 (was EUR 111)".

    Args:
        cause: What was noted or supposed.
        before: Where the pair stood.
        after: Where it stands; None where it is no longer weighed.
    """
    if after is None or before is None:
        now = "no longer weighed" if after is None else f"now {after.call}"
        return f"{cause}: {now}."
    pieces = [
        *_parts(before, after),
        *_chance(before, after),
        _offer(before, after),
        *([f"{before.call} becomes {after.call}"] if before.call != after.call else []),
        *_place(before, after),
    ]
    changed = [piece for piece in pieces if piece]
    return f"{cause}: {'; '.join(changed) if changed else f'changes nothing, it stays {after.call}'}."


def _parts(before: Standing, after: Standing) -> list[str]:
    """Return how much likelier the parts are to be fit, in points of a hundred, the largest move first."""
    points = {
        part: round(100 * (before.unfit[part] - now)) for part, now in after.unfit.items() if part in before.unfit
    }
    largest = sorted(points, key=lambda part: -abs(points[part]))[:MOST_PARTS]
    signed = {part: f"{'+' if points[part] > 0 else '−'}{abs(points[part])}" for part in largest}
    return [f"{part} {signed[part]} points" for part in largest if abs(points[part]) >= LEAST_POINTS]


def _chance(before: Standing, after: Standing) -> list[str]:
    was, now = (phrase.percent(one.wearable) if one.wearable is not None else "" for one in (before, after))
    return [f"wearable {was} to {now}"] if was != now else []


def _offer(before: Standing, after: Standing) -> str:
    was, now = (
        phrase.at_most(one.offer_minor, one.currency) if one.offer_minor else phrase.NO_OFFER for one in (before, after)
    )
    if was == now:
        return ""
    return f"offer up to {now} (was {was})" if after.offer_minor else f"{now} (was up to {was})"


def _place(before: Standing, after: Standing) -> list[str]:
    if before.number == after.number:
        return []
    was, now = (f"No. {one.number}" if one.number else "below the list" for one in (before, after))
    return [f"{was} becomes {now}"]
