// Readings without a photograph: by eye, and on the spherometer one after the other.
import { capital } from "./talk.js";

const $ = (id) => document.getElementById(id);
const NAMES = { zero: "Flat", plate: "Plate", work: "Work" };
let piece = "plate";
let send = () => null; // set by whoever uses this

const post = (values) => send("api/taken", { method: "POST", values });

function choose(name) {
  piece = name;
  for (const button of document.querySelectorAll("[data-piece]"))
    button.setAttribute("aria-pressed", button.dataset.piece === name);
  $("sag-drop").disabled = !Number($("sag-rows").dataset[piece] ?? 0);
}

export function showTaken(taken, spherometers) {
  const words = { rings: "rings", bow: "of a spacing" };
  $("eye-unit").textContent = words[$("eye-what").value];
  $("eye-said").textContent = taken.by_eye ?? "";
  $("eye-drop").hidden = !taken.by_eye;
  const wanted = JSON.stringify([spherometers, taken]);
  if ($("sag-rows").dataset.wanted === wanted) return;
  $("sag-rows").dataset.wanted = wanted;
  const options = [["", "point feet, none on record"], ...spherometers.map((name) => [name, name])];
  $("sag-which").replaceChildren(
    ...options.map(([value, text]) => new Option(text, value, false, value === (taken.spherometer ?? ""))),
  );
  $("sag-rows").replaceChildren(...Object.keys(NAMES).map((name) => {
    const row = document.createElement("tr");
    const head = document.createElement("th");
    head.scope = "row";
    head.textContent = NAMES[name];
    const cell = document.createElement("td");
    cell.textContent = taken[name].join(", ").replaceAll("um", " µm") || "–";
    row.append(head, cell);
    $("sag-rows").dataset[name] = taken[name].length;
    return row;
  }));
  const count = Object.keys(NAMES).reduce((sum, name) => sum + taken[name].length, 0);
  $("sag-said").textContent = count ? `${count} reading${count === 1 ? "" : "s"}` : "";
  $("taken-hint").hidden = !taken.hint;
  $("taken-hint").textContent = taken.hint ? `${capital(taken.hint)}.` : "";
  $("taken-notes").hidden = !taken.notes.length;
  $("taken-notes").replaceChildren(
    ...taken.notes.map((note) => Object.assign(document.createElement("li"), { textContent: `${capital(note)}.` })),
  );
  choose(piece);
}

// `change` sends something and shows what the bench says then; `one` is a spherometer that is the
// only one on record, and is taken for granted.
export function handleTaken(change, current) {
  send = change;
  $("eye-what").addEventListener("change", () => showTaken(...current()));
  $("eye-form").addEventListener("submit", (event) => {
    event.preventDefault();
    const number = $("eye-number").value.trim();
    if (!number) {
      $("eye-number").focus();
      return;
    }
    const what = $("eye-what").value === "bow" ? `bow ${number} of spacing` : `rings ${number}`;
    post({ by_eye: `${what} ${$("eye-sense").value}` });
  });
  $("eye-drop").addEventListener("click", () => post({ by_eye: "" }));
  for (const button of document.querySelectorAll("[data-piece]"))
    button.addEventListener("click", () => {
      choose(button.dataset.piece);
      $("sag-number").focus();
    });
  $("sag-which").addEventListener("change", () => post({ spherometer: $("sag-which").value }));
  $("sag-form").addEventListener("submit", async (event) => {
    event.preventDefault();
    const number = $("sag-number").value.trim().replace(",", ".");
    const [taken, spherometers] = current();
    if (!number) {
      $("sag-number").focus();
      return;
    }
    const count = Object.keys(NAMES).reduce((sum, name) => sum + taken[name].length, 0);
    if (!count && !taken.spherometer && spherometers.length === 1) await post({ spherometer: spherometers[0] });
    if (await post({ piece, reading: `${number}${$("sag-unit").value}` })) $("sag-number").value = "";
    $("sag-number").focus();
  });
  $("sag-drop").addEventListener("click", () => post({ piece }));
}
