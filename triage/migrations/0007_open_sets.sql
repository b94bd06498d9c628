-- finding is a view now, over the new tables finding_fired, finding_open and open_rule: listings that leave the same rules
-- open for want of the same facts share their rows. Sets of an older store have numbers of their own, which carry no
-- meaning; the next night that weighs their listings anew gives them those of today.
INSERT INTO finding_fired
SELECT listing_id, place, rule_id, part, grouping, decibans, because
FROM old.finding
WHERE state = 'fired' AND decibans IS NOT NULL
ORDER BY rowid;
INSERT INTO finding_open
SELECT listing_id, place, hash(list((rule_id, part, grouping, missing) ORDER BY rule_id, part))
FROM old.finding
WHERE state = 'open' AND missing IS NOT NULL
GROUP BY listing_id, place
ORDER BY min(rowid);
-- The first listing that leaves a set open tells of it.
INSERT INTO open_rule
SELECT told.open_set, f.rule_id, f.part, f.grouping, f.missing
FROM old.finding f
JOIN (SELECT DISTINCT ON (open_set) * FROM finding_open ORDER BY open_set, listing_id, place) told
  USING (listing_id, place)
WHERE f.state = 'open' AND f.missing IS NOT NULL
ORDER BY told.open_set, f.rule_id, f.part;
