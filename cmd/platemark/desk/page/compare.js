// Comparing: what the picture is laid beside, which paper both are shown as on, and
// how they are looked at: beside each other, or as a map of how they differ. (The
// fold is the table's.)
import { answer, ask, at, make, query } from "./ask.js";
import { Layer } from "./tiles.js";

const store = "looking"; // of this window, so that the choice survives a reload

export class Compare {
    // page is what the page asks for, of which print, line and line beside are kept
    // too. on: say(text), changed() after something else was chosen, words().
    constructor(table, page, on) {
        Object.assign(this, { table, page, on, with: "", seen: "", way: "", offered: [], papers: [], folding: false });
        this.twin = at("twin");
        this.host = this.twin.firstElementChild;
        for (const [name, e] of [["white", table.view], ["twinWhite", this.twin]]) e.prepend(this[name] = make("i", { className: "white" }));
        this.map = make("div", { className: "layer" }, make("img", { alt: "", draggable: false }));
        this.restore();
        const before = table.onplace;
        table.onplace = () => { before?.(); this.placed(); };
        at("with").addEventListener("change", (e) => this.choose(e.target.value));
        at("with").addEventListener("focus", () => this.list());
        at("seen").addEventListener("change", (e) => this.seeOn(e.target.value));
        for (const id of ["with", "seen"]) at(id).addEventListener("keydown", (e) => { if (e.key === "Escape") table.view.focus(); });
        this.pointing();
    }

    restore() {
        const kept = JSON.parse(sessionStorage.getItem(store) ?? "{}");
        const take = (to, names) => { for (const n of names) if (n in kept) to[n] = kept[n]; };
        take(this.page, ["file", "print", "line", "beside"]);
        take(this, ["with", "seen", "way", "folding"]);
    }

    keep() {
        const { file, print, line, beside } = this.page, { seen, way } = this;
        sessionStorage.setItem(store, JSON.stringify({ file, print, line, beside, with: this.with, seen, way, folding: this.folding || this.table.fold > 0 }));
    }

    // list asks what there is to compare with.
    async list() {
        const { file, print } = this.page;
        this.of = file + " " + print;
        try {
            const c = await ask("choices", { file, print });
            if (this.of !== file + " " + print) return;
            this.offered = c.list;
            this.papers = c.papers;
            this.options();
            this.on.words();
        } catch (e) {
            this.on.say(e.message);
        }
    }

    // show takes up a state of the server, whose pictures the table has.
    show(state) {
        this.state = state;
        at("note").textContent = state.note ?? "";
        if (this.folding && state.before) {
            this.folding = false;
            this.table.fold ||= 0.5;
            this.table.place();
        }
        if (this.of !== state.file + " " + state.print) this.list();
        this.options();
        this.keep();
    }

    options() {
        const st = this.state, text = st.text.split("\n");
        const lines = st.stops.filter((s) => !s.mask).map((s) => ({ group: "lines of this print", value: "line " + s.line, words: `line ${s.line}: ${text[s.line - 1]?.replace(/#.*/, "").trim()}` }));
        const value = this.with || (st.beside ? "line " + st.beside : "");
        const all = [{ value: "", words: "the line before" }, ...lines, ...this.offered];
        if (!all.some((o) => o.value === value)) all.push({ value, words: value });
        fill(at("with"), all, value);
        fill(at("seen"), [{ value: "", words: "on the screen" }, ...this.papers.map((p) => ({ value: p, words: "as " + p + " shows it" }))], this.seen);
        at("seen").parentElement.hidden = this.papers.length === 0;
    }

    choose(value) {
        const line = /^line (\d+)$/.exec(value);
        this.with = line ? "" : value;
        this.page.beside = line ? +line[1] : 0;
        // Something to compare with is chosen to be seen.
        this.folding = !!value && !this.way && !this.table.was;
        this.on.changed();
    }

    seeOn(paper) {
        this.seen = paper;
        this.last = paper || this.last;
        this.on.changed();
    }

    // proof goes between the screen and the paper that was chosen last, at first the
    // print's own.
    proof() { this.seeOn(this.seen ? "" : this.papers.includes(this.last) ? this.last : this.papers[0]); }

    // look is for both beside each other, for the difference, or for the fold.
    look(way) {
        const t = this.table, on = way === "fold" ? t.fold > 0 : this.way === way;
        this.way = on || way === "fold" ? "" : way;
        t.fold = !on && way === "fold" ? 0.5 : 0;
        t.was = false;
        t.place();
        this.keep();
    }

    // placed follows the table: wherever it goes, the other picture goes too.
    placed() {
        const t = this.table, b = t.before, way = t.fold || !b ? "" : this.way;
        paper(this.white, t, t.what, t.where(t.what));
        const frame = document.querySelector(".table"), two = way === "both";
        if (frame.classList.toggle("two", two) !== !this.twin.hidden) this.twin.hidden = !two;
        if (two) this.double(b);
        else this.layer = this.layer?.remove();
        if (way === "difference") this.measure(b);
        else this.clear();
    }

    double(b) {
        const t = this.table, where = t.where(b), box = this.twin.getBoundingClientRect();
        const off = (v) => (Math.ceil(v * t.ratio - 0.01) - v * t.ratio) / t.ratio + "px";
        Object.assign(this.host.style, { left: off(box.left), top: off(box.top) });
        if (this.layer && this.layer.key !== b.key) this.layer = this.layer.remove();
        this.layer ||= Object.assign(new Layer(this.host, (e) => this.on.say(e.message)), { key: b.key });
        this.layer.ready = () => { this.twin.dataset.ready = this.layer?.whole ? b.key : ""; };
        this.layer.place(b, where, t.seen, t.ratio);
        this.layer.ready();
        this.twin.dataset.place = `${where.x} ${where.y} ${where.z}`;
        paper(this.twinWhite, t, b, where);
        t.rule(b, where, "twin-");
        at("twin-name").textContent = t.called(b, "after ");
        this.twin.setAttribute("aria-label", "beside it, moved with it: " + t.called(b));
    }

