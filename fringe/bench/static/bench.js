// The bench page: shows what lies on the desk, and sends what the person does.
import { askFirst, putRight } from "./asking.js";
import { drawCourse } from "./course.js";
import * as draft from "./draft.js";
import { EdgeEditor } from "./edge.js";
import { handleLive } from "./live.js";
import { drawBar, drawLife, handleNight, showLines } from "./look.js";
import { handleMore, showBack, showMore } from "./more.js";
import { Outbox } from "./outbox.js";
import { handlePlace, showPlace } from "./place.js";
import { handleRecord, showRecord } from "./record.js";
import { handleTaken, showTaken } from "./taken.js";
import { ask, capital, Silence } from "./talk.js";

const $ = (id) => document.getElementById(id);
const QUICK = 500; // between two looks at the desk while something is being read [ms]
const SLOW = 3000;
const LEAST_FRAMES = 5; // of one contact, that can be read together

const HINTS = {
  found: "The line: the edge. If it is not the work's, drag it.",
  given: "The line: the edge where it was put by hand. The power is over this circle.",
  moved: "Dashes: the edge where it is now. Read again with it.",
  unknown: "Drag the circle onto the work's edge, then read again.",
  none: "Read without an edge: rings about their own centre.",
};

let desk = null; // what the server said last
let heard = 0; // and when [ms]
let selected = null; // the photograph that is shown
let busy = 0; // requests under way that change something
let moved = new Map(); // edges that were dragged and not yet read with, by photograph
let shownCourse = "";
let timer = 0;
let sending = false; // this device itself turns to another visit
const outbox = new Outbox();
let heardFirst;
const first = new Promise((done) => { heardFirst = done; });

const editor = new EdgeEditor($("overlay"), $("preview"), (edge) => {
  moved.set(selected, edge);
  showLines(current(), true);
  fillEdgeNumbers(edge);
  text("edge-hint", HINTS.moved);
  showButtons();
});

// --- talking to the server --------------------------------------------------------------------

// Messages stand in one place, above the bar, until they are read.
function message(id, text) {
  $(id).textContent = text || "";
  $(id).hidden = !text;
  $("read-it").hidden = $("trouble").hidden && $("logged").hidden && $("not-kept").hidden;
}

const trouble = (text) => message("trouble", text);

// Send something that changes the desk; nothing else can be sent meanwhile.
const change = (path, options) => changed(() => ask(path, options));

async function changed(sent) {
  if (busy) return null;
  busy += 1;
  sending = true;
  trouble("");
  showButtons();
  try {
    const values = await sent();
    if (values) take(values);
    return values;
  } catch (error) {
    trouble(error.message);
    return null;
  } finally {
    busy -= 1;
    sending = false;
    show();
    again();
  }
}

async function look() {
  try {
    const values = await ask(desk ? `api/desk?since=${desk.changed}` : "api/desk");
    if (!values.same && !busy) {
      take(values);
      show();
    }
    if ($("trouble").dataset.lost) trouble("");
    delete $("trouble").dataset.lost;
    if (outbox.items.length && !busy && !$("waiting-choice").dataset.asked) await send();
  } catch (error) {
    trouble(error.message);
    $("trouble").dataset.lost = "yes";
  }
  again();
}

// Look again soon while something goes on, and now and then for what other devices do.
function again() {
  clearTimeout(timer);
  timer = setTimeout(look, reading() || !desk ? QUICK : SLOW);
}

function take(values) {
  const before = desk;
  desk = values;
  heardFirst();
  if (!before) {
    if (!draft.restore(desk.visit, $("log-form"))) fillAdvised();
  } else if (before.visit !== desk.visit) turned(before);
  heard = performance.now();
  const there = desk.shots.map((shot) => shot.id);
  for (const id of moved.keys()) if (!there.includes(id)) moved.delete(id);
  if (values.added) selected = values.added;
  if (!there.includes(selected)) selected = there.at(-1) ?? null;
}

