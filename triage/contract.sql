-- The contract between the stages: every table and column they meet in, and nothing else.
-- NULL means "not stated", never no, zero or empty. Money is integer minor units plus an ISO 4217 code.

CREATE TABLE IF NOT EXISTS schema_version (
  version  INTEGER NOT NULL CHECK (version > 0)
);
COMMENT ON TABLE schema_version IS 'Which contract this store was laid out by: one row';
COMMENT ON COLUMN schema_version.version IS 'Number of the newest file in triage/migrations/ at that time';

CREATE TABLE IF NOT EXISTS run (
  run_id        VARCHAR PRIMARY KEY,
  as_of         DATE NOT NULL,
  started_at    TIMESTAMP NOT NULL,
  finished_at   TIMESTAMP,
  rules_sha256  VARCHAR NOT NULL,
  counts        JSON
);
COMMENT ON TABLE run IS 'One night: what was asked for, under which rules, and how the rows added up';
COMMENT ON COLUMN run.run_id IS 'Hash of as_of, rules_sha256 and every feed in the store; the same night again has the same id';
COMMENT ON COLUMN run.as_of IS 'The date every age, rate and price refers to';
COMMENT ON COLUMN run.started_at IS 'Clock time, UTC; only for people, no stage reads it';
COMMENT ON COLUMN run.finished_at IS 'Clock time, UTC; NULL when the night did not finish';
COMMENT ON COLUMN run.rules_sha256 IS 'Hash of every file under rules/ and of the files given beside it';
COMMENT ON COLUMN run.counts IS 'Rows read, new listings, further sightings, rejects and calls';

CREATE TABLE IF NOT EXISTS feed (
  feed_id        VARCHAR PRIMARY KEY,
  path           VARCHAR NOT NULL,
  sha256         VARCHAR NOT NULL,
  reader         VARCHAR,
  source         VARCHAR,
  feed_map       VARCHAR,
  mapping        JSON,
  settings       JSON,
  seen_on        DATE,
  rows_read      BIGINT NOT NULL CHECK (rows_read >= 0),
  rows_rejected  BIGINT NOT NULL CHECK (rows_rejected >= 0),
  lines_skipped  BIGINT NOT NULL DEFAULT 0 CHECK (lines_skipped >= 0)
);
COMMENT ON TABLE feed IS 'One export file that was read, with its ledger line';
COMMENT ON COLUMN feed.feed_id IS 'First 16 hex digits of sha256';
COMMENT ON COLUMN feed.path IS 'Path as given, relative to the folder named on the command line';
COMMENT ON COLUMN feed.sha256 IS 'SHA-256 of the bytes of the file';
COMMENT ON COLUMN feed.reader IS 'Reader that took the file: csv, jsonl, page and so on; NULL when none did';
COMMENT ON COLUMN feed.source IS 'Marketplace as the feed map names it';
COMMENT ON COLUMN feed.feed_map IS 'Id of the feed map; NULL when the headings alone decided';
COMMENT ON COLUMN feed.mapping IS 'Listing field to heading of the export, as an object';
COMMENT ON COLUMN feed.settings IS 'currency, country, language, decimal, date_order, snapshot as the map states them';
COMMENT ON COLUMN feed.seen_on IS 'Night the export was saved: a date in its path, else the as-of date';
COMMENT ON COLUMN feed.rows_read IS 'Data rows found, rejected ones included';
COMMENT ON COLUMN feed.rows_rejected IS 'Data rows that became neither listing nor sighting';
COMMENT ON COLUMN feed.lines_skipped IS 'Lines that are no data: preamble, repeated heading, footer, blank';

-- zstd: the cells of an export repeat, so it takes less time to write and less room than DuckDB's own choice.
CREATE TABLE IF NOT EXISTS raw_row (
  feed_id  VARCHAR NOT NULL,
  row_no   BIGINT NOT NULL CHECK (row_no > 0),
  cells    JSON NOT NULL USING COMPRESSION zstd,
  PRIMARY KEY (feed_id, row_no)
);
COMMENT ON TABLE raw_row IS 'Every data row exactly as the export had it';
COMMENT ON COLUMN raw_row.feed_id IS 'The export';
COMMENT ON COLUMN raw_row.row_no IS 'Row or line number in the export, from 1';
COMMENT ON COLUMN raw_row.cells IS 'Heading to text, as an object; nothing is typed yet';

CREATE TABLE IF NOT EXISTS reject (
  feed_id  VARCHAR NOT NULL,
  row_no   BIGINT,
  field    VARCHAR NOT NULL DEFAULT '',
  scope    VARCHAR NOT NULL CHECK (scope IN ('file', 'row', 'value')),
  stage    VARCHAR NOT NULL,
  value    VARCHAR,
  code     VARCHAR NOT NULL,
  hint     VARCHAR NOT NULL
);
COMMENT ON TABLE reject IS 'What could not be used: a file, a row or one value of a row, with the reason';
COMMENT ON COLUMN reject.feed_id IS 'The export';
COMMENT ON COLUMN reject.row_no IS 'Row in the export; NULL for a whole file';
COMMENT ON COLUMN reject.field IS 'Listing field; empty for a whole row or file';
COMMENT ON COLUMN reject.scope IS 'file: nothing of it was used; row: the row was not; value: the listing lives on with NULL there';
COMMENT ON COLUMN reject.stage IS 'Stage that refused it';
COMMENT ON COLUMN reject.value IS 'What was found, cut to 500 characters';
COMMENT ON COLUMN reject.code IS 'Short name of the reason, kebab-case';
COMMENT ON COLUMN reject.hint IS 'What was expected, for people';

