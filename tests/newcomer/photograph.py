import dyemix

photo = dyemix.read_photo("photo.jpg")
table = photo.swatches.to_frame()
assert len(table) == len(photo.swatches.readings)
assert (table["light"] == "D65/2°").all()
target = photo.target(table["name"][0])
assert dyemix.Target.of(target) == target
