// Keeps what is typed into the Log page in this tab until it is posted; the page works without it.
// A session that ended, or a network that failed, leads away from the page: what was typed can be put back.
"use strict";

const STEM = "typed-log:";
const NOT_KEPT = ["csrfmiddlewaretoken", "confirmed"];

function stored(name) {
  try {
    return JSON.parse(sessionStorage.getItem(name));
  } catch {
    return null; // storage is off, or holds what is none of ours
  }
}

// The receipt: what was posted under its key need not be kept any longer.
const receipt = document.querySelector("[data-posted]");
if (receipt) {
  try {
    for (const name of Object.keys(sessionStorage)) {
      if (name.startsWith(STEM) && stored(name)?.key === receipt.dataset.posted) sessionStorage.removeItem(name);
    }
  } catch {
    // without storage nothing was kept
  }
}

const page = document.querySelector("form[data-kept-as]");
if (page) {
  const name = STEM + page.dataset.keptAs;
  const offer = document.querySelector("[data-kept]");

  const keep = () => {
    const typed = [...new FormData(page)].filter(([field]) => !NOT_KEPT.includes(field));
    try {
      sessionStorage.setItem(name, JSON.stringify({ key: page.elements.key.value, typed }));
    } catch {
      // full or off: the page works all the same
    }
  };

  const putBack = (kept) => {
    const values = new Map();
    for (const [field, value] of kept.typed) values.set(field, [...(values.get(field) || []), value]);
    for (const rows of page.querySelectorAll("[data-rows]")) {
      const total = page.elements[`${rows.dataset.rows}-TOTAL_FORMS`];
      const add = rows.querySelector("[data-add-row]");
      const wanted = Number((values.get(total?.name) || [0])[0]);
      for (let tries = 0; add && !add.hidden && Number(total.value) < wanted && tries < 60; tries += 1) add.click();
      values.delete(total?.name);
    }
    for (const control of page.elements) {
      if (!control.name || NOT_KEPT.includes(control.name) || control.name.endsWith("_FORMS")) continue;
      const typed = values.get(control.name) || [];
      if (control.type === "checkbox" || control.type === "radio") control.checked = typed.includes(control.value);
      else if (typed.length && (control.type !== "hidden" || control.name === "key")) control.value = typed[0];
      const isFilled = control.type === "radio" || control.type === "hidden" ? false : control.checked || (typed[0] && control.type !== "checkbox");
      const folded = isFilled && control.closest("details");
      if (folded) folded.open = true;
    }
    page.dispatchEvent(new Event("input", { bubbles: true }));
  };

  const kept = stored(name);
  if (offer && kept && Array.isArray(kept.typed) && kept.key !== page.elements.key.value && !page.hasAttribute("data-sent-back")) {
    offer.hidden = false;
    offer.querySelector("[data-put-back]").addEventListener("click", () => {
      putBack(kept);
      offer.hidden = true;
    });
    offer.querySelector("[data-forget]").addEventListener("click", () => {
      sessionStorage.removeItem(name);
      offer.hidden = true;
    });
  }
  page.addEventListener("input", keep);
  page.addEventListener("change", keep);
  page.addEventListener("submit", keep);
}