CREATE TABLE IF NOT EXISTS listing (
  listing_id         VARCHAR PRIMARY KEY,
  lot_id             VARCHAR,
  source             VARCHAR NOT NULL,
  external_id        VARCHAR NOT NULL,
  url                VARCHAR,
  seller             VARCHAR,
  seller_kind        VARCHAR CHECK (seller_kind IN ('private', 'business')),
  title              VARCHAR NOT NULL,
  body               VARCHAR,
  named              VARCHAR,
  language           VARCHAR,
  price_kind         VARCHAR NOT NULL CHECK (price_kind IN ('fixed', 'bid', 'request', 'free', 'swap', 'unknown')),
  price_minor        BIGINT CHECK (price_minor >= 0),
  currency           VARCHAR,
  price_base_minor   BIGINT CHECK (price_base_minor >= 0),
  rate_date          DATE,
  shipping_minor     BIGINT CHECK (shipping_minor >= 0),
  shipping_base_minor BIGINT CHECK (shipping_base_minor >= 0),
  premium_rate       DOUBLE CHECK (premium_rate BETWEEN 0 AND 1),
  ships_from         VARCHAR,
  region             VARCHAR,
  size_text          VARCHAR,
  size_system        VARCHAR,
  foot_mm_lo         DOUBLE,
  foot_mm_hi         DOUBLE,
  condition          VARCHAR NOT NULL CHECK (condition IN
    ('deadstock', 'tried_on', 'worn_lightly', 'worn', 'worn_heavily', 'unknown')),
  condition_conflict BOOLEAN NOT NULL DEFAULT FALSE,
  stated_year_lo     INTEGER,
  stated_year_hi     INTEGER,
  stated_year_kind   VARCHAR CHECK (stated_year_kind IN ('style', 'made', 'purchase')),
  kind               VARCHAR NOT NULL CHECK (kind IN ('pair', 'lot', 'single', 'accessory', 'wanted', 'replica')),
  photo_count        INTEGER CHECK (photo_count >= 0),
  image_names        VARCHAR,
  text_cut           BOOLEAN NOT NULL DEFAULT FALSE,
  first_seen         DATE NOT NULL,
  last_seen          DATE NOT NULL,
  status             VARCHAR NOT NULL CHECK (status IN ('open', 'sold', 'gone')),
  CHECK (foot_mm_lo IS NULL OR foot_mm_lo <= foot_mm_hi),
  CHECK (stated_year_lo IS NULL OR stated_year_lo <= stated_year_hi),
  CHECK (first_seen <= last_seen)
);
COMMENT ON TABLE listing IS 'One offer of one seller, as last seen';
COMMENT ON COLUMN listing.listing_id IS 'source/external_id; a pair of a lot has the lot''s id, # and a hash of its own words';
COMMENT ON COLUMN listing.lot_id IS 'The lot this pair is a part of; NULL for a listing of its own';
COMMENT ON COLUMN listing.source IS 'Marketplace';
COMMENT ON COLUMN listing.external_id IS 'The marketplace''s own id, else a hash of seller and title';
COMMENT ON COLUMN listing.url IS 'Address of the listing, http or https only';
COMMENT ON COLUMN listing.seller IS 'Seller as the export names them';
COMMENT ON COLUMN listing.seller_kind IS 'private or business, where stated';
COMMENT ON COLUMN listing.title IS 'Title as written, HTML taken out';
COMMENT ON COLUMN listing.body IS 'Description as written, HTML taken out';
COMMENT ON COLUMN listing.named IS 'Maker, model, style number and colour where the export has columns for them, as written';
COMMENT ON COLUMN listing.language IS 'ISO 639-1 code of the text: stated, else judged by its words';
COMMENT ON COLUMN listing.price_kind IS 'fixed price, auction bid, on request, free, swap or unknown';
COMMENT ON COLUMN listing.price_minor IS 'Price, minor units of currency';
COMMENT ON COLUMN listing.currency IS 'ISO 4217 code';
COMMENT ON COLUMN listing.price_base_minor IS 'Price in the base currency, minor units, by the reference rate of rate_date';
COMMENT ON COLUMN listing.rate_date IS 'Date of the exchange rate; NULL when none was needed or none was fit';
COMMENT ON COLUMN listing.shipping_minor IS 'Shipping as stated, minor units of currency';
COMMENT ON COLUMN listing.shipping_base_minor IS 'Shipping in the base currency, minor units';
COMMENT ON COLUMN listing.premium_rate IS 'Buyer''s premium as the listing states it, share of the price; NULL = not stated, the cost table''s holds';
COMMENT ON COLUMN listing.ships_from IS 'ISO 3166-1 alpha-2 country code';
COMMENT ON COLUMN listing.region IS 'ISO 3166-2 code of the region, where the words leave no doubt';
COMMENT ON COLUMN listing.size_text IS 'Size as written';
COMMENT ON COLUMN listing.size_system IS 'EU, UK, US, US-W, US-Y, JP, MONDO; several joined by /; NULL when not stated';
COMMENT ON COLUMN listing.foot_mm_lo IS 'Lower end of the foot length the pair fits, mm';
COMMENT ON COLUMN listing.foot_mm_hi IS 'Upper end of the foot length the pair fits, mm';
COMMENT ON COLUMN listing.condition IS 'How much it was worn, the weaker claim where two are made';
COMMENT ON COLUMN listing.condition_conflict IS 'Two claims contradict each other (deadstock and tried on)';
COMMENT ON COLUMN listing.stated_year_lo IS 'First year of the years the text states';
COMMENT ON COLUMN listing.stated_year_hi IS 'Last year of the years the text states';
COMMENT ON COLUMN listing.stated_year_kind IS 'What the years mean: of the style, of manufacture or of purchase';
COMMENT ON COLUMN listing.kind IS 'What is on offer; only a pair is weighed';
COMMENT ON COLUMN listing.photo_count IS 'Photos in the export';
COMMENT ON COLUMN listing.image_names IS 'File names of the photos in lower case, without address, size and extension, joined by blanks';
COMMENT ON COLUMN listing.text_cut IS 'The description ends in mid-sentence: a disclosure may be in the part not saved';
COMMENT ON COLUMN listing.first_seen IS 'First night it was in an export';
COMMENT ON COLUMN listing.last_seen IS 'Last night it was in an export';
COMMENT ON COLUMN listing.status IS 'open, sold as stated, or gone from a full export';

CREATE TABLE IF NOT EXISTS sighting (
  listing_id   VARCHAR NOT NULL,
  feed_id      VARCHAR NOT NULL,
  row_no       BIGINT NOT NULL,
  part         INTEGER NOT NULL DEFAULT 0 CHECK (part >= 0),
  seen_on      DATE NOT NULL,
  price_minor  BIGINT,
  currency     VARCHAR,
  status       VARCHAR NOT NULL CHECK (status IN ('open', 'sold', 'gone')),
  first        BOOLEAN NOT NULL,
  PRIMARY KEY (feed_id, row_no, part)
);
COMMENT ON TABLE sighting IS 'One row of one export that shows a listing';
COMMENT ON COLUMN sighting.listing_id IS 'The listing';
COMMENT ON COLUMN sighting.feed_id IS 'The export';
COMMENT ON COLUMN sighting.row_no IS 'Row in the export';
COMMENT ON COLUMN sighting.part IS '0: what the row itself shows; 1 and up: a pair of the lot the row shows, not counted among the rows';
COMMENT ON COLUMN sighting.seen_on IS 'Night of the export';
COMMENT ON COLUMN sighting.price_minor IS 'Price that night, minor units';
COMMENT ON COLUMN sighting.currency IS 'ISO 4217 code';
COMMENT ON COLUMN sighting.status IS 'open or sold that night';
COMMENT ON COLUMN sighting.first IS 'The sighting that made the listing; all others are further sightings';

