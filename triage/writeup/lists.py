"""Comparison and short list as plain text for the terminal."""

import polars as pl

from triage.writeup.phrase import plain

CAUTION = (
    "Estimates from age, material and the sellers' words, not inspections. A pair can fail sooner; "
    "have the sole checked by a qualified shoe repairer before wearing."
)


def _money(minor: int | None, currency: str) -> str:
    return "?" if minor is None else f"{currency} {minor / 100:.0f}"


def comparison_text(rows: pl.DataFrame, gaps: pl.DataFrame, currency: str) -> str:
    """Return pairs of one model side by side, purpose by purpose, with what sets them apart."""
    lines = []
    for purpose in rows["purpose"].unique(maintain_order=True):
        lines.append(f"to {purpose}")
        for row in rows.filter(pl.col("purpose") == purpose).iter_rows(named=True):
            lines.append(
                f"  {row['condition']:<13} worth {_money(row['expected_minor'], currency)} after repairs of "
                f"{_money(row['repair_minor'], currency)}, lands at {_money(row['landed_minor'], currency)}: "
                f"{_money(row['surplus_minor'], currency)}; wearable {row['p_wearable']:.0%}, after the plan "
                f"{row['p_after']:.0%}; at risk {_money(row['at_risk_minor'], currency)}; "
                f"sensible up to {_money(row['offer_minor'], currency)}"
            )
            lines.append(f"                {plain(row['title'])} [{row['listing_id']}]")
        for gap in gaps.filter(pl.col("purpose") == purpose).iter_rows(named=True):
            lines.append(f"  {_gap_text(gap, currency)}")
        lines.append("")
    lines.append(CAUTION)
    return "\n".join(lines) + "\n"


def _gap_text(gap: dict[str, object], currency: str) -> str:
    worth, asked = int(str(gap["gap_minor"])), int(str(gap["asked_minor"]))
    may = f"may cost {_money(worth, currency)} more" if worth >= 0 else f"must cost {_money(-worth, currency)} less"
    does = f"costs {_money(asked, currency)} more" if asked >= 0 else f"costs {_money(-asked, currency)} less"
    return (
        f"take the {gap['better']} one: at the door the best deadstock pair {may} than the best worn one before "
        f"the worn one is the better buy, and it {does}"
    )


def shortlist_text(lines: pl.DataFrame, buyer: str) -> str:
    """Return the short list for a buyer, one pair a paragraph."""
    if lines.is_empty():
        return f"nothing for {buyer} tonight: no pair worth buying or asking about\n"
    told = [f"for {buyer}"]
    for row in lines.iter_rows(named=True):
        role = f" ({row['role']})" if row["role"] else ""
        told.append(
            f"  {row['call']}{role}: {plain(row['title'])} [{row['listing_id']}]\n"
            f"      {plain(row['reason'])}\n"
            f"      size {plain(row['size_text'] or 'not stated')}, fits {row['p_fits']:.0%}; wearable "
            f"{row['p_wearable_lo']:.0%} to {row['p_wearable_hi']:.0%}, after the plan {row['p_after_plan']:.0%}; "
            f"lands at {_money(row['landed_minor'], row['currency'])}, sensible up to "
            f"{_money(row['offer_minor'], row['currency'])}"
        )
    return "\n".join([*told, CAUTION]) + "\n"
