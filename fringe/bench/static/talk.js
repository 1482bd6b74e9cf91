// Talking to the server.

let token = document.querySelector('meta[name="fringe-token"]').content;

// A sentence begins with a capital, but a file keeps its name.
export const capital = (text) => (/^[^:]*\.\w{2,5}:/.test(text) ? text : text.charAt(0).toUpperCase() + text.slice(1));

// The server did not answer, as opposed to saying no.
export class Silence extends Error {}

// The server was started again since this page was loaded: it has another token.
async function renewed() {
  const answer = await fetch("./");
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  const found = page.querySelector('meta[name="fringe-token"]')?.content;
  if (!found) location.reload(); // this device has to be let in again
  const fresh = found && found !== token;
  if (fresh) token = found;
  return fresh;
}

async function sent(path, options) {
  const headers = { ...options.headers };
  if (options.method) headers["X-Fringe-Token"] = token;
  if (options.values) headers["Content-Type"] = "application/json";
  const body = options.values ? JSON.stringify(options.values) : options.body;
  if (options.progress) return sentSlowly(path, { ...options, headers, body });
  try {
    return await fetch(path, { method: options.method, headers, body });
  } catch {
    throw new Silence("The bench does not answer; is fringe bench still running?");
  }
}

// As `fetch`, and `progress` hears what share of the body has left.
function sentSlowly(path, { method, headers, body, progress }) {
  return new Promise((done, failed) => {
    const request = new XMLHttpRequest();
    request.open(method, path);
    for (const [name, value] of Object.entries(headers)) request.setRequestHeader(name, value);
    request.upload.onprogress = (event) => event.lengthComputable && progress(event.loaded / event.total);
    request.onload = () => {
      const { status, responseText } = request;
      done({ status, ok: status >= 200 && status < 300, json: async () => JSON.parse(responseText) });
    };
    request.onerror = request.onabort = () => failed(new Silence("The bench does not answer; is fringe bench still running?"));
    request.send(body);
  });
}

// Ask for something, or change it; an answer that says no is thrown, with its `status`.
export async function ask(path, options = {}) {
  let answer = await sent(path, options);
  if (answer.status === 403 && options.method && (await renewed())) answer = await sent(path, options);
  if (answer.status === 401) location.reload();
  let values;
  try {
    values = await answer.json();
  } catch {
    values = { error: `the bench gave an answer that is none (${answer.status}); load the page again` };
    if (answer.status === 413) values.error = "the file is too large for the bench; send a JPEG, or film a few seconds";
  }
  if (answer.ok) return values;
  throw Object.assign(new Error(`${capital(values.error)}.`), { status: answer.status, values });
}
