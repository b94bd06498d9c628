"""Exports without a feed map: headings in six languages and of two vocabularies, or none at all."""

import json

import pytest

from triage.ingest import preview
from triage.store import frame

FIELDS = ("external_id", "title", "body", "price", "currency", "size", "condition", "seller", "listed_on", "url")
HEADINGS = {
    "en": "Item Number,Title,Description,Asking price,Currency,Shoe size,Item condition,Seller,Date listed,Link",
    "de": "Anzeigen-Nr.,Titel,Beschreibung,Preis,Währung,Größe,Zustand,Verkäufer,Eingestellt am,Webadresse",
    "de without umlauts": "Artikelnummer,Bezeichnung,Anzeigentext,Kaufpreis,Waehrung,Groesse,Zustand,Verkaeufer,Einstelldatum,Internetadresse",  # noqa: E501
    "fr": "Identifiant,Titre,Descriptif,Prix,Devise,Pointure,État,Vendeur,Date de publication,Lien",
    "fr without accents": "identifiant,titre de l'annonce,texte de l'annonce,prix demande,devise,taille,etat,vendeur,mise en ligne,lien",  # noqa: E501
    "it": "Codice annuncio,Titolo,Descrizione,Prezzo,Valuta,Taglia,Condizioni,Venditore,Pubblicato il,Collegamento",
    "es": "Número de anuncio,Título,Descripción,Precio,Moneda,Talla,Condición,Vendedor,Fecha de publicación,Enlace",
    "es without accents": "ID anuncio,titulo,descripcion,precio,divisa,talla,condicion,vendedor,fecha de publicacion,enlace",  # noqa: E501
    "ja": "商品ID,商品名,商品説明,価格,通貨,サイズ,商品の状態,出品者,出品日,商品URL",
    "ja narrow": "商品番号,ﾀｲﾄﾙ,説明,販売価格,通貨,ｻｲｽﾞ,状態,出品者名,掲載日,リンク",
    "schema.org": "sku,name,description,offers.price,offers.priceCurrency,size,offers.itemCondition,offers.seller.name,offers.validFrom,url",  # noqa: E501
    "feed": "guid,title,content,g:price,currency,g:size,g:condition,dc:creator,pubDate,link",
    "with units": "Item no (board),Title,Description,Price (incl. VAT),Currency,Size [EU],Condition,Seller,Created at,URL",  # noqa: E501
}  # fmt: skip
ROW = '\n{i},Trail shoe {i},"Worn, but whole",{i}0.50,EUR,42,worn,anna,2026-11-0{i},https://x.example/{i}'


@pytest.mark.parametrize("language", HEADINGS)
def test_headings_of_six_languages_and_two_vocabularies_are_recognised(ingest, store, language):
    ingest("export.csv", HEADINGS[language] + "".join(ROW.format(i=i) for i in range(1, 8)))
    mapping = json.loads(frame(store, "SELECT mapping FROM feed").item())
    assert mapping == dict(zip(FIELDS, HEADINGS[language].split(","), strict=True))


def test_an_export_without_headings_is_read_by_its_content_and_says_so(ingest, store):
    rows = "".join(
        f'{i:05d},Trail shoe {i} boxed,"Worn twice, then put away in a dry cupboard {i}",{i}0.50,EUR,https://x.example/{i}\n'
        for i in range(1, 9)
    )
    note = ingest("export.csv", rows)
    mapping = json.loads(frame(store, "SELECT mapping FROM feed").item())
    assert mapping == {
        "external_id": "column 1", "title": "column 2", "body": "column 3", "price": "column 4",
        "currency": "column 5", "url": "column 6",
    }  # fmt: skip
    assert note.notes[0].startswith("no headings: read by content, column 1 as external_id")
    assert note.rows_read == 8


@pytest.mark.parametrize(
    ("rows", "doubt"),
    [
        # Two columns of amounts: which is the price, which the shipping?
        ("".join(f"Trail shoe {i},{i}0.50,4.50\n" for i in range(1, 9)), "price could be 'column 2' or 'column 3'"),
        # Two texts of one length: which is the title?
        ("".join(f"Trail shoe {i},Worn twice {i},{i}.50\n" for i in range(1, 9)), "title could be 'column 1'"),
    ],
)
def test_columns_without_headings_that_could_be_either_are_doubt(ingest, rows, doubt):
    note = ingest("export.csv", rows)
    assert note.outcome == "rejected"
    assert doubt in note.notes[0]


def test_a_preview_shows_what_each_column_would_become_and_stores_nothing(feeds, tmp_path):
    path = tmp_path / "odd.csv"
    path.write_text("id,title,price,colour code\n1,Trail,10,a7\n2,Court,12,b1\n3,Track,9,\n4,x\n")
    shown = preview(path, feeds)
    assert [(one.heading, one.field) for one in shown.columns] == [
        ("id", "external_id"), ("title", "title"), ("price", "price"), ("colour code", None),
    ]  # fmt: skip
    assert shown.columns[3].examples == ("a7", "b1")
    assert (shown.rows_read, shown.refusal) == (4, None)
    assert shown.rejected[0][:2] == (4, "row-width")


def test_a_preview_of_a_file_that_would_be_rejected_says_why_and_shows_its_columns(feeds, tmp_path):
    path = tmp_path / "odd.csv"
    path.write_text("a,b\n1,Trail shoe\n2,Court shoe\n3,Track shoe\n4,Road shoe\n")
    shown = preview(path, feeds)
    assert shown.refusal.startswith("no-title: a, b; expected a feed map such as rules/feeds/odd.toml:")
    assert [one.field for one in shown.columns] == [None, None]
    assert preview(tmp_path / "gone.csv", feeds).refusal.startswith("unreadable")
