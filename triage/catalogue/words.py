"""The words of stage 2: how sellers write prices, sizes, years, wear, countries and what is on offer.

``rules/words/`` holds one TOML file for each subject; they are few and fixed, so each has its own model.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from pydantic import Field, model_validator

from triage.catalogue.documents import Document, line_of, read_toml, validated
from triage.errors import Problem

Languages = dict[str, list[str]]
Code = Annotated[str, Field(pattern=r"^[A-Z]{3}$")]
Country = Annotated[str, Field(pattern=r"^[A-Z]{2}$")]


class WordList(Document):
    """A plain list of words or phrases."""

    words: list[str]


class KnownCodes(Document):
    """Currency codes of ISO 4217 that a price may carry."""

    known: list[Code]


class PointCurrencies(Document):
    """Currencies whose users write a point before the decimals."""

    currencies: list[Code]


class PriceKindWords(Document):
    """What a price cell says instead of, or beside, an amount."""

    bid: list[str]
    request: list[str]
    free: list[str]
    swap: list[str]
    fixed: list[str]
    swap_for: list[str]


class ShippingWords(Document):
    """Shipping cells without an amount."""

    included: list[str]
    unknown: list[str]
    nouns: list[str]
    with_: list[str] = Field(alias="with")
    on_top: list[str]
    included_beside: list[str]


class PremiumWords(Document):
    """How a buyer's premium is stated; ``filler`` may stand between the word and the percentage."""

    words: list[str]
    filler: list[str]
    none_before: list[str]
    none_after: list[str]
    none: list[str]
    tax: list[str]


class MoneyWords(Document):
    """``money.toml``: currencies, their marks and decimals, and words beside amounts."""

    base_currency: Code
    rate_file: str
    rate_max_age_days: int = Field(ge=1, le=366)
    largest: int = Field(ge=1)
    decimals: dict[Code, Annotated[int, Field(ge=0, le=4)]]
    codes: KnownCodes
    marks: dict[str, Code]
    shared_marks: dict[str, list[Code]]
    countries: dict[Country, Code]
    point: PointCurrencies
    harmless: WordList
    price_kind: PriceKindWords
    shipping: ShippingWords
    premium: PremiumWords


class SizeSystem(Document):
    """One size system: how it is written and the foot length a size fits.

    A size n fits feet from ``(n + offset_lo) * step_mm`` to ``(n + offset_hi) * step_mm`` millimetres.
    """

    step_mm: float = Field(gt=0)
    offset_lo: float
    offset_hi: float
    smallest: float
    largest: float
    words: list[str]
    cell_words: list[str]

    @model_validator(mode="after")
    def _ordered(self) -> "SizeSystem":
        if self.offset_lo >= self.offset_hi or self.smallest >= self.largest:
            raise ValueError("offset_lo below offset_hi and smallest below largest")
        return self


class SizeMarkers(Document):
    """Words before a size of no stated system; ``glued`` ones may touch the number (T42)."""

    words: list[str]
    glued: list[str]


class BareSize(Document):
    """What a number of no stated system can be, by country of the seller."""

    lowest: float = Field(alias="from")
    highest: float = Field(alias="to")
    countries: list[str]
    systems: list[str]


class SizeWords(Document):
    """``size.toml``: size systems and the words around sizes."""

    systems: dict[str, SizeSystem]
    markers: SizeMarkers
    bare: list[BareSize]
    american: WordList
    half: WordList
    men: WordList
    women: WordList
    youth: WordList
    felt: WordList
    followers: WordList

    @model_validator(mode="after")
    def _known_systems(self) -> "SizeWords":
        unknown = sorted({name for rule in self.bare for name in rule.systems} - set(self.systems))
        if unknown:
            raise ValueError(f"systems of [[bare]] that are set under [systems], not {', '.join(unknown)}")
        return self


class BesideYear(Document):
    """Words that stand before or after a year."""

    before: list[str]
    after: list[str]


class AgoWords(Document):
    """Words of dates counted back from the night of the export."""

    today: list[str]
    yesterday: list[str]
    days: list[str]
    weeks: list[str]
    hours: list[str]


class YearWords(Document):
    """``year.toml``: what a year means, parts of decades, names of months."""

    earliest: int
    about_years: int = Field(ge=0)
    made: BesideYear
    purchase: BesideYear
    secondhand: BesideYear
    style: BesideYear
    other: BesideYear
    about: BesideYear
    early: WordList
    middle: WordList
    late: WordList
    decades: dict[Annotated[str, Field(pattern=r"^[1-9]0s$")], list[str]]
    months: dict[Annotated[str, Field(pattern=r"^([1-9]|1[0-2])$")], list[str]]
    ago: AgoWords


class ConditionColumn(Document):
    """Whole cells of the condition column."""

    deadstock: WordList
    tried_on: WordList
    worn_lightly: WordList
    worn: WordList
    worn_heavily: WordList
    unknown: WordList


class MadePhrases(Document):
    """Words from which phrases about wear are made: how often or how much, and the verb, in either order."""

    verb: Languages
    never: Languages
    once: Languages
    few: Languages
    lightly: Languages
    heavily: Languages
    filler: WordList


