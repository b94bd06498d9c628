"""What a rule may not say: every attack is refused, every allowed form runs and means the same."""

import duckdb
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from triage.catalogue.penalties import Rule
from triage.errors import Problem
from triage.rules import compile_rules
from triage.rules.gate import MAX_LENGTH, Refused, parse

COLUMNS = {"age_years": "DOUBLE", "condition": "VARCHAR", "deadstock": "BOOLEAN", "photo_count": "INTEGER"}

ATTACKS = [
    "1; DROP TABLE facts",
    "age_years > 5; ATTACH 'x.db'",
    "TRUE) FROM facts; DROP TABLE facts --",
    "TRUE FROM facts",
    "TRUE WHERE age_years > 1",
    "TRUE UNION ALL SELECT TRUE",
    "TRUE, TRUE",
    "TRUE AS harmless",
    "TRUE ORDER BY 1",
    "TRUE LIMIT 1",
    "TRUE GROUP BY 1",
    "TRUE HAVING TRUE",
    "TRUE QUALIFY TRUE",
    "(SELECT TRUE)",
    "EXISTS (SELECT 1 FROM facts)",
    "age_years IN (SELECT 1)",
    "age_years > ALL (SELECT 1)",
    "(WITH x AS (SELECT 1) SELECT TRUE FROM x)",
    "(FROM facts)",
    "(TABLE facts)",
    "(VALUES (1))",
    "read_text('/etc/passwd') = ''",
    "contains(read_text('/etc/passwd'), 'root')",
    "read_blob('x') = ''",
    "length(getenv('HOME')) > 0",
    "current_setting('threads') = '1'",
    "query('SELECT 1')",
    "query_table('facts')",
    "json_execute_serialized_sql('x')",
    "json_serialize_sql('SELECT 1') = ''",
    "COPY facts TO 'x.csv'",
    "ATTACH 'x.db'",
    "DETACH memory",
    "INSTALL httpfs",
    "LOAD httpfs",
    "PRAGMA database_list",
    "SET threads = 1",
    "CALL pragma_version()",
    "EXPORT DATABASE 'x'",
    "CREATE TABLE x AS SELECT 1",
    "DELETE FROM facts",
    "range(100000000) = []",
    "len(range(1000000000)) > 0",
    "generate_series(1, 100000000) = []",
    "repeat('x', 1000000000) = ''",
    "lpad('x', 1000000000, 'y') = ''",
    "rpad('x', 1000000000, 'y') = ''",
    "replace(condition, 'a', condition) = ''",
    "format('{}', condition) = ''",
    "printf('%s', condition) = ''",
    "list_transform([1, 2], x -> x + 1) = [1]",
    "list_reduce([1, 2], lambda x, y: x + y) = 3",
    "[x FOR x IN [1, 2]] = [1]",
    "regexp_matches(condition, '(a+)+b')",
    "condition SIMILAR TO '(a+)+b'",
    "condition ~ 'a'",
    "random() > 0.5",
    "now() > DATE '2020-01-01'",
    "current_date > DATE '2020-01-01'",
    "uuid() = ''",
    "error('x')",
    "sleep_ms(100000) IS NULL",
    "nextval('x') > 0",
    "count(*) > 0",
    "sum(age_years) > 0",
    "max(age_years) OVER () > 0",
    "row_number() OVER () = 1",
    "age_years IS NULL",
    "age_years IS NOT NULL",
    "age_years IS DISTINCT FROM 5",
    "COALESCE(age_years, 0) > 5",
    "ifnull(age_years, 0) > 5",
    "nullif(age_years, 0) > 5",
    "CASE WHEN age_years > 5 THEN TRUE ELSE FALSE END",
    "TRY_CAST(condition AS DOUBLE) > 5",
    "CAST(condition AS JSON) = '{}'",
    "CAST(condition AS BLOB) = ''",
    "condition::VARCHAR[] = []",
    "TRY(age_years > 5)",
    "facts.age_years > 5",
    "main.facts.age_years > 5",
    "rowid > 5",
    "no_such_fact > 5",
    "* = 1",
    "COLUMNS('.*') = 1",
    "? > 1",
    "$1 > 1",
    "{'a': 1}.a = 1",
    "MAP {'a': 1}['a'] = 1",
    "[1, 2][1] = 1",
    "condition[1] = 'd'",
    "age_years COLLATE NOCASE = 'x'",
    "INTERVAL 1 YEAR > INTERVAL 1 DAY",
    "main.least(1, 2) = 1",
    "lower(DISTINCT condition) = 'x'",
    "(((((" * 30 + "TRUE" + ")))))" * 30 + " AND facts.x",
    "age_years > 1" + " AND age_years > 1" * 400,
    "age_years > 1 AND " * 60 + "TRUE" + ")" * 60,
    "NOT " * 200 + "deadstock",
    "'" + "x" * MAX_LENGTH + "' = ''",
    "age_years > 5 /* ",
    "age_years >",
    "",
    "\0",
]


@pytest.fixture(scope="module")
def parser():
    connection = duckdb.connect(":memory:")
    yield connection
    connection.close()


@pytest.mark.parametrize("attack", ATTACKS)
def test_an_expression_that_says_more_than_a_predicate_is_refused(parser, attack):
    with pytest.raises(Refused) as refused:
        parse(parser, attack, COLUMNS)
    assert str(refused.value)


def test_there_are_at_least_sixty_attacks():
    assert len(set(ATTACKS)) >= 60


