-- Layout 3: bath sheets hold how they are dyed, and the settings they rest on, each in one place.
-- One that is damaged is told when it is read.
UPDATE sheet SET content = json_remove(
    json_set(content,
        '$.method', json_object(
            'liquor_ratio', json_extract(content, '$.liquor_ratio'),
            'alkali', json_extract(content, '$.soda.order'),
            'salt', json_extract(content, '$.salt.g_l'),
            'temperature', json_extract(content, '$.temperature_c'),
            'hours', json_extract(content, '$.hours')),
        '$.settings', json_patch(json_patch(json_patch(json_patch(
            json_object(
                'tolerance', json_extract(content, '$.tolerance'),
                'soda_share', json_extract(content, '$.soda_share'),
                'alkali_after', json_extract(content, '$.alkali_after_h'),
                'soak_temperature', json_extract(content, '$.soak_c'),
                'units', json_extract(content, '$.units'),
                'spoons', json_extract(content, '$.spoons'),
                'salt_stock', json_extract(content, '$.salt.stock_pct'),
                'low_water_below', CASE WHEN json_extract(content, '$.low_water')
                    THEN max(10.0, 1.001 * json_extract(content, '$.liquor_ratio'))
                    ELSE min(10.0, json_extract(content, '$.liquor_ratio')) END,
                'low_water', CASE WHEN json_extract(content, '$.low_water')
                    THEN json_extract(content, '$.liquor_ratio')
                    ELSE min(5.0, json_extract(content, '$.liquor_ratio')) END,
                'depths', json_array(json_array(
                    1.0, json_extract(content, '$.salt.g_l'),
                    json_extract(content, '$.soda.wanted_g_l')))),
            CASE WHEN json_extract(content, '$.soda.solution_g_l') IS NULL THEN '{}'
                WHEN json_extract(content, '$.low_water')
                     OR json_extract(content, '$.soda.order') = 'presoak'
                THEN json_object('soda_solution', json_extract(content, '$.soda.solution_g_l'))
                ELSE json_object('soda_stock',
                    json_extract(content, '$.soda.solution_g_l') / 10.0) END),
            CASE WHEN json_extract(content, '$.soda.crystals_g')
                THEN json_object('crystals',
                    json_extract(content, '$.soda.crystals_g') / json_extract(content, '$.soda.g'))
                ELSE '{}' END),
            CASE WHEN json_extract(content, '$.slow_dye') <> ''
                THEN json_object('slow_dyes',
                    json_object(json_extract(content, '$.slow_dye'),
                    json_extract(content, '$.slow_factor')))
                ELSE '{}' END),
            CASE WHEN json_extract(content, '$.cost.currency') IS NULL THEN '{}'
                ELSE json_object('currency', json_extract(content, '$.cost.currency')) END),
        '$.doses', (SELECT json_group_array(json_remove(
                value, '$.actual_pct', '$.day', '$.life_days', '$.past_life'))
            FROM json_each(content, '$.doses'))),
    '$.liquor_ratio', '$.low_water', '$.temperature_c', '$.warm_temperature_c', '$.hours',
    '$.slow_factor', '$.slow_dye', '$.tolerance', '$.soda_share', '$.alkali_after_h', '$.soak_c',
    '$.units', '$.spoons', '$.soda.order', '$.soda.wanted_g_l', '$.soda.crystals_g',
    '$.cost.currency')
WHERE json_valid(content);

UPDATE sheet SET content = json_remove(
    CASE WHEN json_extract(content, '$.salt.stock_pct') IS NULL
        THEN json_set(content, '$.salt.solution_ml', NULL)
        ELSE json_set(content, '$.salt.solution_g_l', 10.0 *
        json_extract(content, '$.salt.stock_pct'),
            '$.salt.into_bath_ml', json_extract(content, '$.salt.solution_ml')) END,
    '$.salt.stock_pct')
WHERE json_valid(content)
