from distributed import Client
from joblib import Parallel, delayed

import dyemix

dyes, colours = dyemix.load("dyes.json"), ["#7d8a6e", "#303030"]
here = dyemix.match_many(dyes, colours, max_dyes=2)
assert Parallel(n_jobs=2)(delayed(dyemix.match)(dyes, c, max_dyes=2) for c in colours) == list(here)
with Client(processes=False, dashboard_address=None) as client:
    assert dyemix.match_many(dyes, colours, max_dyes=2, executor=client.get_executor()) == here