-- What a night writes anew, twin and the tables of stages 3 to 7, has no PRIMARY KEY: the indexes were over a third of the
-- store and took a sixth of a usual night's time. One stage writes each; tests/test_due.py holds what stands there once.
CREATE TABLE IF NOT EXISTS twin (
  listing_id   VARCHAR NOT NULL,
  twin_id      VARCHAR NOT NULL,
  kind         VARCHAR NOT NULL CHECK (kind IN ('relist', 'copy')),
  probability  DOUBLE NOT NULL CHECK (probability BETWEEN 0 AND 1),
  why          VARCHAR NOT NULL
);
COMMENT ON TABLE twin IS 'The same pair under another id; each couple is stored both ways';
COMMENT ON COLUMN twin.listing_id IS 'A listing';
COMMENT ON COLUMN twin.twin_id IS 'The other listing';
COMMENT ON COLUMN twin.kind IS 'relist: one seller, one after the other; copy: on another marketplace';
COMMENT ON COLUMN twin.probability IS 'Chance that both are the same pair';
COMMENT ON COLUMN twin.why IS 'What they share, in words';

CREATE TABLE IF NOT EXISTS twin_key (
  listing_id  VARCHAR NOT NULL,
  made_by     VARCHAR NOT NULL,
  name        UBIGINT NOT NULL,
  pattern     UBIGINT NOT NULL,
  sentences   UBIGINT[] NOT NULL
);
COMMENT ON TABLE twin_key IS 'What the texts of pairs hash to, so that twins are looked for without reading every text each night';
COMMENT ON COLUMN twin_key.listing_id IS 'The listing';
COMMENT ON COLUMN twin_key.made_by IS 'Hash of what else the hashes hang on: noise words, and the version of the library that hashes';
COMMENT ON COLUMN twin_key.name IS 'Of the words of its title without noise, in any order';
COMMENT ON COLUMN twin_key.pattern IS 'Of its description without digits';
COMMENT ON COLUMN twin_key.sentences IS 'Of each longer sentence of its description';

CREATE TABLE IF NOT EXISTS construction (
  model_id      VARCHAR PRIMARY KEY,
  maker         VARCHAR,
  model         VARCHAR,
  edition       VARCHAR CHECK (edition IN ('original', 'reissue', 'revision')),
  made_from     DOUBLE,
  made_to       DOUBLE,
  style_year    INTEGER,
  colourway     VARCHAR,
  category      VARCHAR,
  midsole       VARCHAR,
  outsole       VARCHAR,
  cushion       VARCHAR,
  bond          VARCHAR,
  trim          VARCHAR,
  coating       VARCHAR,
  upper         VARCHAR,
  lining        VARCHAR,
  life_factor   DOUBLE NOT NULL CHECK (life_factor > 0),
  note          VARCHAR,
  source        VARCHAR,
  generic       BOOLEAN NOT NULL,
  CHECK (made_from IS NULL OR made_from <= made_to)
);
COMMENT ON TABLE construction IS 'What each release is made of: the construction tables of rules/ and those given beside them, as of this night';
COMMENT ON COLUMN construction.model_id IS 'Id of the release';
COMMENT ON COLUMN construction.maker IS 'Maker; NULL for a generic construction';
COMMENT ON COLUMN construction.model IS 'Model name';
COMMENT ON COLUMN construction.edition IS 'original, reissue or revision';
COMMENT ON COLUMN construction.made_from IS 'First manufacture, decimal year';
COMMENT ON COLUMN construction.made_to IS 'Last manufacture, decimal year';
COMMENT ON COLUMN construction.style_year IS 'Year of the design; says nothing about age';
COMMENT ON COLUMN construction.colourway IS 'Colours as the maker names them';
COMMENT ON COLUMN construction.category IS 'court, tennis, running, basketball, boots and so on';
COMMENT ON COLUMN construction.midsole IS 'Material keys joined by ;, empty = no such part, ? = unknown';
COMMENT ON COLUMN construction.outsole IS 'As midsole';
COMMENT ON COLUMN construction.cushion IS 'As midsole';
COMMENT ON COLUMN construction.bond IS 'As midsole';
COMMENT ON COLUMN construction.trim IS 'As midsole';
COMMENT ON COLUMN construction.coating IS 'As midsole';
COMMENT ON COLUMN construction.upper IS 'As midsole';
COMMENT ON COLUMN construction.lining IS 'As midsole';
COMMENT ON COLUMN construction.life_factor IS 'Life of this line against the material''s, 1 = as the table says';
COMMENT ON COLUMN construction.note IS 'What a buyer should know';
COMMENT ON COLUMN construction.source IS 'Where this row is from';
COMMENT ON COLUMN construction.generic IS 'A construction by category and era, for what is in no table';

CREATE TABLE IF NOT EXISTS match (
  listing_id       VARCHAR NOT NULL,
  place            INTEGER NOT NULL CHECK (place > 0),
  construction_id  VARCHAR,
  level            VARCHAR NOT NULL CHECK (level IN ('style_number', 'release', 'model', 'generic', 'none')),
  probability      DOUBLE NOT NULL CHECK (probability BETWEEN 0 AND 1),
  accepted         BOOLEAN NOT NULL
);
COMMENT ON TABLE match IS 'Candidate releases of a listing; probabilities sum to one';
COMMENT ON COLUMN match.listing_id IS 'The listing';
COMMENT ON COLUMN match.place IS '1 is the likeliest; the generic construction, which takes what is left, has a place too';
COMMENT ON COLUMN match.construction_id IS 'model_id of the construction table; NULL = none of them';
COMMENT ON COLUMN match.level IS 'What identified it: style number, release, model, generic construction or nothing';
COMMENT ON COLUMN match.probability IS 'Chance that the pair is this one';
COMMENT ON COLUMN match.accepted IS 'Sure enough to name without "perhaps"';

CREATE VIEW IF NOT EXISTS candidate AS
SELECT listing_id, place, construction_id, level, probability, accepted
FROM match
WHERE place = 1 OR probability >= 0.002;
COMMENT ON VIEW candidate IS 'Candidates that are aged, ruled on and weighed: one less likely can''t move a figure by as much as is shown; the likeliest always stays';
COMMENT ON COLUMN candidate.listing_id IS 'As match.listing_id';
COMMENT ON COLUMN candidate.place IS 'As match.place';
COMMENT ON COLUMN candidate.construction_id IS 'As match.construction_id';
COMMENT ON COLUMN candidate.level IS 'As match.level';
COMMENT ON COLUMN candidate.probability IS 'As match.probability; those kept may sum to a little less than one';
COMMENT ON COLUMN candidate.accepted IS 'As match.accepted';

CREATE TABLE IF NOT EXISTS match_evidence (
  listing_id       VARCHAR NOT NULL,
  construction_id  VARCHAR NOT NULL,
  field            VARCHAR NOT NULL,
  listing_value    VARCHAR,
  table_value      VARCHAR,
  weight           DOUBLE NOT NULL
);
COMMENT ON TABLE match_evidence IS 'Why a release is a candidate: one agreement or conflict a row';
COMMENT ON COLUMN match_evidence.listing_id IS 'The listing';
COMMENT ON COLUMN match_evidence.construction_id IS 'The candidate';
COMMENT ON COLUMN match_evidence.field IS 'maker, model, style number, year, edition and so on';
COMMENT ON COLUMN match_evidence.listing_value IS 'What the listing says';
COMMENT ON COLUMN match_evidence.table_value IS 'What the construction table says';
COMMENT ON COLUMN match_evidence.weight IS 'Match weight, log2 units (bits); positive speaks for the candidate';

