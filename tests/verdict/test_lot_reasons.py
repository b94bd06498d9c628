"""A lot reaches no call; its reason says whether its pairs do."""

PAIR = {"title": "Haldrassen Torquellan High HDN-12-1914", "body": "Worn last week without problems."}
LOT = {"title": "Job lot", "kind": "lot"}


def test_a_lot_is_skipped_and_its_pairs_are_weighed(weigh):
    weighed = weigh(whole=LOT, parted=LOT, pair={**PAIR, "lot_id": "parted"})
    said = "SELECT listing_id, call, reason, p_wearable IS NULL FROM verdict WHERE buyer = 'bench' ORDER BY listing_id"
    pair, parted, whole = weighed.connection.execute(said).fetchall()
    assert pair[3] is False
    assert parted[1:] == ("skip", "several pairs in one listing, each with its price: each is weighed by itself", True)
    assert whole[1:] == ("skip", "several pairs in one listing: a price for one pair is not stated", True)
