// The live view: what the camera sees, what is to be done before the shutter, the photograph, and
// the burst that is taken by itself when the fringes move.
import { ask } from "./talk.js";

const $ = (id) => document.getElementById(id);
const LOOK_PX = 1280; // longer side of a frame that the bench looks at
const REST = 60; // between two looks [ms]: never more than one is under way
const FRAMES = 20; // of a burst
const STEP = 200; // between two of them [ms]
const FRAME_PX = 1920; // longer side of a frame of a burst
const MARK = "fringe frames 1\n"; // begins a file of frames; each follows with its length
const MOST_BYTES = 45_000_000;
const viewer = `${Date.now()}-${Math.random()}`.slice(0, 40);

let stream = null;
let shutter = null; // takes the photograph at the sensor's full size, where the browser has one
let photo = null; // its width and height [px]
let burst = null; // its frames so far
let moving = 0; // looks in a row in which the fringes moved
let round = 0; // of opening; a look of an earlier one says nothing any more
let deliver; // takes files, as if they had been chosen
let surface;

const WHY = {
  NotAllowedError: "The camera was not allowed. Allow it for this page in the browser, or use the camera’s own program.",
  NotFoundError: "No camera was found. Plug one in, or choose a file.",
  NotReadableError: "Another program holds the camera. Close it, or use the camera’s own program.",
};
const NOT_ENCRYPTED =
  "The browser gives its camera to encrypted pages only. Open the address that begins with https and stands on the " +
  "computer’s screen; where the browser warns of its certificate, compare the fingerprint beside the pass, then go " +
  "on by Details or Advanced. Until then use the camera’s own program.";

const clock = () => new Date().toTimeString().slice(0, 8).replaceAll(":", "");
const pause = (ms) => new Promise((done) => { setTimeout(done, ms); });

function say(id, text) {
  if ($(id).textContent !== text) $(id).textContent = text;
}

// --- camera -----------------------------------------------------------------------------------

async function start(id) {
  stop();
  refuse("");
  const mine = (round += 1);
  if (!navigator.mediaDevices?.getUserMedia) return refuse(NOT_ENCRYPTED);
  const which = id ? { deviceId: { exact: id } } : { facingMode: { ideal: "environment" } };
  try {
    const found = await navigator.mediaDevices.getUserMedia({
      audio: false,
      video: { ...which, width: { ideal: 3840 }, height: { ideal: 2160 } },
    });
    if (mine !== round || !$("live").open) {
      for (const track of found.getTracks()) track.stop();
      return null;
    }
    stream = found;
    $("live-video").srcObject = found;
    await $("live-video").play();
  } catch (error) {
    if (mine === round) refuse(WHY[error.name] ?? "The camera cannot be used here. Use its own program, or choose a file.");
    return null;
  }
  const [track] = stream.getVideoTracks();
  track.addEventListener("ended", () => mine === round && refuse("The camera was taken away. Open the live view again."));
  await Promise.all([sizes(track), cameras(track)]);
  if (mine === round) {
    showTakes();
    looks(mine);
  }
  return null;
}

function stop() {
  round += 1;
  for (const track of stream?.getTracks() ?? []) track.stop();
  stream = shutter = photo = burst = null;
  moving = 0;
  $("live-video").srcObject = null;
}

// How large the photograph becomes.
async function sizes(track) {
  try {
    const camera = new ImageCapture(track);
    const { imageWidth, imageHeight } = await camera.getPhotoCapabilities();
    if (imageWidth.max > $("live-video").videoWidth) {
      [shutter, photo] = [camera, [imageWidth.max, imageHeight.max]];
      return;
    }
  } catch {
    // the browser has none, or the camera does not tell: a frame of the view is the photograph
  }
  photo = [$("live-video").videoWidth, $("live-video").videoHeight];
}

async function cameras(track) {
  const all = (await navigator.mediaDevices.enumerateDevices()).filter((one) => one.kind === "videoinput");
  $("live-which-line").hidden = all.length < 2;
  const used = track.getSettings().deviceId;
  $("live-which").replaceChildren(...all.map((one, index) =>
    new Option(one.label || `Camera ${index + 1}`, one.deviceId, false, one.deviceId === used)));
}

// Why there is no live view; the camera's own program serves as well.
function refuse(why) {
  say("live-no", why);
  $("live-no").hidden = $("live-own").hidden = !why;
  for (const id of ["live-stage", "live-hints", "live-takes", "live-shutter", "live-burst", "live-auto-line"]) $(id).hidden = Boolean(why);
  if (why) stop();
}

// --- frames -----------------------------------------------------------------------------------

const canvas = document.createElement("canvas");

// What the camera sees now, at most so large, as a JPEG.
function frame(longest, quality) {
  const video = $("live-video");
  const scale = Math.min(1, longest / Math.max(video.videoWidth, video.videoHeight));
  canvas.width = Math.round(video.videoWidth * scale);
  canvas.height = Math.round(video.videoHeight * scale);
  canvas.getContext("2d").drawImage(video, 0, 0, canvas.width, canvas.height);
  return new Promise((done) => { canvas.toBlob(done, "image/jpeg", quality); });
}

