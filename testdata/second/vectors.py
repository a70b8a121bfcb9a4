"""Runs the frozen vectors."""

import hashlib
import os
import shutil
import tempfile

from fractions import Fraction

import numpy as np

import build
import containers
import exact
import jpeg
import nodes
import profiles
import readers
from pictures import Picture, bands, pattern, row_fingerprints


def cases(path):
    """The cases of a file: a name and its lines."""
    out = []
    for line in open(path, encoding="utf-8"):
        line = line.rstrip("\n")
        if line.startswith("#") or not line:
            continue
        if line.startswith("case "):
            out.append((line[5:], []))
        elif out:
            out[-1][1].append(line)
    return out


def input_picture(words):
    name, bits, w, h, c, space = words
    profile = None if space == "-" else profiles.known(space)
    return Picture(pattern(name, int(bits), int(w), int(h), int(c)), profile)


def sample_lines(picture):
    """A picture as the result of a vector."""
    s = picture.samples
    name = picture.profile.name if picture.profile else "-"
    head = "= %d %d %d %s" % (picture.width, picture.height, picture.channels, name)
    if s.size > 48:
        out = [head + " sha256 " + hashlib.sha256(s.astype("<u2").tobytes()).hexdigest()]
        n = min(8, picture.width)
        x = (picture.width - n) // 2
        for y in (0, picture.height // 2):
            out.append("= at %d %d %s" % (x, y, " ".join(str(v) for v in s[y, x:x + n].ravel())))
        return out
    return [head] + ["= row " + " ".join(str(v) for v in row.ravel()) for row in s]


def run_operation(name, lines):
    args, inputs = {}, []
    for line in lines:
        word, _, rest = line.partition(" ")
        if word == "in":
            inputs.append(input_picture(rest.split()))
        elif word == "arg":
            key, _, value = rest.partition(" ")
            args[key] = value
    return sample_lines(build.OPERATIONS[name](args, inputs))


def run_digest(lines):
    picture = input_picture(lines[0].split()[1:])
    rows = row_fingerprints(picture.samples)
    out = ["= row-0 %08x" % rows[0]]
    out += ["= band-%d %s" % (i, b.hex()) for i, b in enumerate(bands(rows))]
    return out + ["= picture " + picture.digest()]


def spaces(path):
    """The table of spaces: pairs of an expected and a computed line."""
    out = []
    for line in open(path):
        if line.startswith("#") or not line.strip():
            continue
        space, what, value = line.split()
        p = profiles.built_in(space)
        if what == "profile":
            got = p.digest
        elif what == "luma":
            got = ",".join(np.float64(float(v)).tobytes()[::-1].hex() for v in p.luma)
        else:
            word, k = what.split("-")
            c = p.curves[int(k)]
            data = c.decode if word == "decode" else c.thresholds
            got = hashlib.sha256(data.astype("<f8").tobytes()).hexdigest()
        out.append((space + " " + what, [value], [got]))
    return out


def run_decoder(lines):
    """A file in hexadecimal, and what is read from it."""
    data = bytes.fromhex("".join(line[4:] for line in lines if line.startswith("hex ")))
    r = readers.read(data, "on white" in lines or "arg on white" in lines)
    out = sample_lines(Picture(r.samples))
    if data[:1] != b"\x89" and (r.clipped or r.no_numbers or r.translucent):
        out.append("= met %d clipped, %d no numbers, %d translucent" % (r.clipped, r.no_numbers, r.translucent))
    return out


def run_language(path, lines):
    """A recipe beside the vectors, with inputs made from patterns, and what it builds."""
    with tempfile.TemporaryDirectory() as folder:
        for line in lines:
            _, name, *words = line.split()
            if words[0] == "profile":
                data = profiles.known(words[1]).data
            else:
                data = containers.tiff(input_picture(words), 16, Fraction(300))
            with open(os.path.join(folder, name), "wb") as f:
                f.write(data)
        recipe = shutil.copy(path[:-4] + ".recipe", folder)
        builder = build.Builder(recipe, "")
        out = []
        for name in builder.recipe.prints:
            p = builder.build(name)
            out.append("= print %s %d %s" % (name, len(p.data), hashlib.sha256(p.data).hexdigest()))
            out.append("= mark " + p.mark)
            for r in p.log.records:
                if r["record"] == "input":
                    out.append("= input %s %s" % (r["path"], r.get("picture", "-")))
                elif r["record"] == "step":
                    out.append("= step %d %s %d %s" % (r["line"], r["operation"], r["version"], r["picture"]))
            lines = [nodes.canonical(dict(r, prev="0" * 64)) for r in p.log.records[1:]]
            out.append("= records " + nodes.sha(b"".join(line + b"\n" for line in lines)))
            if name == list(builder.recipe.prints)[0]:
                out += ["= log " + line.decode() for line in lines]
    return out


FUNCTIONS = {
    "sinpi": exact.sin_pi, "exp": exact.exp, "log": lambda x: exact.dec(x).ln(), "cbrt": exact.cube_root,
    "pow": lambda x, y: exact.power(x, y), "add": lambda x, y: x + y, "mul": lambda x, y: x * y,
    "quo": lambda x, y: x / y,
}


def functions(path):
    """The table of functions: the float64 and the float32 nearest to a value."""
    out = []
    for line in open(path):
        words = line.split()
        if line.startswith("#") or not words:
            continue
        name, args, want = words
        v = Fraction(FUNCTIONS[name](*(Fraction(a) for a in args.split(","))))
        wide, narrow = np.float64(exact.to64(v)), exact.to32(v)
        got = wide.tobytes()[::-1].hex() + "," + narrow.tobytes()[::-1].hex()
        out.append((name + " " + args, [want], [got]))
    return out


def encoder(path, name):
    """The lines of an encoder: a file's digest each."""
    out = []
    for line in open(path, encoding="utf-8"):
        words = line.split()
        if line.startswith("#") or not words:
            continue
        kind, bits, w, h, c = words[0], *(int(v) for v in words[1:5])
        profile, texts = None, ("", "")
        if "texts" in words or "small" in words:
            profile = profiles.Raw(bytes(i % 251 for i in range(70000)))
            if "small" in words:
                profile = profiles.built_in("grey-2.2" if c == 1 else "opRGB")
            texts = ("Reeds, 4 < 5", "\u00a9 the photographer")
        picture = None if kind == "none" else Picture(pattern(kind, bits, w, h, c), profile)
        if name == "encoder-tiff":
            ppi = None if words[6] == "-" else Fraction(words[6])
            if kind == "none":
                data = containers.tiff_head(w, h, c, int(words[5]), ppi, *texts, profile)
            else:
                data = containers.tiff(picture, int(words[5]), ppi, *texts)
        else:
            ppi = Fraction(300) if "small" in words else Fraction(601, 2) if texts[0] else None
            data = jpeg.jpeg(picture, int(words[5]), words[6], ppi, *texts)
        got = data.hex() if len(data) <= 2048 else hashlib.sha256(data).hexdigest()
        out.append((" ".join(words[:-1]), [words[-1]], [got]))
    return out


def results(path):
    """Triples of a case's name, its expected and its computed lines."""
    name = os.path.basename(path).rsplit("-", 1)[0]
    if name == "table-spaces":
        return spaces(path)
    if name == "table-functions":
        return functions(path)
    if name.startswith("encoder-"):
        return encoder(path, name)
    out = []
    for case, lines in cases(path):
        want = [line for line in lines if line.startswith("=") and not line.startswith("= profile")]
        given = [line for line in lines if not line.startswith("=")]
        try:
            if name == "digest-picture":
                got = run_digest(given)
            elif name.startswith("language"):
                got = run_language(path, given)
            elif name.startswith("decoder-"):
                got = run_decoder(given)
            else:
                got = run_operation(name.removeprefix("operation-"), given)
        except Exception as e:
            got = [repr(e)]
        out.append((case, want, got))
    return out


UNREAD = ("operation-sheet-1", "language-1-sheets")  # their captions need the font's file


def table(folder, pieces=(), verbose=False):
    """Runs the vectors of a folder; gives for each piece its name, how many there are, how many are equal."""
    out = []
    for file in sorted(os.listdir(folder)):
        if not file.endswith(".txt") or file[:-4] in UNREAD or pieces and not any(p in file for p in pieces):
            continue
        rs = results(os.path.join(folder, file))
        out.append((file[:-4], len(rs), sum(want == got for _, want, got in rs)))
        if verbose:
            for case, want, got in [r for r in rs if r[1] != r[2]][:3]:
                print("   ", file, case, "\n      want", *want[:6], "\n      got ", *got[:6])
    return out