CREATE TABLE IF NOT EXISTS observation (
  listing_id  VARCHAR NOT NULL,
  sign        VARCHAR NOT NULL,
  said_by     VARCHAR NOT NULL CHECK (said_by IN ('listing', 'answer', 'buyer', 'inspection')),
  state       VARCHAR NOT NULL CHECK (state IN ('affirmed', 'denied')),
  hedged      BOOLEAN NOT NULL,
  quote       VARCHAR,
  start       BIGINT,
  field       VARCHAR NOT NULL DEFAULT 'body' CHECK (field IN ('title', 'body', 'answer')),
  language    VARCHAR,
  counts      BOOLEAN NOT NULL DEFAULT TRUE,
  value       VARCHAR
);
COMMENT ON TABLE observation IS 'What somebody affirmed or denied of a pair; what is not here was not said';
COMMENT ON COLUMN observation.listing_id IS 'The listing';
COMMENT ON COLUMN observation.sign IS 'Id of the sign';
COMMENT ON COLUMN observation.said_by IS 'The listing, the seller''s answer, the buyer''s own look or an inspection';
COMMENT ON COLUMN observation.state IS 'affirmed or denied';
COMMENT ON COLUMN observation.hedged IS 'Said with a doubt; counts half';
COMMENT ON COLUMN observation.quote IS 'The words themselves';
COMMENT ON COLUMN observation.start IS 'Offset of the quote in its field, characters from 0';
COMMENT ON COLUMN observation.field IS 'Where the quote stands: title, body or answer';
COMMENT ON COLUMN observation.language IS 'ISO 639-1 code of the words';
COMMENT ON COLUMN observation.counts IS 'One mention per sign and speaker carries the weight; the others stay visible';
COMMENT ON COLUMN observation.value IS 'A year or number the words carry (resoled 2019)';

CREATE TABLE IF NOT EXISTS life_led (
  listing_id  VARCHAR NOT NULL,
  place       INTEGER NOT NULL,
  life        BIGINT NOT NULL
);
COMMENT ON TABLE life_led IS 'Which life a pair has led if it is the candidate; pairs that agree in all that ages them led the same';
COMMENT ON COLUMN life_led.listing_id IS 'The listing';
COMMENT ON COLUMN life_led.place IS 'The candidate release';
COMMENT ON COLUMN life_led.life IS 'Number of the life, without meaning; a release without any part has none';

CREATE TABLE IF NOT EXISTS life_part (
  life               BIGINT NOT NULL,
  part               VARCHAR NOT NULL CHECK (part IN
    ('midsole', 'outsole', 'cushion', 'bond', 'trim', 'coating', 'upper', 'lining')),
  horizon_years      DOUBLE NOT NULL CHECK (horizon_years >= 0),
  climate            VARCHAR NOT NULL DEFAULT 'unknown',
  material           VARCHAR NOT NULL,
  mode               VARCHAR NOT NULL,
  load_bearing       BOOLEAN NOT NULL,
  made_lo            DOUBLE NOT NULL,
  made_hi            DOUBLE NOT NULL,
  age_years          DOUBLE NOT NULL,
  effective_years    DOUBLE NOT NULL,
  p_unfit_lo         DOUBLE NOT NULL CHECK (p_unfit_lo BETWEEN 0 AND 1),
  p_unfit            DOUBLE NOT NULL CHECK (p_unfit BETWEEN 0 AND 1),
  p_unfit_hi         DOUBLE NOT NULL CHECK (p_unfit_hi BETWEEN 0 AND 1),
  p_unfit_lo_node    FLOAT[] NOT NULL,
  p_unfit_node       FLOAT[] NOT NULL,
  p_unfit_hi_node    FLOAT[] NOT NULL,
  basis              VARCHAR NOT NULL
);
-- One row per life, part, horizon_years and climate.
COMMENT ON TABLE life_part IS 'How each part of a life has aged: the columns of prognosis, once for all who led it';
COMMENT ON COLUMN life_part.life IS 'As life_led.life';
COMMENT ON COLUMN life_part.part IS 'As prognosis.part';
COMMENT ON COLUMN life_part.horizon_years IS 'As prognosis.horizon_years';
COMMENT ON COLUMN life_part.climate IS 'As prognosis.climate';
COMMENT ON COLUMN life_part.material IS 'As prognosis.material';
COMMENT ON COLUMN life_part.mode IS 'As prognosis.mode';
COMMENT ON COLUMN life_part.load_bearing IS 'As prognosis.load_bearing';
COMMENT ON COLUMN life_part.made_lo IS 'As prognosis.made_lo';
COMMENT ON COLUMN life_part.made_hi IS 'As prognosis.made_hi';
COMMENT ON COLUMN life_part.age_years IS 'As prognosis.age_years';
COMMENT ON COLUMN life_part.effective_years IS 'As prognosis.effective_years';
COMMENT ON COLUMN life_part.p_unfit_lo IS 'As prognosis.p_unfit_lo';
COMMENT ON COLUMN life_part.p_unfit IS 'As prognosis.p_unfit';
COMMENT ON COLUMN life_part.p_unfit_hi IS 'As prognosis.p_unfit_hi';
COMMENT ON COLUMN life_part.p_unfit_lo_node IS 'As prognosis.p_unfit_lo_node';
COMMENT ON COLUMN life_part.p_unfit_node IS 'As prognosis.p_unfit_node';
COMMENT ON COLUMN life_part.p_unfit_hi_node IS 'As prognosis.p_unfit_hi_node';
COMMENT ON COLUMN life_part.basis IS 'As prognosis.basis';

CREATE VIEW IF NOT EXISTS prognosis AS
SELECT listing_id, place, life_part.* EXCLUDE (life)
FROM life_led
JOIN life_part USING (life);
COMMENT ON VIEW prognosis IS 'How each part has aged by material and storage alone, before signs and rules';
COMMENT ON COLUMN prognosis.listing_id IS 'The listing';
COMMENT ON COLUMN prognosis.place IS 'The candidate release';
COMMENT ON COLUMN prognosis.part IS 'One of the eight parts; a part the release does not have is not here';
COMMENT ON COLUMN prognosis.horizon_years IS 'Years of ordinary wear the part must still last';
COMMENT ON COLUMN prognosis.climate IS 'Climate in which those years go by, a key of rules/climates.csv';
COMMENT ON COLUMN prognosis.material IS 'Key or keys of rules/ageing/materials.toml, joined by ;';
COMMENT ON COLUMN prognosis.mode IS 'How it fails, in the trade''s words';
COMMENT ON COLUMN prognosis.load_bearing IS 'Its failure can drop, trip or cut the wearer';
COMMENT ON COLUMN prognosis.made_lo IS 'Earliest manufacture, decimal year';
COMMENT ON COLUMN prognosis.made_hi IS 'Latest manufacture, decimal year';
COMMENT ON COLUMN prognosis.age_years IS 'Calendar years since manufacture, middle of the range';
COMMENT ON COLUMN prognosis.effective_years IS 'Years at 20 °C and 50 % RH that would age it as much, storage at its mean';
COMMENT ON COLUMN prognosis.p_unfit_lo IS 'Chance of unfit if the material is a long-lived grade';
COMMENT ON COLUMN prognosis.p_unfit IS 'Chance of unfit within the horizon';
COMMENT ON COLUMN prognosis.p_unfit_hi IS 'Chance of unfit if the material is a short-lived grade';
COMMENT ON COLUMN prognosis.p_unfit_lo_node IS 'p_unfit_lo at each storage node';
COMMENT ON COLUMN prognosis.p_unfit_node IS 'p_unfit at each storage node';
COMMENT ON COLUMN prognosis.p_unfit_hi_node IS 'p_unfit_hi at each storage node';
COMMENT ON COLUMN prognosis.basis IS 'Source of the figures, or "our judgement"';

