-- A dye book of layout 1, as the first version wrote it. Invented readings.
PRAGMA application_id = 1685677410;
PRAGMA user_version = 1;
BEGIN TRANSACTION;
CREATE TABLE cloth (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL UNIQUE CHECK (name <> ''),
        fibre TEXT NOT NULL DEFAULT '',
        note TEXT NOT NULL DEFAULT ''
    ) STRICT;
INSERT INTO "cloth" VALUES(1,'linen','linen','napkins');
CREATE TABLE dye (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL CHECK (name <> ''),
        lot TEXT NOT NULL DEFAULT '',
        bought TEXT CHECK (bought <> ''),
        note TEXT NOT NULL DEFAULT '',
        UNIQUE (name, lot)
    ) STRICT;
INSERT INTO "dye" VALUES(1,'gold','G1','2026-02-01','');
INSERT INTO "dye" VALUES(2,'navy','',NULL,'');
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
INSERT INTO "job" VALUES(1,'sage');
CREATE TABLE kind (
        id INTEGER PRIMARY KEY CHECK (id = 1),
        demo INTEGER NOT NULL CHECK (demo IN (0, 1))
    ) STRICT;
INSERT INTO "kind" VALUES(1,0);
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
INSERT INTO "reading" VALUES(1,1,'','spectrum','[0.7, 0.705, 0.71, 0.715, 0.72, 0.725, 0.73, 0.735, 0.74, 0.745, 0.75, 0.755, 0.76, 0.765, 0.77, 0.775, 0.78, 0.785, 0.79, 0.795, 0.8, 0.805, 0.81, 0.815, 0.82, 0.825, 0.83, 0.835, 0.84, 0.845, 0.85]',NULL,NULL,NULL,'{"cloth": "linen"}','[]','spring.csv, row 2','');
INSERT INTO "reading" VALUES(2,2,'','spectrum','[0.3, 0.305, 0.31, 0.315, 0.32, 0.325, 0.33, 0.335, 0.34, 0.345, 0.35, 0.355, 0.36, 0.365, 0.37, 0.375, 0.38, 0.385, 0.39, 0.395, 0.4, 0.405, 0.41, 0.415, 0.42, 0.425, 0.43, 0.435, 0.44, 0.445, 0.45]',NULL,NULL,NULL,'{"cloth": "linen"}','["by eye"]','spring.csv, row 3','');
INSERT INTO "reading" VALUES(3,3,'gold 3 ml + navy 0.1','spectrum','[0.2, 0.205, 0.21, 0.215, 0.22, 0.225, 0.23, 0.235, 0.24, 0.245, 0.25, 0.255, 0.26, 0.265, 0.27, 0.275, 0.28, 0.285, 0.29, 0.295, 0.3, 0.305, 0.31, 0.315, 0.32, 0.325, 0.33, 0.335, 0.34, 0.345, 0.35]',NULL,NULL,NULL,'{}','[]','','piece 7');
CREATE TABLE recipe (
        id INTEGER PRIMARY KEY,
        job INTEGER NOT NULL REFERENCES job (id),
        kept TEXT NOT NULL,
        recipe TEXT NOT NULL,
        as_written TEXT NOT NULL,
        target TEXT CHECK (target <> ''),
        note TEXT NOT NULL DEFAULT ''
    ) STRICT;
INSERT INTO "recipe" VALUES(1,1,'2026-05-03','gold 1.5 + navy 0.1','',NULL,'first try');
CREATE TABLE sheet (
        id INTEGER PRIMARY KEY,
        job INTEGER NOT NULL REFERENCES job (id),
        made TEXT NOT NULL,
        content TEXT NOT NULL
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
INSERT INTO "stock" VALUES(1,1,2.0,'2026-05-03',1,'made up to',250.0);
CREATE TABLE swatch (
        id INTEGER PRIMARY KEY,
        swatch_set INTEGER REFERENCES swatch_set (id),
        cloth INTEGER REFERENCES cloth (id),
        recipe TEXT CHECK (recipe <> ''),
        label TEXT NOT NULL
    ) STRICT;
INSERT INTO "swatch" VALUES(1,1,1,'undyed','1');
INSERT INTO "swatch" VALUES(2,1,1,'gold 2','2');
INSERT INTO "swatch" VALUES(3,NULL,1,'gold 1.5 + navy 0.1','');
CREATE TABLE swatch_set (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL UNIQUE CHECK (name <> ''),
        added TEXT NOT NULL,
        notes TEXT NOT NULL
    ) STRICT;
INSERT INTO "swatch_set" VALUES(1,'spring.csv','2026-05-02','["as read"]');
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
INSERT INTO "trial" VALUES(1,1,'2026-05-04','gold 1.5 + navy 0.1','','G1',NULL,3,'a little pale');
CREATE INDEX reading_of_swatch ON reading (swatch);
COMMIT;
