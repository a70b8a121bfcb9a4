"""Exact numbers: fractions, rounding, functions to more than 96 bits.

Two ways of being exact stand here. Single values (weights of a kernel, a
hue's cosine) are worked out with 50 decimal digits and rounded once. Whole
arrays (the curves of a profile, a picture's cube roots) are double-doubles:
pairs hi + lo of float64 arrays.
"""

from decimal import Decimal, getcontext
from fractions import Fraction
from functools import lru_cache

import numpy as np

getcontext().prec = 50

PI = Decimal("3.14159265358979323846264338327950288419716939937510582097494459")


def dec(x):
    """The decimal of a fraction, whole number, or decimal."""
    if isinstance(x, Fraction):
        return Decimal(x.numerator) / Decimal(x.denominator)
    return Decimal(x)


def to32(x):
    """The float32 nearest to a fraction or decimal, rounded once, ties to even."""
    x = Fraction(x)
    if x == 0:
        return np.float32(0)
    sign = -1 if x < 0 else 1
    x = abs(x)
    e = x.numerator.bit_length() - x.denominator.bit_length()
    if Fraction(2) ** e > x:
        e -= 1
    unit = Fraction(2) ** (max(e, -126) - 23)
    value = float(round(x / unit) * unit)
    return np.float32(sign * (value if value < 2.0 ** 128 else np.inf))


def to64(x):
    """The float64 nearest to a fraction or decimal, rounded once."""
    x = Fraction(x)
    return x.numerator / x.denominator


def half_up(x):
    """floor(x + 1/2) of a fraction."""
    return (2 * x.numerator + x.denominator) // (2 * x.denominator) if isinstance(x, Fraction) else x


@lru_cache(maxsize=None)
def sin_pi(x):
    """sin(pi x) of a fraction."""
    x = Fraction(x) % 2
    if x >= 1:
        return -sin_pi(x - 1)
    if x > Fraction(1, 2):
        x = 1 - x
    a = PI * dec(x)
    term, total, k = a, a, 1
    while abs(term) > Decimal(10) ** -55:
        term = -term * a * a / ((k + 1) * (k + 2))
        total += term
        k += 2
    return total


def cos_pi(x):
    """cos(pi x) of a fraction."""
    return sin_pi(Fraction(x) + Fraction(1, 2))


def exp(x):
    """e to the power of a fraction."""
    return dec(x).exp()


def power(x, y):
    """x to the power of y, fractions, x at least 0."""
    if x == 0:
        return Decimal(0)
    return (dec(y) * dec(x).ln()).exp()


def cube_root(x):
    """The cube root of a fraction."""
    if x == 0:
        return Decimal(0)
    if x < 0:
        return -cube_root(-x)
    return (dec(x).ln() / 3).exp()


def round_samples(x):
    """Samples of 16 bits from a float32 or float64 array: half up, held to 0 to 65535."""
    y = x + x.dtype.type(0.5)
    return np.clip(np.floor(np.where(y >= 1, y, 0)), 0, 65535).astype(np.uint16)


# Double-doubles (T. J. Dekker, Numerische Mathematik 18, 1971).

def two_sum(a, b):
    s = a + b
    t = s - a
    return s, (a - (s - t)) + (b - t)


def two_product(a, b):
    p = a * b
    split = 134217729.0
    t = split * a
    ah = t - (t - a)
    al = a - ah
    t = split * b
    bh = t - (t - b)
    bl = b - bh
    return p, ((ah * bh - p) + ah * bl + al * bh) + al * bl


def dd(x):
    """A fraction as a pair, or an array as one."""
    if isinstance(x, np.ndarray):
        return x, np.zeros_like(x)
    hi = to64(Fraction(x))
    return np.float64(hi), np.float64(to64(Fraction(x) - Fraction(hi)))


def dd_add(a, b):
    s, e = two_sum(a[0], b[0])
    t, f = two_sum(a[1], b[1])
    s, e = two_sum(s, e + t)
    return two_sum(s, e + f)


def dd_mul(a, b):
    p, e = two_product(a[0], b[0])
    return two_sum(p, e + (a[0] * b[1] + a[1] * b[0]))


def dd_div(a, b):
    q = a[0] / b[0]
    r = dd_add(a, dd_mul((-q, np.zeros_like(q)), b))
    q2 = r[0] / b[0]
    r = dd_add(r, dd_mul((-q2, np.zeros_like(q2)), b))
    q3 = r[0] / b[0]
    s, e = two_sum(q, q2)
    return two_sum(s, e + q3)