CREATE TABLE IF NOT EXISTS storage_node (
  node    INTEGER PRIMARY KEY CHECK (node > 0),
  weight  DOUBLE NOT NULL CHECK (weight > 0)
);
COMMENT ON TABLE storage_node IS 'The places of storage, from kind to harsh, at which every prognosis is reckoned';
COMMENT ON COLUMN storage_node.node IS 'Place in the lists of prognosis.p_unfit_node and its ends, from 1';
COMMENT ON COLUMN storage_node.weight IS 'Chance of it, the same for all parts of all pairs; sum 1';

CREATE TABLE IF NOT EXISTS habit (
  source    VARCHAR NOT NULL,
  seller    VARCHAR NOT NULL,
  sentence  VARCHAR NOT NULL
);
COMMENT ON TABLE habit IS 'A seller''s standing sentences: what stands in most of the texts says nothing of any one pair';
COMMENT ON COLUMN habit.source IS 'Marketplace';
COMMENT ON COLUMN habit.seller IS 'Seller as the export names them';
COMMENT ON COLUMN habit.sentence IS 'The sentence in lower case';

CREATE TABLE IF NOT EXISTS weighed (
  listing_id  VARCHAR NOT NULL,
  words       UBIGINT NOT NULL,
  inputs      UBIGINT NOT NULL,
  beside      UBIGINT NOT NULL DEFAULT 0,
  worth       UBIGINT NOT NULL DEFAULT 0
);
COMMENT ON TABLE weighed IS 'By what each listing was last weighed: it is weighed again only when that changed';
COMMENT ON COLUMN weighed.listing_id IS 'The listing';
COMMENT ON COLUMN weighed.words IS 'Hash of its text and whose it is';
COMMENT ON COLUMN weighed.inputs IS 'Hash of what it was weighed by for itself: its row, sightings, twins, answers, the month, the rules';
COMMENT ON COLUMN weighed.beside IS 'Hash of its price and those beside it, its weeks on offer, and the buyers; 0 = not on offer';
COMMENT ON COLUMN weighed.worth IS 'Hash of the comparable offers of its candidates; 0 = not on offer';

CREATE TABLE IF NOT EXISTS finding_fired (
  listing_id  VARCHAR NOT NULL,
  place       INTEGER NOT NULL,
  rule_id     VARCHAR NOT NULL,
  part        VARCHAR NOT NULL,
  grouping    VARCHAR,
  decibans    DOUBLE NOT NULL,
  because     VARCHAR
);
COMMENT ON TABLE finding_fired IS 'Rules that hold for a listing: the findings that fired';
COMMENT ON COLUMN finding_fired.listing_id IS 'As finding.listing_id';
COMMENT ON COLUMN finding_fired.place IS 'As finding.place';
COMMENT ON COLUMN finding_fired.rule_id IS 'As finding.rule_id';
COMMENT ON COLUMN finding_fired.part IS 'As finding.part';
COMMENT ON COLUMN finding_fired.grouping IS 'As finding.grouping';
COMMENT ON COLUMN finding_fired.decibans IS 'As finding.decibans';
COMMENT ON COLUMN finding_fired.because IS 'As finding.because';

CREATE TABLE IF NOT EXISTS finding_open (
  listing_id  VARCHAR NOT NULL,
  place       INTEGER NOT NULL,
  open_set    UBIGINT NOT NULL
);
COMMENT ON TABLE finding_open IS 'Which rules missing facts leave open for a listing; many listings leave the very same open, for want of the same facts';
COMMENT ON COLUMN finding_open.listing_id IS 'As finding.listing_id';
COMMENT ON COLUMN finding_open.place IS 'As finding.place';
COMMENT ON COLUMN finding_open.open_set IS 'As open_rule.open_set';

CREATE TABLE IF NOT EXISTS open_rule (
  open_set  UBIGINT NOT NULL,
  rule_id   VARCHAR NOT NULL,
  part      VARCHAR NOT NULL,
  grouping  VARCHAR,
  missing   VARCHAR[] NOT NULL
);
-- One row per set, rule and part.
COMMENT ON TABLE open_rule IS 'The rules of a set that is left open together: the columns of finding, once for all listings that leave it open';
COMMENT ON COLUMN open_rule.open_set IS 'Hash of the set';
COMMENT ON COLUMN open_rule.rule_id IS 'As finding.rule_id';
COMMENT ON COLUMN open_rule.part IS 'As finding.part';
COMMENT ON COLUMN open_rule.grouping IS 'As finding.grouping';
COMMENT ON COLUMN open_rule.missing IS 'As finding.missing';

CREATE VIEW IF NOT EXISTS finding AS
SELECT listing_id, place, rule_id, part, grouping, 'fired' AS state, decibans, because, NULL::VARCHAR[] AS missing
FROM finding_fired
UNION ALL
SELECT listing_id, place, rule_id, part, grouping, 'open', NULL, NULL, missing
FROM finding_open
JOIN open_rule USING (open_set);
COMMENT ON VIEW finding IS 'What a rule found in the facts of a listing';
COMMENT ON COLUMN finding.listing_id IS 'The listing';
COMMENT ON COLUMN finding.place IS 'The candidate release';
COMMENT ON COLUMN finding.rule_id IS 'The rule';
COMMENT ON COLUMN finding.part IS 'The part it speaks of, or whole';
COMMENT ON COLUMN finding.grouping IS 'Rules and signs of one group say the same thing: only the strongest counts; NULL = on its own';
COMMENT ON COLUMN finding.state IS 'fired: true, its weight counts; open: a missing fact could decide it';
COMMENT ON COLUMN finding.decibans IS 'Weight towards unfit; NULL while open';
COMMENT ON COLUMN finding.because IS 'The reason, values filled in';
COMMENT ON COLUMN finding.missing IS 'Facts that are NULL and leave it open';

