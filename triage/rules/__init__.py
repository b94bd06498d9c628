"""Stage 6, the rules of thumb: facts -> finding. SQL predicates, weights in decibans."""

from triage.rules.cases import check_rules
from triage.rules.expressions import Compiled, columns_of, compile_rules
from triage.rules.facts import Known, read_facts
from triage.rules.findings import askable, ensure, find, know, run
from triage.rules.lint import Remark, lint

__all__ = [
    "Compiled",
    "Known",
    "Remark",
    "askable",
    "check_rules",
    "columns_of",
    "compile_rules",
    "ensure",
    "find",
    "know",
    "lint",
    "read_facts",
    "run",
]
