"""What workers do: the stages themselves on a partition of the listings, and the reductions between them.

Every task is a function of its partition and of files that are there when it begins, and writes files that do not
depend on who does it or how often.
"""

from triage import match, observation, prognosis, rules, verdict
from triage.keeping.opening import open_file
from triage.rules.facts import ASKED, OFFERED_OF
from triage.spread.files import rows_of, write
from triage.spread.lives import keep_kinds
from triage.spread.partition import Partition, at_work, keep, scatter, store_of
from triage.store import Connection
from triage.verdict import history
from triage.verdict.worth import LATEST, OFFERS, pool_comparables

# Tables that a partition writes, by the task that does.
MATCHED = ("match", "match_evidence")
AGED = ("life_led", "life_part")
BELIEVED = ("observation", "finding_fired", "finding_open", "posterior", "soundness")
JUDGED = ("verdict", "plan", "question", "sensitivity")


def find_releases(partition: Partition) -> None:
    """Do stage 3, and say what the pairs on offer ask, by release."""
    with at_work(partition) as kit, store_of(partition, ()) as store:
        match.run(store, kit.catalogue.constructions, kit.catalogue.match_weights, partition.as_of)
        keep(store, partition, MATCHED)
        say_asked(store, partition)


def say_asked(store: Connection, partition: Partition, only: str = "TRUE") -> None:
    """Write what the pairs on offer ask, by release.

    Args:
        only: Condition on ``m.listing_id``.
    """
    store.execute(f"CREATE OR REPLACE TEMP TABLE asked AS {ASKED} AND {only}")
    scatter(store, partition, "asked", "construction_id")


def reduce_asked(partition: Partition) -> None:
    """Work out the median and the number of what is asked for the releases of a bucket."""
    _reduce(partition, OFFERED_OF.format(asked=f"SELECT * FROM {rows_of(partition.gathered('asked'))}"), "offered")


def believe(partition: Partition) -> None:
    """Do stages 4 to 6 and the first half of stage 7, and say which pairs others may be compared with, by model."""
    with at_work(partition) as kit, store_of(partition, ("answer", "twin", "sighting"), ("match",)) as store:
        known, ground = kit.catalogue, kit.ground
        observation.run(store, known.reading, partition.as_of)
        prognosis.run(store, dict(known.materials), known.unknown, known.climates, known.outlooks, partition.as_of)
        offered = f"SELECT * FROM {rows_of(partition.reduced('offered'))}"
        rules.run(store, known.rules, known.facts, known.signs, offered)
        verdict.believe(store, ground)
        keep(store, partition, (*BELIEVED, *AGED, "open_rule", "storage_node", "habit"))
        keep_kinds(store, kit, partition)
        say_offers(store, partition, ground.values.sound_from)


def say_offers(store: Connection, partition: Partition, sound_from: float, only: str = "TRUE") -> None:
    """Write the latest comparable offers of each release, by model.

    Args:
        only: Condition on ``l.listing_id``.
    """
    latest = LATEST.format(offers=f"{OFFERS} AND {only}")
    store.execute(f"CREATE OR REPLACE TEMP TABLE offers AS {latest}", {"sound_from": sound_from})
    scatter(store, partition, "offers", "model")


def reduce_offers(partition: Partition) -> None:
    """Find the latest comparable offers of the releases of a bucket of models."""
    _reduce(partition, LATEST.format(offers=f"SELECT * FROM {rows_of(partition.gathered('offers'))}"), "comparable")


def judge(partition: Partition) -> None:
    """Do the second half of stage 7, and note the calls that changed."""
    with at_work(partition) as kit, store_of(partition, ("twin", "call_history"), ("match", *BELIEVED)) as store:
        for table in (*AGED, "storage_node"):
            store.execute(f"INSERT INTO {table} BY NAME FROM {rows_of([partition.file(table)])}")
        theirs = "SELECT model FROM match m JOIN offered_model c ON c.model_id = m.construction_id"
        store.execute(
            "CREATE TEMP VIEW offered_model AS SELECT model_id, maker || ' ' || model AS model FROM construction"
        )
        offers = f"SELECT * FROM {rows_of(partition.reduced('comparable'))} WHERE model IN ({theirs})"
        pool_comparables(store, kit.ground.values, offers=offers)
        verdict.judge(store, kit.ground, partition.as_of)
        keep(store, partition, JUDGED)
        store.execute("CREATE TEMP TABLE told_before AS SELECT listing_id, buyer, place FROM call_history")
        history.record(store, kit.catalogue, partition.as_of)
        fresh = "SELECT * FROM call_history ANTI JOIN told_before USING (listing_id, buyer, place)"
        write(store, f"{fresh} ORDER BY listing_id, buyer", partition.file("call_history"))


def _reduce(partition: Partition, query: str, name: str) -> None:
    """Write what a query makes of a bucket."""
    with at_work(partition):
        store = open_file(None)
        try:
            write(store, f"SELECT * FROM ({query}) ORDER BY ALL", partition.file(name))
        finally:
            store.close()
