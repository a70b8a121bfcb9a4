"""Operations that move samples or lay them over each other: turn, crop, border, wrap, blend."""

from fractions import Fraction

import numpy as np

import exact
from pictures import Picture
from resample import mask_of

F32 = np.float32

# The orientations of TIFF 6.0, tag 274, as (transpose, flip rows, flip columns), in this order.
ORIENTATIONS = {
    1: (False, False, False), 2: (False, False, True), 3: (False, True, True), 4: (False, True, False),
    5: (True, False, False), 6: (True, False, True), 7: (True, True, True), 8: (True, True, False),
}


def orient(samples, orientation):
    """Samples as the orientation shows them."""
    transpose, rows, columns = ORIENTATIONS[orientation]
    if transpose:
        samples = samples.transpose(1, 0, 2)
    if rows:
        samples = samples[::-1]
    if columns:
        samples = samples[:, ::-1]
    return np.ascontiguousarray(samples)


def joined(first, second):
    """The orientation that does first and then second."""
    probe = np.arange(6).reshape(2, 3, 1)
    want = orient(orient(probe, first), second)
    for o in ORIENTATIONS:
        got = orient(probe, o)
        if got.shape == want.shape and (got == want).all():
            return o


def turn(args, inputs):
    return Picture(orient(inputs[0].samples, int(args["orientation"])), inputs[0].profile)


def crop(args, inputs):
    x, y, w, h = (int(args[k]) for k in ("x", "y", "w", "h"))
    return Picture(inputs[0].samples[y:y + h, x:x + w], inputs[0].profile)


def framed(picture, width, colour):
    """A picture with width px of one colour around it."""
    h, w, c = picture.samples.shape
    out = np.empty((h + 2 * width, w + 2 * width, c), np.uint16)
    out[:] = np.array([int(v) for v in colour.split()], np.uint16)
    out[width:width + h, width:width + w] = picture.samples
    return Picture(out, picture.profile)


def border(args, inputs):
    return framed(inputs[0], int(args["width"]), args["colour"])


def wrap(args, inputs):
    picture, width = inputs[0], int(args["width"])
    if args["way"] == "picture":
        return Picture(picture.samples, picture.profile)
    if args["way"] == "colour":
        return framed(picture, width, args["colour"])
    data = picture.samples.astype(np.int64)
    if args["way"] == "mirror":
        return Picture(np.pad(data, ((width, width), (width, width), (0, 0)), "symmetric").astype(np.uint16),
                       picture.profile)
    data = drawn_out(drawn_out(data, width, 1), width, 0)
    return Picture(((data + 8) // 16).astype(np.uint16), picture.profile)


def drawn_out(data, width, axis):
    """Both sides of an axis continued to twice their width, the samples times 4."""
    data = np.moveaxis(data, axis, 0)
    n = len(data)

    def outside(d, place):
        quarter = max(2 * d - 1, 0)             # t = d/2 - 1/4, in quarters
        t, f = quarter // 4, quarter % 4
        t, f = (t, f) if t < n - 1 else (n - 1, 0)
        return place(t) * (4 - f) + (place(t + 1) * f if f else 0)

    head = [outside(d, lambda t: data[t]) for d in range(width - 1, -1, -1)]
    tail = [outside(d, lambda t: data[n - 1 - t]) for d in range(width)]
    return np.moveaxis(np.concatenate([np.stack(head), 4 * data, np.stack(tail)]), 0, axis)


def blend(args, inputs):
    top, over = inputs[0], inputs[1]
    at = exact.to32(Fraction(args["at"]))
    mask = mask_of(args, inputs, 2, over)
    p = at if mask is None else (at * mask)[:, :, None]
    a, b = top.samples.astype(F32), over.samples.astype(F32)
    return Picture(exact.round_samples(b + p * (a - b)), over.profile)
