// Small comforts. Every page works without this file.
"use strict";

// What was refused is read and seen first.
const errors = document.getElementById("errors");
if (errors) {
  errors.focus();
}

// "/" goes to the search box, unless somebody is typing.
document.addEventListener("keydown", (event) => {
  const box = document.querySelector("[data-search]");
  const typing = event.target.closest("input, textarea, select, [contenteditable]");
  if (event.key === "/" && box && !typing && !event.ctrlKey && !event.metaKey && !event.altKey) {
    event.preventDefault();
    box.focus();
    box.select();
  }
});

// Addresses stay short enough to pass on: questions left open are not sent with forms that only ask.
for (const form of document.querySelectorAll('form[method="get"]')) {
  form.addEventListener("formdata", (event) => {
    const empty = [...event.formData].filter(([, value]) => value === "").map(([name]) => name);
    for (const name of empty) {
      event.formData.delete(name);
    }
  });
}

// A report is not lost by a stray tap on a link.
const report = document.querySelector('form.report[method="post"]');
if (report) {
  let changed = errors !== null;
  report.addEventListener("input", (event) => { changed = changed || event.target.name !== ""; });
  report.addEventListener("submit", () => { changed = false; });
  window.addEventListener("beforeunload", (event) => {
    if (changed) {
      event.preventDefault();
    }
  });
}

// On a narrow screen the navigation is a strip: show the part with the current entry.
const here = document.querySelector(".nav [aria-current]");
if (here) {
  const strip = here.closest(".nav");
  strip.scrollLeft = here.offsetLeft + here.offsetWidth / 2 - strip.clientWidth / 2;
}

// A long list of questions can be narrowed by typing a word of one.
function offerNarrowing() {
  for (const list of document.querySelectorAll("[data-narrow]")) {
    if (list.children.length > 10) {
      const label = document.createElement("label");
      label.className = "narrow";
      const box = document.createElement("input");
      box.type = "search";
      box.autocomplete = "off";
      label.append("Show only questions with", box);
      list.before(label);
      box.addEventListener("input", () => {
        const word = box.value.trim().toLowerCase();
        for (const question of list.children) {
          const text = question.querySelector("legend").textContent.toLowerCase();
          const answered = question.querySelector('input:checked:not([value=""])');
          question.hidden = !text.includes(word) && !answered;
        }
      });
      box.addEventListener("keydown", (event) => {
        if (event.key === "Enter") {
          event.preventDefault();
        }
      });
    }
  }
}
offerNarrowing();

// The check sequence is ordered anew in place. If that fails in any way, the form is sent as usual.
const main = document.getElementById("main");
if (document.querySelector("form.evidence")) {
  const heard = document.createElement("p");
  heard.className = "visually-hidden";
  heard.setAttribute("role", "status");
  document.body.append(heard);
  document.addEventListener("submit", async (event) => {
    const form = event.target.closest("form.evidence");
    if (!form) {
      return;
    }
    event.preventDefault();
    const stated = [...new FormData(form)].filter(([, value]) => value !== "");
    const address = new URL(form.action);
    address.search = new URLSearchParams(stated).toString();
    const focused = document.activeElement;
    const place = focused && form.contains(focused) ? [...form.elements].filter((other) => other.type === "submit").indexOf(focused) : -1;
    heard.textContent = "";
    main.setAttribute("aria-busy", "true");
    try {
      const answer = await fetch(address, { headers: { Accept: "text/html" } });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const made = page.getElementById("main");
      if (!answer.ok || !made.querySelector("form.evidence")) {
        throw new Error("no sequence came back");
      }
      main.replaceChildren(...made.childNodes);
      document.title = page.title;
      history.pushState(null, "", address);
    } catch {
      location.assign(address);
      return;
    } finally {
      main.removeAttribute("aria-busy");
    }
    offerNarrowing();
    const refused = document.getElementById("errors");
    const buttons = [...document.querySelector("form.evidence").elements].filter((other) => other.type === "submit");
    (refused || buttons[place] || main).focus();
    const times = document.querySelector("#times-title + dl");
    const first = document.querySelector(".step h3");
    heard.textContent = `Ordered again. ${times ? times.innerText : ""} ${first ? `First: ${first.textContent}` : ""}`;
  });
  window.addEventListener("popstate", () => { location.reload(); });
}
