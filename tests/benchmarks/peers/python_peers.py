"""Times surpyval or lifelines on rows left,right in a file; -1 is infinity. Prints JSON. Runs outside the project."""

import json
import sys
import time
from importlib.metadata import version

import numpy as np


def surpyval(left, right):
    from surpyval import Turnbull

    found = Turnbull.fit(xl=left, xr=right, turnbull_estimator="Kaplan-Meier")
    return np.asarray(found.x), 1 - np.asarray(found.R)


def lifelines(left, right):
    from lifelines import KaplanMeierFitter

    found = KaplanMeierFitter().fit_interval_censoring(left, right)
    survival = found.survival_function_
    return survival.index.to_numpy(), 1 - survival.iloc[:, -1].to_numpy()


def main():
    name, task, path, runs = sys.argv[1:]
    rows = np.loadtxt(path, delimiter=",")
    rows[rows == -1] = np.inf
    samples = [rows] * int(runs) if task == "fit" else [rows[rows[:, 0] == one, 1:] for one in np.unique(rows[:, 0])]
    fit, seconds = {"surpyval": surpyval, "lifelines": lifelines}[name], []
    fit(*samples[0].T)  # once to warm up
    for sample in samples:
        left, right = np.ascontiguousarray(sample.T)
        begin = time.perf_counter()
        end, share = fit(left, right)
        seconds.append(time.perf_counter() - begin)
    end = np.where(np.isinf(end), 1e300, end)
    said = {"program": f"{name} {version(name)}", "seconds": seconds, "end": end.tolist(), "share": share.tolist()}
    print(json.dumps(said))


main()