CREATE TABLE IF NOT EXISTS posterior (
  listing_id   VARCHAR NOT NULL,
  horizon_years DOUBLE NOT NULL,
  climate      VARCHAR NOT NULL DEFAULT 'unknown',
  part         VARCHAR NOT NULL,
  p_prior      DOUBLE NOT NULL,
  sign_db      DOUBLE NOT NULL,
  rule_db      DOUBLE NOT NULL,
  p_unfit_lo   DOUBLE NOT NULL,
  p_unfit      DOUBLE NOT NULL,
  p_unfit_hi   DOUBLE NOT NULL
);
COMMENT ON TABLE posterior IS 'What is believed of each part after ageing, signs and rules, all candidates mixed';
COMMENT ON COLUMN posterior.listing_id IS 'The listing';
COMMENT ON COLUMN posterior.horizon_years IS 'Years of ordinary wear the part must still last';
COMMENT ON COLUMN posterior.climate IS 'Climate in which those years go by, a key of rules/climates.csv';
COMMENT ON COLUMN posterior.part IS 'One of the eight parts';
COMMENT ON COLUMN posterior.p_prior IS 'Chance of unfit by ageing alone';
COMMENT ON COLUMN posterior.sign_db IS 'Decibans of the signs of this part';
COMMENT ON COLUMN posterior.rule_db IS 'Decibans of the rules of this part, weighted by candidate';
COMMENT ON COLUMN posterior.p_unfit_lo IS 'Lower end of the range';
COMMENT ON COLUMN posterior.p_unfit IS 'Chance of unfit';
COMMENT ON COLUMN posterior.p_unfit_hi IS 'Upper end of the range';

CREATE TABLE IF NOT EXISTS soundness (
  listing_id     VARCHAR NOT NULL,
  horizon_years  DOUBLE NOT NULL,
  climate        VARCHAR NOT NULL DEFAULT 'unknown',
  p_wearable_lo  DOUBLE NOT NULL,
  p_wearable     DOUBLE NOT NULL,
  p_wearable_hi  DOUBLE NOT NULL,
  weak_part      VARCHAR
);
COMMENT ON TABLE soundness IS 'What is believed of the pair as a whole; decides which pairs are comparable to a sound one';
COMMENT ON COLUMN soundness.listing_id IS 'The listing';
COMMENT ON COLUMN soundness.horizon_years IS 'Years of ordinary wear every load-bearing part must still last';
COMMENT ON COLUMN soundness.climate IS 'Climate in which those years go by, a key of rules/climates.csv';
COMMENT ON COLUMN soundness.p_wearable_lo IS 'Lower end of the range';
COMMENT ON COLUMN soundness.p_wearable IS 'Chance that every load-bearing part is fit, before any repair';
COMMENT ON COLUMN soundness.p_wearable_hi IS 'Upper end of the range';
COMMENT ON COLUMN soundness.weak_part IS 'Load-bearing part most likely to be unfit; else the likeliest of the others';

CREATE TABLE IF NOT EXISTS verdict (
  listing_id       VARCHAR NOT NULL,
  buyer            VARCHAR NOT NULL,
  call             VARCHAR NOT NULL CHECK (call IN ('buy', 'ask', 'skip')),
  plan             VARCHAR NOT NULL CHECK (plan IN ('wear', 'restore', 'display', 'parts', 'none')),
  rank             INTEGER NOT NULL,
  p_fits           DOUBLE,
  p_wearable_lo    DOUBLE,
  p_wearable       DOUBLE,
  p_wearable_hi    DOUBLE,
  p_after_plan     DOUBLE,
  weak_part        VARCHAR,
  value_minor      BIGINT,
  value_basis      VARCHAR,
  landed_minor     BIGINT,
  shipping_assumed BOOLEAN,
  surplus_minor    BIGINT,
  offer_minor      BIGINT,
  ask_gain_minor   BIGINT,
  expected_minor   BIGINT,
  currency         VARCHAR NOT NULL,
  reason           VARCHAR NOT NULL
);
COMMENT ON TABLE verdict IS 'The call on a listing for a buyer';
COMMENT ON COLUMN verdict.listing_id IS 'The listing';
COMMENT ON COLUMN verdict.buyer IS 'The buyer';
COMMENT ON COLUMN verdict.call IS 'buy, ask or skip';
COMMENT ON COLUMN verdict.plan IS 'What most of the value comes from: wear, restore, display, parts; none for what is not weighed for this buyer';
COMMENT ON COLUMN verdict.rank IS 'Place within the call of this buyer, from 1';
COMMENT ON COLUMN verdict.p_fits IS 'Chance that the size fits this buyer; 1 when size does not matter';
COMMENT ON COLUMN verdict.p_wearable_lo IS 'Lower end of the chance of wearable';
COMMENT ON COLUMN verdict.p_wearable IS 'Chance that every load-bearing part is fit, before any repair';
COMMENT ON COLUMN verdict.p_wearable_hi IS 'Upper end of the chance of wearable';
COMMENT ON COLUMN verdict.p_after_plan IS 'Chance of wearable after the plan, its repairs done';
COMMENT ON COLUMN verdict.weak_part IS 'Load-bearing part most likely to be unfit; else the likeliest of the others';
COMMENT ON COLUMN verdict.value_minor IS 'Value to this buyer when sound, minor units';
COMMENT ON COLUMN verdict.value_basis IS 'Where the value is from: the buyer''s figure, or comparables with count, range and date';
COMMENT ON COLUMN verdict.landed_minor IS 'Price, shipping, duty, tax and fees together, minor units';
COMMENT ON COLUMN verdict.shipping_assumed IS 'Shipping was not stated; the table''s figure was used';
COMMENT ON COLUMN verdict.surplus_minor IS 'Expected value minus landed cost, minor units';
COMMENT ON COLUMN verdict.offer_minor IS 'Highest sensible offer in the base currency, minor units; 0 when no offer makes sense';
COMMENT ON COLUMN verdict.ask_gain_minor IS 'What asking the best questions is worth over buying or leaving it now';
COMMENT ON COLUMN verdict.expected_minor IS 'Expected value over all states of the parts, before cost, minor units';
COMMENT ON COLUMN verdict.currency IS 'ISO 4217 code of every amount here';
COMMENT ON COLUMN verdict.reason IS 'Why, in one line';

CREATE TABLE IF NOT EXISTS plan (
  listing_id    VARCHAR NOT NULL,
  buyer         VARCHAR NOT NULL,
  plan          VARCHAR NOT NULL CHECK (plan IN ('wear', 'restore', 'display', 'parts', 'return')),
  probability   DOUBLE NOT NULL CHECK (probability BETWEEN 0 AND 1.000001),
  value_minor   BIGINT NOT NULL,
  repairs       VARCHAR[],
  cost_lo_minor BIGINT,
  cost_hi_minor BIGINT
);
COMMENT ON TABLE plan IS 'What a buyer could do with a pair, and how often it would come to that';
COMMENT ON COLUMN plan.listing_id IS 'The listing';
COMMENT ON COLUMN plan.buyer IS 'The buyer';
COMMENT ON COLUMN plan.plan IS 'wear, restore, display, parts or return';
COMMENT ON COLUMN plan.probability IS 'Chance that this is the best plan once the parts are seen';
COMMENT ON COLUMN plan.value_minor IS 'Its mean worth when it is the best plan, repairs paid, minor units';
COMMENT ON COLUMN plan.repairs IS 'Repairs of the likeliest state that needs them, ids of rules/repairs/';
COMMENT ON COLUMN plan.cost_lo_minor IS 'Lower end of what those repairs cost, minor units';
COMMENT ON COLUMN plan.cost_hi_minor IS 'Upper end of what those repairs cost, minor units';

