// A worker that all windows of the page share: browsers allow six connections to
// one address, so that one alone may wait for news.
const windows = new Set();
let last = "";
const source = new EventSource("news");
function tell(what) {
    last = what;
    for (const w of windows) w.postMessage(what);
}
source.onmessage = (e) => tell(e.data);
source.onerror = () => tell("silence");
onconnect = (e) => {
    const port = e.ports[0];
    windows.add(port);
    port.onmessage = (m) => { if (m.data === "bye") windows.delete(port); };
    if (last) port.postMessage(last);
};
