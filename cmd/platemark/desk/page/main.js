import { ask, at, make, query, send } from "./ask.js";
import { Compare } from "./compare.js";
import { Finds } from "./finds.js";
import { Marks, verbs } from "./marks.js";
import { Sheet } from "./sheet.js";
import { percent, Table } from "./table.js";
import { Walk } from "./walk.js";

// line is the ring's, 0 for the end of the print; beside the line that it is
// compared with, 0 for the one before; mark the line whose points are
// shown, 0 for the ring's.
const page = { file: 0, print: "", line: 0, beside: 0, mark: 0, state: null, asking: 0 };

// What lasts comes back when what was said for a while has gone.
let quiet, lasting = "";
function say(text, long) {
    if (long || !text) lasting = text;
    at("doing").textContent = text;
    clearTimeout(quiet);
    if (!long) quiet = setTimeout(() => { at("doing").textContent = lasting; }, 8000);
}

const sheet = new Sheet({ say, changed: () => refresh(), chosen: (line, other) => choose(line, other), shifted: (to) => { page.line = to(page.line); page.beside = to(page.beside, true); page.mark = to(page.mark, true); } });
const table = new Table({ say, changed: () => words() });
const marks = new Marks(table, {
    say,
    context: async () => { await sheet.flush(true); return { file: page.file, version: sheet.version, print: page.print, line: page.mark || page.state.line }; },
    done: async (line) => {
        await refresh();
        if (!line) return;
        page.mark = line;
        await refresh();
        sheet.reveal(line);
    },
});

const end = async () => { Object.assign(page, { line: 0, beside: 0, mark: 0 }); await refresh(); };
const finds = new Finds(table, { say, end, changed: () => { table.show(...finds.pair(page.state)); words(); }, taken: async (line) => { await refresh(); sheet.reveal(line); } });
const compare = new Compare(table, page, { say, changed: () => refresh(), words: () => words() });
const walk = new Walk(table, { say, end, changed: () => words() });

// refresh asks for the recipe as it stands; of several at once the last counts.
async function refresh() {
    const n = ++page.asking, { line, beside, mark } = page;
    page.stop?.abort();
    page.stop = new AbortController();
    try {
        const st = await ask("state", { file: page.file, print: page.print, line, beside, mark, with: compare.with, seen: compare.seen }, page.stop.signal);
        if (n !== page.asking) return;
        show(st);
        // Lines came or went above the ring's: it was of the text before.
        if (line !== page.line || beside !== page.beside || mark !== page.mark) return refresh();
    } catch (e) {
        if (e.name !== "AbortError") say(e.message);
    }
}

function show(st) {
    if (sheet.waits(st)) return;
    page.state = st;
    page.print = st.print;
    document.title = (st.saved ? "" : "* ") + st.title;
    at("title").textContent = st.title;
    options(at("file"), st.files, st.files[st.file]);
    options(at("print"), st.prints, st.print);
    at("kept").textContent = st.clash ? "not saved" : st.gone ? "the file is gone; Ctrl+S writes it anew" : st.saved ? "as saved" : st.restored ? "taken up from last time, not saved yet; Ctrl+S saves" : "not saved yet; Ctrl+S saves";
    at("clash").hidden = !st.clash;
    at("other").textContent = st.clash?.text ?? "";
    for (const [id, can] of [["undo", st.undo], ["redo", st.redo], ["save", !st.saved && !st.clash]]) at(id).disabled = !can;
    sheet.show(st);
    const bad = st.problems.filter((p) => p.severity === "error"), first = bad[0];
    const wrong = at("wrong");
    wrong.replaceChildren();
    if (first) {
        wrong.append(make("button", { type: "button", onclick: () => sheet.goTo(first.line) }, `line ${first.line}: ${first.what}`), bad.length > 1 ? ` and ${bad.length - 1} more` : "");
    }
    // While a line is being written the picture stays that of the text before.
    if (st.picture || !first) table.show(...finds.pair(st));
    compare.show(st);
    marks.show(st);
    at("here").textContent = st.picture ? `After line ${st.line}. Alt ↑ ↓ go along the lines; Shift with a click in the margin compares with another.` : st.why;
    words();
    if (!page.seen) sheet.reveal(st.line);
    page.seen = true;
    finds.show(st);
    walk.show(st);
}

