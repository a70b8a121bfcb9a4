"""Operations range and edges, planes made from the picture, and fringe."""

from fractions import Fraction

import numpy as np

import exact
from exact import lab_f, root
from hues import chroma2, space_of
from masks import smooth
from matrices import planes
from pictures import Picture
from resample import blur, gauss_weights, mask_of
from sharpen import luma_of
from tone import block_edges, halfup_div, read_places, window_sums

F32 = np.float32


def lightness_of(picture):
    """L* of the luminance, which is a whole 65535th; float32."""
    light = planes(picture.profile.decode(picture.samples))
    v = light[0] if len(light) == 1 else space_of(picture.profile).y(*light)
    codes = exact.round_samples(65535 * v).astype(np.float64)
    return (116 * lab_f(codes / 65535, root) - 16).astype(F32)


def opponents(picture):
    """OKLab's a, b and chroma."""
    space = space_of(picture.profile)
    _, u, v = space.split(*planes(picture.profile.decode(picture.samples)))
    a = 1.9779984951 * u + 0.4505937099 * v
    b = 0.0259040371 * u - 0.8086757660 * v
    return a, b, np.sqrt(chroma2(u, v))


def hue_share(picture, start, to, soft):
    """How much of each pixel lies on an arc of hues, in degrees."""
    a, b, c = opponents(picture)
    turn = to - start + (360 if to < start else 0)
    fx, fy = exact.to64(exact.cos_pi(start / 180)), exact.to64(exact.sin_pi(start / 180))
    tx, ty = exact.to64(exact.cos_pi(to / 180)), exact.to64(exact.sin_pi(to / 180))
    before, after = b * fx - a * fy, a * ty - b * tx
    near_from, near_to = a * fx + b * fy > 0, a * tx + b * ty > 0
    whole = np.full(c.shape, turn == 360)
    if turn > 180:
        whole |= (before >= 0) | (after >= 0)
    whole |= (before >= 0) & (after >= 0) & (near_from | near_to)
    t = np.zeros_like(c)
    if soft:
        inv = 1 / exact.to64(exact.sin_pi(soft / 180))
        safe = np.where(c > 0, c, 1.0)
        t = np.where((before <= 0) & near_from, 1 + (before / safe) * inv, 0.0)
        t = np.where((after <= 0) & near_to, np.maximum(t, 1 + (after / safe) * inv), t)
    return np.where(c > 0, smooth(c * 50) * np.where(whole, 1.0, smooth(t)), 0.0)


def range_plane(args, inputs):
    """The operation range."""
    picture = inputs[0]
    start, to, soft = (Fraction(args.get(k, "0")) for k in ("from", "to", "soft"))
    if args["of"] == "hue":
        return Picture(exact.round_samples(65535 * hue_share(picture, start, to, soft)))
    if args["of"] == "lightness":
        x = lightness_of(picture)
    else:
        x = (opponents(picture)[2] * 4).astype(F32)
    x = x.astype(np.float64)
    start, to, soft = exact.to64(start), exact.to64(to), exact.to64(soft)
    d = np.maximum(start - x, x - to)
    fading = smooth(1 - d / soft) if soft else np.zeros_like(d)
    return Picture(exact.round_samples(65535 * np.where(d <= 0, 1.0, np.where(d >= soft, 0.0, fading))))


def edges(args, inputs):
    """The operation edges."""
    picture = inputs[0]
    sigma = max(Fraction(args["radius"]), Fraction(1, 4))
    b = blur(lightness_of(picture), sigma)
    h, w = b.shape
    i, j = np.arange(w), np.arange(h)
    gx = b[:, np.minimum(i + 1, w - 1)] - b[:, np.maximum(i - 1, 0)]
    gy = b[np.minimum(j + 1, h - 1)] - b[np.maximum(j - 1, 0)]
    e = gx * gx + gy * gy
    taps = gauss_weights(sigma, max(1, exact.half_up(4 * sigma)))
    over = exact.to64(Fraction(args["over"]))
    scale = F32(1 / ((100 * over) * (float(taps[0]) + float(taps[1]))))
    low = e < F32(0.999) / (scale * scale)
    share = smooth(np.sqrt(e.astype(np.float64)) * float(scale) - 1)
    return Picture(exact.round_samples(np.where(low, 0.0, 65535 * share)))


EDGE, LEAST, OFF = 0.02 * 65535, 0.01 * 65535, 0.015 * 65535


