"""The steps of prepare or of one print: from statements to nodes, places and lengths."""

from fractions import Fraction

import exact
import profiles
from nodes import INCH, round_half_up, text, texts
from recipe import SPACES


class Way:
    """The steps of prepare or of one print, from the picture that they start with."""

    def __init__(self, planner, node, paper):
        self.planner, self.node, self.paper = planner, node, paper
        self.named = {}
        self.ppi = None
        self.size = self.save = self.print_px = None

    def run(self, lines):
        lines = self.followed(lines)
        i = 0
        while i < len(lines):
            s = lines[i]
            if self.size and not self.print_px and s.word != "crop":
                self.print_px = self.target()
            if s.word == "spot" and not s.pixels:
                run = [s]
                while i + 1 < len(lines) and lines[i + 1].word == "spot" and not lines[i + 1].pixels:
                    i += 1
                    run.append(lines[i])
                self.spots(run)
            else:
                getattr(self, "do_" + s.word)(s)
            i += 1
        return self.node

    def followed(self, lines):
        out = []
        for s in lines:
            out += self.planner.recipe.steps[s.name].lines if s.word == "follow" else [s]
        return out

    def result(self, node, name):
        if name:
            self.named[name] = node
        else:
            self.node = node

    def step(self, s, operation, args, inputs, **more):
        return self.planner.step(operation, s.line, args, inputs, **more)

    # Measures.

    def scale(self, axis):
        """Pixels of the picture for one of the frame, along an axis."""
        x0, y0, x1, y1 = self.node.shows
        return self.node.width / (x1 - x0) if axis == 0 else self.node.height / (y1 - y0)

    def length(self, n):
        """A length of a spot, of sharpening, of surroundings or of grain in pixels of the picture."""
        if n.unit == "px":
            return n.value
        w, h = self.planner.frame
        if n.unit in INCH:
            axis = 0 if w >= h else 1
            px = (self.node.width, self.node.height)[axis]
            return n.value * INCH[n.unit] * self.ppi * px / self.print_px[axis]
        return n.value / 100 * max(w, h) * self.scale(0 if w >= h else 1)

    def place(self, p):
        """A position in pixels of the picture."""
        out = []
        for axis, n in enumerate(p):
            if n.unit == "px":
                out.append(n.value)
            elif n.unit == "%":
                at = n.value / 100 * self.planner.frame[axis]
                out.append((at - self.node.shows[axis]) * self.scale(axis))
            else:
                px = (self.node.width, self.node.height)[axis]
                out.append(n.value * INCH[n.unit] * self.ppi * px / self.print_px[axis])
        return tuple(out)

    def width_px(self, n):
        """The width of a border or a wrap."""
        return str(round_half_up(n.value if n.unit == "px" else n.value * INCH[n.unit] * self.ppi))

    def through(self, name, args, inputs):
        """Adds a mask to a step's inputs, and what of the frame the picture shows to its arguments."""
        if name:
            inputs.append(self.planner.mask(name))
            args["covers"] = texts(*self.node.shows)

    # Statements.

    def do_edition(self, s):
        pass

    def do_size(self, s):
        self.size, self.ppi = s, s.ppi

    def target(self):
        """The print's size in pixels, from the shape of the current picture."""
        s = self.size
        px = [n.value if n.unit == "px" else n.value * INCH[n.unit] * self.ppi for n in s.sides]
        w, h = self.node.width, self.node.height
        if s.kind == "wide":
            sides = px[0], px[0] * h / w
        elif s.kind == "high":
            sides = px[0] * w / h, px[0]
        elif s.within:
            f = min(px[0] / w, px[1] / h)
            sides = w * f, h * f
        else:
            sides = px
        return tuple(max(1, round_half_up(v)) for v in sides)

    def do_crop(self, s):
        n = self.node
        if s.ratio:
            a, b = s.ratio
            w, h = n.width, max(1, round_half_up(n.width * b / a))
            if h > n.height:
                w, h = min(max(1, round_half_up(n.height * a / b)), n.width), n.height
            cx, cy = self.place(s.at) if s.at else (Fraction(n.width, 2), Fraction(n.height, 2))
            x = min(max(0, round_half_up(cx - Fraction(w, 2))), n.width - w)
            y = min(max(0, round_half_up(cy - Fraction(h, 2))), n.height - h)
        else:
            (x, y), (x1, y1) = ([round_half_up(v) for v in self.place(p)] for p in s.corners)
            w, h = x1 - x, y1 - y
        if (w, h) == (n.width, n.height):
            return
        sx, sy = self.scale(0), self.scale(1)
        x0, y0 = n.shows[0] + x / sx, n.shows[1] + y / sy
        args = {"x": str(x), "y": str(y), "w": str(w), "h": str(h)}
        self.node = self.step(s, "crop", args, [n], size=(w, h), shows=(x0, y0, x0 + w / sx, y0 + h / sy))

    def do_enlarge(self, s):
        n = self.node
        w, h = self.print_px
        light = s.light or ("encoded" if w >= n.width and h >= n.height else "linear")
        args = {"width": str(w), "height": str(h), "kernel": s.kernel, "light": light}
        self.result(self.step(s, "enlarge", args, [n], size=(w, h)), s.__dict__["as"])

    def do_take(self, s):
        self.node = self.picture(s.name, self.node)

    def picture(self, name, beside):
        """The picture of a name; one made elsewhere is brought to the one beside it."""
        if name in self.planner.recipe.pictures:
            return self.planner.elsewhere(name, beside)
        return self.named[name]

    def do_blend(self, s):
        top = self.picture(s.top, self.named.get(s.over, self.node))
        over = self.picture(s.over, self.named.get(s.top, self.node))
        args, inputs = {"at": text(s.at if s.at is not None else 1)}, [top, over]
        self.node, before = over, self.node
        self.through(s.through, args, inputs)
        node = self.step(s, "blend", args, inputs, shows=over.shows)
        self.node = before
        self.result(node, s.__dict__["as"])

    def do_sharpen(self, s):
        args = {"radius": text(self.length(s.radius)), "amount": text(s.amount),
                "halo": text(s.halo if s.halo is not None else Fraction(1, 10))}
        if s.quiet is not None:
            args["quiet"] = text(s.quiet)
        if s.blur is not None:
            args["blur"] = s.blur
        inputs = [self.node]
        self.through(s.through, args, inputs)
        name = "deconvolve" if s.method == "deconvolve" else "sharpen"
        self.result(self.step(s, name, args, inputs), s.__dict__["as"])

    def do_fringe(self, s):
        args, inputs = {"radius": text(s.radius)}, [self.node]
        if s.hues:
            args["hue-from"], args["hue-to"] = (text(v) for v in s.hues)
        self.through(s.through, args, inputs)
        self.node = self.step(s, "fringe", args, inputs)

    def do_denoise(self, s):
        args, inputs = {"lightness": text(s.lightness), "chroma": text(s.chroma)}, [self.node]
        self.through(s.through, args, inputs)
        self.result(self.step(s, "denoise", args, inputs), s.__dict__["as"])

    def do_grain(self, s):
        args = {"amount": text(s.amount), "size": text(self.length(s.size)), "seed": text(s.seed)}
        self.node = self.step(s, "grain", args, [self.node])

    def do_spot(self, s):
        args, inputs = {"over": text(s.over)}, [self.node]
        self.through(s.through, args, inputs)
        self.node = self.step(s, "spot-pixels", args, inputs)

    def spots(self, run):
        found = []
        for s in run:
            x, y = self.place(s.at)
            if x < 0 or y < 0 or x > self.node.width or y > self.node.height:
                continue
            soft = s.soft if s.soft is not None else Fraction(3, 10)
            value = "at %s radius %s soft %s" % (texts(x, y), text(self.length(s.radius)), text(soft))
            source = s.__dict__["from"]
            if source:
                value += " from " + texts(*self.place(source))
            found.append((y, x, value))
        if not found:
            return
        found.sort()
        args = {"spot-%d" % i: v for i, (_, _, v) in enumerate(found, 1)}
        self.node = self.step(run[0], "spots", args, [self.node])

    def do_tone(self, s):
        for_paper = s.__dict__["for"]
        if for_paper and self.paper != for_paper:
            return
        args = {}
        for word, value in s.lines.items():
            if word == "curve":
                args[word] = texts(*(v for p in value for v in p))
            elif word == "local":
                args["local"], args["local-radius"] = text(value[0]), text(self.length(value[1]))
            else:
                args[word] = text(value)
        inputs = [self.node]
        self.through(s.through, args, inputs)
        self.node = self.step(s, "tone", args, inputs)

    def do_mix(self, s):
        args = {c: text(getattr(s, c)) for c in ("red", "green", "blue")}
        self.node = self.step(s, "mix", args, [self.node], profile=profiles.built_in("grey-2.2"))

    def do_tint(self, s):
        to = self.planner.master.profile
        if to.channels == 1 or not to.has_curves or any(t[:3] in ("A2B", "B2A") for t in to.tags):
            to = profiles.built_in("sRGB")
        args = {"hue": text(s.hue), "chroma": text(s.chroma), "profile": to.digest}
        self.node = self.step(s, "tint", args, [self.node], profile=to)

    def do_convert(self, s):
        recipe = self.planner.recipe
        intent, black = s.intent, s.black_point
        path = s.profile
        if s.to in recipe.papers:
            paper = recipe.papers[s.to].lines
            path = paper["profile"]
            intent, black = intent or paper.get("intent"), black or paper.get("black-point")
        if path:
            to = self.planner.profile(path)
        else:
            space = s.to if s.to in SPACES else recipe.labs[s.to].lines["space"]
            to = profiles.built_in(space)
        args = {"profile": to.digest, "intent": intent or "relative", "black-point": black or "on"}
        if s.keep:
            args["hue"] = "keep"
        self.node = self.step(s, "convert", args, [self.node], profile=to)

    def colour(self, colour):
        """A colour as codes of the picture's space."""
        word, lightness = colour
        profile = self.node.profile
        if word == "white" or word == "black":
            codes = [65535 if word == "white" else 0] * profile.channels
        else:
            t = (lightness + 16) / Fraction(116)
            y = t ** 3 if lightness > 8 else lightness * 27 / Fraction(24389)
            codes = [profile.curves[0].encode(exact.to64(y))] * profile.channels
        return " ".join(str(int(c)) for c in codes)

    def do_border(self, s):
        width = self.width_px(s.width)
        args = {"width": width, "colour": self.colour(s.colour)}
        w, h = self.node.width + 2 * int(width), self.node.height + 2 * int(width)
        self.node = self.step(s, "border", args, [self.node], size=(w, h))

    def do_wrap(self, s):
        width = self.width_px(s.width)
        args = {"width": width, "way": s.way}
        if s.way == "colour":
            args["colour"] = self.colour(s.colour)
        more = 0 if s.way == "picture" else 2 * int(width)
        size = (self.node.width + more, self.node.height + more)
        self.node = self.step(s, "wrap", args, [self.node], size=size)

    def do_save(self, s):
        self.save = s