function options(select, list, value) {
    if ([...select.options].map((o) => o.value).join("\n") !== list.join("\n")) select.replaceChildren(...list.map((v) => make("option", { value: v }, v)));
    select.value = value;
    select.parentElement.hidden = list.length < 2;
}

// choose puts the ring at a line; other, the second ring, which the first is
// compared with: at the ring's own line it goes.
function choose(line, other) {
    if (other) compare.with = "";
    if (other) page.beside = line === page.state.line || line === page.beside ? 0 : line;
    else if (line === page.line && !page.mark) return;
    else Object.assign(page, { line, mark: 0 });
    if (other && page.beside && !table.fold) table.fold = 0.5;
    refresh();
}

// step goes along the lines in the order in which they work.
function step(by) {
    const st = page.state, i = st?.stops.findIndex((s) => s.line === st.line);
    if (!st || i < 0) return;
    const next = st.stops[Math.max(0, Math.min(st.stops.length - 1, i + by))];
    choose(next.line);
    sheet.reveal(next.line);
}

// written opens the page that a command writes of what is looked at.
const written = (what, more) => open(query(what, { file: page.file, print: page.print, ...more }), "_blank", "noopener");

// The words below the picture: each is a key too, the letter that is underlined.
const list = [
    ...verbs.map(({ word, key, of }) => ({ word, key, on: () => marks.verb === word, act: () => marks.choose(word), there: () => !finds.going && (!of || !!table.picture && marks.shown?.kind === of) })),
    { word: "finds", key: "i", first: true, on: () => finds.going, act: () => { marks.choose(null); finds.toggle(); } },
    ...[["next", "n", () => finds.step(1)], ["previous", "p", () => finds.step(-1)], ["take", "t", () => finds.put("take")], ["dismiss", "d", () => finds.put("dismiss")]].map(([word, key, act]) => ({ word, key, act, there: () => !!finds.now })),
    { word: "page", key: "a", name: "page of what was found", act: () => written("inspected", { finished: finds.finished }), there: () => !!finds.now },
    { word: "of the print", key: "o", name: "of the print: what is found in its finished pixels, not in the master", on: () => finds.finished, act: () => finds.other(), there: () => finds.going },
    { word: "walk", key: "w", on: () => walk.going, act: () => walk.toggle() },
    { word: "on", key: " ", hint: "space", name: "on with the walk", act: () => walk.go(), there: () => walk.going },
    { word: "fit", key: "f", first: true, on: () => table.zoom === "fit", act: () => table.zoomTo("fit") },
    ...[[0.25, "4"], [0.5, "5"], [1, "1"], [2, "2"], [4, "0"]].map(([z, key]) => ({ word: z === 4 ? "400 %" : `${100 * z}`, name: percent(z) + (z === 0.5 ? ", as printers judge sharpening" : ""), hint: key, key, on: () => table.zoom === z, act: () => table.zoomTo(z), there: () => z > table.fit || z === 1 })),
    { word: "before", key: "b", on: () => table.was, act: () => { table.was = !table.was && !!table.before; table.place(); }, there: () => !!table.before && !table.fold },
    { word: "fold", key: "l", on: () => table.fold > 0, act: () => compare.look("fold"), there: () => !!table.before },
    { word: "both", key: "h", name: "both beside each other", on: () => compare.way === "both", act: () => compare.look("both"), there: () => !!table.before },
    { word: "difference", key: "x", hint: "x", on: () => compare.way === "difference", act: () => compare.look("difference"), there: () => !!table.before },
    { word: "versus", key: "v", name: "versus: choose what it is compared with", act: () => at("with").focus() },
    { word: "proof", key: "r", name: "proof, as the paper shows it", on: () => !!compare.seen, act: () => compare.proof(), there: () => compare.papers.length > 0 },
    { word: "what changed", key: "y", hint: "y", name: "what changed: the page that diff writes", act: () => written("differed", { with: compare.with }), there: () => /^(round|print) /.test(compare.with) },
    { word: "figures", key: "q", hint: "q", name: "figures: the page that proof writes", act: () => written("proofed", { paper: compare.seen }), there: () => !!compare.seen },
    { word: "mask", key: "m", on: () => table.hatch, act: () => { table.hatch = !table.hatch; table.place(); }, there: () => !!table.picture?.mask },
    { word: "grid", key: "g", on: () => table.grid, act: () => { table.grid = !table.grid; table.place(); } },
    { word: "units", key: "u", act: () => { table.unit = (table.unit + 1) % 3; table.place(); } },
];

