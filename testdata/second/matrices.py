"""Matrices: exact ones of fractions, and how rounded ones meet pixels."""

import exact


def inverse(m):
    """The inverse of a 3 x 3 matrix of fractions."""
    def minor(i, j):
        r = [a for a in range(3) if a != i]
        c = [b for b in range(3) if b != j]
        return m[r[0]][c[0]] * m[r[1]][c[1]] - m[r[0]][c[1]] * m[r[1]][c[0]]
    det = sum((-1) ** j * m[0][j] * minor(0, j) for j in range(3))
    return [[(-1) ** (i + j) * minor(j, i) / det for j in range(3)] for i in range(3)]


def times(a, b):
    return [[sum(a[i][k] * b[k][j] for k in range(3)) for j in range(3)] for i in range(3)]


def even(m, x, y, z):
    """A matrix whose rows add up to 1: equal numbers stay equal."""
    return [y + (r[0] * (x - y) + r[2] * (z - y)) for r in m]


def plain(m, x, y, z):
    return [r[0] * x + r[1] * y + r[2] * z for r in m]


def nearest(m):
    """A matrix of fractions as float64."""
    return [[exact.to64(v) for v in row] for row in m]


def row_sums_one(m):
    return [[v / sum(row) for v in row] for row in m]


def planes(samples):
    return [samples[:, :, k] for k in range(samples.shape[2])]
