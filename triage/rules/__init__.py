"""Stage 6, the rules of thumb: facts -> finding. SQL predicates, weights in decibans."""

from triage.rules.findings import check_rules, columns_of, compile_rules, ensure, find, run

__all__ = ["check_rules", "columns_of", "compile_rules", "ensure", "find", "run"]
