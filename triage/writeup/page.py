"""The templates: one strict environment, HTML escaped, a missing name is an error and never a blank."""

from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape


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


def languages() -> frozenset[str]:
    """Return the languages a message can be written in: one template each."""
    names = environment().list_templates(extensions=["txt"])
    return frozenset(name.removeprefix("message/").removesuffix(".txt") for name in names)
