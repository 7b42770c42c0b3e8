-- Layout 3: bath sheets hold how they are dyed, and the settings they rest on, each in one place.
-- One that is damaged is told when it is read. The arrow keeps a number as it was written.
UPDATE sheet SET content = json_remove(
    json_set(content,
        '$.method', json_object(
            'liquor_ratio', content -> '$.liquor_ratio', 'alkali', content -> '$.soda.order',
            'salt', content -> '$.salt.g_l', 'temperature', content -> '$.temperature_c',
            'hours', content -> '$.hours'),
        '$.settings', json_patch(json_patch(json_patch(json_patch(
            json_object(
                'tolerance', content -> '$.tolerance', 'soda_share', content -> '$.soda_share',
                'alkali_after', content -> '$.alkali_after_h',
                'soak_temperature', content -> '$.soak_c',
                'units', content -> '$.units', 'spoons', content -> '$.spoons',
                'salt_stock', content -> '$.salt.stock_pct',
                'low_water_below', CASE WHEN content ->> '$.low_water'
                    THEN max(10.0, 1.001 * (content ->> '$.liquor_ratio'))
                    ELSE min(10.0, content ->> '$.liquor_ratio') END,
                'low_water', CASE WHEN content ->> '$.low_water'
                    THEN content ->> '$.liquor_ratio'
                    ELSE min(5.0, content ->> '$.liquor_ratio') END,
                'depths', json_array(json_array(
                    1.0, content -> '$.salt.g_l', content -> '$.soda.wanted_g_l'))),
            CASE WHEN content ->> '$.soda.solution_g_l' IS NULL THEN '{}'
                WHEN content ->> '$.low_water' OR content ->> '$.soda.order' = 'presoak'
                THEN json_object('soda_solution', content -> '$.soda.solution_g_l')
                ELSE json_object('soda_stock', (content ->> '$.soda.solution_g_l') / 10.0) END),
            CASE WHEN content ->> '$.soda.crystals_g'
                THEN json_object('crystals',
                    (content ->> '$.soda.crystals_g') / (content ->> '$.soda.g'))
                ELSE '{}' END),
            CASE WHEN content ->> '$.slow_dye' <> ''
                THEN json_object('slow_dyes',
                    json_object(content ->> '$.slow_dye', content -> '$.slow_factor'))
                ELSE '{}' END),
            CASE WHEN content ->> '$.cost.currency' IS NULL THEN '{}'
                ELSE json_object('currency', content -> '$.cost.currency') END),
        '$.doses', (SELECT json_group_array(json_remove(
                value, '$.actual_pct', '$.day', '$.life_days', '$.past_life'))
            FROM json_each(content, '$.doses'))),
    '$.liquor_ratio', '$.low_water', '$.temperature_c', '$.warm_temperature_c', '$.hours',
    '$.slow_factor', '$.slow_dye', '$.tolerance', '$.soda_share', '$.alkali_after_h', '$.soak_c',
    '$.units', '$.spoons', '$.soda.order', '$.soda.wanted_g_l', '$.soda.crystals_g',
    '$.cost.currency')
WHERE json_valid(content);

UPDATE sheet SET content = json_remove(
    CASE WHEN content ->> '$.salt.stock_pct' IS NULL
        THEN json_set(content, '$.salt.solution_ml', NULL)
        ELSE json_set(content, '$.salt.solution_g_l', 10.0 * (content ->> '$.salt.stock_pct'),
            '$.salt.into_bath_ml', content -> '$.salt.solution_ml') END,
    '$.salt.stock_pct')
WHERE json_valid(content)
