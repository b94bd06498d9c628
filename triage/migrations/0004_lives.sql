-- prognosis is a view now, over the new tables life_led and life_part: pairs that aged alike share their rows. An older
-- store's rows become one life a candidate; the next night finds out which agree. weighed has two hashes more, and habit
-- is new: the next night weighs every listing once more and fills them.
INSERT INTO life_led
SELECT listing_id, place, row_number() OVER (ORDER BY min(rowid))
FROM old.prognosis
GROUP BY listing_id, place
ORDER BY min(rowid);
-- The weights of the nodes stood in every row once.
INSERT INTO life_part BY NAME
SELECT l.life, p.* EXCLUDE (listing_id, place, nth)
FROM (SELECT rowid AS nth, COLUMNS(lambda name: name <> 'node_weight') FROM old.prognosis) p
JOIN life_led l USING (listing_id, place)
ORDER BY p.nth;
