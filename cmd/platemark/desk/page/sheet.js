// The sheet: the recipe's text as it is written, with what is wrong in it, what
// may stand where the caret is, and the ring in the margin.
import { at, make, send } from "./ask.js";
import { again, apply, change, moved, offset, place, posted } from "./text.js";

const row = 22, top = 6;

// Words that begin a line are set bold; the language's own list would be longer
// than what an eye needs.
const painted = /("(?:[^"\\\n]|\\.)*"?)|(#.*)|(^[ \t]*[a-z][a-z-]*)/gm;

export class Sheet {
    // on has: changed() after the text went to the server, chosen(line) where a
    // line's picture is asked for, say(text).
    constructor(on) {
        this.on = on;
        this.text = at("text");
        this.box = at("recipe");
        this.sent = null; // the server's text; null before the first
        this.version = 0;
        this.file = 0;
        this.state = null;
        this.offered = [];
        this.text.addEventListener("input", () => {
            this.typed = performance.now();
            setTimeout(() => this.tellWrong(), 700);
            this.layOut();
            this.flush(true);
            this.list(this.offered);
            this.ask();
        });
        this.text.addEventListener("keydown", (e) => this.key(e));
        this.text.addEventListener("blur", () => setTimeout(() => this.close(), 150));
        document.addEventListener("selectionchange", () => {
            if (document.activeElement === this.text) this.tellWrong();
        });
        const grip = this.grip = make("span", { className: "grip" });
        const choose = (e) => this.on.chosen(Math.floor((e.clientY - this.text.getBoundingClientRect().top - top) / row) + 1, e.shiftKey);
        grip.addEventListener("pointerdown", (e) => { e.preventDefault(); grip.setPointerCapture(e.pointerId); choose(e); });
        grip.addEventListener("pointermove", (e) => { if (grip.hasPointerCapture(e.pointerId) && !e.shiftKey) choose(e); });
    }

    // waits says that a state is of another text than the one on its way: it is
    // asked for again when that has arrived.
    waits(state) { return state.file === this.file && (this.flushing && state.version !== this.version || state.version < this.version); }

    // show takes up a state of the server.
    show(state) {
        this.state = state;
        const now = state.text.replace(/\r\n?/g, "\n");
        if (this.sent === null || state.file !== this.file) {
            this.text.value = now;
            this.laid = undefined;
            this.text.setSelectionRange(0, 0);
        } else if (now !== this.sent && this.text.value === this.sent) {
            this.put(now);
        } else if (now !== this.sent) {
            // Another window wrote while letters were on their way.
            const mine = again(change(this.sent, this.text.value), this.sent, now);
            if (!mine) this.on.say("another window wrote in the same line: its text stands, and undo has the one before");
            this.put(mine ? apply(now, mine) : now);
        }
        this.file = state.file;
        this.sent = now;
        this.version = state.version;
        this.layOut();
        this.tellWrong();
        if (this.text.value !== now) this.flush(true);
    }

    // put sets the text; the caret stays where it was written.
    put(now) {
        const was = this.text.value, a = moved(this.text.selectionStart, was, now), z = moved(this.text.selectionEnd, was, now);
        this.text.value = now;
        this.text.setSelectionRange(a, z);
    }

    // flush brings what was typed to the server, one change after the other.
    async flush(typed) {
        if (this.flushing) return this.flushing.catch(() => {}); // who began it says what went wrong
        this.flushing = (async () => {
            while (this.text.value !== this.sent) {
                const now = this.text.value, c = change(this.sent, now);
                const r = await send("change", this.file, { version: this.version, typed, changes: [posted(this.sent, c)] });
                this.version = r.version;
                this.sent = now;
            }
        })();
        try {
            await this.flushing;
        } catch (e) {
            if (e.status !== 409) this.on.say(e.message);
        } finally {
            this.flushing = null;
        }
        this.on.changed();
    }

    // edit changes a stretch of the text, as a mend or an offer does.
    edit(range, text) {
        const was = this.text.value, c = { from: offset(was, range.start), to: offset(was, range.end), text };
        this.text.value = apply(was, c);
        this.text.setSelectionRange(c.from + text.length, c.from + text.length);
        this.close();
        this.layOut();
        return this.flush(false);
    }

