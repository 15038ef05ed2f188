"""Reads x and y, a line each; prints change, standard uncertainty, 95 % interval and memory of a straight line whose
departures are a first-order autoregression, by dense matrices and SciPy's Student distribution, averaged over memories by
their restricted likelihood."""
import sys

import numpy
from scipy.optimize import brentq
from scipy.stats import t as student

with open(sys.argv[1]) as file:
    x, y = (numpy.array(line.split(), dtype=float) for line in file)
n = len(x)
length = x[-1] - x[0]
X = numpy.column_stack([numpy.ones(n), (x - 0.5 * (x[-1] + x[0])) / length])
memories = -0.6 + 1.59 * (numpy.arange(120) + 0.5) / 120
logs, changes, us = [], [], []
for memory in memories:
    distance = numpy.abs(x[:, None] - x[None, :])
    V = numpy.sign(memory) ** distance * numpy.abs(memory) ** distance if memory < 0 else memory**distance
    W = numpy.linalg.inv(V)
    N = X.T @ W @ X
    b = numpy.linalg.solve(N, X.T @ W @ y)
    r = y - X @ b
    squares = r @ W @ r
    logs.append(-0.5 * numpy.linalg.slogdet(V)[1] - 0.5 * numpy.linalg.slogdet(N)[1] - 0.5 * (n - 2) * numpy.log(squares))
    changes.append(b[1])
    us.append(numpy.sqrt(squares / (n - 2) * numpy.linalg.inv(N)[1, 1]))
logs, changes, us = map(numpy.array, (logs, changes, us))
w = numpy.exp(logs - logs.max())
w /= w.sum()
mean = w @ changes
u = numpy.sqrt(w @ (us**2 + (changes - mean) ** 2))


def quantile(p):
    return brentq(lambda c: w @ student.cdf((c - changes) / us, n - 2) - p, mean - 200 * u, mean + 200 * u)


for value in (mean, u, quantile(0.025), quantile(0.975), w @ memories):
    print(repr(float(value)))