// Another visit is on the bench: what was typed was said of the one before, and goes with it.
function turned(before) {
  const typed = Boolean(draft.any());
  $("log-form").reset();
  draft.forget();
  moved.clear();
  fillAdvised();
  const [was, now] = [before.settings.surface, desk.settings.surface];
  if (sending || (!typed && was === now)) return;
  const what = was === now ? `The visit of ${was} was logged elsewhere` : `The bench was turned to ${now}`;
  trouble(`${what}.${typed ? ` What was typed here for ${was} was not logged.` : ""}`);
}

const reading = () => desk?.shots.some((shot) => ["waiting", "reading"].includes(shot.state));
const current = () => desk?.shots.find((shot) => shot.id === selected);

// --- showing ----------------------------------------------------------------------------------

function show() {
  if (!desk) return;
  showSettings();
  showAnswer();
  showShots();
  showPhoto();
  showCourse();
  showTaken(desk.taken, desk.spherometers);
  showHistory();
  showMore(desk);
  showRecord(desk);
  showBack(desk.back_at);
  showAdvised();
  showNotKept();
  showUndo();
  showButtons();
}

function options(select, values, chosen) {
  const wanted = JSON.stringify([values, chosen]);
  if (select.dataset.wanted === wanted) return;
  select.dataset.wanted = wanted;
  select.replaceChildren(
    ...values.map(([value, text]) => new Option(text, value, false, value === chosen)),
  );
}

function showSettings() {
  const { settings, surfaces, lamps } = desk;
  const names = surfaces.map((one) => [one.name, one.name]);
  const none = names.length ? "Choose the surface" : "Nothing is on record yet";
  options($("surface"), settings.surface ? names : [["", none], ...names], settings.surface ?? "");
  const usual = settings.usual_lamp ? [["", `${settings.usual_lamp} (usual)`]] : [["", "Choose the lamp"]];
  const led = settings.lamp?.startsWith("led:");
  const rest = lamps.filter((name) => name !== settings.usual_lamp || settings.lamp === name);
  options($("lamp"), [...usual, ...rest.map((name) => [name, name]), ["led", "an LED …"]], led ? "led" : (settings.lamp ?? ""));
  $("led-line").hidden = $("lamp").value !== "led";
  for (const [id, value] of [["led", led ? settings.lamp.slice(4) : null], ["distance", settings.camera_distance_mm && `${settings.camera_distance_mm}mm`]]) {
    if (value && document.activeElement !== $(id)) $(id).value = value;
  }
  const circle = settings.aperture_mm ? `${settings.aperture_mm}mm` : "";
  if (document.activeElement !== $("aperture") && $("aperture").value !== circle) $("aperture").value = circle;
  if ($("sense").value !== settings.sense) $("sense").value = settings.sense;
  $("camera-line").hidden = !desk.cameras.length;
  options($("camera-name"), [["", "none on record"], ...desk.cameras.map((name) => [name, name])], settings.camera ?? "");
  const one = surfaces.find((surface) => surface.name === settings.surface);
  const partners = surfaces.filter((other) => one && other.form !== one.form).map((other) => [other.name, other.name]);
  options($("against"), [["", one ? one.plate : "its plate"], ...partners], settings.against ?? "");
  $("facts").textContent = one ? `${one.name}: ${one.facts}` : none;
  const lamp = settings.lamp ?? settings.usual_lamp ?? "no lamp yet";
  const sense = { auto: "contact not known", centre: "contact at the centre", edge: "contact at the edge" };
  const over = settings.aperture_mm ? ` over ${settings.aperture_mm} mm` : "";
  const laid = (settings.against ? `, laid on ${settings.against}` : "") + over;
  $("setup-line").textContent = one ? `${one.name}${laid}, ${lamp}, ${sense[settings.sense]}` : "";
}

