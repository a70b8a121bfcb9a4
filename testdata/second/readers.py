"""Reading masters and painted masks: TIFF and PNG."""

import struct
import zlib

import numpy as np


class Read:
    """A picture as a file holds it: samples of 16 bits before any turn, and what goes with them."""

    def __init__(self):
        self.samples = None         # h x w x c, uint16
        self.bits = 0               # of a sample in the file
        self.orientation = 1
        self.profile = b""          # ICC bytes
        self.space = ""             # a built-in space that the file names
        self.clipped = self.no_numbers = self.translucent = 0


def read(data, on_white=False):
    """The picture of a file's bytes."""
    if data[:8] == b"\x89PNG\r\n\x1a\n":
        return read_png(data, on_white)
    if data[:2] in (b"II", b"MM"):
        return read_tiff(data, on_white)
    raise ValueError("neither TIFF nor PNG")


# Samples and alpha.

def spread(v, bits):
    """Codes of whole numbers of some bits, rounded half up."""
    most = (1 << bits) - 1
    return ((v.astype(np.int64) * 65535 * 2 + most) // (2 * most))


def of_floats(x):
    """Codes of numbers of 0 to 1."""
    return np.floor(65535 * x + 0.5).astype(np.int64)


def join_alpha(out, c, a, associated, on_white):
    """Codes c (h x w x n) of a picture with the alpha codes a, laid on white or by themselves."""
    a = a[:, :, None]
    out.translucent = int((a != 65535).sum())
    if associated:
        out.clipped += int((c > a).sum())
        if on_white:
            return np.minimum(c, a) + 65535 - a
        some = np.maximum(a, 1)
        return np.where(a == 0, 0, np.minimum((2 * 65535 * c + some) // (2 * some), 65535))
    return (c * a + 65535 * (65535 - a) + 32767) // 65535 if on_white else c


# TIFF 6.0.

SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4, 16: 8, 17: 8, 18: 8}
LETTERS = {1: "B", 3: "H", 4: "I", 6: "b", 7: "B", 8: "h", 9: "i", 13: "I", 16: "Q", 17: "q", 18: "Q"}


def tiff_directories(data):
    """The byte order and the directories of a file: each tag's values."""
    order = "<" if data[:2] == b"II" else ">"
    big = struct.unpack_from(order + "H", data, 2)[0] == 43
    at = struct.unpack_from(order + ("Q" if big else "I"), data, 8 if big else 4)[0]
    out = []
    while at:
        n = struct.unpack_from(order + ("Q" if big else "H"), data, at)[0]
        at += 8 if big else 2
        tags = {}
        for _ in range(n):
            tag, kind, count = struct.unpack_from(order + ("HHQ" if big else "HHI"), data, at)
            place = at + (12 if big else 8)
            room = 8 if big else 4
            size = SIZES.get(kind, 1) * count
            if size > room:
                place = struct.unpack_from(order + ("Q" if big else "I"), data, place)[0]
            if kind in LETTERS:
                tags[tag] = list(struct.unpack_from("%s%d%s" % (order, count, LETTERS[kind]), data, place))
            else:
                tags[tag] = data[place:place + size]
            at += 20 if big else 12
        out.append(tags)
        at = struct.unpack_from(order + ("Q" if big else "I"), data, at)[0]
    return order, out


def unpack_lzw(data):
    """TIFF 6.0, section 13."""
    out, table, width, bits, n = bytearray(), [], 9, 0, 0
    before = None
    for byte in data:
        bits = (bits << 8 | byte) & 0xFFFFFF
        n += 8
        if n < width:
            continue
        n -= width
        code = bits >> n & ((1 << width) - 1)
        if code == 257:
            break
        if code == 256:
            table = [bytes([i]) for i in range(256)] + [b"", b""]
            width, before = 9, None
            continue
        if before is None:
            entry = table[code]
        else:
            entry = table[code] if code < len(table) else before + before[:1]
            table.append(before + entry[:1])
        out += entry
        before = entry
        if len(table) + 1 >= 1 << width and width < 12:
            width += 1
    return bytes(out)


def unpack_bits(data):
    """TIFF 6.0, section 9: PackBits."""
    out, i = bytearray(), 0
    while i < len(data):
        n = data[i]
        i += 1
        if n < 128:
            out += data[i:i + n + 1]
            i += n + 1
        elif n > 128:
            out += data[i:i + 1] * (257 - n)
            i += 1
    return bytes(out)


UNPACK = {1: bytes, 5: unpack_lzw, 8: zlib.decompress, 32946: zlib.decompress, 32773: unpack_bits}


def raw_numbers(data, rows, columns, n, bits, order, predictor):
    """The whole numbers (rows x columns x n) of one strip or tile, predictors undone."""
    width = columns * n
    stride = (width * bits + 7) // 8
    data = np.frombuffer(data[:rows * stride].ljust(rows * stride, b"\0"), np.uint8).reshape(rows, stride)
    if predictor == 3:
        size = bits // 8
        d = data.astype(np.uint8).reshape(rows, width * size // n, n)
        d = np.cumsum(d.astype(np.uint64), axis=1).astype(np.uint8).reshape(rows, size, width)
        data, order = np.ascontiguousarray(d.transpose(0, 2, 1)).reshape(rows, stride), ">"
    if bits % 8:
        v = np.unpackbits(data, axis=1)[:, :width * bits].reshape(rows, width, bits).astype(np.uint64)
        v = (v << np.arange(bits - 1, -1, -1, dtype=np.uint64)).sum(axis=2, dtype=np.uint64)
    else:
        size = bits // 8
        b = data.reshape(rows, width, size).astype(np.uint64)
        places = range(size) if order == "<" else range(size - 1, -1, -1)
        v = sum(b[:, :, i] << np.uint64(8 * p) for i, p in enumerate(places))
    v = v.reshape(rows, columns, n)
    if predictor == 2:
        v = np.cumsum(v, axis=1, dtype=np.uint64)
        if bits < 64:
            v &= np.uint64((1 << bits) - 1)
    return v


def floats(v, bits):
    """The floating-point numbers of whole ones."""
    if bits == 16:
        return v.astype(np.uint16).view(np.float16).astype(np.float64)
    if bits == 32:
        with np.errstate(invalid="ignore"):
            return v.astype(np.uint32).view(np.float32).astype(np.float64)
    if bits == 64:
        return v.view(np.float64)
    v = v.astype(np.int64)                      # 24: a sign, 7 bits of exponent, 16 of fraction
    e, f = v >> 16 & 127, v & 0xFFFF
    x = np.where(e == 0, np.ldexp(f / 65536, -62), np.ldexp(1 + f / 65536, e - 63))
    x = np.where(e == 127, np.where(f == 0, np.inf, np.nan), x)
    return np.where(v >> 23 & 1, -x, x)


def read_tiff(data, on_white):
    order, directories = tiff_directories(data)
    tags = next(t for t in directories if not t.get(254, [0])[0] & 1)
    out = Read()
    w, h = tags[256][0], tags[257][0]
    n = tags.get(277, [1])[0]
    bits = out.bits = tags.get(258, [1])[0]
    photometric, planar = tags[262][0], tags.get(284, [1])[0]
    predictor, kind = tags.get(317, [1])[0], tags.get(339, [1])[0]
    unpack = UNPACK[tags.get(259, [1])[0]]
    out.orientation = tags.get(274, [1])[0]
    out.profile = bytes(tags.get(34675, b""))
    tiles = 322 in tags
    if tiles:
        tw, th = tags[322][0], tags[323][0]
        offsets, counts = tags[324], tags[325]
    else:
        tw, th = w, min(tags.get(278, [h])[0], h)
        offsets, counts = tags[273], tags[279]
    across, down = -(-w // tw), -(-h // th)
    planes = n if planar == 2 else 1
    v = np.zeros((down * th, across * tw, n), np.uint64)
    for i, (at, size) in enumerate(zip(offsets, counts)):
        plane, place = divmod(i, across * down)
        y, x = place // across * th, place % across * tw
        rows = th if tiles else min(th, h - y)
        m = 1 if planes > 1 else n
        part = raw_numbers(unpack(data[at:at + size]), rows, tw, m, bits, order, predictor)
        v[y:y + rows, x:x + tw, plane:plane + m] = part
    v = v[:h, :w]
    colours = {0: 1, 1: 1, 2: 3, 3: 1}[photometric]
    alpha_at, associated = None, False
    for i, kind_of in enumerate(tags.get(338, [])):
        if kind_of in (1, 2) and alpha_at is None:
            alpha_at, associated = colours + i, kind_of == 1
    if kind == 3 or bits >= 24 and photometric != 3:
        f = floats(v, bits) if kind == 3 else v.astype(np.float64) / ((1 << bits) - 1)
        tiff_floats(out, f, photometric, colours, alpha_at, associated, on_white)
        return out
    if photometric == 3:
        entries = np.array(tags[320], np.int64).reshape(3, -1)
        c = np.stack([e[v[:, :, 0].astype(int)] for e in entries], axis=2)
    else:
        c = spread(v[:, :, :colours], bits)
        c = 65535 - c if photometric == 0 else c
    if alpha_at is not None:
        c = join_alpha(out, c, spread(v[:, :, alpha_at], bits), associated, on_white)
    out.samples = c.astype(np.uint16)
    return out


def tiff_floats(out, f, photometric, colours, alpha_at, associated, on_white):
    """Sets the samples of floating-point numbers, and counts what they can't be."""
    used = list(range(colours)) + ([alpha_at] if alpha_at is not None else [])
    f = f[:, :, used]
    out.no_numbers = int(np.isnan(f).sum())
    f = np.where(np.isnan(f), 0.0, f)
    clipped = (f < 0) | (f > 1)
    f = np.clip(f, 0.0, 1.0)
    c = f[:, :, :colours]
    if photometric == 0:
        c = 1 - c
    if alpha_at is not None:
        a = f[:, :, colours:]
        out.translucent = int((a != 1).sum())
        if associated:
            some = np.where(a == 0, 1.0, a)
            v = np.where(a == 0, 0.0, c)
            clipped[:, :, :colours] |= v > a
            c = np.minimum(v, a) + (1 - a) if on_white else np.minimum(v / some, 1.0)
        elif on_white:
            c = c * a + (1 - a)
    out.clipped = int(clipped.sum())
    out.samples = of_floats(c).astype(np.uint16)


# PNG.

PASSES = [(0, 0, 8, 8), (4, 0, 8, 8), (0, 4, 4, 8), (2, 0, 4, 4), (0, 2, 2, 4), (1, 0, 2, 2), (0, 1, 1, 2)]


def unfiltered(data, rows, stride, step):
    """The bytes of rows, filters undone."""
    out, before, at = [], bytearray(stride), 0
    for _ in range(rows):
        kind, row = data[at], bytearray(data[at + 1:at + 1 + stride])
        at += 1 + stride
        for i in range(stride):
            a = row[i - step] if i >= step else 0
            b, c = before[i], before[i - step] if i >= step else 0
            if kind == 1:
                p = a
            elif kind == 2:
                p = b
            elif kind == 3:
                p = (a + b) // 2
            elif kind == 4:
                pa, pb, pc = abs(b - c), abs(a - c), abs(a + b - 2 * c)
                p = a if pa <= pb and pa <= pc else b if pb <= pc else c
            else:
                break
            row[i] = row[i] + p & 255
        out.append(bytes(row))
        before = row
    return b"".join(out), at


def read_png(data, on_white):
    chunks, at = {}, 8
    while at < len(data):
        size, name = struct.unpack_from(">I4s", data, at)
        body = data[at + 8:at + 8 + size]
        if zlib.crc32(name + body) != struct.unpack_from(">I", data, at + 8 + size)[0]:
            raise ValueError("a checksum is wrong")
        chunks[name] = chunks.get(name, b"") + body if name == b"IDAT" else body
        at += 12 + size
    w, h, bits, kind, _, _, interlaced = struct.unpack(">IIBBBBB", chunks[b"IHDR"])
    n = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}[kind]
    pixels = zlib.decompress(chunks[b"IDAT"])
    v = np.zeros((h, w, n), np.uint64)
    for x0, y0, dx, dy in PASSES if interlaced else [(0, 0, 1, 1)]:
        columns, rows = -(-(w - x0) // dx), -(-(h - y0) // dy)
        if columns <= 0 or rows <= 0:
            continue
        stride = (columns * n * bits + 7) // 8
        part, used = unfiltered(pixels, rows, stride, max(1, n * bits // 8))
        pixels = pixels[used:]
        v[y0::dy, x0::dx] = raw_numbers(part, rows, columns, n, bits, ">", 1)
    out = Read()
    out.bits = bits
    png_colour(out, chunks, kind in (2, 3, 6))
    c, alpha = spread(v, bits), None
    clear = chunks.get(b"tRNS")
    if kind == 3:
        entries = np.frombuffer(chunks[b"PLTE"], np.uint8).reshape(-1, 3)
        index = v[:, :, 0].astype(int)
        c, out.bits = 257 * entries[index].astype(np.int64), 8
        if clear is not None:
            table = np.full(len(entries), 255)
            table[:len(clear)] = list(clear)
            alpha = 257 * table[index]
    elif kind in (4, 6):
        c, alpha = c[:, :, :-1], c[:, :, -1]
    elif clear is not None:
        key = np.frombuffer(clear, ">u2")
        alpha = np.where((v != key).any(axis=2), 65535, 0)
    if alpha is not None:
        c = join_alpha(out, c, alpha, False, on_white)
    out.samples = c.astype(np.uint16)
    return out


def png_colour(out, chunks, colour):
    """The profile or space that a file names: cICP, else iCCP, else sRGB."""
    if b"eXIf" in chunks:
        out.orientation = tiff_directories(chunks[b"eXIf"])[1][0].get(274, [1])[0]
    if b"cICP" in chunks:
        known = {(1, 13, 0, 1): "sRGB", (12, 13, 0, 1): "Display-P3"}
        out.space = known.get(tuple(chunks[b"cICP"]), "") if colour else ""
    elif b"iCCP" in chunks:
        body = chunks[b"iCCP"]
        out.profile = zlib.decompress(body[body.index(b"\0") + 2:])
    elif b"sRGB" in chunks and colour:
        out.space = "sRGB"
