"""Tables of profiles (ICC.1:2010, 10.8 to 10.11), in codes of 0 to 65535 as float64."""

import struct
from fractions import Fraction

import numpy as np

import exact
from curves import NUMBERS_OF_FORMULA, formula, s15


class EntryCurve:
    """A curve of entries, straight between them."""

    def __init__(self, entries):
        self.entries = np.asarray(entries, np.float64)

    def __call__(self, x):
        x = np.clip(x, 0.0, 65535.0)
        n = len(self.entries)
        if n == 2 and self.entries[0] == 0 and self.entries[1] == 65535:
            return x
        p = x * ((n - 1) / 65535)
        i = np.minimum(p.astype(int), n - 2)
        return self.entries[i] + (p - i) * (self.entries[i + 1] - self.entries[i])


class FormulaCurve:
    """A parametric curve; kind and numbers as in the profile."""

    def __init__(self, kind, p):
        self.g, self.a, self.b, self.c, self.d, self.e, self.f = formula(kind, p)

    def __call__(self, x):
        x = np.clip(x, 0.0, 65535.0)
        if (self.g, self.a, self.b) == (1, 1, 0) and self.d <= 0 and self.e == 0:
            return x
        z = x / 65535
        a, b, c, d, e, f = (exact.to64(v) for v in (self.a, self.b, self.c, self.d, self.e, self.f))
        base = a * z + b
        safe = np.where(base > 0, base, 1.0)
        up = safe if self.g == 1 else exact.dd_pow(exact.dd(safe), self.g)[0]
        y = np.where(z >= d, np.where(base > 0, up, 0.0) + e, c * z + f)
        return 65535 * np.clip(y, 0.0, 1.0)


def embedded_curve(data, at):
    """The curve at a place of a version 4 table, and where the next begins."""
    if data[at:at + 4] == b"curv":
        n = struct.unpack_from(">I", data, at + 8)[0]
        end = at + 12 + 2 * n
        entries = struct.unpack_from(">%dH" % n, data, at + 12)
        if n == 0:
            c = EntryCurve([0, 65535])
        elif n == 1:
            c = FormulaCurve(0, [Fraction(entries[0], 256)])
        else:
            c = EntryCurve(entries)
    else:
        kind = struct.unpack_from(">H", data, at + 8)[0]
        n = NUMBERS_OF_FORMULA[kind]
        c = FormulaCurve(kind, [s15(data, at + 12 + 4 * i) for i in range(n)])
        end = at + 12 + 4 * n
    return c, end + -end % 4


class Table:
    """An A2B or B2A tag: curves a and m and b, a grid, a matrix, each perhaps None."""

    def __init__(self, data, forward, pcs):
        self.pcs = pcs
        self.a = self.m = self.b = self.grid = self.matrix = None
        n, out = data[8], data[9]
        kind = data[:4]
        self.old = kind == b"mft2"
        if kind in (b"mft1", b"mft2"):
            self.read_old(data, n, out, forward)
        else:
            self.read_new(data, n, out, kind == b"mAB ")

    def read_old(self, data, n, m, forward):
        size = 2 if self.old else 1
        points = data[10]
        at, entries_in, entries_out = 48, 256, 256
        if self.old:
            entries_in, entries_out = struct.unpack_from(">HH", data, 48)
            at = 52

        def block(count):
            nonlocal at
            v = np.frombuffer(data, ">u2" if size == 2 else "u1", count, at).astype(np.float64)
            at += count * size
            return v if size == 2 else 257 * v
        first = [EntryCurve(c) for c in block(n * entries_in).reshape(n, entries_in)]
        self.grid = block(points ** n * m).reshape((points,) * n + (m,))
        last = [EntryCurve(c) for c in block(m * entries_out).reshape(m, entries_out)]
        if forward:
            self.a, self.b = first, last
        else:
            self.m, self.a = first, last
            if self.pcs == b"XYZ ":
                self.matrix = [float(s15(data, 12 + 4 * i)) for i in range(9)] + [0.0] * 3

    def read_new(self, data, n, m, forward):
        b, matrix, middle, grid, a = struct.unpack_from(">5I", data, 12)
        inner = m if forward else n             # channels on the side of the connection space

        def curves(at, count):
            out = []
            for _ in range(count):
                c, at = embedded_curve(data, at)
                out.append(c)
            return out
        self.b = curves(b, inner) if b else None
        self.m = curves(middle, inner) if middle else None
        self.a = curves(a, n if forward else m) if a else None
        if matrix:
            self.matrix = [float(s15(data, matrix + 4 * i)) for i in range(12)]
        if grid:
            sizes = tuple(data[grid:grid + n])
            wide = data[grid + 16] == 2
            v = np.frombuffer(data, ">u2" if wide else "u1", int(np.prod(sizes)) * m, grid + 20)
            self.grid = (v.astype(np.float64) * (1 if wide else 257)).reshape(sizes + (m,))

    def forward(self, codes):
        """Codes of the connection space, a list of planes, of codes (h x w x c)."""
        v = through(self.a, [codes[:, :, k] for k in range(codes.shape[2])])
        if self.grid is not None:
            v = one_input(self.grid, v) if len(v) == 1 else tetrahedral(self.grid, v)
        return [np.clip(x, 0.0, 65535.0) for x in through(self.b, self.by_matrix(through(self.m, v)))]

    def backward(self, v):
        """Codes (h x w x c, float64) of codes of the connection space."""
        v = through(self.m, self.by_matrix(through(self.b, v)))
        if self.grid is not None:
            v = trilinear(self.grid, v) if self.pcs == b"Lab " else tetrahedral(self.grid, v)
        return np.clip(np.stack(through(self.a, v), axis=2), 0.0, 65535.0)

    def by_matrix(self, v):
        if self.matrix is None:
            return v
        e = self.matrix
        return [(e[3 * i] * v[0] + e[3 * i + 1] * v[1] + e[3 * i + 2] * v[2]) + (e[9 + i] * 65535) for i in range(3)]

    # Codes of the connection space.

    @property
    def lab_scale(self):
        return (652.8, 256.0, 256.0) if self.old else (655.35, 257.0, 257.0)

    def to_lab(self, v):
        """L*, a* and b* of codes, whatever the connection space."""
        if self.pcs == b"XYZ ":
            return shares_to_lab(self.to_xyz(v))
        return [x / s - a for x, s, a in zip(v, self.lab_scale, (0.0, 128.0, 128.0))]

    def from_lab(self, v):
        if self.pcs == b"XYZ ":
            return self.from_xyz(lab_to_shares(v))
        return [(x + a) * s for x, s, a in zip(v, self.lab_scale, (0.0, 128.0, 128.0))]

    def to_xyz(self, v):
        return [x / s for x, s in zip(v, XYZ_SCALE)]

    def from_xyz(self, v):
        return [x * s for x, s in zip(v, XYZ_SCALE)]


