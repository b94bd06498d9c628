"""What stage 7 stands on beside the tables of a night: the money side of the rules, and every release."""

from collections.abc import Mapping
from dataclasses import dataclass

from triage.catalogue.buyers import Buyer, Outlook
from triage.catalogue.costs import Costs
from triage.catalogue.facts import Fact
from triage.catalogue.repairs import Repair
from triage.catalogue.signs import Sign
from triage.catalogue.values import Values
from triage.once import once
from triage.store import Connection, frame
from triage.verdict.asking import WHOLE, SignQuestion
from triage.verdict.scenes import Trade
from triage.verdict.states import PARTS

RELEASES = """
SELECT model_id, concat('the ', edition, ' ', model, ', made ', floor(made_from)::INTEGER, ' to ',
  floor(made_to - 0.01)::INTEGER) AS name
FROM construction
WHERE NOT generic AND edition IS NOT NULL AND made_from IS NOT NULL
ORDER BY model_id
"""
MATERIALS = f"SELECT model_id, {', '.join(PARTS)} FROM construction ORDER BY model_id"


@dataclass(frozen=True)
class Ground:
    """What the stage knows beside the tables: the money side of ``rules/``, signs and facts."""

    buyers: Mapping[str, Buyer]
    repairs: Mapping[str, Repair]
    costs: Costs
    values: Values
    signs: Mapping[str, Sign]
    facts: Mapping[str, Fact]
    ageing_signs: frozenset[str]

    def outlooks(self) -> list[Outlook]:
        """Return the outlooks of the buyers, shortest first."""
        return sorted({buyer.outlook for buyer in self.buyers.values()})

    def questions(self) -> list[SignQuestion]:
        """Return the signs that can be asked for, with the weights of an answer."""
        return _questions(self.signs, self.ageing_signs)


@once
def _questions(signs: Mapping[str, Sign], ageing: frozenset[str]) -> list[SignQuestion]:
    bits = {part: number for number, part in enumerate(PARTS)} | {"whole": WHOLE}
    return [
        SignQuestion(
            sign.id, bits[sign.part], sign.group, weight.if_true, weight.if_false,
            tuple(sign.question.only_if.items()),
        )
        for sign in sorted(signs.values(), key=lambda sign: sign.id)
        if sign.question is not None
        and sign.part in bits
        and sign.id not in ageing
        and (weight := sign.weight.get("answer")) is not None
    ]  # fmt: skip


@dataclass(frozen=True)
class Releases:
    """What stage 7 knows of every release.

    Attributes:
        materials: The construction table's parts of each, by model_id and part; empty where there is none.
        names: How those that have a name are called in a sentence: edition and years of manufacture.
    """

    materials: Mapping[str, Mapping[str, str]]
    names: Mapping[str, str]

    @classmethod
    def of(cls, store: Connection) -> "Releases":
        """Return the releases of a store's construction table."""
        materials = {row["model_id"]: row for row in frame(store, MATERIALS).fill_null("").to_dicts()}
        return cls(materials, dict(frame(store, RELEASES).iter_rows()))


def trade_of(releases: Releases, ground: Ground) -> Trade:
    """Return what a buyer can do with pairs."""
    return Trade(releases.materials, ground.repairs, ground.values)
