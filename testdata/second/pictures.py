"""Pictures, the patterns of the vectors, and digests of pictures."""

import hashlib
import struct

import numpy as np


class Picture:
    """Samples of 16 bits (height x width x channels) in the space of a profile."""

    def __init__(self, samples, profile=None):
        self.samples = samples if samples.ndim == 3 else samples[:, :, None]
        self.profile = profile

    @property
    def height(self):
        return self.samples.shape[0]

    @property
    def width(self):
        return self.samples.shape[1]

    @property
    def channels(self):
        return self.samples.shape[2]

    def digest(self):
        """The picture digest, in hexadecimal."""
        rows = row_fingerprints(self.samples)
        profile = self.profile.digest if self.profile else "0" * 64
        h = hashlib.sha256(struct.pack("<III", self.width, self.height, self.channels))
        h.update(bytes.fromhex(profile))
        for band in bands(rows):
            h.update(band)
        return h.hexdigest()


def bands(rows):
    """The digests of bands of 256 rows' fingerprints."""
    return [hashlib.sha256(rows[i:i + 256].astype("<u4").tobytes()).digest()
            for i in range(0, len(rows), 256)]


def crc_table():
    table = []
    for n in range(256):
        for _ in range(8):
            n = n >> 1 ^ (0x82F63B78 if n & 1 else 0)
        table.append(n)
    return np.array(table, np.uint32)


CRC32C = crc_table()


def row_fingerprints(samples):
    """The CRC-32C (RFC 3720, B.4) of each row's samples, little-endian."""
    data = np.ascontiguousarray(samples.reshape(samples.shape[0], -1).astype("<u2")).view(np.uint8)
    crc = np.full(samples.shape[0], 0xFFFFFFFF, np.uint32)
    for column in data.T:
        crc = crc >> 8 ^ CRC32C[(crc ^ column) & 0xFF]
    return crc ^ np.uint32(0xFFFFFFFF)


GOLDEN = 0x9E3779B97F4A7C15


def splitmix(states):
    """What splitmix64 makes of states that have been stepped on already."""
    z = np.asarray(states, np.uint64)
    z = (z ^ z >> np.uint64(30)) * np.uint64(0xBF58476D1CE4E5B9)
    z = (z ^ z >> np.uint64(27)) * np.uint64(0x94D049BB133111EB)
    return z ^ z >> np.uint64(31)


def pattern_values(name, w, h, c):
    """The 8-bit values of a pattern, h x w x c, before they are held to 8 bits."""
    n = w * h * c
    seed = np.uint64(131 * w + 17 * h + c)
    draws = splitmix(seed + np.arange(1, n + 1, dtype=np.uint64) * np.uint64(GOLDEN)).reshape(h, w, c)
    y, x, k = np.meshgrid(np.arange(h), np.arange(w), np.arange(c), indexing="ij")
    if name == "noise":
        return (draws % np.uint64(256)).astype(int)
    if name == "smooth":
        return ((3 * x + 2 * y * (k + 1)) // 2 + (draws % np.uint64(3)).astype(int)) % 256
    if name == "edges":
        return ((x // 5 + y // 7 + k) % 2 * 200 + 20 + (draws % np.uint64(8)).astype(int)) % 256
    if name == "calm":
        calm = (np.abs(x - w // 2) < 14) & (np.abs(y - h // 2) < 14)
        return np.where(calm, 120 + (draws % np.uint64(3)).astype(int), (draws % np.uint64(256)).astype(int))
    if name == "extreme":
        return (draws % np.uint64(2)).astype(int) * 255
    if name == "flat":
        return (90 + 60 * k) % 256
    raise ValueError("no pattern " + name)


def pattern(name, bits, w, h, c):
    """A pattern of the vectors as samples of 16 bits."""
    n = w * h * c
    i = np.arange(n).reshape(h, w, c)
    y, x, k = np.meshgrid(np.arange(h), np.arange(w), np.arange(c), indexing="ij")
    if name == "ramp":
        out = 65535 * i // max(n - 1, 1)
    elif name == "impulse":
        out = 65535 * ((x == w // 2) & (y == h // 2))
    elif name == "greys":
        out = 37 * (x + y * w) % 65536
    elif name == "step":
        out = 65535 * (2 * x >= w)
    elif name == "corners":
        out = np.array([0, 1, 32768, 65534, 65535])[(x + y * w) // 5 ** k % 5]
    else:
        v = pattern_values(name, w, h, c)
        out = 257 * v if bits == 8 else 40503 * i % 65536 ^ 257 * v // 8
    return out.astype(np.uint16)