CREATE TABLE IF NOT EXISTS question (
  listing_id  VARCHAR NOT NULL,
  buyer       VARCHAR NOT NULL,
  place       INTEGER NOT NULL CHECK (place BETWEEN 1 AND 3),
  sign        VARCHAR,
  fact        VARCHAR,
  text        VARCHAR NOT NULL,
  language    VARCHAR NOT NULL,
  gain_minor  BIGINT NOT NULL,
  if_yes      VARCHAR NOT NULL,
  if_no       VARCHAR NOT NULL
);
COMMENT ON TABLE question IS 'What to ask the seller, best first, and what each answer would do';
COMMENT ON COLUMN question.listing_id IS 'The listing';
COMMENT ON COLUMN question.buyer IS 'The buyer';
COMMENT ON COLUMN question.place IS '1 to 3';
COMMENT ON COLUMN question.sign IS 'Sign asked for; NULL when a fact is';
COMMENT ON COLUMN question.fact IS 'Fact asked for; NULL when a sign is';
COMMENT ON COLUMN question.text IS 'The question in the seller''s language';
COMMENT ON COLUMN question.language IS 'ISO 639-1 code';
COMMENT ON COLUMN question.gain_minor IS 'Expected value of this answer alone, minor units';
COMMENT ON COLUMN question.if_yes IS 'What a yes would do to the offer or the call, the other answers being good';
COMMENT ON COLUMN question.if_no IS 'What a no would do to the offer or the call, the other answers being good';

CREATE TABLE IF NOT EXISTS sensitivity (
  listing_id     VARCHAR NOT NULL,
  buyer          VARCHAR NOT NULL,
  place          INTEGER NOT NULL CHECK (place BETWEEN 1 AND 2),
  number         VARCHAR NOT NULL,
  low            DOUBLE,
  high           DOUBLE,
  at_low_minor   BIGINT NOT NULL,
  at_high_minor  BIGINT NOT NULL
);
COMMENT ON TABLE sensitivity IS 'The two numbers that would move a buy or an ask most, each moved alone';
COMMENT ON COLUMN sensitivity.listing_id IS 'The listing';
COMMENT ON COLUMN sensitivity.buyer IS 'The buyer';
COMMENT ON COLUMN sensitivity.place IS '1 the wider swing, 2 the next';
COMMENT ON COLUMN sensitivity.number IS 'p_unfit and a part, value_minor, repair_minor, shipping_minor, p_fits or construction_id';
COMMENT ON COLUMN sensitivity.low IS 'Lower end of its range; NULL for repairs and the release, which are no single number';
COMMENT ON COLUMN sensitivity.high IS 'Upper end of its range';
COMMENT ON COLUMN sensitivity.at_low_minor IS 'What would be left over at the lower end, minor units; for the release: the least welcome';
COMMENT ON COLUMN sensitivity.at_high_minor IS 'What would be left over at the upper end, minor units; for the release: the most welcome';

CREATE TABLE IF NOT EXISTS call_history (
  listing_id        VARCHAR NOT NULL,
  buyer             VARCHAR NOT NULL,
  place             INTEGER NOT NULL CHECK (place > 0),
  as_of             DATE NOT NULL,
  call              VARCHAR NOT NULL CHECK (call IN ('buy', 'ask', 'skip')),
  plan              VARCHAR NOT NULL CHECK (plan IN ('wear', 'restore', 'display', 'parts', 'none')),
  offer_minor       BIGINT,
  surplus_minor     BIGINT,
  landed_minor      BIGINT,
  value_minor       BIGINT,
  currency          VARCHAR NOT NULL,
  p_fits            DOUBLE,
  p_wearable        DOUBLE,
  p_after_plan      DOUBLE,
  p_unfit           MAP(VARCHAR, DOUBLE),
  weak_part         VARCHAR,
  reason            VARCHAR NOT NULL,
  because           VARCHAR NOT NULL,
  price_minor       BIGINT,
  price_currency    VARCHAR,
  price_base_minor  BIGINT,
  shipping_minor    BIGINT,
  construction_id   VARCHAR,
  text_md5          VARCHAR NOT NULL,
  heard             VARCHAR[] NOT NULL,
  held              VARCHAR[] NOT NULL,
  rules_sha256      VARCHAR NOT NULL,
  buyer_sha256      VARCHAR NOT NULL,
  PRIMARY KEY (listing_id, buyer, place)
);
COMMENT ON TABLE call_history IS 'Every call on a pair that differed from the one before in call, plan or offer, as it was on the day; kept for good, never recomputed';
COMMENT ON COLUMN call_history.listing_id IS 'The listing';
COMMENT ON COLUMN call_history.buyer IS 'The buyer';
COMMENT ON COLUMN call_history.place IS '1 is the first call on this pair for this buyer; the highest holds';
COMMENT ON COLUMN call_history.as_of IS 'The date the call was made for';
COMMENT ON COLUMN call_history.call IS 'buy, ask or skip';
COMMENT ON COLUMN call_history.plan IS 'As verdict.plan';
COMMENT ON COLUMN call_history.offer_minor IS 'Highest sensible offer of that day, minor units';
COMMENT ON COLUMN call_history.surplus_minor IS 'Expected value minus landed cost, minor units';
COMMENT ON COLUMN call_history.landed_minor IS 'Cost at the door, minor units';
COMMENT ON COLUMN call_history.value_minor IS 'Value to this buyer when sound, minor units';
COMMENT ON COLUMN call_history.currency IS 'ISO 4217 code of these amounts';
COMMENT ON COLUMN call_history.p_fits IS 'Chance that the size fits, as believed that day';
COMMENT ON COLUMN call_history.p_wearable IS 'Chance that every load-bearing part is fit, as believed that day';
COMMENT ON COLUMN call_history.p_after_plan IS 'Chance of wearable after the plan, as believed that day';
COMMENT ON COLUMN call_history.p_unfit IS 'Part to its chance of unfit within this buyer''s horizon, as believed that day';
COMMENT ON COLUMN call_history.weak_part IS 'As verdict.weak_part';
COMMENT ON COLUMN call_history.reason IS 'Why the call was what it was, in one line';
COMMENT ON COLUMN call_history.because IS 'What changed since the row before: price, answers, text, rules, rate, comparables; worked out from the columns below';
COMMENT ON COLUMN call_history.price_minor IS 'Price that day, minor units of price_currency';
COMMENT ON COLUMN call_history.price_currency IS 'ISO 4217 code of the price';
COMMENT ON COLUMN call_history.price_base_minor IS 'The price in the base currency, minor units';
COMMENT ON COLUMN call_history.shipping_minor IS 'Shipping as stated that day, minor units of price_currency';
COMMENT ON COLUMN call_history.construction_id IS 'Likeliest release';
COMMENT ON COLUMN call_history.text_md5 IS 'MD5 of what the listing says beside price and shipping';
COMMENT ON COLUMN call_history.heard IS 'What was heard and counted: speaker, sign, state, and hedged where it was';
COMMENT ON COLUMN call_history.held IS 'Rules that held for the likeliest release';
COMMENT ON COLUMN call_history.rules_sha256 IS 'Hash of the rules and tables without the buyers';
COMMENT ON COLUMN call_history.buyer_sha256 IS 'Hash of this buyer''s figures';