LN2 = dd(Fraction(Decimal(2).ln()))
TERMS = [dd(Fraction(1, n)) for n in range(1, 14)]


def dd_exp(x):
    """e to the power of a pair of arrays."""
    k = np.round(x[0] / LN2[0])
    r = dd_add(x, dd_mul((-k, np.zeros_like(k)), LN2))
    r = r[0] / 64, r[1] / 64
    s = np.zeros_like(k), np.zeros_like(k)      # e^r - 1
    for t in reversed(TERMS):
        one = dd_add(s, dd(1))
        s = dd_mul(dd_mul(r, t), one)
    for _ in range(6):                          # (1 + s)^2 - 1
        s = dd_add((2 * s[0], 2 * s[1]), dd_mul(s, s))
    s = dd_add(s, dd(1))
    f = np.ldexp(1.0, k.astype(int))
    return s[0] * f, s[1] * f


def dd_log(x):
    """The natural logarithm of a pair of arrays above 0: one step of Newton's."""
    y = np.log(x[0]), np.zeros_like(x[0])
    d = dd_add(dd_mul(x, dd_exp((-y[0], y[1]))), dd(-1))
    half = dd_mul(d, d)
    return dd_add(y, dd_add(d, (-half[0] / 2, -half[1] / 2)))


def dd_pow(x, y):
    """x to the power of y for a pair of arrays from 0 on and a fraction above 0."""
    zero = x[0] <= 0
    safe = np.where(zero, 1.0, x[0]), np.where(zero, 0.0, x[1])
    p = dd_exp(dd_mul(dd_log(safe), dd(y)))
    return np.where(zero, 0.0, p[0]), np.where(zero, 0.0, p[1])


# The roots of BYTES, step by step, float64 arrays.

ROOTS = []


def root_table():
    """Where the pieces from 2^-14 to 2 begin: the root there, and the slope to the next."""
    if not ROOTS:
        places = [Fraction(64 + i, 64) * Fraction(2) ** e for e in range(-14, 1) for i in range(64)] + [Fraction(2)]
        roots = [Fraction(cube_root(p)) for p in places]
        slopes = [to64((b - a) / (q - p)) for p, q, a, b in zip(places, places[1:], roots, roots[1:])]
        ROOTS.extend([np.array([to64(r) for r in roots[:-1]]), np.array(slopes)])
    return ROOTS


def root(x):
    """The cube root that tone and tint use."""
    at, slope = root_table()
    x = np.asarray(x, np.float64)
    sign = np.where(x < 0, -1.0, 1.0)
    x = np.abs(x)
    tiny = x < 2.0 ** -1000
    x = np.where(tiny | ~np.isfinite(x), 1.0, x)
    scale = np.ones_like(x)
    while (x < 2.0 ** -14).any() or (x >= 2).any():
        small, large = x < 2.0 ** -14, x >= 2
        x = np.where(small, x * 2.0 ** 12, np.where(large, x * 2.0 ** -12, x))
        scale = np.where(small, scale * 2.0 ** -4, np.where(large, scale * 2.0 ** 4, scale))
    bits = np.ascontiguousarray(x).view(np.uint64)
    lo = (bits >> np.uint64(46) << np.uint64(46)).view(np.float64)
    piece = ((bits >> np.uint64(46)).astype(np.int64) - ((1023 - 14) << 6))
    y = at[piece] + slope[piece] * (x - lo)
    c = (y * y) * y
    y = y * ((c + (x + x)) / ((c + c) + x))
    return np.where(tiny, 0.0, sign * (y * scale))


def cbrt(x):
    """The cube root that CIELAB in conversions uses, x above 0."""
    x = np.ascontiguousarray(x, np.float64)
    y = (x.view(np.uint64) // np.uint64(3) + np.uint64(0x2A9F789300000000)).view(np.float64)
    for _ in range(2):
        c = (y * y) * y
        y = y * ((c + 2 * x) / (2 * c + x))
    return y - (y - x / (y * y)) / 3


def lab_f(t, cube):
    """CIELAB's f with either root."""
    t = np.asarray(t, np.float64)
    above = t > 216 / 24389
    return np.where(above, cube(np.where(above, t, 1.0)), t * (24389 / 3132) + 16 / 116)


def lab_inverse(v):
    """The inverse of CIELAB's f."""
    return np.where(v > 6 / 29, (v * v) * v, (v - 16 / 116) / (24389 / 3132))
