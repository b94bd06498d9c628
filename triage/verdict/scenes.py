"""What pairs are worth to one buyer: each different case valued once, and laid out pair by pair when needed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
import polars as pl

from triage.catalogue.buyers import Buyer
from triage.catalogue.repairs import Repair
from triage.catalogue.values import Values
from triage.once import once
from triage.verdict.beliefs import Beliefs
from triage.verdict.calls import Scene
from triage.verdict.mending import Mending
from triage.verdict.money import Array, Flags
from triage.verdict.offers import Offer
from triage.verdict.plans import Mender, Narrowed, Valued, Worth, lost_share, value_states
from triage.verdict.states import Places, Rows, bits_of, joint
from triage.verdict.worth import worth_of, worth_to


@dataclass(frozen=True)
class Trade:
    """What a buyer can do with pairs: what they are made of, how they are mended, what values are shared out."""

    materials: Mapping[str, Mapping[str, str]]
    repairs: Mapping[str, Repair]
    values: Values

    def mender(self, buyer: Buyer) -> Mender:
        """Return the mendings of a buyer."""
        return _mender(self.repairs, self.materials, buyer)


@once
def _mender(repairs: Mapping[str, Repair], materials: Mapping[str, Mapping[str, str]], buyer: Buyer) -> Mender:
    return Mender(list(repairs.values()), materials, buyer)


@dataclass(frozen=True)
class Prices:
    """What the candidates of N pairs are worth to one buyer, whatever is said of the pairs.

    Attributes:
        mender: The buyer's.
        bears: The part can drop, trip or cut the wearer, [N, C, 8].
        fitting, other: Values of the different cases when the size fits and when it doesn't, [U].
        case: Which of the cases each candidate is, [N, C].
        worth, mending: What each candidate is worth and how it is mended, [N, C].
        basis: Where the value of the likeliest candidate is from, [N].
        doubt: How far it may be off either way, as a share, [N].
    """

    mender: Mender
    bears: Flags
    fitting: Valued
    other: Valued
    case: Places
    worth: Worth
    mending: Places
    basis: pl.Series
    doubt: Array


@dataclass(frozen=True)
class Stakes:
    """What N pairs may be worth to one buyer."""

    buyer: Buyer
    beliefs: Beliefs
    offer: Offer
    prices: Prices

    @cached_property
    def ids(self) -> pl.Series:
        """The listings, [N]."""
        return pl.Series("listing_id", self.beliefs.listing_ids, dtype=pl.String)

    @cached_property
    def value(self) -> Array:
        """Value when sound, candidates mixed, minor units, [N]."""
        return np.asarray((self.beliefs.evidence.weight * self.prices.worth.sound).sum(axis=1))

    def scene(self, rows: Rows) -> Scene:
        """Return what the buyer faces in some of the pairs."""
        evidence, case = self.beliefs.evidence.take(rows), self.prices.case[rows]
        fitting, other = self.prices.fitting.take(case), self.prices.other.take(case)
        return Scene(self.buyer, self.offer.take(rows), joint(evidence), evidence.bears, fitting, other)

    def narrowed(self, rows: Places, candidates: int, parts: Places) -> Scene:
        """Return what the buyer faces in some of the pairs that have no more candidates and parts than these."""
        evidence = self.beliefs.evidence.take(rows).narrowed(candidates, parts)
        case = self.prices.case[rows, :candidates]
        # The states of these parts, among those of all.
        states = (bits_of(len(parts)).astype(np.int64) * (1 << parts)).sum(axis=1)
        fitting, other = (Narrowed(side, case, states) for side in (self.prices.fitting, self.prices.other))
        return Scene(self.buyer, self.offer.take(rows), joint(evidence), evidence.bears, fitting, other)


def prices_to(
    buyer: Buyer,
    ids: list[str],
    construction: npt.NDArray[np.object_],
    bears: Flags,
    comparables: pl.DataFrame,
    mender: Mender,
    values: Values,
) -> Prices:
    """Return what the candidates of pairs are worth to a buyer.

    Args:
        ids, construction: The listings, [N], and their candidates, [N, C].
        bears: The part can drop, trip or cut the wearer, [N, C, 8].
        comparables: As ``read_comparables`` returns them.
        mender: The buyer's.
    """
    found, shape = worth_of(worth_to(buyer, comparables, values.doubt.own), ids, construction), construction.shape
    worth = Worth(*(found[name].to_numpy().reshape(shape) for name in ("sound_minor", "display_minor", "parts_minor")))
    mending = mender.of(construction, bears)
    cases = cases_of(worth, mending, mender.mendings, buyer, values)
    first = found.select("basis", "doubt").gather_every(shape[1])
    return Prices(mender, bears, *cases, worth, mending, first["basis"], first["doubt"].to_numpy())


def cases_of(
    worth: Worth, mending: Places, mendings: Sequence[Mending], buyer: Buyer, values: Values
) -> tuple[Valued, Valued, Places]:
    """Return the values of the different cases when the size fits and when it doesn't, and which each pair is.

    Pairs of one release in one condition are alike in all that their worth hangs on.

    Args:
        worth, mending: By pair and candidate, [N, C].
    """
    columns = {"sound": worth.sound, "display": worth.display, "parts": worth.parts, "mending": mending}
    cells = pl.DataFrame({name: column.ravel() for name, column in columns.items()})
    cases = cells.unique(maintain_order=True)
    index = cells.join(cases.with_row_index("case"), on=cells.columns, how="left", maintain_order="left")["case"]
    once = Worth(*(cases[name].to_numpy() for name in ("sound", "display", "parts")))
    fitting, other = both_sides(once, cases["mending"].to_numpy(), mendings, buyer, values)
    return fitting, other, index.cast(pl.Int64).to_numpy().reshape(mending.shape)


def both_sides(
    worth: Worth, mending: Places, mendings: Sequence[Mending], buyer: Buyer, values: Values
) -> tuple[Valued, Valued]:
    """Return the values of all states when the size fits and when it doesn't."""
    shares = (lost_share(values.unfit_share), values.restored_share, values.display_loss)
    # To whom the size is wrong a pair is worth what others see in it.
    others = tuple(purpose for purpose in buyer.purposes if purpose in ("display", "resell"))
    salvage = buyer.model_copy(update={"purposes": others})
    fitting, other = (value_states(worth, mending, mendings, one, shares) for one in (buyer, salvage))
    return fitting, other
