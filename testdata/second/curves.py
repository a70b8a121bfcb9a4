"""Curves of profiles: light of codes and codes of light."""

import struct
from fractions import Fraction

import numpy as np

import exact


def s15(data, at):
    """An s15Fixed16Number."""
    return Fraction(struct.unpack_from(">i", data, at)[0], 65536)


NUMBERS_OF_FORMULA = (1, 3, 4, 5, 7)


def formula(kind, p):
    """The numbers g a b c d e f of a parametric curve of kind 0 to 4."""
    zero, one = Fraction(0), Fraction(1)
    if kind == 0:
        return p[0], one, zero, zero, zero, zero, zero
    g, a, b = p[:3]
    if kind == 1:
        return g, a, b, zero, -b / a, zero, zero
    if kind == 2:
        return g, a, b, zero, -b / a, p[3], p[3]
    return g, a, b, p[3], p[4], p[5] if kind == 4 else zero, p[6] if kind == 4 else zero


class Curve:
    """A tone curve: light (0 to 1) of each code, and the thresholds between codes."""

    def __init__(self, data):
        self.key = data
        kind = data[:4]
        if kind == b"curv":
            n = struct.unpack_from(">I", data, 8)[0]
            if n == 0:
                self.read_table([0, 65535])
            elif n == 1:
                self.read_formula(0, [Fraction(struct.unpack_from(">H", data, 12)[0], 256)])
            else:
                self.read_table(struct.unpack_from(">%dH" % n, data, 12))
        elif kind == b"para":
            f = struct.unpack_from(">H", data, 8)[0]
            self.read_formula(f, [s15(data, 12 + 4 * i) for i in range(NUMBERS_OF_FORMULA[f])])
        else:
            raise ValueError("a curve of an unknown kind")

    def read_table(self, entries):
        e = np.array(entries, np.int64)
        n = len(e)

        def at(c2):                             # c2 is twice the code
            place = c2 * (n - 1)
            i = np.minimum(place // 131070, n - 2)
            f = place - i * 131070
            return (e[i] * (131070 - f) + e[i + 1] * f) / (131070 * 65535)
        self.set(at(np.arange(131071)))

    def read_formula(self, kind, p):
        g, a, b, c, d, e, f = formula(kind, p)

        def at(c2):
            x = exact.dd_div(exact.dd(c2.astype(np.float64)), exact.dd(131070))
            base = exact.dd_add(exact.dd_mul(x, exact.dd(a)), exact.dd(b))
            high = exact.dd_add(exact.dd_pow(base, g), exact.dd(e))[0]
            low = exact.dd_add(exact.dd_mul(x, exact.dd(c)), exact.dd(f))[0]
            above = c2 * d.denominator >= 131070 * d.numerator
            return np.clip(np.where(above, high, low), 0.0, 1.0)
        self.set(at(np.arange(131071)))

    def set(self, y):
        """Sets the light of the codes, and of the places half-way between them; it never falls."""
        y = np.maximum.accumulate(y)
        self.decode, self.thresholds = y[::2].copy(), y[1::2].copy()

    def encode(self, light):
        light = np.where(np.isnan(light), 0.0, light)
        return np.searchsorted(self.thresholds, light, side="right").astype(np.uint16)


CURVES = {}


def curve(data):
    """The curve of a tag's bytes, worked out once."""
    if data not in CURVES:
        CURVES[data] = Curve(data)
    return CURVES[data]


def strip_curve(data):
    """A curve's bytes without padding behind them."""
    if data[:4] == b"curv":
        return data[:12 + 2 * struct.unpack_from(">I", data, 8)[0]]
    return data[:12 + 4 * (1, 3, 4, 5, 7)[struct.unpack_from(">H", data, 8)[0]]]