    get line() { return place(this.text.value, this.text.selectionStart).line + 1; }

    goTo(line) {
        const from = offset(this.text.value, { line: line - 1, character: 0 });
        this.text.focus();
        this.text.setSelectionRange(from, from);
        this.reveal(line);
        this.tellWrong();
    }

    reveal(line) {
        const y = top + (line - 1) * row;
        if (y < this.box.scrollTop || y + row > this.box.scrollTop + this.box.clientHeight) this.box.scrollTop = y - this.box.clientHeight / 2;
    }

    key(e) {
        const listed = this.offered.length > 0 && !at("offers").hidden;
        if (listed && ["ArrowDown", "ArrowUp"].includes(e.key)) {
            const n = this.offered.length;
            this.select((this.selected + (e.key === "ArrowDown" ? 1 : n - 1)) % n);
        } else if (listed && (e.key === "Tab" && !e.shiftKey || e.key === "Enter")) {
            this.take(this.selected);
        } else if (listed && e.key === "Escape") {
            this.close();
        } else if (e.key === "Tab" && !e.shiftKey && this.mendHere) {
            this.edit(this.mendHere.at, this.mendHere.text);
        } else if (e.key === " " && e.ctrlKey) {
            this.ask(true);
        } else if (e.key === "Enter" && e.altKey) {
            this.on.chosen(this.line, e.shiftKey);
        } else {
            return;
        }
        e.preventDefault();
        e.stopPropagation();
    }

