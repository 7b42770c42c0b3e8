-- Layout 5: several methods in one book; rows that are struck and tables that are replaced, with
-- their history; pictures of trials; and what was done, so that it can be undone.

-- How cloth is dyed, by a name. `borrows` is the method whose dyes lend it their curves; `lot` and
-- `half_life` say how its trials are weighed.
CREATE TABLE method (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL UNIQUE CHECK (name <> ''),
        borrows INTEGER REFERENCES method (id),
        lot TEXT,
        half_life REAL CHECK (half_life > 0)
    ) STRICT;

ALTER TABLE swatch_set ADD COLUMN method INTEGER REFERENCES method (id);

-- The day another table took its place.
ALTER TABLE swatch_set ADD COLUMN replaced TEXT CHECK (replaced <> '');

-- When a reading was struck, and why.
ALTER TABLE reading ADD COLUMN struck TEXT CHECK (struck <> '');

ALTER TABLE sheet ADD COLUMN method INTEGER REFERENCES method (id);

ALTER TABLE trial ADD COLUMN method INTEGER REFERENCES method (id);

-- A photograph of a trial, its pixels alone: JPEG, coded anew.
CREATE TABLE picture (
        id INTEGER PRIMARY KEY,
        trial INTEGER NOT NULL REFERENCES trial (id),
        content BLOB NOT NULL
    ) STRICT;

-- What was done, and every row that this added (`before` is empty) or changed.
CREATE TABLE event (
        id INTEGER PRIMARY KEY,
        at TEXT NOT NULL,
        what TEXT NOT NULL
    ) STRICT;

CREATE TABLE change (
        id INTEGER PRIMARY KEY,
        event INTEGER NOT NULL REFERENCES event (id),
        place TEXT NOT NULL,
        row INTEGER NOT NULL,
        before TEXT
    ) STRICT;

-- Swatch sets of one way of dyeing are of one method; work is of it where there is but one.
CREATE TEMP TABLE way AS
    SELECT t.id, coalesce(json_extract(r.conditions, '$.cloth'), '') AS cloth,
        coalesce(json_extract(r.conditions, '$.alkali'), '') AS alkali, 'first method' AS name
    FROM swatch_set t LEFT JOIN reading r ON r.id = (
        SELECT min(x.id) FROM reading x JOIN swatch s ON s.id = x.swatch WHERE s.swatch_set = t.id);

UPDATE way SET name = trim(cloth || ', ' || alkali, ', ') WHERE cloth || alkali <> '';

INSERT INTO method (name) SELECT name FROM way GROUP BY name ORDER BY min(id);

UPDATE swatch_set SET method =
    (SELECT m.id FROM method m JOIN way w ON w.name = m.name WHERE w.id = swatch_set.id);

UPDATE sheet SET method = 1 WHERE (SELECT count(*) FROM method) = 1;

UPDATE trial SET method = 1 WHERE (SELECT count(*) FROM method) = 1;

DROP TABLE way
