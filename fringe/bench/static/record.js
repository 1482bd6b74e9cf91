// Instruments on record, and reports.
import { ask, capital } from "./talk.js";

const $ = (id) => document.getElementById(id);
const SIZES = { circle: "Diameter of the circle", legs: "Spacing of the legs", ring: "Inner, outer diameter" };

function listed(rows) {
  $("record-none").hidden = rows.length > 0;
  $("record-list").hidden = !rows.length;
  $("record-rows").replaceChildren(...rows.map((cells) => {
    const row = document.createElement("tr");
    row.append(...cells.slice(0, 3).map((cell, index) => {
      const made = document.createElement(index === 1 ? "th" : "td");
      if (index !== 1) {
        made.textContent = cell;
        return made;
      }
      made.scope = "row";
      const button = document.createElement("button");
      button.type = "button";
      button.className = "plain small";
      button.textContent = cell;
      button.addEventListener("click", () => showOne(cells[0], cell));
      made.append(button);
      return made;
    }));
    return row;
  }));
}

function known([label, text]) {
  const row = document.createElement("tr");
  const head = document.createElement(text ? "th" : "td"); // a heading or a remark has no value
  if (text) head.scope = "row";
  head.textContent = label;
  row.append(head);
  if (text) row.append(Object.assign(document.createElement("td"), { textContent: text }));
  else head.colSpan = 2;
  return row;
}

// All that is known of one: of a plate, its own visits, too.
async function showOne(kind, name) {
  $("record-one").hidden = false;
  $("record-one-name").textContent = `${capital(kind)} ${name}`;
  try {
    const { rows } = await ask(`api/instruments/${kind}/${encodeURIComponent(name)}`);
    $("record-one-rows").replaceChildren(...rows.slice(1).map(known));
  } catch (error) {
    $("record-one-rows").replaceChildren(known([capital(error.message), ""]));
  }
}

async function list() {
  if (!$("record-box").open) return;
  try {
    listed((await ask("api/instruments")).rows);
  } catch (error) {
    $("record-none").hidden = false;
    $("record-none").textContent = capital(error.message);
  }
}

// Only what is asked of this kind can be seen, and is sent.
function showKind() {
  const kind = $("record-kind").value;
  for (const line of document.querySelectorAll("#record-form [data-of]")) {
    line.hidden = line.dataset.of !== kind;
    for (const field of line.querySelectorAll("input, select")) field.disabled = line.hidden;
  }
  $("record-size-what").textContent = SIZES[$("record-feet").value];
}

function aim() {
  const pair = $("report-with").value;
  const words = new URLSearchParams(pair ? { with: pair } : {});
  $("report-open").href = `api/report.html?${words}`;
  words.set("paper", $("report-paper").value);
  $("report-pdf").href = `api/report.pdf?${words}`;
}

export function showRecord(desk) {
  const here = desk.surfaces.find((one) => one.name === desk.settings.surface);
  $("report-box").hidden = !here;
  $("report-pdf").hidden = $("paper-line").hidden = !desk.prints;
  const partners = desk.surfaces.filter((one) => here && one.form !== here.form).map((one) => one.name);
  const wanted = JSON.stringify([here?.name, partners, desk.plates]);
  if ($("report-box").dataset.wanted === wanted) return;
  $("report-box").dataset.wanted = wanted;
  $("report-with").replaceChildren(
    new Option(here?.name ?? "", ""),
    ...partners.map((name) => new Option(`the pair with ${name}`, name)),
  );
  $("plates").replaceChildren(...desk.plates.map((name) => new Option("", name)));
  aim();
  list();
}

// `change` sends something and shows what the bench says then.
export function handleRecord(change) {
  for (const id of ["report-with", "report-paper"]) $(id).addEventListener("change", aim);
  $("report-form").addEventListener("submit", (event) => event.preventDefault());
  $("record-box").addEventListener("toggle", list);
  for (const id of ["record-kind", "record-feet"]) $(id).addEventListener("change", showKind);
  showKind();
  $("record-form").addEventListener("submit", async (event) => {
    event.preventDefault();
    const values = Object.fromEntries(new FormData($("record-form")));
    const done = await change("api/instruments", { method: "POST", values });
    if (!done) return;
    const kind = $("record-kind").value;
    $("record-form").reset();
    $("record-kind").value = kind;
    showKind();
    listed(done.rows);
  });
}
