"""Weights, enlarge, blur, and the sampler through which steps read masks."""

from fractions import Fraction

import numpy as np

import exact
from pictures import Picture

F32 = np.float32


def paired_sum(weights, rows):
    """The sum of weighted float32 arrays, paired from the outside in, no joined rounding."""
    n = len(weights)
    products = [w * r for w, r in zip(weights, rows)]
    total = None
    for k in range(n // 2):
        pair = products[k] + products[n - 1 - k]
        total = pair if total is None else total + pair
    if n % 2:
        middle = products[n // 2]
        total = middle if total is None else total + middle
    return total


def cubic_kernel(b, c):
    """Mitchell and Netravali 1988, equation 8."""
    def kernel(d):
        if d < 1:
            return ((12 - 9 * b - 6 * c) * d ** 3 + (-18 + 12 * b + 6 * c) * d ** 2 + 6 - 2 * b) / 6
        if d < 2:
            return ((-b - 6 * c) * d ** 3 + (6 * b + 30 * c) * d ** 2
                    + (-12 * b - 48 * c) * d + 8 * b + 24 * c) / 6
        return Fraction(0)
    return kernel


def lanczos_kernel(n):
    def kernel(d):
        if d == 0:
            return Fraction(1)
        if d >= n or d.denominator == 1:
            return Fraction(0)
        a = exact.PI * exact.dec(d)
        return Fraction(exact.sin_pi(d) * exact.sin_pi(d / n) / (a * a / n))
    return kernel


KERNELS = {
    "linear": (1, lambda d: max(Fraction(0), 1 - d)),
    "cubic": (2, cubic_kernel(Fraction(0), Fraction(1, 2))),
    "mitchell": (2, cubic_kernel(Fraction(1, 3), Fraction(1, 3))),
    "b-spline": (2, cubic_kernel(Fraction(1), Fraction(0))),
    "lanczos2": (2, lanczos_kernel(2)),
    "lanczos3": (3, lanczos_kernel(3)),
    "lanczos4": (4, lanczos_kernel(4)),
}


def taps(kernel, m, n):
    """For each of n places the first source place of m and the float32 weights."""
    out = []
    if kernel == "nearest":
        for i in range(n):
            c = Fraction((2 * i + 1) * m, 2 * n)        # from the first edge
            j = c.numerator // c.denominator
            if c.denominator == 1 and 2 * i + 1 >= n:   # on an edge: the one nearer the middle
                j -= 1
            out.append((j, [F32(1)]))
        return out
    radius, f = KERNELS[kernel]
    scale = max(Fraction(1), Fraction(m, n))
    for i in range(n):
        c = Fraction((2 * i + 1) * m - n, 2 * n)
        first = max(0, exact_floor(c - radius * scale) + 1)
        last = min(m - 1, -exact_floor(-(c + radius * scale)) - 1)
        w = [f(abs(j - c) / scale) for j in range(first, last + 1)]
        while w[0] == 0:                        # weights of 0 at the ends are no terms
            w, first = w[1:], first + 1
        while w[-1] == 0:
            w.pop()
        total = sum(w)
        out.append((first, [exact.to32(x / total) for x in w]))
    return out


def exact_floor(x):
    return x.numerator // x.denominator


def resample(data, placed, axis):
    """Sums of data (float32, along axis) by the taps that are placed."""
    data = np.moveaxis(data, axis, 0)
    out = np.stack([paired_sum(w, [data[first + k] for k in range(len(w))]) for first, w in placed])
    return np.moveaxis(out, 0, axis)


def enlarge(args, inputs):
    """The operation enlarge."""
    picture = inputs[0]
    width, height, kernel = int(args["width"]), int(args["height"]), args["kernel"]
    linear = args["light"] == "linear"
    if kernel == "nearest":
        linear = False
    if linear:
        data = picture.profile.decode32(picture.samples)
    else:
        data = picture.samples.astype(F32)
    data = resample(data, taps(kernel, picture.width, width), 1)
    data = resample(data, taps(kernel, picture.height, height), 0)
    if linear:
        return Picture(picture.profile.encode(data.astype(np.float64)), picture.profile)
    return Picture(exact.round_samples(data), picture.profile)


def gauss_weights(sigma, reach):
    """The float32 weights of exp(-k^2/2 sigma^2), k from -reach to reach."""
    w = [Fraction(exact.exp(-Fraction(k * k) / (2 * sigma * sigma))) for k in range(reach + 1)]
    total = w[0] + 2 * sum(w[1:])
    half = [exact.to32(x / total) for x in w]
    return half


def blur(plane, sigma):
    """A Gaussian blur of a float32 plane, the edge repeated, across and then down."""
    reach = max(1, exact.half_up(4 * Fraction(sigma)))
    weights = gauss_weights(sigma, reach)
    for axis in (1, 0):
        data = np.moveaxis(plane, axis, 0)
        n = len(data)
        i = np.arange(n)
        total = None
        for k in range(reach, 0, -1):
            pair = weights[k] * (data[np.maximum(i - k, 0)] + data[np.minimum(i + k, n - 1)])
            total = pair if total is None else total + pair
        middle = weights[0] * data
        total = middle if total is None else total + middle
        plane = np.moveaxis(total, 0, axis)
    return plane


def triangle_taps(m, n, x0, x1):
    """The sampler's taps: n pixels that show x0 to x1 of a frame of m."""
    out = []
    step = (x1 - x0) / n
    scale = max(Fraction(1), step)
    for i in range(n):
        c = x0 + (2 * i + 1) * (x1 - x0) / (2 * n) - Fraction(1, 2)
        c = min(max(c, Fraction(0)), Fraction(m - 1))
        first = max(0, exact_floor(c - scale) + 1)
        last = min(m - 1, -exact_floor(-(c + scale)) - 1)
        w = [1 - abs(j - c) / scale for j in range(first, last + 1)]
        total = sum(w)
        w = [x / total for x in w]
        if len(w) == 2:
            big = max(w)
            b = exact.to32(big)
            out.append((first, [b, F32(1) - b] if w[0] == big else [F32(1) - b, b]))
        else:
            out.append((first, [exact.to32(x) for x in w]))
    return out


def sample_mask(mask, width, height, covers):
    """The shares (float32, height x width) of a mask of the frame for a picture that shows covers."""
    x0, y0, x1, y1 = covers
    data = mask.samples[:, :, 0].astype(F32) / F32(65535)
    data = all_of_it(resample(data, triangle_taps(mask.width, width, x0, x1), 1))
    return all_of_it(resample(data, triangle_taps(mask.height, height, y0, y1), 0))


def all_of_it(weights):
    """Weights with 1 where they are all but 2^-20."""
    return np.where(weights >= F32(1 - 2.0 ** -20), F32(1), weights)


def mask_of(args, inputs, index, picture):
    """The shares of the mask that is input number index, or None."""
    if len(inputs) <= index:
        return None
    covers = [Fraction(x) for x in args["covers"].split()]
    return sample_mask(inputs[index], picture.width, picture.height, covers)