function showAnswer() {
  const { answer, shots } = desk;
  const shot = current();
  $("result").hidden = !answer;
  $("working").hidden = !reading();
  const refused = shots.filter((one) => one.state === "refused");
  let hint = "";
  $("make-line").hidden = desk.surfaces.length > 0;
  if (!desk.surfaces.length) hint = "Nothing is on record yet.";
  else if (!desk.settings.surface) hint = "Choose the surface.";
  else if (!shots.length) hint = "Take a photograph of the fringes.";
  else if (!answer && !reading() && refused.length) hint = capital(shot?.refusal || refused[0].refusal) + ".";
  else if (!answer && reading()) hint = "Reading …";
  text("hint", hint);
  $("hint").hidden = !hint;
  drawBar(answer?.bar);
  drawLife(desk.history, desk.limit);
  if (!answer) return;
  text("label", answer.label + (answer.count > 1 ? `, mean of ${answer.count} readings` : frames(shots.length === 1 && shots[0])));
  text("value", answer.value);
  text("u95", answer.u95);
  text("unit", answer.unit);
  text("verdict-text", answer.verdict_text);
  text("probability", answer.verdict ? `Probable to conform: ${answer.probability}. ${answer.reason}` : "");
  $("verdict").className = `verdict ${answer.verdict ?? "none"}`;
  text("next", `Next: ${answer.next}`);
  text("next-reason", answer.next_reason);
  text("sense-text", answer.sense);
  $("ask-sense").hidden = answer.known || desk.settings.sense !== "auto";
  $("value").style.setProperty("--letters", Math.max(4, answer.value.length));
}

// What a film was read from.
const frames = (shot) => (shot?.frames > 1 ? `, ${shot.frames} frames` : "");

function text(id, value) {
  // what is the same is not said again by a screen reader
  if ($(id).textContent !== value) $(id).textContent = value;
}

function showShots() {
  const list = $("shots");
  list.hidden = desk.shots.length < 2;
  const wanted = JSON.stringify(desk.shots.map((shot) => [shot.id, shot.state, shot.answer?.value, shot.id === selected]));
  if (list.dataset.wanted === wanted) return;
  list.dataset.wanted = wanted;
  const held = document.activeElement?.dataset?.shot;
  list.replaceChildren(...desk.shots.map((shot, index) => {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "shot";
    button.dataset.shot = shot.id;
    button.setAttribute("aria-pressed", shot.id === selected);
    const words = { waiting: "waiting", reading: "reading …", refused: "refused", read: shot.answer?.value };
    button.textContent = `${index + 1}: ${words[shot.state]}`;
    button.title = `${shot.name}${frames(shot)}, ${shot.taken}`;
    button.addEventListener("click", () => {
      selected = shot.id;
      show();
    });
    return button;
  }));
  if (held) list.querySelector(`[data-shot="${held}"]`)?.focus();
}

function showPhoto() {
  const shot = current();
  $("stage").hidden = $("photo").hidden = !shot;
  if (!shot) return;
  const source = `api/shots/${shot.id}/preview.jpg`;
  if ($("preview").getAttribute("src") !== source) {
    $("preview").src = source;
    $("preview").alt = shot.frames > 1 ? `First frame, ${shot.name}` : `Photograph ${shot.name}`;
    $("preview").width = shot.width;
    $("preview").height = shot.height;
    $("fit-box").open = false;
  }
  const dragged = moved.get(shot.id);
  const middle = { cx: shot.width / 2, cy: shot.height / 2, a: 0.42 * Math.min(shot.width, shot.height), angle_deg: 0 };
  const edge = dragged ?? shot.edge ?? { ...middle, b: middle.a };
  const known = Boolean(dragged ?? shot.edge);
  const working = ["waiting", "reading"].includes(shot.state);
  const shown = known || (shot.state === "refused" && !shot.without_edge);
  editor.show(shown ? edge : null, [shot.width, shot.height], { sure: known, moved: Boolean(dragged) });
  showLines(shot, Boolean(dragged));
  fillEdgeNumbers(editor.edge);
  let hint = shot.edge_given ? HINTS.given : HINTS.found;
  if (working) hint = "";
  else if (dragged) hint = HINTS.moved;
  else if (shot.without_edge) hint = HINTS.none;
  else if (!known) hint = HINTS.unknown;
  text("edge-hint", hint);
  $("refusal").hidden = shot.state !== "refused";
  text("refusal", shot.refusal ? capital(shot.refusal) + "." : "");
  const warnings = shot.answer?.warnings ?? [];
  $("warnings").hidden = !warnings.length;
  rows($("warnings"), warnings.map((one) => [one]), (cells) => {
    const item = document.createElement("li");
    item.textContent = cells[0];
    return item;
  });
  const work = desk.surfaces.find((one) => one.name === desk.settings.surface)?.diameter_mm;
  showPlace(shot, { plate: desk.settings.aperture_mm, work });
  $("fit-box").hidden = $("numbers-box").hidden = !shot.answer;
  const fit = `api/shots/${shot.id}/fit.png?n=${desk.changed}`;
  if ($("fit-box").open && shot.answer && $("fit").dataset.of !== `${shot.id} ${JSON.stringify(shot.edge)}`) {
    $("fit").dataset.of = `${shot.id} ${JSON.stringify(shot.edge)}`;
    $("fit").src = fit;
  }
  if (shot.answer) {
    text("numbers-caption", shot.name + frames(shot));
    const head = [[shot.answer.label, `${shot.answer.value} ${shot.answer.u95} ${shot.answer.unit}`]];
    rows($("numbers"), [...head, ...shot.answer.rows], tableRow);
  }
}

