// What inspect finds in the master, or in the print's finished pixels, stepped through
// on the print: each at 100 % and ringed, as it is and with its line, to be taken into the recipe or dismissed.
import { ask, at, draw, send } from "./ask.js";

export class Finds {
    // on: say(text, long), end() puts the ring at the end of the print, taken(line),
    // changed() after what is shown has become another.
    constructor(table, on) {
        this.table = table;
        this.on = on;
        this.going = false;
        this.finished = false; // of the print's finished pixels, not of the master
        this.list = [];
        this.at = 0;
        this.mended = null; // the print with the line of the find that is shown
        this.asking = 0;
        const before = table.onplace;
        table.onplace = () => { before?.(); this.paint(); };
    }

    get now() { return this.going ? this.list[this.at] : undefined; }

    // pair is the picture to show, and the one before it.
    pair(state) {
        const p = state.picture ?? null;
        if (this.now && this.mended && p) return [this.mended, { ...p, name: "without its line" }];
        return [p, state.before ?? null];
    }

    show(state) {
        this.state = state;
        if (this.going) this.ask();
    }

    async toggle() {
        this.going = !this.going;
        if (this.going) return this.begin();
        this.list = [];
        this.mended = null;
        this.on.say("");
        this.on.changed();
    }

    // other goes between the master's finds and those of the print as it is finished.
    other() {
        this.finished = !this.finished;
        return this.begin();
    }

    async begin() {
        this.list = [];
        this.mended = null;
        this.at = 0;
        this.table.fold = 0;
        this.on.say(this.finished ? "looking over the finished print" : "looking over the master", true);
        await this.on.end();
    }

    // ask brings the list up to the recipe, and shows the find whose turn it is.
    async ask() {
        const n = ++this.asking, st = this.state, number = this.now?.number;
        try {
            const f = await ask("finds", { file: st.file, print: st.print, finished: this.finished });
            if (n !== this.asking || !this.going) return;
            if (f.says) return this.on.say(f.says, true);
            this.list = f.finds;
            this.open = f.open;
            this.seenOn = f.on;
            this.words = f.words ?? [];
            const i = this.list.findIndex((x) => x.number === number);
            this.step(i < 0 ? 0 : i - this.at);
        } catch (e) {
            if (n === this.asking) this.on.say(e.message, true);
        }
    }

    // step goes along the finds and shows the one it comes to, as it is.
    async step(by) {
        const n = ++this.asking, t = this.table, st = this.state;
        this.at = Math.max(0, Math.min(this.list.length - 1, this.at + by));
        this.mended = null;
        const f = this.now;
        if (!f) {
            this.on.changed();
            return this.on.say(["nothing is seen that isn't mended or dismissed, on " + this.seenOn, ...this.words].join(" · "), true);
        }
        [t.cx, t.cy] = f.at;
        t.was = true; // with what is found
        t.zoomTo(t.zoom === "fit" || t.zoom < 1 ? 1 : t.zoom);
        this.on.changed();
        this.tell();
        if (!f.lines?.length) return;
        try {
            const m = await send("mended", st.file, { version: st.version, print: st.print, finished: this.finished, number: f.number });
            if (n !== this.asking) return;
            this.mended = { ...m, name: "with " + lines(f) };
            t.was = true;
            this.on.changed();
        } catch (e) {
            if (n === this.asking && e.status !== 409) this.tell(e.message);
        }
    }

    tell(words = lines(this.now)) {
        const f = this.now;
        this.on.say(`find ${this.at + 1} of ${this.open}${this.finished ? " in the finished print" : ""}: ${f.words} · ${words}`, true);
    }

    // put takes or dismisses the find that is shown; the next one comes in its place.
    async put(how) {
        const f = this.now, st = this.state;
        if (!f) return;
        try {
            const r = await send(how, st.file, { version: st.version, print: st.print, finished: this.finished, number: f.number });
            if (how === "take") this.on.taken(r.line);
        } catch (e) {
            this.on.say(e.message, true);
        }
    }

    paint() {
        const svg = at("marks"), t = this.table, f = this.now;
        svg.querySelectorAll(".found").forEach((e) => e.remove());
        if (!f || !t.what) return;
        const p = t.what, [x, y] = t.point(...t.of(p, ...f.at)), z = t.where(p).z / t.ratio, [kx, ky] = t.scale(p);
        const r = 14 + Math.hypot(f.size[0] * p.frame[0] * kx, f.size[1] * p.frame[1] * ky) / 2 * z, g = draw("g", { class: "drawn found" });
        g.append(draw("circle", { cx: x, cy: y, r, class: "under" }), draw("circle", { cx: x, cy: y, r, class: "over" }));
        svg.append(g);
    }
}

function lines({ lines }) {
    if (!lines?.length) return "no line mends it";
    return lines[0] + (lines.length > 1 ? ` and ${lines.length - 1} more along it` : "");
}
