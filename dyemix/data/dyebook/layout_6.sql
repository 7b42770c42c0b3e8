-- Layout 6: pieces of mottled cloth in figures, as JSON.
CREATE TABLE piece (
        id INTEGER PRIMARY KEY,
        job INTEGER NOT NULL REFERENCES job (id),
        method INTEGER REFERENCES method (id),
        content TEXT NOT NULL
    ) STRICT