function fillEdgeNumbers(edge) {
  const names = { "edge-cx": "cx", "edge-cy": "cy", "edge-a": "a", "edge-b": "b", "edge-angle": "angle_deg" };
  for (const [id, name] of Object.entries(names)) {
    if (document.activeElement !== $(id)) $(id).value = edge ? edge[name].toFixed(1) : "";
  }
}

function rows(parent, values, make) {
  const wanted = JSON.stringify(values);
  if (parent.dataset.wanted === wanted) return;
  parent.dataset.wanted = wanted;
  parent.replaceChildren(...values.map(make));
}

function tableRow(cells) {
  const row = document.createElement("tr");
  cells.forEach((cell, index) => {
    const made = document.createElement(index ? "td" : "th");
    if (!index) made.scope = "row";
    made.textContent = cell;
    row.append(made);
  });
  return row;
}

// Power against time: glass that settles comes to rest.
function showCourse() {
  const { course } = desk;
  $("course").hidden = !course;
  if (!course) return;
  const points = course.points.map((point) => ({ ...point, shot: desk.shots.find((shot) => shot.id === point.id) }));
  const shown = points.map(({ minutes, shot }) => [minutes.toFixed(1), shot.name, `${shot.answer.value} ${shot.answer.u95}`, shot.taken]);
  rows($("course-rows"), shown, (cells, index) => {
    const row = tableRow(cells);
    const clock = Object.assign(document.createElement("input"), { type: "time", value: cells[3] });
    clock.setAttribute("aria-label", `When photograph ${index + 1} was taken`);
    clock.addEventListener("change", () => clock.value && change(`api/shots/${points[index].id}/time`, { method: "POST", values: { time: clock.value } }));
    row.lastChild.replaceChildren(clock);
    return row;
  });
  $("settling").hidden = !course.settling;
  text("settling", course.settling ? `${course.settling.text}.` : "");
  text("settling-notes", (course.settling?.notes ?? []).map((note) => `${capital(note)}.`).join(" "));
  $("settling-box").hidden = !course.settling;
  const wanted = JSON.stringify(course.points);
  if ($("settling-box").open && course.settling && $("settling-picture").dataset.of !== wanted) {
    $("settling-picture").dataset.of = wanted;
    $("settling-picture").src = `api/settling.png?n=${desk.changed}`;
  }
  if (wanted === shownCourse) return;
  shownCourse = wanted;
  drawCourse($("course-plot"), points.map((point) => ({ ...point, value: point.shot.answer.value })));
}

function showHistory() {
  const { history } = desk;
  $("no-history").hidden = history.length > 0;
  $("history-box").hidden = $("progress-box").hidden = !history.length;
  rows($("history"), history.map((one) => [one.visit, one.power, one.verdict, one.next, one.irregularity, one.work, one.when]), (cells, index) => {
    const row = tableRow(cells);
    if (cells[2]) row.children[2].className = `state ${cells[2]}`;
    const cell = document.createElement("td");
    const button = document.createElement("button");
    button.type = "button";
    button.className = "plain small";
    button.textContent = "Put right";
    button.setAttribute("aria-label", `Put right visit ${cells[0]}`);
    button.addEventListener("click", () => putRight(desk.settings.surface, history[index], (values) => {
      take(values);
      show();
    }));
    cell.append(button);
    row.append(cell);
    return row;
  });
  rows($("stages"), desk.stages, (stage) => new Option("", stage));
  const picture = `api/progress.png?n=${history.length} ${desk.settings.surface}`;
  if ($("progress-box").open && history.length && $("progress-picture").dataset.of !== picture) {
    $("progress-picture").dataset.of = picture;
    $("progress-picture").src = encodeURI(picture);
  }
}

