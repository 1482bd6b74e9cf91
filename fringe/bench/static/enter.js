// Let this device in by the pass on the screen; a scanned code brings it behind the #.
const form = document.getElementById("enter");
const pass = document.getElementById("pass");
const trouble = document.getElementById("trouble");
const go = document.getElementById("go");

async function enter(text) {
  if (go.disabled) return;
  go.disabled = true;
  trouble.hidden = true;
  try {
    const answer = await fetch("enter", {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify({ pass: text }),
    });
    if (answer.ok) {
      location.replace(location.pathname);
      return;
    }
    const { error } = await answer.json();
    trouble.textContent = `${error.charAt(0).toUpperCase()}${error.slice(1)}.`;
  } catch {
    trouble.textContent = "The bench does not answer; is fringe bench still running?";
  }
  trouble.hidden = false;
  go.disabled = false;
  pass.select();
}

form.addEventListener("submit", (event) => {
  event.preventDefault();
  enter(pass.value);
});

function scanned() {
  const given = decodeURIComponent(location.hash.slice(1));
  if (!given) return;
  history.replaceState(null, "", location.pathname); // the pass stays in no history
  pass.value = given;
  enter(given);
}
addEventListener("hashchange", scanned);
scanned();
