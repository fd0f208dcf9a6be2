"""Writes WAV files with Python's wave module and with scipy, and says in JSON
what they hold, as scipy.io.wavfile reads them back where it can.

Usage: waves.py FOLDER. The samples are invented."""
import json
import math
import struct
import sys
import wave

import numpy
from scipy.io import wavfile

folder = sys.argv[1]
out = {}


def say(name, rate, bits, is_float, channels):
    out[name] = {"rate": rate, "bits": bits, "float": is_float, "channels": channels}


def with_wave(name, rate, width, frames):
    """frames: rows of integers, written by the standard library."""
    with wave.open(f"{folder}/{name}", "wb") as w:
        w.setnchannels(len(frames[0]))
        w.setsampwidth(width)
        w.setframerate(rate)
        w.writeframes(b"".join(int(v).to_bytes(width, "little", signed=True) for row in frames for v in row))
    read_rate, data = wavfile.read(f"{folder}/{name}")
    # scipy hands 24 bits out in the upper bytes of 32.
    data = numpy.asarray(data).reshape(len(frames), -1).astype(numpy.int64) >> (8 if width == 3 else 0)
    say(name, read_rate, 8 * width, False, data.T.tolist())


def rows(peak):
    return [[round(peak * math.sin(i / 7)), peak if i == 3 else -peak - 1 if i == 4 else i] for i in range(50)]


with_wave("pcm16.wav", 20000, 2, rows(2**15 - 1))
with_wave("pcm24.wav", 48000, 3, rows(2**23 - 1))
with_wave("pcm32.wav", 96000, 4, rows(2**31 - 1))
with_wave("odd.wav", 44100, 3, [[1], [-1], [2**23 - 1]])  # a chunk of odd length

for name, kind, bits in (("float32.wav", numpy.float32, 32), ("float64.wav", numpy.float64, 64)):
    data = numpy.array([[math.cos(i / 5) * 100, -1e-6 * i, 1 / 3] for i in range(40)], dtype=kind)
    wavfile.write(f"{folder}/{name}", 25000, data)
    rate, back = wavfile.read(f"{folder}/{name}")
    say(name, rate, bits, True, back.astype(numpy.float64).T.tolist())


# The extensible form, put together by hand: 24 valid bits in containers of 32,
# left-justified, behind a chunk of text.
def chunk(kind, body):
    return kind + struct.pack("<I", len(body)) + body + b"\0" * (len(body) % 2)


guid = struct.pack("<H", 1) + bytes.fromhex("000000001000800000aa00389b71")
counts = [[5, -5, 2**23 - 1, -(2**23), 0], [1, 2, 3, 4, -6]]
form = struct.pack("<HHIIHHHHI", 0xFFFE, 2, 20000, 20000 * 8, 8, 32, 22, 24, 3) + guid
data = b"".join(struct.pack("<i", c[i] << 8) for i in range(5) for c in counts)
body = b"WAVE" + chunk(b"LIST", b"INFOodd") + chunk(b"fmt ", form) + chunk(b"data", data) + chunk(b"note", b"x")
with open(f"{folder}/extensible.wav", "wb") as f:
    f.write(b"RIFF" + struct.pack("<I", len(body)) + body)
rate, back = wavfile.read(f"{folder}/extensible.wav")
assert (numpy.asarray(back).T >> 8).tolist() == counts, back
say("extensible.wav", rate, 24, False, counts)

json.dump(out, sys.stdout)
