"""Answers questions about exact tests with SciPy: a list of JSON objects on standard
input, a list of numbers on standard output."""
import json
import sys

import numpy as np
from scipy import stats


def answer(q):
    if q["kind"] == "fisher":
        return stats.fisher_exact(q["table"])[1]
    if q["kind"] == "mann-whitney":
        return stats.mannwhitneyu(q["x"], q["y"], method="exact", alternative="two-sided").pvalue
    if q["kind"] == "means":
        def difference(x, y, axis):
            return np.abs(np.mean(x, axis=axis) - np.mean(y, axis=axis))
        return stats.permutation_test((q["x"], q["y"]), difference, vectorized=True, n_resamples=np.inf, alternative="greater").pvalue
    if q["kind"] == "spearman":
        def correlation(x):
            return np.abs(stats.spearmanr(x, q["y"]).statistic)
        return stats.permutation_test((q["x"],), correlation, permutation_type="pairings", n_resamples=np.inf, alternative="greater").pvalue
    if q["kind"] == "wilson":
        return stats.binomtest(q["k"], q["n"]).proportion_ci(method="wilson").high
    raise ValueError(q["kind"])


json.dump([float(answer(q)) for q in json.load(sys.stdin)], sys.stdout)