function words() {
    const group = at("words");
    for (const w of list) {
        if (!w.button) {
            const i = w.hint ? -1 : w.word.indexOf(w.key);
            w.button = make("button", { type: "button" }, ...(i < 0 ? [w.word] : [w.word.slice(0, i), make("u", {}, w.word[i]), w.word.slice(i + 1)]));
            w.button.setAttribute("aria-keyshortcuts", w.hint ?? w.key);
            w.button.title = `${w.name ? w.name + ": " : ""}key ${w.hint ?? w.key}`;
            if (w.name) w.button.setAttribute("aria-label", w.name);
            if (w.first) w.button.className = "look";
            w.button.onclick = () => use(w);
            group.append(w.button);
        }
        w.button.hidden = w.there?.() === false;
        if (w.on) w.button.setAttribute("aria-pressed", !!w.on());
    }
}

function use(w) {
    if (!table.picture || w.there?.() === false) return;
    w.act();
    words();
}

async function act(path, body) {
    try {
        await sheet.flush(true);
        await send(path, page.file, body);
        if (path === "save") say("saved");
    } catch (e) {
        say(e.message);
    }
    refresh();
}

addEventListener("keydown", (e) => {
    const key = e.key.toLowerCase();
    if ((e.ctrlKey || e.metaKey) && !e.altKey) {
        const path = { s: "save", z: e.shiftKey ? "redo" : "undo", y: "redo" }[key];
        if (!path) return;
        e.preventDefault();
        return act(path);
    }
    if (e.altKey && (e.key === "ArrowUp" || e.key === "ArrowDown")) {
        e.preventDefault();
        return step(e.key === "ArrowUp" ? -1 : 1);
    }
    if (e.altKey || /^(textarea|select|input)$/i.test(e.target.tagName)) return;
    if (marks.key(e)) {
        words();
        return e.preventDefault();
    }
    const by = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[e.key];
    const w = list.find((w) => w.key === key && w.there?.() !== false);
    if (key === " " && e.target.tagName === "BUTTON") return; // it is pressed
    if (key === " ") e.shiftKey ? walk.back() : walk.go();
    else if (e.key === "W") walk.anew();
    else if (e.key === "Escape" && finds.going) finds.toggle();
    else if (by && e.target === table.view) table.pan(by[0] * table.seen.w / (e.shiftKey ? 1.1 : 8), by[1] * table.seen.h / (e.shiftKey ? 1.1 : 8));
    else if (key === "+" || key === "=") table.zoomBy(1);
    else if (key === "-") table.zoomBy(-1);
    else if (w) use(w);
    else return;
    e.preventDefault();
});

for (const id of ["undo", "redo", "save"]) at(id).addEventListener("click", () => act(id));
at("file").addEventListener("change", (e) => { compare.with = ""; Object.assign(page, { file: e.target.selectedIndex, print: "", line: 0, beside: 0, mark: 0 }); refresh(); });
at("print").addEventListener("change", (e) => { page.print = e.target.value; refresh(); });
at("theirs").addEventListener("click", () => act("settle", { mine: false, seen: page.state.clash.digest }));
at("mine").addEventListener("click", () => act("settle", { mine: true, seen: page.state.clash.digest }));
addEventListener("resize", () => { sheet.layOut(); sheet.reveal(page.state?.line ?? 1); });

const news = new SharedWorker("news.js").port;
news.onmessage = (e) => {
    const [what, ...rest] = e.data.split(" ");
    if (what === "hello" || what === "recipe" && +rest[0] === page.file) refresh();
    else if (what === "finds") finds.show(page.state);
    else if (what === "busy") say(rest.join(" ") || lasting, !rest.join(""));
    else if (what === "silence") say("platemark view has ended. What was typed and not saved is kept: it comes back when view is started again.", true);
};
addEventListener("pagehide", () => news.postMessage("bye"));
refresh();
