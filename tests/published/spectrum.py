"""Reads samples of two signals, one at each step of time; prints lines of their spectra by NumPy's fft, then the complex
fit of output over input by its least squares. First line: step (s), frequency (Hz), delay (s), first and last line."""
import sys

import numpy

with open(sys.argv[1]) as file:
    step, frequency, delay, first, last = map(float, file.readline().split())
    x, y = (numpy.array(file.readline().split(), dtype=float) for _ in range(2))
lines = numpy.arange(int(first), int(last) + 1)
f = lines / (len(x) * step)
X, Y = numpy.fft.rfft(x)[lines] * step, numpy.fft.rfft(y)[lines] * step
for a, b in zip(X, Y):
    print(repr(a.real), repr(a.imag), repr(b.real), repr(b.imag))
turned = X * numpy.exp(-2j * numpy.pi * f * delay)
d = f / frequency - 1
(a, _, _), residue, _, _ = numpy.linalg.lstsq(numpy.column_stack([turned, d * turned, d**2 * turned]), Y, rcond=None)
value = a * numpy.exp(-2j * numpy.pi * frequency * delay)
coherence = 1 - residue[0] / (len(f) - 3) / numpy.mean(numpy.abs(Y) ** 2)
print(repr(value.real), repr(value.imag), repr(float(coherence)), 0)
