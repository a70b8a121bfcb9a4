#!/usr/bin/env python3
"""A second reader of recipes: builds prints, and checks itself by the frozen vectors.

    second.py vectors FOLDER [PIECE ...]    run the frozen vectors, print a table
    second.py build RECIPE --out DIR        build a recipe's prints and their logs
    second.py reprint PACKAGE --out DIR     make the print of a package again, an unpacked folder
    second.py many                          the same for each line of standard input,
                                            "RECIPE<tab>DIR", one line of answer each
"""

import hashlib
import json
import os
import sys
import traceback

sys.dont_write_bytecode = True  # a package stays as it is

import build
import profiles
import vectors


def draft():
    """The digest of the list of frozen vectors, which a log names while the language is a draft."""
    for name in sorted(os.listdir(profiles.FROZEN)):
        if name in ("LIST", "list"):  # in a package all names are in small letters
            with open(os.path.join(profiles.FROZEN, name), "rb") as f:
                return hashlib.sha256(f.read()).hexdigest()
    raise FileNotFoundError("no list of frozen vectors in " + profiles.FROZEN)


def make(path, out):
    """Builds a recipe's prints; files are FILE and FILE.MARK.audit.jsonl, a log without its run record."""
    builder = build.Builder(path, draft())
    for name in builder.recipe.prints:
        p = builder.build(name)
        write(p, os.path.join(out, p.path))


def write(p, file):
    """Writes a print and its log."""
    os.makedirs(os.path.dirname(file), exist_ok=True)
    for place, data in ((file, p.data), ("%s.%s.audit.jsonl" % (file, p.mark[:12]), p.log.bytes())):
        with open(place, "wb") as f:
            f.write(data)


def reprint(package, out):
    """Makes the print of a package again if it comes to the determined records of the package's log."""
    with open(os.path.join(package, "data", "names.json"), encoding="utf-8") as f:
        names = json.load(f)
    where = {i["name"]: os.path.join(package, i["payload"]) for i in names["inputs"]}
    builder = build.Builder(os.path.join(package, names["recipe"]["payload"]), draft(), where)
    p = builder.build(names["print"])
    with open(os.path.join(package, names["log"]["payload"]), "rb") as f:
        records = f.read().split(b"\n")
    for number, (made, recorded) in enumerate(zip(p.log.lines, records), 1):
        if made != recorded:
            sys.exit("different: line %d of the log; no file was written\nhere      %s\nrecorded  %s" % (number, made, recorded))
    write(p, os.path.join(out, names["file"]["name"]))
    print("identical: sha256 %s  %s" % (hashlib.sha256(p.data).hexdigest(), names["file"]["name"]))


def main(args):
    if len(args) >= 2 and args[0] == "vectors":
        profiles.FROZEN = args[1]
        for row in vectors.table(args[1], args[2:], bool(args[2:])):
            print("%-28s %4d %4d" % row)
    elif len(args) == 4 and args[0] == "build" and args[2] == "--out":
        make(args[1], args[3])
    elif len(args) == 4 and args[0] == "reprint" and args[2] == "--out":
        reprint(args[1], args[3])
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