class ConditionWords(Document):
    """``condition.toml``: how much a pair was worn."""

    deadstock: Languages
    deadstock_in_title: Languages
    tried_on: Languages
    worn_lightly: Languages
    worn: Languages
    worn_heavily: Languages
    nothing: Languages
    elsewhere: Languages
    made: MadePhrases
    column: ConditionColumn


class KindPlaces(Document):
    """Phrases that count in the title only, and those that count anywhere."""

    title: Languages
    text: Languages


class KindWords(Document):
    """``kind.toml``: pair, lot, single shoe, accessory, wanted advertisement or replica."""

    wanted: KindPlaces
    accessory: KindPlaces
    lot: KindPlaces
    single: KindPlaces
    replica: KindPlaces
    nothing: Languages
    other_category: WordList
    shoe_category: WordList
    small_pair: WordList
    pair_noun: WordList
    numbers: dict[Annotated[str, Field(pattern=r"^[2-9]$")], list[str]]
    one_pair: WordList
    lot_count: WordList
    each: WordList
    aside: WordList
    other_price: WordList
    more_of_it: WordList
    only_whole: WordList
    conjunction: WordList


class LanguageWords(Document):
    """``language.toml``: words that vote for a language."""

    margin: int = Field(ge=1)
    words: Languages


class SellerKindWords(Document):
    """Cells of the seller kind column."""

    private: list[str]
    business: list[str]


class StatusWords(Document):
    """Cells of the status column, and the same said in a title."""

    open: list[str]
    sold: list[str]
    title_sold: list[str]


class CutWords(Document):
    """Last words of a description that was cut."""

    more: list[str]
    dangling: list[str]


class TextWords(Document):
    """``text.toml``: words about the listing itself."""

    seller_kind: SellerKindWords
    status: StatusWords
    cut: CutWords


class CountryCodes(Document):
    """Every code of ISO 3166-1 alpha-2."""

    known: list[Country]


class CountryWords(Document):
    """``country.toml``: names of countries and their codes."""

    names: dict[Country, list[str]]
    codes: CountryCodes


class TwinWeights(Document):
    """Natural log odds by which what two listings share or not speaks for one pair."""

    base: float
    same_title: float = Field(ge=0)
    title_typo: float = Field(ge=0)
    other_word: float = Field(le=0)
    same_text: float = Field(ge=0)
    like_text: float = Field(ge=0)
    other_text: float = Field(le=0)
    other_number: float = Field(le=0)
    price_near: float = Field(ge=0)
    price_far: float = Field(le=0)
    same_seller: float = Field(ge=0)
    stock: float = Field(le=0)
    own_image: float = Field(ge=0)
    common_image: float = Field(ge=0)


class TwinWords(Document):
    """``twin.toml``: when two listings are the same pair under another id."""

    block_cap: int = Field(ge=2)
    keep_from: float = Field(ge=0, le=1)
    sentence_letters: int = Field(ge=1)
    template_uses: int = Field(ge=2)
    image_digits: int = Field(ge=1)
    noise: WordList
    relist: TwinWeights
    copy_: TwinWeights = Field(alias="copy")


@dataclass(frozen=True)
class Words:
    """Everything stage 2 knows about how sellers write."""

    money: MoneyWords
    size: SizeWords
    year: YearWords
    condition: ConditionWords
    kind: KindWords
    language: LanguageWords
    text: TextWords
    country: CountryWords
    twin: TwinWords


MODELS: dict[str, type[Document]] = {
    "money": MoneyWords,
    "size": SizeWords,
    "year": YearWords,
    "condition": ConditionWords,
    "kind": KindWords,
    "language": LanguageWords,
    "text": TextWords,
    "country": CountryWords,
    "twin": TwinWords,
}


def load_words(folder: Path, problems: list[Problem]) -> Words | None:
    """Return the words of ``rules/words/``; on any fault add problems and return None.

    Args:
        folder: The folder ``rules/words``.
        problems: Every fault of every file is added here, with file and line.
    """
    before = len(problems)
    parts: dict[str, Document] = {}
    for name, model in MODELS.items():
        path = folder / f"{name}.toml"
        values = read_toml(path, problems)
        part = None if values is None else validated(model, values, path, problems)
        if part is not None:
            parts[name] = part
    for path in sorted(folder.glob("*.toml")):
        if path.stem not in MODELS:
            problems.append(Problem(str(path), "an unknown file", f"one of {', '.join(sorted(MODELS))}"))
    money = parts.get("money")
    if isinstance(money, MoneyWords) and money.rate_file:
        parts["money"] = money.model_copy(update={"rate_file": _rate_file(folder, money.rate_file, problems)})
    if len(problems) > before:
        return None
    return Words(**parts)  # type: ignore[arg-type]


def _rate_file(folder: Path, name: str, problems: list[Problem]) -> str:
    """Return the whole path of the rate file, which is named from the folder of the words."""
    path = folder / name
    if not path.is_file():
        place = folder / "money.toml"
        line = line_of(place.read_text("utf-8"), "rate_file")
        problems.append(Problem(f"{place}:{line}", f"rate_file is {name!r}", f"a file {path}, or nothing"))
    return str(path)