// The work that was advised is what was done, as a rule: it is filled in, and said on the button.
function fillAdvised() {
  const { advised } = desk;
  for (const [id, value] of [["stage-name", advised?.stage], ["minutes", advised?.minutes], ["on-top", advised?.on_top]])
    $(id).value = value ?? "";
}

function showAdvised() {
  const { advised } = desk;
  $("advised-line").hidden = $("advised-buttons").hidden = !advised;
  if (advised) text("advised-text", `Advised was: ${advised.text}. Say what was done instead, if it was different.`);
  showLogBar();
}

// What a tap on the button in the bar logs.
function showLogBar() {
  const there = desk && (desk.answer || desk.shots.some((shot) => shot.reading)) && !reading();
  $("log-bar").hidden = !there || Boolean(busy);
  const [stage, minutes, top] = ["stage-name", "minutes", "on-top"].map((id) => $(id).value.trim());
  const work = [stage, minutes && `${minutes} min`].filter(Boolean).join(" ");
  text("log-bar", work ? `Log: ${[work, top && `${top} on top`].filter(Boolean).join(", ")}` : "Log, no work done");
}

// A bench that cannot be kept says so once for each reason.
function showNotKept() {
  if ($("not-kept").dataset.of === desk.not_kept) return;
  $("not-kept").dataset.of = desk.not_kept;
  message("not-kept", desk.not_kept && `${capital(desk.not_kept)}. What is on the bench is lost if it ends now.`);
}

for (const [id, fill] of [["advised", fillAdvised], ["no-work", () => ["stage-name", "minutes", "on-top"].forEach((one) => { $(one).value = ""; })]])
  $(id).addEventListener("click", () => {
    fill();
    draft.keep(desk.visit, $("log-form"));
    showLogBar();
  });

function showButtons() {
  const shot = current();
  const working = shot && ["waiting", "reading"].includes(shot.state);
  const fixed = moved.has(selected) || shot?.state === "refused";
  $("again").disabled = Boolean(busy) || !shot || working || !fixed;
  $("auto").disabled = Boolean(busy) || !shot || working || (!shot.edge_given && !moved.has(selected));
  $("no-edge").disabled = Boolean(busy) || !shot || working || shot.without_edge || shot.frames > 1;
  $("remove").disabled = Boolean(busy) || !shot;
  $("together").hidden = !desk || desk.shots.filter((one) => one.frames === 1).length < LEAST_FRAMES;
  $("apart").hidden = !(shot?.frames > 1);
  $("log-button").disabled = Boolean(busy) || !desk?.settings.surface || reading();
  for (const id of ["camera", "film", "files", "live-open", "sense-centre", "sense-edge", "keep-last", "together", "apart"]) $(id).disabled = Boolean(busy);
  $("camera-label").textContent = busy && uploading ? uploading : "Photograph";
  document.body.classList.toggle("busy", Boolean(busy));
}

// The seconds of a reading go on between two looks.
setInterval(() => {
  const shot = desk?.shots.find((one) => one.state === "reading");
  const waiting = desk?.shots.filter((one) => one.state === "waiting").length ?? 0;
  if (!shot && !waiting) return;
  const seconds = shot ? Math.floor(shot.seconds + (performance.now() - heard) / 1000) : 0;
  const more = waiting > (shot ? 0 : 1) ? `, ${waiting} more to read` : "";
  $("working-text").textContent = `${shot ? `Reading ${shot.name}${frames(shot)}, ${seconds} s` : "Waiting for the reader"}${more}`;
}, 250);

// --- what the person does ---------------------------------------------------------------------

let uploading = "";

async function upload(files) {
  if (!files.length) return;
  await first; // a photograph may be taken before the page has heard which visit is on the bench
  for (const file of files) await outbox.add(file, desk.visit, desk.settings.surface);
  await send();
  if (desk?.settings.surface) $("setup").open = false;
  const still = matchMedia("(prefers-reduced-motion: reduce)").matches;
  $("answer").scrollIntoView({ block: "start", behavior: still ? "auto" : "smooth" });
}

