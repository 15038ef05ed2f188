"""Reads DIR/capture.h5 with h5py and compares it with DIR/expected.txt: name, t_ns, bits of the value, stamp_by, uncertainty."""
import collections
import os
import sys

import h5py
import numpy

folder = sys.argv[1]
expected = collections.defaultdict(list)
with open(os.path.join(folder, "expected.txt")) as lines:
    for line in lines:
        name, t, bits, by, uncertainty = line.split()
        expected[name].append((int(t), int(bits, 16), int(by), int(uncertainty)))
assert len(expected) == 4

with h5py.File(os.path.join(folder, "capture.h5"), "r") as run:
    assert run.attrs["format"].decode() == "trackrod archive", run.attrs["format"]
    assert run.attrs["format_version"] == 2
    assert sorted(run["signals"]) == sorted(expected)
    for name, rows in expected.items():
        group = run["signals"][name]
        t, value = group["t_ns"], group["value"]
        assert t.dtype == numpy.int64 and value.dtype == numpy.float64
        assert t.chunks == (16384,) and t.shuffle and t.fletcher32 and t.compression == "gzip" and t.compression_opts == 1
        # A row that was never written is no value, at no time.
        assert numpy.isnan(value.fillvalue) and t.fillvalue == -(2**63)
        assert t[:].tolist() == [r[0] for r in rows], name
        assert value[:].view(numpy.uint64).tolist() == [r[1] for r in rows], name
        assert group["stamp_by"][:].tolist() == [r[2] for r in rows], name
        assert group["stamp_uncertainty_ns"][:].tolist() == [r[3] for r in rows], name
        assert group.attrs["name"].decode() == name
    angle = run["signals/hand.angle"].attrs
    assert angle["unit"].decode() == "deg" and angle["direction"].decode() == "read" and angle["bench_owned"] == 1
    assert angle["location"].decode() == "hand wheel rim" and angle["positive"].decode() == "left turn"
    assert angle["device"].decode() == "bench_io" and angle["delay_ns"] == 1250000 and angle["resolution"] == 0.01
    assert angle["calibration_gain"] == 1.0002 and angle["calibration_offset"] == -0.015
    assert angle["calibration_standard_uncertainty"] == 0.02 and angle["calibration_certificate"].decode() == "C-0417"
    assert angle["calibration_date"].decode() == "2026-05-04" and angle["calibration_due"].decode() == "2027-05-04"
    assert run["signals/hand.setpoint"].attrs["direction"].decode() == "drive"
    assert run["ticks/number"][:].tolist() == list(range(20000))
    assert run["ticks/due_ns"][0] == 5000000000
    assert [s.decode() for s in run["events/name"]] == ["step_started", "step_ended", "tripped"]
    assert run["spans/step"][0].decode() == "sweep" and run["spans/cycle"][0] == 1 and run["spans/complete"][0] == 1
    assert run["gaps/why"][0].decode() == "the ring was full" and run["gaps/count"][0] == 42
    assert run["notes/text"][0].decode() == 'code 113, "größer als erlaubt"'

# Rows beyond what was written, as a full disk may leave them, read as NaN and never as zero.
with h5py.File(os.path.join(folder, "capture.h5"), "a") as run:
    value = run["signals/hand.angle/value"]
    written = len(value)
    value.resize((written + 40000,))
    assert numpy.isnan(value[written:]).all()
