-- Readings may be bounds: channels that a picture clipped.
ALTER TABLE reading ADD COLUMN clipped TEXT
