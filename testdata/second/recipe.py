"""Reading a recipe: words, lines and statements.

The reader takes right recipes. Of wrong ones it refuses what doesn't fit the
grammar, in one short sentence; it doesn't judge ranges, nor whether every
picture is used.
"""

import re
from fractions import Fraction


class Wrong(ValueError):
    """A recipe that this reader refuses."""


class Number:
    """A number and its unit, "" where it stands bare."""

    def __init__(self, value, unit):
        self.value, self.unit = value, unit


class Text(str):
    """A string in double quotes."""


UNITS = ("ppi", "stops", "stop", "mired", "deg", "in", "cm", "mm", "px", "%", "KB", "MB", "GB")
PATTERN = re.compile(r"""
    (?P<space>[ \t]+)
  | (?P<comment>\#.*)
  | "(?P<text>(?:[^"\\]|\\["\\])*)"
  | (?P<ratio>\d+(?:\.\d+)?:\d+(?:\.\d+)?)(?![\w.])
  | (?P<number>[+-]?\d+(?:\.\d+)?)(?:[ ]?(?P<unit>%|(?:ppi|stops|stop|mired|deg|in|cm|mm|px|KB|MB|GB)(?![\w-])))?(?![\w.])
  | (?P<word>[A-Za-z][A-Za-z0-9-]*(?:\.[0-9])?)
  | (?P<sign>[(),{}])
""", re.VERBOSE)


def words_of(text, line):
    """The words of one line."""
    out, at = [], 0
    while at < len(text):
        m = PATTERN.match(text, at)
        if not m:
            raise Wrong("line %d: %r can't be read" % (line, text[at:]))
        at = m.end()
        if m["text"] is not None:
            out.append(Text(re.sub(r"\\(.)", r"\1", m["text"])))
        elif m["ratio"]:
            out.append(tuple(Fraction(v) for v in m["ratio"].split(":")))
        elif m["number"]:
            out.append(Number(Fraction(m["number"]), m["unit"] or ""))
        elif m["word"] or m["sign"]:
            out.append(m["word"] or m["sign"])
    return out


class Line:
    """The words of a statement and a place in them."""

    def __init__(self, words, number):
        self.words, self.number, self.at = words, number, 0

    def wrong(self, what):
        return Wrong("line %d: %s" % (self.number, what))

    def peek(self):
        return self.words[self.at] if self.at < len(self.words) else None

    def take(self, word):
        """Whether this word comes next; it is passed over."""
        if self.peek() == word and not isinstance(self.peek(), Text):
            self.at += 1
            return True
        return False

    def need(self, word):
        if not self.take(word):
            raise self.wrong("%s is missing" % word)

    def next(self, kind):
        """The next word, which must be of a kind."""
        w = self.peek()
        if not isinstance(w, kind) or kind is str and isinstance(w, Text):
            raise self.wrong("another kind of value is expected")
        self.at += 1
        return w

    def number_of(self, *units):
        n = self.next(Number)
        if n.unit not in units:
            raise self.wrong("a unit that doesn't fit")
        return n

    def share(self):
        """A percentage as a share."""
        return self.number_of("%").value / 100

    def choice(self, *words):
        w = self.next(str)
        if w not in words:
            raise self.wrong("%s isn't one of the choices" % w)
        return w

    def point(self):
        self.need("(")
        x = self.next(Number)
        self.need(",")
        y = self.next(Number)
        self.need(")")
        return x, y

    def points(self):
        out = [self.point()]
        while self.take(","):
            out.append(self.point())
        return out

    def extent(self):
        """Two measures; the first takes the second's unit."""
        a = self.next(Number)
        self.need("x")
        b = self.next(Number)
        return Number(a.value, a.unit or b.unit), b

    def end(self):
        if self.peek() is not None:
            raise self.wrong("something is left over")