def fringe_blocks(y, r, b, f, radius):
    """The eight numbers of each block: Y0, P0, Q0, A, C, Lo, Hi, k."""
    h, w = y.shape
    (rows, lack_y), (columns, lack_x) = block_edges(h, f), block_edges(w, f)
    at = (np.arange(h) + lack_y)[:, None] // f, (np.arange(w) + lack_x)[None, :] // f
    number = np.zeros((rows, columns), np.int64)
    np.add.at(number, at, 1)

    def means(v):
        total = np.zeros((rows, columns), np.int64)
        np.add.at(total, at, v)
        return halfup_div(total, number)
    y, r, b = (means(v) for v in (y, r, b))
    p, q = r - y, b - y
    near = max(1, exact.half_up(Fraction(radius) / (2 * f)))
    far = max(1, exact.half_up(7 * Fraction(radius) / (5 * f)))
    ones = np.ones_like(y)
    n = window_sums(ones, near)
    v = (n * window_sums(y * y, near) - window_sums(y, near) ** 2).astype(np.float64) / ((n * n) * (EDGE * EDGE))
    t = np.floor(256 / (1 + v * v) + 0.5).astype(np.int64)
    n = window_sums(ones, far).astype(np.float64)
    total = window_sums(t, far)
    none = total == 0
    y = y - 32768
    total = np.where(total == 0, 1, total).astype(np.float64)

    def mean(v):
        return window_sums(t * v, far).astype(np.float64) / total
    y0, p0, q0 = mean(y), mean(p), mean(q)
    v = np.maximum(0.0, mean(y * y) - y0 * y0)
    o = 1 / (v + LEAST * LEAST)
    a, c = (mean(y * p) - y0 * p0) * o, (mean(y * q) - y0 * q0) * o
    k = (np.minimum(1, 4 - t / 64) * total) / (total + (256 * n) / 100)
    l = (mean(y * y * y) - y0 * (3 * v + y0 * y0)) / (2 * (v + 1))
    d = np.sqrt(l * l + v)
    eight = [y0 + 32768, p0, q0, a, c, l - d, l + d, k]
    return [np.where(none, 0.0, x).astype(F32) for x in eight], lack_x, lack_y


def at_pixels(v, f, lack, n, axis):
    """Blocks read at pixels along an axis: float32, a + w (b - a)."""
    first, second, rest = read_places(v, f, lack, n, axis)
    return first + (rest.astype(F32) / F32(2 * f)) * (second - first)


def fringe(args, inputs):
    """The operation fringe."""
    picture = inputs[0]
    radius = Fraction(args["radius"])
    f = 2 * int(radius / 6 // 1) + 1
    y = luma_of(picture)
    s = picture.samples
    whole = np.floor(y + F32(0.5)).astype(np.int64)
    blocks, lack_x, lack_y = fringe_blocks(whole, s[:, :, 0].astype(np.int64), s[:, :, 2].astype(np.int64), f, radius)
    h, w = y.shape
    y0, p0, q0, a, c, lo, hi, k = (at_pixels(at_pixels(v, f, lack_y, h, 0), f, lack_x, w, 1) for v in blocks)
    mask = mask_of(args, inputs, 1, picture)
    if mask is not None:
        k = k * mask
    if "hue-from" in args:
        k = k * hue_share(picture, Fraction(args["hue-from"]), Fraction(args["hue-to"]), Fraction(15)).astype(F32)
    z = np.maximum(lo, np.minimum(hi, y - y0))
    over = ((y - y0) - z) / F32(OFF)
    with np.errstate(all="ignore"):
        g = np.where(y0 + z > y, y / (y0 + z), F32(1))
        red, blue = s[:, :, 0].astype(F32), s[:, :, 2].astype(F32)
        p, q = red - y, blue - y
        dp, dq = (p0 + a * z) * g - p, (q0 + c * z) * g - q
        a, c = a * g, c * g
        line = a * a + c * c
        along = np.where(line == 0, F32(0), np.maximum(z - hi, np.minimum(z - lo, (dp * a + dq * c) / line)))
        off_p, off_q = dp - a * along, dq - c * along
        n = (off_p * off_p + off_q * off_q) / F32(OFF * OFF)
        n = n * n
        share = (k * n) / ((n + F32(1)) + over * over)
        p, q = p + share * dp, q + share * dq
        l0, l1, l2 = (exact.to32(v) for v in picture.profile.luma)
        green = -(l0 * p + l2 * q) / l1
        room = np.ones_like(y)
        above = F32(65535) - y
        for x in (p, green, q):
            room = np.minimum(room, np.where((x > 0) & (x > above), np.maximum(F32(0), above) / x, F32(1)))
            room = np.minimum(room, np.where(-x > y, y / -x, F32(1)))
        out = np.stack([exact.round_samples(y + room * x) for x in (p, green, q)], axis=2)
    stays = (k == 0) | (n == 0)
    return Picture(np.where(stays[:, :, None], s, out), picture.profile)
