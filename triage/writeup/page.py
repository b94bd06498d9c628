"""The templates: one strict environment, HTML escaped, a missing name is an error and never a blank."""

import hashlib
from base64 import b64encode
from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from markupsafe import Markup


@cache
def environment() -> Environment:
    """Return the environment; only ``.txt`` templates go unescaped, and they never reach a page raw."""
    made = Environment(
        loader=PackageLoader("triage.writeup"),
        autoescape=select_autoescape(disabled_extensions=("txt",), default=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    made.tests["contains"] = lambda names, name: name in names
    return made


def render(template: str, **values: Any) -> str:
    """Return a template filled in."""
    return environment().get_template(template).render(**values)


def page(template: str, *, images: bool = False, **values: Any) -> str:
    """Return a page that carries its own style and script and may ask nothing of anywhere.

    Args:
        template: Name of the template.
        images: Let the page load images by http and https.
    """
    own = script()
    digest = b64encode(hashlib.sha256(own.encode()).digest()).decode()
    policy = (
        f"default-src 'none'; style-src 'unsafe-inline'; script-src 'sha256-{digest}'; "
        f"img-src data:{' https: http:' if images else ''}; base-uri 'none'; form-action 'none'"
    )
    return render(template, policy=policy, script=Markup(own), **values)


@cache
def script() -> str:
    """Return the one script of the pages: it filters, sorts and copies, and no value of a night is ever in it."""
    environment_ = environment()
    assert environment_.loader is not None
    return environment_.loader.get_source(environment_, "page.js")[0]


def languages() -> frozenset[str]:
    """Return the languages a message can be written in: one template each."""
    names = [name for name in environment().list_templates(extensions=["txt"]) if name.startswith("message/")]
    return frozenset(name.removeprefix("message/").removesuffix(".txt") for name in names)