def lines_of(text):
    """The statements' words with their line numbers; brackets and commas carry a line on."""
    out, pending, first = [], [], 0
    text = text.removeprefix("\ufeff")
    for number, line in enumerate(text.replace("\r\n", "\n").split("\n"), 1):
        words = words_of(line, number)
        if not words:
            continue
        if not pending:
            first = number
        pending += words
        open_brackets = pending.count("(") - pending.count(")")
        if open_brackets == 0 and pending[-1] != ",":
            out.append(Line(pending, first))
            pending = []
    if pending:
        raise Wrong("line %d: the line goes on without an end" % first)
    return out


class Statement:
    """A line's word, its values by name, and the lines of its block."""

    def __init__(self, word, line, **values):
        self.word, self.line, self.lines = word, line, []
        self.__dict__.update(values)


SPACES = ("sRGB", "opRGB", "ROMM-RGB", "Display-P3", "grey-2.2")
KERNELS = ("nearest", "linear", "cubic", "mitchell", "b-spline", "lanczos2", "lanczos3", "lanczos4")
INTENTS = ("perceptual", "relative", "saturation", "absolute")


def colour(l):
    w = l.choice("white", "black", "grey")
    return (w, l.number_of("").value) if w == "grey" else (w, None)


def options(l, *words):
    """Optional words with their values, in order."""
    out = {}
    for word, read in words:
        out[word.replace("-", "_")] = read() if l.take(word) else None
    return out


def name(l):
    return l.next(str)


def shape(l, way):
    """A line of a mask."""
    word = l.next(str)
    soft = lambda: l.share() if l.take("soft") else Fraction(0)
    if word == "stroke":
        l.need("along")
        p = l.points()
        l.need("width")
        return Statement(word, l.number, way=way, points=p, width=l.number_of("%", "px"), soft=soft())
    if word in ("ellipse", "rectangle"):
        l.need("at")
        p = l.point()
        l.need("size")
        return Statement(word, l.number, way=way, at=p, size=l.extent(), soft=soft())
    if word == "polygon":
        return Statement(word, l.number, way=way, points=l.points(), soft=soft())
    if word == "gradient":
        l.need("from")
        p = l.point()
        l.need("to")
        return Statement(word, l.number, way=way, points=[p, l.point()])
    if word == "range":
        of = l.choice("lightness", "chroma", "hue")
        unit, scale = {"lightness": ("", 1), "chroma": ("%", 100), "hue": ("deg", 1)}[of]
        number = lambda: l.number_of(unit).value / scale
        low = number()
        l.need("to")
        high = number()
        return Statement(word, l.number, way=way, of=of, low=low, high=high,
                         soft=number() if l.take("soft") else None)
    if word == "edges":
        l.need("radius")
        radius = l.number_of("%", "px")
        l.need("over")
        return Statement(word, l.number, way=way, radius=radius, over=l.share())
    if word == "file":
        return Statement(word, l.number, way=way, path=l.next(Text))
    if word == "mask":
        return Statement(word, l.number, way=way, name=name(l))
    if word in ("invert", "soften") and way == "add":
        return Statement(word, l.number, way=way, radius=l.number_of("%", "px") if word == "soften" else None)
    raise l.wrong("%s isn't a line of a mask" % word)