def test_every_attack_is_told_with_its_file_and_line_and_what_is_allowed():
    case = ({"age_years": 1.0},)
    plain = Rule(id="made-here", part="whole", when="TRUE", weight=1, because="so it is", source="none", misses="all",
                 hits=case, clears=case, unknowns=case)  # fmt: skip
    rules = [
        plain.model_copy(update={"when": attack, "path": f"penalties/attack-{number}.toml", "when_line": number})
        for number, attack in enumerate(ATTACKS)
    ]
    problems: list[Problem] = []
    assert compile_rules(rules, COLUMNS, problems) == []
    assert [problem.place for problem in problems] == [f"penalties/attack-{n}.toml:{n}" for n in range(len(ATTACKS))]
    assert all(problem.expected.startswith("facts, numbers, texts, comparisons") for problem in problems)


ALLOWED = [
    ("age_years > 5", {"age_years": 7.0}, True),
    ("age_years > 5", {"age_years": 3.0}, False),
    ("age_years > 5", {}, None),
    ("age_years > 5 -- a comment", {"age_years": 7.0}, True),
    ("condition = 'deadstock' AND age_years BETWEEN 5 AND 10", {"condition": "deadstock", "age_years": 7.0}, True),
    ("condition IN ('worn', 'worn_heavily')", {"condition": "worn"}, True),
    ("condition NOT IN ('worn')", {"condition": "worn"}, False),
    ("NOT deadstock OR photo_count < 3", {"deadstock": True, "photo_count": 2}, True),
    ("condition LIKE 'dead%'", {"condition": "deadstock"}, True),
    ("condition NOT LIKE 'dead%'", {"condition": "deadstock"}, False),
    ("contains(lower(condition), 'stock')", {"condition": "DEADSTOCK"}, True),
    ("least(age_years, 10) = 10", {"age_years": 40.0}, True),
    ("least(age_years, 10) = 10", {}, None),
    ("greatest(age_years, 10) = 10", {}, None),
    ("CAST(photo_count AS DOUBLE) / 2 > 1.4", {"photo_count": 3}, True),
    ("-age_years < 0", {"age_years": 1.0}, True),
    ("condition = 'it''s'", {"condition": "it's"}, True),
]


@pytest.mark.parametrize(("text", "facts", "told"), ALLOWED)
def test_an_allowed_expression_means_what_it_says(parser, text, facts, told):
    expression = parse(parser, text, COLUMNS)
    cells = ", ".join(f'CAST(? AS {kind}) AS "{name}"' for name, kind in COLUMNS.items())
    values = [facts.get(name) for name in COLUMNS]
    assert parser.execute(f"SELECT {expression.sql} FROM (SELECT {cells})", values).fetchall()[0][0] is told


def test_the_facts_an_expression_looks_at_are_known(parser):
    assert parse(parser, "Age_Years > 5 AND deadstock", COLUMNS).facts == ("age_years", "deadstock")


def test_a_weight_may_say_case(parser):
    text = "CASE WHEN age_years > 20 THEN 4 ELSE 2 END"
    assert parse(parser, text, COLUMNS, may_case=True).facts == ("age_years",)


@settings(max_examples=300, deadline=None)
@given(st.text(alphabet="age_yrsconditd ()'\"<>=+-*/%,;.ANDORNOTILKEBW0123456789\0$?[]{}:", max_size=60))
def test_whatever_is_let_through_is_one_harmless_expression(parser, text):
    try:
        expression = parse(parser, text, COLUMNS)
    except Refused:
        return
    assert parse(parser, expression.sql.replace('"', ""), COLUMNS).facts == expression.facts


NUMBERS = st.recursive(
    st.sampled_from(["age_years", "photo_count", "3", "0", "12.5"]),
    lambda inner: st.one_of(
        st.tuples(inner, st.sampled_from("+-*/"), inner).map(" ".join).map("({})".format),
        st.tuples(st.sampled_from(["least", "greatest"]), inner, inner).map(lambda it: "{}({}, {})".format(*it)),
        st.tuples(st.sampled_from(["abs", "floor", "-"]), inner).map(lambda it: "{}({})".format(*it)),
    ),
    max_leaves=4,
)
PREDICATES = st.recursive(
    st.one_of(
        st.sampled_from(["deadstock", "TRUE", "FALSE", "(condition = 'worn')", "contains(condition, 'stock')",
                         "(condition IN ('worn', 'deadstock'))", "(condition NOT LIKE 'dead%')"]),
        st.tuples(NUMBERS, st.sampled_from(["<", "<=", "=", "<>", ">", ">="]), NUMBERS).map(
            lambda it: "({} {} {})".format(*it)
        ),
        st.tuples(NUMBERS, NUMBERS, NUMBERS).map(lambda it: "({} BETWEEN {} AND {})".format(*it)),
    ),
    lambda inner: st.one_of(
        st.tuples(inner, st.sampled_from([" AND ", " OR ", " = "]), inner).map(lambda it: "({}{}{})".format(*it)),
        inner.map("(NOT {})".format),
    ),
    max_leaves=6,
)  # fmt: skip
KNOWN = st.fixed_dictionaries({
    "age_years": st.sampled_from([0.0, 3.0, 12.5, 40.0]), "condition": st.sampled_from(["worn", "deadstock", ""]),
    "deadstock": st.booleans(), "photo_count": st.integers(0, 13),
})  # fmt: skip


@settings(max_examples=300, deadline=None)
@given(PREDICATES, KNOWN)
def test_forgetting_a_fact_never_turns_any_predicate_round(parser, text, known):
    sql = parse(parser, text, COLUMNS).sql
    cells = ", ".join(f'CAST(? AS {kind}) AS "{name}"' for name, kind in COLUMNS.items())

    def told(facts):
        query = f"SELECT TRY({sql}) FROM (SELECT {cells})"
        return parser.execute(query, [facts.get(name) for name in COLUMNS]).fetchall()[0][0]

    whole = told(known)
    for forgotten in known:
        assert told({**known, forgotten: None}) in (whole, None) or whole is None, (text, forgotten)
