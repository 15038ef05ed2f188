"""Prints, for each line "good trials confidence share" of a file: the lower one-sided bound of Clopper and Pearson, both
two-sided ones, and the least rank whose value bounds that share with that confidence (0: none), by SciPy's beta and
binomial distributions."""
import sys

from scipy.stats import beta, binom


def lower(good, trials, confidence):
    return beta.ppf(1 - confidence, good, trials - good + 1) if good else 0.0


for line in open(sys.argv[1]):
    good, trials, confidence, share = (float(word) for word in line.split())
    good, trials, half = int(good), int(trials), (1 + confidence) / 2
    high = beta.ppf(half, good + 1, trials - good) if good < trials else 1.0
    ranks = [r for r in range(1, trials + 1) if binom.cdf(r - 1, trials, share) >= confidence]
    print(lower(good, trials, confidence), lower(good, trials, half), high, min(ranks, default=0))
