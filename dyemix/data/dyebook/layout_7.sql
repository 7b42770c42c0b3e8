-- Layout 7: of a mottled piece blocks are kept by depth, where layout 6 kept means and spreads.
UPDATE piece SET content = json_set(content, '$.mottle', NULL)
WHERE CASE WHEN json_valid(content) THEN json_type(content, '$.mottle.amounts') IS NULL END
