-- The tables of a dye book, layout 1. A layout, once released, is never edited: a change is a
-- further file. Dates are ISO 8601 text; spectra and other lists are JSON text, so that they come
-- back to the last digit; recipes are as they are written, in % owf with every digit.

-- One row once it is known whether the book holds invented dyes.
CREATE TABLE kind (
        id INTEGER PRIMARY KEY CHECK (id = 1),
        demo INTEGER NOT NULL CHECK (demo IN (0, 1))
    ) STRICT;

CREATE TABLE cloth (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL UNIQUE CHECK (name <> ''),
        fibre TEXT NOT NULL DEFAULT '',
        note TEXT NOT NULL DEFAULT ''
    ) STRICT;

CREATE TABLE dye (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL CHECK (name <> ''),
        lot TEXT NOT NULL DEFAULT '',
        bought TEXT CHECK (bought <> ''),
        note TEXT NOT NULL DEFAULT '',
        UNIQUE (name, lot)
    ) STRICT;

CREATE TABLE stock (
        id INTEGER PRIMARY KEY,
        dye INTEGER NOT NULL REFERENCES dye (id),
        strength_pct REAL NOT NULL CHECK (strength_pct > 0),
        made TEXT CHECK (made <> ''),
        cold INTEGER NOT NULL CHECK (cold IN (0, 1)),
        how TEXT NOT NULL,
        left_ml REAL CHECK (left_ml >= 0)
    ) STRICT;

CREATE TABLE swatch_set (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL UNIQUE CHECK (name <> ''),
        added TEXT NOT NULL,
        notes TEXT NOT NULL
    ) STRICT;

-- A piece of cloth: of a swatch set, or a finished piece of a trial or a sign-off.
CREATE TABLE swatch (
        id INTEGER PRIMARY KEY,
        swatch_set INTEGER REFERENCES swatch_set (id),
        cloth INTEGER REFERENCES cloth (id),
        recipe TEXT CHECK (recipe <> ''),
        label TEXT NOT NULL
    ) STRICT;

CREATE TABLE reading (
        id INTEGER PRIMARY KEY,
        swatch INTEGER NOT NULL REFERENCES swatch (id),
        as_written TEXT NOT NULL,
        kind TEXT NOT NULL,
        spectrum TEXT CHECK (spectrum <> ''),
        lab TEXT CHECK (lab <> ''),
        light TEXT CHECK (light <> ''),
        covariance TEXT CHECK (covariance <> ''),
        conditions TEXT NOT NULL,
        flags TEXT NOT NULL,
        place TEXT NOT NULL,
        name TEXT NOT NULL
    ) STRICT;

CREATE INDEX reading_of_swatch ON reading (swatch);

CREATE TABLE fit (
        id INTEGER PRIMARY KEY,
        kept TEXT NOT NULL,
        swatches TEXT NOT NULL,
        note TEXT NOT NULL DEFAULT '',
        content TEXT NOT NULL
    ) STRICT;

CREATE TABLE job (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL UNIQUE CHECK (name <> '')
    ) STRICT;

CREATE TABLE recipe (
        id INTEGER PRIMARY KEY,
        job INTEGER NOT NULL REFERENCES job (id),
        kept TEXT NOT NULL,
        recipe TEXT NOT NULL,
        as_written TEXT NOT NULL,
        target TEXT CHECK (target <> ''),
        note TEXT NOT NULL DEFAULT ''
    ) STRICT;

CREATE TABLE sheet (
        id INTEGER PRIMARY KEY,
        job INTEGER NOT NULL REFERENCES job (id),
        made TEXT NOT NULL,
        content TEXT NOT NULL
    ) STRICT;

CREATE TABLE trial (
        id INTEGER PRIMARY KEY,
        job INTEGER NOT NULL REFERENCES job (id),
        dyed TEXT CHECK (dyed <> ''),
        recipe TEXT NOT NULL,
        as_written TEXT NOT NULL,
        lot TEXT NOT NULL,
        target TEXT CHECK (target <> ''),
        reading INTEGER NOT NULL REFERENCES reading (id),
        note TEXT NOT NULL DEFAULT ''
    ) STRICT;
