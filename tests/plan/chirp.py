"""Prints chirps by SciPy: arguments are start and end frequency (Hz), length (s), law, then times (s)."""
import sys

from scipy.signal import chirp

start, end, length, law = float(sys.argv[1]), float(sys.argv[2]), float(sys.argv[3]), sys.argv[4]
for time in map(float, sys.argv[5:]):
    # SciPy begins with a cosine; 90 degrees later it is a sine.
    print(repr(float(chirp(time, start, length, end, method=law, phi=-90))))
