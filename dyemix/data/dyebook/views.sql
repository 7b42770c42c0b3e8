-- How what is kept is given back: a row a record, its columns called like the fields of the record
-- that is made of it. Made anew, and temporary, each time a book is opened: no part of its file.

CREATE TEMP VIEW kept_stock AS
    SELECT s.id, d.name AS dye, d.lot, s.strength_pct, s.made, s.cold, s.how, s.left_ml
    FROM stock s JOIN dye d ON d.id = s.dye;

CREATE TEMP VIEW kept_dye AS SELECT *, name AS dye FROM dye;

CREATE TEMP VIEW kept_set AS
    SELECT t.id, t.name, t.added, m.name AS method, t.replaced IS NOT NULL AS replaced,
        COUNT(r.id) AS readings, COUNT(r.struck) AS struck
    FROM swatch_set t LEFT JOIN method m ON m.id = t.method
        LEFT JOIN swatch s ON s.swatch_set = t.id LEFT JOIN reading r ON r.swatch = s.id
    GROUP BY t.id;

CREATE TEMP VIEW kept_method AS
    SELECT m.id AS number, m.name, m.lot, m.half_life, coalesce(l.name, '') AS borrows,
        (SELECT COUNT(*) FROM kept_trial t WHERE t.method = m.name) AS trials
    FROM method m LEFT JOIN method l ON l.id = m.borrows;

CREATE TEMP VIEW kept_reading AS
    SELECT s.label AS swatch, s.recipe, s.swatch_set, t.name AS of_set, t.notes, t.method,
        t.replaced IS NULL AND r.struck IS NULL AS stands, r.*,
        r.spectrum AS reflectance, r.flags AS warnings
    FROM reading r JOIN swatch s ON s.id = r.swatch LEFT JOIN swatch_set t ON t.id = s.swatch_set;

CREATE TEMP VIEW kept_recipe AS
    SELECT r.id, j.name AS job, r.kept AS "on", r.recipe, r.as_written,
        replace(r.target, '"doubts":', '"warnings":') AS target, r.note
    FROM recipe r JOIN job j ON j.id = r.job;

CREATE TEMP VIEW kept_sheet AS
    SELECT s.id, j.name AS job, s.made, s.content, m.name AS method
    FROM sheet s JOIN job j ON j.id = s.job LEFT JOIN method m ON m.id = s.method;

CREATE TEMP VIEW kept_trial AS
    SELECT t.id, j.name AS job, t.dyed AS date, t.recipe, t.as_written, t.lot, t.reading,
        replace(t.target, '"doubts":', '"warnings":') AS target,
        t.note, t.bath, t.over AS "on", m.name AS method,
        (SELECT COUNT(*) FROM picture WHERE trial = t.id) AS pictures
    FROM trial t JOIN reading r ON r.id = t.reading JOIN job j ON j.id = t.job
        LEFT JOIN method m ON m.id = t.method
    WHERE r.struck IS NULL;

CREATE TEMP VIEW kept_struck AS
    SELECT t.id, j.name AS job, t.method, substr(r.struck, 1, 10) AS at,
        'struck: trial ' || t.recipe || substr(r.struck, 11) AS what
    FROM trial t JOIN reading r ON r.id = t.reading JOIN job j ON j.id = t.job
    WHERE r.struck IS NOT NULL;

CREATE TEMP VIEW kept_picture AS
    SELECT p.id, t.job, p.content FROM picture p JOIN kept_trial t ON t.id = p.trial;

CREATE TEMP VIEW kept_piece AS
    SELECT p.id, j.name AS job, m.name AS method, p.content
    FROM piece p JOIN job j ON j.id = p.job LEFT JOIN method m ON m.id = p.method;

CREATE TEMP VIEW kept_sign_off AS
    SELECT s.id, s.name, j.name AS job, s.signed AS "on", s.reading, s.tolerance, s.note
    FROM sign_off s JOIN job j ON j.id = s.job;

CREATE TEMP VIEW written AS
    SELECT 'job' AS what, name, name AS words FROM job
    UNION ALL SELECT 'recipe', job, "on" || ': ' || recipe || ' ' || note FROM kept_recipe
    UNION ALL SELECT 'bath sheet', job, made || ': '
        || (SELECT group_concat(key || printf(' %.3g', value), ' + ') FROM json_each(content, '$.recipe'))
        || ' on ' || json_extract(content, '$.cloth') FROM kept_sheet
    UNION ALL SELECT 'mottled piece', job, json_extract(content, '$.name') FROM kept_piece
    UNION ALL SELECT 'trial', job, coalesce(date || ': ', '') || recipe || ' ' || lot || ' '
        || note FROM kept_trial
    UNION ALL SELECT 'standard', name, "on" || ': ' || job || ' ' || note FROM kept_sign_off
    UNION ALL SELECT 'dye', name || ' ' || lot, coalesce(bought, '') || ' ' || note FROM dye
    UNION ALL SELECT 'cloth', name, fibre || ' ' || note FROM cloth
    UNION ALL SELECT 'swatches', name, added FROM swatch_set
    UNION ALL SELECT 'struck', swatch || ' ' || coalesce(recipe, ''), struck FROM kept_reading
        WHERE struck IS NOT NULL
    UNION ALL SELECT 'done', at, what FROM event