// One look after the other, each answered before the next is sent.
async function looks(mine) {
  while (mine === round) {
    if (burst || document.hidden) {
      await pause(REST);
      continue;
    }
    try {
      const body = await frame(LOOK_PX, 0.8);
      const headers = { "Content-Type": "image/jpeg", "X-Viewer": viewer, "X-Photo-Width": `${Math.max(...photo)}` };
      const seen = await ask("api/look", { method: "PUT", headers, body });
      if (mine !== round) return;
      show(seen);
      // twice, or a jolt would be taken for a press; and only where nothing else is to be mended
      moving = seen.moving && seen.hints.every((one) => ["moving", "lamp"].includes(one.key)) ? moving + 1 : 0;
      if (moving > 1 && $("live-auto").checked && !burst) takeBurst(mine);
      await pause(REST);
    } catch (error) {
      if (mine !== round) return;
      show({ hints: [{ text: error.message }], ready: false, edge: null, size: [4, 3] });
      await pause(2000);
    }
  }
}

function show({ hints, ready, edge, size }) {
  say("live-hint", hints[0].text);
  say("live-more", hints.slice(1).map((one) => one.text).join(" "));
  $("live-hints").classList.toggle("ready", ready);
  const svg = $("live-edge");
  svg.classList.toggle("ready", ready);
  svg.toggleAttribute("hidden", !edge);
  if (!edge) return;
  svg.setAttribute("viewBox", `-0.5 -0.5 ${size[0]} ${size[1]}`);
  for (const one of svg.children) {
    const values = { cx: edge.cx, cy: edge.cy, rx: edge.a, ry: edge.b, transform: `rotate(${edge.angle_deg} ${edge.cx} ${edge.cy})` };
    for (const [name, value] of Object.entries(values)) one.setAttribute(name, value);
  }
}

// --- what is taken ----------------------------------------------------------------------------

// Nothing is taken before it is said what.
function showTakes() {
  $("live-bar").hidden = !burst;
  $("live-bar").value = burst ? burst.length / FRAMES : 0;
  for (const id of ["live-shutter", "live-burst", "live-which"]) $(id).disabled = Boolean(burst);
  say("live-close", burst ? "Stop" : "Close");
  if (burst) {
    say("live-hint", `Burst: ${burst.length} of ${FRAMES} frames`);
    say("live-more", "Go on pressing gently at the rim; keep the camera still.");
  }
  const of = surface() ? ` for ${surface()}` : "";
  say("live-takes", photo ? `Take it: one photograph of ${photo[0]} × ${photo[1]} pixels${of}. Burst: ${FRAMES} frames in ${(FRAMES * STEP) / 1000} s while you press, read as one.` : "");
}

async function photograph() {
  for (const id of ["live-shutter", "live-burst"]) $(id).disabled = true;
  say("live-takes", "Taking the photograph …");
  let blob = null;
  try {
    blob = await shutter?.takePhoto({ imageWidth: photo[0], imageHeight: photo[1] });
  } catch {
    // the camera is busy or turned away: the view is still there
  }
  blob ??= await frame(Infinity, 0.95);
  const file = new File([blob], `live-${clock()}.jpg`, { type: blob.type });
  for (const id of ["live-shutter", "live-burst"]) $(id).disabled = false;
  $("live").close();
  deliver([file]);
}

async function takeBurst(mine = round) {
  const frames = (burst = []);
  showTakes();
  let bytes = 0;
  while (frames.length < FRAMES) {
    const begun = performance.now();
    const one = await frame(FRAME_PX, 0.92);
    if (mine !== round || burst !== frames) return;
    bytes += one.size + 4;
    if (bytes > MOST_BYTES) break;
    frames.push(one);
    showTakes();
    await pause(Math.max(0, STEP - (performance.now() - begun)));
    if (mine !== round || burst !== frames) return;
  }
  const parts = frames.flatMap((one) => {
    const length = new DataView(new ArrayBuffer(4));
    length.setUint32(0, one.size);
    return [length, one];
  });
  const file = new File([MARK, ...parts], `live-${clock()}.frames`);
  $("live").close();
  deliver([file]);
}

// --- what the person does ---------------------------------------------------------------------

// `upload` takes files as if they had been chosen; `chosen` names the surface on the bench.
export function handleLive(upload, chosen) {
  deliver = upload;
  surface = chosen;
  $("live-open").addEventListener("click", () => {
    say("live-hint", "Looking …");
    say("live-more", "");
    $("live-edge").toggleAttribute("hidden", true);
    $("live").showModal();
    start();
  });
  $("live").addEventListener("close", () => {
    stop();
    showTakes();
  });
  $("live-shutter").addEventListener("click", photograph);
  $("live-burst").addEventListener("click", () => takeBurst());
  $("live-which").addEventListener("change", () => start($("live-which").value));
  $("live-close").addEventListener("click", () => {
    if (!burst) $("live").close();
    burst = null;
    moving = 0;
    showTakes();
  });
  $("live-own").addEventListener("click", () => {
    $("live").close();
    $("camera").click();
  });
}
