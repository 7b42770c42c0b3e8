import dyemix

dyes = dyemix.load("dyes.json")
quieter = dyemix.subdue(dyes, "scarlet 1.2 + marigold 0.6", steps=3, hue="CIELAB")
paler = dyemix.tint(dyes, "rose 2", steps=3)
assert set(quieter.to_frame()["step"]) == {1, 2, 3}
assert paler.to_frame()["L*"].is_monotonic_increasing
card = dyemix.shade_card(dyes, "lemon, navy", depth=1.0, parts=4).to_frame()
assert len(card) == 5
assert (card[["lemon", "navy"]].sum(axis=1).round(6) == 1).all()