    clear() {
        this.stop?.abort();
        this.asked = undefined;
        this.map.remove();
        at("apart").replaceChildren();
        delete this.table.view.dataset.difference;
    }

    // measure asks for the difference of what is seen, once the picture rests.
    measure(b) {
        const t = this.table, p = t.picture, { x, y, z, small } = t.where(p), by = !small && z <= 0.25 ? 4 : 1;
        const lw = small || Math.floor(p.w / by), lh = small ? Math.max(1, Math.round(p.h * small / p.w)) : Math.floor(p.h / by), s = small ? p.w * z / lw : z * by;
        const span = (o, seen, most) => [Math.max(0, Math.floor(-o / s)), Math.min(most, Math.ceil((seen - o) / s))];
        const [x0, x1] = span(x, t.seen.w, lw), [y0, y1] = span(y, t.seen.h, lh);
        const address = query("difference", { key: p.key, other: b.key, x: x0, y: y0, w: x1 - x0, h: y1 - y0, by, small });
        t.host.append(this.map);
        this.map.style.transform = `scale(${1 / t.ratio})`;
        this.map.className = "layer" + (s >= 1 ? " sharp" : "");
        if (address === this.asked) return;
        this.clear();
        this.asked = address;
        at("apart").textContent = "comparing…";
        this.stop = new AbortController();
        const { signal } = this.stop;
        setTimeout(async () => {
            if (signal.aborted) return;
            try {
                const r = await answer(fetch(address, { signal })), f = JSON.parse(r.headers.get("Figures")), image = this.map.firstChild;
                URL.revokeObjectURL(image.src);
                image.src = URL.createObjectURL(await r.blob());
                await image.decode();
                if (signal.aborted) return;
                Object.assign(image.style, { left: x + Math.round(x0 * s) + "px", top: y + Math.round(y0 * s) + "px", width: Math.round((x1 - x0) * s) + "px", height: Math.round((y1 - y0) * s) + "px" });
                t.host.append(this.map);
                this.tell(f, b);
                t.view.dataset.difference = `${x0} ${y0} ${x1 - x0} ${y1 - y0} ${f.mean} ${f.worst}`;
            } catch (e) {
                if (e.name !== "AbortError") this.on.say(e.message);
            }
        }, 150);
    }

    tell(f, b) {
        const ramp = make("span", { className: "ramp" }), share = (v) => (100 * v).toFixed(1) + "%";
        ramp.style.background = `linear-gradient(to right, ${f.scale.join(", ")})`;
        const where = f.share < 1 ? `, where both reach: ${Math.round(100 * f.share)} % of what is seen` : "";
        at("apart").replaceChildren(`difference from ${this.table.called(b)}, by CIEDE2000${this.table.picture.paper ? ", media-relative (each white counts as white, though the pictures show the paper's)" : ""}${where}: mean ${f.mean.toFixed(2)}, worst ${f.worst.toFixed(1)}${f.worst > 0 ? ` at (${share(f.at[0])}, ${share(f.at[1])})` : ""} `,
            make("span", { className: "scale" }, "0 ", ramp, ` ${f.top} and more`));
    }

    // pointing: the other picture is moved and read as this one is.
    pointing() {
        const t = this.table, v = this.twin;
        let from = null;
        v.addEventListener("wheel", (e) => { e.preventDefault(); t.wheel(this.over(e)); }, { passive: false });
        v.addEventListener("dblclick", (e) => t.zoomTo(t.zoom === 1 ? "fit" : 1, this.over(e)));
        v.addEventListener("pointerdown", (e) => {
            if (e.button !== 0) return;
            from = [e.clientX, e.clientY];
            v.setPointerCapture(e.pointerId);
        });
        v.addEventListener("pointermove", (e) => {
            if (!from) return t.before && t.read(this.over(e), t.before);
            t.pan((from[0] - e.clientX) * t.ratio, (from[1] - e.clientY) * t.ratio);
            from = [e.clientX, e.clientY];
        });
        for (const kind of ["pointerup", "pointercancel"]) v.addEventListener(kind, () => { from = null; });
        v.addEventListener("pointerleave", () => { at("where").textContent = ""; });
    }

    // over is an event on the other picture as it would be on this one.
    over(e) {
        const a = this.twin.getBoundingClientRect(), b = this.table.view.getBoundingClientRect(), { deltaX, deltaY, ctrlKey } = e;
        return { clientX: e.clientX - a.left + b.left, clientY: e.clientY - a.top + b.top, deltaX, deltaY, ctrlKey };
    }
}

// paper lays the bare paper under a picture that is shown as on it.
function paper(e, t, p, { x, y, z }) {
    const edge = 14, r = t.ratio;
    e.hidden = !p?.white;
    if (e.hidden) return;
    Object.assign(e.style, { background: p.white, left: x / r - edge + "px", top: y / r - edge + "px", width: p.w * z / r + 2 * edge + "px", height: p.h * z / r + 2 * edge + "px" });
}

// fill puts options into a select, in groups, where they aren't there already.
function fill(select, list, value) {
    const now = JSON.stringify(list);
    if (select.dataset.list !== now) {
        select.dataset.list = now;
        const groups = new Map([[undefined, select]]);
        select.replaceChildren();
        for (const o of list) {
            if (!groups.has(o.group)) groups.set(o.group, select.appendChild(make("optgroup", { label: o.group })));
            groups.get(o.group).append(make("option", { value: o.value }, o.words));
        }
    }
    select.value = value;
}
