"""Operations sharpen and spot-pixels."""

from fractions import Fraction

import numpy as np

import exact
from pictures import Picture
from resample import blur, mask_of

F32 = np.float32


def luma_of(picture):
    """(r R + g G) + b B on codes, float32; the code of grey."""
    s = picture.samples.astype(F32)
    if picture.channels == 1:
        return s[:, :, 0]
    r, g, b = (exact.to32(v) for v in picture.profile.luma)
    return (r * s[:, :, 0] + g * s[:, :, 1]) + b * s[:, :, 2]


def sharpen(args, inputs):
    """The operation sharpen: unsharp masking of the luminance, by a ratio."""
    picture = inputs[0]
    radius, amount = Fraction(args["radius"]), exact.to32(Fraction(args["amount"]))
    halo = exact.to32(Fraction(args.get("halo", "1/10")) * 65535 / 2)
    y = luma_of(picture)
    b = blur(y, radius)
    d = y - b
    if "quiet" in args:
        quiet = exact.to32(Fraction(args["quiet"]) * 65535)
        d = d - np.maximum(-quiet, np.minimum(quiet, d))
    else:
        p = max(1, exact.half_up(radius))
        h, w = y.shape
        i, j = np.arange(w), np.arange(h)
        gx = b[:, np.minimum(i + p, w - 1)] - b[:, np.maximum(i - p, 0)]
        gy = b[np.minimum(j + p, h - 1)] - b[np.maximum(j - p, 0)]
        s = d * d + (gx * gx + gy * gy) * F32(0.5)
        s = s * s
        d = d * (s / (s + exact.to32(Fraction(65535, 128) ** 4)))
    x = amount * d
    most = picture.samples.max(axis=2).astype(F32)
    room = np.where(x > 0, (y * (F32(65535) - most)) / np.maximum(most, F32(1)), y)
    h = np.maximum(np.minimum(halo, room * F32(0.5)), F32(1) / F32(1024))
    a = np.abs(x)
    u = np.maximum(a - h, F32(0))
    a = (np.minimum(a, h) + (u * h) / (u + h)) / np.maximum(y, F32(1))
    e = np.where(x < 0, -a, a)
    mask = mask_of(args, inputs, 1, picture)
    if mask is not None:
        e = e * mask
    c = picture.samples.astype(F32)
    return Picture(exact.round_samples(c + c * e[:, :, None]), picture.profile)


def spot_pixels(args, inputs):
    """The operation spot-pixels: lone outliers become the median around them."""
    picture = inputs[0]
    h, w, channels = picture.samples.shape
    over = exact_floor(65535 * Fraction(args["over"]))
    out = picture.samples.astype(np.int64)
    if h < 5 or w < 5:
        return Picture(picture.samples, picture.profile)
    mask = mask_of(args, inputs, 1, picture)
    s = picture.samples.astype(np.int64)

    def at(dx, dy, k):
        return s[2 + dy:h - 2 + dy, 2 + dx:w - 2 + dx, k]

    ring = [(dx, dy) for dy in range(-2, 3) for dx in range(-2, 3) if (dx, dy) != (0, 0)]
    near = [(dx, dy) for dx, dy in ring if max(abs(dx), abs(dy)) == 1]
    rim = [(dx, dy) for dx, dy in ring if max(abs(dx), abs(dy)) == 2]
    cross = [(-1, 0), (1, 0), (0, -1), (0, 1)]
    facts = []
    for k in range(channels):
        c = at(0, 0, k)
        eight = np.sort(np.stack([at(dx, dy, k) for dx, dy in near]), axis=0)
        med = (eight[3] + eight[4] + 1) // 2
        others = np.stack([at(dx, dy, k) for dx, dy in ring])
        high, low = others.max(axis=0), others.min(axis=0)
        n = sum(at(dx, dy, k) for dx, dy in cross)          # times 4
        o = sum(at(dx, dy, k) for dx, dy in rim)            # times 16
        facts.append((c, med, high, low, n, o))
    outlier = np.zeros(facts[0][0].shape, bool)
    for k in range(channels):
        c, med, high, low, n, o = facts[k]
        for sign in (1, -1):
            gap = c - high if sign > 0 else low - c
            spread = sign * (4 * n - o)                     # times 16
            lie = high - low
            alone = np.full(c.shape, channels > 1)
            for j in range(channels):
                if j != k:
                    alone &= 2 * sign * (facts[j][0] - facts[j][1]) < sign * (c - med)
            plain = (2 * gap > lie) & (16 * gap > 5 * spread)
            if channels == 3:
                a, b = (j for j in range(3) if j != k)
                chroma = [2 * at(dx, dy, k) - at(dx, dy, a) - at(dx, dy, b) for dx, dy in ring]
                chroma = np.stack(chroma)
                cc = 2 * c - facts[a][0] - facts[b][0]
                top, bottom = chroma.max(axis=0), chroma.min(axis=0)
                cgap = cc - top if sign > 0 else bottom - cc
                colour = ((2 * gap > lie) | (2 * cgap > top - bottom)) & (16 * gap > 2 * spread)
            else:
                colour = plain
            outlier |= (gap > over) & (gap > 0) & (plain | alone & colour)
    for k in range(channels):
        c, med, high, low, n, o = facts[k]
        change = outlier & ((c > high) | (c < low))
        inner = out[2:h - 2, 2:w - 2, k]
        if mask is None:
            inner[change] = med[change]
        else:
            m = mask[2:h - 2, 2:w - 2].astype(np.float64)
            v = np.floor(c + m * (med - c) + 0.5).astype(np.int64)
            inner[change] = v[change]
    return Picture(out.astype(np.uint16), picture.profile)


def exact_floor(x):
    return x.numerator // x.denominator
