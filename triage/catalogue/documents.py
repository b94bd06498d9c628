"""TOML and CSV files of ``rules/``: read, checked, every problem kept with its file and line."""

import csv
import tomllib
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError
from pydantic_core import PydanticCustomError

from triage.errors import Problem


class Document(BaseModel):
    """A file of ``rules/`` with known keys only; a mistyped key is a problem, not a surprise."""

    model_config = ConfigDict(extra="forbid", frozen=True, str_strip_whitespace=True)


class Identified(Document):
    """A document that is a whole file, named by its id."""

    id: str


D = TypeVar("D", bound=BaseModel)
N = TypeVar("N", bound=Identified)


def rising(values: tuple[float, float, float]) -> tuple[float, float, float]:
    """Return three numbers as they are, refused unless lo <= mid <= hi."""
    if not values[0] <= values[1] <= values[2]:
        raise PydanticCustomError("rising", "three numbers lo <= mid <= hi")
    return values


def read_toml(path: Path, problems: list[Problem]) -> dict[str, Any] | None:
    """Return a TOML file as a dictionary; on a fault add a problem and return None."""
    try:
        return tomllib.loads(path.read_text("utf-8"))
    except OSError as error:
        problems.append(Problem(str(path), str(error.strerror or error), "a file that can be read"))
    except UnicodeDecodeError:
        problems.append(Problem(str(path), "bytes that are not UTF-8", "a UTF-8 text file"))
    except tomllib.TOMLDecodeError as error:
        problems.append(Problem(str(path), str(error), "TOML"))
    return None


def validated(model: type[D], values: object, path: Path, problems: list[Problem], at: str = "") -> D | None:
    """Return ``values`` as a model; on faults add one problem per field, with its line, and return None.

    Args:
        at: Key under which ``values`` stands in the file, for finding the line.
    """
    try:
        return model.model_validate(values)
    except ValidationError as error:
        text = path.read_text("utf-8", errors="replace")
        for fault in error.errors():
            field = ".".join(str(step) for step in fault["loc"])
            line = _line_of_fault(text, fault["loc"], at)
            shown = str(fault.get("input"))[:120]
            name = ".".join(step for step in (at, field) if step)
            problems.append(Problem(f"{path}:{line}", f"{name} is {shown!r}", fault["msg"]))
        return None


def _line_of_fault(text: str, steps: tuple[int | str, ...], at: str) -> int:
    """Return the line of a fault: for one in the nth table of a list of tables, the line in that table."""
    if len(steps) > 1 and isinstance(steps[1], int):
        lines = text.splitlines()
        heads = [number for number, line in enumerate(lines) if line.strip() == f"[[{steps[0]}]]"]
        if steps[1] < len(heads):
            start = heads[steps[1]]
            body = "\n".join(lines[start + 1 :]).split("\n[[")[0]
            return start + 1 + (line_of(body, str(steps[2])) if _sets(body, str(steps[-1])) else 0)
    return line_of(text, str(steps[0]) if steps else at, at)


def _sets(text: str, key: str) -> bool:
    return any(line.split("=")[0].strip() == key for line in text.splitlines())


def line_of(text: str, key: str, table: str = "") -> int:
    """Return the line, from 1, on which a TOML key is set, below its table heading when that is found."""
    lines = text.splitlines()
    start = 0
    if table:
        start = next((i for i, line in enumerate(lines) if line.strip().strip("[]") == table), 0)
    for number, line in enumerate(lines[start:], start + 1):
        if line.split("=")[0].strip() == key or line.strip().strip("[]") == key:
            return number
    return start + 1


def toml_files(folder: Path, problems: list[Problem]) -> Iterator[Path]:
    """Yield the TOML files of a folder by name; a missing folder is a problem."""
    if not folder.is_dir():
        problems.append(Problem(str(folder), "no such folder", "a folder of TOML files"))
        return
    yield from sorted(folder.glob("*.toml"))


def documents(model: type[N], files: Iterable[Path], problems: list[Problem]) -> Iterator[tuple[Path, N]]:
    """Yield each file that is a whole document, with its path; an id that is not the file's name is a problem too."""
    for path in files:
        values = read_toml(path, problems)
        found = validated(model, values, path, problems) if values is not None else None
        if found is not None:
            id_is_file_name(found.id, path, problems)
            yield path, found


def read_csv(path: Path, required: tuple[str, ...], problems: list[Problem]) -> list[tuple[int, dict[str, str]]]:
    """Return the rows of a CSV table with their line numbers; a missing column is a problem."""
    try:
        with path.open(encoding="utf-8-sig", newline="") as stream:
            reader = csv.DictReader(stream)
            rows = [(reader.line_num, {k: (v or "").strip() for k, v in row.items() if k}) for row in reader]
            headings = tuple(reader.fieldnames or ())
    except OSError as error:
        problems.append(Problem(str(path), str(error.strerror or error), "a file that can be read"))
        return []
    except (UnicodeDecodeError, csv.Error) as error:
        problems.append(Problem(str(path), str(error), "a UTF-8 CSV table"))
        return []
    for column in required:
        if column not in headings:
            problems.append(Problem(f"{path}:1", f"no column {column}", f"the columns {', '.join(required)}"))
    return rows if all(column in headings for column in required) else []


def id_is_file_name(identity: str, path: Path, problems: list[Problem]) -> None:
    """Add a problem when a document's id differs from its file name."""
    if identity != path.stem:
        problems.append(Problem(f"{path}:1", f"id is {identity!r}", f"the file's name, {path.stem!r}"))
