// Enhancements only: every page works without this file.
"use strict";

// One send per press: the buttons of a form that writes are locked until the answer comes.
// A form with data-no-lock minds itself.
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.method !== "post" || form.hasAttribute("data-no-lock")) return;
  if (form.dataset.sent) {
    event.preventDefault();
    return;
  }
  form.dataset.sent = "yes";
  // aria-disabled, not disabled: a disabled button would drop its own name from what is sent.
  for (const button of form.querySelectorAll("button:not([type=button])")) {
    button.setAttribute("aria-disabled", "true");
  }
});

// Coming back with the Back button shows the page as it was left, locks included: take them off. A page may be shown for
// the first time when its last picture has come, and by then be sent already: its locks stay.
window.addEventListener("pageshow", (event) => {
  if (!event.persisted) return;
  for (const form of document.querySelectorAll("form[data-sent]")) {
    delete form.dataset.sent;
    for (const button of form.querySelectorAll("[aria-disabled]")) button.removeAttribute("aria-disabled");
  }
});

// A form whose answer may take long (data-working names the field of its seconds) says how many of them are over.
for (const form of document.querySelectorAll("form[data-working]")) {
  const line = document.createElement("p");
  line.className = "notice working";
  line.setAttribute("role", "status");
  form.append(line);
  let telling = 0;
  form.addEventListener("submit", () => {
    const most = Number(form.elements[form.dataset.working]?.value) || 10;
    const began = Date.now();
    const bar = document.createElement("progress");
    const words = document.createElement("span");
    bar.max = most;
    const tell = () => {
      const over = (Date.now() - began) / 1000;
      bar.value = Math.min(over, most);
      words.textContent = over < most ? ` Searching: ${Math.floor(over)} of at most ${most} seconds.` : " Setting the answer out.";
    };
    tell();
    line.replaceChildren(bar, words);
    clearInterval(telling);
    telling = setInterval(tell, 500);
  });
  window.addEventListener("pageshow", (event) => {
    if (!event.persisted) return;
    clearInterval(telling);
    line.replaceChildren();
  });
}

// Filters show their result when a choice is made; typed words wait for Enter or the button.
for (const form of document.querySelectorAll("form[data-submit-on-change]")) {
  form.addEventListener("change", (event) => {
    if (event.target.matches("select, input[type=checkbox], input[type=radio]")) form.requestSubmit();
  });
}

// On a phone the filters are folded, so that the list begins on the first screen; what is set keeps them open, and who
// types into them already, before this script had come.
const narrow = window.matchMedia("(max-width: 40rem)");
for (const folded of document.querySelectorAll("details[data-fold-narrow]")) {
  const fold = () => { folded.open = !narrow.matches || folded.dataset.foldNarrow === "keep" || folded.contains(document.activeElement); };
  narrow.addEventListener("change", fold);
  fold();
}

// A tag reader types like a keyboard: where the list is searched by scanning, its keys land in the box. On a phone the
// box is unfolded and not focused, for the keyboard would cover the list. Keys that go somewhere already go on there.
const scanBox = document.querySelector("[data-search-first]");
if (scanBox && !narrow.matches && !location.hash && document.activeElement === document.body) scanBox.focus({ preventScroll: true });

// "Add a row" of a formset: a copy of its template with the next number.
for (const rows of document.querySelectorAll("[data-rows]")) {
  const template = rows.querySelector("template");
  const button = rows.querySelector("[data-add-row]");
  const total = rows.querySelector(`[name="${CSS.escape(rows.dataset.rows)}-TOTAL_FORMS"]`);
  const most = rows.querySelector(`[name="${CSS.escape(rows.dataset.rows)}-MAX_NUM_FORMS"]`);
  if (!template || !button || !total) continue;
  button.hidden = false;
  button.addEventListener("click", () => {
    const next = Number(total.value);
    const markup = template.innerHTML.replaceAll("__prefix__", next).replaceAll("__number__", next + 1);
    button.parentElement.insertAdjacentHTML("beforebegin", markup);
    total.value = next + 1;
    if (most && next + 1 >= Number(most.value)) button.hidden = true;
    const added = rows.querySelectorAll("fieldset.row");
    const first = added[added.length - 1].querySelector("input:not([type=hidden]), select, textarea");
    if (first) first.focus();
  });
}

// Cards have blocks for rows, of which some browsers tell no table: say it outright, and each cell's column.
const ROLES = { TABLE: "table", TR: "row", TD: "cell", TH: "columnheader" };
for (const part of document.querySelectorAll("table.cards, .cards :is(thead, tbody, tfoot, tr, td, th)")) {
  part.role ||= part.scope === "row" ? "rowheader" : (ROLES[part.tagName] ?? "rowgroup");
  const before = part.previousElementSibling;
  if (part.colSpan) part.ariaColIndex = before ? Number(before.ariaColIndex) + before.colSpan : 1;
}

for (const button of document.querySelectorAll("[data-print]")) {
  button.hidden = false;
  button.addEventListener("click", () => window.print());
}

// The farm's line closes the printed page; where the browser can, it stands at the foot of every sheet.
const foot = document.querySelector(".print-foot");
if (foot && window.CSSMarginRule) {
  const sheet = new CSSStyleSheet();
  const words = JSON.stringify(foot.textContent.trim());
  sheet.replaceSync(`@page { @bottom-left { content: ${words}; font: 9pt sans-serif; } } @media print { .print-foot { display: none } }`);
  document.adoptedStyleSheets = [...document.adoptedStyleSheets, sheet];
}

// In print every folded table is open; afterwards each is as it was.
window.addEventListener("beforeprint", () => {
  for (const folded of document.querySelectorAll("details.same-figures:not([open])")) {
    folded.open = true;
    folded.dataset.opened = "for print";
  }
});
window.addEventListener("afterprint", () => {
  for (const folded of document.querySelectorAll("details[data-opened]")) {
    folded.open = false;
    delete folded.dataset.opened;
  }
});

// "/" goes to the search box, except while typing and on bank pages, where a tag reader sends bare keys.
// A button with data-shortcuts (on the settings page) switches it off for this device.
document.addEventListener("keydown", (event) => {
  if (event.key !== "/" || event.ctrlKey || event.metaKey || event.altKey) return;
  if (document.body.classList.contains("bank") || localStorage.getItem("shortcuts") === "off") return;
  if (event.target.closest("input, select, textarea, [contenteditable]")) return;
  const search = document.querySelector("input[type=search]");
  if (!search) return;
  event.preventDefault();
  const folded = search.closest("details");
  if (folded) folded.open = true;
  search.focus();
  search.select();
});

// "n" and "p" go to the page beside this one, under the same conditions.
document.addEventListener("keydown", (event) => {
  const rel = { n: "next", p: "prev" }[event.key];
  if (!rel || event.ctrlKey || event.metaKey || event.altKey) return;
  if (document.body.classList.contains("bank") || localStorage.getItem("shortcuts") === "off") return;
  if (event.target.closest("input, select, textarea, [contenteditable]")) return;
  document.querySelector(`.crumbs a[rel=${rel}]`)?.click();
});

for (const button of document.querySelectorAll("[data-shortcuts]")) {
  const isOff = () => localStorage.getItem("shortcuts") === "off";
  const show = () => { button.textContent = isOff() ? "Switch the keys on" : "Switch the keys off"; };
  button.hidden = false;
  show();
  button.addEventListener("click", () => {
    localStorage.setItem("shortcuts", isOff() ? "on" : "off");
    show();
  });
}