    // ask finds what may stand at the caret, once letters have been typed.
    async ask(always) {
        const caret = this.text.selectionStart, text = this.text.value;
        if (caret !== this.text.selectionEnd || !always && !/[a-z"/-]/i.test(text[caret - 1] || "")) return this.close();
        await this.flush(true);
        if (this.text.value !== text || this.text.selectionStart !== caret) return;
        let list = [];
        try {
            list = await send("offers", this.file, { version: this.version, at: place(text, caret) });
        } catch { /* the text has moved on: the next letter asks again */ }
        if (this.text.selectionStart !== caret || this.text.value !== text) return;
        this.list(list.map((o) => ({ ...o, from: offset(text, o.textEdit.range.start) })));
    }

    // list shows the offers that go on with what has been written.
    list(offers) {
        const caret = this.text.selectionStart, text = this.text.value;
        this.offered = offers.filter((o) => o.from <= caret && o.label !== text.slice(o.from, caret) && o.label.startsWith(text.slice(o.from, caret))).slice(0, 40);
        if (this.offered.length === 0) return this.close();
        const box = at("offers");
        box.replaceChildren(...this.offered.map((o, i) => {
            const li = make("li", { id: "offer-" + i, role: "option" }, o.label);
            if (o.detail) li.append(make("small", {}, o.detail));
            li.addEventListener("pointerdown", (e) => { e.preventDefault(); this.take(i); });
            return li;
        }));
        box.hidden = false;
        this.tellWrong();
        const p = place(text, caret);
        box.style.top = top + (p.line + 1) * row + "px";
        box.style.left = Math.min(48 + p.character * this.wide(), this.box.scrollLeft + this.box.clientWidth - 180) + "px";
        this.select(0);
    }

    select(i) {
        this.selected = i;
        [...at("offers").children].forEach((li, k) => li.setAttribute("aria-selected", k === i));
        at("offers").children[i].scrollIntoView({ block: "nearest" });
        this.text.setAttribute("aria-activedescendant", "offer-" + i);
    }

    take(i) {
        const o = this.offered[i], text = this.text.value;
        this.edit({ start: place(text, o.from), end: place(text, this.text.selectionStart) }, o.label);
    }

    close() {
        this.offered = [];
        at("offers").hidden = true;
        this.text.removeAttribute("aria-activedescendant");
        this.tellWrong();
    }

    wide() { // of a letter
        this.letter ||= (() => {
            const m = make("span", {}, "0".repeat(100));
            at("paint").append(m);
            const w = m.getBoundingClientRect().width / 100;
            m.remove();
            return w;
        })();
        return this.letter;
    }

    // layOut draws the text and what stands in the margin.
    layOut() {
        const text = this.text.value, marks = [];
        if (this.laid !== undefined && this.laid !== text) {
            // A line is found again by its end; of one that went, 0 is left if asked.
            const was = this.laid, c = change(was, text);
            this.on.shifted((line, gone) => {
                const end = offset(was, { line: line - 1, character: Infinity });
                return !line || gone && c.from < end && end < c.to ? 0 : place(text, moved(end, was, text)).line + 1;
            });
        }
        this.laid = text;
        const current = this.state && text === this.sent;
        for (const p of current ? this.state.problems : []) {
            if (p.severity === "note") continue;
            const a = offset(text, p.at.start), z = Math.max(offset(text, p.at.end), a + 1);
            marks.push([a, z]);
        }
        const paint = at("paint"), out = [];
        const add = (s, kind, from) => {
            let i = 0;
            for (const [a, z] of marks) {
                const lo = Math.max(a - from, i), hi = Math.min(z - from, s.length);
                if (lo >= hi) continue;
                out.push(kind(s.slice(i, lo)), make("u", {}, kind(s.slice(lo, hi))));
                i = hi;
            }
            out.push(kind(s.slice(i)));
        };
        marks.sort((a, b) => a[0] - b[0]);
        let i = 0;
        for (const m of text.matchAll(painted)) {
            add(text.slice(i, m.index), (s) => s, i);
            const kind = m[1] ? (s) => s : m[2] ? (s) => make("i", {}, s) : (s) => make("b", {}, s);
            add(m[0], kind, m.index);
            i = m.index + m[0].length;
        }
        add(text.slice(i), (s) => s, i);
        paint.replaceChildren(...out, "\n");
        this.text.style.width = Math.max(paint.scrollWidth, this.box.clientWidth) + "px";
        this.text.style.height = Math.max(paint.scrollHeight, this.box.clientHeight) + "px";
        this.mark();
    }

    // mark draws the ring, the rule beside the lines that have worked on the
    // picture, and where something is wrong.
    mark() {
        const margin = at("margin"), st = this.state, list = [];
        margin.style.height = this.text.value.split("\n").length * row + "px";
        const bar = (kind, from, to) => {
            const s = make("span", { className: kind });
            s.style.top = (from - 1) * row + "px";
            s.style.height = (to - from + 1) * row + "px";
            list.push(s);
            return s;
        };
        if (st) {
            const now = st.stops.findIndex((s) => s.line === st.line);
            st.stops.forEach((s, i) => { if (i < now && !s.mask && !st.stops[now].mask) bar("was", s.line, s.end); });
            if (now >= 0) bar("here", st.stops[now].line, st.stops[now].end);
            for (const p of st.problems) {
                if (p.severity !== "note") bar("bad", p.line, p.line).textContent = p.severity === "error" ? "!" : "?";
            }
            const round = (kind, line) => Object.assign(bar(kind, line, line).style, { top: (line - 1) * row + 4 + "px", height: "14px" });
            if (st.beside) round("other", st.beside);
            if (now >= 0) round("ring", st.line);
        }
        margin.replaceChildren(...list, this.grip);
    }

    // tellWrong says what is wrong in the caret's line, and how it is mended.
    tellWrong() {
        const st = this.state, box = at("mend");
        const ready = st && this.text.value === this.sent && document.activeElement === this.text && this.offered.length === 0;
        let here = ready ? st.problems.find((p) => p.line === this.line && p.severity !== "note") : null;
        // Half a word is no mistake yet.
        if (here && !here.mend && performance.now() - (this.typed || 0) < 650) here = null;
        this.mendHere = here?.mend;
        const key = here ? here.line + here.what + here.detail : "";
        if (key === this.told && box.childNodes.length > 0 === !!here) return;
        this.told = key;
        if (!here) return box.replaceChildren();
        box.style.top = top + here.line * row + 2 + "px";
        box.replaceChildren(here.what + ". " + (here.detail ? here.detail + " " : ""));
        if (here.mend) {
            const b = make("button", { type: "button" }, make("kbd", {}, "Tab"), " " + here.mend.words);
            b.addEventListener("pointerdown", (e) => { e.preventDefault(); this.edit(here.mend.at, here.mend.text); });
            box.append(b);
        } else if (here.hints?.length) {
            box.append(make("span", {}, "Mend: " + here.hints.join("; ")));
        }
    }
}
