"""A store that holds a night made by hand, and words for what its rows name."""

from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest
from made_night import CAUTIONS, MATERIALS, SIGNS, fill, material, whole_night

from triage.store import Connection, connect


@pytest.fixture
def catalogue() -> SimpleNamespace:
    return SimpleNamespace(
        signs={
            k: SimpleNamespace(part=p, affirmed=a, denied=d, question=SimpleNamespace(en=f"Is it so that {a}?"))
            for k, (p, a, d) in SIGNS.items()
        },
        facts={
            "made_year": SimpleNamespace(
                short="", about="year of manufacture", ask={"en": "Which date is on the label?"}
            )
        },
        buyers={
            "wren": SimpleNamespace(name="Wren", currency="EUR", horizon_years=2.0, climate="unknown"),
            "otto": SimpleNamespace(name="Otto", currency="EUR", horizon_years=2.0, climate="unknown"),
        },
        repairs={
            "sole-transplant": SimpleNamespace(
                name="sole transplant from a donor unit", cautions=CAUTIONS, cost_minor=(8000, 14000, 22000)
            ),
            "reglue": SimpleNamespace(
                name="clean and reglue the edge", cautions=("Never onto crumbling foam.",), cost_minor=(500, 900, 2000)
            ),
        },
        materials={key: material(words) for key, words in MATERIALS.items()},
    )


@pytest.fixture
def store() -> Connection:
    """An in-memory store that holds ``whole_night``."""
    con = connect()
    fill(con, whole_night())
    return con


@pytest.fixture
def store_of() -> Callable[[dict[str, list[dict[str, Any]]]], Connection]:
    """Return a function that makes a store of the tables given."""

    def made(tables: dict[str, list[dict[str, Any]]]) -> Connection:
        con = connect()
        fill(con, tables)
        return con

    return made
