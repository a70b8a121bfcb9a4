#!/usr/bin/env python3
"""A second reader of recipes: builds prints, and checks itself by the frozen vectors.

    second.py vectors FOLDER [PIECE ...]    run the frozen vectors, print a table
    second.py build RECIPE --out DIR        build a recipe's prints and their logs
    second.py many                          the same for each line of standard input,
                                            "RECIPE<tab>DIR", one line of answer each
"""

import hashlib
import os
import sys
import traceback

import build
import profiles
import vectors


def draft():
    """The digest of the list of frozen vectors, which a log names while the language is a draft."""
    with open(os.path.join(profiles.FROZEN, "LIST"), "rb") as f:
        return hashlib.sha256(f.read()).hexdigest()


def make(path, out):
    """Builds a recipe's prints; files are FILE and FILE.MARK.audit.jsonl, a log without its run record."""
    builder = build.Builder(path, draft())
    for name in builder.recipe.prints:
        p = builder.build(name)
        file = os.path.join(out, p.path)
        os.makedirs(os.path.dirname(file), exist_ok=True)
        for place, data in ((file, p.data), ("%s.%s.audit.jsonl" % (file, p.mark[:12]), p.log.bytes())):
            with open(place, "wb") as f:
                f.write(data)


def main(args):
    if len(args) >= 2 and args[0] == "vectors":
        profiles.FROZEN = args[1]
        for row in vectors.table(args[1], args[2:], bool(args[2:])):
            print("%-28s %4d %4d" % row)
    elif len(args) == 4 and args[0] == "build" and args[2] == "--out":
        make(args[1], args[3])
    elif args == ["many"]:
        for line in sys.stdin:
            path, out = line.rstrip("\n").split("\t")
            try:
                make(path, out)
                print("built", path, flush=True)
            except Exception:
                print("failed", path, traceback.format_exc().replace("\n", " | "), flush=True)
    else:
        sys.exit(__doc__)


if __name__ == "__main__":
    main(sys.argv[1:])
