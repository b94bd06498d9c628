-- prognosis is a view now, over the new tables life_led and life_part: pairs that aged alike share their rows. An older
-- store's rows become one life a candidate; the next night finds out which agree.
INSERT INTO life_led
SELECT listing_id, place, row_number() OVER (ORDER BY min(rowid))
FROM old.prognosis
GROUP BY listing_id, place
ORDER BY min(rowid);
INSERT INTO life_part BY NAME
SELECT l.life, p.* EXCLUDE (listing_id, place)
FROM old.prognosis p
JOIN life_led l USING (listing_id, place)
ORDER BY p.rowid;
