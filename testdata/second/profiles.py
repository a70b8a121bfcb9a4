"""ICC profiles, the built-in ones too."""

import hashlib
import os
import struct
from fractions import Fraction

import numpy as np

import curves
import exact
import tables

D50 = tuple(Fraction(v, 65536) for v in (63190, 65536, 54061))


class Profile:
    """An ICC profile, from its bytes."""

    def __init__(self, data, name=""):
        self.data, self.name = data, name
        self.digest = hashlib.sha256(data).hexdigest()
        self.kind, self.space, self.pcs = data[12:16], data[16:20], data[20:24]
        self.version = data[8]
        self.tags = {}
        for i in range(struct.unpack_from(">I", data, 128)[0]):
            tag, at, size = struct.unpack_from(">4sII", data, 132 + 12 * i)
            self.tags[tag.decode()] = data[at:at + size]
        self.channels = 1 if self.space == b"GRAY" else 3
        self.has_curves = "kTRC" in self.tags or "rTRC" in self.tags and "rXYZ" in self.tags

    @property
    def curves(self):
        if not self.has_curves:
            return [grey_curve(self)] * self.channels
        names = ["kTRC"] if self.channels == 1 else ["rTRC", "gTRC", "bTRC"]
        return [curves.curve(curves.strip_curve(self.tags[n])) for n in names]

    def xyz(self, tag):
        return [curves.s15(self.tags[tag], 8 + 4 * i) for i in range(3)]

    @property
    def luma64(self):
        return [exact.to64(v) for v in self.luma]

    @property
    def colorants(self):
        """The matrix from light to XYZ, three rows of fractions."""
        columns = [self.xyz(t) for t in ("rXYZ", "gXYZ", "bXYZ")]
        return [[columns[k][i] for k in range(3)] for i in range(3)]

    @property
    def white(self):
        """The white that the colorants sum to; of grey the connection space's."""
        if self.channels == 1:
            return list(D50)
        return [sum(row) for row in self.colorants]

    @property
    def luma(self):
        """The shares of the channels in luminance, fractions."""
        if self.channels == 1:
            return [Fraction(1), Fraction(0), Fraction(0)]
        if not self.has_curves:
            return table_luma(self)
        row = self.colorants[1]
        return [v / sum(row) for v in row]

    def decode(self, samples):
        """Light, float64, of samples (h x w x c)."""
        return np.stack([c.decode[samples[:, :, k]] for k, c in enumerate(self.curves)], axis=2)

    def decode32(self, samples):
        return self.decode(samples).astype(np.float32)

    def encode(self, light):
        """Samples of light, float64 (h x w x c)."""
        return np.stack([c.encode(light[:, :, k]) for k, c in enumerate(self.curves)], axis=2)


def luminance(profile, codes):
    """What a profile of tables gives for codes (1 x n x c)."""
    tag = "relative" if "A2B1" in profile.tags else "saturation"
    t = tables.table(profile, "A2B", tag)
    v = t.forward(codes)
    if t.pcs == b"XYZ ":
        return t.to_xyz(v)[1][0]
    return exact.lab_inverse((t.to_lab(v)[0][0] + 16) / 116)


def grey_curve(profile):
    """The one curve of a profile of tables alone: the luminance of its greys."""
    if profile.digest not in curves.CURVES:
        codes = np.arange(1025) * (65535 / 1024)
        y = luminance(profile, np.repeat(codes[None, :, None], profile.channels, axis=2))
        c = curves.Curve.__new__(curves.Curve)
        c.read_table(np.maximum.accumulate(exact.round_samples(65535 * y)))
        curves.CURVES[profile.digest] = c
    return curves.CURVES[profile.digest]


def table_luma(profile):
    """The weights of red, green and blue of a profile of tables alone."""
    codes = np.zeros((1, 4, 3))
    for k in range(3):
        codes[0, k + 1, k] = 65535
    y = luminance(profile, codes)
    w = np.maximum(y[1:] - y[0], 0.0)
    return [Fraction(float(v)) for v in w / ((w[0] + w[1]) + w[2])]


class Raw:
    """Bytes that stand in a file as its profile."""

    def __init__(self, data):
        self.data, self.digest, self.name = data, hashlib.sha256(data).hexdigest(), "-"


SPACES = ("sRGB", "opRGB", "ROMM-RGB", "Display-P3", "grey-2.2")
FROZEN = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "frozen")
if not os.path.isdir(FROZEN):  # in a package
    FROZEN = os.path.join(os.path.dirname(FROZEN), "vectors")
KNOWN = {}


def remember(profile):
    """Makes a profile known by its digest and its name."""
    KNOWN[profile.digest] = profile
    if profile.name:
        KNOWN[profile.name] = profile
    return profile


def known(name):
    """The profile of a name or of a digest; those of the frozen vectors are known from the start."""
    if "sRGB" not in KNOWN:
        with open(os.path.join(FROZEN, "table-profiles-1.txt")) as f:
            for line in f:
                words = line.split()
                if len(words) == 2 and not line.startswith("#"):
                    remember(Profile(bytes.fromhex(words[1]), words[0]))
    return KNOWN[name]


def built_in(name):
    """The profile of a built-in space."""
    return known(name)
