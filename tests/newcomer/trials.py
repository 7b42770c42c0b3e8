import dyemix

dyes = dyemix.load("dyes.json")
read = dyemix.Reading.from_lab([52.1, -8.0, 14.0], "D65/10", "marigold 0.42 + navy 0.22")
target = dyemix.Target.parse("56 -10 13 D65/10")
trial = dyemix.Trial(dyemix.Recipe.parse("marigold 0.42 + navy 0.22"), read, target)
learnt = dyemix.learn(dyes, [trial])
assert learnt.to_frame()["after"][0] >= 0
advice = dyemix.correct(learnt.dyes, trial)
assert next(iter(advice.to_frame()["choice"])) == "the same recipe again"
