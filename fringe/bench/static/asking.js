// Questions before something is kept, and visits that are put right.
import { ask, capital } from "./talk.js";

const $ = (id) => document.getElementById(id);

// Ask what the record asks. Resolves to what is to be sent besides, or null for going back.
function answered({ asked, stage }) {
  $("questions").replaceChildren(
    ...asked.map((text) => Object.assign(document.createElement("p"), { textContent: `${text}.` })),
  );
  $("ask-yes").hidden = Boolean(stage);
  $("ask-grit").hidden = $("ask-polish").hidden = !stage;
  $("ask").showModal();
  return new Promise((done) => {
    const end = (more) => {
      $("ask").onclose = null;
      $("ask").close();
      done(more);
    };
    $("ask-yes").onclick = () => end({ yes: true });
    $("ask-grit").onclick = () => end({ stage_is: "grit" });
    $("ask-polish").onclick = () => end({ stage_is: "polish" });
    $("ask-no").onclick = () => end(null);
    $("ask").onclose = () => done(null); // the escape key
  });
}

// Send something that the record may ask about first; null where the person goes back.
export async function askFirst(path, values) {
  let more = {};
  for (;;) {
    try {
      return await ask(path, { method: "POST", values: { ...values, ...more } });
    } catch (error) {
      if (error.status !== 422) throw error;
      const said = await answered(error.values);
      if (!said) return null;
      more = { ...more, ...said };
    }
  }
}

// Put a logged visit right. `changed` gets what the bench says afterwards.
export function putRight(surface, row, changed) {
  const form = $("right-form");
  const trouble = (text) => {
    $("right-trouble").textContent = text;
    $("right-trouble").hidden = !text;
  };
  form.reset();
  trouble("");
  $("put-right-heading").textContent = `Visit ${row.visit} of ${surface}`;
  $("right-stage").placeholder = row.stage;
  $("right-minutes").placeholder = row.minutes;
  $("right-correct").textContent = row.struck ? "Bring it back" : "Correct it";
  $("right-strike").hidden = row.struck;
  $("put-right").showModal();
  const send = async (what) => {
    for (const id of ["right-correct", "right-strike"]) $(id).disabled = true;
    trouble("");
    try {
      const said = Object.fromEntries([...new FormData(form)].filter(([, value]) => value.trim()));
      const done = await askFirst(`api/visits/${row.visit}/${what}`, { surface, ...said });
      if (done) {
        $("put-right").close();
        changed(done);
      }
    } catch (error) {
      trouble(capital(error.message));
    } finally {
      for (const id of ["right-correct", "right-strike"]) $(id).disabled = false;
    }
  };
  $("right-correct").onclick = () => send("correct");
  $("right-strike").onclick = () => send("strike");
  $("right-no").onclick = () => $("put-right").close();
  form.onsubmit = (event) => event.preventDefault();
}