def step(l):
    """A line of prepare, a steps block or a print."""
    word = l.next(str)
    s = Statement(word, l.number)
    v = s.__dict__
    if word == "turn":
        v.update(way=l.choice("left", "right", "over"))
    elif word == "mirror":
        pass
    elif word == "crop":
        if l.take("to"):
            v.update(ratio=l.next(tuple), at=l.point() if l.take("at") else None)
        else:
            a = l.point()
            l.need("to")
            v.update(ratio=None, corners=(a, l.point()))
    elif word == "convert":
        l.need("to")
        v.update(to=None, profile=None, keep=None)
        if l.take("profile"):
            v.update(profile=l.next(Text))
        else:
            v.update(to=name(l))
        v.update(options(l, ("intent", lambda: l.choice(*INTENTS)), ("black-point", lambda: l.choice("on", "off"))))
        if l.take("keep"):
            v.update(keep=l.choice("hue"))
    elif word == "spot":
        if l.take("pixels"):
            v.update(pixels=True)
            l.need("over")
            v.update(over=l.share(), **options(l, ("through", lambda: name(l))))
        else:
            l.need("at")
            v.update(pixels=False, at=l.point())
            l.need("radius")
            v.update(radius=l.number_of("%", "px"))
            v.update(options(l, ("soft", l.share), ("from", l.point)))
    elif word == "enlarge":
        l.need("with")
        v.update(kernel=l.choice(*KERNELS))
        v.update(options(l, ("light", lambda: l.choice("linear", "encoded")), ("as", lambda: name(l))))
    elif word == "fringe":
        v.update(options(l, ("through", lambda: name(l))))
        l.need("radius")
        v.update(radius=l.number_of("px").value, hues=None)
        if l.take("hue"):
            first = l.number_of("deg").value
            l.need("to")
            v.update(hues=(first, l.number_of("deg").value))
    elif word == "denoise":
        l.need("lightness")
        v.update(lightness=l.share())
        l.need("chroma")
        v.update(chroma=l.share())
        v.update(options(l, ("through", lambda: name(l)), ("as", lambda: name(l))))
    elif word == "grain":
        l.need("amount")
        v.update(amount=l.share())
        l.need("size")
        v.update(size=l.number_of("mm"))
        l.need("seed")
        v.update(seed=l.number_of("").value)
    elif word in ("take", "follow"):
        v.update(name=name(l))
    elif word == "blend":
        v.update(top=name(l))
        l.need("over")
        v.update(over=name(l))
        v.update(options(l, ("through", lambda: name(l)), ("at", l.share), ("as", lambda: name(l))))
    elif word == "sharpen":
        l.need("radius")
        v.update(radius=l.number_of("px", "mm", "%"))
        l.need("amount")
        v.update(amount=l.share())
        v.update(options(l, ("method", lambda: l.choice("unsharp", "deconvolve")),
                         ("blur", lambda: l.choice("disc", "gaussian")), ("quiet", l.share), ("halo", l.share),
                         ("through", lambda: name(l)), ("as", lambda: name(l))))
    elif word == "mix":
        for c in ("red", "green", "blue"):
            l.need(c)
            v[c] = l.share()
    elif word == "tint":
        l.need("hue")
        v.update(hue=l.number_of("deg").value)
        l.need("chroma")
        v.update(chroma=l.number_of("%").value)
    elif word == "tone":
        v.update(options(l, ("for", lambda: name(l)), ("through", lambda: name(l))))
        l.need("{")
    elif word == "border":
        v.update(width=l.number_of("in", "cm", "mm", "px"), colour=("white", None))
        if l.take("colour"):
            v.update(colour=colour(l))
    elif word == "wrap":
        v.update(width=l.number_of("in", "cm", "mm", "px"), colour=None)
        kind = l.choice("continued", "of", "colour")
        if kind == "continued":
            v.update(way={"reflected": "mirror", "repeated": "stretch"}[l.choice("reflected", "repeated")])
        elif kind == "of":
            v.update(way=l.choice("picture"))
        else:
            v.update(way="colour", colour=colour(l))
    elif word == "edition":
        v.update(count=l.number_of("").value)
        if l.take("plus"):
            l.number_of("")
            l.need("proofs")
    elif word == "size":
        v.update(within=l.take("within"))
        a = l.next(Number)
        if l.take("x"):
            b = l.next(Number)
            v.update(kind="both", sides=(Number(a.value, a.unit or b.unit), b))
        else:
            v.update(kind=l.choice("wide", "high"), sides=(a,))
        l.need("at")
        v.update(ppi=l.number_of("ppi").value)
    elif word == "save":
        v.update(format=l.choice("jpeg", "tiff"), path=l.next(Text))
        count = lambda: int(l.number_of("").value)
        if s.format == "jpeg":
            v.update(options(l, ("quality", count), ("chroma", lambda: l.choice("full", "half"))))
        else:
            v.update(options(l, ("bits", count)))
    else:
        raise l.wrong("this reader has no %s" % word)
    return s


