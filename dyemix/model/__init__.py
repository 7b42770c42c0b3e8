"""From depths of dye to reflectance, and how sure that is."""