// Send what waits, in the order taken; what the bench does not get now is sent again later.
async function send() {
  if (busy) return;
  const all = outbox.items.length;
  busy += 1;
  $("waiting-choice").dataset.asked = "";
  let left = "";
  for (const [index, item] of [...outbox.items].entries()) {
    // frames are chosen before the bench answers, which takes seconds
    const film = /\.(mp4|m4v|mov|3gp|webm|mkv|avi|frames)$/i.test(item.name);
    const what = film ? "Sending the film" : "Sending";
    const place = all > 1 ? `, ${index + 1} of ${all}` : "";
    const progress = (share) => {
      // what is sent whole is still to be decoded
      uploading = share < 1 ? `${what}${place}: ${Math.floor(100 * share)} %` : `${film ? "Choosing frames" : "Sent"}${place} …`;
      showButtons();
    };
    progress(0);
    try {
      const name = encodeURIComponent(item.name);
      const headers = { "Content-Type": "application/octet-stream", "X-File-Name": name, "X-Visit": item.visit };
      take(await ask("api/shots", { method: "PUT", headers, body: item.blob, progress }));
      await outbox.drop(item);
    } catch (error) {
      if (error instanceof Silence || error.status >= 500) left = "It is sent as soon as the bench answers.";
      else if (error.status === 409) left = error.message;
      else {
        trouble(error.message); // no photograph, or far too large: it would never be taken
        await outbox.drop(item);
        continue;
      }
      $("waiting-choice").dataset.asked = error.status === 409 ? "yes" : "";
      break;
    }
  }
  busy -= 1;
  uploading = "";
  showWaiting(left);
  show();
  again();
}

function showWaiting(why) {
  const count = outbox.items.length;
  const what = count === 1 ? `A photograph of ${outbox.items[0]?.surface ?? "the bench"} waits here.` : `${count} photographs wait here.`;
  message("waiting", count ? `${what} ${why}` : "");
  $("waiting-choice").hidden = !count || !$("waiting-choice").dataset.asked;
}

$("waiting-send").addEventListener("click", async () => {
  await look(); // which visit is on the bench now
  outbox.readdress(desk.visit);
  await send();
});
$("waiting-drop").addEventListener("click", async () => {
  await outbox.clear();
  showWaiting("");
});

for (const id of ["camera", "film", "files"]) $(id).addEventListener("change", async ({ target }) => {
  const files = [...target.files];
  await upload(files);
  target.value = ""; // the same file may be chosen again
});
handleLive(upload, () => desk?.settings.surface);

function sendSettings() {
  const led = $("lamp").value === "led";
  $("led-line").hidden = !led;
  if (led && !$("led").value.trim()) {
    $("led").focus();
    return;
  }
  change("api/desk", {
    method: "POST",
    values: {
      surface: $("surface").value,
      lamp: led ? `led:${$("led").value.trim()}` : $("lamp").value,
      sense: $("sense").value,
      camera_distance: $("distance").value,
      camera: $("camera-name").value,
      against: $("against").value,
      aperture: $("aperture").value,
    },
  });
}
$("settings").addEventListener("change", (event) => {
  if (event.target.id === "surface") $("lamp").value = $("against").value = $("aperture").value = ""; // its own ones
  sendSettings();
});
$("settings").addEventListener("submit", (event) => event.preventDefault());
for (const sense of ["centre", "edge"]) {
  $(`sense-${sense}`).addEventListener("click", () => {
    $("sense").value = sense;
    sendSettings();
  });
}

function readAgain(values) {
  const id = selected;
  return change(`api/shots/${id}/edge`, { method: "POST", values }).then((done) => {
    if (done) moved.delete(id);
    show();
  });
}
$("again").addEventListener("click", () => readAgain({ ...editor.edge, u_px: Math.max(0.5, editor.scale) }));
$("auto").addEventListener("click", () => readAgain({ edge: "auto" }));
$("no-edge").addEventListener("click", () => readAgain({ edge: "none" }));
$("remove").addEventListener("click", () => change(`api/shots/${selected}`, { method: "DELETE" }));