def tone_line(l):
    word = l.next(str)
    if word == "exposure":
        return "exposure", l.number_of("stops", "stop").value
    if word == "curve":
        return "curve", [(x.value, y.value) for x, y in l.points()]
    if word == "contrast":
        return "contrast", l.share()
    if word == "local":
        l.need("contrast")
        amount = l.share()
        l.need("radius")
        return "local", (amount, l.number_of("%", "px"))
    if word == "warmth":
        return "warmth", l.number_of("mired").value
    if word == "chroma":
        return "chroma", l.share()
    if word == "muted":
        l.need("chroma")
        return "muted", l.share()
    raise l.wrong("%s isn't a line of a tone" % word)


class Recipe:
    """A recipe's statements: papers, labs, masks, steps, prints and pictures by name, prepare's lines."""

    def __init__(self, text):
        self.text = text
        self.title = self.rights = ""
        self.master = None
        self.papers, self.labs, self.masks, self.steps, self.prints, self.pictures = {}, {}, {}, {}, {}, {}
        self.prepare = []
        self.lines, self.at = lines_of(text), 0
        first = self.lines[0]
        first.need("recipe")
        if first.number_of("").value != 1:
            raise first.wrong("a version that this reader doesn't know")
        first.need("draft")
        self.at = 1
        while self.at < len(self.lines):
            l = self.lines[self.at]
            self.at += 1
            self.top(l)

    def block(self, read):
        """The lines up to the brace that ends the block."""
        out = []
        while True:
            if self.at == len(self.lines):
                raise Wrong("a block isn't closed")
            l = self.lines[self.at]
            self.at += 1
            if l.words == ["}"]:
                return out
            s = read(l)
            l.end()
            if isinstance(s, Statement) and s.word == "tone":
                s.lines = dict(self.block(tone_line))
            out.append(s)

    def top(self, l):
        word = l.next(str)
        if word in ("title", "rights"):
            setattr(self, word, str(l.next(Text)))
        elif word == "round":
            l.number_of("")
        elif word == "master":
            self.master = Statement(word, l.number, path=l.next(Text), space=None, white=False)
            if l.take("space"):
                self.master.space = l.choice(*SPACES)
            if l.take("on"):
                l.need("white")
                self.master.white = True
        elif word == "picture":
            s = Statement(word, l.number, name=name(l), path=l.next(Text), space=None)
            if l.take("space"):
                s.space = l.choice(*SPACES)
            self.pictures[s.name] = s
        elif word == "inputs":
            l.need("{")
            self.block(self.pin)
        elif word == "prepare":
            l.need("{")
            self.prepare = self.block(step)
        elif word in ("paper", "lab", "mask", "steps", "print"):
            s = Statement(word, l.number, name=name(l), on=None, lab=None)
            if word == "print":
                s.on = name(l) if l.take("on") else None
                s.lab = name(l) if l.take("for") else None
            l.need("{")
            l.end()
            if word == "mask":
                s.lines = self.block(self.mask_line)
            elif word in ("paper", "lab"):
                s.lines = dict(self.block(self.paper_line if word == "paper" else self.lab_line))
            else:
                s.lines = self.block(step)
            place = {"paper": self.papers, "lab": self.labs, "mask": self.masks,
                     "steps": self.steps, "print": self.prints}[word]
            place[s.name] = s
        else:
            raise l.wrong("this reader has no %s" % word)
        l.end()

    @staticmethod
    def pin(l):
        l.next(Text)
        l.need("sha256")
        l.next(Text)

    @staticmethod
    def mask_line(l):
        for way in ("less", "within"):
            if l.take(way):
                return shape(l, way)
        return shape(l, "add")

    @staticmethod
    def paper_line(l):
        word = l.choice("profile", "intent", "black-point")
        if word == "profile":
            return word, l.next(Text)
        return word, l.choice(*INTENTS) if word == "intent" else l.choice("on", "off")

    @staticmethod
    def lab_line(l):
        word = l.next(str)
        if word == "space":
            return word, l.choice(*SPACES)
        l.at = len(l.words)
        return word, None
