// A reader that is not ours: the EventSource of WHATWG HTML as Node has it. Prints a line for each event and error.
const [url, ...types] = process.argv.slice(2);
const source = new EventSource(url);
const say = (line) => process.stdout.write(JSON.stringify(line) + "\n");
for (const type of types) {
  source.addEventListener(type, (event) => say({ type, id: event.lastEventId, data: JSON.parse(event.data) }));
}
source.addEventListener("message", (event) => say({ type: "message", data: event.data }));
source.addEventListener("error", () => say({ type: "error", state: source.readyState }));
// while it waits to come back, nothing else keeps Node alive
setInterval(() => {}, 2 ** 30);
