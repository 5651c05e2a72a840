// Helps on the Log page; it works without.
"use strict";

const form = document.querySelector("form[data-log]");
const GOES = ["back", "dead", "moved", "sold", "culled", "escaped"];

// On a wide screen nothing is folded: the office types a whole sheet.
if (form && window.matchMedia("(min-width: 60rem)").matches) {
  for (const folded of form.querySelectorAll("details.more")) folded.open = true;
}

// The sum of each row, and of all, while typing.
function addUp() {
  let total = 0;
  for (const row of form.querySelectorAll("[data-catch]")) {
    let sum = 0;
    for (const input of row.querySelectorAll("input[inputmode=numeric]")) {
      const typed = input.value.replace(/\s/g, "").replace(/^[1-9]\d{0,2}(,\d{3})+$/, (parted) => parted.replaceAll(",", ""));
      if (GOES.some((name) => input.name.endsWith(`-${name}`)) && /^\d{1,6}$/.test(typed)) sum += Number(typed);
    }
    total += sum;
    const output = row.querySelector("[data-sum]");
    if (output) output.textContent = sum;
  }
  form.querySelector("[data-total]").textContent = total;
}

if (form) {
  for (const sum of form.querySelectorAll(".sum")) sum.hidden = false;
  form.addEventListener("input", addUp);
  addUp();
}

// The screen stays on while the page is in use, and is let go ten minutes after the last touch.
const IDLE = 10 * 60 * 1000;
let lock = null;
let letGo = 0;

async function stayAwake() {
  clearTimeout(letGo);
  letGo = setTimeout(() => {
    if (lock) lock.release();
    lock = null;
  }, IDLE);
  if (lock || document.visibilityState !== "visible" || !navigator.wakeLock) return;
  try {
    lock = await navigator.wakeLock.request("screen");
    lock.addEventListener("release", () => { lock = null; });
  } catch {
    lock = null; // a low battery may refuse it; the page works all the same
  }
}

if (form) {
  document.addEventListener("pointerdown", stayAwake);
  document.addEventListener("keydown", stayAwake);
}