XYZ_SCALE = (31595.0, 32768.0, 27030.5)


def through(curves, v):
    return v if curves is None else [c(x) for c, x in zip(curves, v)]


def cells(grid, v):
    """For each input the cell's lower place and the fraction beyond it."""
    low, rest = [], []
    for k, x in enumerate(v):
        g = grid.shape[k]
        p = np.clip(x, 0.0, 65535.0) * ((g - 1) / 65535)
        i = np.minimum(p.astype(int), g - 2)
        low.append(i)
        rest.append(p - i)
    return low, rest


def lerp(a, b, f):
    return a + f[..., None] * (b - a)


def one_input(grid, v):
    (i,), (f,) = cells(grid, v)
    out = lerp(grid[i], grid[i + 1], f)
    return [out[..., k] for k in range(out.shape[-1])]


def tetrahedral(grid, v):
    """From the cell's corner along the input of the largest fraction, then the second, then the third."""
    low, f = cells(grid, v)
    f0, f1, f2 = f
    order = np.full(f0.shape, 5)
    for number, holds in ((4, (f1 >= f2) & (f2 >= f0)), (3, (f1 >= f0) & (f0 >= f2)), (2, (f2 >= f0) & (f0 >= f1)),
                          (1, (f0 >= f2) & (f2 >= f1)), (0, (f0 >= f1) & (f1 >= f2))):
        order = np.where(holds, number, order)
    ways = np.array([(0, 1, 2), (0, 2, 1), (2, 0, 1), (1, 0, 2), (1, 2, 0), (2, 1, 0)])[order]
    at = np.stack(low, axis=-1)
    fractions = np.stack(f, axis=-1)
    out = before = grid[at[..., 0], at[..., 1], at[..., 2]]
    for r in range(3):
        axis = ways[..., r]
        at = at + (np.arange(3) == axis[..., None])
        corner = grid[at[..., 0], at[..., 1], at[..., 2]]
        out = out + np.take_along_axis(fractions, axis[..., None], -1) * (corner - before)
        before = corner
    return [out[..., k] for k in range(out.shape[-1])]


def trilinear(grid, v):
    """Along the third input, then the second, then the first."""
    (i, j, k), (f0, f1, f2) = cells(grid, v)

    def line(a, b):
        return lerp(grid[i + a, j + b, k], grid[i + a, j + b, k + 1], f2)

    def face(a):
        return lerp(line(a, 0), line(a, 1), f1)
    out = lerp(face(0), face(1), f0)
    return [out[..., n] for n in range(out.shape[-1])]


def lab_to_shares(v):
    f = (v[0] + 16) / 116
    return [exact.lab_inverse(f + v[1] / 500), exact.lab_inverse(f), exact.lab_inverse(f - v[2] / 200)]


def shares_to_lab(v):
    x, y, z = (exact.lab_f(s, exact.cbrt) for s in v)
    return [116 * y - 16, 500 * (x - y), 200 * (y - z)]


NUMBERS = {"perceptual": 0, "relative": 1, "saturation": 2, "absolute": 1}
READ = {}


def table(profile, way, intent):
    """The table of an intent, else the first, else None."""
    for tag in ("%s%d" % (way, NUMBERS[intent]), way + "0"):
        if tag in profile.tags:
            key = profile.digest, tag
            if key not in READ:
                READ[key] = Table(profile.tags[tag], way == "A2B", profile.pcs)
            return READ[key]
    return None
