import dyemix

dyes = dyemix.load("dyes.json")
found = dyemix.match(dyes, "#303030", max_dyes=2, avoid="black", total=1.5)
assert all(len(item.recipe) <= 2 and item.recipe.total <= 1.5 for item in found)
assert not any("black" in item.recipe for item in found)
frame = found.to_frame()
assert list(frame["residual"]) == [item.residual for item in found]
