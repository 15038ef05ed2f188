"""Reads and writes runs of bits by Python's int.from_bytes, as an independent reference.

Each line of the input: frame (hex), start, bits, order, signed (0 or 1), value to write. Each line of the output: what the
bits hold, and the frame after the value was written.
"""
import sys

for line in open(sys.argv[1]):
    text, start, bits, order, signed, value = line.split()
    frame = bytes.fromhex(text)
    start, bits, mask = int(start), int(bits), (1 << int(bits)) - 1
    whole = int.from_bytes(frame, order)
    if order == "little":
        shift = start
    else:  # the most significant bit of the frame, taken as one number, is bit 7
        shift = 8 * len(frame) - (start // 8 * 8 + 7 - start % 8) - bits
    held = whole >> shift & mask
    if signed == "1" and held >> (bits - 1):
        held -= 1 << bits
    after = whole & ~(mask << shift) | (int(value) & mask) << shift
    print(held, after.to_bytes(len(frame), order).hex())
