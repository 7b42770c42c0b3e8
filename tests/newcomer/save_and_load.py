import pickle

import dyemix

dyes = dyemix.load("dyes.json")
dyemix.save(dyes.take(["navy", "rust"]), "two.json")
two = dyemix.load("two.json")
assert two == dyes.take(["navy", "rust"]) == pickle.loads(pickle.dumps(two))
assert dyemix.Target.parse("#7d8a6e") == pickle.loads(pickle.dumps(dyemix.Target.parse("#7d8a6e")))