$("together").addEventListener("click", () => change("api/together", { method: "POST" }));
$("apart").addEventListener("click", () => change(`api/shots/${selected}/apart`, { method: "POST" }));

$("keep-last").addEventListener("click", async () => {
  const last = desk.course.points.at(-1).id;
  for (const { id } of desk.shots) {
    if (id !== last && !(await change(`api/shots/${id}`, { method: "DELETE" }))) break;
  }
});

$("edge-numbers").addEventListener("submit", (event) => event.preventDefault());
$("edge-numbers").addEventListener("change", () => {
  const [cx, cy, a, b, angle_deg] = ["cx", "cy", "a", "b", "angle"].map((name) =>
    Number($(`edge-${name}`).value.replace(",", ".").replace("−", "-")),
  );
  if (editor.edge && [cx, cy, a, b, angle_deg].every(Number.isFinite) && a > 0 && b > 0) {
    editor.move({ cx, cy, a, b, angle_deg });
    showPhoto();
  }
});

for (const [box, image, wait] of [["fit-box", "fit", "fit-wait"], ["progress-box", "progress-picture", "progress-wait"], ["settling-box", "settling-picture", "settling-wait"]]) {
  $(box).addEventListener("toggle", show);
  $(image).addEventListener("load", () => {
    $(image).hidden = false;
    $(wait).hidden = true;
  });
  $(image).addEventListener("error", () => {
    $(image).hidden = true;
    $(wait).hidden = false;
    $(wait).textContent = "There is nothing to draw yet.";
    delete $(image).dataset.of;
  });
}

// what a visit's form says, by the names that the server has for it
const LOGGED = [
  ["stage", "stage-name"], ["minutes", "minutes"], ["on_top", "on-top"], ["other_minutes", "other-minutes"],
  ["rested", "rested"], ["temperature", "temperature"], ["remark", "remark"], ["removed", "removed"], ["pits", "pits"],
];
let undoable = {}; // what was typed for the visit that was logged last

$("log-form").addEventListener("submit", async (event) => {
  event.preventDefault();
  const typed = Object.fromEntries(LOGGED.map(([name, id]) => [name, $(id).value]));
  const removed = typed.removed.trim() && `${typed.removed.trim().replace(",", ".")}um`;
  const done = await changed(() => askFirst("api/log", { visit: desk.visit, ...typed, removed }));
  if (!done) return;
  undoable = typed;
  const { surface, visit, verdict, next, problems } = done.logged;
  const judged = verdict ? ` It is ${verdict}.` : "";
  message("logged", [`${surface}: visit ${visit} is in the record.${judged} Next: ${next}.`, ...problems.map((one) => `${capital(one)}.`)].join(" "));
});

// A visit that was just logged can be taken back for a minute, on every device.
function showUndo() {
  const seconds = desk?.undo ? Math.ceil(desk.undo.seconds - (performance.now() - heard) / 1000) : 0;
  $("undo").hidden = seconds <= 0;
  if (seconds > 0) text("undo", `Undo visit ${desk.undo.visit} (${seconds} s)`);
}
setInterval(showUndo, 500);
$("undo").addEventListener("click", async () => {
  const done = await change("api/undo", { method: "POST", values: { visit: desk.undo.id } });
  if (!done) return;
  for (const [name, id] of LOGGED) $(id).value = undoable[name] ?? "";
  draft.keep(desk.visit, $("log-form"));
  message("logged", `Visit ${done.undone.visit} of ${done.undone.surface} is struck out.`);
});

$("log-form").addEventListener("input", () => {
  if (desk) draft.keep(desk.visit, $("log-form"));
  showLogBar();
});
$("read-it").addEventListener("click", () => {
  for (const id of ["trouble", "logged", "not-kept"]) message(id, "");
});

// A phone that wakes up looks at once.
document.addEventListener("visibilitychange", () => document.hidden || look());
addEventListener("online", look);

setInterval(() => desk && showBack(desk.back_at), 5000);
handleMore(change);
handleRecord(change);
handlePlace((values) => change(`api/shots/${selected}/place`, { method: "POST", values }));
handleNight();
$("lines-on").addEventListener("change", () => desk && showPhoto());
handleTaken(change, () => [desk.taken, desk.spherometers]);
look();
