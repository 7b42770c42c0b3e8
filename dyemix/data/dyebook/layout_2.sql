-- Layout 2: second baths, fits that trials have gone into, and signed standards.

ALTER TABLE trial ADD COLUMN bath TEXT NOT NULL DEFAULT 'first bath';

ALTER TABLE trial ADD COLUMN over INTEGER REFERENCES reading (id);

-- Whether trials have gone into a fit, so that none is learnt from twice.
ALTER TABLE fit ADD COLUMN learnt INTEGER NOT NULL DEFAULT 0 CHECK (learnt IN (0, 1));

CREATE TABLE sign_off (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL UNIQUE CHECK (name <> ''),
        job INTEGER NOT NULL REFERENCES job (id),
        signed TEXT NOT NULL,
        reading INTEGER NOT NULL REFERENCES reading (id),
        tolerance REAL NOT NULL CHECK (tolerance > 0),
        note TEXT NOT NULL DEFAULT ''
    ) STRICT;