CREATE TABLE IF NOT EXISTS answer (
  listing_id   VARCHAR NOT NULL,
  sign         VARCHAR,
  answered_on  DATE NOT NULL,
  said_by      VARCHAR NOT NULL DEFAULT 'answer' CHECK (said_by IN ('answer', 'buyer')),
  state        VARCHAR CHECK (state IN ('affirmed', 'denied', 'no_reply')),
  text         VARCHAR,
  CHECK (state IS NOT NULL OR (sign IS NULL AND text IS NOT NULL)),
  CHECK (sign IS NOT NULL OR state IS NULL OR state = 'no_reply')
);
COMMENT ON TABLE answer IS 'What a seller answered, or the buyer saw in the photos; kept for good';
COMMENT ON COLUMN answer.listing_id IS 'The listing';
COMMENT ON COLUMN answer.sign IS 'Sign that was asked for; NULL for words that are read for every sign, or no reply at all';
COMMENT ON COLUMN answer.answered_on IS 'Date; the later answer of one speaker beats the earlier';
COMMENT ON COLUMN answer.said_by IS 'answer: the seller; buyer: one''s own look at the photos';
COMMENT ON COLUMN answer.state IS 'affirmed, denied or no reply; NULL where the words alone speak';
COMMENT ON COLUMN answer.text IS 'The words, where given';

CREATE TABLE IF NOT EXISTS note (
  key         VARCHAR PRIMARY KEY,
  kind        VARCHAR NOT NULL CHECK (kind IN
    ('look', 'answer', 'asked', 'no_reply', 'sold', 'open', 'bought', 'received')),
  listing_id  VARCHAR NOT NULL,
  noted_on    DATE NOT NULL,
  written_at  TIMESTAMP NOT NULL,
  content     JSON NOT NULL
);
COMMENT ON TABLE note IS 'What was noted at the desk and has been taken over from the journal; kept for good';
COMMENT ON COLUMN note.key IS 'The same key again is the same note';
COMMENT ON COLUMN note.kind IS 'look: own look at the photos; answer; asked; no_reply; sold; open: not sold after all; bought; received';
COMMENT ON COLUMN note.listing_id IS 'The listing';
COMMENT ON COLUMN note.noted_on IS 'Date it is for';
COMMENT ON COLUMN note.written_at IS 'When it was written, UTC';
COMMENT ON COLUMN note.content IS 'What was noted, by kind: signs, text, price, language';

CREATE TABLE IF NOT EXISTS confirmation (
  listing_id       VARCHAR NOT NULL,
  construction_id  VARCHAR,
  confirmed_on     DATE NOT NULL
);
COMMENT ON TABLE confirmation IS 'Releases the user knows for certain; what the matcher''s weights are fitted to. The latest row counts';
COMMENT ON COLUMN confirmation.listing_id IS 'The listing';
COMMENT ON COLUMN confirmation.construction_id IS 'model_id of the construction table; NULL = it is in no table';
COMMENT ON COLUMN confirmation.confirmed_on IS 'Date';

CREATE TABLE IF NOT EXISTS inspection (
  listing_id    VARCHAR NOT NULL,
  part          VARCHAR NOT NULL CHECK (part IN
    ('midsole', 'outsole', 'cushion', 'bond', 'trim', 'coating', 'upper', 'lining')),
  inspected_on  DATE NOT NULL,
  state         VARCHAR NOT NULL CHECK (state IN ('fit', 'unfit')),
  wears         INTEGER CHECK (wears >= 0),
  note          VARCHAR
);
COMMENT ON TABLE inspection IS 'What was found on a pair that arrived; corrections are new rows';
COMMENT ON COLUMN inspection.listing_id IS 'The listing';
COMMENT ON COLUMN inspection.part IS 'One of the eight parts';
COMMENT ON COLUMN inspection.inspected_on IS 'Date';
COMMENT ON COLUMN inspection.state IS 'fit or unfit';
COMMENT ON COLUMN inspection.wears IS 'Times worn before the finding';
COMMENT ON COLUMN inspection.note IS 'Free text';

CREATE TABLE IF NOT EXISTS purchase (
  listing_id    VARCHAR NOT NULL,
  buyer         VARCHAR,
  bought_on     DATE NOT NULL,
  landed_minor  BIGINT CHECK (landed_minor >= 0),
  currency      VARCHAR NOT NULL,
  arrived_on    DATE,
  repair_minor  BIGINT CHECK (repair_minor >= 0),
  worth_minor   BIGINT CHECK (worth_minor >= 0),
  sold_on       DATE,
  note          VARCHAR,
  CHECK (arrived_on IS NULL OR arrived_on >= bought_on),
  CHECK (sold_on IS NULL OR sold_on >= bought_on)
);
COMMENT ON TABLE purchase IS 'Pairs that were bought, what they cost and came to; a correction is a new row, the last row of a pair counts';
COMMENT ON COLUMN purchase.listing_id IS 'The listing';
COMMENT ON COLUMN purchase.buyer IS 'The buyer it was bought for; NULL = not stated: the one it suited best by the calls of that day';
COMMENT ON COLUMN purchase.bought_on IS 'Date of the purchase; the call it followed is the last one up to this day';
COMMENT ON COLUMN purchase.landed_minor IS 'What was paid in all until it was at the door, minor units';
COMMENT ON COLUMN purchase.currency IS 'ISO 4217 code of every amount here';
COMMENT ON COLUMN purchase.arrived_on IS 'Date it arrived; periods for claims count from it';
COMMENT ON COLUMN purchase.repair_minor IS 'What was spent on repairs, minor units';
COMMENT ON COLUMN purchase.worth_minor IS 'What it was sold for or refunded, or is worth to its buyer, repaired; minor units';
COMMENT ON COLUMN purchase.sold_on IS 'Date it was sold or sent back; NULL = kept, worth_minor is the buyer''s own judgement';
COMMENT ON COLUMN purchase.note IS 'Free text';
